//! Reaction times, term by term.

use monitor_core::{Channel, Span};

use super::path::{Broken, Part, Path, Reaction, Term};
use super::timing::{Age, effective_window, fastest_allowed, line_duration, plus, stop_duration};
use crate::replay::TripRule;
use crate::setup::{By, DemandSource, MonitorKind, MonitorSetup, Setup, Until};

/// How long a rule of the setup takes, with frames at most `period` apart, by section 10 of the rules.
///
/// - What leaves a position, an analogue value that leaves its limits: `l + D + 2T + O`; a direction up to the longest time between
///   two readings more (`T` where every frame brings one), for a turn that none of them saw.
/// - A speed that leaves its limits: `W/2 + l + D + 2T + O`. Also under any other motion the speed at the end is at most the
///   limit and this time times the hardest acceleration, because the mean over a window lags by no more than half of it.
/// - An acceleration: `2W + l + D + 2T + O`.
/// - From a demand: at a `cycle` the age of the level, as that of a reading; the filter, the frame that reads the line and the one that ends the filter, then the delay and its frame.
///
/// `T` is `period`; `l` how old a reading can be at a frame (latency, delay, the time until the next, jitter), never more than the
/// `timeout` but for the jitter; `W` the effective window; `D` the on-delay or discrepancy time; `O` the `output_delay` of `[machine]`,
/// zero where it is not given. A monitor whose reaction is a stop has the whole stop on top. An `allowed_overrun` may
/// trip earlier and is not counted on. Outputs count to the frame that says so.
///
/// The times count from the exact motion, beyond the limit by one count over the window where a speed is compared. They hold
/// while both channels are seen and what is compared is known (not while warming up).
///
/// A monitor that the setup does not have has no paths.
#[must_use]
pub fn reaction(setup: &Setup, period: Span, rule: TripRule) -> Reaction {
    let paths = match rule {
        TripRule::Monitor(monitor, channel) => setup
            .monitors
            .get(monitor)
            .map_or_else(Vec::new, |monitor| Of { setup, period, channel, monitor }.paths()),
        TripRule::PositionDiscrepancy => {
            let time = setup.discrepancy.as_ref().map(|watch| watch.discrepancy_time.value);
            time.map(|time| apart(setup, Broken::Apart, &older(setup, period), time, period))
                .into_iter()
                .collect()
        }
        TripRule::SpeedDiscrepancy => {
            let time = setup.speed_discrepancy.as_ref().map(|watch| watch.discrepancy_time.value);
            let age = older(setup, period);
            time.map(|time| apart(setup, Broken::SpeedsApart, &age, time, period)).into_iter().collect()
        }
        TripRule::Analogue(of) => {
            let time = setup.analogues.get(of).map(|analogue| analogue.discrepancy_time.value);
            let path = |time| apart(setup, Broken::Apart, &Age::of_value(setup, period, of), time, period);
            time.map(path).into_iter().collect()
        }
    };
    let seen_by = match rule {
        TripRule::Monitor(_, channel) => vec![channel],
        TripRule::Analogue(_) => vec![],
        _ => Channel::BOTH.to_vec(),
    };
    let unbounded = |channel: &Channel| Age::of_source(setup, period, *channel).by_timeout;
    let bounded_by_timeout = seen_by.into_iter().filter(unbounded).collect();
    Reaction { rule, paths, bounded_by_timeout }
}

/// The ages of the readings of both sources, each part that of the older one, and the longer interval.
fn older(setup: &Setup, period: Span) -> Age {
    let [a, b] = Channel::BOTH.map(|channel| Age::of_source(setup, period, channel));
    let older = if a.total() >= b.total() { a } else { b };
    Age { interval: a.interval.max(b.interval), by_timeout: a.by_timeout || b.by_timeout, ..older }
}

/// Collects terms that are not zero.
struct Terms(Vec<Term>);

impl Terms {
    fn new() -> Self {
        Self(Vec::new())
    }

    fn and(mut self, part: Part, time: Span) -> Self {
        if time > Span::ZERO {
            self.0.push(Term { part, time });
        }
        self
    }

    fn age(self, age: &Age) -> Self {
        self.and(Part::Latency, age.latency)
            .and(Part::Delay, age.delay)
            .and(Part::Age, age.waiting)
            .and(Part::Jitter, age.jitter)
    }

    fn path(self, broken: Broken) -> Path {
        Path { broken, terms: self.0 }
    }
}

fn output_delay(setup: &Setup) -> Span {
    setup.machine.output_delay.as_ref().map_or(Span::ZERO, |delay| delay.value)
}

/// What cannot be worked out has no end.
const FOREVER: Span = Span::from_nanos(u64::MAX);

/// Half of a window, rounded up.
fn half(window: Span) -> Span {
    Span::from_nanos(window.as_nanos().div_ceil(2))
}

fn apart(setup: &Setup, broken: Broken, age: &Age, time: Span, period: Span) -> Path {
    let lag =
        if broken == Broken::SpeedsApart { half(effective_window(setup, age.interval)) } else { Span::ZERO };
    Terms::new()
        .and(Part::HalfWindow, lag)
        .age(age)
        .and(Part::FrameSees, period)
        .and(Part::DiscrepancyTime, time)
        .and(Part::FrameDelay, period)
        .and(Part::OutputDelay, output_delay(setup))
        .path(broken)
}

/// A monitor on one channel.
struct Of<'a> {
    setup: &'a Setup,
    period: Span,
    channel: Channel,
    monitor: &'a MonitorSetup,
}

impl Of<'_> {
    fn paths(&self) -> Vec<Path> {
        let motions: &[Broken] = match &self.monitor.kind {
            MonitorKind::TorqueOff => &[],
            MonitorKind::Standstill(_) => &[Broken::Position, Broken::Speed],
            MonitorKind::SpeedLimit { .. } | MonitorKind::SpeedRange(_) | MonitorKind::SpeedOutput { .. } => {
                &[Broken::Speed]
            }
            MonitorKind::Direction { .. }
            | MonitorKind::TravelLimit { .. }
            | MonitorKind::PositionRange(_)
            | MonitorKind::CamOutput { .. } => &[Broken::Position],
            MonitorKind::AccelerationLimit { .. } | MonitorKind::AccelerationRange(_) => {
                &[Broken::Acceleration]
            }
            MonitorKind::TorqueLimit { .. }
            | MonitorKind::TorqueRange { .. }
            | MonitorKind::TemperatureLimit { .. } => &[Broken::Value],
            MonitorKind::BrakeOutput { .. } => &[Broken::Permit],
            MonitorKind::Stop { until, by } => match (by, until) {
                (By::Ramp { .. }, Until::TorqueOff) => &[Broken::Speed],
                (By::Ramp { .. }, Until::Standstill(_)) => &[Broken::Speed, Broken::Position],
                (By::Deceleration { .. }, Until::TorqueOff) => &[Broken::Acceleration],
                (By::Deceleration { .. }, Until::Standstill(_)) => {
                    &[Broken::Acceleration, Broken::Position, Broken::Speed]
                }
                (By::Time { .. }, Until::TorqueOff) => &[],
                (By::Time { .. }, Until::Standstill(_)) => &[Broken::Position, Broken::Speed],
            },
        };
        let mut paths: Vec<Path> = motions.iter().map(|broken| self.motion(*broken)).collect();
        if !self.monitor.is_always_active() && !self.monitor.kind.is_output() {
            paths.push(
                self.completion().unwrap_or_else(|| self.tripped(self.in_force()).path(Broken::Demand)),
            );
        }
        paths
    }

    /// From the motion that is beyond what it may be.
    fn motion(&self, broken: Broken) -> Path {
        let seen = match broken {
            Broken::Permit => Terms::new(),
            _ => self.sees(broken).and(Part::FrameSees, self.period),
        };
        match &self.monitor.kind {
            MonitorKind::BrakeOutput { delay } => seen.and(Part::BrakeOutput, delay.value).path(broken),
            // The formula of a rule with a delay of zero.
            kind if kind.is_output() => seen.and(Part::FrameDelay, self.period).path(broken),
            _ => self
                .finish(
                    seen.and(Part::OnDelay, self.monitor.on_delay.value).and(Part::FrameDelay, self.period),
                )
                .path(broken),
        }
    }

    /// The lag of what is measured.
    fn sees(&self, broken: Broken) -> Terms {
        let source = || Age::of_source(self.setup, self.period, self.channel);
        match (broken, self.monitor.kind.analogue()) {
            (Broken::Value, Some(of)) => Terms::new().age(&Age::of_value(self.setup, self.period, of)),
            (Broken::Speed, _) => {
                let age = source();
                Terms::new().and(Part::HalfWindow, half(effective_window(self.setup, age.interval))).age(&age)
            }
            (Broken::Acceleration, _) => {
                let age = source();
                let window = effective_window(self.setup, age.interval);
                Terms::new().and(Part::TwoWindows, plus(window, window)).age(&age)
            }
            _ => {
                let turns = matches!(self.monitor.kind, MonitorKind::Direction { .. });
                let turn = if turns { source().interval } else { Span::ZERO };
                Terms::new().and(Part::UnseenTurn, turn).age(&source())
            }
        }
    }

    /// From the demand to the frame at which the monitor is active: the longest of all that demand it.
    fn demand(&self) -> Terms {
        let ways = self.monitor.demand.iter().map(|demand| match demand.source {
            DemandSource::Input(input) => {
                let filter = self.setup.inputs[input].filter.value;
                let ends = if filter > Span::ZERO { self.period } else { Span::ZERO };
                // At a cycle a level is that of the newest row, as a reading is.
                let age = if self.setup.cycle.is_some() { self.period } else { Span::ZERO };
                Terms::new()
                    .and(Part::Age, age)
                    .and(Part::FrameSees, self.period)
                    .and(Part::Filter, filter)
                    .and(Part::FrameFilter, ends)
            }
            DemandSource::Output(output) => self.output(output),
        });
        let length = |terms: &Terms| terms.0.iter().map(|term| term.time.as_nanos()).sum::<u64>();
        let by_trip = || Terms::new().and(Part::FrameReaction, self.period);
        ways.max_by_key(length).unwrap_or_else(by_trip)
    }

    /// From the demand to the frame at which the rule is what it is in the end.
    fn in_force(&self) -> Terms {
        let active = self.demand();
        match &self.monitor.kind {
            MonitorKind::SpeedLimit { limit, ramp: Some(ramp) } => {
                let fastest = fastest_allowed(self.setup, self.channel);
                let line = line_duration(ramp, fastest, limit.smaller()).unwrap_or(FOREVER);
                active.and(Part::Ramp, line).and(Part::FrameRamp, self.period)
            }
            // The standstill takes over at the frame after.
            MonitorKind::Stop { until: Until::Standstill(_), by } => {
                self.stops(active, by).and(Part::FrameReaction, self.period)
            }
            _ => active,
        }
    }

    /// How late an output is that demands: on the channel that is later, because either demands.
    fn output(&self, output: usize) -> Terms {
        let monitor = &self.setup.monitors[output];
        let paths = Channel::BOTH.map(|channel| Of { monitor, channel, ..*self }.motions_of_output());
        let longest = paths.into_iter().flatten().max_by_key(Path::total);
        Terms(longest.map_or_else(Vec::new, |path| path.terms))
    }

    fn motions_of_output(&self) -> Option<Path> {
        match self.monitor.kind {
            MonitorKind::CamOutput { .. } => Some(self.motion(Broken::Position)),
            MonitorKind::SpeedOutput { .. } => Some(self.motion(Broken::Speed)),
            _ => None,
        }
    }

    /// From the frame at which the monitor is active, and its rule broken, to the torque that is gone.
    fn tripped(&self, active: Terms) -> Terms {
        let delay = self.monitor.on_delay.value;
        let ends = if delay > Span::ZERO { self.period } else { Span::ZERO };
        self.finish(active.and(Part::OnDelay, delay).and(Part::FrameDelay, ends))
    }

    /// From the trip to the torque that is gone, by way of the stop that is its reaction.
    fn finish(&self, tripped: Terms) -> Terms {
        let stop = self.monitor.reaction.map(|stop| &self.setup.monitors[stop].kind);
        let tripped = match stop {
            Some(MonitorKind::Stop { by, .. }) => {
                self.stops(tripped.and(Part::FrameReaction, self.period), by)
            }
            _ => tripped,
        };
        tripped.and(Part::OutputDelay, output_delay(self.setup))
    }

    fn stops(&self, begun: Terms, by: &By) -> Terms {
        // Either channel completes it; the one of this path is as good as the other.
        let duration = stop_duration(self.setup, by, self.channel).unwrap_or(FOREVER);
        begun.and(Part::Stop, duration).and(Part::FrameStop, self.period)
    }

    /// From the demand of a stop to its planned end.
    fn completion(&self) -> Option<Path> {
        let MonitorKind::Stop { until: Until::TorqueOff, by } = &self.monitor.kind else { return None };
        let ended = self.stops(self.demand(), by);
        Some(ended.and(Part::OutputDelay, output_delay(self.setup)).path(Broken::Stop))
    }
}
