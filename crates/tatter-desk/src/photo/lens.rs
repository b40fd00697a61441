//! How near a photo is looked at, and which part of it.

use egui::{Pos2, Rect, Vec2, vec2};
use tatter_core::image::Size;

/// How near one may come: a pixel of a large photo is some points wide.
const NEAREST: f32 = 60.0;
/// Share of the view that a whole photo fills.
const FILLED: f32 = 0.97;

/// Where one looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Lens {
    /// How many times nearer than where all of it is seen.
    near: f32,
    /// What is in the middle of the view, in shares of the photo's sides.
    middle: [f32; 2],
}

impl Default for Lens {
    fn default() -> Self {
        Self { near: 1.0, middle: [0.5; 2] }
    }
}

impl Lens {
    /// Nearer by a factor; a place of the photo stays where it is seen.
    pub(crate) fn nearer(self, factor: f32, at: [f32; 2]) -> Self {
        let near = (self.near * factor).clamp(0.5, NEAREST);
        let middle = [0, 1].map(|c: usize| (at[c] + (self.middle[c] - at[c]) * self.near / near).clamp(0.0, 1.0));
        Self { near, middle }
    }

    /// The photo follows the pointer.
    pub(crate) fn shifted(self, by: [f32; 2]) -> Self {
        Self { middle: [0, 1].map(|c: usize| (self.middle[c] - by[c]).clamp(0.0, 1.0)), ..self }
    }

    /// Where a photo lies in a view.
    pub(crate) fn lay(self, view: Rect, size: Size) -> Laid {
        let sides = vec2(size.width as f32, size.height as f32);
        let fits = (view.width() / sides.x).min(view.height() / sides.y) * FILLED;
        let points = fits * self.near;
        let from_middle = vec2(self.middle[0] - 0.5, self.middle[1] - 0.5) * sides * points;
        Laid { rect: Rect::from_center_size(view.center() - from_middle, sides * points), points }
    }
}

/// A photo in a view.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Laid {
    /// Where.
    pub(crate) rect: Rect,
    /// Points a photo pixel.
    pub(crate) points: f32,
}

impl Laid {
    /// Where a place of the photo is seen.
    pub(crate) fn pos(&self, [x, y]: [f32; 2]) -> Pos2 {
        self.rect.min + vec2(x, y) * self.points
    }

    /// The place of the photo that is seen there.
    pub(crate) fn place(&self, pos: Pos2) -> [f32; 2] {
        let Vec2 { x, y } = (pos - self.rect.min) / self.points;
        [x, y]
    }

    /// The same in shares of its sides.
    pub(crate) fn share(&self, pos: Pos2) -> [f32; 2] {
        let Vec2 { x, y } = (pos - self.rect.min) / self.rect.size();
        [x, y]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_under_the_pointer_stays_there() {
        let view = Rect::from_min_size(Pos2::new(40.0, 60.0), vec2(800.0, 500.0));
        let size = Size::new(4000, 3000);
        let lens = Lens::default().nearer(2.0, [0.5, 0.5]);
        let pointer = Pos2::new(300.0, 200.0);
        let before = lens.lay(view, size);
        let nearer = lens.nearer(1.7, before.share(pointer));
        let after = nearer.lay(view, size).place(pointer);
        let there = before.place(pointer);
        assert!((after[0] - there[0]).abs() < 0.5 && (after[1] - there[1]).abs() < 0.5, "{there:?} became {after:?}");
        let whole = Lens::default().lay(view, size).rect;
        assert!(view.contains_rect(whole) && whole.height() > 480.0, "at first all of it is seen, and fills the view: {whole:?}");
        let shifted = lens.shifted([0.1, 0.0]).lay(view, size).rect;
        assert!((shifted.left() - before.rect.left() - 0.1 * before.rect.width()).abs() < 0.5, "it follows the hand");
    }
}
