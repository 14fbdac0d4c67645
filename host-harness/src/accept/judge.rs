//! A trial against what its trace came to.

use monitor_core::{Channel, Instant};

use super::amount::Amount;
use super::closest::{Closest, closest};
use super::plan::{Count, Rest, Rule, Sort, Trial, Wanted};
use super::report::{CheckReport, Judgement};
use super::rest::Recording;
use super::words;
use crate::replay::{Fault, FaultKind, Outcome, StopKind, Trip, TripRule};
use crate::report::{Figures, Seconds, faulted, rule, short};
use crate::setup::Setup;

/// What a trial that was carried out came to.
#[derive(Debug)]
pub struct Carried {
    /// Everything that was held to a bound, or is only shown.
    pub checks: Vec<CheckReport>,
    /// What else tripped or was faulted, in words.
    pub others: Vec<String>,
}

impl Carried {
    /// Whether everything was as wanted.
    #[must_use]
    pub fn judgement(&self) -> Judgement {
        let is_missed = |check: &CheckReport| check.met == Some(false);
        if self.checks.iter().any(is_missed) { Judgement::Failed } else { Judgement::Passed }
    }
}

/// Holds a trial against the replay of its trace; `place` is that of the trial among those of the recording.
#[must_use]
pub fn judge(setup: &Setup, trial: &Trial, recording: &Recording, place: usize) -> Carried {
    let mut trialled = Judge { setup, trial, outcome: &recording.outcome, checks: Vec::new() };
    let rests = recording.rests.get(place).map_or(&[][..], Vec::as_slice);
    match &trial.wanted {
        Wanted::Trips { rule, channels, .. } => trialled.trips(*rule, channels, rests),
        Wanted::Nothing(rule) => trialled.nothing(*rule),
        Wanted::Completes { monitor, channels, .. } => trialled.completes(*monitor, channels),
        Wanted::Turns { monitor, on } => trialled.turns(*monitor, *on),
        Wanted::Faults(sort) => trialled.faults(*sort),
    }
    let others = trialled.others();
    trialled.nothing_else(&others);
    Carried { checks: trialled.checks, others }
}

struct Judge<'a> {
    setup: &'a Setup,
    trial: &'a Trial,
    outcome: &'a Outcome,
    checks: Vec<CheckReport>,
}

/// A check that is met or missed, without a number.
fn check(what: impl Into<String>, on: Option<Channel>, met: Option<bool>, note: String) -> CheckReport {
    let channel = on.map(|on| words::channel(on).to_owned());
    let (measured, bound, margin, at_s) = (None, None, None, None);
    CheckReport { what: what.into(), channel, at_s, measured, bound, margin, met, note }
}

impl Judge<'_> {
    fn nanos(&self, instant: Instant) -> i128 {
        self.outcome.time_ns(instant)
    }

    fn at(&self, instant: Instant) -> String {
        short(self.nanos(instant))
    }

    fn is_in_time(&self, instant: Instant) -> bool {
        self.trial.window.holds(self.nanos(instant))
    }

    /// A number, with its bound where there is one; `others` are how many were better.
    fn measured(
        &mut self,
        what: &str,
        on: Option<Channel>,
        at: Instant,
        (most, bound): (Amount, Option<Amount>),
        of: usize,
    ) {
        let margin = bound.as_ref().and_then(|bound| most.left_to(bound));
        let note = if of > 1 { format!("the worst of {of}") } else { String::new() };
        // A bound in another unit is one that nothing was held against.
        let (met, note) = match (&bound, &margin) {
            (None, _) => (None, note),
            (Some(_), Some(margin)) => (Some(!margin.is_negative()), note),
            (Some(_), None) => {
                (Some(false), "it tripped by another quantity than the bound is of".to_owned())
            }
        };
        self.checks.push(CheckReport {
            at_s: Some(Seconds(self.nanos(at))),
            measured: Some(most),
            bound,
            margin,
            ..check(what, on, met, note)
        });
    }

    fn is_named(&self, trip: &Trip) -> bool {
        let Wanted::Trips { rule, channels, .. } = &self.trial.wanted else { return false };
        let is_of = match (trip.rule, *rule) {
            (TripRule::Monitor(this, on), Rule::Monitor(place)) => this == place && channels.contains(&on),
            (TripRule::PositionDiscrepancy, Rule::Position) => true,
            (TripRule::SpeedDiscrepancy, Rule::Speed) => true,
            (TripRule::Analogue(this), Rule::Analogue(place)) => this == place,
            _ => false,
        };
        is_of && self.is_in_time(trip.tripped_at)
    }

    fn trips(&mut self, rule: Rule, channels: &[Channel], rests: &[(Instant, Option<Instant>)]) {
        let named: Vec<&Trip> = self.outcome.trips.kept.iter().filter(|trip| self.is_named(trip)).collect();
        let on: Vec<Option<Channel>> = match channels {
            [] => vec![None],
            some => some.iter().copied().map(Some).collect(),
        };
        for on in on {
            let of: Vec<&Trip> =
                named.iter().copied().filter(|trip| on.is_none_or(|on| is_on(trip, on))).collect();
            self.tripped(rule, on, &of);
        }
        self.permit(named.iter().map(|trip| trip.tripped_at).min());
        if let Wanted::Trips { rest: Some(rest), .. } = &self.trial.wanted {
            self.rested(rest, rests, !named.is_empty());
        }
    }

    /// Says so where there was no permit left to be taken when it happened first. That is shown and not judged: what took it before is
    /// among the others, or a demand of the plan.
    fn permit(&mut self, first: Option<Instant>) {
        let Some(first) = first else { return };
        let note = match (self.outcome.permit_given_at, self.outcome.permit_lost_at) {
            (Some(given), _) if given >= first => "it was not given before".to_owned(),
            (None, _) => "it was never given".to_owned(),
            (_, Some(lost)) if lost < first => format!("it was lost before, first at {} s", self.at(lost)),
            _ => return,
        };
        self.checks.push(check("permit", None, None, note));
    }

    /// The trips of one channel, or of a rule on both.
    fn tripped(&mut self, rule: Rule, on: Option<Channel>, trips: &[&Trip]) {
        let Some(first) = trips.first() else {
            let when = words::window(self.trial.window);
            self.checks.push(check("trips", on, Some(false), format!("there is no such trip{when}")));
            return;
        };
        let (_, kind) = words::rule(self.setup, rule);
        let figures = Figures::new(self.setup, first.rule, &first.evidence);
        let more = if trips.len() > 1 {
            format!("; {} trips, this is the first", trips.len())
        } else {
            String::new()
        };
        let seen = CheckReport {
            at_s: Some(Seconds(self.nanos(first.tripped_at))),
            ..check("trips", on, Some(true), figures.line(kind) + &more)
        };
        self.checks.push(seen);
        let Wanted::Trips { demand, within, count, overshoot, .. } = &self.trial.wanted else { return };
        if *demand {
            self.demanded(on, trips);
        }
        let lasted = |trip: &&&Trip| {
            let from = match count {
                Count::Crossing => trip.crossed_at,
                Count::Demand => trip.demanded_at,
            };
            i128::from(trip.tripped_at.as_nanos()) - i128::from(from.as_nanos())
        };
        if let Some(slowest) = trips.iter().max_by_key(lasted) {
            let what = match count {
                Count::Crossing => "time from the crossing to the trip",
                Count::Demand => "time from the demand to the trip",
            };
            let bound = within.as_ref().map(|within| Amount::Time(within.value.as_nanos().into()));
            self.measured(what, on, slowest.tripped_at, (Amount::Time(lasted(&slowest)), bound), trips.len());
        }
        // Different quantities cannot be ordered; then that of the bound counts, and one that is not of it is missed below.
        let unit = |trip: &Trip| Figures::new(self.setup, trip.rule, &trip.evidence).unit;
        let bound = overshoot.as_ref().map(|overshoot| overshoot.value.clone());
        let wrong = bound.as_ref().and_then(|bound| match bound {
            Amount::Value(_, bound) => trips.iter().find(|trip| unit(trip) != *bound),
            Amount::Time(_) => None,
        });
        if let Some(furthest) = wrong.or_else(|| trips.iter().max_by_key(|trip| trip.furthest)) {
            let most = Amount::Value(furthest.furthest, unit(furthest));
            self.measured(
                "beyond the limit until the trip",
                on,
                furthest.tripped_at,
                (most, bound),
                trips.len(),
            );
        }
    }

    /// The demand of each trip begins in the trace.
    fn demanded(&mut self, on: Option<Channel>, trips: &[&Trip]) {
        let begins = |trip: &&&Trip| {
            self.outcome.first.is_some_and(|first| trip.demanded_at > first)
                && trip.demanded_at <= trip.crossed_at
        };
        let made = match trips.iter().find(|trip| !begins(trip)) {
            None => trips.first().map(|trip| (true, format!("demanded at {} s", self.at(trip.demanded_at)))),
            Some(trip) => Some((
                false,
                format!("the demand of {} s does not begin in this trace", self.at(trip.demanded_at)),
            )),
        };
        let made = made.map(|(met, note)| check("the trace shows the demand begin", on, Some(met), note));
        self.checks.extend(made);
    }

    fn rested(&mut self, rest: &Rest, rests: &[(Instant, Option<Instant>)], has_tripped: bool) {
        let what = "time from the last trip to rest";
        let named: Vec<_> = rests.iter().filter(|(trip, _)| self.is_in_time(*trip)).collect();
        if named.is_empty() || named.iter().any(|(_, rest)| rest.is_none()) {
            let note =
                if has_tripped { "it does not come to rest in this trace" } else { "there is no such trip" };
            self.checks.push(check(what, None, Some(false), note.to_owned()));
            return;
        }
        let lasted = |trip: Instant, rest: Instant| i128::from(rest.as_nanos()) - i128::from(trip.as_nanos());
        let times = named.iter().filter_map(|(trip, rest)| rest.map(|rest| (lasted(*trip, rest), rest)));
        if let Some((longest, at)) = times.max() {
            let bound = Amount::Time(rest.within.value.as_nanos().into());
            self.measured(what, None, at, (Amount::Time(longest), Some(bound)), named.len());
        }
    }

    /// That the rule does not trip in its time: it must have been active, and have compared something.
    fn nothing(&mut self, rule: Rule) {
        let is_it = |trip: &&Trip| self.is_of(trip, rule) && self.is_in_time(trip.tripped_at);
        let trips: Vec<String> =
            self.outcome.trips.kept.iter().filter(is_it).map(|trip| self.trip_in_words(trip)).collect();
        self.checks.push(check("does not trip", None, Some(trips.is_empty()), trips.join("; ")));
        for Closest { on, least } in closest(self.setup, self.outcome, rule) {
            match least {
                Some((left, at)) => {
                    self.measured("closest to its limit in the whole trace, left", on, at, (left, None), 1)
                }
                None => {
                    let note = "it was never active, or compared nothing: this trace shows nothing of it";
                    self.checks.push(check("is active", on, Some(false), note.to_owned()));
                }
            }
        }
    }

    fn is_of(&self, trip: &Trip, rule: Rule) -> bool {
        match (trip.rule, rule) {
            (TripRule::Monitor(this, _), Rule::Monitor(place)) => this == place,
            (TripRule::PositionDiscrepancy, Rule::Position) => true,
            (TripRule::SpeedDiscrepancy, Rule::Speed) => true,
            (TripRule::Analogue(this), Rule::Analogue(place)) => this == place,
            _ => false,
        }
    }

    fn completes(&mut self, monitor: usize, channels: &[Channel]) {
        let Wanted::Completes { within, .. } = &self.trial.wanted else { return };
        let kinds = match channels {
            [] => vec![(None, StopKind::TorqueOff)],
            some => some.iter().map(|&on| (Some(on), StopKind::Stop(on))).collect(),
        };
        for (on, kind) in kinds {
            let stops = self.outcome.stops.kept.iter();
            let stops = stops.filter(|stop| stop.monitor == monitor && stop.kind == kind);
            let stops: Vec<_> = stops.filter(|stop| self.is_in_time(stop.completed_at)).collect();
            let what = if on.is_some() { "is carried through" } else { "withdraws the permit" };
            let Some(first) = stops.first() else {
                let when = words::window(self.trial.window);
                self.checks.push(check(what, on, Some(false), format!("it does not{when}")));
                continue;
            };
            let note = format!("demanded at {} s", self.at(first.demanded_at));
            let at_s = Some(Seconds(self.nanos(first.completed_at)));
            self.checks.push(CheckReport { at_s, ..check(what, on, Some(true), note) });
            if on.is_none() {
                continue;
            }
            let lasted = |stop: &&&crate::replay::Stop| {
                i128::from(stop.completed_at.as_nanos()) - i128::from(stop.demanded_at.as_nanos())
            };
            if let Some(longest) = stops.iter().max_by_key(lasted) {
                let bound = within.as_ref().map(|within| Amount::Time(within.value.as_nanos().into()));
                let most = Amount::Time(lasted(&longest));
                self.measured("time from the demand", on, longest.completed_at, (most, bound), stops.len());
            }
        }
        self.all_kept(self.outcome.stops.left_out, "stops");
    }

    fn turns(&mut self, monitor: usize, on: bool) {
        let what = if on { "turns on" } else { "turns off" };
        let switches = self.outcome.switches.kept.iter();
        let mut switches = switches.filter(|switch| switch.monitor == monitor && switch.on == on);
        let found = switches.find(|switch| self.is_in_time(switch.at));
        let made = match found {
            Some(switch) => CheckReport {
                at_s: Some(Seconds(self.nanos(switch.at))),
                ..check(what, None, Some(true), String::new())
            },
            None => {
                check(what, None, Some(false), format!("it does not{}", words::window(self.trial.window)))
            }
        };
        self.checks.push(made);
        self.all_kept(self.outcome.switches.left_out, "changes of outputs");
    }

    fn is_sort(&self, fault: &Fault, sort: Sort) -> bool {
        let is_of = match (fault.kind, sort) {
            (FaultKind::Channel(on, how, _), Sort::Channel(name, of)) => on == of && how.name() == name,
            (FaultKind::Analogue(this, on, how, _), Sort::Line(name, place, of)) => {
                this == place && on == of && how.name() == name
            }
            (FaultKind::Input(this), Sort::Input(place)) => this == place,
            (FaultKind::Unreferenced(this, on), Sort::Unreferenced(place, of)) => {
                this == place && of.is_none_or(|of| of == on)
            }
            (FaultKind::Clock, Sort::Clock) => true,
            _ => false,
        };
        is_of && self.is_in_time(fault.from)
    }

    fn faults(&mut self, sort: Sort) {
        let faults = self.outcome.faults.kept.iter();
        let found: Vec<_> = faults.filter(|fault| self.is_sort(fault, sort)).collect();
        let made = match found.first() {
            None => {
                let when = words::window(self.trial.window);
                check("is faulted", None, Some(false), format!("there is no such fault{when}"))
            }
            Some(first) => {
                let until =
                    if first.frames > 1 { format!("until {} s", self.at(first.to)) } else { String::new() };
                let at_s = Some(Seconds(self.nanos(first.from)));
                CheckReport { at_s, ..check("is faulted", None, Some(true), until) }
            }
        };
        let first = found.iter().map(|fault| fault.from).min();
        self.checks.push(made);
        self.permit(first);
    }

    fn all_kept(&mut self, left_out: u64, what: &str) {
        if left_out > 0 {
            let note = format!("there are {left_out} more {what} than are kept: a trial is one short run");
            self.checks.push(check("everything is kept that is judged", None, Some(false), note));
        }
    }

    fn trip_in_words(&self, trip: &Trip) -> String {
        let (name, _, on) = rule(self.setup, trip.rule);
        let on = if on == "both" { String::new() } else { format!(" on channel {on}") };
        format!("\"{name}\" trips{on} at {} s", self.at(trip.tripped_at))
    }

    /// What happened that the trial does not name.
    fn others(&self) -> Vec<String> {
        let is_other = |trip: &&Trip| match self.trial.wanted {
            // Said already, where it must not be.
            Wanted::Nothing(rule) => !(self.is_of(trip, rule) && self.is_in_time(trip.tripped_at)),
            _ => !self.is_named(trip),
        };
        let trips = self.outcome.trips.kept.iter().filter(is_other).map(|trip| self.trip_in_words(trip));
        let is_other = |fault: &&Fault| match self.trial.wanted {
            Wanted::Faults(sort) => !self.is_sort(fault, sort),
            _ => true,
        };
        let faults = self.outcome.faults.kept.iter().filter(is_other).map(|fault| {
            let (how, who) = faulted(self.setup, fault.kind);
            format!("{who} is faulted ({how}) at {} s", self.at(fault.from))
        });
        trips.chain(faults).collect()
    }

    fn nothing_else(&mut self, others: &[String]) {
        self.all_kept(self.outcome.trips.left_out + self.outcome.faults.left_out, "trips and faults");
        if self.trial.allow_others {
            return;
        }
        // The report lists them by themselves.
        let note = match others.len() {
            0 => String::new(),
            1 => "one that the trial does not name".to_owned(),
            many => format!("{many} that the trial does not name"),
        };
        self.checks.push(check("nothing else trips or is faulted", None, Some(others.is_empty()), note));
    }
}

fn is_on(trip: &Trip, on: Channel) -> bool {
    matches!(trip.rule, TripRule::Monitor(_, of) if of == on)
}
