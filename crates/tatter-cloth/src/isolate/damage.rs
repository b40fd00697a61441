//! The injured region in intact cloth.

use rayon::iter::ParallelIterator as _;
use tatter_core::image::{Image, LinearRgb, Pixel as _, Rect, Unit};
use tatter_core::kernel::{dilate, distance_to, label};
use tatter_core::model::{CutRecipe, StrokeKind, Subject};
use tatter_core::task::Task;

use super::edge::{self, Certain, bounds_of};
use super::find::{self, Found};
use super::sheen::without_sheen;
use super::{IsolateError, Isolated, Region, Working, features};

/// Find, refine and soften the injured region.
pub(super) fn isolate_damage(
    color: &Image<LinearRgb>,
    working: &Working,
    recipe: &CutRecipe,
    why: String,
    task: &Task,
) -> Result<Isolated, IsolateError> {
    let sigma = working.sigma();
    let told_injured = working.painted(recipe, StrokeKind::Damage);
    let told_gap = working.painted(recipe, StrokeKind::Gap);
    let told_injured = told_injured.zip(&told_gap, |a, b| a || b);
    let told_intact = working.painted(recipe, StrokeKind::Cloth);
    let blank = blank(working, task);
    let mut look = Look::new(working, &told_injured, blank.as_ref(), recipe.seed);
    task.check()?;
    let mut found = find::sure_places(&look.score, sigma);
    let (mask, taken) = choose(&mut found, &look.score, working, recipe, &told_injured, task)?;
    let certain = Certain { injured: &told_injured, intact: &told_intact };
    let refined = |look: &Look, mask: &Image<bool>| {
        let region = edge::refine(&look.lab, &look.score, mask, sigma, &certain);
        let region = look.without_sheen(working, &region).zip(&told_injured, |r, told| r || told);
        tidy(&region, &told_injured, &told_intact)
    };
    let mut region = refined(&look, &mask);
    let mut torn = None;
    task.check()?;
    if recipe.around.is_none()
        && let Some((wider, mask)) = wider(working, &region, blank.as_ref(), recipe.seed)
    {
        let whole = refined(&wider, &mask);
        let held = region.zip(&whole, |r, w| r && w).texels().iter().filter(|h| **h).count();
        // What no longer holds the injury is another.
        if held * 5 > region.texels().iter().filter(|r| **r).count() * 4 {
            torn = Some(std::mem::replace(&mut region, whole));
            look = wider;
        }
    }
    let score = look.score;
    if !region.texels().iter().any(|r| *r) {
        return Err(IsolateError::NoDamage);
    }
    let mut cover = edge::fractional(color, &region, softness(working));
    fade_at_border(&mut cover, working.pitch.clamp(2.0, 12.0) * working.shrink);
    hard_strokes(&mut cover, recipe);
    let bounds = cover_bounds(&cover).ok_or(IsolateError::NoDamage)?;
    let other = found.iter().fold(region.clone(), |all, f| all.zip(&f.mask, |a, b| a || b));
    let unlike = dilate(&other.zip(&score, |o, s| o || s > 12.0), sigma);
    let shrink = working.shrink;
    let near = |v: usize, n: usize| (((v as f32 + 0.5) / shrink) as usize).min(n - 1);
    let intact = Image::from_fn(color.width(), color.height(), |x, y| {
        cover.get(x, y).0 == 0.0 && !unlike.get(near(x, unlike.width()), near(y, unlike.height()))
    });
    // Fringe of what is torn reaches about a thread into what is worn.
    let worn = torn.map(|torn| {
        let torn = dilate(&torn, sigma);
        let is_worn = |x: usize, y: usize| cover.get(x, y).0 > 0.0 && !torn.get(near(x, torn.width()), near(y, torn.height()));
        Image::from_fn(color.width(), color.height(), is_worn)
    });
    let regions = list_regions(&found, taken, &region, shrink);
    note_others(&regions, task);
    let confidence = confidence(&found, taken);
    if confidence < 0.35 {
        task.note(
            "damage-unsure",
            format!(
                "The injured region at {:.0}, {:.0} hardly differs from the cloth around it; look at the outline, or say --around x,y,radius",
                regions[0].center[0], regions[0].center[1]
            ),
        );
    }
    Ok(Isolated {
        subject: Subject::Damage,
        why,
        cover,
        see_through: None,
        open: None,
        intact,
        worn,
        backing: None,
        confidence,
        bounds,
        regions,
    })
}

/// Half a thread in photo pixels: the breadth over which a frayed rim changes from injured to intact.
pub(super) fn softness(working: &Working) -> f32 {
    (0.3 * working.pitch.clamp(2.0, 12.0) * working.shrink).max(1.5)
}

/// An injury that goes on beyond the photo ends softly, over that many pixels: the photo's border is no outline.
pub(super) fn fade_at_border(cover: &mut Image<Unit>, over: f32) {
    let (width, height) = (cover.width(), cover.height());
    cover.par_rows_mut().for_each(|(y, row)| {
        for (x, texel) in row.iter_mut().enumerate() {
            let room = x.min(y).min(width - 1 - x).min(height - 1 - y) as f32 + 0.5;
            let t = (room / over).min(1.0);
            texel.0 *= t * t * (3.0 - 2.0 * t);
        }
    });
}

/// A photo against a model of its own intact cloth, at working size.
struct Look {
    /// Without slow light.
    lab: Image<LinearRgb>,
    /// How unlike the cloth.
    score: Image<f32>,
}

impl Look {
    /// The cloth is not learnt from what is excluded; what is blank is no injury.
    fn new(working: &Working, exclude: &Image<bool>, blank: Option<&Image<bool>>, seed: u64) -> Self {
        let sigma = working.sigma();
        let unseen = working.unseen.as_ref().map(|unseen| exclude.zip(unseen, |e, u| e || u));
        let exclude = unseen.as_ref().unwrap_or(exclude);
        let lab = features::flat_lab(&working.color, sigma, exclude);
        let score = find::outlier_score(&lab, sigma, working.lines, exclude, seed);
        let score = match blank {
            Some(blank) => score.zip(blank, |s, b| if b { s.min(1.0) } else { s }),
            None => score,
        };
        Self { lab, score }
    }

    fn without_sheen(&self, working: &Working, region: &Image<bool>) -> Image<bool> {
        without_sheen(&working.color, &self.lab, &self.score, region, working.sigma())
    }
}

/// Wear is often broader than the hole it led to, and where it covers much of the photo the cloth's model has learnt it as one more
/// kind of cloth. The model learnt anew, far from the region alone: with it the place that holds the region, when what it has more is
/// much, of another tint than the cloth, and inside the photo.
fn wider(working: &Working, region: &Image<bool>, blank: Option<&Image<bool>>, seed: u64) -> Option<(Look, Image<bool>)> {
    /// The surround left out, in half diagonals of the region; and least share of the photo that must be left to learn from.
    const SURROUND: [f32; 2] = [0.8, 0.5];
    const LEFT: f32 = 0.3;
    /// How much more the new place has, as a share of the region with its fringe left out, and how far its mean tint lies from the
    /// cloth's, CIELAB a* and b*, at least: folds and shadows change lightness alone. Set on the work list: worn and scorched cloth
    /// 3.1, surrounds of rips below 1.6 or too small.
    const MORE: f32 = 0.25;
    const OTHER: f32 = 2.3;
    /// Share of the photo's border that it may reach.
    const AT_BORDER: f32 = 0.12;
    let bounds = bounds_of(region)?;
    let half = 0.5 * (bounds.width as f32).hypot(bounds.height as f32);
    let away = distance_to(region);
    let count = |mask: &Image<bool>| mask.texels().iter().filter(|m| **m).count() as f32;
    let area = region.size().area() as f32;
    let near = SURROUND.map(|share| away.map(|d| d < share * half)).into_iter().find(|near| count(near) < (1.0 - LEFT) * area)?;
    let look = Look::new(working, &near, blank, seed);
    let found = find::sure_places(&look.score, working.sigma());
    let mask = found.into_iter().map(|place| place.mask).find(|mask| touches(mask, region))?;
    let mask = look.without_sheen(working, &mask);
    let (width, height) = (mask.width(), mask.height());
    let border = |x: usize, y: usize| x.min(y) < 2 || x + 3 > width || y + 3 > height;
    let reached =
        (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).filter(|&(x, y)| border(x, y) && mask.get(x, y)).count();
    let fringed = dilate(region, 2.0 * working.sigma());
    let more = mask.zip(&fringed, |m, f| m && !f);
    let mean = |of: &Image<bool>| {
        let sum = look
            .lab
            .texels()
            .iter()
            .zip(of.texels())
            .filter(|(_, o)| **o)
            .fold(LinearRgb::default(), |s, (c, _)| s.plus(*c, 1.0));
        sum.times(1.0 / count(of).max(1.0))
    };
    let [_, a, b] = mean(&more).plus(mean(&near.map(|n| !n)), -1.0).0;
    let off = a.hypot(b);
    let grown = count(&more) > MORE * count(region) && off > OTHER;
    (grown && (reached as f32) < AT_BORDER * 4.0 * (width + height) as f32).then_some((look, mask))
}

/// Where the photo shows no threads that could be hurt: what lies on the cloth, with what its edge does to the features of cloth
/// beside it, and what is burnt out. `None` without any.
fn blank(working: &Working, task: &Task) -> Option<Image<bool>> {
    let burnt = burnt(&working.color, task);
    let unseen = working.unseen.as_ref().map(|unseen| dilate(unseen, working.sigma()));
    match (burnt, unseen) {
        (Some(burnt), Some(unseen)) => Some(burnt.zip(&unseen, |b, u| b || u)),
        (burnt, unseen) => burnt.or(unseen),
    }
}

/// Where the intact cloth itself is burnt out in places (its border is), white without texture is no injury: those places; `None`
/// where it is not.
fn burnt(color: &Image<LinearRgb>, task: &Task) -> Option<Image<bool>> {
    const BURNT: f32 = 0.96;
    let (width, height) = (color.width(), color.height());
    let burnt = color.map(|c| c.0.iter().all(|v| *v >= BURNT));
    let (mut edge, mut bad) = (0usize, 0usize);
    for y in 0..height {
        for x in 0..width {
            if x.min(y) < 4 || x + 4 >= width || y + 4 >= height {
                edge += 1;
                bad += usize::from(burnt.get(x, y));
            }
        }
    }
    if bad * 50 < edge {
        return None;
    }
    task.note("photo-burnt", "Parts of the cloth are burnt out to white and show no threads; a darker exposure finds more");
    Some(dilate(&burnt, 3.0))
}

/// The region meant, as a mask at working size, and its number among the found ones.
fn choose(
    found: &mut Vec<Found>,
    score: &Image<f32>,
    working: &Working,
    recipe: &CutRecipe,
    told: &Image<bool>,
    task: &Task,
) -> Result<(Image<bool>, Option<usize>), IsolateError> {
    if told.texels().iter().any(|t| *t) {
        let touched: Vec<usize> = (0..found.len()).filter(|&i| touches(&found[i].mask, told)).collect();
        let mask = touched.iter().fold(told.clone(), |all, &i| all.zip(&found[i].mask, |a, b| a || b));
        return Ok((mask, touched.first().copied()));
    }
    if let Some([x, y, radius]) = recipe.around {
        let [cx, cy, r] = [x, y, radius.max(2.0)].map(|v| v / working.shrink);
        let disc =
            |r: f32| Image::from_fn(score.width(), score.height(), |x, y| (x as f32 + 0.5 - cx).hypot(y as f32 + 0.5 - cy) <= r);
        let circle = disc(r);
        let best = (0..found.len()).find(|&i| touches(&found[i].mask, &circle));
        // What lies far outside the circle told was not meant, even when it hangs together with what was.
        let meant = disc(1.6 * r + 2.0 * working.sigma());
        if let Some(i) = best {
            let whole_inside = found[i].mask.zip(&meant, |m, w| m && !w).texels().iter().filter(|t| **t).count();
            let mask = if whole_inside > 0 { found[i].mask.zip(&meant, |m, w| m && w) } else { found[i].mask.clone() };
            return Ok((mask, Some(i)));
        }
        let faint = find::places(&score.zip(&circle, |s, c| if c { s } else { 0.0 }), working.sigma(), 3.0, 2.0);
        if let Some(place) = faint.into_iter().next() {
            let mask = place.mask.clone();
            found.insert(0, place);
            return Ok((mask, Some(0)));
        }
        task.note(
            "around-alike",
            format!("Nothing in the circle at {x:.0}, {y:.0} differs from the cloth around it; the whole circle was taken"),
        );
        return Ok((circle, None));
    }
    found.first().map(|f| (f.mask.clone(), Some(0))).ok_or(IsolateError::NoDamage)
}

fn touches(a: &Image<bool>, b: &Image<bool>) -> bool {
    a.texels().iter().zip(b.texels()).any(|(a, b)| *a && *b)
}

/// One region: specks dropped unless told, inner holes filled unless told intact. Larger islands were found as one injury
/// and stay.
pub(super) fn tidy(region: &Image<bool>, told: &Image<bool>, intact: &Image<bool>) -> Image<bool> {
    let (labels, parts) = label(region);
    let largest = parts.iter().map(|p| p.area).max().unwrap_or(0);
    let mut keep: Vec<bool> = std::iter::once(false).chain(parts.iter().map(|p| p.area * 25 > largest)).collect();
    for (l, told) in labels.texels().iter().zip(told.texels()) {
        keep[*l as usize] |= *told && *l > 0;
    }
    let kept = labels.map(|l| keep[l as usize]);
    let (outside, sets) = label(&kept.map(|k| !k));
    let (width, height) = (kept.width(), kept.height());
    let open: Vec<bool> = sets
        .iter()
        .map(|s| s.bounds.x == 0 || s.bounds.y == 0 || s.bounds.right() == width || s.bounds.bottom() == height)
        .collect();
    Image::from_fn(width, height, |x, y| {
        let l = outside.get(x, y);
        (l == 0 || !open[l as usize - 1]) && !intact.get(x, y)
    })
}

/// What was painted holds to the pixel.
pub(super) fn hard_strokes(cover: &mut Image<Unit>, recipe: &CutRecipe) {
    for (kind, value) in [(StrokeKind::Cloth, 0.0), (StrokeKind::Damage, 1.0), (StrokeKind::Gap, 1.0)] {
        if recipe.strokes.iter().any(|s| s.kind == kind) {
            let mask = super::painted(&recipe.strokes, kind, cover.size());
            for (texel, told) in cover.texels_mut().iter_mut().zip(mask.texels()) {
                if *told {
                    *texel = Unit(value);
                }
            }
        }
    }
}

/// The rectangle of cover above half a code value of 8 bits.
pub(super) fn cover_bounds(cover: &Image<Unit>) -> Option<Rect> {
    bounds_of(&cover.map(|c| c.0 > 0.002))
}

fn list_regions(found: &[Found], taken: Option<usize>, region: &Image<bool>, shrink: f32) -> Vec<Region> {
    let (mut sum, mut count) = ([0.0f64; 2], 0usize);
    for y in 0..region.height() {
        for x in (0..region.width()).filter(|&x| region.get(x, y)) {
            sum = [sum[0] + x as f64 + 0.5, sum[1] + y as f64 + 0.5];
            count += 1;
        }
    }
    let center = sum.map(|s| (s / count.max(1) as f64) as f32 * shrink);
    let extent = bounds_of(region).map_or(0.0, |b| 0.5 * (b.width as f32).hypot(b.height as f32));
    let score = taken.map_or(0.0, |i| found[i].score);
    let mut regions = vec![Region { center, radius: extent * shrink, score }];
    let others = found.iter().enumerate().filter(|(i, _)| Some(*i) != taken);
    regions.extend(others.map(|(_, f)| Region {
        center: f.center.map(|v| v * shrink),
        radius: f.radius * shrink,
        score: f.score,
    }));
    regions
}

fn note_others(regions: &[Region], task: &Task) {
    let strong: Vec<String> = regions[1..]
        .iter()
        .filter(|r| r.score > 0.2 * regions[0].score)
        .take(5)
        .map(|r| format!("{:.0},{:.0},{:.0}", r.center[0], r.center[1], r.radius))
        .collect();
    if !strong.is_empty() {
        let [x, y] = regions[0].center;
        task.note(
            "several-damages",
            format!(
                "{} injured places found; the one at {x:.0}, {y:.0} was taken. The others, for --around: {}",
                strong.len() + 1,
                strong.join("  ")
            ),
        );
    }
}

/// High when the place is far from ordinary and stands alone.
fn confidence(found: &[Found], taken: Option<usize>) -> f32 {
    let Some(i) = taken else { return 0.1 };
    let unlike = ((found[i].peak / 7.0).ln() / 2.5).clamp(0.05, 1.0);
    let rest: f32 = found.iter().enumerate().filter(|(k, _)| *k != i).map(|(_, f)| f.score).sum();
    unlike * (found[i].score / (found[i].score + 0.5 * rest)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn islands_go_and_holes_are_filled() {
        let art = [
            "..............",
            ".#########...#",
            ".#.......#....",
            ".#.####..#....",
            ".#########.##.",
            "..............",
            "...####.......",
        ];
        let region = Image::from_fn(14, 7, |x, y| art[y].as_bytes()[x] == b'#');
        let none = Image::filled(14, 7, false);
        let tidied = tidy(&region, &none, &none);
        let count = tidied.texels().iter().filter(|t| **t).count();
        assert_eq!(count, 42, "a full block of 9 by 4 and two islands of 2 and 4 that are of its kind, without the speck of one");
        assert!(distance_to(&tidied).get(13, 1) > 2.0, "the speck at the right is gone");
    }
}
