//! Woven scenes of openings with known truth, and how a found opacity is measured against it.

use tatter_cloth::gaps::{GapError, GapInput, Gaps, gaps};
use tatter_core::angle::Angle;
use tatter_core::image::{Image, LinearRgb, Unit};
use tatter_core::kernel::{dilate, gaussian, thin};
use tatter_core::task::Task;
use tatter_testkit::measures::{alpha_error, count, overlap};
use tatter_testkit::scene::{Scene, Spec, cloth, dyed};
use tatter_weave::{Cloth, Damage, Draft, Dye, Finish, Kind, Shot, Yarn};

/// A scene and its name.
#[derive(Debug)]
pub(crate) struct Case {
    pub(crate) name: &'static str,
    pub(crate) spec: Spec,
}

const LIGHT_CARD: [f32; 3] = [0.75, 0.76, 0.74];
const DARK_CARD: [f32; 3] = [0.03, 0.03, 0.033];
const WOOD: [f32; 3] = [0.30, 0.17, 0.08];
const DARKNESS: [f32; 3] = [0.004, 0.004, 0.004];
const LINING: [f32; 3] = [0.26, 0.12, 0.10];
const MOSS: [f32; 3] = [0.12, 0.24, 0.20];
/// Pixels a thread.
const PITCH: f32 = 9.0;

/// A rip or a hole of so many threads each way.
fn injury(kind: Kind, cloth: &Cloth, threads: [f32; 2]) -> Damage {
    let pitch_mm = 10.0 / (cloth.ends_per_cm.get() * cloth.picks_per_cm.get()).sqrt();
    let [length, width] = threads.map(|t| t * pitch_mm);
    Damage { length, width, ..Damage::new(kind) }
}

fn ochre() -> Cloth {
    let mut cloth = cloth("canvas");
    for (yarn, color) in [(&mut cloth.warp, [0.42, 0.26, 0.10]), (&mut cloth.weft, [0.47, 0.31, 0.13])] {
        yarn.dye = Dye { color: LinearRgb(color), core: LinearRgb([0.62, 0.54, 0.40]), depth: 0.5 };
    }
    cloth
}

fn white() -> Cloth {
    dyed("canvas", [0.66, 0.64, 0.58], [0.69, 0.67, 0.60])
}

/// Dyed yarn with a pale heart, in warp-faced twill.
fn indigo() -> Cloth {
    cloth("denim")
}

fn navy() -> Cloth {
    dyed("poplin", [0.02, 0.03, 0.07], [0.02, 0.03, 0.07])
}

/// Woollen twill whose fuzz lies over its openings.
fn milled() -> Cloth {
    dyed("tweed", [0.35, 0.34, 0.32], [0.35, 0.34, 0.32])
}

/// Woollen twill as it left the loom: milled, its fuzz hides the threads that are to be found.
fn charcoal() -> Cloth {
    let cloth = dyed("tweed", [0.045, 0.045, 0.048], [0.05, 0.05, 0.052]);
    let unmilled = |yarn: Yarn| Yarn { packing: 0.45, hairiness: 16.0, ..yarn };
    let (warp, weft) = (unmilled(cloth.warp), unmilled(cloth.weft));
    Cloth { warp, weft, finish: Finish::Plain, flattening: 0.7, ..cloth }
}

fn case(name: &'static str, cloth: Cloth, backing: [f32; 3], kind: Kind, seed: u64) -> Case {
    let threads = match kind {
        Kind::Rip => [26.0, 8.0],
        Kind::MothHole => [11.0, 11.0],
        _ => [13.0, 13.0],
    };
    let damage = vec![injury(kind, &cloth, threads)];
    let shot = Shot { backing: LinearRgb(backing), ..Shot::default() };
    Case { name, spec: Spec { damage, shot, seed, ..Spec::new(cloth, 384, PITCH) } }
}

/// Cloths light, dark and dyed, in plain and twill, over cards, wood, a lining near in colour, and darkness.
pub(crate) fn opened() -> Vec<Case> {
    let deep = |case: Case| Case { spec: Spec { shot: Shot { distance_mm: 8.0, ..case.spec.shot }, ..case.spec }, ..case };
    let turned = |case: Case| Case { spec: Spec { grain: Angle::degrees(67.0), ..case.spec }, ..case };
    let slit =
        |case: Case| Case { spec: Spec { damage: vec![injury(Kind::Rip, &case.spec.cloth, [13.0, 4.0])], ..case.spec }, ..case };
    let madder = dyed("canvas", [0.30, 0.05, 0.04], [0.34, 0.06, 0.05]);
    let basket = Cloth { weave: Draft::basket(2), ..ochre() };
    vec![
        case("ochre rip, light card", ochre(), LIGHT_CARD, Kind::Rip, 1),
        case("ochre rip, dark card", ochre(), DARK_CARD, Kind::Rip, 2),
        case("ochre moth hole, wood", ochre(), WOOD, Kind::MothHole, 3),
        turned(case("turned basket rip, light card", basket, LIGHT_CARD, Kind::Rip, 4)),
        case("white rip, light card", white(), LIGHT_CARD, Kind::Rip, 5),
        case("white moth hole, wood", white(), WOOD, Kind::MothHole, 6),
        deep(case("white rip, darkness", white(), DARKNESS, Kind::Rip, 7)),
        case("indigo rip, light card", indigo(), LIGHT_CARD, Kind::Rip, 8),
        case("indigo rip, dark card", indigo(), DARK_CARD, Kind::Rip, 9),
        case("madder rip, lining near in colour", madder, LINING, Kind::Rip, 10),
        case("charcoal moth hole, light card", charcoal(), LIGHT_CARD, Kind::MothHole, 11),
        case("charcoal rip, wood", charcoal(), WOOD, Kind::Rip, 12),
        deep(case("charcoal rip, darkness", charcoal(), DARKNESS, Kind::Rip, 13)),
        case("navy rip, lighter moss", navy(), MOSS, Kind::Rip, 14),
        slit(case("milled grey slit, moss", milled(), MOSS, Kind::Rip, 15)),
    ]
}

/// Injuries through which nobody sees.
pub(crate) fn closed() -> Vec<Case> {
    vec![
        case("ochre stain", ochre(), LIGHT_CARD, Kind::Stain, 21),
        case("white stain", white(), DARK_CARD, Kind::Stain, 22),
        case("indigo worn spot", indigo(), LIGHT_CARD, Kind::Abrasion, 23),
        case("ochre worn spot", ochre(), DARK_CARD, Kind::Abrasion, 24),
        case("milled grey stain", milled(), MOSS, Kind::Stain, 25),
        case("navy stain", navy(), MOSS, Kind::Stain, 26),
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

/// Where a perfect cut would lie: the injury with its rim, softly.
pub(crate) fn cover(scene: &Scene) -> Image<Unit> {
    let hurt = dilate(&scene.injured, 0.5 * PITCH).map(|i| if i { 1.0 } else { 0.0f32 });
    gaussian(&hurt, 0.25 * PITCH).map(Unit)
}

/// The openings of a scene as found from its photo with the true cover and spacing.
pub(crate) fn found(scene: &Scene, task: &Task) -> Result<Gaps, GapError> {
    let cover = cover(scene);
    let intact = cover.zip(&scene.injured, |c, i| c.0 < 0.02 && !i);
    let input = GapInput { intact: Some(&intact), pitch_px: Some(scene.pitch_px), ..GapInput::new(&cover) };
    gaps(&scene.photo, &input, task)
}

/// Compare with the truth.
pub(crate) fn score(scene: &Scene, opacity: &Image<Unit>) -> Score {
    let inside = cover(scene).map(|c| c.0 > 0.5);
    let hole = scene.torn();
    let truth = &scene.maps.opacity;
    let (cloth, kept) = (truth.map(|o| o.0 >= 0.5), opacity.map(|o| o.0 >= 0.5));
    let within = |a: &Image<bool>, b: &Image<bool>| count(&a.zip(b, |a, b| a && b).zip(&hole, |m, h| m && h));
    let (true_lines, kept_lines) = (thin(&cloth), thin(&kept));
    let sensitivity = within(&true_lines, &kept) / within(&true_lines, &true_lines).max(1.0);
    let precision = within(&kept_lines, &cloth) / within(&kept_lines, &kept_lines).max(1.0);
    Score {
        iou: overlap(&cloth.map(|c| !c), &kept.map(|k| !k), &inside),
        sad: alpha_error(&opacity.map(|o| o.0), &truth.map(|o| o.0), &inside).sad_k,
        thread_recall: within(&cloth, &kept) / within(&cloth, &cloth).max(1.0),
        skeleton_recall: sensitivity,
        cl_dice: 2.0 * sensitivity * precision / (sensitivity + precision).max(1e-6),
    }
}

/// Photograph a case.
pub(crate) fn taken(case: &Case) -> Scene {
    case.spec.shoot()
}
