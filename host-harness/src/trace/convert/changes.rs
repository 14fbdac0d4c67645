//! What a new file does not have as the old one had it, though every value is kept: a line for each kind of change.

use super::super::layout::TimeUnit;
use super::super::table::{Kind, Stored};
use super::{COMMENT, Described, Target, UNIT, WRITTEN};

/// So many columns are named in a line.
const NAMED: usize = 3;
/// The note of a schema that is made anew.
const ARROW_SCHEMA: &str = "ARROW:schema";

/// All changes, in the order of the first column that each concerns; the notes of the old file that are not written last.
pub(super) fn changes(target: Target, columns: &[Described], notes: &[(String, String)]) -> Vec<String> {
    let mut found: Vec<(String, Vec<&str>)> = Vec::new();
    for column in columns {
        let Some(change) = change(target, column) else { continue };
        let name = column.column.name.as_str();
        match found.iter_mut().find(|(other, _)| *other == change) {
            Some((_, names)) => names.push(name),
            None => found.push((change, vec![name])),
        }
    }
    let mut lines: Vec<String> =
        found.into_iter().map(|(change, names)| format!("{}: {change}", named(&names))).collect();
    let is_kept = |key: &str| {
        key == COMMENT || key == ARROW_SCHEMA || key.starts_with(WRITTEN) || key.starts_with(UNIT)
    };
    let lost: Vec<&str> = notes.iter().map(|(key, _)| key.as_str()).filter(|key| !is_kept(key)).collect();
    if !lost.is_empty() {
        lines.push(format!("notes of the file that are not written: {}", quoted(&lost)));
    }
    lines
}

fn named(names: &[&str]) -> String {
    match names {
        [one] => format!("column `{one}`"),
        names => format!("{} columns, {}", names.len(), quoted(names)),
    }
}

/// Some names in back quotes, and how many more there are.
pub(super) fn quoted(names: &[&str]) -> String {
    let mut words: Vec<String> = names.iter().take(NAMED).map(|name| format!("`{name}`")).collect();
    if names.len() > NAMED {
        words.push(format!("and {} more", names.len() - NAMED));
    }
    words.join(", ")
}

/// What becomes of a column that the new file has no type for.
fn change(target: Target, described: &Described) -> Option<String> {
    let Kind::Time { ns } = described.column.kind else { return None };
    let unit = described.written.map_or(TimeUnit::Seconds, |(unit, _)| unit);
    match (target, &described.stored) {
        (Target::Csv, Stored::Stamp { zone: Some(zone) }) => Some(format!(
            "points in time (time zone {zone}) -> numbers of {unit} since 1970 in UTC: a text has no types"
        )),
        (Target::Csv, Stored::Stamp { zone: None }) => Some(format!(
            "points in time without a time zone -> numbers of {unit} since 1970: a text has no types"
        )),
        (Target::Csv, Stored::Clock) => {
            Some(format!("times of day -> numbers of {unit} since midnight: a text has no types"))
        }
        (Target::Parquet | Target::Arrow, Stored::Clock) => {
            Some("times of day -> durations since midnight".to_owned())
        }
        // Of the units of time, Parquet has all but this one.
        (Target::Parquet, Stored::Stamp { .. }) if ns == 1_000_000_000 => {
            Some("points in time in s -> points in time in ms: Parquet has no s".to_owned())
        }
        _ => None,
    }
}
