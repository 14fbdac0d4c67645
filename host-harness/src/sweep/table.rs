//! The results of a sweep for a person: a table of at most 80 columns.

use unicode_width::UnicodeWidthStr;

use super::report::{All, CountsReport, PointReport, SweepReport};
use crate::decimal::{Rounding, parse_number, round_scaled};
use crate::plural::plural;
use crate::report::{Exact, Seconds};

/// The widest line.
const WIDTH: usize = 80;
/// The most rows; of more points only those on the front are shown, and the first of these.
const ROWS: usize = 100;
/// The most reasons of refused points.
const REASONS: usize = 20;
/// What stands below the table, of all that is said in `--help`.
const SHORT_NOTE: &str = "Few nuisance trips recommend nothing: limits come from the risk assessment.";
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
    columns.push(column(5, ["trips", ""], figure(shown, |all| Some(all.trips.to_string()))));
    columns.push(column(0, ["nuisance", "trips"], counted(|counts| counts.nuisance_trips)));
    columns.push(column(0, ["missed", "trips"], counted(|counts| counts.missed_trips)));
    let faults = |all: &All| {
        let unexpected = all.counts.as_ref().map(|counts| counts.nuisance_faults + counts.missed_faults);
        Some(unexpected.map_or_else(|| all.faults.to_string(), |wrong| format!("{}/{wrong}", all.faults)))
    };
    columns.push(column(6, ["faults", "/wrong"], figure(shown, faults)));
    columns.push(column(7, ["permit", "lost"], figure(shown, |all| Some(all.permit_losses.to_string()))));
    for one in costs(report) {
        columns.push(column(one.goes, one.heads, figure(shown, one.of)));
    }
    columns.push(column(0, ["latest", "ms"], figure(shown, latest)));
    columns
}

/// A figure of the worst case with a column of its own.
struct CostColumn<'r> {
    heads: [&'r str; 2],
    /// What it is, for the legend.
    meaning: String,
    of: fn(&All) -> Option<String>,
    /// As of a [`Column`].
    goes: u8,
    /// It is shown even where no two points differ in it.
    always: bool,
}

/// What a reaction costs, as far as it is known: the reaction and the travel, of the position discrepancy alone instead of that how far
/// sources get apart, and of the rest what differs between points.
fn costs(report: &SweepReport) -> Vec<CostColumn<'_>> {
    let unit = report.setup.unit.as_str();
    let is_apart = report.reaction_of == ["discrepancy"];
    let there_is = report.approach_distance.as_ref();
    let there_is = there_is.map_or(String::new(), |distance| format!(", of {distance} that there are"));
    let column = |goes, always, heads, meaning: &str, of| CostColumn {
        heads,
        meaning: meaning.to_owned(),
        of,
        goes,
        always,
    };
    let all = [
        column(0, true, ["reaction", "ms"], "reaction until the torque goes", |all| {
            all.reaction_s.map(millis)
        }),
        column(1, !is_apart, ["travel", unit], "travel until the axis stands", |all| {
            all.travel.as_ref().map(thousandths)
        }),
        column(3, false, ["demand", unit], "demand: travel from a demand until it stands", |all| {
            all.travel_from_demand.as_ref().map(thousandths)
        }),
        column(
            2,
            is_apart,
            ["apart", unit],
            "apart: how far the two sources can be when the torque goes",
            |all| all.apart.as_ref().map(thousandths),
        ),
        column(
            4,
            false,
            ["distance", "mm"],
            &format!("distance: what the approach needs after ISO 13855{there_is}"),
            |all| all.distance_mm.as_ref().map(thousandths),
        ),
    ];
    let is_wanted = |one: &CostColumn<'_>| {
        let figures: Vec<_> =
            report.points.iter().filter_map(|point| point.all.as_ref()).map(one.of).collect();
        let differs = figures.iter().any(|figure| *figure != figures[0]);
        figures.iter().any(Option::is_some) && (one.always || differs)
    };
    all.into_iter().filter(is_wanted).collect()
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
    let mut out = plural(report.points.len(), "point") + " over " + &plural(report.traces.len(), "trace");
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
    out += &legend(report, &columns, is_long);
    out
}

/// What the columns that are shown mean, after what is not shown and what was refused.
fn legend(report: &SweepReport, columns: &[Column], is_long: bool) -> String {
    let is_judged = report.traces.iter().all(|trace| trace.is_judged);
    let is_shown = |head: &str| columns.iter().any(|column| column.heads[0] == head);
    let mut lines = Vec::new();
    if is_long {
        let which =
            if is_judged { "Only points on the front and the setup as written" } else { "Not all points" };
        lines.push(format!("{which} are shown, {ROWS} at most: see --csv."));
    }
    lines.extend(refusals(report));
    lines.push(if is_judged {
        "* no other point is as good in nuisances, misses and all at the right, and better in one; = as written.".to_owned()
    } else {
        "= as written. Without --expected trips are only counted, and no point is better.".to_owned()
    });
    let (shown, left_out): (Vec<_>, Vec<_>) =
        costs(report).into_iter().partition(|one| is_shown(one.heads[0]));
    let meanings: Vec<String> = shown.into_iter().map(|one| one.meaning).collect();
    if !meanings.is_empty() {
        lines.push(format!("Worst case of {}: {}.", rules(report), meanings.join("; ")));
    }
    if !left_out.is_empty() {
        let names: Vec<&str> = left_out.iter().map(|one| one.heads[0]).collect();
        lines.push(format!("No room here, but in --csv and counted for it: {}.", names.join(", ")));
    }
    if !meanings.is_empty() && !["travel", "demand", "apart"].into_iter().any(is_shown) && left_out.is_empty()
    {
        lines.push(
            "How far the axis travels is not known: `cowitness margins` says what it would take.".to_owned(),
        );
    }
    if report.looser_no_sooner && (is_shown("demand") || is_shown("distance")) {
        lines.push(
            "A looser limit counts there as reached no sooner than a stricter one: the axis may go on at it."
                .to_owned(),
        );
    }
    if is_shown("latest") {
        lines.push("Latest: from the `from` of an expected trip to the trip, as observed.".to_owned());
    }
    lines.push(SHORT_NOTE.to_owned());
    lines.iter().map(|line| format!("\n{}", wrapped(line))).collect::<String>() + "\n"
}

/// The reasons of refused points, a line each.
fn refusals(report: &SweepReport) -> Vec<String> {
    let reasons = reasons(report);
    if reasons.is_empty() {
        return Vec::new();
    }
    let mut lines = vec!["Refused by the setup:".to_owned()];
    lines.extend(reasons.iter().take(REASONS).map(|(values, why)| {
        let more = values.len().saturating_sub(VALUES);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        let values: Vec<String> = values.iter().take(VALUES).map(|values| values.join(" with ")).collect();
        format!("  {}{more}: {why}", values.join(", "))
    }));
    match reasons.len().saturating_sub(REASONS) {
        0 => {}
        1 => lines.push("  and for one more reason, which --csv has".to_owned()),
        more => lines.push(format!("  and for {more} more reasons, which --csv has")),
    }
    lines
}

/// Whose worst case it is; of many how many.
fn rules(report: &SweepReport) -> String {
    const NAMED: usize = 2;
    match report.reaction_of.len() {
        0..=NAMED => {
            report.reaction_of.iter().map(|name| format!("\"{name}\"")).collect::<Vec<_>>().join(" and ")
        }
        many => format!("{many} rules"),
    }
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
