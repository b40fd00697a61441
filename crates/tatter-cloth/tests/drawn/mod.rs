//! Cloth drawn by formula, independent of the thread-by-thread scenes: pitch, angle and weave are exact by construction.

use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::gaussian;
use tatter_core::rng::{hash_unit, value_noise};

/// What is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Pattern {
    Plain,
    Basket,
    /// Over, under, climbing to the right as seen.
    Twill(u8, u8, bool),
    /// On five ends, the binding points step by two.
    Satin5,
    /// Face of a single jersey: a column of Vs a wale, a row of them a course.
    Jersey,
    /// The same from behind: rows of arcs.
    JerseyBack,
    /// Loops of pile at random around a grid.
    Terry,
    /// Fibres without order.
    Felt,
    /// Printed stripes on felt.
    Stripes,
    /// Printed dots on felt, on a lattice.
    Dots,
}

/// A drawing.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Drawing {
    pub(crate) pattern: Pattern,
    /// Distance of neighbouring ends and of neighbouring picks, pixels.
    pub(crate) pitch: [f32; 2],
    /// Warp line, degrees counter-clockwise from image right.
    pub(crate) grain: f32,
    /// Side of the square picture.
    pub(crate) side: usize,
    /// Lightness of warp and weft, linear.
    pub(crate) dye: [f32; 2],
    /// Breadth of a yarn as a share of its pitch; what is left shows darkness.
    pub(crate) fill: f32,
    /// 0: flat colour; 1: strongly rounded yarns under a lamp.
    pub(crate) relief: f32,
    /// Share by which each thread differs in lightness and breadth.
    pub(crate) uneven: f32,
    /// Slow light across the picture, share.
    pub(crate) light: f32,
    /// Lens and compression blur, sigma in pixels.
    pub(crate) blur: f32,
    /// Noise, deviation in linear light.
    pub(crate) noise: f32,
    pub(crate) seed: u64,
}

impl Drawing {
    /// An undyed plain weave, 9 by 10.3 pixels.
    pub(crate) const DEFAULT: Self = Self {
        pattern: Pattern::Plain,
        pitch: [9.0, 10.3],
        grain: 90.0,
        side: 512,
        dye: [0.3, 0.3],
        fill: 0.92,
        relief: 0.6,
        uneven: 0.08,
        light: 0.2,
        blur: 0.6,
        noise: 0.01,
        seed: 1,
    };
}

impl Default for Drawing {
    fn default() -> Self {
        Self::DEFAULT
    }
}

impl Pattern {
    /// Whether the end lies on top at that crossing; ends count to the right, picks upwards.
    fn end_on_top(self, end: i32, pick: i32) -> bool {
        match self {
            Self::Basket => (end.div_euclid(2) + pick.div_euclid(2)).rem_euclid(2) == 0,
            Self::Twill(over, under, right) => {
                let n = i32::from(over) + i32::from(under);
                let step = if right { pick - end } else { pick + end };
                step.rem_euclid(n) < i32::from(over)
            }
            Self::Satin5 => (pick - 2 * end).rem_euclid(5) != 0,
            _ => (end + pick).rem_euclid(2) == 0,
        }
    }

    pub(crate) fn name(self) -> String {
        match self {
            Self::Plain => "plain".into(),
            Self::Basket => "basket".into(),
            Self::Twill(over, under, right) => format!("twill {over}/{under} {}", if right { "Z" } else { "S" }),
            Self::Satin5 => "satin 5".into(),
            other => format!("{other:?}").to_lowercase(),
        }
    }
}

impl Drawing {
    /// The picture.
    pub(crate) fn draw(&self) -> Image<LinearRgb> {
        const FINE: usize = 3;
        let side = self.side;
        let (sin, cos) = self.grain.to_radians().sin_cos();
        let sharp = Image::from_fn(side, side, |x, y| {
            let mut sum = 0.0;
            for sub in 0..FINE * FINE {
                let at = |v: usize, s: usize| v as f32 + (s as f32 + 0.5) / FINE as f32 - 0.5 * side as f32;
                let (px, py) = (at(x, sub % FINE), -at(y, sub / FINE));
                // u counts ends to the right of the warp line, v picks along it.
                let u = (px * sin - py * cos) / self.pitch[0] + 0.37;
                let v = (px * cos + py * sin) / self.pitch[1] + 0.21;
                sum += self.shade(u, v, px, py);
            }
            sum / (FINE * FINE) as f32
        });
        let soft = if self.blur > 0.0 { gaussian(&sharp, self.blur) } else { sharp };
        Image::from_fn(side, side, |x, y| {
            let (fx, fy) = (x as f32 / side as f32 - 0.5, y as f32 / side as f32 - 0.5);
            let noise: f32 = (0..4).map(|k| hash_unit(self.seed + 77 + k, x as u32, y as u32) - 0.5).sum::<f32>() * 1.73;
            let value = soft.get(x, y) * (1.0 + self.light * (fx + 0.5 * fy + fx * fy)) + self.noise * noise;
            // Eight bits, as a camera's file has.
            let code = (value.clamp(0.0, 1.0).powf(1.0 / 2.2) * 255.0).round() / 255.0;
            LinearRgb([1.06, 1.0, 0.9].map(|tint| tint * code.powf(2.2)))
        })
    }

    fn shade(&self, u: f32, v: f32, px: f32, py: f32) -> f32 {
        match self.pattern {
            Pattern::Jersey => self.jersey(u, v),
            Pattern::JerseyBack => self.jersey_back(u, v),
            Pattern::Terry => self.terry(u, v),
            Pattern::Felt => self.felt(px, py),
            Pattern::Stripes => self.felt(px, py) * if u.rem_euclid(1.0) < 0.5 { 1.5 } else { 0.6 },
            Pattern::Dots => self.felt(px, py) * if self.dot(u, v) { 1.6 } else { 0.6 },
            _ => self.woven(u, v),
        }
    }

    /// Two families of rounded threads.
    fn woven(&self, u: f32, v: f32) -> f32 {
        let (end, pick) = (u.floor() as i32, v.floor() as i32);
        let (over_end, over_pick) = (u - u.floor(), v - v.floor());
        let warp = || {
            let float = float_at(over_pick, |k| self.pattern.end_on_top(end, pick + k));
            self.yarn(0, end, over_end - 0.5, float, v)
        };
        let weft = || {
            let float = float_at(over_end, |k| !self.pattern.end_on_top(end + k, pick));
            self.yarn(1, pick, over_pick - 0.5, float, u)
        };
        // Where the upper yarn does not reach, the lower one shows, in its shadow.
        let top = self.pattern.end_on_top(end, pick);
        let upper = if top { warp() } else { weft() };
        upper.unwrap_or_else(|| 0.45 * if top { weft() } else { warp() }.unwrap_or(0.03))
    }

    /// Lightness of a yarn at `across` pitches from its middle and at share `float` of the float it belongs to.
    fn yarn(&self, family: usize, index: i32, across: f32, float: f32, along: f32) -> Option<f32> {
        let seed = self.seed * 8 + family as u64;
        let own = |stream: u64| value_noise(seed + 100 * stream, along / 9.0, 13.7 * index as f32);
        let breadth = self.fill * (1.0 + self.uneven * own(1));
        let s = across / (0.5 * breadth);
        if s.abs() >= 1.0 {
            return None;
        }
        let t = 2.0 * float - 1.0;
        let (sin, cos) = self.grain.to_radians().sin_cos();
        let (lamp_x, lamp_y) = (-0.574, 0.819);
        let lamp = [lamp_x * sin - lamp_y * cos, lamp_x * cos + lamp_y * sin];
        let lit = self.relief * (0.35 * s * lamp[family] + 0.3 * t * t.abs() * lamp[1 - family]);
        let depth = self.relief * (0.25 * s * s + 0.12 * t.powi(4));
        Some(self.dye[family] * (1.0 + 1.5 * self.uneven * own(2)) * (1.0 + lit - depth))
    }

    /// Legs of the loops lean to the middle of their wale and hide the yarn behind.
    fn jersey(&self, u: f32, v: f32) -> f32 {
        let (wale, x) = (u.floor(), u - u.floor());
        let left = x < 0.5;
        let across = if left { 0.5 - x } else { x - 0.5 };
        // The outer end of a leg stands one course higher than its foot in the middle.
        let place = v - 1.3 * across;
        let course = place.floor();
        let s = 2.0 * (place - course) - 1.0;
        let edge = (4.0 * across - 1.0).powi(2);
        let own = value_noise(self.seed, u / 9.0, 13.7 * course) + 0.3 * value_noise(self.seed + 1, wale * 7.7, v / 9.0);
        let lit = if left { 0.12 } else { -0.12 } * self.relief;
        self.dye[0] * (1.0 + 1.5 * self.uneven * own) * (1.0 + lit - self.relief * (0.5 * s * s + 0.35 * edge))
    }

    fn jersey_back(&self, u: f32, v: f32) -> f32 {
        let arc = 0.32 * (std::f32::consts::TAU * u).cos();
        let place = v + arc;
        let course = place.floor();
        let s = 2.0 * (place - course) - 1.0;
        let own = value_noise(self.seed, u / 9.0, 13.7 * course);
        let side = 0.2 * (std::f32::consts::TAU * u).sin();
        self.dye[0] * (1.0 + 1.5 * self.uneven * own) * (1.0 + self.relief * (side - 0.6 * s * s))
    }

    fn terry(&self, u: f32, v: f32) -> f32 {
        let mut best: f32 = 0.0;
        for j in -1..=1 {
            for i in -1..=1 {
                let (cx, cy) = (u.floor() as i32 + i, v.floor() as i32 + j);
                let h = |k: u64| hash_unit(self.seed + k, cx as u32, cy as u32);
                let (dx, dy) = (u - cx as f32 - 0.2 - 0.6 * h(1), v - cy as f32 - 0.2 - 0.6 * h(2));
                let (s, c) = (std::f32::consts::PI * h(3)).sin_cos();
                let (a, b) = (dx * c + dy * s, dy * c - dx * s);
                best = best.max((0.5 + 0.5 * h(4)) * (1.0 - (a / 0.9).powi(2) - (b / 0.45).powi(2)));
            }
        }
        self.dye[0] * (0.35 + best)
    }

    fn felt(&self, px: f32, py: f32) -> f32 {
        let n = |stream: u64, size: f32| value_noise(self.seed + stream, px / size, py / size);
        self.dye[0] * (1.0 + 0.25 * n(3, 1.5) + 0.2 * n(4, 4.0) + 0.15 * n(5, 11.0))
    }

    fn dot(&self, u: f32, v: f32) -> bool {
        let shift = if v.floor() as i32 % 2 == 0 { 0.0 } else { 0.5 };
        let (dx, dy) = ((u + shift).rem_euclid(1.0) - 0.5, v.rem_euclid(1.0) - 0.5);
        dx.hypot(dy) < 0.27
    }
}

/// Share of the float passed, from whether the same yarn is on top so many crossings on.
fn float_at(here: f32, on_top: impl Fn(i32) -> bool) -> f32 {
    let count = |step: i32| (1..=8).take_while(|&k| on_top(step * k)).count() as f32;
    let (back, ahead) = (count(-1), count(1));
    (back + here) / (back + ahead + 1.0)
}
