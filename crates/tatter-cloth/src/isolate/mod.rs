//! isolate
