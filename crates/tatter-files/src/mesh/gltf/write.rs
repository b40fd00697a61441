//! Our own garments as GLB: one node and mesh a part, textures beside the file or inside it.

use serde_json::{Map, Value, json};
use tatter_core::mesh::{Mesh, Part};

use crate::mesh::Factors;

/// A picture of a material to be written.
#[derive(Clone, Debug, PartialEq)]
pub enum ImageRef {
    /// A file relative to the GLB, `/` between folders.
    File(String),
    /// Put into the GLB.
    Embedded {
        /// Its name, for people.
        name: String,
        /// `image/png` or `image/jpeg`.
        media_type: &'static str,
        /// The encoded picture.
        bytes: Vec<u8>,
    },
}

/// A material to be written; the part names it by its name.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MaterialToWrite {
    /// As in [`Part::material`].
    pub name: String,
    /// sRGB colour, opacity in alpha when `alpha_cutoff` is given.
    pub base_color: Option<ImageRef>,
    /// Roughness in green, metallic in blue, occlusion in red when `occlusion` names the same picture.
    pub metallic_roughness: Option<ImageRef>,
    /// Tangent-space normals, +Y up.
    pub normal: Option<ImageRef>,
    /// Occlusion in red.
    pub occlusion: Option<ImageRef>,
    /// Base colour alpha at or above it is cloth, below it see-through; `None`: opaque, unless it is blended.
    pub alpha_cutoff: Option<f32>,
    /// Base colour alpha is see-through by degrees; counts over the cutoff.
    pub alpha_blend: bool,
    /// What textures are multiplied with; `None`: by one, and without a texture cloth is no metal.
    pub factors: Option<Factors>,
    /// Sheen of raised fibres (`KHR_materials_sheen`): linear colour, and roughness; `None`: none.
    pub sheen: Option<([f32; 3], f32)>,
    /// Share of the light of the base colour that goes through to the other side, in alpha (`KHR_materials_diffuse_transmission`).
    pub diffuse_transmission: Option<ImageRef>,
    /// Whether back faces are seen: true for thin cloth.
    pub double_sided: bool,
}

/// What grows while the document is put together.
#[derive(Default)]
struct Writer {
    bin: Vec<u8>,
    views: Vec<Value>,
    accessors: Vec<Value>,
    images: Vec<(ImageRef, Value)>,
}

const ARRAY_BUFFER: u32 = 34962;
const ELEMENT_BUFFER: u32 = 34963;
const SHEEN: &str = "KHR_materials_sheen";
const THROUGH: &str = "KHR_materials_diffuse_transmission";

/// A GLB file (glTF 2.0, 4) of a mesh whose positions are metres.
///
/// Parts without triangles are left out: the format does not allow them.
pub fn write_glb(mesh: &Mesh, materials: &[MaterialToWrite]) -> Vec<u8> {
    let (root, bin) = document(mesh, materials, None);
    container(&root.to_string(), &bin)
}

/// A glTF file and the bytes of its buffer, which is to lie beside it under the name `buffer`; otherwise as [`write_glb`].
pub fn write_gltf(mesh: &Mesh, materials: &[MaterialToWrite], buffer: &str) -> (Vec<u8>, Vec<u8>) {
    let (root, bin) = document(mesh, materials, Some(buffer));
    (format!("{root:#}\n").into_bytes(), bin)
}

/// The description, and the bytes of its one buffer.
fn document(mesh: &Mesh, materials: &[MaterialToWrite], buffer: Option<&str>) -> (Value, Vec<u8>) {
    let mut writer = Writer::default();
    let parts: Vec<&Part> = mesh.parts.iter().filter(|part| !part.triangles.is_empty()).collect();
    let meshes: Vec<Value> = parts.iter().map(|part| writer.mesh(part, materials)).collect();
    let written: Vec<Value> = materials.iter().map(|material| writer.material(material)).collect();
    let nodes: Vec<Value> = parts.iter().enumerate().map(|(n, part)| json!({"name": part.name, "mesh": n})).collect();
    let mut root = Map::new();
    root.insert("asset".into(), json!({"version": "2.0", "generator": concat!("Tatter ", env!("CARGO_PKG_VERSION"))}));
    let sheen = materials.iter().any(|material| material.sheen.is_some()).then_some(SHEEN);
    let through = materials.iter().any(|material| material.diffuse_transmission.is_some()).then_some(THROUGH);
    let used: Vec<&str> = sheen.into_iter().chain(through).collect();
    if !used.is_empty() {
        root.insert("extensionsUsed".into(), json!(used));
    }
    if !nodes.is_empty() {
        root.insert("scene".into(), json!(0));
        root.insert("scenes".into(), json!([{"nodes": (0..nodes.len()).collect::<Vec<_>>()}]));
    }
    let textures: Vec<Value> = (0..writer.images.len()).map(|n| json!({"source": n, "sampler": 0})).collect();
    if !textures.is_empty() {
        // Linear with mip levels, repeating: what renderers do anyway, said aloud.
        let sampler = json!({"magFilter": 9729, "minFilter": 9987, "wrapS": 10497, "wrapT": 10497});
        root.insert("samplers".into(), json!([sampler]));
    }
    let images = writer.images.into_iter().map(|(_, value)| value).collect();
    // The format forbids empty lists.
    for (key, list) in [
        ("nodes", nodes),
        ("meshes", meshes),
        ("materials", written),
        ("textures", textures),
        ("images", images),
        ("accessors", writer.accessors),
        ("bufferViews", writer.views),
    ] {
        if !list.is_empty() {
            root.insert(key.into(), Value::Array(list));
        }
    }
    if !writer.bin.is_empty() {
        let mut own = json!({"byteLength": writer.bin.len()});
        if let Some(name) = buffer {
            own["uri"] = json!(percent_encoded(name));
        }
        root.insert("buffers".into(), json!([own]));
    }
    (Value::Object(root), writer.bin)
}

/// Header and chunks, each padded to four bytes: the description with spaces, the data with zeros.
fn container(description: &str, bin: &[u8]) -> Vec<u8> {
    let mut json = description.as_bytes().to_vec();
    json.resize(json.len().next_multiple_of(4), b' ');
    let bin_length = bin.len().next_multiple_of(4);
    let total = 12 + 8 + json.len() + if bin.is_empty() { 0 } else { 8 + bin_length };
    let mut out = Vec::with_capacity(total);
    out.extend_from_slice(b"glTF");
    out.extend_from_slice(&2_u32.to_le_bytes());
    out.extend_from_slice(&(total as u32).to_le_bytes());
    out.extend_from_slice(&(json.len() as u32).to_le_bytes());
    out.extend_from_slice(b"JSON");
    out.extend_from_slice(&json);
    if !bin.is_empty() {
        out.extend_from_slice(&(bin_length as u32).to_le_bytes());
        out.extend_from_slice(b"BIN\0");
        out.extend_from_slice(bin);
        out.resize(total, 0);
    }
    out
}

impl Writer {
    fn view(&mut self, bytes: impl Iterator<Item = u8>, target: Option<u32>) -> usize {
        self.bin.resize(self.bin.len().next_multiple_of(4), 0);
        let start = self.bin.len();
        self.bin.extend(bytes);
        let mut view = json!({"buffer": 0, "byteOffset": start, "byteLength": self.bin.len() - start});
        if let Some(target) = target {
            view["target"] = json!(target);
        }
        self.views.push(view);
        self.views.len() - 1
    }

    fn floats<const N: usize>(&mut self, values: &[[f32; N]], kind: &str, bounded: bool) -> usize {
        let view = self.view(values.iter().flatten().flat_map(|v| v.to_le_bytes()), Some(ARRAY_BUFFER));
        let mut accessor = json!({"bufferView": view, "componentType": 5126, "count": values.len(), "type": kind});
        if bounded {
            let low: Vec<f32> = (0..N).map(|i| values.iter().map(|v| v[i]).fold(f32::INFINITY, f32::min)).collect();
            let high: Vec<f32> = (0..N).map(|i| values.iter().map(|v| v[i]).fold(f32::NEG_INFINITY, f32::max)).collect();
            accessor["min"] = json!(low);
            accessor["max"] = json!(high);
        }
        self.accessors.push(accessor);
        self.accessors.len() - 1
    }

    fn mesh(&mut self, part: &Part, materials: &[MaterialToWrite]) -> Value {
        let positions: Vec<[f32; 3]> = part.positions.iter().map(|p| p.to_array()).collect();
        let normals: Vec<[f32; 3]> = part.normals.iter().map(|n| n.to_array()).collect();
        let uvs: Vec<[f32; 2]> = part.uvs.iter().map(|uv| uv.to_array()).collect();
        let position = self.floats(&positions, "VEC3", true);
        let normal = self.floats(&normals, "VEC3", false);
        let uv = self.floats(&uvs, "VEC2", false);
        let corners = part.triangles.iter().flatten();
        // The largest number of each width is reserved (glTF 2.0, 3.7.2.1).
        let (order, width) = if part.positions.len() <= usize::from(u16::MAX) {
            (self.view(corners.flat_map(|&i| (i as u16).to_le_bytes()), Some(ELEMENT_BUFFER)), 5123)
        } else {
            (self.view(corners.flat_map(|i| i.to_le_bytes()), Some(ELEMENT_BUFFER)), 5125)
        };
        let count = part.triangles.len() * 3;
        self.accessors.push(json!({"bufferView": order, "componentType": width, "count": count, "type": "SCALAR"}));
        let mut primitive = json!({
            "attributes": {"POSITION": position, "NORMAL": normal, "TEXCOORD_0": uv},
            "indices": self.accessors.len() - 1,
        });
        if let Some(number) = materials.iter().position(|m| m.name == part.material) {
            primitive["material"] = json!(number);
        }
        json!({"name": part.name, "primitives": [primitive]})
    }

    fn material(&mut self, material: &MaterialToWrite) -> Value {
        let mut surface = Map::new();
        if let Some(image) = &material.base_color {
            surface.insert("baseColorTexture".into(), self.texture(image));
        }
        if let Some(image) = &material.metallic_roughness {
            surface.insert("metallicRoughnessTexture".into(), self.texture(image));
        } else if material.factors.is_none() {
            // Without a texture the format's defaults would make the cloth bare metal.
            surface.insert("metallicFactor".into(), json!(0.0));
        }
        let usual = Factors::default();
        let own = material.factors.unwrap_or_default();
        if own.base_color != usual.base_color {
            surface.insert("baseColorFactor".into(), json!(own.base_color));
        }
        for (key, value, usual) in
            [("metallicFactor", own.metallic, usual.metallic), ("roughnessFactor", own.roughness, usual.roughness)]
        {
            if value != usual {
                surface.insert(key.into(), json!(value));
            }
        }
        let mut value = json!({"name": material.name, "pbrMetallicRoughness": surface, "doubleSided": material.double_sided});
        if let Some(image) = &material.normal {
            value["normalTexture"] = self.texture(image);
            if own.normal_scale != usual.normal_scale {
                value["normalTexture"]["scale"] = json!(own.normal_scale);
            }
        }
        if let Some(image) = &material.occlusion {
            value["occlusionTexture"] = self.texture(image);
            if own.occlusion_strength != usual.occlusion_strength {
                value["occlusionTexture"]["strength"] = json!(own.occlusion_strength);
            }
        }
        if material.alpha_blend {
            value["alphaMode"] = json!("BLEND");
        } else if let Some(cutoff) = material.alpha_cutoff {
            value["alphaMode"] = json!("MASK");
            value["alphaCutoff"] = json!(cutoff);
        }
        if let Some((color, roughness)) = material.sheen {
            value["extensions"][SHEEN] = json!({"sheenColorFactor": color, "sheenRoughnessFactor": roughness});
        }
        if let Some(image) = &material.diffuse_transmission {
            let mut through = json!({"diffuseTransmissionFactor": 1.0, "diffuseTransmissionTexture": self.texture(image)});
            // Light takes the dye's colour on its way.
            if let Some(color) = &material.base_color {
                through["diffuseTransmissionColorTexture"] = self.texture(color);
            }
            value["extensions"][THROUGH] = through;
        }
        value
    }

    fn texture(&mut self, image: &ImageRef) -> Value {
        if let Some(number) = self.images.iter().position(|(known, _)| known == image) {
            return json!({"index": number});
        }
        let value = match image {
            ImageRef::File(path) => json!({"uri": percent_encoded(path)}),
            ImageRef::Embedded { name, media_type, bytes } => {
                let view = self.view(bytes.iter().copied(), None);
                json!({"name": name, "mimeType": media_type, "bufferView": view})
            }
        };
        self.images.push((image.clone(), value));
        json!({"index": self.images.len() - 1})
    }
}

/// A path as a relative reference (RFC 3986): unreserved letters and slashes stay.
fn percent_encoded(path: &str) -> String {
    path.bytes()
        .map(|byte| match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'_' | b'.' | b'~' | b'/' => char::from(byte).to_string(),
            _ => format!("%{byte:02X}"),
        })
        .collect()
}
