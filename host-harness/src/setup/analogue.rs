//! Analogue values, a torque or a temperature on two lines, and the rules on them.

use std::ops::Range;

use monitor_core::Value;
use toml::de::DeValue;

use super::MAX_ANALOGUES;
use super::check::Parts;
use super::model::{AnalogueSetup, AnalogueUnit, MonitorKind, RangeSetup, Setting};
use super::monitor::{ask, ordered};
use super::section::{ColumnUse, Entry, Got, Mistake, Reader, Reported, Role, Section, Text};
use super::value::{HIGH, LOW, OR_ZERO, OR_ZERO_UP, POSITIVE, time_text};
use crate::decimal::{ValueError, ValueErrorKind, parse_unit};
use crate::nearest::nearest;

const COLUMNS: &str = "[\"torque_1\", \"torque_2\"]";
const VALID_COLUMNS: &str = "[\"torque_1_valid\", \"torque_2_valid\"]";

/// What the discrepancies of the motion are called in a report.
const DISCREPANCIES: [&str; 2] = ["discrepancy", "speed_discrepancy"];

/// The analogue values of a setup, as far as they are read.
#[derive(Default)]
pub(super) struct Analogues<'r> {
    all: Vec<One<'r>>,
    reported: Option<Reported>,
}

/// One of them.
struct One<'r> {
    name: &'r str,
    /// Where its name is written.
    span: Range<usize>,
    /// Where its unit is written.
    unit: Range<usize>,
    /// `None` when it is wrong by itself.
    read: Option<AnalogueSetup>,
}

impl<'r> Analogues<'r> {
    /// Reads every `[analogue.NAME]`, in the order of the file.
    pub(super) fn read(root: &Section<'r>) -> Self {
        let mut all = Self::default();
        match root.subsection("analogue", "[analogue]") {
            Ok(None) => {}
            Ok(Some(table)) => {
                for entry in table.entries() {
                    all.read_one(&table, &entry);
                }
            }
            Err(error) => all.reported = Some(error),
        }
        all
    }

    fn read_one(&mut self, table: &Section<'r>, entry: &Entry<'r>) {
        if self.all.len() == MAX_ANALOGUES && matches!(entry.value, DeValue::Table(_)) {
            self.reported = Some(table.reader.refuse(
                entry.key_span.clone(),
                format!("more than {MAX_ANALOGUES} analogue values"),
                format!("number {}", self.all.len() + 1),
                "leave out one that no monitor watches, or split the setup into two, and replay the trace with each",
            ));
        }
        if DISCREPANCIES.contains(&entry.key) {
            self.reported = Some(table.reader.refuse(
                entry.key_span.clone(),
                format!("an analogue value cannot be called `{}`", entry.key),
                "trips of the motion are reported by this name",
                "give it another name, such as that of what is measured",
            ));
        }
        let unit = table.peek(&[entry.key, "unit"]).map_or(entry.span.clone(), |unit| unit.span);
        let read = table
            .of(entry, format!("[analogue.{}]", entry.key))
            .and_then(|section| analogue(section, entry.key));
        if let Err(error) = read {
            self.reported = Some(error);
        }
        self.all.push(One { name: entry.key, span: entry.key_span.clone(), unit, read: read.ok() });
    }

    /// Whether the file has any, right or not.
    pub(super) fn any(&self) -> bool {
        !self.all.is_empty()
    }

    /// Where an analogue value is called so.
    pub(super) fn called(&self, name: &str) -> Option<Range<usize>> {
        self.all.iter().find(|one| one.name == name).map(|one| one.span.clone())
    }

    /// Those that are right by themselves.
    pub(super) fn right(&self) -> impl Iterator<Item = &AnalogueSetup> {
        self.all.iter().filter_map(|one| one.read.as_ref())
    }

    /// All, when all could be read.
    pub(super) fn into_parts(self) -> Got<Vec<AnalogueSetup>> {
        self.reported.map_or_else(|| Ok(self.all.into_iter().filter_map(|one| one.read).collect()), Err)
    }

    /// What a monitor watches: its place, and itself.
    fn watched(&self, section: &Section<'_>, what: Watched) -> Got<(usize, &AnalogueSetup)> {
        let text = section.name("of", what.example())?;
        let title = &section.title;
        let Some((place, one)) = self.all.iter().enumerate().find(|(_, one)| one.name == text.text) else {
            return Err(self.unknown(section, &text, what));
        };
        // What is wrong with it has been said.
        let analogue = one.read.as_ref().ok_or(Reported)?;
        if analogue.unit.is_torque() == (what == Watched::Torque) {
            return Ok((place, analogue));
        }
        let (is, units, other) = match what {
            Watched::Torque => ("a torque", "Nm or %", "kind = \"temperature-limit\""),
            Watched::Temperature => ("a temperature", "degC", "kind = \"torque-limit\""),
        };
        Err(section.reader.report(Mistake {
            span: text.span,
            message: format!(
                "`of` of {title} names \"{}\", a value in {}",
                analogue.name,
                analogue.unit.symbol()
            ),
            label: format!("{is} is in {units}"),
            related: Some((one.unit.clone(), "its unit".to_owned())),
            way_out: format!("name an analogue value in {units}, or write {other} to watch this one"),
        }))
    }

    fn unknown(&self, section: &Section<'_>, text: &Text<'_>, what: Watched) -> Reported {
        let names: Vec<&str> = self.all.iter().map(|one| one.name).collect();
        let way_out = match nearest(text.text, names.iter().copied()) {
            Some(known) => format!("did you mean \"{known}\"?"),
            None if names.is_empty() => format!(
                "add the section [analogue.{}] with the columns of its two lines, for example: columns = {}",
                text.text,
                what.columns()
            ),
            None => {
                format!("known are {}; a value of its own needs a section [analogue.NAME]", names.join(", "))
            }
        };
        section.reader.refuse(
            text.span.clone(),
            format!("`of` of {} names \"{}\", which is no analogue value", section.title, text.text),
            "not known",
            way_out,
        )
    }
}

/// What a rule is about.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Watched {
    Torque,
    Temperature,
}

impl Watched {
    const fn example(self) -> &'static str {
        match self {
            Self::Torque => "\"torque\"",
            Self::Temperature => "\"winding\"",
        }
    }

    const fn columns(self) -> &'static str {
        match self {
            Self::Torque => COLUMNS,
            Self::Temperature => "[\"winding_1\", \"winding_2\"]",
        }
    }
}

fn analogue(section: Section<'_>, name: &str) -> Got<AnalogueSetup> {
    let columns = section
        .needed("columns", COLUMNS)
        .and_then(|entry| section.names(&entry, COLUMNS).map(|columns| (entry, columns)))
        .and_then(|(entry, columns)| two_columns(&section, &entry, &columns));
    let valid_columns = valid_columns(&section);
    let unit = section.string("unit", "\"Nm\"").and_then(|text| unit_of(&section, &text));
    let values = match unit {
        Ok(unit) => {
            let low = section.required_in("low", LOW, unit);
            let high = section.required_in("high", HIGH, unit);
            let tolerance = section.required_in("tolerance", POSITIVE, unit);
            plausible(&section, low, high, unit)
                .and_then(|plausible| Ok((reachable(&section, tolerance?, &plausible)?, plausible)))
        }
        Err(error) => {
            ask(&section, &["low", "high", "tolerance"]);
            Err(error)
        }
    };
    let timeout = section.required("timeout", POSITIVE);
    let discrepancy_time = section.required("discrepancy_time", OR_ZERO);
    let latency = section.span_or_zero("latency", OR_ZERO_UP);
    let sparse = section.flag("sparse", false);
    section.finish()?;
    let (tolerance, plausible) = values?;
    Ok(AnalogueSetup {
        name: name.to_owned(),
        columns: columns?,
        valid_columns: valid_columns?,
        unit: unit?,
        plausible,
        timeout: timeout?,
        tolerance,
        discrepancy_time: discrepancy_time?,
        latency: latency?,
        sparse: sparse?,
    })
}

/// The unit, by its own name; another spelling of it is offered.
fn unit_of(section: &Section<'_>, text: &Text<'_>) -> Got<AnalogueUnit> {
    let words = AnalogueUnit::ALL.map(|unit| (unit.symbol(), unit));
    let meant = words.into_iter().find_map(|(symbol, unit)| match parse_unit(text.text, unit.dimension()) {
        Err(ValueError { kind: ValueErrorKind::UnknownUnit { meant, .. }, .. }) => {
            meant.filter(|meant| *meant == symbol)
        }
        _ => None,
    });
    section.choice_meant(text, "unit", &words, meant)
}

/// The columns of the two lines, kept as what they are used for.
fn two_columns(section: &Section<'_>, entry: &Entry<'_>, columns: &[Text<'_>]) -> Got<[String; 2]> {
    let [first, second] = columns else {
        let count = match columns.len() {
            1 => "one channel is not enough: nothing tells when its line is wrong".to_owned(),
            count => format!("{count} columns"),
        };
        return Err(section.reader.refuse(
            entry.span.clone(),
            format!("{} must have two columns", section.title),
            count,
            format!(
                "name the columns of two lines that are measured apart from each other: columns = {COLUMNS}"
            ),
        ));
    };
    if first.text == second.text {
        return Err(section.reader.report(Mistake {
            span: second.span.clone(),
            message: format!("both lines of {} are the column `{}`", section.title, second.text),
            label: "the same column: one channel is not enough".to_owned(),
            related: Some((first.span.clone(), "first named here".to_owned())),
            way_out: "name the column of the other line: a column alone cannot tell when it is wrong"
                .to_owned(),
        }));
    }
    Ok([first, second].map(|text| keep(section, text, Role::Analogue, "a line")))
}

/// The columns that say of each line whether a reading is valid.
fn valid_columns(section: &Section<'_>) -> Got<Option<[String; 2]>> {
    let Some(entry) = section.entry("valid_columns") else { return Ok(None) };
    let columns = section.names(&entry, VALID_COLUMNS)?;
    let [first, second] = columns.as_slice() else {
        return Err(section.reader.refuse(
            entry.span.clone(),
            format!("{} must have two valid columns, or none", section.title),
            match columns.len() {
                1 => "one column".to_owned(),
                count => format!("{count} columns"),
            },
            format!(
                "name the one of each line, and one that speaks of both twice: valid_columns = {VALID_COLUMNS}"
            ),
        ));
    };
    Ok(Some([first, second].map(|text| keep(section, text, Role::Valid, "the validity of a line"))))
}

/// Remembers what a column is used for.
fn keep(section: &Section<'_>, text: &Text<'_>, role: Role, what: &str) -> String {
    section.reader.columns.borrow_mut().push(ColumnUse {
        column: text.text.to_owned(),
        role,
        purpose: format!("{what} of {}", section.title),
        span: text.span.clone(),
    });
    text.text.to_owned()
}

fn plausible(
    section: &Section<'_>,
    low: Got<Setting<Value>>,
    high: Got<Setting<Value>>,
    unit: AnalogueUnit,
) -> Got<RangeSetup<Value>> {
    let range = ordered(section, low?, high?, &format!("2^-24 {}", unit.symbol()))?;
    if range.low.value < range.high.value {
        return Ok(range);
    }
    Err(section.reader.report(Mistake {
        span: range.low.span,
        message: format!("`low` of {} is its `high`", section.title),
        label: "nothing but this value".to_owned(),
        related: Some((range.high.span, "would be plausible".to_owned())),
        way_out: "move them apart: a value from `low` to `high` is one that can be, what is outside is a broken line"
            .to_owned(),
    }))
}

/// Two values are compared while both are plausible: the tolerance must be less than how far apart they can be then.
fn reachable(
    section: &Section<'_>,
    tolerance: Setting<Value>,
    plausible: &RangeSetup<Value>,
) -> Got<Setting<Value>> {
    let RangeSetup { low, high } = plausible;
    let widest = i128::from(high.value.to_bits()) - i128::from(low.value.to_bits());
    if i128::from(tolerance.value.to_bits()) < widest {
        return Ok(tolerance);
    }
    Err(section.reader.report(Mistake {
        span: tolerance.span,
        message: format!("`tolerance` of {} is not below the distance from `low` to `high`", section.title),
        label: "could never trip".to_owned(),
        related: Some((high.span.clone(), "a value beyond this is a fault of its line".to_owned())),
        way_out: format!(
            "lower `tolerance` to what the two lines may differ by, well below the distance from {} to {}",
            low.text, high.text
        ),
    }))
}

/// Readings must not be stale when they arrive, nor before the next evaluation.
pub(super) fn times(reader: &Reader<'_>, parts: &Parts<'_>) -> Got<()> {
    let mut all = Ok(());
    for AnalogueSetup { name, timeout, latency, .. } in &parts.analogues {
        let age = timeout.value.as_nanos();
        if age <= latency.value.as_nanos() {
            all = Err(reader.report(Mistake {
                span: timeout.span.clone(),
                message: format!("`timeout` of [analogue.{name}] is not longer than its `latency`"),
                label: format!("{} old is stale", time_text(age)),
                related: Some((latency.span.clone(), "every reading is this old when it arrives".to_owned())),
                way_out: format!(
                    "raise `timeout` well above {}: latency, the time between two readings, and some reserve",
                    time_text(latency.value.as_nanos())
                ),
            }));
        }
        if let Some(cycle) = parts.cycle.filter(|cycle| age < cycle.value.as_nanos()) {
            let period = time_text(cycle.value.as_nanos());
            all = Err(reader.report(Mistake {
                span: timeout.span.clone(),
                message: format!("`timeout` of [analogue.{name}] is shorter than the `cycle`"),
                label: format!("a reading after {} is stale", time_text(age)),
                related: Some((cycle.span.clone(), "readings are taken this far apart".to_owned())),
                way_out: format!("raise `timeout` to at least {period}, or shorten `cycle`"),
            }));
        }
    }
    all
}

pub(super) fn torque_limit(section: &Section<'_>, analogues: &Analogues<'_>) -> Got<MonitorKind> {
    let (of, analogue) = watched(section, analogues, Watched::Torque, &["limit"])?;
    let limit = section.required_in("limit", POSITIVE, analogue.unit)?;
    let magnitude = limit.value.to_bits();
    let (low, high) = ends(analogue);
    let end = if high < -low { &analogue.plausible.low } else { &analogue.plausible.high };
    if magnitude >= high.max(-low) {
        return Err(never(section, analogue, "limit", &limit, end));
    }
    if low > magnitude || high < -magnitude {
        return Err(always(section, analogue, "limit", &limit, end));
    }
    Ok(MonitorKind::TorqueLimit { of, limit })
}

pub(super) fn torque_range(section: &Section<'_>, analogues: &Analogues<'_>) -> Got<MonitorKind> {
    let (of, analogue) = watched(section, analogues, Watched::Torque, &["low", "high"])?;
    let low = section.required_in("low", LOW, analogue.unit);
    let high = section.required_in("high", HIGH, analogue.unit);
    let range = ordered(section, low?, high?, &format!("2^-24 {}", analogue.unit.symbol()))?;
    let plausible = &analogue.plausible;
    if range.high.value < plausible.low.value {
        return Err(always(section, analogue, "high", &range.high, &plausible.low));
    }
    if range.low.value > plausible.high.value {
        return Err(always(section, analogue, "low", &range.low, &plausible.high));
    }
    let mut inside = Ok(());
    if range.low.value <= plausible.low.value {
        inside = Err(never(section, analogue, "low", &range.low, &plausible.low));
    }
    if range.high.value >= plausible.high.value {
        inside = Err(never(section, analogue, "high", &range.high, &plausible.high));
    }
    inside.map(|()| MonitorKind::TorqueRange { of, range })
}

pub(super) fn temperature_limit(section: &Section<'_>, analogues: &Analogues<'_>) -> Got<MonitorKind> {
    let (of, analogue) = watched(section, analogues, Watched::Temperature, &["limit"])?;
    // A temperature may be below zero; a limit on it is the upper end of a range.
    let limit = section.required_in("limit", HIGH, analogue.unit)?;
    let plausible = &analogue.plausible;
    if limit.value >= plausible.high.value {
        return Err(never(section, analogue, "limit", &limit, &plausible.high));
    }
    if limit.value < plausible.low.value {
        return Err(always(section, analogue, "limit", &limit, &plausible.low));
    }
    Ok(MonitorKind::TemperatureLimit { of, limit })
}

/// What a monitor watches. Without it, nobody knows how to read the `others` among its keys.
fn watched<'a>(
    section: &Section<'_>,
    analogues: &'a Analogues<'_>,
    what: Watched,
    others: &[&'static str],
) -> Got<(usize, &'a AnalogueSetup)> {
    let found = analogues.watched(section, what);
    if found.is_err() {
        ask(section, others);
    }
    found
}

/// In ULP; each has a magnitude.
fn ends(analogue: &AnalogueSetup) -> (i64, i64) {
    (analogue.plausible.low.value.to_bits(), analogue.plausible.high.value.to_bits())
}

fn never(
    section: &Section<'_>,
    analogue: &AnalogueSetup,
    key: &str,
    limit: &Setting<Value>,
    end: &Setting<Value>,
) -> Reported {
    outside(
        section,
        analogue,
        key,
        limit,
        end,
        "could never trip",
        "a value beyond this is a fault of its line",
    )
}

fn always(
    section: &Section<'_>,
    analogue: &AnalogueSetup,
    key: &str,
    limit: &Setting<Value>,
    end: &Setting<Value>,
) -> Reported {
    outside(section, analogue, key, limit, end, "every plausible value is beyond it", "the range ends here")
}

fn outside(
    section: &Section<'_>,
    analogue: &AnalogueSetup,
    key: &str,
    limit: &Setting<Value>,
    end: &Setting<Value>,
    label: &str,
    related: &str,
) -> Reported {
    let RangeSetup { low, high } = &analogue.plausible;
    section.reader.report(Mistake {
        span: limit.span.clone(),
        message: format!(
            "`{key}` of {} is not inside the plausible range of \"{}\"",
            section.title, analogue.name
        ),
        label: label.to_owned(),
        related: Some((end.span.clone(), related.to_owned())),
        way_out: format!(
            "move `{key}` between {} and {}, or move `low` and `high` of [analogue.{}] to what a sound line can show",
            low.text, high.text, analogue.name
        ),
    })
}
