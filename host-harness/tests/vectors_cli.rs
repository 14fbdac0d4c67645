//! `cowitness vectors` and `cowitness compare` as a user meets them.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::LazyLock;

/// Vectors of the built-in setup, written once by the program.
static WRITTEN: LazyLock<(PathBuf, String)> = LazyLock::new(|| {
    let folder = folder("vectors-shared");
    let run = run_in(&folder, &["vectors", "--csv", "vectors.csv", "--c", "vectors.h"]);
    assert_eq!(run.status.code(), Some(0), "{}", err(&run));
    (folder, out(&run))
});

/// What is said of the further built-in setup.
static FURTHER: LazyLock<String> = LazyLock::new(|| {
    let run = run_in(&folder("vectors-further"), &["vectors", "--built-in", "further"]);
    assert_eq!(run.status.code(), Some(0), "{}", err(&run));
    out(&run)
});

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

fn run_in(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_cowitness")).args(args).current_dir(folder).output().unwrap()
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

fn vectors() -> String {
    std::fs::read_to_string(WRITTEN.0.join("vectors.csv")).unwrap()
}

/// Column names and rows of the vectors.
fn table() -> (Vec<String>, Vec<Vec<String>>) {
    let text = vectors();
    let mut rows = text
        .lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| line.split(',').map(str::to_owned).collect::<Vec<_>>());
    let header = rows.next().unwrap();
    (header, rows.collect())
}

/// A log of these columns, after `change` has had its way with each row.
fn log(columns: &[&str], mut change: impl FnMut(&dyn Fn(&str) -> usize, &mut Vec<Vec<String>>)) -> String {
    let (header, mut rows) = table();
    let place = |name: &str| header.iter().position(|column| column == name).unwrap();
    change(&place, &mut rows);
    let mut text = columns.join(",") + "\n";
    for row in rows {
        let cells: Vec<&str> = columns.iter().map(|column| row[place(column)].as_str()).collect();
        text += &(cells.join(",") + "\n");
    }
    text
}

/// Compares a log with the vectors of the built-in setup.
fn compare(name: &str, log: &str) -> Output {
    let path = WRITTEN.0.join(name);
    std::fs::write(&path, log).unwrap();
    run_in(&WRITTEN.0, &["compare", name, "--vectors", "vectors.csv"])
}

#[test]
fn the_built_in_vectors_are_covered_and_say_so() {
    let text = &WRITTEN.1;
    assert!(text.contains(" 0 NOT COVERED"), "{text}");
    assert!(text.contains("one count more than plausible, backwards"), "{text}");
    assert!(text.contains("Settings moved by their smallest step: "), "{text}");
}

#[test]
fn the_further_vectors_are_covered_and_their_setup_is_printed_on_request() {
    assert!(FURTHER.contains(" 0 NOT COVERED"), "{}", *FURTHER);
    let printed = run_in(&folder("vectors-printed"), &["vectors", "--print-setup", "--built-in", "further"]);
    assert_eq!(out(&printed), host_harness::vectors::FURTHER_SETUP);
    let both = run_in(&folder("vectors-both"), &["vectors", "--setup", "a.toml", "--built-in", "further"]);
    assert_eq!(both.status.code(), Some(2));
    assert!(err(&both).contains("cannot be used with"), "{}", err(&both));
}

#[test]
fn the_readme_shows_what_is_printed() {
    let readme = include_str!("../../README.md");
    let section = readme.split("## Checking firmware of your own").nth(1).unwrap();
    let section = section.split("\n## ").next().unwrap();
    let compared = run_in(&WRITTEN.0, &["compare", "vectors.csv", "--vectors", "vectors.csv"]);
    let printed = WRITTEN.1.clone() + &FURTHER + &out(&compared);
    let mut shown = 0;
    for block in section.split("```text\n").skip(1) {
        for line in block.split("```").next().unwrap().lines().filter(|line| !line.is_empty()) {
            assert!(printed.lines().any(|other| other == line), "the README shows `{line}`");
            shown += 1;
        }
    }
    assert_eq!(shown, 7);
}

#[test]
fn the_same_setup_gives_the_same_vectors() {
    let printed = run_in(&WRITTEN.0, &["vectors", "--print-setup"]);
    std::fs::write(WRITTEN.0.join("built-in.toml"), &printed.stdout).unwrap();
    let again = run_in(&WRITTEN.0, &["vectors", "--setup", "built-in.toml", "--csv", "-"]);
    assert_eq!(again.status.code(), Some(0), "{}", err(&again));
    assert!(out(&again) == vectors(), "other vectors for the same setup");
    assert!(err(&again).contains("NOT COVERED"), "the statement goes to standard error");
}

#[test]
fn vectors_compared_with_themselves_are_the_same() {
    let run = run_in(&WRITTEN.0, &["compare", "vectors.csv", "--vectors", "vectors.csv"]);
    assert_eq!(run.status.code(), Some(0), "{}{}", out(&run), err(&run));
    assert!(out(&run).starts_with("SAME  "), "{}", out(&run));
}

/// A program in C that "evaluates" by looking up what is expected, and logs it.
const LOGS_IN_C: &str = r##"
#include <inttypes.h>
#include <stdio.h>
#include "vectors.h"

int main(void)
{
    uint32_t number, frame;
    printf("# setup checksum: %08" PRIx32 "\ncase,frame,permit,a_fault,a_violated,reset\n", COWITNESS_SETUP_CHECKSUM);
    for (number = 0; number < COWITNESS_CASES; number++) {
        const cowitness_case *one = &cowitness_cases[number];
        for (frame = 0; frame < one->frame_count; frame++) {
            const cowitness_frame *shown = &cowitness_frames[one->first_frame + frame];
            printf("%" PRIu32 ",%" PRIu32 ",%d,%d,%" PRIu32 ",%d\n", number, shown->stimulus.frame, shown->expected.permit,
                   shown->expected.a_fault, shown->expected.a_violated, shown->expected.reset);
        }
    }
    return 0;
}
"##;

fn cc(args: &[&str]) {
    let run = Command::new("cc").args(args).current_dir(&WRITTEN.0).output();
    let run = run.unwrap_or_else(|error| panic!("no C compiler `cc` ({error}); install the package gcc"));
    assert!(run.status.success(), "{}", err(&run));
}

#[test]
fn the_c_header_compiles_as_strict_c99_without_a_warning() {
    std::fs::write(WRITTEN.0.join("check.c"), LOGS_IN_C).unwrap();
    cc(&["-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror", "-fsyntax-only", "check.c"]);
}

#[test]
fn a_c_program_on_the_header_writes_a_log_that_compares_the_same() {
    std::fs::write(WRITTEN.0.join("logs.c"), LOGS_IN_C).unwrap();
    cc(&["-std=c99", "logs.c", "-o", "logs"]);
    let log = Command::new(WRITTEN.0.join("logs")).output().unwrap();
    let run = compare("from-c.csv", &out(&log));
    assert_eq!(run.status.code(), Some(0), "{}{}", out(&run), err(&run));
    assert!(out(&run).contains("not in the log, so not compared: clock_fault, "), "{}", out(&run));
}

#[test]
fn columns_may_be_in_any_order_and_those_that_mean_nothing_are_told() {
    let text = log(&["permit", "frame", "case"], |_, _| {}).replacen("permit,", "permit ,", 1);
    let text = text.replace("\npermit", "permit");
    let noted: String = text
        .lines()
        .enumerate()
        .map(|(line, row)| if line == 0 { format!("{row},note\n") } else { format!("{row},\"a, b\"\n") })
        .collect();
    let run = compare("order.csv", &noted);
    assert_eq!(run.status.code(), Some(0), "{}{}", out(&run), err(&run));
    assert!(out(&run).contains("mean nothing here: note"), "{}", out(&run));
}

#[test]
fn a_permit_that_is_not_latched_is_told_as_such() {
    let run = compare(
        "unlatched.csv",
        &log(&["case", "frame", "permit"], |place, rows| {
            let zero = ["a_tripped", "b_tripped", "warming_up", "clock_fault"].map(place);
            let none = ["a_fault", "b_fault"].map(place);
            for row in rows {
                let live = zero.iter().any(|&i| row[i] != "0" && row[i] != "0x0")
                    || none.iter().any(|&i| row[i] != "none");
                row[place("permit")] = if live { "0" } else { "1" }.to_owned();
            }
        }),
    );
    assert_eq!(run.status.code(), Some(1), "{}", err(&run));
    let text = out(&run);
    assert!(text.contains("permit: the reference says 0, the log 1"), "{text}");
    assert!(text.contains("is latched"), "{text}");
    assert!(text.contains("not latched: the permit comes back by itself"), "{text}");
}

#[test]
fn a_log_that_lags_by_one_frame_is_told_as_such() {
    let columns = ["case", "frame", "permit", "a_violated", "active"];
    let run = compare(
        "late.csv",
        &log(&columns, |place, rows| {
            let moved = ["permit", "a_violated", "active"].map(place);
            let before = rows.clone();
            for (row, last) in rows.iter_mut().skip(1).zip(&before) {
                if row[0] == last[0] {
                    moved.iter().for_each(|&i| row[i].clone_from(&last[i]));
                }
            }
        }),
    );
    assert_eq!(run.status.code(), Some(1), "{}", err(&run));
    assert!(out(&run).contains("everything comes one frame late"), "{}", out(&run));
}

#[test]
fn one_wrong_bit_is_explained_with_the_observed_value_and_the_limit_and_no_cause_is_made_up() {
    let run = compare(
        "bit.csv",
        &log(&["case", "frame", "permit", "a_violated"], |place, rows| {
            let i = place("a_violated");
            let row = rows.iter_mut().find(|row| row[i] != "0x0").unwrap();
            row[i] = "0".to_owned();
        }),
    );
    assert_eq!(run.status.code(), Some(1), "{}", err(&run));
    let text = out(&run);
    assert!(text.contains(" 1 differs\n"), "{text}");
    assert!(text.contains(" mm/s, allowed ") || text.contains(" mm, allowed "), "{text}");
    assert!(text.contains("of an on-delay of "), "{text}");
    assert!(text.contains("No single kind of mistake"), "{text}");
}

#[test]
fn missing_doubled_and_extra_frames_are_counted_and_the_first_is_named() {
    let run = compare(
        "frames.csv",
        &log(&["case", "frame", "permit"], |_, rows| {
            let double = rows[5].clone();
            rows.remove(2);
            rows.push(double);
            let mut extra = rows[0].clone();
            extra[0] = "100000".to_owned();
            rows.push(extra);
        }),
    );
    assert_eq!(run.status.code(), Some(1), "{}", err(&run));
    let text = out(&run);
    assert!(text.contains("1 frame missing, the first: case 0, frame 2"), "{text}");
    assert!(text.contains("1 frame doubled, the first: case 0, frame 5 (lines 6 and "), "{text}");
    assert!(text.contains("1 frame not in the vectors, the first: case 100000, frame 0"), "{text}");
    assert!(text.contains(", 0 differ"), "{text}");
}

#[test]
fn a_bad_log_is_refused_with_line_and_column_and_what_to_do() {
    for (name, text, wanted) in [
        (
            "cell.csv",
            "case,frame,permit\n0,0,yes\n",
            "cell.csv:2:5: column `permit`: `yes` cannot be; write 1 or 0",
        ),
        (
            "number.csv",
            "case,frame,permit\n0, x,1\n",
            "number.csv:2:4: column `frame`: `x` is no whole number",
        ),
        (
            "short.csv",
            "case,frame,permit\n0,1\n",
            "short.csv:2:3: 2 cells, but the header line has 3 columns, separated by comma",
        ),
        ("none.csv", "case,frame\n0,0\n", "none.csv:1: no column `permit`"),
        ("twice.csv", "case,frame,permit,permit\n", "twice.csv:1:19: column `permit` twice"),
        ("empty.csv", "", "empty.csv: empty"),
        (
            "other.csv",
            "# setup checksum: 00000000\ncase,frame,permit\n0,0,1\n",
            "other.csv:1: belongs to the setup",
        ),
    ] {
        let run = compare(name, text);
        assert_eq!(run.status.code(), Some(2), "{name}: {}", out(&run));
        assert!(err(&run).contains(wanted), "{name}: {}", err(&run));
    }
}

#[test]
fn vectors_that_were_altered_or_belong_to_another_setup_are_refused() {
    let folder = folder("vectors-altered");
    let text = vectors();
    std::fs::write(folder.join("altered.csv"), text.replacen("\n0,1,", "\n0,01,", 1)).unwrap();
    let run = run_in(&folder, &["compare", "altered.csv", "--vectors", "altered.csv"]);
    assert_eq!(run.status.code(), Some(2));
    assert!(err(&run).contains("altered.csv:2: changed since it was written"), "{}", err(&run));
    std::fs::write(folder.join("vectors.csv"), &text).unwrap();
    let setup = run_in(&folder, &["vectors", "--print-setup"]);
    std::fs::write(folder.join("axis.toml"), out(&setup).replace("2 mm", "3 mm")).unwrap();
    let run =
        run_in(&folder, &["compare", "vectors.csv", "--vectors", "vectors.csv", "--setup", "axis.toml"]);
    assert_eq!(run.status.code(), Some(2));
    assert!(err(&run).contains("belongs to another setup"), "{}", err(&run));
    // Line ends of another system change nothing.
    std::fs::write(folder.join("dos.csv"), text.replace('\n', "\r\n")).unwrap();
    let run = run_in(&folder, &["compare", "dos.csv", "--vectors", "dos.csv"]);
    assert_eq!(run.status.code(), Some(0), "{}", err(&run));
}

#[test]
fn a_setup_with_analogue_values_is_refused_because_vectors_carry_no_readings_of_one() {
    let folder = folder("vectors-analogue");
    let setup = r#"
title = "A press, invented"
unit  = "mm"
time  = { column = "t", unit = "s" }
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
[analogue.torque]
columns          = ["torque_1", "torque_2"]
unit             = "%"
low              = "-300 %"
high             = "300 %"
timeout          = "4 ms"
tolerance        = "5 %"
discrepancy_time = "3 ms"
"#;
    std::fs::write(folder.join("axis.toml"), setup).unwrap();
    let run = run_in(&folder, &["vectors", "--setup", "axis.toml", "--csv", "vectors.csv"]);
    assert_eq!(run.status.code(), Some(2), "{}", err(&run));
    let message = err(&run);
    assert!(
        message.contains(
            "axis.toml: the setup has 1 analogue value, and vectors carry no readings of one: leave out"
        ),
        "{message}"
    );
    assert!(!folder.join("vectors.csv").exists());
}
