//! mesh
