//! Lamps held by hand: they stand about where they were meant to, and the shots or a ball beside the cloth tell where.

use std::error::Error;

use tatter_capture::lights::{Calibration, Lamp, Shots, find_lamps, lamp_by_ball};
use tatter_core::angle::Angle;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::model::{Ball, BallKind};
use tatter_core::task::Task;
use tatter_testkit::lamps;
use tatter_testkit::measures::{angle, closed, woven_normals};
use tatter_testkit::scene::{Spec, cloths};
use tatter_weave::{Shot, Woven, shoot};

use crate::capture::raised;
use crate::photo::through_jpeg;
use crate::scenes::List;
use crate::table::Table;

const COLUMNS: [(&str, usize); 7] = [
    ("as they stood °", 2),
    ("as meant °", 2),
    ("found in the shots °", 2),
    ("by a matte ball °", 2),
    ("lamps off, as meant °", 2),
    ("found °", 2),
    ("by the ball °", 2),
];
const HIGH_DEG: f32 = 65.0;
/// Furthest a hand is off around the cloth and up, degrees.
const HAND_DEG: [f32; 2] = [8.0, 4.0];

/// Normals under lamps of which it is known where they stood, where they were meant to, and what shots or ball tell: means over the cloths.
pub(crate) fn table(list: List) -> Result<String, Box<dyn Error>> {
    let mut table = Table::new("lights", &COLUMNS);
    for count in [4, 8, 16] {
        let mut each = Table::new("cloth", &COLUMNS);
        for (name, cloth, pitch) in cloths() {
            let woven = Spec { seed: list.seed(), ..Spec::new(cloth, 192, pitch) }.weave();
            each.row(name, &under(&woven, pitch, count)?);
        }
        let means = [0, 1, 2, 3, 4, 5, 6].map(|column| each.mean(column));
        eprintln!("{count} lights {means:.3?}");
        table.row(&count.to_string(), &means);
    }
    Ok(table.into_text())
}

/// A lamp as a hand holds it.
fn held(i: usize, count: usize) -> Shot {
    let meant = lamps::shot(i, count, Angle::degrees(HIGH_DEG));
    let k = i as f32;
    Shot {
        light_from: meant.light_from + Angle::degrees(HAND_DEG[0] * (2.4 * k + 0.7).sin()),
        elevation: meant.elevation + Angle::degrees(HAND_DEG[1] * (1.7 * k + 2.0).cos()),
        ..meant
    }
}

fn toward(shot: &Shot) -> [f32; 3] {
    let ((s, c), (up, flat)) = (shot.light_from.sin_cos(), shot.elevation.sin_cos());
    [c * flat, s * flat, up]
}

fn under(woven: &Woven, pitch: f32, count: usize) -> Result<[f32; 7], Box<dyn Error>> {
    let held: Vec<Shot> = (0..count).map(|i| held(i, count)).collect();
    let stood: Vec<[f32; 3]> = held.iter().map(toward).collect();
    let meant: Vec<[f32; 3]> = (0..count).map(|i| lamps::toward(i, count, Angle::degrees(HIGH_DEG))).collect();
    let mut shots = Shots::new(woven.maps.height.size());
    for (shot, toward) in held.iter().zip(&meant) {
        let light = shoot(&woven.maps, woven.scale, shot, &Task::new())?.photo;
        shots.add(Lamp::far(*toward), 1.0, &light, &Calibration::default());
    }
    let found = find_lamps(&shots, &meant)?;
    let by_ball: Vec<[f32; 3]> = stood.iter().map(by_ball).collect::<Result<_, _>>()?;
    let even = vec![1.0; count];
    let normals = |toward: &[[f32; 3]], strength: &[f32]| {
        let mut own = shots.clone();
        own.place(toward, strength);
        normals(woven, pitch, &own)
    };
    let off = |toward: &[[f32; 3]]| {
        let apart =
            |(a, b): (&[f32; 3], &[f32; 3])| (0..3).map(|c| a[c] * b[c]).sum::<f32>().clamp(-1.0, 1.0).acos().to_degrees();
        toward.iter().zip(&stood).map(apart).sum::<f32>() / count as f32
    };
    Ok([
        normals(&stood, &even)?,
        normals(&meant, &even)?,
        normals(&found.toward, &found.strength)?,
        normals(&by_ball, &even)?,
        off(&meant),
        off(&found.toward),
        off(&by_ball),
    ])
}

/// A white matte ball (Lambert's law) under the lamp, in a camera's JPEG, asked where the lamp stands.
fn by_ball(toward: &[f32; 3]) -> Result<[f32; 3], Box<dyn Error>> {
    const SIDE: usize = 96;
    let ball = Ball { kind: BallKind::Matte, at: [48.3, 47.6], radius: 40.0 };
    let light = Image::from_fn(SIDE, SIDE, |x, y| {
        let (right, up) = ((x as f32 + 0.5 - ball.at[0]) / ball.radius, (ball.at[1] - y as f32 - 0.5) / ball.radius);
        let out = right * right + up * up;
        let facing = right * toward[0] + up * toward[1] + (1.0 - out).max(0.0).sqrt() * toward[2];
        LinearRgb([if out < 1.0 { 0.7 * facing.max(0.0) } else { 0.02 }; 3])
    });
    Ok(lamp_by_ball(&through_jpeg(&light, 90)?, &ball)?.0)
}

fn normals(woven: &Woven, pitch: f32, shots: &Shots) -> Result<f32, Box<dyn Error>> {
    let (normal, _) = raised(woven, pitch, shots)?;
    Ok(angle(&normal, &woven_normals(&woven.maps.height, woven.scale), &closed(&woven.maps.opacity)))
}
