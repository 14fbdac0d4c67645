//! A real encoder, and the movements that another program found in its recording.
//!
//! That program (see `wheel.py`) calls it moving when the count covers more than 8 counts within 200 samples (0.2 s);
//! joins what is less than 0.1 s apart; begins a movement at the last sample within 1.5 counts of where it started,
//! in the first such 200; ends it at the first sample from which 200 stay within 8 counts; and drops what lasts less
//! than 50 ms. Onsets, offsets and amplitudes are its results; when the monitors are demanded follows from them.
//!
//! There is one encoder in the recording: these tests are about one source and both ways of counting, not about two
//! sources that differ.

use std::path::Path;
use std::sync::OnceLock;

use host_harness::expect::Expectations;
use host_harness::report::{Report, TripReport, VerdictReport};

use super::fetched;
use super::replayed::{report, setup, setup_with};

const SETUP: &str = "wheel.toml";
const FOUR: &str = "moved by more than 4 counts";
const EIGHT: &str = "moved by more than 8 counts";
const FAST: &str = "faster than 8 counts in 195 ms";
const AT_REST: &str = "at rest";
const SETTLED: &str = "settled";

/// The window of the other program.
const WINDOW_NS: i128 = 200_000_000;

/// A movement as the other program gives it.
struct Movement {
    onset_ns: i128,
    offset_ns: i128,
    amplitude_counts: f64,
}

fn nanos(text: &str) -> i128 {
    let (whole, decimals) = text.split_once('.').expect("decimal seconds");
    assert_eq!(decimals.len(), 9, "{text}");
    format!("{whole}{decimals}").parse().expect("decimal seconds")
}

fn movements(folder: &Path) -> Vec<Movement> {
    let text = std::fs::read_to_string(folder.join("wheel-movements.csv")).expect("the movements");
    let movements: Vec<_> = text
        .lines()
        .skip(1)
        .map(|line| match line.split(',').collect::<Vec<_>>()[..] {
            [onset, offset, amplitude] => Movement {
                onset_ns: nanos(onset),
                offset_ns: nanos(offset),
                amplitude_counts: amplitude.parse().expect("an amplitude"),
            },
            _ => panic!("{line}"),
        })
        .collect();
    assert_eq!(movements.len(), 14);
    movements
}

fn trips<'r>(report: &'r Report, monitor: &str, channel: &str) -> Vec<&'r TripReport> {
    report.trips.iter().filter(|trip| trip.monitor == monitor && trip.channel == channel).collect()
}

/// How long a monitor was active on a channel, in ns, and its smallest headroom in this unit.
fn facts(report: &Report, monitor: &str, channel: &str, unit: &str) -> (i128, f64) {
    let facts = report.monitors.iter().find(|facts| {
        facts.name == monitor && facts.channel == channel && facts.unit.as_deref() == Some(unit)
    });
    let facts = facts.expect("facts of the monitor");
    let headroom = facts.headroom.as_ref().expect("something was compared").to_string();
    (facts.active_s.0, headroom.parse().expect("a number"))
}

/// The report on the recording as it was fetched, and the movements.
fn replayed() -> Option<&'static (Report, Vec<Movement>)> {
    static REPLAYED: OnceLock<(Report, Vec<Movement>)> = OnceLock::new();
    let folder = fetched::wheel()?;
    Some(REPLAYED.get_or_init(|| (report(&setup(SETUP), &folder.join("wheel.csv")), movements(&folder))))
}

/// The movements of these trips, each of which must lie in one of them.
fn tripped_in(trips: &[&TripReport], movements: &[Movement]) -> Vec<usize> {
    let holds = |at: i128| movements.iter().position(|known| (known.onset_ns..known.offset_ns).contains(&at));
    trips
        .iter()
        .map(|trip| holds(trip.tripped_s.0).unwrap_or_else(|| panic!("no movement at {} s", trip.tripped_s)))
        .collect()
}

#[test]
fn every_known_movement_trips_both_channels_within_the_0_2_s_it_was_decided_over() {
    let Some((report, movements)) = replayed() else { return };
    assert_eq!(report.verdict, VerdictReport::Tripped);
    // Within 200 samples around the onset more than 8 counts are covered, so one end of that range is more than 4
    // counts from the position at the onset, and the range is complete 0.2 s after the onset at the latest. Two things
    // do not follow from the other program's rule and are what is found here: that this end comes after the onset,
    // and that the speed, which is that of the way between two samples, exceeds 8 counts in 195 ms as well.
    for (monitor, channel) in [(FOUR, "a"), (FOUR, "b"), (FAST, "a"), (FAST, "b")] {
        let trips = trips(report, monitor, channel);
        assert_eq!(trips.len(), movements.len(), "{monitor}, channel {channel}");
        for (trip, known) in trips.iter().zip(movements) {
            assert_eq!(trip.demand_s.0, known.onset_ns);
            let after = trip.tripped_s.0 - known.onset_ns;
            assert!((0..=WINDOW_NS).contains(&after), "{monitor}, {channel}: {after} ns after the onset");
        }
    }
}

#[test]
fn a_window_of_8_counts_trips_in_exactly_the_movements_with_a_larger_known_amplitude() {
    let Some((report, movements)) = replayed() else { return };
    let larger = |known: &Movement| known.amplitude_counts.abs() > 8.0;
    let expected: Vec<_> =
        (0..).zip(movements).filter(|(_, known)| larger(known)).map(|(i, _)| i).collect::<Vec<usize>>();
    // The check can fail both ways: the amplitudes are on both sides of the window.
    assert_eq!(expected.len(), 13);
    for channel in ["a", "b"] {
        assert_eq!(tripped_in(&trips(report, EIGHT, channel), movements), expected, "channel {channel}");
    }
}

#[test]
fn nothing_trips_between_the_known_movements() {
    let Some((report, movements)) = replayed() else { return };
    // The rest is watched from the first to the last frame, but for the movements, with no margin at either side.
    let moving: i128 = movements.iter().map(|known| known.offset_ns - known.onset_ns).sum();
    let all = report.trace.last_s.unwrap().0 - report.trace.first_s.unwrap().0;
    for channel in ["a", "b"] {
        assert!(trips(report, AT_REST, channel).is_empty());
        assert!(trips(report, SETTLED, channel).is_empty());
        let active = facts(report, AT_REST, channel, "deg/s").0;
        // A time stamp may be off by half a nanosecond, and there are two to a movement.
        assert!((active - (all - moving)).abs() <= 14, "active for {active} ns of {}", all - moving);
    }
    assert_eq!(tripped_in(&report.trips.iter().collect::<Vec<_>>(), movements).len(), report.trips.len());
    assert!(report.faults.is_empty());
    assert_eq!(report.left_out.trips, 0);
    // Every speed was one between two samples that the other program saw together: at most 199 ms.
    for channel in &report.channels {
        assert!(channel.effective_window_s.unwrap().0 <= 199_000_000);
    }
}

#[test]
fn the_threshold_of_8_counts_is_met_to_the_count() {
    let (Some(folder), Some((as_known, _))) = (fetched::wheel(), replayed()) else { return };
    // Of the 200 samples from each offset one is 8 counts away: no headroom, and no trip.
    for channel in ["a", "b"] {
        assert_eq!(facts(as_known, SETTLED, channel, "deg").1, 0.0);
    }
    // One count less, 7 counts, and the same 200 samples trip.
    let as_written = "[\"settling\"]\nposition_window = \"0.703125 deg\"";
    let narrower = "[\"settling\"]\nposition_window = \"0.615234375 deg\"";
    let setup = setup_with(SETUP, &[(as_written, narrower)]);
    let narrower = report(&setup, &folder.join("wheel.csv"));
    for channel in ["a", "b"] {
        assert!(!trips(&narrower, SETTLED, channel).is_empty());
    }
}

#[test]
fn without_the_delay_the_rest_trips_on_what_the_other_program_drops_as_too_short() {
    let Some(folder) = fetched::wheel() else { return };
    let setup = setup_with(SETUP, &[("on_delay        = \"250 ms\"", "on_delay        = \"0 ms\"")]);
    let report = report(&setup, &folder.join("wheel.csv"));
    let movements = movements(&folder);
    let trips = trips(&report, AT_REST, "a");
    // A speed reaches back over its window, so up to 0.2 s after a movement it is still that of the movement.
    let is_apart =
        |at: i128| movements.iter().all(|known| at < known.onset_ns || at > known.offset_ns + WINDOW_NS);
    assert!(trips.iter().any(|trip| is_apart(trip.tripped_s.0)), "{} trips", trips.len());
}

#[test]
fn both_ways_of_counting_give_the_same_position_to_the_last_place() {
    let Some((report, _)) = replayed() else { return };
    let apart = report.discrepancy.as_ref().unwrap();
    assert_eq!(apart.largest.as_ref().unwrap().to_string().parse(), Ok(0.0));
    // More than two turns were made in one movement, so the single-turn encoder passed its zero.
    let headroom = facts(report, FOUR, "b", "deg").1;
    assert!(headroom < -720.0, "{headroom}");
}

#[test]
fn every_reset_between_the_movements_is_accepted() {
    let Some((report, movements)) = replayed() else { return };
    assert_eq!(report.resets.len(), movements.len());
    assert!(report.resets.iter().all(|reset| reset.accepted));
}

#[test]
fn the_expectations_beside_the_setup_are_met_and_name_every_movement() {
    let Some((report, movements)) = replayed() else { return };
    let path = fetched::folder().join("wheel.expect.toml");
    let expectations = Expectations::load(&path, &setup(SETUP)).unwrap_or_else(|error| panic!("{error}"));
    let misses: Vec<_> = expectations.misses(report).iter().map(ToString::to_string).collect();
    assert!(misses.is_empty(), "{misses:#?}");
    let text = std::fs::read_to_string(&path).expect("the expectations");
    for known in movements {
        let onset =
            format!("from = \"{}.{:09} s\"", known.onset_ns / 1_000_000_000, known.onset_ns % 1_000_000_000);
        assert!(text.contains(&onset), "{onset}");
    }
}
