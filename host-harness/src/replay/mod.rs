//! A trace through both channels of an axis: every trip and fault with its timing, and how close the rest came.
//!
//! [`replay`] prints nothing and keeps nothing but its [`Outcome`]; memory is bounded whatever the length of the trace.

mod apart;
mod axis;
mod fastest;
mod lull;
mod margin;
mod outcome;
mod recorder;
mod source;
#[cfg(test)]
mod tests;

pub use axis::{Refused, ReplayAxis, axis, axis_of_points, config, layout};
pub use outcome::{
    Apart, Change, ChannelFacts, Confirmation, Escalation, Fault, FaultKind, Gap, Headroom, KEPT, Limited,
    MonitorFacts, Outcome, ResetFact, Rows, Stop, StopEnd, StopKind, Switch, Trip, TripRule, Verdict,
};
pub use source::{Cycled, FrameSource};

use crate::setup::Setup;
use crate::trace::TraceError;
use recorder::Recorder;

/// Why a trace could not be replayed.
#[derive(Debug, thiserror::Error)]
pub enum ReplayError {
    /// The core does not accept the setup.
    #[error(transparent)]
    Refused(#[from] Refused),
    /// The trace is bad.
    #[error(transparent)]
    Trace(#[from] TraceError),
    /// One source never delivered anything: a channel that was never seen gives no verdict.
    #[error(
        "column `{column}`: channel {channel} has no reading in the whole trace; check the column, and `sparse`, in the setup"
    )]
    NeverRead {
        /// `a` or `b`.
        channel: &'static str,
        /// The column of its readings.
        column: String,
    },
}

/// Replays a trace. `progress` is told, after every batch, how many frames have been evaluated.
///
/// # Errors
///
/// [`ReplayError`] when the trace cannot be read to its end: there is no verdict on a part of a trace.
pub fn replay(
    setup: &Setup,
    source: &mut impl FrameSource,
    progress: &mut dyn FnMut(u64),
) -> Result<Outcome, ReplayError> {
    let axis = axis(setup)?;
    match &setup.cycle {
        Some(cycle) => {
            let timeout = setup.a.timeout.value.min(setup.b.timeout.value);
            run(setup, axis, &mut Cycled::new(Borrowed(source), cycle.value, timeout), progress)
        }
        None => run(setup, axis, source, progress),
    }
}

/// A source lent to a [`Cycled`].
struct Borrowed<'a, S>(&'a mut S);

impl<S: FrameSource> FrameSource for Borrowed<'_, S> {
    fn next_batch(&mut self, batch: &mut Vec<monitor_core::Frame>) -> Result<bool, TraceError> {
        self.0.next_batch(batch)
    }

    fn origin_ns(&self) -> i128 {
        self.0.origin_ns()
    }
}

/// One unit in the last place of a position, in billionths.
const ULP: u64 = 1_000_000_000;

fn run(
    setup: &Setup,
    mut axis: ReplayAxis,
    source: &mut impl FrameSource,
    progress: &mut dyn FnMut(u64),
) -> Result<Outcome, ReplayError> {
    let mut recorder = Recorder::new(setup);
    // Several counts that are the same travel once it is rounded: then which frame was the first with an extreme cannot be told
    // from the counts.
    let is_fine =
        [&setup.a, &setup.b].iter().any(|channel| channel.count_nano_ulps().is_some_and(|nano| nano < ULP));
    let mut batch = Vec::new();
    while source.next_batch(&mut batch)? {
        for frame in &batch {
            if is_fine {
                recorder.frame::<true>(&mut axis, frame);
            } else {
                recorder.frame::<false>(&mut axis, frame);
            }
        }
        progress(recorder.frames());
    }
    let mut outcome = recorder.finish(&axis, source.origin_ns());
    if let Some(rows) = source.rows() {
        let mut rows = rows.clone();
        outcome.gaps = std::mem::take(&mut rows.gaps);
        outcome.rows = Some(rows);
    }
    for (facts, (channel, columns)) in outcome.channels.iter().zip([("a", &setup.a), ("b", &setup.b)]) {
        if facts.readings == 0 {
            return Err(ReplayError::NeverRead { channel, column: columns.column.clone() });
        }
    }
    Ok(outcome)
}
