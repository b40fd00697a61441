//! The draft: which thread lies on top at each crossing.

use crate::yarn::Twist;

/// One repeat of a weave as a grid, picks by ends; true where the end lies on top. Ends count to the right, picks upwards.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Draft {
    name: String,
    ends: usize,
    picks: usize,
    up: Vec<bool>,
}

/// A draft that cannot be read or woven.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DraftError {
    /// No weave of that name.
    #[error(
        "'{0}' is no weave: write plain, basket 2, rib 2, twill 2/1, twill 3/1 s, herringbone 2/2, satin 5, jersey, or a grid such as 1100/0110/0011/1001"
    )]
    Unknown(String),
    /// A thread that never goes under or never over.
    #[error("the draft does not hold together: {0} lies on one side of the cloth all along")]
    Loose(String),
}

impl Draft {
    /// From a function of end and pick.
    fn from_fn(name: impl Into<String>, ends: usize, picks: usize, up: impl Fn(usize, usize) -> bool) -> Self {
        let up = (0..picks).flat_map(|p| (0..ends).map(move |e| (e, p))).map(|(e, p)| up(e, p)).collect();
        Self { name: name.into(), ends, picks, up }
    }

    /// Over one, under one.
    pub fn plain() -> Self {
        Self::from_fn("plain", 2, 2, |e, p| (e + p).is_multiple_of(2))
    }

    /// Plain with `n` threads as one, both ways.
    pub fn basket(n: usize) -> Self {
        Self::from_fn(format!("basket {n}"), 2 * n, 2 * n, |e, p| (e / n + p / n).is_multiple_of(2))
    }

    /// Plain with `n` picks in each shed: ribs across the cloth.
    pub fn rib(n: usize) -> Self {
        Self::from_fn(format!("rib {n}"), 2, 2 * n, |e, p| (e + p / n).is_multiple_of(2))
    }

    /// The end runs over `over` picks and under `under`; the line climbs to the right (`Z`) or left (`S`).
    pub fn twill(over: usize, under: usize, hand: Twist) -> Self {
        let n = over + under;
        let letter = if hand == Twist::Z { 'z' } else { 's' };
        Self::from_fn(format!("twill {over}/{under} {letter}"), n, n, |e, p| {
            let step = if hand == Twist::Z { p + n - e % n } else { p + e };
            step % n < over
        })
    }

    /// Twill whose line turns after every `width` ends, with a clean break.
    pub fn herringbone(over: usize, under: usize, width: usize) -> Self {
        let n = over + under;
        let width = width.div_ceil(n) * n;
        Self::from_fn(format!("herringbone {over}/{under} {width}"), 2 * width, n, |e, p| {
            // The line turns where up meets down: the two ends at the break lie on opposite sides all along.
            let step = if e < width { p + n - e % n } else { p + (e - width) + over + 1 };
            step % n < over
        })
    }

    /// Warp-faced satin on `n` ends, single binding points that never touch.
    pub fn satin(n: usize) -> Self {
        let step = (2..n).find(|s| gcd(*s, n) == 1 && s + 1 < n).unwrap_or(1);
        Self::from_fn(format!("satin {n}"), n, n, |e, p| p % n != e * step % n)
    }

    /// Plain jersey: not woven at all, but knitted; wales count as ends, courses as picks.
    pub fn jersey() -> Self {
        Self::from_fn("jersey", 1, 1, |_, _| true)
    }

    /// Whether it is knitted.
    pub fn is_knit(&self) -> bool {
        self.ends == 1 && self.picks == 1
    }

    /// From rows of a small grid, top pick first, as a weaver draws it.
    ///
    /// # Errors
    /// When rows differ in length, or a thread never interlaces.
    pub fn from_rows(rows: &[Vec<bool>]) -> Result<Self, DraftError> {
        let text = || rows.iter().map(|r| r.iter().map(|&u| if u { '1' } else { '0' }).collect::<String>()).collect::<Vec<_>>();
        let ends = rows.first().map_or(0, Vec::len);
        if ends == 0 || ends > 64 || rows.len() > 64 || rows.iter().any(|row| row.len() != ends) {
            return Err(DraftError::Unknown(text().join("/")));
        }
        let draft = Self::from_fn(text().join("/"), ends, rows.len(), |e, p| rows[rows.len() - 1 - p][e]);
        draft.check()
    }

    fn check(self) -> Result<Self, DraftError> {
        for e in 0..self.ends {
            if (0..self.picks).all(|p| self.at(e, p) == self.at(e, 0)) {
                return Err(DraftError::Loose(format!("end {}", e + 1)));
            }
        }
        for p in 0..self.picks {
            if (0..self.ends).all(|e| self.at(e, p) == self.at(0, p)) {
                return Err(DraftError::Loose(format!("pick {}", p + 1)));
            }
        }
        Ok(self)
    }

    fn at(&self, end: usize, pick: usize) -> bool {
        self.up[pick * self.ends + end]
    }

    /// `plain`, `basket 2`, `rib 2`, `twill 2/1`, `twill 3/1 s`, `herringbone 2/2 8`, `satin 5`, `jersey`, or a grid of 0 and 1 with
    /// rows parted by `/`.
    ///
    /// # Errors
    /// When it names no weave.
    pub fn parse(text: &str) -> Result<Self, DraftError> {
        let lower = text.trim().to_ascii_lowercase();
        let unknown = || DraftError::Unknown(text.to_owned());
        let words: Vec<&str> = lower.split([' ', '-', '_']).filter(|w| !w.is_empty()).collect();
        let number = |i: usize, usual: usize| match words.get(i) {
            None => Ok(usual),
            Some(word) => word.parse::<usize>().ok().filter(|n| (2..=32).contains(n)).ok_or_else(unknown),
        };
        let ratio = || {
            let (over, under) = words.get(1).and_then(|w| w.split_once('/')).ok_or_else(unknown)?;
            let part = |t: &str| t.parse::<usize>().ok().filter(|n| (1..=8).contains(n)).ok_or_else(unknown);
            Ok((part(over)?, part(under)?))
        };
        match words.first().copied() {
            Some("plain") => Ok(Self::plain()),
            Some("jersey") => Ok(Self::jersey()),
            Some("basket") => Ok(Self::basket(number(1, 2)?)),
            Some("rib") => Ok(Self::rib(number(1, 2)?)),
            Some("twill") => {
                let (over, under) = ratio()?;
                let hand = match words.get(2) {
                    None | Some(&"z") => Twist::Z,
                    Some(&"s") => Twist::S,
                    Some(_) => return Err(unknown()),
                };
                Ok(Self::twill(over, under, hand))
            }
            Some("herringbone") => {
                let (over, under) = ratio()?;
                Ok(Self::herringbone(over, under, number(2, 4 * (over + under))?))
            }
            Some("satin") => match number(1, 5)? {
                n if n == 5 || n >= 7 => Ok(Self::satin(n)),
                _ => Err(unknown()),
            },
            Some(grid) if grid.chars().all(|c| "01/".contains(c)) => {
                let rows: Vec<Vec<bool>> = grid.split('/').map(|row| row.chars().map(|c| c == '1').collect()).collect();
                Self::from_rows(&rows)
            }
            _ => Err(unknown()),
        }
    }

    /// As people call it.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Ends in one repeat.
    pub const fn ends(&self) -> usize {
        self.ends
    }

    /// Picks in one repeat.
    pub const fn picks(&self) -> usize {
        self.picks
    }

    /// Whether that end lies on top of that pick.
    pub fn warp_on_top(&self, end: i32, pick: i32) -> bool {
        self.at(end.rem_euclid(self.ends as i32) as usize, pick.rem_euclid(self.picks as i32) as usize)
    }

    /// Mean number of threads an end crosses between two changes of side (1 plain, 2 for 2/2 and 3/1 twill), and the same
    /// for a pick.
    pub fn threads_per_change(&self) -> [f32; 2] {
        let (e, p) = (self.ends, self.picks);
        let turns = |count: usize| if count == 0 { 1.0 } else { (e * p) as f32 / count as f32 };
        let along_ends = (0..e).map(|i| (0..p).filter(|&j| self.at(i, j) != self.at(i, (j + 1) % p)).count()).sum();
        let along_picks = (0..p).map(|j| (0..e).filter(|&i| self.at(i, j) != self.at((i + 1) % e, j)).count()).sum();
        [turns(along_ends), turns(along_picks)]
    }

    /// Share of the face that is warp.
    pub fn warp_share(&self) -> f32 {
        self.up.iter().filter(|&&up| up).count() as f32 / self.up.len() as f32
    }
}

fn gcd(a: usize, b: usize) -> usize {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(draft: &Draft) -> Vec<String> {
        let row = |p: usize| (0..draft.ends).map(|e| if draft.at(e, p) { 'X' } else { '.' }).collect();
        (0..draft.picks).rev().map(row).collect()
    }

    #[test]
    fn weaves_look_as_weavers_draw_them() {
        assert_eq!(drawn(&Draft::plain()), [".X", "X."], "plain");
        assert_eq!(drawn(&Draft::basket(2)), ["..XX", "..XX", "XX..", "XX.."], "basket");
        assert_eq!(drawn(&Draft::rib(2)), [".X", ".X", "X.", "X."], "warp rib");
        // A Z twill climbs to the right: one pick higher, one end further right.
        assert_eq!(drawn(&Draft::twill(2, 2, Twist::Z)), ["..XX", ".XX.", "XX..", "X..X"], "2/2 twill z");
        assert_eq!(drawn(&Draft::twill(3, 1, Twist::S)), [".XXX", "X.XX", "XX.X", "XXX."], "3/1 twill s");
        assert_eq!(drawn(&Draft::twill(2, 1, Twist::Z)), [".XX", "XX.", "X.X"], "2/1 twill z");
    }

    #[test]
    fn satins_bind_once_and_never_side_by_side() {
        for n in [5usize, 8] {
            let satin = Draft::satin(n);
            for e in 0..n {
                let bound: Vec<usize> = (0..n).filter(|&p| !satin.at(e, p)).collect();
                assert_eq!(bound.len(), 1, "satin {n}: end {e} is bound once");
                let next = (0..n).find(|&p| !satin.at((e + 1) % n, p)).unwrap();
                let apart = (next + n - bound[0]) % n;
                assert!(apart > 1 && apart < n - 1, "satin {n}: binding points of neighbours touch");
            }
        }
    }

    #[test]
    fn drafts_are_read_or_refused() {
        assert_eq!(Draft::parse("twill-3/1-s").unwrap(), Draft::twill(3, 1, Twist::S), "dashes are spaces");
        assert_eq!(drawn(&Draft::parse("1100/0110/0011/1001").unwrap())[0], "XX..", "top pick first");
        assert!(matches!(Draft::parse("111/010"), Err(DraftError::Loose(_))), "a pick under every end falls off");
        assert!(matches!(Draft::parse("satin 6"), Err(DraftError::Unknown(_))), "no regular satin on six");
        assert_eq!(Draft::twill(3, 1, Twist::Z).threads_per_change(), [2.0, 2.0], "3/1 twill");
        assert_eq!(Draft::plain().threads_per_change(), [1.0, 1.0], "plain");
    }
}
