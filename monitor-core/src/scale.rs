//! From counts to travel and speed.

use core::fmt;

use crate::units::{Acceleration, FRACTION_BITS, NANOS_PER_SECOND, Position, Span, Speed};
use crate::wide::{Billionth, divide, divide_to_u64, mul, mul_shr_32, per_second, quotient_74};
use crate::widen::{u32_to_u64, u64_to_u128};

/// How far one count is: the `unit_per_count` of a source.
///
/// Held in steps of 10⁻⁹ ULP (6·10⁻¹⁷ of the axis unit), rounded to nearest. Every decimal with up to nine places
/// and every full turn divided by a power of two up to 2³⁶ is held exactly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Scale {
    /// Billionths of a ULP per count.
    nano: u64,
    /// ULPs per count.
    ulp: Billionth,
    /// `nano` with its top bit moved to bit 63.
    normalised: u64,
    /// `2¹²⁷ / normalised`, rounded down.
    inverse: u64,
    /// Up to this many counts a travel is below 2³⁸ units.
    near: u64,
    /// From this many counts on a speed is beyond the range: 2^(64 − `speed_left`).
    speed_counts: u64,
    /// `nano · 2^(64 − speed_left) = normalised · 2¹⁰`.
    speed_left: u32,
    /// The counter runs against the axis.
    reversed: bool,
}

/// A `unit_per_count` that cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ScaleError {
    /// Zero, or a zero denominator.
    Zero,
    /// Less than 2⁻³⁴ of the axis unit per count (5.8·10⁻¹¹): rounding would show.
    TooFine,
    /// More than 1099 axis units per count.
    TooCoarse,
}

impl fmt::Display for ScaleError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Zero => "a count that is no travel at all",
            Self::TooFine => "less than 2^-34 of the axis unit per count",
            Self::TooCoarse => "more than 1099 axis units per count",
        })
    }
}

impl core::error::Error for ScaleError {}

/// The largest numerator and denominator of a scale: keeps the exact product below 2¹²⁷.
const MAX_TERM: u128 = 1 << 72;

impl Scale {
    /// One count is one ULP: for a source that delivers positions.
    pub const ULP: Self = match Self::from_nano(NANOS_PER_SECOND, false) {
        Ok(scale) => scale,
        Err(_) => Self {
            nano: 0,
            ulp: Billionth::up(0),
            normalised: 0,
            inverse: 0,
            near: 0,
            speed_counts: 0,
            speed_left: 0,
            reversed: false,
        },
    };

    /// `numerator / denominator` axis units per count; a negative numerator says that the counter runs the other way.
    ///
    /// # Errors
    ///
    /// [`ScaleError`] when the quotient is zero, below 2⁻³⁴ or above 1099, or a term is beyond 2⁷².
    pub const fn from_ratio(numerator: i128, denominator: u128) -> Result<Self, ScaleError> {
        let size = numerator.unsigned_abs();
        if size == 0 || denominator == 0 {
            return Err(ScaleError::Zero);
        }
        if size > MAX_TERM || denominator > MAX_TERM {
            return Err(ScaleError::TooCoarse);
        }
        // Bounded because 2⁷² · 2²⁴ · 10⁹ < 2¹²⁶, and adding half the denominator stays below 2¹²⁷.
        let scaled = size.wrapping_mul(ULP_NANOS);
        match divide_to_u64(scaled.wrapping_add(denominator >> 1), denominator) {
            Some(nano) => Self::from_nano(nano, numerator < 0),
            None => Err(ScaleError::TooCoarse),
        }
    }

    /// So many billionths of a ULP (10⁻⁹ · 2⁻²⁴ axis units) per count; negative when the counter runs the other way.
    ///
    /// # Errors
    ///
    /// [`ScaleError::Zero`] or [`ScaleError::TooFine`].
    pub const fn from_nano_ulps(nano_ulps: i64) -> Result<Self, ScaleError> {
        if nano_ulps == 0 {
            return Err(ScaleError::Zero);
        }
        Self::from_nano(nano_ulps.unsigned_abs(), nano_ulps < 0)
    }

    pub(crate) const fn from_nano(nano: u64, reversed: bool) -> Result<Self, ScaleError> {
        if nano < MIN_NANO {
            return Err(ScaleError::TooFine);
        }
        let zeros = nano.leading_zeros();
        let normalised = nano << zeros;
        Ok(Self {
            nano,
            ulp: Billionth::up(nano),
            normalised,
            inverse: inverse(normalised),
            // Bounded because nano ≥ 2¹⁹ makes zeros ≤ 44, so 10 ≤ zeros + 10 ≤ 54.
            near: near_counts(nano),
            speed_counts: 1_u64.wrapping_shl(zeros.wrapping_add(10)),
            speed_left: 54_u32.wrapping_sub(zeros),
            reversed,
        })
    }

    /// Billionths of a ULP per count, as held.
    #[must_use]
    pub const fn nano_ulps_per_count(&self) -> u64 {
        self.nano
    }

    /// Whether the counter runs against the axis.
    #[must_use]
    pub const fn is_reversed(&self) -> bool {
        self.reversed
    }

    #[inline]
    fn sign(&self, counts: i64, magnitude: i64) -> i64 {
        // Bounded because a magnitude is never negative.
        if (counts < 0) == self.reversed { magnitude } else { magnitude.wrapping_neg() }
    }

    /// The travel of `counts`, rounded to the nearest ULP, ties away from zero; `None` beyond the range.
    ///
    /// The error is at most half a ULP (plus 2⁻⁶⁴ ULP per count where the exact value is within that of a tie).
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline(always))]
    #[must_use]
    pub fn travel(&self, counts: i64) -> Option<Position> {
        let size = counts.unsigned_abs();
        let magnitude =
            if size <= self.near { self.ulp.nearest_bounded(size) } else { self.ulp.nearest(size)? };
        Some(Position::from_bits(self.sign(counts, magnitude)))
    }

    /// The length of the travel of `counts`, rounded up to a ULP; `None` beyond the range.
    ///
    /// Since limits are whole ULPs, comparing this with one is the same decision as comparing the exact travel
    /// (below 2³⁴ counts; beyond at most one ULP too strict).
    #[inline]
    #[must_use]
    pub fn length(&self, counts: i64) -> Option<Position> {
        self.ulp.ceil(counts.unsigned_abs()).map(Position::from_bits)
    }

    /// The travel of `counts` rounded down and up to a ULP, signed and exact; `None` beyond the range.
    pub(crate) fn ends(&self, counts: i64) -> Option<(i64, i64)> {
        let size = counts.unsigned_abs();
        let ceil = self.ulp.ceil(size)?;
        // At most one too large, and what is left over below 2·10⁹: the low halves give it exactly.
        let product = size.wrapping_mul(self.nano);
        let over = ceil.unsigned_abs().wrapping_mul(NANOS_PER_SECOND).wrapping_sub(product);
        // Bounded because neither is negative.
        let up = if over < NANOS_PER_SECOND { ceil } else { ceil.wrapping_sub(1) };
        let is_whole = up.unsigned_abs().wrapping_mul(NANOS_PER_SECOND) == product;
        let down = if is_whole { up } else { up.wrapping_sub(1) };
        let is_negative = self.sign(counts, 1) < 0;
        Some(if is_negative { (up.wrapping_neg(), down.wrapping_neg()) } else { (down, up) })
    }

    /// Up to this many counts of travel in the positive direction are certainly within `window`; negative when no travel is.
    pub(crate) fn signed_reach(&self, window: Position) -> i64 {
        if window >= Position::ZERO {
            return self.reach(window);
        }
        let beyond = self.reach(Position::from_bits(window.to_bits().saturating_neg()));
        beyond.saturating_add(1).saturating_neg()
    }

    /// Up to this many counts a travel is below 2³⁸ units.
    pub(crate) const fn near(&self) -> u64 {
        self.near
    }

    /// Billionths of a ULP per count, signed; `None` beyond 549 axis units.
    pub(crate) fn signed_nano(&self) -> Option<i64> {
        let nano = i64::try_from(self.nano).ok()?;
        // Bounded because it is not negative.
        Some(if self.reversed { nano.wrapping_neg() } else { nano })
    }

    /// The speed of a travel over a window; `None` for a travel beyond the range, which ends between 5.6·10⁵ and 1.1·10⁶ units, at the
    /// same number of counts for every window. So the largest speed, of the longest window, is above 10⁵ units per second.
    #[must_use]
    pub fn speed(&self, travel: WindowTravel) -> Option<WindowSpeed> {
        Rate::of(self, travel.elapsed).speed(self, travel.counts)
    }

    /// Whether a travel over a window has a speed.
    #[inline]
    pub(crate) const fn has_speed(&self, travel: WindowTravel) -> bool {
        travel.counts.unsigned_abs() < self.speed_counts
    }

    /// A [`CountRate`] that is within `limit` (0 or more) and within the range of a speed: the largest such, or little less.
    #[must_use]
    pub fn rate_within(&self, limit: Speed) -> CountRate {
        let zeros = self.nano.leading_zeros();
        // ULP/s · 2³² ns / (nano · 10⁻⁹ ULP) = limit · 2³² · 2^zeros / normalised ≥ limit · inverse / 2^(95 − zeros).
        // Bounded because zeros ≤ 44, and (2⁶⁴ − 1)² < 2¹²⁸.
        let (high, low) = mul(limit.to_bits().unsigned_abs(), self.inverse);
        // By hand: a shift of 128 bits is long on a 32-bit core. Bounded because zeros ≤ 44, so the shift is 51 to 95.
        let shift = 95_u32.wrapping_sub(zeros);
        let most = match shift.checked_sub(64) {
            Some(beyond) => high >> beyond,
            None if high >> shift == 0 => (high << 64_u32.wrapping_sub(shift)) | (low >> shift),
            None => u64::MAX,
        };
        // Faster than this a speed may be out of range: a window is shorter than 2³² ns.
        CountRate(most.min(self.speed_counts.saturating_sub(1)))
    }

    /// A [`CountRate`] beyond which a speed is certainly above `limit` (0 or more): the smallest such, or little more; where there is none,
    /// one that no speed is beyond.
    pub(crate) fn rate_beyond(&self, limit: Speed) -> CountRate {
        let shift = 95_u32.wrapping_sub(self.nano.leading_zeros());
        // What `rate_within` rounds down by: less than one, and as much as the limit times what the inverse is too small by. By hand, as
        // there. Bounded because a limit is below 2⁶³.
        let error = limit.to_bits().unsigned_abs().checked_shr(shift).unwrap_or(0).wrapping_add(2);
        let (high, low) = mul(limit.to_bits().unsigned_abs(), self.inverse);
        let least = match shift.checked_sub(64) {
            Some(beyond) => high >> beyond,
            None if high >> shift == 0 => (high << 64_u32.wrapping_sub(shift)) | (low >> shift),
            None => u64::MAX,
        };
        CountRate(least.saturating_add(error))
    }

    /// Counts whose travel is certainly no longer than so many ULPs (not negative): the most such, or little less. Without a division.
    pub(crate) fn counts_surely_within(&self, ulps: i64) -> i64 {
        let zeros = self.nano.leading_zeros();
        // ulps · 10⁹ / nano ≥ ulps · 10⁹ · inverse · 2^(zeros − 127).
        let (share, _) = mul(ulps.unsigned_abs(), self.inverse);
        let (high, low) = mul(share, NANOS_PER_SECOND);
        // Bounded because zeros ≤ 44, so the shift is 19 to 63.
        let shift = 63_u32.wrapping_sub(zeros);
        if high >> shift != 0 {
            return i64::MAX;
        }
        let counts = high << 64_u32.wrapping_sub(shift) | low >> shift;
        i64::try_from(counts).unwrap_or(i64::MAX)
    }

    /// How far apart the travels of two windows, as a [`Bend`](crate::calm::Bend) has it, certainly are without an acceleration above
    /// `limit`, whose windows are no shorter than `window`: the most, or little less. Negative where none are.
    pub(crate) fn bend_surely_within(&self, limit: Acceleration, window: Span) -> i64 {
        // Set-up time: may divide. The change of the speed, in ULP/s, is bend · nano / (t₁ · t₂), and it is held against the limit times
        // the whole nanoseconds between the middles, which are no fewer than `window`. Less one ULP for the rounding of the acceleration
        // and two for that of either speed.
        let window = u128::from(window.as_nanos());
        let limit = u128::from(limit.to_bits().saturating_sub(1).max(0).unsigned_abs());
        // Bounded because a window is below 2³¹ ns, so that the change is below 2⁶⁵.
        let change = divide(limit.wrapping_mul(window), u128::from(NANOS_PER_SECOND)).0;
        let Some(change) = change.checked_sub(4) else { return -1 };
        // And because that over 2⁶² is below 2¹²⁷.
        let most = divide(change.wrapping_mul(window).wrapping_mul(window), u128::from(self.nano)).0;
        // The largest number says that nothing is asked.
        i64::try_from(most).unwrap_or(i64::MAX).min(i64::MAX.wrapping_sub(1))
    }

    /// The largest number of counts whose [`length`](Self::length) is within `window`; fewer where that cannot be told exactly
    /// (beyond 2³⁴ counts).
    pub(crate) fn reach(&self, window: Position) -> i64 {
        // Set-up time: may divide.
        let ulps = u128::from(window.to_bits().unsigned_abs());
        let exact = divide_to_u64(ulps.wrapping_mul(u128::from(NANOS_PER_SECOND)), u128::from(self.nano));
        let most = exact.and_then(|counts| i64::try_from(counts).ok()).unwrap_or(i64::MAX);
        let is_within = |counts: i64| self.length(counts).is_some_and(|length| length <= window);
        if is_within(most) { most } else { most.min(1 << 33) }
    }

    /// Counts that fit in a position of ±2³⁹ units.
    pub(crate) fn max_counts(&self) -> i64 {
        // Set-up time: may divide. `travel` finds a position for each of them: the exact one is at most 2⁶³ − 1 ULP, and
        // what its factor adds is below half a ULP.
        let range = u128::from(i64::MAX.unsigned_abs()).wrapping_mul(u128::from(NANOS_PER_SECOND));
        let exact = divide_to_u64(range, u128::from(self.nano));
        exact.and_then(|counts| i64::try_from(counts).ok()).unwrap_or(i64::MAX)
    }

    /// Largest change in counts that `max_speed` allows within `span`, rounded down; one count comes on top.
    pub(crate) fn counts_within(&self, max_speed: Speed, span: Span) -> u128 {
        // Bounded because 2⁶³ · 2⁶⁴ is.
        let travel = u128::from(max_speed.to_bits().unsigned_abs()).wrapping_mul(u128::from(span.as_nanos()));
        divide(travel, u128::from(self.nano)).0
    }

    /// The same per 2³² ns; the largest number where it is more than that.
    pub(crate) fn counts_per_span(&self, max_speed: Speed) -> u64 {
        // ULP/s · 2³² ns = ULP/s · 2³² · 10⁻⁹ s, over nano · 10⁻⁹ ULP.
        let speed = u128::from(max_speed.to_bits().unsigned_abs());
        divide_to_u64(speed << 32, u128::from(self.nano)).unwrap_or(u64::MAX)
    }
}

/// `2¹²⁷ / normalised`, rounded down, for a number with its top bit set. Divides: for set-up time only.
const fn inverse(normalised: u64) -> u64 {
    // 2⁶⁴ itself, for 2⁶³, is brought down by one.
    match divide_to_u64(1 << 127, u64_to_u128(normalised)) {
        Some(inverse) => inverse,
        None => u64::MAX,
    }
}

/// Counts whose travel is below 2⁶² ULPs. Divides: for set-up time only.
const fn near_counts(nano: u64) -> u64 {
    // Bounded because 2⁶² · 10⁹ < 2⁹².
    const RANGE: u128 = 1_000_000_000 << 62;
    match divide_to_u64(RANGE, u64_to_u128(nano)) {
        // Rounded down, and one less for the rounding of a travel.
        Some(counts) if counts >> 63 == 0 => counts.saturating_sub(1),
        _ => 0,
    }
}

/// Billionths of a ULP in one axis unit.
const ULP_NANOS: u128 = 1_000_000_000 << FRACTION_BITS;
/// 2⁻³⁴ of the axis unit, in billionths of a ULP (rounded down).
const MIN_NANO: u64 = 1_000_000_000 >> 10;

/// What a source travelled over the window of its speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WindowTravel {
    pub(crate) counts: i64,
    /// In nanoseconds.
    pub(crate) elapsed: u32,
}

impl WindowTravel {
    /// Counts from the base of the window to the newest reading.
    #[must_use]
    pub const fn counts(self) -> i64 {
        self.counts
    }

    /// The exact difference of their capture times.
    #[must_use]
    pub const fn elapsed(self) -> Span {
        Span::from_nanos(u32_to_u64(self.elapsed))
    }

    /// Whether its speed is certainly within what `rate` was made for. It may be although this says no, by a count or so.
    #[inline]
    #[must_use]
    pub fn is_within(self, rate: CountRate) -> bool {
        rate.allows(self.counts, self.elapsed)
    }
}

/// A speed in counts per 2³² ns, rounded down: tells quickly that a travel is not faster.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CountRate(u64);

impl CountRate {
    /// Allows all.
    pub(crate) const MAX: Self = Self(u64::MAX);

    /// Allows nothing but rest.
    pub(crate) const ZERO: Self = Self(0);

    /// None at all.
    pub(crate) const fn is_zero(self) -> bool {
        self.0 == 0
    }

    /// Whether so many counts within so many nanoseconds are within it.
    #[inline(always)]
    pub(crate) fn allows(self, counts: i64, elapsed: u32) -> bool {
        counts.unsigned_abs() <= mul_shr_32(self.0, elapsed)
    }
}

/// What one count over one elapsed time is, kept because the elapsed time of a window rarely changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Rate {
    elapsed: u32,
    /// `floor(nano · 2^(64 − speed_left) / elapsed)`.
    per_count: u64,
}

impl Rate {
    /// No window yet; the first use replaces it.
    pub(crate) const NONE: Self = Self { elapsed: 0, per_count: 0 };

    /// The rate over `elapsed` nanoseconds (a window: at least 10 µs).
    #[inline(never)]
    pub(crate) fn of(scale: &Scale, elapsed: u32) -> Self {
        Self { elapsed, per_count: quotient_74(scale.normalised, elapsed) }
    }

    /// This rate where it is that over `elapsed`, or that rate.
    #[inline]
    pub(crate) fn over(self, scale: &Scale, elapsed: u32) -> Self {
        if self.elapsed == elapsed { self } else { Self::of(scale, elapsed) }
    }

    /// The speed of `counts` in the elapsed time; `None` beyond the range.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline(always))]
    pub(crate) fn speed(&self, scale: &Scale, counts: i64) -> Option<WindowSpeed> {
        let size = counts.unsigned_abs();
        if size >= scale.speed_counts {
            return None;
        }
        // size < 2^(64 − speed_left), so the estimate is the exact quotient or one below, and below per_count < 2⁶¹.
        let (estimate, _) = mul(size.wrapping_shl(scale.speed_left), self.per_count);
        let elapsed = u64::from(self.elapsed);
        // The remainder is below 2 · elapsed, so the low halves give it exactly.
        let rest = size.wrapping_mul(scale.nano).wrapping_sub(estimate.wrapping_mul(elapsed));
        // Bounded because per_count < 2⁶¹, so neither reaches 2⁶².
        let down = estimate.wrapping_add(u64::from(rest >= elapsed)).cast_signed();
        let up =
            estimate.wrapping_add(u64::from(rest > 0)).wrapping_add(u64::from(rest > elapsed)).cast_signed();
        Some(WindowSpeed { up, down, negative: (counts < 0) != scale.reversed })
    }
}

/// The speed of one channel: travel over the window by the exact difference of the capture times.
///
/// Its magnitude is known rounded up and rounded down to a ULP. Limits are whole ULPs, so comparing the magnitude rounded up with a limit
/// decides exactly as the unrounded quotient would.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WindowSpeed {
    up: i64,
    down: i64,
    negative: bool,
}

impl WindowSpeed {
    /// The magnitude, rounded up to a ULP.
    #[inline]
    #[must_use]
    pub const fn magnitude(&self) -> Speed {
        Speed::from_bits(self.up)
    }

    /// The magnitude, rounded down to a ULP.
    #[inline]
    #[must_use]
    pub const fn magnitude_down(&self) -> Speed {
        Speed::from_bits(self.down)
    }

    /// Whether it is in the negative direction. Rest is not.
    #[inline]
    #[must_use]
    pub const fn is_negative(&self) -> bool {
        self.negative && self.up > 0
    }

    /// The signed speed, rounded up.
    #[inline]
    #[must_use]
    pub const fn upper(&self) -> Speed {
        // Bounded because a magnitude is below 2⁶².
        Speed::from_bits(if self.negative { self.down.wrapping_neg() } else { self.up })
    }

    /// The signed speed, rounded down.
    #[inline]
    #[must_use]
    pub const fn lower(&self) -> Speed {
        // Bounded because a magnitude is below 2⁶².
        Speed::from_bits(if self.negative { self.up.wrapping_neg() } else { self.down })
    }

    /// The signed speed, its magnitude rounded up.
    #[inline]
    #[must_use]
    pub const fn signed(&self) -> Speed {
        // Bounded because a magnitude is below 2⁶².
        Speed::from_bits(if self.negative { self.up.wrapping_neg() } else { self.up })
    }
}

/// How fast the speed of one channel changes: from the window before to the last one, over the time between their middles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WindowAcceleration {
    upper: Acceleration,
    lower: Acceleration,
}

impl WindowAcceleration {
    /// From the speed `before` to the speed `now`, over windows of these lengths in nanoseconds.
    pub(crate) fn between(before: (WindowSpeed, u32), now: (WindowSpeed, u32)) -> Self {
        let apart = middles_apart(before.1, now.1);
        // Bounded because a magnitude is below 2⁶².
        let most = now.0.upper().to_bits().wrapping_sub(before.0.lower().to_bits());
        let least = now.0.lower().to_bits().wrapping_sub(before.0.upper().to_bits());
        Self { upper: rounded_up(most, apart), lower: opposite(rounded_up(least.wrapping_neg(), apart)) }
    }

    /// How fast the magnitude of the speed falls between the same, rounded down to a ULP.
    pub(crate) fn deceleration(before: (WindowSpeed, u32), now: (WindowSpeed, u32)) -> Acceleration {
        // Bounded because a magnitude is below 2⁶².
        let gained = now.0.magnitude().to_bits().wrapping_sub(before.0.magnitude_down().to_bits());
        opposite(rounded_up(gained, middles_apart(before.1, now.1)))
    }

    /// Rounded up to a ULP; beyond the range the largest there is.
    #[must_use]
    pub const fn upper(&self) -> Acceleration {
        self.upper
    }

    /// Rounded down to a ULP; beyond the range the smallest there is but one.
    #[must_use]
    pub const fn lower(&self) -> Acceleration {
        self.lower
    }

    /// The magnitude, rounded up to a ULP; beyond the range the largest there is.
    #[must_use]
    pub fn magnitude(&self) -> Acceleration {
        self.upper.max(opposite(self.lower))
    }
}

/// From the middle of a window to the middle of the one that follows, in whole nanoseconds, rounded down.
fn middles_apart(before: u32, now: u32) -> u32 {
    // Bounded because half of each is below 2³¹.
    (before >> 1).wrapping_add(now >> 1).wrapping_add(before & now & 1)
}

/// The same the other way round.
const fn opposite(acceleration: Acceleration) -> Acceleration {
    // Bounded because the smallest is not reached.
    Acceleration::from_bits(acceleration.to_bits().wrapping_neg())
}

/// A change of a speed over a time, rounded up.
fn rounded_up(change: i64, span: u32) -> Acceleration {
    let bits = match per_second(change.unsigned_abs(), span) {
        Some((size, _)) if change < 0 => size.wrapping_neg(),
        Some((size, is_whole)) => size.saturating_add(i64::from(!is_whole)),
        None if change < 0 => i64::MAX.wrapping_neg(),
        None => i64::MAX,
    };
    Acceleration::from_bits(bits)
}

#[cfg(test)]
mod tests;
