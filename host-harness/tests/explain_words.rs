//! What `cowitness explain` says of a motion that broke a rule: the words fit what happened.

mod explained;
mod program;

use explained::{Bench, axis, explain, head, motion, out};
use program::err;

const STOP: &str = r#"
[input.stop]
columns          = ["stop_1", "stop_2"]
pairing          = "equivalent"
demand           = "low"
filter           = "3 ms"
discrepancy_time = "100 ms"
[[monitor]]
name             = "halt"
kind             = "stop"
demand           = ["stop"]
until            = "torque-off"
by               = "ramp"
ramp             = { delay = "50 ms", deceleration = "2 m/s^2", margin = "50 mm/s" }
standstill_speed = "20 mm/s"
within           = "1 s"
on_delay         = "4 ms"
"#;

const HOLD: &str = r#"
[[monitor]]
name            = "hold"
kind            = "standstill"
demand          = ["here"]
position_window = "1 mm"
speed_window    = "10 mm/s"
on_delay        = "10 ms"
"#;

/// The verdict of a trace in one line.
fn told(bench: &Bench) -> String {
    let output = bench.explain(&[]);
    let head = head(&out(&output));
    assert!(!head.is_empty(), "{}", err(&output));
    head
}

/// A speed of 600 mm/s, from 1.05 s on braked by so many mm/s^2.
fn braked(ms: u32, by: f64) -> f64 {
    (600.0 - by * f64::from(ms.saturating_sub(1050)) / 1000.0).max(0.0)
}

#[test]
fn what_demanded_by_its_lines_before_it_was_faulted_is_not_said_to_have_demanded_by_its_fault() {
    let bench = Bench::new("besides", &format!("{}{STOP}", axis()));
    // Pressed at 1 s; the second line is stuck, which is a fault 0.1 s later.
    let row = |ms| (braked(ms, 1500.0), if ms < 1000 { ",1,1" } else { ",0,1" });
    bench.write("trace.csv", &motion(",stop_1,stop_2", 1800, row));
    let head = told(&bench);
    let braked = head.find("just before it the axis braked at 1500 mm/s^2").expect("the brake");
    let fault = head.find("besides, \"stop\" was faulted at 1.103 s").expect("the fault");
    assert!(braked < fault && !head.contains("demanded by the fault"), "{head}");
    assert!(head.find("look at what brakes") < head.find("repair \"stop\" too"), "{head}");
}

#[test]
fn what_only_a_latched_fault_still_demands_is_said_to_be_demanded_by_it() {
    let bench = Bench::new("latched", &format!("{}{}", axis(), STOP.replace("100 ms", "20 ms")));
    // One line falls for 23 ms and comes back: the fault stays, and the axis goes on.
    let row = |ms| (600.0, if (1000..1023).contains(&ms) { ",0,1" } else { ",1,1" });
    bench.write("trace.csv", &motion(",stop_1,stop_2", 1800, row));
    let output = bench.explain(&["--trip", "1"]);
    let head = head(&out(&output));
    assert!(head.contains("it was demanded by the fault of \"stop\" at 1.023 s"), "{head}{}", err(&output));
}

#[test]
fn a_stop_by_deceleration_that_brakes_too_softly_gets_the_words_of_braking() {
    let by = "by               = \"ramp\"\nramp             = { delay = \"50 ms\", deceleration = \"2 m/s^2\", margin = \"50 mm/s\" }";
    let instead = "by = \"deceleration\"\nbraking = { delay = \"60 ms\", deceleration = \"2 m/s^2\", margin = \"0.5 m/s^2\" }";
    assert!(STOP.contains(by));
    let bench = Bench::new("softly", &format!("{}{}", axis(), STOP.replace(by, instead)));
    let row = |ms| (braked(ms, 1000.0), if ms < 1000 { ",1,1" } else { ",0,0" });
    bench.write("trace.csv", &motion(",stop_1,stop_2", 1800, row));
    let head = told(&bench);
    assert!(head.contains("the stop asks for 2000 mm/s^2 less its margin"), "{head}");
    assert!(head.contains("try look at what brakes the axis"), "{head}");
    assert!(!head.contains("what commanded the motion") && !head.contains("did the stop command"), "{head}");
}

#[test]
fn an_axis_that_does_not_brake_is_said_not_to_and_the_stop_command_is_asked_for_first() {
    let bench = Bench::new("unbraked", &format!("{}{STOP}", axis()));
    // It trembles by a thousandth.
    let row = |ms| (600.0 + f64::from(ms % 3), if ms < 1000 { ",1,1" } else { ",0,0" });
    bench.write("trace.csv", &motion(",stop_1,stop_2", 1800, row));
    let head = told(&bench);
    assert!(head.contains("just before it the axis did not brake, the limit falls at 2000 mm/s^2"), "{head}");
    assert!(head.contains("try did the stop command reach the drive: output, bus, enable"), "{head}");
    assert!(!head.contains("braked at") && !head.contains("got faster"), "{head}");
}

#[test]
fn a_standstill_that_is_demanded_while_the_axis_moves_is_told_with_the_speed_and_no_ramp() {
    let bench = Bench::new("moving", &format!("{}{HOLD}", axis()));
    bench.write("trace.csv", &motion(",here", 1500, |ms| (800.0, if ms < 1000 { ",0" } else { ",1" })));
    let head = told(&bench);
    assert!(
        head.contains("The axis moved when \"hold\" was demanded: 800.0 mm/s where 10.00 mm/s are allowed"),
        "{head}"
    );
    assert!(
        head.contains("demand a stop that brakes first (kind = \"stop\", until = \"standstill\")"),
        "{head}"
    );
    assert!(!head.contains("ramp"), "{head}");
    // Where it moves later, it did not move then.
    let late = |ms| (if ms < 1200 { 0.0 } else { 800.0 }, if ms < 1000 { ",0" } else { ",1" });
    bench.write("trace.csv", &motion(",here", 1500, late));
    let head = told(&bench);
    assert!(
        head.contains("The motion broke \"hold\"") && !head.contains("when \"hold\" was demanded"),
        "{head}"
    );
}

#[test]
fn where_both_saw_it_and_a_discrepancy_tripped_the_channels_are_said_not_to_agree() {
    let setup = format!(
        "{}[[monitor]]\nname = \"slow\"\nkind = \"speed-limit\"\nlimit = \"250 mm/s\"\non_delay = \"4 ms\"\n",
        axis()
    );
    let bench = Bench::new("disagree", &setup);
    let count = |ms: u32| i64::from(ms) * 200 + i64::from(ms.saturating_sub(1000)) * 200;
    // Both are too fast from 1 s on, and the rail tells of a quarter more.
    let rail = |ms: u32| count(ms) + i64::from(ms.saturating_sub(1000)) * 100;
    bench.write("trace.csv", &explained::rows(1200, |ms| (count(ms), rail(ms))));
    let text = out(&bench.explain(&[]));
    let head = head(&text);
    assert!(head.contains("but the channels do not agree on it: \"discrepancy\" tripped at 1.0"), "{head}");
    assert!(head.contains("where 1.000 mm are allowed (trip 3)"), "{head}");
    // Where no rule is there to tell, they are apart all the same.
    let wide = setup.replace("tolerance        = \"1 mm\"", "tolerance        = \"1000 mm\"");
    bench.write("axis.toml", &wide);
    let head = told(&bench);
    assert!(
        head.contains("but the channels do not agree on it: ")
            && head.contains(" mm/s apart, far more than they resolve"),
        "{head}"
    );
    bench.write("trace.csv", &explained::rows(1200, |ms| (count(ms), count(ms))));
    assert!(!told(&bench).contains("do not agree"));
}

#[test]
fn a_violation_after_a_stop_says_that_the_stop_was_complete() {
    let output = explain("every-function-halt", explained::EVERY, &[]);
    let text = out(&output);
    let head = head(&text);
    assert!(
        head.contains("The motion broke \"halt at the gate\" after the stop was complete: 2.020 mm"),
        "{head}"
    );
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains("1.503 -1507.000 the stop is complete: from here on the axis has to stand"),
        "{text}"
    );
    assert!(head.contains("the stop was complete at 1.503 s"), "{head}");
}

#[test]
fn an_axis_that_still_moves_when_the_time_of_its_stop_is_over_is_said_not_to_be_at_rest() {
    let by = "by               = \"ramp\"\nramp             = { delay = \"50 ms\", deceleration = \"2 m/s^2\", margin = \"50 mm/s\" }\nstandstill_speed = \"20 mm/s\"\nwithin           = \"1 s\"";
    let instead =
        "by = \"time\"\nwithin = \"200 ms\"\nposition_window = \"2 mm\"\nspeed_window = \"20 mm/s\"";
    assert!(STOP.contains(by));
    let setup = STOP.replace(by, instead).replace("\"torque-off\"", "\"standstill\"");
    let bench = Bench::new("not-at-rest", &format!("{}{setup}", axis()));
    let row = |ms| (braked(ms, 2000.0), if ms < 1000 { ",1,1" } else { ",0,0" });
    bench.write("trace.csv", &motion(",stop_1,stop_2", 1800, row));
    let head = told(&bench);
    assert!(head.contains("The axis was not at rest when the stop \"halt\" was complete:"), "{head}");
    assert!(head.contains("try look at what brakes the axis"), "{head}");
}

const SLOW: &str =
    "[[monitor]]\nname = \"slow\"\nkind = \"speed-limit\"\nlimit = \"250 mm/s\"\non_delay = \"4 ms\"\n";

/// All of it in one line.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn few_other_trips_and_faults_are_named_with_their_rule_and_time_and_many_are_counted() {
    let bench = Bench::new("also", &format!("{}{SLOW}", axis()));
    bench.write("trace.csv", &motion("", 1200, |ms| (if ms < 1000 { 200.0 } else { 400.0 }, "")));
    let text = flat(&out(&bench.explain(&[])));
    assert!(text.contains("also trip 2: slow (speed-limit) on b at 1.0"), "{text}");
    assert!(text.contains(" s (--trip 2) setup"), "{text}");
    let json = bench.explain(&["--json", "-"]);
    let value: serde_json::Value = serde_json::from_slice(&json.stdout).expect("JSON");
    let others = value["explained"]["others"].as_array().expect("a list");
    assert_eq!(
        (others.len(), others[0]["number"].as_u64(), &others[0]["channel"]),
        (1, Some(2), &"b".into())
    );
    let bench = Bench::new("also-many", &format!("{}{SLOW}[reset]\ncolumn = \"reset\"\n", axis()));
    let row = |ms| match ms % 200 {
        50..80 => (400.0, ",0"),
        150..160 => (100.0, ",1"),
        _ => (100.0, ",0"),
    };
    bench.write("trace.csv", &motion(",reset", 1000, row));
    let text = flat(&out(&bench.explain(&[])));
    assert!(text.contains("also 9 trips (--trip N) setup"), "{text}");
}

#[test]
fn an_axis_that_is_too_fast_when_a_limit_is_demanded_needs_no_window_to_be_seen() {
    let took = |name: &str, speed: fn(u32) -> f64| {
        let setup = format!("{}{}", axis(), SLOW.replace("limit =", "demand = [\"door\"]\nlimit ="));
        let bench = Bench::new(name, &setup);
        bench.write(
            "trace.csv",
            &motion(",door", 1500, |ms| (speed(ms), if ms < 1000 { ",0" } else { ",1" })),
        );
        let output = bench.explain(&["--json", "-"]);
        let value: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
        let parts = value["reaction"].as_array().expect("parts").clone();
        let half = parts.iter().find(|part| part["part"] == "half the window of the speed").expect("a part");
        half["took_s"].as_f64()
    };
    assert_eq!(took("before", |_| 400.0), None);
    assert_eq!(took("later", |ms| if ms < 1200 { 200.0 } else { 400.0 }), Some(0.004));
}

#[test]
fn a_limit_on_the_speed_backwards_is_told_as_a_limit() {
    let each = SLOW.replace("limit = \"250 mm/s\"", "positive = \"500 mm/s\"\nnegative = \"250 mm/s\"");
    let bench = Bench::new("backwards", &format!("{}{each}", axis()));
    bench.write("trace.csv", &motion("", 1200, |ms| (if ms < 1000 { -200.0 } else { -400.0 }, "")));
    let head = told(&bench);
    assert!(
        head.contains("mm/s backwards where 250.0 mm/s are allowed") && !head.contains("at least"),
        "{head}"
    );
}

#[test]
fn times_around_a_trip_have_three_places_and_a_fault_of_an_input_says_what_it_is() {
    let output = explain("door-contact-sticks", explained::SHUTTLE, &[]);
    let text = out(&output);
    let story = text.split_once("ms from it\n").expect("a story").1.split_once("\n\n").expect("its end").0;
    let mut times = 0;
    for line in story.lines().filter(|line| !line.starts_with("             ")) {
        let after = line.split_whitespace().nth(1).expect("a time");
        let places = after.split_once('.').expect("a point").1;
        assert_eq!(places.len(), 3, "{line}");
        times += 1;
    }
    assert!(times > 5, "{story}");
    assert!(story.contains("-4.625  a  goes beyond the limit"), "{story}");
    assert!(story.contains("input door: faulted; that lasts until a"), "{story}");
    assert!(flat(&text).contains("fault 1: input door at 2.503 s (--fault 1)"), "{text}");
}

#[test]
fn a_silence_is_told_with_its_length_beside_that_of_the_fault() {
    let setup = format!("{}{SLOW}", axis()).replace("\"rail\"", "\"rail\"\nsparse = true");
    let bench = Bench::new("silence", &setup);
    // The rail is silent from 0.5 s, its last reading, to 0.511 s.
    let mut text = "time,motor,rail\n".to_owned();
    for ms in 0..1000 {
        let rail = if (501..511).contains(&ms) { String::new() } else { (ms * 100).to_string() };
        text += &format!("0.{ms:03},{},{rail}\n", ms * 100);
    }
    bench.write("trace.csv", &text);
    let head = told(&bench);
    assert!(head.contains("the fault lasted 5.000 ms, no reading came for 11.00 ms"), "{head}");
}

#[test]
fn a_fault_that_comes_again_and_again_is_told_as_the_first_of_so_many() {
    let bench = Bench::new("again", &format!("{}{SLOW}", axis()));
    // The rail jumps by 4 mm for one reading in twenty.
    let rail = |ms: u32| i64::from(ms) * 100 + if ms % 20 == 10 { 4000 } else { 0 };
    bench.write("trace.csv", &explained::rows(800, |ms| (i64::from(ms) * 100, rail(ms))));
    let head = told(&bench);
    assert!(head.contains(" It is the first of ") && head.contains(" faults of that kind."), "{head}");
    bench.write("trace.csv", &explained::rows(100, |ms| (i64::from(ms) * 100, rail(ms))));
    let head = told(&bench);
    assert!(head.starts_with("RIGHT") && !head.contains("faults of that kind"), "{head}");
}

#[test]
fn rows_that_are_all_further_apart_than_a_timeout_put_the_unit_of_the_time_in_question() {
    let bench = Bench::new("unit", &format!("cycle = \"1 ms\"\n{}{SLOW}", axis()));
    let rows = explained::rows(300, |ms| (i64::from(ms) * 100, i64::from(ms) * 100));
    bench.write("trace.csv", &rows);
    assert!(!told(&bench).contains("`unit` of [time]"));
    // Milliseconds in a column that the setup takes for seconds.
    let mut text = "time,motor,rail\n".to_owned();
    for ms in 0..300 {
        text += &format!("{ms},{0},{0}\n", ms * 100);
    }
    bench.write("trace.csv", &text);
    let head = told(&bench);
    assert!(head.contains("up to 1000 ms, where the timeout is 4.000 ms"), "{head}");
    assert!(head.contains("try look at `unit` of [time] in the setup first"), "{head}");
}
