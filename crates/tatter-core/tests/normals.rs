//! Normals of heights beside a reference array library: `fixtures/normals.csv` is written by `tools/normals_reference.py` (`NumPy`,
//! `gradient`).

use std::error::Error;

use tatter_core::image::{HeightMm, Image};
use tatter_core::kernel::normals_from_height;
use tatter_core::units::MmPerTexel;

const TEXEL: MmPerTexel = MmPerTexel(0.08);
const SIZE: [usize; 2] = [17, 11];

#[test]
fn normals_agree_with_the_gradient_of_a_reference_library() -> Result<(), Box<dyn Error>> {
    let mut rows = Vec::new();
    for line in include_str!("fixtures/normals.csv").lines().skip(1) {
        rows.push(line.split(',').map(str::parse).collect::<Result<Vec<f32>, _>>()?);
    }
    let [width, height] = SIZE;
    assert_eq!(rows.len(), width * height, "every texel of the fixture");
    let found = normals_from_height(&Image::from_fn(width, height, |x, y| HeightMm(rows[y * width + x][2])), TEXEL);
    for (row, normal) in rows.iter().zip(found.texels()) {
        for axis in 0..3 {
            let (ours, theirs) = (normal.0[axis], row[3 + axis]);
            assert!((ours - theirs).abs() < 2e-5, "at {}, {}, axis {axis}: {ours}, the library has {theirs}", row[0], row[1]);
        }
    }
    Ok(())
}
