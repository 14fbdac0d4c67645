//! `cowitness sweep` as a user meets it.

mod program;

use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use program::{cowitness, err, out, program, root};
use serde_json::Value;

/// A folder of its own for one test.
fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("sweep-{name}"));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder");
    folder
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a plain path")
}

const SETUP: &str = "traces-demo/shuttle.toml";

/// A sweep of demo traces of the shuttle.
fn sweep(traces: &[&str], vary: &[&str], more: &[&str]) -> Output {
    let traces: Vec<String> = traces.iter().map(|name| format!("traces-demo/{name}.csv.gz")).collect();
    let mut args = vec!["sweep"];
    args.extend(traces.iter().map(String::as_str));
    args.extend(["--setup", SETUP]);
    args.extend(vary.iter().flat_map(|vary| ["--vary", vary]));
    args.extend(more);
    cowitness(&args)
}

fn json(output: &Output) -> Value {
    assert_eq!(err(output), "");
    serde_json::from_str(out(output)).expect("JSON")
}

#[test]
fn a_tolerance_is_swept_over_traces_with_expectations() {
    // The trace of this demo is not in the repository; its scenario is.
    let folder = folder("late");
    let late = folder.join("late-rail-channel.csv.zst");
    let made = cowitness(&["synth", "traces-demo/late-rail-channel.toml", "--out", text(&late), "--quiet"]);
    assert!(made.status.success(), "{}", err(&made));
    std::fs::copy(
        root().join("traces-demo/late-rail-channel.expected.toml"),
        folder.join("late-rail-channel.expected.toml"),
    )
    .expect("expectations");
    let args = [
        "sweep",
        "traces-demo/belt-slip.csv.gz",
        "traces-demo/clean-run.csv.gz",
        text(&late),
        "--setup",
        SETUP,
    ];
    let vary = ["--vary", "discrepancy.tolerance=0.1 mm, 2 mm, 7 mm", "--expected", "--slack", "100 ms"];
    let output = cowitness(&[&args[..], &vary[..], &["--json", "-"]].concat());
    assert_eq!(output.status.code(), Some(0));
    let report = json(&output);
    let of =
        |point: usize, key: &str| report["points"][point]["all"]["counts"][key].as_u64().expect("a count");
    // 0.1 mm is less than the two sources differ by in a good run.
    assert!(of(0, "nuisance_trips") > 0);
    assert_eq!((of(1, "nuisance_trips"), of(1, "missed_trips")), (0, 0), "as the demos are written");
    // The belt slips by 6 mm and the late channel is 4 mm behind: 7 mm lets both pass.
    assert_eq!((of(2, "nuisance_trips"), of(2, "missed_trips")), (0, 2));
    assert_eq!(report["points"][1]["is_as_written"], true);
    assert_eq!(report["traces"][2]["is_judged"], true);
    for point in report["points"].as_array().expect("points") {
        let time = |key: &str| point["all"][key].as_f64();
        // What is observed lies within the worst case.
        assert!(time("latency_s").is_none_or(|observed| Some(observed) <= time("reaction_s")), "{point}");
    }
    // No point is as good as what is written in misses and nuisances.
    assert_eq!(report["points"][1]["is_on_front"], true);
}

#[test]
fn a_point_of_a_sweep_is_the_replay_of_the_setup_edited_by_hand() {
    let folder = folder("by-hand");
    let vary = [
        "discrepancy.tolerance=0.1 mm, 7 mm",
        "monitor.\"slow while the door is open\".on_delay=0 ms, 40 ms",
    ];
    let traces = ["overspeed-door-open", "belt-slip", "clean-run"];
    let report = json(&sweep(&traces, &vary, &["--json", "-"]));
    let setup = std::fs::read_to_string(root().join(SETUP)).expect("the setup");
    for point in report["points"].as_array().expect("points") {
        let value = |place: usize| point["values"][place].as_str().expect("a value");
        let edited =
            setup.replace("tolerance        = \"2 mm\"", &format!("tolerance = \"{}\"", value(0))).replacen(
                "margin = \"50 mm/s\" }\non_delay = \"4 ms\"",
                &format!("margin = \"50 mm/s\" }}\non_delay = \"{}\"", value(1)),
                1,
            );
        let path = folder.join("edited.toml");
        std::fs::write(&path, edited).expect("a setup");
        for (place, trace) in traces.iter().enumerate() {
            let trace = format!("traces-demo/{trace}.csv.gz");
            let alone = cowitness(&["replay", &trace, "--setup", text(&path), "--json", "-"]);
            let alone: Value = serde_json::from_str(out(&alone)).expect("JSON");
            let swept = &point["traces"][place];
            let count = |list: &str| alone[list].as_array().expect("a list").len();
            assert_eq!(point["checksum"], alone["setup"]["checksum"]);
            assert_eq!(swept["trips"], count("trips"), "{point}");
            assert_eq!(swept["faults"], count("faults"));
            assert_eq!(swept["verdict"], alone["verdict"]);
            assert_eq!(swept["frames"], alone["trace"]["frames"]);
        }
    }
    let trips: Vec<u64> = report["points"]
        .as_array()
        .unwrap()
        .iter()
        .map(|point| point["all"]["trips"].as_u64().unwrap())
        .collect();
    assert!(trips[0] > trips[3], "the settings make a difference: {trips:?}");
}

#[test]
fn a_point_that_the_setup_refuses_is_reported_with_the_reason_and_exits_with_1() {
    let output = sweep(&["clean-run"], &["speed.window=1 us, 8 ms"], &[]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    let table = out(&output);
    assert!(table.starts_with("2 points over 1 trace, 1 refused by the setup"), "{table}");
    assert!(table.contains("    1 us   refused\n"), "{table}");
    assert!(table.contains("Refused by the setup:\n  1 us: `window`"), "{table}");
    assert!(table.contains("Without --expected trips are only counted"), "{table}");
    assert!(table.lines().all(|line| line.chars().count() <= 80), "{table}");
}

#[test]
fn a_table_of_refused_points_alone_and_one_of_many_unjudged_points_say_so() {
    let refused = sweep(&["clean-run"], &["speed.window=1 us, 2 us"], &[]);
    assert_eq!(refused.status.code(), Some(1));
    let table = out(&refused);
    assert!(table.contains("    1 us   refused\n    2 us   refused\n"), "{table}");
    assert!(table.contains("  1 us, 2 us: `window`"), "one reason for both: {table}");
    let many = sweep(&["clean-run"], &["discrepancy.tolerance=1 mm..3 mm step 0.01 mm"], &[]);
    let table = out(&many);
    assert_eq!(table.lines().filter(|line| line.contains(" mm  ")).count(), 100, "{table}");
    assert!(table.contains("Not all points are shown, 100 at most: see --csv."), "{table}");
    let wide = [
        "monitor.\"slow while the door is open\".ramp.deceleration=2.000000001 m/s^2",
        "discrepancy.tolerance=1.000000001 mm",
    ];
    let table = sweep(&["clean-run"], &wide, &["--expected"]);
    assert!(out(&table).lines().all(|line| line.chars().count() <= 80), "{}", out(&table));
    assert!(out(&table).contains("nuisance"), "{}", out(&table));
}

#[test]
fn what_cannot_be_varied_exits_with_2_and_says_what_can() {
    let refused = |vary: &[&str], more: &[&str], expected: &str| {
        let output = sweep(&["clean-run"], vary, more);
        assert_eq!(output.status.code(), Some(2), "{vary:?} {more:?}");
        assert!(err(&output).contains(expected), "{vary:?} {more:?}: {}", err(&output));
        assert_eq!(out(&output), "");
    };
    refused(&["discrepancy.tolerence=1 mm"], &[], "did you mean `discrepancy.tolerance`?");
    refused(&["discrepancy.tolerance=1"], &[], "`1`: a number without a unit");
    refused(&["discrepancy.tolerance=1 mm..2 mm step 0 mm"], &[], "is not above zero");
    refused(&["monitor.on_delay=1 ms"], &[], "which monitor? Several have `on_delay`");
    refused(
        &["monitor.'nope'.limit=1 mm/s"],
        &[],
        "there is no monitor \"nope\"; use `monitor.\"fastest the belt may run\".limit` or",
    );
    refused(
        &["monitor.'hold at teh loading place'.on_delay=1 ms"],
        &[],
        "did you mean `monitor.\"hold at the loading place\".on_delay`?",
    );
    refused(&["speed.window=8 ms", "speed.window=9 ms"], &[], "named twice");
    refused(&["speed.window=8 ms"; 3], &[], "vary one setting, or two");
    refused(&["discrepancy.tolerance=0 mm..1 mm step 1 nm"], &[], "`nm` is not a known unit");
    refused(&[], &[], "--vary <SETTING=VALUES>");
    let vary = ["speed.window=8 ms"];
    refused(&vary, &["--slack", "5"], "--slack `5`: a number without a unit");
    refused(&vary, &["--csv", SETUP], "would be overwritten");
    refused(&vary, &["--json", "no/such/folder.json"], "there is no folder no/such to write it to");
    refused(&vary, &["--csv", "-", "--json", "-"], "is to be written twice");
    refused(&vary, &["--resume", "traces-demo/clean-run.csv.gz"], "would be overwritten");
    refused(&vary, &["--expected", "--csv", "traces-demo/clean-run.expected.toml"], "would be overwritten");
    refused(
        &vary,
        &["--expect", "traces-demo/belt-slip.toml"],
        "traces-demo/belt-slip.toml:6:1: unknown field",
    );
    let stdin = cowitness(&["sweep", "-", "--setup", SETUP, "--vary", "speed.window=8 ms"]);
    assert!(err(&stdin).contains("standard input cannot be; name a file"));
    let twice = sweep(&["clean-run", "../traces-demo/clean-run"], &vary, &[]);
    assert!(err(&twice).contains("is named twice"), "{}", err(&twice));
    let several =
        sweep(&["clean-run", "belt-slip"], &vary, &["--expect", "traces-demo/clean-run.expected.toml"]);
    assert!(err(&several).contains("--expect is of one trace"), "{}", err(&several));
}

#[test]
fn a_bad_row_exits_with_2_and_its_place_and_can_be_left_out() {
    let folder = folder("bad-row");
    let header = "time,motor_count,rail_count,rail_valid,door_1,door_2,estop_1,estop_2,at_loading,reset\n";
    let row = |ms: usize| format!("0.{ms:03},0,0,1,1,1,1,0,0,0\n");
    let mut rows: Vec<String> = (0..50).map(row).collect();
    rows[20] = "0.020,zero,0,1,1,1,1,0,0,0\n".to_owned();
    let trace = folder.join("run.csv");
    std::fs::write(&trace, header.to_owned() + &rows.concat()).expect("a trace");
    let args = ["sweep", text(&trace), "--setup", SETUP, "--vary", "discrepancy.tolerance=1 mm, 2 mm"];
    let refused = cowitness(&args);
    assert_eq!(refused.status.code(), Some(2));
    assert!(err(&refused).contains("run.csv:22:7"), "{}", err(&refused));
    let report = json(&cowitness(&[&args[..], &["--skip-bad", "--json", "-"]].concat()));
    assert_eq!(report["points"][1]["traces"][0]["skipped_rows"], 1);
}

/// The table without whatever tells of where the results came from.
fn table_and_csv(args: &[&str], csv: &Path) -> (String, String) {
    let output = cowitness(&[args, &["--csv", text(csv)]].concat());
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    (out(&output).to_owned(), std::fs::read_to_string(csv).expect("a CSV"))
}

#[test]
fn a_sweep_that_was_killed_goes_on_and_comes_to_the_same_as_in_one_go() {
    let folder = folder("killed");
    let traces: Vec<String> =
        (0..6).map(|n| text(&folder.join(format!("run-{n}.csv.gz"))).to_owned()).collect();
    for trace in &traces {
        std::fs::copy(root().join("traces-demo/counter-wrap.csv.gz"), trace).expect("a trace");
    }
    let mut args = vec!["sweep"];
    args.extend(traces.iter().map(String::as_str));
    args.extend(["--setup", SETUP, "--vary", "discrepancy.tolerance=0.1 mm..2 mm step 0.1 mm"]);
    let in_one_go = table_and_csv(&args, &folder.join("all.csv"));
    let kept = folder.join("kept");
    args.extend(["--resume", text(&kept)]);
    let lines = || std::fs::read_to_string(&kept).map_or(0, |text| text.lines().count());
    let mut child = program(&args).stdout(Stdio::null()).spawn().expect("the program");
    let began = Instant::now();
    while lines() < 2
        && child.try_wait().expect("a state").is_none()
        && began.elapsed() < Duration::from_secs(60)
    {
        std::thread::sleep(Duration::from_millis(2));
    }
    child.kill().expect("an end");
    child.wait().expect("an end");
    let before = lines();
    assert!(before > 1, "something was kept");
    assert_eq!(table_and_csv(&args, &folder.join("resumed.csv")), in_one_go);
    assert_eq!(lines(), 1 + 6 * 20);
    // Everything is there: nothing is evaluated, and a trace that is gone is still missed.
    assert_eq!(table_and_csv(&args, &folder.join("again.csv")), in_one_go);
    std::fs::copy(root().join("traces-demo/clean-run.csv.gz"), &traces[3]).expect("a trace");
    let changed = cowitness(&args);
    assert_eq!(changed.status.code(), Some(2));
    assert!(err(&changed).contains("has results of another content of"), "{}", err(&changed));
    let mut other = args.clone();
    other[args.iter().position(|arg| arg.starts_with("discrepancy.")).expect("a setting")] =
        "speed.window=8 ms";
    assert!(err(&cowitness(&other)).contains("is of another grid"), "{}", err(&cowitness(&other)));
}

#[cfg(unix)]
#[test]
fn a_trace_is_read_once_however_many_points_there_are() {
    // A pipe with a name can be read only once.
    let pipe = folder("once").join("run.csv");
    let made = Command::new("mkfifo").arg(&pipe).status().expect("mkfifo");
    assert!(made.success());
    let mut child = program(&[
        "sweep",
        text(&pipe),
        "--setup",
        SETUP,
        "--vary",
        "discrepancy.tolerance=0.05 mm..5 mm step 0.05 mm",
        "--json",
        "-",
    ])
    .stdout(Stdio::piped())
    .spawn()
    .expect("the program");
    let mut bytes = Vec::new();
    let packed = std::fs::File::open(root().join("traces-demo/belt-slip.csv.gz")).expect("a trace");
    flate2::read::GzDecoder::new(packed).read_to_end(&mut bytes).expect("a trace");
    std::fs::write(&pipe, &bytes).expect("a reader");
    let mut text = String::new();
    child.stdout.take().expect("a pipe").read_to_string(&mut text).expect("text");
    assert!(child.wait().expect("an end").success());
    let piped: Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(piped["traces"][0]["bytes"], bytes.len());
    let file =
        json(&sweep(&["belt-slip"], &["discrepancy.tolerance=0.05 mm..5 mm step 0.05 mm"], &["--json", "-"]));
    assert_eq!(piped["points"], file["points"]);
    assert_eq!(piped["points"].as_array().map(Vec::len), Some(100));
}

#[test]
fn the_csv_has_a_row_for_each_point_and_the_figures_of_the_json() {
    let vary = ["discrepancy.tolerance=0.1 mm, 2 mm", "speed.window=1 us, 8 ms"];
    let more = ["--expected", "--slack", "100 ms"];
    let csv = sweep(&["belt-slip", "clean-run"], &vary, &[&more[..], &["--csv", "-"]].concat());
    let csv = out(&csv);
    let lines: Vec<&str> = csv.lines().collect();
    assert_eq!(lines.len(), 5, "{csv}");
    assert!(lines[0].starts_with(
        "discrepancy.tolerance,speed.window,front,as_written,trips,nuisance_trips,missed_trips,"
    ));
    assert!(lines[1].starts_with("0.1 mm,1 us,,0,,,,"), "{csv}");
    assert!(lines[1].contains("finer than channel") || lines[1].contains("window"), "{csv}");
    assert!(lines[4].starts_with("2 mm,8 ms,1,1,1,0,0,0,0,0,"), "{csv}");
    let output = sweep(&["belt-slip", "clean-run"], &vary, &[&more[..], &["--json", "-"]].concat());
    let json: Value = serde_json::from_str(out(&output)).expect("JSON");
    let reaction = json["points"][3]["all"]["reaction_s"].as_f64().expect("a time");
    assert!(lines[4].contains(&format!(",{reaction:.9},")), "{reaction} in {csv}");
}

#[test]
fn many_points_are_a_short_table_with_the_front_and_a_long_csv() {
    let csv = folder("many").join("all.csv");
    let vary = ["discrepancy.tolerance=0.02 mm..3 mm step 0.02 mm"];
    let output = sweep(&["clean-run"], &vary, &["--expected", "--csv", text(&csv)]);
    let table = out(&output);
    assert!(table.starts_with("150 points over 1 trace\n"), "{table}");
    assert!(table.contains("are shown, 100 at most"), "{table}");
    // In a clean run the least tolerance without a trip beats all wider ones, and the least of all is on the front for its reaction.
    let rows = table.lines().filter(|line| line.starts_with('*') && line.contains(" mm ")).count();
    assert_eq!(rows, 2, "{table}");
    assert!(table.contains("\n =  2 mm "), "{table}");
    assert_eq!(std::fs::read_to_string(csv).expect("a CSV").lines().count(), 151);
}

#[test]
fn two_settings_of_the_discrepancy_show_how_far_the_sources_get_apart_and_the_legend_is_short_and_of_what_is_shown()
 {
    let vary = ["discrepancy.tolerance=1 mm, 8 mm", "discrepancy.skew_allowance=1 ms, 3 ms"];
    let output = sweep(&["belt-slip"], &vary, &["--expected"]);
    let table = out(&output);
    let apart: Vec<f64> = (table.lines().filter(|line| line.contains(" mm  ") && line.contains("31.270")))
        .map(|line| line.split_whitespace().rev().nth(1).expect("a figure").parse().expect("a number"))
        .collect();
    assert_eq!(apart.len(), 4, "{table}");
    assert!(
        (apart[2] - apart[0] - 7.0).abs() < 0.002 && (apart[3] - apart[1] - 7.0).abs() < 0.002,
        "{table}"
    );
    assert!(apart[1] > apart[0] && apart[3] > apart[2], "{table}");
    let (_, legend) =
        table.split_once("\n\n").and_then(|(_, rest)| rest.split_once("\n\n")).expect("a legend");
    assert!(legend.contains("; apart: how far the") && !legend.contains("travel"), "{table}");
    assert!(legend.lines().count() <= 7, "{table}");
}

#[test]
fn a_softer_ramp_shows_the_way_from_its_demand_and_the_distance_of_the_approach() {
    let vary = ["monitor.'slow while the door is open'.ramp.deceleration=1654 mm/s^2, 1655 mm/s^2, 2 m/s^2"];
    let output = sweep(&["soft-braking"], &vary, &[]);
    let table = out(&output);
    assert!(table.contains("20.290  31.568  637.789  1297.076\n"), "{table}");
    assert!(table.contains("20.290  31.568  734.126  1486.196\n"), "{table}");
    assert!(table.contains("distance: what the approach needs after ISO"), "{table}");
    assert!(table.lines().all(|line| line.chars().count() <= 80), "{table}");
    // Where there is no room for a column the legend says so.
    let wide = sweep(
        &["belt-slip"],
        &["speed.window=8 ms, 16 ms", "discrepancy.tolerance=1 mm, 2 mm"],
        &["--expected"],
    );
    let table = out(&wide);
    assert!(table.lines().all(|line| line.chars().count() <= 80), "{table}");
    assert!(table.contains("No room here, but in --csv and counted for it: demand, distance.\n"), "{table}");
    assert!(!table.contains("distance: what"), "{table}");
}

#[test]
fn a_setup_that_says_nothing_of_its_machine_says_that_travel_is_not_known() {
    let setup = std::fs::read_to_string(root().join(SETUP)).expect("the setup");
    let path = folder("silent").join("axis.toml");
    std::fs::write(&path, setup.split("[machine]").next().expect("a setup")).expect("a setup");
    let vary = "monitor.'fastest the belt may run'.limit=1 m/s, 2 m/s";
    let output =
        cowitness(&["sweep", "traces-demo/clean-run.csv.gz", "--setup", text(&path), "--vary", vary]);
    let table = out(&output);
    assert!(table.contains("How far the axis travels is not known"), "{table}");
    assert!(!table.contains("travel until"), "{table}");
}

#[test]
fn another_grid_is_told_in_short() {
    let kept = folder("brief").join("kept");
    let resume = ["--resume", text(&kept)];
    let first = sweep(&["clean-run"], &["discrepancy.tolerance=1 mm..3 mm step 0.02 mm"], &resume);
    assert_eq!(first.status.code(), Some(0), "{}", err(&first));
    let other = sweep(&["clean-run"], &["discrepancy.tolerance=1 mm..2 mm step 0.01 mm"], &resume);
    let said = "it varied discrepancy.tolerance=1 mm, 1.02 mm, ... 3 mm (101 values), and now it is \
                discrepancy.tolerance=1 mm, 1.01 mm, ... 2 mm (101 values); name another file";
    assert!(err(&other).contains(said), "{}", err(&other));
}

/// The words of a command, with those in double quotes kept together.
fn words(command: &str) -> Vec<&str> {
    let parts = command.split('"').enumerate();
    parts
        .flat_map(|(i, part)| if i % 2 == 1 { vec![part] } else { part.split_whitespace().collect() })
        .collect()
}

#[test]
fn the_example_of_the_readme_prints_what_stands_there() {
    const PROGRAM: &str = "$ cargo run --release --bin cowitness -- ";
    let readme = include_str!("../../README.md");
    let (_, section) = readme.split_once("## Which setting? sweep\n").expect("the section");
    let (_, block) = section.split_once("```console\n").expect("a command");
    let (command, rest) = block.split_once("```").expect("its end");
    let command = command.replace("\\\n", " ");
    let args = words(command.trim().strip_prefix(PROGRAM).expect("the program"));
    let (_, table) = rest.split_once("```text\n").expect("what it prints");
    let (table, _) = table.split_once("```").expect("its end");
    let output = cowitness(&args);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(out(&output).starts_with(&format!("{table}\n")), "{}", out(&output));
    assert!(table.contains("\n =  2 mm"), "with what is written");
}
