//! Watches that an axis stays where it is while it holds torque (safe operating stop, SOS).
//!
//! The hazard: a person loads, clears a jam or measures at an axis that is held by its control, and the control lets it go, or starts it.
//!
//! ```text
//!   x_ref + position_window ────────────────╳── trips
//!                                     ╱────╱
//!   x        ──────╮_________________╱           x_ref is x at t0; the speed has a window of its own
//!   x_ref − position_window ──────────────────
//!                  t0
//! ```
//!
//! Violated when `abs(x − x_ref) > position_window` or `abs(v) > speed_window`, `x_ref` being the position at which it
//! became active. The travel is taken from counts and rounded up to a ULP, so the comparison is exact.
//!
//! Worst-case reaction: latency + on-delay + two frames after the window of the position is left; for that of the speed half the window
//! that the speed is taken over more. Not detected: a slow drift that stays inside the window, and one that was there before it became
//! active: a stop that is to end in a standstill is a [`Stop`](super::Stop)'s work.
//!
//! ```
//! # use monitor_core::*;
//! # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
//! #     Span::from_millis(4).unwrap()).unwrap();
//! # let window = Span::from_millis(2).unwrap();
//! # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
//! let window = Position::from_int(1).unwrap();
//! let standstill = Standstill::try_new(window, Speed::from_int(200).unwrap()).unwrap();
//! let hold = axis.add_monitor(Rule::Standstill(standstill), Demand::Always, Span::ZERO)?;
//! let mut axis = Axis::new(axis);
//! // It creeps a tenth of a millimetre in every millisecond, too slow for the window of the speed: the eleventh is beyond a millimetre.
//! let tripped_at = (0..20).find(|&ms: &u64| {
//!     let now = Instant::from_nanos(ms * 1_000_000);
//!     let reading = Some(Reading { captured_at: now, sample: Sample::Count(100 * ms) });
//!     axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() }).tripped.a.contains(hold)
//! });
//! assert_eq!(tripped_at, Some(11));
//! # Ok::<(), AxisError>(())
//! ```

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
