//! What was told by hand of a photo, kept in the job's folder `NAME.tatter/told/` for another day.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use tatter_core::angle::Angle;
use tatter_core::image::LinearRgb;
use tatter_core::model::{CutRecipe, KnownSize, OtherShots, Scale, Stroke, StrokeKind, Subject, SubjectChoice};
use tatter_core::units::{Mm, MmPerTexel, PerCm};

use crate::disk::Disk;
use crate::store::Store;

/// The format of these files.
const FORMAT: u32 = 1;

/// A place of known grey, photo pixels.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct GreyPlace {
    /// Where.
    pub at: [f32; 2],
    /// How far around it is looked; by default as far as the photo's size suggests.
    pub radius: Option<f32>,
    /// The light that it gives back, 0..1.
    pub reflectance: f32,
}

/// What a hand tells of one photo: of a recipe its subject, loop, strokes, scale, grain, light and seed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ToldOfPhoto {
    /// Of the cut.
    pub recipe: CutRecipe,
    /// Of its colours.
    pub grey: Option<GreyPlace>,
    /// Corners of a chart, photo pixels.
    pub chart: Option<[[f32; 2]; 4]>,
    /// A photo of an even card.
    pub flat_field: Option<PathBuf>,
    /// Other shots of the same cloth.
    pub shots: OtherShots,
}

/// The same as it stands in the file.
#[derive(Serialize, Deserialize)]
struct Written {
    format: u32,
    /// The photo's file name, for people.
    photo: String,
    /// Its length: strokes do not fit another picture.
    bytes: u64,
    #[serde(default)]
    subject: Option<String>,
    #[serde(default)]
    around: Option<[f32; 3]>,
    #[serde(default)]
    strokes: Vec<WrittenStroke>,
    #[serde(default)]
    scale: Option<WrittenScale>,
    #[serde(default)]
    grain_radians: Option<f32>,
    #[serde(default)]
    light_radians: Option<f32>,
    #[serde(default)]
    upright: bool,
    #[serde(default)]
    seed: u64,
    #[serde(default)]
    grey: Option<GreyPlace>,
    #[serde(default)]
    chart: Option<[[f32; 2]; 4]>,
    #[serde(default)]
    flat_field: Option<PathBuf>,
    #[serde(default)]
    shots: WrittenShots,
}

/// Paths are relative to the photo's folder where they lie in it.
#[derive(Default, Serialize, Deserialize)]
struct WrittenShots {
    over_dark: Option<PathBuf>,
    backings: Option<[[f32; 3]; 2]>,
    backlit: Option<PathBuf>,
    lamp: Option<PathBuf>,
    lights: Option<PathBuf>,
}

#[derive(Serialize, Deserialize)]
struct WrittenStroke {
    kind: String,
    radius: f32,
    points: Vec<[f32; 2]>,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum WrittenScale {
    MmPerPixel(f32),
    WidthMm(f32),
    EndsPerCm(f32),
    Ruler {
        from: [f32; 2],
        to: [f32; 2],
        mm: f32,
    },
    /// To be found.
    FoundRuler,
    /// Of a size that has a name, or as many millimetres.
    Rectangle {
        size: Option<String>,
        mm: Option<[f32; 2]>,
        corners: Option<[[f32; 2]; 4]>,
    },
}

const KINDS: [(&str, StrokeKind); 4] =
    [("cloth", StrokeKind::Cloth), ("backing", StrokeKind::Backing), ("damage", StrokeKind::Damage), ("gap", StrokeKind::Gap)];

/// Keep what was told of a photo, or forget it.
///
/// # Errors
/// What the file system says.
pub fn keep_told(job: &Path, photo: &Path, told: Option<&ToldOfPhoto>) -> io::Result<()> {
    let path = place(job, photo)?;
    let disk = Disk::default();
    let Some(told) = told else { return disk.remove(&path) };
    disk.create_folder(path.parent().unwrap_or(Path::new("")))?;
    let written = written(photo, fs::metadata(photo)?.len(), told);
    disk.replace(&path, &serde_json::to_vec_pretty(&written).map_err(io::Error::other)?)
}

/// What was told of a photo, if it was, and the photo is still the same. What cannot be read was not told.
pub fn recall_told(job: &Path, photo: &Path) -> Option<ToldOfPhoto> {
    let text = fs::read(place(job, photo).ok()?).ok()?;
    let written: Written = serde_json::from_slice(&text).ok()?;
    let same = written.format == FORMAT && fs::metadata(photo).ok()?.len() == written.bytes;
    same.then(|| read(written, photo.parent().unwrap_or(Path::new("")))).flatten()
}

/// Photos of one name may lie in several folders.
fn place(job: &Path, photo: &Path) -> io::Result<PathBuf> {
    let store = Store::open(job).map_err(io::Error::other)?;
    let real = fs::canonicalize(photo)?;
    let hash = blake3::hash(real.to_string_lossy().as_bytes()).to_hex();
    let stem = photo.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    Ok(store.folder().join("told").join(format!("{stem}-{}.json", &hash[..8])))
}

fn written(photo: &Path, bytes: u64, told: &ToldOfPhoto) -> Written {
    let (recipe, shots) = (&told.recipe, &told.shots);
    let folder = photo.parent().unwrap_or(Path::new(""));
    let near = |path: &Path| path.strip_prefix(folder).unwrap_or(path).to_owned();
    let kind = |kind: StrokeKind| KINDS.iter().find(|(_, known)| *known == kind).map_or("", |(name, _)| *name).to_owned();
    Written {
        format: FORMAT,
        photo: photo.file_name().unwrap_or_default().to_string_lossy().into_owned(),
        bytes,
        subject: match recipe.subject {
            SubjectChoice::Auto => None,
            SubjectChoice::Told(subject) => Some(subject.name().to_owned()),
        },
        around: recipe.around,
        strokes: recipe
            .strokes
            .iter()
            .map(|stroke| WrittenStroke { kind: kind(stroke.kind), radius: stroke.radius, points: stroke.points.clone() })
            .collect(),
        scale: match recipe.scale {
            Scale::MmPerPixel(mm) => Some(WrittenScale::MmPerPixel(mm.get())),
            Scale::Width(mm) => Some(WrittenScale::WidthMm(mm.get())),
            Scale::EndsPerCm(count) => Some(WrittenScale::EndsPerCm(count.get())),
            Scale::Ruler { from, to, length } => Some(WrittenScale::Ruler { from, to, mm: length.get() }),
            Scale::FoundRuler => Some(WrittenScale::FoundRuler),
            Scale::Rectangle { size: KnownSize::Told { width, height }, corners } => {
                Some(WrittenScale::Rectangle { size: None, mm: Some([width.get(), height.get()]), corners })
            }
            Scale::Rectangle { size, corners } => {
                Some(WrittenScale::Rectangle { size: Some(size.name().to_owned()), mm: None, corners })
            }
            Scale::Unknown => None,
        },
        grain_radians: recipe.grain.map(Angle::to_radians),
        light_radians: recipe.light_from.map(Angle::to_radians),
        upright: recipe.upright,
        seed: recipe.seed,
        grey: told.grey,
        chart: told.chart,
        flat_field: told.flat_field.as_deref().map(&near),
        shots: WrittenShots {
            over_dark: shots.over_dark.as_deref().map(&near),
            backings: shots.backings.map(|both| both.map(|color| color.0)),
            backlit: shots.backlit.as_deref().map(&near),
            lamp: shots.lamp.as_deref().map(&near),
            lights: shots.lights.as_deref().map(&near),
        },
    }
}

fn known_size(size: Option<&str>, mm: Option<[f32; 2]>) -> Option<KnownSize> {
    match (size, mm) {
        (Some(name), _) => KnownSize::FOUND.into_iter().find(|size| size.name() == name),
        (None, Some([width, height])) => Some(KnownSize::Told { width: Mm(width), height: Mm(height) }),
        (None, None) => None,
    }
}

fn read(written: Written, folder: &Path) -> Option<ToldOfPhoto> {
    let there = |path: Option<PathBuf>| path.map(|path| folder.join(path));
    let stroke = |stroke: WrittenStroke| {
        let (_, kind) = KINDS.into_iter().find(|(name, _)| *name == stroke.kind)?;
        let sane = stroke.radius > 0.0 && stroke.radius.is_finite() && !stroke.points.is_empty();
        sane.then_some(Stroke { kind, points: stroke.points, radius: stroke.radius })
    };
    let subject = match written.subject.as_deref() {
        None => SubjectChoice::Auto,
        Some("damage") => SubjectChoice::Told(Subject::Damage),
        Some("piece") => SubjectChoice::Told(Subject::Piece),
        Some(_) => return None,
    };
    let scale = match written.scale {
        None => Scale::Unknown,
        Some(WrittenScale::MmPerPixel(mm)) => Scale::MmPerPixel(MmPerTexel(mm)),
        Some(WrittenScale::WidthMm(mm)) => Scale::Width(Mm(mm)),
        Some(WrittenScale::EndsPerCm(count)) => Scale::EndsPerCm(PerCm(count)),
        Some(WrittenScale::Ruler { from, to, mm }) => Scale::Ruler { from, to, length: Mm(mm) },
        Some(WrittenScale::FoundRuler) => Scale::FoundRuler,
        Some(WrittenScale::Rectangle { size, mm, corners }) => {
            Scale::Rectangle { size: known_size(size.as_deref(), mm)?, corners }
        }
    };
    let WrittenShots { over_dark, backings, backlit, lamp, lights } = written.shots;
    let shots = OtherShots {
        over_dark: there(over_dark),
        backings: backings.map(|both| both.map(LinearRgb)),
        backlit: there(backlit),
        lamp: there(lamp),
        lights: there(lights),
    };
    let recipe = CutRecipe {
        subject,
        around: written.around,
        strokes: written.strokes.into_iter().map(stroke).collect::<Option<_>>()?,
        scale,
        upright: written.upright,
        grain: written.grain_radians.map(Angle::radians),
        light_from: written.light_radians.map(Angle::radians),
        seed: written.seed,
        ..CutRecipe::default()
    };
    Some(ToldOfPhoto { recipe, grey: written.grey, chart: written.chart, flat_field: there(written.flat_field), shots })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_told_comes_back_for_the_same_photo_only() -> Result<(), Box<dyn std::error::Error>> {
        let scratch = tempfile::tempdir()?;
        let (job, photo) = (scratch.path().join("smock.tatter.toml"), scratch.path().join("rip.png"));
        fs::write(&job, "format = 1\n[garment]\nmm_per_uv = 500.0\n")?;
        fs::write(&photo, "not looked at here")?;
        assert_eq!(recall_told(&job, &photo), None, "nothing was told yet");
        let recipe = CutRecipe {
            subject: SubjectChoice::Told(Subject::Piece),
            around: Some([10.1, 20.7, 5.3]),
            strokes: vec![Stroke { kind: StrokeKind::Gap, points: vec![[0.1, 0.2], [7.0, 1e-3]], radius: 2.2 }],
            scale: Scale::Ruler { from: [1.0, 2.0], to: [301.5, 2.25], length: Mm(50.0) },
            grain: Some(Angle::degrees(88.7)),
            light_from: Some(Angle::degrees(-151.2)),
            upright: true,
            ..CutRecipe::default()
        };
        let grey = Some(GreyPlace { at: [3.3, 4.4], radius: None, reflectance: 0.18 });
        let told = ToldOfPhoto { recipe, grey, ..ToldOfPhoto::default() };
        keep_told(&job, &photo, Some(&told))?;
        assert_eq!(recall_told(&job, &photo).as_ref(), Some(&told), "to the bit");
        let corners = [[1.0, 2.0], [30.5, 2.5], [30.0, 40.0], [1.5, 39.0]];
        for size in [KnownSize::A5, KnownSize::Told { width: Mm(50.0), height: Mm(30.5) }] {
            let scale = Scale::Rectangle { size, corners: Some(corners) };
            let shots = OtherShots {
                over_dark: Some(scratch.path().join("dark.png")),
                backings: Some([LinearRgb([0.1; 3]), LinearRgb([0.8, 0.7, 0.6])]),
                lights: Some(PathBuf::from("/elsewhere/lights.toml")),
                ..OtherShots::default()
            };
            let flat_field = Some(scratch.path().join("card.png"));
            let recipe = CutRecipe { scale, ..CutRecipe::default() };
            let several = ToldOfPhoto { recipe, grey: None, chart: Some(corners), flat_field, shots };
            keep_told(&job, &photo, Some(&several))?;
            assert_eq!(recall_told(&job, &photo).as_ref(), Some(&several), "other shots, a chart and a rectangle, too");
        }
        keep_told(&job, &photo, Some(&told))?;
        fs::write(&photo, "another picture of that name")?;
        assert_eq!(recall_told(&job, &photo), None, "strokes do not fit another picture");
        fs::write(&photo, "not looked at here")?;
        keep_told(&job, &photo, None)?;
        assert_eq!(recall_told(&job, &photo), None, "nothing told, nothing kept");
        Ok(())
    }
}
