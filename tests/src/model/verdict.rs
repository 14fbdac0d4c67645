//! Limits with their rounding, the verdict of a comparison, and the on-delay.

use super::exact::{Q, ulp, ulp_down, ulp_up};
use num_traits::Zero;

/// A limit in three forms: exact, after the documented rounding, and the strictest value that the documented
/// roundings allow. Always `strictest <= held <= exact` where nothing may be above it, and the other way round where
/// nothing may be below it.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// Without any rounding but that of the settings.
    pub exact: Q,
    /// With every rounding the rules name.
    pub held: Q,
    /// `exact` less the largest error of the roundings.
    pub strictest: Q,
}

impl Limit {
    /// A limit that is a setting: no rounding is left to do.
    #[must_use]
    pub fn setting(value: &Q) -> Self {
        Self { exact: value.clone(), held: value.clone(), strictest: value.clone() }
    }

    /// A measured magnitude that is rounded down to a ULP: less than one ULP is lost.
    pub(super) fn rounded_down(value: &Q) -> Self {
        Self { exact: value.clone(), held: ulp_down(value), strictest: value - ulp() }
    }

    /// `self + setting`, a sum of whole ULPs: nothing is lost.
    pub(super) fn raised(&self, setting: &Q) -> Self {
        Self {
            exact: &self.exact + setting,
            held: &self.held + setting,
            strictest: &self.strictest + setting,
        }
    }

    /// `self − fall` with the fall rounded up to a ULP: less than one ULP more is lost.
    pub(super) fn fallen(&self, fall: &Q) -> Self {
        Self {
            exact: &self.exact - fall,
            held: &self.held - ulp_up(fall),
            strictest: &self.strictest - fall - ulp(),
        }
    }

    /// The smaller of two limits; the error of the result is at most the larger of the two errors.
    pub(super) fn min(self, other: Self) -> Self {
        Self {
            exact: self.exact.min(other.exact),
            held: self.held.min(other.held),
            strictest: self.strictest.min(other.strictest),
        }
    }

    /// The larger of two limits; the error of the result is at most the larger of the two errors.
    pub(super) fn max(self, other: Self) -> Self {
        Self {
            exact: self.exact.max(other.exact),
            held: self.held.max(other.held),
            strictest: self.strictest.max(other.strictest),
        }
    }
}

/// An observed value in three forms: exact, after the documented rounding, and the strictest value that the
/// documented roundings allow. The last two differ only where a limit that is itself rounded entered the value.
#[derive(Clone, Debug, PartialEq)]
pub struct Observed {
    /// Without any rounding but that of the settings.
    pub exact: Q,
    /// With every rounding the rules name.
    pub held: Q,
    /// Furthest from `exact`, on the side of `held`.
    pub strictest: Q,
}

impl Observed {
    /// A value that the rules round in one way only.
    pub(super) fn held_as(exact: Q, held: Q) -> Self {
        Self { exact, strictest: held.clone(), held }
    }

    /// A magnitude that is rounded up to a ULP.
    pub(super) fn rounded_up(magnitude: Q) -> Self {
        let held = ulp_up(&magnitude);
        Self::held_as(magnitude, held)
    }
}

/// Where an observed value may not be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Not above its limit.
    NotAbove,
    /// Not below its limit.
    NotBelow,
}

impl Side {
    /// How far `observed` is beyond `limit`; negative while there is room.
    #[must_use]
    pub fn excess(self, observed: &Q, limit: &Q) -> Q {
        match self {
            Self::NotAbove => observed - limit,
            Self::NotBelow => limit - observed,
        }
    }
}

/// What a rule holds against a limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Bound {
    /// What was compared.
    pub evidence: Evidence,
    /// Where the observed value may not be.
    pub side: Side,
    /// The observed value: a magnitude, or signed where the rule tells the directions apart.
    pub observed: Observed,
    /// Its limit.
    pub limit: Limit,
}

impl Bound {
    /// A magnitude that is rounded up, and may not be above its limit.
    pub(super) fn magnitude(evidence: Evidence, magnitude: Q, limit: Limit) -> Self {
        Self { evidence, side: Side::NotAbove, observed: Observed::rounded_up(magnitude), limit }
    }

    /// The end of a range that is nearer to a value between `down` and `up`, as they are shown; of two as near, the
    /// upper one.
    pub(super) fn nearer(evidence: Evidence, exact: &Q, [down, up]: [Q; 2], [low, high]: [&Q; 2]) -> Self {
        let (side, held, limit) =
            if high - &up <= &down - low { (Side::NotAbove, up, high) } else { (Side::NotBelow, down, low) };
        let observed = Observed::held_as(exact.clone(), held);
        Self { evidence, side, observed, limit: Limit::setting(limit) }
    }

    /// The same of the other direction: a magnitude that may not be above its limit, as a signed value that may not be
    /// below its own.
    pub(super) fn negated(self) -> Self {
        let Self { evidence, side, observed, limit } = self;
        let side = match side {
            Side::NotAbove => Side::NotBelow,
            Side::NotBelow => Side::NotAbove,
        };
        Self {
            evidence,
            side,
            observed: Observed {
                exact: -observed.exact,
                held: -observed.held,
                strictest: -observed.strictest,
            },
            limit: Limit { exact: -limit.exact, held: -limit.held, strictest: -limit.strictest },
        }
    }

    /// How far the observed value is beyond its limit after the documented rounding.
    #[must_use]
    pub fn excess_held(&self) -> Q {
        self.side.excess(&self.observed.held, &self.limit.held)
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
    /// Whether what a channel has travelled beyond the limit of a monitor is more than allowed. It is asked only where
    /// that alone decides about a trip.
    Overrun {
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
    } else if *observed <= limit.strictest {
        Tri::No
    } else {
        Tri::Near
    };
    (verdict, *observed > limit.held)
}

/// A comparison whose documented rounding is never looser than the exact one, `exact` and `held`.
pub(super) fn never_looser(exact: bool, held: bool) -> Tri {
    match (exact, held) {
        (true, _) => Tri::Yes,
        (false, false) => Tri::No,
        (false, true) => Tri::Near,
    }
}

/// What kind of value broke the rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Evidence {
    /// A travel, in units.
    Position,
    /// A speed, in units per second.
    Speed,
    /// An acceleration, or the deceleration of a stop, in units per second squared.
    Acceleration,
    /// What was travelled beyond a limit of the speed, in units.
    Overrun,
    /// An analogue value, in its own unit.
    Value,
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
    /// What was compared, with which limit.
    pub bound: Bound,
}

/// What an unbroken violation has travelled beyond its limit.
#[derive(Clone, Debug)]
pub(super) struct Overrun {
    pub sum: Observed,
}

impl Overrun {
    pub fn nothing() -> Self {
        Self { sum: Observed::held_as(Q::zero(), Q::zero()) }
    }

    /// Adds what a speed beyond its limit has travelled since the frame before, rounded up. Where a near case was decided
    /// as a violation, the exact speed is not beyond its exact limit and adds nothing.
    pub fn add(&mut self, bound: &Bound, elapsed: &Q) {
        let Bound { side, observed, limit, .. } = bound;
        let travel = |speed: &Q, limit: &Q| side.excess(speed, limit).max(Q::zero()) * elapsed;
        self.sum.exact += travel(&observed.exact, &limit.exact);
        self.sum.held += ulp_up(&travel(&observed.held, &limit.held));
        self.sum.strictest += ulp_up(&travel(&observed.strictest, &limit.strictest));
    }

    /// Whether the sum exceeds the distance: the exact verdict, and the decision after the documented rounding.
    pub fn exceeds(&self, distance: &Q) -> (Tri, bool) {
        let verdict = never_looser(self.sum.exact > *distance, self.sum.strictest > *distance);
        (verdict, self.sum.held > *distance)
    }

    pub fn bound(&self, distance: &Q) -> Bound {
        Bound {
            evidence: Evidence::Overrun,
            side: Side::NotAbove,
            observed: self.sum.clone(),
            limit: Limit::setting(distance),
        }
    }
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
