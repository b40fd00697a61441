//! Patches at hand, with their thumbnails as the window shows them.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use tatter::library::{Card, found, one_place};

/// Patches that lie in sight without scrolling, about.
const AT_ONCE: usize = 5;

/// Cards, and the thumbnails that were shown.
#[derive(Default)]
pub(crate) struct Shelf {
    /// All of them, by name.
    pub(crate) cards: Vec<Card>,
    /// Of the job, and of what lies beside it.
    own: Vec<Card>,
    /// Of folders elsewhere.
    far: Vec<Card>,
    /// What patches are sought by.
    pub(crate) sought: String,
    thumbs: BTreeMap<PathBuf, egui::TextureHandle>,
    /// Where ways with `..` lead: looking it up takes too long to be done every frame.
    ways: RefCell<BTreeMap<PathBuf, PathBuf>>,
}

impl Shelf {
    /// Other cards of the job's own.
    pub(crate) fn put(&mut self, own: Vec<Card>) {
        self.own = own;
        self.gather();
    }

    /// Other cards of folders elsewhere.
    pub(crate) fn put_far(&mut self, far: Vec<Card>) {
        self.thumbs.retain(|folder, _| self.far.iter().chain(&far).all(|card| card.folder != *folder));
        self.far = far;
        self.gather();
    }

    /// What the job names or has beside it is its own, wherever it lies.
    fn gather(&mut self) {
        self.ways.borrow_mut().clear();
        let mut cards = self.own.clone();
        if !self.far.is_empty() {
            let mut known: Vec<PathBuf> = self.own.iter().map(|card| self.place(&card.folder)).collect();
            for card in &self.far {
                let place = self.place(&card.folder);
                if !known.contains(&place) {
                    known.push(place);
                    cards.push(card.clone());
                }
            }
            cards.sort_by(|one, other| one.name.cmp(&other.name));
        }
        self.cards = cards;
    }

    fn place(&self, folder: &Path) -> PathBuf {
        self.ways.borrow_mut().entry(folder.to_owned()).or_insert_with(|| one_place(folder)).clone()
    }

    /// A patch has a new thumbnail, and maybe there are other cards of the job's own.
    pub(crate) fn renew(&mut self, own: Option<Vec<Card>>, changed: &Path) {
        self.thumbs.remove(changed);
        if let Some(own) = own {
            self.put(own);
        }
    }

    /// Of the job, and of what lies beside it.
    pub(crate) fn own(&self) -> impl Iterator<Item = &Card> {
        self.own.iter()
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

    /// The card of a folder, whichever way leads there.
    pub(crate) fn card(&self, folder: &Path) -> Option<&Card> {
        let written = self.cards.iter().find(|card| card.folder == folder);
        // Only to patches elsewhere do two ways lead: as they were added, and as the job names them.
        written.or_else(|| {
            let place = (!self.far.is_empty()).then(|| self.place(folder))?;
            self.cards.iter().find(|card| self.place(&card.folder) == place)
        })
    }

    /// Whether two folders are one, whichever ways lead there.
    pub(crate) fn are_one(&self, one: &Path, other: &Path) -> bool {
        one == other || (!self.far.is_empty() && self.place(one) == self.place(other))
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
