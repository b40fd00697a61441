//! Angles: radians inside, degrees in files and on screens.

/// An angle in radians, counter-clockwise from image right as seen (y up), unless an item says otherwise.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Angle(f32);

impl Angle {
    /// No turn.
    pub const ZERO: Self = Self(0.0);

    /// From radians.
    pub const fn radians(radians: f32) -> Self {
        Self(radians)
    }

    /// From degrees.
    pub fn degrees(degrees: f32) -> Self {
        Self(degrees.to_radians())
    }

    /// In radians.
    pub const fn to_radians(self) -> f32 {
        self.0
    }

    /// In degrees.
    pub fn to_degrees(self) -> f32 {
        self.0.to_degrees()
    }

    /// Sine and cosine.
    pub fn sin_cos(self) -> (f32, f32) {
        self.0.sin_cos()
    }

    /// The same *line* (threads have no front and back) in 0..180 degrees.
    #[must_use]
    pub fn as_line(self) -> Self {
        let turned = self.0.rem_euclid(std::f32::consts::PI);
        Self(if turned >= std::f32::consts::PI { 0.0 } else { turned })
    }
}

impl std::ops::Add for Angle {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl std::ops::Sub for Angle {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl std::ops::Neg for Angle {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::Angle;

    #[test]
    fn lines_have_no_direction() {
        for (given, line) in [(-90.0, 90.0), (270.0, 90.0), (180.0, 0.0), (45.0, 45.0), (-1.0, 179.0)] {
            let got = Angle::degrees(given).as_line().to_degrees();
            assert!((got - line).abs() < 1e-3, "{given} became {got}, not {line}");
        }
    }
}
