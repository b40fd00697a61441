//! Threads of what is begun: the sample is made, a job is begun beside a mesh, a dialog is waited for.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use tatter::demo::demo;
use tatter::start::begin_beside;
use tatter_core::task::Task;

use super::dialog::{Chosen, Waiting, Wanted};
use crate::newest::{Mouth, Wake};
use crate::threads;
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
    news: Receiver<News>,
    mouth: Mouth<News>,
    making: Option<Arc<Task>>,
    asking: bool,
}

impl Work {
    pub(super) fn new(wake: Wake) -> Self {
        let (send, news) = channel();
        Self { news, mouth: Mouth::new(send, wake), making: None, asking: false }
    }

    /// Make something; nothing happens while something is made.
    pub(super) fn make(&mut self, what: Making) -> std::io::Result<()> {
        if self.making.is_some() {
            return Ok(());
        }
        let mouth = self.mouth.clone();
        let task = Arc::new(mouth.task(|stage, share| News::Progress(stage.to_owned(), share)));
        let watched = Arc::clone(&task);
        let run = move || {
            let done = match &what {
                Making::Sample(folder) => demo(folder, &watched).map(|report| report.job).map_err(|error| Trouble::of(&error)),
                Making::Job(mesh) => begin_beside(mesh, &watched).map_err(|error| Trouble::of(&error)),
            };
            mouth.tell(News::Made(what, done));
        };
        threads::begin("make", run)?;
        self.making = Some(task);
        Ok(())
    }

    /// Wait for a dialog; one at a time.
    pub(super) fn ask(&mut self, wanted: Wanted, open: impl FnOnce() -> Waiting) -> std::io::Result<()> {
        if self.asking {
            return Ok(());
        }
        let (mouth, waiting) = (self.mouth.clone(), open());
        std::thread::Builder::new().name("dialog".to_owned()).spawn(move || mouth.tell(News::Chosen(wanted, waiting())))?;
        self.asking = true;
        Ok(())
    }

    pub(super) fn stop(&self) {
        if let Some(task) = &self.making {
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
            News::Made(..) => self.making = None,
            News::Chosen(..) => self.asking = false,
            News::Progress(..) => {}
        }
    }

    pub(super) const fn is_resting(&self) -> bool {
        self.making.is_none() && !self.asking
    }

    pub(super) const fn is_making(&self) -> bool {
        self.making.is_some()
    }
}

impl Drop for Work {
    fn drop(&mut self) {
        self.stop();
    }
}
