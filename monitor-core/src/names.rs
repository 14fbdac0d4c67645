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

            /// The one at a place in the order of adding, from 0; `None` from 32 on, which no axis has room for.
            ///
            /// Whether an axis has so many is not known here; where it has not, the name is refused or passed over there, as that of another axis is.
            #[must_use]
            pub const fn from_index(index: u8) -> Option<Self> {
                if index < 32 { Some(Self(index)) } else { None }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::{AnalogueSet, InputSet, MonitorSet};

    #[test]
    fn every_place_that_a_set_holds_has_a_name_and_no_other_one() {
        for index in 0..=u8::MAX {
            let place = (index < 32).then_some(index);
            assert_eq!(MonitorId::from_index(index).map(MonitorId::index), place);
            assert_eq!(InputId::from_index(index).map(InputId::index), place);
            assert_eq!(AnalogueId::from_index(index).map(AnalogueId::index), place);
        }
        let names = || (0..=u8::MAX).filter_map(MonitorId::from_index);
        assert!(MonitorSet::from_bits(u32::MAX).iter().eq(names()));
        assert!(InputSet::from_bits(u32::MAX).iter().eq((0..=u8::MAX).filter_map(InputId::from_index)));
        assert!(AnalogueSet::from_bits(u32::MAX).iter().eq((0..=u8::MAX).filter_map(AnalogueId::from_index)));
    }
}
