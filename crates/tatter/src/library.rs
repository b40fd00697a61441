//! The patches at hand for a job, each as one looks at it before taking it.

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rayon::prelude::*;
use tatter_core::color::{Lab, ciede2000, codes_of, srgb_code};
use tatter_core::explain::Explain as _;
use tatter_core::image::{Coding, LinearRgb, Map, Transfer};
use tatter_core::model::{Job, ScaleSource, Subject, Weave};
use tatter_core::units::PerCm;
use tatter_files::limits::Limits;
use tatter_files::patch::{patches_in, read_description};
use tatter_files::picture::read_stored;
pub use tatter_garment::place::Canvas;
use tatter_proof::Picture;

use crate::paths::resolved;

/// What stands on a patch's card.
#[derive(Clone, Debug)]
pub struct Card {
    /// Its name.
    pub name: String,
    /// Its folder.
    pub folder: PathBuf,
    /// Its name in the job, when the job uses it.
    pub in_job: Option<String>,
    /// The size of its canvas and its grain; or, in two sentences, why it cannot be read and what to do.
    pub canvas: Result<Canvas, String>,
    /// Damage or piece.
    pub subject: Subject,
    /// Where its scale came from.
    pub scale: ScaleSource,
    /// Ends on a centimetre, when known.
    pub ends_per_cm: Option<PerCm>,
    /// Picks on a centimetre, when known.
    pub picks_per_cm: Option<PerCm>,
    /// How its cloth is woven.
    pub weave: Weave,
    /// Colour of its intact cloth, when known.
    pub cloth_color: Option<LinearRgb>,
    /// Its `thumb.png`, when it has one.
    pub thumb: Option<Arc<Picture>>,
}

/// The patches a job names, and those in its folder, by name. Reads only their descriptions and thumbnails.
pub fn cards(job_path: &Path, job: &Job) -> Vec<Card> {
    let folder = job_path.parent().unwrap_or(Path::new(""));
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let mut all: Vec<(PathBuf, Option<String>)> =
        job.patches.iter().map(|patch| (folder.join(&patch.path), Some(patch.name.clone()))).collect();
    let more = patches_in(folder).into_iter().filter(|found| all.iter().all(|(known, _)| known != found)).collect::<Vec<_>>();
    all.extend(more.into_iter().map(|found| (found, None)));
    sorted(all)
}

/// A number that is taken for one that was written, when nothing else is said: a tenth less or more.
const ABOUT: f32 = 0.1;

/// What was written to find patches by.
#[derive(Clone, Debug, PartialEq)]
enum Sought {
    /// Part of the name, the weave or the subject.
    Word(String),
    /// Sides of the canvas, mm.
    Side(RangeInclusive<f32>),
    /// Ends or picks on a centimetre.
    Count(RangeInclusive<f32>),
    /// Those nearest in colour come first.
    Near(Lab),
}

impl Sought {
    fn of(word: &str) -> Self {
        let range = |numbers: &str| {
            let (low, high) = numbers.split_once(['-', '–']).unwrap_or((numbers, numbers));
            let (low, high) = (low.parse::<f32>().ok()?, high.parse::<f32>().ok()?);
            let spread = if low == high { ABOUT } else { 0.0 };
            Some(low.min(high) * (1.0 - spread)..=low.max(high) * (1.0 + spread))
        };
        let word = word.to_lowercase();
        let side = word.strip_suffix("mm").and_then(range).map(Self::Side);
        let count = || word.strip_suffix("/cm").and_then(range).map(Self::Count);
        side.or_else(count).or_else(|| color(&word).map(Self::Near)).unwrap_or(Self::Word(word))
    }

    fn fits(&self, card: &Card) -> bool {
        match self {
            Self::Word(word) => {
                let told = [card.name.clone(), card.weave.to_string(), card.subject.name().to_owned()];
                told.iter().any(|told| told.to_lowercase().contains(word.as_str()))
            }
            Self::Side(range) => {
                let side = card.canvas.as_ref().ok().map(|canvas| canvas.size_mm[0].get().max(canvas.size_mm[1].get()));
                side.is_some_and(|side| range.contains(&side))
            }
            Self::Count(range) => {
                [card.ends_per_cm, card.picks_per_cm].into_iter().flatten().any(|count| range.contains(&count.get()))
            }
            Self::Near(_) => card.cloth_color.is_some(),
        }
    }
}

/// `#RRGGBB`.
fn color(word: &str) -> Option<Lab> {
    word.strip_prefix('#').and_then(codes_of).map(|codes| Lab::from(LinearRgb::from_codes(codes)))
}

/// Which cards are meant by words, all of which must hold: parts of a name, weave or subject; `80mm` or `60-90mm` for the side of the canvas;
/// `12/cm` or `10-14/cm` for threads; `#b08a50` for a colour, whose nearest (CIEDE2000) come first. One number means a tenth about it. Gives
/// their places in `cards`.
pub fn found(cards: &[Card], words: &str) -> Vec<usize> {
    // A unit may stand apart from its number.
    let words = words.to_lowercase().replace(" mm", "mm").replace(" /cm", "/cm").replace("/ cm", "/cm");
    let sought: Vec<Sought> = words.split_whitespace().map(Sought::of).collect();
    let mut found: Vec<usize> = (0..cards.len()).filter(|&i| sought.iter().all(|one| one.fits(&cards[i]))).collect();
    let wanted = sought.iter().find_map(|one| if let Sought::Near(lab) = one { Some(*lab) } else { None });
    if let Some(wanted) = wanted {
        let far = |i: &usize| cards[*i].cloth_color.map_or(f32::INFINITY, |color| ciede2000(wanted, Lab::from(color)));
        found.sort_by(|one, other| far(one).total_cmp(&far(other)));
    }
    found
}

/// The patches in a folder, by name. Reads only their descriptions and thumbnails.
pub fn cards_in(folder: &Path) -> Vec<Card> {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    sorted(patches_in(folder).into_iter().map(|found| (found, None)).collect())
}

/// A folder of patches elsewhere on the disk, and what lies in it.
#[derive(Clone, Debug)]
pub struct Elsewhere {
    /// The folder.
    pub folder: PathBuf,
    /// Whether it lies there.
    pub is_there: bool,
    /// Its patches, by name.
    pub cards: Vec<Card>,
}

impl Elsewhere {
    /// Look into a folder. Reads descriptions and thumbnails.
    pub fn read(folder: &Path) -> Self {
        Self { folder: folder.to_owned(), is_there: folder.is_dir(), cards: cards_in(folder) }
    }
}

/// The patches that lie in a folder.
pub fn patch_folders(folder: &Path) -> Vec<PathBuf> {
    patches_in(folder)
}

/// Two ways to one place are one: links and `..` are resolved.
pub fn one_place(path: &Path) -> PathBuf {
    resolved(path)
}

fn sorted(all: Vec<(PathBuf, Option<String>)>) -> Vec<Card> {
    let mut cards: Vec<Card> = all.into_par_iter().map(|(folder, in_job)| card(folder, in_job)).collect();
    cards.sort_by(|one, other| one.name.cmp(&other.name));
    cards
}

fn card(folder: PathBuf, in_job: Option<String>) -> Card {
    let file = folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let name = in_job.clone().unwrap_or_else(|| file.strip_suffix(".patch").unwrap_or(&file).to_owned());
    let thumb = thumb(&folder.join("thumb.png"));
    match read_description(&folder) {
        Ok((patch, size_mm)) => Card {
            name,
            in_job,
            canvas: Ok(Canvas { size_mm, grain: patch.grain }),
            subject: patch.subject,
            scale: patch.scale_source,
            ends_per_cm: patch.ends_per_cm,
            picks_per_cm: patch.picks_per_cm,
            weave: patch.weave,
            cloth_color: patch.cloth_color,
            thumb,
            folder,
        },
        Err(error) => Card {
            name,
            in_job,
            canvas: Err(format!("{error}. {}.", error.next())),
            subject: Subject::Damage,
            scale: ScaleSource::Assumed,
            ends_per_cm: None,
            picks_per_cm: None,
            weave: Weave::Unknown,
            cloth_color: None,
            thumb,
            folder,
        },
    }
}

fn thumb(path: &Path) -> Option<Arc<Picture>> {
    let stored = read_stored(path, &Limits::default()).ok()?;
    let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
    let Map::Color(image) = stored.decode_whole(tatter_core::channel::Kind::Color, &coding) else { return None };
    Some(Arc::new(shown(&image)))
}

/// A picture in linear light as a screen shows it.
pub(crate) fn shown(image: &tatter_core::image::Image<LinearRgb>) -> Picture {
    let size = image.size();
    let rgb = image.texels().iter().flat_map(|light| light.0.map(srgb_code)).collect();
    Picture { width: size.width as u32, height: size.height as u32, rgb }
}

#[cfg(test)]
mod tests {
    use tatter_core::model::Hand;
    use tatter_core::units::Mm;

    use super::*;

    fn card(name: &str, side: f32, ends: f32, weave: Weave, color: [u8; 3]) -> Card {
        Card {
            name: name.into(),
            folder: PathBuf::from(name),
            in_job: None,
            canvas: Ok(Canvas { size_mm: [Mm(side), Mm(side)], grain: None }),
            subject: Subject::Damage,
            scale: ScaleSource::Ruler,
            ends_per_cm: Some(PerCm(ends)),
            picks_per_cm: Some(PerCm(0.8 * ends)),
            weave,
            cloth_color: Some(LinearRgb::from_codes(color)),
            thumb: None,
        }
    }

    #[test]
    fn patches_are_found_by_what_one_says_of_them() {
        let twill = Weave::Twill { over: 2, under: 2, hand: Hand::Z };
        let cards = [
            card("moth-hole", 40.0, 12.0, twill, [90, 80, 70]),
            card("rope-burn", 80.0, 14.0, Weave::Plain, [200, 190, 160]),
            card("torn-elbow", 85.0, 15.0, Weave::Plain, [180, 140, 80]),
        ];
        for (words, wanted) in [
            ("", &[0, 1, 2][..]),
            ("Plain", &[1, 2]),
            ("twill", &[0]),
            ("damage burn", &[1]),
            ("80 mm", &[1, 2]),
            ("30-50mm", &[0]),
            ("12/cm", &[0, 1, 2]),
            ("15 /cm", &[1, 2]),
            ("plain 14.5-16/cm", &[2]),
            ("velvet", &[]),
            // The nearest to a sandy brown, by eye and by CIEDE2000.
            ("#b08a50", &[2, 1, 0]),
            ("#b08a50 plain 80mm", &[2, 1]),
        ] {
            assert_eq!(found(&cards, words), wanted, "'{words}'");
        }
    }
}
