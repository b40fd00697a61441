//! The weave of every island, counted in its textures.

use rayon::prelude::*;
use tatter_core::angle::Angle;
use tatter_core::image::{Size, Stored};
use tatter_core::model::{GrainSource, IslandGrain, Weave};
use tatter_core::task::{Cancelled, Task};
use tatter_core::units::PerCm;
use tatter_garment::surface::Surface;
use tatter_garment::surface::islands::{InnerPlace, SurfaceIsland, SurfaceIslands, inner_places, islands};
use tatter_garment::view::Viewer;

use super::reading::{Colors, PIXELS, Reading, largest, read};

/// Pieces of an island that are looked at, at most.
const PIECES: usize = 5;
/// An island whose area is below that of a square so many texels wide is too small to count threads in.
const LEAST_TEXELS: f64 = 160.0;
/// After so many pieces without a weave the island is given up.
const VAIN: usize = 3;
/// Pieces of one island agree when their grain differs by no more, degrees, and their counts by no more, as a share: what folds
/// and stretch of the texture do to one cloth.
const AGREE: (f32, f32) = (4.0, 0.08);
/// Two readings so near each other need no third.
const ENOUGH: (f32, f32) = (0.5, 0.01);
/// Confidence that the only piece of an island must have.
const SURE_ALONE: f32 = 0.85;
/// Counts of ends and picks that differ by less tell nothing of which is which.
const UNLIKE: f32 = 1.1;

/// Why the grain of an island stays as it was.
#[derive(Clone, Debug, PartialEq)]
pub enum Unread {
    /// A person drew an arrow there.
    Arrow,
    /// It shows the same place of the texture as an island before it.
    Shared,
    /// No texture that shows threads lies on it.
    NoColor,
    /// Its texture cannot be read.
    Picture(String),
    /// So few texels are on it: side of a square of its area.
    Small(usize),
    /// No threads can be counted.
    NoWeave,
    /// Its pieces tell different things.
    Disagree,
}

impl std::fmt::Display for Unread {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Arrow => f.write_str("has an arrow, which measuring leaves alone"),
            Self::Shared => f.write_str("shows the same texture as an island above, and follows it"),
            Self::NoColor => f.write_str("has neither base colour nor normal map"),
            Self::Picture(why) => write!(f, "cannot be read: {why}"),
            Self::Small(side) => write!(f, "too small to count threads in: about {side} texels a side"),
            Self::NoWeave => f.write_str("no threads can be counted: finer than the texture, printed, knitted or plain colour"),
            Self::Disagree => f.write_str("its pieces show different weaves"),
        }
    }
}

/// An island and what was found there.
#[derive(Clone, Debug, PartialEq)]
pub struct IslandReport {
    /// Name of its part.
    pub part: String,
    /// A place well inside it.
    pub at: [f32; 2],
    /// Area of its cloth, mm squared.
    pub area_mm2: f64,
    /// Its grain with the confidence, or why it was not read.
    pub found: Result<(IslandGrain, f32), Unread>,
}

/// An island on the way.
struct Looked {
    island: SurfaceIsland,
    set: Option<usize>,
    faces: Vec<usize>,
    places: Vec<InnerPlace>,
    found: Result<Reading, Unread>,
}

/// How much is to be measured, before anything is: the pieces looked at, at most, and the pixels of the textures they lie in.
pub(super) struct Effort {
    pub(super) pieces: usize,
    pub(super) pixels: usize,
}

/// Measure the islands of a garment whose grain is cleared in `colors`; `arrows` are left alone. Every texture is decoded once;
/// peak memory is the surface and the largest of them. `fits` may say that it is too much.
pub(super) fn measure_islands(
    colors: &Colors,
    arrows: &[IslandGrain],
    fits: impl FnOnce(&Effort) -> bool,
    task: &Task,
) -> Result<Option<Vec<IslandReport>>, Cancelled> {
    let viewer = Viewer::new(&colors.garment);
    let surface = viewer.surface();
    let all = islands(&colors.garment, surface);
    let mut looked = look(colors, &viewer, &all);
    with_arrows(&mut looked, &all, surface, arrows);
    let open = |one: &&Looked| one.found == Err(Unread::NoWeave);
    let sets: std::collections::BTreeSet<usize> = looked.iter().filter(open).filter_map(|one| one.set).collect();
    let pixels = sets.iter().flat_map(|set| &colors.garment.sets[*set].files).map(|file| file.size.area()).sum();
    if !fits(&Effort { pieces: looked.iter().filter(open).map(|one| one.places.len()).sum(), pixels }) {
        return Ok(None);
    }
    for set in sets {
        task.check()?;
        let own = |one: &&mut Looked| one.set == Some(set) && one.found == Err(Unread::NoWeave);
        match colors.read(set) {
            Ok(pictures) => {
                let mut open: Vec<&mut Looked> = looked.iter_mut().filter(own).collect();
                open.par_iter_mut().for_each(|one| one.found = piece_by_piece(&viewer, &pictures, set, one, task));
                one_cloth(&mut open);
            }
            Err(error) => looked.iter_mut().filter(own).for_each(|one| one.found = Err(Unread::Picture(error.to_string()))),
        }
    }
    let several = surface.parts().len() > 1;
    Ok(Some(looked.into_iter().map(|one| report(one, surface, several)).collect()))
}

/// Every island with the places to be looked at; those that will be measured are marked [`Unread::NoWeave`].
fn look(colors: &Colors, viewer: &Viewer<'_>, all: &SurfaceIslands) -> Vec<Looked> {
    let surface = viewer.surface();
    let mut faces: Vec<Vec<usize>> = vec![Vec::new(); all.all.len()];
    for (face, island) in all.of_face.iter().enumerate() {
        faces[*island as usize].push(face);
    }
    let one = |(island, faces): (&SurfaceIsland, Vec<usize>)| {
        let set = faces.first().and_then(|face| viewer.set_of(*face)).filter(|set| colors.has(*set));
        let size = set.map_or(Size::default(), |set| colors.size(set));
        let side = (island.uv_area * size.area() as f64).sqrt();
        let apart = PIXELS as f64 / size.width.max(1) as f64;
        let count = if set.is_none() || side < LEAST_TEXELS { 1 } else { PIECES };
        let places = inner_places(surface, &faces, apart, count);
        let found = match set {
            None => Unread::NoColor,
            Some(_) if side < LEAST_TEXELS || places.is_empty() => Unread::Small(side as usize),
            Some(_) => Unread::NoWeave,
        };
        Looked { island: *island, set, faces, places, found: Err(found) }
    };
    all.all.iter().zip(faces).collect::<Vec<_>>().into_par_iter().map(one).collect()
}

/// Mark islands with an arrow, and those that show what one before them shows.
fn with_arrows(looked: &mut [Looked], all: &SurfaceIslands, surface: &Surface, arrows: &[IslandGrain]) {
    let islands_at = |entry: &IslandGrain| {
        let seed = surface.at_entry(entry);
        let faces = seed.into_iter().flat_map(|seed| std::iter::once(seed.face).chain(seed.shared_with));
        faces.map(|face| all.of_face[face] as usize).collect::<Vec<_>>()
    };
    for island in arrows.iter().flat_map(islands_at) {
        looked[island].found = Err(Unread::Arrow);
    }
    for number in 0..looked.len() {
        let (true, Some(place)) = (looked[number].found == Err(Unread::NoWeave), looked[number].places.first()) else { continue };
        for other in islands_at(&entry(&looked[number], place, surface, true)) {
            if other > number && looked[other].found == Err(Unread::NoWeave) {
                looked[other].found = Err(Unread::Shared);
            }
        }
    }
}

/// Readings of an island until they agree.
fn piece_by_piece(
    viewer: &Viewer<'_>,
    pictures: &[Vec<Stored>],
    set: usize,
    one: &Looked,
    task: &Task,
) -> Result<Reading, Unread> {
    let size = largest(pictures[set].iter().map(|picture| picture.size));
    let mm_per_texel = one.island.mm_per_uv() / (size.area() as f64).sqrt();
    let own = |face: usize| one.faces.binary_search(&face).is_ok();
    let mut readings: Vec<Reading> = Vec::new();
    for (number, place) in one.places.iter().enumerate() {
        if task.check().is_err() || readings.is_empty() && number >= VAIN {
            break;
        }
        let flat = viewer.lay_place(pictures, place, mm_per_texel * PIXELS as f64, PIXELS, own);
        let Some(new) = read(&flat, mm_per_texel) else { continue };
        let new = readings.first().map_or(new, |first| beside(new, first.off_upright));
        let near = readings.iter().any(|known| agree(known, &new, ENOUGH));
        readings.push(new);
        if near {
            break;
        }
    }
    let Some(middle) = median(&readings) else { return Err(Unread::NoWeave) };
    let agreeing: Vec<Reading> = readings.iter().copied().filter(|one| agree(one, &middle, AGREE)).collect();
    if 2 * agreeing.len() <= readings.len() {
        return Err(Unread::Disagree);
    }
    // One alone may be chance: where there is room for two they must agree, else the one must be surer.
    if agreeing.len() < 2 && (one.places.len() > 1 || middle.confidence < SURE_ALONE) {
        return Err(Unread::NoWeave);
    }
    median(&agreeing).ok_or(Unread::NoWeave)
}

fn agree(a: &Reading, b: &Reading, (deg, share): (f32, f32)) -> bool {
    let near = |a: PerCm, b: PerCm| (a.get() / b.get() - 1.0).abs() <= share;
    (a.off_upright - b.off_upright).to_degrees().abs() <= deg
        && near(a.ends_per_cm, b.ends_per_cm)
        && near(a.picks_per_cm, b.picks_per_cm)
}

/// The same reading with its warp within 45 degrees of a direction: on an island turned by about 45 degrees either family may be
/// the more upright one.
fn beside(reading: Reading, direction: Angle) -> Reading {
    let quarters = ((direction - reading.off_upright).to_degrees() / 90.0).round();
    let turned = Reading { off_upright: reading.off_upright + Angle::degrees(90.0 * quarters), ..reading };
    if quarters.rem_euclid(2.0) == 1.0 { exchanged(turned) } else { turned }
}

/// Counts and weave with warp and weft exchanged.
fn exchanged(reading: Reading) -> Reading {
    Reading {
        ends_per_cm: reading.picks_per_cm,
        picks_per_cm: reading.ends_per_cm,
        weave: reading.weave.with_families_exchanged(),
        ..reading
    }
}

/// Of every number the middle one (the mean of two), of the weave the one named most often.
fn median(readings: &[Reading]) -> Option<Reading> {
    let middle = |value: &dyn Fn(&Reading) -> f32| {
        let mut all: Vec<f32> = readings.iter().map(value).collect();
        all.sort_by(f32::total_cmp);
        (all[(all.len() - 1) / 2] + all[all.len() / 2]) / 2.0
    };
    let named = |weave: Weave| readings.iter().filter(|r| r.weave == weave).count();
    let first = readings.first()?;
    let weave = readings.iter().map(|r| r.weave).filter(|w| *w != Weave::Unknown).fold(None, |best, weave| match best {
        Some(best) if named(best) >= named(weave) => Some(best),
        _ => Some(weave),
    });
    Some(Reading {
        ends_per_cm: PerCm(middle(&|r| r.ends_per_cm.get())),
        picks_per_cm: PerCm(middle(&|r| r.picks_per_cm.get())),
        off_upright: Angle::degrees(middle(&|r| r.off_upright.to_degrees())),
        weave: weave.unwrap_or(first.weave),
        confidence: middle(&|r| r.confidence),
    })
}

/// Islands of one map set are cut from one cloth: where ends and picks differ, an island whose more upright family has the
/// picks' count of most of the cloth lies on its side.
fn one_cloth(islands: &mut [&mut Looked]) {
    let unlike = |r: &Reading| r.ends_per_cm.get() / r.picks_per_cm.get();
    let told = || islands.iter().filter_map(|one| one.found.as_ref().ok().map(|r| (r, one.island.area_mm2)));
    let area = |wanted: &dyn Fn(f32) -> bool| -> f64 { told().filter(|(r, _)| wanted(unlike(r))).map(|(_, area)| area).sum() };
    let more_ends = area(&|ratio| ratio > UNLIKE) >= area(&|ratio| ratio < 1.0 / UNLIKE);
    let usual = |r: &Reading| if more_ends { unlike(r) > UNLIKE } else { unlike(r) < 1.0 / UNLIKE };
    let of_cloth: Vec<Reading> = told().map(|(r, _)| *r).filter(usual).collect();
    let Some(cloth) = median(&of_cloth) else { return };
    for one in islands.iter_mut() {
        let Ok(reading) = one.found else { continue };
        let turned = exchanged(reading);
        let same = Reading { off_upright: cloth.off_upright, ..turned };
        if !usual(&reading) && usual(&turned) && agree(&same, &cloth, AGREE) {
            one.found = Ok(Reading { off_upright: reading.off_upright + Angle::degrees(90.0), ..turned });
        }
    }
}

fn entry(one: &Looked, place: &InnerPlace, surface: &Surface, several: bool) -> IslandGrain {
    let rounded = |number: f64, steps: f64| ((number * steps).round() / steps) as f32;
    let (turn, ends, picks, weave) = one.found.as_ref().map_or((Angle::ZERO, None, None, Weave::Unknown), |r| {
        let count = |n: PerCm| Some(PerCm(rounded(f64::from(n.get()), 100.0)));
        (r.off_upright, count(r.ends_per_cm), count(r.picks_per_cm), r.weave)
    });
    // Threads have no direction: the one nearer to up.
    let turn = (turn + Angle::degrees(90.0)).as_line().to_degrees() - 90.0;
    IslandGrain {
        at: [rounded(place.uv.x, 1e5), rounded(place.uv.y, 1e5)],
        part: several.then(|| surface.parts()[one.island.part].name.clone()),
        turn: Angle::degrees(rounded(f64::from(turn), 100.0)),
        source: GrainSource::Measured,
        ends_per_cm: ends,
        picks_per_cm: picks,
        weave,
    }
}

fn report(one: Looked, surface: &Surface, several: bool) -> IslandReport {
    let grain = one.places.first().map(|place| entry(&one, place, surface, several));
    let at = grain.as_ref().map_or([0.0; 2], |grain| grain.at);
    let found = match (one.found, grain) {
        (Ok(reading), Some(grain)) => Ok((grain, reading.confidence)),
        (Ok(_), None) => Err(Unread::NoWeave),
        (Err(why), _) => Err(why),
    };
    IslandReport { part: surface.parts()[one.island.part].name.clone(), at, area_mm2: one.island.area_mm2, found }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(off: f32, ends: f32, picks: f32) -> Reading {
        Reading {
            ends_per_cm: PerCm(ends),
            picks_per_cm: PerCm(picks),
            off_upright: Angle::degrees(off),
            weave: Weave::Plain,
            confidence: 0.9,
        }
    }

    fn looked(area_mm2: f64, found: Reading) -> Looked {
        let island = SurfaceIsland { part: 0, area_mm2, uv_area: 0.1 };
        Looked { island, set: Some(0), faces: Vec::new(), places: Vec::new(), found: Ok(found) }
    }

    #[test]
    fn readings_around_half_a_right_angle_are_of_one_warp() {
        let first = reading(44.0, 24.0, 18.0);
        let second = beside(reading(-45.5, 18.0, 24.0), first.off_upright);
        assert!((second.off_upright.to_degrees() - 44.5).abs() < 1e-4, "{second:?}");
        assert_eq!((second.ends_per_cm, second.picks_per_cm), (PerCm(24.0), PerCm(18.0)), "the families are exchanged with it");
        assert_eq!(beside(first, Angle::degrees(50.0)), first, "nothing to turn");
    }

    #[test]
    fn an_island_on_its_side_is_known_by_its_counts() {
        let mut all = [
            looked(4e5, reading(1.0, 26.0, 18.0)),
            looked(3e5, reading(-3.0, 25.8, 18.1)),
            looked(2e4, reading(5.0, 18.0, 26.1)),
            looked(2e4, reading(5.0, 12.0, 26.1)),
            looked(1e4, reading(5.0, 20.0, 20.5)),
        ];
        one_cloth(&mut all.iter_mut().collect::<Vec<_>>());
        let off = |n: usize| all[n].found.as_ref().map(|r| (r.off_upright.to_degrees().round(), r.ends_per_cm)).ok();
        assert_eq!(off(0), Some((1.0, PerCm(26.0))), "most of the cloth");
        assert_eq!(off(2), Some((95.0, PerCm(26.1))), "the third lies on its side");
        assert_eq!(off(3), Some((5.0, PerCm(12.0))), "another cloth is left as it is");
        assert_eq!(off(4), Some((5.0, PerCm(20.0))), "so is a square one");
    }
}
