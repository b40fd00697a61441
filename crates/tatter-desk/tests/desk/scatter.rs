//! A scatter made, seen and changed at the garment.

use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable as _;
use tatter::scatter::{ScatterRequest, scatter_job, standing};
use tatter_core::angle::Angle;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::model::{Density, Placement, Scatter, Spot};
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_desk::{Chosen, Command, Station, Wanted};
use tatter_files::job::read_job;

use crate::Tried;
use crate::person::Person;
use crate::start::desk;
use crate::workshop::Workshop;

/// With a scatter of small rips, more than a few of which find room.
fn scattered(shop: &Workshop) -> Person<'static> {
    let mut person = Person::at(&shop.job());
    person.press("Scatters");
    person.press("New scatter");
    person.write("Sizes, most", "0.4");
    person.write("Sizes, least", "0.2");
    person
}

fn rule(person: &Person<'_>) -> Scatter {
    person.job().scatters.first().cloned().unwrap_or_default()
}

#[test]
fn a_scatter_is_thrown_changed_and_undone() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at(&shop.job());
    let bare = person.job();
    person.press("Scatters");
    assert!(person.has("Choose a scatter in the list, or make one."), "what to do first");
    person.press("New scatter");
    person.quiet();
    let first = person.job();
    assert!(first.scatters.len() == 1 && !first.placements.is_empty(), "it lies there at once: {first:?}");
    assert!(person.desk().open().ok_or("open")?.lie(&first.placements[0].id).is_some(), "and its outlines are seen");
    person.write("Sizes, most", "0.4");
    person.write("Sizes, least", "0.2");
    assert_eq!(rule(&person).scale, [0.2, 0.4], "sizes from a range");
    assert_eq!(person.placements().len(), 12, "now all find room");
    person.press("Throw again");
    let again = person.placements();
    assert_eq!((rule(&person).seed, again.len()), (2, 12), "another throw");
    person.press("Undo");
    assert_ne!(person.placements(), again, "the throw is taken back");
    person.press("Redo");
    assert_eq!(person.placements(), again, "and comes again, place by place");
    person.press("height");
    assert_eq!(rule(&person).density, [Density::Height([0.0, 0.4])], "most at the hem");

    let at = person.middle_of("How many");
    let before = person.job();
    person.drag(at, at + egui::vec2(90.0, 0.0));
    let more = rule(&person).count;
    assert!(more > 12 && person.placements().len() > 12, "dragged to the right there are more: {more}");
    person.press("Undo");
    assert_eq!(person.job(), before, "the drag was one step");
    for _ in 0..6 {
        person.press("Undo");
    }
    assert_eq!(person.job(), bare, "back to the start");
    Ok(())
}

#[test]
fn what_was_nudged_or_removed_by_hand_stays_so() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = scattered(&shop);
    person.press("Cutting list");
    person.press("scatter-1");
    person.0.get_by_label("Move scatter-1").focus();
    person.0.run_ok();
    person.key(Modifiers::NONE, Key::ArrowRight);
    person.press("Remove scatter-2");
    let nudged = person.placements().into_iter().find(|placement| placement.id == "scatter-1").ok_or("it lies there")?;
    person.press("Scatters");
    person.press("Throw again");
    person.quiet();
    let now = person.placements();
    assert_eq!(now.iter().find(|placement| placement.id == "scatter-1"), Some(&nudged), "what was nudged stays");
    assert!(now.iter().all(|placement| placement.id != "scatter-2"), "what was taken away stays away");
    let standing = standing(&person.job(), &rule(&person));
    assert_eq!((standing.by_hand, standing.taken_away), (1, 1), "and both are told: {standing:?}");
    assert!(person.has("11 pieces lie, 1 changed by hand, 1 taken away"), "on the ticket");
    person.press("Remove scatter");
    assert_eq!(person.placements(), [nudged], "taken away with its pieces, but for what was changed by hand");
    Ok(())
}

/// What the desk's new scatter of these sizes says, where the command line would say otherwise.
fn as_the_desk(rule: &mut Scatter) {
    rule.count = 12;
    rule.scale = [0.2, 0.4];
    rule.turn = [-180.0, 180.0].map(Angle::degrees);
    rule.margin = Mm(5.0);
}

/// The command line's own function on a copy of the job gives the same placements.
#[test]
fn the_desk_scatters_as_the_command_line_does() -> Tried<()> {
    let (by_desk, by_hand) = (Workshop::new()?, Workshop::new()?);
    let mut person = scattered(&by_desk);
    person.press("Save");
    let request =
        ScatterRequest { job: by_hand.job(), patches: vec![(by_hand.path("rip.patch"), 1.0)], ..ScatterRequest::default() };
    scatter_job(&request, as_the_desk, &Task::new())?;
    assert_eq!(read_job(&by_desk.job())?, read_job(&by_hand.job())?, "one job");
    Ok(())
}

#[test]
fn a_scatter_lies_along_a_chalked_line_and_says_when_it_cannot() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = scattered(&shop);
    person.press("Chalk it");
    person.touch("Flat view", [0.3, 0.5]);
    person.touch("Flat view", [0.7, 0.5]);
    person.key(Modifiers::NONE, Key::Escape);
    assert_eq!(rule(&person).along.len(), 2, "two corners");
    assert!(rule(&person).spread.get() > 0.0, "with a reach");
    let off = |placement: &Placement| match &placement.spot {
        Spot::Uv { at, .. } => (at[1] - 0.5).abs(),
        Spot::Point(_) => 1.0,
    };
    let farthest = person.placements().iter().map(off).fold(0.0, f32::max);
    assert!(farthest < 0.05, "all lie along it: {farthest}");
    let before = person.job();
    person.write("Off seams", "400");
    assert!(person.says("No cloth is left to lay anything on"), "said on the ticket");
    assert_eq!(person.job(), before, "and the job is as it was");
    person.write("Off seams", "5");
    assert!(!person.says("no cloth is left to lay anything on"), "and no longer");
    Ok(())
}

/// White on the left half, black on the right.
pub(crate) fn half_white(shop: &Workshop) -> Tried<std::path::PathBuf> {
    let white = |x: usize, _| LinearRgb([if x < 32 { 1.0 } else { 0.0 }; 3]);
    shop.save("more-here.png", &Image::from_fn(64, 64, white))
}

fn lie_left(person: &Person<'_>) -> bool {
    let at = |placement: &Placement| if let Spot::Uv { at, .. } = &placement.spot { at[0] } else { f32::INFINITY };
    !person.placements().is_empty() && person.placements().iter().all(|placement| at(placement) < 0.5)
}

#[test]
fn a_picture_says_where_there_is_more() -> Tried<()> {
    let (shop, by_hand) = (Workshop::new()?, Workshop::new()?);
    let picture = half_white(&shop)?;
    let chosen = picture.clone();
    let dialogs = move |wanted| match wanted {
        Wanted::Density => Chosen::Files(vec![chosen.clone()]),
        _ => Chosen::Nothing,
    };
    let mut person = Person::with(desk(&shop, dialogs));
    person.ask(Command::Open(shop.job()));
    person.press("Scatters");
    person.press("New scatter");
    person.write("Sizes, most", "0.4");
    person.write("Sizes, least", "0.2");
    assert!(!lie_left(&person), "at first they lie anywhere");
    person.press("Choose one …");
    person.quiet();
    assert_eq!(rule(&person).density, [Density::Picture("more-here.png".into())], "named from the job file");
    assert!(lie_left(&person), "they lie where it is white: {:?}", person.placements());
    let by_picture = person.job();
    person.press("Save");
    let request = ScatterRequest {
        job: by_hand.job(),
        patches: vec![(by_hand.path("rip.patch"), 1.0)],
        picture: Some(half_white(&by_hand)?),
        ..ScatterRequest::default()
    };
    scatter_job(&request, as_the_desk, &Task::new())?;
    assert_eq!(read_job(&shop.job())?, read_job(&by_hand.job())?, "as the command line scatters by it");

    person.press("Remove more-here.png");
    assert!(rule(&person).density.is_empty() && !lie_left(&person), "without it they lie anywhere again");
    person.ask(Command::Bring(vec![picture.clone()]));
    assert_eq!(person.job(), by_picture, "dropped on the window, it is the same");
    let broken = shop.path("broken.png");
    std::fs::write(&broken, "no picture")?;
    person.ask(Command::Bring(vec![broken]));
    assert!(person.says("broken.png"), "what can't be read is said on the ticket");
    assert_eq!(person.job(), by_picture, "and the job is as it was");

    person.press("Wear");
    person.press("Add grime");
    person.ask(Command::Bring(vec![picture.clone()]));
    let wear = person.job().wear;
    assert_eq!(wear[0].density[0], Density::Picture("more-here.png".into()), "wear lies by a picture, too");
    person.press("Cutting list");
    person.ask(Command::Bring(vec![picture]));
    assert_eq!(person.desk().station(), Station::Photo, "with neither in the hand, a picture is a photo");
    assert_eq!(person.job().wear, wear, "and changes nothing");
    Ok(())
}
