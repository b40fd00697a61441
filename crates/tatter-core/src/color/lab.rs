//! CIELAB (CIE 15, D65 white) and OKLab (Ottosson, "A perceptual color space for image processing", 2020).

use glam::Vec3A;

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

/// The matrices of the source, and their inverses as it gives them.
const CONES_FROM_RGB: [[f32; 3]; 3] = [
    [0.412_221_47, 0.536_332_54, 0.051_445_993],
    [0.211_903_5, 0.680_699_5, 0.107_396_96],
    [0.088_302_46, 0.281_718_84, 0.629_978_7],
];
const LAB_FROM_ROOTS: [[f32; 3]; 3] = [
    [0.210_454_26, 0.793_617_8, -0.004_072_047],
    [1.977_998_5, -2.428_592_2, 0.450_593_7],
    [0.025_904_037, 0.782_771_77, -0.808_675_77],
];
/// Of a and b; lightness counts whole.
const ROOTS_FROM_LAB: [[f32; 2]; 3] =
    [[0.396_337_78, 0.215_803_76], [-0.105_561_346, -0.063_854_17], [-0.089_484_18, -1.291_485_5]];
const RGB_FROM_CONES: [[f32; 3]; 3] = [
    [4.076_741_7, -3.307_711_6, 0.230_969_94],
    [-1.268_438, 2.609_757_4, -0.341_319_4],
    [-0.004_196_086_3, -0.703_418_6, 1.707_614_7],
];

/// Bits of two thirds of the exponent's offset, less what leaves the guess of a cube root within 5 % either way.
const GUESS: u32 = 709_921_077;

/// Cube roots of three numbers at once, several times as fast as the library's one by one and, but for one in many thousands that is
/// off by its last bit, the same: a guess from the bits, then Halley's iteration, which triples the digits that are right, in f32 and
/// in f64.
#[inline]
fn cube_roots(numbers: [f32; 3]) -> [f32; 3] {
    let v = Vec3A::from(numbers);
    // Beyond these a cube would leave the range of f32, or the bits are not those of an exponent.
    if !(v.min_element() >= 1e-36 && v.max_element() <= 1e36) {
        return numbers.map(f32::cbrt);
    }
    let root = Vec3A::from(numbers.map(|v| f32::from_bits(v.to_bits() / 3 + GUESS)));
    let cube = root * root * root;
    let root: [f32; 3] = (root * ((cube + 2.0 * v) / (2.0 * cube + v))).into();
    std::array::from_fn(|i| {
        let (v, root) = (f64::from(numbers[i]), f64::from(root[i]));
        let cube = root * root * root;
        (root * ((cube + 2.0 * v) / (2.0 * cube + v))) as f32
    })
}

impl From<LinearRgb> for OkLab {
    fn from(LinearRgb(rgb): LinearRgb) -> Self {
        let times = |m: [f32; 3], v: [f32; 3]| m[0] * v[0] + m[1] * v[1] + m[2] * v[2];
        let roots = cube_roots(CONES_FROM_RGB.map(|m| times(m, rgb)));
        let [l, a, b] = LAB_FROM_ROOTS.map(|m| times(m, roots));
        Self { l, a, b }
    }
}

/// The cube root of one of many numbers, so that a loop works on several at once: a guess from the bits, then Halley's iteration twice.
/// Right but for the last digit or two; nothing's is next to nothing.
#[inline(always)]
fn cube_root(v: f32) -> f32 {
    let size = v.abs();
    let mut root = f32::from_bits(size.to_bits() / 3 + GUESS);
    for _ in 0..2 {
        let cube = root * root * root;
        root *= (cube + 2.0 * size) / (2.0 * cube + size);
    }
    root.copysign(v)
}

/// Many colours as [`OkLab`] has them, `[red, green, blue]` to `[l, a, b]`, to within a millionth. To be used within a function that may
/// use the processor's widest registers.
#[inline(always)]
pub fn oklab_of_many<const N: usize>([r, g, b]: &[[f32; N]; 3]) -> [[f32; N]; 3] {
    let mut lab = [[0.0; N]; 3];
    for i in 0..N {
        let root = |m: [f32; 3]| cube_root(m[0] * r[i] + m[1] * g[i] + m[2] * b[i]);
        let cones = [root(CONES_FROM_RGB[0]), root(CONES_FROM_RGB[1]), root(CONES_FROM_RGB[2])];
        for (lab, m) in lab.iter_mut().zip(LAB_FROM_ROOTS) {
            lab[i] = m[0] * cones[0] + m[1] * cones[1] + m[2] * cones[2];
        }
    }
    lab
}

/// The way back from [`oklab_of_many`].
#[inline(always)]
pub fn linear_of_many<const N: usize>([l, a, b]: &[[f32; N]; 3]) -> [[f32; N]; 3] {
    let mut rgb = [[0.0; N]; 3];
    for i in 0..N {
        let cube = |m: [f32; 2]| {
            let root = l[i] + m[0] * a[i] + m[1] * b[i];
            root * root * root
        };
        let cones = [cube(ROOTS_FROM_LAB[0]), cube(ROOTS_FROM_LAB[1]), cube(ROOTS_FROM_LAB[2])];
        for (rgb, m) in rgb.iter_mut().zip(RGB_FROM_CONES) {
            rgb[i] = m[0] * cones[0] + m[1] * cones[1] + m[2] * cones[2];
        }
    }
    rgb
}

impl From<OkLab> for LinearRgb {
    fn from(lab: OkLab) -> Self {
        let cones = ROOTS_FROM_LAB.map(|m| (lab.l + m[0] * lab.a + m[1] * lab.b).powi(3));
        Self(RGB_FROM_CONES.map(|m| m[0] * cones[0] + m[1] * cones[1] + m[2] * cones[2]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Beside the root of the standard library in twice the digits, rounded.
    #[test]
    fn cube_roots_are_the_nearest_numbers() {
        let (mut tried, mut off) = (0, 0);
        for bits in (0..=f32::INFINITY.to_bits()).step_by(997) {
            let v = f32::from_bits(bits);
            let got = cube_roots([v, 2.0, 0.75]);
            let wanted = f64::from(v).cbrt() as f32;
            let apart = got[0].to_bits().abs_diff(wanted.to_bits());
            assert!(apart <= 1, "the root of {v:e} is {wanted:e}, not {:e}", got[0]);
            assert!(got[1..] == [2f32.cbrt(), 0.75f32.cbrt()], "beside {v:e}: {got:?}");
            tried += 1;
            off += apart;
        }
        assert!(tried > 2_000_000 && off < tried / 10_000, "{off} of {tried} are off by their last bit");
        assert_eq!(cube_roots([-8.0, 0.0, 1.0]), [-2.0, 0.0, 1.0], "also of what is not above nothing");
        assert!(cube_roots([f32::NAN; 3]).iter().all(|v| v.is_nan()), "what is no number has no root");
    }

    /// Colours all over the cube, and a little beyond it, beside one at a time.
    #[test]
    fn many_at_once_are_as_one_at_a_time() {
        let mut rng = crate::rng::Rng::new(5);
        for _ in 0..2000 {
            let rgb: [[f32; 8]; 3] = std::array::from_fn(|_| std::array::from_fn(|_| 1.2 * rng.unit() - 0.1));
            let lab = oklab_of_many(&rgb);
            let back = linear_of_many(&lab);
            for i in 0..8 {
                let one = OkLab::from(LinearRgb([rgb[0][i], rgb[1][i], rgb[2][i]]));
                let off = (lab[0][i] - one.l).abs().max((lab[1][i] - one.a).abs()).max((lab[2][i] - one.b).abs());
                assert!(off < 1e-6, "{one:?} is off by {off}");
                let light = LinearRgb::from(OkLab { l: lab[0][i], a: lab[1][i], b: lab[2][i] });
                let off = (0..3).map(|k| (back[k][i] - light.0[k]).abs()).fold(0.0, f32::max);
                assert!(off < 1e-6, "{one:?} comes back off by {off}");
            }
        }
        let black = oklab_of_many(&[[0.0; 4]; 3]);
        assert!(black.as_flattened().iter().all(|v| v.abs() < 1e-12), "black stays black: {black:?}");
    }
}
