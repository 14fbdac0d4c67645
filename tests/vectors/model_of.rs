//! The exact model's setup for a setup file.

use cowitness_tests::model::{self, Q, ulps};
use host_harness::setup::{
    Allowed, AnalogueSetup, By, ChannelSetup, DemandLevel, DemandSetup, DemandSource, HISTORY_POINTS,
    InputLines, InputSetup, LimitSetup, MonitorKind, MonitorSetup, OneSided, Pairing, RampSetup,
    ReferenceSetup, Setup, Source, Until, WarmUp,
};
use monitor_core::{Acceleration, Position, Speed, Value};

fn speed(value: Speed) -> Q {
    ulps(value.to_bits().into())
}

fn position(value: Position) -> Q {
    ulps(value.to_bits().into())
}

fn value(value: Value) -> Q {
    ulps(value.to_bits().into())
}

/// The same setup for the model.
pub fn setup(setup: &Setup) -> model::Setup {
    model::Setup {
        a: source(&setup.a),
        b: source(&setup.b),
        referencing: [&setup.a, &setup.b].map(|channel| referencing(setup, channel)),
        analogues: setup.analogues.iter().map(analogue).collect(),
        window_ns: setup.speed.window.value.as_nanos(),
        points: HISTORY_POINTS,
        warm_up_withholds: setup.speed.warm_up == WarmUp::Withhold,
        discrepancy: setup.discrepancy.as_ref().map(|rule| model::Discrepancy {
            tolerance: position(rule.tolerance.value),
            skew_allowance_ns: rule.skew_allowance.value.as_nanos(),
            align: rule.align,
            discrepancy_time_ns: rule.discrepancy_time.value.as_nanos(),
        }),
        speed_discrepancy: setup.speed_discrepancy.as_ref().map(|rule| model::SpeedDiscrepancy {
            tolerance: speed(rule.tolerance.value),
            discrepancy_time_ns: rule.discrepancy_time.value.as_nanos(),
        }),
        inputs: setup.inputs.iter().map(input).collect(),
        reset_line: setup.reset.as_ref().map(|reset| reset.line),
        reset_filter_ns: setup.reset.as_ref().map_or(0, |reset| reset.filter.value.as_nanos()),
        monitors: setup.monitors.iter().map(monitor).collect(),
    }
}

fn source(channel: &ChannelSetup) -> model::Source {
    // A count is held in billionths of a unit in the last place.
    let billionth = ulps(1) / Q::from_integer(1_000_000_000.into());
    let (counter_bits, count) = match &channel.source {
        Source::Counter { bits, unit_per_count } => (u32::from(*bits), unit_per_count.value),
        Source::Position { .. } => (64, 1_000_000_000),
    };
    model::Source {
        counter_bits,
        unit_per_count: billionth * Q::from_integer(count.into()),
        max_speed: speed(channel.max_speed.value),
        timeout_ns: channel.timeout.value.as_nanos(),
    }
}

fn referencing(setup: &Setup, channel: &ChannelSetup) -> model::Referencing {
    match &channel.reference {
        ReferenceSetup::None => model::Referencing::None,
        ReferenceSetup::Absolute { offset } => {
            model::Referencing::Absolute { offset: position(offset.value) }
        }
        ReferenceSetup::Event => {
            let event = setup.reference.as_ref().expect("a channel goes by an event, so there is one");
            model::Referencing::Event { input: event.input, position: position(event.position.value) }
        }
    }
}

fn analogue(analogue: &AnalogueSetup) -> model::Analogue {
    model::Analogue {
        low: value(analogue.plausible.low.value),
        high: value(analogue.plausible.high.value),
        timeout_ns: analogue.timeout.value.as_nanos(),
        tolerance: value(analogue.tolerance.value),
        discrepancy_time_ns: analogue.discrepancy_time.value.as_nanos(),
    }
}

fn input(input: &InputSetup) -> model::Input {
    let lines = match &input.lines {
        InputLines::Single(line) => model::Lines::One(*line),
        InputLines::Dual { first, second, dual } => model::Lines::Two {
            first: *first,
            second: *second,
            pairing: match dual.pairing {
                Pairing::Equivalent => model::Pairing::Equivalent,
                Pairing::Antivalent => model::Pairing::Antivalent,
            },
            discrepancy_time_ns: dual.discrepancy_time.value.as_nanos(),
            one_sided: match dual.one_sided {
                OneSided::Fault => model::OneSided::Fault,
                OneSided::Ignore => model::OneSided::Ignore,
            },
        },
    };
    let demand_high = input.demand == DemandLevel::High;
    model::Input { lines, demand_high, filter_ns: input.filter.value.as_nanos() }
}

fn ramp(ramp: &RampSetup) -> model::Ramp {
    model::Ramp {
        delay_ns: ramp.delay.value.as_nanos(),
        deceleration: acceleration(ramp.deceleration.value),
        margin: speed(ramp.margin.value),
        jerk: ramp.jerk.as_ref().map(|jerk| ulps(jerk.value.to_bits().into())),
    }
}

fn acceleration(value: Acceleration) -> Q {
    ulps(value.to_bits().into())
}

fn monitor(monitor: &MonitorSetup) -> model::Monitor {
    let kind = match &monitor.kind {
        MonitorKind::TorqueOff => model::Kind::TorqueOff,
        MonitorKind::Standstill(windows) => model::Kind::Standstill {
            position_window: position(windows.position_window.value),
            speed_window: speed(windows.speed_window.value),
        },
        MonitorKind::SpeedLimit { limit: LimitSetup::Both(limit), ramp: falling } => {
            model::Kind::SpeedLimit { limit: speed(limit.value), ramp: falling.as_ref().map(ramp) }
        }
        MonitorKind::SpeedLimit { limit: LimitSetup::Each { positive, negative }, ramp: falling } => {
            model::Kind::SpeedLimitEachWay {
                positive: speed(positive.value),
                negative: speed(negative.value),
                ramp: falling.as_ref().map(ramp),
            }
        }
        MonitorKind::SpeedRange(range) => {
            model::Kind::SpeedRange { low: speed(range.low.value), high: speed(range.high.value) }
        }
        MonitorKind::Direction { allowed, tolerance } => model::Kind::Direction {
            allowed: match allowed {
                Allowed::Positive => model::Way::Positive,
                Allowed::Negative => model::Way::Negative,
            },
            tolerance: position(tolerance.value),
        },
        MonitorKind::AccelerationLimit { limit } => {
            model::Kind::AccelerationLimit { limit: acceleration(limit.value) }
        }
        MonitorKind::AccelerationRange(range) => model::Kind::AccelerationRange {
            low: acceleration(range.low.value),
            high: acceleration(range.high.value),
        },
        MonitorKind::TravelLimit { increment } => {
            model::Kind::TravelLimit { increment: position(increment.value) }
        }
        MonitorKind::PositionRange(range) => {
            model::Kind::PositionRange { low: position(range.low.value), high: position(range.high.value) }
        }
        MonitorKind::TorqueLimit { of, limit } => {
            model::Kind::TorqueLimit { analogue: *of, limit: value(limit.value) }
        }
        MonitorKind::TorqueRange { of, range } => model::Kind::TorqueRange {
            analogue: *of,
            low: value(range.low.value),
            high: value(range.high.value),
        },
        MonitorKind::TemperatureLimit { of, limit } => {
            model::Kind::TemperatureLimit { analogue: *of, limit: value(limit.value) }
        }
        MonitorKind::CamOutput { range, hysteresis } => model::Kind::CamOutput {
            low: position(range.low.value),
            high: position(range.high.value),
            hysteresis: position(hysteresis.value),
        },
        MonitorKind::SpeedOutput { threshold, hysteresis } => model::Kind::SpeedOutput {
            threshold: speed(threshold.value),
            hysteresis: speed(hysteresis.value),
        },
        MonitorKind::BrakeOutput { delay } => model::Kind::BrakeOutput { delay_ns: delay.value.as_nanos() },
        MonitorKind::Stop { until, by } => model::Kind::Stop {
            until: match until {
                Until::TorqueOff => model::Until::TorqueOff,
                Until::Standstill(windows) => model::Until::Standstill {
                    position_window: position(windows.position_window.value),
                    speed_window: speed(windows.speed_window.value),
                },
            },
            by: match by {
                By::Ramp { ramp: falling, standstill_speed, within } => model::By::Ramp {
                    ramp: ramp(falling),
                    standstill_speed: speed(standstill_speed.value),
                    within_ns: within.as_ref().map(|within| within.value.as_nanos()),
                },
                By::Deceleration { braking, standstill_speed, within } => model::By::Deceleration {
                    delay_ns: braking.delay.value.as_nanos(),
                    deceleration: acceleration(braking.deceleration.value),
                    margin: acceleration(braking.margin.value),
                    standstill_speed: speed(standstill_speed.value),
                    within_ns: within.as_ref().map(|within| within.value.as_nanos()),
                },
                By::Time { within } => model::By::Time { within_ns: within.value.as_nanos() },
            },
        },
    };
    let term = |demand: &DemandSetup| match (demand.source, demand.inverted) {
        (DemandSource::Input(input), false) => model::Term::Input(input),
        (DemandSource::Input(input), true) => model::Term::NotInput(input),
        (DemandSource::Output(output), false) => model::Term::Output(output),
        (DemandSource::Output(output), true) => model::Term::NotOutput(output),
    };
    let demand = if monitor.by_reactions_only {
        model::Demand::Reactions
    } else if monitor.demand.is_empty() {
        model::Demand::Always
    } else {
        model::Demand::Any(monitor.demand.iter().map(term).collect())
    };
    model::Monitor {
        demand,
        reaction: monitor.reaction,
        on_delay_ns: monitor.on_delay.value.as_nanos(),
        allowed_overrun: monitor.allowed_overrun.as_ref().map(|distance| position(distance.value)),
        kind,
    }
}
