//! The quick way through a row of ordinary cells.
//!
//! It takes decimal numbers of up to 19 digits and the commonest ways of writing a level, eight bytes at a time where
//! the number has the shape it had in the row before. At anything else, and at anything wrong, it gives up on
//! the row without a word, and the careful way of [`super::row`] decides. It never accepts what that would
//! refuse, and never reads another value: a test holds the two side by side over random rows.

use monitor_core::{Frame, Instant, Levels, Reading, Sample};

use super::cell::Mark;
use super::digits::{Shape, bit, end_of_cell, is_end, number, pass_over};
use super::header::Columns;
use super::layout::{Layout, SourceColumns, SourceKind};
use super::lines::MAX_LINE_BYTES;
use super::packed::{Batch, Counted};
use super::row::{Clock, CounterWidth};
use super::scale::Scale;

/// The recipe for one layout under one header.
#[derive(Debug)]
pub(super) struct FastPath {
    steps: Vec<Step>,
    delimiter: u8,
    time: Scale,
    latency: [i64; 2],
    has_capture: [bool; 2],
    /// The latencies and the longer of them, when neither source has capture times of its own.
    ages: Option<([u64; 2], u64)>,
}

/// One cell (or several, of levels), or one more meaning of the cell before.
#[derive(Debug)]
struct Step {
    meaning: Meaning,
    /// The byte that ends the cell.
    end: u8,
    /// What the number looked like in the row before.
    shape: Option<Shape>,
}

// Without a tag of its own it would be told by an unlikely length of one of its vectors, at some cost for each cell.
#[derive(Debug)]
#[repr(u8)]
enum Meaning {
    Nothing,
    /// The next step is about the cell before once more.
    Again,
    Time,
    Counter(Counter),
    Position {
        is_b: bool,
        scale: Box<Scale>,
        sparse: bool,
    },
    Capture {
        is_b: bool,
        scale: Box<Scale>,
    },
    Valid {
        is_b: bool,
    },
    Level {
        line: u8,
    },
    Levels(LevelRun),
}

#[derive(Debug)]
struct Counter {
    is_b: bool,
    sparse: bool,
    lowest: i64,
    /// Highest − lowest.
    width: u64,
    mask: u64,
}

/// Two to four neighbouring level cells, to be taken at once: a byte each, with a delimiter between.
#[derive(Debug)]
struct LevelRun {
    /// The bytes that are looked at, but for the lowest bit of each level.
    mask: u64,
    /// What these bytes must be.
    pattern: u64,
    /// The levels by the bits of the cells, the first one lowest.
    levels: [u32; 1 << LevelRun::LONGEST],
    lines: Vec<u8>,
    delimiter: u8,
}

impl LevelRun {
    const LONGEST: usize = 4;

    fn new(delimiter: u8, lines: &[u8]) -> Self {
        let levels = [0; 1 << Self::LONGEST];
        let mut run = Self { mask: 0, pattern: 0, levels, lines: lines.to_vec(), delimiter };
        for (index, &line) in lines.iter().enumerate() {
            run.mask |= 0xfe << (16 * index);
            run.pattern |= u64::from(b'0') << (16 * index);
            if index > 0 {
                run.mask |= 0xff << (16 * index - 8);
                run.pattern |= u64::from(delimiter) << (16 * index - 8);
            }
            for (bits, levels) in run.levels.iter_mut().enumerate() {
                if bits >> index & 1 == 1 {
                    *levels |= 1 << line;
                }
            }
        }
        run
    }

    #[inline]
    fn read<'a>(&self, rest: &'a [u8]) -> Option<(u32, &'a [u8])> {
        self.read_together(rest).or_else(|| self.read_singly(rest))
    }

    #[inline]
    fn read_together<'a>(&self, rest: &'a [u8]) -> Option<(u32, &'a [u8])> {
        const LOWEST_BITS: u64 = 0x0001_0001_0001_0001;
        // Puts the bits 0, 16, 32 and 48 side by side at 48 and up; what else the product holds is below.
        const GATHER: u64 = 1 << 48 | 1 << 33 | 1 << 18 | 1 << 3;
        let word = u64::from_le_bytes(*rest.first_chunk()?);
        if word & self.mask != self.pattern {
            return None;
        }
        // Beyond a short run other bits get in; the table says the same for them.
        let bits = (word & LOWEST_BITS).wrapping_mul(GATHER) >> 48 & 0xf;
        Some((*self.levels.get(usize::try_from(bits).ok()?)?, rest.get(2 * self.lines.len() - 1..)?))
    }

    #[cold]
    fn read_singly<'a>(&self, mut rest: &'a [u8]) -> Option<(u32, &'a [u8])> {
        let mut levels = 0;
        for (index, line) in self.lines.iter().enumerate() {
            if index > 0 {
                rest = end_of_cell(rest, self.delimiter)?;
            }
            let (bit, after) = bit(rest)?;
            levels |= bit << line;
            rest = after;
        }
        Some((levels, rest))
    }
}

/// What the cells of both sources say.
#[derive(Clone, Copy, Default)]
struct Seen {
    values: [u64; 2],
    captures: [i64; 2],
    /// What there is of it: see the constants.
    given: u32,
}

impl Seen {
    /// Of source A; the next higher bits are of source B.
    const VALUE: u32 = 1;
    const CAPTURE: u32 = 4;
    const INVALID: u32 = 16;
    /// A value of each source and nothing else.
    const ORDINARY: u32 = 3 * Self::VALUE;

    fn has(&self, what: u32, is_b: bool) -> bool {
        self.given & (what << u32::from(is_b)) != 0
    }

    #[inline(always)]
    fn give(&mut self, what: u32, is_b: bool) {
        self.given |= what << u32::from(is_b);
    }

    #[inline(always)]
    fn value(&mut self, is_b: bool, value: u64) {
        self.values[usize::from(is_b)] = value;
        self.give(Self::VALUE, is_b);
    }
}

/// [`Clock`] with all times within [`FAR`].
#[derive(Clone, Copy, Debug)]
pub(super) struct FastClock {
    origin: i64,
    last: i64,
}

/// Times and latencies up to here, some 73 years, can be added and subtracted three at a time within 64 bits.
pub(super) const FAR: i64 = 1 << 61;

fn near(time: i128) -> Option<i64> {
    i64::try_from(time).ok().filter(|time| (-FAR..=FAR).contains(time))
}

impl FastClock {
    /// `None` for a trace whose times lie further off.
    pub(super) fn new(clock: &Clock) -> Option<Self> {
        Some(Self { origin: near(clock.origin)?, last: near(clock.last)? })
    }

    pub(super) fn last(self) -> i128 {
        i128::from(self.last)
    }

    pub(super) const fn last_ns(&self) -> i64 {
        self.last
    }

    /// Goes on to the time of the next frame.
    #[inline]
    pub(super) const fn advance(&mut self, to: i64) {
        self.last = to;
    }

    #[inline]
    pub(super) fn instant(self, time: i64) -> Option<Instant> {
        u64::try_from(time - self.origin).ok().map(Instant::from_nanos)
    }
}

impl FastPath {
    /// `None` when a latency is absurdly long.
    pub(super) fn new(layout: &Layout, columns: &Columns) -> Option<Self> {
        let delimiter = columns.delimiter.byte();
        let mut by_column: Vec<Vec<Meaning>> = Vec::new();
        by_column.resize_with(columns.count, Vec::new);
        by_column[columns.time].push(Meaning::Time);
        let sources = [&layout.a, &layout.b];
        for (is_b, (source, indexes)) in
            [false, true].into_iter().zip(sources.into_iter().zip(&columns.sources))
        {
            by_column[indexes.value].push(value(is_b, source));
            if let (Some(capture), Some(index)) = (&source.capture, indexes.capture) {
                let scale = Box::new(Scale::of_time(capture.unit));
                by_column[index].push(Meaning::Capture { is_b, scale });
            }
            if let Some(index) = indexes.valid {
                by_column[index].push(Meaning::Valid { is_b });
            }
        }
        for (level, &index) in layout.levels.iter().zip(&columns.levels) {
            by_column[index].push(Meaning::Level { line: level.line });
        }
        for meanings in by_column.iter_mut().filter(|meanings| meanings.is_empty()) {
            meanings.push(Meaning::Nothing);
        }
        let mut steps = Vec::new();
        let mut index = 0;
        while index < columns.count {
            let run: Vec<u8> =
                by_column[index..].iter().map_while(single_level).take(LevelRun::LONGEST).collect();
            let meanings = if run.len() > 1 {
                index += run.len();
                vec![Meaning::Levels(LevelRun::new(delimiter, &run))]
            } else {
                index += 1;
                std::mem::take(&mut by_column[index - 1])
            };
            let end = if index == columns.count { b'\n' } else { delimiter };
            for (number, meaning) in meanings.into_iter().enumerate() {
                if number > 0 {
                    steps.push(Step { meaning: Meaning::Again, end, shape: None });
                }
                steps.push(Step { meaning, end, shape: None });
            }
        }
        let latency = |source: &SourceColumns| near(i128::from(source.latency.as_nanos()));
        let ages = [layout.a.latency.as_nanos(), layout.b.latency.as_nanos()];
        let captures_rows = sources.iter().all(|source| source.capture.is_none());
        Some(Self {
            steps,
            delimiter,
            time: Scale::of_time(layout.time.unit),
            latency: [latency(&layout.a)?, latency(&layout.b)?],
            ages: captures_rows.then_some((ages, ages[0].max(ages[1]))),
            has_capture: sources.map(|source| source.capture.is_some()),
        })
    }

    /// Reads the row at the front of `block`, which ends in a line feed. The rest of the block, with the frame in the batch and the
    /// clock put forward; or `None` and nothing changed.
    #[inline]
    pub(super) fn row<'a>(
        &mut self,
        block: &'a [u8],
        mark: Option<Mark>,
        clock: &mut FastClock,
        batch: &mut impl Batch,
    ) -> Option<&'a [u8]> {
        // While the mark is not known, a number with one is left to the careful way: a digit is never found
        // where a mark is looked for.
        let mark = mark.map_or(b'0', Mark::byte);
        if *block.first()? == b'#' {
            return None;
        }
        let mut now = 0;
        let mut levels = 0;
        let mut seen = Seen::default();
        let mut begin = block;
        let mut rest = block;
        for step in &mut self.steps {
            let end = step.end;
            if let Meaning::Again = step.meaning {
                rest = begin;
                continue;
            }
            begin = rest;
            match &step.meaning {
                Meaning::Again => {}
                Meaning::Time => now = number(&mut rest, &mut step.shape, mark, end)?.times(&self.time)?,
                Meaning::Counter(counter) => {
                    if counter.sparse && is_end(*rest.first()?, end) {
                        rest = end_of_cell(rest, end)?;
                        continue;
                    }
                    let number = number(&mut rest, &mut step.shape, mark, end)?;
                    let magnitude = i64::try_from(number.whole()?).ok()?;
                    let count = if number.negative { -magnitude } else { magnitude };
                    // Wraps to a large number below the lowest.
                    if count.wrapping_sub(counter.lowest).cast_unsigned() > counter.width {
                        return None;
                    }
                    seen.value(counter.is_b, count.cast_unsigned() & counter.mask);
                }
                Meaning::Position { is_b, scale, sparse } => {
                    if *sparse && is_end(*rest.first()?, end) {
                        rest = end_of_cell(rest, end)?;
                        continue;
                    }
                    let ulps = number(&mut rest, &mut step.shape, mark, end)?.times(scale)?;
                    seen.value(*is_b, ulps.cast_unsigned());
                }
                Meaning::Capture { is_b, scale } => {
                    if is_end(*rest.first()?, end) {
                        rest = end_of_cell(rest, end)?;
                        continue;
                    }
                    let time = number(&mut rest, &mut step.shape, mark, end)?.times(scale)?;
                    seen.captures[usize::from(*is_b)] = time;
                    seen.give(Seen::CAPTURE, *is_b);
                }
                Meaning::Nothing => rest = end_of_cell(pass_over(rest, self.delimiter)?, end)?,
                Meaning::Valid { is_b } => {
                    let (bit, after) = bit(rest)?;
                    if bit == 0 {
                        seen.give(Seen::INVALID, *is_b);
                    }
                    rest = end_of_cell(after, end)?;
                }
                Meaning::Level { line } => {
                    let (bit, after) = bit(rest)?;
                    levels |= bit << line;
                    rest = end_of_cell(after, end)?;
                }
                Meaning::Levels(run) => {
                    let (bits, after) = run.read(rest)?;
                    levels |= bits;
                    rest = end_of_cell(after, end)?;
                }
            }
        }
        // A line of the greatest length has one or two bytes more with its end; the careful way counts.
        if now <= clock.last || now > FAR || block.len() - rest.len() > MAX_LINE_BYTES {
            return None;
        }
        let (instant, levels) = (clock.instant(now)?, Levels::from_bits(levels));
        match self.ages {
            Some((ages, longest)) if seen.given == Seen::ORDINARY && instant.as_nanos() >= longest => {
                let counted = Counted { now: instant.as_nanos(), counts: seen.values, ages };
                batch.push_counted(counted, levels);
            }
            _ => {
                let a = self.reading(false, &seen, now, *clock)?;
                let b = self.reading(true, &seen, now, *clock)?;
                batch.push(Frame { now: instant, a, b, levels });
            }
        }
        clock.advance(now);
        Some(rest)
    }

    /// The reading of a source; the outer `None` gives up.
    fn reading(&self, is_b: bool, seen: &Seen, now: i64, clock: FastClock) -> Option<Option<Reading>> {
        let channel = usize::from(is_b);
        let is_valid = !seen.has(Seen::INVALID, is_b);
        let sample = match (is_valid, seen.has(Seen::VALUE, is_b)) {
            (false, _) => Sample::Invalid,
            (true, true) => Sample::Count(seen.values[channel]),
            (true, false) => return Some(None),
        };
        let at = match seen.captures[channel] {
            capture if seen.has(Seen::CAPTURE, is_b) => {
                if !(-FAR..=FAR).contains(&capture) {
                    return None;
                }
                capture
            }
            _ if self.has_capture[channel] && is_valid => return None,
            _ => now,
        };
        Some(Some(Reading { captured_at: clock.instant(at - self.latency[channel])?, sample }))
    }
}

/// The line of a column that is a level and nothing else.
fn single_level(meanings: &Vec<Meaning>) -> Option<u8> {
    match meanings.as_slice() {
        [Meaning::Level { line }] => Some(*line),
        _ => None,
    }
}

fn value(is_b: bool, source: &SourceColumns) -> Meaning {
    let sparse = source.sparse;
    match &source.kind {
        SourceKind::Counter { bits } => {
            let width = CounterWidth::new(*bits);
            // What does not fit 64 signed bits is left to the careful way.
            let clamp = |count: i128| i64::try_from(count).unwrap_or(i64::MAX);
            let (lowest, highest) = (clamp(width.lowest), clamp(width.highest));
            // The highest is above zero and the lowest below.
            let span = highest.abs_diff(lowest);
            Meaning::Counter(Counter { is_b, sparse, lowest, width: span, mask: width.mask })
        }
        SourceKind::Position { scale, .. } => {
            Meaning::Position { is_b, scale: Box::new(Scale::of_position(*scale)), sparse }
        }
    }
}
