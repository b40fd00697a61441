//! Other shots of the same cloth, and rectangles of four corners: what is told of them.

use std::path::{Path, PathBuf};

use tatter::color::Known;
use tatter::cutting::Told;
use tatter_core::model::{KnownSize, Scale};

use super::Sheet;
use super::told::far;
use crate::say;

/// What another file says of the cloth in the photo.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Shot {
    /// The same cloth over a dark card; the photo itself is over a light one.
    OverDark,
    /// A lamp or a window behind the cloth.
    Backlit,
    /// That lamp alone.
    Lamp,
    /// An even card in the cloth's place.
    Even,
    /// A lights file.
    Lights,
}

impl Shot {
    /// Those that are photos.
    pub(crate) const PHOTOS: [Self; 4] = [Self::OverDark, Self::Backlit, Self::Lamp, Self::Even];
    /// All of them.
    pub(crate) const ALL: [Self; 5] = [Self::OverDark, Self::Backlit, Self::Lamp, Self::Even, Self::Lights];

    /// The file that was told.
    pub(crate) fn of(self, told: &Told) -> Option<&Path> {
        let shots = &told.shots;
        let file = match self {
            Self::OverDark => &shots.over_dark,
            Self::Backlit => &shots.backlit,
            Self::Lamp => &shots.lamp,
            Self::Even => &told.color.flat_field,
            Self::Lights => &shots.lights,
        };
        file.as_deref()
    }
}

/// With another shot, or without; what can't stand beside it goes, as on the command line.
pub(super) fn with_shot(told: &Told, shot: Shot, file: Option<PathBuf>) -> Told {
    let mut told = told.clone();
    let is_there = file.is_some();
    let shots = &mut told.shots;
    match shot {
        Shot::OverDark => {
            shots.over_dark = file;
            if is_there {
                (shots.backlit, shots.lamp) = (None, None);
            } else {
                shots.backings = None;
            }
        }
        Shot::Backlit => {
            shots.backlit = file;
            if is_there {
                (shots.over_dark, shots.backings) = (None, None);
            } else {
                shots.lamp = None;
            }
        }
        Shot::Lamp => shots.lamp = file.filter(|_| shots.backlit.is_some()),
        Shot::Even => {
            told.color.flat_field = file;
            if is_there {
                shots.lights = None;
            }
        }
        Shot::Lights => {
            shots.lights = file;
            if is_there {
                told.color.flat_field = None;
                // It tells where each of its lamps stood.
                told.recipe.light_from = None;
            }
        }
    }
    told
}

/// What has four corners in the photo.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Quad {
    /// A chart of 24 colours.
    Chart,
    /// A rectangle of known size.
    Rectangle,
}

/// Its corners, where they were marked.
pub(crate) const fn corners(told: &Told, quad: Quad) -> Option<[[f32; 2]; 4]> {
    match (quad, told.color.known, told.recipe.scale) {
        (Quad::Chart, Some(Known::Chart(corners)), _) => Some(corners),
        (Quad::Rectangle, _, Scale::Rectangle { corners, .. }) => corners,
        _ => None,
    }
}

/// The four corners around a diagonal that was drawn; `None` of a line without breadth.
pub(crate) fn around(from: [f32; 2], to: [f32; 2]) -> Option<[[f32; 2]; 4]> {
    let (low, high) = ([0, 1].map(|c: usize| from[c].min(to[c])), [0, 1].map(|c: usize| from[c].max(to[c])));
    let is_broad = high[0] - low[0] >= LEAST && high[1] - low[1] >= LEAST;
    is_broad.then_some([low, [high[0], low[1]], high, [low[0], high[1]]])
}

/// Least side of what is marked, pixels.
const LEAST: f32 = 4.0;

impl Sheet {
    /// The files that what is cut is read from.
    pub(crate) fn files(&self) -> Vec<PathBuf> {
        let told = self.told();
        let beside = Shot::ALL.iter().filter_map(|shot| shot.of(told).map(Path::to_owned));
        std::iter::once(self.path.clone()).chain(beside).collect()
    }

    /// The size of the rectangle that is told, or of the one that is to be marked next.
    pub(crate) fn rectangle(&self) -> Option<KnownSize> {
        match (self.told().recipe.scale, self.known_size) {
            (Scale::Rectangle { corners: None, .. } | Scale::Unknown, Some(size @ KnownSize::Told { .. })) => Some(size),
            (Scale::Rectangle { size, .. }, _) => Some(size),
            _ => None,
        }
    }

    pub(super) fn mark(&mut self, quad: Quad, from: [f32; 2], to: [f32; 2]) {
        if far(from, to) >= LEAST
            && let Some(corners) = around(from, to)
        {
            let told = self.with_corners(quad, corners);
            self.tell(say::step_quad(quad), told);
        }
    }

    pub(super) fn with_corners(&self, quad: Quad, corners: [[f32; 2]; 4]) -> Told {
        let mut told = Told::clone(self.told());
        match quad {
            Quad::Chart => told.color.known = Some(Known::Chart(corners)),
            Quad::Rectangle => {
                let size = self.rectangle().unwrap_or(KnownSize::Card);
                told.recipe.scale = Scale::Rectangle { size, corners: Some(corners) };
            }
        }
        told
    }

    /// A corner is elsewhere, while it is dragged.
    pub(super) fn move_corner(&mut self, quad: Quad, number: usize, place: [f32; 2]) {
        let Some(mut marked) = corners(self.told(), quad) else { return };
        let Some(corner) = marked.get_mut(number) else { return };
        *corner = place;
        let told = self.with_corners(quad, marked);
        self.steps.make_in_gesture(say::step_quad(quad), told);
    }

    /// What the rectangle is. One whose size has a name is found in the photo; of another the corners must be marked.
    pub(super) fn size_rectangle(&mut self, size: KnownSize) {
        self.known_size = Some(size);
        let marked = corners(self.told(), Quad::Rectangle);
        if marked.is_none() && matches!(size, KnownSize::Told { .. }) {
            return;
        }
        let mut told = Told::clone(self.told());
        told.recipe.scale = Scale::Rectangle { size, corners: marked };
        if told != **self.told() {
            self.steps.make_in_gesture(say::STEP_RECTANGLE_SIZE, told);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(shots: &[Shot]) -> Told {
        shots.iter().fold(Told::default(), |told, shot| with_shot(&told, *shot, Some(PathBuf::from(format!("{shot:?}")))))
    }

    #[test]
    fn what_cannot_stand_beside_a_shot_goes() {
        let said = |told: &Told| Shot::ALL.into_iter().filter(|shot| shot.of(told).is_some()).collect::<Vec<_>>();
        assert_eq!(said(&with(&[Shot::Backlit, Shot::Lamp])), [Shot::Backlit, Shot::Lamp], "a lamp belongs to its shot");
        assert_eq!(said(&with(&[Shot::Backlit, Shot::Lamp, Shot::OverDark])), [Shot::OverDark], "two backings, no lamp behind");
        assert_eq!(said(&with(&[Shot::OverDark, Shot::Backlit])), [Shot::Backlit], "nor the other way round");
        assert_eq!(said(&with(&[Shot::Lamp])), [], "a lamp alone says nothing");
        assert_eq!(said(&with(&[Shot::Even, Shot::Lights])), [Shot::Lights], "a lights file names its card itself");
        let none = with_shot(&with(&[Shot::Backlit, Shot::Lamp]), Shot::Backlit, None);
        assert_eq!(none, Told::default(), "taken back, nothing is left of it");
    }

    #[test]
    fn a_diagonal_is_four_corners_in_order_around() {
        let corners = around([90.0, 10.0], [20.0, 60.0]);
        assert_eq!(corners, Some([[20.0, 10.0], [90.0, 10.0], [90.0, 60.0], [20.0, 60.0]]), "whichever way it was drawn");
        assert_eq!(around([5.0, 5.0], [90.0, 6.0]), None, "a line is no rectangle");
    }
}
