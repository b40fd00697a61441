//! patch
