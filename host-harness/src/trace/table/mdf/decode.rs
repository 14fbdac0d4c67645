//! From the bits of records to cells.

use super::conversion::Conversion;
use super::error::MdfError;
use crate::trace::table::{Cells, Present, Stored};

/// What the bits of a channel are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Raw {
    Unsigned,
    Signed,
    Real,
    /// Nothing is stored: the value is the number of the record, from 0.
    Index,
}

/// Which cells of a channel are there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Validity {
    All,
    None,
    /// Those whose bit, from the beginning of the record, is 0.
    Bit(u64),
}

/// What becomes of the raw values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Delivered {
    Whole,
    /// Whole numbers of at most 63 bits.
    Time,
    Bool,
    /// `offset + factor x raw` in whole numbers.
    Affine {
        offset: i64,
        factor: i64,
    },
    Real(Conversion),
}

/// How the cells of a channel are got out of records.
#[derive(Clone, Debug)]
pub(super) struct Decoder {
    pub(super) raw: Raw,
    pub(super) big_endian: bool,
    /// Where in the record it begins, its id included, and of how many bytes it has some bits.
    pub(super) at: usize,
    pub(super) bytes: usize,
    /// Of these bytes as one number: the bits from this one on.
    pub(super) shift: u8,
    pub(super) bits: u8,
    pub(super) validity: Validity,
    pub(super) delivered: Delivered,
}

/// The records of a chunk.
#[derive(Clone, Copy)]
pub(super) struct Records<'a> {
    pub(super) bytes: &'a [u8],
    /// Of one record.
    pub(super) length: usize,
    /// The number of the first, from 0.
    pub(super) first: u64,
}

impl Records<'_> {
    fn each(&self) -> impl Iterator<Item = &[u8]> {
        self.bytes.chunks_exact(self.length)
    }
}

impl Decoder {
    /// How the cells are stored, as far as their kind does not say it.
    pub(super) fn stored(&self) -> Stored {
        match (self.delivered, self.raw) {
            (Delivered::Whole, Raw::Signed | Raw::Unsigned) if self.bits <= 32 => {
                let bytes = usize::from(self.bits).div_ceil(8).next_power_of_two();
                Stored::Whole { bytes, signed: self.raw == Raw::Signed }
            }
            (Delivered::Real(Conversion::Identity), Raw::Real) if self.bits == 32 => Stored::Single,
            _ => Stored::Wide,
        }
    }

    /// The cells of one column.
    pub(super) fn cells(&self, records: Records<'_>, column: &str) -> Result<(Cells, Present), MdfError> {
        let there = match self.validity {
            Validity::All => None,
            Validity::None => Some(vec![false; records.each().count()]),
            Validity::Bit(bit) => Some(records.each().map(|record| !is_set(record, bit)).collect()),
        };
        let cells = match (self.delivered, self.raw) {
            (Delivered::Real(conversion), _) => {
                let physical = |(place, record): (u64, &[u8])| {
                    conversion.apply(self.real(record, records.first + place))
                };
                Cells::Reals((0..).zip(records.each()).map(physical).collect())
            }
            (Delivered::Affine { offset, factor }, _) => {
                let physical = |(place, record): (u64, &[u8])| {
                    let raw = match self.raw {
                        Raw::Index => i128::from(records.first) + i128::from(place),
                        Raw::Signed => i128::from(self.signed(record)),
                        _ => i128::from(self.number(record)),
                    };
                    // Bounded because of their 64 bits.
                    let value = i128::from(offset) + i128::from(factor) * raw;
                    i64::try_from(value).map_err(|_| MdfError::Value {
                        column: column.to_owned(),
                        row: records.first + place + 1,
                        what: format!("the number {value} is beyond 64 bits"),
                    })
                };
                Cells::Integers((0..).zip(records.each()).map(physical).collect::<Result<_, _>>()?)
            }
            (Delivered::Bool, _) => {
                Cells::Bools(records.each().map(|record| self.number(record) != 0).collect())
            }
            (_, Raw::Index) => {
                let index = |place| self.time(records.first.saturating_add(place), records, place, column);
                Cells::Integers((0..).take(records.each().count()).map(index).collect::<Result<_, _>>()?)
            }
            (_, Raw::Signed) => Cells::Integers(records.each().map(|record| self.signed(record)).collect()),
            (Delivered::Time, _) => {
                let time =
                    |(place, record): (u64, &[u8])| self.time(self.number(record), records, place, column);
                Cells::Integers((0..).zip(records.each()).map(time).collect::<Result<_, _>>()?)
            }
            (Delivered::Whole, _) => {
                Cells::Unsigned(records.each().map(|record| self.number(record)).collect())
            }
        };
        Ok((cells, there))
    }

    fn time(&self, raw: u64, records: Records<'_>, place: u64, column: &str) -> Result<i64, MdfError> {
        i64::try_from(raw).map_err(|_| MdfError::Value {
            column: column.to_owned(),
            row: records.first + place + 1,
            what: format!("the time {raw} is beyond 2^63"),
        })
    }

    /// The bits as a number without a sign.
    fn number(&self, record: &[u8]) -> u64 {
        let bytes = self.of(record);
        let join = |sum: u128, &byte: &u8| sum << 8 | u128::from(byte);
        let all = if self.big_endian { bytes.iter().fold(0, join) } else { bytes.iter().rev().fold(0, join) };
        // The low 64 bits are all that a channel can have.
        (all >> self.shift) as u64 & (u64::MAX >> (64 - u32::from(self.bits)))
    }

    fn signed(&self, record: &[u8]) -> i64 {
        let unused = 64 - u32::from(self.bits);
        (self.number(record) << unused).cast_signed() >> unused
    }

    fn real(&self, record: &[u8], index: u64) -> f64 {
        // Whole numbers beyond 2^53 are rounded to nearest, as the format has it: conversions are in `f64`.
        match self.raw {
            Raw::Index => index as f64,
            Raw::Unsigned => self.number(record) as f64,
            Raw::Signed => self.signed(record) as f64,
            Raw::Real if self.bits == 32 => f64::from(f32::from_bits(self.number(record) as u32)),
            Raw::Real => f64::from_bits(self.number(record)),
        }
    }

    fn of<'a>(&self, record: &'a [u8]) -> &'a [u8] {
        record.get(self.at..self.at + self.bytes).unwrap_or_default()
    }
}

fn is_set(record: &[u8], bit: u64) -> bool {
    let byte = usize::try_from(bit / 8).ok().and_then(|at| record.get(at));
    byte.is_some_and(|byte| byte >> (bit % 8) & 1 == 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decoder(raw: Raw, big_endian: bool, shift: u8, bits: u8) -> Decoder {
        let bytes = usize::from(shift + bits).div_ceil(8);
        let delivered =
            if raw == Raw::Real { Delivered::Real(Conversion::Identity) } else { Delivered::Whole };
        Decoder { raw, big_endian, at: 1, bytes, shift, bits, validity: Validity::All, delivered }
    }

    fn one(decoder: &Decoder, record: &[u8]) -> Cells {
        let records = Records { bytes: record, length: record.len(), first: 7 };
        decoder.cells(records, "x").unwrap().0
    }

    #[test]
    fn whole_numbers_stay_whole_through_a_conversion_in_whole_numbers() {
        let delivered = Delivered::Affine { offset: 1, factor: 1 };
        let of = |raw| Decoder { delivered, ..decoder(raw, false, 0, 64) };
        let record = |raw: i64| [&[0], &raw.to_le_bytes()[..]].concat();
        // 2^53 + 1 is no `f64`.
        assert_eq!(one(&of(Raw::Unsigned), &record((1 << 53) + 1)), Cells::Integers(vec![(1 << 53) + 2]));
        assert_eq!(one(&of(Raw::Signed), &record(-(1 << 53) - 3)), Cells::Integers(vec![-(1 << 53) - 2]));
        assert_eq!(one(&of(Raw::Index), &record(0)), Cells::Integers(vec![8]));
        let record = record(-1);
        let error =
            of(Raw::Unsigned).cells(Records { bytes: &record, length: 9, first: 7 }, "x").unwrap_err();
        assert!(error.to_string().contains("the number 18446744073709551616 is beyond 64 bits"), "{error}");
    }

    #[test]
    fn bits_are_taken_from_either_end() {
        let record = [0xff, 0x12, 0x34, 0x56, 0x78, 0x9a, 0xbc, 0xde, 0xf0, 0x11];
        for (big_endian, shift, bits, expected) in [
            (false, 0, 8, 0x12),
            (false, 0, 16, 0x3412),
            (true, 0, 16, 0x1234),
            (false, 4, 12, 0x341),
            (true, 4, 12, 0x123),
            (false, 3, 1, 0),
            (false, 4, 1, 1),
            (false, 0, 64, 0xf0de_bc9a_7856_3412),
            (true, 0, 64, 0x1234_5678_9abc_def0),
            (false, 4, 64, 0x1f0d_ebc9_a785_6341),
        ] {
            let found = one(&decoder(Raw::Unsigned, big_endian, shift, bits), &record);
            assert_eq!(found, Cells::Unsigned(vec![expected]), "{big_endian} {shift} {bits}");
        }
    }

    #[test]
    fn a_sign_is_that_of_the_highest_bit_whatever_the_width() {
        for (byte, bits, expected) in [(0x0f, 4, -1), (0x07, 4, 7), (0x80, 8, -128), (0x01, 1, -1)] {
            let found = one(&decoder(Raw::Signed, false, 0, bits), &[0, byte]);
            assert_eq!(found, Cells::Integers(vec![expected]), "{byte} {bits}");
        }
    }

    #[test]
    fn floats_are_the_same_floats() {
        let mut record = vec![0];
        record.extend(0.1_f32.to_be_bytes());
        assert_eq!(one(&decoder(Raw::Real, true, 0, 32), &record), Cells::Reals(vec![f64::from(0.1_f32)]));
        let mut record = vec![0];
        record.extend((-0.1_f64).to_le_bytes());
        assert_eq!(one(&decoder(Raw::Real, false, 0, 64), &record), Cells::Reals(vec![-0.1]));
    }

    #[test]
    fn an_index_counts_records_and_a_set_bit_takes_a_cell_away() {
        let mut decoder = decoder(Raw::Index, false, 0, 64);
        decoder.delivered = Delivered::Time;
        decoder.validity = Validity::Bit(9);
        let records = Records { bytes: &[0, 0, 0, 2, 0, 0xfd], length: 2, first: 7 };
        let expected = (Cells::Integers(vec![7, 8, 9]), Some(vec![true, false, true]));
        assert_eq!(decoder.cells(records, "x").unwrap(), expected);
    }

    #[test]
    fn a_time_beyond_63_bits_is_refused_with_its_record() {
        let mut decoder = decoder(Raw::Unsigned, false, 0, 64);
        decoder.delivered = Delivered::Time;
        let records = Records { bytes: &[0xff; 9], length: 9, first: 7 };
        let error = decoder.cells(records, "t").unwrap_err().to_string();
        assert!(
            error.starts_with("column `t`, record 8: the time 18446744073709551615 is beyond 2^63"),
            "{error}"
        );
    }
}
