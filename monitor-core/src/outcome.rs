//! What one frame came to.

use crate::frame::Channel;
use crate::names::{AnalogueId, InputId, MonitorId};
use crate::source::SourceFault;

/// A value for each channel.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct PerChannel<T> {
    /// Of channel A.
    pub a: T,
    /// Of channel B.
    pub b: T,
}

impl<T> PerChannel<T> {
    /// The value of one channel.
    #[inline]
    #[must_use]
    pub const fn of(&self, channel: Channel) -> &T {
        match channel {
            Channel::A => &self.a,
            Channel::B => &self.b,
        }
    }
}

macro_rules! set {
    ($(#[$doc:meta])* $name:ident of $id:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
        pub struct $name(u32);

        impl $name {
            /// None of them.
            pub const NONE: Self = Self(0);

            /// From one bit each, in the order of the setup.
            #[must_use]
            pub const fn from_bits(bits: u32) -> Self {
                Self(bits)
            }

            /// One bit each, in the order of the setup.
            #[must_use]
            pub const fn to_bits(self) -> u32 {
                self.0
            }

            /// Whether there is none.
            #[must_use]
            pub const fn is_empty(self) -> bool {
                self.0 == 0
            }

            /// Whether this one is among them.
            #[must_use]
            pub const fn contains(self, id: $id) -> bool {
                self.0 & id.bit() != 0
            }

            /// All of them, in the order of the setup.
            pub fn iter(self) -> impl Iterator<Item = $id> {
                (0..32_u8).map($id::at).filter(move |id| self.contains(*id))
            }

            /// The same and one more.
            #[inline]
            #[must_use]
            pub const fn with(self, id: $id) -> Self {
                Self(self.0 | id.bit())
            }

            /// Those of this set that are not in the other.
            #[inline]
            #[must_use]
            pub const fn without(self, other: Self) -> Self {
                Self(self.0 & !other.0)
            }

            /// Those in either set.
            #[inline]
            #[must_use]
            pub const fn union(self, other: Self) -> Self {
                Self(self.0 | other.0)
            }

            /// Whether the two have a member in common.
            #[inline]
            #[must_use]
            pub const fn overlaps(self, other: Self) -> bool {
                self.0 & other.0 != 0
            }
        }
    };
}

set! {
    /// Some of an axis's monitors.
    MonitorSet of MonitorId
}
set! {
    /// Some of an axis's inputs.
    InputSet of InputId
}
set! {
    /// Some of an axis's analogue values.
    AnalogueSet of AnalogueId
}

impl MonitorSet {
    /// Takes out the first in the order of the setup.
    #[inline]
    pub(crate) fn pop(&mut self) -> Option<MonitorId> {
        // Cannot fail: there are 32 bits.
        let first = u8::try_from(self.0.trailing_zeros()).unwrap_or(u8::MAX);
        if self.0 == 0 {
            return None;
        }
        self.0 &= self.0.wrapping_sub(1);
        Some(MonitorId::at(first))
    }
}

/// What came of a released reset.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Reset {
    /// All latches are cleared.
    Accepted,
    /// A channel is faulted, or has had no reading yet. Nothing was changed.
    ChannelFaulted,
    /// A line of an analogue value is faulted, or has had no reading yet. Nothing was changed.
    AnalogueFaulted,
    /// A rule needs a referenced position that a channel does not have. Nothing was changed.
    Unreferenced,
    /// An active monitor is warming up: what it cannot see yet may be violated. Nothing was changed.
    WarmingUp,
    /// A monitor or a discrepancy is violated. Nothing was changed.
    Violated,
    /// A stop that a trip demands is not complete on both channels. Nothing was changed.
    Stopping,
    /// An input fault is present. Nothing was changed.
    InputFaulted,
}

/// What one frame came to. The evidence of trips is asked of the axis.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[must_use]
pub struct Outcome {
    /// Torque is permitted.
    pub permit: bool,
    /// Time did not advance: nothing was evaluated, and all else here is empty.
    pub clock_fault: bool,
    /// Something needed is not known yet.
    pub warming_up: bool,
    /// Channels that cannot be seen at this frame, and why.
    pub faults: PerChannel<Option<SourceFault>>,
    /// Inputs that demand at this frame.
    pub demanding: InputSet,
    /// Inputs that became faulted at this frame.
    pub input_faults: InputSet,
    /// Active monitors.
    pub active: MonitorSet,
    /// Outputs that are true.
    pub outputs: MonitorSet,
    /// Active monitors that need a referenced position, on the channels that have none: a fault.
    pub unreferenced: PerChannel<MonitorSet>,
    /// Monitors violated at this frame.
    pub violated: PerChannel<MonitorSet>,
    /// Monitors that tripped at this frame.
    pub tripped: PerChannel<MonitorSet>,
    /// The position discrepancy tripped at this frame.
    pub position_discrepancy_tripped: bool,
    /// The speed discrepancy tripped at this frame.
    pub speed_discrepancy_tripped: bool,
    /// Analogue values whose line of a channel cannot be seen at this frame.
    pub analogue_faults: PerChannel<AnalogueSet>,
    /// Analogue values whose discrepancy tripped at this frame.
    pub analogue_tripped: AnalogueSet,
    /// A reset was released at this frame.
    pub reset: Option<Reset>,
}

impl Outcome {
    /// Whether anything tripped at this frame.
    #[must_use]
    pub const fn has_trip(&self) -> bool {
        !self.tripped.a.is_empty()
            || !self.tripped.b.is_empty()
            || self.position_discrepancy_tripped
            || self.speed_discrepancy_tripped
            || !self.analogue_tripped.is_empty()
    }
}
