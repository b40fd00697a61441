//! Files around a mesh: what lies in its folder, and textures taken out of it.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use super::{Material, TextureSource};

/// Most files looked at in one folder tree, so that a wrong folder (a whole disk) ends soon.
const MOST_FILES: usize = 2000;

/// Files with one of these endings (lower case) in a folder and down to `depth` folders below, sorted by path. Hidden
/// folders, and folders of our own (`NAME.patch`, `NAME.tatter`), are passed over.
///
/// # Errors
/// When the folder itself cannot be listed.
pub fn find_files(folder: &Path, endings: &[&str], depth: usize) -> std::io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    let mut left = MOST_FILES;
    let mut folders = vec![(folder.to_owned(), 0)];
    while let Some((at, level)) = folders.pop() {
        let listing = match fs::read_dir(&at) {
            Ok(listing) => listing,
            Err(error) if level == 0 => return Err(error),
            Err(_) => continue,
        };
        let mut paths: Vec<PathBuf> = listing.filter_map(|entry| Some(entry.ok()?.path())).collect();
        paths.sort();
        for path in paths {
            let name = path.file_name().unwrap_or_default().to_string_lossy().to_lowercase();
            if path.is_dir() {
                let ours = [".patch", ".tatter"].iter().any(|ending| name.ends_with(ending)) || name.starts_with('.');
                if level < depth && !ours {
                    folders.push((path, level + 1));
                }
            } else if left > 0 && path.extension().is_some_and(|e| endings.iter().any(|wanted| e.eq_ignore_ascii_case(wanted))) {
                left -= 1;
                found.push(path);
            }
        }
    }
    found.sort();
    Ok(found)
}

/// Writes the textures inside a mesh file as files into `folder`, and makes the materials name them by the path that
/// `written` returns. A file that is there with the same bytes is used; one with other bytes is never written over.
///
/// # Errors
/// When the folder or a file cannot be written, or a file of that name holds something else.
pub fn unpack_textures(
    materials: &mut [Material],
    folder: &Path,
    written: impl Fn(&Path) -> String,
) -> std::io::Result<Vec<PathBuf>> {
    let mut paths = Vec::new();
    let mut done: Vec<(TextureSource, PathBuf)> = Vec::new();
    for texture in materials.iter_mut().flat_map(|m| &mut m.textures) {
        let TextureSource::Embedded { name, extension, bytes } = &texture.source else { continue };
        let path = match done.iter().find(|(source, _)| *source == texture.source) {
            Some((_, path)) => path.clone(),
            None => {
                let taken = |path: &Path| done.iter().any(|(_, other)| other == path);
                let plain = folder.join(format!("{name}.{extension}"));
                let other = (2..).map(|n| folder.join(format!("{name}-{n}.{extension}"))).find(|path| !taken(path));
                let path = if taken(&plain) { other.unwrap_or(plain) } else { plain };
                fs::create_dir_all(folder)?;
                write_new(&path, bytes)?;
                paths.push(path.clone());
                done.push((texture.source.clone(), path.clone()));
                path
            }
        };
        texture.source = TextureSource::File(written(&path));
    }
    Ok(paths)
}

fn write_new(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    match fs::File::create_new(path) {
        Ok(mut file) => {
            file.write_all(bytes)?;
            file.sync_all()
        }
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists && fs::read(path)? == bytes => Ok(()),
        Err(error) => Err(error),
    }
}
