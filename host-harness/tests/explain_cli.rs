//! `cowitness explain` as a user meets it.

mod explained;
mod program;

use std::fmt::Write as _;
use std::path::Path;

use explained::{Bench, CLAMP, EVERY, SETUP, SHUTTLE, explain, head, out, rows};
use program::{cowitness, err};

#[test]
fn a_motion_that_both_channels_saw_is_said_to_be_one() {
    let output = explain("overspeed-door-open", SHUTTLE, &[]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    let text = out(&output);
    let head = head(&text);
    assert!(head.starts_with("RIGHT"), "{head}");
    assert!(head.contains("256.7 mm/s where 250.0 mm/s are allowed; both channels saw it"), "{head}");
    assert!(head.contains("channel b came to the same verdict by itself"), "{head}");
    for part in [
        "door demands it",
        "goes beyond the limit between 3.074 s",
        "the permit goes",
        "at rest 180.0 ms after",
    ] {
        assert!(text.split_whitespace().collect::<Vec<_>>().join(" ").contains(part), "{part}: {text}");
    }
}

#[test]
fn a_brake_that_is_too_weak_is_told_with_what_it_does_and_what_the_line_asks_for() {
    let text = out(&explain("soft-braking", SHUTTLE, &[]));
    let head = head(&text);
    assert!(head.contains("the axis braked at 1166 mm/s^2, the limit falls at 2000 mm/s^2"), "{head}");
}

#[test]
fn the_first_lines_fit_a_screen_and_every_line_but_the_caution_80_columns() {
    for (name, setup) in [
        ("overspeed-door-open", SHUTTLE),
        ("belt-slip", SHUTTLE),
        ("motor-encoder-sticks", SHUTTLE),
        ("creep-at-loading", SHUTTLE),
        ("rail-cable-fault", SHUTTLE),
        ("door-contact-sticks", SHUTTLE),
        ("clean-run", SHUTTLE),
        ("rail-channel-always-late", SHUTTLE),
        ("worn-measuring-wheel", SHUTTLE),
        ("loose-coupling", SHUTTLE),
        ("every-function-lost-reference", EVERY),
        ("stack-clamp-lines-apart", CLAMP),
    ] {
        let text = out(&explain(name, setup, &[]));
        let body = text.split("\nA reference and an analysis aid").next().expect("a text");
        for line in body.lines().skip(1) {
            assert!(line.chars().count() <= 80, "{name}: {line}");
        }
        assert!(body.lines().take_while(|line| !line.is_empty()).count() <= 12, "{name}: {body}");
    }
}

#[test]
fn a_contact_that_did_not_follow_is_named_with_its_level() {
    let output = explain("door-contact-sticks", SHUTTLE, &["--fault", "1"]);
    let head = head(&out(&output));
    assert!(head.contains("disagree: door_2 changed at 2.0 s, door_1 stayed high"), "{head}");
}

#[test]
fn a_demand_by_a_latched_fault_is_told_with_the_fault() {
    let head = head(&out(&explain("door-contact-sticks", SHUTTLE, &[])));
    assert!(head.contains("it was demanded by the fault of \"door\" at 2.503 s"), "{head}");
}

#[test]
fn what_goes_on_beyond_its_limit_after_the_trip_is_told_with_how_far() {
    // The drive goes on to 12 Nm: to take the permit is all that a monitor can do.
    let text = out(&explain("stack-clamp-hand", "stack-clamp.setup.toml", &[]));
    assert!(text.contains("a  goes on beyond the limit, to 12.02"), "{text}");
    let head = self::head(&text);
    assert!(head.contains("after the permit went it went on until about 2.9"), "{head}");
    assert!(head.contains(" s, to 12.02 Nm: did the torque go?"), "{head}");
    let head = self::head(&out(&explain("creep-at-loading", SHUTTLE, &[])));
    assert!(head.contains("it kept its speed for 7") && head.contains("does anything brake?"), "{head}");
    // One that brakes goes on for a while, what is hot stays so, and a clamp that lets go is what it is without torque.
    let quiet = [
        ("weak-emergency-stop", SHUTTLE),
        ("every-function-step", "every-function.setup.toml"),
        ("every-function-controlled-stop", "every-function.setup.toml"),
        ("stack-clamp-hot", "stack-clamp.setup.toml"),
        ("stack-clamp-loose", "stack-clamp.setup.toml"),
    ];
    for (demo, setup) in quiet {
        let text = out(&explain(demo, setup, &[]));
        assert!(text.starts_with("RIGHT") && !text.contains("did the torque go"), "{text}");
    }
    let text = out(&explain("door-contact-sticks", SHUTTLE, &[]));
    assert!(self::head(&text).contains("it got faster for 56.00 ms more after the permit went"), "{text}");
}

#[test]
fn a_trip_that_was_decided_by_a_way_is_told_with_the_speed() {
    let text = out(&explain("every-function-setting-up-overrun", "every-function.setup.toml", &[]));
    let head = head(&text);
    assert!(head.contains("its speed was 337.9 mm/s then, where 250.0 mm/s are allowed"), "{head}");
    assert!(
        text.contains("  until it had gone too far beyond") && !text.contains("on-delay and its"),
        "{text}"
    );
    let creeps = self::head(&out(&explain("creep-at-loading", SHUTTLE, &[])));
    assert!(creeps.contains("its speed was -0.") && creeps.contains(" mm/s then"), "{creeps}");
}

#[test]
fn a_permit_that_went_as_planned_is_no_riddle() {
    let output = explain("clean-run", SHUTTLE, &[]);
    assert_eq!(output.status.code(), Some(0));
    let head = head(&out(&output));
    assert!(head.starts_with("PLANNED") && head.contains("demanded by emergency_stop"), "{head}");
}

#[test]
fn a_source_that_sent_nothing_is_told_with_its_gap_and_the_other_channel() {
    let output = explain("asynchronous-readings", "asynchronous-readings.setup.toml", &[]);
    let head = head(&out(&output));
    assert!(head.contains("Channel b sent no reading; usually one comes every 1.000 ms"), "{head}");
    assert!(
        head.contains("the other channel, on which nothing had tripped, tells of 800.0 mm/s then"),
        "{head}"
    );
    let invalid = out(&explain("rail-cable-fault", SHUTTLE, &[]));
    assert!(invalid.contains("Channel b marked its readings as invalid"), "{invalid}");
}

#[test]
fn a_number_that_is_not_there_is_refused_with_how_many_there_are() {
    let output = explain("belt-slip", SHUTTLE, &["--trip", "4"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(err(&output).contains("--trip 4: this trace has one trip"), "{}", err(&output));
    let output = explain("belt-slip", SHUTTLE, &["--fault", "1"]);
    assert!(err(&output).contains("--fault 1: this trace has no fault"), "{}", err(&output));
    let output = explain("belt-slip", SHUTTLE, &["--trip", "0"]);
    assert_eq!(output.status.code(), Some(2));
}

/// The cause with the largest share at the trip, from the JSON.
fn main_cause(trace: &str) -> (String, serde_json::Value) {
    let setup = format!("traces-demo/{SHUTTLE}");
    let output = cowitness(&["explain", trace, "--setup", &setup, "--json", "-"]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    (value["guard"].as_str().expect("a word").to_owned(), value["verdict"]["cause"].clone())
}

/// Whether the 95 % interval of an estimate, or what it comes to by rounding, holds what was planted.
fn holds(estimate: &serde_json::Value, planted: f64) -> bool {
    let (value, error) = (estimate["value"].as_f64(), estimate["standard_error"].as_f64());
    (value.expect("a value") - planted).abs() <= 1.96 * error.expect("an error") + planted.abs() / 100.0
}

#[test]
fn the_first_lines_name_the_planted_cause_of_every_nuisance_of_the_demos_with_its_size() {
    let late = Path::new(env!("CARGO_TARGET_TMPDIR")).join("explained-late-rail-channel.csv.gz");
    let late = late.to_str().expect("a path in UTF-8");
    let made = cowitness(&["synth", "traces-demo/late-rail-channel.toml", "--out", late, "--quiet"]);
    assert_eq!(made.status.code(), Some(0), "{}", err(&made));
    // From 0.25 ms, which the setup knows, to 5 ms.
    let (guard, cause) = main_cause(late);
    assert_eq!(
        (guard.as_str(), cause["kind"].as_str(), cause["late"].as_str()),
        ("nuisance", Some("time-skew"), Some("b"))
    );
    assert!(holds(&cause["by"], 0.00475), "{cause}");
    let since = cause["since_ns"].as_f64().expect("an onset");
    assert!((since / 1e9 - 6.2).abs() < 0.006, "{cause}");

    let (guard, cause) = main_cause("traces-demo/rail-channel-always-late.csv.gz");
    assert_eq!(
        (guard.as_str(), cause["kind"].as_str(), cause["late"].as_str()),
        ("nuisance", Some("time-skew"), Some("b"))
    );
    assert!(holds(&cause["by"], 0.00375) && cause["since_ns"].is_null(), "{cause}");

    let (guard, cause) = main_cause("traces-demo/worn-measuring-wheel.csv.gz");
    assert_eq!((guard.as_str(), cause["kind"].as_str()), ("nuisance", Some("scale")));
    assert!(holds(&cause["ppm"], -1200.0), "{cause}");

    let (guard, cause) = main_cause("traces-demo/loose-coupling.csv.gz");
    assert_eq!(
        (guard.as_str(), cause["kind"].as_str(), cause["lags"].as_str()),
        ("nuisance", Some("backlash"), Some("b"))
    );
    assert!(holds(&cause["width"], 3.8), "{cause}");

    // Where a witness failed the guard was right.
    let (guard, cause) = main_cause("traces-demo/belt-slip.csv.gz");
    assert_eq!((guard.as_str(), cause["kind"].as_str()), ("right", Some("slip")));
    assert!(holds(&cause["by"], 6.0), "{cause}");
    let rate = cause["rate"].as_f64().expect("a rate");
    assert!((rate - 20.0).abs() < 0.5, "{cause}");

    let (guard, cause) = main_cause("traces-demo/motor-encoder-sticks.csv.gz");
    assert_eq!(
        (guard.as_str(), cause["kind"].as_str(), cause["side"].as_str()),
        ("right", Some("frozen"), Some("a"))
    );
}

#[test]
fn a_scale_that_is_wrong_by_a_tenth_is_cured_by_a_factor_that_is_exact() {
    let shuttle = std::fs::read_to_string(program::root().join("traces-demo/shuttle.toml")).expect("a setup");
    let setup = Path::new(env!("CARGO_TARGET_TMPDIR")).join("tenth.toml");
    let written = "unit_per_count = \"0.001 mm\"";
    assert!(shuttle.contains(written));
    std::fs::write(&setup, shuttle.replacen(written, "unit_per_count = \"0.0011 mm\"", 1)).expect("a setup");
    let setup = setup.to_str().expect("a path in UTF-8");
    let output = cowitness(&["explain", "traces-demo/clean-run.csv.gz", "--setup", setup, "--json", "-"]);
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let factors = value["cures"].as_array().expect("cures").iter().map(|cure| {
        assert_eq!(cure["prevents_it"], true, "{cure}");
        let factor =
            cure["setting"].as_str().expect("a text").rsplit(' ').next().expect("a factor").parse::<f64>();
        factor.expect("a number")
    });
    let factors: Vec<_> = factors.collect();
    let [a, b] = factors.as_slice() else { panic!("{value}") };
    assert!((a - 1.1).abs() < 0.0002 && (b - 1.0 / 1.1).abs() < 0.0002, "{factors:?}");
}

#[test]
fn a_cause_is_held_against_what_the_setup_declares_of_it() {
    let shuttle = std::fs::read_to_string(program::root().join("traces-demo/shuttle.toml")).expect("a setup");
    let setup = Path::new(env!("CARGO_TARGET_TMPDIR")).join("declares.toml");
    let setup = setup.to_str().expect("a path in UTF-8");
    let told = |trace: &str, written: &str, instead: &str| {
        assert!(shuttle.contains(written), "{written}");
        std::fs::write(setup, shuttle.replacen(written, instead, 1)).expect("a setup");
        let trace = format!("traces-demo/{trace}.csv.gz");
        let value: serde_json::Value =
            serde_json::from_slice(&cowitness(&["explain", &trace, "--setup", setup, "--json", "-"]).stdout)
                .expect("JSON");
        let text = head(&out(&cowitness(&["explain", &trace, "--setup", setup])));
        (text, value["verdict"]["declared"].clone())
    };
    let (play, scale) = ("backlash    = \"0.03 mm\"", "scale_error = \"80 ppm\"");
    let (text, declared) = told("loose-coupling", play, play);
    assert!(text.contains("`sensors.backlash` declares at most 0.030 mm: the machine is not what"), "{text}");
    assert_eq!((declared["is_beyond"].as_bool(), declared["unit"].as_str()), (Some(true), Some("mm")));
    // 3.8 mm, +-0.4 mm are not more than 3.7 mm for certain.
    let (text, declared) = told("loose-coupling", play, "backlash    = \"3.7 mm\"");
    assert!(text.contains("`sensors.backlash` declares up to 3.700 mm: `cowitness margins` tells"), "{text}");
    assert_eq!(declared["is_beyond"].as_bool(), Some(false), "{declared}");
    let (text, declared) = told("worn-measuring-wheel", scale, "");
    assert!(text.contains("declares nothing of that (`sensors.scale_error`)"), "{text}");
    assert!(declared["at_most"].is_null() && declared["is_beyond"] == false, "{declared}");
    let (text, _) = told("rail-channel-always-late", "time_skew   = \"0.1 ms\"", "time_skew   = \"4 ms\"");
    // 5 us and 20 us of jitter come to it.
    assert!(text.contains("declares up to 4.025 ms, delays and jitters included"), "{text}");
    // Nobody declares a failure.
    let (_, declared) = told("belt-slip", play, play);
    assert!(declared.is_null(), "{declared}");
}

#[test]
fn the_readme_shows_what_the_program_prints() {
    let readme = include_str!("../../README.md");
    let part = readme.split_once("## Why did it stop? explain").expect("the section").1;
    let (command, rest) = part.split_once("```\n\n").expect("a command");
    let command = command.split_once("-- explain ").expect("its arguments").1.trim();
    let block = rest.split_once("```text\n").expect("what it prints").1.split_once("```").expect("its end").0;
    let args: Vec<&str> = std::iter::once("explain").chain(command.split(' ')).collect();
    let text = out(&cowitness(&args));
    let mut printed = text.lines();
    for line in block.lines().filter(|line| !line.is_empty()) {
        assert!(printed.any(|other| other == line), "not printed, or not in this order: {line:?}\n{text}");
    }
}

#[test]
fn a_trace_without_a_trip_tells_what_would_come_first() {
    let bench = Bench::new("clear", SETUP);
    // 200 mm/s, and the rail 0.9 mm off from half a second on.
    bench.write(
        "trace.csv",
        &rows(1000, |ms| {
            let count = i64::from(ms) * 200;
            (count, if ms < 500 { count } else { count - 900 })
        }),
    );
    let output = bench.explain(&[]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    let text = out(&output);
    assert!(text.starts_with("CLEAR"), "{text}");
    assert!(head(&text).contains("Nearest to its limit came \"discrepancy\", with 10 % left"), "{text}");
    let places = ["discrepancy ", "slow "].map(|rule| text.find(&format!("\n  {rule}")));
    assert!(places[0] < places[1], "{text}");
}

#[test]
fn a_trip_in_the_first_frames_says_that_what_led_to_it_is_not_there() {
    let bench = Bench::new("first", SETUP);
    bench.write("trace.csv", &rows(300, |ms| (i64::from(ms) * 300, i64::from(ms) * 300)));
    let text = out(&bench.explain(&[]));
    assert!(text.starts_with("RIGHT"), "{text}");
    assert!(text.contains("ms after the first frame: what led to it is not in"), "{text}");
}

#[test]
fn one_channel_without_a_reading_is_refused_with_its_column() {
    let bench = Bench::new(
        "missing",
        &SETUP.replace("column         = \"rail\"", "column = \"rail\"\nsparse = true"),
    );
    let mut text = "time,motor,rail\n".to_owned();
    for ms in 0..100 {
        let _ = writeln!(text, "0.{ms:03},{},", ms * 100);
    }
    bench.write("trace.csv", &text);
    let output = bench.explain(&[]);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        err(&output).contains("column `rail`: channel b has no reading in the whole trace"),
        "{}",
        err(&output)
    );
}

#[test]
fn a_jump_of_an_axis_at_rest_is_one_and_an_axis_that_stands_is_explained_by_no_motion() {
    let bench = Bench::new("still", SETUP);
    // At rest, and the rail changes by 1.2 mm from one reading to the next.
    bench.write("trace.csv", &rows(400, |ms| (1000, if ms < 300 { 1000 } else { -200 })));
    let output = bench.explain(&[]);
    let head = head(&out(&output));
    assert_eq!(output.status.code(), Some(1), "{head}");
    assert!(head.starts_with("RIGHT") && head.contains("Jump of channel b by 1.2000 mm"), "{head}");
}

#[test]
fn clocks_that_count_from_different_origins_are_told_of() {
    let setup =
        SETUP.replace("column         = \"rail\"", "column         = \"rail\"\ncapture_column = \"rail_at\"");
    let bench = Bench::new("clocks", &setup);
    let mut text = "time,motor,rail,rail_at\n".to_owned();
    for ms in 0..200 {
        let _ = writeln!(text, "90.{ms:03},{0},{0},20.{ms:03}", ms * 100);
    }
    bench.write("trace.csv", &text);
    let output = bench.explain(&[]);
    let text = out(&output).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains("capture times of channel b lie 70.0 s away from the rows"),
        "{text}{}",
        err(&output)
    );
}

#[test]
fn speeds_that_two_coarse_channels_cannot_tell_apart_are_at_the_limit() {
    let setup = SETUP.replace("unit_per_count = \"0.001 mm\"", "unit_per_count = \"0.05 mm\"");
    let bench = Bench::new("limit", &setup.replace("on_delay = \"4 ms\"", "on_delay = \"0 ms\""));
    // 250 mm/s, where one count over the window is 6.25 mm/s; the motor shows one count too much once.
    bench.write(
        "trace.csv",
        &rows(2000, |ms| {
            let count = i64::from(ms) * 5;
            (count + i64::from(ms == 1000), count)
        }),
    );
    let output = bench.explain(&[]);
    let head = head(&out(&output));
    assert!(head.starts_with("UNDECIDED"), "{head}{}", err(&output));
    assert!(head.contains("The axis moved at the limit of \"slow\""), "{head}");
    assert!(
        head.contains(
            "the channels differ by 6.250 mm/s; resolution and noise of the two come to 12.50 mm/s"
        ),
        "{head}"
    );
}

#[test]
fn a_counter_of_another_width_than_the_setup_says_is_told_with_its_width() {
    let bench = Bench::new("width", SETUP);
    // A 16-bit counter in a setup that says 32.
    bench.write(
        "trace.csv",
        &rows(1000, |ms| {
            let count = i64::from(ms) * 100;
            (count % 65_536, count)
        }),
    );
    let output = bench.explain(&[]);
    let text = out(&output);
    assert!(
        head(&text).contains("Channel a wraps its counter at 16 bits, as it seems"),
        "{text}{}",
        err(&output)
    );
}

#[test]
fn what_a_json_says_is_what_the_text_says() {
    let json = explain("loose-coupling", SHUTTLE, &["--json", "-"]);
    assert_eq!(json.status.code(), Some(1));
    let value: serde_json::Value = serde_json::from_slice(&json.stdout).expect("JSON");
    let text = out(&explain("loose-coupling", SHUTTLE, &[])).split_whitespace().collect::<Vec<_>>().join(" ");
    let what = value["in_words"]["what"].as_str().expect("words");
    assert!(text.contains(what), "{what}");
    assert_eq!(value["verdict"]["verdict"], "apart");
    assert_eq!(value["explained"]["number"], 1);
    for change in value["what_if"].as_array().expect("changes") {
        assert!(text.contains(change["setting"].as_str().expect("a setting")));
    }
}

#[test]
fn a_channel_that_cannot_be_seen_neither_confirms_nor_contradicts() {
    let setup = SETUP
        .replace("column         = \"rail\"", "column         = \"rail\"\nvalid_column   = \"rail_valid\"");
    let bench = Bench::new("blind", &setup);
    // 150 mm/s, from 1.5 s on faster by 2 m/s^2; the rail, of another scale by a thousandth, is invalid from 1.53 s on.
    let mut text = "time,motor,rail,rail_valid\n".to_owned();
    for ms in 0..2000_i64 {
        let later = (ms - 1500).max(0);
        let count = ms * 150 + later * later;
        let _ = writeln!(
            text,
            "{}.{:03},{count},{},{}",
            ms / 1000,
            ms % 1000,
            count + count / 1000,
            u8::from(ms < 1530)
        );
    }
    bench.write("trace.csv", &text);
    let output = bench.explain(&["--trip", "1"]);
    let head = head(&out(&output));
    assert!(head.starts_with("RIGHT trace.csv"), "{head}{}", err(&output));
    assert!(head.contains("channel b could not be seen: nobody contradicts and nobody confirms"), "{head}");
}

#[test]
fn of_two_channels_that_differ_in_scale_nobody_says_which_one_is_right() {
    let bench =
        Bench::new("which", &SETUP.replace("tolerance        = \"1 mm\"", "tolerance        = \"1000 mm\""));
    // 258 mm/s by the motor, where 250 mm/s are allowed; the rail shows a twentieth less.
    bench.write(
        "trace.csv",
        &rows(3000, |ms| {
            let later = i64::from(ms.saturating_sub(1000));
            let count = i64::from(ms) * 200 + later.min(29) * later.min(29) + 58 * (later - 29).max(0);
            (count, count * 19 / 20)
        }),
    );
    let head = head(&out(&bench.explain(&[])));
    assert!(head.starts_with("UNDECIDED"), "{head}");
    assert!(head.contains("Only channel a broke \"slow\"") && head.contains("scale mismatch"), "{head}");
}

#[test]
fn a_channel_that_stands_still_is_not_taken_for_noise() {
    let bench = Bench::new(
        "still-noise",
        &SETUP.replace("tolerance        = \"1 mm\"", "tolerance        = \"1000 mm\""),
    );
    // The rail sticks 100 ms before the motor is beyond 250 mm/s.
    bench.write(
        "trace.csv",
        &rows(1600, |ms| {
            let later = i64::from(ms.saturating_sub(1000));
            let count = i64::from(ms) * 200 + later * later / 4;
            (count, count.min(200_000))
        }),
    );
    let head = head(&out(&bench.explain(&[])));
    assert!(head.starts_with("RIGHT") && head.contains("frozen"), "{head}");
}

#[test]
fn a_later_violation_before_the_reset_is_not_part_of_what_a_setting_lets_pass() {
    let bench = Bench::new("later", SETUP);
    // 200 mm/s; 258 mm/s for 40 ms at 1 s, and 600 mm/s for 40 ms at 2 s. Nobody resets.
    let speed = |ms: u32| match ms {
        1000..1040 => 258,
        2000..2040 => 600,
        _ => 200,
    };
    let mut count = 0;
    let counts: Vec<i64> = (0..2500)
        .map(|ms| {
            count += speed(ms);
            count
        })
        .collect();
    bench.write("trace.csv", &rows(2500, |ms| (counts[ms as usize], counts[ms as usize])));
    let text = out(&bench.explain(&[]));
    assert!(text.contains("250 mm/s -> at least 258 mm/s: 8 mm/s more, for any time"), "{text}");
    assert!(text.contains("! the same rule trips later, at 2.0"), "{text}");
}

#[test]
fn of_many_trips_of_a_rule_some_are_tried_with_another_setting_and_all_are_counted() {
    let setup = format!("{SETUP}[reset]\ncolumn = \"reset\"\n");
    let bench = Bench::new("many", &setup);
    let mut text = "time,motor,rail,reset\n".to_owned();
    let mut count = 0;
    for ms in 0..40_000_i64 {
        let phase = ms % 1000;
        count += if (500..540).contains(&phase) { 300 } else { 100 };
        let reset = u8::from((800..850).contains(&phase));
        let _ = writeln!(text, "{}.{:03},{count},{count},{reset}", ms / 1000, ms % 1000);
    }
    bench.write("trace.csv", &text);
    let text = out(&bench.explain(&[]));
    assert!(text.starts_with("RIGHT") && text.contains("79 trips (--trip N)"), "{text}");
    assert!(text.lines().count() < 120, "{text}");
    let json = bench.explain(&["--json", "-"]);
    let value: serde_json::Value = serde_json::from_slice(&json.stdout).expect("JSON");
    let limit = &value["what_if"][0];
    assert_eq!(limit["setting"], "monitor.\"slow\".limit");
    let passed = limit["lets_pass"].as_array().expect("times");
    assert_eq!((passed.len(), limit["not_tried"].as_u64()), (16, Some(23)), "39 others: {limit}");
    assert_eq!(passed[0].as_f64(), Some(1.51));
}

#[test]
fn a_cure_that_is_said_to_hold_does_so_in_a_replay_with_it() {
    // The rail sends every 2 ms and is 2.5 ms late: 4.5 ms old at the most, where 4 ms are allowed for.
    let setup = SETUP
        .replace("column         = \"rail\"", "column         = \"rail\"\nsparse         = true")
        .replace("tolerance        = \"1 mm\"", "tolerance        = \"0.3 mm\"");
    let bench = Bench::new("blinds", &setup);
    let place = |us: i64| {
        let ms = us as f64 / 1000.0;
        let later = (ms - 200.0).clamp(0.0, 200.0);
        (later * later / 2.0 + (ms - 400.0).max(0.0) * 200.0).round() as i64
    };
    let mut text = "time,motor,rail\n".to_owned();
    for ms in 0..900_i64 {
        let rail = if ms % 2 == 0 { place(ms * 1000 - 2500).to_string() } else { String::new() };
        let _ = writeln!(text, "{}.{:03},{},{rail}", ms / 1000, ms % 1000, place(ms * 1000));
    }
    bench.write("trace.csv", &text);
    let output = bench.explain(&["--json", "-"]);
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let [cure] = value["cures"].as_array().expect("cures").as_slice() else { panic!("{}", value["cures"]) };
    assert_eq!(cure["prevents_it"], true, "{cure}");
    let wanted = cure["setting"].as_str().expect("a setting");
    let value_of = |key: &str| {
        let (_, rest) =
            wanted.split_once(&format!("channel.b.{key} = ")).unwrap_or_else(|| panic!("{wanted}"));
        rest.split(',').next().expect("a value").to_owned()
    };
    let (latency, timeout) = (value_of("latency"), value_of("timeout"));
    assert!(wanted.ends_with("discrepancy.align = true"), "{wanted}");
    let (before, channel_b) = setup.split_once("[channel.b]").expect("a section");
    let channel_b = channel_b.replacen(
        "timeout        = \"4 ms\"",
        &format!("timeout = {timeout}\nlatency = {latency}"),
        1,
    );
    let cured =
        format!("{before}[channel.b]{channel_b}").replace("[discrepancy]", "[discrepancy]\nalign = true");
    bench.write("cured.toml", &cured);
    let replayed = program::program(&["replay", "trace.csv", "--setup", "cured.toml"])
        .current_dir(&bench.0)
        .output()
        .expect("the program");
    assert_eq!(replayed.status.code(), Some(0), "{}{}", out(&replayed), err(&replayed));
    assert!(out(&replayed).contains("permit   given"), "{}", out(&replayed));
}

#[test]
fn what_one_channel_did_alone_is_told_with_its_size_and_time() {
    let bench =
        Bench::new("alone", &SETUP.replace("tolerance        = \"1 mm\"", "tolerance        = \"10 mm\""));
    // 100 mm/s; the rail spikes at 1 s, jumps at 1.2 s, stands still from 1.4 s to 1.45 s, and goes back from 1.6 s to 1.63 s. Both are too fast
    // from 2 s on.
    let mut rail = 0_i64;
    let rails: Vec<i64> = (0..2100_i64)
        .map(|ms| {
            rail += match ms {
                1400..1450 => 0,
                1600..1630 => -100,
                2000.. => 300,
                _ => 100,
            };
            rail += if ms == 1200 { 700 } else { 0 };
            rail + if ms == 1000 { 900 } else { 0 }
        })
        .collect();
    bench.write(
        "trace.csv",
        &rows(2100, |ms| {
            (i64::from(ms) * 100 + i64::from(ms.saturating_sub(2000)) * 200, rails[ms as usize])
        }),
    );
    let output = bench.explain(&["--json", "-"]);
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let events: Vec<_> = value["events"].as_array().expect("events").iter().collect();
    let of = |event: &str| {
        let found = events.iter().find(|one| one["event"] == event && one["channel"] == "b");
        *found.unwrap_or_else(|| panic!("no {event}: {events:?}"))
    };
    let near = |value: &serde_json::Value, wanted: f64, by: f64| {
        assert!((value.as_f64().expect("a number") - wanted).abs() <= by, "{value} is not {wanted}");
    };
    near(&of("spike")["by"], 0.9, 0.001);
    near(&of("spike")["at_s"], 1.0, 0.0);
    near(&of("jump")["by"], 0.7, 0.001);
    near(&of("jump")["at_s"], 1.2, 0.0);
    near(&of("frozen")["travel"], 5.0, 0.2);
    near(&of("frozen")["until_s"], 1.449, 0.002);
    near(&of("reversed")["travel"], 3.0, 0.2);
    assert!(events.iter().all(|one| one["channel"] == "b"), "{events:?}");
}
