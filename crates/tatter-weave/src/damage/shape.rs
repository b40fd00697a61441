//! Outlines of injuries: the lens of a rip, a moth's bites, where cloth was rubbed or stained, the edges of a scrap.

use tatter_core::image::LinearRgb;

use super::wound::Wound;
use crate::maths::{exp, lerp, ln, sin_cos, sin_cos_turns, smoothstep};
use crate::noise::{normal, pick};

/// Length over breadth of a rubbed place.
pub(super) const RUBBED: f32 = 1.6;
/// Share of light that tea stains let through where they are full, linear light (chosen by eye).
const TEA: LinearRgb = LinearRgb([0.66, 0.50, 0.30]);

impl Wound {
    /// A moth's meal: two to four bites that run into each other.
    pub(super) fn discs(&self) -> Vec<[f32; 3]> {
        let r = 0.5 * self.damage.length;
        let count = 2 + (pick(self.seed ^ 1, 0, 0) * 2.6) as i32;
        let mut discs = vec![[0.0, 0.0, 0.72 * r]];
        for k in 1..count {
            let (s, c) = sin_cos_turns(pick(self.seed ^ 1, k, 1));
            let own = r * (0.3 + 0.32 * pick(self.seed ^ 1, k, 2));
            discs.push([c * (r - own), s * (r - own), own]);
        }
        discs
    }

    /// Place along a rip, -1 and 1 at its tips, 0 where it is widest: seldom its middle.
    pub(super) fn share(&self, u: f32) -> f32 {
        let widest = 0.7 * pick(self.seed ^ 60, 0, 0) - 0.35;
        let off = 2.0 * u / self.damage.length - widest;
        off / if off < 0.0 { 1.0 + widest } else { 1.0 - widest }
    }

    /// How a rip closes towards its tips, 1 to 0: one tip blunt, the other running out in a slit.
    fn closing(&self, u: f32) -> f32 {
        let share = self.share(u);
        let lens = (1.0 - share * share).max(0.0);
        lerp(lens, lens * lens, pick(self.seed ^ 61, i32::from(share > 0.0), 0))
    }

    /// Opening of a rip without its roughness: what pushes cloth aside.
    pub(super) fn lens(&self, u: f32) -> f32 {
        self.damage.width * self.closing(u) * (1.0 + 0.25 * self.noise(30, u / (0.3 * self.damage.length), 0.5))
    }

    /// The line a rip runs along, in threads from its middle.
    fn drift(&self, u: f32) -> f32 {
        5.0 * self.noise(3, u / (2.0 + 0.16 * self.damage.length), 0.5)
    }

    /// Opening and middle of a rip `u` along it, without the steps of its threads: what its surroundings see.
    pub(super) fn smooth_opening(&self, u: f32) -> [f32; 2] {
        [self.opening(u)[0], self.pitch[1 - self.across()] * self.drift(u)]
    }

    /// Opening and middle of a rip `u` along it. It follows one thread and steps to a neighbour here and there.
    pub(super) fn opening(&self, u: f32) -> [f32; 2] {
        let lens = self.closing(u);
        let wide = self.noise(1, u / (1.5 + 0.11 * self.damage.length), 0.5);
        let rough = (1.0 + 0.6 * wide + 0.16 * self.noise(2, u / 0.9, 0.5)).max(0.2);
        let pitch = self.pitch[1 - self.across()];
        let middle = pitch * (self.drift(u).round() + 0.3 * self.noise(4, u / 1.2, 0.5));
        [self.damage.width * lens.sqrt() * (0.3 + 0.7 * lens.sqrt()) * rough, middle]
    }

    /// Whether a thread across a rip still holds there: near the tips some do.
    pub(super) fn holds(&self, thread: i32, u: f32) -> bool {
        pick(self.seed ^ 62, thread, 0) < 0.34 * smoothstep(0.55, 0.95, self.share(u).abs())
    }

    /// Shares of a rip's opening that its two sides give way by, above and below: one side hangs.
    pub(super) fn hanging(&self) -> [f32; 2] {
        let more = 0.12 + 0.28 * pick(self.seed ^ 63, 0, 0);
        let above = if pick(self.seed ^ 63, 1, 0) < 0.35 { 0.5 + more } else { 0.5 - more };
        [above, 1.0 - above]
    }

    /// Along the direction of rubbing and across it.
    pub(super) fn along_rubbing(&self, u: f32, v: f32) -> [f32; 2] {
        let (s, c) = sin_cos(0.3 * normal(self.seed ^ 64, 0, 0));
        [u * c + v * s, v * c - u * s]
    }

    /// How rubbed a place is, 0..1.1: a few strokes over each other, each fading over its whole breadth, streaked along it.
    pub(super) fn rubbed(&self, u: f32, v: f32, fine: f32) -> f32 {
        let r = 0.5 * self.damage.length;
        let [a, b] = self.along_rubbing(u, v);
        let mut left = 1.0;
        for k in 0..5 {
            let own = |m: i32| 2.0 * pick(self.seed ^ 65, k, m) - 1.0;
            let main = k == 0;
            let (at, size) = if main { ([0.0, 0.0], 1.0) } else { ([0.55 * own(0), 0.6 * own(1)], 0.5 + 0.2 * own(2)) };
            let (x, y) = ((a / r - at[0]) / size, (b / r * RUBBED - at[1]) / (if main { 1.0 } else { 0.7 } * size));
            let soft = smoothstep(1.25, 0.0, crate::maths::length(x, y));
            left *= 1.0 - (if main { 0.62 } else { 0.45 + 0.25 * own(3) }) * soft;
        }
        let streak = self.noise(50, a / 7.0, b / 0.9) + 0.7 * self.noise(51, a / 3.0, b / 0.4);
        let patchy = self.noise(52, a / 5.0, b / 3.0) + 0.6 * self.noise(53, a / 1.6, b / 1.2);
        let soft = 1.0 - left;
        (soft * (1.0 + 0.45 * streak + 0.5 * patchy + 0.5 * fine) + 0.12 * (streak + patchy) * smoothstep(0.02, 0.3, soft))
            .clamp(0.0, 1.1)
    }

    /// Mm past the last crossing thread of a scrap, along the weft and along the warp; negative within.
    pub(super) fn past_scrap(&self, u: f32, v: f32) -> [f32; 2] {
        let edge = |stream: u64, along: f32, side: f32| {
            let lane = if side < 0.0 { 7.0 } else { 3.0 };
            self.mean_pitch() * (2.0 * self.noise(stream, along / 9.0, lane) + 0.8 * self.noise(stream + 1, along / 2.0, lane))
        };
        [u.abs() - 0.5 * self.damage.length + edge(54, v, u), v.abs() - 0.5 * self.damage.width + edge(56, u, v)]
    }

    /// Longest threads of a scrap's fringe, mm.
    pub(super) fn fringe(&self) -> f32 {
        self.mean_pitch() * (1.5 + 9.0 * self.damage.age)
    }

    /// A colour under a stain.
    pub(crate) fn stained(&self, place: [f32; 2], LinearRgb(color): LinearRgb) -> LinearRgb {
        let depth = self.depth(place) + 0.4 * self.noise(58, place[0], place[1]);
        let inside = smoothstep(-0.4, 0.4, depth);
        // What the water carried is left at the rim, where it dried last: the ring is darker than the middle.
        let off = depth / (0.5 + 0.04 * self.damage.length);
        let middle = 0.5 + 0.2 * self.noise(59, place[0] / 3.0, place[1] / 3.0);
        let strength = inside * (middle + 0.9 * exp(-off * off));
        let LinearRgb(share) = self.damage.color.unwrap_or(TEA);
        LinearRgb([0, 1, 2].map(|k| color[k] * exp(strength * ln(share[k].max(0.001)))))
    }
}
