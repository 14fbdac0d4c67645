//! `cowitness compare` as a user meets it: what it says of logs of every form, and of their mistakes.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::LazyLock;

/// The columns of an outcome, in the order of the vectors.
const OUTCOME: [&str; 15] = [
    "permit",
    "clock_fault",
    "warming_up",
    "a_fault",
    "b_fault",
    "demanding",
    "input_faults",
    "active",
    "a_violated",
    "b_violated",
    "a_tripped",
    "b_tripped",
    "position_discrepancy_tripped",
    "speed_discrepancy_tripped",
    "reset",
];

/// Where the vectors of the built-in setup are, and their rows.
static WRITTEN: LazyLock<(PathBuf, Vec<Vec<String>>)> = LazyLock::new(|| {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("compare-shared");
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    let run = run(&folder, &["vectors", "--csv", "vectors.csv"]);
    assert_eq!(run.status.code(), Some(0), "{}", err(&run));
    let text = std::fs::read_to_string(folder.join("vectors.csv")).unwrap();
    let rows = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    let rows = rows.map(|row| row.split(',').map(str::to_owned).collect()).collect();
    (folder, rows)
});

fn run(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_cowitness")).args(args).current_dir(folder).output().unwrap()
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// The place of a column in a row of the vectors.
fn place(name: &str) -> usize {
    match name {
        "case" => 0,
        "frame" => 1,
        _ => 10 + OUTCOME.iter().position(|column| *column == name).unwrap(),
    }
}

/// A log of these columns, after `change` has had its way with the rows.
fn log(columns: &[&str], change: impl FnOnce(&mut Vec<Vec<String>>)) -> String {
    let mut rows = WRITTEN.1.clone();
    change(&mut rows);
    let mut text = columns.join(",") + "\n";
    for row in rows {
        let cells: Vec<&str> = columns.iter().map(|column| row[place(column)].as_str()).collect();
        text += &(cells.join(",") + "\n");
    }
    text
}

/// Compares a log with the vectors of the built-in setup.
fn compare(name: &str, log: impl AsRef<[u8]>) -> Output {
    std::fs::write(WRITTEN.0.join(name), log).unwrap();
    run(&WRITTEN.0, &["compare", name, "--vectors", "vectors.csv"])
}

#[test]
fn rows_may_stand_in_any_order_and_it_is_told() {
    let text = log(&["case", "frame", "permit"], |rows| {
        let i = rows.iter().position(|row| row[0] == "123" && row[1] == "4").unwrap();
        rows.swap(i, i + 1);
    });
    let run = compare("swapped.csv", text);
    assert_eq!(run.status.code(), Some(0), "{}{}", out(&run), err(&run));
    let told = "  1 row stands after a later frame, the first: case 123, frame 4 (line ";
    assert!(out(&run).contains(told), "{}", out(&run));
    let run = compare("backwards.csv", log(&["case", "frame", "permit"], |rows| rows.reverse()));
    assert_eq!(run.status.code(), Some(0), "{}{}", out(&run), err(&run));
    assert!(out(&run).contains(" rows stand after a later frame, "), "{}", out(&run));
    assert!(out(&run).contains("; their order does not matter\n"), "{}", out(&run));
}

#[test]
fn the_verdict_says_how_many_columns_were_compared() {
    let run = compare("permit.csv", log(&["case", "frame", "permit"], |_| {}));
    assert_eq!(run.status.code(), Some(0), "{}{}", out(&run), err(&run));
    assert!(out(&run).contains(" frames compared in 1 of 15 columns, 0 differ\n"), "{}", out(&run));
}

#[test]
fn one_frame_is_not_several() {
    let run = compare(
        "one.csv",
        log(&["case", "frame", "permit"], |rows| {
            rows.remove(2);
            let i = place("permit");
            let permit = if rows[20][i] == "1" { "0" } else { "1" };
            permit.clone_into(&mut rows[20][i]);
        }),
    );
    assert_eq!(run.status.code(), Some(1), "{}", err(&run));
    let text = out(&run);
    assert!(text.contains(" columns, 1 differs\n"), "{text}");
    assert!(text.contains("  1 frame missing, the first: "), "{text}");
}
