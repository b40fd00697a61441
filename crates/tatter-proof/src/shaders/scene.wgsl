// The garment under one sample of its light: opaque triangles, openings decided by chance so that their mean over samples is
// the true share. Needs brdf.wgsl before it.

struct Frame {
    clip_from_world: mat4x4f,
    key_from_world: mat4x4f,
    sky_from_world: mat4x4f,
    // xyz in world, w: 1 when all of the sky is taken at once from `irradiance`.
    eye: vec4f,
    // xyz towards the light, w: this sample's number.
    key: vec4f,
    // rgb on a surface that faces the light, w: side of a texel of its shadow map in world.
    key_light: vec4f,
    // xyz towards the place of sky this sample looks at, w: share of a hidden piece of sky that cloth in its place sends.
    sky: vec4f,
    // rgb times the number of samples, w: side of a texel of its shadow map in world.
    sky_light: vec4f,
    // x: which channel is shown (0 light), y: levels of the reflected sky, z: bias of texture level, w: depth of relief, 0 none.
    look: vec4f,
    // Spherical harmonics of the sky's irradiance over pi.
    irradiance: array<vec4f, 9>,
}

struct Material {
    // Sheen colour and its roughness.
    sheen: vec4f,
    // x: opacity at and above which cloth is there, 0: by chance; y: whose openings (decorrelates layers);
    // z: millimetres of height at full code less at none; w: texture units of a millimetre.
    opening: vec4f,
    // Where a texture is missing: roughness, metallic, occlusion, millimetres at code 0.
    plain: vec4f,
}

@group(0) @binding(0) var<uniform> frame: Frame;
@group(0) @binding(1) var key_shadow: texture_depth_2d;
@group(0) @binding(2) var sky_shadow: texture_depth_2d;
@group(0) @binding(3) var compare: sampler_comparison;
@group(0) @binding(4) var reflected: texture_cube<f32>;
@group(0) @binding(5) var response: texture_2d<f32>;
@group(0) @binding(6) var smooth_sampler: sampler;

@group(1) @binding(0) var<uniform> material: Material;
// Colour and opacity.
@group(1) @binding(1) var color_map: texture_2d<f32>;
// xy: slopes' direction cosines, z likewise, w: length of the mean normal, which tells how rough detail was averaged away.
@group(1) @binding(2) var normal_map: texture_2d<f32>;
// Occlusion, roughness, metallic, height code.
@group(1) @binding(3) var surface_map: texture_2d<f32>;
@group(1) @binding(4) var cloth_sampler: sampler;

struct Corner {
    @location(0) position: vec3f,
    @location(1) normal: vec3f,
    @location(2) tangent: vec4f,
    @location(3) uv: vec2f,
}

struct Seen {
    @builtin(position) clip: vec4f,
    @location(0) world: vec3f,
    @location(1) normal: vec3f,
    @location(2) tangent: vec4f,
    @location(3) uv: vec2f,
}

@vertex
fn corner(in: Corner) -> Seen {
    var out: Seen;
    out.clip = frame.clip_from_world * vec4f(in.position, 1.0);
    out.world = in.position;
    out.normal = in.normal;
    out.tangent = in.tangent;
    out.uv = in.uv;
    return out;
}

// A number in 0..1 for a place of the picture, a layer and a sample: over the samples of one place and layer evenly spread, and in an
// order of its own, so that what is there says nothing of the lamp that lights it (Laine, Karras, "Stratified sampling for stochastic
// transparency", 2011: the radical inverse, its digits swapped by a hash of all digits before).
fn chance(at: vec2f, layer: f32, sample: f32) -> f32 {
    var h = u32(at.x) * 1597334677u ^ u32(at.y) * 3812015801u ^ u32(layer) * 2798796415u;
    h = (h ^ (h >> 15u)) * 2246822519u;
    h = (h ^ (h >> 13u)) * 3266489917u;
    h = h ^ (h >> 16u);
    var x = u32(sample) + h;
    x ^= x * 0x6c50b47cu;
    x ^= x * 0xb82f1e52u;
    x ^= x * 0xc7afe638u;
    x ^= x * 0x8d22f6e6u;
    return f32(reverseBits(x) >> 8u) / 16777216.0;
}

fn open_here(opacity: f32, at: vec2f, front: bool, sample: f32) -> bool {
    let cutoff = material.opening.x;
    if cutoff > 0.0 {
        return opacity < cutoff;
    }
    return opacity <= chance(at, 2.0 * material.opening.y + select(1.0, 0.0, front), sample) * 0.998 + 0.001;
}

fn lit_by(map: texture_depth_2d, from_world: mat4x4f, world: vec3f, normal: vec3f, towards: vec3f, texel: f32) -> f32 {
    // Off the surface to the light's side, by what a texel of the map spans on a slope: no acne, and no light through thin cloth.
    let cosine = dot(normal, towards);
    let side = select(-normal, normal, cosine >= 0.0);
    let slope = sqrt(max(1.0 - cosine * cosine, 0.0));
    let lifted = world + side * texel * (0.6 + 1.2 * slope) + towards * texel * 0.5;
    let p = from_world * vec4f(lifted, 1.0);
    let uv = vec2f(0.5, -0.5) * p.xy + 0.5;
    if any(uv < vec2f(0.0)) || any(uv > vec2f(1.0)) {
        return 1.0;
    }
    return textureSampleCompareLevel(map, compare, uv, p.z);
}

fn harmonics(n: vec3f) -> vec3f {
    let sh = frame.irradiance;
    let e = sh[0].rgb + sh[1].rgb * n.y + sh[2].rgb * n.z + sh[3].rgb * n.x
        + sh[4].rgb * (n.x * n.y) + sh[5].rgb * (n.y * n.z) + sh[6].rgb * (3.0 * n.z * n.z - 1.0)
        + sh[7].rgb * (n.x * n.z) + sh[8].rgb * (n.x * n.x - n.y * n.y);
    return max(e, vec3f(0.0));
}

fn from_srgb(c: vec3f) -> vec3f {
    return select(pow((c + 0.055) / 1.055, vec3f(2.4)), c / 12.92, c <= vec3f(0.04045));
}

// A data channel is shown as its codes stand, so it is coded back here for the view to code forth.
fn channel_shown(which: f32, color: vec4f, normal: vec3f, surface: vec4f) -> vec3f {
    if which < 1.5 { return color.rgb; }
    if which < 2.5 { return from_srgb(0.5 * normal + 0.5); }
    if which < 3.5 { return from_srgb(vec3f(surface.g)); }
    if which < 4.5 { return from_srgb(vec3f(surface.b)); }
    if which < 5.5 { return from_srgb(vec3f(surface.r)); }
    if which < 6.5 { return from_srgb(vec3f(color.a)); }
    return from_srgb(vec3f(surface.a));
}

// Where a look along `towards` (in the cloth's frame, z out of it) meets the relief: texture coordinates. Marches the height field
// from its top, then narrows between the last two steps.
fn onto_relief(uv: vec2f, towards: vec3f) -> vec2f {
    let per_mm = material.opening.w;
    let low = material.plain.w;
    let span = material.opening.z;
    let strength = frame.look.w;
    if strength <= 0.0 || span <= 0.0 || per_mm <= 0.0 {
        return uv;
    }
    let up = max(towards.z, 0.2);
    // Texture coordinates that the look moves for a millimetre down; v runs down.
    let slide = vec2f(-towards.x, towards.y) / up * per_mm * strength;
    let start = low + span;
    let steps = 24.0;
    let drop = span / steps;
    var height = start;
    var at = uv - slide * start;
    var above = start;
    for (var i = 0; i < 24; i++) {
        let level = height - drop;
        let next = uv - slide * level;
        let there = low + span * textureSampleLevel(surface_map, cloth_sampler, next, 0.0).a;
        if there >= level {
            let before = max(above, 1e-6);
            let t = before / max(before + there - level, 1e-6);
            return mix(at, next, clamp(t, 0.0, 1.0));
        }
        above = level - there;
        height = level;
        at = next;
    }
    return at;
}

struct Light {
    @location(0) color: vec4f,
}

@fragment
fn cloth(in: Seen, @builtin(front_facing) front: bool) -> Light {
    let bias = frame.look.z;
    let sample = frame.key.w;
    let geometric = normalize(in.normal);
    let tangent = normalize(in.tangent.xyz - geometric * dot(geometric, in.tangent.xyz));
    let bitangent = in.tangent.w * cross(geometric, tangent);
    let v = normalize(frame.eye.xyz - in.world);
    let side = select(-1.0, 1.0, front);
    let towards = vec3f(dot(v, tangent), dot(v, bitangent), dot(v, geometric)) * vec3f(1.0, 1.0, side);
    let uv = onto_relief(in.uv, towards);
    let color = textureSampleBias(color_map, cloth_sampler, uv, bias);
    let stored = textureSampleBias(normal_map, cloth_sampler, uv, bias);
    let surface = textureSampleBias(surface_map, cloth_sampler, uv, bias);
    if open_here(color.a, in.clip.xy, front, sample) {
        discard;
    }
    let mapped = normalize(2.0 * stored.xyz - 1.0);
    if frame.look.x > 0.5 {
        return Light(vec4f(channel_shown(frame.look.x, color, mapped, surface), 1.0));
    }
    // From behind, the whole frame is turned about: relief that stands out in front is a dent behind.
    let out_of_cloth = geometric * side;
    var n = normalize(tangent * mapped.x + bitangent * mapped.y + geometric * mapped.z) * side;
    // A normal that faces away from the eye would be lit from where nobody sees.
    let away = dot(n, v);
    if away < 0.02 {
        n = normalize(n + v * (0.02 - away));
    }
    let n_v = max(dot(n, v), 1e-3);
    // Threads too fine for this distance make the cloth duller (Toksvig 2005): the mean normal is shorter than one.
    let spread = (1.0 - stored.w) / max(stored.w, 1e-3);
    let alpha_read = max(surface.g * surface.g, 0.002);
    let alpha = min(sqrt(alpha_read * alpha_read + min(2.0 * spread, 0.5)), 1.0);
    let roughness = sqrt(alpha);
    let metallic = surface.b;
    let base = color.rgb;

    let sheen = material.sheen.rgb;
    let sheen_roughness = max(material.sheen.w, 0.07);
    let sheen_alpha = sheen_roughness * sheen_roughness;
    let has_sheen = max(sheen.r, max(sheen.g, sheen.b));
    let at_view = textureSampleLevel(response, smooth_sampler, vec2f(n_v, roughness), 0.0);
    var sheen_view = 0.0;
    if has_sheen > 0.0 {
        sheen_view = textureSampleLevel(response, smooth_sampler, vec2f(n_v, sheen_roughness), 0.0).b;
    }
    let beneath_sheen = 1.0 - has_sheen * sheen_view;

    // The key light.
    let l = frame.key.xyz;
    let n_l = dot(n, l);
    var lit = vec3f(0.0);
    // Where light only grazes, flat triangles would shade one another in stripes that the round cloth they stand for has not.
    let grazing = smoothstep(0.0, 0.15, dot(out_of_cloth, l));
    if n_l > 0.0 && grazing > 0.0 {
        let h = normalize(l + v);
        let n_h = clamp(dot(n, h), 0.0, 1.0);
        var f = metallic_roughness(base, metallic, roughness, n_v, n_l, n_h, dot(v, h));
        if has_sheen > 0.0 {
            // Light passes the fibres on its way in and out: the larger loss counts (KHR_materials_sheen, albedo scaling).
            let sheen_light = textureSampleLevel(response, smooth_sampler, vec2f(n_l, sheen_roughness), 0.0).b;
            f *= 1.0 - has_sheen * max(sheen_view, sheen_light);
            f += sheen * d_charlie(n_h, sheen_alpha) * v_charlie(n_v, n_l, sheen_alpha);
        }
        lit += f * n_l * grazing * frame.key_light.rgb * lit_by(key_shadow, frame.key_from_world, in.world, out_of_cloth, l, frame.key_light.w);
    }

    // The sky: diffuse from this sample's piece of it, or from all at once; mirrored from its blurred pictures.
    let f0 = mix(vec3f(0.04), base, metallic);
    let specular = f0 * at_view.r + at_view.g;
    let dielectric = 0.04 * at_view.r + at_view.g;
    let diffuse = base * (1.0 - metallic) * (1.0 - dielectric);
    let mirrored = reflect(-v, n);
    let sky_mirrored = textureSampleLevel(reflected, smooth_sampler, mirrored, roughness * (frame.look.y - 1.0)).rgb;
    var sky_sheen = vec3f(0.0);
    if has_sheen > 0.0 {
        sky_sheen = textureSampleLevel(reflected, smooth_sampler, mirrored, sheen_roughness * (frame.look.y - 1.0)).rgb;
    }
    var open = 1.0;
    var from_sky = harmonics(n);
    if frame.eye.w < 0.5 {
        let s = frame.sky.xyz;
        let n_s = dot(n, s);
        var seen = 0.0;
        if dot(out_of_cloth, s) > 0.0 {
            seen = lit_by(sky_shadow, frame.sky_from_world, in.world, out_of_cloth, s, frame.sky_light.w);
        }
        // What hides the sky is cloth too, and sends some of its light.
        let reached = mix(frame.sky.w, 1.0, seen);
        from_sky = frame.sky_light.rgb * max(n_s, 0.0) / PI * reached;
        open = 4.0 * max(n_s, 0.0) * reached;
    }
    let occlusion = surface.r;
    lit += occlusion * beneath_sheen * diffuse * from_sky;
    lit += occlusion * open * (specular * sky_mirrored * beneath_sheen + sheen * sheen_view * sky_sheen);
    return Light(vec4f(min(lit, vec3f(256.0)), 1.0));
}

// The shadow maps: the same openings, by chance too.

struct Shade {
    from_world: mat4x4f,
    // x: this sample's number.
    sample: vec4f,
    // What lies behind this plane (xyz inward, w) is cut away and throws no shadow; all zeros: nothing is.
    cut: vec4f,
}

@group(0) @binding(7) var<uniform> shade: Shade;

struct Thrown {
    @builtin(position) clip: vec4f,
    @location(0) uv: vec2f,
    @location(1) kept: f32,
}

@vertex
fn shade_corner(in: Corner) -> Thrown {
    return Thrown(shade.from_world * vec4f(in.position, 1.0), in.uv, dot(shade.cut, vec4f(in.position, 1.0)));
}

@fragment
fn shade_cloth(in: Thrown, @builtin(front_facing) front: bool) {
    let opacity = textureSampleBias(color_map, cloth_sampler, in.uv, -0.5).a;
    if in.kept < 0.0 || open_here(opacity, in.clip.xy, front, shade.sample.x) {
        discard;
    }
}
