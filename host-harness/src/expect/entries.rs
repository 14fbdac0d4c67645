//! The entries of a file of expectations: what each asks for, in words, and what meets it.

use std::fmt;

use serde::Deserialize;
use serde::de::{Deserializer, Error as _};
use toml::Spanned;

use crate::decimal::{Dimension, Rounding, parse_quantity};
use crate::report::{FaultReport, OutputReport, ResetReport, Seconds, StopReport, TripReport, VerdictReport};

/// A time in ns, written with its unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Time(pub(super) i128);

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
pub(super) enum Others {
    #[default]
    Refused,
    Accepted,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Verdict {
    Clear,
    Tripped,
    Fault,
}

pub(super) const fn word(verdict: VerdictReport) -> &'static str {
    match verdict {
        VerdictReport::Clear => "clear",
        VerdictReport::Tripped => "tripped",
        VerdictReport::Fault => "fault",
    }
}

impl Verdict {
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Clear => "clear",
            Self::Tripped => "tripped",
            Self::Fault => "fault",
        }
    }

    pub(super) const fn is(self, verdict: VerdictReport) -> bool {
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
pub(super) enum On {
    A,
    B,
    Both,
}

impl On {
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::A => "a",
            Self::B => "b",
            Self::Both => "both",
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Kind {
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
    pub(super) const fn name(self) -> &'static str {
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
pub(super) struct TripEntry {
    pub(super) monitor: Option<Spanned<String>>,
    pub(super) channel: Option<Spanned<On>>,
    pub(super) from: Option<Time>,
    pub(super) to: Option<Spanned<Time>>,
}

#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FaultEntry {
    pub(super) kind: Option<Kind>,
    pub(super) channel: Option<Spanned<On>>,
    pub(super) input: Option<Spanned<String>>,
    pub(super) analogue: Option<Spanned<String>>,
    pub(super) monitor: Option<Spanned<String>>,
    pub(super) from: Option<Time>,
    pub(super) to: Option<Spanned<Time>>,
}

#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StopEntry {
    pub(super) monitor: Spanned<String>,
    pub(super) channel: Option<Spanned<On>>,
    pub(super) from: Option<Time>,
    pub(super) to: Option<Spanned<Time>>,
}

#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct OutputEntry {
    pub(super) monitor: Spanned<String>,
    pub(super) on: Option<bool>,
    pub(super) from: Option<Time>,
    pub(super) to: Option<Spanned<Time>>,
}

#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ResetEntry {
    pub(super) accepted: Option<bool>,
    pub(super) from: Option<Time>,
    pub(super) to: Option<Spanned<Time>>,
}

pub(super) fn within(at: Seconds, from: Option<Time>, to: Option<&Spanned<Time>>) -> bool {
    from.is_none_or(|from| at.0 >= from.0) && to.is_none_or(|to| at.0 <= to.get_ref().0)
}

pub(super) fn window(from: Option<Time>, to: Option<&Spanned<Time>>) -> String {
    match (from, to.map(Spanned::get_ref)) {
        (None, None) => String::new(),
        (Some(from), None) => format!(" from {} s on", Seconds(from.0)),
        (None, Some(to)) => format!(" until {} s", Seconds(to.0)),
        (Some(from), Some(to)) => format!(" from {} s to {} s", Seconds(from.0), Seconds(to.0)),
    }
}

impl TripEntry {
    pub(super) fn is_met_by(&self, trip: &TripReport) -> bool {
        self.monitor.as_ref().is_none_or(|name| *name.get_ref() == trip.monitor)
            && self.channel.as_ref().is_none_or(|on| on.get_ref().name() == trip.channel)
            && within(trip.tripped_s, self.from, self.to.as_ref())
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
    pub(super) fn is_met_by(&self, fault: &FaultReport) -> bool {
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

impl StopEntry {
    pub(super) fn is_met_by(&self, stop: &StopReport) -> bool {
        *self.monitor.get_ref() == stop.monitor
            && self.channel.as_ref().is_none_or(|on| Some(on.get_ref().name()) == stop.channel.as_deref())
            && within(stop.completed_s, self.from, self.to.as_ref())
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

pub(super) const fn level(on: bool) -> &'static str {
    if on { "true" } else { "false" }
}

impl OutputEntry {
    pub(super) fn is_met_by(&self, output: &OutputReport) -> bool {
        *self.monitor.get_ref() == output.monitor
            && self.on.is_none_or(|on| on == output.on)
            && within(output.at_s, self.from, self.to.as_ref())
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
    pub(super) fn is_met_by(&self, reset: &ResetReport) -> bool {
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
