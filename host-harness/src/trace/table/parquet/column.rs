//! One column chunk, some rows at a time.

use parquet::column::reader::{ColumnReader, ColumnReaderImpl};
use parquet::data_type::{
    BoolType, ByteArray, ByteArrayType, DataType, DoubleType, FixedLenByteArray, FixedLenByteArrayType,
    FloatType, Int32Type, Int64Type,
};
use parquet::errors::Result;
use parquet::schema::types::ColumnDescriptor;

use super::super::{Cells, Column, Kind, Present, TableError};
use super::schema;

/// A column chunk with what it needs to become cells.
pub(super) struct Reader {
    values: Values,
    /// The definition level of a cell that is there; 0 where every cell is.
    level: i16,
    levels: Vec<i16>,
    too_long: Option<usize>,
}

enum Values {
    Bools(ColumnReaderImpl<BoolType>),
    Small(ColumnReaderImpl<Int32Type>, bool, Vec<i32>),
    Whole(ColumnReaderImpl<Int64Type>),
    Unsigned(ColumnReaderImpl<Int64Type>, Vec<i64>),
    Singles(ColumnReaderImpl<FloatType>, Vec<f32>),
    Reals(ColumnReaderImpl<DoubleType>),
    /// Decimals as bytes, the highest first.
    Fixed(ColumnReaderImpl<FixedLenByteArrayType>, Vec<FixedLenByteArray>),
    Bytes(ColumnReaderImpl<ByteArrayType>, Vec<ByteArray>),
}

impl Reader {
    pub(super) fn new(
        reader: ColumnReader,
        column: &Column,
        leaf: &ColumnDescriptor,
    ) -> std::result::Result<Self, TableError> {
        let unsigned = schema::is_unsigned(leaf);
        let values = match reader {
            ColumnReader::BoolColumnReader(reader) => Values::Bools(reader),
            ColumnReader::Int32ColumnReader(reader) => Values::Small(reader, unsigned, Vec::new()),
            ColumnReader::Int64ColumnReader(reader) if unsigned => Values::Unsigned(reader, Vec::new()),
            ColumnReader::Int64ColumnReader(reader) => Values::Whole(reader),
            ColumnReader::FloatColumnReader(reader) => Values::Singles(reader, Vec::new()),
            ColumnReader::DoubleColumnReader(reader) => Values::Reals(reader),
            ColumnReader::FixedLenByteArrayColumnReader(reader) => Values::Fixed(reader, Vec::new()),
            ColumnReader::ByteArrayColumnReader(reader) => Values::Bytes(reader, Vec::new()),
            ColumnReader::Int96ColumnReader(_) => {
                let (column, what) = (column.name.clone(), column.kind.in_words());
                return Err(TableError::Kind { column, what, wanted: "numbers" });
            }
        };
        debug_assert!(!matches!(column.kind, Kind::Other(_)), "nobody selects such a column");
        Ok(Self { values, level: leaf.max_def_level(), levels: Vec::new(), too_long: None })
    }

    /// The place in the rows read last of a decimal that 64 bits do not hold.
    pub(super) const fn too_long(&self) -> Option<usize> {
        self.too_long
    }

    /// Replaces cells by the next rows; how many there were.
    pub(super) fn read(&mut self, rows: usize, (cells, present): &mut (Cells, Present)) -> Result<usize> {
        self.too_long = None;
        // The cells that are there stand together, and are moved to their places afterwards.
        let (read, found) = self.fill(rows, cells)?;
        let (level, levels) = (self.level, &self.levels);
        let all = level == 0 || found == read;
        *present = (!all).then(|| levels.iter().map(|&found| found == level).collect());
        if let Some(present) = present {
            match cells {
                Cells::Integers(values) => spread(values, present),
                Cells::Unsigned(values) => spread(values, present),
                Cells::Reals(values) => spread(values, present),
                Cells::Bools(values) => spread(values, present),
            }
            self.too_long = self.too_long.map(|found| place_of(found, present));
        }
        Ok(read)
    }

    /// Replaces cells by those that are there in the next rows: how many rows there were, and how many of them have a cell.
    fn fill(&mut self, rows: usize, cells: &mut Cells) -> Result<(usize, usize)> {
        let levels = &mut self.levels;
        Ok(match &mut self.values {
            Values::Bools(reader) => {
                let mut values = cells.take_bools();
                let read = records(reader, rows, levels, &mut values)?;
                *cells = Cells::Bools(values);
                read
            }
            Values::Small(reader, unsigned, values) => {
                values.clear();
                let read = records(reader, rows, levels, values)?;
                let mut wide = cells.take_integers();
                if *unsigned {
                    wide.extend(values.iter().map(|value| i64::from(value.cast_unsigned())));
                } else {
                    wide.extend(values.iter().map(|&value| i64::from(value)));
                }
                *cells = Cells::Integers(wide);
                read
            }
            Values::Whole(reader) => {
                let mut values = cells.take_integers();
                let read = records(reader, rows, levels, &mut values)?;
                *cells = Cells::Integers(values);
                read
            }
            Values::Unsigned(reader, values) => {
                values.clear();
                let read = records(reader, rows, levels, values)?;
                *cells = Cells::Unsigned(values.iter().map(|value| value.cast_unsigned()).collect());
                read
            }
            Values::Singles(reader, values) => {
                values.clear();
                let read = records(reader, rows, levels, values)?;
                let mut wide = cells.take_reals();
                wide.extend(values.iter().map(|&value| f64::from(value)));
                *cells = Cells::Reals(wide);
                read
            }
            Values::Reals(reader) => {
                let mut values = cells.take_reals();
                let read = records(reader, rows, levels, &mut values)?;
                *cells = Cells::Reals(values);
                read
            }
            Values::Fixed(reader, values) => {
                values.clear();
                let read = records(reader, rows, levels, values)?;
                let bytes = values.iter().map(|value| value.data());
                *cells = Cells::Integers(whole(bytes, cells.take_integers(), &mut self.too_long));
                read
            }
            Values::Bytes(reader, values) => {
                values.clear();
                let read = records(reader, rows, levels, values)?;
                let bytes = values.iter().map(|value| value.data());
                *cells = Cells::Integers(whole(bytes, cells.take_integers(), &mut self.too_long));
                read
            }
        })
    }
}

/// Reads rows into `values`: how many rows there were, and how many of them have a value.
fn records<T: DataType>(
    reader: &mut ColumnReaderImpl<T>,
    rows: usize,
    levels: &mut Vec<i16>,
    values: &mut Vec<T::T>,
) -> Result<(usize, usize)> {
    levels.clear();
    let (read, found, _) = reader.read_records(rows, Some(levels), None, values)?;
    Ok((read, found))
}

/// Moves values that stand together to the rows that have one.
fn spread<T: Copy + Default>(values: &mut Vec<T>, present: &[bool]) {
    let mut next = values.len();
    values.resize(present.len(), T::default());
    for (place, &is_there) in present.iter().enumerate().rev() {
        if is_there {
            next -= 1;
            values[place] = values[next];
        }
    }
}

/// The row of the value number `found` of those that are there.
fn place_of(found: usize, present: &[bool]) -> usize {
    present.iter().enumerate().filter(|(_, there)| **there).nth(found).map_or(found, |(row, _)| row)
}

/// Two's complement numbers with the highest byte first; the place of the first that does not fit.
fn whole<'a>(
    bytes: impl Iterator<Item = &'a [u8]>,
    mut into: Vec<i64>,
    too_long: &mut Option<usize>,
) -> Vec<i64> {
    for (place, bytes) in bytes.enumerate() {
        let (high, low) = bytes.split_at(bytes.len().saturating_sub(8));
        let negative = bytes.first().is_some_and(|byte| byte & 0x80 != 0);
        let start = if negative { -1 } else { 0 };
        let value = low.iter().fold(start, |sum: i64, &byte| sum << 8 | i64::from(byte));
        let filling = if negative { 0xff } else { 0 };
        if high.iter().any(|&byte| byte != filling) || (value < 0) != negative {
            too_long.get_or_insert(place);
        }
        into.push(value);
    }
    into
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_go_to_the_rows_that_have_one() {
        let mut values = vec![1, 2, 3];
        spread(&mut values, &[false, true, true, false, true, false]);
        assert_eq!((values[1], values[2], values[4], values.len()), (1, 2, 3, 6));
        assert_eq!(place_of(2, &[false, true, true, false, true, false]), 4);
    }

    #[test]
    fn decimals_in_bytes_are_whole_numbers_as_far_as_64_bits_go() {
        let read = |bytes: &[u8]| {
            let mut too_long = None;
            (whole([bytes].into_iter(), Vec::new(), &mut too_long)[0], too_long)
        };
        assert_eq!(read(&[0xff, 0xfe]), (-2, None));
        assert_eq!(read(&[0x7f]), (127, None));
        assert_eq!(read(&[0; 16]), (0, None));
        assert_eq!(read(&[0xff; 16]), (-1, None));
        assert_eq!(read(&[0, 0, 0, 0, 0, 0, 0, 0, 1, 0]), (256, None));
        assert_eq!(read(&[0, 0x80, 0, 0, 0, 0, 0, 0, 0]).1, Some(0));
        assert_eq!(read(&[1, 0, 0, 0, 0, 0, 0, 0, 0]).1, Some(0));
        assert_eq!(read(&[]), (0, None));
    }
}
