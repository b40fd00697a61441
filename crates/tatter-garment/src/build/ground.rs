//! What builds of one garment have in common, kept from one to the next: whose texels are whose, where placements lie, patches made ready.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use tatter_core::model::{Garment, Match, Patch, Placement};

use super::BuildSettings;
use super::fit::{Fit, Wanted, wanted};
use super::plan::{Assignment, Draw, OwnedFaces, Target, targets};
use super::pyramid::Prepared;
use crate::place::{Footprint, Footprints, Placed};
use crate::surface::Surface;

/// A garment made ready to be built again and again: as long as its surface, the sizes and roles of its textures and the patches in memory
/// stay what they were. A patch that was read anew needs a ground of its own.
#[derive(Debug)]
pub struct Ground {
    pub(super) surface: Arc<Surface>,
    pub(super) assignment: Assignment,
    pub(super) targets: Vec<Target>,
    pub(super) settings: BuildSettings,
    /// By target: the faces that show it.
    faces: Vec<OnceLock<OwnedFaces>>,
    patches: Mutex<BTreeMap<usize, Arc<Prepared>>>,
    /// By id, of the last build.
    lain: Mutex<BTreeMap<String, (Geometry, Lain)>>,
    /// Shared with others who ask where placements lie.
    pub(super) footprints: Arc<Footprints>,
    /// By id: how placements were fitted last.
    fits: Mutex<BTreeMap<String, (Manner, Arc<Fit>)>>,
}

/// What decides how a placement is fitted, besides where it lies and what [`Fit::told`] can tell of it.
#[derive(Clone, Debug, PartialEq)]
struct Manner {
    wanted: Wanted,
    /// Without strength and grade.
    matching: Match,
    patch: usize,
}

/// What decides where a placement lies.
#[derive(Clone, Debug, PartialEq)]
struct Geometry {
    placement: Placement,
    patch: usize,
}

/// Where a placement lies: on the cloth, and by target on the textures.
#[derive(Clone, Debug)]
pub(super) struct Lain {
    pub(super) footprint: Arc<Footprint>,
    pub(super) draws: Vec<Arc<Vec<Draw>>>,
}

impl Ground {
    /// Linear in the faces.
    pub fn new(surface: Arc<Surface>, garment: &Garment, settings: &BuildSettings) -> Self {
        let assignment = Assignment::new(&surface, &garment.sets);
        let targets = targets(garment);
        let faces = targets.iter().map(|_| OnceLock::new()).collect();
        Self {
            surface,
            assignment,
            targets,
            settings: *settings,
            faces,
            patches: Mutex::default(),
            lain: Mutex::default(),
            footprints: Arc::default(),
            fits: Mutex::default(),
        }
    }

    /// With footprints that others find and use, too: on the same surface, with the same [`BuildSettings::place`].
    #[must_use]
    pub fn sharing(self, footprints: Arc<Footprints>) -> Self {
        Self { footprints, ..self }
    }

    /// The faces that can own texels of a target, found when first asked for; `None` where the texture repeats and has no gutter.
    pub(super) fn faces(&self, garment: &Garment, number: usize) -> Option<&OwnedFaces> {
        let Target { set, size, .. } = self.targets[number];
        let padding = self.settings.padding as i64;
        let found = || self.assignment.faces_of(&self.surface, &garment.sets, set, size, padding);
        (!self.assignment.repeats[set]).then(|| self.faces[number].get_or_init(|| OwnedFaces::new(found(), size, self.side())))
    }

    /// Side of its tiles, texels.
    pub(super) fn side(&self) -> i64 {
        self.settings.tile.max(16) as i64
    }

    /// A patch made ready.
    pub(super) fn prepared(&self, patch: &Patch) -> Arc<Prepared> {
        let mut known = self.patches.lock().unwrap_or_else(PoisonError::into_inner);
        Arc::clone(known.entry(address(patch)).or_insert_with(|| Arc::new(Prepared::new(patch))))
    }

    /// Where a placement lay in the last build, if it lies there still.
    pub(super) fn lain(&self, placed: &Placed<'_>) -> Option<Lain> {
        let known = self.lain.lock().unwrap_or_else(PoisonError::into_inner);
        known.get(&placed.placement.id).filter(|(geometry, _)| *geometry == Geometry::of(placed)).map(|(_, lain)| lain.clone())
    }

    /// Keep where placements lie for the next build, and nothing of others.
    pub(super) fn keep(&self, placements: &[Placed<'_>], lain: &[Lain]) {
        let of = |(placed, lain): (&Placed<'_>, &Lain)| (placed.placement.id.clone(), (Geometry::of(placed), lain.clone()));
        let kept = placements.iter().zip(lain).map(of);
        *self.lain.lock().unwrap_or_else(PoisonError::into_inner) = kept.collect();
        self.footprints.keep(&placements.iter().map(|placed| placed.placement.id.as_str()).collect());
    }

    /// How a placement was fitted last, else another of its patch, if it is to be fitted in the same manner: with its own strength and grade.
    pub(super) fn fit(&self, placed: &Placed<'_>) -> Option<Arc<Fit>> {
        let known = self.fits.lock().unwrap_or_else(PoisonError::into_inner);
        let (manner, matching) = (Manner::of(placed), &placed.placement.matching);
        let own = known.get(&placed.placement.id).filter(|(known, _)| *known == manner);
        let like = || known.values().find(|(known, _)| *known == manner);
        own.or_else(like).map(|(_, fit)| fit.with(matching))
    }

    /// For each placement the first of those `asked` that is to be fitted in the same manner; itself where it is not asked.
    pub(super) fn alike(&self, placements: &[Placed<'_>], asked: impl Fn(usize) -> bool) -> Vec<usize> {
        let mut first: Vec<(Manner, usize)> = Vec::new();
        let of = |(k, placed): (usize, &Placed<'_>)| {
            if !asked(k) {
                return k;
            }
            let manner = Manner::of(placed);
            match first.iter().find(|(known, _)| *known == manner) {
                Some((_, number)) => *number,
                None => {
                    first.push((manner, k));
                    k
                }
            }
        };
        placements.iter().enumerate().map(of).collect()
    }

    /// Keep how the chosen placements were fitted, and of others nothing that is not there any more.
    pub(super) fn keep_fits(&self, placements: &[Placed<'_>], fits: &[Arc<Fit>], chosen: &[bool]) {
        let mut kept = self.fits.lock().unwrap_or_else(PoisonError::into_inner);
        let ids: BTreeSet<&str> = placements.iter().map(|placed| placed.placement.id.as_str()).collect();
        kept.retain(|id, _| ids.contains(id.as_str()));
        for ((placed, fit), _) in placements.iter().zip(fits).zip(chosen).filter(|(_, chosen)| **chosen) {
            kept.insert(placed.placement.id.clone(), (Manner::of(placed), Arc::clone(fit)));
        }
    }
}

impl Geometry {
    fn of(placed: &Placed<'_>) -> Self {
        // Rules and match move nothing.
        let placement = Placement { rules: Default::default(), matching: Default::default(), ..placed.placement.clone() };
        Self { placement, patch: address(placed.patch) }
    }
}

impl Manner {
    fn of(placed: &Placed<'_>) -> Self {
        let matching = Match { strength: 1.0, grade: None, ..placed.placement.matching };
        Self { wanted: wanted(placed), matching, patch: address(placed.patch) }
    }
}

/// A patch in memory is told apart by its place.
fn address(patch: &Patch) -> usize {
    std::ptr::from_ref(patch).addr()
}
