//! When an axis was at rest after a trip.

use monitor_core::{Channel, Instant, Speed};

use super::plan::{Rule, Trial, Wanted};
use crate::replay::{KEPT, ReplayAxis};

/// Waits for an axis to come to rest.
pub(super) struct Waiting {
    /// Whose trip, and how slow is at rest.
    of: Option<(Rule, Vec<Channel>, Speed)>,
    /// The last trip, until the axis has stayed at rest, and whether the permit was lost since.
    since: Option<(Instant, bool)>,
    /// From when on it is slow.
    slow_since: Option<Instant>,
    found: Vec<(Instant, Option<Instant>)>,
}

impl Waiting {
    pub(super) fn new(trial: &Trial) -> Self {
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
    pub(super) fn take(&mut self, now: Instant, seen: &monitor_core::Outcome) {
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

    /// What is slow for a moment and goes on is not at rest, and neither is what nobody sees any more: `is_seen` says that no channel is faulted.
    pub(super) fn look(&mut self, axis: &ReplayAxis, now: Instant, is_seen: bool) {
        let (Some(_), Some((_, _, slow))) = (self.since, &self.of) else { return };
        let speeds = Channel::BOTH.map(|channel| axis.speed(channel).map(|speed| speed.magnitude()));
        if is_seen && speeds.iter().all(|speed| speed.is_some_and(|speed| speed <= *slow)) {
            self.slow_since.get_or_insert(now);
        } else {
            self.slow_since = None;
        }
    }

    pub(super) fn end(mut self) -> Vec<(Instant, Option<Instant>)> {
        self.close();
        self.found
    }
}
