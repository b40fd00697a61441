//! [`Image`]: a grid of texels to compute with.

use rayon::prelude::*;

use super::blocks::collect;
use super::{Pixel, Rect, Size};

/// Texels that a light function is worth a thread for.
const LEAST: usize = 4096;
/// Texels computed by one call of a light function's machinery.
const LIGHT: usize = 64;
/// The same where a texel may cost much, so that small images are shared out, too.
const HEAVY: usize = 16;

fn block_of<P>(texels: &[P], number: usize) -> &[P] {
    &texels[number * LIGHT..texels.len().min((number + 1) * LIGHT)]
}

/// Row-major texels, `(x, y)`, origin top-left, the centre of a texel at +0.5.
#[derive(Clone, Debug, PartialEq)]
pub struct Image<P> {
    size: Size,
    texels: Vec<P>,
}

impl<P: Copy> Image<P> {
    /// One value everywhere.
    pub fn filled(width: usize, height: usize, value: P) -> Self {
        Self { size: Size::new(width, height), texels: vec![value; width * height] }
    }

    /// From texels in row order.
    ///
    /// # Panics
    /// When the count is not `width * height`: a bug of the caller.
    pub fn from_vec(width: usize, height: usize, texels: Vec<P>) -> Self {
        assert_eq!(texels.len(), width * height, "an image of {width} × {height} needs that many texels");
        Self { size: Size::new(width, height), texels }
    }

    /// Columns.
    pub const fn width(&self) -> usize {
        self.size.width
    }

    /// Rows.
    pub const fn height(&self) -> usize {
        self.size.height
    }

    /// Columns and rows.
    pub const fn size(&self) -> Size {
        self.size
    }

    /// The texel in column `x`, row `y`.
    #[inline]
    pub fn get(&self, x: usize, y: usize) -> P {
        self.texels[y * self.size.width + x]
    }

    /// The texel nearest to a place that may lie outside.
    #[inline]
    pub fn get_clamped(&self, x: isize, y: isize) -> P {
        let x = x.clamp(0, self.size.width as isize - 1) as usize;
        let y = y.clamp(0, self.size.height as isize - 1) as usize;
        self.get(x, y)
    }

    /// Change one texel.
    #[inline]
    pub fn set(&mut self, x: usize, y: usize, value: P) {
        self.texels[y * self.size.width + x] = value;
    }

    /// One row.
    pub fn row(&self, y: usize) -> &[P] {
        &self.texels[y * self.size.width..(y + 1) * self.size.width]
    }

    /// One row, to change.
    pub fn row_mut(&mut self, y: usize) -> &mut [P] {
        &mut self.texels[y * self.size.width..(y + 1) * self.size.width]
    }

    /// All texels in row order.
    pub fn texels(&self) -> &[P] {
        &self.texels
    }

    /// All texels in row order, to change.
    pub fn texels_mut(&mut self) -> &mut [P] {
        &mut self.texels
    }

    /// Give up the texels in row order.
    pub fn into_vec(self) -> Vec<P> {
        self.texels
    }
}

impl<P: Copy + Send + Sync> Image<P> {
    /// From a function of column and row, asked once for each texel, in parallel.
    pub fn from_fn(width: usize, height: usize, f: impl Fn(usize, usize) -> P + Sync) -> Self {
        let count = width * height;
        let block = |number: usize| {
            let start = number * HEAVY;
            let wanted = HEAVY.min(count - start);
            let (mut x, mut y) = (start % width, start / width);
            let mut block = [f(x, y); HEAVY];
            let mut done = 1;
            x += 1;
            // Row by row, so that what depends on the row alone is reckoned once.
            while done < wanted {
                if x == width {
                    (x, y) = (0, y + 1);
                }
                let run = (width - x).min(wanted - done);
                for (to, x) in block[done..done + run].iter_mut().zip(x..) {
                    *to = f(x, y);
                }
                (done, x) = (done + run, x + run);
            }
            block
        };
        Self { size: Size::new(width, height), texels: collect(count, width.max(1), &block) }
    }

    /// Each texel through a function, in parallel.
    pub fn map<Q: Copy + Send + Sync>(&self, f: impl Fn(P) -> Q + Sync) -> Image<Q> {
        let block = |number: usize| {
            let own = block_of(&self.texels, number);
            let mut block = [f(own[0]); LIGHT];
            block.iter_mut().zip(own).skip(1).for_each(|(to, texel)| *to = f(*texel));
            block
        };
        Image { size: self.size, texels: collect(self.texels.len(), LEAST, &block) }
    }

    /// Two images of one size through a function, in parallel.
    ///
    /// # Panics
    /// When the sizes differ: a bug of the caller.
    pub fn zip<Q: Copy + Send + Sync, R: Copy + Send + Sync>(&self, other: &Image<Q>, f: impl Fn(P, Q) -> R + Sync) -> Image<R> {
        assert_eq!(self.size, other.size(), "images zipped together have one size");
        let block = |number: usize| {
            let (own, others) = (block_of(&self.texels, number), block_of(&other.texels, number));
            let mut block = [f(own[0], others[0]); LIGHT];
            block.iter_mut().zip(own.iter().zip(others)).skip(1).for_each(|(to, (a, b))| *to = f(*a, *b));
            block
        };
        Image { size: self.size, texels: collect(self.texels.len(), LEAST, &block) }
    }

    /// Each row with its number, in parallel, to change.
    pub fn par_rows_mut(&mut self) -> impl IndexedParallelIterator<Item = (usize, &mut [P])> {
        let width = self.size.width.max(1);
        self.texels.par_chunks_mut(width).enumerate()
    }

    /// A copy of a part.
    ///
    /// # Panics
    /// When the part reaches outside: a bug of the caller.
    #[must_use]
    pub fn crop(&self, part: Rect) -> Self {
        assert!(part.right() <= self.width() && part.bottom() <= self.height(), "a crop lies inside its image");
        let texels = (part.y..part.bottom()).flat_map(|y| &self.row(y)[part.x..part.right()]).copied().collect();
        Self { size: part.size(), texels }
    }

    /// A copy with so many texels more on all sides, the edges extended.
    ///
    /// # Panics
    /// When the image has no texels: a bug of the caller.
    #[must_use]
    pub fn bordered(&self, by: usize) -> Self {
        let last = self.height() - 1;
        let size = Size::new(self.width() + 2 * by, self.height() + 2 * by);
        let mut texels = Vec::with_capacity(size.area());
        for y in 0..size.height {
            let row = self.row(y.saturating_sub(by).min(last));
            texels.extend(std::iter::repeat_n(row[0], by));
            texels.extend_from_slice(row);
            texels.extend(std::iter::repeat_n(row[row.len() - 1], by));
        }
        Self { size, texels }
    }

    /// Copy `part` over this image with its top-left texel at `(x, y)`.
    ///
    /// # Panics
    /// When the part reaches outside: a bug of the caller.
    pub fn paste(&mut self, part: &Self, x: usize, y: usize) {
        assert!(x + part.width() <= self.width() && y + part.height() <= self.height(), "a pasted part lies inside the image");
        for row in 0..part.height() {
            self.row_mut(y + row)[x..x + part.width()].copy_from_slice(part.row(row));
        }
    }
}

impl<P: Pixel> Image<P> {
    /// Bilinear sample at a place in texels (centres at +0.5), edges extended. The picture must not be empty.
    #[inline]
    pub fn bilinear(&self, x: f32, y: f32) -> P {
        let (x, y) = (x - 0.5, y - 0.5);
        let (x0, y0) = (floor(x), floor(y));
        let (fx, fy) = (x - x0 as f32, y - y0 as f32);
        let inside = |v: isize, of: usize| v.clamp(0, of as isize - 1) as usize;
        let columns = [x0, x0 + 1].map(|x| inside(x, self.size.width));
        let [above, below] = [y0, y0 + 1].map(|y| self.row(inside(y, self.size.height)));
        P::ZERO
            .plus(above[columns[0]], (1.0 - fx) * (1.0 - fy))
            .plus(above[columns[1]], fx * (1.0 - fy))
            .plus(below[columns[0]], (1.0 - fx) * fy)
            .plus(below[columns[1]], fx * fy)
    }
}

/// The greatest whole number up to `x`, without the call that `f32::floor` is on processors of the oldest kind.
#[inline]
fn floor(x: f32) -> isize {
    let toward_zero = x as isize;
    toward_zero - isize::from(toward_zero as f32 > x)
}

/// What lies inside quadrilaterals, each by its corners in order around it, pixels.
pub fn inside_any(size: Size, quadrilaterals: &[[[f32; 2]; 4]]) -> Image<bool> {
    let inside = |corners: &[[f32; 2]; 4], [x, y]: [f32; 2]| {
        let side = |k: usize| {
            let ([ax, ay], [bx, by]) = (corners[k], corners[(k + 1) % 4]);
            (bx - ax) * (y - ay) - (by - ay) * (x - ax) > 0.0
        };
        (1..4).all(|k| side(k) == side(0))
    };
    Image::from_fn(size.width, size.height, |x, y| {
        quadrilaterals.iter().any(|corners| inside(corners, [x as f32 + 0.5, y as f32 + 0.5]))
    })
}
