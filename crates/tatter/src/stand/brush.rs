//! What a garment is drawn with.

use tatter_core::explain::Explain as _;
use tatter_proof::{Camera, Light, LoadedLight, Renderer};

/// A graphics adapter with its light, or why there is none. It asks nothing of a garment: it is found while one is read.
pub struct Brush {
    renderer: Result<Renderer, String>,
    light: Light,
    /// The light of the last look; of none yet, that of an eye in front.
    lit: Option<LoadedLight>,
}

impl std::fmt::Debug for Brush {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Brush").field("renderer", &self.renderer).finish_non_exhaustive()
    }
}

impl Brush {
    /// Look for an adapter and put light there.
    pub fn find() -> Self {
        let (renderer, light) = (Renderer::new(), Light::default());
        let lit = renderer.as_ref().ok().map(|renderer| renderer.load_light(&light));
        Self { renderer: renderer.map_err(|error| format!("{error}. {}.", error.next())), light, lit }
    }

    /// None: garments are dressed but not drawn, `why` in two sentences.
    pub fn none(why: &str) -> Self {
        Self { renderer: Err(why.to_owned()), light: Light::default(), lit: None }
    }

    pub(super) fn renderer(&self) -> Result<&Renderer, &str> {
        self.renderer.as_ref().map_err(String::as_str)
    }

    /// The light carried along with an eye; a quick look keeps the sky of the last one.
    pub(super) fn light(&mut self, camera: &Camera, quick: bool) -> Option<LoadedLight> {
        let renderer = self.renderer.as_ref().ok()?;
        let light = match &self.lit {
            Some(lit) if quick => lit.with_key_of(&self.light.with_key_carried(camera)),
            _ => renderer.load_light(&self.light.carried(camera)),
        };
        self.lit = Some(light.clone());
        Some(light)
    }
}
