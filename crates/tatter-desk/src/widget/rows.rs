//! A list with a head, of which only the rows in sight are laid out: a scatter may lay hundreds of pieces.

use egui::{Align, Color32, Layout, Rect, ScrollArea, Ui, UiBuilder, vec2};

use crate::look::{self, Palette};

/// Space between two columns, points.
const BETWEEN: f32 = 18.0;
/// Space between two rows.
const ROWS: f32 = 6.0;
/// Rows that are drawn above and below those in sight: the keyboard walks into them, and the list follows it.
const BEYOND: usize = 2;

/// What a list is like.
pub(super) struct Rows<'a> {
    /// What it is told apart by.
    pub(super) name: &'static str,
    /// The titles of its columns, each with its tip.
    pub(super) head: &'a [(&'a str, &'a str)],
    /// The widths of its columns; one may have no title.
    pub(super) columns: &'a [f32],
    /// How many rows it has.
    pub(super) count: usize,
    /// A row that is brought into sight.
    pub(super) brought: Option<usize>,
}

impl Rows<'_> {
    /// Draw it; `id` tells rows apart, and `row_ui` draws the cells of one.
    pub(super) fn show<'a>(
        &self,
        ui: &mut Ui,
        colors: &Palette,
        id: impl Fn(usize) -> &'a str,
        mut row_ui: impl FnMut(&mut Ui, usize),
    ) {
        let row = ui.spacing().interact_size.y;
        let (head, _) = ui.allocate_exact_size(vec2(ui.available_width(), row), egui::Sense::hover());
        let width = self.columns.iter().map(|column| column + BETWEEN).sum::<f32>();
        let shown = ScrollArea::both().id_salt(self.name).auto_shrink(false).show_viewport(ui, |ui, sight| {
            let pitch = row + ROWS;
            ui.set_min_size(vec2(width, pitch * self.count as f32));
            let corner = ui.min_rect().min;
            let across_sight = width.max(sight.width());
            let place = |number: usize| Rect::from_min_size(corner + vec2(0.0, pitch * number as f32), vec2(across_sight, pitch));
            if let Some(number) = self.brought {
                ui.scroll_to_rect(place(number), None);
            }
            let first = ((sight.top() / pitch) as usize).saturating_sub(BEYOND);
            let last = ((sight.bottom() / pitch).ceil() as usize + BEYOND).min(self.count);
            for number in first..last {
                let rect = place(number);
                if number % 2 == 1 {
                    ui.painter().rect_filled(rect, 2.0, colors.stripe);
                }
                // Named by what it shows, a field that is half written goes where its row goes.
                let mut inside = ui.new_child(UiBuilder::new().max_rect(rect).layout(across()).id_salt(id(number)));
                inside.spacing_mut().item_spacing.x = BETWEEN;
                row_ui(&mut inside, number);
            }
        });
        // It stays where it is while rows are scrolled, and goes aside with them.
        let at = head.translate(vec2(-shown.state.unclamped_offset().x, 0.0)).with_max_x(head.left() + width);
        let mut inside = ui.new_child(UiBuilder::new().max_rect(at).layout(across()).id_salt("head"));
        inside.set_clip_rect(head.intersect(ui.clip_rect()));
        inside.spacing_mut().item_spacing.x = BETWEEN;
        self.head_ui(&mut inside, colors);
    }

    fn head_ui(&self, ui: &mut Ui, colors: &Palette) {
        for ((title, tip), width) in self.head.iter().zip(self.columns) {
            cell_ui(ui, *width, |ui| {
                let label = ui.label(look::quiet(title, colors));
                if !tip.is_empty() {
                    label.on_hover_text(look::plain(tip, colors));
                }
            });
        }
    }
}

/// Cells stand beside each other in the middle of their row.
fn across() -> Layout {
    Layout::left_to_right(Align::Center)
}

/// One cell, as wide as its column whatever is in it.
pub(super) fn cell_ui(ui: &mut Ui, width: f32, add: impl FnOnce(&mut Ui)) {
    let size = vec2(width, ui.spacing().interact_size.y);
    ui.allocate_ui_with_layout(size, across(), |ui| {
        ui.spacing_mut().item_spacing.x = look::NEAR;
        ui.set_min_size(size);
        ui.set_max_width(width);
        add(ui);
    });
}

/// How wide a column must be for its title and for the longest of its words.
pub(super) fn wide_enough<'a>(ui: &Ui, title: &str, words: impl Iterator<Item = &'a str>) -> f32 {
    let font = egui::TextStyle::Body.resolve(ui.style());
    let wide = |text: &str| ui.painter().layout_no_wrap(text.to_owned(), font.clone(), Color32::PLACEHOLDER).size().x;
    // Of words, the one with most letters: laying out each of them would take as long as showing them. Of as many letters some are broader.
    let longest = words.max_by_key(|word| word.len()).map_or(0.0, |word| 1.1 * wide(word));
    wide(title).max(longest)
}

/// As [`wide_enough`] for names that are pressed: set in the strong face, with a button's space about them.
pub(super) fn wide_for_names<'a>(ui: &Ui, title: &str, names: impl Iterator<Item = &'a str>) -> f32 {
    1.08 * wide_enough(ui, title, names) + 2.0 * ui.spacing().button_padding.x
}
