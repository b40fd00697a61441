//! Where every thread lies in the cloth: crossings, rise and fall, unevenness. Everything is a function of thread and
//! crossing numbers, so a tile of the cloth is made without the rest of it.

use crate::cloth::{Cloth, Finish};
use crate::geometry::{Geometry, Strand, weave_angle};
use crate::maths::{sin_cos, smoothstep};
use crate::noise::{Cells, line, normal, pick, plane};
use crate::sheet::Lie;
use crate::yarn::{Twist, Yarn};

/// Warp 0, weft 1.
pub(crate) type Family = usize;
pub(crate) const WARP: Family = 0;
pub(crate) const WEFT: Family = 1;

/// The threads of one family.
#[derive(Debug)]
pub(crate) struct Threads {
    /// As stated.
    pub(crate) yarn: Yarn,
    /// Distance of neighbours, mm.
    pub(crate) pitch: f32,
    /// Half breadth and half thickness, mm.
    pub(crate) half: [f32; 2],
    /// Middle line above the mid plane at a crossing on top, mm.
    pub(crate) lift: f32,
    /// Twist in turns per mm, positive where fibres on the face climb to the right of the thread's direction.
    pub(crate) turns: f32,
    /// Mm a sheet of fibres covers.
    pub(crate) sheet_mm: f32,
    /// Length of a thread before it repeats, mm.
    pub(crate) length: f32,
    profile: Profile,
    /// Threads before they repeat.
    pub(crate) period: i32,
    seed: u64,
    waves: [Cells; 3],
    slubs: Cells,
    sideways: Cells,
    hair: f32,
}

/// Rise and fall between two crossings on opposite sides, from one crown to the middle.
#[derive(Clone, Copy, Debug)]
struct Profile {
    flat: f32,
    radius: f32,
    arc: f32,
    slope: f32,
    half_pitch: f32,
    lift: f32,
}

impl Profile {
    /// Arc, straight, arc, as Peirce draws it; where the spacing leaves no room for that, a cosine.
    fn new(own: &Strand, other: &Strand, sum: f32) -> Self {
        let flat = other.breadth - other.thickness;
        let free = f64::from((other.pitch - flat).max(0.05 * other.pitch));
        let [angle, _] = weave_angle(free, f64::from(sum), f64::from(own.crimp_height));
        let (s, c) = sin_cos(angle as f32);
        let fits = free >= f64::from(sum * s) * 0.999 && angle < 1.4;
        Self {
            flat: 0.5 * flat,
            radius: if fits { 0.5 * sum } else { 0.0 },
            arc: 0.5 * sum * s,
            slope: s / c.max(1e-3),
            half_pitch: 0.5 * other.pitch,
            lift: 0.5 * own.crimp_height,
        }
    }

    /// Height from `x` mm past a crown on top towards a crossing below: `lift` at the crown, 0 half way.
    fn height(&self, x: f32) -> f32 {
        if self.radius == 0.0 {
            return self.lift * sin_cos(0.5 * std::f32::consts::PI * (1.0 - x / self.half_pitch)).0;
        }
        let x = x - self.flat.min(self.half_pitch);
        if x <= 0.0 {
            return self.lift;
        }
        if x < self.arc {
            return self.lift - self.radius + (self.radius * self.radius - x * x).max(0.0).sqrt();
        }
        (self.half_pitch - self.flat - x) * self.slope
    }
}

/// A crossing: where it lies in the cloth, mm, and how much lower or higher than usual.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Crossing {
    pub(crate) place: [f32; 2],
    pub(crate) lift: f32,
    /// How far the whole cloth is raised there, mm: curled edges, flaps.
    pub(crate) raised: f32,
}

/// The cloth set up: all that its tiles need.
#[derive(Debug)]
pub(crate) struct Loom {
    pub(crate) threads: [Threads; 2],
    pub(crate) cloth: Cloth,
    /// Lowest point of the woven cloth, mm.
    pub(crate) floor: f32,
    seed: u64,
    /// Sideways moves that floats allow, as shares of the pitch, per end and pick of the repeat.
    relaxed: [Vec<f32>; 2],
    drift: [Cells; 2],
    spread_mean: [f32; 2],
}

impl Loom {
    /// Set up `cloth`, whose threads repeat after `period` ends and picks. Lengths follow from the geometry.
    pub(crate) fn new(cloth: &Cloth, geometry: &Geometry, period: [i32; 2], seed: u64) -> Self {
        let strands = [&geometry.warp, &geometry.weft];
        let yarns = [&cloth.warp, &cloth.weft];
        let thread = |f: Family| threads(cloth, yarns[f], [strands[f], strands[1 - f]], geometry, period, (f, seed));
        let threads = [thread(WARP), thread(WEFT)];
        let floor = -(threads[0].lift + threads[0].half[1]).max(threads[1].lift + threads[1].half[1]);
        let drift = [0, 1].map(|f| Cells::new(period[f] as f32, 14.0));
        let mut loom =
            Self { threads, cloth: cloth.clone(), floor, seed, relaxed: [Vec::new(), Vec::new()], drift, spread_mean: [2.0; 2] };
        loom.relaxed = [loom.relax(WARP), loom.relax(WEFT)];
        loom.spread_mean = [loom.neighbours_under(WARP), loom.neighbours_under(WEFT)];
        loom
    }

    /// Whether a thread lies on top at a crossing of its own family's numbering. Rows count downwards in pictures and
    /// upwards in drafts.
    pub(crate) fn on_top(&self, family: Family, thread: i32, crossing: i32) -> bool {
        if family == WARP {
            self.cloth.weave.warp_on_top(thread, -1 - crossing)
        } else {
            !self.cloth.weave.warp_on_top(crossing, -1 - thread)
        }
    }

    fn side(&self, family: Family, thread: i32, crossing: i32) -> f32 {
        if self.on_top(family, thread, crossing) { 1.0 } else { -1.0 }
    }

    /// Neighbours on the same side slide together, and a thread that passes between two pushes them apart. Shares of the
    /// pitch per (thread, crossing) of the repeat.
    fn relax(&self, family: Family) -> Vec<f32> {
        let repeat = [self.cloth.weave.ends() as i32, self.cloth.weave.picks() as i32];
        let (own, across) = (repeat[family], repeat[1 - family]);
        let t = &self.threads[family];
        let room = (0.5 * (1.0 - 2.0 * t.half[0] / t.pitch)).clamp(0.0, 0.2);
        let gap = |i: i32, k: i32| {
            let differ = |k: i32| if self.on_top(family, i, k) == self.on_top(family, i + 1, k) { -1.0 } else { 1.0 };
            room * (0.25 * differ(k - 1) + 0.5 * differ(k) + 0.25 * differ(k + 1))
        };
        let mut out = vec![0.0; (own * across) as usize];
        for k in 0..across {
            let mean: f32 = (0..own).map(|i| gap(i, k)).sum::<f32>() / own as f32;
            let mut at = 0.0;
            let mut sum = 0.0;
            for i in 0..own {
                out[(i * across + k) as usize] = at;
                sum += at;
                at += gap(i, k) - mean;
            }
            for i in 0..own {
                out[(i * across + k) as usize] -= sum / own as f32;
            }
        }
        out
    }

    fn relaxed(&self, family: Family, thread: i32, crossing: i32) -> f32 {
        let repeat = [self.cloth.weave.ends() as i32, self.cloth.weave.picks() as i32];
        let across = repeat[1 - family];
        self.relaxed[family][(thread.rem_euclid(repeat[family]) * across + crossing.rem_euclid(across)) as usize]
    }

    /// How far a thread lies from its even place at a crossing, mm.
    fn aside(&self, family: Family, thread: i32, crossing: i32) -> f32 {
        let t = &self.threads[family];
        let i = thread.rem_euclid(t.period);
        let uneven = self.cloth.unevenness;
        let own = 0.04 * normal(t.seed ^ 1, i, 0)
            + 0.05 * line(t.seed ^ 2 ^ ((i as u64) << 20), crossing as f32 * t.sideways.rate, t.sideways.count);
        let (x, y) = (thread as f32 * self.drift[family].rate, crossing as f32 * self.drift[1 - family].rate);
        let shared =
            0.16 * plane(self.seed ^ 3 ^ family as u64, [x, y], [self.drift[family].count, self.drift[1 - family].count]);
        t.pitch * (uneven * (own + shared) + self.relaxed(family, thread, crossing))
    }

    /// The crossing of an end and a pick in the intact cloth.
    pub(crate) fn crossing(&self, end: i32, pick: i32) -> Crossing {
        let [warp, weft] = &self.threads;
        let x = (end as f32 + 0.5) * warp.pitch + self.aside(WARP, end, pick);
        let y = (pick as f32 + 0.5) * weft.pitch + self.aside(WEFT, pick, end);
        let wrapped = (end.rem_euclid(warp.period), pick.rem_euclid(weft.period));
        let lift = 0.08 * self.cloth.unevenness * (warp.half[1] + weft.half[1]) * normal(self.seed ^ 4, wrapped.0, wrapped.1);
        Crossing { place: [x, y], lift, raised: 0.0 }
    }

    /// Height of a thread's middle line `t` of the way from a crossing to the next, mm; and how much it is a crown, 0..1.
    pub(crate) fn rise(&self, family: Family, thread: i32, crossing: i32, t: f32) -> [f32; 2] {
        let threads = &self.threads[family];
        let (a, b) = (self.side(family, thread, crossing), self.side(family, thread, crossing + 1));
        if (a > 0.0) == (b > 0.0) {
            // A float bows out and spreads towards its middle.
            let run = |step: i32| (1..8).take_while(|d| self.side(family, thread, crossing + step * d) == a).count() as f32;
            let (before, after) = (run(-1), run(1));
            let bow = sin_cos(std::f32::consts::PI * (before + t + 0.5) / (before + after + 1.0)).0;
            return [a * (threads.lift + 0.22 * threads.half[1] * (bow - 0.5).max(-0.1)), 1.0 + 0.8 * (bow - 0.5).max(0.0)];
        }
        let pitch = self.threads[1 - family].pitch;
        let z = if t < 0.5 { a * threads.profile.height(t * pitch) } else { b * threads.profile.height((1.0 - t) * pitch) };
        [z, smoothstep(0.0, 1.0, (z / threads.lift.max(1e-4)).abs())]
    }

    /// A thread on top spreads over neighbours that lie under: times its breadth at a crossing.
    pub(crate) fn spread(&self, family: Family, thread: i32, crossing: i32) -> f32 {
        let own = self.on_top(family, thread, crossing);
        if !own || self.spread_mean[family] >= 1.99 {
            return 1.0;
        }
        let under = [-1, 1].iter().filter(|d| !self.on_top(family, thread + **d, crossing)).count() as f32;
        let t = &self.threads[family];
        let crowded = smoothstep(0.6, 0.95, 2.0 * t.half[0] / t.pitch);
        1.0 + 0.15 * crowded * (under - 0.5 * self.spread_mean[family])
    }

    /// Mean number of neighbours that lie under where a thread lies on top.
    fn neighbours_under(&self, family: Family) -> f32 {
        let repeat = [self.cloth.weave.ends() as i32, self.cloth.weave.picks() as i32];
        let (mut tops, mut under) = (0.0f32, 0.0f32);
        for i in 0..repeat[family] {
            for k in (0..repeat[1 - family]).filter(|k| self.on_top(family, i, *k)) {
                tops += 1.0;
                under += [-1, 1].iter().filter(|d| !self.on_top(family, i + **d, k)).count() as f32;
            }
        }
        under / tops.max(1.0)
    }

    /// Breadth where a thread dives, and how much broader its crowns are: floats taper more than the crowns of plain weave.
    pub(crate) fn taper(&self) -> [f32; 2] {
        if self.spread_mean[WARP] >= 1.99 && self.spread_mean[WEFT] >= 1.99 { [0.90, 0.12] } else { [0.76, 0.25] }
    }

    /// How stout a thread is at a place along it, times its usual breadth.
    pub(crate) fn stout(&self, family: Family, thread: i32, along: f32) -> f32 {
        let t = &self.threads[family];
        let i = thread.rem_euclid(t.period);
        let seed = t.seed ^ ((i as u64) << 24);
        // Diameter varies half as much as mass; three lengths of wave share the variance (deviation of the noise is 0.5).
        let deviation = 0.5 * t.yarn.irregularity;
        let mut sum = 0.6 * normal(t.seed ^ 11, i, 1);
        for (k, (cells, weight)) in t.waves.iter().zip([1.1, 1.1, 1.0]).enumerate() {
            sum += weight * line(seed ^ (12 + k as u64), along * cells.rate, cells.count);
        }
        (1.0 + deviation * sum + self.slub(family, i, along)).clamp(0.55, 2.2)
    }

    fn slub(&self, family: Family, thread: i32, along: f32) -> f32 {
        let t = &self.threads[family];
        if t.yarn.slubs_per_m <= 0.0 {
            return 0.0;
        }
        let x = along * t.slubs.rate;
        let cell = x.floor();
        let k = (cell as i32).rem_euclid(t.slubs.count);
        let chance = t.yarn.slubs_per_m * 1e-3 / t.slubs.rate;
        let seed = t.seed ^ 21 ^ ((thread as u64) << 24);
        if pick(seed, k, 0) >= chance {
            return 0.0;
        }
        let half = 0.12 + 0.33 * pick(seed, k, 1);
        let off = ((x - cell - 0.5) / half).abs();
        let body = (1.0 - off * off).max(0.0);
        body * (0.18 + 0.42 * pick(seed, k, 2))
    }

    /// Shade of a thread at a place along it: 1 usual.
    pub(crate) fn shade(&self, family: Family, thread: i32, along: f32) -> f32 {
        let t = &self.threads[family];
        let i = thread.rem_euclid(t.period);
        let cells = t.waves[1];
        // Ring-dyed yarns take the dye unevenly: streaks along the cloth.
        let streak = 0.045 * (1.0 + 1.6 * (1.0 - t.yarn.dye.depth));
        1.0 + streak * normal(t.seed ^ 31, i, 2) + 0.05 * line(t.seed ^ 32 ^ ((i as u64) << 24), along * cells.rate, cells.count)
    }

    /// Where a thread's fibres begin: turns around and sheet lengths along.
    pub(crate) fn phase(&self, family: Family, thread: i32) -> [f32; 2] {
        let t = &self.threads[family];
        let i = thread.rem_euclid(t.period);
        [pick(t.seed ^ 41, i, 0), pick(t.seed ^ 41, i, 1)]
    }

    /// Length of standing fibre per length of yarn.
    pub(crate) fn hair(&self, family: Family) -> f32 {
        self.threads[family].hair
    }

    /// Seed of a family's threads.
    pub(crate) fn thread_seed(&self, family: Family) -> u64 {
        self.threads[family].seed
    }
}

fn threads(
    cloth: &Cloth,
    yarn: &Yarn,
    [own, other]: [&Strand; 2],
    geometry: &Geometry,
    period: [i32; 2],
    (family, seed): (Family, u64),
) -> Threads {
    // A knitted yarn is as much longer than its cloth as its loops are.
    let knit = if cloth.weave.is_knit() { 1.0 + own.crimp } else { 1.0 };
    let cloth_length = period[1 - family] as f32 * other.pitch;
    let length = cloth_length * knit;
    let whole = |rate: f32| (rate * length).round() / length;
    let hand = if yarn.twist == Twist::Z { 1.0 } else { -1.0 };
    let sheets = (length / Lie::of(yarn.fibre, own.diameter).length(own.diameter)).round().max(1.0);
    let press = if cloth.finish == Finish::Pressed { 0.9 } else { 1.0 };
    Threads {
        yarn: yarn.clone(),
        pitch: own.pitch,
        half: [0.5 * own.breadth / press / plied(yarn.ply), 0.5 * own.thickness * press],
        lift: 0.5 * own.crimp_height,
        turns: hand * whole(yarn.turns_per_m * 1e-3),
        sheet_mm: length / sheets,
        length,
        profile: Profile::new(own, other, geometry.sum_of_thickness),
        period: period[family],
        seed: seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ ((family as u64 + 1) << 56),
        waves: [Cells::new(cloth_length, 3.0), Cells::new(cloth_length, 13.0), Cells::new(cloth_length, 55.0)],
        slubs: Cells::new(cloth_length, 24.0),
        sideways: Cells::new(period[1 - family] as f32, 6.0),
        hair: yarn.hairiness * cloth.finish.hair(),
    }
}

/// Mean breadth of plies that turn about each other, as a share of the round they turn in.
const fn plied(plies: u8) -> f32 {
    match plies {
        1 => 1.0,
        2 => 0.85,
        3 => 0.93,
        _ => 0.97,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::solve;
    use crate::yarn::Dye;
    use crate::{Count, Draft, stock};

    /// A cloth without anything random.
    fn even(ends: f32, picks: f32, flattening: f32) -> Cloth {
        let mut cloth = stock("poplin").unwrap();
        cloth.weave = Draft::plain();
        cloth.finish = Finish::Plain;
        (cloth.unevenness, cloth.flattening) = (0.0, flattening);
        (cloth.ends_per_cm.0, cloth.picks_per_cm.0) = (ends, picks);
        for yarn in [&mut cloth.warp, &mut cloth.weft] {
            yarn.count = Count::Tex(30.0);
            (yarn.irregularity, yarn.slubs_per_m) = (0.0, 0.0);
            yarn.dye = Dye::even(tatter_core::image::LinearRgb([0.5; 3]));
        }
        cloth
    }

    /// Crimp of the middle lines as drawn: their length over the cloth's, less one; and the steepest angle in degrees.
    fn drawn(cloth: &Cloth) -> Vec<[f32; 2]> {
        let loom = Loom::new(cloth, &solve(cloth).unwrap(), [8, 8], 1);
        let of = |family: Family| {
            let pitch = f64::from(loom.threads[1 - family].pitch);
            let (mut long, mut steepest, steps) = (0.0f64, 0.0f64, 20_000);
            for m in 0..steps {
                let z = |m: i32| f64::from(loom.rise(family, 0, 0, m as f32 / steps as f32)[0]);
                let (dx, dz) = (pitch / f64::from(steps), z(m + 1) - z(m));
                long += (dx * dx + dz * dz).sqrt();
                // Over a hundredth of the pitch, so that rounding does not count.
                if m % 200 == 0 {
                    steepest = steepest.max(((z(m + 200) - z(m)) / (200.0 * dx)).abs());
                }
            }
            [(long / pitch - 1.0) as f32, steepest.atan().to_degrees() as f32]
        };
        vec![of(WARP), of(WEFT)]
    }

    #[test]
    fn threads_are_as_long_as_their_crimp_says() {
        // Definition of crimp; half a per cent of the length allowed.
        for (ends, picks, flattening) in [(20.0, 20.0, 1.0), (24.0, 18.0, 0.7), (16.0, 12.0, 0.6)] {
            let cloth = even(ends, picks, flattening);
            let geometry = solve(&cloth).unwrap();
            for ([crimp, _], strand) in drawn(&cloth).into_iter().zip([geometry.warp, geometry.weft]) {
                let miss = (1.0 + crimp) / (1.0 + strand.crimp) - 1.0;
                assert!(miss.abs() < 0.005, "{ends} x {picks}: drawn {crimp}, solved {}", strand.crimp);
            }
        }
    }

    #[test]
    fn a_square_jammed_cloth_is_peirces() {
        // Peirce 1937: 60 degrees and 0.2092 crimp, from the middle lines as drawn; 1 % allowed. Spacing 0.866 D.
        let d = even(10.0, 10.0, 1.0).warp.diameter().get() * 2.0;
        let per_cm = 10.0 / (0.866_1 * d);
        for [crimp, angle] in drawn(&even(per_cm, per_cm, 1.0)) {
            assert!((crimp / 0.2092 - 1.0).abs() < 0.01, "crimp {crimp}");
            assert!((angle / 60.0 - 1.0).abs() < 0.02, "angle {angle}");
        }
    }
}
