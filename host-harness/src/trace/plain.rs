//! Delimited text without a setup: the header, a row of units, and the rows with all their cells.

use super::cell::Decimal;
use super::error::{Problem, TraceError, quoted};
use super::header::{Cell, Delimiter, Fault, split, text};
use super::input::{Compression, Input};
use super::lines::{Lines, first_line};
use super::number::Content;
use super::text::{at_line, check_length, is_no_row};
use super::units;

/// A table of delimited text.
pub(crate) struct Plain {
    lines: Lines,
    delimiter: Delimiter,
    names: Vec<String>,
    units: Option<Vec<String>>,
}

/// What came next.
pub(crate) enum Next {
    /// A row with a cell for each column.
    Row,
    /// A row that is not one of the table.
    Bad(TraceError),
    /// Nothing.
    End,
}

impl Plain {
    /// Reads the header and the row of units.
    pub(crate) fn open(input: Input) -> Result<Self, TraceError> {
        let mut lines = Lines::new(input);
        if !to_row(&mut lines, None)? {
            return Err(lines.error_of_file(Problem::Empty));
        }
        let (line, taken) = first_line(lines.pending());
        let header = check_length(line).and_then(|()| text(line)).map(str::to_owned);
        let header = header.map_err(|fault| at_line(&lines, fault))?;
        let mut possible = possible(&header);
        let place = lines.line();
        lines.consume(taken, 1);
        if possible.len() > 1 && to_row(&mut lines, None)? {
            let (line, _) = first_line(lines.pending());
            keep_fitting(&mut possible, line);
        }
        let at_header = |fault: Fault| lines.error_at(Some(place), fault.byte, *fault.problem);
        let (delimiter, names) = match possible.as_slice() {
            [(delimiter, names)] => (*delimiter, names.clone()),
            _ => return Err(at_header(no_delimiter(&header))),
        };
        if names.iter().all(|name| Decimal::parse(name).is_ok()) {
            return Err(at_header(Fault::of_line(Problem::NoHeader)));
        }
        let mut plain = Self { lines, delimiter, names, units: None };
        plain.take_units()?;
        Ok(plain)
    }

    /// The names of the columns.
    pub(crate) fn names(&self) -> &[String] {
        &self.names
    }

    /// What the row of units says of each column, where there is one.
    pub(crate) fn units(&self) -> Option<&[String]> {
        self.units.as_deref()
    }

    pub(crate) const fn delimiter(&self) -> Delimiter {
        self.delimiter
    }

    pub(crate) const fn compression(&self) -> Compression {
        self.lines.compression()
    }

    /// Shows the cells of the next row, one by one, with their places.
    pub(crate) fn next(&mut self, mut show: impl FnMut(usize, &str)) -> Result<Next, TraceError> {
        if !to_row(&mut self.lines, Some(self.delimiter))? {
            return Ok(Next::End);
        }
        let (line, taken) = first_line(self.lines.pending());
        let found = match self.cells(line) {
            Ok(cells) => {
                cells.iter().enumerate().for_each(|(index, cell)| show(index, &cell.text));
                Next::Row
            }
            Err(fault) => Next::Bad(at_line(&self.lines, fault)),
        };
        self.lines.consume(taken, 1);
        Ok(found)
    }

    fn cells<'a>(&self, line: &'a [u8]) -> Result<Vec<Cell<'a>>, Fault> {
        check_length(line)?;
        let cells = split(text(line)?, self.delimiter)?;
        let (found, expected) = (cells.len(), self.names.len());
        if found == expected {
            return Ok(cells);
        }
        let byte = cells.get(expected).map_or(line.len(), |cell| cell.start);
        Err(Fault::at(byte, Problem::RowLength { expected, found }))
    }

    /// Passes over a row of units: no cell of it is a number, and one names a unit of time.
    fn take_units(&mut self) -> Result<(), TraceError> {
        if !to_row(&mut self.lines, Some(self.delimiter))? {
            return Ok(());
        }
        let (line, taken) = first_line(self.lines.pending());
        let Ok(cells) = self.cells(line) else { return Ok(()) };
        let is_row = cells.iter().all(|cell| units::may_be_unit(&cell.text))
            && cells.iter().any(|cell| units::is_time_unit(&cell.text));
        if is_row {
            self.units = Some(cells.iter().map(|cell| units::bare(&cell.text).to_owned()).collect());
            self.lines.consume(taken, 1);
        }
        Ok(())
    }
}

/// Passes over comments and empty lines; false at the end.
fn to_row(lines: &mut Lines, delimiter: Option<Delimiter>) -> Result<bool, TraceError> {
    while lines.refill()? {
        let (line, taken) = first_line(lines.pending());
        if !is_no_row(line, delimiter) {
            return Ok(true);
        }
        lines.consume(taken, 1);
    }
    Ok(false)
}

/// Every delimiter that gives the header more than one name, with these names.
fn possible(header: &str) -> Vec<(Delimiter, Vec<String>)> {
    let names = |delimiter| {
        let cells = split(header, delimiter).ok().filter(|cells| cells.len() > 1)?;
        Some((delimiter, cells.into_iter().map(|cell| cell.text.into_owned()).collect()))
    };
    Delimiter::ALL.into_iter().filter_map(names).collect()
}

/// Keeps of several delimiters those by which the first row has as many cells as the header, and of these the one by which the most of
/// them are numbers.
fn keep_fitting(possible: &mut Vec<(Delimiter, Vec<String>)>, line: &[u8]) {
    let cells = |delimiter| text(line).and_then(|line| split(line, delimiter)).unwrap_or_default();
    let texts = |delimiter| {
        cells(delimiter).iter().filter(|cell| matches!(Content::of(&cell.text), Content::Text)).count()
    };
    possible.retain(|(delimiter, names)| cells(*delimiter).len() == names.len());
    let fewest = possible.iter().map(|(delimiter, _)| texts(*delimiter)).min();
    possible.retain(|(delimiter, _)| Some(texts(*delimiter)) == fewest);
}

fn no_delimiter(header: &str) -> Fault {
    let found = possible(header);
    if found.is_empty() {
        // A quote without its end hides the delimiters: that is then what to say.
        let quote = split(header, Delimiter::Comma).err();
        return quote.unwrap_or_else(|| Fault::of_line(Problem::NoDelimiter(quoted(header))));
    }
    let listed: Vec<_> = found.iter().map(|(delimiter, _)| delimiter.to_string()).collect();
    Fault::of_line(Problem::AmbiguousDelimiter(listed.join(" or ")))
}
