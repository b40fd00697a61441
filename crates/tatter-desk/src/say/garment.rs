//! What the Garment station says of lists and tickets.

use tatter::scatter::Standing;
use tatter_core::model::{Edge, Facing, MatchMode, Relief, WearKind};

use crate::command::List;

pub(crate) const LIST_TIP: [&str; 3] = [
    "Every piece that lies on the garment, with its numbers.",
    "Rules that lay many pieces at once; they can be changed and thrown again.",
    "What happened to the garment's own cloth, in its order. Pieces lie on top of it.",
];
pub(crate) const NEW_SCATTER: &str = "New scatter";
pub(crate) const NEW_SCATTER_TIP: &str =
    "Lay many of one patch by a rule: the one in your hand, else that of the selected piece, else the first of the drawer.";
pub(crate) const NO_PATCH_TIP: &str = "No patch lies in the drawer yet.";
pub(crate) const SCATTERS_EMPTY: &str =
    "Nothing is scattered yet. A scatter lays many pieces by a rule: moth holes, pilling, sparks.";
pub(crate) const SCATTERS_HEAD: [(&str, &str); 5] = [
    ("Scatter", "The scatter's name in the job. Press to change how it is thrown."),
    ("Patches", "What it lays."),
    ("Wanted", "How many pieces it is to lay."),
    ("Lie", "How many lie on the garment."),
    ("By hand", "How many of them were moved or changed by hand: they stay as they are."),
];
pub(crate) const WEAR_EMPTY: &str = "The cloth is as it was made. Add what happened to it.";
pub(crate) const WEAR_HEAD: [(&str, &str); 4] = [
    ("Mark", "The mark's name in the job. Press to change it."),
    ("What happened", "What wore the cloth."),
    ("Strength", "100 % is threadbare where it is strongest."),
    ("Where", "What says where there is more of it."),
];
pub(crate) const ADD: &str = "Add";
pub(crate) const REMOVE_SCATTER: &str = "Take it away with its pieces, except those that were changed by hand";

pub(crate) const TICKET: [&str; 3] = [
    "Choose a piece on the garment or in the list to see how it meets the cloth.",
    "Choose a scatter in the list, or make one.",
    "Choose a mark of wear in the list, or add one.",
];

pub(crate) const MATCH: &str = "Match";
pub(crate) const MATCH_COLOR: &str = "Colour";
pub(crate) const MATCH_FAR: &str = "How far";
pub(crate) const MATCH_FAR_TIP: &str = "0 % as the patch is, 100 % as the cloth is.";
pub(crate) const MATCH_RELIEF: &str = "Relief";
pub(crate) const MATCH_EDGE: &str = "Edge";
pub(crate) const GRADE: &str = "Grade";
pub(crate) const GRADE_TIP: &str = "Corrects its colour by hand after the match: the ASC colour decision list, in linear light.";
pub(crate) const GRADE_BEGIN: &str = "Grade by hand";
pub(crate) const GRADE_NONE: &str = "No grade";
pub(crate) const GRADE_TOGETHER: &str = "red, green and blue together";
pub(crate) const GRADE_ROWS: [(&str, &str); 3] = [
    ("Slope", "Factor of each channel; 1 changes nothing."),
    ("Offset", "Added to each channel after the slope; 0 changes nothing."),
    ("Power", "Exponent of each channel after slope and offset; 1 changes nothing, more is darker."),
];
pub(crate) const RED_GREEN_BLUE: [&str; 3] = ["red", "green", "blue"];
pub(crate) const SATURATION: &str = "Saturation";
pub(crate) const SATURATION_TIP: &str = "0 is grey, 1 unchanged, more is more colourful.";
pub(crate) const RULES: &str = "Rules";
pub(crate) const RULES_TIP: &str =
    "How each channel meets the cloth beneath, and how strongly. What is usual is what a real hole does.";
pub(crate) const RULE_USUAL: &str = "Back to what is usual";

pub(crate) const PATCHES: &str = "Patches and their weights";
pub(crate) const ADD_PATCH: &str = "Add a patch";
pub(crate) const THROW: &str = "Throw";
pub(crate) const COUNT: &str = "How many";
pub(crate) const SEED: &str = "Seed";
pub(crate) const SEED_TIP: &str = "Of everything random: the same seed gives the same places.";
pub(crate) const THROW_AGAIN: &str = "Throw again";
pub(crate) const SIZES: &str = "Sizes";
pub(crate) const SIZES_TIP: &str = "Times the patch's own size, from least to most.";
pub(crate) const TURNS: &str = "Turns";
pub(crate) const TURNS_TIP: &str = "From the garment's grain, from least to most.";
pub(crate) const LEAST: &str = "least";
pub(crate) const MOST: &str = "most";
pub(crate) const MARGIN: &str = "Off seams";
pub(crate) const MARGIN_TIP: &str = "How far covers stay from seams and from the edges of the cloth.";
pub(crate) const MIRRORED: &str = "half of them mirrored";
pub(crate) const OVERLAP: &str = "may lie over each other";
pub(crate) const THROWING: &str = "Throwing …";

pub(crate) const WHAT: &str = "What happened";
pub(crate) const KIND: &str = "Kind";
pub(crate) const STRENGTH: &str = "Strength";
pub(crate) const STRENGTH_TIP: &str = "0 % as it was, 100 % threadbare: the high threads have lost all their dye.";
pub(crate) const UNEVEN: &str = "Uneven";
pub(crate) const UNEVEN_TIP: &str = "0 % even, 100 % blotchy.";
pub(crate) const BLOTCH: &str = "Blotches";
pub(crate) const BLOTCH_TIP: &str = "Size of its blotches on the cloth.";
pub(crate) const PUCKER: &str = "Pucker";
pub(crate) const PUCKER_TIP: &str = "Length of the ripples of a puckered seam or hem along it; 0 for none.";
pub(crate) const RAISE: &str = "Raises";
pub(crate) const RAISE_TIP: &str =
    "What it adds to the height of the cloth where it is strongest; below 0 it wears the cloth down.";
pub(crate) const FIBRE: &str = "Bare fibre";
pub(crate) const FIBRE_TIP: &str = "Colour of fibre that has lost its dye; usually ecru.";
pub(crate) const DIRT: &str = "Grime";
pub(crate) const DIRT_TIP: &str = "Colour of what settled; usually road dust.";
pub(crate) const USUAL: &str = "usual";
pub(crate) const LEAVES: &str = "Leaves alone";
pub(crate) const LEAVES_TIP: &str = "Channels it does not change.";
pub(crate) const LEAVES_NONE: &str = "nothing";

pub(crate) const WHERE: &str = "Where there is more";
pub(crate) const WHERE_TIP: &str = "Where several are told, all must hold. Where none is, it is everywhere.";
pub(crate) const ONLY: &str = "Stays on";
pub(crate) const ONLY_ALL: &str = "all cloth";
pub(crate) const KEEP_OFF: &str = "Keeps off";
pub(crate) const KEEP_OFF_NONE: &str = "nothing";
pub(crate) const HEIGHT_MOST: &str = "most at";
pub(crate) const HEIGHT_NONE: &str = "none at";
pub(crate) const PICTURE: &str = "Picture";
pub(crate) const CHOOSE_PICTURE: &str = "Choose one …";
pub(crate) const CHOOSE_PICTURE_TIP: &str =
    "A grey picture over the texture: white for most, black for none. One that is dropped on the window now is taken, too.";
pub(crate) const LINE: &str = "Along a line";
pub(crate) const CHALK: &str = "Chalk it";
pub(crate) const CHALK_DOWN: &str = "Done";
pub(crate) const CHALK_HINT: &str = "Touch the garment, on either view, corner by corner. Escape lays the chalk down.";
pub(crate) const CHALK_FIRST: &str = "A crease lies along a line or an edge: chalk its line on the garment.";
pub(crate) const SHORTEN: &str = "Last corner back";
pub(crate) const CLEAR_LINE: &str = "No line";
pub(crate) const SPREAD: &str = "Reaches";
pub(crate) const SPREAD_TIP: &str = "How far from the line, to either side.";

/// The name of a list.
pub(crate) const fn list(list: List) -> &'static str {
    match list {
        List::Pieces => super::LIST,
        List::Scatters => "Scatters",
        List::Wear => "Wear",
    }
}

/// A list's name, with how much is in it.
pub(crate) fn list_with_count(of: List, count: usize) -> String {
    if count == 0 { list(of).to_owned() } else { format!("{} ({count})", list(of)) }
}

/// How the colour is matched, in words, with what each does.
pub(crate) const MATCHES: [(Option<MatchMode>, &str, &str); 4] = [
    (None, "auto", "Re-dyed when it is a damage whose own cloth is known, else as it is."),
    (Some(MatchMode::Redye), "redye", "Its dye becomes the garment's; fibre without dye stays as it is."),
    (Some(MatchMode::Fit), "fit", "Every colour moves as its intact cloth moves onto the garment's."),
    (Some(MatchMode::None), "none", "It keeps its colour."),
];
pub(crate) const RELIEFS: [(Relief, &str, &str); 2] = [
    (Relief::Fit, "fit", "As deep as the cloth's it lies on, nowhere deeper than that cloth is thick."),
    (Relief::Keep, "keep", "As deep as the patch has it, in millimetres."),
];
pub(crate) const EDGES: [(Edge, &str, &str); 2] = [
    (Edge::Seam, "seam", "It ends along a cut through its intact cloth, where that differs least from the garment's."),
    (Edge::Soft, "soft", "It ends where its cover ends, as softly."),
];
pub(crate) const KINDS: [(WearKind, &str); 4] =
    [(WearKind::Fade, "fade"), (WearKind::Abrasion, "abrasion"), (WearKind::Crease, "crease"), (WearKind::Grime, "grime")];

/// What happened to the cloth.
pub(crate) const fn wear_tip(kind: WearKind) -> &'static str {
    match kind {
        WearKind::Fade => "Light and washing took dye, a little from everything, more from high threads.",
        WearKind::Abrasion => "Rubbing took dye and height from the crowns of threads and raised nap.",
        WearKind::Crease => "A fold that was sat in: its crest is rubbed and stands up.",
        WearKind::Grime => "Dust, soil or salt between threads.",
    }
}

/// Where there is more: what is ticked, and what that means.
pub(crate) fn density(name: &str) -> (&'static str, &'static str) {
    match name {
        "edges" => ("hems and sharp folds", "Most at hems, cuffs and sharp folds, none this far from them."),
        "seams" => ("seams", "Most at seams and edges of the cloth, none this far from them."),
        "bends" => ("bends", "Most where cloth bends as tightly as this radius."),
        "bulges" => ("bulges", "Most where cloth stands out as roundly as this radius: elbows, the seat, crowns of folds."),
        "hollows" => ("hollows", "Most where cloth sinks in as roundly as this radius: bottoms of folds, armpits."),
        "height" => ("height", "Most at the first share of the garment's height (0 % bottom, 100 % top), none at the second."),
        "facing" => ("facing", "Most where cloth faces this way as it is worn, none where it faces across or away."),
        _ => (PICTURE, "A grey picture over the texture: white for most, black for none."),
    }
}

pub(crate) const FACINGS: [(Facing, &str); 6] = [
    (Facing::Up, "up"),
    (Facing::Down, "down"),
    (Facing::Front, "front"),
    (Facing::Back, "back"),
    (Facing::Left, "left"),
    (Facing::Right, "right"),
];

/// How a scatter stands.
pub(crate) fn stands(standing: Standing) -> String {
    let mut text = if standing.lie == 1 { "1 piece lies".to_owned() } else { format!("{} pieces lie", standing.lie) };
    if standing.by_hand > 0 {
        text += &format!(", {} changed by hand", standing.by_hand);
    }
    if standing.taken_away > 0 {
        text += &format!(", {} taken away", standing.taken_away);
    }
    text
}

pub(crate) fn rule_of(channel: &str) -> String {
    format!("Rule of {channel}")
}

pub(crate) fn strength_of(what: &str) -> String {
    format!("{STRENGTH} of {what}")
}

pub(crate) fn weight_of(patch: &str) -> String {
    format!("Weight of {patch}")
}

/// What a length is called to those who do not see its unit.
pub(crate) fn in_mm(what: &str) -> String {
    format!("{what} in millimetres")
}

/// A sentence about a thing, without the name that stands above it already.
pub(crate) fn without_name(text: &str) -> String {
    let rest = text.split_once(": ").map_or(text, |(_, rest)| rest);
    super::sentence(rest)
}

/// A corner of a line, for those who do not see it.
pub(crate) fn corner(number: usize) -> String {
    format!("Corner {}", number + 1)
}

/// What a handle of the flat view is called.
pub(crate) fn on_flat(name: &str) -> String {
    format!("{name} on the flat view")
}

pub(crate) fn corners(count: usize) -> String {
    if count == 1 { "around one spot".to_owned() } else { format!("{count} corners") }
}

/// Where a mark of wear is, in a few words.
pub(crate) fn worn_where(densities: &[&str], has_line: bool) -> String {
    let mut words: Vec<&str> = densities.iter().map(|name| density(name).0).collect();
    if has_line {
        words.push("along a line");
    }
    if words.is_empty() { "everywhere".to_owned() } else { words.join(", ") }
}
