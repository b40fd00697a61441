//! A tile: its samples, its texels.

use tatter_core::image::LinearRgb;

use super::fibre::{Fibre, coverage};
use super::segment::{Node, Segment, Yarn};
use super::style::Style;
use crate::maths::lerp;

/// How a picture lies on the cloth.
#[derive(Clone, Copy, Debug)]
pub(crate) struct View {
    /// Cloth place of the picture's top-left corner, mm.
    pub(crate) origin: [f32; 2],
    /// Sine and cosine of the cloth's turn in the picture, counter-clockwise as seen.
    pub(crate) turn: [f32; 2],
}

impl View {
    /// Mm to the right and downwards in the picture.
    pub(crate) fn picture_from_cloth(&self, [x, y]: [f32; 2]) -> [f32; 2] {
        let ([s, c], dx, dy) = (self.turn, x - self.origin[0], y - self.origin[1]);
        [dx * c + dy * s, dy * c - dx * s]
    }

    /// Cloth place of a place in the picture.
    pub(crate) fn cloth_from_picture(&self, [x, y]: [f32; 2]) -> [f32; 2] {
        let [s, c] = self.turn;
        [self.origin[0] + x * c - y * s, self.origin[1] + y * c + x * s]
    }

    /// Left, top, right, bottom of the cloth that a picture of that size shows, mm.
    pub(crate) fn bounds(&self, [width, height]: [f32; 2]) -> [f32; 4] {
        let corners = [[0.0, 0.0], [width, 0.0], [0.0, height], [width, height]].map(|p| self.cloth_from_picture(p));
        corners
            .iter()
            .fold([f32::MAX, f32::MAX, f32::MIN, f32::MIN], |[l, t, r, b], [x, y]| [l.min(*x), t.min(*y), r.max(*x), b.max(*y)])
    }
}

/// Where a tile lies and how finely it is sampled.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Grid {
    /// How it lies on the cloth.
    pub(crate) view: View,
    /// Mm a texel.
    pub(crate) scale: f32,
    /// Columns and rows.
    pub(crate) size: [usize; 2],
    /// Samples a texel, each way.
    pub(crate) samples: usize,
}

impl Grid {
    /// Left, top, right, bottom, mm.
    pub(crate) fn bounds(&self) -> [f32; 4] {
        self.view.bounds(self.size.map(|side| side as f32 * self.scale))
    }
}

/// One finished texel.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Texel {
    /// Share covered by thread and fibre.
    pub(crate) opacity: f32,
    /// Mean height of what covers, mm.
    pub(crate) height: f32,
    /// Mean colour of what covers.
    pub(crate) color: LinearRgb,
    /// Mean roughness of what covers.
    pub(crate) roughness: f32,
    /// Thread on top at the texel's middle, 0 for none.
    pub(crate) id: u32,
}

/// No segment.
const NONE: u32 = u32::MAX;

/// A tile at work.
pub(crate) struct Tile<'a> {
    grid: Grid,
    styles: &'a [Style],
    segments: Vec<Segment>,
    depth: Vec<f32>,
    front: Vec<u32>,
    texels: Vec<Texel>,
}

impl<'a> Tile<'a> {
    pub(crate) fn new(grid: Grid, styles: &'a [Style]) -> Self {
        let count = grid.size[0] * grid.size[1];
        let samples = count * grid.samples * grid.samples;
        Self {
            grid,
            styles,
            segments: Vec::new(),
            depth: vec![f32::MIN; samples],
            front: vec![NONE; samples],
            texels: vec![Texel::default(); count],
        }
    }

    pub(crate) fn grid(&self) -> &Grid {
        &self.grid
    }

    /// Draw a run of yarn.
    pub(crate) fn yarn(&mut self, yarn: Yarn, nodes: &[Node]) {
        let per_mm = self.grid.samples as f32 / self.grid.scale;
        for pair in nodes.windows(2) {
            let style = &self.styles[usize::from(yarn.style)];
            if let Some(segment) = Segment::new(yarn, style, [&pair[0], &pair[1]], &self.grid.view, per_mm) {
                self.draw(segment);
            }
        }
    }

    fn draw(&mut self, segment: Segment) {
        let [width, height] = self.grid.size.map(|s| s * self.grid.samples);
        let ((top, bottom), (left, right)) = (segment.rows(), segment.reach());
        if bottom < 0.0 || top >= height as f32 || right < 0.0 || left >= width as f32 {
            return;
        }
        let style = &self.styles[usize::from(segment.yarn.style)];
        let number = self.segments.len() as u32;
        for y in top.max(0.0) as usize..=(bottom as usize).min(height - 1) {
            let (from, to) = segment.columns(y as f32 + 0.5, width);
            for x in from..to {
                let spot = segment.spot(x as f32 + 0.5, y as f32 + 0.5);
                if let Some(z) = segment.top(spot, style) {
                    let at = y * width + x;
                    if z > self.depth[at] {
                        self.depth[at] = z;
                        self.front[at] = number;
                    }
                }
            }
        }
        self.segments.push(segment);
    }

    /// Samples to texels. Fibres come after this.
    pub(crate) fn resolve(&mut self) {
        let n = self.grid.samples;
        let width = self.grid.size[0];
        let share = 1.0 / (n * n) as f32;
        for (at, texel) in self.texels.iter_mut().enumerate() {
            let (x, y) = (at % width, at / width);
            let (mut count, mut z, mut rough, mut color) = (0.0f32, 0.0f32, 0.0f32, [0.0f32; 3]);
            // Where nothing is open, every other sample tells the mean as well.
            let open = (0..n).any(|row| {
                let from = (y * n + row) * width * n + x * n;
                self.front[from..from + n].contains(&NONE)
            });
            for sub in 0..n * n {
                if !open && (sub % n + sub / n) % 2 == 1 {
                    continue;
                }
                let (sx, sy) = (x * n + sub % n, y * n + sub / n);
                let front = self.front[sy * width * n + sx];
                if front == NONE {
                    continue;
                }
                let segment = &self.segments[front as usize];
                let spot = segment.spot(sx as f32 + 0.5, sy as f32 + 0.5);
                let style = &self.styles[usize::from(segment.yarn.style)];
                let look = style.look(spot, &segment.values(spot), segment.yarn.phase);
                count += 1.0;
                z += look.z;
                rough += look.roughness;
                for (sum, channel) in color.iter_mut().zip(look.color.0) {
                    *sum += channel;
                }
                if sub == n * n / 2 {
                    texel.id = segment.yarn.id;
                }
            }
            if count > 0.0 {
                let mean = 1.0 / count;
                texel.opacity = if open { count * share } else { 1.0 };
                texel.height = z * mean;
                texel.roughness = rough * mean;
                texel.color = LinearRgb(color.map(|c| c * mean));
            }
        }
    }

    /// Lay a fibre over the texels.
    pub(crate) fn fibre(&mut self, fibre: &Fibre) {
        for pair in fibre.points.windows(2) {
            self.stroke([pair[0], pair[1]], fibre);
        }
    }

    fn stroke(&mut self, [from, to]: [[f32; 3]; 2], fibre: &Fibre) {
        let per_mm = 1.0 / self.grid.scale;
        let at = |p: [f32; 3]| self.grid.view.picture_from_cloth([p[0], p[1]]).map(|mm| mm * per_mm);
        let ([ax, ay], [bx, by]) = (at(from), at(to));
        let width = fibre.width * per_mm;
        let reach = 0.5 * width + 0.75;
        let [columns, rows] = self.grid.size;
        let (left, right) = (ax.min(bx) - reach, ax.max(bx) + reach);
        let (top, bottom) = (ay.min(by) - reach, ay.max(by) + reach);
        let length = crate::maths::length(bx - ax, by - ay);
        if right < 0.0 || bottom < 0.0 || left >= columns as f32 || top >= rows as f32 || length < 1e-5 {
            return;
        }
        let (ux, uy) = ((bx - ax) / length, (by - ay) / length);
        for y in top.max(0.0) as usize..=(bottom as usize).min(rows - 1) {
            for x in left.max(0.0) as usize..=(right as usize).min(columns - 1) {
                let (dx, dy) = (x as f32 + 0.5 - ax, y as f32 + 0.5 - ay);
                let along = dx * ux + dy * uy;
                // Half open, so that a joint is covered once.
                if along < 0.0 || along >= length {
                    continue;
                }
                let cover = coverage((dx * uy - dy * ux).abs(), width);
                if cover > 0.0 {
                    let z = from[2] + (to[2] - from[2]) * along / length;
                    self.texels[y * columns + x].lay(fibre, cover, z);
                }
            }
        }
    }

    /// The finished texels in row order.
    pub(crate) fn into_texels(self) -> Vec<Texel> {
        self.texels
    }
}

impl Texel {
    /// A fibre at height `z` covers `cover` of this texel.
    fn lay(&mut self, fibre: &Fibre, cover: f32, z: f32) {
        let own = self.opacity;
        // Hidden where it runs below what is there; the rest of the texel is open.
        let seen = crate::maths::smoothstep(-1.5 * fibre.width, 0.5 * fibre.width, z - self.height);
        let (kept, laid) = (own * (1.0 - cover * seen), cover * (own * seen + 1.0 - own));
        let total = kept + laid;
        if total <= 1e-6 {
            return;
        }
        let share = laid / total;
        if own <= 0.0 {
            self.roughness = 0.9;
        }
        // A hair is round and lies loose: where it crosses thread it hardly changes the relief.
        let weight = if own > 0.0 { share * lerp(1.0, fibre.relief, own) } else { 1.0 };
        self.height += (z - self.height) * weight;
        self.roughness += (0.9 - self.roughness) * share;
        for k in 0..3 {
            self.color.0[k] += (fibre.color.0[k] - self.color.0[k]) * share;
        }
        self.opacity = total.min(1.0);
        if self.id == 0 && total > 0.3 {
            self.id = fibre.id;
        }
    }
}
