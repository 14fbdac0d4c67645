//! Watches that the speed stays within a range (safe speed range, SSR).
//!
//! The hazard: a process is only safe while the axis moves, or moves neither too slowly nor too fast: a burner under which the load
//! must not stand still, a tool that must not be fed faster than it cuts.
//!
//! ```text
//!   high ───────────────────
//!             ╱‾‾‾╲_____╱       v must stay between, signed
//!   low  ──╱────────────────
//! ```
//!
//! Violated when `v < low` or `v > high`. The bound shown is that of the nearer end; `v` is rounded up against the upper end and down
//! against the lower one, so both comparisons are exact.
//!
//! Worst-case reaction under constant acceleration: half the window + latency + on-delay + two frames. Not detected: motion within one
//! count over the window, and the way into the range: give the demand when the axis is in it.
//!
//! ```
//! # use monitor_core::*;
//! # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
//! #     Span::from_millis(4).unwrap()).unwrap();
//! # let window = Span::from_millis(2).unwrap();
//! # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
//! // Backwards at 300 to 900 mm/s, and nothing else.
//! let range = SpeedRange::try_new(Speed::from_int(-900).unwrap(), Speed::from_int(-300).unwrap()).unwrap();
//! let range = axis.add_monitor(Rule::SpeedRange(range), Demand::Always, Span::ZERO)?;
//! let mut axis = Axis::new(axis);
//! // Half a millimetre back in every millisecond, until it stands still: over a window of 2 ms that is 250 mm/s after one frame.
//! let tripped_at = (0..20).find(|&ms: &u64| {
//!     let now = Instant::from_nanos(ms * 1_000_000);
//!     let count = 10_000 - 500 * ms.min(10);
//!     let reading = Some(Reading { captured_at: now, sample: Sample::Count(count) });
//!     axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() }).tripped.a.contains(range)
//! });
//! assert_eq!(tripped_at, Some(11));
//! # Ok::<(), AxisError>(())
//! ```

use crate::monitor::{Check, Monitor, Motion};
use crate::units::Speed;

/// A range of speeds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SpeedRange {
    low: Speed,
    high: Speed,
}

impl SpeedRange {
    /// From `low` to `high`, signed. `None` when `low` is above `high`, or an end has no magnitude.
    #[must_use]
    pub fn try_new(low: Speed, high: Speed) -> Option<Self> {
        (low <= high && low.to_bits() > i64::MIN).then_some(Self { low, high })
    }

    /// The lower end.
    #[must_use]
    pub const fn low(&self) -> Speed {
        self.low
    }

    /// The upper end.
    #[must_use]
    pub const fn high(&self) -> Speed {
        self.high
    }

    /// Up to this magnitude a speed is within the range; `None` when not even standstill is.
    pub(crate) fn inner(&self) -> Option<Speed> {
        inner(self.low, self.high)
    }
}

/// Up to this magnitude a speed is between `low` and `high`; `None` when not even standstill is.
pub(crate) fn inner(low: Speed, high: Speed) -> Option<Speed> {
    // Bounded because it is not the smallest there is.
    let down = Speed::from_bits(low.to_bits().wrapping_neg());
    Some(down.min(high)).filter(|&inner| inner >= Speed::ZERO)
}

impl Monitor for SpeedRange {
    type State = ();

    fn check(&self, (): &mut (), motion: &Motion<'_>) -> Check {
        Check::of_speed_range(motion.speed(), self.low, self.high)
    }
}
