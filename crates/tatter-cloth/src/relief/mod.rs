//! relief
