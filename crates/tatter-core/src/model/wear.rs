//! Wear of the garment's own cloth, computed over its surface: no patch needed.

use crate::channel::Channel;
use crate::model::Density;
use crate::units::Mm;

/// What happened to the cloth.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum WearKind {
    /// Light and washing took dye, everywhere a little, more from high threads.
    #[default]
    Fade,
    /// Rubbing took dye and height from the crowns of threads, and raised nap.
    Abrasion,
    /// A fold that was pressed or sat in: its crest is rubbed and stands up.
    Crease,
    /// Dust, soil or salt that settled between threads.
    Grime,
}

impl WearKind {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Fade, Self::Abrasion, Self::Crease, Self::Grime];

    /// Its name in files and on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Fade => "fade",
            Self::Abrasion => "abrasion",
            Self::Crease => "crease",
            Self::Grime => "grime",
        }
    }

    /// By its name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }

    /// What it raises the cloth by where it is strongest, unless told otherwise.
    pub const fn usual_height(self) -> Mm {
        // A pressed fold of shirting to denim stands up by about half a thread (common practice, no source).
        Mm(if matches!(self, Self::Crease) { 0.15 } else { 0.0 })
    }
}

/// One mark of wear: what, how strong and where. Where several things say where, they multiply; where nothing does, it is
/// everywhere.
#[derive(Clone, Debug, PartialEq)]
pub struct Wear {
    /// Unique among the wear of its job.
    pub id: String,
    /// What happened.
    pub kind: WearKind,
    /// 0 nothing, 1 threadbare: the high threads have lost all their dye.
    pub strength: f32,
    /// Of everything random.
    pub seed: u64,
    /// Parts or materials it stays on; empty: all.
    pub only: Vec<String>,
    /// Parts or materials it keeps off.
    pub keep_off: Vec<String>,
    /// Where there is more.
    pub density: Vec<Density>,
    /// A line in UV (v down) it lies along, or one spot it lies around; empty: anywhere.
    pub along: Vec<[f32; 2]>,
    /// How far from that line or spot it reaches.
    pub spread: Mm,
    /// 0 even, 1 blotchy.
    pub uneven: f32,
    /// Size of its blotches on the cloth.
    pub blotch: Mm,
    /// Length of the ripples of a puckered seam or hem along it; 0 none.
    pub pucker: Mm,
    /// What it adds to the height of the cloth where it is strongest; `None`: as its kind does.
    pub height: Option<Mm>,
    /// Fibre without dye, sRGB codes; `None`: ecru.
    pub fibre: Option<[u8; 3]>,
    /// Colour of grime, sRGB codes; `None`: road dust.
    pub color: Option<[u8; 3]>,
    /// Channels it leaves alone.
    pub keep: Vec<Channel>,
}

impl Wear {
    /// Whether something says where it lies, if something must: a crease everywhere is no crease.
    pub fn has_place(&self) -> bool {
        let lines = |density: &Density| matches!(density, Density::Edges(_) | Density::Seams(_));
        self.kind != WearKind::Crease || !self.along.is_empty() || self.density.iter().any(lines)
    }
}

impl Default for Wear {
    fn default() -> Self {
        Self {
            id: String::new(),
            kind: WearKind::default(),
            strength: 0.6,
            seed: 1,
            only: Vec::new(),
            keep_off: Vec::new(),
            density: Vec::new(),
            along: Vec::new(),
            spread: Mm(0.0),
            uneven: 0.5,
            blotch: Mm(30.0),
            pucker: Mm(0.0),
            height: None,
            fibre: None,
            color: None,
            keep: Vec::new(),
        }
    }
}
