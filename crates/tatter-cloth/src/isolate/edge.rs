//! The rim of an injury: a graph cut of injured against intact colours and texture, then a fractional edge that follows
//! the photo (Rother, Kolmogorov, Blake, "`GrabCut`", 2004; He, Sun, Tang, "Guided Image Filtering", 2010).

use tatter_core::image::{Image, LinearRgb, Pixel, Rect, Unit};
use tatter_core::kernel::{GridCut, box_blur, dilate, distance_to, erode, gaussian, open};
use tatter_core::stats::quantile;

use super::find::JOINS;
use super::gaussian::Gaussian;

/// Colour and fine texture of one pixel: L*, a*, b* without slow light, log of the local roughness.
type Look = [f32; 4];
const LOOK_RIDGE: Look = [4.0, 1.0, 1.0, 0.05];
/// Capacity units for one unit of log likelihood.
const UNITS: f32 = 200.0;
/// Cost of a cut between alike neighbours: larger gives smoother, shorter outlines.
const SMOOTHNESS: f32 = 2.5;

/// How much farther than the cloth's own colours those of an opening are: tuned on made rips, holes and stains.
const ELSE: f32 = 1.3;
/// The same for single places of it, whose rim alone is added.
const RIM: f32 = 1.15;
/// Least share of the region that shows it.
const SHARE: f32 = 0.1;
/// And at least this far, CIELAB: less is a stain.
const LEAST: f32 = 22.0;

/// What is certain about pixels at working size.
pub(super) struct Certain<'a> {
    pub(super) injured: &'a Image<bool>,
    pub(super) intact: &'a Image<bool>,
}

/// The injured region at working size, refined from the found one. `lab` and `score` as the finder had them.
///
/// The score says where, blurred by its own smoothing; colours and texture learnt inside and outside say exactly where, as
/// far as they tell the two apart. Learnt three times, each time from the region just cut.
pub(super) fn refine(
    lab: &Image<LinearRgb>,
    score: &Image<f32>,
    found: &Image<bool>,
    sigma: f32,
    certain: &Certain<'_>,
) -> Image<bool> {
    // Half way down a blurred step the squared distance is a quarter of what it is inside; a little less keeps what is
    // faint beside what is strong.
    // Of a thread alone, all that was found counts.
    let broad = ((thickness(found) - 6.0) / 8.0).clamp(0.0, 1.0);
    let edge_score = gaussian(&highest_near(score, 2.5 * sigma), sigma).map(|s| JOINS * (0.15 * s / JOINS).max(1.0).powf(broad));
    let reach = dilate(found, sigma + 1.0);
    let whole = Rect::whole(lab.size());
    let part = bounds_of(&reach).map_or(whole, |b| b.grown((4.0 * sigma) as usize + 8, lab.size()));
    let looks = looks(lab, 0.5 * sigma);
    let outer = Mixture::fit(&pick(&looks, &dilate(found, 3.0 * sigma + 4.0).map(|f| !f), 6000));
    let cut_out = |image: &Image<bool>| image.crop(part);
    let (looks, score, reach) = (looks.crop(part), score.crop(part), cut_out(&reach));
    let edge_score = edge_score.crop(part);
    let core = cut_out(found).zip(&score.zip(&edge_score, |s, e| s >= e), |f, inside| f && inside);
    let mut sure_in = erode(&core, 1.5 * sigma + 1.0);
    sure_in = sure_in.zip(&cut_out(certain.intact), |s, i| s && !i).zip(&cut_out(certain.injured), |s, i| s || i);
    let sure_out = cut_out(certain.intact).zip(&reach, |i, r| i || !r);
    let near = lab.crop(part);
    let links = Links::new(&near, &core);
    let place = score.zip(&edge_score, |s, e| (s.max(1e-3) / e).ln().clamp(-2.0, 2.0));
    let mut region = core;
    for _ in 0..3 {
        let inner = Mixture::fit(&pick(&looks, &region, 4000));
        let colors = looks.map(|look| (outer.cost(&look) - inner.cost(&look)).clamp(-6.0, 6.0));
        let tell = links.breadth * telling(&colors, &region, &reach);
        let likelihood = colors.zip(&place, |c, p| (0.45 + 0.45 * tell) * c + 1.2 * (1.0 - 0.75 * tell) * p);
        let likelihood = gaussian(&likelihood, 0.7);
        region = links.cut(&likelihood, &sure_in, &sure_out);
    }
    region = with_rim(&looks, &region, &reach, sigma).zip(&cut_out(certain.intact), |r, told| r && !told);
    let mut out = Image::filled(lab.width(), lab.height(), false);
    out.paste(&region, part.x, part.y);
    out
}

/// The region with the frayed rim, about a thread broad, of what is seen in it that is no cloth: what lies behind, or the hearts
/// of torn threads. Where that is a good part of the region, all of it has the rim; where it is little, none.
fn with_rim(looks: &Image<LookTexel>, region: &Image<bool>, reach: &Image<bool>, sigma: f32) -> Image<bool> {
    let around = reach.map(|r| !r);
    let cloth = [0, 1, 2].map(|c: usize| quantile(&mut masked(&looks.map(|l| l[c]), &around), 0.5));
    let far = looks.map(|l| (0..3).map(|c| (l[c] - cloth[c]).powi(2)).sum::<f32>().sqrt());
    let ordinary = quantile(&mut masked(&far, &around), 0.95);
    if quantile(&mut masked(&far, region), 0.7) > (ELSE * ordinary).max(LEAST) {
        return dilate(region, sigma);
    }
    let behind = open(&far.zip(region, |f, r| r && f > (RIM * ordinary).max(LEAST)), 0.25 * sigma);
    let count = |mask: &Image<bool>| mask.texels().iter().filter(|m| **m).count() as f32;
    if count(&behind) < SHARE * count(region) {
        return region.clone();
    }
    dilate(&behind, 1.6 * sigma).zip(region, |b, r| b || r)
}

/// How broad a region is where it is broad, pixels.
fn thickness(region: &Image<bool>) -> f32 {
    let depth = distance_to(&region.map(|r| !r));
    2.0 * quantile(&mut masked(&depth, region), 0.9)
}

/// The highest value within a square of that half side.
fn highest_near(score: &Image<f32>, radius: f32) -> Image<f32> {
    let r = radius.ceil() as isize;
    let along = |image: &Image<f32>, dx: isize, dy: isize| {
        Image::from_fn(image.width(), image.height(), |x, y| {
            (-r..=r).fold(f32::MIN, |m, t| m.max(image.get_clamped(x as isize + t * dx, y as isize + t * dy)))
        })
    };
    along(&along(score, 1, 0), 0, 1)
}

/// How well the looks alone part the region from what lies around it, 0..1.
fn telling(colors: &Image<f32>, region: &Image<bool>, reach: &Image<bool>) -> f32 {
    let inside = quantile(&mut masked(colors, region), 0.4);
    let outside = quantile(&mut masked(colors, &reach.map(|r| !r)), 0.6);
    (0.25 * inside.min(-outside)).clamp(0.0, 1.0)
}

/// The grid's links between neighbours.
struct Links<'a> {
    lab: &'a Image<LinearRgb>,
    beta: f32,
    /// 1 for a broad region, less for thin ones, which must not be smoothed away.
    breadth: f32,
}

impl<'a> Links<'a> {
    fn new(lab: &'a Image<LinearRgb>, core: &Image<bool>) -> Self {
        let breadth = (thickness(core) / 8.0).clamp(0.2, 1.0);
        Self { lab, beta: 1.0 / (2.0 * mean_contrast(lab)).max(1e-6), breadth }
    }

    fn cut(&self, likelihood: &Image<f32>, sure_in: &Image<bool>, sure_out: &Image<bool>) -> Image<bool> {
        let (width, height) = (self.lab.width(), self.lab.height());
        let terminal = |i: usize| {
            if sure_in.texels()[i] {
                1_000_000
            } else if sure_out.texels()[i] {
                -1_000_000
            } else {
                (likelihood.texels()[i] * UNITS) as i32
            }
        };
        let link = |i: usize, d: usize| {
            let (dx, dy) = GridCut::STEPS[d];
            let (x, y) = ((i % width) as isize, (i / width) as isize);
            let (a, b) = (self.lab.texels()[i].0, self.lab.get_clamped(x + dx, y + dy).0);
            let difference: f32 = (0..3).map(|c| (a[c] - b[c]).powi(2)).sum();
            let length = if dx != 0 && dy != 0 { std::f32::consts::SQRT_2 } else { 1.0 };
            (UNITS * SMOOTHNESS * self.breadth * (0.3 + 0.7 * (-self.beta * difference).exp()) / length) as i32
        };
        Image::from_vec(width, height, GridCut::new(width, height, terminal, link).solve())
    }
}

/// Values where the mask is set.
pub(super) fn masked(score: &Image<f32>, mask: &Image<bool>) -> Vec<f32> {
    score.texels().iter().zip(mask.texels()).filter(|(_, m)| **m).map(|(s, _)| *s).collect()
}

fn mean_contrast(lab: &Image<LinearRgb>) -> f32 {
    let mut sum = 0.0f64;
    for y in 0..lab.height() {
        let row = lab.row(y);
        let of_row: f32 = row.windows(2).map(|w| (0..3).map(|c| (w[0].0[c] - w[1].0[c]).powi(2)).sum::<f32>()).sum();
        sum += f64::from(of_row);
    }
    (sum / lab.size().area().max(1) as f64) as f32
}

fn looks(lab: &Image<LinearRgb>, sigma: f32) -> Image<LookTexel> {
    let light = lab.map(|c| c.0[0]);
    let fine = light.zip(&gaussian(&light, 1.5), |a, b| (a - b) * (a - b));
    let rough = gaussian(&fine, sigma.max(1.0));
    let soft = gaussian(lab, 0.6);
    soft.zip(&rough, |c, r| LookTexel([c.0[0], c.0[1], c.0[2], 0.5 * (r.max(0.0) + 0.05).ln()]))
}

#[derive(Clone, Copy)]
struct LookTexel(Look);

impl std::ops::Deref for LookTexel {
    type Target = Look;
    fn deref(&self) -> &Look {
        &self.0
    }
}

/// Up to `most` of the looks where `mask` is true, evenly spread.
fn pick(looks: &Image<LookTexel>, mask: &Image<bool>, most: usize) -> Vec<Look> {
    let count = mask.texels().iter().filter(|m| **m).count();
    let step = count.div_ceil(most).max(1);
    looks.texels().iter().zip(mask.texels()).filter(|(_, m)| **m).step_by(step).map(|(l, _)| l.0).collect()
}

/// A few Gaussians with their shares.
struct Mixture(Vec<(f32, Gaussian<4>)>);

impl Mixture {
    const KINDS: usize = 5;

    /// Hard-assignment fit, started from slices of brightness.
    fn fit(samples: &[Look]) -> Self {
        let mut tones: Vec<f32> = samples.iter().map(|s| s[0]).collect();
        let cuts: Vec<f32> = (1..Self::KINDS).map(|i| quantile(&mut tones, i as f32 / Self::KINDS as f32)).collect();
        let mut kind: Vec<usize> = samples.iter().map(|s| cuts.iter().filter(|c| s[0] > **c).count()).collect();
        let mut parts: Vec<(f32, Gaussian<4>)> = Vec::new();
        for _ in 0..5 {
            let fitted: Vec<_> = (0..Self::KINDS)
                .filter_map(|k| {
                    let count = kind.iter().filter(|b| **b == k).count();
                    let enough = count >= 8 && count * 50 >= samples.len();
                    let weight = |i: usize| if kind[i] == k { 1.0 } else { 0.0 };
                    enough
                        .then(|| Gaussian::fit(samples, weight, LOOK_RIDGE))
                        .flatten()
                        .map(|g| (count as f32 / samples.len() as f32, g))
                })
                .collect();
            if fitted.is_empty() {
                break;
            }
            for (sample, kind) in samples.iter().zip(&mut kind) {
                let cost = |p: &(f32, Gaussian<4>)| p.1.distance2(sample) + p.1.log_det;
                *kind = (0..fitted.len()).min_by(|&a, &b| cost(&fitted[a]).total_cmp(&cost(&fitted[b]))).unwrap_or(0);
            }
            parts = fitted;
        }
        Self(parts)
    }

    /// Negative log likelihood, up to a constant; 0 when nothing was learnt.
    fn cost(&self, look: &Look) -> f32 {
        let sum: f32 = self.0.iter().map(|(share, g)| share * (-0.5 * (g.distance2(look) + g.log_det)).exp()).sum();
        if self.0.is_empty() { 0.0 } else { -(sum.max(1e-30)).ln() }
    }
}

/// The fractional cover at photo size from a region at working size: the outline is softened over about `soft` photo
/// pixels and follows threads by a guided filter. Work is done around the region only.
pub(super) fn fractional(color: &Image<LinearRgb>, region: &Image<bool>, soft: f32) -> Image<Unit> {
    let (width, height) = (color.width(), color.height());
    let scale = [region.width() as f32 / width as f32, region.height() as f32 / height as f32];
    let mut cover = Image::filled(width, height, Unit(0.0));
    let Some(bounds) = bounds_of(region) else { return cover };
    let margin = (4.0 * soft + 4.0 / scale[0]).ceil() as usize;
    let at = |v: usize, s: f32| (v as f32 / s) as usize;
    let part = Rect::new(
        at(bounds.x, scale[0]).min(width - 1),
        at(bounds.y, scale[1]).min(height - 1),
        at(bounds.width, scale[0]) + 1,
        at(bounds.height, scale[1]) + 1,
    )
    .grown(margin, color.size());
    // Signed distance resized, not the mask: corners of working pixels do not show.
    let inside = distance_to(&region.map(|r| !r));
    let outside = distance_to(region);
    let far = 64.0;
    let signed = inside.zip(&outside, |i, o| i.min(far) - o.min(far)).map(|d| d.clamp(-far, far));
    let signed = gaussian(&signed, 0.8);
    let rough = Image::from_fn(part.width, part.height, |x, y| {
        let (px, py) = ((part.x + x) as f32 + 0.5, (part.y + y) as f32 + 0.5);
        signed.bilinear(px * scale[0], py * scale[1]) / scale[0]
    });
    let mask = rough.map(|d| (0.5 + d / (2.0 * soft)).clamp(0.0, 1.0));
    let guide = color.crop(part).map(|c| c.luminance().max(0.0).sqrt());
    let guided = guided_filter(&guide, &mask, soft.ceil() as usize, 3e-4);
    let band = 1.5 * soft;
    let fine = Image::from_fn(part.width, part.height, |x, y| {
        let d = rough.get(x, y);
        let g = ((guided.get(x, y) - 0.08) / 0.84).clamp(0.0, 1.0);
        Unit(if d > band {
            1.0
        } else if d < -band {
            0.0
        } else {
            g
        })
    });
    cover.paste(&fine, part.x, part.y);
    cover
}

/// Grey guided filter over squares of side `2 radius + 1`.
fn guided_filter(guide: &Image<f32>, mask: &Image<f32>, radius: usize, epsilon: f32) -> Image<f32> {
    let moments = guide.zip(mask, |i, p| Four([i, p, i * i, i * p]));
    let means = box_blur(&moments, radius);
    let lines = means.map(|Four([i, p, ii, ip])| {
        let a = (ip - i * p) / ((ii - i * i).max(0.0) + epsilon);
        LinearRgb([a, p - a * i, 0.0])
    });
    box_blur(&lines, radius).zip(guide, |l, i| l.0[0] * i + l.0[1])
}

/// Four numbers filtered together.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Four([f32; 4]);

impl Pixel for Four {
    const ZERO: Self = Self([0.0; 4]);
    fn plus(self, other: Self, weight: f32) -> Self {
        Self(std::array::from_fn(|i| self.0[i] + other.0[i] * weight))
    }
    fn times(self, factor: f32) -> Self {
        Self(self.0.map(|v| v * factor))
    }
}

/// The rectangle around all `true` texels.
pub(super) fn bounds_of(mask: &Image<bool>) -> Option<Rect> {
    let rows: Vec<usize> = (0..mask.height()).filter(|&y| mask.row(y).iter().any(|m| *m)).collect();
    let (first, last) = (*rows.first()?, *rows.last()?);
    let (mut x0, mut x1) = (mask.width(), 0);
    for &y in &rows {
        if let (Some(a), Some(b)) = (mask.row(y).iter().position(|m| *m), mask.row(y).iter().rposition(|m| *m)) {
            (x0, x1) = (x0.min(a), x1.max(b));
        }
    }
    Some(Rect::new(x0, first, x1 + 1 - x0, last + 1 - first))
}
