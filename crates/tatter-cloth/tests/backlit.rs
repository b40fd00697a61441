//! Woven cloth photographed from the front and with a lamp behind it, beside its truth.
//!
//! Goals of the design: openings `IoU` 0.90, threads kept 0.97, against the truth as the lens shows it. Measured: `IoU` 0.87 to 0.96, threads
//! kept 0.96 to 1.00 and 0.93 of a fringe (0.89 and 0.97 before torn threads were woven with more loose ends), translucency off by 3 to 12 % of
//! itself, by 3 to 7 where the lamp is told. The bounds guard that.

use tatter_capture::backlit::{BacklitError, backlit};
use tatter_cloth::cut::{Behind, Cut, cut_backlit};
use tatter_core::channel::Channel;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::{erode, gaussian, thin};
use tatter_core::model::{CutRecipe, Origin, Scale, Subject};
use tatter_core::task::Task;
use tatter_testkit::measures::{count, overlap};
use tatter_testkit::pair::{Backlit, STILL, nudge};
use tatter_testkit::scene::{Spec, on_photo, photo};
use tatter_weave::Kind;

const SIDE: usize = 384;

fn spec(name: &str, pitch: f32, kind: Kind, length: f32, width: f32) -> Spec {
    Spec::injured(name, SIDE, pitch, kind, [length, width])
}

/// Openings, threads kept, and how far translucency is off, as a share of itself, inside the cover.
#[derive(Clone, Copy, Debug)]
struct Score {
    iou: f32,
    recall: f32,
    through: f32,
}

fn score(cut: &Cut, shots: &Backlit) -> Score {
    let unit = |channel| match cut.patch.map(channel).and_then(|map| map.as_unit()) {
        Some(map) => map.map(|v| v.0),
        None => unreachable!("a cut patch has {channel}"),
    };
    let on_photo = |map: Image<f32>, beyond| on_photo(&cut.patch, &map, SIDE, beyond);
    let piece = cut.patch.subject == Subject::Piece;
    let cover = on_photo(unit(Channel::Cover), 0.0);
    let opacity = on_photo(unit(Channel::Opacity), 1.0);
    let alpha = if piece { cover.zip(&opacity, |c, o| c * o) } else { opacity };
    let within = cover.map(|c| piece || c > 0.5);
    let lens = gaussian(&shots.alpha.map(|a| a.0), 0.7);
    let lines = thin(&lens.map(|t| t >= 0.5)).zip(&within, |l, w| l && w);
    let kept = lines.zip(&alpha, |l, a| l && a >= 0.5);
    // Translucency where all around is cloth.
    let whole = erode(&shots.alpha.map(|a| a.0 > 0.999), 3.0).zip(&cover, |w, c| w && c > 0.5);
    let found = on_photo(unit(Channel::Translucency), 0.0);
    let (mut off, mut all) = (0.0, 0.0);
    for ((w, f), t) in whole.texels().iter().zip(found.texels()).zip(shots.translucency.texels()) {
        if *w {
            off += (f - t.0).abs();
            all += t.0;
        }
    }
    let iou = overlap(&alpha.map(|a| a < 0.5), &lens.map(|t| t < 0.5), &within);
    Score { iou, recall: count(&kept) / count(&lines), through: off / f32::max(all, 1e-6) }
}

#[test]
fn a_lamp_behind_the_cloth_measures_openings_and_thinness() {
    let scenes = [
        ("canvas, a rip", spec("canvas", 10.0, Kind::Rip, 12.0, 4.0), 0.08, [0.86, 0.95]),
        ("linen, a moth hole", spec("linen", 9.0, Kind::MothHole, 7.0, 7.0), 0.25, [0.95, 0.98]),
        ("tweed, a scrap", spec("tweed", 10.0, Kind::Scrap, 20.0, 18.0), 0.03, [0.91, 0.91]),
        ("poplin, a tear", spec("poplin", 8.0, Kind::LTear, 6.0, 3.0), 0.3, [0.89, 0.95]),
    ];
    let mut short = Vec::new();
    for (name, spec, through, [iou, recall]) in scenes {
        let shots = tatter_testkit::pair::backlit(&spec, [0.85, through], &nudge(SIDE, 0.1, [0.8, -0.5]), 0.004);
        let (front, behind, lamp) = (photo("front", &shots.front), photo("behind", &shots.behind), photo("lamp", &shots.lamp));
        let recipe = CutRecipe { scale: Scale::MmPerPixel(shots.scale), ..CutRecipe::default() };
        // What the lamp shows of itself adds little: once is enough.
        let told = (name == "canvas, a rip").then_some(&lamp);
        for lamp in std::iter::once(None).chain(told.map(Some)) {
            let cut = cut_backlit(&front, &Behind { shot: &behind, lamp }, None, &recipe, &Task::new()).unwrap();
            let got = score(&cut, &shots);
            if got.iou < iou || got.recall < recall || got.through > 0.15 {
                short.push(format!("{name}, lamp told {}: {got:.3?}", lamp.is_some()));
            }
            for channel in [Channel::Opacity, Channel::Translucency] {
                let origin = cut.patch.maps[channel].as_ref().map(|map| map.origin);
                assert_eq!(origin, Some(Origin::Measured), "{name}: {channel} is measured");
            }
        }
    }
    assert!(short.is_empty(), "{short:#?}");
}

#[test]
fn a_dark_room_is_refused_and_a_burnt_lamp_is_told() {
    let spec = spec("canvas", 10.0, Kind::MothHole, 8.0, 8.0);
    let shots = tatter_testkit::pair::backlit(&spec, [0.85, 0.1], &STILL, 0.002);
    let dark = shots.behind.map(|c| LinearRgb(c.0.map(|v| 0.01 * v)));
    let refused = backlit(&shots.front, &dark, None, &Task::new());
    assert!(matches!(refused, Err(BacklitError::Dark { .. } | BacklitError::NoOpening { .. })), "{refused:?}");
    let burnt = shots.behind.map(|c| LinearRgb(c.0.map(|v| (3.0 * v).min(1.0))));
    let task = Task::new();
    backlit(&shots.front, &burnt, None, &task).unwrap();
    assert!(task.notes().iter().any(|note| note.code == "lamp-burnt"), "{:?}", task.notes());
}
