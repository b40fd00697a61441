//! What would be cut of a photo: over a checker, lit, in numbers; and the button that keeps it.

use egui::{Align2, Button, Grid, RichText, Role, Sense, TextEdit, Ui, WidgetInfo, vec2};
use tatter::cutting::{Existing, Preview};

use super::marks::tag;
use super::{WHOLE, named};
use crate::command::Command;
use crate::look::{self, APART, NEAR, Palette, palette};
use crate::open::Shown;
use crate::photo::{OnPhoto, Photos, Sheet};
use crate::say;
use crate::window::ask_ui;

/// Least side of a view.
const LEAST: f32 = 120.0;

/// Draw the panel.
pub(crate) fn photo_cut_ui(ui: &mut Ui, photos: &mut Photos, job: Option<&std::path::Path>, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    let accepting = photos.is_accepting();
    let resting = photos.is_resting();
    let Some(sheet) = photos.sheet_mut() else { return };
    ui.label(look::heading(say::WOULD_BE_CUT));
    state_ui(ui, sheet, resting, &colors, asked);
    ui.add_space(2.0);
    accept_panel(ui, sheet, job, accepting, &colors, asked);
    egui::ScrollArea::vertical().id_salt("cut").auto_shrink(false).show(ui, |ui| {
        let side = (0.5 * (ui.available_width() - NEAR)).max(LEAST);
        ui.horizontal(|ui| {
            view_ui(ui, &mut sheet.plain, side, say::ON_CHECKER, &colors);
            view_ui(ui, &mut sheet.lit, side, say::LIT, &colors);
        });
        ui.add_space(NEAR);
        if let Some(trouble) = &sheet.trouble {
            ui.add(egui::Label::new(RichText::new(say::sentence(&trouble.what)).color(colors.madder)).wrap());
            ui.add(egui::Label::new(look::plain(&trouble.next, &colors)).wrap());
        }
        if let Some(preview) = sheet.preview.clone() {
            found_ui(ui, &preview, &colors);
        }
    });
}

/// What goes on: at work, stopped, a first look, or as it will be.
fn state_ui(ui: &mut Ui, sheet: &Sheet, resting: bool, colors: &Palette, asked: &mut Vec<Command>) {
    ui.horizontal(|ui| {
        ui.set_min_height(ui.spacing().interact_size.y);
        if !resting {
            ask_ui(ui, say::STOP, Command::Photo(OnPhoto::Stop), asked);
            let shown = sheet.preview.as_ref().map(|preview| preview.told == **sheet.told());
            let text = match (&sheet.progress, shown) {
                _ if sheet.is_seeking_chart => say::SEEKING_CHART.to_owned(),
                (None, _) => say::PHOTO_READING.to_owned(),
                (Some((stage, share)), Some(true)) => say::finer(stage, *share),
                (Some((stage, share)), Some(false)) => say::anew(stage, *share),
                (Some((stage, share)), None) => say::progress(stage, *share),
            };
            ui.label(look::quiet(&text, colors));
        } else if sheet.is_stopped {
            ask_ui(ui, say::CUT_AGAIN, Command::Photo(OnPhoto::Again), asked);
            ui.label(look::quiet(say::STOPPED, colors));
        } else if sheet.preview.is_some() {
            ui.label(look::quiet(say::AS_IT_WILL_BE, colors));
        }
    });
}

/// A square view with its name on it.
fn view_ui(ui: &mut Ui, shown: &mut Shown, side: f32, name: &str, colors: &Palette) {
    let (rect, response) = ui.allocate_exact_size(vec2(side, side), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, name));
    ui.painter().rect_filled(rect, 4.0, colors.table);
    if let Some(texture) = shown.texture(ui.ctx(), name) {
        ui.painter().image(texture.id(), rect, WHOLE, egui::Color32::WHITE);
    }
    tag(ui.painter(), rect.left_bottom() + vec2(12.0, -14.0), Align2::LEFT_CENTER, name, colors);
}

fn found_ui(ui: &mut Ui, preview: &Preview, colors: &Palette) {
    ui.add(egui::Label::new(look::name(&say::sentence(&preview.cut.why))).wrap());
    ui.add_space(2.0);
    Grid::new("facts").num_columns(2).spacing([12.0, 4.0]).show(ui, |ui| {
        for (what, value) in say::facts(preview) {
            ui.label(look::quiet(what, colors));
            ui.add(egui::Label::new(value).wrap());
            ui.end_row();
        }
    });
    for note in &preview.notes {
        ui.add_space(2.0);
        let text = look::warning(&say::sentence(&say::at_the_desk(&note.text)), colors);
        ui.add(egui::Label::new(text).wrap());
    }
}

/// The name and the button, at the foot of the panel whatever stands above.
fn accept_panel(
    ui: &mut Ui,
    sheet: &mut Sheet,
    job: Option<&std::path::Path>,
    accepting: bool,
    colors: &Palette,
    asked: &mut Vec<Command>,
) {
    egui::Panel::bottom("accept").resizable(false).show_separator_line(true).frame(egui::Frame::new()).show(ui, |ui| {
        ui.add_space(APART);
        // Above the field, which stays where it is.
        said_ui(ui, sheet, job, accepting, colors, asked);
        ui.horizontal(|ui| {
            let field = ui.add(TextEdit::singleline(&mut sheet.name).desired_width(ui.available_width() - 104.0));
            named(&field, Role::TextInput, say::PATCH_NAME);
            if field.changed() {
                sheet.taken = false;
                sheet.accept_trouble = None;
            }
            let can = is_name(&sheet.name)
                && sheet.at_hand().is_some()
                && sheet.trouble.is_none()
                && !accepting
                && !sheet.is_seeking_chart;
            let button = Button::new(RichText::new(say::ACCEPT).color(if can { colors.on_thread } else { colors.quiet }));
            let button = if can { button.fill(colors.thread) } else { button };
            if ui.add_enabled(can, button).on_hover_text(say::ACCEPT_TIP).clicked() {
                asked.push(Command::Photo(OnPhoto::Accept(Existing::Stays)));
            }
        });
    });
}

/// What came of accepting, or what it would do.
fn said_ui(
    ui: &mut Ui,
    sheet: &Sheet,
    job: Option<&std::path::Path>,
    accepting: bool,
    colors: &Palette,
    asked: &mut Vec<Command>,
) {
    if accepting {
        ui.label(look::quiet(say::ACCEPTING, colors));
    } else if let Some(trouble) = &sheet.accept_trouble {
        ui.add(egui::Label::new(RichText::new(say::sentence(&trouble.what)).color(colors.madder)).wrap());
        if sheet.taken {
            ask_ui(ui, say::REPLACE, Command::Photo(OnPhoto::Accept(Existing::Replaced)), asked);
        } else {
            ui.add(egui::Label::new(look::plain(&trouble.next, colors)).wrap());
        }
    } else if let Some(said) = sheet.said.as_ref().filter(|_| sheet.is_accepted()) {
        ui.add(egui::Label::new(RichText::new(said).color(colors.moss)).wrap());
    } else if !is_name(&sheet.name) {
        ui.add(egui::Label::new(RichText::new(say::NO_NAME).color(colors.madder)).wrap());
    } else {
        let folder = sheet.folder(job);
        let whole = folder.display().to_string();
        ui.add(egui::Label::new(look::quiet(&say::becomes(&folder), colors)).wrap()).on_hover_text(whole);
    }
}

/// Whether a folder can be called so, on any system.
pub(crate) fn is_name(name: &str) -> bool {
    let name = name.trim();
    !name.is_empty() && !name.starts_with('.') && !name.contains(['/', '\\', ':', '*', '?', '"', '<', '>', '|'])
}
