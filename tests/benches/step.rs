//! The core's seven rules of a two-channel axis, in memory, against a hand-written loop without any of the safety semantics.
//!
//! Prints nanoseconds per frame and the ratio of the two, measured in turns in one run.

use std::hint::black_box;
use std::time::Instant as Clock;

use monitor_core::{
    Acceleration, Axis, AxisConfig, Demand, Frame, Instant, Levels, Position, PositionDiscrepancy, Ramp,
    Reading, Rule, Sample, Scale, SourceConfig, Span, Speed, SpeedLimit, Standstill, Stop, Supervision,
    Until, WarmUp,
};

const FRAMES: usize = 10_000_000;
const PERIOD_NS: u64 = 1_000_000;
const WINDOW: usize = 8;

/// Counts of both sources: the axis swings, so that every rule has something to compare.
fn counts() -> Vec<(i32, i32)> {
    let mut state = 1_u64;
    let mut position = 0_i64;
    let mut speed = 0_i64;
    (0..FRAMES)
        .map(|_| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            speed = (speed + ((state >> 60) as i64 - 8)).clamp(-190, 190);
            position += speed;
            (position as i32, (position / 2) as i32)
        })
        .collect()
}

fn axis() -> Axis<17, 4, 1> {
    let span = |ms| Span::from_millis(ms).unwrap();
    let speed = |v| Speed::from_int(v).unwrap();
    let source = |denominator, bits| {
        SourceConfig::try_new(bits, Scale::from_ratio(1, denominator).unwrap(), speed(3000), span(4)).unwrap()
    };
    let mut config =
        AxisConfig::try_new(source(2000, 32), source(1000, 24), span(8), WarmUp::Withhold).unwrap();
    let ramp = Ramp::try_new(span(100), Acceleration::from_int(2000).unwrap(), speed(50)).unwrap();
    let limit = SpeedLimit::try_new(speed(250), None).unwrap();
    let stop = Stop::try_new(
        Supervision::Ramp { ramp, standstill_speed: Speed::ZERO, within: Some(Span::from_nanos(u64::MAX)) },
        Until::TorqueOff,
    );
    let _ = stop;
    let envelope = SpeedLimit::try_new(speed(120), Some(ramp)).unwrap();
    let standstill = Standstill::try_new(Position::from_int(100_000_000).unwrap(), speed(300)).unwrap();
    for rule in [Rule::SpeedLimit(limit), Rule::SpeedLimit(envelope), Rule::Standstill(standstill)] {
        config.add_monitor(rule, Demand::Always, span(4)).unwrap();
    }
    config.set_position_discrepancy(
        PositionDiscrepancy::try_new(Position::from_int(2).unwrap(), span(1), span(20), false).unwrap(),
    );
    Axis::new(config)
}

fn run_core(counts: &[(i32, i32)]) -> u64 {
    let mut axis = axis();
    let mut permits = 0_u64;
    let mut now = 0;
    for &(a, b) in counts {
        now += PERIOD_NS;
        let captured_at = Instant::from_nanos(now);
        let reading = |count: i32| Some(Reading { captured_at, sample: Sample::Count(count as u32 as u64) });
        let frame = Frame { now: captured_at, a: reading(a), b: reading(b), levels: Levels::from_bits(0) };
        let outcome = axis.step(&frame);
        permits += u64::from(outcome.permit) + u64::from(outcome.has_trip());
    }
    permits
}

/// The same seven comparisons in plain integers: no faults, no latches, no wrap, no units.
fn run_plain(counts: &[(i32, i32)]) -> u64 {
    let (mut trips, mut since) = (0_u64, [0_u32; 7]);
    let mut line = 60_000_i64;
    for i in WINDOW..counts.len() {
        let ((a0, b0), (a, b)) = (counts[i - WINDOW], counts[i]);
        let (va, vb) = (i64::from(a - a0).abs(), i64::from(b - b0).abs() * 2);
        line = (line - 1).max(1920);
        let d = (i64::from(a) - 2 * i64::from(b)).abs();
        let violated = [
            va > 4000,
            vb > 4000,
            va > line,
            vb > line,
            va > 4800 || i64::from(a).abs() > 1_000_000_000,
            vb > 4800 || i64::from(b).abs() > 1_000_000_000,
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

fn main() {
    let counts = counts();
    if std::env::args().any(|a| a == "once") {
        black_box(run_core(&counts));
        return;
    }
    let mut ratios: Vec<f64> = (0..5)
        .map(|_| {
            let plain = time(|| run_plain(black_box(&counts)));
            let core = time(|| run_core(black_box(&counts)));
            println!(
                "core {core:6.2} ns a frame, plain loop {plain:6.2} ns a frame, ratio {:5.2}",
                core / plain
            );
            core / plain
        })
        .collect();
    ratios.sort_by(f64::total_cmp);
    println!("median ratio core / plain loop: {:.2}", ratios[2]);
}
