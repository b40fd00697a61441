//! The façade: one module a verb, called by the command line and the desk alike.
//!
//! What it is not: it holds no image arithmetic but the pictures people look at, and no format.

pub mod garment;
pub mod measure;
pub mod sheet;
