//! Which way a rule can be violated, where each way has a limit of its own, and what a count more or less would have changed.

use monitor_core::{Check, Frame, Outcome, Reading, Sample};

use super::play::{Sensor, Side};
use crate::replay::ReplayAxis;
use crate::setup::{Allowed, By, DemandSource, LimitSetup, MonitorKind, Setup};

/// Names of transitions, forwards and backwards: of the first the last count that is allowed, of the second the first that is not.
pub(super) const WITHIN: [&str; 2] =
    ["the last count within the limit, forwards", "the last count within the limit, backwards"];
pub(super) const BEYOND: [&str; 2] =
    ["the first count beyond the limit, forwards", "the first count beyond the limit, backwards"];
pub(super) const AT: &str = "exactly the limit, no violation";

/// Names of transitions of an output: of what it tells, then of what it demands.
pub(super) const TELLS: [[&str; 2]; 4] = [
    ["not yet true at the last count, forwards end", "not yet true at the last count, backwards end"],
    ["becomes true at the first count, forwards end", "becomes true at the first count, backwards end"],
    ["still true at the last count, forwards end", "still true at the last count, backwards end"],
    ["becomes false at the first count, forwards end", "becomes false at the first count, backwards end"],
];
pub(super) const DEMANDS: [[&str; 2]; 4] = [
    [
        "does not yet demand at the last count, forwards end",
        "does not yet demand at the last count, backwards end",
    ],
    [
        "begins to demand at the first count, forwards end",
        "begins to demand at the first count, backwards end",
    ],
    ["still demands at the last count, forwards end", "still demands at the last count, backwards end"],
    [
        "demands no longer at the first count, forwards end",
        "demands no longer at the first count, backwards end",
    ],
];

/// Whether a rule can be violated forwards, and backwards, each by a limit that a single count is enough to cross. `None`: it does not
/// tell the directions apart, and its limits are on magnitudes.
pub(super) fn ends(kind: &MonitorKind) -> Option<[bool; 2]> {
    match kind {
        MonitorKind::SpeedLimit { limit: LimitSetup::Each { .. }, .. }
        | MonitorKind::SpeedRange(_)
        | MonitorKind::AccelerationLimit { .. }
        | MonitorKind::AccelerationRange(_)
        | MonitorKind::TravelLimit { .. }
        | MonitorKind::PositionRange(_)
        | MonitorKind::Stop { by: By::Deceleration { .. }, .. } => Some([true, true]),
        MonitorKind::Direction { allowed, .. } => {
            Some([*allowed == Allowed::Negative, *allowed == Allowed::Positive])
        }
        _ => None,
    }
}

/// An output that tells something of the motion.
pub(super) const fn tells_motion(kind: &MonitorKind) -> bool {
    matches!(kind, MonitorKind::CamOutput { .. } | MonitorKind::SpeedOutput { .. })
}

/// The monitors that an output demands: while it is near, not unless it is on.
pub(super) fn demanded_by(setup: &Setup, output: usize) -> impl Iterator<Item = usize> {
    setup.monitors.iter().enumerate().filter_map(move |(number, monitor)| {
        // A stop may be carried through by itself.
        let is_plain = !matches!(monitor.kind, MonitorKind::Stop { .. });
        let mut demands = monitor.demand.iter();
        let is_demanded =
            demands.any(|demand| demand.source == DemandSource::Output(output) && !demand.inverted);
        (is_plain && is_demanded).then_some(number)
    })
}

/// Whether anything in a setup is to be seen by a count more or less.
pub(super) fn is_wanted(setup: &Setup) -> bool {
    setup.monitors.iter().any(|monitor| ends(&monitor.kind).is_some() || tells_motion(&monitor.kind))
}

/// What a frame would have come to, had one source stood a count further.
#[derive(Clone, Debug)]
pub(super) struct Probe {
    pub(super) outcome: Outcome,
    /// What each monitor would have found on that channel.
    pub(super) checks: Vec<Option<Check>>,
}

impl Probe {
    /// Of a source that was read at this frame; `axis` is as it was before it.
    pub(super) fn of(
        axis: &ReplayAxis,
        frame: &Frame,
        monitors: usize,
        (side, sensor): (Side, &Sensor),
        forwards: bool,
    ) -> Option<Self> {
        let mut frame = *frame;
        let reading = if side == 0 { &mut frame.a } else { &mut frame.b };
        let Some(Reading { sample: Sample::Count(raw), .. }) = reading else { return None };
        let more = if forwards == sensor.reversed { raw.wrapping_sub(1) } else { raw.wrapping_add(1) };
        *raw = more & (u64::MAX >> (64 - sensor.bits));
        let (mut axis, mut checks) = (axis.clone(), vec![None; monitors]);
        let outcome = axis.step_watched(&frame, &mut |id, channel, check| {
            if channel == monitor_core::Channel::BOTH[side] {
                checks[usize::from(id.index())] = Some(*check);
            }
        });
        Some(Self { outcome, checks })
    }
}
