//! How welcome a place is, 0 to 1.

use glam::DVec3;
use tatter_core::model::Density;

use super::ScatterInput;
use crate::surface::{Seed, Surface};

/// Cloth that turns by more at an edge, cosine: a crease, a cuff's fold.
const CREASE: f64 = 0.5;
/// Rounds that spread a face's bend to its neighbours.
const SMOOTH: usize = 4;

/// Everything the densities and the margin need of the surface.
pub(super) struct Weight<'a> {
    surface: &'a Surface,
    input: &'a ScatterInput<'a>,
    /// Seams and open edges, when there is a margin.
    seams: Vec<[DVec3; 2]>,
    /// Open edges and creases, when they attract.
    edges: Vec<[DVec3; 2]>,
    /// One over the radius each face bends in, per mm, when bends attract.
    bends: Vec<f64>,
    /// Bottom and top of the garment.
    heights: [f64; 2],
}

impl<'a> Weight<'a> {
    pub(super) fn new(surface: &'a Surface, allowed: &[bool], input: &'a ScatterInput<'a>) -> Self {
        let rule = input.rule;
        let wants = |is: fn(&Density) -> bool| rule.density.iter().any(is);
        let kept = || (0..surface.faces().len()).filter(|face| allowed[*face]);
        let seams = if rule.margin.get() > 0.0 { borders(surface, kept(), is_seam) } else { Vec::new() };
        let edges = if wants(|d| matches!(d, Density::Edges(_))) { borders(surface, kept(), is_edge) } else { Vec::new() };
        let bends = if wants(|d| matches!(d, Density::Bends(_))) { bends(surface) } else { Vec::new() };
        let heights = kept()
            .flat_map(|face| surface.faces()[face].corners)
            .fold([f64::MAX, f64::MIN], |[low, high], p| [low.min(p.y), high.max(p.y)]);
        Self { surface, input, seams, edges, bends, heights }
    }

    /// For a cover of this radius, mm.
    pub(super) fn at(&self, seed: &Seed, radius: f64) -> f64 {
        let rule = self.input.rule;
        let margin = f64::from(rule.margin.get());
        if margin > 0.0 && nearest(seed.point, &self.seams) < margin + radius {
            return 0.0;
        }
        rule.density.iter().zip(self.input.pictures).fold(1.0, |product, (density, picture)| {
            product
                * match density {
                    Density::Picture(_) => picture.as_ref().map_or(1.0, |picture| {
                        let face = &self.surface.faces()[seed.face];
                        let uv = (0..3).map(|k| face.uvs[k] * seed.weights[k]).sum::<glam::DVec2>();
                        let uv = uv - uv.floor();
                        let (x, y) = (uv.x * picture.width() as f64, uv.y * picture.height() as f64);
                        f64::from(picture.bilinear(x as f32, y as f32).0.clamp(0.0, 1.0))
                    }),
                    Density::Height([most, none]) => {
                        let [low, high] = self.heights;
                        let share = (seed.point.y - low) / (high - low).max(1e-9);
                        let (most, none) = (f64::from(*most), f64::from(*none));
                        if most == none { 1.0 } else { ((share - none) / (most - none)).clamp(0.0, 1.0) }
                    }
                    Density::Edges(reach) => {
                        (1.0 - nearest(seed.point, &self.edges) / f64::from(reach.get()).max(1e-9)).clamp(0.0, 1.0)
                    }
                    Density::Bends(radius) => (self.bends[seed.face] * f64::from(radius.get())).clamp(0.0, 1.0),
                }
        })
    }
}

fn borders(surface: &Surface, faces: impl Iterator<Item = usize>, is: fn(&Surface, usize, usize) -> bool) -> Vec<[DVec3; 2]> {
    let edges = faces.flat_map(|face| (0..3).map(move |k| (face, k))).filter(|&(face, k)| is(surface, face, k));
    edges.map(|(face, k)| [0, 1].map(|end| surface.faces()[face].corners[(k + end) % 3])).collect()
}

/// The cloth ends here, or its texture does not go on across.
fn is_seam(surface: &Surface, face: usize, k: usize) -> bool {
    let own = &surface.faces()[face];
    let goes_on = |other: usize| {
        let next = &surface.faces()[other];
        let has = |end: usize| (0..3).any(|j| next.uvs[j].distance(own.uvs[end]) < 1e-6);
        next.part == own.part && has(k) && has((k + 1) % 3)
    };
    !surface.across(face, k).any(goes_on)
}

/// The cloth ends or folds sharply here: hem, cuff, crease.
fn is_edge(surface: &Surface, face: usize, k: usize) -> bool {
    let normal = surface.faces()[face].normal;
    !surface.across(face, k).any(|other| surface.faces()[other].normal.dot(normal) > CREASE)
}

fn bends(surface: &Surface) -> Vec<f64> {
    let middle = |face: usize| surface.faces()[face].corners.iter().sum::<DVec3>() / 3.0;
    let around = |face: usize| (0..3).flat_map(move |k| surface.across(face, k));
    let mut bend: Vec<f64> = (0..surface.faces().len())
        .map(|face| {
            let turns = around(face).map(|other| {
                let cos = surface.faces()[face].normal.dot(surface.faces()[other].normal).clamp(-1.0, 1.0);
                // Folds are edges, not bends.
                if cos < CREASE { 0.0 } else { cos.acos() / middle(face).distance(middle(other)).max(1e-9) }
            });
            turns.fold(0.0, f64::max)
        })
        .collect();
    for _ in 0..SMOOTH {
        bend = (0..bend.len())
            .map(|face| {
                let (sum, count) = around(face).fold((bend[face], 1.0), |(sum, count), other| (sum + bend[other], count + 1.0));
                sum / count
            })
            .collect();
    }
    bend
}

fn nearest(p: DVec3, segments: &[[DVec3; 2]]) -> f64 {
    let distance = |&[a, b]: &[DVec3; 2]| {
        let ab = b - a;
        let t = ((p - a).dot(ab) / ab.length_squared().max(1e-18)).clamp(0.0, 1.0);
        (a + ab * t).distance_squared(p)
    };
    segments.iter().map(distance).fold(f64::MAX, f64::min).sqrt()
}
