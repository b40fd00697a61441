//! One injury as functions of place: what is gone, what is moved, worn, burnt.

use super::shape::RUBBED;
use super::{Along, Damage, Kind};
use crate::loom::{Family, WARP, WEFT};
use crate::maths::{exp, length, smoothstep};
use crate::noise::{normal, pick, plane};

/// Cells before the noise of injuries repeats: farther than any canvas.
const FAR: [i32; 2] = [1 << 20, 1 << 20];

/// An injury in the cloth's own places, mm, y down.
#[derive(Debug)]
pub(crate) struct Wound {
    pub(crate) damage: Damage,
    pub(super) at: [f32; 2],
    /// Distances of neighbouring ends and picks.
    pub(super) pitch: [f32; 2],
    pub(crate) seed: u64,
    discs: Vec<[f32; 3]>,
    /// Whether this is the sewn-on cloth itself, whose shape the wound is; its lift and its turn.
    piece: Option<[f32; 2]>,
}

impl Wound {
    pub(crate) fn new(damage: Damage, centre: [f32; 2], pitch: [f32; 2], seed: u64) -> Self {
        let at = [centre[0] + damage.at[0], centre[1] - damage.at[1]];
        let mut wound = Self { damage, at, pitch, seed, discs: Vec::new(), piece: None };
        wound.discs = wound.discs();
        wound
    }

    /// The sewn-on cloth of a patch: its edges are the wound, it lies `lift` mm above the other cloth.
    pub(crate) fn piece(&self, lift: f32) -> Self {
        Self { piece: Some([lift, 1.0]), discs: Vec::new(), ..*self }
    }

    /// Whether this is the edge of a sewn-on patch.
    pub(crate) const fn is_piece(&self) -> bool {
        self.piece.is_some()
    }

    /// How a sewn-on patch lies turned, radians: nobody sews one on quite straight.
    fn turn(&self) -> f32 {
        0.05 * normal(self.seed ^ 0x70, 0, 0).clamp(-2.0, 2.0)
    }

    /// From the patch's own axes to the cloth's, mm from the middle.
    pub(crate) fn turned(&self, [x, y]: [f32; 2]) -> [f32; 2] {
        let (s, c) = crate::maths::sin_cos(self.turn());
        [x * c - y * s, x * s + y * c]
    }

    /// Stitches around a sewn-on patch, one in 2.6 mm.
    pub(crate) fn stitches(&self) -> i32 {
        (2.0 * (self.damage.length + self.damage.width) / 2.6).round().max(8.0) as i32
    }

    /// Mm within the edge of a sewn-on patch, and how near a stitch is, 0..1.
    fn sewn(&self, u: f32, v: f32) -> [f32; 2] {
        let (s, c) = crate::maths::sin_cos(self.turn());
        let (x, y) = (u * c + v * s, v * c - u * s);
        let (a, b) = (0.5 * self.damage.length, 0.5 * self.damage.width);
        let wobble = self.cut_by_eye([x, y]);
        let r = 1.6;
        // A rectangle with round corners.
        let (dx, dy) = (x.abs() - a + r, y.abs() - b + r);
        let inside = r - length(dx.max(0.0), dy.max(0.0)) - dx.max(dy).min(0.0) + wobble;
        let t = if dx > dy { y } else { x };
        let beat = crate::maths::sin_cos_turns(t / 2.6).1;
        [inside, 0.5 + 0.5 * beat]
    }

    /// How far the rim of a sewn-on patch lies outside its rectangle, mm: it was cut and folded by eye.
    pub(super) fn cut_by_eye(&self, [x, y]: [f32; 2]) -> f32 {
        0.25 * self.noise(40, x / 5.0, y / 5.0) + 0.9 * self.noise(41, x / 15.0, y / 15.0)
    }

    pub(super) fn noise(&self, stream: u64, x: f32, y: f32) -> f32 {
        plane(self.seed ^ (stream << 8), [x, y], FAR)
    }

    pub(super) fn mean_pitch(&self) -> f32 {
        (self.pitch[0] * self.pitch[1]).sqrt()
    }

    /// Along the injury and across it, mm from its middle.
    pub(super) fn local(&self, place: [f32; 2]) -> [f32; 2] {
        let (x, y) = (place[0] - self.at[0], place[1] - self.at[1]);
        if self.damage.along == Along::Weft { [x, y] } else { [-y, x] }
    }

    /// The family that a rip breaks, or whose threads a hem's fringe is made of.
    pub(crate) const fn across(&self) -> Family {
        match self.damage.along {
            Along::Weft => WARP,
            Along::Warp => WEFT,
        }
    }

    pub(super) fn blob(&self, x: f32, y: f32, rough: f32) -> f32 {
        let r = length(x, y).max(1e-4);
        let (c, s) = (x / r, y / r);
        let wave = 0.20 * self.noise(5, 1.2 * c + 9.0, 1.2 * s) + 0.12 * self.noise(6, 3.5 * c, 3.5 * s + 5.0);
        0.5 * self.damage.length * (1.0 + rough * wave) - r
    }

    /// Mm inside the injury; negative outside, about as far as its rim is.
    pub(crate) fn depth(&self, place: [f32; 2]) -> f32 {
        let [u, v] = self.local(place);
        match self.damage.kind {
            Kind::Rip => {
                let [open, middle] = self.smooth_opening(u);
                let beyond = u.abs() - 0.5 * self.damage.length;
                if beyond > 0.0 { -length(beyond, v - middle) } else { 0.5 * open - (v - middle).abs() }
            }
            Kind::LTear => self.arms(u, v).0,
            Kind::MothHole => {
                let gnawed = |stream: u64, mm: f32| self.noise(stream, u / mm, v / mm);
                let (nx, ny) = (0.45 * gnawed(7, 1.1) + 0.5 * gnawed(42, 2.6), 0.45 * gnawed(8, 1.1) + 0.5 * gnawed(43, 2.6));
                self.discs.iter().map(|d| d[2] - length(u + nx - d[0], v + ny - d[1])).fold(f32::MIN, f32::max)
            }
            Kind::Burn | Kind::Darn | Kind::Stain => self.blob(u, v, 1.0),
            // Rubbed along a line: longer than broad.
            Kind::Abrasion => {
                let [a, b] = self.along_rubbing(u, v);
                self.blob(a, RUBBED * b, 0.8) / RUBBED
            }
            Kind::Scrap => self.past_scrap(u, v).into_iter().fold(f32::MIN, f32::max),
            Kind::Patch => self.sewn(place[0] - self.at[0], place[1] - self.at[1])[0],
            Kind::Snag => 0.5 - length(0.5 * u, v),
            Kind::WornThrough => {
                let aspect = self.damage.length / self.damage.width.max(0.1);
                let edge = self.blob(u, v * aspect, 1.2);
                // Shorter way out across than along.
                edge * (1.0 / aspect).max(0.4)
            }
            Kind::Hem => v - self.hem_edge(u),
        }
    }

    /// Where a hem's woven part ends.
    fn hem_edge(&self, u: f32) -> f32 {
        let pitch = self.pitch[1 - self.across()];
        pitch * (2.5 * self.noise(9, u / 14.0, 0.5) + 1.2 * self.noise(10, u / 3.0, 0.5)) - 0.3 * self.damage.length
    }

    /// Arms of an L-tear from the corner to the right and upwards: depth, and place along the nearer arm 0..1.
    fn arms(&self, u: f32, v: f32) -> (f32, f32) {
        let arm = |along: f32, off: f32, stream: u64| {
            let t = along / self.damage.length;
            let middle =
                self.mean_pitch() * (1.2 * self.noise(stream, along / 5.0, 0.5) + 0.5 * self.noise(stream + 1, along, 0.5));
            let open = 0.5 * self.damage.width * (1.0 - t).max(0.0) * (1.0 + 0.25 * self.noise(stream + 2, along / 2.0, 0.5));
            if t > 1.0 {
                -length(along - self.damage.length, off)
            } else if t < 0.0 {
                open.min(0.4 * self.damage.width) - length(along, off)
            } else {
                0.5 * open - (off - middle).abs()
            }
        };
        let (a, b) = (arm(u, v, 11), arm(-v, u, 15));
        if a > b { (a, u / self.damage.length) } else { (b, -v / self.damage.length) }
    }

    /// Whether a thread is broken away at a place.
    pub(crate) fn gone(&self, family: Family, thread: i32, place: [f32; 2]) -> bool {
        let [u, v] = self.local(place);
        let own = self.pitch[1 - family];
        let step = |stream: u64| own * 0.5 * normal(self.seed ^ (stream << 16) ^ family as u64, thread, 1);
        match self.damage.kind {
            Kind::Abrasion | Kind::Snag | Kind::Stain => false,
            Kind::Patch => self.piece.is_some() && self.depth(place) < 0.0,
            Kind::Darn => self.depth(place) + 0.5 * step(6) > 0.0,
            Kind::Rip => {
                let [open, middle] = self.opening(u);
                let half = 0.5 * open * (1.0 - self.spread());
                if family == self.across() {
                    open > 0.0 && !self.holds(thread, u) && (v - middle - 0.6 * step(1)).abs() < half + 0.2 * own
                } else {
                    // Threads along the rip: those in the opening are loose; age pulls more of them out of the rim.
                    let within = u.abs() < 0.5 * self.damage.length;
                    within && (v - middle).abs() < half + self.pulled(u, own) && self.snapped(thread, u, v - middle, half)
                }
            }
            Kind::LTear => {
                let (depth, _) = self.arms(u, v);
                depth + 0.25 * step(2).abs() > 0.0
                    && (pick(self.seed ^ 77, thread, family as i32) >= self.damage.surviving || depth > 0.3 * self.damage.width)
            }
            Kind::MothHole => {
                // Here and there a thread was left a little longer.
                let spared = if pick(self.seed ^ 83, thread, family as i32) < 0.14 { 1.3 * own } else { 0.0 };
                self.depth(place) + 0.45 * step(3) - spared > 0.0
            }
            Kind::Burn => self.depth(place) + 0.2 * step(4) > 0.0,
            Kind::WornThrough => {
                let depth = self.depth(place);
                if family == WARP {
                    depth + 1.2 * step(5) > 0.0
                } else {
                    depth > 0.0 && self.snapped(thread, u, v, 0.5 * self.damage.width)
                }
            }
            Kind::Hem => {
                let past = v - self.hem_edge(u);
                if family == self.across() {
                    past > self.damage.length * (0.35 + 0.75 * pick(self.seed ^ 78, thread, 3))
                } else {
                    past > 0.15 * own * normal(self.seed ^ 79, thread, 4)
                }
            }
            Kind::Scrap => {
                let past = self.past_scrap(u, v);
                let ahead = usize::from(family == self.across());
                let end = i32::from(if ahead == 1 { v > 0.0 } else { u > 0.0 });
                past[ahead] > self.fringe() * (0.15 + 0.85 * pick(self.seed ^ 78 ^ family as u64, thread, end))
                    || past[1 - ahead] > 0.15 * own * normal(self.seed ^ 79 ^ family as u64, thread, 4)
            }
        }
    }

    /// How far threads along a rip have come out of its rim.
    fn pulled(&self, u: f32, pitch: f32) -> f32 {
        let patchy = self.noise(19, u / (2.0 + 0.1 * self.damage.length), 0.5);
        (0.15 + self.damage.age) * pitch * (1.5 + 4.0 * patchy).max(0.0)
    }

    /// A thread along the opening that did not survive: gone, or snapped with its two tails left hanging.
    fn snapped(&self, thread: i32, u: f32, v: f32, half: f32) -> bool {
        let level = (v / half.max(0.1)).abs().min(1.0);
        let chance = |k: i32| pick(self.seed ^ 80, thread, k);
        if chance(0) < self.damage.surviving + 0.35 * (1.0 - self.damage.surviving) * level * level {
            return false;
        }
        if chance(1) < 0.3 {
            return true;
        }
        let span = 0.5 * self.damage.length * (1.0 - level * level).max(0.05).sqrt();
        let place = span * 0.8 * (2.0 * chance(2) - 1.0);
        (u - place).abs() < span * (0.12 + 0.6 * chance(3))
    }

    /// Share of an opening that comes from cloth pushed aside; the rest is thread that is gone.
    const fn spread(&self) -> f32 {
        match self.damage.kind {
            Kind::Rip => 0.38,
            Kind::LTear => 0.6,
            _ => 0.0,
        }
    }

    /// How far woven cloth is moved: x, y, up; mm.
    pub(crate) fn shift(&self, place: [f32; 2]) -> [f32; 3] {
        let [u, v] = self.local(place);
        let [du, dv, dz] = match self.damage.kind {
            Kind::Rip => {
                let [open, middle] = self.smooth_opening(u);
                let off = v - middle;
                let reach = (0.5 * self.damage.width).max(4.0 * self.mean_pitch());
                let near = exp(-off.abs() / reach);
                let (side, share) = if off < 0.0 { (-1.0, self.hanging()[0]) } else { (1.0, self.hanging()[1]) };
                let curl = self.curl(off.abs() - 0.25 * open, u) * smoothstep(0.0, 0.35 * self.damage.width, open);
                let aside = share * self.lens(u) * self.spread() * near;
                // What hangs is drawn along the rip as well, towards its widest place.
                [-0.6 * (share - 0.2) * aside * self.share(u), side * aside, 2.0 * share * curl]
            }
            Kind::LTear => self.flap(u, v),
            Kind::MothHole | Kind::WornThrough | Kind::Burn => [0.0, 0.0, 0.6 * self.curl(-self.depth(place), u + v)],
            Kind::Hem => {
                let back = self.hem_edge(u) - v;
                [
                    0.3 * self.mean_pitch() * self.noise(20, u / 5.0, v / 5.0) * exp(-back.max(0.0) / 3.0),
                    0.0,
                    0.8 * self.curl(back, u),
                ]
            }
            Kind::Abrasion | Kind::Stain => [0.0; 3],
            Kind::Scrap => [0.0, 0.0, 0.5 * self.curl(-self.depth(place), u + v)],
            Kind::Darn => {
                // Drawn together a little.
                let near = exp(-(self.depth(place) / 4.0).powi(2));
                let r = length(u, v).max(0.5);
                [-0.25 * near * u / r, -0.25 * near * v / r, 0.0]
            }
            Kind::Patch => [0.0, 0.0, self.sewn_lift(place)],
            Kind::Snag => {
                // The pulled pick is short of yarn: the cloth gathers towards the loop along it.
                let near = exp(-(v / (2.5 * self.pitch[1])).powi(2));
                let pull = 0.12 * self.damage.length * near * exp(-u.abs() / (0.9 * self.damage.length));
                let side = (u / (0.3 * self.damage.length)).clamp(-1.0, 1.0);
                [-pull * side, 0.0, 0.10 * near * self.noise(41, u / 1.6, 0.5) * exp(-u.abs() / (2.0 * self.damage.length))]
            }
        };
        if self.damage.along == Along::Weft { [du, dv, dz] } else { [dv, -du, dz] }
    }

    /// Height of a sewn-on patch above its place in flat cloth, or how it presses on the cloth beneath.
    fn sewn_lift(&self, place: [f32; 2]) -> f32 {
        let [inside, stitch] = self.sewn(place[0] - self.at[0], place[1] - self.at[1]);
        let Some([lift, _]) = self.piece else {
            // The cloth is drawn in under each stitch and puckers between them.
            let pucker = if inside < 0.0 { 0.5 * (0.5 - stitch) * exp(inside / 2.2) } else { 0.0 };
            return pucker - 0.08 * smoothstep(1.5, 0.0, inside.abs());
        };
        // The folded edge is two layers thick over 5 mm and rounds down to the cloth; each stitch draws it in.
        let fold = 0.45 * lift * smoothstep(6.0, 3.5, inside);
        let round = 0.7 * lift;
        let t = (inside / round).clamp(0.0, 1.0);
        let edge = (1.0 - (1.0 - t) * (1.0 - t)).sqrt();
        let drawn = 0.30 * lift * stitch * stitch * exp(-((inside - 1.2) / 0.9).powi(2));
        // Between its seams it lies loose.
        let loose = 0.8 * lift * self.noise(42, place[0] / 7.0, place[1] / 9.0) * smoothstep(2.0, 6.0, inside);
        (lift + fold) * (0.25 + 0.75 * edge) + loose - drawn
    }

    /// An edge lifts over its last millimetres, unevenly along the rim.
    fn curl(&self, back: f32, along: f32) -> f32 {
        let strip = 1.5 + 2.5 * self.damage.age + 2.0 * self.mean_pitch();
        let u = (back.max(0.0) / strip).min(1.0);
        let height = (0.15 + 0.65 * self.damage.age) * (0.55 + 0.45 * self.noise(21, along / 7.0, 0.5));
        height * (1.0 - u) * (1.0 - u)
    }

    /// The quadrant between the arms of an L-tear is pulled away from the corner and curls up.
    fn flap(&self, u: f32, v: f32) -> [f32; 3] {
        let l = self.damage.length;
        let inside = u > 0.0 && v < 0.0;
        let r = (u.abs() + v.abs()) / l;
        let near = (1.0 - r).max(0.0);
        let pull = 0.42 * self.damage.width * near * near;
        if inside {
            let lift = (0.35 + 0.8 * self.damage.age) * near * near * (1.0 + 0.3 * self.noise(22, u / 5.0, v / 5.0));
            [pull, -pull, lift]
        } else {
            // The two sides of the corner give way outwards; no step where no tear parts them.
            let away = 0.18 * self.damage.width * near * near;
            let soft = 0.25 * l;
            let left = if v < 0.0 { f32::from(u8::from(u <= 0.0)) } else { smoothstep(soft, -soft, u) };
            let down = if u > 0.0 { f32::from(u8::from(v >= 0.0)) } else { smoothstep(-soft, soft, v) };
            [-away * left, away * down, 0.0]
        }
    }

    /// How worn the thread is, 0..1.
    pub(crate) fn worn(&self, place: [f32; 2]) -> f32 {
        let age = self.damage.age;
        let ragged = |mm: f32| 0.5 * self.noise(23, place[0] / mm, place[1] / mm);
        match self.damage.kind {
            Kind::Abrasion => {
                let [u, v] = self.local(place);
                self.rubbed(u, v, ragged(0.8)) * (0.24 + 0.56 * age)
            }
            Kind::WornThrough => {
                let near = smoothstep(-10.0, 1.0, self.depth(place) + 3.0 * ragged(1.3) + 2.0 * ragged(5.0));
                near * near * (0.30 + 0.60 * age)
            }
            // Thread by thread, not as a band: some are rubbed far back from the rim, their neighbours hardly.
            Kind::Rip | Kind::LTear => {
                smoothstep(-2.5, 0.5, self.depth(place) + 2.4 * ragged(0.7) + 3.0 * ragged(3.5)) * 0.7 * age
            }
            // Threads of a fringe hang free of what rubs cloth; they fade towards their ends (see `tail`).
            Kind::Hem | Kind::Scrap => {
                smoothstep(-1.6, 0.6, self.depth(place) + 2.4 * ragged(0.7) + 2.0 * ragged(3.5)) * 0.4 * age
            }
            // Grazed from the face before it was bitten through, farther on one side than on the other.
            Kind::MothHole => {
                let grazed = 1.2 + 1.6 * self.noise(44, place[0] / 4.0, place[1] / 4.0).max(0.0);
                smoothstep(-grazed, 0.2, self.depth(place) + 0.5 * ragged(0.6)) * 0.4
            }
            Kind::Darn => smoothstep(-1.5, 0.0, self.depth(place)) * 0.5 * age,
            // A patch is rubbed along its folded edge.
            Kind::Patch if self.piece.is_some() => {
                age * 0.9 * smoothstep(1.6, 0.2, (self.depth(place) - 0.4).abs() + 0.3 * ragged(1.0))
            }
            Kind::Burn | Kind::Patch | Kind::Snag | Kind::Stain => 0.0,
        }
    }

    /// How burnt the thread is, 0..1: black at the rim, scorched farther out.
    pub(crate) fn burnt(&self, place: [f32; 2]) -> f32 {
        if self.damage.kind != Kind::Burn {
            return 0.0;
        }
        let rim = 0.6 + 0.08 * self.damage.length;
        let depth = self.depth(place)
            + rim
                * (0.55 * self.noise(24, place[0] / 1.3, place[1] / 1.3) + 0.3 * self.noise(25, place[0] / 0.4, place[1] / 0.4));
        // Black within the rim, brown over three more.
        if depth > -rim { 0.55 + 0.45 * smoothstep(-rim, 0.0, depth) } else { 0.55 * exp((depth + rim) / (1.1 * rim)) }
    }

    /// Where the patch lies: 1 in and around the injury, soft at its rim.
    pub(crate) fn cover(&self, place: [f32; 2]) -> f32 {
        let pitch = self.mean_pitch();
        if self.damage.kind == Kind::Scrap {
            return smoothstep(1.3 * self.fringe() + pitch, self.fringe(), self.depth(place));
        }
        let rim = match self.damage.kind {
            Kind::Rip => 0.5 * self.damage.width + 5.0 * pitch,
            Kind::LTear => 0.45 * self.damage.width + 4.0 * pitch,
            Kind::MothHole => 3.0 * pitch,
            Kind::Burn => 2.2 + 0.28 * self.damage.length,
            Kind::WornThrough => 5.5,
            Kind::Hem => 6.0 * pitch,
            Kind::Abrasion => 0.2 * self.damage.length,
            Kind::Stain => 1.0 + 0.04 * self.damage.length,
            Kind::Scrap => 0.0,
            Kind::Darn => 4.5,
            Kind::Patch => 1.5,
            Kind::Snag => 1.2 * self.damage.length,
        };
        smoothstep(-rim - 2.0 * pitch, -rim + 0.5 * pitch, self.depth(place))
    }

    /// Half the side of a square about `at` beyond which nothing is changed, mm.
    pub(crate) fn reach(&self) -> f32 {
        match self.damage.kind {
            Kind::Rip => 0.5 * self.damage.length + 3.0 * self.damage.width + 6.0 * self.mean_pitch(),
            Kind::LTear => 1.3 * self.damage.length + self.damage.width,
            Kind::Hem | Kind::Scrap => 1e4,
            Kind::Stain => 0.0,
            Kind::Patch => 0.75 * (self.damage.length + self.damage.width),
            _ => 0.75 * self.damage.length + 10.0,
        }
    }

    /// The injury's middle, mm.
    pub(crate) const fn middle(&self) -> [f32; 2] {
        self.at
    }

    /// Greatest sideways move, mm.
    pub(crate) fn greatest_shift(&self) -> f32 {
        0.5 * self.damage.width.max(1.0) * self.spread() * 1.5 + 0.6
    }
}

/// A place on the rim of a sewn-on patch, `t` of the way around, mm from its middle in its own axes, and the way out.
pub(super) fn perimeter(damage: &Damage, t: f32) -> ([f32; 2], [f32; 2]) {
    let (a, b) = (damage.length, damage.width);
    let s = (t - t.floor()) * 2.0 * (a + b);
    if s < a {
        ([s - 0.5 * a, -0.5 * b], [0.0, -1.0])
    } else if s < a + b {
        ([0.5 * a, s - a - 0.5 * b], [1.0, 0.0])
    } else if s < 2.0 * a + b {
        ([0.5 * a - (s - a - b), 0.5 * b], [0.0, 1.0])
    } else {
        ([-0.5 * a, 0.5 * b - (s - 2.0 * a - b)], [-1.0, 0.0])
    }
}
