//! clean
