//! How long a frame of the desk takes with many placements: its own code and the making of its triangles, in a window of 1440 × 900 where nothing moves.
//! No adapter is needed. Prints one line a case.
//!
//!     cargo build --workspace --example long_list && target/debug/examples/long_list
#![expect(clippy::print_stdout, reason = "a measuring program")]
#![expect(clippy::disallowed_methods, reason = "it makes what it measures in a folder of its own")]

use std::error::Error;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use egui_kittest::Harness;
use tatter::weave::{WeaveRequest, weave};
use tatter_core::angle::Angle;
use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};
use tatter_core::task::Task;
use tatter_desk::{Command, Desk, Drawn, List, dress};
use tatter_files::mesh::{MaterialToWrite, write_glb};
use tatter_files::picture::{Effort, PictureFormat, encode};
use tatter_testkit::panel::panel;
use tatter_weave::{Damage, Kind, stock};

const SIDE: usize = 128;
const FRAMES: usize = 60;
const PATIENCE: Duration = Duration::from_secs(600);

type Done<T> = Result<T, Box<dyn Error>>;

/// A panel of half a metre, its texture, a patch, and a job that lays it `count` times.
fn make(folder: &Path, count: usize) -> Done<()> {
    let material = MaterialToWrite { name: "canvas".into(), ..MaterialToWrite::default() };
    std::fs::write(folder.join("smock.glb"), write_glb(&panel(), &[material]))?;
    let samples = Samples::U8([150, 120, 80].repeat(SIDE * SIDE));
    let texture = Stored { size: Size::new(SIDE, SIDE), layout: Layout::Rgb, samples, tags: ColorTags::default() };
    std::fs::write(folder.join("canvas.png"), encode(&texture, PictureFormat::Png, Effort::Fast)?)?;
    let request = WeaveRequest {
        cloth: stock("canvas").ok_or("canvas is in stock")?,
        output: folder.join("moth.patch"),
        damage: vec![Damage::new(Kind::MothHole)],
        side: 128,
        width_mm: 16.0,
        grain: Angle::degrees(90.0),
        seed: 1,
        photo: None,
    };
    weave(&request, &Task::new())?;
    let mut job =
        "format = 1\n\n[garment]\nmesh = \"smock.glb\"\nmm_per_unit = 1000.0\n\n[[garment.map]]\nfile = \"canvas.png\"\n\
        channels = \"base_color\"\n\n[[patch]]\nname = \"moth\"\npath = \"moth.patch\"\n"
            .to_owned();
    let across = (count as f32).sqrt().ceil() as usize;
    for n in 0..count {
        let at = |step: usize| 0.06 + 0.88 * (step as f32 + 0.5) / across as f32;
        let (u, v) = (at(n % across), at(n / across));
        job += &format!("\n[[placement]]\nid = \"moth-{n}\"\npatch = \"moth\"\nat = [{u:.4}, {v:.4}]\n");
    }
    Ok(std::fs::write(folder.join("smock.tatter.toml"), job)?)
}

/// Least and median milliseconds of a frame.
fn frames(person: &mut Harness<'_, Desk>) -> [f64; 2] {
    let mut times: Vec<f64> = (0..FRAMES)
        .map(|_| {
            let start = Instant::now();
            person.step();
            let shapes = person.output().shapes.clone();
            let triangles = person.ctx.tessellate(shapes, 1.0);
            assert!(!triangles.is_empty(), "something is drawn");
            1e3 * start.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    [times[0], times[FRAMES / 2]]
}

fn main() -> Done<()> {
    for count in [10, 500] {
        let folder = tempfile::tempdir()?;
        make(folder.path(), count)?;
        let mut dressed = false;
        let app = move |ui: &mut egui::Ui, desk: &mut Desk| {
            if std::mem::replace(&mut dressed, true) { desk.ui(ui) } else { dress(ui.ctx()) }
        };
        let mut desk = Desk::new(Arc::new(|| ()));
        desk.draw(Drawn::Not);
        let mut person = Harness::builder().with_size([1440.0, 900.0]).with_max_steps(60).build_ui_state(app, desk);
        person.state_mut().obey(Command::Open(folder.path().join("smock.tatter.toml")));
        for _ in 0..4 {
            person.run_ok();
            if !person.state_mut().wait(PATIENCE) {
                return Err("the threads say nothing".into());
            }
        }
        for list in [List::Pieces, List::Wear] {
            person.state_mut().obey(Command::List(list));
            person.run_ok();
            let [least, middle] = frames(&mut person);
            println!("{count} placements, {list:?} shown below: a frame takes {least:.1} ms at best, {middle:.1} as a rule");
        }
    }
    Ok(())
}
