//! Putting a scene and its light on the adapter.

use std::collections::BTreeSet;
use std::sync::Arc;

use glam::{Mat4, Vec2, Vec3, Vec4Swizzles as _};
use rayon::prelude::*;
use tatter_core::channel::Channel;
use tatter_core::image::{Rect, Size};
use wgpu::util::DeviceExt as _;

use super::Renderer;
use super::pipelines::MaterialBlock;
use super::texture::{APART, Levels, Packing, halvings_of, packed, packed_part, packed_size};
use crate::camera::Camera;
use crate::light::{Environment, KeyLight, Light};
use crate::scene::{Material, Openings, Scene, ScenePart, around};
use crate::sky;

/// A scene on the adapter.
#[derive(Debug)]
pub struct Loaded {
    /// Shared between scenes of one shape.
    pub(super) shape: Arc<LoadedShape>,
    pub(super) materials: Vec<LoadedMaterial>,
    /// What it is told apart by.
    pub(super) own: Arc<()>,
    /// Bytes of its textures and triangles there.
    pub bytes: u64,
}

/// Triangles on the adapter.
#[derive(Debug)]
pub struct LoadedShape {
    pub(super) parts: Vec<LoadedPart>,
    /// Smallest and largest corner.
    pub(super) bounds: (Vec3, Vec3),
    bytes: u64,
}

impl Loaded {
    /// Its triangles, to be shared with scenes in other materials.
    pub fn shape(&self) -> Arc<LoadedShape> {
        Arc::clone(&self.shape)
    }
}

/// A material on the adapter.
#[derive(Debug)]
pub(super) struct LoadedMaterial {
    pub(super) bound: wgpu::BindGroup,
    textures: [LoadedTexture; 3],
}

#[derive(Debug)]
struct LoadedTexture {
    texture: wgpu::Texture,
    size: Size,
    /// What is left of it after [`APART`] halvings: too small to be halved part by part. Empty where it is smaller.
    small: Vec<u8>,
}

#[derive(Debug)]
pub(super) struct LoadedPart {
    pub(super) vertices: wgpu::Buffer,
    pub(super) corners: wgpu::Buffer,
    pub(super) count: u32,
    pub(super) material: usize,
}

/// Light on the adapter, to be used for many pictures.
#[derive(Clone, Debug)]
pub struct LoadedLight {
    pub(super) key: KeyLight,
    /// What the sky's lamps are shared out from.
    pub(super) environment: Environment,
    pub(super) bounce: f32,
    pub(super) irradiance: [[f32; 4]; 9],
    pub(super) reflected: wgpu::TextureView,
    pub(super) response: wgpu::TextureView,
}

impl LoadedLight {
    /// The same sky with the lamp where `light` has it: costs nothing, while a sky of its own costs what
    /// [`Renderer::load_light`] does.
    #[must_use]
    pub fn with_key_of(&self, light: &Light) -> Self {
        Self { key: light.key, ..self.clone() }
    }
}

/// For each material, the texels along a unit of texture coordinates that these views show: so many that 98 of 100 pixels of each
/// have one of their own. Linear in triangles times views.
pub fn needed_reduction(scene: &Scene<'_>, views: &[(Camera, [u32; 2])]) -> Vec<f32> {
    let mut needed = vec![1.0_f32; scene.materials.len()];
    let bounds = scene.bounds();
    for (camera, [width, height]) in views {
        let clip = camera.clip_from_world(*width as f32 / *height as f32, bounds);
        let half = Vec2::new(*width as f32, *height as f32) * 0.5;
        for part in &scene.parts {
            let most = texels_for(part, clip, half);
            let own = &mut needed[part.material];
            *own = own.max(most);
        }
    }
    needed
}

fn texels_for(part: &ScenePart, clip: Mat4, half: Vec2) -> f32 {
    let mut wants: Vec<(f32, f32)> = Vec::new();
    for corners in part.corners.chunks_exact(3) {
        let corners = [corners[0], corners[1], corners[2]].map(|i| part.vertices[i as usize]);
        let seen = corners.map(|v| clip * Vec3::from_array(v.position).extend(1.0));
        if seen.iter().any(|p| p.w <= 0.0) {
            continue;
        }
        let [a, b, c] = seen.map(|p| p.xy() / p.w);
        let (low, high) = (a.min(b).min(c), a.max(b).max(c));
        if low.max_element() > 1.0 || high.min_element() < -1.0 {
            continue;
        }
        let pixels = ((b - a) * half).perp_dot((c - a) * half).abs();
        let [a, b, c] = corners.map(|v| Vec2::from_array(v.uv));
        let texture = (b - a).perp_dot(c - a).abs();
        if pixels > 0.0 && texture > 0.0 {
            wants.push(((pixels / texture).sqrt(), pixels));
        }
    }
    wants.sort_by(|one, other| one.0.total_cmp(&other.0));
    let all: f32 = wants.iter().map(|(_, pixels)| pixels).sum();
    let mut below = 0.0;
    let enough = wants.iter().find(|(_, pixels)| {
        below += pixels;
        below >= 0.98 * all
    });
    enough.map_or(1.0, |(side, _)| *side)
}

impl Renderer {
    /// Put a scene on the adapter; `needed` texels along a unit of texture coordinates of each material (see
    /// [`needed_reduction`]) decide how large its textures are there. 16 bytes a texel with all levels.
    pub fn load(&self, scene: &Scene<'_>, needed: &[f32]) -> Loaded {
        self.dressed(self.shape(&scene.parts), &scene.materials, needed)
    }

    /// Put triangles on the adapter, to be shared between scenes in several materials.
    pub fn shape(&self, parts: &[ScenePart]) -> Arc<LoadedShape> {
        let points = parts.iter().flat_map(|part| &part.vertices).map(|vertex| Vec3::from_array(vertex.position));
        let bounds = around(points);
        let parts: Vec<LoadedPart> = parts
            .iter()
            .filter(|part| !part.corners.is_empty())
            .map(|part| {
                let vertices = self.buffer(bytemuck::cast_slice(&part.vertices), wgpu::BufferUsages::VERTEX);
                let corners = self.buffer(bytemuck::cast_slice(&part.corners), wgpu::BufferUsages::INDEX);
                LoadedPart { vertices, corners, count: part.corners.len() as u32, material: part.material }
            })
            .collect();
        let bytes = parts.iter().map(|part| part.vertices.size() + part.corners.size()).sum();
        Arc::new(LoadedShape { parts, bounds, bytes })
    }

    /// Textures of a material changed in some areas, each given by a part of a picture of some size: only those are packed anew, to the
    /// same texels that loading would give. The sizes of its textures stay.
    pub fn refresh(&self, loaded: &mut Loaded, number: usize, material: &Material<'_>, areas: &[(Rect, Size)]) {
        let textures = &mut loaded.materials[number].textures;
        let wanted: Vec<(usize, Rect)> = (0..textures.len())
            .flat_map(|at| {
                let parts: BTreeSet<[usize; 4]> = areas.iter().map(|area| textures[at].part_of(*area)).collect();
                let parts = parts.iter().map(|&[x, y, width, height]| Rect::new(x, y, width, height)).collect();
                few(parts).into_iter().map(move |part| (at, part))
            })
            .collect();
        let pack = |&(at, part): &(usize, Rect)| packed_part(material, Packing::ALL[at], textures[at].size, part, APART);
        let packed: Vec<Levels> = wanted.par_iter().map(pack).collect();
        for ((at, part), levels) in wanted.iter().zip(packed) {
            let own = &mut textures[*at];
            for (level, texels) in levels.levels.iter().enumerate() {
                let side = |side: usize| (side >> level).max(1);
                let origin = [part.x >> level, part.y >> level];
                self.write_part(&own.texture, level as u32, origin, [side(part.width), side(part.height)], texels);
                if level == APART {
                    own.take_small(origin, side(part.width), texels);
                }
            }
        }
        for (packing, own) in Packing::ALL.into_iter().zip(textures) {
            self.write_small(packing, own);
        }
    }

    /// Writes the halvings of what is too small to be halved part by part.
    fn write_small(&self, packing: Packing, own: &LoadedTexture) {
        if own.small.is_empty() {
            return;
        }
        let size = own.small_size();
        for (level, texels) in halvings_of(packing, own.small.clone(), size, usize::MAX).iter().enumerate().skip(1) {
            let side = |side: usize| (side >> level).max(1);
            self.write_part(&own.texture, (APART + level) as u32, [0, 0], [side(size.width), side(size.height)], texels);
        }
    }

    /// A shape that is there in other materials, as [`Renderer::load`] would put them there; as many, in the same order.
    pub fn dressed(&self, shape: Arc<LoadedShape>, materials: &[Material<'_>], needed: &[f32]) -> Loaded {
        let mut bytes = shape.bytes;
        let materials = materials.iter().zip(needed);
        let materials = materials.map(|(material, needed)| self.material(material, *needed, &mut bytes)).collect();
        Loaded { shape, materials, own: Arc::default(), bytes }
    }

    pub(super) fn buffer(&self, contents: &[u8], usage: wgpu::BufferUsages) -> wgpu::Buffer {
        self.device.create_buffer_init(&wgpu::util::BufferInitDescriptor { label: None, contents, usage })
    }

    fn material(&self, material: &Material<'_>, needed: f32, bytes: &mut u64) -> LoadedMaterial {
        let textures = Packing::ALL.map(|packing| {
            // A texture may be shown a little larger than its pixels for sharpness.
            let mut levels = packed(material, packing, packed_size(material, packing, 1.3 * needed));
            *bytes += levels.levels.iter().map(|level| level.len() as u64).sum::<u64>();
            let texture = self.texture(&levels, packing.format());
            let small = levels.levels.get_mut(APART).map(std::mem::take).unwrap_or_default();
            LoadedTexture { texture, size: levels.size, small }
        });
        let views = textures.each_ref().map(|own| own.texture.create_view(&Default::default()));
        let range = material.source(Channel::Height).map(|source| source.coding.height_range);
        let [r, g, b] = material.sheen.color.0;
        let block = MaterialBlock {
            sheen: [r, g, b, material.sheen.roughness],
            opening: [
                match material.openings {
                    Openings::Share => 0.0,
                    Openings::Cutoff(at) => at,
                },
                (material.name.bytes().fold(7_u32, |h, b| h.wrapping_mul(31).wrapping_add(u32::from(b))) % 1024) as f32,
                range.map_or(0.0, |range| range.span_mm()),
                if material.mm_per_uv > 0.0 { 1.0 / material.mm_per_uv } else { 0.0 },
            ],
            plain: [1.0, 0.0, 1.0, range.map_or(0.0, |range| range.low_mm)],
        };
        let block = self.buffer(bytemuck::bytes_of(&block), wgpu::BufferUsages::UNIFORM);
        let sampler = self.device.create_sampler(&wgpu::SamplerDescriptor {
            address_mode_u: wgpu::AddressMode::Repeat,
            address_mode_v: wgpu::AddressMode::Repeat,
            mag_filter: wgpu::FilterMode::Linear,
            min_filter: wgpu::FilterMode::Linear,
            mipmap_filter: wgpu::MipmapFilterMode::Linear,
            // In software every tap counts, and a still's samples see to what lies aslant.
            anisotropy_clamp: if self.info.software { 1 } else { 8 },
            ..Default::default()
        });
        let bound = self.device.create_bind_group(&wgpu::BindGroupDescriptor {
            label: Some(&material.name),
            layout: &self.pipelines.material,
            entries: &[
                bound(0, block.as_entire_binding()),
                bound(1, wgpu::BindingResource::TextureView(&views[0])),
                bound(2, wgpu::BindingResource::TextureView(&views[1])),
                bound(3, wgpu::BindingResource::TextureView(&views[2])),
                bound(4, wgpu::BindingResource::Sampler(&sampler)),
            ],
        });
        LoadedMaterial { bound, textures }
    }

    fn texture(&self, levels: &Levels, format: wgpu::TextureFormat) -> wgpu::Texture {
        let whole = extent(levels.size.width, levels.size.height, 1);
        let texture = self.empty(whole, levels.levels.len() as u32, format);
        for (level, texels) in levels.levels.iter().enumerate() {
            let side = |side: usize| (side >> level).max(1);
            self.write(&texture, level as u32, extent(side(levels.size.width), side(levels.size.height), 1), texels, 4);
        }
        texture
    }

    fn empty(&self, size: wgpu::Extent3d, levels: u32, format: wgpu::TextureFormat) -> wgpu::Texture {
        self.device.create_texture(&wgpu::TextureDescriptor {
            label: None,
            size,
            mip_level_count: levels,
            sample_count: 1,
            dimension: wgpu::TextureDimension::D2,
            format,
            usage: wgpu::TextureUsages::TEXTURE_BINDING | wgpu::TextureUsages::COPY_DST,
            view_formats: &[],
        })
    }

    fn write(&self, texture: &wgpu::Texture, mip_level: u32, size: wgpu::Extent3d, texels: &[u8], bytes_per_texel: u32) {
        self.write_at(texture, mip_level, wgpu::Origin3d::ZERO, size, texels, bytes_per_texel);
    }

    /// A part of a texture of four bytes a texel.
    fn write_part(&self, texture: &wgpu::Texture, level: u32, [x, y]: [usize; 2], [width, height]: [usize; 2], texels: &[u8]) {
        let origin = wgpu::Origin3d { x: x as u32, y: y as u32, z: 0 };
        self.write_at(texture, level, origin, extent(width, height, 1), texels, 4);
    }

    fn write_at(
        &self,
        texture: &wgpu::Texture,
        mip_level: u32,
        origin: wgpu::Origin3d,
        size: wgpu::Extent3d,
        texels: &[u8],
        bytes_per_texel: u32,
    ) {
        let place = wgpu::TexelCopyTextureInfo { texture, mip_level, origin, aspect: wgpu::TextureAspect::All };
        let layout = wgpu::TexelCopyBufferLayout {
            offset: 0,
            bytes_per_row: Some(bytes_per_texel * size.width),
            rows_per_image: Some(size.height),
        };
        self.queue.write_texture(place, texels, layout, size);
    }

    /// How materials answer to a white sky, computed when first asked for.
    fn response(&self) -> &wgpu::TextureView {
        self.response.get_or_init(|| {
            let size = extent(sky::RESPONSE, sky::RESPONSE, 1);
            let table = self.empty(size, 1, wgpu::TextureFormat::Rgba16Float);
            self.write(&table, 0, size, bytemuck::cast_slice(&sky::responses()), 8);
            table.create_view(&Default::default())
        })
    }

    /// Put light on the adapter: a fifth of a second on two cores.
    pub fn load_light(&self, light: &Light) -> LoadedLight {
        let format = wgpu::TextureFormat::Rgba16Float;
        let cube = self.empty(extent(sky::SIDE, sky::SIDE, 6), sky::LEVELS as u32, format);
        for (level, texels) in sky::mirrored(&light.environment).iter().enumerate() {
            let side = sky::SIDE >> level;
            self.write(&cube, level as u32, extent(side, side, 6), bytemuck::cast_slice(texels), 8);
        }
        let as_cube = wgpu::TextureViewDescriptor { dimension: Some(wgpu::TextureViewDimension::Cube), ..Default::default() };
        LoadedLight {
            key: light.key,
            environment: light.environment.clone(),
            bounce: light.bounce,
            irradiance: sky::irradiance(&light.environment),
            reflected: cube.create_view(&as_cube),
            response: self.response().clone(),
        }
    }
}

impl LoadedTexture {
    /// The texels of it that show an area, out to where they can be halved apart from others: left, top, columns, rows.
    fn part_of(&self, (area, of): (Rect, Size)) -> [usize; 4] {
        let span = |from: usize, to: usize, of: usize, side: usize| {
            let block = 1 << APART;
            // What shows between texels shows in their neighbours, too.
            let mut low = (from * side / of.max(1)).saturating_sub(1) / block * block;
            let high = (((to * side).div_ceil(of.max(1)) + 1).div_ceil(block) * block).min(side);
            // What is left at an edge after whole blocks is halved with the block beside it.
            if high - low < block {
                low = low.saturating_sub(block);
            }
            (low, high - low)
        };
        let (x, width) = span(area.x, area.right(), of.width, self.size.width);
        let (y, height) = span(area.y, area.bottom(), of.height, self.size.height);
        [x, y, width, height]
    }

    fn small_size(&self) -> Size {
        Size { width: (self.size.width >> APART).max(1), height: (self.size.height >> APART).max(1) }
    }

    fn take_small(&mut self, [x, y]: [usize; 2], width: usize, texels: &[u8]) {
        let all = self.small_size().width;
        for (row, line) in texels.chunks_exact(4 * width).enumerate() {
            let at = 4 * ((y + row) * all + x);
            self.small[at..at + line.len()].copy_from_slice(line);
        }
    }
}

/// Parts that lie close together as one around them: each is a copy of its own for the adapter, once a halving.
fn few(parts: Vec<Rect>) -> Vec<Rect> {
    let Some(first) = parts.first() else { return parts };
    let around = parts.iter().fold(*first, |all, part| {
        let (x, y) = (all.x.min(part.x), all.y.min(part.y));
        Rect::new(x, y, all.right().max(part.right()) - x, all.bottom().max(part.bottom()) - y)
    });
    let area = |part: &Rect| part.width * part.height;
    if area(&around) <= 2 * parts.iter().map(area).sum::<usize>() { vec![around] } else { parts }
}

pub(super) const fn extent(width: usize, height: usize, layers: u32) -> wgpu::Extent3d {
    wgpu::Extent3d { width: width as u32, height: height as u32, depth_or_array_layers: layers }
}

pub(super) const fn bound(binding: u32, resource: wgpu::BindingResource<'_>) -> wgpu::BindGroupEntry<'_> {
    wgpu::BindGroupEntry { binding, resource }
}
