//! Pictures off-screen.

use std::sync::Arc;

use glam::{Mat4, Vec3, Vec4};
use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::LinearRgb;
use tatter_core::task::{Cancelled, Task};

use super::Renderer;
use super::easel::{Cast, Easel, Targets};
use super::load::{Loaded, LoadedLight, bound};
use super::pipelines::{Frame, Shade, ViewBlock};
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
    /// The lamp's shadow stays what it was in the last picture of this size, if that showed the same scene from the same eye in the same
    /// light: for a quick look while little of its textures changes.
    pub keeps_shadow: bool,
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
            keeps_shadow: false,
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

/// What all samples of a picture share.
struct Still<'a> {
    loaded: &'a Loaded,
    camera: &'a Camera,
    light: &'a LoadedLight,
    lamps: Vec<(Vec3, [f32; 3])>,
    settings: &'a StillSettings,
    frame: wgpu::BindGroup,
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
        let (width, height) = (settings.width, settings.height);
        let side = settings.shadow_side.unwrap_or(if self.info.software { 1024 } else { 2048 }).max(2);
        let mut easel = self.easel([width.min(TILE), height.min(TILE)], [side, side / 2]);
        let lamps = light.environment.lamps(settings.samples as usize);
        let still = Still { loaded, camera, light, lamps, settings, frame: self.frame(&easel, light) };
        let mut rgb = vec![0; 3 * width as usize * height as usize];
        let corners = (0..height).step_by(TILE as usize).flat_map(|y| (0..width).step_by(TILE as usize).map(move |x| (x, y)));
        let tiles: Vec<Tile> =
            corners.map(|(x, y)| Tile { x, y, width: TILE.min(width - x), height: TILE.min(height - y) }).collect();
        for (number, tile) in tiles.iter().enumerate() {
            // Those at the edges may be smaller.
            let own = ([tile.width, tile.height] != easel.size).then(|| self.targets([tile.width, tile.height]));
            for sample in 0..settings.samples {
                task.check()?;
                let done = number as u32 * settings.samples + sample;
                task.progress("draw", done as f32 / (tiles.len() as u32 * settings.samples) as f32);
                self.sample(&still, &mut easel, *tile, own.as_ref(), sample);
                // A software adapter would queue all of it and answer nobody for a minute; whoever stops it waits for one sample.
                if sample + 1 < settings.samples && (self.info.software || sample % 4 == 3) {
                    self.device.poll(wgpu::PollType::wait_indefinitely()).map_err(|_lost| RenderError::Lost)?;
                }
            }
            self.show(&still, &easel, *tile, own.as_ref(), &mut rgb)?;
        }
        self.put_away(easel);
        Ok(Picture { width, height, rgb })
    }

    fn frame(&self, easel: &Easel, light: &LoadedLight) -> wgpu::BindGroup {
        self.device.create_bind_group(&wgpu::BindGroupDescriptor {
            label: Some("frame"),
            layout: &self.pipelines.frame,
            entries: &[
                bound(0, easel.frame_block.as_entire_binding()),
                bound(1, wgpu::BindingResource::TextureView(&easel.shadows[0])),
                bound(2, wgpu::BindingResource::TextureView(&easel.shadows[1])),
                bound(3, wgpu::BindingResource::Sampler(&easel.compare)),
                bound(4, wgpu::BindingResource::TextureView(&light.reflected)),
                bound(5, wgpu::BindingResource::TextureView(&light.response)),
                bound(6, wgpu::BindingResource::Sampler(&easel.smooth)),
            ],
        })
    }

    /// Draw one sample and add it to the sum.
    fn sample(&self, still: &Still<'_>, easel: &mut Easel, tile: Tile, own: Option<&Targets>, sample: u32) {
        let [key, _] = self.write_sample(still, easel, tile, sample);
        let cast = Cast { scene: Arc::clone(&still.loaded.own), from_world: key.from_world, cut: still.camera.cut_plane() };
        let is_cast = still.settings.keeps_shadow && easel.cast.as_ref() == Some(&cast);
        easel.cast = Some(cast);
        let targets = own.unwrap_or(&easel.targets);
        let mut encoder = self.device.create_command_encoder(&Default::default());
        if still.settings.show == Show::Light {
            for number in [(!is_cast).then_some(0), (!still.settings.open_sky).then_some(1)].into_iter().flatten() {
                let mut pass = pass(&mut encoder, None, Some(&easel.shadows[number]));
                pass.set_pipeline(&self.pipelines.shadow);
                pass.set_bind_group(0, &easel.shades[number].1, &[]);
                draw(&mut pass, still.loaded);
            }
        }
        {
            let mut pass = pass(&mut encoder, Some(&targets.sample), Some(&targets.depth));
            pass.set_pipeline(&self.pipelines.cloth);
            pass.set_bind_group(0, &still.frame, &[]);
            draw(&mut pass, still.loaded);
        }
        let from = &targets.sums[sample as usize % 2];
        let onto = &targets.sums[(sample as usize + 1) % 2];
        if sample == 0 {
            // What the last picture left.
            drop(pass(&mut encoder, Some(from), None));
        }
        let group = self.view_group(easel, from, &targets.sample);
        {
            let mut pass = pass(&mut encoder, Some(onto), None);
            pass.set_pipeline(&self.pipelines.add);
            pass.set_bind_group(0, &group, &[]);
            pass.draw(0..3, 0..1);
        }
        self.queue.submit([encoder.finish()]);
    }

    /// Set eye and light of a sample; gives the spaces of both shadow maps.
    fn write_sample(&self, still: &Still<'_>, easel: &Easel, tile: Tile, sample: u32) -> [ShadowSpace; 2] {
        let Still { loaded, camera, light, settings, .. } = still;
        let clip = jittered(camera, settings, loaded.shape.bounds, tile, sample);
        let whole = camera.clip_from_world(settings.width as f32 / settings.height as f32, loaded.shape.bounds);
        let seen = seen_corners(whole);
        let towards = within_disc(&light.key, sample as usize, settings.samples as usize);
        let (sky_towards, sky_light) = still.lamps[sample as usize];
        let key = shadow_space(towards, loaded.shape.bounds, &seen, easel.shadow_sides[0]);
        let sky = shadow_space(sky_towards, loaded.shape.bounds, &seen, easel.shadow_sides[1]);
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
        self.queue.write_buffer(&easel.frame_block, 0, bytemuck::bytes_of(&frame));
        for (space, (block, _)) in [&key, &sky].into_iter().zip(&easel.shades) {
            let shade = Shade {
                from_world: space.from_world.to_cols_array_2d(),
                sample: [sample as f32, 0.0, 0.0, 0.0],
                cut: camera.cut_plane().to_array(),
            };
            self.queue.write_buffer(block, 0, bytemuck::bytes_of(&shade));
        }
        [key, sky]
    }

    fn view_group(&self, easel: &Easel, summed: &wgpu::TextureView, added: &wgpu::TextureView) -> wgpu::BindGroup {
        self.device.create_bind_group(&wgpu::BindGroupDescriptor {
            label: Some("view"),
            layout: &self.pipelines.view,
            entries: &[
                bound(0, easel.view_block.as_entire_binding()),
                bound(1, wgpu::BindingResource::TextureView(summed)),
                bound(2, wgpu::BindingResource::TextureView(added)),
            ],
        })
    }

    /// Put the finished tile into a picture.
    fn show(
        &self,
        still: &Still<'_>,
        easel: &Easel,
        tile: Tile,
        own: Option<&Targets>,
        rgb: &mut [u8],
    ) -> Result<(), RenderError> {
        let (settings, targets) = (still.settings, own.unwrap_or(&easel.targets));
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
        self.queue.write_buffer(&easel.view_block, 0, bytemuck::bytes_of(&block));
        let group = self.view_group(easel, &targets.sums[settings.samples as usize % 2], &targets.sample);
        let mut encoder = self.device.create_command_encoder(&Default::default());
        {
            let screen = targets.screen.create_view(&Default::default());
            let mut pass = pass(&mut encoder, Some(&screen), None);
            pass.set_pipeline(&self.pipelines.show);
            pass.set_bind_group(0, &group, &[]);
            pass.draw(0..3, 0..1);
        }
        Self::bring_back(&mut encoder, targets, [tile.width, tile.height]);
        self.queue.submit([encoder.finish()]);
        let read = self.read(targets, tile.width, |row, line| {
            let start = 3 * ((tile.y as usize + row) * settings.width as usize + tile.x as usize);
            let out = &mut rgb[start..start + 3 * tile.width as usize];
            for (texel, from) in out.chunks_exact_mut(3).zip(line.chunks_exact(4)) {
                texel.copy_from_slice(&from[..3]);
            }
        });
        match self.refusal() {
            Some(refused) => Err(RenderError::Refused(refused)),
            None => read.ok_or(RenderError::Lost),
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
