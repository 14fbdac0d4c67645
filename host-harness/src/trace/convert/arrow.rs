//! Rows as an Arrow IPC file.

use std::collections::HashMap;
use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow_array::{
    ArrayRef, BooleanArray, Decimal128Array, DurationMicrosecondArray, DurationMillisecondArray,
    DurationNanosecondArray, DurationSecondArray, Float32Array, Float64Array, Int8Array, Int16Array,
    Int32Array, Int64Array, RecordBatch, TimestampMicrosecondArray, TimestampMillisecondArray,
    TimestampNanosecondArray, TimestampSecondArray, UInt8Array, UInt16Array, UInt32Array, UInt64Array,
};
use arrow_buffer::{BooleanBuffer, NullBuffer, ScalarBuffer};
use arrow_ipc::writer::{DictionaryTracker, FileWriter, IpcDataGenerator, IpcWriteOptions};
use arrow_ipc::{CompressionType, MetadataVersion};
use arrow_schema::{ArrowError, DataType, Field, Schema, TimeUnit};
use base64::Engine as _;

use super::super::table::{Cells, Chunk, Kind, Stored};
use super::cells::{Held, HeldRows};
use super::{COMMENT, ConvertError, Described, HELD_CELLS, Sink, WRITTEN};

/// Rows of a record batch, when there are few columns.
const BATCH_ROWS: usize = 1 << 16;
/// The digits that a decimal number of 64 bits can have, and that 128 bits have room for.
const DIGITS: u8 = 19;
const MOST_DIGITS: u8 = 38;
/// The units of times, in ns.
pub(super) const UNITS: [u64; 4] = [1, 1_000, 1_000_000, 1_000_000_000];

/// An Arrow IPC file.
pub(super) struct ArrowSink {
    /// Begun with the first rows: only they tell which whole numbers have no sign.
    writer: Option<FileWriter<BufWriter<File>>>,
    file: Option<File>,
    path: PathBuf,
    columns: Vec<Described>,
    comment: Option<String>,
    batch_rows: usize,
    held: HeldRows,
}

impl ArrowSink {
    pub(super) fn new(
        file: File,
        path: &Path,
        columns: &[Described],
        comment: Option<String>,
    ) -> Result<Self, ConvertError> {
        let batch_rows = BATCH_ROWS.min(HELD_CELLS / columns.len().max(1)).max(1);
        let (path, held) = (path.to_owned(), HeldRows::new(columns.len()));
        Ok(Self {
            writer: None,
            file: Some(file),
            path,
            columns: columns.to_vec(),
            comment,
            batch_rows,
            held,
        })
    }

    fn begin(&mut self) -> Result<(), ArrowError> {
        let Some(file) = self.file.take() else { return Ok(()) };
        let held = self.columns.iter().zip(&self.held.columns);
        let fields: Vec<Field> = held.map(|(column, held)| field(column, &held.cells, DIGITS)).collect();
        let mut notes = HashMap::new();
        if let Some(comment) = &self.comment {
            notes.insert(COMMENT.to_owned(), comment.clone());
        }
        for Described { column, written, .. } in &self.columns {
            if let Some((unit, places)) = written {
                notes.insert(format!("{WRITTEN}{}", column.name), format!("{} {places}", unit.symbol()));
            }
        }
        let schema = Schema::new_with_metadata(fields, notes);
        let options = IpcWriteOptions::try_new(64, false, MetadataVersion::V5)?
            .try_with_compression(Some(CompressionType::LZ4_FRAME))?;
        self.writer = Some(FileWriter::try_new_with_options(BufWriter::new(file), &schema, options)?);
        Ok(())
    }

    /// Writes the rows that are held as a record batch.
    fn write_batch(&mut self) -> Result<(), ArrowError> {
        self.begin()?;
        let Some(writer) = &mut self.writer else { return Ok(()) };
        let held = self.columns.iter().zip(&self.held.columns);
        let arrays = held.map(|(column, held)| array(column, held)).collect::<Result<Vec<_>, _>>()?;
        writer.write(&RecordBatch::try_new(Arc::clone(writer.schema()), arrays)?)?;
        self.held.clear();
        Ok(())
    }

    fn failed(&self, error: ArrowError) -> ConvertError {
        let error = match error {
            ArrowError::IoError(_, error) => error,
            error => std::io::Error::other(error),
        };
        ConvertError::Out { path: self.path.clone(), error }
    }
}

impl Sink for ArrowSink {
    fn write(&mut self, chunk: &Chunk) -> Result<(), ConvertError> {
        let mut from = 0;
        while from < chunk.rows {
            let rows = (chunk.rows - from).min(self.batch_rows - self.held.rows);
            self.held.take(chunk, from, rows);
            from += rows;
            if self.held.rows == self.batch_rows {
                self.write_batch().map_err(|error| self.failed(error))?;
            }
        }
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> Result<(), ConvertError> {
        let last = if self.held.rows > 0 { self.write_batch() } else { self.begin() };
        let writer = last.map(|()| self.writer.take());
        let closed = writer.and_then(|writer| match writer {
            Some(mut writer) => writer.finish().and_then(|()| writer.flush()),
            None => Ok(()),
        });
        closed.map_err(|error| self.failed(error))
    }
}

const fn time_unit(ns: u64) -> TimeUnit {
    match ns {
        1_000_000_000 => TimeUnit::Second,
        1_000_000 => TimeUnit::Millisecond,
        1_000 => TimeUnit::Microsecond,
        _ => TimeUnit::Nanosecond,
    }
}

/// The type of a column; decimal numbers have so many digits, or more if they have more places.
fn data_type(described: &Described, cells: &Cells, digits: u8) -> DataType {
    match (described.column.kind, cells, &described.stored) {
        (Kind::Time { ns }, _, stored) => {
            let unit = time_unit(super::unit_of_times(ns, &UNITS));
            match stored {
                Stored::Stamp { zone } => DataType::Timestamp(unit, zone.as_deref().map(Arc::from)),
                _ => DataType::Duration(unit),
            }
        }
        (Kind::Decimal { places }, ..) => {
            let scale = u8::try_from(places).unwrap_or(MOST_DIGITS);
            DataType::Decimal128(digits.max(scale), scale.cast_signed())
        }
        (_, Cells::Integers(_) | Cells::Unsigned(_), Stored::Whole { bytes, signed }) => {
            match (bytes, signed) {
                (1, true) => DataType::Int8,
                (2, true) => DataType::Int16,
                (_, true) => DataType::Int32,
                (1, false) => DataType::UInt8,
                (2, false) => DataType::UInt16,
                (_, false) => DataType::UInt32,
            }
        }
        (_, Cells::Unsigned(_), _) => DataType::UInt64,
        (_, Cells::Integers(_), _) => DataType::Int64,
        (_, Cells::Reals(_), Stored::Single) => DataType::Float32,
        (_, Cells::Reals(_), _) => DataType::Float64,
        (_, Cells::Bools(_), _) => DataType::Boolean,
    }
}

/// A column in a schema.
pub(super) fn field(described: &Described, cells: &Cells, digits: u8) -> Field {
    let column = &described.column;
    let field = Field::new(&column.name, data_type(described, cells, digits), described.nullable);
    match (&column.unit, described.written) {
        (Some(unit), None) => field.with_metadata(HashMap::from([("unit".to_owned(), unit.clone())])),
        _ => field,
    }
}

fn array(described: &Described, held: &Held) -> Result<ArrayRef, ArrowError> {
    let nulls = held.present().map(NullBuffer::from);
    let other = |why: String| ArrowError::IoError(String::new(), std::io::Error::other(why));
    Ok(match (&held.cells, described.column.kind, &described.stored) {
        (Cells::Integers(cells), Kind::Time { ns }, stored) => {
            let values = super::times(&described.column, ns, &UNITS, cells).map_err(other)?;
            times(values.into(), nulls, time_unit(super::unit_of_times(ns, &UNITS)), stored)?
        }
        (Cells::Integers(cells), Kind::Decimal { .. }, _) => {
            let values: Vec<i128> = cells.iter().map(|&cell| cell.into()).collect();
            let array = Decimal128Array::try_new(values.into(), nulls)?;
            Arc::new(array.with_data_type(data_type(described, &held.cells, DIGITS)))
        }
        (Cells::Integers(cells), _, Stored::Whole { bytes, signed }) => {
            narrow(cells, (*bytes, *signed), held, nulls)?
        }
        (Cells::Unsigned(cells), _, Stored::Whole { bytes, signed }) => {
            // Of fewer than 64 bits.
            let cells: Vec<i64> = cells.iter().map(|cell| cell.cast_signed()).collect();
            narrow(&cells, (*bytes, *signed), held, nulls)?
        }
        (Cells::Integers(cells), ..) => Arc::new(Int64Array::try_new(cells.clone().into(), nulls)?),
        (Cells::Unsigned(cells), ..) => Arc::new(UInt64Array::try_new(cells.clone().into(), nulls)?),
        (Cells::Reals(cells), _, Stored::Single) => {
            // They were of 32 bits before.
            let cells: Vec<f32> = cells.iter().map(|&cell| cell as f32).collect();
            Arc::new(Float32Array::try_new(cells.into(), nulls)?)
        }
        (Cells::Reals(cells), ..) => Arc::new(Float64Array::try_new(cells.clone().into(), nulls)?),
        (Cells::Bools(cells), ..) => {
            Arc::new(BooleanArray::new(BooleanBuffer::from(cells.as_slice()), nulls))
        }
    })
}

/// A schema as writers of Arrow note it in other files: a message in base64.
pub(super) fn encoded(schema: &Schema) -> Result<String, ArrowError> {
    let options = IpcWriteOptions::try_new(8, false, MetadataVersion::V5)?;
    let mut dictionaries = DictionaryTracker::new(true);
    let message = IpcDataGenerator::default()
        .schema_to_bytes_with_dictionary_tracker(schema, &mut dictionaries, &options)
        .ipc_message;
    let length = u32::try_from(message.len())
        .map_err(|_| ArrowError::IpcError("a schema of more than 4 GiB".to_owned()))?;
    let framed = [&[0xff; 4][..], &length.to_le_bytes(), &message].concat();
    Ok(base64::engine::general_purpose::STANDARD.encode(framed))
}

fn times(
    values: ScalarBuffer<i64>,
    nulls: Option<NullBuffer>,
    unit: TimeUnit,
    stored: &Stored,
) -> Result<ArrayRef, ArrowError> {
    let Stored::Stamp { zone } = stored else {
        return Ok(match unit {
            TimeUnit::Second => Arc::new(DurationSecondArray::try_new(values, nulls)?),
            TimeUnit::Millisecond => Arc::new(DurationMillisecondArray::try_new(values, nulls)?),
            TimeUnit::Microsecond => Arc::new(DurationMicrosecondArray::try_new(values, nulls)?),
            TimeUnit::Nanosecond => Arc::new(DurationNanosecondArray::try_new(values, nulls)?),
        });
    };
    let zone = zone.as_deref().map(Arc::<str>::from);
    Ok(match unit {
        TimeUnit::Second => Arc::new(TimestampSecondArray::try_new(values, nulls)?.with_timezone_opt(zone)),
        TimeUnit::Millisecond => {
            Arc::new(TimestampMillisecondArray::try_new(values, nulls)?.with_timezone_opt(zone))
        }
        TimeUnit::Microsecond => {
            Arc::new(TimestampMicrosecondArray::try_new(values, nulls)?.with_timezone_opt(zone))
        }
        TimeUnit::Nanosecond => {
            Arc::new(TimestampNanosecondArray::try_new(values, nulls)?.with_timezone_opt(zone))
        }
    })
}

/// Whole numbers in the type that they had.
fn narrow(
    cells: &[i64],
    of: (usize, bool),
    held: &Held,
    nulls: Option<NullBuffer>,
) -> Result<ArrayRef, ArrowError> {
    let other = |why: String| ArrowError::IoError(String::new(), std::io::Error::other(why));
    macro_rules! narrowed {
        ($array:ident, $of:ty) => {
            Arc::new($array::try_new(held.narrow::<$of>(cells).map_err(other)?.into(), nulls)?)
        };
    }
    Ok(match of {
        (1, true) => narrowed!(Int8Array, i8),
        (2, true) => narrowed!(Int16Array, i16),
        (_, true) => narrowed!(Int32Array, i32),
        (1, false) => narrowed!(UInt8Array, u8),
        (2, false) => narrowed!(UInt16Array, u16),
        (_, false) => narrowed!(UInt32Array, u32),
    })
}
