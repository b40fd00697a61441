//! A photo that is cut while a person tells about it: decoded once, shown as it would be cut, and then cut as the command line cuts it.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use tatter_cloth::cut::{Cut, Kept};
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Size};
use tatter_core::kernel::area_resize;
use tatter_core::model::{CutRecipe, OtherShots, Photo, Scale};
use tatter_core::task::{Note, Task};
use tatter_core::units::MmPerTexel;
use tatter_files::limits::Limits;
use tatter_files::picture::PictureFormat;
use tatter_files::told::{self, GreyPlace, ToldOfPhoto};
use tatter_proof::Picture;

use crate::color::{ColorFailed, ColorRequest, Corrected, GreyPick, Known};
use crate::cut::{CutFailed, CutReport, CutSource, Front, Read, cut_corrected, cut_read, patch_name, read, save};
use crate::library::shown;
use crate::lights::stands_for;
use crate::sheet::views;

/// The seed of a cut when nobody says another, at the desk and on the command line.
pub const USUAL_SEED: u64 = 1;

/// All that a person tells about a photo.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// Of the cut.
    pub recipe: CutRecipe,
    /// Of its colours.
    pub color: ColorRequest,
    /// Other shots of the same cloth.
    pub shots: OtherShots,
}

impl Default for Told {
    /// Nothing is told: what the command line does without options.
    fn default() -> Self {
        Self {
            recipe: CutRecipe { seed: USUAL_SEED, ..CutRecipe::default() },
            color: ColorRequest::default(),
            shots: OtherShots::default(),
        }
    }
}

/// What was told of a photo cannot be kept.
#[derive(Debug, thiserror::Error)]
#[error("what was told of the photo can't be kept ({reason}): {photo}")]
pub struct KeepToldError {
    reason: std::io::Error,
    photo: PathBuf,
}

impl Explain for KeepToldError {
    fn next(&self) -> String {
        "Check free space and permissions of the job's folder; the photo can be cut all the same".to_owned()
    }

    fn class(&self) -> Class {
        Class::Outside
    }
}

/// Keep what was told by hand of a photo beside a job, for another day; nothing told, nothing is kept.
///
/// # Errors
/// When it cannot be written.
pub fn keep_told(job: &Path, photo: &Path, told: &Told) -> Result<(), KeepToldError> {
    let (grey, chart) = match told.color.known {
        Some(Known::Grey(GreyPick { at, radius, reflectance })) => (Some(GreyPlace { at, radius, reflectance }), None),
        Some(Known::Chart(corners)) => (None, Some(corners)),
        // Nobody tells this by hand: at the desk a chart is found first, and its corners are told.
        Some(Known::ChartSomewhere) | None => (None, None),
    };
    let kept = (*told != Told::default()).then(|| ToldOfPhoto {
        recipe: told.recipe.clone(),
        grey,
        chart,
        flat_field: told.color.flat_field.clone(),
        shots: told.shots.clone(),
    });
    told::keep_told(job, photo, kept.as_ref()).map_err(|reason| KeepToldError { reason, photo: photo.to_owned() })
}

/// What was told by hand of a photo another day, if it was, and the photo is still the same.
pub fn recall_told(job: &Path, photo: &Path) -> Option<Told> {
    let ToldOfPhoto { recipe, grey, chart, flat_field, shots } = told::recall_told(job, photo)?;
    let grey = grey.map(|GreyPlace { at, radius, reflectance }| Known::Grey(GreyPick { at, radius, reflectance }));
    Some(Told { recipe, color: ColorRequest { known: grey.or(chart.map(Known::Chart)), flat_field }, shots })
}

/// What would be cut.
#[derive(Clone, Debug)]
pub struct Preview {
    /// What was told.
    pub told: Told,
    /// The patch and the decisions.
    pub cut: Cut,
    /// How colours were corrected.
    pub corrected: Option<Corrected>,
    /// What the person should hear.
    pub notes: Vec<Note>,
    /// The patch in even light over a checker.
    pub plain: Picture,
    /// The patch under one lamp over a checker.
    pub lit: Picture,
    /// Corners of the canvas around it, photo pixels (first centre at 0.5, 0.5).
    pub frame: [[f32; 2]; 4],
    /// Photo pixels to a pixel of what was cut: 1 when nothing was shrunk.
    pub shrunk: f32,
}

/// What accepting does where there is a patch already.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Existing {
    /// It stays, and nothing is written.
    Stays,
    /// The new one takes its place.
    Replaced,
}

/// Why a cut was not accepted.
#[derive(Debug, thiserror::Error)]
pub enum AcceptFailed {
    /// There is one.
    #[error("there is a patch of that name already: {0}")]
    Taken(PathBuf),
    /// The cut or its folder.
    #[error(transparent)]
    Cut(#[from] CutFailed),
}

impl Explain for AcceptFailed {
    fn next(&self) -> String {
        match self {
            Self::Taken(_) => "Give it another name, or replace the one there is".to_owned(),
            Self::Cut(error) => error.next(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Taken(_) => Class::Request,
            Self::Cut(error) => error.class(),
        }
    }
}

/// A photo on the table, with the shots that were named beside it.
#[derive(Debug)]
pub struct Cutting {
    path: PathBuf,
    shots: OtherShots,
    source: CutSource,
    read: Read<'static>,
    small: Mutex<Option<Small>>,
    /// Of the whole photo, as colours were corrected last.
    found: Mutex<(ColorRequest, Kept)>,
}

/// The photo with its colours right, shrunk.
#[derive(Debug)]
struct Small {
    color: ColorRequest,
    longest: usize,
    read: Read<'static>,
    corrected: Option<Corrected>,
    found: Kept,
}

/// Endings of files that may be photos, as people and cameras write them.
pub fn photo_endings() -> Vec<String> {
    PictureFormat::all_extensions().flat_map(|ending| [ending.to_owned(), ending.to_uppercase()]).collect()
}

/// Side of the pictures of a preview, pixels.
const SIDE: usize = 512;

impl Cutting {
    /// Decode a photo and the shots beside it. They stay in memory: 12 bytes a pixel, those under several lamps 6 a pixel and shot.
    ///
    /// # Errors
    /// As [`CutFailed`] lists for what can't be read.
    pub fn read(path: &Path, shots: &OtherShots, task: &Task) -> Result<Self, CutFailed> {
        let source = CutSource::of(path.to_owned(), shots);
        let read = read(&source, &Limits::default(), task)?;
        if let CutSource::Lights(lights) | CutSource::Backlit { front: Front::Lights(lights), .. } = &source {
            stands_for(lights, read.photo().color.size(), path)?;
        }
        Ok(Self { path: path.to_owned(), shots: shots.clone(), source, read, small: Mutex::new(None), found: Mutex::default() })
    }

    /// The shots beside the photo.
    pub fn shots(&self) -> &OtherShots {
        &self.shots
    }

    /// Whether a first look at a small copy is to be had: shots under several lamps are cut as they are.
    pub fn can_shrink(&self) -> bool {
        match &self.read {
            Read::Photo(_) | Read::Backings { lit: None, .. } => true,
            Read::Backlit { front, .. } => matches!(**front, Read::Photo(_)),
            Read::Lights(_) | Read::Backings { .. } => false,
        }
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Columns and rows of the photo.
    pub fn size(&self) -> Size {
        self.read.photo().color.size()
    }

    /// The photo as a screen shows it: first with a longer side of at most `largest`, then each half the one before, down to `smallest`.
    pub fn pictures(&self, largest: usize, smallest: usize) -> Vec<Picture> {
        halved(&self.read.photo().color, largest, smallest)
    }

    /// Where a chart of 24 colours lies in the photo, found as a cut finds one that is told to lie somewhere: its four corners in order around
    /// it, photo pixels.
    ///
    /// # Errors
    /// When none is found for certain, or two are; and when the even card that is told cannot be used.
    pub fn find_chart(&self, color: &ColorRequest, task: &Task) -> Result<[[f32; 2]; 4], ColorFailed> {
        let color = ColorRequest { known: Some(Known::ChartSomewhere), flat_field: color.flat_field.clone() };
        match self.read.borrowed().correct(&color, self.source.path(), task)? {
            Some(Corrected::Chart(found)) => Ok(found.corners),
            _ => unreachable!("a chart was asked for"),
        }
    }

    /// What would be cut of the photo as it is, or of one shrunk so that its longer side is `longest`: for a first look, since threads that
    /// the small one does not show are not counted in it.
    ///
    /// # Errors
    /// As [`CutFailed`] lists.
    pub fn preview(&self, told: &Told, longest: Option<usize>, task: &Task) -> Result<Preview, CutFailed> {
        let size = self.size();
        let whole = size.width.max(size.height);
        let heard = task.notes().len();
        let (cut, corrected, shrunk) = match longest.filter(|longest| *longest < whole && self.can_shrink()) {
            None => {
                let (cut, corrected) = self.whole(told, task)?;
                (cut, corrected, 1.0)
            }
            Some(longest) => {
                let mut held = self.small.lock().unwrap_or_else(PoisonError::into_inner);
                let known = held.take().filter(|small| small.longest == longest && small.color == told.color);
                let small = held.insert(known.map_or_else(|| self.shrink(told, longest, task), Ok)?);
                let share = small.read.photo().color.width() as f32 / size.width as f32;
                let told = Told {
                    recipe: scaled(&told.recipe, share),
                    color: scaled_color(&told.color.settled(small.corrected.as_ref()), share),
                    shots: OtherShots::default(),
                };
                let cut = {
                    let Small { read, corrected, found, .. } = &mut *small;
                    cut_corrected(read.borrowed(), &told, corrected.as_ref(), self.source.path(), found, task)?
                };
                (cut, small.corrected.clone(), 1.0 / share)
            }
        };
        task.check().map_err(|stopped| CutFailed::Cut(stopped.into(), self.path.clone()))?;
        let [plain, lit] = views(&cut.patch, SIDE).map(|view| shown(&view));
        let frame = frame(&cut, shrunk);
        Ok(Preview { told: told.clone(), cut, corrected, notes: task.notes().split_off(heard), plain, lit, frame, shrunk })
    }

    /// The photo at its full size, with what was found in it before where its colours were the same.
    fn whole(&self, told: &Told, task: &Task) -> Result<(Cut, Option<Corrected>), CutFailed> {
        let mut held = self.found.lock().unwrap_or_else(PoisonError::into_inner);
        let (color, found) = &mut *held;
        if *color != told.color {
            (*color, *found) = (told.color.clone(), Kept::default());
        }
        cut_read(self.read.borrowed(), told, self.source.path(), found, task)
    }

    /// Colours are corrected by the whole photo, so that a small one is no less right.
    fn shrink(&self, told: &Told, longest: usize, task: &Task) -> Result<Small, CutFailed> {
        let mut shots = self.read.borrowed();
        let corrected = shots.correct(&told.color, self.source.path(), task)?;
        let small = |photo: &Photo| Photo {
            color: shrunk(&photo.color, longest),
            alpha: photo.alpha.as_ref().map(|alpha| shrunk(alpha, longest)),
            name: photo.name.clone(),
            unread: photo.unread,
            bits: photo.bits,
            color_source: photo.color_source.clone(),
            hash: photo.hash.clone(),
        };
        let Some(read) = shots.each(&small) else { unreachable!("asked only where it can be shrunk") };
        Ok(Small { color: told.color.clone(), longest, read, corrected, found: Kept::default() })
    }

    /// Write the patch folder, byte for byte as [`crate::cut::cut_photo`] does of the same file. A preview of the same words at full size is
    /// taken as it is; else the photo is cut now.
    ///
    /// # Errors
    /// [`AcceptFailed`]; nothing is written then.
    pub fn accept(
        &self,
        told: &Told,
        ready: Option<&Preview>,
        folder: &Path,
        existing: Existing,
        task: &Task,
    ) -> Result<CutReport, AcceptFailed> {
        let name = patch_name(folder).ok_or_else(|| CutFailed::Name(folder.to_owned()))?;
        if existing == Existing::Stays && folder.join("patch.toml").exists() {
            return Err(AcceptFailed::Taken(folder.to_owned()));
        }
        let ready = ready.filter(|ready| ready.told == *told && ready.shrunk == 1.0);
        let (mut cut, corrected) = match ready {
            Some(ready) => (ready.cut.clone(), ready.corrected.clone()),
            None => self.whole(told, task)?,
        };
        cut.patch.name = name;
        task.stage("write", || save(&cut.patch, folder, Vec::new(), task))?;
        Ok(CutReport { folder: folder.to_owned(), cut, corrected })
    }
}

/// A picture as a screen shows it, at most `largest` long, then each half the one before, down to `smallest`.
pub(crate) fn halved(image: &Image<LinearRgb>, largest: usize, smallest: usize) -> Vec<Picture> {
    let mut image = shrunk(image, largest.max(1));
    let mut pictures = vec![shown(&image)];
    while image.width().max(image.height()) > smallest.max(1) {
        image = shrunk(&image, image.width().max(image.height()).div_ceil(2));
        pictures.push(shown(&image));
    }
    pictures
}

/// A picture at most so long.
fn shrunk<P: tatter_core::image::Pixel>(image: &Image<P>, longest: usize) -> Image<P> {
    let whole = image.width().max(image.height());
    if whole <= longest {
        return image.clone();
    }
    let side = |texels: usize| (texels * longest).div_ceil(whole).max(1);
    area_resize(image, side(image.width()), side(image.height()))
}

/// What was told of a photo, of one whose sides are `share` times its own.
fn scaled(recipe: &CutRecipe, share: f32) -> CutRecipe {
    let at = |point: [f32; 2]| point.map(|v| v * share);
    let mut recipe = recipe.clone();
    recipe.around = recipe.around.map(|around| around.map(|v| v * share));
    for stroke in &mut recipe.strokes {
        stroke.points.iter_mut().for_each(|point| *point = at(*point));
        // No stroke is thinner than a pixel.
        stroke.radius = (stroke.radius * share).max(0.5);
    }
    recipe.aside.iter_mut().for_each(|corners| *corners = corners.map(at));
    recipe.scale = match recipe.scale {
        Scale::MmPerPixel(mm) => Scale::MmPerPixel(MmPerTexel(mm.get() / share)),
        Scale::Ruler { from, to, length } => Scale::Ruler { from: at(from), to: at(to), length },
        Scale::Rectangle { size, corners } => Scale::Rectangle { size, corners: corners.map(|corners| corners.map(at)) },
        same @ (Scale::Unknown | Scale::Width(_) | Scale::EndsPerCm(_) | Scale::FoundRuler) => same,
    };
    recipe.canvas = recipe.canvas.map(|side| ((side as f32 * share).round() as usize).max(1));
    recipe
}

/// What lies on the photo beside the cloth, likewise.
fn scaled_color(color: &ColorRequest, share: f32) -> ColorRequest {
    let known = color.known.map(|known| match known {
        Known::Chart(corners) => Known::Chart(corners.map(|corner| corner.map(|v| v * share))),
        same @ (Known::Grey(_) | Known::ChartSomewhere) => same,
    });
    ColorRequest { known, flat_field: color.flat_field.clone() }
}

/// Where the canvas lies in the photo.
fn frame(cut: &Cut, shrunk: f32) -> [[f32; 2]; 4] {
    let Size { width, height } = cut.patch.size();
    let (w, h) = (width as f32, height as f32);
    let affine = cut.patch.photo_from_patch.unwrap_or([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]);
    [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]].map(|corner| {
        let place = match &cut.photo_from_patch {
            Some(map) => map.at(corner.map(f64::from)).map(|v| v as f32),
            None => affine.map(|[a, b, c]| a * corner[0] + b * corner[1] + c),
        };
        place.map(|v| v * shrunk)
    })
}

#[cfg(test)]
mod tests {
    use tatter_core::model::{Stroke, StrokeKind};
    use tatter_core::units::Mm;

    use super::*;

    /// What was told in pixels of the photo says the same of a copy a quarter as long.
    #[test]
    fn what_was_told_is_told_of_a_small_copy() {
        let ruler = Scale::Ruler { from: [40.0, 80.0], to: [440.0, 80.0], length: Mm(50.0) };
        let strokes = vec![Stroke { kind: StrokeKind::Gap, points: vec![[8.0, 4.0], [16.0, 4.0]], radius: 1.0 }];
        let told =
            CutRecipe { around: Some([100.0, 60.0, 20.0]), strokes, scale: ruler, canvas: Some(512), ..CutRecipe::default() };
        let small = scaled(&told, 0.25);
        assert_eq!(small.around, Some([25.0, 15.0, 5.0]), "the loop");
        assert_eq!(small.strokes[0].points, [[2.0, 1.0], [4.0, 1.0]], "the stroke");
        assert_eq!(small.strokes[0].radius, 0.5, "no thinner than a pixel");
        assert_eq!(small.canvas, Some(128), "as large on the cloth");
        let Scale::Ruler { from, to, length } = small.scale else { panic!("a ruler: {:?}", small.scale) };
        assert_eq!((from, to, length), ([10.0, 20.0], [110.0, 20.0], Mm(50.0)), "the same millimetres between the same marks");
        let told = CutRecipe { scale: Scale::MmPerPixel(MmPerTexel(0.1)), ..CutRecipe::default() };
        assert_eq!(scaled(&told, 0.25).scale, Scale::MmPerPixel(MmPerTexel(0.4)), "a small pixel shows more cloth");
    }
}
