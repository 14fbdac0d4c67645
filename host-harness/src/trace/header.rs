//! Splitting lines into cells, and finding the needed columns in the header.

use std::borrow::Cow;
use std::fmt;

use super::cell::{Decimal, Mark};
use super::error::{Problem, quoted};
use super::layout::{AnalogueColumns, Layout, SourceColumns};
use crate::nearest::{listed, nearest};

/// What separates the cells of a trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Delimiter {
    /// `,`
    Comma,
    /// `;`
    Semicolon,
    /// The tab character.
    Tab,
}

impl Delimiter {
    pub(super) const ALL: [Self; 3] = [Self::Comma, Self::Semicolon, Self::Tab];

    pub(super) const fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Tab => b'\t',
        }
    }

    /// The decimal mark, where the delimiter settles it.
    pub(super) const fn settled_mark(self) -> Option<Mark> {
        match self {
            Self::Comma => Some(Mark::Point),
            Self::Semicolon | Self::Tab => None,
        }
    }
}

impl fmt::Display for Delimiter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Comma => "comma",
            Self::Semicolon => "semicolon",
            Self::Tab => "tab",
        })
    }
}

/// A problem at a byte (from 0) of a line.
#[derive(Debug)]
pub(super) struct Fault {
    pub(super) byte: Option<usize>,
    pub(super) problem: Box<Problem>,
}

impl Fault {
    pub(super) fn at(byte: usize, problem: Problem) -> Self {
        Self { byte: Some(byte), problem: Box::new(problem) }
    }

    pub(super) fn of_line(problem: Problem) -> Self {
        Self { byte: None, problem: Box::new(problem) }
    }
}

/// One cell: its text without blanks and quotes around, and the byte (from 0) at which it begins.
#[derive(Debug)]
pub(super) struct Cell<'a> {
    pub(super) start: usize,
    pub(super) text: Cow<'a, str>,
    /// The number that it is, where the text does not tell all of it.
    pub(super) exact: Option<Decimal>,
}

/// Checks that a line is text.
pub(super) fn text(line: &[u8]) -> Result<&str, Fault> {
    if let Some(byte) = line.iter().position(|&byte| byte == 0) {
        return Err(Fault::at(byte, Problem::Binary));
    }
    if let Some(byte) = line.iter().position(|&byte| byte == b'\r') {
        return Err(Fault::at(byte, Problem::CarriageReturn));
    }
    str::from_utf8(line)
        .map_err(|error| Fault::at(error.valid_up_to(), Problem::Utf8(line[error.valid_up_to()])))
}

/// Splits a line into its cells.
pub(super) fn split(line: &str, delimiter: Delimiter) -> Result<Vec<Cell<'_>>, Fault> {
    const BLANK: [char; 2] = [' ', '\t'];
    let separator = char::from(delimiter.byte());
    let is_blank = |c: char| BLANK.contains(&c) && c != separator;
    let mut cells = Vec::new();
    let mut begin = 0;
    loop {
        let rest = &line[begin..];
        let unpadded = rest.trim_start_matches(is_blank);
        let start = begin + rest.len() - unpadded.len();
        let (cell, end) = if unpadded.starts_with('"') {
            let no_end = || Fault::at(start, Problem::Quote(quoted(unpadded)));
            let (text, length) = unquote(unpadded).ok_or_else(no_end)?;
            let after = unpadded[length..].trim_start_matches(is_blank);
            if !(after.is_empty() || after.starts_with(separator)) {
                return Err(no_end());
            }
            (Cell { start, text, exact: None }, line.len() - after.len())
        } else {
            let length = rest.find(separator).unwrap_or(rest.len());
            let text = rest[..length].trim_matches(is_blank);
            let start = if text.is_empty() { begin } else { start };
            (Cell { start, text: Cow::Borrowed(text), exact: None }, begin + length)
        };
        cells.push(cell);
        if end == line.len() {
            return Ok(cells);
        }
        begin = end + 1;
    }
}

/// The content of a quoted text and its length with both quotes; `None` when it is not closed.
fn unquote(text: &str) -> Option<(Cow<'_, str>, usize)> {
    let mut end = 1;
    let mut doubled = false;
    loop {
        end += text.get(end..)?.find('"')?;
        if !text[end + 1..].starts_with('"') {
            break;
        }
        doubled = true;
        end += 2;
    }
    let inside = &text[1..end];
    let inside = if doubled { Cow::Owned(inside.replace("\"\"", "\"")) } else { Cow::Borrowed(inside) };
    Some((inside, end + 1))
}

/// Where the needed columns stand.
#[derive(Debug)]
pub(super) struct Columns {
    pub(super) delimiter: Delimiter,
    pub(super) count: usize,
    pub(super) time: usize,
    pub(super) sources: [SourceIndexes; 2],
    /// In the order of the layout.
    pub(super) levels: Vec<usize>,
    /// In the order of the layout.
    pub(super) analogues: Vec<AnalogueIndexes>,
}

/// Where the columns of one source stand.
#[derive(Debug)]
pub(super) struct SourceIndexes {
    pub(super) value: usize,
    pub(super) capture: Option<usize>,
    pub(super) valid: Option<usize>,
}

/// Where the columns of the two lines of an analogue value stand.
#[derive(Debug)]
pub(super) struct AnalogueIndexes {
    pub(super) values: [usize; 2],
    pub(super) valid: Option<[usize; 2]>,
}

impl Columns {
    /// Finds the needed columns in the header line.
    pub(super) fn find(header: &str, layout: &Layout) -> Result<Self, Fault> {
        let delimiter = delimiter_of(header, &layout.names())?;
        let cells = split(header, delimiter)?;
        let position = |name: &str, asked_by: Option<&str>| position(&cells, name, asked_by);
        let source = |source: &SourceColumns, section: &str| {
            let position = |name: &str| position(name, Some(section));
            Ok(SourceIndexes {
                value: position(&source.column)?,
                capture: source.capture.as_ref().map(|capture| position(&capture.name)).transpose()?,
                valid: source.valid.as_deref().map(position).transpose()?,
            })
        };
        let analogue = |analogue: &AnalogueColumns| {
            let section = format!("`[analogue.{}]`", analogue.name);
            let position = |name: &str| position(name, Some(&section));
            let both = |[first, second]: &[String; 2]| Ok([position(first)?, position(second)?]);
            let valid = analogue.valid.as_ref().map(both).transpose()?;
            Ok(AnalogueIndexes { values: both(&analogue.columns)?, valid })
        };
        Ok(Self {
            delimiter,
            count: cells.len(),
            time: position(&layout.time.name, Some("`[time]`"))?,
            sources: [source(&layout.a, "`[channel.a]`")?, source(&layout.b, "`[channel.b]`")?],
            levels: (layout.levels.iter())
                .map(|level| position(&level.name, level.asked_by.as_deref()))
                .collect::<Result<_, _>>()?,
            analogues: layout.analogues.iter().map(analogue).collect::<Result<_, _>>()?,
        })
    }

    /// Every needed column, some perhaps twice.
    pub(super) fn needed(&self) -> impl Iterator<Item = usize> {
        let source = |source: &SourceIndexes| [Some(source.value), source.capture, source.valid];
        let sources = self.sources.iter().flat_map(source).flatten();
        let of = |analogue: &AnalogueIndexes| {
            analogue.values.into_iter().chain(analogue.valid.into_iter().flatten())
        };
        let analogues = self.analogues.iter().flat_map(of);
        std::iter::once(self.time).chain(sources).chain(self.levels.iter().copied()).chain(analogues)
    }
}

fn position(cells: &[Cell<'_>], name: &str, asked_by: Option<&str>) -> Result<usize, Fault> {
    let mut found = cells.iter().enumerate().filter(|(_, cell)| cell.text == name);
    match (found.next(), found.next()) {
        (Some((index, _)), None) => Ok(index),
        (Some((_, first)), Some((_, second))) => Err(Fault::at(
            second.start,
            Problem::DoubledColumn { name: name.to_owned(), first: first.start + 1 },
        )),
        (None, _) if cells.iter().all(|cell| Decimal::parse(&cell.text).is_ok()) => {
            Err(Fault::of_line(Problem::NoHeader))
        }
        (None, _) => Err(Fault::of_line(Problem::MissingColumn {
            name: name.to_owned(),
            asked_by: asked_by.map(str::to_owned),
            nearest: nearest(name, cells.iter().map(|cell| cell.text.as_ref())).map(str::to_owned),
            present: listed(name, cells.iter().map(|cell| cell.text.as_ref())),
        })),
    }
}

/// What separates the cells of a header; of several that could, the one under which most of the names are found.
pub(super) fn delimiter_of(header: &str, names: &[&str]) -> Result<Delimiter, Fault> {
    let in_use: Vec<_> = Delimiter::ALL
        .into_iter()
        .filter_map(|delimiter| Some((delimiter, split(header, delimiter).ok()?)))
        .filter(|(_, cells)| cells.len() > 1)
        .collect();
    match in_use.as_slice() {
        [] => {
            // A quote without its end hides the delimiters: that is then what to say.
            split(header, Delimiter::Comma)?;
            Err(Fault::of_line(Problem::NoDelimiter(quoted(header))))
        }
        [(only, _)] => Ok(*only),
        several => {
            let fit = |cells: &[Cell<'_>]| {
                names.iter().filter(|name| cells.iter().any(|cell| cell.text == **name)).count()
            };
            let best = several.iter().map(|(_, cells)| fit(cells)).max().unwrap_or(0);
            let mut fitting = several.iter().filter(|(_, cells)| fit(cells) == best);
            match (fitting.next(), fitting.next()) {
                (Some((delimiter, _)), None) => Ok(*delimiter),
                _ => {
                    let listed: Vec<_> = several.iter().map(|(delimiter, _)| delimiter.to_string()).collect();
                    Err(Fault::of_line(Problem::AmbiguousDelimiter(listed.join(" or "))))
                }
            }
        }
    }
}

impl Layout {
    /// The names of all needed columns, some perhaps twice.
    pub(super) fn names(&self) -> Vec<&str> {
        let mut names = vec![self.time.name.as_str()];
        for source in [&self.a, &self.b] {
            names.push(&source.column);
            names.extend(source.capture.as_ref().map(|capture| capture.name.as_str()));
            names.extend(source.valid.as_deref());
        }
        names.extend(self.levels.iter().map(|level| level.name.as_str()));
        for analogue in &self.analogues {
            names.extend(analogue.columns.iter().chain(analogue.valid.iter().flatten()).map(String::as_str));
        }
        names
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(line: &str, delimiter: Delimiter) -> Vec<(usize, String)> {
        let cells = split(line, delimiter).unwrap();
        cells.into_iter().map(|cell| (cell.start, cell.text.into_owned())).collect()
    }

    #[test]
    fn cells_lose_blanks_and_quotes_and_keep_their_place() {
        let expected = vec![
            (0, "a".to_owned()),
            (3, "b c".to_owned()),
            (7, String::new()),
            (9, "d,\"e".to_owned()),
            (18, "5\"".to_owned()),
            (21, String::new()),
        ];
        assert_eq!(cells("a, b c,, \"d,\"\"e\" ,5\",", Delimiter::Comma), expected);
    }

    #[test]
    fn a_blank_before_a_tab_is_trimmed_and_the_tab_separates() {
        assert_eq!(cells("a \t b", Delimiter::Tab), vec![(0, "a".to_owned()), (4, "b".to_owned())]);
    }

    #[test]
    fn a_quote_that_is_not_closed_or_goes_on_is_refused() {
        for line in ["a,\"b", "a,\"b\"c", "\"", "a,\"b\"\"", "\"a\" b,c"] {
            assert!(split(line, Delimiter::Comma).is_err(), "{line}");
        }
    }
}
