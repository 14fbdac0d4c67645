//! The comparison for people.

use std::fmt;

use super::{Cause, Comparison, Frames};
use crate::vectors::columns::COLUMNS;

/// How many cases are listed.
const LISTED: usize = 10;

/// A number of things in words.
fn counted(count: u64, one: &str, several: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { several })
}

impl fmt::Display for Comparison {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let verdict = if self.is_same() { "SAME" } else { "DIFFERENT" };
        let has = COLUMNS.len() - self.not_compared.len();
        writeln!(
            f,
            "{verdict}  {} of {} compared in {has} of {} columns, {} {}",
            self.compared,
            counted(self.expected, "frame", "frames"),
            COLUMNS.len(),
            self.different,
            if self.different == 1 { "differs" } else { "differ" }
        )?;
        let kinds =
            [("missing", &self.missing), ("doubled", &self.doubled), ("not in the vectors", &self.extra)];
        for (what, Frames { count, first }) in kinds {
            if let Some((case, frame, note)) = first {
                writeln!(
                    f,
                    "  {} {what}, the first: case {case}, frame {frame} ({note})",
                    counted(*count, "frame", "frames")
                )?;
            }
        }
        if let Frames { count, first: Some((case, frame, note)) } = &self.unordered {
            let rows = counted(*count, "row stands", "rows stand");
            writeln!(
                f,
                "  {rows} after a later frame, the first: case {case}, frame {frame} ({note}); their order does not matter"
            )?;
        }
        if !self.not_compared.is_empty() {
            writeln!(f, "  not in the log, so not compared: {}", self.not_compared.join(", "))?;
        }
        if !self.ignored.is_empty() {
            writeln!(f, "  columns of the log that mean nothing here: {}", self.ignored.join(", "))?;
        }
        if let Some(first) = &self.first {
            writeln!(f, "\n{first}")?;
        } else if !self.causes.is_empty() {
            writeln!(f)?;
        }
        self.write_causes(f)?;
        if self.different == 0 {
            return Ok(());
        }
        writeln!(f, "\nDifferences by column")?;
        for (column, count) in COLUMNS.iter().zip(self.by_column).filter(|(_, count)| *count > 0) {
            writeln!(f, "  {count:>8}  {}", column.name)?;
        }
        writeln!(f, "\nDifferences by case")?;
        for (case, (about, count)) in self.by_case.iter().take(LISTED) {
            writeln!(f, "  {count:>8}  case {case}: {about}")?;
        }
        if self.by_case.len() > LISTED {
            let more = self.by_case.len() - LISTED;
            writeln!(f, "  ... and {more} more {}", if more == 1 { "case" } else { "cases" })?;
        }
        Ok(())
    }
}

impl Comparison {
    fn write_causes(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.causes.is_empty() && self.different == 0 {
            return Ok(());
        }
        if self.causes.is_empty() {
            writeln!(f, "No single kind of mistake explains the whole log.")?;
        } else if self.causes.iter().all(Cause::is_whole) {
            writeln!(f, "What would do this")?;
        } else if let [_] = self.causes.as_slice() {
            writeln!(f, "No single kind of mistake explains the whole log. What would do part of it")?;
        } else {
            writeln!(f, "No single kind of mistake explains the whole log. What would do parts of it")?;
        }
        for cause in &self.causes {
            writeln!(f, "  {cause}")?;
        }
        if let Some(line) = self.unnamed_setup.as_ref().filter(|_| !self.causes.iter().any(Cause::is_whole)) {
            writeln!(
                f,
                "The log does not say which setup it is of; with the line `{line}` in it, one of another setup is refused."
            )?;
        }
        Ok(())
    }
}
