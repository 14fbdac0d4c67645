//! The words of both reports.

use monitor_core::{Channel, Position, Reset, Sample};

use crate::replay::{FaultKind, TripRule};
use crate::setup::{Setup, Source};

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
