//! What the cells of a column of text have in common.

use super::super::cell::{Decimal, Mark, NoDecimal};
use super::super::layout::TimeUnit;
use super::super::table::Kind;

/// The digits that a decimal number can have in all formats.
const DIGITS: u32 = 18;

/// A plain number: digits with or without a decimal mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Plain {
    /// Without the mark.
    pub(super) value: i64,
    pub(super) places: u32,
    pub(super) mark: Option<Mark>,
}

/// Reads a number without a power of ten whose digits fit 64 bits, up to 18 of them after the mark; `None` leaves it to [`Decimal`].
pub(super) fn plain(text: &str) -> Option<Plain> {
    let (negative, digits) = match text.as_bytes() {
        [b'-', rest @ ..] => (true, rest),
        all => (false, all),
    };
    let (mut value, mut any_digit, mut places, mut mark) = (0_i64, false, 0, None);
    for &byte in digits {
        match byte {
            b'0'..=b'9' => {
                value = value.checked_mul(10)?.checked_add(i64::from(byte - b'0'))?;
                any_digit = true;
                places += u32::from(mark.is_some());
            }
            b'.' if mark.is_none() => mark = Some(Mark::Point),
            b',' if mark.is_none() => mark = Some(Mark::Comma),
            _ => return None,
        }
    }
    (any_digit && places <= DIGITS).then_some(Plain {
        value: if negative { -value } else { value },
        places,
        mark,
    })
}

/// The digits before the decimal mark, without leading zeros.
fn whole_digits(magnitude: u64) -> u32 {
    magnitude.checked_ilog10().map_or(0, |log| log + 1)
}

/// What was seen of a column.
#[derive(Clone, Debug, Default)]
pub(super) struct Seen {
    pub(super) empty: bool,
    /// NaN, infinite, or with more digits than are counted here.
    long: bool,
    words: bool,
    beyond_bits: bool,
    places: u32,
    whole: u32,
    /// No magnitude is larger than this.
    largest: u64,
    lowest: i128,
    highest: i128,
    /// The line and the text of the first cell that is no number, and of the first that is no boolean.
    pub(super) no_number: Option<(u64, String)>,
    pub(super) no_boolean: Option<(u64, String)>,
}

/// A cell of a column of booleans.
pub(super) fn boolean(text: &str) -> Option<bool> {
    let is = |word: &str| text.eq_ignore_ascii_case(word);
    match () {
        () if is("true") || is("high") => Some(true),
        () if is("false") || is("low") => Some(false),
        () => None,
    }
}

impl Seen {
    /// Takes one more cell; the decimal mark in it.
    pub(super) fn take(&mut self, text: &str, line: u64) -> Option<Mark> {
        if text.is_empty() {
            self.empty = true;
            return None;
        }
        if let Some(number) = plain(text) {
            self.number(number);
            return number.mark;
        }
        match Decimal::parse(text) {
            Ok(decimal) => {
                self.decimal(&decimal);
                decimal.mark
            }
            Err(NoDecimal::NotFinite) => {
                self.long = true;
                None
            }
            Err(_) => {
                self.no_number.get_or_insert_with(|| (line, text.to_owned()));
                if boolean(text).is_some() {
                    self.words = true;
                } else {
                    self.no_boolean.get_or_insert_with(|| (line, text.to_owned()));
                }
                None
            }
        }
    }

    fn number(&mut self, number: Plain) {
        self.beyond_bits |= !(0..=1).contains(&number.value) || number.places > 0;
        self.places = self.places.max(number.places);
        if number.places == 0 {
            self.bound(number.value.into());
        }
        let magnitude = number.value.unsigned_abs() / 10_u64.pow(number.places);
        self.whole = self.whole.max(whole_digits(magnitude));
        self.largest = self.largest.max(magnitude + u64::from(number.places > 0));
    }

    fn decimal(&mut self, decimal: &Decimal) {
        self.beyond_bits = true;
        let places = u32::try_from(-decimal.exponent).unwrap_or(0);
        self.places = self.places.max(places.min(1000));
        match decimal.to_whole() {
            Some(whole) => self.bound(whole),
            None if decimal.is_whole() => self.long = true,
            None => {}
        }
        let length = i64::try_from(decimal.digits.len()).unwrap_or(i64::MAX);
        let whole = length.saturating_add(decimal.exponent).clamp(0, 1000);
        let whole = u32::try_from(whole).unwrap_or(0);
        self.whole = self.whole.max(whole);
        self.largest = self.largest.max(10_u64.saturating_pow(whole));
    }

    fn bound(&mut self, whole: i128) {
        self.lowest = self.lowest.min(whole);
        self.highest = self.highest.max(whole);
    }

    /// What the column is, with how its times stood in the text; `None`: the cells have nothing in common that is kept.
    pub(super) fn kind(&self, unit: Option<TimeUnit>) -> Option<(Kind, Option<(TimeUnit, u32)>)> {
        if self.no_number.is_some() {
            let is_boolean = self.words && self.no_boolean.is_none() && !self.beyond_bits && !self.long;
            return is_boolean.then_some((Kind::Bool, None));
        }
        if self.long {
            return Some((Kind::Real, None));
        }
        if let Some(unit) = unit
            && self.places <= unit.nanosecond_places()
            && self.largest <= i64::MAX.unsigned_abs() / 10_u64.pow(unit.nanosecond_places())
        {
            return Some((Kind::Time { ns: 1 }, Some((unit, self.places))));
        }
        if self.places == 0 {
            let (most, unsigned) = (i128::from(i64::MAX), i128::from(u64::MAX));
            let fits = self.highest <= most || (self.lowest >= 0 && self.highest <= unsigned);
            return Some((
                if fits && self.lowest >= i128::from(i64::MIN) { Kind::Integer } else { Kind::Real },
                None,
            ));
        }
        let is_short = self.whole + self.places <= DIGITS;
        Some((if is_short { Kind::Decimal { places: self.places } } else { Kind::Real }, None))
    }

    /// Whether whole numbers need all 64 bits for the magnitude.
    pub(super) const fn is_unsigned(&self) -> bool {
        self.highest > i64::MAX as i128
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind(cells: &[&str], unit: Option<TimeUnit>) -> Option<Kind> {
        let mut seen = Seen::default();
        for cell in cells {
            seen.take(cell, 1);
        }
        seen.kind(unit).map(|(kind, _)| kind)
    }

    #[test]
    fn a_column_is_the_narrowest_type_that_keeps_every_cell() {
        let seconds = Some(TimeUnit::Seconds);
        for (cells, unit, expected) in [
            (&["0", "-7", "12"][..], None, Some(Kind::Integer)),
            (&["", ""], None, Some(Kind::Integer)),
            (&["1e3", "+5", "007"], None, Some(Kind::Integer)),
            (&["18446744073709551615", "0"], None, Some(Kind::Integer)),
            (&["18446744073709551615", "-1"], None, Some(Kind::Real)),
            (&["-9223372036854775808"], None, Some(Kind::Integer)),
            (&["0.5", "-12.125"], None, Some(Kind::Decimal { places: 3 })),
            (&["1.25e-4", ""], None, Some(Kind::Decimal { places: 6 })),
            (&["123456789012345678", "0.5"], None, Some(Kind::Real)),
            (&["0.1234567890123456789"], None, Some(Kind::Real)),
            (&["nan", "0"], None, Some(Kind::Real)),
            (&["0.000125", "1"], seconds, Some(Kind::Time { ns: 1 })),
            (&["0.0001250001"], seconds, Some(Kind::Decimal { places: 10 })),
            (&["1700000000.123456789"], seconds, Some(Kind::Time { ns: 1 })),
            (&["-9223372036.9"], seconds, Some(Kind::Decimal { places: 1 })),
            (&["9999999999"], seconds, Some(Kind::Integer)),
            (&["true", "False", "1"], None, Some(Kind::Bool)),
            (&["high", "low", ""], None, Some(Kind::Bool)),
            (&["true", "2"], None, None),
            (&["true", "x"], None, None),
            (&["x"], None, None),
        ] {
            assert_eq!(kind(cells, unit), expected, "{cells:?}");
        }
    }

    #[test]
    fn plain_numbers_are_read_without_their_mark() {
        assert_eq!(plain("-12.50"), Some(Plain { value: -1250, places: 2, mark: Some(Mark::Point) }));
        assert_eq!(plain("7"), Some(Plain { value: 7, places: 0, mark: None }));
        for text in ["", "-", ".", "1e3", "+1", "1.2.3", "9223372036854775808", "0.0000000000000000001"] {
            assert_eq!(plain(text), None, "{text}");
        }
    }
}
