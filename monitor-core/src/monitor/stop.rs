//! Watches that an axis comes to a stop when it is told to (safe stop 1 and 2; stop categories 1 and 2 of IEC 60204-1).
//!
//! Supervised by a [`Ramp`]: violated when `abs(v) > L(t)`; the stop is complete when the falling line has reached the
//! standstill speed, or when `within` has passed. Supervised by time: nothing is watched before `within` has passed.
//! A complete stop withdraws the permit as planned, or hands over to a [`Standstill`] that starts at the next frame.
//!
//! A stop that has begun is carried through even when its demand is released before.

use crate::monitor::envelope::Envelope;
use crate::monitor::{Check, Monitor, Motion, Ramp, Standstill, StandstillState};
use crate::source::Mark;
use crate::units::{Position, Span, Speed};

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
    /// Only the time is watched.
    Time {
        /// The stop is over after this time.
        within: Span,
    },
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
            Supervision::Ramp { standstill_speed, .. } if standstill_speed < Speed::ZERO => None,
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
    pub(crate) fn speed_window(&self, state: &StopState) -> Option<Speed> {
        match &self.until {
            Until::Standstill(standstill) if state.is_complete() => Some(standstill.speed_window()),
            _ => None,
        }
    }

    /// Whether it is complete and `check` already is that of its end, not of the last frame before.
    pub(crate) fn is_calm(&self, state: &StopState, check: &Check) -> bool {
        state.is_complete()
            && match self.until {
                Until::TorqueOff => check.speed.is_none(),
                Until::Standstill(_) => check.position.is_some(),
            }
    }

    fn within(&self) -> Option<Span> {
        match self.supervision {
            Supervision::Ramp { within, .. } => within,
            Supervision::Time { within } => Some(within),
        }
    }
}

/// How far a stop has come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct StopState {
    phase: Phase,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Phase {
    /// On its way.
    Braking(Envelope),
    /// Carried through; this is where the axis is to stay.
    Complete(StandstillState),
}

impl Default for Phase {
    fn default() -> Self {
        Self::Braking(Envelope::default())
    }
}

impl StopState {
    const fn is_complete(&self) -> bool {
        matches!(self.phase, Phase::Complete(_))
    }

    /// Where the axis is to stay after the stop.
    pub(crate) const fn reference(&self) -> Option<Mark> {
        match &self.phase {
            Phase::Braking(_) => None,
            Phase::Complete(held) => Some(held.reference()),
        }
    }
}

impl Monitor for Stop {
    type State = StopState;

    fn check(&self, state: &mut StopState, motion: &Motion<'_>) -> Check {
        let envelope = match &mut state.phase {
            Phase::Braking(envelope) => envelope,
            Phase::Complete(held) => {
                let mut check = match &self.until {
                    Until::TorqueOff => Check { withdraws: true, ..Check::default() },
                    Until::Standstill(standstill) => standstill.check(held, motion),
                };
                check.complete = true;
                return check;
            }
        };
        let mut check = match &self.supervision {
            Supervision::Time { .. } => Check::default(),
            Supervision::Ramp { ramp, standstill_speed, .. } => {
                match envelope.limit(ramp, *standstill_speed, motion) {
                    Some(limit) => Check::of_known_speed(motion.speed(), limit),
                    None => Check::not_yet(),
                }
            }
        };
        if envelope.has_landed() || self.within().is_some_and(|within| motion.since_demand() >= within) {
            state.phase = Phase::Complete(StandstillState::here(motion));
            check.complete = true;
            check.withdraws = self.until == Until::TorqueOff;
        }
        check
    }

    fn carries_on(&self, state: &StopState) -> bool {
        !state.is_complete()
    }
}
