//! What pictures are drawn into, kept for the next picture of the same size: memory of an adapter takes milliseconds to be had.

use std::mem::size_of;
use std::sync::{Arc, PoisonError};

use glam::{Mat4, Vec4};

use super::Renderer;
use super::load::{bound, extent};
use super::pipelines::{DEPTH, Frame, SAMPLE, SCREEN, SUM, Shade, ViewBlock};

/// What one tile of a picture is drawn into.
#[derive(Debug)]
pub(super) struct Targets {
    pub(super) sample: wgpu::TextureView,
    pub(super) depth: wgpu::TextureView,
    pub(super) sums: [wgpu::TextureView; 2],
    pub(super) screen: wgpu::Texture,
    /// Where the screen is read back.
    pub(super) back: wgpu::Buffer,
}

/// What the lamp's shadow map shows: the shadow of which scene, from where, cut off where.
#[derive(Clone, Debug)]
pub(super) struct Cast {
    pub(super) scene: Arc<()>,
    pub(super) from_world: Mat4,
    pub(super) cut: Vec4,
}

impl PartialEq for Cast {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.scene, &other.scene) && self.from_world == other.from_world && self.cut == other.cut
    }
}

/// Everything pictures of one size are drawn with.
#[derive(Debug)]
pub(super) struct Easel {
    /// Columns and rows of its targets.
    pub(super) size: [u32; 2],
    pub(super) targets: Targets,
    pub(super) shadow_sides: [u32; 2],
    pub(super) shadows: [wgpu::TextureView; 2],
    /// What was drawn into the lamp's last.
    pub(super) cast: Option<Cast>,
    pub(super) frame_block: wgpu::Buffer,
    pub(super) shades: [(wgpu::Buffer, wgpu::BindGroup); 2],
    pub(super) view_block: wgpu::Buffer,
    pub(super) compare: wgpu::Sampler,
    pub(super) smooth: wgpu::Sampler,
}

/// So many easels are kept, of at most so many pixels: 52 bytes each.
const KEPT: (usize, u32) = (2, 1 << 20);

impl Renderer {
    /// An easel for tiles of a size and shadow maps of these sides.
    pub(super) fn easel(&self, size: [u32; 2], shadow_sides: [u32; 2]) -> Easel {
        let mut kept = self.easels.lock().unwrap_or_else(PoisonError::into_inner);
        match kept.iter().position(|easel| easel.size == size && easel.shadow_sides == shadow_sides) {
            Some(at) => kept.remove(at),
            None => self.new_easel(size, shadow_sides),
        }
    }

    /// Keep an easel for the next picture.
    pub(super) fn put_away(&self, easel: Easel) {
        if easel.size[0] * easel.size[1] > KEPT.1 {
            return;
        }
        let mut kept = self.easels.lock().unwrap_or_else(PoisonError::into_inner);
        kept.insert(0, easel);
        kept.truncate(KEPT.0);
    }

    fn new_easel(&self, size: [u32; 2], shadow_sides: [u32; 2]) -> Easel {
        let linear = wgpu::FilterMode::Linear;
        let compare = self.device.create_sampler(&wgpu::SamplerDescriptor {
            compare: Some(wgpu::CompareFunction::LessEqual),
            mag_filter: linear,
            min_filter: linear,
            ..Default::default()
        });
        let smooth = self.device.create_sampler(&wgpu::SamplerDescriptor {
            mag_filter: linear,
            min_filter: linear,
            mipmap_filter: wgpu::MipmapFilterMode::Linear,
            ..Default::default()
        });
        let shade = || {
            let block = self.block(size_of::<Shade>());
            let group = self.device.create_bind_group(&wgpu::BindGroupDescriptor {
                label: Some("shade"),
                layout: &self.pipelines.shade,
                entries: &[bound(7, block.as_entire_binding())],
            });
            (block, group)
        };
        Easel {
            size,
            targets: self.targets(size),
            shadow_sides,
            shadows: shadow_sides.map(|side| self.target([side; 2], DEPTH).create_view(&Default::default())),
            cast: None,
            frame_block: self.block(size_of::<Frame>()),
            shades: [shade(), shade()],
            view_block: self.block(size_of::<ViewBlock>()),
            compare,
            smooth,
        }
    }

    fn target(&self, [width, height]: [u32; 2], format: wgpu::TextureFormat) -> wgpu::Texture {
        let usage = wgpu::TextureUsages::RENDER_ATTACHMENT
            | if format == SCREEN { wgpu::TextureUsages::COPY_SRC } else { wgpu::TextureUsages::TEXTURE_BINDING };
        self.device.create_texture(&wgpu::TextureDescriptor {
            label: None,
            size: extent(width as usize, height as usize, 1),
            mip_level_count: 1,
            sample_count: 1,
            dimension: wgpu::TextureDimension::D2,
            format,
            usage,
            view_formats: &[],
        })
    }

    /// What a tile of a size is drawn into.
    pub(super) fn targets(&self, size: [u32; 2]) -> Targets {
        let view = |format| self.target(size, format).create_view(&Default::default());
        Targets {
            sample: view(SAMPLE),
            depth: view(DEPTH),
            sums: [view(SUM), view(SUM)],
            screen: self.target(size, SCREEN),
            back: self.back(size),
        }
    }

    fn block(&self, size: usize) -> wgpu::Buffer {
        self.device.create_buffer(&wgpu::BufferDescriptor {
            label: None,
            size: size as u64,
            usage: wgpu::BufferUsages::UNIFORM | wgpu::BufferUsages::COPY_DST,
            mapped_at_creation: false,
        })
    }
}
