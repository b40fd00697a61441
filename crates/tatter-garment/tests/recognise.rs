//! Map sets are understood from names, from materials and from texels.

use tatter_core::channel::Channel;
use tatter_core::image::{Coding, ColorTags, Layout, NormalY, Samples, Size, Stored};
use tatter_core::model::{MapRole, UvTile};
use tatter_garment::recognise::{Candidate, Recognised, Told, recognise};

/// A picture of one repeated texel.
fn plain(layout: Layout, texel: &[u8]) -> Option<Stored> {
    let size = Size::new(8, 8);
    Some(Stored { size, layout, samples: Samples::U8(texel.repeat(64)), tags: ColorTags::default() })
}

fn file(path: &str, layout: Layout, texel: &[u8]) -> Candidate {
    Candidate { path: path.into(), size: Size::new(2048, 2048), layout, bits: 8, sample: plain(layout, texel) }
}

/// Material, tile, then each file with its channels and components.
fn shape(found: &Recognised) -> Vec<String> {
    let sets = found.sets.iter().map(|set| {
        let files = set.files.iter().map(|f| {
            let roles: Vec<String> = f.roles.iter().map(|r| format!("{}@{}", r.channel, r.coding.component)).collect();
            format!("{}={}", f.path, roles.join("+"))
        });
        let files: Vec<String> = files.collect();
        format!("[{}|{},{}] {}", set.material, set.tile.u, set.tile.v, files.join(" "))
    });
    sets.collect()
}

fn codes(found: &Recognised) -> Vec<&'static str> {
    found.notes.iter().map(|note| note.code).collect()
}

const FLAT: &[u8] = &[128, 128, 255];

#[test]
fn a_folder_of_usual_names() {
    let files = [
        file("smock_basecolor.png", Layout::Rgb, &[180, 150, 110]),
        file("smock_normal_gl.png", Layout::Rgb, FLAT),
        file("smock_arm.png", Layout::Rgb, &[250, 200, 0]),
        file("smock_disp.png", Layout::Gray, &[128]),
        file("smock_preview.png", Layout::Rgb, &[1, 2, 3]),
    ];
    let found = recognise(&files, &[], &[]);
    let expected = "[|0,0] smock_basecolor.png=base_color@0 smock_disp.png=height@0 smock_normal_gl.png=normal@0 \
                    smock_arm.png=occlusion@0+roughness@1+metallic@2";
    assert_eq!(shape(&found), [expected], "one set, no material");
    assert_eq!(found.missing, [Channel::Opacity], "all else is there");
    assert_eq!(codes(&found), ["map-left-aside"], "only the preview is spoken of");
}

#[test]
fn what_a_material_says_stands_and_names_fill_the_rest() {
    let role = |channel, component| MapRole { channel, coding: Coding { component, ..Coding::default() } };
    let told = [Told {
        path: "a.png".into(),
        material: "canvas".into(),
        roles: vec![role(Channel::BaseColor, 0), role(Channel::Opacity, 3)],
    }];
    let files = [
        file("a.png", Layout::Rgb, &[180, 150, 110]),
        file("smock_albedo.png", Layout::Rgb, &[9, 90, 200]),
        file("smock_rough.png", Layout::Gray, &[200]),
    ];
    let found = recognise(&files, &told, &["canvas".into()]);
    assert_eq!(shape(&found), ["[canvas|0,0] a.png=base_color@0 smock_rough.png=roughness@0"], "told before named");
    assert!(codes(&found).contains(&"packing-impossible"), "a picture without alpha holds no opacity: {:?}", found.notes);
    assert!(codes(&found).contains(&"channel-told-twice"), "the other colour is spoken of");
}

#[test]
fn tiles_and_materials_part_the_sets() {
    let one = |path: &str| file(path, Layout::Rgb, &[180, 150, 110]);
    let files =
        [one("Smock_Canvas_diffuse.1001.png"), one("Smock_Canvas_diffuse.1012.png"), one("smock_lining_diffuse.1001.png")];
    let found = recognise(&files, &[], &["canvas".into(), "lining".into()]);
    let keys: Vec<_> = found.sets.iter().map(|s| (s.material.as_str(), s.tile)).collect();
    let at = |u, v| UvTile { u, v };
    assert_eq!(keys, [("canvas", at(0, 0)), ("canvas", at(1, 1)), ("lining", at(0, 0))], "{found:?}");
}

#[test]
fn texels_have_the_last_word() {
    let files = [
        file("IMG_1.png", Layout::Rgb, &[180, 150, 110]),
        file("IMG_2.png", Layout::Rgb, FLAT),
        file("smock_bump.png", Layout::Rgb, FLAT),
        file("smock_normal.png", Layout::Gray, &[120]),
        file("smock_mask.png", Layout::Gray, &[10]),
    ];
    let found = recognise(&files[..2], &[], &[]);
    assert_eq!(shape(&found), ["[|0,0] IMG_1.png=base_color@0 IMG_2.png=normal@0"], "colour and directions are seen");
    let found = recognise(&files[2..], &[], &[]);
    let expected = "[|0,0] smock_normal.png=height@0 smock_bump.png=normal@0 smock_mask.png=opacity@0";
    assert_eq!(shape(&found), [expected], "names that lie are corrected");
    assert!(found.sets[0].role(Channel::Opacity).is_some_and(|(_, role)| role.coding.inverted), "a dark mask is inverted");
    assert_eq!(found.sets[0].role(Channel::Normal).map(|(_, r)| r.coding.normal_y), Some(NormalY::Up), "flat texels do not tell");
    assert!(codes(&found).contains(&"normal-y-assumed"), "and that is said");
}

#[test]
fn two_normal_maps_leave_one() {
    let files = [file("smock_NormalDX.png", Layout::Rgb, FLAT), file("smock_NormalGL.png", Layout::Rgb, FLAT)];
    let found = recognise(&files, &[], &[]);
    assert_eq!(shape(&found), ["[|0,0] smock_NormalGL.png=normal@0"], "the one with +Y up");
    assert_eq!(codes(&found), ["channel-told-twice"], "and the other is spoken of");
}
