//! The report on the columns of a file. The names of its fields are an interface.

use std::path::Path;

use schemars::JsonSchema;
use serde::Serialize;

use super::doubled::DoubledSurvey;
use super::guess;
use super::profile::{Holds, Profile};
use super::rate::Rate;
use super::shown::decimal;
use super::{delimited, typed};
use crate::trace::table::TableError;
use crate::trace::{Opened, TraceError};

/// The version of the JSON of `cowitness columns`; it changes when a field changes its meaning or goes.
pub const SCHEMA_VERSION: u32 = 1;

/// The JSON Schema of [`Survey`].
#[must_use]
pub fn json_schema() -> schemars::Schema {
    schemars::schema_for!(Survey)
}

/// Why a file cannot be surveyed.
#[derive(Debug, thiserror::Error)]
pub enum ColumnsError {
    /// The text of a trace.
    #[error(transparent)]
    Trace(#[from] TraceError),
    /// A file of typed columns.
    #[error("{path}: {error}; {}", error.advice())]
    Table {
        /// The file.
        path: String,
        /// What is wrong with it.
        #[source]
        error: TableError,
    },
    /// The column that was said to be the time is not there.
    #[error(
        "{path}: there is no column `{name}` to be the time; name one that `cowitness columns` lists, as it lists it"
    )]
    NoTime {
        /// The file.
        path: String,
        /// The name that was given.
        name: String,
    },
    /// The column that was said to be the time cannot be it.
    #[error("{path}: column `{name}` cannot be the time of the rows: {why}")]
    NoTimes {
        /// The file.
        path: String,
        /// The name that was given.
        name: String,
        /// What is wrong with the column, and what to do.
        why: String,
    },
}

/// What a file holds. Numbers are texts: those of the file, where it is text; times are decimals in the unit of their column.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Survey {
    /// The version of this format.
    pub schema: u32,
    /// The file.
    pub path: String,
    /// Its format, in words.
    pub format: String,
    /// Columns with the same rows; one group, unless the format has several.
    pub groups: Vec<GroupSurvey>,
}

/// Columns with the same rows.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct GroupSurvey {
    /// What the group is called, in front of the name of a column too; null where the format has no groups.
    pub group: Option<String>,
    /// Rows, those that are bad left out.
    pub rows: u64,
    /// Rows that are no rows of the table.
    pub bad_rows: u64,
    /// What is wrong with the first of them.
    pub first_bad_row: Option<String>,
    /// Why the group was not read; null: it was.
    pub not_read: Option<String>,
    /// Its columns, in the order of the file.
    pub columns: Vec<ColumnSurvey>,
    /// What is taken for the time of the rows; null: nothing.
    pub time: Option<TimeSurvey>,
    /// Columns of levels that may be the two lines of one input, by their names.
    pub pairs: Vec<PairSurvey>,
    /// Names that several columns have.
    pub doubled: Vec<DoubledSurvey>,
}

/// One column.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ColumnSurvey {
    /// Its name.
    pub name: String,
    /// What to write for it in a setup.
    pub address: String,
    /// Its unit: of the file, of the row of units, or in brackets at the end of its name.
    pub unit: Option<String>,
    /// What it holds.
    pub holds: HoldsReport,
    /// What the file says of a column that is not read.
    pub what: Option<String>,
    /// Whether all its numbers are whole.
    pub whole: bool,
    /// The first cell with something in it.
    pub first: Option<String>,
    /// The last one.
    pub last: Option<String>,
    /// The smallest number.
    pub smallest: Option<String>,
    /// The largest number.
    pub largest: Option<String>,
    /// Cells with nothing in them.
    pub empty: u64,
    /// Cells that are neither a finite number nor a level.
    pub odd: u64,
    /// The first of them.
    pub first_odd: Option<Place>,
    /// How often a cell is another than the one before.
    pub changes: u64,
}

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum HoldsReport {
    /// No cell has anything in it, or there is no row.
    Empty,
    /// 0 and 1, or words for them.
    Level,
    /// Whole numbers.
    Whole,
    /// Decimal numbers.
    Decimal,
    /// Floating-point numbers.
    Float,
    /// Times that the file marks as such, in s.
    Time,
    /// Numbers or levels, and something else.
    Mixed,
    /// Text.
    Text,
    /// What is not read.
    Other,
}

/// A cell.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Place {
    /// The row of data, from 1.
    pub row: u64,
    /// What it holds.
    pub text: String,
}

/// How the times of the rows are spread.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct TimeSurvey {
    /// What to write for the column in a setup.
    pub column: String,
    /// Why it is taken for the time: `file`, `name`, `values` or `given`.
    pub by: String,
    /// The unit of everything here; null where nothing says it.
    pub unit: Option<String>,
    /// The first time.
    pub first: String,
    /// The last time.
    pub last: String,
    /// From the first to the last.
    pub span: String,
    /// The median of the periods that lead forward; null where there is none.
    pub median: Option<String>,
    /// How far off the median may be; null: it is exact.
    pub median_within: Option<String>,
    /// The shortest of them.
    pub smallest: Option<String>,
    /// The longest of them.
    pub largest: Option<String>,
    /// Periods of more than three medians.
    pub gaps: u64,
    /// The first of these.
    pub first_gaps: Vec<Gap>,
    /// Rows whose time is not after the one before.
    pub back: u64,
    /// The first of them.
    pub first_back: Option<Place>,
}

/// A long period.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Gap {
    /// The row in front of it, from 1.
    pub row: u64,
    /// The time of that row.
    pub at: String,
    /// Its length.
    pub length: String,
}

/// Two columns of levels.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct PairSurvey {
    /// The name of the first.
    pub first: String,
    /// The name of the second.
    pub second: String,
    /// Rows in which they are the same.
    pub same: u64,
    /// Rows in which they are not.
    pub different: u64,
}

/// Reads a file from its beginning to its end. `time` is the name of the column that is its time, where the user says it.
///
/// # Errors
/// A [`ColumnsError`] when the file cannot be read, or is none of a known format.
pub fn survey(path: &Path, time: Option<&str>) -> Result<Survey, ColumnsError> {
    let name = path.to_string_lossy().into_owned();
    let in_table = |error| ColumnsError::Table { path: name.clone(), error };
    let survey = match Opened::open(path)? {
        Opened::Table { mut table, .. } => typed::survey(&name, table.as_mut(), time).map_err(in_table)?,
        Opened::Text(input) => delimited::survey(input, time)?,
    };
    let no_time = survey.groups.iter().all(|group| group.time.as_ref().is_none_or(|time| time.by != "given"));
    match time {
        Some(time) if no_time => {
            let given = survey.groups.iter().find_map(|group| Some((group, group.column(time)?)));
            let (path, name) = (name, time.to_owned());
            Err(match given {
                None => ColumnsError::NoTime { path, name },
                Some((group, column)) => {
                    ColumnsError::NoTimes { path, name, why: column.no_times(group.rows) }
                }
            })
        }
        _ => Ok(survey),
    }
}

impl GroupSurvey {
    fn column(&self, name: &str) -> Option<&ColumnSurvey> {
        self.columns.iter().find(|column| column.name == name || column.address == name)
    }
}

impl ColumnSurvey {
    /// The report on a column out of what its cells came to.
    pub(super) fn new(name: &str, unit: Option<&str>, profile: Profile) -> Self {
        let holds = match profile.holds() {
            Holds::Nothing => HoldsReport::Empty,
            Holds::Levels => HoldsReport::Level,
            Holds::Whole => HoldsReport::Whole,
            Holds::Numbers => HoldsReport::Decimal,
            Holds::Mixed => HoldsReport::Mixed,
            Holds::Text => HoldsReport::Text,
        };
        let owned = |text: Option<&str>| text.map(str::to_owned);
        Self {
            name: name.to_owned(),
            address: name.to_owned(),
            unit: owned(unit.filter(|unit| !unit.is_empty()).or_else(|| guess::unit_in(name))),
            holds,
            what: None,
            whole: profile.all_whole(),
            first: owned(profile.first()),
            last: owned(profile.last()),
            smallest: owned(profile.smallest()),
            largest: owned(profile.largest()),
            empty: profile.empty,
            odd: profile.texts,
            changes: profile.changes,
            first_odd: profile.first_text.map(|odd| Place { row: odd.row, text: odd.text }),
        }
    }

    /// Why it can be no column of times, and what to do.
    pub(super) fn no_times(&self, rows: u64) -> String {
        const WRITE: &str =
            "a time is a number of s, ms, us or ns: write it so, or name another column with --time";
        let first = self.first_odd.as_ref();
        let first =
            first.map_or_else(String::new, |odd| format!(", first {:?} in row {}", odd.text, odd.row));
        match self.holds {
            HoldsReport::Empty if rows == 0 => {
                "there is no row of data; record it again, or check what writes it".to_owned()
            }
            HoldsReport::Empty => "all its cells are empty; name another column with --time".to_owned(),
            HoldsReport::Text => format!("it holds text{first}; {WRITE}"),
            HoldsReport::Mixed => format!("not all its cells are numbers{first}; {WRITE}"),
            HoldsReport::Other => {
                format!("it holds {}; {WRITE}", self.what.as_deref().unwrap_or("what is not read"))
            }
            _ => format!("no number in it can be a time; {WRITE}"),
        }
    }

    /// Whether it can be a column of times.
    pub(super) const fn is_numbers(&self) -> bool {
        matches!(
            self.holds,
            HoldsReport::Whole
                | HoldsReport::Decimal
                | HoldsReport::Float
                | HoldsReport::Time
                | HoldsReport::Level
        )
    }
}

impl TimeSurvey {
    /// The report on a column of times; `None` where there is no time.
    pub(super) fn new(column: String, by: &str, unit: Option<String>, rate: &Rate) -> Option<Self> {
        let (first, last) = (rate.first()?, rate.last()?);
        let periods = rate.periods();
        let shown =
            |of: fn(&super::rate::Periods) -> i128| periods.as_ref().map(|periods| decimal(of(periods)));
        let gap = |gap: &super::rate::Gap| Gap {
            row: gap.behind.row,
            at: decimal(gap.behind.time),
            length: decimal(gap.length),
        };
        let (back, first_back) = rate.back();
        Some(Self {
            column,
            by: by.to_owned(),
            unit,
            first: decimal(first.time),
            last: decimal(last.time),
            span: decimal(last.time - first.time),
            median: shown(|periods| periods.median),
            median_within: shown(|periods| periods.coarse).filter(|within| within != "0"),
            smallest: shown(|periods| periods.smallest),
            largest: shown(|periods| periods.largest),
            gaps: periods.as_ref().map_or(0, |periods| periods.gaps),
            first_gaps: periods.iter().flat_map(|periods| &periods.first_gaps).map(gap).collect(),
            back,
            first_back: first_back.map(|at| Place { row: at.row, text: decimal(at.time) }),
        })
    }
}

/// Times of a column that may be the one of the rows.
pub(super) struct Candidate {
    pub(super) column: usize,
    pub(super) by: &'static str,
    pub(super) rate: Rate,
}

/// How many columns are followed as if they were the time.
const MOST_CANDIDATES: usize = 4;

/// The columns that may be the time of the rows, the likeliest first.
pub(super) fn candidates(names: &[&str], by_file: Option<usize>, given: Option<usize>) -> Vec<Candidate> {
    let new = |column, by| Candidate { column, by, rate: Rate::default() };
    if let Some(column) = given {
        return vec![new(column, "given")];
    }
    let by_name = times_by_name(names).into_iter();
    let mut found: Vec<Candidate> = by_file.into_iter().map(|column| new(column, "file")).collect();
    found.extend(by_name.map(|column| new(column, "name")).take(MOST_CANDIDATES));
    if !names.is_empty() && found.iter().all(|one| one.column != 0) {
        found.push(new(0, "values"));
    }
    found
}

/// The columns that are called like times.
pub(crate) fn times_by_name(names: &[&str]) -> Vec<usize> {
    (0..names.len()).filter(|column| guess::is_time_name(names[*column])).collect()
}

/// The time of the rows among the candidates: the first of numbers; one that only its values speak for must increase from row to row.
pub(super) fn chosen(candidates: Vec<Candidate>, columns: &[ColumnSurvey]) -> Option<TimeSurvey> {
    let fits = |one: &Candidate| {
        let column = &columns[one.column];
        let increases = one.rate.back().0 == 0 && one.rate.periods().is_some() && column.empty == 0;
        column.is_numbers() && (one.by != "values" || (increases && column.holds != HoldsReport::Level))
    };
    let one = candidates.into_iter().find(fits)?;
    let column = &columns[one.column];
    let unit =
        column.unit.as_deref().and_then(guess::time_unit).or_else(|| guess::time_unit_in(&column.name));
    TimeSurvey::new(column.address.clone(), one.by, unit.map(str::to_owned), &one.rate)
}

/// Rows in which two levels are the same, and not.
pub(super) struct Pair {
    pub(super) columns: [usize; 2],
    pub(super) same: u64,
    pub(super) different: u64,
}

/// Pairs by their names.
pub(super) fn pairs(names: &[&str]) -> Vec<Pair> {
    guess::pairs(names).into_iter().map(|columns| Pair { columns, same: 0, different: 0 }).collect()
}

impl Pair {
    /// Takes the levels of a row.
    pub(super) fn add(&mut self, levels: [Option<bool>; 2]) {
        if let [Some(first), Some(second)] = levels {
            self.same += u64::from(first == second);
            self.different += u64::from(first != second);
        }
    }

    /// The report, if both are levels.
    pub(super) fn report(&self, columns: &[ColumnSurvey]) -> Option<PairSurvey> {
        let [first, second] = self.columns.map(|column| &columns[column]);
        let levels = first.holds == HoldsReport::Level && second.holds == HoldsReport::Level;
        levels.then(|| PairSurvey {
            first: first.name.clone(),
            second: second.name.clone(),
            same: self.same,
            different: self.different,
        })
    }
}
