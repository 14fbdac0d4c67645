//! How far the axis gets until it stands.

use monitor_core::{Channel, Position, Span, Speed};

use super::amount::{Amount, Kind};
use super::kinematics::{Course, Runaway, runaway, speeds_up};
use super::misread;
use super::need::{Needs, magnitude};
use super::path::{Broken, Path, Reaction};
use super::reaction::reaction;
use crate::replay::TripRule;
use crate::setup::{By, LimitSetup, MonitorKind, Setup, StandstillSetup, Until};

/// A part of the way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// What it is.
    pub name: &'static str,
    /// How long, rounded up.
    pub way: Position,
}

/// The worst way from a rule that is truly broken, or from its demand, to an axis that stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Travel {
    /// What it counts from, as its path of the reaction.
    pub broken: Broken,
    /// The speed at that instant, rounded up.
    pub from: Option<Speed>,
    /// The speed when the torque is gone, rounded up: at most that and the hardest acceleration over the reaction time.
    pub speed_at_torque_off: Option<Speed>,
    /// The parts of the way, as far as they are known; those that are zero are left out.
    pub stretches: Vec<Stretch>,
    /// The whole way, when it is known.
    pub total: Option<Position>,
    /// The time until the axis stands, when it is known, rounded up.
    pub time: Option<Span>,
    /// The keys of the setup that would have to be there for more.
    pub missing: Vec<String>,
}

/// The ways of all paths of a rule that has to do with motion; none for outputs and analogue values.
#[must_use]
pub fn travels(setup: &Setup, period: Span, reaction: &Reaction) -> Vec<Travel> {
    let is_output = match reaction.rule {
        TripRule::Monitor(place, _) => setup.monitors.get(place).is_none_or(|one| one.kind.is_output()),
        TripRule::Analogue(_) => true,
        _ => false,
    };
    if is_output {
        return Vec::new();
    }
    let of_motion = |path: &&Path| !matches!(path.broken, Broken::Value | Broken::Permit);
    let channel = match reaction.rule {
        TripRule::Monitor(_, channel) => channel,
        _ => Channel::A,
    };
    let paths = reaction.paths.iter().filter(of_motion);
    paths.map(|path| Way { setup, period, rule: reaction.rule, channel, path }.travel()).collect()
}

/// How far two sources can be apart when the torque is gone: the tolerance with its allowance, and what the axis travels in the reaction
/// time if one of them does not see it move. `None` without a `max_acceleration`.
#[must_use]
pub fn apart_at_torque_off(setup: &Setup, period: Span) -> Option<Position> {
    let watch = setup.discrepancy.as_ref()?;
    let reaction = reaction(setup, period, TripRule::PositionDiscrepancy);
    let path = reaction.path(Broken::Apart)?;
    let rises = setup.machine.max_acceleration.as_ref()?.value.into();
    // The slower of the two speeds allows for the time between the captures, and either channel watches the speed.
    let fastest =
        never_faster(setup, period, Channel::A, rises).max(never_faster(setup, period, Channel::B, rises));
    let (_, way) = speeds_up(fastest, rises, path.total().into(), Some(fastest));
    let allowed = Amount::from(watch.tolerance.value) + Amount::from(watch.skew_allowance.value) * fastest;
    (allowed + way).position()
}

/// The fastest that the axis gets with the permit: what the mechanics can do, or where a rule on the speed is always active, its limit,
/// what it may be misread by, and the hardest acceleration over its reaction time.
fn never_faster(setup: &Setup, period: Span, channel: Channel, rises: Amount) -> Amount {
    let most: Amount = setup.channel(channel).max_speed.value.into();
    let places = setup.monitors.iter().enumerate().filter(|(_, monitor)| monitor.is_always_active());
    let speeds = places.filter_map(|(place, monitor)| {
        let limit = limit_of(&monitor.kind)?;
        let reaction = reaction(setup, period, TripRule::Monitor(place, channel));
        let time: Amount = reaction.path(Broken::Speed)?.total().into();
        Some(truly(setup, channel, limit) + rises * time)
    });
    speeds.fold(most, |least, speed| if speed.0.is_some() { least.min(speed) } else { least }).up()
}

/// The larger limit on the speed of a rule that has one.
fn limit_of(kind: &MonitorKind) -> Option<Amount> {
    match kind {
        MonitorKind::SpeedLimit { limit: LimitSetup::Both(limit), .. } => Some(limit.value.into()),
        MonitorKind::SpeedLimit { limit, .. } => Some(limit.larger().into()),
        MonitorKind::SpeedRange(range) => Some(magnitude(range.low.value).max(magnitude(range.high.value))),
        MonitorKind::Standstill(windows) => Some(windows.speed_window.value.into()),
        _ => None,
    }
}

/// The fastest true speed that can be read as no more than `speed`.
fn truly(setup: &Setup, channel: Channel, speed: Amount) -> Amount {
    let mut needs = Needs::new(Kind::Speed);
    misread::of_speed(&mut needs, setup, channel, speed, 1);
    let scale = misread::scale_error(&mut needs, setup);
    needs.takes("scale error", scale * speed);
    speed + needs.sum()
}

/// One way to a standstill.
pub(super) struct Way<'a> {
    pub(super) setup: &'a Setup,
    pub(super) period: Span,
    pub(super) rule: TripRule,
    pub(super) channel: Channel,
    pub(super) path: &'a Path,
}

/// What is found so far.
pub(super) struct Found {
    stretches: Vec<Stretch>,
    pub(super) total: Amount,
    pub(super) missing: Vec<String>,
}

impl Found {
    pub(super) const fn new() -> Self {
        Self { stretches: Vec::new(), total: Amount::ZERO, missing: Vec::new() }
    }

    pub(super) fn way(&mut self, name: &'static str, way: Amount) {
        let rounded = way.position();
        self.total = self.total + rounded.map_or(Amount(None), Amount::from);
        if let Some(way) = rounded.filter(|way| *way > Position::ZERO) {
            self.stretches.push(Stretch { name, way });
        }
    }

    fn lacks(&mut self, key: &str) {
        self.missing.push(format!("`{key}` of [machine]"));
    }
}

impl Way<'_> {
    fn kind(&self) -> Option<&MonitorKind> {
        match self.rule {
            TripRule::Monitor(place, _) => self.setup.monitors.get(place).map(|monitor| &monitor.kind),
            _ => None,
        }
    }

    fn travel(&self) -> Travel {
        let mut found = Found::new();
        let rises = self.setup.machine.max_acceleration.as_ref().map(|rises| Amount::from(rises.value));
        let from = self.from(rises).map(Amount::up);
        let (Some(rises), Some(from)) = (rises, from) else {
            found.lacks("max_acceleration");
            return self.told(from, None, found, None);
        };
        let (torque_off, time) = match self.line() {
            Some(line) => self.along(&mut found, &line, from, rises),
            None => self.runs_away(
                &mut found,
                from,
                rises,
                Amount::ZERO,
                self.path.total().into(),
                "until the torque is gone",
            ),
        };
        self.told(Some(from), Some(torque_off), found, time)
    }

    fn told(
        &self,
        from: Option<Amount>,
        torque_off: Option<Amount>,
        found: Found,
        time: Option<Amount>,
    ) -> Travel {
        let known = found.missing.is_empty() && time.is_some();
        Travel {
            broken: self.path.broken,
            from: from.and_then(Amount::speed),
            speed_at_torque_off: torque_off.and_then(Amount::speed),
            stretches: found.stretches,
            total: found.total.position().filter(|_| known),
            time: time.and_then(Amount::span).filter(|_| known),
            missing: found.missing,
        }
    }

    /// What the axis is never faster than, with the permit. Where the two sources disagree, one of them may not see it move.
    pub(super) fn most(&self, rises: Amount) -> Amount {
        let of = |channel| never_faster(self.setup, self.period, channel, rises);
        match self.rule {
            TripRule::Monitor(_, channel) => of(channel),
            _ => of(Channel::A).max(of(Channel::B)),
        }
    }

    /// The speed when the rule is broken.
    fn from(&self, rises: Option<Amount>) -> Option<Amount> {
        let fastest = || Some(self.most(rises?));
        // From rest, over the whole way that it may have.
        let over = |way: Position| {
            let most: Amount = self.setup.channel(self.channel).max_speed.value.into();
            Some((Amount::whole(2) * rises? * way.into()).root_up().min(most))
        };
        let truly = |speed: Amount| Some(truly(self.setup, self.channel, speed));
        let stands = |windows: &StandstillSetup| match self.path.broken {
            Broken::Position => over(windows.position_window.value),
            _ => truly(windows.speed_window.value.into()),
        };
        match (self.path.broken, self.kind()) {
            (Broken::Demand | Broken::Stop, _) => fastest(),
            (_, Some(MonitorKind::Standstill(windows))) => stands(windows),
            (Broken::Speed, Some(MonitorKind::Stop { by: By::Ramp { ramp, .. }, .. })) => {
                Some(fastest()? + ramp.margin.value.into())
            }
            (
                Broken::Position | Broken::Speed,
                Some(MonitorKind::Stop { until: Until::Standstill(windows), .. }),
            ) => stands(windows),
            (
                _,
                Some(
                    MonitorKind::TravelLimit { increment: way }
                    | MonitorKind::Direction { tolerance: way, .. },
                ),
            ) => over(way.value),
            (Broken::Speed, Some(kind)) => limit_of(kind).and_then(truly),
            _ => fastest(),
        }
    }

    /// The whole of a runaway after `passed` of time. Returns the speed when the torque is gone, and the time until it stands.
    pub(super) fn runs_away(
        &self,
        found: &mut Found,
        from: Amount,
        rises: Amount,
        passed: Amount,
        reaction: Amount,
        name: &'static str,
    ) -> (Amount, Option<Amount>) {
        let machine = &self.setup.machine;
        let most = self.most(rises);
        let (torque_off, way) = speeds_up(from, rises, reaction, Some(most));
        let Some(brake) = &machine.brake_deceleration else {
            found.way(name, way);
            found.lacks("brake_deceleration");
            return (torque_off, None);
        };
        let delay = machine.brake_delay.as_ref().map_or(Amount::ZERO, |delay| delay.value.into());
        if machine.brake_delay.is_none() {
            found.lacks("brake_delay");
        }
        let fall = machine.fall_acceleration.as_ref().map_or(Amount::ZERO, |fall| fall.value.into());
        let course = || {
            Some(Course {
                from: from.0?,
                acceleration: rises.0?,
                reaction: reaction.0?,
                fastest: most.0,
                fall: fall.0?,
                brake_delay: delay.0?,
                brake: Amount::from(brake.value).0?,
            })
        };
        match course().and_then(|course| runaway(&course)) {
            Some(Runaway { until_torque_off, until_brake, braking, time, .. }) => {
                found.way(name, Amount(Some(until_torque_off)));
                found.way("until the brake holds", Amount(Some(until_brake)));
                found.way("under the brake", Amount(Some(braking)));
                (torque_off, Some(passed + Amount(Some(time))))
            }
            None => {
                found.total = Amount(None);
                (torque_off, None)
            }
        }
    }
}
