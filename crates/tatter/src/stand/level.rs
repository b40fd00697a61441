//! Textures at one fineness, a job laid over them, and what the adapter and the flat view have of it.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

use rayon::prelude::*;
use tatter_core::channel::{Channel, Kind};
use tatter_core::color::srgb_code;
use tatter_core::image::{Coding, Map, Rect, Samples, Size, Stored};
use tatter_core::kernel::area_resize;
use tatter_core::model::{Garment, Job, MapFile, MapRole, MapSet, Wear};
use tatter_core::task::Task;
use tatter_garment::build::{Again, BuildError, BuildPlan, BuildRecord, BuildSettings, Ground, Keeping, WearGround};
use tatter_garment::surface::Surface;
use tatter_proof::{Loaded, LoadedShape, Picture, Renderer};

use super::{Form, State};
use crate::build::BuildFailed;
use crate::library::shown;
use crate::proof::studio::materials;
use crate::proof::{ProofError, ProofRequest};
use crate::reuse::changed;
use crate::session::{Session, SessionError};
use crate::wear;

/// Textures at one fineness.
pub(super) struct Level {
    pub(super) session: Session,
    pristine: Vec<Vec<Stored>>,
    /// Wear, and the textures worn by it: it costs more than placements do, and changes more seldom.
    worn: Option<Worn>,
    /// Those before, where they are small: while wear moves only what differs from them is laid on anew.
    worn_before: Option<Worn>,
    /// What wearing has in common, once something was worn.
    wear_ground: Option<WearGround>,
    /// What builds have in common, once something was laid.
    pub(super) ground: Option<Arc<Ground>>,
    pub(super) laid: Option<Laid>,
    /// On the adapter: as they were, and as they become.
    loaded: [Option<Loaded>; 2],
    /// By map set: areas in which what was laid last is not what the adapter has.
    stale: Vec<Vec<(Rect, Size)>>,
    /// The textures beneath what is laid, to be laid on again, where they are small: fresh memory costs more than what is laid.
    fresh: Option<Vec<Vec<Stored>>>,
    /// By map set: base colours as a screen shows them, and the areas in which they are not what was laid last.
    flat: Vec<Option<Flat>>,
}

/// Wear, and the textures worn by it.
type Worn = (Vec<Wear>, Vec<Vec<Stored>>);

/// A map set's base colours as they were shown flat.
struct Flat {
    picture: Picture,
    stale: Vec<Rect>,
}

/// How placements are matched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Matching {
    /// To the cloth where they lie.
    Own,
    /// As before, where something is known.
    Kept,
}

/// A job that was laid, and what came of it.
pub(super) struct Laid {
    job: Arc<Job>,
    pictures: Vec<Vec<Stored>>,
    record: BuildRecord,
    /// Ids of placements that may have kept the match of another place.
    kept: BTreeSet<String>,
}

impl Laid {
    /// Whether it is what laying a job with such matches gives.
    pub(super) fn is_of(&self, job: &Job, matching: Matching) -> bool {
        looks_same(&self.job, job) && (matching == Matching::Kept || self.kept.is_empty())
    }
}

/// Textures of at most so many bytes are held twice.
const SMALL: usize = 16 << 20;

/// Sides of the tiles that are laid anew: what is dragged is small beside a texture.
const TILE: usize = 64;

impl Level {
    /// Of a garment whose textures are `pristine` here, whatever their size is.
    pub(super) fn new(job: &Job, mut garment: Garment, pristine: Vec<Vec<Stored>>, path: &Path) -> Result<Self, SessionError> {
        for (set, pictures) in garment.sets.iter_mut().zip(&pristine) {
            for (file, picture) in set.files.iter_mut().zip(pictures) {
                file.size = picture.size;
            }
        }
        // Patches are read when a job that is laid wants them.
        let job = Job { placements: Vec::new(), ..job.clone() };
        let stale = vec![Vec::new(); garment.sets.len()];
        let flat = garment.sets.iter().map(|_| None).collect();
        Ok(Self {
            session: Session::of(job, garment, path)?,
            pristine,
            worn: None,
            worn_before: None,
            wear_ground: None,
            ground: None,
            laid: None,
            loaded: [None, None],
            stale,
            fresh: None,
            flat,
        })
    }

    /// The base colour of a map set as it was laid last, at most `most` pixels to a side; see [`super::Dresser::flat`].
    pub(super) fn flat(&mut self, set: usize, most: usize) -> Option<Picture> {
        let pictures = &self.laid.as_ref()?.pictures;
        let (file, role) = base_color(self.session.garment.sets.get(set)?)?;
        let picture = &pictures[set][file];
        let Size { width, height } = picture.size;
        let longest = width.max(height);
        if longest <= most {
            let flat = self.flat[set].get_or_insert_with(|| {
                let rgb = codes(picture, &role.coding, Rect::whole(picture.size));
                Flat { picture: Picture { width: width as u32, height: height as u32, rgb }, stale: Vec::new() }
            });
            for part in flat.stale.drain(..) {
                let new = codes(picture, &role.coding, part);
                for (row, line) in new.chunks_exact(3 * part.width).enumerate() {
                    let at = 3 * ((part.y + row) * width + part.x);
                    flat.picture.rgb[at..at + line.len()].copy_from_slice(line);
                }
            }
            return Some(flat.picture.clone());
        }
        let Map::Color(color) = picture.decode(Kind::Color, &role.coding, Rect::whole(picture.size)) else { return None };
        let side = |side: usize| (side * most / longest).max(1);
        Some(shown(&area_resize(&color, side(width), side(height))))
    }

    /// Have the textures ready as the wear of its job leaves them.
    pub(super) fn wear(&mut self, surface: &Surface, path: &Path, task: &Task) -> Result<(), ProofError> {
        let job = &self.session.job;
        if job.wear.is_empty() {
            if let Some(old) = self.worn.take() {
                self.worn_before = Some(old).filter(|(_, pictures)| bytes(pictures) <= SMALL);
                self.fresh = None;
            }
        } else if self.worn.as_ref().is_none_or(|(wear, _)| *wear != job.wear) {
            let mut pictures = self.pristine.clone();
            let ground = self.wear_ground.get_or_insert_with(|| {
                // Of what is fine all texels would be held once more.
                let keeping = if bytes(&pictures) <= SMALL { Keeping::All } else { Keeping::Nothing };
                let settings = BuildSettings { tile: TILE, ..BuildSettings::default() };
                WearGround::new(surface, &self.session.garment, &settings, keeping)
            });
            wear::apply_on((ground, surface), &self.session, &mut pictures, path, task).map_err(BuildFailed::from)?;
            let old = self.worn.replace((job.wear.clone(), pictures));
            self.worn_before = old.filter(|(_, pictures)| bytes(pictures) <= SMALL);
            self.fresh = None;
        }
        Ok(())
    }

    /// Lay the placements of a job, of which the session has a copy: only what differs from what was laid last, where little does.
    pub(super) fn lay(&mut self, job: &Arc<Job>, form: &Form, matching: Matching, task: &Task) -> Result<(), BuildError> {
        let beneath = self.worn.as_ref().map_or(&self.pristine, |(_, pictures)| pictures);
        let settings = BuildSettings { tile: TILE, ..BuildSettings::default() };
        let ground =
            || Ground::new(Arc::clone(form.surface()), &self.session.garment, &settings).sharing(Arc::clone(form.footprints()));
        let ground = self.ground.get_or_insert_with(|| Arc::new(ground()));
        let placed = self.session.placed();
        let mut plan = BuildPlan::on(Arc::clone(ground), &self.session.garment, &placed, task)?;
        if matching == Matching::Kept {
            plan = plan.keeping_match();
        }
        let mut pictures = self.fresh.take().unwrap_or_else(|| beneath.clone());
        let beneath_before = beneath_of(&self.laid, &self.pristine, [&self.worn, &self.worn_before]);
        let before = self.laid.as_mut().filter(|laid| laid.job.patches == job.patches);
        let changed = before.zip(beneath_before).and_then(|(laid, beneath_before)| {
            let mut ids = changed(&laid.job.placements, &job.placements, |placement| placement.id.as_str())?;
            let worn_anew = laid.job.wear != job.wear;
            // At rest each is matched to the cloth as it is worn now.
            (!worn_anew || matching == Matching::Kept).then_some(())?;
            if matching == Matching::Own {
                ids.extend(laid.kept.iter().cloned());
            }
            let mut tiles = laid.record.tiles_of(&ids);
            tiles.extend(plan.tiles_of(&ids));
            if worn_anew {
                for (set, (old, new)) in beneath_before.iter().zip(beneath).enumerate() {
                    for (file, (old, new)) in old.iter().zip(new).enumerate() {
                        tiles.extend(differing(new, old).iter().filter_map(|part| plan.tile_at(set, file, [part.x, part.y])));
                    }
                }
                ids = job.placements.iter().map(|placement| placement.id.clone()).collect();
            }
            Some((laid, ids, tiles))
        });
        let Some((laid, mut ids, tiles)) = changed else {
            let (_, record) = plan.lay(&mut pictures, None, task)?;
            let ids = || job.placements.iter().map(|placement| placement.id.clone());
            let kept = if matching == Matching::Kept { ids().collect() } else { BTreeSet::new() };
            let before = self.laid.iter().flat_map(|laid| &laid.pictures);
            for (set, (old, new)) in before.zip(&pictures).enumerate() {
                let shown = base_color(&self.session.garment.sets[set]).map(|(file, _)| file);
                note_differing(old, new, &mut self.stale[set], self.flat[set].as_mut(), shown);
            }
            self.laid = Some(Laid { job: Arc::clone(job), pictures, record, kept });
            return Ok(());
        };
        let sets = 0..self.session.garment.sets.len();
        let parts: Vec<Vec<Vec<Rect>>> =
            sets.map(|set| (0..pictures[set].len()).map(|file| plan.parts(&tiles, set, file)).collect()).collect();
        let (_, record) = plan.lay(&mut pictures, Some(Again { record: &laid.record, tiles: &tiles }), task)?;
        for (set, files) in parts.iter().enumerate() {
            let shown = base_color(&self.session.garment.sets[set]).map(|(file, _)| file);
            for (file, parts) in files.iter().enumerate() {
                let (new, old) = (&mut pictures[set][file], &mut laid.pictures[set][file]);
                for part in parts {
                    if let Some(part) = new.differing_part(old, *part) {
                        old.paste(&new.crop(part), part.x, part.y);
                        self.stale[set].push((part, new.size));
                        if let Some(flat) = self.flat[set].as_mut().filter(|_| shown == Some(file)) {
                            flat.stale.push(part);
                        }
                    }
                    new.paste(&beneath[set][file].crop(*part), part.x, part.y);
                }
            }
        }
        if bytes(&pictures) <= SMALL {
            self.fresh = Some(pictures);
        }
        (laid.job, laid.record) = (Arc::clone(job), record);
        match matching {
            Matching::Own => laid.kept.clear(),
            Matching::Kept => laid.kept.append(&mut ids),
        }
        Ok(())
    }

    /// Put what was laid, or what was before, on the adapter, if it is not there; what is there is refreshed where it is
    /// stale. `shape` is the garment's.
    pub(super) fn load(&mut self, renderer: &Renderer, state: State, shape: &Arc<LoadedShape>) -> Option<&Loaded> {
        let request = ProofRequest::default();
        let pictures = if state == State::Before { &self.pristine } else { &self.laid.as_ref()?.pictures };
        let garment = &self.session.garment;
        let loaded = &mut self.loaded[state as usize];
        let materials = || materials(garment, pictures, &request);
        match loaded {
            Some(loaded) if state == State::After && self.stale.iter().any(|areas| !areas.is_empty()) => {
                let materials = materials();
                for (number, areas) in self.stale.iter().enumerate().filter(|(_, areas)| !areas.is_empty()) {
                    renderer.refresh(loaded, number, &materials[number], areas);
                }
            }
            Some(_) => {}
            None => {
                // All of each texture: what is asked for next may be nearer.
                let whole = vec![f32::MAX; garment.sets.len() + 1];
                *loaded = Some(renderer.dressed(Arc::clone(shape), &materials(), &whole));
            }
        }
        if state == State::After {
            self.stale.iter_mut().for_each(Vec::clear);
        }
        loaded.as_ref()
    }
}

/// The textures beneath what was laid last, where they are still at hand.
fn beneath_of<'a>(laid: &Option<Laid>, pristine: &'a [Vec<Stored>], worn: [&'a Option<Worn>; 2]) -> Option<&'a [Vec<Stored>]> {
    let wear = &laid.as_ref()?.job.wear;
    if wear.is_empty() {
        return Some(pristine);
    }
    worn.into_iter().flatten().find(|(known, _)| known == wear).map(|(_, pictures)| pictures.as_slice())
}

/// Whether two jobs give the same pictures.
fn looks_same(one: &Job, other: &Job) -> bool {
    one.placements == other.placements && one.wear == other.wear && one.patches == other.patches
}

/// What pictures take.
fn bytes(pictures: &[Vec<Stored>]) -> usize {
    let of_sample = |samples: &Samples| match samples {
        Samples::U8(_) => 1,
        Samples::U16(_) | Samples::F16(_) => 2,
        Samples::F32(_) => 4,
    };
    let of = |picture: &Stored| picture.size.area() * picture.layout.components() * of_sample(&picture.samples);
    pictures.iter().flatten().map(of).sum()
}

/// Note where the pictures of a map set differ, of which one is `shown` flat.
fn note_differing(
    old: &[Stored],
    new: &[Stored],
    stale: &mut Vec<(Rect, Size)>,
    mut flat: Option<&mut Flat>,
    shown: Option<usize>,
) {
    for (file, (old, new)) in old.iter().zip(new).enumerate() {
        let parts = differing(new, old);
        stale.extend(parts.iter().map(|part| (*part, new.size)));
        if let Some(flat) = flat.as_deref_mut().filter(|_| shown == Some(file)) {
            flat.stale.extend(parts);
        }
    }
}

/// The parts of tiles in which two pictures differ.
fn differing(one: &Stored, other: &Stored) -> Vec<Rect> {
    let Size { width, height } = one.size;
    let rows: Vec<usize> = (0..height).step_by(TILE).collect();
    let of_row = |&y: &usize| {
        let tile = move |x: usize| Rect::new(x, y, TILE.min(width - x), TILE.min(height - y));
        (0..width).step_by(TILE).filter_map(|x| one.differing_part(other, tile(x))).collect::<Vec<_>>()
    };
    rows.par_iter().flat_map_iter(of_row).collect()
}

/// The file that holds a map set's base colour.
fn base_color(set: &MapSet) -> Option<(usize, &MapRole)> {
    let of = |file: &'_ MapFile| file.roles.iter().position(|role| role.channel == Channel::BaseColor);
    set.files.iter().enumerate().find_map(|(number, file)| Some((number, &file.roles[of(file)?])))
}

/// The colours of a part of a picture as a screen shows them, row by row.
fn codes(picture: &Stored, coding: &Coding, part: Rect) -> Vec<u8> {
    const ROWS: usize = 32;
    let strips: Vec<usize> = (part.y..part.bottom()).step_by(ROWS).collect();
    let strip = |&y: &usize| {
        let rows = Rect::new(part.x, y, part.width, ROWS.min(part.bottom() - y));
        match picture.decode(Kind::Color, coding, rows) {
            Map::Color(color) => color.texels().iter().flat_map(|light| light.0.map(srgb_code)).collect::<Vec<u8>>(),
            _ => vec![0; 3 * rows.width * rows.height],
        }
    };
    strips.par_iter().map(strip).collect::<Vec<_>>().concat()
}
