//! From a setup to the core's axis and to the layout of its traces.

use monitor_core::{
    Axis, AxisConfig, Demand, InputConfig, InputId, InputSet, Pairing, PositionDiscrepancy, Ramp, Rule,
    Scale, SourceConfig, SpeedDiscrepancy, SpeedLimit, Standstill, Stop, Supervision, Until, WarmUp,
};
use num_traits::ToPrimitive;

use crate::decimal::Unit;
use crate::setup::{
    self, By, ChannelSetup, DemandLevel, HISTORY_POINTS, InputLines, InputSetup, LimitSetup, MAX_INPUTS,
    MAX_MONITORS, MonitorKind, RampSetup, Setup, Source, StandstillSetup,
};
use crate::trace::{Layout, LevelColumn, SourceColumns, SourceKind, TimeColumn, TimeUnit};

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
    for monitor in &setup.monitors {
        if monitor.allowed_overrun.is_some() {
            return Err(not_evaluated(&monitor.name));
        }
        let demand = if monitor.demand.is_empty() {
            Demand::Always
        } else {
            Demand::AnyOf(monitor.demand.iter().fold(InputSet::NONE, |set, &input| set.with(ids[input])))
        };
        config
            .add_monitor(rule(&monitor.kind, &monitor.name)?, demand, monitor.on_delay.value)
            .map_err(|why| refused(&monitor.name, why))?;
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

fn not_evaluated(name: &str) -> Refused {
    refused(name, "not yet evaluated by this version")
}

fn rule(kind: &MonitorKind, name: &str) -> Result<Rule, Refused> {
    Ok(match kind {
        MonitorKind::TorqueOff => Rule::TorqueOff,
        MonitorKind::Standstill(windows) => Rule::Standstill(standstill(windows, name)?),
        MonitorKind::SpeedLimit { limit: LimitSetup::Both(limit), ramp } => {
            let ramp = ramp.as_ref().map(|ramp| self::ramp(ramp, name)).transpose()?;
            Rule::SpeedLimit(accepted(SpeedLimit::try_new(limit.value, ramp), name)?)
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
                By::Deceleration { .. } => return Err(not_evaluated(name)),
                By::Time { within } => Supervision::Time { within: within.value },
            };
            Rule::Stop(accepted(Stop::try_new(supervision, until), name)?)
        }
        MonitorKind::SpeedLimit { limit: LimitSetup::Each { .. }, .. }
        | MonitorKind::SpeedRange(_)
        | MonitorKind::Direction { .. }
        | MonitorKind::AccelerationLimit { .. }
        | MonitorKind::AccelerationRange(_)
        | MonitorKind::TravelLimit { .. } => return Err(not_evaluated(name)),
    })
}

fn standstill(windows: &StandstillSetup, name: &str) -> Result<Standstill, Refused> {
    accepted(Standstill::try_new(windows.position_window.value, windows.speed_window.value), name)
}

fn ramp(ramp: &RampSetup, name: &str) -> Result<Ramp, Refused> {
    if ramp.jerk.is_some() {
        return Err(not_evaluated(name));
    }
    accepted(Ramp::try_new(ramp.delay.value, ramp.deceleration.value, ramp.margin.value), name)
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
        levels: levels.map(|(name, line)| LevelColumn { name: name.clone(), line }).collect(),
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
