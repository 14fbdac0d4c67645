//! Every dialect of the text that is understood, and what its cells mean.

mod trace_common;

use host_harness::trace::{Compression, Delimiter, Layout, LevelColumn, SourceKind, TimeColumn, TimeUnit};
use monitor_core::{Frame, Instant, Levels, Position, Reading, Sample, Span};
use num_rational::Ratio;
use trace_common::{counter, drain, layout, reader};

fn frames(text: &str, layout: &Layout) -> Vec<Frame> {
    let (frames, error) = drain(&mut reader(text.as_bytes(), layout, false).unwrap());
    assert!(error.is_none(), "{text:?}: {}", error.unwrap());
    frames
}

fn at(nanos: u64) -> Instant {
    Instant::from_nanos(nanos)
}

fn read_at(nanos: u64, count: u64) -> Option<Reading> {
    Some(Reading { captured_at: at(nanos), sample: Sample::Count(count) })
}

/// A frame of the plain layout, both readings captured at the instant of the frame.
fn plain(nanos: u64, a: u64, b: u64, door: bool) -> Frame {
    let levels = Levels::from_bits(u32::from(door) << 3);
    Frame { now: at(nanos), a: read_at(nanos, a), b: read_at(nanos, b), levels }
}

#[test]
fn every_dialect_gives_the_same_frames() {
    let expected =
        [plain(0, 1, 2, false), plain(125_000, 0xffff_ffff, 0xffff, true), plain(250_000, 7, 65535, false)];
    for text in [
        "t,a,b,door\n0,1,2,0\n0.000125,-1,-1,1\n0.000250,7,65535,0\n",
        // No line end at the end, CRLF, a byte-order mark, blanks.
        "t,a,b,door\n0,1,2,0\n0.000125,-1,-1,1\n0.000250,7,65535,0",
        "t,a,b,door\r\n0,1,2,0\r\n0.000125,-1,-1,1\r\n0.000250,7,65535,0\r\n",
        "\u{feff}t,a,b,door\n0,1,2,0\n0.000125,-1,-1,1\n0.000250,7,65535,0\n",
        " t , a, b, door \n0, 1, 2, 0\n 0.000125 ,-1 ,-1, 1\n0.000250,\t7,65535,0\t\n",
        // Tab, semicolon with comma and with point, tab with comma.
        "t\ta\tb\tdoor\n0\t1\t2\t0\n0.000125\t-1\t-1\t1\n0.000250\t7\t65535\t0\n",
        "t\ta\tb\tdoor\n0\t1\t2\t0\n0,000125\t-1\t-1\t1\n0,000250\t7\t65535\t0\n",
        "t;a;b;door\n0;1;2;0\n0,000125;-1;-1;1\n0,000250;7;65535;0\n",
        "t;a;b;door\n0;1;2;0\n0.000125;-1;-1;1\n0.000250;7;65535;0\n",
        // Comments and empty lines everywhere.
        "# made up\n\nt,a,b,door\n# 1\n0,1,2,0\n\n#9,9,9,9\n0.000125,-1,-1,1\n  \n0.000250,7,65535,0\n\n#\n",
        // A row of units, in three hands, after a comment too.
        "t,a,b,door\ns,counts,counts,-\n0,1,2,0\n0.000125,-1,-1,1\n0.000250,7,65535,0\n",
        "t,a,b,door\n# units\n[s],[inc],[inc],\n0,1,2,0\n0.000125,-1,-1,1\n0.000250,7,65535,0\n",
        "t,a,b,door\n\"(s)\",,,0/1\n0,1,2,0\n0.000125,-1,-1,1\n0.000250,7,65535,0\n",
        // Quotes around names, numbers and text, with delimiters and quotes inside; other columns and order.
        "\"t\",\"a\",\"b\",\"door\"\n\"0\",\"1\",\"2\",\"0\"\n\"0.000125\",-1,-1,\"1\"\n0.000250,7,65535,0\n",
        "door,\"a note; \"\"so\"\"\",b,a,t\n0,\"x, \"\"y\"\"\",2,1,0\n1,,-1,-1,0.000125\n0,5\" pipe,65535,7,0.000250\n",
        "door;a,note;b;a;t\n0;;2;1;0\n1;\u{b5};-1;-1;0.000125\n0;#;65535;7;0.000250\n",
        // All ways of writing numbers and levels.
        "t,a,b,door\n0e0,+1,2.0,FALSE\n1.25e-4,-1.0,-1e0,TRUE\n250E-6,.7e1,65535.000,low\n",
        "t,a,b,door\n-0,01,2.,0.0\n.000125,4294967295,65535,1.0\n00.00025,0.07e+2,6553.5e1,Low\n",
        "t,a,b,door\n0.0000000004,1,2,0\n0.0001249999999999999999995,-1,-1,High\n0.00024999995e0,7,65535,0\n",
    ] {
        assert_eq!(frames(text, &layout()), expected, "{text:?}");
    }
}

#[test]
fn the_delimiter_is_the_one_under_which_the_columns_are_found() {
    for (header, expected) in [
        ("t,a,b,door,x;y", Delimiter::Comma),
        ("t;a;b;door;x,y", Delimiter::Semicolon),
        ("t\ta\tb\tdoor\tx,y;z", Delimiter::Tab),
        ("t;a;b;door;\"x,y\"", Delimiter::Semicolon),
    ] {
        let cells = header.matches(char::from(match expected {
            Delimiter::Comma => b',',
            Delimiter::Semicolon => b';',
            Delimiter::Tab => b'\t',
        }));
        assert_eq!(cells.count(), 4, "{header}");
        let opened = reader(format!("{header}\n").as_bytes(), &layout(), false).unwrap();
        assert_eq!(opened.summary().delimiter, Some(expected), "{header}");
    }
}

#[test]
fn every_unit_of_time_is_exact_to_the_nanosecond() {
    for (unit, text, nanos) in [
        (TimeUnit::Seconds, "1700000000.123456789", 1_700_000_000_123_456_789),
        (TimeUnit::Seconds, "1700000000.1234567895", 1_700_000_000_123_456_790),
        (TimeUnit::Seconds, "1.700000000123456789e9", 1_700_000_000_123_456_789),
        (TimeUnit::Seconds, "18446744073.709551615", u64::MAX),
        (TimeUnit::Millis, "1700000000123.456789", 1_700_000_000_123_456_789),
        (TimeUnit::Micros, "1700000000123456.789", 1_700_000_000_123_456_789),
        (TimeUnit::Nanos, "1700000000123456789", 1_700_000_000_123_456_789),
        (TimeUnit::Nanos, "18446744073709551615", u64::MAX),
    ] {
        let mut layout = layout();
        layout.time.unit = unit;
        // As the first row, and as one after it, which may go another way.
        let text = format!("t,a,b,door\n1,1,2,0\n2,1,2,0\n{text},1,2,0\n");
        assert_eq!(frames(&text, &layout)[2].now, at(nanos), "{text}");
    }
}

#[test]
fn times_before_zero_are_counted_from_the_first_row() {
    let text = b"t,a,b,door\n-0.5,1,2,0\n-0.25,1,2,0\n0.25,1,2,0\n";
    let mut opened = reader(text, &layout(), false).unwrap();
    let (frames, error) = drain(&mut opened);
    assert!(error.is_none());
    let instants: Vec<_> = frames.iter().map(|frame| frame.now.as_nanos()).collect();
    assert_eq!(instants, [0, 250_000_000, 750_000_000]);
    let summary = opened.summary();
    assert_eq!(summary.origin_ns, -500_000_000);
    assert_eq!((summary.frames, summary.lines, summary.compression), (3, 4, Compression::Plain));
    assert_eq!((summary.first, summary.last), (Some(at(0)), Some(at(750_000_000))));
}

#[test]
fn latency_is_taken_off_and_moves_the_origin_when_it_reaches_before_zero() {
    let mut layout = layout();
    layout.b.latency = Span::from_nanos(250_000);
    let mut opened = reader(b"t,a,b,door\n0,1,2,0\n0.001,1,2,0\n", &layout, false).unwrap();
    let frames = drain(&mut opened).0;
    assert_eq!(opened.summary().origin_ns, -250_000);
    assert_eq!((frames[0].now, frames[0].b), (at(250_000), read_at(0, 2)));
    assert_eq!((frames[1].a, frames[1].b), (read_at(1_250_000, 1), read_at(1_000_000, 2)));
    let mut later = reader(b"t,a,b,door\n1,1,2,0\n", &layout, false).unwrap();
    assert_eq!(drain(&mut later).0[0].b, read_at(999_750_000, 2));
    assert_eq!(later.summary().origin_ns, 0);
}

#[test]
fn a_capture_column_says_when_a_reading_was_captured() {
    let mut layout = layout();
    layout.b.capture = Some(TimeColumn { name: "cap".to_owned(), unit: TimeUnit::Micros });
    layout.b.latency = Span::from_nanos(500);
    let text = "t,a,b,door,cap\n0.001,1,2,0,900\n0.002,1,2,0,900\n0.003,1,3,0,2900.5\n0.004,1,4,0,4100\n";
    let captured: Vec<_> = frames(text, &layout).iter().map(|frame| frame.b).collect();
    // Handed in twice, then a new one, then one from after its row: for the monitors to judge.
    let expected = [read_at(899_500, 2), read_at(899_500, 2), read_at(2_900_000, 3), read_at(4_099_500, 4)];
    assert_eq!(captured, expected);
}

#[test]
fn both_sources_may_share_their_capture_column() {
    let mut layout = layout();
    let stamp = TimeColumn { name: "cap".to_owned(), unit: TimeUnit::Millis };
    layout.a.capture = Some(stamp.clone());
    layout.b.capture = Some(stamp);
    let text = "t,a,b,door,cap\n0.001,1,2,0,0.9\n0.002,1,2,0,1.9\n0.003,1,2,0,2.9\n";
    for (frame, nanos) in frames(text, &layout).iter().zip([900_000, 1_900_000, 2_900_000]) {
        assert_eq!((frame.a, frame.b), (read_at(nanos, 1), read_at(nanos, 2)));
    }
}

#[test]
fn an_empty_cell_of_a_sparse_source_is_no_new_reading() {
    let mut layout = layout();
    layout.b.sparse = true;
    layout.b.capture = Some(TimeColumn { name: "cap".to_owned(), unit: TimeUnit::Seconds });
    layout.b.valid = Some("ok".to_owned());
    let text =
        "t,a,ok,cap,door,b\n1,1,,,0,\n2,1,1,1.5,0,7\n3,1,,,0,\r\n4,1,1,1.5,0, \n5,1,1,4.5,0,8\n6,1,0,,0,\n";
    let mut opened = reader(text.as_bytes(), &layout, false).unwrap();
    let (frames, error) = drain(&mut opened);
    assert!(error.is_none(), "{error:?}");
    let captured: Vec<_> = frames.iter().map(|frame| frame.b).collect();
    let invalid = Some(Reading { captured_at: at(6_000_000_000), sample: Sample::Invalid });
    let expected = [None, read_at(1_500_000_000, 7), None, None, read_at(4_500_000_000, 8), invalid];
    assert_eq!(captured, expected);
}

#[test]
fn a_sparse_source_may_capture_a_little_before_the_first_row() {
    let mut layout = layout();
    layout.b.sparse = true;
    layout.b.capture = Some(TimeColumn { name: "cap".to_owned(), unit: TimeUnit::Seconds });
    let mut opened = reader(b"t,a,b,door,cap\n0,1,,0,\n1,1,2,0,-0.5\n", &layout, false).unwrap();
    let frames = drain(&mut opened).0;
    assert_eq!(opened.summary().origin_ns, -1_000_000_000);
    assert_eq!((frames[1].now, frames[1].b), (at(2_000_000_000), read_at(500_000_000, 2)));
}

#[test]
fn a_reading_marked_invalid_is_invalid_whatever_its_cell_says() {
    let mut layout = layout();
    layout.a.valid = Some("ok".to_owned());
    let text =
        "t,a,b,door,ok\n1,5,2,0,true\n2,nan,2,0,0\n3,,2,0,False\n4,99999999999,2,0,0\n5,6,2,0,0\n6,7,2,0,1\n";
    let samples: Vec<_> = frames(text, &layout).iter().map(|frame| frame.a.unwrap().sample).collect();
    let expected = [
        Sample::Count(5),
        Sample::Invalid,
        Sample::Invalid,
        Sample::Invalid,
        Sample::Invalid,
        Sample::Count(7),
    ];
    assert_eq!(samples, expected);
}

#[test]
fn a_counter_takes_both_ways_of_writing_its_width() {
    for (bits, text, count) in [
        (8, "-128", 0x80),
        (8, "128", 0x80),
        (8, "255", 0xff),
        (24, "-1", 0xff_ffff),
        (24, "16777215", 0xff_ffff),
        (32, "-2147483648", 0x8000_0000),
        (64, "-9223372036854775808", 1 << 63),
        (64, "9223372036854775808", 1 << 63),
        (64, "18446744073709551615", u64::MAX),
        (64, "-1", u64::MAX),
    ] {
        let mut layout = layout();
        layout.a = counter("a", bits);
        let text = format!("t,a,b,door\n1,1,2,0\n2,{text},2,0\n3,{text},2,0\n");
        let samples: Vec<_> = frames(&text, &layout).iter().map(|frame| frame.a.unwrap().sample).collect();
        assert_eq!(samples[1..], [Sample::Count(count); 2], "{bits} bits, {text}");
    }
}

#[test]
fn a_position_becomes_units_in_the_last_place() {
    let ulps = |bits: i64| Sample::Count(Position::from_bits(bits).to_bits().cast_unsigned());
    for (scale, text, expected) in [
        (Ratio::new(1, 1), "1", 1 << 24),
        (Ratio::new(1, 1), "-1.5", -(3 << 23)),
        (Ratio::new(1, 1), "0.1", 1_677_722),
        // Half a unit in the last place, away from zero on both sides.
        (Ratio::new(1, 1), "0.0000000298023223876953125", 1),
        (Ratio::new(1, 1), "-0.0000000298023223876953125", -1),
        (Ratio::new(1000, 1), "0.001", 1 << 24),
        (Ratio::new(1, 1000), "1e3", 1 << 24),
        (Ratio::new(-254, 10), "1", -426_141_286),
        (Ratio::new(1, 1), "549755813887.999999940395355224609375", i64::MAX),
        (Ratio::new(1, 1), "-549755813888", i64::MIN),
    ] {
        let mut layout = layout();
        layout.a.kind = SourceKind::Position { unit: "mm".to_owned(), scale };
        let text = format!("t,a,b,door\n1,0,2,0\n2,{text},2,0\n3,{text},2,0\n");
        let samples: Vec<_> = frames(&text, &layout).iter().map(|frame| frame.a.unwrap().sample).collect();
        assert_eq!(samples[1..], [ulps(expected); 2], "{text} x {scale}");
    }
}

#[test]
fn any_number_of_levels_reaches_its_lines() {
    for count in 1..=32_u8 {
        // Lines in another order than the columns.
        let line = |column: u8| (column * 5 + 3) % 32;
        let mut layout = layout();
        layout.levels = (0..count)
            .map(|c| LevelColumn { name: format!("l{c}"), line: line(c), asked_by: None })
            .collect();
        let names: Vec<_> = (0..count).map(|column| format!("l{column}")).collect();
        let mut text = format!("t,a,b,{}\n0,0,0,{}\n", names.join(","), vec!["0"; names.len()].join(","));
        let mut expected = vec![0];
        for high in 0..count {
            let cells: Vec<_> = (0..count).map(|column| if column == high { "1" } else { "0" }).collect();
            text.push_str(&format!("{},0,0,{}\n", high + 1, cells.join(",")));
            expected.push(1_u32 << line(high));
        }
        let levels: Vec<_> = frames(&text, &layout).iter().map(|frame| frame.levels.to_bits()).collect();
        assert_eq!(levels, expected, "{count} columns");
    }
}
