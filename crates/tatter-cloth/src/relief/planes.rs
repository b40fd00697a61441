//! Layers of a small convolutional net over planes of floats: rows of channels, zero beyond the picture.
//!
//! Sums run in one order whatever the processor, without fused products: the same photo gives the same bits.

use pulp::Arch;

/// Texels a kernel makes at a time, and its channels.
const LANES: usize = 8;
const OUT: usize = 4;
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
            1 => arch.dispatch(|| self.taps::<1>(around, width, out)),
            _ => arch.dispatch(|| self.taps::<3>(around, width, out)),
        }
    }

    #[inline(always)]
    fn taps<const SIDE: usize>(&self, around: &[&[f32]], width: usize, out: &mut [f32]) {
        let stride = stride(width);
        let per_block = self.inputs * SIDE * SIDE * OUT;
        for (block, weights) in self.packed.chunks_exact(per_block).enumerate() {
            let mut x = 0;
            while x < width {
                let mut acc: [[f32; LANES]; OUT] = std::array::from_fn(|o| [self.bias[block * OUT + o]; LANES]);
                let mut taps = weights.chunks_exact(OUT);
                for input in 0..self.inputs {
                    for line in around.iter().take(SIDE) {
                        let from = input * stride + PAD + x - SIDE / 2;
                        let Some(line) = line.get(from..from + LANES + SIDE - 1) else { continue };
                        for dx in 0..SIDE {
                            let (Some(v), Some(w)) = (line[dx..].first_chunk::<LANES>(), taps.next()) else { continue };
                            for o in 0..OUT {
                                for i in 0..LANES {
                                    acc[o][i] += w[o] * v[i];
                                }
                            }
                        }
                    }
                }
                for (o, acc) in acc.iter().enumerate() {
                    let channel = block * OUT + o;
                    if channel < self.outputs {
                        let to = channel * stride + PAD + x;
                        let count = LANES.min(width - x);
                        out[to..to + count].copy_from_slice(&acc[..count]);
                    }
                }
                x += LANES;
            }
        }
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
        arch.dispatch(|| self.taps(around, width, out));
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
                let count = LANES.min(width - x);
                let to = channel * stride + PAD + x;
                out[to..to + count].copy_from_slice(&acc[..count]);
                x += LANES;
            }
        }
    }
}

/// Negative values to zero.
pub(super) fn rectify(row: &mut [f32]) {
    for v in row {
        *v = v.max(0.0);
    }
}
