//! Colours of cloth as made cameras photograph it, with and without something of known colour in view.

use std::error::Error;
use std::path::Path;

use tatter_capture::color::{Correction, Edition, GreyPick, chart, difference, grey};
use tatter_core::image::{Image, LinearRgb};
use tatter_core::rng::Rng;
use tatter_testkit::scene::{Spec, cloth, dyed};

use crate::photo::{jpeg, read_jpeg};
use crate::table::Table;

const COLOR: [(&str, usize); 6] = [
    ("chart before", 1),
    ("chart after", 1),
    ("cloth as photographed", 1),
    ("by a grey patch", 1),
    ("by a chart", 1),
    ("worst cloth by a chart", 1),
];
/// Quality of the camera's JPEG.
const QUALITY: u8 = 92;
/// Upper left corner of the chart and the side of a patch's cell, pixels.
const CHART: [usize; 2] = [24, 20];
const CELL: usize = 40;
/// Number of the middle grey patch and the share of light that it gives back (`algorithms.md` 6.3).
const GREY_PATCH: usize = 21;
const GREY_REFLECTANCE: f32 = 0.19;

/// A camera: its matrix, its exposure, how far its picture style bends tones.
type Camera = (&'static str, [[f32; 3]; 3], f32, f32);

const CAMERAS: [Camera; 5] = [
    ("true, one stop dark", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], 0.5, 0.0),
    ("under a bulb", [[1.3, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 0.5]], 0.65, 0.0),
    ("overlapping channels", [[0.72, 0.3, 0.06], [0.14, 0.88, 0.12], [0.03, 0.25, 0.62]], 0.7, 0.0),
    ("green cast", [[0.8, 0.05, 0.0], [0.06, 1.05, 0.05], [0.0, 0.08, 0.85]], 0.8, 0.0),
    ("picture style", [[0.9, 0.12, 0.0], [0.05, 0.95, 0.05], [0.0, 0.12, 0.75]], 0.75, 0.15),
];

/// Mean CIEDE2000 of five dyed cloths beside their true colour, and of the chart; photos go into the folder when there is one.
pub(crate) fn table(folder: Option<&Path>) -> Result<String, Box<dyn Error>> {
    let cloths = [
        ("undyed", cloth("canvas")),
        ("ochre", dyed("canvas", [0.42, 0.22, 0.06], [0.45, 0.25, 0.07])),
        ("indigo", dyed("linen", [0.03, 0.05, 0.16], [0.05, 0.07, 0.2])),
        ("madder", dyed("canvas", [0.33, 0.04, 0.03], [0.36, 0.05, 0.04])),
        ("weld green", dyed("linen", [0.12, 0.2, 0.04], [0.14, 0.22, 0.05])),
    ];
    let truths: Vec<Image<LinearRgb>> =
        cloths.into_iter().map(|(_, cloth)| with_chart(&Spec::new(cloth, 448, 8.0).soft().shoot().photo)).collect();
    let mut table = Table::new("camera", &COLOR);
    for (i, camera) in CAMERAS.iter().enumerate() {
        let mut each = Table::new("cloth", &COLOR);
        for (k, truth) in truths.iter().enumerate() {
            let file = jpeg(&taken(truth, camera, (10 * i + k) as u64), QUALITY)?;
            if let Some(folder) = folder {
                std::fs::write(folder.join(format!("camera-{i}-cloth-{k}.jpg")), &file)?;
            }
            each.row("", &row(truth, &read_jpeg(&file)?)?);
        }
        let mut means: [f32; 6] = std::array::from_fn(|c| each.mean(c));
        means[5] = each.most(5);
        eprintln!("{} {means:.2?}", camera.0);
        table.row(camera.0, &means);
    }
    Ok(table.with_means())
}

fn corners() -> [[f32; 2]; 4] {
    let [x, y] = CHART.map(|v| v as f32);
    let (w, h) = ((6 * CELL) as f32, (4 * CELL) as f32);
    [[x, y], [x + w, y], [x + w, y + h], [x, y + h]]
}

/// A chart lying on cloth.
fn with_chart(cloth: &Image<LinearRgb>) -> Image<LinearRgb> {
    let patches = Edition::Since2014.patches();
    Image::from_fn(cloth.width(), cloth.height(), |x, y| {
        let frame = CELL / 4;
        let within = |v: usize, at: usize, length: usize| v + frame >= at && v < at + length + frame;
        if !(within(x, CHART[0], 6 * CELL) && within(y, CHART[1], 4 * CELL)) {
            return cloth.get(x, y);
        }
        let (u, v) = (x.wrapping_sub(CHART[0]), y.wrapping_sub(CHART[1]));
        let gap = |t: usize| t % CELL < 2 || t % CELL >= CELL - 2;
        if u >= 6 * CELL || v >= 4 * CELL || gap(u) || gap(v) { LinearRgb([0.03; 3]) } else { patches[v / CELL * 6 + u / CELL] }
    })
}

fn taken(truth: &Image<LinearRgb>, (_, matrix, exposure, style): &Camera, seed: u64) -> Image<LinearRgb> {
    let mut rng = Rng::new(seed);
    let mut photo = truth.map(|light| {
        let seen = matrix.map(|row| exposure * (0..3).map(|i| row[i] * light.0[i]).sum::<f32>().max(0.0));
        LinearRgb(seen.map(|v| v * (1.0 + style * (1.0 - v.min(1.0)))))
    });
    for texel in photo.texels_mut() {
        *texel = LinearRgb(texel.0.map(|v| (v + 0.005 * (0.1 + v / 0.21).sqrt() * rng.normal()).clamp(0.0, 1.0)));
    }
    photo
}

fn row(truth: &Image<LinearRgb>, photo: &Image<LinearRgb>) -> Result<[f32; 6], Box<dyn Error>> {
    let by_chart = chart(photo, corners())?;
    let at = [GREY_PATCH % 6, GREY_PATCH / 6].map(|v| v * CELL + CELL / 2);
    let at = [0, 1].map(|c: usize| (CHART[c] + at[c]) as f32);
    let by_grey = grey(photo, &GreyPick { at, radius: Some(10.0), reflectance: GREY_REFLECTANCE })?;
    // Mean colours: threads of truth and photo lie on each other, but noise is none of the camera's colour.
    let mean = |image: &Image<LinearRgb>| {
        let below = image.height() - 120;
        let mut sum = [0.0f64; 3];
        for y in below..image.height() {
            for texel in image.row(y) {
                sum = std::array::from_fn(|c| sum[c] + f64::from(texel.0[c]));
            }
        }
        LinearRgb(sum.map(|v| (v / (120 * image.width()) as f64) as f32))
    };
    let (wanted, seen) = (mean(truth), mean(photo));
    let off = |got: LinearRgb| difference(&[got], &[wanted])[0];
    let exposed = Correction::Gains([wanted.luminance() / seen.luminance(); 3]);
    let chart_off = off(mean(&by_chart.correction.show(photo)));
    let grey_off = off(mean(&by_grey.correction.show(photo)));
    Ok([by_chart.before[0], by_chart.after[0], off(exposed.apply(seen)), grey_off, chart_off, chart_off])
}
