//! Plain jersey: one yarn after the other laid in courses of loops, each drawn through the loops of the course below.
//!
//! Wales stand in for ends and courses for picks. The middle line is that of the usual parametric loop: a cosine up the cloth,
//! a drift along it that makes heads wider than necks, and legs in front of heads and feet. Loop length by Munden, "The
//! geometry and dimensional properties of plain-knit fabrics" (1959): courses × wales = 19 / length² (dry relaxed, from
//! memory); tightest cloth by Peirce (1947), who has wales 4 and courses 3.46 yarn diameters apart, less a quarter for yarns
//! that give way.

use tatter_core::rng::Rng;

use crate::cloth::{Cloth, ClothError};
use crate::damage::{Kind, Loose, Wound, fuzz, mark, rotated, tuft, unit, wear_loose};
use crate::geometry::{Geometry, Strand, grams_per_m2, pressed};
use crate::layer::Layer;
use crate::loom::WEFT;
use crate::maths::{bisect, length, sin_cos_turns, smoothstep};
use crate::noise::{line, normal, pick, plane};
use crate::raster::{Node, Style, Tile};

/// Munden's constant for loops per area.
const LOOPS: f32 = 19.0;
/// Least distance of wales and of courses, in yarn diameters.
const TIGHTEST: [f32; 2] = [3.0, 2.6];
/// How far a loop leans out: 0.79 has straight legs, more has heads wider than necks.
const LEAN: f32 = 1.12;
/// Nodes of one loop.
const STEPS: i32 = 36;

/// Geometry of jersey: wales as `warp`, courses as `weft`, which alone has yarn.
pub(crate) fn solve_knit(cloth: &Cloth) -> Result<Geometry, ClothError> {
    let (wales, courses) = (cloth.ends_per_cm.get(), cloth.picks_per_cm.get());
    let diameter = cloth.weft.diameter().get();
    let spacing = [10.0 / wales, 10.0 / courses];
    let least = TIGHTEST.map(|t| t * diameter);
    let tightness = (least[0] / spacing[0]).max(least[1] / spacing[1]);
    if tightness > 1.0 {
        let most = |f: usize| (100.0 / least[f]).floor() / 10.0;
        return Err(ClothError::Jammed { ends: wales, picks: courses, tightness, most_ends: most(0), most_picks: most(1) });
    }
    let loop_mm = 10.0 * (LOOPS / (wales * courses)).sqrt();
    let [breadth, thickness] = pressed(diameter, cloth.flattening.max(0.8));
    let strand = |pitch: f32, per_cm: f32| Strand {
        diameter,
        breadth,
        thickness,
        pitch,
        crimp_height: 1.2 * thickness,
        weave_angle: 0.0,
        crimp: loop_mm / spacing[0] - 1.0,
        cover_factor: per_cm * 2.54 / cloth.weft.count.ne().sqrt(),
    };
    let (warp, weft) = (strand(spacing[0], wales), strand(spacing[1], courses));
    // Loops cover their cell but for the overlaps: four crossings, oblique and nested, hide as much as 5.5 square ones
    // (measured on drawn jersey).
    let covered = (loop_mm * breadth - 5.5 * breadth * breadth) / (spacing[0] * spacing[1]);
    Ok(Geometry {
        thickness: 2.2 * thickness,
        sum_of_thickness: 2.0 * thickness,
        grams_per_m2: grams_per_m2([0.0, courses], [0.0, weft.crimp], [0.0, cloth.weft.tex()]),
        cover_factor: weft.cover_factor,
        open_area: (1.0 - covered).max(0.0),
        tightness,
        warp,
        weft,
    })
}

impl Layer {
    /// A place on a course, in loops: heads lie at whole numbers.
    pub(crate) fn stitch(&self, course: i32, at: f32) -> Node {
        let threads = &self.loom.threads[WEFT];
        let wale = at.floor() as i32;
        let t = at - wale as f32;
        let (a, b) = (self.crossing(wale, course), self.crossing(wale + 1, course));
        let w = self.loom.threads[0].pitch;
        let near = if t < 0.5 { wale } else { wale + 1 };
        let seed = self.loom.thread_seed(WEFT) ^ 0x1009;
        let i = (near.rem_euclid(self.loom.threads[0].period), course.rem_euclid(threads.period));
        let own = 1.0 + 0.05 * self.loom.cloth.unevenness * normal(seed, i.0, i.1);
        let dropped = self.dropped(near, course);
        // A foot belongs to two loops, so the height changes between heads only where it is least seen.
        let tall = self.loop_height * own * (1.0 - 0.85 * dropped);
        let (s2, c2) = sin_cos_turns(2.0 * t);
        let lean = w / std::f32::consts::TAU * LEAN * s2 * (1.0 - dropped);
        let place = [
            a.place[0] + (b.place[0] - a.place[0]) * t + lean,
            a.place[1] + (b.place[1] - a.place[1]) * t - tall * sin_cos_turns(t).1,
        ];
        let along = at * self.loop_mm();
        let stout = self.loom.stout(WEFT, course, at * w);
        let mut node = Node {
            place,
            z: -threads.lift * c2 + a.lift,
            half: [threads.half[0] * stout, threads.half[1] * stout],
            along,
            shade: self.loom.shade(WEFT, course, at * w),
            bare: 0.0,
            char: 0.0,
        };
        if !self.wounds.is_empty() {
            mark(&self.wounds, place, threads.half[1], &mut node);
            node.z += a.raised + (b.raised - a.raised) * t;
            self.slacken(place, &mut node);
        }
        node
    }

    /// What opened the cloth, pieces sewn over it aside.
    fn openings(&self) -> impl Iterator<Item = &Wound> {
        self.wounds.iter().filter(|wound| opens(wound.damage.kind) && !wound.is_piece())
    }

    /// Loops at the rim of a hole are held on one side only: they lean, shrink and lie over each other.
    fn slacken(&self, place: [f32; 2], node: &mut Node) {
        let [w, c] = [self.loom.threads[0].pitch, self.loom.threads[1].pitch];
        for wound in self.openings() {
            let free = smoothstep(-2.2 * c, 0.0, wound.depth(place)) * (0.5 + 0.5 * wound.damage.age);
            if free > 0.0 {
                let own = |stream: u64, wide: f32| {
                    plane(wound.seed ^ (stream << 8), [place[0] / (wide * w), place[1] / (wide * c)], [1 << 20, 1 << 20])
                };
                node.place[0] += free * w * (0.42 * own(71, 1.3) + 0.5 * own(72, 4.0));
                node.place[1] += free * c * (0.5 * own(73, 1.3) + 0.6 * own(74, 4.0));
                node.z += free * node.half[1] * (1.6 * own(75, 1.5));
            }
        }
    }

    fn loop_mm(&self) -> f32 {
        (1.0 + self.crimp[WEFT]) * self.loom.threads[0].pitch
    }

    /// How far a stitch has run, 0..1: above and below a hole some wales lose their loops and leave a ladder.
    fn dropped(&self, wale: i32, course: i32) -> f32 {
        let [w, c] = [self.loom.threads[0].pitch, self.loom.threads[1].pitch];
        let mut most = 0.0f32;
        for wound in self.openings().filter(|w| !matches!(w.damage.kind, Kind::Hem | Kind::Scrap)) {
            let [cx, cy] = wound.middle();
            let (x, y) = ((wale as f32 + 0.5) * w, (course as f32 + 0.5) * c);
            if (x - cx).abs() > 0.42 * wound.damage.length || wound.damage.age <= 0.0 {
                continue;
            }
            let side = i32::from(y > cy);
            if pick(wound.seed ^ 0x1ADD, wale, side) < 0.45 * wound.damage.age {
                let half = if matches!(wound.damage.kind, Kind::Rip | Kind::WornThrough) {
                    0.5 * wound.damage.width
                } else {
                    0.5 * wound.damage.length
                };
                let run = half + wound.damage.age * (3.0 + 14.0 * pick(wound.seed ^ 0x1ADE, wale, side));
                most = most.max(1.0 - smoothstep(run - 2.0 * c, run, (y - cy).abs()));
            }
        }
        most
    }

    /// Whether the yarn is gone at a place.
    fn unraveled(&self, course: i32, place: [f32; 2]) -> bool {
        self.wounds.iter().any(|wound| {
            let ragged = 0.3 * self.loom.threads[WEFT].pitch * normal(wound.seed ^ 0x0F, course, 1);
            if wound.is_piece() {
                wound.depth(place) < 0.0
            } else {
                opens(wound.damage.kind) && wound.depth(place) + ragged > 0.0
            }
        })
    }

    /// Draw the courses that a tile shows.
    pub(crate) fn courses(&self, tile: &mut Tile<'_>) {
        let grid = *tile.grid();
        let moved = self.wounds.iter().fold(0.0f32, |r, w| w.greatest_shift().max(r));
        let margin = 2.0 * self.loom.threads[WEFT].pitch + 2.0 * self.loom.threads[WEFT].half[0] + moved;
        let [first, last] = self.range(grid.bounds(), margin);
        let mut nodes = Vec::new();
        for course in first[1]..=last[1] {
            for step in first[0] * STEPS..=last[0] * STEPS {
                let node = self.stitch(course, step as f32 / STEPS as f32);
                if self.wounds.is_empty() || !self.unraveled(course, node.place) {
                    nodes.push(node);
                } else if !nodes.is_empty() {
                    tile.yarn(self.yarn(WEFT, course), &nodes);
                    nodes.clear();
                }
            }
            tile.yarn(self.yarn(WEFT, course), &nodes);
            nodes.clear();
        }
    }

    /// Tufts where the yarn of a course ends.
    pub(crate) fn frayed_courses(&self, bounds: [f32; 4], styles: &[Style], loose: &mut Loose) {
        let [first, last] = self.range(bounds, 0.0);
        let diameter = 2.0 * self.loom.threads[WEFT].half[0];
        for course in first[1]..=last[1] {
            let at = |step: i32| self.stitch(course, step as f32 / STEPS as f32);
            let mut here = self.unraveled(course, at(first[0] * STEPS).place);
            for step in first[0] * STEPS + 1..=last[0] * STEPS {
                let next = self.unraveled(course, at(step).place);
                if next != here {
                    let nodes: Vec<Node> = if next {
                        (1..9).rev().map(|k| at(step - k)).collect()
                    } else {
                        (0..8).rev().map(|k| at(step + k)).collect()
                    };
                    if nodes.iter().all(|n| n.char < 0.4) {
                        let mut rng = Rng::new(self.loom.thread_seed(WEFT) ^ ((course as u64) << 32) ^ step as u64);
                        let nodes = self.unravel(course, &nodes, &mut rng, styles, loose).unwrap_or(nodes);
                        tuft(self, styles, WEFT, &nodes, diameter, &mut rng, loose);
                    }
                }
                here = next;
            }
        }
    }

    /// The broken end of a course, drawn out of its loops: it keeps the swing of the loops it lay in, slackened, and curls. Gives
    /// the nodes whose last is its tip; `None` where the end is too short to hang.
    fn unravel(&self, course: i32, held: &[Node], rng: &mut Rng, styles: &[Style], loose: &mut Loose) -> Option<Vec<Node>> {
        let [.., before, root] = *held else { return None };
        let wound = self.openings().max_by(|a, b| a.depth(root.place).total_cmp(&b.depth(root.place)))?;
        let age = wound.damage.age;
        // Bitten and burnt yarn lost its length; torn yarn hangs by what its loops held.
        let (share, most) = match wound.damage.kind {
            Kind::Burn | Kind::Darn => return None,
            Kind::MothHole => (0.30 + 0.35 * age, 1.6),
            _ => (0.45 + 0.45 * age, 3.2),
        };
        if rng.unit() > share {
            return None;
        }
        let loop_mm = self.loop_mm();
        let reach = loop_mm * most * (0.25 + 0.75 * age) * (0.2 + 0.8 * rng.unit() * rng.unit());
        let step = loop_mm / 14.0;
        let start = unit([root.place[0] - before.place[0], root.place[1] - before.place[1]]);
        let (swing, drift) = (rng.range(0.7, 1.5), 0.5 * rng.normal() / loop_mm);
        let (rate, first) = (rng.range(0.8, 1.25) / loop_mm, rng.unit());
        let rise = self.loom.threads[WEFT].half[1] * rng.range(-1.0, 3.0);
        let seed = self.loom.thread_seed(WEFT) ^ 0x0A7E ^ ((course as u64) << 20) ^ u64::from(root.along.to_bits());
        let way = if root.along < before.along { -1.0 } else { 1.0 };
        let mut nodes = held.to_vec();
        let (mut at, round) = (root.place, (root.half[0] * root.half[1]).sqrt());
        let count = (reach / step).ceil() as i32;
        for m in 1..=count {
            let s = m as f32 * step;
            let go = smoothstep(0.0, 0.5 * loop_mm, s);
            let uneven = 1.0 + 0.7 * line(seed, 2.3 * s / loop_mm, 1 << 20);
            let angle = swing * uneven * (sin_cos_turns(first + rate * s).0 - sin_cos_turns(first).0)
                + drift * s
                + 0.5 * line(seed ^ 1, 0.9 * s / loop_mm, 1 << 20) * go;
            let heading = rotated(start, angle);
            at = [at[0] + step * heading[0], at[1] + step * heading[1]];
            let mut node = Node { place: at, z: root.z + rise * go, along: root.along + way * s, ..root };
            let thin = 0.35 + 0.65 * smoothstep(0.0, 2.5 * round, reach - s);
            node.half = [0, 1].map(|k: usize| (root.half[k] + (round - root.half[k]) * go) * thin);
            wear_loose(&self.wounds, &mut node, go * 0.6);
            nodes.push(node);
        }
        fuzz(self, styles, WEFT, &nodes[held.len() - 1..], seed, loose);
        loose.yarn(self.yarn(WEFT, course), nodes.clone());
        Some(nodes)
    }

    /// A place on a course and the way the yarn runs there.
    pub(crate) fn stitch_and_heading(&self, course: i32, at: f32) -> (Node, [f32; 2]) {
        let (a, b) = (self.stitch(course, at), self.stitch(course, at + 0.02));
        let (dx, dy) = (b.place[0] - a.place[0], b.place[1] - a.place[1]);
        let run = length(dx, dy).max(1e-6);
        (a, [dx / run, dy / run])
    }

    /// Whether hair may grow there.
    pub(crate) fn knitted_at(&self, course: i32, place: [f32; 2]) -> bool {
        self.wounds.is_empty() || !self.unraveled(course, place)
    }
}

/// Half the height of a loop, so that its yarn is as long as it should be: wales `w` apart, legs and heads `lift` before and
/// behind the mid plane, yarn of `loop_mm` in a loop.
pub(crate) fn loop_height(w: f32, lift: f32, loop_mm: f32) -> f32 {
    let long = |tall: f64| f64::from(drawn_length(w, lift, tall as f32));
    bisect(0.0, f64::from(loop_mm), f64::from(loop_mm), long) as f32
}

/// Length of the middle line of one loop.
fn drawn_length(w: f32, lift: f32, tall: f32) -> f32 {
    let at = |n: i32| {
        let t = n as f32 / 200.0;
        let (s2, c2) = sin_cos_turns(2.0 * t);
        [w * t + w / std::f32::consts::TAU * LEAN * s2, tall * sin_cos_turns(t).1, -lift * c2]
    };
    (0..200).map(|n| (at(n), at(n + 1))).map(|(a, b)| length(length(a[0] - b[0], a[1] - b[1]), a[2] - b[2])).sum()
}

/// Kinds that make a hole in knitted cloth.
const fn opens(kind: Kind) -> bool {
    !matches!(kind, Kind::Abrasion | Kind::Patch | Kind::Snag | Kind::Stain)
}

/// Kinds that jersey cannot show.
pub(crate) fn unfit(wounds: &[Wound]) -> Option<Kind> {
    wounds.iter().map(|w| w.damage.kind).find(|kind| *kind == Kind::Snag)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stock;

    #[test]
    fn loops_are_as_long_as_published() {
        // Peirce (1947): yarn of diameter 1, wales 4 and courses 3.46 apart, loops of 16.66. Munden's constant 19 for the same
        // spacing gives 16.2. Both from memory; they are to agree within 4 %.
        let munden = (LOOPS * 4.0 * 3.46f32).sqrt();
        assert!((munden / 16.66 - 1.0).abs() < 0.04, "Munden {munden}, Peirce 16.66");
        let tall = loop_height(4.0, 0.6, munden);
        assert!((drawn_length(4.0, 0.6, tall) / munden - 1.0).abs() < 1e-3, "drawn as long as solved");
        // A head reaches through the loop above by at least a yarn, and not to the next but one.
        assert!(2.0 * tall - 3.46 > 1.0 && 2.0 * tall - 3.46 < 3.46 + 1.0, "height {tall}");
    }

    #[test]
    fn jersey_weighs_what_it_should_and_jams() {
        // T-shirt jersey of Ne 30: 130 to 160 g/m² (common practice, no source).
        let cloth = stock("jersey").unwrap();
        let geometry = solve_knit(&cloth).unwrap();
        assert!((125.0..165.0).contains(&geometry.grams_per_m2), "{} g/m²", geometry.grams_per_m2);
        let mut tight = cloth;
        tight.ends_per_cm.0 = 40.0;
        let Err(ClothError::Jammed { most_ends, .. }) = solve_knit(&tight) else { unreachable!("40 wales jam") };
        tight.ends_per_cm.0 = most_ends;
        assert!(solve_knit(&tight).is_ok(), "the limit named, {most_ends} wales, can be knitted");
    }
}
