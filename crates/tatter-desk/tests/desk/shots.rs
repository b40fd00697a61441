//! Several shots of one cloth, charts and known rectangles, told at the desk: what is cut is what the command line cuts of the same.

use std::path::{Path, PathBuf};

use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable as _;
use tatter::color::{ColorRequest, Edition, Known};
use tatter::cut::{CutRequest, CutSource, Front, cut_photo};
use tatter::cutting::{Told, recall_told};
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::model::{KnownSize, OtherShots, Scale};
use tatter_core::task::Task;
use tatter_desk::{Command, Sheet};
use tatter_testkit::cards::cloths;
use tatter_testkit::rulers::CASES;
use tatter_weave::Shot;

use crate::Tried;
use crate::person::Person;
use crate::photo::{SIDE, near};
use crate::workshop::{Workshop, ripped, shoot_ripped};

fn over(shop: &Workshop, name: &str, card: f32) -> Tried<PathBuf> {
    let shot = Shot { backing: LinearRgb([card; 3]), ..Shot::default() };
    shop.save(name, &shoot_ripped(SIDE, &shot)?)
}

/// A lamp of even light behind it; cloth lets 15 % through.
fn lamp_behind(shop: &Workshop) -> Tried<[PathBuf; 2]> {
    let woven = ripped(SIDE)?;
    let opacity = &woven.maps.opacity;
    let lit = opacity.map(|alpha| LinearRgb([0.6 * (1.0 - 0.85 * alpha.0); 3]));
    Ok([shop.save("behind.png", &lit)?, shop.save("lamp.png", &Image::filled(SIDE, SIDE, LinearRgb([0.6; 3])))?])
}

/// Four lamps around it, and the file that lists them.
fn lamps(shop: &Workshop, side: usize) -> Tried<PathBuf> {
    let mut text = String::new();
    for from in [20, 110, 200, 290] {
        let (light_from, elevation) = (Angle::degrees(from as f32), Angle::degrees(60.0));
        let name = format!("lamp-{from}.png");
        shop.save(&name, &shoot_ripped(side, &Shot { light_from, elevation, ..Shot::default() })?)?;
        text += &format!("[[light]]\nshot = \"{name}\"\nazimuth_deg = {from}\nelevation_deg = 60\n");
    }
    std::fs::write(shop.path("lights.toml"), text)?;
    Ok(shop.path("lights.toml"))
}

/// Accept, and compare with what the verb makes of the same words.
fn accepted_as_by_hand(person: &mut Person<'_>, shop: &Workshop, source: CutSource) -> Tried<()> {
    let told = person.told()?;
    person.press("Accept");
    let sheet = person.desk().photos().sheet().ok_or("a photo")?;
    assert_eq!(sheet.trouble(), None, "it could be kept");
    let name = sheet.path().file_stem().ok_or("a name")?.to_string_lossy().into_owned();
    let by_hand = shop.path("by-hand").join(format!("{name}.patch"));
    std::fs::create_dir_all(shop.path("by-hand"))?;
    let request = CutRequest { source, output: by_hand, recipe: told.recipe, color: told.color, strokes: None };
    cut_photo(&request, &Task::new())?;
    let cut = shop.files(&format!("{name}.patch"))?;
    assert!(cut.len() > 5, "a patch is several files");
    assert!(cut == shop.files(&format!("by-hand/{name}.patch"))?, "byte for byte");
    Ok(())
}

fn toml(shop: &Workshop, patch: &str) -> Tried<String> {
    Ok(std::fs::read_to_string(shop.path(patch).join("patch.toml"))?)
}

#[test]
fn the_same_cloth_over_two_cards_is_cut_as_the_command_line_does() -> Tried<()> {
    let shop = Workshop::new()?;
    let (dark, light) = (over(&shop, "dark.png", 0.02)?, over(&shop, "light.png", 0.8)?);
    let mut person = Person::at(&shop.job());
    person.hurry();
    person.ask(Command::Lay(vec![light.clone(), dark.clone()]));
    person.choose("Over a dark card", "Use dark.png");
    person.take_time();
    assert_eq!(person.told()?.shots.over_dark.as_deref(), Some(dark.as_path()), "told");
    assert!(person.has("dark.png: light.png over a dark card"), "the strip says what the other photo is");
    let preview = person.desk().photos().sheet().and_then(Sheet::preview).ok_or("what would be cut")?;
    let opacity = preview.cut.patch.maps[Channel::Opacity].as_ref().ok_or("an opacity")?;
    assert_eq!(opacity.origin.name(), "measured", "by both");
    accepted_as_by_hand(
        &mut person,
        &shop,
        CutSource::Backings { dark: dark.clone(), light: light.clone(), colors: None, lights: None },
    )?;
    assert!(toml(&shop, "light.patch")?.contains("photo_over_dark = \"dark.png\""), "and the patch tells it");
    assert!(person.has("Photo: ready"), "the dark shot is no photo that waits");
    drop(person);

    let mut person = Person::at(&shop.job());
    person.hurry();
    person.ask(Command::Lay(vec![light]));
    assert_eq!(person.told()?.shots.over_dark.as_deref(), Some(dark.as_path()), "there another day, and not in the strip");
    person.press("Take back: over a dark card: dark.png");
    assert_eq!(person.told()?.shots, OtherShots::default(), "taken back");
    person.press("Undo");
    assert!(person.told()?.shots.over_dark.is_some(), "a step like any other");
    Ok(())
}

#[test]
fn a_lamp_behind_is_told_and_what_cannot_stand_beside_it_goes() -> Tried<()> {
    let shop = Workshop::new()?;
    let (front, dark) = (over(&shop, "front.png", 0.02)?, over(&shop, "dark.png", 0.02)?);
    let [behind, lamp] = lamp_behind(&shop)?;
    let mut person = Person::alone();
    person.hurry();
    person.ask(Command::Lay(vec![front.clone(), behind.clone(), lamp.clone(), dark]));
    person.choose("Over a dark card", "Use dark.png");
    assert!(!person.has("The lamp alone"), "no lamp without a shot of it behind the cloth");
    person.choose("With a lamp behind", "Use behind.png");
    person.choose("The lamp alone", "Use lamp.png");
    let shots = person.told()?.shots;
    person.take_time();
    let wanted = OtherShots { backlit: Some(behind.clone()), lamp: Some(lamp.clone()), ..OtherShots::default() };
    assert_eq!(shots, wanted, "two cards and a lamp behind are two ways to one thing");
    accepted_as_by_hand(&mut person, &shop, CutSource::Backlit { front: Front::Photo(front), behind, lamp: Some(lamp) })?;
    assert!(toml(&shop, "front.patch")?.contains("photo_lamp = \"lamp.png\""), "told in the patch");
    person.hurry();
    person.choose("With a lamp behind", "none");
    assert_eq!(person.told()?.shots, OtherShots::default(), "nor a lamp without its shot");
    Ok(())
}

#[test]
fn a_lights_file_that_is_dropped_brings_its_shots() -> Tried<()> {
    let shop = Workshop::new()?;
    let lights = lamps(&shop, SIDE)?;
    let mut person = Person::at(&shop.job());
    person.ask(Command::Bring(vec![lights.clone()]));
    person.quiet();
    let sheet = person.desk().photos().sheet().ok_or("a photo was laid")?;
    assert_eq!(sheet.path(), shop.path("lamp-20.png"), "the first of the file");
    assert_eq!(sheet.told().shots.lights.as_ref(), Some(&lights), "with all of them");
    assert!(person.desk().open().is_some(), "the job stays");
    accepted_as_by_hand(&mut person, &shop, CutSource::Lights(lights.clone()))?;
    assert!(toml(&shop, "lamp-20.patch")?.contains("light_4 = "), "measured under four lamps");

    std::fs::write(&lights, "[[light]]\nshot = \"nowhere.png\"\nazimuth_deg = 0\nelevation_deg = 60\n")?;
    let mut person = Person::alone();
    person.ask(Command::Lay(vec![shop.path("lamp-20.png")]));
    person.ask(Command::Bring(vec![lights]));
    let trouble = person.desk().photos().sheet().and_then(Sheet::trouble).cloned().ok_or("it says so")?;
    assert!(trouble.what.contains("lights.toml") && trouble.next.contains("[[light]]"), "{trouble:?}");
    person.press("Undo");
    assert_eq!(person.desk().photos().sheet().and_then(Sheet::trouble), None, "taken back, all is well");
    Ok(())
}

#[test]
fn a_lights_file_with_shots_of_another_size_is_refused() -> Tried<()> {
    let shop = Workshop::new()?;
    let lights = lamps(&shop, SIDE / 2)?;
    let photo = shop.shoot("canvas.png", SIDE)?;
    let mut person = Person::alone();
    person.ask(Command::Lay(vec![photo.clone()]));
    person.draw("Cloth stroke", [0.1, 0.1], [0.4, 0.1]);
    person.ask(Command::Bring(vec![lights.clone()]));
    let trouble = person.desk().photos().sheet().and_then(Sheet::trouble).cloned().ok_or("it says so")?;
    assert!(trouble.what.contains("The photo has 160") && trouble.what.contains("shots of the lights file 80"), "{trouble:?}");
    assert!(trouble.next.contains("strokes and lines of this photo would lie elsewhere"), "{trouble:?}");
    assert!(person.says("Take the lights file back"), "in place");
    person.press("Take back: under several lamps: lights.toml");
    let sheet = person.desk().photos().sheet().ok_or("the photo lies there")?;
    assert!(sheet.trouble().is_none() && sheet.preview().is_some(), "without it, it is cut as before");
    assert_eq!(person.told()?.recipe.strokes.len(), 1, "with what was told of it");

    // Another photo of the shots' own size stands for them as well as one of them.
    let small = shop.shoot("small.png", SIDE / 2)?;
    person.ask(Command::Lay(vec![small]));
    person.ask(Command::Bring(vec![lights]));
    let trouble = person.desk().photos().sheet().and_then(Sheet::trouble).cloned();
    assert!(trouble.is_none_or(|trouble| !trouble.what.contains("shots of the lights file")), "no refusal for its size");
    Ok(())
}

/// A chart of 24 colours on the cloth, its upper left corner and the side of a field in pixels.
const CHART: ([usize; 2], usize) = ([20, 20], 20);
/// Side of a photo in which there is room for it above the rip.
const WIDE: usize = 256;

pub(crate) fn with_chart(shop: &Workshop) -> Tried<PathBuf> {
    let ([left, top], cell) = CHART;
    let cloth = shoot_ripped(WIDE, &Shot::default())?;
    let fields = Edition::Since2014.patches();
    let photo = Image::from_fn(WIDE, WIDE, |x, y| {
        let (u, v) = (x.wrapping_sub(left), y.wrapping_sub(top));
        let gap = |t: usize| t % cell < 2 || t % cell >= cell - 2;
        match (u < 6 * cell && v < 4 * cell, gap(u) || gap(v)) {
            (false, _) => cloth.get(x, y),
            (true, true) => LinearRgb([0.03; 3]),
            (true, false) => fields[v / cell * 6 + u / cell],
        }
    });
    shop.save("chart.png", &photo.map(|c| LinearRgb([0.8 * c.0[0], c.0[1], 0.6 * c.0[2]])))
}

fn chart(person: &Person<'_>) -> Tried<[[f32; 2]; 4]> {
    match person.told()?.color.known {
        Some(Known::Chart(corners)) => Ok(corners),
        other => Err(format!("a chart, not {other:?}").into()),
    }
}

#[test]
fn the_corners_of_a_chart_are_drawn_and_dragged() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = with_chart(&shop)?;
    let mut person = Person::at(&shop.job());
    person.ask(Command::Lay(vec![photo.clone()]));
    person.hurry();
    let share = |x: f32, y: f32| [x / WIDE as f32, y / WIDE as f32];
    person.draw("Colour chart", share(20.0, 20.0), share(160.0, 110.0));
    assert!(near(chart(&person)?[2], [160.0, 110.0]), "from corner to corner: {:?}", chart(&person)?);
    let (from, to) = (person.on_photo(share(160.0, 110.0)), person.on_photo(share(140.0, 100.0)));
    person.drag(from, to);
    assert!(near(chart(&person)?[2], [140.0, 100.0]), "one corner was dragged: {:?}", chart(&person)?);
    person.press("Undo");
    assert!(near(chart(&person)?[2], [160.0, 110.0]), "in one step: {:?}", chart(&person)?);
    person.press("Redo");
    let before = chart(&person)?[1];
    for (number, to) in [(2, share(140.0, 20.0)), (4, share(20.0, 100.0))] {
        let from = person.middle_of(&format!("Corner {number} of the colour chart"));
        let to = person.on_photo(to);
        person.drag(from, to);
    }
    assert!(
        near(chart(&person)?[1], [140.0, 20.0]) && !near(chart(&person)?[1], before),
        "and the others: {:?}",
        chart(&person)?
    );
    person.0.get_by_label("Corner 3 of the colour chart").focus();
    person.0.run_ok();
    let before = chart(&person)?[2];
    person.key(Modifiers::NONE, Key::ArrowRight);
    let after = chart(&person)?[2];
    assert!(
        (after[0] - before[0] - 1.0).abs() < 1e-3 && after[1] == before[1],
        "a key moves it by a pixel: {before:?} to {after:?}"
    );
    person.take_time();
    assert!(person.says("Colour"), "how colours were corrected is told");
    accepted_as_by_hand(&mut person, &shop, CutSource::Photo(photo.clone()))?;
    drop(person);
    let mut person = Person::at(&shop.job());
    person.hurry();
    person.ask(Command::Lay(vec![photo]));
    assert_eq!(chart(&person)?[2], after, "there another day");
    person.press("Take back: a colour chart");
    assert_eq!(person.told()?.color.known, None, "and taken back");
    Ok(())
}

/// Its four corners come as handles, and what is cut is what `tatter cut --chart find` cuts.
#[test]
fn a_chart_is_found_by_a_press() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = with_chart(&shop)?;
    let mut person = Person::at(&shop.job());
    person.ask(Command::Lay(vec![photo.clone()]));
    person.press("Colour chart");
    person.press("Find the chart");
    let ([left, top], cell) = CHART;
    let corner = |u: usize, v: usize| [left + u * cell, top + v * cell].map(|pixels| pixels as f32);
    let lies = [corner(0, 0), corner(6, 0), corner(6, 4), corner(0, 4)];
    let found = chart(&person)?;
    // The chart's frame is two pixels broad: its corners are meant to a third of a field.
    assert!(
        found.iter().zip(&lies).all(|(one, other)| (one[0] - other[0]).hypot(one[1] - other[1]) < 7.0),
        "{found:?}, not {lies:?}"
    );
    assert!((1..=4).all(|number| person.has(&format!("Corner {number} of the colour chart"))), "as four handles");
    let kept = recall_told(&shop.job(), &photo).and_then(|told| told.color.known);
    assert_eq!(kept, Some(Known::Chart(found)), "and kept for another day");
    person.press("Undo");
    assert_eq!(person.told()?.color.known, None, "one step");
    person.press("Redo");
    person.press("Accept");
    let color = ColorRequest { known: Some(Known::ChartSomewhere), flat_field: None };
    std::fs::create_dir(shop.path("by-hand"))?;
    let output = shop.path("by-hand/chart.patch");
    cut_photo(
        &CutRequest { source: CutSource::Photo(photo), output, recipe: Told::default().recipe, color, strokes: None },
        &Task::new(),
    )?;
    assert!(shop.files("chart.patch")? == shop.files("by-hand/chart.patch")?, "byte for byte");

    let plain = shop.shoot("canvas.png", SIDE)?;
    person.ask(Command::Lay(vec![plain]));
    person.press("Find the chart");
    assert!(person.says("No 24-patch chart (6 × 4) was found in the photo for certain"), "where it was asked");
    assert!(person.says("Mark its four corners in order around it"), "with what to do");
    let sheet = person.desk().photos().sheet().ok_or("a photo")?;
    assert!(sheet.trouble().is_none() && sheet.told().color.known.is_none(), "and the photo is cut as before");
    Ok(())
}

#[test]
fn a_rectangle_of_known_size_gives_the_scale() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = shop.shoot("canvas.png", SIDE)?;
    let mut person = Person::at(&shop.job());
    person.ask(Command::Lay(vec![photo.clone()]));
    person.press("Known rectangle");
    person.press("Card");
    assert_eq!(person.told()?.recipe.scale, Scale::Rectangle { size: KnownSize::Card, corners: None }, "it is to be found");
    let trouble = person.desk().photos().sheet().and_then(Sheet::trouble).cloned().ok_or("there is none in this photo")?;
    assert!(!trouble.next.is_empty(), "{trouble:?}");
    assert!(
        person.says("drag its corners") || person.says("draw from corner"),
        "and the remedy is one of the desk's: {trouble:?}"
    );
    person.hurry();
    person.press("Undo");
    person.press("Other");
    assert_eq!(person.told()?.recipe.scale, Scale::Unknown, "a rectangle of no known name needs its corners");
    person.draw("Known rectangle", [0.1, 0.1], [0.75, 0.35]);
    person.write("Millimetres from the first corner to the second", "16,6");
    person.write("Millimetres from the second corner to the third", "6,5");
    let Scale::Rectangle { size: KnownSize::Told { width, height }, corners: Some(corners) } = person.told()?.recipe.scale else {
        panic!("a rectangle: {:?}", person.told()?.recipe.scale)
    };
    assert_eq!((width.get(), height.get()), (16.6, 6.5), "as written");
    assert!(near(corners[2], [0.75 * SIDE as f32, 0.35 * SIDE as f32]), "where it was drawn: {corners:?}");
    person.drag(person.on_photo([0.75, 0.35]), person.on_photo([0.75, 0.36]));
    person.write("Millimetres from the second corner to the third", "6,6");
    person.take_time();
    accepted_as_by_hand(&mut person, &shop, CutSource::Photo(photo))?;
    assert!(toml(&shop, "canvas.patch")?.contains("scale_source = \"corners\""), "by its corners");
    Ok(())
}

#[test]
fn a_scale_is_written_as_a_number() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = shop.shoot("canvas.png", SIDE)?;
    let mut person = Person::alone();
    person.hurry();
    person.ask(Command::Lay(vec![photo.clone()]));
    person.press("Ruler line");
    person.write("The scale as a number", "51,2");
    assert_eq!(person.told()?.recipe.scale, Scale::Width(tatter_core::units::Mm(51.2)), "the photo's width");
    assert!(person.has("The photo shows 51.2 mm from left to right"), "and it is seen");
    person.choose("What the number says", "mm a pixel");
    person.write("The scale as a number", "0.16");
    let Scale::MmPerPixel(mm) = person.told()?.recipe.scale else { panic!("{:?}", person.told()?.recipe.scale) };
    assert_eq!(mm.get(), 0.16, "or a pixel's");
    person.take_time();
    accepted_as_by_hand(&mut person, &shop, CutSource::Photo(photo))
}

#[test]
fn an_even_card_takes_uneven_light_out() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = shop.shoot("canvas.png", SIDE)?;
    let card = shop.save("card.png", &Image::from_fn(SIDE, SIDE, |x, _| LinearRgb([0.5 + 0.3 * x as f32 / SIDE as f32; 3])))?;
    let mut person = Person::at(&shop.job());
    person.ask(Command::Lay(vec![photo.clone(), card.clone()]));
    person.choose("An even card", "Use card.png");
    assert_eq!(person.told()?.color.flat_field.as_deref(), Some(Path::new(&card)), "told");
    accepted_as_by_hand(&mut person, &shop, CutSource::Photo(photo))?;
    assert!(toml(&shop, "canvas.patch")?.contains("flat_field = \"card.png\""), "and the patch tells it");
    Ok(())
}

/// The ruler is the testkit's, seen by its pinhole; what is cut is what `tatter cut --scale-by ruler` cuts.
#[test]
fn a_ruler_is_found_by_a_press() -> Tried<()> {
    let shop = Workshop::new()?;
    let case = &CASES[0];
    let photo = shop.save("ruled.png", &case.shoot(&cloths()[case.cloth]))?;
    let plain = shop.shoot("canvas.png", SIDE)?;
    let mut person = Person::at(&shop.job());
    person.hurry();
    person.ask(Command::Lay(vec![photo.clone()]));
    person.press("Ruler line");
    person.press("Find the ruler");
    assert_eq!(person.told()?.recipe.scale, Scale::FoundRuler, "it is to be found");
    assert!(person.says("A ruler in the photo gives the scale"), "and told as that");
    person.press("Undo");
    assert_eq!(person.told()?.recipe.scale, Scale::Unknown, "one step");
    person.press("Redo");
    person.take_time();
    accepted_as_by_hand(&mut person, &shop, CutSource::Photo(photo))?;
    assert!(toml(&shop, "ruled.patch")?.contains("scale_source = \"ruler\""), "by its marks");

    person.ask(Command::Lay(vec![plain]));
    person.press("Find the ruler");
    let trouble = person.desk().photos().sheet().and_then(Sheet::trouble).cloned().ok_or("there is none in this photo")?;
    assert!(trouble.what.starts_with("No ruler was found in the photo"), "{trouble:?}");
    assert!(
        person.says("mark two of its places with a ruler line") && !person.says("--ruler"),
        "and the remedy is one of the desk's: {trouble:?}"
    );
    Ok(())
}
