//! Height and shading from a photo by a small convolutional net that learned from woven scenes.
//!
//! Instead of a thread model fitted to each tile, it was shown what such a model would say: some thousand cloths of all weaves at 4 to 24 texels a
//! thread, whole and torn, under lamps and skies, through cameras, with dyes and prints laid over them (`tools/relief_net`).
//! Two levels: neighbours at half the photo's texels, blocks of five by five (depthwise) and pointwise layers at a quarter; what
//! is known of light, grain and spacing scales and shifts the channels of each layer (Perez et al., "`FiLM`: Visual Reasoning
//! with a General Conditioning Layer", 2018).

use pulp::Arch;
use rayon::prelude::*;
use tatter_core::angle::Angle;
use tatter_core::image::Image;

use super::planes::{Conv, Depthwise, PAD, Planes, rectify, stride};

/// Inputs, channels at half and at a quarter of the photo's texels, blocks, things known, and the hidden layer that reads them.
const INPUTS: usize = 3;
const HALF: usize = 16;
const QUARTER: usize = 32;
const BLOCKS: usize = 8;
const KNOWN: usize = 10;
const HIDDEN: usize = 24;
/// Height and shading.
const RESULTS: usize = 2;

/// Weights as `tools/relief_net/train.py` wrote them, 32-bit floats, least byte first.
static WEIGHTS: &[u8] = include_bytes!("net.f32");

/// Half rows made at a time on the way back.
const BAND: usize = 32;

/// Finest and coarsest threads that it was shown, texels.
pub(super) const PITCHES: [f32; 2] = [4.0, 24.0];

/// What is known beside the photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Known {
    /// Spacing of ends and of picks in texels.
    pub spacing: [f32; 2],
    /// The line the ends run along.
    pub grain: Angle,
    /// Direction and elevation of the lamp, and how sure it is.
    pub lamp: Option<([Angle; 2], f32)>,
    /// Whether a person told the lamp.
    pub told: bool,
}

impl Known {
    fn values(&self) -> [f32; KNOWN] {
        let mut values = [0.0; KNOWN];
        if let Some(([from, elevation], trust)) = self.lamp {
            let (sin, cos) = from.sin_cos();
            values[1..6].copy_from_slice(&[
                trust * cos,
                trust * sin,
                trust,
                f32::from(u8::from(self.told)),
                trust * (elevation.to_degrees() - 45.0) / 20.0,
            ]);
        }
        let ((sin, cos), [ends, picks]) = (self.grain.sin_cos(), self.spacing);
        // The first says that the rest of these is known.
        values[0] = 1.0;
        values[6..].copy_from_slice(&[(ends / 10.0).ln(), (picks / 10.0).ln(), 2.0 * cos * cos - 1.0, 2.0 * cos * sin]);
        values
    }
}

/// The net with what is known folded into its layers.
#[derive(Debug)]
pub(super) struct Net {
    enter: Conv,
    down: Conv,
    blocks: Vec<(Depthwise, Conv)>,
    up: Conv,
    middle: Conv,
    leave: Conv,
    past: Conv,
    arch: Arch,
}

/// Hands out weights in their order.
struct Reader<'a> {
    left: std::slice::ChunksExact<'a, u8>,
    known: [f32; KNOWN],
}

impl Reader<'_> {
    fn take(&mut self, count: usize) -> Vec<f32> {
        self.left.by_ref().take(count).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])).collect()
    }

    /// Weights and biases of a layer.
    fn layer(&mut self, inputs: usize, outputs: usize) -> [Vec<f32>; 2] {
        [self.take(inputs * outputs), self.take(outputs)]
    }

    /// What the known makes of a layer: factors and offsets of its channels.
    fn scaled(&mut self, [mut weights, mut bias]: [Vec<f32>; 2]) -> [Vec<f32>; 2] {
        let outputs = bias.len();
        let dense = |[weights, bias]: &[Vec<f32>; 2], input: &[f32]| {
            let each = weights.chunks_exact(input.len()).zip(bias);
            each.map(|(w, b)| b + w.iter().zip(input).map(|(w, v)| w * v).sum::<f32>()).collect::<Vec<f32>>()
        };
        let first = self.layer(KNOWN, HIDDEN);
        let second = self.layer(HIDDEN, 2 * outputs);
        let mut hidden = dense(&first, &self.known);
        rectify(&mut hidden);
        let change = dense(&second, &hidden);
        let taps = weights.len() / outputs;
        for (o, weights) in weights.chunks_exact_mut(taps).enumerate() {
            weights.iter_mut().for_each(|w| *w *= 1.0 + change[o]);
            bias[o] = bias[o] * (1.0 + change[o]) + change[outputs + o];
        }
        [weights, bias]
    }
}

impl Net {
    pub(super) fn new(known: &Known) -> Self {
        Self::with(known.values())
    }

    fn with(known: [f32; KNOWN]) -> Self {
        let mut reader = Reader { left: WEIGHTS.chunks_exact(4), known };
        let conv = |inputs: usize, side: usize, [weights, bias]: [Vec<f32>; 2]| Conv::new(inputs, side, &weights, &bias);
        let enter = reader.layer(4 * INPUTS * 9, HALF);
        let enter = conv(4 * INPUTS, 3, reader.scaled(enter));
        let down = reader.layer(4 * HALF, QUARTER);
        let down = conv(4 * HALF, 1, reader.scaled(down));
        let blocks = (0..BLOCKS)
            .map(|_| {
                let [weights, bias] = reader.layer(25, QUARTER);
                let point = reader.layer(QUARTER, QUARTER);
                (Depthwise::new(&weights, &bias), conv(QUARTER, 1, reader.scaled(point)))
            })
            .collect();
        let up = conv(QUARTER, 1, reader.layer(QUARTER, 4 * HALF));
        let middle = reader.layer(HALF * 9, HALF);
        let middle = conv(HALF, 3, reader.scaled(middle));
        let leave = conv(HALF, 3, reader.layer(HALF * 9, 4 * RESULTS));
        let past = conv(4 * INPUTS, 1, reader.layer(4 * INPUTS, 4 * RESULTS));
        assert!(reader.left.next().is_none(), "the file of weights holds this net and no more");
        Self { enter, down, blocks, up, middle, leave, past, arch: Arch::new() }
    }

    /// Height in texels and log shading, of log light about 0 and two log ratios of colours.
    pub(super) fn run(&self, inputs: [&Image<f32>; INPUTS]) -> [Image<f32>; RESULTS] {
        let (width, height) = (inputs[0].width(), inputs[0].height());
        let quarter = self.deep(&inputs, [width.div_ceil(4), height.div_ceil(4)]);
        let mut out = [0; RESULTS].map(|_| vec![0.0f32; width * height]);
        let [first, second] = &mut out;
        let band = 2 * BAND * width;
        first.par_chunks_mut(band).zip(second.par_chunks_mut(band)).enumerate().for_each(|(n, (first, second))| {
            self.back(&inputs, &quarter, n * BAND, [first, second]);
        });
        out.map(|values| Image::from_fn(width, height, |x, y| values[y * width + x]))
    }

    /// Channels at half the texels, rows `first..first + rows`, those beyond the picture zero.
    fn half(&self, inputs: &[&Image<f32>; INPUTS], first: isize, rows: usize) -> (Planes, Planes) {
        let (width, height) = (2 * inputs[0].width().div_ceil(4), 2 * inputs[0].height().div_ceil(4));
        let mut fine = Planes::new(4 * INPUTS, width, first - 1, rows + 2);
        let start = fine.first();
        for (y, row) in (start..).zip(fine.rows_mut()) {
            gather(inputs, y, width, row);
        }
        let mut half = Planes::new(HALF, width, first, rows);
        for (y, row) in (first..).zip(half.rows_mut()) {
            if y >= 0 && y < height as isize {
                self.enter.row(self.arch, &[fine.row(y - 1), fine.row(y), fine.row(y + 1)], width, row);
                rectify(row);
            }
        }
        (fine, half)
    }

    /// Channels at a quarter of the texels.
    fn deep(&self, inputs: &[&Image<f32>; INPUTS], [width, height]: [usize; 2]) -> Planes {
        const ROWS: usize = 8;
        let mut now = Planes::new(QUARTER, width, 0, height);
        let size = now.row_floats();
        now.data_mut().par_chunks_mut(size * ROWS).enumerate().for_each(|(n, rows)| {
            let (_, half) = self.half(inputs, (2 * ROWS * n) as isize, 2 * ROWS);
            let mut folded = Planes::new(4 * HALF, width, 0, 1);
            for (y, out) in rows.chunks_mut(size).enumerate() {
                for row in folded.rows_mut() {
                    fold(&half, (2 * (ROWS * n + y)) as isize, width, row);
                }
                self.down.row(self.arch, &[folded.row(0)], width, out);
                rectify(out);
            }
        });
        for (deep, point) in &self.blocks {
            let mut next = Planes::new(QUARTER, width, 0, height);
            let make = |scratch: &mut Planes, (y, out): (usize, &mut [f32])| {
                let y = y as isize;
                for row in scratch.rows_mut() {
                    deep.row(self.arch, &[-2, -1, 0, 1, 2].map(|d| now.row(y + d)), width, row);
                }
                point.row(self.arch, &[scratch.row(0)], width, out);
                for (v, before) in out.iter_mut().zip(now.row(y)) {
                    *v = v.max(0.0) + before;
                }
            };
            next.data_mut().par_chunks_mut(size).enumerate().for_each_init(|| Planes::new(QUARTER, width, 0, 1), make);
            now = next;
        }
        now
    }

    /// Results of a band of half rows from `first` on.
    fn back(&self, inputs: &[&Image<f32>; INPUTS], quarter: &Planes, first: usize, mut out: [&mut [f32]; RESULTS]) {
        let full = inputs[0].width();
        let (width, height) = (2 * quarter.width, 2 * inputs[0].height().div_ceil(4));
        let within = |y: isize| y >= 0 && y < height as isize;
        let first = first as isize;
        let (fine, mut half) = self.half(inputs, first - 2, BAND + 4);
        let mut spread = Planes::new(4 * HALF, quarter.width, 0, 1);
        let mut at = isize::MIN;
        for (y, row) in (first - 2..).zip(half.rows_mut()).filter(|(y, _)| within(*y)) {
            if y / 2 != at {
                at = y / 2;
                for row in spread.rows_mut() {
                    self.up.row(self.arch, &[quarter.row(at)], quarter.width, row);
                }
            }
            unfold(spread.row(0), (y % 2) as usize, quarter.width, row);
            rectify(row);
        }
        let mut middle = Planes::new(HALF, width, first - 1, BAND + 2);
        for (y, row) in (first - 1..).zip(middle.rows_mut()).filter(|(y, _)| within(*y)) {
            self.middle.row(self.arch, &[half.row(y - 1), half.row(y), half.row(y + 1)], width, row);
            rectify(row);
        }
        let mut made = Planes::new(4 * RESULTS, width, 0, 1);
        let mut past = made.clone();
        let rows = out[0].len() / full;
        let stride = stride(width);
        for y in 0..rows.div_ceil(2) {
            let at = first + y as isize;
            let around = [middle.row(at - 1), middle.row(at), middle.row(at + 1)];
            made.rows_mut().for_each(|row| self.leave.row(self.arch, &around, width, row));
            past.rows_mut().for_each(|row| self.past.row(self.arch, &[fine.row(at)], width, row));
            for line in (0..2).filter(|line| 2 * y + line < rows) {
                for x in 0..full {
                    let cell = |k: usize| (k * 4 + 2 * line + x % 2) * stride + PAD + x / 2;
                    for (k, out) in out.iter_mut().enumerate() {
                        out[(2 * y + line) * full + x] = made.row(0)[cell(k)] + past.row(0)[cell(k)];
                    }
                }
            }
        }
    }
}

/// A half row of the inputs: each four texels as channels, zero beyond the picture.
fn gather(inputs: &[&Image<f32>; INPUTS], y: isize, width: usize, row: &mut [f32]) {
    let stride = stride(width);
    for (k, image) in inputs.iter().enumerate() {
        for (dy, line) in [(0, 2 * y), (1, 2 * y + 1)].into_iter().filter(|(_, y)| *y >= 0 && *y < image.height() as isize) {
            for (dx, to) in row[(4 * k + 2 * dy) * stride..].chunks_mut(stride).take(2).enumerate() {
                let texels = image.row(line as usize).iter().skip(dx).step_by(2);
                to[PAD..].iter_mut().zip(texels).for_each(|(to, v)| *to = *v);
            }
        }
    }
}

/// A row at half the texels from two of twice as many: each four as channels.
fn fold(half: &Planes, y: isize, width: usize, row: &mut [f32]) {
    let (from, to) = (stride(half.width), stride(width));
    for c in 0..half.channels {
        for dy in 0..2 {
            let line = &half.row(y + dy as isize)[c * from + PAD..];
            for dx in 0..2 {
                let row = &mut row[(4 * c + 2 * dy + dx) * to + PAD..];
                row[..width].iter_mut().enumerate().for_each(|(x, v)| *v = line[2 * x + dx]);
            }
        }
    }
}

/// Adds to a row at twice the texels what four channels each hold for it.
fn unfold(spread: &[f32], dy: usize, width: usize, row: &mut [f32]) {
    let (from, to) = (stride(width), stride(2 * width));
    for (c, out) in row.chunks_mut(to).enumerate() {
        for dx in 0..2 {
            let line = &spread[(4 * c + 2 * dy + dx) * from + PAD..];
            line[..width].iter().enumerate().for_each(|(x, v)| out[PAD + 2 * x + dx] += v);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_net_is_what_it_was_when_it_learned() {
        // Values of the same weights in PyTorch 2.11 (`tools/relief_net/train.py` prints them): x, y, height, shading.
        let expected = [
            (0, 0, -0.813893, -0.523835),
            (5, 3, -1.966737, -1.322108),
            (35, 23, -0.035938, -0.384968),
            (17, 11, 1.019461, -0.640875),
            (20, 12, -0.639802, -0.930058),
            (34, 0, -0.720282, -0.487943),
        ];
        let (width, height) = (36, 24);
        let image = |f: fn(f32, f32) -> f32| Image::from_fn(width, height, |x, y| f(x as f32, y as f32));
        let luma = image(|x, y| 0.4 * (0.7 * x + 0.2 * y).sin() + 0.2 * (0.9 * y).cos());
        let (red, blue) = (image(|x, _| 0.1 * (0.3 * x).sin()), image(|_, y| 0.05 * (0.4 * y).cos()));
        let net = Net::with([1.0, 0.6, 0.8, 1.0, 1.0, 0.5, 0.1, -0.1, -0.5, 0.3]);
        let [heights, shading] = net.run([&luma, &red, &blue]);
        for (x, y, h, s) in expected {
            let found = (heights.get(x, y), shading.get(x, y));
            assert!((found.0 - h).abs() < 1e-4 && (found.1 - s).abs() < 1e-4, "at {x}, {y}: {found:?}, expected {h} and {s}");
        }
    }
}
