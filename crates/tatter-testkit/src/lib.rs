//! Fixtures for tests; never shipped.

pub mod cloth;
pub mod measures;
pub mod pair;
pub mod scene;
pub mod torn;
