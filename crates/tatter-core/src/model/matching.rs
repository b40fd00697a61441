//! How a placement is fitted to the cloth it lies on.

use crate::color::Cdl;

/// What is fitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MatchMode {
    /// The dye of the patch becomes the dye of the cloth; fibre without dye keeps its own colour.
    Redye,
    /// Every colour of the patch moves as its intact cloth moves onto the cloth.
    Fit,
    /// The patch keeps its colour.
    None,
}

impl MatchMode {
    /// Every mode.
    pub const ALL: [Self; 3] = [Self::Redye, Self::Fit, Self::None];

    /// The name in job files and on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Redye => "redye",
            Self::Fit => "fit",
            Self::None => "none",
        }
    }

    /// The mode of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|mode| mode.name() == name)
    }
}

impl std::fmt::Display for MatchMode {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

/// How deep the relief of a placement is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Relief {
    /// As deep as the cloth's it lies on, and nowhere deeper than that cloth is thick.
    #[default]
    Fit,
    /// As the patch has it, in millimetres.
    Keep,
}

impl Relief {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Fit, Self::Keep];

    /// The name in job files and on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Fit => "fit",
            Self::Keep => "keep",
        }
    }
}

/// How the cloth of a placement ends.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Edge {
    /// Where its cover ends, as softly.
    Soft,
    /// Along a cut through its intact cloth, where that differs least from the garment's.
    #[default]
    Seam,
}

impl Edge {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Soft, Self::Seam];

    /// The name in job files and on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Soft => "soft",
            Self::Seam => "seam",
        }
    }
}

/// How a placement is fitted, and the grade a person gives it after that.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Match {
    /// What is fitted; `None`: a damage whose own cloth is known is re-dyed, everything else stays as it is.
    pub mode: Option<MatchMode>,
    /// 0 as the patch is, 1 as the cloth is.
    pub strength: f32,
    /// Applied last, in linear light.
    pub grade: Option<Cdl>,
    /// Its relief; only where its colour is fitted, too.
    pub relief: Relief,
    /// Where it ends; only where its colour is fitted, too.
    pub edge: Edge,
}

impl Default for Match {
    fn default() -> Self {
        Self { mode: None, strength: 1.0, grade: None, relief: Relief::default(), edge: Edge::default() }
    }
}
