//! The columns of a file of typed columns.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::doubled::doubled;
use super::profile::{Profile, Value};
use super::shown::{decimal, float, scaled};
use super::survey::{
    Candidate, ColumnSurvey, GroupSurvey, HoldsReport, Pair, SCHEMA_VERSION, Survey, candidates, chosen,
    pairs,
};
use crate::trace::table::{self, Cells, Chunk, Column, Kind, Table, TableError};
use crate::trace::{Billionths, Number};

/// Reads all groups, one after the other.
pub(super) fn survey(path: &str, table: &mut dyn Table, time: Option<&str>) -> Result<Survey, TableError> {
    let count = table.columns().iter().map(|column| column.group + 1).max().unwrap_or(0);
    let mut of_groups: Vec<Vec<usize>> = vec![Vec::new(); count];
    for (column, one) in table.columns().iter().enumerate() {
        of_groups[one.group].push(column);
    }
    // Addresses are looked for in the whole file: one column after the other would take the square of their number.
    let addresses = table::addresses(table);
    let mut groups = Vec::new();
    for columns in of_groups.iter().filter(|columns| !columns.is_empty()) {
        groups.push(group(table, columns, &addresses, time, count > 1)?);
    }
    Ok(Survey { schema: SCHEMA_VERSION, path: path.to_owned(), format: table.format().to_owned(), groups })
}

fn group(
    table: &mut dyn Table,
    of_group: &[usize],
    addresses: &[String],
    time: Option<&str>,
    several: bool,
) -> Result<GroupSurvey, TableError> {
    let all: Vec<Column> = of_group.iter().map(|column| table.columns()[*column].clone()).collect();
    let names: Vec<&str> = all.iter().map(|column| column.name.as_str()).collect();
    let is_given =
        |place: &usize| time.is_some_and(|time| names[*place] == time || addresses[of_group[*place]] == time);
    let mut seen = Seen {
        profiles: vec![Profile::default(); all.len()],
        candidates: candidates(
            &names,
            all.iter().position(|column| column.is_time),
            (0..all.len()).find(is_given),
        ),
        pairs: pairs(&names),
        scale: Billionths::new(),
        text: String::new(),
    };
    let readable: Vec<usize> =
        (0..all.len()).filter(|place| !matches!(all[*place].kind, Kind::Other(_))).collect();
    let mut rows = 0;
    for batch in batches(&readable, &seen.pairs, table.columns_at_a_time()) {
        let selected: Vec<usize> = batch.iter().map(|place| of_group[*place]).collect();
        table.select(&selected)?;
        rows = seen.read(table, &all, &batch)?;
    }
    let mut not_read = None;
    if readable.is_empty() {
        // The rows are those that the file tells of.
        rows = all.first().and_then(|column| column.rows).unwrap_or(0);
        let error = of_group.first().and_then(|first| table.select(&[*first]).err());
        not_read = error.map(|error| format!("{error}; {}", error.advice()));
    }
    let index = all.first().map_or(0, |column| column.group);
    let columns: Vec<ColumnSurvey> = (all.iter().zip(seen.profiles).zip(of_group))
        .map(|((column, profile), place)| report(column, profile, addresses[*place].clone()))
        .collect();
    Ok(GroupSurvey {
        group: several.then(|| table.group(index)),
        rows,
        bad_rows: 0,
        first_bad_row: None,
        not_read,
        time: chosen(seen.candidates, &columns),
        pairs: seen.pairs.iter().filter_map(|pair| pair.report(&columns)).collect(),
        doubled: doubled(&names),
        columns,
    })
}

/// The columns in groups of about so many, in ascending order, those that may be a pair together.
fn batches(readable: &[usize], pairs: &[Pair], most: usize) -> Vec<Vec<usize>> {
    let mut left: BTreeSet<usize> = readable.iter().copied().collect();
    let (mut all, mut batch) = (Vec::new(), Vec::new());
    while let Some(first) = left.pop_first() {
        batch.push(first);
        let with_it = pairs.iter().filter(|pair| pair.columns.contains(&first));
        batch.extend(with_it.flat_map(|pair| pair.columns).filter(|column| left.remove(column)));
        if batch.len() >= most || left.is_empty() {
            batch.sort_unstable();
            all.push(std::mem::take(&mut batch));
        }
    }
    all
}

fn report(column: &Column, profile: Profile, address: String) -> ColumnSurvey {
    let mut report = ColumnSurvey::new(&column.name, column.unit.as_deref(), profile);
    report.address = address;
    match column.kind {
        Kind::Other(word) => {
            report.holds = HoldsReport::Other;
            report.what = Some(word.to_owned());
        }
        Kind::Time { .. } => {
            report.unit = Some("s".to_owned());
            if report.holds != HoldsReport::Empty {
                report.holds = HoldsReport::Time;
            }
        }
        Kind::Real if matches!(report.holds, HoldsReport::Whole | HoldsReport::Decimal) => {
            report.holds = HoldsReport::Float;
        }
        _ => {}
    }
    report
}

/// What the cells of a group come to.
struct Seen {
    profiles: Vec<Profile>,
    candidates: Vec<Candidate>,
    pairs: Vec<Pair>,
    scale: Billionths,
    text: String,
}

impl Seen {
    /// Reads the selected columns, which are those at these places of the group, to the end; returns how many rows there are.
    fn read(&mut self, table: &mut dyn Table, all: &[Column], batch: &[usize]) -> Result<u64, TableError> {
        let mut chunk = Chunk::default();
        let mut rows = 0;
        let is_here = |column: &usize| batch.binary_search(column).ok();
        // The places in the batch of the pairs that are in it.
        let pairs: Vec<(usize, [usize; 2])> = (self.pairs.iter().enumerate())
            .filter_map(|(pair, of)| Some((pair, [is_here(&of.columns[0])?, is_here(&of.columns[1])?])))
            .collect();
        let mut levels = vec![Vec::new(); batch.len()];
        let paired = |at: usize| pairs.iter().any(|(_, of)| of.contains(&at));
        let is_paired: Vec<bool> = (0..batch.len()).map(paired).collect();
        while table.next(&mut chunk)? {
            for (at, ((cells, there), place)) in chunk.columns.iter().zip(batch).enumerate() {
                levels[at].clear();
                for row in 0..chunk.rows {
                    let is_there = there.as_ref().is_none_or(|there| there[row]);
                    self.add(
                        *place,
                        all[*place].kind,
                        rows + row as u64 + 1,
                        is_there.then_some((cells, row)),
                    );
                    if is_paired[at] {
                        levels[at].push(self.profiles[*place].level);
                    }
                }
            }
            for (pair, [first, second]) in &pairs {
                let rows = levels[*first].iter().zip(&levels[*second]);
                rows.for_each(|(first, second)| self.pairs[*pair].add([*first, *second]));
            }
            rows += chunk.rows as u64;
        }
        Ok(rows)
    }

    /// Takes a cell.
    fn add(&mut self, place: usize, kind: Kind, row: u64, cell: Option<(&Cells, usize)>) {
        let profile = &mut self.profiles[place];
        let Some((cells, at)) = cell else { return profile.add_empty() };
        let text = &mut self.text;
        text.clear();
        let whole = match cells {
            Cells::Integers(cells) => i128::from(cells[at]),
            Cells::Unsigned(cells) => i128::from(cells[at]),
            Cells::Bools(cells) => i128::from(cells[at]),
            Cells::Reals(cells) => return self.add_real(place, row, cells[at]),
        };
        let time = match kind {
            Kind::Time { ns } => {
                // Two numbers of 64 bits.
                let nanos = whole * i128::from(ns);
                *text = decimal(nanos);
                profile.add(text, &Value::Whole(nanos));
                Some(nanos)
            }
            Kind::Decimal { places } => {
                *text = scaled(whole, places);
                profile.add_text(row, text).and_then(|number| number.in_billionths(&self.scale))
            }
            _ => {
                // Writing to a text does not fail.
                let _ = write!(text, "{whole}");
                profile.add(text, &Value::Whole(whole));
                whole.checked_mul(1_000_000_000)
            }
        };
        self.follow(place, row, time);
    }

    fn add_real(&mut self, place: usize, row: u64, number: f64) {
        let profile = &mut self.profiles[place];
        if !number.is_finite() {
            return profile.add_odd(row, &number.to_string());
        }
        profile.add(&float(number), &Value::Real(number));
        // Times beyond what is shown are no times.
        const FAR: u128 = 10_u128.pow(27);
        let billionths = Number::real_in_billionths(number, &self.scale);
        self.follow(place, row, billionths.filter(|billionths| billionths.unsigned_abs() < FAR));
    }

    fn follow(&mut self, place: usize, row: u64, time: Option<i128>) {
        for candidate in self.candidates.iter_mut().filter(|candidate| candidate.column == place) {
            if let Some(time) = time {
                candidate.rate.add(row, time);
            }
        }
    }
}
