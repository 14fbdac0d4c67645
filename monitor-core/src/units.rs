//! Quantities in the axis unit, and time.
//!
//! Every length, speed, acceleration and jerk is a [`fixed::types::I40F24`]: 24 fractional bits of the axis
//! unit (mm or deg), of that unit per second, per second squared or cubed. One unit in the last place (ULP) is
//! 2⁻²⁴, some 6·10⁻⁸ of the unit; the range is ±2³⁹, some ±5.5·10¹¹ of the unit. One binary point for all
//! means that comparing a speed with travel over time needs no shifting, and that there is one rounding
//! rule to check.

use core::fmt;

use fixed::types::I40F24;

/// Nanoseconds in one second.
pub const NANOS_PER_SECOND: u64 = 1_000_000_000;

/// Number of fractional bits of [`Position`], [`Speed`], [`Acceleration`] and [`Jerk`].
pub const FRACTION_BITS: u32 = 24;

/// An instant: nanoseconds since an arbitrary origin that all readings and frames of an axis share.
///
/// The core reads no clock; whoever calls it says what time it is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Instant(u64);

impl Instant {
    /// The instant `nanos` nanoseconds after the origin.
    #[must_use]
    pub const fn from_nanos(nanos: u64) -> Self {
        Self(nanos)
    }

    /// Nanoseconds since the origin.
    #[must_use]
    pub const fn as_nanos(self) -> u64 {
        self.0
    }

    /// Time from `earlier` to `self`, or `None` when `earlier` is the later of the two.
    #[must_use]
    pub const fn since(self, earlier: Self) -> Option<Span> {
        match self.0.checked_sub(earlier.0) {
            Some(nanos) => Some(Span(nanos)),
            None => None,
        }
    }

    /// The instant `span` later, or `None` beyond the range.
    #[must_use]
    pub const fn after(self, span: Span) -> Option<Self> {
        match self.0.checked_add(span.0) {
            Some(nanos) => Some(Self(nanos)),
            None => None,
        }
    }
}

/// A length of time in nanoseconds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Span(u64);

impl Span {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// A span of `nanos` nanoseconds.
    #[must_use]
    pub const fn from_nanos(nanos: u64) -> Self {
        Self(nanos)
    }

    /// A span of `micros` microseconds, or `None` beyond the range.
    #[must_use]
    pub const fn from_micros(micros: u64) -> Option<Self> {
        match micros.checked_mul(1_000) {
            Some(nanos) => Some(Self(nanos)),
            None => None,
        }
    }

    /// A span of `millis` milliseconds, or `None` beyond the range.
    #[must_use]
    pub const fn from_millis(millis: u64) -> Option<Self> {
        match millis.checked_mul(1_000_000) {
            Some(nanos) => Some(Self(nanos)),
            None => None,
        }
    }

    /// The span in nanoseconds.
    #[must_use]
    pub const fn as_nanos(self) -> u64 {
        self.0
    }
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(I40F24);

        impl $name {
            /// Zero.
            pub const ZERO: Self = Self(I40F24::ZERO);
            /// The largest value, some 5.5·10¹¹.
            pub const MAX: Self = Self(I40F24::MAX);

            /// Wraps a fixed-point value in the axis unit.
            #[must_use]
            pub const fn new(value: I40F24) -> Self {
                Self(value)
            }

            /// A whole number of units, or `None` beyond ±2³⁹.
            #[must_use]
            pub fn from_int(units: i64) -> Option<Self> {
                I40F24::checked_from_num(units).map(Self)
            }

            /// The fixed-point value in the axis unit.
            #[must_use]
            pub const fn value(self) -> I40F24 {
                self.0
            }

            /// The value counted in units in the last place (2⁻²⁴ of the axis unit).
            #[must_use]
            pub const fn from_bits(bits: i64) -> Self {
                Self(I40F24::from_bits(bits))
            }

            /// The value counted in units in the last place (2⁻²⁴ of the axis unit).
            #[must_use]
            pub const fn to_bits(self) -> i64 {
                self.0.to_bits()
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, f)
            }
        }

        #[cfg(feature = "defmt")]
        impl defmt::Format for $name {
            fn format(&self, f: defmt::Formatter<'_>) {
                defmt::write!(f, "{=i64} / 2^24", self.0.to_bits());
            }
        }

        #[cfg(feature = "serde")]
        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_i64(self.0.to_bits())
            }
        }

        #[cfg(feature = "serde")]
        impl<'de> serde::Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                <i64 as serde::Deserialize>::deserialize(deserializer).map(Self::from_bits)
            }
        }
    };
}

quantity! {
    /// A position or a travel in the axis unit (mm or deg).
    Position
}
quantity! {
    /// A speed in the axis unit per second.
    Speed
}
quantity! {
    /// An acceleration in the axis unit per second squared.
    Acceleration
}
quantity! {
    /// A jerk in the axis unit per second cubed.
    Jerk
}
quantity! {
    /// An analogue value in a unit of its own.
    Value
}
