//! How much a file from outside may ask for.

/// Bounds on what is read; exceeding one is an error that states it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Most texels in one picture. Default 16384², four times the largest usual texture.
    pub max_texels: u64,
    /// Most bytes decoded for one picture. Default 4 GiB.
    pub max_bytes: u64,
    /// Largest file read. Default 4 GiB.
    pub max_file_bytes: u64,
}

impl Default for Limits {
    fn default() -> Self {
        Self { max_texels: 16_384 * 16_384, max_bytes: 4 << 30, max_file_bytes: 4 << 30 }
    }
}
