//! The photo as from straight above, by a rectangle of known size that lies on the cloth, and everything told of it moved along; or as it
//! was taken, by a ruler.

use tatter_capture::photo::Homography;
use tatter_capture::plane::{PlaneError, Straight, place, straighten};
use tatter_capture::ruler::{Ruler, find_ruler};
use tatter_core::angle::Angle;
use tatter_core::image::{Image, Size};
use tatter_core::model::{CutRecipe, KnownSize, Photo, Scale, ScaleSource};
use tatter_core::task::Task;
use tatter_core::units::MmPerTexel;

use super::{Canvas, CutError};

/// A photo's place on its cloth.
#[derive(Clone, Debug)]
pub(super) struct Flat {
    by: By,
    /// Of the photo as it was taken.
    pub(super) photo: Size,
}

#[derive(Clone, Debug)]
enum By {
    Rectangle(Straight),
    /// With its place.
    Ruler(Ruler, Image<bool>),
}

/// Find the rectangle or the ruler that the recipe tells of; `None` when it tells of none.
pub(super) fn flat(photo: &Photo, recipe: &CutRecipe, task: &Task) -> Result<Option<Flat>, CutError> {
    let color = &photo.color;
    let by = match recipe.scale {
        Scale::Rectangle { size, corners } => {
            let placed = task.stage("straighten", || place(color, size, corners, task))?;
            By::Rectangle(straighten(placed, color.size())?)
        }
        Scale::FoundRuler => {
            let ruler = task.stage("ruler", || find_ruler(color, task))?;
            let aside = ruler.aside();
            By::Ruler(ruler, aside)
        }
        _ => return Ok(None),
    };
    Ok(Some(Flat { by, photo: color.size() }))
}

impl Flat {
    /// Refuse a photo that would have to be resampled.
    pub(super) fn unwarped(self) -> Result<Self, PlaneError> {
        if let Some(straight) = self.warped() {
            let placed = &straight.placed;
            return Err(PlaneError::NotAbove { size: placed.size.name(), tilt_deg: placed.misfit.tilt_deg });
        }
        Ok(self)
    }

    /// Where perspective is taken out.
    fn warped(&self) -> Option<&Straight> {
        match &self.by {
            By::Rectangle(straight) => straight.is_warped().then_some(straight),
            By::Ruler(..) => None,
        }
    }

    /// The photo straightened.
    pub(super) fn show(&self, photo: &Photo) -> Photo {
        let color = match &self.by {
            By::Rectangle(straight) => straight.show(&photo.color),
            By::Ruler(..) => photo.color.clone(),
        };
        Photo { color, alpha: None, ..super::without_color(photo) }
    }

    pub(super) const fn aside(&self) -> &Image<bool> {
        match &self.by {
            By::Rectangle(Straight { aside, .. }) | By::Ruler(_, aside) => aside,
        }
    }

    /// At a place of the straightened photo.
    pub(super) fn scale_at(&self, place: [f32; 2]) -> MmPerTexel {
        match &self.by {
            By::Rectangle(straight) => straight.scale,
            By::Ruler(ruler, _) => MmPerTexel(ruler.scale_at(place.map(f64::from)) as f32),
        }
    }

    pub(super) const fn source(&self) -> ScaleSource {
        match &self.by {
            By::Ruler(..) => ScaleSource::Ruler,
            By::Rectangle(straight) => match straight.placed.size {
                KnownSize::Card => ScaleSource::Card,
                KnownSize::A4 | KnownSize::A5 | KnownSize::A6 => ScaleSource::Sheet,
                KnownSize::Told { .. } => ScaleSource::Corners,
            },
        }
    }

    /// Deviation of the scale at the middle of a canvas, as a share of it.
    pub(super) fn uncertainty(&self, canvas: &Canvas) -> f32 {
        match &self.by {
            By::Rectangle(straight) => straight.uncertainty_at(middle(canvas), self.photo) as f32,
            By::Ruler(ruler, _) => ruler.uncertainty_at(middle(canvas)) as f32,
        }
    }

    /// Place in the photo as it was taken of a place on the canvas, where perspective was taken out.
    pub(super) fn warp(&self, canvas: &Canvas) -> Option<Homography> {
        let [a, b] = canvas.photo_from_patch.map(|row| row.map(f64::from));
        self.warped().map(|straight| straight.photo_from_straight.after(&Homography([a, b, [0.0, 0.0, 1.0]])))
    }

    /// What was told of the photo, as it is of the straightened one.
    pub(super) fn moved(&self, recipe: &CutRecipe) -> CutRecipe {
        let mut moved = recipe.clone();
        let Some(straight) = self.warped() else { return moved };
        let there = straight.photo_from_straight.inverse();
        let to = |place: [f32; 2]| there.at(place.map(f64::from)).map(|v| v as f32);
        let longer = |place: [f32; 2]| there.area_at(place.map(f64::from)).abs().sqrt() as f32;
        let middle = [0.5 * self.photo.width as f64, 0.5 * self.photo.height as f64];
        let turned = |angle: Angle| {
            let (sin, cos) = angle.sin_cos();
            let [[a, b], [c, d]] = there.slope_at(middle).map(|row| row.map(|v| v as f32));
            // Angles run counter-clockwise as seen, rows run down.
            Angle::radians((-(c * cos - d * sin)).atan2(a * cos - b * sin))
        };
        moved.around = recipe.around.map(|[x, y, radius]| {
            let [u, v] = to([x, y]);
            [u, v, radius * longer([x, y])]
        });
        for stroke in &mut moved.strokes {
            if let Some(first) = stroke.points.first() {
                stroke.radius *= longer(*first);
            }
            stroke.points.iter_mut().for_each(|point| *point = to(*point));
        }
        moved.aside.iter_mut().flatten().for_each(|corner| *corner = to(*corner));
        moved.grain = recipe.grain.map(turned);
        moved.light_from = recipe.light_from.map(turned);
        moved
    }

    /// How the scale came about, for people and for repeating the work.
    pub(super) fn provenance(&self) -> Vec<(String, String)> {
        let Straight { placed, photo_from_straight, size, .. } = match &self.by {
            By::Rectangle(straight) => straight,
            By::Ruler(ruler, _) => return vec![("ruler".to_owned(), ruler.told())],
        };
        let [w, h] = placed.size.mm();
        let corners = placed.corners.map(|[x, y]| format!("{x:.2}, {y:.2}")).join("; ");
        let misfit = placed.misfit;
        let mut lines = vec![
            ("rectangle".to_owned(), format!("{} of {} x {} mm, corners {corners}", placed.size.name(), w.get(), h.get())),
            (
                "rectangle_fit".to_owned(),
                format!(
                    "corners to {:.2} pixels; sides to each other {:+.2} % off, corners {:+.2} degrees, seen {:.1} degrees from above",
                    placed.deviation,
                    100.0 * misfit.aspect,
                    misfit.skew_deg,
                    misfit.tilt_deg
                ),
            ),
        ];
        if self.warped().is_some() {
            let numbers = photo_from_straight.0.map(|row| row.map(|v| format!("{v:.9}")).join(", ")).join("; ");
            lines.push(("straightened_size".to_owned(), size.to_string()));
            lines.push(("photo_from_straightened".to_owned(), numbers));
        }
        lines
    }
}

fn middle(canvas: &Canvas) -> [f64; 2] {
    let half = 0.5 * canvas.side as f32;
    canvas.photo(half, half).map(f64::from)
}
