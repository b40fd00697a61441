//! A job from the drawer to the delivery: open, take, lay, turn, undo, save, deliver, put back.

use std::error::Error;
use std::path::Path;

use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable as _;
use glam::Vec3;
use tatter::deliver::{Foreign, deliver_job, deliver_states, foresee};
use tatter::variation::Which;
use tatter_core::angle::Angle;
use tatter_core::channel::PerChannel;
use tatter_core::model::Spot;
use tatter_core::task::Task;
use tatter_desk::Station;
use tatter_files::job::read_job;

use crate::Tried;
use crate::person::Person;
use crate::workshop::{JOB, Workshop};

#[test]
fn a_patch_is_laid_turned_undone_saved_delivered_and_put_back() -> Tried<()> {
    let shop = Workshop::new()?;
    let pristine = shop.textures()?;
    let mut person = Person::who_sees(&shop.job());
    person.quiet();
    assert!(person.has("Garment: empty"), "nothing lies there yet, and the station says so");

    person.press("rip, 100 × 100 mm");
    person.touch("Solid view", [0.5, 0.5]);
    person.quiet();
    let laid = person.placements();
    assert_eq!(laid.len(), 1, "it lies there");
    let Spot::Point(point) = laid[0].spot else { panic!("touched in the round, it lies at a point: {:?}", laid[0].spot) };
    assert!((Vec3::from(point) - Vec3::new(0.256, 0.256, 0.0)).length() < 0.01, "in the middle of the panel: {point:?}");
    assert_eq!(laid[0].size, None, "at true size");
    let lie = person.desk().open().and_then(|open| open.lie("rip-1")).ok_or("it lies")?.clone();
    assert!(
        (lie.side.get() - 100.0).abs() < 0.01 && (lie.middle.distance(lie.knobs[0]) - 0.05).abs() < 1e-4,
        "100 mm on the cloth"
    );

    let handle = person.0.get_by_label("Turn rip-1").rect().center();
    let middle = person.0.get_by_label("Move rip-1").rect().center();
    let aside = middle + egui::vec2(handle.y - middle.y, 0.0);
    person.drag(handle, aside);
    let turn = person.placements()[0].turn.to_degrees();
    assert!((turn - 90.0).abs() < 3.0, "pulled from above to the left it turns counter-clockwise: {turn}");

    person.press("Undo");
    assert!(person.placements()[0].turn.to_degrees().abs() < 1e-3, "the drag was one step");
    person.press("Redo");
    assert!((person.placements()[0].turn.to_degrees() - turn).abs() < 1e-3, "and comes again");

    assert_eq!(read_job(&shop.job())?.placements.len(), 0, "nothing is saved unasked");
    person.key(Modifiers::COMMAND, Key::S);
    assert_eq!(read_job(&shop.job())?.placements, person.placements(), "saved");
    assert!(std::fs::read_to_string(shop.job())?.starts_with("# the ferryman's\n"), "with the comments there were");
    assert_eq!(shop.textures()?, pristine, "no texture is touched before the delivery");

    person.press("Delivery: in work");
    person.press("Deliver");
    person.quiet();
    assert_eq!(person.desk().station(), Station::Delivery, "one stays there");
    assert!(person.has("Delivered: 2 textures were written."), "it says what it did");
    let delivered = shop.textures()?;
    assert!(delivered.iter().zip(&pristine).all(|(new, old)| new != old), "both textures are new");

    person.press("Put back");
    assert_eq!(shop.textures()?, pristine, "bit for bit what there was");
    Ok(())
}

/// A desk that draws slower than the hand moves loses nothing of its way.
#[test]
fn a_piece_lies_where_the_hand_let_go_of_it() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at(&shop.job());
    person.press("rip, 100 × 100 mm");
    person.touch("Solid view", [0.5, 0.5]);
    let from = person.middle_of("Move rip-1");
    let to = from + egui::vec2(60.0, 40.0);
    person.fling(from, to);
    let there = person.middle_of("Move rip-1");
    assert!(there.distance(to) < 2.0, "let go at {to:?} it lies at {there:?}");
    person.press("Undo");
    assert!(person.middle_of("Move rip-1").distance(from) < 2.0, "and that was one step");
    Ok(())
}

/// The command line's own functions on a copy of the same job give the same bytes.
#[test]
fn the_desk_delivers_what_the_command_line_does() -> Tried<()> {
    let (by_desk, by_hand) = (Workshop::new()?, Workshop::new()?);
    let mut person = Person::at(&by_desk.job());
    person.press("rip, 100 × 100 mm");
    person.touch("Flat view", [0.5, 0.4]);
    let placed = person.placements().pop().ok_or("laid on the flat view")?;
    let Spot::Uv { at, part: None } = placed.spot else { panic!("laid flat it lies at u, v: {:?}", placed.spot) };
    person.press("Delivery: in work");
    person.press("Deliver");
    person.quiet();

    let request = tatter::place::PlaceRequest {
        job: by_hand.job(),
        patch: by_hand.path("rip.patch"),
        spot: Spot::Uv { at, part: None },
        turn: Angle::ZERO,
        size: tatter::place::SizeChoice::Own,
        mirror: false,
        rules: PerChannel::default(),
        matching: tatter_core::model::Match::default(),
    };
    tatter::place::place(&request, &Task::new())?;
    deliver_job(&by_hand.job(), Foreign::Refuse, &Task::new())?;
    assert_eq!(std::fs::read_to_string(by_desk.job())?, std::fs::read_to_string(by_hand.job())?, "one job file");
    let bytes = |shop: &Workshop| Ok::<_, Box<dyn Error>>(shop.textures()?.into_values().collect::<Vec<_>>());
    assert_eq!(bytes(&by_desk)?, bytes(&by_hand)?, "one set of textures");
    Ok(())
}

/// The command line's `deliver --all` on a copy of the same job gives the same bytes.
#[test]
fn variations_are_delivered_with_the_job_when_one_asks() -> Tried<()> {
    let (by_desk, by_hand) = (Workshop::new()?, Workshop::new()?);
    let more = "\n[[wear]]\nid = \"sun\"\nkind = \"fade\"\nstrength = 0.6\n\n[[variation]]\nname = \"dark\"\ndye = \"#26262a\"\n";
    for shop in [&by_desk, &by_hand] {
        std::fs::write(shop.job(), format!("{JOB}{more}"))?;
    }
    let mut person = Person::at(&by_desk.job());
    person.press("Delivery: in work");
    person.press("Deliver");
    person.quiet();
    assert!(!by_desk.path("variations").exists(), "the job alone, until one asks");
    person.press("with its variation");
    person.press("Deliver");
    person.quiet();
    deliver_states(&by_hand.job(), Which::All, Foreign::Refuse, &Task::new())?;
    let (desk, hand) = (by_desk.files("variations/dark")?, by_hand.files("variations/dark")?);
    assert!(!hand.is_empty() && desk == hand, "the variation's textures");
    assert_eq!(
        by_desk.textures()?.into_values().collect::<Vec<_>>(),
        by_hand.textures()?.into_values().collect::<Vec<_>>(),
        "the job's"
    );
    Ok(())
}

/// It is looked over anew what stands in the files then; why nothing was written must still be there to be read.
#[test]
fn why_a_delivery_failed_stays_to_be_read() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at(&shop.job());
    person.press("rip, 100 × 100 mm");
    person.touch("Flat view", [0.5, 0.4]);
    let before = shop.textures()?;
    for file in before.keys() {
        let mut may = std::fs::metadata(file)?.permissions();
        may.set_readonly(true);
        std::fs::set_permissions(file, may)?;
    }
    person.press("Delivery: in work");
    person.press("Deliver");
    assert!(person.says("make it writable, then deliver again"), "what to do is said");
    assert!(shop.textures()? == before, "nothing was written");
    person.press("Look it over again");
    assert!(!person.says("make it writable"), "it was read");
    Ok(())
}

/// What the delivery's table tells of a job, wear and all, is what a delivery then does.
#[test]
fn what_is_foreseen_is_what_is_delivered() -> Tried<()> {
    let shop = Workshop::new()?;
    let wear = "\n[[wear]]\nid = \"sun\"\nkind = \"fade\"\nstrength = 0.6\n";
    let placed =
        "\n[[patch]]\nname = \"rip\"\npath = \"rip.patch\"\n\n[[placement]]\nid = \"rip-1\"\npatch = \"rip\"\nat = [0.5, 0.5]\n";
    for (what, more) in [("worn", wear.to_owned()), ("worn and torn", format!("{wear}{placed}")), ("torn", placed.to_owned())] {
        std::fs::write(shop.job(), format!("{JOB}{more}"))?;
        let job = read_job(&shop.job())?;
        let before = shop.textures()?;
        let foreseen = foresee(&shop.job(), &job, &Task::new())?;
        assert_eq!(shop.textures()?, before, "{what}: nothing is written");
        let delivered = deliver_job(&shop.job(), Foreign::Refuse, &Task::new())?;
        let told: Vec<Option<usize>> = foreseen.files.iter().map(|file| Some(file.texels_changed)).collect();
        let done: Vec<Option<usize>> = delivered.files.iter().map(|file| file.texels_changed).collect();
        assert_eq!(told, done, "{what}: texels changed, file by file");
        assert!(done[0] > Some(0), "{what}: the base colour changes");
    }
    Ok(())
}

#[test]
fn what_was_not_saved_comes_back_after_a_crash() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at(&shop.job());
    person.press("rip, 100 × 100 mm");
    person.touch("Flat view", [0.3, 0.3]);
    let lost = person.placements();
    drop(person);
    assert_eq!(read_job(&shop.job())?.placements.len(), 0, "it never was saved");

    let mut person = Person::at(&shop.job());
    assert_eq!(person.placements().len(), 0, "the file's state is shown first");
    person.press("Take them up");
    assert_eq!(person.placements(), lost, "and all that was lost is there");
    person.press("Undo");
    assert_eq!(person.placements().len(), 0, "taking it up can be undone like any step");
    Ok(())
}

#[test]
fn a_file_that_somebody_else_changed_is_not_written_over() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at(&shop.job());
    person.press("rip, 100 × 100 mm");
    person.touch("Flat view", [0.3, 0.3]);
    let theirs = format!("{JOB}# and theirs\n");
    std::fs::write(shop.job(), &theirs)?;
    person.press("Save");
    let trouble = person.desk().trouble().cloned().ok_or("it says so")?;
    assert!(trouble.what.contains("changed by somebody else"), "{trouble:?}");
    assert_eq!(std::fs::read_to_string(shop.job())?, theirs, "theirs stays");
    person.press("Save over it");
    person.quiet();
    let text = std::fs::read_to_string(shop.job())?;
    assert!(text.contains("# and theirs") && text.contains("rip-1"), "theirs and ours: {text}");
    Ok(())
}

#[test]
fn keys_alone_lay_move_and_remove() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at(&shop.job());
    person.0.get_by_label("rip, 100 × 100 mm").focus();
    person.0.run_ok();
    person.key(Modifiers::NONE, Key::Enter);
    person.0.get_by_label("Solid view").focus();
    person.0.run_ok();
    person.key(Modifiers::NONE, Key::Enter);
    let before = person.placements();
    assert_eq!(before.len(), 1, "Enter lays what was taken in the middle of the view");
    person.0.get_by_label("Move rip-1").focus();
    person.0.run_ok();
    person.key(Modifiers::NONE, Key::ArrowRight);
    let (Spot::Point(from), Spot::Point(to)) = (&before[0].spot, &person.placements()[0].spot) else { panic!("points") };
    assert!(
        (to[0] - from[0] - 0.001).abs() < 1e-5 && (to[1] - from[1]).abs() < 1e-5,
        "one millimetre to the right: {from:?}, {to:?}"
    );
    person.press("Remove rip-1");
    assert_eq!(person.placements().len(), 0, "and taken away");
    Ok(())
}

#[test]
fn a_missing_job_is_said_with_what_to_do() {
    let person = Person::at(Path::new("nowhere/smock.tatter.toml"));
    let trouble = person.desk().trouble().expect("it says so");
    assert!(trouble.what.contains("nowhere/smock.tatter.toml") && !trouble.next.is_empty(), "{trouble:?}");
    assert!(person.has("Job, photo or mesh"), "and another can be named");
}
