//! A workshop in a scratch folder, and the program run in it.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use std::collections::BTreeMap;
use std::error::Error;
use std::path::{Path, PathBuf};
use std::process::Command;

use glam::{Vec2, Vec3};
use serde_json::Value;
use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, PerChannel};
use tatter_core::image::{
    Coding, ColorTags, Depth, HeightMm, HeightRange, Image, Layout, LinearRgb, Map, Normal, Samples, Size, Stored, Transfer, Unit,
};
use tatter_core::mesh::{Mesh, Part};
use tatter_core::model::{Origin, Patch, PatchMap, ScaleSource, Subject};
use tatter_core::task::Task;
use tatter_core::units::{Mm, MmPerTexel, PerCm};
use tatter_files::mesh::{MaterialToWrite, write_glb};
use tatter_files::patch::write_patch;
use tatter_files::picture::{Effort, PictureFormat, encode};
use tatter_weave::{Damage, Kind, PatchSpec, Shot, shoot, stock, weave_patch};

pub(crate) type Tried<T> = Result<T, Box<dyn Error>>;

/// Side of a texture, texels. With 1000 mm per UV unit a texel is 3.9 mm.
pub(crate) const SIDE: usize = 256;

/// What a run left behind.
#[derive(Debug)]
pub(crate) struct Run {
    pub(crate) code: Option<i32>,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Run {
    /// The one JSON object on stdout.
    pub(crate) fn json(&self) -> Tried<Value> {
        let value: Value = serde_json::from_str(&self.out).map_err(|e| format!("{e} in stdout {:?}", self.out))?;
        if value.is_object() && self.out.ends_with('\n') && self.out.lines().count() == 1 {
            Ok(value)
        } else {
            Err(format!("not one object on one line: {}", self.out).into())
        }
    }
}

/// A folder with a garment (`smock.glb`, `textures/`) and a patch (`rip.patch`).
#[derive(Debug)]
pub(crate) struct Workshop(tempfile::TempDir);

impl Workshop {
    pub(crate) fn new() -> Tried<Self> {
        let shop = Self(tempfile::tempdir()?);
        std::fs::write(shop.path("smock.glb"), write_glb(&panels(), &[material("canvas"), material("lining")]))?;
        std::fs::create_dir(shop.path("textures"))?;
        for (name, layout, samples) in textures() {
            let stored = Stored { size: Size::new(SIDE, SIDE), layout, samples, tags: ColorTags::default() };
            std::fs::write(shop.path("textures").join(name), encode(&stored, PictureFormat::Png, Effort::Fast)?)?;
        }
        write_patch(&patch(), &shop.path("rip.patch"), &[], &Task::new())?;
        Ok(shop)
    }

    /// A workshop with a job that has no placements yet.
    pub(crate) fn with_job() -> Tried<Self> {
        let shop = Self::new()?;
        let run = shop.run(&["garment", "smock.glb", "--maps", "textures", "-o", "smock.tatter.toml"])?;
        if run.code == Some(0) { Ok(shop) } else { Err(format!("no job: {}", run.err).into()) }
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// Runs the program in the workshop; its output is no terminal.
    pub(crate) fn run(&self, arguments: &[&str]) -> Tried<Run> {
        self.run_in(arguments, &[])
    }

    /// The same with these variables in its environment.
    pub(crate) fn run_in(&self, arguments: &[&str], environment: &[(&str, &str)]) -> Tried<Run> {
        let mut program = Command::new(env!("CARGO_BIN_EXE_tatter"));
        let output = program.args(arguments).current_dir(self.0.path()).envs(environment.iter().copied()).output()?;
        let text = |bytes| String::from_utf8(bytes);
        Ok(Run { code: output.status.code(), out: text(output.stdout)?, err: text(output.stderr)? })
    }

    /// Every file with its content, by path from the workshop.
    pub(crate) fn files(&self) -> Tried<BTreeMap<PathBuf, Vec<u8>>> {
        let mut all = BTreeMap::new();
        let mut folders = vec![self.0.path().to_path_buf()];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder)? {
                let path = entry?.path();
                if path.is_dir() {
                    folders.push(path);
                } else {
                    all.insert(path.strip_prefix(self.0.path())?.to_path_buf(), std::fs::read(&path)?);
                }
            }
        }
        Ok(all)
    }

    /// The garment's textures alone.
    pub(crate) fn textures(&self) -> Tried<BTreeMap<PathBuf, Vec<u8>>> {
        Ok(self.files()?.into_iter().filter(|(path, _)| path.starts_with("textures")).collect())
    }

    /// A made photo of torn cloth; millimetres that its width shows.
    pub(crate) fn shoot(&self, name: &str, side: usize) -> Tried<Mm> {
        let width = Mm(0.16 * side as f32);
        let cloth = stock("canvas").ok_or("a canvas")?;
        let rip = Damage { length: 24.0, width: 7.0, ..Damage::new(Kind::Rip) };
        let grain = Angle::degrees(90.0);
        let spec = PatchSpec { cloth, side, width_mm: width.get(), damage: vec![rip], grain, seed: 1 };
        let (woven, _) = weave_patch(&spec, &Task::new())?;
        let scene = shoot(&woven.maps, woven.scale, &Shot::default(), &Task::new())?;
        let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
        let stored = Stored::from_map(&Map::Color(scene.photo), &coding, Depth::Eight);
        std::fs::write(self.path(name), encode(&stored, PictureFormat::Png, Effort::Fast)?)?;
        Ok(width)
    }
}

/// A canvas panel of 0.5 m on the upper left quarter of the texture, and a lining on the lower right that has no textures.
fn panels() -> Mesh {
    let panel = |name: &str, from: f32, z: f32| {
        let mut part = Part { name: name.into(), material: name.into(), ..Part::default() };
        for [u, v] in [[0.0, 0.5], [0.5, 0.5], [0.5, 0.0], [0.0, 0.0]] {
            part.positions.push(Vec3::new(u, 0.5 - v, z));
            part.normals.push(Vec3::Z);
            part.uvs.push(Vec2::new(from + u, from + v));
        }
        part.triangles.extend([[0, 1, 2], [0, 2, 3]]);
        part
    };
    Mesh { parts: vec![panel("canvas", 0.0, 0.0), panel("lining", 0.5, 0.1)] }
}

fn material(name: &str) -> MaterialToWrite {
    MaterialToWrite { name: name.into(), ..MaterialToWrite::default() }
}

fn textures() -> [(&'static str, Layout, Samples); 5] {
    let each = |texel: &[u8]| Samples::U8(texel.repeat(SIDE * SIDE));
    [
        ("canvas_base_color.png", Layout::Rgb, each(&[150, 120, 80])),
        ("canvas_normal.png", Layout::Rgb, each(&[128, 128, 255])),
        ("canvas_height.png", Layout::Gray, Samples::U16(vec![32768; SIDE * SIDE])),
        ("canvas_roughness.png", Layout::Gray, each(&[200])),
        ("canvas_opacity.png", Layout::Gray, each(&[255])),
    ]
}

/// A hole of 60 mm in a canvas of 100 mm, brighter to its right, 32² texels.
fn patch() -> Patch {
    const SIDE: usize = 32;
    let distance = |x: usize, y: usize| (x as f32 - 15.5).hypot(y as f32 - 15.5);
    let unit = |f: &(dyn Fn(usize, usize) -> f32 + Sync)| Map::Unit(Image::from_fn(SIDE, SIDE, |x, y| Unit(f(x, y))));
    let mut maps = PerChannel::default();
    let mut put = |channel: Channel, map: Map| maps[channel] = Some(PatchMap::new(map, Origin::Measured, "made"));
    put(Channel::Cover, unit(&|x, y| (10.0 - distance(x, y)).clamp(0.0, 1.0)));
    put(Channel::Opacity, unit(&|x, y| (distance(x, y) - 6.0).clamp(0.0, 1.0)));
    put(Channel::Roughness, unit(&|_, _| 0.5));
    put(Channel::BaseColor, Map::Color(Image::from_fn(SIDE, SIDE, |x, _| LinearRgb([0.1 + x as f32 / 60.0, 0.1, 0.1]))));
    put(Channel::Height, Map::Height(Image::filled(SIDE, SIDE, HeightMm(0.1))));
    put(Channel::Normal, Map::Normal(Image::from_fn(SIDE, SIDE, |_, _| Normal::from_slopes(0.2, 0.0))));
    Patch {
        name: "rip".into(),
        maps,
        subject: Subject::Damage,
        scale: MmPerTexel(100.0 / SIDE as f32),
        scale_source: ScaleSource::Ruler,
        scale_uncertainty: None,
        grain: Some(Angle::degrees(90.0)),
        ends_per_cm: Some(PerCm(0.5)),
        picks_per_cm: Some(PerCm(0.5)),
        weave: tatter_core::model::Weave::Unknown,
        height_range: HeightRange::default(),
        cloth_color: None,
        photo_from_patch: None,
        provenance: Vec::new(),
    }
}

/// Whether every key is there.
pub(crate) fn has_keys(object: &Value, keys: &[&str]) -> bool {
    keys.iter().all(|key| object.get(key).is_some())
}

/// Sound PNG bytes that end half way.
pub(crate) fn cut_short(path: &Path) -> Tried<()> {
    let bytes = std::fs::read(path)?;
    Ok(std::fs::write(path, &bytes[..bytes.len() / 2])?)
}
