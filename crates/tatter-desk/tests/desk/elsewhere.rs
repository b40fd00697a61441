//! Patches in folders elsewhere on the disk.

use std::path::Path;
use std::time::Duration;

use egui_kittest::kittest::Queryable as _;
use tatter_desk::{Chosen, Command, Station, Wanted};

use crate::Tried;
use crate::person::Person;
use crate::start::desk;
use crate::workshop::Workshop;

/// Longer than the system takes to tell.
const PATIENCE: Duration = Duration::from_secs(30);

/// The workshop's patch by another name in another folder.
fn put(shop: &Workshop, folder: &Path, name: &str) -> Tried<()> {
    let patch = folder.join(format!("{name}.patch"));
    std::fs::create_dir_all(&patch)?;
    for (file, bytes) in shop.files("rip.patch")? {
        std::fs::write(patch.join(file), bytes)?;
    }
    Ok(())
}

fn person(shop: &Workshop) -> Person<'static> {
    let far = shop.path("../shelf");
    let dialogs = move |wanted| match wanted {
        Wanted::Patches => Chosen::Files(vec![far.clone()]),
        _ => Chosen::Nothing,
    };
    let mut person = Person::with(desk(shop, dialogs));
    person.ask(Command::Open(shop.job()));
    person
}

#[test]
fn a_folder_of_patches_is_added_remembered_missed_and_forgotten() -> Tried<()> {
    let shop = Workshop::new()?;
    let far = shop.path("../shelf");
    put(&shop, &far, "moth")?;
    let mut first = person(&shop);
    assert!(!first.has("moth, 100 × 100 mm"), "it lies elsewhere");
    first.press("Add a folder …");
    first.quiet();
    assert!(first.has("shelf: 1 patch"), "what lies in it is told");
    first.press("moth, 100 × 100 mm");
    first.touch("Flat view", [0.5, 0.5]);
    assert_eq!(first.placements()[0].patch, "moth", "laid like any other");
    let job = first.job();
    assert_eq!(job.patches[0].path, "../shelf/moth.patch", "named from the job file");
    assert!(first.desk().open().and_then(|open| open.lie("moth-1")).is_some(), "and its outline is seen at once");
    first.ask(Command::Go(Station::Patch));
    assert!(first.has("moth, 100 × 100 mm") && first.has("shelf: 1 patch"), "at the other table, too");
    first.ask(Command::Save(tatter::keep::Over::Nothing));
    first.quiet();
    drop(first);

    let mut second = person(&shop);
    assert!(second.has("shelf: 1 patch"), "there another day");
    let cards = second.desk().patches();
    assert_eq!(cards, ["moth", "rip"], "the job names it and the folder holds it: it lies there once");
    put(&shop, &far, "hem")?;
    while !second.has("hem, 100 × 100 mm") {
        assert!(second.0.state_mut().wait_outside(PATIENCE), "what is new in it is noticed");
        second.rest();
    }
    drop(second);

    std::fs::rename(&far, shop.path("../moved"))?;
    let mut third = person(&shop);
    assert!(third.has("shelf: missing. Moved, renamed or deleted?"), "a missing one is said in its place");
    assert!(!third.has("hem, 100 × 100 mm"), "and nothing of it is shown");
    third.press("Take shelf off the list");
    assert!(third.0.query_by_label_contains("shelf: ").is_none(), "forgotten");
    third.ask(Command::Bring(vec![shop.path("../moved/hem.patch")]));
    assert!(third.has("moved: 2 patches"), "dropped on the window, a patch brings those beside it");
    third.ask(Command::Bring(vec![shop.path("textures")]));
    assert!(third.says("neither a job file nor a photo"), "a folder without patches is none");
    third.press("Take moved off the list");
    drop(third);
    assert!(person(&shop).0.query_by_label_contains("moved: ").is_none(), "and it stays so");
    Ok(())
}
