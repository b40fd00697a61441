//! CIELAB (CIE 15, D65 white) and OKLab (Ottosson, "A perceptual color space for image processing", 2020).

use crate::image::LinearRgb;

/// CIELAB under D65.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Lab {
    /// Lightness 0..100.
    pub l: f32,
    /// Green to red.
    pub a: f32,
    /// Blue to yellow.
    pub b: f32,
}

/// Linear Rec.709 to CIE XYZ, D65, rounded as IEC 61966-2-1 amendments print it.
const XYZ_FROM_RGB: [[f32; 3]; 3] =
    [[0.412_456_4, 0.357_576_1, 0.180_437_5], [0.212_672_9, 0.715_152_2, 0.072_175], [0.019_333_9, 0.119_192, 0.950_304_1]];
/// D65, as ASTM E308.
const WHITE: [f32; 3] = [0.950_47, 1.0, 1.088_83];

impl From<LinearRgb> for Lab {
    fn from(rgb: LinearRgb) -> Self {
        let f = |i: usize| {
            let t: f32 = (0..3).map(|j| XYZ_FROM_RGB[i][j] * rgb.0[j]).sum::<f32>() / WHITE[i];
            const KNEE: f32 = 6.0 / 29.0;
            if t > KNEE * KNEE * KNEE { t.cbrt() } else { t / (3.0 * KNEE * KNEE) + 4.0 / 29.0 }
        };
        let (fx, fy, fz) = (f(0), f(1), f(2));
        Self { l: 116.0 * fy - 16.0, a: 500.0 * (fx - fy), b: 200.0 * (fy - fz) }
    }
}

/// OKLab: lightness 0..1 and two opponent axes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct OkLab {
    /// Lightness 0..1.
    pub l: f32,
    /// Green to red.
    pub a: f32,
    /// Blue to yellow.
    pub b: f32,
}

impl From<LinearRgb> for OkLab {
    fn from(LinearRgb([r, g, b]): LinearRgb) -> Self {
        let l = (0.412_221_47 * r + 0.536_332_54 * g + 0.051_445_993 * b).cbrt();
        let m = (0.211_903_5 * r + 0.680_699_5 * g + 0.107_396_96 * b).cbrt();
        let s = (0.088_302_46 * r + 0.281_718_84 * g + 0.629_978_7 * b).cbrt();
        Self {
            l: 0.210_454_26 * l + 0.793_617_8 * m - 0.004_072_047 * s,
            a: 1.977_998_5 * l - 2.428_592_2 * m + 0.450_593_7 * s,
            b: 0.025_904_037 * l + 0.782_771_77 * m - 0.808_675_77 * s,
        }
    }
}

impl From<OkLab> for LinearRgb {
    /// The inverse matrices of the same source.
    fn from(lab: OkLab) -> Self {
        let l = (lab.l + 0.396_337_78 * lab.a + 0.215_803_76 * lab.b).powi(3);
        let m = (lab.l - 0.105_561_346 * lab.a - 0.063_854_17 * lab.b).powi(3);
        let s = (lab.l - 0.089_484_18 * lab.a - 1.291_485_5 * lab.b).powi(3);
        Self([
            4.076_741_7 * l - 3.307_711_6 * m + 0.230_969_94 * s,
            -1.268_438 * l + 2.609_757_4 * m - 0.341_319_4 * s,
            -0.004_196_086_3 * l - 0.703_418_6 * m + 1.707_614_7 * s,
        ])
    }
}
