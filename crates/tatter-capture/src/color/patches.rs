//! What the 24 patches are: CIELAB under the D50 of ICC, 2 degree observer, as published for the two editions of the chart; taken from the
//! open data of the library colour-science 0.4.7 (`tools/chart_reference.py`). Row by row from the dark brown to the black.

use tatter_core::image::LinearRgb;

/// Patches of the chart.
pub const PATCHES: usize = 24;
/// Columns of patches.
pub(super) const COLUMNS: usize = 6;
/// Rows of patches.
pub(super) const ROWS: usize = 4;

/// An edition of the chart: they differ by some units of CIELAB.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Edition {
    /// Made from November 2014 on.
    Since2014,
    /// Made before.
    Before2014,
}

impl Edition {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Since2014, Self::Before2014];

    /// For people.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Since2014 => "edition since November 2014",
            Self::Before2014 => "edition before November 2014",
        }
    }

    /// Its patches in linear Rec.709 under D65; a cyan lies outside and has a red below 0.
    #[must_use]
    pub fn patches(self) -> [LinearRgb; PATCHES] {
        match self {
            Self::Since2014 => SINCE,
            Self::Before2014 => BEFORE,
        }
        .map(linear)
    }
}

/// Of charts made from November 2014 on.
const SINCE: [[f32; 3]; PATCHES] = [
    [37.54, 14.37, 14.92],
    [64.66, 19.27, 17.50],
    [49.32, -3.82, -22.54],
    [43.46, -12.74, 22.72],
    [54.94, 9.61, -24.79],
    [70.48, -32.26, -0.37],
    [62.73, 35.83, 56.50],
    [39.43, 10.75, -45.17],
    [50.57, 48.64, 16.67],
    [30.10, 22.54, -20.87],
    [71.77, -24.13, 58.19],
    [71.51, 18.24, 67.37],
    [28.37, 15.42, -49.80],
    [54.38, -39.72, 32.27],
    [42.43, 51.05, 28.62],
    [81.80, 2.67, 80.41],
    [50.63, 51.28, -14.12],
    [49.57, -29.71, -28.32],
    [95.19, -1.03, 2.93],
    [81.29, -0.57, 0.44],
    [66.89, -0.75, -0.06],
    [50.76, -0.13, 0.14],
    [35.63, -0.46, -0.48],
    [20.64, 0.07, -0.46],
];

/// Of charts made before.
const BEFORE: [[f32; 3]; PATCHES] = [
    [37.99, 13.56, 14.06],
    [65.71, 18.13, 17.81],
    [49.93, -4.88, -21.90],
    [43.14, -13.09, 21.91],
    [55.11, 8.85, -25.40],
    [70.72, -33.40, -0.20],
    [62.66, 36.07, 57.10],
    [40.02, 10.41, -45.96],
    [51.12, 48.24, 16.25],
    [30.32, 22.98, -21.59],
    [72.53, -23.71, 57.26],
    [71.94, 19.36, 67.86],
    [28.78, 14.18, -50.30],
    [55.26, -38.34, 31.37],
    [42.10, 53.38, 28.19],
    [81.73, 4.04, 79.82],
    [51.94, 49.99, -14.57],
    [51.04, -28.63, -28.64],
    [96.54, -0.42, 1.19],
    [81.26, -0.64, -0.33],
    [66.77, -0.73, -0.50],
    [50.87, -0.15, -0.27],
    [35.66, -0.42, -1.23],
    [20.46, -0.08, -0.97],
];

/// XYZ of the D50 of ICC.
const D50: [f32; 3] = [0.964_22, 1.0, 0.825_21];
/// XYZ under D50 as it looks under D65 (Bradford; Lam, 1985, in the rounded form that is widely published).
const D65_FROM_D50: [[f32; 3]; 3] =
    [[0.955_576_6, -0.023_039_3, 0.063_163_6], [-0.028_289_5, 1.009_941_6, 0.021_007_7], [0.012_298_2, -0.020_483, 1.329_909_8]];
/// Linear Rec.709 from XYZ, D65: the inverse of the matrix of IEC 61966-2-1.
const RGB_FROM_XYZ: [[f32; 3]; 3] =
    [[3.240_454_2, -1.537_138_5, -0.498_531_4], [-0.969_266, 1.876_010_8, 0.041_556], [0.055_643_4, -0.204_025_9, 1.057_225_2]];

/// CIE 15: CIELAB to XYZ, then adapted and turned.
fn linear([l, a, b]: [f32; 3]) -> LinearRgb {
    let fy = (l + 16.0) / 116.0;
    let back = |f: f32| {
        const KNEE: f32 = 6.0 / 29.0;
        if f > KNEE { f * f * f } else { 3.0 * KNEE * KNEE * (f - 4.0 / 29.0) }
    };
    let f = [fy + a / 500.0, fy, fy - b / 200.0];
    let xyz: [f32; 3] = std::array::from_fn(|i| D50[i] * back(f[i]));
    let times = |m: &[[f32; 3]; 3], v: [f32; 3]| m.map(|row| (0..3).map(|i| row[i] * v[i]).sum::<f32>());
    LinearRgb(times(&RGB_FROM_XYZ, times(&D65_FROM_D50, xyz)))
}
