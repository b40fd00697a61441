//! Lines on the cloth (seams, hems, drawn lines) and the nearest place of them.

use std::collections::BTreeMap;

use glam::DVec3;

use super::{Place, SAME_SIDE};
use crate::surface::{Seed, Surface};

/// Cloth that turns by more at an edge, cosine: a crease, a cuff's fold.
const CREASE: f64 = 0.5;

/// Cubes are no smaller than this, mm: the faces that ask are seldom smaller.
const SIDE: f64 = 16.0;

/// A straight piece of a line.
#[derive(Clone, Copy, Debug)]
struct Segment {
    ends: [DVec3; 2],
    /// Of the cloth there.
    normal: DVec3,
    /// The piece of cloth it lies on: what hangs together.
    piece: u32,
}

/// The nearest place of some lines.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Nearest {
    pub(crate) distance: f64,
    /// Where.
    pub(crate) foot: DVec3,
    /// Unit direction of the line there; zero for a single place.
    pub(crate) along: DVec3,
    /// Of the cloth where the line lies.
    pub(crate) normal: DVec3,
}

/// Segments in a grid of cubes, so that looking for the nearest costs the few that lie around. A segment of `n` cubes is
/// held `n` times.
#[derive(Clone, Debug)]
pub(crate) struct Lines {
    segments: Vec<Segment>,
    cells: BTreeMap<[i64; 3], Vec<u32>>,
    side: f64,
    reach: f64,
}

impl Lines {
    /// What lies farther than `reach` mm is never found.
    fn new(segments: Vec<Segment>, reach: f64) -> Self {
        let mean = segments.iter().map(|s| s.ends[0].distance(s.ends[1])).sum::<f64>() / segments.len().max(1) as f64;
        let mut lines = Self { segments, cells: BTreeMap::new(), side: reach.max(mean).max(SIDE), reach };
        for (number, segment) in lines.segments.iter().enumerate() {
            let (low, high) = (segment.ends[0].min(segment.ends[1]), segment.ends[0].max(segment.ends[1]));
            for cell in cells(low, high, lines.side) {
                lines.cells.entry(cell).or_default().push(number as u32);
            }
        }
        lines
    }

    /// A line through places on a surface; one place is a spot. Where it leaps farther than `leap` mm it is broken: there it
    /// crosses a gap between islands.
    pub(crate) fn through(surface: &Surface, places: &[Seed], reach: f64, leap: f64) -> Self {
        let segment = |a: &Seed, b: &Seed| Segment { ends: [a.point, b.point], normal: a.normal, piece: surface.piece(a.face) };
        let segments = match places {
            [spot] => vec![segment(spot, spot)],
            _ => {
                let pairs = places.windows(2).filter(|pair| pair[0].point.distance(pair[1].point) <= leap);
                pairs.map(|pair| segment(&pair[0], &pair[1])).collect()
            }
        };
        Self::new(segments, reach)
    }

    pub(crate) const fn reach(&self) -> f64 {
        self.reach
    }

    /// Numbers of the segments that may lie within reach of a ball.
    pub(crate) fn around(&self, middle: DVec3, radius: f64) -> Vec<u32> {
        let wide = DVec3::splat(radius + self.reach);
        let near = cells(middle - wide, middle + wide, self.side);
        let mut found: Vec<u32> = near.filter_map(|cell| self.cells.get(&cell)).flatten().copied().collect();
        found.sort_unstable();
        found.dedup();
        found.retain(|&number| self.segments[number as usize].nearest(middle).distance <= radius + self.reach);
        found
    }

    /// The nearest of some segments to a place, on the same piece of cloth and the same side of the garment; `None` beyond
    /// the reach.
    pub(crate) fn nearest_of(&self, surface: &Surface, place: &Place, some: &[u32]) -> Option<Nearest> {
        let piece = surface.piece(place.face);
        self.nearest_where(place.point, some, |s| s.piece == piece && s.normal.dot(place.normal) >= SAME_SIDE)
    }

    /// The nearest to a place.
    pub(crate) fn nearest(&self, surface: &Surface, place: &Place) -> Option<Nearest> {
        self.nearest_of(surface, place, &self.around(place.point, 0.0))
    }

    /// The nearest to a place of any piece of cloth on its side of the garment: trims lie on the cloth without hanging together
    /// with it.
    pub(crate) fn nearest_on_side(&self, place: &Place) -> Option<Nearest> {
        self.nearest_where(place.point, &self.around(place.point, 0.0), |s| s.normal.dot(place.normal) >= SAME_SIDE)
    }

    fn nearest_where(&self, point: DVec3, some: &[u32], counts: impl Fn(&Segment) -> bool) -> Option<Nearest> {
        let own = some.iter().map(|&number| &self.segments[number as usize]).filter(|s| counts(s));
        let best = own.map(|s| s.nearest(point)).min_by(|a, b| a.distance.total_cmp(&b.distance))?;
        (best.distance <= self.reach).then_some(best)
    }
}

impl Segment {
    fn nearest(&self, p: DVec3) -> Nearest {
        let [a, b] = self.ends;
        let ab = b - a;
        let t = ((p - a).dot(ab) / ab.length_squared().max(1e-18)).clamp(0.0, 1.0);
        let foot = a + ab * t;
        Nearest { distance: foot.distance(p), foot, along: ab.normalize_or_zero(), normal: self.normal }
    }
}

fn cells(low: DVec3, high: DVec3, side: f64) -> impl Iterator<Item = [i64; 3]> {
    let (from, to) = ((low / side).floor().as_i64vec3(), (high / side).floor().as_i64vec3());
    (from.x..=to.x).flat_map(move |x| (from.y..=to.y).flat_map(move |y| (from.z..=to.z).map(move |z| [x, y, z])))
}

/// Where the cloth ends, or its texture does not go on across: seams and edges.
pub(crate) fn seams(surface: &Surface, faces: &[bool], reach: f64) -> Lines {
    borders(surface, faces, is_seam, reach)
}

/// Where the cloth ends or folds sharply: hem, cuff, crease.
pub(super) fn edges(surface: &Surface, faces: &[bool], reach: f64) -> Lines {
    borders(surface, faces, is_edge, reach)
}

fn borders(surface: &Surface, faces: &[bool], is: fn(&Surface, usize, usize) -> bool, reach: f64) -> Lines {
    // A face without area, as at the poles of a cap, borders nothing that its neighbours don't; hundreds at one place would each be asked.
    let has_area = |face: usize| surface.faces()[face].normal != DVec3::ZERO;
    let kept = (0..surface.faces().len()).filter(|&face| faces[face] && has_area(face));
    let found = kept.flat_map(|face| (0..3).map(move |k| (face, k))).filter(|&(face, k)| is(surface, face, k));
    let segment = |(face, k): (usize, usize)| {
        let own = &surface.faces()[face];
        Segment { ends: [own.corners[k], own.corners[(k + 1) % 3]], normal: own.normal, piece: surface.piece(face) }
    };
    Lines::new(found.map(segment).collect(), reach)
}

fn is_seam(surface: &Surface, face: usize, k: usize) -> bool {
    let own = &surface.faces()[face];
    let goes_on = |other: usize| {
        let next = &surface.faces()[other];
        let has = |end: usize| (0..3).any(|j| next.uvs[j].distance(own.uvs[end]) < 1e-6);
        next.part == own.part && has(k) && has((k + 1) % 3)
    };
    !surface.across(face, k).any(goes_on)
}

fn is_edge(surface: &Surface, face: usize, k: usize) -> bool {
    let normal = surface.faces()[face].normal;
    !surface.across(face, k).any(|other| surface.faces()[other].normal.dot(normal) > CREASE)
}

#[cfg(test)]
mod tests {
    use glam::Vec3;
    use tatter_core::mesh::{Mesh, Part};
    use tatter_core::model::Garment;

    use super::*;

    #[test]
    fn faces_without_area_border_nothing() {
        let mut part = Part {
            positions: [[0., 0.], [9., 0.], [9., 9.], [0., 9.]].map(|[x, y]| Vec3::new(x, y, 0.)).to_vec(),
            ..Part::default()
        };
        part.normals = vec![Vec3::Z; 4];
        part.uvs = part.positions.iter().map(|p| p.truncate() / 9.0).collect();
        part.triangles = vec![[0, 1, 2], [0, 2, 3]];
        part.triangles.extend([[1, 1, 1]; 900]);
        let garment = Garment { mesh: Some(Mesh { parts: vec![part] }), mm_per_unit: 1.0, ..Garment::default() };
        let surface = Surface::new(&garment);
        assert_eq!(edges(&surface, &[true; 902], 5.0).segments.len(), 4, "the square's own edges");
    }

    #[test]
    fn the_grid_finds_what_a_walk_over_all_finds() {
        let mut rng = tatter_core::rng::Rng::new(4);
        let mut place = || DVec3::new(rng.unit().into(), rng.unit().into(), rng.unit().into()) * 100.0;
        let segments: Vec<Segment> = (0..300)
            .map(|_| {
                let from = place();
                Segment { ends: [from, from + (place() - 50.0) * 0.2], normal: DVec3::Z, piece: 0 }
            })
            .collect();
        let lines = Lines::new(segments.clone(), 9.0);
        let mut found = 0;
        for _ in 0..500 {
            let p = place();
            let walked = segments.iter().map(|s| s.nearest(p).distance).fold(f64::MAX, f64::min);
            let got = lines.nearest_where(p, &lines.around(p, 0.0), |_| true).map(|n| n.distance);
            assert_eq!(got, (walked <= 9.0).then_some(walked), "at {p}");
            found += usize::from(got.is_some());
        }
        assert!((100..400).contains(&found), "both answers are tried: {found}");
    }
}
