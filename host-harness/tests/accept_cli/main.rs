//! `cowitness accept` as a user meets it: what passes and what does not, messages, exit status, reports.

mod bench;
#[path = "../program/mod.rs"]
mod program;
mod shown;

use std::fmt::Write;
use std::fs;
use std::path::Path;

use bench::{Bench, PLANNED, SETUP, check, fast, rows, slow};
use program::{cowitness, err, out, root};
use serde_json::Value;

#[test]
fn a_trip_passes_at_its_very_bounds_and_each_of_them_alone_can_fail_it() {
    let bench = Bench::new("bounds");
    let just = "demand = true\nwithin = \"6 ms\"\novershoot = \"150 mm/s\"\nrest = { within = \"100 ms\", speed = \"1 mm/s\" }";
    let report = bench.report(&slow(just));
    assert_eq!(report["trials"][0]["result"], "passed", "{report:#}");
    for (what, measured) in
        [("crossing to the trip", "0.006"), ("beyond the limit", "150.0"), ("to rest", "0.1")]
    {
        let check = check(&report, what);
        let measured: f64 = measured.parse().expect("a number");
        assert_eq!(check["measured"]["value"].as_f64(), Some(measured), "{check}");
        assert_eq!(check["margin"]["value"].as_f64(), Some(0.0), "{check}");
    }
    for (wanted, tighter, missed) in [
        ("within = \"6 ms\"", "within = \"5.999 ms\"", "crossing to the trip"),
        ("\"150 mm/s\"", "\"149.9 mm/s\"", "beyond the limit"),
        ("within = \"100 ms\"", "within = \"99 ms\"", "to rest"),
    ] {
        let output = bench.accept(&slow(&just.replace(wanted, tighter)), &["--json", "-"]);
        assert_eq!(output.status.code(), Some(1));
        let report: Value = serde_json::from_str(out(&output)).expect("JSON");
        assert_eq!(report["trials"][0]["result"], "failed");
        let checks = report["trials"][0]["checks"].as_array().expect("checks");
        let all: Vec<_> = checks.iter().filter(|check| check["met"] == false).collect();
        assert!(!all.is_empty(), "{tighter}");
        for check in all {
            assert!(check["what"].as_str().is_some_and(|what| what.contains(missed)), "{check}");
            assert!(check["margin"]["value"].as_f64().is_some_and(|left| left < 0.0), "{check}");
        }
    }
}

#[test]
fn an_axis_that_stands_for_a_moment_and_goes_on_without_the_permit_is_not_at_rest() {
    let bench = Bench::new("moment");
    let rest = slow("rest = { within = \"1 s\", speed = \"1 mm/s\" }");
    // As the fast run, but from 320 ms on it goes back: a load that pulls.
    let back_until = |end: u32| {
        rows(|ms| {
            let speed = match ms {
                0..200 => 100,
                200..300 => 300,
                320.. if ms < end => -200,
                _ => 0,
            };
            (speed, speed)
        })
    };
    bench.write("fast.csv", &back_until(400));
    let report = bench.report(&rest);
    let made = check(&report, "to rest");
    assert_eq!(made["met"], false, "{made}");
    assert_eq!(made["note"], "it does not come to rest in this trace", "{made}");
    // At rest from 358 ms on, after the trip at 208 ms.
    bench.write("fast.csv", &back_until(350));
    let report = bench.report(&rest);
    let made = check(&report, "to rest");
    assert_eq!(
        (made["met"].as_bool(), made["measured"]["value"].as_f64()),
        (Some(true), Some(0.15)),
        "{made}"
    );
}

#[test]
fn what_the_speed_was_before_the_trip_counts_as_overshoot_too() {
    let bench = Bench::new("peak");
    // 500 mm/s for 4 ms and then 200: with an on-delay of 15 ms it trips at 217 ms, 50 mm/s beyond, and was 200 beyond at 208 ms.
    bench.write("axis.toml", &SETUP.replace("on_delay = \"5 ms\"", "on_delay = \"15 ms\""));
    let speed = |ms| match ms {
        0..200 => 100,
        200..204 => 500,
        _ => 200,
    };
    bench.write("fast.csv", &rows(|ms| (speed(ms), speed(ms))));
    let report = bench.report(&slow("overshoot = \"199 mm/s\""));
    let beyond = check(&report, "beyond the limit");
    assert_eq!(beyond["measured"]["value"].as_f64(), Some(200.0), "{beyond}");
    assert_eq!(beyond["met"], false);
}

#[test]
fn a_time_from_the_demand_counts_from_there() {
    let bench = Bench::new("demand");
    let report = bench.report(&slow("within_of = \"demand\"\nwithin = \"158 ms\""));
    // Open at 50 ms, tripped at 208 ms.
    assert_eq!(check(&report, "demand to the trip")["measured"]["value"].as_f64(), Some(0.158));
    assert_eq!(report["trials"][0]["result"], "passed");
    // Open from the first row on: the trace does not show the demand begin.
    bench.write("fast.csv", &fast().replace(",0\n", ",1\n"));
    let report = bench.report(&slow("demand = true"));
    assert_eq!(check(&report, "shows the demand begin")["met"], false, "{report:#}");
}

#[test]
fn a_channel_that_does_not_trip_fails_unless_the_trial_is_of_the_other_alone() {
    let bench = Bench::new("channel");
    let speed = |ms| if ms < 200 { 100 } else { 180 };
    bench.write("fast.csv", &rows(|ms| (speed(ms), 100)));
    bench.write("axis.toml", &SETUP.replace("tolerance        = \"10 mm\"", "tolerance = \"1 m\""));
    let report = bench.report(&slow(""));
    assert_eq!(report["trials"][0]["result"], "failed");
    let missing = &report["trials"][0]["checks"];
    let missing =
        missing.as_array().expect("checks").iter().find(|check| check["met"] == false).expect("a miss");
    assert_eq!((missing["channel"].as_str(), missing["what"].as_str()), (Some("b"), Some("trips")));
    let report = bench.report(&slow("channel = \"a\""));
    assert_eq!(report["trials"][0]["result"], "passed", "{report:#}");
    let functions = report["functions"].as_array().expect("functions");
    let of = |channel: &str| functions.iter().find(|of| of["name"] == "slow" && of["channel"] == channel);
    assert_eq!(of("a").expect("channel a")["result"], "passed");
    assert_eq!(of("b").expect("channel b")["result"], "not-tested", "one channel shows nothing of the other");
}

#[test]
fn another_trip_fails_a_trial_unless_the_plan_allows_it_and_is_listed_either_way() {
    let bench = Bench::new("others");
    let more = "[[monitor]]\nname = \"never so fast\"\nkind = \"speed-limit\"\nlimit = \"250 mm/s\"\n";
    bench.write("axis.toml", &format!("{SETUP}{more}"));
    for (allowed, result) in [("", "failed"), ("allow_others = true", "passed")] {
        let report = bench.report(&slow(allowed));
        assert_eq!(report["trials"][0]["result"], result);
        let others = report["trials"][0]["others"].to_string();
        assert!(others.contains("never so fast") && others.contains("on channel b"), "{others}");
    }
    // One outside of the window is another one.
    let report = bench.report(&slow("to = \"0.1 s\""));
    assert!(report["trials"][0]["others"].to_string().contains("\\\"slow\\\" trips on channel a at 0.208 s"));
}

/// Everything that the axis has, each shown by a trial.
fn whole(bench: &Bench) -> String {
    let jump = |at: u32, of: i64| move |ms: u32| i64::from(ms == at) * of - i64::from(ms == at + 1) * of;
    bench.write("jump-a.csv", &rows(|ms| (jump(100, 100_000)(ms), 0)));
    bench.write("jump-b.csv", &rows(|ms| (0, jump(100, 100_000)(ms))));
    bench.write("apart.csv", &rows(|ms| (if ms < 200 { 0 } else { 100 }, 0)));
    let mut plan = slow("within = \"6 ms\"");
    plan += "[[trial]]\nname = \"apart\"\nhow = \"slip\"\ntrace = \"apart.csv\"\nmonitor = \"discrepancy\"\novershoot = \"2 mm\"\n";
    for channel in ["a", "b"] {
        let _ = writeln!(
            plan,
            "[[trial]]\nname = \"jump\"\nhow = \"plug\"\ntrace = \"jump-{channel}.csv\"\nfault = \"implausible\"\nchannel = \"{channel}\""
        );
    }
    plan
}

#[test]
fn a_plan_that_shows_everything_exits_with_0_and_one_trial_less_with_1() {
    let bench = Bench::new("whole");
    let plan = whole(&bench);
    let output = bench.accept(&plan, &[]);
    assert_eq!(output.status.code(), Some(0), "{}{}", out(&output), err(&output));
    assert!(out(&output).starts_with("PASSED  Slide\n"), "{}", out(&output));
    assert!(
        !out(&output).contains("NOT TESTED") && out(&output).contains("not a certified safety component")
    );
    // The last trial is of channel b.
    let less = &plan[..plan.rfind("[[trial]]").expect("a trial")];
    let output = bench.accept(less, &[]);
    assert_eq!(output.status.code(), Some(1));
    assert!(out(&output).starts_with("INCOMPLETE  Slide\n"), "{}", out(&output));
    let line = "rail (position source, channel b): a bad reading is a fault";
    assert!(out(&output).contains(line), "{}", out(&output));
    // A trial that was not carried out is not tested, however much else is shown.
    let planned = "[[trial]]\nname = \"later\"\nhow = \"run\"\nmonitor = \"slow\"\n";
    let output = bench.accept(&format!("{plan}{planned}"), &[]);
    assert_eq!(output.status.code(), Some(1));
    assert!(out(&output).contains("  5  NOT TESTED  later\n"), "{}", out(&output));
}

#[test]
fn a_trial_of_what_must_not_trip_has_to_have_the_rule_at_work() {
    let bench = Bench::new("nothing");
    bench.write("calm.csv", &rows(|_| (100, 100)));
    let trial = |trace: &str| slow("nothing_trips = true").replace("fast.csv", trace);
    let report = bench.report(&trial("calm.csv"));
    assert_eq!(report["trials"][0]["result"], "passed", "{report:#}");
    assert_eq!(check(&report, "closest to its limit")["measured"]["value"].as_f64(), Some(50.0));
    let slow = &report["functions"][0];
    assert_eq!((&slow["name"], &slow["result"]), (&Value::from("slow"), &Value::from("not-tested")));
    // It trips.
    let report = bench.report(&trial("fast.csv"));
    assert_eq!(check(&report, "does not trip")["met"], false);
    assert_eq!(report["functions"][0]["result"], "failed");
    // With the gate closed nothing can trip, which shows nothing.
    bench.write("closed.csv", &rows(|_| (100, 100)).replace(",1\n", ",0\n"));
    let report = bench.report(&trial("closed.csv"));
    assert_eq!(check(&report, "is active")["met"], false, "{report:#}");
    assert_eq!(report["trials"][0]["result"], "failed");
}

#[test]
fn a_stop_an_output_and_torque_off_are_shown_by_what_they_do() {
    let bench = Bench::new("planned");
    bench.write("axis.toml", &format!("{SETUP}{PLANNED}"));
    let trial = |monitor: &str, more: &str| {
        slow(&format!("allow_others = true\n{more}"))
            .replace("monitor = \"slow\"", &format!("monitor = \"{monitor}\""))
    };
    for (monitor, more, result) in [
        ("off", "completes = true", "passed"),
        ("halt", "completes = true\nwithin = \"25 ms\"", "passed"),
        ("halt", "completes = true\nwithin = \"19 ms\"", "failed"),
        ("slow enough", "turns = \"off\"\nfrom = \"0.2 s\"\nto = \"0.21 s\"", "passed"),
        ("slow enough", "turns = \"on\"\nfrom = \"0.2 s\"\nto = \"0.21 s\"", "failed"),
    ] {
        let report = bench.report(&trial(monitor, more));
        assert_eq!(report["trials"][0]["result"], result, "{monitor} {more}: {report:#}");
    }
    let report = bench.report(&trial("slow enough", "turns = \"off\""));
    let shown: Vec<String> = (report["functions"].as_array().expect("functions").iter())
        .filter(|of| of["name"] != "slow" && of["result"] != "not-tested")
        .map(|of| of["shows"].to_string())
        .collect();
    assert_eq!(shown, ["\"turns off\""], "the other change is another function");
}

#[test]
fn what_is_wrong_with_a_plan_is_told_with_its_place_and_a_way_out() {
    let bench = Bench::new("wrong");
    let off = "[[monitor]]\nname = \"off\"\nkind = \"torque-off\"\ndemand = [\"gate\"]\n";
    let any = "[[monitor]]\nname = \"top\"\nkind = \"speed-limit\"\nlimit = \"1 m/s\"\n";
    bench.write("axis.toml", &format!("{SETUP}{off}{any}"));
    let of = |monitor: &str, more: &str| {
        slow(more).replace("monitor = \"slow\"", &format!("monitor = \"{monitor}\""))
    };
    for (trials, place, parts) in [
        (
            slow("withn = \"6 ms\""),
            "8:1",
            &["unknown key `withn` in trial \"too fast\"", "did you mean `within`?"][..],
        ),
        (of("slwo", ""), "7:11", &["the setup has no monitor `slwo`", "did you mean `slow`?"]),
        (slow("within = 6"), "8:10", &["`within` of trial \"too fast\"", "in quotes"]),
        (slow("overshoot = \"6 mm\""), "8:16", &["`overshoot`", "a speed"]),
        (slow("from = \"2 s\"\nto = \"1 s\""), "9:6", &["ends before it begins", "exchange"]),
        (slow("turns = \"on\""), "7:11", &["`slow` is no output"]),
        (slow("completes = true"), "7:11", &["neither a stop nor a torque-off"]),
        (slow("channel = \"c\""), "8:11", &["cannot be \"c\"", "\"both\""]),
        (
            slow("nothing_trips = true\nwithin = \"1 ms\""),
            "9:1",
            &["`within` of trial \"too fast\"", "leave it out"],
        ),
        (of("off", ""), "7:11", &["`off` never trips", "completes = true"]),
        (of("off", "completes = true\nwithin = \"1 ms\""), "9:1", &["`within`", "leave it out"]),
        (of("top", "demand = true"), "7:11", &["`top` is always active", "leave `demand`"]),
        (of("discrepancy", "channel = \"a\""), "8:11", &["belongs to both channels", "\"both\""]),
        (of("slow", "fault = \"stale\"\nchannel = \"a\""), "7:1", &["`monitor`", "leave it out"]),
        (
            "[[trial]]\nname = \"x\"\nhow = \"y\"\nfault = \"stle\"\n".to_owned(),
            "6:9",
            &["did you mean \"stale\"?"],
        ),
        (
            "[[trial]]\nname = \"x\"\nhow = \"y\"\nfault = \"input\"\ninput = \"gate\"\n".to_owned(),
            "7:9",
            &["one line"],
        ),
        ("[[trial]]\nname = \"x\"\nmonitor = \"slow\"\n".to_owned(), "3:1", &["has no `how`", "add it"]),
        ("trial = []\n".to_owned(), "3:9", &["the plan has no trial", "[[trial]]"]),
        (String::new(), "1:1", &["the plan has no `trial`"]),
        ("[[trial]\n".to_owned(), "3:", &["not valid TOML"]),
        (slow("completes = false\nturns = \"up\""), "9:9", &["`turns`", "cannot be \"up\""]),
        (slow("").replace("fast.csv", "gone.csv"), "6:9", &["gone.csv", "error: "]),
        (slow("").replace("fast.csv", "axis.toml"), "6:9", &["axis.toml", "error: "]),
    ] {
        let output = bench.accept(&trials, &["--html", &bench.path("page.html")]);
        assert_eq!(output.status.code(), Some(2), "{trials}: {}", err(&output));
        let text = err(&output);
        assert!(text.contains(&format!("plan.toml:{place}")), "{trials}{place}: {text}");
        for part in parts {
            assert!(text.contains(part), "{trials}{part}: {text}");
        }
        assert_eq!(out(&output), "");
        assert!(!bench.0.join("page.html").exists(), "a report of what could not be judged: {trials}");
    }
}

#[test]
fn a_trip_without_a_permit_to_take_is_told() {
    let bench = Bench::new("permit");
    let report = bench.report(&slow(""));
    assert_eq!(check(&report, "permit"), &Value::Null, "it was there");
    bench.write(
        "axis.toml",
        &SETUP.replace(
            "[[monitor]]",
            "[[monitor]]\nname = \"off\"\nkind = \"torque-off\"\ndemand = [\"gate\"]\n[[monitor]]",
        ),
    );
    let report = bench.report(&slow(""));
    assert_eq!(check(&report, "permit")["note"], "it was lost before, at 0.05 s");
}

#[test]
fn a_plan_or_a_setup_that_is_not_there_or_not_right_is_named() {
    let bench = Bench::new("missing");
    bench.accept(&slow("").replace("fast.csv", "-"), &[]);
    let beside =
        program::program(&["accept", "plan.toml"]).current_dir(&bench.0).output().expect("the program");
    assert!(err(&beside).contains("standard input"), "{}", err(&beside));
    let output = cowitness(&["accept", &bench.path("none.toml")]);
    assert_eq!(output.status.code(), Some(2));
    assert!(err(&output).contains("none.toml: the plan cannot be read"), "{}", err(&output));
    bench.write("axis.toml", &SETUP.replace("150 mm/s", "150 mm"));
    let output = bench.accept(&slow(""), &[]);
    assert_eq!(output.status.code(), Some(2));
    assert!(err(&output).contains("axis.toml:30:17") && err(&output).contains("limit"), "{}", err(&output));
    fs::remove_file(bench.0.join("axis.toml")).expect("the setup");
    let output = bench.accept(&slow(""), &[]);
    assert!(err(&output).contains("axis.toml: no such setup file"), "{}", err(&output));
}

#[test]
fn markup_and_control_characters_in_a_plan_and_a_setup_are_text() {
    let bench = Bench::new("markup");
    bench.write("axis.toml", &SETUP.replace("name     = \"slow\"", "name = \"<b id='x'>&\""));
    let trial =
        slow("").replace("\"slow\"", "\"<b id='x'>&\"").replace("\"run\"", "\"<script>alert(1)</script>\"");
    let trial = trial.replace("\"too fast\"", "\"a\\nPASSED \\u001b[2J <i>\"");
    let output = bench.accept(&trial, &["--html", "-"]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    let page = out(&output);
    assert!(
        page.contains("&lt;b id=&#39;x&#39;&gt;&amp;") && page.contains("&lt;script&gt;alert(1)"),
        "{page}"
    );
    for wrong in ["<b id", "<script", "<i>", "\u{1b}"] {
        assert!(!page.contains(wrong), "{wrong:?}");
    }
    let text = bench.accept(&trial, &[]);
    assert!(out(&text).contains("a\\nPASSED \\u{1b}[2J <i>"), "{}", out(&text));
}

#[test]
fn nothing_that_is_read_is_written_over() {
    let bench = Bench::new("inputs");
    let plan = slow("");
    for (option, file) in [("--json", "plan.toml"), ("--html", "axis.toml"), ("--json", "fast.csv")] {
        bench.accept(&plan, &["--quiet"]);
        let before = fs::read(bench.0.join(file)).expect("a file");
        let output = cowitness(&["accept", &bench.path("plan.toml"), option, &bench.path(file)]);
        assert_eq!(output.status.code(), Some(2));
        assert!(err(&output).contains("would be overwritten"), "{}", err(&output));
        assert_eq!(fs::read(bench.0.join(file)).expect("a file"), before);
    }
    let both = bench.path("report");
    let output = cowitness(&["accept", &bench.path("plan.toml"), "--json", &both, "--html", &both]);
    assert_eq!(output.status.code(), Some(2));
    assert!(!Path::new(&both).exists());
}

/// Without a time or a name of the machine that it was made on, it can be made again to be compared.
#[test]
fn the_page_says_what_it_is_of_and_is_the_same_every_time() {
    let demo = "traces-demo/shuttle.accept.toml";
    let made = || out(&cowitness(&["accept", demo, "--html", "-"])).to_owned();
    let page = made();
    assert_eq!(page, made());
    let trace = fs::read(root().join("traces-demo/belt-slip.csv.gz")).expect("the trace");
    let mut crc = flate2::Crc::new();
    crc.update(&trace);
    for part in [
        "INCOMPLETE",
        "not a certified safety component",
        &format!("<td class=\"n\">{}</td><td>{:08x}</td>", trace.len(), crc.sum()),
        "checksum of its effective values",
        &format!("cowitness {}", env!("CARGO_PKG_VERSION")),
        "<h2>Not tested</h2>",
        "<li>12. faster than the belt may run</li>",
        "<li>emergency_stop (input with two lines): lines that disagree are a fault</li>",
        "Carried out the trials",
        "Checked the report",
    ] {
        assert!(page.contains(part), "{part}");
    }
    assert!(
        !page.contains("<script") && !page.contains("http:") && !page.contains("https:"),
        "it asks nothing of anybody"
    );
}

#[test]
fn the_demo_passes_in_what_was_carried_out_and_names_what_was_not() {
    let output = cowitness(&["accept", "traces-demo/shuttle.accept.toml"]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    let text = out(&output);
    assert!(text.contains("12 trials: 11 passed, 0 failed, 1 not carried out"), "{text}");
    let open = text.split_once("NOT TESTED: functions").expect("what is not tested").1;
    let open: Vec<&str> = open.lines().skip(1).take_while(|line| !line.is_empty()).map(str::trim).collect();
    assert_eq!(
        open,
        [
            "fastest the belt may run (speed-limit, channels a and b): trips",
            "emergency_stop (input with two lines): lines that disagree are a fault"
        ]
    );
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

#[test]
fn the_readme_shows_what_the_program_prints() {
    let readme = include_str!("../../../README.md");
    let part = readme.split_once("## After commissioning: accept").expect("the section").1;
    let (command, rest) =
        part.split_once("-- accept ").expect("a command").1.split_once('\n').expect("its end");
    let block = rest.split_once("```text\n").expect("what it prints").1.split_once("```").expect("its end").0;
    let args: Vec<&str> = std::iter::once("accept").chain(command.split(' ')).collect();
    let text = out(&cowitness(&args)).to_owned();
    let mut printed = text.lines();
    for line in block.lines().filter(|line| !line.is_empty()) {
        assert!(printed.any(|other| other == line), "not printed, or not in this order: {line:?}\n{text}");
    }
}
