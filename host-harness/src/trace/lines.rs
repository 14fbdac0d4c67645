//! Blocks of whole lines out of a stream, in constant memory.

use super::error::{Place, Problem, TraceError};
use super::input::{Compression, Input};

/// The longest line that is taken, without its line end: 1 MiB.
pub const MAX_LINE_BYTES: usize = 1 << 20;

/// How much is read at a time: it stays in the cache of the core that reads it.
const READ_BYTES: usize = 1 << 17;
/// The beginning of a line that was cut by the end of a block, a block, and the line end that the last line
/// may lack.
const BUFFER_BYTES: usize = MAX_LINE_BYTES + READ_BYTES + 1;
const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

/// A window onto a stream that shows whole lines only.
pub(super) struct Lines {
    input: Input,
    buffer: Vec<u8>,
    /// `buffer[start..whole]` are whole lines, each with its line feed; `buffer[whole..filled]` is the
    /// beginning of one more.
    start: usize,
    whole: usize,
    filled: usize,
    /// Lines before `start`.
    lines_done: u64,
    at_start: bool,
    at_end: bool,
}

impl Lines {
    pub(super) fn new(input: Input) -> Self {
        Self {
            input,
            buffer: vec![0; BUFFER_BYTES],
            start: 0,
            whole: 0,
            filled: 0,
            lines_done: 0,
            at_start: true,
            at_end: false,
        }
    }

    /// The whole lines at hand, each ending in a line feed. Empty when [`Self::refill`] is due.
    pub(super) fn pending(&self) -> &[u8] {
        &self.buffer[self.start..self.whole]
    }

    /// Passes over the first `bytes` bytes of [`Self::pending`], which are `lines` whole lines.
    pub(super) const fn consume(&mut self, bytes: usize, lines: u64) {
        self.start += bytes;
        self.lines_done += lines;
    }

    /// The number of the first pending line, from 1.
    pub(super) const fn line(&self) -> u64 {
        self.lines_done + 1
    }

    pub(super) const fn compression(&self) -> Compression {
        self.input.compression
    }

    /// An error at byte `column` (from 0) of the first pending line.
    pub(super) fn error(&self, column: Option<usize>, problem: Problem) -> TraceError {
        self.error_at(Some(self.line()), column, problem)
    }

    /// An error of the trace as a whole.
    pub(super) fn error_of_file(&self, problem: Problem) -> TraceError {
        self.error_at(None, None, problem)
    }

    /// An error at byte `column` (from 0) of line `line` (from 1).
    pub(super) fn error_at(&self, line: Option<u64>, column: Option<usize>, problem: Problem) -> TraceError {
        let place =
            Place { path: self.input.path.clone(), line, column: column.map(|byte| byte + 1), row: None };
        TraceError { place, problem: Box::new(problem) }
    }

    /// Reads on when nothing is pending. False at the end of the stream.
    pub(super) fn refill(&mut self) -> Result<bool, TraceError> {
        while self.start == self.whole {
            if self.at_end {
                return Ok(false);
            }
            self.read_block().map_err(|problem| self.error(None, problem))?;
        }
        Ok(true)
    }

    fn read_block(&mut self) -> Result<(), Problem> {
        // Only the beginning of a line is left: it moves to the front.
        self.buffer.copy_within(self.start..self.filled, 0);
        self.filled -= self.start;
        self.start = 0;
        self.whole = 0;
        if self.filled > MAX_LINE_BYTES {
            return Err(Problem::LineTooLong(MAX_LINE_BYTES));
        }
        let free = self.filled..self.filled + READ_BYTES;
        let count = self.input.read(&mut self.buffer[free])?;
        let mut unsearched = self.filled;
        self.filled += count;
        if self.at_start {
            if self.filled < BYTE_ORDER_MARK.len() && count > 0 {
                return Ok(());
            }
            self.at_start = false;
            if self.buffer[..self.filled].starts_with(BYTE_ORDER_MARK) {
                self.start = BYTE_ORDER_MARK.len();
                self.whole = self.start;
            }
            unsearched = self.start;
        }
        if count == 0 {
            self.at_end = true;
            if self.filled > self.start {
                self.buffer[self.filled] = b'\n';
                self.filled += 1;
            }
            self.whole = self.filled;
        } else if let Some(last) =
            self.buffer[unsearched..self.filled].iter().rposition(|&byte| byte == b'\n')
        {
            self.whole = unsearched + last + 1;
        }
        Ok(())
    }
}

/// The first line of a block without its line end, and how many bytes it takes with it.
pub(super) fn first_line(block: &[u8]) -> (&[u8], usize) {
    let end = block.iter().position(|&byte| byte == b'\n').unwrap_or(block.len());
    let line = &block[..end];
    (line.strip_suffix(b"\r").unwrap_or(line), (end + 1).min(block.len()))
}
