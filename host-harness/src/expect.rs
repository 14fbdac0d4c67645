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
//! kind    = "stale"                      # optional: invalid, out-of-order, stale, implausible, range, input, clock
//! channel = "b"                          # optional
//! input   = "door"                       # optional
//! ```

use std::fmt;
use std::path::Path;

use serde::Deserialize;
use serde::de::{Deserializer, Error as _};

use crate::decimal::{Dimension, Rounding, parse_quantity};
use crate::report::{FaultReport, Report, Seconds, TripReport, VerdictReport};
use crate::setup::Setup;

/// A file of expectations that cannot be used: path, place, what is wrong, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{path}: {message}")]
pub struct ExpectError {
    path: String,
    message: String,
}

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

const fn name(verdict: VerdictReport) -> &'static str {
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
        }
    }
}

#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
struct TripEntry {
    monitor: Option<String>,
    channel: Option<On>,
    from: Option<Time>,
    to: Option<Time>,
}

#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
struct FaultEntry {
    kind: Option<Kind>,
    channel: Option<On>,
    input: Option<String>,
    from: Option<Time>,
    to: Option<Time>,
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
}

/// One expectation that was not met.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Miss(String);

impl fmt::Display for Miss {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

fn within(at: Seconds, from: Option<Time>, to: Option<Time>) -> bool {
    from.is_none_or(|from| at.0 >= from.0) && to.is_none_or(|to| at.0 <= to.0)
}

fn window(from: Option<Time>, to: Option<Time>) -> String {
    match (from, to) {
        (None, None) => String::new(),
        (Some(from), None) => format!(" from {} s on", Seconds(from.0)),
        (None, Some(to)) => format!(" until {} s", Seconds(to.0)),
        (Some(from), Some(to)) => format!(" from {} s to {} s", Seconds(from.0), Seconds(to.0)),
    }
}

impl TripEntry {
    fn is_met_by(&self, trip: &TripReport) -> bool {
        self.monitor.as_ref().is_none_or(|name| *name == trip.monitor)
            && self.channel.is_none_or(|on| on.name() == trip.channel)
            && within(trip.tripped_s, self.from, self.to)
    }
}

impl fmt::Display for TripEntry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.monitor {
            Some(name) => write!(f, "a trip of `{name}`")?,
            None => f.write_str("a trip")?,
        }
        if let Some(on) = self.channel {
            write!(f, " on channel {}", on.name())?;
        }
        f.write_str(&window(self.from, self.to))
    }
}

impl FaultEntry {
    fn is_met_by(&self, fault: &FaultReport) -> bool {
        self.kind.is_none_or(|kind| kind.name() == fault.kind)
            && self.channel.is_none_or(|on| Some(on.name()) == fault.channel.as_deref())
            && self.input.as_ref().is_none_or(|input| Some(input) == fault.input.as_ref())
            && within(fault.at_s, self.from, self.to)
    }
}

impl fmt::Display for FaultEntry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.kind {
            Some(kind) => write!(f, "a fault `{}`", kind.name())?,
            None => f.write_str("a fault")?,
        }
        if let Some(on) = self.channel {
            write!(f, " on channel {}", on.name())?;
        }
        if let Some(input) = &self.input {
            write!(f, " of input `{input}`")?;
        }
        f.write_str(&window(self.from, self.to))
    }
}

impl Expectations {
    /// Reads a file of expectations for traces of this setup.
    ///
    /// # Errors
    ///
    /// [`ExpectError`] when the file cannot be read, is not of this form, or names a monitor or an input that the
    /// setup does not have: such an expectation could never be missed.
    pub fn load(path: &Path, setup: &Setup) -> Result<Self, ExpectError> {
        let shown = path.display().to_string();
        let error = |message: String| ExpectError { path: shown.clone(), message };
        let text = std::fs::read_to_string(path)
            .map_err(|why| error(format!("cannot be read: {why}; check the path given with --expect")))?;
        let expectations: Self =
            toml::from_str(&text).map_err(|why| error(why.to_string().trim_end().to_owned()))?;
        expectations.check(setup).map_err(error)?;
        Ok(expectations)
    }

    fn check(&self, setup: &Setup) -> Result<(), String> {
        let known = |name: &str| {
            setup.monitors.iter().any(|monitor| monitor.name == name)
                || matches!(name, "discrepancy" | "speed_discrepancy")
        };
        for name in self.trip.iter().chain(&self.no_trip).filter_map(|entry| entry.monitor.as_deref()) {
            if !known(name) {
                let names: Vec<_> = setup.monitors.iter().map(|monitor| monitor.name.as_str()).collect();
                return Err(format!("the setup has no monitor `{name}`; it has: {}", names.join(", ")));
            }
        }
        for name in self.fault.iter().filter_map(|entry| entry.input.as_deref()) {
            if !setup.inputs.iter().any(|input| input.name == name) {
                let names: Vec<_> = setup.inputs.iter().map(|input| input.name.as_str()).collect();
                return Err(format!("the setup has no input `{name}`; it has: {}", names.join(", ")));
            }
        }
        for (from, to) in (self.trip.iter().chain(&self.no_trip).map(|entry| (entry.from, entry.to)))
            .chain(self.fault.iter().map(|entry| (entry.from, entry.to)))
        {
            if let (Some(from), Some(to)) = (from, to)
                && from > to
            {
                return Err(format!(
                    "a time window{} that ends before it begins",
                    window(Some(from), Some(to))
                ));
            }
        }
        Ok(())
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
                name(report.verdict),
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
                let place = match (&fault.channel, &fault.input) {
                    (Some(channel), _) => format!(" on channel {channel}"),
                    (None, Some(input)) => format!(" of input `{input}`"),
                    (None, None) => String::new(),
                };
                let (kind, at) = (&fault.kind, fault.at_s);
                misses.push(Miss(format!("fault `{kind}`{place} at {at} s; no expectation names it")));
            }
        }
        if report.left_out.trips + report.left_out.faults > 0 {
            misses.push(Miss(
                "more trips or faults than are kept; expectations cannot be held against all".to_owned(),
            ));
        }
        misses
    }
}
