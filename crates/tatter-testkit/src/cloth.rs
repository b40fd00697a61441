//! Texture maps of woven cloth from formulas, for timing: they pack about as badly as photographed ones.

use rayon::prelude::*;
use tatter_core::image::{Layout, Samples, Size, Stored};

/// A reproducible number 0..1 for a place.
fn noise(x: usize, y: usize, seed: u64) -> f32 {
    let mut v = (x as u64) << 32 ^ y as u64 ^ seed.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    v = (v ^ v >> 31).wrapping_mul(0x7fb5_d329_728e_a185);
    v = (v ^ v >> 27).wrapping_mul(0x81da_def4_bc2d_d44d);
    ((v ^ v >> 33) >> 40) as f32 / 16_777_216.0
}

/// Noise of cells of `cell` texels, joined smoothly.
fn cloud(x: usize, y: usize, cell: usize, seed: u64) -> f32 {
    let (fx, fy) = ((x % cell) as f32 / cell as f32, (y % cell) as f32 / cell as f32);
    let (sx, sy) = (fx * fx * (3.0 - 2.0 * fx), fy * fy * (3.0 - 2.0 * fy));
    let at = |i, k| noise(x / cell + i, y / cell + k, seed);
    let mix = |a: f32, b: f32, t: f32| a + (b - a) * t;
    mix(mix(at(0, 0), at(1, 0), sx), mix(at(0, 1), at(1, 1), sx), sy)
}

/// Height 0..1 of a plain weave of threads 11 texels wide with folds, fuzz and grain.
fn height(x: usize, y: usize) -> f32 {
    let (u, v) = (x as f32 * 0.2856, y as f32 * 0.2856);
    let weave = (u.sin() * v.cos()).abs() * 0.25;
    weave + 0.4 * cloud(x, y, 512, 1) + 0.15 * cloud(x, y, 37, 2) + 0.05 * cloud(x, y, 5, 3) + 0.01 * noise(x, y, 4)
}

fn picture(side: usize, layout: Layout, like: &Samples, texel: impl Fn(usize, usize, usize) -> f32 + Sync) -> Stored {
    let n = layout.components();
    let value = |i: usize| texel(i / n % side, i / n / side, i % n).clamp(0.0, 1.0);
    let count = side * side * n;
    let mut stored = Stored::zeros(Size::new(side, side), layout, like);
    stored.samples = match like {
        Samples::U16(_) => Samples::U16((0..count).into_par_iter().map(|i| (value(i) * 65535.0) as u16).collect()),
        _ => Samples::U8((0..count).into_par_iter().map(|i| (value(i) * 255.0 + 0.5) as u8).collect()),
    };
    stored
}

/// Five maps of `side`² texels as a clean garment has them, the names of their channels before them: base colour and normal in
/// three components of 8 bits, height in 16 bits, roughness and opacity in 8. The same on every run.
pub fn cloth_maps(side: usize) -> Vec<(&'static str, Stored)> {
    let (eight, sixteen) = (Samples::U8(Vec::new()), Samples::U16(Vec::new()));
    let dye = [0.8, 0.62, 0.4];
    let color =
        picture(side, Layout::Rgb, &eight, |x, y, c| dye[c] * (0.4 + 0.6 * height(x, y)) + 0.03 * noise(x, y, 5 + c as u64));
    let normal = picture(side, Layout::Rgb, &eight, |x, y, c| {
        let (p, q) = (height(x + 1, y) - height(x, y), height(x, y + 1) - height(x, y));
        let n = [-4.0 * p, 4.0 * q, 1.0];
        let length = (n[0] * n[0] + n[1] * n[1] + 1.0).sqrt();
        0.5 + 0.5 * n[c] / length
    });
    let tall = picture(side, Layout::Gray, &sixteen, |x, y, _| height(x, y));
    let rough = picture(side, Layout::Gray, &eight, |x, y, _| 0.6 + 0.3 * height(x, y));
    let opacity = picture(side, Layout::Gray, &eight, |x, y, _| 40.0 * (cloud(x, y, 300, 9) - 0.2));
    vec![("base_color", color), ("normal", normal), ("height", tall), ("roughness", rough), ("opacity", opacity)]
}
