//! Made scenes of torn weave over three backings with exact alpha; shared by a test and the example `matting_table`.

use tatter_cloth::isolate::matting::MattingSettings;
use tatter_cloth::made::{Damage, SceneSpec, shoot};
use tatter_core::image::{Image, LinearRgb, Unit};
use tatter_core::kernel::gaussian;
use tatter_core::model::Subject;
use tatter_core::rng::{hash_unit, value_noise};
use tatter_core::units::Mm;

/// Noise of the made photos, as the scenes behind `matting_baselines.csv` had it.
const NOISE: f32 = 0.006;

/// What lies behind.
pub(crate) const BACKINGS: [&str; 3] = ["card", "wood", "dark"];

/// As `isolate` solves.
pub(crate) fn settings() -> MattingSettings {
    MattingSettings { epsilon: 1e-6, most_rounds: 60, tolerance: 1e-3, ..Default::default() }
}

/// Torn weave before anything is laid behind it.
pub(crate) struct Torn {
    /// Over black.
    black: Image<LinearRgb>,
    /// How much of the backing comes through: known from the same cloth over black and over white.
    through: Image<LinearRgb>,
    /// Exact, lens blur included.
    pub(crate) alpha: Image<Unit>,
}

impl Torn {
    /// A rip in cloth, or a frayed scrap with a hole.
    pub(crate) fn new(subject: Subject) -> Self {
        let damage = match subject {
            Subject::Damage => Damage::RipAlongWeft { length: Mm(30.0), opening: Mm(11.0), surviving: 0.5 },
            Subject::Piece => Damage::MothHole { diameter: Mm(6.0) },
        };
        let over = |light: f32| SceneSpec { damage, subject, backing: LinearRgb([light; 3]), noise: 0.0, ..SceneSpec::default() };
        let (black, white) = (shoot(&over(0.0)), shoot(&over(1.0)));
        let through = black.photo.zip(&white.photo, |k, w| LinearRgb([0, 1, 2].map(|c| (w.0[c] - k.0[c]).max(0.0))));
        let alpha = gaussian(&black.truth.opacity.map(|o| o.0), over(0.0).blur);
        let whole = |a: f32| match a {
            a if a < 0.002 => 0.0,
            a if a > 0.998 => 1.0,
            a => a,
        };
        Self { black: black.photo, through, alpha: alpha.map(|a| Unit(whole(a))) }
    }

    /// The photo over that backing.
    pub(crate) fn over(&self, backing: &str) -> Image<LinearRgb> {
        Image::from_fn(self.black.width(), self.black.height(), |x, y| {
            let behind = behind(backing, x as f32, y as f32);
            let (k, t) = (self.black.get(x, y).0, self.through.get(x, y).0);
            LinearRgb([0, 1, 2].map(|c| {
                let clean = k[c] + t[c] * behind[c];
                // Three summed uniforms of deviation 1/2 each are nearly a bell of deviation 1 once doubled by 2/sqrt(3).
                let bell: f32 = (0..3).map(|r| hash_unit(7 + 3 * c as u64 + r, x as u32, y as u32) - 0.5).sum::<f32>() * 2.0;
                (clean + NOISE * (clean.max(0.01) / 0.2).sqrt() * bell).max(0.0)
            }))
        })
    }
}

fn behind(backing: &str, x: f32, y: f32) -> [f32; 3] {
    match backing {
        "card" => [0.75, 0.76, 0.74],
        "dark" => [0.02, 0.02, 0.022],
        _ => {
            // Growth rings, wavering; earlywood lighter.
            let ring = y / 17.0 + 1.3 * value_noise(5, x / 190.0, y / 60.0) + 0.15 * value_noise(6, x / 40.0, y / 3.0);
            let late = (0.5 + 0.5 * (ring * std::f32::consts::TAU).sin()).powi(2);
            let grain = 1.0 + 0.08 * value_noise(8, x / 25.0, y / 1.5);
            [0.46, 0.30, 0.17].map(|v| v * grain * (1.0 - 0.45 * late))
        }
    }
}

/// Known beyond `reach` pixels of any fractional one.
pub(crate) fn trimap(truth: &Image<Unit>, reach: isize) -> Image<Unit> {
    Image::from_fn(truth.width(), truth.height(), |x, y| {
        let own = truth.get(x, y);
        let near = (-reach..=reach).flat_map(|dy| (-reach..=reach).map(move |dx| (dx, dy)));
        let alike = near.into_iter().all(|(dx, dy)| truth.get_clamped(x as isize + dx, y as isize + dy) == own);
        if alike { own } else { Unit(0.5) }
    })
}
