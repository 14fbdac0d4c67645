//! Watches that an axis stays where it is while it holds torque (safe operating stop, SOS).
//!
//! Violated when `abs(x − x_ref) > position_window` or `abs(v) > speed_window`, `x_ref` being the position at which it
//! became active. The travel is taken from counts and rounded up to a ULP, so the comparison is exact.
//!
//! It does not see a slow drift that stays inside the window, nor one that was there before it became active.

use crate::monitor::{Check, Monitor, Motion};
use crate::source::Mark;
use crate::units::{Position, Speed};

/// A standstill: a window on the position and one on the speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Standstill {
    position_window: Position,
    speed_window: Speed,
}

impl Standstill {
    /// Windows of 0 or more, to each side. `None` when one is negative.
    #[must_use]
    pub fn try_new(position_window: Position, speed_window: Speed) -> Option<Self> {
        (position_window >= Position::ZERO && speed_window >= Speed::ZERO)
            .then_some(Self { position_window, speed_window })
    }

    /// The window of the speed.
    #[must_use]
    pub const fn speed_window(&self) -> Speed {
        self.speed_window
    }

    /// The window of the position, to each side.
    #[must_use]
    pub const fn position_window(&self) -> Position {
        self.position_window
    }
}

/// Where the axis is to stay.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct StandstillState {
    /// Comparable with no reading before one was taken.
    reference: Mark,
}

impl Default for StandstillState {
    fn default() -> Self {
        Self { reference: Mark::NEVER }
    }
}

impl StandstillState {
    /// Takes the present position as the reference.
    pub(crate) fn here(motion: &Motion<'_>) -> Self {
        Self { reference: motion.here().unwrap_or(Mark::NEVER) }
    }

    /// The travel from the reference, which is taken where there is none, against a window; `None` while the position is unknown.
    #[inline]
    pub(crate) fn travel(&mut self, window: Position, motion: &Motion<'_>) -> Option<Check> {
        let here = motion.here()?;
        // A reference from before the count was broken says nothing about where the axis is now.
        if !self.reference.is_comparable(here) {
            self.reference = here;
        }
        // A travel beyond the range of a position is beyond any window.
        let observed = motion.travel_since(self.reference).unwrap_or(Position::MAX);
        Some(Check { from: Some(self.reference), ..Check::of_position(observed, window) })
    }
}

impl Monitor for Standstill {
    type State = StandstillState;

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline)]
    fn check(&self, state: &mut StandstillState, motion: &Motion<'_>) -> Check {
        let speed = Check::of_known_speed(motion.speed(), self.speed_window);
        match state.travel(self.position_window, motion) {
            Some(travel) => Check { position: travel.position, from: travel.from, ..speed },
            None => Check::of_known_speed(None, self.speed_window),
        }
    }
}
