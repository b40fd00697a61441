//! A photo that is cut again, told otherwise: nothing is looked for anew that can't have changed, and every byte is as from nothing.
#![expect(clippy::disallowed_methods, reason = "a test of files needs a scratch folder")]

use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;

use tatter::cutting::{Cutting, Existing, Told};
use tatter_core::image::{Coding, Depth, Map, Stored, Transfer};
use tatter_core::model::{OtherShots, Scale, Stroke, StrokeKind};
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_files::picture::{Effort, PictureFormat, encode};
use tatter_testkit::scene::Spec;
use tatter_weave::Kind;

type Tried<T> = Result<T, Box<dyn Error>>;

fn files(cutting: &Cutting, told: &Told, folder: &Path, ready: bool) -> Tried<BTreeMap<String, Vec<u8>>> {
    let preview = ready.then(|| cutting.preview(told, None, &Task::new())).transpose()?;
    cutting.accept(told, preview.as_ref(), folder, Existing::Replaced, &Task::new())?;
    let read = |file: std::fs::DirEntry| Ok((file.file_name().to_string_lossy().into_owned(), std::fs::read(file.path())?));
    std::fs::read_dir(folder)?.map(|file| file.map_err(Into::into).and_then(read)).collect()
}

#[test]
fn a_ruler_line_looks_for_nothing_anew_and_every_byte_is_as_from_nothing() -> Tried<()> {
    let scratch = tempfile::tempdir()?;
    let photo = scratch.path().join("rip.png");
    let scene = Spec::injured("canvas", 256, 9.0, Kind::Rip, [60.0, 20.0]).shoot();
    let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
    let stored = Stored::from_map(&Map::Color(scene.photo), &coding, Depth::Eight);
    std::fs::write(&photo, encode(&stored, PictureFormat::Png, Effort::Fast)?)?;
    let fresh = || Cutting::read(&photo, &OtherShots::default(), &Task::new());
    let cutting = fresh()?;
    cutting.preview(&Told::default(), None, &Task::new())?;

    let mut told = Told::default();
    told.recipe.scale = Scale::Ruler { from: [10.0, 20.0], to: [210.0, 20.0], length: Mm(20.0) };
    told.recipe.upright = true;
    let isolated = |task: &Task| task.seconds().iter().any(|(stage, _)| stage == "isolate");
    let (again, first) = (Task::new(), Task::new());
    let kept = cutting.preview(&told, None, &again)?;
    let anew = fresh()?.preview(&told, None, &first)?;
    assert!(!isolated(&again) && isolated(&first), "a ruler line moves no outline");
    assert_eq!(kept.notes, anew.notes, "what was said before is said again");

    let stroke = Stroke { kind: StrokeKind::Damage, points: vec![[128.0, 100.0], [140.0, 100.0]], radius: 6.0 };
    let mut more = told.clone();
    more.recipe.strokes.push(stroke);
    let task = Task::new();
    cutting.preview(&more, None, &task)?;
    assert!(isolated(&task), "a stroke may");
    for (number, told) in [told, more].iter().enumerate() {
        let one = files(&cutting, told, &scratch.path().join(format!("again/{number}/rip.patch")), true)?;
        let other = files(&fresh()?, told, &scratch.path().join(format!("fresh/{number}/rip.patch")), false)?;
        assert!(one.len() > 5 && one == other, "byte for byte");
    }
    Ok(())
}
