//! Strands to a depth buffer of samples, by scan conversion of short tube segments.

use rayon::prelude::*;
use tatter_core::rng::hash_unit;

use super::strands::Strand;

/// A short straight piece of tube in the sample grid.
#[derive(Clone, Copy, Debug)]
pub(super) struct Segment {
    /// Start, in samples, y down.
    from: [f32; 2],
    /// Unit direction, y down.
    pub(super) dir: [f32; 2],
    length: f32,
    z: [f32; 2],
    /// Half breadth in samples at both ends, and half thickness in mm.
    half: [f32; 2],
    pub(super) thick: [f32; 2],
    pub(super) bare: [f32; 2],
    /// Number of its strand.
    pub(super) strand: u32,
    /// Mm from the start of the strand.
    pub(super) along: f32,
    /// Stays the same whatever else is in the scene.
    salt: u64,
    /// Below 1 for tubes thinner than a sample: the share of samples they take.
    share: f32,
}

/// Where on its segment a sample lies.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    /// -1..1 across the tube, positive to the left of its direction as seen.
    pub(super) across: f32,
    /// 0..1 along the segment.
    pub(super) t: f32,
}

impl Segment {
    pub(super) fn spot(&self, x: f32, y: f32) -> Spot {
        let (dx, dy) = (x - self.from[0], y - self.from[1]);
        let t = ((dx * self.dir[0] + dy * self.dir[1]) / self.length).clamp(0.0, 1.0);
        let half = lerp(self.half, t);
        Spot { across: ((dx * self.dir[1] - dy * self.dir[0]) / half).clamp(-1.0, 1.0), t }
    }

    /// Rise of the centre line, mm per sample.
    pub(super) fn climb(&self) -> f32 {
        (self.z[1] - self.z[0]) / self.length
    }

    pub(super) fn half_breadth(&self, t: f32) -> f32 {
        lerp(self.half, t)
    }

    /// Samples it covers in a row, as columns from..to.
    fn columns(&self, y: f32, width: usize) -> (usize, usize) {
        let dy = y - self.from[1];
        let half = self.half[0].max(self.half[1]);
        let overlap = 0.1 * half + 0.3;
        let across = interval(self.dir[1], -dy * self.dir[0], -half, half);
        let along = interval(self.dir[0], dy * self.dir[1], -overlap, self.length + overlap);
        let (low, high) = (across.0.max(along.0) + self.from[0], across.1.min(along.1) + self.from[0]);
        if low > high {
            return (0, 0);
        }
        ((low - 0.5).ceil().max(0.0) as usize, ((high - 0.5).floor() + 1.0).clamp(0.0, width as f32) as usize)
    }
}

pub(super) fn lerp([a, b]: [f32; 2], t: f32) -> f32 {
    a + (b - a) * t
}

/// The x with `low <= slope * x + offset <= high`.
fn interval(slope: f32, offset: f32, low: f32, high: f32) -> (f32, f32) {
    if slope.abs() < 1e-6 {
        return if (low..=high).contains(&offset) { (-1e9, 1e9) } else { (1.0, -1.0) };
    }
    let (a, b) = ((low - offset) / slope, (high - offset) / slope);
    (a.min(b), a.max(b))
}

/// One sample: what is on top.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sample {
    /// Height, mm; very low when nothing covers.
    pub(super) z: f32,
    /// Segment on top, or [`NOTHING`].
    pub(super) segment: u32,
}

/// No segment covers the sample.
pub(super) const NOTHING: u32 = u32::MAX;

/// The samples of a scene.
#[derive(Debug)]
pub(super) struct Buffer {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) samples: Vec<Sample>,
    pub(super) segments: Vec<Segment>,
}

/// Rows of samples handled together.
const BAND: usize = 48;

/// Scan-convert all strands: `width` x `height` samples, each `sample_mm` wide.
pub(super) fn rasterise(strands: &[Strand], width: usize, height: usize, sample_mm: f32, seed: u64) -> Buffer {
    let segments = segments(strands, width, height, sample_mm);
    let bands = height.div_ceil(BAND);
    let mut lists: Vec<Vec<u32>> = vec![Vec::new(); bands];
    for (number, s) in segments.iter().enumerate() {
        let half = s.half[0].max(s.half[1]) * 1.1 + 1.0;
        let end = s.from[1] + s.dir[1] * s.length;
        let (top, bottom) = (s.from[1].min(end) - half, s.from[1].max(end) + half);
        let x = (s.from[0] + half + s.length, s.from[0] - half - s.length);
        if bottom < 0.0 || top >= height as f32 || x.0 < 0.0 || x.1 > width as f32 {
            continue;
        }
        let last = (bottom as usize / BAND).min(bands - 1);
        for list in &mut lists[top.max(0.0) as usize / BAND..=last] {
            list.push(number as u32);
        }
    }
    let mut samples = vec![Sample { z: f32::MIN, segment: NOTHING }; width * height];
    samples.par_chunks_mut(BAND * width).zip(lists.par_iter()).enumerate().for_each(|(band, (rows, list))| {
        for &number in list {
            draw(&segments[number as usize], number, rows, band * BAND, width, seed);
        }
    });
    Buffer { width, height, samples, segments }
}

fn draw(segment: &Segment, number: u32, rows: &mut [Sample], first_row: usize, width: usize, seed: u64) {
    let half = segment.half[0].max(segment.half[1]) * 1.1 + 1.0;
    let end = segment.from[1] + segment.dir[1] * segment.length;
    let top = (segment.from[1].min(end) - half).max(first_row as f32) as usize;
    let count = rows.len() / width;
    let bottom = ((segment.from[1].max(end) + half).max(0.0) as usize + 1).min(first_row + count);
    for y in top..bottom {
        let (from, to) = segment.columns(y as f32 + 0.5, width);
        for x in from..to {
            let (dx, dy) = (x as f32 + 0.5 - segment.from[0], y as f32 + 0.5 - segment.from[1]);
            let t = ((dx * segment.dir[0] + dy * segment.dir[1]) / segment.length).clamp(0.0, 1.0);
            let across = (dx * segment.dir[1] - dy * segment.dir[0]) / lerp(segment.half, t);
            let inside = 1.0 - across * across;
            if inside <= 0.0 || (segment.share < 1.0 && hash_unit(seed ^ segment.salt, x as u32, y as u32) > segment.share) {
                continue;
            }
            let z = lerp(segment.z, t) + lerp(segment.thick, t) * inside.sqrt();
            let sample = &mut rows[(y - first_row) * width + x];
            if z > sample.z {
                *sample = Sample { z, segment: number };
            }
        }
    }
}

fn segments(strands: &[Strand], width: usize, height: usize, sample_mm: f32) -> Vec<Segment> {
    let mut all = Vec::new();
    let place = |p: [f32; 2]| [p[0] / sample_mm + 0.5 * width as f32, 0.5 * height as f32 - p[1] / sample_mm];
    for (strand, s) in strands.iter().enumerate() {
        let mut along = 0.0;
        for (step, pair) in s.nodes.windows(2).enumerate() {
            let (from, to) = (place(pair[0].place), place(pair[1].place));
            let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
            let length = dx.hypot(dy);
            if length < 1e-3 {
                continue;
            }
            let half = [pair[0].half[0] / sample_mm, pair[1].half[0] / sample_mm];
            // A tube thinner than a sample takes whole samples, but only its share of them.
            let share = (0.5 * (half[0] + half[1]) / 0.5).min(1.0);
            all.push(Segment {
                from,
                dir: [dx / length, dy / length],
                length,
                z: [pair[0].z, pair[1].z],
                half: half.map(|h| h.max(0.5)),
                thick: [pair[0].half[1], pair[1].half[1]],
                bare: [pair[0].bare, pair[1].bare],
                strand: strand as u32,
                along,
                salt: (u64::from(s.index as u32) << 32) ^ ((step as u64) << 8),
                share,
            });
            along += length * sample_mm;
        }
    }
    all
}
