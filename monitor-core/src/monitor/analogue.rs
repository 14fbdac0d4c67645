//! Watches an analogue value: the torque (safely limited torque, SLT, and safe torque range, STR) or the temperature of the motor (safe
//! motor temperature, SMT).
//!
//! The hazard: the axis presses harder than a person or the load can bear, lets go of what it is to hold, or burns what is near.
//!
//! ```text
//!   limit ─────────────────╳─── trips
//!                ╱‾‾╲     ╱
//!   value ──────╱    ╲___╱        channel A by the first line, channel B by the second
//!   −limit ─────────────────
//! ```
//!
//! Violated when `abs(value) > limit` (torque), `value < low` or `value > high` (range), `value > limit` (temperature). Nothing is rounded.
//! Each line has its own monitor, its plausible range and its age; the two are held against each other ([`AnalogueConfig`](crate::AnalogueConfig)).
//!
//! Worst-case reaction: the age of the reading + on-delay + two frames after the value is beyond. Not detected: what is wrong with
//! both lines by the same amount, such as a motor constant; a value that is right and means something else, such as the temperature of a
//! place that is not the hottest.
//!
//! ```
//! # use monitor_core::*;
//! # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
//! #     Span::from_millis(4).unwrap()).unwrap();
//! # let window = Span::from_millis(2).unwrap();
//! # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
//! # let percent = |n| Value::from_int(n).unwrap();
//! # let ms = |n| Span::from_millis(n).unwrap();
//! let torque = AnalogueConfig::try_new([percent(-300), percent(300)], ms(5), percent(5), ms(20)).unwrap();
//! let torque = axis.add_analogue(torque)?;
//! let limit = TorqueLimit::try_new(torque, percent(80)).unwrap();
//! let limit = axis.add_monitor(Rule::TorqueLimit(limit), Demand::Always, Span::ZERO)?;
//! let mut axis = Axis::new(axis);
//! // It stands and presses 10 % more in every millisecond: the eighth reaches 80 %, the ninth exceeds it.
//! let tripped_at = (0..20).find(|&ms: &i64| {
//!     let now = Instant::from_nanos(ms.unsigned_abs() * 1_000_000);
//!     for channel in Channel::BOTH {
//!         axis.offer(torque, channel, AnalogueReading { captured_at: now, value: Some(percent(-10 * ms)) });
//!     }
//!     let reading = Some(Reading { captured_at: now, sample: Sample::Count(0) });
//!     axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() }).tripped.b.contains(limit)
//! });
//! assert_eq!(tripped_at, Some(9));
//! # Ok::<(), AxisError>(())
//! ```

use crate::analogue::Shown;
use crate::monitor::{Bound, Check, Motion, Rule, nearer};
use crate::names::AnalogueId;
use crate::units::Value;

/// A limit on the magnitude of a torque.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TorqueLimit {
    of: AnalogueId,
    limit: Value,
}

impl TorqueLimit {
    /// A limit of 0 or more. `None` when it is negative.
    #[must_use]
    pub fn try_new(of: AnalogueId, limit: Value) -> Option<Self> {
        (limit >= Value::ZERO).then_some(Self { of, limit })
    }

    /// What is watched.
    #[must_use]
    pub const fn of(&self) -> AnalogueId {
        self.of
    }

    /// The limit.
    #[must_use]
    pub const fn limit(&self) -> Value {
        self.limit
    }

    fn bound(&self, value: Value) -> Bound<Value> {
        // The smallest value has no magnitude: the largest stands for it.
        Bound::at_most(Value::from_bits(value.to_bits().saturating_abs()), self.limit)
    }
}

/// A range of torques.
///
/// ```
/// # use monitor_core::*;
/// # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
/// #     Span::from_millis(4).unwrap()).unwrap();
/// # let window = Span::from_millis(2).unwrap();
/// # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
/// let percent = |n| Value::from_int(n).unwrap();
/// let ms = |n| Span::from_millis(n).unwrap();
/// let torque = AnalogueConfig::try_new([percent(-300), percent(300)], ms(5), percent(5), ms(20)).unwrap();
/// let torque = axis.add_analogue(torque)?;
/// let hold = TorqueRange::try_new(torque, percent(20), percent(60)).unwrap();
/// let hold = axis.add_monitor(Rule::TorqueRange(hold), Demand::Always, Span::ZERO)?;
/// let mut axis = Axis::new(axis);
/// // It holds with 50 % and lets go by 5 % in every millisecond: the seventh falls below 20 %.
/// let tripped_at = (0..20).find(|&ms: &i64| {
///     let now = Instant::from_nanos(ms.unsigned_abs() * 1_000_000);
///     for channel in Channel::BOTH {
///         axis.offer(torque, channel, AnalogueReading { captured_at: now, value: Some(percent(50 - 5 * ms)) });
///     }
///     let reading = Some(Reading { captured_at: now, sample: Sample::Count(0) });
///     axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() }).tripped.a.contains(hold)
/// });
/// assert_eq!(tripped_at, Some(7));
/// # Ok::<(), AxisError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TorqueRange {
    of: AnalogueId,
    low: Value,
    high: Value,
}

impl TorqueRange {
    /// From `low` to `high`. `None` when `low` is above `high`.
    #[must_use]
    pub fn try_new(of: AnalogueId, low: Value, high: Value) -> Option<Self> {
        (low <= high).then_some(Self { of, low, high })
    }

    /// What is watched.
    #[must_use]
    pub const fn of(&self) -> AnalogueId {
        self.of
    }

    /// The lower end.
    #[must_use]
    pub const fn low(&self) -> Value {
        self.low
    }

    /// The upper end.
    #[must_use]
    pub const fn high(&self) -> Value {
        self.high
    }

    fn bound(&self, value: Value) -> Bound<Value> {
        nearer(Bound::at_most(value, self.high), Bound::at_least(value, self.low), Value::to_bits)
    }
}

/// A limit on a temperature.
///
/// ```
/// # use monitor_core::*;
/// # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
/// #     Span::from_millis(4).unwrap()).unwrap();
/// # let window = Span::from_millis(2).unwrap();
/// # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
/// let degrees = |n| Value::from_int(n).unwrap();
/// let ms = |n| Span::from_millis(n).unwrap();
/// let winding = AnalogueConfig::try_new([degrees(-40), degrees(200)], ms(5), degrees(5), ms(20)).unwrap();
/// let winding = axis.add_analogue(winding)?;
/// let cool = TemperatureLimit::new(winding, degrees(120));
/// let cool = axis.add_monitor(Rule::TemperatureLimit(cool), Demand::Always, Span::ZERO)?;
/// let mut axis = Axis::new(axis);
/// // From 115 degrees it gets one hotter in every millisecond: the fifth reaches the limit, the sixth exceeds it.
/// let tripped_at = (0..20).find(|&ms: &i64| {
///     let now = Instant::from_nanos(ms.unsigned_abs() * 1_000_000);
///     for channel in Channel::BOTH {
///         axis.offer(winding, channel, AnalogueReading { captured_at: now, value: Some(degrees(115 + ms)) });
///     }
///     let reading = Some(Reading { captured_at: now, sample: Sample::Count(0) });
///     axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() }).tripped.a.contains(cool)
/// });
/// assert_eq!(tripped_at, Some(6));
/// # Ok::<(), AxisError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TemperatureLimit {
    of: AnalogueId,
    limit: Value,
}

impl TemperatureLimit {
    /// A limit, which may be below zero.
    #[must_use]
    pub const fn new(of: AnalogueId, limit: Value) -> Self {
        Self { of, limit }
    }

    /// What is watched.
    #[must_use]
    pub const fn of(&self) -> AnalogueId {
        self.of
    }

    /// The limit.
    #[must_use]
    pub const fn limit(&self) -> Value {
        self.limit
    }

    fn bound(&self, value: Value) -> Bound<Value> {
        Bound::at_most(value, self.limit)
    }
}

/// The rules on an analogue value.
pub(crate) enum OnAnalogue<'a> {
    TorqueLimit(&'a TorqueLimit),
    TorqueRange(&'a TorqueRange),
    TemperatureLimit(&'a TemperatureLimit),
}

impl<'a> OnAnalogue<'a> {
    /// Of a rule on an analogue value.
    pub(crate) fn of_rule<Own>(rule: &'a Rule<Own>) -> Option<Self> {
        match rule {
            Rule::TorqueLimit(rule) => Some(Self::TorqueLimit(rule)),
            Rule::TorqueRange(rule) => Some(Self::TorqueRange(rule)),
            Rule::TemperatureLimit(rule) => Some(Self::TemperatureLimit(rule)),
            _ => None,
        }
    }

    /// From where to where a value is no violation.
    #[inline]
    pub(crate) const fn within(&self) -> (Value, Value) {
        match self {
            // Bounded because a limit is not negative.
            Self::TorqueLimit(rule) => (Value::from_bits(rule.limit.to_bits().wrapping_neg()), rule.limit),
            Self::TorqueRange(rule) => (rule.low, rule.high),
            Self::TemperatureLimit(rule) => (Value::from_bits(i64::MIN), rule.limit),
        }
    }

    fn bound(&self, value: Value) -> Bound<Value> {
        match self {
            Self::TorqueLimit(rule) => rule.bound(value),
            Self::TorqueRange(rule) => rule.bound(value),
            Self::TemperatureLimit(rule) => rule.bound(value),
        }
    }

    pub(crate) const fn of(&self) -> AnalogueId {
        match self {
            Self::TorqueLimit(rule) => rule.of(),
            Self::TorqueRange(rule) => rule.of(),
            Self::TemperatureLimit(rule) => rule.of(),
        }
    }

    #[inline(never)]
    pub(crate) fn check(&self, motion: &Motion<'_>) -> Check {
        let value = match motion.analogue(self.of()) {
            Shown::Never => return Check::not_yet(),
            Shown::Faulted => return Check::default(),
            Shown::At(value) => value,
        };
        Check { value: Some(self.bound(value)), ..Check::default() }
    }
}
