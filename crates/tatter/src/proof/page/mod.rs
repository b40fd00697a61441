//! A page for whoever approves the garment: one file, nothing fetched, the same bytes for the same inputs on the same adapter.

mod garment;
mod html;
mod patches;
mod placements;
mod state;
mod textures;
mod words;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use rayon::prelude::*;
use tatter_core::image::Stored;
use tatter_core::task::Task;
use tatter_files::picture::{PictureError, encode_jpeg_photo};
use tatter_files::write::write_whole;
use tatter_garment::check::Fault;
use tatter_garment::place::Placed;
use tatter_proof::{Picture, Scene, Side};

use super::shots::{Shot, close_ups, named, side_of, side_shot};
use super::studio::{Drawn, Studio};
use super::{ProofError, ProofRequest};
use crate::check::file_faults;
use html::{Html, fill, html};

/// Placements seen close up when none is named: the first; more would make a page nobody reads to its end.
const MOST: usize = 24;
/// Longest side of a close-up, pixels: all that a phone shows, and thirds of a desktop's width.
const CLOSE_UP: u32 = 800;
/// JPEG qualities, the first tried first: cloth at the last still shows its threads.
const QUALITIES: [u8; 3] = [90, 84, 76];
/// Bytes of pictures that are gladly sent by mail; of more the next quality is tried.
const ENOUGH: usize = 3 << 20;

const PAGE: &str = include_str!("page.html");
const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");

/// The written page.
#[derive(Clone, Debug)]
pub struct PageReport {
    /// Where.
    pub path: PathBuf,
    /// Its size.
    pub bytes: usize,
    /// Sides of the garment on it, by name.
    pub sides: Vec<String>,
    /// Placements seen close up on it, by id.
    pub close_ups: Vec<String>,
}

/// One view of the garment before and after, as data URIs.
struct Pair {
    before: String,
    after: String,
    size: [u32; 2],
}

/// Everything the page tells.
struct Content<'a> {
    studio: &'a Studio,
    request: &'a ProofRequest,
    /// The job's folder, which nobody is told.
    folder: &'a Path,
    /// What lies on the garment, in order.
    placed: Vec<Placed<'a>>,
    /// By the name of the side.
    sides: Vec<(String, Pair)>,
    /// By the id of the placement.
    close_ups: BTreeMap<String, Pair>,
    /// Texels that differ from the textures as they were, by map set and file.
    changed: Vec<Vec<usize>>,
    faults: Vec<Fault>,
}

/// Draw a page's views and write it.
pub(super) fn write(
    studio: &Studio,
    request: &ProofRequest,
    job: &Path,
    folder: &Path,
    task: &Task,
) -> Result<(PageReport, Drawn), ProofError> {
    let placed = studio.session.placed_of(&studio.job);
    let (sides, near) = chosen(&placed, request, job)?;
    let drawn = studio.draw(request, true, job, task, |surface, scene: &Scene<'_>| {
        let mut shots: Vec<Shot> = sides.iter().map(|&side| side_shot(scene, side, request.size)).collect();
        let size = request.size.map(|length| length.min(CLOSE_UP));
        shots.extend(close_ups(&studio.session.garment, surface, &near, [size[0].min(size[1]); 2])?);
        Ok(shots)
    })?;
    let mut pairs = task.stage("page", || pairs(&drawn))?;
    let close_ups: Vec<(String, Pair)> = drawn.names[sides.len()..].iter().cloned().zip(pairs.split_off(sides.len())).collect();
    let before = studio.before.as_deref().unwrap_or_default();
    let content = Content {
        studio,
        request,
        folder: studio.session.folder(),
        placed,
        sides: drawn.names.iter().cloned().zip(pairs).collect(),
        close_ups: close_ups.into_iter().collect(),
        changed: task.stage("page", || changed(before, &studio.after)),
        faults: task.stage("check", || file_faults(&studio.session, before)),
    };
    let text = content.page()?;
    let path = folder.join("index.html");
    task.stage("write", || write_whole(&path, text.as_bytes())).map_err(|error| ProofError::Write(error, path.clone()))?;
    let (sides, close_ups) = drawn.names.split_at(sides.len());
    Ok((PageReport { path, bytes: text.len(), sides: sides.to_vec(), close_ups: close_ups.to_vec() }, drawn))
}

/// Sides and placements that are shown: those named; front, three-quarter and back where no side is, the first placements where none is.
fn chosen<'a>(placed: &[Placed<'a>], request: &ProofRequest, job: &Path) -> Result<(Vec<Side>, Vec<Placed<'a>>), ProofError> {
    let mut sides = Vec::new();
    let mut near: Vec<Placed<'a>> = Vec::new();
    for name in &request.views {
        match side_of(name) {
            Some(side) if sides.contains(&side) => {}
            Some(side) => sides.push(side),
            None => near.extend(named(placed, name, job)?),
        }
    }
    if sides.is_empty() {
        sides.extend([Side::Front, Side::ThreeQuarter, Side::Back]);
    }
    if near.is_empty() {
        near.extend(placed.iter().take(MOST));
    }
    let mut seen = std::collections::BTreeSet::new();
    near.retain(|placed| seen.insert(&placed.placement.id));
    Ok((sides, near))
}

fn pairs(drawn: &Drawn) -> Result<Vec<Pair>, PictureError> {
    let (mut before, mut after) = (Vec::new(), Vec::new());
    for quality in QUALITIES {
        let jpeg = |picture: &Picture| encode_jpeg_photo(&super::stored(picture), quality);
        let jpegs = |pictures: &[Picture]| pictures.par_iter().map(jpeg).collect::<Result<Vec<_>, _>>();
        (before, after) = (jpegs(&drawn.before)?, jpegs(&drawn.after)?);
        if before.iter().chain(&after).map(Vec::len).sum::<usize>() <= ENOUGH {
            break;
        }
    }
    let both = before.iter().zip(&after).zip(&drawn.after);
    Ok(both.map(|((b, a), p)| Pair { before: uri(b), after: uri(a), size: [p.width, p.height] }).collect())
}

/// A JPEG within the page (RFC 2397).
fn uri(jpeg: &[u8]) -> String {
    format!("data:image/jpeg;base64,{}", STANDARD.encode(jpeg))
}

fn changed(before: &[Vec<Stored>], after: &[Vec<Stored>]) -> Vec<Vec<usize>> {
    let of_set = |(before, after): (&Vec<Stored>, &Vec<Stored>)| {
        before.par_iter().zip(after).map(|(before, after)| before.differing_texels(after)).collect()
    };
    before.iter().zip(after).map(of_set).collect()
}

impl Content<'_> {
    fn page(&self) -> Result<String, ProofError> {
        let name = self.name();
        let title = html!("Proof: {}", &name);
        let (lead, views, close_ups) = (self.lead(), self.views(), self.near());
        let (variation, wear, textures, patches) = (self.variation(), self.wear(), self.textures(), self.patches()?);
        let values: [(&str, &Html); 11] = [
            ("title", &title),
            ("css", &Html::raw(STYLE)),
            ("js", &Html::raw(SCRIPT)),
            ("name", &Html::from(&name)),
            ("lead", &lead),
            ("views", &views),
            ("close_ups", &close_ups),
            ("variation", &variation),
            ("wear", &wear),
            ("textures", &textures),
            ("patches", &patches),
        ];
        Ok(fill(PAGE, &[&values[..], &[("foot", &self.foot())]].concat()))
    }

    /// A picture slider, or two pictures where there is no script. `what` names it for those who do not see it.
    fn compare(&self, pair: &Pair, what: &str) -> Html {
        let [width, height] = pair.size;
        let figure = |class: &str, uri: &str, text: &str| {
            html!(
                "<figure class=\"{}\"><img src=\"{}\" width=\"{}\" height=\"{}\" alt=\"{}, {}\"><figcaption>{}</figcaption></figure>\n",
                class,
                Html::raw(uri),
                width,
                height,
                what,
                text.to_lowercase(),
                text,
            )
        };
        html!(
            "<div class=\"compare\" role=\"group\" aria-label=\"{}\">\n<div class=\"stage\">\n{}{}</div>\n</div>\n",
            what,
            figure("before", &pair.before, "Before"),
            figure("after", &pair.after, "After"),
        )
    }
}
