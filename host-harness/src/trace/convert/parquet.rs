//! Rows as a Parquet file.

use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow_schema::Schema;
use parquet::basic::{Compression, Encoding, LogicalType, Repetition, TimeUnit, Type as Physical, ZstdLevel};
use parquet::column::writer::ColumnWriter;
use parquet::errors::{ParquetError, Result};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{ColumnPath, Type};

use super::super::table::{Cells, Chunk, Kind, Stored};
use super::arrow;
use super::cells::{Held, HeldRows};
use super::{COMMENT, ConvertError, Described, HELD_CELLS, Sink, UNIT, WRITTEN};

/// Rows of a group, when there are few columns.
const GROUP_ROWS: usize = 1 << 20;
/// Rows of a page: half a megabyte of numbers before they are packed.
const PAGE_ROWS: usize = 1 << 16;
/// The units of points in time, in ns.
const UNITS: [u64; 3] = [1, 1_000, 1_000_000];
/// The digits of a decimal number in 64 bits.
const DIGITS: i32 = 18;
const ARROW_DIGITS: u8 = 18;
/// The first number that has more.
const MOST: u64 = 1_000_000_000_000_000_000;

/// A Parquet file.
pub(super) struct ParquetSink {
    /// Begun with the first rows: only they tell which whole numbers have no sign.
    writer: Option<SerializedFileWriter<BufWriter<File>>>,
    file: Option<File>,
    path: PathBuf,
    columns: Vec<Described>,
    comment: Option<String>,
    group_rows: usize,
    held: HeldRows,
}

impl ParquetSink {
    pub(super) fn new(
        file: File,
        path: &Path,
        columns: &[Described],
        comment: Option<String>,
    ) -> std::result::Result<Self, ConvertError> {
        let group_rows = GROUP_ROWS.min(HELD_CELLS / columns.len().max(1)).max(1);
        let (path, held) = (path.to_owned(), HeldRows::new(columns.len()));
        Ok(Self {
            writer: None,
            file: Some(file),
            path,
            columns: columns.to_vec(),
            comment,
            group_rows,
            held,
        })
    }

    fn begin(&mut self) -> Result<()> {
        let Some(file) = self.file.take() else { return Ok(()) };
        let held = self.columns.iter().zip(&self.held.columns);
        let fields: Result<Vec<_>> =
            held.map(|(column, held)| field(column, &held.cells).map(Arc::new)).collect();
        let schema = Type::group_type_builder("schema").with_fields(fields?).build()?;
        let mut properties = WriterProperties::builder()
            .set_compression(Compression::ZSTD(ZstdLevel::default()))
            .set_dictionary_enabled(false)
            .set_statistics_enabled(EnabledStatistics::Chunk)
            .set_data_page_row_count_limit(PAGE_ROWS)
            .set_created_by(concat!("cowitness ", env!("CARGO_PKG_VERSION")).to_owned())
            .set_key_value_metadata(Some(self.notes()?));
        for (column, held) in self.columns.iter().zip(&self.held.columns) {
            if matches!(held.cells, Cells::Integers(_) | Cells::Unsigned(_)) {
                let path = ColumnPath::new(vec![column.column.name.clone()]);
                properties = properties.set_column_encoding(path, Encoding::DELTA_BINARY_PACKED);
            }
        }
        let (file, schema) = (BufWriter::new(file), Arc::new(schema));
        self.writer = Some(SerializedFileWriter::new(file, schema, Arc::new(properties.build()))?);
        Ok(())
    }

    fn notes(&self) -> Result<Vec<KeyValue>> {
        let mut notes: Vec<KeyValue> = self.schema_of_arrow()?.into_iter().collect();
        let mut note = |key: String, value: String| notes.push(KeyValue::new(key, value));
        if let Some(comment) = &self.comment {
            note(COMMENT.to_owned(), comment.clone());
        }
        for Described { column, written, .. } in &self.columns {
            match written {
                Some((unit, places)) => {
                    note(format!("{WRITTEN}{}", column.name), format!("{} {places}", unit.symbol()));
                }
                None => {
                    if let Some(unit) = &column.unit {
                        note(format!("{UNIT}{}", column.name), unit.clone());
                    }
                }
            }
        }
        Ok(notes)
    }

    /// The note that readers of Arrow know durations and the names of time zones by, where there are any: Parquet has neither.
    fn schema_of_arrow(&self) -> Result<Option<KeyValue>> {
        let needs = |described: &Described| match &described.stored {
            Stored::Stamp { zone } => zone.as_deref().is_some_and(|zone| zone != "UTC"),
            _ => described.is_duration(),
        };
        if !self.columns.iter().any(needs) {
            return Ok(None);
        }
        let held = self.columns.iter().zip(&self.held.columns);
        let fields: Vec<_> =
            held.map(|(column, held)| arrow::field(column, &held.cells, ARROW_DIGITS)).collect();
        let schema =
            arrow::encoded(&Schema::new(fields)).map_err(|error| ParquetError::External(Box::new(error)))?;
        Ok(Some(KeyValue::new("ARROW:schema".to_owned(), schema)))
    }

    /// Writes the rows that are held as a group.
    fn write_group(&mut self) -> Result<()> {
        self.begin()?;
        let Some(writer) = &mut self.writer else { return Ok(()) };
        let mut group = writer.next_row_group()?;
        let mut columns = self.columns.iter().zip(&self.held.columns);
        while let Some(mut out) = group.next_column()? {
            let Some((column, held)) = columns.next() else { break };
            write_column(out.untyped(), column, held, self.held.rows)?;
            out.close()?;
        }
        group.close()?;
        self.held.clear();
        Ok(())
    }

    fn failed(&self, error: ParquetError) -> ConvertError {
        let error = match error {
            ParquetError::External(error) => match error.downcast::<std::io::Error>() {
                Ok(error) => *error,
                Err(error) => std::io::Error::other(error),
            },
            error => std::io::Error::other(error),
        };
        ConvertError::Out { path: self.path.clone(), error }
    }
}

impl Sink for ParquetSink {
    fn write(&mut self, chunk: &Chunk) -> std::result::Result<(), ConvertError> {
        let mut from = 0;
        while from < chunk.rows {
            let rows = (chunk.rows - from).min(self.group_rows - self.held.rows);
            self.held.take(chunk, from, rows);
            from += rows;
            if self.held.rows == self.group_rows {
                self.write_group().map_err(|error| self.failed(error))?;
            }
        }
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> std::result::Result<(), ConvertError> {
        let last = if self.held.rows > 0 { self.write_group() } else { self.begin() };
        let writer = last.map(|()| self.writer.take());
        let closed = writer.and_then(|writer| writer.map_or(Ok(()), |writer| writer.close().map(|_| ())));
        closed.map_err(|error| self.failed(error))
    }
}

fn field(described: &Described, cells: &Cells) -> Result<Type> {
    let physical = match cells {
        Cells::Integers(_) | Cells::Unsigned(_) if matches!(described.stored, Stored::Whole { .. }) => {
            Physical::INT32
        }
        Cells::Integers(_) | Cells::Unsigned(_) => Physical::INT64,
        Cells::Reals(_) if described.stored == Stored::Single => Physical::FLOAT,
        Cells::Reals(_) => Physical::DOUBLE,
        Cells::Bools(_) => Physical::BOOLEAN,
    };
    let repetition = if described.nullable { Repetition::OPTIONAL } else { Repetition::REQUIRED };
    let field = Type::primitive_type_builder(&described.column.name, physical).with_repetition(repetition);
    match (described.column.kind, cells) {
        // Whole numbers, which the note of the schema calls durations.
        (Kind::Time { .. }, _) if described.is_duration() => field.build(),
        (Kind::Time { ns }, _) => {
            let unit = match super::unit_of_times(ns, &UNITS) {
                1_000_000 => TimeUnit::MILLIS,
                1_000 => TimeUnit::MICROS,
                _ => TimeUnit::NANOS,
            };
            let is_utc = matches!(described.stored, Stored::Stamp { zone: Some(_) });
            field.with_logical_type(Some(LogicalType::timestamp(is_utc, unit))).build()
        }
        (Kind::Decimal { places }, _) => {
            let scale = i32::try_from(places).ok().filter(|scale| *scale <= DIGITS);
            let scale = scale.ok_or_else(|| too_long(described))?;
            let field = field.with_precision(DIGITS).with_scale(scale);
            field.with_logical_type(Some(LogicalType::decimal(scale, DIGITS))).build()
        }
        (_, Cells::Integers(_) | Cells::Unsigned(_))
            if let Stored::Whole { bytes, signed } = described.stored =>
        {
            // Without more, it is of 32 bits with a sign.
            let bits = i8::try_from(bytes * 8).unwrap_or(32);
            let logical = (bits < 32 || !signed).then(|| LogicalType::integer(bits, signed));
            field.with_logical_type(logical).build()
        }
        (_, Cells::Unsigned(_)) => field.with_logical_type(Some(LogicalType::integer(64, false))).build(),
        _ => field.build(),
    }
}

/// What 64 bits of a decimal have no place for.
fn too_long(described: &Described) -> ParquetError {
    let name = &described.column.name;
    ParquetError::General(format!(
        "column `{name}`: its decimal numbers have more than {DIGITS} digits, which this file has no place for; write a .csv or .arrow file"
    ))
}

fn write_column(out: &mut ColumnWriter<'_>, described: &Described, held: &Held, rows: usize) -> Result<()> {
    let levels: Option<Vec<i16>> = described.nullable.then(|| match held.present() {
        Some(present) => present.iter().map(|&there| i16::from(there)).collect(),
        None => vec![1; rows],
    });
    let levels = levels.as_deref();
    match (out, &held.cells) {
        (ColumnWriter::Int64ColumnWriter(out), Cells::Integers(cells)) => {
            let mut values = held.found(cells);
            match described.column.kind {
                Kind::Time { ns } => {
                    let units = if described.is_duration() { &arrow::UNITS[..] } else { &UNITS };
                    values =
                        super::times(&described.column, ns, units, &values).map_err(ParquetError::General)?;
                }
                Kind::Decimal { .. } if values.iter().any(|value| value.unsigned_abs() >= MOST) => {
                    return Err(too_long(described));
                }
                _ => {}
            }
            out.write_batch(&values, levels, None)?;
        }
        (ColumnWriter::Int64ColumnWriter(out), Cells::Unsigned(cells)) => {
            let values: Vec<i64> = held.found(cells).into_iter().map(u64::cast_signed).collect();
            out.write_batch(&values, levels, None)?;
        }
        (ColumnWriter::Int32ColumnWriter(out), Cells::Integers(cells)) => {
            out.write_batch(&small(described, &held.found(cells))?, levels, None)?;
        }
        (ColumnWriter::Int32ColumnWriter(out), Cells::Unsigned(cells)) => {
            let cells: Vec<i64> = held.found(cells).into_iter().map(u64::cast_signed).collect();
            out.write_batch(&small(described, &cells)?, levels, None)?;
        }
        (ColumnWriter::FloatColumnWriter(out), Cells::Reals(cells)) => {
            // They were of 32 bits before.
            let values: Vec<f32> = held.found(cells).into_iter().map(|cell| cell as f32).collect();
            out.write_batch(&values, levels, None)?;
        }
        (ColumnWriter::DoubleColumnWriter(out), Cells::Reals(cells)) => {
            out.write_batch(&held.found(cells), levels, None)?;
        }
        (ColumnWriter::BoolColumnWriter(out), Cells::Bools(cells)) => {
            out.write_batch(&held.found(cells), levels, None)?;
        }
        _ => return Err(ParquetError::General("a column of another type than before".to_owned())),
    }
    Ok(())
}

/// Whole numbers in the 32 bits that they had.
fn small(described: &Described, cells: &[i64]) -> Result<Vec<i32>> {
    let signed = matches!(described.stored, Stored::Whole { signed: true, .. });
    let small = |&cell: &i64| {
        let found = match signed {
            true => i32::try_from(cell).ok(),
            false => u32::try_from(cell).ok().map(u32::cast_signed),
        };
        found.ok_or_else(|| {
            let name = &described.column.name;
            ParquetError::General(format!("column `{name}`: {cell} is beyond the type that its column had"))
        })
    };
    cells.iter().map(small).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn described(places: u32) -> Described {
        let column = super::super::Column {
            name: "a".to_owned(),
            unit: None,
            kind: Kind::Decimal { places },
            group: 0,
            rows: None,
            is_time: false,
        };
        Described { column, nullable: false, stored: Stored::Wide, written: None, time: None }
    }

    #[test]
    fn decimal_numbers_of_more_than_18_digits_are_refused_and_not_written_beyond_what_the_file_says() {
        let folder = std::env::temp_dir();
        let write = |places, cell| {
            let path = folder.join(format!("cowitness-digits-{places}-{}.parquet", std::process::id()));
            let file = File::create(&path).unwrap();
            let mut sink = ParquetSink::new(file, &path, &[described(places)], None).unwrap();
            let mut chunk = Chunk::default();
            chunk.set_columns(1);
            chunk.rows = 1;
            chunk.columns[0].0 = Cells::Integers(vec![cell]);
            let done = sink.write(&chunk).and_then(|()| Box::new(sink).finish());
            std::fs::remove_file(&path).unwrap();
            done.map_err(|error| error.to_string())
        };
        let most = i64::try_from(MOST).unwrap();
        assert_eq!(write(18, most - 1), Ok(()));
        assert_eq!(write(0, 1 - most), Ok(()));
        for error in [write(18, most), write(18, -most), write(19, 1)] {
            let error = error.unwrap_err();
            assert!(error.contains("column `a`: its decimal numbers have more than 18 digits"), "{error}");
        }
    }
}
