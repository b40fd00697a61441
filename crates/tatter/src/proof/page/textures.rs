//! What changes in the garment's textures, and what is worth knowing about it.

use std::collections::BTreeSet;

use tatter_core::channel::Channel;
use tatter_core::model::{MapFile, MapSet};
use tatter_garment::check::{Fault, Severity};

use super::Content;
use super::html::{Html, file_name_of, html, without_folders};
use super::words::{channel_words, count, decimal, listed, notes, percent, sentence};

/// A cell above a column.
pub(super) fn head(text: &str) -> Html {
    html!("<th scope=\"col\" role=\"columnheader\">{}</th>", text)
}

impl Content<'_> {
    /// One row a texture.
    pub(super) fn textures(&self) -> Html {
        let sets = &self.studio.session.garment.sets;
        let named = sets.iter().map(|set| &set.material).collect::<BTreeSet<_>>().len() > 1;
        let mut rows = Vec::new();
        for (i, set) in sets.iter().enumerate() {
            for (j, file) in set.files.iter().enumerate() {
                rows.push(self.row(set, file, [i, j], named));
            }
        }
        let columns = ["File", "Holds", "Size", "Texels changed", "Share", "Heights"].map(head);
        html!(
            "<section aria-labelledby=\"textures\">\n<h2 id=\"textures\">What changes in the textures</h2>\n\
             <p class=\"say\">Texels that are not counted here keep every bit.</p>\n\
             <table class=\"wide\" role=\"table\">\n<thead role=\"rowgroup\"><tr role=\"row\">{}</tr></thead>\n\
             <tbody role=\"rowgroup\">\n{}</tbody>\n</table>\n{}</section>\n",
            columns.into_iter().collect::<Html>(),
            rows.into_iter().collect::<Html>(),
            self.worth_knowing(),
        )
    }

    fn row(&self, set: &MapSet, file: &MapFile, [i, j]: [usize; 2], named: bool) -> Html {
        let changed = self.changed.get(i).and_then(|files| files.get(j)).copied().unwrap_or_default();
        let picture = &self.studio.after[i][j];
        let channels: Vec<String> = file.roles.iter().map(|role| channel_words(role.channel)).collect();
        let share = changed as f64 / file.size.area().max(1) as f64;
        let material = if named { format!(" ({})", set.material) } else { String::new() };
        html!(
            "<tr role=\"row\"><th scope=\"row\" role=\"rowheader\">{}{}</th><td role=\"cell\" data-label=\"Holds\">{}</td>\
             <td role=\"cell\" data-label=\"Size\">{}\u{a0}× {}, {}\u{a0}bit</td><td role=\"cell\" data-label=\"Texels changed\">{}</td>\
             <td role=\"cell\" data-label=\"Share\">{}</td><td role=\"cell\" data-label=\"Heights\">{}</td></tr>\n",
            file_name_of(&file.path),
            material,
            listed(&channels),
            file.size.width,
            file.size.height,
            usize::from(picture.bits()),
            if changed == 0 { "stays as it was".to_owned() } else { count(changed) },
            percent(share),
            heights(file),
        )
    }

    /// Placements in few words.
    fn whom(&self, ids: &[&str]) -> String {
        /// Names that are read; of more, one less and how many others.
        const READ: usize = 6;
        if ids.len() == self.placed.len() {
            return "Every placement".to_owned();
        }
        if ids.len() <= READ {
            return listed(ids);
        }
        format!("{} and {} others", ids[..READ - 1].join(", "), count(ids.len() - (READ - 1)))
    }

    /// Notes of the build that are not told with one placement, and faults of patches and textures.
    fn worth_knowing(&self) -> Html {
        let plain = |text: &str| without_folders(text, self.folder);
        let finished = &self.studio.finished;
        let told: BTreeSet<&str> =
            finished.report.placements.iter().flat_map(|p| &p.notes).map(|note| note.text.as_str()).collect();
        let mut lines: Vec<Html> = Vec::new();
        for (text, ids) in self.shared_notes() {
            lines.push(html!("{}: {}", self.whom(&ids), sentence(&plain(text))));
        }
        for note in finished.notes.iter().filter(|note| !told.contains(note.text.as_str())) {
            lines.push(Html::from(sentence(&plain(&note.text))));
        }
        let hard = self.faults.iter().filter(|fault| fault.severity != Severity::Hint);
        lines.extend(hard.map(|fault: &Fault| {
            html!("{}: {} {}", plain(&fault.place), sentence(&plain(&fault.what)), sentence(&plain(&fault.remedy)))
        }));
        if lines.is_empty() {
            return Html::default();
        }
        html!("<h3>Worth knowing</h3>\n{}", notes(lines))
    }
}

/// The heights that a texture's codes can hold.
fn heights(file: &MapFile) -> String {
    let role = file.roles.iter().find(|role| role.channel == Channel::Height);
    role.map_or_else(String::new, |role| {
        let range = role.coding.height_range;
        format!("{} to {}\u{a0}mm", decimal(range.low_mm, 2), decimal(range.high_mm, 2))
    })
}
