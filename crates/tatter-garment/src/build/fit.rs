//! Each placement's own fit to the cloth around it: colour and roughness, from pristine textures.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use glam::DVec3;
use rayon::prelude::*;
use tatter_core::channel::Channel;
use tatter_core::color::{Cdl, OkLab};
use tatter_core::image::{Image, LinearRgb, Stored};
use tatter_core::model::{Edge, MapRole, Match, MatchMode, Patch, Relief, Subject};
use tatter_core::rule::Rule;

use super::around::{Near, REACH, cell_of, near_texels};
use super::depth::{AroundRelief, Depth, depth};
use super::plan::{Draw, Target};
use super::planned::Planned;
use super::pyramid::Prepared;
use super::record::FitRecord;
use super::seam::Seam;
use super::tile::RuleOf as _;
use crate::matching::{
    Dye, Field, Glimpse, Injured, Lightened, OntoCloth, PatchCloth, Recolor, Redye, Shown, Swatch, colors, injured_at,
    node_means, pale, trust, undyed,
};
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
    /// Where it ends, when not with its cover.
    pub(super) seam: Option<Seam>,
    /// What becomes of its relief, and what would with all of the match.
    pub(super) depth: Depth,
    whole_depth: Depth,
    /// Added to its roughness, place by place, and what would be with all of the match.
    pub(super) roughness: Field<1>,
    whole_roughness: Field<1>,
    /// Where its cloth is injured, when the pores of the rest are the garment's affair.
    injury: Option<Arc<Image<f32>>>,
    /// Of the match.
    strength: f32,
    /// Median CIEDE2000 between its cloth as laid and the cloth around it.
    pub(super) rim_difference: Option<f32>,
    /// Code and text of what the person should hear.
    pub(super) told: Vec<(&'static str, String)>,
}

impl Fit {
    /// Colours as they are laid, in place.
    pub(super) fn colors(&self, shown: &mut [Shown]) {
        self.recolor.apply_all(shown, self.grade.as_ref());
    }

    /// Its opacity at a place in shares of the canvas: openings are the injury's. Between its intact threads it lets nothing through, as far
    /// as it is matched; whether the garment's cloth does is in the garment's own map.
    #[inline]
    pub(super) fn opacity(&self, own: f32, at: [f32; 2]) -> f32 {
        match &self.injury {
            Some(injury) if own < 1.0 => 1.0 - (1.0 - own) * (1.0 - self.strength * (1.0 - injured_at(injury, at))),
            _ => own,
        }
    }

    /// The same with another strength and grade. All but the seam is as if found so; a seam follows its colours a little.
    pub(super) fn with(self: &Arc<Self>, matching: &Match) -> Arc<Self> {
        let Match { strength, grade, .. } = *matching;
        if self.strength == strength && self.grade == grade {
            return Arc::clone(self);
        }
        let mut fit = Self { grade, ..Self::clone(self) };
        match &mut fit.recolor {
            Recolor::Keep => {}
            Recolor::Onto(onto) => onto.strength = strength,
            Recolor::Mark { strength: own, .. } => *own = strength,
        }
        fit.be_strong(strength);
        Arc::new(fit)
    }

    /// Relief and roughness by all of the match and its strength.
    fn be_strong(&mut self, strength: f32) {
        self.strength = strength;
        self.depth = self.whole_depth.in_part(strength);
        self.roughness = self.whole_roughness.in_part(strength);
    }
}

/// The dye of each patch that is dyed anew, by its number.
pub(super) type Dyes = BTreeMap<usize, Arc<Dye>>;

/// Find the dyes of the patches that are to be dyed anew.
pub(super) fn dyes(placements: &[Placed<'_>], patches: &[(&Patch, Arc<Prepared>)], patch_of: &[usize]) -> Dyes {
    let asked = placements.iter().zip(patch_of).filter(|(placed, _)| wanted(placed) == Wanted::Redye);
    let patches_asked: BTreeSet<usize> = asked.map(|(_, &patch)| patch).collect();
    let found: Vec<(usize, Arc<Dye>)> = patches_asked
        .into_par_iter()
        .filter_map(|number| {
            let (patch, prepared) = &patches[number];
            let found = prepared.dye.get_or_init(|| {
                let cloth = cloth_of(patch, prepared, 1, None).map(|cloth| cloth.swatch.mean);
                cloth.map(|cloth| Arc::new(Dye::new(cloth, undyed(&PatchCloth::of_injury(patch, &prepared.coarse), cloth))))
            });
            Some((number, Arc::clone(found.as_ref()?)))
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
    pub(super) patches: &'a [(&'a Patch, Arc<Prepared>)],
    /// By target and placement.
    pub(super) draws: &'a [Vec<Arc<Vec<Draw>>>],
    pub(super) dyes: &'a Dyes,
}

/// What is to be done with a placement's colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wanted {
    Nothing,
    /// It would be dyed anew if its cloth were known.
    Unknown,
    Mark,
    Redye,
    Fit,
}

/// A patch, and how many of its texels along a line one texel of the garment shows: what its cloth is sampled by.
type Look = (usize, usize);

/// Contrast is changed no further than this along any axis of colour: of a whole patch, white threads and all …
const GAIN: (f64, f64) = (0.5, 2.0);
/// … and of intact cloth alone, whose threads may have to go under in an even cloth.
const INTACT_GAIN: (f64, f64) = (0.2, 1.3);
/// Rounds in which what varies is found: a mean of light is not the light of a mean, and each round halves the error at least.
const ROUNDS: usize = 3;
/// Less injured than this a place tells of the cloth.
const INTACT: f32 = 0.05;
/// Share of the cells that must show the colour matched before nothing is said.
pub(super) const ONE_CLOTH: f32 = 0.999;

impl FitContext<'_> {
    /// One for each placement, in order: what it keeps, or its own; of those that are not chosen only what they told, as it is known.
    pub(super) fn fits(
        &self,
        chosen: &[bool],
        kept: &[Option<Arc<Fit>>],
        known: Option<&BTreeMap<String, FitRecord>>,
    ) -> Vec<Arc<Fit>> {
        let of = |k: usize| if chosen[k] && kept[k].is_none() { wanted(&self.planned.placements[k]) } else { Wanted::Nothing };
        let wanted: Vec<Wanted> = (0..chosen.len()).map(of).collect();
        let looks: Vec<Option<Look>> = (0..wanted.len())
            .map(|k| {
                (!matches!(wanted[k], Wanted::Nothing | Wanted::Unknown))
                    .then(|| Some((self.planned.patch_of[k], self.side(k)?)))
                    .flatten()
            })
            .collect();
        let distinct: BTreeSet<Look> = looks.iter().flatten().copied().collect();
        let cloths: BTreeMap<Look, Arc<PatchCloth>> = distinct
            .into_par_iter()
            .filter_map(|look| {
                let (patch, prepared) = &self.patches[look.0];
                let dye = self.dyes.get(&look.0).map(Arc::as_ref);
                Some((look, prepared.cloth(look.1, dye.is_some(), || cloth_of(patch, prepared, look.1, dye))?))
            })
            .collect::<Vec<_>>()
            .into_iter()
            .collect();
        (0..wanted.len())
            .into_par_iter()
            .map(|k| {
                if let Some(kept) = &kept[k] {
                    return Arc::clone(kept);
                }
                let mut fit = Fit {
                    recolor: Recolor::Keep,
                    grade: self.planned.placements[k].placement.matching.grade,
                    seam: None,
                    depth: Depth::KEEP,
                    whole_depth: Depth::KEEP,
                    roughness: Field::none(),
                    whole_roughness: Field::none(),
                    injury: None,
                    strength: self.planned.placements[k].placement.matching.strength,
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
                Arc::new(fit)
            })
            .collect()
    }

    /// Patch texels along a line in one texel of the base colour, at the spot; `None` where no base colour is reached.
    fn side(&self, k: usize) -> Option<usize> {
        let at_spot = self.planned.footprints[k].seed.face;
        let own = self.colored(k).flat_map(|(t, _)| self.draws[t][k].iter());
        let draw = own.clone().find(|d| d.face == at_spot).or_else(|| own.into_iter().next())?;
        let [u, v] = draw.patch_from_texel;
        Some(((u[0] * v[1] - u[1] * v[0]).abs().sqrt().round() as usize).clamp(1, 256))
    }

    /// Targets with a base colour on the spot's own material, all its UV tiles.
    pub(super) fn colored(&self, k: usize) -> impl Iterator<Item = (usize, &Target)> + Clone {
        let set = self.planned.ground.assignment.set[self.planned.footprints[k].seed.face].unwrap_or_default();
        let material = &self.planned.garment.sets[set].material;
        let own = move |target: &Target| {
            let colors = self.role(target, Channel::BaseColor).is_some_and(|(stored, _)| stored.size == target.size);
            self.planned.garment.sets[target.set].material == *material && colors
        };
        self.planned.ground.targets.iter().enumerate().filter(move |(_, target)| own(target))
    }

    /// File and role of a channel in a target's map set, whatever its size.
    pub(super) fn role(&self, target: &Target, channel: Channel) -> Option<(&Stored, &MapRole)> {
        self.planned.garment.sets[target.set].files.iter().zip(&self.pictures[target.set]).find_map(|(file, stored)| {
            let role = file.roles.iter().find(|role| role.channel == channel)?;
            Some((stored, role))
        })
    }

    /// Texels of a target around a placement, on the part of the spot.
    fn near(&self, k: usize, target: &Target) -> Vec<Near> {
        let (patch, prepared) = &self.patches[self.planned.patch_of[k]];
        let context = self.planned.context(target, k, prepared, 0);
        let part = self.planned.ground.surface.faces()[self.planned.footprints[k].seed.face].part;
        near_texels(&context.around(part, REACH), prepared, canvas(patch))
    }

    fn fit(&self, k: usize, wanted: Wanted, cloth: &PatchCloth, fit: &mut Fit) {
        if wanted == Wanted::Mark {
            let strength = self.planned.placements[k].placement.matching.strength;
            fit.recolor = Recolor::Mark { cloth: cloth.swatch.mean, strength };
            return;
        }
        let (mut glimpses, mut roughness, mut relief) = (Vec::new(), Vec::new(), AroundRelief::default());
        for (_, target) in self.colored(k) {
            let near = self.near(k, target);
            glimpses.extend(self.colors(target, &near));
            roughness.extend(self.scalars(target, Channel::Roughness, &near));
            self.add_relief(target, &near, &mut relief);
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
        glimpses.retain(|g| around.cells.contains_key(&g.cell));
        let Some(onto) = self.onto(k, wanted, cloth, &around) else { return };
        let strength = onto.strength;
        let (patch, prepared) = &self.patches[self.planned.patch_of[k]];
        let onto = if patch.subject == Subject::Damage {
            varying(onto, cloth, &glimpses, |at| injured_at(&prepared.injury, at) < INTACT)
        } else {
            onto
        };
        fit.rim_difference = around.difference(&laid(&onto, cloth));
        fit.recolor = Recolor::Onto(Box::new(onto));
        if let Some(own) = &cloth.roughness {
            fit.whole_roughness = roughness_field(own, &roughness);
        }
        if self.planned.placements[k].placement.matching.relief == Relief::Fit && patch.subject == Subject::Damage {
            fit.whole_depth = depth(cloth, &relief, self.planned.footprints[k].enlargement);
        }
        fit.injury = (patch.subject == Subject::Damage).then(|| Arc::clone(&prepared.injury));
        fit.be_strong(strength);
        if self.planned.placements[k].placement.matching.edge == Edge::Seam && patch.subject == Subject::Damage {
            fit.seam = self.seam(k, fit);
        }
    }

    /// From the mean and spread of one cloth to those of the other.
    fn onto(&self, k: usize, wanted: Wanted, cloth: &PatchCloth, around: &Swatch) -> Option<OntoCloth> {
        let (own, target) = (cloth.swatch.gaussian()?, around.gaussian()?);
        let strength = self.planned.placements[k].placement.matching.strength;
        let dye = self.dyes.get(&self.planned.patch_of[k]).filter(|_| wanted == Wanted::Redye);
        let injured = dye.map(|dye| {
            let samples: Vec<(LinearRgb, f32)> = cloth.samples.iter().map(|(g, bare)| (g.color, *bare)).collect();
            // A cloth as rich in contrast as the patch's shows its bare fibre too.
            let contrast = |lightness: f64| lightness.max(1e-9).sqrt();
            let shown = (contrast(target.covariance.x_axis.x) / contrast(own.covariance.x_axis.x)).min(1.0) as f32;
            let redye = Redye::new(dye.clone(), &samples, around.mean, shown);
            let lightened = Lightened::new(cloth.swatch.mean, around.mean, redye.fibres());
            let pale = pale(own.mean.x, own.covariance.x_axis.x);
            Injured { redye, injury: self.patches[self.planned.patch_of[k]].1.injury.clone(), lightened, pale }
        });
        let gain = if injured.is_some() { INTACT_GAIN } else { GAIN };
        Some(OntoCloth { map: own.transport(&target, gain), injured, varies: Field::none(), strength })
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
        let glimpses =
            near.iter().filter(open).map(|n| Glimpse { color: stored.color_at(n.x, n.y, &role.coding), cell: n.cell, at: n.at });
        // A float texture may hold anything; one texel of nonsense must not decide for the cloth.
        glimpses.filter(|glimpse| glimpse.color.0.iter().all(|v| v.is_finite())).collect()
    }

    fn scalars(&self, target: &Target, channel: Channel, near: &[Near]) -> Vec<([f32; 2], f32)> {
        let Some((stored, role)) = self.role(target, channel) else { return Vec::new() };
        let at = |n: &Near| {
            let [x, y] = same_place(n, target, stored);
            (n.at, stored.unit_at(x, y, &role.coding))
        };
        near.iter().map(at).filter(|(_, v)| v.is_finite()).collect()
    }
}

/// The texel of a file of another size that shows the place of a target's texel.
pub(super) fn same_place(near: &Near, target: &Target, stored: &Stored) -> [usize; 2] {
    let scaled = |v: usize, of: usize, to: usize| ((2 * v + 1) * to / (2 * of.max(1))).min(to.saturating_sub(1));
    [scaled(near.x, target.size.width, stored.size.width), scaled(near.y, target.size.height, stored.size.height)]
}

/// What the placement asks for, or what its patch calls for.
pub(super) fn wanted(placed: &Placed<'_>) -> Wanted {
    let Some(rule) = placed.rule_of(Channel::BaseColor) else { return Wanted::Nothing };
    let matching = &placed.placement.matching;
    match placed.match_mode() {
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
        Subject::Damage => {
            let intact = prepared.rim.zip(&prepared.injury, |rim, injury| rim * (1.0 - injury));
            let of = |weights: &Image<f32>| PatchCloth::of(patch, &strongest(weights), side, cell, dye);
            // An injury that reaches the cover's edge all around leaves nothing else to go by.
            of(&intact).or_else(|| of(&prepared.ring))
        }
        Subject::Piece => PatchCloth::of(patch, &prepared.coarse.map(|c| if c > 0.98 { 1.0 } else { 0.0 }), side, cell, dye),
    }
}

/// With one at its highest.
fn strongest(weights: &Image<f32>) -> Image<f32> {
    let most = weights.texels().iter().copied().fold(1e-6, f32::max);
    weights.map(|w| w / most)
}

/// The patch's own cloth as it is laid.
fn laid(onto: &OntoCloth, cloth: &PatchCloth) -> Vec<Glimpse> {
    let shown = |(g, bare): &(Glimpse, f32)| Shown { color: g.color, bare_luminance: *bare, at: g.at };
    let mut shown: Vec<Shown> = cloth.samples.iter().map(shown).collect();
    onto.apply_all(&mut shown);
    cloth.samples.iter().zip(shown).map(|((g, _), shown)| Glimpse { color: shown.color, ..*g }).collect()
}

/// With what is missing at each place of the rim to the garment's cloth there.
fn varying(mut onto: OntoCloth, cloth: &PatchCloth, around: &[Glimpse], intact: impl Fn([f32; 2]) -> bool) -> OntoCloth {
    let there = node_means(colors(around));
    let whole = std::mem::replace(&mut onto.strength, 1.0);
    let mut missing: BTreeMap<usize, ([f64; 3], f64)> = BTreeMap::new();
    let lab = |mean: [f64; 3]| {
        let OkLab { l, a, b } = OkLab::from(LinearRgb(mean.map(|v| v as f32)));
        DVec3::new(l.into(), a.into(), b.into())
    };
    let mut ordinary: Option<BTreeMap<usize, f64>> = None;
    for _ in 0..ROUNDS {
        let shown: Vec<Glimpse> = laid(&onto, cloth).into_iter().filter(|g| intact(g.at)).collect();
        let own = node_means(colors(&shown));
        let ordinary = ordinary.get_or_insert_with(|| ordinary_cloth(own.iter().map(|(&node, own)| (node, lab(own.mean)))));
        for (node, own) in own {
            if let (Some(there), Some(weight)) = (there.get(&node), ordinary.get(&node)) {
                let entry = missing.entry(node).or_insert(([0.0; 3], weight * trust(own.count, there.count)));
                let more = lab(there.mean) - lab(own.mean);
                entry.0.iter_mut().zip(more.to_array()).for_each(|(sum, more)| *sum += more);
            }
        }
        onto.varies = Field::through(&missing);
    }
    onto.strength = whole;
    onto
}

/// How far each node shows the patch's cloth as it ordinarily is: frayed threads at the rim are no colour to be made up for
/// (Tukey's biweight, from 0 at four times the middle deviation to 1 in the middle; Beaton, Tukey, "The fitting of power series", 1974).
fn ordinary_cloth(nodes: impl Iterator<Item = (usize, DVec3)>) -> BTreeMap<usize, f64> {
    let nodes: Vec<(usize, DVec3)> = nodes.collect();
    let middle = |values: &mut Vec<f64>| {
        let at = values.len() / 2;
        if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(at, f64::total_cmp).1 }
    };
    let axis = |i: usize| middle(&mut nodes.iter().map(|(_, lab)| lab[i]).collect());
    let cloth = DVec3::new(axis(0), axis(1), axis(2));
    let far = |lab: &DVec3| (*lab - cloth).length();
    let limit = 4.0 * middle(&mut nodes.iter().map(|(_, lab)| far(lab)).collect()).max(1e-4);
    nodes.iter().map(|(node, lab)| (*node, (1.0 - (far(lab) / limit).min(1.0).powi(2)).powi(2))).collect()
}

/// What is added to the roughness so that the patch's cloth is as dull as the garment's, place by place.
fn roughness_field(own: &[([f32; 2], f32)], around: &[([f32; 2], f32)]) -> Field<1> {
    let means = |all: &[([f32; 2], f32)]| node_means(all.iter().map(|&(at, v)| (at, [v])));
    let there = means(around);
    let missing = means(own).into_iter().filter_map(|(node, own)| {
        let there = there.get(&node)?;
        Some((node, ([there.mean[0] - own.mean[0]], trust(own.count, there.count))))
    });
    Field::through(&missing.collect())
}
