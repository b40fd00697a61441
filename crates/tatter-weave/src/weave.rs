//! Cloth to maps: the whole chain.

use rayon::prelude::*;
use tatter_core::angle::Angle;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Size, Unit};
use tatter_core::task::{Cancelled, Task};
use tatter_core::units::MmPerTexel;

use crate::cloth::{Cloth, ClothError};
use crate::count::Count;
use crate::damage::{Damage, Injury, Kind, Mending, Wound};
use crate::geometry::{Geometry, solve};
use crate::knit::unfit;
use crate::layer::Layer;
use crate::loom::Loom;
use crate::maths::sin_cos;
use crate::raster::{Style, View};
use crate::render::{Maps, Scene, render};
use crate::sheet::Lie;
use crate::yarn::{Dye, Yarn};

/// Intact cloth that repeats.
#[derive(Clone, Debug, PartialEq)]
pub struct TileSpec {
    /// The cloth.
    pub cloth: Cloth,
    /// Side of the square maps, texels.
    pub side: usize,
    /// About how wide, mm: moved to whole repeats of the weave.
    pub width_mm: f32,
    /// Everything random follows from it.
    pub seed: u64,
}

/// A woven cloth.
#[derive(Clone, Debug)]
pub struct Woven {
    /// Its maps.
    pub maps: Maps,
    /// Size of a texel.
    pub scale: MmPerTexel,
    /// The cloth as woven: the setting may have moved a little to fit the square.
    pub cloth: Cloth,
    /// Its geometry.
    pub geometry: Geometry,
}

/// Why nothing was woven.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum WeaveError {
    /// The cloth.
    #[error(transparent)]
    Cloth(#[from] ClothError),
    /// Threads finer than texels.
    #[error("threads {pitch_mm:.3} mm apart are lost on texels of {scale_mm:.3} mm: a texel may be {most_mm:.3} mm at most")]
    Coarse {
        /// Distance of threads.
        pitch_mm: f32,
        /// Size of a texel.
        scale_mm: f32,
        /// Largest texel.
        most_mm: f32,
    },
    /// Jersey has no pick to pull.
    #[error("a {} needs woven cloth, and jersey is knitted", .0.name())]
    Knitted(Kind),
    /// A canvas that cannot be.
    #[error("a canvas of {0} texels cannot be made")]
    Canvas(Size),
    /// Damage that nobody would see.
    #[error("the {} at {}/{} mm lies off the cloth, which ends {half_mm} mm from its middle", .kind.name(), .at[0], .at[1])]
    OffCloth {
        /// What it is.
        kind: Kind,
        /// Where, mm from the middle.
        at: [f32; 2],
        /// Half the side of the canvas, mm.
        half_mm: f32,
    },
    /// Stopped.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for WeaveError {
    fn next(&self) -> String {
        match self {
            Self::Cloth(error) => error.next(),
            Self::Coarse { .. } => "Ask for more texels, or a smaller piece of cloth".to_owned(),
            Self::Knitted(_) => "Choose another damage or a woven cloth".to_owned(),
            Self::Canvas(_) => "Ask for 16 to 16384 texels a side".to_owned(),
            Self::OffCloth { .. } => {
                "Move it nearer with at=X/Y, which count from the middle of the cloth, or show more cloth with --width-mm"
                    .to_owned()
            }
            Self::Cancelled(_) => "Start again when ready".to_owned(),
        }
    }

    fn class(&self) -> Class {
        Class::Request
    }
}

/// Weave intact cloth that repeats without a seam.
///
/// Memory at 4096²: 46 bytes a texel for the maps (0.8 GB) and as much as 0.2 GB at work.
///
/// # Errors
/// When the cloth cannot be woven or its threads are finer than texels.
pub fn weave_tile(spec: &TileSpec, task: &Task) -> Result<Woven, WeaveError> {
    canvas(Size::new(spec.side, spec.side))?;
    spec.cloth.check()?;
    let mut cloth = spec.cloth.clone();
    let (period, width) = repeats(&cloth, spec.width_mm);
    cloth.picks_per_cm.0 = 10.0 * period[1] as f32 / width;
    let geometry = solve(&cloth)?;
    let scale = MmPerTexel(width / spec.side as f32);
    let samples = samples(&geometry, scale)?;
    let loom = Loom::new(&cloth, &geometry, period, spec.seed);
    let styles = loom.threads.iter().map(|t| Style::new(t, scale.get() / samples as f32, spec.seed)).collect();
    let scene = Scene {
        floor: loom.floor,
        layers: vec![Layer::new(loom, &geometry, scale)],
        styles,
        view: View { origin: [0.0, 0.0], turn: [0.0, 1.0] },
        size: Size::new(spec.side, spec.side),
        scale,
        samples,
        tiles: true,
    };
    Ok(Woven { maps: render(&scene, task)?, scale, cloth, geometry })
}

/// Cloth with injuries, for a patch.
#[derive(Clone, Debug, PartialEq)]
pub struct PatchSpec {
    /// The cloth.
    pub cloth: Cloth,
    /// Side of the square canvas, texels.
    pub side: usize,
    /// Width of the canvas, mm.
    pub width_mm: f32,
    /// The line the warp runs along in the picture: 90 degrees is upright.
    pub grain: Angle,
    /// What happened.
    pub damage: Vec<Damage>,
    /// Everything random follows from it. The cloth is that of a tile with the same seed, shifted.
    pub seed: u64,
}

/// Weave cloth and injure it. The cover is 1 in and around the injuries.
///
/// Memory as [`weave_tile`].
///
/// # Errors
/// When the cloth cannot be woven, its threads are finer than texels, or an injury lies off the canvas.
pub fn weave_patch(spec: &PatchSpec, task: &Task) -> Result<(Woven, Image<Unit>), WeaveError> {
    let size = Size::new(spec.side, spec.side);
    canvas(size)?;
    let geometry = solve(&spec.cloth)?;
    let scale = MmPerTexel(spec.width_mm / spec.side as f32);
    let samples = samples(&geometry, scale)?;
    let loom = Loom::new(&spec.cloth, &geometry, NEVER, spec.seed);
    let styles: Vec<Style> = loom.threads.iter().map(|t| Style::new(t, scale.get() / samples as f32, spec.seed)).collect();
    // Far from the first thread, so that no thread on the canvas has a number below zero.
    let middle = [0, 1].map(|f| HOME * loom.threads[f].pitch);
    let half = 0.5 * spec.width_mm;
    for Damage { kind, at, length, width, .. } in &spec.damage {
        // However the cloth is turned: as far as a corner is, and the injury reaches.
        if (at[0] * at[0] + at[1] * at[1]).sqrt() > half * std::f32::consts::SQRT_2 + 0.5 * length.max(*width) {
            return Err(WeaveError::OffCloth { kind: *kind, at: *at, half_mm: half });
        }
    }
    let turn = sin_cos((spec.grain - Angle::degrees(90.0)).to_radians());
    let around = View { origin: [0.0, 0.0], turn: [turn.0, turn.1] };
    let to_middle = around.cloth_from_picture([half, half]);
    let view = View { origin: [0, 1].map(|axis| middle[axis] - to_middle[axis]), ..around };
    let pitch = [0, 1].map(|f| loom.threads[f].pitch);
    let floor = loom.floor;
    let mut layer = Layer::new(loom, &geometry, scale);
    layer.wounds = (0u64..)
        .zip(&spec.damage)
        .map(|(n, damage)| Wound::new(*damage, middle, pitch, spec.seed.wrapping_mul(0x2545_F491_4F6C_DD1D) ^ n))
        .collect();
    let mut scene = Scene { layers: Vec::new(), styles, view, size, scale, samples, floor, tiles: false };
    task.stage("damage", || injure(spec, layer, &mut scene))?;
    let mut maps = render(&scene, task)?;
    let wounds = &scene.layers[0].wounds;
    let place = |x: usize, y: usize| view.cloth_from_picture([(x as f32 + 0.5) * scale.get(), (y as f32 + 0.5) * scale.get()]);
    for wound in wounds.iter().filter(|w| w.damage.kind == Kind::Stain) {
        maps.base_color.par_rows_mut().for_each(|(y, row)| {
            for (x, color) in row.iter_mut().enumerate() {
                *color = wound.stained(place(x, y), *color);
            }
        });
    }
    let cover = Image::from_fn(spec.side, spec.side, |x, y| {
        let place = place(x, y);
        Unit(wounds.iter().map(|w| w.cover(place)).fold(0.0, f32::max))
    });
    let cover = if wounds.is_empty() { Image::filled(spec.side, spec.side, Unit(1.0)) } else { cover };
    let hem = wounds.iter().any(|w| w.damage.kind == Kind::Hem);
    if !wounds.is_empty() && !hem && touches_edge(&cover) {
        let text = format!("the damage reaches the edge of a canvas {} mm wide: show more cloth around it", spec.width_mm);
        task.note("cover-touches-edge", text);
    }
    Ok((Woven { maps, scale, cloth: spec.cloth.clone(), geometry }, cover))
}

fn touches_edge(cover: &Image<Unit>) -> bool {
    let last = cover.width() - 1;
    (0..=last).any(|k| [(k, 0), (k, last), (0, k), (last, k)].iter().any(|&(x, y)| cover.get(x, y).0 > 0.02))
}

/// Cut the cloth, mend it, sew patches on: the layers and styles of the scene.
fn injure(spec: &PatchSpec, mut layer: Layer, scene: &mut Scene) -> Result<(), WeaveError> {
    if layer.is_knit()
        && let Some(kind) = unfit(&layer.wounds)
    {
        return Err(WeaveError::Knitted(kind));
    }
    let face = -layer.loom.floor;
    let mut pieces = Vec::new();
    if !layer.wounds.is_empty() {
        let mending = mending(spec, scene, face);
        layer.injury = Some(Injury::new(&layer, reach(&layer.wounds, scene, spec.width_mm), &scene.styles, Some(&mending)));
        for wound in layer.wounds.iter().filter(|w| w.damage.kind == Kind::Patch) {
            pieces.push(piece(spec, wound, scene, 2.0 * face)?);
        }
    }
    scene.layers.push(layer);
    scene.layers.extend(pieces);
    Ok(())
}

/// What wounds may change, within the canvas and a little more.
fn reach(wounds: &[Wound], scene: &Scene, width: f32) -> [f32; 4] {
    let mut bounds = [f32::MAX, f32::MAX, f32::MIN, f32::MIN];
    for wound in wounds {
        let (m, r) = (wound.middle(), wound.reach());
        bounds = [bounds[0].min(m[0] - r), bounds[1].min(m[1] - r), bounds[2].max(m[0] + r), bounds[3].max(m[1] + r)];
    }
    let [left, top, right, bottom] = scene.view.bounds([width, width]);
    [bounds[0].max(left - 4.0), bounds[1].max(top - 4.0), bounds[2].min(right + 4.0), bounds[3].min(bottom + 4.0)]
}

/// Two-ply mending thread a little finer than the cloth's warp, in its own colour.
fn mending(spec: &PatchSpec, scene: &mut Scene, face: f32) -> Mending {
    let warp = &spec.cloth.warp;
    let told = spec.damage.iter().find(|d| matches!(d.kind, Kind::Darn)).and_then(|d| d.color);
    let color = told.unwrap_or_else(|| LinearRgb(warp.dye.color.0.map(|c| (0.10 + 1.05 * c).min(0.9))));
    let tex = (0.85 * warp.tex()).clamp(20.0, 110.0);
    let yarn = Yarn { count: Count::Tex(tex), ply: 2, packing: 0.62, hairiness: 3.0, dye: Dye::even(color), ..warp.clone() };
    let diameter = yarn.diameter().get();
    let turns = 0.30 / diameter;
    let sample = scene.scale.get() / scene.samples as f32;
    scene.styles.push(Style::of(
        &yarn,
        [turns, 0.2 * turns],
        Lie::of(yarn.fibre, diameter).length(diameter),
        sample,
        spec.seed ^ 0x3E4D,
    ));
    Mending { style: scene.styles.len() as u16 - 1, diameter, face }
}

/// The cloth of a sewn-on patch: the same construction, another colour, another piece of the bolt.
fn piece(spec: &PatchSpec, wound: &Wound, scene: &mut Scene, lift: f32) -> Result<Layer, WeaveError> {
    let mut cloth = spec.cloth.clone();
    for yarn in [&mut cloth.warp, &mut cloth.weft] {
        let color = wound.damage.color.unwrap_or_else(|| LinearRgb(yarn.dye.color.0.map(|c| (0.62 * c + 0.03).min(1.0))));
        yarn.dye.core = if yarn.dye.depth >= 1.0 { color } else { yarn.dye.core };
        yarn.dye.color = color;
    }
    let geometry = solve(&cloth)?;
    let loom = Loom::new(&cloth, &geometry, NEVER, spec.seed ^ 0x9A7C);
    let sample = scene.scale.get() / scene.samples as f32;
    let first = scene.styles.len() as u16;
    scene.styles.extend(loom.threads.iter().map(|t| Style::new(t, sample, spec.seed ^ 0x9A7C)));
    let mut layer = Layer::new(loom, &geometry, scene.scale);
    layer.styles = [first, first + 1];
    layer.wounds = vec![wound.piece(lift)];
    layer.injury = Some(Injury::new(&layer, reach(&layer.wounds, scene, spec.width_mm), &scene.styles, None));
    // Beyond the box that was cut there is no patch.
    layer.only_injured = true;
    Ok(layer)
}

/// Threads after which a patch's cloth repeats: more than any canvas shows.
const NEVER: [i32; 2] = [1 << 12, 1 << 12];
/// The thread in the middle of a patch's canvas.
const HOME: f32 = 2048.0;

/// Ends and picks of a square about `width` mm wide, whole repeats both ways, and its width: the count of ends within an
/// eighth of what is asked that changes the picks least.
fn repeats(cloth: &Cloth, width: f32) -> ([i32; 2], f32) {
    let repeat = [cloth.weave.ends() as i32, cloth.weave.picks() as i32];
    let pitch = [10.0 / cloth.ends_per_cm.get(), 10.0 / cloth.picks_per_cm.get()];
    let asked = (width / (pitch[0] * repeat[0] as f32)).round().max(1.0) as i32;
    let mut best = ([0, 0], 0.0, f32::MAX);
    for count in (asked - asked / 8).max(1)..=asked + asked / 8 {
        let ends = count * repeat[0];
        let side = ends as f32 * pitch[0];
        let picks = (side / (pitch[1] * repeat[1] as f32)).round().max(1.0) as i32 * repeat[1];
        let miss = (side / (picks as f32 * pitch[1]) - 1.0).abs() + 1e-4 * (count - asked).abs() as f32 / asked as f32;
        if miss < best.2 {
            best = ([ends, picks], side, miss);
        }
    }
    (best.0, best.1)
}

fn canvas(size: Size) -> Result<(), WeaveError> {
    let fits = |side: usize| (16..=16384).contains(&side);
    if fits(size.width) && fits(size.height) { Ok(()) } else { Err(WeaveError::Canvas(size)) }
}

/// Samples a texel each way: edges of yarns need 16 levels where a yarn is a few texels wide, 9 where it is many.
fn samples(geometry: &Geometry, scale: MmPerTexel) -> Result<usize, WeaveError> {
    let pitch_mm = geometry.warp.pitch.min(geometry.weft.pitch);
    if scale.get() > pitch_mm {
        return Err(WeaveError::Coarse { pitch_mm, scale_mm: scale.get(), most_mm: pitch_mm });
    }
    let breadth = geometry.warp.breadth.min(geometry.weft.breadth) / scale.get();
    Ok(if breadth > 10.0 { 3 } else { 4 })
}
