//! The geometry that ties a cloth together: Peirce, "The geometry of cloth structure" (Journal of the Textile Institute,
//! 1937), with Kemp's flattened sections (1958): a section is a rectangle between two half discs, so a flat of
//! `breadth - thickness` joins the arcs; and Love's jamming of other weaves than plain (Textile Research Journal, 1954).

use crate::cloth::{Cloth, ClothError};
use crate::maths::{bisect, sin_cos_f64};

/// One family's threads where they cross the other: lengths in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strand {
    /// Diameter of the round yarn.
    pub diameter: f32,
    /// Breadth in the cloth.
    pub breadth: f32,
    /// Thickness in the cloth.
    pub thickness: f32,
    /// Distance of neighbours, middle to middle.
    pub pitch: f32,
    /// From the lowest to the highest point of its middle line.
    pub crimp_height: f32,
    /// Steepest angle of its middle line to the cloth, radians.
    pub weave_angle: f32,
    /// Its length over the cloth's, less one.
    pub crimp: f32,
    /// Peirce's cover factor: threads per inch / √Ne; 28 when round cotton yarns touch.
    pub cover_factor: f32,
}

/// A cloth's geometry.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Geometry {
    /// The ends.
    pub warp: Strand,
    /// The picks.
    pub weft: Strand,
    /// Sum of both thicknesses, Peirce's D.
    pub sum_of_thickness: f32,
    /// Thickness of the cloth, mm.
    pub thickness: f32,
    /// Grams in a square metre.
    pub grams_per_m2: f32,
    /// Peirce's cover of the cloth: `K1 + K2 - K1 K2 / 28`.
    pub cover_factor: f32,
    /// Share of the area one sees through when yarns lie in their pitch: (1 - b1/p1)(1 - b2/p2).
    pub open_area: f32,
    /// How close to jamming, 1 at the limit.
    pub tightness: f32,
}

/// Threads per inch and English count of touching round cotton yarns: Peirce's 28 √Ne.
const TOUCHING: f32 = 28.0;

/// Breadth and thickness of a yarn of that diameter pressed to `flattening` = thickness / breadth, its area kept.
pub(crate) fn pressed(diameter: f32, flattening: f32) -> [f32; 2] {
    let quarter_pi = std::f32::consts::FRAC_PI_4;
    // Area of a racetrack of thickness t and breadth t / f: t² (1/f - 1) + π t² / 4.
    let thickness = diameter * (quarter_pi / (1.0 / flattening - 1.0 + quarter_pi)).sqrt();
    [thickness / flattening, thickness]
}

/// Peirce's weave angle for spacing `p`, thickness sum `d` and crimp height `h`: `h = (p - D sin t) tan t + D (1 - cos t)`.
/// Gives the angle and the length of thread in one spacing.
pub(crate) fn weave_angle(p: f64, d: f64, h: f64) -> [f64; 2] {
    let rise = |t: f64| {
        let (s, c) = sin_cos_f64(t);
        (p - d * s) * s / c + d * (1.0 - c)
    };
    // Past the angle at which the arcs meet there is no straight piece left.
    let last = if p >= d { 1.5 } else { bisect(0.0, std::f64::consts::FRAC_PI_2, p / d, |t| sin_cos_f64(t).0) };
    let t = bisect(0.0, last, h, rise);
    let (s, c) = sin_cos_f64(t);
    [t, (p - d * s).max(0.0) / c + d * t]
}

/// Largest crimp height a thread can take over threads spaced `p`: where its straight pieces vanish.
fn highest(p: f64, d: f64) -> f64 {
    let share = (p / d).min(1.0);
    d * (1.0 - (1.0 - share * share).sqrt())
}

/// The two families before the crimp is shared out.
struct Frame {
    /// Spacing where a thread changes side, less the flat.
    free: [f64; 2],
    d: f64,
    size: [[f32; 2]; 2],
    diameter: [f32; 2],
    pitch: [f32; 2],
}

impl Frame {
    fn new(cloth: &Cloth, per_cm: [f32; 2], flattening: f32) -> Self {
        let diameter = [cloth.warp.diameter().get(), cloth.weft.diameter().get()];
        let size = diameter.map(|d| pressed(d, flattening));
        let pitch = per_cm.map(|n| 10.0 / n);
        let crowd = crowd(cloth);
        let free = [0, 1].map(|f| {
            let [breadth, thickness] = size[f];
            f64::from((crowd[f] * pitch[f] - (crowd[f] - 1.0) * breadth).max(pitch[f]) - (breadth - thickness))
        });
        Self { free, d: f64::from(size[0][1] + size[1][1]), size, diameter, pitch }
    }

    /// The cloth's own flattening, or as much less as its threads need: crowded yarns round up.
    fn settled(cloth: &Cloth, per_cm: [f32; 2]) -> Self {
        let asked = Self::new(cloth, per_cm, cloth.flattening);
        if asked.range().is_some() {
            return asked;
        }
        let (mut flat, mut round) = (cloth.flattening, 1.0);
        for _ in 0..24 {
            let middle = 0.5 * (flat + round);
            if Self::new(cloth, per_cm, middle).range().is_some() {
                round = middle;
            } else {
                flat = middle;
            }
        }
        Self::new(cloth, per_cm, round)
    }

    /// Crimp heights the warp can take: the weft takes `highest` over the ends at most, the warp over the picks.
    fn range(&self) -> Option<[f64; 2]> {
        let (low, high) = (self.d - highest(self.free[0], self.d), highest(self.free[1], self.d));
        (self.free.iter().all(|p| *p > 0.0) && low <= high).then_some([low, high])
    }
}

/// Ends under a float of a pick, and picks under a float of an end: they crowd until they touch (Love).
fn crowd(cloth: &Cloth) -> [f32; 2] {
    let [per_end, per_pick] = cloth.weave.threads_per_change();
    [per_pick, per_end]
}

/// √(1 - (p1/D)²) + √(1 - (p2/D)²) of round yarns, 1 at the jam (Peirce's limit); above 1 no path exists.
fn tightness(cloth: &Cloth, per_cm: [f32; 2]) -> f64 {
    let diameter = [cloth.warp.diameter().get(), cloth.weft.diameter().get()];
    let crowd = crowd(cloth);
    let d = f64::from(diameter[0] + diameter[1]);
    let root = |f: usize| {
        let spacing = f64::from(crowd[f] * 10.0 / per_cm[f] - (crowd[f] - 1.0) * diameter[f]);
        // Threads on one side of the cloth lie beside each other: no closer than every other pitch.
        if spacing <= 0.0 || 20.0 / per_cm[f] < diameter[f] { 2.0 } else { (1.0 - (spacing / d).min(1.0).powi(2)).sqrt() }
    };
    root(0) + root(1)
}

/// Solve a cloth's geometry.
///
/// # Errors
/// When it jams, or the crimp asked for cannot be.
pub fn solve(cloth: &Cloth) -> Result<Geometry, ClothError> {
    cloth.check()?;
    if cloth.weave.is_knit() {
        return crate::knit::solve_knit(cloth);
    }
    let per_cm = [cloth.ends_per_cm.get(), cloth.picks_per_cm.get()];
    let tightness = tightness(cloth, per_cm);
    if tightness > 1.0 {
        return Err(jammed(cloth, per_cm, tightness));
    }
    let frame = Frame::settled(cloth, per_cm);
    let d = frame.d;
    let [low, high] = frame.range().unwrap_or([0.0, d]);
    let [per_end, per_pick] = cloth.weave.threads_per_change().map(f64::from);
    let warp_crimp = |h: f64| crimp(frame.free[1], d, h, f64::from(frame.pitch[1]), per_end);
    let h1 = match cloth.warp_crimp {
        None => (f64::from(cloth.warp_share) * d).clamp(low, high),
        Some(told) => {
            let (least, most) = (warp_crimp(low), warp_crimp(high));
            if f64::from(told) < least - 1e-4 || f64::from(told) > most + 1e-4 {
                return Err(ClothError::Crimp { told, least: least as f32, most: most as f32 });
            }
            bisect(low, high, f64::from(told), warp_crimp)
        }
    };
    let h2 = d - h1;
    let weft_crimp = crimp(frame.free[0], d, h2, f64::from(frame.pitch[0]), per_pick);
    Ok(Geometry { tightness: tightness as f32, ..finish(cloth, &frame, per_cm, [h1, h2], [warp_crimp(h1), weft_crimp]) })
}

/// Crimp of a thread that changes side after every `per_change` threads of the other family.
fn crimp(free: f64, d: f64, h: f64, pitch: f64, per_change: f64) -> f64 {
    let [_, l] = weave_angle(free, d, h);
    (l - free) / (pitch * per_change)
}

fn finish(cloth: &Cloth, frame: &Frame, per_cm: [f32; 2], h: [f64; 2], crimp: [f64; 2]) -> Geometry {
    let yarns = [&cloth.warp, &cloth.weft];
    let strand = |f: usize| Strand {
        diameter: frame.diameter[f],
        breadth: frame.size[f][0],
        thickness: frame.size[f][1],
        pitch: frame.pitch[f],
        crimp_height: h[f] as f32,
        weave_angle: weave_angle(frame.free[1 - f], frame.d, h[f])[0] as f32,
        crimp: crimp[f] as f32,
        cover_factor: per_cm[f] * 2.54 / crate::count::Count::Tex(yarns[f].tex()).ne().sqrt(),
    };
    let (warp, weft) = (strand(0), strand(1));
    let [k1, k2] = [warp.cover_factor, weft.cover_factor];
    let open = |s: &Strand| (1.0 - s.breadth / s.pitch).max(0.0);
    Geometry {
        thickness: (warp.crimp_height + warp.thickness).max(weft.crimp_height + weft.thickness),
        sum_of_thickness: frame.d as f32,
        grams_per_m2: grams_per_m2(per_cm, [warp.crimp, weft.crimp], yarns.map(crate::yarn::Yarn::tex)),
        cover_factor: k1 + k2 - k1 * k2 / TOUCHING,
        open_area: open(&warp) * open(&weft),
        tightness: 0.0,
        warp,
        weft,
    }
}

/// Areal weight: 0.1 (n1 (1 + c1) T1 + n2 (1 + c2) T2), threads per cm and tex.
pub fn grams_per_m2(per_cm: [f32; 2], crimp: [f32; 2], tex: [f32; 2]) -> f32 {
    0.1 * (per_cm[0] * (1.0 + crimp[0]) * tex[0] + per_cm[1] * (1.0 + crimp[1]) * tex[1])
}

/// Angle of a twill line from the weft, degrees: tan = steps up × ends per cm / (steps out × picks per cm).
pub fn twill_degrees(steps_up: f32, steps_out: f32, ends_per_cm: f32, picks_per_cm: f32) -> f32 {
    libm::atan2f(steps_up * ends_per_cm, steps_out * picks_per_cm).to_degrees()
}

fn jammed(cloth: &Cloth, per_cm: [f32; 2], reached: f64) -> ClothError {
    let most = |f: usize| {
        let fits = |n: f64| {
            let mut tried = per_cm;
            tried[f] = n as f32;
            tightness(cloth, tried)
        };
        // Floor to a tenth, so that the number named can be used.
        (bisect(0.0, f64::from(per_cm[f]), 1.0, fits) * 10.0).floor() as f32 / 10.0
    };
    ClothError::Jammed { ends: per_cm[0], picks: per_cm[1], tightness: reached as f32, most_ends: most(0), most_picks: most(1) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn square_jammed_cloth() {
        // Peirce 1937 as restated in textile texts: 60 degrees, l/D 1.0472 (a third of pi), p/D 0.866, crimp 0.2092.
        let p = 0.75f64.sqrt();
        let [angle, l] = weave_angle(p, 1.0, 0.5);
        assert!((angle.to_degrees() - 60.0).abs() < 1e-4, "{}", angle.to_degrees());
        assert!((l - std::f64::consts::FRAC_PI_3).abs() < 1e-6 && (l / p - 1.0 - 0.2092).abs() < 1e-4, "length {l}");
    }

    #[test]
    fn small_crimp_follows_the_approximation() {
        // h = (4/3) p √c: p 0.5 mm and c 0.09 give 0.2 mm, an approximation good to some percent.
        let [_, l] = weave_angle(0.5, 0.25, 0.2);
        assert!((l / 0.5 - 1.0 - 0.09).abs() < 0.012, "crimp {}", l / 0.5 - 1.0);
    }

    #[test]
    fn pressing_keeps_the_area() {
        for f in [1.0f32, 0.8, 0.5] {
            let [b, t] = pressed(0.3, f);
            let area = t * (b - t) + std::f32::consts::FRAC_PI_4 * t * t;
            assert!((area / (std::f32::consts::FRAC_PI_4 * 0.09) - 1.0).abs() < 1e-5, "flattening {f}");
            assert!((t / b - f).abs() < 1e-5, "flattening {f}");
        }
    }
}
