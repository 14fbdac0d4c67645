//! The first difference, in words: what the reference says, and why.

use std::fmt::Write;

use monitor_core::{Channel, Check, Evidence, Frame, MonitorId, Outcome, Sample, SourceFault};

use crate::replay::ReplayAxis;
use crate::setup::{AnalogueUnit, Setup, WarmUp};
use crate::vectors::Recorded;
use crate::vectors::columns::{COLUMNS, Kind, OUTCOMES, numbers};

/// Where a difference is.
pub(super) struct Place {
    pub(super) case: u64,
    pub(super) frame: u64,
    pub(super) line: usize,
}

/// What is known of the frame.
struct Story<'a> {
    setup: &'a Setup,
    axis: ReplayAxis,
    checks: Vec<(usize, Channel, Check)>,
    /// Since when each monitor is violated on each channel, in ns.
    since: Vec<[Option<u64>; 2]>,
    outcome: Outcome,
    shown: Frame,
    out: String,
}

/// Nanoseconds as milliseconds without the zeros at the end.
fn millis(nanos: u64) -> String {
    let text = format!("{}.{:06}", nanos / 1_000_000, nanos % 1_000_000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Explains the columns in which a row of the log differs. The reference is run up to that frame.
pub(super) fn first(
    vectors: &Recorded,
    fresh: &ReplayAxis,
    place: &Place,
    logged: &[u32; OUTCOMES],
    differs: &[usize],
) -> String {
    let case = &vectors.cases[place.case as usize];
    let setup = &vectors.setup;
    let (mut axis, mut checks) = (fresh.clone(), Vec::new());
    let mut since = vec![[None; 2]; setup.monitors.len()];
    let mut outcome = Outcome::default();
    for (shown, _) in &case.rows[..=place.frame as usize] {
        checks.clear();
        outcome = axis.step_watched(shown, &mut |id: MonitorId, channel, check| {
            checks.push((usize::from(id.index()), channel, *check));
        });
        for (number, since) in since.iter_mut().enumerate() {
            for (since, violated) in since.iter_mut().zip([outcome.violated.a, outcome.violated.b]) {
                let is = violated.to_bits() >> number & 1 == 1;
                *since = if is { since.or(Some(shown.now.as_nanos())) } else { None };
            }
        }
    }
    let shown = case.rows[place.frame as usize].0;
    let mut story = Story { setup, axis, checks, since, outcome, shown, out: String::new() };
    let begin = case.rows[0].0.now.as_nanos();
    let after = shown.now.as_nanos().saturating_sub(begin);
    let head = format!(
        "First difference: case {}, frame {} (line {} of the log), {} ms after the first frame\n  the case: {}\n",
        place.case,
        place.frame,
        place.line,
        millis(after),
        case.about
    );
    story.out.push_str(&head);
    let expected = numbers(&outcome);
    for &column in differs {
        let of = COLUMNS[column];
        // Writing to a String does not fail.
        let _ = writeln!(
            story.out,
            "  {}: the reference says {}, the log {}",
            of.name,
            of.kind.text(expected[column]),
            of.kind.text(logged[column])
        );
        story.why(column, expected[column], logged[column]);
    }
    story.out
}

impl Story<'_> {
    fn because(&mut self, text: &str) {
        self.out += &format!("      {text}\n");
    }

    fn why(&mut self, column: usize, expected: u32, logged: u32) {
        let differ = expected ^ logged;
        let of = COLUMNS[column];
        let channel = if of.name.starts_with("b_") { Channel::B } else { Channel::A };
        match of.kind {
            Kind::Monitors if of.name == "active" => self.demands(differ, expected),
            Kind::Monitors => {
                for number in (0..self.setup.monitors.len()).filter(|number| differ >> number & 1 == 1) {
                    self.monitor(number, channel);
                }
            }
            Kind::Inputs => self.inputs(differ, expected),
            Kind::Fault => self.source(channel),
            Kind::Flag => match of.name {
                "permit" => self.permit(),
                "warming_up" => self.warming_up(),
                "position_discrepancy_tripped" | "speed_discrepancy_tripped" => self.apart(),
                _ => {}
            },
            Kind::Reset => {}
        }
    }

    fn monitor(&mut self, number: usize, channel: Channel) {
        let setup = self.setup;
        let monitor = &setup.monitors[number];
        let letter = if channel == Channel::A { "a" } else { "b" };
        let unit = setup.unit.symbol();
        let named = format!("monitor \"{}\" on channel {letter}", monitor.name);
        let found = self.checks.iter().find(|(other, of, _)| *other == number && *of == channel);
        let Some((_, _, check)) = found.copied() else {
            return self
                .because(&format!("{named}: not evaluated, it is not active or the channel is faulted"));
        };
        if let Some(bound) = check.position {
            let verdict = if bound.is_exceeded() { "violated" } else { "not violated" };
            self.because(&format!(
                "{named}: travel {} {unit}, allowed {} {unit}: {verdict}",
                bound.observed, bound.limit
            ));
        }
        if let Some(bound) = check.speed {
            let verdict = if bound.is_exceeded() { "violated" } else { "not violated" };
            self.because(&format!(
                "{named}: speed {} {unit}/s, allowed {} {unit}/s: {verdict}",
                bound.observed, bound.limit
            ));
        }
        if let Some(bound) = check.value {
            let verdict = if bound.is_exceeded() { "violated" } else { "not violated" };
            let unit = setup.analogue_unit(number).map_or("", AnalogueUnit::symbol);
            self.because(&format!(
                "{named}: value {} {unit}, allowed {} {unit}: {verdict}",
                bound.observed, bound.limit
            ));
        }
        if check.warming_up {
            self.because(&format!("{named}: warming up, the speed is not known yet"));
        }
        if let Some(since) = self.since[number][usize::from(channel == Channel::B)] {
            let lasted = self.shown.now.as_nanos() - since;
            let on_delay = monitor.on_delay.value.as_nanos();
            self.because(&format!(
                "violated for {} ms of an on-delay of {} ms",
                millis(lasted),
                millis(on_delay)
            ));
        }
    }

    fn permit(&mut self) {
        let state = self.axis.state();
        let mut reasons = Vec::new();
        for trip in state.trips() {
            let name = match trip.rule {
                monitor_core::Tripped::Monitor(id, channel) => {
                    let letter = if channel == Channel::A { "a" } else { "b" };
                    format!("\"{}\" on channel {letter}", self.setup.monitors[usize::from(id.index())].name)
                }
                monitor_core::Tripped::PositionDiscrepancy => "the discrepancy".to_owned(),
                monitor_core::Tripped::SpeedDiscrepancy => "the speed discrepancy".to_owned(),
                monitor_core::Tripped::AnalogueDiscrepancy(id) => {
                    format!("the discrepancy of \"{}\"", self.setup.analogues[usize::from(id.index())].name)
                }
            };
            let ago = millis(self.shown.now.as_nanos().saturating_sub(trip.tripped_at.as_nanos()));
            let per = match trip.evidence {
                Evidence::Position(_) | Evidence::Overrun(_) => "",
                Evidence::Speed(_) => "/s",
                Evidence::Acceleration(_) => "/s^2",
                Evidence::Value(_) => "",
            };
            let unit = match trip.evidence {
                Evidence::Value(_) => {
                    let unit = match trip.rule {
                        monitor_core::Tripped::Monitor(id, _) => self.setup.analogue_unit(id.index().into()),
                        monitor_core::Tripped::AnalogueDiscrepancy(id) => {
                            Some(self.setup.analogues[usize::from(id.index())].unit)
                        }
                        _ => None,
                    };
                    unit.map_or("", AnalogueUnit::symbol)
                }
                _ => self.setup.unit.symbol(),
            };
            let what = format!("{} {unit}{per}", trip.evidence);
            reasons.push(format!("{name} tripped {ago} ms before and is latched: {}", what.trim_end()));
        }
        for (channel, letter) in Channel::BOTH.into_iter().zip(["a", "b"]) {
            if state.is_channel_faulted(channel) {
                reasons.push(format!("a fault of channel {letter} is latched"));
            }
        }
        if state.is_clock_faulted() {
            reasons.push("a clock fault is latched".to_owned());
        }
        for (number, _, _) in self.checks.iter().filter(|(_, _, check)| check.withdraws) {
            reasons.push(format!("\"{}\" withdraws it as planned", self.setup.monitors[*number].name));
        }
        // Otherwise what warms up only does without its monitors.
        if self.outcome.warming_up && self.setup.speed.warm_up == WarmUp::Withhold {
            reasons.push("something is warming up".to_owned());
        }
        if self.outcome.permit {
            reasons =
                vec!["nothing is latched, nothing withdraws it, and all that is needed is known".to_owned()];
        }
        reasons.dedup();
        for reason in reasons {
            self.because(&reason);
        }
    }

    fn warming_up(&mut self) {
        let waits: Vec<usize> = self
            .checks
            .iter()
            .filter(|(_, _, check)| check.warming_up)
            .map(|(number, _, _)| *number)
            .collect();
        if waits.is_empty() {
            let text = if self.outcome.warming_up {
                "a channel has had no reading yet"
            } else {
                "all that is needed is known"
            };
            return self.because(text);
        }
        let mut names: Vec<String> =
            waits.iter().map(|&number| format!("\"{}\"", self.setup.monitors[number].name)).collect();
        names.dedup();
        self.because(&format!("{} needs a speed that is not known yet", names.join(", ")));
    }

    fn apart(&mut self) {
        let unit = self.setup.unit.symbol();
        if let Some(apart) = self.axis.apart() {
            self.because(&format!(
                "positions are {} {unit} apart, allowed {} {unit}",
                apart.bound.observed, apart.bound.limit
            ));
        }
        if let Some(bound) = self.axis.speeds_apart() {
            self.because(&format!(
                "speeds are {} {unit}/s apart, allowed {} {unit}/s",
                bound.observed, bound.limit
            ));
        }
    }

    fn inputs(&mut self, differ: u32, expected: u32) {
        let setup = self.setup;
        for (number, input) in setup.inputs.iter().enumerate().filter(|(number, _)| differ >> number & 1 == 1)
        {
            let says = if expected >> number & 1 == 1 { "is in the set" } else { "is not in the set" };
            self.because(&format!(
                "input {}: {says}; levels of this frame {:#x}, filter {} ms",
                input.name,
                self.shown.levels.to_bits(),
                millis(input.filter.value.as_nanos())
            ));
        }
    }

    fn demands(&mut self, differ: u32, expected: u32) {
        let setup = self.setup;
        for (number, monitor) in
            setup.monitors.iter().enumerate().filter(|(number, _)| differ >> number & 1 == 1)
        {
            let by: Vec<_> = monitor.demand.iter().map(|demand| setup.demand_text(demand)).collect();
            let by = match by.join(", ") {
                _ if monitor.is_always_active() => "nothing, it is always active".to_owned(),
                _ if monitor.by_reactions_only => "the trips that have it as their reaction".to_owned(),
                by => by,
            };
            let says = if expected >> number & 1 == 1 { "active" } else { "not active" };
            self.because(&format!(
                "monitor \"{}\" is {says}; demanded by {by}; demanding are {:#x}",
                monitor.name,
                self.outcome.demanding.to_bits()
            ));
        }
    }

    fn source(&mut self, channel: Channel) {
        let (reading, setup) = match channel {
            Channel::A => (self.shown.a, &self.setup.a),
            Channel::B => (self.shown.b, &self.setup.b),
        };
        let now = self.shown.now.as_nanos();
        let shown = match reading {
            None => "nothing new was read".to_owned(),
            Some(reading) => {
                let captured = i128::from(now) - i128::from(reading.captured_at.as_nanos());
                match reading.sample {
                    Sample::Invalid => "the reading is marked invalid".to_owned(),
                    Sample::Count(raw) => {
                        format!("the counter reads {raw}, captured {captured} ns before the frame")
                    }
                }
            }
        };
        self.because(&format!("{shown}; the timeout is {} ms", millis(setup.timeout.value.as_nanos())));
        let fault = *self.outcome.faults.of(channel);
        if fault == Some(SourceFault::Implausible) {
            self.because(&format!(
                "the change is more than {} {}/s can move",
                setup.max_speed.value,
                self.setup.unit.symbol()
            ));
        }
    }
}
