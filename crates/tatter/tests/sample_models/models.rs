//! Small scenes that each try one thing of the shading of glTF, for our renderer and, written as GLB, for others.

use glam::{Vec2, Vec3};
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::image::{Coding, ColorTags, Layout, LinearRgb, Samples, Size, Stored, Transfer};
use tatter_core::mesh::Part;
use tatter_proof::{
    Camera, Environment, KeyLight, Light, Material, Openings, Scene, ScenePart, Sheen, Source, StillSettings, ViewTransform,
};

/// Pixels along a side of the pictures.
pub(crate) const SIDE: u32 = 128;

/// What a part is made of, as glTF holds it.
pub(crate) struct Cloth {
    /// As in [`Part::material`].
    pub(crate) name: String,
    /// sRGB, with opacity in alpha where `cutoff` is given.
    pub(crate) color: Stored,
    /// Occlusion, roughness, metallic.
    pub(crate) surface: Stored,
    /// +Y up.
    pub(crate) normal: Option<Stored>,
    /// Linear colour and roughness.
    pub(crate) sheen: Option<([f32; 3], f32)>,
    /// Opacity at and above which cloth is there.
    pub(crate) cutoff: Option<f32>,
}

/// A scene to be drawn.
pub(crate) struct Model {
    /// Names its picture.
    pub(crate) name: &'static str,
    /// Parts, each with the name of a cloth.
    pub(crate) parts: Vec<Part>,
    /// What they are made of.
    pub(crate) cloths: Vec<Cloth>,
    /// Where the eye stands.
    pub(crate) camera: Camera,
    /// Share of the studio's sky; 0: the lamp alone.
    pub(crate) sky: f32,
    /// The lamp.
    pub(crate) key: KeyLight,
}

impl Model {
    /// All of them.
    pub(crate) fn all() -> Vec<Self> {
        vec![ladder(), quilt(), drape(), sleeve(), patchwork()]
    }

    /// Lamp and sky; nothing bounces.
    pub(crate) fn light(&self) -> Light {
        let picture = Environment::studio().picture.map(|c| LinearRgb(c.0.map(|v| self.sky * v)));
        Light { key: self.key, environment: Environment { picture }, bounce: 0.0 }
    }

    /// As the renderer wants it.
    pub(crate) fn scene(&self) -> Scene<'_> {
        let number = |name: &str| self.cloths.iter().position(|cloth| cloth.name == name).unwrap_or(0);
        let parts = self.parts.iter().flat_map(|part| ScenePart::split(part, |_| number(&part.material))).collect();
        Scene { parts, materials: self.cloths.iter().map(Cloth::material).collect() }
    }

    /// No shadows of the sky and no view transform: what a plain renderer of glTF shows.
    pub(crate) fn settings() -> StillSettings {
        StillSettings {
            width: SIDE,
            height: SIDE,
            samples: 64,
            transform: ViewTransform::Plain,
            backdrop: [LinearRgb([0.0; 3]); 2],
            open_sky: true,
            ..StillSettings::default()
        }
    }
}

impl Cloth {
    fn material(&self) -> Material<'_> {
        let source =
            |picture, component, transfer| Source { picture, coding: Coding { component, transfer, ..Coding::default() } };
        let mut sources = vec![
            (Channel::BaseColor, source(&self.color, 0, Transfer::Srgb)),
            (Channel::Occlusion, source(&self.surface, 0, Transfer::Linear)),
            (Channel::Roughness, source(&self.surface, 1, Transfer::Linear)),
            (Channel::Metallic, source(&self.surface, 2, Transfer::Linear)),
        ];
        sources.extend(self.normal.as_ref().map(|picture| (Channel::Normal, source(picture, 0, Transfer::Linear))));
        sources.extend(self.cutoff.map(|_| (Channel::Opacity, source(&self.color, 3, Transfer::Linear))));
        let (color, roughness) = self.sheen.unwrap_or(([0.0; 3], 0.5));
        Material {
            name: self.name.clone(),
            sources,
            sheen: Sheen { color: LinearRgb(color), roughness },
            openings: self.cutoff.map_or(Openings::Share, Openings::Cutoff),
            mm_per_uv: 1000.0,
        }
    }

    fn plain(name: String, color: [u8; 3], surface: [u8; 3]) -> Self {
        Self { name, color: even(color), surface: even(surface), normal: None, sheen: None, cutoff: None }
    }
}

/// A texture by a function of its texels.
fn texture<const N: usize>(side: usize, layout: Layout, f: impl Fn(usize, usize) -> [u8; N]) -> Stored {
    let samples = (0..side * side).flat_map(|i| f(i % side, i / side)).collect();
    Stored { size: Size::new(side, side), layout, samples: Samples::U8(samples), tags: ColorTags::default() }
}

fn even(color: [u8; 3]) -> Stored {
    texture(4, Layout::Rgb, |_, _| color)
}

/// A surface over a grid of (u, v); normals by finite differences of it.
fn surface(material: &str, (across, down): (u32, u32), at: impl Fn(f32, f32) -> Vec3) -> Part {
    const STEP: f32 = 1e-3;
    let mut part = Part { name: material.to_owned(), material: material.to_owned(), ..Part::default() };
    for j in 0..=down {
        for i in 0..=across {
            let (u, v) = (i as f32 / across as f32, j as f32 / down as f32);
            let right = at(u + STEP, v) - at(u - STEP, v);
            let up = at(u, v - STEP) - at(u, v + STEP);
            part.positions.push(at(u, v));
            part.normals.push(right.cross(up).normalize_or(Vec3::Z));
            part.uvs.push(Vec2::new(u, v));
        }
    }
    for j in 0..down {
        for i in 0..across {
            let a = j * (across + 1) + i;
            let b = a + across + 1;
            part.triangles.extend([[a, b, a + 1], [a + 1, b, b + 1]]);
        }
    }
    part
}

fn ball(material: &str, middle: Vec3, radius: f32) -> Part {
    let mut part = surface(material, (64, 32), |u, v| middle + radius * Environment::towards(1.0 - u, v));
    // At the poles a step aside leads nowhere.
    part.normals = part.positions.iter().map(|p| (*p - middle) / radius).collect();
    part
}

fn lamp(towards: Vec3, strength: f32) -> KeyLight {
    KeyLight {
        towards: towards.normalize_or(Vec3::Z),
        irradiance: LinearRgb([strength, 0.97 * strength, 0.92 * strength]),
        radius: Angle::ZERO,
    }
}

fn ahead(width: f32) -> Camera {
    let far = 0.5 * width / Angle::degrees(8.0).sin_cos().0;
    Camera { eye: Vec3::new(0.0, 0.0, far), target: Vec3::ZERO, up: Vec3::Y, field: Angle::degrees(16.0), clear: 0.0 }
}

/// Eight balls: ochre cloth above, brass below, smooth to rough from left to right, lamp and sky.
fn ladder() -> Model {
    let (mut parts, mut cloths) = (Vec::new(), Vec::new());
    for (row, (color, metal)) in [([178, 132, 74], 0), ([214, 180, 110], 255)].into_iter().enumerate() {
        for (column, rough) in [64, 120, 180, 255].into_iter().enumerate() {
            let name = format!("{row} {column}");
            let middle = Vec3::new(column as f32 - 1.5, 0.55 - 1.1 * row as f32, 0.0);
            parts.push(ball(&name, middle, 0.46));
            cloths.push(Cloth::plain(name, color, [255, rough, metal]));
        }
    }
    Model { name: "ladder", parts, cloths, camera: ahead(4.4), key: lamp(Vec3::new(-0.5, 0.6, 0.8), 1.2), sky: 0.35 }
}

/// Four squares of one relief: as it is, mirrored, turned by a quarter, and both; by a lamp from the upper left alone.
fn quilt() -> Model {
    // A boss, and a furrow that climbs to the right: neither is its own mirror image.
    let height = |x: f32, y: f32| {
        let boss = (0.09 - (x - 0.4).powi(2) - (y - 0.38).powi(2)).max(0.0).sqrt();
        let furrow = 0.03 * (-((x + 0.5 * y - 1.1) / 0.05).powi(2)).exp();
        boss - furrow
    };
    let normal = texture(128, Layout::Rgb, |x, y| {
        let (u, v) = ((x as f32 + 0.5) / 128.0, (y as f32 + 0.5) / 128.0);
        let step = 1.0 / 256.0;
        let along = |dx: f32, dy: f32| (height(u + dx, v + dy) - height(u - dx, v - dy)) / (2.0 * step);
        // v runs down, the normal's y up.
        let n = Vec3::new(-along(step, 0.0), along(0.0, step), 1.0).normalize_or(Vec3::Z);
        n.to_array().map(|c| (127.5 + 127.5 * c).round() as u8)
    });
    let cloth = Cloth { normal: Some(normal), ..Cloth::plain("quilt".into(), [186, 150, 104], [255, 160, 0]) };
    let turns: [fn(Vec2) -> Vec2; 4] =
        [|uv| uv, |uv| Vec2::new(1.0 - uv.x, uv.y), |uv| Vec2::new(uv.y, 1.0 - uv.x), |uv| Vec2::new(uv.y, uv.x)];
    let square = |(i, turned): (usize, fn(Vec2) -> Vec2)| {
        let corner = Vec3::new((i % 2) as f32 - 1.0, 1.0 - (i / 2) as f32, 0.0);
        let mut part = surface("quilt", (2, 2), |u, v| corner + Vec3::new(u, -v, 0.0));
        part.uvs.iter_mut().for_each(|uv| *uv = turned(*uv));
        part
    };
    let parts = turns.into_iter().enumerate().map(square).collect();
    let key = lamp(Vec3::new(-0.6, 0.6, 0.7), 2.2);
    Model { name: "quilt", parts, cloths: vec![cloth], camera: ahead(2.1), key, sky: 0.0 }
}

/// Velvet in folds: sheen under a lamp.
fn drape() -> Model {
    let fold = |u: f32, v: f32| {
        let (x, y) = (2.0 * u - 1.0, 1.0 - 2.0 * v);
        Vec3::new(x, y, 0.16 * (5.0 * x + 0.8 * y).sin() + 0.05 * (3.0 * y).cos())
    };
    let cloth = Cloth { sheen: Some(([0.55, 0.24, 0.2], 0.45)), ..Cloth::plain("velvet".into(), [96, 24, 30], [255, 220, 0]) };
    let key = lamp(Vec3::new(-0.35, 0.5, 0.9), 2.6);
    Model {
        name: "drape",
        parts: vec![surface("velvet", (96, 48), fold)],
        cloths: vec![cloth],
        camera: ahead(2.3),
        key,
        sky: 0.0,
    }
}

/// An open sleeve with round holes, seen a little from above: through them its inside, lit by the sky alone.
fn sleeve() -> Model {
    let tube = |u: f32, v: f32| {
        let (sin, cos) = (std::f32::consts::TAU * u).sin_cos();
        Vec3::new(0.6 * sin, 0.8 - 1.6 * v, 0.6 * cos)
    };
    let color = texture(256, Layout::Rgba, |x, y| {
        let (across, down) = ((x % 32) as f32 - 15.5, (y % 64) as f32 - 31.5);
        let hole = across.hypot(0.8 * down) < 9.0;
        let stripe = if y / 16 % 2 == 0 { [196, 172, 132] } else { [150, 96, 72] };
        [stripe[0], stripe[1], stripe[2], if hole { 0 } else { 255 }]
    });
    let cloth = Cloth { color, cutoff: Some(0.5), ..Cloth::plain("sleeve".into(), [0; 3], [255, 200, 0]) };
    let part = surface("sleeve", (96, 8), tube);
    let camera = Camera::around(part.positions.iter().copied(), Angle::degrees(15.0), Angle::degrees(28.0), 1.0);
    Model { name: "sleeve", parts: vec![part], cloths: vec![cloth], camera, key: lamp(Vec3::Z, 0.0), sky: 0.6 }
}

/// A ball of patches: colour, occlusion, roughness and metal all by texture.
fn patchwork() -> Model {
    let patch = |x: usize, y: usize| (x / 32 + 3 * (y / 32)) % 5;
    let color = texture(256, Layout::Rgb, |x, y| {
        [[184, 140, 84], [92, 104, 122], [206, 196, 172], [122, 58, 48], [210, 176, 96]][patch(x, y)]
    });
    let surface = texture(256, Layout::Rgb, |x, y| {
        [[255, 230, 0], [140, 110, 0], [200, 180, 0], [255, 70, 0], [255, 100, 255]][patch(x, y)]
    });
    let cloth = Cloth { color, surface, ..Cloth::plain("patches".into(), [0; 3], [0; 3]) };
    let part = ball("patches", Vec3::ZERO, 1.0);
    let camera = Camera::around(part.positions.iter().copied(), Angle::degrees(-25.0), Angle::degrees(18.0), 1.0);
    let key = lamp(Vec3::new(-0.2, 0.7, 0.7), 1.0);
    Model { name: "patchwork", parts: vec![part], cloths: vec![cloth], camera, key, sky: 0.4 }
}
