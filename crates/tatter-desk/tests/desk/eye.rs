//! What a person sees: the window's frame drawn by an adapter, one in software where there is no other.

use std::cell::RefCell;
use std::rc::Rc;
use std::sync::mpsc::channel;
use std::time::Duration;

use egui::{TexturesDelta, Theme};
use egui_kittest::{Harness, TestRenderer};
use egui_wgpu::{Renderer, RendererOptions, ScreenDescriptor, wgpu};
use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};
use tatter_desk::Palette;

use crate::Tried;

/// Textures that the window gave to its adapter since it was drawn last.
#[derive(Clone, Default)]
pub(crate) struct Textures(Rc<RefCell<TexturesDelta>>);

impl TestRenderer for Textures {
    fn handle_delta(&mut self, delta: &mut TexturesDelta) {
        self.0.borrow_mut().append(std::mem::take(delta));
    }
}

/// An adapter that draws a window.
pub(crate) struct Eye {
    textures: Textures,
    device: wgpu::Device,
    queue: wgpu::Queue,
    renderer: Renderer,
}

/// Pixels as egui counts them: codes of sRGB, blended as they are.
const FORMAT: wgpu::TextureFormat = wgpu::TextureFormat::Rgba8Unorm;
/// Longer than an adapter in software takes.
const PATIENCE: Duration = Duration::from_secs(60);

impl Eye {
    pub(crate) fn new(textures: Textures) -> Tried<Self> {
        let instance = wgpu::Instance::new(wgpu::InstanceDescriptor::new_without_display_handle());
        let adapter = pollster::block_on(instance.request_adapter(&wgpu::RequestAdapterOptions::default()))?;
        let descriptor = wgpu::DeviceDescriptor { required_limits: adapter.limits(), ..wgpu::DeviceDescriptor::default() };
        let (device, queue) = pollster::block_on(adapter.request_device(&descriptor))?;
        let renderer = Renderer::new(&device, FORMAT, RendererOptions::PREDICTABLE);
        Ok(Self { textures, device, queue, renderer })
    }

    /// The last frame, three samples a pixel.
    pub(crate) fn see<State>(&mut self, harness: &Harness<'_, State>, theme: Theme) -> Tried<Stored> {
        let mut delta = std::mem::take(&mut *self.textures.0.borrow_mut());
        delta.set.drain().for_each(|(id, images)| {
            images.iter().for_each(|image| self.renderer.update_texture(&self.device, &self.queue, id, image));
        });
        delta.free.drain().for_each(|id| self.renderer.free_texture(&id));
        let points = harness.ctx.content_rect().size() * harness.ctx.pixels_per_point();
        let size = [points.x.round() as u32, points.y.round() as u32];
        let screen = ScreenDescriptor { pixels_per_point: harness.ctx.pixels_per_point(), size_in_pixels: size };
        let shapes = harness.ctx.tessellate(harness.output().shapes.clone(), screen.pixels_per_point);
        let mut encoder = self.device.create_command_encoder(&wgpu::CommandEncoderDescriptor::default());
        let mut commands = self.renderer.update_buffers(&self.device, &self.queue, &mut encoder, &shapes, &screen);
        let texture = self.device.create_texture(&wgpu::TextureDescriptor {
            label: None,
            size: extent(size),
            mip_level_count: 1,
            sample_count: 1,
            dimension: wgpu::TextureDimension::D2,
            format: FORMAT,
            usage: wgpu::TextureUsages::RENDER_ATTACHMENT | wgpu::TextureUsages::COPY_SRC,
            view_formats: &[],
        });
        let [r, g, b, a] = Palette::of(theme).table.to_normalized_gamma_f32().map(f64::from);
        let target = wgpu::RenderPassColorAttachment {
            view: &texture.create_view(&wgpu::TextureViewDescriptor::default()),
            resolve_target: None,
            ops: wgpu::Operations { load: wgpu::LoadOp::Clear(wgpu::Color { r, g, b, a }), store: wgpu::StoreOp::Store },
            depth_slice: None,
        };
        let pass = wgpu::RenderPassDescriptor { color_attachments: &[Some(target)], ..wgpu::RenderPassDescriptor::default() };
        self.renderer.render(&mut encoder.begin_render_pass(&pass).forget_lifetime(), &shapes, &screen);
        commands.push(encoder.finish());
        self.queue.submit(commands);
        self.read(&texture, size)
    }

    fn read(&self, texture: &wgpu::Texture, size: [u32; 2]) -> Tried<Stored> {
        let row = (4 * size[0]).next_multiple_of(wgpu::COPY_BYTES_PER_ROW_ALIGNMENT);
        let buffer = self.device.create_buffer(&wgpu::BufferDescriptor {
            label: None,
            size: u64::from(row) * u64::from(size[1]),
            usage: wgpu::BufferUsages::MAP_READ | wgpu::BufferUsages::COPY_DST,
            mapped_at_creation: false,
        });
        let mut encoder = self.device.create_command_encoder(&wgpu::CommandEncoderDescriptor::default());
        let layout = wgpu::TexelCopyBufferLayout { offset: 0, bytes_per_row: Some(row), rows_per_image: None };
        let into = wgpu::TexelCopyBufferInfo { buffer: &buffer, layout };
        encoder.copy_texture_to_buffer(texture.as_image_copy(), into, extent(size));
        let submitted = self.queue.submit([encoder.finish()]);
        let (send, mapped) = channel();
        buffer.slice(..).map_async(wgpu::MapMode::Read, move |done| drop(send.send(done)));
        self.device.poll(wgpu::PollType::Wait { submission_index: Some(submitted), timeout: Some(PATIENCE) })?;
        mapped.recv()??;
        let bytes = buffer.slice(..).get_mapped_range()?;
        let rows = bytes.chunks_exact(row as usize).flat_map(|row| row[..4 * size[0] as usize].chunks_exact(4));
        let samples = Samples::U8(rows.flat_map(|pixel| [pixel[0], pixel[1], pixel[2]]).collect());
        let size = Size::new(size[0] as usize, size[1] as usize);
        Ok(Stored { size, layout: Layout::Rgb, samples, tags: ColorTags::default() })
    }
}

const fn extent([width, height]: [u32; 2]) -> wgpu::Extent3d {
    wgpu::Extent3d { width, height, depth_or_array_layers: 1 }
}
