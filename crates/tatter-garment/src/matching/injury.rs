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
    let usually_open = open.as_ref().map_or(0.0, |o| middle(&|i| o.texels()[i]));
    let injured = Image::from_fn(width, height, |x, y| {
        let i = y * width + x;
        let strays = smooth((far(i) / usual - STRAYS.0) / (STRAYS.1 - STRAYS.0));
        let opened = open.as_ref().map_or(0.0, |o| smooth((o.texels()[i] - usually_open) / OPEN));
        strays.max(opened)
    });
    gaussian(&injured, 1.0)
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
