//! Conversions in `const fn`, where `From` and `TryFrom` cannot be called, and the one that cuts off: the only `as` of the crate.
#![expect(
    clippy::as_conversions,
    reason = "From and TryFrom are not const; each widens, is checked, or says that it cuts off"
)]

/// Widens.
pub(crate) const fn u8_to_u32(x: u8) -> u32 {
    x as u32
}

/// Widens.
pub(crate) const fn u32_to_u64(x: u32) -> u64 {
    x as u64
}

/// Widens.
pub(crate) const fn u64_to_u128(x: u64) -> u128 {
    x as u128
}

/// Widens on every target there is.
pub(crate) const fn usize_to_u64(x: usize) -> u64 {
    x as u64
}

/// Narrows to the low half.
pub(crate) const fn u64_to_low_u32(x: u64) -> u32 {
    x as u32
}

/// Narrows, or `None` beyond 64 bits.
pub(crate) const fn u128_to_u64(x: u128) -> Option<u64> {
    if x >> 64 == 0 { Some(x as u64) } else { None }
}
