//! How the surface uses the texture: how much of it, and how much of that more than once.

use glam::Vec2;

use super::Part;

/// Cells along one UV unit in which use is counted: 1024 finds a shared collar, and costs a megabyte.
const CELLS: i64 = 1024;

/// A triangle wider than this many UV units is not counted cell by cell: it tiles.
const WIDEST: f32 = 4.0;

/// How the surface uses the texture, all UV tiles laid over each other.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct UvUse {
    /// Share of the texture that some triangle uses, 0..1.
    pub used: f32,
    /// Share of the used texture that two or more triangles use, 0..1.
    pub shared: f32,
    /// Smallest texture coordinates.
    pub low: Vec2,
    /// Largest texture coordinates.
    pub high: Vec2,
    /// Triangles so wide in the texture that they were not counted.
    pub wide_triangles: usize,
}

/// Counted on cell centres; a centre on a common edge belongs to one side only, so neighbours share nothing.
///
/// Memory: one byte for each of 1024 × 1024 cells.
pub fn uv_use(parts: &[&Part]) -> UvUse {
    let mut count = vec![0_u8; (CELLS * CELLS) as usize];
    let mut result = UvUse { low: Vec2::INFINITY, high: Vec2::NEG_INFINITY, ..UvUse::default() };
    for part in parts {
        for t in 0..part.triangles.len() {
            let uvs = part.corner_uvs(t);
            let low = uvs[0].min(uvs[1]).min(uvs[2]);
            let high = uvs[0].max(uvs[1]).max(uvs[2]);
            result.low = result.low.min(low);
            result.high = result.high.max(high);
            if (high - low).max_element() > WIDEST {
                result.wide_triangles += 1;
            } else {
                fill(&mut count, uvs);
            }
        }
    }
    let used = count.iter().filter(|&&n| n > 0).count();
    let shared = count.iter().filter(|&&n| n > 1).count();
    result.used = used as f32 / count.len() as f32;
    result.shared = if used == 0 { 0.0 } else { shared as f32 / used as f32 };
    if result.low.x > result.high.x {
        (result.low, result.high) = (Vec2::ZERO, Vec2::ZERO);
    }
    result
}

/// Add one to every cell whose centre lies in the triangle.
fn fill(count: &mut [u8], uvs: [Vec2; 3]) {
    let p = uvs.map(|uv| [f64::from(uv.x) * CELLS as f64, f64::from(uv.y) * CELLS as f64]);
    let (top, bottom) = (p[0][1].min(p[1][1]).min(p[2][1]), p[0][1].max(p[1][1]).max(p[2][1]));
    for y in (top - 0.5).ceil() as i64..(bottom - 0.5).ceil() as i64 {
        let line = y as f64 + 0.5;
        let (mut left, mut right) = (f64::INFINITY, f64::NEG_INFINITY);
        for i in 0..3 {
            // The lower end first, so that two triangles cut their common edge at the same place.
            let (from, to) = (p[i], p[(i + 1) % 3]);
            let (a, b) = if from[1] <= to[1] { (from, to) } else { (to, from) };
            if a[1] <= line && line < b[1] {
                let x = a[0] + (line - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
                left = left.min(x);
                right = right.max(x);
            }
        }
        if left < right {
            let row = y.rem_euclid(CELLS) * CELLS;
            for x in (left - 0.5).ceil() as i64..(right - 0.5).ceil() as i64 {
                let cell = &mut count[(row + x.rem_euclid(CELLS)) as usize];
                *cell = cell.saturating_add(1);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use glam::Vec3;

    use super::*;

    fn squares(at: &[[f32; 2]]) -> Part {
        let mut part = Part::default();
        for (n, &[u, v]) in at.iter().enumerate() {
            let first = part.positions.len() as u32;
            let side = 0.5;
            part.positions.extend([Vec3::ZERO, Vec3::X, Vec3::ONE, Vec3::Y].map(|p| p + Vec3::Z * n as f32));
            part.uvs.extend([[u, v], [u + side, v], [u + side, v + side], [u, v + side]].map(Vec2::from));
            part.triangles.extend([[first, first + 1, first + 2], [first, first + 2, first + 3]]);
        }
        part
    }

    #[test]
    fn a_square_of_half_side_uses_a_quarter_and_shares_nothing() {
        let part = squares(&[[0.1, 0.2]]);
        let found = uv_use(&[&part]);
        assert!((found.used - 0.25).abs() < 2e-3, "a quarter: {}", found.used);
        assert_eq!(found.shared, 0.0, "the diagonal belongs to one side only");
    }

    #[test]
    fn tiles_lie_over_each_other() {
        // Exactly one tile apart: in the texture they are the same place. Half a side apart: half is shared.
        let same = squares(&[[0.25, 0.25], [1.25, 0.25]]);
        assert_eq!(uv_use(&[&same]).shared, 1.0, "one tile to the right is the same texture");
        let half = squares(&[[0.0, 0.0], [0.25, 0.0]]);
        let shared = uv_use(&[&half]).shared;
        assert!((shared - 1.0 / 3.0).abs() < 1e-3, "0.25 of 0.75 used: {shared}");
    }
}
