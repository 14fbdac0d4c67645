//! Logs that number their cases or frames from 1.

use super::log::Log;
use super::mistake::Cause;
use crate::vectors::Recorded;
use crate::vectors::columns::OUTCOMES;

/// Whether frames, cases or both are numbered from 1, and how many of the `different` frames that explains.
///
/// The sign is in the numbers alone: some rows belong to no frame of the vectors, and with 1 taken off every row of the log has its
/// frame. What the rows hold then says how much of the differences it was.
pub(super) fn from_one(vectors: &Recorded, log: &Log, different: u64) -> Option<Cause> {
    let at = |case: u64, frame: u64| {
        let case = vectors.cases.get(usize::try_from(case).ok()?)?;
        case.rows.get(usize::try_from(frame).ok()?).map(|(_, expected)| expected)
    };
    let differs = |expected: &[u32; OUTCOMES], values: &[u32; OUTCOMES]| {
        (0..OUTCOMES).any(|i| log.has[i] && expected[i] != values[i])
    };
    let beyond = log.rows.iter().filter(|row| at(row.case, row.frame).is_none()).count();
    if beyond == 0 {
        return None;
    }
    let tried = [(0, 1, "frames"), (1, 0, "cases"), (1, 1, "cases and frames")];
    tried
        .into_iter()
        .filter_map(|(case, frame, what)| {
            let (mut wrong, mut explains) = (0, 0);
            for row in &log.rows {
                let meant = at(row.case.checked_sub(case)?, row.frame.checked_sub(frame)?)?;
                if differs(meant, &row.values) {
                    wrong += 1;
                } else if at(row.case, row.frame).is_some_and(|taken| differs(taken, &row.values)) {
                    explains += 1;
                }
            }
            let text = format!(
                "{what} are numbered from 1, those of the vectors from 0: the log has no {} 0, and {beyond} {} beyond the last; with 1 taken \
                 off, {wrong} of {} rows {}",
                what.trim_end_matches('s').replace("cases and", "case or"),
                if beyond == 1 { "frame" } else { "frames" },
                log.rows.len(),
                if wrong == 1 { "differs" } else { "differ" }
            );
            Some((wrong, Cause { text, explains, of: different }))
        })
        .min_by_key(|(wrong, _)| *wrong)
        // Where it explains next to nothing the numbers are that by chance, of a log of other vectors.
        .filter(|(_, cause)| cause.explains.saturating_mul(2) >= cause.of)
        .map(|(_, cause)| cause)
}
