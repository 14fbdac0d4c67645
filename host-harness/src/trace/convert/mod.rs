//! From one format of traces to another, without loss. `columns.md` beside this file, which the page of [`super`] shows, says what becomes of what.

mod arrow;
mod cells;
mod changes;
mod csv;
mod infer;
mod parquet;
mod text;

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::error::{Place, Problem, TraceError};
use super::input::Opened;
use super::layout::{Layout, SourceKind, TimeUnit};
use super::table::{Chunk, Column, Kind, Stored, Table};
use text::TextTable;

/// The note with the lines before the header.
const COMMENT: &str = "comment";
/// Before the name of a column: the note that says how its times stood in a text.
const WRITTEN: &str = "written.";
/// Before the name of a column: the note with its unit, where columns have none of their own.
const UNIT: &str = "unit.";
/// Cells that are held before they are written.
const HELD_CELLS: usize = 1 << 23;

/// What was converted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Converted {
    /// Rows written.
    pub rows: u64,
    /// Columns written.
    pub columns: usize,
    /// What the new file does not say, though the old one did.
    pub notes: Vec<String>,
}

/// Why a trace was not converted.
#[derive(Debug, thiserror::Error)]
pub enum ConvertError {
    /// The trace cannot be read.
    #[error(transparent)]
    Trace(#[from] TraceError),
    /// A cell that no type of column keeps as it is.
    #[error(
        "{place}: column `{column}`: {text} {why}; correct it, or leave the column out: --leave-out {column:?}"
    )]
    NotKept {
        /// Where.
        place: Box<Place>,
        /// The column.
        column: String,
        /// The cell.
        text: String,
        /// Why it is not kept.
        why: &'static str,
    },
    /// A column of a type that no other format of traces has.
    #[error(
        "{path}: column `{column}` holds {what}, which is not converted; leave it out: --leave-out {column:?}"
    )]
    Column {
        /// The trace.
        path: String,
        /// The column.
        column: String,
        /// What it holds.
        what: &'static str,
    },
    /// Two columns of one name.
    #[error(
        "{path}: two columns are called {column:?}; give each its own name, or leave both out: --leave-out {column:?}"
    )]
    DoubledColumn {
        /// The trace.
        path: String,
        /// The name.
        column: String,
    },
    /// A column that is to be left out is not there, or no column is left.
    #[error("{0}")]
    LeaveOut(String),
    /// A name that says no format.
    #[error("{0}: the name says no format; end it in .csv, .csv.gz, .csv.zst, .parquet or .arrow")]
    Unnamed(PathBuf),
    /// A text that can be read only once.
    #[error("{0}: a text is read twice; give a file")]
    Stream(String),
    /// The new file cannot be written.
    #[error("{path}: cannot be written: {error}; check --out")]
    Out {
        /// The new file.
        path: PathBuf,
        /// Why.
        error: io::Error,
    },
}

/// The format of the new file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Target {
    Csv,
    Parquet,
    Arrow,
}

impl Target {
    fn of(path: &Path) -> Option<Self> {
        let name = path.file_name()?.to_str()?.to_ascii_lowercase();
        let ends = |endings: &[&str]| endings.iter().any(|ending| name.ends_with(ending));
        match () {
            () if ends(&[".csv", ".csv.gz", ".csv.zst"]) => Some(Self::Csv),
            () if ends(&[".parquet"]) => Some(Self::Parquet),
            () if ends(&[".arrow"]) => Some(Self::Arrow),
            () => None,
        }
    }
}

/// A column on its way, with what a format may have no place for.
#[derive(Clone, Debug)]
struct Described {
    column: Column,
    nullable: bool,
    stored: Stored,
    /// How its times stand in a text.
    written: Option<(TimeUnit, u32)>,
    /// The unit of a column of floating-point numbers that are the times of rows.
    time: Option<TimeUnit>,
}

impl Described {
    /// Times that are no points in time: how long after something.
    const fn is_duration(&self) -> bool {
        matches!(self.column.kind, Kind::Time { .. }) && !matches!(self.stored, Stored::Stamp { .. })
    }
}

/// What rows are written to.
trait Sink {
    fn write(&mut self, chunk: &Chunk) -> Result<(), ConvertError>;
    fn finish(self: Box<Self>) -> Result<(), ConvertError>;
}

/// Writes the trace at `from` to `to`, in the format that the name of `to` says; `layout` tells units. What was at `to` is
/// replaced when all is written, and is not touched otherwise.
///
/// # Errors
///
/// A [`ConvertError`] when the trace is bad, something in it cannot be kept as it is, or the file cannot be written.
pub fn convert(
    from: &Path,
    to: &Path,
    layout: Option<&Layout>,
    leave_out: &[String],
) -> Result<Converted, ConvertError> {
    let target = Target::of(to).ok_or_else(|| ConvertError::Unnamed(to.to_owned()))?;
    let name = from.to_string_lossy().into_owned();
    let (path, mut table) = match Opened::open(from)? {
        Opened::Table { path, table } => (path, table),
        Opened::Text(_) if name == "-" => return Err(ConvertError::Stream("standard input".to_owned())),
        Opened::Text(_) if !from.is_file() => return Err(ConvertError::Stream(name)),
        Opened::Text(input) => {
            let path = Arc::clone(&input.path);
            let again = || match Opened::open(from)? {
                Opened::Text(input) => Ok(input),
                Opened::Table { path, .. } => Err(changed(&path)),
            };
            (path, Box::new(TextTable::open(input, again, layout, leave_out)?) as Box<dyn Table>)
        }
    };
    let selected = selected(&path, table.as_ref(), leave_out)?;
    table.select(&selected).map_err(|wrong| trace_error(&path, wrong.into()))?;
    let described: Vec<Described> =
        selected.iter().map(|&index| describe(table.as_ref(), index, layout)).collect();
    let part = part(to);
    let written = write(&part, to, target, &path, table.as_mut(), &described);
    let finished = written.and_then(|done| {
        std::fs::rename(&part, to)
            .map_err(|error| ConvertError::Out { path: to.to_owned(), error })
            .map(|()| done)
    });
    if finished.is_err() {
        // There may be nothing to remove, and what went wrong is said already.
        let _ = std::fs::remove_file(&part);
    }
    finished
}

/// Writes the file `part`, which is `to` in messages.
fn write(
    part: &Path,
    to: &Path,
    target: Target,
    path: &Arc<str>,
    table: &mut dyn Table,
    described: &[Described],
) -> Result<Converted, ConvertError> {
    let out = |error| ConvertError::Out { path: to.to_owned(), error };
    let comment = table.notes().iter().find(|(key, _)| key == COMMENT).map(|(_, text)| text.clone());
    let mut notes = changes::changes(target, described, table.notes());
    let mut sink: Box<dyn Sink> = match target {
        Target::Csv => {
            let file = crate::synth::create(part).map_err(out)?;
            notes.extend(csv::lost_units(described));
            Box::new(csv::CsvSink::new(file, to, path, described, comment.as_deref())?)
        }
        Target::Parquet => {
            let file = File::create(part).map_err(out)?;
            Box::new(parquet::ParquetSink::new(file, to, described, comment)?)
        }
        Target::Arrow => {
            let file = File::create(part).map_err(out)?;
            Box::new(arrow::ArrowSink::new(file, to, described, comment)?)
        }
    };
    let (mut chunk, mut rows) = (Chunk::default(), 0);
    while table.next(&mut chunk).map_err(|wrong| text::as_convert_error(path, wrong))? {
        sink.write(&chunk)?;
        rows += chunk.rows as u64;
    }
    sink.finish()?;
    Ok(Converted { rows, columns: described.len(), notes })
}

fn trace_error(path: &Arc<str>, problem: Problem) -> TraceError {
    let place = Place { path: Arc::clone(path), line: None, column: None, row: None };
    TraceError { place, problem: Box::new(problem) }
}

fn changed(path: &Arc<str>) -> TraceError {
    trace_error(path, Problem::Unreadable(io::Error::other("it has changed while it was read")))
}

fn nothing_to_leave_out(path: &str, name: &str) -> ConvertError {
    ConvertError::LeaveOut(format!("{path}: there is no column {name:?} to be left out; correct --leave-out"))
}

/// The columns that are not left out, named as in a setup; a name that stands for several leaves them all out.
fn selected(path: &str, table: &dyn Table, leave_out: &[String]) -> Result<Vec<usize>, ConvertError> {
    let all = table.columns();
    let addresses = super::table::full_names(table);
    let mut out = std::collections::BTreeSet::new();
    for name in leave_out {
        let meant = super::table::candidates(table, name);
        if meant.is_empty() {
            return Err(nothing_to_leave_out(path, name));
        }
        out.extend(meant);
    }
    let selected: Vec<usize> = (0..all.len()).filter(|index| !out.contains(index)).collect();
    let Some(&first) = selected.first() else {
        return Err(ConvertError::LeaveOut(format!("{path}: no column is left; leave fewer out")));
    };
    if let Some(&other) = selected.iter().find(|index| all[**index].group != all[first].group) {
        let (first, second) = (addresses[first].clone(), addresses[other].clone());
        let wrong = super::table::TableError::TwoTimeBases { first, second };
        return Err(trace_error(&path.into(), wrong.into()).into());
    }
    let mut names = std::collections::BTreeSet::new();
    for &index in &selected {
        let (path, column) = (path.to_owned(), addresses[index].clone());
        if let Kind::Other(what) = all[index].kind {
            return Err(ConvertError::Column { path, column, what });
        }
        if !names.insert(all[index].name.as_str()) {
            return Err(ConvertError::DoubledColumn { path, column });
        }
    }
    Ok(selected)
}

/// The column with the unit that the setup gives it, and with how its times are written.
fn describe(table: &dyn Table, index: usize, layout: Option<&Layout>) -> Described {
    let mut column = table.columns()[index].clone();
    let by_setup = layout.and_then(|layout| unit_of(layout, &column.name));
    let note = format!("{WRITTEN}{}", column.name);
    let note = table.notes().iter().find(|(key, _)| *key == note).and_then(|(_, text)| written(text));
    if column.unit.is_none() {
        column.unit = by_setup.clone();
    }
    let written = match column.kind {
        // Another program may have kept the note and made numbers of the times.
        Kind::Time { ns } => note.or_else(|| {
            let unit = by_setup.as_deref().and_then(time_unit).unwrap_or(TimeUnit::Seconds);
            Some((unit, places(unit, ns)))
        }),
        _ => None,
    };
    let time = match column.kind {
        Kind::Real => column.unit.as_deref().and_then(time_unit),
        _ => None,
    };
    Described { nullable: table.nullable(index), stored: table.stored(index), column, written, time }
}

/// The longest of these units, each in ns, that times in multiples of `ns` are whole numbers of; ns are among the units.
fn unit_of_times(ns: u64, units: &[u64]) -> u64 {
    units.iter().copied().filter(|unit| ns.is_multiple_of(*unit)).max().unwrap_or(1)
}

/// Times in multiples of `ns` in the unit of [`unit_of_times`].
fn times(column: &Column, ns: u64, units: &[u64], values: &[i64]) -> Result<Vec<i64>, String> {
    let unit = unit_of_times(ns, units);
    let factor = ns / unit;
    let scaled = |value: &i64| {
        let scaled = i64::try_from(factor).ok().and_then(|factor| value.checked_mul(factor));
        scaled.ok_or_else(|| {
            format!("column `{}`: a time of {value} x {ns} ns is beyond 64 bits of {unit} ns", column.name)
        })
    };
    values.iter().map(scaled).collect()
}

/// The places that multiples of `ns` need in a unit.
fn places(unit: TimeUnit, ns: u64) -> u32 {
    let zeros =
        (0..).take_while(|&zeros| ns > 0 && ns.is_multiple_of(10_u64.saturating_pow(zeros + 1))).count();
    unit.nanosecond_places().saturating_sub(u32::try_from(zeros).unwrap_or(0))
}

/// What a note says of how times were written.
fn written(note: &str) -> Option<(TimeUnit, u32)> {
    let (unit, places) = note.split_once(' ')?;
    let (unit, places) = (time_unit(unit)?, places.parse().ok()?);
    (places <= unit.nanosecond_places()).then_some((unit, places))
}

/// A unit of time that times are read in, by any of its names.
fn time_unit(text: &str) -> Option<TimeUnit> {
    let units = [TimeUnit::Seconds, TimeUnit::Millis, TimeUnit::Micros, TimeUnit::Nanos];
    let is_named = !super::units::bare(text).is_empty() && super::units::is_time_unit(text);
    units.into_iter().find(|&unit| is_named && super::units::contradicts_time(text, unit).is_none())
}

/// The unit that the setup gives a column.
fn unit_of(layout: &Layout, name: &str) -> Option<String> {
    let sources = [&layout.a, &layout.b];
    let captures = sources.iter().filter_map(|source| source.capture.as_ref());
    if let Some(time) = std::iter::once(&layout.time).chain(captures).find(|time| time.name == name) {
        return Some(time.unit.symbol().to_owned());
    }
    for source in sources.iter().filter(|source| source.column == name) {
        if let SourceKind::Position { unit, .. } = &source.kind {
            return Some(unit.clone());
        }
    }
    let analogue =
        layout.analogues.iter().find(|analogue| analogue.columns.iter().any(|column| column == name));
    analogue.map(|analogue| analogue.unit.clone())
}

/// Where the new file is written before it takes its place: beside it, with the same ending.
fn part(to: &Path) -> PathBuf {
    let name = to.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    to.with_file_name(format!(".part.{}.{name}", std::process::id()))
}

#[cfg(test)]
mod tests {
    use super::selected;
    use crate::trace::table::{Chunk, Column, Kind, Table, TableError};

    /// Two groups, of which a name stands in both.
    struct TwoGroups(Vec<Column>);

    impl Table for TwoGroups {
        fn columns(&self) -> &[Column] {
            &self.0
        }

        fn format(&self) -> &'static str {
            "made"
        }

        fn group(&self, group: usize) -> String {
            format!("#{}", group + 1)
        }

        fn select(&mut self, _: &[usize]) -> Result<(), TableError> {
            Ok(())
        }

        fn next(&mut self, _: &mut Chunk) -> Result<bool, TableError> {
            Ok(false)
        }
    }

    fn two_groups() -> TwoGroups {
        let column = |(name, group): (&str, usize)| Column {
            name: name.to_owned(),
            unit: None,
            kind: Kind::Integer,
            group,
            rows: None,
            is_time: false,
        };
        TwoGroups([("time", 0), ("count", 0), ("time", 1), ("oil_temp", 1)].map(column).into())
    }

    #[test]
    fn a_column_is_left_out_by_its_group_whether_or_not_another_group_has_its_name() {
        let table = two_groups();
        let left = |names: &[&str]| {
            let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
            selected("x", &table, &names).map_err(|error| error.to_string())
        };
        assert_eq!(left(&["#2/time", "#2/oil_temp"]), Ok(vec![0, 1]));
        assert_eq!(left(&["time", "oil_temp"]), Ok(vec![1]));
        assert!(
            left(&["#1/oil_temp"]).is_err_and(|said| said.contains("there is no column \"#1/oil_temp\""))
        );
    }
}
