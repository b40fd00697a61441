//! One texture as a profile wants it.

use tatter_core::channel::{Channel, Kind};
use tatter_core::image::ColorTags;
use tatter_core::image::{
    Coding, HeightMm, Image, LinearRgb, Map, Normal, Pixel as _, Rect, Samples, Size, Stored, Transfer, Unit,
};
use tatter_core::kernel::{alpha_coverage, area_resize, with_coverage};
use tatter_core::model::{Component, HandoffProfile, MapSet, Source, TextureRecipe};

use super::opacity::finished;
use crate::build::resized;

/// Pack channels of a set's finished pictures into a texture, no longer on its longest side than the profile says; `None` when
/// the set has none of its channels. The largest of its channels gives the size. Smaller textures keep what a renderer needs:
/// colour is averaged as light, weighted by opacity (nothing of what lies behind a hole bleeds in); normals as directions of
/// unit length; roughness by its highlight; opacity keeps the coverage of the full size at the cutoff when `masked`.
///
/// Peak memory: one channel decoded (200 MB for colour of 4096²), another beside it for what is weighted, and the result.
pub fn texture(
    set: &MapSet,
    pictures: &[Stored],
    recipe: &TextureRecipe,
    profile: &HandoffProfile,
    masked: bool,
) -> Option<Stored> {
    let size = size_of(set, recipe, profile)?;
    let like = match (recipe.picture.is_float(), recipe.bits) {
        (true, 32) => Samples::F32(Vec::new()),
        (true, _) => Samples::F16(Vec::new()),
        (false, 16) => Samples::U16(Vec::new()),
        (false, _) => Samples::U8(Vec::new()),
    };
    let mut out = Stored::zeros(size, recipe.layout, &like);
    let all = Image::filled(size.width, size.height, true);
    let maker = Maker { set, pictures, profile, size, cutoff: masked.then_some(profile.alpha_cutoff) };
    for component in &recipe.components {
        let coding = maker.coding(component, recipe.picture.is_float());
        if coding.transfer == Transfer::Srgb && recipe.layout.components() >= 3 {
            out.tags = ColorTags::srgb();
        }
        let map = match component.source {
            Source::Channel { channel, .. } => maker.channel(channel),
            Source::Value(value) => Map::Unit(Image::filled(size.width, size.height, Unit(value))),
        };
        out.encode(&coding, Rect::whole(size), &map, &all);
    }
    Some(out)
}

/// The largest of its channels, within bounds; `None` when there is none.
fn size_of(set: &MapSet, recipe: &TextureRecipe, profile: &HandoffProfile) -> Option<Size> {
    let sizes = recipe.channels().filter_map(|channel| set.role(channel).map(|(file, _)| file.size));
    let full = sizes.max_by_key(|size| size.area())?;
    let longer = full.width.max(full.height);
    let most = profile.most_texels(recipe).unwrap_or(longer);
    if longer <= most {
        return Some(full);
    }
    let short = |side: usize| ((side * most) as f64 / longer as f64).round().max(1.0) as usize;
    Some(Size::new(short(full.width), short(full.height)))
}

struct Maker<'a> {
    set: &'a MapSet,
    pictures: &'a [Stored],
    profile: &'a HandoffProfile,
    size: Size,
    /// Opacity keeps its coverage there.
    cutoff: Option<f32>,
}

impl Maker<'_> {
    fn coding(&self, component: &Component, float: bool) -> Coding {
        let (channel, inverted) = match component.source {
            Source::Channel { channel, inverted } => (Some(channel), inverted),
            Source::Value(_) => (None, false),
        };
        let srgb = channel.is_some_and(|channel| channel.info().kind == Kind::Color) && !float;
        let own_range = || self.set.role(Channel::Height).map(|(_, role)| role.coding.height_range);
        Coding {
            component: component.at,
            transfer: if srgb { Transfer::Srgb } else { Transfer::Linear },
            normal_y: self.profile.normal_y,
            height_range: self.profile.height_range.or_else(own_range).unwrap_or_default(),
            inverted,
        }
    }

    fn decoded(&self, channel: Channel) -> Option<Map> {
        let (stored, role) = finished(self.set, self.pictures, channel)?;
        Some(stored.decode_whole(channel.info().kind, &role.coding))
    }

    /// A channel at the size of the texture; where the garment has none, its neutral value.
    fn channel(&self, channel: Channel) -> Map {
        let Some(full) = self.decoded(channel) else { return neutral(channel, self.size) };
        match (channel, full) {
            (Channel::BaseColor, Map::Color(image)) => Map::Color(self.color(image)),
            (Channel::Opacity, Map::Unit(image)) => Map::Unit(self.opacity(&image)),
            (Channel::Translucency, full) => self.through(resized(full, channel, self.size)),
            (Channel::Roughness, full) if self.profile.rougher_when_smaller => self.rougher(resized(full, channel, self.size)),
            (_, full) => resized(full, channel, self.size),
        }
    }

    /// Light that comes through, as a share of what the base colour leaves of it: renderers multiply with that colour once more.
    fn through(&self, small: Map) -> Map {
        let (Map::Unit(image), Map::Color(color)) = (small, self.channel(Channel::BaseColor)) else {
            unreachable!("its own kinds")
        };
        Map::Unit(image.zip(&color, |through, color| Unit((through.0 / color.luminance().max(LEAST_LIGHT)).min(1.0))))
    }

    fn opacity(&self, full: &Image<Unit>) -> Image<Unit> {
        let Map::Unit(small) = resized(Map::Unit(full.clone()), Channel::Opacity, self.size) else { return full.clone() };
        match self.cutoff {
            Some(cutoff) if full.size() != self.size => with_coverage(&small, alpha_coverage(full, cutoff), cutoff),
            _ => small,
        }
    }

    /// Colour weighted by opacity; behind holes, where nothing is cloth, as it is.
    fn color(&self, full: Image<LinearRgb>) -> Image<LinearRgb> {
        let smaller = self.size.area() < full.size().area();
        let opacity = self.decoded(Channel::Opacity).filter(|opacity| smaller && opacity.size() == full.size());
        let Some(Map::Unit(opacity)) = opacity else {
            let Map::Color(plain) = resized(Map::Color(full), Channel::BaseColor, self.size) else { unreachable!("colour") };
            return plain;
        };
        let Size { width, height } = self.size;
        let plain = area_resize(&full, width, height);
        let weighted = area_resize(&full.zip(&opacity, |color, o| color.times(o.0)), width, height);
        let weight = area_resize(&opacity, width, height);
        let share = weighted.zip(&weight, |color, o| if o.0 > LEAST_CLOTH { Some(color.times(1.0 / o.0)) } else { None });
        share.zip(&plain, |cloth, plain| cloth.unwrap_or(plain))
    }

    /// Normals that were averaged away come back as roughness: their spread is a slope variance that adds to that of the
    /// surface. A Beckmann or GGX lobe of width α has slope variance α²/2 along each axis (Walter et al., 2007); normals whose
    /// mean is `a` long have 1/κ, κ = a (3 - a²) / (1 - a²) (Banerjee et al., "Clustering on the Unit Hypersphere", 2005). With
    /// α = roughness² (glTF 2.0, appendix B): roughness⁴ grows by 2/κ.
    fn rougher(&self, small: Map) -> Map {
        let Some(Map::Normal(normals)) = self.decoded(Channel::Normal) else { return small };
        let Map::Unit(image) = small else { return small };
        if normals.size().area() <= self.size.area() {
            return Map::Unit(image);
        }
        let mean = area_resize(&normals, self.size.width, self.size.height);
        Map::Unit(image.zip(&mean, |roughness, Normal([x, y, z])| {
            let a = (x * x + y * y + z * z).sqrt().min(1.0 - 1e-6);
            let spread = (1.0 - a * a) / (a * (3.0 - a * a)).max(1e-6);
            Unit((roughness.0.powi(4) + 2.0 * spread).sqrt().sqrt().min(1.0))
        }))
    }
}

/// No cloth is darker, and nothing is divided by less.
const LEAST_LIGHT: f32 = 0.01;
/// Less cloth than this in a texel of the smaller texture tells nothing of its colour.
const LEAST_CLOTH: f32 = 1e-3;

/// What a channel is where a garment does not say: white, flat, fully rough, no metal, open to the sky, cloth.
fn neutral(channel: Channel, Size { width, height }: Size) -> Map {
    match channel.info().kind {
        Kind::Color => Map::Color(Image::filled(width, height, LinearRgb([1.0; 3]))),
        Kind::Normal => Map::Normal(Image::filled(width, height, Normal::FLAT)),
        Kind::Height => Map::Height(Image::filled(width, height, HeightMm(0.0))),
        Kind::Unit => {
            let value = if channel == Channel::Metallic { 0.0 } else { 1.0 };
            Map::Unit(Image::filled(width, height, Unit(value)))
        }
    }
}
