//! Delivery: all files or none.
