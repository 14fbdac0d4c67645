//! What a frame costs: the axes that are measured, and the frames they are shown.

use cowitness_tests::trace::Rng;
use monitor_core::{
    Acceleration, AxisConfig, Demand, Frame, InputConfig, InputSet, Instant, Levels, OneSided, Pairing,
    Position, PositionDiscrepancy, Ramp, Reading, Rule, Sample, Scale, SourceConfig, Span, Speed,
    SpeedDiscrepancy, SpeedLimit, Standstill, Stop, Supervision, Until, WarmUp,
};

/// An axis whose cost is measured.
pub type Config = AxisConfig<17, 4, 1>;

const PERIOD_NS: u64 = 1_000_000;
/// The door opens or closes every so many frames.
const DOOR: usize = 500;

fn span(millis: u64) -> Span {
    Span::from_millis(millis).expect("in range")
}

fn speed(units: i64) -> Speed {
    Speed::from_int(units).expect("in range")
}

fn position(units: i64) -> Position {
    Position::from_int(units).expect("in range")
}

/// Two sources, nothing to watch.
fn bare() -> Config {
    let source = |denominator, bits| {
        let scale = Scale::from_ratio(1, denominator).expect("in range");
        SourceConfig::try_new(bits, scale, speed(3000), span(4)).expect("in range")
    };
    AxisConfig::try_new(source(2000, 32), source(1000, 24), span(8), WarmUp::Withhold).expect("in range")
}

fn discrepancy() -> PositionDiscrepancy {
    PositionDiscrepancy::try_new(position(2), span(1), span(20), false).expect("in range")
}

fn standstill() -> Standstill {
    Standstill::try_new(position(100_000_000), speed(300)).expect("in range")
}

fn ramp() -> Ramp {
    Ramp::try_new(span(100), Acceleration::from_int(200).expect("in range"), speed(50)).expect("in range")
}

fn limit(limit: i64, ramp: Option<Ramp>) -> Rule {
    Rule::SpeedLimit(SpeedLimit::try_new(speed(limit), ramp).expect("in range"))
}

fn stop(until: Until) -> Rule {
    let supervision =
        Supervision::Ramp { ramp: ramp(), standstill_speed: speed(10), within: Some(span(2000)) };
    Rule::Stop(Stop::try_new(supervision, until).expect("in range"))
}

/// A door of two lines demands it.
fn at_the_door(rules: &[Rule]) -> Config {
    let mut config = bare();
    let door = InputConfig::dual([0, 1], Pairing::Equivalent, true, span(3), span(500), OneSided::Fault);
    let door = config.add_input(door.expect("in range")).expect("room");
    for &rule in rules {
        config.add_monitor(rule, Demand::AnyOf(InputSet::NONE.with(door)), span(4)).expect("room");
    }
    config
}

/// A speed limit, and at the open door a ramped one and a standstill: on two channels, with the discrepancy, seven rules.
pub fn seven() -> Config {
    let mut config = bare();
    config.set_position_discrepancy(discrepancy());
    let door = config.add_input(InputConfig::single(0, true, Span::ZERO).expect("in range")).expect("room");
    let open = Demand::AnyOf(InputSet::NONE.with(door));
    config.add_monitor(limit(250, None), Demand::Always, span(4)).expect("room");
    config.add_monitor(limit(96, Some(ramp())), open, span(4)).expect("room");
    config.add_monitor(Rule::Standstill(standstill()), open, span(4)).expect("room");
    config
}

/// As much as fits, each in its costliest form: a position that leaves its window, readings moved to the instant of the frame, a reset.
fn everything() -> Config {
    let narrow = Standstill::try_new(position(5), speed(300)).expect("in range");
    let mut config = at_the_door(&[
        limit(250, None),
        limit(96, Some(ramp())),
        Rule::Standstill(narrow),
        stop(Until::Standstill(narrow)),
    ]);
    let aligned = PositionDiscrepancy::try_new(position(2), span(1), span(20), true);
    config.set_position_discrepancy(aligned.expect("in range"));
    config.set_speed_discrepancy(SpeedDiscrepancy::try_new(speed(20), span(20)).expect("in range"));
    config.set_reset(InputConfig::single(2, true, Span::ZERO).expect("in range"));
    config
}

/// Every axis that is measured, with its name in the table.
pub fn axes() -> Vec<(&'static str, Config)> {
    let mut position_rule = bare();
    position_rule.set_position_discrepancy(discrepancy());
    let mut aligned = bare();
    let rule = PositionDiscrepancy::try_new(position(2), span(1), span(20), true).expect("in range");
    aligned.set_position_discrepancy(rule);
    let mut speed_rule = bare();
    speed_rule.set_speed_discrepancy(SpeedDiscrepancy::try_new(speed(20), span(20)).expect("in range"));
    vec![
        ("two sources, no rule", bare()),
        ("position discrepancy", position_rule),
        ("position discrepancy, aligned", aligned),
        ("speed discrepancy", speed_rule),
        ("dual input, torque off", at_the_door(&[Rule::TorqueOff])),
        ("standstill", at_the_door(&[Rule::Standstill(standstill())])),
        ("speed limit", at_the_door(&[limit(250, None)])),
        ("speed limit with ramp", at_the_door(&[limit(96, Some(ramp()))])),
        ("stop, then torque off", at_the_door(&[stop(Until::TorqueOff)])),
        ("stop, then standstill", at_the_door(&[stop(Until::Standstill(standstill()))])),
        ("everything at once", everything()),
        ("the seven-rule axis", seven()),
    ]
}

fn reading(captured_at: u64, count: i64, bits: u32) -> Option<Reading> {
    let sample = Sample::Count(count.cast_unsigned() & (u64::MAX >> (64 - bits)));
    Some(Reading { captured_at: Instant::from_nanos(captured_at), sample })
}

/// An axis that swings below all limits while a door opens and closes.
pub fn ordinary(frames: usize) -> Vec<Frame> {
    let mut rng = Rng::new(1);
    let (mut position, mut speed) = (0_i64, 0_i64);
    let mut all = Vec::new();
    for k in 0..frames {
        speed = (speed + rng.range(-8, 7) as i64).clamp(-190, 190);
        position += speed;
        let now = (k as u64 + 1) * PERIOD_NS;
        let levels = Levels::from_bits(if k / DOOR % 2 == 1 { 3 } else { 0 });
        all.push(Frame {
            now: Instant::from_nanos(now),
            a: reading(now, position, 32),
            b: reading(now, position / 2, 24),
            levels,
        });
    }
    all
}

/// An axis that does its worst: readings at times that never repeat, speeds about every limit, doors that chatter, a reset that is pressed
/// meanwhile, readings that are invalid, late, missing one by one or for as long as they may, or impossible.
pub fn adversarial(seed: u64, frames: usize) -> Vec<Frame> {
    let mut rng = Rng::new(seed);
    let (mut now, mut captured) = (PERIOD_NS, [0_u64; 2]);
    let (mut position, mut speed) = (0_i64, 0_i64);
    let chatter = rng.pick(&[5000, 1000, 100]);
    let trouble = rng.pick(&[3000, 500, 50, 0]);
    let jitter = rng.pick(&[0, 1, PERIOD_NS / 2]);
    let (mut levels, mut silent) = (0, 0);
    let mut all = Vec::new();
    for _ in 0..frames {
        now += PERIOD_NS + rng.nanos(0, jitter);
        if rng.once_in(500) {
            speed = rng.range(-600, 600) as i64;
        }
        position += speed;
        if rng.once_in(chatter) {
            levels = rng.range(0, 7) as u32;
        }
        // Then several stored readings become a window old at once.
        silent = if trouble > 0 && rng.once_in(100) { 3 } else { silent.max(1) - 1 };
        let mut source = |captured: &mut u64, count: i64, bits| {
            if silent > 0 {
                return None;
            }
            let late = rng.nanos(0, jitter.max(1) - 1).min(PERIOD_NS / 2);
            if rng.once_in(trouble) {
                return match rng.range(0, 3) {
                    0 => None,
                    1 => Some(Reading { captured_at: Instant::from_nanos(now), sample: Sample::Invalid }),
                    2 => reading(now, count + 100_000, bits),
                    _ => reading(*captured, count, bits),
                };
            }
            *captured = now - late;
            reading(*captured, count, bits)
        };
        let a = source(&mut captured[0], position, 32);
        let b = source(&mut captured[1], position / 2 + rng_slip(position), 24);
        all.push(Frame { now: Instant::from_nanos(now), a, b, levels: Levels::from_bits(levels) });
    }
    all
}

/// A belt that slips at some places.
fn rng_slip(position: i64) -> i64 {
    if position.rem_euclid(50_000) > 40_000 { 3000 } else { 0 }
}

/// What frames cost on a target.
#[derive(Clone, Copy, Debug, Default)]
pub struct Cost {
    /// Instructions a frame.
    pub mean: u32,
    /// The most of one frame, and its index.
    pub worst: (u32, usize),
    /// Bytes of stack, the most of one frame.
    pub stack: u32,
}

/// From what the target wrote: instructions and stack of each frame.
pub fn cost(written: &[u8]) -> Cost {
    let number = |bytes: &[u8]| u32::from_le_bytes(bytes.try_into().expect("four bytes"));
    let frames: Vec<(u32, u32)> =
        written.chunks_exact(8).map(|pair| (number(&pair[..4]), number(&pair[4..]))).collect();
    let sum: u64 = frames.iter().map(|&(count, _)| u64::from(count)).sum();
    let worst = frames.iter().enumerate().map(|(i, &(count, _))| (count, i)).max().unwrap_or_default();
    Cost {
        mean: u32::try_from(sum.div_ceil(frames.len().max(1) as u64)).expect("a mean fits"),
        worst,
        stack: frames.iter().map(|&(_, stack)| stack).max().unwrap_or(0),
    }
}
