//! A photo from the table to the drawer: opened, told about, undone, accepted.

use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable as _;
use tatter::cut::{CutRequest, CutSource, cut_photo};
use tatter_core::model::{Scale, StrokeKind, Subject, SubjectChoice};
use tatter_core::task::Task;
use tatter_desk::{Command, OnPhoto, Station};

use crate::Tried;
use crate::person::Person;
use crate::workshop::Workshop;

/// Side of a photo, pixels: with a rip of 12 mm over half of it. A photo as large as a camera's is cut by `tools/desk-session`.
pub(crate) const SIDE: usize = 160;

impl Person<'_> {
    /// Where a place of the photo is seen, both in shares: all of it is in the middle of the view.
    pub(crate) fn on_photo(&self, [x, y]: [f32; 2]) -> egui::Pos2 {
        let view = self.0.get_by_label("Photo on the table").rect();
        let side = 0.97 * view.width().min(view.height());
        egui::Rect::from_center_size(view.center(), egui::vec2(side, side)).lerp_inside(egui::vec2(x, y))
    }

    pub(crate) fn draw(&mut self, tool: &str, from: [f32; 2], to: [f32; 2]) {
        self.press(tool);
        let ends = [from, to].map(|place| self.on_photo(place));
        self.drag(ends[0], ends[1]);
    }

    pub(crate) fn told(&self) -> Tried<tatter::cutting::Told> {
        Ok(tatter::cutting::Told::clone(self.desk().photos().sheet().ok_or("a photo lies there")?.told()))
    }
}

pub(crate) fn near(one: [f32; 2], other: [f32; 2]) -> bool {
    (one[0] - other[0]).hypot(one[1] - other[1]) < 3.0
}

#[test]
fn a_photo_is_told_about_undone_and_accepted_as_the_command_line_cuts_it() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = shop.shoot("canvas.png", SIDE)?;
    let mut person = Person::at(&shop.job());
    assert!(person.has("Photo: empty"), "no photo lies there");
    person.ask(Command::Lay(vec![photo.clone()]));
    assert_eq!(person.desk().station(), Station::Photo, "one is led there");
    assert!(person.has("Photo: in work"), "and the station says so");
    let sheet = person.desk().photos().sheet().ok_or("it lies there")?;
    assert_eq!(sheet.trouble(), None, "it could be cut");
    let preview = sheet.preview().ok_or("what would be cut is shown")?;
    assert!(preview.shrunk == 1.0 && preview.cut.openings > 0, "as it will be, with its hole: {}", preview.cut.why);

    person.hurry();
    person.draw("Cloth stroke", [0.1, 0.1], [0.4, 0.1]);
    let stroke = person.told()?.recipe.strokes.pop().ok_or("a stroke")?;
    let side = SIDE as f32;
    let ends = (stroke.points[0], stroke.points[stroke.points.len() - 1]);
    assert_eq!(stroke.kind, StrokeKind::Cloth, "it says what was taken");
    assert!(near(ends.0, [0.1 * side, 0.1 * side]) && near(ends.1, [0.4 * side, 0.1 * side]), "where it was drawn: {ends:?}");

    person.draw("Ruler line", [0.1, 0.9], [0.6, 0.9]);
    assert_eq!(person.told()?.recipe.scale, Scale::Unknown, "a line without a length says nothing");
    person.write("Length of the ruler line in millimetres", "10");
    let Scale::Ruler { from, to, length } = person.told()?.recipe.scale else { panic!("a ruler: {:?}", person.told()?) };
    assert!(near(from, [0.1 * side, 0.9 * side]) && near(to, [0.6 * side, 0.9 * side]), "{from:?} to {to:?}");
    assert_eq!(length.get(), 10.0, "as written");

    person.draw("Grain line", [0.2, 0.8], [0.2, 0.2]);
    let grain = person.told()?.recipe.grain.ok_or("a grain")?.to_degrees();
    assert!((grain - 90.0).abs() < 0.5, "upright: {grain}");
    person.press("Undo");
    assert_eq!(person.told()?.recipe.grain, None, "one step back");
    person.key(Modifiers::COMMAND, Key::Z);
    person.key(Modifiers::COMMAND, Key::Z);
    assert_eq!(person.told()?, tatter::cutting::Told::default(), "back to nothing told");
    for _ in 0..3 {
        person.press("Redo");
    }
    assert!(person.told()?.recipe.grain.is_some() && person.told()?.recipe.strokes.len() == 1, "and all of it again");

    person.draw("Damage stroke", [0.5, 0.3], [0.5, 0.35]);
    person.draw("Rubber", [0.5, 0.25], [0.5, 0.45]);
    let strokes = person.told()?.recipe.strokes;
    assert!(strokes.len() == 1 && strokes[0].kind == StrokeKind::Cloth, "the rubber took the other: {strokes:?}");

    let told = person.told()?;
    person.take_time();
    person.press("Accept");
    assert_eq!(person.desk().photos().sheet().and_then(tatter_desk::Sheet::trouble), None, "it could be kept");
    assert!(person.has("Photo: ready"), "and the station says so");
    assert_eq!(person.desk().patches(), ["canvas", "rip"], "the drawer has it");
    let request = CutRequest {
        source: CutSource::Photo(photo),
        output: shop.path("by-hand/canvas.patch"),
        recipe: told.recipe,
        color: told.color,
        strokes: None,
    };
    std::fs::create_dir(shop.path("by-hand"))?;
    cut_photo(&request, &Task::new())?;
    assert!(shop.files("canvas.patch")?.len() > 5, "a patch is several files");
    assert_eq!(shop.files("canvas.patch")?, shop.files("by-hand/canvas.patch")?, "byte for byte");
    Ok(())
}

#[test]
fn what_was_told_of_a_photo_is_there_another_day() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = shop.shoot("canvas.png", SIDE)?;
    let mut person = Person::at(&shop.job());
    person.ask(Command::Lay(vec![photo.clone()]));
    person.hurry();
    person.draw("Cloth stroke", [0.1, 0.1], [0.4, 0.1]);
    person.draw("Ruler line", [0.1, 0.9], [0.6, 0.9]);
    person.write("Length of the ruler line in millimetres", "10");
    person.draw("Grain line", [0.2, 0.8], [0.2, 0.2]);
    person.draw("Grey pick", [0.8, 0.8], [0.8, 0.8]);
    let told = person.told()?;
    assert!(told.recipe.grain.is_some() && told.color.known.is_some() && told.recipe.strokes.len() == 1, "all of it: {told:?}");
    drop(person);

    let mut person = Person::at(&shop.job());
    person.hurry();
    person.ask(Command::Lay(vec![photo.clone()]));
    assert_eq!(person.told()?, told, "to the bit");
    assert!(person.has("A ruler line of 10 mm"), "and it is seen");
    person.press("Undo");
    assert_eq!(person.told()?, tatter::cutting::Told::default(), "which can be taken back in one step");
    drop(person);

    let mut person = Person::at(&shop.job());
    person.hurry();
    person.ask(Command::Lay(vec![photo]));
    assert_eq!(person.told()?, tatter::cutting::Told::default(), "taken back, it stays so");
    Ok(())
}

#[test]
fn a_patch_that_is_there_is_not_written_over_unasked() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = shop.shoot("canvas.png", SIDE)?;
    let before = shop.files("rip.patch")?;
    let mut person = Person::at(&shop.job());
    person.ask(Command::Lay(vec![photo]));
    person.write("Name of the patch", "rip");
    person.press("Accept");
    let trouble = person.desk().photos().sheet().and_then(|sheet| sheet.trouble().cloned()).ok_or("it says so")?;
    assert!(trouble.what.contains("already"), "{trouble:?}");
    assert_eq!(shop.files("rip.patch")?, before, "what is there stays");
    person.press("Replace it");
    assert_ne!(shop.files("rip.patch")?, before, "until one asks for it");
    assert!(person.has("Photo: ready"), "then it is kept");
    Ok(())
}

#[test]
fn photos_are_cut_without_a_job_and_what_is_no_photo_is_said() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = shop.shoot("canvas.png", SIDE)?;
    let broken = shop.path("broken.jpg");
    std::fs::write(&broken, b"\xff\xd8 and then nothing")?;
    let mut person = Person::alone();
    person.ask(Command::Lay(vec![photo, broken]));
    person.press("Accept");
    assert!(person.desk().patches().contains(&"canvas"), "beside the photo: {:?}", person.desk().patches());
    person.press("broken.jpg");
    let trouble = person.desk().photos().sheet().and_then(|sheet| sheet.trouble().cloned()).ok_or("it says so")?;
    assert!(trouble.what.contains("broken.jpg") && !trouble.next.is_empty(), "{trouble:?}");
    assert!(person.has("Photo: needs a look"), "and so does the station");
    person.press("Put broken.jpg away");
    assert!(person.has("Photo: ready"), "the other is done");
    person.ask(Command::Photo(OnPhoto::PutAway(0)));
    assert!(person.has("Photo file"), "and another can be named");
    Ok(())
}

#[test]
fn keys_alone_mark_and_take_back() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = shop.shoot("canvas.png", SIDE)?;
    let mut person = Person::alone();
    person.ask(Command::Lay(vec![photo]));
    person.press("Loop");
    person.0.get_by_label("Photo on the table").focus();
    person.0.run_ok();
    person.key(Modifiers::NONE, Key::Enter);
    let [x, y, radius] = person.told()?.recipe.around.ok_or("a loop in the middle of the view")?;
    assert!(near([x, y], [0.5 * SIDE as f32; 2]) && radius > 10.0, "{x}, {y}, {radius}");
    person.press("Take back: a loop around one place");
    assert_eq!(person.told()?.recipe.around, None, "taken back");
    person.press("Undo");
    assert!(person.told()?.recipe.around.is_some(), "which is a step like any other");
    Ok(())
}

#[test]
fn what_is_stopped_stays_as_it_was_until_one_asks_again() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = shop.shoot("canvas.png", 2 * SIDE)?;
    let mut person = Person::alone();
    person.ask(Command::Lay(vec![photo]));
    let shown = |person: &Person<'_>| {
        let sheet = person.desk().photos().sheet().ok_or("a photo lies there")?;
        Ok::<_, &str>(sheet.preview().is_some_and(|preview| preview.told == **sheet.told()))
    };
    assert!(shown(&person)?, "what is told is what is shown");
    person.0.state_mut().obey(Command::Photo(OnPhoto::Subject(SubjectChoice::Told(Subject::Piece))));
    person.0.step();
    person.0.state_mut().obey(Command::Photo(OnPhoto::Stop));
    person.rest();
    assert!(!shown(&person)?, "it was stopped before it was cut");
    person.press("Undo");
    assert!(shown(&person)?, "what was told before is shown again");
    person.0.state_mut().obey(Command::Photo(OnPhoto::Subject(SubjectChoice::Told(Subject::Damage))));
    person.0.step();
    person.0.state_mut().obey(Command::Photo(OnPhoto::Stop));
    person.rest();
    person.press("Cut it");
    assert!(shown(&person)?, "asked again, it is cut");
    Ok(())
}
