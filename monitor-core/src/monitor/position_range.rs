//! Watches that the axis stays within a range of positions (safely limited position, SLP).
//!
//! The hazard: beyond a place there is something that must not be touched while people are near: the end of the rail, a neighbouring
//! machine, a zone that is open at the moment.
//!
//! ```text
//!   high ───────────────────╳──── trips
//!                  ╱‾‾‾‾‾‾‾╱
//!   x        ─────╱                x is referenced: it means a place of the machine
//!   low  ───────────────────────
//! ```
//!
//! Violated when `x < low` or `x > high`. The travel from the reference is taken from counts, rounded up against `high` and down against `low`, so
//! both comparisons are exact. Without a reference nothing can be said: that is a fault of the rule, see the [rules](crate::rules), section 3,
//! and never a pass.
//!
//! Worst-case reaction: latency + on-delay + two frames after the position is beyond; the axis goes on for what it takes to stop. So the range
//! has to end that much before what it protects. Not detected: a reference that was declared at the wrong place, by the same amount on
//! both channels.
//!
//! ```
//! # use monitor_core::*;
//! # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
//! #     Span::from_millis(4).unwrap()).unwrap();
//! # let window = Span::from_millis(2).unwrap();
//! # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
//! // Both counters are absolute, and count from 100 mm on.
//! let offset = Position::from_int(100).unwrap();
//! axis.set_referencing(Channel::A, Referencing::Absolute { offset })?;
//! axis.set_referencing(Channel::B, Referencing::Absolute { offset })?;
//! let range = PositionRange::try_new(Position::from_int(50).unwrap(), Position::from_int(110).unwrap()).unwrap();
//! let range = axis.add_monitor(Rule::PositionRange(range), Demand::Always, Span::ZERO)?;
//! let mut axis = Axis::new(axis);
//! // A millimetre of a thousand counts in every millisecond: the tenth reaches 110 mm, the eleventh is beyond.
//! let tripped_at = (0..20).find(|&ms: &u64| {
//!     let now = Instant::from_nanos(ms * 1_000_000);
//!     let reading = Some(Reading { captured_at: now, sample: Sample::Count(ms * 1000) });
//!     axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() }).tripped.a.contains(range)
//! });
//! assert_eq!(tripped_at, Some(11));
//! # Ok::<(), AxisError>(())
//! ```

use crate::monitor::{Bound, Check, Monitor, Motion, Place, nearer};
use crate::units::Position;

/// A range of positions.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PositionRange {
    low: Position,
    high: Position,
}

impl PositionRange {
    /// From `low` to `high`. `None` when `low` is above `high`, or one is at the end of what there is.
    #[must_use]
    pub fn try_new(low: Position, high: Position) -> Option<Self> {
        // Beyond the range a position counts as its end.
        let is_inside = low.to_bits() > i64::MIN && high < Position::MAX;
        (low <= high && is_inside).then_some(Self { low, high })
    }

    /// The lower end.
    #[must_use]
    pub const fn low(&self) -> Position {
        self.low
    }

    /// The upper end.
    #[must_use]
    pub const fn high(&self) -> Position {
        self.high
    }
}

impl Monitor for PositionRange {
    type State = ();

    fn check(&self, (): &mut (), motion: &Motion<'_>) -> Check {
        match motion.place() {
            Place::Unknown => Check::not_yet(),
            Place::Unreferenced => Check { unreferenced: true, ..Check::default() },
            Place::At { upper, lower, from } => {
                let upper = Bound::at_most(upper, self.high);
                let bound = nearer(upper, Bound::at_least(lower, self.low), Position::to_bits);
                Check { position: Some(bound), from: Some(from), ..Check::default() }
            }
        }
    }
}
