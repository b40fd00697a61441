//! Patches at hand, with their thumbnails as the window shows them.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use tatter::library::{Card, found};

/// Patches that lie in sight without scrolling, about.
const AT_ONCE: usize = 5;

/// Cards, and the thumbnails that were shown.
#[derive(Default)]
pub(crate) struct Shelf {
    pub(crate) cards: Vec<Card>,
    /// What patches are sought by.
    pub(crate) sought: String,
    thumbs: BTreeMap<PathBuf, egui::TextureHandle>,
}

impl Shelf {
    /// Other cards; those of `changed` have a new thumbnail.
    pub(crate) fn renew(&mut self, cards: Vec<Card>, changed: &Path) {
        self.thumbs.remove(changed);
        self.cards = cards;
    }

    /// Places of the cards that are sought, as they come; all where nothing is sought, or too few lie there to be sought.
    pub(crate) fn found(&self) -> Vec<usize> {
        found(&self.cards, if self.is_large() { self.sought.as_str() } else { "" })
    }

    /// Show some of the cards, by their places.
    pub(crate) fn show(&mut self, places: Vec<usize>, mut show: impl FnMut(&mut Self, &Card)) {
        let cards = std::mem::take(&mut self.cards);
        places.into_iter().for_each(|at| show(self, &cards[at]));
        self.cards = cards;
    }

    /// Whether more lie there than one sees at once.
    pub(crate) fn is_large(&self) -> bool {
        self.cards.len() > AT_ONCE
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
