//! From a sealed setup to an axis, and the end of it.

use core::ffi::c_void;

use monitor_core::seal::Image;

use crate::capacity::{CW_AXIS_SIZE, cw_axis};
use crate::checked;
use crate::slot::{Claim, Slot};
use crate::status::{CW_OK, CW_STATUS_LENGTH, CW_STATUS_OVERLAP, CW_STATUS_SIZE, cw_status, of_image};

/// Loads the axis of a sealed setup into storage that the caller owns. The axis starts without permit and without knowing
/// anything. `image` is not needed afterwards.
///
/// `storage` has `size` bytes, at least CW_AXIS_SIZE, aligned like a uint64_t; best is a static cw_axis_storage and its
/// sizeof. `image` has `length` bytes. `*axis` becomes the axis to hand to the other functions, null on every refusal; only when it
/// lies in the storage itself it is not written.
///
/// Refused: CW_STATUS_NULL, CW_STATUS_ALIGNMENT, CW_STATUS_SIZE, CW_STATUS_OVERLAP, CW_STATUS_LOADED_ALREADY, or with the
/// statuses from CW_STATUS_NOT_AN_IMAGE on what is wrong with the image. A refused load leaves no axis in the storage, except
/// with CW_STATUS_LOADED_ALREADY, which leaves the one there as it was. Storage that keeps its content over a
/// restart must be cleared before.
///
/// The caller answers for this: no other call on the same storage runs meanwhile.
#[unsafe(no_mangle)]
#[must_use]
pub unsafe extern "C" fn cw_axis_load(
    storage: *mut c_void,
    size: usize,
    image: *const u8,
    length: usize,
    axis: *mut *mut cw_axis,
) -> cw_status {
    if lies_in(storage, size, axis) {
        return CW_STATUS_OVERLAP;
    }
    // SAFETY: the caller says that a pointer can be written there.
    if let Err(status) = unsafe { checked::write(axis, core::ptr::null_mut()) } {
        return status;
    }
    // SAFETY: as the caller says of storage and image.
    let loaded = unsafe { load(storage, size, image, length) };
    // SAFETY: as above.
    let loaded = loaded.and_then(|loaded| unsafe { checked::write(axis, loaded.cast_mut()) });
    loaded.err().unwrap_or(CW_OK)
}

/// Whether the axis pointer is part of the storage. No storage, and what is behind storage that is too small, is none: the pointer can be
/// made null there, as the caller expects of every refusal.
fn lies_in(storage: *mut c_void, size: usize, axis: *mut *mut cw_axis) -> bool {
    let of_storage = (storage.addr(), size.min(CW_AXIS_SIZE));
    let of_axis = (axis.addr(), size_of::<*mut cw_axis>());
    !storage.is_null() && !axis.is_null() && checked::overlap(of_storage, of_axis)
}

/// # Safety
///
/// As of [`cw_axis_load`].
unsafe fn load(
    storage: *mut c_void,
    size: usize,
    image: *const u8,
    length: usize,
) -> Result<*const cw_axis, cw_status> {
    let place = Slot::within(storage)?;
    checked::pointer(image)?;
    if size < CW_AXIS_SIZE {
        return Err(CW_STATUS_SIZE);
    }
    // No memory is longer: a length below zero was made a size.
    if isize::try_from(length).is_err() || image.addr().checked_add(length).is_none() {
        return Err(CW_STATUS_LENGTH);
    }
    if checked::overlap((storage.addr(), CW_AXIS_SIZE), (image.addr(), length)) {
        return Err(CW_STATUS_OVERLAP);
    }
    // SAFETY: neither null nor misaligned, every pattern of bits is a slot, and there are enough bytes.
    let slot = unsafe { &*place };
    slot.refuse_loaded()?;
    // SAFETY: not null, and the caller says that there are so many.
    let bytes = unsafe { core::slice::from_raw_parts(image, length) };
    let image = Image::open(bytes).map_err(of_image)?;
    // SAFETY: the caller says that nothing else uses the storage, and no axis is loaded.
    unsafe { slot.load(&image) }?;
    Ok(place.cast())
}

/// Gives the storage of an axis back: it may be loaded again, or used for something else. What was latched is forgotten.
///
/// Refused: CW_STATUS_NULL, CW_STATUS_ALIGNMENT, CW_STATUS_NOT_LOADED, CW_STATUS_MOVED, CW_STATUS_OVERWRITTEN, CW_STATUS_BUSY.
/// Storage of an axis that was overwritten can be loaded again after it was cleared.
#[unsafe(no_mangle)]
#[must_use]
pub unsafe extern "C" fn cw_axis_unload(axis: *mut cw_axis) -> cw_status {
    // SAFETY: the caller says that it is the axis of a load.
    match unsafe { Claim::of(axis) } {
        Ok(claim) => {
            claim.unload();
            CW_OK
        }
        Err(status) => status,
    }
}

#[cfg(test)]
mod tests {
    use core::ptr::{null_mut, without_provenance_mut as at};

    use super::{CW_AXIS_SIZE, lies_in};

    #[test]
    fn an_axis_pointer_at_a_low_address_does_not_lie_in_storage_that_is_null() {
        for address in [8, 4096, CW_AXIS_SIZE - 8] {
            assert!(!lies_in(null_mut(), CW_AXIS_SIZE, at(address)));
        }
    }

    #[test]
    fn an_axis_pointer_lies_in_storage_when_a_byte_is_common_and_no_further_than_an_axis_needs() {
        let pointer = size_of::<*mut u8>();
        let storage = 0x10_0000;
        for (size, counted) in [(0, 0), (8, 8), (CW_AXIS_SIZE, CW_AXIS_SIZE), (usize::MAX, CW_AXIS_SIZE)] {
            let within = |address: usize| lies_in(at(storage), size, at(address));
            assert!(!within(storage - pointer) && !within(storage + counted));
            assert_eq!((within(storage), within(storage + counted - 1)), (counted > 0, counted > 0));
        }
        assert!(!lies_in(at(8), CW_AXIS_SIZE, null_mut()));
    }
}
