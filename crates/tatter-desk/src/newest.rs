//! Where a thread waits for work of which only the newest matters.

use std::sync::mpsc::Sender;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tatter_core::task::Task;

/// Wakes the window.
pub type Wake = Arc<dyn Fn() + Send + Sync>;

/// The newest request, and whether the thread shall end.
#[derive(Debug)]
struct Wanted<T> {
    request: Option<T>,
    number: u64,
    /// The request that nobody took yet was stopped.
    stopped: bool,
    ends: bool,
    task: Option<Arc<Task>>,
}

/// A post between the window and one thread: a newer request stops the one under way.
#[derive(Debug)]
pub(crate) struct Newest<T> {
    wanted: Mutex<Wanted<T>>,
    changed: Condvar,
}

impl<T> Default for Newest<T> {
    fn default() -> Self {
        Self {
            wanted: Mutex::new(Wanted { request: None, number: 0, stopped: false, ends: false, task: None }),
            changed: Condvar::new(),
        }
    }
}

impl<T> Newest<T> {
    fn wanted(&self) -> MutexGuard<'_, Wanted<T>> {
        self.wanted.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Ask; what was asked before is stopped or never begun. Gives the request's number.
    pub(crate) fn ask(&self, request: T) -> u64 {
        let mut wanted = self.wanted();
        if let Some(task) = wanted.task.take() {
            task.cancel();
        }
        wanted.request = Some(request);
        wanted.stopped = false;
        wanted.number += 1;
        let number = wanted.number;
        drop(wanted);
        self.changed.notify_one();
        number
    }

    /// Stop what is under way, or about to be; the thread waits for the next request.
    pub(crate) fn stop(&self) {
        let mut wanted = self.wanted();
        wanted.stopped = wanted.request.is_some();
        if let Some(task) = wanted.task.take() {
            task.cancel();
        }
    }

    /// Stop what is under way, and let the thread end.
    pub(crate) fn end(&self) {
        self.stop();
        self.wanted().ends = true;
        self.changed.notify_one();
    }

    /// Look at a request after `number` that was not taken yet, without taking it; `None` when none comes within `patience`, or the thread shall end.
    pub(crate) fn peek(&self, number: u64, patience: Duration) -> Option<(T, u64)>
    where
        T: Clone,
    {
        let is_old = |wanted: &mut Wanted<T>| !wanted.ends && (wanted.request.is_none() || wanted.number <= number);
        let waited = self.changed.wait_timeout_while(self.wanted(), patience, is_old);
        let (wanted, timeout) = waited.unwrap_or_else(PoisonError::into_inner);
        if timeout.timed_out() || wanted.ends {
            return None;
        }
        wanted.request.clone().map(|request| (request, wanted.number))
    }

    /// Whether the thread shall end.
    pub(crate) fn ends(&self) -> bool {
        self.wanted().ends
    }

    /// Wait for a request that was not taken yet; `None` when the thread shall end. The request is worked on with a task that `make` gives.
    pub(crate) fn next(&self, make: impl Fn(&T) -> Task) -> Option<(T, u64, Arc<Task>)> {
        let mut wanted = self.wanted();
        loop {
            if wanted.ends {
                return None;
            }
            if let Some(request) = wanted.request.take() {
                let task = Arc::new(make(&request));
                if std::mem::take(&mut wanted.stopped) {
                    task.cancel();
                }
                wanted.task = Some(Arc::clone(&task));
                return Some((request, wanted.number, task));
            }
            wanted = self.changed.wait(wanted).unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// Whether something newer was asked.
    pub(crate) fn is_newer(&self, number: u64) -> bool {
        let wanted = self.wanted();
        wanted.ends || wanted.number > number
    }
}

/// What a thread says to the window.
#[derive(Debug)]
pub(crate) struct Mouth<N> {
    send: Sender<N>,
    wake: WakeOnly,
}

#[derive(Clone)]
struct WakeOnly(Wake);

impl std::fmt::Debug for WakeOnly {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Wake")
    }
}

impl<N> Clone for Mouth<N> {
    fn clone(&self) -> Self {
        Self { send: self.send.clone(), wake: self.wake.clone() }
    }
}

impl<N: Send + 'static> Mouth<N> {
    pub(crate) fn new(send: Sender<N>, wake: Wake) -> Self {
        Self { send, wake: WakeOnly(wake) }
    }

    /// Nobody listens any more when what it is about was put away: then there is nothing to tell.
    pub(crate) fn tell(&self, news: N) {
        if self.send.send(news).is_ok() {
            (self.wake.0)();
        }
    }

    /// A task whose progress is told, a new stage or a twentieth of one at a time: a window that is woken for every tile draws nothing else.
    pub(crate) fn task(&self, news: impl Fn(&str, f32) -> N + Send + Sync + 'static) -> Task {
        let last = Mutex::new((String::new(), -1.0_f32));
        let mouth = self.clone();
        Task::with_progress(move |stage, share| {
            let mut last = last.lock().unwrap_or_else(PoisonError::into_inner);
            if last.0 != stage || (share - last.1).abs() >= 0.05 {
                *last = (stage.to_owned(), share);
                drop(last);
                mouth.tell(news(stage, share));
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_newest_counts() {
        let post = Newest::default();
        post.ask("old");
        post.ask("new");
        let (request, number, task) = post.next(|_| Task::new()).expect("something was asked");
        assert_eq!((request, number), ("new", 2), "what was asked before was never begun");
        assert!(task.check().is_ok() && !post.is_newer(number), "nothing newer yet");
        post.ask("newer");
        assert!(task.check().is_err() && post.is_newer(number), "and now it is stopped");
        post.stop();
        let (request, _, task) = post.next(|_| Task::new()).expect("it is handed out to be told of");
        assert!(request == "newer" && task.check().is_err(), "stopped before it was begun");
        post.ask("last");
        let soon = Duration::from_millis(1);
        assert_eq!(post.peek(0, soon), Some(("last", 4)), "looked at, not taken");
        assert_eq!(post.peek(4, soon), None, "nothing newer than that");
        post.end();
        assert!(post.ends() && post.peek(0, soon).is_none(), "nothing is looked at any more");
        assert!(post.next(|_| Task::new()).is_none(), "the thread ends, whatever waits");
    }

    #[test]
    fn progress_wakes_seldom() {
        let (send, heard) = std::sync::mpsc::channel();
        let task = Mouth::new(send, Arc::new(|| ())).task(|stage, share| (stage.to_owned(), share));
        for tile in 0..=1000 {
            task.progress("relief", tile as f32 / 1000.0);
        }
        task.progress("write", 0.0);
        drop(task);
        let heard: Vec<_> = heard.into_iter().collect();
        assert!((20..=23).contains(&heard.len()), "each twentieth and the next stage: {}", heard.len());
        assert_eq!(heard.last().map(|(stage, _)| stage.as_str()), Some("write"), "a new stage is always told");
    }
}
