//! Pictures off-screen.

use std::mem::size_of;

use glam::{Mat4, Vec3, Vec4};
use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::LinearRgb;
use tatter_core::task::{Cancelled, Task};

use super::Renderer;
use super::load::{Loaded, LoadedLight, bound, extent};
use super::pipelines::{DEPTH, Frame, SAMPLE, SCREEN, SUM, Shade, ViewBlock};
use super::shadow::{ShadowSpace, seen_corners, shadow_space};
use crate::camera::Camera;
use crate::light::{Light, within_disc};

/// Why there is no picture.
#[derive(Debug, thiserror::Error)]
pub enum RenderError {
    /// The adapter refused something.
    #[error("the graphics adapter could not draw it ({0})")]
    Refused(String),
    /// The adapter went away.
    #[error("the graphics adapter stopped answering")]
    Lost,
    /// The person stopped it.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for RenderError {
    fn next(&self) -> String {
        match self {
            Self::Refused(_) => "Ask for a smaller picture, or close what else uses the card".to_owned(),
            Self::Lost => "Try again; if it stays so, restart the driver or use one in software".to_owned(),
            Self::Cancelled(_) => "Start it again".to_owned(),
        }
    }

    fn class(&self) -> Class {
        Class::Outside
    }
}

/// What a picture shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Show {
    /// The garment in its light.
    #[default]
    Light,
    /// One channel as its texture holds it, unlit.
    Channel(Channel),
}

/// From light to what a screen can show.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ViewTransform {
    /// Clipped at white.
    Plain,
    /// Khronos PBR Neutral: base colours keep their tone, highlights are rolled off.
    #[default]
    Neutral,
    /// The film-like curve of the Academy Color Encoding System, fitted.
    Film,
}

impl ViewTransform {
    /// What must be given as a backdrop for the screen to show `wanted`, linear: the transform's darkening of the dark is undone. Exact
    /// up to 0.76 (where Neutral begins to roll off); Film is not undone.
    #[must_use]
    pub fn undone(self, wanted: LinearRgb) -> LinearRgb {
        if self != Self::Neutral {
            return wanted;
        }
        let least = wanted.0.into_iter().fold(f32::INFINITY, f32::min).max(0.0);
        let before = if least < 0.04 { (least / 6.25).sqrt() } else { least + 0.04 };
        LinearRgb(wanted.0.map(|v| v + before - least))
    }
}

/// How a picture is made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StillSettings {
    /// Columns, pixels.
    pub width: u32,
    /// Rows, pixels.
    pub height: u32,
    /// Pictures that are averaged; time grows with it, noise of soft shadows and half-open cloth falls with it. 64 shows no steps.
    pub samples: u32,
    /// What is shown.
    pub show: Show,
    /// From light to screen.
    pub transform: ViewTransform,
    /// Stops: one more is twice as bright.
    pub exposure: f32,
    /// Backdrop at the top and at the bottom, as the screen shows it, linear.
    pub backdrop: [LinearRgb; 2],
    /// Share of its height that relief is shown to stand out by (parallax); 0 leaves it to the normals.
    pub relief: f32,
    /// Side of the lamp's shadow map, texels; the sky's is half of it. `None`: 2048 on a card, 1024 in software.
    pub shadow_side: Option<u32>,
    /// The sky falls everywhere, without shadows: for a quick look.
    pub open_sky: bool,
}

impl Default for StillSettings {
    fn default() -> Self {
        Self {
            width: 1600,
            height: 1200,
            samples: 64,
            show: Show::Light,
            transform: ViewTransform::default(),
            exposure: 0.0,
            backdrop: [LinearRgb([0.50, 0.50, 0.51]), LinearRgb([0.24, 0.24, 0.25])],
            relief: 0.0,
            shadow_side: None,
            open_sky: false,
        }
    }
}

/// A finished picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// Columns.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Red, green, blue, sRGB codes, row by row from the top.
    pub rgb: Vec<u8>,
}

/// Pixels to a side of what is drawn at once: three pictures of 28 bytes a pixel together.
const TILE: u32 = 2048;

/// A part of the picture that is drawn at once.
#[derive(Clone, Copy)]
struct Tile {
    x: u32,
    y: u32,
    width: u32,
    height: u32,
}

/// What one tile is drawn into.
struct Targets {
    sample: wgpu::TextureView,
    depth: wgpu::TextureView,
    sums: [wgpu::TextureView; 2],
    screen: wgpu::Texture,
}

/// What all samples of a picture share.
struct Still<'a> {
    loaded: &'a Loaded,
    camera: &'a Camera,
    light: &'a LoadedLight,
    lamps: Vec<(Vec3, [f32; 3])>,
    settings: &'a StillSettings,
    shadow_sides: [u32; 2],
    shadows: [wgpu::TextureView; 2],
    frame_block: wgpu::Buffer,
    frame: wgpu::BindGroup,
    shades: [(wgpu::Buffer, wgpu::BindGroup); 2],
    view_block: wgpu::Buffer,
}

impl Renderer {
    /// Draw a scene, in tiles of 2048 pixels, `samples` times each. Memory on the adapter beside the scene: at most 0.25 GB and the
    /// shadow maps.
    ///
    /// # Errors
    /// [`RenderError`] when the adapter refuses or goes away, or the task is cancelled.
    pub fn still(
        &self,
        loaded: &Loaded,
        camera: &Camera,
        light: &Light,
        settings: &StillSettings,
        task: &Task,
    ) -> Result<Picture, RenderError> {
        self.still_in(loaded, camera, &self.load_light(light), settings, task)
    }

    /// As [`Renderer::still`], in light that is on the adapter already: for many pictures in a row.
    ///
    /// # Errors
    /// As [`Renderer::still`].
    pub fn still_in(
        &self,
        loaded: &Loaded,
        camera: &Camera,
        light: &LoadedLight,
        settings: &StillSettings,
        task: &Task,
    ) -> Result<Picture, RenderError> {
        let lamps = light.environment.lamps(settings.samples as usize);
        let still = self.prepare(loaded, camera, light, lamps, settings);
        let (width, height) = (settings.width, settings.height);
        let mut rgb = vec![0; 3 * width as usize * height as usize];
        let corners = (0..height).step_by(TILE as usize).flat_map(|y| (0..width).step_by(TILE as usize).map(move |x| (x, y)));
        let tiles: Vec<Tile> =
            corners.map(|(x, y)| Tile { x, y, width: TILE.min(width - x), height: TILE.min(height - y) }).collect();
        for (number, tile) in tiles.iter().enumerate() {
            let targets = self.targets(*tile);
            for sample in 0..settings.samples {
                task.check()?;
                let done = number as u32 * settings.samples + sample;
                task.progress("draw", done as f32 / (tiles.len() as u32 * settings.samples) as f32);
                self.sample(&still, *tile, &targets, sample);
                // A software adapter would queue all of it and answer nobody for a minute; whoever stops it waits for one sample.
                if self.info.software || sample % 4 == 3 {
                    self.device.poll(wgpu::PollType::wait_indefinitely()).map_err(|_lost| RenderError::Lost)?;
                }
            }
            let texels = self.shown(&still, *tile, &targets)?;
            paste(&mut rgb, width, *tile, &texels);
        }
        Ok(Picture { width, height, rgb })
    }

    fn target(&self, width: u32, height: u32, format: wgpu::TextureFormat) -> wgpu::Texture {
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

    fn targets(&self, tile: Tile) -> Targets {
        let view = |format| self.target(tile.width, tile.height, format).create_view(&Default::default());
        Targets {
            sample: view(SAMPLE),
            depth: view(DEPTH),
            sums: [view(SUM), view(SUM)],
            screen: self.target(tile.width, tile.height, SCREEN),
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

    fn prepare<'a>(
        &self,
        loaded: &'a Loaded,
        camera: &'a Camera,
        light: &'a LoadedLight,
        lamps: Vec<(Vec3, [f32; 3])>,
        settings: &'a StillSettings,
    ) -> Still<'a> {
        let map = |side: u32| self.target(side, side, DEPTH).create_view(&Default::default());
        let side = settings.shadow_side.unwrap_or(if self.info.software { 1024 } else { 2048 }).max(2);
        let shadow_sides = [side, side / 2];
        let shadows = shadow_sides.map(map);
        let frame_block = self.block(size_of::<Frame>());
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
        let frame = self.device.create_bind_group(&wgpu::BindGroupDescriptor {
            label: Some("frame"),
            layout: &self.pipelines.frame,
            entries: &[
                bound(0, frame_block.as_entire_binding()),
                bound(1, wgpu::BindingResource::TextureView(&shadows[0])),
                bound(2, wgpu::BindingResource::TextureView(&shadows[1])),
                bound(3, wgpu::BindingResource::Sampler(&compare)),
                bound(4, wgpu::BindingResource::TextureView(&light.reflected)),
                bound(5, wgpu::BindingResource::TextureView(&light.response)),
                bound(6, wgpu::BindingResource::Sampler(&smooth)),
            ],
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
        let shades = [shade(), shade()];
        let view_block = self.block(size_of::<ViewBlock>());
        Still { loaded, camera, light, lamps, settings, shadow_sides, shadows, frame_block, frame, shades, view_block }
    }

    /// Draw one sample and add it to the sum.
    fn sample(&self, still: &Still<'_>, tile: Tile, targets: &Targets, sample: u32) {
        let [key, sky] = self.write_sample(still, tile, sample);
        let mut encoder = self.device.create_command_encoder(&Default::default());
        if still.settings.show == Show::Light {
            let sky = (!still.settings.open_sky).then_some(sky);
            for (number, _) in [Some(key), sky].into_iter().enumerate().filter(|(_, space)| space.is_some()) {
                let mut pass = pass(&mut encoder, None, Some(&still.shadows[number]));
                pass.set_pipeline(&self.pipelines.shadow);
                pass.set_bind_group(0, &still.shades[number].1, &[]);
                draw(&mut pass, still.loaded);
            }
        }
        {
            let mut pass = pass(&mut encoder, Some(&targets.sample), Some(&targets.depth));
            pass.set_pipeline(&self.pipelines.cloth);
            pass.set_bind_group(0, &still.frame, &[]);
            draw(&mut pass, still.loaded);
        }
        // The first sample is added to a sum that was cleared when it was made.
        let from = &targets.sums[sample as usize % 2];
        let onto = &targets.sums[(sample as usize + 1) % 2];
        let group = self.view_group(still, from, &targets.sample);
        {
            let mut pass = pass(&mut encoder, Some(onto), None);
            pass.set_pipeline(&self.pipelines.add);
            pass.set_bind_group(0, &group, &[]);
            pass.draw(0..3, 0..1);
        }
        self.queue.submit([encoder.finish()]);
    }

    /// Set eye and light of a sample; gives the spaces of both shadow maps.
    fn write_sample(&self, still: &Still<'_>, tile: Tile, sample: u32) -> [ShadowSpace; 2] {
        let Still { loaded, camera, light, settings, .. } = still;
        let clip = jittered(camera, settings, loaded.shape.bounds, tile, sample);
        let whole = camera.clip_from_world(settings.width as f32 / settings.height as f32, loaded.shape.bounds);
        let seen = seen_corners(whole);
        let towards = within_disc(&light.key, sample as usize, settings.samples as usize);
        let (sky_towards, sky_light) = still.lamps[sample as usize];
        let key = shadow_space(towards, loaded.shape.bounds, &seen, still.shadow_sides[0]);
        let sky = shadow_space(sky_towards, loaded.shape.bounds, &seen, still.shadow_sides[1]);
        let triple = |v: [f32; 3], w: f32| [v[0], v[1], v[2], w];
        let count = settings.samples as f32;
        let frame = Frame {
            clip_from_world: clip.to_cols_array_2d(),
            key_from_world: key.from_world.to_cols_array_2d(),
            sky_from_world: sky.from_world.to_cols_array_2d(),
            eye: camera.eye.extend(if settings.open_sky { 1.0 } else { 0.0 }).to_array(),
            key: towards.extend(sample as f32).to_array(),
            key_light: triple(light.key.irradiance.0, key.texel),
            sky: sky_towards.extend(light.bounce).to_array(),
            sky_light: triple(sky_light.map(|v| v * count), sky.texel),
            look: [shown_number(settings.show), crate::sky::LEVELS as f32, -0.6, settings.relief],
            irradiance: light.irradiance,
        };
        self.queue.write_buffer(&still.frame_block, 0, bytemuck::bytes_of(&frame));
        for (space, (block, _)) in [&key, &sky].into_iter().zip(&still.shades) {
            let shade = Shade {
                from_world: space.from_world.to_cols_array_2d(),
                sample: [sample as f32, 0.0, 0.0, 0.0],
                cut: camera.cut_plane().to_array(),
            };
            self.queue.write_buffer(block, 0, bytemuck::bytes_of(&shade));
        }
        [key, sky]
    }

    fn view_group(&self, still: &Still<'_>, summed: &wgpu::TextureView, added: &wgpu::TextureView) -> wgpu::BindGroup {
        self.device.create_bind_group(&wgpu::BindGroupDescriptor {
            label: Some("view"),
            layout: &self.pipelines.view,
            entries: &[
                bound(0, still.view_block.as_entire_binding()),
                bound(1, wgpu::BindingResource::TextureView(summed)),
                bound(2, wgpu::BindingResource::TextureView(added)),
            ],
        })
    }

    /// The finished tile, four bytes a pixel.
    fn shown(&self, still: &Still<'_>, tile: Tile, targets: &Targets) -> Result<Vec<u8>, RenderError> {
        let settings = still.settings;
        let transform = match settings.transform {
            ViewTransform::Plain => 0.0,
            ViewTransform::Neutral => 1.0,
            ViewTransform::Film => 2.0,
        };
        let data = if settings.show == Show::Light { 0.0 } else { 1.0 };
        let exposure = if settings.show == Show::Light { settings.exposure.exp2() } else { 1.0 };
        let [top, bottom] = settings.backdrop.map(|LinearRgb([r, g, b])| [r, g, b, 1.0]);
        let block = ViewBlock {
            how: [1.0 / settings.samples as f32, exposure, transform, data],
            top,
            bottom,
            place: [tile.y as f32, settings.height as f32, 0.0, 0.0],
        };
        self.queue.write_buffer(&still.view_block, 0, bytemuck::bytes_of(&block));
        let group = self.view_group(still, &targets.sums[settings.samples as usize % 2], &targets.sample);
        let mut encoder = self.device.create_command_encoder(&Default::default());
        {
            let screen = targets.screen.create_view(&Default::default());
            let mut pass = pass(&mut encoder, Some(&screen), None);
            pass.set_pipeline(&self.pipelines.show);
            pass.set_bind_group(0, &group, &[]);
            pass.draw(0..3, 0..1);
        }
        self.queue.submit([encoder.finish()]);
        let texels = self.read(&targets.screen, tile.width, tile.height);
        match self.refusal() {
            Some(refused) => Err(RenderError::Refused(refused)),
            None => texels.ok_or(RenderError::Lost),
        }
    }
}

fn shown_number(show: Show) -> f32 {
    match show {
        Show::Light => 0.0,
        Show::Channel(Channel::BaseColor | Channel::Cover) => 1.0,
        Show::Channel(Channel::Normal) => 2.0,
        Show::Channel(Channel::Roughness) => 3.0,
        Show::Channel(Channel::Metallic) => 4.0,
        Show::Channel(Channel::Occlusion) => 5.0,
        // No garment has translucency: nothing is told of it.
        Show::Channel(Channel::Opacity | Channel::Translucency) => 6.0,
        Show::Channel(Channel::Height) => 7.0,
    }
}

/// World to the tile's clip space, moved within a pixel: the samples of a pixel lie on a low-discrepancy sequence (the plastic
/// number's; Roberts 2018) and are weighted alike.
fn jittered(camera: &Camera, settings: &StillSettings, bounds: (Vec3, Vec3), tile: Tile, sample: u32) -> Mat4 {
    let (width, height) = (settings.width as f32, settings.height as f32);
    let whole = camera.clip_from_world(width / height, bounds);
    let within = |factor: f32| (0.5 + factor * sample as f32).fract() - 0.5;
    let (aside, down) = (within(0.754_877_67), within(0.569_840_3));
    // Pixels of the whole picture to those of the tile: scale about its middle.
    let middle = (tile.x as f32 + 0.5 * tile.width as f32 + aside, tile.y as f32 + 0.5 * tile.height as f32 + down);
    let (scale_x, scale_y) = (width / tile.width as f32, height / tile.height as f32);
    let shift_x = -(2.0 * middle.0 / width - 1.0) * scale_x;
    let shift_y = (2.0 * middle.1 / height - 1.0) * scale_y;
    let tile_from_whole = Mat4::from_cols(
        Vec4::new(scale_x, 0.0, 0.0, 0.0),
        Vec4::new(0.0, scale_y, 0.0, 0.0),
        Vec4::Z,
        Vec4::new(shift_x, shift_y, 0.0, 1.0),
    );
    tile_from_whole * whole
}

fn pass<'a>(
    encoder: &'a mut wgpu::CommandEncoder,
    color: Option<&wgpu::TextureView>,
    depth: Option<&wgpu::TextureView>,
) -> wgpu::RenderPass<'a> {
    let colors: Vec<Option<wgpu::RenderPassColorAttachment<'_>>> = color
        .map(|view| {
            let ops = wgpu::Operations { load: wgpu::LoadOp::Clear(wgpu::Color::TRANSPARENT), store: wgpu::StoreOp::Store };
            Some(wgpu::RenderPassColorAttachment { view, depth_slice: None, resolve_target: None, ops })
        })
        .into_iter()
        .collect();
    encoder.begin_render_pass(&wgpu::RenderPassDescriptor {
        label: None,
        color_attachments: &colors,
        depth_stencil_attachment: depth.map(|view| wgpu::RenderPassDepthStencilAttachment {
            view,
            depth_ops: Some(wgpu::Operations { load: wgpu::LoadOp::Clear(1.0), store: wgpu::StoreOp::Store }),
            stencil_ops: None,
        }),
        ..Default::default()
    })
}

fn draw(pass: &mut wgpu::RenderPass<'_>, loaded: &Loaded) {
    for part in &loaded.shape.parts {
        pass.set_bind_group(1, &loaded.materials[part.material].bound, &[]);
        pass.set_vertex_buffer(0, part.vertices.slice(..));
        pass.set_index_buffer(part.corners.slice(..), wgpu::IndexFormat::Uint32);
        pass.draw_indexed(0..part.count, 0, 0..1);
    }
}

fn paste(rgb: &mut [u8], width: u32, tile: Tile, texels: &[u8]) {
    for (y, line) in texels.chunks_exact(4 * tile.width as usize).enumerate() {
        let start = 3 * ((tile.y as usize + y) * width as usize + tile.x as usize);
        let out = &mut rgb[start..start + 3 * tile.width as usize];
        for (texel, from) in out.chunks_exact_mut(3).zip(line.chunks_exact(4)) {
            texel.copy_from_slice(&from[..3]);
        }
    }
}
