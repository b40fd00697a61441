//! The document and its bytes: GLB chunks, files beside the mesh, data addresses.

use std::path::Path;

use super::Fault;
use super::json::Document;
use crate::limits::Limits;
use crate::mesh::MeshError;
use crate::mesh::source::{Address, address, beside, read_file};

const CHUNK_JSON: u32 = 0x4E4F_534A;
const CHUNK_BIN: u32 = 0x004E_4942;

/// Extensions that may be required without changing what is read here.
const UNDERSTOOD: [&str; 4] = ["KHR_texture_transform", "KHR_mesh_quantization", "EXT_texture_webp", "KHR_texture_basisu"];

/// A parsed document with the bytes of its buffers.
#[derive(Debug)]
pub(super) struct Loaded {
    pub(super) document: Document,
    pub(super) buffers: Vec<Vec<u8>>,
}

impl Loaded {
    pub(super) fn new(path: &Path, bytes: Vec<u8>, limits: &Limits) -> Result<Self, Fault> {
        let (json, bin) = if bytes.starts_with(b"glTF") { chunks(&bytes)? } else { (&bytes[..], None) };
        let json = json.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(json);
        let document: Document =
            serde_json::from_slice(json).map_err(|e| Fault::damaged(format!("its description is not valid glTF ({e})")))?;
        check(&document)?;
        let mut buffers = Vec::with_capacity(document.buffers.len());
        let mut total = 0_u64;
        for number in 0..document.buffers.len() {
            let buffer = buffer(path, &document, number, bin, limits)?;
            total += buffer.len() as u64;
            if total > limits.max_bytes {
                let error = MeshError::TooLarge { what: "bytes", limit: limits.max_bytes, path: path.to_owned() };
                return Err(Fault::Whole(error));
            }
            buffers.push(buffer);
        }
        Ok(Self { document, buffers })
    }

    /// The bytes of a buffer view and its stride (0: tight).
    pub(super) fn view(&self, number: usize) -> Result<(&[u8], usize), Fault> {
        let gone = || Fault::damaged(format!("buffer view {number} reaches outside its buffer"));
        let view =
            self.document.buffer_views.get(number).ok_or_else(|| Fault::damaged(format!("there is no buffer view {number}")))?;
        if view.extensions.meshopt.is_some() {
            return Err(Fault::Unsupported("compressed geometry (EXT_meshopt_compression)".into()));
        }
        let buffer =
            self.buffers.get(view.buffer).ok_or_else(|| Fault::damaged(format!("there is no buffer {}", view.buffer)))?;
        let end = view.byte_offset.checked_add(view.byte_length).ok_or_else(gone)?;
        Ok((buffer.get(view.byte_offset..end).ok_or_else(gone)?, view.byte_stride))
    }
}

fn check(document: &Document) -> Result<(), Fault> {
    let version = document.asset.min_version.as_ref().unwrap_or(&document.asset.version);
    if version != "2.0" && !(document.asset.min_version.is_none() && version.starts_with("2.")) {
        let short: String = version.chars().take(20).collect();
        return Err(Fault::Unsupported(format!("glTF version {short}")));
    }
    for name in &document.extensions_required {
        if !UNDERSTOOD.contains(&name.as_str()) && !name.starts_with("KHR_materials_") {
            return Err(Fault::Unsupported(format!("the required extension {}", name.chars().take(60).collect::<String>())));
        }
    }
    Ok(())
}

/// The JSON and the binary chunk of a GLB container.
fn chunks(bytes: &[u8]) -> Result<(&[u8], Option<&[u8]>), Fault> {
    let word = |at: usize| bytes.get(at..at + 4).map(|b| u32::from_le_bytes([b[0], b[1], b[2], b[3]]));
    let cut_off = || Fault::damaged("the GLB file is cut off");
    if word(4).ok_or_else(cut_off)? != 2 {
        return Err(Fault::Unsupported("a GLB container of another version than 2".into()));
    }
    let (mut json, mut bin) = (None, None);
    let mut at = 12;
    while at + 8 <= bytes.len() {
        let length = word(at).ok_or_else(cut_off)? as usize;
        let kind = word(at + 4).ok_or_else(cut_off)?;
        let chunk = bytes.get(at + 8..at + 8 + length).ok_or_else(cut_off)?;
        match kind {
            CHUNK_JSON if json.is_none() => json = Some(chunk),
            CHUNK_BIN if bin.is_none() => bin = Some(chunk),
            _ => {}
        }
        at += 8 + length;
    }
    Ok((json.ok_or_else(|| Fault::damaged("the GLB file has no description"))?, bin))
}

fn buffer(path: &Path, document: &Document, number: usize, bin: Option<&[u8]>, limits: &Limits) -> Result<Vec<u8>, Fault> {
    let entry = &document.buffers[number];
    let mut bytes = match entry.uri.as_deref() {
        None if number == 0 => bin.map(<[u8]>::to_vec).unwrap_or_default(),
        None => Vec::new(),
        Some(uri) => match address(uri) {
            Some(Address::Data(_, bytes)) => bytes,
            Some(Address::Relative(file)) => read_file(&beside(path, &file), path, limits).map_err(Fault::Whole)?,
            Some(Address::Elsewhere) => {
                return Err(Fault::Unsupported(format!("data at \"{}\"", uri.chars().take(60).collect::<String>())));
            }
            None => return Err(Fault::damaged(format!("the data of buffer {number} is not valid base64"))),
        },
    };
    if bytes.len() < entry.byte_length {
        let (has, wants) = (bytes.len(), entry.byte_length);
        return Err(Fault::damaged(format!("buffer {number} has {has} bytes where {wants} are promised")));
    }
    bytes.truncate(entry.byte_length);
    Ok(bytes)
}
