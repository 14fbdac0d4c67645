//! Which format a file has.

use std::io::{Cursor, Seek};
use std::path::Path;

use super::arrow::{ArrowTable, CONTINUATION, MAGIC};
use super::mdf::{self, Mdf};
use super::parquet::ParquetTable;
use super::{Store, Table, TableError};

/// A format of typed columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Format {
    Parquet,
    Arrow,
    Mdf,
}

impl Format {
    /// By the first eight bytes.
    pub(crate) fn of(magic: &[u8]) -> Option<Self> {
        if magic.starts_with(b"PAR1") || magic.starts_with(b"PARE") {
            return Some(Self::Parquet);
        }
        if magic.get(..8).is_some_and(mdf::is_mdf) {
            return Some(Self::Mdf);
        }
        // The first message of a stream has a length that a message can have.
        let is_stream = magic.starts_with(&CONTINUATION) && magic.get(7).is_some_and(|&high| high < 0x10);
        (magic.starts_with(MAGIC) || is_stream).then_some(Self::Arrow)
    }

    /// By what the name of a file promises.
    pub(crate) fn of_name(path: &Path) -> Option<Self> {
        let extension = path.extension()?.to_str()?.to_ascii_lowercase();
        match extension.as_str() {
            "parquet" | "pq" => Some(Self::Parquet),
            "arrow" | "arrows" | "feather" | "ipc" => Some(Self::Arrow),
            "mf4" | "mdf" => Some(Self::Mdf),
            _ => None,
        }
    }

    /// The same with its article.
    pub(crate) const fn with_article(self) -> &'static str {
        match self {
            Self::Parquet => "a Parquet file",
            Self::Arrow => "an Arrow IPC file",
            Self::Mdf => "an MDF 4 file",
        }
    }

    /// The format, in words.
    pub(crate) const fn in_words(self) -> &'static str {
        match self {
            Self::Parquet => super::parquet::FORMAT,
            Self::Arrow => super::arrow::FORMAT,
            Self::Mdf => mdf::FORMAT,
        }
    }
}

/// Opens a file of a known format.
pub(crate) fn open_store(store: Store, format: Format) -> Result<Box<dyn Table>, TableError> {
    Ok(match format {
        Format::Parquet => Box::new(ParquetTable::open(store)?),
        Format::Arrow => Box::new(ArrowTable::open(store)?),
        Format::Mdf => match store {
            Store::File { file, .. } => {
                let mut file = file.try_clone()?;
                file.rewind()?;
                Box::new(Mdf::open(file)?)
            }
            Store::Memory(bytes) => Box::new(Mdf::open(Cursor::new(bytes))?),
        },
    })
}
