//! Threads of what is begun: the sample is made, a job is begun beside a mesh, a dialog is waited for.

use std::path::PathBuf;
use std::time::Duration;

use tatter::demo::demo;
use tatter::start::begin_beside;
use tatter_core::task::Task;

use super::dialog::{Chosen, Waiting, Wanted};
use crate::crew::{Done, Errands, Telling};
use crate::newest::Wake;
use crate::work::Trouble;

/// What is made.
#[derive(Clone, Debug)]
pub(super) enum Making {
    /// The sample job, in a folder.
    Sample(PathBuf),
    /// A job beside a mesh.
    Job(PathBuf),
}

/// What comes back.
pub(super) enum News {
    /// Stage and share.
    Progress(String, f32),
    /// A job lies there; or why none does.
    Made(Making, Result<PathBuf, Trouble>),
    /// A dialog was closed.
    Chosen(Wanted, Chosen),
}

/// The threads.
pub(super) struct Work {
    errands: Errands<News>,
    asking: bool,
}

impl Work {
    pub(super) fn new(wake: Wake) -> Self {
        Self { errands: Errands::new(wake), asking: false }
    }

    /// Make something; nothing happens while something is made.
    pub(super) fn make(&mut self, what: Making) -> std::io::Result<()> {
        let run = move |task: &Task| {
            let done = match &what {
                Making::Sample(folder) => demo(folder, task).map(|report| report.job).map_err(|error| Trouble::of(&error)),
                Making::Job(mesh) => begin_beside(mesh, task).map_err(|error| Trouble::of(&error)),
            };
            News::Made(what, done)
        };
        self.errands.send("make", |stage, share| News::Progress(stage.to_owned(), share), run)
    }

    /// Wait for a dialog; one at a time.
    pub(super) fn ask(&mut self, wanted: Wanted, open: impl FnOnce() -> Waiting) -> std::io::Result<()> {
        if self.asking {
            return Ok(());
        }
        let (mouth, waiting) = (self.errands.mouth().clone(), open());
        // Nobody waits for it at the end: the person may leave it open.
        std::thread::Builder::new().name("dialog".to_owned()).spawn(move || mouth.tell(News::Chosen(wanted, waiting())))?;
        self.asking = true;
        Ok(())
    }

    pub(super) fn stop(&self) {
        self.errands.stop();
    }

    pub(super) fn news(&mut self) -> Vec<News> {
        let all = self.errands.news();
        all.iter().for_each(|news| self.note(news));
        all
    }

    pub(super) fn wait(&mut self, patience: Duration) -> Option<News> {
        let news = self.errands.wait(patience)?;
        self.note(&news);
        Some(news)
    }

    fn note(&mut self, news: &News) {
        self.asking &= !matches!(news, News::Chosen(..));
    }

    pub(super) const fn is_resting(&self) -> bool {
        !self.is_making() && !self.asking
    }

    pub(super) const fn is_making(&self) -> bool {
        self.errands.is_busy()
    }
}

impl Telling for News {
    fn done(&self) -> Option<Done> {
        matches!(self, Self::Made(..)).then_some(Done::Errand)
    }
}
