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

mod aftermath;
mod cost;
mod cure;
mod declared;
mod event;
mod excerpt;
mod explained;
mod explanation;
mod further;
mod input;
mod judge;
mod knob;
mod lines;
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
pub use further::{Further, Link, Told};
pub(crate) use lines::{BothSay, LISTED, doubts};
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
use excerpt::Excerpt;
use subject::Subject;
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
    let of = Of { base, outcome: &outcome, path, skipped_rows: source.skipped_rows() };
    Ok(of.explained(watch, again)?.0)
}

/// As [`explain`], with what goes with it, the outcome of the replay and what is drawn of it.
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
) -> Result<(Told, Outcome, Plot), ExplainError> {
    let setup = base.setup();
    let watch = Watch::new(setup, asked).map_err(ExplainError::Thread)?;
    let mut both = Both { watch, closeups: Closeups::new(asked) };
    let mut collector = Collector::new(setup);
    let outcome = replay_observed(setup, source, progress, &mut both, &mut collector)?;
    let plot = Plot::new(setup, &outcome, collector, both.closeups);
    let of = Of { base, outcome: &outcome, path, skipped_rows: source.skipped_rows() };
    let (first, excerpts) = of.explained(both.watch, again)?;
    let (subjects, left_out) = further::further(setup, &outcome, &first, asked, &excerpts);
    let further = subjects.into_iter().map(|(link, subject)| {
        let explanation = of.work(&excerpts, subject).explanation(path, None, None);
        Further { link, explanation }
    });
    let mut further: Vec<Further> = further.collect();
    further.sort_by_key(|further| further.explanation.explained.at_s);
    Ok((Told { first, further, left_out }, outcome, plot))
}

/// What is explained, and from what.
struct Of<'a> {
    base: &'a Base,
    outcome: &'a Outcome,
    path: &'a str,
    skipped_rows: u64,
}

impl<'a> Of<'a> {
    /// The explanation of what is asked for, with the frames that were kept.
    fn explained(&self, watch: Watch, again: Again<'_>) -> Result<(Explanation, Vec<Excerpt>), NoSuch> {
        let asked = watch.asked();
        let (excerpts, sampled) = watch.finish();
        let subject = subject::subject(self.outcome, asked)?;
        let explanation = self.work(&excerpts, subject).explanation(self.path, Some(sampled), again);
        Ok((explanation, excerpts))
    }

    fn work<'b>(&self, excerpts: &'b [Excerpt], subject: Subject<'b>) -> Work<'b>
    where
        'a: 'b,
    {
        let Self { base, outcome, skipped_rows, .. } = *self;
        Work { base, setup: base.setup(), outcome, excerpts, subject, skipped_rows }
    }
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
