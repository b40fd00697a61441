//! A file read piece by piece: what is decoded as it comes need not lie in memory whole.

use std::fs::File;
use std::io::{self, BufRead, ErrorKind, Read, Seek, SeekFrom};
use std::path::Path;

use super::{Limits, PictureError};

/// Bytes read at once: several times what a system call costs, and still in the nearer caches.
const PIECE: usize = 1 << 17;

/// Reads a file from its start to its end, and hashes it on the way if asked to.
pub(super) struct Stream {
    file: File,
    buffer: Vec<u8>,
    /// What of the buffer was not taken yet.
    left: std::ops::Range<usize>,
    hasher: Option<blake3::Hasher>,
}

impl Stream {
    /// At the first byte. Refuses files that are longer than the limit.
    pub(super) fn open(path: &Path, limits: &Limits, hashed: bool) -> Result<Self, PictureError> {
        let (file, asked) = super::opened(path)?;
        let allowed = limits.max_file_bytes;
        if asked > allowed {
            return Err(PictureError::TooLarge { what: "bytes of file", asked, allowed, path: path.to_path_buf() });
        }
        Ok(Self { file, buffer: vec![0; PIECE], left: 0..0, hasher: hashed.then(blake3::Hasher::new) })
    }

    /// Read what is left, and give the hash of the whole, hexadecimal, and its length. Nothing was hashed: `None`.
    pub(super) fn finish(mut self) -> io::Result<Option<(String, u64)>> {
        while !self.fill_buf()?.is_empty() {
            self.left = 0..0;
        }
        Ok(self.hasher.map(|hasher| (hasher.finalize().to_hex().to_string(), hasher.count())))
    }
}

impl BufRead for Stream {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.left.is_empty() {
            let count = loop {
                match self.file.read(&mut self.buffer) {
                    Err(error) if error.kind() == ErrorKind::Interrupted => {}
                    other => break other?,
                }
            };
            self.left = 0..count;
            if let Some(hasher) = &mut self.hasher {
                hasher.update(&self.buffer[..count]);
            }
        }
        Ok(&self.buffer[self.left.clone()])
    }

    fn consume(&mut self, count: usize) {
        self.left.start = (self.left.start + count).min(self.left.end);
    }
}

impl Read for Stream {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.fill_buf()?.read(into)?;
        self.consume(count);
        Ok(count)
    }
}

impl Seek for Stream {
    /// The PNG reader asks for the ability and makes no use of it.
    fn seek(&mut self, _: SeekFrom) -> io::Result<u64> {
        Err(ErrorKind::Unsupported.into())
    }
}
