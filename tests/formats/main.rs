//! Traces as files of typed columns, from one implementation to another.
//!
//! `write.py` and `read.py` beside this file use two general-purpose libraries, which `libraries.py` fetches from PyPI. Where python3, pip or the
//! network is missing, the tests say so and pass, except where the variable `CI` is set.

use std::fs;
use std::path::{Path, PathBuf};

use cowitness_tests::python;
use host_harness::replay::{layout, replay};
use host_harness::report::Report;
use host_harness::setup::Setup;
use host_harness::trace::{Options, Reader, convert};
use serde_json::Value;

const SETUP: &str = include_str!("axis.toml");
/// Rows of the trace, one in every millisecond.
const ROWS: i64 = 1000;

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("formats").join(name);
    // It may not be there.
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

/// The report on a trace, as it would be of any path.
fn report(path: &Path) -> Result<Value, String> {
    let setup = Setup::parse(SETUP, "axis.toml").unwrap_or_else(|error| panic!("{error}"));
    let layout = layout(&setup).expect("a layout");
    let mut reader = Reader::open(path, &layout, Options::default()).map_err(|error| error.to_string())?;
    let outcome = replay(&setup, &mut reader, &mut |_| {}).map_err(|error| error.to_string())?;
    Ok(serde_json::to_value(Report::new(&setup, &outcome, "trace", 0)).expect("JSON"))
}

#[test]
fn files_of_other_implementations_give_the_report_of_the_same_data_as_text() {
    let folder = folder("theirs");
    let mut text = "time,motor,rail,door\n".to_owned();
    let mut motor = 0;
    for row in 0..ROWS {
        // Beyond the limit at the end.
        motor += if row < 800 { 150 } else { 200 };
        let rail = if row % 2 == 0 { (motor / 50).to_string() } else { String::new() };
        text += &format!("{}.{:03},{motor},{rail},{}\n", row / 1000, row % 1000, u8::from(row > 300));
    }
    let trace = folder.join("trace.csv");
    fs::write(&trace, text).expect("a trace");
    let Some(written) = python("formats/write.py", std::slice::from_ref(&folder)) else { return };
    let expected = report(&trace).expect("the text");
    assert_eq!(expected["verdict"], "tripped");
    assert_eq!(expected["trace"]["frames"], ROWS);
    let mut wrong = Vec::new();
    for file in &written {
        let name = file["file"].as_str().expect("a name");
        let found = report(&folder.join(name));
        if name == "brotli.parquet" {
            let said = found.expect_err("brotli is not built in");
            assert!(
                said.contains("is compressed as brotli, which is not read; write the file again"),
                "{said}"
            );
        } else if found.as_ref() != Ok(&expected) {
            let found = found.map_or_else(|error| error, |_| "another report".to_owned());
            wrong.push(format!("{name} ({}): {found}", file["how"]));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(written.len() > 80, "{}", written.len());
}

#[test]
fn files_of_ours_are_read_by_other_implementations_cell_by_cell() {
    let folder = folder("ours");
    let mut text = "time,motor,rail,door,big,torque,ok,float\n".to_owned();
    for row in 0..70_000_i64 {
        let rail = if row % 3 == 0 { String::new() } else { (row * 7 % 60_000 - 30_000).to_string() };
        let float = ["0.5", "-2.25", "NaN", "", "inf", "1e22"][usize::try_from(row % 6).expect("small")];
        let torque = format!("{}{}.{:03}", if row % 2 == 0 { "-" } else { "" }, row % 50, row % 1000);
        text += &format!(
            "{}.{:06},{},{rail},{},{},{torque},{},{float}\n",
            row / 8000,
            row % 8000 * 125,
            row * 31 - 1_000_000,
            row % 2,
            u64::MAX - u64::try_from(row).expect("not negative"),
            row % 5 == 0,
        );
    }
    let trace = folder.join("trace.csv");
    fs::write(&trace, text).expect("a trace");
    let setup = Setup::parse(SETUP, "axis.toml").unwrap_or_else(|error| panic!("{error}"));
    let layout = layout(&setup).expect("a layout");
    for (name, layout) in [
        ("ours.parquet", None),
        ("ours.arrow", None),
        ("ours-times.parquet", Some(&layout)),
        ("ours-times.arrow", Some(&layout)),
    ] {
        convert(&trace, &folder.join(name), layout, &[]).unwrap_or_else(|error| panic!("{error}"));
    }
    let Some(read) = python("formats/read.py", std::slice::from_ref(&folder)) else { return };
    assert_eq!(read.len(), 8);
    for file in &read {
        assert_eq!(file["differs"], Value::Null, "{file}");
    }
    let types = |name: &str| {
        read.iter().find(|file| file["file"] == name && file["by"] == "pyarrow").expect("it was read")["types"].clone()
    };
    assert_eq!(types("ours-times.parquet")[0], "duration[ns]");
    assert_eq!(types("ours-times.arrow")[0], "duration[ns]");
    assert_eq!(types("ours.parquet")[0], "decimal128(18, 6)");
    assert_eq!(types("ours.parquet")[4], "uint64");
}
