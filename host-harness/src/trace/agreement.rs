//! The quick way and the careful way through a row, held side by side.

use std::fmt::Write;
use std::io::Cursor;

use monitor_core::{Frame, Span};
use num_rational::Ratio;

use super::{Layout, LevelColumn, Options, Reader, Reason, SourceColumns, SourceKind, TimeColumn, TimeUnit};

/// A generator of numbers without statistical ambitions: xorshift.
struct Random(u64);

impl Random {
    fn below(&mut self, bound: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % bound
    }

    fn one_in(&mut self, chances: u64) -> bool {
        self.below(chances) == 0
    }

    fn pick<'a>(&mut self, choices: &[&'a str]) -> &'a str {
        let index = usize::try_from(self.below(choices.len() as u64)).unwrap();
        choices[index]
    }
}

/// Everything that reading a trace brings to light.
type Outcome = (Vec<Frame>, Vec<(Reason, String)>, u64, i128, Option<String>);

fn read(text: &str, layout: &Layout, quick: bool) -> Outcome {
    let stream = Cursor::new(text.as_bytes().to_vec());
    let mut reader = Reader::from_read("t.csv", stream, layout, Options { skip_bad: true }).unwrap();
    if !quick {
        reader.be_careful();
    }
    let mut frames = Vec::new();
    let mut batch = Vec::new();
    let error = loop {
        let more = reader.next_batch(&mut batch);
        frames.extend_from_slice(&batch);
        match more {
            Ok(true) => {}
            Ok(false) => break None,
            Err(error) => break Some(error.to_string()),
        }
    };
    let first = reader.skipped().first();
    let skipped = first.iter().map(|row| (row.reason, row.error.to_string())).collect();
    (frames, skipped, reader.skipped().total(), reader.summary().origin_ns, error)
}

fn source(random: &mut Random, column: &str, counter: bool) -> SourceColumns {
    let bits = [8, 16, 24, 32, 64][usize::try_from(random.below(5)).unwrap()];
    let scale =
        [Ratio::new(1, 1), Ratio::new(-254, 10), Ratio::new(1, 3)][usize::try_from(random.below(3)).unwrap()];
    SourceColumns {
        column: column.to_owned(),
        kind: if counter {
            SourceKind::Counter { bits }
        } else {
            SourceKind::Position { unit: "mm".to_owned(), scale }
        },
        latency: Span::from_nanos(random.below(3) * 250_000),
        capture: random.one_in(2).then(|| TimeColumn { name: "stamp".to_owned(), unit: TimeUnit::Micros }),
        valid: random.one_in(3).then(|| format!("{column}_ok")),
        sparse: random.one_in(2),
    }
}

/// An ordinary cell, or the same in another way of writing it, or something that it must not be.
fn cell(random: &mut Random, ordinary: String) -> String {
    match random.below(48) {
        0 => format!(" {ordinary}"),
        1 => format!("{ordinary} "),
        2 => format!("\"{ordinary}\""),
        3 => format!("+{ordinary}"),
        4 => format!("{ordinary}e0"),
        5 => format!("-{ordinary}"),
        6 => format!("00000000000{ordinary}"),
        7 => format!("{ordinary}."),
        8 => format!("{ordinary}00000000000000"),
        9 => {
            let odd = [
                "", "x", "nan", "1e99", "\"", "\0", "1\u{0}5", "-", "1,5", "0x1", "12.5", "\u{b5}", "-0",
                "2", "0\r",
            ];
            random.pick(&odd).to_owned()
        }
        10 => format!("{ordinary}e-{}", random.below(3)),
        11 => format!("{ordinary}E+0{}", random.below(3)),
        12 => random.pick(&["1.0", "True", "false", "0.00", "high", "truex"]).to_owned(),
        // Plenty of digits, and a power of ten that makes a whole number of them, or nearly.
        13 => format!("1.2{:017}e{}", random.below(2), random.below(22)),
        _ => ordinary,
    }
}

/// An ordinary cell of a source.
fn value(random: &mut Random, source: &SourceColumns, count: i64, mark: &str) -> String {
    match source.kind {
        _ if source.sparse && random.one_in(3) => String::new(),
        SourceKind::Counter { .. } if random.one_in(10) => format!("{count}{mark}0"),
        SourceKind::Counter { .. } => count.to_string(),
        SourceKind::Position { .. } => format!("{count}{mark}{:03}", random.below(1000)),
    }
}

fn trace(random: &mut Random, layout: &Layout, comma: bool, calm: bool) -> String {
    let (delimiter, mark) = if comma { (",", ".") } else { (";", ",") };
    let line_end = random.pick(&["\n", "\r\n"]);
    let mut text =
        ["note", "time", "a", "b", "stamp", "a_ok", "b_ok", "l0", "l1", "l2", "l3", "l4"].join(delimiter);
    text.push_str(line_end);
    let mut now = random.below(2_000_000);
    let mut count = 0;
    for row in 0..400_u64 {
        let longest = if random.one_in(50) { 1_000_000_000 } else { 500 };
        now += 1 + random.below(longest);
        count += i64::try_from(random.below(7)).unwrap() - 3;
        let mut cells = vec![
            random.pick(&["", "plain", "with blank"]).to_owned(),
            format!("{}{mark}{:06}", now / 1_000_000, now % 1_000_000),
            value(random, &layout.a, count, mark),
            value(random, &layout.b, count / 2, mark),
            format!("{}{mark}5", now.saturating_sub(row % 3)),
            u64::from(!random.one_in(30)).to_string(),
            u64::from(!random.one_in(30)).to_string(),
        ];
        cells.extend((0..5).map(|_| random.below(2).to_string()));
        if !calm {
            cells = cells.into_iter().map(|ordinary| cell(random, ordinary)).collect();
        }
        if random.one_in(60) {
            cells.pop();
        }
        let comment = if random.one_in(60) { "# " } else { "" };
        write!(text, "{comment}{}{line_end}", cells.join(delimiter)).unwrap();
    }
    text
}

#[test]
fn the_quick_way_reads_what_the_careful_way_reads() {
    let mut random = Random(0x2545_f491_4f6c_dd1d);
    let mut frames = 0;
    let mut bad = 0;
    for round in 0..120 {
        let comma = random.one_in(2);
        let layout = Layout {
            time: TimeColumn { name: "time".to_owned(), unit: TimeUnit::Seconds },
            a: source(&mut random, "a", round % 3 > 0),
            b: source(&mut random, "b", round % 3 == 0),
            levels: (0..5)
                .map(|line| LevelColumn { name: format!("l{line}"), line: line * 7, asked_by: None })
                .collect(),
            analogues: Vec::new(),
        };
        let text = trace(&mut random, &layout, comma, round % 2 == 0);
        let quick = read(&text, &layout, true);
        assert_eq!(quick, read(&text, &layout, false), "round {round}: {layout:?}\n{text}");
        frames += quick.0.len();
        bad += quick.2;
    }
    // Both ways have something to do.
    assert!(frames > 10_000, "{frames}");
    assert!(bad > 10_000, "{bad}");
}
