//! Threads that work for the window: one for the newest of its requests, and one at a time for what is done once.

use std::io;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use tatter_core::task::Task;

use crate::newest::{Mouth, Newest, Wake};
use crate::threads;

/// What is done with some news.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Done {
    /// All requests up to this number: nothing newer was asked.
    Request(u64),
    /// The errand.
    Errand,
}

/// What threads say.
pub(crate) trait Telling: Send + 'static {
    /// What is done with it, if something is.
    fn done(&self) -> Option<Done>;
}

/// One thing at a time that is done once, on a thread of its own.
pub(crate) struct Errands<N> {
    news: Receiver<N>,
    mouth: Mouth<N>,
    under_way: Option<Arc<Task>>,
}

impl<N: Telling> Errands<N> {
    pub(crate) fn new(wake: Wake) -> Self {
        let (send, news) = channel();
        Self { news, mouth: Mouth::new(send, wake), under_way: None }
    }

    pub(crate) const fn mouth(&self) -> &Mouth<N> {
        &self.mouth
    }

    /// Send for something, on a thread of that name, whose task `progress` tells of; nothing happens while something is under way.
    pub(crate) fn send(
        &mut self,
        name: &str,
        progress: impl Fn(&str, f32) -> N + Send + Sync + 'static,
        run: impl FnOnce(&Task) -> N + Send + 'static,
    ) -> io::Result<()> {
        if self.under_way.is_some() {
            return Ok(());
        }
        let task = Arc::new(self.mouth.task(progress));
        let (mouth, watched) = (self.mouth.clone(), Arc::clone(&task));
        threads::begin(name, move || mouth.tell(run(&watched)))?;
        self.under_way = Some(task);
        Ok(())
    }

    /// Ask what is under way to stop.
    pub(crate) fn stop(&self) {
        if let Some(task) = &self.under_way {
            task.cancel();
        }
    }

    pub(crate) const fn is_busy(&self) -> bool {
        self.under_way.is_some()
    }

    /// What came since.
    pub(crate) fn news(&mut self) -> Vec<N> {
        let all: Vec<N> = self.news.try_iter().collect();
        all.iter().for_each(|news| self.note(news));
        all
    }

    /// What comes next, when it comes within `patience`: for tests, which have nothing else to do.
    pub(crate) fn wait(&mut self, patience: Duration) -> Option<N> {
        let news = self.news.recv_timeout(patience).ok()?;
        self.note(&news);
        Some(news)
    }

    fn note(&mut self, news: &N) {
        if news.done() == Some(Done::Errand) {
            self.under_way = None;
        }
    }
}

impl<N> Drop for Errands<N> {
    fn drop(&mut self) {
        if let Some(task) = &self.under_way {
            task.cancel();
        }
    }
}

/// A thread for requests of which the newest counts, and errands beside it.
pub(crate) struct Crew<L, N> {
    post: Arc<Newest<L>>,
    errands: Errands<N>,
    asked: u64,
    rested: u64,
}

impl<L: Send + 'static, N: Telling> Crew<L, N> {
    /// Begin the thread, of that name.
    pub(crate) fn begin(name: &str, wake: Wake, run: impl FnOnce(&Newest<L>, &Mouth<N>) + Send + 'static) -> io::Result<Self> {
        let errands = Errands::new(wake);
        let post = Arc::new(Newest::default());
        let (shared, mouth) = (Arc::clone(&post), errands.mouth().clone());
        threads::begin(name, move || run(&shared, &mouth))?;
        Ok(Self { post, errands, asked: 0, rested: 0 })
    }

    /// Ask for something; what was asked before is dropped.
    pub(crate) fn ask(&mut self, request: L) {
        self.asked = self.post.ask(request);
    }

    /// What is done once, beside the requests.
    pub(crate) const fn errands(&mut self) -> &mut Errands<N> {
        &mut self.errands
    }

    /// Stop what was asked, and the errand.
    pub(crate) fn stop(&self) {
        self.post.stop();
        self.errands.stop();
    }

    /// Whether an errand is under way.
    pub(crate) const fn is_busy(&self) -> bool {
        self.errands.is_busy()
    }

    /// Whether all that was asked is done.
    pub(crate) const fn is_resting(&self) -> bool {
        self.rested == self.asked && !self.is_busy()
    }

    /// What came since.
    pub(crate) fn news(&mut self) -> Vec<N> {
        let all = self.errands.news();
        all.iter().for_each(|news| self.note(news));
        all
    }

    /// What comes next, when it comes within `patience`: for tests, which have nothing else to do.
    pub(crate) fn wait(&mut self, patience: Duration) -> Option<N> {
        let news = self.errands.wait(patience)?;
        self.note(&news);
        Some(news)
    }

    fn note(&mut self, news: &N) {
        if let Some(Done::Request(number)) = news.done() {
            self.rested = number;
        }
    }
}

impl<L, N> Drop for Crew<L, N> {
    fn drop(&mut self) {
        self.post.end();
    }
}

/// Who stands in a place, begun if nobody does yet.
pub(crate) fn at_work<W>(place: &mut Option<W>, begin: impl FnOnce() -> io::Result<W>) -> io::Result<&mut W> {
    let there = match place.take() {
        Some(there) => there,
        None => begin()?,
    };
    Ok(place.insert(there))
}
