//! Files of typed columns, written for a test, and a folder to put them into.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Arc;

use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::column::writer::ColumnWriter;
use parquet::data_type::ByteArray;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::Type;

/// An invented axis with its columns `time`, `motor`, `rail` and `door`.
pub const SETUP: &str = r#"
title = "Shuttle, invented"
unit  = "mm"
[time]
column = "time"
unit   = "s"
[channel.a]
column         = "motor"
counter_bits   = 32
unit_per_count = "0.0005 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[channel.b]
column         = "rail"
counter_bits   = 24
unit_per_count = "0.001 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[speed]
window = "8 ms"
[discrepancy]
tolerance        = "2 mm"
discrepancy_time = "20 ms"
[[monitor]]
name     = "slow while the door is open"
kind     = "speed-limit"
demand   = ["door"]
limit    = "250 mm/s"
on_delay = "4 ms"
"#;

/// A folder of its own for one test, with `axis.toml` in it.
pub struct Folder(pub PathBuf);

#[allow(dead_code, reason = "not every test uses all of it")]
impl Folder {
    pub fn new(name: &str) -> Self {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(folder.join("axis.toml"), SETUP).unwrap();
        Self(folder)
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    pub fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        std::fs::write(self.path(name), content).unwrap();
    }

    pub fn read(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.path(name)).unwrap()
    }

    pub fn text(&self, name: &str) -> String {
        String::from_utf8(self.read(name)).unwrap()
    }

    /// Runs the program in the folder.
    pub fn run(&self, args: &[&str]) -> Output {
        let mut program = Command::new(env!("CARGO_BIN_EXE_cowitness"));
        program.args(args).current_dir(&self.0).env("NO_COLOR", "1").output().unwrap()
    }

    /// Converts, which has to succeed.
    pub fn convert(&self, args: &[&str]) -> String {
        let output = self.run(&[&["convert"], args].concat());
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(0), "{args:?}: {said}");
        said
    }

    /// What a command that cannot run says.
    pub fn refused(&self, args: &[&str]) -> String {
        let output = self.run(args);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}: {said}");
        said
    }

    /// The report on a trace, without its path.
    pub fn report(&self, trace: &str, setup: &str) -> serde_json::Value {
        let output = self.run(&["replay", trace, "--setup", setup, "--quiet", "--json", "-"]);
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(matches!(output.status.code(), Some(0 | 1)), "{trace}: {said}");
        let mut report: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        report["trace"]["path"] = "".into();
        report
    }
}

/// Half a second at 2 kHz, door open from the middle on, faster than allowed at the end.
#[allow(dead_code, reason = "not every test uses it")]
pub fn csv() -> String {
    let mut text = "time,motor,rail,door\n".to_owned();
    let mut motor = -300_i64;
    for row in 0..1000_i64 {
        motor += if row < 800 { 200 } else { 280 };
        text += &format!("0.{:06},{motor},{},{}\n", row * 500, motor / 2, u8::from(row >= 500));
    }
    text
}

/// The cells of a column of a Parquet file.
#[derive(Clone)]
#[allow(dead_code, reason = "not every test has all of them")]
pub enum Column {
    Whole(Vec<i64>),
    Nullable(Vec<Option<i64>>),
    Real(Vec<f64>),
    Text(Vec<&'static str>),
}

/// Writes a Parquet file with the pages as they are.
#[allow(dead_code, reason = "not every test uses it")]
pub fn parquet(path: &Path, columns: &[(&str, Column)], notes: &[(&str, &str)]) {
    let field = |(name, column): &(&str, Column)| {
        let (physical, repetition, logical) = match column {
            Column::Whole(_) => (Physical::INT64, Repetition::REQUIRED, None),
            Column::Nullable(_) => (Physical::INT64, Repetition::OPTIONAL, None),
            Column::Real(_) => (Physical::DOUBLE, Repetition::REQUIRED, None),
            Column::Text(_) => (Physical::BYTE_ARRAY, Repetition::REQUIRED, Some(LogicalType::String)),
        };
        let field = Type::primitive_type_builder(name, physical).with_repetition(repetition);
        Arc::new(field.with_logical_type(logical).build().unwrap())
    };
    let fields = columns.iter().map(field).collect();
    let schema = Arc::new(Type::group_type_builder("schema").with_fields(fields).build().unwrap());
    let notes =
        notes.iter().map(|(key, value)| KeyValue::new((*key).to_owned(), (*value).to_owned())).collect();
    let properties = Arc::new(WriterProperties::builder().set_key_value_metadata(Some(notes)).build());
    let mut writer = SerializedFileWriter::new(File::create(path).unwrap(), schema, properties).unwrap();
    let mut group = writer.next_row_group().unwrap();
    for (_, column) in columns {
        let mut out = group.next_column().unwrap().unwrap();
        match (out.untyped(), column) {
            (ColumnWriter::Int64ColumnWriter(out), Column::Whole(cells)) => {
                out.write_batch(cells, None, None).unwrap();
            }
            (ColumnWriter::Int64ColumnWriter(out), Column::Nullable(cells)) => {
                let levels: Vec<i16> = cells.iter().map(|cell| i16::from(cell.is_some())).collect();
                let cells: Vec<i64> = cells.iter().flatten().copied().collect();
                out.write_batch(&cells, Some(&levels), None).unwrap();
            }
            (ColumnWriter::DoubleColumnWriter(out), Column::Real(cells)) => {
                out.write_batch(cells, None, None).unwrap();
            }
            (ColumnWriter::ByteArrayColumnWriter(out), Column::Text(cells)) => {
                let cells: Vec<ByteArray> = cells.iter().map(|&cell| cell.into()).collect();
                out.write_batch(&cells, None, None).unwrap();
            }
            _ => unreachable!("the column is of the type of its cells"),
        }
        out.close().unwrap();
    }
    group.close().unwrap();
    writer.close().unwrap();
}
