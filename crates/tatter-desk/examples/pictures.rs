//! Pictures of every station with the sample job on the table, light and dark, at single and double scale, drawn by whatever adapter there is, one
//! in software too. `tools/desk-pictures.sh` runs it and takes over those that the documents show.
//!
//!     cargo build --workspace --example pictures && target/debug/examples/pictures FOLDER SAMPLE
//!
//! SAMPLE is a folder as `tatter demo` makes it; what is done to its job here is not saved.
#![expect(clippy::print_stdout, reason = "it tells what it made")]
#![expect(clippy::disallowed_methods, reason = "it writes pictures into a folder of its own")]

#[path = "../tests/desk/eye.rs"]
mod eye;
#[path = "../tests/desk/person.rs"]
#[expect(dead_code, reason = "a person at a test does more")]
mod person;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use egui::Theme;
use tatter_core::image::Rect;
use tatter_core::model::WearKind;
use tatter_desk::{Command, Desk, OnPatch, OnPhoto, OnStart, OnWear, Station, Tool};
use tatter_files::picture::{Effort, PictureFormat, encode};

use eye::{Eye, Textures};
use person::{Person, Window};

type Tried<T> = Result<T, Box<dyn std::error::Error>>;

/// The window, points.
const SIZE: [f32; 2] = [1280.0, 800.0];
/// What a window of a test has around it, points.
const RIM: f32 = 8.0;
/// More than are made at any station here.
const STEPS: usize = 6;

struct Painter<'a> {
    person: Person<'a>,
    eye: Eye,
    window: Window,
    folder: &'a Path,
}

impl<'a> Painter<'a> {
    fn new(theme: Theme, scale: f32, folder: &'a Path) -> Tried<Self> {
        let textures = Textures::default();
        let window = Window { size: SIZE.map(|side| side + 2.0 * RIM), scale, theme };
        let desk = Desk::new(Arc::new(|| ()));
        Ok(Self { person: Person::before(desk, window, textures.clone()), eye: Eye::new(textures)?, window, folder })
    }

    fn see(&mut self, name: &str) -> Tried<()> {
        let Window { theme, scale, .. } = self.window;
        let [rim, width, height] = [RIM, SIZE[0], SIZE[1]].map(|points| (points * scale).round() as usize);
        let seen = self.eye.see(&self.person.0, theme)?.crop(Rect::new(rim, rim, width, height));
        let theme = if theme == Theme::Dark { "dark" } else { "light" };
        let file = self.folder.join(format!("{name}-{theme}-{scale}x.png"));
        std::fs::write(&file, encode(&seen, PictureFormat::Png, Effort::Small)?)?;
        println!("{}", file.display());
        Ok(())
    }
}

/// Through all stations.
fn round(painter: &mut Painter<'_>, sample: &Path) -> Tried<()> {
    painter.person.write("Folder of the sample job", "salt-ledger");
    painter.see("start")?;
    painter.person.ask(Command::Start(OnStart::Sample(sample.to_owned())));
    painter.see("hint")?;
    painter.person.ask(Command::Start(OnStart::NoHints));
    photo(painter, sample)?;
    patch(painter, sample)?;
    garment(painter, sample)?;
    painter.person.ask(Command::Go(Station::Delivery));
    painter.see("delivery")?;
    put_right(&mut painter.person);
    Ok(())
}

/// All that was done and told is taken back, so that nothing of it is kept for the next round.
fn put_right(person: &mut Person<'_>) {
    for station in [Station::Garment, Station::Photo] {
        person.ask(Command::Go(station));
        (0..STEPS).for_each(|_| person.ask(Command::Undo));
    }
}

fn photo(painter: &mut Painter<'_>, sample: &Path) -> Tried<()> {
    painter.person.ask(Command::Lay(vec![sample.join("photos/moth-hole.png")]));
    painter.person.ask(Command::Photo(OnPhoto::Choose(0)));
    painter.person.ask(Command::Photo(OnPhoto::Take(Tool::Grain)));
    painter.person.ask(Command::Photo(OnPhoto::Draw(vec![[66.0, 900.0], [66.0, 560.0]])));
    painter.person.ask(Command::Photo(OnPhoto::Take(Tool::Light)));
    painter.person.ask(Command::Photo(OnPhoto::Draw(vec![[400.0, 300.0], [250.0, 120.0]])));
    painter.see("photo")
}

fn patch(painter: &mut Painter<'_>, sample: &Path) -> Tried<()> {
    painter.person.ask(Command::Go(Station::Patch));
    painter.person.ask(Command::Patch(OnPatch::Choose(sample.join("rope-burn.patch"))));
    painter.see("patch")?;
    painter.person.press("Weave a patch");
    painter.person.choose("Cloth", "denim");
    painter.see("loom")?;
    painter.person.press("Back to the patches");
    Ok(())
}

fn garment(painter: &mut Painter<'_>, sample: &Path) -> Tried<()> {
    painter.person.ask(Command::Go(Station::Garment));
    painter.person.ask(Command::Select(Some("rope-burn-1".into())));
    painter.person.ask(Command::Nearer(1.9));
    painter.person.ask(Command::Shift([0.1, -0.12]));
    painter.see("garment")?;
    painter.person.ask(Command::Take(Some(moth(&painter.person, sample)?)));
    painter.person.press("Scatters");
    painter.person.press("New scatter");
    painter.see("scatter")?;
    painter.person.press("Wear");
    painter.person.ask(Command::Wear(OnWear::New(WearKind::Abrasion)));
    painter.see("wear")?;
    painter.person.ask(Command::Nearer(1.0 / 1.9));
    painter.person.ask(Command::Shift([-0.1, 0.12]));
    Ok(())
}

/// The patch of the moth's hole.
fn moth(person: &Person<'_>, sample: &Path) -> Tried<PathBuf> {
    let job = person.desk().open().ok_or("a job is open")?.job();
    let patch = job.patches.iter().find(|patch| patch.name.contains("moth")).ok_or("the sample has a moth's hole")?;
    Ok(sample.join(&patch.path))
}

fn main() -> Tried<()> {
    let told: Vec<PathBuf> = std::env::args_os().skip(1).map(PathBuf::from).collect();
    let [folder, sample] = &told[..] else { return Err("usage: pictures FOLDER SAMPLE".into()) };
    std::fs::create_dir_all(folder)?;
    for theme in [Theme::Dark, Theme::Light] {
        for scale in [1.0, 2.0] {
            round(&mut Painter::new(theme, scale, folder)?, sample)?;
        }
    }
    Ok(())
}
