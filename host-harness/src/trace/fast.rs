//! The quick way through a row of ordinary cells.
//!
//! One pass over the bytes, digits summed up on the way. It takes plain decimal numbers of up to 19 digits
//! and levels written `0` or `1`; at anything else, and at anything wrong, it gives up on the row without
//! a word, and the careful way of [`super::row`] decides. It never accepts what that would refuse, and never
//! reads another value: a property test holds the two side by side.

use monitor_core::{Frame, Instant, Levels, Reading, Sample};

use super::cell::Mark;
use super::header::Columns;
use super::layout::{Layout, SourceColumns, SourceKind};
use super::lines::MAX_LINE_BYTES;
use super::row::{Clock, CounterWidth};
use super::scale::{FAST_PLACES, Scale};

/// The recipe for one layout under one header.
#[derive(Debug)]
pub(super) struct FastPath {
    steps: Vec<Step>,
    delimiter: u8,
    time: Scale,
    latency: [i128; 2],
    has_capture: [bool; 2],
}

/// One cell, or one more meaning of the cell before.
#[derive(Debug)]
struct Step {
    meaning: Meaning,
    /// The byte that ends the cell.
    end: u8,
    /// Whether this is the same cell as in the step before.
    again: bool,
}

impl Step {
    /// Whether the cell ends at this byte; whether a line feed follows a carriage return is checked later.
    const fn ends_with(&self, byte: u8) -> bool {
        byte == self.end || (byte == b'\r' && self.end == b'\n')
    }
}

#[derive(Debug)]
enum Meaning {
    Nothing,
    Time,
    Counter { channel: usize, lowest: i64, highest: i64, mask: u64, sparse: bool },
    Position { channel: usize, scale: Box<Scale>, sparse: bool },
    Capture { channel: usize, scale: Box<Scale> },
    Valid { channel: usize },
    Level { bit: u32 },
}

/// What the cells of one source say.
#[derive(Clone, Copy)]
struct Seen {
    value: Option<u64>,
    capture: Option<i64>,
    valid: bool,
}

/// A number as its digits and where the decimal mark stands.
struct Digits {
    negative: bool,
    digits: u64,
    places: usize,
}

impl FastPath {
    pub(super) fn new(layout: &Layout, columns: &Columns) -> Self {
        let delimiter = columns.delimiter.byte();
        let mut by_column: Vec<Vec<Meaning>> = (0..columns.count).map(|_| Vec::new()).collect();
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
            by_column[index].push(Meaning::Level { bit: 1 << level.line });
        }
        let last = columns.count - 1;
        let mut steps = Vec::new();
        for (index, mut meanings) in by_column.into_iter().enumerate() {
            if meanings.is_empty() {
                meanings.push(Meaning::Nothing);
            }
            let end = if index == last { b'\n' } else { delimiter };
            for (number, meaning) in meanings.into_iter().enumerate() {
                steps.push(Step { meaning, end, again: number > 0 });
            }
        }
        Self {
            steps,
            delimiter,
            time: Scale::of_time(layout.time.unit),
            latency: sources.map(|source| i128::from(source.latency.as_nanos())),
            has_capture: sources.map(|source| source.capture.is_some()),
        }
    }

    /// Reads the row at the front of `block`, which ends in a line feed. The frame and how many bytes it took,
    /// with the clock put forward; or `None` and nothing changed.
    #[inline]
    pub(super) fn row(&self, block: &[u8], mark: Option<Mark>, clock: &mut Clock) -> Option<(Frame, usize)> {
        // No text holds a NUL: while the mark is not known, every mark is left to the careful way.
        let mark = mark.map_or(0, Mark::byte);
        if *block.first()? == b'#' {
            return None;
        }
        let mut now = 0;
        let mut levels = 0;
        let mut seen = [Seen { value: None, capture: None, valid: true }; 2];
        let mut begin = 0;
        let mut at = 0;
        for step in &self.steps {
            if step.again {
                at = begin;
            }
            begin = at;
            match &step.meaning {
                Meaning::Nothing => self.pass_over(block, &mut at)?,
                Meaning::Time => {
                    let number = digits(block, &mut at, mark)?;
                    now = self.time.apply_small(number.negative, number.digits, number.places)?;
                }
                &Meaning::Counter { channel, lowest, highest, mask, sparse } => {
                    if !(sparse && step.ends_with(*block.get(at)?)) {
                        let number = digits(block, &mut at, mark)?;
                        if number.places > 0 {
                            return None;
                        }
                        let magnitude = i64::try_from(number.digits).ok()?;
                        let count = if number.negative { -magnitude } else { magnitude };
                        if count < lowest || count > highest {
                            return None;
                        }
                        seen[channel].value = Some(count.cast_unsigned() & mask);
                    }
                }
                Meaning::Position { channel, scale, sparse } => {
                    if !(*sparse && step.ends_with(*block.get(at)?)) {
                        let number = digits(block, &mut at, mark)?;
                        let ulps = scale.apply_small(number.negative, number.digits, number.places)?;
                        seen[*channel].value = Some(ulps.cast_unsigned());
                    }
                }
                Meaning::Capture { channel, scale } => {
                    if !step.ends_with(*block.get(at)?) {
                        let number = digits(block, &mut at, mark)?;
                        let time = scale.apply_small(number.negative, number.digits, number.places)?;
                        seen[*channel].capture = Some(time);
                    }
                }
                Meaning::Valid { channel } => seen[*channel].valid = bit(block, &mut at)?,
                Meaning::Level { bit: line } => {
                    if bit(block, &mut at)? {
                        levels |= line;
                    }
                }
            }
            let end = *block.get(at)?;
            if end == step.end {
                at += 1;
            } else if step.end == b'\n' && end == b'\r' && *block.get(at + 1)? == b'\n' {
                at += 2;
            } else {
                return None;
            }
        }
        let now = i128::from(now);
        // A line of the greatest length has one or two bytes more with its end; the careful way counts.
        if now <= clock.last || at > MAX_LINE_BYTES {
            return None;
        }
        let frame = Frame {
            now: clock.instant(now)?,
            a: self.reading(0, seen[0], now, clock)?,
            b: self.reading(1, seen[1], now, clock)?,
            levels: Levels::from_bits(levels),
        };
        clock.last = now;
        Some((frame, at))
    }

    /// The reading of a source; the outer `None` gives up.
    #[inline]
    fn reading(&self, channel: usize, seen: Seen, now: i128, clock: &Clock) -> Option<Option<Reading>> {
        let sample = match (seen.valid, seen.value) {
            (false, _) => Sample::Invalid,
            (true, Some(value)) => Sample::Count(value),
            (true, None) => return Some(None),
        };
        let at = match seen.capture {
            Some(capture) => i128::from(capture),
            None if self.has_capture[channel] && seen.valid => return None,
            None => now,
        };
        let captured_at: Instant = clock.instant(at - self.latency[channel])?;
        Some(Some(Reading { captured_at, sample }))
    }

    /// Passes over a cell that nobody needs.
    #[inline]
    fn pass_over(&self, block: &[u8], at: &mut usize) -> Option<()> {
        loop {
            let byte = *block.get(*at)?;
            if byte == self.delimiter || byte == b'\n' || byte == b'\r' {
                return Some(());
            }
            if byte == b'"' || byte == 0 || !byte.is_ascii() {
                return None;
            }
            *at += 1;
        }
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

/// Reads a number up to the first byte that does not belong to it.
#[inline]
fn digits(block: &[u8], at: &mut usize, mark: u8) -> Option<Digits> {
    let mut place = *at;
    let mut byte = *block.get(place)?;
    while byte == b' ' {
        place += 1;
        byte = *block.get(place)?;
    }
    let negative = byte == b'-';
    if negative {
        place += 1;
        byte = *block.get(place)?;
    }
    let first = place;
    let mut digits = 0_u64;
    // Up to 19 digits cannot overflow; more are counted and left to the careful way.
    while byte.is_ascii_digit() {
        digits = digits.wrapping_mul(10).wrapping_add(u64::from(byte - b'0'));
        place += 1;
        byte = *block.get(place)?;
    }
    let mut count = place - first;
    let mut places = 0;
    if byte == mark {
        place += 1;
        byte = *block.get(place)?;
        let first = place;
        while byte.is_ascii_digit() {
            digits = digits.wrapping_mul(10).wrapping_add(u64::from(byte - b'0'));
            place += 1;
            byte = *block.get(place)?;
        }
        places = place - first;
        count += places;
    }
    if count == 0 || count > FAST_PLACES {
        return None;
    }
    *at = place;
    Some(Digits { negative, digits, places })
}

/// Reads a single 0 or 1.
#[inline]
fn bit(block: &[u8], at: &mut usize) -> Option<bool> {
    while *block.get(*at)? == b' ' {
        *at += 1;
    }
    let bit = match *block.get(*at)? {
        b'0' => false,
        b'1' => true,
        _ => return None,
    };
    *at += 1;
    Some(bit)
}
