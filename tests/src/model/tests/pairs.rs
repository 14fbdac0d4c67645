//! The two channels against each other.

use super::*;
use num_traits::Signed;

fn compared(tolerance: &str, skew_allowance_ns: u64, align: bool) -> Setup {
    let mut setup = Setup { window_ns: MS, points: 3, ..bare() };
    let rule = Discrepancy { tolerance: d(tolerance), skew_allowance_ns, align, discrepancy_time_ns: 3 * MS };
    setup.discrepancy = Some(rule);
    setup
}

fn step(model: &mut Model, ms: u64, a: i64, b: i64) -> DiscrepancySeen {
    let frame = frame(ms * MS, reading(ms * MS, a), reading(ms * MS, b), 0);
    model.step(&frame).discrepancy.expect("a discrepancy is set up")
}

#[test]
fn positions_are_compared_from_the_first_frame_at_which_both_are_read() {
    let mut model = Model::new(&compared("0.5", 0, false));
    let first = model.step(&frame(0, reading(0, 0), None, 0)).discrepancy.expect("set up");
    assert_eq!(first.difference, None);
    assert_eq!(step(&mut model, 1, 100, 7000).difference, Some(d("0")));
    assert_eq!(step(&mut model, 2, 300, 7100).difference, Some(d("0.1")));
}

#[test]
fn a_discrepancy_trips_after_its_time() {
    let mut model = Model::new(&compared("0.5", 0, false));
    let slip = |ms: u64| if ms < 4 { 0 } else { 501 };
    let seen: Vec<DiscrepancySeen> = (0..12).map(|ms| step(&mut model, ms, slip(ms), 0)).collect();
    assert_eq!(seen.iter().position(|seen| seen.violated), Some(4));
    let facts: Vec<&TripFacts> = seen.iter().filter_map(|seen| seen.tripped_now.as_ref()).collect();
    assert_eq!(facts.len(), 1);
    assert_eq!((millis(facts[0].violated_since), millis(facts[0].tripped_at)), (4, 7));
    assert_eq!(facts[0].bound.observed.exact, d("0.501"));
}

#[test]
fn the_skew_allowance_counts_with_the_slower_channel_and_not_while_a_speed_is_unknown() {
    let mut model = Model::new(&compared("0.5", 10 * MS, false));
    let limits: Vec<Q> = (0..3)
        .map(|ms| {
            step(&mut model, ms, 10 * ms.cast_signed(), 20 * ms.cast_signed()).limit.expect("compared").exact
        })
        .collect();
    assert_eq!(limits, [d("0.5"), d("0.6"), d("0.6")]);
}

/// B is captured 0.25 ms before each frame. With 40 mm/s it lies 10 µm behind A, with 80 mm/s from the third millisecond on
/// 20 µm.
#[test]
fn aligned_positions_are_moved_to_the_instant_of_the_frame() {
    for (align, expected) in [(false, "0.01"), (true, "0")] {
        let mut model = Model::new(&compared("0.5", 0, align));
        let late = 250_000;
        let mut last = None;
        for ms in 1..9 {
            let now = ms * MS;
            let (travelled, behind) =
                if ms <= 3 { (40 * ms.cast_signed(), 10) } else { (80 * ms.cast_signed() - 120, 20) };
            last = model
                .step(&frame(now, reading(now, travelled), reading(now - late, travelled - behind), 0))
                .discrepancy;
        }
        assert_eq!(last.and_then(|seen| seen.difference), Some(d(expected)));
    }
}

#[test]
fn references_are_taken_anew_after_a_fault_broke_the_continuity_of_either() {
    let mut model = Model::new(&compared("0.5", 0, false));
    step(&mut model, 0, 0, 0);
    assert_eq!(step(&mut model, 1, 300, 0).difference, Some(d("0.3")));
    assert_eq!(step(&mut model, 2, 90_000, 0).difference, None);
    assert_eq!(step(&mut model, 3, 90_001, 0).difference, Some(d("0.001")));
}

#[test]
fn a_difference_within_the_rounding_of_its_brackets_is_decided_by_that_rounding_unless_it_is_aligned() {
    let mut setup = compared("0.5", 0, false);
    setup.discrepancy.as_mut().expect("set up").tolerance = nearest_ulp(&d("0.3"));
    let mut model = Model::new(&setup);
    assert_eq!(step(&mut model, 0, 0, 0).verdict, Tri::No);
    let seen = step(&mut model, 1, 300, 0);
    assert_eq!((seen.verdict, seen.violated), (Tri::No, false));
    assert_eq!(seen.difference_held, Some(nearest_ulp(&d("0.3"))));
    assert_eq!(step(&mut model, 2, 301, 0).verdict, Tri::Yes);
    // Aligned by a speed that is rounded itself.
    setup.discrepancy.as_mut().expect("set up").align = true;
    let mut model = Model::new(&setup);
    for ms in 0..20 {
        step(&mut model, ms, 0, 0);
    }
    assert_eq!(step(&mut model, 20, 300, 0).verdict, Tri::Near);
}

#[test]
fn speeds_are_compared_with_their_signs_once_both_are_known() {
    let mut setup = Setup { window_ns: MS, points: 3, ..bare() };
    setup.speed_discrepancy = Some(SpeedDiscrepancy { tolerance: d("5"), discrepancy_time_ns: 0 });
    let mut model = Model::new(&setup);
    let mut step = |ms: u64, a, b| {
        let frame = frame(ms * MS, reading(ms * MS, a), reading(ms * MS, b), 0);
        model.step(&frame).speed_discrepancy.expect("set up")
    };
    assert_eq!(step(0, 0, 0).difference, None);
    let seen = step(1, 3, -3);
    assert_eq!((seen.difference, seen.verdict), (Some(d("6")), Tri::Yes));
    assert!(seen.tripped_now.is_some());
}

/// As above with 40 mm/s, but A jumps at the fifth millisecond, so the references are taken anew.
#[test]
fn aligned_references_are_taken_once_both_speeds_are_known_and_moved_too() {
    let mut model = Model::new(&compared("0.5", 0, true));
    let late = 250_000;
    let mut seen = Vec::new();
    for ms in 1..8 {
        let now = ms * MS;
        let travelled = 40 * ms.cast_signed();
        let jumped = travelled + if ms < 5 { 0 } else { 90_000 };
        let frame = frame(now, reading(now, jumped), reading(now - late, travelled - 10), 0);
        let rule = model.step(&frame).discrepancy.expect("set up");
        // Half a ULP for each bracket, and for each of the two alignments of a channel.
        let error =
            rule.difference.as_ref().zip(rule.difference_held).map(|(exact, held)| (exact - held).abs());
        assert!(error.is_none_or(|error| error <= ulps(3)));
        seen.push(rule.difference);
    }
    let zero = Some(d("0"));
    assert_eq!(seen, [None, zero.clone(), zero.clone(), zero.clone(), None, zero.clone(), zero]);
}
