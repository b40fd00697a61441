//! The one thing wanted from EXIF: which way is up.

/// Orientation (tag 0x0112 of the first directory, EXIF 3.0 4.6.5), 1 to 8; 1 when absent or malformed. `bytes` is a TIFF
/// structure, with or without the `Exif\0\0` mark before it.
pub(super) fn orientation(bytes: &[u8]) -> u8 {
    find(bytes.strip_prefix(b"Exif\0\0").unwrap_or(bytes)).unwrap_or(1)
}

fn find(tiff: &[u8]) -> Option<u8> {
    let little = match tiff.get(..4)? {
        b"II\x2a\0" => true,
        b"MM\0\x2a" => false,
        _ => return None,
    };
    let short = |at: usize| -> Option<u16> {
        let pair: [u8; 2] = tiff.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if little { u16::from_le_bytes(pair) } else { u16::from_be_bytes(pair) })
    };
    let long = |at: usize| -> Option<u32> {
        let four: [u8; 4] = tiff.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if little { u32::from_le_bytes(four) } else { u32::from_be_bytes(four) })
    };
    let directory = usize::try_from(long(4)?).ok()?;
    let entries = usize::from(short(directory)?);
    for i in 0..entries {
        let entry = directory.checked_add(2 + 12 * i)?;
        if short(entry)? == 0x0112 {
            let value = u8::try_from(short(entry + 8)?).ok()?;
            return (1..=8).contains(&value).then_some(value);
        }
    }
    None
}

/// Where texel `(x, y)` of the upright picture lies in the stored one of `width` × `height`, for orientation 1 to 8.
pub(super) const fn stored_place(orientation: u8, width: usize, height: usize, x: usize, y: usize) -> (usize, usize) {
    match orientation {
        2 => (width - 1 - x, y),
        3 => (width - 1 - x, height - 1 - y),
        4 => (x, height - 1 - y),
        5 => (y, x),
        6 => (y, height - 1 - x),
        7 => (width - 1 - y, height - 1 - x),
        8 => (width - 1 - y, x),
        _ => (x, y),
    }
}

/// Whether upright means columns and rows exchanged.
pub(super) const fn is_turned(orientation: u8) -> bool {
    orientation >= 5
}

#[cfg(test)]
mod tests {
    use super::*;

    /// EXIF 3.0 4.6.5 A: where row 0 and column 0 of the stored picture are seen, for each value.
    #[test]
    fn the_first_texel_goes_where_the_standard_says() {
        let (width, height) = (3, 2);
        let seen: [(u8, (usize, usize)); 8] =
            [(1, (0, 0)), (2, (2, 0)), (3, (2, 1)), (4, (0, 1)), (5, (0, 0)), (6, (1, 0)), (7, (1, 2)), (8, (0, 2))];
        for (orientation, (x, y)) in seen {
            assert_eq!(stored_place(orientation, width, height, x, y), (0, 0), "orientation {orientation}");
        }
    }

    #[test]
    fn both_byte_orders_are_read_and_nonsense_is_upright() {
        let little = b"Exif\0\0II\x2a\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0\x06\0\0\0\0\0\0\0";
        let big = b"MM\0\x2a\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x08\0\0\0\0\0\0";
        assert_eq!(orientation(little), 6, "little endian with its mark");
        assert_eq!(orientation(big), 8, "big endian without");
        for cut in 0..big.len() - 6 {
            assert_eq!(orientation(&big[..cut]), 1, "cut short at {cut}");
        }
        assert_eq!(orientation(b"II\x2a\0\xff\xff\xff\xff"), 1, "a directory outside");
    }
}
