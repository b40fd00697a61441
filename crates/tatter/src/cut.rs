//! `cut`: photo to patch folder.

use std::borrow::Cow;
use std::path::{Path, PathBuf};

use tatter_cloth::cut::{
    Behind, Cut, CutError, Kept, TwoBackings, cut_again, cut_backed_and_lit, cut_backlit, cut_lit, cut_two_backings,
};
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Coding, Depth, Image, LinearRgb, Map, Stored, Transfer};
use tatter_core::model::{CutRecipe, OtherShots, Patch, Photo};
use tatter_core::task::Task;
use tatter_files::limits::Limits;
use tatter_files::patch::{PatchError, write_patch};
use tatter_files::picture::{Effort, PictureError, PictureFormat, encode, read_photo, read_stored};

pub use tatter_capture::photo::Homography;

use crate::color::{ColorFailed, ColorRequest, Corrected, Known, correction, even};
use crate::cutting::Told;
use crate::lights::{LitFailed, LitShots, read_shots};
use crate::sheet::thumb_and_sheet;
use crate::strokes::{StrokesError, read_strokes};

/// What is cut from.
#[derive(Clone, Debug, PartialEq)]
pub enum CutSource {
    /// One photo.
    Photo(PathBuf),
    /// A lights file of shots under several lamps: relief and colour are measured.
    Lights(PathBuf),
    /// The same cloth over two backings: opacity and colour are measured; and under several lamps, when there is a lights file: then relief is
    /// measured, too.
    Backings {
        /// The shot over the dark backing.
        dark: PathBuf,
        /// The shot over the light backing; strokes and places are those of this one.
        light: PathBuf,
        /// Colours of the dark and the light backing, when a person knows them.
        colors: Option<[LinearRgb; 2]>,
        /// The lights file of shots from the same place.
        lights: Option<PathBuf>,
    },
    /// A lamp or a window behind the cloth in one more shot: opacity and translucency are measured.
    Backlit {
        /// Strokes and places are those of this one.
        front: Front,
        /// With the lamp behind the cloth.
        behind: PathBuf,
        /// The lamp alone, from the same place.
        lamp: Option<PathBuf>,
    },
}

/// What shows the cloth from the front beside a shot with a lamp behind it.
#[derive(Clone, Debug, PartialEq)]
pub enum Front {
    /// One photo.
    Photo(PathBuf),
    /// A lights file of shots under several lamps.
    Lights(PathBuf),
}

impl Default for CutSource {
    fn default() -> Self {
        Self::Photo(PathBuf::new())
    }
}

impl CutSource {
    /// A photo with the shots that were named beside it.
    pub fn of(photo: PathBuf, shots: &OtherShots) -> Self {
        let OtherShots { over_dark, backings, backlit, lamp, lights } = shots.clone();
        match (backlit, over_dark, lights) {
            (Some(behind), _, lights) => Self::Backlit { front: lights.map_or(Front::Photo(photo), Front::Lights), behind, lamp },
            (None, Some(dark), lights) => Self::Backings { dark, light: photo, colors: backings, lights },
            (None, None, Some(lights)) => Self::Lights(lights),
            (None, None, None) => Self::Photo(photo),
        }
    }

    /// The file that errors name.
    pub(crate) fn path(&self) -> &Path {
        match self {
            Self::Photo(path)
            | Self::Lights(path)
            | Self::Backings { light: path, .. }
            | Self::Backlit { front: Front::Photo(path) | Front::Lights(path), .. } => path,
        }
    }
}

/// What to cut and where to put it.
#[derive(Clone, Debug, Default)]
pub struct CutRequest {
    /// The photo or photos.
    pub source: CutSource,
    /// The patch folder to write, `NAME.patch`.
    pub output: PathBuf,
    /// What the person says of the cut.
    pub recipe: CutRecipe,
    /// A picture of strokes, in addition to the recipe's.
    pub strokes: Option<PathBuf>,
    /// What corrects the colours, before anything is looked for.
    pub color: ColorRequest,
}

/// What was cut.
#[derive(Clone, Debug)]
pub struct CutReport {
    /// The patch folder.
    pub folder: PathBuf,
    /// The patch and the decisions.
    pub cut: Cut,
    /// How colours were corrected.
    pub corrected: Option<Corrected>,
}

/// Why no patch was written.
#[derive(Debug, thiserror::Error)]
pub enum CutFailed {
    /// The output is not a patch folder's name.
    #[error("a patch folder is named NAME.patch, not {0}")]
    Name(PathBuf),
    /// A picture cannot be read.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// The strokes picture cannot be used.
    #[error("{0}: {1}")]
    Strokes(StrokesError, PathBuf),
    /// Colours cannot be corrected.
    #[error(transparent)]
    Color(#[from] ColorFailed),
    /// The cut itself.
    #[error("{0}: {1}")]
    Cut(CutError, PathBuf),
    /// Shots under several lights.
    #[error(transparent)]
    Lit(#[from] LitFailed),
    /// The folder cannot be written.
    #[error(transparent)]
    Patch(#[from] PatchError),
}

impl Explain for CutFailed {
    fn next(&self) -> String {
        match self {
            Self::Name(_) => "Name the output like rope-burn.patch".to_owned(),
            Self::Picture(error) => error.next(),
            Self::Strokes(StrokesError::Size { .. }, _) => "Paint the strokes over a copy of the photo, at its size".to_owned(),
            Self::Strokes(StrokesError::Empty, _) => {
                "Paint in full green (cloth), blue (backing), red (damage) or white (gap)".to_owned()
            }
            Self::Color(error) => error.next(),
            Self::Cut(error, _) => error.next(),
            Self::Lit(error) => error.next(),
            Self::Patch(error) => error.next(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Name(_) | Self::Strokes(..) => Class::Request,
            Self::Picture(error) => error.class(),
            Self::Color(error) => error.class(),
            Self::Cut(error, _) => error.class(),
            Self::Lit(error) => error.class(),
            Self::Patch(error) => error.class(),
        }
    }
}

/// Cut the subject of a photo and write its patch folder, all of it or nothing.
///
/// # Errors
/// As [`CutFailed`] lists.
pub fn cut_photo(request: &CutRequest, task: &Task) -> Result<CutReport, CutFailed> {
    let name = patch_name(&request.output).ok_or_else(|| CutFailed::Name(request.output.clone()))?;
    let limits = Limits::default();
    let shots = task.stage("read", || read(&request.source, &limits, task))?;
    let mut told = Told { recipe: request.recipe.clone(), color: request.color.clone(), ..Told::default() };
    if let Some(path) = &request.strokes {
        let picture = read_stored(path, &limits)?;
        let size = shots.photo().color.size();
        let strokes = read_strokes(&picture, size).map_err(|error| CutFailed::Strokes(error, path.clone()))?;
        told.recipe.strokes.extend(strokes);
    }
    let (mut cut, corrected) = cut_read(shots, &told, request.source.path(), &mut Kept::default(), task)?;
    cut.patch.name = name;
    task.stage("write", || save(&cut.patch, &request.output, Vec::new(), task))?;
    Ok(CutReport { folder: request.output.clone(), cut, corrected })
}

/// Correct the colours of what was read, cut it, and tell in the patch how that was done. The patch has no name yet.
pub(crate) fn cut_read(
    mut shots: Read<'_>,
    told: &Told,
    path: &Path,
    kept: &mut Kept,
    task: &Task,
) -> Result<(Cut, Option<Corrected>), CutFailed> {
    let corrected = task.stage("color", || shots.correct(&told.color, path, task))?;
    let told = Told { color: told.color.settled(corrected.as_ref()), ..told.clone() };
    let cut = cut_corrected(shots, &told, corrected.as_ref(), path, kept, task)?;
    Ok((cut, corrected))
}

/// [`cut_read`] of shots whose colours are right, and whose chart has its place; of one photo, with what was found in it before.
pub(crate) fn cut_corrected(
    shots: Read<'_>,
    told: &Told,
    corrected: Option<&Corrected>,
    path: &Path,
    kept: &mut Kept,
    task: &Task,
) -> Result<Cut, CutFailed> {
    let mut recipe = told.recipe.clone();
    if let Some(Known::Chart(corners)) = told.color.known {
        recipe.aside.push(with_frame(corners));
    }
    recipe.aside.extend(shots.aside());
    let mut cut = shots.cut(&recipe, kept, task).map_err(|error| CutFailed::Cut(error, path.to_owned()))?;
    if let Some(corrected) = corrected {
        corrected.record(&mut cut.patch);
    }
    if let Some(path) = &told.color.flat_field {
        cut.patch.provenance.push(("flat_field".to_owned(), crate::lights::name(path)));
    }
    Ok(cut)
}

/// What was read of a source: pictures of its own, or those that somebody else keeps.
#[derive(Clone, Debug)]
pub(crate) enum Read<'a> {
    Photo(Cow<'a, Photo>),
    Lights(Cow<'a, LitShots>),
    Backings { dark: Cow<'a, Photo>, light: Cow<'a, Photo>, colors: Option<[LinearRgb; 2]>, lit: Option<Box<Cow<'a, LitShots>>> },
    Backlit { front: Box<Self>, behind: Cow<'a, Photo>, lamp: Option<Cow<'a, Photo>> },
}

pub(crate) fn read(source: &CutSource, limits: &Limits, task: &Task) -> Result<Read<'static>, CutFailed> {
    let photo = |path: &Path| {
        let photo = read_photo(path, limits)?;
        if photo.alpha.is_some() {
            let what = "The photo is transparent in places, and that is not used: the colours stored there count as photographed. Give the photo \
                        as the camera wrote it; where the backing is, --strokes can tell";
            task.note("photo-transparent", what);
        }
        if photo.unread > 0 {
            let what = format!(
                "{} pixels of the photo {} hold values that are no finite numbers, which count as 0; export it again, or keep the subject clear of \
                 them",
                photo.unread, photo.name
            );
            task.note("photo-no-numbers", what);
        }
        Ok::<_, PictureError>(Cow::Owned(photo))
    };
    let lit = |path: &Path| read_shots(path, task).map(Cow::Owned);
    Ok(match source {
        CutSource::Photo(path) => Read::Photo(photo(path)?),
        CutSource::Lights(path) => Read::Lights(lit(path)?),
        CutSource::Backings { dark, light, colors, lights } => {
            let lit = lights.as_deref().map(|path| lit(path).map(Box::new)).transpose()?;
            Read::Backings { dark: photo(dark)?, light: photo(light)?, colors: *colors, lit }
        }
        CutSource::Backlit { front, behind, lamp } => {
            let front = Box::new(match front {
                Front::Photo(path) => Read::Photo(photo(path)?),
                Front::Lights(path) => Read::Lights(lit(path)?),
            });
            let lamp = lamp.as_deref().map(photo).transpose()?;
            Read::Backlit { front, behind: photo(behind)?, lamp }
        }
    })
}

impl Read<'_> {
    /// The picture on whose pixels the patch lies.
    pub(crate) fn photo(&self) -> &Photo {
        match self {
            Self::Photo(photo) | Self::Backings { light: photo, .. } => photo,
            Self::Lights(lit) => &lit.photo,
            Self::Backlit { front, .. } => front.photo(),
        }
    }

    /// The same pictures, which stay here.
    pub(crate) fn borrowed(&self) -> Read<'_> {
        match self {
            Self::Photo(photo) => Read::Photo(Cow::Borrowed(photo)),
            Self::Lights(lit) => Read::Lights(Cow::Borrowed(lit)),
            Self::Backings { dark, light, colors, lit } => Read::Backings {
                dark: Cow::Borrowed(dark),
                light: Cow::Borrowed(light),
                colors: *colors,
                lit: lit.as_deref().map(|lit| Box::new(Cow::Borrowed(&**lit))),
            },
            Self::Backlit { front, behind, lamp } => Read::Backlit {
                front: Box::new(front.borrowed()),
                behind: Cow::Borrowed(behind),
                lamp: lamp.as_deref().map(Cow::Borrowed),
            },
        }
    }

    /// The same with every picture made another; `None` where shots under several lamps are among them.
    pub(crate) fn each(&self, make: &dyn Fn(&Photo) -> Photo) -> Option<Read<'static>> {
        let made = |photo: &Photo| Cow::Owned(make(photo));
        match self {
            Self::Photo(photo) => Some(Read::Photo(made(photo))),
            Self::Backings { dark, light, colors, lit: None } => {
                Some(Read::Backings { dark: made(dark), light: made(light), colors: *colors, lit: None })
            }
            Self::Backlit { front, behind, lamp } => {
                Some(Read::Backlit { front: Box::new(front.each(make)?), behind: made(behind), lamp: lamp.as_deref().map(made) })
            }
            Self::Lights(_) | Self::Backings { .. } => None,
        }
    }

    /// What in the picture is there for the lamps alone.
    fn aside(&self) -> Option<[[f32; 2]; 4]> {
        match self {
            Self::Photo(_) => None,
            Self::Lights(lit) => lit.aside,
            Self::Backings { lit, .. } => lit.as_ref()?.aside,
            Self::Backlit { front, .. } => front.aside(),
        }
    }

    /// Correct the colours of all shots alike.
    pub(crate) fn correct(&mut self, request: &ColorRequest, path: &Path, task: &Task) -> Result<Option<Corrected>, ColorFailed> {
        // Light from behind is compared with its lamp alone: neither has to do with what falls on the front.
        if let Self::Backlit { front, .. } = self {
            return front.correct(request, path, task);
        }
        if let Some(flat_field) = &request.flat_field {
            match self {
                Self::Photo(photo) => even(&mut [photo.to_mut()], flat_field)?,
                // Shots under lamps have theirs in the lights file.
                Self::Backings { dark, light, .. } => even(&mut [dark.to_mut(), light.to_mut()], flat_field)?,
                Self::Lights(_) | Self::Backlit { .. } => return Err(ColorFailed::FlatTwice(path.to_path_buf())),
            }
        }
        let Some(known) = request.known else { return Ok(None) };
        let corrected = correction(self.photo(), known, path, task)?;
        let done = *corrected.correction();
        let show = |photo: &mut Photo| photo.color = done.show(&photo.color);
        match self {
            Self::Photo(photo) => show(photo.to_mut()),
            Self::Backings { dark, light, colors, lit } => {
                show(dark.to_mut());
                show(light.to_mut());
                *colors = colors.map(|both| both.map(|color| done.apply(color)));
                if let Some(lit) = lit {
                    lit.to_mut().shots.correct(done);
                }
            }
            Self::Lights(lit) => {
                let LitShots { photo, shots, .. } = lit.to_mut();
                show(photo);
                shots.correct(done);
            }
            Self::Backlit { .. } => {}
        }
        Ok(Some(corrected))
    }

    fn cut(self, recipe: &CutRecipe, kept: &mut Kept, task: &Task) -> Result<Cut, CutError> {
        match self {
            Self::Photo(photo) => cut_again(&photo, recipe, kept, task),
            Self::Lights(lit) => {
                let LitShots { photo, shots, provenance, .. } = lit.into_owned();
                let mut cut = cut_lit(&photo, shots, recipe, task)?;
                cut.patch.provenance.extend(provenance);
                Ok(cut)
            }
            Self::Backings { dark, light, colors, lit } => {
                let shots = TwoBackings { dark: &dark, light: &light, cards: colors };
                let Some(lit) = lit else { return cut_two_backings(&shots, recipe, task) };
                let LitShots { shots: lit, provenance, .. } = lit.into_owned();
                let mut cut = cut_backed_and_lit(&shots, lit, recipe, task)?;
                cut.patch.provenance.extend(provenance);
                Ok(cut)
            }
            Self::Backlit { front, behind, lamp } => {
                let behind = Behind { shot: &behind, lamp: lamp.as_deref() };
                match *front {
                    Read::Lights(lit) => {
                        let LitShots { photo, shots, provenance, .. } = lit.into_owned();
                        let mut cut = cut_backlit(&photo, &behind, Some(shots), recipe, task)?;
                        cut.patch.provenance.extend(provenance);
                        Ok(cut)
                    }
                    front => cut_backlit(front.photo(), &behind, None, recipe, task),
                }
            }
        }
    }
}

/// Write a patch folder with its thumbnail and its sheet, and `more` files beside them.
pub(crate) fn save(patch: &Patch, folder: &Path, more: Vec<(&str, Vec<u8>)>, task: &Task) -> Result<(), CutFailed> {
    let [thumb, sheet] = thumb_and_sheet(patch);
    let (small, large) = rayon::join(|| png(thumb), || png(sheet));
    let mut extras = vec![("thumb.png", small?), ("sheet.png", large?)];
    extras.extend(more);
    write_patch(patch, folder, &extras, task)?;
    Ok(())
}

/// An 8-bit sRGB PNG of a picture for people.
pub(crate) fn png(picture: Image<LinearRgb>) -> Result<Vec<u8>, PictureError> {
    encode(&eight_bits(picture), PictureFormat::Png, Effort::Fast)
}

/// 8-bit sRGB of a picture for people.
pub(crate) fn eight_bits(picture: Image<LinearRgb>) -> Stored {
    let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
    Stored::from_map(&Map::Color(picture), &coding, Depth::Eight)
}

/// A chart's corners with room for its frame and its print around them.
pub(crate) fn with_frame(corners: [[f32; 2]; 4]) -> [[f32; 2]; 4] {
    const ROOM: f32 = 1.25;
    let middle = [0, 1].map(|c: usize| corners.iter().map(|p| p[c]).sum::<f32>() / 4.0);
    corners.map(|p| [0, 1].map(|c: usize| middle[c] + ROOM * (p[c] - middle[c])))
}

/// `rope-burn` of `somewhere/rope-burn.patch`.
pub(crate) fn patch_name(folder: &Path) -> Option<String> {
    let name = folder.file_name()?.to_str()?.strip_suffix(".patch")?;
    (!name.is_empty()).then(|| name.to_owned())
}
