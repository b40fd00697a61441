//! What is said at the loom.

use tatter::weave::{Along, Cloth, Damage, Geometry, Kind, Twist, Weaving, WovenView, Yarn};

use super::{percent, sentence};

pub(crate) const TO_LOOM: &str = "Weave a patch";
pub(crate) const TO_LOOM_TIP: &str = "Cloth and damage made from threads: no photo is needed.";
pub(crate) const FROM_LOOM: &str = "Back to the patches";
pub(crate) const LOOM: &str = "Woven from threads";
pub(crate) const CLOTH: &str = "Cloth";
pub(crate) const CLOTH_TIP: &str = "A known cloth to start from; what follows can be changed.";
pub(crate) const WEAVE: &str = "Weave";
pub(crate) const WEAVE_TIP: &str =
    "plain, basket 2, rib 2, twill 2/1, twill 3/1 s, herringbone 2/2, satin 5, jersey, or a grid such as 1100/0110/0011/1001.";
pub(crate) const SETT: &str = "Sett";
pub(crate) const ENDS: &str = "Ends per cm";
pub(crate) const ENDS_TIP: &str = "Warp threads on a centimetre across the cloth.";
pub(crate) const PICKS: &str = "Picks per cm";
pub(crate) const PICKS_TIP: &str = "Weft threads on a centimetre along the cloth.";
pub(crate) const YARN: &str = "Yarn";
pub(crate) const WARP_COUNT: &str = "Warp count";
pub(crate) const WEFT_COUNT: &str = "Weft count";
pub(crate) const COUNT_TIP: &str = "How fine the yarn is, with its system: Ne7/2 (English cotton, two-ply), 30tex, Nm8, 150den. It stays as hard-twisted as it was.";
pub(crate) const TWIST: &str = "Twist";
pub(crate) const TWIST_TIP: &str = "Turns of the last twist in a metre, of warp and weft alike, and their hand: the middle stroke of the letter leans as the fibres do.";
pub(crate) const TWIST_TURNS: &str = "Turns per metre";
pub(crate) const DYE: &str = "Dye";
pub(crate) const WARP_DYE: &str = "Dye of the warp";
pub(crate) const WEFT_DYE: &str = "Dye of the weft";
pub(crate) const DYE_TIP: &str = "Colour of the yarn's surface.";
pub(crate) const DYE_DEPTH: &str = "Depth of dye";
pub(crate) const DYE_DEPTH_TIP: &str =
    "How deep the dye went: 100 % through and through, 15 % as a ring about an undyed heart, which wear lays bare.";
pub(crate) const HAPPENED: &str = "What happened to it";
pub(crate) const DAMAGE: &str = "Damage";
pub(crate) const NO_DAMAGE: &str = "none";
pub(crate) const ONE_MORE: &str = "One more";
pub(crate) const ONE_MORE_TIP: &str = "Another damage on the same cloth. Choose none for one to take it away.";
pub(crate) const TO_THE_RIGHT: &str = "To the right";
pub(crate) const UPWARDS: &str = "Upwards";
pub(crate) const PLACE_TIP: &str =
    "From the middle of the canvas: to the right along the weft, upwards along the warp; below 0 the other way.";
pub(crate) const AGE_TIP: &str = "0 % fresh, 100 % long worn: ends recede, fray and fade, edges curl.";
pub(crate) const SURVIVING: &str = "Spanning threads";
pub(crate) const AGE: &str = "Age";
pub(crate) const UNDER_LAMP: &str = "under the lamp";
pub(crate) const SURVIVING_TIP: &str = "Share of the threads along the opening that still span it.";
pub(crate) const ALONG: &str = "Runs along the";
pub(crate) const ALONG_TIP: &str = "Along the weft, ends are broken; along the warp, picks are.";
pub(crate) const CANVAS: &str = "Canvas";
pub(crate) const SHOWN: &str = "Cloth shown";
pub(crate) const SHOWN_TIP: &str = "Width of the square of cloth that the patch shows.";
pub(crate) const TEXELS: &str = "Texels a side";
pub(crate) const WOVEN_SEED: &str = "Seed";
pub(crate) const WOVEN_SEED_TIP: &str = "Everything random follows from it: the same seed gives the same patch, to the bit.";
pub(crate) const ANOTHER_SEED: &str = "Another";
pub(crate) const WEAVING: &str = "Weaving …";
pub(crate) const WEAVE_AGAIN: &str = "Weave it";
pub(crate) const WOVEN_WHOLE: &str = "This is the patch as it will be.";
pub(crate) const WOVEN_BEFORE: &str = "Shown is what was said before.";
pub(crate) const WEAVE_ACCEPT_TIP: &str = "Write the patch folder, as `tatter weave` does of the same numbers.";
pub(crate) const NOTHING_SAID: &str = "Nothing to undo: this is the cloth as the loom was set up.";

/// A count as people write it.
pub(crate) fn count(yarn: &Yarn) -> String {
    let ply = if yarn.ply > 1 { format!("/{}", yarn.ply) } else { String::new() };
    format!("{}{ply}", yarn.count)
}

/// What a woven patch is called when nobody says otherwise.
pub(crate) fn woven_name(weaving: &Weaving) -> String {
    let cloth = &weaving.said.cloth;
    weaving.damage.first().map_or_else(|| cloth.clone(), |damage| format!("{cloth}-{}", damage.kind.name()))
}

/// What a kind of damage is measured by.
pub(crate) const fn measures(kind: Kind) -> (&'static str, Option<&'static str>) {
    match kind {
        Kind::Rip => ("Length", Some("Opening")),
        Kind::LTear => ("An arm", Some("Opening")),
        Kind::MothHole | Kind::Burn | Kind::Stain | Kind::Darn => ("Diameter", None),
        Kind::WornThrough | Kind::Patch | Kind::Scrap => ("Width", Some("Height")),
        Kind::Hem => ("Fringe", None),
        Kind::Abrasion => ("Length", None),
        Kind::Snag => ("Loop", None),
    }
}

/// Whether threads may span what was injured.
pub(crate) const fn is_spanned(kind: Kind) -> bool {
    matches!(kind, Kind::Rip | Kind::LTear | Kind::WornThrough)
}

/// Whether it runs along one of both systems.
pub(crate) const fn has_direction(kind: Kind) -> bool {
    matches!(kind, Kind::Rip | Kind::Hem)
}

/// A kind of damage as people say it.
pub(crate) fn kind(kind: Kind) -> String {
    kind.name().replace('-', " ")
}

/// One of several damages, by its number.
pub(crate) fn numbered(number: usize, of: Kind) -> String {
    format!("{} {}", number + 1, kind(of))
}

pub(crate) const fn along(along: Along) -> &'static str {
    match along {
        Along::Weft => "weft",
        Along::Warp => "warp",
    }
}

pub(crate) const fn twist(twist: Twist) -> &'static str {
    match twist {
        Twist::S => "S",
        Twist::Z => "Z",
    }
}

/// What changed from one saying to the next, for undo.
pub(crate) fn step_weaving(before: &Weaving, after: &Weaving) -> &'static str {
    let (one, other) = (&before.said, &after.said);
    match () {
        () if one.cloth != other.cloth => "another cloth",
        () if one.weave != other.weave => "weave",
        () if one.ends_per_cm != other.ends_per_cm || one.picks_per_cm != other.picks_per_cm => "sett",
        () if one.warp != other.warp || one.weft != other.weft => "yarn count",
        () if one.twist != other.twist || one.turns_per_m != other.turns_per_m => "twist",
        () if one != other => "dye",
        () if before.damage.len() < after.damage.len() => "one more damage",
        () if before.damage.len() > after.damage.len() => "take a damage away",
        () if before.damage.iter().zip(&after.damage).any(|(one, other)| one.kind != other.kind) => "another damage",
        () if before.damage != after.damage => "damage",
        () if before.seed != after.seed => "seed",
        () => "canvas",
    }
}

/// What follows from the cloth that is said, before it is woven.
pub(crate) fn follows(geometry: &Geometry) -> String {
    format!(
        "{:.0} g/m², {:.2} mm thick, {} of the tightest sett",
        geometry.grams_per_m2,
        geometry.thickness,
        percent(geometry.tightness)
    )
}

/// What was woven, in words and numbers.
pub(crate) fn woven_facts(woven: &WovenView) -> Vec<(&'static str, String)> {
    let (report, patch) = (&woven.report, &woven.view.patch);
    let (cloth, geometry): (&Cloth, &Geometry) = (&report.cloth, &report.geometry);
    let [width, height] = woven.view.size_mm.map(|mm| mm.get());
    let range = report.height_range;
    vec![
        ("Cloth", format!("{}, {}", cloth.name, cloth.weave.name())),
        ("Canvas", format!("{width:.1} × {height:.1} mm, {} × {} texels", woven.view.texels.width, woven.view.texels.height)),
        ("Scale", format!("{:.4} mm a texel", patch.scale.get())),
        ("Threads", format!("{:.1} ends, {:.1} picks per cm", cloth.ends_per_cm.get(), cloth.picks_per_cm.get())),
        (
            "Yarns",
            format!(
                "{:.2} and {:.2} mm, {} and {}",
                geometry.warp.diameter,
                geometry.weft.diameter,
                count(&cloth.warp),
                count(&cloth.weft)
            ),
        ),
        ("Weight", format!("{:.0} g/m², {:.2} mm thick", geometry.grams_per_m2, geometry.thickness)),
        ("Finish", sentence(cloth.finish.name()).trim_end_matches('.').to_owned()),
        ("Open", format!("{:.1} % see-through", 100.0 * report.open_share)),
        ("Height", format!("{:.2} to {:.2} mm", range.low_mm, range.high_mm)),
        ("Source", cloth.source.to_owned()),
    ]
}

/// What happened to it, in a sentence.
pub(crate) fn about_damage(damage: &Damage) -> String {
    sentence(damage.kind.about())
}
