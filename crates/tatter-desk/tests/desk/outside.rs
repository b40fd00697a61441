//! Files that other programs change while they lie on the table.

use std::time::Duration;

use egui_kittest::kittest::Queryable as _;
use tatter_desk::{Command, Station};

use crate::Tried;
use crate::person::Person;
use crate::photo::SIDE;
use crate::workshop::{JOB, Workshop};

/// Longer than the system takes to tell.
const PATIENCE: Duration = Duration::from_secs(30);

impl Person<'_> {
    /// Until a band says what was changed.
    pub(crate) fn notice(&mut self, what: &str) -> bool {
        while self.0.query_by_label_contains(what).is_none() {
            if !self.0.state_mut().wait_outside(PATIENCE) {
                return false;
            }
            self.rest();
        }
        true
    }
}

#[test]
fn a_job_changed_outside_is_offered_and_never_taken_unasked() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at(&shop.job());
    person.press("rip, 100 × 100 mm");
    person.touch("Flat view", [0.3, 0.3]);
    let theirs = format!("{JOB}\n[[patch]]\nname = \"rip\"\npath = \"rip.patch\"\n");
    std::fs::write(shop.job(), &theirs)?;
    assert!(person.notice("smock.tatter.toml was changed by another program."), "it is told");
    assert!(person.has("Read anew, what is not saved here is lost."), "with what would be lost");
    assert_eq!(person.placements().len(), 1, "ours stays");
    person.press("Keep what is here");
    assert!(!person.has("Keep what is here"), "answered");
    assert_eq!(std::fs::read_to_string(shop.job())?, theirs, "and theirs stays, too");

    std::fs::write(shop.job(), format!("{theirs}# again\n"))?;
    assert!(person.notice("smock.tatter.toml was changed by another program."), "told again");
    person.press("Read it anew");
    assert_eq!(person.placements().len(), 0, "theirs is here");
    assert_eq!(person.desk().open().map(|open| open.job().patches.len()), Some(1), "with its patch");
    assert!(!person.has("Keep what is here"), "nothing more is asked");
    person.quiet();
    Ok(())
}

#[test]
fn patches_changed_outside_are_read_anew_and_so_is_the_garment_when_asked() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at(&shop.job());
    person.press("rip, 100 × 100 mm");
    person.touch("Flat view", [0.3, 0.3]);
    let job = person.desk().open().ok_or("open")?.job().clone();
    std::fs::create_dir(shop.path("moth.patch"))?;
    for (name, bytes) in shop.files("rip.patch")? {
        std::fs::write(shop.path("moth.patch").join(name), bytes)?;
    }
    assert!(person.notice("moth.patch was changed by another program."), "a new patch is told");
    assert_eq!(person.desk().patches(), ["moth", "rip"], "and lies in the drawer");
    person.press("Put aside");

    let told = std::fs::read_to_string(shop.path("rip.patch/patch.toml"))?;
    std::fs::write(shop.path("rip.patch/patch.toml"), format!("{told}\n# retouched\n"))?;
    assert!(person.notice("rip.patch was changed by another program."), "a patch that lies on the garment, too");
    assert_eq!(person.desk().open().map(|open| open.job().clone()), Some(job), "the job stays as it is, with its steps");
    assert!(person.desk().open().and_then(|open| open.lie("rip-1")).is_some(), "what lay there lies there again");
    person.press("Put aside");

    let texture = shop.path("textures/canvas_base_color.png");
    let opacity = std::fs::read(shop.path("textures/canvas_opacity.png"))?;
    let before = std::fs::read(&texture)?;
    std::fs::write(&texture, &opacity)?;
    std::fs::write(&texture, &before[..before.len() - 1])?;
    std::fs::write(&texture, &before)?;
    assert!(person.notice("canvas_base_color.png was changed by another program."), "a texture is told");
    person.press("Read them anew");
    assert!(!person.has("Read them anew"), "read");
    person.quiet();
    Ok(())
}

#[test]
fn what_the_desk_writes_itself_is_no_news() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = shop.shoot("canvas.png", SIDE)?;
    let mut person = Person::at(&shop.job());
    person.ask(Command::Lay(vec![photo.clone()]));
    person.press("Accept");
    person.ask(Command::Go(Station::Garment));
    person.press("rip, 100 × 100 mm");
    person.touch("Flat view", [0.3, 0.3]);
    person.ask(Command::Go(Station::Delivery));
    person.press("Deliver");
    person.press("Put back");
    // What comes after all of that is the first that is told.
    let bytes = std::fs::read(&photo)?;
    std::fs::write(&photo, &bytes[..bytes.len() - 1])?;
    std::fs::write(&photo, &bytes)?;
    assert!(person.notice("canvas.png was changed by another program."), "the photo is told");
    assert!(person.0.query_all_by_label_contains("by another program.").count() == 1, "and nothing else");
    person.press("Read it again");
    person.ask(Command::Go(Station::Photo));
    let sheet = person.desk().photos().sheet().ok_or("it lies there")?;
    assert!(sheet.preview().is_some() && sheet.trouble().is_none(), "it was read, and cut again");
    Ok(())
}
