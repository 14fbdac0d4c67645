//! The table of the README of what is covered, held against the setup reader, the monitors, the demos and the tests.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use host_harness::setup::{By, KINDS, LimitSetup, MonitorKind, Setup, Until};
use traces_demo::Demo;

use crate::needs::needs;
use crate::{demos, setup};

const README: &str = include_str!("../../README.md");

const HEADER: [&str; 6] =
    ["function", "IEC 61800-5-2", "setup name", "what must be redundant", "demo", "tests"];

/// The functions of IEC 61800-5-2 by their abbreviations, from memory, and what they are called here.
const ABBREVIATIONS: [(&str, &str); 17] = [
    ("STO", "torque-off"),
    ("SS1", "stop until torque-off"),
    ("SS2", "stop until standstill"),
    ("SOS", "standstill"),
    ("SLS", "speed-limit"),
    ("SSR", "speed-range"),
    ("SDI", "direction"),
    ("SLA", "acceleration-limit"),
    ("SAR", "acceleration-range"),
    ("SLP", "position-range"),
    ("SLI", "travel-limit"),
    ("SBC", "brake-output"),
    ("SCA", "cam-output"),
    ("SSM", "speed-output"),
    ("SLT", "torque-limit"),
    ("STR", "torque-range"),
    ("SMT", "temperature-limit"),
];

const UNTIL: [&str; 2] = ["torque-off", "standstill"];
const BY: [&str; 3] = ["ramp", "deceleration", "time"];

/// Other forms of the limit on the speed.
const SPEED_LIMITS: [&str; 2] = ["speed-limit ramp", "speed-limit positive negative"];

/// The rules that are a section of their own, with what must be redundant.
const SECTIONS: [(&str, &str); 3] = [
    ("[discrepancy]", "a second position source"),
    ("[speed_discrepancy]", "a second position source"),
    ("[analogue.NAME]", "its own two lines"),
];

/// One row: its cells, and what is in code style in the cell of the setup name.
struct Row<'a> {
    cells: Vec<&'a str>,
    names: Vec<&'a str>,
}

impl<'a> Row<'a> {
    fn new(line: &'a str) -> Self {
        let inner = line.strip_prefix('|').and_then(|line| line.strip_suffix('|')).unwrap_or_default();
        let cells: Vec<&str> = inner.split('|').map(str::trim).collect();
        Self { names: cells.get(2).map_or_else(Vec::new, |cell| code(cell)), cells }
    }

    fn cell(&self, place: usize) -> &'a str {
        self.cells.get(place).copied().unwrap_or_default()
    }

    /// The kind of monitor, or the section.
    fn kind(&self) -> &'a str {
        self.names.first().copied().unwrap_or_default()
    }

    /// What narrows the kind down, as in `until = "standstill"`.
    fn keys(&self) -> &[&'a str] {
        self.names.get(1..).unwrap_or_default()
    }

    /// The value of one of them.
    fn value(&self, key: &str) -> Option<&'a str> {
        let of = |name: &&'a str| name.strip_prefix(key)?.strip_prefix(" = \"")?.strip_suffix('"');
        self.keys().iter().find_map(of)
    }

    /// As its abbreviation goes by it.
    fn function(&self) -> String {
        match self.value("until") {
            Some(until) => format!("{} until {until}", self.kind()),
            None => self.kind().to_owned(),
        }
    }

    /// Whether the row is about monitors of this kind.
    fn is_about(&self, kind: &MonitorKind) -> bool {
        kind.name() == self.kind() && self.keys().iter().all(|key| has(kind, key))
    }
}

fn has(kind: &MonitorKind, key: &str) -> bool {
    match (kind, key) {
        (MonitorKind::Stop { until, .. }, "until = \"torque-off\"") => matches!(until, Until::TorqueOff),
        (MonitorKind::Stop { until, .. }, "until = \"standstill\"") => matches!(until, Until::Standstill(_)),
        (MonitorKind::Stop { by, .. }, "by = \"ramp\"") => matches!(by, By::Ramp { .. }),
        (MonitorKind::Stop { by, .. }, "by = \"deceleration\"") => matches!(by, By::Deceleration { .. }),
        (MonitorKind::Stop { by, .. }, "by = \"time\"") => matches!(by, By::Time { .. }),
        (MonitorKind::SpeedLimit { ramp, .. }, "ramp") => ramp.is_some(),
        (MonitorKind::SpeedLimit { limit, .. }, "positive" | "negative") => {
            matches!(limit, LimitSetup::Each { .. })
        }
        _ => false,
    }
}

/// What stands between backticks.
fn code(cell: &str) -> Vec<&str> {
    cell.split('`').skip(1).step_by(2).collect()
}

/// The lines of the table, with its header.
fn table(readme: &str) -> Vec<&str> {
    let section = readme.split("\n## ").find(|section| section.starts_with("What is covered"));
    let lines = section.expect("the section of what is covered").lines();
    lines.filter(|line| line.starts_with('|')).collect()
}

/// What the table is held against, found once.
struct Known {
    /// Each with its setup and its expectations.
    demos: Vec<(Demo, Setup, String)>,
    /// What must be redundant, by the names of a row.
    needs: RefCell<BTreeMap<String, Result<String, String>>>,
}

impl Known {
    fn new() -> Self {
        let whole = |demo: Demo| {
            let (setup, text) = (setup(&demo), fs::read_to_string(&demo.expected).expect("expectations"));
            (demo, setup, text)
        };
        Self { demos: demos().into_iter().map(whole).collect(), needs: RefCell::default() }
    }

    fn needs(&self, row: &Row<'_>) -> Result<String, String> {
        if let Some((_, needed)) = SECTIONS.iter().find(|(section, _)| *section == row.kind()) {
            return Ok((*needed).to_owned());
        }
        let mut found = self.needs.borrow_mut();
        found.entry(row.names.join(" ")).or_insert_with(|| needs(row.kind(), row.keys())).clone()
    }
}

/// Everything in which the table is out of step.
fn complaints(readme: &str, known: &Known) -> Vec<String> {
    let lines = table(readme);
    let Some((header, lines)) = lines.split_first() else { return vec!["there is no table".to_owned()] };
    let rows: Vec<Row<'_>> = lines.iter().skip(1).map(|line| Row::new(line)).collect();
    let mut all = Vec::new();
    if Row::new(header).cells != HEADER {
        all.push(format!("the header is {header}"));
    }
    all.extend(kinds(&rows));
    for row in &rows {
        let name = row.cell(2);
        if row.cells.len() != HEADER.len() || row.cells.iter().any(|cell| cell.is_empty()) {
            all.push(format!("{name}: a cell is empty, or there are not {} of them", HEADER.len()));
        }
        all.extend(abbreviation(row));
        match known.needs(row) {
            Ok(needed) if needed == row.cell(3) => {}
            Ok(needed) => all.push(format!("{name}: needs {needed}, not {}", row.cell(3))),
            Err(why) => all.push(format!("{name}: {why}")),
        }
        all.extend(shown(row, known));
        all.extend(held(row));
    }
    all
}

/// Every kind, every form of a stop and of a limit on the speed and every section has a row, and no other has one.
fn kinds(rows: &[Row<'_>]) -> Vec<String> {
    let plain = KINDS.into_iter().filter(|kind| *kind != "stop");
    let mut wanted: BTreeSet<String> = plain.chain(SPEED_LIMITS).map(str::to_owned).collect();
    for until in UNTIL {
        wanted.extend(BY.map(|by| format!("stop until = \"{until}\" by = \"{by}\"")));
    }
    wanted.extend(SECTIONS.map(|(section, _)| section.to_owned()));
    let there: BTreeSet<String> = rows.iter().map(|row| row.names.join(" ")).collect();
    let missing = wanted.difference(&there).map(|name| format!("{name} has no row"));
    let unknown =
        there.difference(&wanted).map(|name| format!("a row is about `{name}`, which is not known"));
    missing.chain(unknown).collect()
}

fn abbreviation(row: &Row<'_>) -> Option<String> {
    let function = row.function();
    let known = ABBREVIATIONS.iter().find(|(_, name)| *name == function).map_or("none", |(short, _)| *short);
    (row.cell(1) != known).then(|| format!("{function} is {known}, not {}", row.cell(1)))
}

/// The names and targets of the links of a cell.
fn links(cell: &str) -> Vec<(&str, &str)> {
    let link = |part: &'_ str| -> Option<(usize, usize)> { Some((part.find("](")?, part.find(')')?)) };
    cell.split('[')
        .skip(1)
        .filter_map(|part| link(part).map(|(name, end)| (&part[..name], &part[name + 2..end])))
        .collect()
}

/// Every demo is there and expects that something becomes of a monitor that the row is about. That demos come to what is expected of
/// them is proved beside this.
fn shown(row: &Row<'_>, known: &Known) -> Vec<String> {
    let name = row.cell(2);
    let links = links(row.cell(4));
    let mut all = Vec::new();
    if links.is_empty() {
        all.push(format!("{name}: no demo is linked"));
    }
    for (link, target) in links {
        match known.demos.iter().find(|(demo, ..)| demo.name == link) {
            Some(_) if target != format!("traces-demo/{link}.toml") => {
                all.push(format!("{name}: the demo {link} is not at {target}"));
            }
            Some((_, setup, text)) if expects(row, setup, text) => {}
            Some(_) => all.push(format!("{name}: the demo {link} expects nothing of it")),
            None => all.push(format!("{name}: there is no demo {link}")),
        }
    }
    all
}

/// Whether expectations, given as text, name what the row is about.
fn expects(row: &Row<'_>, setup: &Setup, text: &str) -> bool {
    let wanted: &[&str] = match row.kind() {
        "torque-off" => &["stop"],
        "stop" => &["stop", "trip"],
        "position-range" => &["trip", "fault"],
        kind if kind.ends_with("-output") => &["output"],
        _ => &["trip"],
    };
    let names = watched(row, setup);
    let mut entry = "";
    for line in text.lines() {
        if let Some(kind) = line.strip_prefix("[[").and_then(|line| line.strip_suffix("]]")) {
            entry = kind;
        }
        let Some((key, value)) = line.split_once('=') else { continue };
        let monitor = value.trim().trim_matches('"');
        if key.trim() == "monitor" && wanted.contains(&entry) && names.iter().any(|name| name == monitor) {
            return true;
        }
    }
    false
}

/// What the row is about, by the names that expectations have for it.
fn watched(row: &Row<'_>, setup: &Setup) -> Vec<String> {
    let rule = |is_there: bool, name: &str| if is_there { vec![name.to_owned()] } else { Vec::new() };
    match row.kind() {
        "[discrepancy]" => rule(setup.discrepancy.is_some(), "discrepancy"),
        "[speed_discrepancy]" => rule(setup.speed_discrepancy.is_some(), "speed_discrepancy"),
        "[analogue.NAME]" => setup.analogues.iter().map(|one| one.name.clone()).collect(),
        _ => {
            let monitors = setup.monitors.iter().filter(|monitor| row.is_about(&monitor.kind));
            monitors.map(|monitor| monitor.name.clone()).collect()
        }
    }
}

/// Every test is a test, in the file that is named, and one at least is a property of random traces: there is something to say of every
/// kind, so no row is excepted.
fn held(row: &Row<'_>) -> Vec<String> {
    let name = row.cell(2);
    let tests = code(row.cell(5));
    let mut all = Vec::new();
    if tests.is_empty() {
        all.push(format!("{name}: no test is named"));
    }
    if !tests.iter().any(|test| test.starts_with("properties/")) {
        all.push(format!("{name}: no test of `properties` is named"));
    }
    for test in tests {
        let Some((file, function)) = test.split_once("::") else {
            all.push(format!("{name}: {test} names no file"));
            continue;
        };
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("{file}.rs"));
        let text = fs::read_to_string(&path).unwrap_or_default();
        let lines: Vec<&str> = text.lines().map(str::trim).collect();
        let begins = format!("fn {function}(");
        if !lines.windows(2).any(|two| two[0] == "#[test]" && two[1].starts_with(&begins)) {
            all.push(format!("{name}: there is no test {function} in {}", path.display()));
        }
    }
    all
}

#[test]
fn the_table_of_what_is_covered_is_in_step_with_the_code_the_demos_and_the_tests() {
    let complaints = complaints(README, &Known::new());
    assert!(complaints.is_empty(), "{}", complaints.join("\n"));
    let forms = UNTIL.len() * BY.len() + SPEED_LIMITS.len();
    assert_eq!(table(README).len() - 2, KINDS.len() - 1 + forms + SECTIONS.len(), "each has one row");
}

/// What is said when one thing in the README is replaced by another, wherever it stands in the table.
fn said(old: &str, new: &str, known: &Known) -> Vec<String> {
    let lines = table(README);
    assert!(lines.iter().any(|line| line.contains(old)), "{old} is in the table");
    let altered: Vec<String> = lines.iter().map(|line| line.replace(old, new)).collect();
    complaints(&format!("\n## What is covered\n\n{}\n", altered.join("\n")), known)
}

#[test]
fn the_kinds_below_the_table_are_those_that_formulas_hold() {
    let (_, rest) = README.split_once("Formulas of another library hold").expect("the sentence on them");
    let (said, _) = rest.split_once("(`tests/formulas`)").expect("its end");
    let formulas = include_str!("../formulas/axis.toml");
    let formulas = Setup::parse(formulas, "axis.toml").unwrap_or_else(|error| panic!("{error}"));
    let held: BTreeSet<&str> = formulas.monitors.iter().map(|monitor| monitor.kind.name()).collect();
    assert_eq!(code(said).into_iter().collect::<BTreeSet<_>>(), held);
}

#[test]
fn a_table_without_a_row_is_told_which() {
    let (lines, known) = (table(README), Known::new());
    for row in 2..lines.len() {
        let mut left = lines.clone();
        let removed = Row::new(left.remove(row)).names.join(" ");
        let said = complaints(&format!("\n## What is covered\n\n{}\n", left.join("\n")), &known);
        assert_eq!(said, [format!("{removed} has no row")]);
    }
}

#[test]
fn every_way_in_which_the_table_can_be_out_of_step_is_told() {
    let known = Known::new();
    for (old, new, wanted) in [
        ("| setup name |", "| name |", "the header is"),
        ("`torque-off`", "`torque-of`", "a row is about `torque-of`, which is not known"),
        ("by = \"time\"", "by = \"clock\"", "by = \"clock\"`, which is not known"),
        ("| STO |", "| |", "`torque-off`: a cell is empty"),
        ("| STO |", "|", "a cell is empty, or there are not 6"),
        ("| SLP |", "| SLI |", "position-range is SLP, not SLI"),
        (
            "| STO | `torque-off` | nothing that is measured",
            "| STO | `torque-off` | a second position source",
            "`torque-off`: needs nothing that is measured, not a second position source",
        ),
        ("its own two lines", "a second position source", "needs its own two lines"),
        (", both with a reference", "", "needs a second position source, both with a reference"),
        ("[belt-slip]", "[belt-slips]", "there is no demo belt-slips"),
        ("(traces-demo/belt-slip.toml)", "(traces-demo/belt.toml)", "is not at traces-demo/belt.toml"),
        (
            "every-function-burner",
            "every-function-step",
            "the demo every-function-step expects nothing of it",
        ),
        ("stack-clamp-pause", "stack-clamp-stacker", "the demo stack-clamp-stacker expects nothing of it"),
        ("[stack-clamp-loose](traces-demo/stack-clamp-loose.toml)", "stack-clamp-loose", "no demo is linked"),
        ("monitors::torque_off_", "monitors::torque_on_", "there is no test torque_on_"),
        ("published/stops::torque_off", "published/main::torque_off", "there is no test torque_off"),
        ("pairs::speeds_are_compared", "pairs speeds_are_compared", "names no file"),
        (
            "`src/model/tests/pairs::speeds_are_compared_with_their_signs_once_both_are_known`, \
             `properties/edges::two_speeds_may_be_the_tolerance_apart_and_a_ulp_more_trips`, \
             `properties/reaction::channels_that_come_apart_trip_within_the_formula_of_their_rule_and_not_before_its_time`",
            "one",
            "no test is named",
        ),
        (
            "`properties/outputs::a_brake_is_open",
            "`hal/main::a_brake_is_open",
            "`brake-output`: no test of `properties` is named",
        ),
    ] {
        let said = said(old, new, &known);
        assert!(said.iter().any(|line| line.contains(wanted)), "{old} to {new}: {said:?}");
    }
    assert_eq!(complaints("\n## What is covered\n\nEverything.\n", &known), ["there is no table"]);
}
