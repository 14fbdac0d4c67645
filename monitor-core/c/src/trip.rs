//! A latched trip with its evidence, as C reads it.

use monitor_core::{Channel, Evidence, Side, Trip, Tripped};

use crate::frame::{CW_CHANNEL_A, CW_CHANNEL_B};

/// Positions, travels, speeds and accelerations are counted in 2^-24 of the axis unit (mm or deg; of that unit per second, per second
/// squared): so many bits are behind the binary point.
pub const CW_FRACTION_BITS: u32 = 24;
const _: () = assert!(CW_FRACTION_BITS == monitor_core::FRACTION_BITS);

/// What a position, distance or speed is set to when it is not known: never 0, which would look like standing still.
pub const CW_UNKNOWN: i64 = i64::MIN;

/// A monitor, on one channel.
pub const CW_RULE_MONITOR: u32 = 0;
/// The positions of the two channels differ. Belongs to both channels.
pub const CW_RULE_POSITION_DISCREPANCY: u32 = 1;
/// The speeds of the two channels differ. Belongs to both channels.
pub const CW_RULE_SPEED_DISCREPANCY: u32 = 2;
/// The two lines of an analogue value differ.
pub const CW_RULE_ANALOGUE_DISCREPANCY: u32 = 3;

/// The evidence is a travel, in 2^-24 of the axis unit.
pub const CW_QUANTITY_POSITION: u32 = 0;
/// The evidence is a speed, in 2^-24 of the axis unit per second.
pub const CW_QUANTITY_SPEED: u32 = 1;
/// The evidence is an acceleration, in 2^-24 of the axis unit per second squared.
pub const CW_QUANTITY_ACCELERATION: u32 = 2;
/// The evidence is what was travelled beyond a limit on the speed, in 2^-24 of the axis unit.
pub const CW_QUANTITY_OVERRUN: u32 = 3;
/// The evidence is an analogue value, in 2^-24 of its own unit.
pub const CW_QUANTITY_VALUE: u32 = 4;

/// What was observed may not be above the limit.
pub const CW_SIDE_ABOVE: u32 = 0;
/// What was observed may not be below the limit.
pub const CW_SIDE_BELOW: u32 = 1;

/// The latched decision that a rule was broken, with everything needed to explain it.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct cw_trip {
    /// When the demand of the rule became active, in nanoseconds; for a rule that is always active, the first frame.
    pub demanded_at: u64,
    /// The first frame of the unbroken violation, in nanoseconds.
    pub violated_since: u64,
    /// The frame at which it tripped, in nanoseconds.
    pub tripped_at: u64,
    /// What was seen at that frame, rounded towards the violation to 2^-24 of the unit of `quantity`: a magnitude, unless the limits of
    /// the two directions differ.
    pub observed: i64,
    /// What was allowed, in the same unit.
    pub limit: i64,
    /// By how much it was exceeded, in the same unit, never negative: the difference of the two; one beyond what is
    /// held here is the largest there is.
    pub excess: i64,
    /// What was observed: a CW_QUANTITY_ value.
    pub quantity: u32,
    /// On which side of the limit a violation lies: a CW_SIDE_ value.
    pub side: u32,
    /// Which rule: a CW_RULE_ value.
    pub rule: u32,
    /// With CW_RULE_MONITOR the place of the monitor in the order of the setup, from 0, with CW_RULE_ANALOGUE_DISCREPANCY that of the analogue
    /// value; otherwise 0.
    pub monitor: u32,
    /// With CW_RULE_MONITOR the channel; otherwise CW_CHANNEL_A.
    pub channel: u32,
}

impl cw_trip {
    pub(crate) const NONE: Self = Self {
        demanded_at: 0,
        violated_since: 0,
        tripped_at: 0,
        observed: CW_UNKNOWN,
        limit: CW_UNKNOWN,
        excess: CW_UNKNOWN,
        quantity: CW_QUANTITY_POSITION,
        side: CW_SIDE_ABOVE,
        rule: CW_RULE_MONITOR,
        monitor: 0,
        channel: CW_CHANNEL_A,
    };
}

impl From<Trip> for cw_trip {
    fn from(trip: Trip) -> Self {
        let (rule, monitor, channel) = match trip.rule {
            Tripped::Monitor(id, Channel::A) => (CW_RULE_MONITOR, u32::from(id.index()), CW_CHANNEL_A),
            Tripped::Monitor(id, Channel::B) => (CW_RULE_MONITOR, u32::from(id.index()), CW_CHANNEL_B),
            Tripped::PositionDiscrepancy => (CW_RULE_POSITION_DISCREPANCY, 0, CW_CHANNEL_A),
            Tripped::SpeedDiscrepancy => (CW_RULE_SPEED_DISCREPANCY, 0, CW_CHANNEL_A),
            Tripped::AnalogueDiscrepancy(id) => {
                (CW_RULE_ANALOGUE_DISCREPANCY, u32::from(id.index()), CW_CHANNEL_A)
            }
        };
        let (quantity, side, observed, limit) = match trip.evidence {
            Evidence::Position(bound) => {
                (CW_QUANTITY_POSITION, bound.side, bound.observed.to_bits(), bound.limit.to_bits())
            }
            Evidence::Speed(bound) => {
                (CW_QUANTITY_SPEED, bound.side, bound.observed.to_bits(), bound.limit.to_bits())
            }
            Evidence::Acceleration(bound) => {
                (CW_QUANTITY_ACCELERATION, bound.side, bound.observed.to_bits(), bound.limit.to_bits())
            }
            Evidence::Overrun(bound) => {
                (CW_QUANTITY_OVERRUN, bound.side, bound.observed.to_bits(), bound.limit.to_bits())
            }
            Evidence::Value(bound) => {
                (CW_QUANTITY_VALUE, bound.side, bound.observed.to_bits(), bound.limit.to_bits())
            }
        };
        let (side, excess) = match side {
            Side::Above => (CW_SIDE_ABOVE, observed.saturating_sub(limit)),
            Side::Below => (CW_SIDE_BELOW, limit.saturating_sub(observed)),
        };
        Self {
            demanded_at: trip.demanded_at.as_nanos(),
            violated_since: trip.violated_since.as_nanos(),
            tripped_at: trip.tripped_at.as_nanos(),
            observed,
            limit,
            excess,
            quantity,
            side,
            rule,
            monitor,
            channel,
        }
    }
}
