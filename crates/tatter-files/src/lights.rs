//! The lights file of several shots: which picture was taken under which lamp. Its keys are listed in `docs/capture.md`.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use tatter_core::angle::Angle;
use tatter_core::explain::{Class, Explain};
use tatter_core::model::{Ball, BallKind, Lights, LitShot};
use tatter_core::units::Mm;

use crate::text::{Fields, TextFault, decoded, parse};

const TOP_KEYS: [&str; 5] = ["flat_field", "dark", "ball", "round", "light"];
const ROUND_KEYS: [&str; 3] = ["from_deg", "elevation_deg", "way"];
const BALL_KEYS: [&str; 3] = ["at", "radius", "kind"];
const LIGHT_KEYS: [&str; 7] = ["shot", "direction", "azimuth_deg", "elevation_deg", "distance_mm", "strength", "flat_field"];
/// Shots that can be worked with: three unknowns a pixel, and as many as a set of bits holds.
const SHOTS: std::ops::RangeInclusive<usize> = 3..=32;

/// Why a lights file could not be read.
#[derive(Debug, thiserror::Error)]
pub enum LightsError {
    /// No such file.
    #[error("there is no lights file: {}", path.display())]
    Missing {
        /// The lights file.
        path: PathBuf,
    },
    /// The text is wrong.
    #[error("{fault}: {}", path.display())]
    Text {
        /// The lights file.
        path: PathBuf,
        /// What and on which line.
        fault: Box<TextFault>,
    },
    /// Too few shots or too many.
    #[error("{found} lights are listed, and from {} to {} can be worked with: {}", SHOTS.start(), SHOTS.end(), path.display())]
    Count {
        /// How many.
        found: usize,
        /// The lights file.
        path: PathBuf,
    },
    /// The disk refused.
    #[error("reading the lights failed ({source}): {}", path.display())]
    Disk {
        /// The system's answer.
        source: io::Error,
        /// The lights file.
        path: PathBuf,
    },
}

impl Explain for LightsError {
    fn next(&self) -> String {
        match self {
            Self::Missing { .. } => "Give the path of a lights file; docs/capture.md shows one".to_owned(),
            Self::Text { fault, .. } => fault.next(),
            Self::Count { found, .. } if *found > *SHOTS.end() => "List the best of them".to_owned(),
            Self::Count { .. } => "Write a [[light]] for each shot; eight around the cloth are plenty".to_owned(),
            Self::Disk { .. } => "Allow reading the file, then try again".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Missing { .. } | Self::Text { .. } | Self::Count { .. } => Class::Request,
            Self::Disk { .. } => Class::Outside,
        }
    }
}

/// Whether a file lists lights: by its ending and a heading in it, so that one with a mistake counts as well.
pub fn is_lights_file(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("toml"))
        && fs::read_to_string(path).is_ok_and(|text| text.lines().any(|line| line.trim_start().starts_with("[[light]]")))
}

/// Read a lights file.
///
/// # Errors
/// See [`LightsError`]; what is wrong in the text comes with its line.
pub fn read_lights(path: &Path) -> Result<Lights, LightsError> {
    let text = |fault| LightsError::Text { path: path.to_path_buf(), fault: Box::new(fault) };
    let bytes = fs::read(path).map_err(|source| match source.kind() {
        io::ErrorKind::NotFound => LightsError::Missing { path: path.to_path_buf() },
        _ => LightsError::Disk { source, path: path.to_path_buf() },
    })?;
    let lights = decoded(bytes).and_then(|raw| parse_lights(&raw)).map_err(text)?;
    let found = lights.shots.len();
    if SHOTS.contains(&found) { Ok(lights) } else { Err(LightsError::Count { found, path: path.to_path_buf() }) }
}

/// Lights from their text, however many.
///
/// # Errors
/// What is wrong, and on which line.
pub fn parse_lights(raw: &str) -> Result<Lights, TextFault> {
    let document = parse(raw)?;
    let top = Fields::top(raw, &document);
    top.allow(&TOP_KEYS)?;
    let ball = top.table("ball", "[ball]")?.map(|table| ball(&table)).transpose()?;
    let tables = top.tables("light", "[[light]]")?;
    let round = top.table("round", "[round]")?.map(|table| round(&table, tables.len())).transpose()?;
    if round.is_some() && ball.is_some() {
        return Err(top.bad("round", "cannot stand beside [ball]: one of the two says where the lamps are"));
    }
    let mut shots: Vec<LitShot> = Vec::new();
    for (number, table) in tables.iter().enumerate() {
        table.allow(&LIGHT_KEYS)?;
        let shot = table.need("shot", picture(table, "shot")?)?;
        if let Some(other) = shots.iter().find(|other| other.shot == shot) {
            return Err(table.bad("shot", format!("`{shot}` is that of the light on line {} too", other.line)));
        }
        shots.push(LitShot {
            shot,
            toward: match &round {
                Some(round) => Some(on_round(table, round[number])?),
                None => toward(table, ball.is_some())?,
            },
            distance: table.positive("distance_mm")?.map(Mm),
            strength: table.positive("strength")?,
            flat_field: picture(table, "flat_field")?,
            line: table.line,
        });
    }
    Ok(Lights { flat_field: picture(&top, "flat_field")?, dark: picture(&top, "dark")?, ball, by_clock: round.is_some(), shots })
}

fn picture(table: &Fields<'_>, key: &str) -> Result<Option<String>, TextFault> {
    match table.string(key)? {
        Some("") => Err(table.bad(key, "is empty")),
        path => Ok(path.map(str::to_owned)),
    }
}

/// Places in files count the first pixel's centre as (0, 0).
const CENTRE: f32 = 0.5;

fn ball(table: &Fields<'_>) -> Result<Ball, TextFault> {
    table.allow(&BALL_KEYS)?;
    let at = table.need("at", table.numbers::<2>("at", "two numbers: pixels from the left and from the top")?)?;
    let radius = table.need("radius", table.positive("radius")?)?;
    let kind = match table.need("kind", table.string("kind")?)? {
        "mirror" => BallKind::Mirror,
        "matte" => BallKind::Matte,
        other => return Err(table.bad("kind", format!("must be \"mirror\" or \"matte\", not \"{other}\""))),
    };
    Ok(Ball { at: at.map(|v| v + CENTRE), radius, kind })
}

/// Directions of lamps that go round evenly, the first from `from_deg` (12 o'clock when not said).
fn round(table: &Fields<'_>, count: usize) -> Result<Vec<[f32; 3]>, TextFault> {
    table.allow(&ROUND_KEYS)?;
    let from = table.number("from_deg")?.unwrap_or(90.0);
    let elevation = table.number("elevation_deg")?.unwrap_or(65.0);
    if !(elevation > 0.0 && elevation < 90.0) {
        return Err(table.bad("elevation_deg", format!("must be above 0 and below 90, not {elevation}")));
    }
    let sign = match table.string("way")? {
        None | Some("clockwise") => -1.0,
        Some("counter-clockwise") => 1.0,
        Some(other) => return Err(table.bad("way", format!("must be \"clockwise\" or \"counter-clockwise\", not \"{other}\""))),
    };
    let step = sign * 360.0 / count.max(1) as f32;
    Ok((0..count).map(|i| by_angles(from + step * i as f32, elevation)).collect())
}

/// A lamp of the round says nothing of its own direction.
fn on_round(table: &Fields<'_>, toward: [f32; 3]) -> Result<[f32; 3], TextFault> {
    let own = ["direction", "azimuth_deg", "elevation_deg"].into_iter().find(|key| table.keys().contains(key));
    match own {
        Some(key) => Err(table.bad(key, "cannot stand beside [round]: one of the two says where the lamp is")),
        None => Ok(toward),
    }
}

fn by_angles(azimuth_deg: f32, elevation_deg: f32) -> [f32; 3] {
    let ((sin, cos), (up, flat)) = (Angle::degrees(azimuth_deg).sin_cos(), Angle::degrees(elevation_deg).sin_cos());
    [cos * flat, sin * flat, up]
}

/// Where a lamp stands; left out only where a ball tells it.
fn toward(table: &Fields<'_>, by_ball: bool) -> Result<Option<[f32; 3]>, TextFault> {
    let direction = table.numbers::<3>("direction", "three numbers: x right, y up, z to the camera")?;
    let (azimuth, elevation) = (table.number("azimuth_deg")?, table.number("elevation_deg")?);
    if by_ball && direction.is_none() && azimuth.is_none() && elevation.is_none() {
        return Ok(None);
    }
    let Some(direction) = direction else {
        let (Some(azimuth), Some(elevation)) = (azimuth, elevation) else {
            let absent = match (azimuth, elevation) {
                (None, None) => "direction",
                (None, _) => "azimuth_deg",
                (_, None) | (Some(_), Some(_)) => "elevation_deg",
            };
            return table.need(absent, None);
        };
        if !(elevation > 0.0 && elevation <= 90.0) {
            return Err(table.bad("elevation_deg", format!("must be above 0 and at most 90, not {elevation}")));
        }
        return Ok(Some(by_angles(azimuth, elevation)));
    };
    for (key, given) in [("azimuth_deg", azimuth), ("elevation_deg", elevation)] {
        if given.is_some() {
            return Err(table.bad(key, "cannot stand beside direction: one of the two says where the lamp is"));
        }
    }
    let length = direction.iter().map(|c| c * c).sum::<f32>().sqrt();
    if !(length > 1e-6 && length.is_finite()) {
        return Err(table.bad("direction", "has no length: it points from the cloth to the lamp"));
    }
    if direction[2] <= 0.0 {
        return Err(
            table.bad("direction", format!("points behind the cloth: its third number must be above 0, not {}", direction[2]))
        );
    }
    Ok(Some(direction.map(|c| c / length)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(a: [f32; 3], b: [f32; 3]) -> bool {
        a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-5)
    }

    #[test]
    fn both_ways_to_say_where_a_lamp_is() {
        let raw = "flat_field = \"card.png\"\ndark = \"off.png\"\n[[light]]\nshot = \"a.png\"\ndirection = [0, 2, 2]\nstrength = 2\n\
            [[light]]\nshot = \"b.png\"\nazimuth_deg = 90\nelevation_deg = 45\ndistance_mm = 400\nflat_field = \"card-b.png\"\n";
        let lights = parse_lights(raw).unwrap();
        assert_eq!((lights.flat_field.as_deref(), lights.dark.as_deref()), (Some("card.png"), Some("off.png")));
        let [a, b] = &lights.shots[..] else { unreachable!("two lights: {lights:?}") };
        // From above the picture, half way up: the same lamp twice.
        let half = 0.5f32.sqrt();
        let [one, other] = [a, b].map(|shot| shot.toward.unwrap());
        assert!(close(one, [0.0, half, half]) && close(other, one), "{one:?} {other:?}");
        assert_eq!((a.strength, b.strength, a.distance, b.distance), (Some(2.0), None, None, Some(Mm(400.0))));
        assert_eq!((a.line, b.flat_field.as_deref()), (3, Some("card-b.png")));
    }

    #[test]
    fn a_ball_stands_for_directions() {
        let lights =
            parse_lights("[ball]\nat = [10, 20.5]\nradius = 9\nkind = \"matte\"\n[[light]]\nshot = \"a.png\"\n").unwrap();
        assert_eq!(lights.ball, Some(Ball { at: [10.5, 21.0], radius: 9.0, kind: BallKind::Matte }));
        assert_eq!((lights.shots[0].toward, lights.shots[0].strength), (None, None));
    }

    #[test]
    fn lamps_that_go_round_need_no_directions() {
        let shots: String = (0..4).map(|i| format!("[[light]]\nshot = \"{i}.png\"\n")).collect();
        let lights = parse_lights(&format!("[round]\nelevation_deg = 45\n{shots}")).unwrap();
        let half = 0.5f32.sqrt();
        // From 12 o'clock to 3.
        let [first, second] = [0, 1].map(|i: usize| lights.shots[i].toward.unwrap());
        assert!(close(first, [0.0, half, half]) && close(second, [half, 0.0, half]) && lights.by_clock, "{first:?} {second:?}");
    }

    #[test]
    fn faults_come_with_their_line_and_a_way_out() {
        let a = "[[light]]\nshot = \"a.png\"\n";
        for (raw, line, words) in [
            ("darc = \"x\"\n", 1, "`dark`"),
            (&format!("{a}azimuth = 3\n"), 3, "azimuth_deg"),
            (&format!("{a}azimuth_deg = 3\n"), 1, "elevation_deg"),
            (a, 1, "direction"),
            (&format!("{a}direction = [0, 1]\n"), 3, "three numbers"),
            (&format!("{a}direction = [0, 0, 0]\n"), 3, "no length"),
            (&format!("{a}direction = [0, 1, -1]\n"), 3, "behind"),
            (&format!("{a}direction = [0, 1, nan]\n"), 3, "three numbers"),
            (&format!("{a}direction = [0, 1, 1]\nelevation_deg = 60\n"), 4, "beside"),
            (&format!("{a}azimuth_deg = 3\nelevation_deg = 95\n"), 4, "at most 90"),
            (&format!("{a}direction = [0, 1, 1]\ndistance_mm = -4\n"), 4, "above 0"),
            (&format!("{a}direction = [0, 1, 1]\nstrength = 0\n"), 4, "above 0"),
            (&format!("{a}direction = [0, 1, 1]\n{a}direction = [0, 1, 1]\n"), 5, "line 1"),
            ("[[light]]\nshot = \"\"\ndirection = [0, 0, 1]\n", 2, "empty"),
            ("[[light]\n", 1, ""),
            ("[round]\nway = \"left\"\n", 2, "counter-clockwise"),
            (&format!("[round]\n{a}azimuth_deg = 3\nelevation_deg = 60\n"), 4, "beside [round]"),
            ("[ball]\nat = [1, 2]\nradius = 9\nkind = \"glass\"\n", 4, "mirror"),
            ("[ball]\nat = [1, 2]\nkind = \"matte\"\n", 1, "radius"),
            ("[ball]\nat = 4\nradius = 9\nkind = \"matte\"\n", 2, "two numbers"),
        ] {
            let fault = parse_lights(raw).unwrap_err();
            let text = format!("{fault} | {}", fault.next());
            assert!(text.contains(words) && text.contains(&format!("line {line}")), "{raw}\n{text}");
        }
    }
}
