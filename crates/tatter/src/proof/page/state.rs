//! The state of the garment that is shown: its variation, and the wear of its own cloth.

use tatter_core::model::{Density, Variation, Wear, WearKind};

use super::Content;
use super::html::{Html, file_name_of, html, without_folders};
use super::words::{channel_words, count, figures, listed, mm, notes, percent, sentence, swatch};

impl Content<'_> {
    /// The variation that is shown; where it is the job itself, those it has.
    pub(super) fn variation(&self) -> Html {
        let all = &self.studio.session.job.variations;
        let told = match &self.studio.variation {
            Some(variation) => figures(described(variation)),
            None if all.is_empty() => return Html::default(),
            None => {
                let names: Vec<&str> = all.iter().map(|variation| variation.name.as_str()).collect();
                html!("<p>This is the job itself. It also has {}; each can have a page of its own.</p>\n", listed(&names))
            }
        };
        html!("<section aria-labelledby=\"variation\">\n<h2 id=\"variation\">Variation</h2>\n{}</section>\n", told)
    }

    /// Marks of wear.
    pub(super) fn wear(&self) -> Html {
        let wear = &self.studio.job.wear;
        if wear.is_empty() {
            return Html::default();
        }
        let marks: Html = wear.iter().map(|mark| self.mark(mark)).collect();
        html!("<section aria-labelledby=\"wear\">\n<h2 id=\"wear\">Wear of the cloth itself</h2>\n{}</section>\n", marks)
    }

    fn mark(&self, mark: &Wear) -> Html {
        let report = self.studio.finished.wear.iter().find(|report| report.id == mark.id);
        let told = report.map(|report| {
            report.notes.iter().map(|note| Html::from(sentence(&without_folders(&note.text, self.folder)))).collect()
        });
        let color = match mark.kind {
            WearKind::Grime => mark.color.map(swatch),
            _ => mark.fibre.map(swatch),
        };
        let rows = vec![
            ("Kind", Html::from(mark.kind.name())),
            ("Strength", Html::from(percent(f64::from(mark.strength)))),
            ("Where", Html::from(place(mark))),
            ("Colour", color.unwrap_or_default()),
            (
                "Puckered",
                Html::from(if mark.pucker.get() > 0.0 { format!("every {}", mm(mark.pucker.get())) } else { String::new() }),
            ),
            ("Leaves alone", Html::from(listed(&mark.keep.iter().map(|&channel| channel_words(channel)).collect::<Vec<_>>()))),
            ("Texels touched", report.map(|report| Html::from(count(report.texels))).unwrap_or_default()),
        ];
        html!("<article class=\"card\">\n<h3>{}</h3>\n{}{}</article>\n", &mark.id, figures(rows), notes(told.unwrap_or_default()))
    }
}

fn described(variation: &Variation) -> Vec<(&'static str, Html)> {
    let strengths: Vec<String> =
        variation.strengths.iter().map(|(id, strength)| format!("{id} at {}", percent(f64::from(*strength)))).collect();
    let overall = if variation.strength < 1.0 { percent(f64::from(variation.strength)) } else { String::new() };
    vec![
        ("Name", Html::from(&variation.name)),
        ("Dye", variation.dye.map(swatch).unwrap_or_default()),
        ("In place of", variation.from.map(swatch).unwrap_or_default()),
        ("Bare fibre", variation.fibre.map(swatch).unwrap_or_default()),
        ("Materials dyed", Html::from(listed(&variation.materials))),
        ("Has only", Html::from(listed(&variation.only))),
        ("Lacks", Html::from(listed(&variation.without))),
        ("Strength of all", Html::from(overall)),
        ("Strength of some", Html::from(listed(&strengths))),
        (
            "Textures",
            Html::from(
                variation.texels.map(|texels| format!("delivered at {texels} texels; shown at full size")).unwrap_or_default(),
            ),
        ),
    ]
}

/// Where a mark is, in a sentence.
fn place(mark: &Wear) -> String {
    let mut parts: Vec<String> = mark.density.iter().map(more).collect();
    match mark.along.len() {
        0 => {}
        1 => parts.push(format!("around a spot, within {}", mm(mark.spread.get()))),
        _ => parts.push(format!("along a drawn line, within {}", mm(mark.spread.get()))),
    }
    if parts.is_empty() {
        parts.push("everywhere".to_owned());
    }
    if !mark.only.is_empty() {
        parts.push(format!("only on {}", listed(&mark.only)));
    }
    if !mark.keep_off.is_empty() {
        parts.push(format!("kept off {}", listed(&mark.keep_off)));
    }
    parts.join("; ")
}

fn more(density: &Density) -> String {
    match density {
        Density::Picture(path) => format!("as {} says", file_name_of(path)),
        Density::Height([most, none]) => {
            format!("most at {} of the garment's height, none at {}", percent(f64::from(*most)), percent(f64::from(*none)))
        }
        Density::Edges(reach) => format!("hems, cuffs and sharp folds, within {}", mm(reach.get())),
        Density::Bends(radius) => format!("bends of {} and tighter", mm(radius.get())),
        Density::Seams(reach) => format!("seams and edges, within {}", mm(reach.get())),
        Density::Bulges(radius) => format!("bulges of {} and rounder", mm(radius.get())),
        Density::Hollows(radius) => format!("hollows of {} and rounder", mm(radius.get())),
        Density::Facing(facing) => format!("where it faces {}", facing.name()),
    }
}
