//! Ranges, directions, travels, accelerations and overruns in a setup file.
//!
//! Each of them is written below the example, as the monitor "m" that begins at line 54; its first line here is line 56.

use host_harness::setup::{Allowed, LimitSetup, MonitorKind, Setup};
use monitor_core::{Acceleration, Position, Span, Speed};

use super::support::{
    BRAKING, EXAMPLE, RAMP, below, check, check_monitors, error, monitor, one, parsed, refused, stop, ulps,
    varied, way_out, with,
};

#[test]
fn a_range_has_signs_and_is_rounded_inwards() {
    let range = |low: &str, high: &str| {
        let kind =
            monitor(&format!("kind = \"speed-range\"\nlow = \"{low} mm/s\"\nhigh = \"{high} mm/s\"")).kind;
        assert_eq!(kind.name(), "speed-range");
        let MonitorKind::SpeedRange(range) = kind else { panic!("a range of speeds") };
        (range.low.value.to_bits(), range.high.value.to_bits())
    };
    assert_eq!(range("-50", "250"), (ulps(-50), ulps(250)));
    assert_eq!(range("0", "250"), (0, ulps(250)));
    assert_eq!(range("100", "100"), (ulps(100), ulps(100)));
    assert_eq!(range("100/3", "1000/3"), (ulps(100) / 3 + 1, ulps(1000) / 3));
    assert_eq!(range("-1000/3", "-100/3"), (-(ulps(1000) / 3), -(ulps(100) / 3) - 1));

    let kind = monitor("kind = \"acceleration-range\"\nlow = \"-4/3 m/s^2\"\nhigh = \"1/3 m/s^2\"").kind;
    assert_eq!(kind.name(), "acceleration-range");
    let MonitorKind::AccelerationRange(range) = kind else { panic!("a range of accelerations") };
    assert_eq!(range.low.value.to_bits(), -(ulps(4000) / 3));
    assert_eq!(range.high.value.to_bits(), ulps(1000) / 3);
    assert_eq!((range.low.text.as_str(), range.high.text.as_str()), ("-4/3 m/s^2", "1/3 m/s^2"));
}

#[test]
fn what_is_wrong_with_a_range_is_found() {
    check_monitors(&[
        (
            "kind = \"speed-range\"",
            &["54:1: monitor \"m\" has no `low`", "54:1: monitor \"m\" has no `high`"],
        ),
        (
            "kind = \"speed-range\"\nlow = \"10 mm/s\"\nhigh = \"-10 mm/s\"",
            &["57:7: `low` of monitor \"m\" is above its `high`"],
        ),
        // A third is no whole number of steps: nothing is left between what is above and what is below it.
        (
            "kind = \"speed-range\"\nlow = \"1000/3 mm/s\"\nhigh = \"1000/3 mm/s\"",
            &["57:7: `low` of monitor \"m\" is above its `high`"],
        ),
        (
            "kind = \"speed-range\"\nlow = \"-0.12 mm/s\"\nhigh = \"0.12 mm/s\"",
            &[
                "57:7: `low` of monitor \"m\" is finer than channel b can resolve",
                "58:8: `high` of monitor \"m\" is finer than channel b can resolve",
            ],
        ),
        (
            "kind = \"speed-range\"\nlow = \"-4 m/s\"\nhigh = \"4 m/s\"",
            &[
                "57:7: `low` of monitor \"m\" is beyond `max_speed` of channel a",
                "58:8: `high` of monitor \"m\" is above `max_speed` of channel a",
            ],
        ),
        (
            "kind = \"speed-range\"\nlow = \"-1e-9 mm/s\"\nhigh = \"4 deg/s\"",
            &[
                "57:7: `low` of monitor \"m\" is smaller than the step of 0.00000005961 mm/s it is held in",
                "58:11: `high` of monitor \"m\": `deg/s` is an angular speed; expected a speed such as mm/s, m/s, m/min",
            ],
        ),
        // The most negative value has no magnitude.
        (
            "kind = \"speed-range\"\nlow = \"-549755813888 mm/s\"\nhigh = \"1 m/s\"",
            &["57:7: `low` of monitor \"m\" is too large"],
        ),
        (
            "kind = \"speed-range\"\nlow = \"0 mm/s\"\nhihg = \"1 m/s\"",
            &["54:1: monitor \"m\" has no `high`", "58:1: unknown key `hihg` in monitor \"m\""],
        ),
        (
            "kind = \"acceleration-range\"\nlow = \"1 m/s^2\"\nhigh = \"-2 m/s^2\"",
            &["57:7: `low` of monitor \"m\" is above its `high`"],
        ),
        (
            "kind = \"acceleration-range\"\nlow = \"-31 mm/s^2\"\nhigh = \"31 mm/s^2\"",
            &[
                "57:7: `low` of monitor \"m\" is finer than channel b can resolve",
                "58:8: `high` of monitor \"m\" is finer than channel b can resolve",
            ],
        ),
        ("kind = \"speed-rnage\"", &["56:8: \"speed-rnage\" is not a kind of monitor"]),
    ]);
    assert_eq!(way_out(&EXAMPLE.replacen("\"4 ms\"", "\"-4 ms\"", 1)), "write a time above zero");
    // The abbreviations of IEC 61800-5-2, in any letters.
    assert!(
        way_out(&with("kind = \"SLS\""))
            .starts_with("SLS is written \"speed-limit\"; available are torque-off, ")
    );
    assert!(way_out(&with("kind = \"ss1\"")).starts_with("SS1 is written \"stop\"; "));
    assert_eq!(
        way_out(&with("kind = \"speed-range\"\nlow = \"0 mm/s\"\nhihg = \"1 m/s\"")),
        "add it, for example: high = \"250 mm/s\""
    );
    assert_eq!(
        way_out(&with("kind = \"speed-range\"\nlow = \"0 mm/s\"\nhigh = \"1 m/s\"\nhihg = 1")),
        "did you mean `high`?"
    );
    assert!(way_out(&with("kind = \"speed-rnage\"")).starts_with("did you mean \"speed-range\"?"));
}

#[test]
fn the_two_ends_of_a_range_are_shown_together() {
    let shown = error(&with("kind = \"speed-range\"\nlow = \"10 mm/s\"\nhigh = \"-10 mm/s\"")).render(false);
    let expected = r#"
error: `low` of monitor "m" is above its `high`
  --> axis.toml:57:7
   |
57 | low = "10 mm/s"
   |       ^^^^^^^^^ at least this
58 | high = "-10 mm/s"
   |        ---------- and at most this
   |
   = help: lower `low` or raise `high`, signs included ("-2" is below "1"); both are held in steps of 0.00000005961 mm/s, `low` rounded up and `high` down, and one must remain between them"#;
    assert_eq!(shown, expected.trim_start());
}

#[test]
fn a_direction_and_a_travel_have_distances_that_are_rounded_down() {
    for (word, expected) in [("positive", Allowed::Positive), ("negative", Allowed::Negative)] {
        let kind =
            monitor(&format!("kind = \"direction\"\nallowed = \"{word}\"\ntolerance = \"1/3 mm\"")).kind;
        assert_eq!(kind.name(), "direction");
        let MonitorKind::Direction { allowed, tolerance } = kind else { panic!("a direction") };
        assert_eq!((allowed, tolerance.value.to_bits()), (expected, ulps(1) / 3));
    }
    let kind = monitor("kind = \"travel-limit\"\nincrement = \"2/3 mm\"").kind;
    assert_eq!(kind.name(), "travel-limit");
    let MonitorKind::TravelLimit { increment } = kind else { panic!("a travel") };
    assert_eq!(increment.value.to_bits(), ulps(2) / 3);
}

#[test]
fn what_is_wrong_with_a_direction_or_a_travel_is_found() {
    check_monitors(&[
        (
            "kind = \"direction\"",
            &["54:1: monitor \"m\" has no `allowed`", "54:1: monitor \"m\" has no `tolerance`"],
        ),
        (
            "kind = \"direction\"\nallowed = \"postive\"\ntolerance = \"0 mm\"",
            &[
                "57:11: `allowed` of monitor \"m\" cannot be \"postive\"",
                "58:13: `tolerance` of monitor \"m\" must be above zero",
            ],
        ),
        (
            "kind = \"direction\"\nallowed = \"positive\"\ntolerance = \"0.9 um\"",
            &["58:13: `tolerance` of monitor \"m\" is finer than channel b can resolve"],
        ),
        ("kind = \"travel-limit\"", &["54:1: monitor \"m\" has no `increment`"]),
        (
            "kind = \"travel-limit\"\nincrement = \"0.9 um\"",
            &["57:13: `increment` of monitor \"m\" is finer than channel b can resolve"],
        ),
        (
            "kind = \"travel-limit\"\nincrement = \"-1 mm\"\nincrements = 3",
            &[
                "57:13: `increment` of monitor \"m\" must not be negative",
                "58:1: unknown key `increments` in monitor \"m\"",
            ],
        ),
    ]);
    assert_eq!(
        way_out(&with("kind = \"travel-limit\"\nincrement = \"1 mm\"\nincrements = 3")),
        "did you mean `increment`?"
    );
    // One count is enough, though it is no whole number of steps.
    parsed(&with("kind = \"travel-limit\"\nincrement = \"0.001 mm\""));
    parsed(&with("kind = \"direction\"\nallowed = \"positive\"\ntolerance = \"0.001 mm\""));
}

#[test]
fn a_limit_on_the_acceleration_is_at_least_two_counts_over_the_square_of_the_window() {
    // 2 · 0.001 mm / (8 ms)² = 31.25 mm/s^2
    let limit = |text: &str| with(&format!("kind = \"acceleration-limit\"\nlimit = \"{text}\""));
    let setup = parsed(&limit("31.25 mm/s^2"));
    let MonitorKind::AccelerationLimit { limit: held } = &setup.monitors[2].kind else { panic!("a limit") };
    assert_eq!(held.value, Acceleration::from_bits(ulps(3125) / 100));
    let setup = parsed(&limit("1000/3 mm/s^2"));
    let MonitorKind::AccelerationLimit { limit: held } = &setup.monitors[2].kind else { panic!("a limit") };
    assert_eq!(held.value.to_bits(), ulps(1000) / 3, "rounded down");

    let shown = error(&limit("30 mm/s^2")).render(false);
    let expected = r#"
error: `limit` of monitor "m" is finer than channel b can resolve
  --> axis.toml:57:9
   |
57 | limit = "30 mm/s^2"
   |         ^^^^^^^^^^^ less than two counts over the square of the window
   |
   = help: two counts of channel b over the square of the 8 ms window are 31.25 mm/s^2; an acceleration below it can never be told from none: raise `limit` to at least that, lengthen `window` of [speed] to at least 8.165 ms, or use a finer sensor"#;
    assert_eq!(shown, expected.trim_start());
    // The window that is offered would do.
    let shown =
        error(&with("kind = \"acceleration-range\"\nlow = \"-31 mm/s^2\"\nhigh = \"1 m/s^2\"")).render(false);
    assert!(shown.contains("move `low` to zero or at least that far from it, lengthen `window`"), "{shown}");
    let longer = limit("30 mm/s^2").replace("window = \"8 ms\"", "window = \"8.165 ms\"");
    parsed(&longer);
    parsed(&with("kind = \"acceleration-range\"\nlow = \"-31.25 mm/s^2\"\nhigh = \"0 mm/s^2\""));
}

#[test]
fn what_is_wrong_with_a_limit_on_the_acceleration_is_found() {
    check_monitors(&[
        ("kind = \"acceleration-limit\"", &["54:1: monitor \"m\" has no `limit`"]),
        (
            "kind = \"acceleration-limit\"\nlimit = \"-1 m/s^2\"",
            &["57:9: `limit` of monitor \"m\" must not be negative"],
        ),
        (
            "kind = \"acceleration-limit\"\nlimit = \"250 mm/s\"",
            &[
                "57:14: `limit` of monitor \"m\": `mm/s` is a speed; expected an acceleration such as mm/s^2, m/s^2",
            ],
        ),
        // One that was measured beyond the range counts as the largest: it would not be above this limit.
        (
            "kind = \"acceleration-limit\"\nlimit = \"549755813887.99999999 mm/s^2\"",
            &["57:9: `limit` of monitor \"m\" is too large"],
        ),
        (
            "kind = \"acceleration-range\"\nlow = \"-549755813887.99999999 mm/s^2\"\nhigh = \"549755813887.99999999 mm/s^2\"",
            &["57:7: `low` of monitor \"m\" is too large", "58:8: `high` of monitor \"m\" is too large"],
        ),
    ]);
}

#[test]
fn a_speed_limit_may_differ_by_direction() {
    let each = |positive: &str, negative: &str| {
        let body = format!("kind = \"speed-limit\"\npositive = \"{positive}\"\nnegative = \"{negative}\"");
        let MonitorKind::SpeedLimit { limit, ramp: None } = monitor(&body).kind else { panic!("a limit") };
        let LimitSetup::Each { positive, negative } = &limit else { panic!("one for each direction") };
        assert_eq!(limit.smaller(), positive.value.min(negative.value));
        assert_eq!(limit.larger(), positive.value.max(negative.value));
        (positive.value.to_bits(), negative.value.to_bits())
    };
    assert_eq!(each("250 mm/s", "50 mm/s"), (ulps(250), ulps(50)));
    assert_eq!(each("100/3 mm/s", "1000/3 mm/s"), (ulps(100) / 3, ulps(1000) / 3), "both rounded down");
    assert_eq!(each("0 mm/s", "50 mm/s"), (0, ulps(50)));
    assert_eq!(each("50 mm/s", "0 mm/s"), (ulps(50), 0));
    let MonitorKind::SpeedLimit { limit, .. } = monitor("kind = \"speed-limit\"\nlimit = \"1 m/s\"").kind
    else {
        panic!("a limit")
    };
    assert_eq!((limit.smaller().to_bits(), limit.larger().to_bits()), (ulps(1000), ulps(1000)));
}

#[test]
fn what_is_wrong_with_limits_by_direction_is_found() {
    check_monitors(&[
        (
            "kind = \"speed-limit\"\npositive = \"1 m/s\"\nlimit = \"1 m/s\"",
            &["57:1: monitor \"m\" has `limit` and `positive` at once"],
        ),
        (
            "kind = \"speed-limit\"\nlimit = \"1 m/s\"\nnegative = \"1 m/s\"\npositive = \"1 m/s\"",
            &["58:1: monitor \"m\" has `limit` and `negative` at once"],
        ),
        (
            "kind = \"speed-limit\"\npositive = \"1 m/s\"",
            &["57:1: monitor \"m\" has `positive` but no `negative`"],
        ),
        (
            "kind = \"speed-limit\"\nnegative = \"-1 m/s\"",
            &[
                "57:1: monitor \"m\" has `negative` but no `positive`",
                "57:12: `negative` of monitor \"m\" must not be negative",
            ],
        ),
        (
            "kind = \"speed-limit\"\npositive = \"0 mm/s\"\nnegative = \"0 mm/s\"",
            &["58:12: `positive` and `negative` of monitor \"m\" are both zero"],
        ),
        (
            "kind = \"speed-limit\"\npositive = \"0.12 mm/s\"\nnegative = \"4 m/s\"",
            &[
                "57:12: `positive` of monitor \"m\" is finer than channel b can resolve",
                "58:12: `negative` of monitor \"m\" is above `max_speed` of channel a",
            ],
        ),
        (
            "kind = \"speed-limit\"\npositve = \"1 m/s\"\nnegative = \"1 m/s\"",
            &[
                "57:1: unknown key `positve` in monitor \"m\"",
                "58:1: monitor \"m\" has `negative` but no `positive`",
            ],
        ),
    ]);
    assert_eq!(
        way_out(&with("kind = \"speed-limit\"\npositve = \"1 m/s\"\nnegative = \"1 m/s\"")),
        "did you mean `positive`?"
    );
    let shown =
        error(&with("kind = \"speed-limit\"\npositive = \"0.12 mm/s\"\nnegative = \"1 m/s\"")).render(false);
    assert!(
        shown.contains("move `positive` to zero or at least that far from it, lengthen `window`"),
        "{shown}"
    );
}

#[test]
fn a_ramp_may_have_a_jerk_that_is_rounded_up() {
    let text =
        |jerk: &str| varied(&[("margin = \"50 mm/s\"", &format!("margin = \"50 mm/s\", jerk = \"{jerk}\""))]);
    let jerk = |setup: &Setup| {
        let MonitorKind::SpeedLimit { ramp: Some(ramp), .. } = &setup.monitors[0].kind else {
            panic!("a ramp")
        };
        ramp.jerk.as_ref().map(|jerk| jerk.value.to_bits())
    };
    assert_eq!(jerk(&parsed(EXAMPLE)), None);
    assert_eq!(jerk(&parsed(&text("20 m/s^3"))), Some(ulps(20_000)));
    assert_eq!(jerk(&parsed(&text("5000/3 mm/s³"))), Some(ulps(5000) / 3 + 1));
    let of = "`jerk` of the ramp of monitor \"slow while the door is open\"";
    check(&text("0 m/s^3"), &[&format!("44:85: {of} must be above zero")]);
    check(&text("-1 m/s^3"), &[&format!("44:85: {of} must not be negative")]);
    check(&text("1e9 m/s^3"), &[&format!("44:85: {of} is too large")]);
    assert_eq!(way_out(&text("1e9 m/s^3")), "write at most 549755813887 mm/s^3; is the unit the right one?");
    assert_eq!(way_out(&text("20 m/s3")), "did you mean `m/s^3`?");
    // 2 m/s^2 in 2^32 ns, which is as long as a corner may not last.
    check(&text("465.6 mm/s^3"), &[&format!("44:85: {of} takes more than 4.29 s to its `deceleration`")]);
    assert!(way_out(&text("465.6 mm/s^3")).starts_with("raise `jerk` to at least 465.7 mm/s^3, "));
    parsed(&text("465.7 mm/s^3"));
    check(&text("138e6 m/s^3"), &[&format!("44:85: {of} is too large for a ramp with rounded corners")]);
    let steep = text("137e6 m/s^3").replace("\"2 m/s^2\"", "\"138e6 m/s^2\"");
    let of = "`deceleration` of the ramp of monitor \"slow while the door is open\"";
    check(&steep, &[&format!("44:47: {of} is too large for a ramp with rounded corners")]);
    parsed(&text("137e6 m/s^3"));
    let misspelt = refused(&[("margin = \"50 mm/s\"", "margin = \"50 mm/s\", jrek = \"20 m/s^3\"")]);
    assert_eq!(misspelt.diagnostics()[0].way_out, "did you mean `jerk`?");
}

#[test]
fn an_overrun_is_allowed_where_a_speed_overruns_a_limit() {
    let overrun = |body: &str| {
        let monitor = monitor(&format!("{body}\non_delay = \"20 ms\"\nallowed_overrun = \"1/3 mm\""));
        monitor.allowed_overrun.expect("an overrun").value
    };
    let third = Position::from_bits(ulps(1) / 3);
    assert_eq!(overrun("kind = \"speed-limit\"\nlimit = \"1 m/s\""), third, "rounded down");
    assert_eq!(overrun("kind = \"speed-range\"\nlow = \"0 mm/s\"\nhigh = \"1 m/s\""), third);
    assert_eq!(overrun(&stop(&format!("by = \"ramp\"\n{RAMP}"))), third);
    assert_eq!(monitor("kind = \"speed-limit\"\nlimit = \"1 m/s\"").allowed_overrun, None);
}

#[test]
fn an_overrun_elsewhere_is_refused_with_the_reason() {
    let refused = |body: &str, expected: &str| {
        let expected = format!("`allowed_overrun` of monitor \"m\": {expected}");
        let body = format!("allowed_overrun = \"1 mm\"\n{body}");
        check(&with(&body), &[&format!("56:1: {expected}")]);
    };
    refused(
        "kind = \"standstill\"\nposition_window = \"1 mm\"\nspeed_window = \"10 mm/s\"",
        "the position window of a standstill already bounds how far the axis moves",
    );
    refused(
        "kind = \"travel-limit\"\nincrement = \"1 mm\"",
        "the increment already bounds how far the axis moves",
    );
    refused(
        "kind = \"direction\"\nallowed = \"positive\"\ntolerance = \"1 mm\"",
        "the tolerance already bounds how far the axis moves",
    );
    for body in [
        "kind = \"acceleration-limit\"\nlimit = \"1 m/s^2\"",
        "kind = \"acceleration-range\"\nlow = \"-1 m/s^2\"\nhigh = \"1 m/s^2\"",
    ] {
        refused(body, "an acceleration beyond its limit is no travel beyond a limit");
    }
    refused("kind = \"torque-off\"\ndemand = [\"off\"]", "the kind torque-off has no limit to overrun");
    refused(
        "kind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"torque-off\"\nby = \"time\"\nwithin = \"1 s\"",
        "a stop by time watches no speed on the way",
    );
    refused(
        &stop(&format!("by = \"deceleration\"\n{BRAKING}")),
        "a stop by deceleration places no limit on the speed",
    );
    let limit = "kind = \"speed-limit\"\nlimit = \"1 m/s\"\non_delay = \"20 ms\"";
    check_monitors(&[
        (
            "kind = \"speed-limit\"\nlimit = \"1 m/s\"\nallowed_overrun = \"1 mm\"",
            &["58:19: `allowed_overrun` of monitor \"m\": there is no `on_delay`"],
        ),
        (
            &format!("{limit}\nallowed_overrun = \"0 mm\""),
            &["59:19: `allowed_overrun` of monitor \"m\" must be above zero"],
        ),
        (
            &format!("{limit}\nallowed_overrun = \"0.9 um\""),
            &["59:19: `allowed_overrun` of monitor \"m\" is finer than channel b can resolve"],
        ),
        (
            &format!("{limit}\nallowed_overrun = \"1 mm/s\""),
            &[
                "59:22: `allowed_overrun` of monitor \"m\": `mm/s` is a speed; expected a length such as um, mm, m, in",
            ],
        ),
        // What is wrong with `by` is said once.
        (
            "kind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"torque-off\"\nby = 3\nallowed_overrun = \"1 mm\"",
            &["59:6: `by` of monitor \"m\" must be a string"],
        ),
    ]);
}

#[test]
fn a_standstill_is_slower_than_the_limit_of_either_direction() {
    let limits = |low: &str, high: &str| {
        below(
            &with(&stop(&format!("by = \"ramp\"\n{RAMP}"))),
            &one("m", &format!("kind = \"speed-range\"\nlow = \"{low}\"\nhigh = \"{high}\"")),
        )
        .replacen("name = \"m\"", "name = \"s\"", 1)
    };
    let of = "59:20: `standstill_speed` of monitor \"s\" is not below";
    check(&limits("-10 mm/s", "1 m/s"), &[&format!("{of} `low` of monitor \"m\"")]);
    check(&limits("-1 m/s", "10 mm/s"), &[&format!("{of} `high` of monitor \"m\"")]);
    // Zero forbids a direction, and a least speed does not say what is slow.
    parsed(&limits("0 mm/s", "1 m/s"));
    parsed(&limits("5 mm/s", "1 m/s"));
    parsed(&limits("-1 m/s", "-5 mm/s"));
    parsed(&limits("-10.001 mm/s", "1 m/s"));
}

#[test]
fn an_axis_that_compares_accelerations_stores_its_readings_for_two_windows() {
    let spacing = |body: &str, points| parsed(&with(body)).spacing(points).map(Span::as_nanos);
    let slow = "kind = \"speed-limit\"\nlimit = \"1 m/s\"";
    assert!(!parsed(&with(slow)).needs_acceleration());
    assert_eq!(spacing(slow, 129), Some(8_000_000 / 64));
    assert_eq!(spacing(slow, 3), Some(8_000_000));
    assert_eq!(spacing(slow, 1), None);
    assert_eq!(spacing(slow, 0), None);
    for soft in [
        "kind = \"acceleration-limit\"\nlimit = \"1 m/s^2\"",
        "kind = \"acceleration-range\"\nlow = \"-1 m/s^2\"\nhigh = \"1 m/s^2\"",
        &stop(&format!("by = \"deceleration\"\n{BRAKING}")),
    ] {
        assert!(parsed(&with(soft)).needs_acceleration(), "{soft}");
        // floor((129 − 3) / 4) = 31
        assert_eq!(spacing(soft, 129), Some(8_000_000 / 31), "{soft}");
        assert_eq!(spacing(soft, 7), Some(8_000_000), "{soft}");
        assert_eq!(spacing(soft, 5), None, "{soft}");
    }

    // Window, spacing and timeout are below 2^32 ns: 1.5 s + 1.5 s / 64 + 2.75 s are, 1.5 s + 1.5 s / 31 + 2.75 s are not.
    let long = |body: &str| {
        let example = varied(&[
            ("timeout        = \"4 ms\"\n\n[channel.b]", "timeout = \"2.75 s\"\n[channel.b]"),
            ("window = \"8 ms\"", "window = \"1.5 s\""),
        ]);
        below(&example, &one("m", body))
    };
    parsed(&long(slow));
    check(
        &long("kind = \"acceleration-limit\"\nlimit = \"1 m/s^2\""),
        &["14:11: `timeout` of [channel.a] and the speed window together are too long"],
    );
}

#[test]
fn a_rotary_axis_takes_angles_in_every_kind() {
    let setup = parsed(
        r#"
title = "Invented swivel table"
unit = "deg"
time = { column = "t", unit = "us" }
channel.a = { column = "a", counter_bits = 20, unit_per_count = "360/1048576 deg", max_speed = "60 rpm", timeout = "10ms" }
channel.b = { column = "b", counter_bits = 20, unit_per_count = "360/1048576 deg", max_speed = "60 rpm", timeout = "10ms" }
speed = { window = "20ms" }

[[monitor]]
name = "turns"
kind = "speed-range"
low = "-10 rpm"
high = "0 rpm"
[[monitor]]
name = "one way"
kind = "direction"
allowed = "negative"
tolerance = "30 arcmin"
[[monitor]]
name = "soft"
kind = "acceleration-limit"
limit = "2 rev/s^2"
[[monitor]]
name = "near"
kind = "travel-limit"
increment = "1/4 rev"
[[monitor]]
name = "ramp"
kind = "speed-limit"
limit = "5 rpm"
ramp = { delay = "0 s", deceleration = "1 rev/s^2", margin = "1 rpm", jerk = "10 rev/s^3" }
"#,
    );
    let [turns, one_way, soft, near, ramp] = setup.monitors.as_slice() else { panic!("five monitors") };
    let MonitorKind::SpeedRange(range) = &turns.kind else { panic!("a range") };
    assert_eq!((range.low.value, range.high.value), (Speed::from_bits(ulps(-60)), Speed::ZERO));
    let MonitorKind::Direction { tolerance, .. } = &one_way.kind else { panic!("a direction") };
    assert_eq!(tolerance.value.to_bits(), ulps(1) / 2);
    let MonitorKind::AccelerationLimit { limit } = &soft.kind else { panic!("a limit") };
    assert_eq!(limit.value.to_bits(), ulps(720));
    let MonitorKind::TravelLimit { increment } = &near.kind else { panic!("a travel") };
    assert_eq!(increment.value.to_bits(), ulps(90));
    let MonitorKind::SpeedLimit { ramp: Some(ramp), .. } = &ramp.kind else { panic!("a ramp") };
    assert_eq!(ramp.jerk.as_ref().map(|jerk| jerk.value.to_bits()), Some(ulps(3600)));
}

#[test]
fn every_value_of_every_kind_shows_in_the_checksum() {
    let mut seen = vec![parsed(EXAMPLE).checksum()];
    let mut new = |body: &str| {
        let checksum = parsed(&with(body)).checksum();
        assert!(!seen.contains(&checksum), "must show in the checksum: {body}");
        seen.push(checksum);
        checksum
    };
    let same = new("kind = \"speed-range\"\nlow = \"-1 m/s\"\nhigh = \"1 m/s\"");
    assert_eq!(
        parsed(&with("kind = \"speed-range\"\nhigh = \"1000 mm/s\" # fast\nlow = \"-60 m/min\"")).checksum(),
        same
    );
    let overrun = "on_delay = \"20 ms\"\nallowed_overrun";
    for body in [
        "kind = \"speed-range\"\nlow = \"-1.0000001 m/s\"\nhigh = \"1 m/s\"",
        "kind = \"speed-range\"\nlow = \"-1 m/s\"\nhigh = \"1.0000001 m/s\"",
        "kind = \"speed-range\"\nlow = \"-1 m/s\"\nhigh = \"-1 m/s\"",
        "kind = \"acceleration-range\"\nlow = \"-1 m/s^2\"\nhigh = \"1 m/s^2\"",
        "kind = \"acceleration-range\"\nlow = \"-2 m/s^2\"\nhigh = \"1 m/s^2\"",
        "kind = \"acceleration-range\"\nlow = \"-1 m/s^2\"\nhigh = \"2 m/s^2\"",
        "kind = \"acceleration-limit\"\nlimit = \"1 m/s^2\"",
        "kind = \"acceleration-limit\"\nlimit = \"2 m/s^2\"",
        "kind = \"travel-limit\"\nincrement = \"1 mm\"",
        "kind = \"travel-limit\"\nincrement = \"2 mm\"",
        "kind = \"direction\"\nallowed = \"positive\"\ntolerance = \"1 mm\"",
        "kind = \"direction\"\nallowed = \"negative\"\ntolerance = \"1 mm\"",
        "kind = \"direction\"\nallowed = \"positive\"\ntolerance = \"2 mm\"",
        "kind = \"speed-limit\"\nlimit = \"1 m/s\"",
        "kind = \"speed-limit\"\npositive = \"1 m/s\"\nnegative = \"1 m/s\"",
        "kind = \"speed-limit\"\npositive = \"2 m/s\"\nnegative = \"1 m/s\"",
        "kind = \"speed-limit\"\npositive = \"1 m/s\"\nnegative = \"2 m/s\"",
        "kind = \"speed-limit\"\nlimit = \"1 m/s\"\non_delay = \"20 ms\"",
        &format!("kind = \"speed-limit\"\nlimit = \"1 m/s\"\n{overrun} = \"1 mm\""),
        &format!("kind = \"speed-limit\"\nlimit = \"1 m/s\"\n{overrun} = \"2 mm\""),
        &format!("kind = \"speed-limit\"\nlimit = \"1 m/s\"\n{RAMP}"),
        &format!(
            "kind = \"speed-limit\"\nlimit = \"1 m/s\"\n{}",
            RAMP.replace(" }", ", jerk = \"20 m/s^3\" }")
        ),
        &format!(
            "kind = \"speed-limit\"\nlimit = \"1 m/s\"\n{}",
            RAMP.replace(" }", ", jerk = \"21 m/s^3\" }")
        ),
        &stop(&format!("by = \"deceleration\"\n{BRAKING}")),
        &stop(&format!("by = \"deceleration\"\n{BRAKING}")).replace("10 mm/s", "11 mm/s"),
        &stop(&format!("by = \"deceleration\"\n{}", BRAKING.replace("150 ms", "151 ms"))),
        &stop(&format!("by = \"deceleration\"\n{}", BRAKING.replace("\"2 m", "\"3 m"))),
        &stop(&format!("by = \"deceleration\"\n{}", BRAKING.replace("0.3", "0.4"))),
        &stop(&format!("within = \"1 s\"\nby = \"deceleration\"\n{BRAKING}")),
        &stop(&format!("by = \"ramp\"\n{RAMP}")),
    ] {
        new(body);
    }
}

#[test]
fn an_unknown_key_is_answered_with_each_key_that_belongs_there_once() {
    let known = |body: &str| {
        let error = error(&with(&format!("{body}\nzzzzzz = 1")));
        let [one] = error.diagnostics() else { panic!("one mistake: {error}") };
        assert!(one.message.starts_with("unknown key `zzzzzz` in monitor \"m\""), "{}", one.message);
        one.way_out.strip_prefix("leave it out; known here are ").expect(&one.way_out).to_owned()
    };
    for (body, keys) in [
        (
            "kind = \"speed-limit\"\npositive = \"1 m/s\"\nnegative = \"1 m/s\"",
            "allowed_overrun, reaction, positive, negative, limit, ramp",
        ),
        (
            "kind = \"speed-limit\"\nlimit = \"1 m/s\"",
            "allowed_overrun, reaction, positive, negative, limit, ramp",
        ),
        ("kind = \"speed-range\"\nlow = \"0 m/s\"\nhigh = \"1 m/s\"", "allowed_overrun, reaction, low, high"),
        (
            "kind = \"direction\"\nallowed = \"positive\"\ntolerance = \"1 mm\"",
            "reaction, allowed, tolerance",
        ),
        ("kind = \"travel-limit\"\nincrement = \"1 mm\"", "reaction, increment"),
        ("kind = \"acceleration-limit\"\nlimit = \"1 m/s^2\"", "reaction, limit"),
        (
            &stop(&format!("by = \"ramp\"\n{RAMP}")),
            "by, allowed_overrun, reaction, until, ramp, standstill_speed, within",
        ),
        (
            &stop(&format!("by = \"deceleration\"\n{BRAKING}")),
            "by, reaction, until, braking, standstill_speed, within",
        ),
    ] {
        assert_eq!(known(body), format!("name, kind, demand, on_delay, {keys}"), "{body}");
    }
}
