//! How much fits in an axis, and how large it is.

use crate::slot::Slot;

/// Changes when the functions or structures of this header do. Compare it at start with cw_interface_version(), and
/// CW_AXIS_SIZE with cw_axis_size(), which CW_SMALL changes: a difference means that header and library are not of one kind.
pub const CW_INTERFACE_VERSION: u32 = 2;

/// Stored readings per channel. An image must have been sealed for exactly so many.
#[cfg(not(feature = "small"))]
pub const CW_POINTS: usize = 33;
/// The most monitors of an axis.
#[cfg(not(feature = "small"))]
pub const CW_MONITORS: usize = 16;
/// The most inputs of an axis, the reset aside.
#[cfg(not(feature = "small"))]
pub const CW_INPUTS: usize = 16;

/// Stored readings per channel. An image must have been sealed for exactly so many.
#[cfg(feature = "small")]
pub const CW_POINTS: usize = 17;
/// The most monitors of an axis.
#[cfg(feature = "small")]
pub const CW_MONITORS: usize = 4;
/// The most inputs of an axis, the reset aside.
#[cfg(feature = "small")]
pub const CW_INPUTS: usize = 2;

/// How many words of 64 bits of storage an axis takes, the same on every target.
#[cfg(not(feature = "small"))]
pub const CW_AXIS_WORDS: usize = 1536;
/// How many words of 64 bits of storage an axis takes, the same on every target.
#[cfg(feature = "small")]
pub const CW_AXIS_WORDS: usize = 640;
/// How many bytes that is.
pub const CW_AXIS_SIZE: usize = CW_AXIS_WORDS * 8;

const _: () = assert!(Slot::NEEDS <= CW_AXIS_SIZE, "CW_AXIS_SIZE is too small");

/// A loaded axis. It lives in the storage it was loaded in, which must not be moved, copied, written to or given up meanwhile.
pub struct cw_axis(());

/// Storage for one axis. Static storage is best: a function's own storage ends with the function.
#[repr(C)]
pub struct cw_axis_storage {
    /// Belongs to the library.
    pub words: [u64; CW_AXIS_WORDS],
}

/// CW_INTERFACE_VERSION of the library.
#[unsafe(no_mangle)]
pub extern "C" fn cw_interface_version() -> u32 {
    CW_INTERFACE_VERSION
}

/// CW_AXIS_SIZE of the library, in bytes. Differs from that of the header when only one of the two was made for a small axis: then
/// CW_POINTS, CW_MONITORS and CW_INPUTS of the header are not those of the library either.
#[unsafe(no_mangle)]
pub extern "C" fn cw_axis_size() -> usize {
    CW_AXIS_SIZE
}
