//! Watches that the axis does not move faster than allowed (safely limited speed, SLS).
//!
//! Violated when `abs(v) > limit`; with a [`Ramp`], when `abs(v) > max(L(t), limit)`, so that the axis has the
//! time to slow down that the ramp gives it. Reaching the limit is no violation. The two directions may have limits of their own.
//!
//! Worst-case reaction under constant acceleration: half the window + latency + on-delay + two frames. It does not
//! see motion within one count over the window; position drift below the limit is [`Standstill`](super::Standstill)'s work.

use crate::monitor::envelope::{Course, Envelope};
use crate::monitor::{Bound, Check, Monitor, Motion, Ramp, RampState};
use crate::scale::WindowSpeed;
use crate::units::{Span, Speed};

/// A speed limit, entered at once or along a ramp.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SpeedLimit {
    positive: Speed,
    negative: Speed,
    ramp: Option<Ramp>,
}

impl SpeedLimit {
    /// A limit of 0 or more; 0 allows no motion that the window resolves. `None` when it is negative.
    #[must_use]
    pub fn try_new(limit: Speed, ramp: Option<Ramp>) -> Option<Self> {
        Self::of_directions(limit, limit, ramp)
    }

    /// A limit for each direction, both 0 or more. `None` when one is negative.
    #[must_use]
    pub fn of_directions(positive: Speed, negative: Speed, ramp: Option<Ramp>) -> Option<Self> {
        (positive >= Speed::ZERO && negative >= Speed::ZERO).then_some(Self { positive, negative, ramp })
    }

    /// The limit in the positive direction.
    #[must_use]
    pub const fn positive(&self) -> Speed {
        self.positive
    }

    /// The limit in the negative direction, a magnitude.
    #[must_use]
    pub const fn negative(&self) -> Speed {
        self.negative
    }

    /// The way into it; `None` when it holds at once.
    #[must_use]
    pub const fn ramp(&self) -> Option<Ramp> {
        self.ramp
    }

    /// Whether both directions have the same limit.
    #[must_use]
    pub fn is_symmetric(&self) -> bool {
        self.positive == self.negative
    }

    /// Against the limit of the direction in which the axis moves, or the line where that is above.
    fn check_direction(&self, line: Speed, speed: Option<WindowSpeed>) -> Check {
        let (positive, negative) = (line.max(self.positive), line.max(self.negative));
        let in_force = Some(positive.max(negative));
        match speed {
            // Bounded because a limit is not negative.
            Some(speed) if speed.is_negative() => {
                let low = Speed::from_bits(negative.to_bits().wrapping_neg());
                Check { speed: Some(Bound::at_least(speed.lower(), low)), in_force, ..Check::default() }
            }
            Some(speed) => {
                Check { speed: Some(Bound::at_most(speed.upper(), positive)), in_force, ..Check::default() }
            }
            None => Check { in_force, ..Check::not_yet() },
        }
    }

    /// The smaller limit: the magnitude up to which a speed is within both.
    pub(crate) fn inner(&self) -> Speed {
        self.positive.min(self.negative)
    }

    /// The limit in force so long after the demand; `None` before the speed at the demand is known. It never rises.
    pub(crate) fn limit_at(&self, state: &RampState, since_demand: Span) -> Option<Speed> {
        let larger = self.positive.max(self.negative);
        match &self.ramp {
            Some(ramp) => {
                let line = state.envelope()?.limit_at(ramp, self.inner(), since_demand)?;
                Some(line.max(larger))
            }
            None => Some(larger),
        }
    }

    /// The ramp along which its limit still falls.
    pub(crate) fn falling(&self, state: &RampState) -> Option<&Ramp> {
        self.ramp.as_ref().filter(|_| !state.envelope().is_some_and(Envelope::has_landed))
    }
}

impl Monitor for SpeedLimit {
    type State = RampState;

    #[inline]
    fn check(&self, state: &mut RampState, motion: &Motion<'_>) -> Check {
        let line = match (&self.ramp, &mut state.course) {
            (Some(ramp), Course::Along(envelope)) => envelope.limit(ramp, self.inner(), motion),
            _ => Some(self.inner()),
        };
        match line {
            Some(limit) if self.is_symmetric() => Check::of_known_speed(motion.speed(), limit),
            Some(line) => self.check_direction(line, motion.speed()),
            None => Check::not_yet(),
        }
    }
}
