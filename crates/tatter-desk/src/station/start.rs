//! No job: what can be begun, and the jobs that were opened last.

use std::path::PathBuf;

use egui::{Align, Button, Key, Layout, Rect, Response, Role, Sense, Stroke, StrokeKind, TextEdit, Ui, WidgetInfo, pos2, vec2};
use tatter::recent::RecentJob;

use crate::command::Command;
use crate::look::{self, APART, Icon, NEAR, Palette, icon_button_ui, paint_icon, palette};
use crate::say;
use crate::start::{OnStart, Start, Wanted};
use crate::widget::named;
use crate::window::ask_ui;

/// Widest that lines are read in.
const BROAD: f32 = 960.0;
/// Share of it that what can be begun takes.
const LEFT: f32 = 0.58;

/// Draw the page; `path` is what is written as a file's path.
pub(crate) fn start_ui(ui: &mut Ui, start: &mut Start, path: &mut String, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    let broad = (ui.available_width() - 4.0 * APART).min(BROAD);
    let aside = 0.5 * (ui.available_width() - broad);
    egui::ScrollArea::vertical().id_salt("start").auto_shrink(false).show(ui, |ui| {
        ui.add_space((0.11 * ui.available_height()).max(APART));
        ui.horizontal_top(|ui| {
            ui.add_space(aside);
            column_ui(ui, LEFT * broad, |ui| begin_ui(ui, start, path, &colors, asked));
            ui.add_space(2.0 * APART);
            column_ui(ui, ui.available_width() - aside, |ui| recent_ui(ui, &start.jobs, &colors, asked));
        });
        ui.add_space(APART);
    });
}

fn column_ui(ui: &mut Ui, width: f32, add: impl FnOnce(&mut Ui)) {
    ui.allocate_ui_with_layout(vec2(width, 0.0), Layout::top_down(Align::Min), |ui| {
        ui.set_width(width);
        add(ui);
    });
}

fn begin_ui(ui: &mut Ui, start: &mut Start, path: &mut String, colors: &Palette, asked: &mut Vec<Command>) {
    ui.label(look::heading(say::BEGIN));
    ui.add(egui::Label::new(look::quiet(say::BEGIN_TIP, colors)).wrap());
    ui.add_space(APART);
    let making = start.is_making();
    let folder = PathBuf::from(start.folder.trim());
    let tip = if start.is_made { say::SAMPLE_THERE } else { say::SAMPLE_NEW };
    if choice_ui(ui, Icon::Sample, say::SAMPLE, tip, !making && !start.folder.trim().is_empty(), colors).clicked() {
        asked.push(Command::Start(OnStart::Sample(folder)));
    }
    sample_ui(ui, start, colors, asked);
    ui.add_space(NEAR);
    for (icon, title, tip, wanted) in [
        (Icon::Photo, say::LAY_PHOTOS, say::LAY_PHOTOS_TIP, Wanted::Photos),
        (Icon::Garment, say::FROM_MESH, say::FROM_MESH_TIP, Wanted::Mesh),
        (Icon::Job, say::OPEN_JOB, say::OPEN_JOB_TIP, Wanted::Job),
    ] {
        if choice_ui(ui, icon, title, tip, !making || wanted == Wanted::Photos, colors).clicked() {
            asked.push(Command::Start(OnStart::Choose(wanted)));
        }
    }
    ui.add_space(NEAR);
    written_ui(ui, path, colors, asked);
}

/// Where the sample is made, how far it is, what went wrong.
fn sample_ui(ui: &mut Ui, start: &mut Start, colors: &Palette, asked: &mut Vec<Command>) {
    if start.is_making() {
        ui.horizontal(|ui| {
            ask_ui(ui, say::STOP, Command::Start(OnStart::Stop), asked);
            let text = start.progress.as_ref().map(|(stage, share)| say::making(stage, *share));
            ui.label(look::quiet(text.as_deref().unwrap_or(say::BEGINNING), colors));
        });
        return;
    }
    ui.horizontal(|ui| {
        ui.add_space(NEAR);
        ui.label(look::quiet(if start.is_made { say::SAMPLE_IN } else { say::SAMPLE_WILL_BE_IN }, colors));
        let field = ui.add(TextEdit::singleline(&mut start.folder).desired_width(ui.available_width() - NEAR));
        named(&field, Role::TextInput, say::SAMPLE_FOLDER);
        if field.changed() {
            start.look_for_sample();
        }
    });
    if let Some(trouble) = &start.trouble {
        ui.add(egui::Label::new(egui::RichText::new(say::sentence(&trouble.what)).color(colors.madder)).wrap());
        ui.add(egui::Label::new(look::plain(&trouble.next, colors)).wrap());
    }
}

/// A file named by hand.
fn written_ui(ui: &mut Ui, path: &mut String, colors: &Palette, asked: &mut Vec<Command>) {
    ui.label(look::quiet(say::OR_WRITE, colors));
    ui.horizontal(|ui| {
        let field = ui.add(TextEdit::singleline(path).hint_text(say::OPEN_HINT).desired_width(ui.available_width() - 66.0));
        named(&field, Role::TextInput, say::ANY_FILE);
        let entered = field.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
        let can = !path.trim().is_empty();
        if ui.add_enabled(can, Button::new(say::OPEN)).clicked() || (entered && can) {
            asked.push(Command::Bring(vec![PathBuf::from(path.trim())]));
        }
    });
}

/// Something that can be begun: an icon, what it is called, and what it does.
fn choice_ui(ui: &mut Ui, icon: Icon, title: &str, tip: &str, enabled: bool, colors: &Palette) -> Response {
    let width = ui.available_width();
    let indent = 58.0;
    let layout = |mut job: egui::text::LayoutJob| {
        job.wrap.max_width = width - indent - 14.0;
        ui.painter().layout_job(job)
    };
    let title_color = if enabled { colors.ink } else { colors.quiet };
    let name = ui.painter().layout_no_wrap(title.to_owned(), look::title_font(), title_color);
    let text = layout(look::quiet(tip, colors));
    let height = 24.0 + name.size().y + 2.0 + text.size().y;
    let (rect, response) = ui.allocate_exact_size(vec2(width, height), if enabled { Sense::click() } else { Sense::hover() });
    response.widget_info(|| WidgetInfo::labeled(Role::Button, enabled, title));
    let is_hot = enabled && (response.hovered() || response.has_focus());
    let edge = if is_hot { Stroke::new(1.6, colors.thread) } else { Stroke::new(1.0, colors.line) };
    ui.painter().rect(rect, 7.0, if is_hot { colors.hover } else { colors.sheet }, edge, StrokeKind::Inside);
    let square = Rect::from_center_size(pos2(rect.left() + 0.5 * indent, rect.center().y), vec2(32.0, 32.0));
    paint_icon(ui.painter(), icon, square, if enabled { colors.thread } else { colors.quiet });
    let at = rect.min + vec2(indent, 12.0);
    let below = at + vec2(0.0, name.size().y + 2.0);
    ui.painter().galley(at, name, colors.ink);
    ui.painter().galley(below, text, colors.quiet);
    response
}

fn recent_ui(ui: &mut Ui, jobs: &[RecentJob], colors: &Palette, asked: &mut Vec<Command>) {
    ui.label(look::heading(say::RECENT));
    ui.add_space(NEAR);
    if jobs.is_empty() {
        ui.label(look::quiet(say::NO_RECENT, colors));
    }
    for job in jobs {
        if recent_job_ui(ui, job, colors, asked).clicked() {
            asked.push(Command::Open(job.path.clone()));
        }
    }
}

/// A job that was opened; one that is gone can only be taken off the list.
fn recent_job_ui(ui: &mut Ui, job: &RecentJob, colors: &Palette, asked: &mut Vec<Command>) -> Response {
    let name = job.path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let (rect, response) =
        ui.allocate_exact_size(vec2(ui.available_width(), 48.0), if job.is_there { Sense::click() } else { Sense::hover() });
    let state = if job.is_there { say::lies_in(&job.path) } else { say::GONE.to_owned() };
    response.widget_info(|| WidgetInfo::labeled(Role::Button, job.is_there, format!("{name}, {state}")));
    if job.is_there && (response.hovered() || response.has_focus()) {
        ui.painter().rect(rect, 6.0, colors.hover, Stroke::new(1.0, colors.thread), StrokeKind::Inside);
    }
    let away = Rect::from_center_size(pos2(rect.right() - 22.0, rect.center().y), vec2(30.0, 30.0));
    let inside = ui.painter().with_clip_rect(rect.with_max_x(away.left() - 4.0));
    let font = egui::FontId::new(13.5, look::strong());
    let color = if job.is_there { colors.ink } else { colors.quiet };
    inside.text(rect.left_top() + vec2(10.0, 7.0), egui::Align2::LEFT_TOP, &name, font, color);
    let color = if job.is_there { colors.quiet } else { colors.weld };
    inside.text(rect.left_top() + vec2(10.0, 26.0), egui::Align2::LEFT_TOP, state, egui::FontId::proportional(12.5), color);
    let off = say::off_the_list(&name);
    let mut corner = ui.new_child(egui::UiBuilder::new().max_rect(away).id_salt(&job.path));
    if icon_button_ui(&mut corner, Icon::Remove, &off, &off, false, true).clicked() {
        asked.push(Command::Start(OnStart::Forget(job.path.clone())));
    }
    response.on_hover_text(job.path.display().to_string())
}
