//! A build that does only what changed gives what a build from nothing gives.

mod made;

use std::collections::BTreeSet;

use made::{PatchMaker, five_files, five_pictures, flat, garment, placement, seamed, sized};
use tatter_core::channel::Channel;
use tatter_core::image::{Rect, Stored};
use tatter_core::model::{Garment, Match, MatchMode, Patch, Placement};
use tatter_core::rng::Rng;
use tatter_core::task::Task;
use tatter_garment::build::{Again, BuildPlan, BuildRecord, BuildReport, BuildSettings};
use tatter_garment::place::Placed;

const SIDE: usize = 640;

fn settings() -> BuildSettings {
    BuildSettings { tile: 64, ..BuildSettings::default() }
}

fn patch() -> Patch {
    let mut patch = PatchMaker::new(128, 16.0)
        .disc(6.0, 2.0)
        .color(|x, y| if x.hypot(y) < 3.0 { [0.7, 0.68, 0.6] } else { [0.06, 0.1, 0.22] })
        .height(|x, y| 0.2 * (2.0 * x).sin() * y.cos())
        .slopes(|x, y| (0.4 * (2.0 * x).cos(), 0.1 * y.sin()))
        .unit(Channel::Roughness, |x, _| 0.5 + 0.02 * x)
        .unit(Channel::Opacity, |x, y| if x.hypot(y) < 2.0 { 0.0 } else { 1.0 })
        .patch();
    patch.cloth_color = Some(tatter_core::image::LinearRgb([0.06, 0.1, 0.22]));
    patch
}

fn placements(rng: &mut Rng) -> Vec<Placement> {
    (0..24)
        .map(|i| sized(placement(&format!("rip-{i}"), rng.range(0.1, 0.4), rng.range(0.2, 0.9)), rng.range(9.0, 18.0)))
        .collect()
}

type Built = (Vec<Vec<Stored>>, BuildReport, BuildRecord);

#[expect(clippy::unwrap_used, reason = "a build that fails is a failed test")]
fn whole(garment: &Garment, patch: &Patch, placements: &[Placement]) -> Built {
    let placed: Vec<Placed<'_>> = placements.iter().map(|placement| Placed { placement, patch }).collect();
    let mut pictures = five_pictures(SIDE);
    let plan = BuildPlan::new(garment, &placed, &settings(), &Task::new()).unwrap();
    let (report, record) = plan.lay(&mut pictures, None, &Task::new()).unwrap();
    (pictures, report, record)
}

/// The new build from the one before, its pictures empty but for the rows it says it needs.
#[expect(clippy::unwrap_used, reason = "a build that fails is a failed test")]
fn again(
    garment: &Garment,
    patch: &Patch,
    before: &Built,
    changed: &BTreeSet<String>,
    placements: &[Placement],
) -> (Built, usize) {
    let placed: Vec<Placed<'_>> = placements.iter().map(|placement| Placed { placement, patch }).collect();
    let plan = BuildPlan::new(garment, &placed, &settings(), &Task::new()).unwrap();
    let mut tiles = before.2.tiles_of(changed);
    tiles.extend(plan.tiles_of(changed));
    let pristine = five_pictures(SIDE);
    let mut sparse = pristine.clone();
    for (set, files) in plan.rows(&tiles).iter().enumerate() {
        for (file, rows) in files.iter().enumerate() {
            let (own, all) = (&mut sparse[set][file], &pristine[set][file]);
            *own = Stored::zeros(all.size, all.layout, &all.samples);
            for rows in rows {
                own.paste(&all.crop(Rect::new(0, rows.start, SIDE, rows.len())), 0, rows.start);
            }
        }
    }
    let parts: Vec<Vec<Rect>> = (0..5).map(|file| plan.parts(&tiles, 0, file)).collect();
    let (report, record) = plan.lay(&mut sparse, Some(Again { record: &before.2, tiles: &tiles }), &Task::new()).unwrap();
    let mut pictures = before.0.clone();
    for (file, parts) in parts.iter().enumerate() {
        for part in parts {
            pictures[0][file].paste(&sparse[0][file].crop(*part), part.x, part.y);
        }
    }
    ((pictures, report, record), tiles.len())
}

#[test]
fn what_changed_alone_gives_the_same_bits_and_the_same_report() {
    let patch = patch();
    let garments = [flat(five_files(SIDE), 100.0), garment(seamed(made::Island::Mirrored), five_files(SIDE), 125.0)];
    for garment in garments {
        let mut rng = Rng::new(11);
        let before_placements = placements(&mut rng);
        let before = whole(&garment, &patch, &before_placements);
        let all_tiles = before.2.tiles_of(&before_placements.iter().map(|p| p.id.clone()).collect()).len();
        for round in 0..6 {
            let mut after = before_placements.clone();
            let own = rng.below(after.len());
            let mut changed = BTreeSet::from([after[own].id.clone()]);
            match round {
                0 | 1 => after[own].spot = placement("x", rng.range(0.1, 0.4), rng.range(0.2, 0.9)).spot,
                2 => drop(after.remove(own)),
                3 => after[own].matching = Match { mode: Some(MatchMode::None), ..Match::default() },
                4 => {
                    changed.insert("new".to_owned());
                    after.insert(own, sized(placement("new", 0.3, 0.5), 14.0));
                }
                _ => changed.clear(),
            }
            let wanted = whole(&garment, &patch, &after);
            let (got, tiles) = again(&garment, &patch, &before, &changed, &after);
            assert!(got.0 == wanted.0, "round {round}: the same bits");
            assert_eq!(got.1, wanted.1, "round {round}: the same report");
            assert_eq!(got.2, wanted.2, "round {round}: the same memory of it");
            assert!(tiles * 2 < all_tiles, "round {round}: {tiles} of {all_tiles} tiles were laid");
        }
    }
}
