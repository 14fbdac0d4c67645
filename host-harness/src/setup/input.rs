//! The inputs of a setup, and which line of a frame each level column becomes.

use std::ops::Range;

use monitor_core::Span;

use super::model::{DemandLevel, DualSetup, InputLines, InputSetup, OneSided, Pairing, ResetSetup, Setting};
use super::name::check_name;
use super::section::{ColumnUse, Entry, Got, Mistake, Reader, Reported, Role, Section, Text};
use super::value::OR_ZERO;
use super::{MAX_INPUTS, MAX_LEVELS};
use crate::nearest::{are_numbered_alike, nearest};

/// Inputs and level columns, as far as they are read.
#[derive(Default)]
pub(super) struct Inputs {
    /// Level columns; the index is the line.
    pub(super) levels: Vec<String>,
    names: Vec<String>,
    inputs: Vec<InputSetup>,
    reported: Option<Reported>,
    too_many: bool,
}

impl Inputs {
    /// Reads every `[input.NAME]`, in the order of the file.
    pub(super) fn read(root: &Section<'_>) -> Self {
        let mut all = Self::default();
        match root.subsection("input", "[input]") {
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

    fn read_one(&mut self, table: &Section<'_>, entry: &Entry<'_>) {
        self.names.push(entry.key.to_owned());
        self.count(table.reader, &entry.key_span);
        let key = Text { text: entry.key, span: entry.key_span.clone() };
        if let Err(error) = check_name(table.reader, "an input", &key) {
            self.reported = Some(error);
        }
        let input = table
            .of(entry, format!("[input.{}]", entry.key))
            .and_then(|section| self.input(section, entry.key));
        match input {
            Ok(input) => self.inputs.push(input),
            Err(error) => self.reported = Some(error),
        }
    }

    /// Reports, once, the first input beyond the most there may be.
    fn count(&mut self, reader: &Reader<'_>, span: &Range<usize>) {
        if self.names.len() > MAX_INPUTS && !self.too_many {
            self.too_many = true;
            self.reported = Some(reader.refuse(
                span.clone(),
                format!("more than {MAX_INPUTS} inputs"),
                format!("input number {}", self.names.len()),
                "a column that is a demand by itself counts as an input: demand several monitors by one input, or split the setup",
            ));
        }
    }

    fn input(&mut self, section: Section<'_>, name: &str) -> Got<InputSetup> {
        const EXAMPLE: &str = "[\"door_1\", \"door_2\"]";
        let columns = section
            .needed("columns", EXAMPLE)
            .and_then(|entry| section.names(&entry, EXAMPLE).map(|columns| (entry, columns)))
            .and_then(|(entry, columns)| check_columns(&section, &entry, columns));
        let dual = match &columns {
            Ok(columns) if columns.len() == 2 => dual(&section).map(Some),
            Ok(_) => single_only(&section).map(|()| None),
            Err(error) => {
                for key in ["pairing", "discrepancy_time", "one_sided"] {
                    section.entry(key);
                }
                Err(*error)
            }
        };
        let demand =
            section.choice_or_first("demand", &[("high", DemandLevel::High), ("low", DemandLevel::Low)]);
        let filter = section.span_or_zero("filter", OR_ZERO);
        let reader = section.reader;
        let known = section.finish();
        let mut line =
            |column: &Text<'_>| self.line(reader, column, Role::Input, format!("a line of input `{name}`"));
        let lines: Vec<Got<u8>> = columns?.iter().map(&mut line).collect();
        let lines = match (lines.as_slice(), dual?) {
            (&[first, second], Some(dual)) => InputLines::Dual { first: first?, second: second?, dual },
            (&[line, ..], _) => InputLines::Single(line?),
            // `check_columns` lets one or two columns pass.
            ([], _) => return Err(Reported),
        };
        known?;
        Ok(InputSetup { name: name.to_owned(), lines, demand: demand?, filter: filter? })
    }

    /// The line of a level column: a column that is used twice is one line.
    fn line(&mut self, reader: &Reader<'_>, column: &Text<'_>, role: Role, purpose: String) -> Got<u8> {
        let name = column.text.to_owned();
        reader.columns.borrow_mut().push(ColumnUse {
            column: name.clone(),
            role,
            purpose,
            span: column.span.clone(),
        });
        let index = self.levels.iter().position(|level| *level == name).unwrap_or(self.levels.len());
        if index == self.levels.len() {
            self.levels.push(name);
        }
        match u8::try_from(index) {
            Ok(line) if index < MAX_LEVELS => Ok(line),
            _ => Err(reader.refuse(
                column.span.clone(),
                format!("more than {MAX_LEVELS} level columns"),
                format!("level column number {}", index + 1),
                "use fewer input lines, or split the setup into two",
            )),
        }
    }

    /// Whether a name is that of an input, or of a column that is one of its lines or says what is valid.
    pub(super) fn is_known(&self, reader: &Reader<'_>, name: &str) -> bool {
        let is_level = |one: &ColumnUse| matches!(one.role, Role::Input | Role::Valid) && one.column == name;
        self.names.iter().any(|known| known == name) || reader.columns.borrow().iter().any(is_level)
    }

    /// The index of the input that a name in `demand` or `input` stands for: a declared one, or else a column of the trace.
    /// `outputs` are names that could have been meant as well.
    pub(super) fn named<'n>(
        &mut self,
        reader: &Reader<'_>,
        demand: &Text<'_>,
        outputs: impl Iterator<Item = &'n str>,
    ) -> Got<usize> {
        if let Some(index) = self.names.iter().position(|name| name == demand.text) {
            return Ok(index);
        }
        self.refuse_doubtful(reader, demand, outputs)?;
        self.names.push(demand.text.to_owned());
        self.count(reader, &demand.span);
        let index = self.names.len() - 1;
        match self.line(reader, demand, Role::Input, "a demand".to_owned()) {
            Ok(line) => self.inputs.push(InputSetup {
                name: demand.text.to_owned(),
                lines: InputLines::Single(line),
                demand: DemandLevel::High,
                filter: Setting { value: Span::ZERO, text: "0 ms".to_owned(), span: 0..0 },
            }),
            Err(error) => self.reported = Some(error),
        }
        Ok(index)
    }

    /// Refuses a name that is probably no column of its own.
    fn refuse_doubtful<'n>(
        &self,
        reader: &Reader<'_>,
        demand: &Text<'_>,
        outputs: impl Iterator<Item = &'n str>,
    ) -> Got<()> {
        let name = demand.text;
        let uses = reader.columns.borrow();
        if let Some(line) = uses.iter().find(|line| line.role == Role::Input && line.column == name) {
            let mistake = Mistake {
                span: demand.span.clone(),
                message: format!("`{name}` is {}, not a demand by itself", line.purpose),
                label: "this would bypass the input, its filter and its demand level".to_owned(),
                related: Some((line.span.clone(), "used here".to_owned())),
                way_out: "name the input instead, or declare another input with this column alone".to_owned(),
            };
            drop(uses);
            return Err(reader.report(mistake));
        }
        drop(uses);
        let inputs = self.names.iter().map(|known| (known.as_str(), "input"));
        let known: Vec<_> = inputs.chain(outputs.map(|known| (known, "output"))).collect();
        let inverted = bare_of_not(name);
        if let Some((meant, what)) = known.iter().find(|(known, _)| Some(*known) == inverted) {
            return Err(reader.refuse(
                demand.span.clone(),
                format!("no {what} is called `{name}`"),
                "neither a name nor the opposite of one",
                format!(
                    "the opposite of `{meant}` is written \"not {meant}\"; if it is a column of the trace, declare it: \
                     {}",
                    declared(name)
                ),
            ));
        }
        if name.eq_ignore_ascii_case("always") {
            return Err(reader.refuse(
                demand.span.clone(),
                format!("no input is called `{name}`"),
                "no word of a demand",
                format!(
                    "leave `demand` out for a monitor that is always active; if it is a column of the trace, declare it: {}",
                    declared(name)
                ),
            ));
        }
        let known: Vec<_> = known.into_iter().filter(|(known, _)| !are_numbered_alike(known, name)).collect();
        match nearest(name, known.iter().map(|(known, _)| *known)) {
            None => Ok(()),
            Some(meant) => Err(reader.refuse(
                demand.span.clone(),
                format!(
                    "no {} is called `{name}`",
                    known.iter().find(|(known, _)| *known == meant).map_or("input", |(_, what)| *what)
                ),
                "unknown, and too near to a known name to be taken as a column",
                format!(
                    "did you mean `{meant}`? If it is a column of the trace, declare it: {}",
                    declared(name)
                ),
            )),
        }
    }

    /// Reads `[reset]`.
    pub(super) fn reset(&mut self, root: &Section<'_>) -> Got<Option<ResetSetup>> {
        let Some(section) = root.subsection("reset", "[reset]")? else {
            return Ok(None);
        };
        let column = section.name("column", "\"reset\"");
        let filter = section.span_or_zero("filter", OR_ZERO);
        let reader = section.reader;
        let known = section.finish();
        let line = self.line(reader, &column?, Role::Reset, "the reset".to_owned());
        known?;
        Ok(Some(ResetSetup { line: line?, filter: filter? }))
    }

    /// The inputs and the level columns, when all could be read.
    pub(super) fn into_parts(self) -> Got<(Vec<InputSetup>, Vec<String>)> {
        self.reported.map_or(Ok((self.inputs, self.levels)), Err)
    }
}

/// The section that declares a column as an input of the same name.
pub(super) fn declared(name: &str) -> String {
    let is_bare = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
    let key = if name.chars().all(is_bare) { name.to_owned() } else { format!("\"{name}\"") };
    format!("[input.{key}] columns = [\"{name}\"]")
}

/// What is left of a name without what means the opposite elsewhere.
fn bare_of_not(name: &str) -> Option<&str> {
    if let Some((word, bare)) = name.split_at_checked(3)
        && word.eq_ignore_ascii_case("not")
        && !bare.starts_with(['_', '-', '.'])
    {
        return Some(bare.trim_matches(['(', ')', ' ']));
    }
    if let Some(bare) = name.strip_prefix(['!', '~', '/', '-', '¬']).or_else(|| name.strip_suffix(" not")) {
        return Some(bare.trim());
    }
    let (word, bare) = name.split_once(['_', '-', '.'])?;
    word.eq_ignore_ascii_case("not").then_some(bare)
}

fn check_columns<'r>(section: &Section<'r>, entry: &Entry<'r>, columns: Vec<Text<'r>>) -> Got<Vec<Text<'r>>> {
    if columns.is_empty() || columns.len() > 2 {
        return Err(section.reader.refuse(
            entry.span.clone(),
            format!("{} must have one or two columns", section.title),
            format!("{} columns", columns.len()),
            "name one column for a single-channel input and two for a dual-channel one",
        ));
    }
    if let [first, second] = columns.as_slice()
        && first.text == second.text
    {
        return Err(section.reader.report(Mistake {
            span: second.span.clone(),
            message: format!("both channels of {} are the column `{}`", section.title, second.text),
            label: "the same column".to_owned(),
            related: Some((first.span.clone(), "first named here".to_owned())),
            way_out: "name two different columns, or one alone for a single-channel input".to_owned(),
        }));
    }
    Ok(columns)
}

fn dual(section: &Section<'_>) -> Got<DualSetup> {
    let pairing = section.string("pairing", "\"equivalent\"").and_then(|text| {
        let choices = [("equivalent", Pairing::Equivalent), ("antivalent", Pairing::Antivalent)];
        section.choice(&text, "pairing", &choices)
    });
    let discrepancy_time = section.required("discrepancy_time", OR_ZERO);
    let one_sided =
        section.choice_or_first("one_sided", &[("fault", OneSided::Fault), ("ignore", OneSided::Ignore)]);
    Ok(DualSetup { pairing: pairing?, discrepancy_time: discrepancy_time?, one_sided: one_sided? })
}

fn single_only(section: &Section<'_>) -> Got<()> {
    const WHY: &str = "the input has one column, so there is nothing to compare";
    const WAY_OUT: &str = "leave it out, or name the second column in `columns`";
    let refused =
        ["pairing", "discrepancy_time", "one_sided"].map(|key| section.misplaced(key, WHY, WAY_OUT));
    refused.into_iter().collect()
}
