//! What can be wrong with a file of typed columns.

use std::io;

pub use super::address::AddressError;
pub use super::mdf::MdfError;

/// Why a file of typed columns cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum TableError {
    /// The file ends before its end.
    #[error("the {0} is truncated: its end is missing")]
    Truncated(&'static str),
    /// The file contradicts itself.
    #[error("the {format} is damaged{}: {detail}", of(column.as_ref()))]
    Damaged {
        /// The format of the file.
        format: &'static str,
        /// The column, where it is that of one.
        column: Option<String>,
        /// What is wrong.
        detail: String,
    },
    /// The file can be read, and uses something that this program does not know.
    #[error("the {format} has {what}, which is not read")]
    Unsupported {
        /// The format of the file.
        format: &'static str,
        /// What it has.
        what: String,
    },
    /// A column is compressed in a way that is not built in.
    #[error("column `{column}` is compressed as {codec}, which is not read")]
    Codec {
        /// The column.
        column: String,
        /// The compression.
        codec: String,
    },
    /// A column is not of a type that can be what it has to be.
    #[error("column `{column}` holds {what}, not {wanted}")]
    Kind {
        /// The column.
        column: String,
        /// What it holds.
        what: &'static str,
        /// What is needed.
        wanted: &'static str,
    },
    /// Several columns of the name.
    #[error("{count} columns are called `{name}`")]
    DoubledColumn {
        /// The name.
        name: String,
        /// How many.
        count: usize,
    },
    /// Needed columns that do not have the same rows.
    #[error("columns `{first}` and `{second}` do not have the same rows: each has a time base of its own")]
    TwoTimeBases {
        /// One of them.
        first: String,
        /// The other one.
        second: String,
    },
    /// A decimal number of more digits than 64 bits hold.
    #[error("column `{column}`, row {row}: a decimal number of more digits than 64 bits hold")]
    LongDecimal {
        /// The column.
        column: String,
        /// The row, from 1.
        row: u64,
    },
    /// A table without rows, or of which none is left.
    #[error("the table has no row{}", left_out(*.skipped))]
    NoRows {
        /// How many rows were left out as bad.
        skipped: u64,
    },
    /// A part of the file that is too large to be held in memory.
    #[error("the {format} has {what} of {bytes} bytes; up to {most} are read")]
    TooLarge {
        /// The format of the file.
        format: &'static str,
        /// The part.
        what: &'static str,
        /// Its size.
        bytes: u64,
        /// The largest that is taken.
        most: u64,
    },
    /// A long file that comes through a pipe or is compressed as a whole.
    #[error(
        "the {format} is longer than {most} bytes and comes from a stream: it is read from several places at once"
    )]
    Stream {
        /// The format of the file.
        format: &'static str,
        /// How many bytes are kept in memory.
        most: u64,
    },
    /// The file cannot be read.
    #[error("cannot be read: {0}")]
    Unreadable(#[from] io::Error),
    /// A name that does not lead to one column, or columns that do not go together.
    #[error(transparent)]
    Address(#[from] AddressError),
    /// An MDF4 file.
    #[error(transparent)]
    Mdf(#[from] MdfError),
}

impl TableError {
    /// What to do about it.
    pub(crate) fn advice(&self) -> String {
        match self {
            Self::Truncated(_) => "copy the file again, or close it in the program that writes it".to_owned(),
            Self::Damaged { .. } => "copy or write the file again".to_owned(),
            Self::Unsupported { .. } => "write the file again without it".to_owned(),
            Self::Codec { .. } => {
                "write the file again with the compression snappy, zstd, lz4, gzip or none".to_owned()
            }
            Self::Kind { .. } => {
                "name another column in the setup, or write this one with another type".to_owned()
            }
            Self::DoubledColumn { .. } => "give each column its own name".to_owned(),
            Self::TwoTimeBases { .. } => {
                "take one group (convert: --leave-out GROUP/NAME), record them in one group, or bring them to one time base".to_owned()
            }
            Self::LongDecimal { .. } => "write the column with fewer digits or places".to_owned(),
            Self::NoRows { skipped: 0 } => "record it again, or check what writes it".to_owned(),
            Self::NoRows { .. } => "run without --skip-bad to see the first bad row".to_owned(),
            Self::TooLarge { .. } => "write the file again in smaller parts".to_owned(),
            Self::Stream { .. } => "give the file itself by its name, not compressed as a whole".to_owned(),
            Self::Address(error) => error.advice().to_owned(),
            Self::Mdf(error) => error.advice().to_owned(),
            Self::Unreadable(_) => "check that the file may be read and is on a working disk".to_owned(),
        }
    }
}

fn of(column: Option<&String>) -> String {
    column.map_or_else(String::new, |name| format!(" in column `{name}`"))
}

fn left_out(skipped: u64) -> String {
    match skipped {
        0 => String::new(),
        1 => " left: the only one was bad".to_owned(),
        _ => format!(" left: all {skipped} rows were bad"),
    }
}
