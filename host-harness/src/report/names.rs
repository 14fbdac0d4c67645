//! The words of both reports.

use monitor_core::{Channel, Evidence, Position, Reset, Sample, Side, SourceFault, Speed};

use crate::replay::{Change, FaultKind, TripRule};
use crate::setup::{AnalogueUnit, ChannelSetup, Setup, Source};

pub(super) const fn channel(channel: Channel) -> &'static str {
    match channel {
        Channel::A => "a",
        Channel::B => "b",
    }
}

/// Name, kind and channel of the rule of a trip. A discrepancy belongs to both channels.
pub(crate) fn rule(setup: &Setup, rule: TripRule) -> (String, &'static str, &'static str) {
    match rule {
        TripRule::Monitor(i, of) => {
            let monitor = &setup.monitors[i];
            (monitor.name.clone(), monitor.kind.name(), channel(of))
        }
        TripRule::PositionDiscrepancy => ("discrepancy".to_owned(), "discrepancy", "both"),
        TripRule::SpeedDiscrepancy => ("speed_discrepancy".to_owned(), "speed-discrepancy", "both"),
        TripRule::Analogue(i) => (setup.analogues[i].name.clone(), "analogue-discrepancy", "both"),
    }
}

/// What was faulted, and how.
pub(super) struct Faulted {
    pub(super) kind: &'static str,
    /// A channel, or the line of an analogue value.
    pub(super) channel: Option<&'static str>,
    pub(super) input: Option<String>,
    pub(super) analogue: Option<String>,
}

pub(super) fn fault(setup: &Setup, kind: FaultKind) -> Faulted {
    let of_a_channel = |of, fault: SourceFault| {
        let (kind, channel) = (fault.name(), Some(channel(of)));
        Faulted { kind, channel, input: None, analogue: None }
    };
    match kind {
        FaultKind::Channel(of, fault, _) => of_a_channel(of, fault),
        FaultKind::Analogue(i, of, fault, _) => {
            Faulted { analogue: Some(setup.analogues[i].name.clone()), ..of_a_channel(of, fault) }
        }
        FaultKind::Input(i) => {
            let input = Some(setup.inputs[i].name.clone());
            Faulted { kind: "input", channel: None, input, analogue: None }
        }
        FaultKind::Unreferenced(_, of) => {
            Faulted { kind: "unreferenced", channel: Some(channel(of)), input: None, analogue: None }
        }
        FaultKind::Clock => Faulted { kind: "clock", channel: None, input: None, analogue: None },
    }
}

/// How it was faulted, and what it is in words.
pub(crate) fn faulted(setup: &Setup, kind: FaultKind) -> (String, String) {
    let Faulted { kind: how, channel, input, analogue } = fault(setup, kind);
    let who = match (channel, input, analogue) {
        (Some(line), _, Some(analogue)) => format!("line {line} of {analogue}"),
        (Some(channel), ..) => format!("channel {channel}"),
        (None, Some(input), _) => format!("input {input}"),
        (None, None, _) => "the clock".to_owned(),
    };
    (how.to_owned(), who)
}

/// The unit of the analogue value that a rule is about; nothing for a rule on the motion.
pub(super) fn analogue_unit(setup: &Setup, rule: TripRule) -> Option<&'static str> {
    let unit = match rule {
        TripRule::Monitor(i, _) => setup.analogue_unit(i),
        TripRule::Analogue(i) => Some(setup.analogues[i].unit),
        TripRule::PositionDiscrepancy | TripRule::SpeedDiscrepancy => None,
    };
    unit.map(AnalogueUnit::symbol)
}

/// The monitor that lacks a referenced position.
pub(super) fn unreferenced(setup: &Setup, kind: FaultKind) -> Option<String> {
    match kind {
        FaultKind::Unreferenced(monitor, _) => Some(setup.monitors[monitor].name.clone()),
        _ => None,
    }
}

/// A sample as its source meant it.
pub(super) enum Shown {
    /// The counter as read.
    Count(u64),
    /// A position in the axis unit.
    Position(Position),
    /// The source marked it as invalid.
    Invalid,
}

pub(super) fn sample(setup: &Setup, channel: Channel, sample: Sample) -> Shown {
    match (sample, &setup.channel(channel).source) {
        (Sample::Invalid, _) => Shown::Invalid,
        (Sample::Count(count), Source::Counter { .. }) => Shown::Count(count),
        // A source of positions is a counter of their smallest steps.
        (Sample::Count(steps), Source::Position { .. }) => {
            Shown::Position(Position::from_bits(steps.cast_signed()))
        }
    }
}

/// What a trip was decided by.
pub(crate) struct Figures {
    /// `position`, `speed`, `acceleration`, `overrun` or `value`.
    pub(crate) quantity: &'static str,
    pub(crate) unit: String,
    side: Side,
    /// In steps of 2⁻²⁴ of the unit, whatever it is of.
    pub(crate) observed: Position,
    pub(crate) limit: Position,
    /// How far the one is beyond the other.
    pub(crate) excess: Position,
}

impl Figures {
    pub(crate) fn new(setup: &Setup, rule: TripRule, evidence: &Evidence) -> Self {
        let (quantity, per, observed, limit, side) = match *evidence {
            Evidence::Position(bound) => {
                ("position", "", bound.observed.to_bits(), bound.limit.to_bits(), bound.side)
            }
            Evidence::Overrun(bound) => {
                ("overrun", "", bound.observed.to_bits(), bound.limit.to_bits(), bound.side)
            }
            Evidence::Speed(bound) => {
                ("speed", "/s", bound.observed.to_bits(), bound.limit.to_bits(), bound.side)
            }
            Evidence::Acceleration(bound) => {
                ("acceleration", "/s^2", bound.observed.to_bits(), bound.limit.to_bits(), bound.side)
            }
            Evidence::Value(bound) => {
                ("value", "", bound.observed.to_bits(), bound.limit.to_bits(), bound.side)
            }
        };
        let excess = match side {
            Side::Above => observed.saturating_sub(limit),
            Side::Below => limit.saturating_sub(observed),
        };
        Self {
            quantity,
            unit: analogue_unit(setup, rule)
                .map_or_else(|| format!("{}{per}", setup.unit.symbol()), str::to_owned),
            side,
            observed: Position::from_bits(observed),
            limit: Position::from_bits(limit),
            excess: Position::from_bits(excess),
        }
    }

    /// Whether what is allowed is the least.
    pub(crate) const fn is_least(&self) -> bool {
        matches!(self.side, Side::Below)
    }

    pub(super) const fn side(&self) -> &'static str {
        match self.side {
            Side::Above => "above",
            Side::Below => "below",
        }
    }

    /// In one line, for a rule of this kind.
    pub(crate) fn line(&self, kind: &str) -> String {
        let Self { quantity, unit, side, observed, limit, excess } = self;
        let (bound, beyond) = match (side, *quantity) {
            (Side::Below, _) => ("at least ", "below"),
            // Signed, and so neither fast nor slow.
            (Side::Above, _) if kind.ends_with("-range") => ("at most ", "above"),
            (Side::Above, "speed") => ("", "too fast"),
            (Side::Above, "value") if kind == "analogue-discrepancy" => ("", "too far apart"),
            (Side::Above, "value") if kind == "temperature-limit" => ("", "too hot"),
            (Side::Above, "acceleration" | "value") => ("", "too much"),
            (Side::Above, _) => ("", "too far"),
        };
        let what = if *quantity == "overrun" { " beyond the speed limit" } else { "" };
        format!("{observed:.4} {unit}{what}, allowed {bound}{limit:.4} {unit}, {excess:.4} {unit} {beyond}")
    }
}

pub(crate) const fn reset(result: Reset) -> &'static str {
    match result {
        Reset::Accepted => "accepted",
        Reset::ChannelFaulted => "refused: a channel is faulted",
        Reset::WarmingUp => "refused: a monitor is warming up",
        Reset::Violated => "refused: a rule is violated",
        Reset::InputFaulted => "refused: an input is faulted",
        Reset::Unreferenced => "refused: a position has no reference",
        Reset::AnalogueFaulted => "refused: an analogue value is faulted",
        Reset::Stopping => "refused: a stop is not complete",
    }
}

/// What a reading changed, in units.
pub(super) struct Moved {
    pub(super) travel: Position,
    /// A magnitude.
    pub(super) speed: Speed,
}

impl Moved {
    /// Rounded towards zero; at the ends of the range what is farther is shown as the end.
    pub(super) fn new(change: Change, source: &ChannelSetup) -> Self {
        // In steps of 10⁻⁹ ULP.
        let count = match &source.source {
            Source::Counter { unit_per_count, .. } => unit_per_count.value,
            Source::Position { .. } => 1_000_000_000,
        };
        let travel = i128::from(change.counts) * i128::from(count);
        let speed = travel.abs() / i128::from(change.elapsed.as_nanos().max(1));
        let fits =
            |ulps: i128| i64::try_from(ulps.clamp(i64::MIN.into(), i64::MAX.into())).unwrap_or(i64::MAX);
        Self {
            travel: Position::from_bits(fits(travel / 1_000_000_000)),
            speed: Speed::from_bits(fits(speed)),
        }
    }
}
