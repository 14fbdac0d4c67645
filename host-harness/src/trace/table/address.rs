//! Which column a name means, in files whose columns are in groups of their own time base.
//!
//! A name means the column that is called so. Where several groups have one, it means that of the group of the other columns of the
//! setup, if these are all in one: the time of every group is called `time` in many files. Otherwise, and at any time, a column is named
//! with its group in front, `GROUP/NAME`; a group without a name, or with one that another has too, goes by its number in the file,
//! `#3/NAME`.

use std::collections::HashMap;

use super::{Cells, Chunk, Column, Kind, Table, TableError};

/// Rows that the period of a group is taken from.
const PERIOD_ROWS: usize = 1000;

/// Why names of columns lead nowhere.
#[derive(Debug, thiserror::Error)]
pub enum AddressError {
    /// Several columns are called so.
    #[error("the column name `{name}` stands for {}", ways.join(", "))]
    Ambiguous {
        /// The name.
        name: String,
        /// What to write for each of them, in the order of the file.
        ways: Vec<String>,
    },
    /// Columns that have no rows in common.
    #[error("the columns are in two groups, each with its own rows and times: {first}, and {second}")]
    TwoTimeBases {
        /// A group, with its columns and its rate as far as they are known.
        first: String,
        /// The other one.
        second: String,
    },
}

impl AddressError {
    /// What to do about it.
    pub(super) const fn advice(&self) -> &'static str {
        match self {
            Self::Ambiguous { .. } => "name one of these",
            Self::TwoTimeBases { .. } => {
                "take all columns from one group, or save both as one table with a row for every time, empty cells where a group has \
                 nothing new, and `sparse = true` in the setup"
            }
        }
    }

    /// Nothing is known of the groups but what they are called.
    pub(super) fn of_two_groups([first, second]: [String; 2]) -> Self {
        Self::TwoTimeBases { first: format!("`{first}`"), second: format!("`{second}`") }
    }
}

/// What to write for each column so that it is the only one meant.
pub(crate) fn addresses(table: &dyn Table) -> Vec<String> {
    let columns = table.columns();
    let mut counts: HashMap<&str, usize> = HashMap::new();
    columns.iter().for_each(|column| *counts.entry(&column.name).or_default() += 1);
    let mut groups: HashMap<usize, String> = HashMap::new();
    let address = |column: &Column| {
        let is_alone = counts.get(column.name.as_str()) == Some(&1);
        // Where there are no groups, nothing tells two columns of a name apart.
        if is_alone || table.group(column.group).is_empty() {
            return column.name.clone();
        }
        format!("{}/{}", groups.entry(column.group).or_insert_with(|| table.group(column.group)), column.name)
    };
    columns.iter().map(address).collect()
}

/// What a column is called in messages: in a file of several groups with its group in front, because those of one setup must be of one.
pub(crate) fn full_names(table: &dyn Table) -> Vec<String> {
    let columns = table.columns();
    let is_one = columns.iter().all(|column| column.group == 0);
    let mut groups: HashMap<usize, String> = HashMap::new();
    let name = |column: &Column| {
        if is_one {
            return column.name.clone();
        }
        format!("{}/{}", groups.entry(column.group).or_insert_with(|| table.group(column.group)), column.name)
    };
    columns.iter().map(name).collect()
}

/// The same of one column.
pub(crate) fn full_name(table: &dyn Table, column: usize) -> String {
    let columns = table.columns();
    let Some(found) = columns.get(column) else { return String::new() };
    match columns.iter().all(|column| column.group == 0) {
        true => found.name.clone(),
        false => format!("{}/{}", table.group(found.group), found.name),
    }
}

/// The columns that are meant by these names, in their order; `None` for a name that none has. If none is missing, all are of one group and
/// can be read.
pub(crate) fn resolve(table: &mut dyn Table, names: &[&str]) -> Result<Vec<Option<usize>>, TableError> {
    let found: Vec<Vec<usize>> = names.iter().map(|name| candidates(table, name)).collect();
    if found.iter().any(Vec::is_empty) {
        return Ok(found.iter().map(|found| found.first().copied()).collect());
    }
    let group = |column: usize| table.columns()[column].group;
    let mut settled = found.iter().filter_map(|found| match found.as_slice() {
        [only] => Some(group(*only)),
        _ => None,
    });
    let common = settled.next().filter(|first| settled.all(|other| other == *first));
    let mut columns = Vec::with_capacity(names.len());
    for (name, found) in names.iter().zip(&found) {
        let of_common = |column: &&usize| found.len() == 1 || common == Some(group(**column));
        let fitting: Vec<usize> = found.iter().filter(of_common).copied().collect();
        let name = || (*name).to_owned();
        match (fitting.as_slice(), found.as_slice()) {
            ([only], _) => columns.push(*only),
            ([one, other, ..], _) | (_, [one, other, ..]) if group(*one) == group(*other) => {
                let (name, count) = (name(), fitting.len().max(2));
                return Err(TableError::DoubledColumn { name, count });
            }
            _ => {
                let addresses = addresses(table);
                let ways = found.iter().map(|column| format!("`{}`", addresses[*column])).collect();
                return Err(AddressError::Ambiguous { name: name(), ways }.into());
            }
        }
    }
    one_group(table, &columns)?;
    // The format knows best why a column cannot be read.
    let other = |column: &&usize| matches!(table.columns()[**column].kind, Kind::Other(_));
    if let Some(column) = columns.iter().find(other).copied() {
        table.select(&[column])?;
    }
    Ok(columns.into_iter().map(Some).collect())
}

/// All columns that a name can mean.
pub(crate) fn candidates(table: &dyn Table, name: &str) -> Vec<usize> {
    let columns = table.columns();
    let called: Vec<usize> = (0..columns.len()).filter(|column| columns[*column].name == name).collect();
    if !called.is_empty() {
        return called;
    }
    // Names of groups and of columns may hold a slash themselves.
    let in_front = |column: &usize| {
        let group = name.strip_suffix(columns[*column].name.as_str()).and_then(|rest| rest.strip_suffix('/'));
        let number = columns[*column].group + 1;
        group.is_some_and(|group| {
            group == table.group(columns[*column].group) || group == format!("#{number}")
        })
    };
    (0..columns.len()).filter(in_front).collect()
}

fn one_group(table: &mut dyn Table, columns: &[usize]) -> Result<(), TableError> {
    let group = |table: &dyn Table, column: usize| table.columns()[column].group;
    let Some(first) = columns.first().map(|column| group(table, *column)) else { return Ok(()) };
    let Some(second) = columns.iter().map(|column| group(table, *column)).find(|group| *group != first)
    else {
        return Ok(());
    };
    let [first, second] = [first, second].map(|group| describe(table, group, columns));
    Err(AddressError::TwoTimeBases { first, second }.into())
}

/// A group with the columns that are wanted of it, its rows, and its period.
fn describe(table: &mut dyn Table, group: usize, wanted: &[usize]) -> String {
    let columns = table.columns();
    let of_group = wanted.iter().filter(|column| columns[**column].group == group);
    let mut names: Vec<String> = of_group.map(|column| format!("`{}`", columns[*column].name)).collect();
    names.dedup();
    const SHOWN: usize = 4;
    if names.len() > SHOWN {
        let more = names.len() - SHOWN;
        names.truncate(SHOWN);
        names.push(format!("{more} more"));
    }
    let rows = columns.iter().find(|column| column.group == group).and_then(|column| column.rows);
    let mut words = format!("`{}` with {}", table.group(group), names.join(", "));
    if let Some(rows) = rows {
        words += &format!(" ({}{})", crate::plural::plural(rows, "row"), period(table, group));
    }
    words
}

/// How far the times of a group are apart, in words; empty where that is not known.
fn period(table: &mut dyn Table, group: usize) -> String {
    let is_time = |column: &Column| column.group == group && column.is_time;
    let Some(time) = table.columns().iter().position(is_time) else { return String::new() };
    let mut chunk = Chunk::default();
    if table.select(&[time]).is_err() || !table.next(&mut chunk).is_ok_and(|any| any) {
        return String::new();
    }
    let column = &table.columns()[time];
    let (scale, unit) = match column.kind {
        Kind::Time { ns } => (ns as f64 / 1e9, "s"),
        _ => (1.0, column.unit.as_deref().unwrap_or("s")),
    };
    // A description: rounded to a few digits anyway.
    let times: Vec<f64> = match chunk.columns.first() {
        Some((Cells::Integers(times), _)) => times.iter().map(|time| *time as f64 * scale).collect(),
        Some((Cells::Unsigned(times), _)) => times.iter().map(|time| *time as f64 * scale).collect(),
        Some((Cells::Reals(times), _)) => times.clone(),
        _ => return String::new(),
    };
    let mut periods: Vec<f64> =
        times.iter().zip(times.iter().skip(1)).take(PERIOD_ROWS).map(|(one, next)| next - one).collect();
    periods.sort_by(f64::total_cmp);
    match periods.get(periods.len() / 2) {
        // Six significant digits without their zeros.
        Some(&median) if median.is_finite() => {
            let rounded: f64 = format!("{median:.5e}").parse().unwrap_or(median);
            format!(", one every {rounded} {unit}")
        }
        _ => String::new(),
    }
}
