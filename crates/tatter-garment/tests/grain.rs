//! The grain of islands: patches lie along it, on rotated and mirrored islands alike.

mod made;

use glam::{DVec2, DVec3};
use made::{PatchMaker, dressed, quad};
use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, PerChannel};
use tatter_core::mesh::Part;
use tatter_core::model::{Garment, GrainSource, Hand, IslandGrain, Match, Placement, Spot, Weave};
use tatter_garment::place::{PlaceSettings, footprint};
use tatter_garment::surface::Surface;
use tatter_garment::surface::islands::{inner_places, islands};

const SIDES: usize = 48;
const RINGS: usize = 20;
const RADIUS: f64 = 60.0;
const RING_MM: f64 = 10.0;

/// Width of one flat side of the tube.
fn side_mm() -> f64 {
    2.0 * RADIUS * (std::f64::consts::PI / SIDES as f64).sin()
}

/// How an island lies in the texture: where its middle is, how far it is turned counter-clockwise in the picture, whether mirrored.
#[derive(Clone, Copy)]
struct Lie {
    middle: [f64; 2],
    turned_deg: f64,
    mirrored: bool,
}

const STRAIGHT: Lie = Lie { middle: [0.25, 0.5], turned_deg: 0.0, mirrored: false };

impl Lie {
    /// UV of a place on the unrolled half of the tube: mm to the right and up from its middle, at 1000 mm a UV unit.
    fn uv(&self, [x, y]: [f64; 2]) -> [f32; 2] {
        let x = if self.mirrored { -x } else { x };
        let p = DVec2::from_angle(self.turned_deg.to_radians()).rotate(DVec2::new(x, y)) / 1000.0;
        [(self.middle[0] + p.x) as f32, (self.middle[1] - p.y) as f32]
    }
}

/// A tube around Y of two islands, sides 0..24 and 24..48, unrolled exactly.
fn tube(lies: [Lie; 2]) -> Part {
    let mut part = Part { name: "sleeve".into(), ..Part::default() };
    let corner = |side: usize, ring: usize| {
        let (sin, cos) = (side as f64 / SIDES as f64 * std::f64::consts::TAU).sin_cos();
        [(RADIUS * sin) as f32, (RING_MM * ring as f64) as f32, (RADIUS * cos) as f32]
    };
    for side in 0..SIDES {
        let lie = lies[2 * side / SIDES];
        let (sin, cos) = ((side as f64 + 0.5) / SIDES as f64 * std::f64::consts::TAU).sin_cos();
        for ring in 0..RINGS {
            let around = [(side, ring), (side + 1, ring), (side + 1, ring + 1), (side, ring + 1)];
            let first = SIDES / 2 * (2 * side / SIDES);
            let flat = |s: usize, r: usize| {
                [(s - first) as f64 * side_mm() - 0.25 * SIDES as f64 * side_mm(), RING_MM * (r as f64 - 0.5 * RINGS as f64)]
            };
            quad(
                &mut part,
                around.map(|(s, r)| corner(s, r)),
                around.map(|(s, r)| lie.uv(flat(s, r))),
                [sin as f32, 0.0, cos as f32],
            );
        }
    }
    part
}

fn grain(lie: Lie, turn_deg: f32) -> IslandGrain {
    IslandGrain {
        at: lie.middle.map(|c| c as f32 + 0.003),
        part: None,
        turn: Angle::degrees(turn_deg),
        source: GrainSource::Arrow,
        ends_per_cm: None,
        picks_per_cm: None,
        weave: Weave::Unknown,
    }
}

/// The place of the tube's surface in the middle of a side.
fn on_side(side: usize, y: f64) -> Spot {
    let (sin, cos) = ((side as f64 + 0.5) / SIDES as f64 * std::f64::consts::TAU).sin_cos();
    let r = RADIUS * (std::f64::consts::PI / SIDES as f64).cos();
    Spot::Point([(r * sin) as f32, y as f32, (r * cos) as f32])
}

/// The warp runs along the tube's axis in every island, so a patch's grain must, whatever way the island lies in the texture.
/// Turned counter-clockwise in the picture is counter-clockwise from outside, but clockwise where the picture is mirrored.
#[test]
fn the_grain_of_turned_and_mirrored_islands_is_the_cloths_own() {
    for (turned_deg, mirrored) in
        [(0.0, false), (37.0, false), (-80.0, false), (140.0, false), (0.0, true), (25.0, true), (-65.0, true)]
    {
        let other = Lie { middle: [0.75, 0.5], turned_deg, mirrored };
        let turn = if mirrored { -turned_deg } else { turned_deg } as f32;
        let garment = Garment { grain: vec![grain(other, turn)], ..dressed(tube([STRAIGHT, other])) };
        let surface = Surface::new(&garment);
        for side in [3, 20, 25, 40] {
            let seed = surface.locate(&on_side(side, 103.0), 1.0).unwrap();
            let off = seed.grain.angle_between(DVec3::Y).to_degrees();
            assert!(off < 0.01, "{turned_deg} mirrored {mirrored}, side {side}: the grain is {off} degrees off the axis");
        }
        let bare = Surface::new(&Garment { grain: Vec::new(), ..garment });
        let seed = bare.locate(&on_side(40, 103.0), 1.0).unwrap();
        let off = seed.grain.angle_between(DVec3::Y).to_degrees();
        assert!((off - turned_deg.abs()).abs() < 0.01, "without an entry the texture's upright counts: {off}");
    }
}

/// A patch across the seam of two islands lies along the warp on both, as one piece: the tube unrolls exactly, so every corner
/// is where the unrolled tube has it.
#[test]
fn a_patch_over_a_seam_follows_the_island_of_its_spot() {
    let other = Lie { middle: [0.75, 0.5], turned_deg: 33.0, mirrored: false };
    let known = Garment { grain: vec![grain(other, 33.0)], ..dressed(tube([STRAIGHT, other])) };
    let patch = PatchMaker::new(32, 60.0).unit(Channel::Cover, |_, _| 1.0).patch();
    // Sides 23 and 24 touch in the seam.
    for (garment, side, turned) in
        [(&known, 23, 0.0), (&known, 24, 0.0), (&Garment { grain: Vec::new(), ..known.clone() }, 24, -33.0)]
    {
        let surface = Surface::new(garment);
        let placement = Placement {
            id: "p".into(),
            patch: "p".into(),
            spot: on_side(side, 105.0),
            turn: Angle::ZERO,
            size: None,
            mirror: false,
            rules: PerChannel::default(),
            matching: Match::default(),
        };
        let found = footprint(&surface, &placement, &patch, 1.0, &PlaceSettings::default()).unwrap();
        let mut sides = std::collections::BTreeSet::new();
        for face in &found.faces {
            let (own, ring) = (face.face / 2 / RINGS, face.face / 2 % RINGS);
            sides.insert(own);
            for (k, corner) in face.corners_mm.iter().enumerate() {
                let (s, r) = [[(0, 0), (1, 0), (1, 1)], [(0, 0), (1, 1), (0, 1)]][face.face % 2][k];
                let x = (own as f64 + f64::from(s) - side as f64 - 0.5) * side_mm();
                let y = (ring as f64 + f64::from(r)) * RING_MM - 105.0;
                // Patch millimetres run down.
                let wanted = DVec2::from_angle(f64::to_radians(turned)).rotate(DVec2::new(x, -y));
                assert!(corner.distance(wanted) < 1e-3, "side {side}: {corner} instead of {wanted}");
            }
        }
        assert!(sides.contains(&22) && sides.contains(&25), "both islands are reached: {sides:?}");
    }
}

/// Two islands that show one place of the texture, one of them mirrored: the warp runs mirrored there, and so does its twill.
#[test]
fn islands_that_share_the_texture_share_its_grain() {
    let turned = Lie { turned_deg: 20.0, ..STRAIGHT };
    let mirrored = Lie { mirrored: true, ..turned };
    let mut part = tube([turned, STRAIGHT]);
    // The second half shows what the first does, mirrored.
    let shown = tube([mirrored, mirrored]).uvs;
    let half = part.uvs.len() / 2;
    part.uvs[half..].copy_from_slice(&shown[half..]);
    let entry = IslandGrain { weave: Weave::Twill { over: 2, under: 2, hand: Hand::Z }, ..grain(turned, 20.0) };
    let garment = Garment { grain: vec![entry.clone()], ..dressed(part) };
    let surface = Surface::new(&garment);
    for (side, hand) in [(12, Hand::Z), (36, Hand::S)] {
        let seed = surface.locate(&on_side(side, 97.0), 1.0).unwrap();
        assert!(seed.grain.angle_between(DVec3::Y) < 1e-3, "side {side}: {}", seed.grain);
        let found = surface.grain_of(seed.face).unwrap();
        assert_eq!(found.weave(&entry).hand(), Some(hand), "side {side}");
    }
}

#[test]
fn places_inside_an_island_lie_far_from_its_rim_and_apart() {
    let other = Lie { middle: [0.75, 0.5], turned_deg: 33.0, mirrored: true };
    let garment = dressed(tube([STRAIGHT, other]));
    let surface = Surface::new(&garment);
    let all = islands(&garment, &surface);
    assert_eq!(all.all.len(), 2, "two halves");
    for (number, island) in all.all.iter().enumerate() {
        let area = 0.5 * SIDES as f64 * side_mm() * RING_MM * RINGS as f64;
        assert!((island.area_mm2 / area - 1.0).abs() < 1e-4, "{island:?}");
        assert!((island.mm_per_uv() - 1000.0).abs() < 0.1, "{island:?}");
        let faces: Vec<usize> = (0..surface.faces().len()).filter(|&f| all.of_face[f] as usize == number).collect();
        let places = inner_places(&surface, &faces, 0.05, 3);
        assert_eq!(places.len(), 3, "it is large enough for three");
        for (n, place) in places.iter().enumerate() {
            assert!(faces.contains(&place.face), "its own face");
            let w = surface.faces()[place.face].weights_at_uv(place.uv).unwrap();
            assert!(w.iter().all(|w| *w > -1e-6), "and inside it: {w:?}");
            assert!(places[..n].iter().all(|p| p.uv.distance(place.uv) >= 0.05), "apart");
        }
        // The half is 188 by 200 mm: its middle is 94 mm from the rim.
        let lie = [STRAIGHT, other][number];
        assert!(places[0].uv.distance(DVec2::from(lie.middle)) < 0.015, "the first is about its middle: {:?}", places[0]);
    }
}
