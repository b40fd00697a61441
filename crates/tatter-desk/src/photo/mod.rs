//! Photos on the table, and what is told about each: [`Photos`] holds them, [`OnPhoto`] is what can be asked, the thread in `work` cuts.

mod beside;
mod lens;
mod sheet;
mod told;
pub(crate) mod work;

pub use beside::{Quad, Shot};
pub(crate) use beside::{around, corners};
pub(crate) use lens::{Laid, Lens};
pub use sheet::Sheet;
pub(crate) use sheet::{GREY_CARD, SUBJECTS, WHITE_PAPER, counted};
pub use told::{Part, Tool};

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tatter::cutting::{Existing, Told, keep_told, recall_told};
use tatter::demo::SamplePhoto;
use tatter::library::{cards, cards_in};
use tatter::steps::Steps;
use tatter_core::model::{Job, KnownSize, Scale, SubjectChoice};

use crate::crew::at_work;
use crate::newest::Wake;
use crate::say;
use crate::work::Trouble;
use work::{Accept, Look, News, Work, accept, find_chart, start};

/// One thing asked of the photos.
#[derive(Clone, Debug)]
pub enum OnPhoto {
    /// Look at another photo.
    Choose(usize),
    /// Put a photo away, with what was told about it.
    PutAway(usize),
    /// Take a tool in the hand.
    Take(Tool),
    /// Half the breadth of a stroke, as a share of the photo's longer side.
    Brush(f32),
    /// Come nearer by this factor, with this place of the photo (shares of its sides) staying where it is.
    Nearer(f32, [f32; 2]),
    /// Shift the photo, in shares of its sides as seen.
    Shift([f32; 2]),
    /// See all of it.
    Whole,
    /// What was drawn with the tool in the hand, photo pixels.
    Draw(Vec<[f32; 2]>),
    /// Another shot of the same cloth, or none.
    Beside(Shot, Option<PathBuf>),
    /// Find the colour chart in the photo.
    FindChart,
    /// A corner of something marked is elsewhere now, photo pixels; one step with all that follow until it is let go.
    Corner(Quad, usize, [f32; 2]),
    /// What the rectangle of known size is; one step with all that follow until it is let go.
    KnownSize(KnownSize),
    /// The scale as a number.
    Scale(Scale),
    /// The length of the ruler line, mm.
    Length(f32),
    /// The light that the grey place gives back, 0..1.
    Reflectance(f32),
    /// What the subject is.
    Subject(SubjectChoice),
    /// Whether the grain is to stand upright.
    Upright(bool),
    /// Take back one thing that was told.
    Unsay(Part),
    /// Keep what would be cut as a patch.
    Accept(Existing),
    /// Cut again what was stopped.
    Again,
    /// Stop.
    Stop,
}

/// Photos on the table.
pub struct Photos {
    pub(crate) sheets: Vec<Sheet>,
    pub(crate) at: usize,
    pub(crate) tool: Tool,
    /// Half the breadth of a stroke, as a share of a photo's longer side.
    pub(crate) brush: f32,
    work: Option<Work>,
    asked: Option<(PathBuf, Arc<Told>)>,
    wake: Wake,
}

impl std::fmt::Debug for Photos {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Photos")
            .field("sheets", &self.sheets)
            .field("at", &self.at)
            .field("tool", &self.tool)
            .finish_non_exhaustive()
    }
}

/// Breadth of a stroke at first: a good finger's on a photo of a hand's breadth.
const BRUSH: f32 = 0.012;
/// Thinnest and thickest.
pub(crate) const BRUSHES: std::ops::RangeInclusive<f32> = 0.001..=0.08;

impl Photos {
    pub(crate) const fn new(wake: Wake) -> Self {
        Self { sheets: Vec::new(), at: 0, tool: Tool::Hand, brush: BRUSH, work: None, asked: None, wake }
    }

    /// The photo that is looked at.
    pub fn sheet(&self) -> Option<&Sheet> {
        self.sheets.get(self.at)
    }

    pub(crate) fn sheet_mut(&mut self) -> Option<&mut Sheet> {
        self.sheets.get_mut(self.at)
    }

    fn named(&mut self, path: &Path) -> Option<&mut Sheet> {
        self.sheets.iter_mut().find(|sheet| sheet.path == path)
    }

    /// Lay photos on the table, with what was told of them another day at `job`; the first of them is looked at.
    pub(crate) fn lay(&mut self, paths: &[PathBuf], job: Option<&Path>) {
        for path in paths {
            if self.named(path).is_none() {
                let mut sheet = Sheet::new(path.clone());
                if let Some(told) = job.and_then(|job| recall_told(job, path)) {
                    sheet.recall(told);
                }
                self.sheets.push(sheet);
            }
        }
        if let Some(at) = paths.first().and_then(|first| self.sheets.iter().position(|sheet| sheet.path == *first)) {
            self.choose(at);
        }
    }

    /// Lay a photo of the sample on the table, told what the sample tells of it; its patch gets a name of its own, since the sample has one of it.
    pub(crate) fn lay_sample(&mut self, photo: &SamplePhoto) {
        self.lay(std::slice::from_ref(&photo.path), None);
        if let Some(sheet) = self.named(&photo.path) {
            sheet.steps = Steps::new(Told { recipe: photo.recipe.clone(), ..Told::default() });
            sheet.name = format!("my-{}", photo.name);
        }
    }

    /// Photos changed on disk: they are read anew. What was told of them stays.
    pub(crate) fn read_anew(&mut self, changed: &[PathBuf]) {
        for sheet in self.sheets.iter_mut().filter(|sheet| sheet.files().iter().any(|file| changed.contains(file))) {
            sheet.lay_down();
            sheet.trouble = None;
            sheet.accepted = None;
        }
        // The thread that has the old one decoded ends.
        self.work = None;
        self.asked = None;
    }

    fn choose(&mut self, at: usize) {
        if at == self.at || at >= self.sheets.len() {
            return;
        }
        if let Some(left) = self.sheet_mut() {
            left.lay_down();
        }
        self.at = at;
    }

    /// Keep what was told of the photo that is looked at for another day, once nothing is being drawn.
    pub(crate) fn keep(&mut self, job: &Path) -> Result<(), Trouble> {
        let Some(sheet) = self.sheet_mut().filter(|sheet| !sheet.steps.is_in_gesture()) else { return Ok(()) };
        let told = Arc::clone(sheet.steps.now());
        if sheet.kept.as_ref().is_some_and(|kept| Arc::ptr_eq(kept, &told)) {
            return Ok(());
        }
        let kept = keep_told(job, &sheet.path, &told);
        sheet.kept = Some(told);
        kept.map_err(|error| Trouble::of(&error))
    }

    /// Do what was asked. Patches are written into `folder`; when it is none, beside the photo.
    pub(crate) fn obey(&mut self, asked: OnPhoto, job: Option<&(PathBuf, Arc<Job>)>) {
        match asked {
            OnPhoto::Choose(at) => return self.choose(at),
            OnPhoto::PutAway(at) => return self.put_away(at),
            OnPhoto::Take(tool) => {
                self.tool = tool;
                if let Some(sheet) = self.sheet_mut() {
                    sheet.pen = None;
                }
            }
            OnPhoto::Brush(share) => self.brush = share.clamp(*BRUSHES.start(), *BRUSHES.end()),
            OnPhoto::Accept(existing) => return self.accept(existing, job),
            OnPhoto::FindChart => return self.find_chart(),
            OnPhoto::Again => self.asked = None,
            OnPhoto::Stop => {
                if let Some(work) = &self.work {
                    work.stop();
                }
            }
            _ => {}
        }
        let (tool, brush) = (self.tool, self.brush);
        if let Some(sheet) = self.sheet_mut() {
            sheet.obey(asked, tool, brush);
        }
    }

    fn put_away(&mut self, at: usize) {
        if at >= self.sheets.len() {
            return;
        }
        self.sheets.remove(at);
        if self.at > at || self.at == self.sheets.len() {
            self.at = self.at.saturating_sub(1);
        }
        self.asked = None;
        if self.sheets.is_empty() {
            // The thread ends, and what it decoded is let go.
            self.work = None;
        }
    }

    fn accept(&mut self, existing: Existing, job: Option<&(PathBuf, Arc<Job>)>) {
        let Self { work: Some(work), sheets, at, .. } = self else { return };
        let Some(sheet) = sheets.get_mut(*at) else { return };
        let Some(cutting) = sheet.at_hand().cloned().filter(|_| !work.is_busy()) else { return };
        let folder = sheet.folder(job.map(|(path, _)| path.as_path()));
        let told = Arc::clone(sheet.steps.now());
        let ready = sheet.preview.clone();
        sheet.said = None;
        sheet.taken = false;
        if let Err(error) = accept(work, Accept { cutting, told, ready, folder, existing, job: job.cloned() }) {
            sheet.trouble = Some(Trouble::no_thread(&error));
        }
    }

    fn find_chart(&mut self) {
        let Self { work: Some(work), sheets, at, .. } = self else { return };
        let Some(sheet) = sheets.get_mut(*at) else { return };
        let Some(cutting) = sheet.at_hand().cloned() else { return };
        sheet.chart_trouble = work.is_busy().then(say::still_writing);
        if sheet.chart_trouble.is_some() {
            return;
        }
        match find_chart(work, cutting, sheet.told().color.clone()) {
            Ok(()) => sheet.is_seeking_chart = true,
            Err(error) => sheet.chart_trouble = Some(Trouble::no_thread(&error)),
        }
    }

    /// Ask for what would be cut of the photo that is looked at, if it or what is told about it is another than what was asked last. Nothing
    /// is asked while something is being drawn. No picture of it may be longer than `side`.
    pub(crate) fn look(&mut self, side: usize) {
        let Some(sheet) = self.sheets.get(self.at).filter(|sheet| !sheet.steps.is_in_gesture() && sheet.pen.is_none()) else {
            return;
        };
        let told = sheet.steps.now();
        if self.asked.as_ref().is_some_and(|(path, known)| *path == sheet.path && Arc::ptr_eq(known, told)) {
            return;
        }
        let look = Look { path: sheet.path.clone(), told: Arc::clone(told), side };
        match at_work(&mut self.work, || start(Arc::clone(&self.wake))) {
            Ok(work) => {
                self.asked = Some((look.path.clone(), Arc::clone(&look.told)));
                work.ask(look);
            }
            Err(error) => return self.fail(&Trouble::no_thread(&error)),
        }
        if let Some(sheet) = self.sheet_mut() {
            sheet.is_stopped = false;
        }
    }

    fn fail(&mut self, trouble: &Trouble) {
        if let Some(sheet) = self.sheet_mut() {
            sheet.trouble = Some(trouble.clone());
        }
    }

    /// Take in what the threads have said since. Gives the patches at hand when there is a new one.
    pub(crate) fn hear(&mut self) -> Vec<Accepted> {
        let news = self.work.as_mut().map(Work::news).unwrap_or_default();
        news.into_iter().filter_map(|news| self.hear_one(news)).collect()
    }

    fn hear_one(&mut self, news: News) -> Option<Accepted> {
        match news {
            News::Rested(_) => {
                if let Some(sheet) = self.sheet_mut() {
                    sheet.progress = None;
                }
                None
            }
            News::Accepted { path, told, done } => {
                let sheet = self.named(&path)?;
                sheet.progress = None;
                match done {
                    Ok(accepted) => {
                        sheet.note_accepted(told, &accepted.folder);
                        return Some(accepted);
                    }
                    Err((trouble, taken)) => {
                        sheet.taken = taken;
                        sheet.accept_trouble = Some(trouble);
                    }
                }
                None
            }
            News::Chart { path, found } => {
                if let Some(sheet) = self.named(&path) {
                    sheet.note_chart(found);
                }
                None
            }
            News::OfPhoto(path, news) => {
                if let Some(sheet) = self.named(&path) {
                    sheet.hear(news);
                }
                None
            }
        }
    }

    /// What a photo on the table says of another one that lies there, if it was named beside it.
    pub(crate) fn serves(&self, at: usize) -> Option<(Shot, String)> {
        let path = &self.sheets.get(at)?.path;
        self.sheets.iter().filter(|other| other.path != *path).find_map(|other| {
            let shot = Shot::ALL.into_iter().find(|shot| shot.of(other.told()) == Some(path))?;
            Some((shot, other.file_name()))
        })
    }

    /// Whether every photo is kept as a patch, or is one of the shots of one that is.
    pub(crate) fn are_done(&self) -> bool {
        self.sheets.iter().enumerate().all(|(at, sheet)| sheet.is_accepted() || self.serves(at).is_some())
    }

    /// Whether all that was asked is done.
    pub(crate) fn is_resting(&self) -> bool {
        self.work.as_ref().is_none_or(Work::is_resting)
    }

    /// Whether a patch is being written.
    pub(crate) fn is_accepting(&self) -> bool {
        self.is_busy() && self.sheets.iter().all(|sheet| !sheet.is_seeking_chart)
    }

    /// Whether a patch is being written, or a chart sought: one at a time.
    pub(crate) fn is_busy(&self) -> bool {
        self.work.as_ref().is_some_and(Work::is_busy)
    }

    /// Wait for what the threads say next; `None` when they say nothing for `patience`.
    pub(crate) fn wait(&mut self, patience: Duration) -> Option<Vec<Accepted>> {
        let news = self.work.as_mut()?.wait(patience)?;
        Some(self.hear_one(news).into_iter().collect())
    }
}

/// A patch that was written.
#[derive(Debug)]
pub(crate) struct Accepted {
    /// Where.
    pub(crate) folder: PathBuf,
    /// The patches at hand now.
    pub(crate) cards: Vec<tatter::library::Card>,
}

impl Accepted {
    /// With the patches of a job, or those that lie beside it.
    pub(crate) fn of(folder: PathBuf, job: Option<&(PathBuf, Arc<Job>)>) -> Self {
        let cards = match job {
            Some((path, job)) => cards(path, job),
            None => cards_in(folder.parent().unwrap_or(Path::new(""))),
        };
        Self { folder, cards }
    }
}
