//! The kinds of mistakes that are known, and which of them are named.

use std::collections::BTreeMap;
use std::fmt;

/// A kind of mistake of an implementation, its wiring or its log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mistake {
    PermitInverted,
    NamesSwapped,
    SourcesSwapped,
    Late,
    Early,
    AtLimit,
    Stale,
    Latch,
    Wrap,
    TripLate,
    TripEarly,
    Backwards,
    Forwards,
}

/// How many kinds there are.
pub(super) const MISTAKES: usize = Mistake::ALL.len();

impl Mistake {
    /// In the order of their discriminants, which is the one in which they are named.
    pub(super) const ALL: [Self; 13] = [
        Self::PermitInverted,
        Self::NamesSwapped,
        Self::SourcesSwapped,
        Self::Late,
        Self::Early,
        Self::AtLimit,
        Self::Stale,
        Self::Latch,
        Self::Wrap,
        Self::TripLate,
        Self::TripEarly,
        Self::Backwards,
        Self::Forwards,
    ];

    /// Its bit in a set of them.
    pub(super) const fn bit(self) -> u32 {
        1 << self as u32
    }

    /// Whether it says what a row of the log holds, all of it. Of the others it is known where they begin to show, not what comes of
    /// them.
    pub(super) const fn foretells_rows(self) -> bool {
        self.bit() <= Self::Early.bit()
    }

    const fn text(self) -> &'static str {
        match self {
            Self::PermitInverted => {
                "the permit is inverted: 0 is logged where it is given, and 1 where it is not"
            }
            Self::NamesSwapped => {
                "channels A and B are swapped in the log: what came of one stands in the columns of the other"
            }
            Self::SourcesSwapped => {
                "channels A and B are swapped at their inputs: each is shown the readings of the other one's source"
            }
            Self::Late => {
                "everything comes one frame late: outcomes are logged before the frame is evaluated"
            }
            Self::Early => "everything comes one frame early: a row is logged with the frame before",
            Self::AtLimit => "reaching a limit counts as a violation: `>=` where `>` is meant",
            Self::Stale => "a reading that is as old as its timeout counts as stale: `>=` where `>` is meant",
            Self::Latch => {
                "a trip or a fault is not latched: the permit comes back by itself once its cause is gone"
            }
            Self::Wrap => {
                "a counter that wraps is not handled: its change is the two's-complement difference in its width"
            }
            Self::TripLate => {
                "every trip comes one frame late: the on-delay is compared with `>` where `>=` is meant, or counted in frames"
            }
            Self::TripEarly => {
                "every trip comes one frame early: the on-delay is counted in frames, or begins a frame too early"
            }
            Self::Backwards => {
                "no violation backwards is seen, those the other way are: the sign of the speed is not taken off"
            }
            Self::Forwards => {
                "no violation forwards is seen, those the other way are: the sign of the speed is not taken off"
            }
        }
    }
}

/// How often a mistake would have shown, and how often it did.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Votes {
    pub(super) shows: u64,
    pub(super) does_not: u64,
}

impl Votes {
    pub(super) fn add(&mut self, shows: bool) {
        if shows {
            self.shows += 1;
        } else {
            self.does_not += 1;
        }
    }

    /// It showed more than once, and wherever it would have.
    const fn is_certain(self) -> bool {
        self.shows >= 2 && self.does_not == 0
    }

    /// It showed more than once, and at nine in ten of the frames at which it would have. Enough for a mistake that says what whole rows
    /// hold: such rows do not come about by chance, and another mistake beside it spoils some.
    const fn is_near_certain(self) -> bool {
        self.shows >= 2 && self.does_not <= self.shows / 9
    }
}

/// A mistake that the log shows, and how far it goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cause {
    /// What it is, and where it shows.
    pub text: String,
    /// Differing frames that it explains.
    pub explains: u64,
    /// Differing frames in all.
    pub of: u64,
}

impl Cause {
    /// Whether it explains every difference.
    #[must_use]
    pub const fn is_whole(&self) -> bool {
        self.explains == self.of
    }
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { text, explains, of } = self;
        if self.is_whole() {
            write!(f, "{text}; explains all {of} differing frames")
        } else {
            write!(f, "{text}; explains {explains} of {of} differing frames, not the others")
        }
    }
}

/// Which mistakes are named. `sets` counts differing frames by the set of mistakes that would each explain them.
///
/// One that explains every differing frame is the explanation, and nothing else is then named; one that says what whole rows hold
/// goes before the others. Where there is none, those are named that explain all of them together, or at least half of them alone.
pub(super) fn named(votes: &[Votes; MISTAKES], sets: &BTreeMap<u32, u64>) -> Vec<Cause> {
    let of: u64 = sets.values().sum();
    let explained =
        |bits: u32| -> u64 { sets.iter().filter(|(set, _)| *set & bits != 0).map(|(_, count)| count).sum() };
    let votes_of = |mistake: Mistake| votes[mistake as usize];
    let one_way = |missed: Mistake, other: Mistake| {
        let other = votes_of(other);
        votes_of(missed).is_certain() && other.shows == 0 && other.does_not > 0
    };
    let is_shown = |mistake: Mistake| match mistake {
        Mistake::Backwards => one_way(mistake, Mistake::Forwards),
        Mistake::Forwards => one_way(mistake, Mistake::Backwards),
        _ if mistake.foretells_rows() => votes_of(mistake).is_near_certain(),
        _ => votes_of(mistake).is_certain(),
    };
    let cause = |mistake: Mistake| {
        let Votes { shows, does_not } = votes_of(mistake);
        let at = if does_not == 0 {
            format!("so at all {shows} frames at which it would show")
        } else {
            format!("so at {shows} of {} frames at which it would show", shows + does_not)
        };
        Cause { text: format!("{} ({at})", mistake.text()), explains: explained(mistake.bit()), of }
    };
    let shown: Vec<Mistake> = Mistake::ALL
        .into_iter()
        .filter(|&mistake| is_shown(mistake) && explained(mistake.bit()) > 0)
        .collect();
    let causes = |wanted: &dyn Fn(Mistake) -> bool| -> Vec<Cause> {
        shown.iter().copied().filter(|&mistake| wanted(mistake)).map(cause).collect()
    };
    let is_whole = |mistake: Mistake| explained(mistake.bit()) == of;
    let exact = causes(&|mistake| mistake.foretells_rows() && is_whole(mistake));
    if !exact.is_empty() {
        return exact;
    }
    let whole = causes(&is_whole);
    if !whole.is_empty() {
        return whole;
    }
    let all = shown.iter().fold(0, |bits, mistake| bits | mistake.bit());
    if explained(all) == of {
        return causes(&|_| true);
    }
    causes(&|mistake| explained(mistake.bit()).saturating_mul(2) >= of)
}

#[cfg(test)]
mod tests {
    use super::*;

    const CERTAIN: Votes = Votes { shows: 5, does_not: 0 };

    fn votes(of: &[Mistake]) -> [Votes; MISTAKES] {
        let mut votes = [Votes::default(); MISTAKES];
        of.iter().for_each(|&mistake| votes[mistake as usize] = CERTAIN);
        votes
    }

    fn told(votes: &[Votes; MISTAKES], sets: &[(&[Mistake], u64)]) -> Vec<(u64, u64)> {
        let sets = sets.iter().map(|(set, count)| (set.iter().fold(0, |bits, one| bits | one.bit()), *count));
        named(votes, &sets.collect()).iter().map(|cause| (cause.explains, cause.of)).collect()
    }

    #[test]
    fn the_kinds_stand_in_the_order_of_their_discriminants() {
        for (place, mistake) in Mistake::ALL.into_iter().enumerate() {
            assert_eq!(mistake as usize, place);
        }
    }

    #[test]
    fn a_mistake_that_explains_less_than_half_is_not_named() {
        use Mistake::{Latch, Wrap};
        assert_eq!(told(&votes(&[Wrap]), &[(&[Wrap], 4), (&[], 5)]), []);
        assert_eq!(told(&votes(&[Wrap]), &[(&[Wrap], 5), (&[], 5)]), [(5, 10)]);
        assert_eq!(told(&votes(&[Wrap, Latch]), &[(&[Wrap], 3), (&[Latch], 3), (&[], 3)]), []);
    }

    #[test]
    fn mistakes_that_explain_everything_together_are_named_with_their_share() {
        use Mistake::{Latch, Wrap};
        let sets: [(&[Mistake], u64); 3] = [(&[Wrap], 2), (&[Latch], 7), (&[Wrap, Latch], 1)];
        assert_eq!(told(&votes(&[Wrap, Latch]), &sets), [(8, 10), (3, 10)]);
    }

    #[test]
    fn one_that_explains_everything_is_named_alone() {
        use Mistake::{Latch, Late, Wrap};
        assert_eq!(told(&votes(&[Wrap, Latch]), &[(&[Wrap], 2), (&[Wrap, Latch], 7)]), [(9, 9)]);
        // What whole rows hold was foretold: that goes before what may have followed from something.
        assert_eq!(told(&votes(&[Wrap, Late]), &[(&[Wrap, Late], 9)]), [(9, 9)]);
    }

    #[test]
    fn a_mistake_that_would_have_shown_and_did_not_is_not_named() {
        use Mistake::{Late, Wrap};
        let mut votes = votes(&[]);
        votes[Wrap as usize] = Votes { shows: 1000, does_not: 1 };
        assert_eq!(told(&votes, &[(&[Wrap], 9)]), []);
        votes[Late as usize] = Votes { shows: 9, does_not: 1 };
        assert_eq!(told(&votes, &[(&[Late], 9)]), [(9, 9)]);
        votes[Late as usize] = Votes { shows: 8, does_not: 1 };
        assert_eq!(told(&votes, &[(&[Late], 9)]), []);
    }
}
