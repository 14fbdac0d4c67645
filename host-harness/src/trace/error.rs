//! What can be wrong with a trace.

use std::fmt;
use std::io;
use std::sync::Arc;

use super::input::Compression;
use super::layout::LayoutError;
use super::table::TableError;
use super::units;

/// Where in a trace something is wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The path as it was given, or `standard input`.
    pub path: Arc<str>,
    /// The line in the (unpacked) text, counted from 1.
    pub line: Option<u64>,
    /// The byte in the line at which the offending cell begins, counted from 1; a byte-order mark does not
    /// count.
    pub column: Option<usize>,
    /// The row of a table that is not text, counted from 1.
    pub row: Option<u64>,
}

impl fmt::Display for Place {
    /// `path`, `path:line`, `path:line:column`, or `path, row N`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.path)?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
            if let Some(column) = self.column {
                write!(f, ":{column}")?;
            }
        }
        if let Some(row) = self.row {
            write!(f, ", row {row}")?;
        }
        Ok(())
    }
}

/// Why a trace cannot be read: where, what, and what to do about it.
#[derive(Debug, thiserror::Error)]
#[error("{place}: {problem}; {}", problem.advice())]
pub struct TraceError {
    /// Where.
    pub place: Place,
    /// What.
    pub problem: Box<Problem>,
}

impl TraceError {
    /// As it is displayed, for a row that was left out already.
    #[must_use]
    pub fn of_row_left_out(&self) -> String {
        format!("{}: {}; {}", self.place, self.problem, self.problem.remedy())
    }
}

/// What is wrong. Texts of the trace are quoted in full up to some 40 bytes and shortened beyond.
#[derive(Debug, thiserror::Error)]
pub enum Problem {
    /// The layout itself is wrong.
    #[error(transparent)]
    Layout(#[from] LayoutError),
    /// There is no such file.
    #[error("there is no such file")]
    NotFound,
    /// The path names a directory.
    #[error("this is a directory, not a trace")]
    Directory,
    /// The file is there and cannot be opened or read.
    #[error("cannot be read: {0}")]
    Unreadable(#[source] io::Error),
    /// The compressed stream ends before its end.
    #[error("the {0} stream is truncated: it ends in the middle")]
    Truncated(Compression),
    /// The compressed stream is damaged.
    #[error("the {compression} stream is damaged: {detail}")]
    Corrupt {
        /// The compression.
        compression: Compression,
        /// What the decoder says.
        detail: String,
    },
    /// A file of typed columns has something wrong.
    #[error(transparent)]
    Table(#[from] TableError),
    /// The name of the file promises a format that its bytes are not, and they are no text either.
    #[error("by its name this is {named}, by its first bytes {found}")]
    NotAsNamed {
        /// The format by the name.
        named: &'static str,
        /// What it begins like.
        found: String,
    },
    /// The file begins like another format.
    #[error("this is {0}, not delimited text")]
    OtherFormat(&'static str),
    /// Nothing in it.
    #[error("the trace is empty: there is no header line")]
    Empty,
    /// A line longer than a line may be.
    #[error("this line is longer than {0} bytes")]
    LineTooLong(usize),
    /// A carriage return that is not part of a line end.
    #[error("a carriage return without a line feed after it")]
    CarriageReturn,
    /// A NUL byte: no text.
    #[error("a NUL byte: this is not text")]
    Binary,
    /// Bytes that are no UTF-8.
    #[error("byte 0x{0:02x} is not UTF-8 text")]
    Utf8(u8),
    /// A quoted cell that is not closed on its line, or goes on after its closing quote.
    #[error("the quoted cell {0} does not end with its closing quote")]
    Quote(String),
    /// No delimiter in the header.
    #[error("no comma, semicolon or tab in the header line {0}")]
    NoDelimiter(String),
    /// Several delimiters in the header that fit equally well.
    #[error("the header line could be separated by {0}")]
    AmbiguousDelimiter(String),
    /// The first line of the table holds numbers.
    #[error("the first line holds numbers only; a header line with the column names is missing")]
    NoHeader,
    /// A needed column is not in the header.
    #[error("there is no column `{name}`{}{}; the columns are {present}", asked(asked_by.as_ref()), suggestion(nearest.as_ref()))]
    MissingColumn {
        /// The name in the layout.
        name: String,
        /// What in the setup asks for it, where that is told.
        asked_by: Option<String>,
        /// The most similar name in the header, if any is similar.
        nearest: Option<String>,
        /// The names in the header, quoted, in order; of many the nearest ones first.
        present: String,
    },
    /// A needed column is in the header twice.
    #[error("the column name `{name}` stands in the header again (first at byte {first})")]
    DoubledColumn {
        /// The name.
        name: String,
        /// The byte of the line, from 1, at which it stands for the first time.
        first: usize,
    },
    /// A header and no row that can be used.
    #[error("there is a header line but no row of data{}", left_out(*.skipped))]
    NoRows {
        /// How many rows were left out as bad.
        skipped: u64,
    },
    /// The row of units contradicts the layout.
    #[error("column `{name}` is in {found} by the {by}, in {declared} by the setup")]
    UnitMismatch {
        /// The column.
        name: String,
        /// The unit in the trace.
        found: String,
        /// The unit in the layout.
        declared: String,
        /// What in the trace says so.
        by: &'static str,
    },
    /// The row of units contradicts the layout in a column of an analogue value, of which only some units are possible.
    #[error("column `{name}` is in {found} by the {by}, in {declared} by the setup")]
    AnalogueUnitMismatch {
        /// The column.
        name: String,
        /// The unit in the trace.
        found: String,
        /// The unit in the layout.
        declared: String,
        /// What in the trace says so.
        by: &'static str,
    },
    /// A row with more or fewer cells than the header.
    #[error("this row has {found} cells, the header {expected}")]
    RowLength {
        /// Cells in the header.
        expected: usize,
        /// Cells in the row.
        found: usize,
    },
    /// An empty cell where a value is needed.
    #[error("column `{name}`: the cell is empty")]
    EmptyCell {
        /// The column.
        name: String,
        /// It is the value of a source or of an analogue line, which may be declared sparse.
        of_source: bool,
    },
    /// Text where a number is needed.
    #[error("column `{name}`: {text} is not a number")]
    NotANumber {
        /// The column.
        name: String,
        /// The text.
        text: String,
    },
    /// NaN or infinity.
    #[error("column `{name}`: {text} is not a finite number")]
    NotFinite {
        /// The column.
        name: String,
        /// The text.
        text: String,
    },
    /// The other decimal mark than before in this trace.
    #[error("column `{name}`: {text} has a decimal {found}, the numbers before it a decimal {before}")]
    DecimalMark {
        /// The column.
        name: String,
        /// The text.
        text: String,
        /// The mark in this cell, in words.
        found: &'static str,
        /// The mark so far, in words.
        before: &'static str,
    },
    /// A number of absurd length.
    #[error("column `{name}`: a number of {bytes} bytes: {text}")]
    NumberTooLong {
        /// The column.
        name: String,
        /// The text.
        text: String,
        /// Its length.
        bytes: usize,
    },
    /// A counter with a fractional part.
    #[error("column `{name}`: {text} is not a whole number of counts")]
    NotWhole {
        /// The column.
        name: String,
        /// The text.
        text: String,
    },
    /// A counter that its width cannot hold.
    #[error("column `{name}`: {text} is beyond its width of {bits} bits")]
    BeyondWidth {
        /// The column.
        name: String,
        /// The text.
        text: String,
        /// The width.
        bits: u8,
    },
    /// A position that the axis unit cannot hold.
    #[error("column `{name}`: {text} is beyond the range of positions, -2^39 up to 2^39 axis units")]
    BeyondRange {
        /// The column.
        name: String,
        /// The text.
        text: String,
    },
    /// An analogue value that cannot be held.
    #[error("column `{name}`: {text} is beyond the range of values, -2^39 up to 2^39 {unit}")]
    BeyondValues {
        /// The column.
        name: String,
        /// The text.
        text: String,
        /// The unit in the layout.
        unit: String,
    },
    /// A time more than 2^64 ns after the origin.
    #[error("column `{name}`: {text} is beyond the range of times, 2^64 ns from the first row")]
    TimeRange {
        /// The column.
        name: String,
        /// The text.
        text: String,
    },
    /// A time that is not after that of the row before.
    #[error("column `{name}`: time {} from {before} s to {text} ({now} s)", if *.repeats { "stands still" } else { "goes back" })]
    TimeOrder {
        /// The column.
        name: String,
        /// The text.
        text: String,
        /// The time of the row before, in seconds.
        before: String,
        /// The time of this row, in seconds.
        now: String,
        /// Whether the two times are equal.
        repeats: bool,
    },
    /// A capture time before the origin of the frames.
    #[error("column `{name}`: a reading captured at {at} s, before the trace begins at {origin} s")]
    CaptureBeforeOrigin {
        /// The column.
        name: String,
        /// The capture time less the latency, in seconds.
        at: String,
        /// The origin of the frames, in seconds.
        origin: String,
    },
    /// A cell that is no level.
    #[error("column `{name}`: {text} is not a level")]
    NotALevel {
        /// The column.
        name: String,
        /// The text.
        text: String,
    },
    /// A cell of a valid column that is neither 0 nor 1.
    #[error("column `{name}`: {text} says neither valid nor invalid")]
    NotAFlag {
        /// The column.
        name: String,
        /// The text.
        text: String,
    },
}

/// Why a row was left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Reason {
    /// Not text, or not UTF-8.
    Encoding,
    /// A quoted cell without its end.
    Quote,
    /// Too many or too few cells.
    RowLength,
    /// An empty cell.
    EmptyCell,
    /// Text, or the wrong decimal mark, instead of a number.
    NotANumber,
    /// NaN or infinity.
    NotFinite,
    /// A fraction of a count.
    NotWhole,
    /// A value outside its range.
    BeyondRange,
    /// A time that does not increase.
    TimeOrder,
    /// A cell that is no level or flag.
    NotALevel,
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Encoding => "not UTF-8 text",
            Self::Quote => "quoted cell without end",
            Self::RowLength => "wrong number of cells",
            Self::EmptyCell => "empty cell",
            Self::NotANumber => "not a number",
            Self::NotFinite => "not finite",
            Self::NotWhole => "not a whole count",
            Self::BeyondRange => "beyond its range",
            Self::TimeOrder => "time stands still or goes back",
            Self::NotALevel => "not a level",
        })
    }
}

const SKIP: &str = ", or leave bad rows out with --skip-bad";

impl Problem {
    /// Under which heading a row with this problem is counted when bad rows are left out; `None` when the
    /// problem is not one of a row.
    #[must_use]
    pub const fn reason(&self) -> Option<Reason> {
        match self {
            Self::Binary | Self::Utf8(_) | Self::CarriageReturn => Some(Reason::Encoding),
            Self::Quote(_) => Some(Reason::Quote),
            Self::RowLength { .. } => Some(Reason::RowLength),
            Self::EmptyCell { .. } => Some(Reason::EmptyCell),
            Self::NotANumber { .. } | Self::DecimalMark { .. } | Self::NumberTooLong { .. } => {
                Some(Reason::NotANumber)
            }
            Self::NotFinite { .. } => Some(Reason::NotFinite),
            Self::NotWhole { .. } => Some(Reason::NotWhole),
            Self::BeyondWidth { .. }
            | Self::BeyondRange { .. }
            | Self::BeyondValues { .. }
            | Self::TimeRange { .. }
            | Self::CaptureBeforeOrigin { .. } => Some(Reason::BeyondRange),
            Self::TimeOrder { .. } => Some(Reason::TimeOrder),
            Self::NotALevel { .. } | Self::NotAFlag { .. } => Some(Reason::NotALevel),
            Self::Layout(_)
            | Self::Table(_)
            | Self::NotAsNamed { .. }
            | Self::NotFound
            | Self::Directory
            | Self::Unreadable(_)
            | Self::Truncated(_)
            | Self::Corrupt { .. }
            | Self::OtherFormat(_)
            | Self::Empty
            | Self::LineTooLong(_)
            | Self::NoDelimiter(_)
            | Self::AmbiguousDelimiter(_)
            | Self::NoHeader
            | Self::MissingColumn { .. }
            | Self::DoubledColumn { .. }
            | Self::NoRows { .. }
            | Self::UnitMismatch { .. }
            | Self::AnalogueUnitMismatch { .. } => None,
        }
    }

    /// What to do about it: one sentence without its full stop. Leaving out rows is offered for a row that is bad by
    /// itself, not where all rows may be: that would leave little to judge.
    #[must_use]
    pub fn advice(&self) -> String {
        let of_one_row = matches!(
            self,
            Self::Quote(_)
                | Self::RowLength { .. }
                | Self::EmptyCell { .. }
                | Self::NotANumber { .. }
                | Self::NotFinite { .. }
                | Self::NumberTooLong { .. }
                | Self::TimeOrder { .. }
                | Self::NotALevel { .. }
                | Self::NotAFlag { .. }
        );
        self.remedy() + if of_one_row { SKIP } else { "" }
    }

    /// The same without leaving rows out.
    #[must_use]
    pub fn remedy(&self) -> String {
        let advice = match self {
            Self::Layout(_) => "correct the setup",
            Self::Table(error) => return error.advice(),
            Self::NotAsNamed { .. } => {
                "write the file again, or name the right one; a trace is a CSV, Parquet, Arrow IPC or MDF 4 file"
            }
            Self::NotFound => "check the path (`-` is standard input)",
            Self::Directory => "name the file inside it",
            Self::Unreadable(_) => "check that the file may be read and is on a working disk",
            Self::Truncated(_) => "copy the file again; what is there was not used to the end",
            Self::Corrupt { .. } => "copy or compress the file again",
            Self::OtherFormat(_) => {
                "convert it to delimited text in UTF-8, plain or as gzip or zstd, or to Parquet, Arrow IPC or MDF 4"
            }
            Self::Empty => "record it again, or check what writes it",
            Self::LineTooLong(_) => "a trace has one row a line; check the line ends",
            Self::CarriageReturn => "end lines with LF or CRLF",
            Self::Binary => "check that this is delimited text in UTF-8",
            Self::Utf8(_) => "save the trace as UTF-8",
            Self::Quote(_) => "close it on its line, write a quote inside as two quotes",
            Self::NoDelimiter(_) => "separate the columns by comma, semicolon or tab",
            Self::AmbiguousDelimiter(_) => "put names that hold a delimiter in double quotes",
            Self::NoHeader => "put the column names in the first line, without `#`",
            Self::MissingColumn { .. } => "correct the column name in the setup or in the header",
            Self::DoubledColumn { .. } => "give each column its own name",
            Self::NoRows { skipped: 0 } => "record it again, or check what writes it",
            Self::NoRows { .. } => "run without --skip-bad to see the first bad row",
            Self::UnitMismatch { by, .. } => return format!("correct the unit in the setup, or the {by}"),
            Self::AnalogueUnitMismatch { by, .. } => {
                return format!(
                    "an analogue value is in {}: name the same one in the setup and in the {by}, and record the \
                     column in it",
                    units::of_analogues()
                );
            }
            Self::RowLength { expected, found } if found > expected => {
                "complete or remove the row; where numbers have a decimal comma, separate the cells by semicolon or tab"
            }
            Self::RowLength { .. } => "complete or remove the row",
            Self::EmptyCell { of_source: true, .. } => {
                "fill it in, declare the source sparse if that means \"nothing new\""
            }
            Self::EmptyCell { .. } => "fill it in",
            Self::NotANumber { .. } | Self::NotFinite { .. } | Self::NumberTooLong { .. } => {
                "write a decimal number such as 12.5 or 1.25e1"
            }
            Self::DecimalMark { .. } => "use one decimal mark and no thousands separator",
            Self::NotWhole { .. } => {
                "if the column holds positions, give it a unit instead of a counter width"
            }
            Self::BeyondWidth { bits, .. } => {
                return format!(
                    "the counter takes -2^{} up to 2^{bits} - 1: correct its width in the setup",
                    bits.saturating_sub(1)
                );
            }
            Self::BeyondRange { .. } | Self::BeyondValues { .. } => {
                "check the unit of the column in the setup"
            }
            Self::TimeRange { .. } => "check the unit of the time in the setup",
            Self::TimeOrder { repeats: true, .. } => {
                "the time must increase from row to row: cut the trace there, write times with more digits, or, where the setup has a finer unit of the time than the trace, correct that"
            }
            Self::TimeOrder { .. } => {
                "the time must increase from row to row: cut the trace there, or write times with more digits"
            }
            Self::CaptureBeforeOrigin { .. } => {
                "check unit and clock of the capture times and the latency in the setup"
            }
            Self::NotALevel { .. } => "levels are 0 or 1, 0.0 or 1.0, false or true, low or high",
            Self::NotAFlag { .. } => "write 0 or false for invalid, 1 or true for valid",
        };
        advice.to_owned()
    }
}

fn asked(by: Option<&String>) -> String {
    by.map_or_else(String::new, |by| format!(" that {by} asks for"))
}

fn suggestion(nearest: Option<&String>) -> String {
    nearest.map_or_else(String::new, |name| format!(", did you mean `{name}`?"))
}

fn left_out(skipped: u64) -> String {
    match skipped {
        0 => String::new(),
        1 => " left: the only one was bad".to_owned(),
        _ => format!(" left: all {skipped} rows were bad"),
    }
}

/// A text of the trace as it is quoted in a message: in double quotes, shortened, control characters escaped.
pub(super) fn quoted(text: &str) -> String {
    const LONGEST: usize = 40;
    if text.len() <= LONGEST {
        return format!("{text:?}");
    }
    let cut = (0..=LONGEST).rev().find(|&end| text.is_char_boundary(end)).unwrap_or(0);
    format!("{:?}...", &text[..cut])
}

/// Nanoseconds as decimal seconds with all nine places.
pub(super) fn seconds(nanos: i128) -> String {
    let sign = if nanos < 0 { "-" } else { "" };
    let magnitude = nanos.unsigned_abs();
    format!("{sign}{}.{:09}", magnitude / 1_000_000_000, magnitude % 1_000_000_000)
}
