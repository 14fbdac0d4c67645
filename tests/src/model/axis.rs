//! One axis, frame by frame.

use super::analogue::{AnalogueSeen, AnalogueState};
use super::discrepancy::{DiscrepancySeen, PositionDiscrepancy, SpeedDifference};
use super::exact::Q;
use super::input::{InputSeen, InputState};
use super::monitor::{Demands, MonitorSeen, MonitorState, Scene};
use super::setup::{Demand, Input, Lines, Setup, Term};
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
    /// The exact referenced position in units; `None` while it has none.
    pub referenced: Option<Q>,
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
    /// A line of an analogue value is faulted, or has had no reading.
    Analogue,
    /// An active monitor needs a reference.
    Reference,
    /// An active monitor is warming up.
    WarmingUp,
    /// A monitor or a discrepancy, of analogue values too, is violated.
    Violation,
    /// A stop is not complete whose demand is a latched trip.
    Stop,
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

/// Everything that can be compared at a frame. On a clock fault no output is true, and everything else but `clock_fault`,
/// `permit`, `reset` and the trips of the frame is as it was at the last evaluated frame.
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
    /// The analogue values in the order of the setup.
    pub analogues: Vec<AnalogueSeen>,
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
    analogues: Vec<AnalogueState>,
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

/// Whether a demand names an input inverted.
fn is_inverted(setup: &Setup, index: usize) -> bool {
    let names =
        |demand: &Demand| matches!(demand, Demand::Any(terms) if terms.contains(&Term::NotInput(index)));
    setup.monitors.iter().any(|monitor| names(&monitor.demand))
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
        let tracker = |source: &super::Source, referencing: &super::Referencing| {
            let (spacing_ns, accelerates) = (setup.spacing_ns(), setup.needs_acceleration());
            Tracker::new(source.clone(), referencing.clone(), setup.window_ns, spacing_ns, accelerates)
        };
        let button = |line| {
            let filter_ns = setup.reset_filter_ns;
            InputState::new(Input { lines: Lines::One(line), demand_high: true, filter_ns }, false)
        };
        Self {
            button: setup.reset_line.map(button),
            trackers: [tracker(&setup.a, &setup.referencing[0]), tracker(&setup.b, &setup.referencing[1])],
            analogues: setup.analogues.iter().cloned().map(AnalogueState::new).collect(),
            inputs: (setup.inputs.iter().cloned().enumerate())
                .map(|(index, input)| InputState::new(input, is_inverted(&setup, index)))
                .collect(),
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

    /// Hands in a reading of an analogue value on a channel (0 is A, 1 is B) before a frame: when it was captured, and the
    /// value, or `None` when it is marked invalid.
    pub fn offer(&mut self, analogue: usize, channel: usize, captured_at: u64, value: Option<Q>) {
        self.analogues[analogue].offer(channel, captured_at, value);
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
        for tracker in &mut self.trackers {
            tracker.refer(|input| self.inputs[input].declares());
        }
        for analogue in &mut self.analogues {
            analogue.step(now);
        }
        let elapsed_ns = self.last.map_or(0, |(last, _)| now - last);
        let monitors = self.evaluate_monitors(now, elapsed_ns, &mut judge);
        let trackers = &self.trackers;
        let discrepancy = self.discrepancy.as_mut().map(|rule| rule.step(now, trackers, &mut judge));
        let speed_discrepancy =
            self.speed_discrepancy.as_mut().map(|rule| rule.step(now, trackers, &mut judge));
        let mut seen = Seen {
            clock_fault: false,
            clock_latched: self.clock_latched,
            permit: false,
            channels: [0, 1].map(|channel| self.channel(channel)),
            analogues: self.analogues.iter_mut().map(|analogue| analogue.compare(now)).collect(),
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
        for (monitor, state) in seen.monitors.iter_mut().zip(&mut self.monitors) {
            monitor.output |= state.brake(now, elapsed_ns, seen.permit) == Some(true);
        }
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
        self.monitors.iter_mut().for_each(MonitorState::close_brake);
        for monitor in &mut seen.monitors {
            monitor.output = false;
            for lane in &mut monitor.lanes {
                lane.tripped_now = None;
            }
        }
        for rule in [&mut seen.discrepancy, &mut seen.speed_discrepancy].into_iter().flatten() {
            rule.tripped_now = None;
        }
        for analogue in &mut seen.analogues {
            analogue.discrepancy.tripped_now = None;
        }
        for input in &mut seen.inputs {
            input.became_faulted = false;
        }
        seen
    }

    /// Demands and evaluates one monitor after the other: an output demands what stands after it.
    fn evaluate_monitors(&mut self, now: u64, elapsed_ns: u64, judge: &mut Judge) -> Vec<MonitorSeen> {
        let reacting: Vec<usize> = self.monitors.iter().filter_map(MonitorState::reaction).collect();
        let mut in_force: [Option<Limit>; 2] = [None, None];
        let mut seen = Vec::new();
        let mut outputs = Vec::new();
        let scene = Scene { trackers: &self.trackers, analogues: &self.analogues };
        for (index, monitor) in self.monitors.iter_mut().enumerate() {
            let reacts = reacting.contains(&index);
            let demands = Demands { inputs: &self.inputs, outputs: &outputs, reacts };
            monitor.demand(now, &demands, &self.in_force);
            let (monitor_seen, places) = monitor.step(now, elapsed_ns, scene, judge);
            outputs.push(monitor.states());
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
            referenced: tracker.referenced(),
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
        let mut lines = self.analogues.iter().flat_map(|analogue| &analogue.lines);
        let analogue = lines.any(|line| line.fault.is_some() || !line.has_begun());
        let lanes = || seen.monitors.iter().flat_map(|monitor| &monitor.lanes);
        let unreferenced = lanes().any(|lane| lane.unreferenced);
        let warming_up = lanes().any(|lane| lane.warming_up);
        let monitor = lanes().any(|lane| lane.violated);
        let discrepancy =
            [&seen.discrepancy, &seen.speed_discrepancy].into_iter().flatten().any(|rule| rule.violated)
                || seen.analogues.iter().any(|analogue| analogue.discrepancy.violated);
        let mut asked = self.monitors.iter().filter_map(MonitorState::reaction);
        let stop = asked.any(|stop| !self.monitors[stop].has_stopped());
        let input = self.inputs.iter().any(InputState::refuses_reset);
        seen.reset = if channel {
            Reset::Refused(Refusal::Channel)
        } else if analogue {
            Reset::Refused(Refusal::Analogue)
        } else if unreferenced {
            Reset::Refused(Refusal::Reference)
        } else if warming_up {
            Reset::Refused(Refusal::WarmingUp)
        } else if monitor || discrepancy {
            Reset::Refused(Refusal::Violation)
        } else if stop {
            Reset::Refused(Refusal::Stop)
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
        self.analogues.iter_mut().for_each(AnalogueState::clear);
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
                lane.latched_unreferenced = state.latched_unreferenced(channel);
            }
        }
        for (analogue, state) in seen.analogues.iter_mut().zip(&self.analogues) {
            for (line, state) in analogue.lines.iter_mut().zip(&state.lines) {
                line.latched = state.latched;
            }
            analogue.discrepancy.latched = state.hold.latched;
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
        let analogue_lines = || seen.analogues.iter().flat_map(|analogue| &analogue.lines);
        let tripped =
            seen.monitors.iter().zip(&self.monitors).any(|(monitor, state)| {
                state.trip_withdraws() && monitor.lanes.iter().any(|lane| lane.latched)
            });
        let latched = seen.clock_latched
            || seen.channels.iter().any(|channel| channel.latched.is_some())
            || analogue_lines().any(|line| line.latched.is_some())
            || seen.analogues.iter().any(|analogue| analogue.discrepancy.latched)
            || lanes().any(|lane| lane.latched_unreferenced)
            || tripped
            || rules().any(|rule| rule.latched);
        let planned = seen.monitors.iter().any(|monitor| monitor.withdraws);
        let warming_up = seen.channels.iter().any(|channel| channel.warming_up)
            || analogue_lines().any(|line| line.warming_up)
            || lanes().any(|lane| lane.warming_up);
        let withheld = warming_up && self.setup.warm_up_withholds;
        !(latched || planned || withheld)
    }
}
