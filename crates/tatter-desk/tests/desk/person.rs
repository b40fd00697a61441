//! A person who uses the desk through the labels that readers of screens say.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use egui::{Key, Modifiers, Theme};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use tatter_desk::{Command, Desk, dress};

use crate::eye::Textures;

/// Longer than anything here takes on a slow machine without a card.
const PATIENCE: Duration = Duration::from_secs(120);

/// A person at the desk.
pub(crate) struct Person<'a>(pub(crate) Harness<'a, Desk>);

/// How a window is looked at.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Window {
    pub(crate) size: [f32; 2],
    /// Pixels to a point.
    pub(crate) scale: f32,
    pub(crate) theme: Theme,
}

impl Default for Window {
    fn default() -> Self {
        Self { size: [1280.0, 800.0], scale: 1.0, theme: Theme::Dark }
    }
}

impl Person<'_> {
    /// With a job open.
    pub(crate) fn at(job: &Path) -> Self {
        let mut person = Self::alone();
        person.ask(Command::Open(job.to_owned()));
        person
    }

    /// Before an empty desk.
    pub(crate) fn alone() -> Self {
        Self::before(Desk::new(Arc::new(|| ())), Window::default(), Textures::default())
    }

    /// Before a desk that is seen through some window.
    pub(crate) fn before(desk: Desk, window: Window, textures: Textures) -> Self {
        let mut dressed = false;
        let app = move |ui: &mut egui::Ui, desk: &mut Desk| {
            if !std::mem::replace(&mut dressed, true) {
                dress(ui.ctx());
            } else {
                desk.ui(ui);
            }
        };
        let harness = Harness::builder()
            .with_size(window.size)
            .with_pixels_per_point(window.scale)
            .with_theme(window.theme)
            .with_max_steps(60)
            .renderer(textures)
            .build_ui_state(app, desk);
        let mut person = Self(harness);
        person.rest();
        person
    }

    /// What no label is for, such as dropping files on the window.
    pub(crate) fn ask(&mut self, command: Command) {
        self.0.state_mut().obey(command);
        self.rest();
    }

    /// Until the threads and the window have nothing more to do.
    pub(crate) fn rest(&mut self) {
        for _ in 0..6 {
            self.0.run_ok();
            assert!(self.0.state_mut().wait(PATIENCE), "the threads are done in time");
        }
        self.0.run_ok();
    }

    pub(crate) fn press(&mut self, label: &str) {
        self.0.get_by_label(label).click();
        self.rest();
    }

    pub(crate) fn key(&mut self, modifiers: Modifiers, key: Key) {
        self.0.key_press_modifiers(modifiers, key);
        self.rest();
    }

    /// Touch a view at a share of its width and height.
    pub(crate) fn touch(&mut self, view: &str, [x, y]: [f32; 2]) {
        let rect = self.0.get_by_label(view).rect();
        let pos = rect.lerp_inside(egui::vec2(x, y));
        self.0.hover_at(pos);
        self.0.step();
        self.0.drag_at(pos);
        self.0.drop_at(pos);
        self.rest();
    }

    pub(crate) fn drag(&mut self, from: egui::Pos2, to: egui::Pos2) {
        self.0.hover_at(from);
        self.0.step();
        self.0.drag_at(from);
        self.0.step();
        for part in 1..=4 {
            self.0.hover_at(from.lerp(to, part as f32 / 4.0));
            self.0.step();
        }
        self.0.drop_at(to);
        self.rest();
    }

    /// Write into a field, and leave it with Enter.
    pub(crate) fn write(&mut self, field: &str, text: &str) {
        self.0.get_by_label(field).focus();
        self.0.run_ok();
        self.key(Modifiers::COMMAND, Key::A);
        self.0.get_by_label(field).type_text(text);
        self.0.run_ok();
        self.key(Modifiers::NONE, Key::Enter);
    }

    pub(crate) fn has(&self, label: &str) -> bool {
        self.0.query_by_label(label).is_some()
    }

    pub(crate) fn desk(&self) -> &Desk {
        self.0.state()
    }

    pub(crate) fn placements(&self) -> Vec<tatter_core::model::Placement> {
        self.desk().open().map(|open| open.job().placements.clone()).unwrap_or_default()
    }

    pub(crate) fn quiet(&self) {
        assert_eq!(self.desk().trouble(), None, "nothing went wrong");
    }
}
