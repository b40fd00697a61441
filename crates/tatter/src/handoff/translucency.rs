//! Translucency of laid patches, for what is handed on. No garment comes with a texture of it, so every set gets one for the time of
//! the build: nothing shines through but where a patch says how much.

use tatter_core::channel::Channel;
use tatter_core::image::{Coding, Layout, Samples, Stored};
use tatter_core::model::{ChannelRule, MapFile, MapRole};
use tatter_core::rule::Rule;

use crate::session::Session;

/// What stands for the path of the textures made here; none is ever read or written.
const PLACE: &str = "(translucency)";

/// Give every set a texture of translucency, dark, as large as its base colour, where a patch that is laid knows its own; patches are
/// laid into it in place of what is there, unless the job says otherwise.
pub(super) fn begin(session: &mut Session, pictures: &mut [Vec<Stored>]) {
    let patches = &session.patches;
    let knows = |name: &String| patches.get(name).is_some_and(|patch| patch.has(Channel::Translucency));
    if !session.job.placements.iter().any(|placement| knows(&placement.patch)) {
        return;
    }
    for placement in &mut session.job.placements {
        placement.rules[Channel::Translucency].get_or_insert(ChannelRule { rule: Rule::Replace, strength: 1.0 });
    }
    for (set, pictures) in session.garment.sets.iter_mut().zip(pictures) {
        let Some(size) = set.role(Channel::BaseColor).map(|(file, _)| file.size) else { continue };
        let role = MapRole { channel: Channel::Translucency, coding: Coding::default() };
        set.files.push(MapFile { path: PLACE.to_owned(), roles: vec![role], size });
        pictures.push(Stored::zeros(size, Layout::Gray, &Samples::U8(Vec::new())));
    }
}

/// Take the textures away in which nothing was laid.
pub(super) fn end(session: &mut Session, pictures: &mut [Vec<Stored>], changed: impl Fn(usize, usize) -> usize) {
    for (number, (set, pictures)) in session.garment.sets.iter_mut().zip(pictures).enumerate() {
        let last = set.files.len().saturating_sub(1);
        if set.files.last().is_some_and(|file| file.path == PLACE) && changed(number, last) == 0 {
            set.files.pop();
            pictures.pop();
        }
    }
}
