//! Parquet, column chunk by column chunk, with the decoders of the crate `parquet`.
//!
//! Of a row group only the pages of the selected columns are read, one page of each at a time.

mod column;
mod pages;
mod schema;

use std::sync::Arc;

use parquet::column::reader::get_column_reader;
use parquet::errors::ParquetError;
use parquet::file::metadata::{ParquetMetaData, ParquetMetaDataReader};
use parquet::file::reader::SerializedPageReader;

use self::column::Reader;
use self::pages::Pages;
use super::guard::guarded;
use super::{CHUNK_ROWS, Chunk, Column, Store, Stored, Table, TableError};

pub(super) const FORMAT: &str = "Parquet file";

/// A Parquet file.
pub(crate) struct ParquetTable {
    pages: Arc<Pages>,
    metadata: ParquetMetaData,
    columns: Vec<Column>,
    stored: Vec<Stored>,
    nullable: Vec<bool>,
    notes: Vec<(String, String)>,
    selected: Vec<usize>,
    /// The row group that is read next.
    next_group: usize,
    /// The columns of the present one, and the rows that are left in it.
    readers: Vec<Reader>,
    left: usize,
}

fn damaged(column: Option<&str>, detail: impl ToString) -> TableError {
    TableError::Damaged { format: FORMAT, column: column.map(str::to_owned), detail: detail.to_string() }
}

/// Runs a decoder of the crate.
fn decoded<T>(
    column: Option<&str>,
    decode: impl FnOnce() -> Result<T, ParquetError>,
) -> Result<T, TableError> {
    match guarded(decode) {
        Some(Ok(value)) => Ok(value),
        Some(Err(ParquetError::External(error))) => match error.downcast::<std::io::Error>() {
            // Decoders use the same type; an error of the file has a number.
            Ok(io) if io.raw_os_error().is_some() => Err(TableError::Unreadable(*io)),
            Ok(io) => Err(damaged(column, io)),
            Err(other) => Err(damaged(column, other)),
        },
        Some(Err(ParquetError::NYI(what) | ParquetError::General(what))) => Err(damaged(column, what)),
        Some(Err(error)) => Err(damaged(column, error)),
        None => Err(damaged(column, "what is in it cannot be decoded")),
    }
}

impl ParquetTable {
    /// Reads the footer.
    pub(crate) fn open(store: Store) -> Result<Self, TableError> {
        let length = store.length();
        let end = length.checked_sub(4).filter(|&at| at >= 4).ok_or(TableError::Truncated(FORMAT))?;
        match store.bytes(end, 4)?.as_ref() {
            b"PAR1" => {}
            b"PARE" => {
                let what = "an encrypted footer".to_owned();
                return Err(TableError::Unsupported { format: FORMAT, what });
            }
            _ => return Err(TableError::Truncated(FORMAT)),
        }
        let pages = Arc::new(Pages::new(store));
        let metadata = decoded(None, || ParquetMetaDataReader::new().parse_and_finish(pages.as_ref()))?;
        let notes = schema::notes(metadata.file_metadata());
        let (columns, stored) = schema::columns(&metadata, &notes)?.into_iter().unzip();
        let leaves = metadata.file_metadata().schema_descr();
        let nullable = leaves.columns().iter().map(|leaf| leaf.max_def_level() > 0).collect();
        let readers = Vec::new();
        Ok(Self {
            pages,
            columns,
            stored,
            nullable,
            notes,
            selected: Vec::new(),
            next_group: 0,
            readers,
            left: 0,
            metadata,
        })
    }

    /// Begins the next row group that has rows; false when there is none.
    fn begin_group(&mut self) -> Result<bool, TableError> {
        while self.next_group < self.metadata.num_row_groups() {
            let group = self.metadata.row_group(self.next_group);
            self.next_group += 1;
            self.left = usize::try_from(group.num_rows())
                .map_err(|_| damaged(None, format!("a row group of {} rows", group.num_rows())))?;
            if self.left == 0 {
                continue;
            }
            let rows = self.left;
            self.readers.clear();
            for &index in &self.selected {
                let column = &self.columns[index];
                let name = Some(column.name.as_str());
                let (pages, chunk) = (Arc::clone(&self.pages), group.column(index));
                let reader = decoded(name, || {
                    let pages = SerializedPageReader::new(pages, chunk, rows, None)?;
                    Ok(get_column_reader(chunk.column_descr_ptr(), Box::new(pages)))
                })?;
                self.readers.push(Reader::new(reader, column, chunk.column_descr())?);
            }
            return Ok(true);
        }
        Ok(false)
    }

    /// That every column chunk is compressed in a way that is built in.
    fn check_codecs(&self) -> Result<(), TableError> {
        use ::parquet::basic::Compression as Codec;
        for group in self.metadata.row_groups() {
            for &index in &self.selected {
                let codec = group.column(index).compression();
                match codec {
                    Codec::UNCOMPRESSED
                    | Codec::SNAPPY
                    | Codec::GZIP(_)
                    | Codec::LZ4
                    | Codec::LZ4_RAW
                    | Codec::ZSTD(_) => {}
                    Codec::BROTLI(_) | Codec::LZO => {
                        let name = if codec == Codec::LZO { "LZO" } else { "brotli" };
                        let column = self.columns[index].name.clone();
                        return Err(TableError::Codec { column, codec: name.to_owned() });
                    }
                }
            }
        }
        Ok(())
    }
}

impl Table for ParquetTable {
    fn format(&self) -> &'static str {
        FORMAT
    }

    fn columns(&self) -> &[Column] {
        &self.columns
    }

    fn select(&mut self, columns: &[usize]) -> Result<(), TableError> {
        self.selected = columns.to_vec();
        (self.next_group, self.left) = (0, 0);
        // Metadata that names fewer columns in a row group than in the schema must not be asked for more.
        let leaves = self.columns.len();
        if self.metadata.row_groups().iter().any(|group| group.num_columns() != leaves) {
            return Err(damaged(None, "a row group has other columns than the schema"));
        }
        self.check_codecs()
    }

    fn next(&mut self, chunk: &mut Chunk) -> Result<bool, TableError> {
        if self.left == 0 && !self.begin_group()? {
            chunk.rows = 0;
            return Ok(false);
        }
        chunk.rows = self.left.min(CHUNK_ROWS);
        chunk.set_columns(self.selected.len());
        for ((reader, cells), &index) in self.readers.iter_mut().zip(&mut chunk.columns).zip(&self.selected) {
            let column = &self.columns[index];
            let read = decoded(Some(&column.name), || reader.read(chunk.rows, cells))?;
            if read != chunk.rows {
                let detail =
                    format!("{} rows are missing in row group {}", self.left - read, self.next_group);
                return Err(damaged(Some(&column.name), detail));
            }
            if let Some(row) = reader.too_long() {
                // The place in the chunk is as much as is known here.
                let column = column.name.clone();
                return Err(TableError::LongDecimal { column, row: self.row(row) });
            }
        }
        self.left -= chunk.rows;
        Ok(true)
    }

    fn nullable(&self, column: usize) -> bool {
        self.nullable[column]
    }

    fn stored(&self, column: usize) -> Stored {
        self.stored[column].clone()
    }

    fn notes(&self) -> &[(String, String)] {
        &self.notes
    }
}

impl ParquetTable {
    /// The number of a row, from 1, by its place behind those that were read before.
    fn row(&self, place: usize) -> u64 {
        let groups = self.metadata.row_groups().iter().take(self.next_group);
        let until: i64 = groups.map(|group| group.num_rows()).sum();
        u64::try_from(until).unwrap_or(0) - self.left as u64 + place as u64 + 1
    }
}
