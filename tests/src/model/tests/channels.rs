//! Channel faults and continuity.

use super::*;

/// The faults of channel A over `frames`, while channel B is read at every frame.
fn faults(frames: &[(u64, Option<Reading>)]) -> Vec<Option<Fault>> {
    let mut model = Model::new(&bare());
    let step = |(now, a): &(u64, Option<Reading>)| {
        model.step(&frame(*now, *a, reading(*now, 0), 0)).channels[0].fault
    };
    frames.iter().map(step).collect()
}

#[test]
fn a_reading_is_stale_only_beyond_the_timeout() {
    let timeout = 4 * MS;
    let seen = faults(&[(0, reading(0, 0)), (timeout, None), (timeout + 1, None), (timeout + 2, None)]);
    assert_eq!(seen, [None, None, Some(Fault::Stale), Some(Fault::Stale)]);
}

#[test]
fn a_gap_between_readings_is_stale_although_no_frame_fell_into_it() {
    let later = 4 * MS + 1;
    assert_eq!(faults(&[(0, reading(0, 0)), (later, reading(later, 0))]), [None, Some(Fault::Stale)]);
    let at_timeout = 4 * MS;
    assert_eq!(faults(&[(0, reading(0, 0)), (at_timeout, reading(at_timeout, 0))]), [None, None]);
}

#[test]
fn a_channel_that_was_never_read_is_stale_after_its_timeout_since_the_first_frame() {
    let start = 7 * MS;
    let seen = faults(&[(start, None), (start + 4 * MS, None), (start + 4 * MS + 1, None)]);
    assert_eq!(seen, [None, None, Some(Fault::Stale)]);
}

#[test]
fn an_invalid_reading_stays_the_newest_until_a_good_one_comes() {
    let seen = faults(&[
        (0, reading(0, 0)),
        (MS, invalid(MS)),
        (2 * MS, None),
        (3 * MS, reading(0, 0)),
        (4 * MS, reading(4 * MS, 0)),
    ]);
    let bad = Some(Fault::Invalid);
    assert_eq!(seen, [None, bad, bad, bad, None]);
}

#[test]
fn a_reading_from_the_future_or_the_past_or_with_another_value_is_out_of_order() {
    let bad = Some(Fault::OutOfOrder);
    assert_eq!(faults(&[(0, reading(0, 0)), (MS, reading(MS + 1, 0))])[1], bad);
    assert_eq!(faults(&[(MS, reading(MS, 0)), (2 * MS, reading(MS - 1, 0))])[1], bad);
    assert_eq!(faults(&[(MS, reading(MS, 0)), (2 * MS, reading(MS, 1))])[1], bad);
    assert_eq!(faults(&[(MS, reading(MS, 0)), (2 * MS, reading(MS, 0))])[1], None);
}

#[test]
fn an_out_of_order_reading_is_dropped_and_continuity_goes_on() {
    let mut model = Model::new(&bare());
    for ms in 0..6 {
        model.step(&both(ms * MS, 10 * ms.cast_signed(), 0));
    }
    let seen = model.step(&frame(6 * MS, reading(7 * MS, 999), reading(6 * MS, 60), 0));
    assert_eq!(seen.channels[0].position, Some(d("0.05")));
    assert_eq!(seen.channels[0].speed, Some(d("10")));
    let seen = model.step(&both(7 * MS, 70, 0));
    assert_eq!(seen.channels[0].fault, None);
    assert_eq!(seen.channels[0].speed, Some(d("10")));
    assert_eq!(seen.channels[0].latched, Some(Fault::OutOfOrder));
    assert!(!seen.permit);
}

/// 3 m/s for 1 ms are 3 mm, 3000 counts; one count more is still possible, two are not.
#[test]
fn a_change_is_implausible_from_two_counts_beyond_the_fastest_motion() {
    for (count, fault) in
        [(3001, None), (3002, Some(Fault::Implausible)), (-3001, None), (-3002, Some(Fault::Implausible))]
    {
        assert_eq!(faults(&[(0, reading(0, 0)), (MS, reading(MS, count))])[1], fault, "{count} counts");
    }
}

#[test]
fn the_reading_that_showed_a_jump_is_the_first_of_a_new_continuity() {
    let mut model = Model::new(&bare());
    for ms in 0..6 {
        model.step(&both(ms * MS, 0, 0));
    }
    let seen = model.step(&frame(6 * MS, reading(6 * MS, 90_000), reading(6 * MS, 0), 0));
    assert_eq!(seen.channels[0].fault, Some(Fault::Implausible));
    assert_eq!(seen.channels[0].position, Some(d("90")));
    assert_eq!(seen.channels[0].speed, None);
    let seen: Vec<Seen> = (7..12)
        .map(|ms| model.step(&frame(ms * MS, reading(ms * MS, 90_000), reading(ms * MS, 0), 0)))
        .collect();
    assert_eq!(seen[0].channels[0].fault, None);
    let known: Vec<bool> = seen.iter().map(|seen| seen.channels[0].speed.is_some()).collect();
    assert_eq!(known, [false, false, false, true, true]);
}

#[test]
fn a_first_reading_beyond_the_range_of_a_position_is_a_range_fault_until_one_is_in_range() {
    let mut setup = bare();
    setup.a = Source { counter_bits: 64, ..source() };
    let mut model = Model::new(&setup);
    let mut step = |now, a| model.step(&frame(now, a, reading(now, 0), 0)).channels[0].fault;
    assert_eq!(step(0, reading(0, i64::MAX)), Some(Fault::Range));
    assert_eq!(step(MS, None), Some(Fault::Range));
    // The largest position is (2⁶³ − 1) ULP, just below 2³⁹ mm.
    let outside = (1 << 39) * 1000;
    assert_eq!(step(2 * MS, reading(2 * MS, outside)), Some(Fault::Range));
    assert_eq!(step(3 * MS, reading(3 * MS, outside)), Some(Fault::Range));
    assert_eq!(step(4 * MS, reading(4 * MS, outside - 1)), None);
}

#[test]
fn a_frame_whose_clock_stands_still_is_not_evaluated() {
    let mut setup = bare();
    setup.inputs = vec![button(0)];
    let mut model = Model::new(&setup);
    model.step(&both(5 * MS, 0, 0));
    let seen = model.step(&frame(5 * MS, invalid(5 * MS), None, 1));
    assert!(seen.clock_fault && !seen.permit);
    assert_eq!((seen.channels[0].fault, seen.inputs[0].demanding), (None, false));
    let seen = model.step(&both(6 * MS, 0, 0));
    assert!(!seen.clock_fault && seen.clock_latched && !seen.permit);
}
