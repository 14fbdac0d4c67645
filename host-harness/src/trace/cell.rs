//! The text of one cell as an exact decimal number, a level or a flag.

/// The mark between the whole and the fractional digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mark {
    Point,
    Comma,
}

impl Mark {
    pub(super) const fn byte(self) -> u8 {
        match self {
            Self::Point => b'.',
            Self::Comma => b',',
        }
    }

    pub(super) const fn in_words(self) -> &'static str {
        match self {
            Self::Point => "point",
            Self::Comma => "comma",
        }
    }
}

/// A decimal number without loss: `(-1)^negative x digits x 10^exponent`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Decimal {
    pub(super) negative: bool,
    /// The significant digits without leading or trailing zeros; empty for zero.
    pub(super) digits: Vec<u8>,
    /// The power of ten of the last digit. Bounded far beyond everything that can be represented.
    pub(super) exponent: i64,
    /// The decimal mark, if there is one.
    pub(super) mark: Option<Mark>,
}

/// Why a text is no [`Decimal`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum NoDecimal {
    Empty,
    NotFinite,
    Text,
    TooLong,
}

/// No measured value is as long as this; conversion of longer ones would cost time without end.
const LONGEST_NUMBER: usize = 256;
/// Exponents are read up to here; beyond, the number is as good as zero or far out of every range.
const EXPONENT_BOUND: i64 = 1_000_000;

impl Decimal {
    /// Reads a number; blanks must be trimmed already.
    pub(super) fn parse(text: &str) -> Result<Self, NoDecimal> {
        if text.is_empty() {
            return Err(NoDecimal::Empty);
        }
        let (negative, unsigned) = match text.as_bytes() {
            [b'-', rest @ ..] => (true, rest),
            [b'+', rest @ ..] => (false, rest),
            all => (false, all),
        };
        if ["nan", "inf", "infinity"].iter().any(|word| unsigned.eq_ignore_ascii_case(word.as_bytes())) {
            return Err(NoDecimal::NotFinite);
        }
        let power_at = unsigned.iter().position(|&byte| matches!(byte, b'e' | b'E'));
        let (mantissa, power) = match power_at {
            Some(at) => (&unsigned[..at], power_of_ten(&unsigned[at + 1..]).ok_or(NoDecimal::Text)?),
            None => (unsigned, 0),
        };
        let mut mark = None;
        let mut places = 0;
        let mut digits = Vec::new();
        let mut any_digit = false;
        for &byte in mantissa {
            match byte {
                b'0'..=b'9' => {
                    any_digit = true;
                    places += i64::from(mark.is_some());
                    if byte != b'0' || !digits.is_empty() {
                        digits.push(byte);
                    }
                }
                b'.' if mark.is_none() => mark = Some(Mark::Point),
                b',' if mark.is_none() => mark = Some(Mark::Comma),
                _ => return Err(NoDecimal::Text),
            }
        }
        if !any_digit {
            return Err(NoDecimal::Text);
        }
        if text.len() > LONGEST_NUMBER {
            return Err(NoDecimal::TooLong);
        }
        Ok(Self { mark, ..Self::new(negative, digits, power - places) })
    }

    /// From digits without leading zeros, the last of which has this power of ten.
    pub(super) fn new(negative: bool, mut digits: Vec<u8>, mut exponent: i64) -> Self {
        while digits.last() == Some(&b'0') {
            digits.pop();
            exponent += 1;
        }
        if digits.is_empty() {
            exponent = 0;
        }
        Self { negative, digits, exponent, mark: None }
    }

    /// The number as a whole one; `None` when it has a fraction or does not fit.
    pub(super) fn to_whole(&self) -> Option<i128> {
        // Without trailing zeros among the digits, a negative power of ten leaves a fraction.
        let power = u32::try_from(self.exponent).ok()?;
        let scaled = self.small_digits()?.checked_mul(10_u128.checked_pow(power)?)?;
        signed(self.negative, scaled)
    }

    /// Whether the number is whole, however large.
    pub(super) const fn is_whole(&self) -> bool {
        self.exponent >= 0
    }

    /// The digits as a number, when there are at most 38.
    pub(super) fn small_digits(&self) -> Option<u128> {
        let digit = |sum: u128, &byte: &u8| sum * 10 + u128::from(byte - b'0');
        (self.digits.len() <= 38).then(|| self.digits.iter().fold(0, digit))
    }

    /// Zero or one, written as any number.
    fn as_bit(&self) -> Option<bool> {
        match (self.negative, self.digits.as_slice(), self.exponent) {
            (false, [], _) => Some(false),
            (false, [b'1'], 0) => Some(true),
            _ => None,
        }
    }
}

/// `magnitude` with its sign, when it fits.
pub(super) fn signed(negative: bool, magnitude: u128) -> Option<i128> {
    let value = i128::try_from(magnitude).ok()?;
    Some(if negative { -value } else { value })
}

fn power_of_ten(text: &[u8]) -> Option<i64> {
    let (negative, digits) = match text {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        all => (false, all),
    };
    if digits.is_empty() || !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    let bounded = |sum: i64, &byte: &u8| (sum * 10 + i64::from(byte - b'0')).min(EXPONENT_BOUND);
    let power = digits.iter().fold(0, bounded);
    Some(if negative { -power } else { power })
}

/// Reads a level: 0 or 1 in any way of writing a number, `false` or `true`, `low` or `high` in any case.
pub(super) fn level(text: &str) -> Option<bool> {
    if text.eq_ignore_ascii_case("low") {
        return Some(false);
    }
    if text.eq_ignore_ascii_case("high") {
        return Some(true);
    }
    flag(text)
}

/// Reads a flag: 0 or 1 in any way of writing a number, `false` or `true` in any case.
pub(super) fn flag(text: &str) -> Option<bool> {
    if text.eq_ignore_ascii_case("false") {
        return Some(false);
    }
    if text.eq_ignore_ascii_case("true") {
        return Some(true);
    }
    Decimal::parse(text).ok()?.as_bit()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_decimal_is_read_in_every_way_of_writing_it() {
        for (text, whole) in [
            ("0", 0),
            ("-0", 0),
            ("+7", 7),
            ("1234.0", 1234),
            ("1.234e3", 1234),
            ("1,234E+3", 1234),
            ("-12340e-1", -1234),
            ("5.", 5),
            ("000120", 120),
            ("18446744073709551615", 18_446_744_073_709_551_615),
        ] {
            assert_eq!(Decimal::parse(text).unwrap().to_whole(), Some(whole), "{text}");
        }
    }

    #[test]
    fn a_fraction_is_no_whole_number() {
        for text in ["12.5", ".5", "1e-1", "1e-999999999999"] {
            let decimal = Decimal::parse(text).unwrap();
            assert!(!decimal.is_whole(), "{text}");
            assert_eq!(decimal.to_whole(), None, "{text}");
        }
    }

    #[test]
    fn what_is_no_decimal_says_why() {
        for (text, why) in [
            ("", NoDecimal::Empty),
            ("NaN", NoDecimal::NotFinite),
            ("-inf", NoDecimal::NotFinite),
            ("Infinity", NoDecimal::NotFinite),
            ("abc", NoDecimal::Text),
            ("-", NoDecimal::Text),
            (".", NoDecimal::Text),
            ("e5", NoDecimal::Text),
            ("1e", NoDecimal::Text),
            ("1e5.0", NoDecimal::Text),
            ("1.2.3", NoDecimal::Text),
            ("1.234,5", NoDecimal::Text),
            ("1 000", NoDecimal::Text),
            ("0x10", NoDecimal::Text),
            ("--1", NoDecimal::Text),
        ] {
            assert_eq!(Decimal::parse(text), Err(why), "{text}");
        }
        assert_eq!(Decimal::parse(&"1".repeat(257)), Err(NoDecimal::TooLong));
    }

    #[test]
    fn levels_and_flags_have_their_own_words() {
        for (text, value) in [
            ("0", Some(false)),
            ("1", Some(true)),
            ("0.0", Some(false)),
            ("1.0", Some(true)),
            ("1e0", Some(true)),
            ("TRUE", Some(true)),
            ("False", Some(false)),
            ("High", Some(true)),
            ("low", Some(false)),
            ("2", None),
            ("-1", None),
            ("10", None),
            ("0.5", None),
            ("on", None),
            ("", None),
        ] {
            assert_eq!(level(text), value, "level {text:?}");
            let as_flag = if text.to_ascii_lowercase().as_bytes().first().is_some_and(|c| b"hl".contains(c)) {
                None
            } else {
                value
            };
            assert_eq!(flag(text), as_flag, "flag {text:?}");
        }
    }
}
