//! Cloth and damage from threads: what is said of them, what would be woven, and the patch that it becomes.

mod work;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tatter::cutting::Existing;
use tatter::recent::home_folder;
use tatter::steps::Steps;
use tatter::weave::{Damage, Geometry, Kind, Weaving, WovenView, solve};
use tatter_core::model::Job;
use work::{Accept, Look, News, Work, accept, start};

use crate::bench::{Bench, OnPatch};
use crate::crew::at_work;
use crate::newest::Wake;
use crate::open::folder_of;
use crate::photo::Accepted;
use crate::say;
use crate::work::Trouble;

/// One thing asked of the loom.
#[derive(Clone, Debug)]
pub enum OnLoom {
    /// Go to the loom, or back to the patches.
    Up(bool),
    /// See it lit, at large.
    Lit,
    /// Another map of it at large, or another place of its lamp.
    Bench(OnPatch),
    /// Something else is said.
    Say(Box<Weaving>),
    /// Something else is said while a number is dragged.
    Drag(Box<Weaving>),
    /// The drag is over.
    LetGo,
    /// Take up one of its damages, by its number from 0.
    Damage(usize),
    /// One more damage, where there is room for it.
    OneMore,
    /// Keep what would be woven as a patch.
    Accept(Existing),
    /// Weave again what was stopped.
    Again,
    /// Stop.
    Stop,
}

/// What is written in fields, until it is read.
#[derive(Clone, Debug, Default)]
pub(crate) struct Written {
    pub(crate) weave: String,
    pub(crate) warp: String,
    pub(crate) weft: String,
    /// What the fields show was said by this.
    of: Option<Arc<Weaving>>,
}

/// The loom.
pub struct Loom {
    /// Whether one stands at it.
    pub(crate) is_up: bool,
    /// What would be woven is seen lit, at large; else one of its maps.
    pub(crate) is_lit: bool,
    pub(crate) steps: Steps<Weaving>,
    /// Which of its damages is told about, where there are several.
    damage: usize,
    pub(crate) written: Written,
    /// What would be woven, under the lamp.
    pub(crate) bench: Bench,
    /// What would be woven, and of what it was said.
    pub(crate) woven: Option<(Arc<Weaving>, Arc<WovenView>)>,
    /// The geometry of the cloth that is said, or why there is none: known at once.
    limits: Option<(Arc<Weaving>, Result<Geometry, Trouble>)>,
    /// Why it was not woven.
    pub(crate) trouble: Option<Trouble>,
    pub(crate) progress: Option<(String, f32)>,
    pub(crate) is_stopped: bool,
    /// What the patch is to be called.
    pub(crate) name: String,
    /// The name was not chosen by the person.
    pub(crate) is_usual_name: bool,
    pub(crate) accepted: Option<Arc<Weaving>>,
    pub(crate) said: Option<String>,
    pub(crate) accept_trouble: Option<Trouble>,
    pub(crate) taken: bool,
    work: Option<Work>,
    asked: Option<Arc<Weaving>>,
    wake: Wake,
}

impl std::fmt::Debug for Loom {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Loom").field("weaving", self.steps.now()).finish_non_exhaustive()
    }
}

impl Loom {
    pub(crate) fn new(wake: Wake) -> Self {
        let weaving = Weaving::default();
        Self {
            is_up: false,
            is_lit: true,
            name: say::woven_name(&weaving),
            is_usual_name: true,
            steps: Steps::new(weaving),
            damage: 0,
            written: Written::default(),
            bench: Bench::new(Arc::clone(&wake)),
            woven: None,
            limits: None,
            trouble: None,
            progress: None,
            is_stopped: false,
            accepted: None,
            said: None,
            accept_trouble: None,
            taken: false,
            work: None,
            asked: None,
            wake,
        }
    }

    /// What is said.
    pub fn weaving(&self) -> &Arc<Weaving> {
        self.steps.now()
    }

    /// What would be woven, once it is, of what is said now.
    pub fn woven(&self) -> Option<&Arc<WovenView>> {
        self.woven.as_ref().filter(|(said, _)| Arc::ptr_eq(said, self.steps.now())).map(|(_, woven)| woven)
    }

    /// Why it cannot be woven or kept, as it is shown.
    pub fn trouble(&self) -> Option<&Trouble> {
        self.limit().err().or(self.trouble.as_ref()).or(self.accept_trouble.as_ref())
    }

    /// What follows from what is said, or why nothing can.
    ///
    /// # Errors
    /// What is wrong with the cloth that is said.
    pub(crate) fn limit(&self) -> Result<Option<&Geometry>, &Trouble> {
        match self.limits.as_ref().filter(|(said, _)| Arc::ptr_eq(said, self.steps.now())) {
            Some((_, Ok(geometry))) => Ok(Some(geometry)),
            Some((_, Err(trouble))) => Err(trouble),
            None => Ok(None),
        }
    }

    /// Whether the patch holds what is said now.
    pub(crate) fn is_accepted(&self) -> bool {
        self.accepted.as_ref().is_some_and(|said| **said == **self.steps.now())
    }

    /// The patch that accepting writes: beside the job, or in the person's own folder.
    pub(crate) fn folder(&self, job: Option<&Path>) -> PathBuf {
        job.map_or_else(home_folder, folder_of).join(format!("{}.patch", self.name.trim()))
    }

    pub(crate) fn obey(&mut self, asked: OnLoom, job: Option<(PathBuf, Arc<Job>)>) {
        match asked {
            OnLoom::Up(is_up) => self.is_up = is_up,
            OnLoom::Lit => self.is_lit = true,
            OnLoom::Bench(asked) => {
                self.is_lit &= !matches!(asked, OnPatch::Map(_));
                self.bench.obey(asked);
            }
            OnLoom::Say(weaving) => {
                let label = say::step_weaving(self.steps.now(), &weaving);
                self.steps.make(label, *weaving);
                self.changed();
            }
            OnLoom::Drag(weaving) => {
                let label = say::step_weaving(self.steps.now(), &weaving);
                self.steps.make_in_gesture(label, *weaving);
                self.changed();
            }
            OnLoom::LetGo => self.steps.let_go(),
            OnLoom::Damage(number) => self.damage = number,
            OnLoom::OneMore => {
                let weaving = with_one_more(self.steps.now());
                self.damage = weaving.damage.len() - 1;
                self.obey(OnLoom::Say(Box::new(weaving)), job);
            }
            OnLoom::Accept(existing) => self.accept(existing, job),
            OnLoom::Again => self.asked = None,
            OnLoom::Stop => {
                if let Some(work) = &self.work {
                    work.stop();
                }
            }
        }
    }

    /// The number of the damage that is told about; 0 where there is none.
    pub(crate) fn damage(&self) -> usize {
        self.damage.min(self.steps.now().damage.len().saturating_sub(1))
    }

    pub(crate) fn undo(&mut self) {
        self.steps.undo();
        self.changed();
    }

    pub(crate) fn redo(&mut self) {
        self.steps.redo();
        self.changed();
    }

    fn changed(&mut self) {
        self.said = None;
        self.accept_trouble = None;
        self.taken = false;
        if self.is_usual_name {
            self.name = say::woven_name(self.steps.now());
        }
    }

    fn accept(&mut self, existing: Existing, job: Option<(PathBuf, Arc<Job>)>) {
        let folder = self.folder(job.as_ref().map(|(path, _)| path.as_path()));
        let weaving = Arc::clone(self.steps.now());
        self.said = None;
        self.taken = false;
        self.accept_trouble = None;
        if let Some(work) = &mut self.work
            && let Err(error) = accept(work, Accept { weaving, folder, existing, job })
        {
            self.accept_trouble = Some(Trouble::no_thread(&error));
        }
    }

    /// Ask for what is said now, if it is another than what was asked last; and see what follows from it. No picture may be longer than `side`.
    pub(crate) fn look(&mut self, side: usize) {
        self.bench.look(side);
        let weaving = Arc::clone(self.steps.now());
        if self.asked.as_ref().is_some_and(|asked| Arc::ptr_eq(asked, &weaving)) {
            return;
        }
        let limit = weaving.said.cloth().map_err(|error| Trouble::of(&error));
        let limit = limit.and_then(|cloth| solve(&cloth).map_err(|error| Trouble::of(&error)));
        let can = limit.is_ok();
        self.limits = Some((Arc::clone(&weaving), limit));
        self.asked = Some(Arc::clone(&weaving));
        self.trouble = None;
        self.is_stopped = false;
        if !can {
            return;
        }
        match at_work(&mut self.work, || start(Arc::clone(&self.wake))) {
            Ok(work) => work.ask(Look { weaving, side }),
            Err(error) => self.trouble = Some(Trouble::no_thread(&error)),
        }
    }

    /// Take in what the threads have said since. Gives the patches at hand when there is a new one.
    pub(crate) fn hear(&mut self) -> Option<Accepted> {
        self.bench.hear();
        let news = self.work.as_mut().map(Work::news).unwrap_or_default();
        news.into_iter().filter_map(|news| self.hear_one(news)).next_back()
    }

    fn hear_one(&mut self, news: News) -> Option<Accepted> {
        match news {
            News::Woven(weaving, woven) => {
                self.trouble = None;
                self.bench.lay(Arc::clone(&woven.view));
                self.woven = Some((weaving, woven));
            }
            News::Trouble(weaving, trouble) => {
                if Arc::ptr_eq(&weaving, self.steps.now()) {
                    self.trouble = Some(trouble);
                }
            }
            News::Progress(stage, share) => self.progress = Some((stage, share)),
            News::Stopped => self.is_stopped = true,
            News::Rested(_) => self.progress = None,
            News::Accepted(weaving, Ok(accepted)) => {
                self.progress = None;
                self.said = Some(say::accepted(&accepted.folder));
                self.accepted = Some(weaving);
                return Some(accepted);
            }
            News::Accepted(_, Err((trouble, taken))) => {
                self.progress = None;
                self.taken = taken;
                self.accept_trouble = Some(trouble);
            }
        }
        None
    }

    /// Whether all that was asked is done.
    pub(crate) fn is_resting(&self) -> bool {
        self.work.as_ref().is_none_or(Work::is_resting)
    }

    /// Whether a patch is being written.
    pub(crate) fn is_accepting(&self) -> bool {
        self.work.as_ref().is_some_and(Work::is_busy)
    }

    /// Wait for what the threads say next; `None` when they say nothing for `patience`.
    pub(crate) fn wait(&mut self, patience: Duration) -> Option<Option<Accepted>> {
        let news = self.work.as_mut()?.wait(patience)?;
        Some(self.hear_one(news))
    }
}

/// With one more damage of the last one's kind, or a rip, where on the canvas there is most room; no larger than fits into a quarter of it.
fn with_one_more(weaving: &Weaving) -> Weaving {
    let mut weaving = weaving.clone();
    let mut more = weaving.damage.last().map_or_else(|| Damage::new(Kind::Rip), |last| Damage::new(last.kind));
    let quarter = (0.25 * weaving.width_mm).round();
    let fits = (1.2 * quarter / more.length.max(more.width)).min(1.0);
    (more.length, more.width) = ((fits * more.length).round().max(1.0), (fits * more.width).round().max(1.0));
    let places =
        [[0.0, 0.0], [1.0, 1.0], [-1.0, -1.0], [1.0, -1.0], [-1.0, 1.0], [0.0, 1.0], [0.0, -1.0], [1.0, 0.0], [-1.0, 0.0]];
    let room = |place: [f32; 2]| {
        let far = |damage: &Damage| (damage.at[0] - quarter * place[0]).hypot(damage.at[1] - quarter * place[1]);
        weaving.damage.iter().map(far).fold(f32::INFINITY, f32::min)
    };
    // Of places with as much room, the first.
    let best = places.into_iter().reduce(|best, place| if room(place) > room(best) + 0.5 { place } else { best });
    more.at = best.unwrap_or_default().map(|share| quarter * share);
    weaving.damage.push(more);
    weaving
}

impl Written {
    /// Show what is said, unless the person is writing what is not read yet.
    pub(crate) fn follow(&mut self, weaving: &Arc<Weaving>) {
        if self.of.as_ref().is_some_and(|of| Arc::ptr_eq(of, weaving)) {
            return;
        }
        let cloth = tatter::weave::stock(&weaving.said.cloth);
        let count = |yarn: &tatter::weave::Yarn| say::count(yarn);
        let shown = |told: &Option<String>, usual: Option<String>| told.clone().or(usual).unwrap_or_default();
        self.weave = shown(&weaving.said.weave, cloth.as_ref().map(|cloth| cloth.weave.name().to_owned()));
        self.warp = shown(&weaving.said.warp, cloth.as_ref().map(|cloth| count(&cloth.warp)));
        self.weft = shown(&weaving.said.weft, cloth.as_ref().map(|cloth| count(&cloth.weft)));
        self.of = Some(Arc::clone(weaving));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_more_damage_lies_where_there_is_room() {
        let mut weaving = Weaving { damage: Vec::new(), width_mm: 60.0, ..Weaving::default() };
        for _ in 0..4 {
            weaving = with_one_more(&weaving);
        }
        let places: Vec<[f32; 2]> = weaving.damage.iter().map(|damage| damage.at).collect();
        assert_eq!(weaving.damage[1].length, 18.0, "a rip of 32 mm is too long for a quarter of 60 mm");
        assert_eq!(places, [[0.0, 0.0], [15.0, 15.0], [-15.0, -15.0], [15.0, -15.0]], "the middle, then corners");
        let off = |a: [f32; 2], b: [f32; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
        let pairs = (0..4).flat_map(|i| (0..i).map(move |j| (i, j)));
        assert!(pairs.into_iter().all(|(i, j)| off(places[i], places[j]) > 20.0), "none on another: {places:?}");
    }
}
