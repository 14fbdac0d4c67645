//! The acceleration, its limit and its range.

use super::super::speed::{History, Point, Windows};
use super::*;
use num_traits::Signed;
use proptest::prelude::*;

/// A window of one reading, so one count more from one millisecond to the next are 1000 mm/s².
fn sharp(kind: Kind) -> Setup {
    Setup {
        window_ns: MS,
        points: 7,
        warm_up_withholds: false,
        monitors: vec![monitor(kind, 50 * MS, &[])],
        ..bare()
    }
}

fn limit(limit: Q) -> Kind {
    Kind::AccelerationLimit { limit }
}

fn range(low: Q, high: Q) -> Kind {
    Kind::AccelerationRange { low, high }
}

/// x = 0.001 mm × k² at the k-th millisecond, which is 2000 mm/s². With a spacing of a whole window there are windows of
/// four to seven milliseconds beside each other.
#[test]
fn a_constant_acceleration_is_met_exactly_once_two_windows_have_filled() {
    let setup = Setup { monitors: vec![monitor(limit(d("9000")), 0, &[])], ..bare() };
    let seen = run(&setup, 0..30, |ms| (ms * ms).cast_signed(), |_| 0);
    for (ms, seen) in seen.iter().enumerate() {
        let expected = (ms >= 8).then(|| d("2000"));
        assert_eq!(seen.channels[0].acceleration, expected, "at {ms} ms");
        assert_eq!(seen.monitors[0].lanes[0].warming_up, ms < 8);
    }
}

#[test]
fn a_rule_of_the_acceleration_widens_the_spacing_of_the_speeds_too() {
    let with = Setup { monitors: vec![monitor(limit(d("9000")), 0, &[])], ..bare() };
    let seen = |setup: &Setup| run(setup, 0..8, |ms| (ms * ms).cast_signed(), |_| 0)[7].channels[0].clone();
    // 9 points are four pairs, or one quarter: 49 counts in 7 ms, not 40 in 4 ms.
    assert_eq!(seen(&with).speed, Some(d("7")));
    assert_eq!(seen(&bare()).speed, Some(d("10")));
    let spacing = |points| Setup { points, ..with.clone() }.spacing_ns();
    assert_eq!([7, 9, 11, 13, 19].map(spacing), [4 * MS, 4 * MS, 2 * MS, 2 * MS, MS]);
}

#[test]
fn the_time_between_two_windows_is_cut_to_whole_nanoseconds() {
    let mut history = History::starting(10, 10, Point { at: 0, count: 0 });
    for (at, count) in [(10, 1), (21, 8)] {
        history.take(Point { at, count });
    }
    // From 0 to 10, and from 10 to 21: 21 ns are twice 10.5.
    let windows = history.windows(&d("1")).expect("known");
    assert_eq!(windows.apart_ns, 10);
    assert_eq!((windows.speed, windows.speed_before), (q(7_000_000_000, 11), q(100_000_000, 1)));
}

#[test]
fn an_acceleration_at_its_limit_does_not_violate_it_and_one_ulp_less_is_violated_either_way() {
    for sign in [1, -1] {
        // Two counts a millisecond faster, once, at the fifth.
        let count = going(move |ms| if ms < 5 { sign } else { 3 * sign });
        assert_eq!(violated(&run(&sharp(limit(d("2000"))), 0..12, &count, |_| 0)), [0; 0]);
        let seen = run(&sharp(limit(d("2000") - ulps(1))), 0..12, &count, |_| 0);
        assert_eq!(violated(&seen), [5]);
        let bound = bound(&seen[5]);
        assert_eq!((bound.evidence, bound.side), (Evidence::Acceleration, Side::NotAbove));
        assert_eq!((bound.observed.exact, bound.observed.held), (d("2000"), d("2000")));
    }
}

#[test]
fn an_acceleration_is_held_against_the_nearer_end_of_its_range() {
    // At rest, then 1, 3, 1 mm/s: 0, 1000, 2000, -2000 mm/s².
    let count = going(|ms| [0, 0, 0, 0, 1, 3, 1, 1][usize::try_from(ms).expect("few")]);
    let seen = run(&sharp(range(d("-2000"), d("4000"))), 0..8, &count, |_| 0);
    assert_eq!(violated(&seen), [0; 0]);
    let shown: Vec<(Side, Q, Q)> = seen[3..7]
        .iter()
        .map(|seen| {
            let bound = bound(seen);
            (bound.side, bound.observed.held, bound.limit.exact)
        })
        .collect();
    let (low, high) = ((Side::NotBelow, d("-2000")), (Side::NotAbove, d("4000")));
    let shown_at = |(side, end): &(Side, Q), value: &str| (*side, d(value), end.clone());
    let expected =
        [shown_at(&low, "0"), shown_at(&high, "1000"), shown_at(&high, "2000"), shown_at(&low, "-2000")];
    assert_eq!(shown, expected);
    // One ULP off either end, which no rounding decides.
    let ends = [(d("-2000") + ulps(1), d("4000"), 6), (d("-2000"), d("2000") - ulps(1), 5)];
    for (low, high, at) in ends {
        let seen = run(&sharp(range(low, high)), 0..8, &count, |_| 0);
        assert_eq!(violated(&seen), [at]);
        assert_eq!(seen[at].monitors[0].lanes[0].verdict, Tri::Yes);
    }
}

/// Seven thirds of a millimetre per second are no whole number of ULPs: rounded up and down the speed differs from itself
/// by one, and over 3 ms that is 333 1/3 ULP.
#[test]
fn a_steady_speed_may_have_an_acceleration_within_its_rounding() {
    for (ulp, verdict, violated) in [(333, Tri::Near, true), (334, Tri::No, false)] {
        let mut setup = sharp(limit(ulps(ulp)));
        setup.window_ns = 3 * MS;
        let mut model = Model::new(&setup);
        let mut asked = Vec::new();
        for ms in 0..10 {
            let frame = both(ms * MS, (7 * ms).cast_signed() / 3, 0);
            let seen = model.step_with(&frame, |question, held| {
                asked.push((ms, question, held));
                held
            });
            if ms == 9 {
                assert_eq!(seen.channels[0].acceleration, Some(d("0")));
                assert_eq!(bound(&seen).observed.held, ulps(334));
                let lane = &seen.monitors[0].lanes[0];
                assert_eq!((lane.verdict, lane.violated), (verdict, violated));
            }
        }
        let near = |channel| (9, Question::Violated { monitor: 0, channel }, true);
        let asked: Vec<_> = asked.into_iter().filter(|asked| asked.0 == 9).collect();
        assert_eq!(asked, if violated { vec![near(0), near(1)] } else { Vec::new() });
    }
}

#[test]
fn an_acceleration_is_not_compared_while_its_channel_is_faulted() {
    let mut model = Model::new(&sharp(limit(d("500"))));
    for ms in 0..4 {
        model.step(&both(ms * MS, (ms * ms).cast_signed(), 0));
    }
    // A reading of A comes out of order: its last good acceleration is still above the limit.
    let seen = model.step(&frame(4 * MS, reading(2 * MS, 50), reading(4 * MS, 16), 0));
    let lanes = seen.monitors[0].lanes.clone();
    assert_eq!(seen.channels[0].acceleration, Some(d("2000")));
    assert_eq!(lanes.map(|lane| (lane.violated, lane.compared.is_some())), [(false, false), (true, true)]);
    assert_eq!(seen.compared, 1);
}

#[test]
fn a_range_of_accelerations_is_violated_by_rounding_at_the_end_that_is_passed_further() {
    let mut setup = sharp(range(ulps(-400), ulps(300)));
    setup.window_ns = 3 * MS;
    let seen = run(&setup, 0..10, |ms| (7 * ms).cast_signed() / 3, |_| 0);
    let bound = bound(&seen[9]);
    assert_eq!((bound.side, bound.observed.held, bound.limit.exact), (Side::NotAbove, ulps(334), ulps(300)));
    assert_eq!(seen[9].monitors[0].lanes[0].verdict, Tri::Near);
}

#[test]
fn an_acceleration_beyond_the_range_counts_as_the_largest_there_is() {
    let fast = q(1 << 38, 1);
    let largest = ulps(i64::MAX.into());
    let windows = Windows { speed: fast.clone(), speed_before: -fast, apart_ns: 10_000 };
    assert_eq!(windows.acceleration_between(), [largest.clone(), largest.clone()]);
    let windows = Windows { speed: windows.speed_before, speed_before: windows.speed, ..windows };
    assert_eq!(windows.acceleration_between(), [-largest.clone(), -largest]);
}

#[test]
fn a_channel_fault_makes_the_acceleration_unknown_until_two_windows_have_filled_again() {
    let jump = |ms: u64| if ms < 5 { 0 } else { 90_000 };
    let seen = run(&sharp(limit(d("9000"))), 0..9, jump, |_| 0);
    let known: Vec<bool> = seen.iter().map(|seen| seen.channels[0].acceleration.is_some()).collect();
    assert_eq!(known, [false, false, true, true, true, false, false, true, true]);
    let warming: Vec<bool> = seen.iter().map(|seen| seen.monitors[0].lanes[0].warming_up).collect();
    // At 5 it is faulted, which is another matter.
    assert_eq!(warming, [true, true, false, false, false, false, true, false, false]);
}

#[test]
fn the_acceleration_is_kept_over_frames_without_a_reading() {
    let mut model = Model::new(&sharp(limit(d("500"))));
    for ms in 0..4 {
        model.step(&both(ms * MS, (ms * ms).cast_signed(), 0));
    }
    let seen = model.step(&frame(4 * MS, None, reading(4 * MS, 9), 0));
    assert_eq!(seen.channels[0].acceleration, Some(d("2000")));
    assert!(seen.monitors[0].lanes[0].violated);
}

proptest! {
    /// Section 4: at most `2 ULP / h + 1 ULP` stricter than the exact one, never looser.
    #[test]
    fn the_rounded_acceleration_is_never_looser_and_little_stricter_than_the_exact_one(
        speed in -1_000_000_000_i128..1_000_000_000,
        before in -1_000_000_000_i128..1_000_000_000,
        elapsed in 1_i128..1_000_000,
        apart_ns in 10_000_u64..2_000_000_000,
    ) {
        let windows = Windows { speed: q(speed, elapsed), speed_before: q(before, elapsed), apart_ns };
        let exact = windows.acceleration();
        let [down, up] = windows.acceleration_between();
        let most = ulps(2) / seconds(apart_ns) + ulps(1);
        prop_assert!(down <= exact && exact <= up);
        prop_assert!(&exact - &down <= most && &up - &exact <= most);
        let magnitude = up.max(-down);
        prop_assert!(magnitude >= exact.abs() && &magnitude - exact.abs() <= most);
        let braking = windows.deceleration();
        let down = windows.deceleration_down();
        prop_assert!(down <= braking && braking - down <= most);
    }
}
