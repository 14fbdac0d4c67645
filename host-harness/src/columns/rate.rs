//! How the times of a column are spread, in memory that does not grow with their number.

use std::collections::BTreeMap;

/// How many different periods are told apart. Beyond, neighbouring ones become one.
const MOST_PERIODS: usize = 1 << 14;
/// How many gaps are shown with their place.
pub(super) const SHOWN_GAPS: usize = 5;
/// A period longer than so many medians is a gap.
pub(super) const GAP_MEDIANS: i128 = 3;

/// Where a time stands, and what it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct At {
    /// The row of data, from 1.
    pub(super) row: u64,
    /// The time, in 10^-9 of the unit.
    pub(super) time: i128,
}

/// A period that is longer than others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Gap {
    /// The row before it.
    pub(super) behind: At,
    /// Its length, in 10^-9 of the unit.
    pub(super) length: i128,
}

/// The same period, any number of times.
#[derive(Clone, Debug, Default)]
struct Same {
    count: u64,
    /// The first of them.
    first: Vec<Gap>,
}

/// The times of a column so far.
#[derive(Clone, Debug, Default)]
pub(super) struct Rate {
    first: Option<At>,
    last: Option<At>,
    smallest: Option<i128>,
    largest: Option<i128>,
    periods: BTreeMap<i128, Same>,
    count: u64,
    /// Periods are kept without this many of their lowest bits.
    coarse: u32,
    back: u64,
    first_back: Option<At>,
}

/// What the periods come to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Periods {
    pub(super) median: i128,
    /// The median is exact up to this; 0: exact.
    pub(super) coarse: i128,
    pub(super) smallest: i128,
    pub(super) largest: i128,
    pub(super) gaps: u64,
    pub(super) first_gaps: Vec<Gap>,
}

impl Rate {
    /// Takes the next time.
    pub(super) fn add(&mut self, row: u64, time: i128) {
        let at = At { row, time };
        self.first = self.first.or(Some(at));
        if let Some(behind) = self.last.replace(at) {
            let length = time - behind.time;
            if length <= 0 {
                self.back += 1;
                self.first_back = self.first_back.or(Some(at));
            } else {
                self.keep(Gap { behind, length });
            }
        }
    }

    fn keep(&mut self, gap: Gap) {
        self.smallest = Some(self.smallest.map_or(gap.length, |smallest| smallest.min(gap.length)));
        self.largest = Some(self.largest.map_or(gap.length, |largest| largest.max(gap.length)));
        self.count += 1;
        let same = self.periods.entry(gap.length >> self.coarse).or_default();
        same.count += 1;
        if same.first.len() < SHOWN_GAPS {
            same.first.push(gap);
        }
        while self.periods.len() > MOST_PERIODS {
            self.coarsen();
        }
    }

    /// Makes one period of any two that differ in their lowest bit.
    fn coarsen(&mut self) {
        self.coarse += 1;
        let mut merged: BTreeMap<i128, Same> = BTreeMap::new();
        for (period, mut same) in std::mem::take(&mut self.periods) {
            let into = merged.entry(period >> 1).or_default();
            into.count += same.count;
            into.first.append(&mut same.first);
            into.first.sort_by_key(|gap| gap.behind.row);
            into.first.truncate(SHOWN_GAPS);
        }
        self.periods = merged;
    }

    pub(super) const fn first(&self) -> Option<At> {
        self.first
    }

    pub(super) const fn last(&self) -> Option<At> {
        self.last
    }

    /// How often a time is not after the one before, and where first.
    pub(super) const fn back(&self) -> (u64, Option<At>) {
        (self.back, self.first_back)
    }

    /// What the periods that lead forward come to; `None` where there is none.
    pub(super) fn periods(&self) -> Option<Periods> {
        let (smallest, largest) = (self.smallest?, self.largest?);
        let mut left = (self.count - 1) / 2;
        let median = self.periods.iter().find_map(|(period, same)| {
            let found = (left < same.count).then_some(*period);
            left = left.saturating_sub(same.count);
            found
        })?;
        // The middle of what was made one.
        let coarse = (1_i128 << self.coarse) - 1;
        let median = ((median << self.coarse) + coarse / 2).clamp(smallest, largest);
        let limit = median * GAP_MEDIANS;
        let long = self.periods.range((limit >> self.coarse) + i128::from(self.coarse == 0)..);
        let (mut gaps, mut first_gaps) = (0, Vec::new());
        for (_, same) in long {
            gaps += same.count;
            first_gaps.extend(same.first.iter().copied());
        }
        first_gaps.sort_by_key(|gap| gap.behind.row);
        first_gaps.truncate(SHOWN_GAPS);
        Some(Periods { median, coarse, smallest, largest, gaps, first_gaps })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate(times: impl IntoIterator<Item = i128>) -> Rate {
        let mut rate = Rate::default();
        for (row, time) in (1..).zip(times) {
            rate.add(row, time);
        }
        rate
    }

    #[test]
    fn a_period_of_more_than_three_medians_is_a_gap_and_three_are_none() {
        let rate = rate([0, 10, 20, 50, 60, 91, 101, 111]);
        let periods = rate.periods().unwrap();
        assert_eq!((periods.median, periods.smallest, periods.largest, periods.coarse), (10, 10, 31, 0));
        assert_eq!(
            (periods.gaps, periods.first_gaps),
            (1, vec![Gap { behind: At { row: 5, time: 60 }, length: 31 }])
        );
    }

    #[test]
    fn times_that_do_not_increase_are_counted_apart() {
        let rate = rate([0, 10, 10, 5, 15]);
        assert_eq!(rate.back(), (2, Some(At { row: 3, time: 10 })));
        assert_eq!(rate.periods().unwrap().median, 10);
    }

    #[test]
    fn one_time_has_no_period() {
        assert_eq!(rate([7]).periods(), None);
        assert_eq!(rate([]).first(), None);
    }

    #[test]
    fn however_many_different_periods_there_are_the_memory_is_bounded_and_the_median_within_what_is_told() {
        // Periods 1, 2, 3... to 100000 and the median at 50000; the first beyond three medians do not exist.
        let mut time = 0;
        let times = (0..100_000_i128).map(|step| {
            time += step;
            time
        });
        let rate = rate(times);
        assert!(rate.periods.len() <= MOST_PERIODS);
        let periods = rate.periods().unwrap();
        assert!(periods.coarse > 0);
        assert!((periods.median - 50_000).abs() <= periods.coarse, "{periods:?}");
        assert_eq!((periods.smallest, periods.largest, periods.gaps), (1, 99_999, 0));
    }
}
