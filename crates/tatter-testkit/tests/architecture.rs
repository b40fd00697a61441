//! The arrows between crates, who may know what, and the length of files: read from the tree itself.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Crate, and the crates of ours it may depend on. A new arrow is a change of this table, discussed first.
const ARROWS: &[(&str, &[&str])] = &[
    ("tatter-core", &[]),
    ("tatter-fourier", &[]),
    ("tatter-capture", &["tatter-core", "tatter-fourier"]),
    ("tatter-cloth", &["tatter-core", "tatter-capture", "tatter-fourier"]),
    ("tatter-weave", &["tatter-core"]),
    ("tatter-garment", &["tatter-core"]),
    ("tatter-files", &["tatter-core"]),
    ("tatter-proof", &["tatter-core"]),
    (
        "tatter",
        &["tatter-core", "tatter-capture", "tatter-cloth", "tatter-weave", "tatter-garment", "tatter-files", "tatter-proof"],
    ),
    ("tatter-cli", &["tatter", "tatter-core"]),
    // Plain data of a picture and of an eye; drawing itself is the facade's.
    ("tatter-desk", &["tatter", "tatter-core", "tatter-proof"]),
    ("tatter-testkit", &["tatter-core", "tatter-weave"]),
    // The scoreboard, never shipped.
    ("tatter-quality", &["tatter-core", "tatter-capture", "tatter-cloth", "tatter-weave", "tatter-files", "tatter-testkit"]),
];

/// Dependencies only the named crates may have.
const ALONE: &[(&str, &[&str])] = &[
    ("rustfft", &["tatter-fourier"]),
    ("rustdct", &["tatter-fourier"]),
    ("pulp", &["tatter-cloth", "tatter-garment"]),
    ("rstar", &["tatter-garment"]),
    ("png", &["tatter-files"]),
    ("tiff", &["tatter-files"]),
    ("exr", &["tatter-files"]),
    ("zune-jpeg", &["tatter-files"]),
    ("image", &["tatter-files"]),
    ("image-webp", &["tatter-files"]),
    ("moxcms", &["tatter-files"]),
    ("toml_edit", &["tatter-files"]),
    ("clap", &["tatter-cli"]),
    ("wgpu", &["tatter-proof"]),
    ("egui", &["tatter-desk"]),
    ("eframe", &["tatter-desk"]),
    ("winit", &["tatter-desk"]),
    ("rfd", &["tatter-desk"]),
];

/// Crates whose code opens no file and asks no environment.
const PURE: &[&str] = &["tatter-core", "tatter-fourier", "tatter-capture", "tatter-cloth", "tatter-weave", "tatter-garment"];

/// Longest source file, and the exceptions with their reasons.
const LONGEST_FILE: usize = 600;
const LONG_FILES: &[(&str, &str)] = &[];

type Checked<T> = Result<T, Box<dyn std::error::Error>>;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn crates() -> Checked<Vec<(String, PathBuf)>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(root().join("crates"))? {
        let entry = entry?;
        found.push((entry.file_name().to_string_lossy().into_owned(), entry.path()));
    }
    found.sort();
    Ok(found)
}

/// Names in the `[dependencies]` table of a manifest.
fn dependencies(manifest: &str) -> Vec<String> {
    let start = manifest.lines().skip_while(|line| line.trim() != "[dependencies]").skip(1);
    start
        .take_while(|line| !line.starts_with('['))
        .filter_map(|line| line.split(['.', '=', ' ']).next())
        .filter(|name| !name.is_empty() && !name.starts_with('#'))
        .map(str::to_owned)
        .collect()
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) -> Checked<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            sources(&path, found)?;
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
    found.sort();
    Ok(())
}

#[test]
fn arrows_point_as_drawn() -> Checked<()> {
    let table: BTreeMap<_, _> = ARROWS.iter().copied().collect();
    for (name, path) in crates()? {
        let allowed = table.get(name.as_str());
        assert!(allowed.is_some(), "crate {name} is not in the table of arrows");
        for dependency in dependencies(&fs::read_to_string(path.join("Cargo.toml"))?) {
            let ours = dependency == "tatter" || dependency.starts_with("tatter-");
            let fine = !ours || allowed.is_some_and(|list| list.contains(&dependency.as_str()));
            assert!(fine, "{name} may not depend on {dependency}");
            for (only, who) in ALONE {
                assert!(dependency != *only || who.contains(&name.as_str()), "only {who:?} may know {only}, not {name}");
            }
        }
    }
    Ok(())
}

#[test]
fn pure_crates_touch_no_file_and_no_environment() -> Checked<()> {
    for name in PURE {
        let mut files = Vec::new();
        sources(&root().join("crates").join(name).join("src"), &mut files)?;
        assert!(!files.is_empty(), "{name} has sources");
        for file in files {
            let text = fs::read_to_string(&file)?;
            for word in ["std::fs", "std::env", "std::net", "SystemTime", "current_num_threads", "HashMap", "HashSet"] {
                assert!(!text.contains(word), "{word} in {}", file.display());
            }
        }
    }
    Ok(())
}

/// The platform's mathematics, whose last bit differs from one machine to the next.
const PLATFORM_MATHS: &[&str] =
    &[".sin(", ".cos(", ".tan(", ".sin_cos(", ".exp(", ".ln(", ".powf(", ".hypot(", ".atan(", ".atan2(", ".acos(", ".cbrt("];

#[test]
fn woven_cloth_asks_no_platform_for_its_mathematics() -> Checked<()> {
    let mut files = Vec::new();
    sources(&root().join("crates/tatter-weave/src"), &mut files)?;
    for kernel in
        ["kernel/bleed.rs", "kernel/blur.rs", "kernel/distance.rs", "kernel/normals.rs", "kernel/occlusion.rs", "color/srgb.rs"]
    {
        files.push(root().join("crates/tatter-core/src").join(kernel));
    }
    for file in files {
        let text = fs::read_to_string(&file)?;
        let shipped = text.split("#[cfg(test)]").next().unwrap_or_default();
        for word in PLATFORM_MATHS {
            assert!(!shipped.contains(word), "{word} in {}: one seed must give one cloth on every machine", file.display());
        }
    }
    Ok(())
}

#[test]
fn files_stay_readable() -> Checked<()> {
    for (_, path) in crates()? {
        let mut files = Vec::new();
        sources(&path, &mut files)?;
        for file in files {
            let lines = fs::read_to_string(&file)?.lines().count();
            let short = file.strip_prefix(root().join("crates"))?.display().to_string();
            let excused = LONG_FILES.iter().any(|(name, _)| *name == short);
            assert!(lines <= LONGEST_FILE || excused, "{short} has {lines} lines; {LONGEST_FILE} is the most");
        }
    }
    Ok(())
}

#[test]
fn every_source_opens_with_a_doc_line() -> Checked<()> {
    for (name, path) in crates()? {
        let mut files = Vec::new();
        sources(&path.join("src"), &mut files)?;
        for file in files {
            let text = fs::read_to_string(&file)?;
            assert!(text.starts_with("//!"), "{name}: {} does not say what it is", file.display());
        }
    }
    Ok(())
}
