//! Where a placement ends: along a cut through its own intact cloth, where patch and garment differ least, instead of across its
//! whole soft rim. Two weaves mixed half and half are neither.

use tatter_core::channel::Channel;
use tatter_core::color::OkLab;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::{GridCut, gaussian};

use super::fit::{Fit, FitContext};
use super::pyramid::Prepared;
use crate::matching::{Shown, injured_at};

/// How much of a placement shows, over its canvas: one within the seam, nothing beyond, less than a cell between.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Seam {
    inside: Image<f32>,
    /// Of each cell with its neighbours: whether it is all beyond, all within, or on the seam.
    kind: Image<Side>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    Beyond,
    Within,
    On,
}

/// A cell that is more injured than this is the patch's …
const INJURED: f32 = 0.5;
/// … and what lies near it: deviation, in cells, of the blur that carries the patch's right beyond its injury, and how much of the blurred
/// is still its right. A cell and a quarter all around: fray lies there.
const FRAY: f32 = 1.0;
const FRAYED: f32 = 0.1;
/// A cell injured less than this is as good as intact: yarn that is a little darker than its neighbours comes so far.
const PERHAPS: f32 = 0.25;
/// What it costs, for one of [`UNITS`], to give the garment a cell that may be injured, for each of what it is injured more than that …
const LOST: f32 = 2.0;
/// … and to show the patch's intact cloth in a cell where the garment's own would do, for each of what they differ by: so a seam is drawn the
/// tighter the less the two weaves are alike, and where they are alike it stays free to go where it hides. Both were set by eye on two woven
/// rips over nine plain cloths; other values were not tried.
const STRANGE: f32 = 4.0;
/// Cover below this is the garment's.
const COVERED: f32 = 0.6;
/// A difference that costs nothing in OKLab, and a gradient that excuses nothing: half of what the eye tells apart.
const EVEN: f32 = 0.01;
/// Whole numbers for one of cost.
const UNITS: f32 = 1000.0;
/// Deviation of the blur of the cut, in cells, and between which shares of it the patch ends: together a third of a cell, a texel or two.
const SOFT: f32 = 0.6;
const ENDS: (f32, f32) = (0.35, 0.65);

impl Seam {
    /// Share of the patch at a place in shares of the canvas.
    #[inline]
    pub(super) fn at(&self, at: [f32; 2]) -> f32 {
        let cell = |share: f32, of: usize| ((share.max(0.0) * of as f32) as usize).min(of - 1);
        match self.kind.get(cell(at[0], self.kind.width()), cell(at[1], self.kind.height())) {
            Side::Beyond => 0.0,
            Side::Within => 1.0,
            Side::On => {
                let t = ((injured_at(&self.inside, at) - ENDS.0) / (ENDS.1 - ENDS.0)).clamp(0.0, 1.0);
                t * t * (3.0 - 2.0 * t)
            }
        }
    }

    /// A cover in the same cells as it ends at the seam.
    pub(super) fn ended(&self, cover: &Image<f32>) -> Image<f32> {
        let share = |i: usize, of: usize| (i as f32 + 0.5) / of as f32;
        Image::from_fn(cover.width(), cover.height(), |x, y| {
            cover.get(x, y) * self.at([share(x, cover.width()), share(y, cover.height())])
        })
    }

    /// First and last share of the canvas, across and down, between which anything shows; `None` where that reaches the canvas's edge
    /// or nothing shows at all.
    pub(super) fn window(&self) -> Option<[[f64; 2]; 2]> {
        let (width, height) = (self.kind.width(), self.kind.height());
        let shows = |x: usize, y: usize| self.kind.get(x, y) != Side::Beyond;
        let span = |of: usize, shows: &dyn Fn(usize) -> bool| {
            let (first, last) = ((0..of).find(|&i| shows(i))?, (0..of).rfind(|&i| shows(i))?);
            (first > 0 && last + 1 < of).then(|| [first as f64 / of as f64, (last + 1) as f64 / of as f64])
        };
        let across = span(width, &|x| (0..height).any(|y| shows(x, y)))?;
        Some([across, span(height, &|y| (0..width).any(|x| shows(x, y)))?])
    }

    fn new(cut: &Image<bool>) -> Self {
        let inside = gaussian(&cut.map(|within| f32::from(u8::from(within))), SOFT);
        let kind = Image::from_fn(cut.width(), cut.height(), |x, y| {
            let near = (-1..=1isize).flat_map(|dy| (-1..=1isize).map(move |dx| (dx, dy)));
            let mut ends = near.map(|(dx, dy)| inside.get_clamped(x as isize + dx, y as isize + dy));
            if ends.clone().all(|v| v <= ENDS.0) {
                Side::Beyond
            } else if ends.all(|v| v >= ENDS.1) {
                Side::Within
            } else {
                Side::On
            }
        });
        Self { inside, kind }
    }
}

/// Both cloths in the cells of the coarse cover, OKLab; the garment's where it was seen.
struct Cloths {
    patch: Image<OkLab>,
    garment: Image<Option<OkLab>>,
}

impl FitContext<'_> {
    /// The seam of a placement, its colours fitted; `None` where no injury or no intact cloth is known: then its cover is its edge.
    pub(super) fn seam(&self, k: usize, fit: &Fit) -> Option<Seam> {
        let prepared = &self.patches[self.planned.patch_of[k]].1;
        let color = prepared.color.as_ref()?;
        let carried = gaussian(&prepared.injury.map(|injury| if injury > INJURED { 1.0f32 } else { 0.0 }), FRAY);
        let wants = prepared.coarse.zip(&carried, |cover, injured| match cover {
            c if c < COVERED => -1,
            _ if injured > FRAYED => 1,
            _ => 0,
        });
        let some = |side: i32| wants.texels().contains(&side);
        if !(some(1) && some(0)) {
            return None;
        }
        let share = |i: usize, of: usize| (i as f32 + 0.5) / of as f32;
        let (width, height) = (color.width(), color.height());
        let shown =
            |x: usize, y: usize| Shown { color: color.get(x, y), bare_luminance: 0.0, at: [share(x, width), share(y, height)] };
        let cells = || (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).filter(|&(x, y)| may_part(&wants, x, y));
        let mut laid: Vec<Shown> = cells().map(|(x, y)| shown(x, y)).collect();
        fit.colors(&mut laid);
        let mut patch = Image::filled(width, height, OkLab::default());
        cells().zip(laid).for_each(|((x, y), laid)| patch.set(x, y, OkLab::from(laid.color)));
        let cloths = Cloths { patch, garment: self.seen_in_cells(k, prepared, &wants) };
        Some(Seam::new(&cloths.cut(&wants, &prepared.injury)))
    }

    /// Mean colours of the garment in the cells that a seam may cross.
    fn seen_in_cells(&self, k: usize, prepared: &Prepared, wants: &Image<i32>) -> Image<Option<OkLab>> {
        let (width, height) = (wants.width(), wants.height());
        let mut sums = vec![([0.0f32; 3], 0.0f32); width * height];
        for (number, target) in self.colored(k) {
            let Some((stored, role)) = self.role(target, Channel::BaseColor) else { continue };
            for draw in self.draws[number][k].iter() {
                // Two looks along each side of a cell.
                let [u, v] = draw.patch_from_texel;
                let breadth = prepared.cells_per_texel[0] * (u[0] * v[1] - u[1] * v[0]).abs().sqrt();
                let step = ((0.5 / breadth.max(1e-6)) as usize).max(1);
                for y in (draw.bounds.y0..draw.bounds.y1).step_by(step) {
                    for x in draw.triangle.columns(y, draw.bounds.x0, draw.bounds.x1).step_by(step) {
                        let (px, py) = draw.patch_at(x, y);
                        let Some([cx, cy]) = prepared.cell(px, py) else { continue };
                        let cell = cy * width + cx;
                        if wants.texels()[cell] != 0 {
                            continue;
                        }
                        let seen = stored.color_at(x as usize, y as usize, &role.coding).0;
                        (0..3).for_each(|i| sums[cell].0[i] += seen[i]);
                        sums[cell].1 += 1.0;
                    }
                }
            }
        }
        let mean = |(sum, count): &([f32; 3], f32)| (*count > 0.0).then(|| OkLab::from(LinearRgb(sum.map(|v| v / count))));
        Image::from_vec(width, height, sums.iter().map(mean).collect())
    }
}

impl Cloths {
    /// The cheapest cut between what must show the patch and what must show the garment (Kwatra et al., "Graphcut textures", 2003,
    /// equation 2: differences of both sides, excused by the edges that lie between them), and with as little of the patch's intact cloth as
    /// that allows.
    fn cut(&self, wants: &Image<i32>, injury: &Image<f32>) -> Image<bool> {
        let (width, height) = (wants.width(), wants.height());
        let apart = self.patch.zip(&self.garment, |patch, garment| garment.map(|garment| far(patch, garment)));
        let known: Vec<f32> = apart.texels().iter().flatten().copied().collect();
        let usual = known.iter().sum::<f32>() / (known.len() as f32).max(1.0);
        let apart: Vec<f32> = apart.texels().iter().map(|far| far.unwrap_or(usual) + EVEN).collect();
        let link = |i: usize, d: usize| {
            let (dx, dy) = GridCut::STEPS[d];
            let j = i.wrapping_add_signed(dy * width as isize + dx);
            if wants.texels()[i] != 0 && wants.texels()[i] == wants.texels()[j] {
                // They never part.
                return 0;
            }
            let edge = far(self.patch.texels()[i], self.patch.texels()[j])
                + match (self.garment.texels()[i], self.garment.texels()[j]) {
                    (Some(a), Some(b)) => far(a, b),
                    _ => 0.0,
                };
            let length = if dx != 0 && dy != 0 { std::f32::consts::FRAC_1_SQRT_2 } else { 1.0 };
            (UNITS * length * (apart[i] + apart[j]) / (edge + 2.0 * EVEN)) as i32
        };
        let tie = |i: usize| match wants.texels()[i] {
            0 => (UNITS * (LOST * (injury.texels()[i] - PERHAPS).max(0.0) - STRANGE * apart[i])) as i32,
            sure => 100_000_000 * sure,
        };
        Image::from_vec(width, height, GridCut::banded(width, height, tie, link))
    }
}

/// Whether the seam can run between a cell and one beside it.
fn may_part(wants: &Image<i32>, x: usize, y: usize) -> bool {
    let own = wants.get(x, y);
    let mut near = (-1..=1isize).flat_map(|dy| (-1..=1isize).map(move |dx| (dx, dy)));
    own == 0 || near.any(|(dx, dy)| wants.get_clamped(x as isize + dx, y as isize + dy) != own)
}

fn far(a: OkLab, b: OkLab) -> f32 {
    ((a.l - b.l).powi(2) + (a.a - b.a).powi(2) + (a.b - b.b).powi(2)).sqrt()
}
