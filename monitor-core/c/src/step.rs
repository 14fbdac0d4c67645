//! One frame through an axis.

use core::sync::atomic::{Ordering, compiler_fence};

use crate::ask;
use crate::capacity::cw_axis;
use crate::checked;
use crate::frame::{self, cw_analogue_reading, cw_frame};
use crate::outcome::cw_outcome;
use crate::slot::{self, Claim, Slot};
use crate::status::{CW_OK, CW_STATUS_BUSY, CW_STATUS_OVERLAP, cw_status};

/// Evaluates one frame. Bounded in time; it neither waits nor calls anything.
///
/// `*outcome` is written whatever happens, unless `outcome` is null: without permit before anything else, so that a
/// call that does not come back leaves none standing, and with what the frame came to at the end. Whoever reads the
/// permit elsewhere is handed a copy after the call.
///
/// Refused: CW_STATUS_NULL, CW_STATUS_ALIGNMENT, CW_STATUS_SAMPLE_KIND, CW_STATUS_NOT_LOADED, CW_STATUS_MOVED,
/// CW_STATUS_OVERWRITTEN, CW_STATUS_BUSY. A refused frame was not evaluated: the axis is as if it had not been handed in, but there is
/// no permit for it.
///
/// CW_STATUS_OVERLAP, before all others, when `outcome` lies in the axis, as the outcome of a function does whose stack has grown into
/// the storage. It is written there all the same, because whoever holds the torque by `outcome->permit` must not read what the axis
/// has there. That destroys the axis, so it is unloaded first: no later frame is evaluated with what is left of it.
#[unsafe(no_mangle)]
#[must_use]
pub unsafe extern "C" fn cw_axis_step(
    axis: *mut cw_axis,
    frame: *const cw_frame,
    outcome: *mut cw_outcome,
) -> cw_status {
    // SAFETY: the caller says that it is null or a frame. Read before the outcome is written, which may lie at the same place.
    let frame = unsafe { checked::read(frame) };
    let apart = lie_apart(axis, outcome);
    if apart.is_err() {
        // SAFETY: the caller says that it is null or the axis of a load.
        unsafe { slot::end(axis) };
    }
    // SAFETY: the caller says that it is null or has room for an outcome.
    let room = unsafe { checked::write(outcome, cw_outcome::refused(CW_STATUS_BUSY)) };
    // Without this the compiler might leave out the write above, because another follows below.
    compiler_fence(Ordering::SeqCst);
    let came_to = apart.and(room).and(frame).and_then(|frame| {
        // SAFETY: the caller says that it is null or the axis of a load.
        unsafe { evaluate(axis, &frame) }
    });
    let came_to = came_to.unwrap_or_else(cw_outcome::refused);
    // SAFETY: as above. It returns what it returned there.
    let _ = unsafe { checked::write(outcome, came_to) };
    came_to.status
}

/// Hands in a reading of one line of an analogue value: it counts from the next frame on. `analogue` is the place of the value in the order of
/// the setup, from 0; `channel` a CW_CHANNEL_ value.
///
/// Refused: CW_STATUS_NULL, CW_STATUS_ALIGNMENT, CW_STATUS_SAMPLE_KIND, CW_STATUS_NO_CHANNEL, CW_STATUS_NO_ANALOGUE, CW_STATUS_NOT_LOADED,
/// CW_STATUS_MOVED, CW_STATUS_OVERWRITTEN, CW_STATUS_BUSY. A refused reading was not taken, and the one before it ages.
#[unsafe(no_mangle)]
#[must_use]
pub unsafe extern "C" fn cw_axis_offer(
    axis: *mut cw_axis,
    analogue: u32,
    channel: u32,
    reading: *const cw_analogue_reading,
) -> cw_status {
    // SAFETY: the caller says that it is null or a reading.
    let reading = unsafe { checked::read(reading) };
    let taken = reading.and_then(|reading| {
        // SAFETY: the caller says that it is null or the axis of a load.
        unsafe { take(axis, analogue, channel, &reading) }
    });
    taken.err().unwrap_or(CW_OK)
}

/// # Safety
///
/// As of [`Claim::of`].
unsafe fn take(
    axis: *mut cw_axis,
    analogue: u32,
    channel: u32,
    reading: &cw_analogue_reading,
) -> Result<(), cw_status> {
    // SAFETY: as the caller says.
    let mut claim = unsafe { Claim::of(axis) }?;
    let (config, state, facts) = claim.parts();
    let (of, channel) = (ask::analogue(analogue, facts)?, frame::channel(channel)?);
    config.offer(state, of, channel, reading.checked()?);
    Ok(())
}

fn lie_apart(axis: *mut cw_axis, outcome: *mut cw_outcome) -> Result<(), cw_status> {
    let (of_axis, of_outcome) = ((axis.addr(), size_of::<Slot>()), (outcome.addr(), size_of::<cw_outcome>()));
    if axis.is_null() || outcome.is_null() || !checked::overlap(of_axis, of_outcome) {
        Ok(())
    } else {
        Err(CW_STATUS_OVERLAP)
    }
}

/// # Safety
///
/// As of [`Claim::of`].
unsafe fn evaluate(axis: *mut cw_axis, frame: &cw_frame) -> Result<cw_outcome, cw_status> {
    // SAFETY: as the caller says.
    let mut claim = unsafe { Claim::of(axis) }?;
    let checked = frame.checked()?;
    let (config, state, _) = claim.parts();
    let outcome = config.step(state, &checked);
    Ok(cw_outcome::of(frame.now, &outcome, CW_OK))
}
