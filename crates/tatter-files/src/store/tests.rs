//! Tests of what a job keeps.

use std::fs;

use super::{Store, StoreError};

type Checked = Result<(), Box<dyn std::error::Error>>;

#[test]
fn the_first_state_is_kept_and_later_ones_are_not() -> Checked {
    let folder = tempfile::tempdir()?;
    let job = folder.path().join("smock.tatter.toml");
    fs::create_dir(folder.path().join("maps"))?;
    let map = folder.path().join("maps/color.png");
    fs::write(&map, b"clean canvas")?;
    let mut store = Store::open(&job)?;
    assert!(!store.folder().exists(), "opening writes nothing");
    assert!(matches!(store.pristine("maps/color.png"), Err(StoreError::Unknown { .. })), "not kept yet");
    store.ingest(&["maps/color.png"])?;
    fs::write(&map, b"worn canvas")?;
    store.ingest(&["maps/color.png"])?;
    let mut again = Store::open(&job)?;
    let kept = again.pristine("maps/color.png")?;
    assert_eq!(fs::read(&kept)?, b"clean canvas", "the first state");
    assert_eq!(kept.extension().and_then(|e| e.to_str()), Some("png"), "opens in any image program");
    again.adopt("maps/color.png")?;
    assert_eq!(fs::read(again.pristine("maps/color.png")?)?, b"worn canvas", "adopted");
    Ok(())
}

#[test]
fn a_kept_file_that_was_changed_is_noticed() -> Checked {
    let folder = tempfile::tempdir()?;
    fs::write(folder.path().join("a.png"), b"clean")?;
    let mut store = Store::open(&folder.path().join("smock.tatter.toml"))?;
    store.ingest(&["a.png"])?;
    fs::write(store.pristine("a.png")?, b"painted over")?;
    assert!(matches!(store.pristine("a.png"), Err(StoreError::Damaged { .. })), "the hash tells");
    assert!(matches!(store.ingest(&["b.png"]), Err(StoreError::TargetMissing { .. })), "no such map");
    Ok(())
}
