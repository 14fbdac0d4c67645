//! What can be typed.

use std::path::PathBuf;

use clap::{Parser, Subcommand};

use crate::report::CAUTION;
use crate::setup::HISTORY_POINTS;

/// Two independent witnesses of one motion: replays traces of two position sources through drive-based safety monitors.
#[derive(Debug, Parser)]
#[command(name = "cowitness", version, after_help = after_help(), arg_required_else_help = true)]
pub(super) struct Args {
    #[command(subcommand)]
    pub(super) command: Command,
}

/// What stands under the list of commands.
fn after_help() -> String {
    format!(
        "Example:\n  cowitness replay run.csv --setup axis.toml\n\n\
        A file that is written replaces the one of its name, if there is one. Only a draft of `columns` never does, and\n\
        `sweep --resume` goes on in its file.\n\n\
        Exit status: 0 ran and found nothing, 1 ran and found something, 2 could not run. The help of each command says what\n\
        there is to find.\n\n{CAUTION}"
    )
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Replay traces through both channels: every trip and fault with its timing, and how close the rest came
    #[command(
        after_help = "Example:\n  cowitness replay run1.csv run2.csv.gz --setup axis.toml --json report.json\n  \
        cowitness replay run.csv --setup axis.toml --expect run.expected.toml --junit replay.xml --annotations --quiet\n\n\
        Without --expect the one case of a suite is that nothing trips and nothing is faulted. Where setup or expectations cannot be\n\
        used there is nothing to write into a file of JUnit XML; the annotation says why.\n\n\
        Exit status: 0 nothing tripped (with --expect: all expectations met), 1 something tripped or was\n\
        faulted (with --expect: one was missed), 2 could not run."
    )]
    Replay(Replay),
    /// Explain what took the permit: what happened, whether the motion was real, where the channels part, what would have let it pass
    #[command(
        after_help = "Example:\n  cowitness explain run.csv --setup axis.toml\n  cowitness explain run.csv --setup axis.toml --trip 2 --json why.json\n\n\
        Without --trip and --fault it explains the trip or fault that took the permit first, or where none did the first that\n\
        there is. RIGHT: the motion broke the rule, or a witness of it failed. NUISANCE: the motion was plausible, and what it\n\
        tripped on is how it is measured. UNDECIDED: the trace does not tell. PLANNED: the torque went as it was told to.\n\
        Estimates from one trace explain; they decide nothing.\n\n\
        Exit status: 0 nothing tripped, 1 something did and is explained, 2 could not run."
    )]
    Explain(Explain),
    /// Before any motion: what the settings must leave room for, and how late and how far every trip is
    #[command(after_help = "Example:\n  cowitness margins --setup axis.toml --json margins.json\n\n\
        What the machine, its sensors and its contacts are like is read from the sections [machine], [sensors], [contacts]\n\
        and [approach] of the setup; no monitor reads them. What they do not say is named.\n\n\
        Exit status: 0 nothing found in what the setup says (NOT KNOWN in the findings names what it does not), 1 a monitor trips\n\
        for nothing or reacts too late, 2 could not run.")]
    Margins(Margins),
    /// Accept an axis: judge the recorded trial of every safety function, list what was not tested, make a report to print and sign
    #[command(
        after_help = "Example:\n  cowitness accept axis.accept.toml --html acceptance.html --json acceptance.json\n\n\
        The plan names the setup and, trial by trial, the rule, how it is tested, the trace that was recorded, and what must\n\
        trip within which time and how far beyond its limit. Files are named relative to the plan. A trial without a trace is\n\
        NOT TESTED, and so is every function of the setup that no trial shows: each is named.\n\n\
        The report is evidence of recorded trials. Whether they are the right ones judges the person who signs it.\n\n\
        Exit status: 0 every trial passed and nothing is untested, 1 one failed or something was not tested, 2 could not run."
    )]
    Accept(Accept),
    /// Make a synthetic trace from a motion, two encoder models and faults
    #[command(after_help = "Example:\n  cowitness synth overspeed.toml --out overspeed.csv.gz\n\n\
        A file of that name is replaced. For Parquet or Arrow IPC, convert the CSV with `cowitness convert`.")]
    Synth(Synth),
    /// Convert a trace between CSV, Parquet and Arrow IPC, all its columns, without loss
    #[command(after_help = "Example:\n  cowitness convert run.csv --out run.parquet --setup axis.toml\n\n\
        The name of the new file says its format: .csv, .csv.gz, .csv.zst, .parquet or .arrow. Whole numbers, times to the ns and\n\
        decimal numbers of up to 18 digits are kept as they are; what no type of column keeps exactly is refused.\n\
        What the new format has no place for is told in a line for each kind of change.\n\
        With --setup the time becomes a column of durations, and units are noted. A file of the name is replaced once all is written.\n\n\
        Exit status: 0 converted, 2 could not run.")]
    Convert(Convert),
    /// Replay traces with every point of a grid over one or two settings: nuisance trips against missed ones, reaction and travel
    #[command(
        after_help = "Example:\n  cowitness sweep runs/*.csv.gz --setup axis.toml --expected --slack \"100 ms\" \\\n    \
        --vary \"discrepancy.tolerance=1 mm..3 mm step 0.5 mm\" \\\n    \
        --vary \"monitor.'slow while the door is open'.on_delay=0 ms, 4 ms, 8 ms\" --csv sweep.csv\n\n\
        A setting is named by its place in the setup: speed.window, channel.b.timeout, input.door.filter,\n\
        monitor.'NAME'.ramp.margin. Its values are a list or ranges with a step, separated by commas.\n\n\
        With expectations, a trip that none of them names is a nuisance trip, and one that is expected and does not come\n\
        in its time window is missed; wrong faults are those of both sorts. With * are points of which no other is as good\n\
        in nuisances, misses and every figure of the worst case and of lateness, and better in one; = is the setup as\n\
        written.\n\n\
        The worst case is that of the rules that the settings belong to, or of all, by the setup alone, as `margins` has\n\
        it: the reaction from what is truly broken until the torque goes; the travel until the axis stands, where the setup\n\
        says enough, and the same from a demand; how far the two sources can be apart when the torque goes; the distance\n\
        that the approach needs. Of the last three what differs between points is shown; --csv and --json have all.\n\
        A line that ends at a looser limit ends sooner, which makes nothing safer, because the axis may go on at that\n\
        limit: from a demand, and for the distance, a looser limit counts at least as much as the stricter ones swept.\n\
        Latest is the longest from the `from` of an expected trip of these rules to the trip, as observed.\n\n\
        A setting with the fewest nuisance trips is no recommendation: limits come from the risk assessment of the\n\
        machine, and a trace shows only what happened while it was recorded. This is an analysis aid, not a certified\n\
        safety component.\n\n\
        Exit status: 0 every point was evaluated, 1 the setup refuses some (which, and why, is in the table),\n\
        2 could not run."
    )]
    Sweep(Sweep),
    /// Seal a setup into a compact binary for the target, with a checksum
    #[command(after_help = "Example:\n  cowitness seal axis.toml --out axis.sealed --rust axis.rs\n\n\
        Outcomes depend on --points through the effective window of the speed: with M = (points - 1)/2 it exceeds the\n\
        set one by at most 1/M while readings come at least every window/M, and by at most one reading interval\n\
        otherwise. The default is what `cowitness replay` has; seal with what the axis on the target has: in C that is\n\
        CW_POINTS, 33 or for a small library 17.\n\n\
        The checksum finds damage; it is no protection against intent.")]
    Seal(Seal),
    /// Print the sheet that a second person reviews of a sealed setup
    #[command(after_help = "Example:\n  cowitness inspect axis.sealed --setup axis.toml > review.txt\n\n\
        Exit status: 0 printed (with --setup: it is the image of that setup, byte for byte), 1 something differs,\n\
        2 refused: altered, cut, of another version, or not a sealed setup.")]
    Inspect(Inspect),
    /// Write stimulus and expected outcome, frame by frame, to check an implementation in any language, and say what they cover
    #[command(after_help = "Example:\n  cowitness vectors --csv vectors.csv --c vectors.h\n\n\
        Exit status: 0 everything that can occur is covered, 1 something is not, 2 could not run.")]
    Vectors(Vectors),
    /// Compare the log of an implementation with such vectors: the first difference, and why the reference says otherwise
    #[command(after_help = "Example:\n  cowitness compare log.csv --vectors vectors.csv\n\n\
        The log is text separated by comma, semicolon or tab, with the columns case, frame, permit, and any others of an\n\
        outcome. Neither columns nor rows need an order.\n\n\
        Exit status: 0 the same, 1 different, 2 could not run.")]
    Compare(Compare),
    /// List what a trace file holds, before there is a setup: columns, units, ends, the rate of its rows and gaps; draft a setup
    #[command(after_help = "Example:\n  cowitness columns run.csv --draft axis.toml\n\n\
        What is shown rounded has a ~; --json has it in full. A draft holds guesses, each marked GUESS, and leaves to FILL IN\n\
        what a trace cannot tell. It never holds a limit: limits come from the risk assessment of the machine.\n\n\
        Exit status: 0 listed, 1 listed, and some rows are none of the table, 2 could not run.")]
    Columns(Columns),
    /// Print the JSON Schema of a report
    #[command(after_help = "Example:\n  cowitness schema explain > explain.schema.json")]
    Schema(Schema),
    /// Print the completions of a shell
    #[command(
        after_help = "Example:\n  cowitness completions bash > ~/.local/share/bash-completion/completions/cowitness\n\n\
        The folder has to be there: mkdir -p ~/.local/share/bash-completion/completions\n\
        The others go where their shell looks for them: for zsh a file _cowitness in a folder of fpath, for fish\n\
        ~/.config/fish/completions/cowitness.fish; those of elvish and PowerShell are read from the file that the shell starts with."
    )]
    Completions(Completions),
    /// Write the manual pages: one of the program and one of each command
    #[command(
        after_help = "Example:\n  cowitness man --out ~/.local/share/man/man1 && man cowitness-replay\n\n\
        Prints the files that it wrote. A page that is there already is written anew."
    )]
    Man(Man),
}

#[derive(Debug, clap::Args)]
pub(super) struct Replay {
    /// Traces: CSV (comma, semicolon or tab), plain or as gzip or zstd, Parquet, Arrow IPC or MDF 4; `-` is standard input
    #[arg(required = true, value_name = "TRACE")]
    pub(super) traces: Vec<PathBuf>,
    /// The setup of the axis
    #[arg(long, value_name = "AXIS.toml")]
    pub(super) setup: PathBuf,
    /// Write the report as JSON: an object for one trace, an array for several; `-` is standard output
    #[arg(long, value_name = "FILE")]
    pub(super) json: Option<PathBuf>,
    /// Write a page with charts, tables and the explanation, one file that opens offline; for several traces a folder that there is, which gets a list of them in index.html, too
    #[arg(long, value_name = "FILE")]
    pub(super) html: Option<PathBuf>,
    #[command(flatten)]
    pub(super) drawn: Drawn,
    /// Hold each trace against these expectations, and let the exit status say whether they were met
    #[arg(long, value_name = "FILE")]
    pub(super) expect: Option<PathBuf>,
    /// Write JUnit XML: a suite for each trace, a case for each expectation; `-` is standard output
    #[arg(long, value_name = "FILE")]
    pub(super) junit: Option<PathBuf>,
    /// Print a line `::error file=FILE,line=LINE::MESSAGE` for everything that a system for continuous integration can show at its file
    #[arg(long)]
    pub(super) annotations: bool,
    /// Leave bad rows out, counting them, instead of refusing the trace
    #[arg(long)]
    pub(super) skip_bad: bool,
    /// Print no report: only errors, annotations, expectations that were missed, and rows that were left out
    #[arg(long, short)]
    pub(super) quiet: bool,
}

#[derive(Debug, clap::Args)]
pub(super) struct Explain {
    /// The trace: CSV (comma, semicolon or tab), plain or as gzip or zstd, Parquet, Arrow IPC or MDF 4; `-` is standard input
    #[arg(value_name = "TRACE")]
    pub(super) trace: PathBuf,
    /// The setup of the axis
    #[arg(long, value_name = "AXIS.toml")]
    pub(super) setup: PathBuf,
    /// The trip to explain, by its number in the list of `cowitness replay`, from 1
    #[arg(long, value_name = "N", conflicts_with = "fault")]
    pub(super) trip: Option<usize>,
    /// The fault to explain, by its number in the list of `cowitness replay`, from 1
    #[arg(long, value_name = "N")]
    pub(super) fault: Option<usize>,
    /// Write the explanation as JSON; `-` is standard output
    #[arg(long, value_name = "FILE")]
    pub(super) json: Option<PathBuf>,
    /// Write a page with charts, tables and this explanation, one file that opens offline
    #[arg(long, value_name = "FILE")]
    pub(super) html: Option<PathBuf>,
    #[command(flatten)]
    pub(super) drawn: Drawn,
    /// Leave bad rows out, counting them, instead of refusing the trace
    #[arg(long)]
    pub(super) skip_bad: bool,
}

/// What is drawn of a trace, or written so that somebody else can.
#[derive(Debug, clap::Args)]
pub(super) struct Drawn {
    /// Write the motion against its limits over time as data, to draw it yourself: FILE.json or FILE.csv, of one trace
    #[arg(long, value_name = "FILE")]
    pub(super) plot: Option<PathBuf>,
    /// Draw the trip for a document: speed, what it was decided by, inputs and monitors; `-` is standard output
    #[arg(long, value_name = "FILE")]
    pub(super) svg: Option<PathBuf>,
    /// The same picture in pixels
    #[arg(long, value_name = "FILE")]
    pub(super) png: Option<PathBuf>,
    /// Draw the speed around the trip in the text, too
    #[arg(long)]
    pub(super) picture: bool,
}

#[derive(Debug, clap::Args)]
pub(super) struct Margins {
    /// The setup of the axis
    #[arg(long, value_name = "AXIS.toml")]
    pub(super) setup: PathBuf,
    /// The longest time between two evaluations, for example "1 ms"; otherwise the `cycle` of the setup, or `frame_period` of [machine]
    #[arg(long, value_name = "T")]
    pub(super) period: Option<String>,
    /// Write the report as JSON; `-` is standard output, instead of the text
    #[arg(long, value_name = "FILE")]
    pub(super) json: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub(super) struct Accept {
    /// The plan of the trials
    #[arg(value_name = "PLAN.toml")]
    pub(super) plan: PathBuf,
    /// Write the report as JSON; `-` is standard output, instead of the text
    #[arg(long, value_name = "FILE")]
    pub(super) json: Option<PathBuf>,
    /// Write the report as a page to print and to sign, one file that opens offline; `-` is standard output, instead of the text
    #[arg(long, value_name = "FILE")]
    pub(super) html: Option<PathBuf>,
    /// Print nothing but errors
    #[arg(long, short)]
    pub(super) quiet: bool,
}

#[derive(Debug, clap::Args)]
pub(super) struct Sweep {
    /// Traces: CSV (comma, semicolon or tab), plain or as gzip or zstd, Parquet, Arrow IPC or MDF 4
    #[arg(required = true, value_name = "TRACE")]
    pub(super) traces: Vec<PathBuf>,
    /// The setup of the axis
    #[arg(long, value_name = "AXIS.toml")]
    pub(super) setup: PathBuf,
    /// A setting and its values: `speed.window=4 ms, 8 ms` or `speed.window=4 ms..20 ms step 2 ms`; once or twice
    #[arg(long, required = true, value_name = "SETTING=VALUES")]
    pub(super) vary: Vec<String>,
    /// Hold the one trace against these expectations
    #[arg(long, value_name = "FILE", conflicts_with = "expected")]
    pub(super) expect: Option<PathBuf>,
    /// Hold each trace NAME.csv, packed or not, against NAME.expected.toml beside it
    #[arg(long)]
    pub(super) expected: bool,
    /// Make the time windows of expectations longer by this at either end: other settings trip at other times
    #[arg(long, value_name = "TIME")]
    pub(super) slack: Option<String>,
    /// Write the points as CSV; `-` is standard output, instead of the table
    #[arg(long, value_name = "FILE")]
    pub(super) csv: Option<PathBuf>,
    /// Write everything as JSON, with the results of each trace; `-` is standard output, instead of the table
    #[arg(long, value_name = "FILE")]
    pub(super) json: Option<PathBuf>,
    /// Keep results in this file as they come, and take those that are there already: a sweep that was stopped goes on
    #[arg(long, value_name = "FILE")]
    pub(super) resume: Option<PathBuf>,
    /// Leave bad rows out, counting them, instead of refusing the trace
    #[arg(long)]
    pub(super) skip_bad: bool,
    /// Print nothing but errors
    #[arg(long, short)]
    pub(super) quiet: bool,
}

#[derive(Debug, clap::Args)]
pub(super) struct Synth {
    /// The scenario
    #[arg(value_name = "SCENARIO.toml")]
    pub(super) scenario: PathBuf,
    /// The trace to write, as CSV: `.gz` and `.zst` are compressed; `-` is standard output
    #[arg(long, value_name = "TRACE")]
    pub(super) out: PathBuf,
    /// Do not list what was planted in the trace
    #[arg(long, short)]
    pub(super) quiet: bool,
}

#[derive(Debug, clap::Args)]
pub(super) struct Convert {
    /// The trace: CSV, Parquet, Arrow IPC or MDF 4, told by its content
    #[arg(value_name = "TRACE")]
    pub(super) trace: PathBuf,
    /// The file to write, whose name says the format
    #[arg(long, value_name = "FILE")]
    pub(super) out: PathBuf,
    /// A setup that tells the units of columns
    #[arg(long, value_name = "AXIS.toml")]
    pub(super) setup: Option<PathBuf>,
    /// Leave a column out, by its name, or by GROUP/NAME where the file has several groups; may be given several times
    #[arg(long, value_name = "COLUMN")]
    pub(super) leave_out: Vec<String>,
    /// Print nothing but errors, and what could not be written
    #[arg(long, short)]
    pub(super) quiet: bool,
}

#[derive(Debug, clap::Args)]
pub(super) struct Seal {
    /// The setup of the axis
    #[arg(value_name = "AXIS.toml")]
    pub(super) setup: PathBuf,
    /// The image to write; `-` is standard output
    #[arg(long, value_name = "FILE")]
    pub(super) out: PathBuf,
    /// Stored readings per channel of the axis on the target: an odd number, 3 to 1025
    #[arg(long, value_name = "N", default_value_t = u16::try_from(HISTORY_POINTS).unwrap_or(u16::MAX))]
    pub(super) points: u16,
    /// Write the image as Rust source for a firmware, too
    #[arg(long, value_name = "FILE")]
    pub(super) rust: Option<PathBuf>,
    /// Write the image as a C header for a firmware, too; its names begin with that of the file
    #[arg(long, value_name = "FILE.h")]
    pub(super) c: Option<PathBuf>,
    /// Leave names and texts out of the image; only the unit of the axis stays with the values
    #[arg(long)]
    pub(super) no_labels: bool,
    /// Print nothing but errors
    #[arg(long, short)]
    pub(super) quiet: bool,
}

#[derive(Debug, clap::Args)]
pub(super) struct Inspect {
    /// The sealed setup; `-` is standard input
    #[arg(value_name = "FILE")]
    pub(super) image: PathBuf,
    /// Hold it against this setup: is it the image of it?
    #[arg(long, value_name = "AXIS.toml")]
    pub(super) setup: Option<PathBuf>,
    /// Write the review as JSON; `-` is standard output, instead of the sheet
    #[arg(long, value_name = "FILE")]
    pub(super) json: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub(super) struct Vectors {
    /// The setup of the axis; without it, an invented one
    #[arg(long, value_name = "AXIS.toml")]
    pub(super) setup: Option<PathBuf>,
    /// Which of the invented axes, without --setup: between them they hold every kind of rule on the motion
    #[arg(long, value_enum, default_value_t, conflicts_with = "setup")]
    pub(super) built_in: BuiltIn,
    /// Write them as CSV; `-` is standard output
    #[arg(long, value_name = "FILE")]
    pub(super) csv: Option<PathBuf>,
    /// Write them as a C99 header; `-` is standard output
    #[arg(long, value_name = "FILE")]
    pub(super) c: Option<PathBuf>,
    /// Stored readings per channel of the target: an odd number, 3 to 129. Outcomes depend on it through the effective window of the
    /// speed
    #[arg(long, value_name = "N", default_value_t = u16::try_from(HISTORY_POINTS).unwrap_or(u16::MAX))]
    pub(super) points: u16,
    /// Print the setup that is used without --setup, and nothing else
    #[arg(long, conflicts_with_all = ["setup", "csv", "c"])]
    pub(super) print_setup: bool,
}

#[derive(Debug, clap::Args)]
pub(super) struct Schema {
    /// Of which command
    #[arg(value_enum, default_value_t)]
    pub(super) of: SchemaOf,
}

/// The commands that write JSON with a schema.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum SchemaOf {
    /// `cowitness replay --json`
    #[default]
    Replay,
    /// `cowitness explain --json`
    Explain,
    /// `cowitness margins --json`
    Margins,
    /// `cowitness sweep --json`
    Sweep,
    /// `cowitness columns --json`
    Columns,
    /// `cowitness accept --json`
    Accept,
    /// `--plot FILE.json` of `cowitness replay` and `cowitness explain`
    Plot,
}

/// An invented axis.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum BuiltIn {
    /// Inputs, limits on the speed, standstills, stops, both discrepancies
    #[default]
    Basic,
    /// Places, directions, travels, accelerations, outputs, allowed overruns, reactions
    Further,
}

#[derive(Debug, clap::Args)]
pub(super) struct Compare {
    /// What the implementation came to, as delimited text; `-` is standard input
    #[arg(value_name = "LOG")]
    pub(super) log: PathBuf,
    /// The vectors, as `cowitness vectors --csv` wrote them
    #[arg(long, value_name = "VECTORS.csv")]
    pub(super) vectors: PathBuf,
    /// Refuse vectors of another setup than this one
    #[arg(long, value_name = "AXIS.toml")]
    pub(super) setup: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub(super) struct Completions {
    /// Of which shell
    #[arg(value_enum, value_name = "SHELL")]
    pub(super) shell: clap_complete::Shell,
}

#[derive(Debug, clap::Args)]
pub(super) struct Man {
    /// The folder to write them to; it is made where there is none
    #[arg(long, value_name = "FOLDER")]
    pub(super) out: PathBuf,
}

#[derive(Debug, clap::Args)]
pub(super) struct Columns {
    /// The trace: CSV (comma, semicolon or tab), plain or as gzip or zstd, Parquet, Arrow IPC or MDF 4; `-` is standard input
    #[arg(value_name = "TRACE")]
    pub(super) trace: PathBuf,
    /// The column that is the time of the rows, where neither the file nor its name says so
    #[arg(long, value_name = "NAME")]
    pub(super) time: Option<String>,
    /// Write everything as JSON; `-` is standard output, instead of the text
    #[arg(long, value_name = "FILE")]
    pub(super) json: Option<PathBuf>,
    /// Write the draft of a setup, never over a file that is there; `-` is standard output, instead of the text
    #[arg(long, value_name = "FILE.toml")]
    pub(super) draft: Option<PathBuf>,
}
