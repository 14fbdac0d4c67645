//! Analogue values that come on two lines: a torque, a temperature.
//!
//! A motor does not tell its torque as a counter tells its position: what is measured may be wrong by a little on both lines, and a
//! broken wire reads as the end of the scale. So each line has a plausible range and an age, and the two are held against each other.

use core::fmt;

use crate::frame::Channel;
use crate::monitor::Bound;
use crate::outcome::PerChannel;
use crate::source::SourceFault;
use crate::trip::{Evidence, Moment, OwnLatch};
use crate::units::{Instant, Span, Value};

/// An analogue value of two lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AnalogueConfig {
    low: Value,
    high: Value,
    timeout: Span,
    tolerance: Value,
    discrepancy_time: Span,
}

/// An analogue value that cannot be set up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum AnalogueError {
    /// The plausible range is empty.
    Range,
    /// Readings that are out of date at once.
    Timeout,
    /// A negative tolerance.
    Tolerance,
}

impl fmt::Display for AnalogueError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Range => "a plausible range whose low is not below its high",
            Self::Timeout => "a timeout of 0",
            Self::Tolerance => "a negative tolerance",
        })
    }
}

impl core::error::Error for AnalogueError {}

impl AnalogueConfig {
    /// Values from `low` to `high` are plausible, readings good for `timeout` (above 0); the two lines may be `tolerance` (0 or more) apart,
    /// and more for less than `discrepancy_time`.
    ///
    /// # Errors
    ///
    /// [`AnalogueError`] for what is outside that.
    pub const fn try_new(
        [low, high]: [Value; 2],
        timeout: Span,
        tolerance: Value,
        discrepancy_time: Span,
    ) -> Result<Self, AnalogueError> {
        if low.to_bits() >= high.to_bits() {
            return Err(AnalogueError::Range);
        }
        if timeout.as_nanos() == 0 {
            return Err(AnalogueError::Timeout);
        }
        if tolerance.to_bits() < 0 {
            return Err(AnalogueError::Tolerance);
        }
        Ok(Self { low, high, timeout, tolerance, discrepancy_time })
    }

    /// The plausible range.
    #[must_use]
    pub const fn range(&self) -> [Value; 2] {
        [self.low, self.high]
    }

    /// The longest age of a reading.
    #[must_use]
    pub const fn timeout(&self) -> Span {
        self.timeout
    }

    /// How far apart the two lines may be.
    #[must_use]
    pub const fn tolerance(&self) -> Value {
        self.tolerance
    }

    /// How long more may last.
    #[must_use]
    pub const fn discrepancy_time(&self) -> Span {
        self.discrepancy_time
    }
}

/// One reading of one line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct AnalogueReading {
    /// When it was captured: the instant at which the value was so.
    pub captured_at: Instant,
    /// The value; `None` when it is marked as invalid.
    pub value: Option<Value>,
}

/// What the newest reading of a line is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Sight {
    Never,
    Good,
    Invalid,
}

/// What is remembered of one line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Line {
    captured_at: Instant,
    value: Value,
    sight: Sight,
    /// Since the last frame something was handed in that was not taken.
    refused: bool,
    /// At the last frame.
    fault: Option<SourceFault>,
    /// A fault is latched.
    lost: bool,
}

impl Line {
    const NEW: Self = Self {
        captured_at: Instant::from_nanos(0),
        value: Value::ZERO,
        sight: Sight::Never,
        refused: false,
        fault: None,
        lost: false,
    };

    fn offer(&mut self, reading: AnalogueReading) {
        let AnalogueReading { captured_at, value } = reading;
        let (sight, value) = match value {
            Some(value) => (Sight::Good, value),
            None => (Sight::Invalid, self.value),
        };
        let is_again = captured_at == self.captured_at && sight == self.sight && value == self.value;
        if self.sight != Sight::Never && captured_at <= self.captured_at && !is_again {
            self.refused = true;
            return;
        }
        (self.captured_at, self.value, self.sight) = (captured_at, value, sight);
    }

    fn look(&mut self, config: &AnalogueConfig, started_at: Instant, now: Instant) {
        let refused = core::mem::replace(&mut self.refused, false);
        let since = |at: Instant| now.since(at).map_or(0, Span::as_nanos);
        let timeout = config.timeout.as_nanos();
        self.fault = match self.sight {
            Sight::Invalid => Some(SourceFault::Invalid),
            _ if refused => Some(SourceFault::OutOfOrder),
            Sight::Never => (since(started_at) > timeout).then_some(SourceFault::Stale),
            Sight::Good if self.captured_at > now => Some(SourceFault::OutOfOrder),
            Sight::Good if since(self.captured_at) > timeout => Some(SourceFault::Stale),
            Sight::Good if !(config.low..=config.high).contains(&self.value) => Some(SourceFault::Range),
            Sight::Good => None,
        };
        self.lost |= self.fault.is_some();
    }

    /// What a frame would see without looking closely; `None` when it may be a fault.
    fn at_a_glance(&self, config: &AnalogueConfig, now: Instant) -> Option<Value> {
        // Meaningless for a reading captured after `now`.
        let age = now.as_nanos().wrapping_sub(self.captured_at.as_nanos());
        let is_good = self.sight == Sight::Good
            && !self.refused
            && self.captured_at <= now
            && age <= config.timeout.as_nanos()
            && config.low <= self.value
            && self.value <= config.high;
        is_good.then_some(self.value)
    }

    /// The value, while the line can be seen.
    fn value(&self) -> Option<Value> {
        (self.sight == Sight::Good && self.fault.is_none()).then_some(self.value)
    }
}

/// What is remembered of an analogue value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Analogue {
    lines: PerChannel<Line>,
    pub(crate) discrepancy: OwnLatch,
}

/// What one line shows a monitor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Shown {
    /// No reading yet.
    Never,
    /// It cannot be seen.
    Faulted,
    At(Value),
}

/// The difference of two values; beyond the range the largest there is.
fn apart(a: Value, b: Value) -> Value {
    Value::from_bits(a.to_bits().checked_sub(b.to_bits()).map_or(i64::MAX, i64::saturating_abs))
}

impl Analogue {
    pub(crate) const NEW: Self =
        Self { lines: PerChannel { a: Line::NEW, b: Line::NEW }, discrepancy: OwnLatch::NEW };

    pub(crate) fn offer(&mut self, channel: Channel, reading: AnalogueReading) {
        self.line_mut(channel).offer(reading);
    }

    fn line_mut(&mut self, channel: Channel) -> &mut Line {
        match channel {
            Channel::A => &mut self.lines.a,
            Channel::B => &mut self.lines.b,
        }
    }

    /// Whether nothing is wrong with both lines at this frame either, without looking closely.
    pub(crate) fn is_calm(&self, config: &AnalogueConfig, now: Instant) -> bool {
        let at_a_glance = |line: &Line| line.at_a_glance(config, now);
        matches!(
            (at_a_glance(&self.lines.a), at_a_glance(&self.lines.b)),
            (Some(a), Some(b)) if apart(a, b) <= config.tolerance
        )
    }

    /// Whether nothing was wrong with both lines at the last frame, also nothing that does not count yet.
    pub(crate) fn is_at_rest(&self) -> bool {
        let is_seen = |line: &Line| line.value().is_some();
        is_seen(&self.lines.a) && is_seen(&self.lines.b) && !self.discrepancy.flags.is_violated()
    }

    /// Looks at both lines at a frame; true when their discrepancy trips at it.
    pub(crate) fn look(&mut self, config: &AnalogueConfig, started_at: Instant, moment: &Moment) -> bool {
        self.lines.a.look(config, started_at, moment.now);
        self.lines.b.look(config, started_at, moment.now);
        let apart = match (self.lines.a.value(), self.lines.b.value()) {
            (Some(a), Some(b)) => apart(a, b),
            _ => Value::ZERO,
        };
        let bound = Bound::at_most(apart, config.tolerance);
        if bound.is_exceeded() {
            return self.discrepancy.violated(&Evidence::Value(bound), moment, config.discrepancy_time);
        }
        self.discrepancy.flags.interrupt();
        false
    }

    pub(crate) const fn fault(&self, channel: Channel) -> Option<SourceFault> {
        self.lines.of(channel).fault
    }

    pub(crate) fn reading(&self, channel: Channel) -> Option<AnalogueReading> {
        let Line { captured_at, value, sight, .. } = *self.lines.of(channel);
        match sight {
            Sight::Never => None,
            Sight::Good => Some(AnalogueReading { captured_at, value: Some(value) }),
            Sight::Invalid => Some(AnalogueReading { captured_at, value: None }),
        }
    }

    pub(crate) const fn is_lost(&self, channel: Channel) -> bool {
        self.lines.of(channel).lost
    }

    /// A line has had no reading, and is not faulted for that yet.
    pub(crate) fn is_warming_up(&self, channel: Channel) -> bool {
        let line = self.lines.of(channel);
        line.sight == Sight::Never && line.fault.is_none()
    }

    pub(crate) fn never_read(&self, channel: Channel) -> bool {
        self.lines.of(channel).sight == Sight::Never
    }

    pub(crate) fn shown(&self, channel: Channel) -> Shown {
        let line = self.lines.of(channel);
        match line.value() {
            Some(value) => Shown::At(value),
            None if line.fault.is_some() => Shown::Faulted,
            None => Shown::Never,
        }
    }

    pub(crate) fn reset(&mut self) {
        self.lines.a.lost = false;
        self.lines.b.lost = false;
        self.discrepancy.flags.reset();
    }
}
