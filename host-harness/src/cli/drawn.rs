//! `--plot`, `--svg`, `--png` and `--picture` of `cowitness replay` and `cowitness explain`.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};

use monitor_core::Channel;

use super::args::Drawn;
use super::html::targets;
use super::write_to;
use crate::explain::{Asked, moment};
use crate::picture::{Moment, Picture, png};
use crate::plot::{Data, Plot, csv};
use crate::replay::{Outcome, Trip, TripRule};
use crate::setup::Setup;

/// Of so many trips the text of a replay has a picture.
const PICTURES: usize = 3;

/// What is drawn, and where it goes.
#[derive(Debug, Default)]
pub(super) struct Targets {
    plot: Option<(PathBuf, Format)>,
    /// One for each trace, or none.
    svg: Vec<PathBuf>,
    png: Vec<PathBuf>,
    in_text: bool,
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
    /// Which it is of those that were given.
    pub(super) place: usize,
    /// What the picture is of.
    pub(super) asked: Asked,
}

impl Replayed<'_> {
    fn picture(&self, of: Moment) -> Picture {
        let name = self
            .path
            .file_name()
            .map_or_else(|| self.path.display().to_string(), |name| name.to_string_lossy().into_owned());
        let name = if name == "-" { "standard input" } else { &name };
        Picture::new(self.setup, self.outcome, self.plot, name, of)
    }

    fn moment(&self) -> Moment {
        // Whether there is such a trip was found out when it was explained.
        moment(self.outcome, self.asked).unwrap_or(Moment::Whole)
    }
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
        let of = |out: &Option<PathBuf>, names| match out {
            None => Ok(Vec::new()),
            Some(out) => targets(out, traces, names),
        };
        let svg = of(&drawn.svg, ("--svg", "svg"))?;
        let png = of(&drawn.png, ("--png", "png"))?;
        Ok(Self { plot, svg, png, in_text: drawn.picture })
    }

    /// All files that are written, with their options.
    pub(super) fn paths(&self) -> impl Iterator<Item = (&'static str, &PathBuf)> {
        let plot = self.plot.iter().map(|(path, _)| ("--plot", path));
        let svg = self.svg.iter().map(|path| ("--svg", path));
        plot.chain(svg).chain(self.png.iter().map(|path| ("--png", path)))
    }

    /// Whether a replay has to keep what is drawn.
    pub(super) fn is_any(&self) -> bool {
        self.in_text || self.paths().next().is_some()
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
        let (svg, pixels) = (self.svg.get(of.place), self.png.get(of.place));
        if svg.is_none() && pixels.is_none() {
            return Ok(());
        }
        let drawn = of.picture(of.moment()).svg();
        if let Some(path) = svg {
            write_to(path, drawn.as_bytes(), "--svg")?;
        }
        if let Some(path) = pixels {
            write_to(path, &png(&drawn).map_err(|error| error.to_string())?, "--png")?;
        }
        Ok(())
    }

    /// What of a trace is drawn in the text: what is asked for, and with `further` the first trips, too.
    pub(super) fn in_text(&self, of: &Replayed<'_>, further: bool) -> String {
        if !self.in_text {
            return String::new();
        }
        let mut moments = vec![of.moment()];
        if further {
            let first = of.moment();
            moments.extend(firsts(of.outcome).map(Moment::Trip).filter(|moment| *moment != first));
        }
        let blocks = has_blocks();
        let mut out = String::from("\nPictures\n");
        for moment in moments {
            out += &of.picture(moment).in_text(blocks);
        }
        out
    }
}

/// The first trips, less those with which the other channel came to the same: their pictures would be the same.
fn firsts(outcome: &Outcome) -> impl Iterator<Item = usize> + '_ {
    let is_first = |trip: &Trip| match (trip.confirmed_by, trip.rule) {
        (Some(by), TripRule::Monitor(_, Channel::B)) => by.after_ns > 0,
        (Some(by), _) => by.after_ns >= 0,
        (None, _) => true,
    };
    let all = outcome.trips.kept.iter().enumerate();
    all.filter(move |(_, trip)| is_first(trip)).map(|(place, _)| place).take(PICTURES)
}

/// Standard output is a terminal that shows more than ASCII.
fn has_blocks() -> bool {
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter().filter_map(std::env::var_os);
    // The first that is set is the one that counts.
    let locale =
        locale.map(|value| value.to_string_lossy().to_ascii_lowercase()).find(|value| !value.is_empty());
    let is_wide = locale.is_some_and(|value| value.contains("utf-8") || value.contains("utf8"));
    is_wide && std::io::stdout().is_terminal()
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
