//! Dye in fibre: the Kubelka-Munk function of an opaque layer (Kubelka, Munk, "Ein Beitrag zur Optik der Farbanstriche",
//! 1931). Absorption over scattering is proportional to the amount of dye, so that mixing dyes is adding.

/// Absorption over scattering of an opaque layer that reflects the share `reflectance`, above 0 and at most 1.
#[inline]
pub fn absorption(reflectance: f32) -> f32 {
    (1.0 - reflectance).powi(2) / (2.0 * reflectance)
}

/// What an opaque layer reflects whose absorption over scattering is `absorption`, 0 or more. The inverse of [`absorption`].
#[inline]
pub fn reflectance(absorption: f32) -> f32 {
    // 1 + k - sqrt(k² + 2k), written so that large k loses no digits.
    1.0 / (1.0 + absorption + (absorption * (absorption + 2.0)).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand from (1 - R)² / 2R.
    #[test]
    fn worked_values() {
        for (r, k) in [(1.0, 0.0), (0.5, 0.25), (0.2, 1.6), (0.1, 4.05), (0.05, 9.025), (0.01, 49.005)] {
            assert!((absorption(r) - k).abs() <= 1e-6 * k.max(1.0), "absorption of {r}: {}", absorption(r));
            assert!((reflectance(k) - r).abs() <= 1e-6, "reflectance of {k}: {}", reflectance(k));
        }
    }

    #[test]
    fn every_reflectance_comes_back() {
        for i in 1..=1000 {
            let r = i as f32 / 1000.0;
            let back = reflectance(absorption(r));
            assert!((back - r).abs() < 1e-6, "{r} comes back as {back}");
        }
    }
}
