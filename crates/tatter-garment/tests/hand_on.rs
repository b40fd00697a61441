//! Textures and parts as others want them.

mod made;

use made::{color_coding, file, garment, normal_coding, picture, quad};
use tatter_core::channel::Channel;
use tatter_core::image::{Coding, Layout, NormalY, Samples, Size, Stored};
use tatter_core::kernel::alpha_coverage;
use tatter_core::mesh::Part;
use tatter_core::model::{AlphaChoice, Component, HandoffPicture, HandoffProfile, MapSet, Source, TextureRecipe, UvTile};
use tatter_garment::hand_on::{Openness, openness, parts_by_set, texture, udim};

fn of(channel: Channel, at: usize) -> Component {
    Component { at, source: Source::Channel { channel, inverted: false } }
}

fn recipe(layout: Layout, components: Vec<Component>) -> TextureRecipe {
    TextureRecipe { name: "made".into(), components, layout, picture: HandoffPicture::Png, bits: 8, max_texels: None }
}

fn profile(max_texels: Option<usize>) -> HandoffProfile {
    HandoffProfile {
        name: String::new(),
        file: "{channel}".into(),
        textures: Vec::new(),
        max_texels,
        normal_y: NormalY::Up,
        height_range: None,
        always_udim: false,
        alpha: AlphaChoice::Auto,
        alpha_cutoff: 0.5,
        sheen: None,
        rougher_when_smaller: false,
    }
}

fn set(files: Vec<tatter_core::model::MapFile>) -> MapSet {
    MapSet { files, ..MapSet::default() }
}

fn codes(stored: &Stored) -> &[u8] {
    match &stored.samples {
        Samples::U8(codes) => codes,
        _ => &[],
    }
}

/// glTF 2.0, 3.9.2 and 3.9.3: occlusion in red, roughness in green, metallic in blue. What the garment lacks is open and no metal.
#[test]
fn channels_are_packed_where_gltf_reads_them() {
    let own = set(vec![file(4, &[(Channel::Roughness, Coding { inverted: true, ..Coding::default() })])]);
    let pictures = [picture(4, Layout::Gray, |_, _, _| 55.0 / 255.0)];
    let orm = vec![of(Channel::Occlusion, 0), of(Channel::Roughness, 1), of(Channel::Metallic, 2)];
    let made = texture(&own, &pictures, &recipe(Layout::Rgb, orm.clone()), &profile(None), false).unwrap();
    assert_eq!(codes(&made)[..3], [255, 200, 0], "glossiness 55 is roughness 200");
    let nothing = set(vec![file(4, &[(Channel::Height, Coding::default())])]);
    assert!(texture(&nothing, &pictures, &recipe(Layout::Rgb, orm), &profile(None), false).is_none(), "none of them");
}

/// Half of each 2 × 2 is cloth (red), half a hole behind which lies green: the smaller cloth is as red as the large one.
#[test]
fn what_lies_behind_holes_does_not_bleed_into_smaller_colour() {
    let own = set(vec![file(8, &[(Channel::BaseColor, color_coding())]), file(8, &[(Channel::Opacity, Coding::default())])]);
    let cloth = |x: usize| x.is_multiple_of(2);
    let color = picture(8, Layout::Rgb, |x, _, c| f32::from(u8::from(c == usize::from(!cloth(x)))));
    let opacity = picture(8, Layout::Gray, |x, _, _| f32::from(u8::from(cloth(x))));
    let recipe = recipe(Layout::Rgba, vec![of(Channel::BaseColor, 0), of(Channel::Opacity, 3)]);
    let made = texture(&own, &[color, opacity], &recipe, &profile(Some(4)), false).unwrap();
    assert_eq!(made.size, Size::new(4, 4));
    assert_eq!(codes(&made)[..4], [255, 0, 0, 128], "red, half open");
}

/// Threads 3 texels wide, 8 apart, at a quarter of the size: averaged they would be 0.75 of a texel at most.
#[test]
fn threads_stay_as_open_as_at_full_size() {
    let own = set(vec![file(64, &[(Channel::Opacity, Coding::default())])]);
    let pictures = [picture(64, Layout::Gray, |x, y, _| f32::from(u8::from((x + 3 * y) % 8 < 3)))];
    let gray = recipe(Layout::Gray, vec![of(Channel::Opacity, 0)]);
    let coverage = |masked: bool| {
        let made = texture(&own, &pictures, &gray, &profile(Some(16)), masked).unwrap();
        let map = made.decode_whole(tatter_core::channel::Kind::Unit, &Coding::default());
        alpha_coverage(map.as_unit().unwrap(), 0.5)
    };
    assert_eq!(coverage(false), 0.0, "averaged alone, every thread is gone");
    let kept = coverage(true);
    assert!(kept >= 0.375, "3 of 8 are cloth; {kept} is left");
    assert_eq!(openness(&own, &pictures), Openness::Holes);
}

#[test]
fn normals_keep_their_length_and_turn_as_told() {
    let own = set(vec![file(8, &[(Channel::Normal, normal_coding(NormalY::Down))])]);
    // Facing up or down by 3-4-5, as a file with +Y down has it: mean straight out of the cloth.
    let pictures = [picture(8, Layout::Rgb, |_, y, c| [0.5, if y < 4 { 0.2 } else { 0.8 }, 0.9][c])];
    let rgb = recipe(Layout::Rgb, vec![of(Channel::Normal, 0)]);
    let made = |most, normal_y| {
        let profile = HandoffProfile { normal_y, ..profile(Some(most)) };
        codes(&texture(&own, &pictures, &rgb, &profile, false).unwrap())[..3].to_vec()
    };
    assert_eq!(made(8, NormalY::Up)[1], 204, "0.6 up: round((0.6 + 1) / 2 * 255)");
    assert_eq!(made(8, NormalY::Down)[1], 51, "0.6 up in a file with +Y down");
    assert_eq!(made(1, NormalY::Up), [128, 128, 255], "unit length again");
}

/// Normals tilted by ±θ along one axis: slope variance there tan² θ, half of it along each axis in the mean; to first order
/// roughness⁴ grows by tan² θ (derived from Walter et al., 2007: α² is twice the slope variance).
#[test]
fn averaged_normals_come_back_as_roughness() {
    let own = set(vec![file(8, &[(Channel::Normal, Coding::default())]), file(8, &[(Channel::Roughness, Coding::default())])]);
    let (sin, cos) = 0.1_f32.sin_cos();
    let normal = picture(8, Layout::Rgb, |x, _, c| [if x % 2 == 0 { 1.0 + sin } else { 1.0 - sin }, 1.0, 1.0 + cos][c] / 2.0);
    let pictures = [normal, picture(8, Layout::Gray, |_, _, _| 0.4)];
    let gray = recipe(Layout::Gray, vec![of(Channel::Roughness, 0)]);
    let told = HandoffProfile { rougher_when_smaller: true, ..profile(Some(4)) };
    let found = texture(&own, &pictures, &gray, &told, false).unwrap().value(0, 0, 0);
    let wanted = (0.4_f32.powi(4) + 0.1_f32.tan().powi(2)).powf(0.25);
    assert!((found - wanted).abs() < 0.01, "{found}, derived {wanted}");
    let plain = texture(&own, &pictures, &gray, &profile(Some(4)), false).unwrap().value(0, 0, 0);
    assert!((plain - 0.4).abs() < 0.003, "{plain}: not unless told");
}

/// The numbering of UV tiles: 1001 + u + 10 v, ten tiles a row, v up.
#[test]
fn each_tile_becomes_a_part_of_its_own() {
    let mut part = Part { name: "smock".into(), ..Part::default() };
    for (u, v) in [(0.0, 0.0), (1.0, 0.0), (0.0, -1.0)] {
        let uv = [[u, v + 1.0], [u + 1.0, v + 1.0], [u + 1.0, v], [u, v]];
        quad(&mut part, [[u, v, 0.0], [u + 1.0, v, 0.0], [u + 1.0, v + 1.0, 0.0], [u, v + 1.0, 0.0]], uv, [0.0, 0.0, 1.0]);
    }
    let mut tiled = garment(part.clone(), vec![file(4, &[(Channel::BaseColor, color_coding())])], 100.0);
    for tile in [UvTile { u: 1, v: 0 }, UvTile { u: 0, v: 1 }] {
        let set = MapSet { tile, ..tiled.sets[0].clone() };
        tiled.sets.push(set);
    }
    assert_eq!(tiled.sets.iter().map(|set| udim(set.tile)).collect::<Vec<_>>(), [1001, 1002, 1011]);
    let parts = parts_by_set(&tiled);
    let names: Vec<(&str, Option<usize>)> = parts.iter().map(|own| (own.part.name.as_str(), own.set)).collect();
    assert_eq!(names, [("smock.1001", Some(0)), ("smock.1002", Some(1)), ("smock.1011", Some(2))]);
    for own in &parts {
        assert_eq!((own.part.triangles.len(), own.part.positions.len()), (2, 4), "{}", own.part.name);
        assert!(own.part.uvs.iter().all(|uv| uv.min_element() >= 0.0 && uv.max_element() <= 1.0), "{:?}", own.part.uvs);
    }
    let one = parts_by_set(&garment(part, vec![file(4, &[(Channel::BaseColor, color_coding())])], 100.0));
    assert_eq!(one.len(), 1, "a texture that repeats is one part");
    assert_eq!(one[0].part.name, "smock");
}
