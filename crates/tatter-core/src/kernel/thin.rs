//! Skeletons (Zhang, Suen, "A Fast Parallel Algorithm for Thinning Digital Patterns", 1984).

use crate::image::Image;

/// One-texel-wide lines through the middle of what is `true`, connected as it was. Cost: one pass a texel of thickness.
#[must_use]
pub fn thin(mask: &Image<bool>) -> Image<bool> {
    let (width, height) = (mask.width(), mask.height());
    let mut out = mask.clone();
    let mut alive: Vec<usize> = (0..width * height).filter(|&i| mask.texels()[i]).collect();
    loop {
        let before = alive.len();
        for even in [true, false] {
            let doomed: Vec<usize> = alive.iter().copied().filter(|&i| goes(&out, i % width, i / width, even)).collect();
            for &i in &doomed {
                out.texels_mut()[i] = false;
            }
            alive.retain(|&i| out.texels()[i]);
        }
        if alive.len() == before {
            return out;
        }
    }
}

/// The eight neighbours clockwise from above; outside the image is empty.
pub(super) fn neighbours(mask: &Image<bool>, x: usize, y: usize) -> [bool; 8] {
    let at = |dx: isize, dy: isize| {
        let (nx, ny) = (x as isize + dx, y as isize + dy);
        nx >= 0 && ny >= 0 && nx < mask.width() as isize && ny < mask.height() as isize && mask.get(nx as usize, ny as usize)
    };
    [at(0, -1), at(1, -1), at(1, 0), at(1, 1), at(0, 1), at(-1, 1), at(-1, 0), at(-1, -1)]
}

fn goes(mask: &Image<bool>, x: usize, y: usize, even: bool) -> bool {
    let n = neighbours(mask, x, y);
    let count = n.iter().filter(|&&set| set).count();
    let rises = (0..8).filter(|&i| !n[i] && n[(i + 1) % 8]).count();
    let [north, east, south, west] = [n[0], n[2], n[4], n[6]];
    let side = if even { (east && south) && (north || west) } else { (north && west) && (east || south) };
    (2..=6).contains(&count) && rises == 1 && !side
}

/// Texels of a skeleton where a line ends: one neighbour.
#[must_use]
pub fn line_ends(skeleton: &Image<bool>) -> Vec<[usize; 2]> {
    let mut ends = Vec::new();
    for y in 0..skeleton.height() {
        for x in 0..skeleton.width() {
            if skeleton.get(x, y) && neighbours(skeleton, x, y).iter().filter(|&&set| set).count() == 1 {
                ends.push([x, y]);
            }
        }
    }
    ends
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bar_becomes_a_line_with_two_ends_and_stays_one() {
        let bar = Image::from_fn(60, 30, |x, y| (5..55).contains(&x) && (10..17).contains(&y));
        let line = thin(&bar);
        let count = line.texels().iter().filter(|&&set| set).count();
        assert!((38..=50).contains(&count), "a line of about the bar's length, got {count} texels");
        assert_eq!(line_ends(&line).len(), 2, "a line has two ends");
        assert_eq!(thin(&line), line, "thinning again changes nothing");
    }

    #[test]
    fn a_ring_keeps_its_hole() {
        let ring = Image::from_fn(41, 41, |x, y| (8.0..14.0).contains(&(x as f32 - 20.0).hypot(y as f32 - 20.0)));
        let line = thin(&ring);
        assert!(line_ends(&line).is_empty(), "a ring has no end");
        assert!(!line.get(20, 20), "and its middle stays empty");
    }
}
