//! `tatter weave`.

use std::ops::RangeInclusive;
use std::path::Path;

use serde_json::{Value, json};
use tatter::weave::{
    Along, DAMAGE_LENGTHS, DAMAGE_WIDTHS, Damage, Fibre, Finish, Kind, MadePhoto, Said, Shot, Twist, WeaveReport, WeaveRequest,
    weave,
};
use tatter_core::angle::Angle;
use tatter_core::color::codes_of;
use tatter_core::explain::Explain;
use tatter_core::image::LinearRgb;
use tatter_core::task::Task;

use super::{BadArgument, Outcome, boxed};
use crate::args::Weave;
use crate::term::{Term, number, round, seconds, warnings};

/// Textile parameters to patch or textures.
pub(crate) fn run(args: &Weave, term: &Term) -> Outcome {
    let task = term.task();
    let request = request(args)?;
    let report = weave(&request, &task).map_err(boxed)?;
    term.notes(&task);
    term.result(&machine(&report, &task), &people(&report, &task));
    Ok(0)
}

fn request(args: &Weave) -> Result<WeaveRequest, Box<dyn Explain>> {
    let damage = args.damage.iter().map(|text| damage(text)).collect::<Result<Vec<_>, _>>().map_err(boxed)?;
    Ok(WeaveRequest {
        cloth: said(args).map_err(boxed)?.cloth().map_err(boxed)?,
        output: args.output.clone(),
        damage,
        side: args.texels,
        width_mm: args.width_mm,
        grain: Angle::degrees(args.grain_deg),
        seed: args.seed,
        photo: args.photo.as_ref().map(|path| photo(args, path)).transpose().map_err(boxed)?,
    })
}

/// A made photo as asked for.
fn photo(args: &Weave, path: &Path) -> Result<MadePhoto, BadArgument> {
    Ok(MadePhoto { path: path.to_owned(), shot: shot(args)?, quality: args.jpeg_quality })
}

/// The light and the camera of a made photo.
fn shot(args: &Weave) -> Result<Shot, BadArgument> {
    let usual = Shot { seed: args.seed, ..Shot::default() };
    Ok(Shot {
        light_from: args.light_from.map_or(usual.light_from, Angle::degrees),
        elevation: args.light_elevation.map_or(usual.elevation, Angle::degrees),
        cast: args.cast.as_ref().map_or(usual.cast, |cast| cast.0),
        backing: args.backing.as_deref().map_or(Ok(usual.backing), color)?,
        ..usual
    })
}

/// The starting cloth with what was said about it.
fn said(args: &Weave) -> Result<Said, BadArgument> {
    let fibre = |name: &String| named("fibre", name, &Fibre::ALL, Fibre::name);
    let finish = |name: &String| named("finish", name, &Finish::ALL, Finish::name);
    let hand = |twist: Twist| if twist == Twist::S { "s" } else { "z" };
    let twist = |letter: &String| named("twist", &letter.to_ascii_lowercase(), &[Twist::S, Twist::Z], hand);
    let color = |text: &Option<String>| text.as_deref().map(codes).transpose();
    Ok(Said {
        cloth: args.cloth.clone(),
        weave: args.weave.clone(),
        warp: args.warp.clone(),
        weft: args.weft.clone(),
        ends_per_cm: args.ends_per_cm,
        picks_per_cm: args.picks_per_cm,
        fibre: args.fibre.as_ref().map(fibre).transpose()?,
        twist: args.twist.as_ref().map(twist).transpose()?,
        turns_per_m: args.turns_per_m,
        packing: args.packing,
        blend: args.blend,
        warp_color: color(&args.warp_color)?,
        weft_color: color(&args.weft_color)?,
        core_color: color(&args.core_color)?,
        dye_depth: args.dye_depth,
        warp_crimp: args.warp_crimp.map(|percent| percent / 100.0),
        flattening: args.flattening,
        irregularity: args.irregularity,
        slubs_per_m: args.slubs_per_m,
        hairiness: args.hairiness,
        unevenness: args.unevenness,
        finish: args.finish.as_ref().map(finish).transpose()?,
    })
}

fn named<T: Copy>(what: &str, name: &str, all: &[T], name_of: impl Fn(T) -> &'static str) -> Result<T, BadArgument> {
    all.iter().copied().find(|t| name_of(*t) == name).ok_or_else(|| {
        let names: Vec<&str> = all.iter().map(|t| name_of(*t)).collect();
        BadArgument::new(format!("no {what} is called '{name}': there are {}", names.join(", ")), "Name one of those")
    })
}

/// `#rrggbb` to linear light.
fn color(text: &str) -> Result<LinearRgb, BadArgument> {
    codes(text).map(LinearRgb::from_codes)
}

/// `#rrggbb` as sRGB codes.
pub(super) fn codes(text: &str) -> Result<[u8; 3], BadArgument> {
    codes_of(text.strip_prefix('#').unwrap_or(text))
        .ok_or_else(|| BadArgument::new(format!("'{text}' is no colour"), "Write it as #c8a060"))
}

/// `rip:length=40,width=8,along=warp,age=0.7,at=5/-3`.
fn damage(text: &str) -> Result<Damage, BadArgument> {
    let (name, rest) = text.split_once(':').unwrap_or((text, ""));
    let mut damage = Damage::new(named("damage", name, &Kind::ALL, Kind::name)?);
    for part in rest.split(',').filter(|p| !p.is_empty()) {
        let next = "Write it like rip:length=40,width=8,along=warp,surviving=0.5,age=0.7,at=5/-3";
        let bad = || BadArgument::new(format!("'{part}' in --damage {text} means nothing"), next);
        let (key, value) = part.split_once('=').ok_or_else(bad)?;
        let read = |value: &str| value.parse::<f32>().ok().filter(|v| v.is_finite()).ok_or_else(bad);
        let within = |value: f32, range: RangeInclusive<f32>| if range.contains(&value) { Ok(value) } else { Err(bad()) };
        match key {
            "length" => damage.length = within(read(value)?, DAMAGE_LENGTHS)?,
            "width" => damage.width = within(read(value)?, DAMAGE_WIDTHS)?,
            "surviving" => damage.surviving = within(read(value)?, 0.0..=1.0)?,
            "age" => damage.age = within(read(value)?, 0.0..=1.0)?,
            "color" => damage.color = Some(color(value)?),
            "along" if value == "warp" => damage.along = Along::Warp,
            "along" if value == "weft" => damage.along = Along::Weft,
            "at" => {
                let (x, y) = value.split_once('/').ok_or_else(bad)?;
                damage.at = [read(x)?, read(y)?];
            }
            _ => return Err(bad()),
        }
    }
    Ok(damage)
}

fn machine(report: &WeaveReport, task: &Task) -> Value {
    let g = &report.geometry;
    let width = report.mm_per_texel * report.side as f32;
    let maps: serde_json::Map<String, Value> = report
        .files
        .iter()
        .map(|(channel, file)| (channel.name().to_owned(), json!({ "file": file, "kind": "derived" })))
        .collect();
    let yarn = |s: &tatter::weave::Strand| json!({ "diameter_mm": number(s.diameter), "breadth_mm": number(s.breadth), "crimp": number(s.crimp), "cover_factor": number(s.cover_factor) });
    json!({
        (if report.tiles { "folder" } else { "patch" }): report.folder,
        "tiles": report.tiles,
        "texels": [report.side, report.side],
        "size_mm": [number(width), number(width)],
        "mm_per_texel": number(report.mm_per_texel),
        "grain_deg": number(report.grain.to_degrees()),
        "ends_per_cm": number(report.cloth.ends_per_cm.get()),
        "picks_per_cm": number(report.cloth.picks_per_cm.get()),
        "weave": report.cloth.weave.name(),
        "g_per_m2": number(g.grams_per_m2),
        "thickness_mm": number(g.thickness),
        "cover_factor": number(g.cover_factor),
        "tightness": number(g.tightness),
        "warp": yarn(&g.warp),
        "weft": yarn(&g.weft),
        "maps": maps,
        "height_range_mm": [number(report.height_range.low_mm), number(report.height_range.high_mm)],
        "photo": report.photo,
        "open_share": round(f64::from(report.open_share), 1e4),
        "seconds": seconds(task),
        "warnings": warnings(task),
    })
}

fn people(report: &WeaveReport, task: &Task) -> String {
    let (g, cloth) = (&report.geometry, &report.cloth);
    let width = report.mm_per_texel * report.side as f32;
    let mut text = format!("{}  {} {}, {}\n", report.folder.display(), cloth.name, cloth.weave.name(), cloth.source);
    let repeats = if report.tiles { ", repeats without a seam" } else { "" };
    text += &format!("  {0} × {0} texels, {1:.2} × {1:.2} mm{repeats}\n", report.side, width);
    text += &format!(
        "  {:.2} ends and {:.2} picks per cm, {:.0} g/m², {:.2} mm thick\n",
        cloth.ends_per_cm.get(),
        cloth.picks_per_cm.get(),
        g.grams_per_m2,
        g.thickness
    );
    text += &format!(
        "  yarns {:.3} and {:.3} mm, crimp {:.1} and {:.1} %, cover factor {:.1}, tightness {:.2} of 1\n",
        g.warp.diameter,
        g.weft.diameter,
        g.warp.crimp * 100.0,
        g.weft.crimp * 100.0,
        g.cover_factor,
        g.tightness
    );
    text += &format!("  {:.1} % see-through\n", report.open_share * 100.0);
    let stages: Vec<String> = task.seconds().iter().map(|(stage, s)| format!("{stage} {s:.2}")).collect();
    text += &format!("  s: {}\n", stages.join(", "));
    if let Some(photo) = &report.photo {
        text += &format!("  photo {}\n", photo.display());
    }
    if !report.tiles {
        text += &format!("look at {}\n", report.folder.join("sheet.png").display());
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn damage_is_read_or_refused() {
        let rip = damage("rip:length=40,width=8,along=warp,age=0.7,at=5/-3").unwrap();
        assert_eq!((rip.kind, rip.length, rip.along, rip.at), (Kind::Rip, 40.0, Along::Warp, [5.0, -3.0]), "as written");
        for wrong in ["tear", "rip:length", "rip:length=-4", "rip:age=2", "rip:at=5", "rip:colour=3"] {
            assert!(damage(wrong).is_err(), "{wrong}");
        }
        assert!(color("#12345").is_err() && color("c8a060").is_ok(), "colours");
    }
}
