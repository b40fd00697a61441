//! Normals, dye and height from several lights, against worked numbers, closed forms and woven scenes.

use tatter_capture::lights::{Calibration, Flat, Lamp, Shots, Stereo, least_squares, solve, stereo};
use tatter_cloth::relief::{Integration, Lit, Relief, ReliefError, ReliefInput, integrate, lit_relief};
use tatter_core::angle::Angle;
use tatter_core::image::{Image, LinearRgb, Normal, Rect, Unit};
use tatter_core::kernel::normals_from_height;
use tatter_core::task::{Cancelled, Task};
use tatter_core::units::{Mm, MmPerTexel};
use tatter_testkit::scene::{self, Spec};
use tatter_testkit::{lamps, measures};
use tatter_weave::{Woven, shoot};

/// Lamps evenly around the cloth.
fn ring(count: usize, elevation_deg: f32) -> Vec<Lamp> {
    (0..count).map(|i| Lamp::far(lamps::toward(i, count, Angle::degrees(elevation_deg)))).collect()
}

fn gray(image: &Image<f32>) -> Image<LinearRgb> {
    image.map(|v| LinearRgb([v; 3]))
}

fn measure(shots: &Shots, mm: Option<f32>) -> Result<Stereo, Cancelled> {
    stereo(shots, Rect::whole(shots.size()), mm, &Task::new())
}

/// Worked numbers of Woodham 1980, least squares, four lights, no noise; computed by numpy's `lstsq`.
#[test]
fn worked_numbers_of_four_lights_come_out() {
    let lights = [[0.0, 0.0, 1.0], [0.6, 0.0, 0.8], [-0.3, 0.519_615_24, 0.8], [-0.3, -0.519_615_24, 0.8]];
    for (readings, normal, dye) in [
        ([0.5, 0.4, 0.4, 0.4], [0.0, 0.0, 1.0], 0.5),
        ([0.391_749_92, 0.388_999_94, 0.319_247_62, 0.231_952_26], [0.3, 0.2, 0.932_737_905_3], 0.42),
        ([0.688_186_02, 0.310_548_82, 0.712_118_04, 0.628_979_6], [-0.5, 0.1, 0.860_232_526_7], 0.8),
    ] {
        let fit = solve(&lights, &readings, u32::MAX, 0.0).unwrap();
        assert_eq!(fit.used, 15, "all four agree");
        assert!((fit.dye() - dye).abs() < 1e-6, "dye {} for {dye}", fit.dye());
        for (found, known) in fit.g.iter().zip(normal) {
            assert!((found / fit.dye() - known).abs() < 1e-6, "normal {:?} for {normal:?}", fit.g.map(|c| c / fit.dye()));
        }
    }
}

/// A matte ball of radius 60 pixels: its normals are known in closed form.
#[test]
fn a_ball_has_its_normals() {
    const SIDE: usize = 128;
    let ball = |x: usize, y: usize| -> Option<Normal> {
        let (u, v) = ((x as f32 - 63.5) / 60.0, (63.5 - y as f32) / 60.0);
        let rest = 1.0 - u * u - v * v;
        // Up to 60 degrees off the camera: beyond, most lamps are below its horizon.
        (rest > 0.25).then(|| Normal([u, v, rest.sqrt()]))
    };
    let truth = Image::from_fn(SIDE, SIDE, |x, y| ball(x, y).unwrap_or_default());
    let mask = Image::from_fn(SIDE, SIDE, |x, y| ball(x, y).is_some());
    for count in [4, 8, 16] {
        let mut shots = Shots::new(truth.size());
        for lamp in ring(count, 60.0) {
            let facing = |n: Normal| (0..3).map(|i| n.0[i] * lamp.toward[i]).sum::<f32>().max(0.0);
            shots.add(lamp, 1.0, &gray(&truth.map(|n| 0.7 * facing(n))), &Calibration::default());
        }
        let found = measure(&shots, None).unwrap();
        let off = measures::angle(&found.normal, &truth, &mask);
        assert!(off < 0.05, "{count} lights: {off} degrees, of 16-bit readings");
        let dye = found.color.zip(&mask, |c, m| if m { (c.0[1] - 0.7).abs() } else { 0.0 });
        let worst = dye.texels().iter().copied().fold(0.0, f32::max);
        assert!(worst < 2e-3, "{count} lights: dye off by {worst}");
    }
}

/// Height and its slopes right and down at a place, mm.
type Surface<'a> = dyn Fn(f64, f64) -> (f64, f64, f64) + 'a;

/// `normal_integration_analytic.csv`, measured with scipy 1.17 on 256² texels of 0.05 mm, slopes exact at texel centres: 1.286e-4 mm
/// for a product of sines, 4.216e-5 for a tilt with a bump; expected within 20 %.
#[test]
fn heights_of_closed_forms_come_back() {
    const TEXEL: f64 = 0.05;
    let tau = std::f64::consts::TAU;
    let place = |i: usize| (i as f64 + 0.5) * TEXEL;
    let waves = move |x: f64, y: f64| {
        let (k, a) = (tau / 1.6, 0.08);
        let (sx, sy) = ((k * x).sin(), (k * y).sin());
        (a * sx * sy, a * k * (k * x).cos() * sy, a * k * sx * (k * y).cos())
    };
    let bump = |x: f64, y: f64| {
        let (u, v) = (x - 5.0, y - 7.0);
        let hill = 2.0 * (-(u * u + v * v) / (2.0 * 1.5 * 1.5)).exp();
        (0.15 * x + hill, 0.15 - hill * u / 2.25, -hill * v / 2.25)
    };
    let known: [(&Surface<'_>, f64); 2] = [(&waves, 1.286e-4), (&bump, 4.216e-5)];
    for (surface, rms) in known {
        let mut texels = Vec::new();
        for y in 0..256 {
            for x in 0..256 {
                texels.push(surface(place(x), place(y)));
            }
        }
        // The file's y runs down, slopes here count upwards.
        let slopes = Image::from_vec(256, 256, texels.iter().map(|(_, p, q)| [*p as f32, -*q as f32]).collect());
        let found = integrate(&slopes, Integration { reach: None, detail: 0.0 });
        let mean = texels.iter().map(|(h, ..)| h).sum::<f64>() / texels.len() as f64;
        let sum =
            found.texels().iter().zip(&texels).map(|(f, (h, ..))| (f64::from(*f) * TEXEL - (h - mean)).powi(2)).sum::<f64>();
        let off = (sum / texels.len() as f64).sqrt();
        assert!(off < 1.2 * rms, "{off:e} mm, reference {rms:e}");
    }
}

/// A card under near lamps stays flat when their distances are told: without, it bends by w/2D (`algorithms.md` 3.4).
#[test]
fn near_lamps_do_not_bend_a_card() {
    let near = |distance| ring(8, 65.0).into_iter().map(move |lamp| Lamp { distance, ..lamp });
    let mm = 0.5;
    let card = |lamp: Lamp, dye: f32| {
        Image::from_fn(200, 200, |x, y| {
            let l = lamp.at([(x as f32 + 0.5 - 100.0) * mm, (100.0 - y as f32 - 0.5) * mm, 0.0]);
            LinearRgb([dye * l[2]; 3])
        })
    };
    let flat = Image::filled(200, 200, Normal::FLAT);
    let whole = Image::filled(200, 200, true);
    let mut off = Vec::new();
    for (told, with_card) in [(true, false), (false, false), (true, true)] {
        let mut shots = Shots::new(flat.size());
        for lamp in near(Some(Mm(500.0))) {
            let calibration = Calibration::new(None, with_card.then(|| Flat::Card(card(lamp, 0.5))).as_ref());
            let told = Lamp { distance: lamp.distance.filter(|_| told), by_card: with_card, ..lamp };
            shots.add(told, 1.0, &card(lamp, 0.4), &calibration);
        }
        let found = measure(&shots, Some(mm)).unwrap();
        off.push(measures::angle(&found.normal, &flat, &whole));
        if with_card {
            // Four fifths as bright as a card that reflects 0.9.
            let dye = found.color.get(30, 170).0[1];
            assert!((dye - 0.72).abs() < 2e-3, "dye {dye}, by the card");
        }
    }
    assert!(off[0] < 0.05 && off[2] < 0.05 && off[1] > 1.0, "{off:?} degrees: told, not told, told with cards");
}

/// A shot of woven cloth as a matte surface: cosines, sharp cast shadows, a dark frame's worth of stray light, noise.
fn matte(woven: &Woven, lamp: &Lamp, seed: u32) -> Image<LinearRgb> {
    let maps = &woven.maps;
    let (width, rows) = (maps.height.width(), maps.height.height());
    let top = maps.height.texels().iter().fold(f32::MIN, |top, h| top.max(h.0));
    let flat = lamp.toward[0].hypot(lamp.toward[1]);
    let (dx, dy) = (lamp.toward[0] / flat, -lamp.toward[1] / flat);
    let climb = lamp.toward[2] / flat * woven.scale.get();
    let lit = |x: usize, y: usize| {
        let mut far = 1.5f32;
        loop {
            let above = maps.height.get(x, y).0 + far * climb;
            let (px, py) = (x as f32 + 0.5 + far * dx, y as f32 + 0.5 + far * dy);
            if above > top || px < 0.0 || py < 0.0 || px >= width as f32 || py >= rows as f32 {
                return true;
            }
            if maps.height.bilinear(px, py).0 > above {
                return false;
            }
            far += 0.7;
        }
    };
    Image::from_fn(width, rows, |x, y| {
        let n = maps.normal.get(x, y).0;
        let facing = (0..3).map(|i| n[i] * lamp.toward[i]).sum::<f32>().max(0.0);
        let light = if lit(x, y) { facing } else { 0.0 };
        let dye = maps.base_color.get(x, y).0;
        LinearRgb([0, 1, 2].map(|c| (0.8 * dye[c] * light + 0.003 * noise(x, y, c as u32, seed)).max(0.0)))
    })
}

/// About normal, deviation 1: four bytes of a hash (Wellons, "Prospecting for Hash Functions", lowbias32).
fn noise(x: usize, y: usize, c: u32, seed: u32) -> f32 {
    let mut h = (x as u32) ^ (y as u32).wrapping_mul(0x9E37_79B9) ^ c.wrapping_mul(0x85EB_CA6B) ^ seed.wrapping_mul(0xC2B2_AE35);
    for (shift, factor) in [(16, 0x7feb_352d), (15, 0x846c_a68b)] {
        h = (h ^ (h >> shift)).wrapping_mul(factor);
    }
    h ^= h >> 16;
    let sum: f32 = h.to_le_bytes().into_iter().map(f32::from).sum();
    (sum - 510.0) / 147.8
}

fn mean(values: &[f32]) -> f32 {
    values.iter().sum::<f32>() / values.len().max(1) as f32
}

/// What plain least squares on all readings says.
fn plain(shots: &Shots) -> Image<Normal> {
    let lights: Vec<[f32; 3]> = shots.lamps().iter().map(|lamp| lamp.toward).collect();
    let size = shots.size();
    Image::from_fn(size.width, size.height, |x, y| {
        let readings: Vec<f32> = (0..lights.len()).map(|k| shots.reading(k, x, y).0.iter().sum()).collect();
        let fit = least_squares(&lights, &readings);
        fit.map_or(Normal::FLAT, |fit| Normal(fit.g.map(|c| c as f32)).normalized())
    })
}

/// Design §7: at most 3 degrees off on cloth at four lights and more. Eight woven cloths, matte, 65 degrees, with cast shadows and noise.
#[test]
fn matte_cloth_is_measured_to_three_degrees() {
    for count in [4, 8, 16] {
        let (mut ours, mut theirs, mut derived, mut dyes) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        for (_, cloth, pitch) in scene::cloths() {
            let woven = Spec::new(cloth, 160, pitch).weave();
            let mut shots = Shots::new(woven.maps.height.size());
            for (i, lamp) in ring(count, 65.0).into_iter().enumerate() {
                shots.add(lamp, 1.0, &matte(&woven, &lamp, i as u32), &Calibration::default());
            }
            let mask = measures::closed(&woven.maps.opacity);
            let found = measure(&shots, None).unwrap();
            ours.push(measures::angle(&found.normal, &woven.maps.normal, &mask));
            theirs.push(measures::angle(&plain(&shots), &woven.maps.normal, &mask));
            let relief = raised(&found, &woven, pitch, count).unwrap();
            derived.push(measures::angle(&relief.normal, &woven.maps.normal, &mask));
            dyes.push(measures::color_difference(&found.color, &woven.maps.base_color, &mask));
        }
        assert!(mean(&dyes) < 1.0, "{count} lights: dye off by {:.2} (CIEDE2000), {dyes:.2?}", mean(&dyes));
        assert!(mean(&derived) <= 3.0, "{count} lights: {:.2} degrees in the patch, {derived:.2?}", mean(&derived));
        assert!(mean(&ours) <= 3.0, "{count} lights: {:.2} degrees, {ours:.2?}", mean(&ours));
        assert!(
            mean(&ours) <= mean(&theirs),
            "{count} lights: {:.2} degrees, plain least squares {:.2}",
            mean(&ours),
            mean(&theirs)
        );
    }
}

fn raised(found: &Stereo, woven: &Woven, pitch: f32, shots: usize) -> Result<Relief, ReliefError> {
    let size = found.normal.size();
    let cover = Image::filled(size.width, size.height, Unit(1.0));
    let mut input = ReliefInput::new(&cover, &woven.maps.opacity, woven.scale);
    input.pitch_px = Some([pitch; 2]);
    lit_relief(&Lit { normal: &found.normal, color: &found.color, shots, near: false }, &input, &Task::new())
}

/// The scenes of the scoreboard under a lamp 3 degrees wide: light goes on around edges of shadow, fuzz and fibres shine, the lens is
/// soft, the sensor noisy. No plain matte surface explains that; least squares is off as well.
#[test]
fn made_photographs_are_measured() {
    for count in [4, 8, 16] {
        let (mut ours, mut theirs, mut alike) = (Vec::new(), Vec::new(), Vec::new());
        for (_, cloth, pitch) in scene::cloths() {
            let woven = Spec::new(cloth, 192, pitch).weave();
            let mut shots = Shots::new(woven.maps.height.size());
            for (i, lamp) in ring(count, 65.0).into_iter().enumerate() {
                let shot = lamps::shot(i, count, lamp.elevation());
                let taken = shoot(&woven.maps, woven.scale, &shot, &Task::new()).unwrap();
                shots.add(lamp, 1.0, &taken.photo, &Calibration::default());
            }
            let truth = measures::woven_normals(&woven.maps.height, woven.scale);
            let mask = measures::closed(&woven.maps.opacity);
            let found = measure(&shots, None).unwrap();
            ours.push(measures::angle(&found.normal, &truth, &mask));
            theirs.push(measures::angle(&plain(&shots), &truth, &mask));
            let relief = raised(&found, &woven, pitch, count).unwrap();
            alike.push(measures::correlation(&relief.height, &woven.maps.height, &mask));
        }
        // What is off is the model, in nearly all readings alike: leaving some out neither helps nor harms.
        assert!(mean(&ours) <= 1.03 * mean(&theirs), "{count} lights: {:.2} degrees, plain {:.2}", mean(&ours), mean(&theirs));
        assert!(mean(&alike) > 0.9, "{count} lights: heights alike to {:.3}, {alike:.3?}", mean(&alike));
    }
}

/// Slow slopes of the normals are those of the height, on cloth; in openings all are.
#[test]
fn height_and_normal_agree() {
    let lean = 0.1;
    let normal =
        Image::from_fn(96, 96, |x, y| Normal::from_slopes((x as f32 * 0.7).sin() * 0.4 + lean, (y as f32 * 0.6).cos() * 0.3));
    let color = Image::filled(96, 96, LinearRgb([0.4; 3]));
    let cover = Image::filled(96, 96, Unit(1.0));
    let opacity = Image::from_fn(96, 96, |x, _| Unit(if x < 80 { 1.0 } else { 0.0 }));
    let mut input = ReliefInput::new(&cover, &opacity, MmPerTexel(0.1));
    input.pitch_px = Some([9.0; 2]);
    let relief = lit_relief(&Lit { normal: &normal, color: &color, shots: 8, near: true }, &input, &Task::new()).unwrap();
    let of_height = normals_from_height(&relief.height, MmPerTexel(0.1));
    let within = |part: Rect| Image::from_fn(96, 96, |x, y| part.contains(x, y));
    let (cloth, open) = (within(Rect::new(8, 8, 56, 80)), within(Rect::new(84, 8, 12, 80)));
    let same = relief.normal.zip(&of_height, |a, b| a == b);
    assert!(same.zip(&open, |same, open| same || !open).texels().iter().all(|fine| *fine), "nothing was measured in an opening");
    assert!(measures::angle(&relief.normal, &of_height, &cloth) < 3.0, "fine slopes are nearly held by the height");
    let slow = |image: &Image<Normal>| {
        let sum: f32 = (16..60).flat_map(|y| (16..60).map(move |x| (x, y))).map(|(x, y)| image.get(x, y).slopes().0).sum();
        sum / 44.0 / 44.0
    };
    let (a, b) = (slow(&relief.normal), slow(&of_height));
    assert!((a - b).abs() < 0.01 && a.abs() < 0.5 * lean, "the cloth lies flat in both: {a} {b}");
}
