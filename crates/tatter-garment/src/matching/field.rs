//! What a placement's cloth still lacks against the cloth around it, place by place, carried smoothly inwards.

use std::collections::BTreeMap;

use glam::{DMat3, DVec3};

use super::Glimpse;

/// Nodes across the canvas: a node spans a few threads of an ordinary patch, and less than folds and fades do.
pub(crate) const NODES: usize = 32;
/// Samples of a node at which it weighs as much as the smoothness with one neighbour.
const TRUSTED: f64 = 60.0;
/// Fewer samples of a node say nothing.
const FEWEST: f64 = 3.0;
/// Sweeps of the solver, and its overrelaxation: together they settle a grid of this size to half a hundredth of what is left of a plane, also
/// where only an arc of the rim is known (worked out beside 1500 sweeps).
const SWEEPS: usize = 64;
const RELAXED: f64 = 1.9;

/// One number a node, over the canvas of a patch.
#[derive(Clone, Debug)]
pub(crate) struct Field<const N: usize> {
    nodes: Vec<[f32; N]>,
}

/// Mean of what was seen in a node, and how often.
#[derive(Clone, Copy, Debug)]
pub(crate) struct NodeMean<const N: usize> {
    pub(crate) mean: [f64; N],
    pub(crate) count: f64,
}

impl<const N: usize> Field<N> {
    /// Nothing anywhere.
    pub(crate) fn none() -> Self {
        Self { nodes: Vec::new() }
    }

    /// Through the values of some nodes as far as their weights allow, and as even as can be elsewhere: a plane, so that a fade
    /// across the placement is not flattened, and on it a membrane (least squares of values and of differences between neighbours), solved by successive overrelaxation (Young, "Iterative
    /// methods for solving partial difference equations of elliptic type", 1954). A quarter of a millisecond for three numbers.
    pub(crate) fn through(known: &BTreeMap<usize, ([f64; N], f64)>) -> Self {
        if known.values().map(|(_, w)| w).sum::<f64>() <= 0.0 {
            return Self::none();
        }
        let plane = plane(known);
        let mut grid = Grid::new(known, &plane);
        (0..SWEEPS).for_each(|_| grid.sweep());
        let whole = |at: usize| {
            let node = grid.node(at);
            std::array::from_fn(|i| (node[i] + plane[i].dot(basis(at))) as f32)
        };
        Self { nodes: (0..NODES * NODES).map(whole).collect() }
    }

    /// So much of it.
    pub(crate) fn in_part(&self, share: f32) -> Self {
        Self { nodes: self.nodes.iter().map(|node| node.map(|v| share * v)).collect() }
    }

    /// At a place in shares of the canvas, between nodes in proportion.
    #[inline]
    pub(crate) fn at(&self, [u, v]: [f32; 2]) -> [f32; N] {
        if self.nodes.is_empty() {
            return [0.0; N];
        }
        let on = |share: f32| (share * NODES as f32 - 0.5).clamp(0.0, (NODES - 1) as f32);
        let (x, y) = (on(u), on(v));
        let (x0, y0) = ((x as usize).min(NODES - 2), (y as usize).min(NODES - 2));
        let (fx, fy) = (x - x0 as f32, y - y0 as f32);
        let row = |y: usize| {
            let (a, b) = (&self.nodes[y * NODES + x0], &self.nodes[y * NODES + x0 + 1]);
            std::array::from_fn::<f32, N, _>(|i| a[i] + (b[i] - a[i]) * fx)
        };
        let (above, below) = (row(y0), row(y0 + 1));
        std::array::from_fn(|i| above[i] + (below[i] - above[i]) * fy)
    }
}

/// The membrane while it settles, with a border of nothing around it.
struct Grid<const N: usize> {
    nodes: [[f64; N]; ACROSS * ACROSS],
    /// What the known value of a node pulls by, times its share below.
    pulls: [[f64; N]; ACROSS * ACROSS],
    /// [`RELAXED`] over the weight of a node's neighbours and known value: what a node takes over of each neighbour.
    shares: [f64; ACROSS * ACROSS],
}

/// Nodes in a row of the grid with its border.
const ACROSS: usize = NODES + 2;

impl<const N: usize> Grid<N> {
    /// The values beyond the plane, each node's own.
    fn new(known: &BTreeMap<usize, ([f64; N], f64)>, plane: &[DVec3; N]) -> Self {
        let mut grid =
            Self { nodes: [[0.0; N]; ACROSS * ACROSS], pulls: [[0.0; N]; ACROSS * ACROSS], shares: [0.0; ACROSS * ACROSS] };
        for at in 0..NODES * NODES {
            let on_edge = |v: usize| usize::from(v == 0) + usize::from(v + 1 == NODES);
            let neighbours = 4 - on_edge(at % NODES) - on_edge(at / NODES);
            let (value, own) = known.get(&at).map_or(([0.0; N], 0.0), |(value, own)| (*value, *own));
            let share = RELAXED / (neighbours as f64 + own);
            grid.shares[Self::place(at)] = share;
            let pull = |i: usize| share * own * (value[i] - plane[i].dot(basis(at)));
            grid.pulls[Self::place(at)] = if own > 0.0 { std::array::from_fn(pull) } else { [0.0; N] };
        }
        grid
    }

    const fn place(at: usize) -> usize {
        (at / NODES + 1) * ACROSS + at % NODES + 1
    }

    fn node(&self, at: usize) -> &[f64; N] {
        &self.nodes[Self::place(at)]
    }

    /// Every node once, in order. What comes from the node before is added last: nothing else waits for it.
    fn sweep(&mut self) {
        for row in 1..=NODES {
            let first = row * ACROSS + 1;
            let mut before = [0.0; N];
            for at in first..first + NODES {
                let (above, next, below) = (&self.nodes[at - ACROSS], &self.nodes[at + 1], &self.nodes[at + ACROSS]);
                let (own, pull, share) = (&self.nodes[at], &self.pulls[at], self.shares[at]);
                before = std::array::from_fn(|i| {
                    let others = pull[i] + share * (above[i] + next[i] + below[i]) + (1.0 - RELAXED) * own[i];
                    others + share * before[i]
                });
                self.nodes[at] = before;
            }
        }
    }
}

/// One, across and down, from the middle of the canvas.
fn basis(at: usize) -> DVec3 {
    let on = |v: usize| (v as f64 + 0.5) / NODES as f64 - 0.5;
    DVec3::new(1.0, on(at % NODES), on(at / NODES))
}

/// The plane nearest to the values, each number's own (weighted least squares).
fn plane<const N: usize>(known: &BTreeMap<usize, ([f64; N], f64)>) -> [DVec3; N] {
    let (mut moments, mut sums) = (DMat3::ZERO, [DVec3::ZERO; N]);
    for (&at, (value, w)) in known {
        let b = basis(at);
        moments += DMat3::from_cols(b * b.x, b * b.y, b * b.z) * *w;
        (0..N).for_each(|i| sums[i] += b * (w * value[i]));
    }
    // A rim on one side only cannot tell a slope: a little weight pulls it to level.
    let ridge = 1e-3 * moments.x_axis.x;
    moments += DMat3::from_diagonal(DVec3::new(0.0, ridge, ridge));
    let inverse = moments.inverse();
    sums.map(|sum| inverse * sum)
}

/// The node a place lies at.
pub(crate) fn node_of([u, v]: [f32; 2]) -> usize {
    let on = |share: f32| ((share * NODES as f32) as usize).min(NODES - 1);
    on(v) * NODES + on(u)
}

/// Mean of each node that was seen often enough.
pub(crate) fn node_means<const N: usize>(seen: impl Iterator<Item = ([f32; 2], [f32; N])>) -> BTreeMap<usize, NodeMean<N>> {
    let mut sums = vec![NodeMean { mean: [0.0; N], count: 0.0 }; NODES * NODES];
    for (at, value) in seen {
        let sum = &mut sums[node_of(at)];
        (0..N).for_each(|i| sum.mean[i] += f64::from(value[i]));
        sum.count += 1.0;
    }
    let often = sums.into_iter().enumerate().filter(|(_, sum)| sum.count >= FEWEST);
    often.map(|(node, sum)| (node, NodeMean { mean: sum.mean.map(|v| v / sum.count), ..sum })).collect()
}

/// Values at places in shares of the canvas.
pub(crate) type Seen<const N: usize> = Vec<([f32; 2], [f32; N])>;

/// How far values stray from the mean of their node, root mean square over all numbers: what threads do, not folds. `None` where no node was
/// seen often enough.
pub(crate) fn stray<const N: usize>(seen: &[([f32; 2], [f32; N])]) -> Option<f64> {
    let means = node_means(seen.iter().copied());
    let far = |(at, value): &([f32; 2], [f32; N])| {
        let node = means.get(&node_of(*at))?;
        Some(value.iter().zip(node.mean).map(|(v, mean)| (f64::from(*v) - mean).powi(2)).sum::<f64>())
    };
    let sum: f64 = seen.iter().filter_map(far).sum();
    // One of the values of a node is spent on its mean.
    let free: f64 = means.values().map(|node| node.count - 1.0).sum();
    (free > 0.0).then(|| (sum / free).sqrt())
}

/// How much the difference of two means counts: the scatter of both is in it.
pub(crate) fn trust(first: f64, second: f64) -> f64 {
    1.0 / (1.0 / first + 1.0 / second) / (0.5 * TRUSTED)
}

/// Places and colours, for [`node_means`].
pub(crate) fn colors(glimpses: &[Glimpse]) -> impl Iterator<Item = ([f32; 2], [f32; 3])> {
    glimpses.iter().map(|g| (g.at, g.color.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A membrane spanned over a linear rim is that plane (harmonic functions; worked by hand).
    #[test]
    fn a_slope_on_the_rim_is_that_slope_inside() {
        let slope = |at: usize| (at % NODES) as f64 * 0.01 + (at / NODES) as f64 * 0.02;
        let rim = (0..NODES * NODES).filter(|at| [at % NODES, at / NODES].iter().any(|v| *v == 4 || *v == NODES - 5));
        let known = rim.map(|at| (at, ([slope(at)], 1e6))).collect();
        let field = Field::<1>::through(&known);
        for (x, y) in [(10, 20), (16, 16), (24, 9)] {
            let got = field.at([(x as f32 + 0.5) / NODES as f32, (y as f32 + 0.5) / NODES as f32])[0];
            let want = slope(y * NODES + x) as f32;
            assert!((got - want).abs() < 2e-3, "at {x}, {y}: {got}, the plane is {want}");
        }
    }

    /// An even spread from -a to a strays a / √3 (the uniform distribution's variance), whatever slope it lies on.
    #[test]
    fn threads_stray_and_a_slope_does_not() {
        let mut rng = tatter_core::rng::Rng::new(3);
        let mut one = || ([rng.unit(), rng.unit()], rng.unit());
        let seen: Vec<_> =
            (0..20_000).map(|_| one()).map(|(at, v)| (at, [20.0 * (at[0] * 32.0).floor() + 0.6 * (v - 0.5)])).collect();
        let got = stray(&seen).expect("every node is seen");
        assert!((got - 0.3 / 3f64.sqrt()).abs() < 0.003, "{got}");
        assert!(stray(&seen[..2]).is_none(), "two values say nothing");
    }

    #[test]
    fn one_known_node_spreads_evenly_and_none_is_nothing() {
        let field = Field::through(&[(5 * NODES + 7, ([0.25, -1.0], 0.5))].into());
        assert!((field.at([0.9, 0.9])[0] - 0.25).abs() < 1e-6 && (field.at([0.1, 0.5])[1] + 1.0).abs() < 1e-6, "even");
        assert_eq!(Field::<3>::through(&BTreeMap::new()).at([0.5, 0.5]), [0.0; 3], "nothing known");
    }
}
