//! The log of somebody's own implementation against the vectors: where it first differs, and why the reference says otherwise.
//!
//! The log is delimited text in UTF-8 with the columns `case`, `frame`, `permit` and any others of an outcome
//! ([`crate::vectors::columns`]), in any order. It is separated by comma, semicolon or tab, by the one under which the header line
//! names most columns. Columns that mean nothing here are told and passed over, but not one whose name is nearly that of a column that
//! the log does not have. The order of the rows does not matter, for each names its frame; rows that stand after one of a later frame
//! are counted and told, and are no difference. Frames that are missing, doubled or not in the vectors are counted, and the comparison
//! goes on.
//!
//! # The kind of mistake
//!
//! A known kind of mistake is named only where the log shows it at every frame at which it would show. (For one that says what whole
//! rows hold, nine in ten of those are enough.) It is called the explanation when it accounts for every differing frame: when the row is
//! what the mistake makes of it, or the mistake shows at that frame, or it showed before in the same case, which was as expected up to
//! there; for what follows a trip that should not be may be anything. Where none accounts for all, those are named that do so together,
//! or that account for at least half by themselves, with how many differing frames each explains and that it does not explain the others.

mod evidence;
mod explain;
mod file;
mod log;
mod mistake;
mod numbering;
mod text;

use std::collections::{BTreeMap, HashMap};

use crate::replay::Refused;
use crate::vectors::Recorded;
use crate::vectors::columns::{COLUMNS, OUTCOMES};
use evidence::Evidence;
pub use file::decode;
use log::{Log, LogRow};
pub use mistake::Cause;

/// A log that cannot be used. Its text says where, what, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct BadLog(String);

/// Why there is no comparison.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unusable {
    /// The log is bad.
    #[error(transparent)]
    Log(#[from] BadLog),
    /// The core does not accept the setup.
    #[error(transparent)]
    Refused(#[from] Refused),
}

/// Frames of a kind: how many, and the first.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Frames {
    /// How many.
    pub count: u64,
    /// Case, frame, and what to say of it.
    pub first: Option<(u64, u64, String)>,
}

impl Frames {
    fn add(&mut self, case: u64, frame: u64, note: impl FnOnce() -> String) {
        self.count += 1;
        self.first.get_or_insert_with(|| (case, frame, note()));
    }
}

/// What came of a comparison.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// Frames that were compared.
    pub compared: u64,
    /// Frames of the vectors.
    pub expected: u64,
    /// Frames that the log lacks.
    pub missing: Frames,
    /// Frames that the log has again; the first row counts.
    pub doubled: Frames,
    /// Rows of the log that no frame of the vectors belongs to.
    pub extra: Frames,
    /// Rows that stand after one of a later frame. Their order does not matter.
    pub unordered: Frames,
    /// Outcome columns that the log does not have, so that they were not compared.
    pub not_compared: Vec<&'static str>,
    /// Columns of the log that mean nothing here.
    pub ignored: Vec<String>,
    /// How many frames differ.
    pub different: u64,
    /// In each of [`COLUMNS`].
    pub by_column: [u64; OUTCOMES],
    /// In each case that has any: its number, what it is about, and how many frames differ.
    pub by_case: BTreeMap<u64, (String, u64)>,
    /// The first difference, explained.
    pub first: Option<String>,
    /// Mistakes that would do this, as far as the whole log shows it.
    pub causes: Vec<Cause>,
    /// What to write into the log so that one of another setup is refused; `None` when it is there.
    pub unnamed_setup: Option<String>,
}

impl Comparison {
    /// Whether the log has every frame once, nothing else, and says what the reference says.
    #[must_use]
    pub fn is_same(&self) -> bool {
        self.different == 0 && self.missing.count == 0 && self.doubled.count == 0 && self.extra.count == 0
    }
}

/// Compares the text of a log with vectors; `path` is what messages call the log.
///
/// # Errors
///
/// [`Unusable`] when the log is bad, or says that it belongs to another setup.
pub fn compare(vectors: &Recorded, log: &str, path: &str) -> Result<Comparison, Unusable> {
    let log = Log::parse(log, path)?;
    let ours = format!("{:08x}", vectors.setup.checksum());
    if let Some((named, line)) = log.setup.as_ref().filter(|(named, _)| !named.eq_ignore_ascii_case(&ours)) {
        return Err(BadLog(format!(
            "{path}:{line}: belongs to the setup with checksum {named}, the vectors to {ours}; use the vectors of that setup"
        ))
        .into());
    }
    let mut result = Comparison {
        compared: 0,
        expected: vectors.cases.iter().map(|case| case.rows.len() as u64).sum(),
        missing: Frames::default(),
        doubled: Frames::default(),
        extra: Frames::default(),
        unordered: Frames::default(),
        not_compared: COLUMNS
            .iter()
            .zip(log.has)
            .filter(|(_, has)| !has)
            .map(|(column, _)| column.name)
            .collect(),
        ignored: log.ignored.clone(),
        different: 0,
        by_column: [0; OUTCOMES],
        by_case: BTreeMap::new(),
        first: None,
        causes: Vec::new(),
        unnamed_setup: log.setup.is_none().then(|| format!("{}{ours}", log::SETUP_LINE)),
    };
    let rows = result.sort(vectors, &log);
    result.run(vectors, &log, &rows)?;
    Ok(result)
}

impl Comparison {
    /// The rows of the log by their case and frame.
    fn sort<'a>(&mut self, vectors: &Recorded, log: &'a Log) -> HashMap<(u64, u64), &'a LogRow> {
        let mut rows = HashMap::new();
        let mut latest = (0, 0);
        for row in &log.rows {
            let place = (row.case, row.frame);
            let case = usize::try_from(row.case).ok().and_then(|case| vectors.cases.get(case));
            if case.is_none_or(|case| row.frame >= case.rows.len() as u64) {
                self.extra.add(row.case, row.frame, || format!("line {}", row.line));
            } else if let Some(first) = rows.get(&place).map(|first: &&LogRow| first.line) {
                self.doubled.add(row.case, row.frame, || format!("lines {first} and {}", row.line));
            } else {
                rows.insert(place, row);
                if place < latest {
                    self.unordered.add(row.case, row.frame, || format!("line {}", row.line));
                }
                latest = latest.max(place);
            }
        }
        rows
    }

    fn run(
        &mut self,
        vectors: &Recorded,
        log: &Log,
        rows: &HashMap<(u64, u64), &LogRow>,
    ) -> Result<(), Refused> {
        let fresh = vectors.axis()?;
        let mut evidence = Evidence::new(&vectors.setup, log.has);
        for (number, case) in (0..).zip(&vectors.cases) {
            evidence.begin(&fresh);
            for (frame, (shown, expected)) in (0..).zip(&case.rows) {
                let row = rows.get(&(number, frame)).copied();
                evidence.frame(shown, expected, row.map(|row| &row.values));
                let Some(row) = row else {
                    self.missing.add(number, frame, || case.about.clone());
                    continue;
                };
                self.compared += 1;
                let differs: Vec<usize> = (0..OUTCOMES)
                    .filter(|&column| log.has[column] && row.values[column] != expected[column])
                    .collect();
                if differs.is_empty() {
                    continue;
                }
                self.different += 1;
                differs.iter().for_each(|&column| self.by_column[column] += 1);
                self.by_case.entry(number).or_insert_with(|| (case.about.clone(), 0)).1 += 1;
                if self.first.is_none() {
                    let place = explain::Place { case: number, frame, line: row.line };
                    self.first = Some(explain::first(vectors, &fresh, &place, &row.values, &differs));
                }
            }
            evidence.end();
        }
        // With the numbers off by one, every row was held against another frame: there is nothing to be learnt from that.
        self.causes = match numbering::from_one(vectors, log, self.different) {
            Some(cause) => vec![cause],
            None if self.different > 0 => evidence.causes(),
            None => Vec::new(),
        };
        Ok(())
    }
}
