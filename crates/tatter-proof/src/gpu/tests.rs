//! What the adapter draws, against formulas evaluated elsewhere and against laws of light.

use glam::{Vec2, Vec3};
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::image::{Coding, ColorTags, Image, Layout, LinearRgb, Samples, Size, Stored, Transfer};
use tatter_core::mesh::Part;
use tatter_core::task::Task;

use super::{Picture, Renderer, Show, StillSettings, ViewTransform};
use crate::camera::Camera;
use crate::light::{Environment, KeyLight, Light};
use crate::scene::{Material, Openings, Scene, ScenePart, Sheen, Source};

type Checked = Result<(), Box<dyn std::error::Error>>;

/// Rows of base colour, metallic, roughness and cosines; five numbers a row come back.
const KERNEL: &str = "
struct Row { base: vec4f, cosines: vec4f }
struct Answer { brdf: vec4f, sheen: vec4f }
@group(0) @binding(0) var<storage, read> rows: array<Row>;
@group(0) @binding(1) var<storage, read_write> answers: array<Answer>;
@compute @workgroup_size(1)
fn evaluate(@builtin(global_invocation_id) id: vec3u) {
    let row = rows[id.x];
    let c = row.cosines;
    let roughness = row.base.w;
    let alpha = roughness * roughness;
    // Both ends of metallic at once: the dielectric in xyz of one call, the metal by its own row.
    let f = metallic_roughness(vec3f(0.5, 0.3, 0.1), row.base.x, roughness, c.x, c.y, c.z, c.w);
    answers[id.x].brdf = vec4f(f, d_ggx(c.z, alpha));
    answers[id.x].sheen = vec4f(v_smith(c.x, c.y, alpha), d_charlie(c.z, alpha), v_charlie(c.x, c.y, alpha), 0.0);
}";

/// Run the kernel over rows of (metallic, roughness, n.v, n.l, n.h, v.h).
fn evaluated(renderer: &Renderer, rows: &[[f32; 6]]) -> Result<Vec<[f32; 8]>, Box<dyn std::error::Error>> {
    let device = &renderer.device;
    let source = format!("{}{KERNEL}", include_str!("../shaders/brdf.wgsl"));
    let module = device.create_shader_module(wgpu::ShaderModuleDescriptor {
        label: Some("evaluate"),
        source: wgpu::ShaderSource::Wgsl(source.into()),
    });
    let pipeline = device.create_compute_pipeline(&wgpu::ComputePipelineDescriptor {
        label: Some("evaluate"),
        layout: None,
        module: &module,
        entry_point: Some("evaluate"),
        compilation_options: Default::default(),
        cache: None,
    });
    let laid: Vec<f32> =
        rows.iter().flat_map(|[metal, rough, v, l, h, vh]| [*metal, 0.0, 0.0, *rough, *v, *l, *h, *vh]).collect();
    let input = renderer.buffer(bytemuck::cast_slice(&laid), wgpu::BufferUsages::STORAGE);
    let size = 32 * rows.len() as u64;
    let buffer = |usage| device.create_buffer(&wgpu::BufferDescriptor { label: None, size, usage, mapped_at_creation: false });
    let output = buffer(wgpu::BufferUsages::STORAGE | wgpu::BufferUsages::COPY_SRC);
    let back = buffer(wgpu::BufferUsages::MAP_READ | wgpu::BufferUsages::COPY_DST);
    let group = device.create_bind_group(&wgpu::BindGroupDescriptor {
        label: None,
        layout: &pipeline.get_bind_group_layout(0),
        entries: &[super::load::bound(0, input.as_entire_binding()), super::load::bound(1, output.as_entire_binding())],
    });
    let mut encoder = device.create_command_encoder(&Default::default());
    {
        let mut pass = encoder.begin_compute_pass(&Default::default());
        pass.set_pipeline(&pipeline);
        pass.set_bind_group(0, &group, &[]);
        pass.dispatch_workgroups(rows.len() as u32, 1, 1);
    }
    encoder.copy_buffer_to_buffer(&output, 0, &back, 0, size);
    renderer.queue.submit([encoder.finish()]);
    back.slice(..).map_async(wgpu::MapMode::Read, |_| {});
    device.poll(wgpu::PollType::wait_indefinitely())?;
    let mapped = back.slice(..).get_mapped_range()?;
    let numbers: Vec<f32> = bytemuck::pod_collect_to_vec(&mapped[..]);
    Ok(numbers.chunks_exact(8).map(|row| std::array::from_fn(|i| row[i])).collect())
}

#[test]
fn brdf_and_sheen_agree_with_the_formulas_of_the_specification() -> Checked {
    // Values by an independent script in double precision (its lines head the file) of glTF 2.0, appendix B, and KHR_materials_sheen.
    let table = include_str!("../../tests/data/gltf_brdf.csv");
    let rows: Vec<Vec<f64>> = table
        .lines()
        .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()))
        .map(|line| line.split(',').map(str::parse).collect::<Result<_, _>>())
        .collect::<Result<_, _>>()?;
    assert_eq!(rows.len(), 40, "the table has forty rows");
    let renderer = Renderer::new()?;
    // Columns: theta_v theta_l phi roughness metallic n.v n.l n.h v.h D V F fr fg fb Dcharlie Vcharlie Vashikhmin.
    let inputs: Vec<[f32; 6]> = rows.iter().map(|r| [4, 3, 5, 6, 7, 8].map(|i: usize| r[i] as f32)).collect();
    for (row, answer) in rows.iter().zip(evaluated(&renderer, &inputs)?) {
        // A cosine near one in half the digits leaves the narrow lobes at grazing light fewer than 1e-5 of theirs.
        let near = |value: f32, expected: f64, what: &str| {
            let off = (f64::from(value) - expected).abs();
            assert!(off <= 2e-4 * expected.abs() + 1e-6, "{what} of {row:?}: {value} not {expected}");
        };
        near(answer[0], row[12], "red");
        near(answer[1], row[13], "green");
        near(answer[2], row[14], "blue");
        near(answer[3], row[9], "D");
        near(answer[4], row[10], "V");
        near(answer[5], row[15], "Charlie's D");
        near(answer[6], row[16], "Charlie's V");
    }
    Ok(())
}

#[test]
fn light_and_eye_may_change_places() -> Checked {
    // Helmholtz reciprocity: f(v, l) = f(l, v).
    let renderer = Renderer::new()?;
    let there: Vec<[f32; 6]> = (0..64)
        .map(|i| {
            let t = i as f32 / 64.0;
            let (v, l) = (0.05 + 0.9 * t, 0.05 + 0.9 * (t * 7.3).fract());
            [t.round(), 0.1 + 0.9 * (t * 3.1).fract(), v, l, 0.5 + 0.5 * (t * 5.7).fract(), 0.3 + 0.6 * t]
        })
        .collect();
    let back: Vec<[f32; 6]> = there.iter().map(|[m, r, v, l, h, vh]| [*m, *r, *l, *v, *h, *vh]).collect();
    let (one, other) = (evaluated(&renderer, &there)?, evaluated(&renderer, &back)?);
    for (a, b) in one.iter().zip(&other) {
        for i in 0..7 {
            assert!((a[i] - b[i]).abs() <= 1e-5 * a[i].abs() + 1e-7, "{a:?} beside {b:?}");
        }
    }
    Ok(())
}

fn gray(value: u8) -> Stored {
    picture(1, 1, Layout::Gray, vec![value])
}

fn picture(width: usize, height: usize, layout: Layout, samples: Vec<u8>) -> Stored {
    Stored { size: Size::new(width, height), layout, samples: Samples::U8(samples), tags: ColorTags::default() }
}

fn source(picture: &Stored) -> Source<'_> {
    Source { picture, coding: Coding { transfer: Transfer::Linear, ..Coding::default() } }
}

fn material<'a>(sources: Vec<(Channel, Source<'a>)>) -> Material<'a> {
    Material {
        name: "cloth".to_owned(),
        sources,
        sheen: Sheen { color: LinearRgb([0.0; 3]), roughness: 0.5 },
        openings: Openings::Share,
        mm_per_uv: 1000.0,
    }
}

/// A square of side 2 about `middle`, facing `normal`.
fn square(middle: Vec3, normal: Vec3, half: f32, material: usize) -> Vec<ScenePart> {
    let across = if normal.y.abs() > 0.9 { Vec3::X } else { Vec3::Y.cross(normal).normalize_or_zero() };
    let along = normal.cross(across);
    let corners = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
    let part = Part {
        positions: corners.map(|(x, y)| middle + half * (across * x + along * y)).to_vec(),
        normals: vec![normal; 4],
        uvs: corners.map(|(x, y)| Vec2::new(0.5 + 0.5 * x, 0.5 - 0.5 * y)).to_vec(),
        triangles: vec![[0, 1, 2], [0, 2, 3]],
        ..Part::default()
    };
    ScenePart::split(&part, |_| material)
}

/// A ball of radius 1.
fn ball(material: usize) -> Vec<ScenePart> {
    const AROUND: u32 = 48;
    const UP: u32 = 24;
    let mut part = Part::default();
    for j in 0..=UP {
        for i in 0..=AROUND {
            let (u, v) = (i as f32 / AROUND as f32, j as f32 / UP as f32);
            let n = Environment::towards(1.0 - u, v);
            part.positions.push(n);
            part.normals.push(n);
            part.uvs.push(Vec2::new(u, v));
        }
    }
    for j in 0..UP {
        for i in 0..AROUND {
            let a = j * (AROUND + 1) + i;
            let b = a + AROUND + 1;
            part.triangles.extend([[a, b, a + 1], [a + 1, b, b + 1]]);
        }
    }
    ScenePart::split(&part, |_| material)
}

fn even_sky(radiance: f32) -> Light {
    Light {
        key: KeyLight { towards: Vec3::Z, irradiance: LinearRgb([0.0; 3]), radius: Angle::ZERO },
        environment: Environment { picture: Image::filled(64, 32, LinearRgb([radiance; 3])) },
        bounce: 0.0,
    }
}

fn looked_at(eye: Vec3, degrees: f32) -> Camera {
    let up = if eye.x.abs() + eye.z.abs() < 1e-6 { Vec3::NEG_Z } else { Vec3::Y };
    Camera { eye, target: Vec3::ZERO, up, field: Angle::degrees(degrees), clear: 0.0 }
}

/// Plain, on black, small.
fn settings(side: u32, samples: u32) -> StillSettings {
    StillSettings {
        width: side,
        height: side,
        samples,
        transform: ViewTransform::Plain,
        backdrop: [LinearRgb([0.0; 3]); 2],
        shadow_side: Some(256),
        ..StillSettings::default()
    }
}

fn at(picture: &Picture, x: u32, y: u32) -> [f32; 3] {
    let i = 3 * (y * picture.width + x) as usize;
    [0, 1, 2].map(|c| tatter_core::color::decode_srgb(f32::from(picture.rgb[i + c]) / 255.0))
}

fn drawn(
    renderer: &Renderer,
    scene: &Scene<'_>,
    camera: &Camera,
    light: &Light,
    settings: &StillSettings,
) -> Result<Picture, Box<dyn std::error::Error>> {
    let loaded = renderer.load(scene, &vec![4096.0; scene.materials.len()]);
    Ok(renderer.still(&loaded, camera, light, settings, &Task::new())?)
}

#[test]
fn white_cloth_under_an_even_sky_cannot_be_told_from_it() -> Checked {
    // The white furnace: what a white dielectric mirrors and what it scatters add up to what comes.
    let renderer = Renderer::new()?;
    let white = picture(1, 1, Layout::Rgb, vec![255; 3]);
    for roughness in [64, 153, 255] {
        let rough = gray(roughness);
        let of = vec![(Channel::BaseColor, source(&white)), (Channel::Roughness, source(&rough))];
        let scene = Scene { parts: ball(0), materials: vec![material(of)] };
        for (open_sky, allowed) in [(true, 0.02), (false, 0.06)] {
            let settings = StillSettings { open_sky, ..settings(64, 128) };
            let picture = drawn(&renderer, &scene, &looked_at(Vec3::new(0.0, 0.6, 8.0), 16.0), &even_sky(0.5), &settings)?;
            for (x, y) in [(32, 32), (20, 28), (40, 44), (32, 12), (10, 32)] {
                let sent = at(&picture, x, y)[1] / 0.5;
                let where_ = format!("roughness {roughness}, at {x}, {y}, open sky {open_sky}");
                assert!((sent - 1.0).abs() < allowed, "{where_}: {sent}");
            }
        }
    }
    Ok(())
}

#[test]
fn half_open_cloth_shows_half_of_what_is_behind_and_both_layers_count() -> Checked {
    let renderer = Renderer::new()?;
    let (white, half) = (picture(1, 1, Layout::Rgb, vec![255; 3]), gray(128));
    let of = || vec![(Channel::BaseColor, source(&white)), (Channel::Opacity, source(&half))];
    let light =
        Light { key: KeyLight { towards: Vec3::Z, irradiance: LinearRgb([0.0; 3]), radius: Angle::ZERO }, ..even_sky(0.0) };
    let backdrop = [LinearRgb([0.8; 3]); 2];
    let settings = StillSettings { backdrop, ..settings(32, 256) };
    let mean = |picture: &Picture| {
        let all: Vec<f32> = (4..28).flat_map(|y| (4..28).map(move |x| (x, y))).map(|(x, y)| at(picture, x, y)[1]).collect();
        all.iter().sum::<f32>() / all.len() as f32
    };
    // Porter and Duff's over: what is left of the backdrop behind one and two layers. The cloth itself is unlit.
    let through = 1.0 - 128.0 / 255.0;
    for layers in 1..=2 {
        let mut parts = square(Vec3::ZERO, Vec3::Z, 2.0, 0);
        if layers == 2 {
            parts.extend(square(Vec3::new(0.0, 0.0, -0.5), Vec3::NEG_Z, 2.0, 0));
        }
        let scene = Scene { parts, materials: vec![material(of())] };
        let picture = drawn(&renderer, &scene, &looked_at(Vec3::new(0.0, 0.0, 6.0), 20.0), &light, &settings)?;
        let expected = 0.8 * f32::powi(through, layers);
        assert!((mean(&picture) - expected).abs() < 0.012, "{layers} layers let {} through, not {expected}", mean(&picture));
    }
    Ok(())
}

/// Whether cloth is there in a sample must say nothing of the lamp that lights the sample: else a pixel that keeps its cloth in another
/// part of the samples than its neighbour is lit by another part of the sky.
#[test]
fn half_open_cloth_is_lit_alike_in_every_pixel_by_a_sky_from_one_side() -> Checked {
    let renderer = Renderer::new()?;
    let (white, half) = (picture(1, 1, Layout::Rgb, vec![255; 3]), gray(128));
    let of = vec![(Channel::BaseColor, source(&white)), (Channel::Opacity, source(&half))];
    let side = Image::from_fn(64, 32, |x, y| {
        let towards = Environment::towards((x as f32 + 0.5) / 64.0, (y as f32 + 0.5) / 32.0);
        LinearRgb([if towards.x > 0.5 && towards.z > 0.2 { 1.5 } else { 0.0 }; 3])
    });
    let light = Light { environment: Environment { picture: side }, ..even_sky(0.0) };
    let scene = Scene { parts: square(Vec3::ZERO, Vec3::Z, 2.0, 0), materials: vec![material(of)] };
    let picture = drawn(&renderer, &scene, &looked_at(Vec3::new(0.0, 0.0, 6.0), 20.0), &light, &settings(32, 64))?;
    let all: Vec<f32> = (4..28).flat_map(|y| (4..28).map(move |x| (x, y))).map(|(x, y)| at(&picture, x, y)[1]).collect();
    let mean = all.iter().sum::<f32>() / all.len() as f32;
    let spread = (all.iter().map(|v| (v - mean).powi(2)).sum::<f32>() / all.len() as f32).sqrt() / mean;
    // Of 64 samples about ten are lit: evenly spread over them, cloth is missed in one more or less at most. By chance alone: 0.3.
    assert!(mean > 0.02 && spread < 0.16, "pixels of half-open cloth spread by {spread} of their mean, {mean}");
    Ok(())
}

#[test]
fn light_falls_through_a_hole_onto_what_lies_behind_and_nowhere_else() -> Checked {
    let renderer = Renderer::new()?;
    // A cloth with a hole in its middle, two eighths of its side wide, a hand above a floor.
    let hole: Vec<u8> =
        (0..64 * 64).map(|i| if (24..40).contains(&(i % 64)) && (24..40).contains(&(i / 64)) { 0 } else { 255 }).collect();
    let hole = picture(64, 64, Layout::Gray, hole);
    let white = picture(1, 1, Layout::Rgb, vec![255; 3]);
    let pierced = material(vec![(Channel::BaseColor, source(&white)), (Channel::Opacity, source(&hole))]);
    let floor = material(vec![(Channel::BaseColor, source(&white))]);
    let mut parts = square(Vec3::new(0.0, 0.5, 0.0), Vec3::Y, 1.0, 0);
    parts.extend(square(Vec3::ZERO, Vec3::Y, 1.0, 1));
    let scene = Scene { parts, materials: vec![pierced, floor] };
    let lamp = |degrees: f32| Light {
        key: KeyLight { towards: Vec3::Y, irradiance: LinearRgb([3.0; 3]), radius: Angle::degrees(degrees) },
        ..even_sky(0.0)
    };
    // From beneath the cloth's height, a little aside, so that the floor is seen under it.
    let camera =
        Camera { eye: Vec3::new(0.0, 0.45, 3.0), target: Vec3::ZERO, up: Vec3::Y, field: Angle::degrees(30.0), clear: 0.0 };
    let bounds = scene.bounds();
    let clip = camera.clip_from_world(1.0, bounds);
    let pixel = |p: Vec3| {
        let c = clip.project_point3(p);
        (((0.5 + 0.5 * c.x) * 128.0) as u32, ((0.5 - 0.5 * c.y) * 128.0) as u32)
    };
    let settings = StillSettings { shadow_side: Some(1024), ..settings(128, 96) };
    let sharp = drawn(&renderer, &scene, &camera, &lamp(0.05), &settings)?;
    let soft = drawn(&renderer, &scene, &camera, &lamp(8.0), &settings)?;
    let value = |picture: &Picture, x: f32| {
        let (px, py) = pixel(Vec3::new(x, 0.0, 0.0));
        at(picture, px, py)[1]
    };
    // The hole spans -0.25 to 0.25.
    assert!(value(&sharp, 0.0) > 0.5, "the spot is lit: {}", value(&sharp, 0.0));
    for x in [-0.2, 0.15, 0.2] {
        assert!((value(&sharp, x) / value(&sharp, 0.0) - 1.0).abs() < 0.05, "lit evenly at {x}: {}", value(&sharp, x));
    }
    for x in [-0.8, -0.4, 0.32, 0.5] {
        assert!(value(&sharp, x) < 0.01, "shadow at {x}: {}", value(&sharp, x));
    }
    // A lamp of 8 degrees half a unit away: its penumbra is 2 x 0.5 x tan 8 = 0.14 wide, half of it each side of the edge.
    assert!(value(&soft, 0.29) > 0.05 * value(&soft, 0.0) && value(&soft, 0.21) < 0.97 * value(&soft, 0.0), "no penumbra");
    assert!(value(&soft, 0.36) < 0.02 && value(&soft, 0.14) > 0.95 * value(&soft, 0.0), "the penumbra is too wide");
    Ok(())
}

#[test]
fn cloth_is_lit_alike_from_both_sides_and_its_relief_is_turned() -> Checked {
    let renderer = Renderer::new()?;
    let white = picture(1, 1, Layout::Rgb, vec![200; 3]);
    // A normal leant 30 degrees to image right: code 0.5 + 0.5 sin, 0.5, 0.5 + 0.5 cos.
    let leant = picture(1, 1, Layout::Rgb, vec![191, 128, 238]);
    let of = vec![(Channel::BaseColor, source(&white)), (Channel::Normal, source(&leant))];
    let scene = Scene { parts: square(Vec3::ZERO, Vec3::Z, 1.0, 0), materials: vec![material(of)] };
    let lit = |eye: f32, towards: Vec3| -> Result<f32, Box<dyn std::error::Error>> {
        let light = Light {
            key: KeyLight { towards: towards.normalize_or_zero(), irradiance: LinearRgb([1.5; 3]), radius: Angle::ZERO },
            ..even_sky(0.0)
        };
        let picture = drawn(&renderer, &scene, &looked_at(Vec3::new(0.0, 0.0, eye), 12.0), &light, &settings(16, 4))?;
        Ok(at(&picture, 8, 8)[1])
    };
    let (front, back) = (lit(5.0, Vec3::new(0.5, 0.0, 0.87))?, lit(-5.0, Vec3::new(-0.5, 0.0, -0.87))?);
    // A light along the leant normal, and the opposite one from behind: both fall straight on it (Lambert: albedo x E / pi and more).
    assert!(front > 0.2, "it is lit: {front}");
    assert!((front / back - 1.0).abs() < 0.02, "{front} from the front, {back} from behind");
    let other = lit(-5.0, Vec3::new(0.5, 0.0, -0.87))?;
    assert!(other < 0.75 * back, "seen from behind the slope leans to world left: {other} beside {back}");
    assert!(lit(5.0, Vec3::new(0.5, 0.0, -0.87))? < 1e-3, "light from behind does not come through cloth");
    Ok(())
}

#[test]
fn channels_are_shown_as_their_codes_stand() -> Checked {
    let renderer = Renderer::new()?;
    let base = picture(1, 1, Layout::Rgb, vec![180, 90, 30]);
    let rough = gray(77);
    let coded = Source { picture: &base, coding: Coding { transfer: Transfer::Srgb, ..Coding::default() } };
    let of = vec![(Channel::BaseColor, coded), (Channel::Roughness, source(&rough))];
    let scene = Scene { parts: square(Vec3::ZERO, Vec3::Z, 1.0, 0), materials: vec![material(of)] };
    for (channel, expected) in [
        (Channel::BaseColor, [180, 90, 30]),
        (Channel::Roughness, [77; 3]),
        (Channel::Occlusion, [255; 3]),
        (Channel::Metallic, [0; 3]),
        (Channel::Normal, [128, 128, 255]),
    ] {
        let settings = StillSettings { show: Show::Channel(channel), ..settings(16, 4) };
        let picture = drawn(&renderer, &scene, &looked_at(Vec3::new(0.0, 0.0, 5.0), 12.0), &even_sky(1.0), &settings)?;
        let i = 3 * (8 * 16 + 8);
        for (value, expected) in picture.rgb[i..i + 3].iter().zip(expected) {
            assert!(value.abs_diff(expected) <= 1, "{channel}: {:?} not {expected}", &picture.rgb[i..i + 3]);
        }
    }
    Ok(())
}

#[test]
fn khronos_neutral_keeps_base_colours_and_rolls_highlights_off() -> Checked {
    // The published function: below 0.8 less 0.04 a grey loses the 4 % that dielectrics reflect and nothing else; white never clips.
    let renderer = Renderer::new()?;
    let black = picture(1, 1, Layout::Rgb, vec![0; 3]);
    let scene = Scene {
        parts: square(Vec3::new(0.0, 9.0, 0.0), Vec3::Z, 0.1, 0),
        materials: vec![material(vec![(Channel::BaseColor, source(&black))])],
    };
    for (light, expected) in
        [(0.5, 0.46), (0.2, 0.16), (0.05, 0.05 - (0.05 - 6.25 * 0.0025)), (1.0, 1.0 - 0.24 * 0.24 / (0.96 + 0.24 - 0.76))]
    {
        let settings =
            StillSettings { transform: ViewTransform::Neutral, backdrop: [LinearRgb([light; 3]); 2], ..settings(16, 1) };
        let picture = drawn(&renderer, &scene, &looked_at(Vec3::new(0.0, 0.0, 5.0), 12.0), &even_sky(1.0), &settings)?;
        let value = at(&picture, 8, 8)[0];
        assert!((value - expected).abs() < 0.005, "{light} is shown as {value}, not {expected}");
    }
    for wanted in [LinearRgb([0.01, 0.013, 0.02]), LinearRgb([0.3, 0.35, 0.4])] {
        let backdrop = [ViewTransform::Neutral.undone(wanted); 2];
        let settings = StillSettings { transform: ViewTransform::Neutral, backdrop, ..settings(16, 1) };
        let picture = drawn(&renderer, &scene, &looked_at(Vec3::new(0.0, 0.0, 5.0), 12.0), &even_sky(1.0), &settings)?;
        let value = at(&picture, 8, 8);
        assert!((0..3).all(|i| (value[i] - wanted.0[i]).abs() < 0.003), "undone before: {wanted:?} is shown as {value:?}");
    }
    Ok(())
}

#[test]
fn tiles_of_a_large_picture_join_without_a_trace() -> Checked {
    let renderer = Renderer::new()?;
    let white = picture(1, 1, Layout::Rgb, vec![200; 3]);
    let scene = Scene { parts: ball(0), materials: vec![material(vec![(Channel::BaseColor, source(&white))])] };
    let camera = looked_at(Vec3::new(0.0, 0.5, 8.0), 16.0);
    // Wider than one tile, few samples; what is drawn is small, most is backdrop.
    let wide = StillSettings { width: 2100, height: 32, samples: 2, ..settings(32, 2) };
    let picture = drawn(&renderer, &scene, &camera, &Light::default(), &wide)?;
    assert_eq!(picture.rgb.len(), 3 * 2100 * 32, "every pixel is there");
    // The ball stands in the middle of the first tile's columns, so the last columns show backdrop.
    assert!(at(&picture, 1050, 16)[1] > 0.05, "the ball is there");
    assert!(at(&picture, 2090, 16)[1] < 0.01, "the backdrop is black");
    Ok(())
}
