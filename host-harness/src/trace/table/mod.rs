//! Files of typed columns: what a reader of such a format has to tell, and what is made of it.
//!
//! A format is a [`Table`]: it names its columns and hands out their cells, a chunk of rows at a time. [`rows`] turns these into the frames
//! that the text of a CSV would give, by the same rules.

mod address;
mod arrow;
mod error;
mod exact;
mod guard;
mod mdf;
mod open;
mod parquet;
mod quick;
mod rows;
mod store;

#[cfg(test)]
mod agreement;

pub(crate) use address::{addresses, candidates, full_names, resolve};
pub use error::{AddressError, MdfError, TableError};
pub(super) use exact::{exact, parts};
pub(crate) use exact::{exact_digits, push_fixed};
pub(crate) use open::{Format, open_store};
pub(super) use rows::TableRows;
pub(crate) use store::{MOST_IN_MEMORY, Store};

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
    Decimal {
        places: u32,
    },
    /// What cannot be a column of a trace (text, lists, arrays...), with the word for messages.
    Other(&'static str),
}

impl Kind {
    /// What it holds, in words.
    pub(crate) const fn in_words(self) -> &'static str {
        match self {
            Self::Integer => "whole numbers",
            Self::Real => "floating-point numbers",
            Self::Bool => "booleans",
            Self::Time { .. } => "times",
            Self::Decimal { .. } => "decimal numbers",
            Self::Other(what) => what,
        }
    }
}

/// How a column is stored, as far as its kind does not say it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) enum Stored {
    /// Numbers in 64 bits; times as durations.
    #[default]
    Wide,
    /// Whole numbers in 1, 2 or 4 bytes.
    Whole { bytes: usize, signed: bool },
    /// Floating-point numbers of 32 bits.
    Single,
    /// Points in time since 1970, in this time zone; without one, of a clock on the wall.
    Stamp { zone: Option<String> },
    /// Times of day.
    Clock,
}

/// The cells of one column in one chunk. Times and decimals come as integers. A cell that is not there holds anything.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Cells {
    Integers(Vec<i64>),
    Unsigned(Vec<u64>),
    Reals(Vec<f64>),
    Bools(Vec<bool>),
}

impl Cells {
    /// The buffer of integers of a former chunk, empty; a new one if it held something else. So it is with the others.
    pub(crate) fn take_integers(&mut self) -> Vec<i64> {
        match self {
            Self::Integers(cells) => emptied(cells),
            _ => Vec::new(),
        }
    }

    pub(crate) fn take_reals(&mut self) -> Vec<f64> {
        match self {
            Self::Reals(cells) => emptied(cells),
            _ => Vec::new(),
        }
    }

    pub(crate) fn take_bools(&mut self) -> Vec<bool> {
        match self {
            Self::Bools(cells) => emptied(cells),
            _ => Vec::new(),
        }
    }
}

fn emptied<T>(cells: &mut Vec<T>) -> Vec<T> {
    let mut cells = std::mem::take(cells);
    cells.clear();
    cells
}

/// Which cells of a column are there; `None`: all.
pub(crate) type Present = Option<Vec<bool>>;

/// Consecutive rows of the selected columns, in the order in which they were selected.
#[derive(Debug, Default)]
pub(crate) struct Chunk {
    pub(crate) rows: usize,
    pub(crate) columns: Vec<(Cells, Present)>,
}

impl Chunk {
    /// Makes room for so many columns, keeping the buffers of a former chunk.
    pub(crate) fn set_columns(&mut self, count: usize) {
        self.columns.resize_with(count, || (Cells::Integers(Vec::new()), None));
    }
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

    /// Whether cells of a column may be missing, as far as the file says.
    fn nullable(&self, _column: usize) -> bool {
        true
    }

    /// How a column is stored, for who writes it anew.
    fn stored(&self, _column: usize) -> Stored {
        Stored::Wide
    }

    /// What else the file says of itself: keys and texts.
    fn notes(&self) -> &[(String, String)] {
        &[]
    }
}

/// How many rows a chunk has: its columns stay in the cache of the core that reads them.
pub(crate) const CHUNK_ROWS: usize = 8192;
