//! An edge of cloth before a backing, where both reach the photo's border: a hem, a torn-off side.
//!
//! It is an injury of the cloth, but neither within cloth nor a piece: the cloth's edge is found as a piece's is, against a
//! model of the backing, and what is cut is the band along it.

use tatter_core::image::{Image, LinearRgb, Rect};
use tatter_core::kernel::{close, dilate, distance_to, erode, gaussian, label, open};
use tatter_core::model::{CutRecipe, StrokeKind, Subject};
use tatter_core::stats::{median, quantile};
use tatter_core::task::Task;

use super::damage::{cover_bounds, fade_at_border, hard_strokes, softness, tidy};
use super::decide::{fine, logs};
use super::{IsolateError, Isolated, Region, Working, edge, piece};

/// Least share of the photo's border that is backing, and the most: with more the cloth is a piece that is cut off.
const BACKING: std::ops::RangeInclusive<f32> = 0.05..=0.85;
/// Least difference of cloth and backing, log light; folds and stains differ less or keep the weave's texture.
const APART: f32 = 0.45;
/// Most texture of the backing beside the cloth's.
const PLAIN: f32 = 0.5;
/// Least texture of cloth, mean contrast of neighbours in log light; noise of a sensor is less.
const THREADED: f32 = 0.015;
/// Least share of the photo that must be backing hanging together with the border.
const AREA: f32 = 0.02;
/// Depth of the band in whole cloth and beyond the last fibre, threads.
const BAND: f32 = 1.5;

/// Half the breadth, in threads, up to which a strip along the edge is of the hem, and up to which what lies between two parts of it is.
const STRIP: f32 = 5.0;
const BETWEEN: f32 = 3.0;

/// Least share of each corner of the photo that is backing where a piece lies on it.
const CORNER: f32 = 0.75;

/// What is cloth and what backing for certain, at working size.
#[derive(Debug)]
pub(super) struct Hem {
    cloth: Image<bool>,
    backing: Image<bool>,
    /// Backing lies at all four corners of the photo: the cloth ends on both sides of wherever it runs out of it, so it is a piece.
    /// Cloth that goes on has a corner at least.
    piece: bool,
}

impl Hem {
    /// What is backing for certain.
    pub(super) const fn backing(&self) -> &Image<bool> {
        &self.backing
    }

    /// Whether the cloth is a piece that runs out of the photo.
    pub(super) const fn is_piece(&self) -> bool {
        self.piece
    }

    /// Whether enough of it is cloth to have an edge of its own.
    pub(super) fn has_body(&self) -> bool {
        self.cloth.texels().contains(&true)
    }
}

/// Deviations of colour or contrast from which cloth beside the edge is injured.
const ODD: f32 = 4.5;

type Look = [f32; 3];

fn off(a: Look, b: Look) -> f32 {
    (0..3).map(|c| (a[c] - b[c]).powi(2)).sum::<f32>().sqrt()
}

/// The two parts of a photo whose border shows cloth and, in one or two stretches, something plainer of another colour.
pub(super) fn find(working: &Working) -> Option<Hem> {
    let (width, height) = (working.size().width, working.size().height);
    let sigma = working.sigma();
    let soft = gaussian(&working.color.map(logs), sigma);
    let rough = gaussian(&fine(working), 1.5 * sigma);
    let depth = (width.min(height) / 24).max(3);
    let border: Vec<usize> = (0..width * height)
        .filter(|i| {
            let (x, y) = (i % width, i / width);
            x < depth || y < depth || x + depth >= width || y + depth >= height
        })
        .collect();
    let [first, second] = two_colors(&border.iter().map(|&i| soft.texels()[i].0).collect::<Vec<_>>())?;
    let nearer = |i: usize, a: Look, b: Look| off(soft.texels()[i].0, a) < off(soft.texels()[i].0, b);
    let texture = |a: Look, b: Look| {
        let mut of: Vec<f32> = border.iter().filter(|&&i| nearer(i, a, b)).map(|&i| rough.texels()[i]).collect();
        (of.len() as f32 / border.len() as f32, median(&mut of))
    };
    let ((share, plain), (other, woven)) = (texture(first, second), texture(second, first));
    let (back, cloth, share, plain, woven) =
        if plain < woven { (first, second, share, plain, woven) } else { (second, first, other, woven, plain) };
    let mut spread: Vec<f32> =
        border.iter().filter(|&&i| nearer(i, back, cloth)).map(|&i| off(soft.texels()[i].0, back)).collect();
    let apart = off(back, cloth);
    if !BACKING.contains(&share) || apart < APART.max(5.0 * median(&mut spread)) || plain > PLAIN * woven || woven < THREADED {
        return None;
    }
    let backing = at_border(&open(&soft.map(|c| off(c.0, back) < off(c.0, cloth)), 0.5 * working.pitch));
    let area = backing.texels().iter().filter(|b| **b).count() as f32 / (width * height) as f32;
    if area < AREA {
        return None;
    }
    let piece = corners(&backing, depth).iter().all(|share| *share > CORNER);
    // Fringe is neither yet.
    let cloth = erode(&backing.map(|b| !b), 6.0 * working.pitch);
    let backing = erode(&backing.zip(&rough, |b, r| b && r < 0.7 * woven), sigma);
    let found = Hem { cloth, backing, piece };
    ((piece || found.has_body()) && found.backing.texels().contains(&true)).then_some(found)
}

/// The share of a mask in each corner of the photo, squares of that side.
fn corners(mask: &Image<bool>, side: usize) -> [f32; 4] {
    let (right, low) = (mask.width().saturating_sub(side), mask.height().saturating_sub(side));
    [(0, 0), (right, 0), (0, low), (right, low)].map(|(x, y)| {
        let inside = mask.crop(Rect::new(x, y, side.min(mask.width()), side.min(mask.height())));
        inside.texels().iter().filter(|m| **m).count() as f32 / inside.texels().len().max(1) as f32
    })
}

/// Two colours that the border's fall into, started from the two that are farthest apart.
fn two_colors(looks: &[Look]) -> Option<[Look; 2]> {
    let middle: Look = std::array::from_fn(|c| quantile(&mut looks.iter().map(|l| l[c]).collect::<Vec<_>>(), 0.5));
    let farthest = |from: Look| looks.iter().copied().max_by(|a, b| off(*a, from).total_cmp(&off(*b, from)));
    let mut first = farthest(middle)?;
    let mut second = farthest(first)?;
    for _ in 0..10 {
        let mean = |a: Look, b: Look| {
            let own: Vec<Look> = looks.iter().copied().filter(|l| off(*l, a) < off(*l, b)).collect();
            (!own.is_empty()).then(|| std::array::from_fn(|c| own.iter().map(|l| l[c]).sum::<f32>() / own.len() as f32))
        };
        (first, second) = (mean(first, second)?, mean(second, first)?);
    }
    Some([first, second])
}

/// What hangs together with the border, in at most two parts that are large enough; nothing when there are more.
fn at_border(mask: &Image<bool>) -> Image<bool> {
    let (width, height) = (mask.width(), mask.height());
    let (labels, parts) = label(mask);
    let least = (0.25 * AREA * (width * height) as f32) as usize;
    let kept: Vec<bool> = parts
        .iter()
        .map(|p| {
            let b = p.bounds;
            p.area >= least && (b.x == 0 || b.y == 0 || b.right() == width || b.bottom() == height)
        })
        .collect();
    let few = kept.iter().filter(|k| **k).count() <= 2;
    labels.map(|l| few && l > 0 && kept[l as usize - 1])
}

/// The band along the edge, with its fringe and with injuries that reach it.
pub(super) fn isolate_hem(
    color: &Image<LinearRgb>,
    working: &Working,
    recipe: &CutRecipe,
    hem: &Hem,
    task: &Task,
) -> Result<Isolated, IsolateError> {
    let told = |kind| working.painted(recipe, kind);
    let either = |a: &Image<bool>, b: &Image<bool>| a.zip(b, |a, b| a || b);
    let cloth = either(&hem.cloth, &told(StrokeKind::Cloth));
    let backing = either(&hem.backing, &either(&told(StrokeKind::Backing), &told(StrokeKind::Gap)));
    let model = piece::backing_of(&working.color, &backing, &backing, &cloth).ok_or(IsolateError::NoDamage)?;
    let cloth = piece::cut(&working.color, &model, recipe, working, &cloth, &backing)?;
    task.check()?;
    let body = body(&cloth, working.pitch);
    let band = band(&cloth, &body, working.pitch);
    let region = either(&band, &either(&strips(&body, working.pitch), &injuries(working, &body, &band)));
    let region = either(&region, &between(&region, BETWEEN * working.pitch));
    let told_intact = told(StrokeKind::Cloth);
    let region = tidy(&region, &told(StrokeKind::Damage), &told_intact).zip(&told_intact, |r, c| r && !c);
    let mut cover = edge::fractional(color, &region, softness(working));
    fade_at_border(&mut cover, BAND * working.pitch * working.shrink);
    hard_strokes(&mut cover, recipe);
    let bounds = cover_bounds(&cover).ok_or(IsolateError::NoDamage)?;
    let shrink = working.shrink;
    let whole = erode(&body, 0.5 * working.pitch);
    let at = |v: usize, n: usize| (((v as f32 + 0.5) / shrink) as usize).min(n - 1);
    let at_photo = |mask: &Image<bool>| {
        Image::from_fn(color.width(), color.height(), |x, y| mask.get(at(x, mask.width()), at(y, mask.height())))
    };
    let intact = at_photo(&whole).zip(&cover, |w, c| w && c.0 == 0.0);
    let center = [bounds.x as f32 + 0.5 * bounds.width as f32, bounds.y as f32 + 0.5 * bounds.height as f32];
    let radius = 0.5 * (bounds.width as f32).hypot(bounds.height as f32);
    Ok(Isolated {
        subject: Subject::Damage,
        why: "an edge of cloth, because cloth and a plainer backing both reach the photo's border".to_owned(),
        cover,
        // Openings are told from cloth by the gaps' own search, which knows shade and evenness.
        see_through: None,
        open: Some(at_photo(&backing)),
        intact,
        worn: None,
        backing: None,
        confidence: 0.8,
        bounds,
        regions: vec![Region { center, radius, score: body.texels().iter().filter(|b| **b).count() as f32 }],
    })
}

/// Cloth whose threads are bound both ways: without pores, and without fringe, which is too narrow.
fn body(cloth: &Image<bool>, pitch: f32) -> Image<bool> {
    let broad = open(&close(cloth, (0.35 * pitch).max(1.0)), (1.2 * pitch).max(2.0));
    let (labels, parts) = label(&broad);
    let largest = parts.iter().map(|p| p.area).max().unwrap_or(0);
    labels.map(|l| l > 0 && parts[l as usize - 1].area * 10 >= largest)
}

/// Along the edge of the body: a little of it, the fringe, and a little beyond its last fibre.
fn band(cloth: &Image<bool>, body: &Image<bool>, pitch: f32) -> Image<bool> {
    let reach = BAND * pitch;
    let beyond = distance_to(cloth).zip(body, |d, b| !b && d <= reach);
    let within = distance_to(&body.map(|b| !b)).zip(body, |d, b| b && d <= reach);
    beyond.zip(&within, |o, i| o || i)
}

/// Parts of the body too narrow to be the cloth itself: tatters, a folded edge.
fn strips(body: &Image<bool>, pitch: f32) -> Image<bool> {
    let broad = open(body, STRIP * pitch);
    // Rounded corners are no strips.
    open(&body.zip(&broad, |b, broad| b && !broad), 0.5 * pitch)
}

/// What lies between parts of the hem so near each other is of it, fringe as pale as the backing too; bays that are open to what is not, such as
/// those between tufts, are not.
fn between(region: &Image<bool>, reach: f32) -> Image<bool> {
    /// Largest share of its outline by which such a place may be open.
    const OPEN: f32 = 0.2;
    let (width, height) = (region.width(), region.height());
    let filled = close(region, reach).zip(region, |c, r| c && !r);
    let (labels, parts) = label(&filled);
    // Sides of pixels towards the hem, and towards what is neither.
    let mut sides = vec![[0u32; 2]; parts.len() + 1];
    for y in 0..height {
        for x in 0..width {
            let own = labels.get(x, y) as usize;
            if own == 0 {
                continue;
            }
            let around = [(x.wrapping_sub(1), y), (x + 1, y), (x, y.wrapping_sub(1)), (x, y + 1)];
            for (x, y) in around.into_iter().filter(|&(x, y)| x < width && y < height && !filled.get(x, y)) {
                sides[own][usize::from(!region.get(x, y))] += 1;
            }
        }
    }
    labels.map(|l| {
        let [hem, open] = sides[l as usize].map(|sides| sides as f32);
        l > 0 && open <= OPEN * (hem + open)
    })
}

/// Places of the body that reach the band and look otherwise than most of it: loosened, frayed, pale. Colour and contrast are
/// those of the body alone, so that the backing does not look like an injury beside it.
fn injuries(working: &Working, body: &Image<bool>, band: &Image<bool>) -> Image<bool> {
    let sigma = working.sigma();
    let weight = body.map(|b| if b { 1.0 } else { 0.0f32 });
    let share = gaussian(&weight, sigma);
    let own = |values: Image<LinearRgb>| {
        let sum = gaussian(&values.zip(&weight, |v, w| LinearRgb(v.0.map(|v| v * w))), sigma);
        sum.zip(&share, |v, s| LinearRgb(v.0.map(|v| v / s.max(0.05))))
    };
    let color = own(working.color.map(logs));
    let texture = own(fine(working).map(|f| LinearRgb([f, 0.0, 0.0]))).map(|t| (t.0[0] + 0.01).ln());
    let unlike = |value: &dyn Fn(usize) -> f32, floor: f32| {
        let inside: Vec<f32> = (0..weight.size().area()).filter(|&i| body.texels()[i]).map(value).collect();
        let middle = median(&mut inside.clone());
        let spread = 1.4826 * median(&mut inside.iter().map(|v| (v - middle).abs()).collect::<Vec<_>>());
        (0..weight.size().area()).map(|i| (value(i) - middle).abs() / spread.max(floor)).collect::<Vec<f32>>()
    };
    let of_color = [0, 1, 2].map(|c: usize| unlike(&|i| color.texels()[i].0[c], 0.02));
    let of_texture = unlike(&|i| texture.texels()[i], 0.05);
    let most = |i: usize| of_color.iter().fold(of_texture[i], |most, c| most.max(c[i]));
    let odd = Image::from_vec(
        body.width(),
        body.height(),
        (0..weight.size().area()).map(|i| body.texels()[i] && most(i) > ODD).collect(),
    );
    let (labels, parts) = label(&odd);
    let near = dilate(band, sigma);
    let mut reaches = vec![false; parts.len() + 1];
    for (l, n) in labels.texels().iter().zip(near.texels()) {
        reaches[*l as usize] |= *n && *l > 0;
    }
    dilate(&labels.map(|l| reaches[l as usize]), 0.5 * sigma).zip(body, |o, b| o && b)
}

#[cfg(test)]
mod tests {
    use super::super::ClothHints;
    use super::*;
    use tatter_core::rng::hash_unit;

    const CLOTH: [f32; 3] = [0.40, 0.32, 0.24];
    const DARK: [f32; 3] = [0.03; 3];

    /// Checked cloth to the left of a slanted line, over a card.
    fn photo(card: [f32; 3], texture: f32) -> Image<LinearRgb> {
        Image::from_fn(240, 240, |x, y| {
            let noise = 0.001 * (hash_unit(1, x as u32, y as u32) - 0.5);
            let cloth = x as f32 + 0.2 * (y as f32) < 150.0;
            let weave = if (x / 2 + y / 2) % 2 == 0 { 1.0 + texture } else { 1.0 - texture };
            LinearRgb([0, 1, 2].map(|c: usize| if cloth { CLOTH[c] * weave } else { card[c] } + noise))
        })
    }

    #[test]
    fn an_edge_is_one_where_cloth_ends_before_a_plainer_backing() {
        let found = |photo: Image<LinearRgb>| find(&Working::new(&photo, &ClothHints::default()));
        let hem = found(photo(DARK, 0.3)).expect("cloth and a dark card");
        assert!(hem.cloth.get(40, 120) && hem.backing.get(210, 120), "which is which");
        assert!(!hem.cloth.get(210, 120) && !hem.backing.get(40, 120), "and which is not");
        assert!(!hem.is_piece(), "it fills two corners");
        let strip =
            Image::from_fn(240, 240, |x, y| photo(DARK, 0.3).get(if (60..170).contains(&x) { 40 + x % 2 } else { 239 }, y));
        let strip = found(strip).expect("a strip from edge to edge over a dark card");
        assert!(strip.is_piece() && strip.backing.get(20, 120) && !strip.backing.get(115, 120), "cloth has no corner");
        assert!(found(photo(CLOTH, 0.3)).is_none(), "a seam between two parts of one colour");
        assert!(found(photo(DARK, 0.0)).is_none(), "two plain parts: nothing says which is cloth");
    }
}
