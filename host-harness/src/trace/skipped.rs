//! What was left out.

use std::collections::BTreeMap;

use super::error::{Reason, TraceError};

/// How many rows of one reason are kept with their place.
const KEPT_OF_A_REASON: u64 = 5;

/// The rows left out as bad: all counted, the first few of each reason kept with their place.
#[derive(Debug, Default)]
pub struct Skipped {
    by_reason: BTreeMap<Reason, u64>,
    first: Vec<SkippedRow>,
}

/// One row that was left out.
#[derive(Debug)]
pub struct SkippedRow {
    /// The heading it is counted under.
    pub reason: Reason,
    /// Its place and what is wrong with it.
    pub error: TraceError,
}

impl Skipped {
    /// How many rows were left out.
    #[must_use]
    pub fn total(&self) -> u64 {
        self.by_reason.values().sum()
    }

    /// How many rows were left out for each reason; reasons that did not occur are not there.
    #[must_use]
    pub const fn by_reason(&self) -> &BTreeMap<Reason, u64> {
        &self.by_reason
    }

    /// The first five rows of each reason, in the order of the trace.
    #[must_use]
    pub fn first(&self) -> &[SkippedRow] {
        &self.first
    }

    pub(super) fn add(&mut self, reason: Reason, error: TraceError) {
        let count = self.by_reason.entry(reason).or_insert(0);
        if *count < KEPT_OF_A_REASON {
            self.first.push(SkippedRow { reason, error });
        }
        *count += 1;
    }
}
