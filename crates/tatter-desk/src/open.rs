//! A job that lies on the table: what it is, what is selected, how it is seen.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use glam::{Quat, Vec3};
use tatter::deliver::Foreseen;
use tatter::history::{Edit, History};
use tatter::keep::Kept;
use tatter::library::{Canvas, Card};
use tatter::stand::{Form, Lie, Line};
use tatter_core::angle::Angle;
use tatter_core::model::{Job, Placement};
use tatter_proof::{Camera, Picture};

use crate::command::List;
use crate::line;
use crate::newest::Wake;
use crate::scattering::Scattering;
use crate::shelf::Shelf;
use crate::wearing::Wearing;
use crate::work::{Look, Trouble, Work};

/// Where the person stands before the garment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stance {
    /// About the upright axis, from the front.
    pub turn: Angle,
    /// Above the horizon.
    pub lift: Angle,
    /// How many times nearer than where all of it is seen.
    pub near: f32,
    /// How far the garment is shifted, in shares of the view's height: right and up.
    pub shift: [f32; 2],
}

impl Default for Stance {
    fn default() -> Self {
        Self { turn: Angle::degrees(0.0), lift: Angle::degrees(6.0), near: 1.0, shift: [0.0; 2] }
    }
}

impl Stance {
    /// The eye of a view; `front` is the garment's own for its aspect, [`Form::eye`].
    pub fn camera(&self, front: &Camera) -> Camera {
        let around = Quat::from_rotation_y(self.turn.to_radians()) * Quat::from_rotation_x(-self.lift.to_radians());
        let far = front.eye.distance(front.target) / self.near;
        let height = 2.0 * far * (0.5 * front.field.to_radians()).tan();
        let [right, up] = self.shift.map(|share| -share * height);
        let target = front.target + around * Vec3::new(right, up, 0.0);
        Camera { eye: target + around * Vec3::Z * far, target, up: around * Vec3::Y, ..*front }
    }
}

/// A picture that came from a thread, before and after it was given to the window.
#[derive(Default)]
pub(crate) struct Shown {
    pub(crate) fresh: Option<Picture>,
    pub(crate) texture: Option<egui::TextureHandle>,
    pub(crate) camera: Option<Camera>,
    pub(crate) aspect: f32,
    width: f32,
}

impl Shown {
    pub(crate) fn take(&mut self, picture: Picture, camera: Option<Camera>) {
        self.aspect = picture.width as f32 / picture.height.max(1) as f32;
        self.camera = camera;
        self.width = picture.width as f32;
        self.fresh = Some(picture);
    }

    /// Columns of the picture that came last, whether the window has it or not.
    pub(crate) fn width(&self) -> f32 {
        self.width
    }

    /// The texture, with what came last.
    pub(crate) fn texture(&mut self, ctx: &egui::Context, name: &str) -> Option<&egui::TextureHandle> {
        if let Some(picture) = self.fresh.take() {
            let size = [picture.width as usize, picture.height as usize];
            let image = egui::ColorImage::from_rgb(size, &picture.rgb);
            match &mut self.texture {
                Some(texture) => texture.set(image, egui::TextureOptions::LINEAR),
                None => self.texture = Some(ctx.load_texture(name, image, egui::TextureOptions::LINEAR)),
            }
        }
        self.texture.as_ref()
    }
}

/// What is known of the delivery.
#[derive(Debug, Default)]
pub(crate) struct Outlook {
    /// What it would do, and the job it was asked of.
    pub(crate) foreseen: Option<(Arc<Job>, Result<Foreseen, Trouble>)>,
    /// The job it was asked of last.
    pub(crate) asked: Option<Arc<Job>>,
    /// The job's variations are delivered with it.
    pub(crate) with_variations: bool,
    /// What is being delivered.
    pub(crate) sent: Option<Arc<Job>>,
    /// What was delivered last here.
    pub(crate) delivered: Option<Arc<Job>>,
    /// What the last errand said.
    pub(crate) said: Option<String>,
    /// Why the last errand failed.
    pub(crate) trouble: Option<Trouble>,
    /// Stage and share of the errand under way.
    pub(crate) progress: Option<(String, f32)>,
}

/// An open job.
pub struct Open {
    pub(crate) kept: Kept,
    pub(crate) history: History,
    pub(crate) draft: Option<Job>,
    pub(crate) work: Work,
    pub(crate) form: Option<Arc<Form>>,
    /// The garment's eye for the view's aspect.
    front: Option<(f32, Camera)>,
    pub(crate) shelf: Shelf,
    pub(crate) ready: bool,
    /// The textures were read.
    pub(crate) dressed: bool,
    pub(crate) without_adapter: Option<String>,
    pub(crate) taken: Option<PathBuf>,
    /// What lies beneath the garment.
    pub(crate) list: List,
    pub(crate) scattering: Scattering,
    pub(crate) wearing: Wearing,
    /// The chalk is in the hand: touches put corners of a line.
    pub(crate) chalk: bool,
    drawn: Option<Drawn>,
    pub(crate) selected: Option<String>,
    /// The row of what is selected was brought into sight.
    pub(crate) in_sight: bool,
    pub(crate) stance: Stance,
    pub(crate) sheet: usize,
    pub(crate) moving: bool,
    pub(crate) solid_size: [u32; 2],
    pub(crate) solid: Shown,
    pub(crate) before: Shown,
    pub(crate) flat: Shown,
    pub(crate) slide: f32,
    pub(crate) asked: Option<Look>,
    pub(crate) lies: BTreeMap<String, (Placement, Result<Lie, Trouble>)>,
    pub(crate) drafted: Option<Arc<Job>>,
    pub(crate) outlook: Outlook,
    /// Why what the job lays can't be laid: goes as soon as it can.
    pub(crate) unlaid: Option<Trouble>,
    pub(crate) trouble: Option<Trouble>,
}

/// A line, the parts it keeps to, and how it lies.
type Drawn = (Vec<[f32; 2]>, Vec<String>, Arc<Line>);

impl std::fmt::Debug for Open {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Open").field("kept", &self.kept).field("selected", &self.selected).finish_non_exhaustive()
    }
}

impl Open {
    /// A job that was just read.
    pub(crate) fn new(kept: Kept, history: History, draft: Option<Job>, work: Work, wake: Wake) -> Self {
        Self {
            kept,
            history,
            draft,
            work,
            form: None,
            front: None,
            shelf: Shelf::default(),
            ready: false,
            dressed: false,
            without_adapter: None,
            taken: None,
            list: List::default(),
            scattering: Scattering::new(wake),
            wearing: Wearing::default(),
            chalk: false,
            drawn: None,
            selected: None,
            in_sight: true,
            stance: Stance::default(),
            sheet: 0,
            moving: false,
            solid_size: [0; 2],
            solid: Shown::default(),
            before: Shown::default(),
            flat: Shown::default(),
            slide: 0.5,
            asked: None,
            lies: BTreeMap::new(),
            drafted: None,
            outlook: Outlook::default(),
            unlaid: None,
            trouble: None,
        }
    }

    /// The garment is read anew by other threads.
    pub(crate) fn stand_anew(&mut self, work: Work) {
        self.work = work;
        self.ready = false;
        self.dressed = false;
        self.without_adapter = None;
        self.asked = None;
        self.front = None;
        self.lies.clear();
        self.trouble = None;
        self.outlook.asked = None;
        self.scattering.read_anew();
        self.history.let_go();
    }

    /// Whether a patch lies on the garment, by its folder.
    pub(crate) fn lies_there(&self, folder: &Path) -> bool {
        let jobs = folder_of(self.kept.path());
        let is_it = |path: &str| self.shelf.are_one(&jobs.join(path), folder);
        let names = self.job().patches.iter().filter(|patch| is_it(&patch.path)).map(|patch| &patch.name);
        names.into_iter().any(|name| self.job().placements.iter().any(|placement| placement.patch == *name))
    }

    /// The job as it is now.
    pub fn job(&self) -> &Arc<Job> {
        self.history.job()
    }

    /// Whether a picture of it was drawn, if only in clay.
    pub fn is_seen(&self) -> bool {
        self.solid.width() > 0.0
    }

    /// Whether its textures were drawn: the flat view comes with the first picture that has them.
    pub fn is_seen_dressed(&self) -> bool {
        self.is_seen() && self.flat.width() > 0.0
    }

    /// What the threads know of the garment's shape.
    pub fn form(&self) -> Option<&Arc<Form>> {
        self.form.as_ref()
    }

    /// Where one stands before a view of `size`, once the garment's shape is known.
    pub(crate) fn camera(&mut self, [width, height]: [u32; 2]) -> Option<Camera> {
        let aspect = width as f32 / height.max(1) as f32;
        let form = self.form.as_ref()?;
        let front = match self.front {
            Some((known, front)) if known == aspect => front,
            _ => form.eye(aspect),
        };
        self.front = Some((aspect, front));
        Some(self.stance.camera(&front))
    }

    /// The id of the selected placement.
    pub fn selected(&self) -> Option<&str> {
        self.selected.as_deref()
    }

    /// The selected placement.
    pub(crate) fn selected_placement(&self) -> Option<&Placement> {
        let id = self.selected.as_ref()?;
        self.job().placements.iter().find(|placement| placement.id == *id)
    }

    /// Whether a placement is what is taken up, or part of it.
    pub(crate) fn is_marked(&self, placement: &Placement) -> bool {
        let of = |id: &str| placement.id.strip_prefix(id).and_then(|rest| rest.strip_prefix('-'));
        match self.list {
            List::Scatters => {
                let number = self.scattering.chosen.as_deref().and_then(of);
                number.is_some_and(|number| number.bytes().all(|digit| digit.is_ascii_digit()))
            }
            _ => self.selected() == Some(placement.id.as_str()),
        }
    }

    /// The placements whose borders are drawn: of many, while one is dragged, those that are marked; a frame has no time for all of them.
    pub(crate) fn outlined(&self) -> impl Iterator<Item = &Placement> {
        /// As many are drawn in half a millisecond.
        const FEW: usize = 40;
        let all = self.job().placements.len() <= FEW || !self.history.is_dragging();
        self.job().placements.iter().filter(move |placement| all || self.is_marked(placement))
    }

    /// The patch that was taken from the drawer.
    pub(crate) fn taken_card(&self) -> Option<&Card> {
        let folder = self.taken.as_ref()?;
        self.shelf.card(folder)
    }

    /// The card of the patch of that name in the job.
    pub(crate) fn card_of(&self, patch: &str) -> Option<&Card> {
        self.card_at(&self.job().patches.iter().find(|known| known.name == patch)?.path)
    }

    /// The card of the patch at a path from the job file.
    pub(crate) fn card_at(&self, path: &str) -> Option<&Card> {
        self.shelf.card(&folder_of(self.kept.path()).join(path))
    }

    /// The canvas of the patch at a path from the job file.
    pub(crate) fn canvas_at(&self, path: &str) -> Option<Canvas> {
        self.card_at(path)?.canvas.as_ref().ok().copied()
    }

    /// How the line of what is taken up lies.
    pub(crate) fn line(&mut self) -> Option<Arc<Line>> {
        let (along, only) = line::chosen(self).filter(|(along, _)| !along.is_empty())?;
        if let Some((known_along, known_only, line)) = &self.drawn
            && *known_along == along
            && *known_only == only
        {
            return Some(Arc::clone(line));
        }
        let line = Arc::new(self.form.as_ref()?.line(&along, &only));
        self.drawn = Some((along, only, Arc::clone(&line)));
        Some(line)
    }

    /// Whether a picture can say where there is more of what is taken up.
    pub(crate) fn can_lie_by_picture(&self) -> bool {
        match self.list {
            List::Pieces => false,
            List::Scatters => self.scattering.chosen.is_some(),
            List::Wear => self.wearing.chosen.is_some(),
        }
    }

    /// What Delete takes away: what is selected, in the list that is shown.
    pub(crate) fn removal(&self) -> Option<Edit> {
        match self.list {
            List::Pieces => self.selected.clone().map(Edit::Remove),
            List::Scatters => self.scattering.chosen.clone().map(Edit::RemoveScatter),
            List::Wear => self.wearing.chosen.clone().map(Edit::RemoveWear),
        }
    }

    /// The canvas of a placement's patch.
    pub(crate) fn canvas_of(&self, placement: &Placement) -> Option<Canvas> {
        self.card_of(&placement.patch)?.canvas.as_ref().ok().copied()
    }

    /// How a placement lies on the cloth.
    pub fn lie(&self, id: &str) -> Option<&Lie> {
        self.lies.get(id)?.1.as_ref().ok()
    }

    /// Work out anew how placements lie that changed.
    pub(crate) fn settle(&mut self) {
        let Some(form) = self.form.clone() else { return };
        let job = Arc::clone(self.job());
        // Every frame comes by here: hundreds of placements are not sought among each other.
        let ids: BTreeSet<&str> = job.placements.iter().map(|placement| placement.id.as_str()).collect();
        self.lies.retain(|id, _| ids.contains(id.as_str()));
        let is_known =
            |placement: &&Placement| self.lies.get(&placement.id).is_some_and(|(known, _)| lies_alike(known, placement));
        let changed = job.placements.iter().filter(|placement| !is_known(placement));
        let changed: Vec<(&Placement, Canvas)> =
            changed.filter_map(|placement| Some((placement, self.canvas_of(placement)?))).collect();
        let lies = form.lies(&changed);
        for ((placement, _), lie) in changed.into_iter().zip(lies) {
            let lie = lie.map_err(|error| Trouble::of(&error));
            self.lies.insert(placement.id.clone(), (placement.clone(), lie));
        }
        if self.selected_placement().is_none() {
            self.selected = None;
        }
        let drafted = self.scattering.draft.as_ref().map(|draft| &draft.rule.id);
        self.scattering.chosen.take_if(|id| drafted != Some(id) && job.scatters.iter().all(|rule| rule.id != *id));
        let drafted = self.wearing.draft.as_ref().map(|mark| &mark.id);
        self.wearing.chosen.take_if(|id| drafted != Some(id) && job.wear.iter().all(|mark| mark.id != *id));
        self.chalk &= line::chosen(self).is_some();
    }

    /// The placement whose canvas lies around a place of the cloth; of several, the one whose middle is nearest.
    pub(crate) fn placement_at(&self, place: Vec3) -> Option<String> {
        let around = self.job().placements.iter().filter_map(|placement| {
            let lie = self.lie(&placement.id)?;
            let (off, reach) = (lie.middle.distance(place), lie.knobs[1].distance(lie.middle));
            (off < reach).then_some((off, &placement.id))
        });
        around.min_by(|one, other| one.0.total_cmp(&other.0)).map(|(_, id)| id.clone())
    }
}

/// Whether two placements lie alike, however they meet the cloth.
pub(crate) fn lies_alike(one: &Placement, other: &Placement) -> bool {
    let of = |p: &Placement| (p.turn, p.size, p.mirror);
    one.patch == other.patch && one.spot == other.spot && of(one) == of(other)
}

/// The folder a job lies in.
pub(crate) fn folder_of(job: &Path) -> PathBuf {
    let folder = job.parent().unwrap_or(Path::new(""));
    if folder.as_os_str().is_empty() { PathBuf::from(".") } else { folder.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn front() -> Camera {
        Camera {
            eye: Vec3::new(0.0, 1.0, 5.0),
            target: Vec3::new(0.0, 1.0, 0.0),
            up: Vec3::Y,
            field: Angle::degrees(16.0),
            clear: 0.0,
        }
    }

    #[test]
    fn one_walks_around_at_the_same_distance() {
        for (turn, expected) in [(0.0, Vec3::Z), (90.0, Vec3::X), (180.0, Vec3::NEG_Z)] {
            let stance = Stance { turn: Angle::degrees(turn), lift: Angle::ZERO, ..Stance::default() };
            let camera = stance.camera(&front());
            assert!((camera.eye - camera.target - 5.0 * expected).length() < 1e-4, "{turn}: the eye is at {}", camera.eye);
        }
        let above = Stance { lift: Angle::degrees(90.0), ..Stance::default() }.camera(&front());
        assert!((above.eye - above.target - Vec3::Y * 5.0).length() < 1e-4, "lifted, one looks from above: {}", above.eye);
    }

    #[test]
    fn what_is_shifted_follows_the_pointer() {
        let stance = Stance { shift: [0.25, -0.1], ..Stance::default() };
        let aspect = 1.6;
        let middle = |stance: Stance| stance.camera(&front()).place_of(front().target, aspect).unwrap();
        let moved = middle(stance) - middle(Stance::default());
        assert!(
            (moved.x - 0.25 / aspect).abs() < 1e-3 && (moved.y - 0.1).abs() < 1e-3,
            "a quarter of the height to the right, a tenth down: {moved}"
        );
    }
}
