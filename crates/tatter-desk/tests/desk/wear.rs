//! Marks of wear told at the garment.

use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable as _;
use tatter::wear::{WearRequest, wear_job};
use tatter_core::model::{Density, Facing, Wear, WearKind};
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_files::job::read_job;

use crate::Tried;
use crate::person::Person;
use crate::workshop::Workshop;

#[test]
fn marks_are_added_changed_removed_and_undone() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at(&shop.job());
    let bare = person.job();
    person.press("Wear");
    person.press("Add fade");
    person.press("Add abrasion");
    let kinds: Vec<WearKind> = person.job().wear.iter().map(|mark| mark.kind).collect();
    assert_eq!(kinds, [WearKind::Fade, WearKind::Abrasion], "in the order they were added");
    assert_eq!(person.job().wear[1].density, [Density::Edges(Mm(9.0))], "rubbed at hems");
    person.quiet();

    person.press("fade");
    person.write("Strength", "80");
    person.press("facing");
    person.write("Uneven", "20");
    let mark = person.job().wear[0].clone();
    assert!((mark.strength - 0.8).abs() < 1e-6 && (mark.uneven - 0.2).abs() < 1e-6, "{mark:?}");
    assert_eq!(mark.density, [Density::Facing(Facing::Up)], "where it faces the sky");
    person.press("Save");
    assert_eq!(read_job(&shop.job())?.wear, person.job().wear, "the file holds them");
    person.press("Remove abrasion");
    assert_eq!(person.job().wear.len(), 1, "taken away");
    for _ in 0..6 {
        person.press("Undo");
    }
    assert_eq!(person.job(), bare, "back to the start");
    Ok(())
}

#[test]
fn a_crease_comes_with_its_line() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at(&shop.job());
    person.press("Wear");
    person.press("Add crease");
    assert_eq!(person.job().wear, [], "a crease everywhere is none: it waits for its line");
    assert!(person.has("A crease lies along a line or an edge: chalk its line on the garment."), "and says so");
    person.touch("Flat view", [0.3, 0.4]);
    person.touch("Solid view", [0.55, 0.5]);
    person.key(Modifiers::NONE, Key::Escape);
    person.quiet();
    let drawn = person.job().wear;
    assert_eq!((drawn.len(), drawn[0].along.len()), (1, 2), "a line of two corners, one from each view: {drawn:?}");

    let corner = person.0.get_by_label("Corner 1 on the flat view").rect().center();
    person.drag(corner, corner + egui::vec2(0.0, 40.0));
    let moved = person.job().wear[0].along.clone();
    assert!(moved[0][1] > drawn[0].along[0][1] + 0.03 && moved[1] == drawn[0].along[1], "one corner follows: {moved:?}");
    person.press("Undo");
    assert_eq!(person.job().wear, drawn, "in one step");
    person.0.get_by_label("Corner 2").focus();
    person.0.run_ok();
    person.key(Modifiers::NONE, Key::ArrowUp);
    let stepped = person.job().wear[0].along.clone();
    let up = (drawn[0].along[1][1] - stepped[1][1]) * 512.0;
    assert!((up - 1.0).abs() < 0.05 && stepped[0] == drawn[0].along[0], "an arrow moves it by a millimetre: {up}");
    person.press("Undo");
    assert_eq!(person.job().wear, drawn, "in one step");
    person.press("Last corner back");
    assert_eq!(person.job().wear[0].along.len(), 1, "around one spot");
    person.touch("Solid view", [0.5, 0.5]);
    assert_eq!(person.job().wear[0].along.len(), 1, "the chalk lies on the table");
    Ok(())
}

#[test]
fn what_is_written_is_never_taken_for_another_mark() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at(&shop.job());
    person.press("Wear");
    person.press("Add fade");
    person.press("Add grime");
    person.begin("Strength", "33");
    person.press("fade");
    let strengths: Vec<f32> = person.job().wear.iter().map(|mark| mark.strength).collect();
    assert_eq!(strengths, [0.6, 0.33], "it belongs to the mark whose ticket it was written on");
    Ok(())
}

/// The command line's own function on a copy of the job gives the same mark.
#[test]
fn the_desk_wears_as_the_command_line_does() -> Tried<()> {
    let (by_desk, by_hand) = (Workshop::new()?, Workshop::new()?);
    let mut person = Person::at(&by_desk.job());
    person.press("Wear");
    person.press("Add abrasion");
    person.write("Strength", "45");
    person.write("Pucker", "7");
    person.press("Save");
    let request = WearRequest { job: by_hand.job(), ..WearRequest::default() };
    let edit = |mark: &mut Wear| {
        mark.kind = WearKind::Abrasion;
        mark.strength = 0.45;
        mark.pucker = Mm(7.0);
        mark.density = vec![Density::Edges(Mm(9.0))];
    };
    wear_job(&request, edit, &Task::new())?;
    assert_eq!(std::fs::read_to_string(by_desk.job())?, std::fs::read_to_string(by_hand.job())?, "one job file");
    Ok(())
}
