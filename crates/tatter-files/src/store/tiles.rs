//! Parts of pristine pictures as they were before something was laid there: a cache, safe to delete. One file a texture, to which
//! parts are only ever added.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufReader, Read as _, Seek as _, SeekFrom, Write as _};
use std::ops::Range;
use std::path::{Path, PathBuf};

use tatter_core::image::{ColorTags, Layout, Rect, Samples, Size, Stored};

/// First bytes of the file; the number counts layouts of it.
const MARK: &[u8; 8] = b"TATTILE1";
/// Bytes of what comes before the parts: mark, width, height, components, bits.
const HEAD: usize = 24;
/// Bytes before the samples of a part: its place and size, its hash.
const PART_HEAD: usize = 48;

/// What is kept of one texture, its index read.
#[derive(Debug)]
pub struct KeptTiles {
    path: PathBuf,
    size: Size,
    layout: Layout,
    bits: u8,
    /// By left, top, width and height: where the samples lie, and their hash.
    parts: BTreeMap<[usize; 4], (u64, [u8; 32])>,
    /// Behind the last whole part.
    end: u64,
}

/// Where the parts of a target with some content are kept. Two targets of one content have two files: each is written by its own.
pub(super) fn path(folder: &Path, target: &str, hash: &str) -> PathBuf {
    folder.join("reuse").join(file_name(target, hash))
}

pub(super) fn file_name(target: &str, hash: &str) -> String {
    format!("{}.tiles", super::hash_of(format!("{hash} {target}").as_bytes()))
}

fn key(part: Rect) -> [usize; 4] {
    [part.x, part.y, part.width, part.height]
}

/// Samples as they lie in the file: little-endian. `None` of floats, which are not kept.
fn bytes(samples: Samples) -> Option<Vec<u8>> {
    match samples {
        Samples::U8(samples) => Some(samples),
        Samples::U16(samples) => Some(samples.iter().flat_map(|sample| sample.to_le_bytes()).collect()),
        Samples::F16(_) | Samples::F32(_) => None,
    }
}

impl KeptTiles {
    /// The file of a picture, begun if need be; `None` of float pictures, which are not kept.
    pub(super) fn begin(path: &Path, like: &Stored) -> io::Result<Option<Self>> {
        if like.is_float() {
            return Ok(None);
        }
        if let Some(known) = Self::open(path).filter(|known| known.size == like.size && known.layout == like.layout) {
            return Ok(Some(known));
        }
        std::fs::create_dir_all(path.parent().unwrap_or(Path::new(".")))?;
        let mut head = MARK.to_vec();
        for number in [like.size.width, like.size.height, like.layout.components(), usize::from(like.bits())] {
            head.extend((number as u32).to_le_bytes());
        }
        std::fs::write(path, head)?;
        Ok(Self::open(path))
    }

    /// `None` when there is no such file, or it is not one of ours. A part that was cut short is not there.
    pub(super) fn open(path: &Path) -> Option<Self> {
        let file = File::open(path).ok()?;
        let length = file.metadata().ok()?.len();
        // The index is spread over the file: little is read at each place.
        let mut file = BufReader::with_capacity(PART_HEAD, file);
        let mut head = [0u8; HEAD];
        file.read_exact(&mut head).ok()?;
        let size = Size::new(number(&head, 8)?, number(&head, 12)?);
        let layout = [Layout::Gray, Layout::GrayAlpha, Layout::Rgb, Layout::Rgba]
            .into_iter()
            .find(|l| Some(l.components()) == number(&head, 16))?;
        let bits = number(&head, 20).and_then(|bits| u8::try_from(bits).ok()).filter(|bits| [8, 16].contains(bits))?;
        if &head[..8] != MARK || size.area() == 0 {
            return None;
        }
        let mut kept = Self { path: path.to_owned(), size, layout, bits, parts: BTreeMap::new(), end: HEAD as u64 };
        let mut head = [0u8; PART_HEAD];
        while file.read_exact(&mut head).is_ok() {
            let [Some(x), Some(y), Some(width), Some(height)] = [0, 4, 8, 12].map(|at| number(&head, at)) else { break };
            let (start, part) = (kept.end + PART_HEAD as u64, Rect::new(x, y, width, height));
            let end = start + kept.bytes_of(part);
            if part.size().area() == 0 || x + width > size.width || y + height > size.height || end > length {
                break;
            }
            kept.parts.insert(key(part), (start, *head.last_chunk()?));
            kept.end = end;
            file.seek(SeekFrom::Start(end)).ok()?;
        }
        Some(kept)
    }

    fn bytes_of(&self, part: Rect) -> u64 {
        (part.size().area() * self.layout.components() * usize::from(self.bits / 8)) as u64
    }

    /// Columns and rows.
    pub const fn size(&self) -> Size {
        self.size
    }

    /// Whether a part is kept.
    pub fn has(&self, part: Rect) -> bool {
        self.parts.contains_key(&key(part))
    }

    /// A picture of its kind and size, black: memory is taken only where something is laid.
    pub fn blank(&self) -> Stored {
        let like = if self.bits == 16 { Samples::U16(Vec::new()) } else { Samples::U8(Vec::new()) };
        Stored::zeros(self.size, self.layout, &like)
    }

    /// Keep those parts of a picture that are not kept yet. Not flushed: every part is known by its hash when it is read.
    pub(super) fn add(&self, stored: &Stored, parts: &[Rect]) -> io::Result<()> {
        let mut file = None;
        for &part in parts.iter().filter(|part| !self.has(**part)) {
            let Some(samples) = bytes(stored.crop(part).samples) else { return Ok(()) };
            let file = match &mut file {
                Some(file) => file,
                None => file.insert(self.at_end()?),
            };
            let place = key(part).into_iter().flat_map(|number| (number as u32).to_le_bytes());
            let head: Vec<u8> = place.chain(*blake3::hash(&samples).as_bytes()).collect();
            file.write_all(&head)?;
            file.write_all(&samples)?;
        }
        Ok(())
    }

    /// Ready to be written behind the last whole part: what was cut short goes.
    fn at_end(&self) -> io::Result<File> {
        let mut file = File::options().write(true).open(&self.path)?;
        file.set_len(self.end)?;
        file.seek(SeekFrom::End(0))?;
        Ok(file)
    }

    /// Lay all parts that reach some rows into a picture; `None` when one is damaged.
    pub fn lay(&self, rows: &[Range<usize>], into: &mut Stored) -> Option<()> {
        let mut file = File::open(&self.path).ok()?;
        for (&[x, y, width, height], (start, hash)) in &self.parts {
            if !rows.iter().any(|rows| rows.start < y + height && y < rows.end) {
                continue;
            }
            let part = Rect::new(x, y, width, height);
            file.seek(SeekFrom::Start(*start)).ok()?;
            let mut bytes = vec![0u8; self.bytes_of(part) as usize];
            file.read_exact(&mut bytes).ok()?;
            if blake3::hash(&bytes).as_bytes() != hash {
                return None;
            }
            let samples = match self.bits {
                16 => Samples::U16(bytes.as_chunks::<2>().0.iter().map(|pair| u16::from_le_bytes(*pair)).collect()),
                _ => Samples::U8(bytes),
            };
            into.paste(&Stored { size: part.size(), layout: self.layout, samples, tags: ColorTags::default() }, x, y);
        }
        Some(())
    }
}

fn number(bytes: &[u8], at: usize) -> Option<usize> {
    bytes.get(at..at + 4)?.first_chunk().map(|bytes| u32::from_le_bytes(*bytes) as usize)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_come_back_and_damaged_ones_do_not() {
        let folder = tempfile::tempdir().unwrap();
        for (name, like) in [("a", Samples::U8(Vec::new())), ("b", Samples::U16(Vec::new()))] {
            let mut stored = Stored::zeros(Size::new(70, 300), Layout::Rgb, &like);
            (0..70 * 300).for_each(|i| stored.set_value(i % 70, i / 70, i % 3, (i % 251) as f32 / 251.0));
            let path = path(folder.path(), name, "abc");
            let (first, second) = (Rect::new(0, 128, 64, 64), Rect::new(64, 192, 6, 64));
            let kept = KeptTiles::begin(&path, &stored).unwrap().unwrap();
            kept.add(&stored, &[first]).unwrap();
            // Half a part, as after a crash; the next one takes its place.
            let whole = std::fs::read(&path).unwrap();
            std::fs::write(&path, [&whole[..], &[0; 60]].concat()).unwrap();
            KeptTiles::open(&path).unwrap().add(&stored, &[first, second]).unwrap();
            let kept = KeptTiles::open(&path).unwrap();
            assert!(kept.has(first) && kept.has(second) && kept.parts.len() == 2, "both are kept, once");
            let mut got = kept.blank();
            let lay = |kept: &KeptTiles, rows: Range<usize>, into: &mut Stored| kept.lay(std::slice::from_ref(&rows), into);
            assert_eq!(lay(&kept, 130..140, &mut got), Some(()), "a part is read");
            assert_eq!(got.crop(first), stored.crop(first), "the one that reaches these rows");
            assert_eq!((got.value(66, 200, 0), got.value(0, 0, 0)), (0.0, 0.0), "and no other");
            let mut bytes = std::fs::read(&path).unwrap();
            let last = bytes.len() - 1;
            bytes[last] ^= 1;
            std::fs::write(&path, &bytes).unwrap();
            let kept = KeptTiles::open(&path).unwrap();
            assert_eq!((lay(&kept, 130..140, &mut got), lay(&kept, 250..256, &mut got)), (Some(()), None), "damage is seen");
            std::fs::write(&path, &bytes[..last]).unwrap();
            assert!(!KeptTiles::open(&path).unwrap().has(second), "a part cut short is not there");
            std::fs::write(&path, &bytes[..HEAD - 1]).unwrap();
            assert!(KeptTiles::open(&path).is_none(), "a file without its head is none of ours");
        }
    }
}
