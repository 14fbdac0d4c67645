//! Rows as an Arrow IPC file.

use std::collections::HashMap;
use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow_array::{
    ArrayRef, BooleanArray, Decimal128Array, DurationMicrosecondArray, DurationMillisecondArray,
    DurationNanosecondArray, DurationSecondArray, Float64Array, Int64Array, RecordBatch, UInt64Array,
};
use arrow_buffer::{BooleanBuffer, NullBuffer, ScalarBuffer};
use arrow_ipc::writer::{FileWriter, IpcWriteOptions};
use arrow_ipc::{CompressionType, MetadataVersion};
use arrow_schema::{ArrowError, DataType, Field, Schema, TimeUnit};

use super::super::table::{Cells, Chunk, Kind};
use super::cells::{Held, HeldRows};
use super::{COMMENT, ConvertError, Described, HELD_CELLS, Sink, WRITTEN};

/// Rows of a record batch, when there are few columns.
const BATCH_ROWS: usize = 1 << 16;
/// The digits that a decimal number of 64 bits can have, and that 128 bits have room for.
const DIGITS: u8 = 19;
const MOST_DIGITS: u8 = 38;

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
        let fields: Vec<Field> = held.map(|(column, held)| field(column, &held.cells)).collect();
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

fn data_type(kind: Kind, cells: &Cells) -> DataType {
    match (kind, cells) {
        (Kind::Time { ns }, _) => DataType::Duration(match ns {
            1_000_000_000 => TimeUnit::Second,
            1_000_000 => TimeUnit::Millisecond,
            1_000 => TimeUnit::Microsecond,
            _ => TimeUnit::Nanosecond,
        }),
        (Kind::Decimal { places }, _) => {
            let scale = u8::try_from(places).unwrap_or(MOST_DIGITS);
            DataType::Decimal128(DIGITS.max(scale), scale.cast_signed())
        }
        (_, Cells::Unsigned(_)) => DataType::UInt64,
        (_, Cells::Integers(_)) => DataType::Int64,
        (_, Cells::Reals(_)) => DataType::Float64,
        (_, Cells::Bools(_)) => DataType::Boolean,
    }
}

fn field(described: &Described, cells: &Cells) -> Field {
    let column = &described.column;
    let field = Field::new(&column.name, data_type(column.kind, cells), described.nullable);
    match (&column.unit, described.written) {
        (Some(unit), None) => field.with_metadata(HashMap::from([("unit".to_owned(), unit.clone())])),
        _ => field,
    }
}

fn array(described: &Described, held: &Held) -> Result<ArrayRef, ArrowError> {
    let nulls = held.present().map(NullBuffer::from);
    Ok(match (&held.cells, described.column.kind) {
        (Cells::Integers(cells), Kind::Time { ns }) => {
            let other = |why: String| ArrowError::IoError(String::new(), std::io::Error::other(why));
            let units = [1, 1_000, 1_000_000, 1_000_000_000];
            let values = super::times(&described.column, ns, &units, cells).map_err(other)?;
            let values = ScalarBuffer::from(values);
            match ns {
                1_000_000_000 => Arc::new(DurationSecondArray::try_new(values, nulls)?),
                1_000_000 => Arc::new(DurationMillisecondArray::try_new(values, nulls)?),
                1_000 => Arc::new(DurationMicrosecondArray::try_new(values, nulls)?),
                _ => Arc::new(DurationNanosecondArray::try_new(values, nulls)?),
            }
        }
        (Cells::Integers(cells), kind @ Kind::Decimal { .. }) => {
            let values: Vec<i128> = cells.iter().map(|&cell| cell.into()).collect();
            let array = Decimal128Array::try_new(values.into(), nulls)?;
            Arc::new(array.with_data_type(data_type(kind, &held.cells)))
        }
        (Cells::Integers(cells), _) => Arc::new(Int64Array::try_new(cells.clone().into(), nulls)?),
        (Cells::Unsigned(cells), _) => Arc::new(UInt64Array::try_new(cells.clone().into(), nulls)?),
        (Cells::Reals(cells), _) => Arc::new(Float64Array::try_new(cells.clone().into(), nulls)?),
        (Cells::Bools(cells), _) => Arc::new(BooleanArray::new(BooleanBuffer::from(cells.as_slice()), nulls)),
    })
}
