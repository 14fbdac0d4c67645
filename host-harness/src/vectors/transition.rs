//! What can happen with a setup, part by part, and what no case is to show and why.

use super::play::Sensor;
use super::{edge, ends};
use monitor_core::Span;

use crate::setup::{
    By, InputLines, LimitSetup, MonitorKind, MonitorSetup, OneSided, ReferenceSetup, Setup, Until,
};

/// A part of the axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) enum Part {
    Axis,
    Source(usize),
    Input(usize),
    Monitor(usize, usize),
    /// An output of the axis as a whole.
    Output(usize),
    Positions,
    Speeds,
}

/// No case goes on for more readings than this.
const LONGEST_WAY: i128 = 10_000;

/// A transition of a part, and why no case shows it, if none is to.
pub(super) struct Possible {
    pub(super) part: Part,
    pub(super) what: &'static str,
    pub(super) not: Option<String>,
}

/// Names of transitions that several places need.
pub(super) mod name {
    pub(in crate::vectors) const BEFORE_DELAY: &str = "violated for 1 ns less than the delay: no trip";
    pub(in crate::vectors) const AT_DELAY: &str = "trip after exactly the delay";
    pub(in crate::vectors) const INTERRUPTED: &str = "violation ends before the delay does";
    pub(in crate::vectors) const TRIP: &str = "trip";
    pub(in crate::vectors) const SECOND: &str = "trip again after a reset";
    pub(in crate::vectors) const OVERRUN: &str = "trip by its overrun, before the delay ends";
    pub(in crate::vectors) const LATCHED: &str = "violated again while tripped: no second trip";
    pub(in crate::vectors) const FORWARDS: &str = "violated forwards";
    pub(in crate::vectors) const BACKWARDS: &str = "violated backwards";
    pub(in crate::vectors) const WITHIN: &str = "speed: the last count within the limit";
    pub(in crate::vectors) const BEYOND: &str = "speed: the first count beyond the limit";
    pub(in crate::vectors) const AT_LIMIT: &str = "speed: exactly the limit, no violation";
    pub(in crate::vectors) const PLACE_WITHIN: &str = "position: the last count within the window";
    pub(in crate::vectors) const PLACE_BEYOND: &str = "position: the first count beyond the window";
    pub(in crate::vectors) const PLACE_AT: &str = "position: exactly the window, no violation";
}

struct List<'a> {
    setup: &'a Setup,
    all: Vec<Possible>,
}

/// Every transition of every part of a setup.
pub(super) fn possible(setup: &Setup) -> Vec<Possible> {
    let mut list = List { setup, all: Vec::new() };
    list.axis();
    for side in [0, 1] {
        list.source(side);
    }
    for input in 0..setup.inputs.len() {
        list.input(input);
    }
    for monitor in 0..setup.monitors.len() {
        for side in [0, 1] {
            list.monitor(monitor, side);
        }
    }
    list.apart();
    list.all
}

fn sensor(setup: &Setup, side: usize) -> Sensor {
    Sensor::of(if side == 0 { &setup.a } else { &setup.b })
}

impl List<'_> {
    fn add(&mut self, part: Part, what: &'static str, not: Option<&str>) {
        self.all.push(Possible { part, what, not: not.map(str::to_owned) });
    }

    fn axis(&mut self) {
        for what in [
            "permit given",
            "permit withdrawn",
            "warming up",
            "the clock stands still",
            "the clock goes back",
            "evaluated again after a clock fault",
        ] {
            self.add(Part::Axis, what, None);
        }
        let no_reset = self.setup.reset.is_none().then_some("the setup has no reset");
        for what in ["reset accepted", "reset refused: a channel"] {
            self.add(Part::Axis, what, no_reset);
        }
        let needs_speed = self.setup.monitors.iter().any(|monitor| needs_speed(&monitor.kind));
        let no_speed = (!needs_speed).then_some("no monitor needs the speed");
        self.add(Part::Axis, "reset refused: warming up", no_reset.or(no_speed));
        let watched = self.setup.monitors.iter().any(|monitor| watches(&monitor.kind))
            || self.setup.discrepancy.is_some()
            || self.setup.speed_discrepancy.is_some();
        self.add(
            Part::Axis,
            "reset refused: a violation",
            no_reset.or((!watched).then_some("nothing can be violated")),
        );
        let dual = self.setup.inputs.iter().any(|input| matches!(input.lines, InputLines::Dual { .. }));
        self.add(
            Part::Axis,
            "reset refused: an input",
            no_reset.or((!dual).then_some("no input has two lines")),
        );
        if self.setup.monitors.iter().any(|monitor| monitor.reaction.is_some()) {
            self.add(Part::Axis, "reset refused: a stop", no_reset);
        }
        if self.setup.reference.is_some()
            && self.setup.monitors.iter().any(|monitor| monitor.kind.needs_reference())
        {
            self.add(Part::Axis, "reset refused: a reference", no_reset);
        }
        let several = self.setup.monitors.len() > 1;
        self.add(
            Part::Axis,
            "two monitors active at once",
            (!several).then_some("there are not two monitors"),
        );
    }

    fn source(&mut self, side: usize) {
        let part = Part::Source(side);
        for what in [
            "first reading",
            "no reading",
            "the same reading again",
            "as old as the timeout: not stale",
            "1 ns older than the timeout: stale",
            "stale: a gap between two readings",
            "stale: never read",
            "two readings as far apart as the timeout",
            "marked invalid",
            "invalid, and none came since",
            "out of order: captured after the frame",
            "out of order: captured before the one before",
            "out of order: at the same instant, another value",
            "the largest plausible change, forwards",
            "the largest plausible change, backwards",
            "one count more than plausible, forwards",
            "one count more than plausible, backwards",
            "good again after a fault",
        ] {
            self.add(part, what, None);
        }
        let sensor = sensor(self.setup, side);
        let half = 1_i128 << (sensor.bits - 1);
        let far = (sensor.most_counts() < half).then_some("positions end before the counter does");
        // No reading is half the range of the counter away from the one before.
        let away = (sensor.most_counts() / half > LONGEST_WAY)
            .then_some("positions end so far away that it takes more than 10 000 readings to go there");
        self.add(part, "wraps where all bits change, up", None);
        self.add(part, "wraps where all bits change, down", None);
        self.add(part, "wraps where the sign changes, up", far);
        self.add(part, "wraps where the sign changes, down", far);
        self.add(part, "out of range", away);
        self.reference(part, side);
    }

    fn reference(&mut self, part: Part, side: usize) {
        let channel = if side == 0 { &self.setup.a } else { &self.setup.b };
        if channel.reference != ReferenceSetup::Event {
            return;
        }
        let unused = !self.setup.monitors.iter().any(|monitor| monitor.kind.needs_reference());
        let unused = unused.then_some("no monitor needs it");
        for what in [
            "its position is declared",
            "its position is declared again",
            "its position is declared while it cannot be seen",
        ] {
            self.add(part, what, None);
        }
        self.add(part, "its position is lost with its count", unused);
    }

    fn input(&mut self, input: usize) {
        let part = Part::Input(input);
        let filter = self.setup.inputs[input].filter.value;
        let lines = &self.setup.inputs[input].lines;
        self.add(part, "demands", None);
        self.add(part, "released", None);
        let no_filter = (filter == Span::ZERO).then_some("it has no filter");
        self.add(part, "a level 1 ns shorter than the filter is ignored", no_filter);
        self.add(part, "a level as long as the filter counts", None);
        let dual = match lines {
            InputLines::Single(_) => None,
            InputLines::Dual { dual, .. } => Some(dual),
        };
        let single = dual.is_none().then_some("it has one line");
        let ignored = dual.filter(|dual| dual.one_sided == OneSided::Ignore).map(|_| "one_sided is ignored");
        for what in
            ["line 1 demands alone", "line 2 demands alone", "faulted at the end of the discrepancy time"]
        {
            self.add(part, what, single);
        }
        let at_once = dual
            .filter(|dual| dual.discrepancy_time.value == Span::ZERO)
            .map(|_| "its discrepancy time is 0: every disagreement is a fault");
        self.add(part, "agrees 1 ns before the end of the discrepancy time", single.or(at_once));
        let ignored = ignored.or(at_once);
        self.add(part, "a one-sided cycle is faulted", single.or(ignored));
        self.add(part, "a one-sided cycle that both lines end in time", single.or(ignored));
        let no_reset = self.setup.reset.is_none().then_some("the setup has no reset");
        self.add(part, "fault cleared by a reset", single.or(no_reset));
    }

    fn monitor(&mut self, number: usize, side: usize) {
        let part = Part::Monitor(number, side);
        let monitor = &self.setup.monitors[number];
        let always = monitor.is_always_active().then_some("it is always active");
        self.add(part, "active", None);
        self.add(part, "released", always);
        match &monitor.kind {
            MonitorKind::TorqueOff => {
                self.add(part, "withdraws the permit as planned", None);
                return;
            }
            MonitorKind::BrakeOutput { delay } => {
                if side == 0 {
                    self.brake(number, delay.value);
                }
                return;
            }
            MonitorKind::CamOutput { .. } | MonitorKind::SpeedOutput { .. } => {
                self.output(number, side);
                return;
            }
            MonitorKind::Stop { until, by } => self.stop(part, monitor, until, by),
            MonitorKind::Standstill(_)
            | MonitorKind::SpeedLimit { .. }
            | MonitorKind::SpeedRange(_)
            | MonitorKind::Direction { .. }
            | MonitorKind::AccelerationLimit { .. }
            | MonitorKind::AccelerationRange(_)
            | MonitorKind::TravelLimit { .. }
            | MonitorKind::PositionRange(_)
            // No setup with an analogue value comes here.
            | MonitorKind::TorqueLimit { .. }
            | MonitorKind::TorqueRange { .. }
            | MonitorKind::TemperatureLimit { .. } => {}
        }
        let blind = (!needs_speed(&monitor.kind)).then_some("it needs no speed");
        self.add(part, "warming up", blind);
        let deaf = (!watches(&monitor.kind)).then_some("it watches only the time");
        let told_apart = ends::ends(&monitor.kind);
        // Where each direction has a limit of its own, crossing it says the direction.
        if told_apart.is_none() || super::cases::windows_of(&monitor.kind).is_some() {
            self.add(part, name::FORWARDS, deaf);
            self.add(part, name::BACKWARDS, deaf);
        }
        self.ends(number, side, told_apart);
        self.limits(number, side, deaf);
        self.delays(part, monitor.on_delay.value, deaf);
        self.add(part, "trip after the other channel's", deaf);
        if monitor.allowed_overrun.is_some() {
            self.add(part, name::OVERRUN, None);
        }
        if monitor.reaction.is_some() {
            self.add(part, "its trip demands a stop, and the permit stays", None);
        }
        let channel = if side == 0 { &self.setup.a } else { &self.setup.b };
        if monitor.kind.needs_reference() && channel.reference == ReferenceSetup::Event {
            self.add(part, "unreferenced: a fault", None);
        }
        self.ramp(part, monitor, always);
    }

    fn brake(&mut self, number: usize, delay: Span) {
        let part = Part::Output(number);
        let at_once = (delay == Span::ZERO).then_some("its delay is 0");
        self.add(part, "released with the permit", None);
        self.add(part, "stays released: the next frame is due at the end of its delay", at_once);
        self.add(part, "closes: the next frame would be 1 ns too late", None);
        self.add(part, "stays closed within its delay", at_once);
        self.add(part, "closes at once with a clock fault", at_once);
    }

    fn output(&mut self, number: usize, side: usize) {
        let part = Part::Monitor(number, side);
        let kind = &self.setup.monitors[number].kind;
        let is_speed = matches!(kind, MonitorKind::SpeedOutput { .. });
        self.add(part, "warming up", (!is_speed).then_some("it needs no speed"));
        let channel = if side == 0 { &self.setup.a } else { &self.setup.b };
        if !is_speed && channel.reference == ReferenceSetup::Event {
            self.add(part, "unreferenced: a fault", None);
        }
        let unused = ends::demanded_by(self.setup, number).next().is_none();
        let unused = unused.then_some("nothing is demanded by it, other than unless it is on");
        for direction in [0, 1] {
            for names in ends::TELLS {
                self.add(part, names[direction], None);
            }
            for names in ends::DEMANDS {
                self.add(part, names[direction], unused);
            }
        }
    }

    /// The edges of limits that are told apart by direction.
    fn ends(&mut self, number: usize, side: usize, ends: Option<[bool; 2]>) {
        let Some(ends) = ends else { return };
        let part = Part::Monitor(number, side);
        for direction in [0, 1] {
            let never = (!ends[direction]).then_some("it may move that way");
            self.add(part, ends::WITHIN[direction], never);
            self.add(part, ends::BEYOND[direction], never);
        }
        let hit = super::cases::hits_exactly(self.setup, number, side);
        self.add(part, ends::AT, (!hit).then_some("nothing is found that comes out at it"));
    }

    fn stop(&mut self, part: Part, monitor: &MonitorSetup, until: &Until, by: &By) {
        let (ramp, within) = match by {
            By::Ramp { within, .. } => (true, within.is_some()),
            By::Deceleration { within, .. } => (false, within.is_some()),
            By::Time { .. } => (false, true),
        };
        if let By::Deceleration { .. } = by {
            self.add(part, "complete at its standstill speed", None);
        }
        self.add(part, "complete by its line", (!ramp).then_some("it has no line"));
        self.add(part, "complete by its time", (!within).then_some("it has no time"));
        self.add(part, "not complete 1 ns before its time", (!within).then_some("it has no time"));
        // No reset is accepted before.
        let held = monitor.by_reactions_only.then_some("the trips that demand it last until it is complete");
        self.add(part, "carried through after its demand", held);
        self.add(part, "demanded again before it is complete", held);
        self.add(part, "ends once it is complete and not demanded", None);
        let holds = matches!(until, Until::Standstill(_));
        self.add(part, "withdraws the permit as planned", holds.then_some("it ends in a standstill"));
        self.add(part, "a standstill takes over", (!holds).then_some("it ends in torque off"));
        self.add(part, "complete while the channel is faulted", None);
    }

    fn ramp(&mut self, part: Part, monitor: &MonitorSetup, always: Option<&'static str>) {
        let none = super::cases::ramp_of(&monitor.kind).is_none().then_some("it has no ramp");
        if none.is_some() {
            return;
        }
        self.add(part, "line: waits for a speed", None);
        self.add(part, "line: falls", None);
        self.add(part, "line: has landed", None);
        self.add(part, "line: a fault while it falls", None);
        let alone = self.setup.monitors.len() < 2;
        self.add(
            part,
            "line: starts at a limit in force before",
            alone.then_some("no other monitor limits the speed").or(always),
        );
    }

    fn limits(&mut self, number: usize, side: usize, deaf: Option<&'static str>) {
        let part = Part::Monitor(number, side);
        let kind = &self.setup.monitors[number].kind;
        let sensor = sensor(self.setup, side);
        let windows = super::cases::windows_of(kind);
        if ends::ends(kind).is_none() || windows.is_some() {
            self.speed_limits(part, kind, sensor, deaf);
        }
        let place = windows.map(|windows| &windows.position_window);
        let Some(place) = place else { return };
        let place = i128::from(place.value.to_bits()) * 1_000_000_000;
        self.add(part, name::PLACE_WITHIN, None);
        self.add(part, name::PLACE_BEYOND, None);
        let counts = place / sensor.nano;
        let exact = (counts * sensor.nano + 999_999_999) / 1_000_000_000 * 1_000_000_000 == place;
        self.add(part, name::PLACE_AT, (!exact).then_some("no count comes out at it"));
    }

    fn speed_limits(&mut self, part: Part, kind: &MonitorKind, sensor: Sensor, deaf: Option<&'static str>) {
        self.add(part, name::WITHIN, deaf);
        self.add(part, name::BEYOND, deaf);
        let limit = match kind {
            MonitorKind::SpeedLimit { limit: LimitSetup::Both(limit), .. } => Some(limit.value.to_bits()),
            kind => super::cases::windows_of(kind).map(|windows| windows.speed_window.value.to_bits()),
        };
        let window = self.setup.speed.window.value.as_nanos();
        // A line takes many values.
        let hit = limit.is_none_or(|limit| {
            edge::close(i128::from(limit), sensor.nano, window, window * 5 / 4).at.is_some()
        });
        let never = (!hit).then_some("no travel over the window is found to come out at it");
        self.add(part, name::AT_LIMIT, deaf.or(never));
    }

    fn delays(&mut self, part: Part, delay: Span, not: Option<&'static str>) {
        let none = (delay == Span::ZERO).then_some("its delay is 0");
        self.add(part, name::BEFORE_DELAY, not.or(none));
        self.add(part, name::AT_DELAY, not);
        self.add(part, name::INTERRUPTED, not.or(none));
        self.add(part, name::TRIP, not);
        self.add(part, name::LATCHED, not);
        let no_reset = self.setup.reset.is_none().then_some("the setup has no reset");
        self.add(part, name::SECOND, not.or(no_reset));
    }

    fn apart(&mut self) {
        let rules = [
            (Part::Positions, self.setup.discrepancy.as_ref().map(|rule| rule.discrepancy_time.value)),
            (Part::Speeds, self.setup.speed_discrepancy.as_ref().map(|rule| rule.discrepancy_time.value)),
        ];
        for (part, time) in rules {
            let Some(time) = time else { continue };
            self.add(part, name::FORWARDS, None);
            self.add(part, name::BACKWARDS, None);
            self.add(part, "compared, not violated", None);
            self.add(part, "not compared: something is unknown or a channel is faulted", None);
            self.delays(part, time, None);
        }
    }
}

/// Whether a monitor can be violated at all.
pub(super) fn watches(kind: &MonitorKind) -> bool {
    match kind {
        MonitorKind::TorqueOff
        | MonitorKind::CamOutput { .. }
        | MonitorKind::SpeedOutput { .. }
        | MonitorKind::BrakeOutput { .. } => false,
        MonitorKind::Stop { by: By::Time { .. }, until: Until::TorqueOff } => false,
        MonitorKind::Standstill(_)
        | MonitorKind::SpeedLimit { .. }
        | MonitorKind::SpeedRange(_)
        | MonitorKind::Direction { .. }
        | MonitorKind::AccelerationLimit { .. }
        | MonitorKind::AccelerationRange(_)
        | MonitorKind::TravelLimit { .. }
        | MonitorKind::PositionRange(_)
        | MonitorKind::TorqueLimit { .. }
        | MonitorKind::TorqueRange { .. }
        | MonitorKind::TemperatureLimit { .. }
        | MonitorKind::Stop { .. } => true,
    }
}

/// Whether a monitor ever needs a speed.
fn needs_speed(kind: &MonitorKind) -> bool {
    watches(kind) && !limits_place_alone(kind) || matches!(kind, MonitorKind::SpeedOutput { .. })
}

/// Whether it holds nothing but a place or a travel against its limits.
fn limits_place_alone(kind: &MonitorKind) -> bool {
    matches!(
        kind,
        MonitorKind::Direction { .. } | MonitorKind::TravelLimit { .. } | MonitorKind::PositionRange(_)
    )
}
