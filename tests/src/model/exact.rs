//! Exact fractions, and the roundings the rules name.

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{One, Signed, Zero};

/// An exact fraction of big integers.
pub type Q = BigRational;

/// The fraction `numerator / denominator`.
///
/// # Panics
/// When the denominator is zero.
#[must_use]
pub fn q(numerator: i128, denominator: i128) -> Q {
    Q::new(numerator.into(), denominator.into())
}

/// One unit in the last place: 2⁻²⁴ of the axis unit.
#[must_use]
pub fn ulp() -> Q {
    q(1, 1 << 24)
}

/// `count` units in the last place.
#[must_use]
pub fn ulps(count: i128) -> Q {
    q(count, 1 << 24)
}

/// A time of `nanos` nanoseconds in seconds.
#[must_use]
pub fn seconds(nanos: u64) -> Q {
    q(nanos.into(), 1_000_000_000)
}

/// `value` counted in ULPs, not in lowest terms: finding those is most of what the model spends its time on.
fn in_ulps(value: &Q) -> Q {
    Q::new_raw(value.numer() << 24_u32, value.denom().clone())
}

/// So many ULPs, a whole number.
fn of_ulps(count: Q) -> Q {
    Q::new(count.to_integer(), BigInt::from(1 << 24))
}

/// The largest whole number of ULPs not above `value`: how a limit given in decimal is held.
#[must_use]
pub fn ulp_down(value: &Q) -> Q {
    of_ulps(in_ulps(value).floor())
}

/// The smallest whole number of ULPs not below `value`.
#[must_use]
pub fn ulp_up(value: &Q) -> Q {
    of_ulps(in_ulps(value).ceil())
}

/// The whole number nearest to `value`, ties away from zero.
fn nearest(value: &Q) -> BigInt {
    let magnitude = (value.abs() + q(1, 2)).floor().to_integer();
    if value.is_negative() { -magnitude } else { magnitude }
}

/// The whole number of ULPs nearest to `value`, ties away from zero.
#[must_use]
pub fn nearest_ulp(value: &Q) -> Q {
    of_ulps(Q::from_integer(nearest(&in_ulps(value))))
}

/// `unit_per_count` as it is held: in steps of 10⁻⁹ ULP, rounded to nearest.
#[must_use]
pub fn scale_nearest(value: &Q) -> Q {
    let step = ulp() / Q::from_integer(1_000_000_000.into());
    Q::from_integer(nearest(&(value / &step))) * step
}

/// The largest value there is, 2⁶³ − 1 ULP.
pub(super) fn largest() -> Q {
    ulps(i64::MAX.into())
}

/// Two numbers between which a square root lies: 10⁻³⁰ apart, or the same where it is a fraction of that.
///
/// # Panics
/// When `value` is negative.
pub(super) fn root_between(value: &Q) -> [Q; 2] {
    let places = BigInt::from(10).pow(30);
    let squared = Q::from_integer(&places * &places);
    let scaled = value * squared;
    let below = scaled.floor().to_integer().sqrt();
    let above = if Q::from_integer(&below * &below) == scaled { below.clone() } else { &below + 1 };
    [Q::new(below, places.clone()), Q::new(above, places)]
}

/// A time in seconds in whole nanoseconds, rounded down.
pub(super) fn nanos_down(time: &Q) -> BigInt {
    (time * Q::from_integer(1_000_000_000.into())).floor().to_integer()
}

/// A square root in seconds in whole nanoseconds, rounded down.
///
/// # Panics
/// When `squared` is negative.
pub(super) fn root_nanos_down(squared: &Q) -> BigInt {
    (squared * Q::from_integer(BigInt::from(10).pow(18))).floor().to_integer().sqrt()
}

/// Whether the magnitude of `value` is at most 2⁶³ − 1 ULP.
pub(super) fn in_range(value: &Q) -> bool {
    in_ulps(value).numer().abs() <= value.denom() * i64::MAX
}

/// A decimal number such as `-0.00951068`, exactly, or `None` when the text is not one.
#[must_use]
pub fn decimal(text: &str) -> Option<Q> {
    let (negative, digits) = match text.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, text),
    };
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    if whole.is_empty() && fraction.is_empty() {
        return None;
    }
    let ten = BigInt::from(10);
    let mut numerator = BigInt::zero();
    let mut denominator = BigInt::one();
    for (place, character) in whole.chars().chain(fraction.chars()).enumerate() {
        numerator = numerator * &ten + character.to_digit(10)?;
        if place >= whole.len() {
            denominator *= &ten;
        }
    }
    let value = Q::new(numerator, denominator);
    Some(if negative { -value } else { value })
}
