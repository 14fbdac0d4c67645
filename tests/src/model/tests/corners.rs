//! Envelopes with a jerk.

use super::super::envelope::line;
use super::*;
use num_traits::Signed;
use proptest::prelude::*;

fn ramp(deceleration: &str, jerk: &str) -> Ramp {
    Ramp { delay_ns: 0, deceleration: d(deceleration), margin: d("0"), jerk: Some(d(jerk)) }
}

/// The line from `v0` down to `target`, the exact and the held one.
fn at(v0: &str, ramp: &Ramp, target: &str, nanos: u64) -> [Q; 2] {
    let limit = line(&Limit::setting(&d(v0)), ramp, &d(target), nanos);
    [limit.exact, limit.held]
}

fn levels(v0: &str, ramp: &Ramp, target: &str, times_ms: &[u64]) -> Vec<Q> {
    let level = |&ms: &u64| {
        let [exact, held] = at(v0, ramp, target, ms * MS);
        assert_eq!(exact, held, "at {ms} ms");
        exact
    };
    times_ms.iter().map(level).collect()
}

/// d / j = 2 ms, in which the speed falls by 1 mm/s; so by 8 mm/s in 8 ms + 2 ms, of which 2 to 8 are straight.
#[test]
fn a_line_that_reaches_its_deceleration_has_two_corners_and_a_straight_part() {
    let levels = levels("10", &ramp("1000", "500000"), "2", &[0, 1, 2, 3, 5, 8, 9, 10, 11, 500]);
    assert_eq!(levels, ["10", "9.75", "9", "8", "6", "3", "2.25", "2", "2", "2"].map(d));
}

/// d / j = 4 ms would fall by 8 mm/s; by 2 mm/s it falls in twice the 2 ms of sqrt(D / j).
#[test]
fn a_line_that_does_not_reach_its_deceleration_has_two_corners_and_nothing_between() {
    let levels = levels("4", &ramp("2000", "500000"), "2", &[0, 1, 2, 3, 4, 5]);
    assert_eq!(levels, ["4", "3.75", "3", "2.25", "2", "2"].map(d));
}

/// D × j = d²: both rules say the same.
#[test]
fn a_line_that_just_reaches_its_deceleration_goes_from_corner_to_corner() {
    let levels = levels("10", &ramp("2000", "500000"), "2", &[1, 3, 4, 5, 7, 8]);
    assert_eq!(levels, ["9.75", "7.75", "6", "4.25", "2.25", "2"].map(d));
}

/// D = 9 mm/s, so D / d and r = d / j are both 3/4096 s, which are 732421.875 ns: each is cut by itself.
#[test]
fn the_time_of_a_fall_that_just_reaches_its_deceleration_is_rounded_term_by_term() {
    let [exact, held] = at("11", &ramp("12288", "16777216"), "2", MS);
    let above = |left: &str| d("8388608") * d(left) * d(left);
    assert_eq!(exact, d("2") + above("0.00046484375"));
    // And so is the deceleration that is left after 1 ms.
    let left = d("0.000464842");
    assert_eq!(held, d("2") + ulp_down(&(ulp_down(&(d("16777216") * &left)) * left / d("2"))));
}

/// The square root of 2 µs² is 1414213.56 ns, held as 1414213, and the fall takes twice that. After 2 ms 828426 ns of it
/// are left, and exactly (√2 − 1)² mm/s.
#[test]
fn a_corner_with_a_square_root_is_rounded_to_the_nanosecond() {
    let ramp = ramp("1000", "500000");
    let [exact, held] = at("3", &ramp, "2", 2 * MS);
    assert!((exact - d("2.171572875253809902396622551580")).abs() < q(1, 10_i128.pow(27)));
    assert_eq!(held, d("2") + ulp_down(&(d("250000") * q(828_426 * 828_426, 10_i128.pow(18)))));
    // The last nanosecond before the rounded rise and the one after it.
    assert_eq!(
        at("3", &ramp, "2", 1_414_213)[1],
        d("3") - ulp_up(&(d("250000") * d("0.001414213") * d("0.001414213")))
    );
    assert_eq!(
        at("3", &ramp, "2", 1_414_214)[1],
        d("2") + ulp_down(&(d("250000") * d("0.001414212") * d("0.001414212")))
    );
    // Rounded, the end comes a nanosecond before the exact one.
    assert_eq!(at("3", &ramp, "2", 2_828_426)[1], d("2"));
    assert!(at("3", &ramp, "2", 2_828_427)[0] > d("2"));
    assert_eq!(at("3", &ramp, "2", 2_828_428)[0], d("2"));
}

/// d / j = 1/3 ms, held as 333333 ns: the straight part is d times half of the lost third of a nanosecond below the exact
/// one.
#[test]
fn the_straight_part_is_drawn_from_the_rounded_corner() {
    let ramp = ramp("1000", "3000000");
    let [exact, held] = at("10", &ramp, "2", MS);
    assert_eq!(exact, d("10") - (d("1") - q(1, 6)));
    assert_eq!(held, d("10") - ulp_up(&(d("1") - d("0.1666665"))));
    // It ends where as much time is left as the rounded corner takes: that place is still drawn as straight.
    let [exact, held] = at("10", &ramp, "2", 8 * MS);
    assert_eq!(exact, d("2") + q(1, 6));
    assert_eq!(held, d("10") - ulp_up(&(d("8") - d("0.1666665"))));
    let [_, held] = at("10", &ramp, "2", 8 * MS + 1);
    assert_eq!(held, d("2") + ulp_down(&(d("1500000") * d("0.000333332") * d("0.000333332"))));
}

#[test]
fn a_start_between_two_ulps_is_kept_in_the_exact_line_and_cut_in_the_held_one() {
    let third = ulp() * q(1, 3);
    let from = |nanos| {
        let limit = line(&Limit::rounded_down(&(d("10") + &third)), &ramp("1000", "500000"), &d("2"), nanos);
        assert!(limit.strictest <= limit.held);
        (limit.exact, limit.held)
    };
    assert_eq!(from(MS), (d("9.75") + &third, d("9.75")));
    assert_eq!(from(5 * MS), (d("6") + &third, d("6")));
}

#[test]
fn a_start_at_or_below_the_target_has_no_corners() {
    for v0 in ["2", "1.5"] {
        assert_eq!(levels(v0, &ramp("1000", "500000"), "2", &[0, 1, 100]), [d(v0), d(v0), d(v0)]);
    }
}

/// 10 mm/s at the demand at 3, a delay of 2 ms, then the first of the lines above.
#[test]
fn a_speed_limit_with_a_jerk_follows_its_line() {
    let shape = Ramp { delay_ns: 2 * MS, margin: d("1"), ..ramp("1000", "500000") };
    let kind = Kind::SpeedLimit { limit: d("2"), ramp: Some(shape) };
    let mut setup = Setup { window_ns: MS, points: 3, inputs: vec![button(0)], ..bare() };
    setup.monitors = vec![monitor(kind, 50 * MS, &[0])];
    let seen = run(&setup, 0..17, going(|_| 9), |ms| u32::from(ms >= 3));
    let limits: Vec<Q> = seen[3..].iter().map(|seen| bound(seen).limit.held).collect();
    let expected = ["10", "10", "10", "9.75", "9", "8", "7", "6", "5", "4", "3", "2.25", "2", "2"];
    assert_eq!(limits, expected.map(d));
    // 9 mm/s are reached at 7 and exceeded at 8.
    assert_eq!(violated(&seen), (8..17).collect::<Vec<_>>());
}

#[test]
fn a_line_with_a_jerk_falls_to_the_smaller_of_the_limits_for_each_direction() {
    let kind =
        Kind::SpeedLimitEachWay { positive: d("4"), negative: d("2"), ramp: Some(ramp("1000", "500000")) };
    for (sign, expected) in [(1, ["10", "6", "4", "4", "4"]), (-1, ["-10", "-6", "-3", "-2.25", "-2"])] {
        let mut setup = Setup { window_ns: MS, points: 3, inputs: vec![button(0)], ..bare() };
        setup.monitors = vec![monitor(kind.clone(), 50 * MS, &[0])];
        let seen = run(&setup, 0..17, going(move |_| 10 * sign), |ms| u32::from(ms >= 3));
        let limits = [3, 8, 11, 12, 13].map(|at| bound(&seen[at]).limit.exact);
        assert_eq!(limits, expected.map(d));
    }
}

/// From 10 mm/s to 2 mm/s in 10 ms, from 1 mm/s at once.
#[test]
fn a_stop_with_a_jerk_is_complete_when_its_line_has_ended() {
    for (speed, complete) in [(10, 13), (1, 3)] {
        let by = By::Ramp { ramp: ramp("1000", "500000"), standstill_speed: d("2"), within_ns: None };
        let mut setup = Setup { window_ns: MS, points: 3, inputs: vec![button(0)], ..bare() };
        setup.monitors = vec![monitor(Kind::Stop { until: Until::TorqueOff, by }, 50 * MS, &[0])];
        let seen = run(&setup, 0..17, going(move |_| speed), |ms| u32::from(ms >= 3));
        assert_eq!(seen.iter().position(|seen| seen.monitors[0].lanes[0].complete), Some(complete));
        assert_eq!((seen[complete - 1].near, seen[complete].near), (0, 0));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    /// The errors that the rules name hold whatever the start, and a line with a jerk is never below the one without.
    #[test]
    fn the_rounded_line_lies_between_the_exact_one_and_what_the_roundings_allow(
        v0 in 0_i128..1 << 36,
        part in 0_i128..1000,
        target in 0_i128..1 << 30,
        deceleration in 1_i128..1 << 40,
        corner_ns in 1_i128..2_000_000_000,
        share in 0_u64..=1200,
    ) {
        let (deceleration, target) = (ulps(deceleration), ulps(target));
        let jerk = ulp_up(&(&deceleration / q(corner_ns, 1_000_000_000)));
        let v0 = Limit::rounded_down(&(ulps(v0) + ulp() * q(part, 1000)));
        let sharp = Ramp { delay_ns: 0, deceleration, margin: d("0"), jerk: None };
        let rounded = Ramp { jerk: Some(jerk.clone()), ..sharp.clone() };
        // Somewhere in the fall, or a little later.
        let whole = (&v0.exact / &sharp.deceleration) + &sharp.deceleration / &jerk;
        let at = (whole * q(share.into(), 1000) * q(1_000_000_000, 1)).to_integer();
        let at = u64::try_from(at).unwrap_or(u64::MAX).min(1 << 50);
        let line_at = |ramp, at| line(&v0, ramp, &target, at);
        let limit = line_at(&rounded, at);
        prop_assert!(limit.strictest <= limit.held && limit.held <= limit.exact, "{limit:?}");
        prop_assert!(limit.exact >= line_at(&sharp, at).exact);
        let later = line_at(&rounded, at + 1 + u64::from(share % 7 == 0) * 1_000_000);
        prop_assert!(later.exact <= limit.exact && later.held <= limit.held);
    }
}
