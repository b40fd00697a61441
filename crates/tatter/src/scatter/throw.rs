//! Throwing a rule onto a garment: what it yields, before it is brought into a job.

use std::collections::BTreeMap;
use std::path::Path;

use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::image::{Image, Map, Unit};
use tatter_core::model::{Density, Garment, Job, Patch, PatchRef, Placement, Scatter};
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_files::limits::Limits;
use tatter_files::patch::read_patch;
use tatter_files::picture::{PictureError, read_stored};
use tatter_garment::scatter::{ScatterGround, ScatterInput, Scattered, scatter_on};
use tatter_garment::surface::Surface;

use super::ScatterFailed;

/// Cover below this is not there when covers must not overlap.
const COVERED: f32 = 0.05;

/// A rule as it is to be, with the patches it names: a job may not know all of them yet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Draft {
    /// The rule.
    pub rule: Scatter,
    /// Its patches.
    pub patches: Vec<PatchRef>,
}

impl Draft {
    /// A scatter as it is in a job.
    pub fn of(job: &Job, rule: &Scatter) -> Self {
        let used = |patch: &&PatchRef| rule.patches.iter().any(|share| share.patch == patch.name);
        Self { rule: rule.clone(), patches: job.patches.iter().filter(used).cloned().collect() }
    }
}

/// What a rule yields on a garment.
#[derive(Clone, Debug, PartialEq)]
pub struct Yielded {
    /// Of what.
    pub draft: Draft,
    /// Its placements with their numbers.
    pub placements: Vec<(usize, Placement)>,
}

impl Yielded {
    /// What there is to say when not all find room.
    pub fn shortfall(&self) -> Option<String> {
        let (yielded, count) = (self.placements.len(), self.draft.rule.count);
        (yielded < count).then(|| {
            format!(
                "Scatter '{}': {yielded} of {count} find room; allow overlap, smaller sizes or a smaller margin for more.",
                self.draft.rule.id
            )
        })
    }
}

/// Patches that were read, by their paths from the job file.
pub(crate) type Known = BTreeMap<String, Patch>;

/// Read the patches of a draft that are not known yet.
pub(crate) fn read_patches(known: &mut Known, draft: &Draft, folder: &Path) -> Result<(), ScatterFailed> {
    for patch in &draft.patches {
        if !known.contains_key(&patch.path) {
            known.insert(patch.path.clone(), read_patch(&folder.join(&patch.path), &Limits::default())?);
        }
    }
    Ok(())
}

/// The placements a draft yields; its patches are known.
pub(crate) fn throw(
    ground: &ScatterGround,
    surface: &Surface,
    garment: &Garment,
    known: &Known,
    draft: &Draft,
    job: &Path,
    task: &Task,
) -> Result<Vec<(usize, Placement)>, ScatterFailed> {
    let rule = &draft.rule;
    let path = |name: &str| draft.patches.iter().find(|patch| patch.name == name).map(|patch| &patch.path);
    let own: Vec<Option<&Patch>> = rule.patches.iter().map(|share| known.get(path(&share.patch)?)).collect();
    let radii: Vec<f64> = own.iter().map(|patch| patch.map_or(0.0, cover_radius)).collect();
    let folder = job.parent().unwrap_or(Path::new(""));
    let pictures = rule.density.iter().map(|density| picture(density, folder)).collect::<Result<Vec<_>, PictureError>>()?;
    let input = ScatterInput { rule, radius_mm: &radii, pictures: &pictures };
    let found = scatter_on(ground, surface, garment, &input, task).map_err(|error| ScatterFailed::Rule(error, job.to_owned()))?;
    Ok(found.into_iter().map(|one| (one.number, placement(rule, one, &own))).collect())
}

fn placement(rule: &Scatter, one: Scattered, patches: &[Option<&Patch>]) -> Placement {
    let side = patches[one.patch].map_or(0.0, |patch| patch.size_mm()[0].get());
    Placement {
        id: format!("{}-{}", rule.id, one.number),
        patch: rule.patches[one.patch].patch.clone(),
        spot: one.spot,
        // As people write numbers, so that what is read back from the file is the same to the bit.
        turn: Angle::degrees(rounded(one.turn.to_degrees(), 10.0)),
        // At its own size a patch may be measured anew and still lies true.
        size: (one.scale != 1.0).then_some(Mm(rounded(side * one.scale, 100.0))),
        mirror: one.mirror,
        rules: rule.rules,
        matching: rule.matching,
    }
}

fn rounded(number: f32, steps: f32) -> f32 {
    (number * steps).round() / steps
}

/// The farthest cover from the middle of the canvas, mm.
fn cover_radius(patch: &Patch) -> f64 {
    let size = patch.size();
    let middle = (size.width as f64 / 2.0, size.height as f64 / 2.0);
    let whole = middle.0.hypot(middle.1);
    let texels = match patch.map(Channel::Cover) {
        Some(Map::Unit(cover)) => (0..size.height)
            .flat_map(|y| cover.row(y).iter().enumerate().filter(|(_, c)| c.0 > COVERED).map(move |(x, _)| (x, y)))
            .map(|(x, y)| (x as f64 + 0.5 - middle.0).hypot(y as f64 + 0.5 - middle.1))
            .fold(0.0, f64::max),
        _ => whole,
    };
    texels * f64::from(patch.scale.get())
}

pub(crate) fn picture(density: &Density, folder: &Path) -> Result<Option<Image<Unit>>, PictureError> {
    let Density::Picture(path) = density else { return Ok(None) };
    let stored = read_stored(&folder.join(path), &Limits::default())?;
    Ok(Some(Image::from_fn(stored.size.width, stored.size.height, |x, y| Unit(stored.value(x, y, 0)))))
}
