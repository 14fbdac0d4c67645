//! What a right setup file becomes.

use std::fmt::Write;
use std::fs;

use host_harness::setup::{
    AxisUnit, By, DemandLevel, DemandSetup, DemandSource, InputLines, LimitSetup, MonitorKind, MonitorSetup,
    OneSided, Pairing, Setup, Source, Until, WarmUp,
};
use monitor_core::{Channel, Span};

use super::support::{EXAMPLE, ms, parsed, refused, ulps, varied};

/// The inputs that demand a monitor, which has no other demand.
fn inputs(monitor: &MonitorSetup) -> Vec<usize> {
    let input = |demand: &DemandSetup| match demand {
        DemandSetup { source: DemandSource::Input(input), inverted: false } => *input,
        other => panic!("a plain input: {other:?}"),
    };
    monitor.demand.iter().map(input).collect()
}

#[test]
fn the_example_says_what_is_written() {
    let setup = parsed(EXAMPLE);
    assert_eq!((setup.title.as_str(), setup.unit), ("Kiln shuttle 2, transfer axis", AxisUnit::Millimetre));
    assert_eq!(setup.path, "axis.toml");
    assert_eq!(setup.cycle.as_ref().map(|cycle| cycle.value), Some(ms(1)));
    assert_eq!((setup.time.column.as_str(), setup.time.unit.symbol), ("time", "s"));

    let Source::Counter { bits, unit_per_count } = &setup.a.source else { panic!("a counter") };
    // 0.0005 mm · 2²⁴ · 10⁹
    assert_eq!(
        (*bits, unit_per_count.value, unit_per_count.text.as_str()),
        (32, 8_388_608_000_000, "0.0005 mm")
    );
    assert_eq!(setup.a.max_speed.value.to_bits(), ulps(3000));
    assert_eq!((setup.a.timeout.value, setup.a.latency.value), (ms(4), Span::ZERO));
    assert_eq!(setup.channel(Channel::B).latency.value, Span::from_nanos(250_000));
    assert_eq!((&setup.a.capture, &setup.a.valid_column, setup.a.sparse), (&None, &None, false));

    assert_eq!((setup.speed.window.value, setup.speed.warm_up), (ms(8), WarmUp::Withhold));
    let watch = setup.discrepancy.as_ref().expect("a discrepancy");
    assert_eq!((watch.tolerance.value.to_bits(), watch.align), (ulps(2), false));
    assert_eq!((watch.skew_allowance.value, watch.discrepancy_time.value), (ms(1), ms(20)));
    assert_eq!(setup.speed_discrepancy, None);
    assert_eq!(setup.reset, None);

    assert_eq!(setup.levels, ["door_1", "door_2", "at_loading"]);
    let [door, loading] = setup.inputs.as_slice() else { panic!("two inputs") };
    let InputLines::Dual { first: 0, second: 1, dual } = &door.lines else { panic!("lines 0 and 1") };
    assert_eq!((dual.pairing, dual.one_sided), (Pairing::Equivalent, OneSided::Fault));
    assert_eq!(
        (dual.discrepancy_time.value, door.filter.value, door.demand),
        (ms(500), ms(3), DemandLevel::Low)
    );
    assert_eq!((loading.name.as_str(), &loading.lines), ("at_loading", &InputLines::Single(2)));
    assert_eq!((loading.filter.value, loading.demand), (Span::ZERO, DemandLevel::High));

    let [slow, hold] = setup.monitors.as_slice() else { panic!("two monitors") };
    assert_eq!(
        (slow.name.as_str(), slow.line, slow.kind.name()),
        ("slow while the door is open", 39, "speed-limit")
    );
    assert_eq!((inputs(slow), slow.on_delay.value), (vec![0], ms(4)));
    let MonitorKind::SpeedLimit { limit: LimitSetup::Both(limit), ramp: Some(ramp) } = &slow.kind else {
        panic!("a limit with a ramp")
    };
    assert_eq!((limit.value.to_bits(), limit.text.as_str()), (ulps(250), "250 mm/s"));
    assert_eq!(&EXAMPLE[limit.span.clone()], "\"250 mm/s\"");
    assert_eq!((ramp.delay.value, ramp.margin.value.to_bits()), (ms(100), ulps(50)));
    assert_eq!(ramp.deceleration.value.to_bits(), ulps(2000));
    assert_eq!((inputs(hold), hold.on_delay.value), (vec![1], ms(10)));
    let MonitorKind::Standstill(windows) = &hold.kind else { panic!("a standstill") };
    assert_eq!(windows.position_window.value.to_bits(), ulps(1));
    assert_eq!(windows.speed_window.value.to_bits(), ulps(10));
}

#[test]
fn a_rotary_axis_with_every_other_key_says_what_is_written() {
    let setup = parsed(
        r#"
title = "Invented swivel table"
unit = "deg"
time = { column = "t", unit = "us" }
channel.a = { column = "a", counter_bits = 13, unit_per_count = "-360/8192 deg", capture_column = "a_t", max_speed = "60 rpm", timeout = "10ms", sparse = true }
channel.b = { column = "b", column_unit = "mrad", capture_column = "b_t", capture_unit = "ns", latency = "1/3 us", valid_column = "b_ok", max_speed = "60 rpm", timeout = "10ms" }
speed = { window = "20ms", warm_up = "permit" }
speed_discrepancy = { tolerance = "5 deg/s", discrepancy_time = "0 s" }
reset = { column = "reset", filter = "5 ms" }

[discrepancy]
tolerance = "0.5 deg"
discrepancy_time = "20 ms"
align = true

[input.zone]
columns = ["zone"]
[input.gate]
columns = ["gate_1", "gate_2"]
pairing = "antivalent"
discrepancy_time = "0 ms"
one_sided = "ignore"

[[monitor]]
name = "off"
kind = "torque-off"
demand = ["e_stop"]
[[monitor]]
name = "always slow"
kind = "speed-limit"
limit = "90 deg/s"
[[monitor]]
name = "ss1"
kind = "stop"
demand = ["gate", "zone", "lamp"]
until = "torque-off"
by = "ramp"
ramp = { delay = "0 s", deceleration = "1/3 deg/s^2", margin = "0 deg/s" }
standstill_speed = "5 deg/s"
[[monitor]]
name = "ss2"
kind = "stop"
demand = ["zone", "e_stop"]
until = "standstill"
by = "time"
within = "1 s"
position_window = "1 deg"
speed_window = "5 deg/s"
"#,
    );
    assert_eq!((setup.unit, setup.cycle.is_none()), (AxisUnit::Degree, true));
    let Source::Counter { bits: 13, unit_per_count } = &setup.a.source else {
        panic!("a counter of 13 bits")
    };
    assert_eq!(
        unit_per_count.value, -737_280_000_000_000,
        "exactly 360/8192 · 2^24 · 10^9, running backwards"
    );
    let Source::Position { unit } = &setup.b.source else { panic!("positions") };
    assert_eq!(unit.symbol, "mrad");
    let a = setup.a.capture.as_ref().expect("a capture column");
    assert_eq!((a.column.as_str(), a.unit.symbol), ("a_t", "us"), "the unit of the rows when none is given");
    assert_eq!(setup.b.capture.as_ref().expect("a capture column").unit.symbol, "ns");
    assert_eq!(setup.b.latency.value, Span::from_nanos(334), "a latency is rounded up");
    assert_eq!(
        (setup.b.valid_column.as_deref(), setup.b.sparse, setup.a.sparse),
        (Some("b_ok"), false, true)
    );
    assert_eq!(setup.speed.warm_up, WarmUp::Permit);
    assert!(setup.discrepancy.as_ref().expect("a discrepancy").align);
    assert_eq!(setup.discrepancy.expect("a discrepancy").skew_allowance.text, "0 ms");
    assert_eq!(setup.speed_discrepancy.expect("a discrepancy").discrepancy_time.value, Span::ZERO);

    assert_eq!(setup.levels, ["zone", "gate_1", "gate_2", "e_stop", "lamp", "reset"]);
    let names: Vec<_> = setup.inputs.iter().map(|input| input.name.as_str()).collect();
    assert_eq!(names, ["zone", "gate", "e_stop", "lamp"], "in the order of the file, then plain columns");
    let InputLines::Dual { dual, .. } = &setup.inputs[1].lines else { panic!("two lines") };
    assert_eq!((dual.pairing, dual.one_sided), (Pairing::Antivalent, OneSided::Ignore));
    assert_eq!(setup.reset.expect("a reset").line, 5);

    let demands: Vec<_> = setup.monitors.iter().map(inputs).collect();
    assert_eq!(demands, [vec![2], vec![], vec![1, 0, 3], vec![0, 2]]);
    let MonitorKind::Stop { until: Until::TorqueOff, by: By::Ramp { ramp, within: None, .. } } =
        &setup.monitors[2].kind
    else {
        panic!("a stop by ramp")
    };
    assert_eq!(ramp.deceleration.value.to_bits(), (1 << 24) / 3 + 1, "a deceleration is rounded up");
    let MonitorKind::Stop { until: Until::Standstill(_), by: By::Time { within } } = &setup.monitors[3].kind
    else {
        panic!("a stop by time")
    };
    assert_eq!(within.value, ms(1000));
}

#[test]
fn settings_are_rounded_to_the_stricter_side() {
    let setup = parsed(&varied(&[
        ("limit    = \"250 mm/s\"", "limit = \"1000/3 mm/s\""),
        ("on_delay = \"4 ms\"", "on_delay = \"1e7/3 ns\""),
        (
            "deceleration = \"2 m/s^2\", margin = \"50 mm/s\"",
            "deceleration = \"1000/3 mm/s^2\", margin = \"100/3 mm/s\"",
        ),
        ("position_window = \"1 mm\"", "position_window = \"1/3 mm\""),
        ("window = \"8 ms\"", "window = \"20/3 ms\""),
        ("filter           = \"3 ms\"", "filter = \"10/3 ms\""),
        ("cycle = \"1 ms\"", "cycle = \"1/3 ms\""),
    ]));
    let MonitorKind::SpeedLimit { limit: LimitSetup::Both(limit), ramp: Some(ramp) } =
        &setup.monitors[0].kind
    else {
        panic!("a ramp")
    };
    assert_eq!(limit.value.to_bits(), ulps(1000) / 3);
    assert_eq!(ramp.deceleration.value.to_bits(), ulps(1000) / 3 + 1);
    assert_eq!(ramp.margin.value.to_bits(), ulps(100) / 3);
    assert_eq!(setup.monitors[0].on_delay.value, Span::from_nanos(3_333_333));
    let MonitorKind::Standstill(windows) = &setup.monitors[1].kind else { panic!("a standstill") };
    assert_eq!(windows.position_window.value.to_bits(), ulps(1) / 3);
    assert_eq!(setup.speed.window.value, Span::from_nanos(6_666_666));
    assert_eq!(setup.inputs[0].filter.value, Span::from_nanos(3_333_333));
    assert_eq!(setup.cycle.expect("a cycle").value, Span::from_nanos(333_334));
}

#[test]
fn exactly_one_count_is_not_too_fine_and_less_is() {
    // 0.001 mm is no whole number of ULP: rounded down, the setting is less than the count by a fraction of one.
    parsed(&varied(&[("tolerance        = \"2 mm\"", "tolerance = \"0.001 mm\"")]));
    refused(&[("tolerance        = \"2 mm\"", "tolerance = \"0.0009999 mm\"")]);
    parsed(&varied(&[("limit    = \"250 mm/s\"", "limit = \"0.125 mm/s\"")]));
    refused(&[("limit    = \"250 mm/s\"", "limit = \"0.1249999 mm/s\"")]);
}

#[test]
fn a_counter_that_moves_less_than_half_its_range_in_a_timeout_is_accepted() {
    // 12000 counts in 4 ms at 3 m/s; 15 bits have half a range of 16384, 14 bits one of 8192.
    parsed(&varied(&[("counter_bits   = 24", "counter_bits   = 15")]));
    refused(&[("counter_bits   = 24", "counter_bits   = 14")]);
    // 2¹⁴ − 3 counts at most, for the count that a plausible change may be longer and one for rounding.
    let counts = |per_second: &str| {
        let new = format!("max_speed = \"{per_second} mm/s\"\ntimeout = \"1 s\"\n\n[speed]");
        varied(&[
            ("counter_bits   = 24", "counter_bits = 15"),
            ("max_speed      = \"3 m/s\"\ntimeout        = \"4 ms\"\n\n[speed]", &new),
            ("limit    = \"250 mm/s\"", "limit = \"10 mm/s\""),
        ])
    };
    parsed(&counts("16.3819"));
    assert!(Setup::parse(&counts("16.382001"), "axis.toml").is_err());
}

#[test]
fn the_most_that_fits_is_accepted_and_one_more_is_refused() {
    let monitors = |count: usize| {
        let mut text = EXAMPLE.to_owned();
        for index in 2..count {
            let _ =
                write!(text, "[[monitor]]\nname = \"m{index}\"\nkind = \"speed-limit\"\nlimit = \"1 m/s\"\n");
        }
        text
    };
    assert_eq!(parsed(&monitors(16)).monitors.len(), 16);
    let error = Setup::parse(&monitors(17), "axis.toml").expect_err("17 monitors");
    assert_eq!(error.diagnostics()[0].message, "more than 16 monitors");

    // The example has one input of two columns and one plain column.
    let inputs = |count: usize| {
        let mut text = EXAMPLE.to_owned();
        for index in 2..count {
            let _ = write!(
                text,
                "[input.zone{index}]\ncolumns = [\"x{index}\", \"y{index}\"]\npairing = \"antivalent\"\ndiscrepancy_time = \"1 s\"\n"
            );
        }
        text
    };
    assert_eq!(parsed(&inputs(16)).inputs.len(), 16);
    assert_eq!(parsed(&inputs(16)).levels.len(), 31);
    let error = Setup::parse(&inputs(17), "axis.toml").expect_err("17 inputs");
    assert!(error.to_string().contains("more than 16 inputs"), "{error}");

    let with_reset = |text: &str, more: &str| format!("{text}[reset]\ncolumn = \"reset\"\n{more}");
    assert_eq!(parsed(&with_reset(&inputs(16), "")).levels.len(), 32);
    let two_column = inputs(16).replace("[\"at_loading\"]", "[\"loading\"]");
    let text = format!("{two_column}[reset]\ncolumn = \"reset\"\n").replace(
        "demand          = [\"loading\"]",
        "demand          = [\"loading\"]\n[input.loading]\ncolumns = [\"l1\", \"l2\"]\npairing = \"equivalent\"\ndiscrepancy_time = \"1 s\"\n#",
    );
    let error = Setup::parse(&text, "axis.toml").expect_err("33 level columns");
    assert!(error.to_string().contains("more than 32 level columns"), "{error}");
}

#[test]
fn a_setup_that_watches_nothing_is_refused() {
    let start = EXAMPLE.find("[discrepancy]").expect("in the example");
    let error = Setup::parse(&EXAMPLE[..start], "axis.toml").expect_err("nothing is watched");
    assert!(error.to_string().starts_with("axis.toml:1:1: the setup watches nothing"), "{error}");
    let end = EXAMPLE.find("[input.door]").expect("in the example");
    assert!(parsed(&EXAMPLE[..end]).monitors.is_empty(), "a discrepancy alone is enough");
}

#[test]
fn a_byte_order_mark_and_windows_line_ends_change_nothing() {
    let windows = format!("\u{feff}{}", EXAMPLE.replace('\n', "\r\n"));
    assert_eq!(parsed(&windows).canonical(), parsed(EXAMPLE).canonical());
    let error = Setup::parse(&windows.replace("title =", "titel ="), "axis.toml").expect_err("a wrong key");
    assert!(error.to_string().contains("axis.toml:1:1: unknown key `titel`"), "{error}");
}

#[test]
fn the_checksum_follows_the_meaning_and_not_the_spelling() {
    let checksum = parsed(EXAMPLE).checksum();
    for same in [
        varied(&[("limit    = \"250 mm/s\"", "limit = \"0.25 m/s\" # slow")]),
        varied(&[("limit    = \"250 mm/s\"", "limit = \"15m/min\"")]),
        varied(&[("window = \"8 ms\"", "warm_up = \"withhold\"\nwindow = \"0.008 s\"")]),
        varied(&[
            ("latency        = \"0.25 ms\"\n", ""),
            ("timeout        = \"4 ms\"\n\n[speed]", "timeout = \"4 ms\"\nlatency = \"250 us\"\n[speed]"),
        ]),
    ] {
        assert_eq!(parsed(&same).checksum(), checksum, "{same}");
    }
    let mut seen = vec![checksum];
    for (old, new) in [
        ("Kiln shuttle 2", "Kiln shuttle 3"),
        ("cycle = \"1 ms\"", "cycle = \"2 ms\""),
        ("cycle = \"1 ms\"\n", ""),
        ("\"motor_count\"", "\"motor\""),
        ("counter_bits   = 32", "counter_bits   = 31"),
        ("\"0.0005 mm\"", "\"-0.0005 mm\""),
        ("\"0.25 ms\"", "\"0.250001 ms\""),
        ("window = \"8 ms\"", "window = \"8 ms\"\nwarm_up = \"permit\""),
        ("skew_allowance   = \"1 ms\"", "align = true"),
        ("\"equivalent\"", "\"antivalent\""),
        ("\"low\"", "\"high\""),
        ("filter           = \"3 ms\"", "filter = \"3 ms\"\none_sided = \"ignore\""),
        ("\"250 mm/s\"", "\"250.0000001 mm/s\""),
        ("demand   = [\"door\"]\n", ""),
        ("\"at_loading\"", "\"door\""),
        ("position_window = \"1 mm\"", "position_window = \"1.1 mm\""),
        ("on_delay        = \"10 ms\"", "on_delay = \"11 ms\""),
    ] {
        let other = parsed(&varied(&[(old, new)])).checksum();
        assert!(!seen.contains(&other), "`{new}` must show in the checksum");
        seen.push(other);
    }
}

#[test]
fn a_file_that_cannot_be_a_setup_is_refused_with_a_way_out() {
    let folder = std::env::temp_dir().join(format!("setup-loads-{}", std::process::id()));
    fs::create_dir_all(&folder).expect("a scratch directory");
    let file = |name: &str, bytes: &[u8]| {
        let path = folder.join(name);
        fs::write(&path, bytes).expect("a scratch file");
        path
    };
    for (path, message) in [
        (folder.join("missing.toml"), "no such setup file"),
        (folder.clone(), "is a directory, not a setup file"),
        (
            file("latin1.toml", b"title = \"x\"\nunit = \"\xB5m\"\n"),
            "not UTF-8 text: byte 0xB5 at line 2, column 9",
        ),
        (file("huge.toml", &vec![b'#'; (4 << 20) + 1]), "larger than 4 MiB"),
        (file("empty.toml", b""), "the setup has no `title`"),
    ] {
        let error = Setup::load(&path).expect_err("no setup");
        let text = error.to_string();
        assert!(text.starts_with(&path.display().to_string()) && text.contains(message), "{text}");
        assert!(error.diagnostics().iter().all(|one| one.way_out.len() > 15), "{text}");
        assert!(error.render(false).contains(message), "{}", error.render(false));
    }
    let good = file("good.toml", EXAMPLE.as_bytes());
    assert_eq!(Setup::load(&good).expect("a setup").path, good.display().to_string());
    fs::remove_dir_all(&folder).expect("the scratch directory goes");
}
