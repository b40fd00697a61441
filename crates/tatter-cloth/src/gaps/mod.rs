//! gaps
