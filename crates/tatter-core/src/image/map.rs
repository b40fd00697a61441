//! [`Map`]: an image whose kind is known only at run time.

use std::borrow::Cow;
use std::ops::Range;

use super::{HeightMm, Image, LinearRgb, Normal, Rect, Size, Unit};
use crate::channel::Kind;

/// A map of a patch or of a garment, by the kind of its texels.
#[derive(Clone, Debug, PartialEq)]
pub enum Map {
    /// Linear colour.
    Color(Image<LinearRgb>),
    /// A scalar 0..1.
    Unit(Image<Unit>),
    /// Millimetres.
    Height(Image<HeightMm>),
    /// Directions.
    Normal(Image<Normal>),
}

/// Some texels of a row of a map.
#[derive(Clone, Debug, PartialEq)]
pub enum MapRow<'a> {
    /// Linear colour.
    Color(Cow<'a, [LinearRgb]>),
    /// A scalar 0..1.
    Unit(Cow<'a, [Unit]>),
    /// Millimetres.
    Height(Cow<'a, [HeightMm]>),
    /// Directions.
    Normal(Cow<'a, [Normal]>),
}

impl<'a> MapRow<'a> {
    /// As colours, if they are.
    pub fn into_colors(self) -> Option<Cow<'a, [LinearRgb]>> {
        if let Self::Color(row) = self { Some(row) } else { None }
    }

    /// As scalars, if they are.
    pub fn into_units(self) -> Option<Cow<'a, [Unit]>> {
        if let Self::Unit(row) = self { Some(row) } else { None }
    }
}

impl Map {
    /// Nothing yet, of a kind.
    pub fn blank(kind: Kind, size: Size) -> Self {
        match kind {
            Kind::Color => Self::Color(Image::filled(size.width, size.height, LinearRgb::default())),
            Kind::Unit => Self::Unit(Image::filled(size.width, size.height, Unit::default())),
            Kind::Height => Self::Height(Image::filled(size.width, size.height, HeightMm::default())),
            Kind::Normal => Self::Normal(Image::filled(size.width, size.height, Normal::default())),
        }
    }

    /// Columns and rows.
    pub const fn size(&self) -> Size {
        match self {
            Self::Color(i) => i.size(),
            Self::Unit(i) => i.size(),
            Self::Height(i) => i.size(),
            Self::Normal(i) => i.size(),
        }
    }

    /// The kind of its texels.
    pub const fn kind(&self) -> Kind {
        match self {
            Self::Color(_) => Kind::Color,
            Self::Unit(_) => Kind::Unit,
            Self::Height(_) => Kind::Height,
            Self::Normal(_) => Kind::Normal,
        }
    }

    /// Columns of a row.
    ///
    /// # Panics
    /// When they reach outside: a bug of the caller.
    pub fn row(&self, y: usize, columns: Range<usize>) -> MapRow<'_> {
        match self {
            Self::Color(i) => MapRow::Color(i.row(y)[columns].into()),
            Self::Unit(i) => MapRow::Unit(i.row(y)[columns].into()),
            Self::Height(i) => MapRow::Height(i.row(y)[columns].into()),
            Self::Normal(i) => MapRow::Normal(i.row(y)[columns].into()),
        }
    }

    /// A copy of a part.
    #[must_use]
    pub fn crop(&self, part: Rect) -> Self {
        match self {
            Self::Color(i) => Self::Color(i.crop(part)),
            Self::Unit(i) => Self::Unit(i.crop(part)),
            Self::Height(i) => Self::Height(i.crop(part)),
            Self::Normal(i) => Self::Normal(i.crop(part)),
        }
    }

    /// As colour, if it is.
    pub const fn as_color(&self) -> Option<&Image<LinearRgb>> {
        if let Self::Color(i) = self { Some(i) } else { None }
    }

    /// As a scalar, if it is.
    pub const fn as_unit(&self) -> Option<&Image<Unit>> {
        if let Self::Unit(i) = self { Some(i) } else { None }
    }

    /// As heights, if it is.
    pub const fn as_height(&self) -> Option<&Image<HeightMm>> {
        if let Self::Height(i) = self { Some(i) } else { None }
    }

    /// As normals, if it is.
    pub const fn as_normal(&self) -> Option<&Image<Normal>> {
        if let Self::Normal(i) = self { Some(i) } else { None }
    }
}
