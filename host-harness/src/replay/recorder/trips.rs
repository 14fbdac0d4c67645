//! Rules that trip, and what their stops come to.

use monitor_core::{Channel, Instant, Tripped};

use super::{Recorder, contains, index};
use crate::replay::axis::ReplayAxis;
use crate::replay::margin::{Margin, evident};
use crate::replay::outcome::{Confirmation, Escalation, StopEnd, Trip, TripRule};

impl Recorder {
    pub(super) fn trips(&mut self, axis: &ReplayAxis, seen: &monitor_core::Outcome) {
        let monitors = (0..self.slots.len()).flat_map(|i| {
            Channel::BOTH.into_iter().filter_map(move |channel| {
                contains(*seen.tripped.of(channel), i).then_some(TripRule::Monitor(i, channel))
            })
        });
        let discrepancies = [
            seen.position_discrepancy_tripped.then_some(TripRule::PositionDiscrepancy),
            seen.speed_discrepancy_tripped.then_some(TripRule::SpeedDiscrepancy),
        ];
        let analogues = seen.analogue_tripped.iter().map(|id| TripRule::Analogue(usize::from(id.index())));
        for rule in monitors.chain(discrepancies.into_iter().flatten()).chain(analogues) {
            self.trip(axis, rule);
        }
    }

    /// What a rule was compared by, when it trips by this.
    fn margin(&self, rule: TripRule, evidence: &monitor_core::Evidence) -> &Margin {
        match (rule, evidence) {
            (TripRule::Monitor(i, channel), evidence) => {
                let half = &self.slots[i].halves[index(channel)];
                match evidence {
                    monitor_core::Evidence::Position(_) => &half.position,
                    // What is travelled beyond a limit on the speed begins with that.
                    monitor_core::Evidence::Speed(_) | monitor_core::Evidence::Overrun(_) => &half.speed,
                    monitor_core::Evidence::Acceleration(_) => &half.acceleration,
                    monitor_core::Evidence::Value(_) => &half.value,
                }
            }
            (TripRule::Analogue(i), _) => self.lines[i].margin(),
            (TripRule::PositionDiscrepancy, _) => self.positions.margin(),
            (TripRule::SpeedDiscrepancy, _) => self.speeds.margin(),
        }
    }

    fn trip(&mut self, axis: &ReplayAxis, rule: TripRule) {
        let tripped = axis.state().trips().find(|trip| rule_of(trip.rule) == rule);
        let Some(trip) = tripped else { return };
        let margin = self.margin(rule, &trip.evidence);
        let crossed = margin.crossed();
        // Of an overrun the margin is that of the speed.
        let of_margin =
            margin.furthest().filter(|_| !matches!(trip.evidence, monitor_core::Evidence::Overrun(_)));
        let furthest = of_margin.unwrap_or(0).max(evident(&trip.evidence));
        let mut new = Trip {
            rule,
            demanded_at: trip.demanded_at,
            // A violation can begin by the speed and trip by the position: then the first frame counts.
            crossed_at: crossed.map_or(trip.violated_since, |crossed| crossed.min(trip.violated_since)),
            violated_since: trip.violated_since,
            tripped_at: trip.tripped_at,
            evidence: trip.evidence,
            furthest,
            confirmed_by: None,
            reaction: None,
            resets_before: self.resets_accepted,
        };
        if let TripRule::Monitor(i, channel) = rule {
            if let Some(stop) = self.slots[i].reaction {
                new.reaction = Some(Escalation { stop, end: StopEnd::Open });
                self.reacting.push(self.outcome.trips.kept.len());
            }
            let other = TripRule::Monitor(i, channel.other());
            let earlier = self
                .outcome
                .trips
                .kept
                .iter_mut()
                .rev()
                .find(|earlier| earlier.rule == other && earlier.resets_before == self.resets_accepted);
            if let Some(earlier) = earlier {
                let after_ns =
                    i128::from(new.tripped_at.as_nanos()) - i128::from(earlier.tripped_at.as_nanos());
                earlier.confirmed_by = Some(Confirmation { channel, after_ns });
                new.confirmed_by = Some(Confirmation { channel: channel.other(), after_ns: -after_ns });
            }
        }
        self.outcome.trips.push(new);
    }

    /// Trips whose stop ends at this frame, and such as demand one that can do nothing any more.
    pub(super) fn reactions(&mut self, seen: &monitor_core::Outcome, now: Instant) {
        let Self { reacting, outcome, completed, .. } = self;
        reacting.retain(|&trip| {
            // One that was not kept is not there.
            let Some(trip) = outcome.trips.kept.get_mut(trip) else { return false };
            let Some(reaction) = &mut trip.reaction else { return false };
            reaction.end = if completed.iter().any(|(stop, _)| *stop == reaction.stop) {
                StopEnd::Complete(now)
            } else if contains(seen.tripped.a.union(seen.tripped.b), reaction.stop) {
                StopEnd::Violated(now)
            } else if seen.permit {
                return true;
            } else if trip.tripped_at == now && !self.permit {
                StopEnd::Off
            } else {
                StopEnd::Lost(now)
            };
            false
        });
    }
}

fn rule_of(rule: Tripped) -> TripRule {
    match rule {
        Tripped::Monitor(id, channel) => TripRule::Monitor(usize::from(id.index()), channel),
        Tripped::PositionDiscrepancy => TripRule::PositionDiscrepancy,
        Tripped::SpeedDiscrepancy => TripRule::SpeedDiscrepancy,
        Tripped::AnalogueDiscrepancy(id) => TripRule::Analogue(usize::from(id.index())),
    }
}
