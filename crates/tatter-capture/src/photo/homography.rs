//! Maps between pictures of one plane.

/// How freely a shot may lie on another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Freedom {
    /// Moved only.
    Shift,
    /// Moved, turned, stretched, skewed.
    Affine,
    /// The same plane seen from elsewhere.
    Projective,
}

impl Freedom {
    /// From the least to the most free.
    pub const ALL: [Self; 3] = [Self::Shift, Self::Affine, Self::Projective];

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Shift => "shift",
            Self::Affine => "affine",
            Self::Projective => "homography",
        }
    }

    /// Numbers to be found.
    pub(super) const fn count(self) -> usize {
        match self {
            Self::Shift => 2,
            Self::Affine => 6,
            Self::Projective => 8,
        }
    }
}

/// A projective map of the plane, row major, the last entry 1; places in pixels, the first centre at (0.5, 0.5).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Homography(pub [[f64; 3]; 3]);

impl Homography {
    /// Nothing moves.
    pub const IDENTITY: Self = Self([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]);

    /// Moved by so many pixels.
    #[must_use]
    pub const fn shift(x: f64, y: f64) -> Self {
        Self([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])
    }

    /// Turned by radians (x towards y) and stretched about a place.
    #[must_use]
    pub fn turn(radians: f64, stretch: f64, [x, y]: [f64; 2]) -> Self {
        let (s, c) = radians.sin_cos();
        let (s, c) = (s * stretch, c * stretch);
        Self([[c, -s, x - c * x + s * y], [s, c, y - s * x - c * y], [0.0, 0.0, 1.0]])
    }

    /// Where a place goes.
    #[inline]
    #[must_use]
    pub fn at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let [a, b, c] = self.0.map(|r| r[0] * x + r[1] * y + r[2]);
        [a / c, b / c]
    }

    /// How places near one move, row major: what the map is to first order.
    #[must_use]
    pub fn slope_at(&self, place: [f64; 2]) -> [[f64; 2]; 2] {
        let [x, y] = place;
        let [ax, ay] = self.at(place);
        let [[a, b, _], [d, e, _], [g, h, i]] = self.0;
        let w = g * x + h * y + i;
        [[(a - g * ax) / w, (b - h * ax) / w], [(d - g * ay) / w, (e - h * ay) / w]]
    }

    /// By how much a small area grows there; below 0 where it is mirrored.
    #[must_use]
    pub fn area_at(&self, place: [f64; 2]) -> f64 {
        let [[a, b], [c, d]] = self.slope_at(place);
        a * d - b * c
    }

    /// First `first`, then this.
    #[must_use]
    pub fn after(&self, first: &Self) -> Self {
        let entry = |i: usize, j: usize| (0..3).map(|k| self.0[i][k] * first.0[k][j]).sum::<f64>();
        let m: [[f64; 3]; 3] = std::array::from_fn(|i| std::array::from_fn(|j| entry(i, j)));
        Self(m.map(|row| row.map(|v| v / m[2][2])))
    }

    /// The same map between pictures whose pixels are `factor` times as many on a side.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        let [[a, b, c], [d, e, f], [g, h, i]] = self.0;
        Self([[a, b, c * factor], [d, e, f * factor], [g / factor, h / factor, i]])
    }

    /// The way back.
    #[must_use]
    pub fn inverse(&self) -> Self {
        let m = &self.0;
        let minor = |i: usize, j: usize| {
            let (r, c) = ([(i + 1) % 3, (i + 2) % 3], [(j + 1) % 3, (j + 2) % 3]);
            m[r[0]][c[0]] * m[r[1]][c[1]] - m[r[0]][c[1]] * m[r[1]][c[0]]
        };
        let inverse: [[f64; 3]; 3] = std::array::from_fn(|i| std::array::from_fn(|j| minor(j, i)));
        Self(inverse.map(|row| row.map(|v| v / inverse[2][2])))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back_is_nowhere() {
        let map = Homography([[1.02, -0.03, 4.0], [0.01, 0.98, -7.0], [1e-5, -2e-5, 1.0]]);
        for place in [[0.5, 0.5], [300.0, 20.0], [-40.0, 900.0]] {
            let back = map.inverse().at(map.at(place));
            assert!((back[0] - place[0]).hypot(back[1] - place[1]) < 1e-9, "{place:?} comes back as {back:?}");
            let [x, y] = map.scaled(2.0).at(place.map(|v| 2.0 * v));
            let [wx, wy] = map.at(place).map(|v| 2.0 * v);
            assert!((x - wx).hypot(y - wy) < 1e-9, "twice as large, {place:?} goes twice as far");
        }
        let (at, step) = ([300.0, 20.0], 1e-4);
        let near = [map.at([at[0] + step, at[1]]), map.at([at[0], at[1] + step])];
        let slope = map.slope_at(at);
        for (i, row) in slope.iter().enumerate() {
            for (j, s) in row.iter().enumerate() {
                assert!((s - (near[j][i] - map.at(at)[i]) / step).abs() < 1e-5, "slope {i} {j} is as differences say");
            }
        }
        let quarter = Homography::turn(std::f64::consts::FRAC_PI_2, 2.0, [10.0, 10.0]).at([11.0, 10.0]);
        assert!((quarter[0] - 10.0).hypot(quarter[1] - 12.0) < 1e-9, "a quarter turn takes x to y: {quarter:?}");
    }
}
