//! The thread that cuts the photo on the table, and the one that writes a patch.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use tatter::cutting::{AcceptFailed, Cutting, Existing, Preview, Told};
use tatter::library::{cards, cards_in};
use tatter_core::explain::Explain;
use tatter_core::model::Job;
use tatter_core::task::Task;
use tatter_proof::Picture;

use super::Accepted;
use crate::newest::{Mouth, Newest, Wake};
use crate::threads;
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

/// The threads of the photos.
pub(crate) struct Work {
    post: Arc<Newest<Look>>,
    news: Receiver<News>,
    mouth: Mouth<News>,
    accepting: Option<Arc<Task>>,
    asked: u64,
    rested: u64,
}

impl Work {
    pub(crate) fn start(wake: Wake) -> std::io::Result<Self> {
        let (send, news) = channel();
        let post = Arc::new(Newest::default());
        let mouth = Mouth::new(send, wake);
        let (shared, speaks) = (Arc::clone(&post), mouth.clone());
        threads::begin("cut", move || cut(&shared, &speaks))?;
        Ok(Self { post, news, mouth, accepting: None, asked: 0, rested: 0 })
    }

    pub(crate) fn look(&mut self, look: Look) {
        self.asked = self.post.ask(look);
    }

    pub(crate) fn news(&mut self) -> Vec<News> {
        let all: Vec<News> = self.news.try_iter().collect();
        all.iter().for_each(|news| self.note(news));
        all
    }

    pub(crate) fn wait(&mut self, patience: Duration) -> Option<News> {
        let news = self.news.recv_timeout(patience).ok()?;
        self.note(&news);
        Some(news)
    }

    fn note(&mut self, news: &News) {
        match news {
            News::Rested(number) => self.rested = *number,
            News::Accepted { .. } => self.accepting = None,
            News::OfPhoto(..) => {}
        }
    }

    pub(crate) const fn is_resting(&self) -> bool {
        self.rested == self.asked && self.accepting.is_none()
    }

    pub(crate) const fn is_accepting(&self) -> bool {
        self.accepting.is_some()
    }

    /// Write a patch; nothing happens while one is being written.
    pub(crate) fn accept(&mut self, accept: Accept) -> std::io::Result<()> {
        if self.accepting.is_some() {
            return Ok(());
        }
        let mouth = self.mouth.clone();
        let path = accept.cutting.path().to_owned();
        let task = Arc::new(progress_of(&mouth, &path));
        let (watched, told) = (Arc::clone(&task), Arc::clone(&accept.told));
        let run = move || {
            let done = write(&accept, &watched).map_err(|error| (Trouble::of(&error), matches!(error, AcceptFailed::Taken(_))));
            mouth.tell(News::Accepted { path, told, done });
        };
        threads::begin("accept", run)?;
        self.accepting = Some(task);
        Ok(())
    }

    pub(crate) fn stop(&self) {
        self.post.stop();
        if let Some(task) = &self.accepting {
            task.cancel();
        }
    }
}

impl Drop for Work {
    fn drop(&mut self) {
        self.stop();
        self.post.end();
    }
}

fn progress_of(mouth: &Mouth<News>, path: &Path) -> Task {
    let path = path.to_owned();
    mouth.task(move |stage, share| News::OfPhoto(path.clone(), OfPhoto::Progress(stage.to_owned(), share)))
}

fn write(accept: &Accept, task: &Task) -> Result<Accepted, AcceptFailed> {
    let Accept { cutting, told, ready, folder, existing, job } = accept;
    let report = cutting.accept(told, ready.as_deref(), folder, *existing, task)?;
    let cards = match job {
        Some((path, job)) => cards(path, job),
        None => cards_in(folder.parent().unwrap_or(Path::new(""))),
    };
    Ok(Accepted { folder: report.folder, cards })
}

/// The thread that has one photo at hand, and cuts it as it is told.
fn cut(post: &Newest<Look>, mouth: &Mouth<News>) {
    let mut at_hand: Option<Arc<Cutting>> = None;
    while let Some((look, number, task)) = post.next(|look| progress_of(mouth, &look.path)) {
        let tell = |news| mouth.tell(News::OfPhoto(look.path.clone(), news));
        let known = at_hand.take().filter(|cutting| cutting.path() == look.path);
        match known.map_or_else(|| read(&look, &tell), Ok) {
            Ok(cutting) => {
                show(&cutting, &look, &task, &tell);
                at_hand = Some(cutting);
            }
            Err(trouble) => tell(OfPhoto::Trouble(trouble)),
        }
        if !post.is_newer(number) {
            if task.check().is_err() {
                tell(OfPhoto::Stopped);
            }
            mouth.tell(News::Rested(number));
        }
    }
}

fn read(look: &Look, tell: &dyn Fn(OfPhoto)) -> Result<Arc<Cutting>, Trouble> {
    let cutting = Arc::new(Cutting::read(&look.path).map_err(|error| Trouble::of(&error))?);
    let longest = look.side.min(LARGEST);
    tell(OfPhoto::Read(Arc::clone(&cutting), cutting.pictures(longest, SMALLEST)));
    Ok(cutting)
}

/// Coarse first, then as it will be.
fn show(cutting: &Cutting, look: &Look, task: &Task, tell: &dyn Fn(OfPhoto)) {
    let size = cutting.size();
    // What a small photo does not show may be found in the whole one: its trouble is not told.
    if size.width.max(size.height) > FIRST_LOOK
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
