//! Bringing what a rule yields into a job: what a person changed or took away stays so.

use tatter_core::model::{Job, Placement, Scatter};
use tatter_core::task::Task;
use tatter_files::job::mark;

use super::throw::Yielded;
use super::{ScatterSummary, Standing};

impl Yielded {
    /// Bring it into a job, which takes up the patches it did not know.
    pub(crate) fn bring_into(self, job: &mut Job, task: &Task) -> ScatterSummary {
        if let Some(text) = self.shortfall().filter(|_| !self.placements.is_empty()) {
            task.note("scatter-full", text);
        }
        for patch in self.draft.patches {
            if job.patches.iter().all(|known| known.name != patch.name) {
                job.patches.push(patch);
            }
        }
        let mut rule = self.draft.rule;
        // What was laid and taken away is the job's matter, whatever the rule was drafted from.
        let before = job.scatters.iter().find(|scatter| scatter.id == rule.id);
        (rule.laid, rule.removed) = before.map(|known| (known.laid.clone(), known.removed.clone())).unwrap_or_default();
        let summary = settle(job, rule, self.placements);
        job.forget_missing();
        summary
    }
}

/// Take a scatter of a job away with the placements it made, except those a person changed.
pub(super) fn take_away(job: &mut Job, rule: Scatter) -> ScatterSummary {
    let id = rule.id.clone();
    let summary = settle(job, rule, Vec::new());
    job.scatters.retain(|scatter| scatter.id != id);
    job.forget_missing();
    summary
}

/// A verb for the difference of two rules.
pub(crate) fn what_changes(before: &Scatter, after: &Scatter) -> &'static str {
    if before.seed != after.seed { "throw again" } else { "change" }
}

/// How the placements of a scatter stand.
pub fn standing(job: &Job, rule: &Scatter) -> Standing {
    let mut standing = Standing { lie: 0, by_hand: 0, taken_away: rule.removed.len() };
    for (number, known) in &rule.laid {
        let id = format!("{}-{number}", rule.id);
        match job.placements.iter().find(|placement| placement.id == id) {
            Some(placement) => {
                standing.lie += 1;
                standing.by_hand += usize::from(mark(placement) != *known);
            }
            None => standing.taken_away += usize::from(!rule.removed.contains(number)),
        }
    }
    standing
}

fn settle(job: &mut Job, mut rule: Scatter, wanted: Vec<(usize, Placement)>) -> ScatterSummary {
    let mut theirs: Vec<(usize, String)> = Vec::new();
    for (number, known) in std::mem::take(&mut rule.laid) {
        let id = format!("{}-{number}", rule.id);
        match job.placements.iter().position(|placement| placement.id == id) {
            None if !rule.removed.contains(&number) => rule.removed.push(number),
            None => {}
            Some(place) if mark(&job.placements[place]) != known => theirs.push((number, known)),
            // Untouched: the new rule says where it lies, if anywhere.
            Some(place) => match wanted.iter().find(|(_, new)| new.id == id) {
                Some((_, new)) => job.placements[place] = new.clone(),
                None => drop(job.placements.remove(place)),
            },
        }
    }
    rule.removed.sort_unstable();
    let kept = theirs.len();
    rule.laid = theirs;
    for (number, new) in wanted {
        if rule.removed.contains(&number) || rule.laid.iter().any(|(known, _)| *known == number) {
            continue;
        }
        match job.placements.iter_mut().find(|placement| placement.id == new.id) {
            // A placement of that name which the rule never laid is somebody's own.
            Some(own) if *own != new => {}
            Some(_) => rule.laid.push((number, mark(&new))),
            None => {
                rule.laid.push((number, mark(&new)));
                job.placements.push(new);
            }
        }
    }
    rule.laid.sort_unstable();
    let number_of = |placement: &Placement| placement.id.strip_prefix(&rule.id)?.strip_prefix('-')?.parse::<usize>().ok();
    let mut ids: Vec<(usize, String)> = job.placements.iter().filter_map(|p| Some((number_of(p)?, p.id.clone()))).collect();
    ids.sort_unstable();
    let summary = ScatterSummary { id: rule.id.clone(), ids: ids.into_iter().map(|(_, id)| id).collect(), kept };
    match job.scatters.iter_mut().find(|scatter| scatter.id == rule.id) {
        Some(known) => *known = rule,
        None => job.scatters.push(rule),
    }
    summary
}
