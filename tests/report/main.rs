//! The reports for programs against their schemas.

mod accept;
mod columns;
mod explain;
mod junit;
mod margins;

mod sweep;

use std::io::Cursor;

use boon::{Compiler, Schemas};
use host_harness::replay::{layout, replay};
use host_harness::report::{Report, Reports, json_schema};
use host_harness::setup::Setup;
use host_harness::trace::{Options, Reader};
use monitor_core::{Frame, Instant, Levels, Reading, Sample};
use serde_json::Value;

const SCHEMA: &str = include_str!("../../host-harness/report.schema.json");

const SETUP: &str = r#"
title = "Every entry of the report, invented"
unit  = "mm"
[time]
column = "t"
unit   = "s"
[channel.a]
column         = "a"
counter_bits   = 32
unit_per_count = "0.001 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[channel.b]
column         = "b"
counter_bits   = 32
unit_per_count = "0.001 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[speed]
window = "8 ms"
[discrepancy]
tolerance        = "2 mm"
discrepancy_time = "5 ms"
[speed_discrepancy]
tolerance        = "20 mm/s"
discrepancy_time = "5 ms"
[input.door]
columns          = ["d1", "d2"]
pairing          = "equivalent"
discrepancy_time = "10 ms"
[reset]
column = "reset"
[[monitor]]
name  = "slow"
kind  = "speed-limit"
limit = "150 mm/s"
[[monitor]]
name            = "hold"
kind            = "standstill"
demand          = ["door"]
position_window = "1 mm"
speed_window    = "10 mm/s"
[[monitor]]
name   = "stop"
kind   = "stop"
demand = ["stop"]
until  = "torque-off"
by     = "time"
within = "5 ms"
[[monitor]]
name   = "off"
kind   = "torque-off"
demand = ["off"]
[[monitor]]
name   = "never"
kind   = "torque-off"
demand = ["never"]
"#;

/// Channel b runs at half the speed; lines: d1 alone from 60, stop from 40 to 45, off from 50, reset pulse at 30; no rows 70 to 80.
fn frames(setup: &Setup) -> Vec<Frame> {
    let line = |name: &str| 1_u32 << setup.levels.iter().position(|level| level == name).unwrap();
    (0..100_u64)
        .filter(|k| !(70..80).contains(k))
        .map(|k| {
            let now = Instant::from_nanos(k * 1_000_000 + 250_000);
            let reading = |count| Some(Reading { captured_at: now, sample: Sample::Count(count) });
            let mut levels = 0;
            for (name, high) in
                [("d1", k >= 60), ("stop", (40..45).contains(&k)), ("off", k >= 50), ("reset", k == 30)]
            {
                levels |= if high { line(name) } else { 0 };
            }
            Frame { now, a: reading(k * 200), b: reading(k * 100), levels: Levels::from_bits(levels) }
        })
        .collect()
}

fn report() -> Value {
    let setup = Setup::parse(SETUP, "axis.toml").unwrap();
    let frames = frames(&setup);
    let outcome = replay(&setup, &mut frames.as_slice(), &mut |_| {}).unwrap();
    let report = Report::new(&setup, &outcome, "frames", 0);
    serde_json::from_str(&serde_json::to_string(&report).unwrap()).unwrap()
}

fn valid(document: &Value) -> Result<(), String> {
    let mut schemas = Schemas::new();
    let mut compiler = Compiler::new();
    compiler.add_resource("report.json", serde_json::from_str(SCHEMA).unwrap()).unwrap();
    let schema = compiler.compile("report.json", &mut schemas).unwrap();
    schemas.validate(document, schema).map_err(|error| error.to_string())
}

#[test]
fn the_schema_in_the_repository_is_that_of_the_program() {
    let now: Value = serde_json::to_value(json_schema()).unwrap();
    let kept: Value = serde_json::from_str(SCHEMA).unwrap();
    assert_eq!(
        kept, now,
        "write it anew: cargo run --bin cowitness -- schema > host-harness/report.schema.json"
    );
}

#[test]
fn a_report_with_an_entry_in_every_list_validates_against_the_schema() {
    let report = report();
    for list in ["trips", "faults", "stops", "resets", "monitors", "channels"] {
        assert!(!report[list].as_array().unwrap().is_empty(), "nothing in {list}: {report:#}");
    }
    assert!(!report["trace"]["gaps"].as_array().unwrap().is_empty());
    let kinds: Vec<&str> =
        report["faults"].as_array().unwrap().iter().map(|f| f["kind"].as_str().unwrap()).collect();
    assert!(kinds.contains(&"input") && kinds.contains(&"stale"), "{kinds:?}");
    valid(&report).unwrap();
}

/// Evaluated at every second row; the first line of a torque is marked invalid at 20 ms, and both are apart from 40 ms on.
#[test]
fn an_array_of_reports_as_several_traces_give_it_validates_against_the_schema_and_a_changed_one_does_not() {
    let setup = Setup::parse(SETUP, "axis.toml").unwrap();
    let frames = frames(&setup);
    let outcome = replay(&setup, &mut frames.as_slice(), &mut |_| {}).unwrap();
    let report = Report::new(&setup, &outcome, "frames", 0);
    let one = serde_json::to_value(Reports::One(&report)).unwrap();
    assert!(one.is_object());
    valid(&one).unwrap();
    let several = serde_json::to_value(Reports::Several(vec![&report, &report])).unwrap();
    assert_eq!(several.as_array().map(Vec::len), Some(2));
    valid(&several).unwrap();
    let mut bad = several;
    bad[1]["verdict"] = Value::from("fine");
    assert!(valid(&bad).is_err());
    bad[1] = Value::Null;
    assert!(valid(&bad).is_err());
}

#[test]
fn a_report_on_an_analogue_value_at_a_period_of_its_own_validates_against_the_schema() {
    let torque = r#"
[analogue.torque]
columns          = ["torque_1", "torque_2"]
valid_columns    = ["ok", "always"]
unit             = "Nm"
low              = "-120 Nm"
high             = "120 Nm"
timeout          = "5 ms"
tolerance        = "4 Nm"
discrepancy_time = "6 ms"
"#;
    let text = SETUP.replacen("unit  = \"mm\"", "unit  = \"mm\"\ncycle = \"2 ms\"", 1) + torque;
    let setup = Setup::parse(&text, "axis.toml").unwrap();
    let mut rows = format!("t,a,b,{},torque_1,torque_2,ok,always\n", setup.levels.join(","));
    for k in 0..60 {
        let (ok, second) = (u32::from(k != 20), if k < 40 { 1 } else { 9 });
        let levels = vec!["0"; setup.levels.len()].join(",");
        rows += &format!("0.0{k:02},0,0,{levels},1.5,{second},{ok},1\n");
    }
    let layout = layout(&setup).unwrap();
    let mut reader =
        Reader::from_read("run.csv", Cursor::new(rows.into_bytes()), &layout, Options::default()).unwrap();
    let outcome = replay(&setup, &mut reader, &mut |_| {}).unwrap();
    let report = serde_json::to_value(Report::new(&setup, &outcome, "run.csv", 0)).unwrap();
    let passed_over = &report["trace"]["rows"]["analogues"][0];
    assert_eq!(
        (passed_over["passed_over_a"].as_u64(), passed_over["passed_over_b"].as_u64()),
        (Some(30), Some(30))
    );
    assert_eq!(report["faults"][0]["analogue"].as_str(), Some("torque"), "{report:#}");
    assert_eq!(report["trips"][0]["kind"].as_str(), Some("analogue-discrepancy"), "{report:#}");
    valid(&report).unwrap();
    let mut less = report;
    less["trace"]["rows"]["analogues"][0]["passed_over_b"] = Value::Null;
    assert!(valid(&less).is_err(), "a count is a number");
}

#[test]
fn a_report_with_a_changed_field_does_not_validate() {
    let good = report();
    for (pointer, value) in [
        ("/verdict", Value::from("fine")),
        ("/trips/0/tripped_s", Value::from("soon")),
        ("/trips/0/observed", Value::Null),
        ("/schema", Value::from(-1)),
    ] {
        let mut bad = good.clone();
        *bad.pointer_mut(pointer).unwrap() = value;
        assert!(valid(&bad).is_err(), "{pointer}");
    }
    let mut more = good;
    more["trips"][0]["surprise"] = Value::from(1);
    assert!(valid(&more).is_err(), "an unknown field");
}
