//! The patch that is looked over: read by a thread, and lit anew by it wherever its lamp is put.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tatter::looking::PatchView;
use tatter_core::channel::Channel;
use tatter_core::task::Task;
use tatter_proof::Picture;

use crate::crew::{Crew, Done, Telling, at_work};
use crate::newest::{Mouth, Newest, Wake};
use crate::open::Shown;
use crate::work::Trouble;

/// One thing asked of the patch that is looked over.
#[derive(Clone, Debug)]
pub enum OnPatch {
    /// Look over another patch.
    Choose(PathBuf),
    /// Look at another map.
    Map(Channel),
    /// Put the lamp elsewhere: right and up, both 0 straight above the cloth.
    Lamp([f32; 2]),
}

/// Where the lamp is at first: from the upper left, low enough to show relief.
const LAMP: [f32; 2] = [-0.5, 0.5];
/// How far it may be put aside: lower it lights nothing.
const LOWEST: f32 = 0.97;
/// Longest picture of a map, texels.
const LARGEST: usize = 4096;

/// A map as the window has it.
pub(crate) struct Sighted {
    pub(crate) channel: Channel,
    /// From near and from ever farther.
    pub(crate) levels: Vec<Shown>,
}

/// Where a patch comes from.
#[derive(Clone, Debug)]
enum Source {
    /// Its folder.
    Folder(PathBuf),
    /// It was made just now, and lies nowhere yet.
    Fresh(Arc<PatchView>),
}

/// What lies under the lamp.
pub struct Bench {
    source: Option<Source>,
    /// Counts the patches chosen, so that news of another than the last are known.
    edition: u64,
    pub(crate) view: Option<Arc<PatchView>>,
    pub(crate) maps: Vec<Sighted>,
    pub(crate) channel: Channel,
    pub(crate) lamp: [f32; 2],
    pub(crate) swatch: Shown,
    pub(crate) trouble: Option<Trouble>,
    asked: Option<(u64, [f32; 2])>,
    work: Option<Crew<Look, News>>,
    wake: Wake,
}

impl std::fmt::Debug for Bench {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Bench").field("folder", &self.folder()).field("channel", &self.channel).finish_non_exhaustive()
    }
}

impl Bench {
    pub(crate) fn new(wake: Wake) -> Self {
        Self {
            source: None,
            edition: 0,
            view: None,
            maps: Vec::new(),
            channel: Channel::BaseColor,
            lamp: LAMP,
            swatch: Shown::default(),
            trouble: None,
            asked: None,
            work: None,
            wake,
        }
    }

    /// The patch that is looked over.
    pub fn folder(&self) -> Option<&Path> {
        match self.source.as_ref()? {
            Source::Folder(folder) => Some(folder),
            Source::Fresh(view) => Some(&view.folder),
        }
    }

    /// The map that is seen large.
    pub fn channel(&self) -> Channel {
        self.channel
    }

    /// Where the lamp is: right and up.
    pub fn lamp(&self) -> [f32; 2] {
        self.lamp
    }

    /// What is known of it, once it is read.
    pub fn view(&self) -> Option<&Arc<PatchView>> {
        self.view.as_ref()
    }

    pub(crate) fn obey(&mut self, asked: OnPatch) {
        match asked {
            OnPatch::Choose(folder) => self.choose(Some(folder)),
            OnPatch::Map(channel) => self.channel = channel,
            OnPatch::Lamp([x, y]) => {
                let far = x.hypot(y);
                self.lamp = if far > LOWEST { [x * LOWEST / far, y * LOWEST / far] } else { [x, y] };
            }
        }
    }

    /// Look over a patch that was made just now. What was seen of the one before stays until it is lit.
    pub(crate) fn lay(&mut self, view: Arc<PatchView>) {
        self.source = Some(Source::Fresh(Arc::clone(&view)));
        self.edition += 1;
        self.asked = None;
        self.see(view);
    }

    fn choose(&mut self, folder: Option<PathBuf>) {
        self.source = folder.map(Source::Folder);
        self.edition += 1;
        self.view = None;
        self.maps.clear();
        self.swatch = Shown::default();
        self.trouble = None;
        self.asked = None;
    }

    /// A patch was written anew: what was read of it is old.
    pub(crate) fn forget(&mut self, folder: &Path) {
        if self.folder() == Some(folder) {
            self.choose(Some(folder.to_owned()));
        }
    }

    /// Look over one of these patches, the first of them if none of them is looked over.
    pub(crate) fn settle<'a>(&mut self, mut folders: impl Iterator<Item = &'a PathBuf> + Clone) {
        let is_there = self.folder().is_some_and(|folder| folders.clone().any(|other| other == folder));
        if !is_there {
            let first = folders.next().cloned();
            if first.is_some() || self.source.is_some() {
                self.choose(first);
            }
        }
    }

    /// Ask for the swatch as it is lit now, if it is another than what was asked last. No picture may be longer than `side`.
    pub(crate) fn look(&mut self, side: usize) {
        let Some(source) = self.source.clone() else { return };
        let wanted = (self.edition, self.lamp);
        if self.asked == Some(wanted) {
            return;
        }
        match at_work(&mut self.work, || Crew::begin("lamp", Arc::clone(&self.wake), light)) {
            Ok(work) => {
                work.ask(Look { source, edition: wanted.0, lamp: wanted.1, side: side.min(LARGEST) });
                self.asked = Some(wanted);
            }
            Err(error) => self.trouble = Some(Trouble::no_thread(&error)),
        }
    }

    /// Take in what the thread has said since.
    pub(crate) fn hear(&mut self) {
        let news = self.work.as_mut().map(Crew::news).unwrap_or_default();
        news.into_iter().for_each(|news| self.hear_one(news));
    }

    fn hear_one(&mut self, news: News) {
        match news {
            News::Read(edition, view) if edition == self.edition => self.see(view),
            News::Swatch(edition, picture) if edition == self.edition => self.swatch.take(picture, None),
            News::Trouble(edition, trouble) if edition == self.edition => self.trouble = Some(trouble),
            News::Read(..) | News::Swatch(..) | News::Trouble(..) | News::Rested(_) => {}
        }
    }

    fn see(&mut self, view: Arc<PatchView>) {
        self.maps = view.maps.iter().map(sighted).collect();
        if view.maps.iter().all(|map| map.channel != self.channel) {
            self.channel = view.maps.first().map_or(self.channel, |map| map.channel);
        }
        self.view = Some(view);
    }

    /// Whether all that was asked is done.
    pub(crate) fn is_resting(&self) -> bool {
        self.work.as_ref().is_none_or(Crew::is_resting)
    }

    /// Wait for what the thread says next; whether it says something within `patience`.
    pub(crate) fn wait(&mut self, patience: Duration) -> bool {
        let Some(news) = self.work.as_mut().and_then(|work| work.wait(patience)) else { return false };
        self.hear_one(news);
        true
    }
}

fn sighted(map: &tatter::looking::MapView) -> Sighted {
    let shown = |picture: &Picture| {
        let mut shown = Shown::default();
        shown.take(picture.clone(), None);
        shown
    };
    Sighted { channel: map.channel, levels: map.pictures.iter().map(shown).collect() }
}

/// A patch, and where its lamp is.
#[derive(Clone, Debug)]
struct Look {
    source: Source,
    edition: u64,
    lamp: [f32; 2],
    side: usize,
}

enum News {
    Read(u64, Arc<PatchView>),
    Swatch(u64, Picture),
    Trouble(u64, Trouble),
    Rested(u64),
}

impl Telling for News {
    fn done(&self) -> Option<Done> {
        match self {
            Self::Rested(number) => Some(Done::Request(*number)),
            _ => None,
        }
    }
}

/// The thread that reads patches and lights them.
fn light(post: &Newest<Look>, mouth: &Mouth<News>) {
    let mut last: Option<(u64, Arc<PatchView>)> = None;
    while let Some((look, number, _)) = post.next(|_| Task::new()) {
        let read = || match &look.source {
            Source::Fresh(view) => Ok(Arc::clone(view)),
            Source::Folder(folder) => {
                let view = Arc::new(PatchView::read(folder, look.side).map_err(|error| Trouble::of(&error))?);
                mouth.tell(News::Read(look.edition, Arc::clone(&view)));
                Ok::<_, Trouble>(view)
            }
        };
        let known = last.take().filter(|(edition, _)| *edition == look.edition);
        match known.map_or_else(read, |(_, view)| Ok(view)) {
            Ok(view) => {
                mouth.tell(News::Swatch(look.edition, view.swatch(look.lamp)));
                last = Some((look.edition, view));
            }
            Err(trouble) => mouth.tell(News::Trouble(look.edition, trouble)),
        }
        if !post.is_newer(number) {
            mouth.tell(News::Rested(number));
        }
    }
}
