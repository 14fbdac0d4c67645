//! Reading and writing what a pointer from C points to.

use crate::status::{CW_STATUS_ALIGNMENT, CW_STATUS_NULL, cw_status};

/// Whether a pointer can be followed.
pub(crate) fn pointer<T>(to: *const T) -> Result<(), cw_status> {
    match (to.is_null(), to.is_aligned()) {
        (true, _) => Err(CW_STATUS_NULL),
        (false, false) => Err(CW_STATUS_ALIGNMENT),
        (false, true) => Ok(()),
    }
}

/// What is there.
///
/// # Safety
///
/// Null, or a value of this type can be read there.
pub(crate) unsafe fn read<T: Copy>(from: *const T) -> Result<T, cw_status> {
    pointer(from)?;
    // SAFETY: neither null nor misaligned, and the caller says that a value is there.
    Ok(unsafe { from.read() })
}

/// Writes it there, also to a misaligned place: whoever reads it from there must not find what was left over.
///
/// # Safety
///
/// Null, or so many bytes can be written there.
pub(crate) unsafe fn write<T: Copy>(to: *mut T, value: T) -> Result<(), cw_status> {
    let usable = pointer(to);
    match usable {
        // SAFETY: neither null nor misaligned, and the caller says that there is room.
        Ok(()) => unsafe { to.write(value) },
        Err(CW_STATUS_NULL) => {}
        // SAFETY: not null, and the caller says that there is room.
        Err(_) => unsafe { to.write_unaligned(value) },
    }
    usable
}

/// Whether two stretches of memory, each an address and a length in bytes, have a byte in common. One without bytes has
/// none, wherever it is.
pub(crate) const fn overlap(one: (usize, usize), other: (usize, usize)) -> bool {
    one.1 > 0
        && other.1 > 0
        && one.0 < other.0.saturating_add(other.1)
        && other.0 < one.0.saturating_add(one.1)
}
