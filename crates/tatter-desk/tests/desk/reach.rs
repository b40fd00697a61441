//! At every station whatever can be pressed has a name for readers of screens, and the Tab key comes by it (WCAG 2.2, 2.1.1 and 4.1.2).

use std::collections::BTreeSet;

use egui::accesskit::Action;
use egui::{Key, Modifiers, Role};
use egui_kittest::Node;
use egui_kittest::kittest::NodeT as _;
use tatter_core::model::WearKind;
use tatter_desk::{Command, OnWear, Station};

use crate::Tried;
use crate::person::Person;
use crate::photo::SIDE;
use crate::workshop::Workshop;

/// More than there is to press anywhere.
const MOST: usize = 200;

fn name(node: &Node<'_>) -> String {
    let node = node.accesskit_node();
    let label = node.label().or_else(|| node.value()).unwrap_or_default();
    format!("{:?} {label}", node.role())
}

/// What can be pressed or written into now.
fn pressable<'a>(person: &'a Person<'_>) -> impl Iterator<Item = Node<'a>> {
    person.0.root().children_recursive().filter(|node| {
        let node = node.accesskit_node();
        let can = |action| node.data().supports_action(action);
        !matches!(node.role(), Role::Label | Role::Window | Role::ScrollBar)
            && !node.is_disabled()
            && (can(Action::Click) || can(Action::Focus))
    })
}

fn look(person: &mut Person<'_>, place: &str, wrong: &mut Vec<String>) {
    let all: Vec<String> = pressable(person).map(|node| name(&node)).collect();
    assert!(all.len() > 4, "{place}: there is something to press: {all:?}");
    let nameless = all.iter().filter(|name| name.split_once(' ').is_none_or(|(_, label)| label.trim().is_empty()));
    wrong.extend(nameless.map(|name| format!("{place}: {name} has no name")));
    let mut reached = BTreeSet::new();
    for _ in 0..MOST {
        person.0.key_press_modifiers(Modifiers::NONE, Key::Tab);
        person.0.run_ok();
        let focused = pressable(person).find(|node| node.accesskit_node().is_focused()).map(|node| name(&node));
        let is_new = focused.is_none_or(|focused| reached.insert(focused));
        // Around once more, so that what two things are called alike is no end.
        if !is_new && reached.len() >= all.iter().collect::<BTreeSet<_>>().len() {
            break;
        }
    }
    wrong.extend(all.into_iter().filter(|name| !reached.contains(name)).map(|name| format!("{place}: no key reaches {name}")));
}

#[test]
fn everything_has_a_name_and_keys_reach_it() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo = shop.shoot("canvas.png", SIDE)?;
    let mut person = Person::alone();
    let mut wrong = Vec::new();
    look(&mut person, "start", &mut wrong);
    person.ask(Command::Open(shop.job()));
    person.ask(Command::Lay(vec![photo]));
    look(&mut person, "photo", &mut wrong);
    person.ask(Command::Go(Station::Patch));
    look(&mut person, "patch", &mut wrong);
    person.ask(Command::Go(Station::Garment));
    look(&mut person, "garment", &mut wrong);
    person.press("rip, 100 × 100 mm");
    person.touch("Flat view", [0.5, 0.4]);
    look(&mut person, "a piece", &mut wrong);
    person.press("Scatters");
    person.press("New scatter");
    look(&mut person, "a scatter", &mut wrong);
    person.press("Wear");
    person.ask(Command::Wear(OnWear::New(WearKind::Abrasion)));
    look(&mut person, "wear", &mut wrong);
    person.ask(Command::Go(Station::Delivery));
    look(&mut person, "delivery", &mut wrong);
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    Ok(())
}
