//! How much of the sky each point of a height field sees, by horizons (Timonen, Westerholm, "Scalable Height Field
//! Self-Shadowing", 2010; slice integral of Jimenez et al., "Practical Realtime Strategies for Accurate Indirect
//! Occlusion", 2016, taken about the surface's own tilt).

use rayon::prelude::*;

use crate::image::{HeightMm, Image, Unit};
use crate::units::MmPerTexel;

/// How finely the horizon is searched.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OcclusionSettings {
    /// Directions around the full circle; more is smoother and slower.
    pub azimuths: usize,
    /// How far an occluder may stand, in texels; more darkens wide hollows.
    pub radius_texels: f32,
    /// Each step is this much longer than the one before; towards 1 is exact and slow, 1.35 misses only needles.
    pub growth: f32,
}

impl Default for OcclusionSettings {
    /// Eight directions, 48 texels, steps growing by 1.35: chosen for speed; the closed forms are checked at 32 and 1.02.
    fn default() -> Self {
        Self { azimuths: 8, radius_texels: 48.0, growth: 1.35 }
    }
}

/// Cosine-weighted share of the sky that is open, 1 open, 0 shut. With horizon elevations `e_k` above the surface's tangent
/// plane it is `1 - mean(sin² e_k)`. Outside the image nothing stands in the way. Cost: azimuths × steps a texel.
#[must_use]
pub fn occlusion(height: &Image<HeightMm>, scale: MmPerTexel, settings: &OcclusionSettings) -> Image<Unit> {
    let (width, rows) = (height.width(), height.height());
    let per_texel = 1.0 / scale.get().max(1e-9);
    let relief = height.map(|h| h.0 * per_texel);
    let slices = slices(settings);
    let mut out = Image::filled(width, rows, Unit(1.0));
    out.par_rows_mut().for_each(|(y, row)| {
        let own = relief.row(y);
        let slopes = row_slopes(&relief, y);
        let mut shut = vec![0.0f32; width];
        let mut best = vec![0.0f32; width];
        for slice in &slices {
            best.fill(0.0);
            for step in slice {
                let [first, second] = step.rows(y);
                if first.min(second) >= 0 && first.max(second) < rows as isize && step.dx.unsigned_abs() + 1 < width {
                    raise(&mut best, own, [relief.row(first as usize), relief.row(second as usize)], &slopes, step);
                }
            }
            for (sum, t) in shut.iter_mut().zip(&best) {
                *sum += t * t / (1.0 + t * t);
            }
        }
        let share = 1.0 / slices.len().max(1) as f32;
        for (target, sum) in row.iter_mut().zip(&shut) {
            *target = Unit((1.0 - sum * share).clamp(0.0, 1.0));
        }
    });
    out
}

/// One sample along a slice, between two texels next to each other across the slice's main axis: rounding to the nearer
/// one would raise every horizon that a groove runs under.
struct Step {
    dx: isize,
    dy: isize,
    /// Share of the second texel, which lies one column right (steep slices) or one row down.
    share: f32,
    steep: bool,
    /// Exact offset and distance in texels.
    right: f32,
    down: f32,
    distance: f32,
}

impl Step {
    fn new(cos: f32, sin: f32, distance: f32) -> Self {
        let steep = sin.abs() > cos.abs();
        let major = (distance * if steep { sin } else { cos }).round();
        let minor = major * if steep { cos / sin } else { sin / cos };
        let (low, main) = (minor.floor(), major as isize);
        let (dx, dy) = if steep { (low as isize, main) } else { (main, low as isize) };
        let (right, down) = if steep { (minor, major) } else { (major, minor) };
        Self { dx, dy, share: minor - low, steep, right, down, distance: (right * right + down * down).sqrt() }
    }

    /// The rows of its two texels, seen from row `y`.
    const fn rows(&self, y: usize) -> [isize; 2] {
        let first = y as isize + self.dy;
        [first, if self.steep { first } else { first + 1 }]
    }
}

fn slices(settings: &OcclusionSettings) -> Vec<Vec<Step>> {
    let count = settings.azimuths.max(3);
    let growth = settings.growth.max(1.001);
    (0..count)
        .map(|k| {
            // Half a step off the axes, so that no slice runs along a thread for its whole length.
            let (sin, cos) = libm::sincosf(std::f32::consts::TAU * (k as f32 + 0.5) / count as f32);
            let mut steps: Vec<Step> = Vec::new();
            let mut distance = 1.0f32;
            while distance <= settings.radius_texels.max(1.0) {
                let step = Step::new(cos, sin, distance);
                if step.distance > 0.0 && steps.last().is_none_or(|last| (last.right, last.down) != (step.right, step.down)) {
                    steps.push(step);
                }
                distance = (distance * growth).max(distance + 0.5);
            }
            steps
        })
        .collect()
}

/// Slopes to the right and downwards, of the two one-sided differences the gentler one: at the foot of a wall the ground's.
fn row_slopes(relief: &Image<f32>, y: usize) -> Vec<[f32; 2]> {
    let (width, rows) = (relief.width(), relief.height());
    let (above, own, below) = (relief.row(y.saturating_sub(1)), relief.row(y), relief.row((y + 1).min(rows - 1)));
    let gentle = |a: f32, b: f32| {
        if a * b <= 0.0 {
            0.0
        } else if a.abs() < b.abs() {
            a
        } else {
            b
        }
    };
    // At the picture's edge the one difference there is counts twice.
    let pair = |before: f32, h: f32, after: f32, first: bool, last: bool| match (first, last) {
        (true, true) => 0.0,
        (true, false) => after - h,
        (false, true) => h - before,
        _ => gentle(h - before, after - h),
    };
    (0..width)
        .map(|x| {
            let (left, right) = (own[x.saturating_sub(1)], own[(x + 1).min(width - 1)]);
            [pair(left, own[x], right, x == 0, x + 1 == width), pair(above[x], own[x], below[x], y == 0, y + 1 == rows)]
        })
        .collect()
}

/// Raise the horizon's tangent where this sample stands higher above the tangent plane.
fn raise(best: &mut [f32], own: &[f32], there: [&[f32]; 2], slopes: &[[f32; 2]], step: &Step) {
    let width = own.len();
    let aside = isize::from(step.steep);
    let (from, to) = ((-step.dx).max(0) as usize, width - (step.dx + aside).max(0) as usize);
    let part = |row: usize, aside: isize| {
        let offset = step.dx + aside;
        &there[row][(from as isize + offset) as usize..(to as isize + offset) as usize]
    };
    let (first, second) = (part(0, 0), part(1, aside));
    let (right, down, distance, inverse, share) = (step.right, step.down, step.distance, 1.0 / step.distance, step.share);
    let shortest = 0.05 * distance;
    let ground = own[from..to].iter().zip(&slopes[from..to]);
    for ((top, (&h, &[p, q])), (&a, &b)) in best[from..to].iter_mut().zip(ground).zip(first.iter().zip(second)) {
        let rise = a + (b - a) * share - h;
        let lean = p * right + q * down;
        // In the slice, turned so that the surface lies level.
        let along = distance + lean * inverse * rise;
        let along = if along > shortest { along } else { shortest };
        let tangent = (rise - lean) / along;
        *top = if tangent > *top { tangent } else { *top };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Texels in one unit of the closed forms.
    const UNIT: f32 = 24.0;

    fn centre(side: usize, radius: f32, height: impl Fn(f32, f32) -> f32 + Sync) -> f32 {
        let middle = side as f32 / 2.0;
        let image = Image::from_fn(side, side, |x, y| {
            HeightMm(height((x as f32 + 0.5 - middle) / UNIT, (y as f32 + 0.5 - middle) / UNIT))
        });
        let settings = OcclusionSettings { azimuths: 32, radius_texels: radius * UNIT, growth: 1.02 };
        occlusion(&image, MmPerTexel(1.0 / UNIT), &settings).get(side / 2, side / 2).0
    }

    #[test]
    fn closed_forms() {
        // Radiosity form factors of trench, pit, wall and groove (ambient_occlusion_analytic.csv of the project checks): shape,
        // a, b, share of the sky open at the bottom centre, 0.02 allowed at 32 azimuths and a radius of 8 depths.
        let trench = |a: f32, b: f32| move |x: f32, _: f32| if x.abs() < a / 2.0 { -b } else { 0.0 };
        let pit = |a: f32, b: f32| move |x: f32, y: f32| if x.hypot(y) < a { -b } else { 0.0 };
        let wall = |a: f32, b: f32| move |x: f32, _: f32| if x > a { b } else { 0.0 };
        let groove = |degrees: f32| move |x: f32, _: f32| (x.abs() / (degrees / 2.0).to_radians().tan()).min(6.0);
        let cases = [
            ("trench 1 1", centre(401, 8.0, trench(1.0, 1.0)), 0.447_213_6),
            ("trench 2 0.5", centre(201, 4.0, trench(2.0, 0.5)), 0.894_427_2),
            ("trench 0.5 2", centre(801, 16.0, trench(0.5, 2.0)), 0.124_034_7),
            ("pit 1 1", centre(401, 8.0, pit(1.0, 1.0)), 0.5),
            ("pit 1 3", centre(401, 8.0, pit(1.0, 3.0)), 0.1),
            ("wall 0 1", centre(401, 8.0, wall(0.02, 1.0)), 0.5),
            ("wall 1 1", centre(401, 8.0, wall(1.0, 1.0)), 0.853_553_4),
            ("wall 3 1", centre(401, 8.0, wall(3.0, 1.0)), 0.974_341_7),
            ("groove 90", centre(801, 16.0, groove(90.0)), std::f32::consts::FRAC_1_SQRT_2),
            ("groove 60", centre(801, 16.0, groove(60.0)), 0.5),
        ];
        for (name, got, want) in cases {
            assert!((got - want).abs() <= 0.02, "{name}: {got}, closed form {want}");
        }
    }

    #[test]
    fn a_plane_sees_all_of_its_sky() {
        let plane = Image::from_fn(60, 60, |x, y| HeightMm(0.4 * x as f32 - 0.2 * y as f32));
        let open = occlusion(&plane, MmPerTexel(0.5), &OcclusionSettings::default());
        assert!(open.texels().iter().all(|v| v.0 > 0.999), "a tilted plane has nothing above itself");
    }
}
