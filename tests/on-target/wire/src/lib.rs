//! What host and target exchange when they are compared: a script of axes, frames and readings, and an answer to every frame.
//!
//! Both sides make their answers with the code below, each with its own build of `monitor-core`; the bytes must be equal.

#![no_std]
#![forbid(unsafe_code)]

use monitor_core::{AnalogueId, AnalogueReading, AxisConfig, AxisState, Channel, Frame, Outcome};
use serde::{Deserialize, Serialize};

/// Stored readings per channel of the axis under test.
pub const POINTS: usize = 17;

/// How many monitors and inputs it has room for on a core with 16 KiB of RAM.
pub const FEW: (usize, usize) = (6, 4);
/// And on any other.
pub const MANY: (usize, usize) = (16, 16);

/// The longest item of a script, in bytes.
pub const LONGEST_ITEM: usize = 2048;
/// The same where there is room for few monitors.
pub const LONGEST_ITEM_OF_FEW: usize = 1024;

/// The longest part of an answer, in bytes.
const LONGEST_PART: usize = 256;

/// One item of a script. Each is preceded by its length as two bytes, low byte first.
#[derive(Debug, Serialize, Deserialize)]
pub enum Item<'a> {
    /// From here on another axis, of this sealed setup, which has not been shown a frame.
    Axis(&'a [u8]),
    /// A frame to be shown to it.
    Frame(Frame),
    /// A reading of one line of an analogue value, to be handed in before the next frame.
    Reading(AnalogueId, Channel, AnalogueReading),
}

/// Writes one item with its length to the beginning of `to`; `None` when there is no room for it.
pub fn put_item<'a>(item: &Item<'_>, to: &'a mut [u8; LONGEST_ITEM]) -> Option<&'a [u8]> {
    let (length, rest) = to.split_first_chunk_mut::<2>()?;
    let used = postcard::to_slice(item, rest).ok()?.len();
    *length = u16::try_from(used).ok()?.to_le_bytes();
    to.get(..used + 2)
}

/// The answer to one frame, part by part: the outcome, speeds, positions, distances, and after a trip everything about all latched
/// trips.
pub fn answer<const MONITORS: usize, const INPUTS: usize>(
    config: &AxisConfig<POINTS, MONITORS, INPUTS>,
    state: &AxisState<POINTS, MONITORS, INPUTS>,
    outcome: &Outcome,
    mut emit: impl FnMut(&[u8]),
) {
    let mut part = [0; LONGEST_PART];
    let mut emit = |part: Result<&mut [u8], postcard::Error>| match part {
        Ok(bytes) => emit(bytes),
        // Not reached: the longest part, a trip, takes less. Shows as a difference, since a whole answer is expected.
        Err(_) => emit(b"no room"),
    };
    emit(postcard::to_slice(outcome, &mut part));
    for channel in Channel::BOTH {
        let speed = config.speed(state, channel).map(|speed| (speed.signed(), speed.magnitude_down()));
        emit(postcard::to_slice(&(speed, config.position(state, channel)), &mut part));
    }
    emit(postcard::to_slice(&(config.apart(state), config.speeds_apart(state)), &mut part));
    if outcome.has_trip() {
        for trip in state.trips() {
            emit(postcard::to_slice(&trip, &mut part));
        }
    }
}
