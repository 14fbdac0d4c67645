//! The program as a user meets it: exit status, messages with their place, reports.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

const SETUP: &str = r#"
title = "Shuttle, invented"
unit  = "mm"
[time]
column = "time"
unit   = "s"
[channel.a]
column         = "motor"
counter_bits   = 32
unit_per_count = "0.0005 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[channel.b]
column         = "rail"
counter_bits   = 24
unit_per_count = "0.001 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[speed]
window = "8 ms"
[discrepancy]
tolerance        = "2 mm"
discrepancy_time = "20 ms"
[[monitor]]
name     = "slow while the door is open"
kind     = "speed-limit"
demand   = ["door_open"]
limit    = "250 mm/s"
on_delay = "4 ms"
"#;

/// A folder of its own for one test.
struct Bench(PathBuf);

impl Bench {
    fn new(name: &str) -> Self {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(&folder).unwrap();
        let bench = Self(folder);
        bench.write("axis.toml", SETUP);
        bench
    }

    fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        std::fs::write(self.0.join(name), content).unwrap();
    }

    fn run(&self, args: &[&str]) -> Output {
        self.run_with(args, b"")
    }

    fn run_with(&self, args: &[&str], input: &[u8]) -> Output {
        let mut child = Command::new(env!("CARGO_BIN_EXE_cowitness"))
            .args(args)
            .current_dir(&self.0)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        // The program may have gone before it has read everything.
        let _ = child.stdin.take().unwrap().write_all(input);
        child.wait_with_output().unwrap()
    }

    fn replay(&self, trace: &str) -> Output {
        self.run(&["replay", trace, "--setup", "axis.toml"])
    }
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// Steady motion at 1 kHz; both sources see `mm_per_ms`.
fn trace(rows: u64, mm_per_ms: f64, door: u8) -> String {
    let mut text = String::from("time,motor,rail,door_open\n");
    for k in 0..rows {
        let x = k as f64 * mm_per_ms;
        let (motor, rail) = ((x * 2000.0).round() as i64, (x * 1000.0).round() as i64);
        text += &format!("{}.{:03},{motor},{rail},{door}\n", k / 1000, k % 1000);
    }
    text
}

#[test]
fn a_clear_trace_exits_with_0_and_a_tripped_one_with_1() {
    let bench = Bench::new("exit");
    bench.write("slow.csv", trace(100, 0.2, 1));
    bench.write("fast.csv", trace(100, 0.3, 1));
    let slow = bench.replay("slow.csv");
    assert_eq!(slow.status.code(), Some(0), "{}", err(&slow));
    assert!(out(&slow).starts_with("CLEAR  slow.csv\n"), "{}", out(&slow));
    let fast = bench.replay("fast.csv");
    assert_eq!(fast.status.code(), Some(1), "{}", err(&fast));
    // The window is full at 8 ms, the violation has to last 4 ms; both channels see the same.
    let text = out(&fast);
    assert!(text.contains("0.012 s  channel a  slow while the door is open (speed-limit)"), "{text}");
    assert!(text.contains("300.0000 mm/s, allowed 250.0000 mm/s, 50.0000 mm/s too fast"), "{text}");
    assert!(text.contains("channel b tripped at the same frame"), "{text}");
    assert!(text.contains("not a certified safety component"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
}

#[test]
fn json_on_standard_output_is_the_whole_output() {
    let bench = Bench::new("json");
    bench.write("fast.csv", trace(100, 0.3, 1));
    let run = bench.run(&["replay", "fast.csv", "--setup", "axis.toml", "--json", "-"]);
    let json: serde_json::Value = serde_json::from_slice(&run.stdout).unwrap();
    assert_eq!(json["verdict"], "tripped");
    assert_eq!(json["trips"][0]["tripped_s"].as_f64(), Some(0.012));
    assert!(out(&run).contains("\"tripped_s\": 0.012000000"), "nanosecond digits are kept in the text");
    assert_eq!(json["trips"][0]["confirmed_by"]["channel"], "b");
    assert_eq!(json["trips"].as_array().unwrap().len(), 2);
}

#[test]
fn several_traces_are_reported_in_their_order_and_the_worst_decides() {
    let bench = Bench::new("several");
    bench.write("slow.csv", trace(3000, 0.2, 1));
    bench.write("fast.csv", trace(100, 0.3, 1));
    let run = bench.run(&[
        "replay",
        "slow.csv",
        "fast.csv",
        "slow.csv",
        "--setup",
        "axis.toml",
        "--json",
        "all.json",
    ]);
    assert_eq!(run.status.code(), Some(1));
    let json: serde_json::Value =
        serde_json::from_slice(&std::fs::read(bench.0.join("all.json")).unwrap()).unwrap();
    let verdicts: Vec<_> =
        json.as_array().unwrap().iter().map(|one| one["verdict"].as_str().unwrap()).collect();
    assert_eq!(verdicts, ["clear", "tripped", "clear"]);
    let missing = bench.run(&["replay", "slow.csv", "none.csv", "--setup", "axis.toml"]);
    assert_eq!(missing.status.code(), Some(2));
    assert!(err(&missing).contains("none.csv: there is no such file"), "{}", err(&missing));
}

#[test]
fn standard_input_gives_the_same_report_as_the_file() {
    let bench = Bench::new("stdin");
    let text = trace(5000, 0.3, 1);
    bench.write("fast.csv", &text);
    let file = bench.replay("fast.csv");
    let piped = bench.run_with(&["replay", "-", "--setup", "axis.toml"], text.as_bytes());
    assert_eq!(out(&file).replace("fast.csv", "-"), out(&piped));
    assert_eq!(piped.status.code(), Some(1));
}

#[test]
fn expectations_decide_the_exit_status() {
    let bench = Bench::new("expect");
    bench.write("fast.csv", trace(100, 0.3, 1));
    let run = |expect: &str| {
        bench.write("expect.toml", expect);
        bench.run(&["replay", "fast.csv", "--setup", "axis.toml", "--expect", "expect.toml"])
    };
    let met = run(
        "verdict = \"tripped\"\n[[trip]]\nmonitor = \"slow while the door is open\"\nfrom = \"12 ms\"\nto = \"0.012 s\"\n",
    );
    assert_eq!(met.status.code(), Some(0), "{}{}", out(&met), err(&met));
    assert!(out(&met).contains("All expectations met"));
    let early = run("[[trip]]\nto = \"11.9 ms\"\n");
    assert_eq!(early.status.code(), Some(1));
    assert!(out(&early).contains("expected a trip until 0.011900000 s; there was none"), "{}", out(&early));
    let unnamed = run("verdict = \"tripped\"\n");
    assert_eq!(unnamed.status.code(), Some(1), "a trip that no entry names is a miss");
    let accepted = run("others = \"accepted\"\n");
    assert_eq!(accepted.status.code(), Some(0));
    let forbidden = run("others = \"accepted\"\n[[no_trip]]\nchannel = \"b\"\n");
    assert_eq!(forbidden.status.code(), Some(1));
    for (bad, says) in [
        ("[[trip]]\nmonitor = \"slow\"\n", "the setup has no monitor `slow`"),
        ("[[trip]]\nform = \"1 s\"\n", "unknown field `form`"),
        ("[[trip]]\nfrom = \"1 mm\"\n", ":2:8: "),
        ("[[trip]]\nfrom = \"2 s\"\nto = \"1 s\"\n", "ends before it begins"),
    ] {
        let run = run(bad);
        assert_eq!(run.status.code(), Some(2), "{bad}");
        assert!(err(&run).contains(says), "{}", err(&run));
    }
}

#[test]
fn every_bad_trace_is_refused_with_its_place_and_without_a_verdict() {
    let bench = Bench::new("bad");
    let head = "time,motor,rail,door_open\n0.000,0,0,0\n";
    let with = |row: &str| format!("{head}{row}\n0.002,0,0,0\n").into_bytes();
    let cases: Vec<(&str, Vec<u8>, &str)> = vec![
        ("empty", Vec::new(), "bad.csv: "),
        ("header only", b"time,motor,rail,door_open\n".to_vec(), "bad.csv: "),
        ("missing column", b"time,motor,door_open\n0,0,0\n".to_vec(), "bad.csv:1"),
        ("doubled column", b"time,motor,rail,rail,door_open\n0,0,0,0,0\n".to_vec(), "bad.csv:1:17"),
        ("text", with("0.001,abc,0,0"), "bad.csv:3:7"),
        ("NaN", with("0.001,0,NaN,0"), "bad.csv:3:9"),
        ("infinity", with("inf,0,0,0"), "bad.csv:3:1"),
        ("empty cell", with("0.001,,0,0"), "bad.csv:3:7"),
        ("beyond its width", with("0.001,0,16777216,0"), "bad.csv:3:9"),
        ("time repeats", with("0.000,0,0,0"), "bad.csv:3:1"),
        ("time goes back", b"time,motor,rail,door_open\n0.1,0,0,0\n0.05,0,0,0\n".to_vec(), "bad.csv:3:1"),
        (
            "invalid UTF-8",
            with("0.001,0,0,0\u{e9}").iter().map(|&b| if b == 0xc3 { 0xff } else { b }).collect(),
            "bad.csv:3:",
        ),
        ("too short", with("0.001,0,0"), "bad.csv:3"),
        ("too long", with("0.001,0,0,0,0"), "bad.csv:3"),
        ("level", with("0.001,0,0,2"), "bad.csv:3:11"),
    ];
    for (what, content, place) in cases {
        bench.write("bad.csv", content);
        let run = bench.run(&["replay", "bad.csv", "--setup", "axis.toml", "--json", "bad.json"]);
        assert_eq!(run.status.code(), Some(2), "{what}");
        assert!(err(&run).contains(place), "{what}: {}", err(&run));
        assert_eq!(out(&run), "", "{what}: no partial verdict");
        assert!(!bench.0.join("bad.json").exists(), "{what}: no partial report");
    }
}

#[test]
fn a_truncated_gzip_a_long_line_and_unreadable_files_are_refused() {
    let bench = Bench::new("files");
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    gzip.write_all(trace(20_000, 0.2, 0).as_bytes()).unwrap();
    let gzip = gzip.finish().unwrap();
    bench.write("whole.csv.gz", &gzip);
    bench.write("cut.csv.gz", &gzip[..gzip.len() / 2]);
    assert_eq!(bench.replay("whole.csv.gz").status.code(), Some(0));
    let cut = bench.replay("cut.csv.gz");
    assert_eq!(cut.status.code(), Some(2));
    assert!(err(&cut).contains("truncated") || err(&cut).contains("ends"), "{}", err(&cut));
    bench.write("long.csv", vec![b'7'; 5 << 20]);
    let long = bench.replay("long.csv");
    assert_eq!(long.status.code(), Some(2));
    assert!(err(&long).contains("line"), "{}", err(&long));
    std::fs::create_dir(bench.0.join("folder")).unwrap();
    assert!(err(&bench.replay("folder")).contains("directory"));
    assert!(err(&bench.replay("nowhere.csv")).contains("no such file"));
    let setup = bench.run(&["replay", "whole.csv.gz", "--setup", "folder"]);
    assert_eq!(setup.status.code(), Some(2));
    assert!(err(&setup).contains("directory"), "{}", err(&setup));
}

#[test]
fn bad_rows_are_left_out_and_counted_only_on_request() {
    let bench = Bench::new("skip");
    bench.write("bad.csv", trace(50, 0.2, 0).replace("0.020,8000,", "0.020,oops,"));
    assert_eq!(bench.replay("bad.csv").status.code(), Some(2));
    let run = bench.run(&["replay", "bad.csv", "--setup", "axis.toml", "--skip-bad"]);
    assert_eq!(run.status.code(), Some(0), "{}", err(&run));
    assert!(out(&run).contains("1 bad rows were left out"), "{}", out(&run));
    assert!(err(&run).contains("bad.csv:22:7"), "{}", err(&run));
}

#[test]
fn a_gap_longer_than_the_timeout_is_a_fault_of_the_axis_and_not_of_the_file() {
    let bench = Bench::new("gap");
    let rows = trace(60, 0.2, 0);
    let kept: Vec<&str> =
        rows.lines().enumerate().filter(|(i, _)| !(21..=26).contains(i)).map(|(_, line)| line).collect();
    bench.write("gap.csv", kept.join("\n") + "\n");
    let run = bench.replay("gap.csv");
    assert_eq!(run.status.code(), Some(1));
    let text = out(&run);
    assert!(text.starts_with("FAULT"), "{text}");
    assert!(text.contains("no row from 0.019 s to 0.026 s"), "{text}");
    assert!(text.contains("0.026 s  channel a  stale"), "{text}");
}

#[test]
fn a_mistake_in_the_setup_is_shown_with_its_line() {
    let bench = Bench::new("setup");
    bench.write("run.csv", trace(10, 0.2, 0));
    bench.write("axis.toml", SETUP.replace("limit    = \"250 mm/s\"", "limit    = \"250 ms\""));
    let run = bench.replay("run.csv");
    assert_eq!(run.status.code(), Some(2));
    let text = err(&run);
    assert!(text.contains("axis.toml:28:17") && text.contains("250 ms") && text.contains('^'), "{text}");
    bench.write("axis.toml", SETUP.replace("window =", "windw ="));
    assert!(
        err(&bench.replay("run.csv")).contains("did you mean `window`"),
        "{}",
        err(&bench.replay("run.csv"))
    );
}

#[test]
fn usage_errors_exit_with_2_and_help_with_0() {
    let bench = Bench::new("usage");
    assert_eq!(bench.run(&["replay", "x.csv"]).status.code(), Some(2));
    assert_eq!(bench.run(&["repaly"]).status.code(), Some(2));
    let help = bench.run(&["--help"]);
    assert_eq!(help.status.code(), Some(0));
    assert!(out(&help).contains("not a certified safety component"));
    assert_eq!(bench.run(&["--version"]).status.code(), Some(0));
}

#[test]
fn a_source_that_never_delivers_gives_no_verdict() {
    let bench = Bench::new("never");
    bench.write(
        "axis.toml",
        SETUP.replace("column         = \"rail\"\n", "column         = \"rail\"\nsparse         = true\n"),
    );
    bench.write("half.csv", "time,motor,rail,door_open\n0.000,0,,0\n0.001,0,,0\n");
    let run = bench.replay("half.csv");
    assert_eq!(run.status.code(), Some(2), "{}", out(&run));
    assert!(
        err(&run).contains("column `rail`: channel b has no reading in the whole trace"),
        "{}",
        err(&run)
    );
}

#[test]
fn a_file_that_is_read_is_never_written_over() {
    let bench = Bench::new("keep");
    bench.write("slow.csv", trace(50, 0.2, 1));
    bench.write("expect.toml", "verdict = \"clear\"\n");
    bench.write("scenario.toml", "title = \"x\"\n");
    let kept = |name: &str| std::fs::read(bench.0.join(name)).unwrap();
    for name in ["slow.csv", "axis.toml", "expect.toml", "./slow.csv"] {
        let before = kept(name);
        let run = bench.run(&[
            "replay",
            "slow.csv",
            "--setup",
            "axis.toml",
            "--expect",
            "expect.toml",
            "--json",
            name,
        ]);
        assert_eq!(run.status.code(), Some(2), "{name}: {}", err(&run));
        assert!(err(&run).contains("would be overwritten"), "{}", err(&run));
        assert!(kept(name) == before, "{name} is lost");
    }
    let synth = bench.run(&["synth", "scenario.toml", "--out", "scenario.toml"]);
    assert_eq!(synth.status.code(), Some(2));
    assert_eq!(kept("scenario.toml"), b"title = \"x\"\n");
}

#[test]
fn a_missed_expectation_is_said_even_when_quiet() {
    let bench = Bench::new("quiet");
    bench.write("slow.csv", trace(50, 0.2, 1));
    bench.write("expect.toml", "verdict = \"tripped\"\n");
    let run = bench.run(&["replay", "slow.csv", "--setup", "axis.toml", "--expect", "expect.toml", "-q"]);
    assert_eq!(run.status.code(), Some(1));
    assert_eq!(out(&run), "");
    assert_eq!(err(&run), "missed: slow.csv: the verdict is clear, expected tripped\n");
}

/// One count over the window is 10 mm/s here: a steady 13 mm/s shows as 10 or 20 mm/s in turn.
#[test]
fn a_limit_that_one_count_over_the_window_is_much_of_is_named_with_the_speed_below_which_it_may_fail() {
    let bench = Bench::new("coarse");
    let coarse = SETUP
        .replace("\"0.0005 mm\"", "\"0.1 mm\"")
        .replace("\"0.001 mm\"", "\"0.1 mm\"")
        .replace("\"8 ms\"", "\"10 ms\"")
        .replace("\"250 mm/s\"", "\"12 mm/s\"");
    bench.write("axis.toml", &coarse);
    let steady = |mm_per_s: u64| {
        let mut text = String::from("time,motor,rail,door_open\n");
        for k in 0..400 {
            let count = k * mm_per_s / 100;
            text += &format!("0.{k:03},{count},{count},1\n");
        }
        text
    };
    bench.write("13.csv", steady(13));
    bench.write("23.csv", steady(23));
    let seen = bench.replay("13.csv");
    assert_eq!(seen.status.code(), Some(0), "{}", out(&seen));
    let note = "  note: slow while the door is open on channel a is coarse:\n        \
                with 10.0000 mm/s a count, a steady speed below\n        \
                22.0000 mm/s may go on without a trip\n";
    assert!(out(&seen).contains(note), "{}", out(&seen));
    assert!(
        out(&seen).contains("     one count over the window of 10.0 ms is 10.0000 mm/s\n"),
        "{}",
        out(&seen)
    );
    assert_eq!(bench.replay("23.csv").status.code(), Some(1));
    // Without an on-delay one window above the limit is enough.
    bench.write(
        "axis.toml",
        coarse.replace("\"4 ms\"\n", "\"0 ms\"\n").replace("timeout        = \"0 ms\"", "timeout = \"4 ms\""),
    );
    let seen = bench.replay("13.csv");
    assert_eq!(seen.status.code(), Some(1), "{}", err(&seen));
    assert!(!out(&seen).contains("is coarse"), "{}", out(&seen));
}

/// One count over the window is 12.5 mm/s here, so a steady 260 mm/s shows as 250 or 262.5 mm/s, and never for long as the latter.
#[test]
fn a_limit_that_is_exceeded_only_now_and_then_is_named_although_nothing_trips() {
    let bench = Bench::new("now-and-then");
    let coarse = SETUP.replace("\"0.0005 mm\"", "\"0.1 mm\"").replace("\"0.001 mm\"", "\"0.1 mm\"");
    bench.write("axis.toml", coarse);
    let mut text = String::from("time,motor,rail,door_open\n");
    for k in 0..200_u32 {
        let count = k * 26 / 10;
        text += &format!("0.{k:03},{count},{count},1\n");
    }
    bench.write("steady.csv", text);
    let run = bench.replay("steady.csv");
    assert_eq!(run.status.code(), Some(0), "{}", out(&run));
    assert!(
        out(&run).contains("note: slow while the door is open on channel a was exceeded at "),
        "{}",
        out(&run)
    );
    assert!(out(&run).contains("  permit   given at 0.008 s\n"), "{}", out(&run));
}

#[test]
fn a_verdict_with_bad_rows_left_out_says_so_first_and_a_wrong_width_is_no_reason_to_leave_rows_out() {
    let bench = Bench::new("left-out");
    bench.write("slow.csv", trace(100, 0.2, 1).replace("0.050,", "later,"));
    let run = bench.run(&["replay", "slow.csv", "--setup", "axis.toml", "--skip-bad"]);
    assert!(out(&run).starts_with("CLEAR, with bad rows left out  slow.csv\n"), "{}", out(&run));
    assert!(!err(&run).contains("--skip-bad"), "it is given already: {}", err(&run));
    bench.write("axis.toml", SETUP.replace("= 32", "= 16"));
    bench.write("far.csv", trace(200, 0.2, 1));
    let run = bench.replay("far.csv");
    assert_eq!(run.status.code(), Some(2));
    assert!(err(&run).ends_with("correct its width in the setup\n"), "{}", err(&run));
}

#[test]
fn a_cycle_tells_what_it_passed_over_and_the_gaps_of_the_rows() {
    let bench = Bench::new("cycle");
    bench.write("axis.toml", SETUP.replacen("unit  = \"mm\"\n", "unit  = \"mm\"\ncycle = \"2 ms\"\n", 1));
    let text = trace(100, 0.2, 1);
    let rows: Vec<&str> =
        text.lines().filter(|row| !(60..68).any(|ms| row.starts_with(&format!("0.0{ms},")))).collect();
    bench.write("slow.csv", rows.join("\n"));
    let run = bench.replay("slow.csv");
    let said = out(&run);
    assert!(said.contains("  gap      no row from 0.059 s to 0.068 s\n"), "{said}");
    assert_eq!(said.matches("  gap ").count(), 1, "{said}");
    assert!(said.contains("  rows     92, longest period 0.009 s; evaluated every `cycle`\n"), "{said}");
    assert!(
        said.contains("           45 readings of a and 45 of b were passed over for newer ones\n"),
        "{said}"
    );
}

#[test]
fn an_implausible_reading_is_told_with_the_travel_the_time_and_what_the_mechanics_can() {
    let bench = Bench::new("implausible");
    bench.write("jump.csv", trace(100, 0.2, 1).replace("0.050,20000,10000,", "0.050,20000,60000,"));
    let said = out(&bench.replay("jump.csv"));
    let told = "      that is 50.2000 mm from the one before, within 1.0 ms: 50200.0000 mm/s,\n      \
                and the mechanics can do 3000.0000 mm/s (`max_speed`)\n";
    assert!(said.contains(told), "{said}");
}

#[test]
fn what_was_never_watched_does_not_look_like_what_held() {
    let bench = Bench::new("unwatched");
    bench.write("closed.csv", trace(100, 0.3, 0));
    let said = out(&bench.replay("closed.csv"));
    assert!(said.contains("  note: slow while the door is open was never active in this trace\n"), "{said}");
    bench.write("short.csv", trace(3, 0.3, 1));
    let said = out(&bench.replay("short.csv"));
    assert!(
        said.contains("  note: slow while the door is open was active, but never had anything to compare\n"),
        "{said}"
    );
}

#[test]
fn a_timeout_shorter_than_the_time_between_readings_is_told() {
    let bench = Bench::new("timeout");
    bench.write("axis.toml", SETUP.replace("timeout        = \"4 ms\"", "timeout        = \"0.5 ms\""));
    bench.write("slow.csv", trace(20, 0.2, 1));
    let said = out(&bench.replay("slow.csv"));
    assert!(said.contains("     its timeout of 0.5 ms is shorter than that\n"), "{said}");
}

#[test]
fn a_file_that_is_no_setup_is_refused_in_a_few_lines() {
    let bench = Bench::new("no-setup");
    bench.write("slow.csv", trace(5000, 0.2, 1));
    let run = bench.run(&["replay", "slow.csv", "--setup", "slow.csv"]);
    assert_eq!(run.status.code(), Some(2));
    assert!(err(&run).lines().count() < 300, "{}", err(&run).lines().count());
    assert!(err(&run).contains(" more in slow.csv; is it a setup file?\n"), "{}", err(&run));
}

#[test]
fn a_reader_that_goes_away_is_no_error_of_a_synthetic_trace() {
    let scenario = Path::new(env!("CARGO_MANIFEST_DIR")).join("../traces-demo/clean-run.toml");
    let mut child = Command::new(env!("CARGO_BIN_EXE_cowitness"))
        .args(["synth", scenario.to_str().unwrap(), "--out", "-", "--quiet"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let run = child.wait_with_output().unwrap();
    assert_eq!((run.status.code(), err(&run).as_str()), (Some(0), ""));
}
