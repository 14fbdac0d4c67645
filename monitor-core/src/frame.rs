//! What the axis is shown at one evaluation instant.

use crate::units::Instant;

/// One channel: everything that is computed from one source alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Channel {
    /// The first source and everything computed from it.
    A,
    /// The second source and everything computed from it.
    B,
}

impl Channel {
    /// Both channels, A first.
    pub const BOTH: [Self; 2] = [Self::A, Self::B];

    /// The other channel.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::A => Self::B,
            Self::B => Self::A,
        }
    }
}

/// What a source delivered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Sample {
    /// The counter as read. Only its lowest `counter_bits` bits count; a source that delivers positions
    /// instead of counts is a 64-bit counter of units in the last place.
    Count(u64),
    /// The source marked its own reading as invalid.
    Invalid,
}

/// One reading of one source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Reading {
    /// When the position was captured: the instant the motion had it, not the instant the value arrived.
    pub captured_at: Instant,
    /// What was captured.
    pub sample: Sample,
}

/// Levels of up to 32 input lines, one bit a line: 1 is high.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Levels(u32);

impl Levels {
    /// How many lines one frame carries.
    pub const LINES: u8 = 32;

    /// Levels from a bit pattern, line 0 in the lowest bit.
    #[must_use]
    pub const fn from_bits(bits: u32) -> Self {
        Self(bits)
    }

    /// The bit pattern, line 0 in the lowest bit.
    #[must_use]
    pub const fn to_bits(self) -> u32 {
        self.0
    }
}

/// One evaluation instant: the time, the newest reading of each source, the level of every input.
///
/// `None` says that a source has delivered nothing new since the frame before; its last reading stays and
/// ages. Handing the same reading in again means the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Frame {
    /// The evaluation instant. It must be later than that of the frame before.
    pub now: Instant,
    /// The newest reading of source A, if there is a new one.
    pub a: Option<Reading>,
    /// The newest reading of source B, if there is a new one.
    pub b: Option<Reading>,
    /// The level of every input line.
    pub levels: Levels,
}
