//! The square canvas of a patch on its photo.

use tatter_core::angle::Angle;
use tatter_core::image::{Image, Pixel, Rect, Unit};

/// Canvas around the subject as a share of its longer side, on every side. A sixth keeps enough intact cloth for matching
/// and for filters that look past the rim.
const MARGIN: f32 = 1.0 / 6.0;
/// The least margin, photo pixels.
const LEAST_MARGIN: f32 = 12.0;

/// Where a patch's canvas lies on its photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Canvas {
    /// Texels on a side.
    pub side: usize,
    /// Photo pixels in one patch texel.
    pub pixels_per_texel: f32,
    /// Photo pixel from patch texel, row major 2 × 3, first centres at (0.5, 0.5).
    pub photo_from_patch: [[f32; 3]; 2],
}

impl Canvas {
    /// Around `bounds` of the subject, centred, turned by `turn` (the content turns counter-clockwise by it).
    ///
    /// With no turn and no `side` told, texels are photo pixels, so that nothing is resampled.
    #[must_use]
    pub fn around(cover: &Image<Unit>, bounds: Rect, turn: Angle, side: Option<usize>) -> Self {
        let (sin, cos) = turn.sin_cos();
        // Content turned by `turn` means that the photo is read along axes turned the other way (y down).
        let right = [cos, sin];
        let down = [-sin, cos];
        let (low, high) = extent(cover, bounds, right, down);
        let span = (high[0] - low[0]).max(high[1] - low[1]);
        let wanted = span + 2.0 * (span * MARGIN).max(LEAST_MARGIN);
        let texels = wanted.ceil() as usize;
        let side = side.unwrap_or(texels).max(8);
        let pixels_per_texel = if side == texels { 1.0 } else { wanted / side as f32 };
        let middle = [0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1])];
        let half = 0.5 * side as f32 * pixels_per_texel;
        let mut origin = [middle[0] - half, middle[1] - half];
        if turn == Angle::ZERO && pixels_per_texel == 1.0 {
            origin = origin.map(f32::round);
        }
        let s = pixels_per_texel;
        let photo_from_patch = [
            [right[0] * s, down[0] * s, right[0] * origin[0] + down[0] * origin[1]],
            [right[1] * s, down[1] * s, right[1] * origin[0] + down[1] * origin[1]],
        ];
        Self { side, pixels_per_texel, photo_from_patch }
    }

    /// Photo place of a patch place, both in texels with centres at +0.5.
    #[inline]
    pub fn photo(&self, x: f32, y: f32) -> [f32; 2] {
        let [a, b] = self.photo_from_patch;
        [a[0] * x + a[1] * y + a[2], b[0] * x + b[1] * y + b[2]]
    }

    /// Whether texels are whole photo pixels.
    fn exact(&self) -> bool {
        let [a, b] = self.photo_from_patch;
        [a[0], a[1], b[0], b[1]] == [1.0, 0.0, 0.0, 1.0] && a[2].fract() == 0.0 && b[2].fract() == 0.0
    }

    /// What the canvas shows of a photo-sized image: copied where texels are pixels, else Catmull-Rom, averaged over the
    /// texel's footprint when it shrinks. Beyond the photo `outside` decides: a value stands, or the photo is mirrored, so
    /// that cloth goes on as cloth.
    #[must_use]
    pub fn show<P: Pixel>(&self, image: &Image<P>, outside: Option<P>) -> Image<P> {
        let (width, height) = (image.width() as f32, image.height() as f32);
        let exact = self.exact();
        let samples = if self.pixels_per_texel > 1.0 { (2.0 * self.pixels_per_texel).ceil() as usize } else { 1 };
        Image::from_fn(self.side, self.side, |x, y| {
            let photo = self.photo(x as f32 + 0.5, y as f32 + 0.5);
            let inside = (0.0..width).contains(&photo[0]) && (0.0..height).contains(&photo[1]);
            if let Some(value) = outside.filter(|_| !inside) {
                return value;
            }
            if exact {
                return image.get_clamped(mirrored(photo[0], width) as isize, mirrored(photo[1], height) as isize);
            }
            let mut sum = P::ZERO;
            for j in 0..samples {
                for i in 0..samples {
                    let at = |k: usize| (k as f32 + 0.5) / samples as f32;
                    let [px, py] = self.photo(x as f32 + at(i), y as f32 + at(j));
                    sum = sum.plus(catmull_rom(image, mirrored(px, width), mirrored(py, height)), 1.0);
                }
            }
            sum.times(1.0 / (samples * samples) as f32)
        })
    }

    /// The same for a mask: the nearest pixel; beyond the photo `false`.
    #[must_use]
    pub fn show_mask(&self, mask: &Image<bool>) -> Image<bool> {
        let (width, height) = (mask.width() as f32, mask.height() as f32);
        Image::from_fn(self.side, self.side, |x, y| {
            let [px, py] = self.photo(x as f32 + 0.5, y as f32 + 0.5);
            px >= 0.0 && py >= 0.0 && px < width && py < height && mask.get(px as usize, py as usize)
        })
    }
}

/// Extent of the covered pixels along two axes of the photo.
fn extent(cover: &Image<Unit>, bounds: Rect, right: [f32; 2], down: [f32; 2]) -> ([f32; 2], [f32; 2]) {
    let mut corners = Vec::new();
    for y in bounds.y..bounds.bottom() {
        let row = &cover.row(y)[bounds.x..bounds.right()];
        // The first and the last covered pixel of a row bound it whatever the turn.
        let ends = [row.iter().position(|c| c.0 > 0.02), row.iter().rposition(|c| c.0 > 0.02)];
        for (i, x) in ends.into_iter().enumerate() {
            if let Some(x) = x {
                let px = (bounds.x + x + i) as f32;
                corners.extend([[px, y as f32], [px, y as f32 + 1.0]]);
            }
        }
    }
    if corners.is_empty() {
        corners = vec![[bounds.x as f32, bounds.y as f32], [bounds.right() as f32, bounds.bottom() as f32]];
    }
    let (mut low, mut high) = ([f32::INFINITY; 2], [f32::NEG_INFINITY; 2]);
    for [px, py] in corners {
        for (i, axis) in [right, down].into_iter().enumerate() {
            let along = axis[0] * px + axis[1] * py;
            low[i] = low[i].min(along);
            high[i] = high[i].max(along);
        }
    }
    (low, high)
}

/// A place on a line of `length`, mirrored at both ends as often as it takes.
fn mirrored(at: f32, length: f32) -> f32 {
    let there = at.rem_euclid(2.0 * length);
    if there < length { there } else { (2.0 * length - there).min(length - 0.5) }
}

/// Catmull-Rom interpolation (B = 0, C = 1/2 of Mitchell, Netravali, "Reconstruction Filters in Computer Graphics", 1988).
fn catmull_rom<P: Pixel>(image: &Image<P>, x: f32, y: f32) -> P {
    let (x, y) = (x - 0.5, y - 0.5);
    let (x0, y0) = (x.floor(), y.floor());
    let (wx, wy) = (weights(x - x0), weights(y - y0));
    let mut sum = P::ZERO;
    for (j, wy) in wy.into_iter().enumerate() {
        for (i, wx) in wx.into_iter().enumerate() {
            sum = sum.plus(image.get_clamped(x0 as isize + i as isize - 1, y0 as isize + j as isize - 1), wx * wy);
        }
    }
    sum
}

fn weights(t: f32) -> [f32; 4] {
    let (t2, t3) = (t * t, t * t * t);
    [-0.5 * t3 + t2 - 0.5 * t, 1.5 * t3 - 2.5 * t2 + 1.0, -1.5 * t3 + 2.0 * t2 + 0.5 * t, 0.5 * t3 - 0.5 * t2]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn disc() -> Image<Unit> {
        Image::from_fn(200, 160, |x, y| {
            let d = (x as f32 + 0.5 - 120.0).hypot(y as f32 + 0.5 - 70.0);
            Unit(if d < 30.0 { 1.0 } else { 0.0 })
        })
    }

    #[test]
    fn unturned_canvases_copy_pixels() {
        let cover = disc();
        let canvas = Canvas::around(&cover, Rect::new(80, 30, 80, 80), Angle::ZERO, None);
        let shown = canvas.show(&cover, Some(Unit(0.0)));
        let (dx, dy) = (canvas.photo_from_patch[0][2] as usize, canvas.photo_from_patch[1][2] as usize);
        for y in 0..canvas.side {
            for x in 0..canvas.side {
                assert_eq!(shown.get(x, y), cover.get(x + dx, y + dy), "texel {x} {y}");
            }
        }
        assert_eq!(canvas.side, 84, "60 pixels and 12 on either side");
    }

    #[test]
    fn the_subject_stays_centred_when_turned_and_scaled() {
        let cover = disc();
        for (turn, side) in [(0.0, None), (37.0, None), (-90.0, Some(300)), (120.0, Some(40))] {
            let canvas = Canvas::around(&cover, Rect::new(80, 30, 80, 80), Angle::degrees(turn), side);
            let middle = canvas.side as f32 / 2.0;
            let [px, py] = canvas.photo(middle, middle);
            assert!((px - 120.0).abs() < 1.0 && (py - 70.0).abs() < 1.0, "turn {turn}: centre at {px} {py}");
            let shown = canvas.show(&cover, Some(Unit(0.0)));
            let area: f32 = shown.texels().iter().map(|c| c.0).sum::<f32>() * canvas.pixels_per_texel.powi(2);
            let want = std::f32::consts::PI * 900.0;
            assert!((area / want - 1.0).abs() < 0.02, "turn {turn}: area {area}, not {want}");
        }
    }

    #[test]
    fn beyond_the_photo_the_cloth_is_mirrored() {
        let ramp = Image::from_fn(40, 30, |x, y| Unit((x + 40 * y) as f32));
        let cover = Image::from_fn(40, 30, |x, y| Unit(if x < 20 && y < 10 { 1.0 } else { 0.0 }));
        let canvas = Canvas::around(&cover, Rect::new(0, 0, 20, 10), Angle::ZERO, None);
        let shown = canvas.show(&ramp, None);
        let (left, top) = (-canvas.photo_from_patch[0][2] as usize, -canvas.photo_from_patch[1][2] as usize);
        for i in 0..top.min(left) {
            assert_eq!(shown.get(left - 1 - i, top + 3), shown.get(left + i, top + 3), "{i} texels left of the photo");
            assert_eq!(shown.get(left + 3, top - 1 - i), shown.get(left + 3, top + i), "{i} texels above the photo");
        }
    }

    #[test]
    fn content_turns_counter_clockwise() {
        // A mark to the right of the middle must stand above it after a quarter turn.
        let mut cover = Image::filled(101, 101, Unit(0.0));
        for i in 0..30 {
            cover.set(50 + i, 50, Unit(1.0));
        }
        let canvas = Canvas::around(&cover, Rect::new(50, 50, 30, 1), Angle::degrees(90.0), None);
        let shown = canvas.show(&cover, Some(Unit(0.0)));
        let column = canvas.side / 2;
        let tall = (0..canvas.side).filter(|&y| shown.get(column, y).0 > 0.5 || shown.get(column - 1, y).0 > 0.5).count();
        assert!(tall >= 28, "the line is upright, {tall} texels tall");
        let [top_x, _] = canvas.photo(canvas.side as f32 / 2.0, 13.0);
        assert!(top_x > 70.0, "its right end is on top, photo x {top_x}");
    }
}
