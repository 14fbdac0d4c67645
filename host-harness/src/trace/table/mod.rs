//! Files of typed columns: what a reader of such a format has to tell, and what is made of it.
//!
//! A format is a [`Table`]: it names its columns and hands out their cells, a chunk of rows at a time, so that memory is bounded
//! whatever the length of the file. Values stay what the file stores: whole numbers as whole numbers, floats as the same floats.

#[cfg_attr(not(test), expect(dead_code, reason = "the reader of traces does not open such files yet"))]
mod address;
mod error;
mod mdf;

use std::fs::File;
use std::io::Read;
use std::path::Path;

pub(crate) use address::addresses;
pub use error::{AddressError, MdfError, TableError};

/// What a column holds, as its file says.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Column {
    pub(crate) name: String,
    /// The unit that the file gives it; `None`: none.
    pub(crate) unit: Option<String>,
    pub(crate) kind: Kind,
    /// Columns of the same number have the same rows and the same time base (an MDF4 channel group; always 0 in Parquet and Arrow IPC).
    pub(crate) group: usize,
    /// Rows of that group, where the file says.
    pub(crate) rows: Option<u64>,
    /// The file itself says that it is the time of its group.
    pub(crate) is_time: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Integer,
    Real,
    Bool,
    /// A point in time or a duration in whole multiples of so many ns.
    Time {
        ns: u64,
    },
    /// A decimal number with so many places: whole numbers, each to be divided by that power of ten.
    #[expect(dead_code, reason = "for formats that hold decimals")]
    Decimal {
        places: u32,
    },
    /// What cannot be a column of a trace (text, lists, arrays...), with the word for messages.
    Other(&'static str),
}

/// The cells of one column in one chunk. Times and decimals come as integers. A cell that is not there holds anything.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Cells {
    Integers(Vec<i64>),
    Unsigned(Vec<u64>),
    Reals(Vec<f64>),
    Bools(Vec<bool>),
}

/// Which cells of a column are there; `None`: all.
pub(crate) type Present = Option<Vec<bool>>;

/// Consecutive rows of the selected columns, in the order in which they were selected.
#[derive(Debug, Default)]
pub(crate) struct Chunk {
    pub(crate) rows: usize,
    pub(crate) columns: Vec<(Cells, Present)>,
}

/// A file of typed columns.
pub(crate) trait Table: Send {
    fn columns(&self) -> &[Column];

    /// What the format is called in messages.
    fn format(&self) -> &'static str;

    /// What the group of a column is called in messages and in front of the names of its columns; empty where there is but one.
    fn group(&self, _group: usize) -> String {
        String::new()
    }

    /// How many columns at a time have chunks of bounded size, whatever the number of all.
    fn columns_at_a_time(&self) -> usize {
        512
    }

    /// Which columns are to be read; all of one group.
    fn select(&mut self, columns: &[usize]) -> Result<(), TableError>;

    /// Replaces `chunk` by the next rows (some thousands at a time, bounded memory); false at the end.
    fn next(&mut self, chunk: &mut Chunk) -> Result<bool, TableError>;
}

/// Opens a file, if its first bytes are those of a format of typed columns.
pub(crate) fn open(path: &Path) -> Result<Option<Box<dyn Table>>, TableError> {
    let mut file = File::open(path)?;
    let mut magic = Vec::new();
    file.by_ref().take(mdf::MAGIC_BYTES).read_to_end(&mut magic)?;
    Ok(if mdf::is_mdf(&magic) { Some(Box::new(mdf::Mdf::open(file)?)) } else { None })
}
