//! Checks of a garment's textures.

use tatter_core::channel::{Channel, Kind};
use tatter_core::image::{Layout, Map, Rect, Samples, Stored, Transfer};
use tatter_core::model::{MapFile, MapRole, MapSet};

use super::agree::Agreement;
use super::color_range::ColorCount;
use super::patch::verdict_fault;
use super::{Fault, Severity};

type Files<'a> = [(&'a MapFile, &'a Stored)];

/// Every check of files that are there.
const CHECKS: &[fn(&Files<'_>) -> Vec<Fault>] =
    &[stated_sizes, sizes, components, depths, transfers, color_in_data, unit_normals, normals_against_heights, colors, twice];

/// Everything wrong with a map set; `pictures` in the order of `set.files`. Looks at no more than sixteen windows of 256² in
/// each file.
pub fn check_map_set(set: &MapSet, pictures: &[Stored]) -> Vec<Fault> {
    let mut faults: Vec<Fault> = set
        .files
        .iter()
        .skip(pictures.len())
        .map(|file| {
            Fault::new(
                Severity::Error,
                "file-missing",
                &file.path,
                "was not found or could not be read",
                "put it back, or take it out of the job",
            )
        })
        .collect();
    let files: Vec<(&MapFile, &Stored)> = set.files.iter().zip(pictures).collect();
    faults.extend(CHECKS.iter().flat_map(|check| check(&files)));
    for channel in [Channel::BaseColor, Channel::Normal] {
        if set.role(channel).is_none() {
            let what = format!("has no {channel} map, so patches cannot change it");
            faults.push(Fault::new(
                Severity::Hint,
                "channel-missing",
                &set.material,
                what,
                "name the file in the job, if there is one",
            ));
        }
    }
    faults
}

/// Up to sixteen windows spread over a picture.
fn windows(stored: &Stored) -> Vec<Rect> {
    const SIDE: usize = 256;
    let starts = |length: usize| -> Vec<usize> {
        let side = SIDE.min(length);
        let count = length.div_ceil(SIDE).min(4);
        (0..count).map(|i| if count == 1 { 0 } else { i * (length - side) / (count - 1) }).collect()
    };
    let (width, height) = (stored.size.width.min(SIDE), stored.size.height.min(SIDE));
    let rows = starts(stored.size.height);
    rows.into_iter().flat_map(|y| starts(stored.size.width).into_iter().map(move |x| Rect::new(x, y, width, height))).collect()
}

fn fits(role: &MapRole, stored: &Stored) -> bool {
    let needs = if matches!(role.channel.info().kind, Kind::Normal) { 3 } else { 1 };
    role.coding.component + needs <= stored.layout.components()
}

fn role_of<'a>(files: &Files<'a>, channel: Channel) -> Option<(&'a MapFile, &'a MapRole, &'a Stored)> {
    files.iter().find_map(|&(file, stored)| {
        let role = file.roles.iter().find(|role| role.channel == channel)?;
        fits(role, stored).then_some((file, role, stored))
    })
}

fn stated_sizes(files: &Files<'_>) -> Vec<Fault> {
    let wrong = files.iter().filter(|(file, stored)| file.size != stored.size);
    wrong
        .map(|(file, stored)| {
            let what = format!("is {}, it was {} when the garment was read", stored.size, file.size);
            Fault::new(Severity::Error, "size-changed", &file.path, what, "read the garment again")
        })
        .collect()
}

fn sizes(files: &Files<'_>) -> Vec<Fault> {
    let Some((first, largest)) = files.iter().max_by_key(|(_, stored)| stored.size.area()) else { return Vec::new() };
    let (w, h) = (largest.size.width, largest.size.height);
    let odd = files.iter().filter(|(_, s)| s.size.width * h != s.size.height * w);
    let mut faults: Vec<Fault> = odd
        .map(|(file, stored)| {
            let what = format!("is {}, of other proportions than {} ({})", stored.size, first.path, largest.size);
            Fault::new(Severity::Warning, "sizes-disagree", &file.path, what, "bring the maps of one material to one proportion")
        })
        .collect();
    let small = files.iter().filter(|(_, s)| s.size.width * h == s.size.height * w && s.size != largest.size);
    faults.extend(small.map(|(file, stored)| {
        let what = format!("is {}, {} is {}: threads are drawn less finely in it", stored.size, first.path, largest.size);
        Fault::new(Severity::Hint, "sizes-differ", &file.path, what, "nothing, if it is meant so")
    }));
    faults
}

fn components(files: &Files<'_>) -> Vec<Fault> {
    let all = files.iter().flat_map(|(file, stored)| file.roles.iter().map(move |role| (file, stored, role)));
    all.filter(|(_, stored, role)| !fits(role, stored))
        .map(|(file, stored, role)| {
            let what = format!(
                "has {} components, too few for {} from component {}",
                stored.layout.components(),
                role.channel,
                role.coding.component
            );
            Fault::new(Severity::Error, "components-missing", &file.path, what, "correct the component in the job")
        })
        .collect()
}

fn depths(files: &Files<'_>) -> Vec<Fault> {
    let eight = files.iter().filter(|(_, stored)| matches!(stored.samples, Samples::U8(_)));
    eight
        .flat_map(|(file, _)| file.roles.iter().filter(|r| r.channel == Channel::Height).map(move |role| (file, role)))
        .map(|(file, role)| {
            let step = role.coding.height_range.span_mm() / 255.0;
            let what = format!("keeps height in 8 bits: steps of {step:.4} mm will show as terraces");
            Fault::new(Severity::Warning, "height-eight-bit", &file.path, what, "use a 16-bit height map")
        })
        .collect()
}

fn transfers(files: &Files<'_>) -> Vec<Fault> {
    let all = files.iter().flat_map(|(file, stored)| file.roles.iter().map(move |role| (file, stored, role)));
    all.filter_map(|(file, stored, role)| {
        let color = role.channel.info().kind == Kind::Color;
        let (what, remedy) = match (color, role.coding.transfer, stored.is_float()) {
            (false, Transfer::Srgb, _) => {
                (format!("{} is data, but is said to be coded as sRGB", role.channel), "set its transfer to linear")
            }
            (true, Transfer::Srgb, true) => {
                ("holds floats, but is said to be coded as sRGB".to_owned(), "set its transfer to linear")
            }
            (true, Transfer::Linear, false) if stored.bits() == 8 => (
                "is 8-bit colour, but is said to be linear: dark tones will band".to_owned(),
                "set its transfer to srgb, if it is",
            ),
            _ => return None,
        };
        Some(Fault::new(Severity::Warning, "transfer-unlikely", &file.path, what, remedy))
    })
    .collect()
}

/// A scalar map whose components differ is a colour picture in the wrong place.
fn color_in_data(files: &Files<'_>) -> Vec<Fault> {
    let single = files.iter().filter(|(file, stored)| {
        let scalar = file.roles.len() == 1 && !matches!(file.roles[0].channel.info().kind, Kind::Color | Kind::Normal);
        scalar && matches!(stored.layout, Layout::Rgb | Layout::Rgba)
    });
    let mut faults = Vec::new();
    for (file, stored) in single {
        let (mut colored, mut all) = (0usize, 0usize);
        for part in windows(stored) {
            for y in part.y..part.bottom() {
                for x in part.x..part.right() {
                    let v = [0, 1, 2].map(|c| stored.value(x, y, c));
                    let spread = v.iter().fold(0.0f32, |m, &a| m.max(a)) - v.iter().fold(1.0f32, |m, &a| m.min(a));
                    all += 1;
                    colored += usize::from(spread > 0.08);
                }
            }
        }
        if colored * 20 > all {
            let what = format!("is said to be {}, but {} % of it is coloured", file.roles[0].channel, 100 * colored / all.max(1));
            faults.push(Fault::new(
                Severity::Warning,
                "color-in-data",
                &file.path,
                what,
                "correct its role: it looks like base colour, a normal map or a packed map",
            ));
        }
    }
    faults
}

fn unit_normals(files: &Files<'_>) -> Vec<Fault> {
    let Some((file, role, stored)) = role_of(files, Channel::Normal) else { return Vec::new() };
    let (mut off, mut all) = (0usize, 0usize);
    for part in windows(stored) {
        for y in part.y..part.bottom() {
            for x in part.x..part.right() {
                let code = [0, 1, 2].map(|c| stored.value(x, y, role.coding.component + c));
                // Black is a gutter that nobody filled.
                if code.iter().all(|&v| v < 0.02) {
                    continue;
                }
                let axis = code.map(|v| if stored.is_float() { v } else { 2.0 * v - 1.0 });
                let length = axis.iter().map(|v| v * v).sum::<f32>().sqrt();
                all += 1;
                // Eight bits round a unit length by up to 0.7 %, lossy files and filtering by a few more.
                off += usize::from(!(0.9..=1.1).contains(&length) || axis[2] < 0.0);
            }
        }
    }
    if off * 50 <= all {
        return Vec::new();
    }
    let what = format!(
        "{:.0} % of its directions are not of unit length or point inwards: not a tangent-space normal map",
        100.0 * off as f64 / all as f64
    );
    vec![Fault::new(Severity::Warning, "normals-not-unit", &file.path, what, "correct its role, or make the normals again")]
}

fn normals_against_heights(files: &Files<'_>) -> Vec<Fault> {
    let (Some(height), Some(normal)) = (role_of(files, Channel::Height), role_of(files, Channel::Normal)) else {
        return Vec::new();
    };
    if height.2.size != normal.2.size {
        return Vec::new();
    }
    let mut agreement = Agreement::default();
    for part in windows(height.2) {
        if let (Map::Height(h), Map::Normal(n)) =
            (height.2.decode(Kind::Height, &height.1.coding, part), normal.2.decode(Kind::Normal, &normal.1.coding, part))
        {
            agreement.add(&h, &n, |_, _| true);
        }
    }
    verdict_fault(agreement.verdict(), &normal.0.path).into_iter().collect()
}

fn colors(files: &Files<'_>) -> Vec<Fault> {
    let Some((file, role, stored)) = role_of(files, Channel::BaseColor) else { return Vec::new() };
    let metal = role_of(files, Channel::Metallic).filter(|(_, _, m)| m.size == stored.size);
    let mut count = ColorCount::default();
    for part in windows(stored) {
        let Map::Color(color) = stored.decode(Kind::Color, &role.coding, part) else { continue };
        for y in 0..part.height {
            for x in 0..part.width {
                let c = color.get(x, y);
                let is_metal = metal.is_some_and(|(_, r, m)| m.value(part.x + x, part.y + y, r.coding.component) > 0.5);
                // Pure black and pure white are gutters that nobody filled.
                let gutter = c.0.iter().all(|&v| v <= 0.0) || c.0.iter().all(|&v| v >= 1.0);
                if !is_metal && !gutter {
                    count.add(c);
                }
            }
        }
    }
    let fault = |what| {
        Fault::new(
            Severity::Hint,
            "color-implausible",
            &file.path,
            what,
            "check that no light or shadow is baked into the colour",
        )
    };
    count.complaint().map(fault).into_iter().collect()
}

fn twice(files: &Files<'_>) -> Vec<Fault> {
    let mut faults = Vec::new();
    for channel in Channel::ALL {
        let own: Vec<&str> = files
            .iter()
            .filter(|(file, _)| file.roles.iter().any(|r| r.channel == channel))
            .map(|(file, _)| file.path.as_str())
            .collect();
        if own.len() > 1 {
            let what = format!("{channel} is in {} files: {}", own.len(), own.join(", "));
            faults.push(Fault::new(Severity::Error, "channel-twice", own[1], what, "leave one of them in the job"));
        }
    }
    faults
}
