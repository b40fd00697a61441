//! Exact minimum cuts on a grid of 8 neighbours: the search-tree algorithm of Boykov and Kolmogorov, "An Experimental
//! Comparison of Min-Cut/Max-Flow Algorithms for Energy Minimization in Vision", 2004. Whole-number capacities.

use std::collections::VecDeque;

const STEPS: [(isize, isize); 8] = [(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (1, -1), (-1, 1)];
const TERMINAL: u8 = 8;
const ORPHAN: u8 = 9;
const NONE: u8 = 10;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Tree {
    Free,
    Source,
    Sink,
}

/// All of a node side by side: what looks at one looks at most of it.
#[derive(Clone, Copy, Debug)]
struct Node {
    links: [i32; 8],
    terminal: i32,
    stamp: u32,
    depth: u32,
    tree: Tree,
    parent: u8,
    queued: bool,
}

impl Node {
    const FREE: Self = Self { links: [0; 8], terminal: 0, stamp: 0, depth: 0, tree: Tree::Free, parent: NONE, queued: false };
}

/// A grid of nodes, each tied to the source (positive) or the sink (negative) and to its neighbours.
#[derive(Debug)]
pub struct GridCut {
    width: usize,
    /// Nodes in a row with one of a border on either side, which no link reaches: every node then has eight neighbours.
    stride: usize,
    nodes: Vec<Node>,
    active: VecDeque<u32>,
    orphans: VecDeque<u32>,
    time: u32,
}

impl GridCut {
    /// Steps to the neighbours; the opposite of step `d` is `d ^ 1`.
    pub const STEPS: [(isize, isize); 8] = STEPS;

    /// `terminal(i)`: how much node `i` (row order) wants to be inside, negative for outside. `link(i, d)`: what it costs to
    /// part node `i` from its neighbour in step `d`; asked for even `d` only, and used both ways.
    pub fn new(width: usize, height: usize, terminal: impl Fn(usize) -> i32, link: impl Fn(usize, usize) -> i32) -> Self {
        let (stride, count) = (width + 2, (width + 2) * (height + 2));
        let mut cut =
            Self { width, stride, nodes: vec![Node::FREE; count], active: VecDeque::new(), orphans: VecDeque::new(), time: 0 };
        for (x, y) in (0..height).flat_map(|y| (0..width).map(move |x| (x, y))) {
            let (told, i) = (y * width + x, (y + 1) * stride + x + 1);
            cut.nodes[i].terminal = terminal(told);
            for d in (0..8).step_by(2) {
                let (dx, dy) = STEPS[d];
                if x.wrapping_add_signed(dx) < width && y.wrapping_add_signed(dy) < height {
                    let weight = link(told, d).max(0);
                    let j = cut.neighbour(i, d);
                    cut.nodes[i].links[d] = weight;
                    cut.nodes[j].links[d ^ 1] = weight;
                }
            }
        }
        cut
    }

    /// The node one step on; of the border, nodes that nothing flows to.
    #[inline]
    fn neighbour(&self, i: usize, d: usize) -> usize {
        let (dx, dy) = STEPS[d];
        i.wrapping_add_signed(dy * self.stride as isize + dx)
    }

    /// A cut that is hardly dearer than the minimum, in half the time for 128² nodes (Lombaert et al., "A multilevel banded graph cuts method for fast
    /// image segmentation", 2005): the cheapest along the edges of cells of two nodes a side, found likewise where these are many, then the
    /// cheapest within three nodes of that one. What is told is as of [`GridCut::new`].
    pub fn banded(width: usize, height: usize, terminal: impl Fn(usize) -> i32, link: impl Fn(usize, usize) -> i32) -> Vec<bool> {
        let mut costs = Costs { width, height, terminals: (0..width * height).map(terminal).collect(), links: Vec::new() };
        let own = |i: usize| std::array::from_fn(|d| costs.next(i, 2 * d).map_or(0, |_| link(i, 2 * d).max(0)));
        costs.links = (0..width * height).map(own).collect();
        costs.cut()
    }

    /// The minimum cut: true for nodes on the source's side.
    pub fn solve(mut self) -> Vec<bool> {
        for i in 0..self.nodes.len() {
            if self.nodes[i].terminal != 0 {
                self.nodes[i].tree = if self.nodes[i].terminal > 0 { Tree::Source } else { Tree::Sink };
                self.nodes[i].parent = TERMINAL;
                self.nodes[i].depth = 1;
                // Inside a wide seed nothing is left to grow into.
                if self.nodes[i].links.iter().any(|&link| link > 0) {
                    self.activate(i);
                }
            }
        }
        while let Some(&at) = self.active.front() {
            let i = at as usize;
            let meeting = if self.nodes[i].tree == Tree::Free { None } else { self.grow(i) };
            if let Some((from, d)) = meeting {
                self.time += 1;
                self.augment(from, d);
                while let Some(orphan) = self.orphans.pop_front() {
                    self.adopt(orphan as usize);
                }
            } else {
                self.active.pop_front();
                self.nodes[i].queued = false;
            }
        }
        let rows = self.nodes.chunks_exact(self.stride);
        let inner = rows.skip(1).take(self.nodes.len() / self.stride - 2).flat_map(|row| &row[1..=self.width]);
        inner.map(|node| node.tree == Tree::Source).collect()
    }

    fn activate(&mut self, i: usize) {
        if !self.nodes[i].queued {
            self.nodes[i].queued = true;
            self.active.push_back(i as u32);
        }
    }

    /// Residual from `i` outwards in its tree's sense: from parent side to child side.
    #[inline]
    fn residual(&self, tree: Tree, i: usize, d: usize, j: usize) -> i32 {
        if tree == Tree::Source { self.nodes[i].links[d] } else { self.nodes[j].links[d ^ 1] }
    }

    /// Take free neighbours into the tree of `i`; the link where it meets the other tree, from the source's side.
    fn grow(&mut self, i: usize) -> Option<(usize, usize)> {
        let tree = self.nodes[i].tree;
        for d in 0..8 {
            let j = self.neighbour(i, d);
            if self.residual(tree, i, d, j) <= 0 {
                continue;
            }
            if self.nodes[j].tree == Tree::Free {
                self.nodes[j].tree = tree;
                self.nodes[j].parent = (d ^ 1) as u8;
                self.nodes[j].stamp = self.nodes[i].stamp;
                self.nodes[j].depth = self.nodes[i].depth + 1;
                self.activate(j);
            } else if self.nodes[j].tree != tree {
                return Some(if tree == Tree::Source { (i, d) } else { (j, d ^ 1) });
            }
        }
        None
    }

    fn augment(&mut self, from: usize, d: usize) {
        let to = self.neighbour(from, d);
        let step = self.nodes[from].links[d].min(self.room_to_root(from, Tree::Source)).min(self.room_to_root(to, Tree::Sink));
        self.nodes[from].links[d] -= step;
        self.nodes[to].links[d ^ 1] += step;
        self.push_to_root(from, Tree::Source, step);
        self.push_to_root(to, Tree::Sink, step);
    }

    fn room_to_root(&self, mut i: usize, tree: Tree) -> i32 {
        let mut room = i32::MAX;
        while self.nodes[i].parent < TERMINAL {
            let d = usize::from(self.nodes[i].parent);
            let up = self.neighbour(i, d);
            room = room.min(self.residual(tree, up, d ^ 1, i));
            i = up;
        }
        room.min(self.nodes[i].terminal.abs())
    }

    fn push_to_root(&mut self, mut i: usize, tree: Tree, step: i32) {
        while self.nodes[i].parent < TERMINAL {
            let d = usize::from(self.nodes[i].parent);
            let up = self.neighbour(i, d);
            let sign = if tree == Tree::Source { step } else { -step };
            self.nodes[up].links[d ^ 1] -= sign;
            self.nodes[i].links[d] += sign;
            if self.residual(tree, up, d ^ 1, i) == 0 {
                self.nodes[i].parent = ORPHAN;
                self.orphans.push_front(i as u32);
            }
            i = up;
        }
        self.nodes[i].terminal -= if tree == Tree::Source { step } else { -step };
        if self.nodes[i].terminal == 0 {
            self.nodes[i].parent = ORPHAN;
            self.orphans.push_front(i as u32);
        }
    }

    /// How deep below a terminal `i` hangs, or `None` when its root is lost.
    fn rooted(&mut self, start: usize) -> Option<u32> {
        let (mut i, mut walked) = (start, 0u32);
        let depth = loop {
            if self.nodes[i].stamp == self.time && self.nodes[i].parent < ORPHAN {
                break walked + self.nodes[i].depth;
            }
            walked += 1;
            match self.nodes[i].parent {
                TERMINAL => {
                    self.nodes[i].stamp = self.time;
                    self.nodes[i].depth = 1;
                    break walked;
                }
                ORPHAN | NONE => return None,
                d => i = self.neighbour(i, usize::from(d)),
            }
        };
        let (mut i, mut left) = (start, depth);
        while self.nodes[i].stamp != self.time {
            self.nodes[i].stamp = self.time;
            self.nodes[i].depth = left;
            left -= 1;
            i = self.neighbour(i, usize::from(self.nodes[i].parent));
        }
        Some(depth)
    }

    fn adopt(&mut self, i: usize) {
        let tree = self.nodes[i].tree;
        let mut best: Option<(u32, usize)> = None;
        for d in 0..8 {
            let j = self.neighbour(i, d);
            if self.nodes[j].tree == tree
                && self.residual(tree, j, d ^ 1, i) > 0
                && let Some(depth) = self.rooted(j)
                && best.is_none_or(|(least, _)| depth < least)
            {
                best = Some((depth, d));
            }
        }
        if let Some((depth, d)) = best {
            self.nodes[i].parent = d as u8;
            self.nodes[i].stamp = self.time;
            self.nodes[i].depth = depth + 1;
            return;
        }
        for d in 0..8 {
            let j = self.neighbour(i, d);
            if self.nodes[j].tree != tree {
                continue;
            }
            if self.residual(tree, j, d ^ 1, i) > 0 {
                self.activate(j);
            }
            if usize::from(self.nodes[j].parent) == d ^ 1 {
                self.nodes[j].parent = ORPHAN;
                self.orphans.push_back(j as u32);
            }
        }
        self.nodes[i].tree = Tree::Free;
        self.nodes[i].parent = NONE;
    }
}

/// How far from the cut between cells of two nodes that between nodes is sought.
const BAND: usize = 3;
/// What ties a node to a side for good.
const SURE: i32 = 100_000_000;
/// A grid of so many nodes is cut as a whole.
const FEW: usize = 40 * 40;

/// What a cut costs, node by node in row order.
struct Costs {
    width: usize,
    height: usize,
    terminals: Vec<i32>,
    /// Along the even steps.
    links: Vec<[i32; 4]>,
}

impl Costs {
    /// The neighbour in a step.
    fn next(&self, i: usize, d: usize) -> Option<usize> {
        let (x, y) = ((i % self.width).wrapping_add_signed(STEPS[d].0), (i / self.width).wrapping_add_signed(STEPS[d].1));
        (x < self.width && y < self.height).then_some(y * self.width + x)
    }

    fn cut(&self) -> Vec<bool> {
        let &Self { width, height, .. } = self;
        if width * height <= FEW {
            return GridCut::new(width, height, |i| self.terminals[i], |i, d| self.links[i][d / 2]).solve();
        }
        let cells = self.in_cells().cut();
        let across = width.div_ceil(2);
        let inside: Vec<bool> = (0..width * height).map(|i| cells[i / width / 2 * across + i % width / 2]).collect();
        let near = |at: usize, of: usize| at.saturating_sub(BAND)..(at + BAND + 1).min(of);
        // Whether any node within reach is outside, and inside: along rows, then down columns.
        let mut wide = vec![[false; 2]; width * height];
        for (row, wide) in inside.chunks_exact(width).zip(wide.chunks_exact_mut(width)) {
            for (x, wide) in wide.iter_mut().enumerate() {
                row[near(x, width)].iter().for_each(|side| wide[usize::from(*side)] = true);
            }
        }
        let sure = |i: usize| {
            let column = near(i / width, height).map(|y| wide[y * width + i % width]);
            match column.fold([false; 2], |[out, within], [o, w]| [out | o, within | w]) {
                [false, true] => SURE,
                [true, false] => -SURE,
                _ => 0,
            }
        };
        let sure: Vec<i32> = (0..width * height).map(sure).collect();
        // What is sure on both sides is never parted, and need not be looked at.
        let open = |i: usize, d: usize| sure[i] == 0 || self.next(i, d).is_some_and(|next| sure[next] == 0);
        let terminal = |i: usize| if sure[i] == 0 { self.terminals[i] } else { sure[i] };
        GridCut::new(width, height, terminal, |i, d| if open(i, d) { self.links[i][d / 2] } else { 0 }).solve()
    }

    /// With two nodes a side in one: what it costs to part two cells is what it costs to part all nodes of the one from all of the other.
    fn in_cells(&self) -> Self {
        let (across, down) = (self.width.div_ceil(2), self.height.div_ceil(2));
        let mut cells =
            Self { width: across, height: down, terminals: vec![0; across * down], links: vec![[0; 4]; across * down] };
        for i in 0..self.width * self.height {
            let place = |i: usize| (i % self.width / 2, i / self.width / 2);
            let (x, y) = place(i);
            let terminal = &mut cells.terminals[y * across + x];
            *terminal = terminal.saturating_add(self.terminals[i]).clamp(-SURE, SURE);
            for d in (0..8).step_by(2) {
                let Some((to_x, to_y)) = self.next(i, d).map(place) else { continue };
                let step = (to_x as isize - x as isize, to_y as isize - y as isize);
                let Some(way) = STEPS.iter().position(|&s| s == step) else { continue };
                // Steps against the even ones are told by the cell they lead to.
                let from = if way % 2 == 0 { y * across + x } else { to_y * across + to_x };
                let link = &mut cells.links[from][way / 2];
                *link = link.saturating_add(self.links[i][d / 2]);
            }
        }
        cells
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rng::Rng;

    fn energy(inside: &[bool], width: usize, terminal: &[i32], link: &dyn Fn(usize, usize) -> i32) -> i64 {
        let height = inside.len() / width;
        let mut sum = 0;
        for i in 0..inside.len() {
            sum += i64::from(if inside[i] { (-terminal[i]).max(0) } else { terminal[i].max(0) });
            for d in (0..8).step_by(2) {
                let (x, y) = ((i % width).wrapping_add_signed(STEPS[d].0), (i / width).wrapping_add_signed(STEPS[d].1));
                if x < width && y < height && inside[i] != inside[y * width + x] {
                    sum += i64::from(link(i, d));
                }
            }
        }
        sum
    }

    #[test]
    fn the_cut_is_the_least_of_all_on_small_grids() {
        for seed in 0..40 {
            let mut rng = Rng::new(seed);
            let terminal: Vec<i32> = (0..12).map(|_| rng.below(41) as i32 - 20).collect();
            let weights: Vec<i32> = (0..96).map(|_| rng.below(12) as i32).collect();
            let link = |i: usize, d: usize| weights[i * 8 + d];
            let got = energy(&GridCut::new(4, 3, |i| terminal[i], link).solve(), 4, &terminal, &link);
            let least = (0..4096usize)
                .map(|bits| energy(&(0..12).map(|i| bits >> i & 1 == 1).collect::<Vec<_>>(), 4, &terminal, &link))
                .min();
            assert_eq!(Some(got), least, "seed {seed}");
        }
    }

    /// Beside the exact cut of the same grid: a seed in the middle, a frame around it, costs that vary over some nodes as between two cloths.
    #[test]
    fn a_banded_cut_costs_hardly_more_than_the_least() {
        const SIDE: usize = 107;
        for seed in 0..12 {
            let mut rng = Rng::new(seed);
            let waves: [[f32; 3]; 6] =
                std::array::from_fn(|_| [0.2 + 0.5 * rng.unit(), 0.2 + 0.5 * rng.unit(), 6.3 * rng.unit()]);
            let cost = |i: usize| {
                let (x, y) = ((i % SIDE) as f32, (i / SIDE) as f32);
                let sum: f32 = waves.iter().map(|[a, b, c]| (a * x + b * y + c).sin()).sum();
                (200.0 + 100.0 * sum).clamp(10.0, 800.0) as i32
            };
            let costs: Vec<i32> = (0..SIDE * SIDE).map(cost).collect();
            let next = |i: usize, d: usize| i.wrapping_add_signed(STEPS[d].1 * SIDE as isize + STEPS[d].0);
            let link = |i: usize, d: usize| costs[i] + costs[next(i, d)];
            let far = |i: usize| (i % SIDE).abs_diff(SIDE / 2).max((i / SIDE).abs_diff(SIDE / 2));
            let terminal: Vec<i32> = (0..SIDE * SIDE)
                .map(|i| match far(i) {
                    0..12 => SURE,
                    50.. => -SURE,
                    _ => 0,
                })
                .collect();
            let least = energy(&GridCut::new(SIDE, SIDE, |i| terminal[i], link).solve(), SIDE, &terminal, &link);
            let banded = energy(&GridCut::banded(SIDE, SIDE, |i| terminal[i], link), SIDE, &terminal, &link);
            assert!(banded >= least && banded as f64 <= 1.05 * least as f64, "seed {seed}: {banded}, the least is {least}");
        }
    }
}
