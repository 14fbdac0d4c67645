//! The program on the demo traces: exit statuses, and the commands of the gallery as they are printed there.

mod program;

use std::path::Path;
use std::process::Output;

use program::{cowitness, err, out, program, root};

const SETUP: &str = "traces-demo/shuttle.toml";

fn replay(name: &str, more: &[&str]) -> Output {
    let trace = format!("traces-demo/{name}.csv.gz");
    cowitness(&[&["replay", &trace, "--setup", SETUP], more].concat())
}

#[test]
fn a_clean_run_exits_with_0_and_a_trip_or_a_fault_with_1() {
    for (name, code, verdict) in
        [("clean-run", 0, "CLEAR"), ("overspeed-door-open", 1, "TRIPPED"), ("rail-cable-fault", 1, "FAULT")]
    {
        let output = replay(name, &[]);
        assert_eq!(output.status.code(), Some(code), "{name}: {}", err(&output));
        assert!(out(&output).starts_with(verdict), "{}", out(&output));
    }
}

#[test]
fn expectations_met_exit_with_0_whatever_tripped_and_missed_ones_with_1() {
    let met = replay("overspeed-door-open", &["--expect", "traces-demo/overspeed-door-open.expected.toml"]);
    assert_eq!(met.status.code(), Some(0), "{}", err(&met));
    assert!(out(&met).contains("All expectations met"));
    let missed = replay("overspeed-door-open", &["--expect", "traces-demo/clean-run.expected.toml"]);
    assert_eq!(missed.status.code(), Some(1), "{}", err(&missed));
    assert!(out(&missed).contains("Expectations missed"));
}

#[test]
fn a_trace_that_the_setup_cannot_read_exits_with_2_and_names_the_place() {
    let trace = "traces-demo/asynchronous-readings.csv.gz";
    let output = cowitness(&["replay", trace, "--setup", SETUP]);
    assert_eq!(output.status.code(), Some(2));
    assert!(err(&output).contains(&format!("{trace}:6:9: column `motor_count`: the cell is empty")));
    assert_eq!(out(&output), "");
}

#[test]
fn a_replayed_trace_on_standard_input_gives_the_same_verdict_as_its_file() {
    let made = cowitness(&["synth", "traces-demo/belt-slip.toml", "--out", "-", "--quiet"]);
    assert_eq!(made.status.code(), Some(0), "{}", err(&made));
    let expect = ["--expect", "traces-demo/belt-slip.expected.toml"];
    let mut child = program(&[&["replay", "-", "--setup", SETUP], &expect[..]].concat())
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped())
        .spawn()
        .expect("the program");
    let mut stdin = child.stdin.take().expect("a pipe");
    std::io::Write::write_all(&mut stdin, &made.stdout).expect("a reader");
    drop(stdin);
    let piped = child.wait_with_output().expect("an end");
    assert_eq!(piped.status.code(), Some(0));
    let file = replay("belt-slip", &["--expect", "traces-demo/belt-slip.expected.toml"]);
    // All but the first line, which names the trace.
    let body = |output: &Output| out(output).split_once('\n').expect("lines").1.to_owned();
    assert_eq!(body(&piped), body(&file));
}

/// The blocks of a page, each with the word behind its opening fence.
fn blocks(page: &str) -> Vec<(&str, Vec<&str>)> {
    let mut blocks: Vec<(&str, Vec<&str>)> = Vec::new();
    let mut open = false;
    for line in page.lines() {
        match line.strip_prefix("```") {
            Some(word) if !open => {
                blocks.push((word, Vec::new()));
                open = true;
            }
            Some(_) => open = false,
            None if open => blocks.last_mut().expect("an open block").1.push(line),
            None => {}
        }
    }
    blocks
}

#[test]
fn every_command_of_the_gallery_runs_as_printed_and_prints_what_stands_below_it() {
    const PROGRAM: &str = "cargo run -q -p host-harness --bin cowitness -- ";
    let page = std::fs::read_to_string(root().join("traces-demo/README.md")).expect("the gallery");
    // Cargo makes it before the program runs, unless it was told to use another place.
    std::fs::create_dir_all(root().join("target")).expect("the folder of what is built");
    let blocks = blocks(&page);
    let mut shown = 0;
    for pair in blocks.windows(2).filter(|pair| pair[0].0 == "sh") {
        let (commands, (kind, lines)) = (&pair[0].1, &pair[1]);
        assert_eq!(*kind, "text", "below {commands:?}");
        let mut printed = String::new();
        for command in commands {
            let args = command.strip_prefix(PROGRAM).unwrap_or_else(|| panic!("another program: {command}"));
            let output = cowitness(&args.split(' ').collect::<Vec<_>>());
            assert_eq!(output.status.code(), Some(0), "{command}: {}{}", out(&output), err(&output));
            out(&output).clone_into(&mut printed);
        }
        for line in lines {
            assert!(printed.lines().any(|known| known.starts_with(line)), "{line:?} is not in:\n{printed}");
        }
        shown += 1;
    }
    assert_eq!(shown, page.matches("\n### ").count(), "one for each demo");
    assert!(shown >= 8, "{shown}");
}

#[test]
fn an_output_compares_nothing_and_is_not_blamed_for_it() {
    let output = cowitness(&[
        "replay",
        "traces-demo/every-function.csv.gz",
        "--setup",
        "traces-demo/every-function.setup.toml",
    ]);
    let notes: Vec<&str> = out(&output).lines().filter(|line| line.starts_with("  note: ")).collect();
    assert_eq!(notes, ["  note: controlled stop was never active in this trace"]);
}

#[test]
fn a_trace_made_by_the_program_is_the_one_kept_to_the_byte() {
    let made = Path::new(env!("CARGO_TARGET_TMPDIR")).join("belt-slip.csv.gz");
    let to = made.to_str().expect("a path in UTF-8");
    let output = cowitness(&["synth", "traces-demo/belt-slip.toml", "--out", to]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(
        err(&output).contains("10000 rows") && err(&output).contains("invented data"),
        "{}",
        err(&output)
    );
    let kept = std::fs::read(root().join("traces-demo/belt-slip.csv.gz")).expect("a trace");
    assert!(std::fs::read(&made).expect("a trace") == kept);
}
