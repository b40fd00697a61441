//! Torn weave over three backings with exact alpha: what matting is judged on.

use tatter_core::image::{Image, LinearRgb, Unit};
use tatter_core::kernel::gaussian;
use tatter_core::model::Subject;
use tatter_core::rng::{hash_unit, value_noise};
use tatter_core::task::Task;
use tatter_weave::{Cloth, Damage, Kind, Shot, shoot};

use crate::scene::{Spec, dyed};

/// Noise of the photos, as the scenes behind the project's `matting_baselines.csv` had it.
const NOISE: f32 = 0.006;

/// What lies behind.
pub const BACKINGS: [&str; 3] = ["card", "wood", "dark"];

/// Torn weave before anything is laid behind it.
#[derive(Debug)]
pub struct Torn {
    /// Over black.
    black: Image<LinearRgb>,
    /// How much of the backing comes through: known from the same cloth over black and over white.
    through: Image<LinearRgb>,
    /// Exact, lens blur included.
    pub alpha: Image<Unit>,
}

impl Torn {
    /// A rip in a dense ochre twill, or a frayed scrap of it: in open cloth every pixel would be near a pore, and unknown.
    pub fn new(subject: Subject, seed: u64) -> Self {
        let (kind, length, width) = match subject {
            Subject::Damage => (Kind::Rip, 10.0, 4.0),
            Subject::Piece => (Kind::Scrap, 12.0, 11.0),
        };
        let dense = Cloth { unevenness: 0.3, ..dyed("denim", [0.42, 0.26, 0.10], [0.47, 0.31, 0.13]) };
        let damage = vec![Damage { length, width, ..Damage::new(kind) }];
        let woven = Spec { damage, seed, ..Spec::new(dense, 448, 10.0) }.weave();
        // Exposed so that a white backing does not clip; noise is added over the backing.
        let usual = Shot { ripple_mm: 0.0, noise: 0.0, exposure: 0.8, seed, ..Shot::default() };
        let over = |light: f32| {
            let shot = Shot { backing: LinearRgb([light; 3]), ..usual.clone() };
            let Ok(taken) = shoot(&woven.maps, woven.scale, &shot, &Task::new()) else { unreachable!("nobody cancels") };
            taken.photo
        };
        let (black, white) = (over(0.0), over(1.0));
        let through = black.zip(&white, |k, w| LinearRgb([0, 1, 2].map(|c| (w.0[c] - k.0[c]).max(0.0))));
        let alpha = gaussian(&woven.maps.opacity.map(|o| o.0), usual.blur);
        let whole = |a: f32| match a {
            a if a < 0.002 => 0.0,
            a if a > 0.998 => 1.0,
            a => a,
        };
        Self { black, through, alpha: alpha.map(|a| Unit(whole(a))) }
    }

    /// The photo over that backing.
    pub fn over(&self, backing: &str) -> Image<LinearRgb> {
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
pub fn trimap(truth: &Image<Unit>, reach: isize) -> Image<Unit> {
    Image::from_fn(truth.width(), truth.height(), |x, y| {
        let own = truth.get(x, y);
        let near = (-reach..=reach).flat_map(|dy| (-reach..=reach).map(move |dx| (dx, dy)));
        let alike = near.into_iter().all(|(dx, dy)| truth.get_clamped(x as isize + dx, y as isize + dy) == own);
        if alike { own } else { Unit(0.5) }
    })
}
