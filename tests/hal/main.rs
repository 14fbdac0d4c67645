//! The safety loop on the pins of a board that is a mock.

mod mock;

use monitor_core::hal::{Clock, FreeRunning, Permit, PermitFault, PinFault, SafetyLoop, TicksError, Turn};
use monitor_core::{
    Axis, AxisConfig, Demand, Frame, InputConfig, InputSet, Instant, Levels, OneSided, Pairing, Reading,
    Rule, Sample, Scale, SourceConfig, SourceFault, Span, Speed, SpeedLimit, WarmUp,
};

use mock::{Bench, Input, Output, Sensor, Timer, Wire};

const PERIOD: u64 = 1_000_000;

type Loop = SafetyLoop<Sensor, Sensor, (Input, Input), Timer, Output, Input, 17, 2, 1>;

fn span(millis: u64) -> Span {
    Span::from_millis(millis).expect("in range")
}

/// 1 µm a count; 250 mm/s while a door of two lines is open (low).
fn config() -> AxisConfig<17, 2, 1> {
    let speed = |units| Speed::from_int(units).expect("in range");
    let micron = Scale::from_ratio(1, 1000).expect("in range");
    let source = SourceConfig::try_new(32, micron, speed(3000), span(4)).expect("in range");
    let mut config = AxisConfig::try_new(source, source, span(8), WarmUp::Withhold).expect("in range");
    let door = InputConfig::dual([0, 1], Pairing::Equivalent, false, Span::ZERO, span(500), OneSided::Fault);
    let door = config.add_input(door.expect("in range")).expect("room");
    let slow = Rule::SpeedLimit(SpeedLimit::try_new(speed(250), None).expect("in range"));
    config.add_monitor(slow, Demand::AnyOf(InputSet::NONE.with(door)), span(4)).expect("room");
    config
}

/// A closed door and a loop.
fn set_up(bench: &Bench) -> Loop {
    bench.lines.iter().for_each(|line| line.put(true));
    SafetyLoop::new(config(), bench.board(Span::ZERO))
}

/// Turn `k`, the sensors at `count`.
fn turn(bench: &Bench, safety: &mut Loop, k: u64, count: u64) -> Turn {
    let now = k * PERIOD;
    bench.timer.0.set(now);
    let reading = Reading { captured_at: Instant::from_nanos(now), sample: Sample::Count(count) };
    bench.a.0.borrow_mut().push_back(reading);
    bench.b.0.borrow_mut().push_back(reading);
    safety.turn()
}

/// Turns at rest until the permit is there.
fn warmed_up(bench: &Bench) -> (Loop, u64) {
    let mut safety = set_up(bench);
    let first = (1..50).find(|&k| turn(bench, &mut safety, k, 0).permit).expect("a permit");
    (safety, first + 1)
}

#[test]
fn a_loop_comes_to_what_the_axis_comes_to_on_the_same_frames() {
    let bench = Bench::default();
    let mut safety = set_up(&bench);
    let mut axis = Axis::new(config());
    let mut trips = 0;
    for k in 1..400 {
        let is_closed = k % 100 < 50;
        bench.lines.iter().for_each(|line| line.put(is_closed));
        let count = k * k / 2;
        let turn = turn(&bench, &mut safety, k, count);
        let now = Instant::from_nanos(k * PERIOD);
        let reading = Some(Reading { captured_at: now, sample: Sample::Count(count) });
        let levels = Levels::from_bits(if is_closed { 3 } else { 0 });
        let outcome = axis.step(&Frame { now, a: reading, b: reading, levels });
        assert_eq!((turn.now, turn.outcome, turn.permit), (now, outcome, outcome.permit), "turn {k}");
        assert_eq!(bench.permit.is_high(), outcome.permit);
        trips += u32::from(outcome.has_trip());
    }
    assert_eq!(trips, 1);
    assert_eq!(safety.axis().state().trips().count(), 2);
}

#[test]
fn the_output_is_low_before_the_first_turn() {
    let bench = Bench::default();
    bench.permit.put(true);
    let _ = set_up(&bench);
    assert!(!bench.permit.is_high());
}

#[test]
fn a_line_that_cannot_be_read_takes_the_permit_for_good() {
    let bench = Bench::default();
    let (mut safety, k) = warmed_up(&bench);
    bench.lines[1].cut();
    let turned = turn(&bench, &mut safety, k, 0);
    assert_eq!(turned.pin_fault, Some(PinFault::Line(1)));
    assert!(turned.outcome.permit && !turned.permit && !bench.permit.is_high());
    assert!(!turn(&bench, &mut safety, k + 1, 0).permit);
}

#[test]
fn an_output_that_stays_high_is_told_at_the_turn_after_the_permit_went() {
    let bench = Bench::default();
    let (mut safety, k) = warmed_up(&bench);
    // The wire that reads the output back hangs at its supply.
    bench.back.put(true);
    let _ = turn(&bench, &mut safety, k, 0);
    bench
        .a
        .0
        .borrow_mut()
        .push_back(Reading { captured_at: Instant::from_nanos(0), sample: Sample::Invalid });
    let gone = turn(&bench, &mut safety, k + 1, 0);
    assert!(!gone.permit && gone.pin_fault.is_none());
    bench.back.put(true);
    let told = turn(&bench, &mut safety, k + 2, 0);
    assert_eq!(told.pin_fault, Some(PinFault::Permit(PermitFault::StuckHigh)));
}

#[test]
fn an_output_that_stays_low_takes_the_permit() {
    let bench = Bench::default();
    let (mut safety, k) = warmed_up(&bench);
    bench.back.put(false);
    let turned = turn(&bench, &mut safety, k, 0);
    assert_eq!(turned.pin_fault, Some(PinFault::Permit(PermitFault::StuckLow)));
    assert!(!turned.permit && !bench.permit.is_high());
    bench.back.put(true);
    assert!(!turn(&bench, &mut safety, k + 1, 0).permit);
}

fn at(nanos: u64) -> Instant {
    Instant::from_nanos(nanos)
}

/// An output that has been seen low, set high at 1000 ns; its own wire and that of its read-back.
fn set_high(settling: u64) -> (Permit<Output, Input>, Wire, Wire) {
    let (wire, back) = (Wire::default(), Wire::default());
    let output = Output { wire: wire.clone(), back: None };
    let mut permit = Permit::new(output, Input(back.clone()), Span::from_nanos(settling));
    assert_eq!(permit.set(false, at(1000 - settling)), Ok(false));
    assert_eq!(permit.set(true, at(1000)), Ok(true));
    (permit, wire, back)
}

#[test]
fn a_read_back_counts_from_its_settling_time_on() {
    for (asked_after, fault) in
        [(99, None), (100, Some(PermitFault::StuckLow)), (101, Some(PermitFault::StuckLow))]
    {
        let (mut permit, wire, _) = set_high(100);
        assert_eq!(permit.set(true, at(1000 + asked_after)).err(), fault, "{asked_after} ns");
        assert_eq!(wire.is_high(), fault.is_none());
    }
}

#[test]
fn an_output_goes_high_only_after_it_was_seen_low_a_settling_time_after_it_was_set_low() {
    let (mut permit, wire, back) = set_high(100);
    back.put(true);
    assert_eq!(permit.set(true, at(1100)), Ok(true));
    // A short withdrawal: the read-back does not follow at once.
    assert_eq!(permit.set(false, at(1200)), Ok(false));
    assert_eq!(permit.set(true, at(1250)), Ok(false));
    // What is seen before the settling time may be what was there before.
    back.put(false);
    assert_eq!(permit.set(true, at(1299)), Ok(false));
    assert!(!wire.is_high());
    assert_eq!(permit.set(true, at(1300)), Ok(true));
    assert!(wire.is_high());
}

#[test]
fn an_output_that_hangs_high_from_the_start_never_gets_a_permit_however_long_it_may_settle() {
    for settling in [0, 1, 2, 5, 10, 50] {
        for warm_up in [WarmUp::Withhold, WarmUp::Permit] {
            let bench = Bench::default();
            let source = *config().source(monitor_core::Channel::A);
            let axis = AxisConfig::<17, 2, 1>::try_new(source, source, span(8), warm_up).expect("in range");
            let mut safety: Loop = SafetyLoop::new(axis, bench.board(span(settling)));
            let mut permitted = false;
            let mut fault = None;
            for k in 1..100 {
                bench.back.put(true);
                let turn = turn(&bench, &mut safety, k, 0);
                permitted |= turn.permit || bench.permit.is_high();
                fault = turn.pin_fault;
            }
            let stuck = Some(PinFault::Permit(PermitFault::StuckHigh));
            assert_eq!((permitted, fault), (false, stuck), "{settling} ms, {warm_up:?}");
        }
    }
}

#[test]
fn an_output_that_cannot_be_set_is_a_fault() {
    let wire = Wire::default();
    let mut permit =
        Permit::new(Output { wire: wire.clone(), back: None }, Input(Wire::default()), Span::ZERO);
    wire.cut();
    assert_eq!(permit.set(true, at(0)), Err(PermitFault::Unwritable));
    assert_eq!(permit.fault(), Some(PermitFault::Unwritable));
}

#[test]
fn a_read_back_that_cannot_be_read_is_a_fault() {
    let (mut permit, wire, back) = set_high(0);
    back.cut();
    assert_eq!(permit.set(true, at(1001)), Err(PermitFault::Unreadable));
    assert!(!wire.is_high());
}

#[test]
fn a_sensor_that_says_it_cannot_be_read_is_a_channel_fault_at_once() {
    let bench = Bench::default();
    let (mut safety, k) = warmed_up(&bench);
    bench.b.0.borrow_mut().push_back(Reading { captured_at: at(k * PERIOD), sample: Sample::Invalid });
    let turned = turn(&bench, &mut safety, k, 0);
    assert_eq!(turned.outcome.faults.b, Some(SourceFault::Invalid));
    assert!(!turned.permit && !bench.permit.is_high());
}

#[test]
fn a_free_running_counter_tells_the_time_beyond_its_wraps() {
    for (bits, hertz) in
        [(32, 25_000_000), (24, 16_000_000), (16, 1_000_000), (24, 72_000_000), (32, 1_000_000_000)]
    {
        let timer = Timer::default();
        let offset = 0xffff_ff00_u64;
        timer.0.set(offset);
        let mut clock = FreeRunning::try_new(timer.clone(), bits, hertz).expect("in range");
        let mut total = 0_u64;
        for step in 0..20_000_u64 {
            total += (step * 7919) % (1 << (bits - 1));
            timer.0.set(offset.wrapping_add(total));
            let exact = u128::from(total) * 1_000_000_000 / u128::from(hertz);
            let told = u128::from(clock.now().as_nanos());
            assert!(told <= exact && exact - told <= 1, "{bits} bits, {hertz} Hz: {told} {exact}");
        }
        assert!(total >> bits > 1, "it has wrapped");
    }
}

#[test]
fn a_counter_out_of_range_is_refused() {
    let timer = Timer::default();
    assert_eq!(FreeRunning::try_new(timer.clone(), 7, 1_000_000).err(), Some(TicksError::Bits(7)));
    assert_eq!(FreeRunning::try_new(timer.clone(), 33, 1_000_000).err(), Some(TicksError::Bits(33)));
    assert_eq!(FreeRunning::try_new(timer.clone(), 32, 999).err(), Some(TicksError::Hertz(999)));
    assert_eq!(FreeRunning::try_new(timer, 32, 1_000_000_001).err(), Some(TicksError::Hertz(1_000_000_001)));
}
