//! What can be asked of an axis between two frames.

use monitor_core::{AnalogueId, Channel, InputId, MonitorId, Tripped};

use crate::capacity::cw_axis;
use crate::checked;
use crate::frame::channel as channel_of;
use crate::slot::{Claim, Config, Facts, Slot, State};
use crate::status::{
    CW_OK, CW_STATUS_NO_ANALOGUE, CW_STATUS_NO_INPUT, CW_STATUS_NO_MONITOR, CW_STATUS_NO_RULE,
    CW_STATUS_NO_TRIP, CW_STATUS_OVERLAP, CW_STATUS_UNKNOWN, cw_status,
};
use crate::trip::{
    CW_RULE_ANALOGUE_DISCREPANCY, CW_RULE_MONITOR, CW_RULE_POSITION_DISCREPANCY, CW_RULE_SPEED_DISCREPANCY,
    CW_UNKNOWN, cw_trip,
};

/// What an axis was loaded from.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct cw_info {
    /// CRC-32/ISO-HDLC of the image: what a person who released it wrote down.
    pub image_checksum: u32,
    /// Checksum of the setup that the image was sealed from, as whoever sealed it reckons it.
    pub setup_checksum: u32,
    /// How many monitors it has.
    pub monitors: u32,
    /// How many inputs it has, the reset aside.
    pub inputs: u32,
    /// How many analogue values it has.
    pub analogues: u32,
}

/// Asks the axis, and writes the answer, or what stands for none.
///
/// # Safety
///
/// `axis` is null or the axis of a load, `answer` is null or has room.
unsafe fn ask<T: Copy>(
    axis: *const cw_axis,
    answer: *mut T,
    none: T,
    question: impl FnOnce(&Config, &State, Facts) -> Result<T, cw_status>,
) -> cw_status {
    let of_answer = (answer.addr(), size_of::<T>());
    if !axis.is_null() && checked::overlap((axis.addr(), size_of::<Slot>()), of_answer) {
        return CW_STATUS_OVERLAP;
    }
    // SAFETY: as the caller says.
    if let Err(status) = unsafe { checked::write(answer, none) } {
        return status;
    }
    // SAFETY: as the caller says.
    let told = unsafe { Claim::of(axis) }.and_then(|mut claim| {
        let (config, state, facts) = claim.parts();
        question(config, state, facts)
    });
    match told {
        Ok(told) => {
            // SAFETY: as the caller says.
            let _ = unsafe { checked::write(answer, told) };
            CW_OK
        }
        Err(status) => status,
    }
}

/// A place in the order of the setup, if it is one of so many.
fn index(place: u32, of: u8) -> Option<u8> {
    u8::try_from(place).ok().filter(|index| *index < of)
}

fn monitor(place: u32, facts: Facts) -> Result<MonitorId, cw_status> {
    index(place, facts.monitors).and_then(MonitorId::from_index).ok_or(CW_STATUS_NO_MONITOR)
}

fn input(place: u32, facts: Facts) -> Result<InputId, cw_status> {
    index(place, facts.inputs).and_then(InputId::from_index).ok_or(CW_STATUS_NO_INPUT)
}

pub(crate) fn analogue(place: u32, facts: Facts) -> Result<AnalogueId, cw_status> {
    index(place, facts.analogues).and_then(AnalogueId::from_index).ok_or(CW_STATUS_NO_ANALOGUE)
}

fn rule(rule: u32, place: u32, channel: u32, facts: Facts) -> Result<Tripped, cw_status> {
    match rule {
        CW_RULE_MONITOR => Ok(Tripped::Monitor(monitor(place, facts)?, channel_of(channel)?)),
        CW_RULE_POSITION_DISCREPANCY => Ok(Tripped::PositionDiscrepancy),
        CW_RULE_SPEED_DISCREPANCY => Ok(Tripped::SpeedDiscrepancy),
        CW_RULE_ANALOGUE_DISCREPANCY => Ok(Tripped::AnalogueDiscrepancy(analogue(place, facts)?)),
        _ => Err(CW_STATUS_NO_RULE),
    }
}

/// What the axis was loaded from, into `*info`; all zeros on a refusal.
///
/// Refused, like all that follow: CW_STATUS_NULL, CW_STATUS_ALIGNMENT, CW_STATUS_NOT_LOADED, CW_STATUS_MOVED,
/// CW_STATUS_OVERWRITTEN, CW_STATUS_BUSY; CW_STATUS_OVERLAP when the answer would lie in the axis, where it is not written.
#[unsafe(no_mangle)]
#[must_use]
pub unsafe extern "C" fn cw_axis_info(axis: *const cw_axis, info: *mut cw_info) -> cw_status {
    let none = cw_info { image_checksum: 0, setup_checksum: 0, monitors: 0, inputs: 0, analogues: 0 };
    let told = |_: &Config, _: &State, facts: Facts| {
        Ok(cw_info {
            image_checksum: facts.image_checksum,
            setup_checksum: facts.setup_checksum,
            monitors: facts.monitors.into(),
            inputs: facts.inputs.into(),
            analogues: facts.analogues.into(),
        })
    };
    // SAFETY: the caller says that each is null or what its type says.
    unsafe { ask(axis, info, none, told) }
}

/// The latched trip of one rule, into `*trip`. `rule` is a CW_RULE_ value; `monitor`, its place in the order of the setup from 0,
/// and `channel`, a CW_CHANNEL_ value, are looked at with CW_RULE_MONITOR only.
///
/// Refused also: CW_STATUS_NO_RULE, CW_STATUS_NO_MONITOR, CW_STATUS_NO_CHANNEL, CW_STATUS_NO_TRIP. `*trip` then has CW_UNKNOWN
/// as `observed`, `limit` and `excess`.
#[unsafe(no_mangle)]
#[must_use]
pub unsafe extern "C" fn cw_axis_trip(
    axis: *const cw_axis,
    rule: u32,
    monitor: u32,
    channel: u32,
    trip: *mut cw_trip,
) -> cw_status {
    let told = |_: &Config, state: &State, facts: Facts| {
        let rule = self::rule(rule, monitor, channel, facts)?;
        state.trip(rule).map(cw_trip::from).ok_or(CW_STATUS_NO_TRIP)
    };
    // SAFETY: the caller says that each is null or what its type says.
    unsafe { ask(axis, trip, cw_trip::NONE, told) }
}

/// A latched trip by its place among all latched ones from 0, into `*trip`: monitors in the order of the setup, channel A first,
/// then the discrepancies. Ask from 0 on until CW_STATUS_NO_TRIP to get all of them.
///
/// Refused also: CW_STATUS_NO_TRIP when there are not so many. `*trip` then has CW_UNKNOWN as `observed`, `limit` and `excess`.
#[unsafe(no_mangle)]
#[must_use]
pub unsafe extern "C" fn cw_axis_trip_at(axis: *const cw_axis, place: u32, trip: *mut cw_trip) -> cw_status {
    let told = |_: &Config, state: &State, _: Facts| {
        // One beyond the range of a place is beyond all trips too.
        let place = usize::try_from(place).unwrap_or(usize::MAX);
        state.trips().nth(place).map(cw_trip::from).ok_or(CW_STATUS_NO_TRIP)
    };
    // SAFETY: the caller says that each is null or what its type says.
    unsafe { ask(axis, trip, cw_trip::NONE, told) }
}

fn position(config: &Config, state: &State, channel: Channel) -> Option<i64> {
    let here = state.glimpse(channel)?;
    config.source(channel).scale().travel(here.mark.count()).map(monitor_core::Position::to_bits)
}

/// The position of a channel at the last frame, into `*position`, in 2^-24 of the axis unit: its count from the first reading on, times
/// the distance per count, rounded to nearest, ties away from zero. `channel` is a CW_CHANNEL_ value.
///
/// Refused also: CW_STATUS_NO_CHANNEL, CW_STATUS_UNKNOWN. `*position` is then CW_UNKNOWN.
#[unsafe(no_mangle)]
#[must_use]
pub unsafe extern "C" fn cw_axis_position(
    axis: *const cw_axis,
    channel: u32,
    position: *mut i64,
) -> cw_status {
    let told = |config: &Config, state: &State, _: Facts| {
        self::position(config, state, channel_of(channel)?).ok_or(CW_STATUS_UNKNOWN)
    };
    // SAFETY: the caller says that each is null or what its type says.
    unsafe { ask(axis, position, CW_UNKNOWN, told) }
}

/// The windowed speed of a channel at the last frame, into `*speed`, in 2^-24 of the axis unit per second, its magnitude rounded up.
/// `channel` is a CW_CHANNEL_ value. Of some cost: it is worked out when it is asked for.
///
/// Refused also: CW_STATUS_NO_CHANNEL, CW_STATUS_UNKNOWN. `*speed` is then CW_UNKNOWN.
#[unsafe(no_mangle)]
#[must_use]
pub unsafe extern "C" fn cw_axis_speed(axis: *const cw_axis, channel: u32, speed: *mut i64) -> cw_status {
    let told = |config: &Config, state: &State, _: Facts| {
        let speed = config.speed(state, channel_of(channel)?).ok_or(CW_STATUS_UNKNOWN)?;
        Ok(speed.signed().to_bits())
    };
    // SAFETY: the caller says that each is null or what its type says.
    unsafe { ask(axis, speed, CW_UNKNOWN, told) }
}

/// How far the channels were apart at the last frame, into `*distance`, in 2^-24 of the axis unit, 0 or more.
///
/// Refused also: CW_STATUS_UNKNOWN when that was not held against the tolerance: without the rule, while either channel could
/// not be seen, or with nothing to count from. `*distance` is then CW_UNKNOWN.
#[unsafe(no_mangle)]
#[must_use]
pub unsafe extern "C" fn cw_axis_distance(axis: *const cw_axis, distance: *mut i64) -> cw_status {
    let told = |config: &Config, state: &State, _: Facts| {
        config.distance(state).map(monitor_core::Position::to_bits).ok_or(CW_STATUS_UNKNOWN)
    };
    // SAFETY: the caller says that each is null or what its type says.
    unsafe { ask(axis, distance, CW_UNKNOWN, told) }
}

/// Whether a channel fault is latched, into `*faulted`; true on a refusal. `channel` is a CW_CHANNEL_ value.
///
/// Refused also: CW_STATUS_NO_CHANNEL.
#[unsafe(no_mangle)]
#[must_use]
pub unsafe extern "C" fn cw_axis_channel_faulted(
    axis: *const cw_axis,
    channel: u32,
    faulted: *mut bool,
) -> cw_status {
    let told =
        |_: &Config, state: &State, _: Facts| channel_of(channel).map(|of| state.is_channel_faulted(of));
    // SAFETY: the caller says that each is null or what its type says.
    unsafe { ask(axis, faulted, true, told) }
}

/// Whether an input fault is latched, into `*faulted`; true on a refusal. `input` is its place in the order of the setup, from 0.
///
/// Refused also: CW_STATUS_NO_INPUT.
#[unsafe(no_mangle)]
#[must_use]
pub unsafe extern "C" fn cw_axis_input_faulted(
    axis: *const cw_axis,
    input: u32,
    faulted: *mut bool,
) -> cw_status {
    let told =
        |_: &Config, state: &State, facts: Facts| Ok(state.is_input_faulted(self::input(input, facts)?));
    // SAFETY: the caller says that each is null or what its type says.
    unsafe { ask(axis, faulted, true, told) }
}

/// Whether a clock fault is latched, into `*faulted`; true on a refusal.
#[unsafe(no_mangle)]
#[must_use]
pub unsafe extern "C" fn cw_axis_clock_faulted(axis: *const cw_axis, faulted: *mut bool) -> cw_status {
    // SAFETY: the caller says that each is null or what its type says.
    unsafe { ask(axis, faulted, true, |_, state, _| Ok(state.is_clock_faulted())) }
}
