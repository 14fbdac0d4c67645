//! Every way in which a Parquet or Arrow IPC file can be bad, with the place and the words of the message.

mod table_files;

use std::io::Cursor;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::process::Command;

use host_harness::replay::layout;
use host_harness::setup::Setup;
use host_harness::trace::{Layout, Options, Reader};
use table_files::{Column, Folder, SETUP, csv, parquet};

/// What a trace is refused with.
fn says(folder: &Folder, trace: &str) -> String {
    let said = folder.refused(&["replay", trace, "--setup", "axis.toml"]);
    said.strip_prefix(&format!("error: {trace}")).expect("an error of the trace").trim_end().to_owned()
}

fn whole(cells: &[i64]) -> Column {
    Column::Whole(cells.to_vec())
}

/// Five good rows, to be varied.
fn columns() -> Vec<(&'static str, Column)> {
    vec![
        ("time", whole(&[0, 1, 2, 3, 4])),
        ("motor", whole(&[0, 1, 2, 3, 4])),
        ("rail", whole(&[0, 1, 2, 3, 4])),
        ("door", whole(&[0, 1, 1, 1, 0])),
    ]
}

fn with(name: &str, column: Column) -> Vec<(&'static str, Column)> {
    let mut columns = columns();
    columns.iter_mut().find(|(other, _)| *other == name).unwrap().1 = column;
    columns
}

#[test]
fn every_bad_row_is_refused_with_its_number_and_column() {
    let folder = Folder::new("bad_rows");
    let hole = |row: usize| Column::Nullable((0..5).map(|n| (n != row as i64).then_some(n)).collect());
    for (column, cells, expected) in [
        (
            "time",
            hole(2),
            ", row 3: column `time`: the cell is empty; fill it in, or leave bad rows out with --skip-bad",
        ),
        (
            "motor",
            hole(0),
            ", row 1: column `motor`: the cell is empty; fill it in, declare the source sparse",
        ),
        ("door", hole(1), ", row 2: column `door`: the cell is empty; "),
        (
            "time",
            whole(&[0, 1, 1, 3, 4]),
            ", row 3: column `time`: time stands still from 1.000000000 s to \"1\"",
        ),
        (
            "time",
            whole(&[0, 5, 4, 6, 7]),
            ", row 3: column `time`: time goes back from 5.000000000 s to \"4\"",
        ),
        (
            "rail",
            whole(&[0, 1, 2, 1 << 24, 4]),
            ", row 4: column `rail`: \"16777216\" is beyond its width of 24 bits; ",
        ),
        (
            "rail",
            Column::Real(vec![0.0, 1.0, 2.5, 3.0, 4.0]),
            ", row 3: column `rail`: \"2.5\" is not a whole number of counts; ",
        ),
        (
            "rail",
            Column::Real(vec![0.0, 1.0, 2.0, 3.0, f64::NAN]),
            ", row 5: column `rail`: \"NaN\" is not a finite number; ",
        ),
        (
            "time",
            Column::Real(vec![0.0, 1.0, f64::INFINITY, 3.0, 4.0]),
            ", row 3: column `time`: \"inf\" is not a finite",
        ),
        ("door", whole(&[0, 1, 2, 1, 0]), ", row 3: column `door`: \"2\" is not a level; "),
        (
            "door",
            Column::Real(vec![0.0, 0.5, 0.0, 0.0, 0.0]),
            ", row 2: column `door`: \"0.5\" is not a level; ",
        ),
        (
            "time",
            Column::Real(vec![0.0, 1e300, 2.0, 3.0, 4.0]),
            ", row 2: column `time`: \"1e300\" is beyond the range of times",
        ),
    ] {
        parquet(&folder.path("run.parquet"), &with(column, cells), &[]);
        let said = says(&folder, "run.parquet");
        assert!(said.starts_with(expected), "{said}");
    }
    // The same can be left out, and is counted.
    parquet(&folder.path("run.parquet"), &with("rail", hole(2)), &[]);
    let output = folder.run(&["replay", "run.parquet", "--setup", "axis.toml", "--skip-bad", "--quiet"]);
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("note: run.parquet: 1 row left out: empty cell"), "{said}");
    assert!(said.contains("run.parquet, row 3: column `rail`: the cell is empty; "), "{said}");
    let none = whole(&[-1, -1, -1, -1, -1]);
    parquet(&folder.path("run.parquet"), &with("door", none), &[]);
    let said = folder.refused(&["replay", "run.parquet", "--setup", "axis.toml", "--skip-bad"]);
    assert!(
        said.contains("run.parquet: the table has no row left: all 5 rows were bad; run without --skip-bad"),
        "{said}"
    );
}

#[test]
fn columns_that_cannot_be_meant_are_refused_by_name() {
    let folder = Folder::new("bad_columns");
    let text = Column::Text(vec!["a", "b", "c", "d", "e"]);
    let twice = [columns(), vec![("rail", whole(&[0; 5]))]].concat();
    let renamed: Vec<_> = columns()
        .into_iter()
        .map(|(name, cells)| (if name == "rail" { "rail_count" } else { name }, cells))
        .collect();
    for (columns, expected) in [
        (with("rail", text), ": column `rail` holds text, not numbers; name another column in the setup"),
        (twice, ": 2 columns are called `rail`; give each column its own name"),
        (
            renamed,
            ": there is no column `rail` that `[channel.b]` asks for, did you mean `rail_count`?; the columns are \
             `time`, `motor`, `rail_count`, `door`; ",
        ),
        (
            columns().into_iter().map(|(name, _)| (name, whole(&[]))).collect(),
            ": the table has no row; record it again",
        ),
    ] {
        parquet(&folder.path("run.parquet"), &columns, &[]);
        let said = says(&folder, "run.parquet");
        assert!(said.starts_with(expected), "{said}");
    }
    // What is not needed may be anything.
    let more = [columns(), vec![("note", Column::Text(vec!["a"; 5])), ("note", whole(&[0; 5]))]].concat();
    parquet(&folder.path("run.parquet"), &more, &[]);
    folder.report("run.parquet", "axis.toml");
    let said = folder.refused(&["convert", "run.parquet", "--out", "run.csv"]);
    assert!(
        said.contains("column `note` holds text, which is not converted; leave it out: --leave-out \"note\""),
        "{said}"
    );
}

#[test]
fn a_truncated_encrypted_or_foreign_file_is_refused_with_what_to_do() {
    let folder = Folder::new("bad_files");
    folder.write("run.csv", csv());
    for table in ["run.parquet", "run.arrow"] {
        folder.convert(&["run.csv", "--out", table]);
        let bytes = folder.read(table);
        for cut in [8, 12, bytes.len() / 2, bytes.len() - 1] {
            folder.write("cut.bin", &bytes[..cut]);
            let said = says(&folder, "cut.bin");
            assert!(
                said.contains("is truncated: its end is missing; copy the file again"),
                "{table} {cut}: {said}"
            );
        }
    }
    let mut bytes = folder.read("run.parquet");
    let end = bytes.len();
    bytes[end - 1] = b'E';
    folder.write("encrypted.parquet", &bytes);
    let said = says(&folder, "encrypted.parquet");
    assert_eq!(
        said,
        ": the Parquet file has an encrypted footer, which is not read; write the file again without it"
    );
    bytes[end - 1] = b'1';
    bytes[end - 20..end - 8].fill(0xff);
    folder.write("garbage.parquet", &bytes);
    let said = says(&folder, "garbage.parquet");
    assert!(said.starts_with(": the Parquet file is damaged"), "{said}");
}

#[test]
fn a_compression_that_is_not_built_in_is_named_with_those_that_are() {
    let folder = Folder::new("brotli");
    folder.write("run.csv", csv());
    folder.convert(&["run.csv", "--out", "run.parquet"]);
    // The codec stands behind the name of the column: zstd is 6, brotli 4, in zigzag.
    let mut bytes = folder.read("run.parquet");
    let find = |bytes: &[u8]| bytes.windows(7).rposition(|part| part == b"motor\x15\x0c");
    let at = find(&bytes).expect("the codec of the column");
    bytes[at + 6] = 8;
    folder.write("run.parquet", bytes);
    assert_eq!(
        says(&folder, "run.parquet"),
        ": column `motor` is compressed as brotli, which is not read; write the file again with the compression \
         snappy, zstd, lz4, gzip or none"
    );
}

/// A generator of numbers without statistical ambitions: xorshift.
struct Random(u64);

impl Random {
    fn below(&mut self, bound: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % bound as u64).unwrap()
    }
}

/// The same bytes with one to three of them changed, or a part cut out or doubled.
fn damaged(bytes: &[u8], random: &mut Random) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    // Most of what can go wrong stands at the end or at the beginning of a file.
    let place = |random: &mut Random, length: usize| match random.below(3) {
        0 => random.below(length),
        1 => length - 1 - random.below(length.min(900)),
        _ => random.below(length.min(900)),
    };
    match random.below(8) {
        0 => bytes.truncate(place(random, bytes.len())),
        1 => {
            let at = place(random, bytes.len());
            let to = (at + 1 + random.below(64)).min(bytes.len());
            bytes.drain(at..to);
        }
        2 => {
            let at = place(random, bytes.len());
            let to = (at + 1 + random.below(64)).min(bytes.len());
            let part = bytes[at..to].to_vec();
            bytes.splice(at..at, part);
        }
        _ => {
            for _ in 0..=random.below(3) {
                let at = place(random, bytes.len());
                bytes[at] = match random.below(4) {
                    0 => 0,
                    1 => 0xff,
                    2 => bytes[at] ^ 1 << random.below(8),
                    _ => random.below(256) as u8,
                };
            }
        }
    }
    bytes
}

/// Reads all there is; how many frames.
fn drain(bytes: Vec<u8>, layout: &Layout) -> usize {
    let Ok(mut reader) = Reader::from_read("t", Cursor::new(bytes), layout, Options { skip_bad: true })
    else {
        return 0;
    };
    let (mut batch, mut frames) = (Vec::new(), 0);
    loop {
        let more = reader.next_batch(&mut batch);
        frames += batch.len();
        if !matches!(more, Ok(true)) {
            return frames;
        }
    }
}

/// Files of both formats with little in them.
fn small_files(folder: &Folder) -> Vec<Vec<u8>> {
    folder.write("run.csv", csv().lines().take(300).map(|line| format!("{line}\n")).collect::<String>());
    folder.write("gaps.csv", "time,motor,rail,door,x\n0,1,2,0,0.5\n1,1,2,1,\n2,1,2,0,nan\n3,1,2,0,1\n");
    for (from, to) in
        [("run.csv", "a.parquet"), ("run.csv", "a.arrow"), ("gaps.csv", "b.parquet"), ("gaps.csv", "b.arrow")]
    {
        folder.convert(&[from, "--out", to]);
    }
    // Pages with a dictionary, and plain floats.
    let floats = (0..200).map(f64::from).collect::<Vec<_>>();
    let cells = |every: i64| Column::Nullable((0..200).map(|n| (n % every != 1).then_some(n / 7)).collect());
    let columns = [
        ("time", Column::Real(floats)),
        ("motor", cells(500)),
        ("rail", cells(3)),
        ("door", whole(&[1; 200])),
    ];
    parquet(&folder.path("c.parquet"), &columns, &[("unit.time", "s")]);
    ["a.parquet", "a.arrow", "b.parquet", "b.arrow", "c.parquet"].map(|name| folder.read(name)).to_vec()
}

#[test]
fn no_damage_makes_the_reader_panic_or_go_on_without_end() {
    let folder = Folder::new("damage");
    let setup = Setup::parse(SETUP, "axis.toml").unwrap();
    let layout = layout(&setup).unwrap();
    let mut random = Random(0x9e37_79b9_7f4a_7c15);
    let files = small_files(&folder);
    let (mut read, mut rows) = (0, 0);
    for round in 0..6_000 {
        let bytes = damaged(&files[round % files.len()], &mut random);
        let kept = bytes.clone();
        let started = std::time::Instant::now();
        match catch_unwind(AssertUnwindSafe(|| drain(bytes, &layout))) {
            Ok(frames) => {
                read += usize::from(frames > 0);
                rows = rows.max(frames);
            }
            Err(_) => {
                std::fs::write(folder.path("panics.bin"), kept).unwrap();
                panic!("round {round} panics: see panics.bin in {}", folder.0.display());
            }
        }
        assert!(started.elapsed().as_secs() < 20, "round {round} takes {:?}", started.elapsed());
    }
    assert!(read > 500, "{read}: hardly anything gets as far as the cells");
    assert!(rows <= 4096 * 300, "{rows}: rows come from nowhere");
}

/// With an address space that is too small for what a damaged length may ask for.
#[test]
fn no_damage_makes_the_program_ask_for_much_memory() {
    if !cfg!(target_os = "linux") || !Path::new("/bin/sh").exists() {
        return;
    }
    let folder = Folder::new("memory");
    let files = small_files(&folder);
    let mut random = Random(0x2545_f491_4f6c_dd1d);
    let run = |name: &str| {
        let line = format!(
            "ulimit -v 1500000; exec '{}' replay {name} --setup axis.toml --skip-bad --quiet",
            env!("CARGO_BIN_EXE_cowitness")
        );
        Command::new("/bin/sh").args(["-c", &line]).current_dir(&folder.0).output().unwrap()
    };
    for (round, file) in files.iter().cycle().take(150).enumerate() {
        folder
            .write("trace.bin", if round < files.len() { file.clone() } else { damaged(file, &mut random) });
        let output = run("trace.bin");
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(matches!(output.status.code(), Some(0..=2)), "round {round}: {:?} {said}", output.status);
        assert!(!said.contains("panicked"), "round {round}: {said}");
    }
}
