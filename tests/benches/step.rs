//! The core's seven rules of a two-channel axis, in memory, against a hand-written loop without any of the safety semantics.
//!
//! A door opens and closes; while it is open, the ramped speed limit and the standstill are demanded. The same with sixteen
//! monitors: alike and always active, of every kind and always active with two analogue values, and never demanded. Prints nanoseconds
//! per frame and the ratios, measured in turns in one run.

use std::hint::black_box;
use std::time::Instant as Clock;

use monitor_core::{
    Acceleration, AccelerationLimit, AccelerationRange, Allowed, AnalogueConfig, AnalogueId, AnalogueReading,
    Axis, AxisConfig, BrakeOutput, CamOutput, Channel, Demand, Direction, Frame, InputConfig, InputSet,
    Instant, Levels, Position, PositionDiscrepancy, PositionRange, Ramp, Reading, Referencing, Rule, Sample,
    Scale, SourceConfig, Span, Speed, SpeedLimit, SpeedOutput, SpeedRange, Standstill, TemperatureLimit,
    TorqueLimit, TorqueRange, TravelLimit, Value, WarmUp,
};

const FRAMES: usize = 10_000_000;
const PERIOD_NS: u64 = 1_000_000;
const WINDOW: usize = 8;
/// The door opens or closes every so many frames.
const DOOR: usize = 500;

/// Counts of both sources: the axis swings, so that every rule has something to compare.
fn counts() -> Vec<(i32, i32)> {
    let mut state = 1_u64;
    let mut position = 0_i64;
    let mut speed = 0_i64;
    (0..FRAMES)
        .map(|_| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let change = (state >> 60) as i64 - 8 + (state >> 59 & 1) as i64;
            speed = (speed + change).clamp(-190, 190);
            position += speed;
            (position as i32, (position / 2) as i32)
        })
        .collect()
}

fn span(millis: u64) -> Span {
    Span::from_millis(millis).unwrap()
}

fn speed(units: i64) -> Speed {
    Speed::from_int(units).unwrap()
}

/// Sources and discrepancy, without a monitor.
fn setup<const MONITORS: usize>() -> AxisConfig<17, MONITORS, 1> {
    let source = |denominator, bits| {
        SourceConfig::try_new(bits, Scale::from_ratio(1, denominator).unwrap(), speed(3000), span(4)).unwrap()
    };
    let mut config =
        AxisConfig::try_new(source(2000, 32), source(1000, 24), span(WINDOW as u64), WarmUp::Withhold)
            .unwrap();
    config.set_position_discrepancy(
        PositionDiscrepancy::try_new(Position::from_int(2).unwrap(), span(1), span(20), false).unwrap(),
    );
    config
}

fn standstill() -> Rule {
    Rule::Standstill(Standstill::try_new(Position::from_int(100_000_000).unwrap(), speed(300)).unwrap())
}

/// A speed limit, and at the open door a ramped one and a standstill: on two channels, with the discrepancy, seven rules.
fn seven() -> Axis<17, 4, 1> {
    let mut config = setup();
    let door = config.add_input(InputConfig::single(0, true, Span::ZERO).unwrap()).unwrap();
    let open = Demand::AnyOf(InputSet::NONE.with(door));
    let ramp = Ramp::try_new(span(100), Acceleration::from_int(200).unwrap(), speed(50)).unwrap();
    let limit = SpeedLimit::try_new(speed(250), None).unwrap();
    // The axis never moves faster than 95 mm/s: nothing trips, and the envelope falls as long as it can.
    let envelope = SpeedLimit::try_new(speed(96), Some(ramp)).unwrap();
    config.add_monitor(Rule::SpeedLimit(limit), Demand::Always, span(4)).unwrap();
    config.add_monitor(Rule::SpeedLimit(envelope), open, span(4)).unwrap();
    config.add_monitor(standstill(), open, span(4)).unwrap();
    Axis::new(config)
}

/// An axis of sixteen monitors, and its analogue values.
type Sixteen = (Axis<17, 16, 1>, Vec<AnalogueId>);

/// Sixteen monitors that are always active.
fn sixteen() -> Sixteen {
    let mut config = setup();
    for i in 0..8 {
        let limit = SpeedLimit::try_new(speed(250 + i), None).unwrap();
        config.add_monitor(Rule::SpeedLimit(limit), Demand::Always, span(4)).unwrap();
        config.add_monitor(standstill(), Demand::Always, span(4)).unwrap();
    }
    (Axis::new(config), Vec::new())
}

/// Sixteen monitors of all kinds that have no planned end, always active, and none of them ever violated.
fn every_kind(demand: Option<impl Fn(&mut AxisConfig<17, 16, 1>) -> Demand>) -> Sixteen {
    let mut config = setup();
    let mm = |n: i64| Position::from_int(n).unwrap();
    let per_s2 = |n: i64| Acceleration::from_int(n).unwrap();
    for channel in Channel::BOTH {
        config.set_referencing(channel, Referencing::Absolute { offset: mm(0) }).unwrap();
    }
    let value = |n: i64| Value::from_int(n).unwrap();
    let analogue = |low, high, tolerance| {
        AnalogueConfig::try_new([value(low), value(high)], span(4), value(tolerance), span(20)).unwrap()
    };
    let torque = config.add_analogue(analogue(-300, 300, 5)).unwrap();
    let temperature = config.add_analogue(analogue(-40, 200, 4)).unwrap();
    let Some(demand) = demand else { return (Axis::new(config), vec![torque, temperature]) };
    let demand = demand(&mut config);
    let ramp = Ramp::try_new(span(100), per_s2(200), speed(50)).unwrap();
    let far = mm(100_000_000);
    let rules = [
        standstill(),
        Rule::SpeedLimit(SpeedLimit::try_new(speed(250), None).unwrap()),
        Rule::SpeedLimit(SpeedLimit::try_new(speed(251), Some(ramp)).unwrap()),
        Rule::SpeedLimit(SpeedLimit::of_directions(speed(250), speed(300), None).unwrap()),
        Rule::SpeedRange(SpeedRange::try_new(speed(-300), speed(250)).unwrap()),
        Rule::Direction(Direction::try_new(Allowed::Negative, far).unwrap()),
        Rule::AccelerationLimit(AccelerationLimit::try_new(per_s2(4_100)).unwrap()),
        Rule::AccelerationRange(AccelerationRange::try_new(per_s2(-4_100), per_s2(4_100)).unwrap()),
        Rule::TravelLimit(TravelLimit::try_new(far).unwrap()),
        Rule::PositionRange(PositionRange::try_new(mm(-100_000_000), far).unwrap()),
        Rule::CamOutput(CamOutput::try_new(mm(0), mm(1000), mm(1)).unwrap()),
        Rule::SpeedOutput(SpeedOutput::try_new(speed(50), speed(5)).unwrap()),
        Rule::TorqueLimit(TorqueLimit::try_new(torque, value(200)).unwrap()),
        Rule::TorqueRange(TorqueRange::try_new(torque, value(-150), value(150)).unwrap()),
        Rule::TemperatureLimit(TemperatureLimit::new(temperature, value(120))),
    ];
    for rule in rules {
        let on_delay = if matches!(rule, Rule::CamOutput(_) | Rule::SpeedOutput(_)) { 0 } else { 4 };
        config.add_monitor(rule, demand, span(on_delay)).unwrap();
    }
    let brake = Rule::BrakeOutput(BrakeOutput::try_new(span(20)).unwrap());
    config.add_monitor(brake, Demand::Always, Span::ZERO).unwrap();
    (Axis::new(config), vec![torque, temperature])
}

fn awake() -> Sixteen {
    every_kind(Some(|_: &mut _| Demand::Always))
}

/// The same, never demanded: line 1 is never high.
fn asleep() -> Sixteen {
    every_kind(Some(|config: &mut AxisConfig<17, 16, 1>| {
        let input = config.add_input(InputConfig::single(1, true, Span::ZERO).unwrap()).unwrap();
        Demand::AnyOf(InputSet::NONE.with(input))
    }))
}

/// Without a monitor; the analogue values are read all the same.
fn bare() -> Sixteen {
    every_kind(None::<fn(&mut AxisConfig<17, 16, 1>) -> Demand>)
}

/// Steps an axis through the counts; its analogue values are read at every frame.
fn run_core<const MONITORS: usize>(
    mut axis: Axis<17, MONITORS, 1>,
    analogues: &[AnalogueId],
    counts: &[(i32, i32)],
) -> u64 {
    let mut permits = 0_u64;
    let mut now = 0;
    for (i, &(a, b)) in counts.iter().enumerate() {
        now += PERIOD_NS;
        let captured_at = Instant::from_nanos(now);
        let reading = |count: i32| Some(Reading { captured_at, sample: Sample::Count(count as u32 as u64) });
        let levels = Levels::from_bits(u32::from(is_open(i)));
        for (id, value) in analogues.iter().zip([i64::from(b) % 100, 60]) {
            for (channel, off) in [(Channel::A, 0), (Channel::B, 1)] {
                let value = Value::from_int(value + off);
                axis.offer(*id, channel, AnalogueReading { captured_at, value });
            }
        }
        let frame = Frame { now: captured_at, a: reading(a), b: reading(b), levels };
        let outcome = axis.step(&frame);
        permits += u64::from(outcome.permit) + u64::from(outcome.has_trip());
    }
    permits
}

fn is_open(frame: usize) -> bool {
    (frame / DOOR) % 2 == 1
}

/// The same seven comparisons in plain integers: no faults, no latches, no wrap, no units. Speeds are counts of source A per
/// window, 16 to the mm/s.
fn run_plain(counts: &[(i32, i32)]) -> u64 {
    let (mut trips, mut since) = (0_u64, [0_u32; 7]);
    let (mut open_for, mut heights, mut from) = (0_i64, [0_i64; 2], [0_i64; 2]);
    for i in WINDOW..counts.len() {
        let ((a0, b0), (a, b)) = (counts[i - WINDOW], counts[i]);
        let (va, vb) = (i64::from(a - a0).abs(), i64::from(b - b0).abs() * 2);
        let (a, b) = (i64::from(a), i64::from(b));
        let open = is_open(i);
        if !open {
            open_for = 0;
        } else {
            if open_for == 0 {
                heights = [va.min(4000) + 800, vb.min(4000) + 800];
                from = [a, b];
            }
            open_for += 1;
        }
        // 200 mm/s² are 3.2 counts per frame.
        let fallen = (open_for - 101).max(0) * 16 / 5;
        let line = |height: i64| (height - fallen).max(1536);
        let d = (a - 2 * b).abs();
        let violated = [
            va > 4000,
            vb > 4000,
            open && va > line(heights[0]),
            open && vb > line(heights[1]),
            open && (va > 4800 || (a - from[0]).abs() > 200_000_000_000),
            open && (vb > 4800 || (b - from[1]).abs() > 100_000_000_000),
            d > 4000 + va.min(vb) / 8,
        ];
        for (since, violated) in since.iter_mut().zip(violated) {
            *since = if violated { *since + 1 } else { 0 };
            trips += u64::from(*since == 5);
        }
    }
    trips
}

fn time(run: impl Fn() -> u64) -> f64 {
    let start = Clock::now();
    black_box(run());
    start.elapsed().as_secs_f64() * 1e9 / FRAMES as f64
}

/// The middle one.
fn median(mut of: Vec<f64>) -> f64 {
    of.sort_by(f64::total_cmp);
    of[of.len() / 2]
}

/// Writes the counts as pairs of little-endian 32-bit numbers; then prints the core's and the plain loop's nanoseconds a frame
/// whenever a line comes in. Each is timed after an untimed pass: a processor that has waited begins slowly.
fn peer(counts: &[(i32, i32)], file: &str) {
    let bytes: Vec<u8> =
        counts.iter().flat_map(|&(a, b)| [a.to_le_bytes(), b.to_le_bytes()]).flatten().collect();
    std::fs::write(file, bytes).unwrap();
    for line in std::io::stdin().lines() {
        line.unwrap();
        let core = || run_core(seven(), &[], black_box(counts));
        let plain = || run_plain(black_box(counts));
        black_box((core(), plain()));
        println!("{} {}", time(core), time(plain));
    }
}

fn main() {
    let counts = counts();
    let args: Vec<String> = std::env::args().collect();
    match args.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        // One run, to be looked at with a profiler.
        [_, "once", ..] => {
            black_box(run_core(seven(), &[], &counts));
            return;
        }
        // The counts, for a peer in another language, and then one timed run of each of ours for every line of input.
        [_, "peer", file, ..] => return peer(&counts, file),
        _ => {}
    }
    let (mut to_plain, mut to_seven, mut to_bare) = (Vec::new(), [Vec::new(), Vec::new()], Vec::new());
    for _ in 0..5 {
        let plain = time(|| run_plain(black_box(&counts)));
        let core = time(|| run_core(seven(), &[], black_box(&counts)));
        println!("core {core:6.2} ns a frame, plain loop {plain:6.2} ns a frame, ratio {:5.2}", core / plain);
        to_plain.push(core / plain);
        let of = |axis: fn() -> Sixteen| {
            time(|| {
                let (axis, analogues) = axis();
                run_core(axis, &analogues, black_box(&counts))
            })
        };
        for (axis, ratios) in [sixteen as fn() -> Sixteen, awake].into_iter().zip(&mut to_seven) {
            let many = of(axis);
            println!("    sixteen monitors {many:6.2} ns a frame, {:5.2} of seven rules", many / core);
            ratios.push(many / core);
        }
        let (asleep, bare) = (of(asleep), of(bare));
        println!(
            "    never demanded   {asleep:6.2} ns a frame, {:5.2} of the axis without them",
            asleep / bare
        );
        to_bare.push(asleep / bare);
    }
    println!("median ratio core / plain loop: {:.2}", median(to_plain));
    let [alike, awake] = to_seven.map(median);
    println!("median ratio sixteen monitors / seven rules: {alike:.2}");
    println!("median ratio sixteen monitors of every kind / seven rules: {awake:.2}");
    println!(
        "median ratio sixteen monitors that nothing demands / the axis without them: {:.2}",
        median(to_bare)
    );
}
