//! Before a job is open: jobs of other days, the system's dialogs, a mesh, and the sample job with its hints.

use std::path::Path;
use std::sync::Arc;

use egui_kittest::kittest::Queryable as _;
use tatter::recent::Recent;
use tatter_desk::{Chosen, Command, Desk, OnStart, Station, Waiting, Wanted};
use tatter_files::job::read_job;

use crate::Tried;
use crate::person::Person;
use crate::workshop::Workshop;

/// A desk whose dialogs choose what is told, and whose jobs are kept in the workshop.
pub(crate) fn desk(shop: &Workshop, chosen: impl Fn(Wanted) -> Chosen + 'static) -> Desk {
    let dialogs = move |wanted| {
        let chosen = chosen(wanted);
        Box::new(move || chosen) as Waiting
    };
    Desk::with(Arc::new(|| ()), Recent::in_folder(shop.path("state")), Arc::new(dialogs))
}

/// Ask for the sample in a folder, and see a frame in which it is being made.
fn make_sample(person: &mut Person<'_>, folder: &Path) {
    person.write("Folder of the sample job", &folder.display().to_string());
    person.0.get_by_label("Open the sample job").click();
    person.0.run_ok();
}

#[test]
fn jobs_that_were_opened_are_listed_and_missing_ones_are_told() -> Tried<()> {
    let shop = Workshop::new()?;
    let other = shop.path("waistcoat.tatter.toml");
    std::fs::copy(shop.job(), &other)?;
    let mut first = Person::with(desk(&shop, |_| Chosen::Nothing));
    assert!(first.has("Jobs that you open are listed here."), "nothing was opened yet");
    first.write("Job, photo or mesh", &shop.job().display().to_string());
    assert!(first.desk().open().is_some(), "a path that was written is opened");
    first.press("Open or lay something on the table");
    first.press("Put this job away");
    assert!(first.desk().open().is_none() && first.has("Open the sample job"), "the page at the start is seen again");
    first.ask(Command::Open(other.clone()));
    drop(first);

    std::fs::remove_file(&other)?;
    let mut second = Person::with(desk(&shop, |_| Chosen::Nothing));
    assert!(second.has("waistcoat.tatter.toml, missing: moved, renamed or deleted"), "it is gone, and the page says so");
    second.press("Take waistcoat.tatter.toml off the list");
    assert!(!second.has("waistcoat.tatter.toml, missing: moved, renamed or deleted"), "off the list");
    second.0.get_by_label_contains("smock.tatter.toml, ").click();
    second.rest();
    let open = second.desk().open().ok_or("opened with one press")?;
    assert_eq!(open.job().garment.mesh.as_deref(), Some("smock.glb"), "the smock");
    second.quiet();
    Ok(())
}

#[test]
fn what_dialogs_choose_is_laid_on_the_table() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = shop.shoot("canvas.png", 200)?;
    std::fs::remove_file(shop.job())?;
    let (mesh, chosen) = (shop.path("smock.glb"), photo.clone());
    let dialogs = move |wanted| match wanted {
        Wanted::Photos => Chosen::Files(vec![chosen.clone()]),
        Wanted::Mesh => Chosen::Files(vec![mesh.clone()]),
        Wanted::Job | Wanted::Lights | Wanted::Density | Wanted::Patches => Chosen::NoDialog,
    };
    let mut person = Person::with(desk(&shop, dialogs));
    person.press("Open a job");
    let trouble = person.desk().trouble().cloned().ok_or("there is no dialog")?;
    assert!(trouble.what.contains("portal") && trouble.next.contains("write where it lies"), "{trouble:?}");
    assert!(person.has("Job, photo or mesh"), "a path can be written in its place");
    person.press("Put aside");

    person.press("Lay photos on the table");
    assert_eq!(person.desk().station(), Station::Photo, "one is led to the photo");
    assert_eq!(person.desk().photos().sheet().map(tatter_desk::Sheet::path), Some(photo.as_path()), "which lies there");

    person.ask(Command::Go(Station::Garment));
    person.press("Begin a job from a garment's mesh");
    person.quiet();
    let open = person.desk().open().ok_or("a job was begun, and opened")?;
    assert_eq!(open.job().garment.sets[0].files.len(), 2, "with the textures in the mesh's folder");
    assert_eq!(read_job(&shop.job())?.garment, open.job().garment, "its file lies beside the mesh");
    let told = std::fs::read(shop.job())?;
    person.ask(Command::Bring(vec![shop.path("smock.glb")]));
    person.quiet();
    assert_eq!(std::fs::read(shop.job())?, told, "dropped again, the job that is there is opened");
    Ok(())
}

#[test]
fn a_mesh_without_textures_is_told() -> Tried<()> {
    let shop = Workshop::new()?;
    let alone = shop.path("bare");
    std::fs::create_dir(&alone)?;
    std::fs::copy(shop.path("smock.glb"), alone.join("smock.glb"))?;
    let mut person = Person::with(desk(&shop, |_| Chosen::Nothing));
    person.ask(Command::Bring(vec![alone.join("smock.glb")]));
    assert!(person.desk().open().is_none(), "no job was begun");
    assert!(!alone.join("smock.tatter.toml").exists(), "nor written");
    assert!(person.0.query_by_label_contains("No textures were found").is_some(), "and why stands on the page");
    Ok(())
}

#[test]
fn making_the_sample_is_stopped_and_what_lies_there_half_made_is_left_alone() -> Tried<()> {
    let shop = Workshop::new()?;
    let folder = shop.path("salt-ledger");
    let mut person = Person::with(desk(&shop, |_| Chosen::Nothing));
    make_sample(&mut person, &folder);
    person.0.get_by_label("Stop").click();
    person.rest();
    assert!(person.desk().open().is_none() && !folder.join("smock.tatter.toml").exists(), "no job was made");
    assert!(person.0.query_by_label_contains("topped on request").is_some(), "and the page says why");
    std::fs::create_dir_all(&folder)?;
    std::fs::write(folder.join("mine.txt"), "mine")?;
    person.write("Folder of the sample job", &folder.display().to_string());
    person.press("Open the sample job");
    assert!(person.0.query_by_label_contains("is not empty").is_some(), "a folder with something in it is left alone");
    assert_eq!(std::fs::read_to_string(folder.join("mine.txt"))?, "mine", "to the letter");
    Ok(())
}

/// Made by the façade's function that `tatter demo` calls.
#[test]
fn the_sample_is_made_and_opened() -> Tried<()> {
    let shop = Workshop::new()?;
    let folder = shop.path("salt-ledger");
    let mut person = Person::with(desk(&shop, |_| Chosen::Nothing));
    make_sample(&mut person, &folder);
    assert!(person.has("Stop"), "it can be stopped");
    person.rest();
    person.quiet();
    assert_eq!(person.placements().len(), 3, "the demo's job");
    assert_eq!(person.desk().station(), Station::Photo, "the first hint is about the photo");
    assert!(person.has("1 of 4"), "which is said");

    person.press("Accept");
    let (mine, theirs) = (folder.join("my-rope-burn.patch"), folder.join("rope-burn.patch"));
    for map in ["base_color.png", "height.png", "normal.png", "opacity.png", "cover.png"] {
        assert_eq!(std::fs::read(mine.join(map))?, std::fs::read(theirs.join(map))?, "{map} is as the demo cuts it");
    }
    assert!(person.has("Go to Patch"), "and the hint leads on");
    Ok(())
}

/// One that lies there is opened, and led through: cut, look over, lay, deliver. Its garment is the workshop's, which is small.
#[test]
fn hints_lead_through_the_whole_sample() -> Tried<()> {
    let shop = Workshop::new()?;
    let folder = shop.sample()?;
    let mut person = Person::with(desk(&shop, |_| Chosen::Nothing));
    person.ask(Command::Start(OnStart::Sample(folder.clone())));
    person.quiet();
    let before = person.placements().len();
    assert!(person.has("1 of 4"), "it begins at the photo");
    person.press("Accept");
    person.press("Go to Patch");
    assert!(person.has("2 of 4"), "and so on");
    person.0.get_by_label_contains("my-rope-burn, ").click();
    person.rest();
    person.press("Take it to the garment");
    assert!(person.has("3 of 4"), "at the garment");
    person.touch("Solid view", [0.5, 0.5]);
    assert_eq!(person.placements().len(), before + 1, "laid");
    person.press("Go to Delivery");
    assert!(person.has("4 of 4"), "at the delivery");
    person.press("Deliver");
    person.quiet();
    assert!(person.has("Done"), "that was the whole job");
    person.press("No more hints");
    assert!(!person.has("Done"), "no more hints");

    person.ask(Command::Close);
    person.ask(Command::Start(OnStart::Sample(folder)));
    assert_eq!(person.placements().len(), before + 1, "asked for again, it is opened as it lies there");
    Ok(())
}
