//! The desk used through the labels that readers of screens say.
#![expect(clippy::disallowed_methods, reason = "a test of the desk needs a scratch folder")]

mod drawer;
mod elsewhere;
mod eye;
mod looks;
mod loom;
mod outside;
mod patch;
mod person;
mod photo;
mod reach;
mod scatter;
mod shots;
mod start;
mod table;
mod ticket;
mod undo;
mod wear;
mod workshop;

type Tried<T> = Result<T, Box<dyn std::error::Error>>;
