//! The cloth around a spot laid flat: for every corner how far to walk from the spot along the cloth, and which way to set out
//! (geodesic polar coordinates after Melvær and Reimers, "Geodesic Polar Coordinates on Polygonal Meshes", 2012). True to
//! size wherever cloth bends one way only; on a dome it keeps lengths along the walk.

use std::collections::{BTreeMap, BinaryHeap};

use glam::{DVec2, DVec3};

use super::PlaceSettings;
use crate::surface::{Face, Seed, Surface, nearest_weights};

/// Weight that every corner of the first face keeps: a spot exactly on a corner would set out in no direction from it.
const LEAST_WEIGHT: f64 = 1e-4;
/// Passes over all corners after the first walk: corners of long thin faces are reached out of order.
const PASSES: usize = 8;
/// A pass that moves no corner by more than this share of the reach is the last.
const SETTLED: f64 = 1e-9;

/// Which corner is where, flat: mm from the spot, x right and y up when grain points up.
#[derive(Debug)]
pub(crate) struct Unfolded {
    /// Faces the walk came by, with their corners laid flat.
    pub(crate) faces: Vec<(usize, [DVec2; 3])>,
    /// Faces within reach that fold back or cannot be laid flat.
    pub(crate) left_out: usize,
}

/// How far and which way, from the spot.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Polar {
    walk: f64,
    /// Counter-clockwise from right, any number of turns.
    angle: f64,
}

impl Polar {
    fn of(v: DVec2) -> Self {
        Self { walk: v.length(), angle: v.y.atan2(v.x) }
    }

    fn flat(self) -> DVec2 {
        DVec2::from_angle(self.angle) * self.walk
    }
}

/// Lay the cloth within `reach` mm of the seed flat. Costs k log k for k faces within reach.
pub(crate) fn unfold(surface: &Surface, seed: &Seed, reach: f64, settings: &PlaceSettings) -> Unfolded {
    let (near, mut left_out) = connected(surface, seed, reach, settings);
    let first = &surface.faces()[seed.face];
    let [right, up] = axes(first, seed);
    let nudged = seed.weights.map(|w| w.max(LEAST_WEIGHT));
    let nudged = first.point(nudged.map(|w| w / nudged.iter().sum::<f64>()));
    let flat = |p: DVec3| DVec2::new((p - nudged).dot(right), (p - nudged).dot(up));
    let walk = Walk::new(surface, &near);
    let start = surface.welded(seed.face).into_iter().zip(first.corners);
    let start: BTreeMap<usize, Polar> = start.filter_map(|(c, p)| Some((walk.number(c)?, Polar::of(flat(p))))).collect();
    let found = walk.run(&start, reach);
    let from_seed = flat(seed.point);
    let mut faces = Vec::with_capacity(near.len());
    for &index in &near {
        let corners = surface.welded(index).map(|c| found[walk.number(c)?].map(|polar| polar.flat() - from_seed));
        let [Some(a), Some(b), Some(c)] = corners else { continue };
        if distance_to_triangle([a, b, c]) > reach {
            continue;
        }
        let walked = [a, b, c].map(DVec2::length).into_iter().fold(f64::MAX, f64::min);
        let straight = surface.faces()[index].corners.map(|p| p.distance(seed.point)).into_iter().fold(f64::MAX, f64::min);
        // Rounding of a spot on a corner is no detour.
        let folded = index != seed.face && walked > settings.longest_detour * straight + 1e-6 * reach;
        if folded || !lies_flat(&surface.faces()[index], [a, b, c], settings.most_stretched) {
            left_out += 1;
        } else {
            faces.push((index, [a, b, c]));
        }
    }
    faces.sort_unstable_by_key(|(index, _)| *index);
    Unfolded { faces, left_out }
}

/// Faces reached by walking across edges within a straight distance, ascending; and how many lie behind a sharp fold.
fn connected(surface: &Surface, seed: &Seed, reach: f64, settings: &PlaceSettings) -> (Vec<usize>, usize) {
    let fold = f64::from(settings.sharpest_fold.to_radians()).cos();
    let mut seen = vec![false; surface.faces().len()];
    seen[seed.face] = true;
    let mut taken = vec![seed.face];
    let mut stack = vec![seed.face];
    let mut behind = 0;
    while let Some(index) = stack.pop() {
        let own = surface.faces()[index].normal;
        for k in 0..3 {
            // Where more than two faces meet, cloth goes on where it turns least: not into the lining sewn to it.
            let next = surface.across(index, k).max_by(|&a, &b| {
                let along = |i: usize| surface.faces()[i].normal.dot(own);
                along(a).total_cmp(&along(b)).then(b.cmp(&a))
            });
            let Some(next) = next.filter(|&next| !seen[next]) else { continue };
            let face = &surface.faces()[next];
            if face.point(nearest_weights(seed.point, face.corners)).distance(seed.point) > reach {
                seen[next] = true;
                continue;
            }
            // A face without area has no direction: it is walked through, not judged.
            let folds = face.normal != DVec3::ZERO && own != DVec3::ZERO && face.normal.dot(own) < fold;
            behind += usize::from(folds);
            if !folds {
                seen[next] = true;
                taken.push(next);
                stack.push(next);
            }
        }
    }
    taken.sort_unstable();
    (taken, behind)
}

/// Right and up in the plane of the first face, up along the grain.
fn axes(face: &Face, seed: &Seed) -> [DVec3; 2] {
    let normal = if face.normal == DVec3::ZERO { seed.normal } else { face.normal };
    let up = (seed.grain - normal * seed.grain.dot(normal)).normalize_or_zero();
    let up = if up == DVec3::ZERO { normal.any_orthonormal_vector() } else { up };
    [up.cross(normal), up]
}

/// The faces a walk may cross.
struct Walk {
    /// Their corners, ascending: the place of one in this list is its number here.
    corners: Vec<u32>,
    /// Where the triangles on each corner begin in the list of all, and where the last ends.
    first: Vec<usize>,
    /// Triangles corner by corner.
    fans: Vec<Fan>,
}

/// A triangle seen from one of its corners: the other two, and its side lengths.
#[derive(Clone, Copy, Default)]
struct Fan {
    a: u32,
    b: u32,
    to_a: f64,
    to_b: f64,
    ab: f64,
}

impl Walk {
    fn new(surface: &Surface, near: &[usize]) -> Self {
        let mut corners: Vec<u32> = near.iter().flat_map(|&index| surface.welded(index)).collect();
        corners.sort_unstable();
        corners.dedup();
        let mut walk = Self { first: vec![0; corners.len() + 1], fans: vec![Fan::default(); 3 * near.len()], corners };
        let numbers: Vec<[u32; 3]> =
            near.iter().map(|&index| surface.welded(index).map(|c| walk.number(c).unwrap_or_default() as u32)).collect();
        numbers.iter().flatten().for_each(|&c| walk.first[c as usize + 1] += 1);
        (0..walk.corners.len()).for_each(|c| walk.first[c + 1] += walk.first[c]);
        let mut next = walk.first.clone();
        for (&index, numbers) in near.iter().zip(&numbers) {
            let places = surface.faces()[index].corners;
            for k in 0..3 {
                let (i, j) = ((k + 1) % 3, (k + 2) % 3);
                let to = |m: usize| places[k].distance(places[m]);
                let fan = Fan { a: numbers[i], b: numbers[j], to_a: to(i), to_b: to(j), ab: places[i].distance(places[j]) };
                let at = &mut next[numbers[k] as usize];
                walk.fans[*at] = fan;
                *at += 1;
            }
        }
        walk
    }

    /// The number of a corner here.
    fn number(&self, corner: u32) -> Option<usize> {
        self.corners.binary_search(&corner).ok()
    }

    fn fans_of(&self, corner: usize) -> &[Fan] {
        &self.fans[self.first[corner]..self.first[corner + 1]]
    }

    /// Outwards from the corners that are known, nearest first; then again over all of them until nothing moves.
    fn run(&self, start: &BTreeMap<usize, Polar>, reach: f64) -> Vec<Option<Polar>> {
        let mut found: Vec<Option<Polar>> = vec![None; self.corners.len()];
        start.iter().for_each(|(&corner, polar)| found[corner] = Some(*polar));
        let mut order: Vec<usize> = Vec::new();
        let mut done = vec![false; self.corners.len()];
        let mut heap: BinaryHeap<Nearest> = start.iter().map(|(&corner, p)| Nearest { walk: p.walk, corner }).collect();
        while let Some(Nearest { corner, .. }) = heap.pop() {
            if std::mem::replace(&mut done[corner], true) {
                continue;
            }
            if !start.contains_key(&corner) {
                order.push(corner);
            }
            for fan in self.fans_of(corner) {
                for next in [fan.a as usize, fan.b as usize] {
                    if done[next] || start.contains_key(&next) {
                        continue;
                    }
                    if let Some(better) = self.best(next, &found)
                        && found[next].is_none_or(|known| better.walk < known.walk)
                    {
                        found[next] = Some(better);
                        heap.push(Nearest { walk: better.walk, corner: next });
                    }
                }
            }
        }
        self.settle(&order, &mut found, reach);
        found
    }

    /// Find all corners again, in order, until nothing moves. A corner beside which nothing moved since is where it was.
    fn settle(&self, order: &[usize], found: &mut [Option<Polar>], reach: f64) {
        let mut is_stale = vec![true; found.len()];
        for _ in 0..PASSES {
            let mut moved = 0.0f64;
            for &corner in order {
                if !std::mem::replace(&mut is_stale[corner], false) {
                    continue;
                }
                if let (Some(new), Some(old)) = (self.best(corner, found), found[corner])
                    && new != old
                {
                    moved = moved.max(old.flat().distance(new.flat()));
                    found[corner] = Some(new);
                    for fan in self.fans_of(corner) {
                        is_stale[fan.a as usize] = true;
                        is_stale[fan.b as usize] = true;
                    }
                }
            }
            if moved < SETTLED * reach {
                break;
            }
        }
    }

    /// The shortest way to a corner through any triangle on it whose other corners are known.
    fn best(&self, corner: usize, found: &[Option<Polar>]) -> Option<Polar> {
        let mut best: Option<(f64, Way)> = None;
        let mut look = |walk: f64, way: Way| {
            if best.as_ref().is_none_or(|(least, _)| walk.total_cmp(least).is_lt()) {
                best = Some((walk, way));
            }
        };
        for fan in self.fans_of(corner) {
            let (a, b) = (found[fan.a as usize], found[fan.b as usize]);
            if let (Some(a), Some(b)) = (a, b)
                && let Some(across) = Across::new(fan, a, b)
            {
                look(across.spot.distance(across.corner), Way::Across(across));
            }
            for (from, length) in [(a, fan.to_a), (b, fan.to_b)] {
                if let Some(from) = from {
                    look(from.walk + length, Way::Along(from.angle));
                }
            }
        }
        // Angles cost most: only the one that is wanted is found.
        best.map(|(walk, way)| Polar { walk, angle: way.angle() })
    }
}

/// A way to a corner.
enum Way {
    /// Along an edge, from a corner in this direction.
    Along(f64),
    Across(Across),
}

impl Way {
    fn angle(&self) -> f64 {
        match self {
            Self::Along(angle) => *angle,
            Self::Across(across) => across.angle(),
        }
    }
}

/// A way straight through a triangle: its known side laid flat with the spot on the far side of it, at the distances known. `a` at the
/// origin, `b` on the x axis, the spot below, the corner above.
struct Across {
    spot: DVec2,
    corner: DVec2,
    ab: f64,
    /// Directions of the known corners.
    angles: [f64; 2],
}

impl Across {
    fn new(fan: &Fan, a: Polar, b: Polar) -> Option<Self> {
        let Fan { to_a, to_b, ab, .. } = *fan;
        let apex = |ra: f64, rb: f64| {
            let x = (ra * ra - rb * rb + ab * ab) / (2.0 * ab);
            let y2 = ra * ra - x * x;
            (y2 > 0.0).then(|| DVec2::new(x, y2.sqrt()))
        };
        let spot = apex(a.walk, b.walk)?;
        let (spot, corner) = (DVec2::new(spot.x, -spot.y), apex(to_a, to_b)?);
        let crosses = spot.x + (corner.x - spot.x) * (-spot.y / (corner.y - spot.y));
        (0.0..=ab).contains(&crosses).then_some(Self { spot, corner, ab, angles: [a.angle, b.angle] })
    }

    fn angle(&self) -> f64 {
        let Self { spot, corner, ab, angles: [a, b] } = *self;
        let whole = (-spot).angle_to(DVec2::new(ab, 0.0) - spot);
        let part = (-spot).angle_to(corner - spot);
        let turn = wrapped(b - a);
        let share = if whole.abs() > 1e-12 { (part / whole).clamp(0.0, 1.0) } else { 0.5 };
        a + turn * share
    }
}

fn wrapped(angle: f64) -> f64 {
    let turn = std::f64::consts::TAU;
    angle - turn * (angle / turn).round()
}

/// Whether a face keeps its side up and its size, within bounds, when laid flat. One without area says nothing against it.
fn lies_flat(face: &Face, flat: [DVec2; 3], most_stretched: f64) -> bool {
    if face.normal == DVec3::ZERO {
        return true;
    }
    let (e1, e2) = (face.corners[1] - face.corners[0], face.corners[2] - face.corners[0]);
    let (f1, f2) = (flat[1] - flat[0], flat[2] - flat[0]);
    let (area, laid) = (e1.cross(e2).dot(face.normal), f1.perp_dot(f2));
    if laid * area <= 0.0 {
        return false;
    }
    let x = face.gradient([0.0, f1.x, f2.x]);
    let y = face.gradient([0.0, f1.y, f2.y]);
    let (a, b, c) = (x.dot(x), x.dot(y), y.dot(y));
    let root = ((a - c).powi(2) + 4.0 * b * b).sqrt();
    let (long, short) = (((a + c + root) / 2.0).sqrt(), ((a + c - root) / 2.0).max(0.0).sqrt());
    long <= most_stretched && short * most_stretched >= 1.0
}

/// From the origin to a triangle; 0 inside.
fn distance_to_triangle(corners: [DVec2; 3]) -> f64 {
    let corners = corners.map(|c| c.extend(0.0));
    let w = nearest_weights(DVec3::ZERO, corners);
    (corners[0] * w[0] + corners[1] * w[1] + corners[2] * w[2]).length()
}

/// The nearest corner comes out of the heap first; equal ones by number, so that the order never changes.
#[derive(PartialEq)]
struct Nearest {
    walk: f64,
    corner: usize,
}

impl Eq for Nearest {}

impl PartialOrd for Nearest {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Nearest {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        other.walk.total_cmp(&self.walk).then(other.corner.cmp(&self.corner))
    }
}
