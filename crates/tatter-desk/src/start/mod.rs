//! What there is before a job is open: the sample job, the jobs of other days, and what is chosen in the system's dialogs.

mod dialog;
mod tour;
mod work;

use std::path::{Path, PathBuf};
use std::time::Duration;

use tatter::demo::{Sample, folder_for_sample};
use tatter::recent::{Recent, RecentJob};
use tatter::start::{MESH_EXTENSIONS, job_beside};

pub(crate) use dialog::of_the_system;
pub use dialog::{Chosen, Dialogs, Waiting, Wanted};
pub(crate) use tour::{Hint, Sight, Tour};
use work::{Making, News, Work};

use crate::newest::Wake;
use crate::say;
use crate::work::Trouble;

/// One thing asked before a job is open, or to open another.
#[derive(Clone, Debug)]
pub enum OnStart {
    /// Open the sample job in a folder, and make it first if it is not there.
    Sample(PathBuf),
    /// Stop what is being made.
    Stop,
    /// Choose files in a dialog of the system.
    Choose(Wanted),
    /// Begin a job beside a mesh, or open the one that is there.
    Begin(PathBuf),
    /// Take a job off the list of those that were opened.
    Forget(PathBuf),
    /// No more hints.
    NoHints,
}

/// What the desk is to do now.
pub(crate) enum Ready {
    /// Open a job.
    Job(PathBuf),
    /// Open the sample, and lead through it.
    Sample(Box<Sample>),
    /// Lay photos on the table.
    Photos(Vec<PathBuf>),
    /// Shots of the photo under several lamps.
    Lights(PathBuf),
    /// A picture says where there is more of something.
    Density(PathBuf),
    /// A folder of patches is at hand, too.
    Patches(PathBuf),
    /// Say what went wrong.
    Trouble(Trouble),
}

/// What is known before a job is open.
pub(crate) struct Start {
    recent: Recent,
    /// The list as it was read last: the page reads no file.
    pub(crate) jobs: Vec<RecentJob>,
    /// Where the sample is made, as it stands in its field.
    pub(crate) folder: String,
    /// Whether it lies there.
    pub(crate) is_made: bool,
    /// Stage and share of what is being made.
    pub(crate) progress: Option<(String, f32)>,
    /// Why the last was not made.
    pub(crate) trouble: Option<Trouble>,
    dialogs: Dialogs,
    work: Work,
}

impl Start {
    pub(crate) fn new(wake: Wake, recent: Recent, dialogs: Dialogs) -> Self {
        let mut start = Self {
            jobs: recent.jobs(),
            recent,
            folder: String::new(),
            is_made: false,
            progress: None,
            trouble: None,
            dialogs,
            work: Work::new(wake),
        };
        start.propose();
        start
    }

    /// A folder where the sample lies, or can be made.
    fn propose(&mut self) {
        self.folder = folder_for_sample().display().to_string();
        self.look_for_sample();
    }

    /// See whether the sample lies in the folder that is written.
    pub(crate) fn look_for_sample(&mut self) {
        self.is_made = Sample::in_folder(Path::new(self.folder.trim())).is_made();
    }

    pub(crate) fn obey(&mut self, asked: OnStart) -> Option<Ready> {
        self.trouble = None;
        let begun = match asked {
            OnStart::Sample(folder) => {
                let sample = Sample::in_folder(&folder);
                if sample.is_made() {
                    return Some(Ready::Sample(Box::new(sample)));
                }
                self.make(Making::Sample(folder))
            }
            OnStart::Begin(mesh) => {
                let job = job_beside(&mesh);
                if job.is_file() {
                    return Some(Ready::Job(job));
                }
                self.make(Making::Job(mesh))
            }
            OnStart::Choose(wanted) => self.work.ask(wanted, || (self.dialogs)(wanted)),
            OnStart::Stop => {
                self.work.stop();
                Ok(())
            }
            OnStart::Forget(job) => {
                let forgotten = self.recent.forget(&job);
                self.jobs = self.recent.jobs();
                return forgotten.err().map(|error| Ready::Trouble(Trouble::of(&error)));
            }
            OnStart::NoHints => Ok(()),
        };
        begun.err().map(|error| Ready::Trouble(Trouble::no_thread(&error)))
    }

    fn make(&mut self, what: Making) -> std::io::Result<()> {
        self.progress = None;
        self.work.make(what)
    }

    /// A job was opened.
    pub(crate) fn note(&mut self, job: &Path) -> Result<(), Trouble> {
        self.look_for_sample();
        let noted = self.recent.note(job);
        self.jobs = self.recent.jobs();
        noted.map_err(|error| Trouble::of(&error))
    }

    /// Whether something is being made.
    pub(crate) const fn is_making(&self) -> bool {
        self.work.is_making()
    }

    /// Take in what the threads have said since.
    pub(crate) fn hear(&mut self) -> Vec<Ready> {
        let news = self.work.news();
        news.into_iter().filter_map(|news| self.hear_one(news)).collect()
    }

    fn hear_one(&mut self, news: News) -> Option<Ready> {
        match news {
            News::Progress(stage, share) => {
                self.progress = Some((stage, share));
                None
            }
            News::Made(what, done) => {
                self.progress = None;
                self.look_for_sample();
                match (done, what) {
                    (Ok(_), Making::Sample(folder)) => Some(Ready::Sample(Box::new(Sample::in_folder(&folder)))),
                    (Ok(job), Making::Job(_)) => Some(Ready::Job(job)),
                    (Err(trouble), _) => {
                        self.trouble = Some(trouble);
                        // Half of it may lie there: the next is made elsewhere.
                        self.propose();
                        None
                    }
                }
            }
            News::Chosen(wanted, chosen) => match chosen {
                Chosen::Nothing => None,
                Chosen::NoDialog => Some(Ready::Trouble(say::no_dialog())),
                Chosen::Files(files) => self.chosen(wanted, files),
            },
        }
    }

    fn chosen(&mut self, wanted: Wanted, files: Vec<PathBuf>) -> Option<Ready> {
        match wanted {
            Wanted::Photos => (!files.is_empty()).then_some(Ready::Photos(files)),
            Wanted::Lights => files.into_iter().next().map(Ready::Lights),
            Wanted::Density => files.into_iter().next().map(Ready::Density),
            Wanted::Patches => files.into_iter().next().map(Ready::Patches),
            Wanted::Job => files.into_iter().next().map(Ready::Job),
            Wanted::Mesh => files.into_iter().next().and_then(|mesh| self.obey(OnStart::Begin(mesh))),
        }
    }

    /// Whether all that was asked is done.
    pub(crate) const fn is_resting(&self) -> bool {
        self.work.is_resting()
    }

    /// Wait for what the threads say next; `None` when they say nothing for `patience`.
    pub(crate) fn wait(&mut self, patience: Duration) -> Option<Vec<Ready>> {
        let news = self.work.wait(patience)?;
        Some(self.hear_one(news).into_iter().collect())
    }
}

/// Whether a file is a mesh by its name.
pub(crate) fn is_mesh(file: &Path) -> bool {
    let ending = file.extension().map(|ending| ending.to_string_lossy().to_lowercase()).unwrap_or_default();
    MESH_EXTENSIONS.contains(&ending.as_str())
}
