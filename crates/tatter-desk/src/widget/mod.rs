//! The parts of the stations, one a file.

pub(crate) mod changed;
pub(crate) mod cutting_list;
pub(crate) mod drawer;
pub(crate) mod fields;
pub(crate) mod flat;
pub(crate) mod handles;
pub(crate) mod hint;
pub(crate) mod line;
pub(crate) mod lists;
pub(crate) mod loom_said;
pub(crate) mod loom_woven;
pub(crate) mod map_view;
pub(crate) mod marks;
pub(crate) mod photo_beside;
pub(crate) mod photo_corners;
pub(crate) mod photo_cut;
pub(crate) mod photo_tools;
pub(crate) mod photo_view;
pub(crate) mod rows;
mod scatter_list;
pub(crate) mod slider;
pub(crate) mod solid;
pub(crate) mod swatch;
pub(crate) mod ticket;
pub(crate) mod travel;
pub(crate) mod wear_list;

use egui::{Rect, Response, Role, Ui, pos2};

/// The whole of a texture.
pub(crate) const WHOLE: Rect = Rect { min: pos2(0.0, 0.0), max: pos2(1.0, 1.0) };

/// While a widget has the focus, arrow keys are its own and do not move on to the next.
pub(crate) fn keep_arrows(ui: &Ui, response: &Response) {
    ui.memory_mut(|memory| {
        let filter = egui::EventFilter { horizontal_arrows: true, vertical_arrows: true, ..egui::EventFilter::default() };
        memory.set_focus_lock_filter(response.id, filter);
    });
}

/// By which factor wheel or pinch bring nearer; `None` when neither moved.
pub(crate) fn scrolled(ui: &Ui) -> Option<f32> {
    let scroll = ui.input(|input| input.smooth_scroll_delta().y + 200.0 * (input.zoom_delta() - 1.0));
    (scroll != 0.0).then(|| (scroll * 0.004).exp())
}

/// Give a widget the name that readers of screens say; its own role and value stay.
pub(crate) fn named(response: &Response, role: Role, name: &str) {
    response.ctx.accesskit_node_builder(response.id, |node| {
        if node.role() == Role::Unknown {
            node.set_role(role);
        }
        node.set_label(name);
    });
}
