//! A piece of the garment's cloth laid flat, as its textures show it: for pictures of a placement at true size.

use glam::DVec2;
use tatter_core::channel::Channel;
use tatter_core::image::{Image, LinearRgb, Map, Normal, Rect, Size, Stored, Unit};
use tatter_core::model::{Garment, MapRole, Spot};

use crate::build::set_of_face;
use crate::place::{PlaceSettings, unfold};
use crate::surface::islands::InnerPlace;
use crate::surface::{Face, LocateError, Seed, Surface};

/// What the textures hold there; grain up, the spot in the middle.
#[derive(Clone, Debug)]
pub struct Flat {
    /// Linear light; mid grey without a texture.
    pub color: Image<LinearRgb>,
    /// x right, y up of the picture; flat without a texture.
    pub normal: Image<Normal>,
    /// 0 also where there is no cloth.
    pub opacity: Image<Unit>,
}

/// A garment to be looked at in many places: its surface is made once.
#[derive(Debug)]
pub struct Viewer<'a> {
    garment: &'a Garment,
    surface: Surface,
    sets: Vec<Option<usize>>,
}

impl<'a> Viewer<'a> {
    /// Make the surface. Linear in the faces.
    pub fn new(garment: &'a Garment) -> Self {
        let surface = Surface::new(garment);
        let sets = set_of_face(&surface, &garment.sets);
        Self { garment, surface, sets }
    }

    /// Lay a square of cloth around a spot flat and read its textures, `pixels` to a side of `side_mm`. `pictures` are those of
    /// the garment's sets. Costs time in proportion to the faces of the garment and the pixels.
    ///
    /// # Errors
    /// [`LocateError`] when the spot is not on the cloth.
    pub fn lay_flat(&self, pictures: &[Vec<Stored>], spot: &Spot, side_mm: f64, pixels: usize) -> Result<Flat, LocateError> {
        let seed = self.surface.locate(spot, self.garment.mm_per_unit)?;
        Ok(self.lay(pictures, &seed, side_mm, pixels, |_| true))
    }

    /// As [`Viewer::lay_flat`] around a place of an island, showing only faces that `shown` wants.
    pub fn lay_place(
        &self,
        pictures: &[Vec<Stored>],
        place: &InnerPlace,
        side_mm: f64,
        pixels: usize,
        shown: impl Fn(usize) -> bool,
    ) -> Flat {
        let weights = self.surface.faces()[place.face].weights_at_uv(place.uv).unwrap_or([1.0 / 3.0; 3]);
        let seed = self.surface.seed(place.face, weights, 0.0, Vec::new());
        self.lay(pictures, &seed, side_mm, pixels, shown)
    }

    /// The surface that is looked at.
    pub const fn surface(&self) -> &Surface {
        &self.surface
    }

    /// The surface, and by face the number of the map set it shows.
    #[must_use]
    pub fn into_parts(self) -> (Surface, Vec<Option<usize>>) {
        (self.surface, self.sets)
    }

    /// The map set that a face shows.
    pub fn set_of(&self, face: usize) -> Option<usize> {
        self.sets[face]
    }

    fn lay(&self, pictures: &[Vec<Stored>], seed: &Seed, side_mm: f64, pixels: usize, shown: impl Fn(usize) -> bool) -> Flat {
        let Self { garment, surface, sets } = self;
        let unfolded = unfold(surface, seed, side_mm * std::f64::consts::FRAC_1_SQRT_2, &PlaceSettings::default());
        let mut flat = Flat {
            color: Image::filled(pixels, pixels, LinearRgb([0.18; 3])),
            normal: Image::filled(pixels, pixels, Normal::FLAT),
            opacity: Image::filled(pixels, pixels, Unit(0.0)),
        };
        let scale = pixels as f64 / side_mm;
        for (index, corners) in unfolded.faces.into_iter().filter(|(face, _)| shown(*face)) {
            let Some(set) = sets[index] else { continue };
            let face = &surface.faces()[index];
            let on_picture = corners.map(|p| DVec2::new(p.x * scale + 0.5 * pixels as f64, 0.5 * pixels as f64 - p.y * scale));
            let seen = seen(face, on_picture, pixels);
            let turn = turn(face, corners);
            for (file, picture) in garment.sets[set].files.iter().zip(&pictures[set]) {
                for role in &file.roles {
                    read(&mut flat, role, picture, &seen, turn);
                }
            }
            if garment.sets[set].role(Channel::Opacity).is_none() {
                seen.iter().for_each(|s| flat.opacity.set(s.x, s.y, Unit(1.0)));
            }
        }
        flat
    }
}

/// A pixel and the place of the texture it shows.
struct Seen {
    x: usize,
    y: usize,
    uv: DVec2,
}

/// Pixels whose middle lies in a face.
fn seen(face: &Face, corners: [DVec2; 3], pixels: usize) -> Vec<Seen> {
    let [a, b, c] = corners;
    let area = (b - a).perp_dot(c - a);
    if area.abs() < 1e-12 {
        return Vec::new();
    }
    let low = a.min(b).min(c).floor().max(DVec2::ZERO);
    let high = a.max(b).max(c).ceil().min(DVec2::splat(pixels as f64));
    let mut all = Vec::new();
    for y in low.y as usize..high.y.max(0.0) as usize {
        for x in low.x as usize..high.x.max(0.0) as usize {
            let p = DVec2::new(x as f64 + 0.5, y as f64 + 0.5);
            let w = [(b - p).perp_dot(c - p) / area, (c - p).perp_dot(a - p) / area];
            let w = [w[0], w[1], 1.0 - w[0] - w[1]];
            if w.iter().all(|w| *w >= -1e-9) {
                all.push(Seen { x, y, uv: face.uvs[0] * w[0] + face.uvs[1] * w[1] + face.uvs[2] * w[2] });
            }
        }
    }
    all
}

/// Slopes right and up of the picture from slopes right and up of the texture.
fn turn(face: &Face, corners: [DVec2; 3]) -> [[f32; 2]; 2] {
    let Some([right, up]) = face.tangents() else { return [[1.0, 0.0], [0.0, 1.0]] };
    let across = face.gradient(corners.map(|p| p.x)).normalize_or_zero();
    let along = face.gradient(corners.map(|p| p.y)).normalize_or_zero();
    [across, along].map(|axis| [right, up].map(|tangent| axis.dot(tangent) as f32))
}

/// Reads one channel of a face into the picture.
fn read(flat: &mut Flat, role: &MapRole, picture: &Stored, seen: &[Seen], turn: [[f32; 2]; 2]) {
    if !matches!(role.channel, Channel::BaseColor | Channel::Normal | Channel::Opacity) {
        return;
    }
    let size = picture.size;
    let texel = |uv: DVec2| {
        let uv = uv - uv.floor();
        [uv.x * size.width as f64, uv.y * size.height as f64].map(|v| v as f32)
    };
    let places: Vec<[f32; 2]> = seen.iter().map(|s| texel(s.uv)).collect();
    let Some(part) = around(&places, size) else { return };
    let map = picture.decode(role.channel.info().kind, &role.coding, part);
    for (s, at) in seen.iter().zip(&places) {
        let (x, y) = (at[0] - part.x as f32, at[1] - part.y as f32);
        match &map {
            Map::Color(image) => flat.color.set(s.x, s.y, image.bilinear(x, y)),
            Map::Normal(image) => {
                let (p, q) = image.bilinear(x, y).slopes();
                let [[rr, ru], [ur, uu]] = turn;
                flat.normal.set(s.x, s.y, Normal::from_slopes(rr * p + ru * q, ur * p + uu * q));
            }
            Map::Unit(image) => flat.opacity.set(s.x, s.y, image.bilinear(x, y)),
            Map::Height(_) => {}
        }
    }
}

/// The texels that a bilinear reading of these places needs.
fn around(places: &[[f32; 2]], size: Size) -> Option<Rect> {
    let first = places.first()?;
    let (low, high) = places
        .iter()
        .fold((*first, *first), |(low, high), p| ([low[0].min(p[0]), low[1].min(p[1])], [high[0].max(p[0]), high[1].max(p[1])]));
    let from = |v: f32| (v.floor() as usize).saturating_sub(1);
    let (x, y) = (from(low[0]), from(low[1]));
    let to = |v: f32, limit: usize| (v.ceil() as usize + 2).min(limit);
    Some(Rect::new(x, y, to(high[0], size.width).saturating_sub(x).max(1), to(high[1], size.height).saturating_sub(y).max(1)))
}
