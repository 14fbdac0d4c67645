//! The careful way through a row: every cell checked, every error with its place.

use monitor_core::{AnalogueReading, Channel, Frame, Instant, Levels, Reading, Sample, Value as Analogue};
use num_rational::Ratio;

use super::cell::{self, Decimal, Mark, NoDecimal};
use super::error::{Problem, quoted, seconds};
use super::header::{Cell, Columns, Fault, split, text};
use super::layout::{Layout, SourceColumns, SourceKind, TimeColumn};
use super::offered::Offered;
use super::scale::Scale;
use super::units;

/// Where the frames count from, and how far they have come; in ns on the clock of the trace.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clock {
    pub(super) origin: i128,
    pub(super) last: i128,
}

impl Clock {
    /// A time on the clock of the trace as an instant; `None` before the origin or beyond 2^64 ns after it.
    pub(super) fn instant(&self, time: i128) -> Option<Instant> {
        u64::try_from(time - self.origin).ok().map(Instant::from_nanos)
    }
}

/// How far before the first row a sparse source may capture a reading that comes later: one second.
const LATE_CAPTURE_NS: i128 = 1_000_000_000;

/// Turns lines into frames.
#[derive(Debug)]
pub(super) struct Rows {
    pub(super) columns: Columns,
    layout: Layout,
    time_scale: Scale,
    values: [Value; 2],
    capture_scales: [Option<Scale>; 2],
    /// The decimal mark, once it is known.
    pub(super) mark: Option<Mark>,
    /// None before the first row.
    pub(super) clock: Option<Clock>,
    /// From the unit of an analogue value to units in its last place.
    analogue_scale: Scale,
    /// The readings of analogue values in the line that was turned into a frame last.
    offered: Vec<Offered>,
}

/// How the number of a source becomes a count.
#[derive(Debug)]
enum Value {
    Counter { bits: u8, width: CounterWidth },
    Position(Box<Scale>),
}

impl Value {
    fn new(source: &SourceColumns) -> Self {
        match &source.kind {
            SourceKind::Counter { bits } => Self::Counter { bits: *bits, width: CounterWidth::new(*bits) },
            SourceKind::Position { scale, .. } => Self::Position(Box::new(Scale::of_position(*scale))),
        }
    }
}

/// A reading before its time is counted from the origin.
struct Captured {
    at: i128,
    sample: Sample,
    /// The cell to blame for `at`.
    cell: usize,
}

impl Rows {
    pub(super) fn new(layout: &Layout, columns: Columns) -> Self {
        let capture_scale =
            |source: &SourceColumns| source.capture.as_ref().map(|capture| Scale::of_time(capture.unit));
        Self {
            mark: columns.delimiter.settled_mark(),
            columns,
            time_scale: Scale::of_time(layout.time.unit),
            values: [Value::new(&layout.a), Value::new(&layout.b)],
            capture_scales: [capture_scale(&layout.a), capture_scale(&layout.b)],
            layout: layout.clone(),
            clock: None,
            analogue_scale: Scale::of_position(Ratio::from_integer(1)),
            offered: Vec::new(),
        }
    }

    const fn sources(&self) -> [&SourceColumns; 2] {
        [&self.layout.a, &self.layout.b]
    }

    /// Whether a line, the first after the header, is a row of units; an error when one contradicts.
    pub(super) fn take_units(&self, line: &[u8]) -> Result<bool, Fault> {
        // A line that cannot be split is for the row to complain of.
        let Ok(cells) = text(line).and_then(|line| split(line, self.columns.delimiter)) else {
            return Ok(false);
        };
        let is_unit = |index: usize| cells.get(index).is_some_and(|cell| units::may_be_unit(&cell.text));
        if cells.len() != self.columns.count
            || !units::is_time_unit(&cells[self.columns.time].text)
            || !self.columns.needed().all(is_unit)
        {
            return Ok(false);
        }
        self.check_units(&cells, "row of units")?;
        Ok(true)
    }

    /// Checks the units of the needed columns; `by` says where they stand.
    pub(super) fn check_units(&self, cells: &[Cell<'_>], by: &'static str) -> Result<(), Fault> {
        let check_time = |column: &TimeColumn, index: usize| {
            let cell = &cells[index];
            units::contradicts_time(&cell.text, column.unit).map_or(Ok(()), |found| {
                Err(mismatch(&column.name, cell, found, column.unit.symbol().to_owned(), by))
            })
        };
        check_time(&self.layout.time, self.columns.time)?;
        for (source, indexes) in self.sources().into_iter().zip(&self.columns.sources) {
            let cell = &cells[indexes.value];
            if let Some((found, declared)) = units::contradicts_source(&cell.text, &source.kind) {
                return Err(mismatch(&source.column, cell, found, declared, by));
            }
            if let (Some(column), Some(index)) = (&source.capture, indexes.capture) {
                check_time(column, index)?;
            }
        }
        for (analogue, indexes) in self.layout.analogues.iter().zip(&self.columns.analogues) {
            for (name, index) in analogue.columns.iter().zip(indexes.values) {
                let cell = &cells[index];
                if let Some(found) = units::contradicts_unit(&cell.text, &analogue.unit) {
                    let (name, declared) = (name.clone(), analogue.unit.clone());
                    return Err(Fault::at(
                        cell.start,
                        Problem::AnalogueUnitMismatch { name, found, declared, by },
                    ));
                }
            }
        }
        Ok(())
    }

    /// Turns a line into a frame, and hands on the readings of analogue values, which come before the frame at place `place`.
    /// Nothing is remembered of a line that fails.
    pub(super) fn parse(
        &mut self,
        line: &[u8],
        place: usize,
        offered: &mut Vec<Offered>,
    ) -> Result<Frame, Fault> {
        let cells = split(text(line)?, self.columns.delimiter)?;
        if cells.len() != self.columns.count {
            // Too short: behind the last byte; too long: at the first cell too many.
            let byte = cells.get(self.columns.count).map_or(line.len(), |cell| cell.start);
            let problem = Problem::RowLength { expected: self.columns.count, found: cells.len() };
            return Err(Fault::at(byte, problem));
        }
        self.parse_cells(&cells, place, offered)
    }

    /// As [`parse`](Self::parse), of a row that has been split.
    pub(super) fn parse_cells(
        &mut self,
        cells: &[Cell<'_>],
        place: usize,
        offered: &mut Vec<Offered>,
    ) -> Result<Frame, Fault> {
        let frame = self.frame(cells)?;
        offered.extend(self.offered.drain(..).map(|one| Offered { frame: place, ..one }));
        Ok(frame)
    }

    fn frame(&mut self, cells: &[Cell<'_>]) -> Result<Frame, Fault> {
        let mut mark = self.mark;
        let time_cell = &cells[self.columns.time];
        let now = time(&self.layout.time, &self.time_scale, time_cell, &mut mark)?;
        if let Some(clock) = &self.clock
            && now <= clock.last
        {
            return Err(Fault::at(
                time_cell.start,
                Problem::TimeOrder {
                    name: self.layout.time.name.clone(),
                    text: quoted(&time_cell.text),
                    before: seconds(clock.last),
                    now: seconds(now),
                    repeats: now == clock.last,
                },
            ));
        }
        let a = self.captured(0, cells, now, &mut mark)?;
        let b = self.captured(1, cells, now, &mut mark)?;
        let mut levels = 0;
        for (column, &index) in self.layout.levels.iter().zip(&self.columns.levels) {
            let cell = &cells[index];
            let level = cell::level(&cell.text).ok_or_else(|| no_bit(&column.name, cell, true))?;
            levels |= u32::from(level) << column.line;
        }
        let values = self.analogues(cells, &mut mark)?;

        let origin =
            self.clock.map_or_else(|| self.origin(now, [a.as_ref(), b.as_ref()]), |clock| clock.origin);
        let clock = Clock { origin, last: now };
        let range = || {
            let text = quoted(&time_cell.text);
            Fault::at(time_cell.start, Problem::TimeRange { name: self.layout.time.name.clone(), text })
        };
        let frame = Frame {
            now: clock.instant(now).ok_or_else(range)?,
            a: a.map(|captured| self.reading(0, &captured, cells, clock)).transpose()?,
            b: b.map(|captured| self.reading(1, &captured, cells, clock)).transpose()?,
            levels: Levels::from_bits(levels),
        };
        self.offered.clear();
        for (of, channel, value) in values {
            let latency = i128::from(self.layout.analogues[of].latency.as_nanos());
            let captured_at = clock.instant(now - latency).ok_or_else(range)?;
            let reading = AnalogueReading { captured_at, value };
            self.offered.push(Offered { frame: 0, of, channel, reading });
        }
        self.mark = mark;
        self.clock = Some(clock);
        Ok(frame)
    }

    /// What is new of all analogue lines: a value, or none when it is marked as invalid.
    fn analogues(
        &self,
        cells: &[Cell<'_>],
        mark: &mut Option<Mark>,
    ) -> Result<Vec<(usize, Channel, Option<Analogue>)>, Fault> {
        let mut values = Vec::new();
        for (of, (analogue, indexes)) in self.layout.analogues.iter().zip(&self.columns.analogues).enumerate()
        {
            for (line, channel) in Channel::BOTH.into_iter().enumerate() {
                let (name, cell) = (&analogue.columns[line], &cells[indexes.values[line]]);
                let nothing_new = analogue.sparse && cell.text.is_empty();
                let flags = analogue.valid.as_ref().zip(indexes.valid);
                let flag = flags.map(|(names, indexes)| (&names[line], &cells[indexes[line]]));
                if !valid(flag, nothing_new)? {
                    values.push((of, channel, None));
                    continue;
                }
                if nothing_new {
                    continue;
                }
                let number = number(name, cell, mark, true)?;
                let ulps = self.analogue_scale.apply(&number).and_then(|ulps| i64::try_from(ulps).ok());
                let value = ulps.map(Analogue::from_bits).ok_or_else(|| {
                    let (name, text) = (name.clone(), quoted(&cell.text));
                    Fault::at(cell.start, Problem::BeyondValues { name, text, unit: analogue.unit.clone() })
                })?;
                values.push((of, channel, Some(value)));
            }
        }
        Ok(values)
    }

    /// Zero, or early enough for everything that the first row shows or announces.
    fn origin(&self, now: i128, captured: [Option<&Captured>; 2]) -> i128 {
        let mut earliest = now.min(0);
        for (source, captured) in self.sources().into_iter().zip(captured) {
            let latency = i128::from(source.latency.as_nanos());
            let first = match captured {
                Some(captured) => captured.at,
                None if source.capture.is_some() => now - latency - LATE_CAPTURE_NS,
                None => now - latency,
            };
            earliest = earliest.min(first);
        }
        for analogue in &self.layout.analogues {
            earliest = earliest.min(now - i128::from(analogue.latency.as_nanos()));
        }
        earliest
    }

    fn captured(
        &self,
        channel: usize,
        cells: &[Cell<'_>],
        now: i128,
        mark: &mut Option<Mark>,
    ) -> Result<Option<Captured>, Fault> {
        let source = self.sources()[channel];
        let indexes = &self.columns.sources[channel];
        let value_cell = &cells[indexes.value];
        let nothing_new = source.sparse && value_cell.text.is_empty();
        let flag = source.valid.as_ref().zip(indexes.valid.map(|index| &cells[index]));
        let valid = valid(flag, nothing_new)?;
        if valid && nothing_new {
            return Ok(None);
        }
        let sample = if valid { self.sample(channel, value_cell, mark)? } else { Sample::Invalid };
        let latency = i128::from(source.latency.as_nanos());
        let (at, cell) = match (&source.capture, indexes.capture, &self.capture_scales[channel]) {
            (Some(column), Some(index), Some(scale)) if valid || !cells[index].text.is_empty() => {
                (time(column, scale, &cells[index], mark)?, index)
            }
            _ => (now, self.columns.time),
        };
        Ok(Some(Captured { at: at - latency, sample, cell }))
    }

    fn sample(&self, channel: usize, cell: &Cell<'_>, mark: &mut Option<Mark>) -> Result<Sample, Fault> {
        let name = &self.sources()[channel].column;
        let number = number(name, cell, mark, true)?;
        let (name, text) = (name.clone(), quoted(&cell.text));
        let count = match &self.values[channel] {
            Value::Position(scale) => scale
                .apply(&number)
                .and_then(|ulps| i64::try_from(ulps).ok())
                .map(i64::cast_unsigned)
                .ok_or(Problem::BeyondRange { name, text }),
            Value::Counter { .. } if !number.is_whole() => Err(Problem::NotWhole { name, text }),
            Value::Counter { bits, width } => number
                .to_whole()
                .filter(|count| (width.lowest..=width.highest).contains(count))
                .map(|count| width.wrap(count))
                .ok_or(Problem::BeyondWidth { name, text, bits: *bits }),
        };
        count.map(Sample::Count).map_err(|problem| Fault::at(cell.start, problem))
    }

    fn reading(
        &self,
        channel: usize,
        captured: &Captured,
        cells: &[Cell<'_>],
        clock: Clock,
    ) -> Result<Reading, Fault> {
        let captured_at = clock.instant(captured.at).ok_or_else(|| {
            let cell = &cells[captured.cell];
            let column = self.sources()[channel].capture.as_ref().unwrap_or(&self.layout.time);
            let name = column.name.clone();
            let problem = if captured.at < clock.origin {
                Problem::CaptureBeforeOrigin { name, at: seconds(captured.at), origin: seconds(clock.origin) }
            } else {
                Problem::TimeRange { name, text: quoted(&cell.text) }
            };
            Fault::at(cell.start, problem)
        })?;
        Ok(Reading { captured_at, sample: captured.sample })
    }
}

/// The counts that a counter of some width can show, signed or not.
#[derive(Clone, Copy, Debug)]
pub(super) struct CounterWidth {
    pub(super) lowest: i128,
    pub(super) highest: i128,
    pub(super) mask: u64,
}

impl CounterWidth {
    /// For 8 to 64 bits.
    pub(super) fn new(bits: u8) -> Self {
        let mask = u64::MAX >> (64 - u32::from(bits));
        Self { lowest: -(1_i128 << (bits - 1)), highest: i128::from(mask), mask }
    }

    /// The lowest bits of a count inside the range.
    fn wrap(self, count: i128) -> u64 {
        // Two's complement: the low 64 bits of a count within the range hold all there is to keep.
        let low = count as u64;
        low & self.mask
    }
}

/// Whether a reading is valid by the cell of its valid column, which may be empty where nothing is new.
fn valid(flag: Option<(&String, &Cell<'_>)>, nothing_new: bool) -> Result<bool, Fault> {
    match flag {
        Some((_, cell)) if nothing_new && cell.text.is_empty() => Ok(true),
        Some((name, cell)) => cell::flag(&cell.text).ok_or_else(|| no_bit(name, cell, false)),
        None => Ok(true),
    }
}

fn mismatch(name: &str, cell: &Cell<'_>, found: String, declared: String, by: &'static str) -> Fault {
    Fault::at(cell.start, Problem::UnitMismatch { name: name.to_owned(), found, declared, by })
}

fn no_bit(name: &str, cell: &Cell<'_>, level: bool) -> Fault {
    let (name, text) = (name.to_owned(), quoted(&cell.text));
    let problem = if cell.text.is_empty() {
        Problem::EmptyCell { name, of_source: false }
    } else if level {
        Problem::NotALevel { name, text }
    } else {
        Problem::NotAFlag { name, text }
    };
    Fault::at(cell.start, problem)
}

fn time(column: &TimeColumn, scale: &Scale, cell: &Cell<'_>, mark: &mut Option<Mark>) -> Result<i128, Fault> {
    // Sums and differences of times stay far inside an i128 when each time is below 2^100 ns.
    const FAR: i128 = 1 << 100;
    let number = number(&column.name, cell, mark, false)?;
    scale.apply(&number).filter(|nanos| (-FAR..=FAR).contains(nanos)).ok_or_else(|| {
        Fault::at(cell.start, Problem::TimeRange { name: column.name.clone(), text: quoted(&cell.text) })
    })
}

fn number(name: &str, cell: &Cell<'_>, mark: &mut Option<Mark>, of_source: bool) -> Result<Decimal, Fault> {
    let name = || name.to_owned();
    let text = || quoted(&cell.text);
    if let Some(exact) = &cell.exact {
        return Ok(exact.clone());
    }
    let number = Decimal::parse(&cell.text).map_err(|why| {
        let problem = match why {
            NoDecimal::Empty => Problem::EmptyCell { name: name(), of_source },
            NoDecimal::NotFinite => Problem::NotFinite { name: name(), text: text() },
            NoDecimal::Text => Problem::NotANumber { name: name(), text: text() },
            NoDecimal::TooLong => {
                Problem::NumberTooLong { name: name(), text: text(), bytes: cell.text.len() }
            }
        };
        Fault::at(cell.start, problem)
    })?;
    match (number.mark, *mark) {
        (Some(found), Some(before)) if found != before => {
            let problem = Problem::DecimalMark {
                name: name(),
                text: text(),
                found: found.in_words(),
                before: before.in_words(),
            };
            return Err(Fault::at(cell.start, problem));
        }
        (Some(found), _) => *mark = Some(found),
        (None, _) => {}
    }
    Ok(number)
}
