//! The loom at the Patch station: what is said on the left, one map large with the others in a strip, what is woven on the right.

use std::path::Path;

use egui::{CentralPanel, Frame, Panel, Rect, Ui, UiBuilder, Vec2, vec2};

use crate::command::Command;
use crate::look::{NEAR, Palette, palette, sheet_frame};
use crate::loom::{Loom, OnLoom};
use crate::say;
use crate::widget::WHOLE;
use crate::widget::flat::fitted;
use crate::widget::loom_said::loom_said_ui;
use crate::widget::loom_woven::loom_woven_ui;
use crate::widget::map_view::{map_strip_ui, map_view_ui, tile_ui};
use crate::widget::swatch::swatch_ui;
use crate::window::ask_ui;

/// Draw it; patches go beside the job, when one is open.
pub(crate) fn loom_ui(ui: &mut Ui, loom: &mut Loom, job: Option<&Path>, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    let frame = sheet_frame(&colors);
    Panel::left("said").exact_size(286.0).resizable(false).frame(frame).show(ui, |ui| {
        ask_ui(ui, say::FROM_LOOM, Command::Loom(OnLoom::Up(false)), asked);
        ui.add_space(NEAR);
        loom_said_ui(ui, loom, &colors, asked);
    });
    Panel::right("woven")
        .default_size((0.25 * ui.available_width()).clamp(240.0, 330.0))
        .min_size(230.0)
        .max_size(560.0)
        .frame(frame)
        .show(ui, |ui| loom_woven_ui(ui, loom, job, &colors, asked));
    Panel::bottom("woven maps").resizable(false).frame(frame).show(ui, |ui| strip_ui(ui, loom, &colors, asked));
    CentralPanel::default().frame(Frame::new()).show(ui, |ui| {
        if !loom.is_lit {
            return map_view_ui(ui, &mut loom.bench, &colors);
        }
        let whole = ui.available_rect_before_wrap();
        let side = whole.width().min(whole.height() - BELOW) - 28.0;
        let square = Rect::from_center_size(whole.center() - vec2(0.0, 0.5 * BELOW), Vec2::splat(side));
        let mut inside = ui.new_child(UiBuilder::new().max_rect(square.with_max_y(whole.bottom())));
        lamp_ui(&mut inside, loom, &colors, asked);
    });
}

/// Space below the swatch for where its lamp is.
const BELOW: f32 = 26.0;

/// The swatch with its lamp, which is the loom's own.
pub(crate) fn lamp_ui(ui: &mut Ui, loom: &mut Loom, colors: &Palette, asked: &mut Vec<Command>) {
    let mut on_bench = Vec::new();
    swatch_ui(ui, &mut loom.bench, colors, &mut on_bench);
    asked.extend(on_bench.into_iter().map(at_the_loom));
}

/// What widgets of the bench ask is asked of the loom's.
fn at_the_loom(command: Command) -> Command {
    match command {
        Command::Patch(asked) => Command::Loom(OnLoom::Bench(asked)),
        other => other,
    }
}

/// What is woven, lit, and its maps.
fn strip_ui(ui: &mut Ui, loom: &mut Loom, colors: &Palette, asked: &mut Vec<Command>) {
    ui.horizontal_top(|ui| {
        let (square, response) = tile_ui(ui, say::LIT, say::UNDER_LAMP, loom.is_lit, colors);
        let aspect = loom.bench.swatch.aspect;
        if let Some(texture) = loom.bench.swatch.texture(ui.ctx(), "swatch") {
            ui.painter().image(texture.id(), fitted(square, aspect), WHOLE, egui::Color32::WHITE);
        }
        if response.on_hover_text(say::SWATCH_TIP).clicked() {
            asked.push(Command::Loom(OnLoom::Lit));
        }
        let mut on_map = Vec::new();
        let chosen = Some(loom.bench.channel).filter(|_| !loom.is_lit);
        map_strip_ui(ui, &mut loom.bench, chosen, colors, &mut on_map);
        asked.extend(on_map.into_iter().map(at_the_loom));
    });
}
