//! File names by a pattern.

/// What fills the places of a pattern; empty where there is nothing to say.
#[derive(Clone, Copy, Debug)]
pub(super) struct Places<'a> {
    pub(super) garment: &'a str,
    pub(super) material: &'a str,
    pub(super) channel: &'a str,
    pub(super) udim: &'a str,
}

/// A file name, without ending. A place that is empty takes the sign before it (`_`, `-`, `.` or a space) along.
pub(super) fn file_name(pattern: &str, places: Places<'_>) -> String {
    let mut name = String::new();
    let mut rest = pattern;
    while let Some((before, after)) = rest.split_once('{') {
        name += before;
        let (place, after) = after.split_once('}').unwrap_or((after, ""));
        let value = match place {
            "garment" => places.garment,
            "material" => places.material,
            "channel" => places.channel,
            _ => places.udim,
        };
        if value.is_empty() {
            name.truncate(name.trim_end_matches(SIGNS).len());
        }
        name += &if place == "udim" { value.to_owned() } else { plain(value) };
        rest = after;
    }
    name += rest;
    name.trim_start_matches(SIGNS).to_owned()
}

const SIGNS: [char; 4] = ['_', '-', '.', ' '];

/// A name without anything that some system or program has another use for.
pub(super) fn plain(name: &str) -> String {
    name.chars().map(|c| if c.is_alphanumeric() || "-_.".contains(c) { c } else { '_' }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn empty_places_leave_no_sign() {
        let pattern = "{garment}_{material}_{channel}.{udim}";
        let all = Places { garment: "smock", material: "canvas", channel: "normal", udim: "1002" };
        assert_eq!(file_name(pattern, all), "smock_canvas_normal.1002");
        assert_eq!(file_name(pattern, Places { material: "", udim: "", ..all }), "smock_normal");
        assert_eq!(file_name(pattern, Places { garment: "", ..all }), "canvas_normal.1002");
        assert_eq!(file_name("{channel}", Places { channel: "base color/1", ..all }), "base_color_1");
    }
}
