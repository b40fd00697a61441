//! The densities that say where there is more.

use std::sync::Arc;

use glam::DVec3;
use tatter_core::image::{Image, Unit};
use tatter_core::model::Density;

use super::lines::{Lines, Nearest, edges, seams};
use super::{Curvature, Place};
use crate::surface::Surface;

/// Curvature is smoothed over this share of the radius asked for: the wrinkles of an elbow are not the elbow.
const SMOOTH: f64 = 0.15;

/// What one density needs of the surface.
#[derive(Debug)]
enum Known {
    /// A picture, a height, a direction: nothing.
    Nothing,
    Lines(Lines),
    Curvature(Curvature),
}

/// What densities need of the surface: costs time to find, and stays as long as they and where they may lie do.
#[derive(Debug)]
pub(crate) struct Sought {
    known: Vec<Known>,
    /// Bottom and top of the garment.
    heights: [f64; 2],
}

/// Everything the densities of a rule need of the surface.
pub(crate) struct Weight<'a> {
    surface: &'a Surface,
    densities: &'a [Density],
    pictures: &'a [Option<Image<Unit>>],
    sought: Arc<Sought>,
}

impl Sought {
    pub(crate) fn new(surface: &Surface, allowed: &[bool], densities: &[Density]) -> Self {
        let known = |density: &Density| match density {
            Density::Edges(reach) => Known::Lines(edges(surface, allowed, reach.get().into())),
            Density::Seams(reach) => Known::Lines(seams(surface, allowed, reach.get().into())),
            Density::Bends(radius) | Density::Bulges(radius) | Density::Hollows(radius) => {
                Known::Curvature(Curvature::new(surface, SMOOTH * f64::from(radius.get())))
            }
            Density::Picture(_) | Density::Height(_) | Density::Facing(_) => Known::Nothing,
        };
        let heights = (0..surface.faces().len())
            .filter(|face| allowed[*face])
            .flat_map(|face| surface.faces()[face].corners)
            .fold([f64::MAX, f64::MIN], |[low, high], p| [low.min(p.y), high.max(p.y)]);
        Self { known: densities.iter().map(known).collect(), heights }
    }

    /// The lines of hems and seams that attract.
    pub(crate) fn lines(&self) -> impl Iterator<Item = &Lines> {
        self.known.iter().filter_map(|known| if let Known::Lines(lines) = known { Some(lines) } else { None })
    }
}

impl<'a> Weight<'a> {
    /// With what these densities need. `pictures` has one entry a density: the picture, where it is one.
    pub(crate) const fn of(
        surface: &'a Surface,
        densities: &'a [Density],
        pictures: &'a [Option<Image<Unit>>],
        sought: Arc<Sought>,
    ) -> Self {
        Self { surface, densities, pictures, sought }
    }

    /// The lines of hems and seams that attract.
    pub(crate) fn lines(&self) -> impl Iterator<Item = &Lines> {
        self.sought.lines()
    }

    /// At a place, by looking for the lines near it.
    pub(crate) fn at(&self, place: &Place) -> f64 {
        let nearest: Vec<Option<Nearest>> = self.lines().map(|lines| lines.nearest(self.surface, place)).collect();
        self.at_known(place, &nearest)
    }

    /// At a place whose nearest places of [`Weight::lines`] are known.
    pub(crate) fn at_known(&self, place: &Place, nearest: &[Option<Nearest>]) -> f64 {
        let mut nearest = nearest.iter();
        self.densities.iter().zip(&self.sought.known).enumerate().fold(1.0, |product, (number, (density, known))| {
            let near = matches!(known, Known::Lines(_)).then(|| nearest.next().copied().flatten()).flatten();
            let picture = self.pictures.get(number).and_then(Option::as_ref);
            product * self.one(place, density, picture, known, near)
        })
    }

    fn one(&self, place: &Place, density: &Density, picture: Option<&Image<Unit>>, known: &Known, near: Option<Nearest>) -> f64 {
        let curvature = || match known {
            Known::Curvature(curvature) => curvature.at(self.surface, place.face, place.weights),
            _ => [0.0; 2],
        };
        match density {
            Density::Picture(_) => picture.map_or(1.0, |picture| {
                let face = &self.surface.faces()[place.face];
                let uv = (0..3).map(|k| face.uvs[k] * place.weights[k]).sum::<glam::DVec2>();
                let uv = uv - uv.floor();
                let (x, y) = (uv.x * picture.width() as f64, uv.y * picture.height() as f64);
                f64::from(picture.bilinear(x as f32, y as f32).0.clamp(0.0, 1.0))
            }),
            Density::Height([most, none]) => {
                let [low, high] = self.sought.heights;
                let share = (place.point.y - low) / (high - low).max(1e-9);
                let (most, none) = (f64::from(*most), f64::from(*none));
                if most == none { 1.0 } else { ((share - none) / (most - none)).clamp(0.0, 1.0) }
            }
            Density::Edges(reach) | Density::Seams(reach) => {
                near.map_or(0.0, |near| (1.0 - near.distance / f64::from(reach.get()).max(1e-9)).clamp(0.0, 1.0))
            }
            Density::Bends(radius) => {
                let [most, least] = curvature();
                (most.max(-least) * f64::from(radius.get())).clamp(0.0, 1.0)
            }
            Density::Bulges(radius) => (curvature()[0] * f64::from(radius.get())).clamp(0.0, 1.0),
            Density::Hollows(radius) => (-curvature()[1] * f64::from(radius.get())).clamp(0.0, 1.0),
            Density::Facing(facing) => {
                // Slow at first: no line is to be seen where cloth turns away.
                let share = DVec3::from(facing.axis()).dot(place.normal).clamp(0.0, 1.0);
                share * share * (3.0 - 2.0 * share)
            }
        }
    }
}
