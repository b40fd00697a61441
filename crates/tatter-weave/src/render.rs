//! Layers to maps: tiles in parallel, then what follows from the height.

use rayon::prelude::*;
use tatter_core::image::{HeightMm, Image, LinearRgb, Normal, Rect, Size, Unit};
use tatter_core::kernel::{OcclusionSettings, bleed, distance_to, normals_from_height, occlusion};
use tatter_core::task::{Cancelled, Task};
use tatter_core::units::MmPerTexel;

use crate::layer::Layer;
use crate::maths::{lerp, smoothstep};
use crate::raster::{Grid, Style, Texel, Tile, View};

/// Side of a tile, texels: its samples (16 × 128² × 8 bytes) stay in a core's cache.
const TILE: usize = 128;

/// Everything to be drawn.
#[derive(Debug)]
pub(crate) struct Scene {
    pub(crate) layers: Vec<Layer>,
    pub(crate) styles: Vec<Style>,
    pub(crate) view: View,
    pub(crate) size: Size,
    pub(crate) scale: MmPerTexel,
    pub(crate) samples: usize,
    /// Height where one sees through, mm.
    pub(crate) floor: f32,
    /// Whether the canvas repeats.
    pub(crate) tiles: bool,
}

/// What the threads look like.
#[derive(Clone, Debug)]
pub struct Maps {
    /// Share of each texel covered by thread and fibre, by samples and by exact coverage of fibres.
    pub opacity: Image<Unit>,
    /// Height, mm; openings fall from the height of the threads around them to the lowest point of the cloth.
    pub height: Image<HeightMm>,
    /// From that height at this scale.
    pub normal: Image<Normal>,
    /// Colour without light; in openings that of the threads around them.
    pub base_color: Image<LinearRgb>,
    /// 1 is fully matte.
    pub roughness: Image<Unit>,
    /// How open to the sky.
    pub occlusion: Image<Unit>,
    /// Thread on top, 0 for none: odd numbers ends, even numbers picks of the first layer.
    pub thread_id: Image<u32>,
    /// Sine and cosine of the warp's direction, counter-clockwise from image right.
    pub grain: [f32; 2],
}

pub(crate) fn render(scene: &Scene, task: &Task) -> Result<Maps, Cancelled> {
    let (width, height) = (scene.size.width, scene.size.height);
    let mut maps = Maps {
        opacity: Image::filled(width, height, Unit(0.0)),
        height: Image::filled(width, height, HeightMm(scene.floor)),
        normal: Image::filled(0, 0, Normal::FLAT),
        base_color: Image::filled(width, height, LinearRgb::default()),
        roughness: Image::filled(width, height, Unit(0.9)),
        occlusion: Image::filled(0, 0, Unit(1.0)),
        thread_id: Image::filled(width, height, 0),
        // A quarter turn on from the cloth's own right.
        grain: [scene.view.turn[1], -scene.view.turn[0]],
    };
    let bands = height.div_ceil(TILE);
    let columns = width.div_ceil(TILE);
    // A few bands at a time bound the memory: finished tiles are copied before the next are begun.
    let together = 64usize.div_ceil(columns).max(1);
    task.stage("threads", || {
        for first in (0..bands).step_by(together) {
            task.check()?;
            task.progress("threads", first as f32 / bands as f32);
            let last = (first + together).min(bands);
            let done: Vec<(Rect, Vec<Texel>)> = (first * columns..last * columns)
                .into_par_iter()
                .map(|n| {
                    let (x, y) = (n % columns * TILE, n / columns * TILE);
                    let rect = Rect::new(x, y, TILE.min(width - x), TILE.min(height - y));
                    (rect, tile(scene, rect))
                })
                .collect();
            for (rect, texels) in done {
                paste(&mut maps, rect, &texels, scene.floor);
            }
        }
        Ok(())
    })?;
    task.stage("colour", || {
        let seen = maps.opacity.map(|o| if o.0 > 0.05 { 1.0 } else { 0.0 });
        maps.base_color = bleed(&maps.base_color, &seen);
        maps.height = with_openings(&maps.height, &maps.opacity, scene);
    });
    task.check()?;
    task.stage("normal", || maps.normal = normals(&maps.height, scene));
    task.check()?;
    task.stage("occlusion", || maps.occlusion = sky(&maps.height, scene));
    Ok(maps)
}

fn tile(scene: &Scene, rect: Rect) -> Vec<Texel> {
    let scale = scene.scale.get();
    let origin = scene.view.cloth_from_picture([rect.x as f32 * scale, rect.y as f32 * scale]);
    let grid = Grid { view: View { origin, ..scene.view }, scale, size: [rect.width, rect.height], samples: scene.samples };
    let mut tile = Tile::new(grid, &scene.styles);
    for layer in &scene.layers {
        layer.yarns(&mut tile);
    }
    tile.resolve();
    for layer in &scene.layers {
        layer.hairs(&mut tile, &scene.styles);
    }
    tile.into_texels()
}

fn paste(maps: &mut Maps, rect: Rect, texels: &[Texel], floor: f32) {
    for (row, line) in texels.chunks(rect.width).enumerate() {
        let y = rect.y + row;
        for (column, texel) in line.iter().enumerate() {
            let x = rect.x + column;
            maps.opacity.set(x, y, Unit(texel.opacity));
            maps.height.set(x, y, HeightMm(if texel.opacity > 0.0 { texel.height } else { floor }));
            maps.base_color.set(x, y, texel.color);
            if texel.opacity > 0.0 {
                maps.roughness.set(x, y, Unit(texel.roughness));
            }
            maps.thread_id.set(x, y, texel.id);
        }
    }
}

/// A margin on every side: the other side of a repeating cloth, or the edge itself.
fn padded(height: &Image<HeightMm>, margin: usize, repeats: bool) -> Image<HeightMm> {
    let (w, h) = (height.width() as isize, height.height() as isize);
    Image::from_fn(height.width() + 2 * margin, height.height() + 2 * margin, |x, y| {
        let (x, y) = (x as isize - margin as isize, y as isize - margin as isize);
        if repeats { height.get(x.rem_euclid(w) as usize, y.rem_euclid(h) as usize) } else { height.get_clamped(x, y) }
    })
}

/// Heights that go on from the threads into the openings and fall there to the floor over a yarn's breadth. A cliff at each
/// fibre's edge would make its normals say more of the texel grid than of the fibre.
fn with_openings(height: &Image<HeightMm>, opacity: &Image<Unit>, scene: &Scene) -> Image<HeightMm> {
    let covered = |o: Unit| o.0 > 0.04;
    if opacity.texels().iter().all(|o| covered(*o)) {
        return height.clone();
    }
    let breadth = scene.layers.iter().flat_map(|l| &l.loom.threads).fold(0.0f32, |r, t| r.max(2.0 * t.half[0]));
    let run = (breadth / scene.scale.get()).max(3.0);
    let held = bleed(height, &opacity.map(|o| if covered(o) { 1.0 } else { 0.0 }));
    let away = distance_to(&opacity.map(covered));
    Image::from_fn(height.width(), height.height(), |x, y| {
        if covered(opacity.get(x, y)) {
            return height.get(x, y);
        }
        let fall = smoothstep(0.0, 1.0, away.get(x, y) / run);
        HeightMm(lerp(held.get(x, y).0, scene.floor, fall))
    })
}

fn normals(height: &Image<HeightMm>, scene: &Scene) -> Image<Normal> {
    if !scene.tiles {
        return normals_from_height(height, scene.scale);
    }
    normals_from_height(&padded(height, 1, true), scene.scale).crop(Rect::new(1, 1, height.width(), height.height()))
}

fn sky(height: &Image<HeightMm>, scene: &Scene) -> Image<Unit> {
    // Threads stand in each other's way over two diameters; what is farther off hardly rises above them.
    let reach = scene.layers.iter().flat_map(|l| &l.loom.threads).fold(0.0f32, |r, t| r.max(4.0 * t.half[0]));
    let radius = (reach / scene.scale.get()).clamp(4.0, 48.0);
    let settings = OcclusionSettings { radius_texels: radius, ..OcclusionSettings::default() };
    let margin = if scene.tiles { radius as usize + 1 } else { 0 };
    let open = occlusion(&padded(height, margin, scene.tiles), scene.scale, &settings);
    open.crop(Rect::new(margin, margin, height.width(), height.height()))
}
