//! Watches that an axis moves no further than an increment from where it was (safely limited increment, SLI).
//!
//! The hazard: in setting-up work, one press of a button is to move the axis one step, and a stuck button or a control that
//! overshoots moves it on.
//!
//! ```text
//!   x_ref + increment ─────────────────╳── trips
//!                               ╱─────╱
//!   x        ─────────╲────────╱          x_ref is x at t0
//!   x_ref − increment ──────────────────
//!                     t0
//! ```
//!
//! Violated when `abs(x − x_ref) > increment`. The travel is taken from counts and rounded up to a ULP, so the comparison is exact.
//!
//! Worst-case reaction: latency + on-delay + two frames after the increment is exceeded. Not detected: how fast the axis moves on its
//! way, and an increment that is demanded anew before it was used up, which starts from the new position.
//!
//! ```
//! # use monitor_core::*;
//! # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
//! #     Span::from_millis(4).unwrap()).unwrap();
//! # let window = Span::from_millis(2).unwrap();
//! # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
//! let step = TravelLimit::try_new(Position::from_int(10).unwrap()).unwrap();
//! let step = axis.add_monitor(Rule::TravelLimit(step), Demand::Always, Span::ZERO)?;
//! let mut axis = Axis::new(axis);
//! // A millimetre of a thousand counts in every millisecond: the tenth reaches the increment, the eleventh exceeds it.
//! let tripped_at = (0..20).find(|&ms| {
//!     let now = Instant::from_nanos(ms * 1_000_000);
//!     let reading = Some(Reading { captured_at: now, sample: Sample::Count(ms * 1000) });
//!     axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() }).tripped.a.contains(step)
//! });
//! assert_eq!(tripped_at, Some(11));
//! # Ok::<(), AxisError>(())
//! ```

use crate::monitor::{Check, Monitor, Motion, StandstillState};
use crate::units::Position;

/// How far an axis may move.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TravelLimit {
    increment: Position,
}

impl TravelLimit {
    /// An increment of 0 or more, to each side. `None` when it is negative.
    #[must_use]
    pub fn try_new(increment: Position) -> Option<Self> {
        (increment >= Position::ZERO).then_some(Self { increment })
    }

    /// How far, to each side.
    #[must_use]
    pub const fn increment(&self) -> Position {
        self.increment
    }
}

impl Monitor for TravelLimit {
    type State = StandstillState;

    fn check(&self, state: &mut StandstillState, motion: &Motion<'_>) -> Check {
        state.travel(self.increment, motion).unwrap_or_else(Check::not_yet)
    }
}
