//! The patch looked over: its maps, its swatch, its way to the garment.

use egui_kittest::kittest::Queryable as _;
use tatter_core::channel::Channel;
use tatter_core::model::Origin;
use tatter_desk::Station;

use crate::Tried;
use crate::person::Person;
use crate::workshop::Workshop;

#[test]
fn a_map_is_chosen_the_lamp_is_moved_and_the_patch_goes_to_the_garment() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut person = Person::at(&shop.job());
    person.press("Patch: ready");
    let bench = person.desk().bench();
    assert_eq!(bench.folder(), Some(shop.path("rip.patch").as_path()), "the first patch is looked over");
    let view = bench.view().ok_or("it is read")?;
    assert_eq!(
        view.maps.iter().map(|map| map.channel).collect::<Vec<_>>(),
        [Channel::Cover, Channel::BaseColor, Channel::Opacity],
        "its maps"
    );
    assert!(view.maps.iter().all(|map| map.origin == Origin::Measured && map.how == "made"), "with how they came about");
    assert!(view.size_mm.iter().all(|mm| (mm.get() - 100.0).abs() < 0.01), "at its size: {:?}", view.size_mm);
    assert!(person.has("100.0 × 100.0 mm, 50 × 50 texels"), "which is said");

    assert_eq!(bench.channel(), Channel::BaseColor, "colour is seen first");
    person.press("opacity");
    assert_eq!(person.desk().bench().channel(), Channel::Opacity, "the map that was pressed is seen at large");

    let lamp = person.desk().bench().lamp();
    let swatch = person.0.get_by_label("Swatch under the lamp").rect();
    person.drag(swatch.center(), swatch.center() + egui::vec2(0.25 * swatch.width(), 0.0));
    let moved = person.desk().bench().lamp();
    assert!(moved != lamp && moved[0] > 0.4 && moved[1].abs() < 0.05, "the lamp follows the pointer: {moved:?}");
    person.drag(swatch.center(), swatch.right_top());
    let [x, y] = person.desk().bench().lamp();
    assert!(x > 0.5 && y > 0.5 && x.hypot(y) < 1.0, "but stays above the horizon: {x}, {y}");

    person.press("Take it to the garment");
    assert_eq!(person.desk().station(), Station::Garment, "one is led there");
    person.touch("Flat view", [0.5, 0.5]);
    assert_eq!(person.placements().len(), 1, "with the patch in the hand");
    Ok(())
}
