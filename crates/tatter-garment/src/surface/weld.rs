//! Which faces touch: corners at one place are one corner, whatever their UV or part.

use std::collections::BTreeMap;

use glam::DVec3;
use rayon::prelude::*;

use super::Face;

/// Edges with the faces on them, sorted, so that neighbours come in a fixed order.
#[derive(Clone, Debug)]
pub(super) struct Edges {
    /// Welded corner numbers of each face.
    corners: Vec<[u32; 3]>,
    /// Lower corner, higher corner, face.
    list: Vec<(u32, u32, u32)>,
    /// Where in the list the faces on each edge of a face begin.
    starts: Vec<[u32; 3]>,
}

impl Edges {
    pub(super) fn new(faces: &[Face]) -> Self {
        let corners = weld(faces);
        let mut list: Vec<(u32, u32, u32)> = Vec::with_capacity(3 * faces.len());
        for (face, c) in corners.iter().enumerate() {
            for k in 0..3 {
                let (a, b) = (c[k], c[(k + 1) % 3]);
                if a != b {
                    list.push((a.min(b), a.max(b), face as u32));
                }
            }
        }
        list.par_sort_unstable();
        let mut starts = vec![[list.len() as u32; 3]; faces.len()];
        let mut start = 0;
        for (at, &(low, high, face)) in list.iter().enumerate() {
            if (list[start].0, list[start].1) != (low, high) {
                start = at;
            }
            let c = corners[face as usize];
            for k in 0..3 {
                let (a, b) = (c[k], c[(k + 1) % 3]);
                if (a.min(b), a.max(b)) == (low, high) {
                    starts[face as usize][k] = start as u32;
                }
            }
        }
        Self { corners, list, starts }
    }

    pub(super) fn corners(&self, face: usize) -> [u32; 3] {
        self.corners[face]
    }

    /// For each face the lowest corner of all that hang together with it (union-find with halved paths: Tarjan, van Leeuwen,
    /// "Worst-case Analysis of Set Union Algorithms", 1984).
    pub(super) fn pieces(&self) -> Vec<u32> {
        let count = self.corners.iter().flatten().max().map_or(0, |most| *most as usize + 1);
        let mut parent: Vec<u32> = (0..count as u32).collect();
        fn root(parent: &mut [u32], mut corner: u32) -> u32 {
            while parent[corner as usize] != corner {
                parent[corner as usize] = parent[parent[corner as usize] as usize];
                corner = parent[corner as usize];
            }
            corner
        }
        for [a, b, c] in &self.corners {
            for other in [b, c] {
                let (one, other) = (root(&mut parent, *a), root(&mut parent, *other));
                parent[one.max(other) as usize] = one.min(other);
            }
        }
        self.corners.iter().map(|corners| root(&mut parent, corners[0])).collect()
    }

    pub(super) fn across(&self, face: usize, corner: usize) -> impl Iterator<Item = usize> + '_ {
        let c = self.corners[face];
        let (a, b) = (c[corner], c[(corner + 1) % 3]);
        let (low, high) = (a.min(b), a.max(b));
        let run = self.list[self.starts[face][corner] as usize..].iter().take_while(move |&&(l, h, _)| (l, h) == (low, high));
        run.map(|&(_, _, other)| other as usize).filter(move |&other| other != face)
    }
}

/// Corners nearer than two millionths of the garment's diagonal are one: above `f32` rounding, far below a thread.
fn weld(faces: &[Face]) -> Vec<[u32; 3]> {
    let all = || faces.iter().flat_map(|f| f.corners);
    let (low, high) = all().fold((DVec3::MAX, DVec3::MIN), |(low, high), p| (low.min(p), high.max(p)));
    let reach = ((high - low).length() * 2e-6).max(1e-9);
    let cell_of = |p: DVec3| ((p - low) / (4.0 * reach)).floor().as_i64vec3();
    let mut cells: BTreeMap<[i64; 3], Vec<u32>> = BTreeMap::new();
    let mut places: Vec<DVec3> = Vec::new();
    let mut number = |p: DVec3| {
        let (first, last) = (cell_of(p - reach), cell_of(p + reach));
        for x in first.x..=last.x {
            for y in first.y..=last.y {
                for z in first.z..=last.z {
                    let near = cells.get(&[x, y, z]).into_iter().flatten();
                    if let Some(&same) = near.into_iter().find(|&&i| places[i as usize].distance_squared(p) <= reach * reach) {
                        return same;
                    }
                }
            }
        }
        let new = places.len() as u32;
        places.push(p);
        cells.entry(cell_of(p).to_array()).or_default().push(new);
        new
    };
    // Most corners lie where one lay before, to the bit: only the first of each is looked for.
    let place = |i: u32| faces[i as usize / 3].corners[i as usize % 3];
    let mut order: Vec<([u64; 3], u32)> =
        (0..3 * faces.len() as u32).into_par_iter().map(|i| (place(i).to_array().map(f64::to_bits), i)).collect();
    order.par_sort_unstable();
    let mut firsts = vec![0u32; order.len()];
    for alike in order.chunk_by(|(a, _), (b, _)| a == b) {
        alike.iter().for_each(|&(_, i)| firsts[i as usize] = alike[0].1);
    }
    let mut numbers: Vec<u32> = Vec::with_capacity(firsts.len());
    for (i, &first) in (0u32..).zip(&firsts) {
        let known = numbers.get(first as usize).copied();
        numbers.push(known.unwrap_or_else(|| number(place(i))));
    }
    numbers.as_chunks::<3>().0.to_vec()
}
