//! Limits with their rounding, the verdict of a comparison, and the on-delay.

use super::exact::{Q, ulp, ulp_down, ulp_up};

/// A limit in three forms: exact, after the documented rounding, and the lowest value that the documented
/// roundings allow. Always `low <= held <= exact`.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// Without any rounding but that of the settings.
    pub exact: Q,
    /// With every rounding the rules name.
    pub held: Q,
    /// `exact` less the largest error of the roundings.
    pub low: Q,
}

impl Limit {
    /// A limit that is a setting: no rounding is left to do.
    #[must_use]
    pub fn setting(value: &Q) -> Self {
        Self { exact: value.clone(), held: value.clone(), low: value.clone() }
    }

    /// A measured magnitude that is rounded down to a ULP: less than one ULP is lost.
    pub(super) fn rounded_down(value: &Q) -> Self {
        Self { exact: value.clone(), held: ulp_down(value), low: value - ulp() }
    }

    /// `self + setting`, a sum of whole ULPs: nothing is lost.
    pub(super) fn raised(&self, setting: &Q) -> Self {
        Self { exact: &self.exact + setting, held: &self.held + setting, low: &self.low + setting }
    }

    /// `self − fall` with the fall rounded up to a ULP: less than one ULP more is lost.
    pub(super) fn fallen(&self, fall: &Q) -> Self {
        Self { exact: &self.exact - fall, held: &self.held - ulp_up(fall), low: &self.low - fall - ulp() }
    }

    /// The smaller of two limits; the error of the result is at most the larger of the two errors.
    pub(super) fn min(self, other: Self) -> Self {
        Self {
            exact: self.exact.min(other.exact),
            held: self.held.min(other.held),
            low: self.low.min(other.low),
        }
    }

    /// The larger of two limits; the error of the result is at most the larger of the two errors.
    pub(super) fn max(self, other: Self) -> Self {
        Self {
            exact: self.exact.max(other.exact),
            held: self.held.max(other.held),
            low: self.low.max(other.low),
        }
    }
}

/// The verdict of an exact comparison.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tri {
    /// It does not hold, however the documented roundings fall.
    No,
    /// It holds, however the documented roundings fall.
    Yes,
    /// The documented roundings decide.
    Near,
}

/// Which near comparison is to be decided.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Question {
    /// Whether a monitor is violated on a channel (0 is A, 1 is B).
    Violated {
        /// Index of the monitor.
        monitor: usize,
        /// Index of the channel.
        channel: usize,
    },
    /// Whether a stop is complete on a channel.
    Complete {
        /// Index of the monitor.
        monitor: usize,
        /// Index of the channel.
        channel: usize,
    },
    /// Whether the position discrepancy is violated.
    Discrepancy,
    /// Whether the speed discrepancy is violated.
    SpeedDiscrepancy,
}

/// Decides the near comparisons of one frame and counts them.
pub(super) struct Judge<'a> {
    pub resolve: &'a mut dyn FnMut(Question, bool) -> bool,
    pub compared: usize,
    pub near: usize,
}

impl Judge<'_> {
    /// The decision on `question`, whose exact verdict is `verdict`; `held` is the decision after the
    /// documented rounding.
    pub fn decide(&mut self, question: Question, verdict: Tri, held: bool) -> bool {
        self.compared += 1;
        match verdict {
            Tri::No => false,
            Tri::Yes => true,
            Tri::Near => {
                self.near += 1;
                (self.resolve)(question, held)
            }
        }
    }
}

/// `observed > limit` for an observed value that is exact, or that is rounded up to a ULP before it is compared
/// with a limit in whole ULPs, which is the same decision. So only the error of the limit counts.
pub(super) fn above(observed: &Q, limit: &Limit) -> (Tri, bool) {
    let verdict = if *observed > limit.exact {
        Tri::Yes
    } else if *observed <= limit.low {
        Tri::No
    } else {
        Tri::Near
    };
    (verdict, *observed > limit.held)
}

/// What kind of value broke the rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Evidence {
    /// A travel, in units.
    Position,
    /// A speed, in units per second.
    Speed,
}

/// What a trip records.
#[derive(Clone, Debug, PartialEq)]
pub struct TripFacts {
    /// The frame at which the demand became active; `None` for a discrepancy, which has no demand.
    pub demanded_at: Option<u64>,
    /// The first frame of the unbroken violation, in nanoseconds.
    pub violated_since: u64,
    /// The frame of the trip, in nanoseconds.
    pub tripped_at: u64,
    /// What was compared.
    pub evidence: Evidence,
    /// The exact observed value.
    pub observed: Q,
    /// The limit it was compared with.
    pub limit: Limit,
}

/// An on-delay with the latch behind it.
#[derive(Clone, Debug, Default)]
pub(super) struct Hold {
    pub since: Option<u64>,
    pub latched: bool,
}

impl Hold {
    /// Moves to the frame at `now`. Returns since when the violation lasts if it trips at this frame.
    pub fn update(&mut self, now: u64, violated: bool, on_delay_ns: u64) -> Option<u64> {
        if !violated {
            self.since = None;
            return None;
        }
        let since = *self.since.get_or_insert(now);
        let trips = now - since >= on_delay_ns && !self.latched;
        self.latched |= trips;
        trips.then_some(since)
    }
}
