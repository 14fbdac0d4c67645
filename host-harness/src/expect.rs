//! What must and must not happen in a trace, and whether it did.
//!
//! ```toml
//! verdict = "tripped"                    # optional: clear, tripped or fault
//! others  = "refused"                    # default: whatever no entry names is a miss; or "accepted"
//!
//! [[trip]]                               # must happen
//! monitor = "slow while the door is open"
//! channel = "a"                          # optional: a, b, or both for a discrepancy
//! from    = "3.1 s"                      # optional time window, ends included
//! to      = "3.3 s"
//!
//! [[no_trip]]                            # must not happen; without `monitor`: no trip at all
//! to = "3.1 s"
//!
//! [[fault]]                              # must happen
//! kind    = "stale"                      # optional: invalid, out-of-order, stale, implausible, range, input, clock, unreferenced
//! channel = "b"                          # optional: a channel of the motion
//! input   = "door"                       # optional
//! analogue = "torque"                    # optional: an analogue value, `channel` is then its line
//! monitor = "kiln mouth"                 # optional: the rule that is unreferenced
//!
//! [[stop]]                               # must happen: a stop is complete, or a torque-off is demanded
//! monitor = "emergency stop"
//! channel = "a"                          # optional: a or b; a torque-off has none
//!
//! [[output]]                             # must happen: an output becomes true or false
//! monitor = "kiln mouth"
//! on      = true                         # optional
//!
//! [[reset]]                              # must happen: a reset is released
//! accepted = false                       # optional
//! ```
//!
//! Every entry may have a time window. A file that says nothing about stops, outputs or resets takes them as they come: they happen
//! in good runs too. One that names a stop or an output has to name all that this monitor does, and one that names a reset every
//! reset; the rest is a miss, unless `others = "accepted"`.

mod counts;

use std::fmt;
use std::ops::Range;
use std::path::Path;

use serde::Deserialize;
use serde::de::{Deserializer, Error as _};
use toml::Spanned;

use crate::decimal::{Dimension, Rounding, parse_quantity};
use crate::report::{
    FaultReport, OutputReport, Report, ResetReport, Seconds, StopReport, TripReport, VerdictReport,
};
use crate::setup::{MonitorKind, Place, Setup};
pub use counts::Counts;

/// A file of expectations that cannot be used: path, line and column, what is wrong, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{path}: {message}")]
pub struct ExpectError {
    /// With line and column when there are any.
    path: String,
    message: String,
}

/// What is wrong with a file, and the bytes of it that are meant.
type Complaint = (Range<usize>, String);

/// A time in ns, written with its unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Time(i128);

impl<'de> Deserialize<'de> for Time {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        let quantity = parse_quantity(&text, Dimension::Time).map_err(D::Error::custom)?;
        crate::decimal::round_scaled(&quantity.value, 1, Rounding::Nearest)
            .map(Self)
            .ok_or_else(|| D::Error::custom("a time beyond the range; use a smaller one"))
    }
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Others {
    #[default]
    Refused,
    Accepted,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Verdict {
    Clear,
    Tripped,
    Fault,
}

const fn word(verdict: VerdictReport) -> &'static str {
    match verdict {
        VerdictReport::Clear => "clear",
        VerdictReport::Tripped => "tripped",
        VerdictReport::Fault => "fault",
    }
}

impl Verdict {
    const fn name(self) -> &'static str {
        match self {
            Self::Clear => "clear",
            Self::Tripped => "tripped",
            Self::Fault => "fault",
        }
    }

    const fn is(self, verdict: VerdictReport) -> bool {
        matches!(
            (self, verdict),
            (Self::Clear, VerdictReport::Clear)
                | (Self::Tripped, VerdictReport::Tripped)
                | (Self::Fault, VerdictReport::Fault)
        )
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum On {
    A,
    B,
    Both,
}

impl On {
    const fn name(self) -> &'static str {
        match self {
            Self::A => "a",
            Self::B => "b",
            Self::Both => "both",
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Kind {
    Invalid,
    OutOfOrder,
    Stale,
    Implausible,
    Range,
    Input,
    Clock,
    Unreferenced,
}

impl Kind {
    const fn name(self) -> &'static str {
        match self {
            Self::Invalid => "invalid",
            Self::OutOfOrder => "out-of-order",
            Self::Stale => "stale",
            Self::Implausible => "implausible",
            Self::Range => "range",
            Self::Input => "input",
            Self::Clock => "clock",
            Self::Unreferenced => "unreferenced",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
struct TripEntry {
    monitor: Option<Spanned<String>>,
    channel: Option<Spanned<On>>,
    from: Option<Time>,
    to: Option<Spanned<Time>>,
}

#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
struct FaultEntry {
    kind: Option<Kind>,
    channel: Option<Spanned<On>>,
    input: Option<Spanned<String>>,
    analogue: Option<Spanned<String>>,
    monitor: Option<Spanned<String>>,
    from: Option<Time>,
    to: Option<Spanned<Time>>,
}

#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
struct StopEntry {
    monitor: Spanned<String>,
    channel: Option<Spanned<On>>,
    from: Option<Time>,
    to: Option<Spanned<Time>>,
}

#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
struct OutputEntry {
    monitor: Spanned<String>,
    on: Option<bool>,
    from: Option<Time>,
    to: Option<Spanned<Time>>,
}

#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
struct ResetEntry {
    accepted: Option<bool>,
    from: Option<Time>,
    to: Option<Spanned<Time>>,
}

/// A file of expectations.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Expectations {
    verdict: Option<Verdict>,
    #[serde(default)]
    others: Others,
    #[serde(default)]
    trip: Vec<TripEntry>,
    #[serde(default)]
    no_trip: Vec<TripEntry>,
    #[serde(default)]
    fault: Vec<FaultEntry>,
    #[serde(default)]
    stop: Vec<StopEntry>,
    #[serde(default)]
    output: Vec<OutputEntry>,
    #[serde(default)]
    reset: Vec<ResetEntry>,
}

/// One expectation that was not met.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Miss(String);

impl fmt::Display for Miss {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

fn within(at: Seconds, from: Option<Time>, to: Option<&Spanned<Time>>) -> bool {
    from.is_none_or(|from| at.0 >= from.0) && to.is_none_or(|to| at.0 <= to.get_ref().0)
}

fn window(from: Option<Time>, to: Option<&Spanned<Time>>) -> String {
    match (from, to.map(Spanned::get_ref)) {
        (None, None) => String::new(),
        (Some(from), None) => format!(" from {} s on", Seconds(from.0)),
        (None, Some(to)) => format!(" until {} s", Seconds(to.0)),
        (Some(from), Some(to)) => format!(" from {} s to {} s", Seconds(from.0), Seconds(to.0)),
    }
}

impl TripEntry {
    fn is_met_by(&self, trip: &TripReport) -> bool {
        self.monitor.as_ref().is_none_or(|name| *name.get_ref() == trip.monitor)
            && self.channel.as_ref().is_none_or(|on| on.get_ref().name() == trip.channel)
            && within(trip.tripped_s, self.from, self.to.as_ref())
    }
}

/// Refuses a time window that ends before it begins.
fn check_window(from: Option<Time>, to: Option<&Spanned<Time>>) -> Result<(), Complaint> {
    match (from, to) {
        (Some(begin), Some(end)) if begin > *end.get_ref() => Err((
            end.span(),
            format!("a time window{} that ends before it begins; exchange the two times", window(from, to)),
        )),
        _ => Ok(()),
    }
}

/// What tells the names of a discrepancy apart from those of monitors.
const DISCREPANCIES: [&str; 2] = ["discrepancy", "speed_discrepancy"];

impl TripEntry {
    fn check(&self, setup: &Setup) -> Result<(), Complaint> {
        check_window(self.from, self.to.as_ref())?;
        let Some(monitor) = &self.monitor else { return Ok(()) };
        let name = monitor.get_ref().as_str();
        let watched = [setup.discrepancy.is_some(), setup.speed_discrepancy.is_some()];
        let discrepancies = || {
            let of_motion =
                DISCREPANCIES.into_iter().zip(watched).filter(|(_, on)| *on).map(|(name, _)| name);
            of_motion.chain(setup.analogues.iter().map(|analogue| analogue.name.as_str()))
        };
        let is_monitor = setup.monitors.iter().any(|monitor| monitor.name == name);
        let is_discrepancy = discrepancies().any(|known| known == name);
        if !is_monitor && !is_discrepancy {
            let monitors = setup.monitors.iter().map(|monitor| monitor.name.as_str());
            let names: Vec<_> = monitors.chain(discrepancies()).map(|name| format!("`{name}`")).collect();
            let message =
                format!("the setup has no monitor `{name}`; use one that it has: {}", names.join(", "));
            return Err((monitor.span(), message));
        }
        match &self.channel {
            Some(on) if *on.get_ref() == On::Both && !is_discrepancy => Err((
                on.span(),
                format!(
                    "`{name}` trips on one channel at a time; write \"a\" or \"b\", or an entry for each"
                ),
            )),
            Some(on) if *on.get_ref() != On::Both && !is_monitor => Err((
                on.span(),
                format!("`{name}` belongs to both channels; write \"both\", or leave `channel` out"),
            )),
            _ => Ok(()),
        }
    }
}

impl fmt::Display for TripEntry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.monitor {
            Some(name) => write!(f, "a trip of `{}`", name.get_ref())?,
            None => f.write_str("a trip")?,
        }
        if let Some(on) = &self.channel {
            write!(f, " on channel {}", on.get_ref().name())?;
        }
        f.write_str(&window(self.from, self.to.as_ref()))
    }
}

impl FaultEntry {
    fn is_met_by(&self, fault: &FaultReport) -> bool {
        self.kind.is_none_or(|kind| kind.name() == fault.kind)
            && self.channel.as_ref().is_none_or(|on| Some(on.get_ref().name()) == fault.channel.as_deref())
            && self.input.as_ref().is_none_or(|input| Some(input.get_ref()) == fault.input.as_ref())
            && match &self.analogue {
                Some(name) => Some(name.get_ref()) == fault.analogue.as_ref(),
                // A channel is one of the motion, unless it is named as the line of an analogue value.
                None => self.channel.is_none() || fault.analogue.is_none(),
            }
            && self.monitor.as_ref().is_none_or(|name| Some(name.get_ref()) == fault.monitor.as_ref())
            && within(fault.at_s, self.from, self.to.as_ref())
    }
}

impl FaultEntry {
    fn check(&self, setup: &Setup) -> Result<(), Complaint> {
        check_window(self.from, self.to.as_ref())?;
        if let Some(input) = &self.input {
            let name = input.get_ref();
            if !setup.inputs.iter().any(|known| known.name == *name) {
                let names: Vec<_> = setup.inputs.iter().map(|input| format!("`{}`", input.name)).collect();
                let message = if names.is_empty() {
                    format!("the setup has no input `{name}`, and no other; leave `input` out")
                } else {
                    format!("the setup has no input `{name}`; use one that it has: {}", names.join(", "))
                };
                return Err((input.span(), message));
            }
            if let Some(kind) = self.kind.filter(|kind| *kind != Kind::Input) {
                let kind = kind.name();
                let message =
                    format!("a fault `{kind}` has no input; leave `input` out, or write kind = \"input\"");
                return Err((input.span(), message));
            }
        }
        if let Some(monitor) = &self.monitor {
            check_monitor(setup, monitor, "that needs a referenced position", MonitorKind::needs_reference)?;
            if self.input.is_some() || self.kind.is_some_and(|kind| kind != Kind::Unreferenced) {
                let message = "only a monitor without a reference is faulted; leave `monitor` out, or write kind = \"unreferenced\"";
                return Err((monitor.span(), message.to_owned()));
            }
        }
        self.check_analogue(setup)?;
        let Some(on) = &self.channel else { return Ok(()) };
        let message = match (on.get_ref(), self.kind, &self.input) {
            (On::Both, ..) => "a fault belongs to one channel; write \"a\" or \"b\", or an entry for each",
            (_, Some(Kind::Input | Kind::Clock), _) | (_, _, Some(_)) => {
                "a fault of an input or of the clock belongs to no channel; leave `channel` out"
            }
            _ => return Ok(()),
        };
        Err((on.span(), message.to_owned()))
    }

    fn check_analogue(&self, setup: &Setup) -> Result<(), Complaint> {
        let Some(analogue) = &self.analogue else { return Ok(()) };
        let name = analogue.get_ref();
        if !setup.analogues.iter().any(|known| known.name == *name) {
            let names: Vec<_> = setup.analogues.iter().map(|known| format!("`{}`", known.name)).collect();
            let message = if names.is_empty() {
                format!("the setup has no analogue value `{name}`, and no other; leave `analogue` out")
            } else {
                format!("the setup has no analogue value `{name}`; use one that it has: {}", names.join(", "))
            };
            return Err((analogue.span(), message));
        }
        if self.monitor.is_some() {
            let message = "a monitor without a reference has no analogue value; leave one of the two out";
            return Err((analogue.span(), message.to_owned()));
        }
        let message = match (self.kind, &self.input) {
            (_, Some(_)) => "a fault of an input has no analogue value; leave one of the two out".to_owned(),
            (Some(kind @ (Kind::Input | Kind::Clock | Kind::Implausible | Kind::Unreferenced)), _) => {
                format!("a fault `{}` is none of an analogue value; leave `analogue` out", kind.name())
            }
            _ => return Ok(()),
        };
        Err((analogue.span(), message))
    }
}

impl fmt::Display for FaultEntry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.kind {
            Some(kind) => write!(f, "a fault `{}`", kind.name())?,
            None => f.write_str("a fault")?,
        }
        if let Some(on) = &self.channel {
            write!(f, " on channel {}", on.get_ref().name())?;
        }
        if let Some(input) = &self.input {
            write!(f, " of input `{}`", input.get_ref())?;
        }
        if let Some(analogue) = &self.analogue {
            write!(f, " of analogue value `{}`", analogue.get_ref())?;
        }
        if let Some(monitor) = &self.monitor {
            write!(f, " of `{}`", monitor.get_ref())?;
        }
        f.write_str(&window(self.from, self.to.as_ref()))
    }
}

/// Refuses a name that is not that of a monitor of the right kind; `which` says what kind that is.
fn check_monitor(
    setup: &Setup,
    name: &Spanned<String>,
    which: &str,
    is_right: impl Fn(&MonitorKind) -> bool,
) -> Result<(), Complaint> {
    let right = setup.monitors.iter().filter(|monitor| is_right(&monitor.kind));
    let right: Vec<_> = right.map(|monitor| monitor.name.as_str()).collect();
    if right.contains(&name.get_ref().as_str()) {
        return Ok(());
    }
    let advice = if right.is_empty() {
        ", and no other; leave this entry out".to_owned()
    } else {
        let names: Vec<_> = right.iter().map(|name| format!("`{name}`")).collect();
        format!("; use one that it has: {}", names.join(", "))
    };
    let wanted = name.get_ref();
    Err((name.span(), format!("the setup has no monitor `{wanted}` {which}{advice}")))
}

impl StopEntry {
    fn is_met_by(&self, stop: &StopReport) -> bool {
        *self.monitor.get_ref() == stop.monitor
            && self.channel.as_ref().is_none_or(|on| Some(on.get_ref().name()) == stop.channel.as_deref())
            && within(stop.completed_s, self.from, self.to.as_ref())
    }

    fn check(&self, setup: &Setup) -> Result<(), Complaint> {
        check_window(self.from, self.to.as_ref())?;
        let is_stop = |kind: &MonitorKind| matches!(kind, MonitorKind::Stop { .. });
        let is_torque_off = |kind: &MonitorKind| matches!(kind, MonitorKind::TorqueOff);
        check_monitor(setup, &self.monitor, "that is a stop or a torque-off", |kind| {
            is_stop(kind) || is_torque_off(kind)
        })?;
        let Some(on) = &self.channel else { return Ok(()) };
        let name = self.monitor.get_ref();
        let belongs_to_none =
            setup.monitors.iter().any(|monitor| monitor.name == *name && is_torque_off(&monitor.kind));
        if belongs_to_none {
            Err((on.span(), format!("`{name}` belongs to no channel; leave `channel` out")))
        } else if *on.get_ref() == On::Both {
            let message = format!(
                "`{name}` is complete on one channel at a time; write \"a\" or \"b\", or an entry for each"
            );
            Err((on.span(), message))
        } else {
            Ok(())
        }
    }
}

impl fmt::Display for StopEntry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the stop `{}`", self.monitor.get_ref())?;
        if let Some(on) = &self.channel {
            write!(f, " on channel {}", on.get_ref().name())?;
        }
        f.write_str(&window(self.from, self.to.as_ref()))
    }
}

const fn level(on: bool) -> &'static str {
    if on { "true" } else { "false" }
}

impl OutputEntry {
    fn is_met_by(&self, output: &OutputReport) -> bool {
        *self.monitor.get_ref() == output.monitor
            && self.on.is_none_or(|on| on == output.on)
            && within(output.at_s, self.from, self.to.as_ref())
    }

    fn check(&self, setup: &Setup) -> Result<(), Complaint> {
        check_window(self.from, self.to.as_ref())?;
        check_monitor(setup, &self.monitor, "that is an output", MonitorKind::is_output)
    }
}

impl fmt::Display for OutputEntry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a change of the output `{}`", self.monitor.get_ref())?;
        if let Some(on) = self.on {
            write!(f, " to {}", level(on))?;
        }
        f.write_str(&window(self.from, self.to.as_ref()))
    }
}

impl ResetEntry {
    fn is_met_by(&self, reset: &ResetReport) -> bool {
        self.accepted.is_none_or(|accepted| accepted == reset.accepted)
            && within(reset.at_s, self.from, self.to.as_ref())
    }
}

impl fmt::Display for ResetEntry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self.accepted {
            None => "a reset",
            Some(true) => "an accepted reset",
            Some(false) => "a refused reset",
        })?;
        f.write_str(&window(self.from, self.to.as_ref()))
    }
}

impl Expectations {
    /// Reads a file of expectations for traces of this setup.
    ///
    /// # Errors
    ///
    /// [`ExpectError`] when the file cannot be read, is not of this form, or asks for what cannot be with this setup (a
    /// monitor that it does not have, a discrepancy on one channel): a `no_trip` of that kind could never be missed.
    pub fn load(path: &Path, setup: &Setup) -> Result<Self, ExpectError> {
        let shown = path.display().to_string();
        let text = std::fs::read_to_string(path).map_err(|why| ExpectError {
            path: shown.clone(),
            message: format!("cannot be read: {why}; check the path given with --expect"),
        })?;
        Self::parse(&text, setup).map_err(|(span, message)| {
            let place = Place::new(&text, span);
            ExpectError { path: format!("{shown}:{}:{}", place.line, place.column), message }
        })
    }

    fn parse(text: &str, setup: &Setup) -> Result<Self, Complaint> {
        let expectations: Self = toml::from_str(text).map_err(|why| {
            // A file that ends too early has its mistake at its end.
            let start = text.floor_char_boundary(why.span().map_or(0, |span| span.start));
            let message = why.message().lines().collect::<Vec<_>>().join(" ");
            (start..start, format!("{message}; correct it at this place"))
        })?;
        for entry in expectations.trip.iter().chain(&expectations.no_trip) {
            entry.check(setup)?;
        }
        for entry in &expectations.fault {
            entry.check(setup)?;
        }
        for entry in &expectations.stop {
            entry.check(setup)?;
        }
        for entry in &expectations.output {
            entry.check(setup)?;
        }
        for entry in &expectations.reset {
            check_window(entry.from, entry.to.as_ref())?;
        }
        Ok(expectations)
    }

    /// Everything in which a replay differs from the expectations.
    #[must_use]
    pub fn misses(&self, report: &Report) -> Vec<Miss> {
        let mut misses = Vec::new();
        if let Some(verdict) = self.verdict
            && !verdict.is(report.verdict)
        {
            misses.push(Miss(format!(
                "the verdict is {}, expected {}",
                word(report.verdict),
                verdict.name()
            )));
        }
        for entry in &self.trip {
            if !report.trips.iter().any(|trip| entry.is_met_by(trip)) {
                misses.push(Miss(format!("expected {entry}; there was none")));
            }
        }
        for entry in &self.fault {
            if !report.faults.iter().any(|fault| entry.is_met_by(fault)) {
                misses.push(Miss(format!("expected {entry}; there was none")));
            }
        }
        for trip in &report.trips {
            let what =
                format!("`{}` tripped on channel {} at {} s", trip.monitor, trip.channel, trip.tripped_s);
            if let Some(entry) = self.no_trip.iter().find(|entry| entry.is_met_by(trip)) {
                misses.push(Miss(format!("{what}; expected not to see {entry}")));
            } else if self.others == Others::Refused && !self.trip.iter().any(|entry| entry.is_met_by(trip)) {
                misses.push(Miss(format!("{what}; no expectation names it")));
            }
        }
        for fault in &report.faults {
            if self.others == Others::Refused && !self.fault.iter().any(|entry| entry.is_met_by(fault)) {
                let place = match (&fault.channel, &fault.input, &fault.analogue) {
                    (Some(line), _, Some(analogue)) => format!(" of line {line} of `{analogue}`"),
                    (Some(channel), ..) => format!(" on channel {channel}"),
                    (None, Some(input), _) => format!(" of input `{input}`"),
                    (None, None, _) => String::new(),
                };
                let (kind, at) = (&fault.kind, fault.at_s);
                misses.push(Miss(format!("fault `{kind}`{place} at {at} s; no expectation names it")));
            }
        }
        self.stops(report, &mut misses);
        self.outputs(report, &mut misses);
        self.resets(report, &mut misses);
        if report.left_out.trips + report.left_out.faults > 0 {
            misses.push(Miss(
                "more trips or faults than are kept; expectations cannot be held against all".to_owned(),
            ));
        }
        misses
    }

    fn stops(&self, report: &Report, misses: &mut Vec<Miss>) {
        for entry in &self.stop {
            if !report.stops.iter().any(|stop| entry.is_met_by(stop)) {
                misses.push(Miss(format!("expected {entry}; there was none")));
            }
        }
        for stop in &report.stops {
            let is_named = self.stop.iter().any(|entry| *entry.monitor.get_ref() == stop.monitor);
            if is_named
                && self.others == Others::Refused
                && !self.stop.iter().any(|entry| entry.is_met_by(stop))
            {
                let channel = stop.channel.as_ref();
                let place = channel.map_or_else(String::new, |channel| format!(" on channel {channel}"));
                let (name, at) = (&stop.monitor, stop.completed_s);
                misses.push(Miss(format!("the stop `{name}`{place} at {at} s; no expectation names it")));
            }
        }
        if !self.stop.is_empty() && report.left_out.stops > 0 {
            misses.push(Miss("more stops than are kept; expectations cannot be held against all".to_owned()));
        }
    }

    fn outputs(&self, report: &Report, misses: &mut Vec<Miss>) {
        for entry in &self.output {
            if !report.outputs.iter().any(|output| entry.is_met_by(output)) {
                misses.push(Miss(format!("expected {entry}; there was none")));
            }
        }
        for output in &report.outputs {
            let is_named = self.output.iter().any(|entry| *entry.monitor.get_ref() == output.monitor);
            if is_named
                && self.others == Others::Refused
                && !self.output.iter().any(|entry| entry.is_met_by(output))
            {
                let (name, to, at) = (&output.monitor, level(output.on), output.at_s);
                misses.push(Miss(format!(
                    "the output `{name}` became {to} at {at} s; no expectation names it"
                )));
            }
        }
        if !self.output.is_empty() && report.left_out.outputs > 0 {
            misses.push(Miss(
                "more changes of outputs than are kept; expectations cannot be held against all".to_owned(),
            ));
        }
    }

    fn resets(&self, report: &Report, misses: &mut Vec<Miss>) {
        for entry in &self.reset {
            if !report.resets.iter().any(|reset| entry.is_met_by(reset)) {
                misses.push(Miss(format!("expected {entry}; there was none")));
            }
        }
        if self.reset.is_empty() {
            return;
        }
        for reset in &report.resets {
            if self.others == Others::Refused && !self.reset.iter().any(|entry| entry.is_met_by(reset)) {
                let (result, at) = (&reset.result, reset.at_s);
                misses.push(Miss(format!("a reset at {at} s, {result}; no expectation names it")));
            }
        }
        if report.left_out.resets > 0 {
            misses
                .push(Miss("more resets than are kept; expectations cannot be held against all".to_owned()));
        }
    }
}
