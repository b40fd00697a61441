//! Thread count, weave and grain of intact cloth, at two sizes of thread, nothing told.

use tatter_cloth::measure::{MeasureSettings, measure};
use tatter_core::angle::Angle;
use tatter_core::task::Task;
use tatter_testkit::scene::{Spec, cloth};
use tatter_weave::{STOCK, Shot};

use crate::scenes::List;
use crate::table::Table;

/// Every starting cloth.
pub(crate) fn table(list: List) -> String {
    let columns = [("ends %", 2), ("picks %", 2), ("grain °", 2), ("weave", 0), ("confidence", 2)];
    let mut table = Table::new("cloth, pixels a thread", &columns);
    for (n, (name, _)) in STOCK.into_iter().enumerate() {
        for pitch_px in [8.0, 14.0] {
            let grain = Angle::degrees([90.0, 84.0, 97.0, 75.0][n % 4]);
            let seed = list.seed() * 100 + n as u64;
            let scene = Spec { grain, seed, shot: Shot::default(), ..Spec::new(cloth(name), 512, pitch_px) }.shoot();
            let row = format!("{name}, {pitch_px:.0}");
            let Ok(found) = measure(&scene.photo, None, &MeasureSettings::default(), &Task::new()) else {
                table.said(&row, "not measured");
                continue;
            };
            let miss = [0, 1].map(|k| 100.0 * (scene.pitch_px[k] / found.pitch_px[k] - 1.0));
            let off = (found.grain - grain).as_line().to_degrees();
            let counted = format!("{:+.2} | {:+.2} | {:.2} | {}", miss[0], miss[1], off.min(180.0 - off), found.weave);
            let said = if found.woven { counted } else { format!("– | – | – | {}", found.fabric) };
            table.said(&row, &format!("{said} | {:.2}", found.confidence));
        }
    }
    table.into_text()
}
