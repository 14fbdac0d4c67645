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

use crate::monitor::Motion;
use crate::units::{Acceleration, Span, Speed};
use crate::wide::Billionth;

/// The shape of a ramp envelope.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Ramp {
    delay: u64,
    /// ULP/s per nanosecond, rounded up.
    fall: Billionth,
    margin: i64,
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
        Some(Self { delay: delay.as_nanos(), fall, margin: margin.to_bits() })
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

    /// What a line that now is at `line` does not fall below for 2 to the power of `log2` nanoseconds (at most 2²⁴).
    pub(crate) fn no_lower(&self, line: Speed, log2: u32) -> Speed {
        Speed::from_bits(line.to_bits().saturating_sub(self.fall.above_over(log2)))
    }

    /// The line so long after the demand; it never rises.
    #[inline]
    fn line(&self, height: i64, since_demand: Span) -> i64 {
        let falling_for = since_demand.as_nanos().saturating_sub(self.delay);
        // Beyond 63 bits the line is far below any target.
        let fallen = self.fall.ceil(falling_for).unwrap_or(i64::MAX);
        // Bounded because both are at least zero.
        height.wrapping_sub(fallen)
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
    Waiting { cap: Speed },
    /// The line starts at this height (v0 + margin).
    Falling { height: i64 },
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
            *self = Self::Falling { height: start };
        }
        if let Self::Falling { height } = *self {
            let line = ramp.line(height, motion.since_demand());
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
            Self::Falling { height } => Some(Speed::from_bits(ramp.line(height, since_demand)).max(target)),
            Self::Landed => Some(target),
            Self::Fresh | Self::Waiting { .. } => None,
        }
    }

    #[inline]
    pub(crate) fn has_landed(&self) -> bool {
        *self == Self::Landed
    }
}
