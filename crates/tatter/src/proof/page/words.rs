//! Numbers and lists as people read them.

use tatter_core::channel::Channel;

use super::html::{Html, html};

/// `1 234 567`, with spaces that do not break.
pub(super) fn count(number: usize) -> String {
    let digits = number.to_string();
    let mut out = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push('\u{202f}');
        }
        out.push(digit);
    }
    out
}

/// `3 placements`, `1 placement`, `no placements`.
pub(super) fn of(number: usize, thing: &str, things: &str) -> String {
    match number {
        0 => format!("no {things}"),
        1 => format!("1 {thing}"),
        more => format!("{} {things}", count(more)),
    }
}

/// With so many decimals at most, and no zeros at the end.
pub(super) fn decimal(value: f32, most: usize) -> String {
    let text = format!("{value:.most$}");
    let short = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    let short = if short == "-0" { "0" } else { short };
    short.replacen('-', "\u{2212}", 1)
}

/// `120 mm`.
pub(super) fn mm(value: f32) -> String {
    format!("{}\u{a0}mm", decimal(value, 1))
}

/// `35 %`; what is less than one but not nothing keeps two digits.
pub(super) fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    let decimals = match percent {
        p if p == 0.0 || p >= 10.0 => 0,
        p if p >= 1.0 => 1,
        p if p >= 0.01 => 2,
        _ => return "under 0.01\u{a0}%".to_owned(),
    };
    format!("{percent:.decimals$}\u{a0}%")
}

/// `a, b and c`.
pub(super) fn listed<S: AsRef<str>>(names: &[S]) -> String {
    match names {
        [] => String::new(),
        [one] => one.as_ref().to_owned(),
        [head @ .., last] => format!("{} and {}", head.iter().map(AsRef::as_ref).collect::<Vec<_>>().join(", "), last.as_ref()),
    }
}

/// With a capital first letter, and nothing else changed.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// `Its threads blend.` of `its threads blend`.
pub(super) fn sentence(text: &str) -> String {
    let stop = if text.ends_with(['.', '!', '?', '\u{2026}']) { "" } else { "." };
    capital(text) + stop
}

/// `base colour` of the channel's name in files.
pub(super) fn channel_words(channel: Channel) -> String {
    channel.name().replace('_', " ").replace("color", "colour")
}

/// Names and what they are, in two columns; rows without anything are left out.
pub(super) fn figures(rows: Vec<(&str, Html)>) -> Html {
    let row = |(name, value): (&str, Html)| html!("<div><dt>{}</dt><dd>{}</dd></div>\n", name, value);
    let rows: Html = rows.into_iter().filter(|(_, value)| !value.is_empty()).map(row).collect();
    html!("<dl class=\"figures\">\n{}</dl>\n", rows)
}

/// Sentences that call for a look; nothing where there are none.
pub(super) fn notes(notes: Vec<Html>) -> Html {
    if notes.is_empty() {
        return Html::default();
    }
    let lines: Html = notes.into_iter().map(|note| html!("<li>{}</li>\n", note)).collect();
    html!("<ul class=\"notes\">\n{}</ul>\n", lines)
}

/// A colour and its code.
pub(super) fn swatch(codes: [u8; 3]) -> Html {
    let code = tatter_core::color::codes_text(codes);
    html!("<span class=\"swatch\" style=\"background:{}\"></span>{}", &code, &code)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_well() {
        assert_eq!([count(7), count(1234), count(16_777_216)], ["7", "1\u{202f}234", "16\u{202f}777\u{202f}216"]);
        assert_eq!(
            [decimal(33.6, 1), decimal(130.0, 1), decimal(-0.01, 1), decimal(-2.5, 2)],
            ["33.6", "130", "0", "\u{2212}2.5"]
        );
        let shares = [0.0, 0.000_001, 0.0012, 0.0345, 0.6].map(percent);
        assert_eq!(shares, ["0\u{a0}%", "under 0.01\u{a0}%", "0.12\u{a0}%", "3.5\u{a0}%", "60\u{a0}%"]);
        assert_eq!([listed(&["a"]), listed(&["a", "b", "c"]), listed::<&str>(&[])], ["a", "a, b and c", ""]);
        assert_eq!([of(0, "hem", "hems"), of(1, "hem", "hems"), of(2, "hem", "hems")], ["no hems", "1 hem", "2 hems"]);
        assert_eq!([sentence("it shows"), sentence("Stop."), sentence("")], ["It shows.", "Stop.", "."]);
        assert_eq!(channel_words(Channel::BaseColor), "base colour");
    }
}
