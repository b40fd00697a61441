//! Shots of dark cloth laid on each other by what the two cards cannot change.
//!
//! Where cloth is as dark as a twentieth of the card, its pores outshine it: over the light card contrast shows them and not the threads, and threads
//! are laid on pores, or on their neighbours. But opaque cloth looks the same over both cards, and most of it does so at one place alone. That much
//! of it agrees is a consensus (Torr, Zisserman, "MLESAC", 2000) that is climbed step by step.

use rayon::prelude::*;
use tatter_core::image::{Image, LinearRgb, Size};
use tatter_core::kernel::{gaussian, soft};
use tatter_core::stats::{quantile, sample, sample_all};

use super::lay::{AROUND, BLUR, away_from};
use super::{Shots, cards, exposure};
use crate::photo::{Homography, Source, inside, is_inside, warp};

/// Share of the cloth's own light around, and light besides for noise, up to which a pixel agrees.
const OWN: f32 = 0.12;
const NOISE: f32 = 0.003;
/// Light of the shot over the dark card from which nothing more need be asked.
const PALE: f32 = 0.3;
/// Share of the greatest difference between the shots below which all that is dark cloth.
const DARK: f32 = 0.02;
/// Share of that up to which a pixel may be opaque.
const ALIKE: f32 = 0.04;
/// Steps, pixels, from the first to the last.
const STEPS: [f64; 6] = [2.0, 1.0, 0.5, 0.25, 0.12, 0.06];
/// Pixels that are looked at.
const ENOUGH: usize = 250_000;

/// Both shots of dark cloth, as light at one exposure.
pub(super) struct Agreement {
    light: Image<f32>,
    dark: Source<f32, 4>,
    limit: Image<f32>,
    /// Pixels of the other shot.
    from: Size,
}

impl Agreement {
    /// Of shots that lie on each other by about a `map`; `None` of cloth whose light is not small beside the cards' difference.
    pub(super) fn of(first: &Image<LinearRgb>, other: &Image<LinearRgb>, map: &Homography) -> Option<Self> {
        let light = other.map(LinearRgb::luminance);
        if quantile(&mut sample_all(&light), 0.5) > PALE {
            return None;
        }
        let shown = warp(other, map, first.size());
        let both = inside(other.size(), map, first.size());
        let shots = Shots { light: first, dark: &shown, both: &both };
        let greatest = cards::greatest(&shots);
        let gain = exposure::gain(&shots, greatest);
        let even = exposure::exposed(&shown, gain);
        let limit = soft(&even.map(LinearRgb::luminance), AROUND).map(|light| OWN * light.max(0.0) + NOISE);
        let alike = first.zip(&even, |l, d| if (l.luminance() - d.luminance()).abs() < ALIKE * greatest { 1.0 } else { 0.0 });
        let mut of_cloth = sample(&limit, &alike);
        if of_cloth.is_empty() || quantile(&mut of_cloth, 0.5) > DARK * greatest {
            return None;
        }
        let light = gaussian(&first.map(LinearRgb::luminance), BLUR);
        let dark = gaussian(&exposure::exposed(other, gain).map(LinearRgb::luminance), BLUR);
        Some(Self { light, dark: Source::of(&dark), limit, from: other.size() })
    }

    /// The map near another, moved, turned and stretched, with which most agrees, and how much that is.
    pub(super) fn climbed(&self, map: &Homography) -> (f32, Homography) {
        let (width, height) = (self.light.width() as f64, self.light.height() as f64);
        let (middle, corner) = ([0.5 * width, 0.5 * height], 0.5 * width.hypot(height));
        let mut best = (self.share(map), *map);
        for step in STEPS {
            // What turns or stretches moves a corner as far.
            let part = step / corner;
            let moves = [
                Homography::shift(step, 0.0),
                Homography::shift(-step, 0.0),
                Homography::shift(0.0, step),
                Homography::shift(0.0, -step),
                Homography::turn(part, 1.0, middle),
                Homography::turn(-part, 1.0, middle),
                Homography::turn(0.0, 1.0 + part, middle),
                Homography::turn(0.0, 1.0 - part, middle),
            ];
            loop {
                let around = moves.iter().map(|step| best.1.after(step)).map(|map| (self.share(&map), map));
                let next = around.max_by(|a, b| a.0.total_cmp(&b.0));
                let Some(next) = next.filter(|next| next.0 > best.0) else { break };
                best = next;
            }
        }
        best
    }

    /// Where cloth agrees, 1, away from what does not: a lens mixes with it.
    pub(super) fn agreeing(&self, map: &Homography) -> Image<f32> {
        let shown = self.dark.shown(map, self.light.size());
        let off = self.light.zip(&shown, |l, d| (l - d).abs()).zip(&self.limit, |off, limit| off > limit);
        away_from(&off, &inside(self.from, map, self.light.size()))
    }

    /// How much of the cloth agrees, 0..1.
    fn share(&self, map: &Homography) -> f32 {
        let width = self.light.width();
        let step = (self.light.size().area() / ENOUGH).max(1);
        let rows: Vec<usize> = (step / 2..self.light.height()).step_by(step).collect();
        let sums: Vec<f32> = rows
            .par_iter()
            .map(|&y| {
                let mut shown = vec![0.0; width];
                self.dark.show(map, y, &mut shown);
                let agree = |x: usize| {
                    let off = (self.light.get(x, y) - shown[x]) / self.limit.get(x, y);
                    if is_inside(self.from, map, x, y) { (1.0 - off * off).max(0.0) } else { 0.0 }
                };
                (0..width).map(agree).sum()
            })
            .collect();
        sums.iter().sum::<f32>() / (rows.len() * width).max(1) as f32
    }
}
