//! A folder with all that lies on a desk: a garment, its textures, a patch, a job, and photos of torn cloth.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, PerChannel};
use tatter_core::image::{
    Coding, ColorTags, Depth, HeightRange, Image, Layout, LinearRgb, Map, Samples, Size, Stored, Transfer, Unit,
};
use tatter_core::model::{Origin, Patch, PatchMap, ScaleSource, Subject, Weave};
use tatter_core::task::Task;
use tatter_core::units::MmPerTexel;
use tatter_files::mesh::{MaterialToWrite, write_glb};
use tatter_files::patch::write_patch;
use tatter_files::picture::{Effort, PictureFormat, encode};
use tatter_testkit::panel::panel;
use tatter_weave::{Damage, Kind, PatchSpec, Shot, Woven, shoot, stock, weave_patch};

use crate::Tried;

/// Side of a texture; 4 mm a texel.
const SIDE: usize = 128;

/// A folder with a panel of canvas of half a metre, textures of 0.512 m, a patch of 100 mm, and a job with a comment.
pub(crate) struct Workshop(tempfile::TempDir);

impl Workshop {
    pub(crate) fn new() -> Tried<Self> {
        let shop = Self(tempfile::tempdir()?);
        std::fs::create_dir(shop.path(""))?;
        let material = MaterialToWrite { name: "canvas".into(), ..MaterialToWrite::default() };
        std::fs::write(shop.path("smock.glb"), write_glb(&panel(), &[material]))?;
        std::fs::create_dir(shop.path("textures"))?;
        for (name, layout, texel) in
            [("canvas_base_color.png", Layout::Rgb, &[150_u8, 120, 80][..]), ("canvas_opacity.png", Layout::Gray, &[255])]
        {
            let samples = Samples::U8(texel.repeat(SIDE * SIDE));
            let stored = Stored { size: Size::new(SIDE, SIDE), layout, samples, tags: ColorTags::default() };
            std::fs::write(shop.path("textures").join(name), encode(&stored, PictureFormat::Png, Effort::Fast)?)?;
        }
        write_patch(&patch(), &shop.path("rip.patch"), &[], &Task::new())?;
        std::fs::write(shop.job(), JOB)?;
        Ok(shop)
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        // A folder whose name is seen in the window, and is the same in every run.
        self.0.path().join("smock").join(name)
    }

    pub(crate) fn job(&self) -> PathBuf {
        self.path("smock.tatter.toml")
    }

    /// A photo of ripped canvas, `side` pixels and 0.16 mm a pixel.
    pub(crate) fn shoot(&self, name: &str, side: usize) -> Tried<PathBuf> {
        self.save(name, &shoot_ripped(side, &Shot::default())?)
    }

    /// A photo in a file.
    pub(crate) fn save(&self, name: &str, photo: &Image<LinearRgb>) -> Tried<PathBuf> {
        let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
        let stored = Stored::from_map(&Map::Color(photo.clone()), &coding, Depth::Eight);
        let path = self.path(name);
        std::fs::write(&path, encode(&stored, PictureFormat::Png, Effort::Fast)?)?;
        Ok(path)
    }

    /// What lies there as a sample: a job and two photos of the sample's names, of the workshop's small garment.
    pub(crate) fn sample(&self) -> Tried<PathBuf> {
        let folder = self.path("salt-ledger");
        std::fs::create_dir_all(folder.join("photos"))?;
        for name in ["rope-burn", "moth-hole"] {
            self.shoot(&format!("salt-ledger/photos/{name}.png"), crate::photo::SIDE)?;
        }
        let job = JOB.replace("textures/", "../textures/").replace("smock.glb", "../smock.glb");
        std::fs::write(folder.join("smock.tatter.toml"), job)?;
        Ok(folder)
    }

    /// All files of a folder with what they hold.
    pub(crate) fn files(&self, folder: &str) -> Tried<BTreeMap<String, Vec<u8>>> {
        let files = std::fs::read_dir(self.path(folder))?;
        let one = |file: std::fs::DirEntry| Ok((file.file_name().to_string_lossy().into_owned(), std::fs::read(file.path())?));
        files.map(|file| file.map_err(Into::into).and_then(one)).collect()
    }

    pub(crate) fn textures(&self) -> Tried<BTreeMap<PathBuf, Vec<u8>>> {
        let files = std::fs::read_dir(self.path("textures"))?;
        files.map(|file| file.map_err(Into::into).and_then(|file| Ok((file.path(), std::fs::read(file.path())?)))).collect()
    }
}

/// Canvas with a rip over half of it, woven by its numbers, 0.16 mm a texel; once a side, for all tests.
pub(crate) fn ripped(side: usize) -> Tried<Arc<Woven>> {
    static WOVEN: Mutex<BTreeMap<usize, Arc<Woven>>> = Mutex::new(BTreeMap::new());
    let mut woven = WOVEN.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(known) = woven.get(&side) {
        return Ok(Arc::clone(known));
    }
    let cloth = stock("canvas").ok_or("canvas is in stock")?;
    let share = side as f32 / 320.0;
    let damage = vec![Damage { length: 24.0 * share, width: 7.0 * share, ..Damage::new(Kind::Rip) }];
    let spec = PatchSpec { cloth, side, width_mm: 0.16 * side as f32, damage, grain: Angle::degrees(90.0), seed: 1 };
    let made = Arc::new(weave_patch(&spec, &Task::new())?.0);
    woven.insert(side, Arc::clone(&made));
    Ok(made)
}

/// The same photographed.
pub(crate) fn shoot_ripped(side: usize, shot: &Shot) -> Tried<Image<LinearRgb>> {
    let woven = ripped(side)?;
    Ok(shoot(&woven.maps, woven.scale, shot, &Task::new())?.photo)
}

pub(crate) const JOB: &str = "# the ferryman's\nformat = 1\n\n[garment]\nmesh = \"smock.glb\"\nmm_per_unit = 1000.0\n\n[[garment.map]]\n\
    file = \"textures/canvas_base_color.png\"\nchannels = \"base_color\"\n\n[[garment.map]]\nfile = \"textures/canvas_opacity.png\"\n\
    channels = \"opacity\"\n";

/// A hole of 40 mm in canvas of 100 mm.
fn patch() -> Patch {
    const SIDE: usize = 50;
    let distance = |x: usize, y: usize| (x as f32 - 24.5).hypot(y as f32 - 24.5);
    let unit = |f: &(dyn Fn(usize, usize) -> f32 + Sync)| Map::Unit(Image::from_fn(SIDE, SIDE, |x, y| Unit(f(x, y))));
    let mut maps = PerChannel::default();
    let mut put = |channel: Channel, map: Map| maps[channel] = Some(PatchMap::new(map, Origin::Measured, "made"));
    put(Channel::Cover, unit(&|x, y| (20.0 - distance(x, y)).clamp(0.0, 1.0)));
    put(Channel::Opacity, unit(&|x, y| (distance(x, y) - 10.0).clamp(0.0, 1.0)));
    put(Channel::BaseColor, Map::Color(Image::filled(SIDE, SIDE, LinearRgb([0.3, 0.1, 0.1]))));
    Patch {
        name: "rip".into(),
        maps,
        subject: Subject::Damage,
        scale: MmPerTexel(2.0),
        scale_source: ScaleSource::Ruler,
        scale_uncertainty: None,
        grain: Some(Angle::degrees(90.0)),
        ends_per_cm: None,
        picks_per_cm: None,
        weave: Weave::Unknown,
        height_range: HeightRange::default(),
        cloth_color: None,
        photo_from_patch: None,
        provenance: Vec::new(),
    }
}
