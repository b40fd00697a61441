//! HTML as values: what comes from outside is escaped on its way in, once, and nothing can forget it.

use std::fmt;
use std::path::Path;

/// A piece of HTML, sound wherever elements or the value of a quoted attribute may stand.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Html(String);

/// A literal with `{}` where values stand: text is escaped, [`Html`] goes in as it is. Names in the braces would escape nothing: none
/// may be written.
macro_rules! html {
    ($text:literal $(, $value:expr)* $(,)?) => {
        $crate::proof::page::html::Html::raw(format!($text $(, $crate::proof::page::html::Html::from($value))*))
    };
}
pub(super) use html;

impl Html {
    /// What is HTML already: of this folder, not from outside.
    pub(super) fn raw(html: impl Into<String>) -> Self {
        Self(html.into())
    }

    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

impl From<&str> for Html {
    fn from(text: &str) -> Self {
        let mut out = String::with_capacity(text.len());
        for letter in text.chars() {
            match letter {
                '&' => out += "&amp;",
                '<' => out += "&lt;",
                '>' => out += "&gt;",
                '"' => out += "&quot;",
                '\'' => out += "&#39;",
                // Not allowed in HTML at all, and marks that turn the direction of what follows.
                c if (c.is_control() && !c.is_whitespace()) || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}') => {
                    out.push('\u{fffd}');
                }
                other => out.push(other),
            }
        }
        Self(out)
    }
}

impl From<String> for Html {
    fn from(text: String) -> Self {
        Self::from(text.as_str())
    }
}

impl From<&String> for Html {
    fn from(text: &String) -> Self {
        Self::from(text.as_str())
    }
}

impl From<usize> for Html {
    fn from(number: usize) -> Self {
        Self(number.to_string())
    }
}

impl From<u32> for Html {
    fn from(number: u32) -> Self {
        Self(number.to_string())
    }
}

impl fmt::Display for Html {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl FromIterator<Self> for Html {
    fn from_iter<I: IntoIterator<Item = Self>>(pieces: I) -> Self {
        Self(pieces.into_iter().map(|piece| piece.0).collect())
    }
}

/// A template with its `{{names}}` replaced. Values are not looked into, so they may hold braces. Names that are not given stay.
pub(super) fn fill(template: &str, values: &[(&str, &Html)]) -> String {
    let mut out = String::new();
    let mut rest = template;
    while let Some((head, tail)) = rest.split_once("{{") {
        out += head;
        let Some((name, after)) = tail.split_once("}}") else {
            out += "{{";
            rest = tail;
            continue;
        };
        match values.iter().find(|(known, _)| *known == name) {
            Some((_, value)) => out += &value.0,
            None => out.extend(["{{", name, "}}"]),
        }
        rest = after;
    }
    out + rest
}

/// The name of a file without its folders, whichever system wrote the path.
pub(super) fn file_name_of(path: &str) -> &str {
    path.trim_end_matches(['/', '\\']).rsplit(['/', '\\']).next().unwrap_or(path)
}

/// A sentence without the folder of the job, and with other absolute paths cut down to their last name: a page goes to people whom the
/// machine it was made on does not concern.
pub(super) fn without_folders(text: &str, folder: &Path) -> String {
    let folder = folder.display().to_string();
    let own = folder.trim_end_matches(['/', '\\']);
    let text = if own.is_empty() || own == "." { text.to_owned() } else { text.replace(&format!("{own}/"), "") };
    let word = |word: &str| {
        let start = word.trim_start_matches(['"', '\'', '(', '[']);
        let absolute = start.starts_with('/') || start.starts_with("\\\\") || is_drive(start);
        if absolute && start.len() > 1 {
            format!("{}{}", &word[..word.len() - start.len()], file_name_of(start))
        } else {
            word.to_owned()
        }
    };
    text.split(' ').map(word).collect::<Vec<_>>().join(" ")
}

/// `C:\` or `C:/`.
fn is_drive(text: &str) -> bool {
    let mut letters = text.chars();
    letters.next().is_some_and(|c| c.is_ascii_alphabetic())
        && letters.next() == Some(':')
        && matches!(letters.next(), Some('/' | '\\'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_comes_from_outside_cannot_break_out() {
        let id = r#"</h3><script>alert("1")</script>&amp;'"#;
        let got = html!("<a title=\"{}\">{}</a>", id, html!("<b>{}</b>", id)).to_string();
        let escaped = "&lt;/h3&gt;&lt;script&gt;alert(&quot;1&quot;)&lt;/script&gt;&amp;amp;&#39;";
        assert_eq!(got, format!("<a title=\"{escaped}\"><b>{escaped}</b></a>"), "escaped once in each place");
        assert_eq!(Html::from("a\0b\u{202e}c\td").to_string(), "a\u{fffd}b\u{fffd}c\td", "letters that HTML has not");
    }

    #[test]
    fn values_are_not_templates() {
        let (name, body) = (Html::from("{{body}}"), Html::raw("<p>"));
        let got = fill("<{{name}}|{{body}}|{{other}}|{{", &[("name", &name), ("body", &body)]);
        assert_eq!(got, "<{{body}}|<p>|{{other}}|{{");
    }

    #[test]
    fn nothing_tells_where_the_job_lay() {
        let folder = Path::new("/home/ann o/film");
        let told = |text: &str| without_folders(text, folder);
        assert_eq!(told("cannot read /home/ann o/film/textures/a.png"), "cannot read textures/a.png", "in the job's folder");
        assert_eq!(told("see (/tmp/x/b.png) or \\\\host\\c\\d.png"), "see (b.png) or d.png", "elsewhere");
        assert_eq!(told("D:\\cloth\\e.png"), "e.png", "with a drive");
        assert_eq!(told("twill 2/1 and/or 3 / 4"), "twill 2/1 and/or 3 / 4", "no path at all");
        assert_eq!(without_folders("a/b", Path::new("")), "a/b", "no folder");
        assert_eq!(file_name_of("../x\\y/z.png"), "z.png");
    }
}
