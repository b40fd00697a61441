//! The table of all rounds.

use crate::step::Figures;

/// One step over all rounds.
#[derive(Debug)]
pub(crate) struct Row {
    pub(crate) name: &'static str,
    what: &'static str,
    rounds: Vec<Figures>,
}

impl Row {
    pub(crate) const fn new(name: &'static str, what: &'static str) -> Self {
        Self { name, what, rounds: Vec::new() }
    }

    pub(crate) fn add(&mut self, figures: Figures) {
        self.rounds.push(figures);
    }

    fn median(&self, of: impl Fn(&Figures) -> f64) -> f64 {
        let mut all: Vec<f64> = self.rounds.iter().map(of).collect();
        all.sort_by(f64::total_cmp);
        all.get(all.len() / 2).copied().unwrap_or(f64::NAN)
    }

    fn least(&self) -> f64 {
        self.rounds.iter().map(|round| round.seconds).fold(f64::INFINITY, f64::min)
    }

    fn peak(&self) -> f64 {
        self.rounds.iter().map(|round| round.peak_mib).fold(0.0, f64::max)
    }

    /// Stages of the round whose seconds are the median's, so that they belong together.
    fn stages(&self) -> &[(String, f64)] {
        let middle = self.median(|round| round.seconds);
        self.rounds.iter().find(|round| round.seconds.total_cmp(&middle).is_eq()).map_or(&[], |round| &round.stages)
    }
}

/// Everything, as Markdown.
pub(crate) fn text(rows: &[Row], peer: Option<&Row>) -> String {
    let rounds = rows.first().map_or(0, |row| row.rounds.len());
    let mut out = format!(
        "{rounds} rounds, {} threads; seconds are medians\n\n| step | what | wall s | least | processor s | peak MiB |\n|---|---|---|---|---|---|\n",
        rayon::current_num_threads()
    );
    for row in rows.iter().chain(peer) {
        out += &format!(
            "| {} | {} | {:.2} | {:.2} | {:.2} | {:.0} |\n",
            row.name,
            row.what,
            row.median(|round| round.seconds),
            row.least(),
            row.median(|round| round.processor),
            row.peak()
        );
    }
    out += "\nStages of the median round, seconds:\n\n";
    for row in rows.iter().chain(peer).filter(|row| !row.stages().is_empty()) {
        let stages: Vec<String> = row.stages().iter().map(|(name, seconds)| format!("{name} {seconds:.2}")).collect();
        out += &format!("- {}: {}\n", row.name, stages.join(", "));
    }
    if let Some(peer) = peer {
        let build = rows.iter().find(|row| row.name == "build").map_or(f64::NAN, |row| row.median(|round| round.seconds));
        out += &format!("\nThe reference takes {:.1} times as long as build.\n", peer.median(|round| round.seconds) / build);
        for remark in peer.rounds.last().map(|round| round.remarks.as_slice()).unwrap_or_default() {
            out += &format!("{remark}\n");
        }
    }
    out
}
