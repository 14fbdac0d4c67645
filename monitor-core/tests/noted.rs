//! Whoever follows the motion is shown what cannot be told from it, whoever stepped before.

use monitor_core::{
    Acceleration, AccelerationLimit, Allowed, Axis, AxisConfig, Demand, Direction, Frame, Instant, Levels,
    MonitorId, Position, Reading, Rule, Sample, Scale, SourceConfig, Span, Speed, SpeedLimit, WarmUp,
};

/// A limit on the speed, one on the acceleration, and a direction.
fn axis() -> (Axis<17, 3, 1>, [MonitorId; 3]) {
    let scale = Scale::from_ratio(1, 1000).unwrap();
    let source =
        SourceConfig::try_new(24, scale, Speed::from_int(3000).unwrap(), Span::from_millis(4).unwrap());
    let window = Span::from_millis(2).unwrap();
    let mut config = AxisConfig::try_new(source.unwrap(), source.unwrap(), window, WarmUp::Withhold).unwrap();
    let rules = [
        Rule::SpeedLimit(SpeedLimit::try_new(Speed::from_int(1000).unwrap(), None).unwrap()),
        Rule::AccelerationLimit(AccelerationLimit::try_new(Acceleration::from_int(1000).unwrap()).unwrap()),
        Rule::Direction(Direction::try_new(Allowed::Positive, Position::from_int(1).unwrap()).unwrap()),
    ];
    let ids = rules.map(|rule| config.add_monitor(rule, Demand::Always, Span::ZERO).unwrap());
    (Axis::new(config), ids)
}

fn frame(ms: u64) -> Frame {
    let now = Instant::from_nanos(ms * 1_000_000);
    let reading = Some(Reading { captured_at: now, sample: Sample::Count(100 * ms) });
    Frame { now, a: reading, b: reading, levels: Levels::default() }
}

#[test]
fn steps_that_passed_quietly_hide_no_acceleration_and_no_direction_from_whoever_follows() {
    let (mut axis, [_, acceleration, direction]) = axis();
    for ms in 0..50 {
        let _ = axis.step(&frame(ms));
    }
    assert!(axis.state().was_quiet());
    let mut shown = Vec::new();
    let _ = axis.step_noted(&frame(50), &mut |id, channel, check| {
        assert!(!check.is_violated());
        shown.push((id, channel, check.acceleration.is_some(), check.from.map(|from| from.count())));
    });
    for channel in monitor_core::Channel::BOTH {
        assert!(shown.contains(&(acceleration, channel, true, None)), "{shown:?}");
        assert!(shown.contains(&(direction, channel, false, Some(5000))), "{shown:?}");
    }
}
