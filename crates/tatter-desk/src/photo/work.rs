//! The thread that cuts the photo on the table, and the one that writes a patch.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use tatter::color::ColorRequest;
use tatter::cutting::{AcceptFailed, Cutting, Existing, Preview, Told};
use tatter_core::explain::Explain;
use tatter_core::model::Job;
use tatter_core::task::Task;
use tatter_proof::Picture;

use super::Accepted;
use crate::crew::{Crew, Done, Telling};
use crate::newest::{Mouth, Newest, Wake};
use crate::work::Trouble;

/// What is wanted: a photo cut as told.
#[derive(Clone, Debug)]
pub(crate) struct Look {
    pub(crate) path: PathBuf,
    pub(crate) told: Arc<Told>,
    /// Longest side of a picture that the window can show, pixels.
    pub(crate) side: usize,
}

/// What is to be written.
pub(crate) struct Accept {
    pub(crate) cutting: Arc<Cutting>,
    pub(crate) told: Arc<Told>,
    pub(crate) ready: Option<Arc<Preview>>,
    pub(crate) folder: PathBuf,
    pub(crate) existing: Existing,
    pub(crate) job: Option<(PathBuf, Arc<Job>)>,
}

/// What comes back.
#[derive(Debug)]
pub(crate) enum News {
    /// Of one photo.
    OfPhoto(PathBuf, OfPhoto),
    /// A request is done, and nothing newer was asked.
    Rested(u64),
    /// A patch was written; or why not, and whether because there is one of its name.
    Accepted { path: PathBuf, told: Arc<Told>, done: Result<Accepted, (Trouble, bool)> },
    /// A chart was found, by its corners; or why none was.
    Chart { path: PathBuf, found: Result<[[f32; 2]; 4], Trouble> },
}

/// News of one photo.
#[derive(Debug)]
pub(crate) enum OfPhoto {
    /// It is decoded; as it is seen from afar and from near, each half as large as the one before.
    Read(Arc<Cutting>, Vec<Picture>),
    /// What would be cut.
    Preview(Arc<Preview>),
    /// It could not be read or cut as told.
    Trouble(Trouble),
    /// It was stopped by the person.
    Stopped,
    /// Stage and share.
    Progress(String, f32),
}

/// Longer side of the photo that is cut for the first look, pixels: at 700 finding the subject takes as long as in the whole photo, half as long
/// at 512, and of much less, threads can't be counted (a photo of 1024 pixels on two cores).
const FIRST_LOOK: usize = 512;
/// Longest picture of a photo, pixels; what is smaller than its pixels is not seen.
const LARGEST: usize = 4096;
/// A picture that is no longer is not halved again.
const SMALLEST: usize = 600;

/// The threads of the photos; what is written is their errand.
pub(crate) type Work = Crew<Look, News>;

pub(crate) fn start(wake: Wake) -> std::io::Result<Work> {
    Crew::begin("cut", wake, cut)
}

/// Write a patch; nothing happens while one is being written.
pub(crate) fn accept(work: &mut Work, accept: Accept) -> std::io::Result<()> {
    let path = accept.cutting.path().to_owned();
    work.errands().send("accept", progress_of(&path), move |task| {
        let done = write(&accept, task).map_err(|error| (Trouble::of(&error), matches!(error, AcceptFailed::Taken(_))));
        News::Accepted { path, told: accept.told, done }
    })
}

/// Find the colour chart; nothing happens while a patch is being written.
pub(crate) fn find_chart(work: &mut Work, cutting: Arc<Cutting>, color: ColorRequest) -> std::io::Result<()> {
    let path = cutting.path().to_owned();
    work.errands().send("chart", progress_of(&path), move |task| {
        let found = cutting.find_chart(&color, task).map_err(|error| Trouble::of(&error));
        News::Chart { path, found }
    })
}

impl Telling for News {
    fn done(&self) -> Option<Done> {
        match self {
            Self::Rested(number) => Some(Done::Request(*number)),
            Self::Accepted { .. } | Self::Chart { .. } => Some(Done::Errand),
            Self::OfPhoto(..) => None,
        }
    }
}

fn progress_of(path: &Path) -> impl Fn(&str, f32) -> News + Send + Sync + use<> {
    let path = path.to_owned();
    move |stage, share| News::OfPhoto(path.clone(), OfPhoto::Progress(stage.to_owned(), share))
}

fn write(accept: &Accept, task: &Task) -> Result<Accepted, AcceptFailed> {
    let Accept { cutting, told, ready, folder, existing, job } = accept;
    let report = cutting.accept(told, ready.as_deref(), folder, *existing, task)?;
    Ok(Accepted::of(report.folder, job.as_ref()))
}

/// The thread that has one photo at hand, and cuts it as it is told.
fn cut(post: &Newest<Look>, mouth: &Mouth<News>) {
    let mut at_hand: Option<Arc<Cutting>> = None;
    while let Some((look, number, task)) = post.next(|look| mouth.task(progress_of(&look.path))) {
        let tell = |news| mouth.tell(News::OfPhoto(look.path.clone(), news));
        let is_same = |cutting: &Arc<Cutting>| cutting.path() == look.path && *cutting.shots() == look.told.shots;
        match at_hand.take().filter(is_same).map_or_else(|| read(&look, &task, &tell), Ok) {
            Ok(cutting) => {
                show(&cutting, &look, &task, &tell);
                at_hand = Some(cutting);
            }
            Err(trouble) if task.check().is_ok() => tell(OfPhoto::Trouble(trouble)),
            Err(_) => {}
        }
        if !post.is_newer(number) {
            if task.check().is_err() {
                tell(OfPhoto::Stopped);
            }
            mouth.tell(News::Rested(number));
        }
    }
}

fn read(look: &Look, task: &Task, tell: &dyn Fn(OfPhoto)) -> Result<Arc<Cutting>, Trouble> {
    let cutting = Arc::new(Cutting::read(&look.path, &look.told.shots, task).map_err(|error| Trouble::of(&error))?);
    let longest = look.side.min(LARGEST);
    tell(OfPhoto::Read(Arc::clone(&cutting), cutting.pictures(longest, SMALLEST)));
    Ok(cutting)
}

/// Coarse first, then as it will be.
fn show(cutting: &Cutting, look: &Look, task: &Task, tell: &dyn Fn(OfPhoto)) {
    let size = cutting.size();
    // What a small photo does not show may be found in the whole one: its trouble is not told.
    if cutting.can_shrink()
        && size.width.max(size.height) > FIRST_LOOK
        && let Ok(first) = cutting.preview(&look.told, Some(FIRST_LOOK), task)
    {
        tell(OfPhoto::Preview(Arc::new(first)));
    }
    if task.check().is_err() {
        return;
    }
    match cutting.preview(&look.told, None, task) {
        Ok(preview) => tell(OfPhoto::Preview(Arc::new(preview))),
        Err(error) if task.check().is_ok() => tell(OfPhoto::Trouble(Trouble::of(&error as &dyn Explain))),
        Err(_) => {}
    }
}
