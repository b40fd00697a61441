//! The textures of a garment, read to be looked at on a screen.

use std::path::Path;

use rayon::prelude::*;
use tatter_core::image::{Size, Stored};
use tatter_core::model::{Job, MapFile, MapSet};
use tatter_core::task::Task;
use tatter_files::store::Store;
use tatter_garment::build::shrink;

use super::Fineness;
use crate::session::{SessionError, pristine_picture};

/// Textures as they were before Tatter touched them: whole, and as coarse as one sees them first. They ask nothing of the garment's shape: both are
/// read at once.
#[derive(Debug)]
pub struct Textures {
    pub(super) whole: Vec<Vec<Stored>>,
    pub(super) coarse: Vec<Vec<Stored>>,
}

impl Textures {
    /// Read those of a job, each made small as soon as it is there. Peak memory is that of all of them, and a sixtieth more.
    ///
    /// # Errors
    /// When one cannot be read, or the task is cancelled.
    pub fn read(job: &Job, path: &Path, task: &Task) -> Result<Self, SessionError> {
        let (store, folder) = (Store::open(path)?, path.parent().unwrap_or(Path::new("")));
        let texels = Fineness::Coarse.texels();
        let of_file = |file: &MapFile| {
            let whole = pristine_picture(&store, folder, &file.path)?;
            let coarse = small_one(file, &whole, texels);
            Ok((whole, coarse))
        };
        let of_set = |set: &MapSet| set.files.par_iter().with_max_len(1).map(of_file).collect::<Result<Vec<_>, SessionError>>();
        let read = || job.garment.sets.par_iter().map(of_set).collect::<Result<Vec<_>, SessionError>>();
        let all = task.stage("read", read)?;
        let (whole, coarse) = all.into_iter().map(|set| set.into_iter().unzip()).unzip();
        Ok(Self { whole, coarse })
    }
}

/// Pictures no more than `texels` to a side, or as little more as a whole number of times smaller allows.
pub(super) fn small(sets: &[MapSet], pictures: &[Vec<Stored>], texels: usize) -> Vec<Vec<Stored>> {
    let of_set = |(set, pictures): (&MapSet, &Vec<Stored>)| {
        set.files.par_iter().zip(pictures).map(|(file, picture)| small_one(file, picture, texels)).collect()
    };
    sets.iter().zip(pictures).map(of_set).collect()
}

fn small_one(file: &MapFile, picture: &Stored, texels: usize) -> Stored {
    match times_smaller(picture.size, texels) {
        1 => picture.clone(),
        times => shrink(picture, &file.roles, times),
    }
}

/// The least whole number of times that a size can be divided by to have sides of at most `texels`; 1 when none does.
fn times_smaller(size: Size, texels: usize) -> usize {
    let fits = |times: &usize| size.width.max(size.height) <= texels * times;
    let divides = |times: &usize| size.width.is_multiple_of(*times) && size.height.is_multiple_of(*times);
    (1..=64).find(|times| fits(times) && divides(times)).unwrap_or(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn textures_are_divided_without_rest() {
        for (size, texels, times) in
            [([4096, 4096], 512, 8), ([4096, 2048], 2048, 2), ([500, 500], 512, 1), ([1536, 1000], 512, 4)]
        {
            assert_eq!(times_smaller(Size::new(size[0], size[1]), texels), times, "{size:?} to {texels}");
        }
        assert_eq!(times_smaller(Size::new(1021, 1021), 512), 1, "a prime stays whole");
    }
}
