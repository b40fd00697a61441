//! Deliveries are stopped here at every single change they make to the disk.

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use tatter_core::explain::{Class, Explain as _};
use tatter_core::task::Task;

use super::{Content, DeliverError, Outcome, Outgoing, Receipt, Standing, WhenChanged, deliver, recover, survey, undo};
use crate::disk::{Disk, Step};
use crate::store::Hashed;
use crate::store::Store;

type Checked<T = ()> = Result<T, Box<dyn std::error::Error>>;

const TARGETS: [&str; 3] = ["maps/color.png", "maps/normal.png", "out/new.png"];

/// A job folder with two pristine maps, kept; the third target lies in a folder that does not exist yet.
fn scene(folder: &Path) -> Checked {
    fs::create_dir(folder.join("maps"))?;
    fs::write(folder.join("maps/color.png"), b"pristine color")?;
    fs::write(folder.join("maps/normal.png"), b"pristine normal")?;
    open(folder, Disk::quick())?.ingest(&TARGETS[..2])?;
    Ok(())
}

fn open(folder: &Path, disk: Disk) -> Checked<Store> {
    Ok(Store::open_on(disk, &folder.join("smock.tatter.toml"))?)
}

/// Every map with the state of wear in its bytes, which come in two pieces: a delivery may stop between them.
fn worn(state: &str) -> Vec<Outgoing> {
    let outgoing = |target: &str| Outgoing {
        target: target.to_owned(),
        content: Content::Bytes(Hashed::new(vec![format!("{state} ").into_bytes(), target.as_bytes().to_vec()]).unwrap()),
    };
    TARGETS.map(outgoing).to_vec()
}

fn send(folder: &Path, disk: Disk, state: &str) -> Checked<Receipt> {
    Ok(deliver(&open(folder, disk)?, &worn(state), WhenChanged::Refuse, &Task::new())?)
}

fn take_back(folder: &Path, disk: Disk) -> Checked<Receipt> {
    Ok(undo(&open(folder, disk)?, WhenChanged::Refuse, &Task::new())?)
}

/// Everything a renderer could see, leftovers included: all files outside the store.
fn seen(folder: &Path) -> Checked<BTreeMap<String, Vec<u8>>> {
    let mut files = BTreeMap::new();
    for sub in ["maps", "out"] {
        let sub_folder = folder.join(sub);
        if sub_folder.is_dir() {
            files.insert(format!("{sub}/"), Vec::new());
            for entry in fs::read_dir(sub_folder)? {
                let entry = entry?;
                files.insert(format!("{sub}/{}", entry.file_name().to_string_lossy()), fs::read(entry.path())?);
            }
        }
    }
    Ok(files)
}

/// What a stopped disk does.
#[derive(Clone, Copy, Debug)]
enum Stop {
    /// The process is gone: this step and all after it do nothing.
    Dead,
    /// This one step is refused.
    Once,
    /// From this step on nothing that takes room works.
    Full,
}

fn stopped(stop: Stop, at: usize) -> (Disk, Arc<AtomicUsize>) {
    let count = Arc::new(AtomicUsize::new(0));
    let counted = Arc::clone(&count);
    let disk = Disk::watched(move |step: Step, _: &Path| {
        let now = counted.fetch_add(1, Ordering::SeqCst);
        let refuse = match stop {
            Stop::Dead => now >= at,
            Stop::Once => now == at,
            Stop::Full => now >= at && step.takes_room(),
        };
        if refuse { Err(io::ErrorKind::StorageFull.into()) } else { Ok(()) }
    });
    (disk, count)
}

/// A change of the targets that can be stopped.
type Deed = fn(&Path, Disk) -> Checked<Receipt>;

/// The deeds with the state they start from.
const DEEDS: &[(&str, usize, Deed)] = &[
    ("first delivery", 0, |folder, disk| send(folder, disk, "worn")),
    ("second delivery", 1, |folder, disk| send(folder, disk, "worse")),
    ("undo of the second", 2, take_back),
    ("undo of the first", 1, take_back),
];

fn staged(deliveries: usize) -> Checked<tempfile::TempDir> {
    let folder = tempfile::tempdir()?;
    scene(folder.path())?;
    for state in ["worn", "worse"].into_iter().take(deliveries) {
        send(folder.path(), Disk::quick(), state)?;
    }
    Ok(folder)
}

/// States before and after a deed that nothing stops, and how many steps it takes.
fn ends(deliveries: usize, deed: Deed) -> Checked<[BTreeMap<String, Vec<u8>>; 2]> {
    let folder = staged(deliveries)?;
    let before = seen(folder.path())?;
    deed(folder.path(), Disk::quick())?;
    Ok([before, seen(folder.path())?])
}

fn steps(deliveries: usize, deed: Deed) -> Checked<usize> {
    let folder = staged(deliveries)?;
    let (disk, count) = stopped(Stop::Dead, usize::MAX);
    deed(folder.path(), disk)?;
    Ok(count.load(Ordering::SeqCst))
}

#[test]
fn killed_at_every_step_it_is_all_or_nothing() -> Checked {
    for (name, deliveries, deed) in DEEDS {
        let [before, after] = ends(*deliveries, *deed)?;
        let steps = steps(*deliveries, *deed)?;
        assert!(steps > 20, "{name} takes {steps} steps");
        let mut completed = 0;
        for at in 0..steps {
            let folder = staged(*deliveries)?;
            // The error belongs to a process that no longer exists.
            let _ = deed(folder.path(), stopped(Stop::Dead, at).0);
            recover(&open(folder.path(), Disk::quick())?, &Task::new())?;
            let now = seen(folder.path())?;
            assert!(now == before || now == after, "{name} killed at step {at} of {steps} left {now:?}");
            completed += usize::from(now == after);
            assert_eq!(recover(&open(folder.path(), Disk::quick())?, &Task::new())?, None, "{name} at {at}: once is enough");
            sound(folder.path(), &now, name, at)?;
        }
        assert!(completed > 3 && completed < steps, "{name}: {completed} of {steps} kills came after the decision");
    }
    Ok(())
}

/// After a stop the job goes on: the chain of deliveries still leads back to pristine.
fn sound(folder: &Path, now: &BTreeMap<String, Vec<u8>>, name: &str, at: usize) -> Checked {
    let receipt = send(folder, Disk::quick(), "later")?;
    assert!(receipt.number > 0, "{name} at {at}: the next delivery works");
    take_back(folder, Disk::quick())?;
    // The delivery folder stays, empty; only files are of interest.
    let files = |state: &BTreeMap<String, Vec<u8>>| {
        state
            .iter()
            .filter(|(path, _)| !path.ends_with('/'))
            .map(|(path, bytes)| (path.clone(), bytes.clone()))
            .collect::<Vec<_>>()
    };
    assert_eq!(files(&seen(folder)?), files(now), "{name} at {at}: and is undone to the bit");
    while take_back(folder, Disk::quick()).is_ok() {}
    let maps = seen(folder)?;
    assert_eq!(maps.get("maps/color.png").map(Vec::as_slice), Some(&b"pristine color"[..]), "{name} at {at}: pristine");
    assert_eq!(maps.get("maps/normal.png").map(Vec::as_slice), Some(&b"pristine normal"[..]), "{name} at {at}: pristine");
    Ok(())
}

#[test]
fn killed_again_while_recovering() -> Checked {
    let (_, deliveries, deed) = DEEDS[1];
    let [before, after] = ends(deliveries, deed)?;
    let total = steps(deliveries, deed)?;
    for at in (0..total).step_by(7) {
        for second in 0..24 {
            let folder = staged(deliveries)?;
            let _ = deed(folder.path(), stopped(Stop::Dead, at).0);
            let _ = recover(&open(folder.path(), stopped(Stop::Dead, second).0)?, &Task::new());
            recover(&open(folder.path(), Disk::quick())?, &Task::new())?;
            let now = seen(folder.path())?;
            assert!(now == before || now == after, "killed at {at}, then at {second} of recovering, left {now:?}");
        }
    }
    Ok(())
}

#[test]
fn refused_at_every_step_nothing_is_half_done() -> Checked {
    for (name, deliveries, deed) in DEEDS {
        let [before, after] = ends(*deliveries, *deed)?;
        for stop in [Stop::Once, Stop::Full] {
            for at in 0..steps(*deliveries, *deed)? {
                let folder = staged(*deliveries)?;
                let result = deed(folder.path(), stopped(stop, at).0);
                let now = seen(folder.path())?;
                if let Err(error) = &result {
                    let class = error.downcast_ref::<DeliverError>().map(DeliverError::class);
                    let store = error.downcast_ref::<crate::store::StoreError>().map(crate::store::StoreError::class);
                    assert_eq!(class.or(store), Some(Class::Outside), "{name}, {stop:?} at {at}: {error}");
                    let cut_off = matches!(error.downcast_ref::<DeliverError>(), Some(DeliverError::CutOff { .. }));
                    assert!(!cut_off, "{name}, {stop:?} at {at}: one refusal always leaves a way back");
                }
                recover(&open(folder.path(), Disk::quick())?, &Task::new())?;
                let later = seen(folder.path())?;
                let wanted = if result.is_ok() { &after } else { &before };
                assert_eq!(&later, wanted, "{name}, {stop:?} at {at}: what was said is true");
                let targets = |state: &BTreeMap<String, Vec<u8>>| TARGETS.map(|target| state.get(target).cloned());
                assert_eq!(targets(&now), targets(wanted), "{name}, {stop:?} at {at}: already before recovering");
            }
        }
    }
    Ok(())
}

/// Name of the variable that makes the child test stop and wait at a step.
const WAIT_AT: &str = "TATTER_TEST_WAIT_AT";
const IN_FOLDER: &str = "TATTER_TEST_FOLDER";

/// Run by `a_real_kill` in a process of its own; by itself it delivers to the end.
#[test]
fn a_delivery_in_this_process() -> Checked {
    let (Ok(at), Ok(folder)) = (std::env::var(WAIT_AT), std::env::var(IN_FOLDER)) else {
        let folder = staged(1)?;
        assert_eq!(send(folder.path(), Disk::quick(), "worse")?.number, 2, "the second delivery");
        return Ok(());
    };
    let at: usize = at.parse()?;
    let count = AtomicUsize::new(0);
    let disk = Disk::watched(move |_, _| {
        if count.fetch_add(1, Ordering::SeqCst) == at {
            writeln!(io::stderr(), "waiting")?;
            // Nobody ever writes: the process waits here until it is killed.
            io::stdin().read_line(&mut String::new())?;
        }
        Ok(())
    });
    send(Path::new(&folder), disk, "worse")?;
    Ok(())
}

#[test]
fn a_real_kill() -> Checked {
    let [before, after] = ends(1, DEEDS[1].2)?;
    let mut outcomes = [0, 0];
    for at in 0..steps(1, DEEDS[1].2)? {
        let folder = staged(1)?;
        let mut child = Command::new(std::env::current_exe()?)
            .args(["--exact", "deliver::tests::a_delivery_in_this_process", "--nocapture"])
            .env(WAIT_AT, at.to_string())
            .env(IN_FOLDER, folder.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()?;
        let said = BufReader::new(child.stderr.take().ok_or("a child has a stderr")?)
            .lines()
            .find(|line| line.as_ref().is_ok_and(|line| line.contains("waiting")));
        assert!(said.is_some(), "the child came to step {at}");
        let busy = recover(&open(folder.path(), Disk::quick())?, &Task::new());
        let taken = matches!(busy, Err(DeliverError::Busy { .. }));
        assert!(taken, "a second delivery is refused while the first is at step {at}");
        child.kill()?;
        child.wait()?;
        recover(&open(folder.path(), Disk::quick())?, &Task::new())?;
        let now = seen(folder.path())?;
        assert!(now == before || now == after, "killed at step {at}: {now:?}");
        outcomes[usize::from(now == after)] += 1;
    }
    assert!(outcomes[0] > 5 && outcomes[1] > 3, "kills before and after the decision: {outcomes:?}");
    Ok(())
}

#[test]
fn somebody_elses_change_is_not_overwritten() -> Checked {
    let folder = staged(1)?;
    let path = folder.path();
    fs::write(path.join("maps/normal.png"), b"painted by hand")?;
    let error = send(path, Disk::quick(), "worse").expect_err("must refuse").to_string();
    assert!(error.contains("maps/normal.png") && !error.contains("color"), "names it: {error}");
    let states: Vec<Standing> = survey(&open(path, Disk::quick())?, &TARGETS)?.into_iter().map(|state| state.standing).collect();
    assert_eq!(states, [Standing::Delivered, Standing::Changed, Standing::Delivered], "survey says the same");
    let receipt = deliver(&open(path, Disk::quick())?, &worn("worse"), WhenChanged::Leave, &Task::new())?;
    let outcomes: Vec<Outcome> = receipt.files.iter().map(|file| file.outcome).collect();
    assert_eq!(outcomes, [Outcome::Written, Outcome::Left, Outcome::Written], "the others are delivered");
    assert_eq!(fs::read(path.join("maps/normal.png"))?, b"painted by hand", "left");
    let mut store = open(path, Disk::quick())?;
    store.adopt("maps/normal.png")?;
    deliver(&store, &worn("worst"), WhenChanged::Refuse, &Task::new())?;
    assert_eq!(fs::read(path.join("maps/normal.png"))?, b"worst maps/normal.png", "delivered after adopting");
    take_back(path, Disk::quick())?;
    assert_eq!(fs::read(path.join("maps/normal.png"))?, b"painted by hand", "undo leads to the adopted state");
    Ok(())
}

#[test]
fn undo_refuses_to_lose_somebody_elses_change() -> Checked {
    let folder = staged(2)?;
    let path = folder.path();
    fs::write(path.join("maps/color.png"), b"painted by hand")?;
    let store = open(path, Disk::quick())?;
    let error = undo(&store, WhenChanged::Refuse, &Task::new());
    assert!(matches!(error, Err(DeliverError::ChangedSince { .. })), "says so: {error:?}");
    undo(&store, WhenChanged::Leave, &Task::new())?;
    assert_eq!(fs::read(path.join("maps/color.png"))?, b"painted by hand", "left");
    assert_eq!(fs::read(path.join("maps/normal.png"))?, b"worn maps/normal.png", "undone");
    Ok(())
}

#[test]
fn untouched_maps_return_to_pristine_and_equal_ones_are_not_written() -> Checked {
    let folder = staged(1)?;
    let mut files = worn("worn");
    files[0].content = Content::Pristine;
    let receipt = deliver(&open(folder.path(), Disk::quick())?, &files, WhenChanged::Refuse, &Task::new())?;
    let outcomes: Vec<Outcome> = receipt.files.iter().map(|file| file.outcome).collect();
    assert_eq!(outcomes, [Outcome::Written, Outcome::Unchanged, Outcome::Unchanged], "only what changed");
    assert_eq!(fs::read(folder.path().join("maps/color.png"))?, b"pristine color", "to the bit");
    let again = deliver(&open(folder.path(), Disk::quick())?, &files, WhenChanged::Refuse, &Task::new())?;
    assert_eq!(again.number, 0, "nothing to do makes no delivery");
    Ok(())
}

#[test]
fn what_was_written_after_a_crash_is_rescued() -> Checked {
    let (name, deliveries, deed) = DEEDS[1];
    let mut rescued = 0;
    for at in 0..steps(deliveries, deed)? {
        let folder = staged(deliveries)?;
        let _ = deed(folder.path(), stopped(Stop::Dead, at).0);
        let map = folder.path().join("maps/normal.png");
        // As image programs save: a new file under the name.
        fs::write(folder.path().join("painted"), b"painted by hand")?;
        fs::rename(folder.path().join("painted"), &map)?;
        let recovered = recover(&open(folder.path(), Disk::quick())?, &Task::new())?;
        let copies = recovered.map(|recovered| recovered.rescued).unwrap_or_default();
        let kept = copies.iter().any(|copy| fs::read(copy).is_ok_and(|bytes| bytes == b"painted by hand"));
        assert!(kept || fs::read(&map)? == b"painted by hand", "{name} killed at {at}: the painting is lost");
        rescued += usize::from(kept);
    }
    assert!(rescued > 0, "some kills come between the decision and the file");
    Ok(())
}

#[cfg(unix)]
#[test]
fn links_are_written_through_and_permissions_stay() -> Checked {
    use std::os::unix::fs::{PermissionsExt as _, symlink};
    let folder = tempfile::tempdir()?;
    let path = folder.path();
    scene(path)?;
    fs::create_dir(path.join("library"))?;
    fs::rename(path.join("maps/color.png"), path.join("library/color.png"))?;
    symlink("../library/color.png", path.join("maps/color.png"))?;
    fs::set_permissions(path.join("library/color.png"), fs::Permissions::from_mode(0o640))?;
    send(path, Disk::quick(), "worn")?;
    assert!(fs::symlink_metadata(path.join("maps/color.png"))?.is_symlink(), "still a link");
    assert_eq!(fs::read(path.join("library/color.png"))?, b"worn maps/color.png", "the real file is new");
    assert_eq!(fs::metadata(path.join("library/color.png"))?.permissions().mode() & 0o777, 0o640, "permissions");
    take_back(path, Disk::quick())?;
    assert_eq!(fs::read(path.join("library/color.png"))?, b"pristine color", "and back");
    fs::set_permissions(path.join("library/color.png"), fs::Permissions::from_mode(0o440))?;
    let error = send(path, Disk::quick(), "worn").expect_err("read-only");
    assert!(matches!(error.downcast_ref(), Some(DeliverError::ReadOnly { .. })), "a locked file is respected: {error}");
    Ok(())
}

#[cfg(unix)]
#[test]
fn two_names_of_one_file_are_refused() -> Checked {
    let folder = tempfile::tempdir()?;
    scene(folder.path())?;
    std::os::unix::fs::symlink("color.png", folder.path().join("maps/same.png"))?;
    let files = ["maps/color.png", "maps/same.png"]
        .map(|target| Outgoing { target: target.to_owned(), content: Content::Bytes(Hashed::new(b"x".to_vec()).unwrap()) });
    let result = deliver(&open(folder.path(), Disk::quick())?, &files, WhenChanged::Refuse, &Task::new());
    assert!(matches!(result, Err(DeliverError::Twice { .. })), "said: {result:?}");
    Ok(())
}
