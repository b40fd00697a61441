//! Building only what changed since the job was last built, to the same bytes.
//!
//! Kept in the job's folder: the pristine tiles of the textures where something was laid, and for the last build which placement
//! showed in which tile, what it depended on, and where the rows of every written PNG lie in its file. When placements were moved,
//! changed, added or taken away, the tiles that they left or reach are laid anew from what was pristine, and the bands of rows that
//! hold those tiles are packed anew; everything else is copied from the file that was written last. That it is that file is told by its
//! length at first, and by its hash before anything takes effect; if it is not, all is built from nothing. Where nothing was laid, that file is what was pristine.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::path::PathBuf;

use rayon::prelude::*;
use tatter_core::image::{Rect, Size, Stored};
use tatter_core::mesh::Mesh;
use tatter_core::task::Task;
use tatter_files::picture::{Band, PictureFormat, Strips, rewrite_banded, unpack_banded};
use tatter_files::pieces::KnownFile;
use tatter_files::store::{BuiltRecord, KeptTiles, Remembered, folder_hash, hash_of, program_stamp};
use tatter_garment::build::{Again, BuildPlan, BuildRecord, BuildReport, BuildSettings, TileAt};

use crate::build::{BuildFailed, Computation, Computed, format_of, hashed};
use crate::session::Session;

/// What is kept of a build.
pub(crate) type Memory = Remembered<BuildRecord>;

/// With more of the placements changed, nothing is won.
const MOST_CHANGED: usize = 4;

/// Build from what was kept; `None` when something else than placements changed, or what is needed is not there.
pub(crate) fn compute(session: &mut Session, previous: &[PathBuf], task: &Task) -> Result<Option<Computation>, BuildFailed> {
    if !session.job.wear.is_empty() {
        return Ok(None);
    }
    if !session.store.remembers() {
        return Ok(None);
    }
    // Both at once: neither alone keeps every core busy to its end. Patches are wanted whether or not there is something to build on.
    let (patches, before) = task.stage("read", || rayon::join(|| session.read_patches(), || before(session, previous)));
    session.patches = patches?;
    let Some(Before { memory, base, placements, changed, files, kept_tiles }) = before else { return Ok(None) };
    session.take_sizes(&kept_tiles, KeptTiles::size);
    let placed = session.placed();
    let plan = BuildPlan::new(&session.garment, &placed, &BuildSettings::default(), task)?;
    let mut tiles = memory.build.tiles_of(&changed);
    tiles.extend(plan.tiles_of(&changed));
    let wanted = plan.rows(&tiles);
    let sets = &session.garment.sets;
    let parts: Vec<Vec<Vec<Rect>>> = (sets.iter().enumerate())
        .map(|(set, own)| (0..own.files.len()).map(|file| plan.parts(&tiles, set, file)).collect())
        .collect();
    let pristine = Pristine { session, plan: &plan, kept: &kept_tiles, last: &files, laid: memory.build.tiles(), parts: &parts };
    let Some(rows) = task.stage("read", || pristine.rows(&wanted)) else {
        session.store.drop_tiles();
        return Ok(None);
    };
    let (mut pictures, strips): (Vec<Vec<Stored>>, Vec<Vec<Strips>>) =
        rows.into_iter().map(|own| own.into_iter().unzip()).unzip();
    let strips: Vec<Strips> = strips.into_iter().flatten().collect();
    keep_tiles(session, &plan, &plan.tiles_of(&changed), &pictures, task);
    let again = Again { record: &memory.build, tiles: &tiles };
    let (report, record) = task.stage("build", || plan.lay(&mut pictures, Some(again), task))?;
    let all: Vec<(usize, usize)> =
        sets.iter().enumerate().flat_map(|(set, own)| (0..own.files.len()).map(move |file| (set, file))).collect();
    let rewritten = task.stage("encode", || {
        all.into_par_iter()
            .zip(strips)
            .map(|((set, file), strips)| {
                let known = &sets[set].files[file];
                let computed = Computed::unwritten(known, report.texels_changed(set, file));
                if computed.texels_changed == 0 {
                    return Ok(Some((computed, Vec::new())));
                }
                // A texture that was not changed before has no file of ours to take rows from.
                let Some((last, bands)) = files.get(&known.path) else { return Ok(None) };
                let failed = |error| BuildFailed::Encode(error, known.path.clone());
                let Some((bytes, bands)) =
                    rewrite_banded(last, bands, strips, &pictures[set][file], &parts[set][file]).map_err(failed)?
                else {
                    return Ok(None);
                };
                Ok(Some((Computed { bytes: Some(hashed(bytes, known)?), ..computed }, bands)))
            })
            .collect::<Result<Option<Vec<_>>, BuildFailed>>()
    })?;
    let Some(rewritten) = rewritten else { return Ok(None) };
    let (files, bands): (Vec<Computed>, Vec<Vec<Band>>) = rewritten.into_iter().unzip();
    let memory = kept(&files, bands).map(|files| Memory { base, placements, files, build: record });
    Ok(Some(Computation { variation: None, files, report, wear: Vec::new(), memory }))
}

/// A build of before that this one can go on from.
struct Before {
    memory: Memory,
    /// Hash of what all texels depend on now, as then.
    base: String,
    /// Placements as they are now.
    placements: Vec<(String, String)>,
    /// Ids of those that changed.
    changed: BTreeSet<String>,
    /// Its files, by path.
    files: BTreeMap<String, LastFile>,
    /// By set and file.
    kept_tiles: Vec<Vec<KeptTiles>>,
}

/// `None` when there is none, more than some placements changed since, or what it left is not there any more.
fn before(session: &Session, previous: &[PathBuf]) -> Option<Before> {
    let (memory, now) =
        rayon::join(|| session.store.remembered::<BuildRecord>(), || Some((base(session)?, placements(session)?)));
    let (memory, (base, placements)) = (memory?, now?);
    let changed = changed(&memory.placements, &placements, |(id, _)| id.as_str()).filter(|_| memory.base == base)?;
    if changed.len() * MOST_CHANGED > placements.len().max(MOST_CHANGED) {
        return None;
    }
    let (files, kept_tiles) = rayon::join(|| last_files(session, &memory, previous), || session.open_tiles());
    Some(Before { files: files?, kept_tiles: kept_tiles?, memory, base, placements, changed })
}

/// What to keep of a build; `None` when a file is no PNG and so cannot be rewritten in part.
pub(crate) fn memory(session: &Session, files: &[Computed], bands: Vec<Vec<Band>>, build: BuildRecord) -> Option<Memory> {
    Some(Memory { base: base(session)?, placements: placements(session)?, files: kept(files, bands)?, build })
}

fn kept(files: &[Computed], bands: Vec<Vec<Band>>) -> Option<BTreeMap<String, BuiltRecord>> {
    files
        .iter()
        .zip(bands)
        .filter_map(|(file, bands)| file.bytes.as_ref().map(|hashed| (file, hashed, bands)))
        .map(|(file, hashed, bands)| {
            let (hash, bytes) = (hashed.hash().to_owned(), hashed.pieces().len());
            (!bands.is_empty()).then(|| (file.path.clone(), BuiltRecord { hash, bytes, bands }))
        })
        .collect()
}

/// Keep a memory, now that the files it speaks of are written.
pub(crate) fn remember(session: &Session, memory: Option<Memory>, task: &Task) {
    if let Some(Err(error)) = memory.map(|memory| session.store.remember(&memory)) {
        task.note("reuse-not-kept", format!("What would make the next build fast could not be kept ({error})."));
    }
}

/// Keep some tiles of the pristine textures at hand; none where no texture is a PNG, since no other can be rewritten in part.
pub(crate) fn keep_tiles(
    session: &Session,
    plan: &BuildPlan<'_>,
    tiles: &BTreeSet<TileAt>,
    pictures: &[Vec<Stored>],
    task: &Task,
) {
    keep(session, pictures, &|set, file| plan.parts(tiles, set, file), task);
}

/// Keep whole what a build left as it was: of that there is no file of ours to take it from.
pub(crate) fn keep_unchanged(session: &Session, report: &BuildReport, pictures: &[Vec<Stored>], task: &Task) {
    let parts = |set: usize, file: usize| {
        let unchanged = report.texels_changed(set, file) == 0;
        if unchanged { strips(pictures[set][file].size).collect() } else { Vec::new() }
    };
    keep(session, pictures, &parts, task);
}

fn keep(session: &Session, pictures: &[Vec<Stored>], parts: &(dyn Fn(usize, usize) -> Vec<Rect> + Sync), task: &Task) {
    session.store.drop_stale_tiles();
    let mut files: BTreeMap<&str, (&Stored, Vec<Rect>)> = BTreeMap::new();
    for (set, (own, pictures)) in session.garment.sets.iter().zip(pictures).enumerate() {
        for (file, (known, picture)) in own.files.iter().zip(pictures).enumerate() {
            files.entry(&known.path).or_insert((picture, Vec::new())).1.extend(parts(set, file));
        }
    }
    if !files.keys().any(|path| format_of(path) == PictureFormat::Png) {
        return;
    }
    let kept = files.into_par_iter().try_for_each(|(path, (picture, parts))| session.store.keep_tiles(path, picture, &parts));
    if let Err(error) = kept {
        task.note("reuse-not-kept", format!("What would make the next build fast could not be kept ({error})."));
    }
}

/// A picture in parts of few rows.
fn strips(size: Size) -> impl Iterator<Item = Rect> {
    const ROWS: usize = 256;
    (0..size.height).step_by(ROWS).map(move |y| Rect::new(0, y, size.width, ROWS.min(size.height - y)))
}

/// Hash of everything that every texel depends on.
fn base(session: &Session) -> Option<String> {
    let paths = session.garment.sets.iter().flat_map(|set| &set.files).map(|file| &file.path);
    let pristine: Vec<&str> = paths.map(|path| session.store.pristine_hash(path)).collect::<Option<_>>()?;
    let mesh = session.garment.mesh.as_ref().map(mesh_hash);
    let told = (program_stamp(), BuildSettings::default(), &session.job.garment, mesh, pristine);
    Some(hash_of(format!("{told:?}").as_bytes()))
}

fn mesh_hash(mesh: &Mesh) -> String {
    let mut bytes = Vec::new();
    for part in &mesh.parts {
        bytes.extend(format!("{} {} {}", part.name, part.material, part.triangles.len()).into_bytes());
        let vectors = part.positions.iter().chain(&part.normals).flat_map(|v| v.to_array());
        let numbers = vectors.chain(part.uvs.iter().flat_map(|v| v.to_array()));
        bytes.extend(numbers.flat_map(f32::to_le_bytes));
        bytes.extend(part.triangles.iter().flatten().flat_map(|corner| corner.to_le_bytes()));
    }
    hash_of(&bytes)
}

/// Placements in order, each with the hash of everything its texels depend on.
fn placements(session: &Session) -> Option<Vec<(String, String)>> {
    let used: BTreeSet<&str> = session.job.placements.iter().map(|placement| placement.patch.as_str()).collect();
    let own = session.job.patches.iter().filter(|patch| used.contains(patch.name.as_str())).collect::<Vec<_>>();
    let patches: BTreeMap<&str, String> = own
        .into_par_iter()
        .map(|patch| Some((patch.name.as_str(), folder_hash(&session.folder().join(&patch.path))?)))
        .collect::<Option<_>>()?;
    let one = |placement: &tatter_core::model::Placement| {
        let told = format!("{placement:?} {}", patches.get(placement.patch.as_str())?);
        Some((placement.id.clone(), hash_of(told.as_bytes())))
    };
    session.job.placements.iter().map(one).collect()
}

/// Ids of what was changed, added or taken away; `None` when others lie on each other in another order.
pub(crate) fn changed<'a, T: PartialEq>(
    before: &'a [T],
    after: &'a [T],
    id: impl Fn(&'a T) -> &'a str,
) -> Option<BTreeSet<String>> {
    let known: BTreeMap<&str, &T> = before.iter().map(|one| (id(one), one)).collect();
    let same: BTreeSet<&str> = after.iter().filter(|one| known.get(id(one)) == Some(one)).map(&id).collect();
    let order = |all: &'a [T]| all.iter().map(&id).filter(|id| same.contains(id)).collect::<Vec<_>>();
    if order(before) != order(after) {
        return None;
    }
    Some(before.iter().chain(after).map(&id).filter(|id| !same.contains(id)).map(str::to_owned).collect())
}

type LastFile = (KnownFile, Vec<Band>);

/// The files of the last build, where something as long still lies: the store has to be asked before what is made of them takes effect.
fn last_files(session: &Session, memory: &Memory, previous: &[PathBuf]) -> Option<BTreeMap<String, LastFile>> {
    let find = |(path, record): (&String, &BuiltRecord)| {
        let name = path.rsplit('/').next().unwrap_or(path);
        let target = session.folder().join(session.target(path));
        let places = std::iter::once(target).chain(previous.iter().map(|folder| folder.join(name)));
        let file = places.into_iter().find_map(|place| session.store.assume(&place, &record.hash, record.bytes))?;
        Some((path.clone(), (file, record.bands.clone())))
    };
    memory.files.par_iter().map(find).collect()
}

/// Where the pristine texels of a job can be had without its textures.
struct Pristine<'a> {
    session: &'a Session,
    plan: &'a BuildPlan<'a>,
    /// By set and file.
    kept: &'a [Vec<KeptTiles>],
    /// The files of the last build, by path.
    last: &'a BTreeMap<String, LastFile>,
    /// Tiles where something lies in them.
    laid: BTreeSet<TileAt>,
    /// What will be laid anew, by set and file.
    parts: &'a [Vec<Vec<Rect>>],
}

impl Pristine<'_> {
    /// Black pictures with the rows that are wanted, by set and file, and the rows of the last build's that are packed with what will be laid
    /// anew; `None` when something is not at hand, or damaged.
    fn rows(&self, wanted: &[Vec<Vec<Range<usize>>>]) -> Option<Vec<Vec<(Stored, Strips)>>> {
        let of_set = |(set, wanted): (usize, &Vec<Vec<Range<usize>>>)| {
            wanted.par_iter().enumerate().map(|(file, rows)| self.of_file(set, file, rows)).collect()
        };
        wanted.par_iter().enumerate().map(of_set).collect()
    }

    fn of_file(&self, set: usize, file: usize, rows: &[Range<usize>]) -> Option<(Stored, Strips)> {
        let kept = &self.kept[set][file];
        let mut picture = kept.blank();
        let strips = match self.last.get(&self.session.garment.sets[set].files[file].path) {
            Some((last, bands)) => {
                if !self.plan.parts(&self.laid, set, file).iter().all(|part| kept.has(*part)) {
                    return None;
                }
                unpack_banded(last, bands, rows, &self.parts[set][file], &mut picture).ok()??
            }
            None if strips(kept.size()).all(|strip| kept.has(strip)) => Strips::default(),
            None => return None,
        };
        kept.lay(rows, &mut picture)?;
        Some((picture, strips))
    }
}
