//! Sizes and rectangles in texels.

/// Width and height in texels.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Size {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
}

impl Size {
    /// Width and height.
    pub const fn new(width: usize, height: usize) -> Self {
        Self { width, height }
    }

    /// How many texels.
    pub const fn area(self) -> usize {
        self.width * self.height
    }
}

impl std::fmt::Display for Size {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} × {}", self.width, self.height)
    }
}

/// A rectangle of texels: `x..x + width`, `y..y + height`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Rect {
    /// First column.
    pub x: usize,
    /// First row.
    pub y: usize,
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
}

impl Rect {
    /// First column, first row, columns, rows.
    pub const fn new(x: usize, y: usize, width: usize, height: usize) -> Self {
        Self { x, y, width, height }
    }

    /// The whole of an image.
    pub const fn whole(size: Size) -> Self {
        Self::new(0, 0, size.width, size.height)
    }

    /// One past the last column.
    pub const fn right(self) -> usize {
        self.x + self.width
    }

    /// One past the last row.
    pub const fn bottom(self) -> usize {
        self.y + self.height
    }

    /// Columns and rows.
    pub const fn size(self) -> Size {
        Size::new(self.width, self.height)
    }

    /// Whether it holds no texel.
    pub const fn is_empty(self) -> bool {
        self.width == 0 || self.height == 0
    }

    /// Whether the texel lies in it.
    pub const fn contains(self, x: usize, y: usize) -> bool {
        x >= self.x && y >= self.y && x < self.right() && y < self.bottom()
    }

    /// What two rectangles share; empty when they do not touch.
    #[must_use]
    pub fn intersect(self, other: Self) -> Self {
        let (x, y) = (self.x.max(other.x), self.y.max(other.y));
        let (right, bottom) = (self.right().min(other.right()), self.bottom().min(other.bottom()));
        Self::new(x, y, right.saturating_sub(x), bottom.saturating_sub(y))
    }

    /// Grown by `margin` on every side, clipped to an image of `size`.
    #[must_use]
    pub fn grown(self, margin: usize, size: Size) -> Self {
        let (x, y) = (self.x.saturating_sub(margin), self.y.saturating_sub(margin));
        let (right, bottom) = ((self.right() + margin).min(size.width), (self.bottom() + margin).min(size.height));
        Self::new(x, y, right.saturating_sub(x), bottom.saturating_sub(y))
    }
}
