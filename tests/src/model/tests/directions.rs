//! Ranges of the speed, limits for each direction, the allowed direction, the travel from a place.

use super::*;

/// A window of one reading, so speeds are sharp, and an input on line 0.
fn sharp(kind: Kind) -> Setup {
    Setup {
        window_ns: MS,
        points: 3,
        warm_up_withholds: false,
        inputs: vec![button(0), button(1)],
        monitors: vec![monitor(kind, 50 * MS, &[])],
        ..bare()
    }
}

/// The side, the observed value and the limit of the first monitor on channel A.
fn shown(seen: &Seen) -> (Side, Q, Q) {
    let bound = bound(seen);
    assert_eq!(bound.evidence, Evidence::Speed);
    (bound.side, bound.observed.held, bound.limit.held)
}

fn not_above(observed: &str, limit: &str) -> (Side, Q, Q) {
    (Side::NotAbove, d(observed), d(limit))
}

fn not_below(observed: &str, limit: &str) -> (Side, Q, Q) {
    (Side::NotBelow, d(observed), d(limit))
}

fn listed<const N: usize>(speeds: [i64; N]) -> impl Fn(u64) -> i64 {
    going(move |ms| speeds[usize::try_from(ms).expect("few")])
}

#[test]
fn a_speed_is_held_against_the_nearer_end_of_its_range_and_of_two_as_near_the_upper_one() {
    let setup = sharp(Kind::SpeedRange { low: d("-2"), high: d("4") });
    let seen = run(&setup, 0..8, listed([0, 0, 1, 2, 4, 5, -2, -3]), |_| 0);
    assert!(seen[0].monitors[0].lanes[0].warming_up);
    let expected = [
        not_below("0", "-2"),
        not_above("1", "4"),
        not_above("2", "4"),
        not_above("4", "4"),
        not_above("5", "4"),
        not_below("-2", "-2"),
        not_below("-3", "-2"),
    ];
    assert_eq!(seen[1..].iter().map(shown).collect::<Vec<_>>(), expected);
    assert_eq!(violated(&seen), [5, 7]);
}

#[test]
fn a_speed_one_ulp_outside_of_its_range_violates_it() {
    let speeds = || listed([0, 0, 4, -2, 0]);
    let at = |low, high| violated(&run(&sharp(Kind::SpeedRange { low, high }), 0..5, speeds(), |_| 0));
    assert_eq!(at(d("-2"), d("4")), [0; 0]);
    assert_eq!(at(d("-2"), d("4") - ulps(1)), [2]);
    assert_eq!(at(d("-2") + ulps(1), d("4")), [3]);
}

/// 7 counts in 3 ms are 39146837 1/3 ULP a second.
#[test]
fn a_speed_is_rounded_up_against_the_upper_end_and_down_against_the_lower_one() {
    for (low, high, side, held) in
        [("-9", "3", Side::NotAbove, 39_146_838), ("2", "9", Side::NotBelow, 39_146_837)]
    {
        let mut setup = sharp(Kind::SpeedRange { low: d(low), high: d(high) });
        setup.window_ns = 3 * MS;
        let seen = run(&setup, 0..7, |ms| (7 * ms).cast_signed() / 3, |_| 0);
        let bound = bound(&seen[6]);
        assert_eq!((bound.side, bound.observed.exact, bound.observed.held), (side, q(7, 3), ulps(held)));
    }
    // Between two ULPs around the middle: rounded, both ends are as near, although the exact speed is nearer to the
    // lower one.
    let mut setup = sharp(Kind::SpeedRange { low: ulps(39_146_830), high: ulps(39_146_845) });
    setup.window_ns = 3 * MS;
    let seen = run(&setup, 0..7, |ms| (7 * ms).cast_signed() / 3, |_| 0);
    assert_eq!(bound(&seen[6]).side, Side::NotAbove);
}

#[test]
fn each_direction_has_its_own_limit_and_rest_counts_as_the_positive_one() {
    let kind = Kind::SpeedLimitEachWay { positive: d("5"), negative: d("2"), ramp: None };
    let seen = run(&sharp(kind), 0..7, listed([0, 0, 5, 6, -2, -3, 0]), |_| 0);
    let expected = [
        not_above("0", "5"),
        not_above("5", "5"),
        not_above("6", "5"),
        not_below("-2", "-2"),
        not_below("-3", "-2"),
        not_above("0", "5"),
    ];
    assert_eq!(seen[1..].iter().map(shown).collect::<Vec<_>>(), expected);
    assert_eq!(violated(&seen), [3, 5]);
}

#[test]
fn an_envelope_ends_at_the_limit_of_the_direction_in_which_the_channel_moves() {
    let ramp = Ramp { delay_ns: MS, deceleration: d("1000"), margin: d("1"), jerk: None };
    let kind = Kind::SpeedLimitEachWay { positive: d("4"), negative: d("2"), ramp: Some(ramp) };
    for (sign, least) in [(1, 4), (-1, 2)] {
        let mut setup = sharp(kind.clone());
        setup.monitors[0].demand = Demand::inputs(&[0]);
        let seen = run(&setup, 0..16, going(move |_| 6 * sign), |ms| u32::from(ms >= 3));
        // 6 + 1 at 3 and 4, then 1 less each millisecond.
        for (fallen, seen) in (0_i64..).zip(&seen[4..]) {
            let limit = q((sign * (7 - fallen).max(least)).into(), 1);
            assert_eq!(bound(seen).limit.exact, limit, "{fallen}");
        }
        assert_eq!(violated(&seen)[0], 6);
    }
}

fn envelope() -> Monitor {
    let ramp = Ramp { delay_ns: 20 * MS, deceleration: d("1000"), margin: d("1"), jerk: None };
    monitor(Kind::SpeedLimit { limit: d("1"), ramp: Some(ramp) }, 50 * MS, &[0])
}

/// Where an envelope starts that is demanded at 4 ms, with a margin of 1 mm/s, at 8 mm/s one way or the other.
fn start_beside(kind: Kind) -> [Q; 2] {
    [1, -1].map(|sign| {
        let mut setup = sharp(kind.clone());
        setup.monitors.insert(0, envelope());
        let seen = run(&setup, 0..6, going(move |_| 8 * sign), |ms| u32::from(ms >= 4));
        bound(&seen[4]).limit.exact
    })
}

#[test]
fn of_a_range_and_of_limits_for_each_direction_the_larger_magnitude_is_the_limit_in_force() {
    let seven = [d("7"), d("7")];
    assert_eq!(start_beside(Kind::SpeedRange { low: d("-6"), high: d("3") }), seven);
    assert_eq!(start_beside(Kind::SpeedRange { low: d("-3"), high: d("6") }), seven);
    let each = |positive, negative| Kind::SpeedLimitEachWay {
        positive: d(positive),
        negative: d(negative),
        ramp: None,
    };
    assert_eq!(start_beside(each("6", "3")), seven);
    assert_eq!(start_beside(each("3", "6")), seven);
}

#[test]
fn a_direction_a_travel_limit_and_an_acceleration_place_no_limit_on_the_speed() {
    let nine = [d("9"), d("9")];
    assert_eq!(start_beside(Kind::Direction { allowed: Way::Positive, tolerance: d("1") }), nine);
    assert_eq!(start_beside(Kind::TravelLimit { increment: d("1") }), nine);
    let mut setup = sharp(Kind::AccelerationLimit { limit: d("1") });
    setup.points = 7;
    setup.monitors.insert(0, envelope());
    let seen = run(&setup, 0..6, going(|_| 8), |ms| u32::from(ms >= 4));
    assert_eq!(bound(&seen[4]).limit.exact, d("9"));
}

/// Counts of 1/1024 mm; 64 of them are the tolerance.
fn one_way(allowed: Way, tolerance: Q) -> Setup {
    let mut setup = sharp(Kind::Direction { allowed, tolerance });
    setup.a.unit_per_count = q(1, 1024);
    setup.b.unit_per_count = q(1, 1024);
    setup
}

fn at<const N: usize>(counts: [i64; N]) -> impl Fn(u64) -> i64 {
    move |ms| counts[usize::try_from(ms).expect("few")]
}

#[test]
fn a_way_back_is_measured_from_the_furthest_point_and_may_reach_its_tolerance() {
    for (allowed, sign) in [(Way::Positive, 1), (Way::Negative, -1)] {
        // Furthest at 100, back to 36, on to 110, back to 46 and then by one more.
        let counts = at([0, 100, 36, 110, 46, 45].map(|count| sign * count));
        let seen = run(&one_way(allowed, d("0.0625")), 0..6, &counts, |_| 0);
        assert_eq!(violated(&seen), [5]);
        let back: Vec<Q> = seen.iter().map(|seen| bound(seen).observed.exact).collect();
        assert_eq!(back, [0, 0, 64, 0, 64, 65].map(|counts| q(counts, 1024)));
        assert_eq!((bound(&seen[5]).evidence, bound(&seen[5]).side), (Evidence::Position, Side::NotAbove));
        let stricter = one_way(allowed, d("0.0625") - ulps(1));
        assert_eq!(violated(&run(&stricter, 0..6, &counts, |_| 0)), [2, 4, 5]);
    }
}

#[test]
fn the_furthest_point_starts_at_the_place_of_the_demand_however_fast_the_axis_moves() {
    let mut setup = one_way(Way::Positive, d("0.0625"));
    setup.monitors[0].demand = Demand::inputs(&[0]);
    // Against the direction all the time, 30 counts a frame: demanded at 3 and, anew, at 7.
    let seen = run(&setup, 0..11, |ms| -30 * ms.cast_signed(), |ms| u32::from(ms >= 3 && ms != 6));
    assert_eq!(violated(&seen), [10]);
    assert_eq!(bound(&seen[5]).observed.exact, q(60, 1024));
    assert_eq!(bound(&seen[7]).observed.exact, d("0"));
}

#[test]
fn a_broken_count_starts_the_furthest_point_anew() {
    let setup = one_way(Way::Positive, d("0.0625"));
    let seen = run(&setup, 0..6, at([0, 500, -90_000, -90_060, -90_064, -90_065]), |_| 0);
    assert_eq!(seen[2].channels[0].fault, Some(Fault::Implausible));
    assert_eq!(violated(&seen), [5]);
}

#[test]
fn a_direction_and_a_travel_limit_warm_up_until_their_first_reading() {
    for kind in [
        Kind::Direction { allowed: Way::Positive, tolerance: d("0.01") },
        Kind::TravelLimit { increment: d("0.01") },
    ] {
        let mut model = Model::new(&sharp(kind));
        let mut lanes = Vec::new();
        for ms in 0..4 {
            let b = (ms >= 2).then(|| reading(ms * MS, -20 * ms.cast_signed())).flatten();
            let seen = model.step(&frame(ms * MS, reading(ms * MS, 0), b, 0));
            lanes.push(seen.monitors[0].lanes.clone().map(|lane| (lane.warming_up, lane.violated)));
        }
        assert_eq!(lanes.iter().map(|lanes| lanes[0]).collect::<Vec<_>>(), [(false, false); 4]);
        let b: Vec<_> = lanes.iter().map(|lanes| lanes[1]).collect();
        assert_eq!(b, [(true, false), (true, false), (false, false), (false, true)]);
    }
}

#[test]
fn a_travel_limit_is_measured_either_way_from_the_place_of_its_demand() {
    for sign in [1, -1] {
        let mut setup = sharp(Kind::TravelLimit { increment: d("0.0625") });
        setup.a.unit_per_count = q(1, 1024);
        setup.monitors[0].demand = Demand::inputs(&[0]);
        // 32 counts a frame, demanded at 3: 64 at 5 are the increment, and 65 would be too many.
        let counts = |ms: u64| sign * (32 * ms.cast_signed() + i64::from(ms == 6));
        let seen = run(&setup, 0..9, counts, |ms| u32::from((3..8).contains(&ms)));
        assert_eq!(violated(&seen), [6, 7]);
        assert_eq!(bound(&seen[6]).observed.exact, q(97, 1024));
        let mut stricter = setup.clone();
        stricter.monitors[0].kind = Kind::TravelLimit { increment: d("0.0625") - ulps(1) };
        assert_eq!(violated(&run(&stricter, 0..9, counts, |ms| u32::from((3..8).contains(&ms)))), [5, 6, 7]);
    }
}
