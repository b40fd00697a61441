//! Delivering again after a small change: only what changed is computed, and the bytes are those of a build from nothing.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::workshop::{Tried, Workshop};
use serde_json::Value;

const JOB: &str = "smock.tatter.toml";

/// Five rips, delivered.
fn delivered() -> Tried<Workshop> {
    let shop = Workshop::with_job()?;
    let scatter = ["scatter", JOB, "--patch", "rip.patch", "--count", "5", "--scale", "0.2,0.3", "--only", "canvas"];
    let run = shop.run(&scatter)?;
    assert_eq!(run.code, Some(0), "{}", run.err);
    deliver(&shop)?;
    Ok(shop)
}

fn deliver(shop: &Workshop) -> Tried<Value> {
    let run = shop.run(&["deliver", JOB, "--json"])?;
    if run.code == Some(0) { run.json() } else { Err(format!("{:?}: {}", run.code, run.err).into()) }
}

/// Whether the whole was built: then what was pristine is put by.
fn whole(delivery: &Value) -> bool {
    delivery["seconds"]["keep"].is_number()
}

/// Textures as a build from nothing makes them; those that it leaves are as they were.
fn from_nothing(shop: &Workshop) -> Tried<BTreeMap<PathBuf, Vec<u8>>> {
    let reuse = shop.path("smock.tatter/reuse");
    let aside = shop.path("aside");
    std::fs::rename(&reuse, &aside)?;
    let run = shop.run(&["build", JOB, "-o", "scratch"])?;
    assert_eq!(run.code, Some(0), "{}", run.err);
    if reuse.exists() {
        std::fs::remove_dir_all(&reuse)?;
    }
    std::fs::rename(&aside, &reuse)?;
    let mut built = BTreeMap::new();
    for entry in std::fs::read_dir(shop.path("scratch"))? {
        let path = entry?.path();
        built.insert(Path::new("textures").join(path.file_name().unwrap_or_default()), std::fs::read(&path)?);
    }
    std::fs::remove_dir_all(shop.path("scratch"))?;
    Ok(built)
}

fn agree(shop: &Workshop, what: &str) -> Tried<()> {
    let (textures, wanted) = (shop.textures()?, from_nothing(shop)?);
    assert!(wanted.len() > 2, "{what}: {:?}", wanted.keys());
    for (path, bytes) in wanted {
        assert!(textures.get(&path) == Some(&bytes), "{what}: {} differs from a build from nothing", path.display());
    }
    Ok(())
}

fn edit(shop: &Workshop, change: impl FnOnce(String) -> String) -> Tried<()> {
    let text = std::fs::read_to_string(shop.path(JOB))?;
    Ok(std::fs::write(shop.path(JOB), change(text))?)
}

/// Another place for the second rip.
fn moved(text: String) -> String {
    let (head, own) = text.split_once("id = \"scatter-2\"").unwrap_or((&text, ""));
    let (before, after) = own.split_once("at = [").unwrap_or((own, ""));
    let rest = after.split_once(']').map_or("", |(_, rest)| rest);
    format!("{head}id = \"scatter-2\"{before}at = [0.11, 0.37]{rest}")
}

#[test]
fn a_moved_an_added_and_a_removed_placement_give_the_bytes_of_a_whole_build() {
    let shop = delivered().expect("a delivery");
    agree(&shop, "at first").expect("files");
    let before = shop.textures().expect("textures");
    edit(&shop, moved).expect("moved");
    let again = deliver(&shop).expect("delivered");
    assert!(!whole(&again), "only what changed is built: {again}");
    assert!(shop.textures().expect("textures") != before, "it moved");
    agree(&shop, "moved").expect("files");
    let reported = again["placements"].clone();

    assert_eq!(shop.run(&["place", JOB, "--remove", "scatter-4"]).expect("runs").code, Some(0), "removed");
    assert!(!whole(&deliver(&shop).expect("delivered")), "removed");
    agree(&shop, "removed").expect("files");
    let place = ["place", JOB, "--patch", "rip.patch", "--at", "0.2,0.2", "--size-mm", "60"];
    assert_eq!(shop.run(&place).expect("runs").code, Some(0), "added");
    assert!(!whole(&deliver(&shop).expect("delivered")), "added");
    agree(&shop, "added").expect("files");
    assert!(!whole(&deliver(&shop).expect("delivered")), "nothing changed, nothing is built");
    agree(&shop, "unchanged").expect("files");

    for _ in 0..3 {
        assert_eq!(shop.run(&["deliver", JOB, "--undo"]).expect("runs").code, Some(0), "taken back");
    }
    assert!(shop.textures().expect("textures") == before, "undo goes back to the first");
    edit(&shop, |text| text.replace("id = \"rip-1\"", "id = \"elbow\"")).expect("renamed");
    let whole_again = deliver(&shop).expect("delivered");
    assert!(whole(&whole_again), "the files are not those of the last build: all is built");
    agree(&shop, "after undo").expect("files");
    let of = |report: &Value, id: &str| report.as_array().and_then(|all| all.iter().find(|p| p["id"] == id).cloned());
    assert_eq!(of(&reported, "scatter-1"), of(&whole_again["placements"], "scatter-1"), "reports agree as well");
}

#[test]
fn what_else_changed_is_never_built_from_what_was_kept() {
    let shop = delivered().expect("a delivery");
    // The patch, the garment's description, wear, a kept file that is damaged, one that is cut short.
    let patch = shop.path("rip.patch/patch.toml");
    let text = std::fs::read_to_string(&patch).expect("the patch");
    std::fs::write(&patch, format!("{text}# measured anew\n")).expect("the patch");
    assert!(whole(&deliver(&shop).expect("delivered")), "all placements changed with their patch");
    edit(&shop, |text| text.replacen("[[placement]]", "[[placement]]\nmirror = true", 1)).expect("mirrored");
    assert!(!whole(&deliver(&shop).expect("delivered")), "one placement is no matter");
    agree(&shop, "mirrored").expect("files");
    // Killed between the delivery and its memory: what is remembered is of the files before.
    let last = shop.path("smock.tatter/reuse/last.json");
    let stale = std::fs::read(&last).expect("the memory");
    edit(&shop, |text| text.replacen("mirror = true", "mirror = false", 1)).expect("mirrored back");
    assert!(!whole(&deliver(&shop).expect("delivered")), "one placement is no matter");
    std::fs::write(&last, stale).expect("the memory before");
    edit(&shop, |text| text.replacen("mirror = false", "mirror = true", 1)).expect("mirrored");
    assert!(whole(&deliver(&shop).expect("delivered")), "the files are not those that are remembered");
    agree(&shop, "stale memory").expect("files");
    std::fs::write(&last, "{").expect("damaged");
    edit(&shop, moved).expect("moved");
    assert!(whole(&deliver(&shop).expect("delivered")), "a memory that cannot be read is none");
    agree(&shop, "damaged memory").expect("files");
    for entry in std::fs::read_dir(shop.path("smock.tatter/reuse")).expect("kept").flatten() {
        if entry.path().extension().is_some_and(|e| e == "tiles") {
            let mut tiles = std::fs::read(entry.path()).expect("tiles");
            let middle = tiles.len() / 2;
            tiles[middle] ^= 255;
            std::fs::write(entry.path(), tiles).expect("spoilt");
        }
    }
    edit(&shop, |text| text.replace("at = [0.11, 0.37]", "at = [0.2, 0.25]")).expect("moved");
    deliver(&shop).expect("delivered");
    agree(&shop, "damaged tiles").expect("files");
    edit(&shop, |text| text.replace("at = [0.2, 0.25]", "at = [0.15, 0.3]")).expect("moved");
    assert!(!whole(&deliver(&shop).expect("delivered")), "they were put by anew");
    agree(&shop, "after damaged tiles").expect("files");
    assert_eq!(shop.run(&["wear", JOB, "fade"]).expect("runs").code, Some(0), "worn");
    assert!(!shop.run(&["deliver", JOB]).expect("runs").err.contains("reuse"), "nothing is said of it");
    agree(&shop, "worn").expect("files");
}

/// Turn a bit of the last byte of a file, which no band holds.
fn spoil(path: &Path) -> Tried<Vec<u8>> {
    let bytes = std::fs::read(path)?;
    let mut spoilt = bytes.clone();
    *spoilt.last_mut().ok_or("an empty file")? ^= 1;
    std::fs::write(path, spoilt)?;
    Ok(bytes)
}

#[test]
fn a_file_changed_by_another_that_kept_its_length_is_neither_built_on_nor_replaced() {
    let shop = delivered().expect("a delivery");
    let map = shop.path("textures/canvas_roughness.png");
    let own = spoil(&map).expect("a texture");
    let before = shop.textures().expect("textures");
    edit(&shop, moved).expect("moved");
    let refused = shop.run(&["deliver", JOB]).expect("runs");
    assert!(refused.code == Some(2) && refused.err.contains("canvas_roughness.png"), "{:?}: {}", refused.code, refused.err);
    assert!(shop.textures().expect("textures") == before, "nothing was replaced");
    std::fs::write(&map, own).expect("put back");
    assert!(!whole(&deliver(&shop).expect("delivered")), "put back, only what changed is built");
    agree(&shop, "put back").expect("files");

    let build = |shop: &Workshop| shop.run(&["build", JOB, "--json"]).and_then(|run| run.json()).expect("built");
    build(&shop);
    assert_eq!(
        shop.run(&["deliver", JOB, "--undo"]).expect("runs").code,
        Some(0),
        "taken back: what was built last lies elsewhere"
    );
    let built = shop.path("smock.tatter/built/canvas_roughness.png");
    edit(&shop, |text| text.replace("at = [0.11, 0.37]", "at = [0.2, 0.25]")).expect("moved");
    assert!(!whole(&build(&shop)), "what was built is built on");
    spoil(&built).expect("a built texture");
    edit(&shop, |text| text.replace("at = [0.2, 0.25]", "at = [0.15, 0.3]")).expect("moved");
    assert!(whole(&build(&shop)), "what somebody else changed is not");
    assert_eq!(
        std::fs::read(&built).expect("built"),
        from_nothing(&shop).expect("built")[Path::new("textures/canvas_roughness.png")],
        "and it is as from nothing"
    );
}
