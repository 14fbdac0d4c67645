//! One source: from raw readings to a position that can be trusted, or a channel fault.

use core::fmt;

use crate::calm::{Calm, Reached};
use crate::discrepancy::{Glimpse, View};
use crate::frame::{Reading, Sample};
use crate::history::{History, Point, Spacing};
use crate::scale::{Rate, Scale, WindowSpeed, WindowTravel};
use crate::units::{Instant, Position, Span, Speed};
use crate::wide::{mul, mul_shr_32};
use crate::widen::{u32_to_u64, u64_to_low_u32};

/// What is known of a source before it moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SourceConfig {
    scale: Scale,
    /// 64 − counter bits.
    unused_bits: u32,
    /// In nanoseconds.
    timeout: u32,
    /// ULPs per second.
    max_speed: u64,
    /// Counts per 2³² ns that the mechanics can move, rounded down.
    max_rate: u64,
    max_count: u64,
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
        let timeout_ns = match u32::try_from(timeout.as_nanos()) {
            Ok(nanos) if nanos > 0 && timeout <= Self::MAX_TIMEOUT => nanos,
            _ => return Err(SourceError::Timeout(timeout)),
        };
        if max_speed <= Speed::ZERO {
            return Err(SourceError::MaxSpeed(max_speed));
        }
        let most = scale.counts_within(max_speed, timeout);
        // One count of slack on top of the plausible change, and one more for the rounding. Bounded because a quotient is below 2¹²⁷.
        if most.wrapping_add(2) >> counter_bits.wrapping_sub(1) != 0 {
            return Err(SourceError::Ambiguous);
        }
        // What is cut off is looked at closely.
        let max_rate = scale.counts_per_span(max_speed);
        Ok(Self {
            scale,
            max_speed: max_speed.to_bits().unsigned_abs(),
            unused_bits: 64_u32.wrapping_sub(counter_bits),
            timeout: timeout_ns,
            max_rate,
            max_count: scale.max_counts().unsigned_abs(),
        })
    }

    /// A raw value read as a two's-complement number in the counter's width.
    fn first_count(&self, raw: u64) -> i64 {
        (raw << self.unused_bits).cast_signed() >> self.unused_bits
    }

    /// Two's-complement difference in the counter's width from the value that led to `count`. A count and its raw value are equal
    /// in that width: so it starts, and so every change leaves it.
    #[inline]
    fn change(&self, count: i64, raw: u64) -> i64 {
        let change = raw.wrapping_sub(count.cast_unsigned());
        match self.unused_bits.checked_sub(32) {
            // Up to 32 bits: a 32-bit core shifts half as much by far less than half as many instructions.
            Some(unused) => {
                let low = u64_to_low_u32(change);
                i64::from(low.wrapping_shl(unused).cast_signed().wrapping_shr(unused))
            }
            None => (change << self.unused_bits).cast_signed() >> self.unused_bits,
        }
    }

    #[inline]
    fn holds(&self, count: i64) -> bool {
        // Bounded because `max_count` < 2⁶³: the sum wraps for a negative count below −`max_count` only.
        count.cast_unsigned().wrapping_add(self.max_count) <= self.max_count.wrapping_mul(2)
    }

    /// Whether the mechanics can move this many counts in `elapsed` nanoseconds (at most the timeout), one count aside.
    fn is_plausible(&self, change: u64, elapsed: u64) -> bool {
        let beyond = change.saturating_sub(1);
        // Exactly: counts × (10⁻⁹ ULP per count) against (ULP per second) × ns; lexicographic order of the halves.
        mul(beyond, self.scale.nano_ulps_per_count()) <= mul(self.max_speed, elapsed)
    }

    /// The width of the counter.
    #[must_use]
    pub fn counter_bits(&self) -> u8 {
        // Fits, because 56 bits at most are unused.
        64_u8.saturating_sub(u8::try_from(self.unused_bits).unwrap_or(0))
    }

    /// The fastest that the mechanics can move.
    #[must_use]
    pub const fn max_speed(&self) -> Speed {
        Speed::from_bits(self.max_speed.cast_signed())
    }

    /// How far one count is.
    #[must_use]
    pub const fn scale(&self) -> &Scale {
        &self.scale
    }

    /// Counts up to here, to each side, have a position.
    pub(crate) const fn max_count(&self) -> i64 {
        self.max_count.cast_signed()
    }

    /// The longest age of a reading.
    #[must_use]
    pub const fn timeout(&self) -> Span {
        Span::from_nanos(u32_to_u64(self.timeout))
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
    /// Of no reading: the first stretch has number 1.
    pub(crate) const NEVER: Self = Self { stretch: 0, count: 0 };

    /// Whether the count ran unbroken between the two.
    #[inline]
    pub(crate) const fn is_comparable(self, other: Self) -> bool {
        self.stretch == other.stretch
    }

    /// The count at this place, from that of the first reading on.
    #[must_use]
    pub const fn count(self) -> i64 {
        self.count
    }

    /// Where this count was, or would have been, another one.
    pub(crate) const fn at(self, count: i64) -> Self {
        Self { stretch: self.stretch, count }
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
    /// Counts the unbroken stretches; a frame adds at most one, so 64 bits last.
    stretch: u64,
    /// Its newest reading is the newest one taken, good or not. While `sight` is `Never`, when that began stands in for its capture.
    history: History<POINTS>,
    reached: Reached,
    /// Over the window of the last speed that a frame looked at closely.
    rate: Rate,
}

impl<const POINTS: usize> Source<POINTS> {
    /// A source that has not been read, watched from `now` on.
    pub(crate) const fn new() -> Self {
        Self {
            sight: Sight::Never,
            stretch: 0,
            history: History::new(),
            reached: Reached::only(0),
            rate: Rate::NONE,
        }
    }

    pub(crate) fn watch_from(&mut self, now: Instant) {
        self.history.watch_from(now);
    }

    /// Takes what nearly every frame brings to a source with a speed: an ordinary reading within all limits of `calm`, or none while
    /// the newest is fresh. False when it may be anything else: then nothing was touched, and it is left to
    /// [`take`](Self::take), which knows all cases. Directions and accelerations are looked at with `MORE`.
    #[cfg_attr(target_pointer_width = "32", inline)]
    #[cfg_attr(not(target_pointer_width = "32"), inline(always))]
    pub(crate) fn take_calmly<const MORE: bool>(
        &mut self,
        config: &SourceConfig,
        spacing: Spacing,
        calm: &Calm,
        now: Instant,
        reading: &Option<Reading>,
    ) -> bool {
        let (captured_at, raw) = match *reading {
            Some(Reading { captured_at, sample: Sample::Count(raw) }) => (captured_at, raw),
            Some(_) => return false,
            None => return self.is_fresh(config, now),
        };
        let newest = self.history.newest();
        // A reading captured after `now` wraps far beyond the timeout, and so does one of no or negative time below.
        let age = now.as_nanos().wrapping_sub(captured_at.as_nanos());
        let elapsed = captured_at.as_nanos().wrapping_sub(newest.captured_at.as_nanos());
        if age > u64::from(config.timeout) || elapsed.wrapping_sub(1) >= u64::from(calm.interval) {
            return false;
        }
        // Bounded because an interval is below 2³².
        let elapsed = u64_to_low_u32(elapsed);
        let change = config.change(newest.count, raw);
        // Bounded because `SourceError::Ambiguous` keeps what is plausible below 2⁶³; a change of −2⁶³ wraps to the largest number
        // and is refused as it should be.
        let most = mul_shr_32(config.max_rate, elapsed).cast_signed();
        let Some(count) = newest.count.checked_add(change) else { return false };
        if change.wrapping_abs().wrapping_sub(1) > most || !calm.reaches(count) {
            return false;
        }
        let Some(ahead) = self.history.look_ahead(spacing, captured_at) else { return false };
        // Bounded because the base was captured before; and a count within ±2⁶², as a calm one is, less another one wraps only to
        // what is far beyond the range of a speed.
        let elapsed = captured_at.as_nanos().wrapping_sub(ahead.base.captured_at.as_nanos());
        // And because window, spacing and timeout together stay below 2³² ns.
        let elapsed = u64_to_low_u32(elapsed);
        let travelled = count.wrapping_sub(ahead.base.count);
        if !calm.rate.allows(travelled, elapsed) || !calm.is_fast_enough(travelled, elapsed) {
            return false;
        }
        if MORE
            && calm.turns
            && !self.turns_calmly(
                spacing,
                calm,
                count,
                (ahead.base, WindowTravel { counts: travelled, elapsed }),
            )
        {
            return false;
        }
        self.history.go_ahead(spacing, Point { captured_at, count }, ahead);
        true
    }

    /// As [`take_calmly`](Self::take_calmly), for what a direction or an acceleration goes by; the reading will have this base.
    #[inline(always)]
    fn turns_calmly(
        &mut self,
        spacing: Spacing,
        calm: &Calm,
        count: i64,
        (base, travelled): (Point, WindowTravel),
    ) -> bool {
        let reached = self.reached.with(count);
        if !calm.is_near_enough(reached, count) {
            return false;
        }
        if calm.bends() {
            let Some((second, point)) = self.history.second_ahead(spacing, base) else { return false };
            if !travel(point, base).is_some_and(|before| calm.bend.allows(before, travelled)) {
                return false;
            }
            self.history.follow(second);
        }
        self.reached = reached;
        true
    }

    /// Goes on to a good reading, whose speed must be in range.
    fn advance(&mut self, config: &SourceConfig, spacing: Spacing, point: Point) -> Result<(), SourceFault> {
        self.history.push(spacing, point);
        if let Some(base) = self.history.base()
            && !travel(base, point).is_some_and(|travel| config.scale.has_speed(travel))
        {
            self.start(config, point.captured_at, point.count);
            return Err(SourceFault::Range);
        }
        Ok(())
    }

    /// Takes what the frame brought; says whether the channel is faulted at this frame.
    #[inline(never)]
    pub(crate) fn take(
        &mut self,
        config: &SourceConfig,
        spacing: Spacing,
        now: Instant,
        reading: &Option<Reading>,
    ) -> Option<SourceFault> {
        let fault = match reading {
            Some(reading) => self.read(config, spacing, now, reading),
            None => None,
        };
        fault.or_else(|| self.age(config, now))
    }

    fn read(
        &mut self,
        config: &SourceConfig,
        spacing: Spacing,
        now: Instant,
        reading: &Reading,
    ) -> Option<SourceFault> {
        let Sample::Count(raw) = reading.sample else {
            self.lose();
            self.sight = Sight::Invalid;
            return Some(SourceFault::Invalid);
        };
        let captured_at = reading.captured_at;
        if captured_at > now {
            return Some(SourceFault::OutOfOrder);
        }
        let first = config.first_count(raw);
        if self.never_started() {
            self.start(config, captured_at, first);
            return None;
        }
        let newest = self.history.newest();
        let Some(elapsed) = captured_at.since(newest.captured_at) else {
            return Some(SourceFault::OutOfOrder);
        };
        let change = config.change(newest.count, raw);
        if elapsed == Span::ZERO {
            // The same reading again says nothing new: after an invalid one, that one still stands.
            return (change != 0).then_some(SourceFault::OutOfOrder);
        }
        if self.sight != Sight::Good {
            self.start(config, captured_at, first);
            return None;
        }
        if elapsed.as_nanos() > u64::from(config.timeout) {
            return self.restart(config, now, captured_at, first, SourceFault::Stale);
        }
        if !config.is_plausible(change.unsigned_abs(), elapsed.as_nanos()) {
            return self.restart(config, now, captured_at, first, SourceFault::Implausible);
        }
        match newest.count.checked_add(change).filter(|&count| config.holds(count)) {
            Some(count) => match self.advance(config, spacing, Point { captured_at, count }) {
                Ok(()) => None,
                Err(fault) => Some(self.named(config, now, fault)),
            },
            None => self.restart(config, now, captured_at, first, SourceFault::Range),
        }
    }

    #[inline]
    fn is_fresh(&self, config: &SourceConfig, now: Instant) -> bool {
        // Bounded because a reading captured after `now` was refused and frames go forward.
        now.as_nanos().wrapping_sub(self.captured_at().as_nanos()) <= u64::from(config.timeout)
    }

    /// Is the newest reading still fresh?
    fn age(&mut self, config: &SourceConfig, now: Instant) -> Option<SourceFault> {
        if self.sight == Sight::Invalid {
            return Some(SourceFault::Invalid);
        }
        if self.sight == Sight::Never {
            // Bounded because frames go forward.
            let unseen_for = now.as_nanos().wrapping_sub(self.captured_at().as_nanos());
            return (unseen_for > u64::from(config.timeout)).then_some(SourceFault::Stale);
        }
        if !self.is_fresh(config, now) {
            self.lose();
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
    }

    /// Starts anew with the very reading that showed `fault`.
    fn restart(
        &mut self,
        config: &SourceConfig,
        now: Instant,
        captured_at: Instant,
        count: i64,
        fault: SourceFault,
    ) -> Option<SourceFault> {
        self.start(config, captured_at, count);
        Some(self.named(config, now, fault))
    }

    /// A reading that showed a fault and is too old as well is stale.
    fn named(&mut self, config: &SourceConfig, now: Instant, fault: SourceFault) -> SourceFault {
        match self.age(config, now) {
            Some(SourceFault::Stale) => SourceFault::Stale,
            _ => fault,
        }
    }

    /// A first reading: the count starts here, see [`SourceConfig::first_count`]. Out of range it starts nothing.
    #[cold]
    fn start(&mut self, config: &SourceConfig, captured_at: Instant, count: i64) {
        let count = config.first_count(count.cast_unsigned());
        self.sight = if config.holds(count) { Sight::Good } else { Sight::Lost };
        self.stretch = self.stretch.wrapping_add(1);
        self.reached = Reached::only(count);
        self.history.start(Point { captured_at, count });
    }

    /// The counts reached since they were [forgotten](Self::forget_reached).
    #[inline]
    pub(crate) const fn reached(&self) -> Reached {
        self.reached
    }

    /// The newest reading is reached too. Those taken calmly for a direction are so by themselves.
    pub(crate) fn reach(&mut self) {
        self.reached = self.reached.with(self.count());
    }

    /// From now on, the newest reading alone is reached.
    pub(crate) fn forget_reached(&mut self) {
        self.reached = Reached::only(self.count());
    }

    /// Whether there is a position: a good reading, possibly an aging one.
    #[inline]
    pub(crate) fn has_position(&self) -> bool {
        self.sight == Sight::Good
    }

    pub(crate) fn never_read(&self) -> bool {
        self.sight == Sight::Never
    }

    /// Meaningless without a position.
    #[inline]
    pub(crate) const fn count(&self) -> i64 {
        self.history.newest().count
    }

    #[inline]
    pub(crate) fn mark(&self) -> Option<Mark> {
        self.has_position().then(|| Mark { stretch: self.stretch, count: self.history.newest().count })
    }

    /// The travel over the window, whose speed is in range; `None` while it is unknown.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline(always))]
    pub(crate) fn window_travel(&self) -> Option<WindowTravel> {
        if self.has_position() { travel(self.history.base()?, self.history.newest()) } else { None }
    }

    /// How long the window is, in nanoseconds, and the travel over the one before it; `None` while they are unknown. For a spacing for two windows.
    #[inline(never)]
    pub(crate) fn windows(&mut self, spacing: Spacing) -> Option<(u32, WindowTravel)> {
        let now = self.window_travel()?;
        let before = travel(self.history.base_of_base(spacing)?, self.history.base()?)?;
        Some((now.elapsed, before))
    }

    /// Whether a speed is known: that of a reading out of range was not taken, see [`advance`](Self::advance).
    #[inline]
    pub(crate) fn has_speed(&self) -> bool {
        self.has_position() && self.history.base().is_some()
    }

    #[inline]
    pub(crate) fn glimpse(&self) -> Option<Glimpse> {
        let (mark, captured_at) = (self.mark()?, self.captured_at());
        Some(Glimpse { mark, captured_at, travel: self.window_travel() })
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline)]
    pub(crate) fn view<'a>(&self, scale: &'a Scale, speed: Option<WindowSpeed>) -> Option<View<'a>> {
        Some(View { scale, mark: self.mark()?, captured_at: self.captured_at(), speed })
    }

    pub(crate) fn speed(&self, scale: &Scale) -> Option<WindowSpeed> {
        let travel = self.window_travel()?;
        self.rate.over(scale, travel.elapsed).speed(scale, travel.counts)
    }

    /// That of the last speed that was looked at.
    pub(crate) const fn rate(&self) -> Rate {
        self.rate
    }

    /// As [`speed`](Self::speed); the next one over the same window comes quicker.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline)]
    pub(crate) fn look_at_speed(&mut self, scale: &Scale) -> Option<WindowSpeed> {
        let travel = self.window_travel()?;
        self.rate = self.rate.over(scale, travel.elapsed);
        self.rate.speed(scale, travel.counts)
    }

    #[inline]
    pub(crate) const fn captured_at(&self) -> Instant {
        self.history.newest().captured_at
    }

    pub(crate) fn position(&self, config: &SourceConfig) -> Option<Position> {
        config.scale.travel(self.mark()?.count)
    }
}

/// From `base` to `newest`. `None` is out of range: a time does not get there, because window, spacing and timeout together stay
/// below 2³² ns.
#[inline(always)]
fn travel(base: Point, newest: Point) -> Option<WindowTravel> {
    // Bounded because the base was captured before the newest reading.
    let elapsed = newest.captured_at.as_nanos().wrapping_sub(base.captured_at.as_nanos());
    Some(WindowTravel {
        counts: newest.count.checked_sub(base.count)?,
        elapsed: u32::try_from(elapsed).ok()?,
    })
}
