//! [`Image`]: a grid of texels to compute with.

use rayon::prelude::*;

use super::blocks::{BLOCK, block_of, collect};
use super::{Pixel, Rect, Size};

/// Texels that a light function is worth a thread for.
const LEAST: usize = 4096;

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
            let mut at = number * BLOCK;
            let (mut x, mut y) = (at % width, at / width);
            let mut last = None;
            std::array::from_fn(|_| {
                // Behind the end nothing is asked any more.
                if let Some(last) = last.filter(|_| at == count) {
                    return last;
                }
                let value = f(x, y);
                (at, x, last) = (at + 1, x + 1, Some(value));
                if x == width {
                    (x, y) = (0, y + 1);
                }
                value
            })
        };
        Self { size: Size::new(width, height), texels: collect(count, width.max(1), &block) }
    }

    /// Each texel through a function, in parallel.
    pub fn map<Q: Copy + Send + Sync>(&self, f: impl Fn(P) -> Q + Sync) -> Image<Q> {
        let texels = collect(self.texels.len(), LEAST, &|number| block_of(&self.texels, number).map(&f));
        Image { size: self.size, texels }
    }

    /// Two images of one size through a function, in parallel.
    ///
    /// # Panics
    /// When the sizes differ: a bug of the caller.
    pub fn zip<Q: Copy + Send + Sync, R: Copy + Send + Sync>(&self, other: &Image<Q>, f: impl Fn(P, Q) -> R + Sync) -> Image<R> {
        assert_eq!(self.size, other.size(), "images zipped together have one size");
        let texels = collect(self.texels.len(), LEAST, &|number| {
            let (own, others) = (block_of(&self.texels, number), block_of(&other.texels, number));
            std::array::from_fn(|i| f(own[i], others[i]))
        });
        Image { size: self.size, texels }
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
    /// Bilinear sample at a place in texels (centres at +0.5), edges extended.
    pub fn bilinear(&self, x: f32, y: f32) -> P {
        let (x, y) = (x - 0.5, y - 0.5);
        let (x0, y0) = (x.floor(), y.floor());
        let (fx, fy) = (x - x0, y - y0);
        let (x0, y0) = (x0 as isize, y0 as isize);
        P::ZERO
            .plus(self.get_clamped(x0, y0), (1.0 - fx) * (1.0 - fy))
            .plus(self.get_clamped(x0 + 1, y0), fx * (1.0 - fy))
            .plus(self.get_clamped(x0, y0 + 1), (1.0 - fx) * fy)
            .plus(self.get_clamped(x0 + 1, y0 + 1), fx * fy)
    }
}
