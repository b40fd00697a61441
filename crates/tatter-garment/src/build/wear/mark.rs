//! How worn each place of the cloth is by one mark.

use std::sync::{Arc, OnceLock};

use glam::{DMat3, DVec3};
use rayon::prelude::*;
use tatter_core::channel::Channel;
use tatter_core::image::LinearRgb;
use tatter_core::model::{Density, Garment, Wear, WearKind};
use tatter_core::rng::value_noise_3d;
use tatter_core::units::Mm;

use super::{WearError, WearInput, dulling};
use crate::build::set_of_face;
use crate::field::{Lines, Place, SAME_SIDE, Sought, Weight, allowed};
use crate::matching::{ECRU, bounded};
use crate::scatter::line::{STEP, places};
use crate::surface::{LocateError, Surface};

/// Dust of a road, sRGB #8a7a64 (common practice, no source).
const DUST: LinearRgb = LinearRgb([0.254, 0.195, 0.127]);
/// What is left of the weight is lost in 8 bits.
const LEAST: f32 = 1e-3;
/// Drawn lines waver by this share of their breadth, over this many breadths: nobody folds along a ruler.
const WAVER: (f64, f64) = (0.45, 5.0);

const TURN: DMat3 = DMat3::from_cols(DVec3::new(0.0, 0.8, 0.6), DVec3::new(-0.8, 0.36, -0.48), DVec3::new(-0.6, -0.48, 0.64));

/// What is the same all over a mark.
#[derive(Debug)]
pub(super) struct Effect {
    pub(super) kind: WearKind,
    /// K/S of fibre without dye, or of grime.
    pub(super) absorption: [f32; 3],
    /// How unevenly high and low threads are reached: the exponent for one deviation of height.
    pub(super) reach: f32,
    pub(super) height_mm: f32,
    pub(super) dulling: f32,
    keep: Vec<Channel>,
}

impl Effect {
    #[cfg(test)]
    pub(super) const fn of(kind: WearKind, absorption: [f32; 3]) -> Self {
        Self { kind, absorption, reach: 0.0, height_mm: 0.0, dulling: 0.0, keep: Vec::new() }
    }

    pub(super) fn keeps(&self, channel: Channel) -> bool {
        self.keep.contains(&channel)
    }
}

/// A mark on a surface.
pub(super) struct Mark<'a> {
    wear: &'a Wear,
    reach: Arc<Reach>,
    weight: Weight<'a>,
    pub(super) effect: Effect,
}

/// What decides where a mark may lie.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Where {
    only: Vec<String>,
    keep_off: Vec<String>,
    density: Vec<Density>,
    along: Vec<[f32; 2]>,
    spread: Mm,
}

impl Where {
    pub(super) fn of(wear: &Wear) -> Self {
        let Wear { only, keep_off, density, along, spread, .. } = wear.clone();
        Self { only, keep_off, density, along, spread }
    }
}

/// Where a mark may lie, however it looks there.
#[derive(Debug)]
pub(super) struct Reach {
    allowed: Vec<bool>,
    sought: Arc<Sought>,
    line: Option<Lines>,
    /// Map sets its cloth shows.
    sets: Vec<usize>,
    /// Faces it may reach by its lines, ascending, with those near; found when first asked for.
    near: OnceLock<Vec<(u32, Near)>>,
}

/// Lines near a face: of every density that has some, and the drawn one.
#[derive(Debug, Default)]
pub(super) struct Near {
    densities: Vec<Vec<u32>>,
    line: Vec<u32>,
}

/// Of a face that no line is asked for.
static NO_LINES: Near = Near { densities: Vec::new(), line: Vec::new() };

impl Reach {
    pub(super) fn new(garment: &Garment, surface: &Surface, wear: &Wear) -> Result<Self, LocateError> {
        let allowed = allowed(surface, &garment.sets, &wear.only, &wear.keep_off)?;
        let sought = Arc::new(Sought::new(surface, &allowed, &wear.density));
        let line = places(surface, &wear.along, &wear.only)?;
        // Steps of the line are even in UV.
        let leap = 8.0 * STEP * f64::from(garment.mm_per_uv.get());
        let line = (!line.is_empty()).then(|| Lines::through(surface, &line, f64::from(wear.spread.get()), leap));
        let of_face = set_of_face(surface, &garment.sets);
        let mut sets: Vec<usize> = of_face.iter().zip(&allowed).filter(|(_, on)| **on).filter_map(|(set, _)| *set).collect();
        sets.sort_unstable();
        sets.dedup();
        Ok(Self { allowed, sought, line, sets, near: OnceLock::new() })
    }

    /// The lines near a face and its gutter.
    fn find_near(&self, surface: &Surface, face: usize) -> Near {
        let corners = surface.faces()[face].corners;
        let middle = corners.iter().sum::<DVec3>() / 3.0;
        // Gutters and wavering lines reach somewhat beyond the face.
        let radius = 1.1 * corners.iter().map(|c| c.distance(middle)).fold(0.0, f64::max) + 5.0;
        let waver = self.line.as_ref().map_or(0.0, |line| WAVER.0 * line.reach());
        Near {
            densities: self.sought.lines().map(|lines| lines.around(middle, radius)).collect(),
            line: self.line.as_ref().map_or_else(Vec::new, |line| line.around(middle, radius + waver)),
        }
    }

    /// Whether it lies anywhere that is allowed, without lines.
    fn is_everywhere(&self) -> bool {
        self.line.is_none() && self.sought.lines().next().is_none()
    }

    /// Find the faces it may reach by its lines. To be done before faces are asked side by side: whoever waits for this on one of the threads
    /// that find it may be given a face to ask, and wait for itself.
    pub(super) fn be_near(&self, surface: &Surface) {
        if !self.is_everywhere() {
            self.near.get_or_init(|| self.all_near(surface));
        }
    }

    fn all_near(&self, surface: &Surface) -> Vec<(u32, Near)> {
        let found = |face: usize| {
            let near = self.allowed[face].then(|| self.find_near(surface, face))?;
            let reaches = near.densities.iter().all(|some| !some.is_empty()) && (self.line.is_none() || !near.line.is_empty());
            reaches.then_some((face as u32, near))
        };
        (0..surface.faces().len()).into_par_iter().filter_map(found).collect()
    }

    /// The lines near a face, once [`Reach::be_near`] found them; `None` where the mark cannot lie.
    fn near(&self, face: usize) -> Option<&Near> {
        if !self.allowed[face] {
            return None;
        }
        if self.is_everywhere() {
            return Some(&NO_LINES);
        }
        let near = self.near.get()?;
        near.binary_search_by_key(&(face as u32), |(face, _)| *face).ok().map(|at| &near[at].1)
    }
}

/// Height of a ripple and wear at a place.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Worn {
    /// 0 as it was, 1 threadbare.
    pub(super) weight: f32,
    /// Added to the height of the cloth, mm.
    pub(super) height_mm: f32,
}

impl<'a> Mark<'a> {
    pub(super) fn new(garment: &Garment, surface: &'a Surface, input: &WearInput<'a>) -> Result<Self, WearError> {
        Self::within(surface, input, || Reach::new(garment, surface, input.wear).map(Arc::new))
    }

    /// With where it may lie, which somebody may know.
    pub(super) fn within(
        surface: &'a Surface,
        input: &WearInput<'a>,
        reach: impl FnOnce() -> Result<Arc<Reach>, LocateError>,
    ) -> Result<Self, WearError> {
        let wear = input.wear;
        let id = || wear.id.clone();
        if !wear.has_place() {
            return Err(WearError::Nowhere { id: id() });
        }
        if !wear.along.is_empty() && wear.spread.get() <= 0.0 {
            return Err(WearError::NoSpread { id: id() });
        }
        let reach = reach().map_err(|source| WearError::Place { id: id(), source })?;
        let weight = Weight::of(surface, &wear.density, input.pictures, Arc::clone(&reach.sought));
        Ok(Self { wear, reach, weight, effect: effect(wear) })
    }

    /// For each face whether it may lie there at all.
    pub(super) fn allowed(&self) -> &[bool] {
        &self.reach.allowed
    }

    /// Map sets its cloth shows.
    pub(super) fn sets(&self) -> &[usize] {
        &self.reach.sets
    }

    pub(super) fn id(&self) -> &str {
        &self.wear.id
    }

    /// Find where its lines reach; see [`Reach::be_near`].
    pub(super) fn be_near(&self, surface: &Surface) {
        self.reach.be_near(surface);
    }

    /// Whether it may reach a face at all.
    pub(super) fn may_reach(&self, face: usize) -> bool {
        self.wear.strength > 0.0 && self.reach.near(face).is_some()
    }

    /// The lines near a face and its gutter; `None` where it cannot lie.
    pub(super) fn near(&self, face: usize) -> Option<&Near> {
        self.reach.near(face)
    }

    /// How worn a place is that was asked alone.
    pub(super) fn at_alone(&self, surface: &Surface, place: &Place) -> Option<Worn> {
        self.at(surface, place, &self.reach.find_near(surface, place.face))
    }

    /// How worn a place is; `None` where it is as it was.
    pub(super) fn at(&self, surface: &Surface, place: &Place, near: &Near) -> Option<Worn> {
        if !self.reach.allowed[place.face] {
            return None;
        }
        let nearest: Vec<_> =
            self.weight.lines().zip(&near.densities).map(|(lines, some)| lines.nearest_of(surface, place, some)).collect();
        let mut weight = self.wear.strength * self.weight.at_known(place, &nearest) as f32;
        let mut foot = nearest.iter().flatten().next().copied();
        if let (Some(line), true) = (&self.reach.line, weight > LEAST) {
            let wavered = Place { point: self.wavered(place.point, line.reach()), ..*place };
            let found = line.nearest_of(surface, &wavered, &near.line)?;
            let share = (found.distance / line.reach()) as f32;
            // Fades out where the cloth turns to the other side, which a broad line may reach.
            let side = ((found.normal.dot(place.normal) - SAME_SIDE) / 0.4).clamp(0.0, 1.0) as f32;
            weight *= (1.0 - share * share).powi(2) * side;
            foot = foot.or(Some(found));
        }
        if weight <= LEAST {
            return None;
        }
        let mut height_mm = self.effect.height_mm * weight / self.wear.strength.max(LEAST);
        if let (Some(foot), true) = (foot, self.wear.pucker.get() > 0.0) {
            // Ripples run aslant from the seam, as the feed of a machine pulls one cloth.
            let length = f64::from(self.wear.pucker.get());
            let at = (foot.foot + foot.along * (0.6 * foot.distance)) / length;
            let ripple = 0.5 + 0.5 * (2.2 * noise(self.wear.seed ^ 0x50, at)).clamp(-1.0, 1.0);
            weight *= 0.15 + 0.85 * ripple;
            height_mm *= ripple - 0.4;
        }
        weight = self.broken(weight, place.point);
        (weight > LEAST).then_some(Worn { weight: weight.min(1.0), height_mm })
    }

    fn wavered(&self, point: DVec3, reach: f64) -> DVec3 {
        if self.wear.along.len() < 2 {
            return point;
        }
        let at = point / (WAVER.1 * reach);
        let axis = |i: u64| noise(self.wear.seed ^ (0x71 + i), at);
        point + DVec3::new(axis(0).into(), axis(1).into(), axis(2).into()) * (WAVER.0 * reach)
    }

    /// Blotches: what is worn hard stays so, what is worn little is broken up.
    fn broken(&self, weight: f32, point: DVec3) -> f32 {
        if self.wear.uneven <= 0.0 {
            return weight;
        }
        let mut at = TURN * point / f64::from(self.wear.blotch.get()).max(1e-3);
        let (mut sum, mut size) = (0.0, 0.5);
        for octave in 0..4 {
            sum += size * noise(self.wear.seed.wrapping_add(octave), at);
            // Turned (columns are unit vectors square to each other), so that no lattice shows.
            at = TURN * at * 2.17;
            size *= 0.6;
        }
        // Values of noise pile up in the middle: about 1 at two deviations.
        let lost = self.wear.uneven * (0.5 - 1.6 * sum).clamp(0.0, 1.0);
        (weight - lost * (1.0 - weight * weight) * weight.min(0.6) * 1.6).max(0.0)
    }
}

fn noise(seed: u64, at: DVec3) -> f32 {
    value_noise_3d(seed, at.as_vec3().to_array())
}

fn effect(wear: &Wear) -> Effect {
    let reflectance = match wear.kind {
        WearKind::Grime => wear.color.map_or(DUST, LinearRgb::from_codes),
        _ => wear.fibre.map_or(ECRU, LinearRgb::from_codes),
    };
    Effect {
        kind: wear.kind,
        absorption: reflectance.0.map(bounded),
        reach: match wear.kind {
            WearKind::Fade => 0.45,
            WearKind::Abrasion => 1.1,
            WearKind::Crease => 0.9,
            WearKind::Grime => -0.7,
        },
        height_mm: wear.height.unwrap_or_else(|| wear.kind.usual_height()).get(),
        dulling: dulling(wear.kind),
        keep: wear.keep.clone(),
    }
}
