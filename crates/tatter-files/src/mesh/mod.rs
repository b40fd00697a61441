//! Meshes in and out: glTF, GLB, OBJ and FBX become [`MeshFile`]; our own garments are written as GLB.
//!
//! What it is not: it opens no texture. It says which files a material names and what they hold.

mod error;
mod fbx;
mod finish;
mod folder;
mod gltf;
mod obj;
mod source;
mod texture;

use std::path::Path;

use tatter_core::mesh::Mesh;
use tatter_core::model::MapRole;
use tatter_core::task::Note;

pub use error::MeshError;
pub use folder::{find_files, unpack_textures};
pub use gltf::{ImageRef, MaterialToWrite, write_glb, write_gltf};

use crate::limits::Limits;

/// Where the size of a mesh unit comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UnitSource {
    /// The format states it (glTF 2.0: metres), or the file does (FBX).
    Stated,
    /// Guessed from how large garments are.
    Assumed,
}

/// A mesh file as read.
#[derive(Clone, Debug)]
pub struct MeshFile {
    /// The surface. Texture coordinates are those that the maps of a part's material are read with: the right set, any
    /// texture transform applied.
    pub mesh: Mesh,
    /// Millimetres in one unit of the mesh.
    pub mm_per_unit: f32,
    /// Where that comes from.
    pub unit_source: UnitSource,
    /// The materials that parts use, in the order of their first use.
    pub materials: Vec<Material>,
    /// Guesses, repairs and things left out.
    pub notes: Vec<Note>,
}

/// How a material treats the alpha of its base colour.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum AlphaMode {
    /// Alpha means nothing.
    #[default]
    Opaque,
    /// Alpha is see-through or not, at a threshold.
    Mask,
    /// Alpha is see-through by degrees.
    Blend,
}

/// What the textures of a material are multiplied with (glTF 2.0, 3.9); without a texture the value itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Factors {
    /// Linear colour and alpha.
    pub base_color: [f32; 4],
    /// Metallic.
    pub metallic: f32,
    /// Roughness.
    pub roughness: f32,
    /// Slopes of normals.
    pub normal_scale: f32,
    /// How much of the occlusion counts.
    pub occlusion_strength: f32,
}

impl Default for Factors {
    fn default() -> Self {
        Self { base_color: [1.0; 4], metallic: 1.0, roughness: 1.0, normal_scale: 1.0, occlusion_strength: 1.0 }
    }
}

/// A material and the textures it names.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Material {
    /// Its name in the file, made unique; `material-N` when it has none.
    pub name: String,
    /// Textures that hold channels of ours and lie under the part's texture coordinates.
    pub textures: Vec<TextureRef>,
    /// Textures left aside, with the reason, one sentence each.
    pub left_aside: Vec<String>,
    /// What its alpha means.
    pub alpha: AlphaMode,
    /// Where masked: alpha at or above it is seen; `None` where the file does not say.
    pub alpha_cutoff: Option<f32>,
    /// What its textures are multiplied with; `None` where the format knows no such thing.
    pub factors: Option<Factors>,
    /// Sheen of raised fibres by numbers alone: linear colour, and roughness.
    pub sheen: Option<([f32; 3], f32)>,
    /// Whether its back faces are seen.
    pub double_sided: bool,
    /// Which set of texture coordinates its maps are read with.
    pub uv_set: u32,
    /// What is done to the texture coordinates before its maps are read.
    pub transform: UvTransform,
}

/// A texture as a material names it.
#[derive(Clone, Debug, PartialEq)]
pub struct TextureRef {
    /// Where it is.
    pub source: TextureSource,
    /// What it holds.
    pub roles: Vec<MapRole>,
}

/// Where a texture is.
#[derive(Clone, PartialEq)]
pub enum TextureSource {
    /// A file relative to the mesh's folder, `/` between folders. It need not exist.
    File(String),
    /// Inside the mesh file.
    Embedded {
        /// Its name in the file, or `image-N`, without extension.
        name: String,
        /// File extension that fits its bytes.
        extension: &'static str,
        /// The encoded picture.
        bytes: Vec<u8>,
    },
}

impl std::fmt::Debug for TextureSource {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::File(path) => f.debug_tuple("File").field(path).finish(),
            Self::Embedded { name, extension, bytes } => write!(f, "Embedded({name}.{extension}, {} bytes)", bytes.len()),
        }
    }
}

/// Shift, turn and scale of texture coordinates (`KHR_texture_transform`).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UvTransform {
    /// Added last, UV units.
    pub offset: [f32; 2],
    /// Radians, as the extension counts them.
    pub rotation: f32,
    /// Applied first.
    pub scale: [f32; 2],
}

impl Default for UvTransform {
    fn default() -> Self {
        Self { offset: [0.0; 2], rotation: 0.0, scale: [1.0; 2] }
    }
}

impl UvTransform {
    /// The texture coordinate that is looked up for `uv`.
    pub fn apply(&self, [u, v]: [f32; 2]) -> [f32; 2] {
        let (u, v) = (u * self.scale[0], v * self.scale[1]);
        let (sin, cos) = self.rotation.sin_cos();
        [cos * u + sin * v + self.offset[0], cos * v - sin * u + self.offset[1]]
    }
}

/// The endings of mesh files that can be read, for file dialogs and messages.
pub const EXTENSIONS: [&str; 4] = ["glb", "gltf", "obj", "fbx"];

/// Reads a glTF, GLB, OBJ or FBX file with all that it refers to except pictures.
///
/// # Errors
/// [`MeshError`]: not found, damaged, larger than `limits`, no triangles, no texture coordinates.
pub fn read_mesh(path: &Path, limits: &Limits) -> Result<MeshFile, MeshError> {
    let bytes = source::read_file(path, path, limits)?;
    let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
    if bytes.starts_with(b"glTF") || matches!(extension.as_str(), "gltf" | "glb") {
        return gltf::read(path, bytes, limits);
    }
    if extension == "obj" {
        return obj::read(path, &bytes, limits);
    }
    if extension == "fbx" || fbx::is_fbx(&bytes) {
        return fbx::read(path, &bytes, limits);
    }
    Err(MeshError::UnknownFormat { path: path.to_owned() })
}
