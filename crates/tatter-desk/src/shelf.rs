//! Patches at hand, with their thumbnails as the window shows them.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use tatter::library::Card;

/// Cards, and the thumbnails that were shown.
#[derive(Default)]
pub(crate) struct Shelf {
    pub(crate) cards: Vec<Card>,
    thumbs: BTreeMap<PathBuf, egui::TextureHandle>,
}

impl Shelf {
    /// Other cards; those of `changed` have a new thumbnail.
    pub(crate) fn renew(&mut self, cards: Vec<Card>, changed: &Path) {
        self.thumbs.remove(changed);
        self.cards = cards;
    }

    /// The card of a folder.
    pub(crate) fn card(&self, folder: &Path) -> Option<&Card> {
        self.cards.iter().find(|card| card.folder == folder)
    }

    /// The thumbnail of a card as a texture.
    pub(crate) fn thumb(&mut self, ctx: &egui::Context, card: &Card) -> Option<&egui::TextureHandle> {
        let picture = card.thumb.as_ref()?;
        let texture = self.thumbs.entry(card.folder.clone()).or_insert_with(|| {
            let image = egui::ColorImage::from_rgb([picture.width as usize, picture.height as usize], &picture.rgb);
            ctx.load_texture(&card.name, image, egui::TextureOptions::LINEAR)
        });
        Some(texture)
    }
}
