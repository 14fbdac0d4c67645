//! One trace of a plan, replayed once for all the trials that were recorded in it.

use std::path::Path;

use monitor_core::{Channel, Glimpse, Instant};

use super::lasting::{Following, Lasting, is_at_work};
use super::plan::{Rule, Trial, Wanted};
use super::rest::Waiting;
use crate::replay::{Follower, Limited, Nobody, Outcome, ReplayAxis, Shown, layout, replay_observed};
use crate::setup::Setup;
use crate::sweep::{Identity, Watched};
use crate::trace::{Options, Prefetch, Reader};

/// A trace that was replayed.
#[derive(Clone, Debug)]
pub struct Recording {
    /// What tells it from another.
    pub identity: Identity,
    /// What the replay came to.
    pub outcome: Outcome,
    /// When there was a permit.
    pub permits: Limited<Lasting>,
    /// What each of the trials needs beside, in the order in which they were given.
    pub seen: Vec<Seen>,
}

/// What one trial needs to know beside what the replay came to.
#[derive(Clone, Debug)]
pub struct Seen {
    /// The trips of its rule, each with the frame from which on the axis stayed at rest.
    pub rests: Vec<(Instant, Option<Instant>)>,
    /// When its rule was active and had what it compares, on both channels.
    pub at_work: Limited<Lasting>,
}

/// Replays a trace once for all the trials that were recorded in it.
///
/// # Errors
///
/// Why it cannot be replayed, in words.
pub fn record(
    setup: &Setup,
    path: &Path,
    trials: &[&Trial],
    progress: &mut dyn FnMut(u64),
) -> Result<Recording, String> {
    let layout = layout(setup).map_err(|error| error.to_string())?;
    let bytes = Watched::default();
    let reader = Reader::open_seen(path, &layout, Options::default(), bytes.shown())
        .map_err(|error| error.to_string())?;
    let mut source = Prefetch::start(reader).map_err(|error| format!("no thread to read with: {error}"))?;
    let of = trials.iter().map(|trial| Judged::new(trial)).collect();
    let mut watch = Watch { setup, permits: Following::default(), of };
    let outcome = replay_observed(setup, &mut source, progress, &mut Nobody, &mut watch)
        .map_err(|error| error.to_string())?;
    let seen =
        watch.of.into_iter().map(|of| Seen { rests: of.rest.end(), at_work: of.at_work.end() }).collect();
    Ok(Recording { identity: bytes.identity(), outcome, permits: watch.permits.end(), seen })
}

/// One trial.
struct Judged {
    rest: Waiting,
    /// The rule that has to be at work.
    rule: Option<Rule>,
    at_work: Following,
}

impl Judged {
    fn new(trial: &Trial) -> Self {
        let rule = match trial.wanted {
            Wanted::Nothing(rule) => Some(rule),
            Wanted::Turns { monitor, .. } => Some(Rule::Monitor(monitor)),
            _ => None,
        };
        Self { rest: Waiting::new(trial), rule, at_work: Following::default() }
    }
}

/// All trials of a trace.
struct Watch<'a> {
    setup: &'a Setup,
    permits: Following,
    of: Vec<Judged>,
}

impl Follower for Watch<'_> {
    const FOLLOWS: bool = true;

    fn quiet_frame(&mut self, axis: &ReplayAxis, now: Instant, _: [Option<Glimpse>; 2]) {
        for one in &mut self.of {
            one.rest.look(axis, now, true);
        }
    }

    fn frame(&mut self, axis: &ReplayAxis, now: Instant, shown: &Shown<'_>) {
        let is_seen = Channel::BOTH.iter().all(|channel| shown.outcome.faults.of(*channel).is_none());
        self.permits.see(now, shown.outcome.permit);
        for one in &mut self.of {
            one.rest.take(now, shown.outcome);
            one.rest.look(axis, now, is_seen);
            if let Some(rule) = one.rule {
                one.at_work.see(now, is_at_work(self.setup, rule, axis, shown));
            }
        }
    }
}
