//! Multi-level foreground estimation (Germer et al. 2020), from coarse to fine by factors of two.

use tatter_core::image::{Image, LinearRgb, Pixel as _, Unit};
use tatter_core::kernel::{area_resize, bilinear_resize};
use tatter_core::task::{Cancelled, Task};

use crate::isolate::BackingModel;

/// Weight of neighbours of equal alpha, and of one unit of difference in alpha (the paper's regularisation).
const SMOOTH: f32 = 1e-5;
/// Sides up to this are solved thoroughly.
const SMALL: usize = 32;

/// The foreground colour of every pixel; the picture itself where alpha is 1.
pub(super) fn estimate(
    color: &Image<LinearRgb>,
    alpha: &Image<Unit>,
    backing: Option<&BackingModel>,
    task: &Task,
) -> Result<Image<LinearRgb>, Cancelled> {
    let (front, _) = layers(color, alpha, backing, task)?;
    Ok(Image::from_fn(
        color.width(),
        color.height(),
        |x, y| {
            if alpha.get(x, y).0 >= 1.0 { color.get(x, y) } else { front.get(x, y) }
        },
    ))
}

/// Both layers, started from those of half the size. A known backing counts at the full size alone.
fn layers(
    color: &Image<LinearRgb>,
    alpha: &Image<Unit>,
    backing: Option<&BackingModel>,
    task: &Task,
) -> Result<(Image<LinearRgb>, Image<LinearRgb>), Cancelled> {
    task.check()?;
    let (width, height) = (color.width(), color.height());
    let small = width.max(height) <= SMALL;
    let (mut front, mut back) = if small {
        (
            Image::filled(width, height, mean(color, alpha, |a| a > 0.9)),
            Image::filled(width, height, mean(color, alpha, |a| a < 0.1)),
        )
    } else {
        let (w, h) = (width.div_ceil(2), height.div_ceil(2));
        let half = layers(&area_resize(color, w, h), &area_resize(alpha, w, h), None, task)?;
        (bilinear_resize(&half.0, width, height), bilinear_resize(&half.1, width, height))
    };
    if let Some(model) = backing {
        back = Image::from_fn(width, height, |x, y| model.at(x as f32 + 0.5, y as f32 + 0.5));
    }
    for _ in 0..if small { 10 } else { 3 } {
        let next = relax(color, alpha, &front, &back, backing.is_some());
        front = next.map(|n| n.0);
        back = next.map(|n| n.1);
    }
    Ok((front, back))
}

fn mean(color: &Image<LinearRgb>, alpha: &Image<Unit>, takes: impl Fn(f32) -> bool) -> LinearRgb {
    let mut sum = [0.0f64; 4];
    for (c, a) in color.texels().iter().zip(alpha.texels()) {
        if takes(a.0) {
            for (sum, value) in sum.iter_mut().zip(c.0) {
                *sum += f64::from(value);
            }
            sum[3] += 1.0;
        }
    }
    if sum[3] > 0.0 { LinearRgb([0, 1, 2].map(|i| (sum[i] / sum[3]) as f32)) } else { LinearRgb([0.5; 3]) }
}

/// One round: each pixel's two colours from its own equation and its four neighbours of the round before.
fn relax(
    color: &Image<LinearRgb>,
    alpha: &Image<Unit>,
    front: &Image<LinearRgb>,
    back: &Image<LinearRgb>,
    back_known: bool,
) -> Image<(LinearRgb, LinearRgb)> {
    Image::from_fn(color.width(), color.height(), |x, y| {
        let (a, i) = (alpha.get(x, y).0, color.get(x, y).0);
        // Whole pixels show one layer only; the other keeps what the coarser level spread there.
        if a >= 1.0 {
            return (color.get(x, y), back.get(x, y));
        }
        if a <= 0.0 {
            return (front.get(x, y), if back_known { back.get(x, y) } else { color.get(x, y) });
        }
        let (mut sum, mut f, mut b) = (0.0, LinearRgb::ZERO, LinearRgb::ZERO);
        for (dx, dy) in [(1, 0), (-1, 0), (0, 1), (0, -1)] {
            let (nx, ny) = (x as isize + dx, y as isize + dy);
            let w = SMOOTH + (a - alpha.get_clamped(nx, ny).0).abs();
            sum += w;
            f = f.plus(front.get_clamped(nx, ny), w);
            b = b.plus(back.get_clamped(nx, ny), w);
        }
        if back_known {
            let behind = back.get(x, y);
            let own = |c: usize| (a * (i[c] - (1.0 - a) * behind.0[c]) + f.0[c]) / (a * a + sum);
            return (LinearRgb([0, 1, 2].map(|c| own(c).max(0.0))), behind);
        }
        let (m11, m12, m22) = (a * a + sum, a * (1.0 - a), (1.0 - a) * (1.0 - a) + sum);
        let det = m11 * m22 - m12 * m12;
        let solve = |c: usize| {
            let (r1, r2) = (a * i[c] + f.0[c], (1.0 - a) * i[c] + b.0[c]);
            [((m22 * r1 - m12 * r2) / det).max(0.0), ((m11 * r2 - m12 * r1) / det).max(0.0)]
        };
        let both = [0, 1, 2].map(solve);
        (LinearRgb(both.map(|v| v[0])), LinearRgb(both.map(|v| v[1])))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_flat_layers_come_apart() {
        let alpha = Image::from_fn(64, 48, |x, _| Unit(((x as f32 - 20.0) / 24.0).clamp(0.0, 1.0)));
        let (f, b) = ([0.7, 0.3, 0.1], [0.1, 0.2, 0.8]);
        let color = alpha.map(|a| LinearRgb([0, 1, 2].map(|c| a.0 * f[c] + (1.0 - a.0) * b[c])));
        let cleaned = estimate(&color, &alpha, None, &Task::new()).unwrap();
        for x in 24..64 {
            for (got, want) in cleaned.get(x, 24).0.into_iter().zip(f) {
                let off = (got - want).abs();
                assert!(off < 0.03, "column {x} is off by {off}");
            }
        }
    }
}
