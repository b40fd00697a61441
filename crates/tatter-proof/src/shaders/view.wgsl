// From summed light to the screen: mean over samples, backdrop, exposure, view transform, sRGB code.

struct View {
    // x: one over the number of samples, y: exposure as a factor, z: view transform (0 plain, 1 neutral, 2 film), w: 1 shows data.
    how: vec4f,
    // Backdrop at the top and at the bottom of the whole picture, linear.
    top: vec4f,
    bottom: vec4f,
    // Where this tile begins in the whole picture and how high that is: y, height.
    place: vec4f,
}

@group(0) @binding(0) var<uniform> view: View;
@group(0) @binding(1) var summed: texture_2d<f32>;
@group(0) @binding(2) var added: texture_2d<f32>;

@vertex
fn whole(@builtin(vertex_index) i: u32) -> @builtin(position) vec4f {
    return vec4f(f32(i32(i & 1u) * 4 - 1), f32(i32(i >> 1u) * 4 - 1), 0.0, 1.0);
}

@fragment
fn add(@builtin(position) at: vec4f) -> @location(0) vec4f {
    let p = vec2i(at.xy);
    return textureLoad(summed, p, 0) + textureLoad(added, p, 0);
}

// Khronos PBR Neutral Tone Mapper: colours below 0.8 stay as they are but for the 4 % that dielectrics reflect; only highlights bend.
fn neutral(light: vec3f) -> vec3f {
    let start = 0.8 - 0.04;
    let desaturation = 0.15;
    let low = min(light.r, min(light.g, light.b));
    let offset = select(0.04, low - 6.25 * low * low, low < 0.08);
    let c = light - offset;
    let peak = max(c.r, max(c.g, c.b));
    if peak < start {
        return c;
    }
    let d = 1.0 - start;
    let bent = 1.0 - d * d / (peak + d - start);
    let scaled = c * (bent / peak);
    let g = 1.0 - 1.0 / (desaturation * (peak - bent) + 1.0);
    return mix(scaled, vec3f(bent), g);
}

// A fit of the reference and output transforms of the Academy Color Encoding System for sRGB screens (Hill's fit, from memory).
fn film(light: vec3f) -> vec3f {
    let into = mat3x3f(vec3f(0.59719, 0.07600, 0.02840), vec3f(0.35458, 0.90834, 0.13383), vec3f(0.04823, 0.01566, 0.83777));
    let out_of = mat3x3f(vec3f(1.60475, -0.10208, -0.00327), vec3f(-0.53108, 1.10813, -0.07276), vec3f(-0.07367, -0.00605, 1.07602));
    let c = into * light;
    let bent = (c * (c + 0.0245786) - 0.000090537) / (c * (0.983729 * c + 0.4329510) + 0.238081);
    return out_of * bent;
}

fn to_srgb(c: vec3f) -> vec3f {
    let v = clamp(c, vec3f(0.0), vec3f(1.0));
    return select(1.055 * pow(v, vec3f(1.0 / 2.4)) - 0.055, 12.92 * v, v <= vec3f(0.0031308));
}

fn seen_light(at: vec2f) -> vec3f {
    let mean = textureLoad(summed, vec2i(at), 0) * view.how.x;
    let down = (view.place.x + at.y) / view.place.y;
    let backdrop = mix(view.top.rgb, view.bottom.rgb, smoothstep(0.0, 1.0, down));
    // The backdrop is what the screen shows, so exposure does not move it.
    return mean.rgb * view.how.y + (1.0 - clamp(mean.a, 0.0, 1.0)) * backdrop;
}

@fragment
fn show(@builtin(position) at: vec4f) -> @location(0) vec4f {
    var light = seen_light(at.xy);
    if view.how.w < 0.5 {
        if view.how.z > 1.5 {
            light = film(light);
        } else if view.how.z > 0.5 {
            light = neutral(light);
        }
    }
    return vec4f(to_srgb(light), 1.0);
}
