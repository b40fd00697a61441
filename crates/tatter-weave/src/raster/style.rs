//! How yarns of one sort look close up: plies, fibres, dye.

use tatter_core::image::LinearRgb;

use super::segment::{Spot, Values};
use crate::loom::Threads;
use crate::maths::{sin_cos_turns, smoothstep};
use crate::sheet::Sheet;
use crate::yarn::{Dye, Yarn};

/// One sort of yarn.
#[derive(Debug)]
pub(crate) struct Style {
    plies: u8,
    /// Distance of a ply from the yarn's middle and its radius, shares of the yarn's radius.
    ring: f32,
    radius: f32,
    /// Turns per mm of the plies, or of the fibres of a single yarn.
    turns: f32,
    /// Turns per mm of the fibres as seen.
    fibre_turns: f32,
    sheets_per_mm: f32,
    /// Depth of the fibres' relief, mm.
    relief: f32,
    sheet: Sheet,
    dye: Dye,
    /// How much fibres differ in shade.
    mottle: f32,
    /// And in hue: wool is dyed before it is blended and spun, and its own yellow shows where it took less dye.
    hue: f32,
    /// Length of a wave of the fibres' crimp, mm.
    pub(crate) wave: Option<f32>,
    roughness: f32,
}

/// What one sample of yarn looks like.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Look {
    pub(crate) z: f32,
    pub(crate) color: LinearRgb,
    pub(crate) roughness: f32,
}

/// Burnt fibres: scorched, then charred.
const SCORCH: [f32; 3] = [0.115, 0.052, 0.020];
const CHAR: [f32; 3] = [0.011, 0.0095, 0.0085];

impl Style {
    pub(crate) fn new(threads: &Threads, sample_mm: f32, seed: u64) -> Self {
        // Plies are twisted against their singles, so their fibres lie almost along the yarn.
        let whole = |turns: f32| (turns * threads.length).round() / threads.length;
        let fibre_turns = if threads.yarn.ply == 1 { threads.turns } else { whole(0.2 * threads.turns) };
        Self::of(&threads.yarn, [threads.turns, fibre_turns], threads.sheet_mm, sample_mm, seed)
    }

    /// Of a yarn with that many turns per mm of plies and of fibres, whose skin repeats after `sheet_mm`.
    pub(crate) fn of(yarn: &Yarn, [turns, fibre_turns]: [f32; 2], sheet_mm: f32, sample_mm: f32, seed: u64) -> Self {
        let fibre = yarn.fibre.diameter().get();
        let diameter = yarn.diameter().get();
        let plies = yarn.ply;
        // Round plies that touch, pressed into each other a little as twist does.
        let touching = match plies {
            1 => 1.0,
            2 => 0.5,
            3 => 0.464,
            4 => 0.414,
            _ => 0.36,
        };
        let radius = if plies == 1 { 1.0 } else { touching * 1.12 };
        let ply_diameter = diameter * radius;
        Self {
            plies,
            ring: 1.0 - radius,
            radius,
            turns,
            fibre_turns,
            sheets_per_mm: 1.0 / sheet_mm,
            relief: 1.6 * fibre + 0.05 * ply_diameter,
            sheet: Sheet::new(ply_diameter, yarn.fibre, sample_mm, seed),
            dye: yarn.dye,
            mottle: 0.14 + 0.34 * yarn.blend,
            hue: if yarn.fibre.crimp_wave().is_some() { 0.16 * yarn.blend } else { 0.0 },
            wave: yarn.fibre.crimp_wave().map(|wave| wave.get()),
            roughness: yarn.fibre.roughness(),
        }
    }

    /// Turns per mm, or 1 for a yarn without twist.
    pub(crate) fn turns_or_one(&self) -> f32 {
        if self.turns == 0.0 { 1.0 } else { self.turns }
    }

    /// Sine and cosine of the first ply's place at `along` mm.
    pub(crate) fn ply_at(&self, along: f32) -> [f32; 2] {
        if self.plies == 1 {
            return [0.0, 1.0];
        }
        let (s, c) = sin_cos_turns(along * self.turns);
        [s, c]
    }

    /// Height of the face above the middle line as a share of the half thickness; which ply; -1..1 across that ply.
    #[inline]
    pub(crate) fn rise(&self, across: f32, ply: [f32; 2]) -> Option<(f32, u8, f32)> {
        if self.plies == 1 {
            let inside = 1.0 - across * across;
            return (inside > 0.0).then(|| (inside.sqrt(), 0, across));
        }
        let mut best: Option<(f32, u8, f32)> = None;
        let (s, c) = turn(self.plies);
        let mut place = ply;
        for k in 0..self.plies {
            let off = across - self.ring * place[0];
            let inside = self.radius * self.radius - off * off;
            if inside > 0.0 {
                let rise = self.ring * place[1] + inside.sqrt();
                if best.is_none_or(|(top, ..)| rise > top) {
                    best = Some((rise, k, off / self.radius));
                }
            }
            place = [place[0] * c + place[1] * s, place[1] * c - place[0] * s];
        }
        best
    }

    /// Height, colour and roughness at a spot that lies on the yarn.
    pub(crate) fn look(&self, spot: Spot, values: &Values, phase: [f32; 2]) -> Look {
        let (rise, ply, across) = self.rise(spot.across.clamp(-0.999, 0.999), values.ply).unwrap_or((0.0, 0, spot.across));
        let v = across.clamp(-1.0, 1.0);
        // A quarter turn from the crown to the flank; v (0.637 + 0.363 v⁴) is within 2 % of the arc sine's share.
        let quarter = 0.25 * v * (0.637 + 0.363 * v * v * v * v);
        let around = quarter - self.fibre_turns * values.along + phase[0] + 0.37 * f32::from(ply);
        let [height, shade] = self.sheet.at(around, values.along * self.sheets_per_mm + phase[1] + 0.29 * f32::from(ply));
        let facing = (1.0 - v * v).max(0.0).sqrt();
        let z = values.z + values.thick * rise - self.relief * (1.0 - height) * (0.35 + 0.65 * facing);
        Look {
            z,
            color: self.color(values, height, shade),
            roughness: (self.roughness + 0.10 * (1.0 - height) + 0.06 * values.bare).min(0.97),
        }
    }

    fn color(&self, values: &Values, height: f32, shade: f32) -> LinearRgb {
        let level = values.shade * (1.0 + self.mottle * shade).max(0.15) * (0.86 + 0.14 * height);
        let shallow = (1.0 - self.dye.depth) * 0.34 * (shade - 0.2).max(0.0);
        // Rubbed off from outside inwards: dyed fibres go first where they stand out.
        let patchy = values.bare * (1.0 - values.bare) * 1.6 * (0.5 * shade + height - 0.55);
        let bare = (values.bare + patchy).clamp(0.0, 1.0);
        let mut color = [0, 1, 2].map(|k| {
            let (dyed, core) = (self.dye.color.0[k], self.dye.core.0[k]);
            worn(dyed + (core - dyed) * shallow.min(1.0), core, bare) * level
        });
        if self.hue > 0.0 {
            color[0] *= 1.0 + 0.6 * self.hue * shade;
            color[2] *= 1.0 - 0.8 * self.hue * shade;
        }
        if values.char > 0.0 {
            let (scorch, black) = (smoothstep(0.0, 0.45, values.char), smoothstep(0.35, 1.0, values.char + 0.12 * shade));
            for k in 0..3 {
                color[k] += (color[k] * 0.25 + 0.75 * SCORCH[k] * level - color[k]) * scorch;
                color[k] += (CHAR[k] * (0.6 + 0.8 * height) - color[k]) * black;
            }
        }
        LinearRgb(color)
    }

    /// Colour of a single fibre of this yarn: `bare` 0 from the surface, 1 from the heart.
    pub(crate) fn fibre_color(&self, bare: f32, char: f32, level: f32) -> LinearRgb {
        self.blended_color(bare, char, level, 0.0)
    }

    /// The same of a fibre of that shade among those of the blend, -1..1.
    pub(crate) fn blended_color(&self, bare: f32, char: f32, level: f32, shade: f32) -> LinearRgb {
        let values = Values { z: 0.0, thick: 0.0, ply: [0.0, 1.0], along: 0.0, shade: level, bare, char };
        self.color(&values, 0.8, shade)
    }
}

/// A channel of a dyed fibre that has lost that share of its dye. Wear thins the dye, which multiplies light, and lays bare fibres
/// beside dyed ones, which adds it; this lies between: worn indigo turns pale blue before it turns white (chosen by eye).
fn worn(dyed: f32, core: f32, bare: f32) -> f32 {
    if bare == 0.0 {
        return dyed;
    }
    let root = |v: f32| v.max(0.0).sqrt().sqrt();
    let mixed = root(dyed) + (root(core) - root(dyed)) * bare;
    mixed * mixed * mixed * mixed
}

/// Sine and cosine of the step from a ply to the next.
const fn turn(plies: u8) -> (f32, f32) {
    match plies {
        2 => (0.0, -1.0),
        3 => (0.866_025_4, -0.5),
        4 => (1.0, 0.0),
        5 => (0.951_056_5, 0.309_017),
        _ => (0.866_025_4, 0.5),
    }
}
