//! The quick way through ordinary rows: column by column into whole numbers first, then row by row into frames.
//!
//! At anything else, and at anything wrong, it leaves the row to the careful way of [`super::rows`], which gives it the same text that a
//! CSV would have. It never accepts what that would refuse, and never reads another value: a test holds the two side by side.

use monitor_core::{AnalogueReading, Channel, Frame, Instant, Levels, Reading, Sample, Span, Value};

use super::super::fast::{FAR, FastClock};
use super::super::layout::{Layout, SourceKind, TimeColumn};
use super::super::offered::Offered;
use super::super::packed::{Batch, Counted};
use super::super::row::CounterWidth;
use super::super::scale::Scale;
use super::{Cells, Chunk, Kind, Present};

/// A selected column with what it holds.
#[derive(Clone, Copy, Debug)]
pub(super) struct Selected {
    /// Its place in a chunk.
    pub(super) at: usize,
    pub(super) kind: Kind,
}

/// A column whose numbers are multiplied.
pub(super) struct Scaled {
    column: Selected,
    scale: Scale,
    /// At how many places the unit resolves a nanosecond: what a column of times is told in.
    places: usize,
}

/// The number of a source or of an analogue line.
enum Number {
    Counter(CounterWidth),
    Scaled(Box<Scale>),
}

/// What a cell of a source or of an analogue line says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Value,
    NothingNew,
    Invalid,
    /// Something for the careful way.
    Odd,
}

/// A source, or a line of an analogue value.
pub(super) struct Line {
    column: Selected,
    number: Number,
    sparse: bool,
    valid: Option<Selected>,
    capture: Option<Scaled>,
    latency: i64,
    /// Of the present chunk.
    values: Vec<i64>,
    states: Vec<State>,
    captures: Vec<i64>,
    capture_states: Vec<State>,
}

/// The recipe for one layout, and what it makes of the present chunk.
pub(super) struct Quick {
    time: Scaled,
    sources: [Line; 2],
    analogues: Vec<(usize, Channel, Line)>,
    levels: Vec<(Selected, u8)>,
    /// The latencies and the longer of them, when both sources have nothing else than values at the times of the rows.
    ages: Option<([u64; 2], u64)>,
    times: Vec<i64>,
    bits: Vec<u32>,
    odd: Vec<bool>,
    flags: Vec<bool>,
    flag_states: Vec<State>,
    /// No row of the chunk is odd, and none needs more than `ages`.
    ordinary: bool,
}

/// Where the columns of a source or of an analogue line stand.
pub(super) struct LineColumns {
    pub(super) value: Selected,
    pub(super) capture: Option<Selected>,
    pub(super) valid: Option<Selected>,
}

impl Line {
    fn new(
        columns: &LineColumns,
        number: Number,
        latency: Span,
        sparse: bool,
        capture: Option<Scaled>,
    ) -> Option<Self> {
        Some(Self {
            column: columns.value,
            number,
            sparse,
            valid: columns.valid,
            capture,
            latency: i64::try_from(latency.as_nanos()).ok().filter(|latency| *latency <= FAR)?,
            values: Vec::new(),
            states: Vec::new(),
            captures: Vec::new(),
            capture_states: Vec::new(),
        })
    }

    fn is_plain(&self) -> bool {
        !self.sparse && self.valid.is_none() && self.capture.is_none()
    }

    fn prepare(&mut self, chunk: &Chunk, flags: &mut Vec<bool>, flag_states: &mut Vec<State>) {
        let (cells, present) = &chunk.columns[self.column.at];
        let found = (&mut self.values, &mut self.states);
        match &self.number {
            Number::Counter(width) => counts(cells, self.column.kind, *width, found),
            Number::Scaled(scale) => scaled(cells, self.column.kind, scale, 0, found),
        }
        let nothing = if self.sparse { State::NothingNew } else { State::Odd };
        missing(present, nothing, &mut self.states);
        if let Some(valid) = &self.valid {
            let (cells, present) = &chunk.columns[valid.at];
            bits(cells, valid.kind, (flags, flag_states));
            missing(present, State::NothingNew, flag_states);
            for ((state, flag), flag_state) in self.states.iter_mut().zip(flags).zip(flag_states) {
                *state = match (*flag_state, *flag) {
                    (State::Value, true) => *state,
                    (State::Value, false) => State::Invalid,
                    (State::NothingNew, _) if *state == State::NothingNew => *state,
                    _ => State::Odd,
                };
            }
        }
        if let Some(capture) = &self.capture {
            let (cells, present) = &chunk.columns[capture.column.at];
            let found = (&mut self.captures, &mut self.capture_states);
            scaled(cells, capture.column.kind, &capture.scale, capture.places, found);
            far(&self.captures, &mut self.capture_states);
            missing(present, State::NothingNew, &mut self.capture_states);
        }
    }

    /// The reading of a source in a row of the chunk; the outer `None` gives up.
    fn reading(&self, row: usize, now: i64, clock: FastClock) -> Option<Option<Reading>> {
        let sample = match self.states[row] {
            State::Value => Sample::Count(self.values[row].cast_unsigned()),
            State::Invalid => Sample::Invalid,
            State::NothingNew => return Some(None),
            State::Odd => return None,
        };
        let at = match self.capture.as_ref().map(|_| self.capture_states[row]) {
            None => now,
            Some(State::Value) => self.captures[row],
            Some(State::NothingNew) if sample == Sample::Invalid => now,
            Some(_) => return None,
        };
        Some(Some(Reading { captured_at: clock.instant(at - self.latency)?, sample }))
    }
}

impl Scaled {
    fn of_time(column: Selected, time: &TimeColumn) -> Self {
        Self { column, scale: Scale::of_time(time.unit), places: time.unit.nanosecond_places() as usize }
    }
}

impl Quick {
    /// `None` when a latency is absurdly long.
    pub(super) fn new(
        layout: &Layout,
        time: Selected,
        sources: &[LineColumns; 2],
        levels: &[Selected],
        analogues: &[[LineColumns; 2]],
    ) -> Option<Self> {
        let source = |channel: usize| {
            let (source, columns) = ([&layout.a, &layout.b][channel], &sources[channel]);
            let number = match &source.kind {
                SourceKind::Counter { bits } => Number::Counter(CounterWidth::new(*bits)),
                SourceKind::Position { scale, .. } => Number::Scaled(Box::new(Scale::of_position(*scale))),
            };
            let capture = source.capture.as_ref().zip(columns.capture);
            let capture = capture.map(|(time, column)| Scaled::of_time(column, time));
            Line::new(columns, number, source.latency, source.sparse, capture)
        };
        let sources = [source(0)?, source(1)?];
        let mut lines = Vec::new();
        for (of, (analogue, columns)) in layout.analogues.iter().zip(analogues).enumerate() {
            for (channel, columns) in Channel::BOTH.into_iter().zip(columns) {
                let number =
                    Number::Scaled(Box::new(Scale::of_position(num_rational::Ratio::from_integer(1))));
                lines.push((
                    of,
                    channel,
                    Line::new(columns, number, analogue.latency, analogue.sparse, None)?,
                ));
            }
        }
        let ages = [layout.a.latency.as_nanos(), layout.b.latency.as_nanos()];
        let is_plain = lines.is_empty() && sources.iter().all(Line::is_plain);
        Some(Self {
            time: Scaled::of_time(time, &layout.time),
            sources,
            analogues: lines,
            levels: levels.iter().copied().zip(layout.levels.iter().map(|level| level.line)).collect(),
            ages: is_plain.then(|| (ages, ages[0].max(ages[1]))),
            times: Vec::new(),
            bits: Vec::new(),
            odd: Vec::new(),
            flags: Vec::new(),
            flag_states: Vec::new(),
            ordinary: false,
        })
    }

    /// Works out a chunk, column by column.
    pub(super) fn prepare(&mut self, chunk: &Chunk) {
        let (cells, present) = &chunk.columns[self.time.column.at];
        let mut states = std::mem::take(&mut self.flag_states);
        let found = (&mut self.times, &mut states);
        scaled(cells, self.time.column.kind, &self.time.scale, self.time.places, found);
        far(&self.times, &mut states);
        missing(present, State::Odd, &mut states);
        self.odd.clear();
        self.odd.extend(states.iter().map(|&state| state != State::Value));
        self.bits.clear();
        self.bits.resize(chunk.rows, 0);
        for (column, line) in &self.levels {
            let (cells, present) = &chunk.columns[column.at];
            if let (Cells::Integers(cells), Kind::Integer, None) = (cells, column.kind, present) {
                // What nearly all levels are.
                let rows = self.bits.iter_mut().zip(&mut self.odd).zip(cells);
                for ((bits, odd), &cell) in rows {
                    *bits |= u32::from(cell == 1) << line;
                    *odd |= cell.cast_unsigned() > 1;
                }
                continue;
            }
            bits(cells, column.kind, (&mut self.flags, &mut states));
            missing(present, State::Odd, &mut states);
            for (bits, &flag) in self.bits.iter_mut().zip(&self.flags) {
                *bits |= u32::from(flag) << line;
            }
            for (odd, &state) in self.odd.iter_mut().zip(&states) {
                *odd |= state != State::Value;
            }
        }
        let lines = self.sources.iter_mut().chain(self.analogues.iter_mut().map(|(.., line)| line));
        for line in lines {
            line.prepare(chunk, &mut self.flags, &mut states);
        }
        self.flag_states = states;
        let all_values = |line: &Line| line.states.iter().all(|&state| state == State::Value);
        self.ordinary =
            self.ages.is_some() && !self.odd.contains(&true) && self.sources.iter().all(all_values);
    }

    /// Takes rows from `from` up to `to` of the chunk as long as they are ordinary; behind the last one.
    pub(super) fn take(
        &self,
        from: usize,
        to: usize,
        clock: &mut FastClock,
        batch: &mut impl Batch,
        offered: &mut Vec<Offered>,
    ) -> usize {
        match self.ages {
            Some(ages) if self.ordinary => self.take_values(from, to, ages, clock, batch),
            _ => (from..to).find(|&row| self.row(row, clock, batch, offered).is_none()).unwrap_or(to),
        }
    }

    /// Rows with a value of each source and nothing else.
    fn take_values(
        &self,
        from: usize,
        to: usize,
        (ages, longest): ([u64; 2], u64),
        clock: &mut FastClock,
        batch: &mut impl Batch,
    ) -> usize {
        let [a, b] = &self.sources;
        let rows = self.times[from..to].iter().zip(&a.values[from..to]).zip(&b.values[from..to]);
        for (row, (((&now, &a), &b), &bits)) in rows.zip(&self.bits[from..to]).enumerate() {
            let instant = clock.instant(now).map_or(0, Instant::as_nanos);
            if now <= clock.last_ns() || instant < longest {
                return from + row;
            }
            let counts = [a.cast_unsigned(), b.cast_unsigned()];
            batch.push_counted(Counted { now: instant, counts, ages }, Levels::from_bits(bits));
            clock.advance(now);
        }
        to
    }

    fn row(
        &self,
        row: usize,
        clock: &mut FastClock,
        batch: &mut impl Batch,
        offered: &mut Vec<Offered>,
    ) -> Option<()> {
        let now = self.times[row];
        if self.odd[row] || now <= clock.last_ns() {
            return None;
        }
        let instant = clock.instant(now)?;
        let a = self.sources[0].reading(row, now, *clock)?;
        let b = self.sources[1].reading(row, now, *clock)?;
        if self.analogues.iter().any(|(.., line)| line.states[row] == State::Odd) {
            return None;
        }
        let before = offered.len();
        for &(of, channel, ref line) in &self.analogues {
            let value = match line.states[row] {
                State::Value => Some(Value::from_bits(line.values[row])),
                State::Invalid => None,
                State::NothingNew | State::Odd => continue,
            };
            let Some(captured_at) = clock.instant(now - line.latency) else {
                offered.truncate(before);
                return None;
            };
            let reading = AnalogueReading { captured_at, value };
            offered.push(Offered { frame: batch.len(), of, channel, reading });
        }
        batch.push(Frame { now: instant, a, b, levels: Levels::from_bits(self.bits[row]) });
        clock.advance(now);
        Some(())
    }
}

/// What a column comes to, cell by cell, and what each cell says.
type Found<'a, T> = (&'a mut Vec<T>, &'a mut Vec<State>);

fn fill<T: Default, C>(cells: &[C], (values, states): Found<'_, T>, read: impl Fn(&C) -> Option<T>) {
    values.clear();
    states.clear();
    values.reserve(cells.len());
    states.reserve(cells.len());
    for cell in cells {
        let value = read(cell);
        states.push(if value.is_some() { State::Value } else { State::Odd });
        values.push(value.unwrap_or_default());
    }
}

/// The same of numbers of which each is told apart by a comparison; in two passes, which take several cells at a time.
fn fill_plainly<C: Copy>(
    cells: &[C],
    (values, states): Found<'_, i64>,
    is_ordinary: impl Fn(C) -> bool,
    value: impl Fn(C) -> i64,
) {
    values.clear();
    values.extend(cells.iter().map(|&cell| value(cell)));
    states.clear();
    states.extend(cells.iter().map(|&cell| if is_ordinary(cell) { State::Value } else { State::Odd }));
}

/// Numbers times a scale.
fn scaled(cells: &Cells, kind: Kind, scale: &Scale, places: usize, found: Found<'_, i64>) {
    let (ns, places_of_kind) = match kind {
        Kind::Time { ns } => (ns, places),
        Kind::Decimal { places } => (1, places as usize),
        _ => (1, 0),
    };
    if let Cells::Integers(cells) = cells
        && let Some(factor) =
            scale.factor(places_of_kind).and_then(|factor| factor.checked_mul(i64::try_from(ns).ok()?))
    {
        // Farther ones are left to the careful way, which has more than 64 bits.
        let most = (i64::MAX / factor).unsigned_abs();
        return fill_plainly(
            cells,
            found,
            |cell| cell.unsigned_abs() <= most,
            |cell| cell.wrapping_mul(factor),
        );
    }
    match (cells, kind) {
        (Cells::Integers(cells), Kind::Time { ns }) => fill(cells, found, |cell| {
            scale.apply_small(*cell < 0, cell.unsigned_abs().checked_mul(ns)?, places)
        }),
        (Cells::Integers(cells), kind) => {
            let places = if let Kind::Decimal { places } = kind { places as usize } else { 0 };
            fill(cells, found, |cell| scale.apply_small(*cell < 0, cell.unsigned_abs(), places));
        }
        (Cells::Unsigned(cells), _) => fill(cells, found, |cell| scale.apply_small(false, *cell, 0)),
        (Cells::Reals(cells), _) => fill(cells, found, |cell| scale.apply_real(*cell)),
        (Cells::Bools(cells), _) => fill(cells, found, |_| None),
    }
}

/// The lowest bits of counts within a width.
fn counts(cells: &Cells, kind: Kind, width: CounterWidth, found: Found<'_, i64>) {
    // What does not fit 64 signed bits is left to the careful way.
    let clamp = |count: i128| i64::try_from(count).unwrap_or(i64::MAX);
    let (lowest, highest) = (clamp(width.lowest), clamp(width.highest));
    let span = highest.abs_diff(lowest);
    let count = |count: i64| {
        // Wraps to a large number below the lowest.
        let is_within = count.wrapping_sub(lowest).cast_unsigned() <= span;
        is_within.then_some((count.cast_unsigned() & width.mask).cast_signed())
    };
    match (cells, kind) {
        (Cells::Integers(cells), Kind::Decimal { places }) => {
            let one = 10_i64.checked_pow(places);
            fill(cells, found, |cell| (cell % one? == 0).then(|| count(cell / one?))?);
        }
        (Cells::Integers(cells), _) => {
            let is_within = |cell: i64| cell.wrapping_sub(lowest).cast_unsigned() <= span;
            fill_plainly(cells, found, is_within, |cell| (cell.cast_unsigned() & width.mask).cast_signed());
        }
        (Cells::Unsigned(cells), _) => fill(cells, found, |&cell| count(i64::try_from(cell).ok()?)),
        (Cells::Reals(cells), _) => fill(cells, found, |&cell| count(whole(cell)?)),
        (Cells::Bools(cells), _) => fill(cells, found, |_| None),
    }
}

/// A float that is a whole number of 63 bits.
fn whole(real: f64) -> Option<i64> {
    const BEYOND: f64 = 9_223_372_036_854_775_808.0;
    // Exact within this range.
    (real.abs() < BEYOND && real.trunc() == real).then_some(real as i64)
}

/// Zeros and ones.
fn bits(cells: &Cells, kind: Kind, found: Found<'_, bool>) {
    let bit = |is_one: bool, is_zero: bool| (is_one || is_zero).then_some(is_one);
    match (cells, kind) {
        (Cells::Integers(cells), kind) => {
            let places = if let Kind::Decimal { places } = kind { places } else { 0 };
            let one = 10_i64.checked_pow(places);
            fill(cells, found, |&cell| bit(cell == one?, cell == 0));
        }
        (Cells::Unsigned(cells), _) => fill(cells, found, |&cell| bit(cell == 1, cell == 0)),
        (Cells::Bools(cells), _) => fill(cells, found, |&cell| Some(cell)),
        // A zero with a sign is no level.
        (Cells::Reals(cells), _) => fill(cells, found, |&cell| bit(cell == 1.0, cell.to_bits() == 0)),
    }
}

/// Marks the cells that are not there.
fn missing(present: &Present, state: State, states: &mut [State]) {
    if let Some(present) = present {
        for (place, _) in present.iter().enumerate().filter(|(_, there)| !**there) {
            states[place] = state;
        }
    }
}

/// Leaves times that cannot be added up within 64 bits to the careful way.
fn far(times: &[i64], states: &mut [State]) {
    for (time, state) in times.iter().zip(states) {
        if !(-FAR..=FAR).contains(time) {
            *state = State::Odd;
        }
    }
}
