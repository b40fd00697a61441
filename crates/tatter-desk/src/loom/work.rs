//! The thread that weaves what is said, coarse at once and then as it will be, and the one that writes a patch.

use std::path::PathBuf;
use std::sync::Arc;

use tatter::cutting::Existing;
use tatter::weave::{WeaveFailed, Weaving, WovenView, look};
use tatter_core::model::Job;
use tatter_core::task::Task;

use crate::crew::{Crew, Done, Telling};
use crate::newest::{Mouth, Newest, Wake};
use crate::photo::Accepted;
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

/// The threads of the loom; what is written is their errand.
pub(super) type Work = Crew<Look, News>;

pub(super) fn start(wake: Wake) -> std::io::Result<Work> {
    Crew::begin("loom", wake, weave)
}

/// Write a patch; nothing happens while one is being written.
pub(super) fn accept(work: &mut Work, asked: Accept) -> std::io::Result<()> {
    work.errands().send("accept", progress, move |task| News::Accepted(Arc::clone(&asked.weaving), write(&asked, task)))
}

impl Telling for News {
    fn done(&self) -> Option<Done> {
        match self {
            Self::Rested(number) => Some(Done::Request(*number)),
            Self::Accepted(..) => Some(Done::Errand),
            _ => None,
        }
    }
}

fn progress(stage: &str, share: f32) -> News {
    News::Progress(stage.to_owned(), share)
}

fn write(asked: &Accept, task: &Task) -> Result<Accepted, (Trouble, bool)> {
    let Accept { weaving, folder, existing, job } = asked;
    let request = weaving.request(folder.clone()).map_err(|error| (Trouble::of(&error), false))?;
    tatter::weave::accept(&request, *existing, task)
        .map_err(|error| (Trouble::of(&error), matches!(error, WeaveFailed::Taken(_))))?;
    Ok(Accepted::of(folder.clone(), job.as_ref()))
}

fn weave(post: &Newest<Look>, mouth: &Mouth<News>) {
    while let Some((wanted, number, task)) = post.next(|_| mouth.task(progress)) {
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
