use super::*;

fn scale(numerator: i128, denominator: u128) -> Scale {
    Scale::from_ratio(numerator, denominator).unwrap()
}

fn speed(scale: &Scale, counts: i64, elapsed: u32) -> WindowSpeed {
    scale.speed(WindowTravel { counts, elapsed }).unwrap()
}

/// A step of a linear congruential generator.
fn next(state: &mut u64) -> u64 {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    *state
}

fn any_scale(state: &mut u64) -> Scale {
    let nano = next(state);
    Scale::from_nano((nano >> (nano % 44)).max(MIN_NANO), false).unwrap()
}

#[test]
fn two_millimetres_in_eight_milliseconds_are_exactly_250_mm_per_s() {
    let half_micron = scale(1, 2000);
    let v = speed(&half_micron, 4000, 8_000_000);
    assert_eq!(v.magnitude(), Speed::from_int(250).unwrap());
    assert_eq!(v.magnitude_down(), v.magnitude());
    // One count more is above, by one count over the window: 0.0625 mm/s.
    assert_eq!(speed(&half_micron, -4001, 8_000_000).signed().to_bits(), -(250 << 24) - (1 << 20));
    // 0.7 mm has no exact binary form, yet over 7 ms it is exactly 100 mm/s.
    assert_eq!(speed(&scale(1, 1000), 700, 7_000_000).magnitude(), Speed::from_int(100).unwrap());
}

#[test]
fn a_speed_equals_the_exact_quotient_rounded_up() {
    let scales =
        [scale(1, 2000), scale(-1, 1000), scale(360, 4096), scale(951_068, 100_000_000), scale(1000, 1)];
    let mut state = 7_u64;
    for i in 0..100_000_u32 {
        next(&mut state);
        let scale = &scales[i as usize % scales.len()];
        let elapsed = ((state >> 32) as u32 >> (i % 18)).max(10_000);
        let counts = ((state >> 8) as i64) >> (64 - (64 - scale.speed_left).min(40) + i % 20).min(63);
        let v = speed(scale, counts, elapsed);
        let nanos = i128::from(counts.unsigned_abs()) * i128::from(scale.nano);
        let exact_up = (nanos + i128::from(elapsed) - 1) / i128::from(elapsed);
        let exact_down = nanos / i128::from(elapsed);
        assert_eq!(i128::from(v.magnitude().to_bits()), exact_up, "{counts} {elapsed}");
        assert_eq!(i128::from(v.magnitude_down().to_bits()), exact_down, "{counts} {elapsed}");
    }
}

#[test]
fn what_a_rate_allows_is_within_its_limit_and_what_is_two_counts_within_is_allowed() {
    let mut state = 3_u64;
    for _ in 0..200_000 {
        let scale = any_scale(&mut state);
        let limit = next(&mut state);
        let limit = Speed::from_bits((limit >> (3 + limit % 50)) as i64);
        let elapsed = ((next(&mut state) >> 33) as u32).max(10_000);
        let rate = scale.rate_within(limit);
        let most = ((u128::from(rate.0) * u128::from(elapsed)) >> 32) as i64;
        assert!(rate.allows(most, elapsed) && !rate.allows(most + 1, elapsed));
        // Exactly: counts · nano ≤ limit · elapsed.
        let product = i128::from(limit.to_bits()) * i128::from(elapsed);
        assert!(i128::from(most) * i128::from(scale.nano) <= product, "{scale:?} {limit} {elapsed}");
        let exact = (product / i128::from(scale.nano)).min(i128::from(scale.speed_counts) - 2);
        // Beyond what a window can bring, the range of a speed is what bounds.
        let bound = ((i128::from(scale.speed_counts) - 1) * i128::from(elapsed)) >> 32;
        assert!(i128::from(most) + 2 >= exact.min(bound), "{scale:?} {limit} {elapsed}: {most}");
    }
}

#[test]
fn beyond_a_rate_a_speed_is_above_its_limit_and_one_that_is_well_above_is_beyond() {
    let mut state = 11_u64;
    for _ in 0..200_000 {
        let scale = any_scale(&mut state);
        let limit = next(&mut state);
        let limit = Speed::from_bits((limit >> (3 + limit % 50)) as i64);
        let elapsed = ((next(&mut state) >> 33) as u32).max(10_000);
        let rate = scale.rate_beyond(limit);
        if rate == CountRate::MAX {
            continue;
        }
        let most = (u128::from(rate.0) * u128::from(elapsed)) >> 32;
        // One more is beyond the rate, and exactly counts · nano > limit · elapsed.
        let product = u128::from(limit.to_bits().unsigned_abs()) * u128::from(elapsed);
        assert!((most + 1) * u128::from(scale.nano) > product, "{scale:?} {limit} {elapsed}");
        let exact = product / u128::from(scale.nano);
        let slack = 2 + (((u128::from(limit.to_bits().unsigned_abs()) >> 51) * u128::from(elapsed)) >> 31);
        assert!(most <= exact + slack + (u128::from(elapsed) >> 30) + 1, "{scale:?} {limit} {elapsed}");
    }
}

#[test]
fn a_bend_that_is_surely_within_an_acceleration_is_and_nearly_all_of_them() {
    let mut state = 17_u64;
    let mut met = 0;
    for _ in 0..200_000 {
        let scale = any_scale(&mut state);
        let limit = next(&mut state);
        let limit = Acceleration::from_bits((limit >> (3 + limit % 60)) as i64);
        let window = (10_000 + (next(&mut state) >> (33 + next(&mut state) % 20))).min(2_000_000_000) as u32;
        let most = scale.bend_surely_within(limit, Span::from_nanos(window.into()));
        // Over windows that are as long, the change is limit · window, less six steps of the speed for what is rounded.
        let exact = (i128::from(limit.to_bits()) * i128::from(window) / 1_000_000_000 - 6).max(-1);
        let exact = match exact {
            -1 => -1,
            change => (change * i128::from(window) * i128::from(window) / i128::from(scale.nano))
                .min(i128::from(i64::MAX) - 1),
        };
        assert!(i128::from(most) >= exact, "{scale:?} {limit} {window}: {most}, {exact}");
        // And longer ones, with counts that come as near to the most as they can.
        let longer = |n: u64| window + (u64::from(window) * (n >> 33) % (u64::from(window) / 3)) as u32;
        let (t1, t2) = (longer(next(&mut state)), longer(next(&mut state)));
        let c2 = (next(&mut state) >> (20 + next(&mut state) % 40)) as i64;
        let c1 = (i128::from(most) + i128::from(c2) * i128::from(t1)).div_euclid(t2.into());
        let c1 = i64::try_from(c1).unwrap();
        let speed = |counts, elapsed| scale.speed(WindowTravel { counts, elapsed });
        let (Some(before), Some(now)) = (speed(c2, t2), speed(c1, t1)) else { continue };
        if most < 0
            || (i128::from(c1) * i128::from(t2) - i128::from(c2) * i128::from(t1)).abs() > i128::from(most)
        {
            continue;
        }
        met += 1;
        let a = WindowAcceleration::between((before, t2), (now, t1)).magnitude();
        assert!(a <= limit, "{scale:?} {limit} {window}: {c2} in {t2}, {c1} in {t1}, {a}");
    }
    assert!(met > 20_000, "{met}");
}

#[test]
fn counts_that_are_surely_within_a_travel_are_and_nearly_all_of_them() {
    let mut state = 13_u64;
    for _ in 0..200_000 {
        let scale = any_scale(&mut state);
        let ulps = next(&mut state);
        let ulps = (ulps >> (1 + ulps % 60)) as i64;
        let counts = i128::from(scale.counts_surely_within(ulps));
        let exact = i128::from(ulps) * 1_000_000_000 / i128::from(scale.nano);
        // Where counts are finest, some thousands of them are nothing.
        assert!(counts <= exact && counts + 4000 >= exact.min(i64::MAX.into()), "{scale:?} {ulps}");
    }
}

#[test]
fn after_a_million_turns_a_position_is_still_within_half_a_ulp() {
    for (numerator, denominator) in [(360, 4096), (9, 25_000), (360, 1 << 20), (1, 2000)] {
        let scale = scale(numerator, denominator);
        let turn = 360 * denominator as i64 / numerator as i64;
        for counts in [1_000_000 * turn - 1, 1_000_000 * turn, 1_000_000 * turn + 1, -999_999 * turn + 77] {
            let bits = i128::from(scale.travel(counts).unwrap().to_bits());
            let error = (bits * denominator as i128 - ((i128::from(counts) * numerator) << 24)).abs();
            assert!(2 * error <= denominator as i128, "{counts} counts of {numerator}/{denominator}");
        }
    }
}

#[test]
fn a_length_is_rounded_up_and_exact_values_stay() {
    let micron = scale(1, 1000);
    assert_eq!(micron.length(1000), Position::from_int(1));
    assert_eq!(micron.length(-1000), Position::from_int(1));
    assert_eq!(micron.length(1).unwrap().to_bits(), 16778); // 16777.216
    assert_eq!(micron.travel(1).unwrap().to_bits(), 16777);
    assert_eq!(scale(-1, 1000).travel(1).unwrap().to_bits(), -16777);
}

#[test]
fn the_two_ends_of_a_travel_enclose_it_as_closely_as_whole_steps_can() {
    let mut state = 5_u64;
    for i in 0..200_000_u32 {
        next(&mut state);
        let scales = [scale(1, 2000), scale(-1, 1000), scale(360, 4096), scale(-951_068, 100_000_000)];
        let scale = &scales[i as usize % scales.len()];
        let counts = (state as i64) >> (12 + i % 50);
        let nanos = i128::from(counts) * i128::from(scale.nano) * if scale.reversed { -1 } else { 1 };
        let (down, up) = (nanos.div_euclid(1_000_000_000), -(-nanos).div_euclid(1_000_000_000));
        let Some(ends) = scale.ends(counts) else { continue };
        assert_eq!((i128::from(ends.0), i128::from(ends.1)), (down, up), "{counts}");
    }
    assert_eq!(scale(1, 1000).ends(1000), Some((1 << 24, 1 << 24)));
    assert_eq!(scale(-1, 1000).ends(1), Some((-16778, -16777)));
}

#[test]
fn a_signed_reach_is_certainly_inside_and_nearly_all_that_is() {
    let micron = scale(1, 1000);
    let mm = |n: i64| Position::from_int(n).unwrap();
    assert_eq!((micron.signed_reach(mm(2)), micron.signed_reach(mm(0))), (2000, 0));
    assert_eq!(micron.signed_reach(mm(-2)), -2001);
}

#[test]
fn a_scale_outside_its_range_is_refused() {
    assert_eq!(Scale::from_ratio(0, 1), Err(ScaleError::Zero));
    assert_eq!(Scale::from_ratio(1, 0), Err(ScaleError::Zero));
    assert_eq!(Scale::from_ratio(1, 1 << 35), Err(ScaleError::TooFine));
    assert!(Scale::from_ratio(1, 1 << 34).is_ok());
    assert_eq!(Scale::from_ratio(1100, 1), Err(ScaleError::TooCoarse));
    assert!(Scale::from_ratio(1099, 1).is_ok());
    assert_eq!(Scale::ULP, scale(1, 1 << 24));
}
