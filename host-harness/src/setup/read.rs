//! From the text of a setup to its sections.

use std::ops::Range;
use std::path::Path;

use monitor_core::{Channel, Span};
use toml::de::{DeTable, DeValue};

use super::SetupError;
use super::analogue::Analogues;
use super::check::{self, Parts};
use super::described::Described;
use super::input::Inputs;
use super::model::{
    AxisUnit, ChannelSetup, DiscrepancySetup, Setup, Source, SpeedDiscrepancySetup, SpeedSetup, TimeColumn,
    WarmUp,
};
use super::monitor::Monitors;
use super::reference;
use super::section::{ColumnUse, Entry, Got, Reader, Reported, Role, Section, Text};
use super::value::{OR_ZERO, OR_ZERO_UP, POSITIVE, POSITIVE_UP};
use crate::decimal::Unit;

impl Setup {
    /// Checks the text of a setup file; `path` is what messages call it.
    ///
    /// # Errors
    /// [`SetupError`] with all that could be found wrong, in the order of the file. A text that is not TOML is not
    /// read further, and without a valid `unit` no value can be judged.
    pub fn parse(text: &str, path: impl AsRef<Path>) -> Result<Self, SetupError> {
        let path = path.as_ref().display().to_string();
        document(text, &path, "setup file", |root| read(root, &path))
    }
}

/// Reads a document in the way of a setup: what is wrong with it is told all at once. `what` it should be is for a message.
pub(crate) fn document<T>(
    text: &str,
    path: &str,
    what: &'static str,
    read: impl FnOnce(Section<'_>) -> Got<T>,
) -> Result<T, SetupError> {
    // A byte-order mark is no part of the first line, neither for TOML nor for whoever counts columns.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let reader = Reader::new(text);
    let (table, errors) = DeTable::parse_recoverable(text);
    if errors.is_empty() {
        let root = Section::root(&reader, table.get_ref());
        if let Ok(whole) = read(root) {
            return Ok(whole);
        }
    } else {
        report_syntax(&reader, text, &errors);
    }
    drop(table);
    Err(SetupError::new(path.to_owned(), text.to_owned(), reader.into_diagnostics(), what))
}

/// Reports the first error of each line: what the parser finds later in a line mostly follows from it.
fn report_syntax(reader: &Reader<'_>, text: &str, errors: &[toml::de::Error]) {
    let mut lines = Vec::new();
    for error in errors {
        let span = on_characters(text, error.span().unwrap_or(0..0));
        let line = reader.line_of(&span);
        if lines.contains(&line) {
            continue;
        }
        lines.push(line);
        let message = error.message();
        let way_out = if message.contains("duplicate key") {
            "each key and each section may appear once: keep one of them"
        } else if message.contains("must be quoted") {
            "put texts and values with a unit in quotes, for example \"250 mm/s\""
        } else {
            "a line is a section such as [channel.a] or key = value, with texts and values in quotes: \"250 mm/s\""
        };
        reader.refuse(span, format!("not valid TOML: {message}"), "", way_out);
    }
}

/// The span, moved to character boundaries within the text.
fn on_characters(text: &str, span: Range<usize>) -> Range<usize> {
    let start = text.floor_char_boundary(span.start);
    start..text.ceil_char_boundary(span.end).max(start)
}

fn read(mut root: Section<'_>, path: &str) -> Got<Setup> {
    let reader = root.reader;
    let title = root.name("title", "\"Transfer axis\"").map(|title| title.text.to_owned());
    let unit = root.string("unit", "\"mm\"").and_then(|text| axis_unit(&root, &text));
    let Ok(unit) = unit else {
        for key in [
            "cycle",
            "time",
            "channel",
            "speed",
            "discrepancy",
            "speed_discrepancy",
            "input",
            "reference",
            "reset",
            "analogue",
            "monitor",
        ]
        .into_iter()
        .chain(Described::KEYS)
        {
            root.entry(key);
        }
        root.finish()?;
        return Err(Reported);
    };
    root.axis = unit;
    let cycle = root.optional::<Span>("cycle", POSITIVE_UP);
    let time = root
        .needed_section("time", "[time]", "column = \"time\"")
        .and_then(|section| time(&section).and_finish(section));
    let (a, b) = channels(&root, time.as_ref().ok());
    let speed = root
        .needed_section("speed", "[speed]", "window = \"8 ms\"")
        .and_then(|section| speed(&section).and_finish(section));
    let discrepancy = root
        .subsection("discrepancy", "[discrepancy]")
        .and_then(|found| found.map(|section| discrepancy(&section).and_finish(section)).transpose());
    let speed_discrepancy = root
        .subsection("speed_discrepancy", "[speed_discrepancy]")
        .and_then(|found| found.map(|section| speed_discrepancy(&section).and_finish(section)).transpose());
    let mut inputs = Inputs::read(&root);
    let analogues = Analogues::read(&root);
    let monitors = Monitors::read(&root, &mut inputs, &analogues);
    let reference = reference::event(&root, &mut inputs, &monitors.names);
    let reset = inputs.reset(&root);
    let described = Described::read(&root);
    let parts = Parts {
        axis: unit,
        cycle: cycle.as_ref().ok().and_then(Option::as_ref),
        a: a.as_ref().ok(),
        b: b.as_ref().ok(),
        speed: speed.as_ref().ok(),
        discrepancy: discrepancy.as_ref().ok().and_then(Option::as_ref),
        speed_discrepancy: speed_discrepancy.as_ref().ok().and_then(Option::as_ref),
        analogues: analogues.right().collect(),
        monitors: &monitors.read,
    };
    let checked = check::run(reader, &parts);
    let nothing = matches!((&discrepancy, &speed_discrepancy), (Ok(None), Ok(None)))
        && !monitors.any
        && !analogues.any();
    let watched = if nothing { Err(nothing_watched(reader)) } else { Ok(()) };
    let known = root.finish();
    let inputs = inputs.into_parts();
    checked?;
    watched?;
    known?;
    if let Some(error) = monitors.reported {
        return Err(error);
    }
    let analogues = analogues.into_parts()?;
    let (inputs, levels) = inputs?;
    let (machine, sensors, contacts, approach) = described.resolve(&monitors.read, &inputs)?;
    Ok(Setup {
        path: path.to_owned(),
        title: title?,
        unit,
        cycle: cycle?,
        time: time?,
        a: a?,
        b: b?,
        speed: speed?,
        discrepancy: discrepancy?,
        speed_discrepancy: speed_discrepancy?,
        inputs,
        reference: reference?,
        reset: reset?,
        analogues,
        monitors: monitors.read,
        levels,
        machine,
        sensors,
        contacts,
        approach,
    })
}

fn nothing_watched(reader: &Reader<'_>) -> Reported {
    reader.refuse(
        0..0,
        "the setup watches nothing: it has no monitor, no discrepancy and no analogue value",
        "",
        "add at least one [[monitor]], or a section [discrepancy]",
    )
}

/// Closes a section behind what was read from it.
trait AndFinish {
    fn and_finish(self, section: Section<'_>) -> Self;
}

impl<T> AndFinish for Got<T> {
    fn and_finish(self, section: Section<'_>) -> Self {
        let known = section.finish();
        self.and_then(|read| known.map(|()| read))
    }
}

fn axis_unit(root: &Section<'_>, text: &Text<'_>) -> Got<AxisUnit> {
    match text.text {
        "mm" => Ok(AxisUnit::Millimetre),
        "deg" => Ok(AxisUnit::Degree),
        other => Err(root.reader.refuse(
            text.span.clone(),
            format!("`unit` of the setup cannot be \"{other}\""),
            "not a unit of an axis",
            "write \"mm\" for a linear axis or \"deg\" for a rotary one; values may be given in other units all the same",
        )),
    }
}

/// Reads the name of a column and keeps what it is used for.
fn column(
    section: &Section<'_>,
    key: &'static str,
    example: &str,
    role: Role,
    purpose: String,
) -> Got<String> {
    section.name(key, example).map(|text| keep_column(section, &text, role, purpose))
}

fn keep_column(section: &Section<'_>, text: &Text<'_>, role: Role, purpose: String) -> String {
    let column = text.text.to_owned();
    let span = text.span.clone();
    section.reader.columns.borrow_mut().push(ColumnUse { column: column.clone(), role, purpose, span });
    column
}

fn time(section: &Section<'_>) -> Got<TimeColumn> {
    let column = column(section, "column", "\"time\"", Role::Time, "the time of the rows".to_owned());
    let unit = section.string("unit", "\"s\"").and_then(|text| section.time_unit(&text, "unit"));
    Ok(TimeColumn { column: column?, unit: unit? })
}

fn channels(root: &Section<'_>, time: Option<&TimeColumn>) -> (Got<ChannelSetup>, Got<ChannelSetup>) {
    let table = match root.entry("channel") {
        Some(entry) => root.of(&entry, "[channel]".to_owned()),
        None => Err(root.reader.refuse(
            root.span.clone(),
            "the setup has no sections [channel.a] and [channel.b]",
            "both are missing",
            "add the two position sources, beginning with: [channel.a] column = \"motor_count\"",
        )),
    };
    let table = match table {
        Ok(table) => table,
        Err(error) => return (Err(error), Err(error)),
    };
    let read = |key, title, which| {
        table
            .needed_section(key, title, "column = \"motor_count\"")
            .and_then(|section| channel(&section, which, time).and_finish(section))
    };
    let a = read("a", "[channel.a]", Channel::A);
    let b = read("b", "[channel.b]", Channel::B);
    match table.finish() {
        Ok(()) => (a, b),
        Err(error) => (Err(error), b),
    }
}

fn channel(section: &Section<'_>, which: Channel, time: Option<&TimeColumn>) -> Got<ChannelSetup> {
    let letter = match which {
        Channel::A => "a",
        Channel::B => "b",
    };
    let column = column(
        section,
        "column",
        "\"motor_count\"",
        Role::Position,
        format!("the position of channel {letter}"),
    );
    let source = source(section);
    let capture = capture(section, letter, time.map(|time| time.unit));
    let latency = section.span_or_zero("latency", OR_ZERO_UP);
    let valid_column = match section.entry("valid_column") {
        None => Ok(None),
        Some(_) => self::column(
            section,
            "valid_column",
            "\"motor_valid\"",
            Role::Valid,
            format!("the validity of channel {letter}"),
        )
        .map(Some),
    };
    let sparse = section.flag("sparse", false);
    let max_speed = section.required("max_speed", POSITIVE);
    let timeout = section.required("timeout", POSITIVE);
    let reference = reference::of_channel(section);
    Ok(ChannelSetup {
        column: column?,
        source: source?,
        capture: capture?,
        latency: latency?,
        valid_column: valid_column?,
        sparse: sparse?,
        max_speed: max_speed?,
        timeout: timeout?,
        reference: reference?,
    })
}

fn source(section: &Section<'_>) -> Got<Source> {
    let reader = section.reader;
    let bits = section.entry("counter_bits");
    let per_count = section.entry("unit_per_count");
    let unit = section.optional_string("column_unit", "\"mm\"")?;
    match (bits, per_count, unit) {
        (bits, Some(per_count), None) => {
            let bits = match bits {
                Some(bits) => counter_bits(section, &bits),
                None => Err(section.missing("counter_bits", "32")),
            };
            let unit_per_count = section.unit_per_count(&per_count);
            Ok(Source::Counter { bits: bits?, unit_per_count: unit_per_count? })
        }
        (None, None, Some(unit)) => {
            let unit = section.unit(&unit, "column_unit", section.axis.position())?;
            Ok(Source::Position { unit })
        }
        (bits, per_count, Some(_)) => {
            let clash = bits.or(per_count).map_or(section.span.clone(), |entry| entry.key_span);
            Err(reader.refuse(
                clash,
                format!("{} is said to hold counts and positions at once", section.title),
                "belongs to a counter, and `column_unit` to a column of positions",
                "for a counter leave out `column_unit`; for positions leave out `counter_bits` and `unit_per_count`",
            ))
        }
        (Some(bits), None, None) => Err(reader.refuse(
            bits.key_span,
            format!("{} has `counter_bits` but no `unit_per_count`", section.title),
            "a counter of unknown scale",
            "add the travel of one count, for example: unit_per_count = \"0.001 mm\", or \"360/4096 deg\" on a rotary axis",
        )),
        (None, None, None) => {
            let unit = section.axis.symbol();
            Err(reader.refuse(
                section.span.clone(),
                format!("{} does not say what its column holds", section.title),
                "`unit_per_count` or `column_unit` is missing here",
                format!(
                    "for counts add counter_bits = 32 and unit_per_count = \"0.001 {unit}\"; for positions add \
                     column_unit = \"{unit}\""
                ),
            ))
        }
    }
}

fn counter_bits(section: &Section<'_>, entry: &Entry<'_>) -> Got<u8> {
    let DeValue::Integer(integer) = entry.value else {
        let way_out = "write the width in bits, for example counter_bits = 32, without quotes".to_owned();
        return Err(section.wrong_type(entry, "an integer from 8 to 64", way_out));
    };
    let bits =
        u8::from_str_radix(integer.as_str(), integer.radix()).ok().filter(|bits| (8..=64).contains(bits));
    bits.ok_or_else(|| {
        section.reader.refuse(
            entry.span.clone(),
            format!("`counter_bits` of {} must be 8 to 64", section.title),
            "outside 8 to 64",
            "write the number of bits after which the counter wraps, for example 16, 24 or 32",
        )
    })
}

fn capture(section: &Section<'_>, letter: &str, time: Option<Unit>) -> Got<Option<TimeColumn>> {
    if section.entry("capture_column").is_none() {
        return section
            .misplaced(
                "capture_unit",
                "there is no `capture_column`",
                "name the column of the capture times: capture_column = \"motor_captured\", or leave `capture_unit` out",
            )
            .map(|()| None);
    }
    let purpose = format!("the capture time of channel {letter}");
    let column = column(section, "capture_column", "\"motor_captured\"", Role::Capture, purpose);
    let unit = match section.optional_string("capture_unit", "\"us\"")? {
        Some(text) => section.time_unit(&text, "capture_unit"),
        // Both times are on one clock, so its unit is the one to expect.
        None => time.ok_or(Reported),
    };
    Ok(Some(TimeColumn { column: column?, unit: unit? }))
}

fn speed(section: &Section<'_>) -> Got<SpeedSetup> {
    let window = section.required("window", POSITIVE);
    let warm_up =
        section.choice_or_first("warm_up", &[("withhold", WarmUp::Withhold), ("permit", WarmUp::Permit)]);
    Ok(SpeedSetup { window: window?, warm_up: warm_up? })
}

fn discrepancy(section: &Section<'_>) -> Got<DiscrepancySetup> {
    let tolerance = section.required("tolerance", POSITIVE);
    let skew_allowance = section.span_or_zero("skew_allowance", OR_ZERO);
    let discrepancy_time = section.required("discrepancy_time", OR_ZERO);
    let align = section.flag("align", false);
    Ok(DiscrepancySetup {
        tolerance: tolerance?,
        skew_allowance: skew_allowance?,
        discrepancy_time: discrepancy_time?,
        align: align?,
    })
}

fn speed_discrepancy(section: &Section<'_>) -> Got<SpeedDiscrepancySetup> {
    let tolerance = section.required("tolerance", POSITIVE);
    let discrepancy_time = section.required("discrepancy_time", OR_ZERO);
    Ok(SpeedDiscrepancySetup { tolerance: tolerance?, discrepancy_time: discrepancy_time? })
}
