//! Through the functions for C an axis comes to the same as without them, bit for bit.

mod calls;

use calls::{Storage, frame_of, left_over, sealed};
use cowitness_tests::core_of::core_of;
use cowitness_tests::trace::case;
use monitor_core::{
    Axis, Channel, Evidence, InputId, Outcome, PerChannel, Reset, Side, SourceFault, Trip, Tripped,
};
use monitor_core_c::*;

const CHANNELS: [(Channel, u32); 2] = [(Channel::A, CW_CHANNEL_A), (Channel::B, CW_CHANNEL_B)];

type Core = Axis<CW_POINTS, 16, 16>;

/// How often what is compared was met.
#[derive(Debug, Default)]
struct Tally {
    setups: u32,
    frames: u32,
    permits: u32,
    clock_faults: u32,
    faults: u32,
    input_faults: u32,
    monitor_trips: u32,
    discrepancy_trips: u32,
    resets: u32,
    unknown: u32,
}

fn fault(fault: Option<SourceFault>) -> u32 {
    match fault.map(SourceFault::name) {
        None => CW_FAULT_NONE,
        Some("invalid") => CW_FAULT_INVALID,
        Some("out-of-order") => CW_FAULT_OUT_OF_ORDER,
        Some("stale") => CW_FAULT_STALE,
        Some("implausible") => CW_FAULT_IMPLAUSIBLE,
        Some("range") => CW_FAULT_RANGE,
        Some(other) => panic!("a fault without a number: {other}"),
    }
}

fn reset(reset: Option<Reset>) -> u32 {
    let all = [
        (None, CW_RESET_NONE),
        (Some(Reset::Accepted), CW_RESET_ACCEPTED),
        (Some(Reset::ChannelFaulted), CW_RESET_CHANNEL_FAULTED),
        (Some(Reset::WarmingUp), CW_RESET_WARMING_UP),
        (Some(Reset::Violated), CW_RESET_VIOLATED),
        (Some(Reset::InputFaulted), CW_RESET_INPUT_FAULTED),
        (Some(Reset::Unreferenced), CW_RESET_UNREFERENCED),
        (Some(Reset::AnalogueFaulted), CW_RESET_ANALOGUE_FAULTED),
        (Some(Reset::Stopping), CW_RESET_STOPPING),
    ];
    all.iter().find(|(one, _)| *one == reset).expect("a reset with a number").1
}

fn assert_same_outcome(from_c: &cw_outcome, outcome: &Outcome, now: u64, at: &str) {
    let PerChannel { a: violated_a, b: violated_b } = outcome.violated;
    let PerChannel { a: tripped_a, b: tripped_b } = outcome.tripped;
    let expected = cw_outcome {
        now,
        status: CW_OK,
        demanding: outcome.demanding.to_bits(),
        input_faults: outcome.input_faults.to_bits(),
        active: outcome.active.to_bits(),
        outputs: outcome.outputs.to_bits(),
        unreferenced_a: outcome.unreferenced.a.to_bits(),
        unreferenced_b: outcome.unreferenced.b.to_bits(),
        violated_a: violated_a.to_bits(),
        violated_b: violated_b.to_bits(),
        tripped_a: tripped_a.to_bits(),
        tripped_b: tripped_b.to_bits(),
        analogue_faults_a: outcome.analogue_faults.a.to_bits(),
        analogue_faults_b: outcome.analogue_faults.b.to_bits(),
        analogue_tripped: outcome.analogue_tripped.to_bits(),
        fault_a: fault(outcome.faults.a),
        fault_b: fault(outcome.faults.b),
        reset: reset(outcome.reset),
        permit: outcome.permit,
        clock_fault: outcome.clock_fault,
        warming_up: outcome.warming_up,
        position_discrepancy_tripped: outcome.position_discrepancy_tripped,
        speed_discrepancy_tripped: outcome.speed_discrepancy_tripped,
    };
    assert_eq!(format!("{from_c:?}"), format!("{expected:?}"), "{at}");
}

fn trip_of(trip: &Trip) -> cw_trip {
    let (rule, monitor, channel) = match trip.rule {
        Tripped::Monitor(id, channel) => {
            (CW_RULE_MONITOR, id.index().into(), u32::from(channel == Channel::B))
        }
        Tripped::PositionDiscrepancy => (CW_RULE_POSITION_DISCREPANCY, 0, 0),
        Tripped::SpeedDiscrepancy => (CW_RULE_SPEED_DISCREPANCY, 0, 0),
        Tripped::AnalogueDiscrepancy(id) => (CW_RULE_ANALOGUE_DISCREPANCY, id.index().into(), 0),
    };
    let (quantity, side, observed, limit) = match trip.evidence {
        Evidence::Position(bound) => {
            (CW_QUANTITY_POSITION, bound.side, bound.observed.to_bits(), bound.limit.to_bits())
        }
        Evidence::Speed(bound) => {
            (CW_QUANTITY_SPEED, bound.side, bound.observed.to_bits(), bound.limit.to_bits())
        }
        Evidence::Acceleration(bound) => {
            (CW_QUANTITY_ACCELERATION, bound.side, bound.observed.to_bits(), bound.limit.to_bits())
        }
        Evidence::Overrun(bound) => {
            (CW_QUANTITY_OVERRUN, bound.side, bound.observed.to_bits(), bound.limit.to_bits())
        }
        Evidence::Value(bound) => {
            (CW_QUANTITY_VALUE, bound.side, bound.observed.to_bits(), bound.limit.to_bits())
        }
    };
    let is_below = side == Side::Below;
    let (observed_wide, limit_wide) = (i128::from(observed), i128::from(limit));
    let excess = if is_below { limit_wide - observed_wide } else { observed_wide - limit_wide };
    cw_trip {
        demanded_at: trip.demanded_at.as_nanos(),
        violated_since: trip.violated_since.as_nanos(),
        tripped_at: trip.tripped_at.as_nanos(),
        observed,
        limit,
        excess: i64::try_from(excess).unwrap_or(i64::MAX),
        quantity,
        side: is_below.into(),
        rule,
        monitor,
        channel,
    }
}

fn no_trip() -> cw_trip {
    cw_trip {
        demanded_at: 7,
        violated_since: 7,
        tripped_at: 7,
        observed: 7,
        limit: 7,
        excess: 7,
        quantity: 7,
        side: 7,
        rule: 7,
        monitor: 7,
        channel: 7,
    }
}

fn assert_same_trips(axis: *mut cw_axis, core: &Core, at: &str) {
    let mut place = 0;
    for trip in core.state().trips() {
        let expected = trip_of(&trip);
        let mut found = no_trip();
        assert_eq!(calls::trip_at(axis, place, &raw mut found), CW_OK, "{at}");
        assert_eq!(found, expected, "{at}");
        let mut named = no_trip();
        let cw_trip { rule, monitor, channel, .. } = expected;
        assert_eq!(calls::trip(axis, rule, monitor, channel, &raw mut named), CW_OK, "{at}");
        assert_eq!(named, expected, "{at}");
        place += 1;
    }
    let mut none = no_trip();
    assert_eq!(calls::trip_at(axis, place, &raw mut none), CW_STATUS_NO_TRIP, "{at}");
    assert_eq!((none.observed, none.limit, none.excess), (CW_UNKNOWN, CW_UNKNOWN, CW_UNKNOWN), "{at}");
}

/// The value, or that it is not known.
fn assert_same_value(status: cw_status, found: i64, expected: Option<i64>, at: &str, tally: &mut Tally) {
    tally.unknown += u32::from(expected.is_none());
    let expected = expected.map_or((CW_STATUS_UNKNOWN, CW_UNKNOWN), |value| (CW_OK, value));
    assert_eq!((status, found), expected, "{at}");
}

fn assert_same_state(axis: *mut cw_axis, core: &Core, inputs: &[InputId], at: &str, tally: &mut Tally) {
    let mut value = 0;
    for (channel, number) in CHANNELS {
        let status = calls::speed(axis, number, &raw mut value);
        let expected = core.speed(channel).map(|speed| speed.signed().to_bits());
        assert_same_value(status, value, expected, at, tally);
        let status = calls::position(axis, number, &raw mut value);
        let expected = core.position(channel).map(|position| position.to_bits());
        assert_same_value(status, value, expected, at, tally);
        let mut faulted = false;
        assert_eq!(calls::channel_faulted(axis, number, &raw mut faulted), CW_OK);
        assert_eq!(faulted, core.state().is_channel_faulted(channel), "{at}");
    }
    let status = calls::distance(axis, &raw mut value);
    let expected = core.config().distance(core.state()).map(|distance| distance.to_bits());
    assert_same_value(status, value, expected, at, tally);
    let mut faulted = false;
    for &input in inputs {
        assert_eq!(calls::input_faulted(axis, input.index().into(), &raw mut faulted), CW_OK);
        assert_eq!(faulted, core.state().is_input_faulted(input), "{at}");
    }
    assert_eq!(calls::clock_faulted(axis, &raw mut faulted), CW_OK);
    assert_eq!(faulted, core.state().is_clock_faulted(), "{at}");
}

fn count(tally: &mut Tally, outcome: &Outcome) {
    tally.frames += 1;
    tally.permits += u32::from(outcome.permit);
    tally.clock_faults += u32::from(outcome.clock_fault);
    tally.faults += u32::from(outcome.faults.a.is_some() || outcome.faults.b.is_some());
    tally.input_faults += u32::from(!outcome.input_faults.is_empty());
    tally.monitor_trips += u32::from(!outcome.tripped.a.is_empty() || !outcome.tripped.b.is_empty());
    tally.discrepancy_trips +=
        u32::from(outcome.position_discrepancy_tripped || outcome.speed_discrepancy_tripped);
    tally.resets += u32::from(outcome.reset == Some(Reset::Accepted));
}

/// Steps the case of a seed both ways; nothing when its setup is too large for this library.
fn compare(seed: u64, tally: &mut Tally) {
    let case = case(seed, 150, CW_POINTS);
    let setup = core_of::<CW_POINTS>(&case.setup);
    let image = sealed(&setup.config, 7);
    let storage = Storage::of_an_axis();
    let axis = match storage.load(&image) {
        Ok(axis) => axis,
        Err(CW_STATUS_CAPACITY) => {
            assert!(setup.monitors.len() > CW_MONITORS || setup.inputs.len() > CW_INPUTS, "seed {seed}");
            return;
        }
        Err(status) => panic!("seed {seed}: {}", calls::text(status)),
    };
    tally.setups += 1;
    let mut core = Axis::new(setup.config);
    for (place, frame) in case.frames.iter().enumerate() {
        let at = format!("seed {seed}, frame {place}");
        let mut outcome = left_over();
        let from_c = frame_of(frame);
        let status = calls::step(axis, &raw const from_c, &raw mut outcome);
        assert_eq!(status, CW_OK, "{at}");
        let expected = core.step(frame);
        assert_same_outcome(&outcome, &expected, frame.now.as_nanos(), &at);
        assert_same_state(axis, &core, &setup.inputs, &at, tally);
        assert_same_trips(axis, &core, &at);
        count(tally, &expected);
    }
}

#[test]
fn through_c_every_frame_comes_to_the_same() {
    let mut tally = Tally::default();
    for seed in 0..2000 {
        compare(seed, &mut tally);
    }
    println!("{tally:?}");
    let Tally { setups, frames, permits, clock_faults, faults, input_faults, .. } = tally;
    let Tally { monitor_trips, discrepancy_trips, resets, unknown, .. } = tally;
    assert!(setups >= 200 && frames > 20_000 && permits > 1000, "the setups run");
    let met = [clock_faults, faults, input_faults, monitor_trips, discrepancy_trips, resets, unknown];
    assert!(met.iter().all(|&times| times > 10), "what is compared was met: {met:?}");
}
