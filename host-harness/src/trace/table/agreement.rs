//! Tables against the text of the same cells, and the quick way against the careful one.

use std::fmt::Write;
use std::io::Cursor;

use monitor_core::{Frame, Span};
use num_rational::Ratio;

use super::super::offered::Offered;
use super::super::skipped::Skipped;
use super::super::{
    AnalogueColumns, Layout, LevelColumn, Options, Reader, SourceColumns, SourceKind, TimeColumn, TimeUnit,
};
use super::exact::{exact_digits, push_fixed};
use super::rows::TableRows;
use super::{Cells, Chunk, Column, Kind, Present, Table, TableError};

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

    fn up_to(&mut self, most: i64) -> i64 {
        i64::try_from(self.below(2 * most.unsigned_abs() + 1)).unwrap() - most
    }
}

/// A table in memory, in chunks of different lengths.
#[derive(Clone, Default)]
struct Made {
    columns: Vec<Column>,
    cells: Vec<(Cells, Present)>,
    rows: usize,
    selected: Vec<usize>,
    done: usize,
}

impl Table for Made {
    fn format(&self) -> &'static str {
        "table"
    }

    fn columns(&self) -> &[Column] {
        &self.columns
    }

    fn select(&mut self, columns: &[usize]) -> Result<(), TableError> {
        self.selected = columns.to_vec();
        Ok(())
    }

    fn next(&mut self, chunk: &mut Chunk) -> Result<bool, TableError> {
        let rows = (self.rows - self.done).min(37 + self.done % 150);
        let part = self.done..self.done + rows;
        let cut = |&index: &usize| {
            let (cells, present) = &self.cells[index];
            let cells = match cells {
                Cells::Integers(cells) => Cells::Integers(cells[part.clone()].to_vec()),
                Cells::Unsigned(cells) => Cells::Unsigned(cells[part.clone()].to_vec()),
                Cells::Reals(cells) => Cells::Reals(cells[part.clone()].to_vec()),
                Cells::Bools(cells) => Cells::Bools(cells[part.clone()].to_vec()),
            };
            (cells, present.as_ref().map(|present| present[part.clone()].to_vec()))
        };
        *chunk = Chunk { rows, columns: self.selected.iter().map(cut).collect() };
        self.done += rows;
        Ok(rows > 0)
    }
}

impl Made {
    fn add(&mut self, name: &str, kind: Kind, cells: Cells, present: Present) {
        let name = name.to_owned();
        self.columns.push(Column { name, unit: None, kind, group: 0, rows: None, is_time: false });
        self.cells.push((cells, present));
    }

    /// The same as text: floats with all their digits, times in seconds.
    fn text(&self) -> String {
        let names: Vec<&str> = self.columns.iter().map(|column| column.name.as_str()).collect();
        let mut text = names.join(",") + "\n";
        for row in 0..self.rows {
            for (index, ((cells, present), column)) in self.cells.iter().zip(&self.columns).enumerate() {
                if index > 0 {
                    text.push(',');
                }
                if present.as_ref().is_some_and(|present| !present[row]) {
                    continue;
                }
                match (cells, column.kind) {
                    (Cells::Integers(cells), Kind::Time { ns }) => {
                        push_fixed(&mut text, i128::from(cells[row]) * i128::from(ns), 9);
                    }
                    (Cells::Integers(cells), Kind::Decimal { places }) => {
                        push_fixed(&mut text, cells[row].into(), places);
                    }
                    (Cells::Integers(cells), _) => write!(text, "{}", cells[row]).unwrap(),
                    (Cells::Unsigned(cells), _) => write!(text, "{}", cells[row]).unwrap(),
                    (Cells::Bools(cells), _) => write!(text, "{}", cells[row]).unwrap(),
                    (Cells::Reals(cells), _) if cells[row].is_finite() => text += &exact_digits(cells[row]),
                    (Cells::Reals(cells), _) => write!(text, "{}", cells[row]).unwrap(),
                }
            }
            text.push('\n');
        }
        text
    }
}

/// Everything that reading brings to light, but for the places and the texts of what was left out.
#[derive(Debug, Default, PartialEq)]
struct Outcome {
    frames: Vec<Frame>,
    offered: Vec<(u64, Offered)>,
    reasons: Vec<(String, u64)>,
    first: Vec<String>,
    origin: i128,
}

impl Outcome {
    fn count(&mut self, skipped: &Skipped) {
        self.reasons =
            skipped.by_reason().iter().map(|(reason, count)| (reason.to_string(), *count)).collect();
        self.first =
            skipped.first().iter().map(|row| row.error.problem.reason().unwrap().to_string()).collect();
    }

    fn offer(&mut self, offered: &[Offered]) {
        let before = self.frames.len() as u64;
        self.offered.extend(offered.iter().map(|one| (before, *one)));
    }
}

fn of_table(table: &Made, layout: &Layout, quick: bool) -> (Outcome, u64) {
    let mut rows = TableRows::open("t".into(), Box::new(table.clone()), layout).unwrap();
    if !quick {
        rows.be_careful();
    }
    let (mut outcome, mut skipped) = (Outcome::default(), Skipped::default());
    loop {
        let (mut batch, mut offered) = (Vec::new(), Vec::new());
        rows.fill(&mut batch, &mut offered, Some(&mut skipped)).unwrap();
        outcome.offer(&offered);
        outcome.frames.extend_from_slice(&batch);
        if batch.is_empty() {
            break;
        }
    }
    outcome.count(&skipped);
    outcome.origin = rows.origin();
    (outcome, rows.rows_read())
}

fn of_text(text: &str, layout: &Layout) -> Outcome {
    let stream = Cursor::new(text.as_bytes().to_vec());
    let mut reader = Reader::from_read("t", stream, layout, Options { skip_bad: true }).unwrap();
    let (mut outcome, mut batch) = (Outcome::default(), Vec::new());
    loop {
        // Only a trace without a good row fails here.
        let more = reader.next_batch(&mut batch);
        outcome.offer(reader.offered());
        outcome.frames.extend_from_slice(&batch);
        if !matches!(more, Ok(true)) {
            break;
        }
    }
    outcome.count(reader.skipped());
    outcome.origin = reader.summary().origin_ns;
    outcome
}

fn source(random: &mut Random, column: &str) -> SourceColumns {
    let bits = [8, 16, 32, 64][usize::try_from(random.below(4)).unwrap()];
    let scale = [Ratio::new(1, 1), Ratio::new(-254, 10), Ratio::new(1, 3)];
    let scale = scale[usize::try_from(random.below(3)).unwrap()];
    SourceColumns {
        column: column.to_owned(),
        kind: if random.one_in(2) {
            SourceKind::Counter { bits }
        } else {
            SourceKind::Position { unit: "mm".to_owned(), scale }
        },
        latency: Span::from_nanos(random.below(3) * 250_000),
        capture: random.one_in(2).then(|| TimeColumn { name: "stamp".to_owned(), unit: TimeUnit::Seconds }),
        valid: random.one_in(3).then(|| format!("{column}_ok")),
        sparse: random.one_in(2),
    }
}

fn present(random: &mut Random, rows: usize, missing: u64) -> Present {
    random.one_in(2).then(|| (0..rows).map(|_| !random.one_in(missing)).collect())
}

/// Times in seconds, mostly growing.
fn times(random: &mut Random, rows: usize) -> (Kind, Cells) {
    let mut now = random.up_to(2_000_000);
    let mut ticks = Vec::new();
    for _ in 0..rows {
        now += if random.one_in(40) { 0 } else { 1 + i64::try_from(random.below(900)).unwrap() };
        ticks.push(now);
    }
    let real = |&tick: &i64| if tick % 977 == 0 { f64::NAN } else { tick as f64 / 1e6 };
    match random.below(4) {
        0 => (Kind::Integer, Cells::Integers(ticks)),
        1 => (Kind::Time { ns: 1000 }, Cells::Integers(ticks)),
        2 => (Kind::Decimal { places: 7 }, Cells::Integers(ticks)),
        _ => (Kind::Real, Cells::Reals(ticks.iter().map(real).collect())),
    }
}

fn numbers(random: &mut Random, rows: usize) -> (Kind, Cells) {
    let far = |random: &mut Random| {
        if random.one_in(30) { random.below(u64::MAX).cast_signed() } else { random.up_to(300) }
    };
    let whole: Vec<i64> = (0..rows).map(|_| far(random)).collect();
    let half = |&number: &i64| match number % 50 {
        7 => f64::INFINITY,
        8 => -0.0,
        9 => number as f64 * 2_f64.powi(-27),
        10 => number as f64 / 3.0,
        _ => number as f64,
    };
    match random.below(4) {
        0 => (Kind::Integer, Cells::Integers(whole)),
        1 => (Kind::Integer, Cells::Unsigned(whole.iter().map(|number| number.unsigned_abs()).collect())),
        2 => (
            Kind::Decimal { places: 2 },
            Cells::Integers(whole.iter().map(|n| n.saturating_mul(50)).collect()),
        ),
        _ => (Kind::Real, Cells::Reals(whole.iter().map(half).collect())),
    }
}

fn bits(random: &mut Random, rows: usize) -> (Kind, Cells) {
    let bits: Vec<i64> = (0..rows)
        .map(|_| if random.one_in(60) { 2 } else { i64::try_from(random.below(2)).unwrap() })
        .collect();
    match random.below(5) {
        0 => (Kind::Integer, Cells::Integers(bits)),
        1 => (Kind::Integer, Cells::Unsigned(bits.iter().map(|bit| bit.unsigned_abs()).collect())),
        2 => (Kind::Decimal { places: 1 }, Cells::Integers(bits.iter().map(|bit| 10 * bit).collect())),
        3 => (Kind::Bool, Cells::Bools(bits.iter().map(|&bit| bit != 0).collect())),
        _ => (Kind::Real, Cells::Reals(bits.iter().map(|&bit| bit as f64).collect())),
    }
}

fn made(random: &mut Random) -> Made {
    let rows = 400;
    let mut made = Made { rows, ..Made::default() };
    let add = |made: &mut Made, name: &str, (kind, cells), present| made.add(name, kind, cells, present);
    add(&mut made, "note", bits(random, rows), None);
    add(&mut made, "time", times(random, rows), present(random, rows, 50));
    add(&mut made, "stamp", times(random, rows), present(random, rows, 5));
    for name in ["a", "b", "v0", "v1"] {
        add(&mut made, name, numbers(random, rows), present(random, rows, 3));
    }
    for name in ["a_ok", "b_ok", "v0_ok", "v1_ok", "l0", "l1", "l2"] {
        let present = present(random, rows, 20);
        add(&mut made, name, bits(random, rows), present);
    }
    made
}

#[test]
fn a_table_is_read_as_the_text_of_its_cells_quickly_and_with_care() {
    let mut random = Random(0x2545_f491_4f6c_dd1d);
    let (mut frames, mut bad, mut offered) = (0, 0, 0);
    for round in 0..150 {
        let table = made(&mut random);
        let of_line = |both: [&str; 2]| both.map(str::to_owned);
        let analogue = AnalogueColumns {
            name: "v".to_owned(),
            columns: of_line(["v0", "v1"]),
            valid: random.one_in(2).then(|| of_line(["v0_ok", "v1_ok"])),
            unit: "Nm".to_owned(),
            latency: Span::from_nanos(random.below(3) * 1000),
            sparse: random.one_in(2),
        };
        let layout = Layout {
            time: TimeColumn { name: "time".to_owned(), unit: TimeUnit::Seconds },
            a: source(&mut random, "a"),
            b: source(&mut random, "b"),
            levels: (0..random.below(4) as u8)
                .map(|line| LevelColumn { name: format!("l{line}"), line: line * 7, asked_by: None })
                .collect(),
            analogues: if random.one_in(3) { vec![analogue] } else { Vec::new() },
        };
        let (quick, read) = of_table(&table, &layout, true);
        assert_eq!(read, 400);
        assert_eq!(quick, of_table(&table, &layout, false).0, "round {round}: {layout:?}");
        assert_eq!(quick, of_text(&table.text(), &layout), "round {round}: {layout:?}\n{}", table.text());
        frames += quick.frames.len();
        bad += quick.reasons.iter().map(|(_, count)| count).sum::<u64>();
        offered += quick.offered.len();
    }
    // Both ways have something to do.
    assert!(frames > 3_000, "{frames}");
    assert!(bad > 3_000, "{bad}");
    assert!(offered > 300, "{offered}");
}
