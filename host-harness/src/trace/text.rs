//! Rows of delimited text as frames.

use super::error::{Problem, TraceError};
use super::fast::{FastClock, FastPath};
use super::header::{Columns, Delimiter, Fault, text};
use super::input::Input;
use super::layout::Layout;
use super::lines::{Lines, MAX_LINE_BYTES, first_line};
use super::offered::Offered;
use super::packed::Batch;
use super::reader::BATCH_FRAMES;
use super::row::Rows;
use super::skipped::Skipped;

/// Turns the lines of a text into frames.
pub(super) struct TextRows {
    pub(super) lines: Lines,
    pub(super) rows: Rows,
    fast: Option<FastPath>,
    units_may_follow: bool,
}

impl TextRows {
    /// Reads the header.
    pub(super) fn open(input: Input, layout: &Layout) -> Result<Self, TraceError> {
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
            units_may_follow: true,
        })
    }

    /// Leaves every row to the careful way.
    #[cfg(test)]
    pub(super) fn be_careful(&mut self) {
        self.fast = None;
    }

    /// Fills a batch up; less at the end. Rows that are bad are left out where there is somewhere to count them.
    pub(super) fn fill(
        &mut self,
        batch: &mut impl Batch,
        offered: &mut Vec<Offered>,
        mut skipped: Option<&mut Skipped>,
    ) -> Result<(), TraceError> {
        while batch.len() < BATCH_FRAMES && self.lines.refill()? {
            self.take_ordinary_rows(batch);
            if batch.len() < BATCH_FRAMES && !self.lines.pending().is_empty() {
                self.take_line(batch, offered, skipped.as_deref_mut())?;
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
    fn take_line(
        &mut self,
        batch: &mut impl Batch,
        offered: &mut Vec<Offered>,
        skipped: Option<&mut Skipped>,
    ) -> Result<(), TraceError> {
        let (line, taken) = first_line(self.lines.pending());
        check_length(line).map_err(|fault| at_line(&self.lines, fault))?;
        let no_row = is_no_row(line, Some(self.rows.columns.delimiter))
            || (std::mem::take(&mut self.units_may_follow)
                && self.rows.take_units(line).map_err(|fault| at_line(&self.lines, fault))?);
        let outcome = if no_row { Ok(None) } else { self.rows.parse(line, batch.len(), offered).map(Some) };
        match outcome {
            Ok(Some(frame)) => batch.push(frame),
            Ok(None) => {}
            Err(fault) => {
                let reason = fault.problem.reason();
                let error = at_line(&self.lines, fault);
                match (reason, skipped) {
                    (Some(reason), Some(skipped)) => skipped.add(reason, error),
                    _ => return Err(error),
                }
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
