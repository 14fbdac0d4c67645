//! Many settings over many traces: what trips that should not, what does not that should, and what a reaction costs.
//!
//! A [`Grid`] is a setup with one or two of its settings at several values; [`run`] replays every trace with each of its points and adds up
//! what came of it. Every number is that of a replay: the same code takes the same frames.
//!
//! - A trace is read and parsed once for all points that can be shown the same frames, and [`POINTS_A_PASS`] points at most: one batch of
//!   frames goes to all of them before the next. Points that differ in what is read of a trace (`latency`, `unit_per_count` of positions) or
//!   in their `cycle` are shown other frames, and for each such group the trace is read anew.
//! - Memory is bounded whatever the length of the traces: the axes of a pass and a few batches.
//! - A point that a check of the setup refuses is a result too, with the reason.
//!
//! # What is counted
//!
//! With expectations for a trace ([`crate::expect`]), a trip that none of them names is a nuisance trip, and an expected trip that does not
//! come in its time window is missed; of a trace whose verdict is to be `clear`, every trip is a nuisance trip. Windows are those of the
//! file, longer by the slack at either end: a window that was worked out for one setting is too narrow for others. Faults are counted in
//! the same way. Without expectations trips and faults are only counted.
//!
//! The reaction of a point is the worst case of its setup by [`crate::margins`], with frames as far apart as the
//! farthest of all traces, for the monitor whose setting is varied; where that is a setting of many (`speed.window`, `cycle`), the longest of all
//! monitors. So are the travel from what is truly broken and that from a demand, each of its own; of the position discrepancy how far
//! apart the two sources can be when the torque goes; and the distance of the approach. A looser limit on the speed counts in the last and from
//! a demand as reached no sooner than the stricter ones of the grid: a line that ends at it ends sooner, but the axis may go on at it.
//!
//! Beside these stands what was observed: the longest time from where a limit was crossed to the trip, and from the `from` of an
//! expected trip to the trip. The reaction does not say how late a wide tolerance or a high limit is, which takes long to be reached: the
//! latter does, where `from` is the time at which what is to be seen begins.
//!
//! # The front
//!
//! A point is on the front when no other is at least as good in all and better in one of: nuisance trips and faults, missed trips and faults,
//! reaction time, both travels, how far apart sources get, the distance of the approach, and the latest expected trip. That is no
//! recommendation. A setting with few nuisance trips may be one that no longer protects: limits come from the risk assessment of the machine,
//! and traces show only what happened while they were recorded.

mod csv;
mod front;
mod grid;
mod identity;
mod pass;
mod reaction;
mod report;
mod resume;
mod table;

use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use monitor_core::Span;
use serde::{Deserialize, Serialize};

use crate::expect::{Counts, Expectations};
use crate::replay::{Outcome, ReplayError, TripRule, Verdict};
use crate::report::{Report, VerdictReport};
use crate::setup::Setup;
use crate::trace::{Options, TraceError};
pub use csv::csv;
pub use grid::{Grid, Point};
pub use identity::Identity;
pub(crate) use identity::Watched;
use pass::Pass;
pub use reaction::Cost;
pub use report::{NO_RECOMMENDATION, PointReport, SweepReport, TraceOfSweep, json_schema};
pub use resume::{Resume, ResumeError};
pub use table::table;

/// The most points that share one reading of a trace.
pub const POINTS_A_PASS: usize = 256;

/// A trace of a sweep.
#[derive(Clone, Debug)]
pub struct Trace {
    /// The file.
    pub path: PathBuf,
    /// What is expected of it, with a checksum over the text of the file of expectations.
    pub expectations: Option<(Expectations, u32)>,
}

/// What is to be replayed, and how.
#[derive(Debug)]
pub struct Sweep {
    /// The points.
    pub grid: Grid,
    /// The traces; no two are the same file.
    pub traces: Vec<Trace>,
    /// How traces are read.
    pub options: Options,
    /// How much longer the time windows of expectations are at either end, in ns.
    pub slack_ns: u64,
}

/// What one point came to on one trace.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Found {
    /// Frames evaluated.
    pub frames: u64,
    /// The longest time between two frames, in ns.
    pub longest_period_ns: u64,
    /// `clear`, `tripped` or `fault`.
    pub verdict: VerdictReport,
    /// How many trips there were.
    pub trips: u64,
    /// How many faults there were.
    pub faults: u64,
    /// How often the permit was lost.
    pub permit_losses: u64,
    /// Trips and faults against the expectations, when there are any.
    pub counts: Option<Counts>,
    /// The longest time from where a limit was crossed to the trip, of the rules that the varied settings belong to, in ns.
    pub latency_ns: Option<u64>,
    /// Rows left out as bad, on request.
    pub skipped_rows: u64,
}

impl Found {
    fn of(sweep: &Sweep, setup: &Setup, trace: &Trace, outcome: &Outcome, skipped_rows: u64) -> Self {
        let report = || Report::new(setup, outcome, "", skipped_rows);
        let expectations = trace.expectations.as_ref();
        let latencies = outcome.trips.kept.iter().filter(|trip| sweep.grid.belongs(trip.rule));
        let latency = latencies.filter_map(|trip| trip.tripped_at.since(trip.crossed_at)).max();
        Self {
            frames: outcome.frames,
            longest_period_ns: outcome.longest_period.as_nanos(),
            verdict: match outcome.verdict() {
                Verdict::Clear => VerdictReport::Clear,
                Verdict::Tripped => VerdictReport::Tripped,
                Verdict::Fault => VerdictReport::Fault,
            },
            trips: outcome.trips.kept.len() as u64 + outcome.trips.left_out,
            faults: outcome.faults.kept.len() as u64 + outcome.faults.left_out,
            permit_losses: outcome.permit_losses(),
            counts: expectations.map(|(expected, _)| {
                expected.counts(&report(), sweep.slack_ns, &|name| sweep.grid.counts_lateness_of(name))
            }),
            latency_ns: latency.map(Span::as_nanos),
            skipped_rows,
        }
    }
}

/// Why a sweep could not run to its end.
#[derive(Debug, thiserror::Error)]
pub enum SweepError {
    /// A trace is bad.
    #[error(transparent)]
    Replay(#[from] ReplayError),
    /// The same, before any frame.
    #[error(transparent)]
    Trace(#[from] TraceError),
    /// No thread to read with.
    #[error("no thread to read with: {0}")]
    Thread(std::io::Error),
    /// A trace is not the same from one reading of it to the next.
    #[error("{path}: changed while it was read; run the sweep again when nothing writes to it")]
    Changed {
        /// The file.
        path: String,
    },
    /// The results cannot be kept.
    #[error(transparent)]
    Resume(#[from] ResumeError),
}

/// What a sweep has done, for whoever shows it.
#[derive(Clone, Copy, Debug)]
pub enum Step {
    /// So many more frames were evaluated, those of every point counted.
    Frames(u64),
    /// So many more results are there, of one point on one trace each.
    Results(usize),
}

/// Everything that was found: of each trace what the bytes of its file were, and what each point came to, in the order of the grid; `None`
/// of a point that its setup refuses.
#[derive(Clone, Debug, Default)]
pub struct Results {
    /// By trace.
    pub traces: Vec<(Option<Identity>, Vec<Option<Found>>)>,
}

/// Replays every trace with every point that is not refused. Results that `resume` has are taken from there, and new ones are kept there
/// as they come.
///
/// # Errors
///
/// [`SweepError`] when a trace cannot be read to its end: there is no verdict on a part of a trace.
pub fn run(
    sweep: &Sweep,
    resume: Option<&mut Resume>,
    progress: &(dyn Fn(Step) + Sync),
) -> Result<Results, SweepError> {
    let points = sweep.grid.points().len();
    let mut results = Results { traces: vec![(None, vec![None; points]); sweep.traces.len()] };
    if let Some(resume) = &resume {
        progress(Step::Results(resume.restore(sweep, &mut results)?));
    }
    let passes: Vec<Pass> = (0..sweep.traces.len())
        .flat_map(|trace| {
            let is_wanted = |point: usize| results.traces[trace].1[point].is_none();
            sweep.grid.groups(is_wanted).into_iter().map(move |group| Pass { trace, group })
        })
        .collect();
    let state = Mutex::new((results, resume, None));
    let next = AtomicUsize::new(0);
    let work = || {
        while let Some(pass) = passes.get(next.fetch_add(1, Ordering::Relaxed)) {
            let found = pass.run(sweep, progress);
            let mut state = state.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
            let (results, resume, failed) = &mut *state;
            if let Err(error) = found.and_then(|found| keep(sweep, pass, found, results, resume, progress)) {
                failed.get_or_insert(error);
                next.store(passes.len(), Ordering::Relaxed);
            }
        }
    };
    std::thread::scope(|scope| {
        for _ in 1..passes_at_a_time(&passes) {
            scope.spawn(work);
        }
        work();
    });
    match state.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner) {
        (_, _, Some(error)) => Err(error),
        (results, _, None) => Ok(results),
    }
}

/// Enough for all cores when passes have few points, and two at least: while one waits for its reader, the other one steps.
fn passes_at_a_time(passes: &[Pass]) -> usize {
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZeroUsize::get);
    let smallest = passes.iter().map(|pass| pass.group.points.len()).min().unwrap_or(1).max(1);
    (2 * cores).div_ceil(smallest).clamp(2, cores.max(2)).min(passes.len())
}

/// Puts the results of a pass into their places.
fn keep(
    sweep: &Sweep,
    pass: &Pass,
    (identity, found): (Identity, Vec<(usize, Found)>),
    results: &mut Results,
    resume: &mut Option<&mut Resume>,
    progress: &(dyn Fn(Step) + Sync),
) -> Result<(), SweepError> {
    let trace = &sweep.traces[pass.trace];
    let (known, places) = &mut results.traces[pass.trace];
    if *known.get_or_insert(identity) != identity {
        return Err(SweepError::Changed { path: trace.path.display().to_string() });
    }
    if let Some(resume) = resume {
        resume.keep(trace, identity, &found)?;
    }
    progress(Step::Results(found.len()));
    for (point, found) in found {
        places[point] = Some(found);
    }
    Ok(())
}

/// The rules that a setting belongs to; none where it belongs to many.
fn rules_of(setup: &Setup, keys: &[String]) -> Vec<TripRule> {
    let channels =
        |monitor| monitor_core::Channel::BOTH.map(|channel| TripRule::Monitor(monitor, channel)).to_vec();
    match keys {
        [first, ..] if first == "discrepancy" => vec![TripRule::PositionDiscrepancy],
        [first, ..] if first == "speed_discrepancy" => vec![TripRule::SpeedDiscrepancy],
        [first, name, ..] if first == "monitor" => {
            let place = setup.monitors.iter().position(|monitor| monitor.name == *name);
            place.map(channels).unwrap_or_default()
        }
        // Its tolerance is that of its own rule; the rest holds for all who watch it.
        [first, name, key] if first == "analogue" && (key == "tolerance" || key == "discrepancy_time") => {
            let place = setup.analogues.iter().position(|analogue| analogue.name == *name);
            place.map(|place| vec![TripRule::Analogue(place)]).unwrap_or_default()
        }
        _ => Vec::new(),
    }
}

#[cfg(test)]
mod tests;
