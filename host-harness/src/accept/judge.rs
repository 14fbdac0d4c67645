//! A trial against what its trace came to.

use monitor_core::{Channel, Instant};

use super::amount::Amount;
use super::closest::{Closest, closest};
use super::lasting::Lasting;
use super::plan::{Count, Rest, Rule, Sort, Trial, Wanted};
use super::recording::{Recording, Seen};
use super::report::{CheckReport, Judgement};
use super::words;
use crate::replay::{Fault, FaultKind, Gap, Outcome, Stop, StopKind, Trip, TripRule};
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
    let seen = recording.seen.get(place);
    let mut trialled =
        Judge { setup, trial, recording, seen, outcome: &recording.outcome, checks: Vec::new() };
    match &trial.wanted {
        Wanted::Trips { rule, channels, .. } => trialled.trips(*rule, channels),
        Wanted::Nothing(rule) => trialled.nothing(*rule),
        Wanted::Completes { monitor, channels, .. } => trialled.completes(*monitor, channels),
        Wanted::Turns { monitor, on } => trialled.turns(*monitor, *on),
        Wanted::Faults(sort) => trialled.faults(*sort),
    }
    trialled.gaps();
    let others = trialled.others();
    trialled.nothing_else(&others);
    Carried { checks: trialled.checks, others }
}

struct Judge<'a> {
    setup: &'a Setup,
    trial: &'a Trial,
    recording: &'a Recording,
    seen: Option<&'a Seen>,
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

    fn trips(&mut self, rule: Rule, channels: &[Channel]) {
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
        self.permit(named.iter().map(|trip| trip.tripped_at).min(), Some(false));
        if let Wanted::Trips { rest: Some(rest), .. } = &self.trial.wanted {
            self.rested(rest, !named.is_empty());
        }
    }

    /// Says so where there was no permit to be taken when it happened first. One that was lost before is shown and not judged: what took it
    /// is among the others, or a demand of the plan. One that had not been given yet counts as said: nothing of the torque was seen.
    fn permit(&mut self, first: Option<Instant>, without: Option<bool>) {
        let Some(first) = first else { return };
        let permits = &self.recording.permits.kept;
        if permits.iter().any(|permit| permit.before(first)) {
            return;
        }
        let lost = permits.iter().filter_map(|permit| permit.until).rfind(|lost| *lost < first);
        let (met, note) = match lost {
            Some(lost) => (None, format!("it was lost before, at {} s", self.at(lost))),
            None => (without, "it had not been given".to_owned()),
        };
        self.checks.push(check("permit", None, met, note));
        self.all_kept(self.recording.permits.left_out, "permits");
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
        // A time from a demand that is there from the first frame on would begin with the trace.
        if *demand || *count == Count::Demand {
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
        if let Some(trip) = trips.iter().find(|trip| !begins(trip)) {
            self.not_begun(on, trip.demanded_at);
        } else if let Some(trip) = trips.first() {
            let note = format!("demanded at {} s", self.at(trip.demanded_at));
            self.checks.push(check("the trace shows the demand begin", on, Some(true), note));
        }
    }

    fn rested(&mut self, rest: &Rest, has_tripped: bool) {
        let what = "time from the last trip to rest";
        let rests = self.seen.map_or(&[][..], |seen| &seen.rests);
        let named: Vec<_> = rests.iter().filter(|(trip, _)| self.is_in_time(*trip)).collect();
        if named.is_empty() || named.iter().any(|(_, rest)| rest.is_none()) {
            let note = match (has_tripped, named.is_empty()) {
                (false, _) => "there is no such trip",
                (true, true) => "the last trip before it comes to rest is not in the time of the trial",
                (true, false) => "it does not come to rest in this trace",
            };
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

    /// That the rule does not trip in its time: it must have been active then, and have compared something.
    fn nothing(&mut self, rule: Rule) {
        let is_it = |trip: &&Trip| self.is_of(trip, rule) && self.is_in_time(trip.tripped_at);
        let trips: Vec<String> =
            self.outcome.trips.kept.iter().filter(is_it).map(|trip| self.trip_in_words(trip)).collect();
        self.checks.push(check("does not trip", None, Some(trips.is_empty()), trips.join("; ")));
        let all = closest(self.setup, self.outcome, rule);
        let window = self.trial.window;
        let is_in_time = |at_work: &&Lasting| {
            window.to.is_none_or(|to| self.nanos(at_work.from) <= to)
                && (window.from.zip(at_work.until)).is_none_or(|(from, until)| self.nanos(until) > from)
        };
        let at_work = self.seen.map_or(&[][..], |seen| &seen.at_work.kept);
        if all.iter().all(|closest| closest.least.is_some()) && !at_work.iter().any(|of| is_in_time(&of)) {
            let when = words::window(window);
            let note =
                format!("it is never active{when} with a reading of both channels: nothing is shown of it");
            self.checks.push(check("is active", None, Some(false), note));
        }
        for Closest { on, least } in all {
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

    /// The stops of a monitor that were completed in the time of the trial.
    fn stops(&self, monitor: usize, kind: StopKind) -> Vec<Stop> {
        let stops = self.outcome.stops.kept.iter();
        let stops = stops.filter(|stop| stop.monitor == monitor && stop.kind == kind);
        stops.filter(|stop| self.is_in_time(stop.completed_at)).copied().collect()
    }

    fn completes(&mut self, monitor: usize, channels: &[Channel]) {
        if channels.is_empty() {
            self.withdraws(monitor);
        }
        let demanded_at = channels.iter().filter_map(|&on| self.stopped(monitor, on)).min();
        self.permit(demanded_at, Some(false));
        self.all_kept(self.outcome.stops.left_out, "stops");
    }

    /// A demand of no torque shows something only where there was a permit.
    fn withdraws(&mut self, monitor: usize) {
        let stops = self.stops(monitor, StopKind::TorqueOff);
        let has_lost = |stop: &&Stop| {
            self.recording.permits.kept.iter().any(|permit| permit.until == Some(stop.completed_at))
        };
        let note = |stop: &Stop| format!("demanded at {} s", self.at(stop.demanded_at));
        let made = match (stops.iter().find(has_lost), stops.first()) {
            (Some(stop), _) => (true, Some(stop.completed_at), note(stop)),
            (None, Some(stop)) => (false, None, note(stop) + ", when there was no permit"),
            (None, None) => (false, None, format!("it does not{}", words::window(self.trial.window))),
        };
        let (met, at, note) = made;
        let at_s = at.map(|at| Seconds(self.nanos(at)));
        self.checks.push(CheckReport { at_s, ..check("withdraws the permit", None, Some(met), note) });
    }

    /// When the first stop of a channel that was carried through was demanded.
    fn stopped(&mut self, monitor: usize, on: Channel) -> Option<Instant> {
        let Wanted::Completes { within, .. } = &self.trial.wanted else { return None };
        let (what, stops) = ("is carried through", self.stops(monitor, StopKind::Stop(on)));
        let lasted =
            |stop: &&Stop| i128::from(stop.completed_at.as_nanos()) - i128::from(stop.demanded_at.as_nanos());
        let (Some(first), Some(longest)) = (stops.first(), stops.iter().max_by_key(lasted)) else {
            let note = format!("it does not{}", words::window(self.trial.window));
            self.checks.push(check(what, Some(on), Some(false), note));
            return None;
        };
        let note = format!("demanded at {} s", self.at(first.demanded_at));
        let at_s = Some(Seconds(self.nanos(first.completed_at)));
        self.checks.push(CheckReport { at_s, ..check(what, Some(on), Some(true), note) });
        // One that is demanded from the first frame on may have begun any time before.
        if let Some(stop) = stops.iter().find(|stop| self.outcome.first == Some(stop.demanded_at)) {
            self.not_begun(Some(on), stop.demanded_at);
        }
        let bound = within.as_ref().map(|within| Amount::Time(within.value.as_nanos().into()));
        let most = Amount::Time(lasted(&longest));
        self.measured("time from the demand", Some(on), longest.completed_at, (most, bound), stops.len());
        Some(first.demanded_at)
    }

    fn not_begun(&mut self, on: Option<Channel>, demanded_at: Instant) {
        let note = format!("the demand of {} s does not begin in this trace", self.at(demanded_at));
        self.checks.push(check("the trace shows the demand begin", on, Some(false), note));
    }

    /// An output that is there as soon as it sees anything has not changed.
    fn turns(&mut self, monitor: usize, on: bool) {
        let what = if on { "turns on" } else { "turns off" };
        let at_work = self.seen.map_or(&[][..], |seen| &seen.at_work.kept);
        let switches = self.outcome.switches.kept.iter();
        let switches = switches.filter(|switch| switch.monitor == monitor && switch.on == on);
        let switches: Vec<_> = switches.filter(|switch| self.is_in_time(switch.at)).collect();
        let changed = switches.iter().find(|switch| at_work.iter().any(|of| of.before(switch.at)));
        let made = match (changed, switches.first()) {
            (Some(switch), _) => CheckReport {
                at_s: Some(Seconds(self.nanos(switch.at))),
                ..check(what, None, Some(true), String::new())
            },
            (None, Some(switch)) => {
                let note = format!("only as it sees anything first, at {} s", self.at(switch.at));
                check(what, None, Some(false), note)
            }
            (None, None) => {
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
        // A source that is bad from the first frame on leaves the axis without one: that is what it has to do.
        self.permit(first, None);
    }

    /// What is measured across a stretch that nobody recorded is not known.
    fn gaps(&mut self) {
        let window = self.trial.window;
        let is_in_time = |gap: &&Gap| {
            window.from.is_none_or(|from| self.nanos(gap.to) > from)
                && window.to.is_none_or(|to| self.nanos(gap.from) < to)
        };
        let gaps: Vec<&Gap> = self.outcome.gaps.kept.iter().filter(is_in_time).collect();
        if let Some(first) = gaps.first() {
            let more = if gaps.len() > 1 { format!(", the first of {}", gaps.len()) } else { String::new() };
            let note = format!("nothing from {} s to {} s{more}", self.at(first.from), self.at(first.to));
            self.checks.push(check("the trace has no gap", None, Some(false), note));
        }
        self.all_kept(self.outcome.gaps.left_out, "gaps");
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
