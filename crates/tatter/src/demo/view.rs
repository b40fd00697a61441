//! Lit crops of the garment's textures, before and after.

use std::path::Path;

use tatter_core::channel::{Channel, Kind};
use tatter_core::image::{Coding, Image, LinearRgb, Rect, Transfer};
use tatter_files::limits::Limits;
use tatter_files::picture::read_stored;

use super::{DemoError, canvas::SIDE};
use crate::sheet::lit_maps;

/// Side of a crop, texels of the textures.
const CROP: usize = 288;
/// How much larger crops are shown.
const ZOOM: usize = 2;

/// One lit crop for each placement.
pub(super) fn crops(folder: &Path, placements: &[(usize, [f32; 2], f32)]) -> Result<Vec<Image<LinearRgb>>, DemoError> {
    let picture =
        |channel: Channel| read_stored(&folder.join("textures").join(format!("canvas_{channel}.png")), &Limits::default());
    let (color, normal, opacity) = (picture(Channel::BaseColor)?, picture(Channel::Normal)?, picture(Channel::Opacity)?);
    let srgb = Coding { transfer: Transfer::Srgb, ..Coding::default() };
    let crop = |&(_, [u, v], _): &(usize, [f32; 2], f32)| {
        let corner = |t: f32| ((t * SIDE as f32) as usize).saturating_sub(CROP / 2).min(SIDE - CROP);
        let part = Rect::new(corner(u), corner(v), CROP, CROP);
        let data = Coding::default();
        let lit = lit_maps(
            part.size(),
            &color.decode(Kind::Color, &srgb, part),
            &normal.decode(Kind::Normal, &data, part),
            &opacity.decode(Kind::Unit, &data, part),
        );
        Image::from_fn(CROP * ZOOM, CROP * ZOOM, |x, y| lit.get(x / ZOOM, y / ZOOM))
    };
    Ok(placements.iter().map(crop).collect())
}

/// Before above, after below.
pub(super) fn side_by_side(before: &[Image<LinearRgb>], after: &[Image<LinearRgb>]) -> Image<LinearRgb> {
    const GAP: usize = 8;
    let side = CROP * ZOOM;
    let mut out = Image::filled(GAP + before.len() * (side + GAP), GAP + 2 * (side + GAP), LinearRgb([0.02; 3]));
    for (row, crops) in [before, after].into_iter().enumerate() {
        for (column, crop) in crops.iter().enumerate() {
            out.paste(crop, GAP + column * (side + GAP), GAP + row * (side + GAP));
        }
    }
    out
}
