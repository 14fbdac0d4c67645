//! From counter to count.

use super::*;

/// RFC 1982, section 5.2: 255 + 1, 100 + 100 and 200 + 100 in 8 bits.
#[test]
fn a_change_in_8_bits_is_the_addend_of_rfc_1982() {
    for (from, addend, to) in [(255, 1, 0), (100, 100, 200), (200, 100, 44)] {
        assert_eq!(change(from, to, 8), addend, "{from} + {addend}");
    }
}

/// RFC 1982, section 5.2: the relations listed as true for 8 bits.
#[test]
fn the_sign_of_a_change_is_the_order_of_rfc_1982() {
    let greater = [
        (1, 0),
        (44, 0),
        (100, 0),
        (100, 44),
        (200, 100),
        (255, 200),
        (0, 255),
        (100, 255),
        (0, 200),
        (44, 200),
    ];
    for (later, earlier) in greater {
        assert!(change(earlier, later, 8).is_positive(), "{later} > {earlier}");
        assert!(change(later, earlier, 8).is_negative(), "{earlier} < {later}");
    }
}

/// RFC 1982, sections 3 and 5.2: the largest addend is 127, 128 is undefined and reads as −128 in two's complement,
/// and (100 + 100) + 100 is less than 100.
#[test]
fn half_a_counter_is_ambiguous_and_reads_negative() {
    for start in 0..256 {
        assert_eq!(change(start, (start + 127) % 256, 8), 127);
        assert_eq!(change(start, (start + 128) % 256, 8), -128);
    }
    assert!(change(100, 44, 8).is_negative());
}

/// Two's complement, plain arithmetic; the 10-bit values are of a recorded log of a 1024-count turn.
#[test]
fn changes_over_the_wrap_of_10_16_and_32_bits() {
    let wide = |value: i64| value.cast_unsigned();
    assert_eq!(change(65530, 5, 16), 11);
    assert_eq!(change(5, 65530, 16), -11);
    assert_eq!(change(32767, wide(-32768), 16), 1);
    assert_eq!(change(wide(-32768), 32767, 16), -1);
    assert_eq!(change(4_294_859_756, 5_543_456, 32), 5_650_996);
    assert_eq!(change(0, 0x8000_0000, 32), -2_147_483_648);
    assert_eq!(change(1021, 3, 10), 6);
    assert_eq!(change(511, wide(-512), 10), 1);
    assert_eq!(change(wide(-512), 511, 10), -1);
}

#[test]
fn the_first_reading_is_read_as_twos_complement_in_its_width() {
    assert_eq!(as_signed(0xff, 8), -1);
    assert_eq!(as_signed(0x7f, 8), 127);
    assert_eq!(as_signed(0xffff_ff80, 8), -128);
    assert_eq!(as_signed(u64::MAX, 64), -1);
    assert_eq!(as_signed(1 << 63, 64), i128::from(i64::MIN));
}

#[test]
fn the_position_goes_on_over_the_wrap_of_every_width() {
    for bits in 8..=62 {
        for sign in [1, -1] {
            let mut setup = bare();
            setup.a = Source { counter_bits: bits, unit_per_count: ulps(sign), ..source() };
            let top = (1_i64 << (bits - 1)) - 1;
            let mut model = Model::new(&setup);
            model.step(&both(0, top, 0));
            let seen = model.step(&both(MS, -top - 1 + 4, 0));
            assert_eq!(seen.channels[0].fault, None, "{bits} bits");
            assert_eq!(seen.channels[0].position, Some(ulps(sign * (i128::from(top) + 5))), "{bits} bits");
        }
    }
}

/// A 64-bit counter cannot count past its own end: the sum leaves 64 bits.
#[test]
fn a_64_bit_counter_that_wraps_is_a_range_fault_and_starts_anew() {
    let mut setup = bare();
    setup.a = Source { counter_bits: 64, unit_per_count: ulps(1), ..source() };
    let mut model = Model::new(&setup);
    assert_eq!(model.step(&both(0, i64::MAX, 0)).channels[0].fault, None);
    let seen = model.step(&both(MS, i64::MIN + 1, 0));
    assert_eq!(seen.channels[0].fault, Some(Fault::Range));
    assert_eq!(seen.channels[0].position, Some(ulps(-i128::from(i64::MAX))));
    assert_eq!(model.step(&both(2 * MS, i64::MIN + 2, 0)).channels[0].fault, None);
}

#[test]
fn settings_are_rounded_towards_the_stricter_side() {
    assert_eq!(ulp_down(&d("0.1")), ulps(1_677_721));
    assert_eq!(ulp_up(&d("0.1")), ulps(1_677_722));
    assert_eq!(nearest_ulp(&q(3, 1 << 25)), ulps(2));
    assert_eq!(nearest_ulp(&q(-3, 1 << 25)), ulps(-2));
    assert_eq!(scale_nearest(&d("0.00951068")), d("0.00951068"));
    assert_eq!(scale_nearest(&d("0.123456789")), d("0.123456789"));
    assert_eq!(scale_nearest(&q(360, 1 << 36)), q(360, 1 << 36));
    assert_ne!(scale_nearest(&q(1, 3)), q(1, 3));
    let mut setup = bare();
    setup.monitors = vec![monitor(speed_limit("0.1"), 0, &[])];
    let held = setup.as_held();
    assert_eq!(held.monitors[0].kind, Kind::SpeedLimit { limit: ulps(1_677_721), ramp: None });
    assert_eq!(held.as_held(), held);
}

#[test]
fn a_decimal_is_read_exactly_or_not_at_all() {
    assert_eq!(decimal("-0.00951068"), Some(q(-951_068, 100_000_000)));
    assert_eq!(decimal("250"), Some(q(250, 1)));
    for bad in ["", "-", ".", "1,5", "1e3", "0x10"] {
        assert_eq!(decimal(bad), None, "{bad}");
    }
}
