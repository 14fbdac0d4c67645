//! Which format a file has.

use std::path::Path;

use super::arrow::{ArrowTable, CONTINUATION, MAGIC};
use super::parquet::ParquetTable;
use super::{Store, Table, TableError};

/// A format of typed columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Format {
    Parquet,
    Arrow,
}

impl Format {
    /// By the first eight bytes.
    pub(crate) fn of(magic: &[u8]) -> Option<Self> {
        if magic.starts_with(b"PAR1") || magic.starts_with(b"PARE") {
            return Some(Self::Parquet);
        }
        // The first message of a stream has a length above zero, and one that a schema can have.
        let is_stream = magic.starts_with(&CONTINUATION) && matches!(magic, [.., 0..=0x7f]) && magic.len() == 8;
        (magic.starts_with(MAGIC) || is_stream).then_some(Self::Arrow)
    }

    /// By what the name of a file promises.
    pub(crate) fn of_name(path: &Path) -> Option<Self> {
        let extension = path.extension()?.to_str()?.to_ascii_lowercase();
        match extension.as_str() {
            "parquet" | "pq" => Some(Self::Parquet),
            "arrow" | "arrows" | "feather" | "ipc" => Some(Self::Arrow),
            _ => None,
        }
    }

    /// The format, in words.
    pub(crate) const fn in_words(self) -> &'static str {
        match self {
            Self::Parquet => super::parquet::FORMAT,
            Self::Arrow => super::arrow::FORMAT,
        }
    }
}

/// Opens a file of a known format.
pub(crate) fn open_store(store: Store, format: Format) -> Result<Box<dyn Table>, TableError> {
    Ok(match format {
        Format::Parquet => Box::new(ParquetTable::open(store)?),
        Format::Arrow => Box::new(ArrowTable::open(store)?),
    })
}
