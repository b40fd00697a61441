//! Marks followed one by one along a ruler, as far as they go.

use tatter_core::image::Image;

use super::scan::{Line, Marked};

/// Share of the usual clearness from which a mark is one.
const CLEAR: f64 = 0.4;
/// How far a mark may be from where it is awaited, of the distance to the next.
const NEAR: f64 = 0.22;
/// Marks missing one after another that end a ruler: numbers, shine and threads hide some.
const MISSING: usize = 8;
/// Rounds in which the line is laid anew along the ends of its marks.
const ROUNDS: usize = 3;
/// How much longer a fifth mark is than the short ones, of the distance to the next.
const LONGER: f64 = 0.35;

/// One mark.
#[derive(Clone, Copy, Debug)]
struct Mark {
    n: i32,
    along: f64,
    /// Where it ends inward, pixels across from the middle of the short marks.
    end: f64,
}

/// Marks of one ruler. Mark `n` lies at `(a n + b) / (c n + 1)` along its line.
#[derive(Clone, Debug)]
pub(super) struct Tracked {
    pub(super) line: Line,
    pub(super) inward: f64,
    pub(super) fit: [f64; 3],
    pub(super) covariance: [[f64; 3]; 3],
    /// First and last mark.
    pub(super) span: [f64; 2],
    pub(super) marks: usize,
    /// Deviation of marks, pixels.
    pub(super) deviation: f64,
    /// Share of marks whose length is that of their place.
    pub(super) in_order: f64,
}

/// Follow the marks; `None` when there is no row of them to speak of.
pub(super) fn track(photo: &Image<f32>, start: &Marked) -> Option<Tracked> {
    let mut line = Line { across: 0.5 * (start.short[0] + start.short[1]), ..start.line };
    line.along += line.lean * (line.across - start.line.across);
    let reach = (0.3 * (start.short[1] - start.short[0]).abs()).max(1.0);
    let eye = Eye { photo, ink: f64::from(start.ink), inward: start.inward, reach };
    let mut found = None;
    for round in 0..ROUNDS {
        line.lean += eye.lean(&line)?;
        let marks = follow(&eye, &line)?;
        let fitted = fit(&marks)?;
        if round + 1 == ROUNDS {
            found = Some((marks, fitted));
            break;
        }
        line = laid(&line, &marks, &fitted.0, start.inward)?;
    }
    let (marks, (fit, covariance, deviation)) = found?;
    let span = [marks.first()?.n, marks.last()?.n].map(f64::from);
    Some(Tracked {
        line,
        inward: start.inward,
        fit,
        covariance,
        span,
        marks: marks.len(),
        deviation,
        in_order: in_order(&marks, line.pitch),
    })
}

struct Eye<'a> {
    photo: &'a Image<f32>,
    ink: f64,
    inward: f64,
    /// Half the breadth across which a mark's place is read, pixels.
    reach: f64,
}

impl Eye<'_> {
    fn light(&self, line: &Line, along: f64, across: f64) -> Option<f64> {
        let read = line.eye(self.photo)(along + line.lean * across, line.across + across);
        read.map(|light| self.ink * f64::from(light))
    }

    /// Place of the mark near a place along the line, and how clear it is.
    fn mark(&self, line: &Line, near: f64, pitch: f64) -> Option<(f64, f64)> {
        let steps = (2.0 * pitch).ceil().max(10.0) as i32;
        let rows = (2.0 * self.reach).ceil().clamp(3.0, 9.0) as i32;
        let half = 0.5 * pitch;
        let mut profile = Vec::new();
        for i in -steps / 2..=steps / 2 {
            let t = 2.0 * half * f64::from(i) / f64::from(steps);
            let mut sum = 0.0;
            for j in 0..rows {
                let across = self.reach * (2.0 * f64::from(j) / f64::from(rows - 1) - 1.0);
                sum += self.light(line, near + t, across)?;
            }
            profile.push((t, sum / f64::from(rows)));
        }
        let (first, last) = (*profile.first()?, *profile.last()?);
        let around = |t: f64| first.1 + (last.1 - first.1) * (t - first.0) / (last.0 - first.0);
        let darker: Vec<(f64, f64)> = profile.iter().map(|(t, v)| (*t, (around(*t) - v).max(0.0))).collect();
        let most = darker.iter().map(|d| d.1).fold(0.0, f64::max);
        // What is fainter than a third of the mark is grain of the ruler.
        let weight = |d: f64| (d - most / 3.0).max(0.0);
        let sum: f64 = darker.iter().map(|d| weight(d.1)).sum();
        let place = darker.iter().map(|d| d.0 * weight(d.1)).sum::<f64>() / sum.max(1e-9);
        (sum > 0.0).then_some((near + place, most))
    }

    /// How much more marks lean than told: stripes that are followed askew seem to end, the thin ones first.
    fn lean(&self, line: &Line) -> Option<f64> {
        let at = |n: i32, across: f64| {
            let moved = Line { across: line.across + across, ..*line };
            let near = line.along + f64::from(n) * line.pitch + line.lean * across;
            self.mark(&Line { along: near, ..moved }, near, line.pitch).map(|m| m.0 - near)
        };
        let lean = |n: i32| Some(((at(n, self.reach)? - at(n, -self.reach)?) / (2.0 * self.reach)) as f32);
        let mut all: Vec<f32> = (-12..=12).filter_map(lean).collect();
        (all.len() >= 7).then(|| f64::from(tatter_core::stats::median(&mut all)))
    }

    /// Where a mark ends inward, pixels from the middle of the short ones.
    fn end(&self, line: &Line, along: f64, pitch: f64) -> f64 {
        let clear = |across: f64| {
            let read = |share: f64| self.light(line, along + share * pitch, self.inward * across);
            Some(0.5 * (read(-0.45)? + read(0.45)?) - read(0.0)?)
        };
        let whole = (-2..=2).filter_map(|j| clear(self.reach * f64::from(j) / 2.0)).sum::<f64>() / 5.0;
        let step = (0.1 * pitch).max(0.5);
        let mut across = 0.0;
        while across < 8.0 * pitch && clear(across).is_some_and(|v| v > 0.5 * whole) {
            across += step;
        }
        across
    }
}

fn follow(eye: &Eye<'_>, line: &Line) -> Option<Vec<Mark>> {
    let seeds: Vec<(i32, f64, f64)> = (-6..=6)
        .filter_map(|n| eye.mark(line, line.along + f64::from(n) * line.pitch, line.pitch).map(|(t, d)| (n, t, d)))
        .collect();
    let mut clear: Vec<f32> = seeds.iter().map(|s| s.2 as f32).collect();
    let usual = if clear.len() < 7 { return None } else { f64::from(tatter_core::stats::median(&mut clear)) };
    let mut marks: Vec<(i32, f64)> = seeds
        .iter()
        .filter(|(n, t, d)| *d > CLEAR * usual && (t - line.along - f64::from(*n) * line.pitch).abs() < NEAR * line.pitch)
        .map(|(n, t, _)| (*n, *t))
        .collect();
    for way in [1, -1] {
        let mut missing = 0;
        let mut n = 7 * way;
        while missing < MISSING {
            let (awaited, pitch) = ahead(&marks, n, way)?;
            let Some((t, d)) = eye.mark(line, awaited, pitch) else { break };
            if d > CLEAR * usual && (t - awaited).abs() < NEAR * pitch {
                missing = 0;
                if way > 0 { marks.push((n, t)) } else { marks.insert(0, (n, t)) }
            } else {
                missing += 1;
            }
            n += way;
        }
    }
    let pitch = line.pitch;
    let ended = |(n, along): (i32, f64)| Mark { n, along, end: eye.end(line, along, pitch) };
    Some(marks.into_iter().map(ended).collect())
}

/// Where the next mark is awaited by the last sixteen, and how far from its neighbour.
fn ahead(marks: &[(i32, f64)], n: i32, way: i32) -> Option<(f64, f64)> {
    let last: Vec<(f64, f64)> = if way > 0 {
        marks.iter().rev().take(16).map(|(k, t)| (f64::from(k - n), *t)).collect()
    } else {
        marks.iter().take(16).map(|(k, t)| (f64::from(k - n), *t)).collect()
    };
    let (offset, slope) = straight(&last)?;
    Some((offset, slope))
}

/// Offset and slope of the line of least squares.
fn straight(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    let count = points.len() as f64;
    let (x, y) = (points.iter().map(|p| p.0).sum::<f64>() / count, points.iter().map(|p| p.1).sum::<f64>() / count);
    let spread: f64 = points.iter().map(|p| (p.0 - x).powi(2)).sum();
    let slope = points.iter().map(|p| (p.0 - x) * (p.1 - y)).sum::<f64>() / spread;
    (points.len() >= 4 && spread > 0.0).then_some((y - slope * x, slope))
}

type Fit = ([f64; 3], [[f64; 3]; 3], f64);

/// The three numbers of the marks' places, their covariance and the deviation of a mark; marks far off are left out.
fn fit(marks: &[Mark]) -> Option<Fit> {
    let mut kept: Vec<&Mark> = marks.iter().collect();
    let mut result = None;
    for _ in 0..4 {
        if kept.len() < 8 {
            return None;
        }
        // Linear in the numbers: t + c n t = a n + b.
        let mut normal = vec![0.0; 9];
        let mut right = [0.0; 3];
        for mark in &kept {
            let row = [f64::from(mark.n), 1.0, -f64::from(mark.n) * mark.along];
            for i in 0..3 {
                right[i] += row[i] * mark.along;
                (0..3).for_each(|j| normal[3 * i + j] += row[i] * row[j]);
            }
        }
        let lower = tatter_core::linear::cholesky(&normal, 3)?;
        let found = tatter_core::linear::cholesky_solve(&lower, &right);
        let fit = [found[0], found[1], found[2]];
        let off = |mark: &Mark| mark.along - place(&fit, f64::from(mark.n));
        let squares: f64 = kept.iter().map(|mark| off(mark).powi(2)).sum();
        let deviation = (squares / (kept.len() - 3) as f64).sqrt();
        let column = |k: usize| {
            let mut unit = [0.0; 3];
            unit[k] = deviation * deviation;
            let solved = tatter_core::linear::cholesky_solve(&lower, &unit);
            [solved[0], solved[1], solved[2]]
        };
        result = Some((fit, [column(0), column(1), column(2)], deviation));
        let before = kept.len();
        kept.retain(|mark| off(mark).abs() < (2.8 * deviation).max(1e-3));
        if kept.len() == before {
            break;
        }
    }
    result
}

pub(super) fn place([a, b, c]: &[f64; 3], n: f64) -> f64 {
    (a * n + b) / (c * n + 1.0)
}

/// The line laid along the ends of the short marks.
fn laid(line: &Line, marks: &[Mark], fit: &[f64; 3], inward: f64) -> Option<Line> {
    let short = usual_end(marks);
    let ends: Vec<(f64, f64)> =
        marks.iter().filter(|m| (m.end - short).abs() < 0.5 * line.pitch).map(|m| (m.along - fit[1], inward * m.end)).collect();
    let (_, slope) = straight(&ends)?;
    Some(Line { along: fit[1], pitch: fit[0] - fit[1] * fit[2], ..*line }).map(|line| turned(&line, slope))
}

/// Turned by a small angle about its mark 0.
fn turned(line: &Line, slope: f64) -> Line {
    let (old, new) = (line.turn, line.turn + slope.atan());
    // The same place in the frame of the new direction.
    let (s, c) = (old - new).sin_cos();
    let lean = line.lean + new - old;
    Line { turn: new, along: c * line.along - s * line.across, across: s * line.along + c * line.across, lean, ..*line }
}

fn usual_end(marks: &[Mark]) -> f64 {
    let mut ends: Vec<f32> = marks.iter().map(|m| m.end as f32).collect();
    f64::from(tatter_core::stats::median(&mut ends))
}

/// Share of marks that are long where every fifth is, and short elsewhere; at the best fifth.
fn in_order(marks: &[Mark], pitch: f64) -> f64 {
    let short = usual_end(marks);
    let share = |first: i32| {
        let (mut fits, mut all) = ([0.0f64; 2], [0.0f64; 2]);
        for mark in marks {
            let long = usize::from(mark.n.rem_euclid(5) == first);
            all[long] += 1.0;
            fits[long] += f64::from(u8::from((mark.end > short + LONGER * pitch) == (long == 1)));
        }
        // Four of five are short: each kind counts half.
        0.5 * (fits[0] / all[0].max(1.0) + fits[1] / all[1].max(1.0))
    };
    (0..5).map(share).fold(0.0, f64::max)
}
