//! Flat rectangles whose size is known beforehand.

use crate::units::Mm;

/// A flat rectangle of known size that lies on the cloth in a photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum KnownSize {
    /// A card of size ID-1 (ISO/IEC 7810): as bank cards and most identity cards are.
    Card,
    /// A sheet of paper, ISO 216.
    A4,
    /// A sheet of paper, ISO 216.
    A5,
    /// A sheet of paper, ISO 216.
    A6,
    /// Another, its corners marked by hand.
    Told {
        /// From the first corner to the second.
        width: Mm,
        /// From the second corner to the third.
        height: Mm,
    },
}

impl KnownSize {
    /// Those that are found by themselves.
    pub const FOUND: [Self; 4] = [Self::Card, Self::A4, Self::A5, Self::A6];

    /// What people call it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Card => "card",
            Self::A4 => "a4",
            Self::A5 => "a5",
            Self::A6 => "a6",
            Self::Told { .. } => "rectangle",
        }
    }

    /// Width and height; of the standard ones the longer side first.
    pub const fn mm(self) -> [Mm; 2] {
        match self {
            Self::Card => [Mm(85.60), Mm(53.98)],
            Self::A4 => [Mm(297.0), Mm(210.0)],
            Self::A5 => [Mm(210.0), Mm(148.0)],
            Self::A6 => [Mm(148.0), Mm(105.0)],
            Self::Told { width, height } => [width, height],
        }
    }

    /// How far either side may be off, half the whole range: ISO/IEC 7810 lets new ID-1 cards measure 85.47 to 85.72 by 53.92 to 54.03
    /// mm; ISO 216 lets sides to 150 mm be off by 1.5 and those to 600 mm by 2 (both from memory). What was told counts as true.
    pub fn tolerance(self) -> [Mm; 2] {
        match self {
            Self::Card => [Mm(0.125), Mm(0.055)],
            Self::A4 | Self::A5 | Self::A6 => self.mm().map(|side| Mm(if side.get() <= 150.0 { 1.5 } else { 2.0 })),
            Self::Told { .. } => [Mm(0.0); 2],
        }
    }

    /// Radius of its corners: ISO/IEC 7810 names 3.18 mm.
    pub const fn corner(self) -> Mm {
        match self {
            Self::Card => Mm(3.18),
            _ => Mm(0.0),
        }
    }

    /// How far its face lies above the cloth: a card is 0.76 mm thick (ISO/IEC 7810), office paper 0.1 (common practice, no source).
    pub const fn thickness(self) -> Mm {
        match self {
            Self::Card => Mm(0.76),
            Self::A4 | Self::A5 | Self::A6 => Mm(0.1),
            Self::Told { .. } => Mm(0.0),
        }
    }
}
