//! One sample of a stored picture, whatever its depth; the loops over them are compiled once a depth.

use std::sync::LazyLock;

use half::f16;

use crate::color::{decode_srgb, encode_srgb};

/// A sample of a file.
pub(super) trait Sample: Copy + Send + Sync + PartialEq {
    /// Whole numbers scaled to 0..1, floats as they are.
    fn unit(self) -> f32;
    /// Whole numbers rounded to the nearest and clipped, floats as they are.
    fn from_unit(value: f32) -> Self;
    /// Linear light of an sRGB code.
    fn light(self) -> f32 {
        decode_srgb(self.unit())
    }
    /// The sRGB code of linear light.
    fn from_light(light: f32) -> Self {
        Self::from_unit(encode_srgb(light))
    }
}

/// 256 powers instead of one a sample.
static LIGHT_OF_CODE: LazyLock<[f32; 256]> = LazyLock::new(|| std::array::from_fn(|i| decode_srgb(i as f32 / 255.0)));

/// Exact 8-bit encoding without powers: the light from which each code holds, and where to begin looking.
struct CodeOfLight {
    /// Least light of each code.
    least: [f32; 257],
    /// For light × 4096: the code at the bucket's beginning.
    first: [u8; 4097],
}

static CODE_OF_LIGHT: LazyLock<CodeOfLight> = LazyLock::new(|| {
    let code = |light: f32| (encode_srgb(light) * 255.0 + 0.5) as u8;
    // The bits of floats above zero are in order, so the least light of a code is found by halving.
    let least = std::array::from_fn(|i| {
        let (mut low, mut high) = (0u32, 1.5f32.to_bits());
        while low < high {
            let middle = low.midpoint(high);
            if usize::from(code(f32::from_bits(middle))) >= i { high = middle } else { low = middle + 1 }
        }
        if i > 255 { f32::INFINITY } else { f32::from_bits(low) }
    });
    CodeOfLight { least, first: std::array::from_fn(|i| code(i as f32 / 4096.0)) }
});

impl Sample for u8 {
    #[inline]
    fn unit(self) -> f32 {
        f32::from(self) / 255.0
    }
    #[inline]
    fn from_unit(value: f32) -> Self {
        (value * 255.0 + 0.5) as Self
    }
    #[inline]
    fn light(self) -> f32 {
        LIGHT_OF_CODE[usize::from(self)]
    }
    #[inline]
    fn from_light(light: f32) -> Self {
        let table = &*CODE_OF_LIGHT;
        let mut code = table.first[((light * 4096.0) as usize).min(4096)];
        while light >= table.least[usize::from(code) + 1] {
            code += 1;
        }
        code
    }
}

impl Sample for u16 {
    #[inline]
    fn unit(self) -> f32 {
        f32::from(self) / 65535.0
    }
    #[inline]
    fn from_unit(value: f32) -> Self {
        (value * 65535.0 + 0.5) as Self
    }
}

impl Sample for f16 {
    #[inline]
    fn unit(self) -> f32 {
        self.to_f32()
    }
    #[inline]
    fn from_unit(value: f32) -> Self {
        Self::from_f32(value)
    }
}

impl Sample for f32 {
    #[inline]
    fn unit(self) -> f32 {
        self
    }
    #[inline]
    fn from_unit(value: f32) -> Self {
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_encodes_as_the_curve_does() {
        let table = &*CODE_OF_LIGHT;
        // Every code's least light and the float before it, and steps in between.
        let edges = table.least[1..256].iter().flat_map(|l| [*l, f32::from_bits(l.to_bits() - 1)]);
        for light in edges.chain((-200..42_000).map(|i| i as f32 / 40_000.0)) {
            assert_eq!(u8::from_light(light), (encode_srgb(light) * 255.0 + 0.5) as u8, "light {light}");
        }
        assert_eq!(u8::from_light(f32::NAN), 0, "no number is black");
    }
}
