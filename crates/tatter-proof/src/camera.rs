//! Where the eye stands.

use glam::{Mat3, Mat4, Vec2, Vec3, Vec4};
use tatter_core::angle::Angle;

/// An eye in world space; perspective.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    /// Where it stands.
    pub eye: Vec3,
    /// What it looks at.
    pub target: Vec3,
    /// Which way is up in the picture.
    pub up: Vec3,
    /// Field of view from bottom to top.
    pub field: Angle,
    /// What is nearer than this share of the way to the target is cut away: cloth between the eye and a close-up. 0: nothing.
    pub clear: f32,
}

/// The usual sides of a garment. The front faces +z, as glTF has it (2.0, 3.4).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// The front.
    Front,
    /// From the front, an eighth of a turn to the wearer's left, a little from above.
    ThreeQuarter,
    /// The wearer's left.
    Left,
    /// The back.
    Back,
    /// The wearer's right.
    Right,
}

impl Side {
    /// All of them, in the order a garment is walked around.
    pub const ALL: [Self; 5] = [Self::Front, Self::ThreeQuarter, Self::Left, Self::Back, Self::Right];

    /// The name on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Front => "front",
            Self::ThreeQuarter => "three-quarter",
            Self::Left => "left",
            Self::Back => "back",
            Self::Right => "right",
        }
    }

    /// Turn about the upright axis from the front, towards the wearer's left, and lift above the horizon.
    pub fn turn_and_lift(self) -> (Angle, Angle) {
        let (turn, lift) = match self {
            Self::Front => (0.0, 4.0),
            Self::ThreeQuarter => (40.0, 12.0),
            Self::Left => (90.0, 4.0),
            Self::Back => (180.0, 4.0),
            Self::Right => (270.0, 4.0),
        };
        (Angle::degrees(turn), Angle::degrees(lift))
    }
}

/// A lens of about 85 mm on full frame: what garments are photographed with (common practice, no source).
const FIELD_DEGREES: f32 = 16.0;
/// Air around the garment, share of the picture's half side.
const AIR: f32 = 0.06;

impl Camera {
    /// An eye that looks at the whole of some points from a turn about y (0 from +z) and a lift, in a picture `aspect` times as
    /// wide as high, as near as they fit. With no points it looks at the origin.
    pub fn around(points: impl Iterator<Item = Vec3>, turn: Angle, lift: Angle, aspect: f32) -> Self {
        let (turn_sin, turn_cos) = turn.sin_cos();
        let (lift_sin, lift_cos) = lift.sin_cos();
        let back = Vec3::new(turn_sin * lift_cos, lift_sin, turn_cos * lift_cos);
        Self::fitting(points, back, Vec3::Y, aspect)
    }

    /// An eye that looks against `back` at the whole of some points.
    fn fitting(points: impl Iterator<Item = Vec3>, back: Vec3, up: Vec3, aspect: f32) -> Self {
        let right = up.cross(back).try_normalize().unwrap_or(Vec3::X);
        let above = back.cross(right);
        let in_view: Vec<Vec3> = points.map(|p| Vec3::new(p.dot(right), p.dot(above), p.dot(back))).collect();
        let Some(first) = in_view.first().copied() else {
            return Self { eye: back, target: Vec3::ZERO, up: above, field: Angle::degrees(FIELD_DEGREES), clear: 0.0 };
        };
        let (low, high) = in_view.iter().fold((first, first), |(low, high), p| (low.min(*p), high.max(*p)));
        let middle = 0.5 * (low + high);
        let field = Angle::degrees(FIELD_DEGREES);
        let half = (0.5 * field.to_radians()).tan() * (1.0 - AIR);
        let far = in_view.iter().fold(f32::EPSILON, |far, p| {
            let d = *p - middle;
            far.max(d.z + (d.x.abs() / aspect).max(d.y.abs()) / half)
        });
        let target = right * middle.x + above * middle.y + back * middle.z;
        Self { eye: target + back * far, target, up: above, field, clear: 0.0 }
    }

    /// An eye close above a place of the cloth: looks at `place` from its `normal`, leant by `lean` towards where world up is in
    /// the picture, and takes in `side` (world units) of it.
    pub fn close_up(place: Vec3, normal: Vec3, side: f32, lean: Angle) -> Self {
        let out = normal.try_normalize().unwrap_or(Vec3::Z);
        // A hem's underside or a shoulder's top: then what lies ahead is up.
        let rough_up = if out.y.abs() < 0.9 { Vec3::Y } else { Vec3::NEG_Z * out.y.signum() };
        let up = (rough_up - out * out.dot(rough_up)).normalize_or(Vec3::Y);
        let field = Angle::degrees(FIELD_DEGREES);
        let far = 0.5 * side / (0.5 * field.to_radians()).tan();
        let (sin, cos) = lean.sin_cos();
        // Folds as high as half of what is seen stay.
        let clear = 1.0 - 0.5 * side / far;
        Self { eye: place + (out * cos - up * sin) * far, target: place, up, field, clear }
    }

    /// Where the eye stands around the upright axis: 0 on +z, towards +x.
    pub fn turn(&self) -> Angle {
        let back = self.eye - self.target;
        Angle::radians(back.x.atan2(back.z))
    }

    /// The plane that cuts away what [`Camera::clear`] says: a point is kept where its dot product with xyz, plus w, is not negative.
    /// Zeros when nothing is cut.
    pub(crate) fn cut_plane(&self) -> Vec4 {
        let ahead = (self.target - self.eye).normalize_or_zero();
        let near = self.clear * self.eye.distance(self.target);
        if self.clear > 0.0 { ahead.extend(-ahead.dot(self.eye) - near) } else { Vec4::ZERO }
    }

    /// The line of sight through a place of a picture `aspect` times as wide as high; places run from (0, 0), top left, to (1, 1).
    /// Where it begins, and its unit direction.
    pub fn sight(&self, place: Vec2, aspect: f32) -> (Vec3, Vec3) {
        let half = (0.5 * self.field.to_radians()).tan();
        let aside = Vec3::new((2.0 * place.x - 1.0) * half * aspect, (1.0 - 2.0 * place.y) * half, -1.0);
        let world_from_camera = Mat3::from_mat4(self.camera_from_world()).transpose();
        (self.eye, (world_from_camera * aside).normalize_or(self.target - self.eye))
    }

    /// The place of a picture that shows a point, as [`Camera::sight`] counts places; `None` beside or behind the eye.
    pub fn place_of(&self, point: Vec3, aspect: f32) -> Option<Vec2> {
        let seen = self.camera_from_world().transform_point3(point);
        let half = (0.5 * self.field.to_radians()).tan();
        let ahead = -seen.z;
        (ahead > 1e-6 * self.eye.distance(self.target))
            .then(|| Vec2::new(0.5 + 0.5 * seen.x / (ahead * half * aspect), 0.5 - 0.5 * seen.y / (ahead * half)))
    }

    /// World to camera: right, up, and back towards the eye.
    pub fn camera_from_world(&self) -> Mat4 {
        glam::camera::rh::view::look_at_mat4(self.eye, self.target, self.up)
    }

    /// World to clip space for a picture of `aspect`, with everything of `bounds` between near and far plane.
    pub fn clip_from_world(&self, aspect: f32, bounds: (Vec3, Vec3)) -> Mat4 {
        let camera_from_world = self.camera_from_world();
        let (low, high) = bounds;
        let (mut near, mut far) = (f32::INFINITY, 0.0_f32);
        for corner in 0..8 {
            let pick = |bit: usize, low: f32, high: f32| if corner >> bit & 1 == 0 { low } else { high };
            let p = Vec3::new(pick(0, low.x, high.x), pick(1, low.y, high.y), pick(2, low.z, high.z));
            let depth = -camera_from_world.transform_point3(p).z;
            near = near.min(depth);
            far = far.max(depth);
        }
        let reach = self.eye.distance(self.target).max(1e-6);
        let far = far.max(1e-3 * reach) * 1.001;
        let near = (near * 0.999).max(self.clear.max(1e-3) * reach).min(0.9 * far);
        glam::camera::rh::proj::directx::perspective(self.field.to_radians(), aspect, near, far) * camera_from_world
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_looked_at_lies_whole_in_the_picture_and_fills_it() {
        let cloud: Vec<Vec3> = (0..200)
            .map(|i| {
                let t = i as f32;
                Vec3::new(0.3 * (t * 0.7).sin(), 0.9 + 0.8 * (t * 1.3).cos(), 0.2 * (t * 2.1).sin())
            })
            .collect();
        let low = cloud.iter().fold(Vec3::MAX, |a, b| a.min(*b));
        let high = cloud.iter().fold(Vec3::MIN, |a, b| a.max(*b));
        for facing in Side::ALL {
            for aspect in [0.6, 1.0, 1.8] {
                let (turn, lift) = facing.turn_and_lift();
                let camera = Camera::around(cloud.iter().copied(), turn, lift, aspect);
                let clip = camera.clip_from_world(aspect, (low, high));
                let most = cloud.iter().fold(0.0_f32, |most, p| {
                    let c = clip.project_point3(*p);
                    assert!((0.0..=1.0).contains(&c.z), "{facing:?}: depth {} lies outside", c.z);
                    most.max(c.x.abs()).max(c.y.abs())
                });
                assert!((0.8..=1.0).contains(&most), "{facing:?}, aspect {aspect}: reaches to {most}");
            }
        }
    }

    #[test]
    fn a_line_of_sight_meets_what_its_place_shows() {
        let bounds = (Vec3::splat(-0.4), Vec3::splat(0.4));
        for (turn, aspect) in [(0.0, 1.0), (40.0, 1.7), (200.0, 0.6)] {
            let camera = Camera::around([bounds.0, bounds.1].into_iter(), Angle::degrees(turn), Angle::degrees(10.0), aspect);
            let clip = camera.clip_from_world(aspect, bounds);
            for point in [Vec3::ZERO, Vec3::new(0.2, -0.3, 0.1), Vec3::new(-0.3, 0.3, -0.2)] {
                let place = camera.place_of(point, aspect).unwrap();
                let drawn = clip.project_point3(point);
                let expected = Vec2::new(0.5 + 0.5 * drawn.x, 0.5 - 0.5 * drawn.y);
                assert!(place.distance(expected) < 1e-5, "{turn}: {place} is drawn at {expected}");
                let (from, along) = camera.sight(place, aspect);
                let off = (point - from).cross(along).length();
                assert!(off < 1e-5, "{turn}: the line passes {point} by {off}");
            }
            assert_eq!(camera.place_of(camera.eye + (camera.eye - camera.target), aspect), None, "behind the eye");
        }
    }

    #[test]
    fn a_close_up_shows_the_side_it_is_told() {
        let camera = Camera::close_up(Vec3::new(0.1, 1.0, 0.2), Vec3::Z, 0.1, Angle::ZERO);
        let clip = camera.clip_from_world(1.0, (Vec3::splat(-1.0), Vec3::splat(2.0)));
        let kept = |p: Vec3| camera.cut_plane().dot(p.extend(1.0)) >= 0.0;
        assert!(kept(Vec3::new(0.1, 1.0, 0.24)) && !kept(Vec3::new(0.1, 1.0, 0.26)), "half of what is seen stands before it");
        let edge = clip.project_point3(Vec3::new(0.15, 1.05, 0.2));
        assert!((edge.x - 1.0).abs() < 1e-3 && (edge.y - 1.0).abs() < 1e-3, "the corner lies at {edge}");
    }
}
