//! Parquet and Arrow IPC files as traces, and `cowitness convert`.

mod table_files;

use std::process::{Command, Stdio};

use table_files::{Column, Folder, SETUP, csv, parquet};

/// All formats that a trace can be converted to, but for the text that it comes from.
const TABLES: [&str; 2] = ["run.parquet", "run.arrow"];

#[test]
fn a_converted_trace_gives_the_same_report() {
    let folder = Folder::new("same_report");
    folder.write("run.csv", csv());
    let expected = folder.report("run.csv", "axis.toml");
    assert_eq!(expected["verdict"], "tripped");
    for table in TABLES {
        for setup in [&[][..], &["--setup", "axis.toml"]] {
            let said = folder.convert(&[&["run.csv", "--out", table], setup].concat());
            assert_eq!(said, format!("{table}: 1000 rows of 4 columns\n"));
            assert_eq!(folder.report(table, "axis.toml"), expected, "{table} {setup:?}");
        }
    }
}

#[test]
fn a_demo_trace_gives_the_same_report_in_every_format() {
    let folder = Folder::new("demo_report");
    let demos = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../traces-demo");
    let mut compared = 0;
    for (name, setup) in [
        ("every-function-step", "every-function.setup.toml"),
        ("asynchronous-readings", "asynchronous-readings.setup.toml"),
        ("stack-clamp-hand", "stack-clamp.setup.toml"),
        ("belt-slip", "shuttle.toml"),
    ] {
        let (trace, setup) = (demos.join(format!("{name}.csv.gz")), demos.join(setup));
        let (trace, setup) = (trace.to_str().unwrap(), setup.to_str().unwrap());
        let expected = folder.report(trace, setup);
        for table in TABLES {
            folder.convert(&[trace, "--out", table, "--setup", setup]);
            assert_eq!(folder.report(table, setup), expected, "{name} as {table}");
            compared += 1;
        }
    }
    assert_eq!(compared, 8);
}

#[test]
fn a_text_comes_back_from_both_formats_as_it_was() {
    let folder = Folder::new("round_trip");
    let text = "# invented data\n# second line\ntime,\"a, b\",big,torque,ok,note 1,gaps\n\
        0.000125,-7,18446744073709551615,0.50,true,0.1000000000000000055511151231257827021181583404541015625,\n\
        0.000250,12,0,-12.25,false,nan,5\n\
        1.000000,0,9223372036854775808,0.00,true,-2.5,\n";
    folder.write("in.csv", text);
    folder.convert(&["in.csv", "--out", "one.parquet"]);
    folder.convert(&["one.parquet", "--out", "two.csv.gz"]);
    folder.convert(&["two.csv.gz", "--out", "three.arrow"]);
    folder.convert(&["three.arrow", "--out", "four.csv.zst"]);
    folder.convert(&["four.csv.zst", "--out", "five.csv"]);
    assert_eq!(folder.text("five.csv"), text.replace("nan", "NaN"));
    // Without the text in between.
    folder.convert(&["three.arrow", "--out", "six.parquet"]);
    assert_eq!(folder.read("six.parquet"), folder.read("one.parquet"));
}

#[test]
fn a_time_with_its_unit_becomes_a_column_of_times_and_comes_back_as_it_was() {
    let folder = Folder::new("times");
    folder.write("in.csv", "time,motor,rail,door\n-0.5,1,2,0\n0.000125,1,2,0\n12.000001,1,2,0\n");
    for table in TABLES {
        folder.convert(&["in.csv", "--out", table, "--setup", "axis.toml"]);
        folder.convert(&[table, "--out", "out.csv"]);
        let expected = "time,motor,rail,door\ns,-,-,-\n-0.500000,1,2,0\n0.000125,1,2,0\n12.000001,1,2,0\n";
        assert_eq!(folder.text("out.csv"), expected, "{table}");
        assert_eq!(folder.report("out.csv", "axis.toml"), folder.report("in.csv", "axis.toml"));
    }
    // The same by a row of units, in another unit.
    folder.write("in.csv", "time;motor\n[ms];(mm)\n0,125;1\n0,250;2,5\n");
    folder.convert(&["in.csv", "--out", "run.arrow"]);
    folder.convert(&["run.arrow", "--out", "run.parquet"]);
    folder.convert(&["run.parquet", "--out", "out.csv"]);
    assert_eq!(folder.text("out.csv"), "time,motor\nms,mm\n0.125,1.0\n0.250,2.5\n");
}

#[test]
fn a_unit_that_is_noted_and_contradicts_the_setup_is_refused_as_a_row_of_units_is() {
    let folder = Folder::new("units");
    folder.write("in.csv", "time,motor,rail,door\nms,mm,-,-\n0.5,1,2,0\n1.0,1,2,0\n");
    let position =
        SETUP.replace("counter_bits   = 32\nunit_per_count = \"0.0005 mm\"", "column_unit = \"um\"");
    folder.write("position.toml", position);
    for trace in ["in.csv", "run.parquet", "run.arrow"] {
        if trace != "in.csv" {
            folder.convert(&["in.csv", "--out", trace]);
        }
        let said = folder.refused(&["replay", trace, "--setup", "axis.toml"]);
        if trace == "in.csv" {
            assert!(said.contains("column `time` is in ms by the row of units, in s by the setup"), "{said}");
            continue;
        }
        // Of a column of times the type tells the base; the unit of the position is another one.
        let expected = format!(
            "error: {trace}: column `motor` is in mm by the file, in counts by the setup; correct the unit in the setup, or the file\n"
        );
        assert_eq!(said, expected);
        let said = folder.refused(&["replay", trace, "--setup", "position.toml"]);
        assert!(said.contains("column `motor` is in mm by the file, in um by the setup"), "{said}");
    }
    let whole = |cells: &[i64]| Column::Whole(cells.to_vec());
    let columns = [
        ("time", whole(&[0, 1])),
        ("motor", whole(&[0, 1])),
        ("rail", whole(&[0, 1])),
        ("door", whole(&[0, 1])),
    ];
    parquet(&folder.path("ns.parquet"), &columns, &[("unit.time", "ns")]);
    let said = folder.refused(&["replay", "ns.parquet", "--setup", "axis.toml"]);
    assert!(said.contains("column `time` is in ns by the file, in s by the setup"), "{said}");
}

#[test]
fn a_format_is_told_by_the_content_and_not_by_the_name() {
    let folder = Folder::new("names");
    folder.write("run.csv", csv());
    let expected = folder.report("run.csv", "axis.toml");
    folder.write("text.parquet", csv());
    folder.convert(&["run.csv", "--out", "run.parquet"]);
    folder.convert(&["run.csv", "--out", "run.arrow"]);
    folder.write("parquet.csv", folder.read("run.parquet"));
    folder.write("arrow.parquet", folder.read("run.arrow"));
    for trace in ["text.parquet", "parquet.csv", "arrow.parquet"] {
        assert_eq!(folder.report(trace, "axis.toml"), expected, "{trace}");
    }
    folder.write("zip.parquet", b"PK\x03\x04 and so on");
    folder.write("odd.arrow", b"\x00\x01\x02\x03\x04");
    let says = |trace| folder.refused(&["replay", trace, "--setup", "axis.toml"]);
    assert_eq!(
        says("zip.parquet"),
        "error: zip.parquet: by its name this is a Parquet file, by its first bytes a zip archive (or a spreadsheet); \
         write the file again, or name the right one; a trace is a CSV, Parquet, Arrow IPC or MDF 4 file\n"
    );
    let said = says("odd.arrow");
    let expected =
        "by its name this is an Arrow IPC file, by its first bytes neither that nor text (00 01 02 03); ";
    assert!(said.contains(expected), "{said}");
}

#[test]
fn a_table_is_read_from_a_pipe_and_packed() {
    let folder = Folder::new("piped");
    folder.write("run.csv", csv());
    let expected = folder.report("run.csv", "axis.toml");
    for table in TABLES {
        folder.convert(&["run.csv", "--out", table]);
        let mut child = Command::new(env!("CARGO_BIN_EXE_cowitness"))
            .args(["replay", "-", "--setup", "axis.toml", "--quiet", "--json", "-"])
            .current_dir(&folder.0)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        std::io::Write::write_all(&mut child.stdin.take().unwrap(), &folder.read(table)).unwrap();
        let output = child.wait_with_output().unwrap();
        let mut report: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        report["trace"]["path"] = "".into();
        assert_eq!(report, expected, "{table} through a pipe");
        let packed = zstd::encode_all(folder.read(table).as_slice(), 1).unwrap();
        folder.write("packed.zst", packed);
        assert_eq!(folder.report("packed.zst", "axis.toml"), expected, "{table} packed");
    }
}

#[test]
fn what_is_not_kept_exactly_is_refused_with_its_place() {
    let folder = Folder::new("refused");
    for (cells, expected) in [
        (
            "0,1\n1,open\n",
            "error: in.csv:3: column `x`: \"open\" is neither a number nor a boolean as the other cells are; \
             correct it, or leave the column out: --leave-out \"x\"\n",
        ),
        ("0,true\n1,2\n", "error: in.csv:2: column `x`: \"true\" is neither a number nor a boolean"),
        (
            "0,0.1234567890123456789\n",
            "error: in.csv:2:3: column `x`: \"0.1234567890123456789\" is no 64-bit number, no decimal number of 18 digits",
        ),
        (
            "0,-1\n1,18446744073709551615\n",
            "error: in.csv:3:3: column `x`: \"18446744073709551615\" is no 64-bit",
        ),
        ("0,1\n1\n", "error: in.csv:3:2: this row has 1 cells, the header 2"),
        ("", "error: in.csv: there is a header line but no row of data"),
    ] {
        folder.write("in.csv", format!("time,x\n{cells}"));
        let said = folder.refused(&["convert", "in.csv", "--out", "out.parquet"]);
        assert!(said.starts_with(expected), "{said}");
        assert!(!folder.path("out.parquet").exists());
        assert_eq!(std::fs::read_dir(&folder.0).unwrap().count(), 2, "nothing is left behind");
    }
    folder.write("in.csv", "time,x,note\n0,1,open\n1,2,\n");
    folder.convert(&["in.csv", "--out", "out.parquet", "--leave-out", "note"]);
    folder.convert(&["out.parquet", "--out", "out.csv", "--leave-out", "x"]);
    assert_eq!(folder.text("out.csv"), "time\n0\n1\n");
    let said = folder.refused(&["convert", "in.csv", "--out", "out.parquet", "--leave-out", "notes"]);
    assert!(said.contains("there is no column \"notes\" to be left out"), "{said}");
}

#[test]
fn a_file_is_replaced_by_a_whole_one_and_the_input_never() {
    let folder = Folder::new("overwrite");
    folder.write("in.csv", csv());
    let said = folder.refused(&["convert", "in.csv", "--out", "./in.csv"]);
    assert!(said.contains("is read in the same run and would be overwritten"), "{said}");
    let said = folder.refused(&["convert", "in.csv", "--out", "axis.toml", "--setup", "axis.toml"]);
    assert!(said.contains("is read in the same run"), "{said}");
    let said = folder.refused(&["convert", "in.csv", "--out", "out.dat"]);
    assert!(said.contains("out.dat: the name says no format; end it in .csv,"), "{said}");
    let said = folder.refused(&["convert", "-", "--out", "out.parquet"]);
    assert!(said.contains("standard input"), "{said}");
    folder.write("out.parquet", "before");
    folder.write("bad.csv", "time,x\n0,open\n");
    folder.refused(&["convert", "bad.csv", "--out", "out.parquet"]);
    assert_eq!(folder.text("out.parquet"), "before");
    folder.convert(&["in.csv", "--out", "out.parquet"]);
    assert!(folder.read("out.parquet").starts_with(b"PAR1"));
    let said = folder.refused(&["convert", "in.csv", "--out", "nowhere/out.parquet"]);
    assert!(said.starts_with("error: nowhere/out.parquet: cannot be written: "), "{said}");
}

#[test]
fn floats_are_written_with_all_their_digits_and_rounded_once() {
    let folder = Folder::new("floats");
    // Half a unit in the last place of a position, exactly, and the shortest text of it, which is a little less.
    let half = 0.5_f64.powi(25);
    let columns = [
        ("time", Column::Real(vec![0.0, 0.0005, 0.001])),
        ("motor", Column::Whole(vec![0, 1, 2])),
        ("rail", Column::Real(vec![0.0, half, 2.0 * half])),
        ("door", Column::Real(vec![0.0, 1.0, 0.0])),
    ];
    parquet(&folder.path("run.parquet"), &columns, &[]);
    folder.convert(&["run.parquet", "--out", "run.csv"]);
    let expected = "time,motor,rail,door\n0,0,0,0\n\
        0.0005000000000000000104083408558608425664715468883514404296875,1,298023223876953125e-25,1\n\
        0.001000000000000000020816681711721685132943093776702880859375,2,59604644775390625e-24,0\n";
    assert_eq!(folder.text("run.csv"), expected);
    folder.convert(&["run.csv", "--out", "back.parquet"]);
    folder.convert(&["back.parquet", "--out", "back.csv"]);
    assert_eq!(folder.text("back.csv"), expected);
    let position =
        SETUP.replace("counter_bits   = 24\nunit_per_count = \"0.001 mm\"", "column_unit = \"mm\"");
    folder.write("position.toml", position);
    let expected = folder.report("run.parquet", "position.toml");
    assert_eq!(folder.report("run.csv", "position.toml"), expected);
    assert_eq!(folder.report("back.parquet", "position.toml"), expected);
}

#[test]
fn many_row_groups_and_record_batches_give_the_same_report() {
    let folder = Folder::new("many");
    // More columns make the parts shorter: some 800 rows each.
    let extra: Vec<String> = (0..10_000).map(|column| format!("c{column}")).collect();
    let mut text = format!("time,motor,rail,door,{}\n", extra.join(","));
    let zeros = vec!["0"; extra.len()].join(",");
    for line in csv().lines().skip(1) {
        text += &format!("{line},{zeros}\n");
    }
    folder.write("wide.csv", text);
    folder.write("run.csv", csv());
    let expected = folder.report("run.csv", "axis.toml");
    for table in TABLES {
        let said = folder.convert(&["wide.csv", "--out", table]);
        assert_eq!(said, format!("{table}: 1000 rows of 10004 columns\n"));
        assert_eq!(folder.report(table, "axis.toml"), expected, "{table}");
        let wrong = SETUP.replace("\"motor\"", "\"motr\"");
        folder.write("wrong.toml", wrong);
        let said = folder.refused(&["replay", table, "--setup", "wrong.toml"]);
        assert!(
            said.contains("there is no column `motr` that `[channel.a]` asks for, did you mean `motor`?"),
            "{said}"
        );
        assert!(said.contains("the columns are `motor`, `door`, ") && said.len() < 1000, "{said}");
        assert!(said.contains(", and 9964 more;"), "{said}");
        let said = folder.refused(&["replay", "wide.csv", "--setup", "wrong.toml"]);
        assert!(
            said.contains("asks for, did you mean `motor`?; the columns are `motor`, `door`, "),
            "{said}"
        );
        assert!(said.contains(", and 9964 more;") && said.len() < 1000, "{said}");
    }
}
