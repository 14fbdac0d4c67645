//! The report for people, in lines of 80 columns.

use std::fmt::Write as _;

use super::guess;
use super::shown::{cut, short};
use super::survey::{ColumnSurvey, GroupSurvey, HoldsReport, Survey, TimeSurvey};
use crate::plural::plural;

/// The width of a name; longer ones have a line of their own.
const MOST_NAME: usize = 20;
/// The width of a unit.
const MOST_UNIT: usize = 6;
/// The width of a kind.
const KIND: usize = 7;
/// The width of a figure.
const FIGURE: usize = 10;
/// The width of everything.
const LINE: usize = 80;

/// What a file holds, as text. Figures that are too long are rounded, which a `~` says.
#[must_use]
pub fn text(survey: &Survey) -> String {
    let mut text = format!("{}\n{}\n", survey.path, survey.format);
    for group in &survey.groups {
        write_group(&mut text, group);
    }
    text
}

/// Writing to a text does not fail.
macro_rules! put {
    ($text:expr, $($arg:tt)*) => { let _ = writeln!($text, $($arg)*); };
}

fn write_group(text: &mut String, group: &GroupSurvey) {
    text.push('\n');
    if let Some(name) = &group.group {
        put!(text, "group {}", cut(name, LINE - 6));
    }
    put!(text, "{}, {}", plural(group.columns.len(), "column"), plural(group.rows, "row"));
    if let Some(why) = &group.not_read {
        put_wrapped(text, "not read: ", why);
    }
    if group.bad_rows > 0 {
        put!(text, "{} not of the table; the first:", plural(group.bad_rows, "row"));
        put_wrapped(text, "  ", group.first_bad_row.as_deref().unwrap_or_default());
    }
    text.push('\n');
    write_columns(text, &group.columns);
    write_odd(text, group);
    match &group.time {
        Some(time) => write_time(text, time),
        None => put_wrapped(text, "\n", &no_time(group)),
    }
}

/// That there is no time, and why a column that is called so is none.
fn no_time(group: &GroupSurvey) -> String {
    let called =
        group.columns.iter().find(|column| guess::is_time_name(&column.name) && !column.is_numbers());
    let why = match called {
        Some(column) if group.rows > 0 => {
            let what = match column.holds {
                HoldsReport::Empty => "is empty",
                HoldsReport::Mixed => "holds numbers and something else",
                HoldsReport::Other => "is not read",
                _ => "holds text",
            };
            format!(" ({} {what})", printable(&column.name))
        }
        _ => String::new(),
    };
    format!("no column looks like the time of the rows{why}: say which one it is with --time NAME")
}

fn write_columns(text: &mut String, columns: &[ColumnSurvey]) {
    let widest = |of: fn(&ColumnSurvey) -> usize, most: usize, least: usize| {
        columns.iter().map(of).filter(|width| *width <= most).max().unwrap_or(0).max(least)
    };
    let name = widest(|column| column.name.chars().count(), MOST_NAME, "column".len());
    let unit =
        widest(|column| column.unit.as_ref().map_or(0, |unit| unit.chars().count()), MOST_UNIT, "unit".len());
    let line = |name_is: &str, unit_is: &str, kind: &str, figures: [&str; 4]| {
        let mut line = format!("{name_is:name$}  {unit_is:unit$}  {kind:KIND$}");
        for figure in figures {
            let _ = write!(line, " {:>FIGURE$}", short(figure, FIGURE));
        }
        line.truncate(line.trim_end().len());
        line
    };
    put!(text, "{}", line("column", "unit", "kind", ["first", "last", "smallest", "largest"]));
    for column in columns {
        let shown = column.unit.as_deref().map_or_else(String::new, |unit| cut(unit, MOST_UNIT));
        let figures = [&column.first, &column.last, &column.smallest, &column.largest];
        let figures = figures.map(|figure| figure.as_deref().unwrap_or_default());
        let own = column.name.chars().count() > name;
        if own {
            put!(text, "{}", cut(&printable(&column.name), LINE));
        }
        let name = if own { String::new() } else { printable(&column.name) };
        put!(text, "{}", line(&name, &shown, word(column), figures));
    }
}

/// Control characters of a name would disturb the lines.
fn printable(name: &str) -> String {
    name.chars().map(|c| if c.is_control() { '?' } else { c }).collect()
}

const fn word(column: &ColumnSurvey) -> &'static str {
    match column.holds {
        HoldsReport::Empty => "empty",
        HoldsReport::Level => "level",
        HoldsReport::Whole => "whole",
        HoldsReport::Decimal => "decimal",
        HoldsReport::Float => "float",
        HoldsReport::Time => "time",
        HoldsReport::Mixed => "mixed",
        HoldsReport::Text => "text",
        HoldsReport::Other => "(below)",
    }
}

/// What cannot be told in the table.
fn write_odd(text: &mut String, group: &GroupSurvey) {
    let mut notes = Vec::new();
    for doubled in &group.doubled {
        notes.push(format!("{}: {}", printable(&doubled.name), doubled.in_words()));
    }
    for column in &group.columns {
        let name = printable(&column.name);
        if let (Some(what), None) = (&column.what, &group.not_read) {
            notes.push(format!("{name}: {what}; it is not read"));
        }
        if column.empty > 0 {
            notes.push(format!("{name}: {} of {} empty", column.empty, plural(group.rows, "cell")));
        }
        if let (HoldsReport::Mixed | HoldsReport::Float, Some(odd)) = (column.holds, &column.first_odd) {
            let (count, is) = (plural(column.odd, "cell"), if column.odd == 1 { "is" } else { "are" });
            notes.push(format!("{name}: {count} {is} no number, first in row {}: {:?}", odd.row, odd.text));
        }
        if column.address != column.name {
            notes.push(format!("{name}: in a setup write {:?}", column.address));
        }
    }
    /// Beyond, it would be a second table.
    const MOST_NOTES: usize = 40;
    if !notes.is_empty() {
        text.push('\n');
    }
    for note in notes.iter().take(MOST_NOTES) {
        put_wrapped(text, "", note);
    }
    if notes.len() > MOST_NOTES {
        put_wrapped(text, "", &format!("... and {} more of these; --json has all", notes.len() - MOST_NOTES));
    }
}

fn write_time(text: &mut String, time: &TimeSurvey) {
    let why = match time.by.as_str() {
        "file" => "as the file says",
        "name" => "by its name",
        "given" => "as told",
        _ => "by its values: the first column, and it increases",
    };
    let unit = time.unit.as_deref().map_or_else(String::new, |unit| format!(" {unit}"));
    put!(text, "");
    let named = printable(&time.column);
    let unknown = if time.unit.is_none() { "; its unit is not known" } else { "" };
    put_wrapped(text, "", &format!("time of the rows: {named}, {why}{unknown}"));
    put!(text, "  from {}{unit} to {}{unit}: {}{unit}", time.first, time.last, time.span);
    if let (Some(median), Some(smallest), Some(largest)) = (&time.median, &time.smallest, &time.largest) {
        let within =
            time.median_within.as_ref().map_or_else(String::new, |within| format!(" (within {within})"));
        let rate = per_second(median, time.unit.as_deref());
        put_wrapped(
            text,
            "  ",
            &format!(
                "period: median {median}{unit}{within}{rate}, smallest {smallest}{unit}, largest {largest}{unit}"
            ),
        );
        put!(text, "  gaps, of more than 3 medians: {}", time.gaps);
        for gap in &time.first_gaps {
            put!(text, "    behind row {}, at {}{unit}: {}{unit}", gap.row, gap.at, gap.length);
        }
        if time.gaps > time.first_gaps.len() as u64 {
            put!(text, "    ...");
        }
    }
    if let Some(first) = &time.first_back {
        let what = format!(
            "{} not after the row before, first row {} at {}{unit}: a replay refuses that",
            plural(time.back, "time"),
            first.row,
            first.text
        );
        put_wrapped(text, "  ", &what);
    }
}

/// How many rows a second a period is, rounded, where it is a time.
fn per_second(median: &str, unit: Option<&str>) -> String {
    let in_seconds = match unit {
        Some("s") => 1.0,
        Some("ms") => 1e-3,
        Some("us") => 1e-6,
        Some("ns") => 1e-9,
        _ => return String::new(),
    };
    // For the eye only.
    let rate = median.parse::<f64>().map_or(0.0, |median| 1.0 / (median * in_seconds));
    let rounded: f64 = format!("{rate:.4e}").parse().unwrap_or(rate);
    format!(" ({rounded} rows a second)")
}

/// Puts words on as many lines as they need, the later ones indented.
fn put_wrapped(text: &mut String, before: &str, words: &str) {
    let mut line = before.to_owned();
    let indent = " ".repeat(before.trim_start_matches('\n').chars().count() + 2);
    let mut empty = true;
    for word in words.split_whitespace() {
        let width = line.trim_start_matches('\n').chars().count() + 1 + word.chars().count();
        if !empty && width > LINE {
            put!(text, "{line}");
            line.clone_from(&indent);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    put!(text, "{line}");
}
