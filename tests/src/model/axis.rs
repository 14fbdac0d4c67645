//! One axis, frame by frame.

use super::discrepancy::{DiscrepancySeen, PositionDiscrepancy, SpeedDifference};
use super::exact::Q;
use super::input::{InputSeen, InputState};
use super::monitor::{MonitorSeen, MonitorState};
use super::setup::{Input, Lines, Setup};
use super::source::{Fault, Tracker};
use super::speed::Windows;
use super::verdict::{Judge, Limit, Question};
use monitor_core::Frame;

/// What one channel says at a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelSeen {
    /// The fault of this frame.
    pub fault: Option<Fault>,
    /// The first fault since the last accepted reset, after the reset of this frame.
    pub latched: Option<Fault>,
    /// The exact position in units; `None` while continuity is lost.
    pub position: Option<Q>,
    /// The exact signed speed in units per second; `None` while it is unknown.
    pub speed: Option<Q>,
    /// The exact signed acceleration in units per second squared; `None` while it is unknown, or when no rule needs it.
    pub acceleration: Option<Q>,
    /// No first reading yet although a monitor is active.
    pub warming_up: bool,
}

/// Why a reset is refused: the first reason in this order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// A channel is faulted, or has had no first reading.
    Channel,
    /// An active monitor is warming up.
    WarmingUp,
    /// A monitor or a discrepancy is violated.
    Violation,
    /// An input fault is present.
    Input,
}

/// What became of the reset at a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reset {
    /// Its line did not fall.
    None,
    /// Everything latched was cleared.
    Accepted,
    /// Nothing was changed.
    Refused(Refusal),
}

/// Everything that can be compared at a frame. On a clock fault everything but `clock_fault`, `permit`, `reset`
/// and the trips of the frame is as it was at the last evaluated frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// This frame is a clock fault and was not evaluated.
    pub clock_fault: bool,
    /// Whether a clock fault is latched, after the reset of this frame.
    pub clock_latched: bool,
    /// Whether torque is permitted.
    pub permit: bool,
    /// Channel A, channel B.
    pub channels: [ChannelSeen; 2],
    /// The inputs in the order of the setup.
    pub inputs: Vec<InputSeen>,
    /// The monitors in the order of the setup.
    pub monitors: Vec<MonitorSeen>,
    /// The position discrepancy, if set up.
    pub discrepancy: Option<DiscrepancySeen>,
    /// The speed discrepancy, if set up.
    pub speed_discrepancy: Option<DiscrepancySeen>,
    /// The reset.
    pub reset: Reset,
    /// How many comparisons this frame made that rounding could decide.
    pub compared: usize,
    /// How many of them rounding did decide.
    pub near: usize,
}

/// The reference model of one axis.
#[derive(Clone, Debug)]
pub struct Model {
    setup: Setup,
    trackers: [Tracker; 2],
    inputs: Vec<InputState>,
    /// The reset line with its filter.
    button: Option<InputState>,
    monitors: Vec<MonitorState>,
    discrepancy: Option<PositionDiscrepancy>,
    speed_discrepancy: Option<SpeedDifference>,
    /// Per channel, the smallest limit on the speed at the last evaluated frame.
    in_force: [Option<Limit>; 2],
    clock_latched: bool,
    /// `now` of the last evaluated frame, and whether the reset was pressed.
    last: Option<(u64, bool)>,
    last_seen: Option<Seen>,
}

impl Model {
    /// A model of `setup` as it is held, before its first frame.
    ///
    /// # Panics
    /// When the setup does not pass its own check.
    #[must_use]
    pub fn new(setup: &Setup) -> Self {
        let setup = setup.as_held();
        if let Err(reason) = setup.check() {
            panic!("the model was given a setup that cannot run: {reason}");
        }
        let tracker = |source: &super::Source| {
            Tracker::new(source.clone(), setup.window_ns, setup.spacing_ns(), setup.needs_acceleration())
        };
        let button = |line| {
            let filter_ns = setup.reset_filter_ns;
            InputState::new(Input { lines: Lines::One(line), demand_high: true, filter_ns })
        };
        Self {
            button: setup.reset_line.map(button),
            trackers: [tracker(&setup.a), tracker(&setup.b)],
            inputs: setup.inputs.iter().cloned().map(InputState::new).collect(),
            monitors: setup
                .monitors
                .iter()
                .cloned()
                .enumerate()
                .map(|(i, m)| MonitorState::new(i, m))
                .collect(),
            discrepancy: setup.discrepancy.clone().map(PositionDiscrepancy::new),
            speed_discrepancy: setup.speed_discrepancy.clone().map(SpeedDifference::new),
            in_force: [None, None],
            clock_latched: false,
            last: None,
            last_seen: None,
            setup,
        }
    }

    /// Evaluates one frame; near comparisons are decided as the documented rounding does.
    pub fn step(&mut self, frame: &Frame) -> Seen {
        self.step_with(frame, |_, held| held)
    }

    /// Evaluates one frame. `resolve` is asked for every near comparison; its second argument is the decision
    /// after the documented rounding.
    ///
    /// # Panics
    /// Never: a clock fault needs a frame before it.
    pub fn step_with(&mut self, frame: &Frame, mut resolve: impl FnMut(Question, bool) -> bool) -> Seen {
        let now = frame.now.as_nanos();
        if self.last.is_some_and(|(last, _)| now <= last) {
            return self.clock_fault();
        }
        let mut judge = Judge { resolve: &mut resolve, compared: 0, near: 0 };
        self.trackers[0].step(now, frame.a);
        self.trackers[1].step(now, frame.b);
        for input in &mut self.inputs {
            input.step(now, frame.levels);
        }
        let demanding: Vec<bool> = self.inputs.iter().map(InputState::demanding).collect();
        for monitor in &mut self.monitors {
            monitor.demand(now, &demanding, &self.in_force);
        }
        let monitors = self.evaluate_monitors(now, &mut judge);
        let trackers = &self.trackers;
        let discrepancy = self.discrepancy.as_mut().map(|rule| rule.step(now, trackers, &mut judge));
        let speed_discrepancy =
            self.speed_discrepancy.as_mut().map(|rule| rule.step(now, trackers, &mut judge));
        let mut seen = Seen {
            clock_fault: false,
            clock_latched: self.clock_latched,
            permit: false,
            channels: [0, 1].map(|channel| self.channel(channel)),
            inputs: self
                .inputs
                .iter()
                .map(|input| InputSeen {
                    demanding: input.demanding(),
                    faulted: false,
                    became_faulted: input.became_faulted(),
                })
                .collect(),
            monitors,
            discrepancy,
            speed_discrepancy,
            reset: Reset::None,
            compared: judge.compared,
            near: judge.near,
        };
        self.reset(frame, &mut seen);
        self.show_latches(&mut seen);
        seen.permit = self.permit(&seen);
        self.last_seen = Some(seen.clone());
        seen
    }

    fn clock_fault(&mut self) -> Seen {
        self.clock_latched = true;
        let mut seen = self.last_seen.clone().expect("a frame was evaluated before");
        seen.clock_fault = true;
        seen.clock_latched = true;
        seen.permit = false;
        seen.reset = Reset::None;
        seen.compared = 0;
        seen.near = 0;
        for monitor in &mut seen.monitors {
            for lane in &mut monitor.lanes {
                lane.tripped_now = None;
            }
        }
        for rule in [&mut seen.discrepancy, &mut seen.speed_discrepancy].into_iter().flatten() {
            rule.tripped_now = None;
        }
        for input in &mut seen.inputs {
            input.became_faulted = false;
        }
        seen
    }

    fn evaluate_monitors(&mut self, now: u64, judge: &mut Judge) -> Vec<MonitorSeen> {
        let mut in_force: [Option<Limit>; 2] = [None, None];
        let mut seen = Vec::new();
        let elapsed_ns = self.last.map_or(0, |(last, _)| now - last);
        for monitor in &mut self.monitors {
            let (monitor_seen, places) = monitor.step(now, elapsed_ns, &self.trackers, judge);
            seen.push(monitor_seen);
            for (smallest, placed) in in_force.iter_mut().zip(places) {
                *smallest = match (smallest.take(), placed) {
                    (Some(one), Some(other)) => Some(one.min(other)),
                    (one, other) => one.or(other),
                };
            }
        }
        self.in_force = in_force;
        seen
    }

    fn channel(&self, channel: usize) -> ChannelSeen {
        let tracker = &self.trackers[channel];
        ChannelSeen {
            fault: tracker.fault,
            latched: tracker.latched,
            position: tracker.position(),
            speed: tracker.speed().cloned(),
            acceleration: tracker.windows().map(Windows::acceleration),
            warming_up: !tracker.has_begun(),
        }
    }

    /// Acts on the falling edge of the reset line.
    fn reset(&mut self, frame: &Frame, seen: &mut Seen) {
        let now = frame.now.as_nanos();
        let pressed = self.button.as_mut().is_some_and(|button| {
            button.step(now, frame.levels);
            button.demanding()
        });
        let was_pressed = self.last.is_some_and(|(_, pressed)| pressed);
        self.last = Some((now, pressed));
        if !was_pressed || pressed {
            return;
        }
        let channel = self.trackers.iter().any(|tracker| tracker.fault.is_some() || !tracker.has_begun());
        let lanes = || seen.monitors.iter().flat_map(|monitor| &monitor.lanes);
        let warming_up = lanes().any(|lane| lane.warming_up);
        let monitor = lanes().any(|lane| lane.violated);
        let discrepancy =
            [&seen.discrepancy, &seen.speed_discrepancy].into_iter().flatten().any(|rule| rule.violated);
        let input = self.inputs.iter().any(InputState::refuses_reset);
        seen.reset = if channel {
            Reset::Refused(Refusal::Channel)
        } else if warming_up {
            Reset::Refused(Refusal::WarmingUp)
        } else if monitor || discrepancy {
            Reset::Refused(Refusal::Violation)
        } else if input {
            Reset::Refused(Refusal::Input)
        } else {
            Reset::Accepted
        };
        if seen.reset == Reset::Accepted {
            self.clear();
        }
    }

    fn clear(&mut self) {
        self.clock_latched = false;
        self.trackers.iter_mut().for_each(|tracker| tracker.latched = None);
        self.inputs.iter_mut().for_each(InputState::clear);
        self.monitors.iter_mut().for_each(MonitorState::reset);
        if let Some(rule) = &mut self.discrepancy {
            rule.hold.latched = false;
        }
        if let Some(rule) = &mut self.speed_discrepancy {
            rule.hold.latched = false;
        }
    }

    /// Shows what is latched after the reset.
    fn show_latches(&self, seen: &mut Seen) {
        seen.clock_latched = self.clock_latched;
        for (channel, tracker) in seen.channels.iter_mut().zip(&self.trackers) {
            channel.latched = tracker.latched;
        }
        for (input, state) in seen.inputs.iter_mut().zip(&self.inputs) {
            input.faulted = state.faulted();
        }
        for (monitor, state) in seen.monitors.iter_mut().zip(&self.monitors) {
            for (channel, lane) in monitor.lanes.iter_mut().enumerate() {
                lane.latched = state.latched(channel);
            }
        }
        if let (Some(rule), Some(state)) = (&mut seen.discrepancy, &self.discrepancy) {
            rule.latched = state.hold.latched;
        }
        if let (Some(rule), Some(state)) = (&mut seen.speed_discrepancy, &self.speed_discrepancy) {
            rule.latched = state.hold.latched;
        }
    }

    fn permit(&self, seen: &Seen) -> bool {
        let lanes = || seen.monitors.iter().flat_map(|monitor| &monitor.lanes);
        let rules = || [&seen.discrepancy, &seen.speed_discrepancy].into_iter().flatten();
        let latched = seen.clock_latched
            || seen.channels.iter().any(|channel| channel.latched.is_some())
            || lanes().any(|lane| lane.latched)
            || rules().any(|rule| rule.latched);
        let planned = seen.monitors.iter().any(|monitor| monitor.withdraws);
        let warming_up =
            seen.channels.iter().any(|channel| channel.warming_up) || lanes().any(|lane| lane.warming_up);
        let withheld = warming_up && self.setup.warm_up_withholds;
        !(latched || planned || withheld)
    }
}
