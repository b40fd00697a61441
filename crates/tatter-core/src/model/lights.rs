//! Shots of one cloth under several lights, as a person lists them.

use crate::units::Mm;

/// A lights file: one shot a lamp, from one place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Lights {
    /// A picture of an evenly lit card: what lens and sensor make uneven. Relative to the lights file, as all paths here.
    pub flat_field: Option<String>,
    /// A shot with all lamps off.
    pub dark: Option<String>,
    /// The shots, in the order of the file.
    pub shots: Vec<LitShot>,
}

/// One shot and its lamp.
#[derive(Clone, Debug, PartialEq)]
pub struct LitShot {
    /// The picture.
    pub shot: String,
    /// Unit vector towards the lamp: x right, y up, z to the camera.
    pub toward: [f32; 3],
    /// How far the lamp stood from the middle of the picture; `None`: far away.
    pub distance: Option<Mm>,
    /// Its light relative to the others.
    pub strength: f32,
    /// A white matte card in the cloth's place under this lamp.
    pub flat_field: Option<String>,
    /// Line of the lights file on which the shot stands.
    pub line: usize,
}
