//! The words of both reports.

use monitor_core::{Channel, Position, Reset, Sample, Speed};

use crate::replay::{Change, FaultKind, TripRule};
use crate::setup::{ChannelSetup, Setup, Source};

pub(super) const fn channel(channel: Channel) -> &'static str {
    match channel {
        Channel::A => "a",
        Channel::B => "b",
    }
}

/// Name, kind and channel of the rule of a trip. A discrepancy belongs to both channels.
pub(super) fn rule(setup: &Setup, rule: TripRule) -> (String, &'static str, &'static str) {
    match rule {
        TripRule::Monitor(i, of) => {
            let monitor = &setup.monitors[i];
            (monitor.name.clone(), monitor.kind.name(), channel(of))
        }
        TripRule::PositionDiscrepancy => ("discrepancy".to_owned(), "discrepancy", "both"),
        TripRule::SpeedDiscrepancy => ("speed_discrepancy".to_owned(), "speed-discrepancy", "both"),
    }
}

/// Kind, channel and input of a fault.
pub(super) fn fault(setup: &Setup, kind: FaultKind) -> (&'static str, Option<&'static str>, Option<String>) {
    match kind {
        FaultKind::Channel(of, fault, _) => (fault.name(), Some(channel(of)), None),
        FaultKind::Input(i) => ("input", None, Some(setup.inputs[i].name.clone())),
        FaultKind::Clock => ("clock", None, None),
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

pub(super) const fn reset(result: Reset) -> &'static str {
    match result {
        Reset::Accepted => "accepted",
        Reset::ChannelFaulted => "refused: a channel is faulted",
        Reset::WarmingUp => "refused: a monitor is warming up",
        Reset::Violated => "refused: a rule is violated",
        Reset::InputFaulted => "refused: an input is faulted",
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
