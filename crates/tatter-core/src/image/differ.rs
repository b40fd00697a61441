//! Where two pictures differ.

use super::{Rect, Samples, Stored};

impl Stored {
    /// How many texels differ in any sample; floats are compared by value.
    ///
    /// # Panics
    /// When size, components or depth differ: a bug of the caller.
    pub fn differing_texels(&self, other: &Self) -> usize {
        assert!(self.size == other.size, "compared pictures have one size");
        self.differing_from(other, 0, 0)
    }

    /// How many texels of `part`, laid over this picture with its first texel at `(x, y)`, would change it; floats are compared by value.
    ///
    /// # Panics
    /// When it reaches outside or differs in components or depth: a bug of the caller.
    pub fn differing_from(&self, part: &Self, x: usize, y: usize) -> usize {
        assert!(
            x + part.size.width <= self.size.width && y + part.size.height <= self.size.height,
            "a compared part lies inside"
        );
        assert!(self.layout == part.layout, "compared pictures have one layout");
        let n = self.layout.components();
        fn texels<T: PartialEq, const N: usize>(a: &[T], b: &[T]) -> usize {
            a.as_chunks::<N>().0.iter().zip(b.as_chunks::<N>().0).filter(|(a, b)| a != b).count()
        }
        fn differ<T: PartialEq>(a: &[T], b: &[T], n: usize) -> usize {
            // Most runs are equal and are passed over at once.
            let run = |(a, b): (&[T], &[T])| match n {
                _ if a == b => 0,
                1 => texels::<T, 1>(a, b),
                2 => texels::<T, 2>(a, b),
                3 => texels::<T, 3>(a, b),
                _ => texels::<T, 4>(a, b),
            };
            a.chunks(64 * n).zip(b.chunks(64 * n)).map(run).sum()
        }
        let length = part.size.width * n;
        let rows = (0..part.size.height).map(|row| (((y + row) * self.size.width + x) * n, row * length));
        fn count<T: PartialEq>(a: &[T], b: &[T], [n, length]: [usize; 2], rows: impl Iterator<Item = (usize, usize)>) -> usize {
            rows.map(|(at, own)| differ(&a[at..at + length], &b[own..own + length], n)).sum()
        }
        match (&self.samples, &part.samples) {
            (Samples::U8(a), Samples::U8(b)) => count(a, b, [n, length], rows),
            (Samples::U16(a), Samples::U16(b)) => count(a, b, [n, length], rows),
            (Samples::F16(a), Samples::F16(b)) => count(a, b, [n, length], rows),
            (Samples::F32(a), Samples::F32(b)) => count(a, b, [n, length], rows),
            _ => unreachable!("compared pictures have one depth"),
        }
    }

    /// The smallest part within `part` outside which all of it is the same in both; `None` when nothing differs. Floats are compared by value.
    ///
    /// # Panics
    /// When size, components or depth differ, or `part` reaches outside: a bug of the caller.
    pub fn differing_part(&self, other: &Self, part: Rect) -> Option<Rect> {
        assert!(self.size == other.size && self.layout == other.layout, "compared pictures have one size and one layout");
        fn around<T: PartialEq>(a: &[T], b: &[T], [width, n]: [usize; 2], part: Rect) -> Option<Rect> {
            let mut found: Option<[usize; 4]> = None;
            for y in part.y..part.bottom() {
                let row = (y * width + part.x) * n..(y * width + part.right()) * n;
                let (a, b) = (&a[row.clone()], &b[row]);
                let mut differing = a.iter().zip(b).enumerate().filter(|(_, (a, b))| a != b).map(|(at, _)| part.x + at / n);
                let Some(first) = differing.next() else { continue };
                let last = differing.next_back().unwrap_or(first);
                let [x0, y0, x1, _] = found.unwrap_or([first, y, last, y]);
                found = Some([x0.min(first), y0, x1.max(last), y]);
            }
            found.map(|[x0, y0, x1, y1]| Rect::new(x0, y0, x1 + 1 - x0, y1 + 1 - y0))
        }
        let shape = [self.size.width, self.layout.components()];
        match (&self.samples, &other.samples) {
            (Samples::U8(a), Samples::U8(b)) => around(a, b, shape, part),
            (Samples::U16(a), Samples::U16(b)) => around(a, b, shape, part),
            (Samples::F16(a), Samples::F16(b)) => around(a, b, shape, part),
            (Samples::F32(a), Samples::F32(b)) => around(a, b, shape, part),
            _ => unreachable!("compared pictures have one depth"),
        }
    }
}
