//! demo
mod canvas;
mod smock;
