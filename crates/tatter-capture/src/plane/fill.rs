//! A place in a photo that shows neither cloth nor backing, filled with what lies around it.
//!
//! Whole blocks are copied from where the surround is most alike, as in texture synthesis by patches (Efros, Freeman, "Image Quilting for
//! Texture Synthesis and Transfer", 2001), and follow the light of the place they fill.

use tatter_core::image::{Image, LinearRgb, Pixel as _, Rect};
use tatter_core::kernel::{bleed, distance_to, gaussian, weighted};

/// Breadth of the surround that is compared, pixels.
const RING: usize = 16;
/// Pixels beyond the hole over which what is copied goes over into the photo.
const FADE: f32 = 6.0;
/// Side below which a block is not parted further, pixels.
const SMALLEST: usize = 24;
/// Places compared for one shift.
const COMPARED: usize = 600;
/// Shifts tried along the photo's longer side at first.
const TRIED: usize = 72;

/// The photo with the `hole` filled, and a few pixels around it gone over into. What is made is no measurement: keep it out of counts.
/// Memory is that of three copies of the photo.
#[must_use]
pub fn fill(color: &Image<LinearRgb>, hole: &Image<bool>) -> Image<LinearRgb> {
    let Some(bounds) = bounds(hole, Rect::whole(hole.size())) else { return color.clone() };
    let mut work = Work { color: color.clone(), open: hole.clone(), away: distance_to(hole), hole: Counts::of(hole) };
    work.block(bounds);
    // What found no likeness anywhere takes the colours around it.
    if work.open.texels().iter().any(|o| *o) {
        work.color = bleed(&work.color, &work.open.map(|o| if o { 0.0 } else { 1.0 }));
    }
    work.color
}

struct Work {
    color: Image<LinearRgb>,
    /// Still to be filled.
    open: Image<bool>,
    /// Pixels to the hole.
    away: Image<f32>,
    /// Of what was never photographed.
    hole: Counts,
}

impl Work {
    fn block(&mut self, part: Rect) {
        let Some(part) = bounds(&self.open, part) else { return };
        if let Some(shift) = self.best_shift(part) {
            self.copy(part, shift);
            return;
        }
        if part.width.max(part.height) < 2 * SMALLEST {
            return;
        }
        let Rect { x, y, width, height } = part;
        let halves = if width >= height {
            [Rect::new(x, y, width / 2, height), Rect::new(x + width / 2, y, width - width / 2, height)]
        } else {
            [Rect::new(x, y, width, height / 2), Rect::new(x, y + height / 2, width, height - height / 2)]
        };
        halves.into_iter().for_each(|half| self.block(half));
    }

    /// Where from: the shift whose surround is most alike, threads and all, and whose inside is like the surround.
    fn best_shift(&self, part: Rect) -> Option<[isize; 2]> {
        let around = part.grown(RING, self.color.size());
        let (mut ring, mut inside) = (Vec::new(), Vec::new());
        for y in around.y..around.bottom() {
            for x in around.x..around.right() {
                if self.open.get(x, y) { inside.push([x, y]) } else { ring.push([x, y]) }
            }
        }
        let thin = |places: Vec<[usize; 2]>| -> Vec<[usize; 2]> {
            let step = places.len().div_ceil(COMPARED).max(1);
            places.into_iter().step_by(step).collect()
        };
        let (ring, inside) = (thin(ring), thin(inside));
        if ring.len() < 8 {
            return None;
        }
        let middle: [f32; 3] =
            std::array::from_fn(|c| ring.iter().map(|[x, y]| log(self.color.get(*x, *y))[c]).sum::<f32>() / ring.len() as f32);
        let spread = ring.iter().map(|[x, y]| far(log(self.color.get(*x, *y)), middle)).sum::<f32>() / ring.len() as f32;
        let cost = |[dx, dy]: [isize; 2]| -> Option<f32> {
            let (x, y) = (around.x as isize + dx, around.y as isize + dy);
            let (width, height) = (self.color.width() as isize, self.color.height() as isize);
            if x < 0 || y < 0 || x + around.width as isize > width || y + around.height as isize > height {
                return None;
            }
            if self.hole.within(Rect::new(x as usize, y as usize, around.width, around.height)) > 0 {
                return None;
            }
            let at = |[x, y]: [usize; 2]| log(self.color.get((x as isize + dx) as usize, (y as isize + dy) as usize));
            let unlike = ring.iter().map(|p| far(at(*p), log(self.color.get(p[0], p[1])))).sum::<f32>() / ring.len() as f32;
            let odd = inside.iter().map(|p| far(at(*p), middle)).sum::<f32>() / inside.len().max(1) as f32;
            Some(unlike + 2.0 * (odd - spread).max(0.0))
        };
        let longest = self.color.width().max(self.color.height());
        let mut step = (longest / TRIED).max(1) as isize;
        let (width, height) = (self.color.width() as isize, self.color.height() as isize);
        let mut best: Option<(f32, [isize; 2])> = None;
        let consider = |shift: [isize; 2], best: &mut Option<(f32, [isize; 2])>| {
            if let Some(cost) = cost(shift)
                && best.is_none_or(|(least, _)| cost < least)
            {
                *best = Some((cost, shift));
            }
        };
        for dy in (-height..height).step_by(step as usize) {
            for dx in (-width..width).step_by(step as usize) {
                consider([dx, dy], &mut best);
            }
        }
        // Threads must meet: nearer and nearer to the pixel.
        while step > 0 {
            let (_, [dx, dy]) = best?;
            let reach = 4.min(step);
            let stride = (step / reach).max(1);
            for j in -reach..=reach {
                for i in -reach..=reach {
                    consider([dx + i * stride, dy + j * stride], &mut best);
                }
            }
            step = if stride > 1 { stride } else { 0 };
        }
        best.map(|(_, shift)| shift)
    }

    fn copy(&mut self, part: Rect, [dx, dy]: [isize; 2]) {
        let around = part.grown(RING, self.color.size());
        let target = self.color.crop(around).map(|c| LinearRgb(log(c)));
        let from = Rect::new((around.x as isize + dx) as usize, (around.y as isize + dy) as usize, around.width, around.height);
        let source = self.color.crop(from).map(|c| LinearRgb(log(c)));
        let known = self.open.crop(around).map(|o| if o { 0.0f32 } else { 1.0 });
        let sigma = 0.5 * RING as f32;
        let there = weighted(&target, &known, sigma, LinearRgb([0.0; 3]));
        let light = there.zip(&gaussian(&source, sigma), |t, s| LinearRgb(std::array::from_fn(|c| t.0[c] - s.0[c])));
        let light = bleed(&light, &known);
        let room = (FADE as usize) + 1;
        let reach = part.grown(room, self.color.size());
        for y in reach.y..reach.bottom() {
            for x in reach.x..reach.right() {
                let (i, j) = (x - around.x, y - around.y);
                let made = LinearRgb(std::array::from_fn(|c| (source.get(i, j).0[c] + light.get(i, j).0[c]).exp() - BLACK));
                let away = self.away.get(x, y);
                if self.open.get(x, y) {
                    self.color.set(x, y, made);
                } else if away > 0.0 && away < FADE {
                    let seen = self.color.get(x, y);
                    self.color.set(x, y, made.times(1.0 - away / FADE).plus(seen, away / FADE));
                }
            }
        }
        for y in part.y..part.bottom() {
            self.open.row_mut(y)[part.x..part.right()].fill(false);
        }
    }
}

/// Light, linear, that logs are flattened below.
const BLACK: f32 = 0.01;

fn log(color: LinearRgb) -> [f32; 3] {
    color.0.map(|v| (v.max(0.0) + BLACK).ln())
}

fn far(a: [f32; 3], b: [f32; 3]) -> f32 {
    (0..3).map(|c| (a[c] - b[c]).powi(2)).sum()
}

/// Sums of a mask over any rectangle (Crow, "Summed-Area Tables for Texture Mapping", 1984).
struct Counts {
    sums: Vec<u32>,
    width: usize,
}

impl Counts {
    fn of(mask: &Image<bool>) -> Self {
        let width = mask.width() + 1;
        let mut sums = vec![0u32; width * (mask.height() + 1)];
        for y in 0..mask.height() {
            let mut row = 0;
            for x in 0..mask.width() {
                row += u32::from(mask.get(x, y));
                sums[(y + 1) * width + x + 1] = sums[y * width + x + 1] + row;
            }
        }
        Self { sums, width }
    }

    fn within(&self, part: Rect) -> u32 {
        let at = |x: usize, y: usize| self.sums[y * self.width + x];
        at(part.right(), part.bottom()) + at(part.x, part.y) - at(part.right(), part.y) - at(part.x, part.bottom())
    }
}

/// The rectangle around what is `true` within a part.
fn bounds(mask: &Image<bool>, part: Rect) -> Option<Rect> {
    let inside = |y: &usize| mask.row(*y)[part.x..part.right()].iter().any(|m| *m);
    let (top, bottom) = ((part.y..part.bottom()).find(inside)?, (part.y..part.bottom()).rfind(inside)?);
    let column = |x: &usize| (top..=bottom).any(|y| mask.get(*x, y));
    let (left, right) = ((part.x..part.right()).find(column)?, (part.x..part.right()).rfind(column)?);
    Some(Rect::new(left, top, right + 1 - left, bottom + 1 - top))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Stripes four pixels apart go on through the hole in step, and follow the light.
    #[test]
    fn a_pattern_goes_on_in_step() {
        let stripes = Image::from_fn(200, 160, |x, y| {
            let light = 0.2 + 0.001 * y as f32;
            LinearRgb([light * (1.0 + 0.5 * (std::f32::consts::FRAC_PI_2 * x as f32).sin()); 3])
        });
        let hole = Image::from_fn(200, 160, |x, y| (90..133).contains(&x) && (60..95).contains(&y));
        let spoilt = stripes.zip(&hole, |c, h| if h { LinearRgb([1.0; 3]) } else { c });
        let filled = fill(&spoilt, &hole);
        for y in 0..160 {
            for x in 0..200 {
                let (got, want) = (filled.get(x, y).0[0], stripes.get(x, y).0[0]);
                assert!((got - want).abs() < 0.03, "pixel {x} {y}: {got}, not {want}");
            }
        }
    }
}
