//! Envelopes and stops.

use super::*;

/// A window of one reading, so speeds are sharp, and an input on line 0.
fn sharp() -> Setup {
    Setup { window_ns: MS, points: 3, warm_up_withholds: false, inputs: vec![button(0)], ..bare() }
}

fn ramp(delay_ms: u64, deceleration: &str, margin: &str) -> Ramp {
    Ramp { delay_ns: delay_ms * MS, deceleration: d(deceleration), margin: d(margin), jerk: None }
}

fn limit_of(seen: &Seen, monitor: usize) -> Option<Q> {
    seen.monitors[monitor].lanes[0].compared.as_ref().map(|bound| bound.limit.exact.clone())
}

/// 8 mm/s at the demand, 1 mm/s margin, 2 ms delay, then 1 mm/s each millisecond, down to 4 mm/s.
#[test]
fn an_envelope_waits_falls_and_ends_at_its_target() {
    let mut setup = sharp();
    let kind = Kind::SpeedLimit { limit: d("4"), ramp: Some(ramp(2, "1000", "1")) };
    setup.monitors = vec![monitor(kind, 0, &[0])];
    let seen = run(&setup, 0..16, |ms| 8 * ms.cast_signed(), |ms| u32::from(ms >= 4));
    let limits: Vec<Option<Q>> = seen.iter().map(|seen| limit_of(seen, 0)).collect();
    let expected = [9, 9, 9, 8, 7, 6, 5, 4, 4, 4, 4, 4].map(|limit| Some(q(limit, 1)));
    assert_eq!(limits[..4], [None, None, None, None]);
    assert_eq!(limits[4..], expected);
    assert_eq!(seen.iter().position(|seen| seen.monitors[0].lanes[0].violated), Some(8));
}

#[test]
fn an_envelope_starts_no_higher_than_the_limit_in_force_before() {
    let mut setup = sharp();
    let kind = Kind::SpeedLimit { limit: d("4"), ramp: Some(ramp(2, "1000", "1")) };
    setup.monitors = vec![monitor(kind, 0, &[0]), monitor(speed_limit("6"), 50 * MS, &[])];
    let seen = run(&setup, 0..8, |ms| 8 * ms.cast_signed(), |ms| u32::from(ms >= 4));
    assert_eq!(limit_of(&seen[4], 0), Some(d("7")));
    assert!(seen[4].monitors[0].lanes[0].violated);
}

#[test]
fn a_limit_demanded_at_the_same_frame_is_not_in_force_before() {
    let mut setup = sharp();
    let kind = Kind::SpeedLimit { limit: d("4"), ramp: Some(ramp(2, "1000", "1")) };
    setup.monitors = vec![monitor(speed_limit("6"), 50 * MS, &[0]), monitor(kind, 0, &[0])];
    let seen = run(&setup, 0..8, |ms| 8 * ms.cast_signed(), |ms| u32::from(ms >= 4));
    assert_eq!(limit_of(&seen[4], 1), Some(d("9")));
}

#[test]
fn an_envelope_without_a_known_speed_takes_the_first_one_and_keeps_its_start() {
    let mut setup = sharp();
    setup.window_ns = 4 * MS;
    setup.points = 9;
    let kind = Kind::SpeedLimit { limit: d("1"), ramp: Some(ramp(2, "1000", "0")) };
    setup.monitors = vec![monitor(kind, 0, &[])];
    let seen = run(&setup, 0..7, |ms| 8 * ms.cast_signed(), |_| 0);
    assert!(seen[3].monitors[0].lanes[0].warming_up);
    // Demanded at 0, so two of the milliseconds of the fall have passed when the speed becomes known at 4.
    assert_eq!(limit_of(&seen[4], 0), Some(d("6")));
    assert!(seen[4].monitors[0].lanes[0].violated);
}

/// A third of a millimetre per second is no whole number of ULPs, so `v0` loses a part of one, and so does the fall.
#[test]
fn a_speed_within_the_rounding_of_the_envelope_is_near() {
    let mut setup = sharp();
    // Seven counts of 1 / 2048 mm in 3 ms.
    setup.window_ns = 3 * MS;
    setup.points = 7;
    let unit = q(1, 2048);
    setup.a.unit_per_count = unit.clone();
    setup.b.unit_per_count = unit;
    let kind = Kind::SpeedLimit { limit: d("1"), ramp: Some(ramp(50, "1000", "0")) };
    setup.monitors = vec![monitor(kind, 0, &[0])];
    let mut model = Model::new(&setup);
    let mut asked = Vec::new();
    for ms in 0..12 {
        let frame = both(ms * MS, (7 * ms).cast_signed() / 3, u32::from(ms == 9));
        let seen = model.step_with(&frame, |question, held| {
            asked.push((question, held));
            false
        });
        if ms == 9 {
            assert_eq!(seen.monitors[0].lanes[0].verdict, Tri::Near);
            assert_eq!((seen.compared, seen.near), (2, 2));
            assert!(!seen.monitors[0].lanes[0].violated);
            // The held v0 is below the exact speed: rounded, a steady speed exceeds its own envelope.
            let limit = seen.monitors[0].lanes[0].compared.clone().expect("compared").limit;
            assert!(limit.held < limit.exact && limit.strictest < limit.held);
        }
    }
    let near = |channel| (Question::Violated { monitor: 0, channel }, true);
    assert_eq!(asked, [near(0), near(1)]);
}

fn stop(until: Until, within_ms: Option<u64>) -> Kind {
    let by = By::Ramp {
        ramp: ramp(0, "1000", "0"),
        standstill_speed: d("2"),
        within_ns: within_ms.map(|within| within * MS),
    };
    Kind::Stop { until, by }
}

/// 8 mm/s until the demand at 4, then 1 mm/s slower each frame.
fn braking(ms: u64) -> i64 {
    (1..=ms.cast_signed()).map(|at| if at <= 4 { 8 } else { (12 - at).max(0) }).sum()
}

#[test]
fn a_stop_is_complete_when_the_falling_line_reaches_the_standstill_speed() {
    let mut setup = sharp();
    setup.monitors = vec![monitor(stop(Until::TorqueOff, None), 0, &[0])];
    let seen = run(&setup, 0..16, braking, |ms| u32::from(ms >= 4));
    assert!(seen.iter().all(|seen| !seen.monitors[0].lanes[0].violated));
    // 8 − 6 = 2 at frame 10.
    assert_eq!(seen.iter().position(|seen| seen.monitors[0].lanes[0].complete), Some(10));
    assert_eq!(seen.iter().position(|seen| !seen.permit), Some(10));
    assert!(!seen[15].permit);
}

#[test]
fn a_stop_that_has_begun_is_carried_through() {
    let mut setup = sharp();
    setup.monitors = vec![monitor(stop(Until::TorqueOff, None), 0, &[0])];
    let bits = |ms| u32::from(ms == 4 || ms == 7);
    let seen = run(&setup, 0..16, braking, bits);
    let without: Vec<usize> = (0..16).filter(|&at| !seen[at].permit).collect();
    assert_eq!(without, [10]);
    assert!(seen[10].monitors[0].active && !seen[11].monitors[0].active);
    assert_eq!(seen[10].monitors[0].demanded_at.map(millis), Some(4));
}

#[test]
fn a_stop_is_complete_within_its_time_at_the_latest() {
    let mut setup = sharp();
    setup.monitors = vec![monitor(stop(Until::TorqueOff, Some(3)), 0, &[0])];
    let seen = run(&setup, 0..16, braking, |ms| u32::from(ms >= 4));
    assert_eq!(seen.iter().position(|seen| !seen.permit), Some(7));
}

#[test]
fn a_stop_by_time_watches_nothing_before() {
    let mut setup = sharp();
    let kind = Kind::Stop { until: Until::TorqueOff, by: By::Time { within_ns: 5 * MS } };
    setup.monitors = vec![monitor(kind, 0, &[0])];
    let seen = run(&setup, 0..16, |ms| 900 * ms.cast_signed(), |ms| u32::from((4..12).contains(&ms)));
    let without: Vec<usize> = (0..16).filter(|&at| !seen[at].permit).collect();
    assert_eq!(without, [9, 10, 11]);
}

#[test]
fn a_standstill_takes_over_at_the_frame_after_the_completion() {
    let mut setup = sharp();
    let until = Until::Standstill { position_window: d("0.002"), speed_window: d("50") };
    setup.monitors = vec![monitor(stop(until, None), 0, &[0])];
    let seen = run(&setup, 0..16, braking, |ms| u32::from(ms >= 4));
    assert!(seen[..12].iter().all(|seen| seen.permit));
    let evidence = |at: usize| {
        seen[at].monitors[0].lanes[0].compared.clone().map(|bound| (bound.evidence, bound.observed.exact))
    };
    // Complete at 10; then 1 count to frame 11 and no more.
    assert_eq!(evidence(10), Some((Evidence::Speed, d("2"))));
    assert_eq!(evidence(11), Some((Evidence::Position, d("0.001"))));
    assert_eq!(evidence(15), Some((Evidence::Position, d("0.001"))));
    assert!(seen[15].permit && seen[15].monitors[0].active);
}

#[test]
fn a_faulted_channel_completes_by_within_all_the_same() {
    let mut setup = sharp();
    let until = Until::Standstill { position_window: d("1"), speed_window: d("50") };
    setup.monitors = vec![monitor(stop(until, Some(3)), 0, &[0])];
    let mut model = Model::new(&setup);
    let mut complete = Vec::new();
    for ms in 0..10 {
        let a = if ms < 4 { reading(ms * MS, 0) } else { invalid(ms * MS) };
        let seen = model.step(&frame(ms * MS, a, reading(ms * MS, 0), u32::from(ms >= 5)));
        complete.push(seen.monitors[0].lanes.clone().map(|lane| lane.complete));
    }
    assert_eq!(complete.iter().position(|both| both[0]), Some(8));
    // On channel B the line starts at 0 mm/s, already below the standstill speed.
    assert_eq!(complete.iter().position(|both| both[1]), Some(5));
}

#[test]
fn of_several_limits_in_force_before_the_smallest_counts() {
    for others in [["5", "6"], ["6", "5"]] {
        let mut setup = sharp();
        let kind = Kind::SpeedLimit { limit: d("4"), ramp: Some(ramp(2, "1000", "1")) };
        setup.monitors = vec![monitor(kind, 0, &[0])];
        setup.monitors.extend(others.map(|limit| monitor(speed_limit(limit), 50 * MS, &[])));
        let seen = run(&setup, 0..8, |ms| 8 * ms.cast_signed(), |ms| u32::from(ms >= 4));
        assert_eq!(limit_of(&seen[4], 0), Some(d("6")));
    }
}

#[test]
fn a_stop_withdraws_the_permit_as_soon_as_either_channel_is_complete() {
    let mut setup = sharp();
    setup.monitors = vec![monitor(stop(Until::TorqueOff, None), 0, &[0])];
    let mut model = Model::new(&setup);
    let seen: Vec<Seen> = (0..14)
        .map(|ms| {
            let bits = u32::from(ms == 4);
            model.step(&frame(ms * MS, reading(ms * MS, braking(ms)), reading(ms * MS, 0), bits))
        })
        .collect();
    let withdrawn: Vec<usize> = (0..14).filter(|&at| seen[at].monitors[0].withdraws).collect();
    // B stands still and is complete at once; the stop ends after A is complete too, at 10.
    assert_eq!(withdrawn, (4..=10).collect::<Vec<_>>());
}
