//! The two channels against each other.
//!
//! [`PositionDiscrepancy`] compares how far each has travelled since a common start and finds a slipping belt, lost
//! counts or a source that stands still. [`SpeedDiscrepancy`] compares windowed speeds, for drives that slip by design.
//! Neither sees a cause that moves both sources alike.

use crate::monitor::Bound;
use crate::scale::{Scale, WindowSpeed};
use crate::source::{Mark, Source, SourceConfig};
use crate::units::{Instant, NANOS_PER_SECOND, Position, Span, Speed};
use crate::wide::{Billionth, mul_signed};

/// A source and how far each of its counts is.
pub(crate) type Scaled<'a, const POINTS: usize> = (&'a Source<POINTS>, &'a Scale);

/// How far the positions of the two channels may differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PositionDiscrepancy {
    tolerance: Position,
    skew: Billionth,
    discrepancy_time: Span,
    align: bool,
}

impl PositionDiscrepancy {
    /// Violated when `abs(d) > tolerance + skew_allowance × v_min`, for `discrepancy_time`.
    ///
    /// `tolerance` is 0 or more, `skew_allowance` below 4 s: what the two sources may be apart in time. With `align`, each
    /// position is first moved to the evaluation instant by its own speed. `None` outside these ranges.
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
        Some(Self { tolerance, skew: Billionth::down(skew_allowance.as_nanos()), discrepancy_time, align })
    }

    pub(crate) const fn discrepancy_time(&self) -> Span {
        self.discrepancy_time
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

    pub(crate) const fn discrepancy_time(&self) -> Span {
        self.discrepancy_time
    }

    #[inline]
    pub(crate) fn compare<const POINTS: usize>(
        &self,
        (a, a_scale): Scaled<'_, POINTS>,
        (b, b_scale): Scaled<'_, POINTS>,
    ) -> Option<Bound<Speed>> {
        let (a, b) = (a.speed(a_scale)?.signed(), b.speed(b_scale)?.signed());
        // Bounded because a speed is within ±2⁶¹.
        let apart = a.to_bits().wrapping_sub(b.to_bits()).wrapping_abs();
        Some(Bound { observed: Speed::from_bits(apart), limit: self.tolerance })
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

    /// Whether they were taken on the present stretch of both counts.
    pub(crate) fn are_valid<const POINTS: usize>(&self, a: &Source<POINTS>, b: &Source<POINTS>) -> bool {
        self.a.is_of(a.stretch()) && self.b.is_of(b.stretch())
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
}

/// Each of the two travels is rounded by half a ULP and a little more; see [`Scale::travel`].
const ROUNDING: i64 = 2;

impl Close {
    /// `None` where a glance does not do: each reading moved to the instant of its frame, a tolerance of next to nothing, or
    /// counts of half a kilometre.
    pub(crate) fn try_new(rule: &PositionDiscrepancy, a: &Scale, b: &Scale) -> Option<Self> {
        let within = u64::try_from(rule.tolerance.to_bits().checked_sub(ROUNDING)?).ok()?;
        // Bounded because the product of two 64-bit numbers fits in 128 bits.
        let within = u128::from(within).wrapping_mul(u128::from(NANOS_PER_SECOND));
        (!rule.align).then_some(Self { a: a.signed_nano()?, b: b.signed_nano()?, near: a.near(), within })
    }

    /// Whether the counts of two calm channels, from valid references, are certainly within the tolerance.
    #[inline(always)]
    pub(crate) fn holds(&self, references: &References, a: i64, b: i64) -> bool {
        let (Some(a), Some(b)) = (a.checked_sub(references.a.count()), b.checked_sub(references.b.count()))
        else {
            return false;
        };
        // Bounded because each product is within ±2¹²⁶.
        let d = mul_signed(a, self.a).wrapping_sub(mul_signed(b, self.b));
        a.unsigned_abs() <= self.near && d.unsigned_abs() <= self.within
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
    /// `None` while either channel has no position, or no speed to align the references by.
    pub(crate) fn compare<const POINTS: usize>(
        &self,
        references: &mut References,
        now: Instant,
        a: Scaled<'_, POINTS>,
        b: Scaled<'_, POINTS>,
    ) -> Option<Apart> {
        let (here_a, here_b) = (a.0.mark()?, b.0.mark()?);
        if !references.are_valid(a.0, b.0) {
            let mut aligned = 0;
            if self.align {
                let (v_a, v_b) = (a.0.speed(a.1)?, b.0.speed(b.1)?);
                aligned = lead(now, a.0, Some(v_a)).wrapping_sub(lead(now, b.0, Some(v_b)));
            }
            *references = References { a: here_a, b: here_b, aligned };
        }
        Some(self.apart(references, now, a, b))
    }

    /// The comparison of the last frame again: `None` when there was none.
    pub(crate) fn last<const POINTS: usize>(
        &self,
        references: &References,
        now: Instant,
        a: Scaled<'_, POINTS>,
        b: Scaled<'_, POINTS>,
    ) -> Option<Apart> {
        let were_compared = references.are_valid(a.0, b.0) && a.0.has_position() && b.0.has_position();
        were_compared.then(|| self.apart(references, now, a, b))
    }

    /// For channels with a position and valid references.
    pub(crate) fn apart<const POINTS: usize>(
        &self,
        references: &References,
        now: Instant,
        (a, a_scale): Scaled<'_, POINTS>,
        (b, b_scale): Scaled<'_, POINTS>,
    ) -> Apart {
        let travel = |scale: &Scale, from: Mark, to: i64| {
            // What does not fit counts as the farthest.
            to.checked_sub(from.count())
                .and_then(|counts| scale.travel(counts))
                .unwrap_or(Position::MAX)
                .to_bits()
        };
        let (v_a, v_b) = (a.speed(a_scale), b.speed(b_scale));
        let mut d =
            travel(a_scale, references.a, a.count()).checked_sub(travel(b_scale, references.b, b.count()));
        if self.align {
            let moved = lead(now, a, v_a).wrapping_sub(lead(now, b, v_b)).wrapping_sub(references.aligned);
            d = d.and_then(|d| d.checked_add(moved));
        }
        // Beyond the range of a position is beyond any tolerance.
        let d = d.unwrap_or(i64::MAX);
        let v_min = match (v_a, v_b) {
            (Some(a), Some(b)) => a.magnitude_down().min(b.magnitude_down()).to_bits().cast_unsigned(),
            _ => 0,
        };
        let allowance = self.skew.floor(v_min).unwrap_or(i64::MAX);
        let bound = Bound {
            observed: Position::from_bits(d.saturating_abs()),
            // A sum beyond the range allows everything, and so does its largest value.
            limit: Position::from_bits(self.tolerance.to_bits().checked_add(allowance).unwrap_or(i64::MAX)),
        };
        Apart { d: Position::from_bits(d), bound }
    }
}

/// How far the channel has moved on since its reading was captured, by its own speed; nothing while that is unknown.
fn lead<const POINTS: usize>(now: Instant, source: &Source<POINTS>, speed: Option<WindowSpeed>) -> i64 {
    let (Some(speed), Some(age)) = (speed, now.since(source.captured_at())) else { return 0 };
    let v = speed.signed().to_bits();
    // Bounded because a speed is below 2⁶¹ ULP/s and an age at most 4 s, so the product is below 2⁶³.
    let moved = Billionth::of_nanos(age).nearest(v.unsigned_abs()).unwrap_or(i64::MAX);
    if v < 0 { moved.wrapping_neg() } else { moved }
}
