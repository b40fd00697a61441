//! The program itself, run as a person or a script runs it.

mod again;
mod backlit;
mod color;
mod contract;
mod desk;
mod grain;
mod handoff;
mod job;
mod known_size;
mod lights;
mod matching;
mod page;
mod place;
mod proof;
mod scatter;
mod two_backings;
mod variation;
mod watch;
mod wear;
mod weave;
mod workshop;
