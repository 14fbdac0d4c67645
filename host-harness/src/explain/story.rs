//! What happened, in order of time.

mod after;
mod inputs;

use monitor_core::{Channel, Evidence, Instant};
use schemars::JsonSchema;
use serde::Serialize;

use super::rerun::index;
use super::subject::Subject;
use super::track::Point;
use crate::causes::Side;
use crate::replay::{Fault, FaultKind, Outcome, Stop, StopEnd, StopKind, Trip, TripRule};
use crate::report::{Figures, Seconds};
use crate::setup::{DemandSource, MonitorKind, Setup};

/// One step of what happened.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Stage {
    /// When, on the clock of the trace.
    pub at_s: Seconds,
    /// What kind of step.
    pub stage: StageKind,
    /// The channel, where it is of one.
    pub channel: Option<Side>,
    /// What it was, in words.
    pub text: String,
}

/// The kinds of steps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum StageKind {
    /// The monitor was demanded.
    Demand,
    /// Its limit began to fall.
    Falls,
    /// Its limit had come down to where it stays.
    Landed,
    /// The motion itself went beyond the limit, as far as the delay of measuring tells.
    Motion,
    /// What is measured went beyond the limit, interpolated between two frames.
    Crossed,
    /// The stop in question had been carried through.
    Complete,
    /// The first frame of the violation that led to the trip.
    Violated,
    /// The trip.
    Tripped,
    /// The other channel tripped too.
    Confirmed,
    /// A line of an input that was faulted changed.
    Line,
    /// Something was faulted.
    Fault,
    /// The permit went.
    PermitLost,
    /// The fastest after that.
    Fastest,
    /// The furthest beyond the limit after that, where this is not one on the speed.
    Furthest,
    /// The axis came to rest.
    Rest,
    /// A reset was accepted.
    Reset,
    /// A reset was refused.
    Refused,
}

/// The most faults before a trip that are told.
const FAULTS_TOLD: usize = 4;

/// What is told of.
pub(super) struct Story<'a> {
    pub(super) setup: &'a Setup,
    pub(super) outcome: &'a Outcome,
    pub(super) points: &'a [Point],
    stages: Vec<Stage>,
}

/// The steps of it in order of time.
pub(super) fn story(setup: &Setup, outcome: &Outcome, points: &[Point], subject: Subject<'_>) -> Vec<Stage> {
    let mut story = Story { setup, outcome, points, stages: Vec::new() };
    match subject {
        Subject::Trip(_, trip) => {
            story.trip(trip);
            story.furthest(trip);
        }
        Subject::Fault(_, fault) => {
            story.fault(fault);
            story.lines_after(fault);
        }
        Subject::Planned(stop) => story.planned(stop),
        Subject::Nothing => {}
    }
    if let Some(at) = subject.at() {
        story.after(at);
    }
    // Of steps at the same instant the order they were told in stays.
    story.stages.sort_by_key(|stage| stage.at_s);
    story.stages
}

impl Story<'_> {
    fn add(&mut self, at: Instant, stage: StageKind, channel: Option<Channel>, text: String) {
        let at_s = Seconds(self.outcome.time_ns(at));
        self.stages.push(Stage { at_s, stage, channel: channel.map(Side::from), text });
    }

    /// The place of the frame at or after an instant.
    fn place(&self, at: Instant) -> usize {
        self.points.partition_point(|point| point.now < at)
    }

    fn trip(&mut self, trip: &Trip) {
        let channel = match trip.rule {
            TripRule::Monitor(monitor, channel) => {
                self.demand(trip, monitor, channel);
                self.complete(trip, monitor);
                Some(channel)
            }
            _ => None,
        };
        self.faults_before(trip);
        self.crossing(trip, channel);
        let (name, kind, _) = crate::report::rule(self.setup, trip.rule);
        let figures = Figures::new(self.setup, trip.rule, &trip.evidence).line(kind);
        self.add(
            trip.violated_since,
            StageKind::Violated,
            channel,
            "first frame beyond the limit".to_owned(),
        );
        self.add(trip.tripped_at, StageKind::Tripped, channel, format!("trip of \"{name}\": {figures}"));
        if let Some(by) = trip.confirmed_by {
            let at = i128::from(trip.tripped_at.as_nanos()) + by.after_ns;
            if let Ok(at) = u64::try_from(at) {
                let text = "came to the same verdict".to_owned();
                self.add(Instant::from_nanos(at), StageKind::Confirmed, Some(by.channel), text);
            }
        }
        if let Some(reaction) = &trip.reaction {
            let stop = &self.setup.monitors[reaction.stop].name;
            let text = format!("the trip demands the stop \"{stop}\" instead of taking the torque");
            self.add(trip.tripped_at, StageKind::Tripped, channel, text);
            if let StopEnd::Violated(at) = reaction.end {
                let text = format!("\"{stop}\" is violated: its own trip takes the torque");
                self.add(at, StageKind::Tripped, None, text);
            }
        }
    }

    fn demand(&mut self, trip: &Trip, monitor: usize, channel: Channel) {
        let entry = &self.setup.monitors[monitor];
        if entry.is_always_active() {
            return;
        }
        let place = self.place(trip.demanded_at);
        let who: Vec<_> = (entry.demand.iter())
            .filter(|demand| self.moved(place, demand.source))
            .map(|demand| self.setup.demand_text(demand))
            .collect();
        let who = match who.as_slice() {
            [] if entry.by_reactions_only => "a trip".to_owned(),
            [] => entry
                .demand
                .iter()
                .map(|demand| self.setup.demand_text(demand))
                .collect::<Vec<_>>()
                .join(" or "),
            who => who.join(" and "),
        };
        let speeds: Vec<_> = Channel::BOTH
            .iter()
            .filter_map(|&of| Some((of, self.points.get(place)?.seen[index(of)]?.speed?)))
            .map(|(of, speed)| format!("{speed:.1} on {}", Side::from(of).letter()))
            .collect();
        let unit = self.setup.unit.symbol();
        let mut text = format!("{who} demands it");
        if !speeds.is_empty() {
            text += &format!("; speed {} {unit}/s", speeds.join(", "));
        }
        self.add(trip.demanded_at, StageKind::Demand, None, text);
        if self.is_ramped(monitor) {
            self.envelope(trip, place, channel);
        }
    }

    /// The stop had been carried through before it was violated.
    fn complete(&mut self, trip: &Trip, monitor: usize) {
        let of_it = |stop: &&Stop| {
            stop.monitor == monitor
                && stop.demanded_at == trip.demanded_at
                && stop.completed_at <= trip.violated_since
                && stop.kind != StopKind::TorqueOff
        };
        let Some(stop) = self.outcome.stops.kept.iter().find(of_it) else { return };
        let at = stop.completed_at;
        self.add(
            at,
            StageKind::Complete,
            None,
            "the stop is complete: from here on the axis has to stand".to_owned(),
        );
    }

    fn is_ramped(&self, monitor: usize) -> bool {
        use crate::setup::By;
        matches!(
            self.setup.monitors[monitor].kind,
            MonitorKind::SpeedLimit { ramp: Some(_), .. } | MonitorKind::Stop { by: By::Ramp { .. }, .. }
        )
    }

    /// Whether a line of an input changed in the frames before a demand: then it was this one.
    fn moved(&self, place: usize, source: DemandSource) -> bool {
        let DemandSource::Input(input) = source else { return false };
        let lines = crate::explain::input::mask(self.setup, input);
        let filter = self.setup.inputs[input].filter.value.as_nanos();
        let Some(now) = self.points.get(place) else { return false };
        let since = now.now.as_nanos().saturating_sub(filter.saturating_mul(2));
        let before = self.points[..place].iter().rev().take_while(|point| point.now.as_nanos() >= since);
        let mut levels =
            before.chain(self.points[..place].last()).map(|point| point.levels.to_bits() & lines);
        let is = now.levels.to_bits() & lines;
        levels.any(|was| was != is)
    }

    /// When the limit began to fall, and when it had come down.
    fn envelope(&mut self, trip: &Trip, place: usize, channel: Channel) {
        let end = self.place(trip.tripped_at);
        let limits = || {
            self.points
                .get(place..=end.min(self.points.len().saturating_sub(1)))
                .unwrap_or_default()
                .iter()
                .filter_map(|point| Some((point.now, point.held[index(channel)]?.limit)))
        };
        let Some((_, first)) = limits().next() else { return };
        let falls = limits().find(|(_, limit)| *limit < first);
        let landed = limits().zip(limits().skip(1)).skip_while(|(was, is)| is.1 >= was.1);
        let landed = landed.skip_while(|(was, is)| is.1 < was.1).map(|(was, _)| was).next();
        let unit = self.setup.unit.symbol();
        if let Some((at, _)) = falls {
            let text = format!("the limit begins to fall from {first:.1} {unit}/s");
            self.add(at, StageKind::Falls, Some(channel), text);
        }
        if let Some((at, limit)) = landed {
            let text = format!("the limit has come down to {limit:.1} {unit}/s");
            self.add(at, StageKind::Landed, Some(channel), text);
        }
    }

    /// Between which frames it went beyond the limit, and how long before the motion itself did.
    fn crossing(&mut self, trip: &Trip, channel: Option<Channel>) {
        if let Some([before, after, limit]) = super::step::step(self.points, trip) {
            let text =
                format!("goes beyond the limit in one step: from {before:.4} to {after:.4} (of {limit:.4})");
            self.add(trip.violated_since, StageKind::Crossed, channel, text);
            return;
        }
        let place = self.place(trip.crossed_at);
        let of = channel.map_or(0, index);
        let held = |place: usize| self.points.get(place).and_then(|point| Some((point.now, point.held[of]?)));
        let after =
            (place..self.points.len().min(place + 2)).filter_map(held).find(|(_, held)| held.excess() > 0.0);
        let before = place.checked_sub(1).and_then(held);
        let text = match (before, after) {
            (Some((from, was)), Some((to, is))) => format!(
                "goes beyond the limit between {} s ({:.4} of {:.4}) and {} s ({:.4} of {:.4})",
                self.time(from),
                was.observed,
                was.limit,
                self.time(to),
                is.observed,
                is.limit
            ),
            _ => "goes beyond the limit".to_owned(),
        };
        self.add(trip.crossed_at, StageKind::Crossed, channel, text);
        self.lag(trip, channel, place);
    }

    /// How long before that the motion itself went beyond a limit on the speed that does not fall.
    fn lag(&mut self, trip: &Trip, channel: Option<Channel>, place: usize) {
        let Some(channel) =
            channel.filter(|_| matches!(trip.evidence, Evidence::Speed(_) | Evidence::Overrun(_)))
        else {
            return;
        };
        let limit = |place: usize| Some(self.points.get(place)?.held[index(channel)]?.limit);
        if place.checked_sub(1).and_then(limit) != limit(place) {
            return;
        }
        let Some(point) = self.points.get(place) else { return };
        let window = point.seen[index(channel)].map_or(0, |seen| seen.window);
        let age = point.readings[index(channel)].and_then(|reading| point.now.since(reading.captured_at));
        let lag = window / 2 + age.map_or(0, |age| age.as_nanos());
        let at = Instant::from_nanos(trip.crossed_at.as_nanos().saturating_sub(lag));
        let text =
            "the motion itself went beyond it about then: half a window and the age of the reading before"
                .to_owned();
        self.add(at, StageKind::Motion, Some(channel), text);
    }

    fn time(&self, at: Instant) -> String {
        crate::report::short(self.outcome.time_ns(at))
    }

    /// Faults that came between the demand and the trip: some of them demand, too.
    fn faults_before(&mut self, trip: &Trip) {
        let others = self.outcome.faults.kept.iter();
        let before: Vec<&Fault> =
            others.filter(|fault| fault.from >= trip.demanded_at && fault.from <= trip.tripped_at).collect();
        for fault in before.into_iter().rev().take(FAULTS_TOLD).rev() {
            self.fault(fault);
        }
    }

    fn fault(&mut self, fault: &Fault) {
        let (kind, who) = crate::report::faulted(self.setup, fault.kind);
        let last = if fault.frames > 1 {
            format!(", {} frames until {} s", fault.frames, self.time(fault.to))
        } else {
            String::new()
        };
        if let FaultKind::Input(input) = fault.kind {
            self.line_that_moved(input, fault.from);
        }
        let how = match fault.kind {
            // `input` is no way to be faulted.
            FaultKind::Input(_) => "faulted; that lasts until a reset, and demands meanwhile".to_owned(),
            _ => kind,
        };
        self.add(fault.from, StageKind::Fault, None, format!("{who}: {how}{last}"));
    }

    fn planned(&mut self, stop: &Stop) {
        let name = &self.setup.monitors[stop.monitor].name;
        self.add(stop.demanded_at, StageKind::Demand, None, format!("\"{name}\" is demanded"));
        if stop.completed_at != stop.demanded_at {
            self.add(stop.completed_at, StageKind::PermitLost, None, format!("\"{name}\" is complete"));
        }
    }
}
