//! How threads interlace, as people name it and files keep it.

use crate::angle::Angle;

/// Which way a twill line climbs on the face, with the warp upright.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hand {
    /// Up to the right.
    Z,
    /// Up to the left.
    S,
}

impl Hand {
    /// As it is seen mirrored, or with the weft upright.
    #[must_use]
    pub const fn turned(self) -> Self {
        match self {
            Self::Z => Self::S,
            Self::S => Self::Z,
        }
    }

    /// Whether twill lines of this hand climb against those of the cloth they lie on, when their warps are `turned` from each other. Across
    /// the warp a hand is its mirror image; towards the diagonal lines of both hands run apart whatever is done, and nothing clashes.
    #[must_use]
    pub fn climbs_against(self, cloth: Self, turned: Angle) -> bool {
        /// Turned by less a patch lies along the warp, by more than the rest of a right angle across it.
        const ALONG_DEG: f32 = 30.0;
        let turned = turned.as_line().to_degrees();
        match turned.min(180.0 - turned) {
            off if off <= ALONG_DEG => self != cloth,
            off if off >= 90.0 - ALONG_DEG => self.turned() != cloth,
            _ => false,
        }
    }
}

/// An interlacing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Weave {
    /// Not known.
    #[default]
    Unknown,
    /// Over one, under one.
    Plain,
    /// Plain with doubled ends and picks.
    Basket,
    /// Diagonal lines; `repeat` threads in the repeat, split as `over`/`under`.
    Twill {
        /// Picks the end lies over.
        over: u8,
        /// Picks the end lies under.
        under: u8,
        /// Which way the lines climb.
        hand: Hand,
    },
    /// Diagonal lines; how the repeat is split does not show.
    TwillOn {
        /// Threads in the repeat.
        threads: u8,
        /// Which way the lines climb.
        hand: Hand,
    },
    /// Scattered binding points on that many ends.
    Satin {
        /// Ends in the repeat.
        ends: u8,
    },
}

impl Weave {
    /// Names that files may hold, for people.
    pub const NAMES: &'static str = "plain, basket, twill 3/1 Z, twill on 4 S, satin 5 and their like";

    /// Which way its lines climb, when it has lines.
    pub const fn hand(self) -> Option<Hand> {
        match self {
            Self::Twill { hand, .. } | Self::TwillOn { hand, .. } => Some(hand),
            _ => None,
        }
    }

    /// As it is seen in a mirror.
    #[must_use]
    pub const fn mirrored(self) -> Self {
        match self {
            Self::Twill { over, under, hand } => Self::Twill { over, under, hand: hand.turned() },
            Self::TwillOn { threads, hand } => Self::TwillOn { threads, hand: hand.turned() },
            other => other,
        }
    }

    /// The same cloth with its weft taken for the warp: lines that climbed to the right climb to the left, and what one family
    /// lay over the other lies over.
    #[must_use]
    pub const fn with_families_exchanged(self) -> Self {
        match self {
            Self::Twill { over, under, hand } => Self::Twill { over: under, under: over, hand: hand.turned() },
            other => other.mirrored(),
        }
    }

    /// From the name that [`std::fmt::Display`] writes; letters of a hand may be small, a twill without one is Z, a number of a
    /// basket is passed over. `None` for anything else.
    pub fn from_name(name: &str) -> Option<Self> {
        let hand = |letter: Option<&&str>| match letter.map(|l| l.to_ascii_uppercase()).as_deref() {
            None | Some("Z") => Some(Hand::Z),
            Some("S") => Some(Hand::S),
            Some(_) => None,
        };
        let number = |text: &str| text.parse::<u8>().ok().filter(|n| (1..=64).contains(n));
        let words: Vec<&str> = name.split_whitespace().collect();
        match words[..] {
            ["plain"] => Some(Self::Plain),
            ["basket"] | ["basket", "2"] => Some(Self::Basket),
            ["satin", ends] => number(ends).map(|ends| Self::Satin { ends }),
            ["twill", "on", threads, ref rest @ ..] if rest.len() < 2 => {
                Some(Self::TwillOn { threads: number(threads)?, hand: hand(rest.first())? })
            }
            ["twill", split, ref rest @ ..] if rest.len() < 2 => {
                let (over, under) = split.split_once('/')?;
                Some(Self::Twill { over: number(over)?, under: number(under)?, hand: hand(rest.first())? })
            }
            _ => None,
        }
    }
}

impl std::fmt::Display for Weave {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Unknown => f.write_str("unknown"),
            Self::Plain => f.write_str("plain"),
            Self::Basket => f.write_str("basket"),
            Self::Twill { over, under, hand } => write!(f, "twill {over}/{under} {hand:?}"),
            Self::TwillOn { threads, hand } => write!(f, "twill on {threads} {hand:?}"),
            Self::Satin { ends } => write!(f, "satin {ends}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_come_back() {
        let twill = |over, under, hand| Weave::Twill { over, under, hand };
        let all = [
            Weave::Plain,
            Weave::Basket,
            twill(3, 1, Hand::Z),
            twill(2, 2, Hand::S),
            Weave::TwillOn { threads: 4, hand: Hand::S },
            Weave::Satin { ends: 5 },
        ];
        for weave in all {
            assert_eq!(Weave::from_name(&weave.to_string()), Some(weave), "{weave}");
        }
        assert_eq!(Weave::from_name("twill 2/1 s"), Some(twill(2, 1, Hand::S)), "as the weaving side names it");
        for wrong in ["unknown", "herringbone 2/2 16", "twill", "twill 3/1 X", "twill 3", "satin", "1100/0110"] {
            assert_eq!(Weave::from_name(wrong), None, "{wrong}");
        }
    }

    /// A 3/1 Z twill laid on its side is a 1/3 S twill; seen in a mirror, 3/1 S (drafts in weaving handbooks, from memory).
    #[test]
    fn turning_and_mirroring_change_the_hand() {
        let denim = Weave::Twill { over: 3, under: 1, hand: Hand::Z };
        assert_eq!(denim.with_families_exchanged(), Weave::Twill { over: 1, under: 3, hand: Hand::S }, "on its side");
        assert_eq!(denim.mirrored(), Weave::Twill { over: 3, under: 1, hand: Hand::S }, "mirrored");
        assert_eq!(denim.mirrored().mirrored(), denim, "twice is nothing");
        assert_eq!(Weave::Plain.mirrored(), Weave::Plain, "no lines, no hand");
    }
}
