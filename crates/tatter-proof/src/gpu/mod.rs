//! The adapter's side: what is put there, and how pictures are made of it.

mod adapter;
mod easel;
mod load;
mod pipelines;
mod readback;
mod shadow;
mod still;
#[cfg(test)]
mod tests;
mod texture;

pub use adapter::{AdapterError, AdapterInfo};
pub use load::{Loaded, LoadedLight, LoadedShape, needed_reduction};
pub use still::{Picture, RenderError, Show, StillSettings, ViewTransform};

use std::sync::{Arc, Mutex, OnceLock};

use adapter::Opened;
use easel::Easel;
use pipelines::Pipelines;

/// A graphics adapter made ready. Made once; about half a second on a software adapter.
#[derive(Debug)]
pub struct Renderer {
    device: wgpu::Device,
    queue: wgpu::Queue,
    info: AdapterInfo,
    pipelines: Pipelines,
    response: OnceLock<wgpu::TextureView>,
    /// The first thing the adapter refused, if any.
    refused: Arc<Mutex<Option<String>>>,
    /// For the next pictures.
    easels: Mutex<Vec<Easel>>,
}

impl Renderer {
    /// Take the best adapter there is: a card, else one in software.
    ///
    /// # Errors
    /// [`AdapterError`] when there is none, or it will not work.
    pub fn new() -> Result<Self, AdapterError> {
        let Opened { device, queue, info } = adapter::open()?;
        let refused = Arc::new(Mutex::new(None));
        let first = Arc::clone(&refused);
        device.on_uncaptured_error(Arc::new(move |error: wgpu::Error| {
            if let Ok(mut first) = first.lock() {
                first.get_or_insert_with(|| error.to_string());
            }
        }));
        let pipelines = Pipelines::new(&device);
        Ok(Self { device, queue, info, pipelines, response: OnceLock::new(), refused, easels: Mutex::default() })
    }

    /// Which adapter it is.
    pub const fn info(&self) -> &AdapterInfo {
        &self.info
    }

    /// What the adapter refused since it was last asked.
    fn refusal(&self) -> Option<String> {
        self.refused.lock().ok().and_then(|mut first| first.take())
    }
}
