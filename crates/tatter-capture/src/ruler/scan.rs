//! Lines of the photo along which something repeats, marked like a ruler: short, at every fifth longer, at every tenth longer still.

use rayon::prelude::*;
use tatter_core::image::{Image, Size};
use tatter_fourier::num_complex::Complex;
use tatter_fourier::{FourierPlanner, hann};

/// Directions looked along.
const DIRECTIONS: usize = 90;
/// Pixels looked at in one piece: short enough that perspective does not part the ends of a piece, long enough for three centimetres.
const PIECE: usize = 256;
/// Rows are so far apart that three lie within marks of 3 mm at the smallest spacing.
const ROWS: usize = 3;
/// Waves a piece that are looked for: marks 3.5 to 7.8 pixels apart; others are found at another size of the photo.
const WAVES: (usize, usize) = (33, 73);
/// Share of a line's change that must repeat.
const REPEATS: f32 = 0.3;
/// Least amplitude of it, of full display light.
const LEAST: f32 = 0.008;
/// Rows looked at on either side of a line, and how many there are to the distance of two marks.
const AROUND: isize = 24;
const FINE: f64 = 3.0;

/// A line in a photo: marks lie at `along + n * pitch` from the middle of the photo in the direction of `turn`, `across` to its right.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    /// Radians from the photo's x towards its y.
    pub(super) turn: f64,
    pub(super) along: f64,
    pub(super) across: f64,
    pub(super) pitch: f64,
    /// How far marks lean along the line for each pixel across it.
    pub(super) lean: f64,
}

/// What the marks of a line look like.
#[derive(Clone, Copy, Debug)]
pub(super) struct Marked {
    pub(super) line: Line,
    pub(super) score: f64,
    /// 1 for dark marks, -1 for light ones.
    pub(super) ink: f32,
    /// Marks grow longer towards larger `across` (1) or smaller (-1).
    pub(super) inward: f64,
    /// Where all marks are seen, pixels across.
    pub(super) short: [f64; 2],
}

/// Kinds of rulers: marks until the lengths repeat, and how many of them are as long at each step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Marks {
    Millimetres,
    Sixteenths,
}

impl Marks {
    const fn round(self) -> usize {
        match self {
            Self::Millimetres => 10,
            Self::Sixteenths => 8,
        }
    }

    const fn steps(self) -> &'static [usize] {
        match self {
            Self::Millimetres => &[2, 1],
            Self::Sixteenths => &[4, 2, 1],
        }
    }

    /// Steps that must be seen: on some rulers fifths and tenths are of one length.
    const fn least(self) -> usize {
        match self {
            Self::Millimetres => 1,
            Self::Sixteenths => 3,
        }
    }
}

impl Line {
    /// Place in a photo of some size.
    pub(super) fn at(&self, photo: Size, along: f64, across: f64) -> [f64; 2] {
        let (s, c) = self.turn.sin_cos();
        let [x, y] = [0.5 * photo.width as f64, 0.5 * photo.height as f64];
        [x + c * along - s * across, y + s * along + c * across]
    }

    /// The same line in a photo `times` as large.
    pub(super) fn larger(&self, times: f64) -> Self {
        Self { along: self.along * times, across: self.across * times, pitch: self.pitch * times, ..*self }
    }

    /// Reads the photo by places along the line and across it; `None` outside.
    pub(super) fn eye<'a>(&self, photo: &'a Image<f32>) -> impl Fn(f64, f64) -> Option<f32> + use<'a> {
        let (s, c) = self.turn.sin_cos();
        let [width, height] = [photo.width() as f64, photo.height() as f64];
        move |along, across| {
            let (x, y) = (0.5 * width + c * along - s * across, 0.5 * height + s * along + c * across);
            let inside = x >= 0.0 && y >= 0.0 && x < width && y < height;
            inside.then(|| photo.bilinear(x as f32, y as f32))
        }
    }
}

/// All lines in the photo along which something repeats.
pub(super) fn repeating(photo: &Image<f32>) -> Vec<Line> {
    let reach = 0.5 * (photo.width() as f64).hypot(photo.height() as f64);
    let rows = (2.0 * reach) as usize / ROWS;
    let found: Vec<Vec<Line>> = (0..DIRECTIONS)
        .into_par_iter()
        .map(|direction| {
            let turn = std::f64::consts::PI * direction as f64 / DIRECTIONS as f64;
            let axis = Line { turn, along: 0.0, across: 0.0, pitch: 0.0, lean: 0.0 };
            let mut waves = Waves::new();
            let across = |row: usize| row as f64 * ROWS as f64 - reach;
            let seen: Vec<Vec<(usize, f64)>> = (0..rows).map(|row| waves.along(photo, &axis, across(row), reach)).collect();
            let goes_on = |row: usize, piece: usize, wave: f64| {
                seen.get(row).is_some_and(|there| there.iter().any(|(p, w)| *p == piece && (w - wave).abs() < 1.5))
            };
            let mut lines: Vec<Line> = Vec::new();
            for (row, waves) in seen.iter().enumerate().skip(1) {
                for (piece, wave) in waves {
                    let (along, pitch) = (piece_middle(*piece, reach), PIECE as f64 / wave);
                    let told =
                        lines.iter().rev().take_while(|l| across(row) - l.across < 8.0).any(|l| (l.along - along).abs() < 1.0);
                    if !told && goes_on(row - 1, *piece, *wave) && ends(row, pitch, |there| goes_on(there, *piece, *wave)) {
                        lines.push(Line { along, across: across(row), pitch, ..axis });
                    }
                }
            }
            lines
        })
        .collect();
    found.into_iter().flatten().collect()
}

/// Marks end, threads go on: whether what repeats in a row does not, some marks' distances to one side of it.
fn ends(row: usize, pitch: f64, goes_on: impl Fn(usize) -> bool) -> bool {
    let far = |marks: f64| (marks * pitch / ROWS as f64).round() as usize;
    let count = |on: bool, there: usize| usize::from(on && goes_on(there));
    let (first, last) = (far(4.5), far(9.0));
    let below: usize = (first..=last).map(|k| count(true, row + k)).sum();
    let above: usize = (first..=last).map(|k| count(row >= k, row.wrapping_sub(k))).sum();
    3 * below.min(above) <= last + 1 - first
}

fn piece_middle(piece: usize, reach: f64) -> f64 {
    (piece * PIECE / 2 + PIECE / 2) as f64 - reach
}

/// Waves along a line, piece by piece.
struct Waves {
    fft: std::sync::Arc<dyn tatter_fourier::Fft<f32>>,
    window: Vec<f32>,
    work: Vec<Complex<f32>>,
    read: Vec<f32>,
}

impl Waves {
    fn new() -> Self {
        Self {
            fft: FourierPlanner::new().forward(PIECE),
            window: (0..PIECE).map(|i| hann(i, PIECE)).collect(),
            work: vec![Complex::default(); PIECE],
            read: Vec::new(),
        }
    }

    /// Pieces that repeat, and their waves.
    fn along(&mut self, photo: &Image<f32>, axis: &Line, across: f64, reach: f64) -> Vec<(usize, f64)> {
        let length = (2.0 * reach) as usize;
        let eye = axis.eye(photo);
        self.read.clear();
        self.read.extend((0..length).map(|i| eye(i as f64 + 0.5 - reach, across).unwrap_or(f32::NAN)));
        let mut found = Vec::new();
        for piece in 0..(2 * length / PIECE).saturating_sub(1) {
            let part = &self.read[piece * PIECE / 2..][..PIECE];
            let inside = part.iter().filter(|v| v.is_finite()).count();
            if inside < PIECE * 3 / 4 {
                continue;
            }
            let mean = part.iter().filter(|v| v.is_finite()).sum::<f32>() / inside as f32;
            for ((work, v), w) in self.work.iter_mut().zip(part).zip(&self.window) {
                *work = Complex::new(if v.is_finite() { (v - mean) * w } else { 0.0 }, 0.0);
            }
            self.fft.process(&mut self.work);
            if let Some(wave) = peak(&self.work) {
                found.push((piece, wave));
            }
        }
        found
    }
}

/// The wave that stands out, to a fraction of one.
fn peak(waves: &[Complex<f32>]) -> Option<f64> {
    let power = |k: usize| waves[k].norm_sqr();
    let top = (WAVES.0..=WAVES.1).max_by(|a, b| power(*a).total_cmp(&power(*b)))?;
    let lobe: f32 = (top - 1..=top + 1).map(power).sum();
    let all: f32 = (10..(top * 8 / 5).min(PIECE / 2)).map(power).sum();
    // A Hann window halves an amplitude, and a real wave has two sides.
    let amplitude = 4.0 * power(top).sqrt() / PIECE as f32;
    let stands_out = lobe > REPEATS * all && amplitude > LEAST && power(top) > power(top - 1) && power(top) > power(top + 1);
    let (a, b) = (f64::from(power(top - 1).sqrt()), f64::from(power(top + 1).sqrt()));
    stands_out.then(|| top as f64 + (b - a) / (a + b + f64::from(power(top).sqrt())))
}

/// Whether marks along a line are those of a ruler, and where.
pub(super) fn marked(photo: &Image<f32>, line: &Line, marks: Marks) -> Option<Marked> {
    let line = in_step(photo, line);
    let mut best: Option<Marked> = None;
    for (ink, shift) in [(1.0, 0.0), (-1.0, 0.5)] {
        let line = Line { along: line.along + shift * line.pitch, ..line };
        let row = |j: isize| marks_in(photo, &line, j as f64 / FINE, ink, marks);
        // Most of what repeats is threads, all of one length: told at a glance.
        let mut glance = (-AROUND..=AROUND).step_by(3);
        if !glance.any(|j| row(j).is_some_and(|row| some_longer(&row, marks))) {
            continue;
        }
        let rows: Vec<Option<Vec<f32>>> = (-AROUND..=AROUND).map(row).collect();
        let clear = rows.iter().flatten().map(|row| row.iter().sum::<f32>() / row.len() as f32).fold(0.0, f32::max);
        if clear < 2.0 * LEAST {
            continue;
        }
        for inward in [1.0, -1.0] {
            if let Some((score, short)) = lengths(&rows, clear, inward, marks)
                && best.as_ref().is_none_or(|b| score > b.score)
            {
                let short = short.map(|j| line.across + (j as f64 - AROUND as f64) * line.pitch / FINE);
                best = Some(Marked { line, score, ink, inward, short });
            }
        }
    }
    best
}

/// The line and what is near it, the best of them.
pub(super) fn best_near(photo: &Image<f32>, start: &Marked, marks: Marks) -> Marked {
    let mut best = *start;
    for turn in [-1.2, -0.8, -0.4, 0.0, 0.4, 0.8, 1.2] {
        for lean in [-0.09, -0.06, -0.03, 0.0, 0.03, 0.06, 0.09] {
            let line = Line { turn: start.line.turn + f64::to_radians(turn), lean, ..start.line };
            // Turned about its own place, not about the middle of the photo.
            let (to, from) = (line.at(photo.size(), 0.0, 0.0), start.line.at(photo.size(), start.line.along, start.line.across));
            let (s, c) = line.turn.sin_cos();
            let [x, y] = [from[0] - to[0], from[1] - to[1]];
            let line = Line { along: c * x + s * y, across: -s * x + c * y, ..line };
            if let Some(found) = marked(photo, &line, marks)
                && found.score > best.score
            {
                best = found;
            }
        }
    }
    best
}

/// The line with the distance and place of its marks as exact as one row tells: `along` is where it is darkest.
fn in_step(photo: &Image<f32>, line: &Line) -> Line {
    let half = 0.5 * PIECE as f64;
    let eye = line.eye(photo);
    let read: Vec<(f64, f64)> = (0..PIECE)
        .filter_map(|i| {
            let t = i as f64 + 0.5 - half;
            Some((t, f64::from(eye(line.along + t, line.across)?)))
        })
        .collect();
    let mean = read.iter().map(|r| r.1).sum::<f64>() / read.len().max(1) as f64;
    let wave = |pitch: f64| {
        let mut sum = [0.0; 2];
        for (t, v) in &read {
            let (s, c) = (std::f64::consts::TAU * t / pitch).sin_cos();
            let window = 0.5 + 0.5 * (std::f64::consts::PI * t / half).cos();
            sum = [sum[0] + c * window * (v - mean), sum[1] + s * window * (v - mean)];
        }
        sum
    };
    let strength = |pitch: f64| {
        let [c, s] = wave(pitch);
        c.hypot(s)
    };
    let pitches = (-3..=3).map(|k| line.pitch * (1.0 + 0.003 * f64::from(k)));
    let pitch = pitches.max_by(|a, b| strength(*a).total_cmp(&strength(*b))).unwrap_or(line.pitch);
    let [c, s] = wave(pitch);
    let darkest = (s.atan2(c) / std::f64::consts::TAU + 0.5) * pitch;
    Line { along: line.along + darkest, pitch, ..*line }
}

/// How clearly marks are seen in one row, `row` marks' distances across from the line: means of each until the lengths repeat.
fn marks_in(photo: &Image<f32>, line: &Line, row: f64, ink: f32, marks: Marks) -> Option<Vec<f32>> {
    let round = marks.round() as isize;
    let half = (0.5 * PIECE as f64 / line.pitch) as isize;
    let across = row * line.pitch;
    let eye = line.eye(photo);
    let mut sums = vec![(0.0f32, 0u32); marks.round()];
    for n in -half..=half {
        let along = line.along + n as f64 * line.pitch + line.lean * across;
        let read = |share: f64| eye(along + share * line.pitch, line.across + across);
        let (Some(a), Some(b), Some(c), Some(d), Some(e)) = (read(-0.5), read(0.5), read(0.0), read(-0.12), read(0.12)) else {
            continue;
        };
        let sum = &mut sums[n.rem_euclid(round) as usize];
        *sum = (sum.0 + ink * (0.5 * (a + b) - (c + d + e) / 3.0), sum.1 + 1);
    }
    sums.iter().all(|s| s.1 >= 2).then(|| sums.iter().map(|s| s.0 / s.1 as f32).collect())
}

/// Whether a row can be one beyond the short marks: those of the first step stand out of the others.
fn some_longer(row: &[f32], marks: Marks) -> bool {
    let stride = marks.round() / marks.steps()[0];
    (0..stride).any(|first| {
        let (mut on, mut off) = (f32::INFINITY, 0.0f32);
        for (k, v) in row.iter().enumerate() {
            if k % stride == first { on = on.min(*v) } else { off += v.abs() / (row.len() - marks.steps()[0]) as f32 }
        }
        on > LEAST.max(2.0 * off)
    })
}

/// Score of rows as marks of several lengths, and the first and last row where all are seen.
fn lengths(rows: &[Option<Vec<f32>>], clear: f32, inward: f64, marks: Marks) -> Option<(f64, [usize; 2])> {
    let round = marks.round();
    let many = |row: &[f32], keep: &dyn Fn(usize) -> bool, bound: &dyn Fn(f32) -> bool| {
        let all: Vec<bool> = (0..round).filter(|k| keep(*k)).map(|k| bound(row[k] / clear)).collect();
        // One of five may be hurt.
        all.iter().filter(|b| **b).count() * 5 >= all.len() * 4
    };
    let is = |row: &Option<Vec<f32>>, of: usize, first: usize| {
        let stride = round / of;
        let on = |k: usize| k % stride == first % stride;
        row.as_ref().is_some_and(|row| {
            (0..round).filter(|k| on(*k)).map(|k| row[k] / clear).fold(f32::INFINITY, f32::min)
                > if of == round { 0.1 } else { 0.35 }
                && many(row, &on, &|v| v > 0.4)
                && many(row, &|k| !on(k), &|v| v.abs() < 0.3)
        })
    };
    let order: Vec<usize> = if inward > 0.0 { (0..rows.len()).collect() } else { (0..rows.len()).rev().collect() };
    let mut best: Option<(f64, [usize; 2])> = None;
    let mut i = 0;
    while i < order.len() {
        let run = order[i..].iter().take_while(|j| is(&rows[**j], round, 0)).count();
        if run < 3 {
            i += run.max(1);
            continue;
        }
        for first in 0..round {
            let mut next = i + run;
            let mut score = run.min(9) as f64;
            let mut steps = 0;
            for of in marks.steps() {
                let blurred = order[next..].iter().take(3).take_while(|j| !is(&rows[**j], *of, first)).count();
                let seen = order[(next + blurred).min(order.len())..].iter().take_while(|j| is(&rows[**j], *of, first)).count();
                if seen < 2 {
                    break;
                }
                (next, steps, score) = (next + blurred + seen, steps + 1, score + 2.0 * seen.min(5) as f64);
            }
            if steps >= marks.least() && best.is_none_or(|b| score > b.0) {
                best = Some((score, [order[i], order[i + run - 1]]));
            }
        }
        i += run;
    }
    best
}
