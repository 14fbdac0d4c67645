//! What time it is.

use core::fmt;

use crate::units::{Instant, NANOS_PER_SECOND};
use crate::wide::{divide, mul};
use crate::widen::{u64_to_u128, u128_to_u64};

/// Says what time it is.
pub trait Clock {
    /// Nanoseconds since an origin that all readings share. It must go forward between two frames: the axis takes the permit away
    /// otherwise.
    fn now(&mut self) -> Instant;
}

/// A counter that runs freely, as timers do.
pub trait Ticks {
    /// The counter, counting up; only its lowest bits count.
    fn ticks(&mut self) -> u32;
}

/// A clock that cannot be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum TicksError {
    /// A counter has 8 to 32 bits; this is the number given.
    Bits(u32),
    /// A frequency of 1 kHz to 1 GHz is needed; this is the one given.
    Hertz(u32),
}

impl fmt::Display for TicksError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bits(bits) => write!(f, "a counter of {bits} bits; 8 to 32 are possible"),
            Self::Hertz(hertz) => write!(f, "a counter at {hertz} Hz; 1 kHz to 1 GHz are possible"),
        }
    }
}

impl core::error::Error for TicksError {}

/// The time of a free-running counter, beyond its wraps.
///
/// Ask it more often than the counter wraps: one whole turn that nobody saw is lost, and everything then looks younger
/// than it is. With 32 bits at 100 MHz that are 42 s.
#[derive(Clone, Debug)]
pub struct FreeRunning<T> {
    ticks: T,
    mask: u32,
    last: u32,
    /// Ticks since the clock was made.
    total: u64,
    /// Nanoseconds per tick, and their 64-bit fraction, cut off.
    whole: u64,
    part: u64,
}

impl<T: Ticks> FreeRunning<T> {
    /// A clock over a counter of `bits` bits that counts `hertz` times a second; its time begins now.
    ///
    /// # Errors
    ///
    /// [`TicksError`] names the value and its range.
    pub fn try_new(mut ticks: T, bits: u32, hertz: u32) -> Result<Self, TicksError> {
        if !(8..=32).contains(&bits) {
            return Err(TicksError::Bits(bits));
        }
        if !(1_000..=1_000_000_000).contains(&hertz) {
            return Err(TicksError::Hertz(hertz));
        }
        let (period, _) = divide(u64_to_u128(NANOS_PER_SECOND) << 64, u128::from(hertz));
        // At least 1 kHz, so neither half can fail to fit.
        let whole = u128_to_u64(period >> 64).unwrap_or(0);
        let part = u128_to_u64(period & u128::from(u64::MAX)).unwrap_or(0);
        let last = ticks.ticks();
        Ok(Self { ticks, mask: u32::MAX >> 32_u32.saturating_sub(bits), last, total: 0, whole, part })
    }
}

impl<T: Ticks> Clock for FreeRunning<T> {
    /// Less than two nanoseconds below the exact time, from the exact number of ticks: no rounding adds up.
    fn now(&mut self) -> Instant {
        let ticks = self.ticks.ticks();
        let passed = ticks.wrapping_sub(self.last) & self.mask;
        self.last = ticks;
        // Bounded because 2⁶⁴ ticks of 1 ns or more are 584 years.
        self.total = self.total.wrapping_add(u64::from(passed));
        let (fraction, _) = mul(self.total, self.part);
        // A time beyond the range stands still, which is a clock fault.
        let nanos = self.total.checked_mul(self.whole).and_then(|nanos| nanos.checked_add(fraction));
        Instant::from_nanos(nanos.unwrap_or(u64::MAX))
    }
}
