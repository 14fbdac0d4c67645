//! How close one rule came to its limit, and when it crossed it.

use monitor_core::{Acceleration, Bound, Evidence, Instant, Position, Side, Speed, Value};

/// A quantity that is held against a limit.
pub(super) trait Raw: Copy {
    /// In ULPs.
    fn raw(self) -> i64;
}

impl Raw for Position {
    fn raw(self) -> i64 {
        self.to_bits()
    }
}

impl Raw for Speed {
    fn raw(self) -> i64 {
        self.to_bits()
    }
}

impl Raw for Acceleration {
    fn raw(self) -> i64 {
        self.to_bits()
    }
}

impl Raw for Value {
    fn raw(self) -> i64 {
        self.to_bits()
    }
}

/// How far an observed value is beyond its limit, in ULPs; zero or less within it.
pub(super) fn excess<T: Raw>(bound: Bound<T>) -> i64 {
    // An observed value may be the largest there is, standing for "beyond any limit".
    match bound.side {
        Side::Above => bound.observed.raw().saturating_sub(bound.limit.raw()),
        Side::Below => bound.limit.raw().saturating_sub(bound.observed.raw()),
    }
}

/// How far what was seen is beyond what is allowed, in ULPs.
pub(super) fn evident(evidence: &Evidence) -> i64 {
    match *evidence {
        Evidence::Position(bound) | Evidence::Overrun(bound) => excess(bound),
        Evidence::Speed(bound) => excess(bound),
        Evidence::Acceleration(bound) => excess(bound),
        Evidence::Value(bound) => excess(bound),
    }
}

/// One observed value against its limit, over a whole trace.
#[derive(Clone, Copy, Debug)]
pub(super) struct Margin {
    /// The smallest distance to the limit, in ULPs.
    pub(super) headroom: i64,
    /// The first frame at which it was so small.
    pub(super) at: Instant,
    /// Frames at which the limit was exceeded.
    pub(super) exceeded: u64,
    /// It was compared at least once.
    pub(super) seen: bool,
    /// The frame before, when it was within its limit there: instant and excess (zero or less).
    before: Option<(Instant, i64)>,
    /// When the violation that lasts began, interpolated.
    crossed: Option<Instant>,
    /// The largest excess of that violation.
    furthest: i64,
}

impl Margin {
    pub(super) const NEW: Self = Self {
        headroom: i64::MAX,
        at: Instant::from_nanos(0),
        exceeded: 0,
        seen: false,
        before: None,
        crossed: None,
        furthest: 0,
    };

    /// Takes the comparison of one frame.
    #[inline]
    pub(super) fn update<T: Raw>(&mut self, now: Instant, bound: Bound<T>) {
        let excess = excess(bound);
        let headroom = excess.saturating_neg();
        self.seen = true;
        if headroom < self.headroom {
            self.headroom = headroom;
            self.at = now;
        }
        if excess <= 0 {
            self.before = Some((now, excess));
            self.crossed = None;
            return;
        }
        self.exceeded += 1;
        if self.crossed.is_none() {
            self.crossed = Some(crossing(self.before, now, excess));
            self.furthest = 0;
        }
        self.furthest = self.furthest.max(excess);
    }

    /// What was compared at the last frame before this, within its limit, and known to leave no smaller headroom.
    pub(super) fn pass<T: Raw>(&mut self, at: Instant, bound: Bound<T>) {
        self.before = Some((at, excess(bound)));
        self.crossed = None;
    }

    /// Not compared at this frame.
    #[inline]
    pub(super) fn interrupt(&mut self) {
        self.before = None;
        self.crossed = None;
    }

    /// When the violation that lasts crossed the limit.
    pub(super) fn crossed(&self) -> Option<Instant> {
        self.crossed
    }

    /// The furthest that the violation that lasts has been beyond the limit, in ULPs.
    pub(super) fn furthest(&self) -> Option<i64> {
        self.crossed.map(|_| self.furthest)
    }
}

/// Where a straight line between two frames crosses zero, rounded down to the nanosecond; `now` when the frame before
/// says nothing.
fn crossing(before: Option<(Instant, i64)>, now: Instant, excess: i64) -> Instant {
    let Some((then, below)) = before else { return now };
    let span = i128::from(now.as_nanos()) - i128::from(then.as_nanos());
    let (below, excess) = (-i128::from(below), i128::from(excess));
    // `excess` is above zero, so the sum is; the quotient is between zero and the span.
    let after = span * below / (below + excess);
    Instant::from_nanos(u64::try_from(i128::from(then.as_nanos()) + after).unwrap_or(now.as_nanos()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn speed(v: i64) -> Speed {
        Speed::from_int(v).unwrap()
    }

    #[test]
    fn a_crossing_lies_where_the_straight_line_meets_the_limit() {
        let mut margin = Margin::NEW;
        let at = |ms: u64| Instant::from_nanos(ms * 1_000_000);
        margin.update(at(10), Bound::at_most(speed(240), speed(250)));
        assert_eq!(margin.crossed(), None);
        margin.update(at(11), Bound::at_most(speed(280), speed(250)));
        assert_eq!(margin.crossed(), Some(Instant::from_nanos(10_250_000)));
        // The violation goes on: the crossing stays.
        margin.update(at(12), Bound::at_most(speed(300), speed(250)));
        assert_eq!(margin.crossed(), Some(Instant::from_nanos(10_250_000)));
        assert_eq!((margin.headroom, margin.at), (-(50 << 24), at(12)));
        // On its way back, it has been as far as it was.
        margin.update(at(12), Bound::at_most(speed(260), speed(250)));
        assert_eq!(margin.furthest(), Some(50 << 24));
        // Exactly at the limit is within it.
        margin.update(at(13), Bound::at_most(speed(250), speed(250)));
        assert_eq!((margin.crossed(), margin.furthest()), (None, None));
        // Another violation is by itself.
        margin.update(at(14), Bound::at_most(speed(255), speed(250)));
        assert_eq!(margin.furthest(), Some(5 << 24));
    }

    #[test]
    fn a_value_below_its_limit_is_beyond_it_where_it_may_not_be_below() {
        let mut margin = Margin::NEW;
        let at = |ms: u64| Instant::from_nanos(ms * 1_000_000);
        margin.update(at(10), Bound::at_least(speed(-240), speed(-250)));
        assert_eq!((margin.headroom, margin.exceeded), (10 << 24, 0));
        margin.update(at(11), Bound::at_least(speed(-280), speed(-250)));
        assert_eq!((margin.headroom, margin.exceeded), (-(30 << 24), 1));
        assert_eq!(margin.crossed(), Some(Instant::from_nanos(10_250_000)));
    }

    #[test]
    fn a_violation_from_the_first_frame_on_crosses_at_that_frame() {
        let mut margin = Margin::NEW;
        let now = Instant::from_nanos(7);
        margin.update(now, Bound::at_most(speed(2), speed(1)));
        assert_eq!(margin.crossed(), Some(now));
    }
}
