//! `tatter desk`: finds the program of the desk, or says that it is not built.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]
#![cfg(unix)]

use std::io::ErrorKind;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::{Command, Output};
use std::time::Duration;

/// The program in a folder of its own, so that no desk lies beside it but what a test puts there.
fn alone(folder: &Path) -> std::io::Result<std::path::PathBuf> {
    let own = folder.join("tatter");
    std::fs::copy(env!("CARGO_BIN_EXE_tatter"), &own)?;
    Ok(own)
}

fn desk(program: &Path, search: &Path, arguments: &[&str]) -> std::io::Result<Output> {
    let run = || Command::new(program).arg("desk").args(arguments).env("PATH", search).output();
    // A child that another test starts holds the fresh copy open for writing, from its fork until its exec.
    let busy = |run: &std::io::Result<Output>| run.as_ref().is_err_and(|error| error.kind() == ErrorKind::ExecutableFileBusy);
    let mut done = run();
    for _ in 0..200 {
        if !busy(&done) {
            break;
        }
        std::thread::sleep(Duration::from_millis(10));
        done = run();
    }
    done
}

#[test]
fn without_the_desk_it_says_how_to_build_it() {
    let scratch = tempfile::tempdir().expect("a folder");
    let program = alone(scratch.path()).expect("a copy");
    let run = desk(&program, scratch.path(), &["smock.tatter.toml"]).expect("it runs");
    let said = String::from_utf8_lossy(&run.stderr).into_owned();
    assert_eq!(run.status.code(), Some(4), "the outside failed: {said}");
    assert!(said.contains("cargo build -p tatter-desk"), "it names the way out: {said}");
    assert!(run.stdout.is_empty(), "and nothing is printed as a result");
}

#[test]
fn the_desk_beside_it_gets_job_and_photo_and_gives_its_exit_code() {
    let scratch = tempfile::tempdir().expect("a folder");
    let program = alone(scratch.path()).expect("a copy");
    let stand_in = scratch.path().join("tatter-desk");
    std::fs::write(&stand_in, "#!/bin/sh\necho \"$# $1, $2\"\nexit 3\n").expect("a script");
    std::fs::set_permissions(&stand_in, std::fs::Permissions::from_mode(0o755)).expect("made to run");
    let run = desk(&program, Path::new("/bin"), &["a job.tatter.toml", "rip.jpg"]).expect("it runs");
    assert_eq!(run.status.code(), Some(3), "the desk's own code");
    assert_eq!(String::from_utf8_lossy(&run.stdout), "2 a job.tatter.toml, rip.jpg\n", "the job and the photo, spaces and all");
}
