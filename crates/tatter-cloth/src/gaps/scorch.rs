//! What a burn leaves around its hole: cloth that is darker and browner the nearer it lies. A light backing has the same tint in
//! some shade, and scorch is even where threads are too dark to be told apart, so colour and evenness alone would open it.

use tatter_core::image::Image;
use tatter_core::kernel::{dilate, distance_to, label, open, weighted};
use tatter_core::stats::quantile;
use tatter_core::task::Task;

use super::even::Even;
use super::find::Place;
use super::odds::SURE;
use super::palette::{Tint, pick};

/// Width over which cloth is looked at as a whole, in thread spacings.
const REACH: f32 = 0.5;
/// Light, as a share of the cloth's, below which a place may be scorched; and by how much the ratio of blue to red fell there, logs:
/// what is heated turns yellow, then brown, before it is black (common practice, no source). Set on six burns in pale cloth.
const DARK: f32 = 0.75;
const WARM: f32 = 0.15;
/// Radius of the broadest disc that an even hole holds at least, thread spacings: no thread is that broad.
const HOLE: f32 = 0.8;
/// Breadth of the ring around a hole, thread spacings, and the share of it that is dark, and of that which is warm, at least.
const RING: f32 = 3.0;
const RING_DARK: f32 = 0.5;
const RING_WARM: f32 = 0.2;
/// Shades of what shows in the hole between which a texel of scorched cloth goes from thread to pore: of a light backing that lies
/// bare close by no more is lost to a pore's walls than some half.
const PORE: [f32; 2] = [0.55, 0.8];

/// What lies behind may be darker than any char, which throws back some of the light that pale cloth does: then scorch is all that is
/// lighter. Most light of such a hole as a share of the cloth's; its least evenness, as a share of the cloth's thread contrast; and
/// the radius of the broadest disc that it holds, thread spacings.
const BLACK: f32 = 0.15;
const BLACK_EVEN: f32 = 0.3;
const BLACK_HOLE: f32 = 0.6;
/// How far from its even part, thread spacings, such a hole may reach, where it is no lighter than this beside what it shows near by
/// and in all.
const EDGE: f32 = 0.7;
const LIGHTER: [f32; 2] = [1.6, 1.15];

/// How much lighter than the cloth a card is, logs, from which hardly a shade of it looks like scorch.
const NEAR: f32 = 1.1;

/// A burn: the even hole, lighter than what is around it or black, and the scorched cloth.
#[derive(Debug)]
pub(super) struct Scorch {
    hole: Image<bool>,
    cloth: Image<bool>,
    /// Log light of what shows in the hole, where that is lighter than the cloth.
    light: Option<f32>,
    /// Whether that is hardly lighter than the cloth: in the shade it looks like scorch.
    near: bool,
}

/// Even places ringed by what is darker and browner than cloth.
struct Ringed {
    /// Each with its log light, as it differs from the cloth's.
    holes: Vec<(Image<bool>, f32)>,
    dark: Image<bool>,
}

fn light(tint: Tint) -> f32 {
    tint.0[0]
}

fn ringed(place: &Place, even: &Even, broad: &Image<bool>, pitch: f32) -> Option<Ringed> {
    if !broad.texels().contains(&true) {
        return None;
    }
    let threaded = dilate(broad, (0.3 * pitch).max(1.5)).map(|b| if b { 0.0 } else { 1.0f32 });
    let whole = weighted(&even.tints, &threaded, REACH * pitch, Tint::default());
    let middle = |of: &dyn Fn(Tint) -> f32, mask: &Image<bool>| {
        quantile(&mut pick(&whole, mask).into_iter().map(of).collect::<Vec<_>>(), 0.5)
    };
    let blue = |t: Tint| t.0[2] - t.0[1];
    let usual = [middle(&light, &place.reference), middle(&blue, &place.reference)];
    let dark = whole.zip(&threaded, |t, w| w > 0.0 && light(t) < usual[0] + DARK.ln());
    let dark = dark.zip(&place.cover, |d, c| d && c.0 > 0.02);
    let warm = dark.zip(&whole, |d, t| d && blue(t) < usual[1] - WARM);
    let (labels, parts) = label(broad);
    let mut holes = Vec::new();
    for number in (1..=parts.len()).filter(|n| parts[n - 1].area as f32 > pitch * pitch) {
        let own = labels.map(|l| l as usize == number);
        let ring = distance_to(&own).map(|d| d > 0.5 * pitch && d < (0.5 + RING) * pitch);
        let count = |mask: &Image<bool>| ring.texels().iter().zip(mask.texels()).filter(|(r, m)| **r && **m).count() as f32;
        let all = ring.texels().iter().filter(|r| **r).count() as f32;
        let lit = quantile(&mut pick(&even.tints, &own).into_iter().map(light).collect::<Vec<_>>(), 0.5);
        if count(&dark) > RING_DARK * all && count(&warm) > RING_WARM * count(&dark) {
            holes.push((own, lit - usual[0]));
        }
    }
    Some(Ringed { holes, dark })
}

/// All of those that have such light; `None` without any.
fn joined(holes: Vec<(Image<bool>, f32)>, has: impl Fn(f32) -> bool) -> Option<Image<bool>> {
    holes.into_iter().filter(|(_, lit)| has(*lit)).map(|(own, _)| own).reduce(|all, own| all.zip(&own, |a, o| a || o))
}

impl Scorch {
    /// `None` where no even place that is lighter than cloth, or black, is ringed by what is darker and browner than it.
    pub(super) fn find(place: &Place, even: &Even, pitch: f32) -> Option<Self> {
        Self::around_light(place, even, pitch).or_else(|| Self::around_black(place, even, pitch))
    }

    fn around_light(place: &Place, even: &Even, pitch: f32) -> Option<Self> {
        let broad = open(&even.flat.zip(&place.cover, |e, c| e && c.0 > 0.5), HOLE * pitch);
        let Ringed { holes, dark } = ringed(place, even, &broad, pitch)?;
        let near = holes.iter().any(|(_, lit)| *lit > 0.0 && *lit < NEAR);
        let hole = joined(holes, |lit| lit > 0.0)?;
        let lit = quantile(&mut pick(&even.tints, &hole).into_iter().map(light).collect::<Vec<_>>(), 0.5);
        Some(Self { hole, cloth: dark, light: Some(lit), near })
    }

    /// Charred threads are so dark that they count as even elsewhere; beside what is black and even, by its own light, they are not.
    fn around_black(place: &Place, even: &Even, pitch: f32) -> Option<Self> {
        let flat = even.rough.zip(&place.cover, |r, c| r < BLACK_EVEN * even.usual && c.0 > 0.5);
        let Ringed { holes, dark } = ringed(place, even, &open(&flat, BLACK_HOLE * pitch), pitch)?;
        let broad = joined(holes, |lit| lit < BLACK.ln())?;
        let seen = place.color.map(|c| c.luminance());
        let weight = broad.map(|b| if b { 1.0 } else { 0.0f32 });
        let near = weighted(&seen, &weight, EDGE * pitch, 0.0);
        let most = LIGHTER[1] * quantile(&mut pick(&seen, &broad), 0.98);
        let away = distance_to(&broad);
        let reached = seen.zip(&near, |s, n| s < most.min(LIGHTER[0] * n)).zip(&away, |s, d| s && d < EDGE * pitch);
        let hole = broad.zip(&reached, |b, r| b || r).zip(&place.cover, |h, c| h && c.0 > 0.5);
        let beside = away.zip(&place.cover, |d, c| d < (0.5 + RING) * pitch && c.0 > 0.02);
        let cloth = dark.zip(&beside, |d, b| d || b).zip(&hole, |c, h| c && !h);
        Some(Self { hole, cloth, light: None, near: false })
    }

    /// Says so where a card's shade and scorched threads look alike.
    pub(super) fn warn(&self, task: &Task) {
        if self.near {
            task.note(
                "scorch-uncertain",
                "The card behind this burn is nearly as light as the cloth, so its shade and scorched threads look alike and the rim of \
                 the hole is uncertain: photograph it over two backings, or draw gap and cloth strokes along the rim",
            );
        }
    }

    /// Even places without those of scorched cloth, and with the hole, whatever its colour.
    pub(super) fn places(&self, even: &Image<bool>) -> Image<bool> {
        even.zip(&self.cloth, |e, c| e && !c).zip(&self.hole, |e, h| e || h)
    }

    /// How surely a texel of scorched cloth is a thread of it and no pore, 0..1.
    fn thread(&self, tint: Tint) -> f32 {
        self.light.map_or(1.0, |lit| {
            let [low, high] = PORE.map(|shade| lit + shade.ln());
            ((high - light(tint)) / (high - low)).clamp(0.0, 1.0)
        })
    }

    /// Scorched cloth before what is black: nothing in it is lighter than its own threads. A light backing shines through its pores.
    pub(super) fn before_black(&self) -> Option<&Image<bool>> {
        self.light.is_none().then_some(&self.cloth)
    }

    /// Log odds of backing, with what is known of the hole and of scorched cloth.
    pub(super) fn judge(&self, odds: &Image<f32>, tints: &Image<Tint>) -> Image<f32> {
        let thread = tints.zip(&self.cloth, |t, c| if c { self.thread(t) } else { 0.0 });
        let known = odds.zip(&thread, |o, thread| (o - 2.0 * SURE * thread).max(-SURE));
        known.zip(&self.hole, |o, h| if h { SURE } else { o })
    }
}

#[cfg(test)]
mod tests {
    use tatter_core::image::{LinearRgb, Pixel as _, Unit};

    use super::*;
    use crate::gaps::{GapInput, gaps};

    /// Opacity of pale plain weave, eight texels a thread, with `around` within 22 to 52 texels of the middle and `hole` nearer.
    fn cut(around: impl Fn(f32) -> LinearRgb + Sync, hole: LinearRgb, task: &Task) -> Option<Image<Unit>> {
        let away = |x: usize, y: usize| (x as f32 - 99.5).hypot(y as f32 - 99.5);
        let color = Image::from_fn(200, 200, |x, y| {
            let wave = |v: usize| (std::f32::consts::TAU * v as f32 / 8.0).sin();
            let thread = 0.75 + 0.25 * wave(x) * wave(y);
            match away(x, y) {
                d if d < 22.0 => hole,
                d if d < 52.0 => around(d).times(thread),
                _ => LinearRgb([0.60, 0.62, 0.64]).times(thread),
            }
        });
        let cover = Image::from_fn(200, 200, |x, y| Unit(if away(x, y) < 60.0 { 1.0 } else { 0.0 }));
        let input = GapInput { pitch_px: Some([8.0, 8.0]), ..GapInput::new(&cover) };
        Some(gaps(&color, &input, task).ok()?.opacity)
    }

    /// Mean opacity between two distances from the middle.
    fn mean(opacity: &Image<Unit>, [low, high]: [f32; 2]) -> f32 {
        let inside = |i: usize| ((i % 200) as f32 - 99.5).hypot((i / 200) as f32 - 99.5);
        let band = opacity.texels().iter().enumerate().filter(|(i, _)| inside(*i) > low && inside(*i) < high);
        let (sum, count) = band.fold((0.0, 0.0), |(sum, count), (_, o)| (sum + o.0, count + 1.0));
        sum / count
    }

    // Truth is the drawing itself: exact geometry.
    #[test]
    fn charred_threads_around_a_black_hole_are_cloth() {
        let pale = LinearRgb([0.60, 0.62, 0.64]);
        let char = LinearRgb([0.055, 0.042, 0.034]);
        let ring = |d: f32| char.times((52.0 - d) / 30.0).plus(pale, (d - 22.0) / 30.0);
        let task = Task::new();
        let opacity = cut(ring, LinearRgb([0.010, 0.010, 0.012]), &task);
        assert!(!task.notes().iter().any(|n| n.code == "scorch-uncertain"), "over black nothing looks like scorch");
        let bands = [[0.0, 20.0], [24.0, 30.0], [24.0, 60.0]];
        let [hole, charred, all] = bands.map(|band| opacity.as_ref().map(|o| mean(o, band)));
        assert!(hole.is_some_and(|o| o < 0.02), "a hole over black is open: {hole:?}");
        assert!(charred.is_some_and(|o| o > 0.95), "char, some four times as light, is cloth: {charred:?}");
        assert!(all.is_some_and(|o| o > 0.98), "and what is scorched less: {all:?}");
    }

    // Truth is the drawing itself: exact geometry.
    #[test]
    fn scorch_around_a_hole_over_a_card_is_cloth_and_the_hole_is_open() {
        let pale = LinearRgb([0.60, 0.62, 0.64]);
        let brown = LinearRgb([0.10, 0.055, 0.025]);
        let ring = |d: f32| brown.times((52.0 - d) / 30.0).plus(pale, (d - 22.0) / 30.0);
        for card in [LinearRgb([0.74, 0.75, 0.74]), pale] {
            let task = Task::new();
            let opacity = cut(ring, card, &task);
            assert!(task.notes().iter().any(|n| n.code == "scorch-uncertain"), "a card as light as the cloth is told");
            let bands = [[0.0, 19.0], [25.0, 40.0], [25.0, 60.0]];
            let [hole, scorched, all] = bands.map(|band| opacity.as_ref().map(|o| mean(o, band)));
            assert!(hole.is_some_and(|o| o < 0.02), "a hole over {card:?} is open: {hole:?}");
            assert!(scorched.is_some_and(|o| o > 0.97), "scorch over {card:?} is cloth: {scorched:?}");
            // Its palest fringe, by threads that hardly lost light, may be taken for a card of nearly its tint.
            assert!(all.is_some_and(|o| o > 0.9), "and nearly all of its fringe: {all:?}");
        }
    }
}
