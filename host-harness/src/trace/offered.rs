//! Readings of analogue values, which a frame has no room for.

use monitor_core::{AnalogueReading, Channel};

/// A reading of one line of an analogue value, to be handed in before a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Offered {
    /// The frame, an index into its batch.
    pub frame: usize,
    /// The analogue value, an index into those of the layout.
    pub of: usize,
    /// Its line.
    pub channel: Channel,
    /// The reading.
    pub reading: AnalogueReading,
}
