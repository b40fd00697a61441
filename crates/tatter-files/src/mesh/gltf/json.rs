//! The parts of a glTF 2.0 document that are needed, as written. Unknown keys are passed over, as the format asks.

use serde::Deserialize;

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Document {
    pub(super) asset: Asset,
    pub(super) scene: Option<usize>,
    #[serde(default)]
    pub(super) scenes: Vec<Scene>,
    #[serde(default)]
    pub(super) nodes: Vec<Node>,
    #[serde(default)]
    pub(super) meshes: Vec<MeshEntry>,
    #[serde(default)]
    pub(super) accessors: Vec<Accessor>,
    #[serde(default)]
    pub(super) buffer_views: Vec<View>,
    #[serde(default)]
    pub(super) buffers: Vec<Buffer>,
    #[serde(default)]
    pub(super) materials: Vec<MaterialEntry>,
    #[serde(default)]
    pub(super) textures: Vec<Texture>,
    #[serde(default)]
    pub(super) images: Vec<ImageEntry>,
    #[serde(default)]
    pub(super) skins: Vec<Skin>,
    #[serde(default)]
    pub(super) extensions_required: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Asset {
    pub(super) version: String,
    pub(super) min_version: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
pub(super) struct Scene {
    #[serde(default)]
    pub(super) nodes: Vec<usize>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Node {
    #[serde(default)]
    pub(super) name: String,
    #[serde(default)]
    pub(super) children: Vec<usize>,
    pub(super) mesh: Option<usize>,
    pub(super) skin: Option<usize>,
    pub(super) matrix: Option<[f32; 16]>,
    pub(super) translation: Option<[f32; 3]>,
    pub(super) rotation: Option<[f32; 4]>,
    pub(super) scale: Option<[f32; 3]>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Skin {
    pub(super) inverse_bind_matrices: Option<usize>,
    #[serde(default)]
    pub(super) joints: Vec<usize>,
}

#[derive(Debug, Deserialize)]
pub(super) struct MeshEntry {
    #[serde(default)]
    pub(super) name: String,
    #[serde(default)]
    pub(super) primitives: Vec<Primitive>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Primitive {
    #[serde(default)]
    pub(super) attributes: std::collections::BTreeMap<String, usize>,
    pub(super) indices: Option<usize>,
    pub(super) material: Option<usize>,
    #[serde(default = "triangles")]
    pub(super) mode: u32,
    #[serde(default)]
    pub(super) extensions: PrimitiveExtensions,
}

const fn triangles() -> u32 {
    4
}

#[derive(Debug, Default, Deserialize)]
pub(super) struct PrimitiveExtensions {
    #[serde(rename = "KHR_draco_mesh_compression")]
    pub(super) draco: Option<serde::de::IgnoredAny>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Accessor {
    pub(super) buffer_view: Option<usize>,
    #[serde(default)]
    pub(super) byte_offset: usize,
    pub(super) component_type: u32,
    #[serde(default)]
    pub(super) normalized: bool,
    pub(super) count: usize,
    #[serde(rename = "type")]
    pub(super) kind: String,
    pub(super) sparse: Option<Sparse>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Sparse {
    pub(super) count: usize,
    pub(super) indices: SparsePart,
    pub(super) values: SparsePart,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct SparsePart {
    pub(super) buffer_view: usize,
    #[serde(default)]
    pub(super) byte_offset: usize,
    #[serde(default)]
    pub(super) component_type: u32,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct View {
    pub(super) buffer: usize,
    #[serde(default)]
    pub(super) byte_offset: usize,
    pub(super) byte_length: usize,
    #[serde(default)]
    pub(super) byte_stride: usize,
    #[serde(default)]
    pub(super) extensions: ViewExtensions,
}

#[derive(Debug, Default, Deserialize)]
pub(super) struct ViewExtensions {
    #[serde(rename = "EXT_meshopt_compression")]
    pub(super) meshopt: Option<serde::de::IgnoredAny>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Buffer {
    pub(super) uri: Option<String>,
    pub(super) byte_length: usize,
}

#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct MaterialEntry {
    #[serde(default)]
    pub(super) name: String,
    #[serde(default)]
    pub(super) pbr_metallic_roughness: MetallicRoughness,
    pub(super) normal_texture: Option<TextureUse>,
    pub(super) occlusion_texture: Option<TextureUse>,
    pub(super) emissive_texture: Option<TextureUse>,
    #[serde(default)]
    pub(super) alpha_mode: String,
    pub(super) alpha_cutoff: Option<f32>,
    #[serde(default)]
    pub(super) double_sided: bool,
    #[serde(default)]
    pub(super) extensions: MaterialExtensions,
}

#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct MetallicRoughness {
    pub(super) base_color_factor: Option<[f32; 4]>,
    pub(super) metallic_factor: Option<f32>,
    pub(super) roughness_factor: Option<f32>,
    pub(super) base_color_texture: Option<TextureUse>,
    pub(super) metallic_roughness_texture: Option<TextureUse>,
}

#[derive(Debug, Default, Deserialize)]
pub(super) struct MaterialExtensions {
    #[serde(rename = "KHR_materials_pbrSpecularGlossiness")]
    pub(super) gloss: Option<SpecularGlossiness>,
    #[serde(rename = "KHR_materials_sheen")]
    pub(super) sheen: Option<Sheen>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct SpecularGlossiness {
    pub(super) diffuse_texture: Option<TextureUse>,
    pub(super) specular_glossiness_texture: Option<TextureUse>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Sheen {
    #[serde(default)]
    pub(super) sheen_color_factor: [f32; 3],
    #[serde(default)]
    pub(super) sheen_roughness_factor: f32,
    pub(super) sheen_color_texture: Option<TextureUse>,
    pub(super) sheen_roughness_texture: Option<TextureUse>,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct TextureUse {
    pub(super) index: usize,
    #[serde(default)]
    pub(super) tex_coord: u32,
    /// Of a normal texture.
    pub(super) scale: Option<f32>,
    /// Of an occlusion texture.
    pub(super) strength: Option<f32>,
    #[serde(default)]
    pub(super) extensions: TextureUseExtensions,
}

#[derive(Clone, Debug, Default, Deserialize)]
pub(super) struct TextureUseExtensions {
    #[serde(rename = "KHR_texture_transform")]
    pub(super) transform: Option<Transform>,
}

#[derive(Clone, Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Transform {
    pub(super) offset: Option<[f32; 2]>,
    #[serde(default)]
    pub(super) rotation: f32,
    pub(super) scale: Option<[f32; 2]>,
    pub(super) tex_coord: Option<u32>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Texture {
    pub(super) source: Option<usize>,
    #[serde(default)]
    pub(super) extensions: TextureExtensions,
}

#[derive(Debug, Default, Deserialize)]
pub(super) struct TextureExtensions {
    #[serde(rename = "EXT_texture_webp")]
    pub(super) webp: Option<Sourced>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Sourced {
    pub(super) source: Option<usize>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct ImageEntry {
    #[serde(default)]
    pub(super) name: String,
    pub(super) uri: Option<String>,
    pub(super) buffer_view: Option<usize>,
    #[serde(default)]
    pub(super) mime_type: String,
}
