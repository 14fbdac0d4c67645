//! Watches how fast the speed changes (safely limited acceleration, SLA, and safe acceleration range, SAR).
//!
//! The hazard: what the axis carries slips, spills or falls when it speeds up or brakes too hard; or an axis that is to keep braking, or to keep
//! gaining speed, does not.
//!
//! ```text
//!   v        ╭──────╮            a = (v(N) − v(B)) / h
//!          ╱          ╲          N: newest reading, B: the one a window before,
//!   ─────╱              ╲────    h: between the middles of their two windows
//!      B′    B    N
//! ```
//!
//! The limit is violated when `abs(a) > limit`, the range when `a < low` or `a > high`. `a` is rounded against the limit: what it may be
//! stricter by stands in the [rules](crate::rules), section 4.
//!
//! Worst-case reaction: two effective windows + latency + on-delay + two frames after the acceleration has come to stay beyond its limit; the shorter its
//! excess lasts, the more of it is averaged away. Not detected: shocks shorter than the window, and less than two counts over the square
//! of the window. A coarse counter over a short window shows accelerations that are not there: make the window long.
//!
//! ```
//! # use monitor_core::*;
//! # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
//! #     Span::from_millis(4).unwrap()).unwrap();
//! # let window = Span::from_millis(10).unwrap();
//! # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
//! let limit = AccelerationLimit::try_new(Acceleration::from_int(500).unwrap()).unwrap();
//! let limit = axis.add_monitor(Rule::AccelerationLimit(limit), Demand::Always, Span::ZERO)?;
//! let mut axis = Axis::new(axis);
//! // From 50 ms on with 2 m/s²: half a count more in every square millisecond. Two windows later all of it shows.
//! let tripped_at = (0..100).find(|&ms: &u64| {
//!     let now = Instant::from_nanos(ms * 1_000_000);
//!     let reading = Some(Reading { captured_at: now, sample: Sample::Count(ms.saturating_sub(50).pow(2)) });
//!     axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() }).tripped.a.contains(limit)
//! });
//! assert!(tripped_at.is_some_and(|at| (51..70).contains(&at)));
//! # Ok::<(), AxisError>(())
//! ```

use crate::monitor::{Bound, Check, Monitor, Motion, nearer};
use crate::units::Acceleration;

/// A limit on the magnitude of the acceleration.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AccelerationLimit {
    limit: Acceleration,
}

impl AccelerationLimit {
    /// A limit of 0 or more. `None` when it is negative, or the largest there is.
    #[must_use]
    pub fn try_new(limit: Acceleration) -> Option<Self> {
        (Acceleration::ZERO..Acceleration::MAX).contains(&limit).then_some(Self { limit })
    }

    /// The limit.
    #[must_use]
    pub const fn limit(&self) -> Acceleration {
        self.limit
    }
}

impl Monitor for AccelerationLimit {
    type State = ();

    fn check(&self, (): &mut (), motion: &Motion<'_>) -> Check {
        let bound = motion.acceleration().map(|a| Bound::at_most(a.magnitude(), self.limit));
        Check::of_known_acceleration(bound)
    }

    fn needs_acceleration(&self) -> bool {
        true
    }
}

/// A range of accelerations.
///
/// ```
/// # use monitor_core::*;
/// # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
/// #     Span::from_millis(4).unwrap()).unwrap();
/// # let window = Span::from_millis(10).unwrap();
/// # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
/// let per_s2 = |n| Acceleration::from_int(n).unwrap();
/// let range = AccelerationRange::try_new(per_s2(-1000), per_s2(500)).unwrap();
/// let range = axis.add_monitor(Rule::AccelerationRange(range), Demand::Always, Span::ZERO)?;
/// let mut axis = Axis::new(axis);
/// // It slows down from 200 mm/s, from 50 ms on by 2 m/s²: harder than the lower end allows.
/// let tripped_at = (0..100).find(|&ms: &u64| {
///     let now = Instant::from_nanos(ms * 1_000_000);
///     let slower = ms.saturating_sub(50);
///     let reading = Some(Reading { captured_at: now, sample: Sample::Count(200 * ms - slower * slower) });
///     axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() }).tripped.a.contains(range)
/// });
/// assert!(tripped_at.is_some_and(|at| (51..70).contains(&at)));
/// # Ok::<(), AxisError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AccelerationRange {
    low: Acceleration,
    high: Acceleration,
}

impl AccelerationRange {
    /// From `low` to `high`, signed. `None` when `low` is above `high`, or one is at the end of what there is.
    #[must_use]
    pub fn try_new(low: Acceleration, high: Acceleration) -> Option<Self> {
        // Beyond the range an acceleration counts as one step less than its end.
        let is_inside = low.to_bits() > i64::MAX.wrapping_neg() && high < Acceleration::MAX;
        (low <= high && is_inside).then_some(Self { low, high })
    }

    /// The lower end.
    #[must_use]
    pub const fn low(&self) -> Acceleration {
        self.low
    }

    /// The upper end.
    #[must_use]
    pub const fn high(&self) -> Acceleration {
        self.high
    }
}

impl Monitor for AccelerationRange {
    type State = ();

    fn check(&self, (): &mut (), motion: &Motion<'_>) -> Check {
        let bound = motion.acceleration().map(|a| {
            let upper = Bound::at_most(a.upper(), self.high);
            nearer(upper, Bound::at_least(a.lower(), self.low), Acceleration::to_bits)
        });
        Check::of_known_acceleration(bound)
    }

    fn needs_acceleration(&self) -> bool {
        true
    }
}
