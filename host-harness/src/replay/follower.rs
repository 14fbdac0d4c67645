//! Who follows an axis through a replay, frame by frame.

use monitor_core::{Glimpse, Instant, Levels};

use super::allowed::SpeedSpan;
use super::axis::ReplayAxis;
use super::room::Room;

/// Sees each frame once it was evaluated. Nothing is worked out for one that does not care.
pub(crate) trait Follower {
    /// Whether it cares.
    const FOLLOWS: bool = false;

    /// A quiet frame after a quiet one: only the motion went on. The channels were `seen` so.
    #[inline(always)]
    fn quiet_frame(&mut self, _axis: &ReplayAxis, _now: Instant, _seen: [Option<Glimpse>; 2]) {}

    /// Any other frame at which time advanced.
    fn frame(&mut self, _axis: &ReplayAxis, _now: Instant, _shown: &Shown<'_>) {}
}

/// What there is to see of a frame.
pub(crate) struct Shown<'a> {
    /// What the axis came to.
    pub(crate) outcome: &'a monitor_core::Outcome,
    /// The lines of the inputs.
    pub(crate) levels: Levels,
    /// The lowest and the highest speed of each channel that the active monitors allow together.
    pub(crate) speeds: [Option<SpeedSpan>; 2],
    /// The narrowest room that an active monitor leaves the position of each channel.
    pub(crate) rooms: [Option<Room>; 2],
}
