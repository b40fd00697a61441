//! Where the lamps stood, and whether they stood well.

use tatter_core::angle::Angle;
use tatter_core::units::Mm;

use super::linear::eigen;

/// The lamp of one shot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lamp {
    /// Unit vector from the cloth in the middle of the picture towards the lamp: x right, y up, z to the camera.
    pub toward: [f32; 3],
    /// How far from the middle of the picture it stood; `None`: so far that its rays are parallel.
    pub distance: Option<Mm>,
    /// Its shot was divided by a shot of a flat matte card under the same lamp.
    pub by_card: bool,
}

impl Lamp {
    /// A lamp far away.
    pub const fn far(toward: [f32; 3]) -> Self {
        Self { toward, distance: None, by_card: false }
    }

    /// What the readings of its shot are to a place `x` right of, `y` above and `z` in front of the cloth in the middle of the picture,
    /// mm: the reading is the dye times the product of this and the normal. A lamp that is near stands elsewhere for every place, and
    /// its light falls with the square of the distance (one in the middle of the picture); a card has taken that out, and its own slant.
    #[must_use]
    pub fn at(&self, [x, y, z]: [f32; 3]) -> [f32; 3] {
        let (toward, fall) = match self.distance {
            None => (self.toward, 1.0),
            Some(distance) => {
                let d = distance.get();
                let v = [self.toward[0] * d - x, self.toward[1] * d - y, self.toward[2] * d - z];
                let length = v.iter().map(|c| c * c).sum::<f32>().sqrt().max(1e-3 * d);
                (v.map(|c| c / length), (d / length) * (d / length))
            }
        };
        let scale = if self.by_card { 1.0 / toward[2].max(0.05) } else { fall };
        toward.map(|c| c * scale)
    }

    /// How high above the cloth it stood.
    #[must_use]
    pub fn elevation(&self) -> Angle {
        Angle::radians(self.toward[2].clamp(-1.0, 1.0).asin())
    }
}

/// How well lamps stand around the cloth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arrangement {
    /// Largest over smallest singular value of their directions: 1 at best, infinite when they lie in one plane.
    pub condition: f32,
    /// Elevation of the lowest.
    pub lowest: Angle,
    /// Elevation of the highest.
    pub highest: Angle,
}

impl Arrangement {
    /// Largest condition that is worked with: normals are off by the condition times the noise, and a ring of lamps 88 degrees above the
    /// cloth has 40.
    pub const MOST: f32 = 40.0;

    /// Of some lamps.
    #[must_use]
    pub fn of(lamps: &[Lamp]) -> Self {
        let mut gram = [0.0f64; 9];
        for lamp in lamps {
            let l = lamp.toward.map(f64::from);
            for (at, cell) in gram.iter_mut().enumerate() {
                *cell += l[at / 3] * l[at % 3];
            }
        }
        let (values, _) = eigen(&gram, 3);
        let (most, least) = (values[0], values[2]);
        let condition = if least > 1e-12 * most { (most / least).sqrt() as f32 } else { f32::INFINITY };
        let heights = || lamps.iter().map(|lamp| lamp.elevation().to_radians());
        Self {
            condition,
            lowest: Angle::radians(heights().fold(f32::INFINITY, f32::min)),
            highest: Angle::radians(heights().fold(f32::NEG_INFINITY, f32::max)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(count: usize, elevation: f32) -> Vec<Lamp> {
        let (up, flat) = Angle::degrees(elevation).sin_cos();
        let turn = |i: usize| Angle::degrees(360.0 * i as f32 / count as f32).sin_cos();
        (0..count).map(|i| Lamp::far([turn(i).1 * flat, turn(i).0 * flat, up])).collect()
    }

    #[test]
    fn condition_of_a_ring_follows_from_its_elevation() {
        // Of a ring, the Gram matrix is f/2 cos² e, f/2 cos² e, f sin² e: the condition is √2 tan e.
        for (count, elevation) in [(4, 65.0f32), (8, 60.0), (16, 80.0)] {
            let found = Arrangement::of(&ring(count, elevation));
            let known = 2f32.sqrt() * elevation.to_radians().tan();
            assert!(
                (found.condition / known - 1.0).abs() < 1e-3,
                "{count} lamps at {elevation}: {} for {known}",
                found.condition
            );
            assert!((found.lowest.to_degrees() - elevation).abs() < 1e-2, "lowest {}", found.lowest.to_degrees());
        }
        let row: Vec<Lamp> = [0.0f32, 0.3, -0.6].into_iter().map(|x| Lamp::far([x, 0.0, (1.0 - x * x).sqrt()])).collect();
        assert!(Arrangement::of(&row).condition > Arrangement::MOST, "lamps in one row see no slope across it");
    }

    #[test]
    fn a_near_lamp_stands_elsewhere_for_a_place_aside() {
        // 100 mm wide under a lamp 500 mm above: 5.7 degrees off at the rim (algorithms.md 3.4).
        let lamp = Lamp { toward: [0.0, 0.0, 1.0], distance: Some(Mm(500.0)), by_card: false };
        let l = lamp.at([50.0, 0.0, 0.0]);
        assert!(((-l[0] / l[2]).atan().to_degrees() - 5.71).abs() < 0.01, "{l:?}");
        let fall = l.iter().map(|c| c * c).sum::<f32>().sqrt();
        assert!((fall - 500.0f32.powi(2) / (500.0f32.powi(2) + 50.0f32.powi(2))).abs() < 1e-5, "inverse square: {fall}");
    }
}
