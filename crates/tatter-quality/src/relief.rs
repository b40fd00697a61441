//! Relief alone, with openings, thread spacing and grain as they are.

use tatter_cloth::relief::{ReliefError, ReliefInput, relief};
use tatter_core::angle::Angle;
use tatter_core::image::Unit;
use tatter_core::task::Task;
use tatter_testkit::measures::{angle, brightness_angle, closed, color_difference, correlation, range, woven_normals};
use tatter_testkit::scene::{Scene, Spec, cloths};

use crate::scenes::List;
use crate::table::Table;

const COLUMNS: [(&str, usize); 8] = [
    ("normals °", 2),
    ("brightness °", 2),
    ("ratio", 2),
    ("dE00", 2),
    ("height corr.", 2),
    ("range mm", 2),
    ("true range mm", 2),
    ("confidence", 2),
];
/// What is known of the light, its direction, how far off the vertical.
pub(crate) const LIGHTS: [(&str, f32, f32); 5] =
    [("told", 125.0, 45.0), ("told", 20.0, 35.0), ("found", 125.0, 45.0), ("found", 262.0, 30.0), ("soft", 0.0, 0.0)];

/// All cloths under all lights, and the means for each kind of light.
pub(crate) fn table(list: List) -> Result<String, ReliefError> {
    let mut table = Table::new("cloth, light", &COLUMNS);
    let mut kinds = ["told", "found", "soft"].map(|kind| (kind, Table::new("light", &COLUMNS)));
    for (name, cloth, pitch_px) in cloths() {
        let spec = Spec { seed: list.seed(), ..Spec::new(cloth, 256, pitch_px) };
        for (light, from, off) in LIGHTS {
            let spec = if light == "soft" { spec.soft() } else { spec.lamp(from, off) };
            let row = row(&spec.shoot(), &spec, light == "told")?;
            table.row(&format!("{name}, {light} {from:.0}/{off:.0}"), &row);
            for (_, kind) in kinds.iter_mut().filter(|(kind, _)| *kind == light) {
                kind.row(name, &row);
            }
        }
    }
    for (kind, of) in &kinds {
        let means: Vec<f32> = (0..COLUMNS.len()).map(|i| of.mean(i)).collect();
        table.row(&format!("**{kind}, mean**"), &means);
    }
    Ok(table.into_text())
}

fn row(scene: &Scene, spec: &Spec, told: bool) -> Result<[f32; 8], ReliefError> {
    let mask = closed(&scene.maps.opacity);
    let cover = scene.maps.opacity.map(|_| Unit(1.0));
    let mut input = ReliefInput::new(&cover, &scene.maps.opacity, scene.scale);
    input.pitch_px = Some(scene.pitch_px);
    input.thread_dirs = Some([spec.grain, spec.grain + Angle::degrees(90.0)]);
    if told {
        (input.light_from, input.light_elevation) = (Some(spec.shot.light_from), Some(spec.shot.elevation));
    }
    let made = relief(&scene.photo, &input, &Task::new())?;
    let woven = woven_normals(&scene.maps.height, scene.scale);
    let (ours, brightness) = (angle(&made.normal, &woven, &mask), brightness_angle(&scene.photo, scene.scale, &woven, &mask));
    Ok([
        ours,
        brightness,
        ours / brightness,
        color_difference(&made.base_color, &scene.maps.base_color, &mask),
        correlation(&made.height, &scene.maps.height, &mask),
        range(&made.height, &mask),
        range(&scene.maps.height, &mask),
        made.confidence,
    ])
}
