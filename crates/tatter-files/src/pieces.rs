//! The bytes of a file in the pieces they were made in.

/// What a file will hold, piece after piece. To join the packed bands of a large picture would copy all of it once more, into memory
/// that is fresh each time.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Pieces(Vec<Vec<u8>>);

impl Pieces {
    /// Bytes of all pieces.
    pub fn len(&self) -> usize {
        self.0.iter().map(Vec::len).sum()
    }

    /// Whether there is no byte.
    pub fn is_empty(&self) -> bool {
        self.0.iter().all(Vec::is_empty)
    }

    /// The pieces in order.
    pub fn iter(&self) -> impl Iterator<Item = &[u8]> {
        self.0.iter().map(Vec::as_slice)
    }

    /// All in one.
    pub fn join(mut self) -> Vec<u8> {
        if self.0.len() == 1 { self.0.swap_remove(0) } else { self.0.concat() }
    }
}

impl From<Vec<u8>> for Pieces {
    fn from(bytes: Vec<u8>) -> Self {
        Self(vec![bytes])
    }
}

impl From<Vec<Vec<u8>>> for Pieces {
    fn from(pieces: Vec<Vec<u8>>) -> Self {
        Self(pieces)
    }
}
