//! The loom: cloth and damage from threads, looked at while one says what they are, and kept as the command line weaves them.

use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable as _;
use tatter::weave::{Kind, Weaving, weave};
use tatter_core::task::Task;
use tatter_desk::{Command, OnLoom, Station};

use crate::Tried;
use crate::person::Person;
use crate::workshop::Workshop;

/// A small cloth of coarse texels, woven at once.
fn small() -> Weaving {
    Weaving { side: 256, width_mm: 25.0, ..Weaving::default() }
}

impl Person<'_> {
    /// At the loom, with a small cloth on it.
    fn at_loom(shop: &Workshop) -> Self {
        let mut person = Self::at(&shop.job());
        person.ask(Command::Loom(OnLoom::Say(Box::new(small()))));
        person.ask(Command::Go(Station::Patch));
        person.press("Weave a patch");
        person
    }

    fn choose_of(&mut self, what: &str, one: &str) {
        self.0.get_by_role_and_label(Role::ComboBox, what).scroll_to_me();
        self.0.run_ok();
        self.0.get_by_role_and_label(Role::ComboBox, what).click();
        self.rest();
        self.0.get_by_label(one).scroll_to_me();
        self.0.run_ok();
        self.press(one);
    }

    fn weaving(&self) -> Weaving {
        Weaving::clone(self.desk().loom().weaving())
    }
}

#[test]
fn cloth_is_said_seen_undone_and_kept_as_the_command_line_weaves_it() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at_loom(&shop);
    let woven = person.desk().loom().woven().ok_or("the loom is set up with a cloth")?;
    assert!(woven.is_whole, "which is seen as it will be");
    let usual = person.weaving();

    person.hurry();
    person.choose_of("Cloth", "denim");
    person.choose_of("Damage", "moth hole");
    person.write("Ends per cm", "24");
    person.write("Weft count", "Ne12");
    person.choose_of("Texels a side", "512");
    let said = person.weaving();
    assert_eq!((said.side, said.said.cloth.as_str(), said.damage[0].kind), (512, "denim", Kind::MothHole), "as chosen");
    assert_eq!((said.said.ends_per_cm, said.said.weft.as_deref()), (Some(24.0), Some("Ne12")), "as written");
    for _ in 0..5 {
        person.key(Modifiers::COMMAND, Key::Z);
    }
    assert_eq!(person.weaving(), usual, "undone to the start");
    for _ in 0..5 {
        person.press("Redo");
    }
    assert_eq!(person.weaving(), said, "and all of it again");
    assert!(person.placements().is_empty(), "the job has steps of its own");
    person.take_time();

    let woven = person.desk().loom().woven().ok_or("it is woven anew")?;
    assert!(woven.report.open_share > 0.001, "with its hole: {}", woven.report.open_share);
    person.0.get_by_label("opacity").scroll_to_me();
    person.press("opacity");
    person.press("Accept");
    assert_eq!(person.desk().loom().trouble(), None, "it could be kept");
    assert_eq!(person.desk().patches(), ["denim-moth-hole", "rip"], "the drawer has it");

    std::fs::create_dir(shop.path("by-hand"))?;
    weave(&said.request(shop.path("by-hand/denim-moth-hole.patch"))?, &Task::new())?;
    let kept = shop.files("denim-moth-hole.patch")?;
    assert!(kept.contains_key("thread_id.png"), "with the numbers of its threads: {:?}", kept.keys());
    assert_eq!(kept, shop.files("by-hand/denim-moth-hole.patch")?, "byte for byte");

    person.press("Back to the patches");
    assert!(person.has("Take it to the garment"), "from the drawer it goes on like any other");
    Ok(())
}

#[test]
fn what_cannot_be_woven_tells_its_limit_and_nothing_is_kept() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at_loom(&shop);
    person.write("Picks per cm", "60");
    let trouble = person.desk().loom().trouble().cloned().ok_or("it says so")?;
    assert!(trouble.what.contains("jam") && trouble.what.contains("at most"), "with the most that would fit: {trouble:?}");
    assert!(person.0.query_by_label_contains("picks per cm of these yarns jam").is_some(), "where it was set");
    person.press("Accept");
    assert_eq!(person.desk().patches(), ["rip"], "nothing is kept");
    person.press("Undo");
    assert_eq!(person.desk().loom().trouble(), None, "undone, it is woven again");
    assert!(person.desk().loom().woven().is_some(), "and seen");

    person.write("Warp count", "twenty");
    let trouble = person.desk().loom().trouble().cloned().ok_or("it says so")?;
    assert!(trouble.what.contains("'twenty' is no yarn count"), "{trouble:?}");
    person.press("Undo");
    person.write("Cloth shown", "900");
    let trouble = person.desk().loom().trouble().cloned().ok_or("it says so")?;
    assert!(trouble.what.contains("lost on texels"), "threads finer than texels: {trouble:?}");
    Ok(())
}

#[test]
fn a_patch_that_is_there_stays_until_one_asks() -> Tried<()> {
    let shop = Workshop::new()?;
    let before = shop.files("rip.patch")?;
    let mut person = Person::at_loom(&shop);
    person.write("Name of the patch", "rip");
    person.press("Accept");
    assert!(person.desk().loom().trouble().is_some_and(|trouble| trouble.what.contains("already")), "it says so");
    assert_eq!(shop.files("rip.patch")?, before, "what is there stays");
    person.press("Replace it");
    assert_ne!(shop.files("rip.patch")?, before, "until one asks for it");
    Ok(())
}

#[test]
fn weaving_is_stopped_and_taken_up_again() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at_loom(&shop);
    let large = Weaving { side: 512, ..person.weaving() };
    person.0.state_mut().obey(Command::Loom(OnLoom::Say(Box::new(large))));
    person.0.step();
    person.0.state_mut().obey(Command::Loom(OnLoom::Stop));
    person.rest();
    assert!(person.desk().loom().woven().is_none_or(|woven| !woven.is_whole), "it was stopped before it was whole");
    person.press("Weave it");
    assert!(person.desk().loom().woven().is_some_and(|woven| woven.is_whole), "asked again, it is woven");
    Ok(())
}

#[test]
fn several_things_happen_to_one_cloth_as_the_command_line_weaves_them() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at_loom(&shop);
    person.hurry();
    person.choose_of("Damage", "moth hole");
    person.press("One more");
    person.choose_of("Damage", "burn");
    person.write("Diameter", "5");
    person.write("To the right", "-7");
    person.write("Upwards", "4");
    let said = person.weaving();
    let kinds: Vec<Kind> = said.damage.iter().map(|damage| damage.kind).collect();
    assert_eq!(kinds, [Kind::MothHole, Kind::Burn], "one after the other");
    assert_eq!((said.damage[1].at, said.damage[1].length), ([-7.0, 4.0], 5.0), "each where it was told");
    assert_eq!(said.damage[0].at, [0.0, 0.0], "the other stays in the middle");
    person.press("1 moth hole");
    person.write("Diameter", "3");
    assert_eq!(person.weaving().damage[0].length, 3.0, "taken up again, it is told about");
    assert_eq!(person.weaving().damage[1], said.damage[1], "and no other");

    let said = person.weaving();
    person.take_time();
    person.press("Accept");
    assert_eq!(person.desk().loom().trouble(), None, "it could be kept");
    std::fs::create_dir(shop.path("by-hand"))?;
    let name = "by-hand/canvas-moth-hole.patch";
    weave(&said.request(shop.path(name))?, &Task::new())?;
    assert!(shop.files("canvas-moth-hole.patch")? == shop.files(name)?, "byte for byte");

    person.hurry();
    person.press("2 burn");
    person.choose_of("Damage", "none");
    assert_eq!(person.weaving().damage, said.damage[..1], "one is taken away");
    assert!(!person.has("1 moth hole"), "of one there is nothing to choose");
    person.press("Undo");
    assert_eq!(person.weaving(), said, "a step like any other");
    Ok(())
}
