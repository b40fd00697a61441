//! A garment's cloth in another dye: threads without dye stay as they are, light and shade stay.

use std::sync::Arc;

use tatter_core::channel::{Channel, Kind};
use tatter_core::color::{OkLab, codes_text, encode_srgb};
use tatter_core::image::{Coding, Image, LinearRgb, Map, Rect, Stored};
use tatter_core::model::{Garment, Variation};
use tatter_core::task::{Cancelled, Task};

use super::around::drawn;
use super::fit::ONE_CLOTH;
use super::plan::Assignment;
use crate::matching::{Dye, Glimpse, Redye, Swatch, undyed};
use crate::surface::Surface;

/// About this many texels of a material's cloth are looked at.
const SAMPLES: f64 = 8000.0;
/// Rows that are worked on at once: bounds memory.
const ROWS: usize = 256;

/// Dye the pristine base colours of a garment (`pictures` as `garment.sets` lists them) so that its cloth has the variation's
/// colour in the mean. Of several colours only one is
/// dyed, and what is of another hue keeps its own.
/// Every texel of a base colour is worked on, 256 rows at once.
///
/// # Errors
/// [`Cancelled`]; pictures may be half changed then.
pub fn dye_cloth(garment: &Garment, pictures: &mut [Vec<Stored>], variation: &Variation, task: &Task) -> Result<(), Cancelled> {
    let Some(target) = variation.dye.map(LinearRgb::from_codes) else { return Ok(()) };
    let surface = Surface::new(garment);
    let assignment = Assignment::new(&surface, &garment.sets);
    // UV tiles of one material are one cloth.
    let materials: std::collections::BTreeSet<&str> = garment.sets.iter().map(|set| set.material.as_str()).collect();
    for material in materials {
        if !variation.materials.is_empty() && !variation.materials.iter().any(|name| name == material) {
            continue;
        }
        let own: Vec<(usize, usize, Coding)> = garment
            .sets
            .iter()
            .enumerate()
            .filter(|(_, maps)| maps.material == material)
            .filter_map(|(set, maps)| {
                let of_file = |file: usize| maps.files[file].roles.iter().find(|role| role.channel == Channel::BaseColor);
                (0..maps.files.len()).find_map(|file| Some((set, file, of_file(file)?.coding)))
            })
            .collect();
        let glimpses: Vec<Glimpse> = own
            .iter()
            .flat_map(|(set, file, coding)| seen(garment, &surface, &assignment, *set, &pictures[*set][*file], coding))
            .collect();
        let Some(cloth) = Cloth::of(&glimpses, variation.from.map(LinearRgb::from_codes)) else {
            let which = if variation.from.is_some() { "of that colour " } else { "" };
            task.note("colourway-alone", format!("hardly any cloth {which}shows on '{material}', so it keeps its colour"));
            continue;
        };
        if let Some(text) = cloth.told(material) {
            task.note("colourway-two-cloths", text);
        }
        let fibre = variation.fibre.map(LinearRgb::from_codes).or_else(|| undyed(&cloth.samples, cloth.mean));
        let dye = Arc::new(Dye::new(cloth.mean, fibre));
        let samples: Vec<(LinearRgb, f32)> = cloth.samples.iter().map(|&color| (color, dye.bare_luminance(color))).collect();
        let redye = Redye::new(dye.clone(), &samples, target, 1.0);
        let new = |color: LinearRgb| {
            let share = cloth.alike.as_ref().map_or(1.0, |alike| alike.share(color));
            if share <= 0.0 {
                return color;
            }
            let dyed = redye.apply(color, dye.bare_luminance(color));
            LinearRgb(std::array::from_fn(|i| color.0[i] + (dyed.0[i] - color.0[i]) * share))
        };
        for (set, file, coding) in own {
            recolor(&mut pictures[set][file], &coding, task, new)?;
        }
    }
    Ok(())
}

/// The cloth that is dyed.
struct Cloth {
    mean: LinearRgb,
    samples: Vec<LinearRgb>,
    /// What tells its colours from others; `None`: there are no others.
    alike: Option<Alike>,
    /// Share of the cloth it is, where nobody said which colour is meant.
    share: f32,
}

impl Cloth {
    fn of(glimpses: &[Glimpse], from: Option<LinearRgb>) -> Option<Self> {
        if let Some(from) = from {
            let alike = Alike::new(from);
            let samples: Vec<LinearRgb> = glimpses.iter().map(|g| g.color).filter(|&color| alike.share(color) > 0.5).collect();
            let sum = samples.iter().fold([0f64; 3], |sum, c| std::array::from_fn(|i| sum[i] + f64::from(c.0[i])));
            let mean = LinearRgb(sum.map(|v| (v / samples.len().max(1) as f64) as f32));
            return (samples.len() >= FEWEST).then_some(Self { mean, samples, alike: Some(alike), share: 1.0 });
        }
        let Swatch { mean, samples, share, .. } = Swatch::of(glimpses)?;
        Some(Self { mean, samples, alike: (share < ONE_CLOTH).then(|| Alike::new(mean)), share })
    }

    fn told(&self, material: &str) -> Option<String> {
        (self.share < ONE_CLOTH).then(|| {
            let codes = self.mean.0.map(|v| (encode_srgb(v.clamp(0.0, 1.0)) * 255.0).round() as u8);
            let share = self.share * 100.0;
            format!(
                "'{material}' shows several colours; the dye of the largest, about {} on {share:.0} % of the cloth, \
                 is changed; name another with from = \"#RRGGBB\"",
                codes_text(codes)
            )
        })
    }
}

/// Fewer texels say nothing about a cloth.
const FEWEST: usize = 64;

/// Colours of one dye: OKLab's a and b over its lightness, which shade leaves alone.
struct Alike {
    place: [f32; 2],
    /// All within this distance, none at twice.
    reach: f32,
}

impl Alike {
    fn new(color: LinearRgb) -> Self {
        let place = Self::place(color);
        // Half way to grey; greys stray by noise and light.
        Self { place, reach: (0.35 * place[0].hypot(place[1])).max(0.025) }
    }

    fn place(color: LinearRgb) -> [f32; 2] {
        let lab = OkLab::from(color);
        // Nearly black has no hue.
        [lab.a, lab.b].map(|v| v / lab.l.max(0.1))
    }

    fn share(&self, color: LinearRgb) -> f32 {
        let [a, b] = Self::place(color);
        (2.0 - (a - self.place[0]).hypot(b - self.place[1]) / self.reach).clamp(0.0, 1.0)
    }
}

/// Texels on the cloth, picked evenly over the texture, in cells of a sixteenth of it.
fn seen(
    garment: &Garment,
    surface: &Surface,
    assignment: &Assignment,
    set: usize,
    stored: &Stored,
    coding: &Coding,
) -> Vec<Glimpse> {
    let size = stored.size;
    let share = SAMPLES / (size.area() as f64).max(1.0);
    let mut glimpses = Vec::new();
    for (_, triangle, bounds) in assignment.faces_of(surface, &garment.sets, set, size, 0) {
        for y in bounds.y0..bounds.y1 {
            for (x, _) in drawn(triangle.columns(y, bounds.x0, bounds.x1), y, share) {
                let cell = (y as usize * 16 / size.height * 16 + x as usize * 16 / size.width) as u32;
                glimpses.push(Glimpse { color: stored.color_at(x as usize, y as usize, coding), cell, at: [0.0; 2] });
            }
        }
    }
    glimpses.retain(|glimpse| glimpse.color.0.iter().all(|v| v.is_finite()));
    glimpses
}

fn recolor(
    stored: &mut Stored,
    coding: &Coding,
    task: &Task,
    new: impl Fn(LinearRgb) -> LinearRgb + Sync,
) -> Result<(), Cancelled> {
    for y in (0..stored.size.height).step_by(ROWS) {
        task.check()?;
        let rows = Rect::new(0, y, stored.size.width, ROWS.min(stored.size.height - y));
        let Map::Color(before) = stored.decode(Kind::Color, coding, rows) else { continue };
        let after = before.map(|color| if color.0.iter().all(|v| v.is_finite()) { new(color) } else { color });
        let touched: Image<bool> = before.zip(&after, |before, after| before != after);
        stored.encode(coding, rows, &Map::Color(after), &touched);
    }
    Ok(())
}
