//! Stops that are demanded by the trips of other monitors alone.

use monitor_core::seal::Image;
use monitor_core::{
    Acceleration, Axis, AxisConfig, AxisError, Braking, Demand, Frame, InputConfig, Instant, Levels, NoOwn,
    Position, Reading, Reset, Rule, Sample, Scale, SourceConfig, Span, Speed, SpeedLimit, Standstill, Stop,
    Supervision, Until, WarmUp,
};

fn axis() -> AxisConfig {
    let scale = Scale::from_ratio(1, 1000).unwrap();
    let (fastest, timeout) = (Speed::from_int(3000).unwrap(), Span::from_millis(4).unwrap());
    let source = SourceConfig::try_new(24, scale, fastest, timeout).unwrap();
    AxisConfig::try_new(source, source, Span::from_millis(2).unwrap(), WarmUp::Permit).unwrap()
}

fn stop(until: Until) -> Rule<NoOwn> {
    let within = Span::from_millis(5).unwrap();
    Rule::Stop(Stop::try_new(Supervision::Time { within }, until).unwrap())
}

fn slow() -> Rule<NoOwn> {
    Rule::SpeedLimit(SpeedLimit::try_new(Speed::from_int(250).unwrap(), None).unwrap())
}

#[test]
fn a_stop_by_reactions_only_is_active_from_the_frame_after_the_trip_on() {
    let mut config = axis();
    let slow = config.add_monitor(slow(), Demand::Always, Span::ZERO).unwrap();
    let stop = config.add_monitor(stop(Until::TorqueOff), Demand::Reaction, Span::ZERO).unwrap();
    config.set_reaction(slow, stop).unwrap();
    let mut axis = Axis::new(config);
    // 100 mm/s for 10 ms, then 1 m/s.
    let mut step = |ms: u64| {
        let count = if ms <= 10 { 100 * ms } else { 1000 + 1000 * (ms - 10) };
        let now = Instant::from_nanos(ms * 1_000_000);
        let reading = Some(Reading { captured_at: now, sample: Sample::Count(count) });
        axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() })
    };
    let seen: Vec<_> = (0..30).map(&mut step).collect();
    let tripped = seen.iter().position(|outcome| outcome.tripped.a.contains(slow)).unwrap();
    let began = seen.iter().position(|outcome| outcome.active.contains(stop));
    assert_eq!(began, Some(tripped + 1));
    // Complete 5 ms after that, and the permit stays as long.
    assert_eq!(seen.iter().position(|outcome| !outcome.permit), Some(tripped + 6));
}

#[test]
fn nothing_but_a_stop_until_torque_off_goes_by_reactions_only() {
    let mut config = axis();
    let (window, speed) = (Position::from_int(1).unwrap(), Speed::from_int(10).unwrap());
    let standing = Until::Standstill(Standstill::try_new(window, speed).unwrap());
    for rule in [slow(), Rule::TorqueOff, stop(standing)] {
        assert_eq!(config.add_monitor(rule, Demand::Reaction, Span::ZERO), Err(AxisError::Reaction));
    }
    assert!(config.add_monitor(stop(Until::TorqueOff), Demand::Reaction, Span::ZERO).is_ok());
    assert_eq!(config.monitors().len(), 1, "what is refused is not added");
}

#[test]
fn a_stop_by_reactions_only_is_sealed_as_that() {
    let mut config = axis();
    let slow = config.add_monitor(slow(), Demand::Always, Span::ZERO).unwrap();
    let stop = config.add_monitor(stop(Until::TorqueOff), Demand::Reaction, Span::ZERO).unwrap();
    config.set_reaction(slow, stop).unwrap();
    let mut bytes = [0; 512];
    let length = config.seal(0, &[], &mut bytes).unwrap();
    let image = Image::open(&bytes[..length]).unwrap();
    let held: AxisConfig = image.axis().unwrap();
    let parts: Vec<_> = held.monitors().map(|monitor| (monitor.demand, monitor.reaction)).collect();
    assert_eq!(parts, [(Demand::Always, Some(stop)), (Demand::Reaction, None)]);
}

#[test]
fn a_reset_waits_for_the_stop_that_a_trip_demands() {
    let frame = |ms: u64, count: u64, pressed: bool| {
        let now = Instant::from_nanos(ms * 1_000_000);
        let reading = Some(Reading { captured_at: now, sample: Sample::Count(count) });
        Frame { now, a: reading, b: reading, levels: Levels::from_bits(u32::from(pressed)) }
    };
    // 1 m/s from 10 to 20 ms, else 100 mm/s: it trips, and is slow again before the stop is over. Released every other frame.
    let mut config = axis();
    config.set_reset(InputConfig::single(0, true, Span::ZERO).unwrap());
    let slow = config.add_monitor(slow(), Demand::Always, Span::ZERO).unwrap();
    let within = Span::from_millis(31).unwrap();
    let stop = Stop::try_new(Supervision::Time { within }, Until::TorqueOff).unwrap();
    let stop = config.add_monitor(Rule::Stop(stop), Demand::Reaction, Span::ZERO).unwrap();
    config.set_reaction(slow, stop).unwrap();
    let mut axis = Axis::new(config);
    let mut count = 0;
    let mut step = |ms: u64| {
        count += if (10..20).contains(&ms) { 1000 } else { 100 };
        axis.step(&frame(ms, count, ms.is_multiple_of(2)))
    };
    let seen: Vec<_> = (0..80).map(&mut step).collect();
    let tripped = seen.iter().position(|outcome| !outcome.tripped.a.is_empty()).unwrap();
    let complete = tripped + 1 + 31;
    assert_eq!((tripped, complete), (10, 42));
    for (at, outcome) in seen.iter().enumerate().skip(tripped) {
        let reset = match at {
            _ if at.is_multiple_of(2) => None,
            _ if !outcome.violated.a.is_empty() => Some(Reset::Violated),
            _ if at < complete => Some(Reset::Stopping),
            _ => Some(Reset::Accepted),
        };
        assert_eq!(outcome.reset, reset, "{at} ms");
        // From the end of the stop until the frame after the reset.
        assert_eq!(outcome.permit, !(42..=43).contains(&at), "{at} ms");
    }
}

#[test]
fn a_reset_waits_until_the_stop_is_complete_on_both_channels() {
    for exchanged in [false, true] {
        let mut config = axis();
        config.set_reset(InputConfig::single(0, true, Span::ZERO).unwrap());
        let slow = config.add_monitor(slow(), Demand::Always, Span::ZERO).unwrap();
        // Nothing is watched for so long; it is complete where the axis stands.
        let one = Acceleration::from_int(1).unwrap();
        let braking = Braking::try_new(Span::from_millis(1000).unwrap(), one, one).unwrap();
        let standstill_speed = Speed::from_int(10).unwrap();
        let supervision = Supervision::Deceleration { braking, standstill_speed, within: None };
        let stop = Rule::Stop(Stop::try_new(supervision, Until::TorqueOff).unwrap());
        let stop = config.add_monitor(stop, Demand::Reaction, Span::ZERO).unwrap();
        config.set_reaction(slow, stop).unwrap();
        let mut axis = Axis::new(config);
        let (mut stands, mut creeps) = (0, 0);
        let mut seen = Vec::new();
        for ms in 0..120 {
            // 1 m/s from 10 to 20 ms: it trips. Then one channel stands, and the other creeps until 80 ms.
            stands += if (10..20).contains(&ms) { 1000 } else { 0 };
            creeps += if (10..20).contains(&ms) { 1000 } else { 100 * u64::from(ms < 80) };
            let now = Instant::from_nanos(ms * 1_000_000);
            let reading = |count| Some(Reading { captured_at: now, sample: Sample::Count(count) });
            let (a, b) = if exchanged { (creeps, stands) } else { (stands, creeps) };
            let levels = Levels::from_bits(u32::from(ms == 50 || ms == 100));
            let outcome = axis.step(&Frame { now, a: reading(a), b: reading(b), levels });
            seen.extend(outcome.reset.map(|reset| (ms, reset)));
        }
        assert_eq!(seen, [(51, Reset::Stopping), (101, Reset::Accepted)], "exchanged: {exchanged}");
    }
}
