//! Where a lamp stands, from a ball that lies beside the cloth.
//!
//! A mirror ball shows the lamp where its normal halves the angle between lamp and camera; a matte one is as bright at every place as its
//! normal faces the lamp. Both as seen from far away (an orthographic camera), as for the cloth itself.

use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::{gaussian, label};
use tatter_core::linear::{cholesky, cholesky_solve};
use tatter_core::model::{Ball, BallKind};
use tatter_core::stats::median;

use super::BURNT;
use super::linear::dot;

/// Share of the radius inside which a ball is looked at: its outline is mixed with what lies behind.
const INSIDE: f32 = 0.94;
/// Smallest ball, pixels of radius.
const SMALLEST: f32 = 8.0;
/// How many times brighter than the middle of the ball its glint must be, and the share of the glint's light that is glint still.
const GLINT: f32 = 4.0;
const HALF: f32 = 0.5;
/// Share of the lamp's light from which a place of a matte ball counts as lit.
const LIT: f32 = 0.08;
/// Deviation from a matte ball as a share of its light, above which it is none.
const MATTE: f32 = 0.12;
const ROUNDS: usize = 8;

/// Why a ball tells no direction.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BallError {
    /// Not all of it is in the picture, or too little of the picture is ball.
    #[error(
        "the ball at {x:.0}, {y:.0} with a radius of {radius:.0} pixels must lie whole in the picture and be {SMALLEST} pixels at least"
    )]
    Outside {
        /// Its middle.
        x: f32,
        /// Its middle.
        y: f32,
        /// Its radius.
        radius: f32,
    },
    /// No glint on a mirror ball.
    #[error(
        "the ball shows no glint of a lamp: its brightest place has {ratio:.1} times its usual light, where {GLINT} are needed"
    )]
    NoGlint {
        /// Brightest over middle.
        ratio: f32,
    },
    /// The glint is of a lamp beneath the cloth.
    #[error("the ball shows its brightest glint {share:.0} % of the way out, where a lamp above the cloth shows within 70 %")]
    Beneath {
        /// Distance from the middle, per cent of the radius.
        share: f32,
    },
    /// It is not matte, or not lit by one lamp.
    #[error("the ball is no matte one under one lamp: its light is off by {:.0} %, where {:.0} % may be", 100.0 * off, 100.0 * MATTE)]
    NotMatte {
        /// Root mean square, as a share of its light.
        off: f32,
    },
}

impl Explain for BallError {
    fn next(&self) -> String {
        match self {
            Self::Outside { .. } => "Mark its middle and its radius as the shots show them".to_owned(),
            Self::NoGlint { .. } | Self::Beneath { .. } => {
                "Mark a polished ball, in a dark room, or give the lamps' directions".to_owned()
            }
            Self::NotMatte { .. } => {
                "Mark a white matte ball, in a dark room, burnt out nowhere, or give the lamps' directions".to_owned()
            }
        }
    }

    fn class(&self) -> Class {
        Class::Request
    }
}

/// Unit vector towards the lamp of a shot (x right, y up, z to the camera), and its light where a matte ball tells it: what the ball would send
/// facing it.
///
/// # Errors
/// As [`BallError`] lists.
pub fn lamp_by_ball(shot: &Image<LinearRgb>, ball: &Ball) -> Result<([f32; 3], Option<f32>), BallError> {
    let ([x, y], radius) = (ball.at, ball.radius);
    let size = shot.size();
    let inside = x >= radius && y >= radius && x + radius <= size.width as f32 && y + radius <= size.height as f32;
    if !inside || radius < SMALLEST {
        return Err(BallError::Outside { x, y, radius });
    }
    match ball.kind {
        BallKind::Mirror => glint(shot, ball).map(|toward| (toward, None)),
        BallKind::Matte => shading(shot, ball).map(|(toward, light)| (toward, Some(light))),
    }
}

/// The ball's normal at a place of the picture; `None` outside of what is looked at.
fn normal(ball: &Ball, x: f32, y: f32) -> Option<[f32; 3]> {
    let (right, up) = ((x - ball.at[0]) / ball.radius, (ball.at[1] - y) / ball.radius);
    let out = right * right + up * up;
    (out < INSIDE * INSIDE).then(|| [right, up, (1.0 - out).sqrt()])
}

/// Pixels of the ball: the first of them, and how many across.
fn square(ball: &Ball) -> ([usize; 2], usize) {
    let first = [0, 1].map(|c: usize| (ball.at[c] - ball.radius).floor().max(0.0) as usize);
    (first, (2.0 * ball.radius).ceil() as usize + 1)
}

fn glint(shot: &Image<LinearRgb>, ball: &Ball) -> Result<[f32; 3], BallError> {
    let ([left, top], side) = square(ball);
    let place = |i: usize, j: usize| ((left + i) as f32 + 0.5, (top + j) as f32 + 0.5);
    let light = Image::from_fn(side, side, |i, j| {
        let (x, y) = place(i, j);
        let seen = normal(ball, x, y).is_some() && left + i < shot.width() && top + j < shot.height();
        if seen { shot.get(left + i, top + j).luminance().max(0.0) } else { 0.0 }
    });
    let calm = gaussian(&light, 1.0);
    let mut all: Vec<f32> = light.texels().iter().copied().filter(|v| *v > 0.0).collect();
    let usual = median(&mut all).max(1e-4);
    let most = calm.texels().iter().copied().fold(0.0, f32::max);
    if most < GLINT * usual {
        return Err(BallError::NoGlint { ratio: most / usual });
    }
    let (parts, found) = label(&calm.map(|v| v > HALF * most));
    // The largest, not the brightest: a speck is brighter than a lamp that is burnt out.
    let largest = found.iter().enumerate().max_by_key(|(_, part)| part.area).map_or(0, |(number, _)| number as u32 + 1);
    let (mut sum, mut weight) = ([0.0f32; 2], 0.0f32);
    for j in 0..side {
        for i in (0..side).filter(|i| parts.get(*i, j) == largest) {
            let ((x, y), light) = (place(i, j), light.get(i, j));
            sum = [sum[0] + light * x, sum[1] + light * y];
            weight += light;
        }
    }
    let [x, y] = sum.map(|v| v / weight.max(1e-9));
    let out = (x - ball.at[0]).hypot(y - ball.at[1]) / ball.radius;
    let beneath = BallError::Beneath { share: 100.0 * out };
    let [nx, ny, nz] = normal(ball, x, y).ok_or_else(|| beneath.clone())?;
    let toward = [2.0 * nz * nx, 2.0 * nz * ny, 2.0 * nz * nz - 1.0];
    if toward[2] > 0.05 { Ok(toward) } else { Err(beneath) }
}

/// Least squares on what is lit, in turns with what that is.
fn shading(shot: &Image<LinearRgb>, ball: &Ball) -> Result<([f32; 3], f32), BallError> {
    let ([left, top], side) = square(ball);
    let mut readings: Vec<([f64; 3], f64)> = Vec::new();
    for j in 0..side {
        for i in 0..side {
            let (x, y) = (left + i, top + j);
            if x >= shot.width() || y >= shot.height() {
                continue;
            }
            let color = shot.get(x, y);
            let burnt = color.0.iter().any(|v| *v >= BURNT);
            if let Some(n) = normal(ball, x as f32 + 0.5, y as f32 + 0.5).filter(|_| !burnt) {
                readings.push((n.map(f64::from), f64::from(color.luminance())));
            }
        }
    }
    let none = BallError::NotMatte { off: 1.0 };
    let most = readings.iter().map(|(_, light)| *light).fold(0.0, f64::max);
    // At first what is bright in any case.
    let mut lit: Vec<bool> = readings.iter().map(|(_, light)| *light > 0.3 * most).collect();
    let mut lamp = [0.0f64; 3];
    for _ in 0..ROUNDS {
        let (mut gram, mut right) = ([0.0f64; 9], [0.0f64; 3]);
        for ((n, light), _) in readings.iter().zip(&lit).filter(|(_, lit)| **lit) {
            for a in 0..3 {
                right[a] += n[a] * light;
                for b in 0..3 {
                    gram[3 * a + b] += n[a] * n[b];
                }
            }
        }
        let lower = cholesky(&gram, 3).ok_or_else(|| none.clone())?;
        let solved = cholesky_solve(&lower, &right);
        lamp = [solved[0], solved[1], solved[2]];
        let strength = length(lamp);
        lit = readings.iter().map(|(n, _)| dot(*n, lamp) > f64::from(LIT) * strength).collect();
    }
    let strength = length(lamp);
    let (mut off, mut count) = (0.0, 0.0);
    for ((n, light), _) in readings.iter().zip(&lit).filter(|(_, lit)| **lit) {
        off += (light - dot(*n, lamp)).powi(2);
        count += 1.0;
    }
    let off = ((off / f64::max(count, 1.0)).sqrt() / strength.max(1e-9)) as f32;
    let toward = lamp.map(|v| (v / strength.max(1e-9)) as f32);
    if off > MATTE || strength < 1e-4 || toward[2] < 0.05 {
        return Err(BallError::NotMatte { off });
    }
    Ok((toward, strength as f32))
}

fn length(a: [f64; 3]) -> f64 {
    dot(a, a).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use tatter_core::angle::Angle;

    const BALL: Ball = Ball { at: [70.3, 61.8], radius: 34.5, kind: BallKind::Mirror };

    fn toward(azimuth: f32, elevation: f32) -> [f32; 3] {
        let ((sin, cos), (up, flat)) = (Angle::degrees(azimuth).sin_cos(), Angle::degrees(elevation).sin_cos());
        [cos * flat, sin * flat, up]
    }

    /// The ball under a lamp, over grey cloth; noise of half a code of 8 bits. Light of a mirror ball comes from the closed form of reflection.
    fn shot(kind: BallKind, lamp: [f32; 3], strength: f32) -> Image<LinearRgb> {
        let (fine, ball) = (4, Ball { kind, ..BALL });
        Image::from_fn(140, 120, |x, y| {
            let mut sum = 0.0;
            for k in 0..fine * fine {
                let (px, py) =
                    (x as f32 + ((k % fine) as f32 + 0.5) / fine as f32, y as f32 + ((k / fine) as f32 + 0.5) / fine as f32);
                let (right, up) = ((px - ball.at[0]) / ball.radius, (ball.at[1] - py) / ball.radius);
                let out = right * right + up * up;
                sum += if out >= 1.0 {
                    0.2
                } else {
                    let n = [right, up, (1.0 - out).sqrt()];
                    let facing = n[0] * lamp[0] + n[1] * lamp[1] + n[2] * lamp[2];
                    match kind {
                        BallKind::Matte => strength * facing.max(0.0),
                        BallKind::Mirror => {
                            let seen = [2.0 * n[2] * n[0], 2.0 * n[2] * n[1], 2.0 * n[2] * n[2] - 1.0];
                            let cos: f32 = seen.iter().zip(lamp).map(|(a, b)| a * b).sum();
                            if cos > Angle::degrees(3.0).to_radians().cos() { 1.0 } else { 0.04 }
                        }
                    }
                };
            }
            let noise = 0.004 * (tatter_core::rng::hash_unit(9, x as u32, y as u32) - 0.5);
            LinearRgb([(sum / (fine * fine) as f32 + noise).max(0.0); 3])
        })
    }

    fn off_degrees(a: [f32; 3], b: [f32; 3]) -> f32 {
        a.iter().zip(b).map(|(a, b)| a * b).sum::<f32>().clamp(-1.0, 1.0).acos().to_degrees()
    }

    #[test]
    fn a_ball_tells_where_the_lamp_stands() {
        for (azimuth, elevation) in [(0.0, 65.0), (100.0, 60.0), (190.0, 75.0), (300.0, 45.0), (20.0, 88.0)] {
            let lamp = toward(azimuth, elevation);
            for (kind, allowed) in [(BallKind::Mirror, 0.7), (BallKind::Matte, 0.4)] {
                let (found, light) = lamp_by_ball(&shot(kind, lamp, 0.7), &Ball { kind, ..BALL }).unwrap();
                let off = off_degrees(found, lamp);
                assert!(off < allowed, "{kind:?}, lamp at {azimuth}, {elevation}: {off} degrees off");
                assert!(light.is_none_or(|light| (light / 0.7 - 1.0).abs() < 0.01), "{kind:?}: light {light:?}");
            }
        }
    }

    #[test]
    fn what_is_no_such_ball_is_refused() {
        let (mirror, matte) = (shot(BallKind::Mirror, toward(30.0, 60.0), 0.7), shot(BallKind::Matte, toward(30.0, 60.0), 0.7));
        let refused = |shot, kind| lamp_by_ball(shot, &Ball { kind, ..BALL }).unwrap_err();
        assert!(matches!(refused(&matte, BallKind::Mirror), BallError::NoGlint { .. }), "a matte ball has no glint");
        assert!(matches!(refused(&mirror, BallKind::Matte), BallError::NotMatte { .. }), "a mirror is not matte");
        let outside = lamp_by_ball(&matte, &Ball { at: [20.0, 60.0], ..BALL }).unwrap_err();
        assert!(matches!(outside, BallError::Outside { .. }), "{outside}");
    }
}
