//! Parquet and Arrow IPC files as traces, and `cowitness convert`.

mod table_files;

use std::fs::File;
use std::process::{Command, Stdio};

use std::sync::Arc;

use arrow_array::types::{
    DurationMillisecondType, Float32Type, Int8Type, Int32Type, Time64MicrosecondType,
    TimestampMicrosecondType, TimestampSecondType, UInt16Type, UInt32Type,
};
use arrow_array::{ArrayRef, PrimitiveArray, RecordBatch};
use arrow_schema::{DataType, Field, Schema, TimeUnit};
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

#[test]
fn a_synthetic_trace_is_refused_a_name_that_promises_another_format() {
    let folder = Folder::new("synth_names");
    let scenario = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../traces-demo/belt-slip.toml");
    let scenario = scenario.to_str().unwrap();
    for (name, expected) in [
        (
            "z.parquet",
            "error: --out z.parquet: by its name this is a Parquet file, and a synthetic trace is written as CSV; \
             name it z.csv, and make the other file of it: cowitness convert z.csv --out z.parquet\n",
        ),
        (
            "z.feather",
            "is an Arrow IPC file, and a synthetic trace is written as CSV; name it z.csv, and make",
        ),
        ("z.arrow.gz", "cowitness convert z.csv --out z.arrow\n"),
        ("z.mf4", "is an MDF 4 file, and a synthetic trace is written as CSV; name it z.csv\n"),
        ("z.tsv", "is text separated by tabs, and"),
        ("z.csv.xz", "is compressed in a way that is not written, and"),
    ] {
        let said = folder.refused(&["synth", scenario, "--out", name]);
        assert!(said.contains(expected), "{said}");
        assert!(!folder.path(name).exists(), "{name}");
    }
    for name in ["z.csv", "z", "z.txt", "Z.CSV.GZ"] {
        assert_eq!(folder.run(&["synth", scenario, "--out", name]).status.code(), Some(0), "{name}");
    }
}

/// Columns of types that are easily lost, each with a first, a missing and a last cell.
fn typed() -> Vec<(&'static str, ArrayRef)> {
    let berlin =
        PrimitiveArray::<TimestampMicrosecondType>::from(vec![Some(1_790_000_000_000_001), None, Some(0)]);
    vec![
        ("berlin", Arc::new(berlin.with_timezone("Europe/Berlin"))),
        (
            "wall",
            Arc::new(PrimitiveArray::<TimestampSecondType>::from(vec![Some(1_790_000_000), None, Some(1)])),
        ),
        (
            "age",
            Arc::new(PrimitiveArray::<DurationMillisecondType>::from(vec![Some(-5), None, Some(12_345)])),
        ),
        (
            "day",
            Arc::new(PrimitiveArray::<Time64MicrosecondType>::from(vec![
                Some(1),
                None,
                Some(86_399_999_999),
            ])),
        ),
        ("i8", Arc::new(PrimitiveArray::<Int8Type>::from(vec![Some(-128), None, Some(127)]))),
        ("u16", Arc::new(PrimitiveArray::<UInt16Type>::from(vec![Some(0), None, Some(65_535)]))),
        ("i32", Arc::new(PrimitiveArray::<Int32Type>::from(vec![Some(i32::MIN), None, Some(i32::MAX)]))),
        ("u32", Arc::new(PrimitiveArray::<UInt32Type>::from(vec![Some(0), None, Some(u32::MAX)]))),
        ("f32", Arc::new(PrimitiveArray::<Float32Type>::from(vec![Some(0.1), None, Some(f32::MAX)]))),
    ]
}

fn write_arrow(path: &std::path::Path, columns: &[(&str, ArrayRef)]) {
    let fields = columns.iter().map(|(name, array)| Field::new(*name, array.data_type().clone(), true));
    let notes: std::collections::HashMap<_, _> = [("made_by".to_owned(), "a test".to_owned())].into();
    let schema = Arc::new(Schema::new_with_metadata(fields.collect::<Vec<_>>(), notes));
    let arrays = columns.iter().map(|(_, array)| Arc::clone(array)).collect();
    let batch = RecordBatch::try_new(Arc::clone(&schema), arrays).unwrap();
    let mut writer = arrow_ipc::writer::FileWriter::try_new(File::create(path).unwrap(), &schema).unwrap();
    writer.write(&batch).unwrap();
    writer.finish().unwrap();
}

fn read_arrow(path: &std::path::Path) -> RecordBatch {
    let mut reader = arrow_ipc::reader::FileReader::try_new(File::open(path).unwrap(), None).unwrap();
    reader.next().unwrap().unwrap()
}

#[test]
fn types_stay_as_narrow_as_they_were_and_times_keep_their_zone_in_both_formats() {
    let folder = Folder::new("types");
    let columns = typed();
    write_arrow(&folder.path("in.arrow"), &columns);
    let said = folder.convert(&["in.arrow", "--out", "one.arrow"]);
    assert_eq!(
        said,
        "note: column `day`: times of day -> durations since midnight\n\
         note: notes of the file that are not written: `made_by`\n\
         one.arrow: 3 rows of 9 columns\n"
    );
    let said = folder.convert(&["one.arrow", "--out", "two.parquet"]);
    assert_eq!(
        said,
        "note: column `wall`: points in time in s -> points in time in ms: Parquet has no s\n\
         two.parquet: 3 rows of 9 columns\n"
    );
    assert_eq!(
        folder.convert(&["two.parquet", "--out", "three.arrow"]),
        "three.arrow: 3 rows of 9 columns\n"
    );
    let found = read_arrow(&folder.path("one.arrow"));
    for (name, array) in columns.iter().filter(|(name, _)| *name != "day") {
        assert_eq!(found.column_by_name(name).unwrap(), array, "{name}");
    }
    assert_eq!(found.column_by_name("day").unwrap().data_type(), &DataType::Duration(TimeUnit::Microsecond));
    let last = read_arrow(&folder.path("three.arrow"));
    for (name, array) in columns.iter().filter(|(name, _)| !["day", "wall"].contains(name)) {
        assert_eq!(last.column_by_name(name).unwrap(), array, "{name}");
    }
    assert_eq!(last.column_by_name("day").unwrap(), found.column_by_name("day").unwrap());
    assert_eq!(
        last.column_by_name("wall").unwrap().data_type(),
        &DataType::Timestamp(TimeUnit::Millisecond, None)
    );
}

#[test]
fn what_a_text_does_not_say_of_times_is_told_in_a_line_for_each_kind() {
    let folder = Folder::new("told");
    write_arrow(&folder.path("in.arrow"), &typed());
    let said = folder.convert(&["in.arrow", "--out", "out.csv"]);
    for expected in [
        "note: column `berlin`: points in time (time zone Europe/Berlin) -> numbers of s since 1970 in UTC: a text",
        "note: column `wall`: points in time without a time zone -> numbers of s since 1970: a text has no types\n",
        "note: column `day`: times of day -> numbers of s since midnight: a text has no types\n",
    ] {
        assert!(said.contains(expected), "{said}");
    }
    let text = folder.text("out.csv");
    assert!(
        text.ends_with("0.000000,1,12.345,86399.999999,127,65535,2147483647,4294967295,340282346638528859811704183484516925440\n"),
        "{text}"
    );
    let all: Vec<(String, ArrayRef)> =
        (0..500).map(|n| (format!("t{n}"), Arc::clone(&typed()[0].1))).collect();
    let all: Vec<(&str, ArrayRef)> =
        all.iter().map(|(name, array)| (name.as_str(), Arc::clone(array))).collect();
    write_arrow(&folder.path("many.arrow"), &all);
    let said = folder.convert(&["many.arrow", "--out", "many.csv"]);
    assert!(said.starts_with("note: 500 columns, `t0`, `t1`, `t2`, and 497 more: points in time"), "{said}");
    assert_eq!(said.lines().count(), 3, "{said}");
}

#[test]
fn seconds_of_a_text_become_durations_and_no_points_in_time() {
    let folder = Folder::new("durations");
    folder.write("in.csv", "time,motor\ns,-\n0.5,1\n1.25,2\n");
    for name in ["one.parquet", "one.arrow"] {
        assert_eq!(folder.convert(&["in.csv", "--out", name]), format!("{name}: 2 rows of 2 columns\n"));
        folder.convert(&[name, "--out", "back.arrow"]);
        let field = read_arrow(&folder.path("back.arrow")).schema().field(0).clone();
        assert_eq!(field.data_type(), &DataType::Duration(TimeUnit::Nanosecond), "{name}");
        folder.convert(&[name, "--out", "back.csv"]);
        assert_eq!(folder.text("back.csv"), "time,motor\ns,-\n0.50,1\n1.25,2\n", "{name}");
    }
}

#[test]
fn times_of_floats_are_written_as_short_as_they_are_the_same_float_and_the_same_ns() {
    let folder = Folder::new("short_times");
    let columns = [
        ("time", Column::Real(vec![0.0, 0.0005, 0.1 + 0.2])),
        ("motor", Column::Whole(vec![0, 1, 2])),
        ("rail", Column::Whole(vec![0, 1, 2])),
        ("door", Column::Whole(vec![0, 0, 0])),
    ];
    parquet(&folder.path("run.parquet"), &columns, &[]);
    folder.convert(&["run.parquet", "--out", "run.csv", "--setup", "axis.toml"]);
    let expected = "time,motor,rail,door\ns,-,-,-\n0,0,0,0\n0.0005,1,1,0\n0.30000000000000004,2,2,0\n";
    assert_eq!(folder.text("run.csv"), expected);
    assert_eq!(folder.report("run.csv", "axis.toml"), folder.report("run.parquet", "axis.toml"));
}

#[test]
fn rows_that_are_a_thousand_times_too_far_apart_or_too_close_are_told_with_the_unit_that_explains_it() {
    let folder = Folder::new("unit_of_time");
    folder.write("run.csv", csv());
    let said = |trace: &str, setup: &str| {
        let output = folder.run(&["replay", trace, "--setup", setup, "--quiet"]);
        String::from_utf8(output.stderr).unwrap()
    };
    assert_eq!(said("run.csv", "axis.toml"), "");
    // The same times in ms.
    let mut slow = "time,motor,rail,door\n".to_owned();
    for (row, line) in csv().lines().skip(1).enumerate() {
        let (_, rest) = line.split_once(',').unwrap();
        slow += &format!("{}.{},{rest}\n", row / 2, row % 2 * 5);
    }
    folder.write("ms.csv", slow);
    assert_eq!(
        said("ms.csv", "axis.toml"),
        "note: ms.csv: the rows are 0.5 s apart on the average, and the shorter `timeout` is 0.004 s; \
         if the times of the trace are in ms and not in s, correct `unit` of [time]\n"
    );
    let with_period = format!("{SETUP}[machine]\nframe_period = \"0.5 ms\"\n");
    folder.write("period.toml", &with_period);
    assert_eq!(said("run.csv", "period.toml"), "");
    assert!(said("ms.csv", "period.toml").contains("and `frame_period` of [machine] is 0.0005 s; if"));
    folder.write("fast.toml", with_period.replace("unit   = \"s\"", "unit   = \"ms\""));
    let fast = said("run.csv", "fast.toml");
    assert!(fast.contains("if the times of the trace are in s and not in ms, correct"), "{fast}");
}
