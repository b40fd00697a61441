//! Mending: a darn, a sewn-on patch with its stitches; and the loop of a snag.

use super::loose::Loose;
use super::wound::{Wound, perimeter};
use crate::layer::Layer;
use crate::loom::{WARP, WEFT};
use crate::maths::{length, lerp, sin_cos, sin_cos_turns, smoothstep};
use crate::noise::{normal, pick};
use crate::raster::{Node, Yarn};

/// Mm between nodes of mending threads.
const STEP: f32 = 0.15;

/// What mending threads are drawn with.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Mending {
    /// Number of the thread's style.
    pub(crate) style: u16,
    /// Diameter of the thread, mm.
    pub(crate) diameter: f32,
    /// Height of the cloth's face above its mid plane, mm.
    pub(crate) face: f32,
}

fn strand(mending: &Mending, seed: u64, n: i32) -> Yarn {
    Yarn { style: mending.style, id: super::MENDING + n as u32, phase: [pick(seed, n, 90), pick(seed, n, 91)], twist: 1.0 }
}

fn node(mending: &Mending, place: [f32; 2], z: f32, along: f32, shade: f32) -> Node {
    let r = 0.5 * mending.diameter;
    Node { place, z, half: [r, 0.85 * r], along, shade, bare: 0.0, char: 0.0 }
}

/// Threads laid up the cloth over a hole, then as many across, woven over and under them; both run on into sound cloth.
pub(super) fn darn(wound: &Wound, mending: &Mending, loose: &mut Loose) {
    let seed = wound.seed ^ 0xDA42;
    let pitch = 1.45 * mending.diameter;
    let half = 0.5 * wound.damage.length + 2.5;
    let count = (half / pitch) as i32;
    let [cx, cy] = wound.middle();
    for family in [WARP, WEFT] {
        for i in -count..=count {
            let off = (i as f32 + 0.16 * normal(seed ^ family as u64, i, 0)) * pitch;
            // A rounded square, with ends that are not all alike.
            let reach = half * (1.0 - 0.25 * (off / half).powi(2)) + 0.5 * normal(seed ^ family as u64, i, 1);
            let shade = 1.0 + 0.04 * normal(seed ^ family as u64, i, 2);
            let steps = (2.0 * reach / STEP) as i32;
            let mut nodes = Vec::with_capacity(steps as usize + 1);
            for m in 0..=steps {
                let along = -reach + 2.0 * reach * m as f32 / steps as f32;
                let sway = 0.22 * pitch * crate::noise::line(seed ^ 3 ^ ((i as u64) << 30) ^ family as u64, along / 2.5, 1 << 20);
                let place = if family == WARP { [cx + off + sway, cy + along] } else { [cx + along, cy + off + sway] };
                // Over and under the other threads; at its ends it dives into the cloth.
                let phase = along / pitch + if i.rem_euclid(2) == 0 { 0.0 } else { 1.0 } + family as f32;
                let weave = sin_cos_turns(0.5 * phase).1 * 0.42 * mending.diameter;
                let inside = smoothstep(-1.6, -0.2, wound.depth(place));
                let base = lerp(mending.face + 0.30 * mending.diameter, 0.35 * mending.face, inside);
                let dive = 1.0 - smoothstep(0.0, 0.9, reach - along.abs());
                nodes.push(node(
                    mending,
                    place,
                    base + weave - dive * 1.4 * (mending.face + mending.diameter),
                    along + 3.0 * i as f32,
                    shade,
                ));
            }
            loose.yarn(strand(mending, seed, i * 2 + family as i32 + 512), nodes);
        }
    }
}

/// Overcast stitches around a sewn-on patch: each climbs from the cloth over the folded edge and dives into the patch.
pub(super) fn stitches(wound: &Wound, mending: &Mending, lift: f32, loose: &mut Loose) {
    let seed = wound.seed ^ 0x571C;
    let count = wound.stitches();
    for n in 0..count {
        let t = (n as f32 + 0.12 * normal(seed, n, 0)) / count as f32;
        let (at, out) = perimeter(&wound.damage, t);
        let eye = wound.cut_by_eye(at);
        let at = [0, 1].map(|k| at[k] + out[k] * eye);
        let side = [-out[1], out[0]];
        let [inner, outer] = [1.5 + 0.25 * normal(seed, n, 1), 0.7 + 0.15 * normal(seed, n, 2)];
        let lean = 0.55 + 0.2 * normal(seed, n, 3);
        let shade = 1.0 + 0.04 * normal(seed, n, 4);
        let [cx, cy] = wound.middle();
        let steps = 16;
        let nodes: Vec<Node> = (0..=steps)
            .map(|m| {
                let s = m as f32 / steps as f32;
                let across = lerp(-inner, outer, s);
                let along = lean * (s - 0.5);
                let local = [at[0] + out[0] * across + side[0] * along, at[1] + out[1] * across + side[1] * along];
                let turned = wound.turned(local);
                // Flat over the patch, round the edge, down to the cloth.
                let over = lerp(lift + mending.face, mending.face, smoothstep(-0.35, 0.45, across));
                let dive = smoothstep(0.30, 0.5, (s - 0.5).abs());
                node(
                    mending,
                    [cx + turned[0], cy + turned[1]],
                    over + 0.4 * mending.diameter - dive * 2.2 * mending.diameter,
                    s * (inner + outer),
                    shade,
                )
            })
            .collect();
        loose.yarn(strand(mending, seed, n), nodes);
    }
}

/// The loop of a snag: a pick pulled out of the face.
pub(super) fn snag(wound: &Wound, layer: &Layer, loose: &mut Loose) -> (i32, [f32; 2]) {
    let threads = &layer.loom.threads[WEFT];
    let pitch = layer.loom.threads[WARP].pitch;
    let [cx, cy] = wound.middle();
    let thread = (cy / threads.pitch - 0.5).round() as i32;
    let half = (0.6 / pitch).ceil();
    let from = (cx / pitch - 0.5).floor() - half;
    let to = from + 2.0 * half + 1.0;
    let (a, b) = (layer.woven(WEFT, thread, from), layer.woven(WEFT, thread, to));
    let tall = 0.5 * wound.damage.length;
    let (s, c) = sin_cos(0.9 + 0.5 * normal(wound.seed ^ 0x5A, 0, 0));
    let way = [c, if pick(wound.seed ^ 0x5A, 0, 1) < 0.5 { s } else { -s }];
    let mut nodes: Vec<Node> = (0..8).map(|m| layer.woven(WEFT, thread, from - 1.0 + m as f32 / 8.0)).collect();
    let steps = (3.0 * tall / STEP).max(24.0) as i32;
    let mut along = a.along;
    let mut before = a.place;
    for m in 0..=steps {
        let t = m as f32 / steps as f32;
        // A teardrop: narrow at the foot, wide near the top.
        let (turn_s, turn_c) = sin_cos_turns(t);
        let rise = 0.5 * (1.0 - turn_c);
        let wide = 0.28 * tall * turn_s * (0.3 + 0.7 * rise);
        let foot = [lerp(a.place[0], b.place[0], t), lerp(a.place[1], b.place[1], t)];
        let place = [foot[0] + way[0] * tall * rise - way[1] * wide, foot[1] + way[1] * tall * rise + way[0] * wide];
        let step = length(place[0] - before[0], place[1] - before[1]);
        along += step;
        before = place;
        let round = (a.half[0] * a.half[1]).sqrt();
        let lift = smoothstep(0.0, 0.08, t) * smoothstep(1.0, 0.92, t);
        let z = lerp(lerp(a.z, b.z, t), -layer.loom.floor + round, lift)
            + 0.6 * tall * rise * 0.25
            + 1.2 * round * smoothstep(0.3, 0.8, t) * lift;
        nodes.push(Node { place, z, half: [round, 0.95 * round], along, ..a });
    }
    nodes.extend((1..=8).map(|m| layer.woven(WEFT, thread, to + m as f32 / 8.0)));
    loose.yarn(layer.yarn(WEFT, thread), nodes);
    (thread, [from, to])
}
