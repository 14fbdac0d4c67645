//! A vectors file read back.

use monitor_core::Frame;

use super::columns::{self, COLUMNS, OUTCOMES, STIMULUS, cells, numbers};
use super::csv::{CASE, CHECKSUM, FIRST, POINTS, SETUP, SETUP_LINE, checksum};
use crate::replay::{Refused, ReplayAxis, axis_of_points};
use crate::setup::Setup;

/// A vectors file that cannot be used. Its text says where, what, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct BadVectors(String);

/// One case as it was written.
#[derive(Clone, Debug)]
pub struct RecordedCase {
    /// What it is about.
    pub about: String,
    /// Its frames, with what each must come to, as the numbers of [`COLUMNS`].
    pub rows: Vec<(Frame, [u32; OUTCOMES])>,
}

/// A vectors file.
#[derive(Clone, Debug)]
pub struct Recorded {
    /// The setup that it was derived from.
    pub setup: Setup,
    /// Stored readings per channel of the targets that it is for.
    pub points: u16,
    /// Its cases.
    pub cases: Vec<RecordedCase>,
}

struct File<'a> {
    path: &'a str,
}

impl File<'_> {
    fn bad(&self, message: impl std::fmt::Display) -> BadVectors {
        BadVectors(format!("{}: {message}", self.path))
    }

    fn at(&self, line: usize, message: impl std::fmt::Display) -> BadVectors {
        BadVectors(format!("{}:{line}: {message}", self.path))
    }
}

impl Recorded {
    /// Reads a vectors file; `path` is what messages call it.
    ///
    /// # Errors
    ///
    /// [`BadVectors`] when it is none, was changed since it was written, or expects what this program does not come to.
    pub fn parse(text: &str, path: &str) -> Result<Self, BadVectors> {
        let file = File { path };
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut parts = text.splitn(3, '\n');
        let (first, second) = (parts.next().unwrap_or(""), parts.next().unwrap_or(""));
        let body = parts.next().unwrap_or("");
        if first.trim_end() != FIRST {
            return Err(file.at(1, format!("not a vectors file, which begins with `{FIRST}`; write one with `cowitness vectors --csv FILE`")));
        }
        let written = second.trim_end().strip_prefix(CHECKSUM);
        let found = format!("{:08x}", checksum(body));
        if written != Some(found.as_str()) {
            return Err(file.at(
                2,
                format!(
                    "changed since it was written (checksum {}, its lines have {found}); write it again with `cowitness vectors --csv FILE`",
                    written.unwrap_or("missing")
                ),
            ));
        }
        let setup = read_setup(&file, body)?;
        let points = body.lines().find_map(|line| line.strip_prefix(POINTS)?.trim_end().parse().ok());
        let points = points.ok_or_else(|| {
            file.bad(format!("no line `{POINTS}...`; it was written by another version: write it again"))
        })?;
        let recorded = Self { cases: read_cases(&file, body)?, setup, points };
        recorded.agree_with_reference(&file)?;
        Ok(recorded)
    }

    /// The reference, before its first frame.
    ///
    /// # Errors
    ///
    /// [`Refused`] when the core does not accept the setup.
    pub fn axis(&self) -> Result<ReplayAxis, Refused> {
        axis_of_points(&self.setup, self.points)
    }

    /// The reference of this program comes to what the file expects.
    fn agree_with_reference(&self, file: &File<'_>) -> Result<(), BadVectors> {
        let fresh = self.axis().map_err(|error| file.bad(error))?;
        for (number, case) in self.cases.iter().enumerate() {
            let mut axis = fresh.clone();
            for (frame, (shown, expected)) in case.rows.iter().enumerate() {
                if numbers(&axis.step(shown)) != *expected {
                    return Err(file.bad(format!(
                        "case {number}, frame {frame}: the reference of this program comes to something else than the file expects; it \
                         was written by another version: write it again with `cowitness vectors --csv FILE`"
                    )));
                }
            }
        }
        Ok(())
    }
}

fn read_setup(file: &File<'_>, body: &str) -> Result<Setup, BadVectors> {
    let lines = body.lines().filter_map(|line| line.strip_prefix(SETUP_LINE.trim_end()));
    let text: String = lines.map(|line| line.strip_prefix(' ').unwrap_or(line).to_owned() + "\n").collect();
    let setup = Setup::parse(&text, format!("setup in {}", file.path)).map_err(|error| file.bad(error))?;
    if !setup.analogues.is_empty() {
        return Err(file.bad(
            "its setup has analogue values, and vectors carry no readings of one; write it again with `cowitness vectors --csv FILE` and a \
             setup without",
        ));
    }
    let (found, named) = (
        format!("{:08x}", setup.checksum()),
        body.lines().find_map(|line| line.strip_prefix(SETUP)).unwrap_or("missing"),
    );
    if found != named {
        return Err(file.bad(format!(
            "says it belongs to the setup with checksum {named}, but holds one with {found}; write it again with `cowitness vectors`"
        )));
    }
    Ok(setup)
}

fn read_cases(file: &File<'_>, body: &str) -> Result<Vec<RecordedCase>, BadVectors> {
    let abouts = body.lines().filter_map(|line| line.strip_prefix(CASE)?.split_once(": "));
    let mut cases: Vec<RecordedCase> =
        abouts.map(|(_, about)| RecordedCase { about: about.to_owned(), rows: Vec::new() }).collect();
    // The two lines before the body count too.
    let mut rows =
        body.lines().zip(3..).filter(|(line, _)| !line.starts_with('#') && !line.trim().is_empty());
    let names: Vec<&str> = STIMULUS.into_iter().chain(COLUMNS.map(|column| column.name)).collect();
    match rows.next() {
        Some((header, _)) if cells(header) == names => {}
        Some((_, line)) => return Err(file.at(line, format!("the header line is not `{}`", names.join(",")))),
        None => return Err(file.bad("no rows")),
    }
    for (text, line) in rows {
        let cells = cells(text);
        let bad = |place: usize| {
            let name = names.get(place).copied().unwrap_or("?");
            let cell = cells.get(place).copied().unwrap_or("");
            file.at(line, format!("column `{name}`: `{cell}` cannot be; write the file again"))
        };
        if cells.len() != names.len() {
            return Err(file.at(
                line,
                format!("{} columns instead of {}; write the file again", cells.len(), names.len()),
            ));
        }
        let shown = columns::frame(&cells[2..STIMULUS.len()]).map_err(|place| bad(place + 2))?;
        let mut expected = [0; OUTCOMES];
        for ((value, column), place) in expected.iter_mut().zip(COLUMNS).zip(STIMULUS.len()..) {
            *value = column.kind.parse(cells[place]).ok_or_else(|| bad(place))?;
        }
        let case = columns::number(cells[0]).and_then(|case| cases.get_mut(usize::try_from(case).ok()?));
        let case = case.ok_or_else(|| bad(0))?;
        if columns::number(cells[1]) != Some(case.rows.len() as u64) {
            return Err(bad(1));
        }
        case.rows.push((shown, expected));
    }
    Ok(cases)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn vectors_whose_setup_has_analogue_values_are_refused() {
        let setup = format!(
            "{}[analogue.torque]\ncolumns = [\"m\", \"n\"]\nunit = \"Nm\"\nlow = \"-9 Nm\"\nhigh = \"9 Nm\"\n\
             timeout = \"40 ms\"\ntolerance = \"1 Nm\"\ndiscrepancy_time = \"20 ms\"\n",
            crate::vectors::BUILT_IN_SETUP
        );
        let body: String = setup.lines().map(|line| format!("{SETUP_LINE}{line}\n")).collect();
        let text = format!("{FIRST}\n{CHECKSUM}{:08x}\n{body}", checksum(&body));
        let error = Recorded::parse(&text, "vectors.csv").expect_err("analogue values").to_string();
        assert!(error.starts_with("vectors.csv: its setup has analogue values"), "{error}");
    }
}
