//! C interface of [`monitor_core`]: the same axis for firmware in C.
//!
//! What a C programmer reads is the header `include/cowitness.h`, which is made from this source; a test holds the two together. What
//! the monitors mean is in [`monitor_core::rules`].
//!
//! The boundary does three things: it checks what comes in, hands it to the core, and writes what came of it. Whatever it
//! refuses has a status, and an outcome without permit.

#![no_std]
#![expect(non_camel_case_types, reason = "types are named as C names them")]
#![cfg_attr(
    not(test),
    deny(
        clippy::arithmetic_side_effects,
        clippy::as_conversions,
        clippy::expect_used,
        clippy::float_arithmetic,
        clippy::indexing_slicing,
        clippy::panic,
        clippy::unwrap_used
    )
)]

// A program on a host has a panic handler, that of the standard library; firmware has the one below.
#[cfg(not(target_os = "none"))]
extern crate std;

mod ask;
mod capacity;
mod checked;
mod frame;
mod load;
mod outcome;
mod slot;
mod status;
mod step;
mod trip;

pub use ask::{
    cw_axis_channel_faulted, cw_axis_clock_faulted, cw_axis_distance, cw_axis_info, cw_axis_input_faulted,
    cw_axis_position, cw_axis_speed, cw_axis_trip, cw_axis_trip_at, cw_info,
};
pub use capacity::{
    CW_AXIS_SIZE, CW_AXIS_WORDS, CW_INPUTS, CW_INTERFACE_VERSION, CW_MONITORS, CW_POINTS, cw_axis,
    cw_axis_size, cw_axis_storage, cw_interface_version,
};
pub use frame::{
    CW_CHANNEL_A, CW_CHANNEL_B, CW_SAMPLE_COUNT, CW_SAMPLE_INVALID, CW_SAMPLE_NONE, CW_SAMPLE_VALUE,
    cw_analogue_reading, cw_frame, cw_reading,
};
pub use load::{cw_axis_load, cw_axis_unload};
pub use outcome::{
    CW_FAULT_IMPLAUSIBLE, CW_FAULT_INVALID, CW_FAULT_NONE, CW_FAULT_OUT_OF_ORDER, CW_FAULT_RANGE,
    CW_FAULT_STALE, CW_RESET_ACCEPTED, CW_RESET_ANALOGUE_FAULTED, CW_RESET_CHANNEL_FAULTED,
    CW_RESET_INPUT_FAULTED, CW_RESET_NONE, CW_RESET_STOPPING, CW_RESET_UNREFERENCED, CW_RESET_VIOLATED,
    CW_RESET_WARMING_UP, cw_fault_text, cw_outcome, cw_reset_text,
};
pub use status::*;
pub use step::{cw_axis_offer, cw_axis_step};
pub use trip::{
    CW_FRACTION_BITS, CW_QUANTITY_ACCELERATION, CW_QUANTITY_OVERRUN, CW_QUANTITY_POSITION, CW_QUANTITY_SPEED,
    CW_QUANTITY_VALUE, CW_RULE_ANALOGUE_DISCREPANCY, CW_RULE_MONITOR, CW_RULE_POSITION_DISCREPANCY,
    CW_RULE_SPEED_DISCREPANCY, CW_SIDE_ABOVE, CW_SIDE_BELOW, CW_UNKNOWN, cw_trip,
};

/// Never reached: the core does not panic, and neither does the boundary. A test links the library so that it could not be linked
/// otherwise. Should it be reached after all, the firmware hangs and its watchdog takes the torque away.
#[cfg(target_os = "none")]
#[panic_handler]
fn panicked(_: &core::panic::PanicInfo<'_>) -> ! {
    #[cfg(feature = "prove-no-panic")]
    {
        unsafe extern "C" {
            /// Is nowhere.
            fn cw_panic_is_reachable() -> !;
        }
        // SAFETY: a program that contains this call cannot be linked.
        unsafe { cw_panic_is_reachable() }
    }
    #[cfg(not(feature = "prove-no-panic"))]
    loop {
        core::hint::spin_loop();
    }
}
