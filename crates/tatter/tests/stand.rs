//! A garment on its stand: what is changed step by step looks as what is laid at once.
#![expect(clippy::disallowed_methods, reason = "a garment is made in a folder of its own")]

use std::path::Path;
use std::sync::Arc;

use glam::{Vec2, Vec3};
use tatter::session::SessionError;
use tatter::stand::{Brush, Dresser, Fineness, Form, State, Textures, View};
use tatter::weave::{Damage, Kind, WeaveRequest, stock, weave};
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::image::{ColorTags, Layout, LinearRgb, Samples, Size, Stored};
use tatter_core::mesh::{Mesh, Part};
use tatter_core::model::{Density, Job, PatchRef, Placement, Spot, Wear, WearKind};
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_files::job::read_job;
use tatter_files::mesh::{MaterialToWrite, write_glb};
use tatter_files::picture::{Effort, PictureFormat, encode};

/// No power of two and no whole blocks of 64: halvings at the edges have to come out, too.
const MAP: usize = 360;

/// A tube, 300 mm high and as far round as 500.
fn tube() -> Part {
    let (around, up) = (48u32, 16u32);
    let mut part = Part { name: "sleeve".into(), material: "canvas".into(), ..Part::default() };
    for (j, i) in (0..=up).flat_map(|j| (0..=around).map(move |i| (j, i))) {
        let (u, v) = (i as f32 / around as f32, j as f32 / up as f32);
        let angle = (i % around) as f32 / around as f32 * std::f32::consts::TAU;
        let out = Vec3::new(-angle.sin(), 0.0, -angle.cos());
        part.positions.push(0.08 * out + Vec3::Y * (0.3 - 0.3 * v));
        part.normals.push(out);
        part.uvs.push(Vec2::new(u, v));
        if i < around && j < up {
            let a = j * (around + 1) + i;
            let b = a + around + 1;
            part.triangles.extend([[a, b, a + 1], [a + 1, b, b + 1]]);
        }
    }
    part
}

fn map(layout: Layout, f: impl Fn(u8) -> [u8; 3]) -> Stored {
    let texels = (0..MAP * MAP).map(|at| f((((at % MAP) / 3 + at / MAP / 3) % 2) as u8));
    let samples: Vec<u8> = texels.flat_map(|texel| texel.into_iter().take(layout.components())).collect();
    Stored { size: Size::new(MAP, MAP), layout, samples: Samples::U8(samples), tags: ColorTags::default() }
}

fn make(folder: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let material = MaterialToWrite { name: "canvas".into(), ..MaterialToWrite::default() };
    std::fs::write(folder.join("sleeve.glb"), write_glb(&Mesh { parts: vec![tube()] }, &[material]))?;
    let maps = [
        (Channel::BaseColor, map(Layout::Rgb, |weave| [150 + 40 * weave, 120, 80])),
        (Channel::Normal, map(Layout::Rgb, |weave| [108 + 40 * weave, 128, 250])),
        (Channel::Opacity, map(Layout::Gray, |_| [255; 3])),
    ];
    let mut job = "format = 1\n\n[garment]\nmesh = \"sleeve.glb\"\nmm_per_unit = 1000.0\n".to_owned();
    for (channel, picture) in maps {
        let file = format!("canvas_{channel}.png");
        std::fs::write(folder.join(&file), encode(&picture, PictureFormat::Png, Effort::Fast)?)?;
        job += &format!("\n[[garment.map]]\nfile = \"{file}\"\nchannels = \"{channel}\"\n");
    }
    std::fs::write(folder.join("sleeve.tatter.toml"), job)?;
    let request = WeaveRequest {
        cloth: stock("canvas").ok_or("canvas is in stock")?,
        output: folder.join("rip.patch"),
        damage: vec![Damage { length: 30.0, width: 9.0, ..Damage::new(Kind::Rip) }],
        side: 192,
        width_mm: 60.0,
        grain: Angle::degrees(90.0),
        seed: 1,
        photo: None,
    };
    weave(&request, &Task::new())?;
    Ok(())
}

fn placement(id: &str, u: f32, v: f32) -> Placement {
    Placement {
        id: id.into(),
        patch: "rip".into(),
        spot: Spot::Uv { at: [u, v], part: None },
        turn: Angle::degrees(20.0),
        size: None,
        mirror: false,
        rules: Default::default(),
        matching: Default::default(),
    }
}

/// Steps as a person takes them: laid, moved, laid over, matched otherwise, brought below, taken away.
fn steps(job: &Job) -> Vec<Arc<Job>> {
    let mut job = job.clone();
    job.patches = vec![PatchRef { name: "rip".into(), path: "rip.patch".into() }];
    let mut steps = Vec::new();
    let mut step = |job: &Job| steps.push(Arc::new(job.clone()));
    job.placements = vec![placement("a", 0.3, 0.4)];
    step(&job);
    job.placements.extend([placement("b", 0.335, 0.425), placement("c", 0.98, 0.7), placement("d", 0.6, 0.97)]);
    step(&job);
    job.placements[0].spot = Spot::Uv { at: [0.33, 0.42], part: None };
    step(&job);
    job.placements[2].turn = Angle::degrees(75.0);
    job.placements[2].size = Some(Mm(85.0));
    step(&job);
    job.placements[1].matching.strength = 0.2;
    step(&job);
    job.placements.swap(0, 1);
    step(&job);
    job.placements.remove(1);
    step(&job);
    job.placements.clear();
    step(&job);
    steps
}

/// The job of a sleeve in a folder of its own.
struct Sleeve {
    folder: tempfile::TempDir,
    job: Job,
    form: Arc<Form>,
}

impl Sleeve {
    fn made() -> Result<Self, Box<dyn std::error::Error>> {
        let folder = tempfile::tempdir()?;
        make(folder.path())?;
        let path = folder.path().join(JOB);
        let job = read_job(&path)?;
        let form = Arc::new(Form::read(&job, &path, &Task::new())?);
        Ok(Self { folder, job, form })
    }

    fn dresser(&self) -> Result<Dresser, SessionError> {
        Dresser::open(Arc::new(self.job.clone()), &self.folder.path().join(JOB), Arc::clone(&self.form), &Task::new())
    }
}

const JOB: &str = "sleeve.tatter.toml";

#[test]
fn step_by_step_looks_as_at_once() {
    let (sleeve, task) = (Sleeve::made().unwrap(), Task::new());
    let (job, form) = (&sleeve.job, &sleeve.form);
    let open = || sleeve.dresser().unwrap();
    let mut stepwise = open();
    assert_eq!(stepwise.without_adapter(), None, "the test needs an adapter; tools/adapter.sh installs one in software");
    let camera = form.eye(1.0);
    let backdrop = [LinearRgb([0.2; 3]); 2];
    let mut before = None;
    for (number, step) in steps(job).iter().enumerate() {
        let mut at_once = open();
        for fineness in [Fineness::Coarse, Fineness::Fine] {
            let mut pair = Vec::new();
            for dresser in [&mut stepwise, &mut at_once] {
                assert!(dresser.lay(step, fineness, &task).unwrap(), "step {number} is new");
                let view = View { camera, size: [240, 240], samples: 2, quick: false, keeps_shadow: false, backdrop };
                let drawn = dresser.draw(State::After, fineness, &view, &task).unwrap().unwrap();
                pair.push((dresser.flat(0, fineness, 2048).unwrap(), drawn));
            }
            assert_eq!(pair[0].0.rgb, pair[1].0.rgb, "step {number}: base colour at {fineness:?}");
            // Both draw the same texels with the same samples.
            assert_eq!(pair[0].1.rgb, pair[1].1.rgb, "step {number}: drawn at {fineness:?}");
            if fineness == Fineness::Coarse {
                assert!(before.as_ref() != Some(&pair[0].0.rgb), "step {number} changes something");
                before = Some(pair[0].0.rgb.clone());
            }
        }
    }
}

/// How far two pictures lie apart, mean of all codes.
fn apart(one: &[u8], other: &[u8]) -> f64 {
    one.iter().zip(other).map(|(a, b)| f64::from(a.abs_diff(*b))).sum::<f64>() / one.len() as f64
}

/// While something moves, pieces keep their match and the lamp its shadow; at rest both are those of where they lie.
#[test]
fn what_moved_rests_as_laid_at_once() {
    let (sleeve, task) = (Sleeve::made().unwrap(), Task::new());
    let (job, form) = (&sleeve.job, &sleeve.form);
    let open = || sleeve.dresser().unwrap();
    let (mut moving, camera) = (open(), form.eye(1.0));
    let mut view =
        View { camera, size: [120, 120], samples: 1, quick: true, keeps_shadow: true, backdrop: [LinearRgb([0.2; 3]); 2] };
    let mut look = |dresser: &mut Dresser, keeps_shadow: bool| {
        view.keeps_shadow = keeps_shadow;
        let drawn = dresser.draw(State::After, Fineness::Coarse, &view, &task).unwrap().unwrap();
        (dresser.flat(0, Fineness::Coarse, 2048).unwrap().rgb, drawn.rgb)
    };
    for (number, step) in steps(job).iter().enumerate() {
        assert!(moving.lay_quickly(step, &task).unwrap(), "step {number} is new");
        assert!(!moving.lay_quickly(step, &task).unwrap(), "step {number} was laid");
        let on_the_way = look(&mut moving, true);
        moving.lay(step, Fineness::Coarse, &task).unwrap();
        assert!(!moving.lay(step, Fineness::Coarse, &task).unwrap(), "step {number} rests");
        let at_rest = look(&mut moving, false);
        let mut at_once = open();
        at_once.lay(step, Fineness::Coarse, &task).unwrap();
        let wanted = look(&mut at_once, false);
        assert!(at_rest == wanted, "step {number}: base colour and drawn, to the bit");
        // The cloth is even: a match of elsewhere is nearly that of here, and all else lies where it will.
        let far = apart(&on_the_way.0, &wanted.0);
        assert!(far < 0.1, "step {number}: {far} codes apart on the way");
    }
}

/// Before its textures are read a garment is seen in clay: the same outline, one grey for all of it; and nothing is laid.
#[test]
fn clay_has_the_shape_of_what_is_dressed_later() {
    let (sleeve, task) = (Sleeve::made().unwrap(), Task::new());
    let (job, path) = (Arc::new(sleeve.job.clone()), sleeve.folder.path().join(JOB));
    let mut dresser = Dresser::new(Arc::clone(&job), path.clone(), Arc::clone(&sleeve.form), Brush::find());
    // A backdrop that no cloth has the colour of.
    let backdrop = [LinearRgb([0.0, 0.0, 1.0]); 2];
    let view = View { camera: sleeve.form.eye(1.0), size: [160, 160], samples: 1, quick: true, keeps_shadow: false, backdrop };
    let clay =
        dresser.draw_clay(&view, &task).unwrap().expect("the test needs an adapter; tools/adapter.sh installs one in software");
    assert!(!dresser.lay(&job, Fineness::Coarse, &task).unwrap() && !dresser.is_laid(), "there is nothing to lay on");
    assert!(dresser.draw(State::After, Fineness::Coarse, &view, &task).unwrap().is_none(), "nor to draw");
    dresser.dress(Textures::read(&job, &path, &task).unwrap()).unwrap();
    assert!(dresser.lay(&job, Fineness::Coarse, &task).unwrap() && dresser.is_laid(), "now there is");
    let dressed = dresser.draw(State::After, Fineness::Coarse, &view, &task).unwrap().unwrap();
    let is_cloth = |texel: &[u8]| i32::from(texel[2]) < 100 + i32::from(texel[0]);
    let (mut cloth, mut other) = (0, 0);
    for (clay, dressed) in clay.rgb.chunks_exact(3).zip(dressed.rgb.chunks_exact(3)) {
        cloth += usize::from(is_cloth(dressed));
        other += usize::from(is_cloth(clay) != is_cloth(dressed));
        let spread = clay.iter().max().unwrap() - clay.iter().min().unwrap();
        assert!(!is_cloth(clay) || spread < 40, "grey, not {clay:?}");
    }
    assert!(cloth > 3000 && other == 0, "{cloth} pixels of cloth, {other} that only one of both shows");
}

/// A job that is opened with many pieces is laid with borrowed matches first; then it rests as laid at once, at both finenesses.
#[test]
fn what_was_laid_quickly_first_rests_as_laid_at_once() {
    let (sleeve, task) = (Sleeve::made().unwrap(), Task::new());
    let mut job = sleeve.job.clone();
    job.patches = vec![PatchRef { name: "rip".into(), path: "rip.patch".into() }];
    job.placements = (0..12u8).map(|n| placement(&format!("tear-{n}"), 0.08 * f32::from(n) + 0.02, 0.5)).collect();
    job.placements[7].matching.strength = 0.3;
    let job = Arc::new(job);
    let (mut quick, mut at_once) = (sleeve.dresser().unwrap(), sleeve.dresser().unwrap());
    assert!(quick.lay_quickly(&job, &task).unwrap(), "laid");
    let borrowed = quick.flat(0, Fineness::Coarse, 2048).unwrap();
    for fineness in [Fineness::Fine, Fineness::Coarse] {
        assert!(
            quick.lay(&job, fineness, &task).unwrap() && at_once.lay(&job, fineness, &task).unwrap(),
            "matched where each lies"
        );
        let [one, other] = [&mut quick, &mut at_once].map(|dresser| dresser.flat(0, fineness, 2048).unwrap());
        assert!(one.rgb == other.rgb, "{fineness:?}: to the bit");
    }
    let matched = quick.flat(0, Fineness::Coarse, 2048).unwrap();
    let far = apart(&borrowed.rgb, &matched.rgb);
    assert!(far < 0.2, "on even cloth a borrowed match is nearly one's own: {far} codes");
}

/// What stays from one number of a mark to the next is kept: the textures come out as worn at once.
#[test]
fn wear_changed_step_by_step_looks_as_at_once() {
    let (sleeve, task) = (Sleeve::made().unwrap(), Task::new());
    let (mut job, form) = (sleeve.job.clone(), &sleeve.form);
    let open = || sleeve.dresser().unwrap();
    job.patches = vec![PatchRef { name: "rip".into(), path: "rip.patch".into() }];
    job.placements = vec![placement("a", 0.3, 0.1)];
    let hems = Wear {
        density: vec![Density::Edges(Mm(40.0))],
        uneven: 0.0,
        id: "hems".into(),
        kind: WearKind::Abrasion,
        ..Wear::default()
    };
    let fold = Wear {
        along: vec![[0.2, 0.3], [0.6, 0.5]],
        spread: Mm(12.0),
        id: "fold".into(),
        kind: WearKind::Crease,
        ..Wear::default()
    };
    let (even, broad) = (hems.clone(), Wear { density: vec![Density::Edges(Mm(60.0))], ..hems.clone() });
    let [weak, torn] = [0.3, 0.9].map(|strength| Wear { strength, uneven: 0.7, ..even.clone() });
    let (dirty, no) = (Wear { kind: WearKind::Grime, ..fold.clone() }, Vec::new());
    let steps =
        [vec![even], vec![weak.clone()], vec![weak, fold.clone()], vec![torn, fold], vec![broad.clone(), dirty], vec![broad], no];
    let camera = form.eye(1.0);
    let backdrop = [LinearRgb([0.2; 3]); 2];
    let view = View { camera, size: [120, 120], samples: 1, quick: true, keeps_shadow: false, backdrop };
    let look = |dresser: &mut Dresser| {
        let drawn = dresser.draw(State::After, Fineness::Coarse, &view, &task).unwrap().unwrap();
        (dresser.flat(0, Fineness::Coarse, 2048).unwrap().rgb, drawn.rgb)
    };
    let (mut stepwise, mut before) = (open(), None);
    for (number, wear) in steps.into_iter().enumerate() {
        job.wear = wear;
        let step = Arc::new(job.clone());
        assert!(stepwise.lay_quickly(&step, &task).unwrap(), "step {number} is new");
        look(&mut stepwise);
        stepwise.lay(&step, Fineness::Coarse, &task).unwrap();
        let mut at_once = open();
        at_once.lay(&step, Fineness::Coarse, &task).unwrap();
        let pair = [look(&mut stepwise), look(&mut at_once)];
        assert!(pair[0] == pair[1], "step {number}: base colour and drawn, to the bit");
        assert!(before.as_ref() != Some(&pair[0].0), "step {number} changes something");
        before = Some(pair[0].0.clone());
    }
}
