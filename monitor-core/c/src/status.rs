//! What a call came to.

use core::ffi::{CStr, c_char};

use monitor_core::AxisError;
use monitor_core::seal::SealError;

/// What a call came to: CW_OK, or why it was refused. Not an enumeration, because compilers for small
/// targets differ in how large they make one.
pub type cw_status = u32;

/// Done.
pub const CW_OK: cw_status = 0;
/// A pointer that must not be null is null. After a refused load that is so of the axis.
pub const CW_STATUS_NULL: cw_status = 1;
/// A pointer is not aligned for what it points to.
pub const CW_STATUS_ALIGNMENT: cw_status = 2;
/// The storage is smaller than CW_AXIS_SIZE.
pub const CW_STATUS_SIZE: cw_status = 3;
/// Two things that must lie apart overlap in memory: image or axis pointer and storage, outcome or answer and axis.
pub const CW_STATUS_OVERLAP: cw_status = 4;
/// The storage holds a loaded axis already. Loading over it would clear its latches without a reset: unload it first.
pub const CW_STATUS_LOADED_ALREADY: cw_status = 5;
/// There is no loaded axis at this place: never loaded, unloaded, or overwritten at its beginning.
pub const CW_STATUS_NOT_LOADED: cw_status = 6;
/// The axis was loaded at another place: its storage was copied.
pub const CW_STATUS_MOVED: cw_status = 7;
/// Something else wrote to the end of the storage of the axis.
pub const CW_STATUS_OVERWRITTEN: cw_status = 8;
/// Another call on the same axis is not finished: this one came from an interrupt or another thread.
pub const CW_STATUS_BUSY: cw_status = 9;
/// The kind of a reading is none of CW_SAMPLE_NONE, CW_SAMPLE_COUNT, CW_SAMPLE_INVALID.
pub const CW_STATUS_SAMPLE_KIND: cw_status = 10;
/// Neither CW_CHANNEL_A nor CW_CHANNEL_B.
pub const CW_STATUS_NO_CHANNEL: cw_status = 11;
/// The axis does not have this monitor.
pub const CW_STATUS_NO_MONITOR: cw_status = 12;
/// The axis does not have this input.
pub const CW_STATUS_NO_INPUT: cw_status = 13;
/// None of the CW_RULE_ values.
pub const CW_STATUS_NO_RULE: cw_status = 14;
/// No trip of that rule is latched, or there are not so many.
pub const CW_STATUS_NO_TRIP: cw_status = 15;
/// What was asked for is not known at the last frame.
pub const CW_STATUS_UNKNOWN: cw_status = 16;

/// The axis does not have this analogue value.
pub const CW_STATUS_NO_ANALOGUE: cw_status = 17;

/// The image does not begin as a sealed setup does.
pub const CW_STATUS_NOT_AN_IMAGE: cw_status = 32;
/// The image was sealed in a version of the format that this library does not read, or its version is damaged.
pub const CW_STATUS_VERSION: cw_status = 33;
/// The image is cut, or something was appended.
pub const CW_STATUS_LENGTH: cw_status = 34;
/// The image was altered: its checksum is not that of its content.
pub const CW_STATUS_ALTERED: cw_status = 35;
/// The image was sealed for another number of stored readings than CW_POINTS.
pub const CW_STATUS_POINTS: cw_status = 36;
/// The setup has more monitors than CW_MONITORS or more inputs than CW_INPUTS.
pub const CW_STATUS_CAPACITY: cw_status = 37;
/// The content is of no known form although its checksum is right: another program made it.
pub const CW_STATUS_CONTENT: cw_status = 38;
/// The image has a source that cannot be set up.
pub const CW_STATUS_SOURCE: cw_status = 39;
/// The image has a distance per count that cannot be used.
pub const CW_STATUS_SCALE: cw_status = 40;
/// The image has an input that cannot be set up.
pub const CW_STATUS_INPUT: cw_status = 41;
/// The image has an axis that cannot be set up.
pub const CW_STATUS_AXIS: cw_status = 42;

/// The status of an image that was refused.
pub(crate) fn of_image(error: SealError) -> cw_status {
    match error {
        SealError::NotAnImage => CW_STATUS_NOT_AN_IMAGE,
        SealError::Version(_) => CW_STATUS_VERSION,
        SealError::Length(..) => CW_STATUS_LENGTH,
        SealError::Altered(..) => CW_STATUS_ALTERED,
        SealError::Points(..) => CW_STATUS_POINTS,
        SealError::Source(_) => CW_STATUS_SOURCE,
        SealError::Scale(_) => CW_STATUS_SCALE,
        SealError::Input(_) => CW_STATUS_INPUT,
        SealError::Axis(AxisError::TooManyMonitors(_) | AxisError::TooManyInputs(_)) => CW_STATUS_CAPACITY,
        SealError::Axis(_) => CW_STATUS_AXIS,
        _ => CW_STATUS_CONTENT,
    }
}

const fn text_of(status: cw_status) -> &'static CStr {
    match status {
        CW_OK => c"done",
        CW_STATUS_NULL => c"a pointer is null",
        CW_STATUS_ALIGNMENT => c"a pointer is not aligned for what it points to",
        CW_STATUS_SIZE => c"the storage is smaller than CW_AXIS_SIZE",
        CW_STATUS_OVERLAP => c"two things that must lie apart overlap in memory",
        CW_STATUS_LOADED_ALREADY => c"the storage holds a loaded axis already; unload it first",
        CW_STATUS_NOT_LOADED => c"no axis is loaded here",
        CW_STATUS_MOVED => c"the axis was loaded at another place; its storage was copied",
        CW_STATUS_OVERWRITTEN => c"something else wrote to the end of the storage of the axis",
        CW_STATUS_BUSY => c"another call on the same axis is not finished",
        CW_STATUS_SAMPLE_KIND => c"the kind of a reading is none of CW_SAMPLE_NONE, _COUNT, _INVALID",
        CW_STATUS_NO_CHANNEL => c"neither CW_CHANNEL_A nor CW_CHANNEL_B",
        CW_STATUS_NO_MONITOR => c"the axis does not have this monitor",
        CW_STATUS_NO_INPUT => c"the axis does not have this input",
        CW_STATUS_NO_RULE => c"none of the CW_RULE_ values",
        CW_STATUS_NO_TRIP => c"no such trip is latched",
        CW_STATUS_NO_ANALOGUE => c"the axis does not have this analogue value",
        CW_STATUS_UNKNOWN => c"not known at the last frame",
        CW_STATUS_NOT_AN_IMAGE => c"not a sealed setup: it does not begin with CWAX",
        CW_STATUS_VERSION => c"sealed in a version of the format that is not read here, or damaged",
        CW_STATUS_LENGTH => c"the image is cut, or something was appended",
        CW_STATUS_ALTERED => c"the image was altered: its checksum is not that of its content",
        CW_STATUS_POINTS => c"sealed for another number of stored readings than CW_POINTS",
        CW_STATUS_CAPACITY => c"more than CW_MONITORS monitors or CW_INPUTS inputs",
        CW_STATUS_CONTENT => c"a content of unknown form under a right checksum",
        CW_STATUS_SOURCE => c"the image has a source that cannot be set up",
        CW_STATUS_SCALE => c"the image has a distance per count that cannot be used",
        CW_STATUS_INPUT => c"the image has an input that cannot be set up",
        CW_STATUS_AXIS => c"the image has an axis that cannot be set up",
        _ => c"not a status of this library",
    }
}

/// What a status means, in English, for a log. Never null; for a number that is no status it says so.
#[unsafe(no_mangle)]
pub extern "C" fn cw_status_text(status: cw_status) -> *const c_char {
    text_of(status).as_ptr()
}
