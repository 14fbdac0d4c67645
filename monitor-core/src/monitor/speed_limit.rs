//! Watches that the axis does not move faster than allowed (safely limited speed, SLS).
//!
//! Violated when `abs(v) > limit`; with a [`Ramp`], when `abs(v) > max(L(t), limit)`, so that the axis has the
//! time to slow down that the ramp gives it. Reaching the limit is no violation.
//!
//! Worst-case reaction under constant acceleration: half the window + latency + on-delay + two frames. It does not
//! see motion within one count over the window; position drift below the limit is [`Standstill`](super::Standstill)'s work.

use crate::monitor::envelope::Envelope;
use crate::monitor::{Check, Monitor, Motion, Ramp};
use crate::units::{Span, Speed};

/// A speed limit, entered at once or along a ramp.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SpeedLimit {
    limit: Speed,
    ramp: Option<Ramp>,
}

impl SpeedLimit {
    /// A limit of 0 or more; 0 allows no motion that the window resolves. `None` when it is negative.
    #[must_use]
    pub fn try_new(limit: Speed, ramp: Option<Ramp>) -> Option<Self> {
        (limit >= Speed::ZERO).then_some(Self { limit, ramp })
    }

    /// The limit.
    #[must_use]
    pub const fn limit(&self) -> Speed {
        self.limit
    }

    /// The way into it; `None` when it holds at once.
    #[must_use]
    pub const fn ramp(&self) -> Option<Ramp> {
        self.ramp
    }

    /// The limit in force so long after the demand; `None` before the speed at the demand is known. It never rises.
    pub(crate) fn limit_at(&self, state: &SpeedLimitState, since_demand: Span) -> Option<Speed> {
        match &self.ramp {
            Some(ramp) => state.envelope.limit_at(ramp, self.limit, since_demand),
            None => Some(self.limit),
        }
    }

    /// The ramp along which its limit still falls.
    pub(crate) fn falling(&self, state: &SpeedLimitState) -> Option<&Ramp> {
        self.ramp.as_ref().filter(|_| !state.envelope.has_landed())
    }
}

/// Where the ramp of a speed limit is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SpeedLimitState {
    envelope: Envelope,
}

impl Monitor for SpeedLimit {
    type State = SpeedLimitState;

    #[inline]
    fn check(&self, state: &mut SpeedLimitState, motion: &Motion<'_>) -> Check {
        let limit = match &self.ramp {
            Some(ramp) => state.envelope.limit(ramp, self.limit, motion),
            None => Some(self.limit),
        };
        match limit {
            Some(limit) => Check::of_known_speed(motion.speed(), limit),
            None => Check::not_yet(),
        }
    }
}
