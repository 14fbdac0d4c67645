//! One frame through an axis.

use core::sync::atomic::{Ordering, compiler_fence};

use crate::capacity::cw_axis;
use crate::checked;
use crate::frame::cw_frame;
use crate::outcome::cw_outcome;
use crate::slot::{Claim, Slot};
use crate::status::{CW_OK, CW_STATUS_BUSY, CW_STATUS_OVERLAP, cw_status};

/// Evaluates one frame. Bounded in time; it neither waits nor calls anything.
///
/// `*outcome` is written whatever happens, unless `outcome` is null: without permit before anything else, so that a
/// call that does not come back leaves none standing, and with what the frame came to at the end. Whoever reads the
/// permit elsewhere is handed a copy after the call.
///
/// Refused: CW_STATUS_NULL, CW_STATUS_ALIGNMENT, CW_STATUS_SAMPLE_KIND, CW_STATUS_NOT_LOADED, CW_STATUS_MOVED,
/// CW_STATUS_OVERWRITTEN, CW_STATUS_BUSY; CW_STATUS_OVERLAP when `outcome` lies in the axis, which is then unloaded. A refused
/// frame was not evaluated: the axis is as if it had not been handed in, but there is no permit for it.
#[unsafe(no_mangle)]
#[must_use]
pub unsafe extern "C" fn cw_axis_step(
    axis: *mut cw_axis,
    frame: *const cw_frame,
    outcome: *mut cw_outcome,
) -> cw_status {
    // SAFETY: the caller says that it is null or a frame. Read before the outcome is written, which may lie at the same place.
    let frame = unsafe { checked::read(frame) };
    // SAFETY: the caller says that it is null or has room for an outcome.
    let room = unsafe { checked::write(outcome, cw_outcome::refused(CW_STATUS_BUSY)) };
    // Without this the compiler might leave out the write above, because another follows below.
    compiler_fence(Ordering::SeqCst);
    let came_to = room.and(frame).and_then(|frame| {
        // SAFETY: the caller says that it is null or the axis of a load.
        unsafe { evaluate(axis, &frame, outcome.addr()) }
    });
    let came_to = came_to.unwrap_or_else(cw_outcome::refused);
    // SAFETY: as above. It returns what it returned there.
    let _ = unsafe { checked::write(outcome, came_to) };
    came_to.status
}

/// # Safety
///
/// As of [`Claim::of`].
unsafe fn evaluate(axis: *mut cw_axis, frame: &cw_frame, outcome: usize) -> Result<cw_outcome, cw_status> {
    // SAFETY: as the caller says.
    let mut claim = unsafe { Claim::of(axis) }?;
    if checked::overlap((axis.addr(), size_of::<Slot>()), (outcome, size_of::<cw_outcome>())) {
        // Something of the axis was overwritten by the outcome.
        claim.unload();
        return Err(CW_STATUS_OVERLAP);
    }
    let checked = frame.checked()?;
    let (config, state, _) = claim.parts();
    let outcome = config.step(state, &checked);
    Ok(cw_outcome::of(frame.now, &outcome, CW_OK))
}
