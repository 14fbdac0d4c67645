//! Hand-computed cases, each from one sentence of the rules, and published values.

mod accelerations;
mod analogues;
mod brakes;
mod channels;
mod corners;
mod counters;
mod directions;
mod inputs;
mod monitors;
mod outputs;
mod overruns;
mod pairs;
mod places;
mod ramps;
mod reactions;
mod resets;
mod setups;
mod speeds;

use super::*;
use monitor_core::{Frame, Instant, Levels, Reading, Sample};

const MS: u64 = 1_000_000;
const RESET: u32 = 1 << 31;

/// A decimal that is known to be one.
fn d(text: &str) -> Q {
    decimal(text).expect("a decimal")
}

/// 32 bits of a micrometre in mm; 3 m/s; readings may be 4 ms old.
fn source() -> Source {
    Source { counter_bits: 32, unit_per_count: d("0.001"), max_speed: d("3000"), timeout_ns: 4 * MS }
}

/// Two such sources with a window of 4 ms, and no rule at all.
fn bare() -> Setup {
    Setup {
        a: source(),
        b: source(),
        referencing: [Referencing::None, Referencing::None],
        analogues: Vec::new(),
        window_ns: 4 * MS,
        points: 9,
        warm_up_withholds: true,
        discrepancy: None,
        speed_discrepancy: None,
        inputs: Vec::new(),
        reset_line: Some(31),
        reset_filter_ns: 0,
        monitors: Vec::new(),
    }
}

/// A single-channel input on line `line`, demanding while high.
fn button(line: u8) -> Input {
    Input { lines: Lines::One(line), demand_high: true, filter_ns: 0 }
}

fn monitor(kind: Kind, on_delay_ns: u64, demand: &[usize]) -> Monitor {
    Monitor { demand: Demand::inputs(demand), reaction: None, on_delay_ns, allowed_overrun: None, kind }
}

fn speed_limit(limit: &str) -> Kind {
    Kind::SpeedLimit { limit: d(limit), ramp: None }
}

fn reading(at_ns: u64, count: i64) -> Option<Reading> {
    let sample = Sample::Count(count.cast_unsigned());
    Some(Reading { captured_at: Instant::from_nanos(at_ns), sample })
}

fn invalid(at_ns: u64) -> Option<Reading> {
    Some(Reading { captured_at: Instant::from_nanos(at_ns), sample: Sample::Invalid })
}

fn frame(now_ns: u64, a: Option<Reading>, b: Option<Reading>, bits: u32) -> Frame {
    Frame { now: Instant::from_nanos(now_ns), a, b, levels: Levels::from_bits(bits) }
}

/// Both sources read `count` at the frame itself.
fn both(now_ns: u64, count: i64, bits: u32) -> Frame {
    frame(now_ns, reading(now_ns, count), reading(now_ns, count), bits)
}

/// Runs a model over millisecond frames at which both sources read what `count` says.
fn run(
    setup: &Setup,
    frames: std::ops::Range<u64>,
    count: impl Fn(u64) -> i64,
    bits: impl Fn(u64) -> u32,
) -> Vec<Seen> {
    let mut model = Model::new(setup);
    frames.map(|ms| model.step(&both(ms * MS, count(ms), bits(ms)))).collect()
}

/// The counts of an axis that has gone at `speed(ms)` mm/s to the millisecond `ms`.
fn going(speed: impl Fn(u64) -> i64) -> impl Fn(u64) -> i64 {
    move |ms| (1..=ms).map(&speed).sum()
}

/// What the first monitor compared on channel A.
fn bound(seen: &Seen) -> Bound {
    seen.monitors[0].lanes[0].compared.clone().expect("compared")
}

/// The frames at which the first monitor is violated on channel A.
fn violated(seen: &[Seen]) -> Vec<usize> {
    (0..seen.len()).filter(|&at| seen[at].monitors[0].lanes[0].violated).collect()
}

/// The frames at which the first monitor trips on channel A, with what was compared.
fn trips(seen: &[Seen]) -> Vec<(usize, Evidence)> {
    let trip = |at: usize| {
        seen[at].monitors[0].lanes[0].tripped_now.as_ref().map(|facts| (at, facts.bound.evidence))
    };
    (0..seen.len()).filter_map(trip).collect()
}

fn millis(nanos: u64) -> u64 {
    nanos / MS
}
