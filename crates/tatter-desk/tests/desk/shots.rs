//! Several shots of one cloth, charts and known rectangles, told at the desk: what is cut is what the command line cuts of the same.

use std::path::{Path, PathBuf};

use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable as _;
use tatter::color::{Edition, Known};
use tatter::cut::{CutRequest, CutSource, Front, cut_photo};
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::model::{KnownSize, OtherShots, Scale};
use tatter_core::task::Task;
use tatter_desk::{Command, Sheet};
use tatter_weave::Shot;

use crate::Tried;
use crate::person::Person;
use crate::photo::near;
use crate::workshop::{Workshop, ripped, shoot_ripped};

/// Side of a photo, pixels.
const SIDE: usize = 320;

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
fn lamps(shop: &Workshop) -> Tried<PathBuf> {
    let mut text = String::new();
    for from in [20, 110, 200, 290] {
        let (light_from, elevation) = (Angle::degrees(from as f32), Angle::degrees(60.0));
        let name = format!("lamp-{from}.png");
        shop.save(&name, &shoot_ripped(SIDE, &Shot { light_from, elevation, ..Shot::default() })?)?;
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
    person.ask(Command::Lay(vec![light.clone(), dark.clone()]));
    person.choose("Over a dark card", "Use dark.png");
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
    person.ask(Command::Lay(vec![front.clone(), behind.clone(), lamp.clone(), dark]));
    person.choose("Over a dark card", "Use dark.png");
    assert!(!person.has("The lamp alone"), "no lamp without a shot of it behind the cloth");
    person.choose("With a lamp behind", "Use behind.png");
    person.choose("The lamp alone", "Use lamp.png");
    let shots = person.told()?.shots;
    let wanted = OtherShots { backlit: Some(behind.clone()), lamp: Some(lamp.clone()), ..OtherShots::default() };
    assert_eq!(shots, wanted, "two cards and a lamp behind are two ways to one thing");
    accepted_as_by_hand(&mut person, &shop, CutSource::Backlit { front: Front::Photo(front), behind, lamp: Some(lamp) })?;
    assert!(toml(&shop, "front.patch")?.contains("photo_lamp = \"lamp.png\""), "told in the patch");
    person.choose("With a lamp behind", "none");
    assert_eq!(person.told()?.shots, OtherShots::default(), "nor a lamp without its shot");
    Ok(())
}

#[test]
fn a_lights_file_that_is_dropped_brings_its_shots() -> Tried<()> {
    let shop = Workshop::new()?;
    let lights = lamps(&shop)?;
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

/// A chart of 24 colours on the cloth, its upper left corner and the side of a field in pixels.
const CHART: ([usize; 2], usize) = ([20, 20], 20);

fn with_chart(shop: &Workshop) -> Tried<PathBuf> {
    let ([left, top], cell) = CHART;
    let cloth = shoot_ripped(SIDE, &Shot::default())?;
    let fields = Edition::Since2014.patches();
    let photo = Image::from_fn(SIDE, SIDE, |x, y| {
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
    let share = |x: f32, y: f32| [x / SIDE as f32, y / SIDE as f32];
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
    assert!(person.says("Colour"), "how colours were corrected is told");
    accepted_as_by_hand(&mut person, &shop, CutSource::Photo(photo.clone()))?;
    drop(person);
    let mut person = Person::at(&shop.job());
    person.ask(Command::Lay(vec![photo]));
    assert_eq!(chart(&person)?[2], after, "there another day");
    person.press("Take back: a colour chart");
    assert_eq!(person.told()?.color.known, None, "and taken back");
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
    person.press("Undo");
    person.press("Other");
    assert_eq!(person.told()?.recipe.scale, Scale::Unknown, "a rectangle of no known name needs its corners");
    person.draw("Known rectangle", [0.1, 0.1], [0.4, 0.3]);
    person.write("Millimetres from the first corner to the second", "15");
    person.write("Millimetres from the second corner to the third", "10,5");
    let Scale::Rectangle { size: KnownSize::Told { width, height }, corners: Some(corners) } = person.told()?.recipe.scale else {
        panic!("a rectangle: {:?}", person.told()?.recipe.scale)
    };
    assert_eq!((width.get(), height.get()), (15.0, 10.5), "as written");
    assert!(near(corners[2], [0.4 * SIDE as f32, 0.3 * SIDE as f32]), "where it was drawn: {corners:?}");
    person.drag(person.on_photo([0.4, 0.3]), person.on_photo([0.4, 0.31]));
    person.write("Millimetres from the second corner to the third", "10");
    accepted_as_by_hand(&mut person, &shop, CutSource::Photo(photo))?;
    assert!(toml(&shop, "canvas.patch")?.contains("scale_source = \"corners\""), "by its corners");
    Ok(())
}

#[test]
fn a_scale_is_written_as_a_number() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = shop.shoot("canvas.png", SIDE)?;
    let mut person = Person::alone();
    person.ask(Command::Lay(vec![photo.clone()]));
    person.press("Ruler line");
    person.write("The scale as a number", "51,2");
    assert_eq!(person.told()?.recipe.scale, Scale::Width(tatter_core::units::Mm(51.2)), "the photo's width");
    assert!(person.has("The photo shows 51.2 mm from left to right"), "and it is seen");
    person.choose("What the number says", "mm a pixel");
    person.write("The scale as a number", "0.16");
    let Scale::MmPerPixel(mm) = person.told()?.recipe.scale else { panic!("{:?}", person.told()?.recipe.scale) };
    assert_eq!(mm.get(), 0.16, "or a pixel's");
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
