//! The parts of the stations, one a file.

pub(crate) mod cutting_list;
pub(crate) mod drawer;
pub(crate) mod flat;
pub(crate) mod handles;
pub(crate) mod map_view;
pub(crate) mod marks;
pub(crate) mod photo_cut;
pub(crate) mod photo_tools;
pub(crate) mod photo_view;
pub(crate) mod slider;
pub(crate) mod solid;
pub(crate) mod swatch;
pub(crate) mod travel;

use egui::{Response, Role};

/// Give a widget the name that readers of screens say; its own role and value stay.
pub(crate) fn named(response: &Response, role: Role, name: &str) {
    response.ctx.accesskit_node_builder(response.id, |node| {
        if node.role() == Role::Unknown {
            node.set_role(role);
        }
        node.set_label(name);
    });
}
