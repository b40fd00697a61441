//! What is long: many patches in the drawer, many rows in the cutting list.

use tatter_desk::{Command, Station};

use crate::Tried;
use crate::person::Person;
use crate::workshop::{JOB, Workshop};

/// As long as a scatter makes it: only what is in sight is laid out, and what is selected is brought there.
#[test]
fn a_long_cutting_list_shows_the_rows_in_sight() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut job = format!("{JOB}\n[[patch]]\nname = \"rip\"\npath = \"rip.patch\"\n");
    for n in 0..300 {
        let (u, v) = (0.15 + 0.7 * (n % 20) as f32 / 20.0, 0.15 + 0.7 * (n / 20) as f32 / 15.0);
        job += &format!("\n[[placement]]\nid = \"rip-{n}\"\npatch = \"rip\"\nat = [{u:.3}, {v:.3}]\nsize_mm = 8.0\n");
    }
    std::fs::write(shop.job(), job)?;
    let mut person = Person::at(&shop.job());
    person.quiet();
    assert_eq!(person.placements().len(), 300, "all lie there");
    assert!(person.has("rip-0") && person.has("Remove rip-0"), "the first rows are in sight");
    let laid_out = |person: &Person<'_>| (0..300).filter(|n| person.has(&format!("Remove rip-{n}"))).count();
    assert!((4..20).contains(&laid_out(&person)), "no more than are seen, and a few: {}", laid_out(&person));
    person.ask(Command::Select(Some("rip-250".into())));
    assert!(person.has("Remove rip-250") && !person.has("Remove rip-0"), "what is selected on the garment is brought into sight");
    person.write("Turn of rip-250 in degrees", "30");
    assert!((person.placements()[250].turn.to_degrees() - 30.0).abs() < 1e-3, "and can be changed there");
    person.press("Remove rip-251");
    assert_eq!(person.placements().len(), 299, "as can its neighbours");
    Ok(())
}

/// A garment with a history has many marks, and a job of many hands many scatters.
#[test]
fn long_lists_of_scatters_and_wear_show_the_rows_in_sight() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut job = format!("{JOB}\n[[patch]]\nname = \"rip\"\npath = \"rip.patch\"\n");
    for n in 0..60 {
        job += &format!("\n[[scatter]]\nid = \"moth-{n}\"\npatches = [\"rip\"]\ncount = 1\nseed = {n}\n");
        job += &format!("\n[[wear]]\nid = \"sun-{n}\"\nkind = \"fade\"\nstrength = 0.001\n");
    }
    std::fs::write(shop.job(), job)?;
    let mut person = Person::at(&shop.job());
    for (list, name) in [("Scatters", "moth"), ("Wear", "sun")] {
        person.press(list);
        let laid_out = |person: &Person<'_>| (0..60).filter(|n| person.has(&format!("Remove {name}-{n}"))).count();
        assert!(person.has(&format!("{name}-0")), "{list}: the first rows are in sight");
        assert!((4..20).contains(&laid_out(&person)), "{list}: no more than are seen, and a few: {}", laid_out(&person));
    }
    person.write("Strength of sun-1", "30");
    assert!((person.job().wear[1].strength - 0.3).abs() < 1e-3, "what is in sight can be changed");
    person.press("Remove sun-0");
    assert_eq!(person.job().wear.len(), 59, "and taken away");
    Ok(())
}

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
