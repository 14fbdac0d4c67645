//! From raw to physical values.

use super::error::MdfError;
use super::file::File;
use super::text::text;
use crate::trace::table::TableError;

/// How a raw value becomes a physical one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Conversion {
    /// It is one.
    Identity,
    /// `offset + factor x raw`, each operation rounded as any of `f64`.
    Linear { offset: f64, factor: f64 },
    /// `(p0 raw^2 + p1 raw + p2) / (p3 raw^2 + p4 raw + p5)`, likewise.
    Rational([f64; 6]),
    /// By a formula in text, or a table of numbers.
    Formula,
    /// To a text.
    Text,
}

impl Conversion {
    /// The conversion at a link, and the unit that stands beside it.
    pub(super) fn read(file: &mut File, at: u64) -> Result<(Self, Option<String>), TableError> {
        if at == 0 {
            return Ok((Self::Identity, None));
        }
        let block = file.block(at, &[b"##CC"])?;
        // Behind type, precision, flags, two counts and the range of physical values.
        let value = |index: usize| block.f64(24 + 8 * index);
        let kind = block.u8(0)?;
        let conversion = match kind {
            0 => Self::Identity,
            1 => Self::linear(value(0)?, value(1)?),
            2 => match [value(0)?, value(1)?, value(2)?, value(3)?, value(4)?, value(5)?] {
                [0.0, factor, offset, 0.0, 0.0, 1.0] => Self::linear(offset, factor),
                others => Self::Rational(others),
            },
            3..=6 => Self::Formula,
            7..=11 => Self::Text,
            _ => return Err(MdfError::damaged(format!("a conversion of the unknown type {kind}"), at).into()),
        };
        Ok((conversion, text(file, block.link(1))?))
    }

    fn linear(offset: f64, factor: f64) -> Self {
        match (offset, factor) {
            (0.0, 1.0) => Self::Identity,
            (offset, factor) => Self::Linear { offset, factor },
        }
    }

    /// The physical value; of a conversion to text the raw one.
    pub(super) fn apply(self, raw: f64) -> f64 {
        match self {
            Self::Identity | Self::Formula | Self::Text => raw,
            Self::Linear { offset, factor } => offset + factor * raw,
            Self::Rational([a, b, c, d, e, f]) => {
                (a * raw * raw + b * raw + c) / (d * raw * raw + e * raw + f)
            }
        }
    }

    /// Offset and factor where both are whole numbers: then nothing has to be rounded.
    pub(super) fn whole(self) -> Option<(i64, i64)> {
        const MOST: f64 = (1_u64 << 53) as f64;
        // Bounded because of the comparison.
        let whole = |number: f64| (number.trunc() == number && number.abs() <= MOST).then_some(number as i64);
        match self {
            Self::Linear { offset, factor } => whole(offset).zip(whole(factor)),
            _ => None,
        }
    }

    /// How many ns a raw step of one is, when it is a whole number of them: when the factor is the `f64` next to so many decimals of
    /// the unit.
    pub(super) fn nanoseconds(self, unit: Option<&str>) -> Option<u64> {
        // A time of a group is in seconds unless its file says otherwise.
        let per_unit = match unit {
            None | Some("s") => 1e9,
            Some("ms") => 1e6,
            Some("us" | "\u{b5}s" | "\u{3bc}s") => 1e3,
            Some("ns") => 1.0,
            Some(_) => return None,
        };
        let factor = match self {
            Self::Identity => 1.0,
            Self::Linear { offset: 0.0, factor } => factor,
            _ => return None,
        };
        // With more digits than these the decimal that was meant is not certain.
        const MOST: f64 = 1e14;
        let nanos = (factor * per_unit).round();
        // Bounded because of the comparison: a whole number of at most 15 digits.
        ((1.0..=MOST).contains(&nanos) && nanos / per_unit == factor).then_some(nanos as u64)
    }
}

#[cfg(test)]
mod tests {
    use super::Conversion;

    #[test]
    fn a_factor_is_so_many_nanoseconds_when_it_is_the_float_next_to_them() {
        let linear = |factor| Conversion::Linear { offset: 0.0, factor };
        for (conversion, unit, nanos) in [
            (linear(1e-9), Some("s"), Some(1)),
            (linear(1e-6), None, Some(1000)),
            (linear(0.001), Some("s"), Some(1_000_000)),
            (linear(6.25e-5), Some("s"), Some(62_500)),
            (linear(0.0625), Some("ms"), Some(62_500)),
            (Conversion::Identity, Some("us"), Some(1000)),
            (Conversion::Identity, None, Some(1_000_000_000)),
            (linear(1e-10), Some("s"), None),
            (linear(1.0 / 3.0), Some("s"), None),
            (linear(f64::from_bits(1e-6_f64.to_bits() + 1)), Some("s"), None),
            (linear(-1e-6), Some("s"), None),
            (linear(f64::NAN), Some("s"), None),
            (linear(1e-6), Some("mm"), None),
            (Conversion::Linear { offset: 0.5, factor: 1e-6 }, Some("s"), None),
        ] {
            assert_eq!(conversion.nanoseconds(unit), nanos, "{conversion:?} {unit:?}");
        }
    }

    #[test]
    fn a_conversion_in_whole_numbers_is_told_from_one_that_has_to_round() {
        assert_eq!(Conversion::linear(0.0, 1.0), Conversion::Identity);
        for (offset, factor, whole) in [
            (1.0, 1.0, Some((1, 1))),
            (-5.0, 9_007_199_254_740_992.0, Some((-5, 1 << 53))),
            (0.5, 1.0, None),
            (0.0, 0.1, None),
            (0.0, 1e16, None),
            (f64::NAN, 1.0, None),
        ] {
            assert_eq!(Conversion::linear(offset, factor).whole(), whole, "{offset} {factor}");
        }
    }

    #[test]
    fn a_rational_conversion_is_a_quotient_of_two_polynomials() {
        // 2 raw + 1 over 4.
        assert_eq!(Conversion::Rational([0.0, 2.0, 1.0, 0.0, 0.0, 4.0]).apply(3.0), 1.75);
    }
}
