//! `cowitness columns` as a user meets it: what it lists, in which width, messages and exit status.

mod column_files;
mod program;

use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::Stdio;

use column_files::{mdf, scratch};
use program::{cowitness, err, out, program};
use serde_json::Value;

/// Writes a file and lists it.
fn list(name: &str, bytes: impl AsRef<[u8]>) -> (i32, String, String) {
    let path = scratch(name);
    fs::write(&path, bytes).expect("a scratch file");
    let output = cowitness(&["columns", path.to_str().expect("a path")]);
    let shown = |text: &str| text.replace(path.to_str().expect("a path"), name);
    (output.status.code().expect("a status"), shown(out(&output)), shown(err(&output)))
}

fn json(path: &Path) -> Value {
    let output = cowitness(&["columns", path.to_str().expect("a path"), "--json", "-"]);
    assert_eq!(err(&output), "");
    serde_json::from_str(out(&output)).expect("JSON")
}

#[test]
fn a_demo_trace_is_listed_with_units_kinds_ends_and_rate() {
    let output = cowitness(&["columns", "traces-demo/overspeed-door-open.csv.gz"]);
    assert_eq!((output.status.code(), err(&output)), (Some(0), ""));
    let expected = "\
traces-demo/overspeed-door-open.csv.gz
text separated by comma, gzip

10 columns, 40000 rows

column       unit  kind         first       last   smallest    largest
time               decimal    0.00000    9.99975    0.00000    9.99975
motor_count        whole       200000    1346229     199997    1346234
";
    assert!(out(&output).starts_with(expected), "{}", out(&output));
    let time = "
time of the rows: time, by its name; its unit is not known
  from 0 to 9.99975: 9.99975
  period: median 0.00025, smallest 0.00025, largest 0.00025
  gaps, of more than 3 medians: 0
";
    assert!(out(&output).ends_with(time), "{}", out(&output));
}

#[test]
fn mixed_units_a_decimal_comma_gaps_and_odd_cells_are_all_told() {
    let text = "\u{feff}# recorded\r\nt;speed [mm/s];rail;note;door\r\nms;;(um);;\r\n\
        0,0;-1,50;10;ok;low\r\n1,0;2,25;11;;high\r\n2,0;x;12;;low\r\n6,0;3e0;13;;low\r\n7,0;;14;;low\r\n";
    let (status, listed, said) = list("dialect.csv", text);
    assert_eq!((status, said.as_str()), (0, ""));
    let expected = "\
dialect.csv
text separated by semicolon

5 columns, 5 rows

column        unit  kind         first       last   smallest    largest
t             ms    whole          0,0        7,0        0,0        7,0
speed [mm/s]  mm/s  mixed        -1,50        3e0      -1,50        3e0
rail          um    whole           10         14         10         14
note                text            ok         ok
door                level          low        low

speed [mm/s]: 1 of 5 cells empty
speed [mm/s]: 1 cell is no number, first in row 3: \"x\"
note: 4 of 5 cells empty

time of the rows: t, by its name
  from 0 ms to 7 ms: 7 ms
  period: median 1 ms (1000 rows a second), smallest 1 ms, largest 4 ms
  gaps, of more than 3 medians: 1
    behind row 3, at 2 ms: 4 ms
";
    assert_eq!(listed, expected);
}

#[test]
fn without_a_name_the_first_column_is_the_time_if_it_increases_and_otherwise_the_user_says_which() {
    let (_, listed, _) = list("unnamed.csv", "a,b\n0,5\n2,6\n4,5\n");
    assert!(
        listed.contains("time of the rows: a, by its values: the first column, and it increases; its"),
        "{listed}"
    );
    let path = scratch("turned.csv");
    fs::write(&path, "a,b\n5,0\n4,2\n6,3\n").expect("a file");
    let path = path.to_str().expect("a path");
    assert!(out(&cowitness(&["columns", path])).contains("no column looks like the time of the rows"));
    let told = cowitness(&["columns", path, "--time", "b"]);
    assert!(
        out(&told).contains("time of the rows: b, as told; its unit is not known\n  from 0 to 3: 3\n"),
        "{}",
        out(&told)
    );
    let wrong = cowitness(&["columns", path, "--time", "c"]);
    assert_eq!(wrong.status.code(), Some(2));
    let message = format!(
        "error: {path}: there is no column `c` to be the time; name one that `cowitness columns` lists, as it lists it\n"
    );
    assert_eq!(err(&wrong), message);
}

#[test]
fn a_column_that_is_named_as_the_time_and_cannot_be_it_is_told_with_what_it_holds() {
    let path = scratch("iso.csv");
    let path = path.to_str().expect("a path");
    let refused = |text: &str, column: &str| {
        fs::write(path, text).expect("a file");
        let output = cowitness(&["columns", path, "--time", column]);
        assert_eq!((output.status.code(), out(&output)), (Some(2), ""));
        err(&output).replace(path, "iso.csv")
    };
    let iso = "time,x,e\n2026-01-02T03:04:05,1,\n2026-01-02T03:04:06,x,\n";
    assert_eq!(
        refused(iso, "time"),
        "error: iso.csv: column `time` cannot be the time of the rows: it holds text, first \"2026-01-02T03:04:05\" in row 1; \
         a time is a number of s, ms, us or ns: write it so, or name another column with --time\n"
    );
    let said = refused(iso, "x");
    assert!(said.contains(": not all its cells are numbers, first \"x\" in row 2; a time is"), "{said}");
    let said = refused(iso, "e");
    assert!(said.contains(": all its cells are empty; name another"), "{said}");
    let said = refused("time,x\n", "time");
    assert!(said.contains("cannot be the time of the rows: there is no row of data; record it"), "{said}");
    let (_, listed, _) = list("iso-alone.csv", iso);
    assert!(listed.contains("no column looks like the time of the rows (time holds text): say"), "{listed}");
}

#[test]
fn columns_of_one_name_are_told_with_their_places_and_a_replay_refuses_them() {
    let text = "time [s],count,door,count\n0,1,0,2\n1,2,0,3\n";
    let (status, listed, _) = list("doubled.csv", text);
    assert_eq!(status, 0);
    let told = "count: 2 columns have this name, the columns 2 and 4: a replay that needs it refuses the file; give each its own name";
    let words: Vec<&str> = listed.split_whitespace().collect();
    assert!(words.join(" ").contains(told), "{listed}");
    let path = scratch("doubled.csv");
    let report = json(&path);
    assert_eq!(report["groups"][0]["doubled"], serde_json::json!([{ "name": "count", "columns": [2, 4] }]));
    let draft = cowitness(&["columns", path.to_str().expect("a path"), "--draft", "-"]);
    assert!(out(&draft).contains("\n# FIRST: \"count\": 2 columns have this name"), "{}", out(&draft));
}

#[test]
fn times_that_go_back_are_told_with_their_row() {
    let (status, listed, _) = list("back.csv", "time [s],x\n0,1\n2,1\n1,1\n1,1\n3,1\n");
    assert_eq!(status, 0);
    let told = "2 times not after the row before, first row 3 at 1 s: a replay refuses that";
    assert!(listed.contains(told), "{listed}");
}

#[test]
fn an_empty_file_is_refused_and_one_without_rows_or_with_one_is_listed() {
    let (status, listed, said) = list("nothing.csv", "");
    assert_eq!((status, listed.as_str()), (2, ""));
    assert_eq!(
        said,
        "error: nothing.csv: the trace is empty: there is no header line; record it again, or check what writes it\n"
    );
    let (status, listed, _) = list("header.csv", "time,a\n");
    assert_eq!(status, 0);
    assert!(listed.contains("2 columns, 0 rows") && listed.contains("a             empty"), "{listed}");
    let (status, listed, _) = list("one.csv", "time [s],a\n0.5,7\n");
    assert_eq!(status, 0);
    assert!(listed.contains("1 row\n") && listed.contains("from 0.5 s to 0.5 s: 0 s\n"), "{listed}");
    assert!(!listed.contains("period"), "{listed}");
}

#[test]
fn what_is_no_table_is_refused_with_its_place() {
    for (name, text, expected) in [
        ("numbers.csv", "1,2\n3,4\n", "error: numbers.csv:1: the first line holds numbers only"),
        (
            "one-column.csv",
            "time\n1\n",
            "error: one-column.csv:1: no comma, semicolon or tab in the header line",
        ),
        ("quote.csv", "\"time,a\n1,2\n", "error: quote.csv:1:1: the quoted cell"),
        ("two.csv", "a,b;c\n", "error: two.csv:1: the header line could be separated by"),
    ] {
        let (status, _, said) = list(name, text);
        assert_eq!(status, 2, "{name}");
        assert!(said.starts_with(expected), "{said}");
    }
    let missing = cowitness(&["columns", "no-such-file.csv"]);
    assert_eq!(missing.status.code(), Some(2));
    assert_eq!(
        err(&missing),
        "error: no-such-file.csv: there is no such file; check the path (`-` is standard input)\n"
    );
}

#[test]
fn the_first_row_says_which_of_two_delimiters_is_meant() {
    let (status, listed, _) = list("comma-in-name.csv", "time;speed, filtered\n0,5;1\n1,5;2\n");
    assert_eq!(status, 0);
    assert!(
        listed.contains("text separated by semicolon\n") && listed.contains("speed, filtered"),
        "{listed}"
    );
}

#[test]
fn rows_that_are_none_of_the_table_are_counted_and_the_status_says_so() {
    let (status, listed, _) = list("bad.csv", b"time [s],a\n0,1\n1\n2,3\n3,\xff\n4,5\n");
    assert_eq!(status, 1);
    let told = "2 columns, 3 rows 2 rows not of the table; the first: bad.csv:3:2: this row has 1 cells, the header 2; \
         complete or remove the row column";
    let listed: Vec<&str> = listed.split_whitespace().collect();
    assert!(listed.join(" ").contains(told), "{listed:?}");
}

#[test]
fn standard_input_is_listed_too() {
    let mut child =
        program(&["columns", "-"]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("the program");
    child.stdin.take().expect("a pipe").write_all(b"time,a\n0,1\n1,2\n").expect("it reads");
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(0));
    assert!(out(&output).starts_with("standard input\ntext separated by comma\n"), "{}", out(&output));
}

#[test]
fn ten_thousand_columns_are_listed_in_lines_of_80_columns() {
    let mut text = "time [s]".to_owned();
    for column in 1..10_000 {
        let _ = write!(text, ",signal number {column} of the machine [mm/s]");
    }
    text.push('\n');
    for row in 0..3 {
        let _ = write!(text, "{row}");
        for column in 1..10_000 {
            let _ = write!(text, ",{}", f64::from(row * column) / 7.0);
        }
        text.push('\n');
    }
    let (status, listed, _) = list("wide.csv", text);
    assert_eq!(status, 0);
    assert!(listed.contains("10000 columns, 3 rows"));
    let widest = listed.lines().max_by_key(|line| line.chars().count()).expect("lines");
    assert!(widest.chars().count() <= 80, "{widest}");
    assert!(listed.contains("signal number 9999 of the machine [mm/s]\n"));
    let report = json(&scratch("wide.csv"));
    assert_eq!(report["groups"][0]["columns"].as_array().expect("columns").len(), 10_000);
}

#[test]
fn all_columns_of_a_wide_table_are_read_and_pairs_found_wherever_they_stand() {
    let mut text = "time [s]".to_owned();
    for column in 1..600 {
        // Column 512 of the numbers is the second of a pair; as many are read at a time.
        let _ = match column {
            511 => write!(text, ",door_1"),
            512 => write!(text, ",door_2"),
            _ => write!(text, ",a{column}"),
        };
    }
    text.push('\n');
    for row in 0..5 {
        let _ = write!(text, "{row}");
        for column in 1..600 {
            let cell = match column {
                511 => row % 2,
                512 => 1 - row % 2,
                _ => row * column,
            };
            let _ = write!(text, ",{cell}");
        }
        text.push('\n');
    }
    let csv = scratch("pairs.csv");
    fs::write(&csv, text).expect("a file");
    for name in ["pairs.arrow", "pairs.parquet"] {
        let table = scratch(name);
        let (from, to) = (csv.to_str().expect("a path"), table.to_str().expect("a path"));
        let output = cowitness(&["convert", from, "--out", to]);
        assert_eq!(output.status.code(), Some(0), "{}", err(&output));
        let report = json(&table);
        let group = &report["groups"][0];
        assert_eq!((&group["rows"], &group["columns"][599]["last"]), (&5.into(), &"2396".into()), "{name}");
        let pair = &group["pairs"][0];
        assert_eq!((&pair["same"], &pair["different"]), (&0.into(), &5.into()), "{name}: {}", group["pairs"]);
    }
}

#[test]
fn the_json_has_in_full_what_is_shown_rounded() {
    let path = scratch("long.csv");
    fs::write(&path, "time,a\n1700000000.123456789,0.1234567890123456789\n1700000000.123456790,2\n")
        .expect("a file");
    let report = json(&path);
    let column = &report["groups"][0]["columns"][1];
    assert_eq!(column["first"], "0.1234567890123456789");
    assert_eq!(report["groups"][0]["time"]["first"], "1700000000.123456789");
    assert_eq!(report["groups"][0]["time"]["median"], "0.000000001");
    let listed = cowitness(&["columns", path.to_str().expect("a path")]);
    assert!(out(&listed).contains("~0.1234568"), "{}", out(&listed));
}

#[test]
fn the_groups_of_an_mdf_file_are_listed_each_with_its_own_time() {
    let (status, listed, said) = list("two-groups.mf4", mdf());
    assert_eq!((status, said.as_str()), (0, ""));
    let expected = "\
two-groups.mf4
MDF 4

group fast
4 columns, 500 rows

column  unit  kind         first       last   smallest    largest
t       s     time             0    0.12475          0    0.12475
motor         whole            0       3493          0       3493
rail          whole            0       6986          0       6986
door          level            0          1          0          1

t: in a setup write \"fast/t\"

time of the rows: fast/t, as the file says
  from 0 s to 0.12475 s: 0.12475 s
  period: median 0.00025 s (4000 rows a second), smallest 0.00025 s, largest
    0.00025 s
  gaps, of more than 3 medians: 0

group slow
2 columns, 2 rows

column  unit  kind         first       last   smallest    largest
t       s     time             0       0.04          0       0.04
note          (below)

t: in a setup write \"slow/t\"
note: text; it is not read

time of the rows: slow/t, as the file says
  from 0 s to 0.04 s: 0.04 s
  period: median 0.04 s (25 rows a second), smallest 0.04 s, largest 0.04 s
  gaps, of more than 3 medians: 0
";
    assert_eq!(listed, expected);
}

#[test]
fn messages_name_the_columns_of_a_file_of_several_groups_with_their_group() {
    let path = scratch("named-groups.mf4");
    fs::write(&path, mdf()).expect("a file");
    let trace = path.to_str().expect("a path");
    let setup = scratch("named-groups.toml");
    let written = |rail: &str| {
        let text = format!(
            "title = \"Groups, invented\"\nunit = \"mm\"\n[time]\ncolumn = \"fast/t\"\nunit = \"s\"\n\
             [channel.a]\ncolumn = \"motor\"\ncounter_bits = 32\nunit_per_count = \"1 um\"\nmax_speed = \"1 m/s\"\n\
             timeout = \"4 ms\"\n[channel.b]\ncolumn = \"{rail}\"\ncounter_bits = 32\nunit_per_count = \"1 um\"\n\
             max_speed = \"1 m/s\"\ntimeout = \"4 ms\"\n[speed]\nwindow = \"8 ms\"\n[[monitor]]\nname = \"fast\"\n\
             kind = \"speed-limit\"\nlimit = \"0.9 m/s\"\n"
        );
        fs::write(&setup, text).expect("a setup");
        let output = cowitness(&["replay", trace, "--setup", setup.to_str().expect("a path")]);
        assert_eq!(output.status.code(), Some(2));
        err(&output).to_owned()
    };
    for name in ["rial", "fast/rial"] {
        let said = written(name);
        let near = "did you mean `fast/rail`?; the columns are `fast/t`, `fast/motor`, `fast/rail`, `fast/door`, `slow/t`, `slow/note`;";
        assert!(said.contains(near), "{said}");
    }
    let out = scratch("named-groups.csv");
    let args = ["convert", trace, "--out", out.to_str().expect("a path")];
    let left = [
        &args[..],
        &["--leave-out", "fast/t", "--leave-out", "motor", "--leave-out", "rail", "--leave-out", "door"],
    ];
    let output = cowitness(&left.concat());
    assert!(
        err(&output).contains(
            "column `slow/note` holds text, which is not converted; leave it out: --leave-out \"slow/note\""
        ),
        "{}",
        err(&output)
    );
}

#[test]
fn a_damaged_mdf_file_is_refused_with_what_and_where() {
    let whole = mdf();
    let (status, listed, said) = list("cut.mf4", &whole[..whole.len() - 100]);
    assert_eq!((status, listed.as_str()), (2, ""));
    assert!(said.starts_with("error: cut.mf4: the MDF file is truncated: "), "{said}");
    assert!(said.ends_with("copy the file again\n"), "{said}");
    let mut unfinished = whole.clone();
    unfinished[..8].copy_from_slice(b"UnFinMF ");
    let (status, _, said) = list("unfinished.mf4", unfinished);
    assert_eq!(status, 2);
    assert!(
        said.contains("is not finished: its recorder was stopped in the middle; finish (finalize) it"),
        "{said}"
    );
}

#[cfg(unix)]
#[test]
fn a_text_from_a_pipe_with_a_name_is_not_converted_for_it_is_read_twice() {
    let pipe = scratch("pipe.csv");
    let _ = fs::remove_file(&pipe);
    let made = std::process::Command::new("mkfifo").arg(&pipe).status().expect("mkfifo");
    assert!(made.success());
    let writer = {
        let pipe = pipe.clone();
        // Nobody may read all of it.
        std::thread::spawn(move || fs::write(pipe, "time [s],a\n0,1\n1,2\n").is_ok())
    };
    let (from, to) = (pipe.to_str().expect("a path"), scratch("pipe.parquet"));
    let output = cowitness(&["convert", from, "--out", to.to_str().expect("a path")]);
    let _ = writer.join();
    assert_eq!(output.status.code(), Some(2));
    assert!(err(&output).contains("a text is read twice; give a file"), "{}", err(&output));
}
