//! Many placements from a rule and a seed, spread as blue noise over the cloth by true area.

mod ground;
pub(crate) mod line;

pub use ground::ScatterGround;

use std::sync::Arc;

use glam::DVec3;
use ground::Reach;
use tatter_core::angle::Angle;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, Unit};
use tatter_core::model::{Garment, Scatter, Spot};
use tatter_core::rng::Rng;
use tatter_core::task::{Cancelled, Task};

use crate::field::{Lines, Place, SAME_SIDE, Weight};
use crate::surface::{LocateError, Seed, Surface};

/// Places tried for each placement; the one farthest from all before it is taken (Mitchell, "Spectrally Optimal Sampling for
/// Distribution Ray Tracing", 1991: best candidate).
const CANDIDATES: usize = 24;
/// Throws for one candidate before it is given up; beside a line each costs two walks over all faces.
const THROWS: [usize; 2] = [200, 20];
/// Numbers in a row that find no room before the rest is given up.
const FULL: usize = 30;

/// One of the placements a rule yields.
#[derive(Clone, Debug, PartialEq)]
pub struct Scattered {
    /// From 1; stays when the count changes.
    pub number: usize,
    /// Which of the rule's patches.
    pub patch: usize,
    /// Where.
    pub spot: Spot,
    /// Turn from the garment's grain.
    pub turn: Angle,
    /// Times the patch's own size.
    pub scale: f32,
    /// Mirrored left to right.
    pub mirror: bool,
}

/// Why nothing can be scattered.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ScatterError {
    /// A name of a part, or a place of the line.
    #[error(transparent)]
    Place(#[from] LocateError),
    /// Nothing to lay.
    #[error("the scatter has no patch with a weight above 0")]
    NoPatch,
    /// The person stopped it.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// No cloth is left.
    #[error("no cloth is left to lay anything on")]
    NoCloth,
}

impl Explain for ScatterError {
    fn next(&self) -> String {
        match self {
            Self::Place(error) => error.next(),
            Self::Cancelled(_) => "start again when ready".into(),
            Self::NoPatch => "name at least one patch".into(),
            Self::NoCloth => "allow more parts, a smaller margin, or a wider density".into(),
        }
    }

    fn class(&self) -> Class {
        Class::Request
    }
}

/// What a rule needs beside the garment.
#[derive(Debug)]
pub struct ScatterInput<'a> {
    /// The rule.
    pub rule: &'a Scatter,
    /// For each of its patches the radius of what it covers at its own size, mm.
    pub radius_mm: &'a [f64],
    /// For each of its densities the picture, where it is one.
    pub pictures: &'a [Option<Image<Unit>>],
}

/// A place that is taken.
struct Taken {
    point: DVec3,
    normal: DVec3,
    radius: f64,
}

/// The placements a rule yields, fewer than its count when no more fit. The same seed gives the same places; a larger count
/// adds to them. Each costs up to 24 candidates of up to 200 throws; a throw looks at
/// the seams and edges near it only; beside a line it is linear in the faces (20 throws at most there). Given up after thirty in a row found no room.
///
/// # Errors
/// [`ScatterError`].
pub fn scatter(garment: &Garment, input: &ScatterInput<'_>, task: &Task) -> Result<Vec<Scattered>, ScatterError> {
    scatter_on(&ScatterGround::default(), &Surface::new(garment), garment, input, task)
}

/// As [`scatter`], on the garment's surface that was made before; of what the last throw on the same ground found, all is kept that its
/// count, seed, sizes and turns do not change.
///
/// # Errors
/// [`ScatterError`].
pub fn scatter_on(
    ground: &ScatterGround,
    surface: &Surface,
    garment: &Garment,
    input: &ScatterInput<'_>,
    task: &Task,
) -> Result<Vec<Scattered>, ScatterError> {
    let rule = input.rule;
    let weights: Vec<f64> = rule.patches.iter().map(|share| f64::from(share.weight.max(0.0))).collect();
    if weights.iter().sum::<f64>() <= 0.0 || input.radius_mm.len() != weights.len() {
        return Err(ScatterError::NoPatch);
    }
    let reach = ground.reach(surface, garment, input)?;
    let field = Field {
        weight: Weight::of(surface, &rule.density, input.pictures, Arc::clone(&reach.sought)),
        margin: reach.margin.as_ref(),
    };
    let (mut taken, mut found): (Vec<Taken>, Vec<Scattered>) = (Vec::new(), Vec::new());
    let mut failed = 0;
    for number in 1..=rule.count {
        task.check()?;
        if failed >= FULL {
            break;
        }
        task.progress("scatter", number as f32 / rule.count as f32);
        // A stream of its own for every number, so that none depends on how many there are.
        let mut rng = Rng::new(rule.seed.wrapping_mul(0x9E37_79B9).wrapping_add(number as u64));
        let patch = pick(&weights, f64::from(rng.unit()));
        let scale = rng.range(rule.scale[0], rule.scale[1]);
        let turn = Angle::radians(rng.range(rule.turn[0].to_radians(), rule.turn[1].to_radians()));
        let mirror = rule.mirror && rng.unit() < 0.5;
        let radius = input.radius_mm[patch] * f64::from(scale);
        let mut best: Option<(f64, Seed)> = None;
        for _ in 0..CANDIDATES {
            let Some((seed, density)) = throw(surface, &reach, &field, radius, &mut rng) else { continue };
            let nearest = taken.iter().filter(|t| t.normal.dot(seed.normal) > SAME_SIDE).map(|t| {
                let apart = t.point.distance(seed.point);
                (apart, rule.overlap || apart >= t.radius + radius)
            });
            let (distance, fits) = nearest.fold((f64::MAX, true), |(d, f), (apart, ok)| (d.min(apart), f && ok));
            // Where there are to be more, they lie closer: distance counts for more there.
            let score = if distance == f64::MAX { density } else { distance * density.sqrt() };
            if fits && best.as_ref().is_none_or(|(most, _)| score > *most) {
                best = Some((score, seed));
            }
        }
        let Some((_, seed)) = best else {
            failed += 1;
            continue;
        };
        failed = 0;
        taken.push(Taken { point: seed.point, normal: seed.normal, radius });
        found.push(Scattered { number, patch, spot: spot(garment, surface, &seed), turn, scale, mirror });
    }
    if found.is_empty() && rule.count > 0 { Err(ScatterError::NoCloth) } else { Ok(found) }
}

/// A place that the density lets through, and the density there.
fn throw(surface: &Surface, reach: &Reach, field: &Field<'_>, radius: f64, rng: &mut Rng) -> Option<(Seed, f64)> {
    let Reach { areas, line, allowed, .. } = reach;
    for _ in 0..THROWS[usize::from(line.is_some())] {
        let seed = match line {
            Some(line) => line.place(surface, rng),
            None => areas.place(surface, rng),
        };
        let Some(seed) = seed.filter(|seed| allowed[seed.face]) else { continue };
        let density = field.at(&seed, radius);
        if density > 0.0 && f64::from(rng.unit()) < density {
            return Some((seed, density));
        }
    }
    None
}

/// How welcome a place is: the densities, and the margin to seams.
struct Field<'a> {
    weight: Weight<'a>,
    /// Seams and open edges of all cloth and trims, when there is a margin.
    margin: Option<&'a (f64, Lines)>,
}

impl Field<'_> {
    /// For a cover of this radius, mm.
    fn at(&self, seed: &Seed, radius: f64) -> f64 {
        let place = Place::of(seed);
        let kept_off =
            |(margin, lines): &(f64, Lines)| lines.nearest_on_side(&place).is_some_and(|near| near.distance < margin + radius);
        if self.margin.is_some_and(kept_off) { 0.0 } else { self.weight.at(&place) }
    }
}

/// Index of a weighted choice for a number in 0..1.
fn pick(weights: &[f64], unit: f64) -> usize {
    let mut left = unit * weights.iter().sum::<f64>();
    for (index, weight) in weights.iter().enumerate() {
        left -= weight;
        if left < 0.0 {
            return index;
        }
    }
    weights.len() - 1
}

/// Faces by their area on the cloth.
#[derive(Debug)]
pub(crate) struct Areas {
    faces: Vec<usize>,
    /// Sum of areas up to and with each face.
    sums: Vec<f64>,
}

impl Areas {
    pub(crate) fn new(surface: &Surface, allowed: &[bool]) -> Result<Self, ScatterError> {
        let (mut faces, mut sums, mut sum) = (Vec::new(), Vec::new(), 0.0);
        for (index, face) in surface.faces().iter().enumerate().filter(|(index, _)| allowed[*index]) {
            let [a, b, c] = face.corners;
            sum += 0.5 * (b - a).cross(c - a).length();
            faces.push(index);
            sums.push(sum);
        }
        if sum > 0.0 { Ok(Self { faces, sums }) } else { Err(ScatterError::NoCloth) }
    }

    /// Even over the area (Osada et al., "Shape Distributions", 2002, for the place within a triangle).
    pub(crate) fn place(&self, surface: &Surface, rng: &mut Rng) -> Option<Seed> {
        let at = f64::from(rng.unit()) * self.sums.last()?;
        let face = *self.faces.get(self.sums.partition_point(|sum| *sum <= at))?;
        let (root, share) = (f64::from(rng.unit()).sqrt(), f64::from(rng.unit()));
        Some(surface.seed(face, [1.0 - root, root * (1.0 - share), root * share], 0.0, Vec::new()))
    }
}

/// In UV where one place on the cloth answers to it, else as a point.
pub(crate) fn spot(garment: &Garment, surface: &Surface, seed: &Seed) -> Spot {
    let face = &surface.faces()[seed.face];
    let uv = (0..3).map(|k| face.uvs[k] * seed.weights[k]).sum::<glam::DVec2>();
    let part = (surface.parts().len() > 1 && !surface.is_flat()).then(|| surface.parts()[face.part].name.clone());
    let by_uv = Spot::Uv { at: [uv.x as f32, uv.y as f32], part };
    let same = surface
        .locate(&by_uv, garment.mm_per_unit)
        .is_ok_and(|found| found.point.distance(seed.point) < 0.5 && found.shared_with.is_empty());
    if same || surface.is_flat() {
        return by_uv;
    }
    Spot::Point((seed.point / f64::from(garment.mm_per_unit)).as_vec3().to_array())
}
