//! The ticket of a piece: how it meets the cloth is told there, lives on the garment, and can be undone.

use tatter_core::channel::Channel;
use tatter_core::color::Cdl;
use tatter_core::model::{ChannelRule, Edge, MatchMode, Relief};
use tatter_core::rule::Rule;
use tatter_files::job::read_job;

use crate::Tried;
use crate::person::Person;
use crate::workshop::Workshop;

#[test]
fn rules_match_and_grade_are_told_undone_and_saved() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at(&shop.job());
    assert!(person.has("Choose a piece on the garment or in the list to see how it meets the cloth."), "what to do first");
    person.press("rip, 100 × 100 mm");
    person.touch("Flat view", [0.5, 0.5]);
    let laid = person.job();
    assert!(!person.has("Rule of normal"), "a channel that the garment lacks is not asked for");

    person.choose("Rule of opacity", "keep");
    let keep = ChannelRule { rule: Rule::Keep, strength: 1.0 };
    assert_eq!(person.placements()[0].rules[Channel::Opacity], Some(keep), "chosen");
    person.press("Back to what is usual: opacity");
    assert_eq!(person.job(), laid, "the usual rule is none of its own");
    person.write("Strength of base color", "40");
    let faint = ChannelRule { rule: Rule::Replace, strength: 0.4 };
    assert_eq!(person.placements()[0].rules[Channel::BaseColor], Some(faint), "written");

    person.press("Colour fit");
    person.press("Relief keep");
    person.press("Edge soft");
    person.write("How far", "70");
    let matching = person.placements()[0].matching;
    assert_eq!((matching.mode, matching.relief, matching.edge), (Some(MatchMode::Fit), Relief::Keep, Edge::Soft), "chosen");
    assert!((matching.strength - 0.7).abs() < 1e-6, "written: {}", matching.strength);

    person.press("Grade by hand");
    person.write("Slope, green", "1.2");
    person.press("red, green and blue together");
    person.write("Offset, blue", "0.05");
    person.write("Saturation", "0.8");
    let graded = Cdl { slope: [1.2; 3], offset: [0.0, 0.0, 0.05], power: [1.0; 3], saturation: 0.8 };
    assert_eq!(person.placements()[0].matching.grade, Some(graded), "three together, then one alone");
    person.quiet();

    person.press("Save");
    assert_eq!(read_job(&shop.job())?.placements, person.placements(), "the file holds what was told");
    for _ in 0..9 {
        person.press("Undo");
    }
    assert_eq!(person.job(), laid, "each was a step");
    Ok(())
}

#[test]
fn a_number_that_is_dragged_is_one_step() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at(&shop.job());
    person.press("rip, 100 × 100 mm");
    person.touch("Flat view", [0.5, 0.5]);
    let laid = person.job();
    let at = person.middle_of("How far");
    person.drag(at, at - egui::vec2(60.0, 0.0));
    let strength = person.placements()[0].matching.strength;
    assert!(strength < 0.9, "pulled to the left it is less: {strength}");
    person.press("Undo");
    assert_eq!(person.job(), laid, "at once");
    Ok(())
}
