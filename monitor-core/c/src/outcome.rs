//! What one frame came to, as C reads it.

use core::ffi::{CStr, c_char};

use monitor_core::{Outcome, Reset, SourceFault};

use crate::status::cw_status;

/// The channel can be seen.
pub const CW_FAULT_NONE: u32 = 0;
/// The source marked its reading as invalid.
pub const CW_FAULT_INVALID: u32 = 1;
/// Captured after `now`, before the reading before it, or at the same instant with another value.
pub const CW_FAULT_OUT_OF_ORDER: u32 = 2;
/// The newest reading is older than the timeout, or the source was silent for longer than that.
pub const CW_FAULT_STALE: u32 = 3;
/// The change is more than the mechanics can move.
pub const CW_FAULT_IMPLAUSIBLE: u32 = 4;
/// A count, position, travel or speed left the range of its type.
pub const CW_FAULT_RANGE: u32 = 5;

/// No reset was released at this frame.
pub const CW_RESET_NONE: u32 = 0;
/// All latches are cleared.
pub const CW_RESET_ACCEPTED: u32 = 1;
/// Refused: a channel is faulted, or has had no reading yet.
pub const CW_RESET_CHANNEL_FAULTED: u32 = 2;
/// Refused: an active monitor is warming up.
pub const CW_RESET_WARMING_UP: u32 = 3;
/// Refused: a monitor or a discrepancy is violated.
pub const CW_RESET_VIOLATED: u32 = 4;
/// Refused: an input fault is present.
pub const CW_RESET_INPUT_FAULTED: u32 = 5;
/// Refused: a rule needs a referenced position that a channel does not have.
pub const CW_RESET_UNREFERENCED: u32 = 6;
/// Refused: a line of an analogue value is faulted, or has had no reading yet.
pub const CW_RESET_ANALOGUE_FAULTED: u32 = 7;
/// Refused: a stop that a trip demands is not complete on both channels.
pub const CW_RESET_STOPPING: u32 = 8;

/// What one frame came to. Sets have one bit for each, in the order of the setup, the first in the lowest bit.
#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct cw_outcome {
    /// `now` of the evaluated frame, by which an outcome that was left over from an earlier frame can be told; 0 where the call
    /// was refused.
    pub now: u64,
    /// What the call returned.
    pub status: cw_status,
    /// Inputs that demand at this frame.
    pub demanding: u32,
    /// Inputs that became faulted at this frame.
    pub input_faults: u32,
    /// Active monitors.
    pub active: u32,
    /// Outputs that are true: never while the call was refused.
    pub outputs: u32,
    /// Active monitors that need a referenced position, and channel A has none.
    pub unreferenced_a: u32,
    /// Active monitors that need a referenced position, and channel B has none.
    pub unreferenced_b: u32,
    /// Monitors violated on channel A at this frame.
    pub violated_a: u32,
    /// Monitors violated on channel B at this frame.
    pub violated_b: u32,
    /// Monitors that tripped on channel A at this frame.
    pub tripped_a: u32,
    /// Monitors that tripped on channel B at this frame.
    pub tripped_b: u32,
    /// Analogue values whose line of channel A cannot be seen at this frame.
    pub analogue_faults_a: u32,
    /// Analogue values whose line of channel B cannot be seen at this frame.
    pub analogue_faults_b: u32,
    /// Analogue values whose two lines came apart for too long, at this frame.
    pub analogue_tripped: u32,
    /// Why channel A cannot be seen at this frame: a CW_FAULT_ value.
    pub fault_a: u32,
    /// Why channel B cannot be seen at this frame: a CW_FAULT_ value.
    pub fault_b: u32,
    /// What came of a reset that was released at this frame: a CW_RESET_ value.
    pub reset: u32,
    /// Torque is permitted. False also where the call was refused, and while it is being made.
    pub permit: bool,
    /// Time did not advance: nothing was evaluated, and all else here is empty.
    pub clock_fault: bool,
    /// Something needed is not known yet.
    pub warming_up: bool,
    /// The position discrepancy tripped at this frame.
    pub position_discrepancy_tripped: bool,
    /// The speed discrepancy tripped at this frame.
    pub speed_discrepancy_tripped: bool,
}

const fn fault(fault: Option<SourceFault>) -> u32 {
    match fault {
        None => CW_FAULT_NONE,
        Some(SourceFault::Invalid) => CW_FAULT_INVALID,
        Some(SourceFault::OutOfOrder) => CW_FAULT_OUT_OF_ORDER,
        Some(SourceFault::Stale) => CW_FAULT_STALE,
        Some(SourceFault::Implausible) => CW_FAULT_IMPLAUSIBLE,
        Some(SourceFault::Range) => CW_FAULT_RANGE,
    }
}

const fn reset(reset: Option<Reset>) -> u32 {
    match reset {
        None => CW_RESET_NONE,
        Some(Reset::Accepted) => CW_RESET_ACCEPTED,
        Some(Reset::ChannelFaulted) => CW_RESET_CHANNEL_FAULTED,
        Some(Reset::WarmingUp) => CW_RESET_WARMING_UP,
        Some(Reset::Violated) => CW_RESET_VIOLATED,
        Some(Reset::InputFaulted) => CW_RESET_INPUT_FAULTED,
        Some(Reset::Unreferenced) => CW_RESET_UNREFERENCED,
        Some(Reset::AnalogueFaulted) => CW_RESET_ANALOGUE_FAULTED,
        Some(Reset::Stopping) => CW_RESET_STOPPING,
    }
}

impl cw_outcome {
    /// Of a call that evaluated nothing.
    pub(crate) const fn refused(status: cw_status) -> Self {
        Self {
            now: 0,
            status,
            demanding: 0,
            input_faults: 0,
            active: 0,
            outputs: 0,
            unreferenced_a: 0,
            unreferenced_b: 0,
            violated_a: 0,
            violated_b: 0,
            tripped_a: 0,
            tripped_b: 0,
            analogue_faults_a: 0,
            analogue_faults_b: 0,
            analogue_tripped: 0,
            fault_a: CW_FAULT_NONE,
            fault_b: CW_FAULT_NONE,
            reset: CW_RESET_NONE,
            permit: false,
            clock_fault: false,
            warming_up: false,
            position_discrepancy_tripped: false,
            speed_discrepancy_tripped: false,
        }
    }

    /// Of the frame at `now`.
    pub(crate) const fn of(now: u64, outcome: &Outcome, status: cw_status) -> Self {
        Self {
            now,
            status,
            demanding: outcome.demanding.to_bits(),
            input_faults: outcome.input_faults.to_bits(),
            active: outcome.active.to_bits(),
            outputs: outcome.outputs.to_bits(),
            unreferenced_a: outcome.unreferenced.a.to_bits(),
            unreferenced_b: outcome.unreferenced.b.to_bits(),
            violated_a: outcome.violated.a.to_bits(),
            violated_b: outcome.violated.b.to_bits(),
            tripped_a: outcome.tripped.a.to_bits(),
            tripped_b: outcome.tripped.b.to_bits(),
            analogue_faults_a: outcome.analogue_faults.a.to_bits(),
            analogue_faults_b: outcome.analogue_faults.b.to_bits(),
            analogue_tripped: outcome.analogue_tripped.to_bits(),
            fault_a: fault(outcome.faults.a),
            fault_b: fault(outcome.faults.b),
            reset: reset(outcome.reset),
            permit: outcome.permit,
            clock_fault: outcome.clock_fault,
            warming_up: outcome.warming_up,
            position_discrepancy_tripped: outcome.position_discrepancy_tripped,
            speed_discrepancy_tripped: outcome.speed_discrepancy_tripped,
        }
    }
}

const fn fault_name(fault: u32) -> &'static CStr {
    match fault {
        CW_FAULT_NONE => c"none",
        CW_FAULT_INVALID => c"invalid",
        CW_FAULT_OUT_OF_ORDER => c"out-of-order",
        CW_FAULT_STALE => c"stale",
        CW_FAULT_IMPLAUSIBLE => c"implausible",
        CW_FAULT_RANGE => c"range",
        _ => c"not a fault of this library",
    }
}

/// The name that reports use for a CW_FAULT_ value. Never null.
#[unsafe(no_mangle)]
pub extern "C" fn cw_fault_text(fault: u32) -> *const c_char {
    fault_name(fault).as_ptr()
}

const fn reset_name(reset: u32) -> &'static CStr {
    match reset {
        CW_RESET_NONE => c"none",
        CW_RESET_ACCEPTED => c"accepted",
        CW_RESET_CHANNEL_FAULTED => c"refused: a channel is faulted or has not been seen",
        CW_RESET_WARMING_UP => c"refused: a monitor is warming up",
        CW_RESET_VIOLATED => c"refused: a rule is violated",
        CW_RESET_INPUT_FAULTED => c"refused: an input is faulted",
        CW_RESET_UNREFERENCED => c"refused: a position has no reference",
        CW_RESET_ANALOGUE_FAULTED => c"refused: an analogue value is faulted or has not been seen",
        CW_RESET_STOPPING => c"refused: a stop is not complete",
        _ => c"not a reset of this library",
    }
}

/// What a CW_RESET_ value means, in English. Never null.
#[unsafe(no_mangle)]
pub extern "C" fn cw_reset_text(reset: u32) -> *const c_char {
    reset_name(reset).as_ptr()
}
