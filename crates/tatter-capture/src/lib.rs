//! What photos of cloth tell for certain: a photo straightened by a card of known size ([`plane`]), its scale by a ruler in it
//! ([`ruler`]), its colours corrected by a grey place or a 24-patch chart ([`color`]); several shots of one cloth laid on each other
//! ([`photo`]), over two cards ([`backings`]), with a lamp behind
//! ([`backlit`]), under several lamps ([`lights`]).
//!
//! What it is not: it makes no patch, and reads no file.

pub mod backings;
pub mod backlit;
pub mod color;
pub mod lights;
pub mod photo;
pub mod plane;
pub mod ruler;
pub mod surface;
