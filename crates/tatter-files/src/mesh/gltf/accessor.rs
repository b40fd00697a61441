//! Accessors: numbers out of buffers, whatever their component type, stride or sparseness.

use super::Fault;
use super::json::Accessor;
use super::load::Loaded;
use crate::mesh::finish::MAX_CORNERS;

fn components(kind: &str) -> Option<usize> {
    Some(match kind {
        "SCALAR" => 1,
        "VEC2" => 2,
        "VEC3" => 3,
        "VEC4" => 4,
        "MAT4" => 16,
        _ => return None,
    })
}

fn bytes_of(component_type: u32) -> Option<usize> {
    Some(match component_type {
        5120 | 5121 => 1,
        5122 | 5123 => 2,
        5125 | 5126 => 4,
        _ => return None,
    })
}

/// One component as a number; whole numbers scaled when `normalized` (glTF 2.0, 3.6.2.2).
fn number(bytes: &[u8], component_type: u32, normalized: bool) -> f32 {
    let scale = |value: f32, full: f32| if normalized { (value / full).max(-1.0) } else { value };
    match component_type {
        5120 => scale(f32::from(bytes[0] as i8), 127.0),
        5121 => scale(f32::from(bytes[0]), 255.0),
        5122 => scale(f32::from(i16::from_le_bytes([bytes[0], bytes[1]])), 32767.0),
        5123 => scale(f32::from(u16::from_le_bytes([bytes[0], bytes[1]])), 65535.0),
        5125 => u32::from_le_bytes([bytes[0], bytes[1], bytes[2], bytes[3]]) as f32,
        _ => f32::from_le_bytes([bytes[0], bytes[1], bytes[2], bytes[3]]),
    }
}

fn whole(bytes: &[u8], component_type: u32) -> u32 {
    match component_type {
        5121 => u32::from(bytes[0]),
        5123 => u32::from(u16::from_le_bytes([bytes[0], bytes[1]])),
        _ => u32::from_le_bytes([bytes[0], bytes[1], bytes[2], bytes[3]]),
    }
}

fn entry(loaded: &Loaded, number: usize) -> Result<&Accessor, Fault> {
    loaded.document.accessors.get(number).ok_or_else(|| Fault::damaged(format!("there is no accessor {number}")))
}

/// Elements in a view: their bytes, one slice an element.
fn elements<'a>(
    loaded: &'a Loaded,
    what: &str,
    view: usize,
    offset: usize,
    size: usize,
    count: usize,
) -> Result<impl Iterator<Item = &'a [u8]> + use<'a>, Fault> {
    let (bytes, stride) = loaded.view(view)?;
    let stride = if stride == 0 { size } else { stride };
    if stride < size {
        return Err(Fault::damaged(format!("{what}: elements of {size} bytes overlap at a stride of {stride}")));
    }
    let end = count.saturating_sub(1).checked_mul(stride).and_then(|n| n.checked_add(offset)?.checked_add(size));
    if count > 0 && end.is_none_or(|end| end > bytes.len()) {
        return Err(Fault::damaged(format!("{what} reaches outside its buffer view")));
    }
    Ok((0..count).map(move |i| &bytes[offset + i * stride..offset + i * stride + size]))
}

/// All numbers of an accessor in order, with the count of components asked for.
pub(super) fn floats(loaded: &Loaded, at: usize, wanted: usize) -> Result<Vec<f32>, Fault> {
    let accessor = entry(loaded, at)?;
    let what = format!("accessor {at}");
    let has = components(&accessor.kind).ok_or_else(|| Fault::damaged(format!("{what} is of an unknown type")))?;
    let size =
        bytes_of(accessor.component_type).ok_or_else(|| Fault::damaged(format!("{what} is of an unknown component type")))?;
    if has != wanted {
        return Err(Fault::damaged(format!("{what} has {has} components where {wanted} are needed")));
    }
    if accessor.count as u64 > MAX_CORNERS {
        return Err(Fault::Corners);
    }
    let read = |bytes: &[u8], out: &mut [f32]| {
        for (i, value) in out.iter_mut().enumerate() {
            *value = number(&bytes[i * size..], accessor.component_type, accessor.normalized);
        }
    };
    let mut out = Vec::new();
    if let Some(view) = accessor.buffer_view {
        // The view is checked before the memory is taken.
        let all = elements(loaded, &what, view, accessor.byte_offset, has * size, accessor.count)?;
        out = vec![0.0; accessor.count * has];
        for (bytes, place) in all.zip(out.chunks_exact_mut(has)) {
            read(bytes, place);
        }
    } else if accessor.sparse.is_none() {
        return Err(Fault::damaged(format!("{what} has no data")));
    } else {
        out.resize(accessor.count * has, 0.0);
    }
    if let Some(sparse) = &accessor.sparse {
        let kind = sparse.indices.component_type;
        let width = bytes_of(kind).filter(|_| matches!(kind, 5121 | 5123 | 5125));
        let width = width.ok_or_else(|| Fault::damaged(format!("{what} has sparse indices of a wrong type")))?;
        let places = elements(loaded, &what, sparse.indices.buffer_view, sparse.indices.byte_offset, width, sparse.count)?;
        let values = elements(loaded, &what, sparse.values.buffer_view, sparse.values.byte_offset, has * size, sparse.count)?;
        for (place, bytes) in places.zip(values) {
            let first = whole(place, kind) as usize * has;
            let target = out.get_mut(first..first + has);
            read(bytes, target.ok_or_else(|| Fault::damaged(format!("{what} has a sparse index out of range")))?);
        }
    }
    Ok(out)
}

/// Corner numbers.
pub(super) fn indices(loaded: &Loaded, at: usize) -> Result<Vec<u32>, Fault> {
    let accessor = entry(loaded, at)?;
    let what = format!("accessor {at}");
    let kind = accessor.component_type;
    let size = bytes_of(kind).filter(|_| matches!(kind, 5121 | 5123 | 5125) && accessor.kind == "SCALAR");
    let size = size.ok_or_else(|| Fault::damaged(format!("{what} cannot hold corner numbers")))?;
    let view = accessor.buffer_view.ok_or_else(|| Fault::damaged(format!("{what} has no data")))?;
    if accessor.count as u64 > 6 * MAX_CORNERS {
        return Err(Fault::Corners);
    }
    Ok(elements(loaded, &what, view, accessor.byte_offset, size, accessor.count)?.map(|bytes| whole(bytes, kind)).collect())
}
