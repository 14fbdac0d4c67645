//! Why an axis was stopped: what happened, whether the motion was real, where a disagreement of the channels comes from, which setting
//! would have let it pass, and what that costs.
//!
//! [`explain`] replays a trace as [`replay`](crate::replay::replay) does. While it goes by, the frames around what happened are kept, and
//! samples of the positions up to it; everything else is worked out from those afterwards, so that the length of a trace costs no more
//! than its replay:
//!
//! - the [story](Stage): demand, falling limit, crossing, on-delay, trip, confirmation, and what the motion did after it;
//! - the [parts of the reaction](PartOfReaction), beside the worst case from the setup;
//! - the two [witnesses](Witness), and what one of them did alone ([`Event`]);
//! - the [decomposition](crate::causes::Decomposition) of their disagreement;
//! - the [changes of settings](Change) with which it would not have happened, each found by the core on the same frames;
//! - a [`Verdict`] of all that.
//!
//! All numbers but those of the trip itself are estimates from one trace. They explain; they decide nothing.

mod cost;
mod cure;
mod declared;
mod event;
mod excerpt;
mod explained;
mod explanation;
mod input;
mod judge;
mod knob;
mod lost;
mod nearest;
mod raw;
mod rerun;
mod sampling;
mod settings;
mod step;
mod story;
mod subject;
mod tail;
mod text;
mod timing;
mod track;
mod verdict;
mod watch;
mod what_if;
mod witness;
mod words;
mod work;

pub use cost::{Cost, Worst};
pub use cure::Cure;
pub use declared::Declared;
pub use event::{Event, What};
pub use explanation::{Costed, Explained, Explanation, InWords, Other, SCHEMA_VERSION, json_schema};
pub use nearest::Nearest;
pub use story::{Stage, StageKind};
pub use subject::{Asked, NoSuch, moment};
pub use text::text;
pub use timing::PartOfReaction;
pub(crate) use track::{Held, Question, number};
pub use verdict::{AfterStop, Beyond, Differ, Guard, Unsure, Verdict};
pub use what_if::Change;
pub use witness::Witness;

use monitor_core::Frame;

use crate::plot::{Closeups, Collector, Plot};
use crate::replay::{FrameSource, Nobody, Observer, Outcome, ReplayAxis, ReplayError, replay_observed};
use crate::setup::Setup;
use crate::trace::Offered;
use crate::vary::Base;
use watch::Watch;
use work::Work;

/// Why a trace could not be explained.
#[derive(Debug, thiserror::Error)]
pub enum ExplainError {
    /// It could not be replayed.
    #[error(transparent)]
    Replay(#[from] ReplayError),
    /// What was asked for is not there.
    #[error(transparent)]
    NoSuch(#[from] NoSuch),
    /// The system gives no thread.
    #[error("no thread to take samples with: {0}")]
    Thread(#[source] std::io::Error),
}

/// Replays the trace once more with another setup; `None` where it cannot be.
pub type Again<'a> = Option<&'a dyn Fn(&Setup) -> Option<Outcome>>;

/// Replays a trace and explains what is asked for. `again` replays it once more with another setup, to see whether a cure holds; without it
/// cures are estimates.
///
/// # Errors
///
/// [`ExplainError`] when the trace cannot be read to its end, or what is asked for is not in it.
pub fn explain(
    base: &Base,
    source: &mut impl FrameSource,
    path: &str,
    asked: Asked,
    progress: &mut dyn FnMut(u64),
    again: Again<'_>,
) -> Result<Explanation, ExplainError> {
    let setup = base.setup();
    let mut watch = Watch::new(setup, asked).map_err(ExplainError::Thread)?;
    let outcome = replay_observed(setup, source, progress, &mut watch, &mut Nobody)?;
    explained(base, &outcome, watch, path, source.skipped_rows(), again)
}

/// As [`explain`], with the outcome of the replay and what is drawn of it.
///
/// # Errors
///
/// As there.
pub fn explain_plotted(
    base: &Base,
    source: &mut impl FrameSource,
    path: &str,
    asked: Asked,
    progress: &mut dyn FnMut(u64),
    again: Again<'_>,
) -> Result<(Explanation, Outcome, Plot), ExplainError> {
    let setup = base.setup();
    let watch = Watch::new(setup, asked).map_err(ExplainError::Thread)?;
    let mut both = Both { watch, closeups: Closeups::new(asked) };
    let mut collector = Collector::new(setup);
    let outcome = replay_observed(setup, source, progress, &mut both, &mut collector)?;
    let plot = Plot::new(setup, &outcome, collector, both.closeups);
    let explanation = explained(base, &outcome, both.watch, path, source.skipped_rows(), again)?;
    Ok((explanation, outcome, plot))
}

fn explained(
    base: &Base,
    outcome: &Outcome,
    watch: Watch,
    path: &str,
    skipped_rows: u64,
    again: Again<'_>,
) -> Result<Explanation, ExplainError> {
    let asked = watch.asked();
    let (excerpts, (samples, marked)) = watch.finish();
    let subject = subject::subject(outcome, asked)?;
    let work = Work { base, setup: base.setup(), outcome, excerpts, subject, skipped_rows };
    Ok(work.explanation(path, samples, marked, again))
}

/// What is kept for the explanation, and for the close-ups of what is drawn.
struct Both {
    watch: Watch,
    closeups: Closeups,
}

impl Observer for Both {
    fn before(&mut self, axis: &ReplayAxis) {
        self.watch.before(axis);
    }

    fn after(&mut self, found: &Outcome, frames: &mut Vec<Frame>, offered: &[Offered]) {
        self.watch.after(found, frames, offered);
        self.closeups.after(self.watch.chunks(), found);
    }
}
