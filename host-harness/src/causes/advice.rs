//! What a cause usually means in the machine, and what cures it. All of it is common practice.

use super::kind::CauseKind;

impl CauseKind {
    /// What it usually means in the machine, and what cures it: the cause is cured before any tolerance is widened. Common practice.
    #[must_use]
    pub const fn advice(self) -> &'static str {
        match self {
            Self::KnownAges => {
                "the two readings are of different instants, as the setup says: capture both at one instant, or move them to one instant with `align`, \
                 or allow for it with `skew_allowance`, which tolerates nothing at rest"
            }
            Self::Reference => {
                "the reference was taken from a disturbed reading or in motion: let the axis rest while the monitoring starts, and look at the first readings"
            }
            Self::Scale => {
                "the travel per count of one channel is wrong, or a wheel or belt has worn: measure a long travel with both and correct `unit_per_count`; \
                 a scale error grows with the travel, so no tolerance is enough for it"
            }
            Self::TimeSkew => {
                "the readings of this channel come later than set up: look for a filter, a bus cycle, a gateway or a lost synchronisation; shorten it, or \
                 give the measured `latency` if it is constant. Late readings also delay every trip"
            }
            Self::Compliance => {
                "belt, coupling, shaft or mount gives way under acceleration: look at belt tension, coupling screws and gearbox, or accelerate more gently; \
                 a growing value announces a failure"
            }
            Self::Backlash => {
                "play in gearbox, spindle, rack, coupling or the mount of an encoder: readjust or replace it; a growing play announces a failure"
            }
            Self::Eccentricity => {
                "a pulley, measuring wheel, disc or shaft turns out of centre: true it or mount it anew; it comes back with every turn"
            }
            Self::Drift => {
                "a slow change with time: warming of spindle, belt or scale, or an analogue encoder that drifts; let the machine warm up, cool it, or \
                 reference it more often; if it also creeps at constant temperature, look for slip"
            }
            Self::Slip => {
                "something slipped between the two encoders: belt, measuring wheel, clamped hub or coupling; tighten or clean it, mark it, and look again. \
                 Until then the position of one channel is wrong for good: reference the axis anew"
            }
            Self::Jump => {
                "the count of one channel changed without motion: disturbance on the line, a lost multiturn count, a read error or a loose disc; look at shield, \
                 earth, connector and encoder. Until then its position is wrong"
            }
            Self::Spike => {
                "single wrong readings: disturbance, a bad connector or a bus error that goes unnoticed; look at shield and earth, and use the error bits of \
                 the encoder as `valid_column`"
            }
            Self::LostCounts => {
                "the channel misses a part of its counts: soiled disc or scale, reading head out of place, input frequency too low, weak signal; clean, align, and \
                 check the highest frequency. Do not restart before it is cured: its speed reads too low"
            }
            Self::Frozen => {
                "the channel stands still while the axis moves: broken wire, supply lost, reading head off, coupling broken, or a frozen telegram; do not move the \
                 axis before it is repaired: its speed reads zero"
            }
            Self::Reversed => {
                "the channel counts against the motion: swapped or lost signal line, or a loose plug; check wiring and encoder. Its direction is wrong, do not use it"
            }
        }
    }
}
