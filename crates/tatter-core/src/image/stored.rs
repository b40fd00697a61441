//! [`Stored`]: a picture as its file holds it. Only here are samples decoded and encoded, so that untouched texels keep
//! their bits and the sRGB curve exists once.

use std::ops::Range;

use half::f16;
use rayon::prelude::*;

use super::sample::Sample;
use super::{HeightMm, Image, LinearRgb, Map, MapRow, Normal, Rect, Size, Unit};
use crate::channel::Kind;

/// One expression for every depth.
macro_rules! each_depth {
    ($samples:expr, $v:ident => $body:expr) => {
        match $samples {
            Samples::U8($v) => $body,
            Samples::U16($v) => $body,
            Samples::F16($v) => $body,
            Samples::F32($v) => $body,
        }
    };
}

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
        each_depth!(&self.samples, v => v[i].unit())
    }

    /// One texel of a colour; what [`Stored::decode`] gives for many.
    pub fn color_at(&self, x: usize, y: usize, coding: &Coding) -> LinearRgb {
        let start = (y * self.size.width + x) * self.layout.components();
        let shift = if self.layout.components() < 3 { 0 } else { 1 };
        let srgb = coding.transfer == Transfer::Srgb;
        each_depth!(&self.samples, v => LinearRgb([0, 1, 2].map(|i| {
            let sample = v[start + coding.component + i * shift];
            if srgb { sample.light() } else { sample.unit() }
        })))
    }

    /// One texel of a scalar; what [`Stored::decode`] gives for many.
    pub fn unit_at(&self, x: usize, y: usize, coding: &Coding) -> f32 {
        let value = self.value(x, y, coding.component);
        if coding.inverted { 1.0 - value } else { value }
    }

    /// Change one component; whole numbers are rounded to the nearest and clipped.
    #[inline]
    pub fn set_value(&mut self, x: usize, y: usize, component: usize, value: f32) {
        let i = (y * self.size.width + x) * self.layout.components() + component;
        each_depth!(&mut self.samples, v => v[i] = Sample::from_unit(value));
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
            let mut own = Vec::with_capacity(part.width * part.height * n);
            for y in part.y..part.bottom() {
                own.extend_from_slice(&all[(y * width + part.x) * n..(y * width + part.right()) * n]);
            }
            own
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

    /// A part of a channel as something to compute with. A channel that needs three components of a grey picture reads
    /// the grey three times.
    ///
    /// # Panics
    /// When `part` reaches outside: a bug of the caller.
    pub fn decode(&self, kind: Kind, coding: &Coding, part: Rect) -> Map {
        assert!(part.right() <= self.size.width && part.bottom() <= self.size.height, "a decoded part lies inside its picture");
        each_depth!(&self.samples, v => self.decode_samples(v, kind, coding, part))
    }

    fn decode_samples<T: Sample>(&self, samples: &[T], kind: Kind, coding: &Coding, part: Rect) -> Map {
        match kind {
            Kind::Color => Map::Color(self.each_texel(samples, part, self.to_color(coding))),
            Kind::Unit => Map::Unit(self.each_texel(samples, part, Self::to_unit(coding))),
            Kind::Height => Map::Height(self.each_texel(samples, part, Self::to_height(coding))),
            Kind::Normal => Map::Normal(self.each_texel(samples, part, self.to_normal(coding))),
        }
    }

    /// [`Stored::decode`] of some texels of a row, from `(x, y)` on, into those columns of a row of a map that is there already.
    ///
    /// # Panics
    /// When either reaches outside: a bug of the caller.
    pub fn decode_into(&self, coding: &Coding, (x, y): (usize, usize), map: &mut Map, row: usize, columns: Range<usize>) {
        let (n, first) = (self.layout.components(), y * self.size.width + x);
        assert!(x + columns.len() <= self.size.width, "decoded texels lie inside their picture");
        let texels = first * n..(first + columns.len()) * n;
        fn fill<T, P>(row: &mut [P], samples: &[T], n: usize, f: impl Fn(&[T]) -> P) {
            row.iter_mut().zip(samples.chunks_exact(n)).for_each(|(texel, source)| *texel = f(source));
        }
        each_depth!(&self.samples, v => match map {
            Map::Color(image) => fill(&mut image.row_mut(row)[columns], &v[texels], n, self.to_color(coding)),
            Map::Unit(image) => fill(&mut image.row_mut(row)[columns], &v[texels], n, Self::to_unit(coding)),
            Map::Height(image) => fill(&mut image.row_mut(row)[columns], &v[texels], n, Self::to_height(coding)),
            Map::Normal(image) => fill(&mut image.row_mut(row)[columns], &v[texels], n, self.to_normal(coding)),
        });
    }

    /// [`Stored::decode`] of some columns of a row.
    ///
    /// # Panics
    /// When they reach outside: a bug of the caller.
    pub fn decode_row(&self, kind: Kind, coding: &Coding, y: usize, columns: Range<usize>) -> MapRow<'static> {
        fn all<T, P>(samples: &[T], n: usize, f: impl Fn(&[T]) -> P) -> Vec<P> {
            samples.chunks_exact(n).map(f).collect()
        }
        assert!(columns.end <= self.size.width, "decoded texels lie inside their picture");
        let (n, first) = (self.layout.components(), y * self.size.width);
        let texels = (first + columns.start) * n..(first + columns.end) * n;
        each_depth!(&self.samples, v => match kind {
            Kind::Color => MapRow::Color(all(&v[texels], n, self.to_color(coding)).into()),
            Kind::Unit => MapRow::Unit(all(&v[texels], n, Self::to_unit(coding)).into()),
            Kind::Height => MapRow::Height(all(&v[texels], n, Self::to_height(coding)).into()),
            Kind::Normal => MapRow::Normal(all(&v[texels], n, self.to_normal(coding)).into()),
        })
    }

    fn to_color<T: Sample>(&self, coding: &Coding) -> impl Fn(&[T]) -> LinearRgb {
        let ([red, green, blue], srgb) = (self.three(coding), coding.transfer == Transfer::Srgb);
        move |t| LinearRgb([t[red], t[green], t[blue]].map(|v| if srgb { v.light() } else { v.unit() }))
    }

    fn to_unit<T: Sample>(coding: &Coding) -> impl Fn(&[T]) -> Unit {
        let (first, inverted) = (coding.component, coding.inverted);
        move |t| {
            let value = t[first].unit();
            Unit(if inverted { 1.0 - value } else { value })
        }
    }

    fn to_height<T: Sample>(coding: &Coding) -> impl Fn(&[T]) -> HeightMm {
        let (first, low, span) = (coding.component, coding.height_range.low_mm, coding.height_range.span_mm());
        move |t| HeightMm(low + t[first].unit() * span)
    }

    fn to_normal<T: Sample>(&self, coding: &Coding) -> impl Fn(&[T]) -> Normal {
        let [red, green, blue] = self.three(coding);
        let sign = if coding.normal_y == NormalY::Up { 1.0 } else { -1.0 };
        let (scale, shift) = if self.is_float() { (1.0, 0.0) } else { (2.0, -1.0) };
        let axis = move |v: T| scale * v.unit() + shift;
        move |t| Normal([axis(t[red]), sign * axis(t[green]), axis(t[blue])]).normalized()
    }

    /// The components of what needs three: of a grey picture the grey three times.
    const fn three(&self, coding: &Coding) -> [usize; 3] {
        let first = coding.component;
        if self.layout.components() < 3 { [first; 3] } else { [first, first + 1, first + 2] }
    }

    fn each_texel<T: Sample, P: Copy + Default + Send + Sync>(
        &self,
        samples: &[T],
        part: Rect,
        f: impl Fn(&[T]) -> P + Sync,
    ) -> Image<P> {
        let (n, width) = (self.layout.components(), self.size.width);
        let mut image = Image::filled(part.width, part.height, P::default());
        // Small parts are decoded by whoever asked: a tile is already one of many.
        image.par_rows_mut().with_min_len((1 << 18) / part.width.max(1)).for_each(|(y, row)| {
            let start = ((part.y + y) * width + part.x) * n;
            for (texel, source) in row.iter_mut().zip(samples[start..].chunks_exact(n)) {
                *texel = f(source);
            }
        });
        image
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
            let row = touched.row(y);
            if !row.contains(&true) {
                continue;
            }
            let start = ((part.y + y) * self.size.width + part.x) * self.layout.components();
            let (layout, float) = (self.layout, self.is_float());
            each_depth!(&mut self.samples, v => encode_row(&mut v[start..], layout, float, coding, map, y, Some(row)));
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
        let length = (map.size().width * layout.components()).max(1);
        each_depth!(&mut stored.samples, v => v
            .par_chunks_mut(length)
            .enumerate()
            .for_each(|(y, row)| encode_row(row, layout, false, coding, map, y, None)));
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

/// Row `y` of a map into samples that begin at its first texel, only where `touched`.
fn encode_row<T: Sample>(
    row: &mut [T],
    layout: Layout,
    float: bool,
    coding: &Coding,
    map: &Map,
    y: usize,
    touched: Option<&[bool]>,
) {
    let (n, first) = (layout.components(), coding.component);
    let wanted = |x: usize| touched.is_none_or(|t| t[x]);
    let texels = row.chunks_exact_mut(n).take(map.size().width).enumerate().filter(|(x, _)| wanted(*x));
    match map {
        Map::Color(image) => {
            let code = |v: f32| if coding.transfer == Transfer::Srgb { T::from_light(v) } else { T::from_unit(v) };
            let source = image.row(y);
            texels.for_each(|(x, t)| {
                if n < 3 {
                    t[first] = code(source[x].luminance());
                } else {
                    (0..3).for_each(|i| t[first + i] = code(source[x].0[i]));
                }
            });
        }
        Map::Unit(image) => {
            let source = image.row(y);
            texels.for_each(|(x, t)| {
                let value = source[x].0;
                t[first] = T::from_unit(if coding.inverted { 1.0 - value } else { value });
            });
        }
        Map::Height(image) => {
            let (low, span, source) = (coding.height_range.low_mm, coding.height_range.span_mm(), image.row(y));
            texels.for_each(|(x, t)| t[first] = T::from_unit((source[x].0 - low) / span));
        }
        Map::Normal(image) => {
            let (sign, source) = (if coding.normal_y == NormalY::Up { 1.0 } else { -1.0 }, image.row(y));
            texels.for_each(|(x, t)| {
                let [nx, ny, nz] = source[x].0;
                for (slot, axis) in t[first..].iter_mut().zip([nx, sign * ny, nz]) {
                    *slot = T::from_unit(if float { axis } else { 0.5 * axis + 0.5 });
                }
            });
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
    fn a_part_is_read_and_written_in_its_place() {
        let coding = Coding { component: 1, ..Coding::default() };
        let samples = (0..5 * 4 * 3).map(|v| v as u8).collect();
        let first =
            Stored { size: Size::new(5, 4), layout: Layout::Rgb, samples: Samples::U8(samples), tags: ColorTags::default() };
        let part = Rect::new(1, 1, 3, 2);
        let map = first.decode(Kind::Unit, &coding, part);
        assert_eq!(
            map.as_unit().map(|m| m.get(2, 1).0),
            Some(f32::from((2 * 5 + 3) * 3 + 1u8) / 255.0),
            "column 3, row 2, green"
        );
        let mut second = Stored::zeros(first.size, first.layout, &first.samples);
        second.encode(&coding, part, &map, &Image::from_fn(3, 2, |x, y| (x, y) != (0, 0)));
        for (x, y) in (0..4).flat_map(|y| (0..5).map(move |x| (x, y))) {
            let inside = part.contains(x, y) && (x, y) != (1, 1);
            assert_eq!(second.value(x, y, 1), if inside { first.value(x, y, 1) } else { 0.0 }, "green at {x},{y}");
            assert_eq!(second.value(x, y, 0) + second.value(x, y, 2), 0.0, "red and blue at {x},{y}");
        }
    }

    #[test]
    fn down_normals_are_turned() {
        let coding = Coding { normal_y: NormalY::Down, ..Coding::default() };
        let map = Map::Normal(Image::filled(1, 1, Normal([0.0, 0.6, 0.8])));
        let stored = Stored::from_map(&map, &coding, Depth::Eight);
        assert_eq!(stored.samples, Samples::U8(vec![128, 51, 230]), "green = round((1 - 0.6) / 2 * 255)");
    }
}
