//! The cloths and lights that relief is measured on.

use tatter_cloth::made::{Damage, Hand, SceneSpec, Weave};
use tatter_core::angle::Angle;
use tatter_core::image::LinearRgb;
use tatter_core::units::{MmPerTexel, PerCm};

/// Cloth without damage, one for each way in which brightness is not height.
pub(crate) fn cloths(side: usize) -> Vec<(&'static str, SceneSpec)> {
    let base = SceneSpec { width: side, height: side, damage: Damage::None, ..SceneSpec::default() };
    let dyed = |color: [f32; 3], seed: u64| SceneSpec {
        warp: LinearRgb(color),
        weft: LinearRgb(color),
        core: LinearRgb(color.map(|c| 0.5 * c + 0.2)),
        seed,
        ..base.clone()
    };
    let white = LinearRgb([0.60, 0.58, 0.52]);
    let (two_two, denim) = (Weave::Twill { over: 2, under: 2, hand: Hand::Z }, Weave::Twill { over: 3, under: 1, hand: Hand::S });
    let (ends, picks) = (PerCm(15.0), PerCm(13.0));
    vec![
        ("canvas, ochre", base.clone()),
        ("plain, light", SceneSpec { scale: MmPerTexel(0.06), ..dyed([0.70, 0.68, 0.62], 2) }),
        ("plain, dark", dyed([0.05, 0.06, 0.09], 3)),
        ("plain, fine", SceneSpec { ends_per_cm: PerCm(20.0), picks_per_cm: PerCm(19.0), ..dyed([0.35, 0.34, 0.32], 7) }),
        ("plain, two-coloured", SceneSpec { weft: white, ..dyed([0.50, 0.10, 0.08], 6) }),
        ("twill, grey", SceneSpec { weave: two_two, grain: Angle::degrees(80.0), ..dyed([0.35, 0.34, 0.32], 4) }),
        ("denim", SceneSpec { weave: denim, weft: white, ends_per_cm: ends, picks_per_cm: picks, ..dyed([0.06, 0.09, 0.20], 5) }),
        ("satin, wine", SceneSpec { weave: Weave::Satin { ends: 5 }, ..dyed([0.30, 0.05, 0.15], 8) }),
    ]
}

/// Pressed as finished cloth is: yarns a third as thick as broad.
pub(crate) fn finished(spec: &SceneSpec) -> SceneSpec {
    SceneSpec { flatness: 0.3, ..spec.clone() }
}

/// A lamp that far off the vertical.
pub(crate) fn lamp(spec: &SceneSpec, from: f32, off_vertical: f32) -> SceneSpec {
    SceneSpec {
        light_from: Angle::degrees(from),
        light_elevation: Angle::degrees(90.0 - off_vertical),
        ambient: 0.25,
        ..spec.clone()
    }
}

/// An overcast sky: a tenth of the light comes from overhead.
pub(crate) fn soft(spec: &SceneSpec) -> SceneSpec {
    SceneSpec { light_elevation: Angle::degrees(80.0), ambient: 0.9, falloff: 0.05, ..spec.clone() }
}
