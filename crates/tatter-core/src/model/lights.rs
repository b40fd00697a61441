//! Shots of one cloth under several lights, as a person lists them.

use crate::units::Mm;

/// A lights file: one shot a lamp, from one place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Lights {
    /// A picture of an evenly lit card: what lens and sensor make uneven. Relative to the lights file, as all paths here.
    pub flat_field: Option<String>,
    /// A shot with all lamps off.
    pub dark: Option<String>,
    /// A ball that every shot shows: it tells where lamps stand whose shots do not say it.
    pub ball: Option<Ball>,
    /// Directions are those of lamps that go round evenly: where each stood is to be found more exactly in the shots.
    pub by_clock: bool,
    /// The shots, in the order of the file.
    pub shots: Vec<LitShot>,
}

/// A ball in the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ball {
    /// Its middle, pixels (first centre at 0.5, 0.5).
    pub at: [f32; 2],
    /// Its radius, pixels.
    pub radius: f32,
    /// What it is.
    pub kind: BallKind,
}

/// How a ball tells of a lamp.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BallKind {
    /// Polished: by its glint.
    Mirror,
    /// White and matte: by its shading.
    Matte,
}

/// One shot and its lamp.
#[derive(Clone, Debug, PartialEq)]
pub struct LitShot {
    /// The picture.
    pub shot: String,
    /// Unit vector towards the lamp: x right, y up, z to the camera; `None`: as the ball tells.
    pub toward: Option<[f32; 3]>,
    /// How far the lamp stood from the middle of the picture; `None`: far away.
    pub distance: Option<Mm>,
    /// Its light relative to the others; `None`: as a matte ball tells, else 1.
    pub strength: Option<f32>,
    /// A white matte card in the cloth's place under this lamp.
    pub flat_field: Option<String>,
    /// Line of the lights file on which the shot stands.
    pub line: usize,
}
