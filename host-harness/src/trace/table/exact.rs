//! Floating-point numbers as the decimal numbers that they are exactly, and scaled integers as text.

use std::fmt::Write;

use super::super::cell::Decimal;

/// A finite float as `(-1)^negative x mantissa x 2^exponent`, the mantissa below 2^53 and odd (or zero).
pub(in super::super) fn parts(real: f64) -> (bool, u64, i32) {
    const MANTISSA_BITS: u32 = 52;
    let bits = real.to_bits();
    let stored = bits & ((1 << MANTISSA_BITS) - 1);
    let raised = i32::try_from(bits >> MANTISSA_BITS & 0x7ff).unwrap_or(0);
    let (mantissa, exponent) =
        if raised == 0 { (stored, -1074) } else { (stored | 1 << MANTISSA_BITS, raised - 1075) };
    if mantissa == 0 {
        return (real.is_sign_negative(), 0, 0);
    }
    let zeros = mantissa.trailing_zeros();
    (real.is_sign_negative(), mantissa >> zeros, exponent + zeros.cast_signed())
}

/// All digits of a finite float, without a power of ten.
pub(crate) fn exact_digits(real: f64) -> String {
    let (_, _, exponent) = parts(real);
    // A number with so many binary places has as many decimal places; the formatting of the standard library is exact.
    let places = usize::try_from(-exponent).unwrap_or(0);
    format!("{real:.places$}")
}

/// A finite float without loss.
pub(in super::super) fn exact(real: f64) -> Decimal {
    let text = exact_digits(real);
    let (negative, text) = match text.strip_prefix('-') {
        Some(text) => (true, text),
        None => (false, text.as_str()),
    };
    let places = text.find('.').map_or(0, |point| text.len() - point - 1);
    let digits = text.bytes().filter(u8::is_ascii_digit).skip_while(|&digit| digit == b'0').collect();
    Decimal::new(negative, digits, -i64::try_from(places).unwrap_or(0))
}

/// Appends `value / 10^places` with all its places.
pub(crate) fn push_fixed(text: &mut String, value: i128, places: u32) {
    let sign = if value < 0 { "-" } else { "" };
    let digits = value.unsigned_abs().to_string();
    let places = places as usize;
    // Writing to a string cannot fail.
    let _ = if places == 0 {
        write!(text, "{sign}{digits}")
    } else if digits.len() > places {
        let (whole, fraction) = digits.split_at(digits.len() - places);
        write!(text, "{sign}{whole}.{fraction}")
    } else {
        write!(text, "{sign}0.{digits:0>places$}")
    };
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_float_is_told_to_its_last_digit() {
        for (real, digits) in [
            (0.0, "0"),
            (-0.0, "-0"),
            (0.1, "0.1000000000000000055511151231257827021181583404541015625"),
            (-2.5, "-2.5"),
            (3.0, "3"),
            (9_007_199_254_740_993.0, "9007199254740992"),
            (0.5_f64.powi(25), "0.0000000298023223876953125"),
        ] {
            assert_eq!(exact_digits(real), digits);
        }
        for (real, text) in [(-2.5, "-2.5"), (1200.0, "1200"), (0.0, "0"), (0.0625, "0.0625")] {
            let parsed = Decimal::parse(text).unwrap();
            assert_eq!(exact(real), Decimal { mark: None, ..parsed }, "{text}");
        }
        assert_eq!(exact_digits(f64::from_bits(1)).len(), 1076, "the smallest one has 1074 places");
    }

    #[test]
    fn scaled_integers_are_written_with_all_places() {
        for (value, places, text) in
            [(0, 0, "0"), (0, 3, "0.000"), (-1, 3, "-0.001"), (1_234_567, 3, "1234.567"), (-1000, 0, "-1000")]
        {
            let mut written = String::new();
            push_fixed(&mut written, value, places);
            assert_eq!(written, text);
        }
    }
}
