//! The yarns of a scene as chains of nodes: woven, cut, frayed, with loose fibres on top.

use tatter_core::rng::{Rng, value_noise};

use super::SceneSpec;
use super::injury::{Family, Frame, Injury};

/// A point on the centre line of a yarn or fibre.
#[derive(Clone, Copy, Debug)]
pub(super) struct Node {
    /// Photo plane, mm from the centre, y up.
    pub(super) place: [f32; 2],
    /// Height of the centre line, mm.
    pub(super) z: f32,
    /// Half the breadth and half the thickness, mm.
    pub(super) half: [f32; 2],
    /// Share of undyed heart showing, 0..1.
    pub(super) bare: f32,
}

/// A piece of yarn or a fibre.
#[derive(Clone, Debug)]
pub(super) struct Strand {
    pub(super) family: Family,
    /// Thread number; for fibres a number of their own, so that shades vary.
    pub(super) index: i32,
    /// Whether it is a single fibre or a tuft, which has no twist of its own.
    pub(super) fibre: bool,
    pub(super) nodes: Vec<Node>,
}

/// Nodes between two crossings.
const NODES_PER_PITCH: f32 = 5.0;

/// All strands of a scene and the lowest height any of them reaches when nothing is injured.
pub(super) fn strands(spec: &SceneSpec, frame: &Frame, injury: &Injury<'_>) -> (Vec<Strand>, f32) {
    let loom = Loom::new(spec, frame);
    let mut all = Vec::new();
    for (family, pitch) in [(Family::Warp, frame.warp_pitch), (Family::Weft, frame.weft_pitch)] {
        let last = (loom.reach / pitch).ceil() as i32;
        for index in -last..=last {
            loom.thread(family, index, injury, &mut all);
        }
    }
    loom.fuzz(injury, &mut all);
    (all, -loom.lift - loom.half[0][1].max(loom.half[1][1]))
}

struct Loom<'a> {
    spec: &'a SceneSpec,
    frame: &'a Frame,
    /// Mm from the centre to the farthest corner, with a margin.
    reach: f32,
    /// Half breadth and half thickness of warp and weft, mm.
    half: [[f32; 2]; 2],
    /// Height of a centre line above the mid plane where it lies on top.
    lift: f32,
}

impl<'a> Loom<'a> {
    fn new(spec: &'a SceneSpec, frame: &'a Frame) -> Self {
        let reach = 0.5 * (spec.width as f32).hypot(spec.height as f32) * spec.scale.get() + 2.0 * frame.pitch();
        let breadth = [0.5 * spec.yarn_fill[0] * frame.warp_pitch, 0.5 * spec.yarn_fill[1] * frame.weft_pitch];
        // Yarn thickness follows the finer family: a broad yarn in an open cloth is flat.
        let thick = spec.flatness * breadth[0].min(breadth[1]);
        let half = [[breadth[0], thick], [breadth[1], thick]];
        Self { spec, frame, reach, half, lift: 0.85 * thick }
    }

    fn thread_seed(&self, family: Family, index: i32) -> u64 {
        self.spec.seed.wrapping_mul(0x9E37_79B9) ^ (u64::from(index as u32) << 8) ^ (family as u64 + 1)
    }

    /// Follow one thread across the photo and keep the runs that are not cut away.
    fn thread(&self, family: Family, index: i32, injury: &Injury<'_>, all: &mut Vec<Strand>) {
        let warp = family == Family::Warp;
        let (own, cross) =
            if warp { (self.frame.warp_pitch, self.frame.weft_pitch) } else { (self.frame.weft_pitch, self.frame.warp_pitch) };
        let seed = self.thread_seed(family, index);
        let mut rng = Rng::new(seed);
        let uneven = self.spec.irregularity;
        let centre = (index as f32 + 0.5) * own + 0.035 * uneven * own * rng.normal();
        let stout = 1.0 + 0.05 * uneven * rng.normal();
        let count = (2.0 * self.reach / cross * NODES_PER_PITCH) as usize;
        let mut run: Vec<Node> = Vec::new();
        let mut run_is_cut = false;
        for n in 0..=count {
            let along = -self.reach + n as f32 * cross / NODES_PER_PITCH;
            let wobble = 0.06 * uneven * own * value_noise(seed, along / (7.0 * cross), 0.5);
            let place = if warp { [centre + wobble, along] } else { [along, centre + wobble] };
            if injury.removed(family, index, place) {
                self.finish(family, index, (std::mem::take(&mut run), run_is_cut, true), &mut rng, all);
                run_is_cut = true;
                continue;
            }
            let slub = 1.0
                + 0.09 * uneven * value_noise(seed ^ 5, along / (3.0 * cross), 1.5)
                + 0.22 * (uneven - 1.0).max(0.0) * value_noise(seed ^ 6, along / (11.0 * cross), 2.5).max(0.0);
            run.push(self.node(family, index, place, along / cross, stout * slub, injury));
        }
        self.finish(family, index, (run, run_is_cut, false), &mut rng, all);
    }

    fn node(&self, family: Family, index: i32, place: [f32; 2], crossing: f32, stout: f32, injury: &Injury<'_>) -> Node {
        let [breadth, thick] = self.half[family as usize];
        let shift = injury.moved(family, index, place);
        let past = injury.past_edge(family, place);
        let woven = if past > 0.0 { (1.0 - past / (2.0 * self.frame.pitch())).max(0.0) } else { 1.0 };
        let z = self.lift * self.rise(family, index, crossing) * woven + shift[2];
        let worn = injury.worn(place) * if z > 0.0 { 1.0 } else { 0.25 };
        Node {
            place: self.frame.photo_from_cloth([place[0] + shift[0], place[1] + shift[1]]),
            z: z - 0.35 * thick * worn,
            half: [breadth * stout * (1.0 - 0.12 * worn), thick * stout * (1.0 - 0.3 * worn)],
            bare: 0.75 * worn,
        }
    }

    /// -1 under, 1 over, smooth between crossings, which lie at whole numbers plus one half.
    fn rise(&self, family: Family, index: i32, crossing: f32) -> f32 {
        let from = (crossing - 0.5).floor();
        let t = crossing - 0.5 - from;
        let side = |other: i32| {
            let over = if family == Family::Warp {
                self.spec.weave.warp_on_top(index, other)
            } else {
                !self.spec.weave.warp_on_top(other, index)
            };
            if over { 1.0 } else { -1.0f32 }
        };
        let (a, b) = (side(from as i32), side(from as i32 + 1));
        let blend = 0.5 - 0.5 * (std::f32::consts::PI * t).cos();
        let float = if a == b { 0.12 * a * (std::f32::consts::PI * t).sin() } else { 0.0 };
        a + (b - a) * blend + float
    }

    /// Store a run; its cut ends untwist into tufts.
    fn finish(
        &self,
        family: Family,
        index: i32,
        (mut nodes, cut_first, cut_last): (Vec<Node>, bool, bool),
        rng: &mut Rng,
        all: &mut Vec<Strand>,
    ) {
        if nodes.len() < 3 {
            return;
        }
        let open = 4.min(nodes.len() / 2);
        for (cut, from_last) in [(cut_first, false), (cut_last, true)] {
            if !cut {
                continue;
            }
            if from_last {
                nodes.reverse();
            }
            for (n, node) in nodes.iter_mut().take(open).enumerate() {
                let t = 1.0 - n as f32 / open as f32;
                node.half[0] *= 1.0 - 0.45 * t;
                node.half[1] *= 1.0 - 0.35 * t;
                node.bare = node.bare.max(0.45 * t);
            }
            let (tip, before) = (nodes[0], nodes[open.max(1)]);
            self.tuft(family, tip, before, rng, all);
            if from_last {
                nodes.reverse();
            }
        }
        all.push(Strand { family, index, fibre: false, nodes });
    }

    /// Fibres that splay from a cut end.
    fn tuft(&self, family: Family, tip: Node, before: Node, rng: &mut Rng, all: &mut Vec<Strand>) {
        let heading = (tip.place[1] - before.place[1]).atan2(tip.place[0] - before.place[0]);
        let breadth = self.half[family as usize][0];
        let fibres = 6 + rng.below(5);
        for _ in 0..fibres {
            let mut angle = heading + 0.38 * rng.normal();
            let bend = 0.22 * rng.normal();
            let length = self.frame.pitch() * rng.range(0.5, 1.9);
            let half = breadth * rng.range(0.07, 0.22);
            let offset = tip.half[0] * 0.7 * rng.range(-1.0, 1.0);
            let mut node = Node {
                place: [before.place[0] - offset * heading.sin(), before.place[1] + offset * heading.cos()],
                z: tip.z,
                half: [half, half],
                bare: rng.range(0.3, 0.8),
            };
            let drop = rng.range(-0.35, 0.12);
            let mut nodes = Vec::with_capacity(7);
            for step in 0..7 {
                nodes.push(node);
                let stride = length / 5.0;
                node.place[0] += stride * angle.cos();
                node.place[1] += stride * angle.sin();
                node.z += drop * stride;
                angle += bend;
                let taper = 1.0 - 0.09 * step as f32;
                node.half = [half * taper, half * taper];
            }
            all.push(Strand { family, index: rng.below(4096) as i32, fibre: true, nodes });
        }
    }

    /// Loose fibres that arch over the surface; more where it is worn.
    fn fuzz(&self, injury: &Injury<'_>, all: &mut Vec<Strand>) {
        let (half_width, half_height) =
            (0.5 * self.spec.width as f32 * self.spec.scale.get(), 0.5 * self.spec.height as f32 * self.spec.scale.get());
        let pitch = self.frame.pitch();
        let crossings = 4.0 * half_width * half_height / (pitch * pitch);
        for n in 0..(crossings * (0.6 * self.spec.fuzz + 1.5)) as usize {
            // A stream for each, so that a fibre lost to damage changes no other.
            let mut rng = Rng::new(self.spec.seed.wrapping_mul(0xF0_22_01) ^ (n as u64) << 20);
            let place = [rng.range(-half_width, half_width), rng.range(-half_height, half_height)];
            let (start, bend) = (rng.range(0.0, std::f32::consts::TAU), 0.35 * rng.normal());
            let (length, top) = (pitch * rng.range(0.5, 2.2), self.half[0][1] * rng.range(0.2, 1.1));
            let cloth = self.frame.cloth_from_photo(place);
            let worn = injury.worn(cloth);
            let share = (0.6 * self.spec.fuzz + 1.5 * worn) / (0.6 * self.spec.fuzz + 1.5);
            let hurt = injury.removed(Family::Warp, i32::MAX / 4, cloth) || injury.removed(Family::Weft, i32::MAX / 4, cloth);
            if rng.unit() > share || hurt {
                continue;
            }
            let half = (0.011f32).min(0.05 * pitch);
            let family = if n % 2 == 0 { Family::Warp } else { Family::Weft };
            let mut at = place;
            let nodes = (0..7)
                .map(|step| {
                    let t = step as f32 / 6.0;
                    let angle = start + bend * step as f32;
                    at = [at[0] + length / 6.0 * angle.cos(), at[1] + length / 6.0 * angle.sin()];
                    let z = self.lift + 0.7 * self.half[0][1] + top * (std::f32::consts::PI * t).sin() * 0.6;
                    Node { place: at, z, half: [half, half], bare: 0.3 }
                })
                .collect();
            all.push(Strand { family, index: rng.below(4096) as i32, fibre: true, nodes });
        }
    }
}
