//! From a setup to the core's axis and to the layout of its traces.

use monitor_core::{
    AccelerationLimit, AccelerationRange, Allowed, AnalogueConfig, AnalogueId, Axis, AxisConfig, BrakeOutput,
    Braking, CamOutput, Channel, Demand, Demands, Direction, InputConfig, InputId, MonitorId, Pairing,
    PositionDiscrepancy, PositionRange, Ramp, Referencing, Rule, Scale, SourceConfig, SpeedDiscrepancy,
    SpeedLimit, SpeedOutput, SpeedRange, Standstill, Stop, Supervision, TemperatureLimit, TorqueLimit,
    TorqueRange, TravelLimit, Until, WarmUp,
};
use num_traits::ToPrimitive;

use crate::decimal::Unit;
use crate::setup::{
    self, AnalogueSetup, BrakingSetup, By, ChannelSetup, DemandLevel, DemandSource, HISTORY_POINTS,
    InputLines, InputSetup, LimitSetup, MAX_INPUTS, MAX_MONITORS, MonitorKind, MonitorSetup, RampSetup,
    RangeSetup, ReferenceSetup, Setup, Source, StandstillSetup,
};
use crate::trace::{AnalogueColumns, Layout, LevelColumn, SourceColumns, SourceKind, TimeColumn, TimeUnit};

/// The axis that the program replays traces through.
pub type ReplayAxis = Axis<HISTORY_POINTS, MAX_MONITORS, MAX_INPUTS>;

/// A setup that its own checks let through and the core refuses: an error of this program.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "the core refuses this setup ({what}: {why}); this is an error of the program, please report it with the setup"
)]
pub struct Refused {
    what: String,
    why: String,
}

fn refused(what: &str, why: impl ToString) -> Refused {
    Refused { what: what.to_owned(), why: why.to_string() }
}

/// A value that the core's constructor refused without saying more than that.
fn accepted<T>(value: Option<T>, what: &str) -> Result<T, Refused> {
    value.ok_or_else(|| refused(what, "a value outside its range"))
}

/// The axis that a setup describes, before its first frame.
///
/// # Errors
///
/// [`Refused`] when the core does not accept what the setup's own checks did.
pub fn axis(setup: &Setup) -> Result<ReplayAxis, Refused> {
    config(setup).map(Axis::new)
}

/// As [`axis`], with the outcomes of a target that stores `points` readings per channel (odd, 3 to [`HISTORY_POINTS`]).
///
/// # Errors
///
/// As there.
pub fn axis_of_points(setup: &Setup, points: u16) -> Result<ReplayAxis, Refused> {
    let mut config = config(setup)?;
    config.act_as(points.into()).map_err(|why| refused("points", why))?;
    Ok(Axis::new(config))
}

/// The axis that a setup describes, with as much room as is asked for. The number of stored readings bounds how far the effective window
/// may exceed the set one: another number may trip at another frame.
///
/// # Errors
///
/// [`Refused`] when the core does not accept what the setup's own checks did, or there is not enough room.
pub fn config<const POINTS: usize, const MONITORS: usize, const INPUTS: usize>(
    setup: &Setup,
) -> Result<AxisConfig<POINTS, MONITORS, INPUTS>, Refused> {
    let warm_up = match setup.speed.warm_up {
        setup::WarmUp::Withhold => WarmUp::Withhold,
        setup::WarmUp::Permit => WarmUp::Permit,
    };
    let (a, b) = (source(&setup.a, "channel.a")?, source(&setup.b, "channel.b")?);
    let mut config = AxisConfig::try_new(a, b, setup.speed.window.value, warm_up)
        .map_err(|why| refused("speed.window", why))?;
    let mut ids: Vec<InputId> = Vec::new();
    for input in &setup.inputs {
        let line = input_config(input)?;
        ids.push(config.add_input(line).map_err(|why| refused(&input.name, why))?);
    }
    if let Some(reset) = &setup.reset {
        let input = InputConfig::single(reset.line, true, reset.filter.value);
        config.set_reset(input.map_err(|why| refused("reset", why))?);
    }
    for channel in Channel::BOTH {
        let how = referencing(setup, channel, &ids)?;
        config.set_referencing(channel, how).map_err(|why| refused("reference", why))?;
    }
    let mut analogues: Vec<AnalogueId> = Vec::new();
    for analogue in &setup.analogues {
        let id = config.add_analogue(analogue_config(analogue)?);
        analogues.push(id.map_err(|why| refused(&analogue.name, why))?);
    }
    let mut added: Vec<MonitorId> = Vec::new();
    for monitor in &setup.monitors {
        let demand = demand(monitor, &ids, &added)?;
        let id = config
            .add_monitor(rule(&monitor.kind, &monitor.name, &analogues)?, demand, monitor.on_delay.value)
            .map_err(|why| refused(&monitor.name, why))?;
        added.push(id);
        if let Some(overrun) = &monitor.allowed_overrun {
            config.set_allowed_overrun(id, overrun.value).map_err(|why| refused(&monitor.name, why))?;
        }
    }
    for (monitor, &id) in setup.monitors.iter().zip(&added) {
        if let Some(stop) = monitor.reaction {
            config.set_reaction(id, named(&added, stop)?).map_err(|why| refused(&monitor.name, why))?;
        }
    }
    if let Some(rule) = &setup.discrepancy {
        let rule = PositionDiscrepancy::try_new(
            rule.tolerance.value,
            rule.skew_allowance.value,
            rule.discrepancy_time.value,
            rule.align,
        );
        config.set_position_discrepancy(accepted(rule, "discrepancy")?);
    }
    if let Some(rule) = &setup.speed_discrepancy {
        let rule = SpeedDiscrepancy::try_new(rule.tolerance.value, rule.discrepancy_time.value);
        config.set_speed_discrepancy(accepted(rule, "speed_discrepancy")?);
    }
    Ok(config)
}

/// What a setup points to by its place.
fn named<T: Copy>(added: &[T], place: usize) -> Result<T, Refused> {
    accepted(added.get(place).copied(), "what is named by its place")
}

fn referencing(setup: &Setup, channel: Channel, inputs: &[InputId]) -> Result<Referencing, Refused> {
    Ok(match (&setup.channel(channel).reference, &setup.reference) {
        (ReferenceSetup::None, _) => Referencing::None,
        (ReferenceSetup::Absolute { offset }, _) => Referencing::Absolute { offset: offset.value },
        (ReferenceSetup::Event, Some(event)) => {
            Referencing::Event { input: named(inputs, event.input)?, position: event.position.value }
        }
        (ReferenceSetup::Event, None) => return Err(refused("reference", "no event")),
    })
}

fn demand(monitor: &MonitorSetup, inputs: &[InputId], added: &[MonitorId]) -> Result<Demand, Refused> {
    if monitor.is_always_active() {
        return Ok(Demand::Always);
    }
    if monitor.by_reactions_only {
        return Ok(Demand::Reaction);
    }
    let mut any = Demands::default();
    for demand in &monitor.demand {
        match demand.source {
            DemandSource::Input(input) => {
                let set = if demand.inverted { &mut any.not_inputs } else { &mut any.inputs };
                *set = set.with(named(inputs, input)?);
            }
            DemandSource::Output(output) => {
                let set = if demand.inverted { &mut any.not_outputs } else { &mut any.outputs };
                *set = set.with(named(added, output)?);
            }
        }
    }
    let of_inputs = Demands { inputs: any.inputs, ..Demands::default() };
    Ok(if any == of_inputs { Demand::AnyOf(any.inputs) } else { Demand::Any(any) })
}

fn source(channel: &ChannelSetup, what: &str) -> Result<SourceConfig, Refused> {
    let (bits, scale) = match &channel.source {
        Source::Counter { bits, unit_per_count } => {
            let scale = Scale::from_nano_ulps(unit_per_count.value).map_err(|why| refused(what, why))?;
            (u32::from(*bits), scale)
        }
        Source::Position { .. } => (64, Scale::ULP),
    };
    SourceConfig::try_new(bits, scale, channel.max_speed.value, channel.timeout.value)
        .map_err(|why| refused(what, why))
}

fn input_config(input: &InputSetup) -> Result<InputConfig, Refused> {
    let high = input.demand == DemandLevel::High;
    let config = match &input.lines {
        InputLines::Single(line) => InputConfig::single(*line, high, input.filter.value),
        InputLines::Dual { first, second, dual } => InputConfig::dual(
            [*first, *second],
            match dual.pairing {
                setup::Pairing::Equivalent => Pairing::Equivalent,
                setup::Pairing::Antivalent => Pairing::Antivalent,
            },
            high,
            input.filter.value,
            dual.discrepancy_time.value,
            match dual.one_sided {
                setup::OneSided::Fault => monitor_core::OneSided::Fault,
                setup::OneSided::Ignore => monitor_core::OneSided::Ignore,
            },
        ),
    };
    config.map_err(|why| refused(&input.name, why))
}

fn analogue_config(analogue: &AnalogueSetup) -> Result<AnalogueConfig, Refused> {
    let RangeSetup { low, high } = &analogue.plausible;
    AnalogueConfig::try_new(
        [low.value, high.value],
        analogue.timeout.value,
        analogue.tolerance.value,
        analogue.discrepancy_time.value,
    )
    .map_err(|why| refused(&analogue.name, why))
}

/// The analogue value at a place in the setup, which is that in the axis.
pub(crate) fn analogue_id(place: usize) -> Option<AnalogueId> {
    u8::try_from(place).ok().and_then(AnalogueId::from_index)
}

fn rule(kind: &MonitorKind, name: &str, analogues: &[AnalogueId]) -> Result<Rule, Refused> {
    Ok(match kind {
        MonitorKind::TorqueOff => Rule::TorqueOff,
        MonitorKind::Standstill(windows) => Rule::Standstill(standstill(windows, name)?),
        MonitorKind::SpeedLimit { limit, ramp } => {
            let ramp = ramp.as_ref().map(|ramp| self::ramp(ramp, name)).transpose()?;
            let limit = match limit {
                LimitSetup::Both(limit) => SpeedLimit::try_new(limit.value, ramp),
                LimitSetup::Each { positive, negative } => {
                    SpeedLimit::of_directions(positive.value, negative.value, ramp)
                }
            };
            Rule::SpeedLimit(accepted(limit, name)?)
        }
        MonitorKind::SpeedRange(range) => {
            Rule::SpeedRange(accepted(SpeedRange::try_new(range.low.value, range.high.value), name)?)
        }
        MonitorKind::Direction { allowed, tolerance } => {
            let allowed = match allowed {
                setup::Allowed::Positive => Allowed::Positive,
                setup::Allowed::Negative => Allowed::Negative,
            };
            Rule::Direction(accepted(Direction::try_new(allowed, tolerance.value), name)?)
        }
        MonitorKind::AccelerationLimit { limit } => {
            Rule::AccelerationLimit(accepted(AccelerationLimit::try_new(limit.value), name)?)
        }
        MonitorKind::AccelerationRange(range) => {
            let range = AccelerationRange::try_new(range.low.value, range.high.value);
            Rule::AccelerationRange(accepted(range, name)?)
        }
        MonitorKind::TravelLimit { increment } => {
            Rule::TravelLimit(accepted(TravelLimit::try_new(increment.value), name)?)
        }
        MonitorKind::PositionRange(range) => {
            Rule::PositionRange(accepted(PositionRange::try_new(range.low.value, range.high.value), name)?)
        }
        MonitorKind::TorqueLimit { of, limit } => {
            Rule::TorqueLimit(accepted(TorqueLimit::try_new(named(analogues, *of)?, limit.value), name)?)
        }
        MonitorKind::TorqueRange { of, range } => {
            let range = TorqueRange::try_new(named(analogues, *of)?, range.low.value, range.high.value);
            Rule::TorqueRange(accepted(range, name)?)
        }
        MonitorKind::TemperatureLimit { of, limit } => {
            Rule::TemperatureLimit(TemperatureLimit::new(named(analogues, *of)?, limit.value))
        }
        MonitorKind::CamOutput { range, hysteresis } => {
            let cam = CamOutput::try_new(range.low.value, range.high.value, hysteresis.value);
            Rule::CamOutput(accepted(cam, name)?)
        }
        MonitorKind::SpeedOutput { threshold, hysteresis } => {
            Rule::SpeedOutput(accepted(SpeedOutput::try_new(threshold.value, hysteresis.value), name)?)
        }
        MonitorKind::BrakeOutput { delay } => {
            Rule::BrakeOutput(accepted(BrakeOutput::try_new(delay.value), name)?)
        }
        MonitorKind::Stop { until, by } => {
            let until = match until {
                setup::Until::TorqueOff => Until::TorqueOff,
                setup::Until::Standstill(windows) => Until::Standstill(standstill(windows, name)?),
            };
            let supervision = match by {
                By::Ramp { ramp, standstill_speed, within } => Supervision::Ramp {
                    ramp: self::ramp(ramp, name)?,
                    standstill_speed: standstill_speed.value,
                    within: within.as_ref().map(|within| within.value),
                },
                By::Deceleration { braking, standstill_speed, within } => Supervision::Deceleration {
                    braking: self::braking(braking, name)?,
                    standstill_speed: standstill_speed.value,
                    within: within.as_ref().map(|within| within.value),
                },
                By::Time { within } => Supervision::Time { within: within.value },
            };
            Rule::Stop(accepted(Stop::try_new(supervision, until), name)?)
        }
    })
}

fn standstill(windows: &StandstillSetup, name: &str) -> Result<Standstill, Refused> {
    accepted(Standstill::try_new(windows.position_window.value, windows.speed_window.value), name)
}

fn ramp(ramp: &RampSetup, name: &str) -> Result<Ramp, Refused> {
    let straight = Ramp::try_new(ramp.delay.value, ramp.deceleration.value, ramp.margin.value);
    let ramp = match &ramp.jerk {
        Some(jerk) => straight.and_then(|straight| straight.with_jerk(jerk.value)),
        None => straight,
    };
    accepted(ramp, name)
}

fn braking(braking: &BrakingSetup, name: &str) -> Result<Braking, Refused> {
    let held = Braking::try_new(braking.delay.value, braking.deceleration.value, braking.margin.value);
    accepted(held, name)
}

/// Which columns of a trace a setup reads, and how.
///
/// # Errors
///
/// [`Refused`] for a unit of time that a trace cannot be in.
pub fn layout(setup: &Setup) -> Result<Layout, Refused> {
    let levels = setup.levels.iter().zip(0..);
    Ok(Layout {
        time: TimeColumn { name: setup.time.column.clone(), unit: time_unit(&setup.time.unit)? },
        a: columns(&setup.a)?,
        b: columns(&setup.b)?,
        levels: levels
            .map(|(name, line)| LevelColumn {
                name: name.clone(),
                line,
                asked_by: asked_by(setup, name, line),
            })
            .collect(),
        analogues: (setup.analogues.iter())
            .map(|analogue| AnalogueColumns {
                name: analogue.name.clone(),
                columns: analogue.columns.clone(),
                valid: analogue.valid_columns.clone(),
                unit: analogue.unit.symbol().to_owned(),
                latency: analogue.latency.value,
                sparse: analogue.sparse,
            })
            .collect(),
    })
}

/// What in the setup asks for a level: the section of an input, or where it is a demand by itself, the first monitor that it is one of.
fn asked_by(setup: &Setup, name: &str, line: u8) -> Option<String> {
    if setup.reset.as_ref().is_some_and(|reset| reset.line == line) {
        return Some("`[reset]`".to_owned());
    }
    let has_line = |input: &InputSetup| match &input.lines {
        InputLines::Single(single) => *single == line,
        InputLines::Dual { first, second, .. } => [first, second].contains(&&line),
    };
    let (index, input) = setup.inputs.iter().enumerate().find(|(_, input)| has_line(input))?;
    let is_demanded = |monitor: &&MonitorSetup| {
        monitor.demand.iter().any(|demand| demand.source == DemandSource::Input(index))
    };
    let by_itself = || setup.monitors.iter().find(is_demanded).filter(|_| input.name == name);
    Some(match by_itself() {
        Some(monitor) => {
            format!("the demand of monitor \"{}\" on line {} of the setup", monitor.name, monitor.line)
        }
        None => format!("`[input.{}]`", input.name),
    })
}

fn columns(channel: &ChannelSetup) -> Result<SourceColumns, Refused> {
    let capture = |column: &setup::TimeColumn| {
        Ok(TimeColumn { name: column.column.clone(), unit: time_unit(&column.unit)? })
    };
    Ok(SourceColumns {
        column: channel.column.clone(),
        kind: match &channel.source {
            Source::Counter { bits, .. } => SourceKind::Counter { bits: *bits },
            Source::Position { unit } => {
                SourceKind::Position { unit: unit.symbol.to_owned(), scale: unit.in_base }
            }
        },
        latency: channel.latency.value,
        capture: channel.capture.as_ref().map(capture).transpose()?,
        valid: channel.valid_column.clone(),
        sparse: channel.sparse,
    })
}

fn time_unit(unit: &Unit) -> Result<TimeUnit, Refused> {
    match unit.in_base.to_u64() {
        Some(1) => Ok(TimeUnit::Nanos),
        Some(1_000) => Ok(TimeUnit::Micros),
        Some(1_000_000) => Ok(TimeUnit::Millis),
        Some(1_000_000_000) => Ok(TimeUnit::Seconds),
        _ => Err(refused("time", format!("a trace in {}", unit.symbol))),
    }
}
