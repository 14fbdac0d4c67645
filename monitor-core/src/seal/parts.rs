//! The parts of an axis in a row of bytes: raw values, in the order of the constructors' arguments.

use super::SealError;
use super::bytes::{Reader, Writer};
use crate::analogue::AnalogueConfig;
use crate::config::{AxisConfig, WarmUp};
use crate::demand::{Demand, Demands, Referencing};
use crate::discrepancy::{PositionDiscrepancy, SpeedDiscrepancy};
use crate::frame::Channel;
use crate::input::{InputConfig, Lines, OneSided, Pairing};
use crate::monitor::{
    AccelerationLimit, AccelerationRange, Allowed, BrakeOutput, Braking, CamOutput, Direction, Monitor,
    PositionRange, Ramp, Rule, SpeedLimit, SpeedOutput, SpeedRange, Standstill, Stop, Supervision,
    TemperatureLimit, TorqueLimit, TorqueRange, TravelLimit, Until,
};
use crate::names::{AnalogueId, InputId, MonitorId};
use crate::outcome::{InputSet, MonitorSet};
use crate::scale::Scale;
use crate::source::SourceConfig;
use crate::units::{Acceleration, Jerk, Position, Span, Speed, Value};

/// At most 32 monitors and inputs fit in an axis.
pub(super) fn count(of: usize) -> u8 {
    u8::try_from(of).unwrap_or(u8::MAX)
}

/// A part of an axis.
trait Part: Sized {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError>;
    fn read(from: &mut Reader<'_>) -> Result<Self, SealError>;
}

macro_rules! number {
    ($type:ty, $read:ident, $from:path, $to:path) => {
        impl Part for $type {
            fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
                to.put(&$to(*self).to_le_bytes())
            }

            fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
                from.$read().map($from)
            }
        }
    };
}

number!(Span, u64, Span::from_nanos, Span::as_nanos);
number!(Position, i64, Position::from_bits, Position::to_bits);
number!(Speed, i64, Speed::from_bits, Speed::to_bits);
number!(Acceleration, i64, Acceleration::from_bits, Acceleration::to_bits);
number!(Jerk, i64, Jerk::from_bits, Jerk::to_bits);
number!(Value, i64, Value::from_bits, Value::to_bits);
number!(InputSet, u32, InputSet::from_bits, InputSet::to_bits);
number!(MonitorSet, u32, MonitorSet::from_bits, MonitorSet::to_bits);

impl Part for bool {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        to.put(&[u8::from(*self)])
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        from.bool()
    }
}

impl<T: Part> Part for Option<T> {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.is_some().write(to)?;
        self.iter().try_for_each(|value| value.write(to))
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        if bool::read(from)? { T::read(from).map(Some) } else { Ok(None) }
    }
}

impl Part for SourceConfig {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        to.put(&[self.counter_bits()])?;
        self.scale().is_reversed().write(to)?;
        to.put(&self.scale().nano_ulps_per_count().to_le_bytes())?;
        self.max_speed().write(to)?;
        self.timeout().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        let bits = u32::from(from.u8()?);
        let reversed = from.bool()?;
        let scale = Scale::from_nano(from.u64()?, reversed).map_err(SealError::Scale)?;
        let (max_speed, timeout) = (Speed::read(from)?, Span::read(from)?);
        Self::try_new(bits, scale, max_speed, timeout).map_err(SealError::Source)
    }
}

impl Part for InputConfig {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        let (lines, demand_high, filter) = self.parts();
        demand_high.write(to)?;
        filter.write(to)?;
        match lines {
            Lines::Single(line) => to.put(&[0, line]),
            Lines::Dual([first, second], pairing, discrepancy_time, one_sided) => {
                to.put(&[1, first, second])?;
                (pairing == Pairing::Antivalent).write(to)?;
                discrepancy_time.write(to)?;
                (one_sided == OneSided::Ignore).write(to)
            }
        }
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        let (demand_high, filter) = (bool::read(from)?, Span::read(from)?);
        let dual = bool::read(from)?;
        if !dual {
            return Self::single(from.u8()?, demand_high, filter).map_err(SealError::Input);
        }
        let lines = from.take()?;
        let pairing = if bool::read(from)? { Pairing::Antivalent } else { Pairing::Equivalent };
        let discrepancy_time = Span::read(from)?;
        let one_sided = if bool::read(from)? { OneSided::Ignore } else { OneSided::Fault };
        Self::dual(lines, pairing, demand_high, filter, discrepancy_time, one_sided).map_err(SealError::Input)
    }
}

impl Part for Ramp {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.delay().write(to)?;
        self.deceleration().write(to)?;
        self.margin().write(to)?;
        self.jerk().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        let (delay, deceleration, margin) =
            (Span::read(from)?, Acceleration::read(from)?, Speed::read(from)?);
        let ramp = Self::try_new(delay, deceleration, margin);
        let ramp = match Option::read(from)? {
            Some(jerk) => ramp.and_then(|ramp| ramp.with_jerk(jerk)),
            None => ramp,
        };
        ramp.ok_or(SealError::Content)
    }
}

impl Part for Braking {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.delay().write(to)?;
        self.deceleration().write(to)?;
        self.margin().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        let (delay, deceleration, margin) =
            (Span::read(from)?, Acceleration::read(from)?, Acceleration::read(from)?);
        Self::try_new(delay, deceleration, margin).ok_or(SealError::Content)
    }
}

impl Part for Standstill {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.position_window().write(to)?;
        self.speed_window().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        let (position_window, speed_window) = (Position::read(from)?, Speed::read(from)?);
        Self::try_new(position_window, speed_window).ok_or(SealError::Content)
    }
}

impl Part for SpeedLimit {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.positive().write(to)?;
        self.negative().write(to)?;
        self.ramp().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        let (positive, negative, ramp) = (Speed::read(from)?, Speed::read(from)?, Option::read(from)?);
        Self::of_directions(positive, negative, ramp).ok_or(SealError::Content)
    }
}

impl Part for SpeedRange {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.low().write(to)?;
        self.high().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        let (low, high) = (Speed::read(from)?, Speed::read(from)?);
        Self::try_new(low, high).ok_or(SealError::Content)
    }
}

impl Part for Direction {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        (self.allowed() == Allowed::Negative).write(to)?;
        self.tolerance().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        let allowed = if bool::read(from)? { Allowed::Negative } else { Allowed::Positive };
        Self::try_new(allowed, Position::read(from)?).ok_or(SealError::Content)
    }
}

impl Part for AccelerationLimit {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.limit().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        Self::try_new(Acceleration::read(from)?).ok_or(SealError::Content)
    }
}

impl Part for AccelerationRange {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.low().write(to)?;
        self.high().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        let (low, high) = (Acceleration::read(from)?, Acceleration::read(from)?);
        Self::try_new(low, high).ok_or(SealError::Content)
    }
}

impl Part for TravelLimit {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.increment().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        Self::try_new(Position::read(from)?).ok_or(SealError::Content)
    }
}

impl Part for Supervision {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        match self {
            Self::Ramp { ramp, standstill_speed, within } => {
                to.put(&[0])?;
                ramp.write(to)?;
                standstill_speed.write(to)?;
                within.write(to)
            }
            Self::Time { within } => {
                to.put(&[1])?;
                within.write(to)
            }
            Self::Deceleration { braking, standstill_speed, within } => {
                to.put(&[2])?;
                braking.write(to)?;
                standstill_speed.write(to)?;
                within.write(to)
            }
        }
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        Ok(match from.u8()? {
            0 => Self::Ramp {
                ramp: Ramp::read(from)?,
                standstill_speed: Speed::read(from)?,
                within: Option::read(from)?,
            },
            1 => Self::Time { within: Span::read(from)? },
            2 => Self::Deceleration {
                braking: Braking::read(from)?,
                standstill_speed: Speed::read(from)?,
                within: Option::read(from)?,
            },
            _ => return Err(SealError::Content),
        })
    }
}

impl Part for Stop {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.supervision().write(to)?;
        match self.until() {
            Until::TorqueOff => None::<Standstill>.write(to),
            Until::Standstill(standstill) => Some(*standstill).write(to),
        }
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        let supervision = Supervision::read(from)?;
        let until = Option::read(from)?.map_or(Until::TorqueOff, Until::Standstill);
        Self::try_new(supervision, until).ok_or(SealError::Content)
    }
}

impl Part for PositionRange {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.low().write(to)?;
        self.high().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        Self::try_new(Position::read(from)?, Position::read(from)?).ok_or(SealError::Content)
    }
}

impl Part for CamOutput {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.low().write(to)?;
        self.high().write(to)?;
        self.hysteresis().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        Self::try_new(Position::read(from)?, Position::read(from)?, Position::read(from)?)
            .ok_or(SealError::Content)
    }
}

impl Part for SpeedOutput {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.threshold().write(to)?;
        self.hysteresis().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        Self::try_new(Speed::read(from)?, Speed::read(from)?).ok_or(SealError::Content)
    }
}

impl Part for BrakeOutput {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.delay().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        Self::try_new(Span::read(from)?).ok_or(SealError::Content)
    }
}

impl Part for Referencing {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        match self {
            Self::None => to.put(&[0]),
            Self::Absolute { offset } => {
                to.put(&[1])?;
                offset.write(to)
            }
            Self::Event { input, position } => {
                to.put(&[2, input.index()])?;
                position.write(to)
            }
        }
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        Ok(match from.u8()? {
            0 => Self::None,
            1 => Self::Absolute { offset: Position::read(from)? },
            2 => Self::Event { input: InputId::at(from.u8()?), position: Position::read(from)? },
            _ => return Err(SealError::Content),
        })
    }
}

/// One byte for what is always active or goes by a reaction alone, or four sets.
impl Part for Demand {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        let any = match *self {
            Self::Always => return to.put(&[0]),
            Self::Reaction => return to.put(&[2]),
            Self::AnyOf(inputs) => Demands { inputs, ..Demands::default() },
            Self::Any(any) => any,
        };
        to.put(&[1])?;
        any.inputs.write(to)?;
        any.not_inputs.write(to)?;
        any.outputs.write(to)?;
        any.not_outputs.write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        match from.u8()? {
            0 => return Ok(Self::Always),
            1 => {}
            2 => return Ok(Self::Reaction),
            _ => return Err(SealError::Content),
        }
        let (inputs, not_inputs) = (InputSet::read(from)?, InputSet::read(from)?);
        let (outputs, not_outputs) = (MonitorSet::read(from)?, MonitorSet::read(from)?);
        let any = Demands { inputs, not_inputs, outputs, not_outputs };
        let of_inputs = Demands { inputs, ..Demands::default() };
        Ok(if any == of_inputs { Self::AnyOf(inputs) } else { Self::Any(any) })
    }
}

impl Part for MonitorId {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        to.put(&[self.index()])
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        from.u8().map(Self::at)
    }
}

impl Part for AnalogueId {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        to.put(&[self.index()])
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        from.u8().map(Self::at)
    }
}

impl Part for AnalogueConfig {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        let [low, high] = self.range();
        low.write(to)?;
        high.write(to)?;
        self.timeout().write(to)?;
        self.tolerance().write(to)?;
        self.discrepancy_time().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        let range = [Value::read(from)?, Value::read(from)?];
        let (timeout, tolerance) = (Span::read(from)?, Value::read(from)?);
        Self::try_new(range, timeout, tolerance, Span::read(from)?).map_err(|_| SealError::Content)
    }
}

impl Part for TorqueLimit {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.of().write(to)?;
        self.limit().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        Self::try_new(AnalogueId::read(from)?, Value::read(from)?).ok_or(SealError::Content)
    }
}

impl Part for TorqueRange {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.of().write(to)?;
        self.low().write(to)?;
        self.high().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        let of = AnalogueId::read(from)?;
        Self::try_new(of, Value::read(from)?, Value::read(from)?).ok_or(SealError::Content)
    }
}

impl Part for TemperatureLimit {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.of().write(to)?;
        self.limit().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        Ok(Self::new(AnalogueId::read(from)?, Value::read(from)?))
    }
}

fn write_rule<Own>(rule: &Rule<Own>, to: &mut Writer<'_>) -> Result<(), SealError> {
    match rule {
        Rule::TorqueOff => to.put(&[0]),
        Rule::Standstill(rule) => {
            to.put(&[1])?;
            rule.write(to)
        }
        Rule::SpeedLimit(rule) => {
            to.put(&[2])?;
            rule.write(to)
        }
        Rule::Stop(rule) => {
            to.put(&[3])?;
            rule.write(to)
        }
        Rule::SpeedRange(rule) => {
            to.put(&[4])?;
            rule.write(to)
        }
        Rule::Direction(rule) => {
            to.put(&[5])?;
            rule.write(to)
        }
        Rule::AccelerationLimit(rule) => {
            to.put(&[6])?;
            rule.write(to)
        }
        Rule::AccelerationRange(rule) => {
            to.put(&[7])?;
            rule.write(to)
        }
        Rule::TravelLimit(rule) => {
            to.put(&[8])?;
            rule.write(to)
        }
        Rule::PositionRange(rule) => {
            to.put(&[9])?;
            rule.write(to)
        }
        Rule::CamOutput(rule) => {
            to.put(&[10])?;
            rule.write(to)
        }
        Rule::SpeedOutput(rule) => {
            to.put(&[11])?;
            rule.write(to)
        }
        Rule::BrakeOutput(rule) => {
            to.put(&[12])?;
            rule.write(to)
        }
        Rule::TorqueLimit(rule) => {
            to.put(&[13])?;
            rule.write(to)
        }
        Rule::TorqueRange(rule) => {
            to.put(&[14])?;
            rule.write(to)
        }
        Rule::TemperatureLimit(rule) => {
            to.put(&[15])?;
            rule.write(to)
        }
        Rule::Own(_) => Err(SealError::OwnMonitor),
    }
}

fn read_rule<Own>(from: &mut Reader<'_>) -> Result<Rule<Own>, SealError> {
    Ok(match from.u8()? {
        0 => Rule::TorqueOff,
        1 => Rule::Standstill(Standstill::read(from)?),
        2 => Rule::SpeedLimit(SpeedLimit::read(from)?),
        3 => Rule::Stop(Stop::read(from)?),
        4 => Rule::SpeedRange(SpeedRange::read(from)?),
        5 => Rule::Direction(Direction::read(from)?),
        6 => Rule::AccelerationLimit(AccelerationLimit::read(from)?),
        7 => Rule::AccelerationRange(AccelerationRange::read(from)?),
        8 => Rule::TravelLimit(TravelLimit::read(from)?),
        9 => Rule::PositionRange(PositionRange::read(from)?),
        10 => Rule::CamOutput(CamOutput::read(from)?),
        11 => Rule::SpeedOutput(SpeedOutput::read(from)?),
        12 => Rule::BrakeOutput(BrakeOutput::read(from)?),
        13 => Rule::TorqueLimit(TorqueLimit::read(from)?),
        14 => Rule::TorqueRange(TorqueRange::read(from)?),
        15 => Rule::TemperatureLimit(TemperatureLimit::read(from)?),
        _ => return Err(SealError::Content),
    })
}

impl Part for PositionDiscrepancy {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.tolerance().write(to)?;
        self.skew_allowance().write(to)?;
        self.discrepancy_time().write(to)?;
        self.is_aligned().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        let (tolerance, skew) = (Position::read(from)?, Span::read(from)?);
        let (time, align) = (Span::read(from)?, bool::read(from)?);
        Self::try_new(tolerance, skew, time, align).ok_or(SealError::Content)
    }
}

impl Part for SpeedDiscrepancy {
    fn write(&self, to: &mut Writer<'_>) -> Result<(), SealError> {
        self.tolerance().write(to)?;
        self.discrepancy_time().write(to)
    }

    fn read(from: &mut Reader<'_>) -> Result<Self, SealError> {
        let (tolerance, time) = (Speed::read(from)?, Span::read(from)?);
        Self::try_new(tolerance, time).ok_or(SealError::Content)
    }
}

pub(super) fn write_axis<const POINTS: usize, const MONITORS: usize, const INPUTS: usize, Own: Monitor>(
    to: &mut Writer<'_>,
    axis: &AxisConfig<POINTS, MONITORS, INPUTS, Own>,
) -> Result<(), SealError> {
    axis.sources.a.write(to)?;
    axis.sources.b.write(to)?;
    axis.window().write(to)?;
    (axis.warm_up == WarmUp::Permit).write(to)?;
    axis.inputs.iter().try_for_each(|input| input.write(to))?;
    axis.reset.write(to)?;
    to.put(&[count(axis.analogues.len())])?;
    axis.analogues.iter().try_for_each(|analogue| analogue.write(to))?;
    axis.referencing.a.write(to)?;
    axis.referencing.b.write(to)?;
    for monitor in &axis.monitors {
        monitor.demand.write(to)?;
        monitor.tolerated.on_delay.write(to)?;
        monitor.tolerated.overrun.write(to)?;
        write_rule(&monitor.rule, to)?;
    }
    axis.monitors.iter().try_for_each(|monitor| monitor.reaction.write(to))?;
    axis.position_discrepancy.write(to)?;
    axis.speed_discrepancy.write(to)
}

/// The axis without inputs and rules.
#[inline(always)]
pub(super) fn begin_axis<const POINTS: usize, const MONITORS: usize, const INPUTS: usize>(
    from: &mut Reader<'_>,
) -> Result<AxisConfig<POINTS, MONITORS, INPUTS>, SealError> {
    let (a, b) = (SourceConfig::read(from)?, SourceConfig::read(from)?);
    let window = Span::read(from)?;
    let warm_up = if bool::read(from)? { WarmUp::Permit } else { WarmUp::Withhold };
    AxisConfig::try_new(a, b, window, warm_up).map_err(SealError::Axis)
}

/// The rest of it. On its own and in place, so that its working storage is not there while the axis is handed on: some targets have little.
#[inline(never)]
pub(super) fn fill_axis<const POINTS: usize, const MONITORS: usize, const INPUTS: usize>(
    axis: &mut AxisConfig<POINTS, MONITORS, INPUTS>,
    from: &mut Reader<'_>,
    monitors: u8,
    inputs: u8,
) -> Result<(), SealError> {
    for _ in 0..inputs {
        axis.add_input(InputConfig::read(from)?).map_err(SealError::Axis)?;
    }
    if let Some(reset) = Option::read(from)? {
        axis.set_reset(reset);
    }
    for _ in 0..from.u8()? {
        axis.add_analogue(AnalogueConfig::read(from)?).map_err(SealError::Axis)?;
    }
    for channel in Channel::BOTH {
        axis.set_referencing(channel, Referencing::read(from)?).map_err(SealError::Axis)?;
    }
    for _ in 0..monitors {
        let demand = Demand::read(from)?;
        let on_delay = Span::read(from)?;
        let overrun = Option::read(from)?;
        let id = axis.add_monitor(read_rule(from)?, demand, on_delay).map_err(SealError::Axis)?;
        if let Some(overrun) = overrun {
            axis.set_allowed_overrun(id, overrun).map_err(SealError::Axis)?;
        }
    }
    for monitor in (0..32).map(MonitorId::at).take(monitors.into()) {
        if let Some(stop) = Option::read(from)? {
            axis.set_reaction(monitor, stop).map_err(SealError::Axis)?;
        }
    }
    if let Some(rule) = Option::read(from)? {
        axis.set_position_discrepancy(rule);
    }
    if let Some(rule) = Option::read(from)? {
        axis.set_speed_discrepancy(rule);
    }
    Ok(())
}
