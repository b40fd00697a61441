//! Pristine samples laid out so that some rows can be read without the others: a cache, safe to delete.

use std::borrow::Cow;
use std::fs::File;
use std::io::{self, BufWriter, Read as _, Seek as _, SeekFrom, Write as _};
use std::ops::Range;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tatter_core::image::{Layout, Rect, Samples, Size, Stored};
use tempfile::NamedTempFile;

/// First bytes of the file; the number counts layouts of it.
const MARK: &[u8; 8] = b"TATROWS1";
/// Rows that are hashed, and so read, together.
const STRIP: usize = 64;
/// Bytes of what comes before the samples, without the hashes: mark, width, height, components, bits.
const HEAD: usize = 24;

/// A file of rows, its head read.
#[derive(Debug)]
pub struct RowsFile {
    file: File,
    size: Size,
    layout: Layout,
    bits: u8,
    hashes: Vec<[u8; 32]>,
}

/// Where the rows of a content are kept.
pub(super) fn path(folder: &Path, hash: &str) -> PathBuf {
    folder.join("reuse").join(format!("{hash}.rows"))
}

/// Write all rows of a picture of whole numbers; float pictures are not kept.
pub(super) fn write(path: &Path, stored: &Stored) -> io::Result<()> {
    let row = stored.size.width * stored.layout.components();
    let strip = |first: usize| -> Option<Cow<'_, [u8]>> {
        let range = first * row..(first + STRIP).min(stored.size.height) * row;
        match &stored.samples {
            Samples::U8(samples) => Some(Cow::Borrowed(&samples[range])),
            Samples::U16(samples) if cfg!(target_endian = "little") => Some(Cow::Borrowed(bytemuck::cast_slice(&samples[range]))),
            Samples::U16(samples) => Some(samples[range].iter().flat_map(|sample| sample.to_le_bytes()).collect()),
            Samples::F16(_) | Samples::F32(_) => None,
        }
    };
    if stored.is_float() {
        return Ok(());
    }
    let folder = path.parent().unwrap_or(Path::new("."));
    std::fs::create_dir_all(folder)?;
    // A strip is longer than the buffer, and so written as it lies.
    let mut out = BufWriter::with_capacity(1 << 14, NamedTempFile::new_in(folder)?);
    out.write_all(MARK)?;
    for number in [stored.size.width, stored.size.height, stored.layout.components(), usize::from(stored.bits())] {
        out.write_all(&(number as u32).to_le_bytes())?;
    }
    let firsts: Vec<usize> = (0..stored.size.height).step_by(STRIP).collect();
    let hashes: Vec<[u8; 32]> = firsts.par_iter().filter_map(|&first| Some(*blake3::hash(&strip(first)?).as_bytes())).collect();
    out.write_all(hashes.as_flattened())?;
    for first in firsts {
        out.write_all(&strip(first).unwrap_or_default())?;
    }
    // Not flushed to the disk: every strip is known by its hash when it is read.
    let file = out.into_inner().map_err(io::IntoInnerError::into_error)?;
    file.persist(path)?;
    Ok(())
}

impl RowsFile {
    /// `None` when there is no such file, or it is not one of ours.
    pub(super) fn open(path: &Path) -> Option<Self> {
        let mut file = File::open(path).ok()?;
        let mut head = [0u8; HEAD];
        file.read_exact(&mut head).ok()?;
        let number = |at: usize| head.get(at..at + 4)?.first_chunk().map(|bytes| u32::from_le_bytes(*bytes) as usize);
        let size = Size::new(number(8)?, number(12)?);
        let layout = [Layout::Gray, Layout::GrayAlpha, Layout::Rgb, Layout::Rgba]
            .into_iter()
            .find(|l| Some(l.components()) == number(16))?;
        let bits = number(20).and_then(|bits| u8::try_from(bits).ok()).filter(|bits| [8, 16].contains(bits))?;
        let length = file.metadata().ok()?.len();
        let strips = size.height.div_ceil(STRIP);
        let samples = (size.area() * layout.components() * usize::from(bits / 8)) as u64;
        if &head[..8] != MARK || size.area() == 0 || length != (HEAD + 32 * strips) as u64 + samples {
            return None;
        }
        let mut hashes = vec![[0u8; 32]; strips];
        file.read_exact(hashes.as_flattened_mut()).ok()?;
        Some(Self { file, size, layout, bits, hashes })
    }

    /// A picture of its kind and size, black: memory is taken only where something is laid.
    pub fn blank(&self) -> Stored {
        let like = if self.bits == 16 { Samples::U16(Vec::new()) } else { Samples::U8(Vec::new()) };
        Stored::zeros(self.size, self.layout, &like)
    }

    /// Lay some rows into a picture made by [`RowsFile::blank`]; `None` when the file is damaged there.
    pub fn read(&mut self, rows: &Range<usize>, into: &mut Stored) -> Option<()> {
        let row = self.size.width * self.layout.components() * usize::from(self.bits / 8);
        for strip in rows.start / STRIP..rows.end.min(self.size.height).div_ceil(STRIP) {
            let first = strip * STRIP;
            let count = STRIP.min(self.size.height - first);
            let start = HEAD + 32 * self.hashes.len() + first * row;
            self.file.seek(SeekFrom::Start(start as u64)).ok()?;
            let mut bytes = vec![0u8; count * row];
            self.file.read_exact(&mut bytes).ok()?;
            if blake3::hash(&bytes).as_bytes() != &self.hashes[strip] {
                return None;
            }
            let samples = match self.bits {
                16 => Samples::U16(bytes.as_chunks::<2>().0.iter().map(|pair| u16::from_le_bytes(*pair)).collect()),
                _ => Samples::U8(bytes),
            };
            let size = Rect::new(0, 0, self.size.width, count).size();
            let part = Stored { size, layout: self.layout, samples, tags: tatter_core::image::ColorTags::default() };
            into.paste(&part, 0, first);
        }
        Some(())
    }

    /// Columns and rows.
    pub const fn size(&self) -> Size {
        self.size
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn some_rows_come_back_and_damaged_ones_do_not() {
        let folder = tempfile::tempdir().unwrap();
        for like in [Samples::U8(Vec::new()), Samples::U16(Vec::new())] {
            let mut stored = Stored::zeros(Size::new(70, 300), Layout::Rgb, &like);
            (0..70 * 300).for_each(|i| stored.set_value(i % 70, i / 70, i % 3, (i % 251) as f32 / 251.0));
            let path = path(folder.path(), "abc");
            write(&path, &stored).unwrap();
            let mut rows = RowsFile::open(&path).unwrap();
            let mut got = rows.blank();
            assert_eq!(rows.read(&(130..140), &mut got), Some(()), "rows are read");
            let part = Rect::new(0, 130, 70, 10);
            assert_eq!(got.crop(part), stored.crop(part), "the rows asked for");
            assert_eq!(got.value(0, 0, 0), 0.0, "and no others");
            let mut bytes = std::fs::read(&path).unwrap();
            let last = bytes.len() - 1;
            bytes[last] ^= 1;
            std::fs::write(&path, &bytes).unwrap();
            let mut rows = RowsFile::open(&path).unwrap();
            assert_eq!((rows.read(&(0..10), &mut got), rows.read(&(290..300), &mut got)), (Some(()), None), "damage is seen");
            std::fs::write(&path, &bytes[..last]).unwrap();
            assert!(RowsFile::open(&path).is_none(), "a file cut short is none of ours");
        }
    }
}
