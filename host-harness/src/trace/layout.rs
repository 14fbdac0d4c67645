//! Which column of a trace is which.

use std::fmt;

use monitor_core::{Levels, Span};
use num_rational::Ratio;
use num_traits::Zero;

/// What the columns of a trace mean. Filled in from the setup; checked when a [`super::Reader`] is made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Layout {
    /// The time of the frame.
    pub time: TimeColumn,
    /// The columns of source A.
    pub a: SourceColumns,
    /// The columns of source B.
    pub b: SourceColumns,
    /// The columns of the input lines. Lines without a column stay low.
    pub levels: Vec<LevelColumn>,
    /// The columns of the analogue values.
    pub analogues: Vec<AnalogueColumns>,
}

/// A column of times.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TimeColumn {
    /// Its name in the header.
    pub name: String,
    /// The unit of its numbers.
    pub unit: TimeUnit,
}

/// The unit of a column of times.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TimeUnit {
    /// Seconds.
    Seconds,
    /// Milliseconds.
    Millis,
    /// Microseconds.
    Micros,
    /// Nanoseconds.
    Nanos,
}

impl TimeUnit {
    /// The number of decimal places at which this unit resolves one nanosecond: 9, 6, 3 or 0.
    #[must_use]
    pub const fn nanosecond_places(self) -> u32 {
        match self {
            Self::Seconds => 9,
            Self::Millis => 6,
            Self::Micros => 3,
            Self::Nanos => 0,
        }
    }

    /// The symbol: `s`, `ms`, `us` or `ns`.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Seconds => "s",
            Self::Millis => "ms",
            Self::Micros => "us",
            Self::Nanos => "ns",
        }
    }
}

impl fmt::Display for TimeUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

/// The columns of one source.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SourceColumns {
    /// The name of the column with the reading itself.
    pub column: String,
    /// What its numbers are.
    pub kind: SourceKind,
    /// How long before the time of the row (or that in `capture`) the motion had this position. In ns.
    pub latency: Span,
    /// The column with the source's own capture time; without it, the time of the row counts.
    pub capture: Option<TimeColumn>,
    /// The name of the column in which 0 or `false` marks the reading as invalid. Of a reading so marked,
    /// the reading's cell is not looked at, and an empty capture cell stands for the time of the row.
    pub valid: Option<String>,
    /// Whether an empty cell says "nothing new in this row"; the capture and valid cells of such a row may
    /// be empty too (a valid cell of 0 still makes it an invalid reading). When false, an empty cell is an error.
    pub sparse: bool,
}

/// What the numbers of a source are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SourceKind {
    /// A counter that wraps.
    Counter {
        /// Its width, 8 to 64.
        bits: u8,
    },
    /// A position.
    Position {
        /// The unit of the column, as written in the setup: what a row of units is held against.
        unit: String,
        /// How many axis units one unit of the column is: exact, not zero, negative for a mirrored source.
        scale: Ratio<i128>,
    },
}

/// The column of one input line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LevelColumn {
    /// Its name in the header.
    pub name: String,
    /// The line it is the level of, 0 to 31.
    pub line: u8,
    /// What in the setup asks for it, for whoever has to correct that when the trace lacks it.
    pub asked_by: Option<String>,
}

/// The columns of one analogue value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AnalogueColumns {
    /// Its name in the setup.
    pub name: String,
    /// The names of the columns of its first and of its second line.
    pub columns: [String; 2],
    /// The names of the columns in which 0 or `false` marks a reading of the first or of the second line as invalid. Of a reading so marked
    /// the line's cell is not looked at.
    pub valid: Option<[String; 2]>,
    /// The unit of both, as written in the setup: what a row of units is held against.
    pub unit: String,
    /// How long before the time of the row the value was captured.
    pub latency: Span,
    /// Whether an empty cell says "nothing new of this line in this row"; the valid cell of such a row may be empty too (a valid cell of
    /// 0 still makes it an invalid reading). When false, an empty cell is an error.
    pub sparse: bool,
}

/// A layout that no trace can have.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LayoutError {
    /// A counter width outside 8 to 64.
    #[error("column `{column}`: a counter of {bits} bits; the width must be 8 to 64 bits")]
    CounterBits {
        /// The column.
        column: String,
        /// The width.
        bits: u8,
    },
    /// A scale of zero, or with the denominator zero.
    #[error("column `{column}`: the scale {numerator}/{denominator} is no unit; it must not be zero")]
    Scale {
        /// The column.
        column: String,
        /// The numerator of the scale.
        numerator: i128,
        /// The denominator of the scale.
        denominator: i128,
    },
    /// A line outside 0 to 31.
    #[error("column `{column}`: there is no input line {line}; lines are 0 to 31")]
    Line {
        /// The column.
        column: String,
        /// The line.
        line: u8,
    },
    /// Two columns for one line.
    #[error("columns `{first}` and `{second}` are both the level of input line {line}")]
    LineTwice {
        /// The line.
        line: u8,
        /// The column named first.
        first: String,
        /// The column named later.
        second: String,
    },
}

impl Layout {
    /// Checks what the types leave open.
    ///
    /// # Errors
    /// A [`LayoutError`] that names the first column found wrong.
    pub fn check(&self) -> Result<(), LayoutError> {
        self.a.check()?;
        self.b.check()?;
        for (index, level) in self.levels.iter().enumerate() {
            if level.line >= Levels::LINES {
                return Err(LayoutError::Line { column: level.name.clone(), line: level.line });
            }
            if let Some(first) = self.levels[..index].iter().find(|other| other.line == level.line) {
                return Err(LayoutError::LineTwice {
                    line: level.line,
                    first: first.name.clone(),
                    second: level.name.clone(),
                });
            }
        }
        Ok(())
    }
}

impl SourceColumns {
    fn check(&self) -> Result<(), LayoutError> {
        match &self.kind {
            SourceKind::Counter { bits: 8..=64 } => Ok(()),
            SourceKind::Counter { bits } => {
                Err(LayoutError::CounterBits { column: self.column.clone(), bits: *bits })
            }
            SourceKind::Position { scale, .. } if scale.numer().is_zero() || scale.denom().is_zero() => {
                Err(LayoutError::Scale {
                    column: self.column.clone(),
                    numerator: *scale.numer(),
                    denominator: *scale.denom(),
                })
            }
            SourceKind::Position { .. } => Ok(()),
        }
    }
}
