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

/// A trip as it is kept beside its rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Latched {
    demanded_at: Instant,
    violated_since: Instant,
    tripped_at: Instant,
    evidence: Evidence,
}

impl Latched {
    pub(crate) const fn trip(&self, rule: Tripped) -> Trip {
        Trip {
            rule,
            demanded_at: self.demanded_at,
            violated_since: self.violated_since,
            tripped_at: self.tripped_at,
            evidence: self.evidence,
        }
    }
}

/// The on-delay of one rule on one channel, and its latch.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Latch {
    violated_since: Option<Instant>,
    latched: Option<Latched>,
}

impl Latch {
    pub(crate) const NEW: Self = Self { violated_since: None, latched: None };

    /// Takes the verdict of one frame. True when the rule trips at this frame.
    #[inline]
    pub(crate) fn update(
        &mut self,
        evidence: Option<Evidence>,
        now: Instant,
        demanded_at: Instant,
        on_delay: Span,
    ) -> bool {
        match evidence {
            Some(evidence) => self.violated(evidence, now, demanded_at, on_delay),
            None => {
                self.interrupt();
                false
            }
        }
    }

    /// Takes a violation. True when the rule trips at this frame.
    #[inline]
    pub(crate) fn violated(
        &mut self,
        evidence: Evidence,
        now: Instant,
        demanded_at: Instant,
        on_delay: Span,
    ) -> bool {
        let violated_since = *self.violated_since.get_or_insert(now);
        // Bounded because frames go forward.
        let lasted = now.as_nanos().wrapping_sub(violated_since.as_nanos());
        if self.latched.is_some() || lasted < on_delay.as_nanos() {
            return false;
        }
        self.latched = Some(Latched { demanded_at, violated_since, tripped_at: now, evidence });
        true
    }

    /// Not evaluated at this frame, or not active: the violation is not unbroken.
    #[inline]
    pub(crate) fn interrupt(&mut self) {
        self.violated_since = None;
    }

    #[inline]
    pub(crate) const fn is_violated(&self) -> bool {
        self.violated_since.is_some()
    }

    pub(crate) const fn latched(&self) -> Option<&Latched> {
        self.latched.as_ref()
    }

    pub(crate) fn reset(&mut self) {
        self.latched = None;
    }
}
