//! One source: from raw readings to a position that can be trusted, or a channel fault.

use core::fmt;

use crate::frame::{Reading, Sample};
use crate::history::{History, Point, Spacing};
use crate::scale::{Rate, Scale, WindowSpeed};
use crate::units::{Instant, Position, Span, Speed};
use crate::wide::mul;

/// What is known of a source before it moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SourceConfig {
    scale: Scale,
    /// 64 − counter bits.
    unused_bits: u32,
    timeout: u64,
    /// ULPs per second.
    max_speed: u64,
    /// Counts per 2³² ns that the mechanics can move, rounded down.
    max_rate: u64,
    max_count: i64,
}

/// A source that cannot be set up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum SourceError {
    /// A counter has 8 to 64 bits; this is the number given.
    CounterBits(u32),
    /// The timeout is zero or above [`SourceConfig::MAX_TIMEOUT`].
    Timeout(Span),
    /// The fastest motion of the mechanics is above zero.
    MaxSpeed(Speed),
    /// Within one timeout, `max_speed` moves half the counter's range or more: the change could not be told from one the other way.
    Ambiguous,
}

impl fmt::Display for SourceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::CounterBits(bits) => write!(f, "a counter of {bits} bits; 8 to 64 are possible"),
            Self::Timeout(span) => write!(f, "a timeout of {} ns; above 0 and at most 4 s", span.as_nanos()),
            Self::MaxSpeed(speed) => write!(f, "a fastest speed of {speed}; above 0"),
            Self::Ambiguous => {
                f.write_str("half the counter's range passes within one timeout at the fastest speed")
            }
        }
    }
}

impl core::error::Error for SourceError {}

impl SourceConfig {
    /// The longest timeout: 4 s.
    pub const MAX_TIMEOUT: Span = Span::from_nanos(4_000_000_000);

    /// A counter of `counter_bits` bits, each count `scale` far.
    ///
    /// `max_speed` is the fastest that the mechanics can move, not a limit to enforce; `timeout` the longest age of a
    /// reading, and the longest time between two.
    ///
    /// # Errors
    ///
    /// [`SourceError`] names the value and its range.
    pub fn try_new(
        counter_bits: u32,
        scale: Scale,
        max_speed: Speed,
        timeout: Span,
    ) -> Result<Self, SourceError> {
        if !(8..=64).contains(&counter_bits) {
            return Err(SourceError::CounterBits(counter_bits));
        }
        if timeout == Span::ZERO || timeout > Self::MAX_TIMEOUT {
            return Err(SourceError::Timeout(timeout));
        }
        if max_speed <= Speed::ZERO {
            return Err(SourceError::MaxSpeed(max_speed));
        }
        let max_rate = scale.counts_per_span(max_speed);
        let most = u128::from(max_rate).wrapping_mul(u128::from(timeout.as_nanos())) >> 32;
        // One count of slack on top of the plausible change, and one more for the rounding.
        if most.wrapping_add(2) >> counter_bits.wrapping_sub(1) != 0 {
            return Err(SourceError::Ambiguous);
        }
        Ok(Self {
            scale,
            max_speed: max_speed.to_bits().unsigned_abs(),
            unused_bits: 64_u32.wrapping_sub(counter_bits),
            timeout: timeout.as_nanos(),
            max_rate,
            max_count: scale.max_counts(),
        })
    }

    /// Whether the mechanics can move this many counts in `elapsed` nanoseconds (at most the timeout), one count aside.
    #[inline]
    fn is_plausible(&self, change: u64, elapsed: u64) -> bool {
        let beyond = change.saturating_sub(1);
        // The rate is rounded down: what it allows needs no closer look.
        let (high, low) = mul(self.max_rate, elapsed);
        if beyond <= (high << 32) | (low >> 32) {
            return true;
        }
        // Exactly: counts × (10⁻⁹ ULP per count) against (ULP per second) × ns; lexicographic order of the halves.
        mul(beyond, self.scale.nano_ulps_per_count()) <= mul(self.max_speed, elapsed)
    }

    /// How far one count is.
    #[must_use]
    pub const fn scale(&self) -> &Scale {
        &self.scale
    }

    /// The longest age of a reading.
    #[must_use]
    pub const fn timeout(&self) -> Span {
        Span::from_nanos(self.timeout)
    }
}

/// Why a channel cannot be seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum SourceFault {
    /// The source marked its reading as invalid.
    Invalid,
    /// Captured after `now`, before the reading before it, or at the same instant with another value.
    OutOfOrder,
    /// The newest reading is older than the timeout, or the source was silent for longer than that.
    Stale,
    /// The change is more than the mechanics can move.
    Implausible,
    /// A count, position, travel or speed left the range of its type.
    Range,
}

impl SourceFault {
    /// The name used in reports.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Invalid => "invalid",
            Self::OutOfOrder => "out-of-order",
            Self::Stale => "stale",
            Self::Implausible => "implausible",
            Self::Range => "range",
        }
    }
}

impl fmt::Display for SourceFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// Where a count is to be compared with later: only counts of the same unbroken stretch may be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Mark {
    stretch: u64,
    count: i64,
}

impl Mark {
    /// Whether the count ran unbroken between the two.
    #[inline]
    pub(crate) const fn is_comparable(self, other: Self) -> bool {
        self.stretch == other.stretch
    }

    /// Counts from here to `later`, or `None` when the count was broken in between.
    #[inline]
    pub(crate) fn counts_to(self, later: Self) -> Option<i64> {
        if self.is_comparable(later) { later.count.checked_sub(self.count) } else { None }
    }
}

/// Whether there is a newest reading, and what it is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Sight {
    /// No reading yet.
    Never,
    /// The newest reading continues the count.
    Good,
    /// The continuity of the count is lost: the next good reading is a first one.
    Lost,
    /// As `Lost`, and the newest reading was marked invalid.
    Invalid,
}

/// What is remembered of one source.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Source<const POINTS: usize> {
    sight: Sight,
    /// Newest reading taken, good or not. Meaningless while `sight` is `Never`.
    captured_at: u64,
    raw: u64,
    /// Counts the unbroken stretches; a frame adds at most one, so 64 bits last.
    stretch: u64,
    started_at: u64,
    history: History<POINTS>,
    rate: Rate,
    speed: Option<WindowSpeed>,
    effective_window: u32,
}

impl<const POINTS: usize> Source<POINTS> {
    /// A source that has not been read, watched from `now` on.
    pub(crate) const fn new() -> Self {
        Self {
            sight: Sight::Never,
            captured_at: 0,
            raw: 0,
            stretch: 0,
            started_at: 0,
            history: History::new(),
            rate: Rate::NONE,
            speed: None,
            effective_window: 0,
        }
    }

    pub(crate) fn watch_from(&mut self, now: Instant) {
        self.started_at = now.as_nanos();
    }

    /// Takes what the frame brought; says whether the channel is faulted at this frame.
    #[inline]
    pub(crate) fn take(
        &mut self,
        config: &SourceConfig,
        spacing: Spacing,
        now: Instant,
        reading: Option<Reading>,
    ) -> Option<SourceFault> {
        let fault = match reading {
            Some(reading) => self.read(config, spacing, now, reading),
            None => None,
        };
        fault.or_else(|| self.age(config, now))
    }

    #[inline]
    fn read(
        &mut self,
        config: &SourceConfig,
        spacing: Spacing,
        now: Instant,
        reading: Reading,
    ) -> Option<SourceFault> {
        let Sample::Count(raw) = reading.sample else {
            self.lose();
            self.sight = Sight::Invalid;
            return Some(SourceFault::Invalid);
        };
        let raw = raw << config.unused_bits;
        let captured_at = reading.captured_at.as_nanos();
        if reading.captured_at > now {
            return Some(SourceFault::OutOfOrder);
        }
        if self.never_started() {
            self.start(config, captured_at, raw);
            return None;
        }
        let Some(elapsed) = captured_at.checked_sub(self.captured_at) else {
            return Some(SourceFault::OutOfOrder);
        };
        if elapsed == 0 {
            // The same reading again says nothing new: after an invalid one, that one still stands.
            return (raw != self.raw).then_some(SourceFault::OutOfOrder);
        }
        if elapsed > config.timeout {
            return self.restart(config, now, captured_at, raw, SourceFault::Stale);
        }
        if self.sight != Sight::Good {
            self.start(config, captured_at, raw);
            return None;
        }
        // Two's-complement difference in the counter's width: both are left-aligned, so the wrap is that of 64 bits.
        let change = raw.wrapping_sub(self.raw).cast_signed() >> config.unused_bits;
        if !config.is_plausible(change.unsigned_abs(), elapsed) {
            return self.restart(config, now, captured_at, raw, SourceFault::Implausible);
        }
        let count = match self.history.newest().count.checked_add(change) {
            Some(count) if count.unsigned_abs() <= config.max_count.unsigned_abs() => count,
            _ => return self.restart(config, now, captured_at, raw, SourceFault::Range),
        };
        self.captured_at = captured_at;
        self.raw = raw;
        self.history.push(spacing, Point { captured_at: reading.captured_at, count });
        if let Some(base) = self.history.base(spacing) {
            let speed = self.window_speed(config, base);
            if speed.is_none() {
                return self.restart(config, now, captured_at, raw, SourceFault::Range);
            }
            self.speed = speed;
        }
        None
    }

    #[inline]
    fn window_speed(&mut self, config: &SourceConfig, base: Point) -> Option<WindowSpeed> {
        let newest = self.history.newest();
        let elapsed = newest.captured_at.since(base.captured_at)?;
        // Fits because window, spacing and timeout together stay below 2³² ns.
        let elapsed = u32::try_from(elapsed.as_nanos()).ok()?;
        self.rate.set(&config.scale, elapsed);
        self.effective_window = elapsed;
        let travel = newest.count.checked_sub(base.count)?;
        self.rate.speed(&config.scale, travel)
    }

    /// Is the newest reading still fresh?
    #[inline]
    fn age(&mut self, config: &SourceConfig, now: Instant) -> Option<SourceFault> {
        if self.sight == Sight::Invalid {
            return Some(SourceFault::Invalid);
        }
        let since = if self.sight == Sight::Never { self.started_at } else { self.captured_at };
        // Bounded because a reading captured after `now` was refused and frames go forward.
        if now.as_nanos().wrapping_sub(since) > config.timeout {
            if self.sight != Sight::Never {
                self.lose();
            }
            return Some(SourceFault::Stale);
        }
        // Lost and not too old: a first reading out of range.
        (self.sight == Sight::Lost).then_some(SourceFault::Range)
    }

    /// No good reading was ever taken, so there is none to compare with.
    fn never_started(&self) -> bool {
        self.stretch == 0
    }

    fn lose(&mut self) {
        self.sight = Sight::Lost;
        self.speed = None;
    }

    /// Starts anew with the very reading that showed `fault`; one that is too old as well is stale.
    fn restart(
        &mut self,
        config: &SourceConfig,
        now: Instant,
        captured_at: u64,
        raw: u64,
        fault: SourceFault,
    ) -> Option<SourceFault> {
        self.start(config, captured_at, raw);
        match self.age(config, now) {
            Some(SourceFault::Stale) => Some(SourceFault::Stale),
            _ => Some(fault),
        }
    }

    /// A first reading: the count starts as the raw value, read as a two's-complement number. Out of range it starts nothing.
    fn start(&mut self, config: &SourceConfig, captured_at: u64, raw: u64) {
        let count = raw.cast_signed() >> config.unused_bits;
        let in_range = count.unsigned_abs() <= config.max_count.unsigned_abs();
        self.sight = if in_range { Sight::Good } else { Sight::Lost };
        self.captured_at = captured_at;
        self.raw = raw;
        self.stretch = self.stretch.wrapping_add(1);
        self.speed = None;
        self.history.start(Point { captured_at: Instant::from_nanos(captured_at), count });
    }

    /// Whether there is a position: a good reading, possibly an aging one.
    #[inline]
    pub(crate) fn has_position(&self) -> bool {
        self.sight == Sight::Good
    }

    pub(crate) fn never_read(&self) -> bool {
        self.sight == Sight::Never
    }

    #[inline]
    pub(crate) fn mark(&self) -> Option<Mark> {
        self.has_position().then(|| Mark { stretch: self.stretch, count: self.history.newest().count })
    }

    #[inline]
    pub(crate) const fn speed(&self) -> Option<WindowSpeed> {
        self.speed
    }

    pub(crate) fn captured_at(&self) -> Instant {
        Instant::from_nanos(self.captured_at)
    }

    pub(crate) fn position(&self, config: &SourceConfig) -> Option<Position> {
        config.scale.travel(self.mark()?.count)
    }

    pub(crate) const fn effective_window(&self) -> Span {
        Span::from_nanos(u64_from(self.effective_window))
    }
}

#[expect(clippy::as_conversions, reason = "widening; u64::from is not const")]
const fn u64_from(x: u32) -> u64 {
    x as u64
}
