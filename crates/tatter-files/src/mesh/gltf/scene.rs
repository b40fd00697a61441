//! Nodes with their transforms, and the triangles that hang on them.

use glam::{Mat3, Mat4, Quat, Vec2, Vec3};
use tatter_core::task::Note;

use super::json::{Node, Primitive};
use super::load::Loaded;
use super::{Fault, accessor};
use crate::mesh::Material;
use crate::mesh::finish::{MAX_CORNERS, RawPart};

/// One mesh where it stands.
struct Standing {
    mesh: usize,
    name: String,
    world: Mat4,
}

/// All triangles of the scene, in world space. `names` are the unique material names by number.
pub(super) fn parts(
    loaded: &Loaded,
    materials: &[Material],
    names: &[String],
    notes: &mut Vec<Note>,
) -> Result<Vec<RawPart>, Fault> {
    let mut raw = Vec::new();
    let mut read = 0_u64;
    for standing in standing(loaded, notes)? {
        let mesh = loaded.document.meshes.get(standing.mesh);
        let mesh = mesh.ok_or_else(|| Fault::damaged(format!("there is no mesh {}", standing.mesh)))?;
        let name = if standing.name.is_empty() { &mesh.name } else { &standing.name };
        for primitive in &mesh.primitives {
            let material = primitive.material.and_then(|m| materials.iter().find(|x| Some(&x.name) == names.get(m)));
            if let Some(part) = part(loaded, primitive, material, standing.world)? {
                read += part.positions.len() as u64 + part.triangles.len() as u64 / 2;
                if read > MAX_CORNERS {
                    return Err(Fault::Corners);
                }
                raw.push(RawPart { name: name.clone(), ..part });
            }
        }
    }
    Ok(raw)
}

/// Every mesh of the scene with its place; each node once, so that a ring of nodes ends.
fn standing(loaded: &Loaded, notes: &mut Vec<Note>) -> Result<Vec<Standing>, Fault> {
    let document = &loaded.document;
    let roots: Vec<usize> = match document.scenes.get(document.scene.unwrap_or(0)) {
        Some(scene) => scene.nodes.clone(),
        None if document.scene.is_some() => return Err(Fault::damaged("the scene that it names does not exist")),
        None => {
            let mut is_child = vec![false; document.nodes.len()];
            for &child in document.nodes.iter().flat_map(|n| &n.children) {
                if let Some(flag) = is_child.get_mut(child) {
                    *flag = true;
                }
            }
            (0..document.nodes.len()).filter(|&n| !is_child[n]).collect()
        }
    };
    if document.nodes.is_empty() && roots.is_empty() {
        let bare = |mesh| Standing { mesh, name: String::new(), world: Mat4::IDENTITY };
        return Ok((0..document.meshes.len()).map(bare).collect());
    }
    let mut world: Vec<Option<Mat4>> = vec![None; document.nodes.len()];
    let mut order = Vec::new();
    let mut stack: Vec<(usize, Mat4)> = roots.iter().rev().map(|&n| (n, Mat4::IDENTITY)).collect();
    while let Some((number, above)) = stack.pop() {
        let node = document.nodes.get(number).ok_or_else(|| Fault::damaged(format!("there is no node {number}")))?;
        if world[number].is_some() {
            return Err(Fault::damaged(format!("node {number} hangs on two nodes, or on itself")));
        }
        let here = above * local(node);
        world[number] = Some(here);
        order.push(number);
        stack.extend(node.children.iter().rev().map(|&child| (child, here)));
    }
    let mut found = Vec::new();
    for number in order {
        let node = &document.nodes[number];
        let Some(mesh) = node.mesh else { continue };
        let mut place = world[number].unwrap_or(Mat4::IDENTITY);
        if let Some(skin) = node.skin {
            place = resting(loaded, skin, &world)?;
            let text = format!("\"{}\" is bound to a skeleton; it was taken in its rest pose", node.name);
            notes.push(Note { code: "rest-pose", text });
        }
        if !place.is_finite() {
            return Err(Fault::damaged(format!("node {number} has a transform that is not finite")));
        }
        found.push(Standing { mesh, name: node.name.clone(), world: place });
    }
    Ok(found)
}

fn local(node: &Node) -> Mat4 {
    if let Some(matrix) = node.matrix {
        return Mat4::from_cols_array(&matrix);
    }
    let rotation = Quat::from_array(node.rotation.unwrap_or([0.0, 0.0, 0.0, 1.0]));
    let rotation = if rotation.length_squared() > 1e-12 { rotation.normalize() } else { Quat::IDENTITY };
    let scale = Vec3::from(node.scale.unwrap_or([1.0; 3]));
    Mat4::from_scale_rotation_translation(scale, rotation, Vec3::from(node.translation.unwrap_or([0.0; 3])))
}

/// In the rest pose every joint moves the skin alike, so the first one tells (glTF 2.0, 3.7.3.3).
fn resting(loaded: &Loaded, skin: usize, world: &[Option<Mat4>]) -> Result<Mat4, Fault> {
    let skin = loaded.document.skins.get(skin).ok_or_else(|| Fault::damaged(format!("there is no skin {skin}")))?;
    let joint = skin.joints.first().and_then(|&joint| *world.get(joint)?).unwrap_or(Mat4::IDENTITY);
    let bind = match skin.inverse_bind_matrices {
        Some(at) => accessor::floats(loaded, at, 16)?.first_chunk::<16>().map_or(Mat4::IDENTITY, Mat4::from_cols_array),
        None => Mat4::IDENTITY,
    };
    Ok(joint * bind)
}

/// One primitive, or `None` for points and lines.
fn part(loaded: &Loaded, primitive: &Primitive, material: Option<&Material>, world: Mat4) -> Result<Option<RawPart>, Fault> {
    if primitive.extensions.draco.is_some() {
        return Err(Fault::Unsupported("compressed geometry (KHR_draco_mesh_compression)".into()));
    }
    if !matches!(primitive.mode, 4..=6) {
        return Ok(None);
    }
    let attribute = |name: &str| primitive.attributes.get(name).copied();
    let Some(position) = attribute("POSITION") else { return Ok(None) };
    let positions = triples(accessor::floats(loaded, position, 3)?);
    let same_count = |count: usize, name: &str| {
        if count == positions.len() {
            Ok(())
        } else {
            Err(Fault::damaged(format!("{name} has {count} corners where POSITION has {}", positions.len())))
        }
    };
    let normals = attribute("NORMAL").map(|at| accessor::floats(loaded, at, 3).map(triples)).transpose()?.unwrap_or_default();
    if !normals.is_empty() {
        same_count(normals.len(), "NORMAL")?;
    }
    let set = material.map_or(0, |m| m.uv_set);
    let transform = material.map(|m| m.transform).unwrap_or_default();
    let mut uvs = Vec::new();
    if let Some(at) = attribute(&format!("TEXCOORD_{set}")).or_else(|| attribute("TEXCOORD_0")) {
        let flat = accessor::floats(loaded, at, 2)?;
        uvs = flat.chunks_exact(2).map(|uv| Vec2::from(transform.apply([uv[0], uv[1]]))).collect();
        same_count(uvs.len(), "TEXCOORD")?;
    }
    let order = match primitive.indices {
        Some(at) => accessor::indices(loaded, at)?,
        None => (0..positions.len() as u32).collect(),
    };
    if let Some(wrong) = order.iter().find(|&&i| i as usize >= positions.len()) {
        return Err(Fault::damaged(format!("a triangle names corner {wrong} of {}", positions.len())));
    }
    let triangles = triangles(primitive.mode, &order, world.determinant() < 0.0);
    let turn = Mat3::from_mat4(world).inverse().transpose();
    Ok(Some(RawPart {
        name: String::new(),
        material: material.map(|m| m.name.clone()).unwrap_or_default(),
        positions: positions.iter().map(|&p| world.transform_point3(p)).collect(),
        normals: normals.iter().map(|&n| (turn * n).normalize_or_zero()).collect(),
        uvs,
        triangles,
        flat: true,
    }))
}

fn triples(flat: Vec<f32>) -> Vec<Vec3> {
    flat.chunks_exact(3).map(Vec3::from_slice).collect()
}

/// Triangles from a list (4), strip (5) or fan (6); a mirroring transform turns them over.
fn triangles(mode: u32, order: &[u32], mirrored: bool) -> Vec<[u32; 3]> {
    let mut all: Vec<[u32; 3]> = match mode {
        5 => {
            order.windows(3).enumerate().map(|(n, w)| if n % 2 == 0 { [w[0], w[1], w[2]] } else { [w[1], w[0], w[2]] }).collect()
        }
        6 => order.get(1..).unwrap_or_default().windows(2).map(|w| [w[0], w[1], order[0]]).collect(),
        _ => order.chunks_exact(3).map(|c| [c[0], c[1], c[2]]).collect(),
    };
    if mirrored {
        for triangle in &mut all {
            triangle.swap(1, 2);
        }
    }
    all
}
