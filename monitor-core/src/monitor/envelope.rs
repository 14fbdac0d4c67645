//! The ramp envelope: a falling speed limit that starts at a demand.
//!
//! ```text
//!   v0 + margin ──────────┐            L(t)
//!                          ╲
//!   abs(v) ───┐             ╲            abs(v) must stay at or below L(t)
//!              ╲─────╲       ╲
//!                     ╲───────╲───
//!   target  ─────────────────────────────
//!            t0     t0+delay      lands
//! ```
//!
//! `L(t) = v0 + margin` until `t0 + delay`, then `v0 + margin − deceleration × (t − t0 − delay)`, never below the
//! target. `v0` is the channel's own speed at `t0`, rounded down, and never above the limit in force before.
//!
//! With a jerk j the corners are rounded: the deceleration rises to d within `r = d / j`, and falls again before the target.
//!
//! ```text
//!   V = v0 + margin ───────╮             j τ² / 2 below V                   for r
//!                           ╲            d (τ − r / 2) below V              until r before the end
//!   G = target               ╰────────   j (F − τ)² / 2 above G             until F
//!                  t0+delay  │← F ──→│
//! ```
//!
//! `F = (V − G) / d + d / j`; where the whole fall is less than `d² / j`, the deceleration is not reached: `r = sqrt((V − G) / j)`, `F = 2 r`.

use crate::monitor::{Motion, StandstillState};
use crate::units::{Acceleration, Jerk, NANOS_PER_SECOND, Span, Speed};
use crate::wide::{Billionth, Share, over_span_down, over_span_up, square_root};

/// The shape of a ramp envelope.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Ramp {
    delay: u64,
    /// ULP/s per nanosecond, rounded up.
    fall: Billionth,
    margin: i64,
    corners: Option<Corners>,
}

/// The rounded corners of a ramp.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Corners {
    /// ULP/s³; below 2⁶¹.
    jerk: u64,
    /// How long the deceleration rises at most, in nanoseconds, rounded down.
    rise: u32,
    /// A fall of so much takes so many nanoseconds at the full deceleration.
    steady: Share,
    /// A fall of so much, without ever reaching it, takes twice the square root of so many square nanoseconds.
    pointed: Share,
}

/// Square nanoseconds in a square second.
const SQUARE_NANOS: u64 = 1_000_000_000_000_000_000;

impl Corners {
    /// Set-up time: divides.
    fn try_new(deceleration: u64, jerk: Jerk) -> Option<Self> {
        let jerk = u64::try_from(jerk.to_bits()).ok()?;
        if deceleration >> 61 != 0 || jerk >> 61 != 0 {
            return None;
        }
        let rise = Share::new(NANOS_PER_SECOND, jerk)?.floor(deceleration, NANOS_PER_SECOND, jerk)?;
        Some(Self {
            jerk,
            rise: u32::try_from(rise).ok()?,
            steady: Share::new(NANOS_PER_SECOND, deceleration)?,
            pointed: Share::new(SQUARE_NANOS, jerk)?,
        })
    }

    /// How long a fall takes, in nanoseconds.
    #[inline(never)]
    fn fall_takes(&self, deceleration: u64, fall: u64) -> u64 {
        // Bounded because each factor is below 2⁶¹, or 2⁶² the fall.
        let reaches = u128::from(fall).wrapping_mul(u128::from(self.jerk))
            >= u128::from(deceleration).wrapping_mul(u128::from(deceleration));
        if reaches {
            let steady = self.steady.floor(fall, NANOS_PER_SECOND, deceleration).unwrap_or(u64::MAX);
            return steady.saturating_add(u64::from(self.rise));
        }
        // Below the square of `rise`, so it fits, and so does the double of its root.
        let square = self.pointed.floor(fall, SQUARE_NANOS, self.jerk).unwrap_or(u64::MAX);
        square_root(square).wrapping_mul(2)
    }

    /// How far speeds are apart at the end of a corner that has lasted so long; beyond the range not reached, because it is part of a fall.
    fn rounded(&self, lasted: u64, over: fn(u64, Span) -> Option<i64>) -> i64 {
        let span = Span::from_nanos(lasted);
        let reached = over(self.jerk, span).map(i64::unsigned_abs);
        reached.and_then(|reached| over(reached, span)).unwrap_or(i64::MAX)
    }
}

impl Ramp {
    /// A ramp that falls with `deceleration` (above 0) from `delay` after the demand on, `margin` (0 or more) above
    /// the speed at the demand. `None` when a value is outside its range.
    ///
    /// Effect at the edges: `delay` 0 starts to fall at once; a `margin` of 0 leaves nothing for the ripple of the speed.
    #[must_use]
    pub fn try_new(delay: Span, deceleration: Acceleration, margin: Speed) -> Option<Self> {
        if deceleration <= Acceleration::ZERO || margin < Speed::ZERO || margin.to_bits() >> 61 != 0 {
            return None;
        }
        let fall = Billionth::up(deceleration.to_bits().unsigned_abs());
        Some(Self { delay: delay.as_nanos(), fall, margin: margin.to_bits(), corners: None })
    }

    /// The same with its corners rounded by `jerk` (above 0). `None` when that is outside its range, or the deceleration is only reached
    /// after 2³² ns (4.29 s) or more.
    #[must_use]
    pub fn with_jerk(self, jerk: Jerk) -> Option<Self> {
        let corners = Corners::try_new(self.fall.numerator(), jerk)?;
        Some(Self { corners: Some(corners), ..self })
    }

    /// From the demand to the beginning of the fall.
    #[must_use]
    pub const fn delay(&self) -> Span {
        Span::from_nanos(self.delay)
    }

    /// How fast the line falls.
    #[must_use]
    pub fn deceleration(&self) -> Acceleration {
        Acceleration::from_bits(self.fall.numerator().cast_signed())
    }

    /// How far above the speed at the demand the line starts.
    #[must_use]
    pub const fn margin(&self) -> Speed {
        Speed::from_bits(self.margin)
    }

    /// How fast its deceleration rises and falls; `None` at once.
    #[must_use]
    pub fn jerk(&self) -> Option<Jerk> {
        self.corners.as_ref().map(|corners| Jerk::from_bits(corners.jerk.cast_signed()))
    }

    /// What a line that now is at `line` does not fall below for 2 to the power of `log2` nanoseconds (at most 2²⁴).
    pub(crate) fn no_lower(&self, line: Speed, log2: u32) -> Speed {
        // A corner is met up to 2 ns early, and rounded by itself.
        let corner = self.corners.and_then(|_| self.fall.ceil(2)).map_or(0, |early| early.saturating_add(4));
        Speed::from_bits(line.to_bits().saturating_sub(self.fall.above_over(log2)).saturating_sub(corner))
    }

    /// How long the line falls from `height` to the target, in nanoseconds, where its corners are rounded.
    fn fall_takes(&self, height: i64, target: Speed) -> u64 {
        match (&self.corners, height.checked_sub(target.to_bits())) {
            (Some(corners), Some(fall)) if fall > 0 => {
                corners.fall_takes(self.fall.numerator(), fall.unsigned_abs())
            }
            _ => 0,
        }
    }

    /// The line so long after the demand. From `takes` on, where its corners are rounded, it is the target.
    #[inline]
    fn line(&self, height: i64, takes: u64, target: Speed, since_demand: Span) -> i64 {
        let falling_for = since_demand.as_nanos().saturating_sub(self.delay);
        let Some(corners) = &self.corners else {
            // Beyond 63 bits the line is far below any target. Bounded because both are at least zero.
            return height.wrapping_sub(self.fall.ceil(falling_for).unwrap_or(i64::MAX));
        };
        corners.line(self.fall, height, takes, target, falling_for)
    }
}

impl Corners {
    #[inline(never)]
    fn line(&self, fall: Billionth, height: i64, takes: u64, target: Speed, falling_for: u64) -> i64 {
        let Some(left) = takes.checked_sub(falling_for) else { return target.to_bits() };
        // Half of a fall without a steady part.
        let rise = u64::from(self.rise).min(takes >> 1);
        if falling_for > rise && left < rise {
            let above = self.rounded(left, over_span_down) >> 1;
            return target.to_bits().saturating_add(above);
        }
        let twice_fallen = if falling_for <= rise {
            self.rounded(falling_for, over_span_up)
        } else {
            // Bounded because the steady part has begun; beyond 63 bits the line is far below any target.
            let twice = falling_for.saturating_add(falling_for.wrapping_sub(rise));
            fall.ceil(twice).unwrap_or(i64::MAX)
        };
        // Rounded up; both are at least zero.
        height.saturating_sub((twice_fallen >> 1).saturating_add(twice_fallen & 1))
    }
}

/// How far a rule that may follow an envelope has come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RampState {
    pub(crate) course: Course,
}

/// The same, of a speed limit and of a stop in one type: it takes no more room than either.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) enum Course {
    /// On its way.
    Along(Envelope),
    /// Carried through; this is where the axis is to stay.
    Complete(StandstillState),
}

impl Default for Course {
    fn default() -> Self {
        Self::Along(Envelope::default())
    }
}

impl RampState {
    pub(crate) const fn is_complete(&self) -> bool {
        matches!(self.course, Course::Complete(_))
    }

    /// The envelope, while it is followed.
    pub(crate) const fn envelope(&self) -> Option<&Envelope> {
        match &self.course {
            Course::Along(envelope) => Some(envelope),
            Course::Complete(_) => None,
        }
    }
}

/// Where an envelope is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) enum Envelope {
    /// Just demanded.
    #[default]
    Fresh,
    /// The speed is not known yet; this is the limit that was in force before the demand.
    Waiting {
        /// What the line starts at most from.
        cap: Speed,
    },
    /// The line starts at this height (v0 + margin), and with rounded corners falls for so many nanoseconds.
    Falling {
        /// In ULP per second.
        height: i64,
        /// From the begin of the fall on.
        takes: u64,
    },
    /// The line is at or below the target, and stays there.
    Landed,
}

impl Envelope {
    /// Moves on to this frame. The limit now in force (the line, or the target once it has landed), or `None` while the
    /// speed is unknown.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline)]
    pub(crate) fn limit(&mut self, ramp: &Ramp, target: Speed, motion: &Motion<'_>) -> Option<Speed> {
        if let Self::Fresh = self {
            *self = Self::Waiting { cap: motion.limit_before() };
        }
        if let Self::Waiting { cap } = *self {
            let speed = motion.speed()?;
            // Bounded because a speed is below 2⁶¹ and so is the margin.
            let start = speed.magnitude_down().min(cap).to_bits().wrapping_add(ramp.margin);
            *self = Self::Falling { height: start, takes: ramp.fall_takes(start, target) };
        }
        if let Self::Falling { height, takes } = *self {
            let line = ramp.line(height, takes, target, motion.since_demand());
            if line > target.to_bits() {
                return Some(Speed::from_bits(line));
            }
            *self = Self::Landed;
        }
        Some(target)
    }

    /// The limit in force so long after the demand, once the speed at the demand is known.
    pub(crate) fn limit_at(&self, ramp: &Ramp, target: Speed, since_demand: Span) -> Option<Speed> {
        match *self {
            Self::Falling { height, takes } => {
                Some(Speed::from_bits(ramp.line(height, takes, target, since_demand)).max(target))
            }
            Self::Landed => Some(target),
            Self::Fresh | Self::Waiting { .. } => None,
        }
    }

    #[inline]
    pub(crate) fn has_landed(&self) -> bool {
        *self == Self::Landed
    }
}
