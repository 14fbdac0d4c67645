//! Every way in which a trace can be bad, with the place and the words of the message.

mod trace_common;

use host_harness::trace::{
    Layout, LevelColumn, Options, Reader, Reason, SourceKind, TimeColumn, TimeUnit, TraceError,
};
use num_rational::Ratio;
use trace_common::{drain, layout, reader};

/// The error that reading ends with.
fn error(bytes: &[u8], layout: &Layout) -> TraceError {
    match reader(bytes, layout, false) {
        Err(error) => error,
        Ok(mut reader) => drain(&mut reader).1.expect("the trace is bad"),
    }
}

fn check(bytes: &[u8], layout: &Layout, expected: &str) {
    let message = error(bytes, layout).to_string();
    assert!(
        message.starts_with(expected),
        "{}\nexpected: {expected}\n   found: {message}",
        bytes.escape_ascii()
    );
    assert!(message.len() > expected.len() + 2, "no advice behind: {message}");
}

#[test]
fn every_bad_row_is_refused_with_its_place() {
    const HEADER: &str = "t,a,b,door\n0,1,2,0\n";
    for (row, expected) in [
        ("x,1,2,0", "t.csv:3:1: column `t`: \"x\" is not a number; "),
        ("1,x y,2,0", "t.csv:3:3: column `a`: \"x y\" is not a number; "),
        ("1, 0x10,2,0", "t.csv:3:4: column `a`: \"0x10\" is not a number; "),
        (
            "1,\"1,5\",2,0",
            "t.csv:3:3: column `a`: \"1,5\" has a decimal comma, the numbers before it a decimal point; ",
        ),
        ("1,1,NaN,0", "t.csv:3:5: column `b`: \"NaN\" is not a finite number; "),
        ("1,1,-inf,0", "t.csv:3:5: column `b`: \"-inf\" is not a finite number; "),
        ("Infinity,1,2,0", "t.csv:3:1: column `t`: \"Infinity\" is not a finite number; "),
        (",1,2,0", "t.csv:3:1: column `t`: the cell is empty; "),
        ("1,,2,0", "t.csv:3:3: column `a`: the cell is empty; "),
        ("1,1,\"\",0", "t.csv:3:5: column `b`: the cell is empty; "),
        ("1,1,2,", "t.csv:3:7: column `door`: the cell is empty; "),
        ("1,12.5,2,0", "t.csv:3:3: column `a`: \"12.5\" is not a whole number of counts; "),
        ("1,1e-1,2,0", "t.csv:3:3: column `a`: \"1e-1\" is not a whole number of counts; "),
        (
            "1,1,65536,0",
            "t.csv:3:5: column `b`: \"65536\" is beyond its width of 16 bits; the counter takes -2^15 up to 2^16 - 1",
        ),
        ("1,1,-32769,0", "t.csv:3:5: column `b`: \"-32769\" is beyond its width of 16 bits; "),
        ("1,1e99,2,0", "t.csv:3:3: column `a`: \"1e99\" is beyond its width of 32 bits; "),
        ("0,1,2,0", "t.csv:3:1: column `t`: time stands still from 0.000000000 s to \"0\" (0.000000000 s); "),
        (
            "0.0000000001,1,2,0",
            "t.csv:3:1: column `t`: time stands still from 0.000000000 s to \"0.0000000001\" (0.000000000 s); ",
        ),
        (
            "-0.5,1,2,0",
            "t.csv:3:1: column `t`: time goes back from 0.000000000 s to \"-0.5\" (-0.500000000 s); ",
        ),
        (
            "1e12,1,2,0",
            "t.csv:3:1: column `t`: \"1e12\" is beyond the range of times, 2^64 ns from the first row; ",
        ),
        (
            "1,1,2,2",
            "t.csv:3:7: column `door`: \"2\" is not a level; levels are 0 or 1, 0.0 or 1.0, false or true, low or high, ",
        ),
        ("1,1,2,open", "t.csv:3:7: column `door`: \"open\" is not a level; "),
        ("1,1,2", "t.csv:3:6: this row has 3 cells, the header 4; "),
        ("1,1,2,0,7", "t.csv:3:9: this row has 5 cells, the header 4; "),
        ("1,1,2,\"0", "t.csv:3:7: the quoted cell \"\\\"0\" does not end with its closing quote; "),
        (
            "1,\"1\"2,2,0",
            "t.csv:3:3: the quoted cell \"\\\"1\\\"2,2,0\" does not end with its closing quote; ",
        ),
        ("1,1\r,2,0", "t.csv:3:4: a carriage return without a line feed after it; "),
        ("1,1,2\0,0", "t.csv:3:6: a NUL byte: this is not text; "),
        ("t,a,b,door", "t.csv:3:1: column `t`: \"t\" is not a number; "),
    ] {
        check(format!("{HEADER}{row}\n").as_bytes(), &layout(), expected);
        // The same in the last line without its line end.
        check(format!("{HEADER}{row}").as_bytes(), &layout(), expected);
    }
}

#[test]
fn a_number_of_absurd_length_is_refused_and_shortened_in_the_message() {
    let row = format!("t,a,b,door\n0,{},2,0\n", "1".repeat(300));
    let start = format!("t.csv:2:3: column `a`: a number of 300 bytes: \"{}\"...; ", "1".repeat(40));
    check(row.as_bytes(), &layout(), &start);
}

#[test]
fn bytes_that_are_no_utf_8_are_refused_in_rows_and_header() {
    check(b"t,a,b,door,note\n0,1,2,0,gr\xfc\xdf\n", &layout(), "t.csv:2:11: byte 0xfc is not UTF-8 text; ");
    check(b"t,a,b,door,\xb0\n0,1,2,0,1\n", &layout(), "t.csv:1:12: byte 0xb0 is not UTF-8 text; ");
    check(b"t,\0a,b,door\n0,1,2,0\n", &layout(), "t.csv:1:3: a NUL byte: this is not text; ");
}

#[test]
fn a_nul_is_no_decimal_mark_while_the_mark_is_unknown() {
    let text = b"t;a;b;door\n0;1;2;0\n1\x005;1;2;0\n2;1;2;0\n";
    check(text, &layout(), "t.csv:3:2: a NUL byte: this is not text; ");
}

#[test]
fn a_bad_header_is_refused_with_what_was_found() {
    for (text, expected) in [
        ("", "t.csv: the trace is empty: there is no header line; "),
        ("\u{feff}", "t.csv: the trace is empty: there is no header line; "),
        ("# only\n\n# comments\n", "t.csv: the trace is empty: there is no header line; "),
        ("t,a,b,door\n", "t.csv: there is a header line but no row of data; "),
        ("t,a,b,door\ns,counts,counts,-\n# end", "t.csv: there is a header line but no row of data; "),
        ("t a b door\n0 1 2 0\n", "t.csv:1: no comma, semicolon or tab in the header line \"t a b door\"; "),
        ("x,y;z\n0,1;2\n", "t.csv:1: the header line could be separated by comma or semicolon; "),
        (
            "0,1,2,0\n1,1,2,0\n",
            "t.csv:1: the first line holds numbers only; a header line with the column names is missing; ",
        ),
        ("# t,a,b,door\n0,1,2,0\n", "t.csv:2: the first line holds numbers only; "),
        (
            "#\nt,a,B,Door\n0,1,2,0\n",
            "t.csv:2: there is no column `b` that `[channel.b]` asks for, did you mean `B`?; the columns are `t`, `a`, `B`, `Door`; ",
        ),
        ("t,a,b\n0,1,2\n", "t.csv:1: there is no column `door`; the columns are `t`, `a`, `b`; "),
        ("t,a,b,dor\n0,1,2,0\n", "t.csv:1: there is no column `door`, did you mean `dor`?; "),
        (
            "t [s],a,b,door\n0,1,2,0\n",
            "t.csv:1: there is no column `t` that `[time]` asks for, did you mean `t [s]`?; ",
        ),
        (
            "t,a,b,a,door\n0,1,2,3,0\n",
            "t.csv:1:7: the column name `a` stands in the header again (first at byte 3); ",
        ),
        ("t,a,b,\"door\n0,1,2,0\n", "t.csv:1:7: the quoted cell \"\\\"door\" does not end"),
        ("t,a,b,door\r0,1,2,0\r", "t.csv:1:11: a carriage return without a line feed after it; "),
    ] {
        check(text.as_bytes(), &layout(), expected);
    }
}

#[test]
fn a_column_name_doubled_that_nobody_needs_does_no_harm() {
    let mut reader = reader(b"t,a,b,door,x,x,,\n0,1,2,0,,,,\n", &layout(), false).unwrap();
    assert_eq!(drain(&mut reader).0.len(), 1);
}

#[test]
fn a_row_of_units_that_contradicts_the_setup_is_refused() {
    let mut position = layout();
    position.a.kind = SourceKind::Position { unit: "mm".to_owned(), scale: Ratio::new(1, 1) };
    position.b.capture = Some(TimeColumn { name: "cap".to_owned(), unit: TimeUnit::Micros });
    for (units, expected) in [
        ("ms,mm,counts,-,us", "t.csv:2:1: column `t` is in ms by the row of units, in s by the setup; "),
        ("s,(um),counts,-,us", "t.csv:2:3: column `a` is in um by the row of units, in mm by the setup; "),
        (
            "s,furlong,counts,-,us",
            "t.csv:2:3: column `a` is in furlong by the row of units, in mm by the setup; ",
        ),
        ("s,mm,[mm],-,us", "t.csv:2:6: column `b` is in mm by the row of units, in counts by the setup; "),
        ("s,mm,counts,-,s", "t.csv:2:15: column `cap` is in s by the row of units, in us by the setup; "),
        ("min,mm,counts,-,us", "t.csv:2:1: column `t` is in min by the row of units, in s by the setup; "),
        // No unit of time in the time column: a bad row, not a row of units.
        ("mm,mm,counts,-,us", "t.csv:2:1: column `t`: \"mm\" is not a number; "),
        // A number among them: the same.
        ("s,1.5,counts,-,us", "t.csv:2:1: column `t`: \"s\" is not a number; "),
    ] {
        check(format!("t,a,b,door,cap\n{units}\n0,1,2,0,0\n").as_bytes(), &position, expected);
    }
    // Only the first row after the header can be one.
    let late = b"t,a,b,door\n0,1,2,0\ns,counts,counts,-\n";
    check(late, &layout(), "t.csv:3:1: column `t`: \"s\" is not a number; ");
}

#[test]
fn a_semicolon_trace_has_one_decimal_mark() {
    let mark =
        "t.csv:3:5: column `a`: \"1.000\" has a decimal point, the numbers before it a decimal comma; ";
    check(b"t;a;b;door\n0,0;1;2;0\n0,1;1.000;2;0\n", &layout(), mark);
    check(
        b"t;a;b;door\n0,0;1.000;2;0\n",
        &layout(),
        "t.csv:2:5: column `a`: \"1.000\" has a decimal point, ",
    );
    check(b"t;a;b;door\n0;1.000,5;2;0\n", &layout(), "t.csv:2:3: column `a`: \"1.000,5\" is not a number; ");
}

#[test]
fn positions_and_captures_out_of_range_are_refused() {
    let mut layout = layout();
    layout.a.kind = SourceKind::Position { unit: "m".to_owned(), scale: Ratio::new(1000, 1) };
    layout.b.capture = Some(TimeColumn { name: "cap".to_owned(), unit: TimeUnit::Millis });
    layout.b.valid = Some("ok".to_owned());
    // 2^39 mm = 549755813.888 m is just too far; the negative bound belongs to the range.
    for (row, expected) in [
        (
            "1,549755813.888,2,0,0,1",
            "t.csv:3:3: column `a`: \"549755813.888\" is beyond the range of positions",
        ),
        (
            "1,-549755813.8881,2,0,0,1",
            "t.csv:3:3: column `a`: \"-549755813.8881\" is beyond the range of positions",
        ),
        (
            "1,0,2,0,-1,1",
            "t.csv:3:9: column `cap`: a reading captured at -0.001000000 s, before the trace begins at 0.000000000 s; ",
        ),
        ("1,0,2,0,1e30,1", "t.csv:3:9: column `cap`: \"1e30\" is beyond the range of times"),
        ("1,0,2,0,,1", "t.csv:3:9: column `cap`: the cell is empty; "),
        ("1,0,2,0,0,high", "t.csv:3:11: column `ok`: \"high\" says neither valid nor invalid; "),
        ("1,0,2,0,0,", "t.csv:3:11: column `ok`: the cell is empty; "),
    ] {
        check(format!("t,a,b,door,cap,ok\n0,-549755813.888,2,0,0,1\n{row}\n").as_bytes(), &layout, expected);
    }
}

#[test]
fn an_impossible_layout_is_refused() {
    let refused = |change: fn(&mut Layout), expected: &str| {
        let mut layout = layout();
        change(&mut layout);
        check(b"t,a,b,door\n0,1,2,0\n", &layout, expected);
    };
    refused(|l| l.a.kind = SourceKind::Counter { bits: 7 }, "t.csv: column `a`: a counter of 7 bits; ");
    refused(|l| l.b.kind = SourceKind::Counter { bits: 65 }, "t.csv: column `b`: a counter of 65 bits; ");
    refused(
        |l| l.a.kind = SourceKind::Position { unit: "mm".to_owned(), scale: Ratio::new(0, 1) },
        "t.csv: column `a`: the scale 0/1 is no unit; ",
    );
    refused(|l| l.levels[0].line = 32, "t.csv: column `door`: there is no input line 32; ");
    refused(
        |l| l.levels.push(LevelColumn { name: "a".to_owned(), line: 3, asked_by: None }),
        "t.csv: columns `door` and `a` are both the level of input line 3; ",
    );
}

#[test]
fn good_rows_before_a_bad_one_are_delivered_with_the_error() {
    let mut reader = reader(b"t,a,b,door\n0,1,2,0\n1,1,2,0\nx,1,2,0\n3,1,2,0\n", &layout(), false).unwrap();
    let (frames, error) = drain(&mut reader);
    assert_eq!((frames.len(), error.unwrap().place.line), (2, Some(4)));
    assert!(!reader.next_batch(&mut Vec::new()).unwrap(), "after an error the reader is at its end");
}

#[test]
fn bad_rows_are_left_out_and_counted_on_request() {
    let mut text = "t,a,b,door\n0,1,2,0\n".to_owned();
    for row in 1..=20 {
        text.push_str(if row % 2 == 0 { "0,1,2,0\n" } else { "9,1,2,\n" });
    }
    text.push_str("1,1,x,0\n2,1,2\n\"3\",1,2,1\n");
    let mut reader = reader(text.as_bytes(), &layout(), true).unwrap();
    let (frames, error) = drain(&mut reader);
    assert!(error.is_none(), "{error:?}");
    assert_eq!(frames.iter().map(|frame| frame.now.as_nanos()).collect::<Vec<_>>(), [0, 3_000_000_000]);
    let skipped = reader.skipped();
    let by_reason: Vec<_> = skipped.by_reason().iter().map(|(reason, count)| (*reason, *count)).collect();
    let expected =
        [(Reason::RowLength, 1), (Reason::EmptyCell, 10), (Reason::NotANumber, 1), (Reason::TimeOrder, 10)];
    assert_eq!(by_reason, expected);
    assert_eq!(skipped.total(), 22);
    // Five of a kind are kept, and the rare ones are not crowded out.
    let kept: Vec<_> = skipped.first().iter().map(|row| row.error.place.line.unwrap()).collect();
    assert_eq!(kept, [3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 23, 24]);
    assert!(skipped.first()[10].error.to_string().starts_with("t.csv:23:5: column `b`: \"x\""));
}

#[test]
fn a_trace_of_nothing_but_bad_rows_is_an_error_in_any_case() {
    let mut reader = reader(b"t,a,b,door\nx,1,2,0\ny,1,2,0\n", &layout(), true).unwrap();
    let message = drain(&mut reader).1.unwrap().to_string();
    assert!(
        message.starts_with("t.csv: there is a header line but no row of data left: all 2 rows were bad; "),
        "{message}"
    );
}

#[test]
fn a_file_that_cannot_be_opened_says_why() {
    let open =
        |path: &str| Reader::open(path.as_ref(), &layout(), Options::default()).unwrap_err().to_string();
    let directory = env!("CARGO_TARGET_TMPDIR");
    assert!(
        open(&format!("{directory}/no such.csv"))
            .ends_with("no such.csv: there is no such file; check the path (`-` is standard input)")
    );
    assert!(open(directory).starts_with(&format!("{directory}: this is a directory, not a trace; ")));
}

#[test]
fn other_formats_are_called_by_their_name() {
    for (bytes, name) in [
        (&b"PK\x03\x04rest"[..], "a zip archive"),
        (b"FEA1\0\0\0\0", "an old Feather file, version 1"),
        (b"\xfd7zXZ\0\0", "an xz file"),
        (b"BZh91AY&SY", "a bzip2 file"),
        (b"\xff\xfet\0,\0", "UTF-16 text"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1", "an old binary spreadsheet"),
    ] {
        check(bytes, &layout(), &format!("t.csv: this is {name}"));
    }
}
