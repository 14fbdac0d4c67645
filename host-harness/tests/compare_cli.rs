//! `cowitness compare` as a user meets it: what it says of logs of every form, and of their mistakes.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::LazyLock;

/// The columns of an outcome, in the order of the vectors.
const OUTCOME: [&str; 18] = [
    "permit",
    "clock_fault",
    "warming_up",
    "a_fault",
    "b_fault",
    "demanding",
    "input_faults",
    "active",
    "outputs",
    "a_unreferenced",
    "b_unreferenced",
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

/// The log is refused, and the message begins with `wanted`.
fn refused(name: &str, log: impl AsRef<[u8]>, wanted: &str) {
    let run = compare(name, log);
    assert_eq!(run.status.code(), Some(2), "{name}: {}", out(&run));
    assert!(err(&run).contains(&format!("{name}{wanted}")), "{name}: {}\nwanted: {wanted}", err(&run));
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
    assert!(out(&run).contains(" frames compared in 1 of 18 columns, 0 differ\n"), "{}", out(&run));
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

#[test]
fn a_misspelt_column_is_refused_and_not_left_out_of_the_comparison() {
    let columns = ["case", "frame", "permit", "a_tripped"];
    let text = log(&columns, |_| {});
    for (written, meant, other) in [
        ("a_triped", "a_tripped", "permit,"),
        ("A_tripped", "a_tripped", "permit,"),
        ("tripped_A", "a_tripped", "permit,"),
        ("Permit", "permit", ""),
        ("permitt", "permit", ""),
    ] {
        let header = format!("case,frame,{other}{written}\n");
        let cells = if other.is_empty() { "0,0,1\n" } else { "0,0,1,0\n" };
        let wanted = format!(
            ":1:{}: column `{written}` means nothing here, and there is no column `{meant}`; call it that if it is meant",
            header.find(written).unwrap() + 1
        );
        refused("misspelt.csv", header + cells, &wanted);
    }
    // A name is not taken for a slip when it is as near to a column that is there, or to one of the stimulus.
    for (written, near) in [("a_tripped_2", "a_tripped"), ("a_row", "a_raw")] {
        let noted: String = text.replacen("a_tripped\n", &format!("a_tripped,{written}\n"), 1);
        let noted: Vec<String> = noted
            .lines()
            .enumerate()
            .map(|(line, row)| if line == 0 { row.to_owned() } else { format!("{row},0") })
            .collect();
        let run = compare("near.csv", noted.join("\n"));
        assert_eq!(run.status.code(), Some(0), "{near}: {}{}", out(&run), err(&run));
        assert!(out(&run).contains(&format!("mean nothing here: {written}\n")), "{}", out(&run));
    }
}

#[test]
fn semicolons_and_tabs_separate_as_commas_do() {
    let text = log(&["case", "frame", "permit", "a_fault"], |_| {});
    for separator in [";", "\t"] {
        let run = compare("separated.csv", text.replace(',', separator));
        assert_eq!(run.status.code(), Some(0), "{}{}", out(&run), err(&run));
        assert!(out(&run).starts_with("SAME  "), "{}", out(&run));
    }
    refused(
        "mixed.csv",
        "case;frame;permit\n0;0;1\n0,1,1\n",
        ":3:1: 1 cell, but the header line has 3 columns, separated by semicolon; write a cell for each",
    );
}

#[test]
fn a_header_line_that_is_none_is_told_with_what_was_found() {
    let first_line = "the first line must name the columns, at least `case,frame,permit`";
    for (text, wanted) in [
        ("0,0,1\n0,1,1\n", ":1: this line holds values and no names; "),
        ("0,1,1,none\n", ":1: this line holds values and no names; "),
        (
            "case frame permit\n0 0 1\n",
            ":1: no column `case`: no comma, semicolon or tab parts the line `case frame permit`; ",
        ),
        ("case,frame,ok\n0,0,1\n", ":1: no column `permit`: the columns are `case`, `frame`, `ok`; "),
        ("case,frame,permit,,\n0,0,1,,\n", ":1:20: a second column without a name; name it, or leave it out"),
    ] {
        refused("header.csv", text, wanted);
        let run = compare("header.csv", text);
        assert!(err(&run).contains(first_line) || wanted.contains("second"), "{}", err(&run));
    }
}

#[test]
fn lines_that_end_with_a_carriage_return_alone_are_told() {
    let wanted = "a carriage return (CR) without a line feed (LF) after it; end lines with LF or CRLF";
    refused("cr.csv", "case,frame,permit\r0,0,1\r0,1,1\r", &format!(":1:18: {wanted}"));
    refused("cr.csv", "# setup checksum: 20f9cdba\rcase,frame,permit\r0,0,1\r", &format!(":1:27: {wanted}"));
    refused("cr.csv", "case,frame,permit\n0,0,1\r\r\n", &format!(":2:6: {wanted}"));
}

#[test]
fn what_is_no_text_is_told_as_what_it_is_and_what_to_do() {
    let text = "case,frame,permit\n0,0,1\n";
    let utf16 = |order: fn(u16) -> [u8; 2]| text.encode_utf16().flat_map(order).collect::<Vec<u8>>();
    let marked = |mark: &[u8], rest: Vec<u8>| [mark.to_vec(), rest].concat();
    let save = ": this is UTF-16 text; save it as UTF-8";
    refused("wide.csv", marked(&[0xff, 0xfe], utf16(u16::to_le_bytes)), save);
    refused("wide.csv", marked(&[0xfe, 0xff], utf16(u16::to_be_bytes)), save);
    refused("wide.csv", utf16(u16::to_le_bytes), save);
    refused("wide.csv", utf16(u16::to_be_bytes), save);
    refused(
        "packed.csv.gz",
        [0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 3],
        ": this is a gzip file; unpack it first: `gzip -d FILE`",
    );
    refused("packed.csv.zst", [0x28, 0xb5, 0x2f, 0xfd, 0], ": this is a zstd file; unpack it first");
    refused(
        "book.xlsx",
        b"PK\x03\x04\x14\0\x06\0",
        ": this is a zip archive (or a spreadsheet); save it as CSV text in UTF-8",
    );
    refused("nul.csv", "case,frame,permit\n0,0,1\n0,\0,1\n", ":3:3: a NUL byte: this is not text");
    refused("core.bin", [0x7f, b'E', b'L', b'F', 2, 1, 1, 0, 0, 0xff], ":1:8: a NUL byte: this is not text");
    let one = [b"case,frame,permit,note\n0,0,1,\xc3\xbc\n0,1,1,\xc3\xbc\xfc\n".as_slice()].concat();
    refused(
        "latin.csv",
        one,
        ":3:8: byte 0xfc is not UTF-8 text; save the file as UTF-8, or check what wrote this line",
    );
}

#[test]
fn a_log_that_is_not_there_is_told_so() {
    let run = run(&WRITTEN.0, &["compare", "nowhere.csv", "--vectors", "vectors.csv"]);
    assert_eq!(run.status.code(), Some(2));
    assert!(err(&run).contains("nowhere.csv: cannot be read: "), "{}", err(&run));
    assert!(err(&run).contains("; check the path of the log"), "{}", err(&run));
}
