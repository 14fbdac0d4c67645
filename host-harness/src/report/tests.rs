//! What both reports say about a trace.

use std::io::Cursor;

use crate::replay::{layout, replay};
use crate::setup::Setup;
use crate::trace::{Options, Reader};

use super::{Report, text};

const SETUP: &str = r#"
title = "Two scales"
unit = "mm"
time = { column = "t", unit = "s" }
[channel.a]
column = "a"
column_unit = "m"
sparse = true
max_speed = "5 m/s"
timeout = "150 ms"
[channel.b]
column = "b"
counter_bits = 16
unit_per_count = "0.1 mm"
sparse = true
max_speed = "5 m/s"
timeout = "150 ms"
[speed]
window = "100 ms"
[discrepancy]
tolerance = "1 mm"
discrepancy_time = "0 ms"
[speed_discrepancy]
tolerance = "5 mm/s"
discrepancy_time = "0 ms"
"#;

fn replayed(rows: &str) -> (String, serde_json::Value, Report) {
    replayed_with("", rows)
}

/// With something more in the setup.
fn replayed_with(more: &str, rows: &str) -> (String, serde_json::Value, Report) {
    let setup = Setup::parse(&format!("{SETUP}{more}"), "axis.toml").unwrap();
    let layout = layout(&setup).unwrap();
    let options = Options { skip_bad: false };
    let rows = Cursor::new(rows.as_bytes().to_vec());
    let mut reader = Reader::from_read("run.csv", rows, &layout, options).unwrap();
    let outcome = replay(&setup, &mut reader, &mut |_| {}).unwrap();
    let report = Report::new(&setup, &outcome, "run.csv", 0);
    (text(&setup, &outcome, "run.csv", 0), serde_json::to_value(&report).unwrap(), report)
}

#[test]
fn a_faulted_reading_is_shown_as_its_source_meant_it() {
    let (text, json, _) = replayed("t,a,b\n1,-1.25,65535\n1.2,-1.25,65534\n");
    assert!(text.contains("      reading -1250.0000 mm, captured 1.2 s\n"), "{text}");
    assert!(text.contains("      reading 65534, captured 1.2 s\n"), "{text}");
    let readings: Vec<_> = (0..2).map(|i| &json["faults"][i]["reading"]).collect();
    assert_eq!(readings[0]["position"].as_f64(), Some(-1250.0));
    assert!(readings[0]["count"].is_null());
    assert_eq!(readings[1]["count"].as_u64(), Some(65_534));
    assert!(readings[1]["position"].is_null());
}

#[test]
fn a_discrepancy_that_was_never_compared_is_called_so() {
    // When b delivers at last, a has become stale.
    let (text, json, _) = replayed("t,a,b\n1,0.5,\n1.2,,7\n");
    assert!(text.contains("Position discrepancy: never compared"), "{text}");
    assert!(text.contains("Speed discrepancy: never compared"), "{text}");
    assert!(json["discrepancy"]["largest"].is_null());
    let (text, ..) = replayed("t,a,b\n1,0.5,7\n1.01,0.5,7\n");
    assert!(!text.contains("Position discrepancy: never compared"), "{text}");
}

#[test]
fn a_missed_verdict_is_named_as_the_file_of_expectations_names_it() {
    let (text, _, report) = replayed("t,a,b\n1,0.5,7\n1.01,0.5,7\n");
    assert!(text.starts_with("CLEAR"), "{text}");
    let expectations: crate::expect::Expectations = toml::from_str("verdict = \"tripped\"").unwrap();
    let misses: Vec<_> = expectations.misses(&report).iter().map(ToString::to_string).collect();
    assert_eq!(misses, ["the verdict is clear, expected tripped"]);
}

#[test]
fn the_strictest_limits_are_listed_in_lines_of_80_columns() {
    let monitors = r#"
[[monitor]]
name = "slow while the service door of the kiln is open"
kind = "speed-limit"
demand = ["door"]
limit = "1 m/s"
[[monitor]]
name = "slow while somebody is on the bridge"
kind = "speed-limit"
demand = ["bridge"]
limit = "1.5 m/s"
[[monitor]]
name = "rails"
kind = "speed-limit"
limit = "2 m/s"
"#;
    let row = |i: u32| {
        let (door, bridge) = (u32::from((20..40).contains(&i)), u32::from((50..80).contains(&i)));
        format!("{}.{:02},0,0,{door},{bridge}\n", i / 100, i % 100)
    };
    let rows: String = std::iter::once("t,a,b,door,bridge\n".to_owned()).chain((0..100).map(row)).collect();
    let (text, ..) = replayed_with(monitors, &rows);
    let listed = "  strictest limit on the speed of a:\n        \
                  \"slow while the service door of the kiln is open\" for 0.2 s,\n        \
                  \"slow while somebody is on the bridge\" for 0.3 s, \"rails\" for 0.49 s\n";
    assert!(text.contains(listed), "{text}");
}

#[test]
fn the_table_of_headrooms_is_aligned_in_80_columns_whatever_the_names_and_the_clock() {
    use unicode_width::UnicodeWidthStr;
    let names = [
        "\u{5F00}\u{95E8}\u{65F6}\u{7684}\u{9650}\u{901F}\u{76D1}\u{63A7}\u{5BF9}\u{6E29}\u{5EA6}\u{4F20}\u{611F}\u{5668}\u{7684}\u{68C0}\u{67E5}\u{9879}\u{76EE}",
        "slow",
        "\u{1F6D1} stop",
        "a name of more than thirty-four columns",
    ];
    let monitors: String = (names.iter())
        .map(|name| format!("[[monitor]]\nname = {name:?}\nkind = \"speed-limit\"\nlimit = \"250 mm/s\"\n"))
        .collect();
    for (clock, least) in [(1_u64, 34), (1_700_000_000, 12)] {
        let row = |k: u64| format!("{clock}.{:09},0.{k:03},{}\n", 123_456_789 + k * 50_000_000, 10 * k);
        let rows: String = (0..8).map(row).collect();
        let (text, ..) = replayed_with(&monitors, &format!("t,a,b\n{rows}"));
        let (_, table) = text.split_once("Smallest headroom of each monitor\n").unwrap();
        let lines: Vec<&str> = table.lines().take(9).collect();
        for line in &lines {
            assert!(line.width() <= 80 && line.width() == lines[0].width(), "{}: {line}", line.width());
        }
        assert!(lines[1].contains("..."), "what is cut off is not passed over: {text}");
        assert!(lines[3].starts_with(&format!("  slow{}", " ".repeat(least - 4))), "{text}");
    }
}
