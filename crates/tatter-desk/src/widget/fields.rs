//! Numbers and words that are changed in place, and what was done to them.

use std::ops::RangeInclusive;

use egui::{ComboBox, DragValue, Response, RichText, Role, Ui};

use super::named;
use crate::command::Command;
use crate::look::Palette;

/// What was done in one frame to the fields of one thing.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Handled {
    has_changed: bool,
    is_dragged: bool,
    was_let_go: bool,
}

impl Handled {
    /// Take note of a field.
    pub(crate) fn note(&mut self, response: &Response) {
        self.has_changed |= response.changed();
        self.is_dragged |= response.dragged();
        self.was_let_go |= response.drag_stopped();
    }

    /// What was done to some of the fields.
    pub(crate) const fn also(&mut self, other: Self) {
        self.has_changed |= other.has_changed;
        self.is_dragged |= other.is_dragged;
        self.was_let_go |= other.was_let_go;
    }

    /// Something was chosen.
    pub(crate) const fn set(&mut self) {
        self.has_changed = true;
    }

    /// Ask for what was done: one step while a number is dragged, one for each value that is written or chosen.
    pub(crate) fn ask(self, asked: &mut Vec<Command>, dragged: impl FnOnce() -> Command, made: impl FnOnce() -> Command) {
        if self.has_changed {
            asked.push(if self.is_dragged { dragged() } else { made() });
        }
        if self.was_let_go {
            asked.push(Command::LetGo);
        }
    }
}

/// How a number is shown and how fast it is dragged.
#[derive(Clone, Debug)]
pub(crate) struct Measure {
    pub(crate) range: RangeInclusive<f32>,
    pub(crate) speed: f32,
    pub(crate) decimals: usize,
    pub(crate) unit: &'static str,
}

impl Measure {
    /// Millimetres.
    pub(crate) const MM: Self = Self { range: 0.0..=2000.0, speed: 0.2, decimals: 1, unit: " mm" };
    /// A share as percent.
    pub(crate) const PERCENT: Self = Self { range: 0.0..=100.0, speed: 0.5, decimals: 0, unit: " %" };
    /// An angle.
    pub(crate) const DEGREES: Self = Self { range: -180.0..=180.0, speed: 0.5, decimals: 0, unit: "°" };
}

/// A number that is dragged, or pressed and written; `name` is for those who do not see it.
pub(crate) fn number_ui(ui: &mut Ui, value: &mut f32, measure: &Measure, name: &str, handled: &mut Handled) -> Response {
    let drag = DragValue::new(value)
        .range(measure.range.clone())
        .speed(measure.speed)
        .fixed_decimals(measure.decimals)
        .suffix(measure.unit)
        .update_while_editing(false);
    let response = ui.add(drag);
    named(&response, Role::SpinButton, name);
    handled.note(&response);
    response
}

/// A share, 0 to 1, as percent.
pub(crate) fn percent_ui(ui: &mut Ui, share: &mut f32, name: &str, handled: &mut Handled) -> Response {
    let mut percent = 100.0 * *share;
    let response = number_ui(ui, &mut percent, &Measure::PERCENT, name, handled);
    if response.changed() {
        *share = percent / 100.0;
    }
    response
}

/// A box to tick.
pub(crate) fn tick_ui(ui: &mut Ui, value: &mut bool, label: &str, handled: &mut Handled) -> Response {
    let response = ui.checkbox(value, label);
    handled.note(&response);
    response
}

/// A word that can be chosen among others.
pub(crate) fn word_ui(ui: &mut Ui, is_chosen: bool, label: &str, colors: &Palette) -> Response {
    let text = RichText::new(label).color(if is_chosen { colors.on_thread } else { colors.ink });
    ui.selectable_label(is_chosen, text)
}

/// One of a few words with their tips, side by side; what they are about is said before each to those who do not see it.
pub(crate) fn words_ui<T: Copy + PartialEq>(
    ui: &mut Ui,
    value: &mut T,
    words: &[(T, &str, &str)],
    about: &str,
    colors: &Palette,
    handled: &mut Handled,
) {
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 2.0;
        for (choice, word, tip) in words {
            let response = word_ui(ui, *value == *choice, word, colors).on_hover_text(*tip);
            named(&response, Role::Button, &format!("{about} {word}"));
            if response.clicked() && *value != *choice {
                *value = *choice;
                handled.set();
            }
        }
    });
}

/// One of several words in a list that opens.
pub(crate) fn choice_ui<T: Copy + PartialEq>(
    ui: &mut Ui,
    value: &mut T,
    choices: &[(T, &str)],
    name: &str,
    width: f32,
    handled: &mut Handled,
) -> Response {
    let shown = choices.iter().find(|(choice, _)| choice == value).map_or("", |(_, word)| word);
    let list = ComboBox::from_id_salt(name).selected_text(shown).width(width).show_ui(ui, |ui| {
        for (choice, word) in choices {
            if ui.selectable_label(choice == value, *word).clicked() && choice != value {
                *value = *choice;
                handled.set();
            }
        }
    });
    named(&list.response, Role::ComboBox, name);
    list.response
}
