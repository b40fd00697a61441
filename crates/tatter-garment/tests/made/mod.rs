//! Garments and patches made in code.
#![expect(dead_code, reason = "each test file uses some of them")]

use glam::{Vec2, Vec3};
use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, PerChannel};
use tatter_core::image::{
    Coding, ColorTags, HeightMm, HeightRange, Image, Layout, LinearRgb, Map, Normal, NormalY, Samples, Size, Stored, Transfer,
    Unit,
};
use tatter_core::mesh::{Mesh, Part};
use tatter_core::model::{
    Garment, MapFile, MapRole, MapSet, Match, Origin, Patch, PatchMap, Placement, ScaleSource, Spot, Subject, UvTile, Weave,
};
use tatter_core::units::{Mm, MmPerTexel, MmPerUv, PerCm};

/// A quad's corners, its UVs in the same order, its normal; counter-clockwise from outside.
pub(crate) fn quad(part: &mut Part, p: [[f32; 3]; 4], uv: [[f32; 2]; 4], normal: [f32; 3]) {
    let first = part.positions.len() as u32;
    part.positions.extend(p.map(Vec3::from));
    part.uvs.extend(uv.map(Vec2::from));
    part.normals.extend([Vec3::from(normal); 4]);
    part.triangles.extend([[first, first + 1, first + 2], [first, first + 2, first + 3]]);
}

/// A garment of one part with one map set.
pub(crate) fn garment(part: Part, files: Vec<MapFile>, mm_per_uv: f32) -> Garment {
    Garment {
        mesh: Some(Mesh { parts: vec![part] }),
        sets: vec![MapSet { material: String::new(), tile: UvTile::default(), files }],
        mm_per_unit: 1.0,
        mm_per_uv: MmPerUv(mm_per_uv),
        grain: Vec::new(),
    }
}

/// A garment of one part with one colour map.
pub(crate) fn dressed(part: Part) -> Garment {
    garment(part, vec![file(64, &[(Channel::BaseColor, color_coding())])], 1000.0)
}

/// A map set without a mesh.
pub(crate) fn flat(files: Vec<MapFile>, mm_per_uv: f32) -> Garment {
    Garment { mesh: None, ..garment(Part::default(), files, mm_per_uv) }
}

pub(crate) fn file(size: usize, roles: &[(Channel, Coding)]) -> MapFile {
    MapFile {
        path: format!("cloth_{}.png", roles[0].0),
        roles: roles.iter().map(|&(channel, coding)| MapRole { channel, coding }).collect(),
        size: Size::new(size, size),
    }
}

pub(crate) fn color_coding() -> Coding {
    Coding { transfer: Transfer::Srgb, ..Coding::default() }
}

pub(crate) fn height_coding() -> Coding {
    Coding { height_range: HeightRange { low_mm: -1.0, high_mm: 1.0 }, ..Coding::default() }
}

pub(crate) fn normal_coding(normal_y: NormalY) -> Coding {
    Coding { normal_y, ..Coding::default() }
}

/// Colour, normal, height, roughness and opacity, as a usual set.
pub(crate) fn five_files(size: usize) -> Vec<MapFile> {
    vec![
        file(size, &[(Channel::BaseColor, color_coding())]),
        file(size, &[(Channel::Normal, normal_coding(NormalY::Up))]),
        file(size, &[(Channel::Height, height_coding())]),
        file(size, &[(Channel::Roughness, Coding::default())]),
        file(size, &[(Channel::Opacity, Coding::default())]),
    ]
}

pub(crate) fn picture(size: usize, layout: Layout, code: impl Fn(usize, usize, usize) -> f32) -> Stored {
    let mut stored = Stored::zeros(Size::new(size, size), layout, &Samples::U8(Vec::new()));
    fill(&mut stored, code);
    stored
}

pub(crate) fn picture16(size: usize, layout: Layout, code: impl Fn(usize, usize, usize) -> f32) -> Stored {
    let mut stored = Stored::zeros(Size::new(size, size), layout, &Samples::U16(Vec::new()));
    fill(&mut stored, code);
    stored.tags = ColorTags::default();
    stored
}

fn fill(stored: &mut Stored, code: impl Fn(usize, usize, usize) -> f32) {
    for y in 0..stored.size.height {
        for x in 0..stored.size.width {
            for c in 0..stored.layout.components() {
                stored.set_value(x, y, c, code(x, y, c));
            }
        }
    }
}

/// Pictures for [`five_files`]: mid grey, flat normals, level height, half rough, closed.
pub(crate) fn five_pictures(size: usize) -> Vec<Vec<Stored>> {
    let noise = |x: usize, y: usize, c: usize| ((x * 7 + y * 13 + c * 29) % 32) as f32 / 255.0;
    vec![vec![
        picture(size, Layout::Rgb, |x, y, c| 0.4 + noise(x, y, c)),
        picture(size, Layout::Rgb, |x, y, c| if c == 2 { 1.0 } else { 0.47 + noise(x, y, c) * 0.5 }),
        picture16(size, Layout::Gray, |x, y, _| 0.5 + noise(x, y, 0)),
        picture(size, Layout::Gray, |x, y, _| 0.5 + noise(x, y, 1)),
        picture(size, Layout::Gray, |_, _, _| 1.0),
    ]]
}

/// A patch of `texels`² over `side_mm`, its maps from functions of the place in mm from the middle (x right, y *down*).
pub(crate) struct PatchMaker {
    pub(crate) texels: usize,
    pub(crate) side_mm: f32,
    pub(crate) maps: PerChannel<Option<PatchMap>>,
}

impl PatchMaker {
    pub(crate) fn new(texels: usize, side_mm: f32) -> Self {
        Self { texels, side_mm, maps: PerChannel::default() }
    }

    fn place(&self, x: usize, y: usize) -> (f32, f32) {
        let at = |i: usize| ((i as f32 + 0.5) / self.texels as f32 - 0.5) * self.side_mm;
        (at(x), at(y))
    }

    fn put(mut self, channel: Channel, map: Map) -> Self {
        self.maps[channel] = Some(PatchMap::new(map, Origin::Measured, ""));
        self
    }

    pub(crate) fn unit(self, channel: Channel, f: impl Fn(f32, f32) -> f32 + Sync) -> Self {
        let n = self.texels;
        let map = Map::Unit(Image::from_fn(n, n, |x, y| {
            let (x, y) = self.place(x, y);
            Unit(f(x, y))
        }));
        self.put(channel, map)
    }

    pub(crate) fn color(self, f: impl Fn(f32, f32) -> [f32; 3] + Sync) -> Self {
        let n = self.texels;
        let map = Map::Color(Image::from_fn(n, n, |x, y| {
            let (x, y) = self.place(x, y);
            LinearRgb(f(x, y))
        }));
        self.put(Channel::BaseColor, map)
    }

    pub(crate) fn height(self, f: impl Fn(f32, f32) -> f32 + Sync) -> Self {
        let n = self.texels;
        let map = Map::Height(Image::from_fn(n, n, |x, y| {
            let (x, y) = self.place(x, y);
            HeightMm(f(x, y))
        }));
        self.put(Channel::Height, map)
    }

    /// From slopes right and up.
    pub(crate) fn slopes(self, f: impl Fn(f32, f32) -> (f32, f32) + Sync) -> Self {
        let n = self.texels;
        let map = Map::Normal(Image::from_fn(n, n, |x, y| {
            let (x, y) = self.place(x, y);
            let (p, q) = f(x, y);
            Normal::from_slopes(p, q)
        }));
        self.put(Channel::Normal, map)
    }

    /// Cover 1 within `radius_mm`, fading over `fade_mm`.
    pub(crate) fn disc(self, radius_mm: f32, fade_mm: f32) -> Self {
        self.unit(Channel::Cover, move |x, y| ((radius_mm - x.hypot(y)) / fade_mm + 0.5).clamp(0.0, 1.0))
    }

    pub(crate) fn patch(self) -> Patch {
        Patch {
            name: "made".into(),
            scale: MmPerTexel(self.side_mm / self.texels as f32),
            maps: self.maps,
            subject: Subject::Damage,
            scale_source: ScaleSource::MmPerPixel,
            scale_uncertainty: None,
            grain: Some(Angle::degrees(90.0)),
            ends_per_cm: Some(PerCm(10.0)),
            picks_per_cm: Some(PerCm(10.0)),
            weave: Weave::Unknown,
            height_range: HeightRange::default(),
            cloth_color: None,
            photo_from_patch: None,
            provenance: Vec::new(),
        }
    }
}

pub(crate) fn placement(id: &str, u: f32, v: f32) -> Placement {
    Placement {
        id: id.into(),
        patch: "made".into(),
        spot: Spot::Uv { at: [u, v], part: None },
        turn: Angle::ZERO,
        size: None,
        mirror: false,
        rules: PerChannel::default(),
        matching: Match::default(),
    }
}

pub(crate) fn at_point(id: &str, point: [f32; 3]) -> Placement {
    Placement { spot: Spot::Point(point), ..placement(id, 0.0, 0.0) }
}

pub(crate) fn sized(placement: Placement, side_mm: f32) -> Placement {
    Placement { size: Some(Mm(side_mm)), ..placement }
}

/// A square cloth of 100 mm facing +Z, image up = +Y, cut by `split` into two islands at `x = 50`; the right one is turned in
/// UV by a quarter, or mirrored.
pub(crate) fn seamed(island: Island) -> Part {
    let mut part = Part { name: "cloth".into(), ..Part::default() };
    quad(
        &mut part,
        [[0.0, 0.0, 0.0], [50.0, 0.0, 0.0], [50.0, 100.0, 0.0], [0.0, 100.0, 0.0]],
        [[0.05, 0.95], [0.45, 0.95], [0.45, 0.15], [0.05, 0.15]],
        [0.0, 0.0, 1.0],
    );
    // The same 125 mm per UV unit; uv of the right half's corners: bottom left, bottom right, top right, top left.
    let uv = match island {
        Island::Straight => [[0.55, 0.95], [0.95, 0.95], [0.95, 0.15], [0.55, 0.15]],
        Island::Mirrored => [[0.95, 0.95], [0.55, 0.95], [0.55, 0.15], [0.95, 0.15]],
        Island::UpsideDown => [[0.95, 0.15], [0.55, 0.15], [0.55, 0.95], [0.95, 0.95]],
    };
    quad(&mut part, [[50.0, 0.0, 0.0], [100.0, 0.0, 0.0], [100.0, 100.0, 0.0], [50.0, 100.0, 0.0]], uv, [0.0, 0.0, 1.0]);
    part
}

#[derive(Clone, Copy, Debug)]
pub(crate) enum Island {
    Straight,
    Mirrored,
    UpsideDown,
}

/// UV of a point of the cloth on a given half.
pub(crate) fn uv_at(part: &Part, right: bool, x: f32, y: f32) -> Vec2 {
    let first = if right { 4 } else { 0 };
    let (fx, fy) = ((x - if right { 50.0 } else { 0.0 }) / 50.0, y / 100.0);
    let uv = &part.uvs[first..first + 4];
    uv[0] + (uv[1] - uv[0]) * fx + (uv[3] - uv[0]) * fy
}
