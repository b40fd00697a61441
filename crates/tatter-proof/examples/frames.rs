//! How long a frame takes: 200,000 triangles with maps of 4096², 1920 x 1080. Prints one line a case.
//!
//!     cargo build --workspace --example frames && target/debug/examples/frames
#![expect(clippy::print_stdout, reason = "a measuring program")]

use std::error::Error;
use std::time::Instant;

use glam::Vec2;
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::image::{Coding, ColorTags, Layout, LinearRgb, Samples, Size, Stored, Transfer};
use tatter_core::mesh::Part;
use tatter_core::task::Task;
use tatter_proof::{
    Camera, Environment, Light, Material, Openings, Renderer, Scene, ScenePart, Sheen, Source, StillSettings, needed_reduction,
};

const MAP: usize = 4096;

/// A ball of 200,704 triangles.
fn ball() -> Part {
    const AROUND: u32 = 448;
    const UP: u32 = 224;
    let mut part = Part::default();
    for j in 0..=UP {
        for i in 0..=AROUND {
            let (u, v) = (i as f32 / AROUND as f32, j as f32 / UP as f32);
            let n = Environment::towards(1.0 - u, v);
            part.positions.push(n * (1.0 + 0.01 * (60.0 * u).sin()));
            part.normals.push(n);
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

fn map(layout: Layout, f: impl Fn(usize, usize) -> [u8; 3]) -> Stored {
    let n = layout.components();
    let mut samples = Vec::with_capacity(n * MAP * MAP);
    for y in 0..MAP {
        for x in 0..MAP {
            samples.extend_from_slice(&f(x, y)[..n]);
        }
    }
    Stored { size: Size::new(MAP, MAP), layout, samples: Samples::U8(samples), tags: ColorTags::default() }
}

fn main() -> Result<(), Box<dyn Error>> {
    let weave = |x: usize, y: usize| ((x / 4 + y / 4) % 2) as u8;
    let maps = [
        (Channel::BaseColor, map(Layout::Rgb, |x, y| [150 + 40 * weave(x, y), 120, 80])),
        (Channel::Normal, map(Layout::Rgb, |x, y| [108 + 40 * weave(x, y), 128, 250])),
        (Channel::Roughness, map(Layout::Gray, |x, y| [200 + 30 * weave(x, y); 3])),
        (Channel::Height, map(Layout::Gray, |x, y| [100 + 50 * weave(x, y); 3])),
        // Holes of 200 texels, one in sixteen squares.
        (Channel::Opacity, map(Layout::Gray, |x, y| [if x / 200 % 4 == 0 && y / 200 % 4 == 0 { 0 } else { 255 }; 3])),
    ];
    let sources = maps
        .iter()
        .map(|(channel, picture)| {
            let transfer = if *channel == Channel::BaseColor { Transfer::Srgb } else { Transfer::Linear };
            (*channel, Source { picture, coding: Coding { transfer, ..Coding::default() } })
        })
        .collect();
    let material = Material {
        name: "ball".to_owned(),
        sources,
        sheen: Sheen { color: LinearRgb([0.04; 3]), roughness: 0.6 },
        openings: Openings::Share,
        mm_per_uv: 1000.0,
    };
    let scene = Scene { parts: ScenePart::split(&ball(), |_| 0), materials: vec![material] };
    let start = Instant::now();
    let renderer = Renderer::new()?;
    println!("{} (in software: {}), ready in {:.0} ms", renderer.info().name, renderer.info().software, millis(start));
    let camera = Camera::around(scene.points(), Angle::degrees(30.0), Angle::degrees(10.0), 16.0 / 9.0);
    println!("texels a view needs along the texture: {:.0}", needed_reduction(&scene, &[(camera, [1920, 1080])])[0]);
    let start = Instant::now();
    let loaded = renderer.load(&scene, &[4096.0]);
    println!("{} triangles, {} MiB there, loaded in {:.0} ms", scene.triangles(), loaded.bytes >> 20, millis(start));
    let light = Light::default();
    for (what, open_sky, relief) in [
        ("lamp's shadows and sky's", false, 0.0),
        ("lamp's shadows alone", true, 0.0),
        ("lamp's shadows alone, relief", true, 1.0),
    ] {
        let time = |samples: u32| -> Result<f64, Box<dyn Error>> {
            let settings = StillSettings { width: 1920, height: 1080, samples, open_sky, relief, ..StillSettings::default() };
            let start = Instant::now();
            renderer.still(&loaded, &camera, &light, &settings, &Task::new())?;
            Ok(millis(start))
        };
        let (few, many) = if renderer.info().software { (4, 12) } else { (32, 288) };
        time(4)?;
        let mut frames: Vec<f64> =
            (0..3).map(|_| Ok((time(many)? - time(few)?) / f64::from(many - few))).collect::<Result<_, Box<dyn Error>>>()?;
        frames.sort_by(f64::total_cmp);
        println!(
            "{what}: {:.2} ms a sample (median of 3; {:.2} to {:.2}), a still of 64: {:.0} ms",
            frames[1],
            frames[0],
            frames[2],
            time(64)?
        );
    }
    Ok(())
}

fn millis(start: Instant) -> f64 {
    1e3 * start.elapsed().as_secs_f64()
}
