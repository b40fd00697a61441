//! One pixel: from the readings of all shots to a normal and a dye.

use super::linear::dot;

/// A normal times a dye, and which readings agree with it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// The normal times the dye (albedo).
    pub g: [f64; 3],
    /// Shots that were used, a bit each.
    pub used: u32,
    /// How far the used readings lie off it, root mean square by degrees of freedom; 0 when three were used.
    pub off: f64,
}

impl Fit {
    /// The dye: length of `g`.
    #[must_use]
    pub fn dye(&self) -> f64 {
        dot(self.g, self.g).sqrt()
    }
}

/// Readings within this share of the dye, and so many times the noise, agree. Cloth passes light on around its edges of shadow
/// and reflects it from thread to thread, which no plain matte surface explains; less than that must not look like a shadow.
const AGREE: f64 = 0.03;
const AGREE_NOISE: f64 = 2.5;
/// A reading below this share of the brightest lies in shadow.
const DARK: f64 = 0.1;
/// Share of the readings left out from the darkest and the brightest where there are eight and more (`algorithms.md` 3.4).
const DARKEST: f64 = 0.33;
const BRIGHTEST: f64 = 0.1;
/// Of four readings one is dropped only when it is that much darker than the other three say: they always agree.
const CLEARLY_DARK: f64 = 0.5;
/// Residual, as a share of the dye, from which shine is looked for.
const SHINY: f64 = 0.06;

/// Explain readings `m` under lights `l` (direction times strength) by a matte surface. Only shots in `usable` are looked at;
/// `noise` is the deviation of a reading.
///
/// Up to seven readings: least squares, then the reading is dropped without which the others agree best, while they don't. Eight
/// and more: least squares on the middle ones, then on all that agree with it; where they still disagree, sparse regression (Ikehata
/// et al., "Robust Photometric Stereo Using Sparse Regression", 2012) if its residual is smaller in the median.
///
/// `None` when fewer than three are usable or their lights lie in one plane.
#[must_use]
pub fn solve(l: &[[f32; 3]], m: &[f32], usable: u32, noise: f32) -> Option<Fit> {
    let scene = Scene { l, m, noise: f64::from(noise) };
    let usable = usable & scene.all();
    let lit = scene.lit(usable);
    let usable = if lit.count_ones() >= 3 { lit } else { usable };
    match usable.count_ones() {
        0..=2 => None,
        3 => scene.fit(usable),
        4..=7 => scene.few(usable),
        _ => scene.many(usable),
    }
}

/// Plain least squares on all readings (Woodham 1980).
#[must_use]
pub fn least_squares(l: &[[f32; 3]], m: &[f32]) -> Option<Fit> {
    let scene = Scene { l, m, noise: 0.0 };
    scene.fit(scene.all())
}

struct Scene<'a> {
    l: &'a [[f32; 3]],
    m: &'a [f32],
    noise: f64,
}

/// Shots of a set.
fn shots(mut set: u32) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let next = set.trailing_zeros();
        set &= set.wrapping_sub(1);
        (next < 32).then_some(next as usize)
    })
}

impl Scene<'_> {
    fn light(&self, shot: usize) -> [f64; 3] {
        self.l[shot].map(f64::from)
    }

    fn reading(&self, shot: usize) -> f64 {
        f64::from(self.m[shot])
    }

    /// The set of all shots; 32 at most.
    fn all(&self) -> u32 {
        assert!(self.l.len() == self.m.len() && self.m.len() <= 32, "a light for each reading, 32 at most");
        if self.m.is_empty() { 0 } else { u32::MAX >> (32 - self.m.len()) }
    }

    /// Those not in shadow.
    fn lit(&self, usable: u32) -> u32 {
        let most = shots(usable).map(|k| self.reading(k)).fold(0.0, f64::max);
        shots(usable).filter(|&k| self.reading(k) > DARK * most).fold(0u32, |set, k| set | 1 << k)
    }

    /// Plain least squares on a set.
    fn fit(&self, used: u32) -> Option<Fit> {
        let mut gram = [0.0; 6];
        let mut right = [0.0; 3];
        for k in shots(used) {
            weigh(&mut gram, &mut right, self.light(k), self.reading(k), 1.0);
        }
        let g = solve_symmetric(&gram, right)?;
        let mut sum = 0.0;
        for k in shots(used) {
            sum += self.gap(g, k).powi(2);
        }
        let freedom = used.count_ones().saturating_sub(3);
        Some(Fit { g, used, off: if freedom == 0 { 0.0 } else { (sum / f64::from(freedom)).sqrt() } })
    }

    /// How much brighter a reading is than a fit says.
    fn gap(&self, g: [f64; 3], shot: usize) -> f64 {
        self.reading(shot) - dot(self.light(shot), g)
    }

    fn agreeing(&self, fit: &Fit) -> f64 {
        AGREE * fit.dye() + AGREE_NOISE * self.noise
    }

    fn few(&self, usable: u32) -> Option<Fit> {
        let mut fit = self.fit(usable)?;
        while fit.used.count_ones() > 3 && fit.off > self.agreeing(&fit) {
            let last = fit.used.count_ones() == 4;
            let mut best: Option<(f64, Fit)> = None;
            for k in shots(fit.used) {
                let Some(without) = self.fit(fit.used & !(1 << k)) else { continue };
                let said = dot(self.light(k), without.g);
                let seen = self.reading(k);
                if last && seen > CLEARLY_DARK * said {
                    continue;
                }
                let score = if last { seen / said.max(1e-12) } else { without.off };
                if best.is_none_or(|(least, _)| score < least) {
                    best = Some((score, without));
                }
            }
            let Some((_, better)) = best else { break };
            fit = better;
        }
        Some(fit)
    }

    fn many(&self, usable: u32) -> Option<Fit> {
        let count = usable.count_ones() as usize;
        let mut order = [0usize; 32];
        for (place, k) in order.iter_mut().zip(shots(usable)) {
            *place = k;
        }
        let order = &mut order[..count];
        order.sort_by(|a, b| self.m[*a].total_cmp(&self.m[*b]));
        let (low, high) = ((DARKEST * count as f64) as usize, (BRIGHTEST * count as f64) as usize);
        let middle = order[low..count - high].iter().fold(0u32, |set, k| set | 1 << k);
        let mut fit = self.fit(middle)?;
        for _ in 0..2 {
            let near = self.agreeing(&fit).max(1.5 * fit.off);
            let agreed = shots(usable).filter(|&k| self.gap(fit.g, k).abs() <= near).fold(0u32, |set, k| set | 1 << k);
            if agreed.count_ones() < 5 || agreed == fit.used {
                break;
            }
            fit = self.fit(agreed)?;
        }
        if fit.off > SHINY * fit.dye() + AGREE_NOISE * self.noise
            && let Some(sparse) = self.sparse(usable)
            && self.median_gap(&sparse, usable) < self.median_gap(&fit, usable)
        {
            return Some(sparse);
        }
        Some(fit)
    }

    fn median_gap(&self, fit: &Fit, usable: u32) -> f64 {
        let mut gaps = [0.0f64; 32];
        let mut count = 0;
        for k in shots(usable) {
            gaps[count] = self.gap(fit.g, k).abs();
            count += 1;
        }
        let middle = count / 2;
        *gaps[..count].select_nth_unstable_by(middle, f64::total_cmp).1
    }

    /// Sparse Bayesian regression: every reading has a variance of its own, found together with the surface.
    fn sparse(&self, usable: u32) -> Option<Fit> {
        // The prior is for readings about 1.
        let unit = shots(usable).map(|k| self.reading(k)).fold(0.0, f64::max);
        if unit <= 0.0 {
            return None;
        }
        let mut variance = [1.0f64; 32];
        let mut x = [0.0; 3];
        for _ in 0..SPARSE_ROUNDS {
            let mut gram = [1e-6, 0.0, 0.0, 1e-6, 0.0, 1e-6];
            let mut right = [0.0; 3];
            for k in shots(usable) {
                weigh(&mut gram, &mut right, self.light(k), self.reading(k) / unit, 1.0 / variance[k]);
            }
            x = solve_symmetric(&gram, right)?;
            let with_prior = [gram[0] + 1.0, gram[1], gram[2], gram[3] + 1.0, gram[4], gram[5] + 1.0];
            for k in shots(usable) {
                let l = self.light(k);
                let gap = self.reading(k) / unit - dot(l, x);
                variance[k] = (gap * gap + dot(l, solve_symmetric(&with_prior, l)?)).max(1e-8);
            }
        }
        let g = x.map(|v| v * unit);
        let near = AGREE * dot(g, g).sqrt() + AGREE_NOISE * self.noise;
        let agreed = shots(usable).filter(|&k| self.gap(g, k).abs() <= near).fold(0u32, |set, k| set | 1 << k);
        // Its own readings alone, once they are known: unbiased by the prior.
        if agreed.count_ones() >= 4 { self.fit(agreed) } else { Some(Fit { g, used: usable, off: near }) }
    }
}

/// Rounds of sparse regression; it hardly moves after twenty.
const SPARSE_ROUNDS: usize = 20;

/// Add one reading to the normal equations; the matrix as xx, xy, xz, yy, yz, zz.
fn weigh(gram: &mut [f64; 6], right: &mut [f64; 3], l: [f64; 3], m: f64, weight: f64) {
    let [x, y, z] = l;
    for (cell, product) in gram.iter_mut().zip([x * x, x * y, x * z, y * y, y * z, z * z]) {
        *cell += weight * product;
    }
    for (cell, c) in right.iter_mut().zip(l) {
        *cell += weight * c * m;
    }
}

/// Solve by cofactors; `None` when the matrix is all but singular.
fn solve_symmetric(m: &[f64; 6], b: [f64; 3]) -> Option<[f64; 3]> {
    let [xx, xy, xz, yy, yz, zz] = *m;
    let c = [yy * zz - yz * yz, xz * yz - xy * zz, xy * yz - xz * yy, xx * zz - xz * xz, xy * xz - xx * yz, xx * yy - xy * xy];
    let det = xx * c[0] + xy * c[1] + xz * c[2];
    let size = (xx + yy + zz) / 3.0;
    if det <= 1e-9 * size * size * size {
        return None;
    }
    Some([
        (c[0] * b[0] + c[1] * b[1] + c[2] * b[2]) / det,
        (c[1] * b[0] + c[3] * b[1] + c[4] * b[2]) / det,
        (c[2] * b[0] + c[4] * b[1] + c[5] * b[2]) / det,
    ])
}
