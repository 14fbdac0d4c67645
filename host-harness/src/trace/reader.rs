//! The reader: batches of frames out of a stream of text.

use std::io::Read;
use std::path::Path;

use monitor_core::{Frame, Instant};

use super::error::{Problem, TraceError};
use super::fast::{FastClock, FastPath};
use super::header::{Columns, Delimiter, Fault, text};
use super::input::{Compression, Input};
use super::layout::Layout;
use super::lines::{Lines, MAX_LINE_BYTES, first_line};
use super::offered::Offered;
use super::packed::Batch;
use super::row::Rows;
use super::skipped::Skipped;

/// How many frames a batch has, but for the last one.
pub const BATCH_FRAMES: usize = 4096;

/// How a trace is to be read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Options {
    /// Leave out rows that are bad, and count them, instead of ending with an error. What is wrong with the
    /// file, its compression or its header stays an error.
    pub skip_bad: bool,
}

/// What is known of a trace; complete once [`Reader::next_batch`] has returned `Ok(false)`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Summary {
    /// Rows that became frames.
    pub frames: u64,
    /// Lines of all kinds, the header included.
    pub lines: u64,
    /// The first frame's instant.
    pub first: Option<Instant>,
    /// The last frame's instant.
    pub last: Option<Instant>,
    /// The time on the clock of the trace, in ns, that frames count from: add it to an instant to get the time
    /// that stands in the trace. Zero or less.
    pub origin_ns: i128,
    /// How the trace was compressed.
    pub compression: Compression,
    /// What separates its cells.
    pub delimiter: Delimiter,
}

/// Reads a trace from beginning to end.
pub struct Reader {
    lines: Lines,
    rows: Rows,
    fast: Option<FastPath>,
    options: Options,
    units_may_follow: bool,
    ended: bool,
    frames: u64,
    first: Option<Instant>,
    last: Option<Instant>,
    skipped: Skipped,
    offered: Vec<Offered>,
}

impl std::fmt::Debug for Reader {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Reader").field("summary", &self.summary()).finish_non_exhaustive()
    }
}

impl Reader {
    /// Opens a file, or standard input for `-`, and reads its header.
    ///
    /// # Errors
    /// A [`TraceError`] when the layout is impossible, the file cannot be read, or its header does not fit.
    pub fn open(path: &Path, layout: &Layout, options: Options) -> Result<Self, TraceError> {
        Self::new(Input::open(path)?, layout, options)
    }

    /// As [`open`](Self::open) of a file; `seen` is shown all its bytes, as they are stored, while they are read.
    pub(crate) fn open_seen(
        path: &Path,
        layout: &Layout,
        options: Options,
        seen: impl FnMut(&[u8]) + Send + 'static,
    ) -> Result<Self, TraceError> {
        Self::new(Input::open_seen(path, seen)?, layout, options)
    }

    /// Reads the header from any stream; `name` stands for it in messages.
    ///
    /// # Errors
    /// A [`TraceError`] when the layout is impossible, the stream cannot be read, or its header does not fit.
    pub fn from_read(
        name: &str,
        stream: impl Read + Send + 'static,
        layout: &Layout,
        options: Options,
    ) -> Result<Self, TraceError> {
        Self::new(Input::from_read(name, stream)?, layout, options)
    }

    fn new(input: Input, layout: &Layout, options: Options) -> Result<Self, TraceError> {
        let mut lines = Lines::new(input);
        layout.check().map_err(|error| lines.error_of_file(error.into()))?;
        let columns = loop {
            if !lines.refill()? {
                return Err(lines.error_of_file(Problem::Empty));
            }
            let (line, taken) = first_line(lines.pending());
            if !is_no_row(line, None) {
                let found = check_length(line).and_then(|()| Columns::find(text(line)?, layout));
                let found = found.map_err(|fault| at_line(&lines, fault))?;
                lines.consume(taken, 1);
                break found;
            }
            check_length(line).map_err(|fault| at_line(&lines, fault))?;
            lines.consume(taken, 1);
        };
        Ok(Self {
            // The quick way knows nothing of analogue values.
            fast: if layout.analogues.is_empty() { FastPath::new(layout, &columns) } else { None },
            rows: Rows::new(layout, columns),
            lines,
            options,
            units_may_follow: true,
            ended: false,
            frames: 0,
            first: None,
            last: None,
            skipped: Skipped::default(),
            offered: Vec::new(),
        })
    }

    /// Replaces the content of `batch` by the next frames: [`BATCH_FRAMES`] of them, fewer at the end.
    /// False, and an empty batch, when there are no more.
    ///
    /// # Errors
    /// A [`TraceError`] at the first row that is bad, unless such rows are left out, and when the stream ends
    /// badly or has no row at all. The batch then holds the good frames before that place; afterwards the
    /// reader is at its end.
    pub fn next_batch(&mut self, batch: &mut Vec<Frame>) -> Result<bool, TraceError> {
        self.next(batch)
    }

    /// As [`next_batch`](Self::next_batch).
    pub(super) fn next(&mut self, batch: &mut impl Batch) -> Result<bool, TraceError> {
        batch.clear();
        self.offered.clear();
        if self.ended {
            return Ok(false);
        }
        let outcome = self.fill(batch);
        self.frames += batch.len() as u64;
        if let Some((first, last)) = batch.ends() {
            self.first = self.first.or(Some(first));
            self.last = Some(last);
        }
        self.ended = outcome.is_err() || batch.len() < BATCH_FRAMES;
        outcome?;
        if self.frames == 0 {
            return Err(self.lines.error_of_file(Problem::NoRows { skipped: self.skipped.total() }));
        }
        Ok(batch.len() > 0)
    }

    /// What is known so far.
    #[must_use]
    pub fn summary(&self) -> Summary {
        Summary {
            frames: self.frames,
            lines: self.lines.line() - 1,
            first: self.first,
            last: self.last,
            origin_ns: self.rows.clock.map_or(0, |clock| clock.origin),
            compression: self.lines.compression(),
            delimiter: self.rows.columns.delimiter,
        }
    }

    /// The readings of analogue values that come with the last batch, in order of its frames.
    #[must_use]
    pub fn offered(&self) -> &[Offered] {
        &self.offered
    }

    /// The same, which then are gone from here.
    pub(super) fn take_offered(&mut self) -> Vec<Offered> {
        std::mem::take(&mut self.offered)
    }

    /// The rows left out so far.
    #[must_use]
    pub const fn skipped(&self) -> &Skipped {
        &self.skipped
    }

    /// Leaves every row to the careful way.
    #[cfg(test)]
    pub(super) fn be_careful(&mut self) {
        self.fast = None;
    }

    fn fill(&mut self, batch: &mut impl Batch) -> Result<(), TraceError> {
        while batch.len() < BATCH_FRAMES && self.lines.refill()? {
            self.take_ordinary_rows(batch);
            if batch.len() < BATCH_FRAMES && !self.lines.pending().is_empty() {
                self.take_line(batch)?;
            }
        }
        Ok(())
    }

    /// Takes rows as long as the quick way manages.
    fn take_ordinary_rows(&mut self, batch: &mut impl Batch) {
        let (Some(fast), Some(clock)) = (&mut self.fast, &mut self.rows.clock) else { return };
        let Some(mut quick) = FastClock::new(clock) else { return };
        let mut rest = self.lines.pending();
        let (all, before) = (rest.len(), batch.len());
        while batch.len() < BATCH_FRAMES
            && let Some(behind) = fast.row(rest, self.rows.mark, &mut quick, batch)
        {
            rest = behind;
        }
        let taken = all - rest.len();
        clock.last = quick.last();
        self.lines.consume(taken, (batch.len() - before) as u64);
    }

    /// Takes one line with all care.
    fn take_line(&mut self, batch: &mut impl Batch) -> Result<(), TraceError> {
        let (line, taken) = first_line(self.lines.pending());
        check_length(line).map_err(|fault| at_line(&self.lines, fault))?;
        let no_row = is_no_row(line, Some(self.rows.columns.delimiter))
            || (std::mem::take(&mut self.units_may_follow)
                && self.rows.take_units(line).map_err(|fault| at_line(&self.lines, fault))?);
        let outcome =
            if no_row { Ok(None) } else { self.rows.parse(line, batch.len(), &mut self.offered).map(Some) };
        match outcome {
            Ok(Some(frame)) => batch.push(frame),
            Ok(None) => {}
            Err(fault) => {
                let reason = fault.problem.reason().filter(|_| self.options.skip_bad);
                let error = at_line(&self.lines, fault);
                let Some(reason) = reason else { return Err(error) };
                self.skipped.add(reason, error);
            }
        }
        self.lines.consume(taken, 1);
        Ok(())
    }
}

pub(super) fn at_line(lines: &Lines, fault: Fault) -> TraceError {
    lines.error(fault.byte, *fault.problem)
}

/// Comments and empty lines. Tabs are as good as nothing unless they separate cells.
pub(super) fn is_no_row(line: &[u8], delimiter: Option<Delimiter>) -> bool {
    let tab_is_blank = delimiter != Some(Delimiter::Tab);
    line.starts_with(b"#") || line.iter().all(|&byte| byte == b' ' || (byte == b'\t' && tab_is_blank))
}

pub(super) fn check_length(line: &[u8]) -> Result<(), Fault> {
    if line.len() > MAX_LINE_BYTES {
        return Err(Fault::of_line(Problem::LineTooLong(MAX_LINE_BYTES)));
    }
    Ok(())
}
