//! The hints that lead through the sample job: one a station, each gone when its act is done.

use crate::command::Station;

/// Which acts were done since the sample was opened.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Tour {
    done: [bool; Station::ALL.len()],
    /// Placements there were at first.
    placed: usize,
}

/// What a hint looks at.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sight {
    /// A photo on the table is kept as a patch.
    pub(crate) accepted: bool,
    /// A patch is in the hand.
    pub(crate) taken: bool,
    /// Placements of the job.
    pub(crate) placed: usize,
    /// The job as it is was delivered.
    pub(crate) delivered: bool,
}

/// What is to be said at a station.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Hint {
    /// What to do here.
    Here(Station),
    /// It is done; where to go on.
    Onward(Station),
    /// All is done.
    Over,
}

impl Tour {
    /// Of a job with so many placements.
    pub(crate) const fn new(placed: usize) -> Self {
        Self { done: [false; Station::ALL.len()], placed }
    }

    /// Take in what was done.
    pub(crate) fn see(&mut self, sight: Sight) {
        let laid = sight.placed > self.placed;
        let acts = [sight.accepted, sight.taken || laid, laid, laid && sight.delivered];
        for (done, act) in self.done.iter_mut().zip(acts) {
            *done |= act;
        }
    }

    /// The hint at a station.
    pub(crate) fn hint(&self, at: Station) -> Hint {
        if !self.done[at as usize] {
            return Hint::Here(at);
        }
        Station::ALL.into_iter().find(|station| !self.done[*station as usize]).map_or(Hint::Over, Hint::Onward)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_hint_goes_when_its_act_is_done() {
        let mut sight = Sight { accepted: false, taken: false, placed: 3, delivered: false };
        let mut tour = Tour::new(3);
        tour.see(sight);
        assert_eq!(tour.hint(Station::Photo), Hint::Here(Station::Photo), "nothing was done");
        sight.accepted = true;
        tour.see(sight);
        assert_eq!(tour.hint(Station::Photo), Hint::Onward(Station::Patch), "accepted: go on");
        sight.taken = true;
        tour.see(sight);
        sight.taken = false;
        assert_eq!(tour.hint(Station::Patch), Hint::Onward(Station::Garment), "taken");
        sight.placed = 4;
        tour.see(sight);
        assert_eq!(tour.hint(Station::Garment), Hint::Onward(Station::Delivery), "laid");
        // Taken away again, it was laid all the same.
        sight.placed = 3;
        sight.delivered = true;
        tour.see(sight);
        assert_eq!(tour.hint(Station::Delivery), Hint::Here(Station::Delivery), "a delivery without it counts for nothing");
        sight.placed = 4;
        tour.see(sight);
        assert_eq!(tour.hint(Station::Delivery), Hint::Over, "the whole job");
    }
}
