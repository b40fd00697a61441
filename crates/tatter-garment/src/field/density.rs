//! The densities that say where there is more.

use glam::DVec3;
use tatter_core::image::{Image, Unit};
use tatter_core::model::Density;

use super::lines::{Lines, Nearest, edges, seams};
use super::{Curvature, Place};
use crate::surface::Surface;

/// Curvature is smoothed over this share of the radius asked for: the wrinkles of an elbow are not the elbow.
const SMOOTH: f64 = 0.15;

/// What one density needs of the surface.
enum Known {
    /// A picture, a height, a direction: nothing.
    Nothing,
    Lines(Lines),
    Curvature(Curvature),
}

/// Everything the densities of a rule need of the surface.
pub(crate) struct Weight<'a> {
    surface: &'a Surface,
    densities: Vec<(&'a Density, Option<&'a Image<Unit>>, Known)>,
    /// Bottom and top of the garment.
    heights: [f64; 2],
}

impl<'a> Weight<'a> {
    /// `pictures` has one entry a density: the picture, where it is one.
    pub(crate) fn new(
        surface: &'a Surface,
        allowed: &[bool],
        densities: &'a [Density],
        pictures: &'a [Option<Image<Unit>>],
    ) -> Self {
        let known = |density: &Density| match density {
            Density::Edges(reach) => Known::Lines(edges(surface, allowed, reach.get().into())),
            Density::Seams(reach) => Known::Lines(seams(surface, allowed, reach.get().into())),
            Density::Bends(radius) | Density::Bulges(radius) | Density::Hollows(radius) => {
                Known::Curvature(Curvature::new(surface, SMOOTH * f64::from(radius.get())))
            }
            Density::Picture(_) | Density::Height(_) | Density::Facing(_) => Known::Nothing,
        };
        let densities = densities
            .iter()
            .enumerate()
            .map(|(i, density)| (density, pictures.get(i).and_then(Option::as_ref), known(density)))
            .collect();
        let heights = (0..surface.faces().len())
            .filter(|face| allowed[*face])
            .flat_map(|face| surface.faces()[face].corners)
            .fold([f64::MAX, f64::MIN], |[low, high], p| [low.min(p.y), high.max(p.y)]);
        Self { surface, densities, heights }
    }

    /// The lines of hems and seams that attract.
    pub(crate) fn lines(&self) -> impl Iterator<Item = &Lines> {
        self.densities.iter().filter_map(|(_, _, known)| if let Known::Lines(lines) = known { Some(lines) } else { None })
    }

    /// At a place, by looking for the lines near it.
    pub(crate) fn at(&self, place: &Place) -> f64 {
        let nearest: Vec<Option<Nearest>> = self.lines().map(|lines| lines.nearest(self.surface, place)).collect();
        self.at_known(place, &nearest)
    }

    /// At a place whose nearest places of [`Weight::lines`] are known.
    pub(crate) fn at_known(&self, place: &Place, nearest: &[Option<Nearest>]) -> f64 {
        let mut nearest = nearest.iter();
        self.densities.iter().fold(1.0, |product, (density, picture, known)| {
            let near = matches!(known, Known::Lines(_)).then(|| nearest.next().copied().flatten()).flatten();
            product * self.one(place, density, *picture, known, near)
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
                let [low, high] = self.heights;
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
