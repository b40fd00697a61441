//! Base colour near openings is the threads' own: neither the backing that shades through the fuzz, nor paler than the same dye
//! is elsewhere.

use tatter_core::image::{Image, LinearRgb, Pixel as _, Unit};
use tatter_core::kernel::{bleed, distance_to, gaussian, weighted};
use tatter_core::stats::{quantile, sample};

/// What is known of the cloth besides its base colour; all images have its size.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sight<'a> {
    /// The photo, linear light.
    pub photo: &'a Image<LinearRgb>,
    /// 1 cloth, 0 see-through.
    pub opacity: &'a Image<Unit>,
    /// How sure it is that a texel's colour is the cloth's own, by its colour's odds.
    pub own: &'a Image<Unit>,
    /// Scorched cloth before what is black: its colours are its own, though they lie between the cloth's and the backing's.
    pub scorched: Option<&'a Image<bool>>,
    /// Cloth to learn the dyes from.
    pub intact: &'a Image<bool>,
    /// What shows behind, when something does.
    pub backing: Option<LinearRgb>,
    /// Thread spacing, texels.
    pub pitch: f32,
}

/// Base colour without the backing: each texel counts by the share of its light that is cloth's, and takes the rest from the
/// threads around; in openings all of it. Fuzz and threads that stand free catch more light than those in the weave, which one
/// photo cannot tell from a paler dye: where their tint is that of intact cloth, their lightness is too, in the mean of a thread.
pub(crate) fn thread_color(base: &Image<LinearRgb>, sight: &Sight<'_>) -> Image<LinearRgb> {
    let own = sight.own.map(|o| o.0);
    let own =
        match sight.backing.and_then(|behind| Shares::learn(sight, behind)) {
            Some(shares) => {
                let judged = own.zip(sight.photo, |o, c| o.min(shares.own(c)));
                match sight.scorched {
                    Some(scorched) => Image::from_fn(own.width(), own.height(), |x, y| {
                        if scorched.get(x, y) { own.get(x, y) } else { judged.get(x, y) }
                    }),
                    None => judged,
                }
            }
            None => own,
        };
    if sight.opacity.texels().iter().all(|o| o.0 >= 0.5) {
        return bleed(base, &own);
    }
    let even = not_paler(base, &own, sight);
    bleed(&even, &own)
}

/// Light of a texel parted into cloth's and backing's by their colours.
#[derive(Debug)]
struct Shares {
    cloth: LinearRgb,
    behind: LinearRgb,
    /// The backing's.
    light: f32,
    /// Share of backing that intact cloth in the light seems to show.
    usual: f32,
}

/// Share of backing beyond what is usual at which a texel's colour counts no more.
const FOREIGN: f32 = 0.3;
/// Share of its light that a backing keeps in the deepest shade.
const DARKEST: f32 = 0.1;
/// Share that intact cloth may seem to show of the backing for the two to be told apart.
const TOLD_APART: f32 = 0.6;
/// Share from which a texel looks more like backing than cloth, and the part of intact cloth that pores make up at most: more
/// that looks so are threads of the backing's colour, as the undyed weft of denim before a white card.
const HALF: f32 = 0.5;
const PORES: f64 = 0.15;

impl Shares {
    /// From intact cloth in the light; none where the backing's tint lies within the cloth's.
    fn learn(sight: &Sight<'_>, behind: LinearRgb) -> Option<Self> {
        let known = sight.intact.map(|i| if i { 1.0 } else { 0.0 });
        let light = sight.photo.map(LinearRgb::luminance);
        let middle = quantile(&mut sample(&light, &known), 0.5);
        let lit = known.zip(&light, |k, l| if l >= middle { k } else { 0.0 });
        let (mut sum, mut count) = (LinearRgb::ZERO, 0.0f32);
        for (c, w) in sight.photo.texels().iter().zip(lit.texels()).step_by(3) {
            sum = sum.plus(*c, *w);
            count += w;
        }
        let unit = |c: LinearRgb| c.times(1.0 / c.luminance().max(1e-6));
        let mut made = Self {
            cloth: unit(sum.times(1.0 / count.max(1.0))),
            behind: unit(behind),
            light: behind.luminance().max(1e-6),
            usual: 0.0,
        };
        let shares = sight.photo.map(|c| made.share(c));
        // Pores of the weave show the backing; what cloth itself looks like is told by the side away from it.
        let [low, middle] = [0.05, 0.5].map(|part| quantile(&mut sample(&shares, &lit), part));
        made.usual = (middle + 1.5 * (middle - low)).max(0.0);
        let like = known.zip(&shares, |k, s| if s > HALF { k } else { 0.0 });
        let total = |image: &Image<f32>| image.texels().iter().map(|v| f64::from(*v)).sum::<f64>();
        let own_dye = total(&like) > PORES * total(&known);
        (count > 100.0 && made.usual < TOLD_APART && !own_dye).then_some(made)
    }

    /// Share of the light that is the backing's: least squares over the three channels.
    fn share(&self, seen: LinearRgb) -> f32 {
        let dot = |a: LinearRgb, b: LinearRgb| (0..3).map(|i| a.0[i] * b.0[i]).sum::<f32>();
        let (ff, fb, bb) = (dot(self.cloth, self.cloth), dot(self.cloth, self.behind), dot(self.behind, self.behind));
        let (cf, cb) = (dot(seen, self.cloth), dot(seen, self.behind));
        let det = (ff * bb - fb * fb).max(1e-6);
        let (front, back) = ((cf * bb - cb * fb) / det, (cb * ff - cf * fb) / det);
        back / (front + back).max(1e-6)
    }

    fn own(&self, seen: LinearRgb) -> f32 {
        // No shadow makes a backing as dark as char is.
        let lit = ((seen.luminance() / self.light - DARKEST) / DARKEST).clamp(0.0, 1.0);
        let over = lit * ((self.share(seen) - self.usual) / FOREIGN).clamp(0.0, 1.0);
        1.0 - over * over * (3.0 - 2.0 * over)
    }
}

/// Thread spacings from an opening within which cloth may be lit otherwise than in the weave.
const NEAR: f32 = 2.5;
/// Most that lightness is lowered by, in logs of light.
const MOST: f32 = 0.7;
/// Share of intact threads whose paleness is no reason to lower any: below theirs it is done by halves.
const USUAL: f32 = 0.95;
/// Weight of a bin beside the fullest from which its tint counts as the cloth's own. A rim's fibres may show an undyed heart, whose
/// tint is hardly ever seen in intact cloth: on the work list less darkened it (0.05: CIEDE2000 of the rim 5.18, 0.3: 5.09, 0.6:
/// 5.08, none lowered at all: 5.24).
const COMMON: f32 = 0.6;
/// Bins of each tint.
const BINS: usize = 24;

/// Base colour with the mean lightness of a thread near openings no greater than intact cloth of its tint has.
fn not_paler(base: &Image<LinearRgb>, own: &Image<f32>, sight: &Sight<'_>) -> Image<LinearRgb> {
    let near = distance_to(&sight.opacity.map(|o| o.0 < 0.5));
    let reach = NEAR * sight.pitch;
    let tints = base.map(tint);
    let learned = sight.intact.zip(own, |i, o| if i { o } else { 0.0 });
    let dyes = Dyes::learn(&tints, &learned);
    let off = tints.map(|t| dyes.off(t));
    let weight = own.zip(&off, |own, [_, common]| own * common);
    let paler = weighted(&off.map(|[paler, _]| paler), &weight, 0.75 * sight.pitch, 0.0);
    // Threads of intact cloth differ too, and those with a pale heart much.
    let usual = quantile(&mut sample(&paler, &learned), USUAL).max(0.01);
    let common = weighted(&off.map(|[_, common]| common), own, 0.3 * sight.pitch, 0.0);
    Image::from_fn(base.width(), base.height(), |x, y| {
        let fade = ((reach - near.get(x, y)) / (0.5 * reach)).clamp(0.0, 1.0);
        let excess = paler.get(x, y).clamp(0.0, MOST);
        let lower = fade * common.get(x, y) * excess * (excess / usual).min(1.0);
        base.get(x, y).times((-lower).exp())
    })
}

/// `[ln Y, ln R/G, ln B/G]`.
fn tint(color: LinearRgb) -> LinearRgb {
    const FLOOR: f32 = 2e-3;
    let [r, g, b] = color.0.map(|v| (v.max(0.0) + FLOOR).ln());
    LinearRgb([(color.luminance().max(0.0) + FLOOR).ln(), r - g, b - g])
}

/// How light intact cloth is, by tint.
#[derive(Debug)]
struct Dyes {
    low: [f32; 2],
    width: [f32; 2],
    /// Weight and weighted sum of lightness in each bin.
    bins: Image<LinearRgb>,
    /// Weight of a well-filled bin.
    full: f32,
}

impl Dyes {
    fn learn(tints: &Image<LinearRgb>, weight: &Image<f32>) -> Self {
        let ends = [1, 2].map(|axis| {
            let mut values = sample(&tints.map(|t| t.0[axis]), weight);
            (quantile(&mut values, 0.005), quantile(&mut values, 0.995))
        });
        let low = ends.map(|(a, b)| a - 0.1 * (b - a) - 0.02);
        let width = [0, 1].map(|i| (ends[i].1 + 0.1 * (ends[i].1 - ends[i].0) + 0.02 - low[i]) / BINS as f32);
        let mut made = Self { low, width, bins: Image::filled(BINS, BINS, LinearRgb::ZERO), full: 1.0 };
        for (t, w) in tints.texels().iter().zip(weight.texels()).step_by(3) {
            if *w > 0.0
                && let Some([x, y]) = made.bin(*t)
            {
                made.bins.set(x, y, made.bins.get(x, y).plus(LinearRgb([1.0, t.0[0], 0.0]), *w));
            }
        }
        made.bins = gaussian(&made.bins, 1.0);
        made.full = COMMON * made.bins.texels().iter().map(|b| b.0[0]).fold(1e-6, f32::max);
        made
    }

    fn bin(&self, t: LinearRgb) -> Option<[usize; 2]> {
        let at = [0, 1].map(|i| (t.0[i + 1] - self.low[i]) / self.width[i]);
        at.iter().all(|a| (0.0..BINS as f32).contains(a)).then(|| at.map(|a| a as usize))
    }

    /// How much lighter than intact cloth of its tint, in logs, and how common the tint is there, 0..1.
    fn off(&self, t: LinearRgb) -> [f32; 2] {
        let Some([x, y]) = self.bin(t) else { return [0.0; 2] };
        let [weight, sum, _] = self.bins.get(x, y).0;
        if weight <= 0.0 { [0.0; 2] } else { [t.0[0] - sum / weight, (weight / self.full).min(1.0)] }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DYE: LinearRgb = LinearRgb([0.42, 0.26, 0.10]);
    const CARD: LinearRgb = LinearRgb([0.74, 0.75, 0.74]);

    /// An opening on the right, fuzz of so much cloth before the card in columns 40 to 50, cloth with `speck` on the left.
    fn cleaned(speck: LinearRgb, every: usize) -> Image<LinearRgb> {
        let cloth = |x: usize, y: usize| {
            let lit = 0.8 + 0.4 * (((x * 7 + y * 13) % 16) as f32 / 16.0);
            if (x + 3 * y).is_multiple_of(every) { speck } else { DYE.times(lit) }
        };
        let photo = Image::from_fn(96, 64, |x, y| match x {
            0..40 => cloth(x, y),
            40..50 => DYE.times(0.4).plus(CARD.times(0.5), 0.6),
            _ => CARD,
        });
        let opacity = photo.map(|_| Unit(1.0));
        let opacity = Image::from_fn(96, 64, |x, y| if x < 50 { opacity.get(x, y) } else { Unit(0.0) });
        let intact = Image::from_fn(96, 64, |x, _| x < 36);
        let sight = Sight {
            photo: &photo,
            opacity: &opacity,
            own: &opacity,
            scorched: None,
            intact: &intact,
            backing: Some(CARD),
            pitch: 6.0,
        };
        thread_color(&photo, &sight)
    }

    #[test]
    fn fuzz_and_openings_take_the_colour_of_the_threads() {
        let found = cleaned(CARD.times(0.5), 20);
        let ratio = |c: LinearRgb| c.0[0] / c.0[2];
        for x in [42, 48, 60, 90] {
            let off = ratio(found.get(x, 30)) / ratio(DYE);
            assert!((0.85..1.15).contains(&off), "column {x}: red to blue is {off} of the dye's");
        }
    }

    #[test]
    fn cloth_with_pale_threads_of_its_own_keeps_them() {
        let found = cleaned(CARD, 4);
        assert_eq!(found.get(12, 0), CARD, "a quarter of the cloth is as pale as the card, so it is no pore");
    }
}
