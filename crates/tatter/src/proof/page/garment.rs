//! The head of the page and the whole garment.

use std::collections::BTreeSet;

use tatter_garment::check::RIM_LIMIT;

use super::html::{Html, file_name_of, html};
use super::placements::rim_text;
use super::words::{capital, channel_words, count, figures, listed, mm, of};
use super::{Content, Pair};

impl Content<'_> {
    /// The job, and its variation.
    pub(super) fn name(&self) -> String {
        let job = &self.studio.job;
        let name = if job.name.is_empty() { "unnamed job" } else { &job.name };
        self.studio.variation.as_ref().map_or_else(|| name.to_owned(), |variation| format!("{name}, {}", variation.name))
    }

    /// What was done, in a sentence or three.
    pub(super) fn lead(&self) -> Html {
        let patches: BTreeSet<&str> = self.placed.iter().map(|placed| placed.placement.patch.as_str()).collect();
        let mut done = vec![of(self.placed.len(), "placement", "placements")];
        if !patches.is_empty() {
            done[0] += &format!(" of {}", of(patches.len(), "patch", "patches"));
        }
        if !self.studio.job.wear.is_empty() {
            done.push(of(self.studio.job.wear.len(), "mark of wear", "marks of wear"));
        }
        if self.studio.variation.as_ref().is_some_and(|variation| variation.dye.is_some()) {
            done.push("another dye".to_owned());
        }
        let mesh = self.studio.job.garment.mesh.as_deref().map(|mesh| format!(", on {}", file_name_of(mesh))).unwrap_or_default();
        let channel = self
            .request
            .channel
            .map(|channel| format!(" Shown is its {} alone, unlit.", channel_words(channel)))
            .unwrap_or_default();
        let text = format!(
            "{}{mesh}. Before is the garment as it came; after is what delivery writes into its textures.{channel}",
            listed(&done)
        );
        Html::from(capital(&text))
    }

    /// The sides of the garment beside the list of placements.
    pub(super) fn views(&self) -> Html {
        let views: Html = self.sides.iter().enumerate().map(|(i, (side, pair))| self.view(i, side, pair)).collect();
        let lines: Html = (0..self.placed.len()).map(|i| self.line(i)).collect();
        let list = if lines.is_empty() {
            Html::raw("<p>Nothing is placed.</p>\n")
        } else {
            html!("<ol class=\"list\">\n{}</ol>\n", lines)
        };
        html!(
            "<section aria-labelledby=\"garment\">\n<h2 id=\"garment\">The garment</h2>\n<div class=\"whole\">\n\
             <div class=\"views\">\n{}</div>\n<div>\n<h3>Placements</h3>\n{}{}</div>\n</div>\n</section>\n",
            views,
            list,
            self.summary(),
        )
    }

    /// What the rest of the page tells at length.
    fn summary(&self) -> Html {
        let files = self.changed.iter().flatten();
        let (all, changed) = (files.clone().count(), files.filter(|&&texels| texels > 0).count());
        let wear: Vec<&str> = self.studio.job.wear.iter().map(|mark| mark.id.as_str()).collect();
        let rows = vec![
            ("Textures", Html::from(format!("{} of {} change", count(changed), count(all)))),
            ("Wear", Html::from(listed(&wear))),
            ("Variation", self.studio.variation.as_ref().map(|variation| Html::from(&variation.name)).unwrap_or_default()),
        ];
        figures(rows)
    }

    fn view(&self, number: usize, side: &str, pair: &Pair) -> Html {
        let name = capital(&side.replace('-', " "));
        html!(
            "<div class=\"view\" id=\"view-{}\">\n<h3>{}</h3>\n{}</div>\n",
            number + 1,
            &name,
            self.compare(pair, &format!("{}, {}", self.name(), name.to_lowercase())),
        )
    }

    /// A placement in the list.
    fn line(&self, number: usize) -> Html {
        let placed = &self.placed[number];
        let id = &placed.placement.id;
        let name = if self.close_ups.contains_key(id) {
            html!("<a href=\"#placement-{}\">{}</a>", number + 1, id)
        } else {
            html!("<strong>{}</strong>", id)
        };
        let rim = match self.report(number).and_then(|report| report.rim_difference) {
            Some(rim) if rim > RIM_LIMIT => html!(", <span class=\"look\">rim\u{a0}{}</span>", rim_text(rim)),
            Some(rim) => html!(", rim\u{a0}{}", rim_text(rim)),
            None => Html::default(),
        };
        let notes = match self.own_notes(number).len() {
            0 => Html::default(),
            some => html!(", <span class=\"look\">{}</span>", of(some, "note", "notes")),
        };
        let size = mm(super::placements::side_mm(placed));
        html!("<li>{} <span>{}, {}{}{}</span></li>\n", name, &placed.placement.patch, size, rim, notes)
    }

    /// What drew the page.
    pub(super) fn foot(&self) -> Html {
        let adapter = self.studio.adapter();
        let kind = if adapter.software { ", a graphics adapter in software" } else { "" };
        html!(
            "Drawn by {}{}, {}. Made by Tatter {}. All of this page is in this one file.",
            &adapter.name,
            kind,
            of(self.request.samples as usize, "picture averaged for each view", "pictures averaged for each view"),
            env!("CARGO_PKG_VERSION"),
        )
    }
}
