//! Checks of a patch.

use tatter_core::channel::Channel;
use tatter_core::image::{Image, Map, Unit};
use tatter_core::model::{Patch, ScaleSource};

use super::agree::{Agreement, Verdict};
use super::color_range::ColorCount;
use super::{Fault, Severity};

/// Every check, in the order people read them.
const CHECKS: &[fn(&Patch) -> Vec<Fault>] =
    &[sizes, canvas, cover, numbers, unit_normals, normals_against_heights, heights_in_range, colors, scale, missing];

/// Everything wrong with a patch, worst kinds not sorted first but in the order of the maps. Linear in its texels.
pub fn check_patch(patch: &Patch) -> Vec<Fault> {
    CHECKS.iter().flat_map(|check| check(patch)).collect()
}

fn cover_of(patch: &Patch) -> Option<&Image<Unit>> {
    patch.map(Channel::Cover).and_then(Map::as_unit).filter(|cover| cover.size() == patch.size())
}

/// Covered for more than a half, or everywhere without a cover.
fn is_covered(cover: Option<&Image<Unit>>, x: usize, y: usize) -> bool {
    cover.is_none_or(|cover| cover.get(x, y).0 > 0.5)
}

fn sizes(patch: &Patch) -> Vec<Fault> {
    let size = patch.size();
    let wrong =
        patch.maps.iter().filter_map(|(channel, map)| map.as_ref().filter(|m| m.size() != size).map(|m| (channel, m.size())));
    wrong
        .map(|(channel, own)| {
            let what = format!("is {own} texels, the others are {size}");
            Fault::new(
                Severity::Error,
                "sizes-disagree",
                channel.name(),
                what,
                "cut the patch again, or bring the map to the size of the others",
            )
        })
        .collect()
}

fn canvas(patch: &Patch) -> Vec<Fault> {
    let size = patch.size();
    if size.width == size.height {
        return Vec::new();
    }
    let what = format!("the canvas is {size}, not square");
    vec![Fault::new(
        Severity::Hint,
        "canvas-not-square",
        "patch",
        what,
        "cut it again; its size on the cloth is that of its longer side",
    )]
}

fn cover(patch: &Patch) -> Vec<Fault> {
    let Some(cover) = cover_of(patch) else {
        let what = "there is no cover, so the whole canvas will be laid, corners and all";
        return vec![Fault::new(Severity::Warning, "cover-missing", "cover", what, "cut the patch again")];
    };
    let (width, height) = (cover.width(), cover.height());
    if cover.texels().iter().all(|c| c.0 <= 0.0) {
        return vec![Fault::new(
            Severity::Error,
            "cover-empty",
            "cover",
            "nothing is covered",
            "cut the patch again, pointing at the damage",
        )];
    }
    let sides = [
        ("top", (0..width).any(|x| cover.get(x, 0).0 > 0.0)),
        ("right", (0..height).any(|y| cover.get(width - 1, y).0 > 0.0)),
        ("bottom", (0..width).any(|x| cover.get(x, height - 1).0 > 0.0)),
        ("left", (0..height).any(|y| cover.get(0, y).0 > 0.0)),
    ];
    let touched: Vec<&str> = sides.iter().filter(|(_, touches)| *touches).map(|(side, _)| *side).collect();
    if touched.is_empty() {
        return Vec::new();
    }
    let what = format!("touches the {} edge of the canvas: a straight cut will show on the cloth", touched.join(", "));
    vec![Fault::new(
        Severity::Warning,
        "cover-touches-edge",
        "cover",
        what,
        "photograph or cut with more cloth around the damage",
    )]
}

fn numbers(patch: &Patch) -> Vec<Fault> {
    let finite = |map: &Map| match map {
        Map::Color(i) => i.texels().iter().all(|t| t.0.iter().all(|v| v.is_finite())),
        Map::Normal(i) => i.texels().iter().all(|t| t.0.iter().all(|v| v.is_finite())),
        Map::Height(i) => i.texels().iter().all(|t| t.0.is_finite()),
        Map::Unit(i) => i.texels().iter().all(|t| (0.0..=1.0).contains(&t.0)),
    };
    let wrong = patch.maps.iter().filter(|(_, map)| map.as_ref().is_some_and(|m| !finite(m.map())));
    wrong
        .map(|(channel, _)| {
            Fault::new(
                Severity::Error,
                "values-impossible",
                channel.name(),
                "holds values that are no number or not within 0 to 1",
                "cut the patch again",
            )
        })
        .collect()
}

fn unit_normals(patch: &Patch) -> Vec<Fault> {
    let Some(normal) = patch.map(Channel::Normal).and_then(Map::as_normal) else { return Vec::new() };
    let off = normal
        .texels()
        .iter()
        .filter(|n| (n.0.iter().map(|v| v * v).sum::<f32>().sqrt() - 1.0).abs() > 0.02 || n.0[2] < 0.0)
        .count();
    let share = off as f64 / normal.size().area().max(1) as f64;
    if share < 1e-3 {
        return Vec::new();
    }
    let what = format!("{:.1} % of the directions are not of unit length or point into the cloth", 100.0 * share);
    vec![Fault::new(Severity::Error, "normals-not-unit", "normal", what, "make the normals from the height again")]
}

fn normals_against_heights(patch: &Patch) -> Vec<Fault> {
    let maps = (patch.map(Channel::Height).and_then(Map::as_height), patch.map(Channel::Normal).and_then(Map::as_normal));
    let (Some(height), Some(normal)) = maps else { return Vec::new() };
    if height.size() != normal.size() {
        return Vec::new();
    }
    let cover = cover_of(patch);
    let mut agreement = Agreement::default();
    agreement.add(height, normal, |x, y| is_covered(cover, x, y));
    verdict_fault(agreement.verdict(), "normal").into_iter().collect()
}

/// The fault a verdict is, for patches and map sets alike.
pub(super) fn verdict_fault(verdict: Verdict, place: &str) -> Option<Fault> {
    Some(match verdict {
        Verdict::Agree => return None,
        Verdict::WrongY => Fault::new(
            Severity::Error,
            "normal-y-wrong",
            place,
            "green points the other way than the height says: dents will look like bumps from above",
            "state the other direction for normal Y, or invert green",
        ),
        Verdict::WrongX => {
            let what = "red points the other way than the height says: the light will seem to come from the wrong side";
            Fault::new(Severity::Error, "normal-x-wrong", place, what, "invert red, or invert the height")
        }
        Verdict::Differ(correlation) => {
            let what = format!("shows another surface than the height does (slopes correlate {correlation:.2})");
            Fault::new(Severity::Warning, "normal-disagrees-with-height", place, what, "make one from the other")
        }
    })
}

fn heights_in_range(patch: &Patch) -> Vec<Fault> {
    let Some(height) = patch.map(Channel::Height).and_then(Map::as_height) else { return Vec::new() };
    let (range, slack) = (patch.height_range, 1e-4 + 1e-3 * patch.height_range.span_mm().abs());
    let (low, high) = height.texels().iter().fold((f32::MAX, f32::MIN), |(low, high), h| (low.min(h.0), high.max(h.0)));
    if low >= range.low_mm - slack && high <= range.high_mm + slack {
        return Vec::new();
    }
    let what = format!("runs from {low:.3} to {high:.3} mm, beyond its stated {:.3} to {:.3} mm", range.low_mm, range.high_mm);
    vec![Fault::new(Severity::Warning, "height-beyond-range", "height", what, "widen the patch's height range")]
}

fn colors(patch: &Patch) -> Vec<Fault> {
    let Some(color) = patch.map(Channel::BaseColor).and_then(Map::as_color) else { return Vec::new() };
    let (cover, metal) = (cover_of(patch), patch.map(Channel::Metallic).and_then(Map::as_unit));
    let mut count = ColorCount::default();
    for y in 0..color.height() {
        for x in 0..color.width() {
            let is_metal = metal.is_some_and(|m| m.size() == color.size() && m.get(x, y).0 > 0.5);
            if is_covered(cover, x, y) && !is_metal {
                count.add(color.get(x, y));
            }
        }
    }
    let fault = |what| {
        Fault::new(Severity::Warning, "color-implausible", "base_color", what, "check exposure and white balance of the photo")
    };
    count.complaint().map(fault).into_iter().collect()
}

/// Deviation of a scale, as a share of it, from which it is said: thread counts are wanted to 1 %.
const UNSURE: f32 = 0.01;

fn scale(patch: &Patch) -> Vec<Fault> {
    let mm = patch.scale.get();
    if !(mm > 0.0 && mm.is_finite()) {
        return vec![Fault::new(Severity::Error, "no-scale", "patch", "has no size in millimetres", "cut it again with a scale")];
    }
    let hint = |code, what, remedy| vec![Fault::new(Severity::Hint, code, "patch", what, remedy)];
    if patch.scale_source == ScaleSource::Assumed {
        let what = format!("its scale of {mm:.4} mm a texel is assumed, nobody measured it");
        return hint(
            "scale-assumed",
            what,
            "give the photo's width in mm, a ruler line, the thread count, or a card in the photo",
        );
    }
    match patch.scale_uncertainty {
        Some(share) if share > UNSURE => {
            let what = format!(
                "its scale of {mm:.4} mm a texel, from a {}, is unsure by {:.1} %",
                patch.scale_source.name(),
                100.0 * share
            );
            hint("scale-unsure", what, "measure over more pixels: a longer ruler line, a larger sheet, a photo from nearer")
        }
        _ => Vec::new(),
    }
}

fn missing(patch: &Patch) -> Vec<Fault> {
    let absent =
        [Channel::BaseColor, Channel::Height, Channel::Normal].into_iter().filter(|&channel| patch.map(channel).is_none());
    absent
        .map(|channel| {
            let what = format!("there is no {channel} map; that channel of a garment stays as it is");
            Fault::new(Severity::Hint, "map-missing", channel.name(), what, "cut the patch again if it should have one")
        })
        .collect()
}
