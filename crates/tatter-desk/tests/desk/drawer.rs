//! Patches sought in the drawer.

use tatter_desk::{Command, Station};

use crate::Tried;
use crate::person::Person;
use crate::workshop::Workshop;

#[test]
fn patches_are_sought_where_many_lie() -> Tried<()> {
    let shop = Workshop::new()?;
    for name in ["burn-1", "burn-2", "hem", "moth-1", "moth-2"] {
        let folder = shop.path(&format!("{name}.patch"));
        std::fs::create_dir(&folder)?;
        for (file, bytes) in shop.files("rip.patch")? {
            std::fs::write(folder.join(file), bytes)?;
        }
    }
    let mut person = Person::at(&shop.job());
    assert!(person.has("hem, 100 × 100 mm"), "all lie there");
    person.write("Find patches", "moth");
    assert!(person.has("moth-1, 100 × 100 mm") && person.has("moth-2, 100 × 100 mm"), "those of the name");
    assert!(!person.has("hem, 100 × 100 mm") && !person.has("rip, 100 × 100 mm"), "no others");
    person.write("Find patches", "moth 40mm");
    assert!(person.has("No patch is like that. Take a word away."), "and what to do where none is");
    person.write("Find patches", "burn 100 mm");
    person.press("burn-2, 100 × 100 mm");
    person.touch("Flat view", [0.3, 0.3]);
    assert_eq!(person.placements()[0].patch, "burn-2", "what was found is taken and laid");
    person.ask(Command::Go(Station::Patch));
    assert_eq!(person.desk().station(), Station::Patch, "at the next table");
    assert!(person.has("burn-1, 100 × 100 mm") && !person.has("hem, 100 × 100 mm"), "the same is sought");
    person.quiet();
    Ok(())
}
