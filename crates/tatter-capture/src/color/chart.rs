//! A correction from a 24-patch chart in the photo.

use tatter_core::image::{Image, LinearRgb};
use tatter_core::model::KnownSize;
use tatter_core::stats::{median, quantile};
use tatter_core::units::Mm;

use super::fit::{Correction, Form, difference, fit};
use super::patches::{COLUMNS, Edition, PATCHES, ROWS};
use super::{BURNT, ColorError};
use crate::plane::corners_onto;

/// Share of the chart's size that its frame may take on either side, tried in turn: corners may be those of the patches or of the frame.
const FRAMES: [f64; 6] = [0.0, 0.015, 0.03, 0.045, 0.06, 0.08];
/// Share of a patch's cell that is read, and places along it.
const READ: f64 = 0.4;
const TAPS: usize = 15;
/// Burnt-out patches that can be left out.
const MOST_BURNT: usize = 3;
/// Mean CIEDE2000 left, above which it is no such chart; cameras that bend tones keep below.
const MOST_LEFT: f32 = 7.0;
/// Light below which weights no longer grow: dark patches are noise.
const DARK: f32 = 0.02;

/// A correction by a chart.
#[derive(Clone, Debug)]
pub struct ChartFit {
    /// The corners it was read by, in order around it, photo pixels.
    pub corners: [[f32; 2]; 4],
    /// What to do.
    pub correction: Correction,
    /// Which edition fits.
    pub edition: Edition,
    /// CIEDE2000 of the patches as photographed, at the exposure that suits them best: mean and greatest.
    pub before: [f32; 2],
    /// The same corrected.
    pub after: [f32; 2],
    /// Mean CIEDE2000 of each patch by the fit to the others.
    pub left_one_out: f32,
    /// Burnt-out patches that were left out.
    pub burnt: usize,
}

/// The correction that takes the chart's patches to their published values. `corners` are those of the chart or of its patches, in order
/// around it from any of them, photo pixels (first centre at 0.5, 0.5); which is which, and the edition, follow from the patches. Of a
/// factor a channel, a matrix and a root-polynomial that one is taken whose patches are best foretold by the others.
///
/// # Errors
/// When the corners are no quadrilateral in the photo, patches are burnt out, or the colours are not those of a chart.
pub fn chart(color: &Image<LinearRgb>, corners: [[f32; 2]; 4]) -> Result<ChartFit, ColorError> {
    let size = color.size();
    let told = corners;
    let corners = corners.map(|p| p.map(f64::from));
    if corners.iter().any(|[x, y]| *x < 0.0 || *y < 0.0 || *x > size.width as f64 || *y > size.height as f64) {
        return Err(ColorError::ChartOutside);
    }
    let mut best: Option<(f32, Read)> = None;
    for turn in 0..4 {
        for frame in FRAMES {
            let turned = std::array::from_fn(|i| corners[(i + turn) % 4]);
            let read = read(color, turned, frame).ok_or(ColorError::ChartCorners)?;
            let all: Vec<usize> = (0..PATCHES).collect();
            let least = Edition::ALL.into_iter().map(|edition| {
                let fitted = read.fit(Form::Matrix, edition, &all);
                fitted.map_or(f32::INFINITY, |correction| read.off(&correction, edition, &all)[0])
            });
            // Patches read across their borders are uneven.
            let off = least.fold(f32::INFINITY, f32::min) + 10.0 * read.uneven;
            if best.as_ref().is_none_or(|(before, _)| off < *before) {
                best = Some((off, read));
            }
        }
    }
    let Some((_, read)) = best else { return Err(ColorError::ChartCorners) };
    read.judge(told)
}

/// What was read of a chart, turned the right way.
struct Read {
    seen: [LinearRgb; PATCHES],
    burnt: [bool; PATCHES],
    /// Median of the patches' own spread, as a share of their light.
    uneven: f32,
}

fn read(color: &Image<LinearRgb>, corners: [[f64; 2]; 4], frame: f64) -> Option<Read> {
    let size = KnownSize::Told { width: Mm(COLUMNS as f32), height: Mm(ROWS as f32) };
    let photo_from_cell = corners_onto(size, corners, color.size())?;
    let mut uneven = Vec::new();
    let mut burnt = [false; PATCHES];
    let seen = std::array::from_fn(|i| {
        let middle = [(i % COLUMNS) as f64 + 0.5, (i / COLUMNS) as f64 + 0.5];
        let sides = [COLUMNS as f64, ROWS as f64];
        let mut samples: [Vec<f32>; 3] = std::array::from_fn(|_| Vec::new());
        for k in 0..TAPS * TAPS {
            let part = [k % TAPS, k / TAPS].map(|t| ((t as f64 + 0.5) / TAPS as f64 - 0.5) * READ);
            // The frame is as broad on all sides.
            let inset = frame * sides[0];
            let cell = [0, 1].map(|c: usize| inset + (middle[c] + part[c]) * (sides[c] - 2.0 * inset) / sides[c]);
            let [x, y] = photo_from_cell.at(cell).map(|v| v as f32);
            let seen = color.bilinear(x, y).0;
            samples.iter_mut().zip(seen).for_each(|(samples, v)| samples.push(v));
        }
        burnt[i] = samples.iter_mut().any(|s| quantile(s, 0.95) >= BURNT);
        let seen: [f32; 3] = std::array::from_fn(|c| median(&mut samples[c]));
        let spread: f32 = (0..3).map(|c| quantile(&mut samples[c], 0.84) - quantile(&mut samples[c], 0.16)).sum();
        uneven.push(spread / (seen.iter().sum::<f32>() + 3.0 * DARK));
        LinearRgb(seen)
    });
    Some(Read { seen, burnt, uneven: median(&mut uneven) })
}

impl Read {
    fn fit(&self, form: Form, edition: Edition, which: &[usize]) -> Option<Correction> {
        let wanted = edition.patches();
        let pick = |all: &[LinearRgb; PATCHES]| which.iter().map(|i| all[*i]).collect::<Vec<_>>();
        // Lightness is a cube root: what is seen of a step falls as light to the power of two thirds.
        let weights: Vec<f32> = which.iter().map(|i| (wanted[*i].luminance().max(0.0) + DARK).powf(-4.0 / 3.0)).collect();
        fit(form, &pick(&self.seen), &pick(&wanted), &weights)
    }

    fn off(&self, correction: &Correction, edition: Edition, which: &[usize]) -> [f32; 2] {
        let wanted = edition.patches();
        let got: Vec<LinearRgb> = which.iter().map(|i| correction.apply(self.seen[*i])).collect();
        difference(&got, &which.iter().map(|i| wanted[*i]).collect::<Vec<_>>())
    }

    /// Mean difference of each patch by the fit to the others.
    fn left_one_out(&self, form: Form, edition: Edition, which: &[usize]) -> f32 {
        let one = |left: &usize| {
            let others: Vec<usize> = which.iter().copied().filter(|i| i != left).collect();
            self.fit(form, edition, &others).map_or(f32::INFINITY, |correction| self.off(&correction, edition, &[*left])[0])
        };
        which.iter().map(one).sum::<f32>() / which.len() as f32
    }

    fn judge(&self, corners: [[f32; 2]; 4]) -> Result<ChartFit, ColorError> {
        let which: Vec<usize> = (0..PATCHES).filter(|i| !self.burnt[*i]).collect();
        let burnt = PATCHES - which.len();
        if burnt > MOST_BURNT {
            return Err(ColorError::ChartBurnt { patches: burnt });
        }
        let forms = Form::ALL.into_iter().flat_map(|form| Edition::ALL.map(|edition| (form, edition)));
        let tried = forms.map(|(form, edition)| (self.left_one_out(form, edition, &which), form, edition));
        let best = tried.min_by(|a, b| a.0.total_cmp(&b.0));
        let unlike = |left: f32| ColorError::ChartUnlike { left };
        let (left_one_out, form, edition) = best.ok_or_else(|| unlike(f32::INFINITY))?;
        let correction = self.fit(form, edition, &which).ok_or_else(|| unlike(f32::INFINITY))?;
        let after = self.off(&correction, edition, &which);
        if after[0].is_nan() || after[0] > MOST_LEFT {
            return Err(unlike(after[0]));
        }
        Ok(ChartFit { corners, correction, edition, before: self.before(edition, &which), after, left_one_out, burnt })
    }

    /// As photographed, at the best exposure.
    fn before(&self, edition: Edition, which: &[usize]) -> [f32; 2] {
        let wanted = edition.patches();
        let mut ratios: Vec<f32> = which.iter().map(|i| wanted[*i].luminance() / self.seen[*i].luminance().max(1e-4)).collect();
        let exposure = median(&mut ratios);
        let steps = (-20..=20).map(|k| exposure * 1.03f32.powi(k));
        let all = steps.map(|gain| self.off(&Correction::Gains([gain; 3]), edition, which));
        all.min_by(|a, b| a[0].total_cmp(&b[0])).unwrap_or([f32::INFINITY; 2])
    }
}
