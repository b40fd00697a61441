//! UV islands of a whole garment, and places well inside them.

use glam::DVec2;
use tatter_core::image::{Image, Size};
use tatter_core::kernel::distance_to;
use tatter_core::mesh;
use tatter_core::model::Garment;

use super::{Face, Surface};

/// One island.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SurfaceIsland {
    /// The part it belongs to.
    pub part: usize,
    /// Area of its cloth, mm squared.
    pub area_mm2: f64,
    /// Its area in the texture, UV units squared, without sign.
    pub uv_area: f64,
}

impl SurfaceIsland {
    /// Millimetres of its cloth in one UV unit, geometric mean.
    pub fn mm_per_uv(&self) -> f64 {
        (self.area_mm2 / self.uv_area).sqrt()
    }
}

/// The islands of a garment.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SurfaceIslands {
    /// By face: its island.
    pub of_face: Vec<u32>,
    /// The islands, by part, then by their first faces.
    pub all: Vec<SurfaceIsland>,
}

/// Find the islands of the garment a surface was made of; a sheet of a bare map set is one. Costs a sort of the edges.
pub fn islands(garment: &Garment, surface: &Surface) -> SurfaceIslands {
    let mut found = SurfaceIslands::default();
    match &garment.mesh {
        Some(mesh) => {
            let mut first = 0;
            for part in &mesh.parts {
                let own = mesh::islands(part);
                found.of_face.extend(own.of_triangle.iter().map(|island| first + island));
                first += own.all.len() as u32;
            }
        }
        None => found.of_face.extend(surface.faces.iter().map(|face| face.part as u32)),
    }
    let count = found.of_face.iter().max().map_or(0, |most| *most as usize + 1);
    found.all = vec![SurfaceIsland { part: 0, area_mm2: 0.0, uv_area: 0.0 }; count];
    for (face, &island) in surface.faces.iter().zip(&found.of_face) {
        let island = &mut found.all[island as usize];
        let [a, b, c] = face.corners;
        island.part = face.part;
        island.area_mm2 += 0.5 * (b - a).cross(c - a).length();
        island.uv_area += 0.5 * face.uv_area2().abs();
    }
    found
}

/// A place inside an island.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InnerPlace {
    /// Its face.
    pub face: usize,
    /// Its texture coordinates.
    pub uv: DVec2,
}

/// Cells along the longer side of an island in which places are looked for.
const CELLS: f64 = 96.0;

/// Up to `count` places of an island that lie as far from its rim as it allows, and from each other at least `apart` UV units
/// where it is large enough. `faces` are the island's own. Linear in the faces.
pub fn inner_places(surface: &Surface, faces: &[usize], apart: f64, count: usize) -> Vec<InnerPlace> {
    let uvs = || faces.iter().flat_map(|&face| surface.faces[face].uvs);
    let (low, high) = uvs().fold((DVec2::MAX, DVec2::MIN), |(low, high), uv| (low.min(uv), high.max(uv)));
    let cell = (high - low).max_element() / CELLS;
    if !(cell.is_finite() && cell > 0.0) {
        return Vec::new();
    }
    // A free cell all around is what a rim is measured from.
    let size = ((high - low) / cell).ceil() + 2.0;
    let size = Size::new(size.x as usize, size.y as usize);
    let uv_of = |x: usize, y: usize| low + DVec2::new(x as f64 - 0.5, y as f64 - 0.5) * cell;
    let mut owner: Image<Option<usize>> = Image::filled(size.width, size.height, None);
    for &face in faces {
        own(&mut owner, &surface.faces[face], face, |uv| (uv - low) / cell + 1.0, uv_of);
    }
    let mut room = distance_to(&owner.map(|face| face.is_none()));
    let mut places = Vec::new();
    while places.len() < count {
        let best = (0..size.height).flat_map(|y| (0..size.width).map(move |x| (x, y)));
        let best = best.filter(|&(x, y)| room.get(x, y) > 0.0).max_by(|a, b| room.get(a.0, a.1).total_cmp(&room.get(b.0, b.1)));
        let Some((x, y)) = best else { break };
        let uv = uv_of(x, y);
        places.extend(owner.get(x, y).map(|face| InnerPlace { face, uv }));
        for v in 0..size.height {
            for u in 0..size.width {
                if uv_of(u, v).distance(uv) < apart.max(cell) {
                    room.set(u, v, 0.0);
                }
            }
        }
    }
    places
}

/// Give a face the cells whose middles it holds.
fn own(
    owner: &mut Image<Option<usize>>,
    face: &Face,
    number: usize,
    cells: impl Fn(DVec2) -> DVec2,
    uv_of: impl Fn(usize, usize) -> DVec2,
) {
    let [a, b, c] = face.uvs.map(cells);
    let (low, high) = (a.min(b).min(c).floor(), a.max(b).max(c).ceil());
    for y in low.y as usize..(high.y as usize).min(owner.height()) {
        for x in low.x as usize..(high.x as usize).min(owner.width()) {
            if face.weights_at_uv(uv_of(x, y)).is_some_and(|w| w.iter().all(|w| *w >= -1e-9)) {
                owner.set(x, y, Some(number));
            }
        }
    }
}
