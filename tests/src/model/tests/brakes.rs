//! A stop that is supervised by its deceleration.

use super::*;

/// A window of one reading; demanded at 4 ms on line 0; from two milliseconds after that on it must brake, until 2 mm/s.
fn sharp(until: Until, deceleration: Q, margin: Q, within_ms: Option<u64>) -> Setup {
    let by = By::Deceleration {
        delay_ns: 2 * MS,
        deceleration,
        margin,
        standstill_speed: d("2"),
        within_ns: within_ms.map(|within| within * MS),
    };
    Setup {
        window_ns: MS,
        points: 7,
        warm_up_withholds: false,
        inputs: vec![button(0), button(1)],
        monitors: vec![monitor(Kind::Stop { until, by }, 50 * MS, &[0])],
        ..bare()
    }
}

/// 8 mm/s until the demand at 4, then 1 mm/s slower each frame: 1000 mm/s².
fn braking(ms: u64) -> i64 {
    going(|at| if at <= 4 { 8 } else { (12 - at.cast_signed()).max(0) })(ms)
}

fn demanded(ms: u64) -> u32 {
    u32::from(ms >= 4)
}

fn completed(seen: &[Seen]) -> Option<usize> {
    seen.iter().position(|seen| seen.monitors[0].lanes[0].complete)
}

#[test]
fn a_stop_that_brakes_just_hard_enough_is_complete_at_its_standstill_speed() {
    for sign in [1, -1] {
        let setup = sharp(Until::TorqueOff, d("1000"), d("0"), None);
        let seen = run(&setup, 0..16, |ms| sign * braking(ms), demanded);
        assert_eq!(violated(&seen), [0; 0]);
        // 8 − 6 = 2 mm/s at frame 10. It goes without a trip.
        assert_eq!(completed(&seen), Some(10));
        assert_eq!(seen.iter().position(|seen| !seen.permit), Some(10));
        // Nothing is compared before the delay has passed, nor at the frame of the completion and after it.
        let compared = |at: &usize| seen[*at].monitors[0].lanes[0].compared.is_some();
        assert_eq!((0..16).filter(compared).collect::<Vec<_>>(), [6, 7, 8, 9]);
        let bound = bound(&seen[6]);
        assert_eq!((bound.evidence, bound.side), (Evidence::Acceleration, Side::NotBelow));
        assert_eq!((bound.observed.held, bound.limit.held), (d("1000"), d("1000")));
    }
}

#[test]
fn a_stop_that_brakes_too_softly_is_violated_from_its_delay_on_and_a_margin_allows_for_it() {
    let harder = d("1000") + ulps(1);
    let violated_by = |margin| {
        let setup = sharp(Until::TorqueOff, harder.clone(), margin, None);
        violated(&run(&setup, 0..16, braking, demanded))
    };
    assert_eq!(violated_by(d("0")), [6, 7, 8, 9]);
    assert_eq!(violated_by(ulps(1)), [0; 0]);
}

#[test]
fn an_axis_that_coasts_trips_a_stop_by_its_deceleration_and_never_completes_it() {
    let mut setup = sharp(Until::TorqueOff, d("1000"), d("0"), None);
    setup.monitors[0].on_delay_ns = 3 * MS;
    let seen = run(&setup, 0..30, going(|_| 8), demanded);
    assert_eq!(trips(&seen), [(9, Evidence::Acceleration)]);
    let facts = seen[9].monitors[0].lanes[0].tripped_now.clone().expect("a trip");
    assert_eq!((facts.bound.observed.exact, facts.bound.limit.exact), (d("0"), d("1000")));
    assert_eq!(completed(&seen), None);
}

#[test]
fn an_axis_that_speeds_up_backwards_does_not_brake() {
    let setup = sharp(Until::TorqueOff, d("1000"), d("0"), None);
    // 3 mm/s backwards, and 1 mm/s more each frame: the signed acceleration is that of braking forwards.
    let count = going(|ms| -3 - (ms.cast_signed() - 4).max(0));
    let seen = run(&setup, 0..10, count, demanded);
    assert_eq!(bound(&seen[6]).observed.exact, d("-1000"));
    assert_eq!(violated(&seen), [6, 7, 8, 9]);
}

#[test]
fn a_stop_by_its_deceleration_is_complete_within_its_time_at_the_latest_and_compares_at_that_frame() {
    let mut setup = sharp(Until::TorqueOff, d("1000"), d("0"), Some(2));
    let seen = run(&setup, 0..12, going(|_| 8), demanded);
    assert_eq!((completed(&seen), violated(&seen)), (Some(6), vec![6]));
    // At the standstill speed too nothing is compared, whatever the time says.
    setup.monitors[0].kind = match setup.monitors[0].kind.clone() {
        Kind::Stop { until, by: By::Deceleration { deceleration, margin, .. } } => {
            let within_ns = Some(2 * MS);
            let standstill_speed = d("8");
            Kind::Stop {
                until,
                by: By::Deceleration { delay_ns: 2 * MS, deceleration, margin, standstill_speed, within_ns },
            }
        }
        other => other,
    };
    let seen = run(&setup, 0..12, going(|ms| if ms < 6 { 9 } else { 8 }), demanded);
    assert_eq!((completed(&seen), violated(&seen)), (Some(6), vec![]));
}

#[test]
fn a_stop_at_rest_is_complete_at_its_demand() {
    let setup = sharp(Until::TorqueOff, d("1000"), d("0"), None);
    assert_eq!(completed(&run(&setup, 0..12, |_| 0, demanded)), Some(4));
}

#[test]
fn a_stop_by_its_deceleration_warms_up_without_the_speed_and_after_its_delay_without_the_acceleration() {
    for (delay_ns, expected) in [(0, [true, true, false, false]), (2 * MS, [true, false, false, false])] {
        let mut setup = sharp(Until::TorqueOff, d("1000"), d("0"), None);
        setup.monitors[0].demand = Demand::Always;
        if let Kind::Stop { by: By::Deceleration { delay_ns: delay, .. }, .. } = &mut setup.monitors[0].kind {
            *delay = delay_ns;
        }
        let seen = run(&setup, 0..4, going(|_| 8), |_| 0);
        let warming: Vec<bool> = seen.iter().map(|seen| seen.monitors[0].lanes[0].warming_up).collect();
        assert_eq!(warming, expected);
        assert_eq!(violated(&seen), [2, 3]);
    }
}

#[test]
fn only_its_time_completes_a_stop_by_its_deceleration_on_a_faulted_channel() {
    let setup = sharp(Until::TorqueOff, d("1000"), d("0"), Some(5));
    let mut model = Model::new(&setup);
    let mut complete = Vec::new();
    for ms in 0..12 {
        // A is at rest, and from the demand on first out of order, then invalid.
        let now = ms * MS;
        let a = match ms {
            0..4 => reading(now, 0),
            4..7 => reading(now + MS, 0),
            _ => invalid(now),
        };
        let seen = model.step(&frame(now, a, reading(now, braking(ms)), demanded(ms)));
        complete.push(seen.monitors[0].lanes[0].complete);
    }
    assert_eq!(complete.iter().position(|&complete| complete), Some(9));
}

#[test]
fn a_standstill_takes_over_after_a_stop_by_its_deceleration() {
    let until = Until::Standstill { position_window: d("0.002"), speed_window: d("50") };
    let seen = run(&sharp(until, d("1000"), d("0"), None), 0..16, braking, demanded);
    assert!(seen.iter().all(|seen| seen.permit));
    // Complete at 10; then 1 count to frame 11 and no more.
    let at_11 = bound(&seen[11]);
    assert_eq!((at_11.evidence, at_11.observed.exact), (Evidence::Position, d("0.001")));
    assert_eq!(bound(&seen[15]).observed.exact, d("0.001"));
}

#[test]
fn a_stop_by_its_deceleration_places_no_limit_on_the_speed() {
    let mut setup = sharp(Until::TorqueOff, d("1000"), d("0"), None);
    let ramp = Ramp { delay_ns: 20 * MS, deceleration: d("1000"), margin: d("1"), jerk: None };
    setup.monitors.insert(0, monitor(Kind::SpeedLimit { limit: d("1"), ramp: Some(ramp) }, 50 * MS, &[1]));
    let seen = run(&setup, 0..12, going(|_| 8), |ms| demanded(ms) | if ms >= 7 { 2 } else { 0 });
    assert_eq!(bound(&seen[7]).limit.exact, d("9"));
}

/// A steady speed of seven thirds of a millimetre per second, rounded, may brake by -334 ULP.
#[test]
fn a_deceleration_within_the_rounding_of_the_speeds_is_near() {
    let mut setup = sharp(Until::TorqueOff, d("1"), d("1"), None);
    setup.window_ns = 3 * MS;
    let seen = run(&setup, 0..10, |ms| (7 * ms).cast_signed() / 3, |_| 1);
    let lane = &seen[9].monitors[0].lanes[0];
    assert_eq!((lane.verdict, lane.violated, seen[9].near), (Tri::Near, true, 2));
    let bound = bound(&seen[9]);
    assert_eq!((bound.observed.exact, bound.observed.held), (d("0"), ulps(-334)));
}
