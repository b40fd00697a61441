//! Yarn count: how fine a yarn is.

/// Grams in a pound, and metres in a yard, both exact by definition.
const GRAMS_PER_POUND: f32 = 453.592_37;
const METRES_PER_YARD: f32 = 0.9144;
/// Tex times the English cotton count: pounds in hanks of 840 yards, per km. 590.541.
const TEX_NE: f32 = GRAMS_PER_POUND / (840.0 * METRES_PER_YARD) * 1000.0;

/// The fineness of a single yarn, in the system it was told in. ISO 1144 (tex); indirect systems by their definitions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Count {
    /// Grams per kilometre.
    Tex(f32),
    /// English cotton count: hanks of 840 yards in a pound.
    Ne(f32),
    /// Metric count: kilometres in a kilogram.
    Nm(f32),
    /// Grams in nine kilometres.
    Denier(f32),
}

impl Count {
    /// Grams per kilometre.
    pub fn tex(self) -> f32 {
        match self {
            Self::Tex(tex) => tex,
            Self::Ne(ne) => TEX_NE / ne,
            Self::Nm(nm) => 1000.0 / nm,
            Self::Denier(denier) => denier / 9.0,
        }
    }

    /// English cotton count.
    pub fn ne(self) -> f32 {
        TEX_NE / self.tex()
    }

    /// Metric count.
    pub fn nm(self) -> f32 {
        1000.0 / self.tex()
    }

    /// Denier.
    pub fn denier(self) -> f32 {
        9.0 * self.tex()
    }
}

impl std::fmt::Display for Count {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Tex(n) => write!(f, "{n} tex"),
            Self::Ne(n) => write!(f, "Ne {n}"),
            Self::Nm(n) => write!(f, "Nm {n}"),
            Self::Denier(n) => write!(f, "{n} den"),
        }
    }
}

/// A count that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("'{0}' is no yarn count: write it as 30tex, Ne20, Nm8 or 150den, with /2 behind it for a two-ply yarn")]
pub struct CountError(pub String);

/// A count with the number of plies: `Ne 7/2` is two singles of Ne 7.
pub fn parse_count(text: &str) -> Result<(Count, u8), CountError> {
    let failed = || CountError(text.to_owned());
    let (body, ply) = match text.split_once('/') {
        Some((body, ply)) => (body, ply.trim().parse::<u8>().ok().filter(|p| (1..=6).contains(p)).ok_or_else(failed)?),
        None => (text, 1),
    };
    let body = body.trim().to_ascii_lowercase();
    let number: String = body.chars().filter(|c| c.is_ascii_digit() || *c == '.').collect();
    let system: String = body.chars().filter(|c| c.is_ascii_alphabetic()).collect();
    let value = number.parse::<f32>().ok().filter(|v| *v > 0.0 && v.is_finite()).ok_or_else(failed)?;
    let count = match system.as_str() {
        "tex" => Count::Tex(value),
        "ne" => Count::Ne(value),
        "nm" => Count::Nm(value),
        "den" | "denier" => Count::Denier(value),
        _ => return Err(failed()),
    };
    Ok((count, ply))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_are_read_as_people_write_them() {
        assert_eq!(parse_count("Ne 7/2"), Ok((Count::Ne(7.0), 2)), "two-ply cotton");
        assert_eq!(parse_count("30tex"), Ok((Count::Tex(30.0), 1)), "tex");
        assert_eq!(parse_count("150 den"), Ok((Count::Denier(150.0), 1)), "denier");
        for wrong in ["", "20", "Ne", "Ne 0", "Ne 20/9", "Nx 4"] {
            assert!(parse_count(wrong).is_err(), "'{wrong}' is no count");
        }
    }
}
