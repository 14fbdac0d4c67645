//! On-delay, trip, standstill, torque off, warm-up.

use super::*;

/// One reading back is the window: the speed at a frame is the step into it.
fn sharp() -> Setup {
    Setup { window_ns: MS, points: 3, warm_up_withholds: false, ..bare() }
}

/// The count of a speed of 1 mm/s at samples 0 to 4, 3 mm/s at 5 to 24, 1 mm/s at 25 to 29.
fn burst(sample: u64) -> i64 {
    (0..=sample).map(|at| if (5..25).contains(&at) { 3 } else { 1 }).sum()
}

/// Discrete-time signal temporal logic: `historically[0:10ms](abs(v) > 2)` over this trace first holds at sample 15,
/// and with 9 ms at sample 14 (computed with the runtime-verification library rtamt 0.4.10). A trip at 15 is the
/// latest that is not late and the earliest that is not a nuisance.
#[test]
fn a_violation_from_sample_5_trips_at_sample_15_with_an_on_delay_of_10_ms() {
    for (on_delay, expected) in [(10, 15), (9, 14), (0, 5), (19, 24)] {
        let mut setup = sharp();
        setup.monitors = vec![monitor(speed_limit("2"), on_delay * MS, &[])];
        let seen = run(&setup, 0..30, burst, |_| 0);
        for channel in [0, 1] {
            let trips: Vec<&TripFacts> =
                seen.iter().filter_map(|seen| seen.monitors[0].lanes[channel].tripped_now.as_ref()).collect();
            assert_eq!(trips.len(), 1);
            assert_eq!((millis(trips[0].violated_since), millis(trips[0].tripped_at)), (5, expected));
            assert_eq!((&trips[0].bound.observed.exact, &trips[0].bound.limit.exact), (&d("3"), &d("2")));
        }
        let permitted: Vec<u64> = (0..30).filter(|&at| seen[at as usize].permit).collect();
        assert_eq!(permitted, (0..expected).collect::<Vec<_>>());
    }
    let mut setup = sharp();
    setup.monitors = vec![monitor(speed_limit("2"), 20 * MS, &[])];
    assert!(run(&setup, 0..30, burst, |_| 0).iter().all(|seen| seen.permit));
}

#[test]
fn one_frame_without_violation_restarts_the_on_delay() {
    let mut setup = sharp();
    setup.monitors = vec![monitor(speed_limit("2"), 10 * MS, &[])];
    let pause = |sample: u64| burst(sample) - if sample >= 12 { 2 } else { 0 };
    let seen = run(&setup, 0..30, pause, |_| 0);
    let tripped = seen.iter().position(|seen| seen.monitors[0].lanes[0].tripped_now.is_some());
    assert_eq!(tripped, Some(23));
}

#[test]
fn a_speed_at_the_limit_does_not_violate_it() {
    let mut setup = sharp();
    setup.monitors = vec![monitor(speed_limit("3"), 0, &[])];
    assert!(run(&setup, 0..30, burst, |_| 0).iter().all(|seen| seen.permit));
    setup.monitors = vec![monitor(Kind::SpeedLimit { limit: d("3") - ulps(1), ramp: None }, 0, &[])];
    assert_eq!(run(&setup, 0..30, burst, |_| 0).iter().position(|seen| !seen.permit), Some(5));
}

#[test]
fn the_end_of_a_demand_clears_the_timer_and_a_new_one_has_a_new_start() {
    let mut setup = sharp();
    setup.inputs = vec![button(0), button(1)];
    setup.monitors = vec![monitor(speed_limit("2"), 5 * MS, &[0, 1])];
    // Input 0 demands at 2 to 8, input 1 at 10 to 20 with input 0 once more at 18 to 28.
    let bits = |ms| {
        u32::from((2..=8).contains(&ms) || (18..=28).contains(&ms)) | u32::from((10..=20).contains(&ms)) << 1
    };
    let seen = run(&setup, 0..30, burst, bits);
    let trips: Vec<&TripFacts> =
        seen.iter().filter_map(|seen| seen.monitors[0].lanes[0].tripped_now.as_ref()).collect();
    assert_eq!(trips.len(), 1);
    assert_eq!(trips[0].demanded_at.map(millis), Some(10));
    assert_eq!((millis(trips[0].violated_since), millis(trips[0].tripped_at)), (10, 15));
    assert_eq!(seen[25].monitors[0].demanded_at.map(millis), Some(10));
}

#[test]
fn torque_off_withdraws_the_permit_while_it_is_demanded_and_no_longer() {
    let mut setup = sharp();
    setup.inputs = vec![button(0)];
    setup.monitors = vec![monitor(Kind::TorqueOff, 0, &[0])];
    let seen = run(&setup, 0..10, |_| 0, |ms| u32::from((3..6).contains(&ms)));
    let permits: Vec<bool> = seen.iter().map(|seen| seen.permit).collect();
    assert_eq!(permits, [true, true, true, false, false, false, true, true, true, true]);
}

#[test]
fn warming_up_withholds_the_permit_when_set_so() {
    for withholds in [true, false] {
        let mut setup = bare();
        setup.warm_up_withholds = withholds;
        setup.monitors = vec![monitor(speed_limit("2"), 0, &[])];
        let seen = run(&setup, 0..6, |_| 0, |_| 0);
        let permits: Vec<bool> = seen.iter().map(|seen| seen.permit).collect();
        let before = !withholds;
        assert_eq!(permits, [before, before, before, before, true, true]);
        let warming: Vec<bool> = seen.iter().map(|seen| seen.monitors[0].lanes[0].warming_up).collect();
        assert_eq!(warming, [true, true, true, true, false, false]);
    }
}

#[test]
fn a_channel_without_its_first_reading_warms_up_whatever_is_active() {
    let mut setup = sharp();
    setup.warm_up_withholds = true;
    setup.inputs = vec![button(0)];
    setup.monitors =
        vec![monitor(Kind::Stop { until: Until::TorqueOff, by: By::Time { within_ns: 90 * MS } }, 0, &[0])];
    let mut model = Model::new(&setup);
    let seen = model.step(&frame(0, reading(0, 0), None, 0));
    assert!(!seen.permit && seen.channels[1].warming_up && !seen.channels[0].warming_up);
    let seen = model.step(&frame(MS, reading(MS, 0), None, 1));
    assert!(!seen.permit && seen.channels[1].warming_up && !seen.channels[0].warming_up);
    assert!(model.step(&frame(2 * MS, reading(2 * MS, 0), reading(2 * MS, 0), 1)).permit);
}

fn standstill(position_window: &str, speed_window: &str) -> Kind {
    Kind::Standstill { position_window: d(position_window), speed_window: d(speed_window) }
}

#[test]
fn a_standstill_measures_from_the_place_at_its_demand() {
    let mut setup = sharp();
    setup.inputs = vec![button(0)];
    setup.monitors = vec![monitor(standstill("0.0625", "1000"), 0, &[0])];
    // 10 µm a frame, demanded at frame 5: the window of 62.5 µm is left at frame 12, with 70 µm.
    let seen = run(&setup, 0..20, |ms| 10 * ms.cast_signed(), |ms| u32::from(ms >= 5));
    let at = seen.iter().position(|seen| seen.monitors[0].lanes[0].violated);
    assert_eq!(at, Some(12));
    let facts = seen[12].monitors[0].lanes[0].tripped_now.clone().expect("a trip");
    assert_eq!((facts.bound.evidence, facts.bound.observed.exact), (Evidence::Position, d("0.07")));
}

#[test]
fn a_standstill_watches_the_position_while_its_speed_is_unknown() {
    let mut setup = bare();
    setup.monitors = vec![monitor(standstill("0.0625", "1"), 2 * MS, &[])];
    let seen = run(&setup, 0..5, |ms| 50 * ms.cast_signed(), |_| 0);
    let lanes: Vec<(bool, bool)> = seen
        .iter()
        .map(|seen| (seen.monitors[0].lanes[0].warming_up, seen.monitors[0].lanes[0].violated))
        .collect();
    assert_eq!(lanes, [(true, false), (true, false), (true, true), (true, true), (false, true)]);
    let facts = seen[4].monitors[0].lanes[0].tripped_now.clone().expect("a trip");
    assert_eq!(facts.bound.evidence, Evidence::Position);
}

#[test]
fn the_speed_of_a_standstill_is_the_evidence_when_the_position_is_within_its_window() {
    let mut setup = sharp();
    setup.monitors = vec![monitor(standstill("0.0625", "20"), 0, &[])];
    let seen = run(&setup, 0..5, |ms| if ms < 3 { 0 } else { 40 }, |_| 0);
    let facts = seen[3].monitors[0].lanes[1].tripped_now.clone().expect("a trip");
    assert_eq!((facts.bound.evidence, facts.bound.observed.exact), (Evidence::Speed, d("40")));
}

#[test]
fn a_standstill_takes_its_reference_anew_after_a_channel_fault() {
    let mut setup = sharp();
    setup.monitors = vec![monitor(standstill("0.0625", "1000"), 0, &[])];
    let mut model = Model::new(&setup);
    model.step(&both(0, 0, 0));
    let seen = model.step(&both(MS, 5000, 0));
    assert_eq!(seen.channels[0].fault, Some(Fault::Implausible));
    assert!(!seen.monitors[0].lanes[0].violated);
    let seen = model.step(&both(2 * MS, 5060, 0));
    assert_eq!(seen.monitors[0].lanes[0].compared.clone().map(|bound| bound.observed.exact), Some(d("0.06")));
    assert!(!seen.monitors[0].lanes[0].violated);
    assert!(model.step(&both(3 * MS, 5063, 0)).monitors[0].lanes[0].violated);
}

#[test]
fn a_channel_fault_restarts_the_on_delay_of_its_channel_alone() {
    let mut setup = sharp();
    setup.monitors = vec![monitor(speed_limit("2"), 10 * MS, &[])];
    let mut model = Model::new(&setup);
    let mut trips = [None, None];
    for ms in 0..25 {
        let now = ms * MS;
        // At 8 a reading of A comes out of order, in the middle of a violation since 1.
        let a = if ms == 8 { reading(now - 2 * MS, 0) } else { reading(now, 5 * ms.cast_signed()) };
        let seen = model.step(&frame(now, a, reading(now, 5 * ms.cast_signed()), 0));
        for (trip, lane) in trips.iter_mut().zip(&seen.monitors[0].lanes) {
            if let Some(facts) = &lane.tripped_now {
                *trip = Some((millis(facts.violated_since), millis(facts.tripped_at)));
            }
        }
    }
    assert_eq!(trips, [Some((9, 19)), Some((1, 11))]);
}

#[test]
fn a_standstill_is_not_evaluated_while_its_channel_is_faulted() {
    let mut setup = sharp();
    setup.monitors = vec![monitor(standstill("0.0625", "1000"), 50 * MS, &[])];
    let mut model = Model::new(&setup);
    model.step(&both(0, 0, 0));
    assert!(model.step(&both(MS, 100, 0)).monitors[0].lanes[0].violated);
    // An out-of-order reading of A: its last good place is still outside, but it is not judged.
    let seen = model.step(&frame(2 * MS, reading(MS, 50), reading(2 * MS, 100), 0));
    assert_eq!(seen.monitors[0].lanes.clone().map(|lane| lane.violated), [false, true]);
    let seen = model.step(&both(3 * MS, 100, 0));
    assert_eq!(seen.monitors[0].lanes.clone().map(|lane| lane.violated_since), [Some(3 * MS), Some(MS)]);
}
