//! An image that is not what was sealed.

use std::ptr;

use monitor_core::seal;
use monitor_core_c::*;

use crate::calls::{self, Storage, sealed};
use crate::{config, image, steps};

#[test]
fn an_image_within_the_storage_is_refused() {
    let storage = Storage::of_an_axis();
    let image = image();
    for byte in [0, CW_AXIS_SIZE - image.len()] {
        let mut axis = ptr::dangling_mut();
        // SAFETY: there is room.
        unsafe { storage.at(byte).cast::<u8>().copy_from_nonoverlapping(image.as_ptr(), image.len()) };
        let within = storage.at(byte).cast_const().cast();
        let status = calls::load(storage.at(0), CW_AXIS_SIZE, within, image.len(), &raw mut axis);
        assert_eq!((status, axis.is_null()), (CW_STATUS_OVERLAP, true));
    }
}

#[test]
fn an_image_that_is_not_what_was_sealed_is_refused_by_what_is_wrong() {
    let storage = Storage::of_an_axis();
    let whole = image();
    let changed = |byte: usize| {
        let mut changed = whole.clone();
        changed[byte] ^= 1;
        changed
    };
    let refused = |image: &[u8]| storage.load(image).err();
    assert_eq!(refused(&changed(0)), Some(CW_STATUS_NOT_AN_IMAGE));
    assert_eq!(refused(&changed(4)), Some(CW_STATUS_VERSION));
    assert_eq!(refused(&changed(30)), Some(CW_STATUS_ALTERED));
    assert_eq!(refused(&whole[..whole.len() - 1]), Some(CW_STATUS_LENGTH));
    assert_eq!(refused(&[]), Some(CW_STATUS_LENGTH));
    assert_eq!(refused(&sealed(&config::<5>(1), 0)), Some(CW_STATUS_POINTS));
    assert_eq!(refused(&sealed(&config::<CW_POINTS>(CW_MONITORS + 1), 0)), Some(CW_STATUS_CAPACITY));
    let mut axis = ptr::dangling_mut();
    for length in [usize::MAX, isize::MAX as usize + 1] {
        let status = calls::load(storage.at(0), CW_AXIS_SIZE, whole.as_ptr(), length, &raw mut axis);
        assert_eq!((status, axis.is_null()), (CW_STATUS_LENGTH, true));
    }
    assert_eq!(steps(storage.at(0).cast(), 1), CW_STATUS_NOT_LOADED);
}

#[test]
fn what_a_constructor_refuses_is_refused_by_its_name() {
    let storage = Storage::of_an_axis();
    let whole = image();
    let refused = |bytes: std::ops::Range<usize>, value: u8| {
        let mut changed = whole.clone();
        changed[bytes].fill(value);
        let content = changed.len() - 4;
        let checksum = seal::crc32(&changed[..content]).to_le_bytes();
        changed[content..].copy_from_slice(&checksum);
        storage.load(&changed).err()
    };
    // The first source: its width, whether it is reversed, the distance of a count.
    assert_eq!(refused(20..21, 65), Some(CW_STATUS_SOURCE));
    assert_eq!(refused(21..22, 2), Some(CW_STATUS_CONTENT));
    assert_eq!(refused(22..30, 0), Some(CW_STATUS_SCALE));
    // After two sources of 26 bytes: the window, made longer than two seconds.
    assert_eq!(refused(77..78, 0xff), Some(CW_STATUS_AXIS));
    // After the window, the warm-up, and the level, filter and kind of the first input: its line.
    assert_eq!(refused(91..92, 32), Some(CW_STATUS_INPUT));
}
