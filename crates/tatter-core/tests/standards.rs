//! Values from published standards, papers and specifications; the source stands above each table.

#![expect(clippy::approx_constant, reason = "tables stand as published")]

use tatter_core::color::{Lab, OkLab, ciede2000, decode_srgb, encode_srgb};
use tatter_core::image::{Coding, Depth, Image, LinearRgb, Map, Normal, Samples, Stored};
use tatter_core::rule::Rule;

/// Sharma, Wu, Dalal, "The CIEDE2000 Color-Difference Formula: Implementation Notes, Supplementary Test Data, and
/// Mathematical Observations", Color Research and Application 30(1), 2005, table 1: L a b, L a b, difference.
const CIEDE2000: [[f32; 7]; 34] = [
    [50.0, 2.6772, -79.7751, 50.0, 0.0, -82.7485, 2.0425],
    [50.0, 3.1571, -77.2803, 50.0, 0.0, -82.7485, 2.8615],
    [50.0, 2.8361, -74.02, 50.0, 0.0, -82.7485, 3.4412],
    [50.0, -1.3802, -84.2814, 50.0, 0.0, -82.7485, 1.0],
    [50.0, -1.1848, -84.8006, 50.0, 0.0, -82.7485, 1.0],
    [50.0, -0.9009, -85.5211, 50.0, 0.0, -82.7485, 1.0],
    [50.0, 0.0, 0.0, 50.0, -1.0, 2.0, 2.3669],
    [50.0, -1.0, 2.0, 50.0, 0.0, 0.0, 2.3669],
    [50.0, 2.49, -0.001, 50.0, -2.49, 0.0009, 7.1792],
    [50.0, 2.49, -0.001, 50.0, -2.49, 0.001, 7.1792],
    [50.0, 2.49, -0.001, 50.0, -2.49, 0.0011, 7.2195],
    [50.0, 2.49, -0.001, 50.0, -2.49, 0.0012, 7.2195],
    [50.0, -0.001, 2.49, 50.0, 0.0009, -2.49, 4.8045],
    [50.0, -0.001, 2.49, 50.0, 0.001, -2.49, 4.8045],
    [50.0, -0.001, 2.49, 50.0, 0.0011, -2.49, 4.7461],
    [50.0, 2.5, 0.0, 50.0, 0.0, -2.5, 4.3065],
    [50.0, 2.5, 0.0, 73.0, 25.0, -18.0, 27.1492],
    [50.0, 2.5, 0.0, 61.0, -5.0, 29.0, 22.8977],
    [50.0, 2.5, 0.0, 56.0, -27.0, -3.0, 31.903],
    [50.0, 2.5, 0.0, 58.0, 24.0, 15.0, 19.4535],
    [50.0, 2.5, 0.0, 50.0, 3.1736, 0.5854, 1.0],
    [50.0, 2.5, 0.0, 50.0, 3.2972, 0.0, 1.0],
    [50.0, 2.5, 0.0, 50.0, 1.8634, 0.5757, 1.0],
    [50.0, 2.5, 0.0, 50.0, 3.2592, 0.335, 1.0],
    [60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644],
    [63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.263],
    [61.2901, 3.7196, -5.3901, 61.4292, 2.248, -4.962, 1.8731],
    [35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645],
    [22.7233, 20.0904, -46.694, 23.0331, 14.973, -42.5619, 2.0373],
    [36.4612, 47.858, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146],
    [90.8027, -2.0831, 1.441, 91.1528, -1.6435, 0.0447, 1.4441],
    [90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381],
    [6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377],
    [2.0776, 0.0795, -1.135, 0.9033, -0.0636, -0.5514, 0.9082],
];

#[test]
fn ciede2000_as_published() {
    for (i, &[l1, a1, b1, l2, a2, b2, want]) in CIEDE2000.iter().enumerate() {
        let (first, second) = (Lab { l: l1, a: a1, b: b1 }, Lab { l: l2, a: a2, b: b2 });
        for got in [ciede2000(first, second), ciede2000(second, first)] {
            assert!((got - want).abs() <= 1e-4, "pair {}: {got}, published {want}", i + 1);
        }
    }
}

/// 8-bit sRGB (IEC 61966-2-1), its linear light, CIELAB under D65 and OKLab (Ottosson 2020). Lab and OKLab computed
/// independently in double precision from the standards' matrices and cross-checked with colour-science 0.4.7.
const COLORS: [[f32; 12]; 11] = [
    [255.0, 255.0, 255.0, 1.0, 1.0, 1.0, 100.000004, -1.7e-05, 7e-06, 1.0, 0.0, 0.0],
    [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
    [128.0, 128.0, 128.0, 0.215861, 0.215861, 0.215861, 53.585016, -1e-05, 4e-06, 0.599871, 0.0, 0.0],
    [255.0, 0.0, 0.0, 1.0, 0.0, 0.0, 53.240794, 80.09246, 67.203197, 0.627955, 0.224863, 0.125846],
    [0.0, 255.0, 0.0, 0.0, 1.0, 0.0, 87.734722, -86.182716, 83.179321, 0.86644, -0.233888, 0.179498],
    [0.0, 0.0, 255.0, 0.0, 0.0, 1.0, 32.297011, 79.18752, -107.860162, 0.452014, -0.032457, -0.311528],
    [115.0, 82.0, 68.0, 0.171441, 0.084376, 0.057805, 38.01682, 11.79681, 13.664369, 0.470097, 0.03579, 0.03451],
    [30.0, 60.0, 120.0, 0.012983, 0.045186, 0.187821, 26.341449, 11.35899, -37.595313, 0.368823, -0.014389, -0.107868],
    [201.0, 181.0, 140.0, 0.584078, 0.462077, 0.262251, 74.419517, 0.953207, 23.537982, 0.779896, 0.005262, 0.059419],
    [10.0, 10.0, 10.0, 0.003035, 0.003035, 0.003035, 2.741748, -1e-06, 0.0, 0.144788, 0.0, 0.0],
    [64.0, 124.0, 231.0, 0.051269, 0.201556, 0.799103, 53.246151, 16.412089, -59.900425, 0.602264, -0.027377, -0.171784],
];

#[test]
fn srgb_lab_and_oklab() {
    for row in COLORS {
        let code: [f32; 3] = std::array::from_fn(|i| row[i]);
        let rgb = LinearRgb(code.map(|c| decode_srgb(c / 255.0)));
        for i in 0..3 {
            assert!((rgb.0[i] - row[3 + i]).abs() < 1e-5, "{code:?}: linear {rgb:?}");
            assert_eq!((encode_srgb(rgb.0[i]) * 255.0).round(), code[i], "{code:?}: does not come back");
        }
        let (lab, ok) = (Lab::from(rgb), OkLab::from(rgb));
        for (got, want) in [lab.l, lab.a, lab.b].into_iter().zip(&row[6..9]) {
            assert!((got - want).abs() < 0.02, "{code:?}: {lab:?}");
        }
        for (got, want) in [ok.l, ok.a, ok.b].into_iter().zip(&row[9..12]) {
            assert!((got - want).abs() < 1e-4, "{code:?}: {ok:?}");
        }
        let back = LinearRgb::from(ok);
        assert!((0..3).all(|i| (back.0[i] - rgb.0[i]).abs() < 2e-5), "{code:?}: OKLab and back gives {back:?}");
    }
}

/// glTF 2.0, 3.9.2 (metallic-roughness material): texel 64, 124, 231 with factor 0.2, 1.0, 0.7.
#[test]
fn gltf_texel_example() {
    let texel = [64.0f32, 124.0, 231.0].map(|c| decode_srgb(c / 255.0));
    for ((texel, factor), want) in texel.into_iter().zip([0.2, 1.0, 0.7]).zip([0.0102, 0.202, 0.5593]) {
        assert!((texel * factor - want).abs() < 5e-4, "{} is not {want}", texel * factor);
    }
}

/// Normal blends computed independently in double precision: reoriented (Barré-Brisebois, Hill, "Blending in Detail",
/// 2012) and the sum of slopes; base, detail, result.
const REORIENTED: &[[f32; 9]] = &[
    [0.0, 0.0, 1.0, 0.5, 0.0, 0.8660254, 0.5, 0.0, 0.8660254],
    [0.5, 0.0, 0.8660254, 0.0, 0.0, 1.0, 0.5, 0.0, 0.8660254],
    [0.34202014, 0.0, 0.93969262, 0.42261826, 0.0, 0.90630779, 0.70710678, 0.0, 0.70710678],
    [0.5, 0.0, 0.8660254, -0.5, 0.0, 0.8660254, 0.0, 0.0, 1.0],
    [0.5, 0.0, 0.8660254, 0.0, 0.5, 0.8660254, 0.4330127, 0.5, 0.75],
    [0.54167522, 0.45451948, 0.70710678, -0.3213938, 0.11697778, 0.93969262, 0.2259838, 0.57628212, 0.78538541],
    [0.8660254, 0.0, 0.5, 0.0, 0.8660254, 0.5, 0.4330127, 0.8660254, 0.25],
    [0.08583165, 0.01513444, 0.9961947, -0.01789995, -0.04917971, 0.99862953, 0.06791213, -0.03404873, 0.99711014],
];
const SLOPE_SUM: &[[f32; 9]] = &[
    [0.0, 0.0, 1.0, 0.5, 0.0, 0.8660254, 0.5, 0.0, 0.8660254],
    [0.5, 0.0, 0.8660254, 0.0, 0.0, 1.0, 0.5, 0.0, 0.8660254],
    [0.34202014, 0.0, 0.93969262, 0.42261826, 0.0, 0.90630779, 0.63879601, 0.0, 0.76937615],
    [0.5, 0.0, 0.8660254, -0.5, 0.0, 0.8660254, 0.0, 0.0, 1.0],
    [0.5, 0.0, 0.8660254, 0.0, 0.5, 0.8660254, 0.4472136, 0.4472136, 0.77459667],
    [0.54167522, 0.45451948, 0.70710678, -0.3213938, 0.11697778, 0.93969262, 0.31885095, 0.57696138, 0.75196385],
    [0.8660254, 0.0, 0.5, 0.0, 0.8660254, 0.5, 0.65465367, 0.65465367, 0.37796447],
    [0.08583165, 0.01513444, 0.9961947, -0.01789995, -0.04917971, 0.99862953, 0.06803744, -0.03395636, 0.99710474],
];

#[test]
fn normal_rules() {
    for (rule, table) in [(Rule::Combine, REORIENTED), (Rule::Add, SLOPE_SUM)] {
        for &[ax, ay, az, bx, by, bz, x, y, z] in table {
            let got = rule.apply(Normal([ax, ay, az]), Normal([bx, by, bz]), 1.0);
            let far = got.angle_to(Normal([x, y, z]));
            assert!(far < 1e-3, "{rule}: {got:?} is {far} rad from {:?}", [x, y, z]);
        }
    }
}

/// Porter, Duff, "Compositing Digital Images", 1984, as W3C "Compositing and Blending Level 1" states *over*; the rows
/// with an opaque backdrop, which is what a garment's map is: coverage, source, backdrop, result.
const OVER: &[[f32; 10]] =
    &[[0.25, 1.0, 0.5, 0.0, 0.1, 0.2, 0.3, 0.325, 0.275, 0.225], [0.6, 0.2, 0.4, 0.8, 0.9, 0.1, 0.3, 0.48, 0.28, 0.6]];

#[test]
fn replace_is_over() {
    for &[cover, sr, sg, sb, br, bg, bb, r, g, b] in OVER {
        let got = Rule::Replace.apply(LinearRgb([br, bg, bb]), LinearRgb([sr, sg, sb]), cover);
        for (got, want) in got.0.into_iter().zip([r, g, b]) {
            assert!((got - want).abs() < 1e-6, "cover {cover}: {got}, not {want}");
        }
    }
}

/// W3C "Compositing and Blending Level 1", multiply on an opaque backdrop: backdrop, source, result.
#[test]
fn multiply_at_full_strength_is_the_published_blend() {
    for [below, above, want] in [[0.2, 0.7, 0.14], [0.7, 0.2, 0.14], [0.0, 0.6, 0.0]] {
        let got = Rule::Multiply.apply(LinearRgb([below; 3]), LinearRgb([above; 3]), 1.0).0[0];
        assert!((got - want).abs() < 1e-6, "{below} under {above}: {got}");
    }
}

/// glTF 2.0 normal encoding (texel = round((n + 1) / 2 * full)): slopes right and up, then 8-bit and 16-bit codes.
const NORMAL_CODES: &[(f32, f32, [u8; 3], [u16; 3])] = &[
    (0.0, 0.0, [128, 128, 255], [32768, 32768, 65535]),
    (0.5, 0.0, [70, 128, 242], [18113, 32768, 62076]),
    (0.0, 0.5, [128, 70, 242], [32768, 18113, 62076]),
    (1.0, 1.0, [54, 54, 201], [13849, 13849, 51686]),
    (-0.2, 0.1, [152, 115, 252], [39163, 29570, 64745]),
    (0.5773502692, 0.0, [64, 128, 238], [16384, 32768, 61145]),
];

#[test]
fn normals_are_coded_as_gltf_says() {
    for &(p, q, eight, sixteen) in NORMAL_CODES {
        let map = Map::Normal(Image::filled(1, 1, Normal::from_slopes(p, q)));
        let coded = |depth| Stored::from_map(&map, &Coding::default(), depth).samples;
        assert_eq!(coded(Depth::Eight), Samples::U8(eight.to_vec()), "slopes {p} {q}");
        let Samples::U16(got) = coded(Depth::Sixteen) else { panic!("asked for 16 bits") };
        assert!(got.iter().zip(sixteen).all(|(a, b)| a.abs_diff(b) <= 1), "slopes {p} {q}: {got:?}, not {sixteen:?}");
    }
}
