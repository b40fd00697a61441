//! Woven cloth of one colour torn and laid on woven cloth of another: the goal of design §7, on threads.

use std::error::Error;

use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, PerChannel};
use tatter_core::color::{Lab, ciede2000};
use tatter_core::image::{Coding, Depth, HeightRange, LinearRgb, Map, Size, Stored, Transfer};
use tatter_core::model::{
    Edge, Garment, MapFile, MapRole, MapSet, Match, MatchMode, Origin, Patch, PatchMap, Placement, ScaleSource, Spot, Subject,
    UvTile,
};
use tatter_core::task::Task;
use tatter_core::units::{Mm, MmPerUv};
use tatter_garment::build::{BuildSettings, build};
use tatter_garment::place::Placed;
use tatter_weave::{Damage, Dye, Kind, PatchSpec, TileSpec, stock, weave_patch, weave_tile};

type Tried<T> = Result<T, Box<dyn Error>>;

const TEXELS: usize = 512;
const WIDTH_MM: f32 = 40.0;

/// Plain dyed cloth: canvas of one colour.
fn canvas(color: [f32; 3]) -> Tried<tatter_weave::Cloth> {
    let mut cloth = stock("canvas").ok_or("canvas is in stock")?;
    for yarn in [&mut cloth.warp, &mut cloth.weft] {
        yarn.dye = Dye { color: LinearRgb(color), ..yarn.dye };
    }
    Ok(cloth)
}

/// A rip in such cloth, as `tatter weave` keeps it.
fn ripped(color: [f32; 3]) -> Tried<Patch> {
    let damage = vec![Damage { length: 14.0, width: 5.0, ..Damage::new(Kind::Rip) }];
    let spec =
        PatchSpec { cloth: canvas(color)?, side: TEXELS, width_mm: WIDTH_MM, damage, grain: Angle::degrees(90.0), seed: 3 };
    let (woven, cover) = weave_patch(&spec, &Task::new())?;
    let mut maps = PerChannel::default();
    let mut put = |channel: Channel, map| maps[channel] = Some(PatchMap::new(map, Origin::Derived, ""));
    put(Channel::Cover, Map::Unit(cover));
    put(Channel::BaseColor, Map::Color(woven.maps.base_color));
    put(Channel::Opacity, Map::Unit(woven.maps.opacity));
    Ok(Patch {
        name: "rip".into(),
        maps,
        subject: Subject::Damage,
        scale: woven.scale,
        scale_source: ScaleSource::MmPerPixel,
        scale_uncertainty: None,
        grain: Some(Angle::degrees(90.0)),
        ends_per_cm: None,
        picks_per_cm: None,
        weave: tatter_core::model::Weave::Unknown,
        height_range: HeightRange::default(),
        cloth_color: Some(LinearRgb(color)),
        photo_from_patch: None,
        provenance: Vec::new(),
    })
}

/// A garment that is one square of woven cloth, and its base colour.
fn garment(color: [f32; 3]) -> Tried<(Garment, Stored)> {
    let spec = TileSpec { cloth: canvas(color)?, side: 2 * TEXELS, width_mm: 80.0, seed: 8 };
    let woven = weave_tile(&spec, &Task::new())?;
    let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
    let file = MapFile {
        path: "canvas.png".into(),
        roles: vec![MapRole { channel: Channel::BaseColor, coding }],
        size: Size::new(2 * TEXELS, 2 * TEXELS),
    };
    let set = MapSet { material: String::new(), tile: UvTile::default(), files: vec![file] };
    let span = MmPerUv(woven.scale.get() * 2.0 * TEXELS as f32);
    let stored = Stored::from_map(&Map::Color(woven.maps.base_color), &coding, Depth::Eight);
    Ok((Garment { mesh: None, sets: vec![set], mm_per_unit: 0.0, mm_per_uv: span, grain: Vec::new() }, stored))
}

/// Median CIEDE2000 over the rim: threads of the patch where it covers fully and lies far from the injury, beside threads of
/// the garment as near, in cells of 3 mm.
fn rim(before: &Stored, after: &Stored) -> f32 {
    let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
    let side = before.size.width;
    // Three millimetres in texels of 0.078 mm.
    let cell = 38;
    let mut far = Vec::new();
    for y in (0..side - cell).step_by(cell) {
        for x in (0..side - cell).step_by(cell) {
            let (mut sums, mut counts) = ([[0.0f64; 3]; 2], [0.0f64; 2]);
            for (u, v) in (0..cell * cell).map(|i| (x + i % cell, y + i / cell)) {
                let (old, new) = (before.color_at(u, v, &coding).0, after.color_at(u, v, &coding).0);
                let laid = usize::from(old != new);
                (0..3).for_each(|c| sums[laid][c] += f64::from(new[c]));
                counts[laid] += 1.0;
            }
            // Cells of the rim hold both.
            if counts.iter().all(|&c| c > 0.3 * (cell * cell) as f64) {
                let [outside, inside] = [0, 1].map(|k| Lab::from(LinearRgb(sums[k].map(|s| (s / counts[k]) as f32))));
                far.push(ciede2000(outside, inside));
            }
        }
    }
    far.sort_by(f32::total_cmp);
    far[far.len() / 2]
}

fn lay(color: [f32; 3], under: [f32; 3], mode: Option<MatchMode>) -> Tried<f32> {
    let (patch, (garment, before)) = (ripped(color)?, garment(under)?);
    let placement = Placement {
        id: "rip-1".into(),
        patch: "rip".into(),
        spot: Spot::Uv { at: [0.5, 0.5], part: None },
        turn: Angle::ZERO,
        size: Some(Mm(WIDTH_MM)),
        mirror: false,
        rules: PerChannel::default(),
        // Up to its cover's edge: a seam leaves hardly any intact cloth to be looked at.
        matching: Match { mode, edge: Edge::Soft, ..Match::default() },
    };
    let mut pictures = vec![vec![before.clone()]];
    let placed = [Placed { placement: &placement, patch: &patch }];
    build(&garment, &mut pictures, &placed, &BuildSettings::default(), &Task::new())?;
    Ok(rim(&before, &pictures[0][0]))
}

#[test]
fn a_rip_takes_the_colour_of_the_woven_cloth_it_is_laid_on() -> Tried<()> {
    let [indigo, madder, ochre, black] = [[0.05, 0.08, 0.2], [0.36, 0.05, 0.04], [0.42, 0.26, 0.1], [0.015, 0.015, 0.016]];
    for (own, under) in [(ochre, indigo), (indigo, madder), (madder, black), (indigo, ochre), (ochre, ochre)] {
        let far = lay(own, under, None)?;
        assert!(far <= 1.5, "{own:?} on {under:?}: ΔE00 {far} (design 7: median at most 1.5)");
    }
    let clash = lay(ochre, indigo, Some(MatchMode::None))?;
    assert!(clash > 10.0, "as it comes, ochre on indigo is ΔE00 {clash}");
    Ok(())
}
