//! Analogue values, their faults, and the rules on them.

use super::*;

/// A value from -100 to 100, 4 ms old at most, the lines 5 apart for less than 2 ms; one reading back is the window.
fn with(kind: Option<Kind>) -> Setup {
    let analogue = Analogue {
        low: d("-100"),
        high: d("100"),
        timeout_ns: 4 * MS,
        tolerance: d("5"),
        discrepancy_time_ns: 2 * MS,
    };
    Setup {
        window_ns: MS,
        points: 3,
        analogues: vec![analogue],
        monitors: kind.into_iter().map(|kind| monitor(kind, 0, &[])).collect(),
        ..bare()
    }
}

/// Hands in a value captured at `ms` on both lines.
fn offer(model: &mut Model, ms: u64, value: &str) {
    for channel in [0, 1] {
        model.offer(0, channel, ms * MS, Some(d(value)));
    }
}

/// A frame at `ms` at which the axis stands.
fn still(model: &mut Model, ms: u64, bits: u32) -> Seen {
    model.step(&both(ms * MS, 0, bits))
}

fn fault(seen: &Seen) -> Option<AnalogueFault> {
    seen.analogues[0].lines[0].fault
}

/// The fault of line A at a frame at 5 ms after what is handed in: when it was captured, in ms, and the value, if it is not
/// marked invalid.
fn fault_after(readings: &[(u64, Option<&str>)]) -> Option<AnalogueFault> {
    let mut model = Model::new(&with(None));
    for &(ms, value) in readings {
        model.offer(0, 0, ms * MS, value.map(d));
    }
    fault(&still(&mut model, 5, 0))
}

#[test]
fn a_reading_out_of_order_is_one_before_the_newest_or_another_value_at_its_instant_or_of_the_future() {
    let out = Some(AnalogueFault::OutOfOrder);
    assert_eq!(fault_after(&[(3, Some("1")), (4, Some("2"))]), None);
    assert_eq!(fault_after(&[(4, Some("1")), (3, Some("1"))]), out);
    assert_eq!(fault_after(&[(4, Some("1")), (3, None)]), out);
    assert_eq!(fault_after(&[(4, Some("1")), (4, Some("2"))]), out);
    assert_eq!(fault_after(&[(4, Some("1")), (4, None)]), out);
    assert_eq!(fault_after(&[(4, Some("1")), (4, Some("1"))]), None);
    assert_eq!(fault_after(&[(5, Some("1"))]), None);
    assert_eq!(fault_after(&[(6, Some("1"))]), out);
}

#[test]
fn what_is_wrong_with_a_reading_is_named_in_order() {
    assert_eq!(fault_after(&[(6, None)]), Some(AnalogueFault::Invalid));
    assert_eq!(fault_after(&[(4, None), (3, Some("1"))]), Some(AnalogueFault::Invalid));
    assert_eq!(fault_after(&[(0, Some("900")), (0, Some("1"))]), Some(AnalogueFault::OutOfOrder));
    assert_eq!(fault_after(&[(0, Some("900"))]), Some(AnalogueFault::Stale));
    assert_eq!(fault_after(&[(1, Some("900"))]), Some(AnalogueFault::Range));
    assert_eq!(fault_after(&[(1, None), (2, Some("1"))]), None);
}

#[test]
fn the_ends_of_the_plausible_range_are_in_it() {
    for (value, expected) in [
        (d("100"), None),
        (d("100") + ulps(1), Some(AnalogueFault::Range)),
        (d("-100"), None),
        (d("-100") - ulps(1), Some(AnalogueFault::Range)),
    ] {
        let mut model = Model::new(&with(None));
        model.offer(0, 0, 0, Some(value));
        assert_eq!(fault(&still(&mut model, 0, 0)), expected);
    }
}

#[test]
fn a_reading_is_stale_after_its_timeout_and_a_line_without_one_after_that_from_the_first_frame() {
    for first in [true, false] {
        let mut model = Model::new(&with(None));
        if first {
            offer(&mut model, 10, "0");
        }
        for ms in 10..=14 {
            let seen = still(&mut model, ms, 0);
            assert_eq!((fault(&seen), seen.analogues[0].lines[0].warming_up), (None, !first));
            assert_eq!(seen.permit, first, "{ms}");
        }
        let seen = model.step(&both(14 * MS + 1, 0, 0));
        assert_eq!(fault(&seen), Some(AnalogueFault::Stale));
        assert!(!seen.permit);
    }
}

#[test]
fn the_next_good_reading_ends_a_fault_and_a_reset_its_latch() {
    let mut model = Model::new(&with(None));
    offer(&mut model, 0, "0");
    assert!(still(&mut model, 0, 0).permit);
    // A broken wire of B, which holds until the next reading; the reset is refused at 3.
    model.offer(0, 1, MS, Some(d("-900")));
    for (ms, bits) in [(1, 0), (2, RESET), (3, 0)] {
        let seen = still(&mut model, ms, bits);
        assert_eq!(
            seen.analogues[0].lines.clone().map(|line| line.fault),
            [None, Some(AnalogueFault::Range)]
        );
        assert!(!seen.permit);
        let expected = if ms == 3 { Reset::Refused(Refusal::Analogue) } else { Reset::None };
        assert_eq!(seen.reset, expected);
    }
    offer(&mut model, 4, "0");
    let seen = still(&mut model, 4, RESET);
    assert_eq!((fault(&seen), seen.analogues[0].lines[1].latched), (None, Some(AnalogueFault::Range)));
    assert!(!seen.permit);
    let seen = still(&mut model, 5, 0);
    assert_eq!((seen.reset, seen.analogues[0].lines[1].latched), (Reset::Accepted, None));
    assert!(seen.permit);
}

#[test]
fn a_reading_out_of_order_is_not_taken_and_a_fault_of_that_frame_only() {
    let mut model = Model::new(&with(None));
    offer(&mut model, 2, "7");
    offer(&mut model, 1, "9");
    let seen = still(&mut model, 2, 0);
    assert_eq!(fault(&seen), Some(AnalogueFault::OutOfOrder));
    assert_eq!(seen.analogues[0].lines[0].value, Some(d("7")));
    // A frame that is a clock fault is none: what was handed in before it counts at the next one.
    offer(&mut model, 1, "9");
    assert!(still(&mut model, 2, 0).clock_fault);
    assert_eq!(fault(&still(&mut model, 3, 0)), Some(AnalogueFault::OutOfOrder));
    let seen = still(&mut model, 4, 0);
    assert_eq!((fault(&seen), seen.analogues[0].lines[0].latched), (None, Some(AnalogueFault::OutOfOrder)));
}

#[test]
fn the_two_lines_may_be_the_tolerance_apart_and_more_for_less_than_its_time() {
    let mut model = Model::new(&with(None));
    let mut step = |ms: u64, a: &str, b: Q, bits: u32| {
        model.offer(0, 0, ms * MS, Some(d(a)));
        model.offer(0, 1, ms * MS, Some(b));
        still(&mut model, ms, bits)
    };
    let beyond = || d("5") + ulps(1);
    for ms in 0..5 {
        assert!(!step(ms, "0", d("5"), 0).analogues[0].discrepancy.violated);
    }
    // Violated at 5 and 6, a pause, and from 8 on: it trips at 10, and only once.
    let pressed = |ms| if ms == 11 { RESET } else { 0 };
    let tripped: Vec<u64> = (5..13)
        .filter(|&ms| {
            let b = if ms == 7 { d("5") } else { beyond() };
            let seen = step(ms, "0", b, pressed(ms));
            let rule = &seen.analogues[0].discrepancy;
            assert_eq!((rule.violated, seen.permit), (ms != 7, ms < 10), "{ms}");
            if ms == 12 {
                assert_eq!(seen.reset, Reset::Refused(Refusal::Violation));
            }
            rule.tripped_now.is_some()
        })
        .collect();
    assert_eq!(tripped, [10]);
    step(13, "0", d("-5"), RESET);
    let seen = step(14, "0", d("-5"), 0);
    assert_eq!((seen.reset, seen.permit), (Reset::Accepted, true));
}

#[test]
fn the_lines_are_not_compared_while_one_of_them_is_faulted() {
    let mut model = Model::new(&with(None));
    model.offer(0, 0, 0, Some(d("0")));
    model.offer(0, 1, 0, Some(d("101")));
    let seen = still(&mut model, 0, 0);
    assert_eq!(
        (seen.analogues[0].discrepancy.difference.clone(), seen.analogues[0].discrepancy.violated),
        (None, false)
    );
}

/// Whether the monitor is violated on channel A, with what it shows, at a value of both lines.
fn judged(kind: &Kind, value: &str) -> (bool, Side, Q, Q) {
    let mut model = Model::new(&with(Some(kind.clone())));
    offer(&mut model, 0, value);
    let seen = still(&mut model, 0, 0);
    let Bound { evidence, side, observed, limit } = bound(&seen);
    assert_eq!(evidence, Evidence::Value);
    assert_eq!(seen.permit, !seen.monitors[0].lanes[0].violated);
    (seen.monitors[0].lanes[0].violated, side, observed.held, limit.held)
}

#[test]
fn a_torque_may_reach_its_limit_either_way() {
    let kind = Kind::TorqueLimit { analogue: 0, limit: d("80") };
    for (value, expected, shown) in
        [("80", false, "80"), ("80.5", true, "80.5"), ("-80", false, "80"), ("-80.5", true, "80.5")]
    {
        assert_eq!(judged(&kind, value), (expected, Side::NotAbove, d(shown), d("80")), "{value}");
    }
}

#[test]
fn a_torque_range_shows_its_nearer_end_and_of_two_as_near_the_upper_one() {
    let kind = Kind::TorqueRange { analogue: 0, low: d("-10"), high: d("30") };
    let (above, below) = (Side::NotAbove, Side::NotBelow);
    for (value, expected, side, end) in [
        ("30", false, above, "30"),
        ("30.5", true, above, "30"),
        ("10", false, above, "30"),
        ("9.5", false, below, "-10"),
        ("-10", false, below, "-10"),
        ("-10.5", true, below, "-10"),
    ] {
        assert_eq!(judged(&kind, value), (expected, side, d(value), d(end)), "{value}");
    }
}

#[test]
fn a_temperature_below_zero_is_below_a_limit_above_it_and_has_a_limit_below_it() {
    let kind = |limit| Kind::TemperatureLimit { analogue: 0, limit: d(limit) };
    for (limit, value, expected) in [
        ("60", "-90", false),
        ("-10", "-10", false),
        ("-10", "-10.5", false),
        ("-10", "-9.5", true),
        ("60", "60.5", true),
    ] {
        assert_eq!(judged(&kind(limit), value), (expected, Side::NotAbove, d(value), d(limit)), "{value}");
    }
}

#[test]
fn a_fault_of_the_position_does_not_matter_to_a_rule_on_a_value_and_one_of_its_line_does() {
    let mut setup = with(Some(Kind::TorqueLimit { analogue: 0, limit: d("80") }));
    setup.monitors[0].on_delay_ns = 4 * MS;
    let mut model = Model::new(&setup);
    let mut trips = [None, None];
    for ms in 0..10 {
        // Line B is marked invalid at 2, and the position of A from 3 on.
        model.offer(0, 0, ms * MS, Some(d("90")));
        model.offer(0, 1, ms * MS, (ms != 2).then(|| d("90")));
        let a = if ms < 3 { reading(ms * MS, 0) } else { invalid(ms * MS) };
        let seen = model.step(&frame(ms * MS, a, reading(ms * MS, 0), 0));
        for (trip, lane) in trips.iter_mut().zip(&seen.monitors[0].lanes) {
            *trip = trip.or(lane.tripped_now.as_ref().map(|facts| millis(facts.tripped_at)));
        }
        assert_eq!(seen.monitors[0].lanes.clone().map(|lane| lane.violated), [true, ms != 2]);
    }
    assert_eq!(trips, [Some(4), Some(7)]);
}

#[test]
fn a_reset_names_the_first_of_its_reasons() {
    let event = || Referencing::Event { input: 0, position: d("0") };
    let mut setup = with(Some(Kind::PositionRange { low: d("-1"), high: d("1") }));
    setup.referencing = [event(), event()];
    setup.inputs = vec![button(0)];
    // What warms up, with a longer window than there are readings; what is violated.
    setup.monitors.push(monitor(speed_limit("1"), 0, &[]));
    setup.monitors.push(monitor(Kind::TorqueLimit { analogue: 0, limit: d("80") }, 0, &[]));
    let reset = |a_is_read: bool, line_is_read: bool, declared: bool, warm: bool| {
        let setup = Setup { window_ns: if warm { MS } else { 3 * MS }, ..setup.clone() };
        let mut model = Model::new(&setup);
        for ms in 0..2 {
            for channel in 0..if line_is_read { 2 } else { 1 } {
                model.offer(0, channel, ms * MS, Some(d("90")));
            }
            let a = if a_is_read { reading(ms * MS, 0) } else { None };
            let bits = u32::from(declared) | if ms == 0 { RESET } else { 0 };
            let seen = model.step(&frame(ms * MS, a, reading(ms * MS, 0), bits));
            if ms == 1 {
                return seen.reset;
            }
        }
        unreachable!("there are two frames")
    };
    assert_eq!(reset(false, false, false, false), Reset::Refused(Refusal::Channel));
    assert_eq!(reset(true, false, false, false), Reset::Refused(Refusal::Analogue));
    assert_eq!(reset(true, true, false, false), Reset::Refused(Refusal::Reference));
    assert_eq!(reset(true, true, true, false), Reset::Refused(Refusal::WarmingUp));
    assert_eq!(reset(true, true, true, true), Reset::Refused(Refusal::Violation));
}

#[test]
fn a_rule_needs_a_value_that_there_is() {
    let kind = |analogue| Some(Kind::TemperatureLimit { analogue, limit: d("1") });
    assert!(with(kind(0)).check().is_ok() && with(kind(1)).check().is_err());
}
