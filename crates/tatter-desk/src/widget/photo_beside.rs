//! What is told with other files and with numbers: shots of the same cloth, a chart or a rectangle of known size, the scale without a ruler.

use std::path::{Path, PathBuf};

use egui::{ComboBox, Role, TextEdit, Ui};
use tatter_core::model::{KnownSize, Scale};
use tatter_core::units::{Mm, MmPerTexel, PerCm};

use super::fields::{Handled, choice_ui, word_ui};
use super::named;
use crate::command::Command;
use crate::look::{self, NEAR, Palette};
use crate::photo::{OnPhoto, Sheet, Shot};
use crate::say;
use crate::start::{OnStart, Wanted};
use crate::window::ask_ui;

/// Other shots of the cloth: photos that lie on the table, and a lights file.
pub(super) fn beside_ui(ui: &mut Ui, sheet: &Sheet, others: &[PathBuf], colors: &Palette, asked: &mut Vec<Command>) {
    ui.label(look::name(say::BESIDE));
    let told = sheet.told();
    let is_told = |shot: Shot| shot.of(told).is_some();
    let any = !others.is_empty() || Shot::PHOTOS.into_iter().any(is_told);
    ui.label(look::quiet(if any { say::BESIDE_WHY } else { say::BESIDE_NONE }, colors));
    // The lamp alone is asked for beside the shot that shows it.
    let asked_for = |shot: &Shot| any && (*shot != Shot::Lamp || is_told(Shot::Backlit));
    for shot in Shot::PHOTOS.into_iter().filter(asked_for) {
        ui.label(say::shot(shot)).on_hover_text(say::shot_hint(shot));
        shot_ui(ui, shot, shot.of(told), others, asked);
    }
    ui.add_space(2.0);
    if let Some(file) = Shot::Lights.of(told) {
        ui.add(egui::Label::new(say::told_shot(Shot::Lights, file)).wrap()).on_hover_text(file.display().to_string());
    }
    ask_ui(ui, say::CHOOSE_LIGHTS, Command::Start(OnStart::Choose(Wanted::Lights)), asked);
}

/// Which of the photos one shot is. One that lies on the table no more stays told.
fn shot_ui(ui: &mut Ui, shot: Shot, told: Option<&Path>, others: &[PathBuf], asked: &mut Vec<Command>) {
    let shown = told.map_or_else(|| say::NO_SHOT.to_owned(), say::file_name);
    let list =
        ComboBox::from_id_salt(shot).selected_text(shown).width(ui.available_width() - NEAR).truncate().show_ui(ui, |ui| {
            let mut tell = |file: Option<&Path>| asked.push(Command::Photo(OnPhoto::Beside(shot, file.map(Path::to_owned))));
            if ui.selectable_label(told.is_none(), say::NO_SHOT).clicked() {
                tell(None);
            }
            for other in others {
                let name = say::file_name(other);
                let response =
                    ui.selectable_label(told == Some(other.as_path()), &name).on_hover_text(other.display().to_string());
                named(&response, Role::Button, &say::use_shot(&name));
                if response.clicked() {
                    tell(Some(other));
                }
            }
        });
    named(&list.response, Role::ComboBox, say::shot(shot));
}

/// A number above zero that one field holds, with Enter or when it is left.
fn field_ui(ui: &mut Ui, text: &mut String, name: &str, hint: &str) -> Option<f32> {
    let field = ui.add(TextEdit::singleline(text).desired_width(58.0).hint_text(hint));
    named(&field, Role::TextInput, name);
    let entered = field.lost_focus() && !text.trim().is_empty();
    if entered { number_of(text) } else { None }
}

/// What the rectangle of known size is.
pub(super) fn rectangle_ui(ui: &mut Ui, sheet: &mut Sheet, colors: &Palette, asked: &mut Vec<Command>) {
    let chosen = sheet.rectangle();
    let is_other = matches!(chosen, Some(KnownSize::Told { .. }));
    let mut size = |size| asked.extend([Command::Photo(OnPhoto::KnownSize(size)), Command::LetGo]);
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 2.0;
        for known in KnownSize::FOUND {
            let word = word_ui(ui, chosen == Some(known), &say::known_size(known), colors);
            if word.on_hover_text(say::known_size_hint(known)).clicked() {
                size(known);
            }
        }
        let other = KnownSize::Told { width: Mm(60.0), height: Mm(40.0) };
        let word = word_ui(ui, is_other, say::OTHER_SIZE, colors).on_hover_text(say::known_size_hint(other));
        if word.clicked() && !is_other {
            size(other);
        }
    });
    if let Some(KnownSize::Told { width, height }) = chosen {
        ui.horizontal(|ui| {
            let [first, second, _] = &mut sheet.numbers;
            let width = field_ui(ui, first, say::RECTANGLE_WIDTH, &say::short(width.get())).map_or(width, Mm);
            ui.label("×");
            let height = field_ui(ui, second, say::RECTANGLE_HEIGHT, &say::short(height.get())).map_or(height, Mm);
            ui.label("mm");
            let now = KnownSize::Told { width, height };
            if chosen != Some(now) {
                size(now);
            }
        });
    }
}

/// The chart is found, or why it is not.
pub(super) fn chart_ui(ui: &mut Ui, sheet: &Sheet, colors: &Palette, asked: &mut Vec<Command>) {
    let can = sheet.at_hand().is_some() && !sheet.is_seeking_chart;
    if ui.add_enabled(can, egui::Button::new(say::FIND_CHART)).on_hover_text(say::FIND_CHART_TIP).clicked() {
        asked.push(Command::Photo(OnPhoto::FindChart));
    }
    if sheet.is_seeking_chart {
        ui.label(look::quiet(say::SEEKING_CHART, colors));
    } else if let Some(trouble) = &sheet.chart_trouble {
        ui.add(egui::Label::new(egui::RichText::new(say::sentence(&trouble.what)).color(colors.madder)).wrap());
        ui.add(egui::Label::new(look::plain(&trouble.next, colors)).wrap());
    }
}

/// A ruler that lies on the cloth is found, or the panel beside says why it is not.
pub(super) fn find_ruler_ui(ui: &mut Ui, sheet: &Sheet, asked: &mut Vec<Command>) {
    let can = sheet.told().recipe.scale != Scale::FoundRuler;
    let button = ui.add_enabled(can, egui::Button::new(say::FIND_RULER));
    if button.on_hover_text(say::FIND_RULER_TIP).on_disabled_hover_text(say::FIND_RULER_TOLD).clicked() {
        asked.push(Command::Photo(OnPhoto::Scale(Scale::FoundRuler)));
    }
}

/// The scale as a number.
pub(super) fn scale_ui(ui: &mut Ui, sheet: &mut Sheet, colors: &Palette, asked: &mut Vec<Command>) {
    ui.add_space(NEAR);
    ui.label(look::quiet(say::NO_RULER, colors));
    let hint = say::SCALE_HINTS[sheet.scale_by.min(2)];
    let number = field_ui(ui, &mut sheet.numbers[2], say::SCALE_NUMBER, hint);
    let mut handled = Handled::default();
    choice_ui(ui, &mut sheet.scale_by, &say::SCALES, say::SCALE_BY, ui.available_width() - NEAR, &mut handled);
    if let Some(number) = number {
        let scale = match sheet.scale_by {
            0 => Scale::Width(Mm(number)),
            1 => Scale::MmPerPixel(MmPerTexel(number)),
            _ => Scale::EndsPerCm(PerCm(number)),
        };
        if sheet.told().recipe.scale != scale {
            asked.push(Command::Photo(OnPhoto::Scale(scale)));
        }
    }
}

/// A number above zero as people write it, with a point or a comma.
pub(super) fn number_of(text: &str) -> Option<f32> {
    let text = text.trim().trim_end_matches("mm").trim_end().replace(',', ".");
    text.parse::<f32>().ok().filter(|mm| mm.is_finite() && *mm > 0.0)
}

#[cfg(test)]
mod tests {
    use super::number_of;

    #[test]
    fn lengths_as_people_write_them() {
        assert_eq!([number_of("50"), number_of(" 12,5 mm"), number_of("0.5mm")], [Some(50.0), Some(12.5), Some(0.5)], "read");
        assert_eq!([number_of("0"), number_of("-3"), number_of("five"), number_of("inf")], [None; 4], "no lengths");
    }
}
