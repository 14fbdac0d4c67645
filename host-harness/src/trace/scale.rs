//! Multiplying a decimal number by an exact fraction, with one rounding at the end.

use monitor_core::FRACTION_BITS;
use num_rational::{BigRational, Ratio};
use num_traits::{Signed, ToPrimitive, Zero};

use super::cell::{Decimal, signed};
use super::layout::TimeUnit;
use super::table::parts;

/// The decimal places that the fast conversion covers: digits that fit a `u64`.
pub(super) const FAST_PLACES: usize = 19;

/// A factor, and the same factor over each power of ten, reduced so that small numbers suffice.
#[derive(Clone, Debug)]
pub(super) struct Scale {
    /// `scale` itself is `numerator x 2^doublings x 10^tens / denominator`.
    numerator: i128,
    denominator: i128,
    doublings: u32,
    tens: u32,
    /// Entry `p`: the magnitude of `scale / 10^p` in lowest terms, where both terms fit 64 bits.
    by_places: [Option<(u64, u64)>; FAST_PLACES + 1],
    negative: bool,
}

impl Scale {
    /// From a unit of time to nanoseconds.
    pub(super) fn of_time(unit: TimeUnit) -> Self {
        Self::new(Ratio::from_integer(1), 0, unit.nanosecond_places())
    }

    /// From a unit that is `scale` axis units to units in the last place of a position.
    pub(super) fn of_position(scale: Ratio<i128>) -> Self {
        Self::new(scale, FRACTION_BITS, 0)
    }

    fn new(scale: Ratio<i128>, doublings: u32, tens: u32) -> Self {
        let (numerator, denominator) = (*scale.numer(), *scale.denom());
        let negative = (numerator < 0) != (denominator < 0);
        let fraction = |places: usize| {
            let power = u32::try_from(places).ok()?;
            let up = numerator
                .unsigned_abs()
                .checked_mul(1_u128.checked_shl(doublings)?)?
                .checked_mul(10_u128.checked_pow(tens)?)?;
            let down = denominator.unsigned_abs().checked_mul(10_u128.checked_pow(power)?)?;
            let lowest = Ratio::new(up, down);
            Some((u64::try_from(*lowest.numer()).ok()?, u64::try_from(*lowest.denom()).ok()?))
        };
        Self { numerator, denominator, doublings, tens, by_places: std::array::from_fn(fraction), negative }
    }

    /// `(-1)^negative x digits / 10^places x scale`, rounded to the nearest whole number, ties away from
    /// zero. `None` when the quick way does not reach; [`Self::apply`] does.
    #[inline]
    pub(super) fn apply_small(&self, negative: bool, digits: u64, places: usize) -> Option<i64> {
        let (up, down) = (*self.by_places.get(places)?)?;
        let magnitude = match digits.checked_mul(up) {
            Some(product) if down == 1 => product,
            Some(product) => {
                let (quotient, rest) = (product / down, product % down);
                quotient + u64::from(rest >= down - rest)
            }
            None => {
                let (product, down) = (u128::from(digits) * u128::from(up), u128::from(down));
                u64::try_from(nearest(product, down)).ok()?
            }
        };
        let value = i64::try_from(magnitude).ok()?;
        Some(if negative != self.negative { -value } else { value })
    }

    /// The whole number, not zero, that `scale / 10^places` is, if it is one.
    pub(super) fn factor(&self, places: usize) -> Option<i64> {
        match (*self.by_places.get(places)?)? {
            (up, 1) => i64::try_from(up).ok().map(|up| if self.negative { -up } else { up }),
            _ => None,
        }
    }

    /// `real x scale`, of all the digits that the float has, rounded once as above. `None` when the quick way does not reach.
    #[inline]
    pub(super) fn apply_real(&self, real: f64) -> Option<i64> {
        if !real.is_finite() {
            return None;
        }
        let (negative, mantissa, exponent) = parts(real);
        let (up, down) = self.by_places[0]?;
        let product = u128::from(mantissa) * u128::from(up);
        let magnitude = if exponent >= 0 {
            let shift = exponent.cast_unsigned();
            // Shifted out bits would be lost.
            (shift < product.leading_zeros()).then(|| nearest(product << shift, u128::from(down)))?
        } else {
            let shift = exponent.unsigned_abs();
            // Beyond, the product is below half a unit; the divisor is at least one.
            let (whole, half) = match shift {
                0..=127 => (product >> shift, product >> (shift - 1) & 1),
                _ => (0, 0),
            };
            let whole = u64::try_from(whole).ok()?;
            // A division takes longer than everything else here.
            let (quotient, rest) = if down == 1 { (whole, 0) } else { (whole / down, whole % down) };
            // Twice the rest and what was shifted out, against the divisor; that is whole, so the highest bit shifted out is enough.
            let twice = u128::from(rest) * 2 + half;
            u128::from(quotient) + u128::from(twice >= u128::from(down))
        };
        let value = i64::try_from(magnitude).ok()?;
        Some(if negative != self.negative { -value } else { value })
    }

    /// `number x scale`, rounded to the nearest whole number, ties away from zero; `None` when that is
    /// beyond 127 bits.
    pub(super) fn apply(&self, number: &Decimal) -> Option<i128> {
        if number.digits.is_empty() {
            return Some(0);
        }
        self.apply_in_128_bits(number).or_else(|| self.apply_in_any_length(number))
    }

    fn apply_in_128_bits(&self, number: &Decimal) -> Option<i128> {
        let power = number.exponent + i64::from(self.tens);
        let ten = 10_u128.checked_pow(u32::try_from(power.unsigned_abs()).ok()?)?;
        let (raise, lower) = if power < 0 { (1, ten) } else { (ten, 1) };
        let up = number
            .small_digits()?
            .checked_mul(self.numerator.unsigned_abs())?
            .checked_mul(1_u128.checked_shl(self.doublings)?)?
            .checked_mul(raise)?;
        let down = self.denominator.unsigned_abs().checked_mul(lower)?;
        signed(number.negative != self.negative, nearest(up, down))
    }

    fn apply_in_any_length(&self, number: &Decimal) -> Option<i128> {
        // A factor is below 2^128 x 2^24 x 10^9 < 10^55 and above 10^-39; outside of these powers the
        // product is far below half a unit, or far beyond 127 bits.
        let length = i64::try_from(number.digits.len()).ok()?;
        let magnitude = number.exponent + length;
        if magnitude < -60 {
            return Some(0);
        }
        if magnitude > 80 {
            return None;
        }
        let big = |value: i128| BigRational::from_integer(value.into());
        let mut value = number
            .digits
            .iter()
            .fold(BigRational::zero(), |sum, &digit| sum * big(10) + big(i128::from(digit - b'0')));
        let power = number.exponent + i64::from(self.tens);
        let ten = num_traits::pow(big(10), usize::try_from(power.unsigned_abs()).ok()?);
        value = if power < 0 { value / ten } else { value * ten };
        value =
            value * big(self.numerator).abs() * big(1_i128 << self.doublings) / big(self.denominator).abs();
        signed(number.negative != self.negative, value.round().to_integer().to_u128()?)
    }
}

/// `up / down` to the nearest whole number, ties up.
const fn nearest(up: u128, down: u128) -> u128 {
    let rest = up % down;
    // `rest >= down - rest` is `2 rest >= down` without leaving 128 bits. The quotient has room for one more
    // whenever there is a rest, because `down` is then at least 2.
    up / down + if rest >= down - rest { 1 } else { 0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ulps(scale: Ratio<i128>, text: &str) -> Option<i128> {
        Scale::of_position(scale).apply(&Decimal::parse(text).unwrap())
    }

    fn nanos(unit: TimeUnit, text: &str) -> Option<i128> {
        Scale::of_time(unit).apply(&Decimal::parse(text).unwrap())
    }

    #[test]
    fn times_are_exact_to_the_nanosecond_and_rounded_beyond() {
        for (unit, text, expected) in [
            (TimeUnit::Seconds, "1700000000.123456789", 1_700_000_000_123_456_789),
            (TimeUnit::Seconds, "0.0000625", 62_500),
            (TimeUnit::Seconds, "6.25e-5", 62_500),
            (TimeUnit::Millis, "0.0625", 62_500),
            (TimeUnit::Micros, "62,5", 62_500),
            (TimeUnit::Nanos, "62500", 62_500),
            (TimeUnit::Nanos, "0.5", 1),
            (TimeUnit::Nanos, "-0.5", -1),
            (TimeUnit::Nanos, "0.49999999999999999999999999999999999999999999", 0),
            (TimeUnit::Seconds, "0.0000000004", 0),
            (TimeUnit::Seconds, "0.00000000050", 1),
            (TimeUnit::Seconds, "1e-999999", 0),
        ] {
            assert_eq!(nanos(unit, text), Some(expected), "{text} {unit}");
        }
        assert_eq!(nanos(TimeUnit::Seconds, "1e80"), None);
        assert_eq!(nanos(TimeUnit::Seconds, "1e999999"), None);
    }

    #[test]
    fn positions_are_rounded_to_the_nearest_unit_in_the_last_place() {
        let mm = Ratio::from_integer(1);
        for (text, expected) in [
            ("1", 1 << 24),
            ("-1", -(1 << 24)),
            // Half a unit in the last place, 2^-25, and one digit less.
            ("0.0000000298023223876953125", 1),
            ("-0.0000000298023223876953125", -1),
            ("0.0000000298023223876953124", 0),
            ("0.1", 1_677_722),
        ] {
            assert_eq!(ulps(mm, text), Some(expected), "{text}");
        }
        // A third of a millimetre has no decimal fraction: three of them are exact all the same.
        assert_eq!(ulps(Ratio::new(1, 3), "3"), Some(1 << 24));
        assert_eq!(ulps(Ratio::new(-254, 10), "1"), Some(-426_141_286));
    }

    #[test]
    fn the_three_ways_of_scaling_agree() {
        let scales = [
            Ratio::new(1, 1),
            Ratio::new(1, 1000),
            Ratio::new(-254, 10),
            Ratio::new(1_000_000_007, 998_244_353),
            Ratio::new(360, 1 << 20),
        ];
        let mut state = 0x9e37_79b9_7f4a_7c15_u64;
        for round in 0..4_000 {
            let scale = Scale::of_position(scales[round % scales.len()]);
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            let digits = state >> (state % 60);
            let places = round % 12;
            let text = format!("{digits}e-{places}");
            let number = Decimal::parse(&text).unwrap();
            let exact = scale.apply_in_any_length(&number);
            if !number.digits.is_empty() {
                assert_eq!(scale.apply_in_128_bits(&number), exact, "{text}");
            }
            if let Some(small) = scale.apply_small(false, digits, places) {
                assert_eq!(Some(i128::from(small)), exact, "{text}");
            }
        }
    }
}
