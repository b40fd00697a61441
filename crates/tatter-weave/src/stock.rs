//! Named cloths to start from. Constructions are published where it says so; the rest is common practice without a source.

use tatter_core::image::LinearRgb;
use tatter_core::units::PerCm;

use crate::cloth::{Cloth, Finish};
use crate::count::Count;
use crate::draft::Draft;
use crate::yarn::{Dye, Fibre, Twist, Yarn, cotton_turns};

/// Names of all starting cloths, with a line for people.
pub const STOCK: [(&str, &str); 10] = [
    ("duck", "cotton canvas, two-ply both ways, about 500 g/m²"),
    ("canvas", "open single-yarn canvas, undyed and ochre, for smocks"),
    ("poplin", "fine shirting, 133 by 72 to the inch of Ne 40"),
    ("linen", "plain linen with slubs"),
    ("denim", "3/1 twill, ring-dyed warp, white weft, about 400 g/m²"),
    ("tweed", "woollen 2/2 twill, about 310 g/m²"),
    ("herringbone", "wool 2/2 herringbone, dark warp and light weft"),
    ("satin", "satin of five, silk warp"),
    ("gauze", "open cotton gauze"),
    ("jersey", "knitted cotton, heather grey, about 140 g/m²"),
];

/// The starting cloth of that name.
pub fn stock(name: &str) -> Option<Cloth> {
    match name {
        "duck" => Some(duck()),
        "canvas" => Some(canvas()),
        "poplin" => Some(poplin()),
        "linen" => Some(linen()),
        "denim" => Some(denim()),
        "tweed" => Some(tweed()),
        "herringbone" => Some(herringbone()),
        "satin" => Some(satin()),
        "gauze" => Some(gauze()),
        "jersey" => Some(jersey()),
        _ => None,
    }
}

fn cotton(ne: f32, ply: u8, multiplier: f32, color: [f32; 3]) -> Yarn {
    Yarn {
        fibre: Fibre::Cotton,
        count: Count::Ne(ne),
        ply,
        twist: if ply == 1 { Twist::Z } else { Twist::S },
        turns_per_m: cotton_turns(multiplier, ne / f32::from(ply)),
        packing: if ply == 1 { 0.6 } else { 0.65 },
        irregularity: 0.13,
        slubs_per_m: 0.5,
        hairiness: 5.0,
        blend: 0.5,
        dye: Dye::even(LinearRgb(color)),
    }
}

fn woollen(nm: f32, color: [f32; 3]) -> Yarn {
    Yarn {
        fibre: Fibre::Wool,
        count: Count::Nm(nm),
        ply: 1,
        twist: Twist::Z,
        turns_per_m: 260.0,
        packing: 0.45,
        irregularity: 0.2,
        slubs_per_m: 2.0,
        hairiness: 16.0,
        blend: 1.4,
        dye: Dye::even(LinearRgb(color)),
    }
}

fn base(name: &str, weave: Draft, warp: Yarn, weft: Yarn, [ends, picks]: [f32; 2]) -> Cloth {
    Cloth {
        name: name.to_owned(),
        weave,
        warp,
        weft,
        ends_per_cm: PerCm(ends),
        picks_per_cm: PerCm(picks),
        flattening: 0.7,
        warp_crimp: None,
        warp_share: 0.5,
        finish: Finish::Plain,
        unevenness: 1.0,
        source: "common practice, no source",
    }
}

/// Undyed cotton, linear light.
const ECRU: [f32; 3] = [0.60, 0.52, 0.385];

fn duck() -> Cloth {
    let yarn = Yarn { packing: 0.58, ..cotton(7.0, 2, 4.6, ECRU) };
    Cloth { flattening: 0.62, ..base("duck", Draft::plain(), yarn.clone(), yarn, [14.6, 10.4]) }
}

fn canvas() -> Cloth {
    let warp = cotton(6.0, 1, 3.6, [0.455, 0.315, 0.145]);
    let weft = cotton(5.0, 1, 3.2, [0.48, 0.345, 0.175]);
    let warp = Yarn { dye: Dye { core: LinearRgb(ECRU), depth: 0.5, ..warp.dye }, irregularity: 0.16, ..warp };
    let weft = Yarn { dye: Dye { core: LinearRgb(ECRU), depth: 0.5, ..weft.dye }, irregularity: 0.17, ..weft };
    base("canvas", Draft::plain(), warp, weft, [17.0, 13.0])
}

fn poplin() -> Cloth {
    let yarn = cotton(40.0, 1, 4.0, [0.50, 0.57, 0.66]);
    Cloth {
        finish: Finish::Singed,
        source: "published construction 40s x 40s / 133 x 72",
        ..base("poplin", Draft::plain(), yarn.clone(), yarn, [52.36, 28.35])
    }
}

fn linen() -> Cloth {
    let yarn = Yarn {
        fibre: Fibre::Linen,
        count: Count::Tex(64.0),
        ply: 1,
        twist: Twist::Z,
        turns_per_m: 420.0,
        packing: 0.62,
        irregularity: 0.24,
        slubs_per_m: 14.0,
        hairiness: 4.0,
        blend: 0.7,
        dye: Dye::even(LinearRgb([0.42, 0.36, 0.27])),
    };
    Cloth { unevenness: 1.5, ..base("linen", Draft::plain(), yarn.clone(), yarn, [18.0, 17.0]) }
}

fn denim() -> Cloth {
    let warp = cotton(7.0, 1, 4.2, [0.016, 0.033, 0.080]);
    let warp = Yarn {
        dye: Dye { core: LinearRgb([0.58, 0.56, 0.49]), depth: 0.16, ..warp.dye },
        irregularity: 0.17,
        packing: 0.74,
        ..warp
    };
    // Beaten up close to the jam, the yarns are pressed hard. The weft takes on a little blue in the wash.
    let weft = cotton(10.0, 1, 3.6, [0.47, 0.485, 0.475]);
    let weft = Yarn {
        packing: 0.74,
        irregularity: 0.2,
        dye: Dye { core: LinearRgb([0.62, 0.60, 0.53]), depth: 0.4, ..weft.dye },
        ..weft
    };
    Cloth {
        source: "published as typical: 7s x 10s / 72 x 56",
        ..base("denim", Draft::twill(3, 1, Twist::Z), warp, weft, [28.35, 22.05])
    }
}

fn tweed() -> Cloth {
    let warp = woollen(8.0, [0.105, 0.075, 0.050]);
    let weft = woollen(8.0, [0.235, 0.185, 0.125]);
    milled(base("tweed", Draft::twill(2, 2, Twist::Z), warp, weft, [12.0, 11.0]), 0.34, 22.0)
}

/// Wool that was milled: its yarns swell and flatten until they close the cloth, and fibres stand up all over (common practice, no
/// source). `packing` is what is left of the yarns', `hairiness` what they end with.
fn milled(cloth: Cloth, packing: f32, hairiness: f32) -> Cloth {
    let swollen = |yarn: Yarn| Yarn { packing, hairiness, ..yarn };
    Cloth { warp: swollen(cloth.warp), weft: swollen(cloth.weft), finish: Finish::Raised, flattening: 0.52, ..cloth }
}

fn herringbone() -> Cloth {
    let yarn = |color: [f32; 3]| Yarn { count: Count::Nm(12.0), irregularity: 0.15, ..woollen(12.0, color) };
    let (warp, weft) = (yarn([0.035, 0.037, 0.042]), yarn([0.33, 0.315, 0.285]));
    milled(base("herringbone", Draft::herringbone(2, 2, 12), warp, weft, [15.0, 14.0]), 0.40, 14.0)
}

fn satin() -> Cloth {
    let yarn = |tex: f32, turns: f32| Yarn {
        fibre: Fibre::Silk,
        count: Count::Tex(tex),
        ply: 1,
        twist: Twist::S,
        turns_per_m: turns,
        packing: 0.65,
        irregularity: 0.04,
        slubs_per_m: 0.2,
        hairiness: 0.2,
        blend: 0.2,
        dye: Dye::even(LinearRgb([0.32, 0.022, 0.032])),
    };
    Cloth {
        finish: Finish::Pressed,
        unevenness: 0.5,
        ..base("satin", Draft::satin(5), yarn(9.0, 150.0), yarn(14.0, 100.0), [72.0, 34.0])
    }
}

fn gauze() -> Cloth {
    let yarn = cotton(26.0, 1, 3.6, [0.66, 0.64, 0.58]);
    Cloth { unevenness: 1.8, flattening: 0.8, ..base("gauze", Draft::plain(), yarn.clone(), yarn, [12.0, 9.5]) }
}

fn jersey() -> Cloth {
    let yarn =
        Yarn { packing: 0.46, blend: 1.3, irregularity: 0.11, hairiness: 3.5, ..cotton(30.0, 1, 3.3, [0.27, 0.275, 0.285]) };
    Cloth { flattening: 0.9, ..base("jersey", Draft::jersey(), yarn.clone(), yarn, [14.0, 18.0]) }
}
