//! What a person says of a cloth, and the cloth that it makes: on the command line and at the desk alike.

use tatter_core::explain::{Class, Explain};
use tatter_core::image::LinearRgb;
use tatter_core::units::PerCm;
use tatter_weave::{Cloth, CountError, Draft, DraftError, Dye, Fibre, Finish, STOCK, Twist, Yarn, parse_count, stock};

/// A starting cloth, and in what the cloth differs from it; what is `None` stays as it is there.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Said {
    /// The starting cloth.
    pub cloth: String,
    /// The weave by its name, or its grid.
    pub weave: Option<String>,
    /// Yarn count of the warp with its system. Twist stays as hard as it was.
    pub warp: Option<String>,
    /// Yarn count of the weft.
    pub weft: Option<String>,
    /// Warp threads in a centimetre.
    pub ends_per_cm: Option<f32>,
    /// Weft threads in a centimetre.
    pub picks_per_cm: Option<f32>,
    /// What both yarns are spun from.
    pub fibre: Option<Fibre>,
    /// Direction of the last twist of both yarns.
    pub twist: Option<Twist>,
    /// Turns of it in a metre.
    pub turns_per_m: Option<f32>,
    /// Share of a yarn that is fibre.
    pub packing: Option<f32>,
    /// How much fibres differ in shade.
    pub blend: Option<f32>,
    /// Colour of the warp's surface, sRGB codes.
    pub warp_color: Option<[u8; 3]>,
    /// Colour of the weft's surface.
    pub weft_color: Option<[u8; 3]>,
    /// Colour of the undyed heart of both yarns.
    pub core_color: Option<[u8; 3]>,
    /// How deep the dye went, 0..1.
    pub dye_depth: Option<f32>,
    /// Crimp of the warp, as a share of the cloth's length.
    pub warp_crimp: Option<f32>,
    /// Thickness over breadth of the yarns.
    pub flattening: Option<f32>,
    /// Unevenness of the yarns' mass.
    pub irregularity: Option<f32>,
    /// Thick places in a metre of yarn.
    pub slubs_per_m: Option<f32>,
    /// Length of fibre that stands out, per length of yarn.
    pub hairiness: Option<f32>,
    /// Unevenness of the spacing.
    pub unevenness: Option<f32>,
    /// What was done after weaving.
    pub finish: Option<Finish>,
}

/// Why what was said makes no cloth.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SaidError {
    /// No starting cloth is called so.
    #[error("no starting cloth is called '{0}': there are {names}", names = STOCK.map(|(name, _)| name).join(", "))]
    Cloth(String),
    /// The weave.
    #[error(transparent)]
    Weave(#[from] DraftError),
    /// A yarn count.
    #[error(transparent)]
    Count(#[from] CountError),
}

impl Explain for SaidError {
    fn next(&self) -> String {
        match self {
            Self::Cloth(_) => "Name one of those",
            Self::Weave(_) => "Name a weave or draw its grid",
            Self::Count(_) => "Write the count with its system",
        }
        .to_owned()
    }

    fn class(&self) -> Class {
        Class::Request
    }
}

impl Said {
    /// A starting cloth as it is.
    pub fn of(cloth: &str) -> Self {
        Self { cloth: cloth.to_owned(), ..Self::default() }
    }

    /// The cloth that was said. Whether it can be woven is another question: [`super::solve`] answers it.
    ///
    /// # Errors
    /// As [`SaidError`] lists.
    pub fn cloth(&self) -> Result<Cloth, SaidError> {
        let mut cloth = stock(&self.cloth).ok_or_else(|| SaidError::Cloth(self.cloth.clone()))?;
        if let Some(text) = &self.weave {
            cloth.weave = Draft::parse(text)?;
        }
        recount(&mut cloth.warp, self.warp.as_deref())?;
        recount(&mut cloth.weft, self.weft.as_deref())?;
        for (yarn, color) in [(&mut cloth.warp, self.warp_color), (&mut cloth.weft, self.weft_color)] {
            if let Some(codes) = color {
                yarn.dye = dyed(yarn.dye, LinearRgb::from_codes(codes));
            }
        }
        cloth.ends_per_cm = self.ends_per_cm.map_or(cloth.ends_per_cm, PerCm);
        cloth.picks_per_cm = self.picks_per_cm.map_or(cloth.picks_per_cm, PerCm);
        cloth.flattening = self.flattening.unwrap_or(cloth.flattening);
        cloth.unevenness = self.unevenness.unwrap_or(cloth.unevenness);
        cloth.warp_crimp = self.warp_crimp.or(cloth.warp_crimp);
        cloth.finish = self.finish.unwrap_or(cloth.finish);
        for yarn in [&mut cloth.warp, &mut cloth.weft] {
            self.respin(yarn);
        }
        Ok(cloth)
    }

    /// What was said of both yarns.
    fn respin(&self, yarn: &mut Yarn) {
        yarn.fibre = self.fibre.unwrap_or(yarn.fibre);
        yarn.twist = self.twist.unwrap_or(yarn.twist);
        yarn.turns_per_m = self.turns_per_m.unwrap_or(yarn.turns_per_m);
        yarn.packing = self.packing.unwrap_or(yarn.packing);
        yarn.blend = self.blend.unwrap_or(yarn.blend);
        yarn.irregularity = self.irregularity.unwrap_or(yarn.irregularity);
        yarn.slubs_per_m = self.slubs_per_m.unwrap_or(yarn.slubs_per_m);
        yarn.hairiness = self.hairiness.unwrap_or(yarn.hairiness);
        yarn.dye.core = self.core_color.map_or(yarn.dye.core, LinearRgb::from_codes);
        yarn.dye.depth = self.dye_depth.unwrap_or(yarn.dye.depth);
    }
}

/// Another count at the same hardness of twist: turns go with the root of the count.
fn recount(yarn: &mut Yarn, told: Option<&str>) -> Result<(), CountError> {
    if let Some(text) = told {
        let before = yarn.tex();
        (yarn.count, yarn.ply) = parse_count(text)?;
        yarn.turns_per_m *= (before / yarn.tex()).sqrt();
    }
    Ok(())
}

/// A new colour; what was undyed within stays, what was dyed through is dyed through again.
fn dyed(dye: Dye, color: LinearRgb) -> Dye {
    if dye.core == dye.color { Dye { color, core: color, depth: dye.depth } } else { Dye { color, ..dye } }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_finer_yarn_is_twisted_as_hard_and_dyed_as_deep() {
        let denim = stock("denim").expect("denim is in stock");
        let said = Said { warp: Some("Ne28".to_owned()), warp_color: Some([0x80, 0, 0]), ..Said::of("denim") };
        let cloth = said.cloth().expect("a cloth");
        let turns = cloth.warp.turns_per_m / denim.warp.turns_per_m;
        assert!((turns - 2.0).abs() < 1e-4, "a quarter of the weight, twice the turns: {turns}");
        assert_eq!(cloth.warp.dye.core, denim.warp.dye.core, "the undyed heart stays");
        assert_eq!(cloth.warp.dye.color, LinearRgb::from_codes([0x80, 0, 0]), "its surface is dyed anew");
        assert_eq!(cloth.weft, denim.weft, "nothing was said of the weft");
        assert_eq!(Said::of("denim").cloth(), Ok(denim), "nothing said, nothing changed");
    }

    #[test]
    fn what_makes_no_cloth_is_told() {
        let error = Said::of("chainmail").cloth().expect_err("no cloth");
        assert!(error.to_string().contains("duck, canvas"), "{error}");
        let error = Said { weft: Some("20".to_owned()), ..Said::of("canvas") }.cloth().expect_err("no count");
        assert!(matches!(error, SaidError::Count(_)), "{error}");
    }
}
