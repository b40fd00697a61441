//! The faces of a surface by where they lie: what is near a place or a line, without asking every face.

use glam::{DVec2, DVec3};
use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, PointDistance, RTree, RTreeObject, SelectionFunction};

use super::Face;

/// A face's box in an R-tree.
#[derive(Clone, Copy, Debug)]
struct Boxed {
    face: u32,
    low: [f64; 3],
    high: [f64; 3],
}

impl RTreeObject for Boxed {
    type Envelope = AABB<[f64; 3]>;

    fn envelope(&self) -> Self::Envelope {
        AABB::from_corners(self.low, self.high)
    }
}

impl PointDistance for Boxed {
    fn distance_2(&self, point: &[f64; 3]) -> f64 {
        self.envelope().distance_2(point)
    }
}

/// All faces, in boxes. 60 bytes a face.
#[derive(Clone, Debug)]
pub(super) struct Index(RTree<Boxed>);

impl Index {
    /// Costs n log n.
    pub(super) fn new(faces: &[Face]) -> Self {
        let boxed = faces.iter().enumerate().map(|(face, own)| {
            let [a, b, c] = own.corners;
            Boxed { face: face as u32, low: a.min(b).min(c).to_array(), high: a.max(b).max(c).to_array() }
        });
        Self(RTree::bulk_load(boxed.collect()))
    }

    /// Faces with the squared distance of their box from a place, the nearest first.
    pub(super) fn nearest(&self, place: DVec3) -> impl Iterator<Item = (usize, f64)> + '_ {
        self.0.nearest_neighbor_iter_with_distance_2(&place.to_array()).map(|(boxed, distance)| (boxed.face as usize, distance))
    }

    /// Faces whose box a line from a place meets, in no order.
    pub(super) fn along(&self, from: DVec3, direction: DVec3) -> impl Iterator<Item = usize> + '_ {
        let line = Line { from, over: direction.to_array().map(|v| 1.0 / v).into() };
        self.0.locate_with_selection_function(line).map(|boxed| boxed.face as usize)
    }
}

/// The faces by where they lie in UV. 44 bytes a face.
#[derive(Clone, Debug)]
pub(super) struct FlatIndex(RTree<GeomWithData<Rectangle<[f64; 2]>, u32>>);

impl FlatIndex {
    /// Costs n log n.
    pub(super) fn new(faces: &[Face]) -> Self {
        let boxed = faces.iter().enumerate().filter_map(|(face, own)| {
            let [a, b, c] = own.uvs;
            let (low, high) = (a.min(b).min(c), a.max(b).max(c));
            // A place on an edge counts as inside, by rounding also one a little beyond it; where UVs are no numbers nothing lies.
            let slack = DVec2::splat(1e-8 * (1.0 + low.abs().max(high.abs()).max_element()));
            let corners = ((low - slack).to_array(), (high + slack).to_array());
            (low.is_finite() && high.is_finite())
                .then(|| GeomWithData::new(Rectangle::from_corners(corners.0, corners.1), face as u32))
        });
        Self(RTree::bulk_load(boxed.collect()))
    }

    /// Faces whose box a place lies in, in order.
    pub(super) fn around(&self, uv: DVec2) -> Vec<usize> {
        let found = self.0.locate_all_at_point(&uv.to_array());
        let mut found: Vec<usize> = found.map(|boxed| boxed.data as usize).collect();
        found.sort_unstable();
        found
    }
}

/// A line that begins at a place, with one over its direction.
struct Line {
    from: DVec3,
    over: DVec3,
}

impl Line {
    fn meets(&self, envelope: &AABB<[f64; 3]>) -> bool {
        let (low, high) = (DVec3::from(envelope.lower()), DVec3::from(envelope.upper()));
        // Flat boxes have room for rounding.
        let slack = DVec3::splat(1e-9 * (1.0 + high.abs().max(low.abs()).max(self.from.abs()).max_element()));
        let (one, other) = ((low - slack - self.from) * self.over, (high + slack - self.from) * self.over);
        // Along an axis that the line never leaves both are infinite or no numbers: `f64::min` and `max` pass over the latter.
        let (mut enters, mut leaves) = (0.0f64, f64::INFINITY);
        for (a, b) in one.to_array().into_iter().zip(other.to_array()) {
            enters = enters.max(a.min(b));
            leaves = leaves.min(a.max(b));
        }
        enters <= leaves
    }
}

impl SelectionFunction<Boxed> for Line {
    fn should_unpack_parent(&self, envelope: &AABB<[f64; 3]>) -> bool {
        self.meets(envelope)
    }

    fn should_unpack_leaf(&self, leaf: &Boxed) -> bool {
        self.meets(&leaf.envelope())
    }
}
