//! Cutting the cloth: which pieces of thread remain, which of them are still woven, which hang loose.

use super::Kind;
use super::loose::{Loose, bridge, tail};
use super::mend::{Mending, darn, snag, stitches};
use super::wound::Wound;
use crate::layer::Layer;
use crate::loom::{Family, WARP, WEFT};
use crate::maths::ln;
use crate::noise::pick;
use crate::raster::{Fibre, Node, Style};

/// A part of a thread that is woven, in crossings of its own numbering; infinite where it goes on beyond the injury.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Run {
    pub(crate) from: f32,
    pub(crate) to: f32,
}

/// What is left of the threads around all injuries.
#[derive(Debug, Default)]
pub(crate) struct Injury {
    first: [i32; 2],
    last: [i32; 2],
    /// Woven runs of each thread of the box, per family.
    runs: [Vec<Vec<Run>>; 2],
    /// Yarns and fibres that have left the weave.
    pub(crate) loose: Loose,
    /// Greatest sideways move of woven cloth, mm.
    pub(crate) reach: f32,
}

/// Pieces of the threads in a box of crossings.
struct Pieces {
    first: [i32; 2],
    last: [i32; 2],
    of: [Vec<Vec<Run>>; 2],
}

impl Pieces {
    fn thread(&self, family: Family, thread: i32) -> &[Run] {
        &self.of[family][(thread - self.first[family]) as usize]
    }

    fn there(&self, family: Family, thread: i32, k: i32) -> bool {
        if thread < self.first[family] || thread > self.last[family] {
            return true;
        }
        let k = k as f32;
        self.thread(family, thread).iter().any(|p| p.from <= k && k <= p.to)
    }

    /// Crossings at which a piece is held by a thread of the other family.
    fn held(&self, family: Family, thread: i32, piece: Run) -> Vec<i32> {
        let from = piece.from.max(self.first[1 - family] as f32).ceil() as i32;
        let to = piece.to.min(self.last[1 - family] as f32).floor() as i32;
        (from..=to).filter(|&k| self.there(1 - family, k, thread)).collect()
    }
}

/// Pieces with fewer crossings than this slip out of the weave.
const LEAST_HELD: usize = 3;
/// A thread with as many crossings missing in a row is no longer woven there.
const BRIDGE: i32 = 3;

impl Injury {
    /// Cut the threads of `layer` within `bounds` (left, top, right, bottom; mm).
    pub(crate) fn new(layer: &Layer, bounds: [f32; 4], styles: &[Style], mending: Option<&Mending>) -> Self {
        let mut injury = Self::default();
        if layer.is_knit() {
            layer.frayed_courses(bounds, styles, &mut injury.loose);
            if let Some(mending) = mending {
                injury.mend(layer, mending);
            }
            return injury;
        }
        let [first, last] = layer.range(bounds, 0.0);
        let mut pieces = Pieces { first, last, of: [Vec::new(), Vec::new()] };
        for family in [0, 1] {
            pieces.of[family] = (first[family]..=last[family]).map(|i| cut(layer, family, i, first, last)).collect();
        }
        for _ in 0..3 {
            slip_out(&mut pieces);
        }
        (injury.first, injury.last) = (first, last);
        injury.reach = layer.wounds.iter().fold(0.0, |r, w| w.greatest_shift().max(r));
        for family in [0, 1] {
            for thread in first[family]..=last[family] {
                let runs = pieces.thread(family, thread).iter().flat_map(|&piece| {
                    let held = pieces.held(family, thread, piece);
                    settle(layer, styles, (family, thread), piece, &held, [first, last], &mut injury.loose)
                });
                let runs: Vec<Run> = runs.collect();
                injury.runs[family].push(runs);
            }
        }
        if let Some(mending) = mending {
            injury.mend(layer, mending);
        }
        injury
    }

    /// Threads of the mender, and the loops of snags.
    fn mend(&mut self, layer: &Layer, mending: &Mending) {
        for wound in &layer.wounds {
            match wound.damage.kind {
                Kind::Darn => darn(wound, mending, &mut self.loose),
                Kind::Patch => stitches(wound, mending, 2.0 * mending.face, &mut self.loose),
                Kind::Snag => {
                    let (thread, [from, to]) = snag(wound, layer, &mut self.loose);
                    if let Some(runs) = self.runs[WEFT].get_mut((thread - self.first[WEFT]).max(0) as usize) {
                        *runs = runs
                            .iter()
                            .flat_map(|r| [Run { from: r.from, to: r.to.min(from) }, Run { from: r.from.max(to), to: r.to }])
                            .filter(|r| r.to > r.from)
                            .collect();
                    }
                }
                _ => {}
            }
        }
    }

    /// Woven runs of a thread; `None` when it is untouched.
    pub(crate) fn runs(&self, family: Family, thread: i32) -> Option<&[Run]> {
        if thread < self.first[family] || thread > self.last[family] {
            return None;
        }
        self.runs[family].get((thread - self.first[family]) as usize).map(Vec::as_slice)
    }
}

/// What remains of one thread: it breaks where a wound says so, and its ends recoil.
fn cut(layer: &Layer, family: Family, thread: i32, first: [i32; 2], last: [i32; 2]) -> Vec<Run> {
    let (start, stop) = (first[1 - family], last[1 - family]);
    let crossing = |k: i32| if family == WARP { layer.loom.crossing(thread, k) } else { layer.loom.crossing(k, thread) };
    let mut pieces = Vec::new();
    let mut from = Some(f32::NEG_INFINITY);
    let mut here = crossing(start);
    for k in start..stop {
        let next = crossing(k + 1);
        for quarter in 0..4 {
            let t = quarter as f32 * 0.25;
            let place = [0, 1].map(|a| here.place[a] + (next.place[a] - here.place[a]) * t);
            let broken = layer.wounds.iter().position(|w| w.gone(family, thread, place));
            let at = k as f32 + t;
            match (from, broken) {
                (Some(start), Some(w)) => {
                    let to = at - 0.25 - recoil(&layer.wounds[w], family, thread, pieces.len() as i32 * 2);
                    if to > start {
                        pieces.push(Run { from: start, to });
                    }
                    from = None;
                }
                (None, None) => {
                    let w = nearest(&layer.wounds, place);
                    from = Some(at + recoil(&layer.wounds[w], family, thread, pieces.len() as i32 * 2 + 1));
                }
                _ => {}
            }
        }
        here = next;
    }
    if let Some(start) = from {
        pieces.push(Run { from: start, to: f32::INFINITY });
    }
    pieces
}

fn nearest(wounds: &[Wound], place: [f32; 2]) -> usize {
    (0..wounds.len()).max_by(|&a, &b| wounds[a].depth(place).total_cmp(&wounds[b].depth(place))).unwrap_or(0)
}

/// How far an end springs back, in crossings: exponential, mean 0.4, more when old; bitten and burnt ends stay.
fn recoil(wound: &Wound, family: Family, thread: i32, end: i32) -> f32 {
    let mean = match wound.damage.kind {
        Kind::MothHole | Kind::Burn | Kind::Darn => 0.12,
        Kind::Patch => 0.0,
        Kind::Hem => 0.3,
        _ => 0.45 * (1.0 + 1.5 * wound.damage.age),
    };
    -mean * ln(1.0 - pick(wound.seed ^ 91 ^ family as u64, thread, end))
}

/// Short pieces that few threads hold fall out.
fn slip_out(pieces: &mut Pieces) {
    for family in [0, 1] {
        for thread in pieces.first[family]..=pieces.last[family] {
            let kept: Vec<Run> = pieces
                .thread(family, thread)
                .iter()
                .copied()
                .filter(|p| {
                    p.from == f32::NEG_INFINITY || p.to == f32::INFINITY || pieces.held(family, thread, *p).len() >= LEAST_HELD
                })
                .collect();
            pieces.of[family][(thread - pieces.first[family]) as usize] = kept;
        }
    }
}

/// Part a piece into woven runs, bridges and tails. Gives the woven runs.
fn settle(
    layer: &Layer,
    styles: &[Style],
    (family, thread): (Family, i32),
    piece: Run,
    held: &[i32],
    [first, last]: [[i32; 2]; 2],
    loose: &mut Loose,
) -> Vec<Run> {
    let mut runs = Vec::new();
    let (low, high) = (first[1 - family], last[1 - family]);
    let Some((&start, &stop)) = held.first().zip(held.last()) else { return runs };
    let mut from = if piece.from.is_finite() { start as f32 } else { f32::NEG_INFINITY };
    // A piece that goes on beyond the box is held there.
    let mut before = if piece.from.is_finite() { start } else { low };
    for &k in held.iter().chain((!piece.to.is_finite()).then_some(&high)) {
        if k - before > BRIDGE {
            runs.push(Run { from, to: before as f32 });
            bridge(layer, styles, (family, thread), [before, k], loose);
            from = k as f32;
        }
        before = k;
    }
    runs.push(Run { from, to: if piece.to.is_finite() { stop as f32 } else { f32::INFINITY } });
    // The edge of a sewn-on patch is folded under: no end shows.
    if layer.wounds.iter().any(Wound::is_piece) {
        return runs;
    }
    if piece.from.is_finite() {
        tail(layer, styles, (family, thread), [start as f32, piece.from], loose);
    }
    if piece.to.is_finite() {
        tail(layer, styles, (family, thread), [stop as f32, piece.to], loose);
    }
    runs
}

/// Wear and burns on a woven or loose yarn.
pub(crate) fn mark(wounds: &[Wound], intact: [f32; 2], thickness: f32, node: &mut Node) {
    for wound in wounds {
        let (worn, burnt) = (wound.worn(intact), wound.burnt(intact));
        if worn > 0.0 {
            // Rubbed from the top down: the more worn, the deeper; what lies deep keeps its dye.
            let high = crate::maths::smoothstep(-0.9 * thickness, 0.8 * thickness, node.z);
            let rub = ((1.45 * worn - 0.9 * (1.0 - high)) / (0.35 + 0.65 * worn)).clamp(0.0, 1.0) * (0.25 + 0.75 * worn).min(1.0);
            node.bare = node.bare.max(rub);
            node.z -= 0.30 * node.half[1] * rub;
            node.half[1] *= 1.0 - 0.35 * rub;
            node.half[0] *= 1.0 - 0.18 * rub;
        }
        if burnt > 0.0 {
            node.char = node.char.max(burnt);
            let shrunk = crate::maths::smoothstep(0.45, 1.0, burnt);
            node.half = node.half.map(|h| h * (1.0 - 0.35 * shrunk));
        }
    }
}

/// Fibres and yarns near a tile.
pub(crate) fn near<'a>(loose: &'a Loose, bounds: [f32; 4]) -> impl Iterator<Item = &'a Fibre> + 'a {
    loose.fibres.iter().filter(move |(b, _)| crate::layer::touches(*b, bounds)).map(|(_, f)| f)
}
