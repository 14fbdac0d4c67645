//! Watches that an axis comes to a stop when it is told to (safe stop 1 and 2, SS1 and SS2; stop categories 1 and 2 of IEC 60204-1).
//!
//! The hazard: a person reaches into a machine that was told to stop, and an axis brakes too late, too softly or not at all. Taking the
//! torque away at once would be no help: then it only runs out.
//!
//! ```text
//!   abs(v) ──────╮        ╲ L(t)                  by ramp: at or below the line
//!                 ╲        ╲                      by deceleration: steep enough from the delay on
//!                  ╲────────╳ trips               by time: nothing before `within` has passed
//!   standstill_speed ────────╲──── complete: the torque goes, or a standstill takes over
//!               t0  t0+delay
//! ```
//!
//! Supervised by a [`Ramp`]: violated when `abs(v) > L(t)`; the stop is complete when the falling line has reached the
//! standstill speed, or when `within` has passed. Supervised by its [`Braking`]: violated when the measured deceleration falls below
//! what was set less the margin; complete when the speed is down at the standstill speed. Supervised by time: nothing is watched before
//! `within` has passed.
//! A complete stop withdraws the permit as planned, or hands over to a [`Standstill`] that starts at the next frame.
//!
//! A stop that has begun is carried through even when its demand is released before.
//!
//! Worst-case reaction to braking that is lost: by ramp, until the speed that is no longer falling meets the line, then half the window +
//! latency + on-delay + two frames; by deceleration two effective windows + latency + on-delay + two frames; by time `within` and two frames. A
//! trip takes the torque: what that does to an axis that still moves is the machine's matter. Not detected: how far the axis goes
//! meanwhile; what happens after a stop that ended without the permit, which is a brake's.
//!
//! ```
//! # use monitor_core::*;
//! # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
//! #     Span::from_millis(4).unwrap()).unwrap();
//! # let window = Span::from_millis(2).unwrap();
//! # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
//! let ramp = Ramp::try_new(Span::from_millis(5).unwrap(), Acceleration::from_int(20_000).unwrap(), Speed::from_int(50).unwrap());
//! let supervision =
//!     Supervision::Ramp { ramp: ramp.unwrap(), standstill_speed: Speed::from_int(10).unwrap(), within: None };
//! let stop = Stop::try_new(supervision, Until::TorqueOff).unwrap();
//! let button = axis.add_input(InputConfig::single(0, true, Span::ZERO).unwrap())?;
//! let pressed = Demand::AnyOf(InputSet::NONE.with(button));
//! let stop = axis.add_monitor(Rule::Stop(stop), pressed, Span::ZERO)?;
//! let mut axis = Axis::new(axis);
//! // Half a metre per second, and nothing brakes after the button at 10 ms. The line stays at 550 mm/s for 5 ms, and falls by 20 mm/s
//! // in every millisecond from then on: after three of them it is below the speed.
//! let tripped_at = (0..40).find(|&ms: &u64| {
//!     let now = Instant::from_nanos(ms * 1_000_000);
//!     let reading = Some(Reading { captured_at: now, sample: Sample::Count(500 * ms) });
//!     let levels = Levels::from_bits(u32::from(ms >= 10));
//!     axis.step(&Frame { now, a: reading, b: reading, levels }).tripped.a.contains(stop)
//! });
//! assert_eq!(tripped_at, Some(18));
//! # Ok::<(), AxisError>(())
//! ```

use crate::monitor::envelope::Course;
use crate::monitor::{Bound, Check, Monitor, Motion, Ramp, RampState, Standstill, StandstillState};
use crate::units::{Acceleration, Position, Span, Speed};

/// How a stop is supervised.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Supervision {
    /// The speed must stay below a falling line.
    Ramp {
        /// The line.
        ramp: Ramp,
        /// Where the line ends: from here on the axis counts as stopped.
        standstill_speed: Speed,
        /// The stop is over after this time at the latest.
        within: Option<Span>,
    },
    /// The deceleration must stay high until the axis stands.
    Deceleration {
        /// From when on, and how high.
        braking: Braking,
        /// The axis counts as stopped once it is no faster.
        standstill_speed: Speed,
        /// The stop is over after this time at the latest.
        within: Option<Span>,
    },
    /// Only the time is watched.
    Time {
        /// The stop is over after this time.
        within: Span,
    },
}

/// What deceleration a stop has to reach.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Braking {
    delay: Span,
    deceleration: Acceleration,
    margin: Acceleration,
}

impl Braking {
    /// From `delay` after the demand on, at least `deceleration` (above 0) less `margin` (0 or more, at most that). `None` when a
    /// value is outside its range.
    ///
    /// The acceleration looks back over two windows: a shorter `delay` compares with motion from before the stop.
    #[must_use]
    pub fn try_new(delay: Span, deceleration: Acceleration, margin: Acceleration) -> Option<Self> {
        let is_sound =
            Acceleration::ZERO <= margin && margin <= deceleration && deceleration > Acceleration::ZERO;
        is_sound.then_some(Self { delay, deceleration, margin })
    }

    /// From the demand to the first frame that is watched.
    #[must_use]
    pub const fn delay(&self) -> Span {
        self.delay
    }

    /// What is to be reached.
    #[must_use]
    pub const fn deceleration(&self) -> Acceleration {
        self.deceleration
    }

    /// How far below that it may fall.
    #[must_use]
    pub const fn margin(&self) -> Acceleration {
        self.margin
    }

    /// Of an axis that is not standing yet.
    #[inline(never)]
    fn check(&self, motion: &Motion<'_>) -> Check {
        if motion.since_demand() < self.delay {
            return Check { warming_up: motion.speed().is_none(), ..Check::default() };
        }
        // Bounded because the margin is not more than the deceleration, and not negative.
        let least = Acceleration::from_bits(self.deceleration.to_bits().wrapping_sub(self.margin.to_bits()));
        Check::of_known_acceleration(motion.deceleration().map(|braking| Bound::at_least(braking, least)))
    }
}

/// How a stop ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Until {
    /// The permit is withdrawn (safe stop 1).
    TorqueOff,
    /// The axis is held, and a standstill is watched (safe stop 2).
    Standstill(Standstill),
}

/// A monitored stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Stop {
    supervision: Supervision,
    until: Until,
}

impl Stop {
    /// A stop supervised by `supervision` that ends as `until` says. `None` when a standstill speed is negative.
    #[must_use]
    pub fn try_new(supervision: Supervision, until: Until) -> Option<Self> {
        match supervision {
            Supervision::Ramp { standstill_speed, .. }
            | Supervision::Deceleration { standstill_speed, .. }
                if standstill_speed < Speed::ZERO =>
            {
                None
            }
            _ => Some(Self { supervision, until }),
        }
    }

    /// How it is supervised.
    #[must_use]
    pub const fn supervision(&self) -> &Supervision {
        &self.supervision
    }

    /// How it ends.
    #[must_use]
    pub const fn until(&self) -> &Until {
        &self.until
    }

    pub(crate) fn position_window(&self) -> Option<Position> {
        match &self.until {
            Until::TorqueOff => None,
            Until::Standstill(standstill) => Some(standstill.position_window()),
        }
    }

    /// The window of the speed once it holds the axis.
    pub(crate) fn speed_window(&self, state: &RampState) -> Option<Speed> {
        match &self.until {
            Until::Standstill(standstill) if state.is_complete() => Some(standstill.speed_window()),
            _ => None,
        }
    }

    /// Whether it is complete and `check` already is that of its end, not of the last frame before.
    pub(crate) fn is_calm(&self, state: &RampState, check: &Check) -> bool {
        state.is_complete()
            && match self.until {
                Until::TorqueOff => check.speed.is_none() && check.acceleration.is_none(),
                Until::Standstill(_) => check.position.is_some(),
            }
    }

    pub(crate) fn needs_acceleration(&self) -> bool {
        matches!(self.supervision, Supervision::Deceleration { .. })
    }

    fn within(&self) -> Option<Span> {
        match self.supervision {
            Supervision::Ramp { within, .. } | Supervision::Deceleration { within, .. } => within,
            Supervision::Time { within } => Some(within),
        }
    }
}

impl Monitor for Stop {
    type State = RampState;

    fn check(&self, state: &mut RampState, motion: &Motion<'_>) -> Check {
        let envelope = match &mut state.course {
            Course::Along(envelope) => envelope,
            Course::Complete(held) => {
                let mut check = match &self.until {
                    Until::TorqueOff => Check { withdraws: true, ..Check::default() },
                    Until::Standstill(standstill) => standstill.check(held, motion),
                };
                check.complete = true;
                return check;
            }
        };
        let mut stands = false;
        let mut check = match &self.supervision {
            Supervision::Time { .. } => Check::default(),
            Supervision::Ramp { ramp, standstill_speed, .. } => {
                match envelope.limit(ramp, *standstill_speed, motion) {
                    Some(limit) => Check::of_known_speed(motion.speed(), limit),
                    None => Check::not_yet(),
                }
            }
            Supervision::Deceleration { braking, standstill_speed, .. } => {
                let speed = motion.speed().filter(|_| motion.visible);
                stands = speed.is_some_and(|speed| speed.magnitude() <= *standstill_speed);
                if stands { Check::default() } else { braking.check(motion) }
            }
        };
        let is_over = self.within().is_some_and(|within| motion.since_demand() >= within);
        if stands || envelope.has_landed() || is_over {
            state.course = Course::Complete(StandstillState::here(motion));
            check.complete = true;
            check.withdraws = self.until == Until::TorqueOff;
        }
        check
    }

    fn carries_on(&self, state: &RampState) -> bool {
        !state.is_complete()
    }
}
