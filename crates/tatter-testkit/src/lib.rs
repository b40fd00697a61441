//! Fixtures for tests; never shipped.

pub mod cloth;
pub mod lamps;
pub mod measures;
pub mod pair;
pub mod scene;
pub mod torn;
