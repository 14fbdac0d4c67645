//! Reading traces.
//!
//! A trace is a table of delimited text: one row a frame, one column a quantity. A [`Layout`] says which
//! column is which; a [`Reader`] turns the text into [`monitor_core::Frame`]s in batches, and a
//! [`Prefetch`] does so on a thread of its own. Memory is bounded whatever the length of the trace: one
//! block of text and a few batches of frames.
//!
//! # The text
//!
//! - Cells are separated by comma, semicolon or tab. The header line decides which: the one that occurs in
//!   it outside of quotes; if several do, the one under which most of the needed columns are found.
//! - With semicolon or tab the decimal mark is a point or a comma, whichever number shows one first; the
//!   other one is an error from there on, because it would then be a thousands separator. With comma it is
//!   the point.
//! - A byte-order mark, CRLF line ends, empty lines and lines whose first byte is `#` are passed over.
//!   A row must have as many cells as the header. Columns that the layout does not name are not read.
//! - A cell may stand in double quotes, with `""` for a quote inside. A quoted cell ends on its own line.
//! - One row of units may follow the header. It is told from a row of data by its time cell, which is the
//!   name of a time unit (`s`, `ms`, `us`, `µs`, `ns`, `min`, `h`, bare or in `()` or `[]`), while no cell
//!   of a needed column is a number or a level. A unit that contradicts the layout is an error.
//! - gzip (of one or more members) and zstd are recognised by their first bytes and unpacked on the way.
//! - A line longer than [`MAX_LINE_BYTES`] is refused.
//!
//! # Files of typed columns
//!
//! Parquet, Arrow IPC (as a file or as a stream) and MDF 4 are told from text by their first bytes, whatever their name. Whole numbers of any width,
//! floating-point numbers of 32 and 64 bits, decimal numbers within 64 bits, booleans (for levels and flags), and times and durations are read; of a
//! Parquet file the columns inside of others have names such as `a.b`. Each row is one of a text with the same values: a missing cell is an empty
//! one, and a floating-point number has all its digits (0.1 has 55), so it is rounded once, as decimals are. The time
//! base of a column of times is that of its type; a unit that a file notes otherwise (`unit` of an Arrow field, which writers keep in a Parquet file as
//! well, or a note `unit.COLUMN` of a Parquet file) is checked as a row of units is. Such a file is read from several places: one that comes from a
//! stream or is compressed as a whole is kept in memory, up to 256 MiB. Encrypted Parquet files and brotli are refused.
//!
//! MDF 4 is read likewise, one group of it: what makes a physical value of a raw one is worked out in whole numbers where it is of whole numbers, and
//! else in floating-point numbers of 64 bits, as the format has it, before it is rounded as any other.
//!
//! [`convert()`] turns one format into another:
//!
#![doc = include_str!("convert/columns.md")]
//!
//! # Numbers
//!
//! An optional sign, digits, an optional decimal mark, an optional power of ten (`1.25e-4`), with blanks
//! around. But for the conversions of MDF 4, numbers never pass through floating point. Times are rounded to the nearest nanosecond and
//! positions to the nearest unit in the last place, ties away from zero. A counter must be a whole number in
//! `-2^(bits-1) ..= 2^bits - 1` and is delivered as its lowest `bits` bits, so that both ways of writing it
//! (two's complement or unsigned) mean the same count. A position is delivered as the two's complement
//! of its [`monitor_core::Position::to_bits`], a counter of 64 bits. A value of an analogue line is rounded as a position
//! is, in its own unit; its readings do not fit a frame and come beside the batch ([`Reader::offered`]).
//!
//! A source and each line of an analogue value may have a column that marks its readings as valid (1 or `true`) or invalid (0 or
//! `false`). The cell of an invalid reading is not looked at: there may be anything in it.
//!
//! # Time
//!
//! The time must increase from row to row. A reading is captured at the time of its row, or at the time in its
//! own capture column, less the latency of its source. Frames count from [`Summary::origin_ns`]: zero,
//! unless the first row has a time before zero (a recording with a pre-trigger part, or a latency that
//! reaches back before the first row).
//!
//! The reader does not judge capture times: one that repeats is the same reading handed in again; one that goes
//! back, or lies after its row, is passed on for the monitors to judge.

#[cfg(test)]
mod agreement;
mod cell;
mod convert;
mod digits;
mod error;
mod fast;
mod header;
mod input;
mod layout;
mod lines;
mod number;
mod offered;
mod packed;
mod plain;
mod prefetch;
mod reader;
mod row;
mod scale;
mod skipped;
pub(crate) mod table;
mod text;
mod units;

pub use convert::{ConvertError, Converted, convert};
pub use error::{Place, Problem, Reason, TraceError};
pub use header::Delimiter;
pub use input::Compression;
pub(crate) use input::{Input, Opened, compression, other_format};
pub use layout::{
    AnalogueColumns, Layout, LayoutError, LevelColumn, SourceColumns, SourceKind, TimeColumn, TimeUnit,
};
pub use lines::MAX_LINE_BYTES;
pub(crate) use number::{Billionths, Content, Number};
pub use offered::Offered;
pub(crate) use plain::{Next, Plain};
pub use prefetch::Prefetch;
pub use reader::{BATCH_FRAMES, Options, Reader, Summary};
pub use skipped::{Skipped, SkippedRow};
pub use table::{AddressError, MdfError, TableError};
pub(crate) use units::{bare, symbol};
