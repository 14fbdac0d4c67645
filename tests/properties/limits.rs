//! Limits that are kept, and limits that are wider.

use cowitness_tests::model::{Kind, Q, Ramp, Setup, q, ulps};
use cowitness_tests::trace::Case;
use monitor_core::{
    Axis, Bound, Demand, Frame, Position, PositionDiscrepancy, Rule, Scale, SourceConfig, SourceError, Span,
    Speed, SpeedLimit, Standstill, WarmUp,
};
use num_traits::Signed;
use proptest::prelude::*;
use quickcheck::{QuickCheck, TestResult};

use crate::axis::{Config, both, cases, config, fine_axis, first_trips, reading, when, without_stops};

const MS: u64 = 1_000_000;

/// Moves at so many thousandths of `limit` mm/s, at most all of them, for so many microseconds each. Whether the channel was
/// faulted, or the limit violated or tripped.
fn breaks_a_limit(limit: u16, moves: &[(u16, u16)], window: u64, on_delay: u64) -> bool {
    let mut config = fine_axis(window);
    let limit = i64::from(limit);
    let rule = SpeedLimit::try_new(Speed::from_int(limit).expect("in range"), None).expect("in range");
    config
        .add_monitor(Rule::SpeedLimit(rule), Demand::Always, Span::from_nanos(on_delay))
        .expect("room for one");
    let mut axis = Axis::new(config);
    let (mut now, mut count) = (0_u64, 0_i64);
    moves.iter().any(|&(share, gap)| {
        // mm/s × µs = 10⁻⁶ mm = 1000 counts, and a thousandth of the limit is one of them. Every other stretch goes back.
        let gap = 1 + i64::from(gap % 3000);
        let sign = if share & 1024 == 0 { 1 } else { -1 };
        count += sign * limit * gap * i64::from(share & 1023).min(1000);
        now += 1000 * gap.cast_unsigned();
        let outcome = axis.step(&both(now, reading(now, count)));
        outcome.faults.a.is_some() || outcome.has_trip() || !outcome.violated.a.is_empty()
    })
}

proptest! {
    #![proptest_config(config(400))]

    #[test]
    fn a_speed_that_is_never_above_the_limit_never_trips_it_whatever_the_on_delay(
        limit in 1_u16..=3000,
        moves in prop::collection::vec((0_u16..2048, any::<u16>()), 2..200),
        window in 10_000_u64..=100 * MS,
        on_delay in prop_oneof![Just(0), 0..20 * MS],
    ) {
        prop_assert!(!breaks_a_limit(limit, &moves, window, on_delay));
    }

    #[test]
    fn an_axis_that_stays_inside_its_window_never_trips_a_standstill(
        window in 0_i64..1_000_000_000,
        places in prop::collection::vec(-1_000_000_i64..=1_000_000, 2..200),
    ) {
        let mut config = fine_axis(10 * MS);
        // The reference is the first reading, in the middle.
        let units = Position::from_bits((i128::from(window) * (1 << 24) / 1_000_000_000).try_into().expect("it fits"));
        let rule = Standstill::try_new(units, Speed::MAX).expect("in range");
        config.add_monitor(Rule::Standstill(rule), Demand::Always, Span::ZERO).expect("room for one");
        let held = (i128::from(units.to_bits()) * 1_000_000_000) >> 24;
        let mut axis = Axis::new(config);
        for (at, place) in (1..).zip(std::iter::once(&0).chain(&places)) {
            let count = i64::try_from(held * i128::from(*place) / 1_000_000).expect("it fits");
            let outcome = axis.step(&both(at * 100 * MS, reading(at * 100 * MS, count)));
            prop_assert_eq!(outcome.faults.a, None);
            prop_assert!(!outcome.has_trip() && outcome.violated.a.is_empty());
        }
    }
}

#[test]
fn a_speed_that_is_never_above_the_limit_never_trips_it_for_quickcheck_either() {
    fn property(limit: u16, moves: Vec<(u16, u16)>, window: u32, on_delay: u32) -> TestResult {
        if limit == 0 || limit > 3000 {
            return TestResult::discard();
        }
        let moves: Vec<(u16, u16)> = moves.into_iter().map(|(share, gap)| (share % 2048, gap)).collect();
        let window = 10_000 + u64::from(window) % (100 * MS);
        let on_delay = u64::from(on_delay) % (20 * MS);
        TestResult::from_bool(!breaks_a_limit(limit, &moves, window, on_delay))
    }
    QuickCheck::new().tests(300).quickcheck(property as fn(u16, Vec<(u16, u16)>, u32, u32) -> TestResult);
}

#[test]
fn a_speed_above_the_limit_does_trip_it() {
    let above = [(1001_u16, 999_u16); 40];
    // One part in a thousand above: 1001 is not cut to the limit.
    let mut config = fine_axis(10 * MS);
    let rule = SpeedLimit::try_new(Speed::from_int(100).expect("in range"), None).expect("in range");
    config.add_monitor(Rule::SpeedLimit(rule), Demand::Always, Span::ZERO).expect("room for one");
    let mut axis = Axis::new(config);
    let (mut now, mut count, mut tripped) = (0, 0, false);
    for (share, gap) in above {
        count += 100 * i64::from(share) * (i64::from(gap) + 1);
        now += 1000 * (u64::from(gap) + 1);
        tripped |= axis.step(&both(now, reading(now, count))).has_trip();
    }
    assert!(tripped);
}

/// Every limit, window, margin and tolerance up by a share and a few ULP, both ends of a range outwards, every time up by some
/// nanoseconds, every deceleration and jerk down.
fn looser(setup: &Setup, percent: i128, more_ulps: i128, more_ns: u64) -> Setup {
    let mut setup = setup.clone();
    let more = |value: &Q| value.abs() * q(percent, 100) + ulps(more_ulps);
    let up = |value: &mut Q| *value = &*value + more(value);
    let down = |value: &mut Q| *value = &*value - more(value);
    let ease = |ramp: &mut Ramp| {
        up(&mut ramp.margin);
        ramp.deceleration = &ramp.deceleration * q(100, 100 + percent);
        ramp.delay_ns += more_ns;
        if let Some(jerk) = &mut ramp.jerk {
            *jerk = &*jerk * q(100, 100 + percent);
        }
    };
    for monitor in &mut setup.monitors {
        // An output trips never, and has none.
        if !monitor.kind.demands() && !matches!(monitor.kind, Kind::BrakeOutput { .. }) {
            monitor.on_delay_ns += more_ns;
        }
        monitor.allowed_overrun.iter_mut().for_each(up);
        match &mut monitor.kind {
            Kind::Standstill { position_window, speed_window } => {
                up(position_window);
                up(speed_window);
            }
            Kind::SpeedLimit { limit, ramp } => {
                up(limit);
                ramp.iter_mut().for_each(ease);
            }
            Kind::SpeedLimitEachWay { positive, negative, ramp } => {
                up(positive);
                up(negative);
                ramp.iter_mut().for_each(ease);
            }
            Kind::SpeedRange { low, high }
            | Kind::AccelerationRange { low, high }
            | Kind::PositionRange { low, high }
            | Kind::TorqueRange { low, high, .. } => {
                down(low);
                up(high);
            }
            Kind::AccelerationLimit { limit }
            | Kind::TorqueLimit { limit, .. }
            | Kind::TemperatureLimit { limit, .. } => up(limit),
            Kind::Direction { tolerance, .. } => up(tolerance),
            Kind::TravelLimit { increment } => up(increment),
            // What has no limit. An output says when another rule is active: with it loosened, that rule might be so elsewhere.
            Kind::TorqueOff
            | Kind::CamOutput { .. }
            | Kind::SpeedOutput { .. }
            | Kind::BrakeOutput { .. }
            | Kind::Stop { .. } => {}
        }
    }
    for analogue in &mut setup.analogues {
        up(&mut analogue.tolerance);
        analogue.discrepancy_time_ns += more_ns;
    }
    if let Some(rule) = &mut setup.discrepancy {
        up(&mut rule.tolerance);
        rule.skew_allowance_ns += more_ns;
        rule.discrepancy_time_ns += more_ns;
    }
    if let Some(rule) = &mut setup.speed_discrepancy {
        up(&mut rule.tolerance);
        rule.discrepancy_time_ns += more_ns;
    }
    setup.as_held()
}

proptest! {
    #![proptest_config(config(800))]

    #[test]
    fn a_looser_setting_never_trips_earlier(
        case in cases(),
        percent in 0_i128..50,
        more_ulps in 0_i128..3,
        more_ns in prop_oneof![Just(0), 0..5 * MS],
    ) {
        let strict = Case { setup: without_stops(&case.setup), ..case };
        let loose = Case { setup: looser(&strict.setup, percent, more_ulps, more_ns), ..strict.clone() };
        let (strict, loose) = (first_trips(&strict), first_trips(&loose));
        for (strict, loose) in strict.iter().zip(&loose) {
            prop_assert!(when(loose.as_ref()) >= when(strict.as_ref()), "{:?} before {:?}", loose, strict);
        }
    }
}

/// Worked by hand: 2 mm and what 250 mm/s pass in 1 ms are 2.25 mm, a whole number of ULPs.
#[test]
fn channels_as_far_apart_as_tolerance_and_skew_allow_are_no_violation_and_one_count_more_is() {
    let speed = |units| Speed::from_int(units).expect("in range");
    let micron = Scale::from_ratio(1, 1000).expect("in range");
    let source = SourceConfig::try_new(32, micron, speed(3000), Span::from_nanos(4 * MS)).expect("in range");
    let (tolerance, skew) = (Position::from_int(2).expect("in range"), Span::from_nanos(MS));
    let rule = PositionDiscrepancy::try_new(tolerance, skew, Span::ZERO, false).expect("in range");
    let ahead = |counts: i64| {
        let mut config =
            Config::try_new(source, source, Span::from_nanos(8 * MS), WarmUp::Permit).expect("in range");
        config.set_position_discrepancy(rule);
        let mut axis = Axis::new(config);
        // Both go at 250 mm/s; channel A gains on the way, and has gone as fast as B for a window at the end.
        for k in 0..200_i64 {
            let now = (k.unsigned_abs() + 1) * MS;
            let b = 250 * k;
            let a = b + counts * k.min(100) / 100;
            let frame = both(now, reading(now, b));
            let _ = axis.step(&Frame { a: reading(now, a), ..frame });
        }
        (axis.apart().expect("both are seen").bound, axis.state().trips().count())
    };
    let limit = Position::from_bits((9 << 24) / 4);
    assert_eq!(ahead(2250), (Bound::at_most(limit, limit), 0));
    let (above, trips) = ahead(2251);
    assert!(above.is_exceeded() && above.limit == limit && trips == 1, "{above:?}, {trips}");
}

#[test]
fn a_counter_whose_half_passes_within_the_timeout_is_refused_however_fast_it_is() {
    let fine = Scale::from_ratio(1, 1 << 33).expect("in range");
    let source = |max_speed| SourceConfig::try_new(63, fine, max_speed, Span::from_nanos(500 * MS));
    assert_eq!(source(Speed::MAX), Err(SourceError::Ambiguous));
    // Half the range of 63 bits are 2⁶² counts or 2²⁹ units: in half a second at 2³⁰ units per second.
    let half = Speed::from_int(1 << 30).expect("in range");
    assert_eq!(source(half), Err(SourceError::Ambiguous));
    // One ULP per second less is 256 counts less.
    assert!(source(Speed::from_bits(half.to_bits() - 1)).is_ok());
}
