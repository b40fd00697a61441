//! For each texel, whether it is likelier backing than cloth, and what its neighbours say of it.

use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::weighted;

use super::backing::Backing;
use super::palette::{Palette, Scale, Tint};

/// Density of colours that only injured cloth shows (hearts of threads, dirt, fluff): a tenth of its texels, evenly over
/// the tints that there are. More keeps more threads and loses narrow openings; set on the made scenes, like all below.
const STRANGE: f32 = 0.1 / 7.0;
/// Share of cloth in an injury that lies in deeper shade or brighter light than any intact cloth.
const RELIT: f32 = 0.15;
/// Most that one texel's colour may say, in logs of odds.
pub(super) const SURE: f32 = 6.0;

/// What is known of the colours.
#[derive(Debug)]
pub(super) struct Colors {
    pub scale: Scale,
    pub cloth: Palette,
    pub behind: Vec<Backing>,
    /// Texels of a backing that is seen between fibres alone, the purest.
    pub seeds: Option<Image<bool>>,
    /// Log odds from which a colour is not taken for the cloth's: above most of what intact cloth shows.
    pub foreign: f32,
}

impl Colors {
    fn cloth_density(&self, t: Tint) -> f32 {
        let at = |shift: f32| self.cloth.density(LinearRgb([t.0[0] + shift, t.0[1], t.0[2]]));
        let relit = 0.25 * (at(0.25) + at(0.5) + at(0.75) + at(-0.25));
        (1.0 - RELIT) * at(0.0) + RELIT * relit + STRANGE
    }

    /// Log odds that a tint is backing rather than cloth, at even chances.
    pub(super) fn odds(&self, tint: Tint) -> f32 {
        let behind = self.behind.iter().map(|b| b.density(tint, self.scale)).fold(0.0f32, f32::max);
        (behind.max(1e-9).ln() - self.cloth_density(tint).ln()).clamp(-SURE, SURE)
    }
}

/// Beliefs, -1 cloth to 1 backing, from odds and links between neighbours that part little: mean field of an Ising model
/// (Peterson, Anderson, "A Mean Field Theory Learning Algorithm for Neural Networks", 1987), eight rounds. Texels that are sure
/// by themselves are not asked: hardly any neighbourhood could turn them, and most texels are.
pub(super) fn beliefs(odds: &Image<f32>, links: &Links) -> Image<f32> {
    let mut now = odds.map(|o| (0.5 * o).tanh());
    for _ in 0..8 {
        now = Image::from_fn(odds.width(), odds.height(), |x, y| {
            let own = odds.get(x, y);
            if own.abs() >= SURE { now.get(x, y) } else { (0.5 * own + links.pull(&now, x, y)).tanh() }
        });
    }
    now
}

/// Steps to half of the neighbours; the others are their opposites.
const STEPS: [(isize, isize); 4] = [(1, 0), (0, 1), (1, 1), (-1, 1)];
/// Strength of a link over no contrast, and the contrast of tints over which it fades.
const LINK: f32 = 0.45;
const CONTRAST: f32 = 0.2;

/// How much each texel asks of its neighbours to be as it is.
#[derive(Debug)]
pub(super) struct Links(Image<[f32; 4]>);

impl Links {
    pub(super) fn of(color: &Image<LinearRgb>, tints: &Image<Tint>, scale: Scale) -> Self {
        Self(Image::from_fn(tints.width(), tints.height(), |x, y| {
            let (here, noise) = (tints.get(x, y), scale.spread(color.get(x, y)));
            STEPS.map(|(dx, dy)| {
                let there = tints.get_clamped(x as isize + dx, y as isize + dy);
                let room = |i: usize| CONTRAST * CONTRAST + 4.0 * noise[i];
                let off: f32 = (0..3).map(|i| (here.0[i] - there.0[i]).powi(2) / room(i)).sum();
                LINK * (-0.5 * off).exp() / ((dx * dx + dy * dy) as f32).sqrt()
            })
        }))
    }

    fn pull(&self, beliefs: &Image<f32>, x: usize, y: usize) -> f32 {
        let (x, y) = (x as isize, y as isize);
        let mut sum = 0.0;
        for (i, (dx, dy)) in STEPS.into_iter().enumerate() {
            sum += self.0.get_clamped(x, y)[i] * beliefs.get_clamped(x + dx, y + dy);
            let before = self.0.get_clamped(x - dx, y - dy)[i];
            sum += before * beliefs.get_clamped(x - dx, y - dy);
        }
        sum
    }
}

/// What the places around say, in logs of odds: openings lie beside openings, and a backing in a narrow place is hardly
/// lighter than in the broad one near by. What is, is a thread in the light; a dark line with backing close on both sides is a
/// fibre, since shadows are broader. `noise`: deviation of log light.
pub(super) fn surroundings(
    tints: &Image<Tint>,
    noise: &Image<f32>,
    beliefs: &Image<f32>,
    even: &Image<bool>,
    pitch: f32,
) -> Image<f32> {
    let broad = beliefs.zip(even, |b, e| if b > 0.5 && e { 1.0 } else { 0.0 });
    let near = weighted(&broad, &broad.map(|_| 1.0), 0.8 * pitch, 0.0);
    let shade = weighted(&tints.map(|t| t.0[0]), &broad, 0.8 * pitch, f32::INFINITY);
    Image::from_fn(tints.width(), tints.height(), |x, y| {
        let beside = 1.2 * (near.get(x, y).max(1e-4) / 0.05).ln().clamp(-1.5, 1.5);
        let lighter = ((tints.get(x, y).0[0] - shade.get(x, y) - 0.3) / 0.3).clamp(0.0, 1.0);
        let line = ((fibre(tints, beliefs, x, y) - 0.3 - 3.0 * noise.get(x, y)) / 0.3).clamp(0.0, 1.0);
        beside - if even.get(x, y) { 0.0 } else { 2.0 * lighter } - DARK_LINE * line
    })
}

/// What a dark line before the backing says, in logs of odds.
const DARK_LINE: f32 = 5.0;
/// Texels from a line's middle to what is seen beside it.
const ASIDE: isize = 3;

/// How much darker a texel is than the backing on both of two sides, logs; 0 where backing is not on both.
fn fibre(tints: &Image<Tint>, beliefs: &Image<f32>, x: usize, y: usize) -> f32 {
    let (x, y) = (x as isize, y as isize);
    let here = tints.get_clamped(x, y).0[0];
    let beside = |dx: isize, dy: isize| {
        let (x, y) = (x + dx, y + dy);
        if beliefs.get_clamped(x, y) > 0.5 { tints.get_clamped(x, y).0[0] - here } else { 0.0 }
    };
    let depth = |(dx, dy): (isize, isize)| {
        // Along a diagonal the same way is fewer steps.
        let n = if dx != 0 && dy != 0 { ASIDE - 1 } else { ASIDE };
        beside(n * dx, n * dy).min(beside(-n * dx, -n * dy))
    };
    STEPS.into_iter().map(depth).fold(0.0, f32::max)
}
