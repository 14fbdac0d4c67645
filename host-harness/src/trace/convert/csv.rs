//! Rows as delimited text.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::super::cell::Decimal;
use super::super::error::Place;
use super::super::layout::TimeUnit;
use super::super::scale::Scale;
use super::super::table::{Cells, Chunk, Kind, exact, exact_digits, push_fixed};
use super::super::units::may_be_unit;
use super::changes::quoted;
use super::{ConvertError, Described, Sink};
use crate::synth;

/// The longest number that a text is read with.
const LONGEST_NUMBER: usize = 256;

/// A text, plain or packed.
pub(super) struct CsvSink {
    out: synth::Sink,
    path: PathBuf,
    from: Arc<str>,
    columns: Vec<Described>,
    /// Of columns of floating-point times: what a replay takes them to ns with.
    scales: Vec<Option<Scale>>,
    rows: u64,
    text: String,
}

/// What a text has no place for.
pub(super) fn lost_units(columns: &[Described]) -> Option<String> {
    let is_row = has_row_of_units(columns);
    let is_lost = |described: &&Described| {
        if described.written.is_some() {
            return !is_row;
        }
        described.column.unit.as_deref().is_some_and(|unit| !is_row || !may_be_unit(unit))
    };
    let names: Vec<&str> =
        (columns.iter().filter(is_lost)).map(|described| described.column.name.as_str()).collect();
    let why = match is_row {
        true => "a number cannot stand in a row of units",
        false => "a row of units needs that of the time; give --setup",
    };
    (!names.is_empty()).then(|| format!("the units of {} are not written: {why}", quoted(&names)))
}

/// Whether a reader will know a row of units for one: it is told by a unit of time in the column of times. Which column that is, is known
/// only where one holds times, or is called so.
fn has_row_of_units(columns: &[Described]) -> bool {
    let is_in_time = |described: &Described| {
        described.written.is_some() || described.column.unit.as_deref().and_then(super::time_unit).is_some()
    };
    let names: Vec<&str> = columns.iter().map(|described| described.column.name.as_str()).collect();
    let by_name = crate::columns::times_by_name(&names);
    columns.iter().any(is_in_time) && by_name.iter().all(|&place| is_in_time(&columns[place]))
}

impl CsvSink {
    pub(super) fn new(
        out: synth::Sink,
        path: &Path,
        from: &Arc<str>,
        columns: &[Described],
        comment: Option<&str>,
    ) -> Result<Self, ConvertError> {
        let mut text = String::new();
        for line in comment.into_iter().flat_map(str::lines) {
            text.push_str("# ");
            text.push_str(line);
            text.push('\n');
        }
        let mut row = |cells: &mut dyn Iterator<Item = &str>| {
            for (index, cell) in cells.enumerate() {
                if index > 0 {
                    text.push(',');
                }
                push_quoted(&mut text, cell, index == 0);
            }
            text.push('\n');
        };
        row(&mut columns.iter().map(|described| described.column.name.as_str()));
        if has_row_of_units(columns) {
            row(&mut columns.iter().map(unit));
        }
        let (path, from, columns) = (path.to_owned(), Arc::clone(from), columns.to_vec());
        let scales = columns.iter().map(|described| described.time.map(Scale::of_time)).collect();
        Ok(Self { out, path, from, columns, scales, rows: 0, text })
    }

    fn flush(&mut self) -> Result<(), ConvertError> {
        let out = self.out.write_all(self.text.as_bytes());
        self.text.clear();
        out.map_err(|error| ConvertError::Out { path: self.path.clone(), error })
    }
}

/// The cell of the row of units.
fn unit(described: &Described) -> &str {
    match (described.written, &described.column.unit) {
        (Some((unit, _)), _) => unit.symbol(),
        (None, Some(unit)) if may_be_unit(unit) => unit,
        _ => "-",
    }
}

/// A name as it is, or in quotes where it would be taken for something else.
fn push_quoted(text: &mut String, cell: &str, is_first: bool) {
    let is_plain = cell.trim() == cell
        && !cell.contains([',', ';', '\t', '"', '\n', '\r'])
        && !(is_first && cell.starts_with('#'));
    if is_plain {
        text.push_str(cell);
    } else {
        text.push('"');
        text.push_str(&cell.replace('"', "\"\""));
        text.push('"');
    }
}

impl Sink for CsvSink {
    fn write(&mut self, chunk: &Chunk) -> Result<(), ConvertError> {
        for row in 0..chunk.rows {
            for (index, ((cells, present), described)) in chunk.columns.iter().zip(&self.columns).enumerate()
            {
                if index > 0 {
                    self.text.push(',');
                }
                let is_there = present.as_ref().is_none_or(|present| present[row]);
                if is_there
                    && let Err(why) =
                        push_cell(&mut self.text, cells, (described, self.scales[index].as_ref()), row)
                {
                    let row = Some(self.rows + row as u64 + 1);
                    let place =
                        Box::new(Place { path: Arc::clone(&self.from), line: None, column: None, row });
                    let column = described.column.name.clone();
                    let text = "a floating-point number".to_owned();
                    return Err(ConvertError::NotKept { place, column, text, why });
                }
            }
            self.text.push('\n');
            if self.text.len() > 1 << 16 {
                self.flush()?;
            }
        }
        self.rows += chunk.rows as u64;
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> Result<(), ConvertError> {
        self.flush()?;
        let path = self.path;
        self.out.finish().map_err(|error| ConvertError::Out { path, error })
    }
}

fn push_cell(
    text: &mut String,
    cells: &Cells,
    (described, scale): (&Described, Option<&Scale>),
    row: usize,
) -> Result<(), &'static str> {
    match (cells, described.column.kind) {
        (Cells::Integers(cells), Kind::Time { ns }) => {
            let (unit, places) = described.written.unwrap_or((TimeUnit::Nanos, 0));
            push_time(text, i128::from(cells[row]) * i128::from(ns), unit, places);
        }
        (Cells::Integers(cells), Kind::Decimal { places }) => push_fixed(text, cells[row].into(), places),
        (Cells::Integers(cells), _) => push_fixed(text, cells[row].into(), 0),
        (Cells::Unsigned(cells), _) => push_fixed(text, cells[row].into(), 0),
        (Cells::Bools(cells), _) => text.push_str(if cells[row] { "true" } else { "false" }),
        (Cells::Reals(cells), _) if !cells[row].is_finite() => text.push_str(&cells[row].to_string()),
        (Cells::Reals(cells), _) => {
            let shortest = scale.and_then(|scale| shortest_time(cells[row], scale));
            let digits = shortest.unwrap_or_else(|| digits(cells[row]));
            if digits.len() > LONGEST_NUMBER {
                return Err("has more digits than a text is read with");
            }
            text.push_str(&digits);
        }
    }
    Ok(())
}

/// A time with so many places, or with all of them where that is not enough.
fn push_time(text: &mut String, ns: i128, unit: TimeUnit, places: u32) {
    let most = unit.nanosecond_places();
    let cut = 10_i128.pow(most.saturating_sub(places));
    if ns % cut == 0 { push_fixed(text, ns / cut, places) } else { push_fixed(text, ns, most) }
}

/// The shortest decimal number that is this float and no other, where a replay takes it to the same ns.
fn shortest_time(real: f64, scale: &Scale) -> Option<String> {
    let text = real.to_string();
    let short = Decimal::parse(&text).ok()?;
    (scale.apply(&short)? == scale.apply(&exact(real))?).then_some(text)
}

/// All digits of a float; of a small one without the zeros in front, with a power of ten.
fn digits(real: f64) -> String {
    let plain = exact_digits(real);
    if real.abs() >= 1e-5 || real == 0.0 {
        return plain;
    }
    let places = plain.len() - plain.find('.').map_or(plain.len(), |point| point + 1);
    let sign = if real < 0.0 { "-" } else { "" };
    let significant = plain.trim_start_matches('-').trim_start_matches(['0', '.']);
    format!("{sign}{significant}e-{places}")
}

#[cfg(test)]
mod more {
    use super::super::super::table::Stored;
    use super::*;

    fn described(name: &str, kind: Kind, unit: Option<&str>) -> Described {
        let written = matches!(kind, Kind::Time { .. }).then_some((TimeUnit::Seconds, 3));
        let (name, unit) = (name.to_owned(), unit.map(str::to_owned));
        let column = super::super::Column { name, unit, kind, group: 0, rows: None, is_time: false };
        Described { column, nullable: false, stored: Stored::Wide, written, time: None }
    }

    #[test]
    fn a_float_time_is_written_shortest_where_that_is_the_same_float_and_the_same_ns() {
        let seconds = Scale::of_time(TimeUnit::Seconds);
        for (real, text) in [(0.0005, "0.0005"), (0.1 + 0.2, "0.30000000000000004"), (-12.5, "-12.5")] {
            assert_eq!(shortest_time(real, &seconds).as_deref(), Some(text));
            assert_eq!(text.parse::<f64>(), Ok(real));
        }
        // Just below the middle between two ns, where its shortest text is the middle.
        let below = (0..1000).map(|n| (f64::from(n) + 0.5) / 1e9).find(|real| {
            let (short, all) = (Decimal::parse(&real.to_string()).unwrap(), exact(*real));
            seconds.apply(&short) != seconds.apply(&all)
        });
        let below = below.expect("some are");
        assert_eq!(shortest_time(below, &seconds), None);
    }

    #[test]
    fn a_row_of_units_is_written_only_where_a_reader_will_know_it_for_one() {
        let time = |unit| described("time", Kind::Real, unit);
        let age = described("age", Kind::Time { ns: 1 }, None);
        let rail = |unit| described("rail", Kind::Real, Some(unit));
        assert!(has_row_of_units(&[time(Some("s")), age.clone(), rail("mm")]));
        // The column of times has no unit: the row would be taken for one of numbers.
        let columns = [time(None), age.clone(), rail("mm")];
        assert!(!has_row_of_units(&columns));
        assert_eq!(
            lost_units(&columns).as_deref(),
            Some(
                "the units of `age`, `rail` are not written: a row of units needs that of the time; give --setup"
            )
        );
        // So would a row with a number in it.
        let columns = [time(Some("s")), rail("1"), rail("mm")];
        assert_eq!(columns.each_ref().map(unit), ["s", "-", "mm"]);
        assert_eq!(
            lost_units(&columns).as_deref(),
            Some("the units of `rail` are not written: a number cannot stand in a row of units")
        );
    }

    #[test]
    fn a_small_float_is_written_with_a_power_of_ten_and_all_its_digits() {
        assert_eq!(digits(0.5_f64.powi(25)), "298023223876953125e-25");
        assert_eq!(digits(-0.5_f64.powi(25)), "-298023223876953125e-25");
        assert_eq!(digits(0.25), "0.25");
        assert_eq!(digits(0.0), "0");
    }
}
