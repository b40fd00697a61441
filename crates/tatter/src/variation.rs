//! Variations of a job: which there are, and what each has.

use std::path::{Path, PathBuf};

use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain};
use tatter_core::model::{ChannelRule, Job, MapFile, Variation};
use tatter_files::job::{JobError, read_job, write_job};

/// Folder of delivered variations when the job names none.
const FOLDER: &str = "variations";

/// Why a variation cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum VariationError {
    /// Nothing of that name.
    #[error("there is no variation '{name}' in {job}")]
    NoSuchVariation {
        /// The name asked for.
        name: String,
        /// The job file.
        job: PathBuf,
    },
    /// The job file.
    #[error(transparent)]
    Job(#[from] JobError),
    /// Its texels do not divide a texture.
    #[error("variation '{name}': {texels} texels do not divide {side}, the longer side of {path}")]
    Texels {
        /// Its name.
        name: String,
        /// What was asked.
        texels: usize,
        /// What there is.
        side: usize,
        /// The texture.
        path: String,
    },
}

impl Explain for VariationError {
    fn next(&self) -> String {
        match self {
            Self::NoSuchVariation { .. } => {
                "Use `tatter variation JOB --list` to see them, or make it with `tatter variation JOB NAME`".to_owned()
            }
            Self::Job(error) => error.next(),
            Self::Texels { .. } => "Ask for a half, a quarter or another whole part of the texture".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Job(error) => error.class(),
            Self::NoSuchVariation { .. } | Self::Texels { .. } => Class::Request,
        }
    }
}

/// Make a variation of a job, or change the one of that name; returns it as it is then, and whether it is new.
///
/// # Errors
/// When the job cannot be read, or holds no such thing as the variation then names.
pub fn vary(job_path: &Path, name: &str, edit: impl FnOnce(&mut Variation)) -> Result<(Variation, bool), VariationError> {
    let mut job = read_job(job_path)?;
    let at = job.variations.iter().position(|known| known.name == name);
    let number = at.unwrap_or_else(|| {
        job.variations.push(Variation { name: name.to_owned(), ..Variation::default() });
        job.variations.len() - 1
    });
    edit(&mut job.variations[number]);
    write_job(job_path, &job)?;
    Ok((job.variations.swap_remove(number), at.is_none()))
}

/// Take a variation away; what was built or delivered of it stays.
///
/// # Errors
/// When there is no such variation, or the job cannot be read or written.
pub fn remove_variation(job_path: &Path, name: &str) -> Result<(), VariationError> {
    let mut job = read_job(job_path)?;
    let before = job.variations.len();
    job.variations.retain(|known| known.name != name);
    if job.variations.len() == before {
        return Err(VariationError::NoSuchVariation { name: name.to_owned(), job: job_path.to_owned() });
    }
    Ok(write_job(job_path, &job)?)
}

/// The variations of a job, in order.
///
/// # Errors
/// When the job cannot be read.
pub fn variations(job_path: &Path) -> Result<Vec<Variation>, VariationError> {
    Ok(read_job(job_path)?.variations)
}

/// Which states of a job.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which<'a> {
    /// The job itself, without any variation.
    Job,
    /// One variation.
    One(&'a str),
    /// The job itself and every variation.
    All,
}

impl Which<'_> {
    /// The job itself is `None`; those with one content lie together.
    pub(crate) fn of(self, job: &Job, path: &Path) -> Result<Vec<Option<Variation>>, VariationError> {
        match self {
            Self::Job => Ok(vec![None]),
            Self::One(name) => {
                let found = job.variations.iter().find(|variation| variation.name == name);
                let missing = || VariationError::NoSuchVariation { name: name.to_owned(), job: path.to_owned() };
                Ok(vec![Some(found.ok_or_else(missing)?.clone())])
            }
            Self::All => {
                let mut all: Vec<Option<Variation>> = vec![None];
                for variation in &job.variations {
                    let alike = all.iter().rposition(|other| content(other.as_ref()) == content(Some(variation)));
                    all.insert(alike.map_or(all.len(), |at| at + 1), Some(variation.clone()));
                }
                Ok(all)
            }
        }
    }
}

/// What is left of a variation without its name and size: two that agree are built once.
pub(crate) fn content(variation: Option<&Variation>) -> Variation {
    variation.map_or_else(Variation::default, |variation| Variation { name: String::new(), texels: None, ..variation.clone() })
}

/// The job with what a variation has, as strong as it has it.
pub(crate) fn varied(job: &Job, variation: &Variation) -> Job {
    let mut job = job.clone();
    job.placements.retain_mut(|placement| {
        let Some(strength) = variation.strength_of(&placement.id) else { return false };
        if strength < 1.0 {
            for channel in Channel::ALL {
                let ChannelRule { rule, strength: own } = placement.rule(channel);
                placement.rules[channel] = Some(ChannelRule { rule, strength: own * strength });
            }
        }
        true
    });
    job.wear.retain_mut(|mark| {
        let Some(strength) = variation.strength_of(&mark.id) else { return false };
        mark.strength *= strength;
        true
    });
    job
}

/// How many times smaller a texture becomes.
pub(crate) fn times(variation: &Variation, file: &MapFile) -> Result<usize, VariationError> {
    let side = file.size.width.max(file.size.height);
    variation.times(side).ok_or_else(|| VariationError::Texels {
        name: variation.name.clone(),
        texels: variation.texels.unwrap_or(side),
        side,
        path: file.path.clone(),
    })
}

/// Where a texture of a variation is delivered, relative to the job file: never over the garment's own.
pub(crate) fn target(folder: Option<&str>, variation: &Variation, path: &str) -> String {
    let name = path.rsplit('/').next().unwrap_or(path);
    format!("{}/{}/{name}", folder.unwrap_or(FOLDER).trim_end_matches('/'), variation.name)
}
