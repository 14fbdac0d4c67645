//! The monitors, once per channel.

use super::exact::{Q, seconds};
use super::setup::{By, Kind, Monitor, Ramp, Until};
use super::source::{Reference, Tracker};
use super::verdict::{Evidence, Hold, Judge, Limit, Question, Tri, TripFacts, above};
use num_traits::Signed;

/// What one monitor says on one channel at a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct LaneSeen {
    /// Active, needs the speed or a reference, and does not have it.
    pub warming_up: bool,
    /// The exact verdict; `No` while it is not evaluated.
    pub verdict: Tri,
    /// The decision, with near cases resolved.
    pub violated: bool,
    /// What was observed against which limit; the position of a standstill comes before its speed when both or
    /// neither are exceeded. `None` while nothing is compared.
    pub compared: Option<(Evidence, Q, Limit)>,
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
    /// Channel A, channel B.
    pub lanes: [LaneSeen; 2],
}

#[derive(Clone, Debug, Default)]
struct Lane {
    /// The limit in force before the demand.
    cap: Option<Limit>,
    v0: Option<Limit>,
    x_ref: Option<Reference>,
    complete: bool,
    hold: Hold,
}

#[derive(Clone, Debug)]
pub(super) struct MonitorState {
    index: usize,
    setup: Monitor,
    t0: Option<u64>,
    lanes: [Lane; 2],
}

/// What a lane found at a frame, before its timer.
struct Finding {
    warming_up: bool,
    verdict: Tri,
    violated: bool,
    compared: Option<(Evidence, Q, Limit)>,
    /// The limit placed on the speed at this frame.
    places: Option<Limit>,
}

impl Finding {
    fn nothing() -> Self {
        Self { warming_up: false, verdict: Tri::No, violated: false, compared: None, places: None }
    }
}

impl MonitorState {
    pub fn new(index: usize, setup: Monitor) -> Self {
        Self { index, setup, t0: None, lanes: Default::default() }
    }

    pub fn active(&self) -> bool {
        self.t0.is_some()
    }

    /// Starts or ends. `in_force` holds, per channel, the smallest limit on the speed at the frame before.
    pub fn demand(&mut self, now: u64, demanding: &[bool], in_force: &[Option<Limit>; 2]) {
        let wanted = self.setup.demand.is_empty() || self.setup.demand.iter().any(|&input| demanding[input]);
        let carried_through =
            matches!(self.setup.kind, Kind::Stop { .. }) && !self.lanes.iter().all(|lane| lane.complete);
        match self.t0 {
            None if wanted => {
                self.t0 = Some(now);
                for (lane, cap) in self.lanes.iter_mut().zip(in_force) {
                    let latched = lane.hold.latched;
                    *lane = Lane { cap: cap.clone(), hold: Hold { since: None, latched }, ..Lane::default() };
                }
            }
            Some(_) if !wanted && !carried_through => {
                self.t0 = None;
                for lane in &mut self.lanes {
                    let latched = lane.hold.latched;
                    *lane = Lane { hold: Hold { since: None, latched }, ..Lane::default() };
                }
            }
            _ => {}
        }
    }

    /// Evaluates both channels. The second value is the limit placed on the speed of each.
    pub fn step(
        &mut self,
        now: u64,
        trackers: &[Tracker; 2],
        judge: &mut Judge,
    ) -> (MonitorSeen, [Option<Limit>; 2]) {
        let mut places = [None, None];
        let lanes = [0, 1].map(|channel| {
            let (seen, placed) = self.step_lane(now, channel, &trackers[channel], judge);
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
        (MonitorSeen { active: self.active(), demanded_at: self.t0, withdraws, lanes }, places)
    }

    fn step_lane(
        &mut self,
        now: u64,
        channel: usize,
        tracker: &Tracker,
        judge: &mut Judge,
    ) -> (LaneSeen, Option<Limit>) {
        let question = Question::Violated { monitor: self.index, channel };
        let lane = &mut self.lanes[channel];
        let mut finding = match self.t0 {
            None => Finding::nothing(),
            Some(t0) => match &self.setup.kind {
                Kind::TorqueOff => Finding::nothing(),
                Kind::Standstill { position_window, speed_window } => {
                    standstill(lane, tracker, position_window, speed_window)
                }
                Kind::SpeedLimit { limit, ramp: None } => {
                    speed(tracker, &Limit::setting(limit), judge, question)
                }
                Kind::SpeedLimit { limit, ramp: Some(ramp) } => match envelope(lane, tracker, ramp, now - t0)
                {
                    None => Finding { warming_up: true, ..Finding::nothing() },
                    Some(line) => speed(tracker, &line.max(Limit::setting(limit)), judge, question),
                },
                Kind::Stop { until, by } => {
                    let complete = Question::Complete { monitor: self.index, channel };
                    stop(lane, tracker, until, by, now - t0, judge, [question, complete])
                }
            },
        };
        if tracker.fault.is_some() {
            finding = Finding { places: finding.places, ..Finding::nothing() };
        }
        let tripped = lane.hold.update(now, finding.violated, self.setup.on_delay_ns);
        let tripped_now = tripped.map(|violated_since| {
            let (evidence, observed, limit) = finding.compared.clone().expect("a violation compares");
            TripFacts { demanded_at: self.t0, violated_since, tripped_at: now, evidence, observed, limit }
        });
        let seen = LaneSeen {
            warming_up: finding.warming_up,
            verdict: finding.verdict,
            violated: finding.violated,
            compared: finding.compared,
            violated_since: lane.hold.since,
            tripped_now,
            latched: lane.hold.latched,
            complete: lane.complete,
        };
        (seen, finding.places)
    }

    /// Clears the trips.
    pub fn reset(&mut self) {
        for lane in &mut self.lanes {
            lane.hold.latched = false;
        }
    }

    pub fn latched(&self, channel: usize) -> bool {
        self.lanes[channel].hold.latched
    }
}

/// The speed against a limit.
fn speed(tracker: &Tracker, limit: &Limit, judge: &mut Judge, question: Question) -> Finding {
    let places = Some(limit.clone());
    let Some(speed) = tracker.speed().map(Q::abs) else {
        return Finding { warming_up: true, places, ..Finding::nothing() };
    };
    if tracker.fault.is_some() {
        return Finding { places, ..Finding::nothing() };
    }
    let (verdict, held) = above(&speed, limit);
    let violated = judge.decide(question, verdict, held);
    Finding {
        warming_up: false,
        verdict,
        violated,
        compared: Some((Evidence::Speed, speed, limit.clone())),
        places,
    }
}

/// Position and speed against their windows; both comparisons are exact.
fn standstill(lane: &mut Lane, tracker: &Tracker, position_window: &Q, speed_window: &Q) -> Finding {
    tracker.renew(&mut lane.x_ref);
    let travel = lane.x_ref.and_then(|x_ref| tracker.travel_since(x_ref)).map(|travel| travel.abs());
    let speed = tracker.speed().map(Q::abs);
    let warming_up = travel.is_none() || speed.is_none();
    let travel =
        travel.map(|travel| (travel > *position_window, Evidence::Position, travel, position_window));
    let speed = speed.map(|speed| (speed > *speed_window, Evidence::Speed, speed, speed_window));
    let shown = match (travel, speed) {
        (Some(travel), Some(speed)) if speed.0 && !travel.0 => Some(speed),
        (Some(travel), _) => Some(travel),
        (None, speed) => speed,
    };
    let violated = shown.as_ref().is_some_and(|shown| shown.0);
    Finding {
        warming_up,
        verdict: if violated { Tri::Yes } else { Tri::No },
        violated,
        compared: shown.map(|(_, evidence, value, window)| (evidence, value, Limit::setting(window))),
        places: Some(Limit::setting(speed_window)),
    }
}

/// The falling line before its target is applied, `elapsed` after the demand; `None` without a known speed.
///
/// Its error: less than 1 ULP for `v0` (or the error of the limit in force before, if that caps it), and less
/// than 1 ULP for the fall. The held line follows the documented rounding.
fn envelope(lane: &mut Lane, tracker: &Tracker, ramp: &Ramp, elapsed_ns: u64) -> Option<Limit> {
    if lane.v0.is_none() {
        let v0 = Limit::rounded_down(&tracker.speed()?.abs());
        lane.v0 = Some(match lane.cap.clone() {
            Some(cap) => v0.min(cap),
            None => v0,
        });
    }
    let start = lane.v0.as_ref()?.raised(&ramp.margin);
    match elapsed_ns.checked_sub(ramp.delay_ns) {
        Some(falling) if falling > 0 => Some(start.fallen(&(&ramp.deceleration * seconds(falling)))),
        _ => Some(start),
    }
}

/// A stop: its supervision until it is complete, then what follows.
fn stop(
    lane: &mut Lane,
    tracker: &Tracker,
    until: &Until,
    by: &By,
    elapsed_ns: u64,
    judge: &mut Judge,
    [violation, completion]: [Question; 2],
) -> Finding {
    if lane.complete {
        return match until {
            Until::TorqueOff => Finding::nothing(),
            Until::Standstill { position_window, speed_window } => {
                standstill(lane, tracker, position_window, speed_window)
            }
        };
    }
    let finding = match by {
        By::Time { within_ns } => {
            lane.complete = elapsed_ns >= *within_ns;
            Finding::nothing()
        }
        By::Ramp { ramp, standstill_speed, within_ns } => {
            lane.complete = within_ns.is_some_and(|within| elapsed_ns >= within);
            match envelope(lane, tracker, ramp, elapsed_ns) {
                None => Finding { warming_up: true, ..Finding::nothing() },
                Some(line) => {
                    let target = Limit::setting(standstill_speed);
                    let finding = speed(tracker, &line.clone().max(target), judge, violation);
                    if !lane.complete {
                        lane.complete = reached(&line, standstill_speed, judge, completion);
                    }
                    finding
                }
            }
        }
    };
    if lane.complete && matches!(until, Until::Standstill { .. }) {
        lane.x_ref = tracker.place();
    }
    finding
}

/// Whether the falling line has reached the standstill speed.
fn reached(line: &Limit, standstill_speed: &Q, judge: &mut Judge, question: Question) -> bool {
    let verdict = if line.exact <= *standstill_speed {
        Tri::Yes
    } else if line.low > *standstill_speed {
        Tri::No
    } else {
        Tri::Near
    };
    judge.decide(question, verdict, line.held <= *standstill_speed)
}
