//! Structures that are told apart: weaves by their floats, and two views of a plain knit.

use super::{Hand, Weave};

/// A repeat that could have made the points.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Structure {
    /// End over pick where `(step * end + pick) mod threads < over`.
    Woven { threads: i32, over: i32, step: i32 },
    /// Plain with doubled ends and picks.
    Basket,
    /// Legs of loops; the wale runs along the first family's line, or across it.
    KnitFace { turned: bool, up: bool },
    /// Arcs of loops.
    KnitBack { turned: bool, up: bool },
}

/// Structures with the log of how common they are.
pub(super) fn all() -> Vec<(Structure, f64)> {
    let mut list = vec![(Structure::Woven { threads: 2, over: 1, step: 1 }, 0.0), (Structure::Basket, -4.0)];
    for step in [1, -1] {
        for (threads, over, prior) in [(3, 2, -0.8), (3, 1, -1.0), (4, 3, -0.6), (4, 2, -0.6), (4, 1, -1.0)] {
            list.push((Structure::Woven { threads, over, step }, prior));
        }
    }
    for step in [2, 3] {
        list.push((Structure::Woven { threads: 5, over: 4, step }, -1.6));
        list.push((Structure::Woven { threads: 5, over: 1, step }, -1.8));
    }
    for turned in [false, true] {
        for up in [false, true] {
            list.push((Structure::KnitFace { turned, up }, -0.7));
            list.push((Structure::KnitBack { turned, up }, -1.2));
        }
    }
    list
}

/// How far a thread stays on top around a place, and where in that float the place is, -1..1.
fn float(here: f64, on_top: impl Fn(i32) -> bool) -> f64 {
    let count = |sign: i32| (1..8).take_while(|&k| on_top(sign * k)).count() as f64;
    let (back, ahead) = (count(-1), count(1));
    2.0 * (back + here) / (back + ahead + 1.0) - 1.0
}

impl Structure {
    pub(super) fn is_knit(self) -> bool {
        matches!(self, Self::KnitFace { .. } | Self::KnitBack { .. })
    }

    /// Points a cell of the two families: threads of the smallest repeat.
    pub(super) fn index(self) -> i32 {
        match self {
            Self::Woven { threads, .. } => threads,
            Self::Basket => 8,
            Self::KnitFace { .. } | Self::KnitBack { .. } => 1,
        }
    }

    /// Threads a side of the square repeat.
    pub(super) fn repeat(self) -> i32 {
        match self {
            Self::Woven { threads, .. } => threads,
            Self::Basket => 4,
            Self::KnitFace { .. } | Self::KnitBack { .. } => 1,
        }
    }

    /// Shifts that matter: so many threads across, so many along.
    pub(super) fn domain(self) -> [i32; 2] {
        match self {
            Self::Woven { threads, .. } => [threads, 1],
            Self::Basket => [4, 2],
            Self::KnitFace { .. } | Self::KnitBack { .. } => [1, 1],
        }
    }

    /// Whether the spectrum has a point at those coordinates (in threads).
    pub(super) fn has_point(self, [u, v]: [f64; 2]) -> bool {
        let whole = |x: f64| (x - x.round()).abs() < 0.02;
        match self {
            // Invariant under one pick up and `step` ends back: step * v' = u', in whole turns.
            Self::Woven { threads, step, .. } => {
                whole(u * f64::from(threads)) && whole(v * f64::from(threads)) && whole(u - f64::from(step) * v)
            }
            Self::Basket => whole(4.0 * u) && whole(4.0 * v) && whole(2.0 * (u + v)),
            Self::KnitFace { .. } | Self::KnitBack { .. } => whole(u) && whole(v),
        }
    }

    /// Whether the end lies on top of the pick, ends counted to the right and picks upwards.
    pub(crate) fn end_on_top(self, end: i32, pick: i32) -> bool {
        match self {
            Self::Woven { threads, over, step } => (step * end + pick).rem_euclid(threads) < over,
            Self::Basket => (end.div_euclid(2) + pick.div_euclid(2)).rem_euclid(2) == 0,
            Self::KnitFace { .. } | Self::KnitBack { .. } => true,
        }
    }

    /// Prior deviation of each feature's strength, against a difference of dye of 1.
    pub(super) fn prior(self) -> Vec<f64> {
        match self {
            Self::KnitFace { .. } => vec![1.0, 0.7, 1.0, 0.7, 0.7, 0.7],
            Self::KnitBack { .. } => vec![1.0, 1.0, 0.6, 0.6, 0.6, 0.6],
            _ => vec![1.0, 0.8, 0.8, 0.6, 0.6, 0.5, 0.5, 0.4, 0.4],
        }
    }

    /// Features at a place in threads.
    pub(super) fn features(self, u: f64, v: f64) -> Vec<f64> {
        match self {
            Self::KnitFace { turned, up } => knit_face(if turned { v } else { u }, oriented(if turned { u } else { v }, up)),
            Self::KnitBack { turned, up } => knit_back(if turned { v } else { u }, oriented(if turned { u } else { v }, up)),
            _ => self.woven(u, v),
        }
    }

    fn woven(self, u: f64, v: f64) -> Vec<f64> {
        let (end, pick) = (u.floor() as i32, v.floor() as i32);
        let (across_end, across_pick) = (u - u.floor(), v - v.floor());
        if self.end_on_top(end, pick) {
            let (s, t) = (2.0 * across_end - 1.0, float(across_pick, |k| self.end_on_top(end, pick + k)));
            vec![1.0, s * s, 0.0, s, 0.0, t * t, 0.0, t, 0.0]
        } else {
            let (s, t) = (2.0 * across_pick - 1.0, float(across_end, |k| !self.end_on_top(end + k, pick)));
            vec![0.0, 0.0, s * s, 0.0, s, 0.0, t * t, 0.0, t]
        }
    }

    /// Whether two structures have the same repeat, however the floats divide it.
    pub(super) fn repeats_as(self, other: Self) -> bool {
        match (self, other) {
            (Self::Woven { threads, step, .. }, Self::Woven { threads: n, step: k, .. }) => threads == n && step == k,
            _ => self == other,
        }
    }

    /// The weave where only the repeat is sure.
    pub(super) fn repeat_only(self, mirrored: bool) -> Weave {
        match self {
            Self::Woven { threads: threads @ (3 | 4), step, .. } => {
                Weave::TwillOn { threads: threads as u8, hand: if (step < 0) != mirrored { Hand::Z } else { Hand::S } }
            }
            Self::Woven { threads: 5, .. } => Weave::Satin { ends: 5 },
            _ => Weave::Unknown,
        }
    }

    /// The weave with the first family as the warp, or with the second.
    pub(super) fn weave(self, first_is_warp: bool) -> Weave {
        match self {
            Self::Basket => Weave::Basket,
            Self::Woven { threads: 2, .. } => Weave::Plain,
            Self::Woven { threads: 5, .. } => Weave::Satin { ends: 5 },
            Self::Woven { threads, over, step } => {
                let over = if first_is_warp { over } else { threads - over };
                // Invariant under (1, -step): with step -1 the lines climb to the right.
                let climbs = (step < 0) == first_is_warp;
                let hand = if climbs { Hand::Z } else { Hand::S };
                Weave::Twill { over: over as u8, under: (threads - over) as u8, hand }
            }
            Self::KnitFace { .. } | Self::KnitBack { .. } => Weave::Unknown,
        }
    }
}

fn oriented(v: f64, up: bool) -> f64 {
    if up { v } else { -v }
}

/// Two legs a wale lean to its middle: their round, slope to the lamp and dark edge.
fn knit_face(u: f64, v: f64) -> Vec<f64> {
    let x = u - u.floor();
    let left = x < 0.5;
    let across = (x - 0.5).abs();
    let place = v - 1.2 * across;
    let s = 2.0 * (place - place.floor()) - 1.0;
    let edge = (4.0 * across - 1.0).powi(2);
    let side = if left { 1.0 } else { -1.0 };
    vec![s * s, s, edge, side, side * s * s, side * s]
}

/// Rows of arcs, one a course, that rise and fall once a wale.
fn knit_back(u: f64, v: f64) -> Vec<f64> {
    let wave = (std::f64::consts::TAU * u).cos();
    let place = v + 0.3 * wave;
    let s = 2.0 * (place - place.floor()) - 1.0;
    let side = (std::f64::consts::TAU * u).sin();
    vec![s * s, s, wave, side, side * s * s, wave * s * s]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(structure: Structure) -> Vec<String> {
        // Picks from the top down, as a weaver draws them.
        (0..4).rev().map(|pick| (0..4).map(|end| if structure.end_on_top(end, pick) { 'X' } else { '.' }).collect()).collect()
    }

    #[test]
    fn weaves_look_as_weavers_draw_them() {
        // Drafts as weaving handbooks print them, ends across and picks up, X where the end is raised; from memory.
        assert_eq!(drawn(Structure::Woven { threads: 2, over: 1, step: 1 }), [".X.X", "X.X.", ".X.X", "X.X."], "plain");
        let right = Structure::Woven { threads: 4, over: 2, step: -1 };
        assert_eq!(drawn(right), ["..XX", ".XX.", "XX..", "X..X"], "2/2 twill climbs to the right");
        assert_eq!(right.weave(true), Weave::Twill { over: 2, under: 2, hand: Hand::Z }, "and is called so");
        let denim = Structure::Woven { threads: 4, over: 3, step: 1 };
        assert_eq!(drawn(denim), [".XXX", "X.XX", "XX.X", "XXX."], "3/1 twill climbs to the left");
        assert_eq!(denim.weave(true), Weave::Twill { over: 3, under: 1, hand: Hand::S }, "and is called so");
        let satin = Structure::Woven { threads: 5, over: 4, step: 3 };
        let bound = (0..5).flat_map(|p| (0..5).map(move |e| (e, p))).filter(|&(e, p)| !satin.end_on_top(e, p)).count();
        assert_eq!(bound, 5, "satin binds each end once in its repeat");
    }
}
