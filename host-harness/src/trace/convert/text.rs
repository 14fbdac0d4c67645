//! A text as a table: read once to see what its columns hold, and again for their cells.

use std::sync::Arc;

use super::super::cell::{Decimal, Mark, NoDecimal};
use super::super::error::{Place, Problem, TraceError, quoted};
use super::super::header::{Cell, Columns, Delimiter, Fault, delimiter_of, split, text};
use super::super::input::Input;
use super::super::layout::{Layout, TimeUnit};
use super::super::lines::{Lines, first_line};
use super::super::row::Rows;
use super::super::table::{CHUNK_ROWS, Cells, Chunk, Column, Kind, Table, TableError, exact};
use super::super::text::{at_line, check_length, is_no_row};
use super::super::units;
use super::infer::{Seen, boolean, plain};
use super::{COMMENT, ConvertError, WRITTEN, nothing_to_leave_out, time_unit, unit_of};

/// A text, read for the second time.
pub(super) struct TextTable {
    path: Arc<str>,
    lines: Lines,
    delimiter: Delimiter,
    columns: Vec<Column>,
    unsigned: Vec<bool>,
    nullable: Vec<bool>,
    notes: Vec<(String, String)>,
    selected: Vec<usize>,
}

/// The front of a text.
struct Head {
    delimiter: Delimiter,
    names: Vec<String>,
    units: Vec<Option<String>>,
    comment: Vec<String>,
}

impl TextTable {
    /// Reads a text to its end, and begins again.
    pub(super) fn open(
        input: Input,
        again: impl FnOnce() -> Result<Input, TraceError>,
        layout: Option<&Layout>,
        leave_out: &[String],
    ) -> Result<Self, ConvertError> {
        let path = Arc::clone(&input.path);
        let mut lines = Lines::new(input);
        let head = Head::read(&mut lines, layout)?;
        // Before all of it is read.
        if let Some(name) = leave_out.iter().find(|name| !head.names.contains(name)) {
            return Err(nothing_to_leave_out(&path, name));
        }
        let seen = see(&mut lines, &head)?;
        let mut table = Self {
            path,
            lines: Lines::new(again()?),
            delimiter: head.delimiter,
            columns: Vec::new(),
            unsigned: Vec::new(),
            nullable: Vec::new(),
            notes: Vec::new(),
            selected: Vec::new(),
        };
        for ((name, unit), seen) in head.names.iter().zip(&head.units).zip(&seen) {
            table.add(name, unit.as_deref(), seen, layout, leave_out)?;
        }
        if !head.comment.is_empty() {
            table.notes.push((COMMENT.to_owned(), head.comment.join("\n")));
        }
        // To the first row again.
        Head::read(&mut table.lines, layout)?;
        Ok(table)
    }

    fn add(
        &mut self,
        name: &str,
        unit: Option<&str>,
        seen: &Seen,
        layout: Option<&Layout>,
        leave_out: &[String],
    ) -> Result<(), ConvertError> {
        let unit = unit.map(str::to_owned).or_else(|| unit_of(layout?, name));
        let kind = match seen.kind(unit.as_deref().and_then(time_unit)) {
            Some(kind) => kind,
            None if leave_out.iter().any(|other| other == name) => (Kind::Other("text"), None),
            None => {
                let (line, cell) =
                    seen.no_boolean.as_ref().or(seen.no_number.as_ref()).cloned().unwrap_or_default();
                let place = Box::new(Place {
                    path: Arc::clone(&self.path),
                    line: Some(line),
                    column: None,
                    row: None,
                });
                let (column, text) = (name.to_owned(), quoted(&cell));
                let why = "is neither a number nor a boolean as the other cells are";
                return Err(ConvertError::NotKept { place, column, text, why });
            }
        };
        let (kind, written) = kind;
        if let Some((unit, places)) = written {
            self.notes.push((format!("{WRITTEN}{name}"), format!("{} {places}", unit.symbol())));
        }
        self.columns.push(Column { name: name.to_owned(), unit, kind, group: 0, rows: None, is_time: false });
        self.unsigned.push(seen.is_unsigned());
        self.nullable.push(seen.empty);
        Ok(())
    }

    /// The next line that is a row, split; false at the end.
    fn take_rows(&mut self, chunk: &mut Chunk, most: usize) -> Result<bool, TableOrTrace> {
        while chunk.rows < most && self.lines.refill()? {
            let (line, taken) = first_line(self.lines.pending());
            if !is_no_row(line, Some(self.delimiter)) {
                let cells = check_length(line)
                    .and_then(|()| split(text(line)?, self.delimiter))
                    .map_err(|fault| at_line(&self.lines, fault))?;
                if cells.len() != self.columns.len() {
                    return Err(super::changed(&self.path).into());
                }
                for (&index, (values, present)) in self.selected.iter().zip(&mut chunk.columns) {
                    let (kind, unsigned) = (self.columns[index].kind, self.unsigned[index]);
                    let cell = cells[index].text.as_ref();
                    if cell.is_empty() {
                        present.get_or_insert_with(|| vec![true; chunk.rows]);
                    }
                    if let Some(present) = present {
                        present.push(!cell.is_empty());
                    }
                    if let Err(why) = push(values, cell, kind, unsigned, self.time_places(index)) {
                        let start = Some(cells[index].start + 1);
                        let line = Some(self.lines.line());
                        let place =
                            Box::new(Place { path: Arc::clone(&self.path), line, column: start, row: None });
                        let (column, text) = (self.columns[index].name.clone(), quoted(cell));
                        return Err(ConvertError::NotKept { place, column, text, why }.into());
                    }
                }
                chunk.rows += 1;
            }
            self.lines.consume(taken, 1);
        }
        Ok(chunk.rows > 0)
    }

    /// At how many places the unit of a column of times resolves a nanosecond.
    fn time_places(&self, index: usize) -> u32 {
        let unit = self.columns[index].unit.as_deref().and_then(time_unit);
        unit.unwrap_or(TimeUnit::Nanos).nanosecond_places()
    }
}

/// What can go wrong while a text is read as a table: [`TableError`] has no place for a line, so the other one is carried in it.
struct TableOrTrace(ConvertError);

impl From<TraceError> for TableOrTrace {
    fn from(error: TraceError) -> Self {
        Self(error.into())
    }
}

impl From<ConvertError> for TableOrTrace {
    fn from(error: ConvertError) -> Self {
        Self(error)
    }
}

/// The error that a table ended with: that of a text is carried inside it.
pub(super) fn as_convert_error(path: &Arc<str>, wrong: TableError) -> ConvertError {
    match wrong {
        TableError::Unreadable(error) => match error.downcast::<ConvertError>() {
            Ok(inner) => inner,
            Err(error) => super::trace_error(path, TableError::Unreadable(error).into()).into(),
        },
        wrong => super::trace_error(path, wrong.into()).into(),
    }
}

impl Table for TextTable {
    fn format(&self) -> &'static str {
        "text"
    }

    fn columns(&self) -> &[Column] {
        &self.columns
    }

    fn select(&mut self, columns: &[usize]) -> Result<(), TableError> {
        self.selected = columns.to_vec();
        Ok(())
    }

    fn next(&mut self, chunk: &mut Chunk) -> Result<bool, TableError> {
        chunk.rows = 0;
        chunk.set_columns(self.selected.len());
        for (&index, (cells, present)) in self.selected.iter().zip(&mut chunk.columns) {
            *present = None;
            *cells = match self.columns[index].kind {
                Kind::Real => Cells::Reals(cells.take_reals()),
                Kind::Bool => Cells::Bools(cells.take_bools()),
                _ if self.unsigned[index] => Cells::Unsigned(Vec::new()),
                _ => Cells::Integers(cells.take_integers()),
            };
        }
        let rows = self.take_rows(chunk, CHUNK_ROWS);
        rows.map_err(|TableOrTrace(error)| TableError::Unreadable(std::io::Error::other(error)))
    }

    fn nullable(&self, column: usize) -> bool {
        self.nullable[column]
    }

    fn notes(&self) -> &[(String, String)] {
        &self.notes
    }
}

/// Appends a cell as its column has it; why that is not possible.
fn push(
    values: &mut Cells,
    cell: &str,
    kind: Kind,
    unsigned: bool,
    time_places: u32,
) -> Result<(), &'static str> {
    const CHANGED: &str = "was something else when the text was read first";
    let places = match kind {
        Kind::Time { .. } => time_places,
        Kind::Decimal { places } => places,
        _ => 0,
    };
    match values {
        Cells::Integers(values) => {
            values.push(if cell.is_empty() { 0 } else { scaled(cell, places).ok_or(CHANGED)? })
        }
        Cells::Unsigned(values) if unsigned => {
            let value = if cell.is_empty() {
                Some(0)
            } else {
                whole(cell).and_then(|value| u64::try_from(value).ok())
            };
            values.push(value.ok_or(CHANGED)?);
        }
        Cells::Unsigned(_) => return Err(CHANGED),
        Cells::Bools(values) => {
            let value = if cell.is_empty() { Some(false) } else { boolean(cell).or_else(|| bit(cell)) };
            values.push(value.ok_or(CHANGED)?);
        }
        Cells::Reals(values) => values.push(if cell.is_empty() { 0.0 } else { real(cell)? }),
    }
    Ok(())
}

fn bit(cell: &str) -> Option<bool> {
    match whole(cell)? {
        0 => Some(false),
        1 => Some(true),
        _ => None,
    }
}

fn whole(cell: &str) -> Option<i128> {
    Decimal::parse(cell).ok()?.to_whole()
}

/// A number times a power of ten, when that is whole.
fn scaled(cell: &str, places: u32) -> Option<i64> {
    if let Some(number) = plain(cell) {
        return number.value.checked_mul(10_i64.checked_pow(places.checked_sub(number.places)?)?);
    }
    let mut decimal = Decimal::parse(cell).ok()?;
    decimal.exponent += i64::from(places);
    i64::try_from(decimal.to_whole()?).ok()
}

/// A float that is exactly the number in the cell.
fn real(cell: &str) -> Result<f64, &'static str> {
    const INEXACT: &str = "is no 64-bit number, no decimal number of 18 digits with the other cells, and no floating-point number exactly";
    let wanted = match Decimal::parse(cell) {
        Ok(decimal) => decimal,
        // Named as the standard library does, in any case.
        Err(NoDecimal::NotFinite) => return cell.parse().map_err(|_| INEXACT),
        Err(_) => return Err(INEXACT),
    };
    let value: f64 = cell.replace(',', ".").parse().map_err(|_| INEXACT)?;
    if !value.is_finite() {
        return Err(INEXACT);
    }
    let found = exact(value);
    let is_same = found.digits == wanted.digits && found.exponent == wanted.exponent;
    if is_same { Ok(value) } else { Err(INEXACT) }
}

/// Goes through all rows.
fn see(lines: &mut Lines, head: &Head) -> Result<Vec<Seen>, TraceError> {
    let mut seen = vec![Seen::default(); head.names.len()];
    let mut mark = head.delimiter.settled_mark();
    let mut rows = 0_u64;
    while lines.refill()? {
        let (line, taken) = first_line(lines.pending());
        if !is_no_row(line, Some(head.delimiter)) {
            check_length(line)
                .and_then(|()| split(text(line)?, head.delimiter))
                .and_then(|cells| see_row(&cells, line.len(), lines.line(), &mut seen, &mut mark))
                .map_err(|fault| at_line(lines, fault))?;
            rows += 1;
        }
        lines.consume(taken, 1);
    }
    if rows == 0 {
        return Err(lines.error_of_file(Problem::NoRows { skipped: 0 }));
    }
    Ok(seen)
}

fn see_row(
    cells: &[Cell<'_>],
    length: usize,
    line: u64,
    seen: &mut [Seen],
    mark: &mut Option<Mark>,
) -> Result<(), Fault> {
    if cells.len() != seen.len() {
        let byte = cells.get(seen.len()).map_or(length, |cell| cell.start);
        return Err(Fault::at(byte, Problem::RowLength { expected: seen.len(), found: cells.len() }));
    }
    for (index, (cell, seen)) in cells.iter().zip(seen).enumerate() {
        match (seen.take(&cell.text, line), *mark) {
            (Some(found), Some(before)) if found != before => {
                let (name, text) = (format!("number {}", index + 1), quoted(&cell.text));
                let (found, before) = (found.in_words(), before.in_words());
                return Err(Fault::at(cell.start, Problem::DecimalMark { name, text, found, before }));
            }
            (Some(found), _) => *mark = Some(found),
            (None, _) => {}
        }
    }
    Ok(())
}

impl Head {
    /// Reads up to the first row.
    fn read(lines: &mut Lines, layout: Option<&Layout>) -> Result<Self, TraceError> {
        let mut comment = Vec::new();
        let (delimiter, names) = loop {
            if !lines.refill()? {
                return Err(lines.error_of_file(Problem::Empty));
            }
            let (line, taken) = first_line(lines.pending());
            check_length(line).map_err(|fault| at_line(lines, fault))?;
            if let Some(text) = line.strip_prefix(b"#") {
                let text = String::from_utf8_lossy(text);
                comment.push(text.strip_prefix(' ').unwrap_or(&text).to_owned());
            }
            if !is_no_row(line, None) {
                let found = header(line, layout).map_err(|fault| at_line(lines, fault))?;
                lines.consume(taken, 1);
                break found;
            }
            lines.consume(taken, 1);
        };
        let mut head = Self { delimiter, units: vec![None; names.len()], names, comment };
        head.read_units(lines, layout)?;
        Ok(head)
    }

    /// Reads the row of units, if the next line is one.
    fn read_units(&mut self, lines: &mut Lines, layout: Option<&Layout>) -> Result<(), TraceError> {
        while lines.refill()? {
            let (line, taken) = first_line(lines.pending());
            if is_no_row(line, Some(self.delimiter)) {
                lines.consume(taken, 1);
                continue;
            }
            if self.is_units(line, layout).map_err(|fault| at_line(lines, fault))? {
                if let Ok(cells) = text(line).and_then(|line| split(line, self.delimiter)) {
                    self.units = cells.iter().map(|cell| named_unit(&cell.text)).collect();
                }
                lines.consume(taken, 1);
            }
            break;
        }
        Ok(())
    }

    /// Whether a line is a row of units: by the setup, or where no cell is a number or a level, and one a unit of time.
    fn is_units(&self, line: &[u8], layout: Option<&Layout>) -> Result<bool, Fault> {
        if let Some(layout) = layout {
            let header: Vec<String> =
                self.names.iter().map(|name| format!("\"{}\"", name.replace('"', "\"\""))).collect();
            let header = header.join(&char::from(self.delimiter.byte()).to_string());
            return Rows::new(layout, Columns::find(&header, layout)?).take_units(line);
        }
        let Ok(cells) = text(line).and_then(|line| split(line, self.delimiter)) else { return Ok(false) };
        Ok(cells.len() == self.names.len()
            && cells.iter().all(|cell| units::may_be_unit(&cell.text))
            && cells.iter().any(|cell| units::is_time_unit(&cell.text)))
    }
}

fn named_unit(cell: &str) -> Option<String> {
    let unit = units::bare(cell);
    (!unit.is_empty() && unit != "-").then(|| unit.to_owned())
}

fn header(line: &[u8], layout: Option<&Layout>) -> Result<(Delimiter, Vec<String>), Fault> {
    let line = text(line)?;
    let delimiter = match layout {
        // With a setup its columns have to be there.
        Some(layout) => Columns::find(line, layout)?.delimiter,
        None => delimiter_of(line, &[])?,
    };
    let cells = split(line, delimiter)?;
    if cells.iter().all(|cell| Decimal::parse(&cell.text).is_ok()) {
        return Err(Fault::of_line(Problem::NoHeader));
    }
    Ok((delimiter, cells.into_iter().map(|cell| cell.text.into_owned()).collect()))
}
