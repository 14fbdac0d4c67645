//! Watches that the axis does not move faster than allowed (safely limited speed, SLS).
//!
//! The hazard: a person works in reach of an axis that has to move meanwhile, and can only step back from it while it is slow.
//!
//! ```text
//!   abs(v)  ───────╲                   over what is allowed, with a ramp: L(t)
//!                   ╲  ramp     ╱╲
//!   limit   ─────────╲─────────╳──╲─── trips where it stays above for the on-delay
//!                     ╲_______╱    ╲__
//!                  t0
//! ```
//!
//! Violated when `abs(v) > limit`; with a [`Ramp`], when `abs(v) > max(L(t), limit)`, so that the axis has the
//! time to slow down that the ramp gives it. Reaching the limit is no violation. The two directions may have limits of their own.
//!
//! Worst-case reaction under constant acceleration: half the window + latency + on-delay + two frames; with an allowed overrun, the window +
//! latency + the overrun over the excess + two frames where that is earlier. Not detected: motion
//! within one count over the window; position drift below the limit, which is [`Standstill`](super::Standstill)'s work.
//!
//! ```
//! # use monitor_core::*;
//! # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
//! #     Span::from_millis(4).unwrap()).unwrap();
//! # let window = Span::from_millis(2).unwrap();
//! # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
//! let limit = SpeedLimit::try_new(Speed::from_int(250).unwrap(), None).unwrap();
//! let slow = axis.add_monitor(Rule::SpeedLimit(limit), Demand::Always, Span::ZERO)?;
//! let mut axis = Axis::new(axis);
//! // 250 mm/s for 10 ms, then 300 mm/s: over a window of 2 ms that is 275 mm/s after one frame.
//! let tripped_at = (0..20).find(|&ms: &u64| {
//!     let now = Instant::from_nanos(ms * 1_000_000);
//!     let count = 250 * ms + 50 * ms.saturating_sub(10);
//!     let reading = Some(Reading { captured_at: now, sample: Sample::Count(count) });
//!     axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() }).tripped.a.contains(slow)
//! });
//! assert_eq!(tripped_at, Some(11));
//! # Ok::<(), AxisError>(())
//! ```

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
