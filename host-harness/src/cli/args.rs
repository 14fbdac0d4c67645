//! What can be typed.

use std::path::PathBuf;

use clap::{Parser, Subcommand};

use crate::report::CAUTION;

/// Two independent witnesses of one motion: replays traces of two position sources through drive-based safety monitors.
#[derive(Debug, Parser)]
#[command(name = "cowitness", version, after_help = CAUTION, arg_required_else_help = true)]
pub(super) struct Args {
    #[command(subcommand)]
    pub(super) command: Command,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Replay traces through both channels: every trip and fault with its timing, and how close the rest came
    #[command(
        after_help = "Example:\n  cowitness replay run1.csv run2.csv.gz --setup axis.toml --json report.json\n\n\
        Exit status: 0 nothing tripped (with --expect: all expectations met), 1 something tripped or was\n\
        faulted (with --expect: one was missed), 2 could not run."
    )]
    Replay(Replay),
    /// Make a synthetic trace from a motion, two encoder models and faults
    #[command(after_help = "Example:\n  cowitness synth overspeed.toml --out overspeed.csv.gz")]
    Synth(Synth),
    /// Print the JSON Schema of the replay report
    Schema,
}

#[derive(Debug, clap::Args)]
pub(super) struct Replay {
    /// Traces: CSV (comma, semicolon or tab), plain or as gzip or zstd; `-` is standard input
    #[arg(required = true, value_name = "TRACE")]
    pub(super) traces: Vec<PathBuf>,
    /// The setup of the axis
    #[arg(long, value_name = "AXIS.toml")]
    pub(super) setup: PathBuf,
    /// Write the report as JSON: an object for one trace, an array for several; `-` is standard output
    #[arg(long, value_name = "FILE")]
    pub(super) json: Option<PathBuf>,
    /// Hold each trace against these expectations, and let the exit status say whether they were met
    #[arg(long, value_name = "FILE")]
    pub(super) expect: Option<PathBuf>,
    /// Leave bad rows out, counting them, instead of refusing the trace
    #[arg(long)]
    pub(super) skip_bad: bool,
    /// Print no report: only errors, expectations that were missed, and rows that were left out
    #[arg(long, short)]
    pub(super) quiet: bool,
}

#[derive(Debug, clap::Args)]
pub(super) struct Synth {
    /// The scenario
    #[arg(value_name = "SCENARIO.toml")]
    pub(super) scenario: PathBuf,
    /// The trace to write: `.gz` and `.zst` are compressed; `-` is standard output
    #[arg(long, value_name = "TRACE")]
    pub(super) out: PathBuf,
    /// Do not list what was planted in the trace
    #[arg(long, short)]
    pub(super) quiet: bool,
}
