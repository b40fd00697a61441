//! `cut --chart`, `--grey` and `--flat`.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use tatter::color::Edition;
use tatter_core::color::{Lab, ciede2000};
use tatter_core::image::{Coding, Depth, Image, LinearRgb, Map, Stored, Transfer};
use tatter_core::model::Patch;
use tatter_core::task::Task;
use tatter_files::limits::Limits;
use tatter_files::patch::read_patch;
use tatter_files::picture::encode_jpeg_photo;
use tatter_weave::{Damage, Kind, PatchSpec, Shot, shoot, stock, weave_patch};

use crate::workshop::{Tried, Workshop};

const SIDE: usize = 480;
/// Upper left corner of the chart and side of a patch's cell, pixels.
const CHART: [usize; 2] = [20, 20];
const CELL: usize = 30;
/// Corners as the command line counts, from the first pixel's centre.
const CORNERS: &str = "19.5,19.5,199.5,19.5,199.5,139.5,19.5,139.5";

/// Canvas with a moth hole, a chart lying on it.
fn cloth() -> Tried<Image<LinearRgb>> {
    let hole = Damage { length: 9.0, at: [10.0, -12.0], ..Damage::new(Kind::MothHole) };
    let spec = PatchSpec {
        cloth: stock("canvas").ok_or("a canvas")?,
        side: SIDE,
        width_mm: 48.0,
        damage: vec![hole],
        grain: tatter_core::angle::Angle::degrees(90.0),
        seed: 2,
    };
    let (woven, _) = weave_patch(&spec, &Task::new())?;
    let shot = Shot { ripple_mm: 0.0, ..Shot::default() };
    let cloth = shoot(&woven.maps, woven.scale, &shot, &Task::new())?.photo;
    let patches = Edition::Since2014.patches();
    Ok(Image::from_fn(SIDE, SIDE, |x, y| {
        let (u, v) = (x.wrapping_sub(CHART[0]), y.wrapping_sub(CHART[1]));
        let gap = |t: usize| t % CELL < 2 || t % CELL >= CELL - 2;
        if u >= 6 * CELL || v >= 4 * CELL {
            cloth.get(x, y)
        } else if gap(u) || gap(v) {
            LinearRgb([0.03; 3])
        } else {
            patches[v / CELL * 6 + u / CELL]
        }
    }))
}

/// Through a camera under a bulb.
fn cast(light: &Image<LinearRgb>) -> Image<LinearRgb> {
    light.map(|c| {
        let [r, g, b] = c.0;
        LinearRgb(
            [0.75 * r + 0.15 * g, 0.08 * r + 0.68 * g + 0.04 * b, 0.02 * r + 0.1 * g + 0.34 * b].map(|v: f32| v.clamp(0.0, 1.0)),
        )
    })
}

fn save(shop: &Workshop, name: &str, color: &Image<LinearRgb>) -> Tried<()> {
    let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
    let stored = Stored::from_map(&Map::Color(color.clone()), &coding, Depth::Eight);
    Ok(std::fs::write(shop.path(name), encode_jpeg_photo(&stored, 94)?)?)
}

fn cloth_color(patch: &Patch) -> Tried<Lab> {
    Ok(Lab::from(patch.cloth_color.ok_or("a cloth colour")?))
}

#[test]
fn a_chart_or_a_grey_place_gives_the_cloth_its_colour_back() -> Tried<()> {
    let shop = Workshop::new()?;
    let light = cloth()?;
    save(&shop, "true.jpg", &light)?;
    save(&shop, "cast.jpg", &cast(&light))?;
    let cut = |photo: &str, name: &str, more: &[&str]| -> Tried<(Patch, serde_json::Value)> {
        let run =
            shop.run(&[&["cut", photo, "-o", name, "--width-mm", "48", "--json", "--around", "340,360,60"][..], more].concat())?;
        assert_eq!(run.code, Some(0), "{}", run.err);
        Ok((read_patch(&shop.path(name), &Limits::default())?, run.json()?))
    };
    let chart = ["--chart", CORNERS];
    // The cloth's colour is that around the hole, away from the chart.
    let (truth, report) = cut("true.jpg", "true.patch", &chart)?;
    assert!(report["color"]["de00_after"][0].as_f64().ok_or("a difference")? < 1.0, "{report}");
    let (plain, report) = cut("cast.jpg", "plain.patch", &[])?;
    assert!(report["color"].is_null(), "nothing corrected: {report}");
    let (by_chart, report) = cut("cast.jpg", "chart.patch", &chart)?;
    // Found by itself it is the same chart, and as good.
    let (by_itself, found) = cut("cast.jpg", "found.patch", &["--chart", "find"])?;
    let marked: Vec<f64> = CORNERS.split(',').map(str::parse).collect::<Result<_, _>>()?;
    let seen: Vec<f64> = found["color"]["corners"]
        .as_array()
        .ok_or("corners")?
        .iter()
        .flat_map(|c| [c[0].as_f64(), c[1].as_f64()])
        .flatten()
        .collect();
    assert!(seen.len() == 8 && seen.iter().zip(&marked).all(|(a, b)| (a - b).abs() < 1.5), "{seen:?}, marked {marked:?}");
    let apart = ciede2000(cloth_color(&by_itself)?, cloth_color(&by_chart)?);
    assert!(apart < 0.2, "the cloth's colour is {apart} from that by marked corners");
    let (before, after) = (&report["color"]["de00_before"][0], &report["color"]["de00_after"][0]);
    assert!(before.as_f64() > Some(8.0) && after.as_f64() < Some(1.2), "{report}");
    // The middle grey patch, the fourth of the last row, gives back 0.19.
    let (by_grey, report) = cut("cast.jpg", "grey.patch", &["--grey", "124.5,124.5,8", "--grey-reflectance", "0.19"])?;
    assert_eq!(report["color"]["by"], "grey", "{report}");
    let off = |patch: &Patch| -> Tried<f32> { Ok(ciede2000(cloth_color(patch)?, cloth_color(&truth)?)) };
    let (plain, by_chart, by_grey) = (off(&plain)?, off(&by_chart)?, off(&by_grey)?);
    assert!(plain > 4.0 && by_chart < 1.0 && by_grey < plain, "as photographed {plain}, by chart {by_chart}, by grey {by_grey}");
    let toml = std::fs::read_to_string(shop.path("chart.patch/patch.toml"))?;
    for line in ["color_correction = \"24-patch chart", "color_factors = ", "how = \"corrected by a 24-patch chart"] {
        assert!(toml.contains(line), "{line} in {toml}");
    }
    let check = shop.run(&["check", "chart.patch"])?;
    assert!(check.out.contains("chart.patch: colour by 24-patch chart"), "{}", check.out);
    Ok(())
}

/// The published values of the chart are the outside truth; the cloth's true colour is its mean in the light before the camera.
#[test]
fn measure_tells_the_colour_of_the_cloth_under_a_chart() -> Tried<()> {
    let shop = Workshop::new()?;
    let light = cloth()?;
    save(&shop, "cast.jpg", &cast(&light))?;
    let mut truth = [0.0f64; 3];
    // Beside the chart and its frame, which reaches an eighth of its size beyond it.
    let beside = |x: usize, y: usize| x > CHART[0] + 7 * CELL || y > CHART[1] + 5 * CELL;
    let places: Vec<(usize, usize)> = (0..SIDE * SIDE).map(|i| (i % SIDE, i / SIDE)).filter(|(x, y)| beside(*x, *y)).collect();
    places.iter().for_each(|(x, y)| (0..3).for_each(|c| truth[c] += f64::from(light.get(*x, *y).0[c]) / places.len() as f64));
    let truth = Lab::from(LinearRgb(truth.map(|v| v as f32)));
    let color = |more: &[&str]| -> Tried<(f32, serde_json::Value)> {
        let report = shop.run(&[&["measure", "cast.jpg", "--json"][..], more].concat())?.json()?;
        let lab: Vec<f32> = serde_json::from_value(report["cloth_color"]["lab"].clone())?;
        Ok((ciede2000(Lab { l: lab[0], a: lab[1], b: lab[2] }, truth), report))
    };
    let (plain, _) = color(&[])?;
    let (marked, report) = color(&["--chart", CORNERS])?;
    let (found, _) = color(&["--chart", "find"])?;
    let (grey, _) = color(&["--grey", "124.5,124.5,8", "--grey-reflectance", "0.19"])?;
    assert_eq!(report["color"]["by"], "chart", "{report}");
    assert!(plain > 4.0 && marked < 0.5 && found < 0.5 && grey < plain, "{plain}, marked {marked}, found {found}, grey {grey}");
    let people = shop.run(&["measure", "cast.jpg", "--chart", "find"])?;
    assert!(people.out.contains("colour in the mean #") && people.out.contains("24-patch chart"), "{}", people.out);
    let none = shop.run(&["measure", "cast.jpg", "--chart", "300,300,400,300,400,380,300,380"])?;
    assert!(none.code == Some(2) && none.err.lines().count() <= 3, "no chart there: {:?} {}", none.code, none.err);
    Ok(())
}

/// A vignette is evened out by a shot of a card through the same lens.
#[test]
fn a_flat_field_evens_the_light() -> Tried<()> {
    let shop = Workshop::new()?;
    let fall = |x: usize, y: usize| {
        let [u, v] = [x, y].map(|v| v as f32 / SIDE as f32 - 0.5);
        1.0 - 0.9 * (u * u + v * v)
    };
    let light = cloth()?;
    let dim = |image: &Image<LinearRgb>| Image::from_fn(SIDE, SIDE, |x, y| LinearRgb(image.get(x, y).0.map(|v| v * fall(x, y))));
    save(&shop, "vignette.jpg", &dim(&light))?;
    save(&shop, "card.jpg", &dim(&Image::filled(SIDE, SIDE, LinearRgb([0.8; 3]))))?;
    let after = |more: &[&str]| -> Tried<f64> {
        let run = shop.run(
            &[
                &[
                    "cut",
                    "vignette.jpg",
                    "-o",
                    "new.patch",
                    "--width-mm",
                    "48",
                    "--json",
                    "--around",
                    "340,360,60",
                    "--chart",
                    CORNERS,
                ][..],
                more,
            ]
            .concat(),
        )?;
        assert_eq!(run.code, Some(0), "{}", run.err);
        run.json()?["color"]["de00_after"][0].as_f64().ok_or_else(|| "a difference".into())
    };
    let (dimmed, even) = (after(&[])?, after(&["--flat", "card.jpg"])?);
    assert!(even < 1.0 && even < 0.6 * dimmed, "evened {even}, as photographed {dimmed}");
    Ok(())
}

#[test]
fn what_corrects_nothing_is_refused_and_leaves_nothing() -> Tried<()> {
    let shop = Workshop::new()?;
    let light = cloth()?;
    save(&shop, "true.jpg", &light)?;
    save(&shop, "burnt.jpg", &light.map(|c| LinearRgb(c.0.map(|v| (5.0 * v).min(1.0)))))?;
    save(&shop, "small.jpg", &light.crop(tatter_core::image::Rect::new(0, 0, 100, 100)))?;
    save(&shop, "plain.jpg", &light.crop(tatter_core::image::Rect::new(200, 160, 280, 320)))?;
    let before = shop.files()?;
    let tried: [(&str, &[&str], i32, &str); 10] = [
        ("plain.jpg", &["--chart", "find"], 2, "no 24-patch chart (6 × 4) was found"),
        ("true.jpg", &["--chart", "found"], 2, "write 'find'"),
        ("true.jpg", &["--chart", "300,300,470,300,470,470,300,470"], 2, "not those of a 24-patch chart"),
        ("true.jpg", &["--chart", "300,300,900,300,900,470,300,470"], 2, "outside"),
        ("burnt.jpg", &["--chart", CORNERS], 2, "burnt out"),
        ("true.jpg", &["--grey", "900,10"], 2, "outside"),
        ("true.jpg", &["--grey", "20"], 2, "--grey"),
        ("true.jpg", &["--grey-reflectance", "0.5"], 2, "--grey"),
        ("true.jpg", &["--flat", "small.jpg"], 2, "100"),
        ("true.jpg", &["--flat", "nowhere.jpg"], 3, "nowhere.jpg"),
    ];
    for (photo, more, code, words) in tried {
        let run = shop.run(&[&["cut", photo, "-o", "new.patch", "--width-mm", "48"][..], more].concat())?;
        assert_eq!((run.code, run.out.as_str()), (Some(code), ""), "{more:?}: {}", run.err);
        assert!(run.err.contains(words), "{more:?}: {}", run.err);
    }
    assert!(before == shop.files()?, "nothing was written");
    Ok(())
}
