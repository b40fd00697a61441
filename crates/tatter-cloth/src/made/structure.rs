//! How ends and picks interlace.

/// Which way a twill line climbs on the face.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hand {
    /// Up to the right.
    Z,
    /// Up to the left.
    S,
}

/// A weave, seen with the ends upright.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weave {
    /// Over one, under one.
    Plain,
    /// Plain with pairs of ends and picks.
    Basket,
    /// The end runs over `over` picks and under `under`, each pick one end further.
    Twill {
        /// Picks the end lies over.
        over: u8,
        /// Picks the end lies under.
        under: u8,
        /// Which way it climbs.
        hand: Hand,
    },
    /// Warp-faced satin on that many ends, with single binding points that never touch.
    Satin {
        /// Ends in the repeat.
        ends: u8,
    },
}

impl Weave {
    /// Whether the end lies on top of the pick.
    pub fn warp_on_top(self, end: i32, pick: i32) -> bool {
        match self {
            Self::Plain => (end + pick).rem_euclid(2) == 0,
            Self::Basket => (end.div_euclid(2) + pick.div_euclid(2)).rem_euclid(2) == 0,
            Self::Twill { over, under, hand } => {
                let step = if hand == Hand::Z { end - pick } else { end + pick };
                step.rem_euclid(i32::from(over) + i32::from(under)) < i32::from(over)
            }
            Self::Satin { ends } => (end * 2 - pick).rem_euclid(i32::from(ends)) != 0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Hand, Weave};

    fn drawn(weave: Weave) -> Vec<String> {
        // Picks from the top down, as a weaver draws them.
        (0..4).rev().map(|pick| (0..4).map(|end| if weave.warp_on_top(end, pick) { 'X' } else { '.' }).collect()).collect()
    }

    #[test]
    fn weaves_look_as_weavers_draw_them() {
        assert_eq!(drawn(Weave::Plain), [".X.X", "X.X.", ".X.X", "X.X."], "plain");
        let right = Weave::Twill { over: 2, under: 2, hand: Hand::Z };
        assert_eq!(drawn(right), ["X..X", "..XX", ".XX.", "XX.."], "2/2 twill climbs to the right");
        let denim = Weave::Twill { over: 3, under: 1, hand: Hand::S };
        assert_eq!(drawn(denim), [".XXX", "X.XX", "XX.X", "XXX."], "3/1 twill climbs to the left");
        let satin = Weave::Satin { ends: 5 };
        let bound = (0..5).flat_map(|p| (0..5).map(move |e| (e, p))).filter(|&(e, p)| !satin.warp_on_top(e, p)).count();
        assert_eq!(bound, 5, "satin binds each end once in its repeat");
    }
}
