//! Watches that the axis moves in one direction only (safe direction, SDI).
//!
//! The hazard: a person stands where the axis would come to if it moved back: at the closing side of a press, behind a carriage that
//! may only drive away.
//!
//! ```text
//!        furthest point ──╮  ╭─ moves on with the axis
//!                    ╱‾╲╱‾‾╲     } tolerance: what it may come back by
//!   x          ─────╱ ──────╲──────
//!             t0             ╳ trips
//! ```
//!
//! Violated when the travel back from the furthest point reached since the demand exceeds `tolerance`. The travel is taken from counts and
//! rounded up to a ULP, so the comparison is exact. The tolerance has to cover the noise of the sensor, the play of the mechanics and what
//! the control needs to hold a position.
//!
//! Worst-case reaction: latency + on-delay + two frames after the tolerance is exceeded; a frame more where the axis turned between two
//! readings, because then the furthest point was not seen. Not detected: the speed, and motion back
//! within the tolerance; creeping back does not add up, because the furthest point stays.
//!
//! ```
//! # use monitor_core::*;
//! # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
//! #     Span::from_millis(4).unwrap()).unwrap();
//! # let window = Span::from_millis(2).unwrap();
//! # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
//! let forward = Direction::try_new(Allowed::Positive, Position::from_int(1).unwrap()).unwrap();
//! let forward = axis.add_monitor(Rule::Direction(forward), Demand::Always, Span::ZERO)?;
//! let mut axis = Axis::new(axis);
//! // Half a millimetre in every millisecond, 5 ms forward and then back: the third step back exceeds a millimetre.
//! let tripped_at = (0..20).find(|&ms: &u64| {
//!     let now = Instant::from_nanos(ms * 1_000_000);
//!     let count = 10_000 + 500 * ms.min(5) - 500 * ms.saturating_sub(5);
//!     let reading = Some(Reading { captured_at: now, sample: Sample::Count(count) });
//!     axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() }).tripped.a.contains(forward)
//! });
//! assert_eq!(tripped_at, Some(8));
//! # Ok::<(), AxisError>(())
//! ```

use crate::monitor::{Bound, Check, Monitor, Motion};
use crate::source::Mark;
use crate::units::Position;

/// The direction in which an axis may move.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Allowed {
    /// Towards larger positions.
    Positive,
    /// Towards smaller positions.
    Negative,
}

/// One direction of motion, and what is tolerated against it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Direction {
    allowed: Allowed,
    tolerance: Position,
}

impl Direction {
    /// A direction, and a tolerance of 0 or more. `None` when it is negative.
    #[must_use]
    pub fn try_new(allowed: Allowed, tolerance: Position) -> Option<Self> {
        (tolerance >= Position::ZERO).then_some(Self { allowed, tolerance })
    }

    /// Where it may move.
    #[must_use]
    pub const fn allowed(&self) -> Allowed {
        self.allowed
    }

    /// How far it may come back.
    #[must_use]
    pub const fn tolerance(&self) -> Position {
        self.tolerance
    }
}

/// The furthest point that an axis has reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct DirectionState {
    /// Comparable with no reading before one was taken.
    furthest: Mark,
}

impl Default for DirectionState {
    fn default() -> Self {
        Self { furthest: Mark::NEVER }
    }
}

impl Monitor for Direction {
    type State = DirectionState;

    fn check(&self, state: &mut DirectionState, motion: &Motion<'_>) -> Check {
        let Some(here) = motion.here() else { return Check::not_yet() };
        state.furthest = motion.furthest(state.furthest, self.allowed);
        let is_against = |negative| negative == (self.allowed == Allowed::Positive);
        let back = match motion.moved_since(state.furthest) {
            Some((travel, negative)) if is_against(negative) => travel,
            // Further than before, or a count that the old place says nothing about.
            _ => {
                state.furthest = here;
                Position::ZERO
            }
        };
        Check {
            position: Some(Bound::at_most(back, self.tolerance)),
            from: Some(state.furthest),
            ..Check::default()
        }
    }
}
