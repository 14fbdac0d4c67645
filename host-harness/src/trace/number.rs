//! The text of a cell as a number that can be compared, exactly.

use std::cmp::Ordering;

use super::cell::{Decimal, NoDecimal, level};
use super::layout::TimeUnit;
use super::scale::Scale;
use super::table::exact;

/// What the text of a cell is.
#[derive(Clone, Debug)]
pub(crate) enum Content {
    /// A number.
    Number(Number),
    /// A level in a word.
    Level(bool),
    /// Nothing.
    Empty,
    /// Anything else.
    Text,
}

impl Content {
    /// Reads a cell, without blanks around.
    pub(crate) fn of(text: &str) -> Self {
        match Decimal::parse(text) {
            Ok(decimal) => Self::Number(Number(decimal)),
            Err(NoDecimal::Empty) => Self::Empty,
            Err(_) => level(text).map_or(Self::Text, Self::Level),
        }
    }
}

/// A decimal number without loss.
#[derive(Clone, Debug)]
pub(crate) struct Number(Decimal);

impl Number {
    /// Whether it is whole, however large.
    pub(crate) const fn is_whole(&self) -> bool {
        self.0.is_whole()
    }

    /// Zero or one as a level.
    pub(crate) fn as_level(&self) -> Option<bool> {
        match (self.0.negative, self.0.digits.as_slice(), self.0.exponent) {
            (false, [], _) => Some(false),
            (false, [b'1'], 0) => Some(true),
            _ => None,
        }
    }

    /// In multiples of 10^-9, rounded to the nearest; `None` beyond 127 bits.
    pub(crate) fn in_billionths(&self, scale: &Billionths) -> Option<i128> {
        scale.0.apply(&self.0)
    }

    /// A finite float in multiples of 10^-9, rounded once to the nearest; `None` beyond 127 bits.
    pub(crate) fn real_in_billionths(real: f64, scale: &Billionths) -> Option<i128> {
        scale.0.apply_real(real).map(i128::from).or_else(|| scale.0.apply(&exact(real)))
    }

    /// Exactly, whatever the numbers of digits.
    pub(crate) fn compare(&self, other: &Self) -> Ordering {
        let (one, two) = (&self.0, &other.0);
        let sign = |number: &Decimal| match (number.digits.is_empty(), number.negative) {
            (true, _) => 0,
            (_, true) => -1,
            (_, false) => 1,
        };
        let magnitude = |number: &Decimal| number.exponent + number.digits.len() as i64;
        sign(one).cmp(&sign(two)).then_with(|| {
            let larger = magnitude(one).cmp(&magnitude(two)).then_with(|| one.digits.cmp(&two.digits));
            if one.negative { larger.reverse() } else { larger }
        })
    }
}

/// What turns numbers into multiples of 10^-9.
#[derive(Clone, Debug)]
pub(crate) struct Billionths(Scale);

impl Billionths {
    pub(crate) fn new() -> Self {
        Self(Scale::of_time(TimeUnit::Seconds))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn number(text: &str) -> Number {
        match Content::of(text) {
            Content::Number(number) => number,
            other => panic!("{text}: {other:?}"),
        }
    }

    #[test]
    fn numbers_are_ordered_by_what_they_are_and_not_by_how_they_are_written() {
        let ordered = [
            "-1e30", "-12.5", "-12", "-0.5", "-0,0001", "0", "1e-300", "0.0001", "0.5", "9", "10", "10.01",
            "100", "1.5e2",
        ];
        for (at, one) in ordered.iter().enumerate() {
            for (other_at, other) in ordered.iter().enumerate() {
                assert_eq!(number(one).compare(&number(other)), at.cmp(&other_at), "{one} {other}");
            }
        }
        assert_eq!(number("1.50").compare(&number("15e-1")), Ordering::Equal);
        assert_eq!(number("-0").compare(&number("0.0")), Ordering::Equal);
    }

    #[test]
    fn a_cell_is_a_number_a_level_nothing_or_text() {
        assert!(matches!(Content::of("true"), Content::Level(true)));
        assert!(matches!(Content::of("LOW"), Content::Level(false)));
        assert!(matches!(Content::of(""), Content::Empty));
        assert!(matches!(Content::of("nan"), Content::Text));
        assert_eq!(number("1.0").as_level(), Some(true));
        assert_eq!(number("2").as_level(), None);
        assert_eq!(number("-1.5").in_billionths(&Billionths::new()), Some(-1_500_000_000));
    }

    #[test]
    fn a_float_is_rounded_once() {
        // The float next to it is 1764201600.1229999065399169921875; a product of floats would round to another one.
        let billionths = Number::real_in_billionths(-1_764_201_600.123, &Billionths::new());
        assert_eq!(billionths, Some(-1_764_201_600_122_999_907));
        assert_eq!(Number::real_in_billionths(1e20, &Billionths::new()), Some(10_i128.pow(29)));
    }
}
