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
//! analogue = "torque"                    # optional: an analogue value, `channel` is then its line
//! ```

use std::fmt;
use std::ops::Range;
use std::path::Path;

use serde::Deserialize;
use serde::de::{Deserializer, Error as _};
use toml::Spanned;

use crate::decimal::{Dimension, Rounding, parse_quantity};
use crate::report::{FaultReport, Report, Seconds, TripReport, VerdictReport};
use crate::setup::{Place, Setup};

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
            && self.analogue.as_ref().is_none_or(|name| Some(name.get_ref()) == fault.analogue.as_ref())
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
        let message = match (self.kind, &self.input) {
            (_, Some(_)) => "a fault of an input has no analogue value; leave one of the two out".to_owned(),
            (Some(kind @ (Kind::Input | Kind::Clock | Kind::Implausible)), _) => {
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
        if report.left_out.trips + report.left_out.faults > 0 {
            misses.push(Miss(
                "more trips or faults than are kept; expectations cannot be held against all".to_owned(),
            ));
        }
        misses
    }
}
