//! The log of an implementation: what it came to, frame by frame.

use super::BadLog;
use crate::nearest::nearest;
use crate::vectors::columns::{COLUMNS, FAULTS, OUTCOMES, RESETS, STIMULUS, number};

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

/// What may separate cells, and its name.
const SEPARATORS: [(char, &str); 3] = [(',', "comma"), (';', "semicolon"), ('\t', "tab")];

/// What is said of the first line of a log where it is not what it must be.
const FIRST_LINE: &str = "the first line must name the columns, at least `case,frame,permit`";

/// The cells of a line, without blanks around them; a cell in double quotes may hold the separator.
fn cells(line: &str, separator: char) -> Vec<&str> {
    let mut quoted = false;
    let parts = line.split(|letter| {
        quoted ^= letter == '"';
        letter == separator && !quoted
    });
    parts.map(|cell| cell.trim().trim_matches('"').trim()).collect()
}

/// Whether a column of this name is needed, or is compared when it is there.
fn is_known(name: &str) -> bool {
    ["case", "frame"].contains(&name) || COLUMNS.iter().any(|column| column.name == name)
}

/// The separator under which a header line names most columns, and most of those that are known.
fn separator(header: &str) -> char {
    let mut best = (',', (0, 0));
    for (letter, _) in SEPARATORS {
        let names = cells(header, letter);
        let rank = (names.iter().filter(|name| is_known(name)).count(), names.len());
        if rank > best.1 {
            best = (letter, rank);
        }
    }
    best.0
}

/// Whether a cell of what should be names is a value.
fn is_value(cell: &str) -> bool {
    let word = |word: &&str| word.eq_ignore_ascii_case(cell);
    (number(cell).is_some() && !cell.is_empty())
        || FAULTS.iter().chain(&RESETS).any(word)
        || ["true", "false"].iter().any(word)
}

/// The words of a name, in the order of the alphabet.
fn words(name: &str) -> Vec<String> {
    let lower = name.to_lowercase();
    let mut words: Vec<String> = lower
        .split(|letter: char| !letter.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_owned)
        .collect();
    words.sort();
    words
}

/// Which of the columns that a log lacks one of an unknown name was probably meant to be: by its spelling, unless that is as near to
/// one that the log has, or by its words in another order.
fn meant<'a>(name: &str, missing: &[&'a str], present: &[&'a str]) -> Option<&'a str> {
    let near = nearest(name, missing.iter().chain(present).copied()).filter(|near| missing.contains(near));
    near.or_else(|| missing.iter().copied().find(|other| words(other) == words(name)))
}

/// Where the columns are.
struct Places {
    separator: char,
    case: usize,
    frame: usize,
    outcomes: [Option<usize>; OUTCOMES],
    names: Vec<String>,
}

/// A text that may be long, cut for a message.
fn shortened(text: &str) -> String {
    const LONGEST: usize = 100;
    let cut: String = text.chars().take(LONGEST).collect();
    if cut.len() == text.len() { cut } else { cut + "..." }
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
        let separator = separator(text);
        let names = cells(text, separator);
        if names.iter().any(|name| is_value(name)) && !names.iter().any(|name| is_known(&name.to_lowercase()))
        {
            let message = "this line holds values and no names";
            return Err(BadLog(format!("{}:{line}: {message}; {FIRST_LINE}", self.path)));
        }
        let mut places =
            Places { separator, case: 0, frame: 0, outcomes: [None; OUTCOMES], names: Vec::new() };
        let (mut case, mut frame, mut unknown) = (None, None, Vec::new());
        for (place, name) in names.iter().enumerate() {
            if names[..place].contains(name) {
                let message = match *name {
                    "" => "a second column without a name; name it, or leave it out".to_owned(),
                    name => format!("column `{name}` twice; keep one of them"),
                };
                return Err(self.bad(line, text, name, message));
            }
            match *name {
                "case" => case = Some(place),
                "frame" => frame = Some(place),
                name => match COLUMNS.iter().position(|column| column.name == name) {
                    Some(outcome) => places.outcomes[outcome] = Some(place),
                    // What was shown may be in the log as well.
                    None if STIMULUS.contains(&name) => {}
                    None => unknown.push(name),
                },
            }
        }
        let (present, missing): (Vec<&str>, Vec<&str>) = STIMULUS
            .into_iter()
            .chain(COLUMNS.map(|column| column.name))
            .partition(|&name| names.contains(&name) || !is_known(name));
        for name in &unknown {
            if let Some(meant) = meant(name, &missing, &present) {
                let message = format!(
                    "column `{name}` means nothing here, and there is no column `{meant}`; call it that if it is meant, else give it \
                     another name"
                );
                return Err(self.bad(line, text, name, message));
            }
        }
        places.names = names.iter().map(|name| (*name).to_owned()).collect();
        let lacks = |name: &str| {
            let found = match names.as_slice() {
                [one] => format!("no comma, semicolon or tab parts the line `{}`", shortened(one)),
                _ => format!("the columns are `{}`", shortened(&names.join("`, `"))),
            };
            BadLog(format!("{}:{line}: no column `{name}`: {found}; {FIRST_LINE}", self.path))
        };
        places.case = case.ok_or_else(|| lacks("case"))?;
        places.frame = frame.ok_or_else(|| lacks("frame"))?;
        places.outcomes[0].ok_or_else(|| lacks("permit"))?;
        Ok((places, unknown.into_iter().map(str::to_owned).collect()))
    }

    fn row(&self, line: usize, text: &str, places: &Places) -> Result<LogRow, BadLog> {
        let cells = cells(text, places.separator);
        if cells.len() != places.names.len() {
            let last = cells.last().copied().unwrap_or(text);
            let message = format!(
                "{} {}, but the header line has {} columns, separated by {}; write a cell for each",
                cells.len(),
                if cells.len() == 1 { "cell" } else { "cells" },
                places.names.len(),
                SEPARATORS
                    .iter()
                    .find(|(letter, _)| *letter == places.separator)
                    .map_or("", |(_, name)| name)
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
            if let Some(lone) = text.find('\r') {
                let message =
                    "a carriage return (CR) without a line feed (LF) after it; end lines with LF or CRLF"
                        .to_owned();
                return Err(reader.bad(line, text, &text[lone..], message));
            }
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
            return Err(BadLog(format!("{path}: empty; {FIRST_LINE}")));
        }
        if log.rows.is_empty() {
            return Err(BadLog(format!("{path}: no rows; write one for each frame of the vectors")));
        }
        Ok(log)
    }
}
