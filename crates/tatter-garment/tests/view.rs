//! Cloth laid flat for a picture: what two islands show must meet as the cloth does.

mod made;

use made::*;
use tatter_core::channel::Channel;
use tatter_core::image::{Coding, Layout, NormalY};
use tatter_core::model::{MapFile, Spot};
use tatter_garment::view::Viewer;

/// Colour by place on the cloth: red to the right, green upwards. Normals lean to (-0.3, -0.1, 1) in space everywhere.
#[test]
fn a_picture_across_a_seam_shows_the_cloth() {
    for (island, y_sign) in
        [(Island::Straight, NormalY::Up), (Island::Mirrored, NormalY::Up), (Island::UpsideDown, NormalY::Down)]
    {
        let part = seamed(island);
        let linear = Coding::default();
        let normal = normal_coding(y_sign);
        let files: Vec<MapFile> = vec![file(512, &[(Channel::BaseColor, linear)]), file(512, &[(Channel::Normal, normal)])];
        let garment = garment(part.clone(), files, 125.0);
        let half = |x: usize| x >= 256;
        // Where a texel lies on the cloth, by the corners of its half.
        let place = |x: usize, y: usize| {
            let uv = glam::Vec2::new((x as f32 + 0.5) / 512.0, (y as f32 + 0.5) / 512.0);
            let (o, r, t) = (uv_at(&part, half(x), if half(x) { 50.0 } else { 0.0 }, 0.0), 50.0, 100.0);
            let across = uv_at(&part, half(x), if half(x) { 100.0 } else { 50.0 }, 0.0) - o;
            let along = uv_at(&part, half(x), if half(x) { 50.0 } else { 0.0 }, 100.0) - o;
            let d = uv - o;
            [
                d.dot(across) / across.length_squared() * r + if half(x) { 50.0 } else { 0.0 },
                d.dot(along) / along.length_squared() * t,
            ]
        };
        let lean = glam::Vec3::new(-0.3, -0.1, 1.0).normalize_or_zero();
        let code = |x: usize, c: usize| {
            let (right, up) = match (half(x), island) {
                (true, Island::Mirrored) => (-glam::Vec3::X, glam::Vec3::Y),
                (true, Island::UpsideDown) => (-glam::Vec3::X, -glam::Vec3::Y),
                _ => (glam::Vec3::X, glam::Vec3::Y),
            };
            let green = if y_sign == NormalY::Down { -lean.dot(up) } else { lean.dot(up) };
            0.5 + 0.5 * [lean.dot(right), green, lean.z][c]
        };
        let pictures = vec![vec![
            picture16(512, Layout::Rgb, |x, y, c| [place(x, y)[0] / 100.0, place(x, y)[1] / 100.0, 0.5][c].clamp(0.0, 1.0)),
            picture16(512, Layout::Rgb, |x, _, c| code(x, c)),
        ]];
        let seed = uv_at(&part, false, 45.0, 50.0);
        let flat = Viewer::new(&garment).lay_flat(&pictures, &Spot::Uv { at: [seed.x, seed.y], part: None }, 60.0, 120).unwrap();
        for y in 2..118 {
            for x in 2..118 {
                // 60 mm over 120 pixels around (45, 50); the picture's y runs down.
                let (mx, my) = (45.0 + 0.5 * (x as f32 + 0.5 - 60.0), 50.0 - 0.5 * (y as f32 + 0.5 - 60.0));
                let c = flat.color.get(x, y).0;
                // Within a texel (0.25 mm) of a seam the neighbouring gutter is read as well: it holds other cloth here.
                if (mx - 50.0).abs() < 0.4 {
                    continue;
                }
                assert!((c[0] * 100.0 - mx).abs() < 0.3 && (c[1] * 100.0 - my).abs() < 0.3, "{island:?}: {mx},{my} shows {c:?}");
                let n = glam::Vec3::from(flat.normal.get(x, y).0);
                assert!((n - lean).length() < 2e-3, "{island:?}: at {mx},{my} it leans {n}, not {lean}");
                assert_eq!(flat.opacity.get(x, y).0, 1.0, "without an opacity map cloth is opaque");
            }
        }
    }
}

#[test]
fn beyond_the_cloth_is_nothing() {
    let part = seamed(Island::Straight);
    let garment = dressed(part.clone());
    let pictures = vec![vec![picture(64, Layout::Rgb, |_, _, _| 0.5)]];
    let seed = uv_at(&part, false, 5.0, 50.0);
    let flat = Viewer::new(&garment).lay_flat(&pictures, &Spot::Uv { at: [seed.x, seed.y], part: None }, 40.0, 80).unwrap();
    assert_eq!(flat.opacity.get(10, 40).0, 0.0, "15 mm left of a spot 5 mm from the edge");
    assert_eq!(flat.opacity.get(60, 40).0, 1.0, "10 mm right of it");
}
