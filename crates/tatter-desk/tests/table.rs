//! The desk used through the labels that readers of screens say: open, take, lay, turn, undo, save, deliver, put back.
#![expect(clippy::disallowed_methods, reason = "a test of the desk needs a scratch folder")]

use std::collections::BTreeMap;
use std::error::Error;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use glam::{Vec2, Vec3};
use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, PerChannel};
use tatter_core::image::{ColorTags, HeightRange, Image, Layout, LinearRgb, Map, Samples, Size, Stored, Unit};
use tatter_core::mesh::{Mesh, Part};
use tatter_core::model::{Origin, Patch, PatchMap, ScaleSource, Spot, Subject, Weave};
use tatter_core::task::Task;
use tatter_core::units::MmPerTexel;
use tatter_desk::{Command, Desk, Station, dress};
use tatter_files::job::read_job;
use tatter_files::mesh::{MaterialToWrite, write_glb};
use tatter_files::patch::write_patch;
use tatter_files::picture::{Effort, PictureFormat, encode};

type Tried<T> = Result<T, Box<dyn Error>>;

/// Longer than anything here takes on a slow machine without a card.
const PATIENCE: Duration = Duration::from_secs(120);
/// Side of a texture; 4 mm a texel.
const SIDE: usize = 128;

/// A folder with a panel of canvas of half a metre, textures of 0.512 m, a patch of 100 mm, and a job with a comment.
struct Workshop(tempfile::TempDir);

impl Workshop {
    fn new() -> Tried<Self> {
        let shop = Self(tempfile::tempdir()?);
        let material = MaterialToWrite { name: "canvas".into(), ..MaterialToWrite::default() };
        std::fs::write(shop.path("smock.glb"), write_glb(&panel(), &[material]))?;
        std::fs::create_dir(shop.path("textures"))?;
        for (name, layout, texel) in
            [("canvas_base_color.png", Layout::Rgb, &[150_u8, 120, 80][..]), ("canvas_opacity.png", Layout::Gray, &[255])]
        {
            let samples = Samples::U8(texel.repeat(SIDE * SIDE));
            let stored = Stored { size: Size::new(SIDE, SIDE), layout, samples, tags: ColorTags::default() };
            std::fs::write(shop.path("textures").join(name), encode(&stored, PictureFormat::Png, Effort::Fast)?)?;
        }
        write_patch(&patch(), &shop.path("rip.patch"), &[], &Task::new())?;
        std::fs::write(shop.job(), JOB)?;
        Ok(shop)
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn job(&self) -> PathBuf {
        self.path("smock.tatter.toml")
    }

    fn textures(&self) -> Tried<BTreeMap<PathBuf, Vec<u8>>> {
        let files = std::fs::read_dir(self.path("textures"))?;
        files.map(|file| file.map_err(Into::into).and_then(|file| Ok((file.path(), std::fs::read(file.path())?)))).collect()
    }
}

const JOB: &str = "# the ferryman's\nformat = 1\n\n[garment]\nmesh = \"smock.glb\"\nmm_per_unit = 1000.0\n\n[[garment.map]]\n\
    file = \"textures/canvas_base_color.png\"\nchannels = \"base_color\"\n\n[[garment.map]]\nfile = \"textures/canvas_opacity.png\"\n\
    channels = \"opacity\"\n";

fn panel() -> Mesh {
    let mut part = Part { name: "front".into(), material: "canvas".into(), ..Part::default() };
    for [u, v] in [[0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]] {
        part.positions.push(Vec3::new(0.512 * u, 0.512 * (1.0 - v), 0.0));
        part.normals.push(Vec3::Z);
        part.uvs.push(Vec2::new(u, v));
    }
    part.triangles.extend([[0, 1, 2], [0, 2, 3]]);
    Mesh { parts: vec![part] }
}

/// A hole of 40 mm in canvas of 100 mm.
fn patch() -> Patch {
    const SIDE: usize = 50;
    let distance = |x: usize, y: usize| (x as f32 - 24.5).hypot(y as f32 - 24.5);
    let unit = |f: &(dyn Fn(usize, usize) -> f32 + Sync)| Map::Unit(Image::from_fn(SIDE, SIDE, |x, y| Unit(f(x, y))));
    let mut maps = PerChannel::default();
    let mut put =
        |channel: Channel, map: Map| maps[channel] = Some(PatchMap { map, origin: Origin::Measured, how: "made".into() });
    put(Channel::Cover, unit(&|x, y| (20.0 - distance(x, y)).clamp(0.0, 1.0)));
    put(Channel::Opacity, unit(&|x, y| (distance(x, y) - 10.0).clamp(0.0, 1.0)));
    put(Channel::BaseColor, Map::Color(Image::filled(SIDE, SIDE, LinearRgb([0.3, 0.1, 0.1]))));
    Patch {
        name: "rip".into(),
        maps,
        subject: Subject::Damage,
        scale: MmPerTexel(2.0),
        scale_source: ScaleSource::Ruler,
        scale_uncertainty: None,
        grain: Some(Angle::degrees(90.0)),
        ends_per_cm: None,
        picks_per_cm: None,
        weave: Weave::Unknown,
        height_range: HeightRange::default(),
        cloth_color: None,
        photo_from_patch: None,
        provenance: Vec::new(),
    }
}

/// A person at the desk.
struct Person<'a>(Harness<'a, Desk>);

impl Person<'_> {
    fn at(job: &Path) -> Self {
        let mut dressed = false;
        let app = move |ui: &mut egui::Ui, desk: &mut Desk| {
            if !std::mem::replace(&mut dressed, true) {
                dress(ui.ctx());
            } else {
                desk.ui(ui);
            }
        };
        let desk = Desk::new(Arc::new(|| ()));
        let harness = Harness::builder().with_size([1280.0, 800.0]).with_max_steps(60).build_ui_state(app, desk);
        let mut person = Self(harness);
        person.0.state_mut().obey(Command::Open(job.to_owned()));
        person.rest();
        person
    }

    /// Until the threads and the window have nothing more to do.
    fn rest(&mut self) {
        for _ in 0..6 {
            self.0.run_ok();
            assert!(self.0.state_mut().wait(PATIENCE), "the threads are done in time");
        }
        self.0.run_ok();
    }

    fn press(&mut self, label: &str) {
        self.0.get_by_label(label).click();
        self.rest();
    }

    fn key(&mut self, modifiers: Modifiers, key: Key) {
        self.0.key_press_modifiers(modifiers, key);
        self.rest();
    }

    /// Touch a view at a share of its width and height.
    fn touch(&mut self, view: &str, [x, y]: [f32; 2]) {
        let rect = self.0.get_by_label(view).rect();
        let pos = rect.lerp_inside(egui::vec2(x, y));
        self.0.hover_at(pos);
        self.0.step();
        self.0.drag_at(pos);
        self.0.drop_at(pos);
        self.rest();
    }

    fn drag(&mut self, from: egui::Pos2, to: egui::Pos2) {
        self.0.hover_at(from);
        self.0.step();
        self.0.drag_at(from);
        self.0.step();
        for part in 1..=4 {
            self.0.hover_at(from.lerp(to, part as f32 / 4.0));
            self.0.step();
        }
        self.0.drop_at(to);
        self.rest();
    }

    fn has(&self, label: &str) -> bool {
        self.0.query_by_label(label).is_some()
    }

    fn desk(&self) -> &Desk {
        self.0.state()
    }

    fn placements(&self) -> Vec<tatter_core::model::Placement> {
        self.desk().open().map(|open| open.job().placements.clone()).unwrap_or_default()
    }

    fn quiet(&self) {
        assert_eq!(self.desk().trouble(), None, "nothing went wrong");
    }
}

#[test]
fn a_patch_is_laid_turned_undone_saved_delivered_and_put_back() -> Tried<()> {
    let shop = Workshop::new()?;
    let pristine = shop.textures()?;
    let mut person = Person::at(&shop.job());
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
    tatter::deliver::deliver_job(&by_hand.job(), tatter::deliver::Foreign::Refuse, &Task::new())?;
    assert_eq!(std::fs::read_to_string(by_desk.job())?, std::fs::read_to_string(by_hand.job())?, "one job file");
    let bytes = |shop: &Workshop| Ok::<_, Box<dyn Error>>(shop.textures()?.into_values().collect::<Vec<_>>());
    assert_eq!(bytes(&by_desk)?, bytes(&by_hand)?, "one set of textures");
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
    assert!(person.has("Job file"), "and another can be named");
}
