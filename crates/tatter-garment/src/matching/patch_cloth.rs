//! The patch's own intact cloth, sampled as coarsely as the garment's texels will show it.

use tatter_core::channel::Channel;
use tatter_core::image::{Image, LinearRgb, Normal, Size};
use tatter_core::model::{Patch, PatchMap};
use tatter_core::rng::Rng;

use super::{Dye, Glimpse, Seen, Swatch};

/// What is known of it.
#[derive(Clone, Debug)]
pub(crate) struct PatchCloth {
    /// Its colour.
    pub(crate) swatch: Swatch,
    /// The samples that count, and the luminance of bare fibre in each.
    pub(crate) samples: Vec<(Glimpse, f32)>,
    /// Places and roughnesses, when the patch has a map of it.
    pub(crate) roughness: Option<Vec<([f32; 2], f32)>>,
    /// Places and heights, mm, when the patch has a map of it.
    pub(crate) heights: Option<Seen<1>>,
    /// Places and slopes, when the patch has normals.
    pub(crate) slopes: Option<Seen<2>>,
    /// Between which heights its face lies, mm, texel by texel; the fiftieth deepest and highest is left out as noise.
    pub(crate) face_mm: Option<[f32; 2]>,
}

/// Colours looked at: a spread of 0.3 is then known to 0.005 over all, and to 0.1 in a node of what varies.
const SAMPLES: usize = 3000;
/// Places tried for each that counts.
const TRIES: usize = 20;
/// Sub-texels along a side of a sample: more than this add nothing to a mean.
const FINEST: usize = 8;

/// One sample: the mean of `side`² texels of the patch, by what covers.
struct Spot {
    color: LinearRgb,
    bare_luminance: f32,
    roughness: f32,
    height_mm: f32,
    slopes: [f32; 2],
}

/// The maps a sample reads.
struct Maps<'a> {
    size: Size,
    color: &'a PatchMap,
    opacity: Option<&'a PatchMap>,
    roughness: Option<&'a PatchMap>,
    height: Option<&'a PatchMap>,
    normal: Option<&'a PatchMap>,
}

impl<'a> Maps<'a> {
    fn of(patch: &'a Patch) -> Option<Self> {
        let of = |channel: Channel| patch.map_of(channel, channel.info().kind);
        Some(Self {
            size: patch.size(),
            color: of(Channel::BaseColor)?,
            opacity: of(Channel::Opacity),
            roughness: of(Channel::Roughness),
            height: of(Channel::Height),
            normal: of(Channel::Normal),
        })
    }

    /// `None` where more is open than cloth.
    fn spot(&self, x: usize, y: usize, side: usize, dye: Option<&Dye>) -> Option<Spot> {
        let step = side.div_ceil(FINEST);
        let (mut sum, mut bare, mut roughness, mut weight, mut count) = ([0.0f32; 3], 0.0, 0.0, 0.0, 0.0f32);
        let (mut height, mut slopes) = (0.0, [0.0f32; 2]);
        let unit = |map: Option<&PatchMap>, u, v| map.and_then(|map| map.unit_at(u, v)).map(|unit| unit.0);
        for v in (y..(y + side).min(self.size.height)).step_by(step) {
            for u in (x..(x + side).min(self.size.width)).step_by(step) {
                let w = unit(self.opacity, u, v).unwrap_or(1.0);
                let c = self.color.color_at(u, v).unwrap_or_default();
                (0..3).for_each(|i| sum[i] += w * c.0[i]);
                bare += w * dye.map_or(0.0, |dye| dye.bare_luminance(c));
                roughness += w * unit(self.roughness, u, v).unwrap_or(0.0);
                height += w * self.height.and_then(|map| map.height_at(u, v)).map_or(0.0, |h| h.0);
                let (right, up) = self.normal.and_then(|map| map.normal_at(u, v)).map_or((0.0, 0.0), Normal::slopes);
                slopes = [slopes[0] + w * right, slopes[1] + w * up];
                weight += w;
                count += 1.0;
            }
        }
        (weight > 0.5 * count).then(|| Spot {
            color: LinearRgb(sum.map(|s| s / weight)),
            bare_luminance: bare / weight,
            roughness: roughness / weight,
            height_mm: height / weight,
            slopes: slopes.map(|s| s / weight),
        })
    }
}

/// Between which heights all but a fiftieth lie at either end.
fn face_of(mut heights: Vec<f32>) -> Option<[f32; 2]> {
    let last = heights.len().checked_sub(1)?;
    heights.sort_by(f32::total_cmp);
    let beyond = last / 50;
    Some([heights[beyond], heights[last - beyond]])
}

impl PatchCloth {
    /// Where `weights` (0..1 over the canvas) say, each sample the mean of `side`² texels. `None` when the patch has no colour
    /// or hardly any such cloth. Bare fibre is told by `dye`, texel by texel.
    pub(crate) fn of(
        patch: &Patch,
        weights: &Image<f32>,
        side: usize,
        cell: impl Fn(f64, f64) -> u32,
        dye: Option<&Dye>,
    ) -> Option<Self> {
        let maps = Maps::of(patch)?;
        let size = patch.size();
        let mut rng = Rng::new(1);
        let (mut glimpses, mut bare, mut roughness) = (Vec::new(), Vec::new(), Vec::new());
        let (mut heights, mut slopes, mut face) = (Vec::new(), Vec::new(), Vec::new());
        for _ in 0..TRIES * SAMPLES {
            let (x, y, chance) = (rng.below(size.width), rng.below(size.height), rng.unit());
            let at = |v: usize, of: usize, cells: usize| v * cells / of;
            if weights.get(at(x, size.width, weights.width()), at(y, size.height, weights.height())) <= chance {
                continue;
            }
            let Some(spot) = maps.spot(x, y, side, dye) else { continue };
            // The sample is the square from here on.
            let middle = |v: usize| v as f64 + 0.5 * side as f64;
            let at = [(middle(x) / size.width as f64) as f32, (middle(y) / size.height as f64) as f32];
            roughness.push((at, spot.roughness));
            heights.push((at, [spot.height_mm]));
            slopes.push((at, spot.slopes));
            face.extend(maps.height.and_then(|map| map.height_at(x, y)).map(|h| h.0));
            glimpses.push(Glimpse { color: spot.color, cell: cell(middle(x), middle(y)), at });
            bare.push(spot.bare_luminance);
            if glimpses.len() == SAMPLES {
                break;
            }
        }
        let swatch = Swatch::of(&glimpses)?;
        let roughness = maps.roughness.map(|_| roughness);
        let samples = glimpses.into_iter().zip(bare).filter(|(g, _)| swatch.cells.contains_key(&g.cell)).collect();
        let (heights, slopes) = (maps.height.map(|_| heights), maps.normal.map(|_| slopes));
        Some(Self { swatch, samples, roughness, heights, slopes, face_mm: face_of(face) })
    }

    /// Colours of the injury itself, threads one by one.
    pub(crate) fn of_injury(patch: &Patch, cover: &Image<f32>) -> Vec<LinearRgb> {
        /// Threads of a texel are kept apart from their neighbours' noise.
        const SIDE: usize = 2;
        let Some(maps) = Maps::of(patch) else { return Vec::new() };
        let size = patch.size();
        let mut rng = Rng::new(2);
        (0..2 * TRIES * SAMPLES / 10)
            .filter_map(|_| {
                let (x, y, chance) = (rng.below(size.width), rng.below(size.height), rng.unit());
                let covered = cover.get(x * cover.width() / size.width, y * cover.height() / size.height);
                if covered <= chance { None } else { maps.spot(x, y, SIDE, None).map(|spot| spot.color) }
            })
            .collect()
    }
}
