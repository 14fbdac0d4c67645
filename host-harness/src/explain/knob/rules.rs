//! Which settings each rule hangs on.

use monitor_core::{Evidence, Side, Value};

use super::demand::{of_demands, of_input};
use super::lens::Lens;
use super::{Knob, Since, Way, channel_mut};
use crate::causes::Side as Channels;
use crate::explain::track::{Quantity, Question};
use crate::replay::{Fault, FaultKind, Trip, TripRule};
use crate::setup::{
    BrakingSetup, By, LimitSetup, MonitorKind, RampSetup, RangeSetup, Setting, Setup, StandstillSetup, Until,
};

/// The longest time that is tried, in steps: ten minutes.
pub(super) const LONGEST: i64 = 600_000_000;

/// The longest timeout, skew allowance and window that a setup may have, in steps: 4 s and 2 s.
const OLDEST: i64 = 4_000_000;
const WIDEST: i64 = 2_000_000;

/// The settings that a trip hangs on, the limit itself first.
pub(in crate::explain) fn of_trip(setup: &Setup, trip: &Trip) -> Vec<Knob> {
    let question = Question::of(trip.rule, &trip.evidence);
    match trip.rule {
        TripRule::Monitor(i, _) => of_monitor(setup, i, question.quantity, is_below(&trip.evidence)),
        TripRule::PositionDiscrepancy => {
            vec![
                Knob::new("discrepancy.tolerance", Way::Up, move |s| {
                    Some(Lens::Position(&mut s.discrepancy.as_mut()?.tolerance))
                }),
                Knob::new("discrepancy.skew_allowance", Way::Up, move |s| {
                    Some(Lens::Time(&mut s.discrepancy.as_mut()?.skew_allowance))
                })
                .at_most(OLDEST),
                Knob::new("discrepancy.discrepancy_time", Way::Up, move |s| {
                    Some(Lens::Time(&mut s.discrepancy.as_mut()?.discrepancy_time))
                })
                .at_most(LONGEST),
            ]
        }
        TripRule::SpeedDiscrepancy => vec![
            Knob::new("speed_discrepancy.tolerance", Way::Up, |s| {
                Some(Lens::Speed(&mut s.speed_discrepancy.as_mut()?.tolerance))
            }),
            Knob::new("speed_discrepancy.discrepancy_time", Way::Up, |s| {
                Some(Lens::Time(&mut s.speed_discrepancy.as_mut()?.discrepancy_time))
            })
            .at_most(LONGEST),
            window(),
        ],
        TripRule::Analogue(i) => {
            let of = format!("analogue.{}", key(&setup.analogues[i].name));
            vec![
                Knob::new(format!("{of}.tolerance"), Way::Up, move |s| {
                    Some(Lens::Value(&mut s.analogues.get_mut(i)?.tolerance))
                }),
                Knob::new(format!("{of}.discrepancy_time"), Way::Up, move |s| {
                    Some(Lens::Time(&mut s.analogues.get_mut(i)?.discrepancy_time))
                })
                .at_most(LONGEST),
            ]
        }
    }
}

/// The settings that a fault hangs on.
pub(in crate::explain) fn of_fault(setup: &Setup, fault: &Fault) -> Vec<Knob> {
    use monitor_core::SourceFault::{Implausible, Range, Stale};
    match fault.kind {
        FaultKind::Channel(channel, Stale, _) => {
            vec![
                Knob::new(
                    format!("channel.{}.timeout", Channels::from(channel).letter()),
                    Way::Up,
                    move |s| Some(Lens::Time(&mut channel_mut(s, channel).timeout)),
                )
                .at_most(OLDEST),
            ]
        }
        FaultKind::Channel(channel, Implausible, _) => {
            vec![Knob::new(
                format!("channel.{}.max_speed", Channels::from(channel).letter()),
                Way::Up,
                move |s| Some(Lens::Speed(&mut channel_mut(s, channel).max_speed)),
            )]
        }
        FaultKind::Input(input) => of_input(setup, input),
        FaultKind::Analogue(i, _, Stale, _) => {
            vec![
                Knob::new(format!("analogue.{}.timeout", key(&setup.analogues[i].name)), Way::Up, move |s| {
                    Some(Lens::Time(&mut s.analogues.get_mut(i)?.timeout))
                })
                .at_most(OLDEST),
            ]
        }
        FaultKind::Analogue(i, _, Range, _) => {
            let of = format!("analogue.{}", key(&setup.analogues[i].name));
            let end = |key: &str, looser, find: fn(&mut RangeSetup<Value>) -> &mut Setting<Value>| {
                Knob::new(format!("{of}.{key}"), looser, move |s| {
                    Some(Lens::Value(find(&mut s.analogues.get_mut(i)?.plausible)))
                })
                .aside()
            };
            vec![
                end("low", Way::Down, |range| &mut range.low).at_most(-(1 << 32)),
                end("high", Way::Up, |range| &mut range.high),
            ]
        }
        _ => Vec::new(),
    }
}

pub(super) fn window() -> Knob {
    Knob::new("speed.window", Way::Up, |s| Some(Lens::Time(&mut s.speed.window)))
        .since(Since::SwitchedOn)
        .at_most(WIDEST)
}

/// A name as a key of a setup file.
pub(super) fn quoted(name: &str) -> String {
    if name.contains(['"', '\\']) { format!("'{name}'") } else { format!("\"{name}\"") }
}

/// The same, without quotes where it needs none.
pub(super) fn key(name: &str) -> String {
    let is_bare = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
    if !name.is_empty() && name.chars().all(is_bare) { name.to_owned() } else { quoted(name) }
}

/// Whether it was below what is allowed.
const fn is_below(evidence: &Evidence) -> bool {
    let side = match evidence {
        Evidence::Position(bound) | Evidence::Overrun(bound) => bound.side,
        Evidence::Speed(bound) => bound.side,
        Evidence::Acceleration(bound) => bound.side,
        Evidence::Value(bound) => bound.side,
    };
    matches!(side, Side::Below)
}

/// Makes the knobs of one monitor.
struct Of {
    monitor: usize,
    path: String,
}

impl Of {
    fn knob(
        &self,
        key: &str,
        looser: Way,
        find: impl for<'a> Fn(&'a mut MonitorKind) -> Option<Lens<'a>> + Send + Sync + 'static,
    ) -> Knob {
        let i = self.monitor;
        Knob::new(format!("{}.{key}", self.path), looser, move |s| find(&mut s.monitors.get_mut(i)?.kind))
    }

    fn ramp(&self, knobs: &mut Vec<Knob>) {
        fn ramp(kind: &mut MonitorKind) -> Option<&mut RampSetup> {
            match kind {
                MonitorKind::SpeedLimit { ramp, .. } => ramp.as_mut(),
                MonitorKind::Stop { by: By::Ramp { ramp, .. }, .. } => Some(ramp),
                _ => None,
            }
        }
        let margin = self.knob("ramp.margin", Way::Up, |kind| Some(Lens::Speed(&mut ramp(kind)?.margin)));
        let delay = self.knob("ramp.delay", Way::Up, |kind| Some(Lens::Time(&mut ramp(kind)?.delay)));
        let deceleration = self.knob("ramp.deceleration", Way::Down, |kind| {
            Some(Lens::Acceleration(&mut ramp(kind)?.deceleration))
        });
        let jerk = self.knob("ramp.jerk", Way::Down, |kind| Some(Lens::Jerk(ramp(kind)?.jerk.as_mut()?)));
        let of_ramp = [
            margin,
            delay.at_most(LONGEST),
            deceleration.at_most(1),
            jerk.at_most(1).aside().meaning("the line sets in more slowly, and ends later"),
        ];
        knobs.extend(of_ramp.map(|knob| knob.since(Since::Demand)));
    }

    /// Where and when a stop ends, to either side: what comes after it comes earlier or later.
    fn end_of_stop(&self, knobs: &mut Vec<Knob>) {
        fn speed(kind: &mut MonitorKind) -> Option<Lens<'_>> {
            match kind {
                MonitorKind::Stop {
                    by: By::Ramp { standstill_speed, .. } | By::Deceleration { standstill_speed, .. },
                    ..
                } => Some(Lens::Speed(standstill_speed)),
                _ => None,
            }
        }
        fn within(kind: &mut MonitorKind) -> Option<Lens<'_>> {
            match kind {
                MonitorKind::Stop { by: By::Time { within }, .. } => Some(Lens::Time(within)),
                MonitorKind::Stop {
                    by: By::Ramp { within, .. } | By::Deceleration { within, .. }, ..
                } => Some(Lens::Time(within.as_mut()?)),
                _ => None,
            }
        }
        const SOONER: &str = "the stop counts as complete sooner, whatever the axis does then";
        const LATER: &str =
            "the stop counts as complete later, and what is watched after it is watched later";
        let of_end = [
            self.knob("within", Way::Up, within).at_most(LONGEST).meaning(LATER),
            self.knob("within", Way::Down, within).at_most(1).meaning(SOONER),
            self.knob("standstill_speed", Way::Down, speed).rounded(Way::Down).meaning(LATER),
            self.knob("standstill_speed", Way::Up, speed).meaning(SOONER),
        ];
        knobs.extend(of_end.map(|knob| knob.since(Since::Demand).aside()));
    }

    /// Both windows: the one that was left first.
    fn standstill(&self, quantity: Quantity, knobs: &mut Vec<Knob>) {
        fn windows(kind: &mut MonitorKind) -> Option<&mut StandstillSetup> {
            match kind {
                MonitorKind::Standstill(windows)
                | MonitorKind::Stop { until: Until::Standstill(windows), .. } => Some(windows),
                _ => None,
            }
        }
        let position = self.knob("position_window", Way::Up, |kind| {
            Some(Lens::Position(&mut windows(kind)?.position_window))
        });
        let speed =
            self.knob("speed_window", Way::Up, |kind| Some(Lens::Speed(&mut windows(kind)?.speed_window)));
        let (left, other) =
            if quantity == Quantity::Position { (position, speed) } else { (speed, position) };
        let other = other.aside();
        knobs.extend([left.together_with(other.path.clone()), other]);
    }
}

fn of_monitor(setup: &Setup, monitor: usize, quantity: Quantity, is_below: bool) -> Vec<Knob> {
    let entry = &setup.monitors[monitor];
    let of = Of { monitor, path: format!("monitor.{}", quoted(&entry.name)) };
    let knobs = of_kind(&of, &entry.kind, quantity, is_below);
    let is_a_speed = |knob: &Knob| matches!((knob.find)(&mut setup.clone()), Some(Lens::Speed(_)));
    let bounded = |knob: Knob| {
        if is_a_speed(&knob) && knob.looser == Way::Up { knob.below_max_speed(setup) } else { knob }
    };
    let mut knobs: Vec<Knob> = knobs.into_iter().map(bounded).collect();
    let on_delay = Knob::new(format!("{}.on_delay", of.path), Way::Up, move |s| {
        Some(Lens::Time(&mut s.monitors.get_mut(monitor)?.on_delay))
    })
    .at_most(LONGEST);
    if entry.allowed_overrun.is_some() {
        let overrun = Knob::new(format!("{}.allowed_overrun", of.path), Way::Up, move |s| {
            s.monitors.get_mut(monitor)?.allowed_overrun.as_mut().map(Lens::Position)
        });
        knobs.extend([on_delay.together_with(overrun.path.clone()), overrun]);
    } else {
        knobs.push(on_delay);
    }
    if matches!(quantity, Quantity::Speed | Quantity::Acceleration) {
        knobs.push(window());
    }
    knobs.extend(of_demands(setup, monitor));
    knobs
}

/// The settings of what a kind of monitor allows.
fn of_kind(of: &Of, kind: &MonitorKind, quantity: Quantity, is_below: bool) -> Vec<Knob> {
    let mut knobs = Vec::new();
    match kind {
        MonitorKind::Standstill(_) => of.standstill(quantity, &mut knobs),
        MonitorKind::SpeedLimit { limit, ramp } => {
            let limits = of_limit(of, limit);
            match ramp {
                // Where a line ends is worked out when it begins to fall.
                Some(_) => {
                    knobs.extend(limits.into_iter().map(|knob| knob.since(Since::Demand)));
                    of.ramp(&mut knobs);
                }
                None => knobs.extend(limits),
            }
        }
        MonitorKind::SpeedRange(_)
        | MonitorKind::AccelerationRange(_)
        | MonitorKind::PositionRange(_)
        | MonitorKind::TorqueRange { .. } => knobs.push(of_range(of, is_below)),
        MonitorKind::Direction { .. } => knobs.push(of.knob("tolerance", Way::Up, |kind| match kind {
            MonitorKind::Direction { tolerance, .. } => Some(Lens::Position(tolerance)),
            _ => None,
        })),
        MonitorKind::AccelerationLimit { .. } => {
            knobs.push(of.knob("limit", Way::Up, |kind| match kind {
                MonitorKind::AccelerationLimit { limit } => Some(Lens::Acceleration(limit)),
                _ => None,
            }));
        }
        MonitorKind::TravelLimit { .. } => knobs.push(of.knob("increment", Way::Up, |kind| match kind {
            MonitorKind::TravelLimit { increment } => Some(Lens::Position(increment)),
            _ => None,
        })),
        MonitorKind::TorqueLimit { .. } | MonitorKind::TemperatureLimit { .. } => {
            knobs.push(of.knob("limit", Way::Up, |kind| match kind {
                MonitorKind::TorqueLimit { limit, .. } | MonitorKind::TemperatureLimit { limit, .. } => {
                    Some(Lens::Value(limit))
                }
                _ => None,
            }));
        }
        MonitorKind::Stop { until, by } => of_stop(of, until, by, quantity, &mut knobs),
        MonitorKind::TorqueOff
        | MonitorKind::CamOutput { .. }
        | MonitorKind::SpeedOutput { .. }
        | MonitorKind::BrakeOutput { .. } => {}
    }
    knobs
}

fn of_stop(of: &Of, until: &Until, by: &By, quantity: Quantity, knobs: &mut Vec<Knob>) {
    match by {
        By::Ramp { .. } if quantity == Quantity::Speed => of.ramp(knobs),
        // A standstill that the axis does not keep is watched from the end of the line on.
        By::Ramp { .. } => {
            let mut of_line = Vec::new();
            of.ramp(&mut of_line);
            knobs.extend(of_line.into_iter().map(Knob::aside));
        }
        By::Deceleration { .. } if quantity == Quantity::Acceleration => {
            fn braking(kind: &mut MonitorKind) -> Option<&mut BrakingSetup> {
                match kind {
                    MonitorKind::Stop { by: By::Deceleration { braking, .. }, .. } => Some(braking),
                    _ => None,
                }
            }
            let margin = of
                .knob("braking.margin", Way::Up, |kind| Some(Lens::Acceleration(&mut braking(kind)?.margin)));
            let deceleration = of.knob("braking.deceleration", Way::Down, |kind| {
                Some(Lens::Acceleration(&mut braking(kind)?.deceleration))
            });
            let delay = of.knob("braking.delay", Way::Up, |kind| Some(Lens::Time(&mut braking(kind)?.delay)));
            knobs.extend([margin, deceleration.at_most(1), delay.since(Since::Demand).at_most(LONGEST)]);
        }
        _ => {}
    }
    if matches!(until, Until::Standstill(_)) && matches!(quantity, Quantity::Position | Quantity::Speed) {
        of.standstill(quantity, knobs);
    }
    of.end_of_stop(knobs);
}

fn of_limit(of: &Of, limit: &LimitSetup) -> Vec<Knob> {
    match limit {
        LimitSetup::Both(_) => vec![of.knob("limit", Way::Up, |kind| match kind {
            MonitorKind::SpeedLimit { limit: LimitSetup::Both(limit), .. } => Some(Lens::Speed(limit)),
            _ => None,
        })],
        LimitSetup::Each { .. } => {
            fn each(kind: &mut MonitorKind, is_positive: bool) -> Option<Lens<'_>> {
                match kind {
                    MonitorKind::SpeedLimit { limit: LimitSetup::Each { positive, negative }, .. } => {
                        Some(Lens::Speed(if is_positive { positive } else { negative }))
                    }
                    _ => None,
                }
            }
            vec![
                of.knob("positive", Way::Up, |kind| each(kind, true)),
                of.knob("negative", Way::Up, |kind| each(kind, false)),
            ]
        }
    }
}

fn of_range(of: &Of, is_below: bool) -> Knob {
    fn end(kind: &mut MonitorKind, upper: bool) -> Option<Lens<'_>> {
        macro_rules! pick {
            ($range:expr) => {
                if upper { &mut $range.high } else { &mut $range.low }
            };
        }
        match kind {
            MonitorKind::SpeedRange(range) => Some(Lens::Speed(pick!(range))),
            MonitorKind::AccelerationRange(range) => Some(Lens::Acceleration(pick!(range))),
            MonitorKind::PositionRange(range) => Some(Lens::Position(pick!(range))),
            MonitorKind::TorqueRange { range, .. } => Some(Lens::Value(pick!(range))),
            _ => None,
        }
    }
    match is_below {
        true => of.knob("low", Way::Down, |kind| end(kind, false)).at_most(-(1 << 32)),
        false => of.knob("high", Way::Up, |kind| end(kind, true)),
    }
}
