//! PNG as its specification (third edition) has it: every colour type, depth, filter and interlacing, colour tags, and our
//! own files as the `png` crate reads them.

use std::error::Error;
use std::io::Cursor;

use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureFormat, decode_stored, encode, read_photo};

type Checked<T> = Result<T, Box<dyn Error>>;

/// A PNG written by hand from the specification, independent of any encoder.
struct ByHand {
    width: usize,
    height: usize,
    color: u8,
    depth: u8,
    interlaced: bool,
    palette: Vec<u8>,
    transparency: Vec<u8>,
}

impl ByHand {
    const fn channels(&self) -> usize {
        match self.color {
            2 => 3,
            4 => 2,
            6 => 4,
            _ => 1,
        }
    }

    /// The sample of a place: any value of the depth, different between neighbours.
    fn sample(&self, x: usize, y: usize, channel: usize) -> u16 {
        let most = if self.color == 3 { self.palette.len() / 3 } else { 1 << self.depth };
        ((x * 7919 + y * 104_729 + channel * 31 + x * y) % most) as u16
    }

    /// The passes of Adam7 (8.1): first column, first row, column step, row step.
    fn passes(&self) -> Vec<[usize; 4]> {
        if self.interlaced {
            vec![[0, 0, 8, 8], [4, 0, 8, 8], [0, 4, 4, 8], [2, 0, 4, 4], [0, 2, 2, 4], [1, 0, 2, 2], [0, 1, 1, 2]]
        } else {
            vec![[0, 0, 1, 1]]
        }
    }

    /// Rows packed and filtered, each row with another filter (clause 9).
    fn rows(&self) -> Vec<u8> {
        let mut out = Vec::new();
        for [x0, y0, dx, dy] in self.passes() {
            let columns: Vec<usize> = (x0..self.width).step_by(dx).collect();
            if columns.is_empty() {
                continue;
            }
            let bits = self.channels() * usize::from(self.depth);
            let length = (columns.len() * bits).div_ceil(8);
            let step = bits.div_ceil(8);
            let mut above = vec![0; length];
            for (i, y) in (y0..self.height).step_by(dy).enumerate() {
                let row = self.packed(&columns, y, length);
                let kind = (i % 5) as u8;
                out.push(kind);
                for at in 0..length {
                    let left = if at < step { 0 } else { row[at - step] };
                    let corner = if at < step { 0 } else { above[at - step] };
                    out.push(row[at].wrapping_sub(predictor(kind, left, above[at], corner)));
                }
                above = row;
            }
        }
        out
    }

    fn packed(&self, columns: &[usize], y: usize, length: usize) -> Vec<u8> {
        let mut row = vec![0; length];
        let mut bit = 0;
        for (x, channel) in columns.iter().flat_map(|&x| (0..self.channels()).map(move |c| (x, c))) {
            let value = self.sample(x, y, channel);
            if self.depth == 16 {
                row[bit / 8..bit / 8 + 2].copy_from_slice(&value.to_be_bytes());
            } else {
                row[bit / 8] |= (value << (8 - usize::from(self.depth) - bit % 8)) as u8;
            }
            bit += usize::from(self.depth);
        }
        row
    }

    fn bytes(&self) -> Vec<u8> {
        let mut file = b"\x89PNG\r\n\x1a\n".to_vec();
        let sides = [(self.width as u32).to_be_bytes(), (self.height as u32).to_be_bytes()].concat();
        chunk(&mut file, b"IHDR", &[&sides[..], &[self.depth, self.color, 0, 0, u8::from(self.interlaced)]].concat());
        if !self.palette.is_empty() {
            chunk(&mut file, b"PLTE", &self.palette);
        }
        if !self.transparency.is_empty() {
            chunk(&mut file, b"tRNS", &self.transparency);
        }
        chunk(&mut file, b"IDAT", &stored_zlib(&self.rows()));
        chunk(&mut file, b"IEND", &[]);
        file
    }

    /// What must come out, one value a component: scaled to 8 bits as 12.5 says, palette looked up, the key as alpha.
    fn expected(&self) -> Vec<u16> {
        let mut out = Vec::new();
        for (y, x) in (0..self.height).flat_map(|y| (0..self.width).map(move |x| (y, x))) {
            let samples: Vec<u16> = (0..self.channels()).map(|c| self.sample(x, y, c)).collect();
            if self.color == 3 {
                let i = usize::from(samples[0]);
                out.extend(self.palette[3 * i..3 * i + 3].iter().map(|&v| u16::from(v)));
                if !self.transparency.is_empty() {
                    out.push(self.transparency.get(i).map_or(255, |&v| v.into()));
                }
                continue;
            }
            let most = (1_u32 << self.depth) - 1;
            let full = most.max(255);
            out.extend(samples.iter().map(|&v| ((f64::from(v) * f64::from(full)) / f64::from(most) + 0.5).floor() as u16));
            if !self.transparency.is_empty() {
                let key = self.transparency.as_chunks::<2>().0.iter().map(|&pair| u16::from_be_bytes(pair));
                out.push(if key.eq(samples.iter().copied()) { 0 } else { full as u16 });
            }
        }
        out
    }
}

fn predictor(kind: u8, a: u8, b: u8, c: u8) -> u8 {
    let (x, y, z) = (i32::from(a), i32::from(b), i32::from(c));
    match kind {
        1 => a,
        2 => b,
        3 => ((x + y) / 2) as u8,
        4 => {
            let p = x + y - z;
            let (pa, pb, pc) = ((p - x).abs(), (p - y).abs(), (p - z).abs());
            if pa <= pb && pa <= pc {
                a
            } else if pb <= pc {
                b
            } else {
                c
            }
        }
        _ => 0,
    }
}

fn chunk(file: &mut Vec<u8>, name: &[u8; 4], data: &[u8]) {
    file.extend((data.len() as u32).to_be_bytes());
    let body = [&name[..], data].concat();
    file.extend_from_slice(&body);
    file.extend(crc32fast::hash(&body).to_be_bytes());
}

/// Zlib without packing (RFC 1950, and RFC 1951 3.2.4).
fn stored_zlib(data: &[u8]) -> Vec<u8> {
    let mut out = vec![0x78, 0x01];
    let blocks = data.chunks(60_000).count();
    for (i, block) in data.chunks(60_000).enumerate() {
        let length = block.len() as u16;
        out.push(u8::from(i + 1 == blocks));
        out.extend(length.to_le_bytes());
        out.extend((!length).to_le_bytes());
        out.extend_from_slice(block);
    }
    let (mut a, mut b) = (1_u32, 0_u32);
    for &byte in data {
        a = (a + u32::from(byte)) % 65_521;
        b = (b + a) % 65_521;
    }
    out.extend((b << 16 | a).to_be_bytes());
    out
}

/// Every legal pair of colour type and depth (table 12), as PngSuite's basic and interlaced groups.
#[test]
fn every_colour_type_depth_and_interlacing_is_read() -> Checked<()> {
    let legal: [(u8, &[u8]); 5] = [(0, &[1, 2, 4, 8, 16]), (2, &[8, 16]), (3, &[1, 2, 4, 8]), (4, &[8, 16]), (6, &[8, 16])];
    let sizes = [(1, 1), (3, 2), (8, 8), (33, 17)];
    for (color, depth) in legal.iter().flat_map(|(color, depths)| depths.iter().map(|depth| (*color, *depth))) {
        for (interlaced, (width, height), keyed) in
            [false, true].iter().flat_map(|&i| sizes.iter().flat_map(move |&s| [false, true].map(|k| (i, s, k))))
        {
            if keyed && color >= 4 {
                continue;
            }
            let colors = if color == 3 { 1_usize << depth } else { 0 };
            let mut picture = ByHand { width, height, color, depth, interlaced, palette: Vec::new(), transparency: Vec::new() };
            picture.palette = (0..colors * 3).map(|i| (i * 89 % 256) as u8).collect();
            picture.transparency = match (keyed, color) {
                (false, _) => Vec::new(),
                (true, 3) => (0..colors.div_ceil(2)).map(|i| (i * 53 % 256) as u8).collect(),
                // The key is the sample of some texel.
                (true, _) => (0..picture.channels()).flat_map(|c| picture.sample(0, 0, c).to_be_bytes()).collect(),
            };
            let stored = decode_stored(&picture.bytes(), &Limits::default())?;
            let found: Vec<u16> = match stored.samples {
                Samples::U8(v) => v.into_iter().map(u16::from).collect(),
                Samples::U16(v) => v,
                other => return Err(format!("samples of another kind: {other:?}").into()),
            };
            let what = format!("type {color}, {depth} bits, {width} × {height}, interlaced {interlaced}, keyed {keyed}");
            assert!(found == picture.expected(), "{what}");
        }
    }
    Ok(())
}

/// PNG 12.5, the worked example: 27 of 5 bits is 222 of 8; here the exact factors of 1, 2 and 4 bits.
#[test]
fn small_depths_are_scaled_exactly() -> Checked<()> {
    for (depth, factor) in [(1, 255), (2, 85), (4, 17)] {
        let picture =
            ByHand { width: 40, height: 1, color: 0, depth, interlaced: false, palette: Vec::new(), transparency: Vec::new() };
        let stored = decode_stored(&picture.bytes(), &Limits::default())?;
        let wanted: Vec<u8> = (0..40).map(|x| picture.sample(x, 0, 0) as u8 * factor).collect();
        assert_eq!(stored.samples, Samples::U8(wanted), "{depth} bits");
    }
    Ok(())
}

fn ramp(layout: Layout, like: &Samples, width: usize, height: usize) -> Stored {
    let mut stored = Stored::zeros(Size::new(width, height), layout, like);
    for (y, x) in (0..height).flat_map(|y| (0..width).map(move |x| (y, x))) {
        for c in 0..layout.components() {
            let grain = ((x * 7919 + y * 104_729 + c * 15_485_863) >> 3) % 64;
            stored.set_value(x, y, c, 0.5 + 0.4 * (x as f32 * 0.01 + c as f32).sin() + grain as f32 / 2000.0);
        }
    }
    stored
}

/// Several bands, read by the reference library with its checksums on.
#[test]
fn the_png_crate_reads_what_bands_wrote() -> Checked<()> {
    for (layout, like) in [(Layout::Rgb, Samples::U8(Vec::new())), (Layout::Gray, Samples::U16(Vec::new()))] {
        let stored = ramp(layout, &like, 1024, 700);
        for effort in [Effort::Fast, Effort::Small] {
            let bytes = encode(&stored, PictureFormat::Png, effort)?;
            let mut options = png::DecodeOptions::default();
            options.set_ignore_checksums(false);
            let mut reader = png::Decoder::new_with_options(Cursor::new(&bytes), options).read_info()?;
            let mut buffer = vec![0; reader.output_buffer_size().ok_or("a size")?];
            reader.next_frame(&mut buffer)?;
            reader.finish()?;
            let wanted: Vec<u8> = match &stored.samples {
                Samples::U16(v) => v.iter().flat_map(|s| s.to_be_bytes()).collect(),
                Samples::U8(v) => v.clone(),
                _ => Vec::new(),
            };
            assert!(buffer == wanted, "{layout:?}, {effort:?}");
            let bands = bytes.windows(4).filter(|w| w == b"IDAT").count();
            assert!(effort == Effort::Small || bands >= 3, "{layout:?} takes several bands, not {bands}");
        }
    }
    Ok(())
}

#[test]
fn the_bytes_do_not_depend_on_threads() -> Checked<()> {
    let stored = ramp(Layout::Rgba, &Samples::U8(Vec::new()), 640, 640);
    let with = |threads: usize| -> Checked<Vec<u8>> {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build()?;
        Ok(pool.install(|| encode(&stored, PictureFormat::Png, Effort::Fast))?)
    };
    assert!(with(1)? == with(5)?, "one thread and five write the same file");
    Ok(())
}

/// How a texel of code 128 becomes light, and by which tag.
fn light_of(tags: ColorTags) -> Checked<([f32; 3], String)> {
    let samples = Samples::U8(vec![128, 64, 32]);
    let stored = Stored { size: Size::new(1, 1), layout: Layout::Rgb, samples, tags };
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("texel.png");
    std::fs::write(&path, encode(&stored, PictureFormat::Png, Effort::Fast)?)?;
    let photo = read_photo(&path, &Limits::default())?;
    Ok((photo.color.get(0, 0).0, photo.color_source))
}

/// The precedence of 4.3 and the curves behind each tag.
#[test]
fn colour_tags_count_in_the_order_of_the_standard() -> Checked<()> {
    let near = |a: f32, b: f32| (a - b).abs() < 2e-4;
    let srgb = 0.215_861; // IEC 61966-2-1 at 128 / 255
    let (light, source) = light_of(ColorTags::default())?;
    assert!(near(light[0], srgb) && source == "sRGB assumed", "no tag: {light:?} {source}");
    let (light, source) = light_of(ColorTags { gamma: Some(100_000), ..ColorTags::default() })?;
    assert!(near(light[0], 128.0 / 255.0) && source == "gamma tag", "linear: {light:?} {source}");
    let (light, _) = light_of(ColorTags { gamma: Some(100_000), ..ColorTags::srgb() })?;
    assert!(near(light[0], srgb), "sRGB over gAMA: {light:?}");
    let profile = moxcms::ColorProfile::new_display_p3().encode()?;
    let (by_profile, source) = light_of(ColorTags { icc: Some(profile.clone()), ..ColorTags::srgb() })?;
    assert_eq!(source, "embedded profile", "iCCP over sRGB");
    let (by_cicp, source) = light_of(ColorTags { icc: Some(profile), cicp: Some([12, 13, 0, 1]), ..ColorTags::default() })?;
    assert_eq!(source, "cICP tag", "cICP over iCCP");
    // Display P3 to Rec.709 in linear light (Bradford leaves D65 as it is): rows of the published matrix, CSS Color 4.
    let [r, g, b] = [0.215_861, 0.051_269, 0.014_444];
    let wanted = [1.224_940 * r - 0.224_940 * g, -0.042_057 * r + 1.042_057 * g, -0.019_638 * r - 0.078_636 * g + 1.098_274 * b];
    for (light, by) in [(by_profile, "profile"), (by_cicp, "cICP")] {
        let most = light.iter().zip(wanted).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
        assert!(most < 1e-3, "Display P3 by {by}: {light:?} should be {wanted:?}");
    }
    let (pq, _) = light_of(ColorTags { cicp: Some([9, 16, 0, 1]), ..ColorTags::default() })?;
    // SMPTE ST 2084 at 128 / 255 is 94.1 cd/m², of a reference white of 203; Rec.2020 red leaves Rec.709.
    assert!(pq[0] > 94.1 / 203.0 && pq[0] < 2.0 * 94.1 / 203.0, "PQ is scaled to reference white: {pq:?}");
    Ok(())
}

/// EXIF 3.0, 4.6.5: a 2 × 1 picture, dark then light, seen in eight ways.
#[test]
fn all_orientations_are_turned_upright() -> Checked<()> {
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("turned.png");
    let wanted: [(u8, Size, [u8; 2]); 8] = [
        (1, Size::new(2, 1), [0, 255]),
        (2, Size::new(2, 1), [255, 0]),
        (3, Size::new(2, 1), [255, 0]),
        (4, Size::new(2, 1), [0, 255]),
        (5, Size::new(1, 2), [0, 255]),
        (6, Size::new(1, 2), [0, 255]),
        (7, Size::new(1, 2), [255, 0]),
        (8, Size::new(1, 2), [255, 0]),
    ];
    for (orientation, size, texels) in wanted {
        let mut out = Vec::new();
        let mut writer = png::Encoder::new(&mut out, 2, 1).write_header()?;
        let exif = [&b"MM\0\x2a\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0"[..], &[orientation], &[0; 6]].concat();
        writer.write_chunk(png::chunk::eXIf, &exif)?;
        writer.write_image_data(&[0, 255])?;
        writer.finish()?;
        std::fs::write(&path, out)?;
        let photo = read_photo(&path, &Limits::default())?;
        let found: Vec<u8> = photo.color.texels().iter().map(|t| (t.0[0] * 255.0) as u8).collect();
        assert_eq!((photo.color.size(), found.as_slice()), (size, &texels[..]), "orientation {orientation}");
    }
    Ok(())
}
