//! Shots under several lights, read from their lights file.

use std::path::{Path, PathBuf};

use tatter_capture::lights::{Arrangement, BallError, Calibration, Flat, Lamp, Shots, UnknownError, find_lamps, lamp_by_ball};
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Pixel as _, Size};
use tatter_core::model::{Ball, BallKind, Lights, LitShot, Photo};
use tatter_core::task::{Cancelled, Task};
pub use tatter_files::lights::is_lights_file;
use tatter_files::lights::{LightsError, read_lights};
use tatter_files::limits::Limits;
use tatter_files::picture::{PictureError, read_photo};

/// Elevations between which cloth is measured well: below, threads lie in each other's shadow; above, slopes hardly change the light
/// (`algorithms.md` 3.4).
const LOW_DEG: f32 = 50.0;
const HIGH_DEG: f32 = 80.0;

/// The picture that a lights file names first: what is laid on the table with it.
///
/// # Errors
/// When the file can't be read or is wrong.
pub fn first_shot(path: &Path) -> Result<Option<PathBuf>, LitFailed> {
    let folder = path.parent().unwrap_or(Path::new(""));
    Ok(read_lights(path)?.shots.first().map(|shot| folder.join(&shot.shot)))
}

/// Why shots under several lights cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum LitFailed {
    /// The lights file.
    #[error(transparent)]
    Lights(#[from] LightsError),
    /// A picture cannot be read.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// A picture of another size than the first shot.
    #[error("the {what} is {found}, the first shot {wanted}: {}", path.display())]
    Size {
        /// What it is for.
        what: &'static str,
        /// Its size.
        found: Size,
        /// The first shot's.
        wanted: Size,
        /// The picture.
        path: PathBuf,
    },
    /// The photo that the shots were to stand for is of another size.
    #[error("the photo has {photo} pixels, the shots of the lights file {shots}: {}", path.display())]
    OtherPhoto {
        /// The photo's size.
        photo: Size,
        /// The shots'.
        shots: Size,
        /// The photo.
        path: PathBuf,
    },
    /// The ball tells no direction.
    #[error("{error}: {}", path.display())]
    Ball {
        /// Why.
        error: BallError,
        /// The shot.
        path: PathBuf,
    },
    /// Lamps that went round were not found.
    #[error("{error}: {}", path.display())]
    Unknown {
        /// Why.
        error: UnknownError,
        /// The lights file.
        path: PathBuf,
    },
    /// All lamps stand in one plane with the cloth.
    #[error(
        "the lights stand nearly in one plane with the cloth: their condition number is {condition:.0}, at most {:.0} can be worked \
         with (1 is best): {}",
        Arrangement::MOST,
        path.display()
    )]
    Plane {
        /// Largest over smallest singular value of their directions.
        condition: f32,
        /// The lights file.
        path: PathBuf,
    },
    /// The person stopped it.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for LitFailed {
    fn next(&self) -> String {
        match self {
            Self::Lights(error) => error.next(),
            Self::Picture(error) => error.next(),
            Self::Size { .. } => "Take all shots from a tripod with one camera setting, and crop none of them".to_owned(),
            Self::OtherPhoto { .. } => {
                "Take the lights file back, and bring it with one of its own shots: strokes and lines of this photo would lie elsewhere on them"
                    .to_owned()
            }
            Self::Ball { error, .. } => error.next(),
            Self::Unknown { error, .. } => error.next(),
            Self::Plane { .. } => "Put lamps all around the cloth, 60 to 70 degrees above it".to_owned(),
            Self::Cancelled(_) => "Start again when you like".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Lights(error) => error.class(),
            Self::Picture(error) => error.class(),
            Self::Ball { error, .. } => error.class(),
            Self::Unknown { error, .. } => error.class(),
            Self::Size { .. } | Self::OtherPhoto { .. } | Self::Plane { .. } | Self::Cancelled(_) => Class::Request,
        }
    }
}

/// Refuse shots of another size than the photo that they stand for: what is told of it is told in its pixels.
pub(crate) fn stands_for(lights: &Path, shots: Size, photo: &Path) -> Result<(), LitFailed> {
    let folder = lights.parent().unwrap_or(Path::new(""));
    // The shots are of one size, as they were read.
    if read_lights(lights)?.shots.iter().any(|shot| folder.join(&shot.shot) == *photo) {
        return Ok(());
    }
    let size = read_photo(photo, &Limits::default())?.color.size();
    if size == shots { Ok(()) } else { Err(LitFailed::OtherPhoto { photo: size, shots, path: photo.to_owned() }) }
}

/// The cloth as all lamps together light it, the shots, and a line of provenance for each.
#[derive(Clone, Debug)]
pub(crate) struct LitShots {
    pub(crate) photo: Photo,
    pub(crate) shots: Shots,
    /// Around a ball in the picture, which is no cloth.
    pub(crate) aside: Option<[[f32; 2]; 4]>,
    pub(crate) provenance: Vec<(String, String)>,
}

/// Read the shots of a lights file, one after the other: beside 6 bytes a pixel and shot, one decoded picture and its calibration are in
/// memory at a time.
pub(crate) fn read_shots(path: &Path, task: &Task) -> Result<LitShots, LitFailed> {
    let limits = Limits::default();
    let lights = read_lights(path)?;
    let told: Option<Vec<Lamp>> = lights.shots.iter().map(|shot| Some(lamp(shot, shot.toward?))).collect();
    if let Some(lamps) = told.as_ref().filter(|_| !lights.by_clock) {
        judge(lamps, path, task)?;
    }
    let folder = path.parent().unwrap_or(Path::new(""));
    let mut reader = Reader { folder, limits, size: None };
    let dark = lights.dark.as_deref().map(|file| reader.read("dark frame", file)).transpose()?.map(|photo| photo.color);
    let even = lights.flat_field.as_deref().map(|file| reader.read("flat field", file)).transpose()?;
    let shared = Calibration::new(dark, even.map(|photo| Flat::Camera(photo.color)).as_ref());
    let mut made: Option<(Photo, Shots)> = None;
    let mut hashes = String::new();
    // Light of the first lamp on a matte ball, to which the others are compared.
    let mut first_light = None;
    let mut told_by = Vec::new();
    for (k, shot) in lights.shots.iter().enumerate() {
        task.check()?;
        task.progress("read", k as f32 / lights.shots.len() as f32);
        let photo = reader.read("shot", &shot.shot)?;
        hashes += &photo.hash;
        let dark = shared.dark();
        let (toward, light) = toward(shot, &photo.color, dark, lights.ball.as_ref())
            .map_err(|error| LitFailed::Ball { error, path: folder.join(&shot.shot) })?;
        // A card under the lamp takes out its strength already.
        let by_ball = light.filter(|_| shot.flat_field.is_none()).map(|light| light / *first_light.get_or_insert(light));
        let strength = shot.strength.or(by_ball).unwrap_or(1.0);
        told_by.push((shot, strength, photo.name.clone(), photo.hash.clone()));
        let own = shot.flat_field.as_deref().map(|file| reader.read("flat field", file)).transpose()?;
        let own = own.map(|card| shared.under(Some(&Flat::Card(card.color))));
        let calibration = own.as_ref().unwrap_or(&shared);
        let size = photo.color.size();
        let (_, shots) = made.get_or_insert_with(|| {
            (Photo { color: Image::filled(0, 0, LinearRgb::default()), alpha: None, ..photo.clone() }, Shots::new(size))
        });
        shots.add(lamp(shot, toward), strength, &photo.color, calibration);
    }
    let Some((first, mut shots)) = made else { unreachable!("a lights file has three lights at least") };
    if lights.by_clock {
        let about: Vec<[f32; 3]> = shots.lamps().iter().map(|lamp| lamp.toward).collect();
        let found = find_lamps(&shots, &about).map_err(|error| LitFailed::Unknown { error, path: path.to_path_buf() })?;
        let text = format!(
            "Lamps were found in the shots, {:.1} degrees from an even round in the mean; where the round began and how high it was is as you said.",
            found.moved.to_degrees()
        );
        task.note("lights-found", text);
        for (line, strength) in told_by.iter_mut().zip(&found.strength) {
            line.1 *= strength;
        }
        shots.place(&found.toward, &found.strength);
    }
    if told.is_none() || lights.by_clock {
        judge(shots.lamps(), path, task)?;
    }
    let mut provenance = vec![("lights".to_owned(), name(path))];
    for (k, ((shot, strength, file, hash), lamp)) in told_by.iter().zip(shots.lamps()).enumerate() {
        let by_clock = if lights.by_clock { " found in the shots" } else { "" };
        let line = described(shot, lamp.toward, *strength, file);
        provenance.push((format!("light_{}", k + 1), format!("{line}{by_clock} blake3 {hash}")));
    }
    provenance.extend(calibration_lines(&lights));
    let hash = tatter_files::picture::hash(hashes.as_bytes());
    let photo = Photo { name: name(path), color: shots.even(), hash, ..first };
    Ok(LitShots { photo, shots, aside: lights.ball.as_ref().map(around), provenance })
}

struct Reader<'a> {
    folder: &'a Path,
    limits: Limits,
    size: Option<Size>,
}

impl Reader<'_> {
    fn read(&mut self, what: &'static str, file: &str) -> Result<Photo, LitFailed> {
        let path = self.folder.join(file);
        let photo = read_photo(&path, &self.limits)?;
        let found = photo.color.size();
        let wanted = *self.size.get_or_insert(found);
        if found == wanted { Ok(photo) } else { Err(LitFailed::Size { what, found, wanted, path }) }
    }
}

const fn lamp(shot: &LitShot, toward: [f32; 3]) -> Lamp {
    Lamp { toward, distance: shot.distance, by_card: shot.flat_field.is_some() }
}

/// Where a shot's lamp stands, as told or as the ball tells; with its light where a matte ball tells that.
fn toward(
    shot: &LitShot,
    color: &Image<LinearRgb>,
    dark: Option<&Image<LinearRgb>>,
    ball: Option<&Ball>,
) -> Result<([f32; 3], Option<f32>), BallError> {
    let Some(ball) = ball else { return Ok((shot.toward.unwrap_or([0.0, 0.0, 1.0]), None)) };
    if let (Some(toward), BallKind::Mirror) = (shot.toward, ball.kind) {
        return Ok((toward, None));
    }
    let less = dark.map(|dark| color.zip(dark, |c, d| c.plus(d, -1.0)));
    let (found, light) = lamp_by_ball(less.as_ref().unwrap_or(color), ball)?;
    Ok((shot.toward.unwrap_or(found), light))
}

/// Corners of a square with room around a ball.
fn around(ball: &Ball) -> [[f32; 2]; 4] {
    const ROOM: f32 = 1.15;
    let ([x, y], r) = (ball.at, ROOM * ball.radius);
    [[x - r, y - r], [x + r, y - r], [x + r, y + r], [x - r, y + r]]
}

/// Refuse lamps that cannot tell slopes, warn of those that tell them badly.
fn judge(lamps: &[Lamp], path: &Path, task: &Task) -> Result<(), LitFailed> {
    let stand = Arrangement::of(lamps);
    if stand.condition > Arrangement::MOST {
        return Err(LitFailed::Plane { condition: stand.condition, path: path.to_path_buf() });
    }
    let (low, high) = (stand.lowest.to_degrees(), stand.highest.to_degrees());
    if low < LOW_DEG {
        let text = format!(
            "A light stands {low:.0} degrees above the cloth: below {LOW_DEG} threads shade each other; 60 to 70 is best."
        );
        task.note("lights-low", text);
    }
    if high > HIGH_DEG && lamps.iter().filter(|lamp| lamp.elevation().to_degrees() > HIGH_DEG).count() * 2 > lamps.len() {
        let text = format!(
            "Most lights stand more than {HIGH_DEG} degrees above the cloth: slopes hardly change the light there, and noise counts as relief; 60 to 70 is best."
        );
        task.note("lights-high", text);
    }
    if lamps.len() == 3 {
        task.note("lights-few", "Three lights leave no reading to spare: shadows become slopes. Take eight.");
    }
    Ok(())
}

fn described(shot: &LitShot, [x, y, z]: [f32; 3], strength: f32, file: &str) -> String {
    let mut text = format!("{file} from {x:.4}, {y:.4}, {z:.4}");
    if let Some(distance) = shot.distance {
        text += &format!(" at {} mm", distance.get());
    }
    if strength != 1.0 {
        text += &format!(" strength {strength}");
    }
    if shot.toward.is_none() {
        text += " by the ball";
    }
    if let Some(card) = &shot.flat_field {
        text += &format!(" over {card}");
    }
    text
}

fn calibration_lines(lights: &Lights) -> Vec<(String, String)> {
    let line = |key: &str, file: &Option<String>| file.clone().map(|file| (key.to_owned(), file));
    [line("flat_field", &lights.flat_field), line("dark", &lights.dark)].into_iter().flatten().collect()
}

pub(crate) fn name(path: &Path) -> String {
    path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned()
}
