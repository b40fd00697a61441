//! `weave`: textile parameters to a patch folder, or to a texture set that repeats.

mod look;
mod said;

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, PerChannel};
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Coding, ColorTags, Depth, HeightRange, Image, Layout, LinearRgb, Map, Samples, Stored, Transfer, Unit};
use tatter_core::model::{Origin, Patch, PatchMap, ScaleSource, Subject, Weave};
use tatter_core::task::Task;
use tatter_files::picture::{Effort, PictureError, PictureFormat, encode, encode_jpeg_photo};
use tatter_files::write::write_whole;
pub use tatter_weave::geometry::{Geometry, Strand, solve};
pub use tatter_weave::{
    Along, Cloth, ClothError, Count, CountError, Damage, Draft, DraftError, Dye, Fibre, Finish, Kind, STOCK, Shot, Twist, Yarn,
    parse_count, stock,
};
use tatter_weave::{PatchSpec, TileSpec, WeaveError, Woven, shoot, weave_patch, weave_tile};

use crate::cut::{CutFailed, eight_bits, png, save};

pub use look::{Weaving, WovenView, accept, look};
pub use said::{Said, SaidError};

/// What to weave and where to put it.
#[derive(Clone, Debug)]
pub struct WeaveRequest {
    /// The cloth.
    pub cloth: Cloth,
    /// `NAME.patch` for a patch; any other name is a folder for a texture set that repeats.
    pub output: PathBuf,
    /// What happened to the cloth; only a patch can show it.
    pub damage: Vec<Damage>,
    /// Side of the square maps, texels.
    pub side: usize,
    /// Width of the cloth shown, mm.
    pub width_mm: f32,
    /// The line the warp runs along in a patch and its photo: 90 degrees is upright.
    pub grain: Angle,
    /// Everything random follows from it.
    pub seed: u64,
    /// A made photo of it.
    pub photo: Option<MadePhoto>,
}

/// A made photo: where it goes, and how it is taken.
#[derive(Clone, Debug)]
pub struct MadePhoto {
    /// An 8-bit sRGB picture: a JPEG by that name, else a PNG.
    pub path: PathBuf,
    /// Under what light, with what camera.
    pub shot: Shot,
    /// Quality of a JPEG, 1 to 100.
    pub quality: u8,
}

/// What was woven.
#[derive(Clone, Debug)]
pub struct WeaveReport {
    /// The patch folder or the folder of textures.
    pub folder: PathBuf,
    /// Whether the maps repeat.
    pub tiles: bool,
    /// The cloth as woven.
    pub cloth: Cloth,
    /// Its geometry.
    pub geometry: Geometry,
    /// The line the warp runs along.
    pub grain: Angle,
    /// Size of a texel, mm.
    pub mm_per_texel: f32,
    /// Side of the maps, texels.
    pub side: usize,
    /// What the height files' first and last code stand for.
    pub height_range: HeightRange,
    /// Files by channel, in the folder.
    pub files: Vec<(Channel, String)>,
    /// Share of the maps one sees through.
    pub open_share: f32,
    /// The made photo.
    pub photo: Option<PathBuf>,
}

/// Lengths of damage that mean something, mm.
pub const DAMAGE_LENGTHS: RangeInclusive<f32> = 0.5..=1000.0;
/// Widths of it, mm.
pub const DAMAGE_WIDTHS: RangeInclusive<f32> = 0.1..=1000.0;

/// Why nothing was written.
#[derive(Debug, thiserror::Error)]
pub enum WeaveFailed {
    /// A texture set cannot be damaged: it would repeat.
    #[error("damage needs a patch: a texture set repeats, and so would every hole in {0}")]
    Repeats(PathBuf),
    /// The output has no name.
    #[error("that is no name for a folder: {0}")]
    Name(PathBuf),
    /// The cloth or the canvas.
    #[error(transparent)]
    Weave(#[from] WeaveError),
    /// A picture could not be made.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// The patch folder cannot be written.
    #[error(transparent)]
    Patch(#[from] CutFailed),
    /// A texture cannot be written.
    #[error("a texture can't be written ({0}): {1}")]
    Write(std::io::Error, PathBuf),
    /// There is one, and it was not to be replaced.
    #[error("there is a patch of that name already: {0}")]
    Taken(PathBuf),
}

impl Explain for WeaveFailed {
    fn next(&self) -> String {
        match self {
            Self::Repeats(_) => "Name the output NAME.patch, or leave the damage out".to_owned(),
            Self::Name(_) => "Name the output like canvas.patch or textures/canvas".to_owned(),
            Self::Weave(error) => error.next(),
            Self::Picture(error) => error.next(),
            Self::Patch(error) => error.next(),
            Self::Write(..) => "Check free space and permissions, or name another folder".to_owned(),
            Self::Taken(_) => "Give it another name, or replace the one there is".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Repeats(_) | Self::Name(_) | Self::Taken(_) => Class::Request,
            Self::Weave(error) => error.class(),
            Self::Picture(error) => error.class(),
            Self::Patch(error) => error.class(),
            Self::Write(..) => Class::Outside,
        }
    }
}

/// Weave a cloth and write it.
///
/// # Errors
/// As [`WeaveFailed`] lists.
pub fn weave(request: &WeaveRequest, task: &Task) -> Result<WeaveReport, WeaveFailed> {
    let file = request.output.file_name().and_then(|n| n.to_str()).filter(|n| !n.is_empty());
    let file = file.ok_or_else(|| WeaveFailed::Name(request.output.clone()))?;
    match file.strip_suffix(".patch") {
        Some(name) => weave_into_patch(request, name, task),
        None if !request.damage.is_empty() => Err(WeaveFailed::Repeats(request.output.clone())),
        None => weave_textures(request, file, task),
    }
}

fn weave_into_patch(request: &WeaveRequest, name: &str, task: &Task) -> Result<WeaveReport, WeaveFailed> {
    let (woven, cover) = weave_patch(&spec(request), task)?;
    let report = report(request, &woven, false);
    take_photo(request, &woven, task)?;
    let threads = thread_ids(&woven.maps.thread_id)?;
    let patch = patch(request, woven, cover, name, &report);
    task.stage("write", || save(&patch, &request.output, vec![("thread_id.png", threads)], task))?;
    let files = patch.maps.iter().filter(|(_, m)| m.is_some()).map(|(c, _)| (c, format!("{c}.png"))).collect();
    Ok(WeaveReport { files, ..report })
}

fn spec(request: &WeaveRequest) -> PatchSpec {
    PatchSpec {
        cloth: request.cloth.clone(),
        side: request.side,
        width_mm: request.width_mm,
        damage: request.damage.clone(),
        grain: request.grain,
        seed: request.seed,
    }
}

fn patch(request: &WeaveRequest, woven: Woven, cover: Image<Unit>, name: &str, report: &WeaveReport) -> Patch {
    let cloth_color = mean_color(&woven);
    let (scale, cloth) = (woven.scale, woven.cloth);
    let mut maps: PerChannel<Option<PatchMap>> = PerChannel::default();
    for (channel, map) in maps_of(woven.maps) {
        maps[channel] = Some(PatchMap::new(map, Origin::Derived, "woven thread by thread"));
    }
    let how = "in and around the injury, soft at its rim";
    maps[Channel::Cover] = Some(PatchMap::new(Map::Unit(cover), Origin::Derived, how));
    Patch {
        name: name.to_owned(),
        maps,
        subject: if request.damage.iter().any(|d| d.kind == Kind::Scrap) { Subject::Piece } else { Subject::Damage },
        scale,
        scale_source: ScaleSource::MmPerPixel,
        scale_uncertainty: None,
        grain: Some(request.grain),
        ends_per_cm: Some(cloth.ends_per_cm),
        picks_per_cm: Some(cloth.picks_per_cm),
        // What the photo side has no name for (ribs, herringbones, drawn grids) stays in the provenance.
        weave: Weave::from_name(cloth.weave.name()).unwrap_or_default(),
        height_range: report.height_range,
        cloth_color: Some(cloth_color),
        photo_from_patch: None,
        provenance: provenance(request, &cloth),
    }
}

fn provenance(request: &WeaveRequest, cloth: &Cloth) -> Vec<(String, String)> {
    let mut lines = vec![
        ("cloth".to_owned(), format!("{} ({})", cloth.name, cloth.source)),
        ("weave".to_owned(), cloth.weave.name().to_owned()),
        ("warp".to_owned(), yarn(&cloth.warp)),
        ("weft".to_owned(), yarn(&cloth.weft)),
        ("seed".to_owned(), request.seed.to_string()),
    ];
    for damage in &request.damage {
        let Damage { kind, at, length, width, surviving, age, along, .. } = damage;
        let along = if *along == Along::Weft { "weft" } else { "warp" };
        let text = format!(
            "{}:at={}/{},length={length},width={width},along={along},surviving={surviving},age={age}",
            kind.name(),
            at[0],
            at[1]
        );
        lines.push(("damage".to_owned(), text));
    }
    lines
}

fn yarn(yarn: &Yarn) -> String {
    let ply = if yarn.ply > 1 { format!("/{}", yarn.ply) } else { String::new() };
    let twist = if yarn.twist == Twist::S { 'S' } else { 'Z' };
    format!("{} {}{ply}, {twist} {:.0} turns per m", yarn.fibre.name(), yarn.count, yarn.turns_per_m)
}

/// Mean colour of the intact cloth, by what covers.
fn mean_color(woven: &Woven) -> LinearRgb {
    let mut sum = [0.0f64; 4];
    for (color, opacity) in woven.maps.base_color.texels().iter().zip(woven.maps.opacity.texels()) {
        let weight = f64::from(opacity.0);
        for (total, channel) in sum.iter_mut().zip(color.0) {
            *total += f64::from(channel) * weight;
        }
        sum[3] += weight;
    }
    LinearRgb([0, 1, 2].map(|k| (sum[k] / sum[3].max(1e-9)) as f32))
}

fn maps_of(maps: tatter_weave::Maps) -> [(Channel, Map); 6] {
    [
        (Channel::BaseColor, Map::Color(maps.base_color)),
        (Channel::Height, Map::Height(maps.height)),
        (Channel::Normal, Map::Normal(maps.normal)),
        (Channel::Roughness, Map::Unit(maps.roughness)),
        (Channel::Occlusion, Map::Unit(maps.occlusion)),
        (Channel::Opacity, Map::Unit(maps.opacity)),
    ]
}

/// Heights found, widened to whole hundredths of a millimetre.
fn height_range(woven: &Woven) -> HeightRange {
    let heights = woven.maps.height.texels();
    let (low, high) = heights.iter().fold((f32::MAX, f32::MIN), |(low, high), h| (low.min(h.0), high.max(h.0)));
    HeightRange { low_mm: (low * 100.0).floor() / 100.0, high_mm: (high * 100.0).ceil() / 100.0 }
}

fn report(request: &WeaveRequest, woven: &Woven, tiles: bool) -> WeaveReport {
    let opacity = woven.maps.opacity.texels();
    let shown: f64 = opacity.iter().map(|o| f64::from(o.0)).sum();
    WeaveReport {
        folder: request.output.clone(),
        tiles,
        cloth: woven.cloth.clone(),
        geometry: woven.geometry,
        grain: if tiles { Angle::degrees(90.0) } else { request.grain },
        mm_per_texel: woven.scale.get(),
        side: request.side,
        height_range: height_range(woven),
        files: Vec::new(),
        photo: request.photo.as_ref().map(|photo| photo.path.clone()),
        open_share: 1.0 - (shown / opacity.len().max(1) as f64) as f32,
    }
}

/// Thread numbers as 16-bit grey: 0 none, odd ends, even picks; from 60000 threads of mending.
fn thread_ids(ids: &Image<u32>) -> Result<Vec<u8>, PictureError> {
    let code = |id: u32| u16::try_from(id).ok().filter(|id| *id < 60_000).unwrap_or((60_000 + id % 5_000) as u16);
    let samples = Samples::U16(ids.texels().iter().map(|id| code(*id)).collect());
    let stored = Stored { size: ids.size(), layout: Layout::Gray, samples, tags: ColorTags::default() };
    encode(&stored, PictureFormat::Png, Effort::Fast)
}

/// Photograph what was woven, if that is wanted.
fn take_photo(request: &WeaveRequest, woven: &Woven, task: &Task) -> Result<(), WeaveFailed> {
    let Some(MadePhoto { path, shot, quality }) = &request.photo else { return Ok(()) };
    let taken = shoot(&woven.maps, woven.scale, shot, task).map_err(WeaveError::from)?;
    let jpeg = PictureFormat::from_path(path) == Some(PictureFormat::Jpeg);
    write(path, &if jpeg { encode_jpeg_photo(&eight_bits(taken.photo), *quality)? } else { png(taken.photo)? })
}

fn weave_textures(request: &WeaveRequest, name: &str, task: &Task) -> Result<WeaveReport, WeaveFailed> {
    let spec = TileSpec { cloth: request.cloth.clone(), side: request.side, width_mm: request.width_mm, seed: request.seed };
    let woven = weave_tile(&spec, task)?;
    let mut report = report(request, &woven, true);
    take_photo(request, &woven, task)?;
    let told = (request.cloth.picks_per_cm.get(), woven.cloth.picks_per_cm.get());
    if (told.1 / told.0 - 1.0).abs() > 0.002 {
        task.note(
            "picks-moved",
            format!("{:.2} picks per cm instead of {:.2}, so that a square of whole repeats closes", told.1, told.0),
        );
    }
    let maps = maps_of(woven.maps);
    report.files = maps.iter().map(|(channel, _)| (*channel, format!("{name}_{channel}.png"))).collect();
    task.stage("write", || {
        maps.into_par_iter().try_for_each(|(channel, map)| {
            let bytes = texture(channel, &map, report.height_range)?;
            drop(map);
            write(&request.output.join(format!("{name}_{channel}.png")), &bytes)
        })
    })?;
    write(&request.output.join(format!("{name}.txt")), describe(request, &report).as_bytes())?;
    Ok(report)
}

fn texture(channel: Channel, map: &Map, height_range: HeightRange) -> Result<Vec<u8>, PictureError> {
    let transfer = if channel == Channel::BaseColor { Transfer::Srgb } else { Transfer::Linear };
    let depth = if matches!(channel, Channel::Height | Channel::Normal) { Depth::Sixteen } else { Depth::Eight };
    let coding = Coding { transfer, height_range, ..Coding::default() };
    encode(&Stored::from_map(map, &coding, depth), PictureFormat::Png, Effort::Fast)
}

/// What a person needs to use the textures.
fn describe(request: &WeaveRequest, report: &WeaveReport) -> String {
    let mut text = format!(
        "{} texels a side, {:.4} mm each: one repeat is {:.3} mm of cloth\nheight: {} to {} mm from black to white\nnormal: +Y up\n",
        report.side,
        report.mm_per_texel,
        report.mm_per_texel * report.side as f32,
        report.height_range.low_mm,
        report.height_range.high_mm
    );
    text += &format!(
        "{:.2} ends and {:.2} picks per cm, warp upright\n",
        report.cloth.ends_per_cm.get(),
        report.cloth.picks_per_cm.get()
    );
    for (key, value) in provenance(request, &report.cloth) {
        text += &format!("{key}: {value}\n");
    }
    text
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), WeaveFailed> {
    write_whole(path, bytes).map_err(|error| WeaveFailed::Write(error, path.to_owned()))
}
