//! Woven maps against what was asked for: open area, thread counts, seams, one result on any number of threads.

use tatter_core::angle::Angle;
use tatter_core::image::{Image, Size};
use tatter_core::task::Task;
use tatter_weave::{
    Along, Cloth, Damage, Dye, Kind, PatchSpec, STOCK, Shot, TileSpec, WeaveError, Woven, shoot, stock, weave_patch, weave_tile,
};

const UPRIGHT: Angle = Angle::radians(std::f32::consts::FRAC_PI_2);

/// A starting cloth without anything random: a drawing.
fn even(name: &str) -> Option<Cloth> {
    let mut cloth = stock(name)?;
    cloth.unevenness = 0.0;
    for yarn in [&mut cloth.warp, &mut cloth.weft] {
        (yarn.irregularity, yarn.slubs_per_m, yarn.hairiness) = (0.0, 0.0, 0.0);
    }
    Some(cloth)
}

fn tile(cloth: Cloth, side: usize, width_mm: f32) -> Result<Woven, WeaveError> {
    weave_tile(&TileSpec { cloth, side, width_mm, seed: 7 }, &Task::new())
}

#[test]
fn open_area_is_the_closed_form() {
    // (1 - b1/p1)(1 - b2/p2), algorithms of Peirce's cover; our yarns change breadth by up to 8 % between crown and dive.
    let woven = tile(even("gauze").unwrap(), 512, 12.0).unwrap();
    let open = 1.0 - woven.maps.opacity.texels().iter().map(|o| o.0).sum::<f32>() / (512.0 * 512.0);
    let closed = woven.geometry.open_area;
    assert!((open / closed - 1.0).abs() < 0.05, "open {open}, closed form {closed}");
}

#[test]
fn crowns_stand_as_high_as_the_closed_form() {
    // A crown is the highest point of a middle line and half a yarn: (h + t) / 2 above the mid plane for each system, and both together
    // Peirce's h1 + h2 = D (1937). Crowns of made yarn are 2 to 6 % lower, since its
    // skin is fibres with grooves between them.
    for name in ["gauze", "canvas", "linen"] {
        let woven = tile(even(name).unwrap(), 512, 12.0).unwrap();
        let highest = |odd: bool| {
            let own = woven.maps.thread_id.texels().iter().zip(woven.maps.height.texels());
            let mut own: Vec<f32> = own.filter(|(id, _)| **id > 0 && (**id % 2 == 1) == odd).map(|(_, h)| h.0).collect();
            own.sort_by(f32::total_cmp);
            own[own.len() * 999 / 1000]
        };
        let geometry = &woven.geometry;
        for (strand, odd) in [(geometry.warp, true), (geometry.weft, false)] {
            let (found, told) = (highest(odd), 0.5 * (strand.crimp_height + strand.thickness));
            assert!(
                (0.93..1.01).contains(&(found / told)),
                "{name}, ends {odd}: crowns at {found} mm, {told} by the closed form"
            );
        }
        let heights = geometry.warp.crimp_height + geometry.weft.crimp_height;
        assert!((heights / geometry.sum_of_thickness - 1.0).abs() < 1e-3, "{name}: {heights}, D {}", geometry.sum_of_thickness);
    }
}

#[test]
fn as_many_threads_as_asked_for() {
    let woven = tile(stock("canvas").unwrap(), 384, 20.0).unwrap();
    let mut ids: Vec<u32> = woven.maps.thread_id.texels().iter().copied().filter(|id| *id > 0).collect();
    ids.sort_unstable();
    ids.dedup();
    let ends = ids.iter().filter(|id| *id % 2 == 1).count() as f32;
    let picks = ids.iter().filter(|id| *id % 2 == 0).count() as f32;
    let cm = woven.scale.get() * 38.4;
    let (per_cm, per_cm_picks) = (ends / cm, picks / cm);
    assert!((per_cm / woven.cloth.ends_per_cm.get() - 1.0).abs() < 1e-3, "{per_cm} ends per cm");
    assert!((per_cm_picks / woven.cloth.picks_per_cm.get() - 1.0).abs() < 1e-3, "{per_cm_picks} picks per cm");
    // The square closes with whole repeats at the price of at most 2 % in the picks.
    assert!((woven.cloth.picks_per_cm.get() / 13.0 - 1.0).abs() < 0.02, "{} picks", woven.cloth.picks_per_cm);
}

/// Mean step between neighbouring columns `a` and `b`, and the same for rows.
fn steps(image: &Image<f32>, a: usize, b: usize) -> [f32; 2] {
    let n = image.width();
    let across = (0..n).map(|y| (image.get(a, y) - image.get(b, y)).abs()).sum::<f32>() / n as f32;
    let down = (0..n).map(|x| (image.get(x, a) - image.get(x, b)).abs()).sum::<f32>() / n as f32;
    [across, down]
}

#[test]
fn the_seam_of_a_tile_is_no_step() {
    for name in ["linen", "denim", "herringbone", "jersey"] {
        let woven = tile(stock(name).unwrap(), 256, 10.0).unwrap();
        for image in [woven.maps.height.map(|h| h.0), woven.maps.base_color.map(|c| c.0[0]), woven.maps.occlusion.map(|o| o.0)] {
            let seam = steps(&image, 255, 0);
            let usual: Vec<[f32; 2]> = (0..255).map(|k| steps(&image, k, k + 1)).collect();
            for axis in [0, 1] {
                let most = usual.iter().fold(0.0f32, |m, s| m.max(s[axis]));
                assert!(seam[axis] <= 1.05 * most, "{name}: step {} at the seam, {most} at most within", seam[axis]);
            }
        }
    }
}

/// All maps of a torn cloth as bits.
fn torn() -> Result<Vec<u32>, WeaveError> {
    let cloth = stock("canvas").ok_or(WeaveError::Canvas(Size::default()))?;
    let spec = PatchSpec { cloth, side: 300, width_mm: 45.0, damage: vec![Damage::new(Kind::Rip)], grain: UPRIGHT, seed: 11 };
    let (woven, cover) = weave_patch(&spec, &Task::new())?;
    let maps = woven.maps;
    let floats = maps.height.texels().iter().map(|h| h.0).chain(cover.texels().iter().map(|c| c.0));
    let colors = maps.base_color.texels().iter().flat_map(|c| c.0);
    Ok(floats.chain(colors).chain(maps.occlusion.texels().iter().map(|o| o.0)).map(f32::to_bits).collect())
}

#[test]
fn one_thread_and_five_weave_the_same_cloth() {
    let on = |threads: usize| rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(torn).unwrap();
    assert!(on(1) == on(5), "the same seed gave two cloths");
}

#[test]
fn every_damage_opens_or_marks_the_cloth() {
    let cloth = || {
        let mut cloth = stock("canvas").unwrap();
        cloth.warp.dye = Dye { depth: 0.2, ..cloth.warp.dye };
        cloth
    };
    let weave = |damage: Vec<Damage>| {
        weave_patch(&PatchSpec { cloth: cloth(), side: 256, width_mm: 48.0, damage, grain: UPRIGHT, seed: 3 }, &Task::new())
            .unwrap()
    };
    let (intact, _) = weave(Vec::new());
    let open = |w: &Woven| 1.0 - w.maps.opacity.texels().iter().map(|o| o.0).sum::<f32>() / 65536.0;
    for kind in Kind::ALL {
        let (woven, cover) = weave(vec![Damage::new(kind)]);
        let more = open(&woven) - open(&intact);
        let closed = matches!(kind, Kind::Abrasion | Kind::Darn | Kind::Patch | Kind::Snag | Kind::Stain);
        assert!(if closed { more < 0.01 } else { more > 0.004 }, "{kind:?} opens {more} more");
        let (mut stray, mut changed) = (0, 0);
        for at in 0..65536 {
            let color = |w: &Woven| w.maps.base_color.texels()[at].0[0];
            let opacity = |w: &Woven| w.maps.opacity.texels()[at].0;
            let differ = (color(&woven) - color(&intact)).abs() > 0.06 || (opacity(&woven) - opacity(&intact)).abs() > 0.4;
            changed += usize::from(differ);
            stray += usize::from(differ && cover.texels()[at].0 < 0.01);
        }
        assert!(changed > 300, "{kind:?} changes {changed} texels");
        // Torn and snagged cloth is pushed aside a little farther out than the patch needs to show.
        let most = if matches!(kind, Kind::Rip | Kind::LTear | Kind::Hem | Kind::Snag) { 0.35 } else { 0.1 };
        // Beyond a scrap there is nothing left to compare.
        assert!(
            kind == Kind::Scrap || share(stray, changed) < most,
            "{kind:?}: {stray} of {changed} changed texels lie outside the cover"
        );
    }
}

fn share(part: usize, whole: usize) -> f32 {
    part as f32 / whole.max(1) as f32
}

#[test]
fn texels_coarser_than_threads_are_refused() {
    let spec = TileSpec { cloth: stock("poplin").unwrap(), side: 64, width_mm: 30.0, seed: 1 };
    let Err(WeaveError::Coarse { most_mm, .. }) = weave_tile(&spec, &Task::new()) else { unreachable!("0.47 mm texels") };
    assert!((most_mm - 0.191).abs() < 1e-3, "poplin's ends are 0.191 mm apart: {most_mm}");
}

#[test]
fn a_photo_of_a_flat_card_reads_what_light_says() {
    // Lambert: a matte surface of reflectance a, straight under full light and sky, reads a times the exposure, at any lamp
    // height, since light is set so that a level card is lit fully. No cloth, so all one sees is the card.
    let (woven, _) = weave_patch(
        &PatchSpec { cloth: even("gauze").unwrap(), side: 64, width_mm: 16.0, damage: vec![hole(60.0)], grain: UPRIGHT, seed: 1 },
        &Task::new(),
    )
    .unwrap();
    for elevation in [25.0, 60.0, 90.0] {
        let shot = Shot {
            elevation: Angle::degrees(elevation),
            vignette: 0.0,
            falloff: 0.0,
            noise: 0.0,
            exposure: 1.0,
            ..Shot::default()
        };
        let photo = shoot(&woven.maps, woven.scale, &shot, &Task::new()).unwrap().photo;
        let seen = photo.get(32, 32).0[0];
        assert!((seen / 0.74 - 1.0).abs() < 0.04, "lamp at {elevation} degrees: card of 0.74 reads {seen}");
    }
}

#[test]
fn light_from_the_left_shows_left_flanks_bright() {
    let woven = tile(even("canvas").unwrap(), 256, 8.0).unwrap();
    let shot = Shot { light_from: Angle::degrees(180.0), ripple_mm: 0.0, noise: 0.0, ..Shot::default() };
    let photo = shoot(&woven.maps, woven.scale, &shot, &Task::new()).unwrap().photo;
    let mut sums = [[0.0f32; 2]; 2];
    for (pixel, normal) in photo.texels().iter().zip(woven.maps.normal.texels()) {
        let side = usize::from(normal.0[0] > 0.0);
        if normal.0[0].abs() > 0.2 {
            sums[side][0] += pixel.0[1];
            sums[side][1] += 1.0;
        }
    }
    let [left, right] = sums.map(|s| s[0] / s[1]);
    assert!(left > 1.3 * right, "flanks facing the lamp {left}, facing away {right}");
}

fn hole(mm: f32) -> Damage {
    Damage { length: mm, width: mm, ..Damage::new(Kind::MothHole) }
}

#[test]
fn jersey_can_be_bitten_but_has_no_pick_to_pull() {
    let weave = |kind: Kind| {
        let spec = PatchSpec {
            cloth: stock("jersey").unwrap(),
            side: 200,
            width_mm: 24.0,
            damage: vec![Damage::new(kind)],
            grain: UPRIGHT,
            seed: 2,
        };
        weave_patch(&spec, &Task::new())
    };
    let (woven, _) = weave(Kind::MothHole).unwrap();
    assert!(woven.maps.opacity.get(100, 100).0 < 0.2, "a hole in the middle");
    assert!(matches!(weave(Kind::Snag), Err(WeaveError::Knitted(Kind::Snag))), "a snag is refused");
}

#[test]
fn yarn_hangs_into_a_hole_of_worn_jersey() {
    // No source: what is seen of any torn T-shirt. Burnt yarn has no end left to hang.
    let inside = |kind: Kind, age: f32| {
        let damage = Damage { length: 14.0, width: 14.0, age, ..Damage::new(kind) };
        let spec = PatchSpec {
            cloth: stock("jersey").unwrap(),
            side: 256,
            width_mm: 26.0,
            damage: vec![damage],
            grain: UPRIGHT,
            seed: 4,
        };
        let (woven, _) = weave_patch(&spec, &Task::new()).unwrap();
        // The hole's radius wavers by a third of 7 mm; this is well within it.
        let radius = 0.6 * 7.0 / 26.0 * 256.0;
        let within = |at: usize| ((at % 256) as f32 - 127.5).hypot((at / 256) as f32 - 127.5) < radius;
        let part: Vec<f32> = (0..65536).filter(|&at| within(at)).map(|at| woven.maps.opacity.texels()[at].0).collect();
        part.iter().sum::<f32>() / part.len() as f32
    };
    let (old, fresh, burnt) = (inside(Kind::WornThrough, 1.0), inside(Kind::WornThrough, 0.0), inside(Kind::Burn, 1.0));
    assert!(old > 0.01 && old < 0.3, "a long-worn hole is {old} full of yarn");
    assert!(fresh < 0.5 * old && burnt < 0.2 * old, "a fresh hole {fresh}, a burnt one {burnt}, a long-worn one {old}");
}

#[test]
fn worn_indigo_turns_pale_blue_before_white() {
    let (cloth, damage) = (stock("denim").unwrap(), vec![Damage::new(Kind::WornThrough)]);
    let spec = PatchSpec { cloth, side: 400, width_mm: 50.0, damage, grain: UPRIGHT, seed: 6 };
    let maps = weave_patch(&spec, &Task::new()).unwrap().0.maps;
    let warp = maps.thread_id.texels().iter().zip(maps.base_color.texels()).filter(|(id, _)| **id % 2 == 1);
    let half: Vec<[f32; 3]> = warp.map(|(_, c)| c.0).filter(|c| (0.10..0.22).contains(&c[1])).collect();
    assert!(half.len() > 1000, "{} texels of half-worn warp", half.len());
    // Dye and white side by side would give 1.2.
    let [red, blue] = [0, 2].map(|k: usize| half.iter().map(|c| c[k]).sum::<f32>());
    assert!(blue / red > 1.35, "blue is {} of red", blue / red);
}

#[test]
fn odd_injuries_give_finite_maps() {
    // Tiny, huge, over the canvas' corner, old, along the warp: every kind in turn on every cloth in turn; off the canvas it is refused.
    let odd = |n: usize, kind: Kind| {
        let base = Damage::new(kind);
        match n % 4 {
            0 => Damage { length: 0.5, width: 0.1, age: 1.0, surviving: 1.0, ..base },
            1 => Damage { length: 200.0, width: 90.0, age: 0.0, ..base },
            2 => Damage { at: [3.9, -3.9], along: Along::Warp, age: 1.0, ..base },
            _ => Damage { at: [500.0, 0.0], ..base },
        }
    };
    for (n, kind) in Kind::ALL.into_iter().cycle().take(4 * Kind::ALL.len()).enumerate() {
        let (name, _) = STOCK[(n * 7 + n / 10 * 3) % STOCK.len()];
        if name == "jersey" && kind == Kind::Snag {
            continue;
        }
        let spec = PatchSpec {
            cloth: stock(name).unwrap(),
            side: 64,
            width_mm: 8.0,
            damage: vec![odd(n / Kind::ALL.len(), kind)],
            grain: Angle::degrees(70.0),
            seed: n as u64,
        };
        let woven = weave_patch(&spec, &Task::new());
        if spec.damage[0].at[0] > 100.0 {
            assert!(matches!(woven, Err(WeaveError::OffCloth { .. })), "{name} {kind:?}: half a metre off is refused");
            continue;
        }
        let (woven, cover) = woven.map_err(|e| format!("{name} {kind:?}: {e}")).unwrap();
        let units = woven.maps.opacity.texels().iter().chain(cover.texels()).chain(woven.maps.occlusion.texels());
        assert!(units.clone().all(|u| (0.0..=1.0).contains(&u.0)), "{name} {kind:?}: a share beyond 0 to 1");
        assert!(woven.maps.height.texels().iter().all(|h| h.0.abs() < 20.0), "{name} {kind:?}: a height beyond reason");
        assert!(
            woven.maps.base_color.texels().iter().all(|c| c.0.iter().all(|v| (0.0..=2.0).contains(v))),
            "{name} {kind:?}: colour"
        );
    }
}

#[test]
fn a_quarter_turn_turns_the_picture() {
    let weave = |degrees: f32| {
        let (cloth, damage) = (stock("denim").unwrap(), vec![Damage::new(Kind::LTear)]);
        weave_patch(
            &PatchSpec { cloth, side: 128, width_mm: 32.0, damage, grain: Angle::degrees(degrees), seed: 5 },
            &Task::new(),
        )
    };
    let ((upright, _), (lying, _)) = (weave(90.0).unwrap(), weave(0.0).unwrap());
    let mut off = 0.0;
    for y in 0..128 {
        for x in 0..128 {
            off += (upright.maps.height.get(x, y).0 - lying.maps.height.get(127 - y, x).0).abs();
        }
    }
    // Other samples of a texel are shaded; unturned the heights would differ by 0.15 mm.
    assert!(off / 16384.0 < 8e-3, "heights off by {} mm", off / 16384.0);
    assert!((lying.maps.grain[0]).abs() < 1e-6 && lying.maps.grain[1] > 0.999, "the warp runs to the right");
}

/// FNV-1a (Fowler, Noll, Vo) of 32-bit words.
fn hash(bits: impl Iterator<Item = u32>) -> u64 {
    bits.flat_map(u32::to_le_bytes).fold(0xCBF2_9CE4_8422_2325, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01B3))
}

#[test]
fn the_same_seed_gives_the_same_bits_on_every_machine() {
    // Nothing but IEEE 754 additions, multiplications, divisions and roots, whose results the standard fixes to the bit, and
    // `libm`, which is made of them. A change of these numbers is a change of everybody's cloth: say so in the changelog.
    assert_eq!(hash(torn().unwrap().into_iter()), 6_423_545_809_740_250_188, "torn canvas");
    let woven = tile(stock("satin").unwrap(), 96, 4.0).unwrap();
    let photo = shoot(&woven.maps, woven.scale, &Shot::default(), &Task::new()).unwrap().photo;
    assert_eq!(hash(photo.texels().iter().flat_map(|p| p.0).map(f32::to_bits)), 15_218_372_781_001_624_147, "a photo of satin");
}
