//! Whose texel is it: the face that shows it, and for gutter texels the nearest face.

use super::plan::{Bounds, Triangle};

/// No face.
pub(super) const NOBODY: u32 = u32::MAX;

/// Who owns each texel of a window.
#[derive(Debug)]
pub(super) struct Owners {
    window: Bounds,
    first: Vec<u32>,
    second: Vec<u32>,
}

impl Owners {
    /// Rasterise faces over `window`: the first to hold a texel's middle owns it; a second that holds it well inside shares it.
    pub(super) fn new(window: Bounds, faces: impl Iterator<Item = (u32, Triangle, Bounds)>) -> Self {
        let (width, height) = ((window.x1 - window.x0) as usize, (window.y1 - window.y0) as usize);
        let mut owners = Self { window, first: vec![NOBODY; width * height], second: vec![NOBODY; width * height] };
        // Deep enough that neighbours along a shared edge never count as sharing.
        const WELL_INSIDE: f64 = 1e-2;
        let mut first_depth = vec![0f32; width * height];
        for (face, triangle, bounds) in faces {
            let part = bounds.intersect(window);
            for y in part.y0..part.y1 {
                for x in triangle.columns(y, part.x0, part.x1) {
                    let depth = triangle.depth(x, y);
                    let i = owners.index(x, y);
                    if owners.first[i] == NOBODY {
                        owners.first[i] = face;
                        first_depth[i] = depth as f32;
                    } else if depth > WELL_INSIDE && f64::from(first_depth[i]) > WELL_INSIDE {
                        owners.second[i] = face;
                    }
                }
            }
        }
        owners
    }

    fn index(&self, x: i64, y: i64) -> usize {
        ((y - self.window.y0) * (self.window.x1 - self.window.x0) + (x - self.window.x0)) as usize
    }

    /// The face that owns a texel of the window, or [`NOBODY`].
    pub(super) fn owner(&self, x: i64, y: i64) -> u32 {
        self.first[self.index(x, y)]
    }

    /// Another face that shows the same texel, or [`NOBODY`].
    pub(super) fn sharer(&self, x: i64, y: i64) -> u32 {
        self.second[self.index(x, y)]
    }

    /// For each texel of `part` that nobody owns: the owner of the nearest owned texel within `reach`, else [`NOBODY`]. Owned
    /// texels get [`NOBODY`]. The same answer for any window that holds `part` and `reach` around it.
    pub(super) fn gutter(&self, part: Bounds, reach: i64) -> Vec<u32> {
        let width = (part.x1 - part.x0) as usize;
        if !self.first.contains(&NOBODY) {
            return vec![NOBODY; width * (part.y1 - part.y0) as usize];
        }
        let (top, bottom) = ((part.y0 - reach).max(self.window.y0), (part.y1 + reach).min(self.window.y1));
        // Nearest owned texel along each row: distance and owner.
        let rows: Vec<Vec<(i64, u32)>> = (top..bottom).map(|y| self.along_row(y, part, reach)).collect();
        let mut out = vec![NOBODY; width * (part.y1 - part.y0) as usize];
        for y in part.y0..part.y1 {
            for x in part.x0..part.x1 {
                let column = (x - part.x0) as usize;
                if self.owner(x, y) != NOBODY {
                    continue;
                }
                let (mut best, mut owner) = (reach * reach + 1, NOBODY);
                for dy in -reach..=reach {
                    if y + dy < top || y + dy >= bottom {
                        continue;
                    }
                    let (dx, face) = rows[(y + dy - top) as usize][column];
                    if face != NOBODY && dx * dx + dy * dy < best {
                        (best, owner) = (dx * dx + dy * dy, face);
                    }
                }
                out[(y - part.y0) as usize * width + column] = owner;
            }
        }
        out
    }

    fn along_row(&self, y: i64, part: Bounds, reach: i64) -> Vec<(i64, u32)> {
        let (left, right) = ((part.x0 - reach).max(self.window.x0), (part.x1 + reach).min(self.window.x1));
        let mut nearest = vec![(i64::MAX, NOBODY); (part.x1 - part.x0) as usize];
        let mut last: Option<(i64, u32)> = None;
        for x in left..right {
            let owner = self.owner(x, y);
            if owner != NOBODY {
                last = Some((x, owner));
            }
            if let (true, Some((at, face))) = (x >= part.x0 && x < part.x1, last.filter(|(at, _)| x - at <= reach)) {
                nearest[(x - part.x0) as usize] = (x - at, face);
            }
        }
        last = None;
        for x in (left..right).rev() {
            let owner = self.owner(x, y);
            if owner != NOBODY {
                last = Some((x, owner));
            }
            if let (true, Some((at, face))) = (x >= part.x0 && x < part.x1, last.filter(|(at, _)| at - x <= reach)) {
                let slot = &mut nearest[(x - part.x0) as usize];
                if slot.1 == NOBODY || at - x < slot.0 {
                    *slot = (at - x, face);
                }
            }
        }
        nearest
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use glam::DVec2;

    #[test]
    fn gutter_goes_to_the_nearest_island_and_no_further_than_its_reach() {
        let window = Bounds { x0: 0, y0: 0, x1: 40, y1: 20 };
        let quad = |x0: f64, x1: f64| {
            [[(x0, 0.0), (x1, 0.0), (x1, 20.0)], [(x0, 0.0), (x1, 20.0), (x0, 20.0)]]
                .map(|t| Triangle::new(t.map(|(x, y)| DVec2::new(x, y))).unwrap())
        };
        let faces = quad(0.0, 10.0).into_iter().map(|t| (0, t)).chain(quad(16.0, 20.0).into_iter().map(|t| (1, t)));
        let owners = Owners::new(window, faces.map(|(face, t)| (face, t, window)));
        let gutter = owners.gutter(window, 8);
        let row: Vec<u32> = (0..40).map(|x| gutter[10 * 40 + x]).collect();
        assert!(row[..10].iter().chain(&row[16..20]).all(|&f| f == NOBODY), "owned texels are nobody's gutter");
        assert_eq!(&row[10..16], &[0, 0, 0, 1, 1, 1], "each half of the gap goes to its side");
        assert_eq!((row[27], row[28]), (1, NOBODY), "eight texels and no more");
    }
}
