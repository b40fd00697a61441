//! Photo to patch, the whole chain in one screen.

mod backed;
mod backlit;
mod canvas;
mod flat;
mod kept;
mod lit;
mod scale;
mod two_backings;

pub use backlit::{Behind, cut_backlit};
pub use canvas::Canvas;
pub use kept::Kept;
pub use lit::cut_lit;
pub use scale::{ScaleError, Scaled, ruler_uncertainty};
pub use two_backings::{TwoBackings, cut_backed_and_lit, cut_two_backings};

use flat::{Flat, flat};
use kept::{Seen, picture_by, told_of_cloth, told_of_subject};
use lit::Dyed;
use std::sync::Arc;
use tatter_capture::backings::{BackingsError, Matte};
use tatter_capture::backlit::{Backlit, BacklitError};
use tatter_capture::lights::Shots;
use tatter_capture::photo::Homography;
use tatter_capture::plane::{PlaneError, fill};
use tatter_capture::ruler::RulerError;
use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, PerChannel};
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Map, Size, Unit, inside_any};
use tatter_core::model::{CutRecipe, Origin, Patch, PatchMap, Photo, StrokeKind, Subject};
use tatter_core::task::{Cancelled, Task};

use crate::clean::{Sight, clean_color, thread_color};
use crate::gaps::{GapError, GapInput, Gaps, gaps, piece_gaps};
use crate::isolate::{ClothHints, IsolateError, Isolated, isolate, isolate_known};
use crate::measure::{MeasureSettings, Measured, measure};
use crate::relief::{ReliefError, ReliefInput, lit_relief, relief};

/// Why no patch could be cut.
#[derive(Debug, thiserror::Error)]
pub enum CutError {
    /// The subject was not found, or the request contradicts the photo.
    #[error(transparent)]
    Isolate(#[from] IsolateError),
    /// Gaps could not be looked for.
    #[error(transparent)]
    Gaps(#[from] GapError),
    /// No relief could be made.
    #[error(transparent)]
    Relief(#[from] ReliefError),
    /// The scale asked for makes no sense.
    #[error(transparent)]
    Scale(#[from] ScaleError),
    /// The rectangle of known size gives no scale.
    #[error(transparent)]
    Plane(#[from] PlaneError),
    /// The ruler gives no scale.
    #[error(transparent)]
    Ruler(#[from] RulerError),
    /// Two shots over two backings gave no alpha.
    #[error(transparent)]
    Backings(#[from] BackingsError),
    /// A shot with a lamp behind told nothing.
    #[error(transparent)]
    Backlit(#[from] BacklitError),
    /// Shots over backings and under lamps differ in size.
    #[error("the shots over the backings are {backed} pixels, those under several lights {lit}")]
    LightsSize {
        /// Over the backings.
        backed: Size,
        /// Under the lights.
        lit: Size,
    },
    /// Shots over backings and under lamps were not taken from one place.
    #[error(
        "the shots under several lights lie {moved:.1} pixels off those over the backings, and at most {most:.1} can be worked with"
    )]
    LightsMoved {
        /// Mean over the picture.
        moved: f32,
        /// What is let pass.
        most: f32,
    },
    /// Stopped by the person.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for CutError {
    fn next(&self) -> String {
        match self {
            Self::Isolate(error) => error.next(),
            Self::Gaps(error) => error.next(),
            Self::Relief(error) => error.next(),
            Self::Scale(error) => error.next(),
            Self::Plane(error) => error.next(),
            Self::Ruler(error) => error.next(),
            Self::Backings(error) => error.next(),
            Self::Backlit(error) => error.next(),
            Self::LightsSize { .. } | Self::LightsMoved { .. } => {
                "Take all shots from one tripod with one camera setting, and leave the cloth where it lies".to_owned()
            }
            Self::Cancelled(_) => "Start again when you like".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Isolate(error) => error.class(),
            Self::Gaps(error) => error.class(),
            Self::Relief(error) => error.class(),
            Self::Scale(error) => error.class(),
            Self::Plane(error) => error.class(),
            Self::Ruler(error) => error.class(),
            Self::Backings(error) => error.class(),
            Self::Backlit(error) => error.class(),
            Self::LightsSize { .. } | Self::LightsMoved { .. } | Self::Cancelled(_) => Class::Request,
        }
    }
}

/// A patch, and what was decided on the way.
#[derive(Clone, Debug)]
pub struct Cut {
    /// The patch.
    pub patch: Patch,
    /// Why the subject is what it is, one sentence.
    pub why: String,
    /// Share of the covered canvas that is see-through.
    pub open_share: f32,
    /// Openings found.
    pub openings: usize,
    /// Photo place of a patch place where perspective was taken out; the patch's own map is this one to first order at its middle.
    pub photo_from_patch: Option<Homography>,
}

/// Cut the subject of `photo`: measure the cloth, find the subject, lay a square canvas around it, find the gaps, clean
/// the colours, make the relief. Working memory is about 40 floats a photo pixel.
///
/// # Errors
/// When no subject is found or the recipe contradicts the photo.
pub fn cut(photo: &Photo, recipe: &CutRecipe, task: &Task) -> Result<Cut, CutError> {
    cut_again(photo, recipe, &mut Kept::default(), task)
}

/// [`cut`] of a photo that was cut before, told otherwise, with the same result as from nothing: what gives the scale, the threads and the
/// subject are each looked for again only where something that they follow from was told. A `kept` belongs to one photo with one correction
/// of its colours.
///
/// # Errors
/// As [`cut`].
pub fn cut_again(photo: &Photo, recipe: &CutRecipe, kept: &mut Kept, task: &Task) -> Result<Cut, CutError> {
    let find = || Ok::<_, CutError>(flat(photo, recipe, task)?.map(Arc::new));
    let Some(flat) = kept.flat.get(picture_by(recipe.scale), task, find)? else {
        return chain(photo, Evidence { kept: Some(kept), ..Evidence::default() }, recipe, task);
    };
    // A straightened photo is another picture.
    let shown = task.stage("straighten", || flat.show(photo));
    chain(&shown, Evidence { flat: Some(&flat), kept: Some(kept), ..Evidence::default() }, &flat.moved(recipe), task)
}

/// What more shots than one photo measured.
#[derive(Default)]
struct Evidence<'a> {
    /// Over two backings: alpha and colour are not looked for but taken as measured, and the photo shows the cloth before one of
    /// its backings.
    matte: Option<&'a Matte>,
    /// With a lamp behind: opacity is taken as measured, and what cloth lets through.
    backlit: Option<&'a Backlit>,
    /// Under several lights: relief, and colour where no backings measured it.
    lights: Option<Shots>,
    /// By a rectangle of known size or a ruler: the scale. By a rectangle the photo is straightened.
    flat: Option<&'a Flat>,
    /// What was found in the same photo before.
    kept: Option<&'a mut Kept>,
}

/// What shows neither cloth nor backing: the rectangle or the ruler that gives the scale, a colour chart.
fn aside(size: Size, flat: Option<&Flat>, recipe: &CutRecipe) -> Option<Image<bool>> {
    let told = (!recipe.aside.is_empty()).then(|| inside_any(size, &recipe.aside));
    match (flat.map(Flat::aside), told) {
        (None, told) => told,
        (Some(rectangle), None) => Some(rectangle.clone()),
        (Some(rectangle), Some(told)) => Some(rectangle.zip(&told, |r, t| r || t)),
    }
}

/// The photo with cloth in the place of what is set aside.
fn without(photo: &Photo, aside: &Image<bool>) -> Photo {
    Photo { color: fill(&photo.color, aside), ..without_color(photo) }
}

/// All of a photo but the picture.
fn without_color(photo: &Photo) -> Photo {
    Photo {
        name: photo.name.clone(),
        color: Image::filled(0, 0, LinearRgb([0.0; 3])),
        alpha: None,
        unread: photo.unread,
        bits: photo.bits,
        color_source: photo.color_source.clone(),
        hash: photo.hash.clone(),
    }
}

/// The chain of [`cut`] and its kin.
fn chain(photo: &Photo, evidence: Evidence<'_>, recipe: &CutRecipe, task: &Task) -> Result<Cut, CutError> {
    let Evidence { matte, backlit, lights, flat, kept } = evidence;
    let alpha = matte.map(|matte| &matte.alpha).or(backlit.map(|backlit| &backlit.alpha));
    let aside = aside(photo.color.size(), flat, recipe);
    let filled = aside.as_ref().map(|aside| task.stage("fill", || without(photo, aside)));
    let photo = filled.as_ref().unwrap_or(photo);
    let seen = aside.map(|aside| aside.map(|aside| !aside));
    let mut nothing = Kept::default();
    let (cloth, isolated) = subject(photo, alpha, seen.as_ref(), recipe, kept.unwrap_or(&mut nothing), task)?;
    let grain = recipe.grain.or_else(|| cloth.woven.then_some(cloth.grain));
    let scaled = scale::resolve(photo, recipe, flat, isolated.bounds, &cloth, task)?;

    let turn = if recipe.upright { upright_turn(grain, task) } else { Angle::ZERO };
    let canvas = Canvas::around(&isolated.cover, isolated.bounds, turn, recipe.canvas);
    let texel = tatter_core::units::MmPerTexel(scaled.scale.get() * canvas.pixels_per_texel);
    let mut view = View::new(photo, recipe, &isolated, &canvas);
    let pitch_px = cloth.woven.then(|| cloth.pitch_px.map(|p| p / canvas.pixels_per_texel));
    let thread_dirs = cloth.woven.then(|| [cloth.grain + turn, cloth.weft + turn].map(Angle::as_line));

    let found = task.stage("gaps", || match backed::opacity(matte, backlit, &canvas) {
        Some((alpha, how)) => Ok(backed::gaps(&view, &isolated, &alpha, how)),
        None => view.gaps(pitch_px, thread_dirs, task),
    })?;
    let lit = lights.map(|shots| Dyed::measure(shots, photo, &canvas, scaled.scale, turn, task)).transpose()?;
    let clean = task.stage("clean", || match (matte, &lit) {
        (Some(matte), None) => Ok(backed::color(matte, &canvas)),
        (Some(matte), Some(lit)) => Ok(backed::unshaded(&backed::color(matte, &canvas), &lit.canvas, matte, &canvas)),
        (None, _) => {
            let seen = lit.as_ref().map_or([&photo.color, &view.color], |lit| [&lit.photo, &lit.canvas]);
            cleaned(seen, &view, &found, &isolated, &canvas, task)
        }
    })?;
    let raised = task.stage("relief", || {
        let mut input = ReliefInput::new(&view.cover, &found.opacity, texel);
        input.intact = view.intact.as_ref();
        input.pitch_px = pitch_px;
        input.thread_dirs = thread_dirs;
        input.light_from = recipe.light_from.map(|from| from + turn);
        input.light_elevation = recipe.light_elevation;
        match &lit {
            Some(lit) => lit_relief(&lit.relief(&clean), &input, task),
            None => relief(&clean, &input, task),
        }
    })?;

    let (mut maps, height_range) = (PerChannel::from_fn(|_| None), raised.height_range);
    for (channel, map) in raised.into_maps() {
        maps[channel] = Some(map);
    }
    if let Some(base) = &mut maps[Channel::BaseColor] {
        view.dye(base, &found, pitch_px);
        if matte.is_some() {
            base.origin = Origin::Measured;
            base.how = format!("cloth alone, parted from both backings; {}", base.how);
        }
    }
    let cloth_color = mean(&clean, &view.cloth(view.intact.as_ref(), &found.opacity));
    let unit = |image: &Image<Unit>, origin, how: &str| Some(PatchMap::new(Map::Unit(image.clone()), origin, how));
    // The rim of a piece is its alpha; around an injured place nothing but a judgement ends the patch.
    let rim_measured = alpha.is_some() && isolated.subject == Subject::Piece;
    let cover_origin = if rim_measured { Origin::Measured } else { Origin::Derived };
    maps[Channel::Cover] = unit(&view.cover, cover_origin, &isolated.why);
    maps[Channel::Opacity] = unit(&found.opacity, found.origin, &found.how);
    maps[Channel::Translucency] = backlit.map(|backlit| backlit::translucency(backlit, &canvas));
    let map = flat.and_then(|flat| flat.warp(&canvas));
    let taken = flat.map_or(photo.color.size(), |flat| flat.photo);
    let mut lines = provenance(photo, taken, recipe, &isolated, &cloth);
    lines.extend(flat.map(Flat::provenance).unwrap_or_default());
    let patch = Patch {
        name: String::new(),
        maps,
        subject: isolated.subject,
        scale: texel,
        scale_source: scaled.source,
        scale_uncertainty: flat.map_or(scaled.uncertainty, |flat| Some(flat.uncertainty(&canvas))),
        grain: grain.map(|g| (g + turn).as_line()),
        ends_per_cm: scaled.ends_per_cm,
        picks_per_cm: scaled.picks_per_cm,
        weave: cloth.weave,
        height_range,
        cloth_color: Some(cloth_color),
        photo_from_patch: Some(map.map_or(canvas.photo_from_patch, |map| first_order(&map, canvas.side))),
        provenance: lines,
    };
    Ok(Cut { patch, why: isolated.why.clone(), open_share: found.share, openings: found.openings, photo_from_patch: map })
}

/// The map near the middle of a canvas.
fn first_order(map: &Homography, side: usize) -> [[f32; 3]; 2] {
    let middle = [0.5 * side as f64; 2];
    let (to, slope) = (map.at(middle), map.slope_at(middle));
    [0, 1].map(|c: usize| {
        let [a, b] = slope[c];
        [a, b, to[c] - a * middle[0] - b * middle[1]].map(|v| v as f32)
    })
}

/// The cloth measured and the subject found in it; only what is `seen` counts. What is kept is of the same photo and evidence.
fn subject(
    photo: &Photo,
    alpha: Option<&Image<Unit>>,
    seen: Option<&Image<bool>>,
    recipe: &CutRecipe,
    kept: &mut Kept,
    task: &Task,
) -> Result<(Measured, Arc<Isolated>), CutError> {
    let measure = || Ok::<_, CutError>(task.stage("measure", || measure_quietly(&photo.color, seen, recipe.grain, task)));
    let first = kept.measured.get(Seen::of(recipe), task, measure)?;
    let threads = hints(&first);
    let find = || {
        let unseen = seen.map(|seen| seen.map(|seen| !seen));
        let hints = ClothHints { unseen: unseen.as_ref(), ..threads };
        let isolated = task.stage("isolate", || match (alpha, seen) {
            (None, _) => isolate(&photo.color, recipe, &hints, task),
            (Some(alpha), None) => isolate_known(&photo.color, alpha, recipe, &hints, task),
            (Some(alpha), Some(seen)) => {
                let alpha = alpha.zip(seen, |a, s| if s { a } else { Unit(0.0) });
                isolate_known(&photo.color, &alpha, recipe, &hints, task)
            }
        })?;
        Ok::<_, CutError>(Arc::new(match seen {
            Some(seen) => isolated.within(seen)?,
            None => isolated,
        }))
    };
    let isolated = kept.isolated.get((told_of_subject(recipe), threads), task, find)?;
    if first.woven && first.confidence >= SURE {
        return Ok((first, isolated));
    }
    let again = || Ok::<_, CutError>(task.stage("measure", || again(photo, recipe.grain, &isolated, first, task)));
    let cloth = kept.cloth.get(told_of_cloth(recipe), task, again)?;
    Ok((cloth, isolated))
}

/// Thread spacing in texels when nobody measured it.
const ASSUMED_PITCH: f32 = 12.0;
/// Confidence from which a measurement of the whole photo is taken as it is.
const SURE: f32 = 0.6;

/// Measure; a cloth that cannot be measured is reported by what it lacks, not by failing the cut.
fn measure_quietly(color: &Image<LinearRgb>, mask: Option<&Image<bool>>, grain: Option<Angle>, task: &Task) -> Measured {
    measure(color, mask, &MeasureSettings { grain, ..MeasureSettings::default() }, &Task::new()).unwrap_or_else(|error| {
        task.note("not-measured", format!("The cloth could not be measured: {error}."));
        Measured::default()
    })
}

/// Measure the cloth alone, now that it is known where it lies; keep the surer of the two.
fn again(photo: &Photo, grain: Option<Angle>, isolated: &Isolated, first: Measured, task: &Task) -> Measured {
    // Both are clear of a rectangle that was laid on the cloth.
    let mask = match isolated.subject {
        Subject::Damage => isolated.intact.clone(),
        Subject::Piece => isolated.cover.map(|c| c.0 > 0.9),
    };
    let second = measure_quietly(&photo.color, Some(&mask), grain, task);
    if second.woven && (!first.woven || second.confidence > first.confidence) { second } else { first }
}

/// Its threads; what is not seen of it is not told here.
fn hints(cloth: &Measured) -> ClothHints<'static> {
    if cloth.woven {
        ClothHints { pitch_px: Some(cloth.pitch_px), thread_dirs: Some([cloth.grain, cloth.weft]), unseen: None }
    } else {
        ClothHints::default()
    }
}

/// The turn that stands the grain upright, the short way.
fn upright_turn(grain: Option<Angle>, task: &Task) -> Angle {
    let Some(grain) = grain else {
        task.note("no-grain", "The grain was not found, so the canvas was not turned: tell it with --grain-deg.");
        return Angle::ZERO;
    };
    Angle::degrees(90.0) - grain.as_line()
}

/// The photo and what was found in it, as the canvas shows them.
struct View {
    color: Image<LinearRgb>,
    cover: Image<Unit>,
    /// The cover without what is worn but woven still.
    torn: Image<Unit>,
    see_through: Option<Image<Unit>>,
    intact: Option<Image<bool>>,
    /// What is intact, and what is only worn.
    woven: Option<Image<bool>>,
    gap_strokes: Option<Image<bool>>,
    cloth_strokes: Option<Image<bool>>,
    /// Whether opacity tells a piece from its backing better than its matte did.
    parted: bool,
}

impl View {
    fn new(photo: &Photo, recipe: &CutRecipe, isolated: &Isolated, canvas: &Canvas) -> Self {
        let clamp = |image: Image<Unit>| image.map(|Unit(v)| Unit(v.clamp(0.0, 1.0)));
        let nothing = Some(Unit(0.0));
        let strokes = |kind: StrokeKind| {
            let any = recipe.strokes.iter().any(|stroke| stroke.kind == kind);
            any.then(|| canvas.show_mask(&crate::isolate::painted(&recipe.strokes, kind, photo.color.size())))
        };
        let cover = clamp(canvas.show(&isolated.cover, nothing));
        let worn = isolated.worn.as_ref().map(|worn| canvas.show_mask(worn));
        let intact = (isolated.subject == Subject::Damage).then(|| canvas.show_mask(&isolated.intact));
        let woven = match (&intact, &worn) {
            (Some(intact), Some(worn)) => Some(intact.zip(worn, |i, w| i || w)),
            _ => intact.clone(),
        };
        Self {
            torn: worn.map_or_else(|| cover.clone(), |worn| cover.zip(&worn, |c, w| if w { Unit(0.0) } else { c })),
            color: canvas.show(&photo.color, None).map(|c| LinearRgb(c.0.map(|v| v.max(0.0)))),
            cover,
            see_through: isolated.see_through.as_ref().map(|image| clamp(canvas.show(image, nothing))),
            intact,
            woven,
            gap_strokes: match (strokes(StrokeKind::Gap), &isolated.open) {
                (told, None) => told,
                (None, Some(open)) => Some(canvas.show_mask(open)),
                (Some(told), Some(open)) => Some(told.zip(&canvas.show_mask(open), |t, o| t || o)),
            },
            cloth_strokes: strokes(StrokeKind::Cloth),
            parted: false,
        }
    }

    /// Alpha of a piece by the backing beside it; `None` where that is not seen, or tells nothing, and of a damage.
    fn piece(&self, pitch_px: Option<[f32; 2]>) -> Option<Gaps> {
        let see_through = self.see_through.as_ref().filter(|_| self.intact.is_none())?;
        let alpha = self.cover.zip(see_through, |c, s| Unit(c.0 * (1.0 - s.0)));
        let input = GapInput {
            pitch_px,
            gap_strokes: self.gap_strokes.as_ref(),
            cloth_strokes: self.cloth_strokes.as_ref(),
            ..GapInput::new(&self.cover)
        };
        piece_gaps(&self.color, &alpha, &input)
    }

    /// Alpha of a piece as its cover, which grows where more of its fringe was found, and its opacity.
    fn covered(&mut self, alpha: Gaps) -> Gaps {
        self.cover = self.cover.zip(&alpha.opacity, |c, a| Unit(c.0.max(a.0)));
        let opacity = alpha.opacity.zip(&self.cover, |a, c| Unit(if c.0 > 0.0 { (a.0 / c.0).min(1.0) } else { 1.0 }));
        self.parted = true;
        Gaps { opacity, ..alpha }
    }

    /// Openings looked for in the one photo.
    fn gaps(&mut self, pitch_px: Option<[f32; 2]>, thread_dirs: Option<[Angle; 2]>, task: &Task) -> Result<Gaps, GapError> {
        if let Some(alpha) = self.piece(pitch_px) {
            return Ok(self.covered(alpha));
        }
        let input = GapInput {
            see_through: self.see_through.as_ref(),
            intact: self.woven.as_ref(),
            pitch_px,
            thread_dirs,
            gap_strokes: self.gap_strokes.as_ref(),
            cloth_strokes: self.cloth_strokes.as_ref(),
            ..GapInput::new(&self.torn)
        };
        gaps(&self.color, &input, task)
    }

    /// Base colour near openings becomes the threads' own.
    fn dye(&self, base: &mut PatchMap, found: &Gaps, pitch_px: Option<[f32; 2]>) {
        let Map::Color(color) = base.map_mut() else { return };
        let sight = Sight {
            photo: &self.color,
            opacity: &found.opacity,
            own: &found.own_color,
            scorched: found.scorched.as_ref(),
            intact: &self.cloth(self.woven.as_ref(), &found.opacity),
            backing: found.backing,
            pitch: pitch_px.map_or(ASSUMED_PITCH, |[a, b]| (a * b).sqrt()).max(1.0),
        };
        *color = thread_color(color, &sight);
    }

    /// Cloth around a damage, or what is wholly cloth of the piece itself.
    fn cloth(&self, around: Option<&Image<bool>>, opacity: &Image<Unit>) -> Image<bool> {
        around.cloned().unwrap_or_else(|| self.cover.zip(opacity, |c, o| c.0 * o.0 > 0.98))
    }
}

/// Mean colour of the texels of a mask; black of none.
fn mean(color: &Image<LinearRgb>, mask: &Image<bool>) -> LinearRgb {
    let mut sum = [0.0f64; 3];
    let mut count = 0u32;
    for (color, _) in color.texels().iter().zip(mask.texels()).filter(|(_, inside)| **inside) {
        for (total, value) in sum.iter_mut().zip(color.0) {
            *total += f64::from(value);
        }
        count += 1;
    }
    LinearRgb(sum.map(|total| (total / f64::from(count.max(1))) as f32))
}

/// Colours without the backing at soft edges and gaps, bled outwards so that no filter picks the backing up. A piece is
/// cleaned against its backing on the photo (the first colours; the second are those on the canvas), a damage, and a piece whose pores
/// were found, against what its openings show; the intact cloth around a damage is cloth too and stays.
fn cleaned(
    [photo, canvas_color]: [&Image<LinearRgb>; 2],
    view: &View,
    found: &Gaps,
    isolated: &Isolated,
    canvas: &Canvas,
    task: &Task,
) -> Result<Image<LinearRgb>, Cancelled> {
    match isolated.subject {
        Subject::Piece if view.parted => {
            clean_color(canvas_color, &view.cover.zip(&found.opacity, |c, o| Unit(c.0 * o.0)), None, task)
        }
        Subject::Damage => clean_color(canvas_color, &found.opacity, None, task),
        Subject::Piece => {
            let alpha = match &isolated.see_through {
                Some(seen) => isolated.cover.zip(seen, |c, s| Unit(c.0 * (1.0 - s.0))),
                None => isolated.cover.clone(),
            };
            let clean = clean_color(photo, &alpha, isolated.backing.as_ref(), task)?;
            Ok(canvas.show(&clean, None).map(|c| LinearRgb(c.0.map(|v| v.max(0.0)))))
        }
    }
}

/// Settings and source; `taken` is the size of the photo as it was taken.
fn provenance(photo: &Photo, taken: Size, recipe: &CutRecipe, isolated: &Isolated, cloth: &Measured) -> Vec<(String, String)> {
    let mut lines = vec![
        ("photo".to_owned(), photo.name.clone()),
        ("photo_blake3".to_owned(), photo.hash.clone()),
        ("photo_size".to_owned(), format!("{} x {}", taken.width, taken.height)),
        ("photo_bits".to_owned(), photo.bits.to_string()),
        ("photo_color".to_owned(), photo.color_source.clone()),
        ("subject".to_owned(), isolated.why.clone()),
        ("weave".to_owned(), format!("{} (confidence {:.2})", cloth.weave, cloth.confidence)),
        ("seed".to_owned(), recipe.seed.to_string()),
        ("made_by".to_owned(), concat!("tatter ", env!("CARGO_PKG_VERSION")).to_owned()),
    ];
    if let Some([x, y, r]) = recipe.around {
        lines.push(("around".to_owned(), format!("{x}, {y}, {r}")));
    }
    if !recipe.strokes.is_empty() {
        lines.push(("strokes".to_owned(), recipe.strokes.len().to_string()));
    }
    if let Some(from) = recipe.light_from {
        lines.push(("light_from_deg".to_owned(), format!("{:.1}", from.to_degrees())));
    }
    lines
}
