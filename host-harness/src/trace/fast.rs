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
}

/// One cell (or several, of levels), or one more meaning of the cell before.
#[derive(Debug)]
struct Step {
    meaning: Meaning,
    /// The byte that ends the cell.
    end: u8,
    /// Whether this is the same cell as in the step before.
    again: bool,
    /// What the number looked like in the row before.
    shape: Option<Shape>,
}

#[derive(Debug)]
enum Meaning {
    Nothing,
    Time,
    Counter { channel: usize, lowest: i64, highest: i64, mask: u64, sparse: bool },
    Position { channel: usize, scale: Box<Scale>, sparse: bool },
    Capture { channel: usize, scale: Box<Scale> },
    Valid { channel: usize },
    Level { line: u8 },
    Levels(LevelRun),
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

/// What the cells of one source say.
#[derive(Clone, Copy)]
struct Seen {
    value: Option<u64>,
    capture: Option<i64>,
    valid: bool,
}

/// [`Clock`] with all times within [`FAR`].
#[derive(Clone, Copy, Debug)]
pub(super) struct FastClock {
    origin: i64,
    last: i64,
}

/// Times and latencies up to here, some 73 years, can be added and subtracted three at a time within 64 bits.
const FAR: i64 = 1 << 61;

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

    #[inline]
    fn instant(self, time: i64) -> Option<Instant> {
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
        for (channel, (source, indexes)) in sources.into_iter().zip(&columns.sources).enumerate() {
            by_column[indexes.value].push(value(channel, source));
            if let (Some(capture), Some(index)) = (&source.capture, indexes.capture) {
                let scale = Box::new(Scale::of_time(capture.unit));
                by_column[index].push(Meaning::Capture { channel, scale });
            }
            if let Some(index) = indexes.valid {
                by_column[index].push(Meaning::Valid { channel });
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
                steps.push(Step { meaning, end, again: number > 0, shape: None });
            }
        }
        let latency = |source: &SourceColumns| near(i128::from(source.latency.as_nanos()));
        Some(Self {
            steps,
            delimiter,
            time: Scale::of_time(layout.time.unit),
            latency: [latency(&layout.a)?, latency(&layout.b)?],
            has_capture: sources.map(|source| source.capture.is_some()),
        })
    }

    /// Reads the row at the front of `block`, which ends in a line feed. The frame and the rest of the block,
    /// with the clock put forward; or `None` and nothing changed.
    #[inline]
    pub(super) fn row<'a>(
        &mut self,
        block: &'a [u8],
        mark: Option<Mark>,
        clock: &mut FastClock,
    ) -> Option<(Frame, &'a [u8])> {
        // While the mark is not known, a number with one is left to the careful way: a digit is never found
        // where a mark is looked for.
        let mark = mark.map_or(b'0', Mark::byte);
        if *block.first()? == b'#' {
            return None;
        }
        let mut now = 0;
        let mut levels = 0;
        let mut seen = [Seen { value: None, capture: None, valid: true }; 2];
        let mut begin = block;
        let mut rest = block;
        for step in &mut self.steps {
            if step.again {
                rest = begin;
            }
            begin = rest;
            let end = step.end;
            match &step.meaning {
                Meaning::Time => now = number(&mut rest, &mut step.shape, mark, end)?.times(&self.time)?,
                &Meaning::Counter { channel, lowest, highest, mask, sparse } => {
                    if sparse && is_end(*rest.first()?, end) {
                        rest = end_of_cell(rest, end)?;
                        continue;
                    }
                    let number = number(&mut rest, &mut step.shape, mark, end)?;
                    let magnitude = i64::try_from(number.whole()?).ok()?;
                    let count = if number.negative { -magnitude } else { magnitude };
                    if count < lowest || count > highest {
                        return None;
                    }
                    seen[channel].value = Some(count.cast_unsigned() & mask);
                }
                Meaning::Position { channel, scale, sparse } => {
                    if *sparse && is_end(*rest.first()?, end) {
                        rest = end_of_cell(rest, end)?;
                        continue;
                    }
                    let ulps = number(&mut rest, &mut step.shape, mark, end)?.times(scale)?;
                    seen[*channel].value = Some(ulps.cast_unsigned());
                }
                Meaning::Capture { channel, scale } => {
                    if is_end(*rest.first()?, end) {
                        rest = end_of_cell(rest, end)?;
                        continue;
                    }
                    let time = number(&mut rest, &mut step.shape, mark, end)?.times(scale)?;
                    seen[*channel].capture = Some(time);
                }
                Meaning::Nothing => rest = end_of_cell(pass_over(rest, self.delimiter)?, end)?,
                Meaning::Valid { channel } => {
                    let (bit, after) = bit(rest)?;
                    seen[*channel].valid = bit == 1;
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
        let frame = Frame {
            now: clock.instant(now)?,
            a: self.reading(0, seen[0], now, *clock)?,
            b: self.reading(1, seen[1], now, *clock)?,
            levels: Levels::from_bits(levels),
        };
        clock.last = now;
        Some((frame, rest))
    }

    /// The reading of a source; the outer `None` gives up.
    #[inline]
    fn reading(&self, channel: usize, seen: Seen, now: i64, clock: FastClock) -> Option<Option<Reading>> {
        let sample = match (seen.valid, seen.value) {
            (false, _) => Sample::Invalid,
            (true, Some(value)) => Sample::Count(value),
            (true, None) => return Some(None),
        };
        let at = match seen.capture {
            Some(capture) if (-FAR..=FAR).contains(&capture) => capture,
            Some(_) => return None,
            None if self.has_capture[channel] && seen.valid => return None,
            None => now,
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

fn value(channel: usize, source: &SourceColumns) -> Meaning {
    let sparse = source.sparse;
    match &source.kind {
        SourceKind::Counter { bits } => {
            let width = CounterWidth::new(*bits);
            // What does not fit 64 signed bits is left to the careful way.
            let clamp = |count: i128| i64::try_from(count).unwrap_or(i64::MAX);
            Meaning::Counter {
                channel,
                lowest: clamp(width.lowest),
                highest: clamp(width.highest),
                mask: width.mask,
                sparse,
            }
        }
        SourceKind::Position { scale, .. } => {
            Meaning::Position { channel, scale: Box::new(Scale::of_position(*scale)), sparse }
        }
    }
}
