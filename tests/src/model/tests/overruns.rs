//! What may be travelled beyond a limit.

use super::super::verdict::Overrun;
use super::*;

/// A limit of 5 mm/s with a long on-delay. In a millisecond an axis at 8 mm/s travels 3 µm more than that, which are exactly
/// 50331.648 ULP, and rounded up 50332.
fn sharp(kind: Kind, allowed: Q) -> Setup {
    let mut rule = monitor(kind, 50 * MS, &[]);
    rule.allowed_overrun = Some(allowed);
    Setup { window_ns: MS, points: 3, warm_up_withholds: false, monitors: vec![rule], ..bare() }
}

/// 2 mm/s to 3 ms, then 8 mm/s, but 5 mm/s at the milliseconds that `pauses` says.
fn speeding(pauses: impl Fn(u64) -> bool) -> impl Fn(u64) -> i64 {
    going(move |ms| match ms {
        0..4 => 2,
        ms if pauses(ms) => 5,
        _ => 8,
    })
}

#[test]
fn an_overrun_trips_before_the_on_delay_ends() {
    let seen = run(&sharp(speed_limit("5"), d("0.0095")), 0..16, speeding(|_| false), |_| 0);
    assert_eq!(trips(&seen), [(7, Evidence::Overrun)]);
    let facts = seen[7].monitors[0].lanes[0].tripped_now.clone().expect("a trip");
    assert_eq!((millis(facts.violated_since), millis(facts.tripped_at)), (4, 7));
    assert_eq!(facts.bound.side, Side::NotAbove);
    assert_eq!(facts.bound.observed.exact, d("0.012"));
    assert_eq!(facts.bound.observed.held, ulps(4 * 50_332));
    assert_eq!(facts.bound.limit.held, ulps(159_383));
    let permitted: Vec<usize> = (0..16).filter(|&at| seen[at].permit).collect();
    assert_eq!(permitted, (0..7).collect::<Vec<_>>());
}

#[test]
fn an_overrun_that_reaches_its_distance_does_not_trip_and_rounding_decides_just_below_it() {
    // Three frames make 150996 ULP, and exactly 150994.944.
    let tripped = |allowed, frames| {
        let seen = run(&sharp(speed_limit("5"), ulps(allowed)), 0..frames, speeding(|_| false), |_| 0);
        (trips(&seen).iter().map(|trip| trip.0).collect::<Vec<_>>(), seen.iter().map(|seen| seen.near).sum())
    };
    assert_eq!(tripped(150_996, 7), (vec![], 0));
    assert_eq!(tripped(150_996, 8), (vec![7], 0));
    // Near on both channels.
    assert_eq!(tripped(150_995, 7), (vec![6], 2));
    assert_eq!(tripped(150_994, 7), (vec![6], 0));
}

#[test]
fn a_near_overrun_is_asked_for_and_may_be_decided_otherwise() {
    let mut model = Model::new(&sharp(speed_limit("5"), ulps(150_995)));
    let count = speeding(|_| false);
    let mut asked = Vec::new();
    for ms in 0..7 {
        let seen = model.step_with(&both(ms * MS, count(ms), 0), |question, held| {
            asked.push((ms, question, held));
            false
        });
        assert!(seen.monitors[0].lanes[0].tripped_now.is_none());
    }
    let near = |channel| (6, Question::Overrun { monitor: 0, channel }, true);
    assert_eq!(asked, [near(0), near(1)]);
}

/// A violation that rounding decided: the exact speed is below the exact limit.
#[test]
fn a_speed_that_is_beyond_its_limit_by_rounding_alone_adds_nothing_to_the_exact_sum() {
    let limit = Limit { exact: d("5") + ulps(1), held: d("5") - ulps(1), strictest: d("5") - ulps(2) };
    let mut overrun = Overrun::nothing();
    for (sum, elapsed) in [([0, 1, 2], "1"), ([0, 2, 4], "0.6"), ([0, 5, 9], "2.1")] {
        overrun.add(&Bound::magnitude(Evidence::Speed, d("5"), limit.clone()), &d(elapsed));
        let Observed { exact, held, strictest } = overrun.sum.clone();
        assert_eq!([exact, held, strictest], sum.map(ulps));
    }
}

#[test]
fn one_frame_without_violation_starts_the_sum_of_an_overrun_anew() {
    // Three frames, one at the limit, three frames, one at the limit: never more than 9 µm. Then four frames.
    let seen = run(&sharp(speed_limit("5"), d("0.0095")), 0..20, speeding(|ms| ms == 7 || ms == 11), |_| 0);
    assert_eq!(trips(&seen), [(15, Evidence::Overrun)]);
    let sums: Vec<Option<Q>> = seen[4..9]
        .iter()
        .map(|seen| seen.monitors[0].lanes[0].overrun.as_ref().map(|bound| bound.observed.exact.clone()))
        .collect();
    assert_eq!(sums, [Some(d("0.003")), Some(d("0.006")), Some(d("0.009")), None, Some(d("0.003"))]);
}

#[test]
fn where_the_on_delay_ends_at_the_frame_of_an_overrun_the_speed_is_the_evidence() {
    for (on_delay, trip) in
        [(3, (7, Evidence::Speed)), (4, (7, Evidence::Overrun)), (2, (6, Evidence::Speed))]
    {
        let mut setup = sharp(speed_limit("5"), d("0.0095"));
        setup.monitors[0].on_delay_ns = on_delay * MS;
        // Latched: no second one, neither by the time nor by the distance.
        assert_eq!(trips(&run(&setup, 0..30, speeding(|_| false), |_| 0)), [trip]);
    }
}

#[test]
fn the_first_violated_frame_counts_with_the_whole_time_since_the_frame_before() {
    let mut model = Model::new(&sharp(speed_limit("5"), d("0.0095")));
    for at in [0, MS, 2 * MS] {
        model.step(&both(at, 0, 0));
    }
    // 24 counts in 3 ms.
    let seen = model.step(&both(5 * MS, 24, 0));
    let lane = &seen.monitors[0].lanes[0];
    assert_eq!(lane.overrun.as_ref().map(|bound| bound.observed.exact.clone()), Some(d("0.009")));
    assert!(lane.tripped_now.is_none());
    assert!(model.step(&both(6 * MS, 32, 0)).monitors[0].lanes[0].tripped_now.is_some());
}

#[test]
fn a_channel_fault_starts_the_sum_of_an_overrun_anew_on_its_channel_alone() {
    let mut model = Model::new(&sharp(speed_limit("5"), d("0.0095")));
    let count = speeding(|_| false);
    let mut tripped = [None, None];
    for ms in 0..15 {
        let now = ms * MS;
        // At 6 a reading of A comes out of order.
        let a = if ms == 6 { reading(now - 2 * MS, 0) } else { reading(now, count(ms)) };
        let seen = model.step(&frame(now, a, reading(now, count(ms)), 0));
        for (tripped, lane) in tripped.iter_mut().zip(&seen.monitors[0].lanes) {
            if lane.tripped_now.is_some() {
                *tripped = Some(ms);
            }
        }
    }
    assert_eq!(tripped, [Some(10), Some(7)]);
}

#[test]
fn an_overrun_is_summed_below_a_range_and_against_the_limit_of_a_direction_too() {
    let kinds = [
        Kind::SpeedRange { low: d("-5"), high: d("100") },
        Kind::SpeedLimitEachWay { positive: d("100"), negative: d("5"), ramp: None },
    ];
    for kind in kinds {
        let count = speeding(|_| false);
        let seen = run(&sharp(kind, d("0.0095")), 0..12, |ms| -count(ms), |_| 0);
        assert_eq!(trips(&seen), [(7, Evidence::Overrun)]);
    }
}

fn stopping(until: Until, within_ms: Option<u64>) -> Setup {
    let ramp = Ramp { delay_ns: 0, deceleration: d("1000"), margin: d("0"), jerk: None };
    let within_ns = within_ms.map(|within| within * MS);
    let by = By::Ramp { ramp, standstill_speed: d("2"), within_ns };
    let mut setup = sharp(Kind::Stop { until, by }, d("0.0065"));
    setup.inputs = vec![button(0)];
    setup.monitors[0].demand = Demand::inputs(&[0]);
    setup
}

#[test]
fn a_stop_by_ramp_sums_what_is_above_its_line() {
    // 8 mm/s under a line that falls by 1 mm/s a millisecond from 4 on: 1, 2, 3, 4 µm above it.
    let seen = run(&stopping(Until::TorqueOff, None), 0..12, going(|_| 8), |ms| u32::from(ms >= 4));
    assert_eq!(trips(&seen), [(8, Evidence::Overrun)]);
    let facts = seen[8].monitors[0].lanes[0].tripped_now.clone().expect("a trip");
    assert_eq!((facts.bound.observed.exact, facts.bound.limit.exact), (d("0.010"), ulp_down(&d("0.0065"))));
}

#[test]
fn the_standstill_after_a_stop_allows_no_overrun_and_adds_to_none() {
    // Complete at 7, with 6 µm; from there on the standstill is violated by its position, and its on-delay runs on.
    let until = Until::Standstill { position_window: d("0.001"), speed_window: d("1") };
    let seen = run(&stopping(until, Some(3)), 0..60, going(|_| 8), |ms| u32::from(ms >= 4));
    assert!(seen[7].monitors[0].lanes[0].complete && seen[7].monitors[0].lanes[0].overrun.is_some());
    assert_eq!(seen[8].monitors[0].lanes[0].overrun, None);
    assert_eq!(violated(&seen), (5..60).collect::<Vec<_>>());
    assert_eq!(trips(&seen), [(55, Evidence::Position)]);
}
