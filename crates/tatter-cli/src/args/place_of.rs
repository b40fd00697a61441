//! Where on the garment there is more of something: the arguments that scatter and wear share.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use tatter_core::model::{Density, Facing};
use tatter_core::units::Mm;

use super::{Numbers, length};

#[derive(Args, Debug)]
pub(crate) struct WhereArgs {
    /// Parts or materials to stay on, separated by commas [default: all]
    #[arg(long, value_name = "PART", value_delimiter = ',')]
    pub(crate) only: Option<Vec<String>>,
    /// Parts or materials to keep off
    #[arg(long, value_name = "PART", value_delimiter = ',')]
    pub(crate) keep_off: Option<Vec<String>>,
    /// A grey picture over the texture: white for most, black for none
    #[arg(long, value_name = "PICTURE")]
    pub(crate) picture: Option<PathBuf>,
    /// Most at the first share of the garment's height (0 bottom, 1 top), none at the second
    #[arg(long, value_name = "MOST,NONE", value_parser = shares)]
    pub(crate) height: Option<Numbers<2>>,
    /// Most at hems, cuffs and sharp folds, none this far from them
    #[arg(long, value_name = "MM", value_parser = length)]
    pub(crate) edges_mm: Option<f32>,
    /// Most at seams and edges of the cloth, none this far from them
    #[arg(long, value_name = "MM", value_parser = length)]
    pub(crate) seams_mm: Option<f32>,
    /// Most where cloth bends as tightly as this radius
    #[arg(long, value_name = "MM", value_parser = length)]
    pub(crate) bends_mm: Option<f32>,
    /// Most where cloth stands out as roundly as this radius: elbows, the seat, crowns of folds
    #[arg(long, value_name = "MM", value_parser = length)]
    pub(crate) bulges_mm: Option<f32>,
    /// Most where cloth sinks in as roundly as this radius: bottoms of folds, armpits
    #[arg(long, value_name = "MM", value_parser = length)]
    pub(crate) hollows_mm: Option<f32>,
    /// Most where cloth faces this way
    #[arg(long, value_enum, value_name = "WAY")]
    pub(crate) facing: Option<Way>,
    /// Corners of a line to lie along, texture coordinates, v down; repeated from one end to the other
    #[arg(long, value_name = "U,V", allow_hyphen_values = true)]
    pub(crate) along: Vec<Numbers<2>>,
    /// How far beside that line at most
    #[arg(long, value_name = "MM", value_parser = length)]
    pub(crate) spread_mm: Option<f32>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum Way {
    /// The sky
    Up,
    /// The ground
    Down,
    /// Where the wearer looks
    Front,
    /// Behind the wearer
    Back,
    /// The wearer's left
    Left,
    /// The wearer's right
    Right,
}

impl From<Way> for Facing {
    fn from(way: Way) -> Self {
        match way {
            Way::Up => Self::Up,
            Way::Down => Self::Down,
            Way::Front => Self::Front,
            Way::Back => Self::Back,
            Way::Left => Self::Left,
            Way::Right => Self::Right,
        }
    }
}

fn shares(text: &str) -> Result<Numbers<2>, String> {
    let shares: Numbers<2> = text.parse()?;
    let fit = shares.0.iter().all(|share| (0.0..=1.0).contains(share));
    if fit { Ok(shares) } else { Err("two shares from 0 (bottom) to 1 (top) are wanted".to_owned()) }
}

/// The parts of a rule that say where.
pub(crate) struct Place<'a> {
    pub(crate) only: &'a mut Vec<String>,
    pub(crate) keep_off: &'a mut Vec<String>,
    pub(crate) density: &'a mut Vec<Density>,
    pub(crate) along: &'a mut Vec<[f32; 2]>,
    pub(crate) spread: &'a mut Mm,
}

impl Place<'_> {
    /// What `--without` may name of it.
    pub(crate) const KEYS: [&'static str; 11] =
        ["only", "keep-off", "picture", "height", "edges", "seams", "bends", "bulges", "hollows", "facing", "along"];

    /// Take away what `--without` names; `false` when it names something else.
    pub(crate) fn without(&mut self, key: &str) -> bool {
        match key {
            "only" => self.only.clear(),
            "keep-off" => self.keep_off.clear(),
            "along" => {
                self.along.clear();
                *self.spread = Mm(0.0);
            }
            _ if Self::KEYS.contains(&key) => self.density.retain(|density| density.name() != key),
            _ => return false,
        }
        true
    }

    /// What the person said, over what the rule says. The picture is the verb's own matter: its path depends on the job.
    pub(crate) fn edit(self, args: &WhereArgs) {
        args.only.iter().for_each(|names| self.only.clone_from(names));
        args.keep_off.iter().for_each(|names| self.keep_off.clone_from(names));
        if !args.along.is_empty() {
            *self.along = args.along.iter().map(|at| at.0).collect();
        }
        args.spread_mm.iter().for_each(|&mm| *self.spread = Mm(mm));
        let said = [
            args.height.map(|n| Density::Height(n.0)),
            args.edges_mm.map(|mm| Density::Edges(Mm(mm))),
            args.bends_mm.map(|mm| Density::Bends(Mm(mm))),
            args.seams_mm.map(|mm| Density::Seams(Mm(mm))),
            args.bulges_mm.map(|mm| Density::Bulges(Mm(mm))),
            args.hollows_mm.map(|mm| Density::Hollows(Mm(mm))),
            args.facing.map(|way| Density::Facing(way.into())),
        ];
        for density in said.into_iter().flatten() {
            self.density.retain(|known| known.name() != density.name());
            self.density.push(density);
        }
    }
}
