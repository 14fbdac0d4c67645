//! Decimals and units: exact reading, exact printing, named rounding.

use host_harness::decimal::{
    Dimension, Exact, NumberErrorKind, PI, RangeError, Rounding, ValueErrorKind, exact_text, parse_number,
    parse_quantity, parse_unit, round_scaled, short_text, to_nano_ulps, to_nanos, to_ulps,
};

fn exact(numerator: i128, denominator: i128) -> Exact {
    Exact::new(numerator, denominator)
}

/// A splitmix64 step: enough spread for a repeatable sample of numbers.
fn next(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut mixed = *state;
    mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    mixed ^ (mixed >> 31)
}

#[test]
fn a_number_is_read_as_the_fraction_it_says() {
    for (text, value) in [
        ("0", exact(0, 1)),
        ("-0.0", exact(0, 1)),
        ("+2", exact(2, 1)),
        ("-0.1", exact(-1, 10)),
        (" .5 ", exact(1, 2)),
        ("5.", exact(5, 1)),
        ("1e3", exact(1000, 1)),
        ("1.25E-2", exact(1, 80)),
        ("360/4096", exact(45, 512)),
        ("-1/3", exact(-1, 3)),
        ("1.5/0.3", exact(5, 1)),
        ("0e999999999999", exact(0, 1)),
        ("0.000000000000000000000000000000000001", exact(1, 10_i128.pow(36))),
    ] {
        assert_eq!(parse_number(text), Ok(value), "{text}");
    }
}

#[test]
fn what_is_not_a_number_is_refused_with_the_offending_bytes() {
    for (text, range, kind) in [
        ("", 0..0, NumberErrorKind::Empty),
        ("  ", 0..2, NumberErrorKind::Empty),
        ("abc", 0..3, NumberErrorKind::NotANumber),
        ("-", 0..1, NumberErrorKind::NotANumber),
        (".", 0..1, NumberErrorKind::NotANumber),
        ("1.2.3", 3..5, NumberErrorKind::NotANumber),
        ("1 2", 1..3, NumberErrorKind::NotANumber),
        ("nan", 0..3, NumberErrorKind::NotANumber),
        ("inf", 0..3, NumberErrorKind::NotANumber),
        ("−1", 0..4, NumberErrorKind::NotANumber),
        ("1e", 1..2, NumberErrorKind::NotANumber),
        ("1,5", 1..2, NumberErrorKind::Comma),
        ("1/0", 2..3, NumberErrorKind::DividesByZero),
        ("1/0.00", 2..6, NumberErrorKind::DividesByZero),
        ("1e39", 0..4, NumberErrorKind::TooLong),
        ("1e-99999999999999999999", 0..23, NumberErrorKind::TooLong),
        ("1234567890123456789012345678901234567890", 0..40, NumberErrorKind::TooLong),
        ("1e20/1e-20", 0..10, NumberErrorKind::TooLong),
    ] {
        let error = parse_number(text).expect_err(text);
        assert_eq!((error.range, error.kind), (range, kind), "{text}");
    }
}

#[test]
fn printing_and_reading_a_number_gives_the_same_number() {
    let mut state = 1;
    for _ in 0..20_000 {
        let numerator = i128::from(next(&mut state).cast_signed() >> (next(&mut state) % 64));
        let denominator = match next(&mut state) % 3 {
            0 => 10_i128.pow(u32::try_from(next(&mut state) % 19).expect("small")),
            1 => 1 << (next(&mut state) % 60),
            _ => i128::from(next(&mut state) % 1_000_000) + 1,
        };
        let value = exact(numerator, denominator);
        let text = exact_text(&value);
        assert_eq!(parse_number(&text), Ok(value), "{text}");
    }
}

#[test]
fn reading_and_printing_a_plain_decimal_gives_the_same_text() {
    // 0.001 to 100.000 in steps of 0.001: the texts a float reader gets wrong in the last place.
    for micrometres in 1..=100_000_i128 {
        let text = format!("{}.{:03}", micrometres / 1000, micrometres % 1000);
        let value = parse_number(&text).expect("a decimal");
        assert_eq!(value, exact(micrometres, 1000));
        assert_eq!(exact_text(&value), text.trim_end_matches('0').trim_end_matches('.'));
    }
}

#[test]
fn a_number_for_a_sentence_is_exact_or_has_four_digits_rounded_as_named() {
    for (value, rounding, text) in [
        (exact(1, 8), Rounding::Up, "0.125"),
        (exact(0, 1), Rounding::Up, "0"),
        (exact(1, 3), Rounding::Down, "0.3333"),
        (exact(1, 3), Rounding::Up, "0.3334"),
        (exact(2, 3), Rounding::Nearest, "0.6667"),
        (exact(1_000_000, 3), Rounding::Up, "333334"),
        (exact(-1, 3), Rounding::Down, "-0.3334"),
        (exact(1, 3_000_000), Rounding::Up, "0.0000003334"),
    ] {
        assert_eq!(short_text(&value, rounding), text);
    }
}

#[test]
fn each_rounding_goes_its_way_at_the_edges() {
    use Rounding::{Down, Nearest, Up};
    for (value, rounding, result) in [
        (exact(5, 2), Down, 2),
        (exact(5, 2), Up, 3),
        (exact(5, 2), Nearest, 3),
        (exact(-5, 2), Down, -3),
        (exact(-5, 2), Up, -2),
        (exact(-5, 2), Nearest, -3),
        (exact(7, 3), Nearest, 2),
        (exact(8, 3), Nearest, 3),
        (exact(-7, 3), Nearest, -2),
        (exact(-8, 3), Nearest, -3),
        (exact(2, 1), Down, 2),
        (exact(2, 1), Up, 2),
        (exact(-2, 1), Nearest, -2),
    ] {
        assert_eq!(round_scaled(&value, 1, rounding), Some(result), "{value} {rounding:?}");
    }
    assert_eq!(round_scaled(&exact(i128::MAX, 1), 2, Down), None);
    // Many digits are no reason to refuse: the product may need more bits than an i128 has.
    let nearly_two = exact(i128::MAX, i128::MAX / 2);
    assert_eq!(round_scaled(&nearly_two, u64::MAX, Down), Some(2 * i128::from(u64::MAX)));
    assert_eq!(round_scaled(&nearly_two, u64::MAX, Up), Some(2 * i128::from(u64::MAX) + 1));
}

#[test]
fn a_rounded_setting_is_never_more_than_one_step_away_and_on_the_named_side() {
    let mut state = 2;
    for _ in 0..20_000 {
        let value = exact(i128::from(next(&mut state) >> 30), i128::from(next(&mut state) >> 44) + 1);
        let scaled = value * exact(1 << 24, 1);
        if let Ok(down) = to_ulps(&value, Rounding::Down) {
            let down = Exact::from_integer(i128::from(down));
            assert!(down <= scaled && scaled < down + exact(1, 1), "{value}");
        }
        let up = Exact::from_integer(i128::from(to_ulps(&value, Rounding::Up).expect("in range")));
        assert!(up >= scaled && scaled > up - exact(1, 1), "{value}");
    }
}

#[test]
fn what_the_fixed_point_cannot_hold_is_refused() {
    let largest = exact(i128::from(i64::MAX), 1 << 24);
    assert_eq!(to_ulps(&largest, Rounding::Down), Ok(i64::MAX));
    assert_eq!(to_ulps(&exact(1 << 39, 1), Rounding::Down), Err(RangeError::TooLarge));
    assert_eq!(to_ulps(&exact(-(1 << 39), 1), Rounding::Down), Ok(i64::MIN));
    assert_eq!(to_ulps(&exact(1, 1 << 24), Rounding::Down), Ok(1));
    assert_eq!(to_ulps(&exact(1, 1 << 25), Rounding::Down), Err(RangeError::TooFine));
    assert_eq!(to_ulps(&exact(1, 1 << 25), Rounding::Nearest), Ok(1));
    assert_eq!(to_ulps(&exact(1, 1 << 25), Rounding::Up), Ok(1));
    assert_eq!(to_ulps(&exact(0, 1), Rounding::Down), Ok(0));

    assert_eq!(to_nanos(&exact(i128::from(u64::MAX), 1), Rounding::Down), Ok(u64::MAX));
    assert_eq!(to_nanos(&exact(1 << 64, 1), Rounding::Down), Err(RangeError::TooLarge));
    assert_eq!(to_nanos(&exact(-1, 1), Rounding::Down), Err(RangeError::Negative));
    assert_eq!(to_nanos(&exact(1, 2), Rounding::Down), Err(RangeError::TooFine));
    assert_eq!(to_nanos(&exact(1, 2), Rounding::Up), Ok(1));

    assert_eq!(to_nano_ulps(&exact(1, 1_000_000_000)), Ok(1 << 24), "nine decimals are exact");
    assert_eq!(
        to_nano_ulps(&exact(360, 1 << 36)),
        Ok(360_000_000_000 >> 12),
        "a turn divided by 2^36 is exact"
    );
    assert_eq!(to_nano_ulps(&exact(-550, 1)), Err(RangeError::TooLarge));
    assert_eq!(to_nano_ulps(&exact(1, 10_i128.pow(17))), Err(RangeError::TooFine));
}

#[test]
fn every_unit_has_its_published_size() {
    // Sources: ISO 80000-3:2019 for minute, hour, degree, arc minute and second, and the revolution (one rotation);
    // the inch of 25.4 mm from the international yard and pound agreement of 1959 (also ISO 80000-3, Annex). Cited
    // from memory.
    use Dimension::{
        Acceleration, Angle, AngularAcceleration, AngularJerk, AngularSpeed, Jerk, Length, Speed, Time,
    };
    for (text, dimension, base) in [
        ("1 um", Length, exact(1, 1000)),
        ("1 µm", Length, exact(1, 1000)),
        ("1 μm", Length, exact(1, 1000)),
        ("1 cm", Length, exact(10, 1)),
        ("1 m", Length, exact(1000, 1)),
        ("1 in", Length, exact(254, 10)),
        ("1 in/s", Speed, exact(254, 10)),
        ("60 arcmin", Angle, exact(1, 1)),
        ("3600 arcsec", Angle, exact(1, 1)),
        ("1 rev", Angle, exact(360, 1)),
        ("1 us", Time, exact(1_000, 1)),
        ("1 µs", Time, exact(1_000, 1)),
        ("1 ms", Time, exact(1_000_000, 1)),
        ("1 s", Time, exact(1_000_000_000, 1)),
        ("1 min", Time, exact(60_000_000_000, 1)),
        ("1 h", Time, exact(3_600_000_000_000, 1)),
        ("15 m/min", Speed, exact(250, 1)),
        ("60 mm/min", Speed, exact(1, 1)),
        ("1 m/s", Speed, exact(1000, 1)),
        ("1 rpm", AngularSpeed, exact(6, 1)),
        ("1 rev/min", AngularSpeed, exact(6, 1)),
        ("1 rev/s", AngularSpeed, exact(360, 1)),
        ("2 m/s^2", Acceleration, exact(2000, 1)),
        ("2 m/s²", Acceleration, exact(2000, 1)),
        ("7 mm/s²", Acceleration, exact(7, 1)),
        ("1 rev/s^2", AngularAcceleration, exact(360, 1)),
        ("20 m/s^3", Jerk, exact(20_000, 1)),
        ("20 m/s³", Jerk, exact(20_000, 1)),
        ("7 mm/s³", Jerk, exact(7, 1)),
        ("2 rev/s^3", AngularJerk, exact(720, 1)),
        ("9 deg/s³", AngularJerk, exact(9, 1)),
        ("360/4096 deg", Angle, exact(360, 4096)),
        ("1/3 mm", Length, exact(1, 3)),
        ("4ms", Time, exact(4_000_000, 1)),
        ("1e3mm", Length, exact(1000, 1)),
        ("-0.0005 mm", Length, exact(-5, 10_000)),
    ] {
        let quantity = parse_quantity(text, dimension).unwrap_or_else(|error| panic!("{text}: {error}"));
        assert_eq!(quantity.value, base, "{text}");
    }
}

#[test]
fn pi_has_thirty_right_decimals_and_a_radian_follows_from_it() {
    // From memory; any table of the constant has them.
    let published = "141592653589793238462643383279";
    let (mut rest, below) = (PI.numer() % PI.denom(), *PI.denom());
    let mut digits = String::new();
    for _ in 0..30 {
        rest *= 10;
        digits.push_str(&(rest / below).to_string());
        rest %= below;
    }
    assert_eq!((PI.trunc(), digits.as_str()), (exact(3, 1), published));

    let rad = parse_unit("rad", Dimension::Angle).expect("a unit").in_base;
    assert_eq!(rad * PI, exact(180, 1));
    assert_eq!(parse_unit("mrad", Dimension::Angle).expect("a unit").in_base * exact(1000, 1), rad);
    assert_eq!(parse_unit("rad/s", Dimension::AngularSpeed).expect("a unit").in_base, rad);
    assert_eq!(parse_unit("rad/s^3", Dimension::AngularJerk).expect("a unit").in_base, rad);
    // The text is 3.07e-18 rad above two pi: 2.95 steps of 6e-17 deg.
    let turn = parse_quantity("6.28318530717958648 rad", Dimension::Angle).expect("fits").value;
    assert_eq!(to_nano_ulps(&turn), to_nano_ulps(&exact(360, 1)).map(|turn| turn + 3));
}

#[test]
fn a_wrong_unit_is_named_with_its_place_and_what_would_fit() {
    let error = parse_quantity("250 ms", Dimension::Speed).expect_err("a time is no speed");
    assert_eq!(error.range, 4..6);
    assert_eq!(error.to_string(), "`ms` is a time; expected a speed such as mm/s, m/s, m/min");
    assert_eq!(error.way_out(), "use one of: mm/s, m/s, m/min, mm/min, in/s");

    for (text, dimension, range, way_out) in [
        ("250", Dimension::Speed, 0..3, "write the unit behind the number, for example \"250 mm/s\""),
        ("250 mm/sec", Dimension::Speed, 4..10, "did you mean `mm/s`?"),
        ("4 MS", Dimension::Time, 2..4, "did you mean `ms`?"),
        ("1500 1/min", Dimension::AngularSpeed, 5..10, "did you mean `rpm`?"),
        ("2 m/s2", Dimension::Acceleration, 2..6, "did you mean `m/s^2`?"),
        ("2 m/s3", Dimension::Jerk, 2..6, "did you mean `m/s^3`?"),
        ("2 m/s^2", Dimension::Jerk, 2..7, "use one of: mm/s^3, m/s^3"),
        ("1 furlong", Dimension::Length, 2..9, "use one of: mm, um, cm, m, in"),
        ("1/s", Dimension::Time, 1..3, "use one of: ns, us, ms, s, min, h"),
        ("2em", Dimension::Length, 1..3, "use one of: mm, um, cm, m, in"),
        (
            "1,5 mm",
            Dimension::Length,
            1..2,
            "write a number and its unit, for example \"2.5 mm\" or \"360/4096 deg\"",
        ),
        (
            "fast",
            Dimension::Speed,
            0..4,
            "write a number and its unit, for example \"2.5 mm\" or \"360/4096 deg\"",
        ),
        (
            "",
            Dimension::Speed,
            0..0,
            "write a number and its unit, for example \"2.5 mm\" or \"360/4096 deg\"",
        ),
    ] {
        let error = parse_quantity(text, dimension).expect_err(text);
        assert_eq!((error.range.clone(), error.way_out().as_str()), (range, way_out), "{text}: {error}");
    }
    let too_long =
        parse_quantity("123456789012345678901234567890123456 h", Dimension::Time).expect_err("too long");
    assert_eq!(too_long.kind, ValueErrorKind::Number(NumberErrorKind::TooLong));
}
