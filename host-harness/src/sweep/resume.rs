//! Results that outlive the program: a line each, written as they come.

use std::fs::{File, OpenOptions};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use monitor_core::seal::crc32;
use serde::{Deserialize, Serialize};

use super::{Found, Grid, Identity, Results, Sweep, Trace};

/// Why results cannot be taken from a file, or not kept there; with what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{path}: {why}")]
pub struct ResumeError {
    path: String,
    why: String,
}

/// The version of the file; another one is refused.
const VERSION: u32 = 1;

/// The first line: what the results are of.
#[derive(Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Header {
    cowitness_sweep: u32,
    program: String,
    setup: String,
    settings: Vec<String>,
    /// Over what every point says, so that a grid is told apart that is written in the same way.
    grid: String,
    skip_bad: bool,
    slack_ns: u64,
}

impl Header {
    fn of(sweep: &Sweep) -> Self {
        let grid = &sweep.grid;
        let settings = grid.variations().iter();
        Self {
            cowitness_sweep: VERSION,
            program: env!("CARGO_PKG_VERSION").to_owned(),
            setup: format!("{:08x}", grid.base().setup().checksum()),
            settings: settings.map(|one| format!("{}={}", one.path(), one.values().join(", "))).collect(),
            grid: format!("{:08x}", checksum(grid)),
            skip_bad: sweep.options.skip_bad,
            slack_ns: sweep.slack_ns,
        }
    }

    /// What is another than it was.
    fn difference(&self, now: &Self) -> Option<String> {
        Some(if self.cowitness_sweep != now.cowitness_sweep || self.program != now.program {
            format!("of version {} of the program, and this is {}", self.program, now.program)
        } else if self.setup != now.setup {
            format!("of another setup: its checksum is {}, and now it is {}", self.setup, now.setup)
        } else if self.settings != now.settings {
            let [was, is] =
                [self, now].map(|header| header.settings.iter().map(|one| brief(one)).collect::<Vec<_>>());
            format!("of another grid: it varied {}, and now it is {}", was.join("; "), is.join("; "))
        } else if self.grid != now.grid {
            "of another grid: the same values come to other setups".to_owned()
        } else if self.skip_bad != now.skip_bad {
            format!("{} --skip-bad", if self.skip_bad { "of a run with" } else { "of a run without" })
        } else if self.slack_ns != now.slack_ns {
            format!("of a slack of {} ns, and now it is {} ns", self.slack_ns, now.slack_ns)
        } else {
            return None;
        })
    }
}

/// `SETTING=VALUES` with the first of many values and the last.
fn brief(setting: &str) -> String {
    const LISTED: usize = 4;
    let (name, values) = setting.rsplit_once('=').unwrap_or((setting, ""));
    let values: Vec<&str> = values.split(", ").collect();
    match values.as_slice() {
        [first, second, .., last] if values.len() > LISTED => {
            format!("{name}={first}, {second}, ... {last} ({} values)", values.len())
        }
        _ => setting.to_owned(),
    }
}

fn checksum(grid: &Grid) -> u32 {
    let points = grid.points().iter().map(|point| match &point.setup {
        Ok(setup) => format!("{:08x}\n", setup.checksum()),
        Err(why) => format!("{why}\n"),
    });
    crc32(points.collect::<String>().as_bytes())
}

/// One result.
#[derive(Debug, Serialize, Deserialize)]
struct Line {
    trace: String,
    #[serde(flatten)]
    identity: Identity,
    expectations: Option<u32>,
    point: usize,
    found: Found,
}

/// A file of results.
#[derive(Debug)]
pub struct Resume {
    path: PathBuf,
    file: File,
    lines: Vec<Line>,
}

impl Resume {
    /// Opens the file, or makes it; the results in it are those of an earlier run of the same sweep. A last line that was not written to
    /// its end is dropped.
    ///
    /// # Errors
    ///
    /// [`ResumeError`] when the file cannot be read or written, is no such file or damaged, is one of another sweep, or when another run
    /// writes to it.
    pub fn open(path: &Path, sweep: &Sweep) -> Result<Self, ResumeError> {
        let refuse = |why: String| ResumeError { path: path.display().to_string(), why };
        let failed = |error: std::io::Error| refuse(format!("{error}; check the path given with --resume"));
        let open = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(path);
        let mut file = open.map_err(failed)?;
        if let Err(std::fs::TryLockError::WouldBlock) = file.try_lock() {
            return Err(refuse(
                "another run writes to it; wait for its end, or name another file".to_owned(),
            ));
        }
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(failed)?;
        let whole = bytes.iter().rposition(|byte| *byte == b'\n').map_or(0, |newline| newline + 1);
        let header = Header::of(sweep);
        let no_file =
            || refuse("is no file of a sweep; name one that is, or one that does not exist yet".to_owned());
        // A first line that was cut is a file without any result, unless it is something else.
        if whole == 0 && !bytes.is_empty() && !bytes.starts_with(b"{\"cowitness_sweep\":") {
            return Err(no_file());
        }
        let text = std::str::from_utf8(&bytes[..whole]).map_err(|_| no_file())?;
        let mut lines = Vec::new();
        for (place, line) in text.lines().enumerate() {
            if place == 0 {
                let found: Header = serde_json::from_str(line).map_err(|_| no_file())?;
                if let Some(difference) = found.difference(&header) {
                    return Err(refuse(format!("is {difference}; name another file, or remove this one")));
                }
                continue;
            }
            let line: Line = serde_json::from_str(line).map_err(|error| {
                refuse(format!("line {} is damaged ({error}); remove the line, or the file", place + 1))
            })?;
            lines.push(line);
        }
        file.set_len(whole as u64).and_then(|()| file.seek(SeekFrom::End(0))).map_err(failed)?;
        let mut resume = Self { path: path.to_owned(), file, lines };
        if whole == 0 {
            resume.append(&(json(&header) + "\n"))?;
        }
        Ok(resume)
    }

    /// Puts what the file has into place; how many results that is.
    ///
    /// # Errors
    ///
    /// [`ResumeError`] when a trace or its expectations are not what they were.
    pub(super) fn restore(&self, sweep: &Sweep, results: &mut Results) -> Result<usize, ResumeError> {
        let mut restored = 0;
        for (trace, (identity, places)) in sweep.traces.iter().zip(&mut results.traces) {
            let name = trace.path.display().to_string();
            let lines = self.lines.iter().filter(|line| line.trace == name);
            for line in lines {
                let now = match *identity {
                    Some(now) => now,
                    None => *identity.insert(Identity::read(&trace.path).map_err(|error| ResumeError {
                        path: name.clone(),
                        why: format!("cannot be read: {error}; check the path"),
                    })?),
                };
                if line.identity != now {
                    let why = "has results of another content of";
                    return Err(self.refuse(&format!("{why} {name}; name another file, or remove this one")));
                }
                if line.expectations != trace.expectations.as_ref().map(|(_, checksum)| *checksum) {
                    let why = "has results by other expectations of";
                    return Err(self.refuse(&format!("{why} {name}; name another file, or remove this one")));
                }
                let Some(place) = places.get_mut(line.point) else {
                    return Err(self.refuse("names a point that the grid does not have; remove the file"));
                };
                restored += usize::from(place.is_none());
                *place = Some(line.found.clone());
            }
        }
        Ok(restored)
    }

    /// Appends results, all of them or, when the program is killed meanwhile, those at the beginning.
    pub(super) fn keep(
        &mut self,
        trace: &Trace,
        identity: Identity,
        found: &[(usize, Found)],
    ) -> Result<(), ResumeError> {
        let line = |(point, found): &(usize, Found)| {
            json(&Line {
                trace: trace.path.display().to_string(),
                identity,
                expectations: trace.expectations.as_ref().map(|(_, checksum)| *checksum),
                point: *point,
                found: found.clone(),
            }) + "\n"
        };
        self.append(&found.iter().map(line).collect::<String>())
    }

    fn append(&mut self, text: &str) -> Result<(), ResumeError> {
        let written = self.file.write_all(text.as_bytes()).and_then(|()| self.file.sync_data());
        written.map_err(|error| self.refuse(&format!("cannot be written: {error}; check the disk")))
    }

    fn refuse(&self, why: &str) -> ResumeError {
        ResumeError { path: self.path.display().to_string(), why: why.to_owned() }
    }
}

/// Plain data, with texts as its only keys, always has a form in JSON.
fn json(value: &impl Serialize) -> String {
    serde_json::to_string(value).unwrap_or_default()
}
