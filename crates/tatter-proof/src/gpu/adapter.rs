//! Finding an adapter.

/// Which adapter draws.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AdapterInfo {
    /// As its driver names it.
    pub name: String,
    /// It is a program, not a card.
    pub software: bool,
    /// Longest side of a texture, texels.
    pub longest_side: u32,
}

/// Why nothing can be drawn.
#[derive(Debug, thiserror::Error)]
pub enum AdapterError {
    /// No driver answered.
    #[error("no graphics adapter was found, neither a card nor one in software")]
    None,
    /// It is there but will not work.
    #[error("the graphics adapter '{0}' could not be opened ({1})")]
    Refused(String, String),
}

impl tatter_core::explain::Explain for AdapterError {
    fn next(&self) -> String {
        "Install a Vulkan driver for your card, or one in software (Debian: apt-get install mesa-vulkan-drivers libvulkan1)"
            .to_owned()
    }

    fn class(&self) -> tatter_core::explain::Class {
        tatter_core::explain::Class::Outside
    }
}

/// An adapter in use.
pub(super) struct Opened {
    pub(super) device: wgpu::Device,
    pub(super) queue: wgpu::Queue,
    pub(super) info: AdapterInfo,
}

/// The strongest adapter, any rather than none.
pub(super) fn open() -> Result<Opened, AdapterError> {
    let instance = wgpu::Instance::new(wgpu::InstanceDescriptor::new_without_display_handle());
    let options = wgpu::RequestAdapterOptions { power_preference: wgpu::PowerPreference::HighPerformance, ..Default::default() };
    // The error says which driver was not tried how; the person needs the one sentence.
    let Ok(adapter) = pollster::block_on(instance.request_adapter(&options)) else { return Err(AdapterError::None) };
    let about = adapter.get_info();
    let limits = wgpu::Limits::default().using_resolution(adapter.limits());
    let info = AdapterInfo {
        name: about.name.clone(),
        software: about.device_type == wgpu::DeviceType::Cpu,
        longest_side: limits.max_texture_dimension_2d,
    };
    let wanted = wgpu::DeviceDescriptor { label: Some("proof"), required_limits: limits, ..Default::default() };
    let (device, queue) = pollster::block_on(adapter.request_device(&wanted))
        .map_err(|error| AdapterError::Refused(about.name, error.to_string()))?;
    Ok(Opened { device, queue, info })
}
