//! `--plot` of `cowitness replay` and `cowitness explain`.

use std::path::{Path, PathBuf};

use super::args::Drawn;
use super::write_to;
use crate::plot::{Data, Plot, csv};
use crate::replay::Outcome;
use crate::setup::Setup;

/// What is drawn, and where it goes.
#[derive(Debug, Default)]
pub(super) struct Targets {
    plot: Option<(PathBuf, Format)>,
}

/// How a plot is written.
#[derive(Clone, Copy, Debug)]
enum Format {
    Json,
    Csv,
}

/// One trace, replayed.
pub(super) struct Replayed<'a> {
    pub(super) setup: &'a Setup,
    pub(super) outcome: &'a Outcome,
    pub(super) plot: &'a Plot,
    /// The trace.
    pub(super) path: &'a Path,
}

impl Targets {
    /// Of what was typed.
    pub(super) fn new(drawn: &Drawn, traces: &[PathBuf]) -> Result<Self, String> {
        let plot = match &drawn.plot {
            None => None,
            Some(_) if traces.len() > 1 => {
                return Err("--plot takes one trace; give the traces one at a time".to_owned());
            }
            Some(path) => Some((path.clone(), format_of(path)?)),
        };
        Ok(Self { plot })
    }

    /// All files that are written.
    pub(super) fn paths(&self) -> impl Iterator<Item = (&'static str, &Path)> {
        self.plot.iter().map(|(path, _)| ("--plot", path.as_path()))
    }

    /// Whether a replay has to keep what is drawn.
    pub(super) const fn is_any(&self) -> bool {
        self.plot.is_some()
    }

    /// Writes what is wanted of a trace.
    pub(super) fn write(&self, of: &Replayed<'_>) -> Result<(), String> {
        if let Some((path, format)) = &self.plot {
            let text = match format {
                Format::Csv => csv(of.plot),
                Format::Json => {
                    let data = Data::new(of.setup, of.outcome, of.plot, &of.path.display().to_string());
                    serde_json::to_string(&data)
                        .map_err(|error| format!("the plot cannot be written as JSON: {error}"))?
                        + "\n"
                }
            };
            write_to(path, text.as_bytes(), "--plot")?;
        }
        Ok(())
    }
}

/// The end of its name tells.
fn format_of(path: &Path) -> Result<Format, String> {
    let suffix = path.extension().map(|suffix| suffix.to_string_lossy().to_ascii_lowercase());
    match suffix.as_deref() {
        Some("json") => Ok(Format::Json),
        Some("csv") => Ok(Format::Csv),
        _ => Err(format!(
            "--plot {}: the end of the name says how it is written; name a file that ends with .json or .csv",
            path.display()
        )),
    }
}

/// Refuses what would go to standard output twice, or to one file twice.
pub(super) fn once<'a>(outs: impl Iterator<Item = (&'static str, &'a Path)>) -> Result<(), String> {
    let mut before: Vec<(&'static str, &Path)> = Vec::new();
    for (option, out) in outs {
        if let Some((other, _)) = before.iter().find(|(_, path)| *path == out) {
            return Err(match out.as_os_str() == "-" {
                true => {
                    format!("standard output takes one of {other} and {option}; name a file for the other")
                }
                false => format!("{}: both {other} and {option} would be written to it", out.display()),
            });
        }
        before.push((option, out));
    }
    Ok(())
}
