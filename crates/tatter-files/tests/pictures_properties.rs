//! Write then read = same, for any size, content and layout. A failing case prints its seed.

use proptest::prelude::*;
use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureFormat, decode_stored, encode};

fn layout() -> impl Strategy<Value = Layout> {
    prop_oneof![Just(Layout::Gray), Just(Layout::GrayAlpha), Just(Layout::Rgb), Just(Layout::Rgba)]
}

/// Runs, noise of few and of many values, by turns: what packers and filters treat differently.
fn bytes(length: usize, seed: u64) -> Vec<u8> {
    let mut state = seed | 1;
    let mut next = move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state
    };
    let mut out = Vec::with_capacity(length);
    while out.len() < length {
        let run = (next() % 400) as usize + 1;
        let mask = [0_u64, 1, 15, 255][(next() % 4) as usize];
        let base = next();
        out.extend((0..run).map(|_| (base ^ next() & mask) as u8));
    }
    out.truncate(length);
    out
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whole_numbers_come_back(width in 1_usize..90, height in 1_usize..60, layout in layout(), wide: bool, seed: u64) {
        let count = width * height * layout.components();
        let samples = if wide {
            Samples::U16(bytes(2 * count, seed).as_chunks::<2>().0.iter().map(|&p| u16::from_le_bytes(p)).collect())
        } else {
            Samples::U8(bytes(count, seed))
        };
        let stored = Stored { size: Size::new(width, height), layout, samples, tags: ColorTags::default() };
        for format in [PictureFormat::Png, PictureFormat::Tiff] {
            for effort in [Effort::Fast, Effort::Small] {
                let again = encode(&stored, format, effort).and_then(|file| decode_stored(&file, &Limits::default()));
                prop_assert_eq!(again.map_err(|e| TestCaseError::fail(e.to_string()))?.samples, stored.samples.clone(), "{}", format);
            }
        }
    }

    #[test]
    fn float_bits_come_back(width in 1_usize..40, height in 1_usize..30, layout in layout(), half: bool, seed: u64) {
        let count = width * height * layout.components();
        // Any bits: infinities, NaN and denormals too.
        let noise = bytes(4 * count, seed);
        let samples = if half {
            Samples::F16(noise.as_chunks::<2>().0.iter().take(count).map(|&p| half::f16::from_le_bytes(p)).collect())
        } else {
            Samples::F32(noise.as_chunks::<4>().0.iter().map(|&p| f32::from_le_bytes(p)).collect())
        };
        let stored = Stored { size: Size::new(width, height), layout, samples, tags: ColorTags::default() };
        let again = encode(&stored, PictureFormat::Exr, Effort::Fast).and_then(|file| decode_stored(&file, &Limits::default()));
        let again = again.map_err(|e| TestCaseError::fail(e.to_string()))?;
        prop_assert_eq!(bits(&again.samples), bits(&stored.samples));
    }
}

fn bits(samples: &Samples) -> Vec<u32> {
    match samples {
        Samples::F16(v) => v.iter().map(|v| v.to_bits().into()).collect(),
        Samples::F32(v) => v.iter().map(|v| v.to_bits()).collect(),
        _ => Vec::new(),
    }
}
