//! Threads of the desk. They are waited for when the program ends: a graphics driver that is unloaded while a thread still draws brings the
//! program down (seen on a card).

use std::io;
use std::sync::{Mutex, PoisonError};
use std::thread::{Builder, JoinHandle};
use std::time::{Duration, Instant};

static UNDER_WAY: Mutex<Vec<JoinHandle<()>>> = Mutex::new(Vec::new());
/// Between two looks at whether all have ended.
const PAUSE: Duration = Duration::from_millis(5);

/// Begin a thread that is to be waited for.
pub(crate) fn begin(name: &str, run: impl FnOnce() + Send + 'static) -> io::Result<()> {
    let thread = Builder::new().name(name.to_owned()).spawn(run)?;
    let mut all = UNDER_WAY.lock().unwrap_or_else(PoisonError::into_inner);
    all.retain(|thread| !thread.is_finished());
    all.push(thread);
    Ok(())
}

/// Wait until all threads have ended, but no longer than `patience`; for the end of the program, when the desk is gone and has told them to
/// stop. Whether all did end.
pub fn leave(patience: Duration) -> bool {
    let start = Instant::now();
    loop {
        let mut all = UNDER_WAY.lock().unwrap_or_else(PoisonError::into_inner);
        let (done, left): (Vec<_>, Vec<_>) = std::mem::take(&mut *all).into_iter().partition(JoinHandle::is_finished);
        *all = left;
        let is_empty = all.is_empty();
        drop(all);
        // A thread that panicked has said so.
        done.into_iter().for_each(|thread| drop(thread.join()));
        if is_empty || start.elapsed() >= patience {
            return is_empty;
        }
        std::thread::sleep(PAUSE);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc::channel;

    #[test]
    fn what_still_works_is_waited_for_with_patience() {
        let (end, ended) = channel::<()>();
        begin("waiting", move || while ended.recv().is_ok() {}).unwrap();
        assert!(!leave(Duration::from_millis(20)), "it still works");
        drop(end);
        assert!(leave(Duration::from_secs(20)), "it has ended");
    }
}
