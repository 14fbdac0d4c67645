//! One trace of a plan: what its replay came to, and when the axis was at rest after a trip.

use std::path::Path;

use monitor_core::{Channel, Glimpse, Instant, Speed};

use super::plan::{Rule, Trial, Wanted};
use crate::replay::{Follower, KEPT, Nobody, Outcome, ReplayAxis, Shown, layout, replay_observed};
use crate::setup::Setup;
use crate::sweep::Identity;
use crate::trace::{Options, Prefetch, Reader};

/// A trace that was replayed.
#[derive(Clone, Debug)]
pub struct Recording {
    /// What tells it from another.
    pub identity: Identity,
    /// What the replay came to.
    pub outcome: Outcome,
    /// For each of the trials it was replayed for: its trips, each with the frame from which on the axis stayed at rest.
    pub rests: Vec<Vec<(Instant, Option<Instant>)>>,
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
    let again = |why: std::io::Error| format!("{}: cannot be read for its checksum: {why}", path.display());
    let layout = layout(setup).map_err(|error| error.to_string())?;
    let reader = Reader::open(path, &layout, Options::default()).map_err(|error| error.to_string())?;
    let mut source = Prefetch::start(reader).map_err(|error| format!("no thread to read with: {error}"))?;
    let mut watch = Watch { of: trials.iter().map(|trial| Waiting::new(trial)).collect() };
    let outcome = replay_observed(setup, &mut source, progress, &mut Nobody, &mut watch)
        .map_err(|error| error.to_string())?;
    let identity = Identity::read(path).map_err(again)?;
    Ok(Recording { identity, outcome, rests: watch.of.into_iter().map(Waiting::end).collect() })
}

/// Waits for an axis to come to rest.
struct Waiting {
    /// Whose trip, and how slow is at rest.
    of: Option<(Rule, Vec<Channel>, Speed)>,
    /// The last trip, until the axis has stayed at rest, and whether the permit was lost since.
    since: Option<(Instant, bool)>,
    /// From when on it is slow.
    slow_since: Option<Instant>,
    found: Vec<(Instant, Option<Instant>)>,
}

impl Waiting {
    fn new(trial: &Trial) -> Self {
        let of = match &trial.wanted {
            Wanted::Trips { rule, channels, rest: Some(rest), .. } => {
                Some((*rule, channels.clone(), rest.speed.value))
            }
            _ => None,
        };
        Self { of, since: None, slow_since: None, found: Vec::new() }
    }

    /// The wait for rest is over.
    fn close(&mut self) {
        let rest = self.slow_since.take();
        if let Some((trip, _)) = self.since.take()
            && self.found.len() < KEPT
        {
            self.found.push((trip, rest));
        }
    }

    /// A trip begins to wait anew: it counts from the last one before the rest. Once the permit is given again the axis may move.
    fn take(&mut self, now: Instant, seen: &monitor_core::Outcome) {
        let Some((rule, channels, _)) = &self.of else { return };
        let has_tripped = match rule {
            Rule::Monitor(place) => channels
                .iter()
                .any(|channel| seen.tripped.of(*channel).iter().any(|id| usize::from(id.index()) == *place)),
            Rule::Position => seen.position_discrepancy_tripped,
            Rule::Speed => seen.speed_discrepancy_tripped,
            Rule::Analogue(place) => seen.analogue_tripped.iter().any(|id| usize::from(id.index()) == *place),
        };
        if self.since.is_some_and(|(_, was_lost)| was_lost && seen.permit) {
            self.close();
        }
        if has_tripped {
            if self.slow_since.is_some() {
                self.close();
            }
            self.since = Some((now, false));
        }
        if let Some((_, was_lost)) = &mut self.since {
            *was_lost |= !seen.permit;
        }
    }

    /// What is slow for a moment and goes on is not at rest; a speed that is not known says neither.
    fn look(&mut self, axis: &ReplayAxis, now: Instant) {
        let (Some(_), Some((_, _, slow))) = (self.since, &self.of) else { return };
        let speeds = Channel::BOTH.map(|channel| axis.speed(channel).map(|speed| speed.magnitude()));
        if speeds.iter().flatten().any(|speed| speed > slow) {
            self.slow_since = None;
        } else if speeds.iter().all(Option::is_some) {
            self.slow_since.get_or_insert(now);
        }
    }

    fn end(mut self) -> Vec<(Instant, Option<Instant>)> {
        self.close();
        self.found
    }
}

/// Waits for every trial of a trace.
struct Watch {
    of: Vec<Waiting>,
}

impl Follower for Watch {
    const FOLLOWS: bool = true;

    fn quiet_frame(&mut self, axis: &ReplayAxis, now: Instant, _: [Option<Glimpse>; 2]) {
        for one in &mut self.of {
            one.look(axis, now);
        }
    }

    fn frame(&mut self, axis: &ReplayAxis, now: Instant, shown: &Shown<'_>) {
        for one in &mut self.of {
            one.take(now, shown.outcome);
            one.look(axis, now);
        }
    }
}
