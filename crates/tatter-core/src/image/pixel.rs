//! The pixel type says what a texel is, so that a height does not fit where a cover is wanted.

use crate::color::decode_srgb;

/// Texels that can be averaged: everything a linear filter needs.
pub trait Pixel: Copy + Default + Send + Sync + PartialEq + std::fmt::Debug + 'static {
    /// Nothing: what a weighted sum starts from (not a legal normal).
    const ZERO: Self;
    /// `self + other * weight`.
    #[must_use]
    fn plus(self, other: Self, weight: f32) -> Self;
    /// `self * factor`.
    #[must_use]
    fn times(self, factor: f32) -> Self;
}

/// Linear light, Rec.709 primaries, D65; not premultiplied; may exceed 1.
#[derive(Clone, Copy, Debug, Default, PartialEq, bytemuck::Pod, bytemuck::Zeroable)]
#[repr(C)]
pub struct LinearRgb(pub [f32; 3]);

/// A scalar in 0..1: cover, opacity, roughness, metallic, occlusion.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, bytemuck::Pod, bytemuck::Zeroable)]
#[repr(C)]
pub struct Unit(pub f32);

/// Millimetres above the mid plane of the cloth.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, bytemuck::Pod, bytemuck::Zeroable)]
#[repr(C)]
pub struct HeightMm(pub f32);

/// A unit direction in tangent space: +X right, +Y up, +Z out of the cloth.
#[derive(Clone, Copy, Debug, PartialEq, bytemuck::Pod, bytemuck::Zeroable)]
#[repr(C)]
pub struct Normal(pub [f32; 3]);

impl Default for Normal {
    fn default() -> Self {
        Self::FLAT
    }
}

impl Pixel for f32 {
    const ZERO: Self = 0.0;
    #[inline]
    fn plus(self, other: Self, weight: f32) -> Self {
        self + other * weight
    }
    #[inline]
    fn times(self, factor: f32) -> Self {
        self * factor
    }
}

macro_rules! scalar_pixel {
    ($($name:ident),*) => {$(
        impl Pixel for $name {
            const ZERO: Self = Self(0.0);
            #[inline]
            fn plus(self, other: Self, weight: f32) -> Self {
                Self(self.0 + other.0 * weight)
            }
            #[inline]
            fn times(self, factor: f32) -> Self {
                Self(self.0 * factor)
            }
        }
    )*};
}
scalar_pixel!(Unit, HeightMm);

macro_rules! triple_pixel {
    ($($name:ident),*) => {$(
        impl Pixel for $name {
            const ZERO: Self = Self([0.0; 3]);
            #[inline]
            fn plus(self, other: Self, weight: f32) -> Self {
                Self([self.0[0] + other.0[0] * weight, self.0[1] + other.0[1] * weight, self.0[2] + other.0[2] * weight])
            }
            #[inline]
            fn times(self, factor: f32) -> Self {
                Self([self.0[0] * factor, self.0[1] * factor, self.0[2] * factor])
            }
        }
    )*};
}
triple_pixel!(LinearRgb, Normal);

impl LinearRgb {
    /// From sRGB codes (IEC 61966-2-1), as `#RRGGBB` names a colour.
    pub fn from_codes(codes: [u8; 3]) -> Self {
        Self(codes.map(|code| decode_srgb(f32::from(code) / 255.0)))
    }

    /// Relative luminance, Rec.709 weights.
    #[inline]
    pub fn luminance(self) -> f32 {
        0.2126 * self.0[0] + 0.7152 * self.0[1] + 0.0722 * self.0[2]
    }
}

impl Normal {
    /// Straight out of the cloth.
    pub const FLAT: Self = Self([0.0, 0.0, 1.0]);

    /// Steepest slope kept: beyond it (89.4 degrees) a height field says nothing useful.
    const MAX_SLOPE: f32 = 100.0;

    /// From the slopes of a height field, `p` = dh/dx to the right and `q` = dh/dy *upwards*, mm per mm.
    #[inline]
    pub fn from_slopes(p: f32, q: f32) -> Self {
        let length = (p * p + q * q + 1.0).sqrt();
        Self([-p / length, -q / length, 1.0 / length])
    }

    /// The slopes (right, up) of the surface that faces this way.
    #[inline]
    pub fn slopes(self) -> (f32, f32) {
        let [x, y, z] = self.0;
        let z = z.max(1.0 / Self::MAX_SLOPE);
        (-x / z, -y / z)
    }

    /// Slopes scaled by `strength`: 0 flat, 1 unchanged.
    #[must_use]
    pub fn with_strength(self, strength: f32) -> Self {
        let (p, q) = self.slopes();
        Self::from_slopes(p * strength, q * strength)
    }

    /// Unit length again; flat when it has none.
    #[must_use]
    #[inline]
    pub fn normalized(self) -> Self {
        let [x, y, z] = self.0;
        let length = (x * x + y * y + z * z).sqrt();
        if length > 1e-12 && length.is_finite() { Self([x / length, y / length, z / length]) } else { Self::FLAT }
    }

    /// `detail` riding on this surface: reoriented normal mapping (Barré-Brisebois, Hill, "Blending in Detail", 2012).
    #[must_use]
    pub fn reoriented(self, detail: Self) -> Self {
        let [tx, ty, tz] = [self.0[0], self.0[1], self.0[2] + 1.0];
        let [ux, uy, uz] = [-detail.0[0], -detail.0[1], detail.0[2]];
        let scale = (tx * ux + ty * uy + tz * uz) / tz.max(1e-6);
        Self([tx * scale - ux, ty * scale - uy, tz * scale - uz]).normalized()
    }

    /// The angle to another direction, radians.
    pub fn angle_to(self, other: Self) -> f32 {
        let dot: f32 = (0..3).map(|i| self.0[i] * other.0[i]).sum();
        dot.clamp(-1.0, 1.0).acos()
    }
}
