//! Checks of wear and variations on a garment.

use tatter_core::channel::Channel;
use tatter_core::explain::Explain as _;
use tatter_core::model::{Garment, Variation};

use super::{Fault, Severity};
use crate::build::{WearInput, check_wear};

/// Everything wrong with the wear of a job. Needs the mesh, not the textures; linear in the faces for each mark.
pub fn check_marks(garment: &Garment, marks: &[WearInput<'_>]) -> Vec<Fault> {
    let mut faults = Vec::new();
    for mark in marks {
        let place = format!("wear {}", mark.wear.id);
        if let Err(error) = check_wear(garment, mark) {
            faults.push(Fault::new(Severity::Error, "wear-nowhere", &place, error.to_string(), error.next()));
        }
        if mark.wear.strength <= 0.0 {
            let remedy = "give it a strength above 0, or take it out";
            faults.push(Fault::new(Severity::Hint, "wear-nothing", &place, "its strength is 0, so it does nothing", remedy));
        }
        if !garment.sets.iter().any(|set| set.role(Channel::BaseColor).is_some()) {
            let remedy = "add a base colour to the job";
            faults.push(Fault::new(
                Severity::Warning,
                "wear-colorless",
                &place,
                "the garment has no base colour to fade",
                remedy,
            ));
        }
    }
    faults
}

/// Everything wrong with the sizes of a job's variations; needs the sizes of the textures.
pub fn check_variations(garment: &Garment, variations: &[Variation]) -> Vec<Fault> {
    let files = || garment.sets.iter().flat_map(|set| &set.files);
    let mut faults = Vec::new();
    for (variation, texels) in variations.iter().filter_map(|variation| Some((variation, variation.texels?))) {
        let place = format!("variation {}", variation.name);
        for file in files() {
            let side = file.size.width.max(file.size.height);
            if variation.times(side).is_none() {
                let what = format!("{texels} texels do not divide {side}, the longer side of {}", file.path);
                let remedy = "ask for a half, a quarter or another whole part";
                faults.push(Fault::new(Severity::Error, "texels-unfit", &place, what, remedy));
            }
        }
        if files().all(|file| file.size.width.max(file.size.height) <= texels) {
            let what = "no texture is larger than it asks for, so none is made smaller";
            faults.push(Fault::new(Severity::Hint, "texels-nothing", &place, what, "ask for fewer texels, or leave them out"));
        }
    }
    faults
}
