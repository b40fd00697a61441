//! Fourier and cosine transforms of `f32`, of any length.
//!
//! The planners of `rustfft` and `rustdct` are generic, so every crate that calls them compiles each of their butterflies once more, which
//! takes half a minute. Here that is done once; what is given back are trait objects.

use std::fmt;
use std::sync::Arc;

use num_complex::Complex32;
use rustdct::DctPlanner;
pub use rustdct::TransformType2And3;
use rustfft::FftPlanner;
pub use rustfft::{Fft, num_complex};

/// Makes Fourier transforms, and keeps what several lengths share. Neither direction scales: there and back is the length times what it was.
pub struct FourierPlanner(FftPlanner<f32>);

/// Makes cosine transforms of types 2 and 3 (DCT-II and DCT-III), and keeps what several lengths share.
pub struct CosinePlanner(DctPlanner<f32>);

/// The Hann window over `count` values, at the middle of value `i`.
#[must_use]
pub fn hann(i: usize, count: usize) -> f32 {
    0.5 - 0.5 * (std::f32::consts::TAU * (i as f32 + 0.5) / count as f32).cos()
}

/// The least length from here on that is a product of 2, 3 and 5: transforms of others take longer.
#[must_use]
pub fn fast_length(least: usize) -> usize {
    let is_fast = |mut length: usize| {
        for prime in [2, 3, 5] {
            while length.is_multiple_of(prime) {
                length /= prime;
            }
        }
        length == 1
    };
    (least..).find(|length| is_fast(*length)).unwrap_or(least)
}

/// Both axes of a square whose side is the transform's length, exchanged: there and back they stand as they did.
///
/// # Panics
/// When the values are no square of that side: a bug of the caller.
#[must_use]
pub fn both_axes(mut square: Vec<Complex32>, transform: &dyn Fft<f32>) -> Vec<Complex32> {
    let side = transform.len();
    assert_eq!(square.len(), side * side, "a square of the transform's length");
    transform.process(&mut square);
    let mut turned = vec![Complex32::ZERO; side * side];
    for (y, row) in square.chunks_exact(side).enumerate() {
        for (x, value) in row.iter().enumerate() {
            turned[x * side + y] = *value;
        }
    }
    transform.process(&mut turned);
    turned
}

impl FourierPlanner {
    /// With nothing made yet.
    #[must_use]
    #[inline(never)]
    pub fn new() -> Self {
        Self(FftPlanner::new())
    }

    /// From values to waves.
    #[inline(never)]
    pub fn forward(&mut self, length: usize) -> Arc<dyn Fft<f32>> {
        self.0.plan_fft_forward(length)
    }

    /// From waves to values.
    #[inline(never)]
    pub fn inverse(&mut self, length: usize) -> Arc<dyn Fft<f32>> {
        self.0.plan_fft_inverse(length)
    }
}

impl CosinePlanner {
    /// With nothing made yet.
    #[must_use]
    #[inline(never)]
    pub fn new() -> Self {
        Self(DctPlanner::new())
    }

    /// Both types in one: type 2 from values to waves, type 3 from waves to values; there and back is half the length times what it was.
    #[inline(never)]
    pub fn cosine(&mut self, length: usize) -> Arc<dyn TransformType2And3<f32>> {
        self.0.plan_dct2(length)
    }
}

impl Default for FourierPlanner {
    fn default() -> Self {
        Self::new()
    }
}

impl Default for CosinePlanner {
    fn default() -> Self {
        Self::new()
    }
}

impl fmt::Debug for FourierPlanner {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("FourierPlanner").finish_non_exhaustive()
    }
}

impl fmt::Debug for CosinePlanner {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("CosinePlanner").finish_non_exhaustive()
    }
}
