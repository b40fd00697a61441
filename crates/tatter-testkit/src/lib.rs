//! Fixtures for tests; never shipped.

pub mod cloth;
pub mod scene;
