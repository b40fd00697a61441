//! Ways from one place on the disk to another, as job files write them.

use std::path::{Component, Path, PathBuf};

/// The way from a folder to a target, `/` between folders; `None` when none leads there (another drive).
///
/// A target that lies below the folder as both are written is named as written, links included. Otherwise links are resolved
/// first, since the system resolves `..` that way; the target keeps its own last name. What does not exist yet is taken as
/// written.
pub(crate) fn relative(folder: &Path, target: &Path) -> Option<String> {
    // A bare file name has an empty parent, which is the current folder.
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let (from, to) = (std::path::absolute(folder).ok()?, std::path::absolute(target).ok()?);
    if !turns_back(&from)
        && !turns_back(&to)
        && let Ok(below) = to.strip_prefix(&from)
    {
        return joined(0, below.components());
    }
    let (from, to) = (resolved(&from), resolved_folder(&to));
    let shared = from.components().zip(to.components()).take_while(|(a, b)| a == b).count();
    if shared == 0 {
        return None;
    }
    joined(from.components().count() - shared, to.components().skip(shared))
}

fn turns_back(path: &Path) -> bool {
    path.components().any(|part| part == Component::ParentDir)
}

fn joined<'a>(up: usize, down: impl Iterator<Item = Component<'a>>) -> Option<String> {
    let up = std::iter::repeat_n(Some("..".to_owned()), up);
    let parts: Option<Vec<String>> = up.chain(down.map(|part| part.as_os_str().to_str().map(str::to_owned))).collect();
    Some(parts?.join("/"))
}

/// Links and `..` resolved as far as the path exists; the rest by its text.
pub(crate) fn resolved(path: &Path) -> PathBuf {
    if let Ok(whole) = path.canonicalize() {
        return whole;
    }
    match (path.parent(), path.components().next_back()) {
        (Some(parent), Some(Component::ParentDir)) => {
            let mut up = resolved(parent);
            up.pop();
            up
        }
        (Some(parent), Some(last)) => resolved(parent).join(last),
        _ => path.to_owned(),
    }
}

/// [`resolved`] but for the last name, which may itself be a link that the person chose.
fn resolved_folder(path: &Path) -> PathBuf {
    match (path.parent(), path.components().next_back()) {
        (Some(parent), Some(Component::Normal(name))) => resolved(parent).join(name),
        _ => resolved(path),
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::disallowed_methods, reason = "a test of paths needs a scratch folder")]
    use super::*;

    #[test]
    fn ways_between_folders_that_need_not_exist() {
        for (folder, target, way) in [
            ("a/b", "a/b/p.patch", "p.patch"),
            ("a/b", "a/c/./p.patch", "../c/p.patch"),
            ("", "q/../p.patch", "p.patch"),
            ("a", "a", ""),
        ] {
            assert_eq!(relative(Path::new(folder), Path::new(target)).as_deref(), Some(way), "{folder} to {target}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn the_way_leads_there_through_links() {
        let scratch = tempfile::tempdir().expect("a folder");
        let root = scratch.path();
        for folder in ["shelf/far/jobs", "cloth/rip.patch", "near"] {
            std::fs::create_dir_all(root.join(folder)).expect("a folder");
        }
        std::os::unix::fs::symlink(root.join("shelf/far/jobs"), root.join("jobs")).expect("a link");
        std::os::unix::fs::symlink(root.join("cloth"), root.join("near/cloth")).expect("a link");
        std::os::unix::fs::symlink(root.join("cloth/rip.patch"), root.join("near/newest.patch")).expect("a link");
        for (folder, target, way) in [
            // Out of a linked folder `..` leads to where the folder really lies.
            ("jobs", "cloth/rip.patch", "../../../cloth/rip.patch"),
            // Below the folder a link stays as the person wrote it.
            ("near", "near/cloth/rip.patch", "cloth/rip.patch"),
            // So does the name of the target itself.
            ("cloth", "near/newest.patch", "../near/newest.patch"),
            // A folder that is a link reached from outside is resolved.
            ("shelf", "near/cloth/rip.patch", "../cloth/rip.patch"),
        ] {
            let found = relative(&root.join(folder), &root.join(target)).expect("a way");
            assert_eq!(found, way, "{folder} to {target}");
            let (there, here) = (root.join(folder).join(&found).canonicalize(), root.join(target).canonicalize());
            assert_eq!(there.expect("it leads somewhere"), here.expect("it is there"), "the system goes the same way");
        }
    }
}
