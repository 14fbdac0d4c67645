//! The monitors, once per channel.

use super::analogue::AnalogueState;
use super::envelope::envelope;
use super::exact::{Q, seconds};
use super::input::InputState;
use super::output::{self, Brake, States};
use super::rule::{self, Finding};
use super::setup::{Demand, Kind, Monitor, Term, Until};
use super::source::{Reference, Tracker};
use super::stop::stop;
use super::verdict::{Bound, Hold, Judge, Limit, Overrun, Question, Tri, TripFacts};

/// What one monitor says on one channel at a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct LaneSeen {
    /// Active, needs the speed or a reference, and does not have it.
    pub warming_up: bool,
    /// Active, needs a referenced position, and there is only one without a reference.
    pub unreferenced: bool,
    /// Whether it was so since the last accepted reset, after the reset of this frame.
    pub latched_unreferenced: bool,
    /// Whether this is an output that is on at this channel.
    pub on: bool,
    /// Whether this is an output that is near on this channel.
    pub near: bool,
    /// The exact verdict; `No` while it is not evaluated.
    pub verdict: Tri,
    /// The decision, with near cases resolved.
    pub violated: bool,
    /// What was observed against which limit; the position of a standstill comes before its speed when both or
    /// neither are exceeded. `None` while nothing is compared.
    pub compared: Option<Bound>,
    /// What this unbroken violation has travelled beyond its limit; `None` while it is not violated or no overrun is
    /// set up.
    pub overrun: Option<Bound>,
    /// Since when it is violated without a break, in nanoseconds.
    pub violated_since: Option<u64>,
    /// The trip of this frame.
    pub tripped_now: Option<TripFacts>,
    /// Whether a trip is latched, after the reset of this frame.
    pub latched: bool,
    /// Whether this is a stop that is complete on this channel.
    pub complete: bool,
}

/// What one monitor says at a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct MonitorSeen {
    /// Whether it is active.
    pub active: bool,
    /// The frame at which its demand became active, in nanoseconds.
    pub demanded_at: Option<u64>,
    /// Whether it withdraws the permit as planned.
    pub withdraws: bool,
    /// Whether it is an output that is true.
    pub output: bool,
    /// Channel A, channel B.
    pub lanes: [LaneSeen; 2],
}

#[derive(Clone, Debug, Default)]
pub(super) struct Lane {
    /// The limit in force before the demand.
    pub cap: Option<Limit>,
    /// Where an envelope starts.
    pub v0: Option<Limit>,
    /// The place from which travel is counted; of a direction the furthest point.
    pub x_ref: Option<Reference>,
    /// Whether a stop is complete.
    pub complete: bool,
    /// The states of an output.
    pub states: States,
    hold: Hold,
    /// It was unreferenced, and there was no reset since.
    unreferenced: bool,
    overrun: Option<Overrun>,
}

impl Lane {
    /// Everything anew but what is latched.
    fn restart(&mut self, cap: Option<Limit>) {
        let hold = Hold { since: None, latched: self.hold.latched };
        *self = Self { cap, hold, unreferenced: self.unreferenced, ..Self::default() };
    }
}

/// What may demand a monitor at a frame.
pub(super) struct Demands<'a> {
    pub inputs: &'a [InputState],
    /// The states of the outputs that stand before it, by their index; of other monitors nothing.
    pub outputs: &'a [States],
    /// A trip is latched since the frame before whose reaction it is.
    pub reacts: bool,
}

impl Demands<'_> {
    fn wants(&self, demand: &Demand) -> bool {
        let term = |term: &Term| match *term {
            Term::Input(index) => self.inputs[index].demanding(),
            Term::NotInput(index) => !self.inputs[index].surely_demanding(),
            Term::Output(index) => self.outputs[index].near,
            Term::NotOutput(index) => !self.outputs[index].on,
        };
        match demand {
            Demand::Always => true,
            Demand::Any(terms) => self.reacts || terms.iter().any(term),
            Demand::Reactions => self.reacts,
        }
    }
}

/// What the rules look at.
#[derive(Clone, Copy)]
pub(super) struct Scene<'a> {
    pub trackers: &'a [Tracker; 2],
    pub analogues: &'a [AnalogueState],
}

#[derive(Clone, Debug)]
pub(super) struct MonitorState {
    index: usize,
    setup: Monitor,
    t0: Option<u64>,
    lanes: [Lane; 2],
    brake: Brake,
}

impl MonitorState {
    pub fn new(index: usize, setup: Monitor) -> Self {
        Self { index, setup, t0: None, lanes: Default::default(), brake: Brake::default() }
    }

    pub fn active(&self) -> bool {
        self.t0.is_some()
    }

    /// A stop that is complete on both channels.
    pub fn has_stopped(&self) -> bool {
        self.active() && self.lanes.iter().all(|lane| lane.complete)
    }

    /// Starts or ends. `in_force` holds, per channel, the smallest limit on the speed at the frame before.
    pub fn demand(&mut self, now: u64, demands: &Demands, in_force: &[Option<Limit>; 2]) {
        let wanted = demands.wants(&self.setup.demand);
        let carried_through =
            matches!(self.setup.kind, Kind::Stop { .. }) && !self.lanes.iter().all(|lane| lane.complete);
        match self.t0 {
            None if wanted => {
                self.t0 = Some(now);
                for (lane, cap) in self.lanes.iter_mut().zip(in_force) {
                    lane.restart(cap.clone());
                }
            }
            Some(_) if !wanted && !carried_through => {
                self.t0 = None;
                for lane in &mut self.lanes {
                    lane.restart(None);
                }
            }
            _ => {}
        }
    }

    /// The states of both channels together, of an output at this frame.
    pub fn states(&self) -> States {
        States::together([0, 1].map(|channel| self.lanes[channel].states))
    }

    /// The stop that a latched trip of it demands.
    pub fn reaction(&self) -> Option<usize> {
        self.setup.reaction.filter(|_| self.lanes.iter().any(|lane| lane.hold.latched))
    }

    /// Whether a trip of it withdraws the permit.
    pub fn trip_withdraws(&self) -> bool {
        self.setup.reaction.is_none()
    }

    /// Whether the brake may be released, of a brake output, `elapsed_ns` after the frame evaluated before.
    pub fn brake(&mut self, now: u64, elapsed_ns: u64, permit: bool) -> Option<bool> {
        let Kind::BrakeOutput { delay_ns } = self.setup.kind else { return None };
        Some(self.brake.step(now, elapsed_ns, permit, delay_ns))
    }

    /// A clock fault closes a brake.
    pub fn close_brake(&mut self) {
        self.brake.close();
    }

    /// Evaluates both channels, `elapsed_ns` after the frame evaluated before. The second value is the limit placed on
    /// the speed of each.
    pub fn step(
        &mut self,
        now: u64,
        elapsed_ns: u64,
        scene: Scene,
        judge: &mut Judge,
    ) -> (MonitorSeen, [Option<Limit>; 2]) {
        let mut places = [None, None];
        let lanes = [0, 1].map(|channel| {
            let (seen, placed) = self.step_lane(now, elapsed_ns, channel, scene, judge);
            places[channel] = placed;
            seen
        });
        let complete = self.lanes.iter().any(|lane| lane.complete);
        let withdraws = self.active()
            && match self.setup.kind {
                Kind::TorqueOff => true,
                Kind::Stop { until: Until::TorqueOff, .. } => complete,
                _ => false,
            };
        let output = self.states().on;
        (MonitorSeen { active: self.active(), demanded_at: self.t0, withdraws, output, lanes }, places)
    }

    fn step_lane(
        &mut self,
        now: u64,
        elapsed_ns: u64,
        channel: usize,
        scene: Scene,
        judge: &mut Judge,
    ) -> (LaneSeen, Option<Limit>) {
        let was_complete = self.lanes[channel].complete;
        let mut finding = self.find(now, channel, scene, judge);
        // What watches an analogue value does not mind a fault of the position.
        let faulted = match self.setup.kind.analogue() {
            Some(index) => scene.analogues[index].lines[channel].fault.is_some(),
            None => scene.trackers[channel].fault.is_some(),
        };
        if faulted {
            finding = Finding { places: finding.places, ..Finding::nothing() };
        }
        let lane = &mut self.lanes[channel];
        lane.unreferenced |= finding.unreferenced;
        let tripped = lane.hold.update(now, finding.violated, self.setup.on_delay_ns);
        let mut tripped_by =
            tripped.map(|since| (since, finding.compared.clone().expect("a violation compares")));
        let mut overrun = None;
        match (&self.setup.allowed_overrun, &finding.compared) {
            // The standstill after a stop is no limit of which an overrun is allowed.
            (Some(distance), Some(bound)) if finding.violated && !was_complete => {
                let sum = lane.overrun.get_or_insert_with(Overrun::nothing);
                sum.add(bound, &seconds(elapsed_ns));
                let bound = sum.bound(distance);
                let (verdict, held) = sum.exceeds(distance);
                let question = Question::Overrun { monitor: self.index, channel };
                if !lane.hold.latched && judge.decide(question, verdict, held) {
                    lane.hold.latched = true;
                    tripped_by = lane.hold.since.map(|since| (since, bound.clone()));
                }
                overrun = Some(bound);
            }
            _ => lane.overrun = None,
        }
        let tripped_now = tripped_by.map(|(violated_since, bound)| TripFacts {
            demanded_at: self.t0,
            violated_since,
            tripped_at: now,
            bound,
        });
        let seen = LaneSeen {
            warming_up: finding.warming_up,
            unreferenced: finding.unreferenced,
            latched_unreferenced: lane.unreferenced,
            on: lane.states.on,
            near: lane.states.near,
            verdict: finding.verdict,
            violated: finding.violated,
            compared: finding.compared,
            overrun,
            violated_since: lane.hold.since,
            tripped_now,
            latched: lane.hold.latched,
            complete: lane.complete,
        };
        (seen, finding.places)
    }

    /// What the rule finds on a channel, whether it is faulted or not.
    fn find(&mut self, now: u64, channel: usize, scene: Scene, judge: &mut Judge) -> Finding {
        let Some(t0) = self.t0 else { return Finding::nothing() };
        let tracker = &scene.trackers[channel];
        let lane = &mut self.lanes[channel];
        let question = Question::Violated { monitor: self.index, channel };
        match &self.setup.kind {
            Kind::TorqueOff | Kind::BrakeOutput { .. } => Finding::nothing(),
            Kind::PositionRange { low, high } => rule::position_range(tracker, [low, high]),
            Kind::CamOutput { low, high, hysteresis } => output::cam(lane, tracker, [low, high], hysteresis),
            Kind::SpeedOutput { threshold, hysteresis } => output::slow(lane, tracker, threshold, hysteresis),
            kind @ (Kind::TorqueLimit { analogue, .. }
            | Kind::TorqueRange { analogue, .. }
            | Kind::TemperatureLimit { analogue, .. }) => {
                rule::analogue(scene.analogues[*analogue].lines[channel].value(), kind)
            }
            Kind::Standstill { position_window, speed_window } => {
                rule::standstill(lane, tracker, position_window, speed_window)
            }
            Kind::SpeedLimit { limit, ramp } => {
                let line = match ramp {
                    None => None,
                    Some(ramp) => match envelope(lane, tracker, ramp, limit, now - t0) {
                        None => return Finding::warming_up(),
                        line => line,
                    },
                };
                rule::speed(tracker, &not_below(line, limit), judge, question)
            }
            Kind::SpeedLimitEachWay { positive, negative, ramp } => {
                let line = match ramp {
                    None => None,
                    Some(ramp) => match envelope(lane, tracker, ramp, positive.min(negative), now - t0) {
                        None => return Finding::warming_up(),
                        line => line,
                    },
                };
                if positive == negative {
                    return rule::speed(tracker, &not_below(line, positive), judge, question);
                }
                let limits = [positive, negative].map(|limit| not_below(line.clone(), limit));
                rule::speed_each_way(tracker, limits, judge, question)
            }
            Kind::SpeedRange { low, high } => rule::speed_range(tracker, [low, high]),
            Kind::Direction { allowed, tolerance } => rule::direction(lane, tracker, *allowed, tolerance),
            Kind::AccelerationLimit { limit } => rule::acceleration(tracker, limit, judge, question),
            Kind::AccelerationRange { low, high } => {
                rule::acceleration_range(tracker, [low, high], judge, question)
            }
            Kind::TravelLimit { increment } => rule::travel(lane, tracker, increment),
            Kind::Stop { until, by } => {
                let complete = Question::Complete { monitor: self.index, channel };
                stop(lane, tracker, until, by, now - t0, judge, [question, complete])
            }
        }
    }

    /// Clears what is latched.
    pub fn reset(&mut self) {
        for lane in &mut self.lanes {
            lane.hold.latched = false;
            lane.unreferenced = false;
        }
    }

    pub fn latched_unreferenced(&self, channel: usize) -> bool {
        self.lanes[channel].unreferenced
    }

    pub fn latched(&self, channel: usize) -> bool {
        self.lanes[channel].hold.latched
    }
}

/// A limit with the line that falls to it, if there is one.
fn not_below(line: Option<Limit>, limit: &Q) -> Limit {
    let limit = Limit::setting(limit);
    match line {
        Some(line) => line.max(limit),
        None => limit,
    }
}
