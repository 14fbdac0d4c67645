//! A trace made and replayed up to some time after the first trip of the discrepancy.

use std::collections::BTreeMap;
use std::io::Cursor;

use host_harness::causes::{Decomposition, Options, Sampler, Samples, decompose};
use host_harness::replay::{FrameSource, TripRule, axis, layout, replay};
use host_harness::setup::Setup;
use host_harness::synth::Scenario;
use host_harness::trace::{self, Reader};
use monitor_core::Frame;

/// What was kept of a trace.
pub struct Run {
    pub samples: Samples,
    pub origin_ns: i128,
    /// Whether anything tripped; else the end stands for the trip.
    pub has_tripped: bool,
}

impl Run {
    /// When it tripped, in seconds on the clock of the trace.
    pub fn trip(&self) -> f64 {
        let now = i128::from(self.samples.points[self.samples.trip].now_ns) + self.origin_ns;
        now as f64 / 1e9
    }

    pub fn decompose(&self) -> Decomposition {
        decompose(&self.samples, &Options { origin_ns: self.origin_ns, ..Options::default() })
    }
}

/// Makes the trace of a scenario, replays it, and samples it around the first trip of the position discrepancy.
pub fn run(setup: &str, scenario: &str) -> Run {
    let setup = Setup::parse(setup, "setup.toml").unwrap_or_else(|error| panic!("{error}"));
    let mut trace = Vec::new();
    let scenario = Scenario::from_toml(scenario, "scenario.toml").unwrap_or_else(|error| panic!("{error}"));
    scenario.write(&mut trace).unwrap_or_else(|error| panic!("{error}"));
    let layout = layout(&setup).expect("a layout");
    let reader = || {
        Reader::from_read("trace", Cursor::new(trace.clone()), &layout, trace::Options::default())
            .unwrap_or_else(|error| panic!("{error}"))
    };
    let outcome = replay(&setup, &mut reader(), &mut |_| {}).unwrap_or_else(|error| panic!("{error}"));
    let tripped = outcome.trips.kept.iter().find(|trip| trip.rule == TripRule::PositionDiscrepancy);
    let tripped_at = tripped.map(|trip| trip.tripped_at);
    let mut sampler = Sampler::new(&setup);
    let mut source = reader();
    let mut batch: Vec<Frame> = Vec::new();
    while FrameSource::next_batch(&mut source, &mut batch).unwrap_or_else(|error| panic!("{error}")) {
        for frame in &batch {
            sampler.take(frame);
            if Some(frame.now) == tripped_at {
                sampler.mark();
            }
        }
    }
    Run {
        samples: sampler.samples(),
        origin_ns: source.summary().origin_ns,
        has_tripped: tripped_at.is_some(),
    }
}

/// d of the core at every frame of a trace at which it compares the positions, and the sampler after the last of them.
pub fn compared(setup: &str, scenario: &str) -> (BTreeMap<u64, f64>, Samples) {
    let setup = Setup::parse(setup, "setup.toml").unwrap_or_else(|error| panic!("{error}"));
    let mut trace = Vec::new();
    let scenario = Scenario::from_toml(scenario, "scenario.toml").unwrap_or_else(|error| panic!("{error}"));
    scenario.write(&mut trace).unwrap_or_else(|error| panic!("{error}"));
    let layout = layout(&setup).expect("a layout");
    let mut source = Reader::from_read("trace", Cursor::new(trace), &layout, trace::Options::default())
        .unwrap_or_else(|error| panic!("{error}"));
    let (mut axis, mut sampler) = (axis(&setup).expect("an axis"), Sampler::new(&setup));
    let mut found = BTreeMap::new();
    let mut batch: Vec<Frame> = Vec::new();
    while FrameSource::next_batch(&mut source, &mut batch).unwrap_or_else(|error| panic!("{error}")) {
        for frame in &batch {
            let _ = axis.step(frame);
            sampler.take(frame);
            if let Some(apart) = axis.apart() {
                found.insert(frame.now.as_nanos(), apart.d.to_bits() as f64 / f64::from(1 << 24));
            }
        }
    }
    (found, sampler.samples())
}
