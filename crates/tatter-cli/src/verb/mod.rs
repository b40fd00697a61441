//! One verb a file: arguments to request, report to text or JSON.

pub(crate) mod build;
pub(crate) mod check;
pub(crate) mod completions;
pub(crate) mod cut;
pub(crate) mod deliver;
pub(crate) mod demo;
pub(crate) mod desk;
pub(crate) mod garment;
pub(crate) mod grain;
pub(crate) mod handoff;
pub(crate) mod man;
pub(crate) mod matching;
pub(crate) mod measure;
pub(crate) mod place;
pub(crate) mod proof;
pub(crate) mod scatter;
pub(crate) mod variation;
pub(crate) mod watch;
pub(crate) mod wear;
pub(crate) mod weave;

use std::path::Path;

use tatter_core::explain::{Class, Explain};
use tatter_core::model::{KnownSize, Scale};
use tatter_core::task::Task;
use tatter_core::units::{Mm, MmPerTexel, PerCm};

use crate::args::{Numbers, ScaleArgs, ScaleByArg};

/// An exit code, or an error a person can act on.
pub(crate) type Outcome = Result<u8, Box<dyn Explain>>;

/// An argument whose text the parser let through but that means nothing.
#[derive(Debug, thiserror::Error)]
#[error("{what}")]
pub(crate) struct BadArgument {
    what: String,
    next: &'static str,
}

impl BadArgument {
    pub(crate) fn new(what: impl Into<String>, next: &'static str) -> Self {
        Self { what: what.into(), next }
    }
}

impl Explain for BadArgument {
    fn next(&self) -> String {
        self.next.to_owned()
    }

    fn class(&self) -> Class {
        Class::Request
    }
}

/// Refuse a word that none of `known` is.
pub(crate) fn known_keys(option: &str, words: &[String], known: &[&str]) -> Result<(), Box<dyn Explain>> {
    match words.iter().find(|word| !known.contains(&word.as_str())) {
        None => Ok(()),
        Some(word) => {
            let what = format!("{option} knows no '{word}'; there are {}", known.join(", "));
            Err(boxed(BadArgument::new(what, "Name some of those, with commas between")))
        }
    }
}

/// Errors of the façade, boxed for `main`.
pub(crate) fn boxed<E: Explain + 'static>(error: E) -> Box<dyn Explain> {
    Box::new(error)
}

/// A picture of placements before and after, when one was asked for.
pub(crate) fn preview(output: Option<&Path>, job: &Path, ids: Option<&[String]>, task: &Task) -> Result<(), Box<dyn Explain>> {
    output.map_or(Ok(()), |output| tatter::preview::preview(job, ids, output, task).map_err(boxed))
}

/// Whether a preview that was asked for can be written.
pub(crate) fn check_preview(output: Option<&Path>) -> Result<(), Box<dyn Explain>> {
    output.map_or(Ok(()), |output| tatter::preview::check_output(output).map_err(boxed))
}

/// Pixel coordinates of the machine contract count from the first pixel's centre; inside they count from its corner.
pub(crate) const CENTRE: f32 = 0.5;

/// The scale as told.
pub(crate) fn scale(told: &ScaleArgs) -> Result<Scale, Box<dyn Explain>> {
    match (told.scale_by, told.corners) {
        (Some(ScaleByArg::Ruler), Some(_)) => Err(boxed(BadArgument {
            what: "--corners goes around a card or a sheet, and --scale-by ruler has none".to_owned(),
            next: "Leave --corners out, or mark two places of the ruler with --ruler",
        })),
        (Some(ScaleByArg::Ruler), None) => Ok(Scale::FoundRuler),
        _ => Ok(as_numbers(told)),
    }
}

fn as_numbers(told: &ScaleArgs) -> Scale {
    if let Some(mm) = told.mm_per_pixel {
        return Scale::MmPerPixel(MmPerTexel(mm));
    }
    if let Some(mm) = told.width_mm {
        return Scale::Width(Mm(mm));
    }
    if let Some(count) = told.ends_per_cm {
        return Scale::EndsPerCm(PerCm(count));
    }
    if let Some(Numbers([x0, y0, x1, y1, mm])) = told.ruler {
        return Scale::Ruler { from: [x0 + CENTRE, y0 + CENTRE], to: [x1 + CENTRE, y1 + CENTRE], length: Mm(mm) };
    }
    let named = told.scale_by.and_then(|what| match what {
        ScaleByArg::Card => Some(KnownSize::Card),
        ScaleByArg::A4 => Some(KnownSize::A4),
        ScaleByArg::A5 => Some(KnownSize::A5),
        ScaleByArg::A6 => Some(KnownSize::A6),
        ScaleByArg::Ruler => None,
    });
    let told_size = told.corners_mm.map(|Numbers([width, height])| KnownSize::Told { width: Mm(width), height: Mm(height) });
    let corners = told.corners.map(|Numbers(numbers)| four(numbers));
    named.or(told_size).map_or(Scale::Unknown, |size| Scale::Rectangle { size, corners })
}

/// Four pixels of the machine contract as places of the photo.
pub(crate) fn four(numbers: [f32; 8]) -> [[f32; 2]; 4] {
    std::array::from_fn(|i| [numbers[2 * i] + CENTRE, numbers[2 * i + 1] + CENTRE])
}
