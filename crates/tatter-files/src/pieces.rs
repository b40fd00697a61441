//! The bytes of a file in the pieces they were made in, or lie in.

use std::fs::File;
use std::io::{self, Read as _, Seek as _, SeekFrom, Write as _};
use std::ops::Range;
use std::path::{Path, PathBuf};

use crate::store::{Stamp, stamp_of};

/// Bytes read at once from what lies in another file.
const AT_ONCE: usize = 1 << 18;

/// What a file will hold, piece after piece. To join the packed bands of a large picture would copy all of it once more, into memory
/// that is fresh each time; what another file holds already is not taken into memory at all.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Pieces(Vec<Piece>);

#[derive(Clone, Debug, PartialEq, Eq)]
enum Piece {
    Made(Vec<u8>),
    Lying(KnownFile, Range<u64>),
}

/// A file as it lay when it was looked through. Once it was written since, nothing is read of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KnownFile {
    path: PathBuf,
    stamp: Stamp,
}

impl KnownFile {
    /// A file, with what tells that it was written.
    pub(crate) fn new(path: &Path, stamp: Stamp) -> Self {
        Self { path: path.to_path_buf(), stamp }
    }

    /// Bytes it held.
    pub const fn length(&self) -> u64 {
        self.stamp.0
    }

    /// Some of its bytes.
    ///
    /// # Errors
    /// What the file system says, or that it was written since.
    pub(crate) fn read(&self, range: Range<usize>) -> io::Result<Vec<u8>> {
        let mut bytes = vec![0; range.len()];
        let mut file = self.open(range.start as u64)?;
        file.read_exact(&mut bytes)?;
        self.unchanged(&file)?;
        Ok(bytes)
    }

    fn open(&self, start: u64) -> io::Result<File> {
        let mut file = File::open(&self.path)?;
        file.seek(SeekFrom::Start(start))?;
        Ok(file)
    }

    /// To be asked after reading: what is written later changes nothing any more.
    fn unchanged(&self, file: &File) -> io::Result<()> {
        if stamp_of(&file.metadata()?) == self.stamp {
            return Ok(());
        }
        Err(io::Error::other("a file was written while its content was being used"))
    }
}

impl Piece {
    const fn len(&self) -> u64 {
        match self {
            Self::Made(bytes) => bytes.len() as u64,
            Self::Lying(_, range) => range.end - range.start,
        }
    }

    /// Look at its bytes in order. What lies in a file goes through a small piece of memory that is used again: copying from file to file in
    /// the system takes no less time.
    fn each(&self, memory: &mut Vec<u8>, look: &mut dyn FnMut(&[u8]) -> io::Result<()>) -> io::Result<()> {
        let (known, range) = match self {
            Self::Made(bytes) => return look(bytes),
            Self::Lying(known, range) => (known, range),
        };
        let mut file = known.open(range.start)?;
        memory.resize(AT_ONCE, 0);
        let mut left = self.len();
        while left > 0 {
            let now = &mut memory[..left.min(AT_ONCE as u64) as usize];
            file.read_exact(now)?;
            left -= now.len() as u64;
            look(now)?;
        }
        known.unchanged(&file)
    }
}

impl Pieces {
    /// Bytes of all pieces.
    pub fn len(&self) -> u64 {
        self.0.iter().map(Piece::len).sum()
    }

    /// Whether there is no byte.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// A file as it lies.
    pub(crate) fn of_file(path: &Path) -> io::Result<Self> {
        let stamp = stamp_of(&std::fs::metadata(path)?);
        let known = KnownFile::new(path, stamp);
        Ok(Self(vec![Piece::Lying(known, 0..stamp.0)]))
    }

    /// Bytes that were made.
    pub(crate) fn push(&mut self, bytes: Vec<u8>) {
        self.0.push(Piece::Made(bytes));
    }

    /// Bytes that lie in a file; those that follow the ones before are one piece with them.
    pub(crate) fn push_lying(&mut self, file: &KnownFile, range: Range<usize>) {
        let range = range.start as u64..range.end as u64;
        match self.0.last_mut() {
            Some(Piece::Lying(last, before)) if *last == *file && before.end == range.start => before.end = range.end,
            _ => self.0.push(Piece::Lying(file.clone(), range)),
        }
    }

    /// Look at all bytes in order, some at a time.
    ///
    /// # Errors
    /// What `look` says, what the file system says, or that a file was written since it was looked through.
    pub fn each(&self, mut look: impl FnMut(&[u8]) -> io::Result<()>) -> io::Result<()> {
        let mut memory = Vec::new();
        self.0.iter().try_for_each(|piece| piece.each(&mut memory, &mut look))
    }

    /// Write all bytes to a file; `before` is asked ahead of each piece, and may refuse it.
    ///
    /// # Errors
    /// As [`Pieces::each`].
    pub(crate) fn write(&self, into: &mut File, mut before: impl FnMut() -> io::Result<()>) -> io::Result<()> {
        let mut memory = Vec::new();
        self.0.iter().try_for_each(|piece| {
            before()?;
            piece.each(&mut memory, &mut |bytes| into.write_all(bytes))
        })
    }

    /// All in one.
    ///
    /// # Errors
    /// As [`Pieces::each`].
    pub fn join(mut self) -> io::Result<Vec<u8>> {
        if let [Piece::Made(bytes)] = self.0.as_mut_slice() {
            return Ok(std::mem::take(bytes));
        }
        let mut all = Vec::with_capacity(self.len() as usize);
        self.each(|bytes| {
            all.extend_from_slice(bytes);
            Ok(())
        })?;
        Ok(all)
    }
}

impl From<Vec<u8>> for Pieces {
    fn from(bytes: Vec<u8>) -> Self {
        Self(vec![Piece::Made(bytes)])
    }
}

impl From<Vec<Vec<u8>>> for Pieces {
    fn from(pieces: Vec<Vec<u8>>) -> Self {
        Self(pieces.into_iter().map(Piece::Made).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::stamp;

    #[test]
    fn what_lies_in_a_file_is_read_and_written_and_refused_once_it_changed() {
        let folder = tempfile::tempdir().unwrap();
        let (old, new) = (folder.path().join("old"), folder.path().join("new"));
        let content: Vec<u8> = (0..3_000_000u32).map(|i| ((i * 7) >> 5) as u8).collect();
        std::fs::write(&old, &content).unwrap();
        let known = KnownFile::new(&old, stamp(&old).unwrap());
        let mut pieces = Pieces::from(b"head".to_vec());
        pieces.push_lying(&known, 10..1_500_000);
        pieces.push_lying(&known, 1_500_000..2_900_000);
        pieces.push(b"tail".to_vec());
        assert_eq!(pieces.0.len(), 3, "neighbours are one piece");
        let wanted = [b"head", &content[10..2_900_000], b"tail"].concat();
        let mut asked = 0;
        let mut file = File::create(&new).unwrap();
        let count = || {
            asked += 1;
            Ok(())
        };
        pieces.write(&mut file, count).unwrap();
        assert!(std::fs::read(&new).unwrap() == wanted && asked == 3, "written, {asked} pieces");
        assert!(pieces.clone().join().unwrap() == wanted && pieces.len() == wanted.len() as u64, "and joined");
        assert_eq!(known.read(10..14).unwrap(), content[10..14], "and read in part");
        std::fs::write(&old, &content[1..]).unwrap();
        assert!(pieces.clone().join().is_err() && known.read(10..14).is_err(), "not after it was written");
        assert!(pieces.write(&mut file, || Ok(())).is_err(), "neither to another file");
    }
}
