//! Each placement's own fit to the cloth around it: colour and roughness, from pristine textures.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use rayon::prelude::*;
use tatter_core::channel::Channel;
use tatter_core::color::Cdl;
use tatter_core::image::{Image, LinearRgb, Stored};
use tatter_core::model::{MapRole, MatchMode, Patch, Subject};
use tatter_core::rule::Rule;

use super::around::{Near, REACH, cell_of, near_texels};
use super::plan::{Draw, Target};
use super::planned::Planned;
use super::pyramid::Prepared;
use super::record::FitRecord;
use super::tile::RuleOf as _;
use crate::matching::{Dye, Glimpse, PatchCloth, Recolor, Redye, Swatch, undyed};
use crate::place::Placed;

/// Codes of what a fit tells.
const UNKNOWN: &str = "match-unknown";
const ALONE: &str = "match-alone";
const TWO_CLOTHS: &str = "match-two-cloths";

/// The code of that name, for what was remembered.
fn code_named(name: &str) -> &'static str {
    [UNKNOWN, ALONE, TWO_CLOTHS].into_iter().find(|code| *code == name).unwrap_or("match")
}

/// How a placement is changed before it is laid.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    pub(super) recolor: Recolor,
    pub(super) grade: Option<Cdl>,
    /// Added to its roughness.
    pub(super) roughness_shift: f32,
    /// Median CIEDE2000 between its cloth as laid and the cloth around it.
    pub(super) rim_difference: Option<f32>,
    /// Code and text of what the person should hear.
    pub(super) told: Vec<(&'static str, String)>,
}

impl Fit {
    /// A colour as it is laid.
    #[inline]
    pub(super) fn color(&self, color: LinearRgb, bare_luminance: f32) -> LinearRgb {
        self.recolor.apply(color, bare_luminance, self.grade.as_ref())
    }
}

/// The dye of each patch that is dyed anew, by its number.
pub(super) type Dyes = BTreeMap<usize, Arc<Dye>>;

/// Find the dyes of the patches that are to be dyed anew.
pub(super) fn dyes(placements: &[Placed<'_>], patches: &[(&Patch, Prepared)], patch_of: &[usize]) -> Dyes {
    let asked = placements.iter().zip(patch_of).filter(|(placed, _)| wanted(placed) == Wanted::Redye);
    let patches_asked: BTreeSet<usize> = asked.map(|(_, &patch)| patch).collect();
    let found: Vec<(usize, Arc<Dye>)> = patches_asked
        .into_par_iter()
        .filter_map(|number| {
            let (patch, prepared) = &patches[number];
            let cloth = cloth_of(patch, prepared, 1, None)?.swatch.mean;
            Some((number, Arc::new(Dye::new(cloth, undyed(&PatchCloth::injury(patch, &prepared.coarse), cloth)))))
        })
        .collect();
    found.into_iter().collect()
}

/// Everything fits are found from.
#[derive(Debug)]
pub(super) struct FitContext<'a> {
    pub(super) planned: &'a Planned<'a>,
    /// Pristine.
    pub(super) pictures: &'a [Vec<Stored>],
    pub(super) patches: &'a [(&'a Patch, Prepared)],
    /// By target and placement.
    pub(super) draws: &'a [Vec<Vec<Draw>>],
    pub(super) dyes: &'a Dyes,
}

/// What is to be done with a placement's colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Wanted {
    Nothing,
    /// It would be dyed anew if its cloth were known.
    Unknown,
    Mark,
    Redye,
    Fit,
}

/// A patch, and how many of its texels along a line one texel of the garment shows: what its cloth is sampled by.
type Look = (usize, usize);

/// Contrast is changed no further than this along any axis of colour.
const GAIN: (f64, f64) = (0.5, 2.0);
/// Share of the cells that must show the colour matched before nothing is said.
pub(super) const ONE_CLOTH: f32 = 0.999;

impl FitContext<'_> {
    /// One for each placement, in order; of those that are not chosen only what they told, as it is known.
    pub(super) fn fits(&self, chosen: &[bool], known: Option<&BTreeMap<String, FitRecord>>) -> Vec<Fit> {
        let of = |(placed, &chosen): (&Placed<'_>, &bool)| if chosen { wanted(placed) } else { Wanted::Nothing };
        let wanted: Vec<Wanted> = self.planned.placements.iter().zip(chosen).map(of).collect();
        let looks: Vec<Option<Look>> = (0..wanted.len())
            .map(|k| {
                (!matches!(wanted[k], Wanted::Nothing | Wanted::Unknown))
                    .then(|| Some((self.planned.patch_of[k], self.side(k)?)))
                    .flatten()
            })
            .collect();
        let distinct: BTreeSet<Look> = looks.iter().flatten().copied().collect();
        let cloths: BTreeMap<Look, PatchCloth> = distinct
            .into_par_iter()
            .filter_map(|look| {
                let (patch, prepared) = &self.patches[look.0];
                Some((look, cloth_of(patch, prepared, look.1, self.dyes.get(&look.0).map(Arc::as_ref))?))
            })
            .collect::<Vec<_>>()
            .into_iter()
            .collect();
        (0..wanted.len())
            .into_par_iter()
            .map(|k| {
                let mut fit = Fit {
                    recolor: Recolor::Keep,
                    grade: self.planned.placements[k].placement.matching.grade,
                    roughness_shift: 0.0,
                    rim_difference: None,
                    told: Vec::new(),
                };
                let cloth = looks[k].and_then(|look| cloths.get(&look));
                match (wanted[k], cloth) {
                    (Wanted::Nothing, _) => {
                        let id = &self.planned.placements[k].placement.id;
                        if let Some(known) = known.filter(|_| !chosen[k]).and_then(|known| known.get(id)) {
                            fit.rim_difference = known.rim_difference;
                            fit.told = known.told.iter().map(|(code, text)| (code_named(code), text.clone())).collect();
                        }
                    }
                    (Wanted::Unknown, _) | (_, None) => {
                        let text = "its own intact cloth is not known, so it keeps its colour; give it a grade by hand";
                        fit.told.push((UNKNOWN, text.to_owned()));
                    }
                    (wanted, Some(cloth)) => self.fit(k, wanted, cloth, &mut fit),
                }
                fit
            })
            .collect()
    }

    /// Patch texels along a line in one texel of the base colour, at the spot; `None` where no base colour is reached.
    fn side(&self, k: usize) -> Option<usize> {
        let at_spot = self.planned.footprints[k].seed.face;
        let own = self.colored(k).flat_map(|(t, _)| &self.draws[t][k]);
        let draw = own.clone().find(|d| d.face == at_spot).or_else(|| own.into_iter().next())?;
        let [u, v] = draw.patch_from_texel;
        Some(((u[0] * v[1] - u[1] * v[0]).abs().sqrt().round() as usize).clamp(1, 256))
    }

    /// Targets with a base colour on the spot's own material, all its UV tiles.
    fn colored(&self, k: usize) -> impl Iterator<Item = (usize, &Target)> + Clone {
        let set = self.planned.assignment.set[self.planned.footprints[k].seed.face].unwrap_or_default();
        let material = &self.planned.garment.sets[set].material;
        let own = move |target: &Target| {
            let colors = self.role(target, Channel::BaseColor).is_some_and(|(stored, _)| stored.size == target.size);
            self.planned.garment.sets[target.set].material == *material && colors
        };
        self.planned.targets.iter().enumerate().filter(move |(_, target)| own(target))
    }

    /// File and role of a channel in a target's map set, whatever its size.
    fn role(&self, target: &Target, channel: Channel) -> Option<(&Stored, &MapRole)> {
        self.planned.garment.sets[target.set].files.iter().zip(&self.pictures[target.set]).find_map(|(file, stored)| {
            let role = file.roles.iter().find(|role| role.channel == channel)?;
            Some((stored, role))
        })
    }

    /// Texels of a target around a placement, on the part of the spot.
    fn near(&self, k: usize, target: &Target) -> Vec<Near> {
        let (patch, prepared) = &self.patches[self.planned.patch_of[k]];
        let context = self.planned.context(target, k, prepared, 0);
        let part = self.planned.surface.faces()[self.planned.footprints[k].seed.face].part;
        near_texels(&context.around(part, REACH), prepared, canvas(patch))
    }

    fn fit(&self, k: usize, wanted: Wanted, cloth: &PatchCloth, fit: &mut Fit) {
        if wanted == Wanted::Mark {
            let strength = self.planned.placements[k].placement.matching.strength;
            fit.recolor = Recolor::Mark { cloth: cloth.swatch.mean, strength };
            return;
        }
        let (mut glimpses, mut roughness) = (Vec::new(), Vec::new());
        for (_, target) in self.colored(k) {
            let near = self.near(k, target);
            glimpses.extend(self.colors(target, &near));
            roughness.extend(self.scalars(target, Channel::Roughness, &near));
        }
        let Some(around) = Swatch::of(&glimpses) else {
            fit.told.push((ALONE, "hardly any of the garment's cloth shows around it, so it keeps its colour".into()));
            return;
        };
        if around.share < ONE_CLOTH {
            fit.told.push((
                TWO_CLOTHS,
                format!(
                    "two colours lie around it (a print, a seam, another cloth); it follows the larger, {:.0} % of its surroundings",
                    around.share * 100.0
                ),
            ));
        }
        let strength = self.planned.placements[k].placement.matching.strength;
        fit.recolor = match self.dyes.get(&self.planned.patch_of[k]) {
            Some(dye) if wanted == Wanted::Redye => {
                let samples: Vec<(LinearRgb, f32)> = cloth.samples.iter().map(|(g, bare)| (g.color, *bare)).collect();
                Recolor::Redye(Redye::new(dye.clone(), &samples, around.mean, strength))
            }
            _ => match (cloth.swatch.gaussian(), around.gaussian()) {
                (Some(own), Some(target)) => Recolor::Fit { map: own.transport(&target, GAIN), strength },
                _ => Recolor::Keep,
            },
        };
        let laid = |(g, bare): &(Glimpse, f32)| Glimpse { color: fit.recolor.apply(g.color, *bare, None), ..*g };
        fit.rim_difference = around.difference(&cloth.samples.iter().map(laid).collect::<Vec<_>>());
        if let (Some(own), Some(around)) = (cloth.roughness, middle(&mut roughness)) {
            fit.roughness_shift = strength * (around - own);
        }
    }

    /// Colours of the garment's cloth at those texels; openings are left out.
    fn colors(&self, target: &Target, near: &[Near]) -> Vec<Glimpse> {
        let Some((stored, role)) = self.role(target, Channel::BaseColor) else { return Vec::new() };
        let opacity = self.role(target, Channel::Opacity);
        let open = |n: &&Near| {
            opacity.is_none_or(|(stored, role)| {
                let [x, y] = same_place(n, target, stored);
                stored.unit_at(x, y, &role.coding) >= 0.5
            })
        };
        let glimpses = near.iter().filter(open).map(|n| Glimpse { color: stored.color_at(n.x, n.y, &role.coding), cell: n.cell });
        // A float texture may hold anything; one texel of nonsense must not decide for the cloth.
        glimpses.filter(|glimpse| glimpse.color.0.iter().all(|v| v.is_finite())).collect()
    }

    fn scalars(&self, target: &Target, channel: Channel, near: &[Near]) -> Vec<f32> {
        let Some((stored, role)) = self.role(target, channel) else { return Vec::new() };
        let at = |n: &Near| {
            let [x, y] = same_place(n, target, stored);
            stored.unit_at(x, y, &role.coding)
        };
        near.iter().map(at).filter(|v| v.is_finite()).collect()
    }
}

/// The texel of a file of another size that shows the place of a target's texel.
fn same_place(near: &Near, target: &Target, stored: &Stored) -> [usize; 2] {
    let scaled = |v: usize, of: usize, to: usize| ((2 * v + 1) * to / (2 * of.max(1))).min(to.saturating_sub(1));
    [scaled(near.x, target.size.width, stored.size.width), scaled(near.y, target.size.height, stored.size.height)]
}

/// What the placement asks for, or what its patch calls for.
fn wanted(placed: &Placed<'_>) -> Wanted {
    let Some(rule) = placed.rule_of(Channel::BaseColor) else { return Wanted::Nothing };
    let matching = &placed.placement.matching;
    let by_itself = match placed.patch.subject {
        Subject::Damage => MatchMode::Redye,
        Subject::Piece => MatchMode::None,
    };
    match matching.mode.unwrap_or(by_itself) {
        MatchMode::None => Wanted::Nothing,
        _ if matching.mode.is_none() && placed.patch.cloth_color.is_none() => Wanted::Unknown,
        _ if rule.rule == Rule::Multiply => Wanted::Mark,
        MatchMode::Redye => Wanted::Redye,
        MatchMode::Fit => Wanted::Fit,
    }
}

fn canvas(patch: &Patch) -> (f64, f64) {
    (patch.size().width as f64, patch.size().height as f64)
}

/// The patch's own cloth: around an injury, or the piece itself.
fn cloth_of(patch: &Patch, prepared: &Prepared, side: usize, dye: Option<&Dye>) -> Option<PatchCloth> {
    let size = canvas(patch);
    let cell = |x: f64, y: f64| cell_of(x, y, size);
    match patch.subject {
        Subject::Damage => PatchCloth::of(patch, &strongest(&prepared.ring), side, cell, dye),
        Subject::Piece => PatchCloth::of(patch, &prepared.coarse.map(|c| if c > 0.98 { 1.0 } else { 0.0 }), side, cell, dye),
    }
}

/// With one at its highest.
fn strongest(weights: &Image<f32>) -> Image<f32> {
    let most = weights.texels().iter().copied().fold(1e-6, f32::max);
    weights.map(|w| w / most)
}

fn middle(values: &mut [f32]) -> Option<f32> {
    let at = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(at, f32::total_cmp).1)
}
