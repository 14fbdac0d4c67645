//! The log of a safety loop on a target, decoded on the host.

use std::fs;

use defmt_decoder::{DecodeError, Table};
use monitor_core::{
    Axis, AxisConfig, Bound, Demand, Evidence, Frame, InputConfig, InputSet, Instant, Levels, OneSided,
    Pairing, Position, PositionDiscrepancy, Reading, Rule, Sample, Scale, SourceConfig, Span, Speed,
    SpeedLimit, Trip, WarmUp,
};

use crate::emulator::Image;
use crate::{scratch, target};

/// What the image `watch` logs.
fn logged() -> Option<String> {
    let target = target("thumbv7m-none-eabi")?;
    let image = target.image(&Image { name: "watch", profile: "release", features: "log" });
    let folder = scratch();
    target.run(&image, &folder, &[]);
    let table = Table::parse(&fs::read(&image).expect("the image")).expect("a table").expect("log messages");
    let mut decoder = table.new_stream_decoder();
    decoder.received(&fs::read(folder.join("printed")).expect("the log"));
    let mut text = String::new();
    loop {
        match decoder.decode() {
            Ok(frame) => text += &format!("{}\n", frame.display(false)),
            Err(DecodeError::UnexpectedEof) => return Some(text),
            Err(DecodeError::Malformed) => panic!("the log cannot be decoded after\n{text}"),
        }
    }
}

#[test]
fn the_log_of_the_target_is_the_one_beside_its_source() {
    let Some(text) = logged() else { return };
    let expected = include_str!("../on-target/firmware/src/bin/watch.out");
    assert!(text == expected, "logged:\n{text}\nexpected:\n{expected}");
}

fn span(millis: u64) -> Span {
    Span::from_millis(millis).expect("in range")
}

fn speed(units: i64) -> Speed {
    Speed::from_int(units).expect("in range")
}

/// The setup of the image.
fn config() -> AxisConfig<17, 1, 1> {
    let source = |per_mm| {
        let scale = Scale::from_ratio(1, per_mm).expect("in range");
        SourceConfig::try_new(32, scale, speed(3000), span(4)).expect("in range")
    };
    let mut config =
        AxisConfig::try_new(source(2000), source(1000), span(8), WarmUp::Withhold).expect("in range");
    let door = InputConfig::dual([0, 1], Pairing::Equivalent, false, span(3), span(500), OneSided::Fault);
    let door = config.add_input(door.expect("in range")).expect("room");
    let slow = Rule::SpeedLimit(SpeedLimit::try_new(speed(250), None).expect("in range"));
    config.add_monitor(slow, Demand::AnyOf(InputSet::NONE.with(door)), span(4)).expect("room");
    let tolerance = Position::from_int(2).expect("in range");
    let rule = PositionDiscrepancy::try_new(tolerance, span(1), span(20), false).expect("in range");
    config.set_position_discrepancy(rule);
    config
}

/// The trips of the same machine on the host.
fn trips() -> Vec<Trip> {
    let mut axis = Axis::new(config());
    let (mut permit, mut position, mut speed) = (false, 0_u64, 0_u64);
    for period in 1..=600_u64 {
        speed = if permit { (speed + 4).min(400) } else { speed.saturating_sub(10) };
        position += speed;
        let now = Instant::from_nanos(period * 1_000_000);
        let reading = |count| Some(Reading { captured_at: now, sample: Sample::Count(count) });
        let levels = Levels::from_bits(if period < 400 { 3 } else { 0 });
        permit = axis.step(&Frame { now, a: reading(2 * position), b: reading(position), levels }).permit;
    }
    axis.state().trips().collect()
}

#[test]
fn the_trips_in_the_log_of_the_target_are_those_of_the_host() {
    let Some(text) = logged() else { return };
    let logged: Vec<&str> = text.lines().filter(|line| line.contains("Trip {")).collect();
    let trips = trips();
    assert_eq!((logged.len(), trips.len()), (2, 2), "{text}");
    for (line, trip) in logged.iter().zip(trips) {
        let Evidence::Speed(Bound { observed, limit, .. }) = trip.evidence else { panic!("{trip:?}") };
        let instants = [trip.demanded_at, trip.violated_since, trip.tripped_at];
        let numbers = instants.map(|at| at.as_nanos().to_string());
        let bits = [observed, limit].map(|speed| format!("{} / 2^24", speed.to_bits()));
        let mut rest = *line;
        for part in numbers.iter().chain(&bits) {
            rest = rest.split_once(part.as_str()).unwrap_or_else(|| panic!("no {part} in {line}")).1;
        }
    }
}
