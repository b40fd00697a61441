//! Short straight pieces of yarn, and their scan conversion.

use super::style::Style;
use super::tile::View;

/// A point on the middle line of a yarn.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Node {
    /// Mm in the cloth, x right, y down.
    pub(crate) place: [f32; 2],
    /// Height of the middle line, mm.
    pub(crate) z: f32,
    /// Half breadth and half thickness, mm.
    pub(crate) half: [f32; 2],
    /// Mm along the thread: where its fibres and plies are.
    pub(crate) along: f32,
    /// Times the usual colour.
    pub(crate) shade: f32,
    /// Share of the dye worn off, 0..1.
    pub(crate) bare: f32,
    /// How far it is burnt, 0..1.
    pub(crate) char: f32,
}

/// What the nodes of one yarn share.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Yarn {
    /// Number of its style.
    pub(crate) style: u16,
    /// Number of the thread, for people.
    pub(crate) id: u32,
    /// Turns around and sheet lengths along at which its fibres begin.
    pub(crate) phase: [f32; 2],
    /// Times the turns per mm of its style; 0 where it has untwisted.
    pub(crate) twist: f32,
}

/// A piece between two nodes, in samples.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Segment {
    from: [f32; 2],
    /// Unit direction, y down.
    dir: [f32; 2],
    length: f32,
    ends: [End; 2],
    /// Half breadth in samples at both ends.
    half: [f32; 2],
    pub(crate) yarn: Yarn,
}

/// What changes along a piece.
#[derive(Clone, Copy, Debug)]
struct End {
    z: f32,
    thick: f32,
    /// Sine and cosine of the first ply's place around the yarn, 0 on top, positive to the right of the direction.
    ply: [f32; 2],
    along: f32,
    shade: f32,
    bare: f32,
    char: f32,
}

/// A spot on a yarn's face.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Spot {
    /// -1..1 across the yarn, positive to the right of its direction.
    pub(crate) across: f32,
    /// 0..1 along the piece.
    pub(crate) t: f32,
}

/// A spot's values.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Values {
    pub(crate) z: f32,
    pub(crate) thick: f32,
    pub(crate) ply: [f32; 2],
    pub(crate) along: f32,
    pub(crate) shade: f32,
    pub(crate) bare: f32,
    pub(crate) char: f32,
}

impl Segment {
    /// Between two nodes; `None` when they are at one place.
    pub(crate) fn new(yarn: Yarn, style: &Style, nodes: [&Node; 2], view: &View, samples_per_mm: f32) -> Option<Self> {
        let at = |n: &Node| view.picture_from_cloth(n.place).map(|mm| mm * samples_per_mm);
        let (from, to) = (at(nodes[0]), at(nodes[1]));
        let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
        let length = crate::maths::length(dx, dy);
        if length < 1e-4 {
            return None;
        }
        let end = |n: &Node| End {
            z: n.z,
            thick: n.half[1],
            ply: style.ply_at(n.along * yarn.twist + yarn.phase[0] / style.turns_or_one()),
            along: n.along,
            shade: n.shade,
            bare: n.bare,
            char: n.char,
        };
        Some(Self {
            from,
            dir: [dx / length, dy / length],
            length,
            ends: [end(nodes[0]), end(nodes[1])],
            half: [(nodes[0].half[0] * samples_per_mm).max(0.3), (nodes[1].half[0] * samples_per_mm).max(0.3)],
            yarn,
        })
    }

    /// First and last row of samples it may cover.
    pub(crate) fn rows(&self) -> (f32, f32) {
        let half = self.half[0].max(self.half[1]) + 1.0;
        let end = self.from[1] + self.dir[1] * self.length;
        (self.from[1].min(end) - half, self.from[1].max(end) + half)
    }

    /// First and last column of samples it may cover.
    pub(crate) fn reach(&self) -> (f32, f32) {
        let half = self.half[0].max(self.half[1]) + 1.0;
        let end = self.from[0] + self.dir[0] * self.length;
        (self.from[0].min(end) - half, self.from[0].max(end) + half)
    }

    /// Samples it covers in the row at `y`, as columns from..to.
    pub(crate) fn columns(&self, y: f32, width: usize) -> (usize, usize) {
        let dy = y - self.from[1];
        let half = self.half[0].max(self.half[1]);
        let overlap = 0.04 * half + 0.3;
        let across = interval(-self.dir[1], dy * self.dir[0], -half, half);
        let along = interval(self.dir[0], dy * self.dir[1], -overlap, self.length + overlap);
        let (low, high) = (across.0.max(along.0) + self.from[0], across.1.min(along.1) + self.from[0]);
        if low > high {
            return (0, 0);
        }
        ((low - 0.5).ceil().max(0.0) as usize, ((high - 0.5).floor() + 1.0).clamp(0.0, width as f32) as usize)
    }

    pub(crate) fn spot(&self, x: f32, y: f32) -> Spot {
        let (dx, dy) = (x - self.from[0], y - self.from[1]);
        // Past its ends a piece goes on straight, so that overlaps show no ledges.
        let t = ((dx * self.dir[0] + dy * self.dir[1]) / self.length).clamp(-0.5, 1.5);
        let half = (self.half[0] + (self.half[1] - self.half[0]) * t).max(0.2);
        Spot { across: (dy * self.dir[0] - dx * self.dir[1]) / half, t }
    }

    /// Height of the yarn's face at a spot, mm; `None` beside it.
    pub(crate) fn top(&self, spot: Spot, style: &Style) -> Option<f32> {
        let [a, b] = &self.ends;
        let mix = |a: f32, b: f32| a + (b - a) * spot.t;
        let ply = [mix(a.ply[0], b.ply[0]), mix(a.ply[1], b.ply[1])];
        style.rise(spot.across, ply).map(|(rise, ..)| mix(a.z, b.z) + mix(a.thick, b.thick) * rise)
    }

    pub(crate) fn values(&self, spot: Spot) -> Values {
        let [a, b] = &self.ends;
        let mix = |a: f32, b: f32| a + (b - a) * spot.t;
        Values {
            z: mix(a.z, b.z),
            thick: mix(a.thick, b.thick),
            ply: [mix(a.ply[0], b.ply[0]), mix(a.ply[1], b.ply[1])],
            along: mix(a.along, b.along),
            shade: mix(a.shade, b.shade),
            bare: mix(a.bare, b.bare),
            char: mix(a.char, b.char),
        }
    }
}

/// The x with `low <= slope * x + offset <= high`.
fn interval(slope: f32, offset: f32, low: f32, high: f32) -> (f32, f32) {
    if slope.abs() < 1e-6 {
        return if (low..=high).contains(&offset) { (-1e9, 1e9) } else { (1.0, -1.0) };
    }
    let (a, b) = ((low - offset) / slope, (high - offset) / slope);
    (a.min(b), a.max(b))
}
