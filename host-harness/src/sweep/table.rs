//! The results of a sweep for a person: a table of at most 80 columns.

use unicode_width::UnicodeWidthStr;

use super::report::{All, CountsReport, PointReport, SweepReport};
use crate::decimal::{Rounding, parse_number, round_scaled};
use crate::report::{CAUTION, Exact, Seconds};

/// The widest line.
const WIDTH: usize = 80;
/// The most rows; of more points only those on the front are shown, and the first of these.
const ROWS: usize = 100;
/// The most reasons of refused points.
const REASONS: usize = 20;
/// The most points that are named with a reason.
const VALUES: usize = 4;

/// A column of the table.
struct Column {
    heads: [String; 2],
    cells: Vec<String>,
    /// Columns with a higher number go first where the room is short; zero never goes.
    goes: u8,
}

impl Column {
    fn width(&self) -> usize {
        self.cells.iter().chain(&self.heads).map(|cell| cell.width()).max().unwrap_or(0)
    }
}

/// A whole number of thousandths.
fn decimal(thousandths: i128) -> String {
    let (sign, size) = (if thousandths < 0 { "-" } else { "" }, thousandths.unsigned_abs());
    format!("{sign}{}.{:03}", size / 1000, size % 1000)
}

/// A time in ms, rounded up to the next 1/1000 of it: a reaction is not shown as shorter than it is.
fn millis(time: Seconds) -> String {
    decimal(time.0.div_euclid(1000) + i128::from(time.0.rem_euclid(1000) > 0))
}

/// A value with three decimals, rounded up.
fn thousandths(value: &Exact) -> String {
    let exact = parse_number(&value.to_string()).ok();
    let rounded = exact.and_then(|exact| round_scaled(&exact, 1000, Rounding::Up));
    rounded.map_or_else(|| value.to_string(), decimal)
}

fn columns(report: &SweepReport, shown: &[&PointReport]) -> Vec<Column> {
    fn figure(shown: &[&PointReport], of: impl Fn(&All) -> Option<String>) -> Vec<String> {
        let text = |point: &&PointReport| match &point.all {
            Some(all) => of(all).unwrap_or_else(|| "-".to_owned()),
            None => String::new(),
        };
        shown.iter().map(text).collect()
    }
    let column = |goes, heads: [&str; 2], cells| Column { heads: heads.map(str::to_owned), cells, goes };
    let counted = |of: fn(&CountsReport) -> u64| {
        figure(shown, move |all| all.counts.as_ref().map(|counts| of(counts).to_string()))
    };
    let mark = |point: &&PointReport| {
        let front = if point.is_on_front == Some(true) { "*" } else { " " };
        format!("{front}{}", if point.is_as_written { "=" } else { " " })
    };
    let mut columns = vec![column(0, ["", ""], shown.iter().map(mark).collect())];
    for (place, setting) in report.settings.iter().enumerate() {
        let name =
            if report.settings.len() == 1 { "value".to_owned() } else { format!("value {}", place + 1) };
        let cells = shown.iter().map(|point| point.values[place].clone()).collect();
        let _ = setting;
        columns.push(Column { heads: [name, String::new()], cells, goes: 0 });
    }
    let latest = |all: &All| match &all.counts {
        Some(counts) if counts.missed_trips > 0 => Some("never".to_owned()),
        _ => all.latest_s.map(millis),
    };
    let unit = &report.setup.unit;
    columns.push(column(1, ["trips", ""], figure(shown, |all| Some(all.trips.to_string()))));
    columns.push(column(0, ["nuisance", "trips"], counted(|counts| counts.nuisance_trips)));
    columns.push(column(0, ["missed", "trips"], counted(|counts| counts.missed_trips)));
    let faults = |all: &All| {
        let unexpected = all.counts.as_ref().map(|counts| counts.nuisance_faults + counts.missed_faults);
        Some(unexpected.map_or_else(|| all.faults.to_string(), |wrong| format!("{}/{wrong}", all.faults)))
    };
    columns.push(column(2, ["faults", "/wrong"], figure(shown, faults)));
    columns.push(column(3, ["permit", "lost"], figure(shown, |all| Some(all.permit_losses.to_string()))));
    columns.push(column(0, ["reaction", "ms"], figure(shown, |all| all.reaction_s.map(millis))));
    columns.push(column(0, ["travel", unit], figure(shown, |all| all.travel.as_ref().map(thousandths))));
    columns.push(column(0, ["latest", "ms"], figure(shown, latest)));
    columns
}

/// The columns that have something to say, as many as there is room for; behind the marks and the values at least one.
fn fitted(columns: Vec<Column>, values: usize) -> Vec<Column> {
    let has_figures = |column: &Column| column.cells.iter().any(|cell| !matches!(cell.as_str(), "" | "-"));
    let columns = columns.into_iter().enumerate();
    let mut columns: Vec<Column> = columns
        .filter(|(place, column)| *place <= values + 1 || has_figures(column))
        .map(|(_, column)| column)
        .collect();
    let width = |columns: &[Column]| columns.iter().map(|column| column.width() + 2).sum::<usize>() - 2;
    while width(&columns) > WIDTH
        && let Some(goes) =
            (0..columns.len()).filter(|&i| columns[i].goes > 0).max_by_key(|&i| columns[i].goes)
    {
        columns.remove(goes);
    }
    columns
}

/// The table with what it is of above, and below it the reasons of refused points and what its signs mean.
#[must_use]
pub fn table(report: &SweepReport) -> String {
    let refused = report.refused();
    let number = |count: usize, what: &str| format!("{count} {what}{}", if count == 1 { "" } else { "s" });
    let mut out = number(report.points.len(), "point") + " over " + &number(report.traces.len(), "trace");
    if refused > 0 {
        out += &format!(", {refused} refused by the setup");
    }
    out += "\n";
    for (place, setting) in report.settings.iter().enumerate() {
        let number =
            if report.settings.len() == 1 { "value".to_owned() } else { format!("value {}", place + 1) };
        let written = setting.written.as_deref().unwrap_or("left out");
        out += &(wrapped(&format!("  {number}: {} ({written} in the setup)", setting.setting)) + "\n");
    }
    let is_judged = report.traces.iter().all(|trace| trace.is_judged);
    let is_long = report.points.len() > ROWS;
    let mut shown: Vec<&PointReport> = (report.points.iter())
        .filter(|point| !is_long || !is_judged || point.is_on_front == Some(true) || point.is_as_written)
        .collect();
    shown.truncate(ROWS);
    let columns = fitted(columns(report, &shown), report.settings.len());
    out += "\n";
    let widths: Vec<usize> = columns.iter().map(Column::width).collect();
    let values = report.settings.len();
    let mut row = |cells: Vec<&str>| {
        let cells = cells.iter().zip(&widths).enumerate().map(|(place, (cell, width))| {
            let blank = " ".repeat(width.saturating_sub(cell.width()));
            // Marks and values begin at the left, figures end at the right.
            if place <= values { format!("{cell}{blank}") } else { format!("{blank}{cell}") }
        });
        out += cells.collect::<Vec<_>>().join("  ").trim_end();
        out += "\n";
    };
    for line in 0..2 {
        row(columns.iter().map(|column| column.heads[line].as_str()).collect());
    }
    for (place, point) in shown.iter().enumerate() {
        let mut cells: Vec<&str> = columns.iter().map(|column| column.cells[place].as_str()).collect();
        if point.refused.is_some() {
            cells.truncate(values + 1);
            cells.push("refused");
        }
        row(cells);
    }
    out += &legend(report, is_judged, is_long, refused);
    out
}

fn legend(report: &SweepReport, is_judged: bool, is_long: bool, refused: usize) -> String {
    let mut lines = Vec::new();
    if is_long {
        let which =
            if is_judged { "Only points on the front and the setup as written" } else { "Not all points" };
        lines.push(format!("{which} are shown, {ROWS} at most: see --csv."));
    }
    if refused > 0 {
        lines.push("Refused by the setup:".to_owned());
        let reasons = reasons(report);
        lines.extend(reasons.iter().take(REASONS).map(|(values, why)| {
            let more = values.len().saturating_sub(VALUES);
            let more = if more > 0 { format!(" and {more} more") } else { String::new() };
            let values: Vec<String> =
                values.iter().take(VALUES).map(|values| values.join(" with ")).collect();
            format!("  {}{more}: {why}", values.join(", "))
        }));
        if reasons.len() > REASONS {
            lines.push(format!("  and for {} more reasons, which --csv has", reasons.len() - REASONS));
        }
    }
    lines.push(if is_judged {
        "* no other point is as good in all of nuisances, misses, reaction, travel and latest, and better in one; \
         = as written. Wrong faults are unexpected or missed."
            .to_owned()
    } else {
        "= as written. Without expectations trips are only counted, and no point is marked as better: see --expected."
            .to_owned()
    });
    lines.push(format!(
        "Reaction until the torque goes and travel until the axis stands, where the setup says enough: worst case, of {}.",
        report.reaction_of.join(", ")
    ));
    if report.reaction_of == ["discrepancy"] {
        lines.push("Travel is here how far apart the two sources can be when the torque goes.".to_owned());
    }
    if is_judged {
        let latest =
            "Latest: the longest from the `from` of an expected trip of the same to the trip, as observed.";
        lines.push(latest.to_owned());
    }
    lines.push(report.note.clone());
    lines.push(CAUTION.to_owned());
    let mut out = String::new();
    for line in lines {
        out += "\n";
        out += &wrapped(&line);
    }
    out + "\n"
}

/// Why points are refused, each reason with all of them.
fn reasons(report: &SweepReport) -> Vec<(Vec<&[String]>, &str)> {
    let mut reasons: Vec<(Vec<&[String]>, &str)> = Vec::new();
    for point in &report.points {
        let Some(why) = point.refused.as_deref() else { continue };
        match reasons.iter_mut().find(|(_, known)| *known == why) {
            Some((values, _)) => values.push(&point.values),
            None => reasons.push((vec![&point.values], why)),
        }
    }
    reasons
}

/// A text in lines of at most [`WIDTH`] columns; what was indented stays so.
fn wrapped(text: &str) -> String {
    let indent = text.len() - text.trim_start().len();
    let mut out = String::new();
    let mut used = 0;
    for word in text.split_whitespace() {
        if used > 0 && used + 1 + word.width() > WIDTH {
            out += "\n";
            used = 0;
        }
        let blank = if used > 0 { 1 } else { indent + if out.is_empty() { 0 } else { indent } };
        out += &" ".repeat(blank);
        out += word;
        used += blank + word.width();
    }
    out
}
