//! One photo on the table: what is seen of it, what is told about it, and what would be cut.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use tatter::color::Known;
use tatter::cutting::{Cutting, Preview, Told};
use tatter::steps::Steps;
use tatter_core::angle::Angle;
use tatter_core::image::Size;
use tatter_core::model::{KnownSize, Scale, StrokeKind, SubjectChoice};
use tatter_core::units::Mm;
use tatter_proof::Picture;

use super::beside::with_shot;
use super::told::{far, with_grain, with_grey, with_light, with_loop, with_stroke, without, without_touched};
use super::work::OfPhoto;
use super::{Lens, OnPhoto, Part, Quad, Tool};
use crate::open::{Shown, folder_of};
use crate::say;
use crate::work::Trouble;

/// Radius of the circle about a place that was only touched, as a share of the photo's longer side.
const USUAL_LOOP: f32 = 0.12;
/// What grey cards are made to give back.
pub(crate) const GREY_CARD: f32 = 0.18;
/// What white paper gives back: the middle of what is usual.
pub(crate) const WHITE_PAPER: f32 = 0.87;

/// A photo.
pub struct Sheet {
    pub(crate) path: PathBuf,
    pub(crate) cutting: Option<Arc<Cutting>>,
    pub(crate) size: Size,
    /// As it is seen from near and from ever farther.
    pub(crate) levels: Vec<Shown>,
    pub(crate) thumb: Shown,
    pub(crate) lens: Lens,
    pub(crate) steps: Steps<Told>,
    /// What is kept of it for another day.
    pub(crate) kept: Option<Arc<Told>>,
    /// What is being drawn.
    pub(crate) pen: Option<Vec<[f32; 2]>>,
    /// A ruler line whose length nobody has told yet.
    pub(crate) ruler: Option<[[f32; 2]; 2]>,
    /// What is written as its length.
    pub(crate) length: String,
    /// What the rectangle that is marked next is.
    pub(crate) known_size: Option<KnownSize>,
    /// What is written as its sides, or as the scale.
    pub(crate) numbers: [String; 3],
    /// What the number of the scale says.
    pub(crate) scale_by: usize,
    /// Where the grain was drawn.
    pub(crate) grain: Option<(Angle, [[f32; 2]; 2])>,
    /// Where the light line was drawn.
    pub(crate) light: Option<(Angle, [[f32; 2]; 2])>,
    pub(crate) reflectance: f32,
    pub(crate) preview: Option<Arc<Preview>>,
    pub(crate) plain: Shown,
    pub(crate) lit: Shown,
    pub(crate) progress: Option<(String, f32)>,
    pub(crate) is_stopped: bool,
    /// Why it could not be read or cut.
    pub(crate) trouble: Option<Trouble>,
    /// What the patch is to be called.
    pub(crate) name: String,
    pub(crate) accepted: Option<Arc<Told>>,
    pub(crate) said: Option<String>,
    pub(crate) accept_trouble: Option<Trouble>,
    /// There is a patch of that name.
    pub(crate) taken: bool,
    /// Its chart is being looked for.
    pub(crate) is_seeking_chart: bool,
    /// Why none was found.
    pub(crate) chart_trouble: Option<Trouble>,
}

impl std::fmt::Debug for Sheet {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Sheet").field("path", &self.path).field("told", self.steps.now()).finish_non_exhaustive()
    }
}

impl Sheet {
    pub(crate) fn new(path: PathBuf) -> Self {
        let name = path.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
        let steps = Steps::new(Told::default());
        Self {
            kept: Some(Arc::clone(steps.now())),
            path,
            cutting: None,
            size: Size::default(),
            levels: Vec::new(),
            thumb: Shown::default(),
            lens: Lens::default(),
            steps,
            pen: None,
            ruler: None,
            length: String::new(),
            known_size: None,
            numbers: Default::default(),
            scale_by: 0,
            grain: None,
            light: None,
            reflectance: GREY_CARD,
            preview: None,
            plain: Shown::default(),
            lit: Shown::default(),
            progress: None,
            is_stopped: false,
            trouble: None,
            name,
            accepted: None,
            said: None,
            accept_trouble: None,
            taken: false,
            is_seeking_chart: false,
            chart_trouble: None,
        }
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What is told about it.
    pub fn told(&self) -> &Arc<Told> {
        self.steps.now()
    }

    /// What would be cut, as far as it is known of some state of what is told.
    pub fn preview(&self) -> Option<&Arc<Preview>> {
        self.preview.as_ref()
    }

    /// What was decoded of it, with the shots that are told beside it now.
    pub(crate) fn at_hand(&self) -> Option<&Arc<Cutting>> {
        self.cutting.as_ref().filter(|cutting| *cutting.shots() == self.told().shots)
    }

    /// What is wrong with it, as it is shown.
    pub fn trouble(&self) -> Option<&Trouble> {
        self.trouble.as_ref().or(self.accept_trouble.as_ref())
    }

    /// Whether the patch holds it as it is told now.
    pub fn is_accepted(&self) -> bool {
        self.accepted.as_ref().is_some_and(|told| **told == **self.steps.now())
    }

    /// The file's name.
    pub(crate) fn file_name(&self) -> String {
        self.path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
    }

    /// Its longer side, pixels.
    pub(crate) fn longest(&self) -> f32 {
        self.size.width.max(self.size.height) as f32
    }

    /// The patch that accepting writes: beside the job, or beside the photo.
    pub(crate) fn folder(&self, job: Option<&Path>) -> PathBuf {
        folder_of(job.unwrap_or(&self.path)).join(format!("{}.patch", self.name.trim()))
    }

    /// Another is looked at: what takes room is let go.
    pub(crate) fn lay_down(&mut self) {
        self.cutting = None;
        self.levels.clear();
        self.preview = None;
        self.plain = Shown::default();
        self.lit = Shown::default();
        self.progress = None;
        self.pen = None;
        self.steps.let_go();
    }

    /// What was told of it another day, as one step.
    pub(super) fn recall(&mut self, told: Told) {
        if let Scale::Ruler { length, .. } = told.recipe.scale {
            self.length = say::short(length.get());
        }
        if let Some(Known::Grey(pick)) = told.color.known {
            self.reflectance = pick.reflectance;
        }
        self.steps.make(say::STEP_RECALL, told);
        self.kept = Some(Arc::clone(self.steps.now()));
    }

    pub(super) fn tell(&mut self, label: &str, told: Told) {
        self.said = None;
        self.chart_trouble = None;
        self.steps.make(label, told);
    }

    pub(super) fn obey(&mut self, asked: OnPhoto, tool: Tool, brush: f32) {
        match asked {
            OnPhoto::Nearer(factor, at) => self.lens = self.lens.nearer(factor, at),
            OnPhoto::Shift(by) => self.lens = self.lens.shifted(by),
            OnPhoto::Whole => self.lens = Lens::default(),
            OnPhoto::Draw(points) => self.draw(tool, &points, brush * self.longest()),
            OnPhoto::Beside(shot, file) => {
                let told = with_shot(self.told(), shot, file);
                if told != **self.told() {
                    self.tell(say::step_shot(shot), told);
                }
            }
            OnPhoto::Corner(quad, number, place) => self.move_corner(quad, number, place),
            OnPhoto::KnownSize(size) => self.size_rectangle(size),
            OnPhoto::Scale(scale) => {
                let mut told = Told::clone(self.told());
                told.recipe.scale = scale;
                self.ruler = None;
                self.tell(if scale == Scale::FoundRuler { say::STEP_FIND_RULER } else { say::STEP_SCALE }, told);
            }
            OnPhoto::Length(mm) => self.measure(mm),
            OnPhoto::Reflectance(share) => {
                self.reflectance = share;
                if let Some(Known::Grey(pick)) = self.told().color.known {
                    self.tell(say::STEP_GREY, with_grey(self.told(), pick.at, share));
                }
            }
            OnPhoto::Subject(choice) => {
                let mut told = Told::clone(self.told());
                told.recipe.subject = choice;
                self.tell(say::step_subject(choice), told);
            }
            OnPhoto::Upright(upright) => {
                let mut told = Told::clone(self.told());
                told.recipe.upright = upright;
                self.tell(say::STEP_UPRIGHT, told);
            }
            OnPhoto::Unsay(part) => self.unsay(part),
            _ => {}
        }
    }

    fn draw(&mut self, tool: Tool, points: &[[f32; 2]], radius: f32) {
        self.pen = None;
        let (Some(first), Some(last)) = (points.first().copied(), points.last().copied()) else { return };
        let told = Arc::clone(self.told());
        match tool {
            Tool::Hand => {}
            Tool::Stroke(kind) => self.tell(say::step_stroke(kind), with_stroke(&told, kind, points, radius)),
            Tool::Rubber => {
                if let Some(rest) = without_touched(&told, points, radius) {
                    self.tell(say::STEP_RUB_OUT, rest);
                }
            }
            Tool::Loop => {
                if let Some(around) = with_loop(&told, points, USUAL_LOOP * self.longest()) {
                    self.tell(say::STEP_LOOP, around);
                }
            }
            Tool::Mark(quad) => self.mark(quad, first, last),
            Tool::Grey => self.tell(say::STEP_GREY, with_grey(&told, first, self.reflectance)),
            // A line without length says nothing.
            Tool::Ruler | Tool::Grain | Tool::Light if far(first, last) < 2.0 => {}
            Tool::Grain => {
                let told = with_grain(&told, [first, last]);
                self.grain = told.recipe.grain.map(|grain| (grain, [first, last]));
                self.tell(say::STEP_GRAIN, told);
            }
            Tool::Light => {
                let told = with_light(&told, [first, last]);
                self.light = told.recipe.light_from.map(|light| (light, [first, last]));
                self.tell(say::STEP_LIGHT, told);
            }
            Tool::Ruler => match told.recipe.scale {
                Scale::Ruler { length, .. } => self.rule([first, last], length),
                _ => self.ruler = Some([first, last]),
            },
        }
    }

    /// The ruler line, whether its length is known yet or not.
    pub(crate) fn ruler_line(&self) -> Option<[[f32; 2]; 2]> {
        match self.told().recipe.scale {
            Scale::Ruler { from, to, .. } => Some([from, to]),
            _ => self.ruler,
        }
    }

    fn measure(&mut self, mm: f32) {
        if let Some(ends) = self.ruler_line() {
            self.rule(ends, Mm(mm));
        }
    }

    fn rule(&mut self, [from, to]: [[f32; 2]; 2], length: Mm) {
        let mut told = Told::clone(self.told());
        told.recipe.scale = Scale::Ruler { from, to, length };
        self.ruler = None;
        if told != **self.told() {
            self.tell(say::STEP_RULER, told);
        }
    }

    fn unsay(&mut self, part: Part) {
        if part == Part::Ruler {
            self.ruler = None;
            self.known_size = None;
        }
        let told = without(self.told(), part);
        if told != **self.told() {
            self.tell(say::step_unsay(part), told);
        }
    }

    pub(super) fn hear(&mut self, news: OfPhoto) {
        match news {
            OfPhoto::Read(cutting, pictures) => {
                self.size = cutting.size();
                self.cutting = Some(cutting);
                self.see(pictures);
            }
            OfPhoto::Preview(preview) => {
                self.trouble = None;
                self.plain.take(preview.plain.clone(), None);
                self.lit.take(preview.lit.clone(), None);
                self.preview = Some(preview);
            }
            OfPhoto::Trouble(trouble) => {
                self.trouble = Some(trouble);
                self.preview = None;
            }
            OfPhoto::Stopped => self.is_stopped = true,
            OfPhoto::Progress(stage, share) => self.progress = Some((stage, share)),
        }
    }

    fn see(&mut self, pictures: Vec<Picture>) {
        if let Some(small) = pictures.last() {
            self.thumb.take(small.clone(), None);
        }
        let shown = |picture| {
            let mut shown = Shown::default();
            shown.take(picture, None);
            shown
        };
        self.levels = pictures.into_iter().map(shown).collect();
    }

    /// A chart that was found is told, as if its corners had been marked by hand.
    pub(super) fn note_chart(&mut self, found: Result<[[f32; 2]; 4], Trouble>) {
        self.is_seeking_chart = false;
        self.progress = None;
        match found {
            Ok(corners) => {
                let told = self.with_corners(Quad::Chart, corners);
                self.tell(say::STEP_FIND_CHART, told);
            }
            Err(trouble) => self.chart_trouble = Some(trouble),
        }
    }

    pub(super) fn note_accepted(&mut self, told: Arc<Told>, folder: &Path) {
        self.accepted = Some(told);
        self.accept_trouble = None;
        self.taken = false;
        self.said = Some(say::accepted(folder));
    }
}

/// Strokes by what they say, as many as there are.
pub(crate) fn counted(told: &Told) -> Vec<(StrokeKind, usize)> {
    let kinds = [StrokeKind::Damage, StrokeKind::Gap, StrokeKind::Cloth, StrokeKind::Backing];
    let count = |kind| told.recipe.strokes.iter().filter(|stroke| stroke.kind == kind).count();
    kinds.into_iter().map(|kind| (kind, count(kind))).filter(|(_, count)| *count > 0).collect()
}

/// The choices of a subject.
pub(crate) const SUBJECTS: [SubjectChoice; 3] = [
    SubjectChoice::Auto,
    SubjectChoice::Told(tatter_core::model::Subject::Damage),
    SubjectChoice::Told(tatter_core::model::Subject::Piece),
];
