//! What the core is given is what the setup says: each rule, each demand and each reaction.

use host_harness::replay::config;
use host_harness::setup::Setup;
use monitor_core::{
    Acceleration, AccelerationLimit, AccelerationRange, Allowed, AxisConfig, BrakeOutput, Braking, CamOutput,
    Channel, Demand, Demands, Direction, InputSet, Jerk, MonitorId, MonitorSet, Position, PositionRange,
    Ramp, Referencing, Rule, Span, Speed, SpeedLimit, SpeedOutput, SpeedRange, Standstill, Stop, Supervision,
    TravelLimit, Until,
};

use super::support::ms;

/// Every kind in every form; all values are whole.
const EVERYTHING: &str = r#"
title = "Everything, invented"
unit  = "mm"
time  = { column = "time", unit = "s" }
channel.a = { column = "a", counter_bits = 32, unit_per_count = "0.001 mm", max_speed = "9 m/s", timeout = "4 ms", reference = "absolute", offset = "-3 mm" }
channel.b = { column = "b", column_unit = "um", max_speed = "9 m/s", timeout = "4 ms", reference = "event" }
speed = { window = "8 ms" }
reference = { input = "home", position = "7 mm" }
[input.door]
columns = ["door"]
[input.gate]
columns = ["gate"]
[[monitor]]
name = "off"
kind = "torque-off"
demand = ["door", "gate"]
[[monitor]]
name = "stand"
kind = "standstill"
position_window = "2 mm"
speed_window = "3 mm/s"
on_delay = "5 ms"
[[monitor]]
name = "slow"
kind = "speed-limit"
limit = "250 mm/s"
ramp = { delay = "100 ms", deceleration = "2000 mm/s^2", margin = "50 mm/s", jerk = "20000 mm/s^3" }
on_delay = "6 ms"
allowed_overrun = "4 mm"
reaction = "rest"
[[monitor]]
name = "each way"
kind = "speed-limit"
positive = "250 mm/s"
negative = "0 mm/s"
ramp = { delay = "0 ms", deceleration = "2000 mm/s^2", margin = "50 mm/s" }
[[monitor]]
name = "between"
kind = "speed-range"
low = "-10 mm/s"
high = "400 mm/s"
[[monitor]]
name = "back"
kind = "direction"
allowed = "negative"
tolerance = "8 mm"
[[monitor]]
name = "soft"
kind = "acceleration-limit"
limit = "900 mm/s^2"
[[monitor]]
name = "softer"
kind = "acceleration-range"
low = "-700 mm/s^2"
high = "800 mm/s^2"
[[monitor]]
name = "near"
kind = "travel-limit"
increment = "11 mm"
[[monitor]]
name = "within"
kind = "position-range"
low = "-20 mm"
high = "1000 mm"
reaction = "brake hard"
[[monitor]]
name = "crossing"
kind = "cam-output"
low = "100 mm"
high = "200 mm"
hysteresis = "6 mm"
demand = ["not door", "gate"]
[[monitor]]
name = "creeping"
kind = "speed-output"
threshold = "20 mm/s"
hysteresis = "4 mm/s"
[[monitor]]
name = "brake"
kind = "brake-output"
delay = "30 ms"
[[monitor]]
name = "rest"
kind = "stop"
until = "torque-off"
by = "ramp"
ramp = { delay = "10 ms", deceleration = "3000 mm/s^2", margin = "60 mm/s" }
standstill_speed = "5 mm/s"
[[monitor]]
name = "brake hard"
kind = "stop"
demand = ["crossing", "not creeping", "not gate"]
until = "torque-off"
by = "deceleration"
braking = { delay = "40 ms", deceleration = "4000 mm/s^2", margin = "100 mm/s^2" }
standstill_speed = "6 mm/s"
within = "2 s"
[[monitor]]
name = "hold"
kind = "stop"
demand = ["home"]
until = "standstill"
by = "time"
within = "1 s"
position_window = "1 mm"
speed_window = "2 mm/s"
"#;

fn held(text: &str) -> AxisConfig<129, 16, 16> {
    let setup = Setup::parse(text, "axis.toml").unwrap_or_else(|error| panic!("{}", error.render(false)));
    config(&setup).unwrap_or_else(|refused| panic!("{refused}"))
}

fn mm(n: i64) -> Position {
    Position::from_bits(n << 24)
}

fn mm_per_s(n: i64) -> Speed {
    Speed::from_bits(n << 24)
}

fn mm_per_s2(n: i64) -> Acceleration {
    Acceleration::from_bits(n << 24)
}

#[test]
fn every_kind_becomes_the_rule_of_the_core_with_its_values() {
    let jerk = Jerk::from_bits(20_000 << 24);
    let straight = |delay, deceleration, margin| {
        Ramp::try_new(ms(delay), mm_per_s2(deceleration), mm_per_s(margin)).expect("a ramp")
    };
    let rounded = straight(100, 2000, 50).with_jerk(jerk);
    let each = SpeedLimit::of_directions(mm_per_s(250), mm_per_s(0), Some(straight(0, 2000, 50)));
    let by_ramp =
        Supervision::Ramp { ramp: straight(10, 3000, 60), standstill_speed: mm_per_s(5), within: None };
    let by_deceleration = Supervision::Deceleration {
        braking: Braking::try_new(ms(40), mm_per_s2(4000), mm_per_s2(100)).expect("a braking"),
        standstill_speed: mm_per_s(6),
        within: Some(ms(2000)),
    };
    let standing = Until::Standstill(Standstill::try_new(mm(1), mm_per_s(2)).expect("windows"));
    let by_time = Supervision::Time { within: ms(1000) };
    let expected: [Option<Rule>; 16] = [
        Some(Rule::TorqueOff),
        Standstill::try_new(mm(2), mm_per_s(3)).map(Rule::Standstill),
        SpeedLimit::try_new(mm_per_s(250), rounded).map(Rule::SpeedLimit),
        each.map(Rule::SpeedLimit),
        SpeedRange::try_new(mm_per_s(-10), mm_per_s(400)).map(Rule::SpeedRange),
        Direction::try_new(Allowed::Negative, mm(8)).map(Rule::Direction),
        AccelerationLimit::try_new(mm_per_s2(900)).map(Rule::AccelerationLimit),
        AccelerationRange::try_new(mm_per_s2(-700), mm_per_s2(800)).map(Rule::AccelerationRange),
        TravelLimit::try_new(mm(11)).map(Rule::TravelLimit),
        PositionRange::try_new(mm(-20), mm(1000)).map(Rule::PositionRange),
        CamOutput::try_new(mm(100), mm(200), mm(6)).map(Rule::CamOutput),
        SpeedOutput::try_new(mm_per_s(20), mm_per_s(4)).map(Rule::SpeedOutput),
        BrakeOutput::try_new(ms(30)).map(Rule::BrakeOutput),
        Stop::try_new(by_ramp, Until::TorqueOff).map(Rule::Stop),
        Stop::try_new(by_deceleration, Until::TorqueOff).map(Rule::Stop),
        Stop::try_new(by_time, standing).map(Rule::Stop),
    ];
    let held = held(EVERYTHING);
    let rules: Vec<_> = held.monitors().map(|monitor| Some(*monitor.rule)).collect();
    assert_eq!(rules, expected);
}

#[test]
fn references_demands_reactions_and_overruns_reach_the_core_as_they_are_written() {
    let held = held(EVERYTHING);
    assert_eq!(held.referencing(Channel::A), Referencing::Absolute { offset: mm(-3) });
    let Referencing::Event { input, position } = held.referencing(Channel::B) else { panic!("an event") };
    assert_eq!((input.index(), position), (2, mm(7)));

    let monitors: Vec<_> = held.monitors().collect();
    let inputs = |bits| InputSet::from_bits(bits);
    let outputs = |bits| MonitorSet::from_bits(bits);
    let any = |plain, not, near, not_on| {
        Demand::Any(Demands {
            inputs: inputs(plain),
            not_inputs: inputs(not),
            outputs: outputs(near),
            not_outputs: outputs(not_on),
        })
    };
    let demands: Vec<_> = monitors.iter().map(|monitor| monitor.demand).collect();
    let mut expected = [Demand::Always; 16];
    expected[0] = Demand::AnyOf(inputs(0b11));
    expected[10] = any(0b10, 0b01, 0, 0);
    expected[13] = Demand::Reaction;
    expected[14] = any(0, 0b10, 1 << 10, 1 << 11);
    expected[15] = Demand::AnyOf(inputs(0b100));
    assert_eq!(demands, expected);

    let reactions: Vec<_> = monitors.iter().map(|monitor| monitor.reaction.map(MonitorId::index)).collect();
    let mut expected = [None; 16];
    (expected[2], expected[9]) = (Some(13), Some(14));
    assert_eq!(reactions, expected);

    let on_delays: Vec<_> = monitors.iter().map(|monitor| monitor.on_delay).collect();
    let mut expected = [Span::ZERO; 16];
    (expected[1], expected[2]) = (ms(5), ms(6));
    assert_eq!(on_delays, expected);
    let overruns: Vec<_> = monitors.iter().map(|monitor| monitor.allowed_overrun).collect();
    let mut expected = [None; 16];
    expected[2] = Some(mm(4));
    assert_eq!(overruns, expected);
}

#[test]
fn a_channel_without_a_reference_has_none_in_the_core() {
    let text = EVERYTHING
        .replace(", reference = \"absolute\", offset = \"-3 mm\"", "")
        .replace(
            "kind = \"position-range\"\nlow = \"-20 mm\"\nhigh = \"1000 mm\"",
            "kind = \"speed-limit\"\nlimit = \"1 m/s\"",
        )
        .replace(
            "kind = \"cam-output\"\nlow = \"100 mm\"\nhigh = \"200 mm\"\nhysteresis = \"6 mm\"",
            "kind = \"speed-output\"\nthreshold = \"30 mm/s\"",
        );
    let held = held(&text);
    assert_eq!(held.referencing(Channel::A), Referencing::None);
    assert!(matches!(held.referencing(Channel::B), Referencing::Event { .. }));
}
