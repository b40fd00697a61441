//! The thread that weaves what is said, coarse at once and then as it will be, and the one that writes a patch.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use tatter::cutting::Existing;
use tatter::library::{cards, cards_in};
use tatter::weave::{WeaveFailed, Weaving, WovenView, accept, look};
use tatter_core::model::Job;
use tatter_core::task::Task;

use crate::newest::{Mouth, Newest, Wake};
use crate::photo::Accepted;
use crate::threads;
use crate::work::Trouble;

/// What is wanted: a patch woven as said.
#[derive(Clone, Debug)]
pub(super) struct Look {
    pub(super) weaving: Arc<Weaving>,
    /// Longest side of a picture that the window can show, pixels.
    pub(super) side: usize,
}

/// What is to be written.
pub(super) struct Accept {
    pub(super) weaving: Arc<Weaving>,
    pub(super) folder: PathBuf,
    pub(super) existing: Existing,
    pub(super) job: Option<(PathBuf, Arc<Job>)>,
}

/// What comes back.
pub(super) enum News {
    /// What would be woven.
    Woven(Arc<Weaving>, Arc<WovenView>),
    /// It cannot be.
    Trouble(Arc<Weaving>, Trouble),
    /// Stage and share.
    Progress(String, f32),
    /// It was stopped by the person.
    Stopped,
    /// A request is done, and nothing newer was asked.
    Rested(u64),
    /// A patch was written; or why not, and whether because there is one of its name.
    Accepted(Arc<Weaving>, Result<Accepted, (Trouble, bool)>),
}

/// Side of the first look, texels: a twentieth of a second.
const FIRST_LOOK: usize = 256;
/// Longest picture of a map, texels.
const LARGEST: usize = 4096;

/// The threads of the loom.
pub(super) struct Work {
    post: Arc<Newest<Look>>,
    news: Receiver<News>,
    mouth: Mouth<News>,
    accepting: Option<Arc<Task>>,
    asked: u64,
    rested: u64,
}

impl Work {
    pub(super) fn start(wake: Wake) -> std::io::Result<Self> {
        let (send, news) = channel();
        let post = Arc::new(Newest::default());
        let mouth = Mouth::new(send, wake);
        let (shared, speaks) = (Arc::clone(&post), mouth.clone());
        threads::begin("loom", move || weave(&shared, &speaks))?;
        Ok(Self { post, news, mouth, accepting: None, asked: 0, rested: 0 })
    }

    pub(super) fn look(&mut self, look: Look) {
        self.asked = self.post.ask(look);
    }

    /// Write a patch; nothing happens while one is being written.
    pub(super) fn accept(&mut self, asked: Accept) -> std::io::Result<()> {
        if self.accepting.is_some() {
            return Ok(());
        }
        let mouth = self.mouth.clone();
        let task = Arc::new(progress_of(&mouth));
        let (watched, weaving) = (Arc::clone(&task), Arc::clone(&asked.weaving));
        let run = move || mouth.tell(News::Accepted(weaving, write(&asked, &watched)));
        threads::begin("accept", run)?;
        self.accepting = Some(task);
        Ok(())
    }

    pub(super) fn stop(&self) {
        self.post.stop();
        if let Some(task) = &self.accepting {
            task.cancel();
        }
    }

    pub(super) fn news(&mut self) -> Vec<News> {
        let all: Vec<News> = self.news.try_iter().collect();
        all.iter().for_each(|news| self.note(news));
        all
    }

    pub(super) fn wait(&mut self, patience: Duration) -> Option<News> {
        let news = self.news.recv_timeout(patience).ok()?;
        self.note(&news);
        Some(news)
    }

    fn note(&mut self, news: &News) {
        match news {
            News::Rested(number) => self.rested = *number,
            News::Accepted(..) => self.accepting = None,
            _ => {}
        }
    }

    pub(super) const fn is_resting(&self) -> bool {
        self.rested == self.asked && self.accepting.is_none()
    }

    pub(super) const fn is_accepting(&self) -> bool {
        self.accepting.is_some()
    }
}

impl Drop for Work {
    fn drop(&mut self) {
        self.stop();
        self.post.end();
    }
}

fn progress_of(mouth: &Mouth<News>) -> Task {
    mouth.task(|stage, share| News::Progress(stage.to_owned(), share))
}

fn write(asked: &Accept, task: &Task) -> Result<Accepted, (Trouble, bool)> {
    let Accept { weaving, folder, existing, job } = asked;
    let request = weaving.request(folder.clone()).map_err(|error| (Trouble::of(&error), false))?;
    accept(&request, *existing, task).map_err(|error| (Trouble::of(&error), matches!(error, WeaveFailed::Taken(_))))?;
    let cards = match job {
        Some((path, job)) => cards(path, job),
        None => cards_in(folder.parent().unwrap_or(Path::new(""))),
    };
    Ok(Accepted { folder: folder.clone(), cards })
}

fn weave(post: &Newest<Look>, mouth: &Mouth<News>) {
    while let Some((wanted, number, task)) = post.next(|_| progress_of(mouth)) {
        show(&wanted, &task, mouth);
        if !post.is_newer(number) {
            if task.check().is_err() {
                mouth.tell(News::Stopped);
            }
            mouth.tell(News::Rested(number));
        }
    }
}

/// Coarse first, then as it will be.
fn show(wanted: &Look, task: &Task, mouth: &Mouth<News>) {
    let weaving = &wanted.weaving;
    // What lies nowhere yet needs a name all the same.
    let request = match weaving.request(PathBuf::from("woven.patch")) {
        Ok(request) => request,
        Err(error) => return mouth.tell(News::Trouble(Arc::clone(weaving), Trouble::of(&error))),
    };
    let side = wanted.side.min(LARGEST);
    // Threads that so few texels do not show are seen in the whole: its trouble is not told.
    if weaving.side > FIRST_LOOK
        && let Ok(first) = look(&request, Some(FIRST_LOOK), side, task)
    {
        mouth.tell(News::Woven(Arc::clone(weaving), Arc::new(first)));
    }
    if task.check().is_err() {
        return;
    }
    match look(&request, None, side, task) {
        Ok(whole) => mouth.tell(News::Woven(Arc::clone(weaving), Arc::new(whole))),
        Err(error) if task.check().is_ok() => mouth.tell(News::Trouble(Arc::clone(weaving), Trouble::of(&error))),
        Err(_) => {}
    }
}
