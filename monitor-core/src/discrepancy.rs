//! The two channels against each other.
//!
//! The hazard: every monitor goes by what a source says, and a source can be wrong without a sign of it: a slipping belt, a loose coupling, lost
//! counts, an encoder that stands still.
//!
//! ```text
//!   abs(d)                     ╱‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾    d = (x_A − x_A,ref) − (x_B − x_B,ref)
//!   tolerance + allowance ────╱│← discrepancy_time →╳─── trips
//!                  __________╱
//! ```
//!
//! [`PositionDiscrepancy`] compares how far each has travelled since a common start: violated when `abs(d) > tolerance +
//! skew_allowance × min(abs(v_A), abs(v_B))`. [`SpeedDiscrepancy`] compares windowed speeds, for drives that slip by design: violated when
//! `abs(v_A − v_B) > tolerance`. Either trips when that has lasted for more than its time.
//!
//! Worst-case reaction after the difference is beyond: latency + discrepancy time + two frames, for speeds also half the window. Not
//! detected: a cause that moves both sources alike (a common shaft, clock or supply), and what stays within the tolerance.
//!
//! ```
//! # use monitor_core::*;
//! # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
//! #     Span::from_millis(4).unwrap()).unwrap();
//! # let window = Span::from_millis(2).unwrap();
//! # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
//! let tolerance = Position::from_int(2).unwrap();
//! let five = Span::from_millis(5).unwrap();
//! axis.set_position_discrepancy(PositionDiscrepancy::try_new(tolerance, Span::ZERO, five, false).unwrap());
//! let mut axis = Axis::new(axis);
//! // A millimetre in every millisecond; from 10 ms on source B misses a tenth of it. From 31 ms on they are more than two apart.
//! let tripped_at = (0..60).find(|&ms: &u64| {
//!     let now = Instant::from_nanos(ms * 1_000_000);
//!     let reading = |count| Some(Reading { captured_at: now, sample: Sample::Count(count) });
//!     let (a, b) = (reading(1000 * ms), reading(1000 * ms - 100 * ms.saturating_sub(10)));
//!     axis.step(&Frame { now, a, b, levels: Levels::default() }).position_discrepancy_tripped
//! });
//! assert_eq!(tripped_at, Some(36));
//! # Ok::<(), AxisError>(())
//! ```

use crate::monitor::Bound;
use crate::scale::{Scale, WindowSpeed, WindowTravel};
use crate::source::{Mark, SourceConfig};
use crate::units::{Instant, NANOS_PER_SECOND, Position, Span, Speed};
use crate::wide::{Billionth, over_span};

/// How far the positions of the two channels may differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PositionDiscrepancy {
    tolerance: Position,
    /// In nanoseconds, and as a factor of a speed.
    skew: u64,
    skew_factor: Billionth,
    discrepancy_time: Span,
    align: bool,
}

impl PositionDiscrepancy {
    /// Violated when `abs(d) > tolerance + skew_allowance × v_min`, for `discrepancy_time`.
    ///
    /// `tolerance` is 0 or more, `skew_allowance` below 4 s: what the two sources may be apart in time. With `align`, each
    /// position is first moved to the evaluation instant by its own speed; then no frame is told to be within the tolerance at a glance,
    /// and each costs two exact speeds. `None` outside these ranges.
    #[must_use]
    pub fn try_new(
        tolerance: Position,
        skew_allowance: Span,
        discrepancy_time: Span,
        align: bool,
    ) -> Option<Self> {
        if tolerance < Position::ZERO || skew_allowance > SourceConfig::MAX_TIMEOUT {
            return None;
        }
        let skew = skew_allowance.as_nanos();
        Some(Self { tolerance, skew, skew_factor: Billionth::down(skew), discrepancy_time, align })
    }

    /// What is tolerated at rest.
    #[must_use]
    pub const fn tolerance(&self) -> Position {
        self.tolerance
    }

    /// What the two sources may be apart in time.
    #[must_use]
    pub const fn skew_allowance(&self) -> Span {
        Span::from_nanos(self.skew)
    }

    /// How long more may last.
    #[must_use]
    pub const fn discrepancy_time(&self) -> Span {
        self.discrepancy_time
    }

    /// Whether each position is first moved to the evaluation instant by its own speed.
    #[must_use]
    pub const fn is_aligned(&self) -> bool {
        self.align
    }
}

/// How far the speeds of the two channels may differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SpeedDiscrepancy {
    tolerance: Speed,
    discrepancy_time: Span,
}

impl SpeedDiscrepancy {
    /// Violated when `abs(v_A − v_B) > tolerance` (0 or more), for `discrepancy_time`. `None` when it is negative.
    #[must_use]
    pub fn try_new(tolerance: Speed, discrepancy_time: Span) -> Option<Self> {
        (tolerance >= Speed::ZERO).then_some(Self { tolerance, discrepancy_time })
    }

    /// What is tolerated.
    #[must_use]
    pub const fn tolerance(&self) -> Speed {
        self.tolerance
    }

    /// How long more may last.
    #[must_use]
    pub const fn discrepancy_time(&self) -> Span {
        self.discrepancy_time
    }

    pub(crate) fn compare(&self, a: Option<WindowSpeed>, b: Option<WindowSpeed>) -> Option<Bound<Speed>> {
        let (a, b) = (a?.signed(), b?.signed());
        // Bounded because a speed is within ±2⁶¹.
        let apart = a.to_bits().wrapping_sub(b.to_bits()).wrapping_abs();
        Some(Bound::at_most(Speed::from_bits(apart), self.tolerance))
    }
}

/// The positions of both channels from which the discrepancy is counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct References {
    a: Mark,
    b: Mark,
    /// What the alignment added to `x_A − x_B` then.
    aligned: i64,
}

impl References {
    /// None taken yet: the first stretch of a count is the first one above this.
    pub(crate) const NONE: Self = Self { a: Mark::NEVER, b: Mark::NEVER, aligned: 0 };

    /// Whether they were taken on the same stretches of both counts.
    pub(crate) fn are_valid(&self, a: Mark, b: Mark) -> bool {
        self.a.is_comparable(a) && self.b.is_comparable(b)
    }

    /// `(x_A − x_A,ref) − (x_B − x_B,ref)` in ULPs, not aligned, for counts with their scales; `None` is beyond the range.
    #[inline]
    fn difference(&self, (a, a_scale): (i64, &Scale), (b, b_scale): (i64, &Scale)) -> Option<i64> {
        let travel = |from: Mark, to: i64, scale: &Scale| {
            let travel = scale.travel(to.checked_sub(from.count())?)?;
            Some(travel.to_bits())
        };
        travel(self.a, a, a_scale)?.checked_sub(travel(self.b, b, b_scale)?)
    }

    /// Its magnitude; what is beyond the range is as far as can be.
    #[inline]
    pub(crate) fn distance(&self, a: (i64, &Scale), b: (i64, &Scale)) -> Position {
        Position::from_bits(self.difference(a, b).unwrap_or(i64::MAX).saturating_abs())
    }
}

/// What tells at a glance that two positions are within a tolerance: the difference in billionths of a ULP, without rounding.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Close {
    /// Billionths of a ULP per count of each channel.
    a: i64,
    b: i64,
    /// So many counts of channel A, to each side, are far from the end of the range; those of channel B then are as well.
    near: u64,
    /// The tolerance less what rounding can add.
    within: u128,
    /// The same three in a coarser unit, cut off: both distances per count are below 2³¹ in it.
    coarse_a: i64,
    coarse_b: i64,
    coarse_within: i64,
}

/// Each of the two travels is rounded by half a ULP and a little more; see [`Scale::travel`].
const ROUNDING: i64 = 2;

/// The size of a product.
fn product(a: i64, b: i64) -> u128 {
    // Bounded because (2⁶³)² < 2¹²⁸.
    u128::from(a.unsigned_abs()).wrapping_mul(u128::from(b.unsigned_abs()))
}

impl Close {
    /// `None` where a glance does not do: each reading moved to the instant of its frame, a tolerance of next to nothing or of half the
    /// range, or more than 549 axis units a count.
    pub(crate) fn try_new(rule: &PositionDiscrepancy, a: &Scale, b: &Scale) -> Option<Self> {
        let within = u64::try_from(rule.tolerance.to_bits().checked_sub(ROUNDING)?).ok()?;
        // Bounded because the product of two 64-bit numbers fits in 128 bits.
        let within = u128::from(within).wrapping_mul(u128::from(NANOS_PER_SECOND));
        // Beyond half the range a travel of channel B might not fit, and then be judged as another one than it is.
        if rule.align || rule.tolerance.to_bits() >> 62 != 0 {
            return None;
        }
        let near = a.near();
        let (a, b) = (a.signed_nano()?, b.signed_nano()?);
        let cut = 33_u32.saturating_sub(a.unsigned_abs().max(b.unsigned_abs()).leading_zeros());
        let coarse = |nano: i64| {
            let size = (nano.unsigned_abs() >> cut).cast_signed();
            // Bounded because a size is not negative.
            if nano < 0 { size.wrapping_neg() } else { size }
        };
        let coarse_within = i64::try_from(within >> cut).unwrap_or(i64::MAX);
        Some(Self { a, b, near, within, coarse_a: coarse(a), coarse_b: coarse(b), coarse_within })
    }

    /// Whether the counts of the two channels, from valid references, are certainly within the tolerance.
    #[inline(always)]
    pub(crate) fn holds(&self, references: &References, a: i64, b: i64) -> bool {
        let (Some(a), Some(b)) = (a.checked_sub(references.a.count()), b.checked_sub(references.b.count()))
        else {
            return false;
        };
        match (i32::try_from(a), i32::try_from(b)) {
            (Ok(a), Ok(b)) if self.near >> 31 != 0 => self.holds_coarsely(i64::from(a), i64::from(b)),
            // On a 32-bit core the exact way is not much shorter than looking closely.
            _ => cfg!(not(target_pointer_width = "32")) && self.holds_exactly(a, b),
        }
    }

    /// For counts of 32 bits. What was cut off is less than one of the coarser unit for every count.
    #[inline(always)]
    fn holds_coarsely(&self, a: i64, b: i64) -> bool {
        // Bounded because each product is at most 2³¹ times what is below 2³¹.
        let d = a.wrapping_mul(self.coarse_a).wrapping_sub(b.wrapping_mul(self.coarse_b)).wrapping_abs();
        let cut_off = a.wrapping_abs().wrapping_add(b.wrapping_abs());
        d.checked_add(cut_off).is_some_and(|most| most <= self.coarse_within)
    }

    #[inline(never)]
    fn holds_exactly(&self, a: i64, b: i64) -> bool {
        let (x, y) = (product(a, self.a), product(b, self.b));
        let same_sign = ((a < 0) != (self.a < 0)) == ((b < 0) != (self.b < 0));
        // Bounded because each product is below 2¹²⁶.
        let d = if same_sign { x.abs_diff(y) } else { x.wrapping_add(y) };
        a.unsigned_abs() <= self.near && d <= self.within
    }
}

/// How far the two channels are apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Apart {
    /// `d = (x_A − x_A,ref) − (x_B − x_B,ref)`, signed; each bracket rounded to the nearest ULP.
    pub d: Position,
    /// `abs(d)` and what is allowed at the present speed.
    pub bound: Bound<Position>,
}

impl PositionDiscrepancy {
    /// `None` without a speed to align the references by.
    pub(crate) fn compare(
        &self,
        references: &mut References,
        now: Instant,
        a: &View<'_>,
        b: &View<'_>,
    ) -> Option<Apart> {
        if !references.are_valid(a.mark, b.mark) {
            let mut aligned = 0;
            if self.align {
                let _ = (a.speed?, b.speed?);
                // Leads that are so far apart stay beyond any tolerance.
                aligned = a.lead(now).saturating_sub(b.lead(now));
            }
            *references = References { a: a.mark, b: b.mark, aligned };
        }
        self.apart(references, now, a, b)
    }

    /// `None` without valid references.
    pub(crate) fn apart(
        &self,
        references: &References,
        now: Instant,
        a: &View<'_>,
        b: &View<'_>,
    ) -> Option<Apart> {
        if !references.are_valid(a.mark, b.mark) {
            return None;
        }
        let (ours, theirs) = ((a.mark.count(), a.scale), (b.mark.count(), b.scale));
        let mut d = references.difference(ours, theirs);
        if self.align {
            let moved = a.lead(now).checked_sub(b.lead(now));
            let moved = moved.and_then(|moved| moved.checked_sub(references.aligned));
            d = d.zip(moved).and_then(|(d, moved)| d.checked_add(moved));
        }
        // Beyond the range of a position is beyond any tolerance.
        let d = d.unwrap_or(i64::MAX);
        let v_min = match (a.speed, b.speed) {
            (Some(a), Some(b)) => a.magnitude_down().min(b.magnitude_down()).to_bits().cast_unsigned(),
            _ => 0,
        };
        let allowance = self.skew_factor.floor(v_min, self.skew).unwrap_or(i64::MAX);
        // A sum beyond the range allows everything, and so does its largest value.
        let allowed = self.tolerance.to_bits().checked_add(allowance).unwrap_or(i64::MAX);
        let bound = Bound::at_most(Position::from_bits(d.saturating_abs()), Position::from_bits(allowed));
        Some(Apart { d: Position::from_bits(d), bound })
    }
}

/// What one channel shows the other.
#[derive(Clone, Copy)]
pub(crate) struct View<'a> {
    pub(crate) scale: &'a Scale,
    pub(crate) mark: Mark,
    pub(crate) captured_at: Instant,
    pub(crate) speed: Option<WindowSpeed>,
}

impl View<'_> {
    /// How far the channel has moved on since its reading was captured, by its own speed; nothing while that is unknown.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn lead(&self, now: Instant) -> i64 {
        let (Some(speed), Some(age)) = (self.speed, now.since(self.captured_at)) else { return 0 };
        let v = speed.signed().to_bits();
        // Bounded because a speed is below 2⁶¹ ULP/s and an age at most 4 s, so the product is below 2⁶³.
        let moved = over_span(v.unsigned_abs(), age).unwrap_or(i64::MAX);
        if v < 0 { moved.wrapping_neg() } else { moved }
    }
}

/// Where a channel was at a frame, and what it had travelled over the window of its speed: enough to tell later how far the
/// channels were apart there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Glimpse {
    /// Where it was.
    pub mark: Mark,
    /// When its reading was captured.
    pub captured_at: Instant,
    /// What it had travelled over the window; `None` while that is unknown.
    pub travel: Option<WindowTravel>,
}

impl Glimpse {
    pub(crate) fn view(self, scale: &Scale) -> View<'_> {
        let speed = self.travel.and_then(|travel| scale.speed(travel));
        View { scale, mark: self.mark, captured_at: self.captured_at, speed }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers() -> impl FnMut() -> u64 {
        let mut state = 0x9e37_79b9_7f4a_7c15_u64;
        move || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            state
        }
    }

    #[test]
    fn travels_beyond_the_range_are_apart_whichever_way_they_went() {
        let references = References { a: Mark::NEVER, b: Mark::NEVER, aligned: 0 };
        let coarse = Scale::from_ratio(1000, 1).unwrap();
        for (a, b) in [(1 << 40, -(1 << 40)), (1 << 40, 1 << 40), (1 << 40, 0)] {
            assert_eq!(references.difference((a, &coarse), (b, &coarse)), None);
            assert_eq!(references.distance((a, &coarse), (b, &coarse)), Position::MAX);
        }
        assert_eq!(references.difference((1 << 20, &coarse), (1 << 20, &coarse)), Some(0));
    }

    /// Counts of 32 bits on scales of any size and direction: their distance next to the tolerance, or anything under any tolerance.
    #[test]
    fn what_a_coarse_glance_lets_pass_is_within_the_tolerance_and_what_is_well_within_passes() {
        let mut number = numbers();
        let (mut passed, mut refused) = (0, 0);
        for _ in 0..300_000 {
            let scale =
                |bits: u64| Scale::from_nano((1 << 20) + (bits >> (1 + bits % 40)), bits & 2 == 0).unwrap();
            let (a_scale, b_scale) = (scale(number()), scale(number()));
            let (sa, sb) = (a_scale.signed_nano().unwrap(), b_scale.signed_nano().unwrap());
            let a = i64::from(number() as i32) >> (number() % 31);
            // About where channel A is.
            let b = i64::try_from(i128::from(a) * i128::from(sa) / i128::from(sb)).unwrap_or(i64::MAX);
            let is_anything = number().is_multiple_of(4);
            let b = if is_anything {
                i64::from(number() as i32)
            } else {
                b.saturating_add((number() % 9) as i64 - 4)
            };
            let d = (i128::from(a) * i128::from(sa) - i128::from(b) * i128::from(sb)).unsigned_abs();
            let ulps = i64::try_from(d / u128::from(NANOS_PER_SECOND)).unwrap_or(i64::MAX);
            let near = (ulps >> 1).saturating_add((number() % 4) as i64 + ulps / 2);
            let any = (number() >> (2 + number() % 40)) as i64;
            let tolerance = Position::from_bits(if is_anything { any } else { near });
            let rule = PositionDiscrepancy::try_new(tolerance, Span::ZERO, Span::ZERO, false).unwrap();
            let Some(close) = Close::try_new(&rule, &a_scale, &b_scale) else { continue };
            if i32::try_from(b).is_err() || close.near >> 31 == 0 {
                continue;
            }
            if close.holds_coarsely(a, b) {
                passed += 1;
                assert!(d <= close.within, "{a} {b} {sa} {sb} {d}");
            } else {
                refused += 1;
                let cut = 33_u32.saturating_sub(sa.unsigned_abs().max(sb.unsigned_abs()).leading_zeros());
                let slack = u128::from(a.unsigned_abs() + b.unsigned_abs() + 1) << (cut + 1);
                assert!(d + slack > close.within, "{a} {b} {sa} {sb} {d}");
            }
        }
        assert!(passed > 1_000 && refused > 1_000, "{passed} passed, {refused} refused");
    }

    #[test]
    fn a_glance_tells_nothing_of_a_tolerance_of_next_to_nothing_or_of_half_the_range() {
        let close = |ulps: i64, align| {
            let rule = PositionDiscrepancy::try_new(Position::from_bits(ulps), Span::ZERO, Span::ZERO, align);
            Close::try_new(&rule.unwrap(), &Scale::ULP, &Scale::ULP)
        };
        assert!(close(2, false).is_some());
        assert!(close((1 << 62) - 1, false).is_some());
        assert!(close(1, false).is_none());
        assert!(close(1 << 62, false).is_none());
        assert!(close(2, true).is_none());
    }
}
