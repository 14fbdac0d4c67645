//! What could not be seen, or did not agree.

use monitor_core::{Channel, Instant, SourceFault};

use super::Judge;
use crate::causes::Side;
use crate::explain::event::{Event, What};
use crate::explain::input;
use crate::explain::raw::{seconds, unit_of};
use crate::explain::rerun::index;
use crate::explain::track::number;
use crate::explain::verdict::Verdict;
use crate::replay::{Change, Fault, FaultKind, TripRule};
use crate::report::Seconds;

impl Judge<'_> {
    pub(super) fn fault(&self, fault: &Fault) -> Verdict {
        let (kind, who) = crate::report::faulted(self.setup, fault.kind);
        let lasted = fault.to.since(fault.from).map_or(0, |span| span.as_nanos());
        match fault.kind {
            FaultKind::Channel(channel, ..) => self.source(fault, channel, who, kind, lasted),
            FaultKind::Analogue(of, _, _, reading) => Verdict::Source {
                who,
                fault: kind,
                lasted_s: seconds(lasted),
                events: Vec::new(),
                change: None,
                both_say_so: false,
                is_gap: false,
                other_speed: None,
                other_tripped: None,
                reading: reading.and_then(|reading| reading.value).map(|value| {
                    let analogue = &self.setup.analogues[of];
                    let (low, high) = (&analogue.plausible.low.text, &analogue.plausible.high.text);
                    format!("showed {value:.4} {}, plausible are {low} to {high}", analogue.unit.symbol())
                }),
            },
            FaultKind::Input(input) => self.input(fault, input),
            FaultKind::Unreferenced(monitor, channel) => Verdict::Unreferenced {
                monitor: self.setup.monitors[monitor].name.clone(),
                channel: channel.into(),
                lost_by: self.lost_reference(fault, channel),
            },
            FaultKind::Clock => Verdict::Clock,
        }
    }

    fn source(&self, fault: &Fault, channel: Channel, who: String, kind: String, lasted: u64) -> Verdict {
        let at = self.outcome.time_ns(fault.from);
        let near = |event: &&Event| {
            is_of(fault, &event.what)
                && event.channel == Side::from(channel)
                && event.at_s <= Seconds(at)
                && Seconds(at) <= Seconds(event.until_s.0 + 1_000_000_000)
        };
        let change = fault.change.map(|change| self.change(channel, change));
        let mut events: Vec<Event> = self.events.iter().filter(near).cloned().collect();
        // What ends at the fault before what is nearest to it.
        events.sort_by_key(|event| {
            let is_run = matches!(event.what, What::Frozen { .. } | What::Reversed { .. });
            (!is_run, (event.at_s.0 - at).abs())
        });
        let is_gap = (self.outcome.gaps.kept.iter()).any(|gap| gap.from < fault.from && fault.from <= gap.to);
        let other = self.other_speed(fault, channel);
        let both_say_so = match (change, other) {
            (Some([travel, within, _]), Some(other)) if within > 0.0 => {
                (travel / within - other).abs() < other.abs() / 4.0
            }
            _ => false,
        };
        Verdict::Source {
            who,
            fault: kind,
            lasted_s: seconds(lasted),
            events,
            change,
            both_say_so,
            is_gap,
            other_speed: self.points_speed(fault, channel.other()),
            other_tripped: self.tripped_by(fault.from, channel.other()),
            reading: None,
        }
    }

    /// A rule that had tripped on a channel by then and was not reset.
    fn tripped_by(&self, at: Instant, channel: Channel) -> Option<String> {
        let resets =
            self.outcome.resets.kept.iter().filter(|reset| reset.result == monitor_core::Reset::Accepted);
        let since = resets.map(|reset| reset.at).filter(|reset| *reset <= at).max();
        let trips = self.outcome.trips.kept.iter();
        let of_channel = trips.filter(|trip| matches!(trip.rule, TripRule::Monitor(_, of) if of == channel));
        let mut latched = of_channel
            .filter(|trip| trip.tripped_at <= at && since.is_none_or(|since| trip.tripped_at > since));
        latched.next().map(|trip| crate::report::rule(self.setup, trip.rule).0)
    }

    /// The speed of a channel at a fault, where it was known.
    fn points_speed(&self, fault: &Fault, channel: Channel) -> Option<f64> {
        let place = self.points.partition_point(|point| point.now < fault.from);
        self.points.get(place)?.seen[index(channel)]?.speed
    }

    /// Travel, time and the fastest that the setup says.
    fn change(&self, channel: Channel, change: Change) -> [f64; 3] {
        let source = self.setup.channel(channel);
        #[expect(clippy::cast_precision_loss, reason = "an explanation needs no more than 53 bits")]
        let travel = change.counts as f64 * unit_of(&source.source);
        [travel, seconds(change.elapsed.as_nanos()), number(source.max_speed.value.to_bits())]
    }

    /// How fast the other channel was at a fault.
    fn other_speed(&self, fault: &Fault, channel: Channel) -> Option<f64> {
        let place = self.points.partition_point(|point| point.now < fault.from);
        let (before, now) = (self.points.get(place.checked_sub(1)?)?, self.points.get(place)?);
        let other = index(channel.other());
        let passed = now.now.since(before.now)?.as_nanos();
        let travel = now.seen[other]?.position - before.seen[other]?.position;
        (passed > 0).then(|| travel / seconds(passed))
    }

    fn input(&self, fault: &Fault, input: usize) -> Verdict {
        let lines = input::lines(self.setup, self.points, input, fault.from);
        let moved = lines.iter().filter(|line| line.changed_at.is_some()).max_by_key(|line| line.changed_at);
        let stayed = lines.iter().find(|line| moved.is_some_and(|moved| moved.column != line.column));
        Verdict::Input {
            input: self.setup.inputs[input].name.clone(),
            moved: moved.and_then(|line| {
                Some((line.column.clone(), Seconds(self.outcome.time_ns(line.changed_at?))))
            }),
            stayed: stayed.map(|line| line.column.clone()),
            stayed_high: stayed.is_some_and(|line| line.is_high),
        }
    }

    fn lost_reference(&self, fault: &Fault, channel: Channel) -> Option<String> {
        let before = self.outcome.faults.kept.iter().filter(|other| other.from <= fault.from);
        let mut of_channel =
            before.filter(|other| matches!(other.kind, FaultKind::Channel(of, ..) if of == channel));
        of_channel.next_back().map(|other| crate::report::faulted(self.setup, other.kind).0)
    }
}

/// Whether something that a channel did is what it was faulted for.
fn is_of(fault: &Fault, what: &What) -> bool {
    let FaultKind::Channel(_, fault, _) = fault.kind else { return false };
    match fault {
        SourceFault::Invalid => matches!(what, What::Invalid),
        SourceFault::OutOfOrder => matches!(what, What::OutOfOrder | What::Late { .. }),
        SourceFault::Stale => matches!(what, What::NoReading { .. } | What::Late { .. }),
        SourceFault::Implausible => {
            !matches!(what, What::NoReading { .. } | What::Invalid | What::OutOfOrder)
        }
        SourceFault::Range => false,
    }
}
