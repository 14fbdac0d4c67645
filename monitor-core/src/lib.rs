#![doc = include_str!("../README.md")]
#![no_std]
#![cfg_attr(
    not(test),
    deny(
        clippy::arithmetic_side_effects,
        clippy::as_conversions,
        clippy::expect_used,
        clippy::float_arithmetic,
        clippy::indexing_slicing,
        clippy::panic,
        clippy::unwrap_used
    )
)]

#[cfg(test)]
extern crate std;

mod activity;
mod analogue;
mod axis;
mod calm;
mod config;
mod demand;
mod discrepancy;
mod frame;
#[cfg(feature = "hal")]
pub mod hal;
mod history;
mod input;
mod listing;
pub mod monitor;
mod names;
mod outcome;
mod run;
mod scale;
pub mod seal;
mod source;
mod state;
mod step;
mod trip;
mod units;
mod wide;
mod widen;

#[doc = include_str!("../RULES.md")]
pub mod rules {}

pub use analogue::{AnalogueConfig, AnalogueError, AnalogueReading};
pub use axis::Axis;
pub use config::{AxisConfig, AxisError, WarmUp};
pub use demand::{Demand, Demands, Referencing};
pub use discrepancy::{Apart, Glimpse, PositionDiscrepancy, SpeedDiscrepancy};
pub use frame::{Channel, Frame, Levels, Reading, Sample};
pub use input::{InputConfig, InputError, Lines, OneSided, Pairing};
pub use listing::MonitorParts;
pub use monitor::{
    AccelerationLimit, AccelerationRange, Allowed, Bound, BrakeOutput, Braking, CamOutput, Check, Direction,
    DirectionState, Monitor, Motion, NoOwn, OutputState, PositionRange, Ramp, RampState, Rule, RuleState,
    Side, SpeedLimit, SpeedOutput, SpeedRange, Standstill, StandstillState, Stop, Supervision,
    TemperatureLimit, TorqueLimit, TorqueRange, TravelLimit, Until,
};
pub use names::{ANALOGUES, AnalogueId, InputId, MonitorId};
pub use outcome::{AnalogueSet, InputSet, MonitorSet, Outcome, PerChannel, Reset};
pub use scale::{CountRate, Scale, ScaleError, WindowAcceleration, WindowSpeed, WindowTravel};
pub use source::{Mark, SourceConfig, SourceError, SourceFault};
pub use state::AxisState;
pub use trip::{Evidence, Trip, Tripped};
pub use units::{Acceleration, FRACTION_BITS, Instant, Jerk, NANOS_PER_SECOND, Position, Span, Speed, Value};
