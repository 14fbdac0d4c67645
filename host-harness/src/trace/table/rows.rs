//! Rows of a table as frames.
//!
//! A row that is not an ordinary one is given to the rules of [`super::super::row`] as the text that a CSV would have of it, so that both
//! formats have the same rules and the same words. A floating-point number goes there with all its digits: it is rounded once.

use std::borrow::Cow;
use std::collections::HashMap;
use std::sync::Arc;

use super::super::error::{Place, Problem, TraceError};
use super::super::fast::FastClock;
use super::super::header::{AnalogueIndexes, Cell, Columns, Delimiter, Fault, SourceIndexes};
use super::super::layout::{AnalogueColumns, Layout, SourceColumns, TimeUnit};
use super::super::offered::Offered;
use super::super::packed::Batch;
use super::super::reader::BATCH_FRAMES;
use super::super::row::Rows;
use super::super::skipped::Skipped;
use super::exact::{exact, push_fixed};
use super::quick::{LineColumns, Quick, Selected};
use super::{Cells, Chunk, Column, Kind, Table, TableError, address, resolve};
use crate::nearest::{listed, nearest};

/// What a column is to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Wanted {
    Time(TimeUnit),
    Number,
    Bit,
}

/// One use of a column: the cell that the rules ask for.
#[derive(Clone, Copy, Debug)]
struct Role {
    selected: Selected,
    wanted: Wanted,
}

/// Turns the rows of a table into frames.
pub(in super::super) struct TableRows {
    path: Arc<str>,
    table: Box<dyn Table>,
    rows: Rows,
    roles: Vec<Role>,
    quick: Option<Quick>,
    chunk: Chunk,
    /// The next row of the chunk.
    at: usize,
    /// Rows before the chunk.
    before: u64,
}

impl TableRows {
    /// Finds the columns.
    pub(in super::super) fn open(
        path: Arc<str>,
        mut table: Box<dyn Table>,
        layout: &Layout,
    ) -> Result<Self, TraceError> {
        let fail = |problem| error(&path, None, problem);
        layout.check().map_err(|wrong| fail(wrong.into()))?;
        let names = layout.names();
        let meant = resolve(table.as_mut(), &names).map_err(|wrong| fail(wrong.into()))?;
        let meant = names.into_iter().zip(meant).collect();
        let mut found = Roles {
            table: table.as_ref(),
            all: table.columns(),
            meant,
            roles: Vec::new(),
            select: Vec::new(),
        };
        let columns = found.columns(layout).map_err(|fault| fail(*fault.problem))?;
        let Roles { roles, select, .. } = found;
        let rows = Rows::new(layout, columns);
        let units: Vec<Cell<'_>> =
            roles.iter().map(|role| unit(&table.columns()[select[role.selected.at]])).collect();
        rows.check_units(&units, "file").map_err(|fault| fail(*fault.problem))?;
        drop(units);
        table.select(&select).map_err(|wrong| fail(wrong.into()))?;
        let quick = quick(layout, &rows.columns, &roles);
        Ok(Self { path, table, rows, roles, quick, chunk: Chunk::default(), at: 0, before: 0 })
    }

    /// Rows that were read.
    pub(in super::super) const fn rows_read(&self) -> u64 {
        self.before + self.at as u64
    }

    /// Where the frames count from, in ns.
    pub(in super::super) fn origin(&self) -> i128 {
        self.rows.clock.map_or(0, |clock| clock.origin)
    }

    /// An error of the file as a whole.
    pub(in super::super) fn error_of_file(&self, problem: Problem) -> TraceError {
        error(&self.path, None, problem)
    }

    /// Leaves every row to the careful way.
    #[cfg(test)]
    pub(in super::super) fn be_careful(&mut self) {
        self.quick = None;
    }

    /// Fills a batch up; less at the end.
    pub(in super::super) fn fill(
        &mut self,
        batch: &mut impl Batch,
        offered: &mut Vec<Offered>,
        mut skipped: Option<&mut Skipped>,
    ) -> Result<(), TraceError> {
        while batch.len() < BATCH_FRAMES {
            if self.at == self.chunk.rows {
                self.before += self.chunk.rows as u64;
                self.at = 0;
                // Nothing of the former chunk is shown again when this fails, or at the end.
                self.chunk.rows = 0;
                let more = self.table.next(&mut self.chunk);
                if !more.map_err(|wrong| error(&self.path, None, wrong.into()))? {
                    return Ok(());
                }
                if let Some(quick) = &mut self.quick {
                    quick.prepare(&self.chunk);
                }
            }
            self.take_ordinary_rows(batch, offered);
            if batch.len() < BATCH_FRAMES && self.at < self.chunk.rows {
                self.take_row(batch, offered, skipped.as_deref_mut())?;
            }
        }
        Ok(())
    }

    fn take_ordinary_rows(&mut self, batch: &mut impl Batch, offered: &mut Vec<Offered>) {
        let (Some(quick), Some(clock)) = (&self.quick, &mut self.rows.clock) else { return };
        let Some(mut fast) = FastClock::new(clock) else { return };
        let to = self.chunk.rows.min(self.at + BATCH_FRAMES - batch.len());
        self.at = quick.take(self.at, to, &mut fast, batch, offered);
        clock.last = fast.last();
    }

    /// Takes one row with all care.
    fn take_row(
        &mut self,
        batch: &mut impl Batch,
        offered: &mut Vec<Offered>,
        skipped: Option<&mut Skipped>,
    ) -> Result<(), TraceError> {
        let cells: Vec<Cell<'_>> = self.roles.iter().map(|role| cell(&self.chunk, role, self.at)).collect();
        let row = self.before + self.at as u64 + 1;
        match self.rows.parse_cells(&cells, batch.len(), offered) {
            Ok(frame) => batch.push(frame),
            Err(fault) => {
                let reason = fault.problem.reason();
                let error = error(&self.path, Some(row), *fault.problem);
                match (reason, skipped) {
                    (Some(reason), Some(skipped)) => skipped.add(reason, error),
                    _ => return Err(error),
                }
            }
        }
        self.at += 1;
        Ok(())
    }
}

fn error(path: &Arc<str>, row: Option<u64>, problem: Problem) -> TraceError {
    let place = Place { path: Arc::clone(path), line: None, column: None, row };
    TraceError { place, problem: Box::new(problem) }
}

/// The unit of a column as a cell of a row of units. Of a column of times its type says more.
fn unit(column: &Column) -> Cell<'_> {
    let text = match column.kind {
        Kind::Time { .. } => "",
        _ => column.unit.as_deref().unwrap_or_default(),
    };
    Cell { start: 0, text: Cow::Borrowed(text), exact: None }
}

/// A cell as text.
fn cell(chunk: &Chunk, role: &Role, row: usize) -> Cell<'static> {
    let (cells, present) = &chunk.columns[role.selected.at];
    let mut digits = None;
    let mut text = String::new();
    match (cells, role.selected.kind, role.wanted) {
        _ if present.as_ref().is_some_and(|present| !present[row]) => {}
        (Cells::Integers(cells), Kind::Time { ns }, Wanted::Time(unit)) => {
            push_fixed(&mut text, i128::from(cells[row]) * i128::from(ns), unit.nanosecond_places());
        }
        (Cells::Integers(cells), Kind::Decimal { places }, _) => {
            push_fixed(&mut text, cells[row].into(), places);
        }
        (Cells::Integers(cells), ..) => text = cells[row].to_string(),
        (Cells::Unsigned(cells), ..) => text = cells[row].to_string(),
        (Cells::Reals(cells), ..) => {
            // The shortest text that tells it from every other one, and all its digits for the rounding.
            text = format!("{:?}", cells[row]);
            digits = cells[row].is_finite().then(|| exact(cells[row]));
        }
        (Cells::Bools(cells), ..) => text = cells[row].to_string(),
    }
    Cell { start: 0, text: Cow::Owned(text), exact: digits }
}

/// Which columns are needed for what.
struct Roles<'a> {
    table: &'a dyn Table,
    all: &'a [Column],
    /// The column that each name means, where there is one.
    meant: HashMap<&'a str, Option<usize>>,
    roles: Vec<Role>,
    /// The columns to be read, each once.
    select: Vec<usize>,
}

impl Roles<'_> {
    /// Where each cell stands that the rules ask for.
    fn columns(&mut self, layout: &Layout) -> Result<Columns, Fault> {
        let time = self.role(&layout.time.name, Some("`[time]`"), Wanted::Time(layout.time.unit))?;
        let sources = [self.source(&layout.a, "`[channel.a]`")?, self.source(&layout.b, "`[channel.b]`")?];
        let mut levels = Vec::new();
        for level in &layout.levels {
            levels.push(self.role(&level.name, level.asked_by.as_deref(), Wanted::Bit)?);
        }
        let mut analogues = Vec::new();
        for analogue in &layout.analogues {
            analogues.push(self.analogue(analogue)?);
        }
        // Numbers as text have a decimal point.
        let delimiter = Delimiter::Comma;
        Ok(Columns { delimiter, count: self.roles.len(), time, sources, levels, analogues })
    }

    fn source(&mut self, source: &SourceColumns, section: &str) -> Result<SourceIndexes, Fault> {
        let section = Some(section);
        let value = self.role(&source.column, section, Wanted::Number)?;
        let capture = source.capture.as_ref();
        let capture =
            capture.map(|time| self.role(&time.name, section, Wanted::Time(time.unit))).transpose()?;
        let valid = source.valid.as_ref().map(|name| self.role(name, section, Wanted::Bit)).transpose()?;
        Ok(SourceIndexes { value, capture, valid })
    }

    fn analogue(&mut self, analogue: &AnalogueColumns) -> Result<AnalogueIndexes, Fault> {
        let section = format!("`[analogue.{}]`", analogue.name);
        let mut both = |[first, second]: &[String; 2], wanted| {
            Ok([self.role(first, Some(&section), wanted)?, self.role(second, Some(&section), wanted)?])
        };
        let values = both(&analogue.columns, Wanted::Number)?;
        let valid = analogue.valid.as_ref().map(|names| both(names, Wanted::Bit)).transpose()?;
        Ok(AnalogueIndexes { values, valid })
    }

    fn role(&mut self, name: &str, asked_by: Option<&str>, wanted: Wanted) -> Result<usize, Fault> {
        let index = self.position(name, asked_by)?;
        let column = &self.all[index];
        let fits = match (column.kind, wanted) {
            (Kind::Integer | Kind::Real | Kind::Decimal { .. }, _) => true,
            (Kind::Time { .. }, wanted) => matches!(wanted, Wanted::Time(_)),
            (Kind::Bool, wanted) => wanted == Wanted::Bit,
            (Kind::Other(_), _) => false,
        };
        if !fits {
            let wanted = match wanted {
                Wanted::Time(_) => "times or numbers",
                Wanted::Number => "numbers",
                Wanted::Bit => "levels (numbers 0 and 1, or booleans)",
            };
            let (column, what) = (address::full_name(self.table, index), column.kind.in_words());
            return Err(Fault::of_line(TableError::Kind { column, what, wanted }.into()));
        }
        let at = self.select.iter().position(|&selected| selected == index).unwrap_or_else(|| {
            self.select.push(index);
            self.select.len() - 1
        });
        self.roles.push(Role { selected: Selected { at, kind: column.kind }, wanted });
        Ok(self.roles.len() - 1)
    }

    fn position(&self, name: &str, asked_by: Option<&str>) -> Result<usize, Fault> {
        self.meant.get(name).copied().flatten().ok_or_else(|| {
            let full = address::full_names(self.table);
            let full = || full.iter().map(String::as_str);
            // Of the name alone, or of that with its group.
            let alone = nearest(name, self.all.iter().map(|column| column.name.as_str()));
            let place = alone.and_then(|near| self.all.iter().position(|column| column.name == near));
            let near = place.and_then(|place| full().nth(place)).or_else(|| nearest(name, full()));
            Fault::of_line(Problem::MissingColumn {
                name: name.to_owned(),
                asked_by: asked_by.map(str::to_owned),
                nearest: near.map(str::to_owned),
                present: listed(name, full()),
            })
        })
    }
}

fn quick(layout: &Layout, columns: &Columns, roles: &[Role]) -> Option<Quick> {
    let selected = |role: usize| roles[role].selected;
    let source = |source: &SourceIndexes| LineColumns {
        value: selected(source.value),
        capture: source.capture.map(selected),
        valid: source.valid.map(selected),
    };
    let line = |analogue: &AnalogueIndexes, line: usize| LineColumns {
        value: selected(analogue.values[line]),
        capture: None,
        valid: analogue.valid.map(|valid| selected(valid[line])),
    };
    let levels: Vec<Selected> = columns.levels.iter().map(|&role| selected(role)).collect();
    let analogues: Vec<_> =
        columns.analogues.iter().map(|analogue| [line(analogue, 0), line(analogue, 1)]).collect();
    let sources = [source(&columns.sources[0]), source(&columns.sources[1])];
    Quick::new(layout, selected(columns.time), &sources, &levels, &analogues)
}
