//! The sRGB transfer curve, IEC 61966-2-1. `libm`'s power, since platforms' own differ in the last bit and files must not.

use std::sync::LazyLock;

/// Code value 0..1 to linear light.
#[inline]
pub fn decode_srgb(code: f32) -> f32 {
    if code <= 0.04045 { code / 12.92 } else { libm::powf((code + 0.055) / 1.055, 2.4) }
}

/// Linear light to code value; below 0 gives 0 or less, above 1 more than 1.
#[inline]
pub fn encode_srgb(light: f32) -> f32 {
    if light <= 0.003_130_8 { light * 12.92 } else { 1.055 * libm::powf(light, 1.0 / 2.4) - 0.055 }
}

/// Codes 0..255 of light in steps of a 65535th, each less than a tenth of a code: for many texels that are looked at.
static CODES: LazyLock<Vec<u8>> =
    LazyLock::new(|| (0..=u16::MAX).map(|light| (encode_srgb(f32::from(light) / 65_535.0) * 255.0).round() as u8).collect());

/// The 8-bit sRGB code of light, off by one at most a tenth of a code from where [`encode_srgb`] rounds to another; 0..1 is clipped.
#[inline]
pub fn srgb_code(light: f32) -> u8 {
    CODES[(light.clamp(0.0, 1.0) * 65_535.0 + 0.5) as usize]
}

/// The sRGB codes of six hexadecimal digits, as they stand behind the `#` of [`codes_text`].
pub fn codes_of(digits: &str) -> Option<[u8; 3]> {
    let is_color = digits.len() == 6 && digits.bytes().all(|digit| digit.is_ascii_hexdigit());
    let [_, r, g, b] = is_color.then(|| u32::from_str_radix(digits, 16).ok()).flatten()?.to_be_bytes();
    Some([r, g, b])
}

/// sRGB codes as people write them, `#rrggbb`.
pub fn codes_text([r, g, b]: [u8; 3]) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}
