//! Which settings each rule hangs on.

use monitor_core::{Evidence, Side};

use super::{Knob, Lens, Looser, channel_mut};
use crate::causes::Side as Channels;
use crate::explain::track::{Quantity, Question};
use crate::replay::{Fault, FaultKind, Trip, TripRule};
use crate::setup::{
    BrakingSetup, By, InputLines, LimitSetup, MonitorKind, RampSetup, Setup, StandstillSetup, Until,
};

/// The longest time that is tried, in steps: ten minutes.
const LONGEST: i64 = 600_000_000;

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
                Knob::new("discrepancy.tolerance", Looser::Up, move |s| {
                    Some(Lens::Position(&mut s.discrepancy.as_mut()?.tolerance))
                }),
                Knob::new("discrepancy.skew_allowance", Looser::Up, move |s| {
                    Some(Lens::Time(&mut s.discrepancy.as_mut()?.skew_allowance))
                })
                .at_most(OLDEST),
                Knob::new("discrepancy.discrepancy_time", Looser::Up, move |s| {
                    Some(Lens::Time(&mut s.discrepancy.as_mut()?.discrepancy_time))
                })
                .at_most(LONGEST),
            ]
        }
        TripRule::SpeedDiscrepancy => vec![
            Knob::new("speed_discrepancy.tolerance", Looser::Up, |s| {
                Some(Lens::Speed(&mut s.speed_discrepancy.as_mut()?.tolerance))
            }),
            Knob::new("speed_discrepancy.discrepancy_time", Looser::Up, |s| {
                Some(Lens::Time(&mut s.speed_discrepancy.as_mut()?.discrepancy_time))
            })
            .at_most(LONGEST),
            window(),
        ],
        TripRule::Analogue(i) => {
            let of = format!("analogue.{}", setup.analogues[i].name);
            vec![
                Knob::new(format!("{of}.tolerance"), Looser::Up, move |s| {
                    Some(Lens::Value(&mut s.analogues.get_mut(i)?.tolerance))
                }),
                Knob::new(format!("{of}.discrepancy_time"), Looser::Up, move |s| {
                    Some(Lens::Time(&mut s.analogues.get_mut(i)?.discrepancy_time))
                })
                .at_most(LONGEST),
            ]
        }
    }
}

/// The settings that a fault hangs on.
pub(in crate::explain) fn of_fault(setup: &Setup, fault: &Fault) -> Vec<Knob> {
    use monitor_core::SourceFault::{Implausible, Stale};
    match fault.kind {
        FaultKind::Channel(channel, Stale, _) => {
            vec![
                Knob::new(
                    format!("channel.{}.timeout", Channels::from(channel).letter()),
                    Looser::Up,
                    move |s| Some(Lens::Time(&mut channel_mut(s, channel).timeout)),
                )
                .at_most(OLDEST),
            ]
        }
        FaultKind::Channel(channel, Implausible, _) => {
            vec![Knob::new(
                format!("channel.{}.max_speed", Channels::from(channel).letter()),
                Looser::Up,
                move |s| Some(Lens::Speed(&mut channel_mut(s, channel).max_speed)),
            )]
        }
        FaultKind::Input(i) if matches!(setup.inputs[i].lines, InputLines::Dual { .. }) => {
            let of = &setup.inputs[i].name;
            vec![
                Knob::new(format!("input.{of}.discrepancy_time"), Looser::Up, move |s| {
                    match &mut s.inputs.get_mut(i)?.lines {
                        InputLines::Dual { dual, .. } => Some(Lens::Time(&mut dual.discrepancy_time)),
                        InputLines::Single(_) => None,
                    }
                })
                .at_most(LONGEST),
            ]
        }
        FaultKind::Analogue(i, _, Stale, _) => {
            vec![
                Knob::new(format!("analogue.{}.timeout", setup.analogues[i].name), Looser::Up, move |s| {
                    Some(Lens::Time(&mut s.analogues.get_mut(i)?.timeout))
                })
                .at_most(OLDEST),
            ]
        }
        _ => Vec::new(),
    }
}

pub(super) fn window() -> Knob {
    let knob = Knob::new("speed.window", Looser::Up, |s| Some(Lens::Time(&mut s.speed.window)));
    Knob { anew: true, most: WIDEST, ..knob }
}

/// A name as a key of a setup file.
fn quoted(name: &str) -> String {
    if name.contains(['"', '\\']) { format!("'{name}'") } else { format!("\"{name}\"") }
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
        looser: Looser,
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
        let margin = self.knob("ramp.margin", Looser::Up, |kind| Some(Lens::Speed(&mut ramp(kind)?.margin)));
        let delay = self.knob("ramp.delay", Looser::Up, |kind| Some(Lens::Time(&mut ramp(kind)?.delay)));
        let deceleration = self.knob("ramp.deceleration", Looser::Down, |kind| {
            Some(Lens::Acceleration(&mut ramp(kind)?.deceleration))
        });
        knobs.extend([margin.counted_from_demand(), delay.counted_from_demand().at_most(LONGEST)]);
        knobs.push(deceleration.counted_from_demand().at_most(1));
    }

    fn standstill(&self, quantity: Quantity) -> Knob {
        fn windows(kind: &mut MonitorKind) -> Option<&mut StandstillSetup> {
            match kind {
                MonitorKind::Standstill(windows)
                | MonitorKind::Stop { until: Until::Standstill(windows), .. } => Some(windows),
                _ => None,
            }
        }
        match quantity {
            Quantity::Position => self.knob("position_window", Looser::Up, |kind| {
                Some(Lens::Position(&mut windows(kind)?.position_window))
            }),
            _ => self
                .knob("speed_window", Looser::Up, |kind| Some(Lens::Speed(&mut windows(kind)?.speed_window))),
        }
    }
}

fn of_monitor(setup: &Setup, monitor: usize, quantity: Quantity, is_below: bool) -> Vec<Knob> {
    let entry = &setup.monitors[monitor];
    let of = Of { monitor, path: format!("monitor.{}", quoted(&entry.name)) };
    let knobs = of_kind(&of, &entry.kind, quantity, is_below);
    let is_a_speed = |knob: &Knob| matches!((knob.find)(&mut setup.clone()), Some(Lens::Speed(_)));
    let bounded = |knob: Knob| {
        if is_a_speed(&knob) && knob.looser == Looser::Up { knob.below_max_speed(setup) } else { knob }
    };
    let mut knobs: Vec<Knob> = knobs.into_iter().map(bounded).collect();
    knobs.push(
        Knob::new(format!("{}.on_delay", of.path), Looser::Up, move |s| {
            Some(Lens::Time(&mut s.monitors.get_mut(monitor)?.on_delay))
        })
        .at_most(LONGEST),
    );
    if entry.allowed_overrun.is_some() {
        knobs.push(Knob::new(format!("{}.allowed_overrun", of.path), Looser::Up, move |s| {
            s.monitors.get_mut(monitor)?.allowed_overrun.as_mut().map(Lens::Position)
        }));
    }
    if matches!(quantity, Quantity::Speed | Quantity::Acceleration) {
        knobs.push(window());
    }
    knobs
}

/// The settings of what a kind of monitor allows.
fn of_kind(of: &Of, kind: &MonitorKind, quantity: Quantity, is_below: bool) -> Vec<Knob> {
    let mut knobs = Vec::new();
    match kind {
        MonitorKind::Standstill(_) => knobs.push(of.standstill(quantity)),
        MonitorKind::SpeedLimit { limit, ramp } => {
            let limits = of_limit(of, limit);
            match ramp {
                // Where a line ends is worked out when it begins to fall.
                Some(_) => {
                    knobs.extend(limits.into_iter().map(Knob::counted_from_demand));
                    of.ramp(&mut knobs);
                }
                None => knobs.extend(limits),
            }
        }
        MonitorKind::SpeedRange(_)
        | MonitorKind::AccelerationRange(_)
        | MonitorKind::PositionRange(_)
        | MonitorKind::TorqueRange { .. } => knobs.push(of_range(of, is_below)),
        MonitorKind::Direction { .. } => knobs.push(of.knob("tolerance", Looser::Up, |kind| match kind {
            MonitorKind::Direction { tolerance, .. } => Some(Lens::Position(tolerance)),
            _ => None,
        })),
        MonitorKind::AccelerationLimit { .. } => {
            knobs.push(of.knob("limit", Looser::Up, |kind| match kind {
                MonitorKind::AccelerationLimit { limit } => Some(Lens::Acceleration(limit)),
                _ => None,
            }));
        }
        MonitorKind::TravelLimit { .. } => knobs.push(of.knob("increment", Looser::Up, |kind| match kind {
            MonitorKind::TravelLimit { increment } => Some(Lens::Position(increment)),
            _ => None,
        })),
        MonitorKind::TorqueLimit { .. } | MonitorKind::TemperatureLimit { .. } => {
            knobs.push(of.knob("limit", Looser::Up, |kind| match kind {
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
        By::Deceleration { .. } if quantity == Quantity::Acceleration => {
            fn braking(kind: &mut MonitorKind) -> Option<&mut BrakingSetup> {
                match kind {
                    MonitorKind::Stop { by: By::Deceleration { braking, .. }, .. } => Some(braking),
                    _ => None,
                }
            }
            let margin = of.knob("braking.margin", Looser::Up, |kind| {
                Some(Lens::Acceleration(&mut braking(kind)?.margin))
            });
            let deceleration = of.knob("braking.deceleration", Looser::Down, |kind| {
                Some(Lens::Acceleration(&mut braking(kind)?.deceleration))
            });
            let delay =
                of.knob("braking.delay", Looser::Up, |kind| Some(Lens::Time(&mut braking(kind)?.delay)));
            knobs.extend([margin, deceleration.at_most(1), delay.counted_from_demand().at_most(LONGEST)]);
        }
        _ => {}
    }
    if matches!(until, Until::Standstill(_)) && matches!(quantity, Quantity::Position | Quantity::Speed) {
        knobs.push(of.standstill(quantity));
    }
}

fn of_limit(of: &Of, limit: &LimitSetup) -> Vec<Knob> {
    match limit {
        LimitSetup::Both(_) => vec![of.knob("limit", Looser::Up, |kind| match kind {
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
                of.knob("positive", Looser::Up, |kind| each(kind, true)),
                of.knob("negative", Looser::Up, |kind| each(kind, false)),
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
        true => of.knob("low", Looser::Down, |kind| end(kind, false)).at_most(-(1 << 32)),
        false => of.knob("high", Looser::Up, |kind| end(kind, true)),
    }
}
