//! On-delays, trips and their evidence.

use core::fmt;

use crate::axis::MonitorId;
use crate::frame::Channel;
use crate::monitor::{Bound, Check};
use crate::units::{Instant, Position, Span, Speed};

/// What was seen and what was allowed when a rule tripped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Evidence {
    /// A travel, in the axis unit.
    Position(Bound<Position>),
    /// A speed, in the axis unit per second.
    Speed(Bound<Speed>),
}

impl Evidence {
    /// The bound that was exceeded; the position where both were.
    #[inline]
    pub(crate) fn of(check: &Check) -> Option<Self> {
        match (check.position, check.speed) {
            (Some(bound), _) if bound.is_exceeded() => Some(Self::Position(bound)),
            (_, Some(bound)) if bound.is_exceeded() => Some(Self::Speed(bound)),
            _ => None,
        }
    }
}

impl fmt::Display for Evidence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Position(Bound { observed, limit }) => write!(f, "travel {observed:.6} above {limit:.6}"),
            Self::Speed(Bound { observed, limit }) => write!(f, "speed {observed:.6} above {limit:.6}"),
        }
    }
}

/// The rule that tripped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Tripped {
    /// A monitor, on one channel.
    Monitor(MonitorId, Channel),
    /// The positions of the two channels differ.
    PositionDiscrepancy,
    /// The speeds of the two channels differ.
    SpeedDiscrepancy,
}

/// The latched decision that a rule was broken, with everything needed to explain it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Trip {
    /// Which rule.
    pub rule: Tripped,
    /// When its demand became active; for a rule that is always active, the first frame.
    pub demanded_at: Instant,
    /// The first frame of the unbroken violation.
    pub violated_since: Instant,
    /// The frame at which it tripped.
    pub tripped_at: Instant,
    /// What was seen and what was allowed at that frame.
    pub evidence: Evidence,
}

/// The on-delay of one rule on one channel, and its latch: a trip as it is kept beside its rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Latch {
    /// The first frame of the violation that lasts; after a trip, of the one that led to it.
    violated_since: Instant,
    demanded_at: Instant,
    tripped_at: Instant,
    observed: i64,
    limit: i64,
    /// It is a speed that was observed.
    is_speed: bool,
    violated: bool,
    tripped: bool,
}

impl Latch {
    pub(crate) const NEW: Self = {
        let never = Instant::from_nanos(0);
        Self {
            violated_since: never,
            demanded_at: never,
            tripped_at: never,
            observed: 0,
            limit: 0,
            is_speed: false,
            violated: false,
            tripped: false,
        }
    };

    /// Violated at this frame. True when the rule trips at it.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline)]
    pub(crate) fn violated(
        &mut self,
        evidence: &Evidence,
        now: Instant,
        demanded_at: Instant,
        on_delay: Span,
    ) -> bool {
        let lasts = core::mem::replace(&mut self.violated, true);
        if self.tripped {
            return false;
        }
        if !lasts {
            self.violated_since = now;
        }
        // Bounded because frames go forward.
        let lasted = now.as_nanos().wrapping_sub(self.violated_since.as_nanos());
        if lasted < on_delay.as_nanos() {
            return false;
        }
        self.tripped = true;
        self.demanded_at = demanded_at;
        self.tripped_at = now;
        (self.is_speed, self.observed, self.limit) = match evidence {
            Evidence::Position(Bound { observed, limit }) => (false, observed.to_bits(), limit.to_bits()),
            Evidence::Speed(Bound { observed, limit }) => (true, observed.to_bits(), limit.to_bits()),
        };
        true
    }

    /// Not violated at this frame, not evaluated or not active: the violation is not unbroken.
    #[inline]
    pub(crate) fn interrupt(&mut self) {
        self.violated = false;
    }

    #[inline]
    pub(crate) const fn is_violated(&self) -> bool {
        self.violated
    }

    pub(crate) fn trip(&self, rule: Tripped) -> Option<Trip> {
        let (observed, limit) = (self.observed, self.limit);
        let evidence = if self.is_speed {
            Evidence::Speed(Bound { observed: Speed::from_bits(observed), limit: Speed::from_bits(limit) })
        } else {
            let (observed, limit) = (Position::from_bits(observed), Position::from_bits(limit));
            Evidence::Position(Bound { observed, limit })
        };
        self.tripped.then_some(Trip {
            rule,
            demanded_at: self.demanded_at,
            violated_since: self.violated_since,
            tripped_at: self.tripped_at,
            evidence,
        })
    }

    /// Only while it is not violated: the next violation then begins anew.
    pub(crate) fn reset(&mut self) {
        self.tripped = false;
    }
}
