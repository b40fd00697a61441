//! Colours from a 24-patch chart: published values, a reference library's fit, and charts photographed by made cameras.
//!
//! `fixtures/chart` is written by `tools/chart_reference.py` (colour-science).

use tatter_capture::color::{ColorError, Correction, Edition, Form, PATCHES, chart, difference, find_chart, fit};
use tatter_capture::photo::Homography;
use tatter_core::color::encode_srgb;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::rng::Rng;

const PATCH_VALUES: &str = include_str!("fixtures/chart/patches.csv");
const FIT: &str = include_str!("fixtures/chart/fit.csv");

fn rows(text: &str) -> Vec<Vec<&str>> {
    text.lines().filter(|line| !line.starts_with('#')).skip(1).map(|line| line.split(',').collect()).collect()
}

fn numbers(cells: &[&str]) -> Vec<f32> {
    let read: Vec<f32> = cells.iter().filter_map(|cell| cell.parse().ok()).collect();
    assert_eq!(read.len(), cells.len(), "numbers: {cells:?}");
    read
}

/// The library adapts by Bradford from the whitepoints' chromaticities, we by the published matrix: the fourth digit may differ.
#[test]
fn patches_are_the_published_ones() {
    let all = rows(PATCH_VALUES);
    assert_eq!(all.len(), 2 * PATCHES, "two editions");
    for row in all {
        let edition = if row[0] == "after" { Edition::Since2014 } else { Edition::Before2014 };
        let patch = edition.patches()[row[1].parse::<usize>().unwrap()];
        let wanted = numbers(&row[5..8]);
        for (c, wanted) in wanted.iter().enumerate() {
            assert!((patch.0[c] - wanted).abs() < 6e-4, "{row:?}: {patch:?}");
        }
    }
}

/// Plain least squares, as the library does it.
#[test]
fn a_root_polynomial_is_the_librarys() {
    let rows: Vec<Vec<f32>> = rows(FIT).iter().map(|row| numbers(row)).collect();
    let rgb = |from: usize| rows.iter().map(|row| LinearRgb([row[from], row[from + 1], row[from + 2]])).collect::<Vec<_>>();
    let (seen, wanted) = (rgb(0), Edition::Since2014.patches().to_vec());
    let found = fit(Form::RootPolynomial, &seen, &wanted, &[1.0; PATCHES]).unwrap();
    for (seen, theirs) in seen.iter().zip(rgb(3)) {
        let ours = found.apply(*seen);
        for c in 0..3 {
            assert!((ours.0[c] - theirs.0[c].max(0.0)).abs() < 2e-3, "{seen:?}: ours {ours:?}, the library's {theirs:?}");
        }
        // Twice the light is twice the colour (Finlayson and others, 2015, section III).
        let twice = found.apply(LinearRgb(seen.0.map(|v| 2.0 * v)));
        for c in 0..3 {
            assert!((twice.0[c] - 2.0 * ours.0[c]).abs() < 1e-5, "exposure changes no hue: {twice:?}, {ours:?}");
        }
    }
}

/// What a camera makes of light.
struct Camera {
    what: &'static str,
    matrix: [[f32; 3]; 3],
    exposure: f32,
    /// How much it bends tones, as a picture style does.
    style: f32,
}

impl Camera {
    fn seen(&self, light: LinearRgb) -> LinearRgb {
        let seen = self.matrix.map(|row| self.exposure * (0..3).map(|i| row[i] * light.0[i]).sum::<f32>().max(0.0));
        LinearRgb(seen.map(|v| v * (1.0 + self.style * (1.0 - v.min(1.0)))))
    }
}

const CAMERAS: [Camera; 4] = [
    Camera { what: "true", matrix: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], exposure: 0.9, style: 0.0 },
    Camera { what: "lamp light", matrix: [[1.25, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 0.55]], exposure: 0.6, style: 0.0 },
    Camera {
        what: "overlapping channels",
        matrix: [[0.72, 0.3, 0.06], [0.14, 0.88, 0.12], [0.03, 0.25, 0.62]],
        exposure: 0.7,
        style: 0.0,
    },
    Camera {
        what: "with a picture style",
        matrix: [[0.9, 0.12, 0.0], [0.05, 0.95, 0.05], [0.0, 0.12, 0.75]],
        exposure: 0.75,
        style: 0.15,
    },
];

/// A chart with gaps a tenth of a patch wide in a dark frame, on grey cloth; its corners are those of the patches.
fn photo(camera: &Camera, photo_from_cell: &Homography, seed: u64) -> Image<LinearRgb> {
    let back = photo_from_cell.inverse();
    let patches = Edition::Since2014.patches();
    let mut rng = Rng::new(seed);
    let exact = Image::from_fn(640, 480, |x, y| {
        let [u, v] = back.at([x as f64 + 0.5, y as f64 + 0.5]);
        let edge = |t: f64| (t - t.floor() - 0.5).abs() > 0.45;
        let light = if u > 0.0 && v > 0.0 && u < 6.0 && v < 4.0 {
            if edge(u) || edge(v) { LinearRgb([0.03; 3]) } else { patches[v as usize * 6 + u as usize] }
        } else if u > -0.3 && v > -0.3 && u < 6.3 && v < 4.3 {
            LinearRgb([0.03; 3])
        } else {
            LinearRgb([0.3; 3])
        };
        camera.seen(light)
    });
    let mut noisy = exact;
    for texel in noisy.texels_mut() {
        let sensor = texel.0.map(|v| (v + 0.006 * (0.1 + v / 0.21).sqrt() * rng.normal()).clamp(0.0, 1.0));
        *texel = LinearRgb::from_codes(sensor.map(|v| (255.0 * encode_srgb(v)).round() as u8));
    }
    noisy
}

fn seen_from(degrees: f64) -> Homography {
    let turned = Homography::turn(degrees.to_radians(), 1.0, [3.0, 2.0]);
    Homography([[50.0, 3.0, 150.0], [-2.0, 49.0, 130.0], [0.01, -0.012, 1.0]]).after(&turned)
}

fn corners(photo_from_cell: &Homography, out: f64) -> [[f32; 2]; 4] {
    [[-out, -out], [6.0 + out, -out], [6.0 + out, 4.0 + out], [-out, 4.0 + out]].map(|c| photo_from_cell.at(c).map(|v| v as f32))
}

#[test]
fn made_cameras_are_corrected_whichever_way_the_chart_lies() {
    let truth = Edition::Since2014.patches();
    for (i, camera) in CAMERAS.iter().enumerate() {
        let place = seen_from([0.0, 12.0, 90.0, 180.0][i]);
        let photo = photo(camera, &place, i as u64);
        for (first, out) in [(0, 0.0), (1, 0.0), (2, 0.3), (3, 0.3)] {
            let marked = corners(&place, out);
            let turned = std::array::from_fn(|k| marked[(k + first) % 4]);
            let found = chart(&photo, turned).unwrap_or_else(|error| panic!("{}: {error}", camera.what));
            let text = format!("{}, first corner {first}, {out} out: {found:?}", camera.what);
            assert_eq!(found.edition, Edition::Since2014, "{text}");
            let (mean, most) = if camera.style > 0.0 { (2.0, 6.0) } else { (0.7, 2.5) };
            assert!(found.after[0] < mean && found.after[1] < most, "{text}");
            assert!(i == 0 || found.before[0] > 2.0 * found.after[0], "{text}");
            // What the camera makes of the true colours, corrected, is the true colours: noise was averaged out.
            let bare: Vec<LinearRgb> = truth.iter().map(|light| found.correction.apply(camera.seen(*light))).collect();
            let [mean_off, _] = difference(&bare, &truth);
            assert!(mean_off < mean, "{mean_off}: {text}");
        }
    }
}

#[test]
fn no_chart_and_a_burnt_one_are_refused() {
    let place = seen_from(0.0);
    let good = photo(&CAMERAS[0], &place, 1);
    let cloth = [[10.0, 400.0], [80.0, 400.0], [80.0, 470.0], [10.0, 470.0]];
    assert!(matches!(chart(&good, cloth), Err(ColorError::ChartUnlike { .. })), "cloth is no chart: {:?}", chart(&good, cloth));
    let burnt = good.map(|c| LinearRgb(c.0.map(|v| (4.0 * v).min(1.0))));
    let all = corners(&place, 0.0);
    assert!(
        matches!(chart(&burnt, all), Err(ColorError::ChartBurnt { patches }) if patches > 3),
        "{:?}",
        chart(&burnt, all).err()
    );
    assert_eq!(
        chart(&good, [[-5.0, 0.0], [80.0, 0.0], [80.0, 60.0], [0.0, 60.0]]).err(),
        Some(ColorError::ChartOutside),
        "outside"
    );
    let crossed = [all[0], all[2], all[1], all[3]];
    assert_eq!(chart(&good, crossed).err(), Some(ColorError::ChartCorners), "sides that cross");
    assert!(
        matches!(
            chart(&good, all).map(|found| found.correction),
            Ok(Correction::Gains(_) | Correction::Matrix(_) | Correction::RootPolynomial(_))
        ),
        "and the chart itself is taken"
    );
}

fn farthest(found: [[f32; 2]; 4], wanted: [[f32; 2]; 4]) -> f32 {
    let turned = |turn: usize| (0..4).map(move |k| (found[(k + turn) % 4], wanted[k]));
    let far = |turn| turned(turn).map(|(a, b)| (a[0] - b[0]).hypot(a[1] - b[1])).fold(0.0, f32::max);
    (0..4).map(far).fold(f32::INFINITY, f32::min)
}

/// Light that falls off by half across the photo.
fn uneven(photo: &Image<LinearRgb>) -> Image<LinearRgb> {
    let share = |x: usize| 1.0 - 0.5 * x as f32 / photo.width() as f32;
    Image::from_fn(photo.width(), photo.height(), |x, y| LinearRgb(photo.get(x, y).0.map(|v| v * share(x))))
}

/// Four cameras, six turns each, even and uneven light: found, in its place, and as good as by hand.
#[test]
fn a_chart_is_found_whichever_way_it_lies() {
    let (mut worst, mut apart, mut left) = (0.0f32, 0.0f32, 0.0f32);
    for (i, camera) in CAMERAS.iter().enumerate() {
        for turn in 0..6 {
            let degrees = 60.0 * f64::from(turn) + 15.0 * i as f64;
            let place = seen_from(degrees);
            let even = photo(camera, &place, 100 * i as u64 + turn as u64);
            for photo in [&even, &uneven(&even)] {
                let text = format!("{}, turned {degrees} degrees", camera.what);
                let found = find_chart(photo).unwrap_or_else(|error| panic!("{text}: {error}"));
                let by_hand = chart(photo, corners(&place, 0.0)).unwrap_or_else(|error| panic!("{text}: {error}"));
                worst = worst.max(farthest(found.corners, corners(&place, 0.0)));
                left = left.max(found.left_one_out);
                // What either makes of what the camera makes of the true colours.
                let shown = |fit: &tatter_capture::color::ChartFit| -> Vec<LinearRgb> {
                    Edition::Since2014.patches().iter().map(|light| fit.correction.apply(camera.seen(*light))).collect()
                };
                let [mean, _] = difference(&shown(&found), &shown(&by_hand));
                apart = apart.max(mean);
            }
        }
    }
    assert!(
        worst < 1.0 && apart < 0.3 && left < 3.0,
        "corners off by {worst} pixels, fits apart by {apart}, patches foretold to {left} (CIEDE2000)"
    );
}

/// A quilt of squares in colours of chance, with gaps as a chart has them.
fn quilt(seed: u64) -> Image<LinearRgb> {
    let mut rng = Rng::new(seed);
    let squares: Vec<LinearRgb> = (0..12 * 9).map(|_| LinearRgb(std::array::from_fn(|_| 0.02 + 0.8 * rng.unit()))).collect();
    Image::from_fn(640, 480, |x, y| {
        let gap = |t: usize| t % 52 < 4;
        if gap(x) || gap(y) { LinearRgb([0.03; 3]) } else { squares[(y / 52).min(8) * 12 + (x / 52).min(11)] }
    })
}

#[test]
fn what_is_no_chart_is_not_found() {
    for seed in 0..40 {
        let found = find_chart(&quilt(seed));
        assert!(matches!(found, Err(ColorError::ChartNotFound { .. })), "quilt {seed}: {found:?}");
    }
    let place = seen_from(20.0);
    let good = photo(&CAMERAS[0], &place, 3);
    let mirrored = Image::from_fn(640, 480, |x, y| good.get(639 - x, y));
    assert!(matches!(find_chart(&mirrored), Err(ColorError::ChartNotFound { .. })), "mirrored: {:?}", find_chart(&mirrored));
    let burnt = good.map(|c| LinearRgb(c.0.map(|v| (4.0 * v).min(1.0))));
    assert!(matches!(find_chart(&burnt), Err(ColorError::ChartNotFound { .. })), "burnt out: {:?}", find_chart(&burnt));
    let twice = Image::from_fn(1280, 480, |x, y| good.get(x % 640, y));
    assert_eq!(find_chart(&twice).err(), Some(ColorError::ChartTwice), "two charts");
    let covered = Image::from_fn(640, 480, |x, y| if y > 260 { LinearRgb([0.3; 3]) } else { good.get(x, y) });
    assert!(matches!(find_chart(&covered), Err(ColorError::ChartNotFound { .. })), "half covered: {:?}", find_chart(&covered));
}
