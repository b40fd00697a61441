//! Placements: each close up with its figures.

use std::collections::BTreeMap;

use tatter_core::channel::Channel;
use tatter_core::model::{ChannelRule, Edge, MatchMode, Relief};
use tatter_core::task::Note;
use tatter_garment::build::PlacementReport;
use tatter_garment::check::RIM_LIMIT;
use tatter_garment::place::Placed;

use super::html::{Html, html, without_folders};
use super::words::{channel_words, count, decimal, figures, listed, mm, notes, percent, sentence};
use super::{Content, Pair};

/// Side of a placement's canvas on the cloth, millimetres.
pub(super) fn side_mm(placed: &Placed<'_>) -> f32 {
    placed.placement.size.map_or_else(|| placed.patch.size_mm()[0].get(), |size| size.get())
}

impl Content<'_> {
    /// What the build says of a placement.
    pub(super) fn report(&self, number: usize) -> Option<&PlacementReport> {
        let id = &self.placed[number].placement.id;
        self.studio.finished.report.placements.iter().find(|report| report.id == *id)
    }

    /// Every placement: those with a close-up as cards, the others as a table.
    pub(super) fn near(&self) -> Html {
        if self.placed.is_empty() {
            return Html::default();
        }
        let (near, far): (Vec<usize>, Vec<usize>) =
            (0..self.placed.len()).partition(|&i| self.close_ups.contains_key(&self.placed[i].placement.id));
        let card = |i: usize| self.close_ups.get(&self.placed[i].placement.id).map(|pair| self.card(i, pair));
        let cards: Html = near.into_iter().filter_map(card).collect();
        html!(
            "<section aria-labelledby=\"near\">\n<h2 id=\"near\">Close-ups</h2>\n<p class=\"say\">{}</p>\n{}{}</section>\n",
            format!(
                "Each shows half as much cloth again as its patch. The rim difference is CIEDE2000 between the patch's \
                 cloth and the garment's at its edge, median: above {RIM_LIMIT} it shows."
            ),
            cards,
            self.others(&far),
        )
    }

    fn card(&self, number: usize, pair: &Pair) -> Html {
        let placed = &self.placed[number];
        let id = &placed.placement.id;
        html!(
            "<article class=\"card close-up\" id=\"placement-{}\" aria-labelledby=\"placement-{}-name\">\n<div>\n{}</div>\n\
             <div>\n<h3 id=\"placement-{}-name\">{}</h3>\n{}{}</div>\n</article>\n",
            number + 1,
            number + 1,
            self.compare(pair, &format!("Close-up of {id}")),
            number + 1,
            id,
            figures(self.rows(number)),
            notes(self.own_notes(number)),
        )
    }

    fn rows(&self, number: usize) -> Vec<(&'static str, Html)> {
        let placed = &self.placed[number];
        let report = self.report(number);
        let told = |tell: &dyn Fn(&PlacementReport) -> Html| report.map(tell).unwrap_or_default();
        vec![
            ("Patch", self.patch_link(&placed.placement.patch)),
            ("Size", Html::from(size(placed))),
            ("Turn", Html::from(turn(placed))),
            ("Colour", Html::from(matched(placed))),
            ("Edge", Html::from(edge(placed))),
            ("Rim difference", told(&|report| rim(report.rim_difference))),
            ("Rules", Html::from(rules(placed))),
            ("Texels touched", told(&|report| Html::from(count(report.texels)))),
            ("Stretch", told(&|report| Html::from(stretch(report.worst_stretch)))),
            ("Detail", told(&|report| Html::from(detail(report)))),
        ]
    }

    /// Placements without a close-up.
    fn others(&self, far: &[usize]) -> Html {
        if far.is_empty() {
            return Html::default();
        }
        let row = |&number: &usize| {
            let placed = &self.placed[number];
            let report = self.report(number);
            html!(
                "<tr role=\"row\"><th scope=\"row\" role=\"rowheader\">{}</th><td role=\"cell\" data-label=\"Patch\">{}</td>\
                 <td role=\"cell\" data-label=\"Size\">{}</td><td role=\"cell\" data-label=\"Turn\">{}</td>\
                 <td role=\"cell\" data-label=\"Texels\">{}</td><td role=\"cell\" data-label=\"Rim\">{}</td><td role=\"cell\" data-label=\"Notes\">{}</td></tr>\n",
                &placed.placement.id,
                self.patch_link(&placed.placement.patch),
                mm(side_mm(placed)),
                turn(placed),
                report.map(|report| count(report.texels)).unwrap_or_default(),
                report.map(|report| rim(report.rim_difference)).unwrap_or_default(),
                self.own_notes(number).into_iter().map(|note| html!("<span class=\"look\">{}</span> ", note)).collect::<Html>(),
            )
        };
        let rows: Html = far.iter().map(row).collect();
        html!(
            "<h3>The other placements</h3>\n<table class=\"wide\" role=\"table\">\n<thead role=\"rowgroup\"><tr role=\"row\">{}</tr></thead>\n\
             <tbody role=\"rowgroup\">\n{}</tbody>\n</table>\n",
            ["Placement", "Patch", "Size", "Turn", "Texels touched", "Rim difference", "Notes"]
                .map(super::textures::head)
                .into_iter()
                .collect::<Html>(),
            rows,
        )
    }

    /// Notes of one placement that are not those of several.
    pub(super) fn own_notes(&self, number: usize) -> Vec<Html> {
        let shared = self.shared_notes();
        let Some(report) = self.report(number) else { return Vec::new() };
        let own = report.notes.iter().map(|note| said(note, &report.id)).filter(|text| !shared.contains_key(text));
        own.map(|text| Html::from(sentence(&without_folders(text, self.folder)))).collect()
    }

    /// What is said of several placements alike, and of which.
    pub(super) fn shared_notes(&self) -> BTreeMap<&str, Vec<&str>> {
        let mut by_text: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
        for report in &self.studio.finished.report.placements {
            for note in &report.notes {
                by_text.entry(said(note, &report.id)).or_default().push(&report.id);
            }
        }
        by_text.retain(|_, ids| ids.len() > 1);
        by_text
    }
}

/// A placement's note without its name, which stands above it.
fn said<'a>(note: &'a Note, id: &str) -> &'a str {
    let rest = note.text.strip_prefix("placement '").and_then(|rest| rest.strip_prefix(id));
    rest.and_then(|rest| rest.strip_prefix("': ")).unwrap_or(&note.text)
}

fn size(placed: &Placed<'_>) -> String {
    let (laid, own) = (side_mm(placed), placed.patch.size_mm()[0].get());
    let times = laid / own;
    if (times - 1.0).abs() < 0.005 { mm(laid) } else { format!("{}, {}\u{a0}× its true size", mm(laid), decimal(times, 2)) }
}

fn turn(placed: &Placed<'_>) -> String {
    let degrees = decimal(placed.placement.turn.to_degrees(), 1);
    let turned = if degrees == "0" { "along the grain".to_owned() } else { format!("{degrees}° from the grain") };
    if placed.placement.mirror { format!("{turned}, mirrored") } else { turned }
}

fn matched(placed: &Placed<'_>) -> String {
    let matching = &placed.placement.matching;
    // As the build does: a damage of unknown cloth cannot be matched unless that is asked for.
    let unknown = matching.mode.is_none() && placed.patch.cloth_color.is_none();
    let mut words = vec![
        match placed.match_mode() {
            MatchMode::None => "its own",
            _ if unknown => "its own; its cloth's is not known",
            MatchMode::Redye => "re-dyed as the garment, bare fibre left",
            MatchMode::Fit => "fitted to the garment's",
        }
        .to_owned(),
    ];
    if matching.strength < 1.0 {
        words.push(format!("by {}", percent(f64::from(matching.strength))));
    }
    if matching.grade.is_some() {
        words.push("graded by hand".to_owned());
    }
    if matching.relief == Relief::Keep {
        words.push("relief as deep as the patch's own".to_owned());
    }
    words.join(", ")
}

fn edge(placed: &Placed<'_>) -> String {
    // Cuts are sought for what is matched only.
    match placed.placement.matching.edge {
        Edge::Soft => "soft, where its cover ends".to_owned(),
        Edge::Seam => String::new(),
    }
}

/// CIEDE2000 to a tenth.
pub(super) fn rim_text(difference: f32) -> String {
    format!("{difference:.1}")
}

pub(super) fn rim(difference: Option<f32>) -> Html {
    match difference {
        None => Html::from("not compared"),
        Some(value) if value > RIM_LIMIT => html!("<span class=\"look\">{}, it shows</span>", rim_text(value)),
        Some(value) => Html::from(rim_text(value)),
    }
}

/// Rules and strengths that are not as usual.
fn rules(placed: &Placed<'_>) -> String {
    let usual = |channel: Channel| ChannelRule { rule: channel.info().rule, strength: 1.0 };
    let laid: Vec<Channel> = Channel::ALL.into_iter().filter(|&c| c.info().on_garment && placed.patch.has(c)).collect();
    let odd: Vec<Channel> = laid.iter().copied().filter(|&c| placed.placement.rule(c) != usual(c)).collect();
    let strength = odd.first().map_or(1.0, |&c| placed.placement.rule(c).strength);
    let alike = |&c: &Channel| placed.placement.rule(c) == ChannelRule { strength, ..usual(c) };
    if odd.len() == laid.len() && odd.iter().all(alike) && !odd.is_empty() {
        return format!("everything at {}", percent(f64::from(strength)));
    }
    let text = |channel: Channel| {
        let ChannelRule { rule, strength } = placed.placement.rule(channel);
        let name = channel_words(channel);
        if strength < 1.0 { format!("{name} {rule} at {}", percent(f64::from(strength))) } else { format!("{name} {rule}") }
    };
    listed(&odd.into_iter().map(text).collect::<Vec<_>>())
}

fn stretch(worst: f32) -> String {
    let off = 100.0 * (worst - 1.0);
    if off < 0.5 { "none".to_owned() } else { format!("lengths up to {off:.0}\u{a0}% off") }
}

fn detail(report: &PlacementReport) -> String {
    let texels = report.texels_per_patch_texel;
    let finer = if texels > 1.0 {
        format!("one texel of the patch over {} of the texture", decimal(texels, 1))
    } else {
        format!("{} texels of the patch to one of the texture", decimal(1.0 / texels.max(1e-6), 1))
    };
    report.thread_pitch_texels.map_or(finer.clone(), |pitch| format!("{finer}; threads {} texels apart", decimal(pitch, 1)))
}
