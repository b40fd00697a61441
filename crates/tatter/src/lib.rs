//! The façade: one module a verb.
