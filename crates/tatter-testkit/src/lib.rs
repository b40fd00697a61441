//! Fixtures for tests; never shipped.

pub mod cards;
pub mod cloth;
pub mod laid;
pub mod lamps;
pub mod measures;
pub mod pair;
pub mod panel;
pub mod pictures;
pub mod rulers;
pub mod scene;
pub mod torn;
