//! How a piece meets the cloth it lies on: match, grade, rules.

use egui::{Align2, FontId, Id, Sense, Ui, vec2};
use tatter_core::channel::{Channel, PerChannel};
use tatter_core::color::Cdl;
use tatter_core::model::{ChannelRule, Match, MatchMode};
use tatter_core::rule::Rule;

use super::{row_ui, section_ui};
use crate::look::{Icon, Palette, icon_button_ui};
use crate::say;
use crate::widget::fields::{Handled, Measure, choice_ui, number_ui, percent_ui, tick_ui, words_ui};

/// Numbers of a grade: hundredths are seen, and nothing sensible lies beyond these.
const FACTOR: Measure = Measure { range: 0.0..=8.0, speed: 0.005, decimals: 2, unit: "" };
const OFFSET: Measure = Measure { range: -1.0..=1.0, speed: 0.002, decimals: 3, unit: "" };
const POWER: Measure = Measure { range: 0.05..=8.0, speed: 0.005, decimals: 2, unit: "" };

/// Width of a number of a grade.
const COLUMN: f32 = 60.0;

/// Draw all of it; `channels` are those that the garment has.
pub(super) fn meet_ui(
    ui: &mut Ui,
    matching: &mut Match,
    rules: &mut PerChannel<Option<ChannelRule>>,
    channels: &[Channel],
    colors: &Palette,
    handled: &mut Handled,
) {
    section_ui(ui, say::MATCH, say::LIST_HEAD[7].1, colors);
    row_ui(ui, say::MATCH_COLOR, "", colors, |ui| {
        words_ui(ui, &mut matching.mode, &say::MATCHES, say::MATCH_COLOR, colors, handled);
    });
    let is_fitted = matching.mode != Some(MatchMode::None);
    ui.add_enabled_ui(is_fitted, |ui| {
        row_ui(ui, say::MATCH_FAR, say::MATCH_FAR_TIP, colors, |ui| {
            percent_ui(ui, &mut matching.strength, say::MATCH_FAR, handled);
        });
        row_ui(ui, say::MATCH_RELIEF, "", colors, |ui| {
            words_ui(ui, &mut matching.relief, &say::RELIEFS, say::MATCH_RELIEF, colors, handled);
        });
        row_ui(ui, say::MATCH_EDGE, "", colors, |ui| {
            words_ui(ui, &mut matching.edge, &say::EDGES, say::MATCH_EDGE, colors, handled);
        });
    });
    grade_ui(ui, &mut matching.grade, colors, handled);
    rules_ui(ui, rules, channels, colors, handled);
}

fn grade_ui(ui: &mut Ui, grade: &mut Option<Cdl>, colors: &Palette, handled: &mut Handled) {
    section_ui(ui, say::GRADE, say::GRADE_TIP, colors);
    let Some(cdl) = grade else {
        if ui.button(say::GRADE_BEGIN).on_hover_text(say::GRADE_TIP).clicked() {
            *grade = Some(Cdl::default());
            handled.set();
        }
        return;
    };
    let together = together_ui(ui, cdl);
    ui.scope(|ui| {
        // Columns of one width, whatever stands in them.
        ui.spacing_mut().interact_size.x = COLUMN;
        row_ui(ui, "", "", colors, |ui| say::RED_GREEN_BLUE.iter().for_each(|color| head_ui(ui, color, colors)));
        let rows = [(&mut cdl.slope, FACTOR), (&mut cdl.offset, OFFSET), (&mut cdl.power, POWER)];
        for ((label, tip), (values, measure)) in say::GRADE_ROWS.into_iter().zip(rows) {
            row_ui(ui, label, tip, colors, |ui| numbers_ui(ui, label, values, &measure, together, handled));
        }
        row_ui(ui, say::SATURATION, say::SATURATION_TIP, colors, |ui| {
            number_ui(ui, &mut cdl.saturation, &FACTOR, say::SATURATION, handled);
        });
    });
    if ui.button(say::GRADE_NONE).clicked() {
        *grade = None;
        handled.set();
    }
}

/// The name of a column.
fn head_ui(ui: &mut Ui, color: &str, colors: &Palette) {
    let (rect, _) = ui.allocate_exact_size(vec2(COLUMN, ui.spacing().interact_size.y), Sense::hover());
    ui.painter().text(rect.center(), Align2::CENTER_CENTER, color, FontId::proportional(12.0), colors.quiet);
}

/// A number for each colour.
fn numbers_ui(ui: &mut Ui, label: &str, values: &mut [f32; 3], measure: &Measure, together: bool, handled: &mut Handled) {
    for (number, color) in say::RED_GREEN_BLUE.into_iter().enumerate() {
        let name = format!("{label}, {color}");
        if number_ui(ui, &mut values[number], measure, &name, handled).changed() && together {
            *values = [values[number]; 3];
        }
    }
}

/// Whether a number of one colour is that of all three: as it was ticked last, else where they are alike.
fn together_ui(ui: &mut Ui, cdl: &Cdl) -> bool {
    let id = Id::unique("grade together");
    let alike = [cdl.slope, cdl.offset, cdl.power].iter().all(|[r, g, b]| r == g && g == b);
    let mut together = ui.data(|data| data.get_temp(id)).unwrap_or(alike);
    if tick_ui(ui, &mut together, say::GRADE_TOGETHER, &mut Handled::default()).changed() {
        ui.data_mut(|data| data.insert_temp(id, together));
    }
    together
}

fn rules_ui(
    ui: &mut Ui,
    rules: &mut PerChannel<Option<ChannelRule>>,
    channels: &[Channel],
    colors: &Palette,
    handled: &mut Handled,
) {
    section_ui(ui, say::RULES, say::RULES_TIP, colors);
    for channel in Channel::ALL.into_iter().filter(|channel| channel.info().on_garment) {
        if channels.contains(&channel) || rules[channel].is_some() {
            row_ui(ui, &say::channel(channel), channel.info().doc, colors, |ui| {
                rule_ui(ui, channel, &mut rules[channel], handled);
            });
        }
    }
}

fn rule_ui(ui: &mut Ui, channel: Channel, told: &mut Option<ChannelRule>, handled: &mut Handled) {
    let info = channel.info();
    let usual = ChannelRule { rule: info.rule, strength: 1.0 };
    let mut rule = told.unwrap_or(usual);
    let name = say::channel(channel);
    let choices: Vec<(Rule, &str)> =
        Rule::ALL.into_iter().filter(|rule| rule.fits(info.kind)).map(|rule| (rule, rule.name())).collect();
    let mut own = Handled::default();
    choice_ui(ui, &mut rule.rule, &choices, &say::rule_of(&name), 88.0, &mut own);
    ui.add_enabled_ui(rule.rule != Rule::Keep, |ui| {
        percent_ui(ui, &mut rule.strength, &say::strength_of(&name), &mut own);
    });
    if rule != told.unwrap_or(usual) {
        *told = (rule != usual).then_some(rule);
    }
    handled.also(own);
    if told.is_some()
        && icon_button_ui(ui, Icon::Undo, &format!("{}: {name}", say::RULE_USUAL), say::RULE_USUAL, false, true).clicked()
    {
        *told = None;
        handled.set();
    }
}
