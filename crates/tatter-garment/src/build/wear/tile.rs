//! One tile of wear.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use glam::{DMat2, DVec2};
use tatter_core::channel::Channel;
use tatter_core::color::reflectance;
use tatter_core::image::{HeightMm, Image, LinearRgb, Map, Normal, Rect, Size, Stored, Unit};
use tatter_core::model::{MapRole, MapSet, WearKind};

use super::mark::{Effect, Mark, Near, Worn};
use super::relief::{Relief, Threads};
use super::{CROWN_LOSS, WornFile};
use crate::build::owner::{NOBODY, Owners};
use crate::build::plan::{Bounds, OwnedFace, Target};
use crate::field::Place;
use crate::matching::bounded;
use crate::surface::{Face, Surface};

/// Of the strongest wear this much is done on a thread of middling height; all of it never ends.
const MOST: f32 = 0.97;
/// Grime hides at most this share of the cloth.
const MOST_GRIME: f32 = 0.8;

pub(super) struct WearTile<'a> {
    pub(super) surface: &'a Surface,
    pub(super) marks: &'a [Mark<'a>],
    pub(super) set: &'a MapSet,
    pub(super) target: &'a Target,
    /// Of the set, pristine.
    pub(super) pictures: &'a [Stored],
    pub(super) relief: &'a Relief<'a>,
    pub(super) rect: Bounds,
    pub(super) lie: &'a Lie,
}

/// What lies in a tile, whatever wears it.
#[derive(Debug)]
pub(super) struct Lie {
    /// The tile with one texel around it, for the slopes of what is added to the height.
    wide: Bounds,
    /// By texel of that: its face's place in the list, [`NOBODY`] where there is none.
    of: Vec<u32>,
    faces: Vec<Seen>,
    threads: OnceLock<Threads>,
}

/// A face as its texels see it.
#[derive(Debug)]
struct Seen {
    face: usize,
    corner: DVec2,
    /// Weights of the second and third corner from texels off the first.
    weights: DMat2,
    /// Slopes right and up from changes over one texel right and one down.
    slopes: [[f32; 2]; 2],
}

impl Lie {
    /// Of a tile of textures of a size, and the faces that may own texels of it or its gutter.
    pub(super) fn new(surface: &Surface, size: Size, rect: Bounds, padding: i64, faces: impl Iterator<Item = OwnedFace>) -> Self {
        let grown = |b: Bounds, by: i64| b.grown(by).intersect(Bounds::whole(size));
        let wide = grown(rect, 1);
        let owners = Owners::new(grown(wide, padding), faces);
        let width = (wide.x1 - wide.x0) as usize;
        let mut known: Vec<Seen> = Vec::new();
        let mut numbers: BTreeMap<u32, u32> = BTreeMap::new();
        let mut last = (NOBODY, NOBODY);
        let gutter = owners.gutter(wide, padding);
        let of = gutter.iter().enumerate().map(|(i, &beside)| {
            let (x, y) = (wide.x0 + (i % width) as i64, wide.y0 + (i / width) as i64);
            let owner = owners.owner(x, y);
            let face = if owner == NOBODY { beside } else { owner };
            // Neighbours mostly show one face: it is looked up once.
            if face != NOBODY && last.0 != face {
                let number = *numbers.entry(face).or_insert_with(|| match seen(surface, size, face as usize) {
                    Some(seen) => {
                        known.push(seen);
                        known.len() as u32 - 1
                    }
                    None => NOBODY,
                });
                last = (face, number);
            }
            if face == NOBODY { NOBODY } else { last.1 }
        });
        let of = of.collect();
        Self { wide, of, faces: known, threads: OnceLock::new() }
    }
}

fn seen(surface: &Surface, size: Size, face: usize) -> Option<Seen> {
    let own = &surface.faces()[face];
    let size = DVec2::new(size.width as f64, size.height as f64);
    let cell = own.uv_centre().floor();
    let corners = own.uvs.map(|uv| (uv - cell) * size);
    let edges = DMat2::from_cols(corners[1] - corners[0], corners[2] - corners[0]);
    if edges.determinant().abs() < 1e-12 {
        return None;
    }
    Some(Seen { face, corner: corners[0], weights: edges.inverse(), slopes: slopes_from_texels(own, size)? })
}

impl WearTile<'_> {
    /// Texels worn by each mark, and the files that changed.
    pub(super) fn run(&self) -> (Vec<usize>, Vec<WornFile>) {
        let Lie { wide, of, faces, threads } = self.lie;
        let width = (wide.x1 - wide.x0) as usize;
        let near: Vec<Vec<Option<&Near>>> =
            faces.iter().map(|seen| self.marks.iter().map(|mark| mark.near(seen.face)).collect()).collect();
        let mut worn: Vec<Vec<Worn>> = vec![vec![Worn::default(); of.len()]; self.marks.len()];
        let mut slopes = vec![[[0.0f32; 2]; 2]; of.len()];
        for (i, &number) in of.iter().enumerate().filter(|(_, number)| **number != NOBODY) {
            let seen = &faces[number as usize];
            slopes[i] = seen.slopes;
            let near = &near[number as usize];
            if near.iter().all(Option::is_none) {
                continue;
            }
            let place = seen.place(self.surface, wide.x0 + (i % width) as i64, wide.y0 + (i / width) as i64);
            for ((mark, near), worn) in self.marks.iter().zip(near).zip(&mut worn) {
                if let Some(found) = near.and_then(|near| mark.at(self.surface, &place, near)) {
                    worn[i] = found;
                }
            }
        }
        let counts: Vec<usize> = worn.iter().map(|own| self.inner(*wide).filter(|&i| own[i].weight > 0.0).count()).collect();
        if counts.iter().all(|count| *count == 0) {
            return (counts, Vec::new());
        }
        let threads = threads.get_or_init(|| self.relief.threads(*wide, self.target.size));
        let done = Done::new(self, *wide, &worn, &slopes, threads);
        (counts, self.files(&done))
    }

    /// Numbers of the texels of the tile within the wide window, row by row.
    fn inner(&self, wide: Bounds) -> impl Iterator<Item = usize> {
        let (rect, width) = (self.rect, wide.x1 - wide.x0);
        (rect.y0..rect.y1).flat_map(move |y| (rect.x0..rect.x1).map(move |x| ((y - wide.y0) * width + x - wide.x0) as usize))
    }

    fn files(&self, done: &Done) -> Vec<WornFile> {
        let rect = self.rect.rect();
        let mut files = Vec::new();
        for &file in &self.target.files {
            let stored = &self.pictures[file];
            let mut after = stored.crop(rect);
            for role in &self.set.files[file].roles {
                self.wear_role(stored, role, rect, done, &mut after);
            }
            let changed = stored.differing_from(&after, rect.x, rect.y);
            if changed > 0 {
                files.push(WornFile { file, x: rect.x, y: rect.y, part: after, changed });
            }
        }
        files
    }

    fn wear_role(&self, stored: &Stored, role: &MapRole, rect: Rect, done: &Done, after: &mut Stored) {
        if !matches!(role.channel, Channel::BaseColor | Channel::Roughness | Channel::Height | Channel::Normal) {
            return;
        }
        let mut map = stored.decode(role.channel.info().kind, &role.coding, rect);
        let mut touched = Image::filled(rect.width, rect.height, false);
        let effects: Vec<&Effect> = self.marks.iter().map(|mark| &mark.effect).collect();
        for (i, &at) in done.inner.iter().enumerate() {
            let (x, y) = (i % rect.width, i / rect.width);
            let lost = || done.lost.iter().zip(&effects).map(|(lost, effect)| (lost[at], *effect));
            let own = lost().filter(|(lost, effect)| *lost > 0.0 && !effect.keeps(role.channel));
            let changed = match &mut map {
                Map::Color(image) => {
                    change(image, x, y, |color| own.fold(color, |color, (lost, effect)| dyed(color, lost, effect)))
                }
                Map::Unit(image) => change(image, x, y, |rough| {
                    own.fold(rough, |r, (lost, effect)| Unit((r.0 + effect.dulling * lost).clamp(r.0.min(1.0), 1.0)))
                }),
                Map::Height(image) => change(image, x, y, |h| HeightMm(h.0 + done.height_mm[at])),
                Map::Normal(image) => {
                    let (flatter, [p, q]) = (done.flatter[at], done.slope[i]);
                    (flatter < 1.0 || p != 0.0 || q != 0.0)
                        && change(image, x, y, |normal| {
                            let (right, up) = normal.slopes();
                            Normal::from_slopes(right * flatter + p, up * flatter + q)
                        })
                }
            };
            if changed {
                touched.set(x, y, true);
            }
        }
        after.encode(&role.coding, Rect::whole(after.size), &map, &touched);
    }
}

/// Put a new value; whether it differs.
fn change<P: tatter_core::image::Pixel>(image: &mut Image<P>, x: usize, y: usize, new: impl FnOnce(P) -> P) -> bool {
    let before = image.get(x, y);
    let after = new(before);
    image.set(x, y, after);
    after != before
}

impl Seen {
    fn place(&self, surface: &Surface, x: i64, y: i64) -> Place {
        let at = self.weights * (DVec2::new(x as f64 + 0.5, y as f64 + 0.5) - self.corner);
        let weights = [1.0 - at.x - at.y, at.x, at.y];
        let face = &surface.faces()[self.face];
        Place { face: self.face, weights, point: face.point(weights), normal: face.shading_normal(weights) }
    }
}

/// What a change over one texel right and one texel down is in slopes right and up of the normal map.
fn slopes_from_texels(face: &Face, size: DVec2) -> Option<[[f32; 2]; 2]> {
    let ([along_u, along_v], [right, up]) = (face.mm_per_uv()?, face.tangents()?);
    // Millimetres right and up for one texel along each axis; the change over them is slope times way.
    let (u, v) = (along_u / size.x, along_v / size.y);
    let ways = DMat2::from_cols(DVec2::new(u.dot(right), v.dot(right)), DVec2::new(u.dot(up), v.dot(up)));
    if ways.determinant().abs() < 1e-15 {
        return None;
    }
    let inverse = ways.inverse();
    Some([[inverse.x_axis.x as f32, inverse.y_axis.x as f32], [inverse.x_axis.y as f32, inverse.y_axis.y as f32]])
}

/// What all marks do to the texels of a tile.
struct Done {
    /// Numbers of the tile's texels in the wide window.
    inner: Vec<usize>,
    /// By mark and texel of the wide window: share of the dye lost, or of grime's hold.
    lost: Vec<Vec<f32>>,
    /// Added height of the wide window, mm.
    height_mm: Vec<f32>,
    /// What is left of the slopes of threads where no height map says how high they are.
    flatter: Vec<f32>,
    /// Slopes right and up of the added height, by texel of the tile.
    slope: Vec<[f32; 2]>,
}

impl Done {
    fn new(tile: &WearTile<'_>, wide: Bounds, worn: &[Vec<Worn>], slopes: &[[[f32; 2]; 2]], threads: &Threads) -> Self {
        let (mut height_mm, mut flatter) = (vec![0.0f32; slopes.len()], vec![1.0f32; slopes.len()]);
        let raised = threads.raised.texels();
        let mut lost = Vec::with_capacity(worn.len());
        for (mark, worn) in tile.marks.iter().zip(worn) {
            let effect = &mark.effect;
            let own: Vec<f32> = worn.iter().zip(raised).map(|(worn, &z)| share_lost(worn.weight, z, effect.reach)).collect();
            let rubs = matches!(effect.kind, WearKind::Abrasion | WearKind::Crease);
            for i in 0..own.len() {
                if worn[i].weight <= 0.0 || effect.keeps(Channel::Height) {
                    continue;
                }
                height_mm[i] += worn[i].height_mm;
                match &threads.crown_mm {
                    Some(crown) if rubs => height_mm[i] -= CROWN_LOSS * own[i] * crown.texels()[i].max(0.0),
                    None if rubs => flatter[i] *= 1.0 - CROWN_LOSS * own[i],
                    _ => {}
                }
            }
            lost.push(own);
        }
        let inner: Vec<usize> = tile.inner(wide).collect();
        let slope = slopes_of(&inner, wide, &height_mm, slopes);
        Self { inner, lost, height_mm, flatter, slope }
    }
}

/// Slopes of a height over the tile's texels: half of what differs between both neighbours.
fn slopes_of(inner: &[usize], wide: Bounds, height_mm: &[f32], slopes: &[[[f32; 2]; 2]]) -> Vec<[f32; 2]> {
    let (width, height) = ((wide.x1 - wide.x0) as usize, (wide.y1 - wide.y0) as usize);
    inner
        .iter()
        .map(|&i| {
            let (x, y) = (i % width, i / width);
            let across = step_of(x, width, |x| y * width + x, height_mm);
            let down = step_of(y, height, |y| y * width + x, height_mm);
            let [[pr, pd], [qr, qd]] = slopes[i];
            [pr * across + pd * down, qr * across + qd * down]
        })
        .collect()
}

/// Change over one step; where a neighbour lies off the texture, from the other alone.
fn step_of(at: usize, count: usize, index: impl Fn(usize) -> usize, values: &[f32]) -> f32 {
    let (low, high) = (at.saturating_sub(1), (at + 1).min(count - 1));
    (values[index(high)] - values[index(low)]) / (high - low).max(1) as f32
}

/// Share of its dye that a thread loses: the dose falls off with the depth of the thread as the press of a rubbing surface
/// does, and is the same over the whole cloth.
fn share_lost(weight: f32, raised: f32, reach: f32) -> f32 {
    if weight <= 0.0 {
        return 0.0;
    }
    // The mean of exp(r z) over normal heights is exp(r² / 2).
    let dose = -(1.0 - MOST * weight.min(1.0)).ln() * (reach * raised - 0.5 * reach * reach).exp();
    1.0 - (-dose).exp()
}

/// A colour with a share of its dye lost, or with grime (Kubelka, Munk 1931: absorption over scattering adds by amount).
fn dyed(color: LinearRgb, lost: f32, effect: &Effect) -> LinearRgb {
    LinearRgb(std::array::from_fn(|i| {
        let (own, other) = (bounded(color.0[i]), effect.absorption[i]);
        match effect.kind {
            WearKind::Grime => reflectance(own + MOST_GRIME * lost * (other - own)),
            // Nothing darkens by losing dye.
            _ if own > other => reflectance(other + (1.0 - lost) * (own - other)),
            _ => color.0[i],
        }
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use tatter_core::color::absorption;

    /// Kubelka, Munk 1931, by hand: cloth of R 0.1 (K/S 4.05) on fibre of R 0.5 (K/S 0.25) that lost half its dye has
    /// K/S 2.15 and reflects 1 + 2.15 - sqrt(2.15² + 4.3) = 0.1625.
    #[test]
    fn half_the_dye_is_half_the_absorption() {
        let effect = |kind| Effect::of(kind, [0.25; 3]);
        let faded = dyed(LinearRgb([0.1, 0.5, 0.8]), 0.5, &effect(WearKind::Fade));
        assert!((faded.0[0] - 0.1625).abs() < 1e-3, "{faded:?}");
        assert_eq!(faded.0[2], 0.8, "what is lighter than the fibre stays");
        // Grime of R 0.5 over black of R 0.05 (K/S 9.025): at full hold K/S 9.025 - 0.8 × 8.775 = 2.005, R 0.1698.
        let grimy = dyed(LinearRgb([0.05; 3]), 1.0, &effect(WearKind::Grime));
        assert!((absorption(grimy.0[0]) - 2.005).abs() < 1e-2, "{grimy:?}");
    }

    #[test]
    fn high_threads_go_first_and_the_mean_is_kept() {
        for reach in [0.45f32, 1.1, -0.7] {
            let at = |z: f32| share_lost(0.5, z, reach);
            assert!(if reach > 0.0 { at(1.5) > 1.5 * at(-1.0) } else { at(-1.5) > 1.5 * at(1.0) }, "reach {reach}");
        }
        assert_eq!(share_lost(0.0, 2.0, 1.1), 0.0, "nothing is worn where nothing wears");
        assert!(share_lost(1.0, 0.0, 0.45) > 0.9, "threadbare");
    }
}
