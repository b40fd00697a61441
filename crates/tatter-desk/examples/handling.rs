//! How soon the desk shows what is done at the garment: 200,704 triangles with five maps of 4096², a patch of 1024², a view of 1440 × 900. Prints one
//! line a case. Everything is made in a folder that is gone afterwards; 2 GB of memory and 200 MB of disk are needed for a minute or two.
//!
//!     cargo build --workspace --example handling && target/debug/examples/handling [TEXELS [open]]
//!
//! With other textures than of 4096 texels a side, TEXELS says so. With `open` both of its jobs are opened five times over, and nothing is dragged. On Linux the most memory that was held is told, too.
#![expect(clippy::print_stdout, reason = "a measuring program")]
#![expect(clippy::disallowed_methods, reason = "it makes what it measures in a folder of its own")]

use std::error::Error;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use glam::{Vec2, Vec3};
use tatter::weave::{WeaveRequest, weave};
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};
use tatter_core::mesh::{Mesh, Part};
use tatter_core::task::Task;
use tatter_desk::{Command, Desk, Open, dress, leave};
use tatter_files::mesh::{MaterialToWrite, write_glb};
use tatter_files::picture::{Effort, PictureFormat, encode};
use tatter_weave::{Damage, Kind, stock};

/// Side of the textures, unless another is told.
const MAP: usize = 4096;
const STEPS: usize = 24;
/// How often jobs are opened where nothing else is measured.
const ROUNDS: usize = 5;
/// Placements on the garment that has many.
const MANY: usize = 300;
const PATIENCE: Duration = Duration::from_secs(600);

type Done<T> = Result<T, Box<dyn Error>>;
type Person<'a> = Harness<'a, Desk>;

/// A tube of 200,704 triangles with ten folds, as far round and as long as a smock, open above and below.
fn tube() -> Part {
    const AROUND: u32 = 448;
    const UP: u32 = 224;
    let mut part = Part { name: "smock".into(), material: "canvas".into(), ..Part::default() };
    for j in 0..=UP {
        for i in 0..=AROUND {
            let (u, v) = (i as f32 / AROUND as f32, j as f32 / UP as f32);
            // The last column lies on the first, so that the cloth is whole round about.
            let angle = (i % AROUND) as f32 / AROUND as f32 * std::f32::consts::TAU;
            let out = Vec3::new(-angle.sin(), 0.0, -angle.cos());
            let radius = 0.25 * (1.0 + 0.03 * (10.0 * angle).sin());
            part.positions.push(radius * out + Vec3::Y * (0.7 - 0.7 * v));
            part.normals.push(out);
            part.uvs.push(Vec2::new(u, v));
        }
    }
    for j in 0..UP {
        for i in 0..AROUND {
            let a = j * (AROUND + 1) + i;
            let b = a + AROUND + 1;
            part.triangles.extend([[a, b, a + 1], [a + 1, b, b + 1]]);
        }
    }
    part
}

fn map(layout: Layout, f: impl Fn(u8) -> [u8; 3]) -> Stored {
    let side = std::env::args().nth(1).and_then(|told| told.parse().ok()).unwrap_or(MAP);
    let texels = (0..side * side).map(|at| f((((at % side) / 4 + at / side / 4) % 2) as u8));
    let samples: Vec<u8> = texels.flat_map(|texel| texel.into_iter().take(layout.components())).collect();
    Stored { size: Size::new(side, side), layout, samples: Samples::U8(samples), tags: ColorTags::default() }
}

/// The garment, its textures, a patch and a job.
fn make(folder: &Path) -> Done<()> {
    let material = MaterialToWrite { name: "canvas".into(), ..MaterialToWrite::default() };
    std::fs::write(folder.join("smock.glb"), write_glb(&Mesh { parts: vec![tube()] }, &[material]))?;
    let maps = [
        (Channel::BaseColor, map(Layout::Rgb, |weave| [150 + 40 * weave, 120, 80])),
        (Channel::Normal, map(Layout::Rgb, |weave| [108 + 40 * weave, 128, 250])),
        (Channel::Roughness, map(Layout::Gray, |weave| [200 + 30 * weave; 3])),
        (Channel::Height, map(Layout::Gray, |weave| [100 + 50 * weave; 3])),
        (Channel::Opacity, map(Layout::Gray, |_| [255; 3])),
    ];
    let mut job = "format = 1\n\n[garment]\nmesh = \"smock.glb\"\nmm_per_unit = 1000.0\n".to_owned();
    for (channel, picture) in maps {
        let file = format!("canvas_{channel}.png");
        std::fs::write(folder.join(&file), encode(&picture, PictureFormat::Png, Effort::Fast)?)?;
        job += &format!("\n[[garment.map]]\nfile = \"{file}\"\nchannels = \"{channel}\"\n");
        if channel == Channel::Height {
            job += "height_range_mm = [-1.0, 1.0]\n";
        }
    }
    std::fs::write(folder.join("smock.tatter.toml"), &job)?;
    // The same with tears of 16 mm all over it.
    job += "\n[[patch]]\nname = \"rip\"\npath = \"rip.patch\"\n";
    for n in 0..MANY {
        let (u, v) = ((n % 25) as f32 / 25.0 + 0.02, (n / 25) as f32 / 12.0 + 0.04);
        let at = format!("at = [{u:.4}, {v:.4}]\nturn_deg = {}\nsize_mm = 16.0", (37 * n) % 360);
        job += &format!("\n[[placement]]\nid = \"tear-{n}\"\npatch = \"rip\"\n{at}\n");
    }
    std::fs::write(folder.join("many.tatter.toml"), job)?;
    let request = WeaveRequest {
        cloth: stock("canvas").ok_or("canvas is in stock")?,
        output: folder.join("rip.patch"),
        damage: vec![Damage { length: 30.0, width: 9.0, ..Damage::new(Kind::Rip) }],
        side: 1024,
        width_mm: 80.0,
        grain: Angle::degrees(90.0),
        seed: 1,
        photo: None,
    };
    weave(&request, &Task::new())?;
    Ok(())
}

/// Until the threads and the window have nothing more to do.
fn rest(person: &mut Person<'_>) -> Done<()> {
    for _ in 0..4 {
        person.run_ok();
        if !person.state_mut().wait(PATIENCE) {
            return Err("the threads say nothing".into());
        }
    }
    Ok(())
}

fn press(person: &mut Person<'_>, label: &str) -> Done<()> {
    person.get_by_label(label).click();
    rest(person)
}

/// Drag from a place by a step a frame: milliseconds of the desk's own frame, and until the picture of it is there.
fn drag(person: &mut Person<'_>, from: egui::Pos2, by: egui::Vec2) -> Done<[Vec<f64>; 2]> {
    person.hover_at(from);
    person.step();
    person.drag_at(from);
    person.step();
    let mut times = [Vec::new(), Vec::new()];
    let mut at = from;
    for _ in 0..STEPS {
        at += by;
        person.hover_at(at);
        let start = Instant::now();
        person.step();
        let frame = millis(start);
        // A number moves by whole steps: not every move of the pointer changes it.
        if person.state().is_resting() {
            continue;
        }
        // What a thread throws is seen after the next frame asked for its picture.
        while !person.state().is_resting() {
            if !person.state_mut().wait(PATIENCE) {
                return Err("the threads say nothing".into());
            }
            times[1].push(millis(start));
            person.step();
            if !person.state().is_resting() {
                times[1].pop();
            }
        }
        times[0].push(frame);
    }
    person.drop_at(at);
    let start = Instant::now();
    rest(person)?;
    println!("  let go, the finest picture after {:.0} ms", millis(start));
    Ok(times)
}

fn told(what: &str, mut times: [Vec<f64>; 2]) {
    times.iter_mut().for_each(|times| times.sort_by(f64::total_cmp));
    let [frame, picture] = times;
    let Some(last) = frame.len().checked_sub(1) else { return println!("{what}: nothing moved") };
    let middle = last.div_ceil(2);
    println!(
        "{what}: the desk's frame {:.1} ms (most {:.1}), its picture after {:.0} ms (most {:.0})",
        frame[middle], frame[last], picture[middle], picture[last]
    );
}

/// A desk on which a job is opened, and when that was asked.
fn opened(job: &Path) -> Done<(Person<'static>, Instant)> {
    let mut dressed = false;
    let app = move |ui: &mut egui::Ui, desk: &mut Desk| {
        if std::mem::replace(&mut dressed, true) { desk.ui(ui) } else { dress(ui.ctx()) }
    };
    let desk = Desk::new(Arc::new(|| ()));
    let mut person = Harness::builder().with_size([1440.0, 900.0]).with_max_steps(60).build_ui_state(app, desk);
    let start = Instant::now();
    person.state_mut().obey(Command::Open(job.to_owned()));
    println!(
        "opened: its lists after {:.0} ms, its form after {:.0}, seen in clay after {:.0}, in its textures after {:.0}",
        until(&mut person, start, |_| true),
        until(&mut person, start, |open| open.form().is_some()),
        until(&mut person, start, Open::is_seen),
        until(&mut person, start, Open::is_seen_dressed)
    );
    Ok((person, start))
}

fn main() -> Done<()> {
    let folder = tempfile::tempdir()?;
    make(folder.path())?;
    if std::env::args().nth(2).is_some_and(|only| only == "open") {
        for round in 1..=ROUNDS {
            for (name, what) in [("smock.tatter.toml", "nothing on it"), ("many.tatter.toml", "300 placements")] {
                print!("round {round}, {what}, ");
                let (mut person, _) = opened(&folder.path().join(name))?;
                rest(&mut person)?;
            }
        }
        println!("{}", held());
        return if leave(PATIENCE) { Ok(()) } else { Err("a thread does not end".into()) };
    }
    let (mut person, start) = opened(&folder.path().join("smock.tatter.toml"))?;
    rest(&mut person)?;
    let triangles = person.state().open().and_then(|open| open.form()).map_or(0, |form| form.triangles());
    println!("{}", held());
    println!("{triangles} triangles, opened and drawn at its finest after {:.0} ms", millis(start));

    let card = person.get_by_label_contains("rip, 80").rect().center();
    person.hover_at(card);
    person.drag_at(card);
    person.drop_at(card);
    rest(&mut person)?;
    let middle = person.get_by_label("Solid view").rect().center();
    person.hover_at(middle);
    person.step();
    person.drag_at(middle);
    person.drop_at(middle);
    rest(&mut person)?;
    let handle = person.get_by_label("Move rip-1").rect().center();
    let moved = drag(&mut person, handle, egui::vec2(3.0, 2.0))?;
    told("placement moved", moved);
    let field = person.get_by_label("How far").rect().center();
    let matched = drag(&mut person, field, egui::vec2(-2.0, 0.0))?;
    told("match dragged", matched);

    press(&mut person, "Scatters")?;
    press(&mut person, "New scatter")?;
    let field = person.get_by_label("How many").rect().center();
    let thrown = drag(&mut person, field, egui::vec2(2.0, 0.0))?;
    told("scatter's count dragged", thrown);
    press(&mut person, "Undo")?;
    press(&mut person, "Undo")?;

    wear_moves(&mut person, "one placement")?;

    person.state_mut().obey(Command::Open(folder.path().join("many.tatter.toml")));
    rest(&mut person)?;
    person.state_mut().obey(Command::Select(Some("tear-162".into())));
    rest(&mut person)?;
    let handle = person.get_by_label("Move tear-162").rect().center();
    let moved = drag(&mut person, handle, egui::vec2(3.0, 2.0))?;
    told("one of 300 placements moved", moved);
    wear_moves(&mut person, "300 placements")?;
    println!("{}", held());
    drop(person);
    if leave(PATIENCE) { Ok(()) } else { Err("a thread does not end".into()) }
}

/// Milliseconds until something is seen in a window that is drawn sixty times a second.
fn until(person: &mut Person<'_>, start: Instant, is_there: impl Fn(&Open) -> bool) -> f64 {
    loop {
        person.step();
        if person.state().open().is_some_and(&is_there) {
            break;
        }
        std::thread::sleep(Duration::from_millis(16));
    }
    millis(start)
}

fn wear_moves(person: &mut Person<'_>, over: &str) -> Done<()> {
    press(person, "Wear")?;
    press(person, "Add abrasion")?;
    let field = person.get_by_label("Uneven").rect().center();
    let worn = drag(person, field, egui::vec2(-2.0, 0.0))?;
    told(&format!("abrasion of edges dragged, {over}"), worn);
    Ok(())
}

/// The most memory that this program held, as the system counts it; nothing where it does not.
fn held() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    status
        .lines()
        .find(|line| line.starts_with("VmHWM"))
        .map_or_else(String::new, |line| line.replace("VmHWM:", "most memory held:"))
}

fn millis(start: Instant) -> f64 {
    1e3 * start.elapsed().as_secs_f64()
}
