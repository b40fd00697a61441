//! [`Stored`]: a picture as its file holds it. Only here are samples decoded and encoded, so that untouched texels keep
//! their bits and the sRGB curve exists once.

use half::f16;
use rayon::prelude::*;

use super::{HeightMm, Image, LinearRgb, Map, Normal, Rect, Size, Unit};
use crate::channel::Kind;
use crate::color::{decode_srgb, encode_srgb};

/// Interleaved samples, row by row, components in [`Layout`] order.
#[derive(Clone, Debug, PartialEq)]
pub enum Samples {
    /// 8-bit whole numbers, 255 is one.
    U8(Vec<u8>),
    /// 16-bit whole numbers, 65535 is one.
    U16(Vec<u16>),
    /// Half floats, as they are.
    F16(Vec<f16>),
    /// Floats, as they are.
    F32(Vec<f32>),
}

/// Which components a texel has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Layout {
    /// One grey component.
    Gray,
    /// Grey and alpha.
    GrayAlpha,
    /// Red, green, blue.
    Rgb,
    /// Red, green, blue, alpha.
    Rgba,
}

impl Layout {
    /// Components in a texel.
    pub const fn components(self) -> usize {
        match self {
            Self::Gray => 1,
            Self::GrayAlpha => 2,
            Self::Rgb => 3,
            Self::Rgba => 4,
        }
    }

    /// Whether the last component is alpha.
    pub const fn has_alpha(self) -> bool {
        matches!(self, Self::GrayAlpha | Self::Rgba)
    }
}

/// How whole-number samples code light.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Transfer {
    /// The sRGB curve (IEC 61966-2-1).
    Srgb,
    /// Proportional: data, and all float pictures.
    #[default]
    Linear,
}

/// Which way green points in a normal map.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum NormalY {
    /// More green faces image top (glTF).
    #[default]
    Up,
    /// More green faces image bottom.
    Down,
}

/// The millimetres that sample 0 and full sample stand for (0.0 and 1.0 of a float picture).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeightRange {
    /// Height at code 0, mm.
    pub low_mm: f32,
    /// Height at full code, mm.
    pub high_mm: f32,
}

impl Default for HeightRange {
    /// One millimetre about the mid plane, a common range for garment cloth (common practice, no source).
    fn default() -> Self {
        Self { low_mm: -0.5, high_mm: 0.5 }
    }
}

impl HeightRange {
    /// How many millimetres the range spans.
    pub fn span_mm(self) -> f32 {
        self.high_mm - self.low_mm
    }
}

/// How one channel lies in the components of a stored picture.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Coding {
    /// The first component it uses: 0 red or grey, 1 green, 2 blue, 3 alpha. Colour and normal use three from here.
    pub component: usize,
    /// How samples code light; meant for colour, `Linear` for everything else.
    pub transfer: Transfer,
    /// For normals.
    pub normal_y: NormalY,
    /// For heights.
    pub height_range: HeightRange,
    /// For scalars: the file holds one minus the value (glossiness, transparency).
    pub inverted: bool,
}

/// What a file says of its own colours, kept so that it can be written back unchanged.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct ColorTags {
    /// PNG sRGB chunk, rendering intent 0..3.
    pub srgb_intent: Option<u8>,
    /// PNG gAMA chunk, times 100 000.
    pub gamma: Option<u32>,
    /// PNG cHRM chunk: white, red, green, blue x and y, times 100 000.
    pub chromaticities: Option<[u32; 8]>,
    /// PNG cICP chunk.
    pub cicp: Option<[u8; 4]>,
    /// An ICC profile.
    pub icc: Option<Vec<u8>>,
    /// PNG pHYs chunk: texels per unit across and down, and whether the unit is the metre.
    pub density: Option<(u32, u32, bool)>,
    /// Names of the components where a format names them (`OpenEXR`), in component order; empty elsewhere.
    pub channel_names: Vec<String>,
    /// The file holds colour multiplied by its alpha (`OpenEXR`, TIFF with associated alpha).
    pub premultiplied: bool,
}

impl ColorTags {
    /// The tags of sRGB colour as the PNG specification (third edition, 11.3.2.5) recommends them.
    pub fn srgb() -> Self {
        Self {
            srgb_intent: Some(0),
            gamma: Some(45_455),
            chromaticities: Some([31_270, 32_900, 64_000, 33_000, 30_000, 60_000, 15_000, 6_000]),
            ..Self::default()
        }
    }
}

/// A picture as its file holds it: size, components, depth and colour tags are kept.
#[derive(Clone, Debug, PartialEq)]
pub struct Stored {
    /// Columns and rows.
    pub size: Size,
    /// Components of a texel.
    pub layout: Layout,
    /// The samples.
    pub samples: Samples,
    /// What the file says of its colours.
    pub tags: ColorTags,
}

impl Stored {
    /// A picture of zeros with no tags.
    pub fn zeros(size: Size, layout: Layout, like: &Samples) -> Self {
        let count = size.area() * layout.components();
        let samples = match like {
            Samples::U8(_) => Samples::U8(vec![0; count]),
            Samples::U16(_) => Samples::U16(vec![0; count]),
            Samples::F16(_) => Samples::F16(vec![f16::ZERO; count]),
            Samples::F32(_) => Samples::F32(vec![0.0; count]),
        };
        Self { size, layout, samples, tags: ColorTags::default() }
    }

    /// Bits in one sample.
    pub const fn bits(&self) -> u8 {
        match self.samples {
            Samples::U8(_) => 8,
            Samples::U16(_) | Samples::F16(_) => 16,
            Samples::F32(_) => 32,
        }
    }

    /// Whether samples are floats.
    pub const fn is_float(&self) -> bool {
        matches!(self.samples, Samples::F16(_) | Samples::F32(_))
    }

    /// One component, whole numbers scaled to 0..1, floats as they are.
    #[inline]
    pub fn value(&self, x: usize, y: usize, component: usize) -> f32 {
        let i = (y * self.size.width + x) * self.layout.components() + component;
        match &self.samples {
            Samples::U8(v) => f32::from(v[i]) / 255.0,
            Samples::U16(v) => f32::from(v[i]) / 65535.0,
            Samples::F16(v) => v[i].to_f32(),
            Samples::F32(v) => v[i],
        }
    }

    /// Change one component; whole numbers are rounded to the nearest and clipped.
    #[inline]
    pub fn set_value(&mut self, x: usize, y: usize, component: usize, value: f32) {
        let i = (y * self.size.width + x) * self.layout.components() + component;
        match &mut self.samples {
            Samples::U8(v) => v[i] = (value * 255.0).round() as u8,
            Samples::U16(v) => v[i] = (value * 65535.0).round() as u16,
            Samples::F16(v) => v[i] = f16::from_f32(value),
            Samples::F32(v) => v[i] = value,
        }
    }

    /// A copy of a part, samples bit for bit, without tags.
    ///
    /// # Panics
    /// When `part` reaches outside: a bug of the caller.
    #[must_use]
    pub fn crop(&self, part: Rect) -> Self {
        assert!(part.right() <= self.size.width && part.bottom() <= self.size.height, "a crop lies inside its picture");
        let n = self.layout.components();
        fn rows<T: Copy>(all: &[T], width: usize, n: usize, part: Rect) -> Vec<T> {
            let row = |y: usize| &all[(y * width + part.x) * n..(y * width + part.right()) * n];
            (part.y..part.bottom()).flat_map(row).copied().collect()
        }
        let width = self.size.width;
        let samples = match &self.samples {
            Samples::U8(v) => Samples::U8(rows(v, width, n, part)),
            Samples::U16(v) => Samples::U16(rows(v, width, n, part)),
            Samples::F16(v) => Samples::F16(rows(v, width, n, part)),
            Samples::F32(v) => Samples::F32(rows(v, width, n, part)),
        };
        Self { size: part.size(), layout: self.layout, samples, tags: ColorTags::default() }
    }

    /// Lay `part` over this picture with its first texel at `(x, y)`, bit for bit.
    ///
    /// # Panics
    /// When it reaches outside or differs in components or depth: a bug of the caller.
    pub fn paste(&mut self, part: &Self, x: usize, y: usize) {
        assert!(x + part.size.width <= self.size.width && y + part.size.height <= self.size.height, "a pasted part lies inside");
        assert!(self.layout == part.layout, "a pasted part has the components of its picture");
        let n = self.layout.components();
        let (width, length) = (self.size.width, part.size.width * n);
        fn rows<T: Copy>(all: &mut [T], part: &[T], length: usize, start: impl Fn(usize) -> usize) {
            for (row, source) in part.chunks_exact(length.max(1)).enumerate() {
                all[start(row)..start(row) + length].copy_from_slice(source);
            }
        }
        let start = |row: usize| ((y + row) * width + x) * n;
        match (&mut self.samples, &part.samples) {
            (Samples::U8(all), Samples::U8(part)) => rows(all, part, length, start),
            (Samples::U16(all), Samples::U16(part)) => rows(all, part, length, start),
            (Samples::F16(all), Samples::F16(part)) => rows(all, part, length, start),
            (Samples::F32(all), Samples::F32(part)) => rows(all, part, length, start),
            _ => unreachable!("a pasted part has the depth of its picture"),
        }
    }

    /// How many texels differ in any sample; floats are compared by value.
    ///
    /// # Panics
    /// When size, components or depth differ: a bug of the caller.
    pub fn differing_texels(&self, other: &Self) -> usize {
        assert!(self.size == other.size && self.layout == other.layout, "compared pictures have one size and one layout");
        fn count<T: PartialEq>(a: &[T], b: &[T], n: usize) -> usize {
            a.chunks_exact(n).zip(b.chunks_exact(n)).filter(|(a, b)| a != b).count()
        }
        let n = self.layout.components();
        match (&self.samples, &other.samples) {
            (Samples::U8(a), Samples::U8(b)) => count(a, b, n),
            (Samples::U16(a), Samples::U16(b)) => count(a, b, n),
            (Samples::F16(a), Samples::F16(b)) => count(a, b, n),
            (Samples::F32(a), Samples::F32(b)) => count(a, b, n),
            _ => unreachable!("compared pictures have one depth"),
        }
    }

    /// A part of a channel as something to compute with. A channel that needs three components of a grey picture reads
    /// the grey three times.
    ///
    /// # Panics
    /// When `part` reaches outside: a bug of the caller.
    pub fn decode(&self, kind: Kind, coding: &Coding, part: Rect) -> Map {
        assert!(part.right() <= self.size.width && part.bottom() <= self.size.height, "a decoded part lies inside its picture");
        let color_components = if self.layout.components() < 3 { 1 } else { 3 };
        let at =
            |x: usize, y: usize, offset: usize| self.value(part.x + x, part.y + y, coding.component + offset % color_components);
        let (width, height) = (part.width, part.height);
        match kind {
            Kind::Color => {
                let curve = SrgbTable::new(coding.transfer, &self.samples);
                Map::Color(Image::from_fn(width, height, |x, y| LinearRgb(std::array::from_fn(|i| curve.decode(at(x, y, i))))))
            }
            Kind::Unit => Map::Unit(Image::from_fn(width, height, |x, y| {
                let value = at(x, y, 0);
                Unit(if coding.inverted { 1.0 - value } else { value })
            })),
            Kind::Height => {
                let range = coding.height_range;
                Map::Height(Image::from_fn(width, height, |x, y| HeightMm(range.low_mm + at(x, y, 0) * range.span_mm())))
            }
            Kind::Normal => {
                let sign = if coding.normal_y == NormalY::Up { 1.0 } else { -1.0 };
                let whole = !self.is_float();
                let axis = |value: f32| if whole { 2.0 * value - 1.0 } else { value };
                Map::Normal(Image::from_fn(width, height, |x, y| {
                    Normal([axis(at(x, y, 0)), sign * axis(at(x, y, 1)), axis(at(x, y, 2))]).normalized()
                }))
            }
        }
    }

    /// The whole of a channel. For a 4096² colour map that is 200 MB.
    pub fn decode_whole(&self, kind: Kind, coding: &Coding) -> Map {
        self.decode(kind, coding, Rect::whole(self.size))
    }

    /// Write a channel back over `part`, only where `touched`; all other samples keep their bits.
    ///
    /// # Panics
    /// When sizes disagree or `part` reaches outside: a bug of the caller.
    pub fn encode(&mut self, coding: &Coding, part: Rect, map: &Map, touched: &Image<bool>) {
        assert!(part.right() <= self.size.width && part.bottom() <= self.size.height, "an encoded part lies inside its picture");
        assert!(map.size() == part.size() && touched.size() == part.size(), "an encoded part has the size of its rectangle");
        for y in 0..part.height {
            for x in 0..part.width {
                if touched.get(x, y) {
                    self.encode_texel(coding, part.x + x, part.y + y, map, x, y);
                }
            }
        }
    }

    fn encode_texel(&mut self, coding: &Coding, x: usize, y: usize, map: &Map, mx: usize, my: usize) {
        let first = coding.component;
        let single = self.layout.components() < 3;
        match map {
            Map::Color(image) => {
                let texel = image.get(mx, my);
                let code = |v: f32| if coding.transfer == Transfer::Srgb { encode_srgb(v) } else { v };
                if single {
                    self.set_value(x, y, first, code(texel.luminance()));
                } else {
                    for i in 0..3 {
                        self.set_value(x, y, first + i, code(texel.0[i]));
                    }
                }
            }
            Map::Unit(image) => {
                let value = image.get(mx, my).0;
                self.set_value(x, y, first, if coding.inverted { 1.0 - value } else { value });
            }
            Map::Height(image) => {
                let range = coding.height_range;
                let value = (image.get(mx, my).0 - range.low_mm) / range.span_mm();
                self.set_value(x, y, first, value);
            }
            Map::Normal(image) => {
                let n = image.get(mx, my).0;
                let sign = if coding.normal_y == NormalY::Up { 1.0 } else { -1.0 };
                let float = self.is_float();
                for (i, axis) in [n[0], sign * n[1], n[2]].into_iter().enumerate().take(self.layout.components() - first) {
                    self.set_value(x, y, first + i, if float { axis } else { 0.5 * axis + 0.5 });
                }
            }
        }
    }

    /// A picture made from a map, for files of our own.
    pub fn from_map(map: &Map, coding: &Coding, depth: Depth) -> Self {
        let layout = if matches!(map, Map::Color(_) | Map::Normal(_)) { Layout::Rgb } else { Layout::Gray };
        let like = match depth {
            Depth::Eight => Samples::U8(Vec::new()),
            Depth::Sixteen => Samples::U16(Vec::new()),
        };
        let mut stored = Self::zeros(map.size(), layout, &like);
        let width = map.size().width;
        let components = layout.components();
        // Row by row in parallel: each row is encoded into a picture of its own height 1.
        let rows: Vec<Self> = (0..map.size().height)
            .into_par_iter()
            .map(|y| {
                let mut row = Self::zeros(Size::new(width, 1), layout, &like);
                for x in 0..width {
                    row.encode_texel(coding, x, 0, map, x, y);
                }
                row
            })
            .collect();
        for (y, row) in rows.into_iter().enumerate() {
            let start = y * width * components;
            match (&mut stored.samples, row.samples) {
                (Samples::U8(all), Samples::U8(part)) => all[start..start + part.len()].copy_from_slice(&part),
                (Samples::U16(all), Samples::U16(part)) => all[start..start + part.len()].copy_from_slice(&part),
                _ => {}
            }
        }
        if coding.transfer == Transfer::Srgb && matches!(map, Map::Color(_)) {
            stored.tags = ColorTags::srgb();
        }
        stored
    }
}

/// Depth of a whole-number picture of our own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Depth {
    /// 8 bits a sample.
    Eight,
    /// 16 bits a sample.
    Sixteen,
}

/// 8-bit sRGB decoding by table: 256 powers instead of one a sample.
struct SrgbTable {
    transfer: Transfer,
    table: Option<Box<[f32; 256]>>,
}

impl SrgbTable {
    fn new(transfer: Transfer, samples: &Samples) -> Self {
        let eight = matches!(samples, Samples::U8(_)) && transfer == Transfer::Srgb;
        Self { transfer, table: eight.then(|| Box::new(std::array::from_fn(|i| decode_srgb(i as f32 / 255.0)))) }
    }

    #[inline]
    fn decode(&self, value: f32) -> f32 {
        match (&self.table, self.transfer) {
            (Some(table), _) => table[(value * 255.0 + 0.5) as usize & 255],
            (None, Transfer::Srgb) => decode_srgb(value),
            (None, Transfer::Linear) => value,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_eight_bit_colour_comes_back() {
        let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
        let samples: Vec<u8> = (0..=255).flat_map(|v| [v, 255 - v, v / 2]).collect();
        let first =
            Stored { size: Size::new(256, 1), layout: Layout::Rgb, samples: Samples::U8(samples), tags: ColorTags::default() };
        let map = first.decode_whole(Kind::Color, &coding);
        let mut second = Stored::zeros(first.size, first.layout, &first.samples);
        second.encode(&coding, Rect::whole(first.size), &map, &Image::filled(256, 1, true));
        assert_eq!(first.samples, second.samples, "decode then encode is the identity");
    }

    #[test]
    fn untouched_samples_keep_their_bits() {
        let mut stored = Stored::zeros(Size::new(2, 1), Layout::Rgb, &Samples::U16(Vec::new()));
        let before = stored.clone();
        let map = Map::Normal(Image::filled(2, 1, Normal::FLAT));
        stored.encode(&Coding::default(), Rect::new(0, 0, 2, 1), &map, &Image::filled(2, 1, false));
        assert_eq!(stored, before, "nothing was touched");
    }

    #[test]
    fn down_normals_are_turned() {
        let coding = Coding { normal_y: NormalY::Down, ..Coding::default() };
        let map = Map::Normal(Image::filled(1, 1, Normal([0.0, 0.6, 0.8])));
        let stored = Stored::from_map(&map, &coding, Depth::Eight);
        assert_eq!(stored.samples, Samples::U8(vec![128, 51, 230]), "green = round((1 - 0.6) / 2 * 255)");
    }
}
