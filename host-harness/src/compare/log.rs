//! The log of an implementation: what it came to, frame by frame.

use super::BadLog;
use crate::vectors::columns::{COLUMNS, OUTCOMES, STIMULUS, cells, number};

/// One row of a log.
#[derive(Clone, Copy, Debug)]
pub(super) struct LogRow {
    pub(super) line: usize,
    pub(super) case: u64,
    pub(super) frame: u64,
    /// As [`COLUMNS`]; those that the log does not have are 0.
    pub(super) values: [u32; OUTCOMES],
}

/// A log that has been read.
#[derive(Clone, Debug)]
pub(super) struct Log {
    /// Which of [`COLUMNS`] it has.
    pub(super) has: [bool; OUTCOMES],
    /// Columns that mean nothing here.
    pub(super) ignored: Vec<String>,
    /// The checksum of the setup that it names, and the line.
    pub(super) setup: Option<(String, usize)>,
    pub(super) rows: Vec<LogRow>,
}

/// What a comment of a log may say.
const SETUP: &str = "setup checksum:";

/// The same as it stands in a log.
pub(super) const SETUP_LINE: &str = "# setup checksum: ";

/// Where the columns are.
struct Places {
    case: usize,
    frame: usize,
    outcomes: [Option<usize>; OUTCOMES],
    names: Vec<String>,
}

struct Reader<'a> {
    path: &'a str,
}

impl Reader<'_> {
    /// A message about a cell of a line; the column is counted in characters, from 1.
    fn bad(&self, line: usize, text: &str, cell: &str, message: String) -> BadLog {
        let start = (cell.as_ptr() as usize).saturating_sub(text.as_ptr() as usize).min(text.len());
        let column = text.get(..start).map_or(1, |before| before.chars().count() + 1);
        BadLog(format!("{}:{line}:{column}: {message}", self.path))
    }

    fn header(&self, line: usize, text: &str) -> Result<(Places, Vec<String>), BadLog> {
        let names = cells(text);
        let mut places = Places { case: 0, frame: 0, outcomes: [None; OUTCOMES], names: Vec::new() };
        let (mut case, mut frame, mut ignored) = (None, None, Vec::new());
        for (place, name) in names.iter().enumerate() {
            if names[..place].contains(name) {
                return Err(self.bad(line, text, name, format!("column `{name}` twice; keep one of them")));
            }
            match *name {
                "case" => case = Some(place),
                "frame" => frame = Some(place),
                name => match COLUMNS.iter().position(|column| column.name == name) {
                    Some(outcome) => places.outcomes[outcome] = Some(place),
                    // What was shown may be in the log as well.
                    None if STIMULUS.contains(&name) => {}
                    None => ignored.push(name.to_owned()),
                },
            }
        }
        places.names = names.iter().map(|name| (*name).to_owned()).collect();
        let missing = |name: &str| {
            let message =
                format!("no column `{name}`; the first line names the columns, at least `case,frame,permit`");
            BadLog(format!("{}:{line}: {message}", self.path))
        };
        places.case = case.ok_or_else(|| missing("case"))?;
        places.frame = frame.ok_or_else(|| missing("frame"))?;
        places.outcomes[0].ok_or_else(|| missing("permit"))?;
        Ok((places, ignored))
    }

    fn row(&self, line: usize, text: &str, places: &Places) -> Result<LogRow, BadLog> {
        let cells = cells(text);
        if cells.len() != places.names.len() {
            let last = cells.last().copied().unwrap_or(text);
            let message = format!(
                "{} cells, but the header line has {} columns; write a cell for each",
                cells.len(),
                places.names.len()
            );
            return Err(self.bad(line, text, last, message));
        }
        let whole = |place: usize| {
            let cell = cells[place];
            number(cell).ok_or_else(|| {
                let message = format!(
                    "column `{}`: `{cell}` is no whole number; write it as the vectors have it",
                    places.names[place]
                );
                self.bad(line, text, cell, message)
            })
        };
        let mut values = [0; OUTCOMES];
        for ((value, column), place) in values.iter_mut().zip(COLUMNS).zip(places.outcomes) {
            let Some(cell) = place.map(|place| cells[place]) else { continue };
            *value = column.kind.parse(cell).ok_or_else(|| {
                let message =
                    format!("column `{}`: `{cell}` cannot be; write {}", column.name, column.kind.expected());
                self.bad(line, text, cell, message)
            })?;
        }
        Ok(LogRow { line, case: whole(places.case)?, frame: whole(places.frame)?, values })
    }
}

impl Log {
    /// Reads a log; `path` is what messages call it. Comment lines begin with `#`.
    pub(super) fn parse(text: &str, path: &str) -> Result<Self, BadLog> {
        let reader = Reader { path };
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut setup = None;
        let mut places = None;
        let mut log = Self { has: [false; OUTCOMES], ignored: Vec::new(), setup: None, rows: Vec::new() };
        for (line, text) in (1..).zip(text.lines()) {
            if let Some(comment) = text.strip_prefix('#') {
                let named = comment.trim().strip_prefix(SETUP).map(|sum| (sum.trim().to_owned(), line));
                setup = setup.or(named);
            } else if text.trim().is_empty() {
            } else if let Some(places) = &places {
                log.rows.push(reader.row(line, text, places)?);
            } else {
                let (found, ignored) = reader.header(line, text)?;
                log.has = found.outcomes.map(|place| place.is_some());
                log.ignored = ignored;
                places = Some(found);
            }
        }
        log.setup = setup;
        if places.is_none() {
            return Err(BadLog(format!(
                "{path}: empty; the first line names the columns, at least `case,frame,permit`"
            )));
        }
        if log.rows.is_empty() {
            return Err(BadLog(format!("{path}: no rows; write one for each frame of the vectors")));
        }
        Ok(log)
    }
}
