//! From the adapter back into memory.

use super::Renderer;
use super::easel::Targets;
use super::load::extent;

/// Bytes of a row of four-byte texels where it is read back.
const fn padded(width: u32) -> u32 {
    (4 * width).next_multiple_of(wgpu::COPY_BYTES_PER_ROW_ALIGNMENT)
}

impl Renderer {
    /// Room for a picture of four-byte texels to be read back.
    pub(super) fn back(&self, [width, height]: [u32; 2]) -> wgpu::Buffer {
        self.device.create_buffer(&wgpu::BufferDescriptor {
            label: Some("readback"),
            size: u64::from(padded(width)) * u64::from(height),
            usage: wgpu::BufferUsages::COPY_DST | wgpu::BufferUsages::MAP_READ,
            mapped_at_creation: false,
        })
    }

    /// Have the screen copied to where it can be read.
    pub(super) fn bring_back(encoder: &mut wgpu::CommandEncoder, targets: &Targets, [width, height]: [u32; 2]) {
        let layout = wgpu::TexelCopyBufferLayout { offset: 0, bytes_per_row: Some(padded(width)), rows_per_image: Some(height) };
        encoder.copy_texture_to_buffer(
            targets.screen.as_image_copy(),
            wgpu::TexelCopyBufferInfo { buffer: &targets.back, layout },
            extent(width as usize, height as usize, 1),
        );
    }

    /// Wait for what was brought back, and give each of its rows of four-byte texels, from the top. `None` when the adapter is lost.
    pub(super) fn read(&self, targets: &Targets, width: u32, mut row: impl FnMut(usize, &[u8])) -> Option<()> {
        let slice = targets.back.slice(..);
        slice.map_async(wgpu::MapMode::Read, |_| {});
        self.device.poll(wgpu::PollType::wait_indefinitely()).ok()?;
        let mapped = slice.get_mapped_range().ok()?;
        for (y, line) in mapped.chunks_exact(padded(width) as usize).enumerate() {
            row(y, &line[..4 * width as usize]);
        }
        drop(mapped);
        targets.back.unmap();
        Some(())
    }
}
