//! On-delays, trips and their evidence.

use core::fmt;

use crate::frame::Channel;
use crate::monitor::{Bound, Check, Side};
use crate::names::{AnalogueId, MonitorId};
use crate::units::{Acceleration, Instant, Position, Span, Speed, Value};
use crate::wide::over_span_up;

/// What was seen and what was allowed when a rule tripped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Evidence {
    /// A travel, in the axis unit.
    Position(Bound<Position>),
    /// A speed, in the axis unit per second.
    Speed(Bound<Speed>),
    /// An acceleration, in the axis unit per second squared.
    Acceleration(Bound<Acceleration>),
    /// What was travelled beyond a limit on the speed while it was violated, against the allowed overrun, in the axis unit.
    Overrun(Bound<Position>),
    /// An analogue value, in its own unit.
    Value(Bound<Value>),
}

impl Evidence {
    /// The bound that was exceeded; the position where others were too.
    #[inline]
    pub(crate) fn of(check: &Check) -> Option<Self> {
        match check {
            Check { position: Some(bound), .. } if bound.is_exceeded() => Some(Self::Position(*bound)),
            Check { speed: Some(bound), .. } if bound.is_exceeded() => Some(Self::Speed(*bound)),
            Check { acceleration: Some(bound), .. } if bound.is_exceeded() => {
                Some(Self::Acceleration(*bound))
            }
            Check { value: Some(bound), .. } if bound.is_exceeded() => Some(Self::Value(*bound)),
            _ => None,
        }
    }
}

impl fmt::Display for Evidence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (name, side) = match self {
            Self::Position(bound) => ("travel", bound.side),
            Self::Speed(bound) => ("speed", bound.side),
            Self::Acceleration(bound) => ("acceleration", bound.side),
            Self::Overrun(bound) => ("overrun", bound.side),
            Self::Value(bound) => ("value", bound.side),
        };
        let side = match side {
            Side::Above => "above",
            Side::Below => "below",
        };
        match self {
            Self::Position(Bound { observed, limit, .. }) | Self::Overrun(Bound { observed, limit, .. }) => {
                write!(f, "{name} {observed:.6} {side} {limit:.6}")
            }
            Self::Speed(Bound { observed, limit, .. }) => {
                write!(f, "{name} {observed:.6} {side} {limit:.6}")
            }
            Self::Acceleration(Bound { observed, limit, .. }) => {
                write!(f, "{name} {observed:.6} {side} {limit:.6}")
            }
            Self::Value(Bound { observed, limit, .. }) => {
                write!(f, "{name} {observed:.6} {side} {limit:.6}")
            }
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
    /// The two lines of an analogue value differ.
    AnalogueDiscrepancy(AnalogueId),
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

/// What is remembered of a [`Latch`] beside its numbers, in one byte: kept apart from them, it takes no room for alignment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Flags(u8);

impl Flags {
    pub(crate) const NONE: Self = Self(0);
    const VIOLATED: u8 = 1;
    const TRIPPED: u8 = 2;
    /// The observed value is below its limit.
    const BELOW: u8 = 4;
    /// What kind of value the evidence of the trip has.
    const KIND: u8 = 0x38;
    const SPEED: u8 = 0x08;
    const ACCELERATION: u8 = 0x10;
    const OVERRUN: u8 = 0x18;
    const VALUE: u8 = 0x20;

    const fn has(self, flag: u8) -> bool {
        self.0 & flag != 0
    }

    /// Not violated at this frame, not evaluated or not active: the violation is not unbroken.
    #[inline]
    pub(crate) fn interrupt(&mut self) {
        self.0 &= !Self::VIOLATED;
    }

    #[inline]
    pub(crate) const fn is_violated(self) -> bool {
        self.has(Self::VIOLATED)
    }

    /// Only while it is not violated: the next violation then begins anew.
    pub(crate) fn reset(&mut self) {
        self.0 = 0;
    }

    fn trip(&mut self, evidence: &Evidence) {
        let (kind, side) = match evidence {
            Evidence::Position(bound) => (0, bound.side),
            Evidence::Speed(bound) => (Self::SPEED, bound.side),
            Evidence::Acceleration(bound) => (Self::ACCELERATION, bound.side),
            Evidence::Overrun(bound) => (Self::OVERRUN, bound.side),
            Evidence::Value(bound) => (Self::VALUE, bound.side),
        };
        let below = if side == Side::Below { Self::BELOW } else { 0 };
        self.0 = Self::VIOLATED | Self::TRIPPED | kind | below;
    }
}

/// The instants that a violation is timed by.
#[derive(Clone, Copy)]
pub(crate) struct Moment {
    pub(crate) now: Instant,
    /// The frame evaluated before.
    pub(crate) before: Instant,
    pub(crate) demanded_at: Instant,
}

impl Moment {
    fn since_before(&self) -> Span {
        // Bounded because frames go forward.
        Span::from_nanos(self.now.as_nanos().wrapping_sub(self.before.as_nanos()))
    }
}

/// How long a violation may last before it trips, and how far the excess of a speed may carry meanwhile.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Tolerated {
    pub(crate) on_delay: Span,
    /// Below the largest position.
    pub(crate) overrun: Option<Position>,
}

/// The on-delay of one rule on one channel, and its latch: a trip as it is kept beside its rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Latch {
    /// The first frame of the violation that lasts; after a trip, of the one that led to it.
    violated_since: Instant,
    demanded_at: Instant,
    tripped_at: Instant,
    /// Before a trip, the overrun of the violation that lasts.
    observed: i64,
    limit: i64,
}

/// A latch of its own, with its flags.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct OwnLatch {
    pub(crate) latch: Latch,
    pub(crate) flags: Flags,
}

impl OwnLatch {
    pub(crate) const NEW: Self = Self { latch: Latch::NEW, flags: Flags::NONE };

    pub(crate) fn violated(&mut self, evidence: &Evidence, moment: &Moment, on_delay: Span) -> bool {
        let tolerated = Tolerated { on_delay, overrun: None };
        self.latch.violated(&mut self.flags, evidence, moment, &tolerated)
    }
}

impl Latch {
    pub(crate) const NEW: Self = {
        let never = Instant::from_nanos(0);
        Self { violated_since: never, demanded_at: never, tripped_at: never, observed: 0, limit: 0 }
    };

    /// Violated at this frame. True when the rule trips at it.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline)]
    pub(crate) fn violated(
        &mut self,
        flags: &mut Flags,
        evidence: &Evidence,
        moment: &Moment,
        tolerated: &Tolerated,
    ) -> bool {
        let lasts = flags.is_violated();
        flags.0 |= Flags::VIOLATED;
        if flags.has(Flags::TRIPPED) {
            return false;
        }
        let now = moment.now;
        if !lasts {
            self.violated_since = now;
            self.observed = 0;
        }
        // Bounded because frames go forward.
        let lasted = now.as_nanos().wrapping_sub(self.violated_since.as_nanos());
        let over_delay = lasted >= tolerated.on_delay.as_nanos();
        let mut evidence = *evidence;
        if let (Some(allowed), Evidence::Speed(bound)) = (tolerated.overrun, evidence) {
            self.observed = beyond(self.observed, &bound, moment.since_before());
            let overrun = Position::from_bits(self.observed);
            if !over_delay && overrun > allowed {
                evidence = Evidence::Overrun(Bound::at_most(overrun, allowed));
            }
        }
        if !over_delay && !matches!(evidence, Evidence::Overrun(_)) {
            return false;
        }
        flags.trip(&evidence);
        self.demanded_at = moment.demanded_at;
        self.tripped_at = now;
        (self.observed, self.limit) = match evidence {
            Evidence::Position(bound) | Evidence::Overrun(bound) => {
                (bound.observed.to_bits(), bound.limit.to_bits())
            }
            Evidence::Speed(bound) => (bound.observed.to_bits(), bound.limit.to_bits()),
            Evidence::Acceleration(bound) => (bound.observed.to_bits(), bound.limit.to_bits()),
            Evidence::Value(bound) => (bound.observed.to_bits(), bound.limit.to_bits()),
        };
        true
    }

    pub(crate) fn trip(&self, flags: Flags, rule: Tripped) -> Option<Trip> {
        let (observed, limit) = (self.observed, self.limit);
        let side = if flags.has(Flags::BELOW) { Side::Below } else { Side::Above };
        let position =
            Bound { observed: Position::from_bits(observed), limit: Position::from_bits(limit), side };
        let evidence = match flags.0 & Flags::KIND {
            Flags::SPEED => Evidence::Speed(Bound {
                observed: Speed::from_bits(observed),
                limit: Speed::from_bits(limit),
                side,
            }),
            Flags::ACCELERATION => Evidence::Acceleration(Bound {
                observed: Acceleration::from_bits(observed),
                limit: Acceleration::from_bits(limit),
                side,
            }),
            Flags::OVERRUN => Evidence::Overrun(position),
            Flags::VALUE => Evidence::Value(Bound {
                observed: Value::from_bits(observed),
                limit: Value::from_bits(limit),
                side,
            }),
            _ => Evidence::Position(position),
        };
        flags.has(Flags::TRIPPED).then_some(Trip {
            rule,
            demanded_at: self.demanded_at,
            violated_since: self.violated_since,
            tripped_at: self.tripped_at,
            evidence,
        })
    }
}

/// A sum of travel and what comes to it in `span` at the excess of a speed, rounded up; the largest there is stands for one beyond
/// the range.
fn beyond(sum: i64, bound: &Bound<Speed>, span: Span) -> i64 {
    let excess = match bound.side {
        Side::Above => bound.observed.to_bits().checked_sub(bound.limit.to_bits()),
        Side::Below => bound.limit.to_bits().checked_sub(bound.observed.to_bits()),
    };
    let travel = excess.and_then(|excess| over_span_up(excess.unsigned_abs(), span));
    travel.and_then(|travel| sum.checked_add(travel)).unwrap_or(i64::MAX)
}
