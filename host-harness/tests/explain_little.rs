//! What `cowitness explain` says of traces that tell little: cut off, too short, with rows left out; and of analogue values.

mod explained;
mod program;

use explained::{Bench, SETUP, head, motion, out};
use program::err;

/// The verdict in one line of a trace that is no violation.
fn quiet(bench: &Bench, more: &[&str]) -> String {
    let output = bench.explain(more);
    assert_eq!(output.status.code(), Some(0), "{}{}", out(&output), err(&output));
    head(&out(&output))
}

#[test]
fn a_trace_that_ends_within_a_violation_says_of_which_rule_and_how_long_before_it_would_trip() {
    let bench = Bench::new("ends", SETUP);
    let run = |ms| (if ms < 500 { 200.0 } else { 400.0 }, "");
    let whole = motion("", 600, run);
    bench.write("trace.csv", &whole);
    let tripped = out(&bench.explain(&["--json", "-"]));
    let value: serde_json::Value = serde_json::from_str(&tripped).expect("JSON");
    let at = value["explained"]["at_s"].as_f64().expect("a trip");
    // One line of names, and the rows from 0 on up to one so many ms before the trip.
    let cut = |before: usize| {
        let many = (at * 1000.0).round() as usize + 1 - before;
        let lines: Vec<&str> = whole.lines().take(1 + many).collect();
        bench.write("trace.csv", &(lines.join("\n") + "\n"));
    };
    // The on-delay is 4 ms: before that nothing is beyond.
    for before in 1..=4 {
        cut(before);
        let head = quiet(&bench, &[]);
        assert!(head.starts_with("UNDECIDED"), "{head}");
        let ends = format!(
            "The trace ends while \"slow\" is beyond its limit, {before}.000 ms before it would trip."
        );
        assert!(head.contains(&ends), "{head}");
    }
    cut(5);
    assert!(quiet(&bench, &[]).starts_with("CLEAR"));
    cut(1);
    let value: serde_json::Value =
        serde_json::from_slice(&bench.explain(&["--json", "-"]).stdout).expect("JSON");
    assert_eq!(value["verdict"]["unsure"][0]["because"], "ends-beyond", "{}", value["verdict"]);
}

#[test]
fn channels_that_are_too_far_apart_at_the_end_are_told_of_too() {
    let bench = Bench::new("ends-apart", SETUP);
    // The rail loses 0.5 mm per ms from 0.5 s on: beyond 1 mm in the third frame, 5 ms before a trip.
    let rail = |ms: u32| i64::from(ms) * 100 - i64::from(ms.saturating_sub(499)) * 500;
    bench.write("trace.csv", &explained::rows(504, |ms| (i64::from(ms) * 100, rail(ms))));
    let head = quiet(&bench, &[]);
    assert!(head.starts_with("UNDECIDED"), "{head}");
    assert!(head.contains("ends while \"discrepancy\" is beyond its limit, "), "{head}");
}

#[test]
fn a_trace_in_which_the_permit_was_never_given_is_not_clear() {
    let bench = Bench::new("never", SETUP);
    for rows in [1, 3] {
        bench.write("trace.csv", &motion("", rows, |_| (100.0, "")));
        let head = quiet(&bench, &[]);
        assert!(head.starts_with("UNDECIDED"), "{head}");
        assert!(head.contains("The permit was never given, so nothing is known"), "{head}");
    }
    bench.write("axis.toml", &SETUP.replace("window = \"8 ms\"", "window = \"8 ms\"\nwarm_up = \"permit\""));
    let head = quiet(&bench, &[]);
    assert!(head.starts_with("UNDECIDED") && head.contains("The trace is too short for a speed"), "{head}");
}

#[test]
fn a_rule_that_was_beyond_its_limit_by_a_hair_is_not_said_to_be_so_by_nothing() {
    let bench = Bench::new("hair", SETUP);
    // 250.5 mm/s for 10 ms: over the window of 8 ms that is beyond 250 mm/s for 3 frames or so.
    bench.write(
        "trace.csv",
        &motion("", 800, |ms| (if (500..510).contains(&ms) { 250.5 } else { 200.0 }, "")),
    );
    let text = out(&bench.explain(&[]));
    let head = head(&text);
    assert!(head.contains("\"slow\" was beyond its limit by less than 1 %, never long enough"), "{text}");
    assert!(text.contains("> -1 %") && !text.contains("-0 %"), "{text}");
}

#[test]
fn rows_that_were_left_out_are_counted_in_the_first_lines_and_nothing_is_clear() {
    let bench = Bench::new("left-out", SETUP);
    let bad = |text: &str, many: usize| {
        let lines = text.lines().enumerate();
        let lines = lines.map(|(place, line)| {
            if (201..201 + many).contains(&place) { "0.2,x,y".to_owned() } else { line.to_owned() }
        });
        lines.collect::<Vec<_>>().join("\n") + "\n"
    };
    let calm = motion("", 400, |_| (100.0, ""));
    bench.write("trace.csv", &bad(&calm, 2));
    let head = quiet(&bench, &["--skip-bad"]);
    assert!(head.starts_with("UNDECIDED"), "{head}");
    assert!(head.contains("2 rows were left out as bad, and the motion there is not known."), "{head}");
    let json = bench.explain(&["--skip-bad", "--json", "-"]);
    let value: serde_json::Value = serde_json::from_slice(&json.stdout).expect("JSON");
    assert_eq!(value["trace"]["skipped_rows"], 2);
    assert_eq!(value["verdict"]["unsure"][0]["rows"], 2);
    bench.write("trace.csv", &bad(&calm, 0));
    assert!(quiet(&bench, &["--skip-bad"]).starts_with("CLEAR"));
    // With a trip it is the first reason.
    let fast = motion("", 800, |ms| (if ms < 500 { 200.0 } else { 400.0 }, ""));
    bench.write("trace.csv", &bad(&fast, 1));
    let text = out(&bench.explain(&["--skip-bad"]));
    let first = text.lines().find(|line| line.starts_with("  why  ")).expect("a reason");
    assert_eq!(first, "  why  1 row was left out as bad; the motion there is not known", "{text}");
}

#[test]
fn a_name_that_is_too_long_for_its_column_is_not_cut() {
    let name = "slow while a hand can be near the belt";
    let bench = Bench::new("long-name", &SETUP.replace("\"slow\"", &format!("\"{name}\"")));
    bench.write("trace.csv", &motion("", 400, |_| (100.0, "")));
    let text = out(&bench.explain(&[]));
    assert!(text.contains(&format!("\n  {name}\n")), "{text}");
}

const LINES: &str = r#"
[analogue.torque]
columns          = ["torque_1", "torque_2"]
unit             = "Nm"
low              = "-25 Nm"
high             = "25 Nm"
timeout          = "4 ms"
tolerance        = "1.5 Nm"
discrepancy_time = "20 ms"
[[monitor]]
name     = "gentle"
kind     = "torque-limit"
of       = "torque"
limit    = "10 Nm"
on_delay = "10 ms"
"#;

/// Rows of an axis that stands, with what both lines of the torque show.
fn torque(many: u32, lines: impl Fn(u32) -> (f64, f64)) -> String {
    let mut text = "time,motor,rail,torque_1,torque_2\n".to_owned();
    for ms in 0..many {
        let (a, b) = lines(ms);
        text += &format!("0.{ms:03},0,0,{a:.3},{b:.3}\n");
    }
    text
}

#[test]
fn lines_that_come_apart_in_one_step_are_told_with_that_step_and_both_values() {
    let bench = Bench::new("lines", &format!("{SETUP}{LINES}"));
    bench.write("trace.csv", &torque(600, |ms| (2.0, if ms < 500 { 2.0 } else { 5.0 })));
    let text = out(&bench.explain(&[]));
    assert!(
        text.contains("0.5       -20.000     goes beyond the limit in one step: from 0.0000 to"),
        "{text}"
    );
    assert!(text.contains("both lines at 0.52 s"), "{text}");
    let value = text.lines().find(|line| line.starts_with("  value then, Nm")).expect("a row");
    assert_eq!(value.split_whitespace().skip(3).collect::<Vec<_>>(), ["2.000", "5.000", "-3.000"]);
    // What runs into it is beyond between two frames.
    bench.write("trace.csv", &torque(800, |ms| (2.0, 2.0 + f64::from(ms.saturating_sub(500)) * 0.04)));
    let text = out(&bench.explain(&[]));
    assert!(!text.contains("in one step") && text.contains("goes beyond the limit"), "{text}");
}

#[test]
fn a_line_that_shows_what_cannot_be_is_told_with_what_the_other_shows() {
    let bench = Bench::new("range", &format!("{SETUP}{LINES}"));
    bench.write("trace.csv", &torque(600, |ms| (2.0, if ms < 500 { 2.0 } else { 28.0 })));
    let text = out(&bench.explain(&[]));
    assert!(text.contains("Line b of torque showed 28.0000 Nm"), "{text}");
    let value = text.lines().find(|line| line.starts_with("  value then, Nm")).expect("a row");
    assert_eq!(value.split_whitespace().skip(3).collect::<Vec<_>>(), ["2.000", "28.00", "-26.00"]);
    assert!(text.contains("What each line says") && !text.contains("speed then"), "{text}");
}

#[test]
fn a_trip_of_an_analogue_value_is_told_of_its_line() {
    let bench = Bench::new("of-line", &format!("{SETUP}{LINES}"));
    bench.write("trace.csv", &torque(600, |ms| if ms < 500 { (2.0, 2.0) } else { (12.0, 12.0) }));
    let text = out(&bench.explain(&[]));
    assert!(text.contains("gentle (torque-limit), line a at 0.51 s"), "{text}");
    assert!(head(&text).contains("why line b came to the same verdict"), "{text}");
    assert!(text.contains("in one step: from 2.0000 to\n"), "{text}");
    // A line that shows every third row what it had moved by meanwhile runs into it all the same.
    let held = |ms: u32| 7.0 + f64::from(ms / 3) * 0.03;
    bench.write("trace.csv", &torque(600, |ms| (held(ms), held(ms))));
    let text = out(&bench.explain(&[]));
    assert!(text.starts_with("RIGHT") && !text.contains("in one step"), "{text}");
    // One line alone, by less than what they may be apart by: nobody speaks of a channel.
    bench.write("trace.csv", &torque(600, |ms| if ms < 500 { (9.8, 9.8) } else { (10.2, 9.9) }));
    let head = head(&out(&bench.explain(&[])));
    assert!(head.contains("on line a, and within it on the other") && !head.contains("channel"), "{head}");
}

#[test]
fn a_trip_after_a_planned_withdrawal_is_explained_once_on_a_page() {
    let stop = "[input.stop]\ncolumns = [\"stop\"]\n[[monitor]]\nname = \"off\"\nkind = \"torque-off\"\ndemand = [\"stop\"]\n";
    let bench = Bench::new("planned-first", &format!("{SETUP}{stop}"));
    let run = |ms| (if ms < 600 { 200.0 } else { 400.0 }, if (100..200).contains(&ms) { ",1" } else { ",0" });
    bench.write("trace.csv", &motion(",stop", 900, run));
    let json = out(&bench.explain(&["--html", "page.html", "--json", "-"]));
    let value: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(value["explained"]["what"], "trip", "{json}");
    let page = std::fs::read_to_string(bench.0.join("page.html")).expect("the page");
    assert_eq!(page.matches("(of trip 1)").count(), 1);
    assert!(!page.contains("The permit went again"));
}
