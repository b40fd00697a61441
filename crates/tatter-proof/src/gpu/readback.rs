//! From the adapter back into memory.

use super::Renderer;
use super::load::extent;

impl Renderer {
    /// Four-byte texels of a texture's rectangle from its top left, row by row without padding. `None` when the adapter is lost.
    pub(super) fn read(&self, texture: &wgpu::Texture, width: u32, height: u32) -> Option<Vec<u8>> {
        let row = 4 * width;
        let padded = row.next_multiple_of(wgpu::COPY_BYTES_PER_ROW_ALIGNMENT);
        let buffer = self.device.create_buffer(&wgpu::BufferDescriptor {
            label: Some("readback"),
            size: u64::from(padded) * u64::from(height),
            usage: wgpu::BufferUsages::COPY_DST | wgpu::BufferUsages::MAP_READ,
            mapped_at_creation: false,
        });
        let mut encoder = self.device.create_command_encoder(&Default::default());
        encoder.copy_texture_to_buffer(
            texture.as_image_copy(),
            wgpu::TexelCopyBufferInfo {
                buffer: &buffer,
                layout: wgpu::TexelCopyBufferLayout { offset: 0, bytes_per_row: Some(padded), rows_per_image: Some(height) },
            },
            extent(width as usize, height as usize, 1),
        );
        self.queue.submit([encoder.finish()]);
        let slice = buffer.slice(..);
        slice.map_async(wgpu::MapMode::Read, |_| {});
        self.device.poll(wgpu::PollType::wait_indefinitely()).ok()?;
        let mapped = slice.get_mapped_range().ok()?;
        Some(mapped.chunks_exact(padded as usize).flat_map(|line| line[..row as usize].iter().copied()).collect())
    }
}
