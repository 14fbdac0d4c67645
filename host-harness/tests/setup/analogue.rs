//! Analogue values and the rules on them in a setup file.
//!
//! They are written below the example: `[analogue.torque]` begins at line 54, and what is below it at line 62.

use host_harness::setup::{AnalogueUnit, MAX_ANALOGUES, MonitorKind};
use monitor_core::Span;

use super::support::{EXAMPLE, check, check_ways_out, error, one, other_place, parsed, refused, ulps};

const TORQUE: &str = r#"[analogue.torque]
columns          = ["torque_1", "torque_2"]
unit             = "Nm"
low              = "-120 Nm"
high             = "150 Nm"
timeout          = "5 ms"
tolerance        = "4 Nm"
discrepancy_time = "20 ms"
"#;

const WINDING: &str = r#"[analogue.winding]
columns          = ["winding_1", "winding_2"]
unit             = "degC"
low              = "-40 degC"
high             = "200 degC"
timeout          = "5 s"
tolerance        = "8 degC"
discrepancy_time = "1 s"
sparse           = true
"#;

fn rule(kind: &str, rest: &str) -> String {
    one("m", &format!("kind = \"{kind}\"\n{rest}"))
}

fn below(body: &str) -> String {
    format!("{EXAMPLE}{TORQUE}{body}")
}

/// The example with the torque, some of which is replaced.
fn replaced(replacements: &[(&str, &str)]) -> String {
    let mut torque = TORQUE.to_owned();
    for (old, new) in replacements {
        assert_eq!(torque.matches(old).count(), 1, "`{old}` must be there once");
        torque = torque.replacen(old, new, 1);
    }
    format!("{EXAMPLE}{torque}")
}

#[test]
fn an_analogue_value_has_two_columns_a_unit_and_what_is_plausible() {
    let setup = parsed(&below(WINDING));
    let [torque, winding] = setup.analogues.as_slice() else { panic!("two of them") };
    assert_eq!((torque.name.as_str(), winding.name.as_str()), ("torque", "winding"));
    assert_eq!(torque.columns, ["torque_1", "torque_2"]);
    assert_eq!((torque.unit, winding.unit), (AnalogueUnit::NewtonMetre, AnalogueUnit::DegreeCelsius));
    assert_eq!(torque.plausible.low.value.to_bits(), ulps(-120));
    assert_eq!(torque.plausible.high.value.to_bits(), ulps(150));
    assert_eq!(torque.timeout.value, Span::from_millis(5).unwrap());
    assert_eq!(torque.tolerance.value.to_bits(), ulps(4));
    assert_eq!(torque.discrepancy_time.value, Span::from_millis(20).unwrap());
    assert_eq!((torque.latency.value, torque.latency.text.as_str()), (Span::ZERO, "0 ms"));
    assert!(!torque.sparse && winding.sparse);
}

#[test]
fn settings_of_an_analogue_value_are_rounded_to_the_stricter_side() {
    let setup = parsed(&replaced(&[
        ("\"-120 Nm\"", "\"-1000/3 Nm\""),
        ("\"150 Nm\"", "\"1/3 kNm\""),
        ("\"4 Nm\"", "\"10000/3 mNm\""),
        ("\"5 ms\"", "\"10/3 ms\""),
        ("\"20 ms\"", "\"10/3 us\"\nlatency = \"1/3 us\""),
    ]));
    let torque = &setup.analogues[0];
    assert_eq!(torque.plausible.low.value.to_bits(), -(ulps(1000) / 3));
    assert_eq!(torque.plausible.high.value.to_bits(), ulps(1000) / 3);
    assert_eq!(torque.tolerance.value.to_bits(), ulps(10) / 3);
    assert_eq!(torque.timeout.value, Span::from_nanos(3_333_333));
    assert_eq!(torque.discrepancy_time.value, Span::from_nanos(3_333));
    assert_eq!(torque.latency.value, Span::from_nanos(334));
}

#[test]
fn a_rule_on_an_analogue_value_is_rounded_to_the_stricter_side_and_points_to_it() {
    let text = below(WINDING)
        + &rule("torque-limit", "of = \"torque\"\nlimit = \"100/3 Nm\"")
        + &rule("torque-range", "of = \"torque\"\nlow = \"-100/3 Nm\"\nhigh = \"100/3 Nm\"")
            .replace("\"m\"", "\"n\"")
        + &rule("temperature-limit", "of = \"winding\"\nlimit = \"-10/3 degC\"").replace("\"m\"", "\"o\"");
    let setup = parsed(&text);
    let [.., limit, range, hot] = setup.monitors.as_slice() else { panic!("three of them") };
    let MonitorKind::TorqueLimit { of: 0, limit } = &limit.kind else { panic!("{limit:?}") };
    assert_eq!(limit.value.to_bits(), ulps(100) / 3);
    let MonitorKind::TorqueRange { of: 0, range } = &range.kind else { panic!("{range:?}") };
    assert_eq!((range.low.value.to_bits(), range.high.value.to_bits()), (-(ulps(100) / 3), ulps(100) / 3));
    let MonitorKind::TemperatureLimit { of: 1, limit } = &hot.kind else { panic!("{hot:?}") };
    assert_eq!(limit.value.to_bits(), -(ulps(10) / 3) - 1, "down, also below zero");
    assert_eq!(setup.analogue_unit(4), Some(AnalogueUnit::DegreeCelsius));
    assert_eq!(setup.analogue_unit(0), None);
}

#[test]
fn what_is_wrong_with_an_analogue_value_is_found() {
    for (replacements, expected) in [
        (
            &[("[\"torque_1\", \"torque_2\"]", "[\"torque_1\"]")][..],
            &["55:20: [analogue.torque] must have two columns"][..],
        ),
        (
            &[("[\"torque_1\", \"torque_2\"]", "[\"t\", \"u\", \"v\"]")],
            &["55:20: [analogue.torque] must have two columns"],
        ),
        (
            &[("[\"torque_1\", \"torque_2\"]", "\"torque_1\"")],
            &["55:20: `columns` of [analogue.torque] must be a list of names"],
        ),
        (
            &[("\"torque_2\"", "\"torque_1\"")],
            &["55:33: both lines of [analogue.torque] are the column `torque_1`"],
        ),
        (
            &[("\"torque_2\"", "\"rail_count\"")],
            &[
                "55:33: the column `rail_count` is both the position of channel b and a line of [analogue.torque]",
            ],
        ),
        (
            &[("\"torque_2\"", "\"door_1\"")],
            &["55:33: the column `door_1` is both a line of input `door` and a line of [analogue.torque]"],
        ),
        (&[("\"Nm\"", "\"mNm\"")], &["56:20: `unit` of [analogue.torque] cannot be \"mNm\""]),
        (&[("unit             = \"Nm\"\n", "")], &["54:1: [analogue.torque] has no `unit`"]),
        (
            &[("\"-120 Nm\"", "\"-120 degC\"")],
            &[
                "57:26: `low` of [analogue.torque]: `degC` is a temperature; expected a torque such as mNm, Nm, kNm",
            ],
        ),
        (
            &[("\"4 Nm\"", "\"4 %\"")],
            &[
                "60:23: `tolerance` of [analogue.torque]: `%` is a share; expected a torque such as mNm, Nm, kNm",
            ],
        ),
        (&[("\"4 Nm\"", "4")], &["60:20: `tolerance` of [analogue.torque] must be a torque with its unit"]),
        (
            &[("\"150 Nm\"", "\"150 nm\"")],
            &[
                "58:25: `high` of [analogue.torque]: `nm` is not a known unit; expected a torque such as mNm, Nm, kNm",
            ],
        ),
        (&[("\"4 Nm\"", "\"0 Nm\"")], &["60:20: `tolerance` of [analogue.torque] must be above zero"]),
        // Between -120 and 150 Nm no two values are further apart than 270 Nm; just below it two can be.
        (
            &[("\"4 Nm\"", "\"270 Nm\"")],
            &["60:20: `tolerance` of [analogue.torque] is not below the distance from `low` to `high`"],
        ),
        (
            &[("\"4 Nm\"", "\"1e-9 Nm\"")],
            &[
                "60:20: `tolerance` of [analogue.torque] is smaller than the step of 0.00000005961 Nm it is held in",
            ],
        ),
        (&[("\"150 Nm\"", "\"1e9 kNm\"")], &["58:20: `high` of [analogue.torque] is too large"]),
        (
            &[("\"150 Nm\"", "\"549755813887.99999999 Nm\"")],
            &["58:20: `high` of [analogue.torque] is too large"],
        ),
        (&[("\"150 Nm\"", "\"-121 Nm\"")], &["57:20: `low` of [analogue.torque] is above its `high`"]),
        (&[("\"150 Nm\"", "\"-120 Nm\"")], &["57:20: `low` of [analogue.torque] is its `high`"]),
        (&[("\"5 ms\"", "\"0 ms\"")], &["59:20: `timeout` of [analogue.torque] must be above zero"]),
        (
            &[("\"5 ms\"", "\"0.5 ms\"")],
            &["59:20: `timeout` of [analogue.torque] is shorter than the `cycle`"],
        ),
        (
            &[("\"5 ms\"", "\"5 ms\"\nlatency = \"5 ms\"")],
            &["59:20: `timeout` of [analogue.torque] is not longer than its `latency`"],
        ),
        (
            &[("\"5 ms\"", "\"5 ms\"\nsparse = 1")],
            &["60:10: `sparse` of [analogue.torque] must be true or false"],
        ),
        (
            &[("tolerance ", "tolerence ")],
            &[
                "54:1: [analogue.torque] has no `tolerance`",
                "60:1: unknown key `tolerence` in [analogue.torque]",
            ],
        ),
        (&[("discrepancy_time = \"20 ms\"\n", "")], &["54:1: [analogue.torque] has no `discrepancy_time`"]),
    ] {
        check(&replaced(replacements), expected);
    }
}

#[test]
fn another_spelling_of_a_unit_is_answered_with_the_one_to_write() {
    let unit = "56:20: `unit` of [analogue.torque] cannot be";
    for (written, meant) in [
        ("C", "degC"),
        ("\u{b0}C", "degC"),
        ("Celsius", "degC"),
        ("N.m", "Nm"),
        ("N m", "Nm"),
        ("percent", "%"),
    ] {
        check_ways_out(
            &replaced(&[("\"Nm\"", &format!("\"{written}\""))]),
            &[(
                &format!("{unit} \"{written}\""),
                &format!("did you mean \"{meant}\"? Known are \"Nm\", \"%\", \"degC\""),
            )],
        );
    }
    // The spelling of a unit that none of the values can be in.
    check_ways_out(
        &replaced(&[("\"Nm\"", "\"inch\"")]),
        &[(&format!("{unit} \"inch\""), "write \"Nm\" or \"%\" or \"degC\"")],
    );
}

#[test]
fn a_value_in_kelvins_is_answered_with_the_unit_to_write() {
    let winding = |old: &str, new: &str| format!("{EXAMPLE}{}", WINDING.replacen(old, new, 1));
    let expected = "`K` is not a known unit; expected a temperature such as degC";
    check_ways_out(
        &winding("\"8 degC\"", "\"5 K\""),
        &[(
            &format!("60:23: `tolerance` of [analogue.winding]: {expected}"),
            "write it as \"5 degC\": a difference is the same in both",
        )],
    );
    check_ways_out(
        &winding("\"200 degC\"", "\"473 K\""),
        &[(
            &format!("58:25: `high` of [analogue.winding]: {expected}"),
            "write the temperature in degC: 0 degC are 273.15 K",
        )],
    );
}

#[test]
fn the_lines_of_an_analogue_value_may_have_columns_that_say_what_is_valid() {
    assert_eq!(parsed(&replaced(&[])).analogues[0].valid_columns, None);
    let with = |columns: &str| replaced(&[("\"Nm\"", &format!("\"Nm\"\nvalid_columns = {columns}"))]);
    let two = parsed(&with("[\"ok_1\", \"ok_2\"]"));
    assert_eq!(two.analogues[0].valid_columns, Some(["ok_1".to_owned(), "ok_2".to_owned()]));
    // One that speaks of both lines, and the line of an input that says so too.
    parsed(&with("[\"ok\", \"ok\"]"));
    parsed(&with("[\"door_1\", \"ok\"]"));
    for (columns, expected) in [
        ("\"ok_1\"", "57:17: `valid_columns` of [analogue.torque] must be a list of names"),
        ("[\"ok_1\"]", "57:17: [analogue.torque] must have two valid columns, or none"),
        ("[\"a\", \"b\", \"c\"]", "57:17: [analogue.torque] must have two valid columns, or none"),
        ("[\"ok_1\", \" \"]", "57:26: `valid_columns` of [analogue.torque] is empty"),
        (
            "[\"ok_1\", \"torque_2\"]",
            "57:26: the column `torque_2` is both a line of [analogue.torque] and the validity of a line of [analogue.torque]",
        ),
    ] {
        check(&with(columns), &[expected]);
    }
    check_ways_out(
        &replaced(&[("\"Nm\"", "\"Nm\"\nvalid_column = \"ok\"")]),
        &[("57:1: unknown key `valid_column` in [analogue.torque]", "did you mean `valid_columns`?")],
    );
}

#[test]
fn an_analogue_value_without_a_name_is_refused_key_by_key() {
    let keys = ["columns", "unit", "low", "high", "timeout", "tolerance", "discrepancy_time"];
    let expected: Vec<_> = (keys.iter().zip(55..))
        .map(|(key, line)| format!("{line}:20: `{key}` of [analogue] must be a table"))
        .collect();
    let expected: Vec<_> = expected.iter().map(String::as_str).collect();
    check(&replaced(&[("[analogue.torque]", "[analogue]")]), &expected);
}

#[test]
fn one_channel_is_not_enough_for_an_analogue_value_and_the_message_says_so() {
    let text = replaced(&[("[\"torque_1\", \"torque_2\"]", "[\"torque_1\"]")]);
    let one = error(&text).diagnostics()[0].clone();
    assert!(one.label.contains("one channel is not enough"), "{one:?}");
    assert!(one.way_out.contains("two lines"), "{one:?}");
}

#[test]
fn a_tolerance_that_the_plausible_values_can_exceed_is_accepted() {
    parsed(&replaced(&[("\"4 Nm\"", "\"269.9999 Nm\"")]));
}

#[test]
fn what_trips_has_a_name_of_its_own() {
    let named = |name: &str| {
        rule("torque-limit", "of = \"torque\"\nlimit = \"40 Nm\"").replace("\"m\"", &format!("\"{name}\""))
    };
    parsed(&below(&named("torque limit")));
    let text = below(&named("torque"));
    check(&text, &["63:8: a monitor and an analogue value are called \"torque\""]);
    assert_eq!(other_place(&text), (54, "first here".to_owned()));
    for name in ["discrepancy", "speed_discrepancy"] {
        check(
            &replaced(&[("[analogue.torque]", &format!("[analogue.{name}]"))]),
            &[&format!("54:11: an analogue value cannot be called `{name}`")],
        );
    }
}

#[test]
fn more_analogue_values_than_an_axis_has_room_for_are_refused() {
    let third = WINDING.replace("winding", "gear");
    parsed(&below(WINDING));
    check(&(below(WINDING) + &third), &["71:11: more than 2 analogue values"]);
    assert_eq!(MAX_ANALOGUES, 2, "the message says how many");
}

#[test]
fn what_is_wrong_with_a_rule_on_an_analogue_value_is_found() {
    // The winding begins at line 62, the monitor at line 71.
    for (kind, rest, expected) in [
        ("torque-limit", "limit = \"40 Nm\"", &["71:1: monitor \"m\" has no `of`"][..]),
        ("torque-limit", "of = \"torque\"", &["71:1: monitor \"m\" has no `limit`"]),
        (
            "torque-limit",
            "of = \"torqe\"\nlimit = \"40 Nm\"",
            &["74:6: `of` of monitor \"m\" names \"torqe\", which is no analogue value"],
        ),
        (
            "torque-limit",
            "of = \"force\"\nlimit = \"40 Nm\"",
            &["74:6: `of` of monitor \"m\" names \"force\", which is no analogue value"],
        ),
        (
            "torque-limit",
            "of = \"winding\"\nlimit = \"40 Nm\"",
            &["74:6: `of` of monitor \"m\" names \"winding\", a value in degC"],
        ),
        (
            "torque-range",
            "of = \"winding\"\nlow = \"-4 Nm\"\nhigh = \"4 Nm\"",
            &["74:6: `of` of monitor \"m\" names \"winding\", a value in degC"],
        ),
        (
            "temperature-limit",
            "of = \"torque\"\nlimit = \"40 degC\"",
            &["74:6: `of` of monitor \"m\" names \"torque\", a value in Nm"],
        ),
        (
            "torque-limit",
            "of = \"torque\"\nlimit = \"40 %\"",
            &["75:13: `limit` of monitor \"m\": `%` is a share; expected a torque such as mNm, Nm, kNm"],
        ),
        (
            "torque-limit",
            "of = \"torque\"\nlimit = \"-40 Nm\"",
            &["75:9: `limit` of monitor \"m\" must not be negative"],
        ),
        // The farther end of the plausible range is 150 Nm: at it the limit cannot be exceeded, just below it can.
        (
            "torque-limit",
            "of = \"torque\"\nlimit = \"150 Nm\"",
            &["75:9: `limit` of monitor \"m\" is not inside the plausible range of \"torque\""],
        ),
        (
            "torque-range",
            "of = \"torque\"\nlow = \"-120 Nm\"\nhigh = \"40 Nm\"",
            &["75:7: `low` of monitor \"m\" is not inside the plausible range of \"torque\""],
        ),
        (
            "torque-range",
            "of = \"torque\"\nlow = \"-130 Nm\"\nhigh = \"160 Nm\"",
            &[
                "75:7: `low` of monitor \"m\" is not inside the plausible range of \"torque\"",
                "76:8: `high` of monitor \"m\" is not inside the plausible range of \"torque\"",
            ],
        ),
        (
            "torque-range",
            "of = \"torque\"\nlow = \"-140 Nm\"\nhigh = \"-130 Nm\"",
            &["76:8: `high` of monitor \"m\" is not inside the plausible range of \"torque\""],
        ),
        (
            "torque-range",
            "of = \"torque\"\nlow = \"151 Nm\"\nhigh = \"160 Nm\"",
            &["75:7: `low` of monitor \"m\" is not inside the plausible range of \"torque\""],
        ),
        (
            "torque-range",
            "of = \"torque\"\nlow = \"5 Nm\"\nhigh = \"4 Nm\"",
            &["75:7: `low` of monitor \"m\" is above its `high`"],
        ),
        (
            "temperature-limit",
            "of = \"winding\"\nlimit = \"200 degC\"",
            &["75:9: `limit` of monitor \"m\" is not inside the plausible range of \"winding\""],
        ),
        (
            "temperature-limit",
            "of = \"winding\"\nlimit = \"-41 degC\"",
            &["75:9: `limit` of monitor \"m\" is not inside the plausible range of \"winding\""],
        ),
        (
            "temperature-limit",
            "of = \"winding\"\nlimit = \"90 degC\"\nallowed_overrun = \"1 mm\"",
            &[
                "76:1: `allowed_overrun` of monitor \"m\": a temperature beyond its limit is no travel beyond a limit",
            ],
        ),
        (
            "torque-limit",
            "of = \"torque\"\nlimit = \"40 Nm\"\nallowed_overrun = \"1 mm\"",
            &[
                "76:1: `allowed_overrun` of monitor \"m\": a torque beyond its limit is no travel beyond a limit",
            ],
        ),
        (
            "torque-limit",
            "of = \"torque\"\nlimit = \"40 Nm\"\nlow = \"3 Nm\"",
            &["76:1: unknown key `low` in monitor \"m\""],
        ),
        (
            "speed-limit",
            "of = \"torque\"\nlimit = \"250 mm/s\"",
            &["74:1: unknown key `of` in monitor \"m\""],
        ),
    ] {
        check(&(below(WINDING) + &rule(kind, rest)), expected);
    }
    parsed(&(below(WINDING) + &rule("torque-limit", "of = \"torque\"\nlimit = \"149.9 Nm\"")));
    parsed(&(below(WINDING) + &rule("temperature-limit", "of = \"winding\"\nlimit = \"-40 degC\"")));
}

#[test]
fn a_limit_on_a_torque_that_every_plausible_value_exceeds_is_refused() {
    let text = replaced(&[("\"-120 Nm\"", "\"50 Nm\"")])
        + &rule("torque-limit", "of = \"torque\"\nlimit = \"49 Nm\"");
    check(&text, &["66:9: `limit` of monitor \"m\" is not inside the plausible range of \"torque\""]);
    assert!(error(&text).diagnostics()[0].label.contains("every plausible value"), "{text}");
}

#[test]
fn a_rule_on_an_analogue_value_that_is_wrong_itself_is_reported_once() {
    let text = replaced(&[("\"-120 Nm\"", "\"-120\"")])
        + &rule("torque-limit", "of = \"torque\"\nlimit = \"40 Nm\"");
    check(
        &text,
        &[
            "57:21: `low` of [analogue.torque]: a number without a unit; expected a torque such as mNm, Nm, kNm",
        ],
    );
}

#[test]
fn a_mistake_about_an_analogue_value_points_to_both_places_and_offers_what_was_meant() {
    let first = |kind, rest| {
        let text = below(WINDING) + &rule(kind, rest);
        error(&text).diagnostics()[0].clone()
    };
    let wrong = first("torque-limit", "of = \"winding\"\nlimit = \"40 Nm\"");
    assert_eq!(wrong.related.as_ref().map(|(place, _)| place.line), Some(64), "the unit of the winding");
    let far = first("torque-limit", "of = \"torque\"\nlimit = \"150 Nm\"");
    assert_eq!(far.related.as_ref().map(|(place, _)| place.line), Some(58), "the end of the range");
    assert!(far.label.contains("could never trip"), "{far:?}");
    let slip = first("torque-limit", "of = \"torqe\"\nlimit = \"40 Nm\"");
    assert_eq!(slip.way_out, "did you mean \"torque\"?");
    let none =
        refused(&[("\"standstill\"", "\"temperature-limit\"\nof = \"gear\"")]).diagnostics()[0].clone();
    assert!(none.way_out.starts_with("add the section [analogue.gear]"), "{none:?}");
}

#[test]
fn an_analogue_value_that_no_monitor_watches_is_watched_by_its_lines() {
    let (head, _) = EXAMPLE.split_once("[discrepancy]").expect("the example has one");
    let setup = parsed(&format!("{head}{TORQUE}"));
    assert!(setup.monitors.is_empty() && setup.discrepancy.is_none());
    assert_eq!(setup.analogues.len(), 1);
}

#[test]
fn everything_about_an_analogue_value_shows_in_the_checksum_and_none_leaves_it_as_it_was() {
    let canonical = parsed(EXAMPLE).canonical();
    assert!(!canonical.contains("analogue"), "{canonical}");
    let limit = rule("torque-limit", "of = \"torque\"\nlimit = \"40 Nm\"");
    let mut seen = vec![parsed(EXAMPLE).checksum()];
    for (old, new) in [
        ("[analogue.torque]", "[analogue.torque]"),
        ("\"torque_1\"", "\"t\""),
        ("\"torque_2\"", "\"t\""),
        ("\"-120 Nm\"", "\"-121 Nm\""),
        ("\"150 Nm\"", "\"151 Nm\""),
        ("\"5 ms\"", "\"6 ms\""),
        ("\"4 Nm\"", "\"5 Nm\""),
        ("\"20 ms\"", "\"21 ms\""),
        ("\"20 ms\"", "\"20 ms\"\nlatency = \"1 ms\""),
        ("\"20 ms\"", "\"20 ms\"\nsparse = true"),
        ("\"20 ms\"", "\"20 ms\"\nvalid_columns = [\"ok_1\", \"ok_2\"]"),
        ("\"20 ms\"", "\"20 ms\"\nvalid_columns = [\"ok_2\", \"ok_1\"]"),
    ] {
        let checksum = parsed(&(replaced(&[(old, new)]) + &limit)).checksum();
        assert!(!seen.contains(&checksum), "`{new}` must show in the checksum");
        seen.push(checksum);
    }
    for other in [
        below(&limit.replace("40 Nm", "41 Nm")),
        below(&rule("torque-range", "of = \"torque\"\nlow = \"-40 Nm\"\nhigh = \"40 Nm\"")),
        below(&limit).replace("torque", "force"),
        below(WINDING) + &rule("temperature-limit", "of = \"winding\"\nlimit = \"90 degC\""),
        replaced(&[]).replace("Nm", "%") + &limit.replace("Nm", "%"),
    ] {
        let other = other.replace("force-limit", "torque-limit");
        let checksum = parsed(&other).checksum();
        assert!(!seen.contains(&checksum), "must show in the checksum: {other}");
        seen.push(checksum);
    }
}
