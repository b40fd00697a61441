//! Fixtures and comparisons for tests; never shipped. Made scenes live in `tatter_cloth::made`.

pub mod cloth;
