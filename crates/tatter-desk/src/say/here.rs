//! What the libraries say of the command line, as it is done at the desk.

/// What the command line asks for, and how it is done here.
const HERE: [(&str, &str); 32] = [
    ("Say where it is with --around x,y,radius (photo pixels)", "Draw a loop around it"),
    ("say --around x,y,radius", "draw a loop around it"),
    ("The others, for --around:", "For another, draw a loop around it; middle and radius of the others:"),
    (
        "Give --width-mm, --mm-per-pixel, --ruler, --ends-per-cm or --scale-by",
        "Draw a ruler line and write its length, or say what of known size lies there",
    ),
    ("Give --mm-per-pixel, --width-mm or --ruler instead", "Draw a ruler line and write its length"),
    ("tell it with --grain-deg", "draw a grain line"),
    ("; tell it if that is wrong", "; if that is wrong, draw a light line"),
    ("say --subject damage if", "say that it is damage if"),
    ("or give the scale with --ruler", "or draw a ruler line"),
    ("or mark two of its places with --ruler", "or mark two of its places with a ruler line"),
    ("or mark two places with --ruler", "or mark two places with a ruler line"),
    (
        "or lay down a card: --scale-by card takes perspective out",
        "or lay down a card: as a known rectangle it takes perspective out",
    ),
    (", or mark it with --corners and --corners-mm", ", or draw from corner to corner of it and drag its corners"),
    (
        "Say what it is with --scale-by card, a4, a5 or a6, or with --corners-mm WIDTHxHEIGHT",
        "Say what it is, or how long its sides are",
    ),
    (", and give it with --lamp", ", and say that it is the lamp alone"),
    ("give the lamp alone with --lamp", "lay a shot of the lamp alone beside it"),
    ("Write flat_field = \"FILE\" into the lights file", "Take the even card back, and name one in the lights file"),
    ("give the path of a job, or start one with `tatter garment`", "choose another, or begin one from a garment's mesh"),
    ("give the true scale with --mm-per-unit", "write the true mm_per_unit into the job file, below [garment]"),
    ("give --mm-per-unit if that is wrong", "if that is wrong, write mm_per_unit into the job file, below [garment]"),
    ("give --mm-per-uv", "write mm_per_uv into the job file, below [garment]"),
    (
        "repeat with --adopt to take the files as they are for the new pristine ones, or with --leave to leave them out",
        "look it over again: then both are offered, to take theirs for the new pristine ones, and to leave them out",
    ),
    (
        "repeat with --leave to undo only the other files, or move the changed files away",
        "move the changed files away, then put back again",
    ),
    (", or adopt the maps as they are with --adopt", ""),
    ("give a point on the cloth in the mesh's own unit, such as --point", "move it onto the cloth, which is nearest at"),
    ("match it (`tatter match JOB ID --match redye` or `fit`)", "match it (redye or fit, on its ticket)"),
    (
        "with at=X/Y, which count from the middle of the cloth, or show more cloth with --width-mm",
        "to the middle, or show more cloth",
    ),
    ("Give another --size-mm or --scale", "Give it another side"),
    ("Use `tatter place JOB --list` to see what lies there", "See the cutting list for what lies there"),
    (
        "; --unpack DIR writes it out, so that it can be redelivered",
        "; write it out beside the mesh, so that it can be redelivered",
    ),
    ("; name their folder with --maps", "; lay them beside the mesh"),
    ("give --size-mm if it is wrong", "if it is wrong, write its side in the cutting list"),
];

/// A remedy in the words of the desk.
pub(crate) fn at_the_desk(text: &str) -> String {
    HERE.iter().fold(text.to_owned(), |text, (typed, here)| text.replace(typed, here))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_at_the_desk_is_told_to_type() {
        for told in [
            "Say where it is with --around x,y,radius (photo pixels), or paint it with a stroke",
            "The scale is not known: 20 ends per cm were assumed. Give --width-mm, --mm-per-pixel, --ruler, --ends-per-cm or --scale-by.",
            "2 injured places found; the one at 3, 4 was taken. The others, for --around: 7,8,9",
        ] {
            let said = at_the_desk(told);
            assert!(!said.contains("--") && said != told, "{said}");
        }
        assert_eq!(at_the_desk("Pick another neutral place"), "Pick another neutral place", "what names no option stays");
        for (typed, here) in HERE {
            let is_typed = |text: &str| text.contains("--") || text.contains("tatter ");
            assert!(!is_typed(&at_the_desk(typed)) && !is_typed(here), "'{typed}' becomes '{}'", at_the_desk(typed));
        }
    }
}
