//! Strict reading of TOML written by hand: unknown keys and wrong values are faults with a line number.

use std::ops::Range;

use tatter_core::angle::Angle;
use tatter_core::model::Weave;
use toml_edit::{Document, Item, TableLike, Value};

/// The text of a file that a person wrote, without the byte order mark that some editors begin with.
///
/// # Errors
/// [`TextFault::Syntax`] when it is not UTF-8.
pub(crate) fn decoded(bytes: Vec<u8>) -> Result<String, TextFault> {
    let text = String::from_utf8(bytes)
        .map_err(|error| TextFault::Syntax { line: 1, message: format!("the file is not UTF-8 text ({error})") })?;
    Ok(text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text))
}

/// What is wrong in a text file, and on which line (the first is 1).
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TextFault {
    /// The text does not follow TOML 1.0.
    #[error("line {line}: {message}")]
    Syntax {
        /// Line, from 1.
        line: usize,
        /// What the parser expected.
        message: String,
    },
    /// A key that means nothing there.
    #[error("line {line}: `{key}` is not a key of {table}; the nearest is `{nearest}`")]
    UnknownKey {
        /// Line, from 1.
        line: usize,
        /// The key as written.
        key: String,
        /// Where it stands.
        table: String,
        /// The valid key closest to it.
        nearest: String,
        /// All valid keys there.
        valid: Vec<String>,
    },
    /// A key that must be there is not.
    #[error("line {line}: {table} needs `{key}`")]
    MissingKey {
        /// Line of the table, from 1.
        line: usize,
        /// The key.
        key: String,
        /// Where it is missing.
        table: String,
    },
    /// A value of the wrong type.
    #[error("line {line}: `{key}` of {table} must be {wanted}")]
    WrongType {
        /// Line, from 1.
        line: usize,
        /// The key.
        key: String,
        /// Where it stands.
        table: String,
        /// The type it must have.
        wanted: &'static str,
    },
    /// A value of the right type that cannot be used.
    #[error("line {line}: `{key}` of {table} {why}")]
    BadValue {
        /// Line, from 1.
        line: usize,
        /// The key.
        key: String,
        /// Where it stands.
        table: String,
        /// Why it cannot be used; continues the sentence that began with the key.
        why: String,
    },
    /// Written by a newer Tatter.
    #[error("line {line}: the file has format {found}, and this Tatter reads formats up to {known}")]
    NewerFormat {
        /// Line, from 1.
        line: usize,
        /// Format of the file.
        found: i64,
        /// Newest format known.
        known: i64,
    },
}

impl TextFault {
    /// What to do next, one imperative sentence.
    pub fn next(&self) -> String {
        match self {
            Self::Syntax { line, .. } => format!("mend line {line}; TOML wants `key = value`, text in quotes"),
            Self::UnknownKey { nearest, valid, .. } => {
                format!("write `{nearest}`, or one of: {}", valid.join(", "))
            }
            Self::MissingKey { key, table, .. } => format!("add a line `{key} = …` to {table}"),
            Self::WrongType { line, wanted, .. } => format!("write {wanted} on line {line}"),
            Self::BadValue { line, .. } => format!("change the value on line {line}"),
            Self::NewerFormat { .. } => "use a newer Tatter to open it, or make the file again with this one".to_owned(),
        }
    }
}

type Checked<T> = Result<T, TextFault>;

/// Line, from 1, of a byte offset.
fn line_at(raw: &str, offset: usize) -> usize {
    1 + raw.as_bytes()[..offset.min(raw.len())].iter().filter(|&&byte| byte == b'\n').count()
}

fn line_of(raw: &str, span: Option<Range<usize>>) -> Option<usize> {
    span.map(|range| line_at(raw, range.start))
}

/// Parse, keeping where everything stands.
pub(crate) fn parse(raw: &str) -> Checked<Document<String>> {
    Document::parse(raw.to_owned()).map_err(|error| {
        let offset = error.span().map_or(0, |span| span.start);
        // The parser's message may have several lines; ours is one sentence.
        let message = error.message().trim().replace('\n', ", ");
        TextFault::Syntax { line: line_at(raw, offset), message }
    })
}

/// One table while it is read.
#[derive(Clone)]
pub(crate) struct Fields<'a> {
    raw: &'a str,
    table: &'a dyn TableLike,
    /// What people call it: `[garment]`.
    pub(crate) name: String,
    /// Line on which it begins.
    pub(crate) line: usize,
}

impl<'a> Fields<'a> {
    /// The top of a document.
    pub(crate) fn top(raw: &'a str, document: &'a Document<String>) -> Self {
        Self { raw, table: document.as_table(), name: "the file".to_owned(), line: 1 }
    }

    /// Refuse every key that is not in `valid`.
    pub(crate) fn allow(&self, valid: &[&str]) -> Checked<()> {
        for (key, item) in self.table.iter() {
            if !item.is_none() && !valid.contains(&key) {
                return Err(TextFault::UnknownKey {
                    line: self.line_of(key),
                    key: key.to_owned(),
                    table: self.name.clone(),
                    nearest: nearest(key, valid).to_owned(),
                    valid: valid.iter().map(|&word| word.to_owned()).collect(),
                });
            }
        }
        Ok(())
    }

    /// Keys in the order they are written.
    pub(crate) fn keys(&self) -> Vec<&'a str> {
        self.table.iter().filter(|(_, item)| !item.is_none()).map(|(key, _)| key).collect()
    }

    /// Line of a key, or of the table when it has none.
    pub(crate) fn line_of(&self, key: &str) -> usize {
        let own = self.table.key(key).and_then(toml_edit::Key::span);
        let value = self.table.get(key).and_then(Item::span);
        line_of(self.raw, own.or(value)).unwrap_or(self.line)
    }

    /// `wanted` was not found under `key`.
    pub(crate) fn wrong(&self, key: &str, wanted: &'static str) -> TextFault {
        TextFault::WrongType { line: self.line_of(key), key: key.to_owned(), table: self.name.clone(), wanted }
    }

    /// The value under `key` cannot be used; `why` continues the sentence.
    pub(crate) fn bad(&self, key: &str, why: impl Into<String>) -> TextFault {
        TextFault::BadValue { line: self.line_of(key), key: key.to_owned(), table: self.name.clone(), why: why.into() }
    }

    /// Refuse absence.
    pub(crate) fn need<T>(&self, key: &str, value: Option<T>) -> Checked<T> {
        value.ok_or_else(|| TextFault::MissingKey { line: self.line, key: key.to_owned(), table: self.name.clone() })
    }

    fn value(&self, key: &str, wanted: &'static str) -> Checked<Option<&'a Value>> {
        match self.table.get(key) {
            None | Some(Item::None) => Ok(None),
            Some(Item::Value(value)) => Ok(Some(value)),
            Some(_) => Err(self.wrong(key, wanted)),
        }
    }

    /// Text.
    pub(crate) fn string(&self, key: &str) -> Checked<Option<&'a str>> {
        let wanted = "text in quotes";
        self.value(key, wanted)?.map(|value| value.as_str().ok_or_else(|| self.wrong(key, wanted))).transpose()
    }

    /// A whole number.
    pub(crate) fn whole(&self, key: &str) -> Checked<Option<i64>> {
        let wanted = "a whole number";
        self.value(key, wanted)?.map(|value| value.as_integer().ok_or_else(|| self.wrong(key, wanted))).transpose()
    }

    /// A finite number, with or without a decimal point.
    pub(crate) fn number(&self, key: &str) -> Checked<Option<f32>> {
        let wanted = "a number";
        self.value(key, wanted)?.map(|value| finite(value).ok_or_else(|| self.wrong(key, wanted))).transpose()
    }

    /// A number above zero.
    pub(crate) fn positive(&self, key: &str) -> Checked<Option<f32>> {
        match self.number(key)? {
            Some(number) if number <= 0.0 => Err(self.bad(key, format!("must be above 0, not {number}"))),
            other => Ok(other),
        }
    }

    /// Yes or no.
    pub(crate) fn flag(&self, key: &str) -> Checked<Option<bool>> {
        let wanted = "true or false";
        self.value(key, wanted)?.map(|value| value.as_bool().ok_or_else(|| self.wrong(key, wanted))).transpose()
    }

    /// Exactly `N` finite numbers.
    pub(crate) fn numbers<const N: usize>(&self, key: &str, wanted: &'static str) -> Checked<Option<[f32; N]>> {
        self.value(key, wanted)?.map(|value| numbers_of(value).ok_or_else(|| self.wrong(key, wanted))).transpose()
    }

    /// Three finite numbers, or one that stands for all three.
    pub(crate) fn one_or_three(&self, key: &str) -> Checked<Option<[f32; 3]>> {
        let wanted = "a number, or three numbers";
        let of = |value| finite(value).map(|number| [number; 3]).or_else(|| numbers_of(value));
        self.value(key, wanted)?.map(|value| of(value).ok_or_else(|| self.wrong(key, wanted))).transpose()
    }

    /// Two rows of three finite numbers.
    pub(crate) fn two_by_three(&self, key: &str) -> Checked<Option<[[f32; 3]; 2]>> {
        let wanted = "two rows of three numbers";
        let Some(value) = self.value(key, wanted)? else { return Ok(None) };
        let rows = value.as_array().filter(|rows| rows.len() == 2).ok_or_else(|| self.wrong(key, wanted))?;
        let mut matrix = [[0.0; 3]; 2];
        for (row, value) in matrix.iter_mut().zip(rows.iter()) {
            *row = numbers_of(value).ok_or_else(|| self.wrong(key, wanted))?;
        }
        Ok(Some(matrix))
    }

    /// A list of pairs of finite numbers.
    pub(crate) fn pairs(&self, key: &str) -> Checked<Vec<[f32; 2]>> {
        self.list(key, "a list of pairs of numbers", numbers_of)
    }

    /// A list of whole numbers from 0.
    pub(crate) fn wholes(&self, key: &str) -> Checked<Vec<usize>> {
        self.list(key, "a list of whole numbers", |value| value.as_integer().and_then(|whole| usize::try_from(whole).ok()))
    }

    fn list<T>(&self, key: &str, wanted: &'static str, read: impl Fn(&Value) -> Option<T>) -> Checked<Vec<T>> {
        let Some(value) = self.value(key, wanted)? else { return Ok(Vec::new()) };
        let items = value.as_array().ok_or_else(|| self.wrong(key, wanted))?;
        items.iter().map(|item| read(item).ok_or_else(|| self.wrong(key, wanted))).collect()
    }

    /// One text or a list of texts.
    pub(crate) fn strings(&self, key: &str) -> Checked<Vec<&'a str>> {
        let wanted = "text in quotes, or a list of such texts";
        match self.value(key, wanted)? {
            None => Ok(Vec::new()),
            Some(Value::String(text)) => Ok(vec![text.value()]),
            Some(Value::Array(list)) => list.iter().map(|value| value.as_str().ok_or_else(|| self.wrong(key, wanted))).collect(),
            Some(_) => Err(self.wrong(key, wanted)),
        }
    }

    /// Whether `key` holds text.
    pub(crate) fn is_string(&self, key: &str) -> bool {
        self.table.get(key).is_some_and(Item::is_str)
    }

    /// Whether `key` holds a table.
    pub(crate) fn is_table(&self, key: &str) -> bool {
        self.table.get(key).is_some_and(Item::is_table_like)
    }

    /// Whether `key` holds yes or no.
    pub(crate) fn is_flag(&self, key: &str) -> bool {
        self.table.get(key).is_some_and(Item::is_bool)
    }

    /// Whether `key` holds a whole number.
    pub(crate) fn is_whole(&self, key: &str) -> bool {
        self.table.get(key).is_some_and(Item::is_integer)
    }

    /// A table, `[key]` or `{ … }`.
    pub(crate) fn table(&self, key: &str, name: &str) -> Checked<Option<Self>> {
        match self.table.get(key) {
            None | Some(Item::None) => Ok(None),
            Some(item) => {
                let table = item.as_table_like().ok_or_else(|| self.wrong(key, "a table"))?;
                Ok(Some(Self { raw: self.raw, table, name: name.to_owned(), line: self.line_of(key) }))
            }
        }
    }

    /// Tables written `[[key]]`.
    pub(crate) fn tables(&self, key: &str, name: &str) -> Checked<Vec<Self>> {
        match self.table.get(key) {
            None | Some(Item::None) => Ok(Vec::new()),
            Some(Item::ArrayOfTables(list)) => Ok(list
                .iter()
                .map(|table| Self {
                    raw: self.raw,
                    table,
                    name: name.to_owned(),
                    line: line_of(self.raw, table.span()).unwrap_or(self.line),
                })
                .collect()),
            Some(item) if item.as_array().is_some_and(toml_edit::Array::is_empty) => Ok(Vec::new()),
            Some(_) => Err(self.wrong(key, "written as tables in double brackets, one for each")),
        }
    }

    /// The format number, if this Tatter can read it.
    pub(crate) fn format(&self, known: i64) -> Checked<i64> {
        let found = self.whole("format")?;
        let found = self.need("format", found)?;
        if found > known {
            return Err(TextFault::NewerFormat { line: self.line_of("format"), found, known });
        }
        if found < 1 {
            return Err(self.bad("format", format!("must be between 1 and {known}, not {found}")));
        }
        Ok(found)
    }
}

fn finite(value: &Value) -> Option<f32> {
    let number = value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64))? as f32;
    number.is_finite().then_some(number)
}

fn numbers_of<const N: usize>(value: &Value) -> Option<[f32; N]> {
    let list = value.as_array().filter(|list| list.len() == N)?;
    let mut numbers = [0.0; N];
    for (number, value) in numbers.iter_mut().zip(list.iter()) {
        *number = finite(value)?;
    }
    Some(numbers)
}

/// The valid word closest to `word`: first by a shared beginning (a forgotten unit), then by the fewest single-letter
/// changes (Levenshtein distance).
pub(crate) fn nearest<'a>(word: &str, valid: &[&'a str]) -> &'a str {
    let cost = |candidate: &str| {
        let begins = word.len() >= 2 && (candidate.starts_with(word) || word.starts_with(candidate));
        (!begins, changes(word, candidate))
    };
    valid.iter().copied().min_by_key(|candidate| cost(candidate)).unwrap_or_default()
}

/// Levenshtein distance, in characters.
fn changes(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, letter) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, other) in b.iter().enumerate() {
            let replaced = diagonal + usize::from(letter != *other);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}

/// A number as people write it: the fewest digits that lead back to the same `f32`.
pub(crate) fn float(number: f32) -> Value {
    // Display of f32 is the shortest text that reads back the same; parsed as f64 it prints the same.
    Value::from(number.to_string().parse::<f64>().unwrap_or_else(|_| f64::from(number)))
}

/// Degrees as people write them: the fewest decimals that lead back to the same angle.
pub(crate) fn degrees(angle: Angle) -> Value {
    let degrees = f64::from(angle.to_degrees());
    let tens = [1.0, 10.0, 100.0, 1e3, 1e4, 1e5];
    let mut rounded = tens.into_iter().map(|ten| (degrees * ten).round() / ten);
    match rounded.find(|&short| Angle::degrees(short as f32) == angle) {
        Some(short) => float(short as f32),
        None => float(angle.to_degrees()),
    }
}

/// The key `weave`: unknown when it is not there.
pub(crate) fn weave(fields: &Fields<'_>) -> Checked<Weave> {
    let Some(name) = fields.string("weave")? else { return Ok(Weave::Unknown) };
    Weave::from_name(name).ok_or_else(|| fields.bad("weave", format!("is no weave: write {}, not `{name}`", Weave::NAMES)))
}

/// Numbers as people write them.
pub(crate) fn floats(numbers: &[f32]) -> Value {
    Value::Array(numbers.iter().map(|&number| float(number)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_of_known_words() {
        // Levenshtein's usual worked examples: kitten → sitting 3, Saturday → Sunday 3.
        assert_eq!(changes("kitten", "sitting"), 3, "two replaced, one added");
        assert_eq!(changes("Saturday", "Sunday"), 3, "two taken, one replaced");
        assert_eq!(changes("", "warp"), 4, "all added");
    }

    #[test]
    fn a_forgotten_unit_is_found() {
        let valid = ["id", "at", "size_mm", "turn_deg", "mirror"];
        for (written, meant) in [("size", "size_mm"), ("turn", "turn_deg"), ("turn_degrees", "turn_deg"), ("miror", "mirror")] {
            assert_eq!(nearest(written, &valid), meant, "{written}");
        }
    }

    #[test]
    fn floats_are_short_and_come_back() {
        for number in [0.1f32, 840.0, 1.0 / 3.0, -0.5, 1e-7, 16_777_216.0] {
            let text = float(number).to_string();
            assert_eq!(text.trim().parse::<f32>(), Ok(number), "{text}");
            assert!(text.len() <= 14, "{text} is longer than a person would write");
        }
    }

    #[test]
    fn a_syntax_fault_names_its_line() {
        let fault = parse("format = 1\nname = \"x\"\nwidth = = 3\n").err();
        assert!(matches!(fault, Some(TextFault::Syntax { line: 3, .. })), "{fault:?}");
    }
}
