//! What must and must not happen in a trace, and whether it did.
//!
//! ```toml
//! verdict = "tripped"                    # optional: clear, tripped or fault
//! others  = "refused"                    # default: whatever no entry names is a miss; or "accepted"
//!
//! [[trip]]                               # must happen
//! monitor = "slow while the door is open"
//! channel = "a"                          # optional: a, b, or both for a discrepancy
//! from    = "3.1 s"                      # optional time window, ends included
//! to      = "3.3 s"
//!
//! [[no_trip]]                            # must not happen; without `monitor`: no trip at all
//! to = "3.1 s"
//!
//! [[fault]]                              # must happen
//! kind    = "stale"                      # optional: invalid, out-of-order, stale, implausible, range, input, clock, unreferenced
//! channel = "b"                          # optional: a channel of the motion
//! input   = "door"                       # optional
//! analogue = "torque"                    # optional: an analogue value, `channel` is then its line
//! monitor = "kiln mouth"                 # optional: the rule that is unreferenced
//!
//! [[stop]]                               # must happen: a stop is complete, or a torque-off is demanded
//! monitor = "emergency stop"
//! channel = "a"                          # optional: a or b; a torque-off has none
//!
//! [[output]]                             # must happen: an output becomes true or false
//! monitor = "kiln mouth"
//! on      = true                         # optional
//!
//! [[reset]]                              # must happen: a reset is released
//! accepted = false                       # optional
//! ```
//!
//! Every entry may have a time window. A file that says nothing about stops, outputs or resets takes them as they come: they happen
//! in good runs too. One that names a stop or an output has to name all that this monitor does, and one that names a reset every
//! reset; the rest is a miss, unless `others = "accepted"`.

mod check;
mod counts;
mod entries;
mod judged;

use std::fmt;
use std::path::Path;

use serde::Deserialize;
use toml::Spanned;

use crate::report::Report;
use crate::setup::{Place, Setup};
use check::Complaint;
pub use counts::Counts;
use entries::{FaultEntry, Others, OutputEntry, ResetEntry, StopEntry, TripEntry, Verdict};
pub use judged::Judged;

/// A file of expectations that cannot be used: path, line and column, what is wrong, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}: {message}", self.place())]
pub struct ExpectError {
    /// The file.
    pub path: String,
    /// Line and column, from 1; `None` when the file cannot be read at all.
    pub at: Option<(usize, usize)>,
    message: String,
}

impl ExpectError {
    fn place(&self) -> String {
        let path = &self.path;
        self.at.map_or_else(|| path.clone(), |(line, column)| format!("{path}:{line}:{column}"))
    }
}

/// A file of expectations.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Expectations {
    verdict: Option<Spanned<Verdict>>,
    others: Option<Spanned<Others>>,
    #[serde(default)]
    trip: Vec<Spanned<TripEntry>>,
    #[serde(default)]
    no_trip: Vec<Spanned<TripEntry>>,
    #[serde(default)]
    fault: Vec<Spanned<FaultEntry>>,
    #[serde(default)]
    stop: Vec<Spanned<StopEntry>>,
    #[serde(default)]
    output: Vec<Spanned<OutputEntry>>,
    #[serde(default)]
    reset: Vec<Spanned<ResetEntry>>,
    /// The bytes at which the lines of the file begin.
    #[serde(skip)]
    lines: Vec<usize>,
}

/// One expectation that was not met.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Miss(String);

impl fmt::Display for Miss {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl Expectations {
    /// Reads a file of expectations for traces of this setup.
    ///
    /// # Errors
    ///
    /// [`ExpectError`] when the file cannot be read, is not of this form, or asks for what cannot be with this setup (a
    /// monitor that it does not have, a discrepancy on one channel): a `no_trip` of that kind could never be missed.
    pub fn load(path: &Path, setup: &Setup) -> Result<Self, ExpectError> {
        let shown = path.display().to_string();
        let text = std::fs::read_to_string(path).map_err(|why| ExpectError {
            path: shown.clone(),
            at: None,
            message: format!("cannot be read: {why}; check the path given with --expect"),
        })?;
        Self::parse(&text, setup).map_err(|(span, message)| {
            let place = Place::new(&text, span);
            ExpectError { path: shown, at: Some((place.line, place.column)), message }
        })
    }

    fn parse(text: &str, setup: &Setup) -> Result<Self, Complaint> {
        let mut expectations: Self = toml::from_str(text).map_err(|why| {
            // A file that ends too early has its mistake at its end.
            let start = text.floor_char_boundary(why.span().map_or(0, |span| span.start));
            let message = why.message().lines().collect::<Vec<_>>().join(" ");
            (start..start, format!("{message}; correct it at this place"))
        })?;
        for entry in expectations.trip.iter().chain(&expectations.no_trip) {
            entry.get_ref().check(setup)?;
        }
        for entry in &expectations.fault {
            entry.get_ref().check(setup)?;
        }
        for entry in &expectations.stop {
            entry.get_ref().check(setup)?;
        }
        for entry in &expectations.output {
            entry.get_ref().check(setup)?;
        }
        for entry in &expectations.reset {
            entry.get_ref().check()?;
        }
        let after_breaks = text.match_indices('\n').map(|(at, _)| at + 1);
        expectations.lines = std::iter::once(0).chain(after_breaks).collect();
        Ok(expectations)
    }

    fn others(&self) -> Others {
        self.others.as_ref().map_or_else(Others::default, |others| *others.get_ref())
    }

    /// Everything in which a replay differs from the expectations.
    #[must_use]
    pub fn misses(&self, report: &Report) -> Vec<Miss> {
        self.judged(report).into_iter().flat_map(|judged| judged.misses).collect()
    }
}
