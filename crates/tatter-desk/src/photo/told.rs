//! Tools, and what each says when something was drawn with it.

use tatter::color::{GreyPick, Known};
use tatter::cutting::Told;
use tatter_core::angle::Angle;
use tatter_core::model::{Scale, Stroke, StrokeKind};

use super::beside::{Quad, Shot, with_shot};

/// What is in the hand.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Tool {
    /// Nothing: the photo is shifted.
    #[default]
    Hand,
    /// A stroke that says what lies beneath it.
    Stroke(StrokeKind),
    /// Takes whole strokes away.
    Rubber,
    /// A line of known length.
    Ruler,
    /// A line along the warp.
    Grain,
    /// A line from the cloth towards the lamp.
    Light,
    /// A neutral place.
    Grey,
    /// Four corners of a chart or of a rectangle of known size.
    Mark(Quad),
    /// A loop around one injury.
    Loop,
}

impl Tool {
    /// As they lie on the table.
    pub(crate) const ALL: [Self; 13] = [
        Self::Hand,
        Self::Loop,
        Self::Stroke(StrokeKind::Damage),
        Self::Stroke(StrokeKind::Gap),
        Self::Stroke(StrokeKind::Cloth),
        Self::Stroke(StrokeKind::Backing),
        Self::Rubber,
        Self::Ruler,
        Self::Mark(Quad::Rectangle),
        Self::Grain,
        Self::Light,
        Self::Grey,
        Self::Mark(Quad::Chart),
    ];

    /// Whether it is as broad as the brush.
    pub(crate) const fn is_broad(self) -> bool {
        matches!(self, Self::Stroke(_) | Self::Rubber)
    }

    /// Whether only its two ends matter.
    pub(crate) const fn is_line(self) -> bool {
        matches!(self, Self::Ruler | Self::Grain | Self::Light | Self::Mark(_))
    }
}

/// One thing that can be taken back by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// All strokes.
    Strokes,
    /// The loop.
    Loop,
    /// The ruler line, or what else gave the scale.
    Ruler,
    /// The grain line.
    Grain,
    /// The light line.
    Light,
    /// The grey place.
    Grey,
    /// The colour chart.
    Chart,
    /// Another shot.
    Shot(Shot),
}

/// Points of a drawn line that are nearer to each other than this share of its breadth say nothing more.
const SPACING: f32 = 0.3;

/// A stroke.
pub(super) fn with_stroke(told: &Told, kind: StrokeKind, drawn: &[[f32; 2]], radius: f32) -> Told {
    let mut points: Vec<[f32; 2]> = Vec::new();
    for (number, point) in drawn.iter().enumerate() {
        let is_last = number + 1 == drawn.len();
        if points.last().is_none_or(|last| far(*last, *point) >= SPACING * radius.max(1.0) || (is_last && last != point)) {
            points.push(*point);
        }
    }
    let mut told = told.clone();
    told.recipe.strokes.push(Stroke { kind, points, radius });
    told
}

/// Without the strokes that were touched; `None` when none was.
pub(super) fn without_touched(told: &Told, drawn: &[[f32; 2]], radius: f32) -> Option<Told> {
    let touched = |stroke: &Stroke| {
        let near = |from: [f32; 2], to: [f32; 2]| drawn.iter().any(|at| off_line(*at, from, to) <= stroke.radius + radius);
        match &stroke.points[..] {
            [one] => near(*one, *one),
            points => points.windows(2).any(|pair| near(pair[0], pair[1])),
        }
    };
    let mut rest = told.clone();
    rest.recipe.strokes.retain(|stroke| !touched(stroke));
    (rest.recipe.strokes.len() < told.recipe.strokes.len()).then_some(rest)
}

/// The circle about a loop; about a place that was only touched, one of `usual` radius.
pub(super) fn with_loop(told: &Told, drawn: &[[f32; 2]], usual: f32) -> Option<Told> {
    let first = *drawn.first()?;
    let bounds = drawn.iter().fold([first, first], |[low, high], at| {
        [[low[0].min(at[0]), low[1].min(at[1])], [high[0].max(at[0]), high[1].max(at[1])]]
    });
    let middle = [0, 1].map(|c: usize| 0.5 * (bounds[0][c] + bounds[1][c]));
    let radius = drawn.iter().map(|at| far(middle, *at)).fold(0.0, f32::max);
    let mut told = told.clone();
    told.recipe.around = Some(if radius < 0.1 * usual { [first[0], first[1], usual] } else { [middle[0], middle[1], radius] });
    Some(told)
}

/// The grain along a line, as seen.
pub(super) fn with_grain(told: &Told, [from, to]: [[f32; 2]; 2]) -> Told {
    let mut told = told.clone();
    told.recipe.grain = Some(Angle::radians((from[1] - to[1]).atan2(to[0] - from[0])).as_line());
    told
}

/// Light from where a line points to, as seen.
pub(super) fn with_light(told: &Told, [from, to]: [[f32; 2]; 2]) -> Told {
    let mut told = told.clone();
    told.recipe.light_from = Some(Angle::radians((from[1] - to[1]).atan2(to[0] - from[0])));
    // Of several lamps a lights file tells.
    told.shots.lights = None;
    told
}

/// A neutral place.
pub(super) fn with_grey(told: &Told, at: [f32; 2], reflectance: f32) -> Told {
    let mut told = told.clone();
    told.color.known = Some(Known::Grey(GreyPick { at, radius: None, reflectance }));
    told
}

/// Without one part.
pub(super) fn without(told: &Told, part: Part) -> Told {
    let mut told = told.clone();
    match part {
        Part::Strokes => told.recipe.strokes.clear(),
        Part::Loop => told.recipe.around = None,
        Part::Ruler => told.recipe.scale = Scale::Unknown,
        Part::Grain => told.recipe.grain = None,
        Part::Light => told.recipe.light_from = None,
        Part::Grey | Part::Chart => told.color.known = None,
        Part::Shot(shot) => return with_shot(&told, shot, None),
    }
    told
}

pub(super) fn far(from: [f32; 2], to: [f32; 2]) -> f32 {
    (from[0] - to[0]).hypot(from[1] - to[1])
}

/// How far a point is from a piece of a line.
fn off_line(at: [f32; 2], from: [f32; 2], to: [f32; 2]) -> f32 {
    let (along, off) = ([to[0] - from[0], to[1] - from[1]], [at[0] - from[0], at[1] - from[1]]);
    let length = along[0] * along[0] + along[1] * along[1];
    let share = if length > 0.0 { ((along[0] * off[0] + along[1] * off[1]) / length).clamp(0.0, 1.0) } else { 0.0 };
    far(off, along.map(|v| v * share))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rubber_takes_whole_strokes() {
        let told = with_stroke(&Told::default(), StrokeKind::Cloth, &[[10.0, 10.0], [90.0, 10.0]], 4.0);
        let told = with_stroke(&told, StrokeKind::Damage, &[[10.0, 60.0]], 4.0);
        let rest = without_touched(&told, &[[50.0, 16.0]], 3.0).expect("between its ends it was touched");
        assert_eq!(rest.recipe.strokes.len(), 1, "all of it is gone");
        assert_eq!(rest.recipe.strokes[0].kind, StrokeKind::Damage, "and no other");
        assert!(without_touched(&told, &[[50.0, 18.0]], 3.0).is_none(), "eight away, seven reach: nothing");
    }

    #[test]
    fn a_stroke_keeps_its_shape_and_its_ends() {
        let drawn: Vec<[f32; 2]> = (0..=1000).map(|n| [n as f32 * 0.1, 0.0]).collect();
        let told = with_stroke(&Told::default(), StrokeKind::Gap, &drawn, 10.0);
        let points = &told.recipe.strokes[0].points;
        assert!(points.len() < 40, "a thousand reports of the pointer are not a thousand corners: {}", points.len());
        assert_eq!((points[0], points[points.len() - 1]), ([0.0, 0.0], [100.0, 0.0]), "from end to end");
    }

    #[test]
    fn a_loop_is_a_circle_and_a_touch_a_usual_one() {
        let around: Vec<[f32; 2]> =
            (0..32).map(|n| (n as f32 * 0.2).sin_cos()).map(|(s, c)| [50.0 + 20.0 * c, 40.0 + 20.0 * s]).collect();
        let [x, y, r] = with_loop(&Told::default(), &around, 30.0).and_then(|told| told.recipe.around).expect("a circle");
        assert!((x - 50.0).abs() < 0.2 && (y - 40.0).abs() < 0.2 && (r - 20.0).abs() < 0.2, "{x}, {y}, {r}");
        let touched = with_loop(&Told::default(), &[[7.0, 9.0]], 30.0).and_then(|told| told.recipe.around);
        assert_eq!(touched, Some([7.0, 9.0, 30.0]), "where it was touched");
    }

    #[test]
    fn grain_counts_counter_clockwise_as_seen() {
        let up_right = with_grain(&Told::default(), [[0.0, 100.0], [100.0, 0.0]]).recipe.grain.expect("a grain");
        assert!((up_right.to_degrees() - 45.0).abs() < 1e-3, "{}", up_right.to_degrees());
        // A line along the warp has no end to point with; light comes from one side.
        let down = [[50.0, 20.0], [50.0, 80.0]];
        let light = with_light(&Told::default(), down).recipe.light_from.expect("a light");
        assert!((light.to_degrees() + 90.0).abs() < 1e-3, "from below: {}", light.to_degrees());
        assert_eq!(without(&with_light(&Told::default(), down), Part::Light), Told::default(), "and taken back");
    }
}
