//! A person who uses the desk through the labels that readers of screens say.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use egui::{Key, Modifiers, Role, Theme};
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use egui_kittest::{Harness, Node};
use tatter_desk::{Command, Desk, Drawn, dress};

use crate::eye::Textures;

/// Longer than anything here takes on a slow machine without a card.
const PATIENCE: Duration = Duration::from_secs(300);

/// A person at the desk, who waits for the threads after each act unless in a hurry.
pub(crate) struct Person<'a>(pub(crate) Harness<'a, Desk>, bool);

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

    /// With a job open, and its garment drawn in the round.
    pub(crate) fn who_sees(job: &Path) -> Self {
        let mut person = Self::alone();
        person.0.state_mut().draw(Drawn::ByAdapter);
        person.ask(Command::Open(job.to_owned()));
        person
    }

    /// Before an empty desk.
    pub(crate) fn alone() -> Self {
        Self::with(Desk::new(Arc::new(|| ())))
    }

    /// Before a desk that draws no garment in the round: who looks at no picture need not wait for one.
    pub(crate) fn with(mut desk: Desk) -> Self {
        desk.draw(Drawn::Not);
        Self::before(desk, Window::default(), Textures::default())
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
        let mut person = Self(harness, false);
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
        if self.1 {
            self.0.run_ok();
            return;
        }
        for _ in 0..6 {
            self.0.run_ok();
            assert!(self.0.state_mut().wait(PATIENCE), "the threads are done in time");
        }
        self.0.run_ok();
    }

    /// Wait for nothing from now on, where only what is told matters: of what is asked of the threads the newest counts.
    pub(crate) fn hurry(&mut self) {
        self.1 = true;
    }

    /// Wait again, first for all that was asked.
    pub(crate) fn take_time(&mut self) {
        self.1 = false;
        self.rest();
    }

    /// Press what bears a label; what is only written does not count. What is out of sight is scrolled to first.
    pub(crate) fn press(&mut self, label: &str) {
        self.to_press(label).scroll_to_me();
        self.0.run_ok();
        self.to_press(label).click();
        self.rest();
    }

    /// The middle of what bears a label, in sight.
    pub(crate) fn middle_of(&mut self, label: &str) -> egui::Pos2 {
        self.to_press(label).scroll_to_me();
        self.0.run_ok();
        self.to_press(label).rect().center()
    }

    fn to_press<'p>(&'p self, label: &'p str) -> Node<'p> {
        let can_be_pressed = |node: &Node<'_>| node.accesskit_node().role() != Role::Label;
        let mut nodes: Vec<Node<'_>> = self.0.query_all_by_label(label).filter(can_be_pressed).collect();
        assert_eq!(nodes.len(), 1, "one thing to press is called {label}");
        nodes.remove(0)
    }

    pub(crate) fn key(&mut self, modifiers: Modifiers, key: Key) {
        self.0.key_press_modifiers(modifiers, key);
        self.rest();
    }

    /// Write into a field, in the place of what stands there, and leave it at that.
    pub(crate) fn begin(&mut self, field: &str, text: &str) {
        self.to_press(field).focus();
        self.0.run_ok();
        self.key(Modifiers::COMMAND, Key::A);
        self.to_press(field).type_text(text);
        self.0.run_ok();
    }

    /// Write into a field, in the place of what stands there.
    pub(crate) fn write(&mut self, field: &str, text: &str) {
        self.begin(field, text);
        self.key(Modifiers::NONE, Key::Enter);
    }

    /// Choose a word in a list that opens.
    pub(crate) fn choose(&mut self, list: &str, word: &str) {
        self.press(list);
        self.press(word);
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

    /// As a hand that is faster than the desk: the last way and letting go lie within one frame.
    pub(crate) fn fling(&mut self, from: egui::Pos2, to: egui::Pos2) {
        self.0.hover_at(from);
        self.0.step();
        self.0.drag_at(from);
        self.0.step();
        self.0.hover_at(from.lerp(to, 0.5));
        self.0.step();
        self.0.drop_at(to);
        self.rest();
    }

    pub(crate) fn has(&self, label: &str) -> bool {
        self.0.query_by_label(label).is_some()
    }

    /// Whether a part of a sentence is written somewhere.
    pub(crate) fn says(&self, part: &str) -> bool {
        self.0.query_all_by_label_contains(part).next().is_some()
    }

    pub(crate) fn desk(&self) -> &Desk {
        self.0.state()
    }

    pub(crate) fn placements(&self) -> Vec<tatter_core::model::Placement> {
        self.desk().open().map(|open| open.job().placements.clone()).unwrap_or_default()
    }

    pub(crate) fn job(&self) -> tatter_core::model::Job {
        self.desk().open().map(|open| tatter_core::model::Job::clone(open.job())).unwrap_or_default()
    }

    pub(crate) fn quiet(&self) {
        assert_eq!(self.desk().trouble(), None, "nothing went wrong");
    }
}
