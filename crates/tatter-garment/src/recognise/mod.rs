//! recognise
