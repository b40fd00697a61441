//! Where a patch's cloth is injured, and where it is still what it was.

use tatter_core::channel::Channel;
use tatter_core::color::OkLab;
use tatter_core::image::{Image, LinearRgb, Unit};
use tatter_core::kernel::gaussian;
use tatter_core::model::Patch;

/// Deviation of the blur under which threads become cloth, in cells of the coarse cover: about two threads.
const THREADS: f32 = 1.5;
/// Cloth strays this many times as far as intact cloth ordinarily does before it counts as injured at all, and wholly.
const STRAYS: (f32, f32) = (2.5, 5.0);
/// Least that intact cloth is taken to stray, OKLab: half of what the eye tells apart side by side.
const EVEN: f32 = 0.008;
/// How far that blur carries colour, in cells, and how much of what it carries is taken off: 0 leaves an injury two threads larger all around than
/// it is, 1 takes its fray off. By eye, on contours drawn over two woven rips, a moth hole and a burn.
const CARRIED: isize = 6;
const TAKEN_OFF: f32 = 0.6;
/// More open than intact cloth by this share is wholly injured.
const OPEN: f32 = 0.15;

/// Zero where the patch shows its intact cloth, one where it is injured, soft between, in the cells of `ring`, which says where
/// intact cloth is expected; `color` is the patch's in these cells. One everywhere without a colour to tell by. Linear in the texels.
pub(crate) fn injury(patch: &Patch, color: Option<&Image<LinearRgb>>, ring: &Image<f32>) -> Image<f32> {
    let (width, height) = (ring.width(), ring.height());
    let Some(color) = color else { return ring.map(|_| 1.0) };
    let color: Image<LinearRgb> = gaussian(color, THREADS);
    let open: Option<Image<f32>> = patch.maps[Channel::Opacity]
        .as_ref()
        .and_then(|map| map.unit_cells(width, height))
        .map(|o| gaussian(&o, THREADS).map(|o: Unit| 1.0 - o.0));
    let strongest = ring.texels().iter().copied().fold(1e-6, f32::max);
    let intact: Vec<usize> = (0..width * height).filter(|&i| ring.texels()[i] > 0.3 * strongest).collect();
    if intact.is_empty() {
        return ring.map(|_| 1.0);
    }
    let middle = |of: &dyn Fn(usize) -> f32| {
        let mut values: Vec<f32> = intact.iter().map(|&i| of(i)).collect();
        let at = values.len() / 2;
        *values.select_nth_unstable_by(at, f32::total_cmp).1
    };
    let lab: Vec<OkLab> = color.texels().iter().map(|&c| OkLab::from(c)).collect();
    let cloth = [middle(&|i| lab[i].l), middle(&|i| lab[i].a), middle(&|i| lab[i].b)];
    let far = |i: usize| ((lab[i].l - cloth[0]).powi(2) + (lab[i].a - cloth[1]).powi(2) + (lab[i].b - cloth[2]).powi(2)).sqrt();
    let usual = middle(&far).max(EVEN);
    let strays: Vec<f32> = (0..width * height).map(far).collect();
    let weights = weights();
    let own = |i: usize| {
        // Intact cloth is not worth the search.
        let carried = if strays[i] > STRAYS.0 * usual { carried([i % width, i / width], &weights, &strays, width) } else { 0.0 };
        // Cloth that strays evenly stays as it is.
        (strays[i] - TAKEN_OFF * carried).max(0.0) / (1.0 - 0.5 * TAKEN_OFF)
    };
    let usually_open = open.as_ref().map_or(0.0, |o| middle(&|i| o.texels()[i]));
    let injured = Image::from_fn(width, height, |x, y| {
        let i = y * width + x;
        let strays = smooth((own(i) / usual - STRAYS.0) / (STRAYS.1 - STRAYS.0));
        let opened = open.as_ref().map_or(0.0, |o| smooth((o.texels()[i] - usually_open) / OPEN));
        strays.max(opened)
    });
    gaussian(&injured, 1.0)
}

/// Steps to the cells around one, and how much of what strays there the blur carries here at most. Over a straight edge a blur leaves the
/// normal distribution, half of what strays at the edge itself; what strays is seen whole from two deviations within.
fn weights() -> Vec<(isize, isize, f32)> {
    let around = (-CARRIED..=CARRIED).flat_map(|dy| (-CARRIED..=CARRIED).map(move |dx| (dx, dy)));
    let far = |(dx, dy): (isize, isize)| ((dx * dx + dy * dy) as f32).sqrt();
    let within = around.filter(|&step| far(step) <= CARRIED as f32);
    within.map(|step| (step.0, step.1, beyond((far(step) - 2.0 * THREADS) / THREADS))).collect()
}

/// How far a cell would stray if only the blur had carried there what strays around it.
fn carried([x, y]: [usize; 2], weights: &[(isize, isize, f32)], strays: &[f32], width: usize) -> f32 {
    let height = strays.len() / width;
    let mut most = 0.0f32;
    for &(dx, dy, weight) in weights {
        let (x, y) = (x.wrapping_add_signed(dx), y.wrapping_add_signed(dy));
        if x < width && y < height {
            most = most.max(weight * strays[y * width + x]);
        }
    }
    most
}

/// Share of the normal distribution beyond so many deviations, at most half: the logistic one of scale 1.702 is off by 0.01 at most
/// (Haley 1952, "Estimation of the dosage mortality relationship when the dose is subject to error", from memory).
fn beyond(deviations: f32) -> f32 {
    1.0 / (1.0 + (1.702 * deviations.max(0.0)).exp())
}

fn smooth(t: f32) -> f32 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// A value of such a map at a place in shares of the canvas.
#[inline]
pub(crate) fn injured_at(injury: &Image<f32>, [u, v]: [f32; 2]) -> f32 {
    injury.bilinear(u * injury.width() as f32, v * injury.height() as f32)
}

#[cfg(test)]
mod tests {
    use tatter_core::angle::Angle;
    use tatter_core::channel::PerChannel;
    use tatter_core::image::HeightRange;
    use tatter_core::model::{ScaleSource, Subject, Weave};
    use tatter_core::units::MmPerTexel;

    use super::*;

    fn bare_patch() -> Patch {
        Patch {
            name: "disc".into(),
            maps: PerChannel::default(),
            subject: Subject::Damage,
            scale: MmPerTexel(0.1),
            scale_source: ScaleSource::MmPerPixel,
            scale_uncertainty: None,
            grain: Some(Angle::ZERO),
            ends_per_cm: None,
            picks_per_cm: None,
            weave: Weave::Unknown,
            height_range: HeightRange::default(),
            cloth_color: None,
            photo_from_patch: None,
            provenance: Vec::new(),
        }
    }

    /// An injured disc of 20 cells' radius that differs by so much lightness, on even cloth; cells from its middle at which it ends.
    fn ends_at(darker: f32) -> f32 {
        let far = |x: usize, y: usize| (x as f32 - 63.5).hypot(y as f32 - 63.5);
        let grey = |l: f32| LinearRgb::from(OkLab { l, a: 0.0, b: 0.0 });
        let color = Image::from_fn(128, 128, |x, y| grey(if far(x, y) < 20.0 { 0.7 - darker } else { 0.7 }));
        let ring = Image::from_fn(128, 128, |x, y| if (40.0..50.0).contains(&far(x, y)) { 1.0 } else { 0.0 });
        let injury = injury(&bare_patch(), Some(&color), &ring);
        assert!(injury.get(63, 63) > 0.9, "its middle is injured: {}", injury.get(63, 63));
        (0..60).filter(|i| injury.get(64 + i, 64) > 0.5).count() as f32 + 0.5
    }

    /// The truth of the disc: a blur of 1.5 cells alone would put its end 2.2 cells too far out (the normal distribution).
    #[test]
    fn an_injury_ends_where_it_ends() {
        for darker in [0.06, 0.1, 0.2, 0.4] {
            let end = ends_at(darker);
            assert!((18.5..22.0).contains(&end), "{darker} darker, its end at 20 is found at {end}");
        }
    }
}
