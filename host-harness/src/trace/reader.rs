//! The reader: batches of frames out of a text or a file of typed columns.

use std::io::Read;
use std::path::Path;

use monitor_core::{Frame, Instant};

use super::error::{Problem, TraceError};
use super::header::Delimiter;
use super::input::{Compression, Opened};
use super::layout::Layout;
use super::offered::Offered;
use super::packed::Batch;
use super::skipped::Skipped;
use super::table::{TableError, TableRows};
use super::text::TextRows;

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
    /// Lines of all kinds, the header included; of a file of typed columns, rows.
    pub lines: u64,
    /// The first frame's instant.
    pub first: Option<Instant>,
    /// The last frame's instant.
    pub last: Option<Instant>,
    /// The time on the clock of the trace, in ns, that frames count from: add it to an instant to get the time
    /// that stands in the trace. Zero or less.
    pub origin_ns: i128,
    /// How the text was compressed.
    pub compression: Compression,
    /// What separates the cells of a text; `None`: it is a file of typed columns.
    pub delimiter: Option<Delimiter>,
}

/// Where frames come from. It is asked once for a batch.
enum Source {
    Text(Box<TextRows>),
    Table(Box<TableRows>),
}

/// Reads a trace from beginning to end.
pub struct Reader {
    source: Source,
    options: Options,
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
        Self::new(Opened::open(path)?, layout, options)
    }

    /// As [`open`](Self::open); `seen` is shown all its bytes, as they are stored: of a text while they are read, of a file of
    /// typed columns before.
    pub(crate) fn open_seen(
        path: &Path,
        layout: &Layout,
        options: Options,
        seen: impl FnMut(&[u8]) + Send + 'static,
    ) -> Result<Self, TraceError> {
        Self::new(Opened::open_seen(path, seen)?, layout, options)
    }

    /// Reads the header from any stream; `name` stands for it in messages. A file of typed columns that comes so is kept in memory, and
    /// refused when it is longer than 256 MiB.
    ///
    /// # Errors
    /// A [`TraceError`] when the layout is impossible, the stream cannot be read, or its header does not fit.
    pub fn from_read(
        name: &str,
        stream: impl Read + Send + 'static,
        layout: &Layout,
        options: Options,
    ) -> Result<Self, TraceError> {
        Self::new(Opened::from_read(name, stream)?, layout, options)
    }

    fn new(opened: Opened, layout: &Layout, options: Options) -> Result<Self, TraceError> {
        let source = match opened {
            Opened::Text(input) => Source::Text(Box::new(TextRows::open(input, layout)?)),
            Opened::Table { path, table } => Source::Table(Box::new(TableRows::open(path, table, layout)?)),
        };
        Ok(Self {
            source,
            options,
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
        let skipped = self.options.skip_bad.then_some(&mut self.skipped);
        let outcome = match &mut self.source {
            Source::Text(text) => text.fill(batch, &mut self.offered, skipped),
            Source::Table(table) => table.fill(batch, &mut self.offered, skipped),
        };
        self.frames += batch.len() as u64;
        if let Some((first, last)) = batch.ends() {
            self.first = self.first.or(Some(first));
            self.last = Some(last);
        }
        self.ended = outcome.is_err() || batch.len() < BATCH_FRAMES;
        outcome?;
        if self.frames == 0 {
            let skipped = self.skipped.total();
            return Err(match &self.source {
                Source::Text(text) => text.lines.error_of_file(Problem::NoRows { skipped }),
                Source::Table(table) => table.error_of_file(TableError::NoRows { skipped }.into()),
            });
        }
        Ok(batch.len() > 0)
    }

    /// What is known so far.
    #[must_use]
    pub fn summary(&self) -> Summary {
        let (lines, origin_ns, compression, delimiter) = match &self.source {
            Source::Text(text) => (
                text.lines.line() - 1,
                text.rows.clock.map_or(0, |clock| clock.origin),
                text.lines.compression(),
                Some(text.rows.columns.delimiter),
            ),
            Source::Table(table) => (table.rows_read(), table.origin(), Compression::Plain, None),
        };
        Summary {
            frames: self.frames,
            lines,
            first: self.first,
            last: self.last,
            origin_ns,
            compression,
            delimiter,
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
        match &mut self.source {
            Source::Text(text) => text.be_careful(),
            Source::Table(table) => table.be_careful(),
        }
    }
}
