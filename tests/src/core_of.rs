//! The core's setup for a setup of the model.

use crate::model::{self, By, Kind, Lines, Q, Term};
use monitor_core::{
    Acceleration, AccelerationLimit, AccelerationRange, Allowed, AnalogueConfig, AnalogueId, AxisConfig,
    BrakeOutput, Braking, CamOutput, Channel, Demand, Demands, Direction, InputConfig, InputId, InputSet,
    Jerk, MonitorId, OneSided, Pairing, Position, PositionDiscrepancy, PositionRange, Ramp, Referencing,
    Rule, Scale, SourceConfig, Span, Speed, SpeedDiscrepancy, SpeedLimit, SpeedOutput, SpeedRange,
    Standstill, Stop, Supervision, TemperatureLimit, TorqueLimit, TorqueRange, TravelLimit, Until, Value,
    WarmUp,
};
use num_rational::BigRational;
use num_traits::ToPrimitive;

/// A whole number of ULPs.
pub fn bits(value: &Q) -> i64 {
    let scaled = value * BigRational::from_integer((1 << 24).into());
    assert!(scaled.is_integer(), "a held value is a whole number of ULPs");
    scaled.to_integer().to_i64().expect("a held value fits")
}

fn speed(value: &Q) -> Speed {
    Speed::from_bits(bits(value))
}

fn position(value: &Q) -> Position {
    Position::from_bits(bits(value))
}

fn value(value: &Q) -> Value {
    Value::from_bits(bits(value))
}

fn acceleration(value: &Q) -> Acceleration {
    Acceleration::from_bits(bits(value))
}

fn source(source: &model::Source) -> SourceConfig {
    let numerator = source.unit_per_count.numer().to_i128().expect("a numerator fits");
    let denominator = source.unit_per_count.denom().to_u128().expect("a denominator fits");
    let scale = Scale::from_ratio(numerator, denominator).expect("a scale in range");
    let timeout = Span::from_nanos(source.timeout_ns);
    SourceConfig::try_new(source.counter_bits, scale, speed(&source.max_speed), timeout)
        .expect("a source in range")
}

fn input(input: &model::Input) -> InputConfig {
    let filter = Span::from_nanos(input.filter_ns);
    match input.lines {
        Lines::One(line) => InputConfig::single(line, input.demand_high, filter),
        Lines::Two { first, second, pairing, discrepancy_time_ns, one_sided } => {
            let pairing = match pairing {
                model::Pairing::Equivalent => Pairing::Equivalent,
                model::Pairing::Antivalent => Pairing::Antivalent,
            };
            let one_sided = match one_sided {
                model::OneSided::Fault => OneSided::Fault,
                model::OneSided::Ignore => OneSided::Ignore,
            };
            let discrepancy_time = Span::from_nanos(discrepancy_time_ns);
            InputConfig::dual(
                [first, second],
                pairing,
                input.demand_high,
                filter,
                discrepancy_time,
                one_sided,
            )
        }
    }
    .expect("an input in range")
}

fn ramp(ramp: &model::Ramp) -> Ramp {
    let (delay, margin) = (Span::from_nanos(ramp.delay_ns), speed(&ramp.margin));
    let straight = Ramp::try_new(delay, acceleration(&ramp.deceleration), margin).expect("a ramp in range");
    match &ramp.jerk {
        Some(jerk) => straight.with_jerk(Jerk::from_bits(bits(jerk))).expect("a jerk in range"),
        None => straight,
    }
}

fn standstill(position_window: &Q, speed_window: &Q) -> Standstill {
    Standstill::try_new(position(position_window), speed(speed_window)).expect("windows in range")
}

fn rule(kind: &Kind, analogues: &[AnalogueId]) -> Rule {
    match kind {
        Kind::TorqueOff => Rule::TorqueOff,
        Kind::Standstill { position_window, speed_window } => {
            Rule::Standstill(standstill(position_window, speed_window))
        }
        Kind::SpeedLimit { limit, ramp: shape } => Rule::SpeedLimit(
            SpeedLimit::try_new(speed(limit), shape.as_ref().map(ramp)).expect("a limit in range"),
        ),
        Kind::Stop { until, by } => {
            let until = match until {
                model::Until::TorqueOff => Until::TorqueOff,
                model::Until::Standstill { position_window, speed_window } => {
                    Until::Standstill(standstill(position_window, speed_window))
                }
            };
            let supervision = match by {
                By::Time { within_ns } => Supervision::Time { within: Span::from_nanos(*within_ns) },
                By::Ramp { ramp: shape, standstill_speed, within_ns } => Supervision::Ramp {
                    ramp: ramp(shape),
                    standstill_speed: speed(standstill_speed),
                    within: within_ns.map(Span::from_nanos),
                },
                By::Deceleration { delay_ns, deceleration, margin, standstill_speed, within_ns } => {
                    let delay = Span::from_nanos(*delay_ns);
                    let braking = Braking::try_new(delay, acceleration(deceleration), acceleration(margin));
                    Supervision::Deceleration {
                        braking: braking.expect("braking in range"),
                        standstill_speed: speed(standstill_speed),
                        within: within_ns.map(Span::from_nanos),
                    }
                }
            };
            Rule::Stop(Stop::try_new(supervision, until).expect("a stop in range"))
        }
        Kind::SpeedLimitEachWay { positive, negative, ramp: shape } => {
            let ramp = shape.as_ref().map(ramp);
            let limit = SpeedLimit::of_directions(speed(positive), speed(negative), ramp);
            Rule::SpeedLimit(limit.expect("limits in range"))
        }
        Kind::SpeedRange { low, high } => {
            Rule::SpeedRange(SpeedRange::try_new(speed(low), speed(high)).expect("a range"))
        }
        Kind::Direction { allowed, tolerance } => {
            let allowed = match allowed {
                model::Way::Positive => Allowed::Positive,
                model::Way::Negative => Allowed::Negative,
            };
            Rule::Direction(Direction::try_new(allowed, position(tolerance)).expect("a tolerance in range"))
        }
        Kind::AccelerationLimit { limit } => Rule::AccelerationLimit(
            AccelerationLimit::try_new(acceleration(limit)).expect("a limit in range"),
        ),
        Kind::AccelerationRange { low, high } => Rule::AccelerationRange(
            AccelerationRange::try_new(acceleration(low), acceleration(high)).expect("a range"),
        ),
        Kind::PositionRange { low, high } => {
            Rule::PositionRange(PositionRange::try_new(position(low), position(high)).expect("a range"))
        }
        Kind::CamOutput { low, high, hysteresis } => Rule::CamOutput(
            CamOutput::try_new(position(low), position(high), position(hysteresis)).expect("a cam in range"),
        ),
        Kind::SpeedOutput { threshold, hysteresis } => Rule::SpeedOutput(
            SpeedOutput::try_new(speed(threshold), speed(hysteresis)).expect("an output in range"),
        ),
        Kind::BrakeOutput { delay_ns } => {
            Rule::BrakeOutput(BrakeOutput::try_new(Span::from_nanos(*delay_ns)).expect("a delay in range"))
        }
        Kind::TorqueLimit { analogue, limit } => Rule::TorqueLimit(
            TorqueLimit::try_new(analogues[*analogue], value(limit)).expect("a limit in range"),
        ),
        Kind::TorqueRange { analogue, low, high } => Rule::TorqueRange(
            TorqueRange::try_new(analogues[*analogue], value(low), value(high)).expect("a range"),
        ),
        Kind::TemperatureLimit { analogue, limit } => {
            Rule::TemperatureLimit(TemperatureLimit::new(analogues[*analogue], value(limit)))
        }
        Kind::TravelLimit { increment } => {
            Rule::TravelLimit(TravelLimit::try_new(position(increment)).expect("an increment in range"))
        }
    }
}

/// The demand on a monitor; `monitors` are those that stand before it.
fn demand(demand: &model::Demand, inputs: &[InputId], monitors: &[MonitorId]) -> Demand {
    let terms = match demand {
        model::Demand::Always => return Demand::Always,
        model::Demand::Reactions => return Demand::Reaction,
        model::Demand::Any(terms) => terms,
    };
    let mut any = Demands::default();
    for term in terms {
        match *term {
            Term::Input(index) => any.inputs = any.inputs.with(inputs[index]),
            Term::NotInput(index) => any.not_inputs = any.not_inputs.with(inputs[index]),
            Term::Output(index) => any.outputs = any.outputs.with(monitors[index]),
            Term::NotOutput(index) => any.not_outputs = any.not_outputs.with(monitors[index]),
        }
    }
    // Inputs alone have a form of their own.
    if (Demands { inputs: InputSet::NONE, ..any }) == Demands::default() {
        return Demand::AnyOf(any.inputs);
    }
    Demand::Any(any)
}

fn referencing(how: &model::Referencing, inputs: &[InputId]) -> Referencing {
    match how {
        model::Referencing::None => Referencing::None,
        model::Referencing::Absolute { offset } => Referencing::Absolute { offset: position(offset) },
        model::Referencing::Event { input, position: place } => {
            Referencing::Event { input: inputs[*input], position: position(place) }
        }
    }
}

fn analogue(analogue: &model::Analogue) -> AnalogueConfig {
    let range = [value(&analogue.low), value(&analogue.high)];
    let timeout = Span::from_nanos(analogue.timeout_ns);
    let discrepancy_time = Span::from_nanos(analogue.discrepancy_time_ns);
    AnalogueConfig::try_new(range, timeout, value(&analogue.tolerance), discrepancy_time)
        .expect("an analogue value in range")
}

/// A setup as the core takes it, with the names it gave.
pub struct Core<const POINTS: usize> {
    /// The setup.
    pub config: AxisConfig<POINTS, 16, 16>,
    /// The inputs in the order of the setup.
    pub inputs: Vec<InputId>,
    /// The analogue values in the order of the setup.
    pub analogues: Vec<AnalogueId>,
    /// The monitors in the order of the setup.
    pub monitors: Vec<MonitorId>,
}

/// The setup as the core takes it.
pub fn core_of<const POINTS: usize>(setup: &model::Setup) -> Core<POINTS> {
    let setup = setup.as_held();
    assert_eq!(setup.points, POINTS, "the axis stores as many points as the model");
    let warm_up = if setup.warm_up_withholds { WarmUp::Withhold } else { WarmUp::Permit };
    let window = Span::from_nanos(setup.window_ns);
    let mut config =
        AxisConfig::try_new(source(&setup.a), source(&setup.b), window, warm_up).expect("a window in range");
    let inputs: Vec<InputId> =
        setup.inputs.iter().map(|one| config.add_input(input(one)).expect("room for inputs")).collect();
    for (channel, how) in Channel::BOTH.into_iter().zip(&setup.referencing) {
        config.set_referencing(channel, referencing(how, &inputs)).expect("an input of this setup");
    }
    let analogues: Vec<AnalogueId> = setup
        .analogues
        .iter()
        .map(|one| config.add_analogue(analogue(one)).expect("room for analogue values"))
        .collect();
    let mut monitors = Vec::new();
    for monitor in &setup.monitors {
        let demand = demand(&monitor.demand, &inputs, &monitors);
        let on_delay = Span::from_nanos(monitor.on_delay_ns);
        let rule = rule(&monitor.kind, &analogues);
        let id = config.add_monitor(rule, demand, on_delay).expect("room for monitors");
        if let Some(distance) = &monitor.allowed_overrun {
            config.set_allowed_overrun(id, position(distance)).expect("an overrun in range");
        }
        monitors.push(id);
    }
    for (monitor, &id) in setup.monitors.iter().zip(&monitors) {
        if let Some(stop) = monitor.reaction {
            config.set_reaction(id, monitors[stop]).expect("a stop that ends in torque-off");
        }
    }
    if let Some(line) = setup.reset_line {
        let filter = Span::from_nanos(setup.reset_filter_ns);
        config.set_reset(InputConfig::single(line, true, filter).expect("a line in range"));
    }
    if let Some(rule) = &setup.discrepancy {
        let skew = Span::from_nanos(rule.skew_allowance_ns);
        let time = Span::from_nanos(rule.discrepancy_time_ns);
        let rule = PositionDiscrepancy::try_new(position(&rule.tolerance), skew, time, rule.align);
        config.set_position_discrepancy(rule.expect("a discrepancy in range"));
    }
    if let Some(rule) = &setup.speed_discrepancy {
        let time = Span::from_nanos(rule.discrepancy_time_ns);
        let rule = SpeedDiscrepancy::try_new(speed(&rule.tolerance), time);
        config.set_speed_discrepancy(rule.expect("a discrepancy in range"));
    }
    Core { config, inputs, analogues, monitors }
}
