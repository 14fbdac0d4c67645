//! Files made byte by byte: what every part of them does, and that none that is cut or altered does harm.

use std::io::Cursor;
use std::path::Path;

use super::made::{Channel, Group, Made};
use super::{Chunk, Column, Kind, Mdf, Table, TableError};
use crate::replay::{layout, replay};
use crate::report::Report;
use crate::setup::Setup;
use crate::trace::table::address::resolve;
use crate::trace::table::{Cells, Present};
use crate::trace::{Opened, Options, Reader, TraceError};

/// Records of a time in us, a count of 24 bits, a flag, and a byte of invalidation bits.
fn records(rows: u32) -> Vec<u8> {
    let mut bytes = Vec::new();
    for row in 0..rows {
        bytes.extend((1000 * row).to_le_bytes());
        bytes.extend(&(0x00ff_fff0 + row).to_le_bytes()[..3]);
        bytes.push(u8::from(row % 2 == 1) << 5);
        bytes.push(u8::from(row == 3) << 1);
    }
    bytes
}

const RECORD: usize = 9;

fn channels(made: &mut Made, time: &str) -> u64 {
    let conversion = made.linear(0.0, 1e-6);
    let half = made.linear(1.0, 0.5);
    let flag = Channel { bit: 5, byte: 7, bits: 1, ..Channel::default() };
    let count = Channel { byte: 4, bits: 24, flags: 2, invalid_at: 1, ..Channel::default() };
    let flag = made.channel(0, "door", "", flag);
    let position = made.channel(
        flag,
        "rail",
        "mm",
        Channel { byte: 4, bits: 8, conversion: half, ..Channel::default() },
    );
    let count = made.channel(position, "motor", "counts", count);
    made.channel(count, time, "s", Channel { kind: 2, bits: 32, conversion, ..Channel::default() })
}

fn group(channels: u64, data: u64, records: u64) -> Group {
    Group { records, bytes: 8, invalid_bytes: 1, channels, data, ..Group::default() }
}

/// One group with its data in one block.
fn plain() -> Vec<u8> {
    let mut made = Made::new();
    let data = made.block(b"##DT", &[], &records(10));
    let channels = channels(&mut made, "t");
    let first = made.group(0, "fast", group(channels, data, 10));
    made.file(first)
}

fn open(bytes: Vec<u8>) -> Mdf {
    Mdf::open(Cursor::new(bytes)).unwrap_or_else(|error| panic!("{error}"))
}

/// All cells of some columns.
fn all(mdf: &mut Mdf, columns: &[usize]) -> Result<Vec<(Cells, Present)>, TableError> {
    mdf.select(columns)?;
    let (mut chunk, mut all) = (Chunk::default(), Vec::new());
    while mdf.next(&mut chunk)? {
        assert_eq!(chunk.columns.len(), columns.len());
        assert!(all.is_empty(), "these files are one chunk");
        all.append(&mut chunk.columns);
    }
    Ok(all)
}

fn refusal(bytes: Vec<u8>) -> String {
    let error =
        Mdf::open(Cursor::new(bytes)).and_then(|mut mdf| all(&mut mdf, &[0]).map(|_| ())).unwrap_err();
    format!("{error}; {}", error.advice())
}

#[test]
fn cells_are_what_the_bits_say_and_missing_where_their_invalidation_bit_is_set() {
    let mut mdf = open(plain());
    let kinds: Vec<_> =
        mdf.columns().iter().map(|column| (column.name.as_str(), column.kind, column.is_time)).collect();
    let expected = [
        ("t", Kind::Time { ns: 1000 }, true),
        ("motor", Kind::Integer, false),
        ("rail", Kind::Real, false),
        ("door", Kind::Bool, false),
    ];
    assert_eq!(kinds, expected);
    assert_eq!(mdf.columns()[1].unit.as_deref(), Some("counts"));
    assert_eq!(mdf.columns()[3].unit, None);
    let cells = all(&mut mdf, &[0, 1, 2, 3]).unwrap();
    assert_eq!(cells[0], (Cells::Integers((0..10).map(|row| 1000 * row).collect()), None));
    let there = (0..10).map(|row| row != 3).collect();
    assert_eq!(cells[1], (Cells::Unsigned((0..10).map(|row| 0x00ff_fff0 + row).collect()), Some(there)));
    let halves = (0..10).map(|row| 1.0 + 0.5 * (240.0 + f64::from(row))).collect();
    assert_eq!(cells[2], (Cells::Reals(halves), None));
    assert_eq!(cells[3], (Cells::Bools((0..10).map(|row| row % 2 == 1).collect()), None));
}

fn packed(made: &mut Made, packing: u8, columns: u32, plain: &[u8]) -> u64 {
    use std::io::Write;
    let rows = plain.len() / columns.max(1) as usize;
    let stored: Vec<u8> = if packing.is_multiple_of(2) {
        plain.to_vec()
    } else {
        let columns = columns as usize;
        let whole = (0..rows * columns).map(|at| plain[at % rows * columns + at / rows]);
        whole.chain(plain[rows * columns..].iter().copied()).collect()
    };
    let squeezed = if packing < 2 {
        let mut writer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
        writer.write_all(&stored).unwrap();
        writer.finish().unwrap()
    } else {
        zstd::encode_all(stored.as_slice(), 1).unwrap()
    };
    let mut data = vec![b'D', b'T', packing, 0];
    data.extend(columns.to_le_bytes());
    data.extend((plain.len() as u64).to_le_bytes());
    data.extend((squeezed.len() as u64).to_le_bytes());
    data.extend(squeezed);
    made.block(b"##DZ", &[], &data)
}

/// The same records behind a list of lists, cut in the middle of records, in every way of packing.
fn listed() -> Vec<u8> {
    let mut made = Made::new();
    let bytes = records(10);
    let record = u32::try_from(RECORD).unwrap();
    let parts = [
        made.block(b"##DT", &[], &bytes[..13]),
        packed(&mut made, 0, 0, &bytes[13..30]),
        packed(&mut made, 1, record, &bytes[30..60]),
        packed(&mut made, 2, 0, &bytes[60..61]),
        packed(&mut made, 3, record, &bytes[61..]),
    ];
    let second = made.block(b"##DL", &[0, parts[3], parts[4]], &[0; 24]);
    let first = made.block(b"##DL", &[second, parts[0], parts[1], parts[2]], &[0; 32]);
    let head = made.block(b"##HL", &[first], &[0; 8]);
    let channels = channels(&mut made, "t");
    let first = made.group(0, "fast", group(channels, head, 10));
    made.file(first)
}

#[test]
fn records_come_out_of_lists_of_plain_and_packed_blocks_wherever_these_are_cut() {
    let (mut one, mut other) = (open(plain()), open(listed()));
    assert_eq!(all(&mut one, &[0, 1, 2, 3]).unwrap(), all(&mut other, &[0, 1, 2, 3]).unwrap());
}

/// Two groups; the time of both is called the same, as is the flag.
fn two_groups() -> Vec<u8> {
    let mut made = Made::new();
    let data = made.block(b"##DT", &[], &records(10));
    let second = channels(&mut made, "t");
    let extra = made.channel(0, "only here", "", Channel { bits: 8, ..Channel::default() });
    let slow = made.block(b"##DT", &[], &[0, 0, 0, 0, 0x40, 0x9c, 0, 0]);
    let conversion = made.linear(0.0, 1e-6);
    let time = made.channel(extra, "t", "s", Channel { kind: 2, bits: 32, conversion, ..Channel::default() });
    let second_group =
        made.group(0, "slow", Group { records: 2, bytes: 4, channels: time, data: slow, ..Group::default() });
    let first = made.group(second_group, "fast", group(second, data, 10));
    made.file(first)
}

#[test]
fn a_name_that_several_groups_have_means_that_of_the_group_of_the_others() {
    let mut mdf = open(two_groups());
    assert_eq!(resolve(&mut mdf, &["t", "motor"]).unwrap(), [Some(0), Some(1)]);
    assert_eq!(resolve(&mut mdf, &["t", "only here"]).unwrap(), [Some(4), Some(5)]);
    assert_eq!(resolve(&mut mdf, &["slow/t"]).unwrap(), [Some(4)]);
    assert_eq!(resolve(&mut mdf, &["#1/t", "fast/motor"]).unwrap(), [Some(0), Some(1)]);
}

#[test]
fn names_that_lead_nowhere_or_to_two_time_bases_are_refused_with_what_to_do() {
    let mut mdf = open(two_groups());
    for (names, expected) in [
        (&["t"][..], "the column name `t` stands for `fast/t`, `slow/t`; name one of these"),
        (
            &["fast/t", "motor", "only here"],
            "the columns are in two groups, each with its own rows and times: `fast` with `t`, `motor` (10 rows, one every 0.001 s), \
             and `slow` with `only here` (2 rows, one every 0.04 s); take all columns from one group, or save both as one table with a \
             row for every time, empty cells where a group has nothing new, and `sparse = true` in the setup",
        ),
    ] {
        let error = resolve(&mut mdf, names).unwrap_err();
        assert_eq!(format!("{error}; {}", error.advice()), expected);
    }
    assert_eq!(resolve(&mut mdf, &["motor", "moter"]).unwrap(), [Some(1), None]);
    let error = mdf.select(&[1, 5]).unwrap_err().to_string();
    assert!(error.ends_with("each with its own rows and times: `fast`, and `slow`"), "{error}");
}

const SETUP: &str = r#"
title = "Invented"
unit  = "mm"
[time]
column = "fast/t"
unit   = "s"
[channel.a]
column         = "motor"
counter_bits   = 24
unit_per_count = "0.001 mm"
sparse         = true
max_speed      = "3 m/s"
timeout        = "4 ms"
[channel.b]
column      = "rail"
column_unit = "mm"
max_speed   = "3 m/s"
timeout     = "4 ms"
[speed]
window = "2 ms"
[[monitor]]
name   = "slow"
kind   = "speed-limit"
demand = ["door"]
limit  = "100 mm/s"
"#;

fn reader(setup: &Setup, bytes: Vec<u8>) -> Result<Reader, TraceError> {
    Reader::from_read("run", Cursor::new(bytes), &layout(setup).unwrap(), Options::default())
}

fn report(setup: &Setup, bytes: Vec<u8>) -> serde_json::Value {
    let mut reader = reader(setup, bytes).unwrap_or_else(|error| panic!("{error}"));
    let outcome = replay(setup, &mut reader, &mut |_| {}).unwrap_or_else(|error| panic!("{error}"));
    let mut report = serde_json::to_value(Report::new(setup, &outcome, "run", 0)).unwrap();
    // The setups differ by the name of a column.
    report["setup"]["checksum"] = serde_json::Value::Null;
    report
}

#[test]
fn a_file_is_replayed_as_the_text_of_its_values() {
    let of = |time: &str| Setup::parse(&SETUP.replace("fast/t", time), "axis.toml").unwrap();
    let mut text = "t,motor,rail,door\n".to_owned();
    for row in 0..10 {
        // The counter of the fourth record is marked invalid; one count of the rail is half a millimetre, and it begins at 240.
        let motor = if row == 3 { String::new() } else { (0x00ff_fff0 + row).to_string() };
        text += &format!("0.{row:03},{motor},{},{}\n", 121.0 + 0.5 * f64::from(row), row % 2);
    }
    let expected = report(&of("t"), text.into_bytes());
    assert_eq!(expected["verdict"], "tripped");
    assert_eq!(report(&of("fast/t"), two_groups()), expected);
    assert_eq!(report(&of("t"), plain()), expected);
}

/// The cells of the first column of a file.
fn first_column(path: &Path) -> (Column, Cells) {
    let Opened::Table { mut table, .. } = Opened::open(path).unwrap_or_else(|error| panic!("{error}")) else {
        panic!("{} is a text", path.display());
    };
    table.select(&[0]).unwrap();
    let mut chunk = Chunk::default();
    assert!(table.next(&mut chunk).unwrap());
    (table.columns()[0].clone(), chunk.columns[0].0.clone())
}

#[test]
fn times_in_steps_that_no_other_file_has_a_unit_for_are_converted_to_nanoseconds() {
    let folder = std::env::temp_dir().join(format!("cowitness-steps-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let mut made = Made::new();
    let conversion = made.linear(0.0, 6.25e-5);
    let time = Channel { kind: 2, bits: 32, conversion, ..Channel::default() };
    let time = made.channel(0, "t", "", time);
    let data: Vec<u8> = [5_u32, 6, 8].iter().flat_map(|step| step.to_le_bytes()).collect();
    let data = made.block(b"##DT", &[], &data);
    let first = made.group(0, "", Group { channels: time, data, records: 3, bytes: 4, ..Group::default() });
    let from = folder.join("steps.mf4");
    std::fs::write(&from, made.file(first)).unwrap();
    let (column, _) = first_column(&from);
    assert_eq!((column.kind, column.unit.as_deref()), (Kind::Time { ns: 62_500 }, Some("s")));
    for name in ["steps.arrow", "steps.parquet"] {
        let to = folder.join(name);
        crate::trace::convert(&from, &to, None, &[]).unwrap_or_else(|error| panic!("{error}"));
        let (column, cells) = first_column(&to);
        let Kind::Time { ns } = column.kind else { panic!("{name}: {column:?}") };
        let Cells::Integers(cells) = cells else { panic!("{name}: {cells:?}") };
        let times: Vec<u64> = cells.iter().map(|cell| cell.unsigned_abs() * ns).collect();
        assert_eq!(times, [312_500, 375_000, 500_000], "{name}");
    }
    std::fs::remove_dir_all(&folder).unwrap();
}

#[test]
fn one_group_of_two_is_converted_when_the_other_is_left_out() {
    let folder = std::env::temp_dir().join(format!("cowitness-groups-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let (from, to) = (folder.join("two.mf4"), folder.join("one.csv"));
    std::fs::write(&from, two_groups()).unwrap();
    let left_out = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>();
    let error = crate::trace::convert(&from, &to, None, &[]).unwrap_err().to_string();
    assert!(error.contains("`fast/t`") && error.contains("`slow/t`"), "{error}");
    let converted = crate::trace::convert(&from, &to, None, &left_out(&["slow/t", "only here"])).unwrap();
    assert_eq!((converted.rows, converted.columns), (10, 4));
    std::fs::remove_dir_all(&folder).unwrap();
}

#[test]
fn a_setup_with_columns_of_two_groups_is_refused_by_the_reader_of_traces() {
    let setup = Setup::parse(&SETUP.replace("\"door\"", "\"only here\""), "axis.toml").unwrap();
    let error = reader(&setup, two_groups()).unwrap_err().to_string();
    assert!(
        error.starts_with("run: the columns are in two groups, each with its own rows and times: `fast`"),
        "{error}"
    );
    assert!(error.contains("take all columns from one group, or save both as one table"), "{error}");
    let setup = Setup::parse(&SETUP.replace("\"rail\"", "\"rale\""), "axis.toml").unwrap();
    let error = reader(&setup, two_groups()).unwrap_err().to_string();
    assert!(
        error.contains(
            "there is no column `rale` that `[channel.b]` asks for; the columns are `fast/t`, `fast/motor`, `fast/rail`"
        ),
        "{error}"
    );
}

/// One group, after something is done to it.
fn altered(data: &[u8], alter: impl FnOnce(&mut Group)) -> Vec<u8> {
    let mut made = Made::new();
    let data = made.block(b"##DT", &[], data);
    let channels = channels(&mut made, "t");
    let mut group = group(channels, data, 10);
    alter(&mut group);
    let first = made.group(0, "fast", group);
    made.file(first)
}

#[test]
fn what_is_not_read_says_what_it_is_and_what_to_do() {
    let mut old = plain();
    old[28..30].copy_from_slice(&330_u16.to_le_bytes());
    let mut open_end = plain();
    open_end[..8].copy_from_slice(b"UnFinMF ");
    let unsorted = {
        let mut made = Made::new();
        let channels = channels(&mut made, "t");
        let beside = made.block(b"##CG", &[0; 6], &[0; 32]);
        let first = made.group(0, "fast", Group { beside, id_bytes: 1, ..group(channels, 0, 10) });
        made.file(first)
    };
    for (bytes, expected) in [
        (old, "an MDF file of version 3.30; convert it to MDF 4.10"),
        (open_end, "the MDF file is not finished: its recorder was stopped in the middle; finish"),
        (
            unsorted,
            "channel group `fast` lies among the records of other groups: the file is not sorted; sort it",
        ),
        (altered(&records(10), |group| group.flags = 2), "channel group `fast` holds frames of a bus"),
        (
            altered(&records(10), |group| group.flags = 1),
            "channel group `fast` holds values of variable length",
        ),
        (
            altered(&records(10), |group| group.flags = 8),
            "channel group `fast` has its time in another group",
        ),
        (altered(&records(9), |_| {}), "channel group `fast` announces 10 records and holds 9; copy"),
        (altered(&records(11), |_| {}), "channel group `fast` announces 10 records and holds more; copy"),
        (altered(&[], |group| group.data = 0), "channel group `fast` announces 10 records and holds 0;"),
        (
            altered(&records(10), |group| group.bytes = 3),
            "the MDF file is damaged: a channel that reaches beyond its record",
        ),
        (
            altered(&records(10), |group| group.invalid_bytes = 0),
            "the MDF file is damaged: an invalidation bit beyond",
        ),
        (
            altered(&records(10), |group| group.bytes = u32::MAX),
            "the MDF file is damaged: records of 4294967296 bytes",
        ),
    ] {
        let found = refusal(bytes);
        assert!(found.starts_with(expected), "{found}\n{expected}");
    }
}

#[test]
fn a_column_that_holds_no_numbers_is_listed_and_refused_when_it_is_selected() {
    let mut made = Made::new();
    let table = made.block(b"##CC", &[0; 4], &[7, 0, 0, 0, 0, 0, 0, 0].map(|byte| byte).repeat(3));
    let state = made.channel(0, "state", "", Channel { bits: 8, conversion: table, ..Channel::default() });
    let text = made.channel(state, "note", "", Channel { data: 7, bits: 64, ..Channel::default() });
    let data = made.block(b"##DT", &[], &[0; 80]);
    let first = made.group(0, "", Group { records: 10, bytes: 8, channels: text, data, ..Group::default() });
    let mut mdf = open(made.file(first));
    assert_eq!(mdf.columns()[0].kind, Kind::Other("text"));
    assert_eq!(mdf.columns()[1].kind, Kind::Other("text by a table"));
    let error = mdf.select(&[1]).unwrap_err();
    assert_eq!(error.to_string(), "column `state` holds text by a table");
    assert_eq!(resolve(&mut mdf, &["note"]).unwrap_err().to_string(), "column `note` holds text");
}

#[test]
fn chains_that_lead_back_are_refused() {
    let mut made = Made::new();
    let data = made.block(b"##DT", &[], &records(1));
    let list = made.block(b"##DL", &[0, data, data], &[0; 24]);
    let channels = channels(&mut made, "t");
    let first = made.group(0, "fast", group(channels, list, 10));
    let mut bytes = made.file(first);
    assert!(refusal(bytes.clone()).contains("a list of data that leads back to the block at byte"));
    // The list leads to itself.
    let at = usize::try_from(list).unwrap();
    bytes[at + 24..at + 32].copy_from_slice(&list.to_le_bytes());
    bytes[at + 40..at + 48].copy_from_slice(&0_u64.to_le_bytes());
    assert!(refusal(bytes.clone()).contains("a list of data that leads back to the block at byte"));
    // The data group leads to itself.
    let at = usize::try_from(first).unwrap();
    bytes[at + 24..at + 32].copy_from_slice(&first.to_le_bytes());
    assert!(refusal(bytes).contains("a chain that leads back to the ##DG block at byte"));
}

#[test]
fn a_file_that_is_cut_anywhere_is_refused_or_reads_the_same() {
    for whole in [plain(), listed(), two_groups()] {
        let columns = open(whole.clone()).columns().len();
        for length in 0..whole.len() {
            let cut = Mdf::open(Cursor::new(whole[..length].to_vec()));
            let Ok(mut mdf) = cut else { continue };
            assert_eq!(mdf.columns().len(), columns, "cut at {length}");
            for column in 0..columns {
                // What is cut may belong to the other group.
                if let Ok(cells) = all(&mut mdf, &[column]) {
                    assert_eq!(cells, all(&mut open(whole.clone()), &[column]).unwrap(), "cut at {length}");
                }
            }
        }
    }
}

#[test]
fn a_file_that_is_altered_anywhere_is_read_or_refused_in_bounded_memory() {
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut random = |below: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        usize::try_from(state >> 33).unwrap() % below
    };
    let mut read = 0;
    for whole in [plain(), listed(), two_groups()] {
        for _ in 0..4000 {
            let mut bytes = whole.clone();
            for _ in 0..=random(3) {
                let at = random(bytes.len());
                bytes[at] = [0, 1, 8, 0x7f, 0xff, bytes[at] ^ 1 << random(8)][random(6)];
            }
            let Ok(mut mdf) = Mdf::open(Cursor::new(bytes)) else { continue };
            for column in 0..mdf.columns().len() {
                let mut chunk = Chunk::default();
                let mut rows = 0;
                if mdf.select(&[column]).is_ok() {
                    while mdf.next(&mut chunk).is_ok_and(|any| any) {
                        rows += chunk.rows;
                        assert!(mdf.records.capacity() <= 32 << 20);
                    }
                }
                assert!(rows <= whole.len(), "{rows} rows");
                read += rows;
            }
        }
    }
    assert!(read > 100_000, "most alterations change a value or a name: {read}");
}
