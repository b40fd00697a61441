//! A piece on its backing: a model of the backing, a graph cut, a trimap, sampled alpha, one matting solve.

use tatter_capture::surface::BackingModel;
use tatter_core::image::{Image, LinearRgb, Rect, Size, Unit};
use tatter_core::kernel::{GridCut, bleed, close, dilate, distance_to, erode, label};
use tatter_core::model::{CutRecipe, StrokeKind, Subject};
use tatter_core::task::Task;

use super::damage::cover_bounds;
use super::edge::bounds_of;
use super::matting::{self, MattingSettings, Sampled};
use super::{IsolateError, Isolated, Region, Working, sampling};

/// A shade this deep on the backing may still be a shadow of the piece.
const SHADOW: f32 = 0.6;

/// Least share of the photo's border at which a piece is said to run out of it.
const RUNS_OUT: f32 = 0.02;

/// Find the piece and its fractional alpha. `known` is where the backing lies for certain, working size, where more than the border
/// tells it.
pub(super) fn isolate_piece(
    color: &Image<LinearRgb>,
    working: &Working,
    recipe: &CutRecipe,
    known: Option<&Image<bool>>,
    why: String,
    task: &Task,
) -> Result<Isolated, IsolateError> {
    let told_cloth = working.painted(recipe, StrokeKind::Cloth);
    let told_backing = working.painted(recipe, StrokeKind::Backing).zip(&working.painted(recipe, StrokeKind::Gap), |a, b| a || b);
    let (width, height) = (working.size().width, working.size().height);
    let depth = (width.min(height) / 20).max(3);
    let seeds = Image::from_fn(width, height, |x, y| {
        let edge = x < depth || y < depth || x + depth >= width || y + depth >= height;
        let backing = known.map_or(edge, |known| known.get(x, y));
        (backing || told_backing.get(x, y)) && !told_cloth.get(x, y)
    });
    let small_backing = backing_of(&working.color, &seeds, &told_backing, &told_cloth).ok_or(IsolateError::NoPiece)?;
    let region = cut(&working.color, &small_backing, recipe, working, &told_cloth, &told_backing)?;
    task.check()?;
    let backing = small_backing.clone().for_photo(color.width(), color.height());
    warn_if_close(&working.color, &region, &small_backing, task);
    warn_if_cut_off(&region, task);
    let ring = (0.6 * working.pitch * working.shrink).clamp(3.0, 16.0) + working.shrink;
    let bounds = bounds_of(&region).ok_or(IsolateError::NoPiece)?;
    let to_photo = |v: usize| (v as f32 * working.shrink) as usize;
    let part = Rect::new(to_photo(bounds.x), to_photo(bounds.y), to_photo(bounds.width) + 2, to_photo(bounds.height) + 2)
        .grown((6.0 * ring) as usize + 2, color.size());
    let near = Near::new(color, &region, working.shrink, part);
    let trimap = trimap(&near, &backing, recipe, ring);
    let (alpha, confidence) = sampling::sample(&near.color, part, &trimap, &backing, recipe.seed);
    task.check()?;
    let settings = MattingSettings { epsilon: 1e-6, most_rounds: 60, tolerance: 1e-3, ..Default::default() };
    let sampled = Sampled { alpha: &alpha, confidence: &confidence };
    let alpha = matting::solve_sampled(&near.color, &trimap, sampled, &settings, task)?;
    Ok(Isolated { backing: Some(backing), ..finish(color.size(), near.part, &near.outline, &alpha, ring, why) })
}

/// The backing's model from its seeds, then from everything that fits it.
pub(super) fn backing_of(
    color: &Image<LinearRgb>,
    seeds: &Image<bool>,
    told: &Image<bool>,
    cloth: &Image<bool>,
) -> Option<BackingModel> {
    let (width, height) = (color.width(), color.height());
    let first = BackingModel::fit(color, seeds)?;
    let limit = (4.0 * first.spread()).max(0.02);
    let fits = Image::from_fn(width, height, |x, y| {
        let (b, c) = (first.at(x as f32 + 0.5, y as f32 + 0.5).0, color.get(x, y).0);
        let off = (0..3).map(|i| (b[i] - c[i]).powi(2)).sum::<f32>().sqrt();
        (off < limit || told.get(x, y)) && !cloth.get(x, y)
    });
    BackingModel::fit(color, &fits).or(Some(first))
}

/// How unlike the backing, or the backing in shadow, a colour is, linear light.
fn unlike(color: [f32; 3], backing: [f32; 3]) -> f32 {
    let bb: f32 = backing.iter().map(|v| v * v).sum::<f32>().max(1e-6);
    let shade = (0..3).map(|c| color[c] * backing[c]).sum::<f32>() / bb;
    let off: f32 = (0..3).map(|c| (color[c] - shade * backing[c]).powi(2)).sum();
    let weight = if (SHADOW..1.0).contains(&shade) { 0.35 + 0.65 * (1.0 - shade) / (1.0 - SHADOW) } else { 1.0 };
    (off + (weight * (1.0 - shade)).powi(2) * bb).sqrt()
}

/// The piece at working size, openings still open, islands dropped.
pub(super) fn cut(
    color: &Image<LinearRgb>,
    backing: &BackingModel,
    recipe: &CutRecipe,
    working: &Working,
    told_cloth: &Image<bool>,
    told_backing: &Image<bool>,
) -> Result<Image<bool>, IsolateError> {
    let (width, height) = (color.width(), color.height());
    let limit = (4.0 * backing.spread()).max(0.03);
    let distance =
        Image::from_fn(width, height, |x, y| unlike(color.get(x, y).0, backing.at(x as f32 + 0.5, y as f32 + 0.5).0) / limit);
    let around = recipe.around.map(|a| a.map(|v| v / working.shrink));
    let terminal = |i: usize| {
        let (x, y) = ((i % width) as f32 + 0.5, (i / width) as f32 + 0.5);
        if told_cloth.texels()[i] {
            1_000_000
        } else if told_backing.texels()[i] || around.is_some_and(|[cx, cy, r]| (x - cx).hypot(y - cy) > 1.3 * r) {
            -1_000_000
        } else {
            (distance.texels()[i].max(0.02).ln().clamp(-2.0, 2.0) * 200.0) as i32
        }
    };
    let link = |i: usize, d: usize| {
        let (dx, dy) = GridCut::STEPS[d];
        let other = distance.get_clamped((i % width) as isize + dx, (i / width) as isize + dy);
        let step = (distance.texels()[i].min(3.0) - other.min(3.0)).powi(2);
        let length = if dx != 0 && dy != 0 { std::f32::consts::SQRT_2 } else { 1.0 };
        (160.0 * (-step).exp() / length) as i32
    };
    let region = Image::from_vec(width, height, GridCut::new(width, height, terminal, link).solve());
    let joined = dilate(&region, 1.5);
    let (labels, parts) = label(&joined);
    let largest = parts.iter().map(|p| p.area).max().unwrap_or(0);
    let main = labels.map(|l| l > 0 && parts[l as usize - 1].area * 8 >= largest);
    let kept = region.zip(&main, |r, m| r && m);
    let area = kept.texels().iter().filter(|k| **k).count();
    if area < 30 { Err(IsolateError::NoPiece) } else { Ok(kept) }
}

/// Says so when cloth and backing are hard to tell apart.
fn warn_if_close(color: &Image<LinearRgb>, region: &Image<bool>, backing: &BackingModel, task: &Task) {
    let (mut cloth, mut card, mut count) = ([0.0f64; 3], [0.0f64; 3], 0.0f64);
    for y in 0..color.height() {
        for x in (0..color.width()).filter(|&x| region.get(x, y)) {
            let (f, b) = (color.get(x, y).0, backing.at(x as f32 + 0.5, y as f32 + 0.5).0);
            for c in 0..3 {
                cloth[c] += f64::from(f[c]);
                card[c] += f64::from(b[c]);
            }
            count += 1.0;
        }
    }
    let apart = (0..3).map(|c| ((cloth[c] - card[c]) / count.max(1.0)).powi(2)).sum::<f64>().sqrt() as f32;
    let light = |v: [f64; 3]| (0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2]) / count.max(1.0);
    if apart < 0.12 || apart < 6.0 * backing.spread() {
        task.note(
            "backing-close",
            "The cloth and its backing have nearly one colour, so gaps are uncertain; use a backing of another hue, or two shots",
        );
    } else if light(card) < 0.08 && light(card) < light(cloth) {
        task.note(
            "backing-dark",
            "On a dark backing shaded threads look like gaps; a backing lighter than the cloth gives better edges",
        );
    }
}

/// Says so when the piece goes on beyond the photo.
fn warn_if_cut_off(region: &Image<bool>, task: &Task) {
    let (width, height) = (region.width(), region.height());
    let sides = (0..width).flat_map(|x| [(x, 0), (x, height - 1)]).chain((0..height).flat_map(|y| [(0, y), (width - 1, y)]));
    let on = sides.filter(|&(x, y)| region.get(x, y)).count() as f32 / (2 * (width + height)) as f32;
    if on > RUNS_OUT {
        let what = format!(
            "The piece runs out of the photo along {:.0} % of its border and ends there in a straight cut; photograph all of it, or lay that \
             end where another part covers it",
            100.0 * on
        );
        task.note("piece-cut-off", what);
    }
}

/// The photo around the piece.
struct Near {
    color: Image<LinearRgb>,
    part: Rect,
    /// Distance inside (positive) or outside the cut region with its openings, photo pixels.
    signed: Image<f32>,
    /// The same for the outline with openings filled.
    outline: Image<f32>,
}

impl Near {
    fn new(color: &Image<LinearRgb>, region: &Image<bool>, shrink: f32, part: Rect) -> Self {
        let filled = filled(region);
        let at_photo = |mask: &Image<bool>| {
            let (inside, outside) = (distance_to(&mask.map(|m| !m)), distance_to(mask));
            let signed = inside.zip(&outside, |i, o| (i.min(200.0) - o.min(200.0)) * shrink);
            Image::from_fn(part.width, part.height, |x, y| {
                signed.bilinear(((part.x + x) as f32 + 0.5) / shrink, ((part.y + y) as f32 + 0.5) / shrink)
            })
        };
        Self { color: color.crop(part), part, signed: at_photo(region), outline: at_photo(&filled) }
    }
}

/// The piece whose alpha is known, by its filled outline. `ring` is the breadth of its soft rim, pixels.
pub(super) fn isolate_known(alpha: &Image<Unit>, ring: f32, why: String) -> Result<Isolated, IsolateError> {
    let region = close(&alpha.map(|a| a.0 > 0.5), ring);
    let largest = label(&region).1.iter().map(|p| p.area).max().unwrap_or(0);
    if largest < 30 {
        return Err(IsolateError::NoPiece);
    }
    let outline = filled(&region);
    let inside = distance_to(&outline.map(|o| !o)).map(|d| d.min(200.0));
    Ok(finish(alpha.size(), Rect::whole(alpha.size()), &inside, alpha, ring, why))
}

/// Openings closed.
fn filled(region: &Image<bool>) -> Image<bool> {
    let (labels, sets) = label(&region.map(|r| !r));
    let (width, height) = (region.width(), region.height());
    let touches = |l: u32| {
        let b = sets[l as usize - 1].bounds;
        b.x == 0 || b.y == 0 || b.right() == width || b.bottom() == height
    };
    labels.map(|l| l == 0 || !touches(l))
}

/// 0 backing, 1 cloth, 0.5 to be solved, in the part around the piece.
fn trimap(near: &Near, backing: &BackingModel, recipe: &CutRecipe, ring: f32) -> Image<Unit> {
    let part = near.part;
    let core = near.signed.map(|d| if d > 1.5 * ring { 1.0f32 } else { 0.0 });
    let core = if core.texels().iter().any(|c| *c > 0.0) { core } else { near.signed.map(|d| if d > 0.0 { 1.0 } else { 0.0 }) };
    let cloth = bleed(&near.color, &core);
    let noise = (2.5 * backing.spread()).max(0.008);
    let rough = Image::from_fn(part.width, part.height, |x, y| {
        let (i, f) = (near.color.get(x, y).0, cloth.get(x, y).0);
        let b = backing.at((part.x + x) as f32 + 0.5, (part.y + y) as f32 + 0.5).0;
        let along: [f32; 3] = std::array::from_fn(|c| f[c] - b[c]);
        let apart = along.iter().map(|v| v * v).sum::<f32>().max(1e-6);
        let projected = (0..3).map(|c| (i[c] - b[c]) * along[c]).sum::<f32>() / apart;
        if unlike(i, b) < noise { 0.0 } else { projected }
    });
    let certain_cloth = erode(&rough.zip(&near.signed, |a, d| a > 0.8 && d > 0.5 * ring), 1.0);
    let stroke = |kind| super::painted(&recipe.strokes, kind, Size::new(part.right(), part.bottom())).crop(part);
    let cloth_told = stroke(StrokeKind::Cloth);
    let backing_told = stroke(StrokeKind::Backing).zip(&stroke(StrokeKind::Gap), |a, b| a || b);
    Image::from_fn(part.width, part.height, |x, y| {
        let (a, d) = (rough.get(x, y), near.signed.get(x, y));
        Unit(if cloth_told.get(x, y) {
            1.0
        } else if backing_told.get(x, y) || d < -3.0 * ring || (a < 0.04 && d < -0.3 * ring) || a <= 0.0 {
            0.0
        } else if certain_cloth.get(x, y) || (d > 2.0 * ring && a > 0.5) {
            1.0
        } else {
            0.5
        })
    })
}

/// Cover, what is seen through, intact cloth: from alpha in a part of the photo, and the distance inside the filled outline.
fn finish(size: Size, part: Rect, outline: &Image<f32>, alpha: &Image<Unit>, ring: f32, why: String) -> Isolated {
    let (width, height) = (size.width, size.height);
    // Loose specks of backing texture are no cloth: what does not hang together with the piece goes.
    let (labels, parts) = label(&alpha.map(|a| a.0 > 0.1));
    let largest = parts.iter().map(|p| p.area).max().unwrap_or(0);
    let alpha = alpha.zip(&labels, |a, l| if l > 0 && parts[l as usize - 1].area * 50 < largest { Unit(0.0) } else { a });
    // Inside the outline the cover is whole; at the rim it is alpha itself.
    let deep = outline.map(|d| ((d - ring) / ring).clamp(0.0, 1.0));
    let cover_part = alpha.zip(&deep, |a, d| Unit(if a.0.max(d) < 0.004 { 0.0 } else { a.0.max(d) }));
    let see_part = alpha.zip(&cover_part, |a, c| Unit(if c.0 > 0.0 { (1.0 - a.0 / c.0).clamp(0.0, 1.0) } else { 1.0 }));
    let mut cover = Image::filled(width, height, Unit(0.0));
    cover.paste(&cover_part, part.x, part.y);
    let mut see_through = Image::filled(width, height, Unit(1.0));
    see_through.paste(&see_part, part.x, part.y);
    let mut intact = Image::filled(width, height, false);
    intact.paste(&erode(&alpha.map(|a| a.0 > 0.98), 2.0), part.x, part.y);
    let bounds = cover_bounds(&cover).unwrap_or(part);
    let fractional = alpha.texels().iter().filter(|a| a.0 > 0.1 && a.0 < 0.9).count();
    let whole = alpha.texels().iter().filter(|a| a.0 >= 0.9).count();
    let confidence = (1.0 - 2.0 * fractional as f32 / (whole + 1) as f32).clamp(0.1, 1.0);
    let center = [bounds.x as f32 + 0.5 * bounds.width as f32, bounds.y as f32 + 0.5 * bounds.height as f32];
    let radius = 0.5 * (bounds.width as f32).hypot(bounds.height as f32);
    let regions = vec![Region { center, radius, score: whole as f32 }];
    Isolated {
        subject: Subject::Piece,
        why,
        cover,
        see_through: Some(see_through),
        open: None,
        intact,
        worn: None,
        backing: None,
        confidence,
        bounds,
        regions,
    }
}
