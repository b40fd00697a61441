//! Finding the subject in a photo: an injured region in intact cloth, or a piece on its backing, with fractional edges.
//!
//! Start at [`isolate`]. Cover says where the subject lies; what one sees through it is left to the search for gaps.

mod damage;
mod decide;
mod edge;
mod features;
mod find;
mod gaussian;
mod hem;
pub mod matting;
mod piece;
mod sampling;
mod sheen;
mod strokes;

use hem::Hem;
use tatter_core::angle::Angle;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Rect, Size, Unit};
use tatter_core::model::{CutRecipe, StrokeKind, Subject, SubjectChoice};
use tatter_core::task::{Cancelled, Task};

pub use strokes::painted;
pub use tatter_capture::surface::BackingModel;

/// Longest side of the working copy in which subjects are found, pixels.
const WORKING_SIDE: usize = 512;
/// Longest side of a photo that is accepted, pixels: masks and colours of it take about 1.5 GiB.
const LONGEST_SIDE: usize = 12_000;

/// What is known of the cloth's threads before its subject is found.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ClothHints<'a> {
    /// Spacing of ends and of picks in photo pixels.
    pub pitch_px: Option<[f32; 2]>,
    /// The lines that warp and weft run along.
    pub thread_dirs: Option<[Angle; 2]>,
    /// Where the photo shows neither cloth nor injury, and something was filled in: a card or a ruler that lies on the cloth.
    pub unseen: Option<&'a Image<bool>>,
}

/// One injured place in a photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Region {
    /// Its middle, photo pixels, centres at +0.5.
    pub center: [f32; 2],
    /// A circle of this radius around the middle holds it, photo pixels.
    pub radius: f32,
    /// How much of it there is and how unlike the cloth it is; for comparing places of one photo.
    pub score: f32,
}

/// The subject of a photo; all images have the photo's size.
#[derive(Clone, Debug)]
pub struct Isolated {
    /// Damage or piece.
    pub subject: Subject,
    /// Why it was taken for that, one sentence.
    pub why: String,
    /// Where the subject lies. Of a damage: the whole injured region with its holes; of a piece: inside its outline, openings
    /// filled. Soft at the rim.
    pub cover: Image<Unit>,
    /// The share of the backing seen at each pixel (1 − alpha), where there is a model of the backing.
    pub see_through: Option<Image<Unit>>,
    /// Backing for certain, where it is known before openings are looked for.
    pub open: Option<Image<bool>>,
    /// Cloth that is certainly outside the injury (damage) or certainly cloth (piece).
    pub intact: Image<bool>,
    /// Cloth within a damage that is worn but woven still, where the damage is broader than what is torn: openings lie elsewhere.
    pub worn: Option<Image<bool>>,
    /// What lies behind a piece.
    pub backing: Option<BackingModel>,
    /// 0 a guess, 1 certain.
    pub confidence: f32,
    /// The rectangle around the cover.
    pub bounds: Rect,
    /// All injured places, strongest first (the one taken first); one entry for a piece.
    pub regions: Vec<Region>,
}

impl Isolated {
    /// The same where only what was `seen` may be cloth or injury.
    ///
    /// # Errors
    /// When nothing of the subject is left.
    pub fn within(self, seen: &Image<bool>) -> Result<Self, IsolateError> {
        let cover = self.cover.zip(seen, |c, s| if s { c } else { Unit(0.0) });
        let nothing = match self.subject {
            Subject::Damage => IsolateError::NoDamage,
            Subject::Piece => IsolateError::NoPiece,
        };
        let bounds = damage::cover_bounds(&cover).ok_or(nothing)?;
        let intact = self.intact.zip(seen, |i, s| i && s);
        Ok(Self { cover, bounds, intact, ..self })
    }
}

/// Why a subject could not be isolated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum IsolateError {
    /// The picture has too few pixels to tell cloth from injury.
    #[error("a photo of {size} pixels is too small to find a subject in; at least 32 × 32 are needed")]
    TooSmall {
        /// The photo's size.
        size: Size,
    },
    /// More pixels than are worked on at once.
    #[error("a photo of {size} pixels is larger than {LONGEST_SIDE} on a side")]
    TooLarge {
        /// The photo's size.
        size: Size,
    },
    /// All of the cloth looks alike.
    #[error("no injured region found in the cloth")]
    NoDamage,
    /// Nothing stands out from the backing.
    #[error("no piece found on the backing")]
    NoPiece,
    /// The place told lies outside the photo.
    #[error("the place told, {x:.0}, {y:.0}, lies outside the photo of {size} pixels")]
    AroundOutside {
        /// Column told.
        x: f32,
        /// Row told.
        y: f32,
        /// The photo's size.
        size: Size,
    },
    /// Stopped by the person.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for IsolateError {
    fn next(&self) -> String {
        match self {
            Self::TooSmall { .. } => "Take a closer or larger photo".to_owned(),
            Self::TooLarge { .. } => "Crop the photo to the cloth around the subject, or make it smaller".to_owned(),
            Self::NoDamage => "Say where it is with --around x,y,radius (photo pixels), or paint it with a stroke".to_owned(),
            Self::NoPiece => {
                "Photograph it on a backing of another colour, say --subject damage if the cloth fills the photo, or paint it"
                    .to_owned()
            }
            Self::AroundOutside { .. } => "Give x, y and radius in photo pixels, counted from the top-left corner".to_owned(),
            Self::Cancelled(_) => "Start again when ready".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::TooSmall { .. } | Self::TooLarge { .. } => Class::Input,
            _ => Class::Request,
        }
    }
}

/// Find the subject in a photo in linear light.
///
/// Peak memory is about 16 bytes a photo pixel beside the photo itself for a damage, 60 for a piece.
///
/// # Errors
/// When the photo is too small or too large, when nothing is found, or when stopped.
pub fn isolate(
    color: &Image<LinearRgb>,
    recipe: &CutRecipe,
    hints: &ClothHints<'_>,
    task: &Task,
) -> Result<Isolated, IsolateError> {
    let size = color.size();
    if size.width.min(size.height) < 32 {
        return Err(IsolateError::TooSmall { size });
    }
    if size.width.max(size.height) > LONGEST_SIDE {
        return Err(IsolateError::TooLarge { size });
    }
    if let Some([x, y, radius]) = recipe.around {
        let inside = x >= -radius && y >= -radius && x <= size.width as f32 + radius && y <= size.height as f32 + radius;
        if !inside {
            return Err(IsolateError::AroundOutside { x, y, size });
        }
    }
    let working = Working::new(color, hints);
    task.check()?;
    let edge = if recipe.around.is_none() { hem::find(&working) } else { None };
    let runs_out = edge.as_ref().is_some_and(Hem::is_piece) && !recipe.strokes.iter().any(|s| s.kind == StrokeKind::Damage);
    let (subject, why) = match (recipe.subject, &edge) {
        (SubjectChoice::Auto, Some(_)) if runs_out => {
            (Subject::Piece, "a piece because an even backing lies at all four corners of the photo".to_owned())
        }
        (SubjectChoice::Auto | SubjectChoice::Told(Subject::Damage), Some(hem)) if hem.has_body() => {
            return hem::isolate_hem(color, &working, recipe, hem, task);
        }
        (SubjectChoice::Told(subject), _) => (subject, "as told".to_owned()),
        (SubjectChoice::Auto, _) => decide::decide(&working, recipe),
    };
    match subject {
        Subject::Damage => damage::isolate_damage(color, &working, recipe, why, task),
        Subject::Piece => {
            let backing = edge.filter(Hem::is_piece).map(|hem| hem.backing().clone());
            warn_if_no_backing(&working, recipe, backing.is_some(), task);
            piece::isolate_piece(color, &working, recipe, backing.as_ref(), why, task)
        }
    }
}

/// Says so when a piece was told and no backing is seen around it, nor painted.
fn warn_if_no_backing(working: &Working, recipe: &CutRecipe, seen: bool, task: &Task) {
    let told = recipe.subject == SubjectChoice::Told(Subject::Piece) && recipe.strokes.is_empty();
    if told && !seen && decide::decide(working, recipe).0 == Subject::Damage {
        let what = "A piece was told, but the photo's border is no plain backing with something else on it: what was cut may be cloth out of \
                    cloth; say --subject damage if cloth fills the photo, or paint the backing";
        task.note("piece-no-backing", what);
    }
}

/// Share of the picture's border that shows backing for the subject to be a piece.
const PIECE_BORDER: f32 = 0.75;

/// Find the subject where alpha is known: a piece where backing lies all around, else the injured region of the cloth in `color`.
///
/// # Errors
/// As [`isolate`].
pub fn isolate_known(
    color: &Image<LinearRgb>,
    alpha: &Image<Unit>,
    recipe: &CutRecipe,
    hints: &ClothHints<'_>,
    task: &Task,
) -> Result<Isolated, IsolateError> {
    let open = open_border(alpha);
    let why = match recipe.subject {
        SubjectChoice::Told(Subject::Piece) => "as told".to_owned(),
        SubjectChoice::Auto if open > PIECE_BORDER && !recipe.strokes.iter().any(|s| s.kind == StrokeKind::Damage) => {
            format!("a piece because what lies behind shows on {:.0} % of the photo's border", 100.0 * open)
        }
        _ => return isolate(color, recipe, hints, task),
    };
    let pitch = hints.pitch_px.map_or(Working::ASSUMED_PITCH, |[a, b]| 0.5 * (a + b));
    piece::isolate_known(alpha, (0.6 * pitch).clamp(3.0, 16.0), why)
}

/// Share of the border, a twentieth of the picture broad, where alpha is below a half.
fn open_border(alpha: &Image<Unit>) -> f32 {
    let (width, height) = (alpha.width(), alpha.height());
    let depth = (width.min(height) / 20).max(3);
    let (mut all, mut open) = (0u32, 0u32);
    for y in 0..height {
        for x in (0..width).filter(|&x| x.min(y) < depth || x + depth >= width || y + depth >= height) {
            all += 1;
            open += u32::from(alpha.get(x, y).0 < 0.5);
        }
    }
    open as f32 / all.max(1) as f32
}

/// The photo made small enough to look at all of it.
struct Working {
    color: Image<LinearRgb>,
    /// Photo pixels in one working pixel.
    shrink: f32,
    /// Thread spacing in working pixels, measured or assumed.
    pitch: f32,
    /// Directions threads run along, measured or upright and level.
    lines: [Angle; 2],
    /// Where nothing of the cloth is seen.
    unseen: Option<Image<bool>>,
}

impl Working {
    /// Thread spacing taken when nobody measured it, working pixels: what a close photo of cloth shows.
    const ASSUMED_PITCH: f32 = 4.0;

    fn new(color: &Image<LinearRgb>, hints: &ClothHints<'_>) -> Self {
        let longest = color.width().max(color.height());
        let shrink = (longest as f32 / WORKING_SIDE as f32).max(1.0);
        let scaled = |n: usize| ((n as f32 / shrink).round() as usize).max(1);
        let small = tatter_core::kernel::area_resize(color, scaled(color.width()), scaled(color.height()));
        let pitch = hints.pitch_px.map_or(Self::ASSUMED_PITCH, |[a, b]| 0.5 * (a + b) / shrink);
        let lines = hints.thread_dirs.unwrap_or([Angle::degrees(90.0), Angle::ZERO]);
        let unseen = hints.unseen.map(|unseen| {
            let at = |v: usize, n: usize| (((v as f32 + 0.5) * shrink) as usize).min(n - 1);
            Image::from_fn(small.width(), small.height(), |x, y| unseen.get(at(x, unseen.width()), at(y, unseen.height())))
        });
        Self { color: small, shrink, pitch, lines, unseen }
    }

    /// Smoothing of features: about one thread, within what a picture of this size allows.
    fn sigma(&self) -> f32 {
        (0.75 * self.pitch).clamp(2.0, 6.0)
    }

    fn size(&self) -> Size {
        self.color.size()
    }

    /// Strokes of one kind at working size.
    fn painted(&self, recipe: &CutRecipe, kind: StrokeKind) -> Image<bool> {
        let mut strokes = recipe.strokes.clone();
        for stroke in &mut strokes {
            stroke.radius /= self.shrink;
            for point in &mut stroke.points {
                *point = point.map(|v| v / self.shrink);
            }
        }
        painted(&strokes, kind, self.size())
    }
}
