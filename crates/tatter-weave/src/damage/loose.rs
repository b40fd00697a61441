//! Yarns that have left the weave: bridges that span an opening, tails that hang from its rim, and the tufts they end in.

use tatter_core::rng::Rng;

use super::Kind;
use super::injury::mark;
use super::wound::Wound;
use crate::layer::{Layer, hair};
use crate::loom::Family;
use crate::maths::{length, lerp, sin_cos, sin_cos_turns, smoothstep};
use crate::noise::{line, pick};
use crate::raster::{Fibre, Node, RELIEF_OF_HAIR, Style, Yarn};

type Bounds = [f32; 4];

/// Yarns and fibres outside the weave, with what they touch.
#[derive(Debug, Default)]
pub(crate) struct Loose {
    pub(crate) yarns: Vec<(Bounds, Yarn, Vec<Node>)>,
    pub(crate) fibres: Vec<(Bounds, Fibre)>,
}

impl Loose {
    pub(crate) fn yarn(&mut self, yarn: Yarn, nodes: Vec<Node>) {
        let mut bounds = [f32::MAX, f32::MAX, f32::MIN, f32::MIN];
        for n in &nodes {
            let r = n.half[0] * 1.5;
            bounds[0] = bounds[0].min(n.place[0] - r);
            bounds[1] = bounds[1].min(n.place[1] - r);
            bounds[2] = bounds[2].max(n.place[0] + r);
            bounds[3] = bounds[3].max(n.place[1] + r);
        }
        self.yarns.push((bounds, yarn, nodes));
    }

    pub(crate) fn fibre(&mut self, fibre: Fibre) {
        self.fibres.push((fibre.bounds(), fibre));
    }
}

/// Pieces a free yarn is drawn in, per crossing it has lost.
const STEPS: i32 = 8;
/// Noise of loose yarns never repeats on one.
const FAR: i32 = 1 << 20;

/// A thread between two crossings that hold it. Set free it is longer than its span by its crimp, so it sags sideways as a
/// shallow arc, mid-sag = span √(3 e / 8), and drifts together with its neighbours.
pub(super) fn bridge(layer: &Layer, styles: &[Style], (family, thread): (Family, i32), [from, to]: [i32; 2], loose: &mut Loose) {
    let threads = &layer.loom.threads[family];
    let pitch = layer.loom.threads[1 - family].pitch;
    let crimp = layer.crimp(family);
    let seed = layer.loom.thread_seed(family) ^ 0xB71D;
    let own = |k: i32| pick(seed, thread, k + 16 * from);
    let (a, b) = (layer.woven(family, thread, from as f32), layer.woven(family, thread, to as f32));
    let (dx, dy) = (b.place[0] - a.place[0], b.place[1] - a.place[1]);
    let span = length(dx, dy).max(1e-3);
    let excess = ((to - from) as f32 * pitch * (1.0 + crimp) / span - 1.0).clamp(0.004, 0.15);
    let sag = mid_sag(span, excess).min(0.2 * span);
    let together = line(seed, thread as f32 * 0.31, FAR);
    let side = 0.75 * together + 0.35 * (2.0 * own(0) - 1.0);
    let (lean, drop) = (sag * side, pitch * (0.9 * own(1) - 0.65));
    let mut nodes: Vec<Node> =
        (0..STEPS).map(|m| layer.woven(family, thread, from as f32 - 1.0 + m as f32 / STEPS as f32)).collect();
    let count = (to - from) * STEPS;
    for m in 0..=count {
        let t = m as f32 / count as f32;
        let arc = 4.0 * t * (1.0 - t);
        let k = from as f32 + t * (to - from) as f32;
        let ends = smoothstep(0.0, 1.5, (k - from as f32).min(to as f32 - k));
        let wander = line(seed ^ 5 ^ ((thread as u64) << 20), k / 5.0, FAR) * 0.35 * sag.min(2.5 * pitch)
            + line(seed ^ 6 ^ ((thread as u64) << 20), k / 1.7, FAR) * 0.10 * pitch;
        let off = lean * arc * (0.8 + 0.2 * arc) + wander * ends;
        let crimped = 0.5 * threads.lift * sin_cos(std::f32::consts::PI * (k + thread as f32)).1 * ends;
        let intact = layer.woven(family, thread, k);
        let mut node = Node {
            place: [a.place[0] + dx * t - dy / span * off, a.place[1] + dy * t + dx / span * off],
            z: lerp(lerp(a.z, b.z, t) + drop * arc + crimped, intact.z, 1.0 - ends),
            ..intact
        };
        free(&mut node, ends);
        wear_loose(&layer.wounds, &mut node, ends * (0.5 + own(2)));
        nodes.push(node);
    }
    nodes.extend((1..=STEPS).map(|m| layer.woven(family, thread, to as f32 + m as f32 / STEPS as f32)));
    fuzz(layer, styles, family, &nodes, seed ^ ((thread as u64) << 24), loose);
    loose.yarn(layer.yarn(family, thread), nodes);
}

/// How far a thread longer than its span by the share `excess` stands out of the chord at its middle: a shallow arc.
fn mid_sag(span: f32, excess: f32) -> f32 {
    span * (0.375 * excess).sqrt()
}

/// No longer pressed flat, the yarn rounds up.
fn free(node: &mut Node, share: f32) {
    let round = (node.half[0] * node.half[1]).sqrt();
    node.half = [lerp(node.half[0], round * 1.04, share), lerp(node.half[1], round * 0.98, share)];
}

/// Loose yarns are rubbed all around, and fade: `share` 0 as woven, 1 as the usual loose yarn, some more and some less.
pub(crate) fn wear_loose(wounds: &[Wound], node: &mut Node, share: f32) {
    let age = wounds.iter().fold(0.0f32, |a, w| a.max(w.damage.age));
    node.bare = node.bare.max(share * (0.10 + 0.55 * age));
}

/// The part of a thread beyond the last crossing that holds it: it keeps some of its crimp, wanders, untwists and ends in a
/// tuft.
pub(super) fn tail(layer: &Layer, styles: &[Style], (family, thread): (Family, i32), [held, end]: [f32; 2], loose: &mut Loose) {
    let threads = &layer.loom.threads[family];
    let pitch = layer.loom.threads[1 - family].pitch;
    let way = if end > held { 1.0 } else { -1.0 };
    let seed = layer.loom.thread_seed(family) ^ 0x7A11 ^ ((thread as u64) << 24) ^ if way > 0.0 { 1 << 60 } else { 0 };
    let mut rng = Rng::new(seed);
    // Long tails are rubbed off sooner or later.
    let reach = ((end - held).abs() * pitch * (1.0 + 0.6 * layer.crimp(family)))
        .clamp(0.2 * pitch, rng.range(4.0, 14.0) * pitch.max(0.8));
    let burnt =
        layer.wounds.iter().any(|w| w.damage.kind == Kind::Burn && w.burnt(layer.woven_intact(family, thread, end)) > 0.5);
    let diameter = 2.0 * threads.half[0];
    let step = pitch / STEPS as f32;
    let count = (reach / step).ceil() as i32;
    let mut nodes: Vec<Node> =
        (0..=STEPS).map(|m| layer.woven(family, thread, held - way * (1.0 - m as f32 / STEPS as f32))).collect();
    let (last, prior) = (nodes[nodes.len() - 1], nodes[nodes.len() - 4]);
    let mut heading = unit([last.place[0] - prior.place[0], last.place[1] - prior.place[1]]);
    let (mut at, base) = (last.place, last.z);
    let rise = pitch * rng.range(-0.5, 0.9);
    let bend = Bend::new(layer, (family, thread), pitch, seed, &mut rng);
    let faded = rng.range(0.3, 1.3);
    for m in 1..=count {
        let s = m as f32 * step;
        let k = held + way * s / pitch;
        let left = (reach - s).max(0.0);
        heading = rotated(heading, step * bend.turn(s, reach));
        at = [at[0] + heading[0] * step, at[1] + heading[1] * step];
        let go = smoothstep(0.0, 2.0 * pitch, s);
        let memory = 0.6 * threads.lift * (sin_cos(std::f32::consts::PI * (k - held)).1 - 1.0) * base.signum();
        let mut node = layer.woven(family, thread, k);
        node.place = at;
        node.z = base + memory + rise * go * (1.0 + 0.15 * s / pitch).min(2.0);
        free(&mut node, go);
        // What hangs farthest out is rubbed most.
        wear_loose(&layer.wounds, &mut node, go * faded * (0.5 + 0.8 * s / reach));
        mark(&layer.wounds, layer.woven_intact(family, thread, k), threads.half[1], &mut node);
        // The last two diameters untwist and open before they give way to single fibres.
        let open = if burnt { 0.0 } else { 1.0 - smoothstep(0.0, 2.2 * diameter, left) };
        node.half[0] *= 1.0 + 0.35 * open;
        node.bare = node.bare.max(0.55 * open);
        let thin = smoothstep(-0.1 * diameter, 0.9 * diameter, left);
        node.half = node.half.map(|h| h * (0.25 + 0.75 * thin));
        nodes.push(node);
    }
    if !burnt {
        tuft(layer, styles, family, &nodes, diameter, &mut rng, loose);
    }
    fuzz(layer, styles, family, &nodes[STEPS as usize..], seed, loose);
    loose.yarn(layer.yarn(family, thread), nodes);
}

/// How a hanging end bends: each in its own way, some limp, some straight, some curled up at the tip by their twist; neighbours
/// lean together, so that a fringe falls in strands.
struct Bend {
    seed: u64,
    /// Breadth of slow and of quick bends, mm, and how sharp each is, radians a mm.
    slow: [f32; 2],
    quick: [f32; 2],
    lean: f32,
    curl: f32,
}

impl Bend {
    fn new(layer: &Layer, (family, thread): (Family, i32), pitch: f32, seed: u64, rng: &mut Rng) -> Self {
        let strand = line(layer.loom.thread_seed(family) ^ 0x57A2, thread as f32 * 0.23, FAR);
        let limp = rng.unit() * rng.unit();
        let curl = if rng.unit() < 0.22 { 0.55 * rng.normal() } else { 0.0 };
        Self {
            seed,
            slow: [rng.range(3.5, 9.0) * pitch, (0.05 + 0.30 * limp) / pitch],
            quick: [rng.range(1.1, 2.4) * pitch, 0.16 * rng.unit() * rng.unit() / pitch],
            lean: (0.045 * strand + 0.022 * rng.normal()) / pitch,
            curl: curl / pitch,
        }
    }

    /// Radians a mm, `s` of `reach` mm along.
    fn turn(&self, s: f32, reach: f32) -> f32 {
        let tip = smoothstep(0.55, 1.0, s / reach.max(1e-3));
        self.slow[1] * line(self.seed ^ 3, s / self.slow[0], FAR)
            + self.quick[1] * line(self.seed ^ 4, s / self.quick[0], FAR)
            + self.lean * (1.0 - tip)
            + self.curl * tip
    }
}

pub(crate) fn unit([x, y]: [f32; 2]) -> [f32; 2] {
    let l = length(x, y).max(1e-6);
    [x / l, y / l]
}

pub(crate) fn rotated([x, y]: [f32; 2], angle: f32) -> [f32; 2] {
    let (s, c) = sin_cos(angle);
    [x * c - y * s, x * s + y * c]
}

/// Fibres that a cut end opens into: they leave the yarn at some depth and splay.
pub(crate) fn tuft(
    layer: &Layer,
    styles: &[Style],
    family: Family,
    nodes: &[Node],
    diameter: f32,
    rng: &mut Rng,
    loose: &mut Loose,
) {
    let threads = &layer.loom.threads[family];
    let style = &styles[usize::from(layer.styles[family])];
    let age = layer.wounds.iter().fold(0.0f32, |a, w| a.max(w.damage.age));
    let fibre = threads.yarn.fibre.diameter().get();
    let width = fibre.max(layer.finest / 5.0);
    // Fewer, thicker strokes where a fibre is much finer than a texel.
    let many = threads.yarn.fibres_in_section() * (1.0 - 0.45 * age) * (fibre / width);
    let count = (0.17 * many * rng.range(0.5, 1.3)).clamp(4.0, 60.0) as usize;
    let back = nodes.len().saturating_sub(1 + (2.0 * diameter / 0.05).min(7.0) as usize);
    let (root, tip) = (nodes[back], nodes[nodes.len() - 1]);
    let heading = unit([tip.place[0] - root.place[0], tip.place[1] - root.place[1]]);
    let side = [-heading[1], heading[0]];
    let bite = layer.wounds.iter().any(|w| w.damage.kind == Kind::MothHole);
    let long = diameter * if bite { 0.5 } else { 1.3 + 1.5 * age } * rng.range(0.6, 1.4);
    for _ in 0..count {
        let (s, c) = sin_cos_turns(rng.unit());
        let r = rng.unit().sqrt();
        let (off, up) = (0.85 * r * c, 0.85 * r * s);
        let reach = long * rng.range(0.25, 1.0) + length(tip.place[0] - root.place[0], tip.place[1] - root.place[1]);
        let mut angle = 0.10 * off + 0.08 * rng.normal();
        // Most fibres go on with the yarn, a few stray.
        let stray = if rng.unit() < 0.18 { 3.0 } else { 1.0 };
        let splay = (0.14 * off + 0.12 * stray * rng.normal()) * (0.6 + 0.7 * age);
        let curl = 0.40 * rng.normal();
        let mut at = [
            root.place[0] + side[0] * off * root.half[0],
            root.place[1] + side[1] * off * root.half[0],
            root.z + up * root.half[1],
        ];
        let climb = 0.22 * rng.normal() + 0.15 * up;
        let steps = 9;
        let mut points = Vec::with_capacity(steps + 1);
        for step in 0..=steps {
            points.push(at);
            let t = step as f32 / steps as f32;
            let (s, c) = sin_cos(angle);
            let stride = reach / steps as f32;
            for k in 0..2 {
                at[k] += stride * (heading[k] * c + side[k] * s);
            }
            at[2] += stride * climb * t;
            angle += (splay + curl * t * 2.0) * 1.6 / steps as f32 + 0.08 * rng.normal();
        }
        let color = style.fibre_color(rng.range(0.15, 0.95), tip.char, rng.range(0.95, 1.25));
        loose.fibre(Fibre { points, width: width * rng.range(0.8, 1.15), color, id: 0, relief: RELIEF_OF_HAIR });
    }
}

/// Hairs along a loose yarn, twice as many as in the cloth.
pub(crate) fn fuzz(layer: &Layer, styles: &[Style], family: Family, nodes: &[Node], seed: u64, loose: &mut Loose) {
    let threads = &layer.loom.threads[family];
    let style = &styles[usize::from(layer.styles[family])];
    let mut rng = Rng::new(seed ^ 0xF022);
    let fibre = threads.yarn.fibre.diameter().get();
    if fibre < layer.finest / 6.0 {
        return;
    }
    for pair in nodes.windows(2) {
        let (dx, dy) = (pair[1].place[0] - pair[0].place[0], pair[1].place[1] - pair[0].place[1]);
        let run = length(dx, dy);
        let expected = run * (0.6 + 0.45 * layer.loom.hair(family));
        let count = expected.floor() as usize + usize::from(rng.unit() < expected.fract());
        for _ in 0..count {
            loose.fibre(hair(&pair[0], unit([dx, dy]), style, fibre, &mut rng));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::mid_sag;

    #[test]
    fn a_slack_thread_sags_as_a_shallow_arc() {
        // Shallow-arc formula: excess 0.06 over 20 mm sags 3.0 mm. A parabola of that sag is as long as it should be.
        let sag = mid_sag(20.0, 0.06);
        assert!((sag - 3.0).abs() < 1e-3, "{sag} mm");
        let y = |n: i32| 4.0 * sag * (n as f32 / 1000.0) * (1.0 - n as f32 / 1000.0);
        let long: f32 = (0..1000).map(|n| ((y(n + 1) - y(n)).powi(2) + 0.02f32.powi(2)).sqrt()).sum();
        assert!((long / 21.2 - 1.0).abs() < 0.003, "{long} mm of thread");
    }
}
