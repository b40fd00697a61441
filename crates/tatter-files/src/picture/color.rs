//! From the codes of a file to linear Rec.709: which description of colour a file carries, and what it means.

use moxcms::{
    Chromaticity, CicpProfile, ColorPrimaries, ColorProfile, DataColorSpace, Layout as CmsLayout, MatrixCoefficients,
    ToneCurveEvaluator, ToneReprCurve, TransformF32Executor, TransformOptions, XyY,
};
use std::sync::Arc;

use tatter_core::color::decode_srgb;
use tatter_core::image::{ColorTags, Samples};

use super::Fault;

type Evaluator = Box<dyn ToneCurveEvaluator + Send + Sync>;

/// One component's way from code value 0..1 to light.
pub(super) enum Curve {
    Linear,
    Srgb,
    Gamma(f32),
    /// A curve of a profile or of ITU-T H.273, and a factor behind it.
    Table(Evaluator, f32),
}

impl Curve {
    fn light(&self, code: f32) -> f32 {
        match self {
            Self::Linear => code,
            Self::Srgb => decode_srgb(code),
            Self::Gamma(exponent) => code.max(0.0).powf(*exponent),
            Self::Table(evaluator, factor) => evaluator.evaluate_value(code) * factor,
        }
    }
}

/// How a file's colours become linear Rec.709.
pub(super) enum Light {
    /// A curve for each component, then a matrix unless primaries are Rec.709 already.
    Shaper { curves: Box<[Curve; 3]>, matrix: Option<[[f32; 3]; 3]> },
    /// A profile that is a table: RGB in, sRGB code values out.
    Lut(Arc<TransformF32Executor>),
}

/// A way to linear light, and its name for people.
pub(super) struct Described {
    pub(super) light: Light,
    pub(super) source: &'static str,
}

fn shaper(curve: impl Fn() -> Curve, source: &'static str) -> Described {
    Described { light: Light::Shaper { curves: Box::new([curve(), curve(), curve()]), matrix: None }, source }
}

/// Which description counts: cICP, then the ICC profile, then sRGB, then gAMA with cHRM (PNG third edition, table of
/// precedence in 4.3); with none, whole numbers are sRGB and floats are linear.
pub(super) fn describe(tags: &ColorTags, float: bool) -> Result<Described, Fault> {
    if let Some(described) = tags.cicp.and_then(from_cicp) {
        return Ok(described);
    }
    if let Some(icc) = &tags.icc {
        return from_profile(icc);
    }
    if tags.srgb_intent.is_some() {
        return Ok(shaper(|| Curve::Srgb, "sRGB tag"));
    }
    let matrix = tags.chromaticities.and_then(from_primaries);
    match tags.gamma {
        // The value that stands for sRGB (PNG third edition, 11.3.2.5).
        Some(45_455) if matrix.is_none() => Ok(shaper(|| Curve::Srgb, "gamma tag of sRGB")),
        Some(gamma) if gamma > 0 => {
            let exponent = 100_000.0 / gamma as f32;
            let curves = Box::new(std::array::from_fn(|_| Curve::Gamma(exponent)));
            Ok(Described { light: Light::Shaper { curves, matrix }, source: "gamma tag" })
        }
        _ if float => {
            let curves = Box::new(std::array::from_fn(|_| Curve::Linear));
            Ok(Described { light: Light::Shaper { curves, matrix }, source: "linear file" })
        }
        _ => Ok(shaper(|| Curve::Srgb, "sRGB assumed")),
    }
}

/// ITU-T H.273 code points, full range RGB. Absolute curves are scaled so that reference white is 1: 203 cd/m² for PQ,
/// the signal 0.75 for HLG (ITU-R BT.2408).
fn from_cicp([primaries, transfer, matrix, full_range]: [u8; 4]) -> Option<Described> {
    if matrix != 0 || full_range == 0 {
        return None;
    }
    if transfer == 13 && primaries == 1 {
        return Some(shaper(|| Curve::Srgb, "cICP tag"));
    }
    let profile = CicpProfile {
        color_primaries: primaries.try_into().ok()?,
        transfer_characteristics: transfer.try_into().ok()?,
        matrix_coefficients: MatrixCoefficients::Identity,
        full_range: true,
    };
    let evaluator = || ToneReprCurve::make_cicp_linear_evaluator(profile.transfer_characteristics).ok();
    let factor = match transfer {
        16 => 1.0 / evaluator()?.evaluate_value(PQ_REFERENCE_WHITE),
        18 => 1.0 / evaluator()?.evaluate_value(0.75),
        _ => 1.0,
    };
    let curve = || evaluator().map(|evaluator| Curve::Table(evaluator, factor));
    let matrix = matrix_to_rec709(&ColorProfile::new_from_cicp(profile));
    let curves = Box::new([curve()?, curve()?, curve()?]);
    Some(Described { light: Light::Shaper { curves, matrix }, source: "cICP tag" })
}

/// The PQ signal of 203 cd/m², 58 % (ITU-R BT.2408-7, table 1).
const PQ_REFERENCE_WHITE: f32 = 0.580_689;

fn from_primaries(chromaticities: [u32; 8]) -> Option<[[f32; 3]; 3]> {
    let standard = ColorTags::srgb().chromaticities?;
    if chromaticities.iter().zip(standard).all(|(a, b)| a.abs_diff(b) <= 50) {
        return None;
    }
    let [wx, wy, rx, ry, gx, gy, bx, by] = chromaticities.map(|v| v as f32 / 100_000.0);
    let at = |x, y| Chromaticity { x, y };
    let mut profile = ColorProfile::new_srgb();
    profile.update_rgb_colorimetry(
        XyY { x: f64::from(wx), y: f64::from(wy), yb: 1.0 },
        ColorPrimaries { red: at(rx, ry), green: at(gx, gy), blue: at(bx, by) },
    );
    matrix_to_rec709(&profile)
}

fn matrix_to_rec709(profile: &ColorProfile) -> Option<[[f32; 3]; 3]> {
    let matrix = profile.transform_matrix(&ColorProfile::new_srgb()).v.map(|row| row.map(|v| v as f32));
    let identity = (0..3).all(|i| (0..3).all(|k| (matrix[i][k] - f32::from(u8::from(i == k))).abs() < 1e-3));
    let sound = matrix.as_flattened().iter().all(|v| v.is_finite());
    (sound && !identity).then_some(matrix)
}

fn from_profile(icc: &[u8]) -> Result<Described, Fault> {
    let bad = |why: moxcms::CmsError| Fault::damaged(format!("its colour profile can't be read ({why})"));
    let source = "embedded profile";
    let profile = ColorProfile::new_from_slice(icc).map_err(bad)?;
    let curve = |trc: &ToneReprCurve| trc.make_linear_evaluator().map(|evaluator| Curve::Table(evaluator, 1.0)).map_err(bad);
    match (profile.color_space, &profile.gray_trc) {
        (DataColorSpace::Gray, Some(trc)) => {
            let curves = Box::new([curve(trc)?, curve(trc)?, curve(trc)?]);
            return Ok(Described { light: Light::Shaper { curves, matrix: None }, source });
        }
        (DataColorSpace::Rgb, _) => {}
        _ => return Ok(shaper(|| Curve::Srgb, "sRGB assumed, since its profile is for other colours")),
    }
    if profile.lut_a_to_b_perceptual.is_none()
        && profile.lut_a_to_b_colorimetric.is_none()
        && let (Some(red), Some(green), Some(blue)) = (&profile.red_trc, &profile.green_trc, &profile.blue_trc)
    {
        let curves = Box::new([curve(red)?, curve(green)?, curve(blue)?]);
        return Ok(Described { light: Light::Shaper { curves, matrix: matrix_to_rec709(&profile) }, source });
    }
    let transform = profile
        .create_transform_f32(CmsLayout::Rgb, &ColorProfile::new_srgb(), CmsLayout::Rgb, TransformOptions::default())
        .map_err(bad)?;
    Ok(Described { light: Light::Lut(transform), source })
}

/// Codes to light for one depth: whole numbers by table, so that a profile's curve is asked at most 65536 times.
pub(super) struct Lookup<'a> {
    light: &'a Light,
    tables: Vec<Vec<f32>>,
}

impl<'a> Lookup<'a> {
    pub(super) fn new(light: &'a Light, samples: &Samples) -> Self {
        let steps: u32 = match samples {
            Samples::U8(_) => 255,
            Samples::U16(_) => 65_535,
            _ => 0,
        };
        let tables = match light {
            Light::Shaper { curves, .. } if steps > 0 => {
                curves.iter().map(|curve| (0..=steps).map(|code| curve.light(code as f32 / steps as f32)).collect()).collect()
            }
            _ => Vec::new(),
        };
        Self { light, tables }
    }

    /// One row of RGB code values 0..1 to linear Rec.709, in place; `codes` are the same as whole numbers if they are.
    pub(super) fn row(&self, row: &mut [[f32; 3]], codes: impl Fn(usize, usize) -> Option<usize>) -> Result<(), Fault> {
        match self.light {
            Light::Shaper { curves, matrix } => {
                for (x, texel) in row.iter_mut().enumerate() {
                    for i in 0..3 {
                        texel[i] = match codes(x, i) {
                            Some(code) => self.tables[i][code],
                            None => curves[i].light(texel[i]),
                        };
                    }
                    if let Some(m) = matrix {
                        let [r, g, b] = *texel;
                        *texel = std::array::from_fn(|i| m[i][0] * r + m[i][1] * g + m[i][2] * b);
                    }
                }
            }
            Light::Lut(transform) => {
                let codes = row.as_flattened().to_vec();
                transform
                    .transform(&codes, row.as_flattened_mut())
                    .map_err(|why| Fault::damaged(format!("its colour profile can't be applied ({why})")))?;
                for value in row.as_flattened_mut() {
                    *value = decode_srgb(*value);
                }
            }
        }
        Ok(())
    }
}

/// CMYK samples (0 no ink, 65535 full) to sRGB codes of 16 bits, three a texel, by a profile when there is one that
/// serves; otherwise `(1 - ink) * (1 - black)`. Says whether the profile was used.
pub(super) fn from_inks(inks: &[u16], icc: Option<&[u8]>) -> (Vec<u16>, bool) {
    if let Some(done) = icc.and_then(|icc| inks_by_profile(inks, icc)) {
        return (done, true);
    }
    let full = 65_535_u32;
    let plain = inks
        .as_chunks::<4>()
        .0
        .iter()
        .flat_map(|&[c, m, y, k]| [c, m, y].map(|ink| ((full - u32::from(ink)) * (full - u32::from(k)) / full) as u16));
    (plain.collect(), false)
}

fn inks_by_profile(inks: &[u16], icc: &[u8]) -> Option<Vec<u16>> {
    let profile = ColorProfile::new_from_slice(icc).ok().filter(|profile| profile.color_space == DataColorSpace::Cmyk)?;
    // Four samples in, four out: a CMYK source is read as a layout of four components.
    let transform = profile
        .create_transform_16bit(CmsLayout::Rgba, &ColorProfile::new_srgb(), CmsLayout::Rgb, TransformOptions::default())
        .ok()?;
    let mut codes = vec![0; inks.len() / 4 * 3];
    transform.transform(inks, &mut codes).ok()?;
    Some(codes)
}
