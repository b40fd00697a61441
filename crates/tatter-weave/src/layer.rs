//! One layer of woven cloth laid into tiles: its yarns, and the loose fibres that stand out of them.

use tatter_core::rng::Rng;
use tatter_core::units::MmPerTexel;

use crate::cloth::Finish;
use crate::damage::{Injury, Run, Wound, mark, near};
use crate::geometry::Geometry;
use crate::knit::loop_height;
use crate::loom::{Crossing, Family, Loom, WARP, WEFT};
use crate::maths::{exp, length, ln, sin_cos, sin_cos_turns};
use crate::raster::{Fibre, Grid, Node, RELIEF_OF_HAIR, RELIEF_OF_NAP, Style, Tile, Yarn};

/// A cloth in place.
#[derive(Debug)]
pub(crate) struct Layer {
    pub(crate) loom: Loom,
    /// Numbers of the styles of warp and weft.
    pub(crate) styles: [u16; 2],
    /// Crimp of warp and weft.
    pub(crate) crimp: [f32; 2],
    /// What happened to it.
    pub(crate) wounds: Vec<Wound>,
    /// What is left of its threads; `None` for intact cloth.
    pub(crate) injury: Option<Injury>,
    /// Size of a texel, mm: fibres much finer are drawn fewer and broader.
    pub(crate) finest: f32,
    /// Whether nothing lies outside the box that was cut: a sewn-on patch.
    pub(crate) only_injured: bool,
    /// Half the height of a loop of jersey, mm.
    pub(crate) loop_height: f32,
}

/// Crossings around a tile, computed once for both families.
struct Net {
    first: [i32; 2],
    columns: i32,
    crossings: Vec<Crossing>,
}

impl Net {
    fn new(layer: &Layer, first: [i32; 2], last: [i32; 2]) -> Self {
        let first = [first[0] - 1, first[1] - 1];
        let (columns, rows) = (last[0] + 2 - first[0] + 1, last[1] + 2 - first[1] + 1);
        let at = |n: i32| layer.crossing(first[0] + n % columns, first[1] + n / columns);
        Self { first, columns, crossings: (0..columns * rows).map(at).collect() }
    }

    fn at(&self, family: Family, thread: i32, crossing: i32) -> Crossing {
        let (end, pick) = if family == WARP { (thread, crossing) } else { (crossing, thread) };
        self.crossings[((pick - self.first[1]) * self.columns + end - self.first[0]) as usize]
    }
}

/// Thread numbers whose cloth lies within `margin` of a rectangle: first end and pick, last end and pick.
fn range(loom: &Loom, [left, top, right, bottom]: [f32; 4], margin: f32) -> [[i32; 2]; 2] {
    let [warp, weft] = &loom.threads;
    let low = |v: f32, pitch: f32| ((v - margin) / pitch - 0.5).floor() as i32 - 1;
    let high = |v: f32, pitch: f32| ((v + margin) / pitch - 0.5).ceil() as i32 + 1;
    [[low(left, warp.pitch), low(top, weft.pitch)], [high(right, warp.pitch), high(bottom, weft.pitch)]]
}

/// Smooth curve through four points, from the second (t = 0) to the third.
fn curve(p: [f32; 4], t: f32) -> f32 {
    let [a, b, c, d] = p;
    b + 0.5 * t * (c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a)))
}

impl Layer {
    /// Intact cloth.
    pub(crate) fn new(loom: Loom, geometry: &Geometry, scale: MmPerTexel) -> Self {
        let loop_mm = (1.0 + geometry.weft.crimp) * geometry.warp.pitch;
        let loop_height = loop_height(geometry.warp.pitch, loom.threads[WEFT].lift, loop_mm);
        Self {
            loom,
            loop_height,
            styles: [0, 1],
            crimp: [geometry.warp.crimp, geometry.weft.crimp],
            wounds: Vec::new(),
            injury: None,
            finest: scale.get(),
            only_injured: false,
        }
    }

    pub(crate) fn crossing(&self, end: i32, pick: i32) -> Crossing {
        let mut crossing = self.loom.crossing(end, pick);
        let intact = crossing.place;
        for wound in &self.wounds {
            let [x, y, z] = wound.shift(intact);
            crossing.place = [crossing.place[0] + x, crossing.place[1] + y];
            crossing.raised += z;
        }
        crossing
    }

    /// Thread numbers within `margin` of a rectangle.
    pub(crate) fn range(&self, bounds: [f32; 4], margin: f32) -> [[i32; 2]; 2] {
        range(&self.loom, bounds, margin)
    }

    /// Crimp of a family.
    pub(crate) const fn crimp(&self, family: Family) -> f32 {
        self.crimp[family]
    }

    /// A thread as it is woven, at any place along it in crossings.
    pub(crate) fn woven(&self, family: Family, thread: i32, at: f32) -> Node {
        let k = at.floor() as i32;
        let t = at - k as f32;
        let c = [-1, 0, 1, 2].map(|d| if family == WARP { self.crossing(thread, k + d) } else { self.crossing(k + d, thread) });
        self.node_between(family, (thread, k, t), &c)
    }

    /// Where that place lies in intact cloth.
    pub(crate) fn woven_intact(&self, family: Family, thread: i32, at: f32) -> [f32; 2] {
        let k = at.floor() as i32;
        let own = |k: i32| if family == WARP { self.loom.crossing(thread, k) } else { self.loom.crossing(k, thread) };
        let (a, b) = (own(k), own(k + 1));
        [0, 1].map(|axis| a.place[axis] + (b.place[axis] - a.place[axis]) * (at - k as f32))
    }

    /// Whether it is knitted.
    pub(crate) fn is_knit(&self) -> bool {
        self.loom.cloth.weave.is_knit()
    }

    /// Draw the yarns that a tile shows.
    pub(crate) fn yarns(&self, tile: &mut Tile<'_>) {
        if self.is_knit() {
            self.courses(tile);
        } else {
            self.threads(tile);
        }
        let bounds = tile.grid().bounds();
        for (reach, yarn, nodes) in self.injury.iter().flat_map(|i| &i.loose.yarns) {
            if touches(*reach, bounds) {
                tile.yarn(*yarn, nodes);
            }
        }
    }

    fn threads(&self, tile: &mut Tile<'_>) {
        let grid = *tile.grid();
        let moved = self.injury.as_ref().map_or(0.0, |i| i.reach);
        let margin = 1.5 * (self.loom.threads[0].half[0].max(self.loom.threads[1].half[0])) + grid.scale + moved;
        let [first, last] = range(&self.loom, grid.bounds(), margin);
        let net = Net::new(self, first, last);
        let whole = [Run { from: f32::NEG_INFINITY, to: f32::INFINITY }];
        let mut nodes = Vec::new();
        for family in [0, 1] {
            let steps = self.steps(family, grid.scale);
            for thread in first[family]..=last[family] {
                let untouched: &[Run] = if self.only_injured { &[] } else { &whole };
                let runs = self.injury.as_ref().and_then(|i| i.runs(family, thread)).unwrap_or(untouched);
                for run in runs {
                    nodes.clear();
                    let from = run.from.max(first[1 - family] as f32) as i32;
                    let to = run.to.min(last[1 - family] as f32) as i32;
                    for k in from..to {
                        let count = if k + 1 == to { steps + 1 } else { steps };
                        for m in 0..count {
                            nodes.push(self.node(&net, family, thread, k, m as f32 / steps as f32));
                        }
                    }
                    tile.yarn(self.yarn(family, thread), &nodes);
                }
            }
        }
    }

    /// Nodes from a crossing to the next: three texels apart at most, and eight to a turn of the twist.
    fn steps(&self, family: Family, scale: f32) -> usize {
        let (own, other) = (&self.loom.threads[family], &self.loom.threads[1 - family]);
        let turn = if own.yarn.ply > 1 { 8.0 * own.turns.abs() * other.pitch } else { 0.0 };
        (other.pitch / (3.0 * scale)).max(turn).ceil().clamp(4.0, 24.0) as usize
    }

    pub(crate) fn yarn(&self, family: Family, thread: i32) -> Yarn {
        let period = self.loom.threads[family].period;
        let id = 1 + 2 * thread.rem_euclid(period) as u32 + family as u32;
        Yarn { style: self.styles[family], id, phase: self.loom.phase(family, thread), twist: 1.0 }
    }

    fn node(&self, net: &Net, family: Family, thread: i32, k: i32, t: f32) -> Node {
        let c = [-1, 0, 1, 2].map(|d| net.at(family, thread, k + d));
        self.node_between(family, (thread, k, t), &c)
    }

    /// A node between the second and the third of four crossings.
    fn node_between(&self, family: Family, (thread, k, t): (i32, i32, f32), c: &[Crossing; 4]) -> Node {
        let place = [0, 1].map(|axis| curve(c.map(|c| c.place[axis]), t));
        let lift = c[1].lift + (c[2].lift - c[1].lift) * t;
        let mut node = self.node_at(family, thread, k, t, place, lift);
        if !self.wounds.is_empty() {
            mark(&self.wounds, self.even(family, thread, k as f32 + t), self.loom.threads[family].half[1], &mut node);
            node.z += c[1].raised + (c[2].raised - c[1].raised) * t;
        }
        node
    }

    /// Where a place along a thread lies in perfectly even cloth: near enough for what changes over millimetres.
    fn even(&self, family: Family, thread: i32, at: f32) -> [f32; 2] {
        let (own, along) =
            ((thread as f32 + 0.5) * self.loom.threads[family].pitch, (at + 0.5) * self.loom.threads[1 - family].pitch);
        if family == WARP { [own, along] } else { [along, own] }
    }

    fn node_at(&self, family: Family, thread: i32, k: i32, t: f32, place: [f32; 2], lift: f32) -> Node {
        let (own, other) = (&self.loom.threads[family], &self.loom.threads[1 - family]);
        let along = (k as f32 + 0.5 + t) * other.pitch;
        let [z, crown] = self.loom.rise(family, thread, k, t);
        let stout = self.loom.stout(family, thread, along);
        // Pressed broad where it crosses, round where it dives between its neighbours.
        let (a, b) = (self.loom.spread(family, thread, k), self.loom.spread(family, thread, k + 1));
        let [least, more] = self.loom.taper();
        let broad = stout * (least + more * crown) * (a + (b - a) * t);
        Node {
            place,
            z: z + lift,
            half: [own.half[0] * broad, own.half[1] * stout.sqrt()],
            along,
            shade: self.loom.shade(family, thread, along),
            bare: 0.0,
            char: 0.0,
        }
    }

    /// Lay the loose fibres that a tile shows.
    pub(crate) fn hairs(&self, tile: &mut Tile<'_>, styles: &[Style]) {
        let grid = *tile.grid();
        for fibre in self.injury.iter().flat_map(|i| near(&i.loose, grid.bounds())) {
            tile.fibre(fibre);
        }
        for family in [0, 1] {
            let own = &self.loom.threads[family];
            let width = own.yarn.fibre.diameter().get();
            if family == WARP && self.is_knit() {
                continue;
            }
            // Fibres below a sixth of a texel only cost time.
            if width < grid.scale / 6.0 || self.loom.hair(family) <= 0.0 {
                continue;
            }
            let [first, last] = range(&self.loom, grid.bounds(), LONGEST);
            for thread in first[family]..=last[family] {
                for k in first[1 - family]..=last[1 - family] {
                    self.hairs_of_cell(tile, &styles[usize::from(self.styles[family])], (family, thread, k), &grid);
                }
            }
        }
    }

    fn hairs_of_cell(&self, tile: &mut Tile<'_>, style: &Style, (family, thread, k): (Family, i32, i32), grid: &Grid) {
        let (own, other) = (&self.loom.threads[family], &self.loom.threads[1 - family]);
        let seed = self.loom.thread_seed(family) ^ 0x4A1D ^ ((thread.rem_euclid(own.period) as u64) << 20);
        let mut rng = Rng::new(seed ^ ((k.rem_euclid(other.period) as u64) << 40));
        // Half of all fibres stand out below, and some lie close.
        // Rubbing raises more.
        let worn = self.wounds.iter().map(|w| w.worn(self.even(family, thread, k as f32))).fold(0.0, f32::max);
        let run = if self.is_knit() { other.pitch * (1.0 + self.crimp[family]) } else { other.pitch };
        let expected = 0.35 * self.loom.hair(family) * (1.0 + 2.5 * worn) * run / MEAN;
        let count = expected.floor() as usize + usize::from(rng.unit() < expected.fract());
        if count == 0 {
            return;
        }
        let (a, b) = if family == WARP {
            (self.crossing(thread, k), self.crossing(thread, k + 1))
        } else {
            (self.crossing(k, thread), self.crossing(k + 1, thread))
        };
        let (dx, dy) = (b.place[0] - a.place[0], b.place[1] - a.place[1]);
        let run = length(dx, dy).max(1e-6);
        let heading = [dx / run, dy / run];
        for _ in 0..count {
            let t = rng.unit();
            if self.is_knit() {
                let (node, heading) = self.stitch_and_heading(thread, k as f32 + t);
                let hair = hair(&node, heading, style, own.yarn.fibre.diameter().get(), &mut rng);
                if self.knitted_at(thread, node.place) && touches(hair.bounds(), grid.bounds()) {
                    tile.fibre(&hair);
                }
                continue;
            }
            let runs = self.injury.as_ref().and_then(|i| i.runs(family, thread));
            let there =
                runs.map_or(!self.only_injured, |runs| runs.iter().any(|r| r.from <= k as f32 + t && k as f32 + t <= r.to));
            let place = [a.place[0] + dx * t, a.place[1] + dy * t];
            // Nap is dense: what cannot reach the tile is left out before it is made, so each fibre draws from its own seed.
            let mut apart = style.wave.map(|wave| (wave, Rng::new(rng.next_u64())));
            let lie = Nap::of(self.loom.cloth.finish);
            if apart
                .as_ref()
                .is_some_and(|(_, own_rng)| !touches(lie.around(place, own.half[0], &mut own_rng.clone()), grid.bounds()))
            {
                continue;
            }
            let mut node = self.node_at(family, thread, k, t, place, a.lift);
            if !self.wounds.is_empty() {
                mark(&self.wounds, self.even(family, thread, k as f32 + t), own.half[1], &mut node);
                node.z += a.raised;
            }
            let diameter = own.yarn.fibre.diameter().get();
            let hair = match &mut apart {
                Some((wave, own_rng)) => nap(&node, heading, (style, *wave), (diameter, lie), own_rng),
                None => hair(&node, heading, style, diameter, &mut rng),
            };
            if there && touches(hair.bounds(), grid.bounds()) {
                tile.fibre(&hair);
            }
        }
    }
}

/// Mean and greatest length of a loose fibre, mm: most hairs of a spun yarn are shorter than 1 mm (Barella, "Yarn
/// hairiness", Textile Progress 13, 1983, from memory).
const MEAN: f32 = 0.5;
const LONGEST: f32 = 2.4;

pub(crate) fn touches(a: [f32; 4], b: [f32; 4]) -> bool {
    a[0] < b[2] && a[2] > b[0] && a[1] < b[3] && a[3] > b[1]
}

/// A fibre that leaves the face of a yarn and bends over the cloth.
pub(crate) fn hair(root: &Node, heading: [f32; 2], style: &Style, diameter: f32, rng: &mut Rng) -> Fibre {
    if let Some(wave) = style.wave {
        return nap(root, heading, (style, wave), (diameter, Nap::SPUN), rng);
    }
    let across = rng.range(-0.95, 0.95);
    let reach = (-MEAN * ln(1.0 - rng.unit())).clamp(0.2, LONGEST);
    let side = [-heading[1], heading[0]];
    let way = if rng.unit() < 0.5 { 1.0 } else { -1.0 };
    let mut angle = 0.5 * rng.normal();
    let bend = (0.5 * rng.normal()) / reach.max(0.4);
    let stand = 0.07 * exp(0.7 * rng.normal()) * reach.min(1.0);
    let mut at = [root.place[0] + side[0] * across * root.half[0], root.place[1] + side[1] * across * root.half[0]];
    let z = root.z + root.half[1] * (1.0 - across * across).sqrt();
    let steps = 7;
    let mut points = Vec::with_capacity(steps + 1);
    for step in 0..=steps {
        let t = step as f32 / steps as f32;
        points.push([at[0], at[1], z + stand * (1.6 * t * (1.0 - 0.55 * t))]);
        let (s, c) = sin_cos(angle);
        let stride = reach / steps as f32;
        for k in 0..2 {
            at[k] += stride * (way * heading[k] * c + side[k] * s);
        }
        angle += bend * stride * 2.0 + 0.07 * rng.normal();
    }
    let level = rng.range(1.0, 1.25);
    let color = style.fibre_color((root.bare + rng.range(0.0, 0.3)).min(1.0), root.char, level);
    Fibre { points, width: diameter * rng.range(0.75, 1.15), color, id: 0, relief: RELIEF_OF_HAIR }
}

/// How crimped fibres stand out of a yarn.
#[derive(Clone, Copy, Debug)]
struct Nap {
    /// Mean length, mm.
    mean: f32,
    /// Deviation of their direction from the yarn's, radians.
    lean: f32,
}

impl Nap {
    /// As spun.
    const SPUN: Self = Self { mean: MEAN, lean: 0.5 };
    /// Milled and raised: drawn out over the face, every way (by eye).
    const RAISED: Self = Self { mean: 0.7, lean: 0.85 };

    fn of(finish: Finish) -> Self {
        if finish == Finish::Raised { Self::RAISED } else { Self::SPUN }
    }

    /// Length of a fibre, mm: the first that is drawn of it.
    fn reach(self, rng: &mut Rng) -> f32 {
        (-self.mean * ln(1.0 - rng.unit())).clamp(0.2, LONGEST)
    }

    /// Where a fibre can be that is rooted at a place of a yarn with half that breadth.
    fn around(self, [x, y]: [f32; 2], half: f32, rng: &mut Rng) -> [f32; 4] {
        // A stout place is up to twice as broad as usual.
        let far = self.reach(rng) + 3.0 * half;
        [x - far, y - far, x + far, y + far]
    }
}

/// A crimped fibre that lies on the face of a yarn and of its neighbours, more or less along it, and rises from it here and there.
fn nap(root: &Node, heading: [f32; 2], (style, wave): (&Style, f32), (diameter, lie): (f32, Nap), rng: &mut Rng) -> Fibre {
    let reach = lie.reach(rng);
    let across = rng.range(-0.95, 0.95);
    let side = [-heading[1], heading[0]];
    let way = if rng.unit() < 0.5 { 1.0 } else { -1.0 };
    let mut lean = lie.lean * rng.normal();
    let bend = 0.7 * rng.normal() / reach.max(0.5);
    let (swing, phase) = (rng.range(0.2, 0.9), rng.unit());
    let own_wave = wave * rng.range(0.6, 1.3);
    let stand = 0.05 * exp(0.6 * rng.normal()) * reach.min(1.0);
    let mut at = [root.place[0] + side[0] * across * root.half[0], root.place[1] + side[1] * across * root.half[0]];
    let z = root.z + root.half[1] * (1.0 - across * across).sqrt();
    let steps = (reach / 0.11).ceil().clamp(4.0, 20.0) as usize;
    let stride = reach / steps as f32;
    let mut points = Vec::with_capacity(steps + 1);
    for step in 0..=steps {
        let t = step as f32 / steps as f32;
        let (crimp, rise) = sin_cos_turns(step as f32 * stride / own_wave + phase);
        points.push([at[0], at[1], z + stand * (1.6 * t * (1.0 - 0.55 * t) + 0.25 * rise)]);
        let (s, c) = sin_cos(lean + swing * crimp);
        for k in 0..2 {
            at[k] += stride * (way * heading[k] * c + side[k] * s);
        }
        lean += bend * stride;
    }
    let shade = (0.6 * rng.normal()).clamp(-1.0, 1.0);
    let color = style.blended_color((root.bare + rng.range(0.0, 0.2)).min(1.0), root.char, root.shade * 1.05, shade);
    Fibre { points, width: diameter * rng.range(0.7, 1.25), color, id: 0, relief: RELIEF_OF_NAP }
}
