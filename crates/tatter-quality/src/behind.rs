//! What a shot with a lamp behind the cloth is worth.

use std::error::Error;

use tatter_cloth::cut::{Behind, CutError, cut, cut_backlit};
use tatter_core::channel::Channel;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::erode;
use tatter_core::model::{CutRecipe, Patch, Photo, Scale};
use tatter_core::task::Task;
use tatter_testkit::pair::{Backlit, backlit, nudge};
use tatter_testkit::scene::on_photo;

use crate::capture::{Row, scenes};
use crate::cut::judge;
use crate::photo::photo;
use crate::scenes::{Case, List};

const COLUMNS: [(&str, usize); 9] = [
    ("SAD k", 2),
    ("one photo's", 2),
    ("gradient k", 2),
    ("one photo's", 2),
    ("gap IoU", 2),
    ("one photo's", 2),
    ("thread recall", 2),
    ("one photo's", 2),
    ("translucency %", 1),
];
/// What the lamp reads at most, and the share of it that cloth lets through.
const LAMP: [f32; 2] = [0.85, 0.12];

/// Alpha with a lamp behind beside alpha from the front alone, over a dark table.
pub(crate) fn table(list: List, only: Option<&str>) -> Result<String, Box<dyn Error>> {
    scenes(&COLUMNS, list, only, row)
}

fn row(case: &Case) -> Row<9> {
    let scene = case.spec.shoot();
    let shots = backlit(&case.spec, LAMP, &nudge(case.spec.side, 0.15, [1.3, -0.6]), 0.004);
    let [front, behind] = [&shots.front, &shots.behind].map(|color: &Image<LinearRgb>| photo(case, color));
    let (front, behind): (Photo, Photo) = (front?, behind?);
    let recipe = CutRecipe { scale: Scale::MmPerPixel(shots.scale), ..CutRecipe::default() };
    let judged = |patch: &Patch| judge(&scene, &case.spec, patch).map(|row| [row[1], row[3], row[4], row[5]]);
    let (lit, off) = match cut_backlit(&front, &Behind { shot: &behind, lamp: None }, None, &recipe, &Task::new()) {
        Ok(cut) => (judged(&cut.patch)?, translucency_off(&cut.patch, &shots, case.spec.side)?),
        Err(refused) => return Ok(Err(refused)),
    };
    let one = match cut(&front, &recipe, &Task::new()) {
        Ok(cut) => judged(&cut.patch)?,
        Err(CutError::Isolate(_)) => [f32::INFINITY; 4],
        Err(error) => return Err(error.into()),
    };
    Ok(Ok([lit[0], one[0], lit[1], one[1], lit[2], one[2], lit[3], one[3], off]))
}

/// Mean difference of translucency as a percentage of its mean, where all around is cloth.
fn translucency_off(patch: &Patch, shots: &Backlit, side: usize) -> Result<f32, Box<dyn Error>> {
    let map = |channel| patch.map(channel).and_then(|map| map.as_unit()).ok_or("a backlit patch has this map");
    let on = |channel, beyond| Ok::<_, Box<dyn Error>>(on_photo(patch, &map(channel)?.map(|v| v.0), side, beyond));
    let (found, cover) = (on(Channel::Translucency, 0.0)?, on(Channel::Cover, 0.0)?);
    let whole = erode(&shots.alpha.map(|a| a.0 > 0.999), 3.0).zip(&cover, |whole, cover| whole && cover > 0.5);
    let (mut off, mut all) = (0.0, 0.0);
    for ((whole, found), truth) in whole.texels().iter().zip(found.texels()).zip(shots.translucency.texels()) {
        if *whole {
            off += (found - truth.0).abs();
            all += truth.0;
        }
    }
    Ok(if all > 0.0 { 100.0 * off / all } else { f32::NAN })
}
