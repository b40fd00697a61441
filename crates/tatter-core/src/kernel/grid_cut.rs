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

/// A grid of nodes, each tied to the source (positive) or the sink (negative) and to its neighbours.
#[derive(Debug)]
pub struct GridCut {
    width: usize,
    height: usize,
    links: Vec<[i32; 8]>,
    terminal: Vec<i64>,
    tree: Vec<Tree>,
    parent: Vec<u8>,
    stamp: Vec<u32>,
    depth: Vec<u32>,
    active: VecDeque<u32>,
    queued: Vec<bool>,
    orphans: VecDeque<u32>,
    time: u32,
}

impl GridCut {
    /// Steps to the neighbours; the opposite of step `d` is `d ^ 1`.
    pub const STEPS: [(isize, isize); 8] = STEPS;

    /// `terminal(i)`: how much node `i` (row order) wants to be inside, negative for outside. `link(i, d)`: what it costs to
    /// part node `i` from its neighbour in step `d`; asked for even `d` only, and used both ways.
    pub fn new(width: usize, height: usize, terminal: impl Fn(usize) -> i32, link: impl Fn(usize, usize) -> i32) -> Self {
        let count = width * height;
        let mut cut = Self {
            width,
            height,
            links: vec![[0; 8]; count],
            terminal: (0..count).map(|i| i64::from(terminal(i))).collect(),
            tree: vec![Tree::Free; count],
            parent: vec![NONE; count],
            stamp: vec![0; count],
            depth: vec![0; count],
            active: VecDeque::new(),
            queued: vec![false; count],
            orphans: VecDeque::new(),
            time: 0,
        };
        for i in 0..count {
            for d in (0..8).step_by(2) {
                if let Some(j) = cut.neighbour(i, d) {
                    let weight = link(i, d).max(0);
                    cut.links[i][d] = weight;
                    cut.links[j][d ^ 1] = weight;
                }
            }
        }
        cut
    }

    #[inline]
    fn neighbour(&self, i: usize, d: usize) -> Option<usize> {
        let (dx, dy) = STEPS[d];
        let (x, y) = ((i % self.width).wrapping_add_signed(dx), (i / self.width).wrapping_add_signed(dy));
        (x < self.width && y < self.height).then(|| y * self.width + x)
    }

    /// The minimum cut: true for nodes on the source's side.
    pub fn solve(mut self) -> Vec<bool> {
        for i in 0..self.terminal.len() {
            if self.terminal[i] != 0 {
                self.tree[i] = if self.terminal[i] > 0 { Tree::Source } else { Tree::Sink };
                self.parent[i] = TERMINAL;
                self.depth[i] = 1;
                self.activate(i);
            }
        }
        while let Some(&at) = self.active.front() {
            let i = at as usize;
            let meeting = if self.tree[i] == Tree::Free { None } else { self.grow(i) };
            if let Some((from, d)) = meeting {
                self.time += 1;
                self.augment(from, d);
                while let Some(orphan) = self.orphans.pop_front() {
                    self.adopt(orphan as usize);
                }
            } else {
                self.active.pop_front();
                self.queued[i] = false;
            }
        }
        self.tree.iter().map(|tree| *tree == Tree::Source).collect()
    }

    fn activate(&mut self, i: usize) {
        if !self.queued[i] {
            self.queued[i] = true;
            self.active.push_back(i as u32);
        }
    }

    /// Residual from `i` outwards in its tree's sense: from parent side to child side.
    #[inline]
    fn residual(&self, tree: Tree, i: usize, d: usize, j: usize) -> i32 {
        if tree == Tree::Source { self.links[i][d] } else { self.links[j][d ^ 1] }
    }

    /// Take free neighbours into the tree of `i`; the link where it meets the other tree, from the source's side.
    fn grow(&mut self, i: usize) -> Option<(usize, usize)> {
        let tree = self.tree[i];
        for d in 0..8 {
            let Some(j) = self.neighbour(i, d) else { continue };
            if self.residual(tree, i, d, j) <= 0 {
                continue;
            }
            if self.tree[j] == Tree::Free {
                self.tree[j] = tree;
                self.parent[j] = (d ^ 1) as u8;
                self.stamp[j] = self.stamp[i];
                self.depth[j] = self.depth[i] + 1;
                self.activate(j);
            } else if self.tree[j] != tree {
                return Some(if tree == Tree::Source { (i, d) } else { (j, d ^ 1) });
            }
        }
        None
    }

    fn augment(&mut self, from: usize, d: usize) {
        let Some(to) = self.neighbour(from, d) else { return };
        let room =
            i64::from(self.links[from][d]).min(self.room_to_root(from, Tree::Source)).min(self.room_to_root(to, Tree::Sink));
        let step = room as i32;
        self.links[from][d] -= step;
        self.links[to][d ^ 1] += step;
        self.push_to_root(from, Tree::Source, step);
        self.push_to_root(to, Tree::Sink, step);
    }

    fn room_to_root(&self, mut i: usize, tree: Tree) -> i64 {
        let mut room = i64::MAX;
        while self.parent[i] < TERMINAL {
            let d = usize::from(self.parent[i]);
            let Some(up) = self.neighbour(i, d) else { break };
            room = room.min(i64::from(self.residual(tree, up, d ^ 1, i)));
            i = up;
        }
        room.min(self.terminal[i].abs())
    }

    fn push_to_root(&mut self, mut i: usize, tree: Tree, step: i32) {
        while self.parent[i] < TERMINAL {
            let d = usize::from(self.parent[i]);
            let Some(up) = self.neighbour(i, d) else { break };
            let sign = if tree == Tree::Source { step } else { -step };
            self.links[up][d ^ 1] -= sign;
            self.links[i][d] += sign;
            if self.residual(tree, up, d ^ 1, i) == 0 {
                self.parent[i] = ORPHAN;
                self.orphans.push_front(i as u32);
            }
            i = up;
        }
        self.terminal[i] -= if tree == Tree::Source { i64::from(step) } else { -i64::from(step) };
        if self.terminal[i] == 0 {
            self.parent[i] = ORPHAN;
            self.orphans.push_front(i as u32);
        }
    }

    /// How deep below a terminal `i` hangs, or `None` when its root is lost.
    fn rooted(&mut self, start: usize) -> Option<u32> {
        let (mut i, mut walked) = (start, 0u32);
        let depth = loop {
            if self.stamp[i] == self.time && self.parent[i] < ORPHAN {
                break walked + self.depth[i];
            }
            walked += 1;
            match self.parent[i] {
                TERMINAL => {
                    self.stamp[i] = self.time;
                    self.depth[i] = 1;
                    break walked;
                }
                ORPHAN | NONE => return None,
                d => i = self.neighbour(i, usize::from(d))?,
            }
        };
        let (mut i, mut left) = (start, depth);
        while self.stamp[i] != self.time {
            self.stamp[i] = self.time;
            self.depth[i] = left;
            left -= 1;
            i = self.neighbour(i, usize::from(self.parent[i]))?;
        }
        Some(depth)
    }

    fn adopt(&mut self, i: usize) {
        let tree = self.tree[i];
        let mut best: Option<(u32, usize)> = None;
        for d in 0..8 {
            let Some(j) = self.neighbour(i, d) else { continue };
            if self.tree[j] == tree
                && self.residual(tree, j, d ^ 1, i) > 0
                && let Some(depth) = self.rooted(j)
                && best.is_none_or(|(least, _)| depth < least)
            {
                best = Some((depth, d));
            }
        }
        if let Some((depth, d)) = best {
            self.parent[i] = d as u8;
            self.stamp[i] = self.time;
            self.depth[i] = depth + 1;
            return;
        }
        for d in 0..8 {
            let Some(j) = self.neighbour(i, d) else { continue };
            if self.tree[j] != tree {
                continue;
            }
            if self.residual(tree, j, d ^ 1, i) > 0 {
                self.activate(j);
            }
            if usize::from(self.parent[j]) == d ^ 1 {
                self.parent[j] = ORPHAN;
                self.orphans.push_back(j as u32);
            }
        }
        self.tree[i] = Tree::Free;
        self.parent[i] = NONE;
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
}
