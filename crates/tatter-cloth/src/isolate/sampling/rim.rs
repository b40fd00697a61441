//! Pixels between cloth and backing, once more, from the colours right beside them.

use tatter_core::image::{Image, LinearRgb, Unit};

use super::explain::{Behind, Expected, Judge, Verdict};

/// Share of the other below which a first verdict counts as pure.
const PURE: f32 = 0.05;
/// How far pure colours are looked for, pixels: a lens blurs a rim over three or four.
const REACH: isize = 4;
/// Colours of either taken.
const COLORS: usize = 4;

/// The nearest pure colours, and their number.
type Beside = ([[f32; 3]; COLORS], usize);

/// Verdicts with those at the rim judged again; known pixels and those far from either stay as they are.
pub(super) fn again(color: &Image<LinearRgb>, trimap: &Image<Unit>, judge: &Judge, first: &Image<Verdict>) -> Image<Verdict> {
    let cloth = pure(first, |alpha| alpha > 1.0 - PURE);
    let backing = pure(first, |alpha| alpha < PURE);
    let mut steps: Vec<(isize, isize)> = (-REACH..=REACH).flat_map(|dy| (-REACH..=REACH).map(move |dx| (dx, dy))).collect();
    steps.retain(|(dx, dy)| dx * dx + dy * dy <= REACH * REACH + 2);
    steps.sort_by_key(|(dx, dy)| dx * dx + dy * dy);
    Image::from_fn(first.width(), first.height(), |x, y| {
        let (own, t) = (first.get(x, y), trimap.get(x, y).0);
        if t <= 0.0 || t >= 1.0 || cloth.get(x, y) || backing.get(x, y) {
            return own;
        }
        let (f, fs) = beside(color, &cloth, &steps, [x, y]);
        let (b, bs) = beside(color, &backing, &steps, [x, y]);
        if fs == 0 || bs == 0 {
            return own;
        }
        let behind = Behind { near: b[..bs].iter().copied(), model: None };
        judge.explain(color.get(x, y).0, f[..fs].iter().copied(), behind, Expected::AT_RIM)
    })
}

/// Pixels that are pure with their four neighbours: blur reaches no further.
fn pure(first: &Image<Verdict>, is: impl Fn(f32) -> bool + Sync) -> Image<bool> {
    Image::from_fn(first.width(), first.height(), |x, y| {
        let at = |dx: isize, dy: isize| is(first.get_clamped(x as isize + dx, y as isize + dy).alpha);
        at(0, 0) && at(-1, 0) && at(1, 0) && at(0, -1) && at(0, 1)
    })
}

fn beside(color: &Image<LinearRgb>, pure: &Image<bool>, steps: &[(isize, isize)], [x, y]: [usize; 2]) -> Beside {
    let (mut colors, mut count) = ([[0.0; 3]; COLORS], 0);
    for &(dx, dy) in steps {
        let (Some(px), Some(py)) = (x.checked_add_signed(dx), y.checked_add_signed(dy)) else { continue };
        if px < pure.width() && py < pure.height() && pure.get(px, py) {
            colors[count] = color.get(px, py).0;
            count += 1;
            if count == COLORS {
                break;
            }
        }
    }
    (colors, count)
}
