//! Where a garment may be handed on: never among its own files.

use std::path::{Component, Path, PathBuf};

use super::{HandoffFailed, HandoffKind};
use crate::paths::resolved;
use crate::session::Session;

/// Refuse folders of the garment's own textures, of what is delivered, and of what the job keeps; and the mesh itself.
pub(super) fn check(session: &Session, kind: HandoffKind, output: &Path) -> Result<(), HandoffFailed> {
    let absolute = |path: &Path| resolved(&std::path::absolute(path).unwrap_or_else(|_| path.to_owned()));
    let output = absolute(output);
    let folder = match kind {
        HandoffKind::Maps => output.clone(),
        HandoffKind::Glb | HandoffKind::Gltf | HandoffKind::MaterialX => output.parent().map(Path::to_owned).unwrap_or_default(),
    };
    let refuse = |what| Err(HandoffFailed::OwnFolder { what, folder: folder.clone() });
    let home = session.folder();
    if session.job.garment.mesh.as_ref().is_some_and(|mesh| absolute(&home.join(mesh)) == output) {
        return Err(HandoffFailed::OwnFolder { what: "the mesh", folder: output });
    }
    let files = || session.garment.sets.iter().flat_map(|set| &set.files);
    let parent = |path: PathBuf| absolute(&path).parent().map(Path::to_owned);
    if files().any(|file| parent(home.join(&file.path)).as_ref() == Some(&folder)) {
        return refuse("textures");
    }
    if files().any(|file| parent(home.join(session.target(&file.path))).as_ref() == Some(&folder)) {
        return refuse("delivered textures");
    }
    if folder.starts_with(absolute(session.store.folder())) || folder.components().any(is_patch) {
        return refuse("kept files");
    }
    Ok(())
}

/// A patch folder is replaced whole when it is cut again.
fn is_patch(part: Component<'_>) -> bool {
    part.as_os_str().to_string_lossy().ends_with(".patch")
}
