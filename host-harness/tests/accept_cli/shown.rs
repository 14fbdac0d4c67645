//! What a trial counts as shown: only what the trace saw begin, at work, and to its end.

use std::fs;

use serde_json::Value;

use crate::bench::{Bench, PLANNED, SETUP, check, fast, rows, slow};
use crate::program::{cowitness, err, out};

/// A trial of another monitor, whatever else happens.
fn of(monitor: &str, more: &str) -> String {
    let other = format!("monitor = \"{monitor}\"");
    slow(&format!("allow_others = true\n{more}")).replace("monitor = \"slow\"", &other)
}

/// The gate open from the first row on.
fn open(rows: &str) -> String {
    rows.replace(",0\n", ",1\n")
}

fn is_passed(report: &Value) -> bool {
    report["trials"][0]["result"] == "passed"
}

#[test]
fn a_rule_that_must_not_trip_has_to_be_at_work_in_the_time_of_the_trial() {
    let bench = Bench::new("window");
    bench.write("calm.csv", &rows(|_| (100, 100)));
    let trial =
        |window: &str| slow(&format!("nothing_trips = true\n{window}")).replace("fast.csv", "calm.csv");
    // The gate opens at 50 ms.
    for (window, passes) in [
        ("from = \"0.1 s\"\nto = \"0.2 s\"", true),
        ("from = \"0.01 s\"\nto = \"0.05 s\"", true),
        ("from = \"0.01 s\"\nto = \"0.04 s\"", false),
    ] {
        let report = bench.report(&trial(window));
        assert_eq!(is_passed(&report), passes, "{window}: {report:#}");
        assert_eq!(check(&report, "is active").is_null(), passes, "{window}");
    }
}

#[test]
fn a_time_from_a_demand_that_is_there_from_the_first_frame_on_is_not_known() {
    let bench = Bench::new("first-frame");
    bench.write("axis.toml", &format!("{SETUP}{PLANNED}"));
    bench.write("open.csv", &open(&fast()));
    for (trial, of_demand) in [
        (of("slow", "within = \"20 ms\""), false),
        (of("slow", "within = \"1 s\"\nwithin_of = \"demand\""), true),
        (of("halt", "completes = true\nwithin = \"25 ms\""), true),
        (of("halt", "completes = true"), true),
    ] {
        let begins = bench.report(&trial);
        assert!(is_passed(&begins), "{begins:#}");
        let report = bench.report(&trial.replace("fast.csv", "open.csv"));
        let begin = check(&report, "the demand begin");
        assert_eq!(begin["met"] == false, of_demand, "{trial}: {report:#}");
        assert!(!of_demand || begin["note"] == "the demand of 0.0 s does not begin in this trace", "{begin}");
        assert!(!is_passed(&report) || !of_demand);
    }
}

#[test]
fn torque_off_withdraws_nothing_where_there_is_no_permit() {
    let bench = Bench::new("no-permit");
    bench.write("axis.toml", &format!("{SETUP}{PLANNED}"));
    bench.write("open.csv", &open(&fast()));
    let trial = of("off", "completes = true");
    assert!(is_passed(&bench.report(&trial)));
    let report = bench.report(&trial.replace("fast.csv", "open.csv"));
    let made = check(&report, "withdraws the permit");
    assert_eq!(
        (&made["met"], &made["note"]),
        (&false.into(), &"demanded at 0.0 s, when there was no permit".into())
    );
    // A rule that trips at once takes it before the gate opens.
    let first = "[[monitor]]\nname = \"any\"\nkind = \"speed-limit\"\nlimit = \"50 mm/s\"\n";
    bench.write("axis.toml", &format!("{SETUP}{PLANNED}{first}"));
    let report = bench.report(&trial);
    let made = check(&report, "withdraws the permit");
    assert_eq!(made["note"], "demanded at 0.05 s, when there was no permit", "{report:#}");
    assert!(!is_passed(&report));
}

#[test]
fn a_trip_before_any_permit_was_given_fails_its_trial() {
    let bench = Bench::new("never-given");
    // Too fast as soon as its speed is known.
    let first = "[[monitor]]\nname = \"any\"\nkind = \"speed-limit\"\nlimit = \"50 mm/s\"\n";
    bench.write("axis.toml", &format!("{SETUP}{first}"));
    let report = bench.report(&of("any", ""));
    let made = check(&report, "permit");
    assert_eq!((&made["met"], &made["note"]), (&false.into(), &"it had not been given".into()), "{report:#}");
    assert!(!is_passed(&report));
    // A stop of both channels says it once.
    let first = format!("{SETUP}{PLANNED}{first}");
    bench.write("axis.toml", &first);
    let report = bench.report(&of("halt", "completes = true"));
    let checks = report["trials"][0]["checks"].as_array().expect("checks");
    assert_eq!(checks.iter().filter(|check| check["what"] == "permit").count(), 1, "{report:#}");
}

#[test]
fn an_output_that_is_there_as_soon_as_it_sees_anything_has_not_turned() {
    let bench = Bench::new("turned");
    bench.write("axis.toml", &format!("{SETUP}{PLANNED}"));
    bench.write("calm.csv", &rows(|_| (100, 100)));
    let trial = of("slow enough", "turns = \"on\"");
    let report = bench.report(&trial.replace("fast.csv", "calm.csv"));
    let made = check(&report, "turns on");
    assert_eq!(made["met"], false, "{report:#}");
    assert!(
        made["note"].as_str().is_some_and(|note| note.starts_with("only as it sees anything first")),
        "{made}"
    );
    // In the fast run it turns off at 200 ms, and on again as the axis comes to rest.
    let report = bench.report(&trial);
    let made = check(&report, "turns on");
    assert!(is_passed(&report) && made["at_s"].as_f64() > Some(0.3), "{made}");
}

#[test]
fn an_axis_that_nobody_sees_any_more_is_not_at_rest() {
    let bench = Bench::new("unseen");
    bench.write("axis.toml", &SETUP.replace("column         = \"rail\"", "sparse = true\ncolumn = \"rail\""));
    let trial = slow("allow_others = true\nrest = { within = \"1 s\", speed = \"1 mm/s\" }");
    assert_eq!(check(&bench.report(&trial), "to rest")["met"], true);
    let blind: Vec<String> = (fast().lines())
        .map(|row| match row.split(',').collect::<Vec<_>>()[..] {
            [time, motor, _, gate] if time >= "0.330" && time != "time" => {
                format!("{time},{motor},,{gate}\n")
            }
            _ => format!("{row}\n"),
        })
        .collect();
    bench.write("fast.csv", &blind.concat());
    let report = bench.report(&trial);
    assert_eq!(check(&report, "to rest")["note"], "it does not come to rest in this trace", "{report:#}");
}

#[test]
fn a_gap_in_the_time_of_a_trial_fails_it() {
    let bench = Bench::new("gap");
    let rows: Vec<_> = fast().lines().map(str::to_owned).collect();
    // The rows of 100 to 109 ms are missing.
    bench.write("fast.csv", &([&rows[..101], &rows[111..]].concat().join("\n") + "\n"));
    let report = bench.report(&slow("allow_others = true"));
    let gap = check(&report, "the trace has no gap");
    assert_eq!(
        (&gap["met"], &gap["note"]),
        (&false.into(), &"nothing from 0.099 s to 0.11 s".into()),
        "{report:#}"
    );
    assert!(!is_passed(&report));
    let report = bench.report(&slow("allow_others = true\nfrom = \"0.15 s\""));
    assert!(is_passed(&report) && check(&report, "the trace has no gap").is_null(), "{report:#}");
}

#[test]
fn a_plan_is_named_by_the_bytes_of_its_file_and_read_as_utf_8() {
    let bench = Bench::new("bytes");
    let plan = format!("\u{feff}title = \"Slide\"\nsetup = \"axis.toml\"\n{}", slow(""));
    bench.write("plan.toml", &plan);
    let output = cowitness(&["accept", &bench.path("plan.toml"), "--json", "-"]);
    let report: Value = serde_json::from_str(out(&output)).expect("JSON");
    assert_eq!(report["plan"]["bytes"], plan.len(), "{report:#}");
    fs::write(bench.0.join("plan.toml"), b"title = \"S\nm\xffde\"\n").expect("a file");
    let output = cowitness(&["accept", &bench.path("plan.toml")]);
    assert_eq!(output.status.code(), Some(2));
    assert!(err(&output).contains("not UTF-8 text: byte 0xFF at line 2, column 2"), "{}", err(&output));
}
