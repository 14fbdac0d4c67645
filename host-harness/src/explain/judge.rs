//! From what was seen to a verdict.

mod alone;
mod faults;
mod motion;

use monitor_core::{Channel, Evidence, Instant};

use super::declared::declared;
use super::event::Event;
use super::raw::{seconds, unit_of};
use super::rerun::index;
use super::subject::Subject;
use super::track::{Point, Quantity, Question, number};
use super::verdict::{Beyond, Verdict, is_failure};
use super::witness::Witness;
use crate::causes::{Alternative, Decomposition, Side};
use crate::replay::{Outcome, Stop, Trip, TripRule};
use crate::report::Figures;
use crate::setup::{Setup, Source};

/// Everything that a verdict goes by.
pub(super) struct Judge<'a> {
    pub(super) setup: &'a Setup,
    pub(super) outcome: &'a Outcome,
    pub(super) points: &'a [Point],
    pub(super) witnesses: &'a [Witness; 2],
    pub(super) events: &'a [Event],
    pub(super) apart: Option<&'a Decomposition>,
}

/// A confirmation that comes later than this is of another motion: 1 s in ns.
const SAME_MOTION: u128 = 1_000_000_000;

/// How many frames before the crossing the noise is taken from.
const CALM_FRAMES: usize = 200;

impl Judge<'_> {
    /// `None` where nothing happened.
    pub(super) fn verdict(&self, subject: Subject<'_>) -> Option<Verdict> {
        match subject {
            Subject::Trip(_, trip) => Some(self.trip(trip)),
            Subject::Fault(_, fault) => Some(self.fault(fault)),
            Subject::Planned(stop) => Some(self.planned(stop)),
            Subject::Nothing => None,
        }
    }

    fn trip(&self, trip: &Trip) -> Verdict {
        let figures = Figures::new(self.setup, trip.rule, &trip.evidence);
        let (by, limit) = (number(figures.observed.to_bits()), number(figures.limit.to_bits()));
        match trip.rule {
            TripRule::Monitor(monitor, channel) => {
                let entry = &self.setup.monitors[monitor];
                let beyond = Beyond {
                    monitor: entry.name.clone(),
                    kind: entry.kind.name().to_owned(),
                    channel: channel.into(),
                    observed: by,
                    limit,
                    unit: figures.unit.clone(),
                    is_least: figures.is_least(),
                    is_overrun: matches!(trip.evidence, Evidence::Overrun(_)),
                };
                self.monitor(trip, monitor, channel, beyond)
            }
            TripRule::PositionDiscrepancy | TripRule::SpeedDiscrepancy => {
                self.came_apart(trip, by, limit, figures.unit)
            }
            TripRule::Analogue(of) => Verdict::Lines {
                analogue: self.setup.analogues[of].name.clone(),
                by,
                limit,
                unit: figures.unit,
                moved: self.lines_moved(trip),
            },
        }
    }

    fn monitor(&self, trip: &Trip, monitor: usize, channel: Channel, beyond: Beyond) -> Verdict {
        let other = &self.witnesses[index(channel.other())];
        let other_beyond = other.beyond.unwrap_or(f64::NEG_INFINITY);
        if other_beyond > 0.0 {
            return self.motion(trip, monitor, channel, beyond, other_beyond);
        }
        let own_beyond = self.witnesses[index(channel)].beyond.unwrap_or(0.0);
        let difference = own_beyond - other_beyond;
        let resolution = self.resolution(trip, monitor);
        // What a channel of the motion did alone says nothing of the lines of a value.
        let of_motion = self.setup.monitors[monitor].kind.analogue().is_none();
        let mut events = if of_motion { self.events.to_vec() } else { Vec::new() };
        if other.seen_throughout && events.is_empty() && difference <= resolution {
            return Verdict::AtTheLimit { beyond, difference, resolution };
        }
        let quantity = Question::of(trip.rule, &trip.evidence).quantity;
        let references = self.references_differ(monitor, difference);
        let cause = of_motion.then(|| self.cause_alone(channel, quantity, difference)).flatten();
        // Those of the channel that tripped first: it is asked.
        events.sort_by_key(|event| event.channel != Side::from(channel));
        Verdict::OneChannel {
            beyond,
            // One that was not seen all the time contradicts nothing.
            other_within: other.beyond.filter(|_| other.seen_throughout).map(|beyond| -beyond),
            events,
            cause: cause.filter(|_| references.is_none()).map(Box::new),
            difference: Some(difference).filter(|difference| difference.is_finite()),
            references_differ: references,
        }
    }

    /// What the two channels cannot tell apart: a count of each, over the window where a speed is compared, and three times what their
    /// difference scatters by in the frames before.
    fn resolution(&self, trip: &Trip, monitor: usize) -> f64 {
        let window = self.setup.speed.window.value;
        let quantity = Question::of(trip.rule, &trip.evidence).quantity;
        let of_setup: f64 = match quantity {
            Quantity::Value => {
                let of = self.setup.monitors[monitor].kind.analogue();
                return of.map_or(0.0, |of| number(self.setup.analogues[of].tolerance.value.to_bits()));
            }
            Quantity::Position => Channel::BOTH.iter().map(|&channel| self.count(channel)).sum(),
            Quantity::Speed | Quantity::Acceleration => {
                let of = |channel| self.setup.channel(channel).speed_resolution(window);
                let speeds: f64 = Channel::BOTH
                    .iter()
                    .filter_map(|&channel| of(channel))
                    .map(|speed| number(speed.to_bits()))
                    .sum();
                if quantity == Quantity::Speed { speeds } else { speeds / seconds(window.as_nanos()) }
            }
        };
        let end = self.points.partition_point(|point| point.now < trip.crossed_at);
        let before = &self.points[end.saturating_sub(CALM_FRAMES)..end];
        let differences: Vec<f64> = before
            .iter()
            .filter_map(|point| Some(point.held[0]?.excess() - point.held[1]?.excess()))
            .collect();
        let noise = 3.0 * scatter(&differences);
        // What scatters by much more than the counters resolve is not noise.
        let most = if of_setup > 0.0 { 4.0 * of_setup } else { f64::INFINITY };
        of_setup + noise.min(most)
    }

    /// One count in the axis unit; nothing for a column of positions.
    fn count(&self, channel: Channel) -> f64 {
        match &self.setup.channel(channel).source {
            source @ Source::Counter { .. } => unit_of(source).abs(),
            Source::Position { .. } => 0.0,
        }
    }

    fn came_apart(&self, trip: &Trip, by: f64, limit: f64, unit: String) -> Verdict {
        let (rule, _, _) = crate::report::rule(self.setup, trip.rule);
        let unexplained = |why: Vec<String>| Verdict::ApartUnexplained {
            rule: rule.clone(),
            by,
            limit,
            unit: unit.clone(),
            why,
        };
        let Some(apart) = self.apart else {
            return unexplained(vec!["no positions of both channels could be compared before it".to_owned()]);
        };
        let Some(main) = apart.main() else {
            let mut why: Vec<String> = apart.inconclusive.iter().map(ToString::to_string).collect();
            if let Some(main) = apart.terms.first() {
                let text = main.cause.text(&apart.words());
                why.push(format!("what fits best is uncertain by more than its size: {text}"));
            }
            return unexplained(why);
        };
        let is_of_main = |other: &&Alternative| other.chosen == main.cause.kind();
        let alternatives = || apart.alternatives.iter().filter(is_of_main);
        let fails = is_failure(main.cause.kind());
        // One that says otherwise of the guard counts most.
        let or_else =
            alternatives().find(|other| is_failure(other.instead) != fails).or_else(|| alternatives().next());
        let failed = || apart.terms.iter().filter(|term| is_failure(term.cause.kind()));
        let failing = failed().max_by(|one, other| one.share.value.abs().total_cmp(&other.share.value.abs()));
        let failing = failing.filter(|term| term.share.value.abs() >= MATTERS * apart.apart.abs());
        Verdict::Apart {
            rule,
            by,
            limit,
            unit,
            cause: Box::new(main.cause.clone()),
            share: main.share.value,
            apart: apart.apart,
            declared: declared(self.setup, main),
            rest: apart.rest,
            failing: failing.map(|term| Box::new(term.cause.clone())),
            failing_share: failed().map(|term| term.share.value).sum(),
            position_limit: (trip.rule == TripRule::PositionDiscrepancy).then_some(limit),
            position_unit: self.setup.unit.symbol().to_owned(),
            or_else: or_else.map(|other| (other.instead, other.tell_apart.clone())),
        }
    }

    /// What the two lines of a value changed in the last tenth of a second before they were too far apart.
    fn lines_moved(&self, trip: &Trip) -> [f64; 2] {
        let place = |at| self.points.partition_point(|point| point.now < at);
        let since = trip.crossed_at.as_nanos().saturating_sub(100_000_000);
        let (from, to) = (place(Instant::from_nanos(since)), place(trip.tripped_at));
        let value = |at: usize, line: usize| self.points.get(at).and_then(|point| point.values[line]);
        [0, 1].map(|line| value(to, line).zip(value(from, line)).map_or(0.0, |(now, before)| now - before))
    }

    fn planned(&self, stop: &Stop) -> Verdict {
        let monitor = &self.setup.monitors[stop.monitor];
        let demands: Vec<_> = monitor.demand.iter().map(|demand| self.setup.demand_text(demand)).collect();
        let demand = if demands.is_empty() { "a trip".to_owned() } else { demands.join(" or ") };
        Verdict::Planned { monitor: monitor.name.clone(), kind: monitor.kind.name().to_owned(), demand }
    }
}

/// A share of what the positions are apart by that matters.
const MATTERS: f64 = 0.05;

/// The standard deviation of some values, from their median deviation: what changes in the middle of them does not count. Zero of fewer
/// than two.
fn scatter(values: &[f64]) -> f64 {
    if values.len() < 2 {
        return 0.0;
    }
    let middle = |values: &mut Vec<f64>| {
        let place = values.len() / 2;
        *values.select_nth_unstable_by(place, f64::total_cmp).1
    };
    let median = middle(&mut values.to_vec());
    let mut deviations: Vec<f64> = values.iter().map(|value| (value - median).abs()).collect();
    // The factor for a normal distribution (any textbook on robust statistics).
    1.4826 * middle(&mut deviations)
}
