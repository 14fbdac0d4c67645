//! A latched trip with its evidence, as C reads it.

use monitor_core::{Bound, Channel, Evidence, Trip, Tripped};

use crate::frame::{CW_CHANNEL_A, CW_CHANNEL_B};

/// Positions, travels and speeds are counted in 2^-24 of the axis unit (mm or deg; of that unit per second): so many bits are
/// behind the binary point.
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

/// The evidence is a travel, in 2^-24 of the axis unit.
pub const CW_QUANTITY_POSITION: u32 = 0;
/// The evidence is a speed, in 2^-24 of the axis unit per second.
pub const CW_QUANTITY_SPEED: u32 = 1;

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
    /// What was seen at that frame: a magnitude, rounded up to 2^-24 of the unit of `quantity`.
    pub observed: i64,
    /// What was allowed, in the same unit.
    pub limit: i64,
    /// By how much it was exceeded: `observed` - `limit`, in the same unit.
    pub excess: i64,
    /// What was observed: a CW_QUANTITY_ value.
    pub quantity: u32,
    /// Which rule: a CW_RULE_ value.
    pub rule: u32,
    /// With CW_RULE_MONITOR the place of the monitor in the order of the setup, from 0; otherwise 0.
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
        };
        let (quantity, observed, limit) = match trip.evidence {
            Evidence::Position(Bound { observed, limit }) => {
                (CW_QUANTITY_POSITION, observed.to_bits(), limit.to_bits())
            }
            Evidence::Speed(Bound { observed, limit }) => {
                (CW_QUANTITY_SPEED, observed.to_bits(), limit.to_bits())
            }
        };
        Self {
            demanded_at: trip.demanded_at.as_nanos(),
            violated_since: trip.violated_since.as_nanos(),
            tripped_at: trip.tripped_at.as_nanos(),
            observed,
            limit,
            // Bounded because neither is negative.
            excess: observed.wrapping_sub(limit),
            quantity,
            rule,
            monitor,
            channel,
        }
    }
}
