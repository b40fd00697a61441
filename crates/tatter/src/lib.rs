//! The façade: one module a verb, called by the command line and the desk alike.
//!
//! What it is not: it holds no image arithmetic but the pictures people look at, and no format.

pub mod build;
pub mod check;
pub mod color;
pub mod cut;
pub mod cutting;
pub mod deliver;
pub mod demo;
pub mod garment;
pub mod grain;
pub mod handoff;
pub mod history;
pub mod keep;
pub mod library;
pub mod lights;
pub mod looking;
pub mod measure;
mod paths;
pub mod place;
pub mod preview;
pub mod proof;
pub mod recent;
mod reuse;
pub mod scatter;
pub mod session;
pub mod sheet;
pub mod stand;
pub mod start;
pub mod steps;
pub mod strokes;
pub mod variation;
pub mod watch;
pub mod wear;
pub mod weave;
