//! Layers of a small convolutional net over planes of floats: rows of channels, zero beyond the picture.
//!
//! Sums run in one order whatever the processor, without fused products: the same photo gives the same bits.

use pulp::{Arch, NullaryFnOnce, Simd, WithSimd};

/// Texels a kernel makes at a time at the most, and its channels: as many sums as keep a processor of two adders busy.
const LANES: usize = 8;
const OUT: usize = 8;
/// Zeros left and right of each row.
pub(super) const PAD: usize = 8;

/// Channels of a picture, row by row, in each row channel by channel. Rows before the first and after the last are zero.
#[derive(Clone, Debug)]
pub(super) struct Planes {
    pub(super) channels: usize,
    pub(super) width: usize,
    /// Number of the first row held.
    first: isize,
    rows: usize,
    data: Vec<f32>,
    zero: Vec<f32>,
}

impl Planes {
    /// Zeros, for rows `first` to `first + rows`.
    pub(super) fn new(channels: usize, width: usize, first: isize, rows: usize) -> Self {
        let stride = stride(width);
        let zero = vec![0.0; channels * stride];
        Self { channels, width, first, rows, data: vec![0.0; rows * channels * stride], zero }
    }

    pub(super) const fn first(&self) -> isize {
        self.first
    }

    pub(super) const fn row_floats(&self) -> usize {
        self.channels * stride(self.width)
    }

    /// A row, all channels with their zeros.
    pub(super) fn row(&self, y: isize) -> &[f32] {
        let at = y - self.first;
        if at < 0 || at >= self.rows as isize {
            return &self.zero;
        }
        let size = self.row_floats();
        &self.data[at as usize * size..(at as usize + 1) * size]
    }

    /// Rows in order, to fill.
    pub(super) fn rows_mut(&mut self) -> std::slice::ChunksMut<'_, f32> {
        let size = self.row_floats();
        self.data.chunks_mut(size)
    }

    /// All floats, to be cut into rows.
    pub(super) fn data_mut(&mut self) -> &mut [f32] {
        &mut self.data
    }
}

/// Floats from a channel of a row to the next: whole kernels between the zeros.
pub(super) const fn stride(width: usize) -> usize {
    width.div_ceil(LANES) * LANES + 2 * PAD
}

/// A convolution of odd side, or a pointwise one. Weights are packed for the kernel: for each block of outputs, for each
/// input and tap, the block's weights.
#[derive(Clone, Debug)]
pub(super) struct Conv {
    inputs: usize,
    outputs: usize,
    side: usize,
    packed: Vec<f32>,
    bias: Vec<f32>,
}

impl Conv {
    /// From weights `[output][input][row][column]`.
    pub(super) fn new(inputs: usize, side: usize, weights: &[f32], bias: &[f32]) -> Self {
        let outputs = bias.len();
        assert_eq!(weights.len(), outputs * inputs * side * side, "weights of a layer are as many as it has taps");
        let mut packed = Vec::with_capacity(weights.len());
        for block in 0..outputs.div_ceil(OUT) {
            for tap in 0..inputs * side * side {
                packed.extend((0..OUT).map(|o| weights.get((block * OUT + o) * inputs * side * side + tap).unwrap_or(&0.0)));
            }
        }
        let mut bias = bias.to_vec();
        bias.resize(outputs.div_ceil(OUT) * OUT, 0.0);
        Self { inputs, outputs, side, packed, bias }
    }

    /// One row of outputs from the rows around it (as many as the side). `out` is a row of planes; its zeros are kept.
    pub(super) fn row(&self, arch: Arch, around: &[&[f32]], width: usize, out: &mut [f32]) {
        assert_eq!(around.len(), self.side, "a kernel sees as many rows as it is high");
        match self.side {
            1 => arch.dispatch(ConvRow::<1> { layer: self, around, width, out }),
            _ => arch.dispatch(ConvRow::<3> { layer: self, around, width, out }),
        }
    }

    #[inline(always)]
    fn taps<const SIDE: usize, S: Simd>(&self, simd: S, around: &[&[f32]], width: usize, out: &mut [f32]) {
        let (stride, lanes) = (stride(width), S::F32_LANES);
        let per_block = self.inputs * SIDE * SIDE * OUT;
        for (block, weights) in self.packed.chunks_exact(per_block).enumerate() {
            for x in (0..width).step_by(lanes) {
                let mut acc: [S::f32s; OUT] = std::array::from_fn(|o| simd.splat_f32s(self.bias[block * OUT + o]));
                let mut taps = weights.chunks_exact(OUT);
                for input in 0..self.inputs {
                    for line in around.iter().take(SIDE) {
                        let from = input * stride + PAD + x - SIDE / 2;
                        let Some(line) = line.get(from..from + lanes + SIDE - 1) else { continue };
                        for dx in 0..SIDE {
                            let (Some(v), Some(w)) = (S::as_simd_f32s(&line[dx..]).0.first(), taps.next()) else { continue };
                            for (acc, w) in acc.iter_mut().zip(w) {
                                *acc = simd.add_f32s(*acc, simd.mul_f32s(simd.splat_f32s(*w), *v));
                            }
                        }
                    }
                }
                for (channel, acc) in (block * OUT..self.outputs).zip(acc) {
                    if let Some(to) = S::as_mut_simd_f32s(&mut out[channel * stride + PAD + x..]).0.first_mut() {
                        *to = acc;
                    }
                }
            }
        }
        (0..self.outputs).for_each(|channel| clear_beyond(width, &mut out[channel * stride..][..stride]));
    }
}

/// A row of a convolution, for the processor's widest lanes.
struct ConvRow<'a, const SIDE: usize> {
    layer: &'a Conv,
    around: &'a [&'a [f32]],
    width: usize,
    out: &'a mut [f32],
}

impl<const SIDE: usize> WithSimd for ConvRow<'_, SIDE> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        self.layer.taps::<SIDE, S>(simd, self.around, self.width, self.out);
    }
}

/// A convolution of each channel by itself, five by five.
#[derive(Clone, Debug)]
pub(super) struct Depthwise {
    weights: Vec<f32>,
    bias: Vec<f32>,
}

/// Side of the depthwise kernel.
const DEEP: usize = 5;

impl Depthwise {
    /// From weights `[channel][row][column]`.
    pub(super) fn new(weights: &[f32], bias: &[f32]) -> Self {
        assert_eq!(weights.len(), bias.len() * DEEP * DEEP, "each channel has a kernel of five by five");
        Self { weights: weights.to_vec(), bias: bias.to_vec() }
    }

    /// One row from the five around it.
    pub(super) fn row(&self, arch: Arch, around: &[&[f32]; DEEP], width: usize, out: &mut [f32]) {
        arch.dispatch(DeepRow { layer: self, around, width, out });
    }

    #[inline(always)]
    fn taps(&self, around: &[&[f32]; DEEP], width: usize, out: &mut [f32]) {
        let stride = stride(width);
        for (channel, weights) in self.weights.chunks_exact(DEEP * DEEP).enumerate() {
            let mut x = 0;
            while x < width {
                let mut acc = [self.bias[channel]; LANES];
                let from = channel * stride + PAD + x - DEEP / 2;
                for (line, weights) in around.iter().zip(weights.chunks_exact(DEEP)) {
                    let Some(line) = line.get(from..from + LANES + DEEP - 1) else { continue };
                    for dx in 0..DEEP {
                        let Some(v) = line[dx..].first_chunk::<LANES>() else { continue };
                        for i in 0..LANES {
                            acc[i] += weights[dx] * v[i];
                        }
                    }
                }
                // Whole lanes: sums of which some are kept would live in memory all through the loop that makes them.
                if let Some(to) = out[channel * stride + PAD + x..].first_chunk_mut() {
                    *to = acc;
                }
                x += LANES;
            }
            clear_beyond(width, &mut out[channel * stride..][..stride]);
        }
    }
}

/// A row of a depthwise convolution, likewise; a closure need not be drawn into the code that has those lanes.
struct DeepRow<'a> {
    layer: &'a Depthwise,
    around: &'a [&'a [f32]; DEEP],
    width: usize,
    out: &'a mut [f32],
}

impl NullaryFnOnce for DeepRow<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        self.layer.taps(self.around, self.width, self.out);
    }
}

/// The zeros right of a channel's row, which whole lanes wrote over.
fn clear_beyond(width: usize, row: &mut [f32]) {
    row[PAD + width..].fill(0.0);
}

/// Negative values to zero.
pub(super) fn rectify(row: &mut [f32]) {
    for v in row {
        *v = v.max(0.0);
    }
}
