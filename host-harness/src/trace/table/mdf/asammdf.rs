//! Files that another library wrote; `tests/formats/mdf.py` says which and how it comes here, writes them and tells what is in them.
//!
//! Where python3, pip or the network is missing, the test says so and passes, except where the variable `CI` is set.

use std::fs::File;
use std::io::{self, BufRead, BufReader, Cursor, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde::Deserialize;
use serde_json::Number;

use super::*;
use crate::trace::table::Cells;

#[derive(Deserialize)]
struct Told {
    file: PathBuf,
    groups: Vec<ToldGroup>,
}

#[derive(Deserialize)]
struct ToldGroup {
    name: String,
    columns: Vec<ToldColumn>,
}

#[derive(Deserialize)]
struct ToldColumn {
    name: String,
    unit: String,
    #[serde(rename = "as")]
    told_as: String,
    values: Vec<Number>,
    valid: Option<Vec<bool>>,
}

fn not_run(why: &str) {
    let ci = std::env::var_os("CI").is_some_and(|value| !value.is_empty() && value != "false");
    // Past the capturing of the test harness; when standard error is closed there is nobody to tell.
    let _ = writeln!(io::stderr(), "NOT RUN: files of another library: {why}");
    assert!(!ci, "not run, which is a failure in CI: {why}");
}

/// Runs the script in a folder of its own, and shows what it tells of each file, or of the one that is named; returns how many there are,
/// `None` where it could not be run.
fn each_file(folder: &str, only: Option<&str>, mut show: impl FnMut(Told)) -> Option<usize> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap();
    let cache = match std::env::var_os("COWITNESS_CACHE") {
        Some(path) if !path.is_empty() => path.into(),
        _ => root.join("target").join("recordings"),
    };
    let mut command = Command::new("python3");
    command
        .arg("-B")
        .arg(root.join("tests/formats/mdf.py"))
        .arg(cache)
        .arg(root.join("target/tmp").join(folder))
        .args(only);
    let mut child = match command.stdout(Stdio::piped()).spawn() {
        Ok(child) => child,
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            not_run("there is no python3");
            return None;
        }
        Err(error) => panic!("python3 cannot be started: {error}"),
    };
    let mut files = 0;
    for line in BufReader::new(child.stdout.take().unwrap()).lines() {
        show(serde_json::from_str(&line.unwrap()).unwrap());
        files += 1;
    }
    match child.wait().unwrap().code() {
        Some(0) => Some(files),
        Some(3) => {
            not_run("the library cannot be fetched; the reason stands above");
            None
        }
        status => panic!("the script ended with {status:?}"),
    }
}

/// Whole numbers, or the bits of floats; and which are there.
fn read(mdf: &mut Mdf, column: usize) -> (Vec<i128>, Vec<bool>) {
    mdf.select(&[column]).unwrap_or_else(|error| panic!("{error}"));
    let (mut chunk, mut values, mut there) = (Chunk::default(), Vec::new(), Vec::new());
    while mdf.next(&mut chunk).unwrap_or_else(|error| panic!("{error}")) {
        let (cells, present) = &chunk.columns[0];
        match cells {
            Cells::Integers(cells) => values.extend(cells.iter().map(|cell| i128::from(*cell))),
            Cells::Unsigned(cells) => values.extend(cells.iter().map(|cell| i128::from(*cell))),
            Cells::Bools(cells) => values.extend(cells.iter().map(|cell| i128::from(*cell))),
            Cells::Reals(cells) => values.extend(cells.iter().map(|cell| i128::from(cell.to_bits()))),
        }
        let all = || vec![true; chunk.rows];
        there.extend(present.clone().unwrap_or_else(all));
    }
    (values, there)
}

#[test]
fn every_value_of_files_that_another_library_wrote_is_the_one_that_was_put_in() {
    let mut compared = 0;
    let files = each_file("mdf", None, |told| {
        let shown = told.file.display();
        let mut mdf =
            Mdf::open(File::open(&told.file).unwrap()).unwrap_or_else(|error| panic!("{shown}: {error}"));
        let groups = told.groups.len();
        assert_eq!(mdf.columns().iter().map(|column| column.group).max(), Some(groups - 1), "{shown}");
        for group in &told.groups {
            for column in &group.columns {
                let address = format!("{}/{}", group.name, column.name);
                let is_it =
                    |found: &Column| found.name == column.name && mdf.group(found.group) == group.name;
                let place = mdf.columns().iter().position(is_it);
                let place = place.unwrap_or_else(|| panic!("{shown}: {address}"));
                let found = mdf.columns()[place].clone();
                let what = format!("{shown}: {address}: {found:?}");
                assert_eq!(found.unit.as_deref().unwrap_or(""), column.unit, "{what}");
                assert_eq!(found.is_time, column.name == "time", "{what}");
                match column.told_as.as_str() {
                    // Without rows, texts have no width, and this library writes them as numbers.
                    "x" if found.rows == Some(0) => continue,
                    "x" => {
                        assert!(matches!(found.kind, Kind::Other(_)), "{what}");
                        continue;
                    }
                    "f" => assert_eq!(found.kind, Kind::Real, "{what}"),
                    _ => assert!(matches!(found.kind, Kind::Integer | Kind::Bool), "{what}"),
                }
                let (values, there) = read(&mut mdf, place);
                assert_eq!(found.rows, Some(values.len() as u64), "{what}");
                assert_eq!(values.len(), column.values.len(), "{what}");
                let whole = |number: &Number| number.as_i128().unwrap();
                for (row, (value, number)) in values.iter().zip(&column.values).enumerate() {
                    assert_eq!(*value, whole(number), "row {row} of {what}");
                }
                let valid = column.valid.clone().unwrap_or_else(|| vec![true; values.len()]);
                assert_eq!(there, valid, "{what}");
                compared += values.len();
            }
        }
    });
    // 27 short files, 3 long ones, 2 in parts; 5.6 million values.
    let Some(files) = files else { return };
    assert!(files == 32 && compared > 3_000_000, "{compared} values of {files} files");
}

#[test]
fn a_file_of_another_library_that_is_cut_or_altered_is_read_or_refused() {
    let mut file = None;
    let files = each_file("mdf-altered", Some("4.10-2-1000"), |told| file = Some(told.file));
    let Some(files) = files else { return };
    assert_eq!(files, 1, "that file is among them");
    let whole = std::fs::read(file.expect("told of")).unwrap();
    let try_all = |bytes: Vec<u8>| -> usize {
        let Ok(mut mdf) = Mdf::open(Cursor::new(bytes)) else { return 0 };
        // One column stands for all of its group.
        let mut chunk = Chunk::default();
        let mut read = 0;
        for column in [1, mdf.columns().len().saturating_sub(1)] {
            if column < mdf.columns().len() && mdf.select(&[column]).is_ok() {
                while mdf.next(&mut chunk).is_ok_and(|any| any) {
                    read += chunk.rows;
                    assert!(read <= 4000, "{read} rows");
                }
            }
        }
        read
    };
    assert_eq!(try_all(whole.clone()), 1100);
    for part in 1..200 {
        try_all(whole[..whole.len() * part / 200].to_vec());
    }
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    let mut random = |below: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        usize::try_from(state >> 33).unwrap() % below
    };
    for _ in 0..400 {
        let mut bytes = whole.clone();
        // The structure stands at the end in files of this library.
        let from = if random(2) == 0 { 0 } else { bytes.len() - bytes.len() / 8 };
        for _ in 0..=random(4) {
            let at = from + random(bytes.len() - from);
            bytes[at] = [0, 0xff, bytes[at] ^ 1 << random(8)][random(3)];
        }
        try_all(bytes);
    }
}
