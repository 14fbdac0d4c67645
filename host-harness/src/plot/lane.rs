//! What is on or off over time: lines, inputs, monitors, the permit.

use super::buckets::Bucket;
use super::collect::{ACTIVE, DEMANDING, FAULTS, LEVELS, OTHERS, OUTPUTS, PERMIT, VIOLATED, WARMING_UP};
use crate::setup::{InputLines, Setup};

/// What a lane is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LaneKind {
    /// A line of an input is high.
    Line,
    /// An input demands.
    Input,
    /// A monitor is active.
    Monitor,
    /// A monitor is violated, on either channel.
    Violated,
    /// An output is true.
    Output,
    /// Torque is permitted.
    Permit,
    /// Something needed is not known yet.
    WarmingUp,
    /// A channel cannot be seen.
    Fault,
}

impl LaneKind {
    /// A word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Line => "line",
            Self::Input => "input",
            Self::Monitor => "monitor",
            Self::Violated => "violated",
            Self::Output => "output",
            Self::Permit => "permit",
            Self::WarmingUp => "warming-up",
            Self::Fault => "fault",
        }
    }
}

/// Something that is on or off at every frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lane {
    /// What it is of.
    pub kind: LaneKind,
    /// Its name in the setup.
    pub name: String,
    group: usize,
    bit: u32,
}

/// What a lane was in a bucket.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// At no frame, or at none that it was known of.
    Off = 0,
    /// At every frame.
    On = 1,
    /// At some.
    Both = 2,
}

impl Lane {
    /// Those of a setup: inputs with their lines, monitors, then what concerns the whole axis.
    pub(super) fn of(setup: &Setup) -> Vec<Self> {
        let lane = |kind, name: &str, group, bit| Self { kind, name: name.to_owned(), group, bit };
        let mut lanes = Vec::new();
        let bit =
            |place: usize| u32::try_from(place).ok().and_then(|place| 1_u32.checked_shl(place)).unwrap_or(0);
        for (place, input) in setup.inputs.iter().enumerate() {
            let mut line = |line: u8| {
                if let Some(name) = setup.levels.get(usize::from(line)) {
                    lanes.push(lane(LaneKind::Line, name, LEVELS, bit(line.into())));
                }
            };
            match input.lines {
                InputLines::Single(one) => line(one),
                InputLines::Dual { first, second, .. } => {
                    line(first);
                    line(second);
                }
            }
            lanes.push(lane(LaneKind::Input, &input.name, DEMANDING, bit(place)));
        }
        if let Some(reset) = &setup.reset
            && let Some(name) = setup.levels.get(usize::from(reset.line))
        {
            lanes.push(lane(LaneKind::Line, name, LEVELS, bit(reset.line.into())));
        }
        for (place, monitor) in setup.monitors.iter().enumerate() {
            let name = &monitor.name;
            if monitor.kind.is_output() {
                lanes.push(lane(LaneKind::Output, name, OUTPUTS, bit(place)));
                continue;
            }
            lanes.push(lane(LaneKind::Monitor, name, ACTIVE, bit(place)));
            lanes.push(lane(LaneKind::Violated, name, VIOLATED, bit(place)));
        }
        let [fault_a, fault_b] = FAULTS;
        lanes.push(lane(LaneKind::Fault, "channel a", OTHERS, fault_a));
        lanes.push(lane(LaneKind::Fault, "channel b", OTHERS, fault_b));
        lanes.push(lane(LaneKind::WarmingUp, "warming up", OTHERS, WARMING_UP));
        lanes.push(lane(LaneKind::Permit, "permit", OTHERS, PERMIT));
        lanes
    }

    /// What it was in a bucket.
    #[must_use]
    pub fn state(&self, bucket: &Bucket) -> State {
        let is_in = |group: [u32; super::buckets::GROUPS]| {
            group.get(self.group).is_some_and(|bits| bits & self.bit != 0)
        };
        match (is_in(bucket.lanes.on), is_in(bucket.lanes.off)) {
            (true, false) => State::On,
            (true, true) => State::Both,
            (false, _) => State::Off,
        }
    }
}
