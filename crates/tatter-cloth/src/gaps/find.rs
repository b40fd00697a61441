//! Openings in one photo, the whole chain in one screen.

use tatter_core::image::{Image, LinearRgb, Rect, Size, Unit};
use tatter_core::kernel::label;
use tatter_core::model::Origin;
use tatter_core::stats::quantile;
use tatter_core::task::Task;

use super::backing::{Backing, FOREIGN, Search, UsualTint, backings, told};
use super::bare::bare_places;
use super::crossed::crossed_places;
use super::even::{Even, even_places};
use super::fibres::with_fibres;
use super::odds::{Colors, Links, SURE, beliefs, surroundings};
use super::palette::{Palette, Scale, Tint, pick};
use super::scorch::Scorch;
use super::{GapError, GapInput, Gaps, keep, mesh, rim};

/// Thread spacing in texels when nobody measured it.
pub(super) const ASSUMED_PITCH: f32 = 12.0;

/// Find what one sees through inside the cover, in linear light. Works on the rectangle around the cover and holds some 30
/// floats for each of its texels.
///
/// # Errors
/// Sizes that differ, no texels, or the task was cancelled.
pub fn gaps(color: &Image<LinearRgb>, input: &GapInput<'_>, task: &Task) -> Result<Gaps, GapError> {
    check(color.size(), input)?;
    let pitch = input.pitch_px.map_or(ASSUMED_PITCH, |[a, b]| (a.max(1.0) * b.max(1.0)).sqrt()).clamp(3.0, 400.0);
    let reference = reference(input);
    let place = Place::of(color, input, &reference, pitch);
    let guess = Scale::guess(color);
    let first = task.stage("gaps.even", || even_places(&place, guess, pitch));
    let scale = guess.refined(&place.color, &first.mask);
    let mut even = task.stage("gaps.even", || even_places(&place, scale, pitch));
    let scorch = task.stage("gaps.scorch", || Scorch::find(&place, &even, pitch));
    if let Some(scorch) = &scorch {
        scorch.warn(task);
        even.mask = scorch.places(&even.mask);
    }
    task.check()?;
    let known = pick(color, &reference);
    let colors = task.stage("gaps.backing", || colors(&place, &even, &known, scale, pitch));
    let bare = task.stage("gaps.bare", || {
        let crossed = input.thread_dirs.and_then(|dirs| crossed_places(&place, scale, pitch, dirs));
        match (bare_places(&place, scale, pitch), crossed) {
            (Some(bare), Some(crossed)) => Some(bare.zip(&crossed, |b, c| b || c)),
            (bare, crossed) => bare.or(crossed),
        }
    });
    if colors.behind.is_empty() && place.matte.is_none() {
        let open = input.pitch_px.and_then(|pitch| mesh::meshes(&place.color, &place.reference, scale, pitch));
        if let Some(belief) = open {
            return Ok(through_meshes(color.size(), &place, belief, &colors));
        }
        return Ok(match bare {
            Some(bare) => {
                task.note(
                    "backing-alike",
                    "What shows through has the cloth's own colour, so only openings broader than a thread were found: use another backing, \
                     two of them, or gap strokes",
                );
                through_bare(color.size(), &place, &bare, &colors, scale, pitch)
            }
            None => closed(color.size(), &even, task),
        });
    }
    task.check()?;
    let found = task.stage("gaps.openings", || openings(&place, &even, &colors, scorch.as_ref(), bare.as_ref(), pitch));
    task.check()?;
    let opacity = task.stage("gaps.edges", || {
        with_fibres(&place.color, &rim::opacity(&place.color, &found.belief, scale, pitch), scale, pitch)
    });
    if place.matte.is_none() && opacity.texels().iter().all(|o| o.0 >= 1.0) {
        return Ok(closed(color.size(), &even, task));
    }
    Ok(report(color.size(), &place, &opacity, &found, &colors))
}

fn check(size: Size, input: &GapInput<'_>) -> Result<(), GapError> {
    if size.area() == 0 {
        return Err(GapError::Empty);
    }
    let sizes = [
        ("cover", Some(input.cover.size())),
        ("matte", input.see_through.map(Image::size)),
        ("intact mask", input.intact.map(Image::size)),
        ("mask of gap strokes", input.gap_strokes.map(Image::size)),
        ("mask of cloth strokes", input.cloth_strokes.map(Image::size)),
    ];
    match sizes.into_iter().find(|(_, found)| found.is_some_and(|s| s != size)) {
        Some((what, found)) => Err(GapError::Size { what, found: found.unwrap_or_default(), wanted: size }),
        None => Ok(()),
    }
}

/// Cloth to compare with: intact, else outside the cover, else everything.
fn reference(input: &GapInput<'_>) -> Image<bool> {
    let enough = |mask: &Image<bool>| mask.texels().iter().filter(|&&m| m).count() * 20 >= mask.size().area();
    let outside = input.cover.map(|c| c.0 < 0.02);
    match input.intact {
        Some(mask) if enough(mask) => mask.clone(),
        _ if enough(&outside) => outside,
        _ => input.cover.map(|c| c.0 > 0.5),
    }
}

/// The part of the photo in which openings are looked for, with the cloth beside it.
pub(super) struct Place {
    part: Rect,
    pub color: Image<LinearRgb>,
    pub cover: Image<Unit>,
    pub reference: Image<bool>,
    matte: Option<Image<Unit>>,
    gap: Option<Image<bool>>,
    cloth: Option<Image<bool>>,
}

impl Place {
    fn of(color: &Image<LinearRgb>, input: &GapInput<'_>, reference: &Image<bool>, pitch: f32) -> Self {
        let part = bounds(input.cover).grown((5.0 * pitch) as usize + 16, color.size());
        // Without cloth to compare with in it, the part is the whole.
        let compared = reference.crop(part).texels().iter().filter(|&&r| r).count() * 20 >= part.size().area();
        let part = if compared { part } else { Rect::whole(color.size()) };
        let matte = input.see_through.filter(|m| m.texels().iter().any(|v| v.0 > 0.5));
        Self {
            part,
            color: color.crop(part),
            cover: input.cover.crop(part),
            reference: reference.crop(part),
            matte: matte.map(|m| m.crop(part)),
            gap: input.gap_strokes.map(|m| m.crop(part)),
            cloth: input.cloth_strokes.map(|m| m.crop(part)),
        }
    }
}

/// Of what is covered at all; a texel when nothing is.
fn bounds(cover: &Image<Unit>) -> Rect {
    let covered = |x: usize, y: usize| cover.get(x, y).0 > 0.02;
    let (mut x0, mut x1, mut y0, mut y1) = (cover.width(), 0, cover.height(), 0);
    for y in 0..cover.height() {
        for x in (0..cover.width()).filter(|&x| covered(x, y)) {
            (x0, x1, y0, y1) = (x0.min(x), x1.max(x), y0.min(y), y1.max(y));
        }
    }
    if x1 < x0 { Rect::new(0, 0, 1, 1) } else { Rect::new(x0, y0, x1 - x0 + 1, y1 - y0 + 1) }
}

fn colors(place: &Place, even: &Even, known: &[LinearRgb], scale: Scale, pitch: f32) -> Colors {
    let light = |colors: &[LinearRgb], share: f32| quantile(&mut colors.iter().map(|c| c.luminance()).collect::<Vec<_>>(), share);
    let covered = pick(&place.color, &place.cover.map(|c| c.0 > 0.5));
    let known_tints: Vec<_> = known.iter().map(|c| scale.tint(*c)).collect();
    let usual_tint = UsualTint::of(&known_tints);
    let search = Search {
        color: &place.color,
        reference: &place.reference,
        tints: &even.tints,
        even: &even.mask,
        by_chance: even.by_chance,
        contrast: even.usual,
        cover: &place.cover,
        usual_tint,
        scale,
        pitch,
        brightest: light(&covered, 0.995),
        usual: light(known, 0.5),
    };
    let (mut behind, seeds) = backings(&search);
    behind.extend(place.gap.as_ref().and_then(|strokes| told(&search, strokes)));
    let own = without_pinholes(&known_tints, usual_tint, &behind, scale);
    let mut colors = Colors { scale, cloth: Palette::of(&own), behind, seeds, foreign: FOREIGN_ODDS };
    // White specks of undyed weft look like a white card and are cloth.
    let mut odds: Vec<f32> = own.iter().map(|t| colors.odds(*t)).collect();
    colors.foreign = FOREIGN_ODDS.max(quantile(&mut odds, 0.95) + 1.0);
    colors
}

/// Log odds of backing from which a colour is foreign to the cloth, unless intact cloth shows such colours too.
pub(super) const FOREIGN_ODDS: f32 = -2.0;
/// Tints of intact cloth but for those of the backing: a loose weave lets it through between its threads, in their shade and
/// so no lighter than they. What is lighter is a thread of another dye.
fn without_pinholes(known: &[Tint], usual: UsualTint, behind: &[Backing], scale: Scale) -> Vec<Tint> {
    let pinhole =
        |t: &Tint| t.0[0] < usual.middle[0] + 0.1 && usual.distance(*t) > FOREIGN && behind.iter().any(|b| b.explains(*t, scale));
    known.iter().filter(|t| !pinhole(t)).copied().collect()
}

/// What was decided.
struct Found {
    /// -1 cloth to 1 backing.
    belief: Image<f32>,
    /// Log odds of the colour alone.
    odds: Image<f32>,
    /// How clearly the colours of cloth and backing part, 0..1.
    apart: f32,
    scorched: Option<Image<bool>>,
}

fn openings(
    place: &Place,
    even: &Even,
    colors: &Colors,
    scorch: Option<&Scorch>,
    bare: Option<&Image<bool>>,
    pitch: f32,
) -> Found {
    let inside = |odds: &Image<f32>| odds.zip(&place.cover, |o, c| if c.0 <= 0.02 { -SURE } else { o });
    let by_color = even.tints.map(|t| colors.odds(t));
    let by_color = match scorch {
        Some(scorch) => scorch.judge(&by_color, &even.tints),
        None => by_color,
    };
    let odds = match &place.matte {
        Some(matte) if colors.behind.is_empty() => matte.map(|m| 12.0 * (m.0 - 0.5)),
        Some(matte) => by_color.zip(matte, |o, m| 0.4 * o + 9.6 * (m.0 - 0.5)),
        None => by_color.clone(),
    };
    let links = Links::of(&place.color, &even.tints, colors.scale);
    let mut broad = even.mask.clone();
    for told in place.matte.iter().map(|m| m.map(|m| m.0 > 0.9)).chain(place.gap.clone()).chain(colors.seeds.clone()) {
        broad = broad.zip(&told, |a, b| a || b);
    }
    let first = beliefs(&inside(&odds), &links);
    let noise = place.color.map(|c| colors.scale.spread(c)[0].sqrt());
    let around = surroundings(&even.tints, &noise, &first, &broad, pitch);
    let mut belief = beliefs(&inside(&odds.zip(&around, |a, b| (a + b).clamp(-SURE, SURE))), &links);
    keep::anchored(&mut belief, &broad, keep::usual_speck(&by_color, &place.reference), pitch);
    if let Some(bare) = bare {
        belief = belief.zip(bare, |b, bare| if bare { 1.0 } else { b });
    }
    strokes(&mut belief, place);
    belief = belief.zip(&place.cover, |b, c| if c.0 <= 0.02 { -1.0 } else { b });
    let mut at_seeds: Vec<f32> = odds.texels().iter().zip(broad.texels()).filter(|(_, b)| **b).map(|(o, _)| *o).collect();
    let scorched = scorch.and_then(Scorch::before_black).cloned();
    Found { scorched, belief, odds: by_color, apart: (quantile(&mut at_seeds, 0.5) / SURE).clamp(0.0, 1.0) }
}

/// Cloth that is open in every mesh, over something dark.
fn through_meshes(size: Size, place: &Place, belief: Image<f32>, colors: &Colors) -> Gaps {
    let mut belief = belief.zip(&place.cover, |b, c| if c.0 <= 0.02 { -1.0 } else { b });
    strokes(&mut belief, place);
    // Fuzz fills the meshes: nothing beside a rim is purely one or the other, and the light itself says how much is thread.
    let opacity = belief.map(|b| Unit(0.5 - 0.5 * b));
    let odds = belief.map(|b| SURE * b);
    let found = Found { belief, odds, apart: 1.0, scorched: None };
    Gaps { how: "something dark and even in every mesh of the weave".to_owned(), ..report(size, place, &opacity, &found, colors) }
}

/// Something of the cloth's own colour behind, known by the weave's end alone.
fn through_bare(size: Size, place: &Place, bare: &Image<bool>, colors: &Colors, scale: Scale, pitch: f32) -> Gaps {
    let mut belief = bare.map(|b| if b { 1.0 } else { -1.0 });
    strokes(&mut belief, place);
    let opacity = with_fibres(&place.color, &rim::opacity(&place.color, &belief, scale, pitch), scale, pitch);
    let odds = belief.map(|b| SURE * b);
    let found = Found { belief, odds, apart: 0.5, scorched: None };
    let how = "places without any weave, in the cloth's own colour".to_owned();
    Gaps { how, ..report(size, place, &opacity, &found, colors) }
}

/// What a person said holds.
fn strokes(belief: &mut Image<f32>, place: &Place) {
    for (told, value) in [(&place.gap, 1.0), (&place.cloth, -1.0)] {
        if let Some(mask) = told {
            *belief = belief.zip(mask, |b, m| if m { value } else { b });
        }
    }
}

fn closed(size: Size, even: &Even, task: &Task) -> Gaps {
    task.note(
        "no-openings",
        "No opening was found in the damage: the cloth there is opaque everywhere; where one sees through, draw a gap stroke or photograph it over two backings",
    );
    Gaps {
        opacity: Image::filled(size.width, size.height, Unit(1.0)),
        own_color: Image::filled(size.width, size.height, Unit(1.0)),
        scorched: None,
        openings: 0,
        share: 0.0,
        backing: None,
        // What is unlike cloth and yet threaded is a mark, or an opening that was missed.
        confidence: 1.0 - 0.5 * even.odd_share,
        how: "no place inside the cover looks like something behind the cloth".to_owned(),
        origin: Origin::Derived,
    }
}

/// How sure it is that each texel's colour is the cloth's own: by the odds of its colour and by how much of it is cloth, and no
/// surer than its neighbours, whose light a lens mixes into it.
pub(super) fn own_color(odds: &Image<f32>, opacity: &Image<Unit>, foreign: f32) -> Image<Unit> {
    let own = odds.zip(opacity, |o, a| ((a.0 - 0.6) / 0.35).clamp(0.0, 1.0) / (1.0 + (1.5 * (o - foreign)).exp()));
    Image::from_fn(own.width(), own.height(), |x, y| {
        let at = |dx, dy| own.get_clamped(x as isize + dx, y as isize + dy);
        Unit([at(-1, 0), at(1, 0), at(0, -1), at(0, 1)].into_iter().fold(at(0, 0), f32::min))
    })
}

fn report(size: Size, place: &Place, opacity: &Image<Unit>, found: &Found, colors: &Colors) -> Gaps {
    let whole = |part: &Image<Unit>| {
        let mut all = Image::filled(size.width, size.height, Unit(1.0));
        all.paste(part, place.part.x, place.part.y);
        all
    };
    let total: f64 = place.cover.texels().iter().map(|c| f64::from(c.0)).sum();
    let through = opacity.texels().iter().zip(place.cover.texels()).map(|(o, c)| f64::from((1.0 - o.0) * c.0)).sum::<f64>();
    let (mut sum, mut count, mut firm, mut asked) = ([0.0f64; 3], 0.0f64, 0.0f64, 0.0f64);
    for ((c, o), b) in place.color.texels().iter().zip(opacity.texels()).zip(found.belief.texels()) {
        if o.0 <= 0.0 {
            count += 1.0;
            for (total, value) in sum.iter_mut().zip(c.0) {
                *total += f64::from(value);
            }
        }
        if o.0 < 1.0 {
            firm += f64::from(b.abs());
            asked += 1.0;
        }
    }
    let (matte, kinds) = (place.matte.is_some(), colors.behind.len());
    // The matte is made from a model of the backing: it parts the two even where this search found no colour.
    let apart = if kinds == 0 { 0.5 } else { found.apart };
    Gaps {
        opacity: whole(opacity),
        own_color: whole(&own_color(&found.odds.map(|o| if kinds == 0 { -SURE } else { o }), opacity, colors.foreign)),
        scorched: found.scorched.as_ref().map(|part| {
            let mut all = Image::filled(size.width, size.height, false);
            all.paste(part, place.part.x, place.part.y);
            all
        }),
        openings: label(&opacity.map(|o| o.0 < 0.5)).1.len(),
        share: (through / total.max(1e-9)) as f32,
        backing: (count > 0.0).then(|| LinearRgb(sum.map(|s| (s / count) as f32))),
        confidence: apart * (firm / asked.max(1.0)) as f32,
        how: match (matte, kinds) {
            (true, 0) => "matte of the backing".to_owned(),
            (true, n) => format!("matte of the backing and {n} backing colours in every shade"),
            (false, n) => format!("{n} backing colours, even where cloth is threaded, in every shade"),
        },
        origin: Origin::Derived,
    }
}
