//! Where two pictures differ, against places that were changed by hand.

use tatter_core::image::{Layout, Rect, Samples, Size, Stored};

#[test]
fn the_part_that_differs_is_around_what_was_changed() {
    let one = Stored::zeros(Size::new(9, 7), Layout::Rgb, &Samples::U8(Vec::new()));
    let mut other = one.clone();
    let Samples::U8(bytes) = &mut other.samples else { panic!("eight bits") };
    for (x, y, component) in [(2, 1, 2), (6, 1, 0), (4, 5, 1)] {
        bytes[3 * (y * 9 + x) + component] = 1;
    }
    let part = |part| one.differing_part(&other, part);
    assert_eq!(part(Rect::whole(one.size)), Some(Rect::new(2, 1, 5, 5)), "around all three");
    assert_eq!(part(Rect::new(3, 0, 6, 7)), Some(Rect::new(4, 1, 3, 5)), "of a part");
    assert_eq!(part(Rect::new(0, 2, 9, 3)), None, "nothing between");
}
