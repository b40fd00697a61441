//! Named variations of a job: other colours, other states of wear, other sizes of texture.

/// A variation: everything that is not said is as the job says.
#[derive(Clone, Debug, PartialEq)]
pub struct Variation {
    /// Unique in its job, and the name of its folder.
    pub name: String,
    /// The colour its cloth is dyed, sRGB codes; `None`: as it is.
    pub dye: Option<[u8; 3]>,
    /// The colour whose dye is changed, sRGB codes, where the cloth shows several; `None`: the one with most cloth.
    pub from: Option<[u8; 3]>,
    /// Fibre without dye in the garment's cloth, sRGB codes; `None`: as seen in it, else ecru.
    pub fibre: Option<[u8; 3]>,
    /// Materials that are dyed; empty: all.
    pub materials: Vec<String>,
    /// Ids of the placements, scatters and wear it has; empty: all.
    pub only: Vec<String>,
    /// Ids of those it lacks.
    pub without: Vec<String>,
    /// Times the strength of all of them, 0..1.
    pub strength: f32,
    /// Times the strength of single ones, 0..1, by id.
    pub strengths: Vec<(String, f32)>,
    /// Texels along the longer side of its textures; `None`: as the garment's.
    pub texels: Option<usize>,
}

impl Default for Variation {
    fn default() -> Self {
        Self {
            name: String::new(),
            dye: None,
            from: None,
            fibre: None,
            materials: Vec::new(),
            only: Vec::new(),
            without: Vec::new(),
            strength: 1.0,
            strengths: Vec::new(),
            texels: None,
        }
    }
}

impl Variation {
    /// How many times smaller a texture of this longer side becomes; those that are small already stay. `None`: its texels do not
    /// divide the side.
    pub const fn times(&self, longer: usize) -> Option<usize> {
        match self.texels {
            Some(texels) if texels < longer => {
                if longer.is_multiple_of(texels) {
                    Some(longer / texels)
                } else {
                    None
                }
            }
            _ => Some(1),
        }
    }

    /// The strength it gives something of this id, which may be one of a scatter's placements (`ID-7`); `None` when it lacks it.
    pub fn strength_of(&self, id: &str) -> Option<f32> {
        let named = |names: &[String]| names.iter().any(|name| is_of(id, name));
        if (!self.only.is_empty() && !named(&self.only)) || named(&self.without) {
            return None;
        }
        let own = self.strengths.iter().filter(|(name, _)| is_of(id, name)).map(|(_, strength)| strength).product::<f32>();
        Some(self.strength * own).filter(|strength| *strength > 0.0)
    }
}

/// Whether an id is this name, or one of the placements of a scatter of this name.
fn is_of(id: &str, name: &str) -> bool {
    let number = id.strip_prefix(name).and_then(|rest| rest.strip_prefix('-'));
    id == name || number.is_some_and(|number| !number.is_empty() && number.bytes().all(|b| b.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scatters_stand_for_their_placements() {
        let variation = Variation {
            only: vec!["moths".into(), "hem".into()],
            without: vec!["moths-3".into()],
            strength: 0.5,
            strengths: vec![("hem".into(), 0.5)],
            ..Variation::default()
        };
        let found = ["moths-1", "moths-3", "moths-x", "hem", "elbow"].map(|id| variation.strength_of(id));
        assert_eq!(found, [Some(0.5), None, None, Some(0.25), None], "by id");
        assert_eq!(Variation::default().strength_of("elbow"), Some(1.0), "all without a word");
    }
}
