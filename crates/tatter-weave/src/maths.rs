//! Sine, exponential and logarithm from additions and multiplications alone: platform libraries differ in the last bit,
//! and one seed must give one cloth on every machine.

/// Sine and cosine of that many full turns; error below 1e-6.
pub(crate) fn sin_cos_turns(turns: f32) -> (f32, f32) {
    let reduced = turns - turns.round();
    let quarter = (reduced * 4.0).round();
    let x = (reduced - 0.25 * quarter) * std::f32::consts::TAU;
    let x2 = x * x;
    let sin = x * (1.0 + x2 * (-1.0 / 6.0 + x2 * (1.0 / 120.0 - x2 / 5040.0)));
    let cos = 1.0 + x2 * (-0.5 + x2 * (1.0 / 24.0 + x2 * (-1.0 / 720.0 + x2 / 40320.0)));
    match quarter as i32 {
        0 => (sin, cos),
        1 => (cos, -sin),
        -1 => (-cos, sin),
        _ => (-sin, -cos),
    }
}

/// Sine and cosine of radians.
pub(crate) fn sin_cos(radians: f32) -> (f32, f32) {
    sin_cos_turns(radians * std::f32::consts::FRAC_1_PI * 0.5)
}

/// `e` to the `x`; relative error below 3e-6 between -80 and 80, clamped beyond.
pub(crate) fn exp(x: f32) -> f32 {
    let y = x.clamp(-80.0, 80.0) * std::f32::consts::LOG2_E;
    let whole = y.round();
    let f = (y - whole) * std::f32::consts::LN_2;
    let p = 1.0 + f * (1.0 + f * (0.5 + f * (1.0 / 6.0 + f * (1.0 / 24.0 + f * (1.0 / 120.0 + f / 720.0)))));
    p * f32::from_bits(((whole as i32 + 127) as u32) << 23)
}

/// Natural logarithm of a positive number; error below 1e-6 times its size.
pub(crate) fn ln(x: f32) -> f32 {
    let bits = x.max(f32::MIN_POSITIVE).to_bits();
    let mut power = (bits >> 23) as i32 - 127;
    let mut m = f32::from_bits((bits & 0x007F_FFFF) | 0x3F80_0000);
    if m > std::f32::consts::SQRT_2 {
        m *= 0.5;
        power += 1;
    }
    let t = (m - 1.0) / (m + 1.0);
    let t2 = t * t;
    2.0 * t * (1.0 + t2 * (1.0 / 3.0 + t2 * (0.2 + t2 * (1.0 / 7.0 + t2 / 9.0)))) + power as f32 * std::f32::consts::LN_2
}

/// Length of a vector.
pub(crate) fn length(x: f32, y: f32) -> f32 {
    (x * x + y * y).sqrt()
}

/// 0 below `low`, 1 above `high`, smooth between.
pub(crate) fn smoothstep(low: f32, high: f32, x: f32) -> f32 {
    let t = ((x - low) / (high - low)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// `a` at 0, `b` at 1.
pub(crate) fn lerp(a: f32, b: f32, t: f32) -> f32 {
    a + (b - a) * t
}

/// Sine and cosine of 0 to 90 degrees in double precision, for the cloth's geometry.
pub(crate) fn sin_cos_f64(radians: f64) -> (f64, f64) {
    let (x, x2) = (radians, radians * radians);
    let (mut sin, mut cos, mut s, mut c) = (x, 1.0, x, 1.0);
    for k in 1..14 {
        let k = f64::from(k);
        s *= -x2 / ((2.0 * k) * (2.0 * k + 1.0));
        c *= -x2 / ((2.0 * k) * (2.0 * k - 1.0));
        sin += s;
        cos += c;
    }
    (sin, cos)
}

/// Where a rising function of `low..high` passes `target`, by halving.
pub(crate) fn bisect(mut low: f64, mut high: f64, target: f64, rising: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if rising(middle) < target {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_the_platform() {
        for k in -400..400 {
            let x = k as f32 * 0.037;
            let (s, c) = sin_cos_turns(x);
            let (sp, cp) = (f64::from(x) * std::f64::consts::TAU).sin_cos();
            assert!((f64::from(s) - sp).abs() < 2e-6 && (f64::from(c) - cp).abs() < 2e-6, "sine of {x} turns");
            assert!((exp(x) / x.exp() - 1.0).abs() < 3e-6, "exp {x}");
            let y = (x * x + 0.001) * 3.0;
            assert!((ln(y) - y.ln()).abs() < 1e-6 * (1.0 + y.ln().abs()), "ln {y}");
        }
        let (s, c) = sin_cos_f64(1.3);
        assert!((s - 1.3f64.sin()).abs() < 1e-14 && (c - 1.3f64.cos()).abs() < 1e-14, "double precision");
    }
}
