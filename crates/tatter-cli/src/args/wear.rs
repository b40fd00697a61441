//! Arguments of `wear`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use tatter_core::channel::Channel;
use tatter_core::model::WearKind;

use super::place_of::WhereArgs;
use super::{channel, finite, length, png, share, whole};

#[derive(Args, Debug)]
pub(crate) struct Wear {
    /// Job file
    pub(crate) job: PathBuf,
    /// What happened to the cloth
    #[arg(value_enum, required_unless_present_any = ["change", "remove", "list"])]
    pub(crate) kind: Option<Kind>,
    /// From 0, as it was, to 1, threadbare [default: 0.6]
    #[arg(long, value_name = "0..1", value_parser = share)]
    pub(crate) strength: Option<f32>,
    /// Name of the mark [default: that of its kind]
    #[arg(long, value_name = "ID", conflicts_with = "change")]
    pub(crate) id: Option<String>,
    /// Change this mark
    #[arg(long, value_name = "ID")]
    pub(crate) change: Option<String>,
    /// Seed of everything random [default: 1]
    #[arg(long, value_name = "S", value_parser = whole::<u32, 0, { u32::MAX as u64 }>)]
    pub(crate) seed: Option<u32>,
    /// Where
    #[command(flatten)]
    pub(crate) place: WhereArgs,
    /// From 0, even, to 1, blotchy [default: 0.5]
    #[arg(long, value_name = "0..1", value_parser = share)]
    pub(crate) uneven: Option<f32>,
    /// Size of its blotches [default: 30]
    #[arg(long, value_name = "MM", value_parser = length)]
    pub(crate) blotch_mm: Option<f32>,
    /// Length of the ripples of a puckered seam or hem along it
    #[arg(long, value_name = "MM", value_parser = length)]
    pub(crate) pucker_mm: Option<f32>,
    /// What it adds to the height of the cloth where it is strongest [default: 0.15 for a crease, else 0]
    #[arg(long, value_name = "MM", value_parser = finite, allow_hyphen_values = true)]
    pub(crate) raise_mm: Option<f32>,
    /// Colour of fibre without dye [default: ecru]
    #[arg(long, value_name = "#RRGGBB", conflicts_with = "color")]
    pub(crate) fibre: Option<String>,
    /// Colour of grime [default: road dust]
    #[arg(long, value_name = "#RRGGBB")]
    pub(crate) color: Option<String>,
    /// Channels it leaves alone
    #[arg(long, value_name = "CHANNEL", value_parser = channel, value_delimiter = ',')]
    pub(crate) keep: Option<Vec<Channel>>,
    /// With --change: what it is no longer bound to, such as edges,along,pucker
    #[arg(long, value_name = "KEY", value_delimiter = ',', requires = "change")]
    pub(crate) without: Vec<String>,
    /// Also write a PNG of the places where it shows most, before and after, lit, at true size
    #[arg(long, value_name = "FILE.png", value_parser = png, conflicts_with_all = ["remove", "list"])]
    pub(crate) preview: Option<PathBuf>,
    /// Take a mark away
    #[arg(long, value_name = "ID", conflicts_with_all = ["kind", "change", "list"])]
    pub(crate) remove: Option<String>,
    /// List the wear of the job
    #[arg(long, conflicts_with_all = ["kind", "change"])]
    pub(crate) list: bool,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum Kind {
    /// Light and washing took dye, a little from everything, more from high threads
    Fade,
    /// Rubbing took dye and height from the crowns of threads and raised nap
    Abrasion,
    /// A fold that was sat in: its crest is rubbed and stands up
    Crease,
    /// Dust, soil or salt between threads
    Grime,
}

impl From<Kind> for WearKind {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Fade => Self::Fade,
            Kind::Abrasion => Self::Abrasion,
            Kind::Crease => Self::Crease,
            Kind::Grime => Self::Grime,
        }
    }
}
