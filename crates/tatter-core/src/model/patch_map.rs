//! One map of a patch: computed, or as its file holds it until somebody wants the whole.

use std::ops::Range;
use std::sync::OnceLock;

use super::Origin;
use crate::channel::Kind;
use crate::image::{Coding, HeightMm, Image, LinearRgb, Map, MapRow, Normal, Size, Stored, Unit};
use crate::kernel::area_resize_rows;

/// One map with where it came from.
///
/// A map that was read from a file stays as the file holds it, a third to an eighth of what it takes decoded, and gives rows and texels from
/// there; [`PatchMap::map`] decodes it whole, once.
#[derive(Clone, Debug)]
pub struct PatchMap {
    texels: Texels,
    /// How far to trust it.
    pub origin: Origin,
    /// How it was made, one line for people.
    pub how: String,
}

#[derive(Clone, Debug)]
enum Texels {
    Made(Map),
    Filed(Box<Filed>),
}

#[derive(Clone, Debug)]
struct Filed {
    stored: Stored,
    kind: Kind,
    coding: Coding,
    whole: OnceLock<Map>,
}

impl PatchMap {
    /// Of a map that is there.
    pub fn new(map: Map, origin: Origin, how: impl Into<String>) -> Self {
        Self { texels: Texels::Made(map), origin, how: how.into() }
    }

    /// Of a picture that holds a map of some kind, coded so. A kind that needs three components reads the grey of a grey picture three times.
    pub fn filed(stored: Stored, kind: Kind, coding: Coding, origin: Origin, how: impl Into<String>) -> Self {
        Self { texels: Texels::Filed(Box::new(Filed { stored, kind, coding, whole: OnceLock::new() })), origin, how: how.into() }
    }

    /// Columns and rows.
    pub const fn size(&self) -> Size {
        match &self.texels {
            Texels::Made(map) => map.size(),
            Texels::Filed(filed) => filed.stored.size,
        }
    }

    /// The kind of its texels.
    pub const fn kind(&self) -> Kind {
        match &self.texels {
            Texels::Made(map) => map.kind(),
            Texels::Filed(filed) => filed.kind,
        }
    }

    /// The whole, decoded the first time it is asked for, and kept. Who reads each row once asks for rows instead.
    pub fn map(&self) -> &Map {
        match &self.texels {
            Texels::Made(map) => map,
            Texels::Filed(filed) => filed.whole.get_or_init(|| filed.stored.decode_whole(filed.kind, &filed.coding)),
        }
    }

    /// The whole, to be changed.
    pub fn map_mut(&mut self) -> &mut Map {
        if let Texels::Filed(filed) = &mut self.texels {
            let whole = filed.whole.take().unwrap_or_else(|| filed.stored.decode_whole(filed.kind, &filed.coding));
            self.texels = Texels::Made(whole);
        }
        match &mut self.texels {
            Texels::Made(map) => map,
            Texels::Filed(_) => unreachable!("just replaced"),
        }
    }

    /// Columns of a row, to the same bits as the whole has them.
    ///
    /// # Panics
    /// When they reach outside: a bug of the caller.
    pub fn row(&self, y: usize, columns: Range<usize>) -> MapRow<'_> {
        match &self.texels {
            Texels::Made(map) => map.row(y, columns),
            Texels::Filed(filed) => match filed.whole.get() {
                Some(map) => map.row(y, columns),
                None => filed.stored.decode_row(filed.kind, &filed.coding, y, columns),
            },
        }
    }

    /// The mean colour in each of `width` × `height` cells; `None` of any other kind.
    pub fn color_cells(&self, width: usize, height: usize) -> Option<Image<LinearRgb>> {
        let columns = 0..self.size().width;
        let row = |y| self.row(y, columns.clone()).into_colors().unwrap_or_default();
        (self.kind() == Kind::Color).then(|| area_resize_rows(self.size(), width, height, row))
    }

    /// The mean scalar in each of `width` × `height` cells; `None` of any other kind.
    pub fn unit_cells(&self, width: usize, height: usize) -> Option<Image<Unit>> {
        let columns = 0..self.size().width;
        let row = |y| self.row(y, columns.clone()).into_units().unwrap_or_default();
        (self.kind() == Kind::Unit).then(|| area_resize_rows(self.size(), width, height, row))
    }

    /// One texel of a colour; `None` of any other kind. What [`PatchMap::row`] gives for many.
    #[inline]
    pub fn color_at(&self, x: usize, y: usize) -> Option<LinearRgb> {
        match &self.texels {
            Texels::Made(map) => map.as_color().map(|image| image.get(x, y)),
            Texels::Filed(filed) => (filed.kind == Kind::Color).then(|| filed.stored.color_at(x, y, &filed.coding)),
        }
    }

    /// One texel of a scalar; `None` of any other kind.
    #[inline]
    pub fn unit_at(&self, x: usize, y: usize) -> Option<Unit> {
        match &self.texels {
            Texels::Made(map) => map.as_unit().map(|image| image.get(x, y)),
            Texels::Filed(filed) => (filed.kind == Kind::Unit).then(|| Unit(filed.stored.unit_at(x, y, &filed.coding))),
        }
    }

    /// One height, mm; `None` of any other kind.
    #[inline]
    pub fn height_at(&self, x: usize, y: usize) -> Option<HeightMm> {
        match self.row(y, x..x + 1) {
            MapRow::Height(row) => Some(row[0]),
            _ => None,
        }
    }

    /// One direction; `None` of any other kind.
    #[inline]
    pub fn normal_at(&self, x: usize, y: usize) -> Option<Normal> {
        match self.row(y, x..x + 1) {
            MapRow::Normal(row) => Some(row[0]),
            _ => None,
        }
    }
}

impl PartialEq for PatchMap {
    /// By what they show, however they are held.
    fn eq(&self, other: &Self) -> bool {
        (self.origin, &self.how) == (other.origin, &other.how) && self.map() == other.map()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::channel::Channel;
    use crate::image::{ColorTags, Layout, NormalY, Samples, Transfer};
    use crate::kernel::area_resize;

    fn picture(components: usize) -> Stored {
        let layout = if components == 1 { Layout::Gray } else { Layout::Rgb };
        let samples = (0..7 * 5 * components).map(|v| (v * 37 % 251) as u8).collect();
        Stored { size: Size::new(7, 5), layout, samples: Samples::U8(samples), tags: ColorTags::default() }
    }

    #[test]
    fn rows_and_texels_are_those_of_the_whole() {
        for (channel, coding) in [
            (Channel::BaseColor, Coding { transfer: Transfer::Srgb, ..Coding::default() }),
            (Channel::Normal, Coding { normal_y: NormalY::Down, ..Coding::default() }),
            (Channel::Height, Coding::default()),
            (Channel::Opacity, Coding { inverted: true, ..Coding::default() }),
        ] {
            let kind = channel.info().kind;
            for components in [1, 3] {
                let filed = PatchMap::filed(picture(components), kind, coding, Origin::Measured, "");
                let unread = filed.clone();
                let made = PatchMap::new(filed.map().clone(), Origin::Measured, "");
                for y in 0..5 {
                    assert_eq!(unread.row(y, 1..6), made.row(y, 1..6), "{channel}: a row of the file is a row of the map");
                    assert_eq!(filed.row(y, 1..6), made.row(y, 1..6), "{channel}: and stays so once it was decoded");
                    for x in 0..7 {
                        let of =
                            |map: &PatchMap| (map.color_at(x, y), map.unit_at(x, y), map.height_at(x, y), map.normal_at(x, y));
                        assert_eq!(of(&unread), of(&made), "{channel} at {x}, {y}");
                    }
                }
                assert_eq!(unread.color_cells(3, 2), made.map().as_color().map(|image| area_resize(image, 3, 2)), "{channel}");
                assert_eq!(unread.unit_cells(3, 2), made.map().as_unit().map(|image| area_resize(image, 3, 2)), "{channel}");
                let mut changed = unread.clone();
                assert_eq!(changed.map_mut(), made.map(), "{channel}: what is changed begins as it was");
                assert_eq!((unread.size(), unread.kind()), (made.size(), made.kind()), "{channel}");
            }
        }
    }
}
