//! What sampling costs a frame, and what a decomposition costs: `cargo bench -p cowitness-tests --bench causes`.

use std::time::Instant as Clock;

use host_harness::causes::{Options, Sampler, decompose};
use host_harness::setup::Setup;
use monitor_core::{Frame, Instant, Levels, Reading, Sample};

const SETUP: &str = include_str!("../../traces-demo/shuttle.toml");
const FRAMES: u64 = 10_000_000;
/// The trip is so many frames before the end.
const AFTER: u64 = 5000;

/// To and fro at 8 kHz; late readings of channel b shortly before the trip.
fn frame(k: u64) -> Frame {
    let now = Instant::from_nanos(1_000_000 + k * 125_000);
    let place = |k: u64| {
        let phase = (k % 64_000) as f64 / 64_000.0 * std::f64::consts::TAU;
        (1.0 - phase.cos()) * 500.0
    };
    // By one frame more in every other frame.
    let late = (k + AFTER + 400).saturating_sub(FRAMES).min(80) / 2;
    let reading = |count: f64| {
        Some(Reading { captured_at: now, sample: Sample::Count((count as i64).cast_unsigned()) })
    };
    let (a, b) = (reading(place(k) * 2000.0), reading(place(k.saturating_sub(late)) * 1000.0));
    Frame { now, a, b, levels: Levels::default() }
}

fn main() {
    let setup = Setup::parse(SETUP, "shuttle.toml").unwrap_or_else(|error| panic!("{error}"));
    let frames: Vec<Frame> = (0..FRAMES).map(frame).collect();
    // What it costs only to look at each frame.
    let start = Clock::now();
    let seen =
        frames.iter().filter(|frame| std::hint::black_box(frame).a.is_some() && frame.b.is_some()).count();
    let look = start.elapsed().as_secs_f64() * 1e9 / FRAMES as f64;
    println!("looking: {look:.1} ns a frame, {seen} frames");
    let mut sampler = Sampler::new(&setup);
    let start = Clock::now();
    for (k, frame) in (0..).zip(&frames) {
        sampler.take(frame);
        if k == FRAMES - AFTER {
            sampler.mark();
        }
    }
    let each = start.elapsed().as_secs_f64() * 1e9 / FRAMES as f64;
    let samples = sampler.samples();
    println!("sampling: {each:.1} ns a frame; {} samples", samples.points.len());
    let start = Clock::now();
    let found = decompose(&samples, &Options::default());
    println!("decomposition: {:.0} ms\n{found}", start.elapsed().as_secs_f64() * 1e3);
}
