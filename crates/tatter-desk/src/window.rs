//! The window: one frame, from the line of stations at the top to what it asks of the threads.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use egui::{CentralPanel, Frame, Key, KeyboardShortcut, Modifiers, Panel, Ui};
use tatter::keep::Over;
use tatter::recent::Recent;

use crate::command::{Command, Station};
use crate::desk::Desk;
use crate::look::{self, Palette, palette};
use crate::open::Open;
use crate::photo::{OnPhoto, Tool};
use crate::start::{OnStart, Wanted, of_the_system};
use crate::station::{delivery, garment, loom, patch, photo, start};
use crate::threads::leave;
use crate::widget::changed::changed_ui;
use crate::widget::hint::hint_ui;
use crate::widget::travel::travel_ui;
use crate::{dress, say};

/// Why there is no window.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// The window system or the adapter.
    #[error("no window can be opened ({0})")]
    Window(String),
}

impl tatter_core::explain::Explain for StartError {
    fn next(&self) -> String {
        "Start it on a desktop with a graphics driver, or use the command line, which does without".to_owned()
    }

    fn class(&self) -> tatter_core::explain::Class {
        tatter_core::explain::Class::Outside
    }
}

/// Open the window, with a job file and photos if they are named, and stay until it is closed.
///
/// # Errors
/// When there is no window system, or no adapter to draw a window with.
pub fn run(files: Vec<PathBuf>) -> Result<(), StartError> {
    let viewport = egui::ViewportBuilder::default()
        .with_title(say::TITLE)
        .with_inner_size([1360.0, 860.0])
        .with_min_inner_size([900.0, 600.0]);
    let options = eframe::NativeOptions { viewport, ..eframe::NativeOptions::default() };
    let start =
        move |cc: &eframe::CreationContext<'_>| -> Result<Box<dyn eframe::App>, Box<dyn std::error::Error + Send + Sync>> {
            dress(&cc.egui_ctx);
            let ctx = cc.egui_ctx.clone();
            let mut desk = Desk::with(Arc::new(move || ctx.request_repaint()), Recent::of_user(), Arc::new(of_the_system));
            desk.bring(&files);
            Ok(Box::new(Shell(desk)))
        };
    let done = eframe::run_native(say::TITLE, options, Box::new(start)).map_err(|error| StartError::Window(error.to_string()));
    // What is left to do was told to stop.
    leave(PATIENCE);
    done
}

/// How long the threads may take to end when the window is closed.
const PATIENCE: Duration = Duration::from_secs(5);

struct Shell(Desk);

impl eframe::App for Shell {
    // The table is what the window is cleared with: a software adapter takes as long for a pixel of plain colour as for one of a picture, so
    // nothing is laid under what covers it.
    fn clear_color(&self, visuals: &egui::Visuals) -> [f32; 4] {
        look::of(visuals).table.to_normalized_gamma_f32()
    }

    fn ui(&mut self, ui: &mut Ui, _frame: &mut eframe::Frame) {
        self.0.ui(ui);
    }
}

impl Desk {
    /// Draw the desk into a whole window, do what the person asks in it, and ask the threads for what it calls for.
    pub fn ui(&mut self, ui: &mut Ui) {
        self.hear();
        let dropped: Vec<PathBuf> = ui.input(|input| input.raw.dropped_files.iter().map(|file| file.path().to_owned()).collect());
        self.bring(&dropped);
        let mut asked = Vec::new();
        self.keys(ui, &mut asked);
        let colors = palette(ui);
        let band = Frame::new().fill(colors.sheet).inner_margin(egui::Margin::symmetric(16, 0));
        Panel::top("travel").exact_size(look::TRAVEL).resizable(false).frame(band).show(ui, |ui| travel_ui(ui, self, &mut asked));
        self.banner_ui(ui, &colors, &mut asked);
        changed_ui(ui, self, &colors, &mut asked);
        if let Some(tour) = &self.tour {
            hint_ui(ui, tour.hint(self.station), self.station, &colors, &mut asked);
        }
        CentralPanel::default().frame(Frame::new()).show(ui, |ui| self.page_ui(ui, &mut asked));
        for command in asked {
            self.obey(command);
            // Another frame shows what came of it.
            ui.ctx().request_repaint();
        }
        self.look(look::backdrop(&colors));
        let side = ui.input(|input| input.max_texture_side);
        match self.station {
            Station::Photo => self.photos.look(side),
            Station::Patch if self.loom.is_up => self.loom.look(side),
            Station::Patch => self.bench.look(side),
            Station::Garment | Station::Delivery => {}
        }
    }

    fn page_ui(&mut self, ui: &mut Ui, asked: &mut Vec<Command>) {
        let station = self.station;
        if station == Station::Photo {
            let job = self.open.as_ref().map(|open| open.kept.path());
            return photo::photo_ui(ui, &mut self.photos, job, &mut self.path, asked);
        }
        if self.is_at_loom() {
            let job = self.open.as_ref().map(|open| open.kept.path());
            return loom::loom_ui(ui, &mut self.loom, job, asked);
        }
        let Some(open) = &mut self.open else {
            return match station {
                Station::Patch => {
                    let lying = patch::Lying { bench: &mut self.bench, shelf: &mut self.shelf, folders: &self.folders };
                    patch::patch_ui(ui, lying, false, asked);
                }
                _ => start::start_ui(ui, &mut self.start, &mut self.path, asked),
            };
        };
        match station {
            Station::Photo => {}
            Station::Patch => {
                let lying = patch::Lying { bench: &mut self.bench, shelf: &mut open.shelf, folders: &self.folders };
                patch::patch_ui(ui, lying, true, asked);
            }
            Station::Garment => garment::garment_ui(ui, open, &self.folders, asked),
            Station::Delivery => delivery::delivery_ui(ui, open, asked),
        }
    }

    /// What went wrong, or waits for an answer, above the page: with what to do about it.
    fn banner_ui(&self, ui: &mut Ui, colors: &Palette, asked: &mut Vec<Command>) {
        let frame = Frame::new().fill(colors.hover).inner_margin(egui::Margin::symmetric(16, 8));
        if let Some(trouble) = self.trouble() {
            let changed = self.open().is_some_and(|open| open.trouble.is_some() && open.kept.changed_outside());
            Panel::top("trouble").resizable(false).frame(frame).show(ui, |ui| {
                ui.horizontal_wrapped(|ui| {
                    ui.colored_label(colors.madder, say::sentence(&trouble.what));
                    ui.label(look::plain(&say::sentence(&trouble.next), colors));
                    if changed {
                        ask_ui(ui, say::READ_ANEW, Command::ReadAnew, asked);
                        ask_ui(ui, say::SAVE_OVER, Command::Save(Over::Changes), asked);
                    }
                    ask_ui(ui, say::DISMISS, Command::Dismiss, asked);
                });
            });
        }
        if self.open().is_some_and(|open| open.draft.is_some()) {
            Panel::top("draft").resizable(false).frame(frame).show(ui, |ui| {
                ui.horizontal(|ui| {
                    ui.label(say::DRAFT);
                    ask_ui(ui, say::DRAFT_TAKE, Command::Draft(true), asked);
                    ask_ui(ui, say::DRAFT_LEAVE, Command::Draft(false), asked);
                });
            });
        }
    }

    /// Keys that work everywhere, unless something is being written.
    fn keys(&self, ui: &Ui, asked: &mut Vec<Command>) {
        let ctx = ui.ctx();
        let pressed = |modifiers, key| ctx.input_mut(|input| input.consume_shortcut(&KeyboardShortcut::new(modifiers, key)));
        if pressed(Modifiers::COMMAND | Modifiers::SHIFT, Key::Z) || pressed(Modifiers::COMMAND, Key::Y) {
            asked.push(Command::Redo);
        }
        if pressed(Modifiers::COMMAND, Key::Z) {
            asked.push(Command::Undo);
        }
        if pressed(Modifiers::COMMAND, Key::S) {
            asked.push(Command::Save(Over::Nothing));
        }
        if pressed(Modifiers::COMMAND, Key::O) {
            asked.push(Command::Start(OnStart::Choose(Wanted::Job)));
        }
        for (number, key) in [Key::Num1, Key::Num2, Key::Num3, Key::Num4].into_iter().enumerate() {
            if pressed(Modifiers::COMMAND, key) {
                asked.push(Command::Go(Station::ALL[number]));
            }
        }
        if ctx.egui_wants_keyboard_input() {
            return;
        }
        if pressed(Modifiers::NONE, Key::Escape) {
            asked.push(if self.station == Station::Photo {
                Command::Photo(OnPhoto::Take(Tool::Hand))
            } else {
                Command::Take(None)
            });
        }
        if let Some(removal) = self.open().and_then(Open::removal).filter(|_| self.station == Station::Garment)
            && pressed(Modifiers::NONE, Key::Delete)
        {
            asked.push(Command::Make(removal));
        }
    }
}

/// A button that asks for something.
pub(crate) fn ask_ui(ui: &mut Ui, label: &str, command: Command, asked: &mut Vec<Command>) {
    if ui.button(label).clicked() {
        asked.push(command);
    }
}
