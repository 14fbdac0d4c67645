//! What the parts of an axis are called.

use crate::widen::u8_to_u32;

macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
        pub struct $name(u8);

        impl $name {
            pub(crate) const fn at(index: u8) -> Self {
                Self(index)
            }

            /// The place in the order of adding, from 0.
            #[must_use]
            pub const fn index(self) -> u8 {
                self.0
            }

            #[inline]
            pub(crate) const fn bit(self) -> u32 {
                1_u32.wrapping_shl(u8_to_u32(self.0))
            }
        }
    };
}

id! {
    /// Names a monitor of an axis.
    MonitorId
}
id! {
    /// Names an input of an axis.
    InputId
}

id! {
    /// Names an analogue value of an axis.
    AnalogueId
}

/// How many analogue values an axis has room for.
pub const ANALOGUES: usize = 2;
