//! Which textures a placement reaches, and how each of its faces maps texels to the patch.

use std::ops::Range;

use glam::{DMat2, DVec2};
use tatter_core::image::{Rect, Size};
use tatter_core::model::{Garment, MapSet, Patch};

use super::pyramid::{Prepared, last_level};
use super::sampler::{Filter, stretches};
use crate::place::{Footprint, FootprintFace};
use crate::surface::{Face, Surface};

/// Files of one map set that have one size and so share everything but their values.
#[derive(Debug)]
pub(super) struct Target {
    pub(super) set: usize,
    pub(super) size: Size,
    /// Numbers of the files in the set.
    pub(super) files: Vec<usize>,
}

/// Which map set each face shows.
#[derive(Debug)]
pub(super) struct Assignment {
    /// Per face; `None` when its material has no textures.
    pub(super) set: Vec<Option<usize>>,
    /// Per set: whether its UVs repeat the texture, so that one texel shows in many places and there is no gutter.
    pub(super) repeats: Vec<bool>,
    /// Per set: whether it is one of several UV tiles of its material.
    tiled: Vec<bool>,
}

/// Islands may leave 0..1 by this much through rounding and still not repeat.
const UV_SLACK: f64 = 1e-3;

impl Assignment {
    pub(super) fn new(surface: &Surface, sets: &[MapSet]) -> Self {
        let by_material: Vec<Vec<usize>> = surface.parts().iter().map(|part| sets_of(&part.material, sets)).collect();
        let mut tiled = vec![false; sets.len()];
        for own in &by_material {
            let several = own.len() > 1 || own.iter().any(|&s| sets[s].tile != tatter_core::model::UvTile::default());
            own.iter().for_each(|&s| tiled[s] |= several);
        }
        let mut cells: Vec<Option<(f64, f64)>> = vec![None; sets.len()];
        let mut repeats = vec![false; sets.len()];
        let set = surface
            .faces()
            .iter()
            .map(|face| {
                let own = &by_material[face.part];
                let cell = face.uv_centre().floor();
                let found = if own.iter().any(|&s| tiled[s]) {
                    own.iter().copied().find(|&s| (f64::from(sets[s].tile.u), -f64::from(sets[s].tile.v)) == (cell.x, cell.y))?
                } else {
                    *own.first()?
                };
                let known = *cells[found].get_or_insert((cell.x, cell.y));
                let leaves = face
                    .uvs
                    .iter()
                    .any(|uv| (*uv - cell).min_element() < -UV_SLACK || (*uv - cell).max_element() > 1.0 + UV_SLACK);
                repeats[found] |= !tiled[found] && (leaves || known != (cell.x, cell.y));
                Some(found)
            })
            .collect();
        Self { set, repeats, tiled }
    }

    /// The UV cells whose texels a stretch of UV falls on.
    fn cells(&self, set: usize, sets: &[MapSet], low: DVec2, high: DVec2) -> Vec<DVec2> {
        if self.tiled[set] {
            return vec![DVec2::new(f64::from(sets[set].tile.u), -f64::from(sets[set].tile.v))];
        }
        let (first, last) = ((low + 1e-9).floor(), (high - 1e-9).floor().max((low + 1e-9).floor()));
        let mut all = Vec::new();
        let (mut y, slack) = (first.y, if self.repeats[set] { 0.0 } else { UV_SLACK });
        while y <= last.y {
            let mut x = first.x;
            while x <= last.x {
                let cell = DVec2::new(x, y);
                // Without repeats, what leaves the cell by rounding belongs to the cell.
                if (high - cell).min_element() > slack && (cell + 1.0 - low).min_element() > slack || first == last {
                    all.push(cell);
                }
                x += 1.0;
            }
            y += 1.0;
        }
        all
    }

    /// Texel corners of a face in one of its sets, in the cell its middle lies in.
    pub(super) fn texel_corners(&self, face: &Face, set: usize, sets: &[MapSet], size: Size) -> [DVec2; 3] {
        let cell = if self.tiled[set] {
            DVec2::new(f64::from(sets[set].tile.u), -f64::from(sets[set].tile.v))
        } else {
            face.uv_centre().floor()
        };
        face.uvs.map(|uv| (uv - cell) * DVec2::new(size.width as f64, size.height as f64))
    }

    /// Every face that shows textures of one size of a set, with the texels it can own: a margin around it lets it be found from every tile whose
    /// gutter is its own.
    pub(super) fn faces_of(&self, surface: &Surface, sets: &[MapSet], set: usize, size: Size, margin: i64) -> Vec<OwnedFace> {
        let all = surface.faces().iter().enumerate().filter(|(i, _)| self.set[*i] == Some(set));
        all.filter_map(|(i, face)| {
            let corners = self.texel_corners(face, set, sets, size);
            let bounds = Bounds::around(&corners, margin, size);
            (!bounds.is_empty()).then_some((i as u32, Triangle::new(corners)?, bounds))
        })
        .collect()
    }
}

fn sets_of(material: &str, sets: &[MapSet]) -> Vec<usize> {
    let named = |name: &str| -> Vec<usize> { (0..sets.len()).filter(|&s| sets[s].material == name).collect() };
    let own = named(material);
    if own.is_empty() { named("") } else { own }
}

/// Files of one size per set.
pub(super) fn targets(garment: &Garment) -> Vec<Target> {
    let mut all: Vec<Target> = Vec::new();
    for (set, maps) in garment.sets.iter().enumerate() {
        for (file, map) in maps.files.iter().enumerate() {
            match all.iter_mut().find(|t| t.set == set && t.size == map.size) {
                Some(target) => target.files.push(file),
                None => all.push(Target { set, size: map.size, files: vec![file] }),
            }
        }
    }
    all
}

/// A middle this near to an edge, in texels, lies on it: rounding, so that neighbours leave no crack between them.
const ON_EDGE: f64 = 1e-6;

/// A triangle in texels: for each edge a unit normal and an offset, positive inside.
#[derive(Clone, Copy, Debug)]
pub(super) struct Triangle {
    edges: [[f64; 3]; 3],
}

impl Triangle {
    /// `None` when it has no area.
    pub(super) fn new(corners: [DVec2; 3]) -> Option<Self> {
        let area = (corners[1] - corners[0]).perp_dot(corners[2] - corners[0]);
        if area.abs() < 1e-9 {
            return None;
        }
        let edges = std::array::from_fn(|k| {
            let (a, b) = (corners[k], corners[(k + 1) % 3]);
            let n = (b - a).perp().normalize_or_zero() * area.signum();
            [n.x, n.y, -n.dot(a)]
        });
        Some(Self { edges })
    }

    /// Columns of row `y` within `from..to` whose texels' middles lie inside or on the edge.
    pub(super) fn columns(&self, y: i64, from: i64, to: i64) -> Range<i64> {
        let (mut low, mut high) = (from as f64, to as f64);
        for [a, b, c] in self.edges {
            // Inside is where a·x grows beyond this; one texel of slack, trimmed exactly below.
            let x = -(b * (y as f64 + 0.5) + c) / a;
            if a > 1e-9 {
                low = low.max(x - 2.0);
            } else if a < -1e-9 {
                high = high.min(x + 2.0);
            }
        }
        let (mut low, mut high) = (low as i64, (high.max(low)).ceil() as i64);
        while low < high && self.depth(low, y) < -ON_EDGE {
            low += 1;
        }
        while low < high && self.depth(high - 1, y) < -ON_EDGE {
            high -= 1;
        }
        low..high.max(low)
    }

    /// How deep the middle of a texel lies inside; negative outside.
    #[inline]
    pub(super) fn depth(&self, x: i64, y: i64) -> f64 {
        let (x, y) = (x as f64 + 0.5, y as f64 + 0.5);
        let at = |e: [f64; 3]| e[0] * x + e[1] * y + e[2];
        at(self.edges[0]).min(at(self.edges[1])).min(at(self.edges[2]))
    }
}

/// Whole texels: first and one past the last column and row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Bounds {
    pub(super) x0: i64,
    pub(super) y0: i64,
    pub(super) x1: i64,
    pub(super) y1: i64,
}

impl Bounds {
    pub(super) fn around(points: &[DVec2], margin: i64, size: Size) -> Self {
        let (low, high) = points.iter().fold((DVec2::MAX, DVec2::MIN), |(l, h), p| (l.min(*p), h.max(*p)));
        Self {
            x0: low.x.floor() as i64 - margin,
            y0: low.y.floor() as i64 - margin,
            x1: high.x.ceil() as i64 + margin,
            y1: high.y.ceil() as i64 + margin,
        }
        .intersect(Self::whole(size))
    }

    /// All of a texture.
    pub(super) const fn whole(size: Size) -> Self {
        Self { x0: 0, y0: 0, x1: size.width as i64, y1: size.height as i64 }
    }

    /// Of a row and a column of tiles of one side.
    pub(super) const fn tile(row: i64, column: i64, side: i64) -> Self {
        Self { x0: column * side, y0: row * side, x1: (column + 1) * side, y1: (row + 1) * side }
    }

    /// More on every side.
    pub(super) const fn grown(self, by: i64) -> Self {
        Self { x0: self.x0 - by, y0: self.y0 - by, x1: self.x1 + by, y1: self.y1 + by }
    }

    /// Row and column of every tile of one side that it touches; it must not be empty.
    pub(super) fn tiles(self, side: i64) -> impl Iterator<Item = (i64, i64)> {
        (self.y0 / side..=(self.y1 - 1) / side)
            .flat_map(move |row| (self.x0 / side..=(self.x1 - 1) / side).map(move |column| (row, column)))
    }

    /// As a part of a picture; it must lie in it.
    pub(super) const fn rect(self) -> Rect {
        Rect::new(self.x0 as usize, self.y0 as usize, (self.x1 - self.x0) as usize, (self.y1 - self.y0) as usize)
    }

    pub(super) fn intersect(self, other: Self) -> Self {
        Self { x0: self.x0.max(other.x0), y0: self.y0.max(other.y0), x1: self.x1.min(other.x1), y1: self.y1.min(other.y1) }
    }

    pub(super) fn union(self, other: Self) -> Self {
        Self { x0: self.x0.min(other.x0), y0: self.y0.min(other.y0), x1: self.x1.max(other.x1), y1: self.y1.max(other.y1) }
    }

    pub(super) const fn is_empty(self) -> bool {
        self.x1 <= self.x0 || self.y1 <= self.y0
    }

    pub(super) const fn contains(self, x: i64, y: i64) -> bool {
        x >= self.x0 && x < self.x1 && y >= self.y0 && y < self.y1
    }
}

/// A face of a target: number, place, the texels it can own.
pub(super) type OwnedFace = (u32, Triangle, Bounds);

/// The faces that show a target, with those that can own texels of each tile at hand.
#[derive(Debug)]
pub(super) struct OwnedFaces {
    all: Vec<OwnedFace>,
    columns: i64,
    /// By tile, row by row: places in the list.
    in_tile: Vec<Vec<u32>>,
}

impl OwnedFaces {
    /// Costs the faces, each once for every tile it reaches.
    pub(super) fn new(all: Vec<OwnedFace>, size: Size, side: i64) -> Self {
        let tiles = |length: usize| (length as i64 + side - 1) / side;
        let columns = tiles(size.width);
        let mut in_tile = vec![Vec::new(); (columns * tiles(size.height)) as usize];
        for (i, (_, _, bounds)) in all.iter().enumerate() {
            for (row, column) in bounds.tiles(side) {
                in_tile[(row * columns + column) as usize].push(i as u32);
            }
        }
        Self { all, columns, in_tile }
    }

    /// All of them, in order.
    pub(super) fn all(&self) -> &[OwnedFace] {
        &self.all
    }

    /// Those of a tile, in order.
    pub(super) fn of_tile(&self, (row, column): (i64, i64)) -> impl Iterator<Item = OwnedFace> + '_ {
        self.in_tile[(row * self.columns + column) as usize].iter().map(|&i| self.all[i as usize])
    }
}

/// One face of a placement in one target.
#[derive(Clone, Debug)]
pub(super) struct Draw {
    pub(super) face: usize,
    pub(super) triangle: Triangle,
    /// Texels it can change, gutter included.
    pub(super) bounds: Bounds,
    /// Patch texels from garment texels.
    pub(super) patch_from_texel: [[f64; 3]; 2],
    /// Normal-map slopes (right, up) from patch slopes (right, up).
    pub(super) slopes_from_patch: [[f32; 2]; 2],
    pub(super) filter: Filter,
    /// Longest and shortest patch mm for a mm of cloth.
    pub(super) stretch: (f64, f64),
    /// Whether the patch has cover in the middle of what the face shows.
    pub(super) covered: bool,
}

impl Draw {
    /// The place in the patch that the middle of a texel shows.
    #[inline]
    pub(super) fn patch_at(&self, x: i64, y: i64) -> (f64, f64) {
        let (x, y) = (x as f64 + 0.5, y as f64 + 0.5);
        let [u, v] = self.patch_from_texel;
        (u[0] * x + u[1] * y + u[2], v[0] * x + v[1] * y + v[2])
    }

    /// Its texels that show a part of the patch, between places in patch texels across and down, and a few beside them.
    pub(super) fn showing(&self, [across, down]: [[f64; 2]; 2], size: Size) -> Bounds {
        let [u, v] = self.patch_from_texel;
        let texel_from_patch = DMat2::from_cols_array(&[u[0], v[0], u[1], v[1]]).inverse();
        let corners = [0, 1, 2, 3].map(|i| texel_from_patch * DVec2::new(across[i % 2] - u[2], down[i / 2] - v[2]));
        if !corners.iter().all(|corner| corner.is_finite()) {
            return self.bounds;
        }
        Bounds::around(&corners, 2, size).intersect(self.bounds)
    }

    /// Of some columns of row `y` at least those that show a part of the patch between places in patch texels across and down.
    pub(super) fn columns_showing(&self, parts: &[[f64; 2]; 2], y: i64, columns: Range<i64>) -> Range<i64> {
        let (mut low, mut high) = (columns.start as f64, columns.end as f64);
        for ([by_x, by_y, c], part) in self.patch_from_texel.iter().zip(parts) {
            let first = by_x * 0.5 + by_y * (y as f64 + 0.5) + c;
            let [one, other] = part.map(|end| (end - first) / by_x);
            if one.is_finite() && other.is_finite() {
                (low, high) = (low.max(one.min(other).floor()), high.min(one.max(other).ceil() + 1.0));
            }
        }
        low as i64..high.max(low) as i64
    }
}

/// What stays the same for every face of one placement in one target.
#[derive(Debug)]
pub(super) struct DrawContext<'a> {
    pub(super) surface: &'a Surface,
    pub(super) assignment: &'a Assignment,
    pub(super) sets: &'a [MapSet],
    pub(super) target: &'a Target,
    pub(super) footprint: &'a Footprint,
    pub(super) patch: &'a Patch,
    pub(super) prepared: &'a Prepared,
    pub(super) padding: i64,
}

impl DrawContext<'_> {
    /// All faces of the placement that show in the target.
    pub(super) fn draws(&self) -> Vec<Draw> {
        self.own().flat_map(|face| self.draws_of(face, 0.0)).collect()
    }

    /// The same beyond the cover, by a share of the canvas, on one part of the mesh.
    pub(super) fn around(&self, part: usize, share: f64) -> Vec<Draw> {
        let beyond = share * self.patch.size().width.max(self.patch.size().height) as f64;
        self.own().filter(|f| self.surface.faces()[f.face].part == part).flat_map(|face| self.draws_of(face, beyond)).collect()
    }

    fn own(&self) -> impl Iterator<Item = &FootprintFace> {
        self.footprint.faces.iter().filter(|f| self.assignment.set[f.face] == Some(self.target.set))
    }

    /// A face, as far as `beyond` patch texels from the cover.
    fn draws_of(&self, placed: &FootprintFace, beyond: f64) -> Vec<Draw> {
        let face = &self.surface.faces()[placed.face];
        let patch_size = self.patch.size();
        let half = DVec2::new(patch_size.width as f64, patch_size.height as f64) * 0.5;
        let per_mm = 1.0 / f64::from(self.patch.scale.get()).max(1e-9);
        let patch = placed.corners_mm.map(|mm| mm * per_mm + half);
        let size = self.target.size;
        let scale = DVec2::new(size.width as f64, size.height as f64);
        let texels = face.uvs.map(|uv| uv * scale);
        let (Some(_), Some([right, up])) = (Triangle::new(texels), face.tangents()) else { return Vec::new() };
        let linear = DMat2::from_cols(patch[1] - patch[0], patch[2] - patch[0])
            * DMat2::from_cols(texels[1] - texels[0], texels[2] - texels[0]).inverse();
        let jacobian = [[linear.x_axis.x, linear.y_axis.x], [linear.x_axis.y, linear.y_axis.y]];
        let filter = Filter::new(jacobian, last_level(patch_size.width, patch_size.height));

        let margin = filter.support + 1.0 + beyond;
        let [left, top, right_edge, bottom] = self.prepared.cover_bounds;
        let window = [left - margin, top - margin, right_edge + margin, bottom + margin];
        let polygon = clip(&[(patch[0], face.uvs[0]), (patch[1], face.uvs[1]), (patch[2], face.uvs[2])], window);
        if polygon.is_empty() || right_edge <= left {
            return Vec::new();
        }
        let middle = polygon.iter().map(|p| p.0).sum::<DVec2>() / polygon.len() as f64;
        let (low, high) = polygon.iter().fold((DVec2::MAX, DVec2::MIN), |(l, h), p| (l.min(p.1), h.max(p.1)));

        let k = self.footprint.enlargement;
        let x_gradient = face.gradient(placed.corners_mm.map(|mm| mm.x)) * k;
        let y_gradient = face.gradient(placed.corners_mm.map(|mm| -mm.y)) * k;
        let slopes = [[x_gradient.dot(right), y_gradient.dot(right)], [x_gradient.dot(up), y_gradient.dot(up)]];
        let (long, short, _) = stretches(slopes);
        let padding = if self.assignment.repeats[self.target.set] { 0 } else { self.padding };
        self.assignment
            .cells(self.target.set, self.sets, low, high)
            .into_iter()
            .filter_map(|cell| {
                let corners = face.uvs.map(|uv| (uv - cell) * scale);
                let points: Vec<DVec2> = polygon.iter().map(|p| (p.1 - cell) * scale).collect();
                let offset = patch[0] - linear * corners[0];
                let bounds = Bounds::around(&points, padding, size);
                (!bounds.is_empty()).then_some(())?;
                Some(Draw {
                    face: placed.face,
                    triangle: Triangle::new(corners)?,
                    bounds,
                    patch_from_texel: [[jacobian[0][0], jacobian[0][1], offset.x], [jacobian[1][0], jacobian[1][1], offset.y]],
                    slopes_from_patch: slopes.map(|row| row.map(|v| v as f32)),
                    filter,
                    stretch: (long, short),
                    covered: self.prepared.may_cover(middle.x, middle.y),
                })
            })
            .collect()
    }
}

/// A polygon of (patch, uv) corners cut to a window in the patch (Sutherland, Hodgman, "Reentrant Polygon Clipping", 1974).
fn clip(polygon: &[(DVec2, DVec2)], [left, top, right, bottom]: [f64; 4]) -> Vec<(DVec2, DVec2)> {
    let sides: [(DVec2, f64); 4] = [(DVec2::X, -left), (DVec2::NEG_X, right), (DVec2::Y, -top), (DVec2::NEG_Y, bottom)];
    let mut corners = polygon.to_vec();
    for (normal, offset) in sides {
        let inside = |p: &(DVec2, DVec2)| normal.dot(p.0) + offset;
        let mut cut = Vec::with_capacity(corners.len() + 1);
        for (i, a) in corners.iter().enumerate() {
            let b = &corners[(i + 1) % corners.len()];
            let (da, db) = (inside(a), inside(b));
            if da >= 0.0 {
                cut.push(*a);
            }
            if (da >= 0.0) != (db >= 0.0) {
                let t = da / (da - db);
                cut.push((a.0.lerp(b.0, t), a.1.lerp(b.1, t)));
            }
        }
        corners = cut;
    }
    corners
}
