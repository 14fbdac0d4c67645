//! Exact decimal numbers and values with units.
//!
//! Every number a person writes is read as an exact fraction: `0.1 mm` is one tenth of a millimetre, `360/4096 deg`
//! is that fraction of a turn and nothing near it. Rounding happens once, when a value enters the fixed point of
//! the monitors or whole nanoseconds, and its direction is always named ([`Rounding`]).
//!
//! Bases: lengths are held in mm, angles in deg, times in ns, speeds in mm/s or deg/s, accelerations in mm/s² or
//! deg/s², torques in Nm, shares in %, temperatures in degC. All units but the radian are exact multiples of their base; see [`PI`].
//!
//! Numbers are fractions of two `i128`. What does not fit (some 38 digits) is refused, never approximated.

mod unit;

use std::fmt;
use std::ops::Range;

use monitor_core::FRACTION_BITS;
use num_rational::Ratio;
use num_traits::{CheckedMul, Signed, Zero};

pub use unit::{Dimension, PI, Quantity, Unit, ValueError, ValueErrorKind, parse_quantity, parse_unit};

/// An exact number: a reduced fraction of two `i128` with a positive denominator.
pub type Exact = Ratio<i128>;

/// Units in the last place (2⁻²⁴) in one axis unit.
pub const ULPS_PER_UNIT: u64 = 1 << FRACTION_BITS;

/// Steps of 10⁻⁹ ULP in one axis unit, the grid on which a distance per count is held.
pub const NANO_ULPS_PER_UNIT: u64 = ULPS_PER_UNIT * 1_000_000_000;

/// Which way a value goes that lies between two representable ones.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rounding {
    /// Towards minus infinity.
    Down,
    /// Towards plus infinity.
    Up,
    /// To the nearest, ties away from zero.
    Nearest,
}

/// Why a value cannot be represented.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RangeError {
    /// Beyond the largest representable magnitude.
    TooLarge,
    /// Not zero, but rounded to zero.
    TooFine,
    /// Below zero where only a magnitude is meant.
    Negative,
}

impl fmt::Display for RangeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooLarge => "too large",
            Self::TooFine => "too small to be told from zero",
            Self::Negative => "negative",
        })
    }
}

impl std::error::Error for RangeError {}

/// Why a text is not a number. The range is in bytes of the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NumberError {
    /// The offending bytes.
    pub range: Range<usize>,
    /// What is wrong there.
    pub kind: NumberErrorKind,
}

/// What is wrong with a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NumberErrorKind {
    /// Nothing there.
    Empty,
    /// No digit where a number has to start, or something left over after it.
    NotANumber,
    /// A comma where a decimal point belongs.
    Comma,
    /// A fraction with a zero below the line.
    DividesByZero,
    /// More digits, or a larger exponent, than can be held exactly.
    TooLong,
}

impl fmt::Display for NumberError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self.kind {
            NumberErrorKind::Empty => "empty; expected a number such as 2.5, 1e-3 or 360/4096",
            NumberErrorKind::NotANumber => "not a number; expected one such as 2.5, 1e-3 or 360/4096",
            NumberErrorKind::Comma => {
                "a comma in a number; write the decimal point as `.` and group no digits"
            }
            NumberErrorKind::DividesByZero => "a fraction that divides by zero",
            NumberErrorKind::TooLong => "more digits than can be held exactly; write fewer",
        })
    }
}

impl std::error::Error for NumberError {}

/// Reads a whole text as a number: sign, digits with a decimal point, exponent, and optionally a fraction `a/b` of
/// two such numbers. Blanks around it are ignored.
///
/// # Errors
/// [`NumberError`] with the offending bytes when the text is not exactly one number, or has too many digits.
pub fn parse_number(text: &str) -> Result<Exact, NumberError> {
    let (value, end) = number_prefix(text)?;
    let rest = text[end..].trim_end();
    if rest.is_empty() {
        return Ok(value);
    }
    let kind = if rest.starts_with(',') { NumberErrorKind::Comma } else { NumberErrorKind::NotANumber };
    Err(NumberError { range: end..end + rest.len(), kind })
}

/// Reads the number at the start of `text`; also returns where it ends.
fn number_prefix(text: &str) -> Result<(Exact, usize), NumberError> {
    let start = text.len() - text.trim_start().len();
    let bytes = text.as_bytes();
    if start == text.len() {
        return Err(NumberError { range: 0..text.len(), kind: NumberErrorKind::Empty });
    }
    let negative = bytes[start] == b'-';
    let unsigned = start + usize::from(matches!(bytes[start], b'-' | b'+'));
    let not_a_number = || NumberError {
        range: start..start + text[start..].split_whitespace().next().map_or(0, str::len),
        kind: NumberErrorKind::NotANumber,
    };
    let (above, mut end) =
        unsigned_decimal(bytes, unsigned).map_err(|_| too_long(start, bytes))?.ok_or_else(not_a_number)?;
    let mut value = above;
    if bytes.get(end) == Some(&b'/') && bytes.get(end + 1).is_some_and(u8::is_ascii_digit) {
        let (below, stop) = unsigned_decimal(bytes, end + 1)
            .map_err(|_| too_long(end + 1, bytes))?
            .ok_or_else(not_a_number)?;
        if below.is_zero() {
            return Err(NumberError { range: end + 1..stop, kind: NumberErrorKind::DividesByZero });
        }
        value = above
            .checked_mul(&below.recip())
            .ok_or(NumberError { range: start..stop, kind: NumberErrorKind::TooLong })?;
        end = stop;
    }
    if bytes.get(end) == Some(&b',') && bytes.get(end + 1).is_some_and(u8::is_ascii_digit) {
        return Err(NumberError { range: end..end + 1, kind: NumberErrorKind::Comma });
    }
    Ok((if negative { -value } else { value }, end))
}

fn too_long(start: usize, bytes: &[u8]) -> NumberError {
    let length = bytes[start..].iter().take_while(|byte| !byte.is_ascii_whitespace()).count();
    NumberError { range: start..start + length, kind: NumberErrorKind::TooLong }
}

/// Marks a number whose digits do not fit.
struct Overflow;

/// Digits, decimal point and exponent from `start` on: the value and where it ends, or `None` without a digit.
fn unsigned_decimal(bytes: &[u8], start: usize) -> Result<Option<(Exact, usize)>, Overflow> {
    let mut mantissa: i128 = 0;
    let (mut digits, mut places) = (0_u32, 0_i64);
    let mut point = false;
    let mut end = start;
    while let Some(&byte) = bytes.get(end) {
        match byte {
            b'0'..=b'9' => {
                mantissa = mantissa
                    .checked_mul(10)
                    .and_then(|tens| tens.checked_add(i128::from(byte - b'0')))
                    .ok_or(Overflow)?;
                digits += 1;
                places += i64::from(point);
            }
            b'.' if !point => point = true,
            _ => break,
        }
        end += 1;
    }
    if digits == 0 {
        return Ok(None);
    }
    let (exponent, end) = exponent(bytes, end);
    let shift = exponent - places;
    if mantissa == 0 {
        return Ok(Some((Exact::zero(), end)));
    }
    let power = u32::try_from(shift.unsigned_abs())
        .ok()
        .and_then(|shift| 10_i128.checked_pow(shift))
        .ok_or(Overflow)?;
    let value = if shift < 0 {
        Exact::new(mantissa, power)
    } else {
        Exact::from_integer(mantissa.checked_mul(power).ok_or(Overflow)?)
    };
    Ok(Some((value, end)))
}

/// The exponent at `start` (zero when there is none) and where it ends. An `e` without digits belongs to the unit.
fn exponent(bytes: &[u8], start: usize) -> (i64, usize) {
    if !matches!(bytes.get(start), Some(b'e' | b'E')) {
        return (0, start);
    }
    let negative = bytes.get(start + 1) == Some(&b'-');
    let first = start + 1 + usize::from(matches!(bytes.get(start + 1), Some(b'-' | b'+')));
    let mut end = first;
    let mut value = 0_i64;
    while let Some(digit) = bytes.get(end).filter(|byte| byte.is_ascii_digit()) {
        // Kept at a bound that no power of ten in an `i128` reaches, so that a long exponent is refused as such.
        value = (value * 10 + i64::from(digit - b'0')).min(1_000_000);
        end += 1;
    }
    if end == first {
        return (0, start);
    }
    (if negative { -value } else { value }, end)
}

/// `value × scale` rounded to an integer, or `None` when the result does not fit an `i128`.
///
/// The product is taken with as many bits as it needs: no value is refused because it has many digits.
#[must_use]
pub fn round_scaled(value: &Exact, scale: u64, rounding: Rounding) -> Option<i128> {
    let below = value.denom().unsigned_abs();
    let whole = value.numer().div_euclid(*value.denom());
    let part = value.numer().rem_euclid(*value.denom()).unsigned_abs();
    // part × scale / below by long multiplication: part < below < 2¹²⁷, so that doubling and adding stay below 2¹²⁸.
    let (mut quotient, mut rest) = (0_i128, 0_u128);
    for bit in (0..u64::BITS).rev() {
        quotient *= 2;
        let addend = if (scale >> bit) & 1 == 1 { part } else { 0 };
        for add in [rest, addend] {
            rest += add;
            if rest >= below {
                rest -= below;
                quotient += 1;
            }
        }
    }
    let floor = whole.checked_mul(i128::from(scale))?.checked_add(quotient)?;
    let up = match rounding {
        Rounding::Down => false,
        Rounding::Up => rest != 0,
        Rounding::Nearest if value.is_negative() => rest > below - rest,
        Rounding::Nearest => rest >= below - rest,
    };
    floor.checked_add(i128::from(up))
}

fn to_grid(value: &Exact, scale: u64, rounding: Rounding) -> Result<i64, RangeError> {
    let steps = round_scaled(value, scale, rounding)
        .and_then(|steps| i64::try_from(steps).ok())
        .ok_or(RangeError::TooLarge)?;
    if steps == 0 && !value.is_zero() {
        return Err(RangeError::TooFine);
    }
    Ok(steps)
}

/// A value in the axis unit (or per second, per second squared or cubed) in ULP of 2⁻²⁴, rounded as named.
///
/// # Errors
/// [`RangeError::TooLarge`] beyond ±2³⁹ of the unit; [`RangeError::TooFine`] for a non-zero value that rounds to
/// zero.
pub fn to_ulps(value: &Exact, rounding: Rounding) -> Result<i64, RangeError> {
    to_grid(value, ULPS_PER_UNIT, rounding)
}

/// A distance per count in steps of 10⁻⁹ ULP (6·10⁻¹⁷ of the axis unit), rounded to the nearest.
///
/// # Errors
/// [`RangeError::TooLarge`] beyond ±549 of the axis unit; [`RangeError::TooFine`] for a non-zero value that rounds
/// to zero.
pub fn to_nano_ulps(value: &Exact) -> Result<i64, RangeError> {
    to_grid(value, NANO_ULPS_PER_UNIT, Rounding::Nearest)
}

/// A time in ns as whole nanoseconds, rounded as named.
///
/// # Errors
/// [`RangeError::Negative`] below zero, [`RangeError::TooLarge`] beyond 2⁶⁴ ns (584 years),
/// [`RangeError::TooFine`] for a positive time that rounds to zero.
pub fn to_nanos(value: &Exact, rounding: Rounding) -> Result<u64, RangeError> {
    if value.is_negative() {
        return Err(RangeError::Negative);
    }
    let nanos = round_scaled(value, 1, rounding)
        .and_then(|nanos| u64::try_from(nanos).ok())
        .ok_or(RangeError::TooLarge)?;
    if nanos == 0 && !value.is_zero() {
        return Err(RangeError::TooFine);
    }
    Ok(nanos)
}

/// The exact text of a number: a decimal where it ends, a fraction `a/b` where it does not.
///
/// [`parse_number`] reads it back to the same number.
#[must_use]
pub fn exact_text(value: &Exact) -> String {
    terminating(value).unwrap_or_else(|| format!("{}/{}", value.numer(), value.denom()))
}

/// The finite decimal text of a number, or `None` when it has none or needs more digits than an `i128` holds.
fn terminating(value: &Exact) -> Option<String> {
    let (mut rest, mut twos, mut fives) = (*value.denom(), 0_u32, 0_u32);
    while rest % 2 == 0 {
        rest /= 2;
        twos += 1;
    }
    while rest % 5 == 0 {
        rest /= 5;
        fives += 1;
    }
    if rest != 1 {
        return None;
    }
    let places = twos.max(fives);
    let factor = 10_i128.checked_pow(places)? / value.denom();
    let digits = value.numer().checked_mul(&factor)?;
    let places = usize::try_from(places).ok()?;
    let text = format!("{:0width$}", digits.unsigned_abs(), width = places + 1);
    let (whole, part) = text.split_at(text.len() - places);
    let sign = if digits < 0 { "-" } else { "" };
    Some(if part.is_empty() { format!("{sign}{whole}") } else { format!("{sign}{whole}.{part}") })
}

/// A number for a sentence: exact when that takes few digits, else four significant digits rounded as named.
#[must_use]
pub fn short_text(value: &Exact, rounding: Rounding) -> String {
    const DIGITS_SHOWN_EXACTLY: usize = 9;
    if let Some(text) = terminating(value).filter(|text| text.len() <= DIGITS_SHOWN_EXACTLY) {
        return text;
    }
    let magnitude = value.abs();
    // The first power of ten that leaves at least four digits before the point; none is needed above 1000.
    let power = (0..=19_u32)
        .map(|places| 10_u64.pow(places))
        .find(|&power| round_scaled(&magnitude, power, Rounding::Down).is_none_or(|digits| digits >= 1000))
        .unwrap_or(10_u64.pow(19));
    match round_scaled(value, power, rounding) {
        Some(digits) => exact_text(&Exact::new(digits, i128::from(power))),
        None => exact_text(value),
    }
}
