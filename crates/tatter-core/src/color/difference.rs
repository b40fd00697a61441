//! CIEDE2000 (Sharma, Wu, Dalal, "The CIEDE2000 Color-Difference Formula: Implementation Notes", 2005), kL = kC = kH = 1.

use super::Lab;

/// The visible difference of two colours; about 1 is just noticeable.
pub fn ciede2000(first: Lab, second: Lab) -> f32 {
    let (l1, a1, b1) = (f64::from(first.l), f64::from(first.a), f64::from(first.b));
    let (l2, a2, b2) = (f64::from(second.l), f64::from(second.a), f64::from(second.b));
    let seventh = |c: f64| (c.powi(7) / (c.powi(7) + 25f64.powi(7))).sqrt();
    let g = 0.5 * (1.0 - seventh(0.5 * (a1.hypot(b1) + a2.hypot(b2))));
    let (a1, a2) = (a1 * (1.0 + g), a2 * (1.0 + g));
    let (c1, c2) = (a1.hypot(b1), a2.hypot(b2));
    let hue = |a: f64, b: f64| if a == 0.0 && b == 0.0 { 0.0 } else { b.atan2(a).to_degrees().rem_euclid(360.0) };
    let (h1, h2) = (hue(a1, b1), hue(a2, b2));
    let gray = c1 * c2 == 0.0;
    let turn = match h2 - h1 {
        _ if gray => 0.0,
        d if d > 180.0 => d - 360.0,
        d if d < -180.0 => d + 360.0,
        d => d,
    };
    let (dl, dc) = (l2 - l1, c2 - c1);
    let dh = 2.0 * (c1 * c2).sqrt() * (turn / 2.0).to_radians().sin();
    let (lm, cm) = (0.5 * (l1 + l2), 0.5 * (c1 + c2));
    let hm = match h1 + h2 {
        sum if gray => sum,
        sum if (h1 - h2).abs() <= 180.0 => sum / 2.0,
        sum if sum < 360.0 => (sum + 360.0) / 2.0,
        sum => (sum - 360.0) / 2.0,
    };
    let cos = |degrees: f64| degrees.to_radians().cos();
    let t = 1.0 - 0.17 * cos(hm - 30.0) + 0.24 * cos(2.0 * hm) + 0.32 * cos(3.0 * hm + 6.0) - 0.20 * cos(4.0 * hm - 63.0);
    let rotation = -(2.0 * 30.0 * (-((hm - 275.0) / 25.0).powi(2)).exp()).to_radians().sin() * 2.0 * seventh(cm);
    let off = (lm - 50.0).powi(2);
    let (l, c, h) = (dl / (1.0 + 0.015 * off / (20.0 + off).sqrt()), dc / (1.0 + 0.045 * cm), dh / (1.0 + 0.015 * cm * t));
    (l * l + c * c + h * h + rotation * c * h).max(0.0).sqrt() as f32
}
