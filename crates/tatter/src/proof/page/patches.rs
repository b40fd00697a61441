//! Where the patches come from: each with its scale, cloth and maps, and how far each map can be trusted.

use std::collections::BTreeMap;

use tatter_core::channel::Channel;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::model::{Patch, PatchMap, ScaleSource};
use tatter_files::patch::edited_maps;
use tatter_files::picture::{PictureError, encode_jpeg_photo};

use super::html::{Html, file_name_of, html, without_folders};
use super::words::{capital, channel_words, decimal, figures, mm};
use super::{Content, uri};
use crate::cut::eight_bits;
use crate::proof::ProofError;
use crate::session::SessionError;
use crate::sheet::{map_views, thumb};

/// Side of a map's small picture: sharp at twice the size it is shown in.
const MAP_VIEW: usize = 192;
/// JPEG quality of small pictures.
const QUALITY: u8 = 85;

impl Content<'_> {
    /// Patches that lie on the garment, by the name the job gives them.
    fn used(&self) -> BTreeMap<&str, &Patch> {
        self.placed.iter().map(|placed| (placed.placement.patch.as_str(), placed.patch)).collect()
    }

    /// A patch's name, leading to what the page says of it.
    pub(super) fn patch_link(&self, name: &str) -> Html {
        let number = self.used().keys().position(|known| *known == name).map_or(0, |at| at + 1);
        html!("<a href=\"#patch-{}\">{}</a>", number, name)
    }

    /// Every patch.
    pub(super) fn patches(&self) -> Result<Html, ProofError> {
        let used = self.used();
        if used.is_empty() {
            return Ok(Html::default());
        }
        let cards =
            used.iter().enumerate().map(|(i, (name, patch))| self.patch(i + 1, name, patch)).collect::<Result<Html, _>>()?;
        Ok(html!(
            "<section aria-labelledby=\"patches\">\n<h2 id=\"patches\">Where the patches come from</h2>\n\
             <p class=\"say\">Measured maps come from calibrated shots, derived ones are computed by a stated formula, estimated ones are \
             reasoned guesses.</p>\n{}</section>\n",
            cards,
        ))
    }

    fn patch(&self, number: usize, name: &str, patch: &Patch) -> Result<Html, ProofError> {
        let edited = self.edited(name)?;
        let views = map_views(patch, MAP_VIEW);
        let maps = views.into_iter().map(|(channel, view)| {
            let Some(map) = &patch.maps[channel] else { return Ok(Html::default()) };
            self.map(name, channel, map, edited.contains(&channel), view)
        });
        let maps = maps.collect::<Result<Html, ProofError>>()?;
        Ok(html!(
            "<article class=\"card patch\" id=\"patch-{}\" aria-labelledby=\"patch-{}-name\">\n<div>{}</div>\n<div>\n\
             <h3 id=\"patch-{}-name\">{}</h3>\n{}</div>\n<ul class=\"maps\" aria-label=\"Maps\">\n{}</ul>\n</article>\n",
            number,
            number,
            picture(thumb(patch), &format!("{name}, lit"))?,
            number,
            name,
            figures(self.described(patch)),
            maps,
        ))
    }

    /// Maps that somebody changed since Tatter wrote them.
    fn edited(&self, name: &str) -> Result<Vec<Channel>, ProofError> {
        let known = self.studio.session.job.patches.iter().find(|patch| patch.name == name);
        known.map_or(Ok(Vec::new()), |patch| Ok(edited_maps(&self.folder.join(&patch.path)).map_err(SessionError::from)?))
    }

    fn map(
        &self,
        name: &str,
        channel: Channel,
        map: &PatchMap,
        edited: bool,
        view: Image<LinearRgb>,
    ) -> Result<Html, ProofError> {
        let edited = if edited { html!(" <span class=\"look\">edited by hand since</span>") } else { Html::default() };
        let channel = channel_words(channel);
        Ok(html!(
            "<li>{}<p><strong>{}</strong>, {}{}<br>{}</p></li>\n",
            picture(view, &format!("{channel} of {name}"))?,
            capital(&channel),
            map.origin.name(),
            edited,
            without_folders(&map.how, self.folder),
        ))
    }

    fn described(&self, patch: &Patch) -> Vec<(&'static str, Html)> {
        let told = |key: &str| {
            let value = patch.provenance.iter().find(|(known, _)| known == key).map(|(_, value)| value.as_str());
            value.map(|value| without_folders(value, self.folder))
        };
        let photo = told("photo").map(|photo| {
            let size = told("photo_size").map(|size| format!(", {size} pixels")).unwrap_or_default();
            let color = told("photo_color").map(|color| format!(", {color}")).unwrap_or_default();
            format!("{}{size}{color}", file_name_of(&photo))
        });
        let [width, height] = patch.size_mm();
        let texels = patch.size();
        let text = |value: Option<String>| value.map(Html::from).unwrap_or_default();
        vec![
            ("Subject", Html::from(patch.subject.name())),
            ("Photo", text(photo)),
            ("Cloth", text(told("cloth"))),
            ("Warp", text(told("warp"))),
            ("Weft", text(told("weft"))),
            ("Damage", text(told("damage"))),
            (
                "Size",
                Html::from(format!("{} × {}, {} × {} texels", mm(width.get()), mm(height.get()), texels.width, texels.height)),
            ),
            ("Scale", scale(patch)),
            ("Grain", Html::from(grain(patch))),
            ("Threads", Html::from(threads(patch))),
            ("Weave", text(told("weave"))),
            ("Made by", text(told("made_by"))),
        ]
    }
}

fn scale(patch: &Patch) -> Html {
    let text = format!("{}\u{a0}mm a texel", decimal(patch.scale.get(), 4));
    let source = match patch.scale_source {
        ScaleSource::MmPerPixel => ", as given",
        ScaleSource::Width => ", from the width of the photo",
        ScaleSource::ThreadCount => ", from a known thread count",
        ScaleSource::Ruler => ", from a ruler in the photo",
        ScaleSource::Card => ", from a card in the photo",
        ScaleSource::Sheet => ", from a sheet of paper in the photo",
        ScaleSource::Corners => ", from a rectangle in the photo",
        ScaleSource::Assumed => return html!("{}, <span class=\"look\">assumed: nobody knew</span>", text),
    };
    let sure = patch.scale_uncertainty.map_or_else(String::new, |share| format!(", to {}\u{a0}%", decimal(100.0 * share, 2)));
    Html::from(text + source + &sure)
}

fn grain(patch: &Patch) -> String {
    let turned =
        |angle: tatter_core::angle::Angle| format!("warp at {}° from the right of the picture", decimal(angle.to_degrees(), 1));
    patch.grain.map_or_else(|| "not found".to_owned(), turned)
}

fn threads(patch: &Patch) -> String {
    match (patch.ends_per_cm, patch.picks_per_cm) {
        (Some(ends), Some(picks)) => format!("{} ends, {} picks per cm", decimal(ends.get(), 1), decimal(picks.get(), 1)),
        (Some(ends), None) => format!("{} ends per cm, picks not counted", decimal(ends.get(), 1)),
        (None, Some(picks)) => format!("{} picks per cm, ends not counted", decimal(picks.get(), 1)),
        (None, None) => "not counted".to_owned(),
    }
}

fn picture(view: Image<LinearRgb>, alt: &str) -> Result<Html, PictureError> {
    let (width, height) = (view.width(), view.height());
    let jpeg = encode_jpeg_photo(&eight_bits(view), QUALITY)?;
    Ok(html!("<img src=\"{}\" width=\"{}\" height=\"{}\" alt=\"{}\">", Html::raw(uri(&jpeg)), width, height, alt))
}
