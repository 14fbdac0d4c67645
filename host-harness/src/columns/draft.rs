//! The draft of a setup: what names and values let one guess, marked as guesses, and what they cannot tell, left out.

use std::fmt::Write as _;

use super::guess;
use super::survey::{ColumnSurvey, GroupSurvey, HoldsReport, Survey, TimeSurvey};
use crate::setup::MAX_INPUTS;

const HEAD: &str = "\
# GUESS marks what names and values suggest: check it.
# FILL IN marks what a trace cannot tell: take the # away where there is one and write the value,
# from drawings and data sheets, of the machine as it is.
# No limit stands in here: limits come from the risk assessment of the machine, and times of
# monitors with them. This is an analysis aid, not a certified safety component.
";

const TAIL: &str = "
[speed]
# FILL IN: window = \"...\"   # the time over which a speed is taken: some readings of either channel

# FILL IN: one section [[monitor]] for each safety function, and a section [discrepancy], with the
# limits of the risk assessment; a setup without any watches nothing and is refused
";

/// Writing to a text does not fail.
macro_rules! put {
    ($text:expr, $($arg:tt)*) => { let _ = writeln!($text, $($arg)*); };
}

/// The draft of a setup for a file: TOML that is refused where something is to be filled in, and says so.
#[must_use]
pub fn draft(survey: &Survey) -> String {
    let mut text =
        format!("# Draft of a setup by `cowitness columns` for {}.\n{HEAD}\n", comment(&survey.path));
    let group = most_useful(&survey.groups);
    let Some(group) = group else {
        put!(text, "# the file has no column");
        return text;
    };
    if let Some(name) = &group.group {
        put!(
            text,
            "# all columns are of group {}, because those of one setup must have the same rows",
            comment(name)
        );
    }
    write_doubled(&mut text, group);
    let mut used = Used::default();
    let positions = positions(group);
    put!(text, "title = {}   # GUESS", quoted(&format!("Draft for {}", survey.path)));
    write_unit(&mut text, &positions);
    write_time(&mut text, group.time.as_ref());
    for (letter, position) in ["a", "b"].into_iter().zip([positions.first(), positions.get(1)]) {
        write_channel(&mut text, letter, position.copied(), group);
    }
    used.take(group.time.iter().map(|time| &time.column));
    used.take(positions.iter().map(|column| &column.address));
    used.take(write_inputs(&mut text, group).iter().map(|column| &column.address));
    used.write_rest(&mut text, survey);
    text + TAIL
}

/// A setup cannot name them.
fn write_doubled(text: &mut String, group: &GroupSurvey) {
    for doubled in &group.doubled {
        put!(text, "# FIRST: {}: {}", comment(&quoted(&doubled.name)), doubled.in_words());
    }
}

/// The group with two positions and the most rows, or else the one with the most rows.
fn most_useful(groups: &[GroupSurvey]) -> Option<&GroupSurvey> {
    groups.iter().rev().max_by_key(|group| (positions(group).len().min(2), group.time.is_some(), group.rows))
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// A text as a part of a comment: on its line.
fn comment(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '?' } else { c }).collect()
}

/// The two columns that look most like positions, in the order of the file.
fn positions(group: &GroupSurvey) -> Vec<&ColumnSurvey> {
    let time = group.time.as_ref().map(|time| time.column.as_str());
    let is_length = |column: &ColumnSurvey| match length_of(column) {
        Some(unit) => Some(guess::is_length(unit)),
        None => column.unit.as_deref().map(guess::is_length),
    };
    let likeness = |column: &ColumnSurvey| {
        let numbers = matches!(column.holds, HoldsReport::Whole | HoldsReport::Decimal | HoldsReport::Float);
        let is_time = time == Some(column.address.as_str()) || guess::is_time_name(&column.name);
        // A known unit of anything else: a speed, a torque.
        let other = column.unit.as_deref().is_some_and(|unit| crate::trace::symbol(unit).is_some())
            && is_length(column) == Some(None);
        if !numbers || is_time || other || column.changes == 0 {
            return 0;
        }
        let by_unit = if matches!(is_length(column), Some(Some(_))) { 2 } else { 0 };
        2 * guess::likeness_to_position(&column.name) + by_unit + u32::from(column.whole)
    };
    let mut found: Vec<(usize, u32)> =
        group.columns.iter().map(likeness).enumerate().filter(|(_, likeness)| *likeness > 0).collect();
    found.sort_by_key(|(_, likeness)| std::cmp::Reverse(*likeness));
    found.truncate(2);
    found.sort_unstable_by_key(|(place, _)| *place);
    found.iter().map(|(place, _)| &group.columns[*place]).collect()
}

/// The unit of a length or an angle that the file or its name gives a column.
fn length_of(column: &ColumnSurvey) -> Option<&str> {
    let of_length = |unit: &&str| guess::is_length(unit).is_some();
    column
        .unit
        .as_deref()
        .map_or_else(|| guess::length_behind(&column.name), |unit| Some(unit).filter(of_length))
}

fn write_unit(text: &mut String, positions: &[&ColumnSurvey]) {
    let units: Vec<(&str, bool)> = positions
        .iter()
        .filter_map(|column| length_of(column).and_then(|unit| Some((unit, guess::is_length(unit)?))))
        .collect();
    match units.first() {
        Some((unit, true)) => {
            put_line(text, "unit  = \"mm\"", &format!("GUESS: a column is in {}", comment(unit)))
        }
        Some((unit, false)) => {
            put_line(text, "unit  = \"deg\"", &format!("GUESS: a column is in {}", comment(unit)))
        }
        None => put_line(text, "unit  = \"mm\"", "GUESS: \"mm\" for a linear axis, \"deg\" for a rotary one"),
    }
}

fn put_line(text: &mut String, line: &str, remark: &str) {
    put!(text, "{line}   # {remark}");
}

fn write_time(text: &mut String, time: Option<&TimeSurvey>) {
    put!(text, "\n[time]");
    let Some(time) = time else {
        put!(text, "# FILL IN: column = \"...\"   # no column looks like the time of the rows");
        put!(text, "# FILL IN: unit = \"s\"   # or \"ms\", \"us\", \"ns\"");
        return;
    };
    let why = match time.by.as_str() {
        "file" => "the file says so".to_owned(),
        "given" => "as told".to_owned(),
        "name" => "GUESS by its name".to_owned(),
        _ => "GUESS: the first column, and it increases".to_owned(),
    };
    put_line(text, &format!("column = {}", quoted(&time.column)), &why);
    match &time.unit {
        Some(unit) => put_line(text, &format!("unit = {}", quoted(unit)), "GUESS by the file or the name"),
        None => {
            let median = time.median.as_deref().unwrap_or("?");
            put!(
                text,
                "# FILL IN: unit = \"s\"   # or \"ms\", \"us\", \"ns\": its rows are {median} of it apart"
            );
        }
    }
}

fn write_channel(text: &mut String, letter: &str, column: Option<&ColumnSurvey>, group: &GroupSurvey) {
    put!(text, "\n[channel.{letter}]");
    let Some(column) = column else {
        put!(text, "# FILL IN: column = \"...\"   # no further column looks like a position");
        put!(
            text,
            "# FILL IN: column_unit = \"mm\"   # or, for counts: counter_bits = 32 and unit_per_count = \"...\""
        );
        write_channel_rest(text, group);
        return;
    };
    put_line(
        text,
        &format!("column = {}", quoted(&column.address)),
        "GUESS by its name and values: which source is it?",
    );
    match (length_of(column), column.whole) {
        (Some(unit), _) => {
            let unit = crate::trace::symbol(unit).unwrap_or(unit);
            put_line(text, &format!("column_unit = {}", quoted(unit)), "GUESS by the file or the name");
        }
        (None, true) => {
            write_width(text, column);
            put!(
                text,
                "# FILL IN: unit_per_count = \"...\"   # the travel of one count, negative when it counts the other way"
            );
        }
        (None, false) => {
            put!(
                text,
                "# FILL IN: column_unit = \"mm\"   # the unit of these positions: \"mm\", \"m\", \"deg\"..."
            );
        }
    }
    if column.empty > 0 {
        let why = format!("GUESS: {} of {} cells are empty", column.empty, group.rows);
        put_line(text, "sparse = true", &why);
    }
    write_channel_rest(text, group);
}

fn write_channel_rest(text: &mut String, group: &GroupSurvey) {
    put!(text, "# FILL IN: max_speed = \"...\"   # the fastest that the mechanics can move");
    let period = group.time.as_ref().and_then(|time| Some((time.median.as_deref()?, time.unit.as_deref()?)));
    let rows =
        period.map_or_else(String::new, |(median, unit)| format!("; rows are {median} {unit} apart here"));
    put!(
        text,
        "# FILL IN: timeout = \"...\"   # the longest age of a reading before the channel is faulted{rows}"
    );
}

/// The width of a counter: a guess where its values come near both ends of one, else what they need at the least.
fn write_width(text: &mut String, column: &ColumnSurvey) {
    let whole = |end: &Option<String>| end.as_deref().and_then(|text| text.parse::<i128>().ok());
    let (Some(from), Some(to)) = (whole(&column.smallest), whole(&column.largest)) else {
        put!(text, "# FILL IN: counter_bits = 32   # after how many bits it wraps");
        return;
    };
    let ends = |bits: u32| {
        if from < 0 { (-(1_i128 << (bits - 1)), 1_i128 << (bits - 1)) } else { (0, 1_i128 << bits) }
    };
    let least = (8..=64).find(|bits| (ends(*bits).0..ends(*bits).1).contains(&from) && to < ends(*bits).1);
    let Some(least) = least else {
        put!(text, "# FILL IN: counter_bits = 64   # its values, {from} to {to}, are beyond any counter");
        return;
    };
    let (lowest, highest) = ends(least);
    // A sixteenth of its range from either end: it has wrapped in this trace, or all but.
    let near = (highest - lowest) / 16;
    if from - lowest < near && highest - to < near {
        put_line(
            text,
            &format!("counter_bits = {least}"),
            &format!("GUESS: the values go from {from} to {to}"),
        );
    } else {
        put!(
            text,
            "# FILL IN: counter_bits = 32   # after how many bits it wraps: {least} or more, by {from} to {to}"
        );
    }
}

/// Levels as inputs: two lines where their names say so.
fn write_inputs<'a>(text: &mut String, group: &'a GroupSurvey) -> Vec<&'a ColumnSurvey> {
    let mut written = Vec::new();
    let mut names = Vec::new();
    let time = group.time.as_ref().map(|time| time.column.as_str());
    let levels: Vec<&ColumnSurvey> = (group.columns.iter())
        .filter(|column| column.holds == HoldsReport::Level && time != Some(column.address.as_str()))
        .collect();
    let mut left = Vec::new();
    for column in levels {
        let pair = group.pairs.iter().find(|pair| pair.first == column.name || pair.second == column.name);
        let second = pair.and_then(|pair| group.columns.iter().find(|other| other.name == pair.second));
        if pair.is_some_and(|pair| pair.second == column.name) {
            continue;
        }
        let lower = column.name.to_lowercase();
        let other_use = ["valid", "reset"].into_iter().find(|word| lower.contains(word));
        if other_use.is_some() || names.len() == MAX_INPUTS {
            left.push((column, other_use));
            continue;
        }
        let name = input_name(column, second.is_some(), &names);
        put!(text, "\n[input.{}]", key(&name));
        names.push(name);
        written.push(column);
        written.extend(second);
        match (pair, second) {
            (Some(pair), Some(second)) => {
                let columns = format!("columns = [{}, {}]", quoted(&column.address), quoted(&second.address));
                put_line(text, &columns, "GUESS by their names");
                let (pairing, seen) = if pair.same >= pair.different {
                    ("equivalent", pair.same)
                } else {
                    ("antivalent", pair.different)
                };
                let of = pair.same + pair.different;
                put_line(
                    text,
                    &format!("pairing = \"{pairing}\""),
                    &format!("GUESS: so in {seen} of {of} rows"),
                );
                put!(
                    text,
                    "# FILL IN: discrepancy_time = \"...\"   # how long its two lines may differ while they switch"
                );
            }
            _ => put_line(text, &format!("columns = [{}]", quoted(&column.address)), "GUESS by its values"),
        }
        // Left out, it would be "high": a guard whose contacts open would demand nothing.
        put_line(
            text,
            "demand = \"\"",
            "FILL IN: the level of the first line that demands, \"high\" or \"low\"",
        );
    }
    write_left(text, &left);
    written.extend(left.into_iter().map(|(column, _)| column));
    written
}

fn write_left(text: &mut String, left: &[(&ColumnSurvey, Option<&str>)]) {
    if left.is_empty() {
        return;
    }
    put!(text, "");
    for (column, other_use) in left {
        let name = comment(&quoted(&column.address));
        match other_use {
            Some("valid") => put_line(text, &format!("# {name}"), "GUESS: the `valid_column` of a channel"),
            Some(_) => put_line(text, &format!("# {name}"), "GUESS: the `column` of a section [reset]"),
            None => put_line(
                text,
                &format!("# {name}"),
                &format!("a level more than the {MAX_INPUTS} inputs of a setup"),
            ),
        }
    }
}

/// The columns that a draft has a place for.
#[derive(Default)]
struct Used(std::collections::BTreeSet<String>);

impl Used {
    fn take<'a>(&mut self, addresses: impl Iterator<Item = &'a String>) {
        self.0.extend(addresses.cloned());
    }

    /// Names the others: nobody shall think that they are looked after.
    fn write_rest(&self, text: &mut String, survey: &Survey) {
        /// So many are named.
        const NAMED: usize = 100;
        let all = survey.groups.iter().flat_map(|group| &group.columns);
        let rest: Vec<&str> =
            all.map(|column| column.address.as_str()).filter(|address| !self.0.contains(*address)).collect();
        if rest.is_empty() {
            return;
        }
        put!(text, "\n# Columns of the file that this draft does not use:");
        for name in rest.iter().take(NAMED) {
            put!(text, "#   {}", comment(&quoted(name)));
        }
        if rest.len() > NAMED {
            put!(text, "#   and {} more; `cowitness columns` lists them", rest.len() - NAMED);
        }
    }
}

/// What an input is called: its column, without the number of the line; no other is called so.
fn input_name(column: &ColumnSurvey, paired: bool, taken: &[String]) -> String {
    let mut name = column.name.as_str();
    if paired {
        let stem = name.char_indices().next_back().map_or("", |(last, _)| &name[..last]);
        name = stem.trim_end_matches(|c: char| !c.is_alphanumeric());
    }
    let mut name: String = comment(name);
    // In a demand, `not` in front of a name means the opposite.
    if name.is_empty() || name.split_whitespace().next().is_some_and(|word| word.eq_ignore_ascii_case("not"))
    {
        name = format!("input {name}");
    }
    while taken.contains(&name) {
        name.push('\'');
    }
    name
}

fn key(name: &str) -> String {
    let bare = !name.is_empty() && name.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '_' | '-'));
    if bare { name.to_owned() } else { basic(name) }
}

/// A quoted key: a basic string, because a literal one may not hold every character.
fn basic(name: &str) -> String {
    let escaped: String = name
        .chars()
        .map(|c| if matches!(c, '"' | '\\') { format!("\\{c}") } else { c.to_string() })
        .collect();
    format!("\"{escaped}\"")
}
