//! Bytes from outside: files beside a mesh, data addresses, percent signs.

use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use super::MeshError;
use crate::limits::Limits;

/// All bytes of a plain file within the limits. `mesh` is the file the person named.
pub(super) fn read_file(file: &Path, mesh: &Path, limits: &Limits) -> Result<Vec<u8>, MeshError> {
    let failed = |reason: String| {
        if file == mesh {
            MeshError::Unreadable { reason, path: mesh.to_owned() }
        } else {
            let name = file.strip_prefix(mesh.parent().unwrap_or(Path::new(""))).unwrap_or(file);
            MeshError::MissingData { file: name.display().to_string(), reason, path: mesh.to_owned() }
        }
    };
    // Asked before opening: opening a pipe would wait for ever.
    let about = std::fs::metadata(file).map_err(|e| failed(reason(&e)))?;
    if !about.is_file() {
        return Err(failed("it is not a plain file".into()));
    }
    let too_large = || MeshError::TooLarge { what: "bytes", limit: limits.max_file_bytes, path: mesh.to_owned() };
    if about.len() > limits.max_file_bytes {
        return Err(too_large());
    }
    let opened = File::open(file).map_err(|e| failed(reason(&e)))?;
    let mut bytes = Vec::with_capacity(about.len() as usize);
    opened.take(limits.max_file_bytes + 1).read_to_end(&mut bytes).map_err(|e| failed(reason(&e)))?;
    if bytes.len() as u64 > limits.max_file_bytes { Err(too_large()) } else { Ok(bytes) }
}

fn reason(error: &std::io::Error) -> String {
    match error.kind() {
        std::io::ErrorKind::NotFound => "it does not exist".into(),
        std::io::ErrorKind::PermissionDenied => "it may not be read".into(),
        _ => error.to_string(),
    }
}

/// What an address in a mesh file means.
#[derive(Debug, PartialEq)]
pub(super) enum Address {
    /// A file relative to the mesh, `/` between folders.
    Relative(String),
    /// The bytes themselves, with their media type.
    Data(String, Vec<u8>),
    /// Somewhere else: a network address or an absolute path; never followed.
    Elsewhere,
}

/// Reads an address (RFC 3986 relative reference, or RFC 2397 data). `None` when a data address is malformed.
pub(super) fn address(uri: &str) -> Option<Address> {
    if let Some(data) = uri.strip_prefix("data:") {
        let (head, body) = data.split_once(',')?;
        let mut words = head.split(';');
        let media = words.next().unwrap_or_default().to_lowercase();
        if !words.any(|word| word.eq_ignore_ascii_case("base64")) {
            return Some(Address::Data(media, percent_decoded(body)));
        }
        return Some(Address::Data(media, base64(body.as_bytes())?));
    }
    let decoded = String::from_utf8(percent_decoded(uri)).ok()?;
    Some(relative(&decoded).map_or(Address::Elsewhere, Address::Relative))
}

/// A path as written by any system, as a relative one with `/`; `None` when it is absolute or a network address.
pub(super) fn relative(written: &str) -> Option<String> {
    let path = written.replace('\\', "/");
    let scheme = path.split('/').next().is_some_and(|first| first.contains(':'));
    if scheme || path.starts_with('/') || path.is_empty() || path.contains('\0') {
        return None;
    }
    let mut words: Vec<&str> = Vec::new();
    for word in path.split('/') {
        match word {
            "" | "." => {}
            ".." if words.last().is_some_and(|last| *last != "..") => {
                words.pop();
            }
            _ => words.push(word),
        }
    }
    (!words.is_empty()).then(|| words.join("/"))
}

/// The folder of a mesh with a relative path appended.
pub(super) fn beside(mesh: &Path, relative: &str) -> PathBuf {
    mesh.parent().unwrap_or(Path::new("")).join(relative)
}

fn percent_decoded(text: &str) -> Vec<u8> {
    let bytes = text.as_bytes();
    let mut out = Vec::with_capacity(bytes.len());
    let mut i = 0;
    while i < bytes.len() {
        let pair = bytes.get(i + 1..i + 3).and_then(|pair| std::str::from_utf8(pair).ok());
        match pair.filter(|_| bytes[i] == b'%').and_then(|pair| u8::from_str_radix(pair, 16).ok()) {
            Some(byte) => {
                out.push(byte);
                i += 3;
            }
            None => {
                out.push(bytes[i]);
                i += 1;
            }
        }
    }
    out
}

/// RFC 4648 section 4, padding optional.
fn base64(text: &[u8]) -> Option<Vec<u8>> {
    let text = text.trim_ascii_end();
    let end = text.iter().rposition(|&c| c != b'=').map_or(0, |i| i + 1);
    let mut out = Vec::with_capacity(end / 4 * 3 + 3);
    for group in text[..end].chunks(4) {
        let mut word = 0_u32;
        for &c in group {
            let six = match c {
                b'A'..=b'Z' => c - b'A',
                b'a'..=b'z' => c - b'a' + 26,
                b'0'..=b'9' => c - b'0' + 52,
                b'+' | b'-' => 62,
                b'/' | b'_' => 63,
                _ => return None,
            };
            word = word << 6 | u32::from(six);
        }
        let missing = 4 - group.len();
        if missing == 3 {
            return None;
        }
        word <<= 6 * missing;
        out.extend_from_slice(&word.to_be_bytes()[1..4 - missing]);
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_of_the_standard() {
        // RFC 4648, section 10.
        for (code, plain) in
            [("", ""), ("Zg==", "f"), ("Zm8=", "fo"), ("Zm9v", "foo"), ("Zm9vYg", "foob"), ("Zm9vYmFy", "foobar")]
        {
            assert_eq!(base64(code.as_bytes()).as_deref(), Some(plain.as_bytes()), "{code}");
        }
        assert_eq!(base64(b"Zg*="), None, "a star is no letter of it");
    }

    #[test]
    fn addresses_stay_beside_the_mesh() {
        let file = |s: &str| Some(Address::Relative(s.into()));
        assert_eq!(address("Box%20With%20Spaces.bin"), file("Box With Spaces.bin"), "percent signs");
        assert_eq!(address("Box With Spaces.bin"), file("Box With Spaces.bin"), "bare spaces");
        assert_eq!(address(".bin"), file(".bin"), "a name that is all extension");
        assert_eq!(address("./a/../textures\\cloth.png"), file("textures/cloth.png"), "dots and backslashes");
        assert_eq!(address("../shared/cloth.png"), file("../shared/cloth.png"), "one folder up is legal");
        assert_eq!(address("100%.png"), file("100%.png"), "a percent sign that is only that");
        for elsewhere in ["https://a.test/x.bin", "file:///x", "/x.png", "C:\\x.png", ":", ""] {
            assert_eq!(address(elsewhere), Some(Address::Elsewhere), "{elsewhere} is not followed");
        }
    }
}
