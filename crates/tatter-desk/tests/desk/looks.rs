//! Pictures of the stations, which were looked at when they were made: light and dark, at single and double scale.
//!
//! A frame is compared an eighth as large (a sixteenth at double scale), in colour differences that people see, so that what drivers round otherwise is no change. After a
//! change that is meant, look at what the failing test names; `TATTER_BLESS=1` takes it over, and fails, so that no such run passes.

use std::path::{Path, PathBuf};

use egui::Theme;
use tatter::keep::Over;
use tatter::weave::Weaving;
use tatter_core::image::{Depth, Image, LinearRgb, Map, Stored};

use tatter_core::kernel::area_resize;
use tatter_core::model::KnownSize;
use tatter_core::units::Mm;
use tatter_desk::{Command, Desk, Drawn, OnFolder, OnLoom, OnPhoto, OnStart, Station};
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureFormat, encode, read_stored};
use tatter_testkit::pictures::{differences, on_screen, shown};
use tatter_weave::Shot;

use crate::Tried;
use crate::eye::{Eye, Textures};
use crate::person::{Person, Window};
use crate::photo::SIDE;
use crate::scatter::half_white;
use crate::shots::with_chart;
use crate::workshop::{JOB, Workshop, shoot_ripped};

/// Width of a picture that is kept, pixels.
const WIDTH: usize = 160;
/// Colour difference on average, and that only a few pixels in a thousand may exceed (CIEDE2000): a button that moved by its breadth is more.
const MEAN: f32 = 0.25;
const THOUSANDTHS: f32 = 4.0;

/// A person who looks at a window of 1280 by 800 points.
struct Onlooker<'a> {
    person: Person<'a>,
    eye: Eye,
    window: Window,
}

impl Onlooker<'_> {
    fn new(theme: Theme, scale: f32) -> Tried<Self> {
        let textures = Textures::default();
        let window = Window { scale, theme, ..Window::default() };
        let mut desk = Desk::new(std::sync::Arc::new(|| ()));
        // A frame is compared so small that the grain of the garment is not seen.
        desk.draw(Drawn::Coarsely);
        Ok(Self { person: Person::before(desk, window, textures.clone()), eye: Eye::new(textures)?, window })
    }

    /// Compare what is seen now with the picture of that name.
    fn see(&mut self, name: &str) -> Tried<Result<(), String>> {
        let seen = self.eye.see(&self.person.0, self.window.theme)?;
        let theme = if self.window.theme == Theme::Dark { "dark" } else { "light" };
        let scale = self.window.scale;
        let file = format!("{name}-{theme}-{scale}x.png");
        let whole = std::env::temp_dir().join("tatter-looks").join(&file);
        write(&whole, &seen)?;
        let small = small(&seen);
        let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden").join(&file);
        if std::env::var_os("TATTER_BLESS").is_some() {
            let coded = Stored::from_map(&Map::Color(small), &on_screen(), Depth::Eight);
            write(&golden, &coded)?;
            return Ok(Err(format!("{file} was taken over: look at {}", whole.display())));
        }
        let [mean, most] = differences(&shown(&read_stored(&golden, &Limits::default())?), &small, 2);
        let differs = mean > MEAN || most > THOUSANDTHS;
        Ok(if differs {
            Err(format!("{file}: mean {mean:.2}, some above {most:.2}: look at {}", whole.display()))
        } else {
            Ok(())
        })
    }
}

fn write(path: &Path, picture: &Stored) -> Tried<()> {
    std::fs::create_dir_all(path.parent().ok_or("a folder")?)?;
    Ok(std::fs::write(path, encode(picture, PictureFormat::Png, Effort::Small)?)?)
}

fn small(picture: &Stored) -> Image<LinearRgb> {
    let image = shown(picture);
    area_resize(&image, WIDTH, image.height() * WIDTH / image.width())
}

/// All stations as one goes through them.
fn round(theme: Theme, scale: f32) -> Tried<Vec<String>> {
    let shop = Workshop::new()?;
    let photo: PathBuf = shop.shoot("canvas.png", SIDE)?;
    let mut onlooker = Onlooker::new(theme, scale)?;
    let mut wrong = Vec::new();
    let mut see = |onlooker: &mut Onlooker<'_>, name: &str| {
        wrong.extend(onlooker.see(name)?.err());
        Ok::<(), Box<dyn std::error::Error>>(())
    };
    // A folder that is the same on every machine.
    onlooker.person.write("Folder of the sample job", "salt-ledger");
    see(&mut onlooker, "start")?;
    onlooker.person.ask(Command::Open(shop.job()));
    onlooker.person.ask(Command::Lay(vec![photo]));
    see(&mut onlooker, "photo")?;
    let dark = shop.save("dark.png", &shoot_ripped(SIDE, &Shot { backing: LinearRgb([0.02; 3]), ..Shot::default() })?)?;
    onlooker.person.ask(Command::Lay(vec![dark.clone()]));
    onlooker.person.ask(Command::Photo(OnPhoto::Choose(0)));
    onlooker.person.ask(Command::Photo(OnPhoto::Beside(tatter_desk::Shot::OverDark, Some(dark))));
    onlooker.person.ask(Command::Photo(OnPhoto::KnownSize(KnownSize::Told { width: Mm(15.0), height: Mm(6.0) })));
    onlooker.person.draw("Known rectangle", [0.08, 0.1], [0.73, 0.36]);
    see(&mut onlooker, "shots")?;
    onlooker.person.ask(Command::Go(Station::Patch));
    see(&mut onlooker, "patch")?;
    let coarse = Weaving { side: 256, ..Weaving::default() };
    onlooker.person.ask(Command::Loom(OnLoom::Say(Box::new(coarse))));
    onlooker.person.press("Weave a patch");
    see(&mut onlooker, "loom")?;
    onlooker.person.press("One more");
    onlooker.person.middle_of("Age");
    see(&mut onlooker, "damage")?;
    onlooker.person.ask(Command::Go(Station::Garment));
    onlooker.person.press("rip, 100 × 100 mm");
    onlooker.person.touch("Flat view", [0.5, 0.4]);
    see(&mut onlooker, "garment")?;
    onlooker.person.ask(Command::Go(Station::Delivery));
    see(&mut onlooker, "delivery")?;
    // A scatter by a picture, and folders of patches elsewhere, of which one is missing.
    onlooker.person.ask(Command::Go(Station::Garment));
    std::fs::create_dir(shop.path("shelf"))?;
    for folder in ["shelf", "lost"] {
        onlooker.person.ask(Command::Folder(OnFolder::Add(shop.path(folder))));
    }
    onlooker.person.press("Scatters");
    onlooker.person.press("New scatter");
    onlooker.person.write("Sizes, most", "0.4");
    onlooker.person.write("Sizes, least", "0.2");
    onlooker.person.ask(Command::Bring(vec![half_white(&shop)?]));
    onlooker.person.middle_of("Remove more-here.png");
    see(&mut onlooker, "scatter")?;
    onlooker.person.ask(Command::Save(Over::Nothing));
    onlooker.person.press("rip, 100 × 100 mm");
    onlooker.person.touch("Flat view", [0.7, 0.6]);
    assert_eq!(onlooker.person.placements().len(), 14, "a step that is not saved");
    // Three bands above the page: what went wrong, what was not saved, what another program changed.
    onlooker.person.ask(Command::Open(shop.job()));
    std::fs::write(shop.job(), format!("{JOB}# and theirs\n"))?;
    assert!(onlooker.person.notice("smock.tatter.toml was changed by another program."), "it is noticed");
    onlooker.person.ask(Command::Open("nowhere/waistcoat.tatter.toml".into()));
    onlooker.person.ask(Command::Go(Station::Garment));
    see(&mut onlooker, "bands")?;
    onlooker.person.ask(Command::Dismiss);
    onlooker.person.ask(Command::Lay(vec![with_chart(&shop)?]));
    onlooker.person.press("Colour chart");
    onlooker.person.press("Find the chart");
    see(&mut onlooker, "chart")?;
    onlooker.person.ask(Command::Start(OnStart::Sample(shop.sample()?)));
    see(&mut onlooker, "hint")?;
    Ok(wrong)
}

#[test]
fn every_station_looks_as_when_it_was_looked_at() -> Tried<()> {
    let mut wrong = round(Theme::Dark, 1.0)?;
    wrong.extend(round(Theme::Light, 2.0)?);
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    Ok(())
}
