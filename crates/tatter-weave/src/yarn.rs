//! Fibres, dyes and yarns as a textile person states them.

use tatter_core::image::LinearRgb;
use tatter_core::units::Mm;

use crate::count::Count;

/// What a yarn is spun from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fibre {
    /// Cotton.
    Cotton,
    /// Flax.
    Linen,
    /// Sheep's wool.
    Wool,
    /// Silk.
    Silk,
    /// Hemp.
    Hemp,
    /// Regenerated cellulose.
    Viscose,
    /// Polyester staple or filament; melts.
    Polyester,
}

impl Fibre {
    /// Every fibre.
    pub const ALL: [Self; 7] = [Self::Cotton, Self::Linen, Self::Wool, Self::Silk, Self::Hemp, Self::Viscose, Self::Polyester];

    /// The name on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Cotton => "cotton",
            Self::Linen => "linen",
            Self::Wool => "wool",
            Self::Silk => "silk",
            Self::Hemp => "hemp",
            Self::Viscose => "viscose",
            Self::Polyester => "polyester",
        }
    }

    /// Density of the fibre's own matter, g/cm³ (textile handbooks, conditioned).
    pub const fn density(self) -> f32 {
        match self {
            Self::Cotton | Self::Viscose => 1.52,
            Self::Linen | Self::Hemp => 1.50,
            Self::Wool => 1.31,
            Self::Silk => 1.34,
            Self::Polyester => 1.38,
        }
    }

    /// Usual diameter. Middle of the ranges in FAO "Natural Fibres" (2009): cotton 11 to 22 µm, flax ultimates 12 to 16,
    /// wool 16 to 40, silk 10 to 13; hemp 17 to 23 (handspinning table); man-made as cotton.
    pub const fn diameter(self) -> Mm {
        Mm(match self {
            Self::Cotton => 0.0165,
            Self::Linen => 0.014,
            Self::Wool => 0.024,
            Self::Silk => 0.0115,
            Self::Hemp => 0.020,
            Self::Viscose | Self::Polyester => 0.014,
        })
    }

    /// Length of a wave of its natural crimp, mm; `None` for fibres that lie straight. Wool has 3 to 6 waves a cm in the middle
    /// qualities (textile handbooks, from memory).
    pub const fn crimp_wave(self) -> Option<Mm> {
        match self {
            Self::Wool => Some(Mm(2.2)),
            _ => None,
        }
    }

    /// Roughness of a yarn of it, 1 fully matte (common practice, no source): filaments shine, staple fibres do not.
    pub(crate) const fn roughness(self) -> f32 {
        match self {
            Self::Silk => 0.42,
            Self::Polyester => 0.55,
            Self::Viscose => 0.6,
            Self::Linen | Self::Hemp => 0.72,
            Self::Cotton => 0.80,
            Self::Wool => 0.84,
        }
    }

    /// Whether heat melts it into beads; the others char.
    pub const fn melts(self) -> bool {
        matches!(self, Self::Polyester)
    }
}

/// Direction of twist, as the middle stroke of the letter leans on an upright yarn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Twist {
    /// Fibres climb to the left.
    S,
    /// Fibres climb to the right.
    Z,
}

/// Colour of a yarn, from its surface inwards. Linear light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dye {
    /// Colour of the surface.
    pub color: LinearRgb,
    /// Colour of the undyed heart.
    pub core: LinearRgb,
    /// How deep the dye went, as a share of the radius: 1 through and through, 0.15 for ring-dyed warps.
    pub depth: f32,
}

impl Dye {
    /// Dyed through, or not dyed at all.
    pub const fn even(color: LinearRgb) -> Self {
        Self { color, core: color, depth: 1.0 }
    }
}

/// A yarn.
#[derive(Clone, Debug, PartialEq)]
pub struct Yarn {
    /// What it is spun from.
    pub fibre: Fibre,
    /// Fineness of a single.
    pub count: Count,
    /// Singles twisted together; 1 for a single yarn.
    pub ply: u8,
    /// Direction of the last twist.
    pub twist: Twist,
    /// Turns per metre of the last twist. Cotton: 39.37 × multiplier × √Ne, multiplier 3.3 to 4.5 for warp and 2.5 to 3.5
    /// for soft weft (common practice, no source).
    pub turns_per_m: f32,
    /// Share of the yarn's section that is fibre, the rest air: 0.5 woollen, 0.6 ring-spun cotton, 0.7 hard-twisted.
    pub packing: f32,
    /// Coefficient of variation of its mass over centimetres, 0 a wire, 0.12 good ring-spun cotton, 0.25 hand-spun.
    pub irregularity: f32,
    /// Thick places in a metre: 0 for cotton, 5 to 20 for linen.
    pub slubs_per_m: f32,
    /// Length of fibre standing out, per length of yarn: 0 filament, 2 singed, 5 ordinary cotton, 10 woollen.
    pub hairiness: f32,
    /// How much its fibres differ in shade: 0.3 dyed in the piece, 0.6 raw, 1.5 a heather mixture.
    pub blend: f32,
    /// Colour.
    pub dye: Dye,
}

/// Twist of a cotton-spun yarn of that English count, turns per metre.
pub(crate) fn cotton_turns(multiplier: f32, ne: f32) -> f32 {
    39.37 * multiplier * ne.sqrt()
}

impl Yarn {
    /// Grams per kilometre of the whole yarn; the shortening by twist is left out.
    pub fn tex(&self) -> f32 {
        self.count.tex() * f32::from(self.ply)
    }

    /// Cubic centimetres in a gram: 1 / (packing × fibre density). Peirce's 1.1 is cotton at 0.598.
    pub fn specific_volume(&self) -> f32 {
        1.0 / (self.packing * self.fibre.density())
    }

    /// Diameter of the round yarn: √(4 m v / π) (Peirce, "The geometry of cloth structure", 1937).
    pub fn diameter(&self) -> Mm {
        Mm(diameter_mm(self.tex(), self.specific_volume()))
    }

    /// Angle of the surface fibres (or plies) to the yarn's axis, tangent: π d × turns.
    pub fn surface_slope(&self) -> f32 {
        std::f32::consts::PI * self.diameter().get() * self.turns_per_m * 1e-3
    }

    /// Fibres in a section.
    pub fn fibres_in_section(&self) -> f32 {
        let d = self.fibre.diameter().get();
        let fibre_tex = std::f32::consts::FRAC_PI_4 * d * d * self.fibre.density() * 1000.0;
        self.tex() / fibre_tex
    }
}

/// Diameter in mm of a yarn of `tex` with `specific_volume` cm³/g: 0.03568 √(tex v).
pub fn diameter_mm(tex: f32, specific_volume: f32) -> f32 {
    (4.0 * tex * 1e-3 * specific_volume / std::f32::consts::PI).sqrt()
}
