//! Tables as people and Markdown read them.

use std::fmt::Write as _;

/// A table of numbers with a name before each row; what a row does not have is NaN and printed as a dash.
#[derive(Debug)]
pub(crate) struct Table {
    text: String,
    digits: Vec<usize>,
    rows: Vec<Vec<f32>>,
}

impl Table {
    /// Columns with the digits after their points.
    pub(crate) fn new(first: &str, columns: &[(&str, usize)]) -> Self {
        let heads: Vec<&str> = columns.iter().map(|c| c.0).collect();
        let text = format!("| {first} | {} |\n|---|{}\n", heads.join(" | "), "---:|".repeat(columns.len()));
        Self { text, digits: columns.iter().map(|c| c.1).collect(), rows: Vec::new() }
    }

    pub(crate) fn row(&mut self, name: &str, values: &[f32]) {
        self.line(name, values);
        self.rows.push(values.to_vec());
    }

    /// A row that has only words.
    pub(crate) fn said(&mut self, name: &str, words: &str) {
        let _ = writeln!(self.text, "| {name} | {words} |");
    }

    fn line(&mut self, name: &str, values: &[f32]) {
        let cell = |(v, d): (&f32, &usize)| if v.is_finite() { format!("{v:.d$}") } else { "–".to_owned() };
        let cells: Vec<String> = values.iter().zip(&self.digits).map(cell).collect();
        let _ = writeln!(self.text, "| {name} | {} |", cells.join(" | "));
    }

    /// Mean of a column over the rows that have it.
    pub(crate) fn mean(&self, column: usize) -> f32 {
        let kept: Vec<f32> = self.rows.iter().map(|row| row[column]).filter(|v| v.is_finite()).collect();
        if kept.is_empty() { f32::NAN } else { kept.iter().sum::<f32>() / kept.len() as f32 }
    }

    /// Greatest value of a column over the rows that have it.
    pub(crate) fn most(&self, column: usize) -> f32 {
        self.rows.iter().map(|row| row[column]).filter(|v| v.is_finite()).fold(f32::NAN, f32::max)
    }

    /// The text, a row of means last.
    pub(crate) fn with_means(mut self) -> String {
        let means: Vec<f32> = (0..self.digits.len()).map(|i| self.mean(i)).collect();
        self.line("**mean**", &means);
        self.text
    }

    pub(crate) fn into_text(self) -> String {
        self.text
    }
}
