// How cloth scatters light. glTF 2.0, appendix B (metallic-roughness) and KHR_materials_sheen; nothing is added to either.
// n.v, n.l, n.h, v.h are cosines; alpha is the square of roughness.

const PI: f32 = 3.14159265358979;

// Distribution of microfacets: Trowbridge-Reitz (GGX).
fn d_ggx(n_h: f32, alpha: f32) -> f32 {
    let a2 = alpha * alpha;
    let t = n_h * n_h * (a2 - 1.0) + 1.0;
    return a2 / (PI * t * t);
}

// Visibility: Smith, height-correlated; shadowing and masking over 4 n.l n.v.
fn v_smith(n_v: f32, n_l: f32, alpha: f32) -> f32 {
    let a2 = alpha * alpha;
    return 0.5 / (n_v * sqrt(a2 + (1.0 - a2) * n_l * n_l) + n_l * sqrt(a2 + (1.0 - a2) * n_v * n_v));
}

// Share that Fresnel adds to the reflectance of normal incidence (Schlick).
fn schlick(v_h: f32) -> f32 {
    let m = clamp(1.0 - abs(v_h), 0.0, 1.0);
    return m * m * m * m * m;
}

fn metallic_roughness(base: vec3f, metallic: f32, roughness: f32, n_v: f32, n_l: f32, n_h: f32, v_h: f32) -> vec3f {
    let alpha = roughness * roughness;
    let specular = v_smith(n_v, n_l, alpha) * d_ggx(n_h, alpha);
    let f = schlick(v_h);
    let dielectric = mix(base / PI, vec3f(specular), 0.04 + 0.96 * f);
    let metal = (base + (vec3f(1.0) - base) * f) * specular;
    return mix(dielectric, metal, metallic);
}

// Sheen: the distribution named Charlie (Conty and Kulla 2017). `alpha` is the square of sheen roughness.
fn d_charlie(n_h: f32, alpha: f32) -> f32 {
    let inverse = 1.0 / alpha;
    let sin2 = max(1.0 - n_h * n_h, 0.0);
    return (2.0 + inverse) * pow(sin2, 0.5 * inverse) / (2.0 * PI);
}

fn l_charlie(x: f32, alpha: f32) -> f32 {
    let t = (1.0 - alpha) * (1.0 - alpha);
    let a = mix(21.5473, 25.3245, t);
    let b = mix(3.82987, 3.32435, t);
    let c = mix(0.19823, 0.16801, t);
    let d = mix(-1.97760, -1.27393, t);
    let e = mix(-4.32054, -4.85967, t);
    return a / (1.0 + b * pow(x, c)) + d * x + e;
}

fn lambda_charlie(cosine: f32, alpha: f32) -> f32 {
    if cosine < 0.5 {
        return exp(l_charlie(cosine, alpha));
    }
    return exp(2.0 * l_charlie(0.5, alpha) - l_charlie(1.0 - cosine, alpha));
}

fn v_charlie(n_v: f32, n_l: f32, alpha: f32) -> f32 {
    return 1.0 / ((1.0 + lambda_charlie(n_v, alpha) + lambda_charlie(n_l, alpha)) * 4.0 * n_v * n_l);
}
