//! Shaders, and what each reads.

use std::mem::size_of;

use crate::scene::Vertex;

/// Light of one sample.
pub(super) const SAMPLE: wgpu::TextureFormat = wgpu::TextureFormat::Rgba16Float;
/// Its depth, and that of shadow maps.
pub(super) const DEPTH: wgpu::TextureFormat = wgpu::TextureFormat::Depth32Float;
/// Light summed over samples: a half float would lose the last of a hundred.
pub(super) const SUM: wgpu::TextureFormat = wgpu::TextureFormat::Rgba32Float;
/// What is read back.
pub(super) const SCREEN: wgpu::TextureFormat = wgpu::TextureFormat::Rgba8Unorm;

/// The scene's shader with what it needs.
pub(crate) const SCENE: &str = concat!(include_str!("../shaders/brdf.wgsl"), include_str!("../shaders/scene.wgsl"));
const VIEW: &str = include_str!("../shaders/view.wgsl");

/// One sample's light and eye: `Frame` of `scene.wgsl`.
#[derive(Clone, Copy, Debug, bytemuck::Pod, bytemuck::Zeroable)]
#[repr(C)]
pub(super) struct Frame {
    pub(super) clip_from_world: [[f32; 4]; 4],
    pub(super) key_from_world: [[f32; 4]; 4],
    pub(super) sky_from_world: [[f32; 4]; 4],
    pub(super) eye: [f32; 4],
    pub(super) key: [f32; 4],
    pub(super) key_light: [f32; 4],
    pub(super) sky: [f32; 4],
    pub(super) sky_light: [f32; 4],
    pub(super) look: [f32; 4],
    pub(super) irradiance: [[f32; 4]; 9],
}

/// `Material` of `scene.wgsl`.
#[derive(Clone, Copy, Debug, bytemuck::Pod, bytemuck::Zeroable)]
#[repr(C)]
pub(super) struct MaterialBlock {
    pub(super) sheen: [f32; 4],
    pub(super) opening: [f32; 4],
    pub(super) plain: [f32; 4],
}

/// `Shade` of `scene.wgsl`.
#[derive(Clone, Copy, Debug, bytemuck::Pod, bytemuck::Zeroable)]
#[repr(C)]
pub(super) struct Shade {
    pub(super) from_world: [[f32; 4]; 4],
    pub(super) sample: [f32; 4],
    pub(super) cut: [f32; 4],
}

/// `View` of `view.wgsl`.
#[derive(Clone, Copy, Debug, bytemuck::Pod, bytemuck::Zeroable)]
#[repr(C)]
pub(super) struct ViewBlock {
    pub(super) how: [f32; 4],
    pub(super) top: [f32; 4],
    pub(super) bottom: [f32; 4],
    pub(super) place: [f32; 4],
}

/// Everything that does not change from picture to picture.
#[derive(Debug)]
pub(super) struct Pipelines {
    pub(super) frame: wgpu::BindGroupLayout,
    pub(super) material: wgpu::BindGroupLayout,
    pub(super) shade: wgpu::BindGroupLayout,
    pub(super) view: wgpu::BindGroupLayout,
    pub(super) cloth: wgpu::RenderPipeline,
    pub(super) shadow: wgpu::RenderPipeline,
    pub(super) add: wgpu::RenderPipeline,
    pub(super) show: wgpu::RenderPipeline,
}

impl Pipelines {
    pub(super) fn new(device: &wgpu::Device) -> Self {
        let frame = layout(
            device,
            "frame",
            &[
                uniform(0),
                texture(1, wgpu::TextureSampleType::Depth, wgpu::TextureViewDimension::D2),
                texture(2, wgpu::TextureSampleType::Depth, wgpu::TextureViewDimension::D2),
                sampler(3, wgpu::SamplerBindingType::Comparison),
                texture(4, FILTERED, wgpu::TextureViewDimension::Cube),
                texture(5, FILTERED, wgpu::TextureViewDimension::D2),
                sampler(6, wgpu::SamplerBindingType::Filtering),
            ],
        );
        let material = layout(
            device,
            "material",
            &[
                uniform(0),
                texture(1, FILTERED, wgpu::TextureViewDimension::D2),
                texture(2, FILTERED, wgpu::TextureViewDimension::D2),
                texture(3, FILTERED, wgpu::TextureViewDimension::D2),
                sampler(4, wgpu::SamplerBindingType::Filtering),
            ],
        );
        let shade = layout(device, "shade", &[uniform(7)]);
        let plain = wgpu::TextureSampleType::Float { filterable: false };
        let view = layout(
            device,
            "view",
            &[uniform(0), texture(1, plain, wgpu::TextureViewDimension::D2), texture(2, plain, wgpu::TextureViewDimension::D2)],
        );
        let module = |label: &str, source: &'static str| {
            device.create_shader_module(wgpu::ShaderModuleDescriptor {
                label: Some(label),
                source: wgpu::ShaderSource::Wgsl(source.into()),
            })
        };
        let (scene, screen) = (module("scene", SCENE), module("view", VIEW));
        let make = |stages: Stages<'_>, groups: &[&wgpu::BindGroupLayout]| pipeline(device, &stages, groups);
        let cloth = make(
            Stages { module: &scene, vertex: "corner", fragment: "cloth", target: Some(SAMPLE), depth: true },
            &[&frame, &material],
        );
        let shadow = make(
            Stages { module: &scene, vertex: "shade_corner", fragment: "shade_cloth", target: None, depth: true },
            &[&shade, &material],
        );
        let over = |fragment, target| {
            make(Stages { module: &screen, vertex: "whole", fragment, target: Some(target), depth: false }, &[&view])
        };
        let (add, show) = (over("add", SUM), over("show", SCREEN));
        Self { frame, material, shade, view, cloth, shadow, add, show }
    }
}

const FILTERED: wgpu::TextureSampleType = wgpu::TextureSampleType::Float { filterable: true };

fn entry(binding: u32, ty: wgpu::BindingType) -> wgpu::BindGroupLayoutEntry {
    wgpu::BindGroupLayoutEntry { binding, visibility: wgpu::ShaderStages::VERTEX_FRAGMENT, ty, count: None }
}

fn uniform(binding: u32) -> wgpu::BindGroupLayoutEntry {
    let ty = wgpu::BufferBindingType::Uniform;
    entry(binding, wgpu::BindingType::Buffer { ty, has_dynamic_offset: false, min_binding_size: None })
}

fn texture(
    binding: u32,
    sample_type: wgpu::TextureSampleType,
    view_dimension: wgpu::TextureViewDimension,
) -> wgpu::BindGroupLayoutEntry {
    entry(binding, wgpu::BindingType::Texture { sample_type, view_dimension, multisampled: false })
}

fn sampler(binding: u32, ty: wgpu::SamplerBindingType) -> wgpu::BindGroupLayoutEntry {
    entry(binding, wgpu::BindingType::Sampler(ty))
}

fn layout(device: &wgpu::Device, label: &str, entries: &[wgpu::BindGroupLayoutEntry]) -> wgpu::BindGroupLayout {
    device.create_bind_group_layout(&wgpu::BindGroupLayoutDescriptor { label: Some(label), entries })
}

struct Stages<'a> {
    module: &'a wgpu::ShaderModule,
    vertex: &'a str,
    fragment: &'a str,
    target: Option<wgpu::TextureFormat>,
    /// Draws triangles of the scene with a depth; else one triangle over the whole picture.
    depth: bool,
}

fn pipeline(device: &wgpu::Device, stages: &Stages<'_>, groups: &[&wgpu::BindGroupLayout]) -> wgpu::RenderPipeline {
    let groups: Vec<Option<&wgpu::BindGroupLayout>> = groups.iter().map(|group| Some(*group)).collect();
    let layout = device.create_pipeline_layout(&wgpu::PipelineLayoutDescriptor {
        label: Some(stages.fragment),
        bind_group_layouts: &groups,
        immediate_size: 0,
    });
    let attributes = wgpu::vertex_attr_array![0 => Float32x3, 1 => Float32x3, 2 => Float32x4, 3 => Float32x2];
    let corner = wgpu::VertexBufferLayout {
        array_stride: size_of::<Vertex>() as u64,
        step_mode: wgpu::VertexStepMode::Vertex,
        attributes: &attributes,
    };
    let buffers = if stages.depth { vec![Some(corner)] } else { Vec::new() };
    let targets: Vec<Option<wgpu::ColorTargetState>> = stages.target.map(|format| Some(format.into())).into_iter().collect();
    device.create_render_pipeline(&wgpu::RenderPipelineDescriptor {
        label: Some(stages.fragment),
        layout: Some(&layout),
        vertex: wgpu::VertexState {
            module: stages.module,
            entry_point: Some(stages.vertex),
            compilation_options: Default::default(),
            buffers: &buffers,
        },
        primitive: wgpu::PrimitiveState::default(),
        depth_stencil: stages.depth.then(|| wgpu::DepthStencilState {
            format: DEPTH,
            depth_write_enabled: Some(true),
            depth_compare: Some(wgpu::CompareFunction::Less),
            stencil: Default::default(),
            bias: Default::default(),
        }),
        multisample: Default::default(),
        fragment: Some(wgpu::FragmentState {
            module: stages.module,
            entry_point: Some(stages.fragment),
            compilation_options: Default::default(),
            targets: &targets,
        }),
        multiview_mask: None,
        cache: None,
    })
}
