//! Rules of scatters tried on a garment on its stand, again and again.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use tatter_core::task::Task;
use tatter_garment::scatter::ScatterGround;

use super::Form;
use crate::scatter::{Draft, Known, ScatterFailed, Yielded, read_patches, throw};

/// A garment and the patches thrown on it, each read once.
#[derive(Debug)]
pub struct Thrower {
    form: Arc<Form>,
    job: PathBuf,
    known: Known,
    ground: ScatterGround,
}

impl Thrower {
    /// For a job file; nothing is read yet.
    pub fn new(form: Arc<Form>, job: &Path) -> Self {
        Self { form, job: job.to_owned(), known: Known::new(), ground: ScatterGround::default() }
    }

    /// What a rule yields, as [`crate::scatter::scatter_job`] would lay it. Costs time in proportion to its count, and where it may lie
    /// elsewhere than the last one, to the faces, once more for each curvature it asks for.
    ///
    /// # Errors
    /// When a patch or picture cannot be read, or the rule yields nothing.
    pub fn throw(&mut self, draft: Draft, task: &Task) -> Result<Yielded, ScatterFailed> {
        let folder = self.job.parent().unwrap_or(Path::new("")).to_owned();
        read_patches(&mut self.known, &draft, &folder)?;
        let placements = throw(&self.ground, self.form.surface(), self.form.garment(), &self.known, &draft, &self.job, task)?;
        Ok(Yielded { draft, placements })
    }
}
