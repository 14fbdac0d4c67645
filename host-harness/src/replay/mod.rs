//! A trace through both channels of an axis: every trip and fault with its timing, and how close the rest came.
//!
//! [`replay`] prints nothing and keeps nothing but its [`Outcome`]; memory is bounded whatever the length of the trace.

mod allowed;
mod apart;
mod axis;
mod chunk;
mod fastest;
mod follower;
mod lull;
mod margin;
mod outcome;
mod recorder;
mod room;
mod source;
#[cfg(test)]
pub(crate) mod tests;
mod unit;

pub use axis::{Refused, ReplayAxis, axis, axis_of_points, config, layout};
pub use outcome::{
    Apart, Change, ChannelFacts, Confirmation, Escalation, Fault, FaultKind, Gap, Headroom, KEPT, Limited,
    MonitorFacts, Outcome, ResetFact, Rows, Stop, StopEnd, StopKind, Switch, Trip, TripRule, Verdict,
};
pub use source::{Cycled, FrameSource};
pub use unit::doubtful_unit;

pub(crate) use allowed::{AllowedSpeed, SpeedSpan, tightest};
pub(crate) use apart::lines_apart;
pub(crate) use axis::analogue_id;
pub(crate) use chunk::{Chunk, Chunks, Line};
pub(crate) use follower::{Follower, Shown};
use monitor_core::{Channel, Frame};
pub(crate) use room::{AllowedTravel, Room, narrowest};

use crate::setup::Setup;
use crate::trace::{Offered, TraceError};
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
    /// The same of a line of an analogue value.
    #[error(
        "column `{column}`: the line of [analogue.{name}] has no reading in the whole trace; check the column, and `sparse`, in the setup"
    )]
    NeverOffered {
        /// The analogue value.
        name: String,
        /// The column of the line.
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
    replay_observed(setup, source, progress, &mut Nobody, &mut Nobody)
}

/// What sees the frames of a replay, too, batch by batch, and what it has found so far.
pub(crate) trait Observer {
    /// The axis before the next frames.
    fn before(&mut self, _axis: &ReplayAxis) {}

    /// What has been found up to the last of them, and the frames, which may be taken, with the readings of analogue values that came with
    /// them.
    fn after(&mut self, _found: &Outcome, _frames: &mut Vec<Frame>, _offered: &[Offered]) {}
}

/// Neither observes nor follows.
pub(crate) struct Nobody;

impl Observer for Nobody {}

impl Follower for Nobody {}

/// As [`replay`]; observer and follower see what is evaluated: with a `cycle`, the frames at it.
///
/// # Errors
///
/// As there.
pub(crate) fn replay_observed(
    setup: &Setup,
    source: &mut impl FrameSource,
    progress: &mut dyn FnMut(u64),
    observer: &mut impl Observer,
    follower: &mut impl Follower,
) -> Result<Outcome, ReplayError> {
    let axis = axis(setup)?;
    match &setup.cycle {
        Some(cycle) => {
            let timeout = setup.a.timeout.value.min(setup.b.timeout.value);
            run(
                setup,
                axis,
                &mut Cycled::new(Borrowed(source), cycle.value, timeout),
                progress,
                observer,
                follower,
            )
        }
        None => run(setup, axis, source, progress, observer, follower),
    }
}

/// A source lent to a [`Cycled`].
pub(crate) struct Borrowed<'a, S>(pub(crate) &'a mut S);

impl<S: FrameSource> FrameSource for Borrowed<'_, S> {
    fn next_batch(&mut self, batch: &mut Vec<Frame>) -> Result<bool, TraceError> {
        self.0.next_batch(batch)
    }

    fn offered(&self) -> &[Offered] {
        self.0.offered()
    }

    fn origin_ns(&self) -> i128 {
        self.0.origin_ns()
    }
}

/// One unit in the last place of a position, in billionths.
const ULP: u64 = 1_000_000_000;

fn run(
    setup: &Setup,
    axis: ReplayAxis,
    source: &mut impl FrameSource,
    progress: &mut dyn FnMut(u64),
    observer: &mut impl Observer,
    follower: &mut impl Follower,
) -> Result<Outcome, ReplayError> {
    let mut run = Run::new(setup, axis);
    let mut batch = Vec::new();
    while source.next_batch(&mut batch)? {
        observer.before(&run.axis);
        run.batch(&batch, source.offered(), follower);
        observer.after(run.recorder.found(), &mut batch, source.offered());
        progress(run.frames());
    }
    run.finish(setup, source.origin_ns(), source.rows())
}

/// A replay to which the frames are handed, batch by batch.
pub(crate) struct Run {
    axis: ReplayAxis,
    recorder: Recorder,
    is_fine: bool,
    was_offered: Vec<[bool; 2]>,
}

impl Run {
    pub(crate) fn new(setup: &Setup, axis: ReplayAxis) -> Self {
        // Several counts that are the same travel once it is rounded: then which frame was the first with an extreme cannot be told
        // from the counts.
        let is_fine = [&setup.a, &setup.b]
            .iter()
            .any(|channel| channel.count_nano_ulps().is_some_and(|nano| nano < ULP));
        Self {
            axis,
            recorder: Recorder::new(setup),
            // A check that is passed over would be followed by the motion, which tells nothing of an analogue value.
            is_fine: is_fine || !setup.analogues.is_empty(),
            was_offered: vec![[false; 2]; setup.analogues.len()],
        }
    }

    /// Frames so far.
    pub(crate) const fn frames(&self) -> u64 {
        self.recorder.frames()
    }

    /// The next frames, and the readings of analogue values that come with them.
    pub(crate) fn batch(&mut self, frames: &[Frame], offered: &[Offered], follower: &mut impl Follower) {
        let mut offered = offered.iter().peekable();
        for (place, frame) in frames.iter().enumerate() {
            while let Some(one) = offered.next_if(|one| one.frame <= place) {
                if let (Some(id), Some(lines)) = (analogue_id(one.of), self.was_offered.get_mut(one.of)) {
                    self.axis.offer(id, one.channel, one.reading);
                    lines[usize::from(one.channel == Channel::B)] = true;
                }
            }
            if self.is_fine {
                self.recorder.frame::<true>(&mut self.axis, frame, follower);
            } else {
                self.recorder.frame::<false>(&mut self.axis, frame, follower);
            }
        }
    }

    /// The outcome, once all frames were handed in; `rows` are those behind them, where the two are not the same.
    pub(crate) fn finish(
        self,
        setup: &Setup,
        origin_ns: i128,
        rows: Option<&Rows>,
    ) -> Result<Outcome, ReplayError> {
        let mut outcome = self.recorder.finish(&self.axis, origin_ns);
        if let Some(rows) = rows {
            let mut rows = rows.clone();
            outcome.gaps = std::mem::take(&mut rows.gaps);
            outcome.rows = Some(rows);
        }
        for (facts, (channel, columns)) in outcome.channels.iter().zip([("a", &setup.a), ("b", &setup.b)]) {
            if facts.readings == 0 {
                return Err(ReplayError::NeverRead { channel, column: columns.column.clone() });
            }
        }
        for (analogue, lines) in setup.analogues.iter().zip(self.was_offered) {
            if let Some((column, _)) = analogue.columns.iter().zip(lines).find(|(_, was)| !was) {
                let (name, column) = (analogue.name.clone(), column.clone());
                return Err(ReplayError::NeverOffered { name, column });
            }
        }
        Ok(outcome)
    }
}
