//! What the properties share.

use cowitness_tests::model::Setup;
use cowitness_tests::trace::{Case, Mood, plain_case};
use monitor_core::{
    Apart, Axis, AxisConfig, Bound, Channel, Frame, Instant, Levels, MonitorId, Outcome, Reading, Sample,
    Scale, SourceConfig, Span, Speed, Trip, Tripped, WarmUp,
};
use proptest::prelude::*;

use cowitness_tests::core_of::{Core, core_of};

/// Stored points of every axis here.
pub const POINTS: usize = 9;
/// The axis of the properties.
pub type Config = AxisConfig<POINTS, 16, 16>;

/// Random cases of 50 to 400 frames in any mood.
pub fn cases() -> impl Strategy<Value = Case> {
    (any::<u64>().no_shrink(), 50_usize..=400).prop_map(|(seed, length)| plain_case(seed, length, POINTS))
}

/// Random cases in which the sources are perfect.
pub fn clean_cases() -> impl Strategy<Value = Case> {
    cases().prop_filter("a quarter of the seeds", |case| case.mood == Mood::Clean)
}

/// So many cases of each property, and no file with failures.
pub fn config(cases: u32) -> ProptestConfig {
    ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(cases) }
}

/// The core's setup.
pub fn config_of(setup: &Setup) -> Config {
    core_of::<POINTS>(setup).config
}

/// What an axis tells when it is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    pub apart: Option<Apart>,
    pub speeds_apart: Option<Bound<Speed>>,
    /// In ULPs.
    pub speeds: [Option<i64>; 2],
}

/// What the axis says at every frame, and what it tells there.
pub fn run(setup: &Setup, frames: &[Frame]) -> Vec<(Outcome, Told)> {
    let mut axis = Axis::new(config_of(setup));
    let step = |frame: &Frame| {
        let outcome = axis.step(frame);
        let speed = |channel| axis.speed(channel).map(|speed| speed.signed().to_bits());
        let told =
            Told { apart: axis.apart(), speeds_apart: axis.speeds_apart(), speeds: Channel::BOTH.map(speed) };
        (outcome, told)
    };
    frames.iter().map(step).collect()
}

/// Every rule of a setup: each monitor on each channel, then the discrepancies.
pub fn rules(monitors: &[MonitorId]) -> Vec<Tripped> {
    let of = |&id: &MonitorId| Channel::BOTH.map(|channel| Tripped::Monitor(id, channel));
    let discrepancies = [Tripped::PositionDiscrepancy, Tripped::SpeedDiscrepancy];
    monitors.iter().flat_map(of).chain(discrepancies).collect()
}

/// The first trip of every rule on an axis that is never reset.
pub fn first_trips(setup: &Setup, frames: &[Frame]) -> Vec<Option<Trip>> {
    let Core { config, monitors, .. } = core_of::<POINTS>(setup);
    let mut axis = Axis::new(config);
    for frame in frames {
        let outcome = axis.step(frame);
        assert_eq!(outcome.reset, None, "the axis has no reset");
    }
    rules(&monitors).into_iter().map(|rule| axis.state().trip(rule)).collect()
}

/// The instant of a trip in nanoseconds; later than anything when there was none.
pub fn when(trip: Option<&Trip>) -> u64 {
    trip.map_or(u64::MAX, |trip| trip.tripped_at.as_nanos())
}

/// A source of 64 bits whose count is a millionth of a micrometre, in mm.
pub fn fine_source() -> SourceConfig {
    let scale = Scale::from_ratio(1, 1_000_000_000).expect("in range");
    let max_speed = Speed::from_int(20_000).expect("in range");
    SourceConfig::try_new(64, scale, max_speed, Span::from_nanos(400_000_000)).expect("in range")
}

/// An axis with two such sources and no rules.
pub fn fine_axis(window: u64) -> Config {
    AxisConfig::try_new(fine_source(), fine_source(), Span::from_nanos(window), WarmUp::Permit)
        .expect("in range")
}

/// A reading.
pub fn reading(captured_at: u64, count: i64) -> Option<Reading> {
    let sample = Sample::Count(count.cast_unsigned());
    Some(Reading { captured_at: Instant::from_nanos(captured_at), sample })
}

/// A frame at which both sources say the same and every line is low.
pub fn both(now: u64, reading: Option<Reading>) -> Frame {
    Frame { now: Instant::from_nanos(now), a: reading, b: reading, levels: Levels::from_bits(0) }
}
