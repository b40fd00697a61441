//! Made scenes of openings with known truth, and how a found opacity is measured against it.

use tatter_cloth::gaps::{GapError, GapInput, Gaps, gaps};
use tatter_cloth::made::{Damage, Hand, Scene, SceneSpec, Weave, shoot};
use tatter_core::angle::Angle;
use tatter_core::image::{Image, LinearRgb, Unit};
use tatter_core::kernel::{erode, thin};
use tatter_core::task::Task;
use tatter_core::units::{Mm, PerCm};

/// A scene and its name.
#[derive(Debug)]
pub(crate) struct Case {
    pub(crate) name: &'static str,
    pub(crate) spec: SceneSpec,
}

const LIGHT_CARD: LinearRgb = LinearRgb([0.75, 0.76, 0.74]);
const DARK_CARD: LinearRgb = LinearRgb([0.03, 0.03, 0.033]);
const WOOD: LinearRgb = LinearRgb([0.30, 0.17, 0.08]);
const DARKNESS: LinearRgb = LinearRgb([0.004, 0.004, 0.004]);
const RIP: Damage = Damage::RipAlongWeft { length: Mm(24.0), opening: Mm(6.0), surviving: 0.4 };
const MOTH: Damage = Damage::MothHole { diameter: Mm(9.0) };

fn cloth(warp: [f32; 3], weft: [f32; 3], core: [f32; 3]) -> SceneSpec {
    SceneSpec {
        width: 448,
        height: 320,
        warp: LinearRgb(warp),
        weft: LinearRgb(weft),
        core: LinearRgb(core),
        ..SceneSpec::default()
    }
}

fn ochre() -> SceneSpec {
    cloth([0.42, 0.26, 0.10], [0.47, 0.31, 0.13], [0.62, 0.54, 0.40])
}

fn white() -> SceneSpec {
    cloth([0.66, 0.64, 0.58], [0.69, 0.67, 0.60], [0.72, 0.70, 0.64])
}

/// Dyed yarn with a pale heart, in warp-faced twill.
fn indigo() -> SceneSpec {
    SceneSpec {
        weave: Weave::Twill { over: 3, under: 1, hand: Hand::Z },
        ends_per_cm: PerCm(13.0),
        ..cloth([0.035, 0.05, 0.12], [0.05, 0.07, 0.15], [0.55, 0.54, 0.50])
    }
}

fn charcoal() -> SceneSpec {
    SceneSpec {
        weave: Weave::Twill { over: 2, under: 2, hand: Hand::Z },
        fuzz: 2.5,
        ..cloth([0.045, 0.045, 0.048], [0.05, 0.05, 0.052], [0.06, 0.06, 0.06])
    }
}

fn case(name: &'static str, cloth: SceneSpec, backing: LinearRgb, damage: Damage, seed: u64) -> Case {
    Case { name, spec: SceneSpec { backing, damage, seed, ..cloth } }
}

/// Cloths light, dark and dyed, in plain and twill, over cards, wood, a lining near in colour, and darkness.
pub(crate) fn opened() -> Vec<Case> {
    let deep = |cloth: SceneSpec| SceneSpec { backing_distance: Mm(8.0), ..cloth };
    let turned = SceneSpec { grain: Angle::degrees(67.0), weave: Weave::Basket, ..ochre() };
    let lining = LinearRgb([0.26, 0.12, 0.10]);
    let madder = cloth([0.30, 0.05, 0.04], [0.34, 0.06, 0.05], [0.55, 0.40, 0.34]);
    vec![
        case("ochre rip, light card", ochre(), LIGHT_CARD, RIP, 1),
        case("ochre rip, dark card", ochre(), DARK_CARD, RIP, 2),
        case("ochre moth hole, wood", ochre(), WOOD, MOTH, 3),
        case("turned basket rip, light card", turned, LIGHT_CARD, RIP, 4),
        case("white rip, light card", white(), LIGHT_CARD, RIP, 5),
        case("white moth hole, wood", white(), WOOD, MOTH, 6),
        case("white rip, darkness", deep(white()), DARKNESS, RIP, 7),
        case("indigo rip, light card", indigo(), LIGHT_CARD, RIP, 8),
        case("indigo rip, dark card", indigo(), DARK_CARD, RIP, 9),
        case("madder rip, lining near in colour", madder, lining, RIP, 10),
        case("charcoal moth hole, light card", charcoal(), LIGHT_CARD, MOTH, 11),
        case("charcoal rip, wood", charcoal(), WOOD, RIP, 12),
        case("charcoal rip, darkness", deep(charcoal()), DARKNESS, RIP, 13),
    ]
}

/// Injuries through which nobody sees.
pub(crate) fn closed() -> Vec<Case> {
    let stain = Damage::Stain { diameter: Mm(12.0), transmittance: LinearRgb([0.55, 0.40, 0.25]) };
    let worn = Damage::Abrasion { diameter: Mm(12.0) };
    vec![
        case("ochre stain", ochre(), LIGHT_CARD, stain, 21),
        case("white stain", white(), DARK_CARD, stain, 22),
        case("indigo worn spot", indigo(), LIGHT_CARD, worn, 23),
        case("ochre worn spot", ochre(), DARK_CARD, worn, 24),
    ]
}

/// How well an opacity agrees with the truth, inside the cover.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Score {
    /// Intersection over union of the openings (opacity below a half).
    pub(crate) iou: f32,
    /// Sum of absolute differences of opacity, in thousands.
    pub(crate) sad: f32,
    /// Share of the true cloth in the injury that was kept.
    pub(crate) thread_recall: f32,
    /// Share of the true skeleton in the injury that lies in kept cloth: topology sensitivity of clDice (Shit et al. 2021).
    pub(crate) skeleton_recall: f32,
    /// Harmonic mean of topology sensitivity and precision in the injury.
    pub(crate) cl_dice: f32,
}

/// The openings of a scene as found from its photo with the true cover and spacing.
pub(crate) fn found(scene: &Scene, task: &Task) -> Result<Gaps, GapError> {
    let intact = scene.truth.cover.zip(&scene.truth.injured, |c, i| c.0 < 0.02 && !i);
    let input = GapInput {
        intact: Some(&intact),
        pitch_px: Some([scene.warp_pitch_px, scene.weft_pitch_px]),
        ..GapInput::new(&scene.truth.cover)
    };
    gaps(&scene.photo, &input, task)
}

/// Compare with the truth.
pub(crate) fn score(scene: &Scene, opacity: &Image<Unit>) -> Score {
    let truth = &scene.truth;
    let inside = truth.cover.map(|c| c.0 > 0.5);
    let hole = erode(&truth.injured, 0.5 * scene.warp_pitch_px);
    let (cloth, kept) = (truth.opacity.map(|o| o.0 >= 0.5), opacity.map(|o| o.0 >= 0.5));
    let count = |mask: &Image<bool>, part: &Image<bool>| {
        mask.texels().iter().zip(part.texels()).filter(|(m, p)| **m && **p).count() as f32
    };
    let both_open = cloth.zip(&kept, |c, k| !c && !k);
    let any_open = cloth.zip(&kept, |c, k| !c || !k);
    let both = cloth.zip(&kept, |c, k| c && k);
    let off = truth.opacity.zip(opacity, |a, b| (a.0 - b.0).abs());
    let sad: f64 = off.texels().iter().zip(inside.texels()).filter(|(_, i)| **i).map(|(o, _)| f64::from(*o)).sum();
    let (true_lines, kept_lines) = (thin(&cloth), thin(&kept));
    let sensitivity = count(&true_lines.zip(&kept, |l, k| l && k), &hole) / count(&true_lines, &hole).max(1.0);
    let precision = count(&kept_lines.zip(&cloth, |l, c| l && c), &hole) / count(&kept_lines, &hole).max(1.0);
    Score {
        iou: count(&both_open, &inside) / count(&any_open, &inside).max(1.0),
        sad: (sad / 1000.0) as f32,
        thread_recall: count(&both, &hole) / count(&cloth, &hole).max(1.0),
        skeleton_recall: sensitivity,
        cl_dice: 2.0 * sensitivity * precision / (sensitivity + precision).max(1e-6),
    }
}

/// Photograph a case.
pub(crate) fn taken(case: &Case) -> Scene {
    shoot(&case.spec)
}
