//! Where threads are missing, how the others move, and what region counts as injured.
//!
//! Everything is a function of place in the cloth (`a` across the ends, `b` along them, mm) and of the thread's number,
//! so that no order of evaluation matters.

use tatter_core::image::LinearRgb;
use tatter_core::model::Subject;
use tatter_core::rng::{hash_unit, value_noise};

use super::{Damage, SceneSpec};

/// Warp or weft.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Family {
    Warp,
    Weft,
}

/// The cloth's own axes in the photo plane, mm, y up.
#[derive(Clone, Copy, Debug)]
pub(super) struct Frame {
    sin: f32,
    cos: f32,
    /// Distance of neighbouring ends, mm.
    pub(super) warp_pitch: f32,
    /// Distance of neighbouring picks, mm.
    pub(super) weft_pitch: f32,
}

impl Frame {
    pub(super) fn new(spec: &SceneSpec) -> Self {
        let (sin, cos) = spec.grain.sin_cos();
        Self { sin, cos, warp_pitch: 10.0 / spec.ends_per_cm.get(), weft_pitch: 10.0 / spec.picks_per_cm.get() }
    }

    /// Photo place of a cloth place.
    pub(super) fn photo_from_cloth(&self, [a, b]: [f32; 2]) -> [f32; 2] {
        [a * self.sin + b * self.cos, -a * self.cos + b * self.sin]
    }

    /// Cloth place of a photo place.
    pub(super) fn cloth_from_photo(&self, [x, y]: [f32; 2]) -> [f32; 2] {
        [x * self.sin - y * self.cos, x * self.cos + y * self.sin]
    }

    /// Mean pitch, mm.
    pub(super) fn pitch(&self) -> f32 {
        (self.warp_pitch * self.weft_pitch).sqrt()
    }
}

/// The damage of a scene, ready to be asked.
#[derive(Debug)]
pub(super) struct Injury<'a> {
    spec: &'a SceneSpec,
    frame: Frame,
    at: [f32; 2],
    half_piece: [f32; 2],
}

impl<'a> Injury<'a> {
    pub(super) fn new(spec: &'a SceneSpec, frame: Frame) -> Self {
        let shorter = spec.width.min(spec.height) as f32 * spec.scale.get();
        Self { spec, frame, at: frame.cloth_from_photo(spec.damage_at), half_piece: [0.30 * shorter, 0.27 * shorter] }
    }

    fn seed(&self, stream: u64) -> u64 {
        self.spec.seed.wrapping_mul(0x1000).wrapping_add(stream)
    }

    fn chance(&self, stream: u64, index: i32, side: bool) -> f32 {
        hash_unit(self.seed(stream), index as u32, u32::from(side))
    }

    /// Half the opening of a rip and its middle line at `a` from the middle of the damage.
    fn rip(&self, a: f32, length: f32, opening: f32) -> (f32, f32) {
        let along = 2.0 * a / length;
        let profile = (1.0 - along * along).max(0.0).sqrt();
        let rough = 1.0 + 0.35 * value_noise(self.seed(1), a / 2.5, 0.0);
        let middle =
            self.frame.pitch() * (1.6 * value_noise(self.seed(2), a / 4.0, 0.0) + 0.8 * value_noise(self.seed(2), a, 9.0));
        (0.5 * opening * profile * rough, middle)
    }

    /// Radius of a blob of that mean diameter in the direction of `(a, b)`.
    fn blob(&self, a: f32, b: f32, diameter: f32) -> f32 {
        let r = a.hypot(b).max(1e-6);
        let (c, s) = (a / r, b / r);
        let wave = 0.26 * value_noise(self.seed(3), 1.3 * c, 1.3 * s) + 0.14 * value_noise(self.seed(4), 4.0 * c, 4.0 * s);
        0.5 * diameter * (1.0 + wave)
    }

    /// Mm inside the injury; negative outside, about as far as the rim is.
    pub(super) fn depth(&self, [a, b]: [f32; 2]) -> f32 {
        let (a, b) = (a - self.at[0], b - self.at[1]);
        match self.spec.damage {
            Damage::None => -1e3,
            Damage::RipAlongWeft { length, opening, .. } => {
                let (half, middle) = self.rip(a, length.get(), opening.get());
                let tip = 0.5 * length.get() - a.abs();
                if tip < 0.0 { -tip.hypot(b - middle) } else { (half - (b - middle).abs()).min(tip + half.min(0.5)) }
            }
            Damage::MothHole { diameter } | Damage::Abrasion { diameter } | Damage::Stain { diameter, .. } => {
                self.blob(a, b, diameter.get()) - a.hypot(b)
            }
        }
    }

    /// Half extents of the piece at a place, with their slow wobble.
    fn piece_edge(&self, a: f32, b: f32) -> [f32; 2] {
        let wobble = 2.5 * self.frame.pitch();
        let side = |v: f32| if v < 0.0 { 7.0 } else { 3.0 };
        [
            self.half_piece[0] + wobble * value_noise(self.seed(5), b / 6.0, side(a)),
            self.half_piece[1] + wobble * value_noise(self.seed(6), a / 6.0, side(b)),
        ]
    }

    /// Mm past the last crossing thread of a piece, along a thread of that family; 0 or less inside.
    pub(super) fn past_edge(&self, family: Family, [a, b]: [f32; 2]) -> f32 {
        if self.spec.subject == Subject::Damage {
            return -1e3;
        }
        let edge = self.piece_edge(a, b);
        if family == Family::Warp { b.abs() - edge[1] } else { a.abs() - edge[0] }
    }

    /// Whether a place lies within the woven part of a piece.
    pub(super) fn inside_piece(&self, place: [f32; 2]) -> bool {
        self.past_edge(Family::Warp, place) < 0.0 && self.past_edge(Family::Weft, place) < 0.0
    }

    /// Whether that thread is missing there.
    pub(super) fn removed(&self, family: Family, index: i32, place: [f32; 2]) -> bool {
        let [a, b] = place;
        if self.spec.subject == Subject::Piece {
            let other = if family == Family::Warp { Family::Weft } else { Family::Warp };
            let along = if family == Family::Warp { b } else { a };
            let chance = self.chance(7, index * 2 + i32::from(family == Family::Warp), along > 0.0);
            let fringe = self.frame.pitch() * (1.0 + 9.0 * chance * chance);
            if self.past_edge(other, place) > 0.0 || self.past_edge(family, place) > fringe {
                return true;
            }
        }
        let (da, db) = (a - self.at[0], b - self.at[1]);
        match self.spec.damage {
            Damage::RipAlongWeft { length, opening, surviving } => {
                let (half, middle) = self.rip(da, length.get(), opening.get());
                if family == Family::Warp {
                    let recoil = self.frame.weft_pitch * (2.2 * self.chance(8, index, db > middle).powi(2) - 0.5);
                    half > 0.0 && (db - middle).abs() < half + recoil
                } else {
                    (db - middle).abs() < half && self.pick_is_broken(index, da, db, length.get(), opening.get(), surviving)
                }
            }
            Damage::MothHole { diameter } => {
                let nibble = self.frame.pitch() * (0.9 * self.chance(9, index, family == Family::Warp) - 0.3);
                da.hypot(db) < self.blob(da, db, diameter.get()) + nibble
            }
            Damage::None | Damage::Abrasion { .. } | Damage::Stain { .. } => false,
        }
    }

    /// A pick in a rip: kept whole, gone, or snapped with its two tails left hanging.
    fn pick_is_broken(&self, index: i32, a: f32, b: f32, length: f32, opening: f32, surviving: f32) -> bool {
        let level = (2.0 * b.abs() / opening).min(1.0);
        if self.chance(10, index, false) < surviving + (1.0 - surviving) * level * level * 0.6 {
            return false;
        }
        let span = 0.5 * length * (1.0 - level * level).max(0.05).sqrt();
        if self.chance(11, index, false) < 0.35 {
            return true;
        }
        let snapped = span * 0.9 * (2.0 * self.chance(12, index, false) - 1.0);
        (a - snapped).abs() < span * (0.15 + 0.5 * self.chance(12, index, true))
    }

    /// How far a thread is moved from where it was woven: along `a`, along `b`, upwards, mm.
    pub(super) fn moved(&self, family: Family, index: i32, place: [f32; 2]) -> [f32; 3] {
        let mut shift = [0.0; 3];
        let pitch = self.frame.pitch();
        let past = self.past_edge(family, place);
        if past > 0.0 {
            let stream = self.seed(13) ^ (family as u64);
            let sway = value_noise(stream, past / (5.0 * pitch), index as f32 * 0.43) * 0.9 * past;
            shift[usize::from(family == Family::Weft)] += sway;
            shift[2] -= (0.4 * past).min(0.7 * pitch);
        }
        let (a, b) = (place[0] - self.at[0], place[1] - self.at[1]);
        if let Damage::RipAlongWeft { length, opening, .. } = self.spec.damage {
            if family == Family::Weft {
                self.sag(index, a, b, length.get(), opening.get(), &mut shift);
            }
            let near = (1.0 + self.depth(place) / (5.0 * pitch)).clamp(0.0, 1.0);
            if family == Family::Warp && near > 0.0 {
                shift[0] += 0.8 * pitch * near * near * value_noise(self.seed(14), b / (3.0 * pitch), index as f32 * 0.31);
            }
            if near < 1.0 {
                shift[2] += 0.5 * pitch * near * near;
            }
        }
        shift
    }

    /// Picks that span a rip lose their crimp: they sag, drop and drift into bundles.
    fn sag(&self, index: i32, a: f32, b: f32, length: f32, opening: f32, shift: &mut [f32; 3]) {
        let level = 2.0 * b / opening;
        if level.abs() >= 1.0 {
            return;
        }
        let span = 0.5 * length * (1.0 - level * level).sqrt();
        let free = (1.0 - (a / span).powi(2)).max(0.0);
        let bundle = value_noise(self.seed(15), index as f32 * 0.37, a / length);
        let own = value_noise(self.seed(16), index as f32 * 0.9, 1.5 * a / length);
        let wave = value_noise(self.seed(17), index as f32 * 7.3, a / (4.0 * self.frame.pitch()));
        shift[1] += free * (0.30 * opening * bundle + 0.12 * opening * own) + free.sqrt() * 0.3 * self.frame.weft_pitch * wave;
        shift[2] -= free * self.frame.pitch() * (0.5 + 0.5 * self.chance(18, index, false));
    }

    /// How worn the crowns are, 0..1.
    pub(super) fn worn(&self, place: [f32; 2]) -> f32 {
        let Damage::Abrasion { diameter } = self.spec.damage else { return 0.0 };
        let ragged = 0.3 * value_noise(self.seed(19), place[0] / 1.3, place[1] / 1.3);
        (self.depth(place) / (0.3 * diameter.get()) + ragged + 0.2).clamp(0.0, 1.0)
    }

    /// Share of light a stain leaves, per channel.
    pub(super) fn transmittance(&self, place: [f32; 2]) -> LinearRgb {
        let Damage::Stain { diameter, transmittance } = self.spec.damage else { return LinearRgb([1.0; 3]) };
        let depth = self.depth(place) + 0.4 * value_noise(self.seed(20), place[0], place[1]);
        let inside = (depth / 0.8 + 0.5).clamp(0.0, 1.0);
        // Dissolved matter is carried to the rim and dries there: the ring is darker than the middle.
        let ring = (-(depth / (0.07 * diameter.get())).powi(2)).exp();
        let middle = 0.55 + 0.15 * value_noise(self.seed(21), place[0] / 3.0, place[1] / 3.0);
        let strength = inside * (middle + 0.9 * ring);
        LinearRgb(transmittance.0.map(|t| t.max(1e-3).powf(strength)))
    }

    /// Cover of the injury: 1 inside, soft over one pitch outside.
    pub(super) fn cover(&self, place: [f32; 2]) -> f32 {
        let t = (self.depth(place) / self.frame.pitch() + 1.5).clamp(0.0, 1.0);
        t * t * (3.0 - 2.0 * t)
    }
}
