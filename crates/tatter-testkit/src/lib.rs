//! Fixtures and comparisons for tests; never shipped.

pub mod scene;
