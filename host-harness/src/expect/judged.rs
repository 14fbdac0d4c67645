//! What a trace comes to, expectation by expectation.

use std::fmt::Display;

use toml::Spanned;

use super::entries::{FaultEntry, Others, OutputEntry, ResetEntry, StopEntry, TripEntry, level, word};
use super::{Expectations, Miss};
use crate::plural::plural;
use crate::report::{FaultReport, OutputReport, Report, ResetReport, StopReport, TripReport};

/// One expectation, held against a trace.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Judged {
    /// What is expected, in words.
    pub expected: String,
    /// The line of the file at which it stands, from 1; `None` for what holds without being written.
    pub line: Option<usize>,
    /// In what the trace differs from it; empty when it is met.
    pub misses: Vec<Miss>,
}

/// Whether one of the entries is met.
fn is_named<E>(entries: &[Spanned<E>], is_met: impl Fn(&E) -> bool) -> bool {
    entries.iter().any(|entry| is_met(entry.get_ref()))
}

impl Judged {
    /// What is expected of a trace without a file that says so: that nothing trips and nothing is faulted.
    #[must_use]
    pub fn without_expectations(report: &Report) -> Self {
        let trips = report.trips.iter().map(|trip| {
            let TripReport { observed, beyond, limit, unit, .. } = trip;
            format!("{}: {observed} {unit}, {beyond} the limit of {limit} {unit}", tripped(trip))
        });
        let mut found: Vec<String> = trips.chain(report.faults.iter().map(faulted)).collect();
        for (left_out, what) in [(report.left_out.trips, "trip"), (report.left_out.faults, "fault")] {
            found.extend((left_out > 0).then(|| format!("{} more than are kept", plural(left_out, what))));
        }
        Self {
            expected: "nothing trips and nothing is faulted".to_owned(),
            line: None,
            misses: found.into_iter().map(Miss).collect(),
        }
    }
}

impl Expectations {
    /// Every expectation in turn, and what a replay differs in from it. The last one is that nothing else happens, of which an entry
    /// would have to speak; where others are accepted it is there only if something keeps the entries from being judged.
    #[must_use]
    pub fn judged(&self, report: &Report) -> Vec<Judged> {
        let mut judged = Vec::new();
        if let Some(verdict) = &self.verdict {
            let expected = verdict.get_ref();
            let mut misses = Vec::new();
            if !expected.is(report.verdict) {
                let found = word(report.verdict);
                misses.push(Miss(format!("the verdict is {found}, expected {}", expected.name())));
            }
            let line = self.line(verdict);
            judged.push(Judged { expected: format!("the verdict is {}", expected.name()), line, misses });
        }
        self.must_happen(&self.trip, &report.trips, TripEntry::is_met_by, &mut judged);
        self.must_happen(&self.fault, &report.faults, FaultEntry::is_met_by, &mut judged);
        self.must_not_happen(report, &mut judged);
        self.must_happen(&self.stop, &report.stops, StopEntry::is_met_by, &mut judged);
        self.must_happen(&self.output, &report.outputs, OutputEntry::is_met_by, &mut judged);
        self.must_happen(&self.reset, &report.resets, ResetEntry::is_met_by, &mut judged);
        judged.extend(self.nothing_else(report));
        judged
    }

    /// The line at which something stands; `None` where the text of the file is not known.
    fn line<T>(&self, what: &Spanned<T>) -> Option<usize> {
        let before = self.lines.iter().take_while(|start| **start <= what.span().start).count();
        (before > 0).then_some(before)
    }

    fn must_happen<E: Display, F>(
        &self,
        entries: &[Spanned<E>],
        found: &[F],
        is_met_by: impl Fn(&E, &F) -> bool,
        judged: &mut Vec<Judged>,
    ) {
        for spanned in entries {
            let entry = spanned.get_ref();
            let mut misses = Vec::new();
            if !found.iter().any(|found| is_met_by(entry, found)) {
                misses.push(Miss(format!("expected {entry}; there was none")));
            }
            judged.push(Judged { expected: entry.to_string(), line: self.line(spanned), misses });
        }
    }

    /// A trip is held against the first entry that forbids it.
    fn must_not_happen(&self, report: &Report, judged: &mut Vec<Judged>) {
        for (number, spanned) in self.no_trip.iter().enumerate() {
            let entry = spanned.get_ref();
            let is_this = |trip: &&TripReport| {
                let first = self.no_trip.iter().position(|entry| entry.get_ref().is_met_by(trip));
                first == Some(number)
            };
            let misses = report.trips.iter().filter(is_this);
            let misses = misses.map(|trip| Miss(format!("{}; expected not to see {entry}", tripped(trip))));
            let line = self.line(spanned);
            judged.push(Judged { expected: format!("not {entry}"), line, misses: misses.collect() });
        }
    }

    fn nothing_else(&self, report: &Report) -> Option<Judged> {
        let is_refused = self.others() == Others::Refused;
        let mut misses = Vec::new();
        if is_refused {
            let unnamed = self.other_trips(report).chain(self.other_faults(report));
            let unnamed = unnamed.chain(self.other_stops(report)).chain(self.other_outputs(report));
            let unnamed = unnamed.chain(self.other_resets(report));
            misses.extend(unnamed.map(|what| Miss(format!("{what}; no expectation names it"))));
        }
        let left_out = &report.left_out;
        for (is_judged, left_out, what) in [
            (true, left_out.trips + left_out.faults, "trips or faults"),
            (!self.stop.is_empty(), left_out.stops, "stops"),
            (!self.output.is_empty(), left_out.outputs, "changes of outputs"),
            (!self.reset.is_empty(), left_out.resets, "resets"),
        ] {
            if is_judged && left_out > 0 {
                misses.push(Miss(format!(
                    "more {what} than are kept; expectations cannot be held against all"
                )));
            }
        }
        let expected = if is_refused {
            let mut kinds = vec!["trip", "fault"];
            kinds.extend((!self.stop.is_empty()).then_some("stop of a monitor that is named"));
            kinds.extend((!self.output.is_empty()).then_some("change of an output that is named"));
            kinds.extend((!self.reset.is_empty()).then_some("reset"));
            let last = kinds.pop().unwrap_or_default();
            format!("no other {} or {last}", kinds.join(", "))
        } else if misses.is_empty() {
            return None;
        } else {
            "all is kept that expectations are held against".to_owned()
        };
        let line = self.others.as_ref().and_then(|others| self.line(others));
        Some(Judged { expected, line, misses })
    }

    fn other_trips(&self, report: &Report) -> impl Iterator<Item = String> {
        let is_other = |trip: &&TripReport| {
            let names = |entry: &TripEntry| entry.is_met_by(trip);
            !is_named(&self.trip, names) && !is_named(&self.no_trip, names)
        };
        report.trips.iter().filter(is_other).map(tripped)
    }

    fn other_faults(&self, report: &Report) -> impl Iterator<Item = String> {
        let is_other =
            |fault: &&FaultReport| !is_named(&self.fault, |entry: &FaultEntry| entry.is_met_by(fault));
        report.faults.iter().filter(is_other).map(faulted)
    }

    /// Of monitors that an entry names.
    fn other_stops(&self, report: &Report) -> impl Iterator<Item = String> {
        let is_other = |stop: &&StopReport| {
            is_named(&self.stop, |entry: &StopEntry| *entry.monitor.get_ref() == stop.monitor)
                && !is_named(&self.stop, |entry| entry.is_met_by(stop))
        };
        report.stops.iter().filter(is_other).map(|stop| {
            let channel = stop.channel.as_ref();
            let place = channel.map_or_else(String::new, |channel| format!(" on channel {channel}"));
            format!("the stop `{}`{place} at {} s", stop.monitor, stop.completed_s)
        })
    }

    /// Of outputs that an entry names.
    fn other_outputs(&self, report: &Report) -> impl Iterator<Item = String> {
        let is_other = |output: &&OutputReport| {
            is_named(&self.output, |entry: &OutputEntry| *entry.monitor.get_ref() == output.monitor)
                && !is_named(&self.output, |entry| entry.is_met_by(output))
        };
        report.outputs.iter().filter(is_other).map(|output| {
            format!("the output `{}` became {} at {} s", output.monitor, level(output.on), output.at_s)
        })
    }

    /// Where an entry names one.
    fn other_resets(&self, report: &Report) -> impl Iterator<Item = String> {
        let is_other = |reset: &&ResetReport| {
            !self.reset.is_empty() && !is_named(&self.reset, |entry: &ResetEntry| entry.is_met_by(reset))
        };
        let resets = report.resets.iter().filter(is_other);
        resets.map(|reset| format!("a reset at {} s, {}", reset.at_s, reset.result))
    }
}

/// A trip in words.
fn tripped(trip: &TripReport) -> String {
    format!("`{}` tripped on channel {} at {} s", trip.monitor, trip.channel, trip.tripped_s)
}

/// A fault in words.
fn faulted(fault: &FaultReport) -> String {
    let place = match (&fault.channel, &fault.input, &fault.analogue) {
        (Some(line), _, Some(analogue)) => format!(" of line {line} of `{analogue}`"),
        (Some(channel), ..) => format!(" on channel {channel}"),
        (None, Some(input), _) => format!(" of input `{input}`"),
        (None, None, _) => String::new(),
    };
    format!("fault `{}`{place} at {} s", fault.kind, fault.at_s)
}
