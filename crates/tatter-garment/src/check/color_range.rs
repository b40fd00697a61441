//! Whether a base colour can be the colour of cloth.

use tatter_core::color::encode_srgb;
use tatter_core::image::LinearRgb;

/// Darkest and lightest sRGB code, 0..255, that a surface which is no metal should have: the recommendation for base colours
/// of the Khronos 3D Commerce real-time asset creation guidelines.
pub(super) const PLAUSIBLE: (f32, f32) = (30.0, 243.0);

/// More than this share outside is no accident of a few black threads.
const TOLERATED: f64 = 0.05;

/// Texels too dark and too light.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct ColorCount {
    all: usize,
    dark: usize,
    light: usize,
}

impl ColorCount {
    pub(super) fn add(&mut self, color: LinearRgb) {
        let code = |v: f32| 255.0 * encode_srgb(v);
        let (low, high) = PLAUSIBLE;
        self.all += 1;
        // Too dark in all components, too light in any: a saturated dye has one dark component by right.
        self.dark += usize::from(color.0.iter().all(|&v| code(v) < low - 0.5));
        self.light += usize::from(color.0.iter().any(|&v| code(v) > high + 0.5));
    }

    /// What is wrong, if anything.
    pub(super) fn complaint(&self) -> Option<String> {
        let share = |n: usize| n as f64 / self.all.max(1) as f64;
        let (dark, light) = (share(self.dark), share(self.light));
        let (low, high) = PLAUSIBLE;
        (dark > TOLERATED || light > TOLERATED).then(|| {
            format!(
                "{:.0} % of the colour is darker than sRGB {low:.0} and {:.0} % lighter than {high:.0}, outside what cloth reflects",
                100.0 * dark,
                100.0 * light
            )
        })
    }
}
