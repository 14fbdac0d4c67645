//! The report for people: plain text that fits 80 columns.

use std::fmt::{self, Write};

use monitor_core::{Channel, Instant, Span, Speed};

use super::names::{self, Faulted, Figures, Moved, Shown};
use super::number::Seconds;
use super::table::table;
use crate::plural::plural;
use crate::replay::{
    Apart, Escalation, FaultKind, Headroom, Outcome, StopEnd, StopKind, Trip, TripRule, Verdict,
};
use crate::setup::{By, LimitSetup, MonitorKind, Setup, Until};

/// What every report says about itself.
pub const CAUTION: &str = "A reference and an analysis aid, not a certified safety component. Limits come from the\n\
    machine's risk assessment; local codes, the machine's own manuals and licensed\n\
    practice decide.";

/// One count over the window that is more than this part of a limit is told of.
const COARSE: i64 = 10;

/// The most columns of a line.
pub(super) const COLUMNS: usize = 80;

/// How many trips, faults and so on are listed one by one; the JSON report has more.
const LISTED: usize = 20;

/// The report on one replay. `path` names the trace; `skipped_rows` were left out of it.
#[must_use]
pub fn text(setup: &Setup, outcome: &Outcome, path: &str, skipped_rows: u64) -> String {
    let mut out = String::new();
    // Writing to a String does not fail.
    let _ = write_report(&mut out, setup, outcome, path, skipped_rows);
    out
}

fn write_report(
    out: &mut String,
    setup: &Setup,
    outcome: &Outcome,
    path: &str,
    skipped_rows: u64,
) -> fmt::Result {
    let report = Text { setup, outcome };
    let verdict = match outcome.verdict() {
        Verdict::Clear => "CLEAR",
        Verdict::Tripped => "TRIPPED",
        Verdict::Fault => "FAULT",
    };
    // What was left out is no part of the verdict, and nobody shall overlook that.
    let left_out = if skipped_rows > 0 { ", with bad rows left out" } else { "" };
    writeln!(out, "{verdict}{left_out}  {path}")?;
    writeln!(out, "  setup    {}, checksum {:08x} ({})", setup.title, setup.checksum(), setup.path)?;
    if let (Some(first), Some(last)) = (outcome.first, outcome.last) {
        writeln!(
            out,
            "  trace    {} from {} s to {} s, longest period {} s",
            plural(outcome.frames, "frame"),
            report.at(first),
            report.at(last),
            short(i128::from(outcome.longest_period.as_nanos()))
        )?;
    }
    if let Some(rows) = &outcome.rows {
        let period = short(i128::from(rows.longest_period.as_nanos()));
        writeln!(out, "  rows     {}, longest period {period} s; evaluated every `cycle`", rows.rows)?;
        let [a, b] = rows.passed_over;
        if a > 0 || b > 0 {
            writeln!(out, "           {a} readings of a and {b} of b were passed over for newer ones")?;
        }
        for (analogue, [a, b]) in setup.analogues.iter().zip(&rows.analogues_passed_over) {
            if *a > 0 || *b > 0 {
                let name = &analogue.name;
                writeln!(out, "           {a} readings on line a and {b} on b of {name} were passed over")?;
            }
        }
    }
    if skipped_rows > 0 {
        writeln!(out, "  skipped  {skipped_rows} bad rows were left out; the motion there is not known")?;
    }
    for gap in outcome.gaps.kept.iter().take(LISTED) {
        writeln!(out, "  gap      no row from {} s to {} s", report.at(gap.from), report.at(gap.to))?;
    }
    more(out, outcome.gaps.kept.len(), outcome.gaps.left_out, "gaps")?;
    report.permit(out)?;
    report.trips(out)?;
    report.faults(out)?;
    report.stops(out)?;
    report.switches(out)?;
    report.resets(out)?;
    report.channels(out)?;
    report.monitors(out)?;
    report.apart(out)?;
    Ok(())
}

struct Text<'a> {
    setup: &'a Setup,
    outcome: &'a Outcome,
}

/// Nanoseconds as seconds without the zeros at the end.
pub(crate) fn short(nanos: i128) -> String {
    let text = Seconds(nanos).to_string();
    let text = text.trim_end_matches('0');
    if text.ends_with('.') { format!("{text}0") } else { text.to_owned() }
}

/// A list behind its head, in as many lines as it needs; only an item that is longer than a line is not held to its width.
fn in_lines(head: &str, items: &[String]) -> String {
    // A blank stands before each item.
    const INDENT: &str = "       ";
    let (mut text, mut used) = (head.to_owned(), head.chars().count());
    for (item, left) in items.iter().zip((0..items.len()).rev()) {
        let comma = if left > 0 { "," } else { "" };
        let length = 1 + item.chars().count() + comma.len();
        if used + length > COLUMNS {
            text += "\n";
            text += INDENT;
            used = INDENT.len();
        }
        text += &format!(" {item}{comma}");
        used += length;
    }
    text
}

fn more(out: &mut String, kept: usize, left_out: u64, what: &str) -> fmt::Result {
    let hidden = kept.saturating_sub(LISTED) as u64 + left_out;
    if hidden > 0 {
        writeln!(out, "  ... and {hidden} more {what}; the JSON report lists the first 10000")?;
    }
    Ok(())
}

impl Text<'_> {
    fn at(&self, instant: Instant) -> String {
        short(self.outcome.time_ns(instant))
    }

    fn trips(&self, out: &mut String) -> fmt::Result {
        let trips = &self.outcome.trips;
        if trips.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nTrips")?;
        for trip in trips.kept.iter().take(LISTED) {
            self.trip(out, trip)?;
        }
        more(out, trips.kept.len(), trips.left_out, "trips")
    }

    fn trip(&self, out: &mut String, trip: &Trip) -> fmt::Result {
        let (name, kind, channel) = names::rule(self.setup, trip.rule);
        writeln!(out, "  {} s  channel {channel}  {name} ({kind})", self.at(trip.tripped_at))?;
        writeln!(out, "      {}", Figures::new(self.setup, trip.rule, &trip.evidence).line(kind))?;
        writeln!(
            out,
            "      demand {} s, crossed {} s, violated since {} s",
            self.at(trip.demanded_at),
            self.at(trip.crossed_at),
            self.at(trip.violated_since)
        )?;
        if let Some(reaction) = &trip.reaction {
            self.reaction(out, trip, reaction)?;
        }
        match trip.confirmed_by {
            Some(by) if by.after_ns == 0 => {
                writeln!(out, "      channel {} tripped at the same frame", names::channel(by.channel))
            }
            Some(by) if by.after_ns > 0 => writeln!(
                out,
                "      channel {} confirmed {} ms later",
                names::channel(by.channel),
                millis(by.after_ns)
            ),
            Some(by) => writeln!(
                out,
                "      channel {} had tripped {} ms before",
                names::channel(by.channel),
                millis(-by.after_ns)
            ),
            None if channel == "both" => Ok(()),
            None => writeln!(out, "      the other channel never confirmed"),
        }
    }

    /// What the trip led to instead of withdrawing the permit at once.
    fn reaction(&self, out: &mut String, trip: &Trip, reaction: &Escalation) -> fmt::Result {
        let name = &self.setup.monitors[reaction.stop].name;
        let after = |at| millis(self.outcome.time_ns(at) - self.outcome.time_ns(trip.tripped_at));
        match reaction.end {
            StopEnd::Complete(at) => writeln!(
                out,
                "      first the stop \"{name}\": complete at {} s, {} ms later, then torque off",
                self.at(at),
                after(at)
            ),
            StopEnd::Violated(at) => writeln!(
                out,
                "      first the stop \"{name}\": violated at {} s, {} ms later, and torque off by its own trip",
                self.at(at),
                after(at)
            ),
            StopEnd::Lost(at) => writeln!(
                out,
                "      first the stop \"{name}\": the permit went before its end, at {} s, {} ms later",
                self.at(at),
                after(at)
            ),
            StopEnd::Off => writeln!(out, "      first the stop \"{name}\": the permit was already gone"),
            StopEnd::Open => {
                writeln!(out, "      first the stop \"{name}\": the trace ends before it is over")
            }
        }
    }

    fn switches(&self, out: &mut String) -> fmt::Result {
        let switches = &self.outcome.switches;
        if switches.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nOutputs")?;
        for switch in switches.kept.iter().take(LISTED) {
            let monitor = &self.setup.monitors[switch.monitor];
            let level = if switch.on { "true" } else { "false" };
            writeln!(out, "  {} s  {} ({}) {level}", self.at(switch.at), monitor.name, monitor.kind.name())?;
        }
        more(out, switches.kept.len(), switches.left_out, "changes of outputs")
    }

    /// Where several monitors put a limit on the speed, whose was the smallest, and so the one that counted.
    fn strictest(&self, out: &mut String) -> fmt::Result {
        for channel in Channel::BOTH {
            let mut monitors = Vec::new();
            for facts in self.outcome.monitors.iter().filter(|facts| facts.channel == channel) {
                let is_new = !monitors.iter().any(|(monitor, _)| *monitor == facts.monitor);
                if facts.strictest > Span::ZERO && is_new {
                    monitors.push((facts.monitor, facts.strictest));
                }
            }
            if monitors.len() > 1 {
                let shares = monitors.iter().map(|(monitor, lasted)| {
                    let lasted = short(i128::from(lasted.as_nanos()));
                    format!("\"{}\" for {lasted} s", self.setup.monitors[*monitor].name)
                });
                let shares: Vec<_> = shares.collect();
                let head = format!("  strictest limit on the speed of {}:", names::channel(channel));
                writeln!(out, "{}", in_lines(&head, &shares))?;
            }
        }
        Ok(())
    }

    fn faults(&self, out: &mut String) -> fmt::Result {
        let faults = &self.outcome.faults;
        if faults.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nFaults")?;
        for fault in faults.kept.iter().take(LISTED) {
            let Faulted { kind, channel, input, analogue } = names::fault(self.setup, fault.kind);
            let what = match (channel, input, analogue) {
                (Some(line), _, Some(analogue)) => format!("line {line} of {analogue}  {kind}"),
                (Some(channel), ..) => match names::unreferenced(self.setup, fault.kind) {
                    Some(monitor) => {
                        format!("channel {channel}  {kind}: {monitor} needs a referenced position")
                    }
                    None => format!("channel {channel}  {kind}"),
                },
                (None, Some(input), _) => format!("input {input}  its lines disagree"),
                (None, None, _) => kind.to_owned(),
            };
            write!(out, "  {} s  {what}", self.at(fault.from))?;
            if fault.frames > 1 {
                write!(out, ", {} frames until {} s", fault.frames, self.at(fault.to))?;
            }
            writeln!(out)?;
            if let FaultKind::Analogue(i, _, _, Some(reading)) = fault.kind {
                let analogue = &self.setup.analogues[i];
                let shown = match reading.value {
                    Some(value) => format!("{value:.4} {}", analogue.unit.symbol()),
                    None => "marked invalid".to_owned(),
                };
                let (low, high) = (&analogue.plausible.low.text, &analogue.plausible.high.text);
                writeln!(
                    out,
                    "      reading {shown}, captured {} s; plausible are {low} to {high}",
                    self.at(reading.captured_at)
                )?;
            }
            if let FaultKind::Channel(of, _, Some(reading)) = fault.kind {
                let captured = self.at(reading.captured_at);
                let shown = match names::sample(self.setup, of, reading.sample) {
                    Shown::Count(count) => count.to_string(),
                    Shown::Position(position) => format!("{position:.4} {}", self.setup.unit.symbol()),
                    Shown::Invalid => "marked invalid".to_owned(),
                };
                writeln!(out, "      reading {shown}, captured {captured} s")?;
                if let Some(change) = fault.change {
                    let source = self.setup.channel(of);
                    let moved = Moved::new(change, source);
                    let unit = self.setup.unit.symbol();
                    writeln!(
                        out,
                        "      that is {:.4} {unit} from the one before, within {} ms: {:.4} {unit}/s,\n      \
                         and the mechanics can do {:.4} {unit}/s (`max_speed`)",
                        moved.travel,
                        millis(i128::from(change.elapsed.as_nanos())),
                        moved.speed,
                        source.max_speed.value
                    )?;
                }
            }
        }
        more(out, faults.kept.len(), faults.left_out, "faults")
    }

    fn stops(&self, out: &mut String) -> fmt::Result {
        let stops = &self.outcome.stops;
        if stops.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nStops and planned withdrawals of the permit")?;
        for stop in stops.kept.iter().take(LISTED) {
            let name = &self.setup.monitors[stop.monitor].name;
            let (demand, done) = (self.at(stop.demanded_at), self.at(stop.completed_at));
            match stop.kind {
                StopKind::TorqueOff => writeln!(out, "  {done} s  {name}, demanded")?,
                StopKind::Stop(channel) => writeln!(
                    out,
                    "  {done} s  channel {}  {name} complete, demanded {demand} s",
                    names::channel(channel)
                )?,
            }
        }
        more(out, stops.kept.len(), stops.left_out, "stops")
    }

    fn resets(&self, out: &mut String) -> fmt::Result {
        let resets = &self.outcome.resets;
        if resets.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nResets")?;
        for reset in resets.kept.iter().take(LISTED) {
            writeln!(out, "  {} s  {}", self.at(reset.at), names::reset(reset.result))?;
        }
        more(out, resets.kept.len(), resets.left_out, "resets")
    }

    fn permit(&self, out: &mut String) -> fmt::Result {
        let Some(given) = self.outcome.permit_given_at else {
            return writeln!(out, "  permit   never given");
        };
        write!(out, "  permit   given at {} s", self.at(given))?;
        if let Some(lost) = self.outcome.permit_lost_at() {
            let last =
                if self.outcome.permit_at_last { "given again at the end" } else { "not given at the end" };
            match self.outcome.permit_losses() {
                0 | 1 => write!(out, ", lost at {} s, {last}", self.at(lost))?,
                times => write!(out, ", lost {times} times, first at {} s, {last}", self.at(lost))?,
            }
        }
        writeln!(out)
    }

    /// What each channel alone showed: a wrong unit or a timeout that is too tight can be seen here.
    fn channels(&self, out: &mut String) -> fmt::Result {
        let unit = self.setup.unit.symbol();
        writeln!(out, "\nChannels")?;
        let sources = [("a", &self.setup.a), ("b", &self.setup.b)];
        for (facts, (channel, source)) in self.outcome.channels.iter().zip(sources) {
            let interval = millis(i128::from(facts.longest_interval.as_nanos()));
            write!(out, "  {channel}  {} readings, at most {interval} ms apart", facts.readings)?;
            match facts.fastest {
                Some((speed, at)) => writeln!(out, "; fastest {speed:.4} {unit}/s at {} s", self.at(at))?,
                None => writeln!(out, "; speed never known")?,
            }
            let timeout = source.timeout.value;
            if facts.longest_interval > timeout {
                let timeout = millis(i128::from(timeout.as_nanos()));
                writeln!(out, "     its timeout of {timeout} ms is shorter than that")?;
            }
            if let Some(step) = source.speed_resolution(self.setup.speed.window.value) {
                let window = millis(i128::from(self.setup.speed.window.value.as_nanos()));
                writeln!(out, "     one count over the window of {window} ms is {step:.4} {unit}/s")?;
            }
        }
        Ok(())
    }

    /// A steady speed less than one count over the window above a limit is seen above and below it in turn: see section 10
    /// of the rules.
    fn coarse(&self, out: &mut String, monitor: usize, channel: Channel) -> fmt::Result {
        let source = self.setup.channel(channel);
        let monitor = &self.setup.monitors[monitor];
        let step = source.speed_resolution(self.setup.speed.window.value);
        if let (Some(step), MonitorKind::SpeedLimit { limit: LimitSetup::Both(limit), .. }) =
            (step, &monitor.kind)
            && step.to_bits() > limit.value.to_bits() / COARSE
            && monitor.on_delay.value > Span::ZERO
        {
            let certain = Speed::from_bits(limit.value.to_bits().saturating_add(step.to_bits()));
            let (unit, channel) = (self.setup.unit.symbol(), names::channel(channel));
            writeln!(
                out,
                "  note: {} on channel {channel} is coarse:\n        \
                 with {step:.4} {unit}/s a count, a steady speed below\n        \
                 {certain:.4} {unit}/s may go on without a trip",
                monitor.name
            )?;
        }
        Ok(())
    }

    fn monitors(&self, out: &mut String) -> fmt::Result {
        if self.outcome.monitors.is_empty() {
            return Ok(());
        }
        let unit = self.setup.unit.symbol();
        writeln!(out, "\nSmallest headroom of each monitor")?;
        let head = ["ch", "active s", "headroom", "at s"].map(str::to_owned);
        let mut rows = vec![("monitor".to_owned(), head)];
        for facts in &self.outcome.monitors {
            let name = self.setup.monitors[facts.monitor].name.clone();
            let (headroom, at) = match facts.headroom {
                Some((Headroom::Position(headroom), at)) => (format!("{headroom:.4} {unit}"), self.at(at)),
                Some((Headroom::Speed(headroom), at)) => (format!("{headroom:.4} {unit}/s"), self.at(at)),
                Some((Headroom::Acceleration(headroom), at)) => {
                    (format!("{headroom:.4} {unit}/s^2"), self.at(at))
                }
                Some((Headroom::Value(headroom), at)) => {
                    let rule = TripRule::Monitor(facts.monitor, facts.channel);
                    let unit = names::analogue_unit(self.setup, rule).unwrap_or_default();
                    (format!("{headroom:.4} {unit}"), self.at(at))
                }
                None => ("-".to_owned(), "-".to_owned()),
            };
            let active = format!("{:.3}", facts.active.as_nanos() as f64 / 1e9);
            let channel = names::channel(facts.channel).to_owned();
            rows.push((name, [channel, active, headroom, at]));
        }
        out.push_str(&table(&rows));
        self.strictest(out)?;
        self.unwatched(out)?;
        for facts in &self.outcome.monitors {
            if matches!(facts.headroom, Some((Headroom::Speed(_), _))) {
                self.coarse(out, facts.monitor, facts.channel)?;
            }
        }
        for facts in &self.outcome.monitors {
            let tripped = (self.outcome.trips.kept.iter())
                .any(|trip| trip.rule == TripRule::Monitor(facts.monitor, facts.channel));
            if facts.exceeded > 0 && !tripped {
                writeln!(
                    out,
                    "  note: {} on channel {} was exceeded at {}, never for its on-delay without a break",
                    self.setup.monitors[facts.monitor].name,
                    names::channel(facts.channel),
                    plural(facts.exceeded, "frame")
                )?;
            }
        }
        Ok(())
    }

    /// A monitor that was never active, or never had anything to compare, must not look like one that held.
    fn unwatched(&self, out: &mut String) -> fmt::Result {
        for (index, monitor) in self.setup.monitors.iter().enumerate() {
            let mut facts = self.outcome.monitors.iter().filter(move |facts| facts.monitor == index);
            let compares = !monitor.kind.is_output()
                && !matches!(
                    monitor.kind,
                    MonitorKind::TorqueOff
                        | MonitorKind::Stop { until: Until::TorqueOff, by: By::Time { .. } }
                );
            let name = &monitor.name;
            let was_active = monitor.is_always_active()
                || facts.clone().any(|facts| facts.active > Span::ZERO || facts.headroom.is_some())
                || self.outcome.stops.kept.iter().any(|stop| stop.monitor == index);
            if !was_active {
                writeln!(out, "  note: {name} was never active in this trace")?;
            } else if compares && facts.all(|facts| facts.headroom.is_none()) {
                writeln!(out, "  note: {name} was active, but never had anything to compare")?;
            }
        }
        Ok(())
    }

    fn apart(&self, out: &mut String) -> fmt::Result {
        let (setup, outcome) = (self.setup, self.outcome);
        let unit = setup.unit.symbol();
        if setup.discrepancy.is_some() {
            self.discrepancy(out, "Position discrepancy", outcome.position_discrepancy, unit, "positions")?;
        }
        if setup.speed_discrepancy.is_some() {
            let unit = format!("{unit}/s");
            self.discrepancy(out, "Speed discrepancy", outcome.speed_discrepancy, &unit, "speeds")?;
        }
        for (analogue, apart) in setup.analogues.iter().zip(&outcome.analogue_discrepancies) {
            let what = format!("Discrepancy of {}", analogue.name);
            self.discrepancy(out, &what, *apart, analogue.unit.symbol(), "lines")?;
        }
        Ok(())
    }

    /// How far two came apart. A rule that was never applied must not look like one that was kept.
    fn discrepancy<T: fmt::Display>(
        &self,
        out: &mut String,
        what: &str,
        apart: Option<Apart<T>>,
        unit: &str,
        compared: &str,
    ) -> fmt::Result {
        let Some(Apart { largest, headroom }) = apart else {
            return writeln!(out, "\n{what}: never compared, at no frame were both {compared} known");
        };
        writeln!(
            out,
            "\n{what}: at most {:.4} {unit} (at {} s), headroom {:.4} {unit} (at {} s)",
            largest.0,
            self.at(largest.1),
            headroom.0,
            self.at(headroom.1)
        )
    }
}

/// Nanoseconds as milliseconds without the zeros at the end.
pub(crate) fn millis(nanos: i128) -> String {
    short(nanos * 1_000)
}
