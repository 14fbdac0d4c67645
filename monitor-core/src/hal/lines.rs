//! Input lines.

use embedded_hal::digital::InputPin;

use crate::frame::Levels;

/// The input lines of a board: a tuple of up to eight pins, or an array of up to 32 of one type. The first is line 0.
pub trait Lines {
    /// The levels of all lines.
    ///
    /// # Errors
    ///
    /// The number of the first line that cannot be read.
    fn read(&mut self) -> Result<Levels, u8>;
}

/// The bit of a line in [`Levels`], when the pin can be read. For those who implement [`Lines`] themselves.
///
/// # Errors
///
/// The number of the line, when it cannot be read or is beyond the last there is.
pub fn line_bit(pin: &mut impl InputPin, line: u8) -> Result<u32, u8> {
    let bit = 1_u32.checked_shl(u32::from(line)).ok_or(line)?;
    match pin.is_high() {
        Ok(true) => Ok(bit),
        Ok(false) => Ok(0),
        Err(_) => Err(line),
    }
}

impl<P: InputPin, const N: usize> Lines for [P; N] {
    fn read(&mut self) -> Result<Levels, u8> {
        const { assert!(N <= 32, "a frame carries 32 lines") };
        let mut bits = 0;
        for (pin, line) in self.iter_mut().zip(0..) {
            bits |= line_bit(pin, line)?;
        }
        Ok(Levels::from_bits(bits))
    }
}

macro_rules! tuple {
    ($($pin:ident $line:literal),+) => {
        impl<$($pin: InputPin),+> Lines for ($($pin,)+) {
            fn read(&mut self) -> Result<Levels, u8> {
                #[expect(non_snake_case, reason = "named after their types")]
                let ($($pin,)+) = self;
                Ok(Levels::from_bits(0 $(| line_bit($pin, $line)?)+))
            }
        }
    };
}

tuple!(A 0);
tuple!(A 0, B 1);
tuple!(A 0, B 1, C 2);
tuple!(A 0, B 1, C 2, D 3);
tuple!(A 0, B 1, C 2, D 3, E 4);
tuple!(A 0, B 1, C 2, D 3, E 4, F 5);
tuple!(A 0, B 1, C 2, D 3, E 4, F 5, G 6);
tuple!(A 0, B 1, C 2, D 3, E 4, F 5, G 6, H 7);
