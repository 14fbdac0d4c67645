//! `cowitness replay`.

use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use rayon::prelude::*;

use super::args;
use super::drawn::{Replayed, Targets, once};
use super::html::targets;
use super::progress::Progress;
use super::{color, complain, keep_inputs, skipped_notes};
use crate::exit;
use crate::expect::{Expectations, Miss};
use crate::explain::{Again, Asked, explain_plotted};
use crate::plot::replay_plotted;
use crate::replay::{Outcome, layout, replay};
use crate::report::{CAUTION, Report, VerdictReport, text};
use crate::setup::Setup;
use crate::trace::{Layout, Options, Prefetch, Reader};
use crate::vary::Base;

/// What one trace came to.
struct Done {
    text: String,
    report: Report,
    misses: Option<Vec<Miss>>,
    notes: Vec<String>,
}

pub(super) fn run(args: &args::Replay) -> ExitCode {
    let (pages, drawn) = match outputs(args) {
        Ok(outputs) => outputs,
        Err(message) => {
            complain(&message);
            return ExitCode::from(exit::UNUSABLE);
        }
    };
    let base = match Base::load(&args.setup) {
        Ok(base) => base,
        Err(error) => {
            anstream::eprintln!("{}", error.render(color()));
            return ExitCode::from(exit::UNUSABLE);
        }
    };
    let setup = base.setup();
    let expectations = match &args.expect {
        None => None,
        Some(path) => match Expectations::load(path, setup) {
            Ok(expectations) => Some(expectations),
            Err(error) => {
                complain(&error.to_string());
                return ExitCode::from(exit::UNUSABLE);
            }
        },
    };
    let layout = match layout(setup) {
        Ok(layout) => layout,
        Err(error) => {
            complain(&error.to_string());
            return ExitCode::from(exit::UNUSABLE);
        }
    };
    if args.traces.iter().filter(|path| is_stdin(path)).count() > 1 {
        complain("standard input can be replayed only once; name `-` once");
        return ExitCode::from(exit::UNUSABLE);
    }
    let expectations = expectations.as_ref();
    let job = Job { base: &base, setup, pages: &pages, drawn: &drawn, layout: &layout, expectations, args };
    let progress = Progress::new(args.quiet);
    // Each trace has a reading thread of its own, so half as many traces at a time as there are cores.
    let threads = std::thread::available_parallelism().map_or(1, |cores| cores.get().div_ceil(2));
    let done: Vec<_> = match rayon::ThreadPoolBuilder::new().num_threads(threads).build() {
        Ok(pool) => pool.install(|| args.traces.par_iter().map(|path| job.trace(path, &progress)).collect()),
        Err(_) => args.traces.iter().map(|path| job.trace(path, &progress)).collect(),
    };
    drop(progress);
    job.finish(&done)
}

/// Where the pages and what is drawn go, once it is sure that nothing which is read in the same run would be overwritten.
fn outputs(args: &args::Replay) -> Result<(Vec<PathBuf>, Targets), String> {
    let pages = args
        .html
        .as_ref()
        .map_or_else(|| Ok(Vec::new()), |html| targets(html, &args.traces, ("--html", "html")))?;
    let drawn = Targets::new(&args.drawn, &args.traces)?;
    let outs = || {
        let json = args.json.iter().map(|json| ("--json", json.as_path()));
        json.chain(pages.iter().map(|page| ("--html", page.as_path()))).chain(drawn.paths())
    };
    for (_, out) in outs() {
        keep_inputs(out, args.traces.iter().chain([&args.setup]).chain(&args.expect))?;
    }
    once(outs())?;
    Ok((pages, drawn))
}

fn is_stdin(path: &Path) -> bool {
    path.as_os_str() == "-"
}

struct Job<'a> {
    base: &'a Base,
    setup: &'a Setup,
    /// Where the page of each trace goes; empty: there are none.
    pages: &'a [PathBuf],
    drawn: &'a Targets,
    layout: &'a Layout,
    expectations: Option<&'a Expectations>,
    args: &'a args::Replay,
}

impl Job<'_> {
    fn trace(&self, path: &Path, progress: &Progress) -> Result<Done, String> {
        let options = Options { skip_bad: self.args.skip_bad };
        let reader = Reader::open(path, self.layout, options).map_err(|error| error.to_string())?;
        let mut source =
            Prefetch::start(reader).map_err(|error| format!("no thread to read with: {error}"))?;
        let mut shown = 0;
        let mut show = |frames| {
            progress.add(frames - shown);
            shown = frames;
        };
        let place = self.args.traces.iter().position(|trace| trace == path).unwrap_or(0);
        let page = self.pages.get(place);
        let (outcome, explanation, plot) = match page {
            None if self.drawn.is_any() => {
                let (outcome, plot) =
                    replay_plotted(self.setup, &mut source, &mut show).map_err(|error| error.to_string())?;
                (outcome, None, Some(plot))
            }
            None => {
                let outcome =
                    replay(self.setup, &mut source, &mut show).map_err(|error| error.to_string())?;
                (outcome, None, None)
            }
            Some(page) => {
                let again = |changed: &Setup| self.again(path, changed);
                let again: Again<'_> = if is_stdin(path) { None } else { Some(&again) };
                let shown = path.display().to_string();
                let all = explain_plotted(self.base, &mut source, &shown, Asked::First, &mut show, again);
                let (explanation, outcome, plot) = all.map_err(|error| error.to_string())?;
                (outcome, Some((page, explanation)), Some(plot))
            }
        };
        let skipped = source.reader().map(Reader::skipped);
        let rows = skipped.map_or(0, |skipped| skipped.total());
        let notes = skipped.map_or_else(Vec::new, |skipped| skipped_notes(path, skipped));
        let shown = path.display().to_string();
        let report = Report::new(self.setup, &outcome, &shown, rows);
        let mut pictures = String::new();
        if let Some(plot) = &plot {
            let of =
                Replayed { setup: self.setup, outcome: &outcome, plot, path, place, asked: Asked::First };
            self.drawn.write(&of)?;
            pictures = self.drawn.in_text(&of, true);
            if let Some((page, explanation)) = explanation {
                super::html::write(page, self.base, path, (&outcome, &report, &explanation, plot))?;
            }
        }
        let misses = self.expectations.map(|expectations| expectations.misses(&report));
        let text = text(self.setup, &outcome, &shown, rows) + &pictures;
        Ok(Done { text, report, misses, notes })
    }

    /// Replays a trace once more with another setup.
    fn again(&self, path: &Path, changed: &Setup) -> Option<Outcome> {
        let options = Options { skip_bad: self.args.skip_bad };
        let reader = Reader::open(path, &layout(changed).ok()?, options).ok()?;
        replay(changed, &mut Prefetch::start(reader).ok()?, &mut |_| {}).ok()
    }

    fn finish(&self, done: &[Result<Done, String>]) -> ExitCode {
        let code = exit::worst(done.iter().map(|done| match done {
            Err(_) => exit::UNUSABLE,
            Ok(Done { misses: Some(misses), .. }) if misses.is_empty() => exit::CLEAR,
            Ok(Done { misses: None, report, .. }) if report.verdict == VerdictReport::Clear => exit::CLEAR,
            Ok(_) => exit::TRIPPED,
        }));
        for error in done.iter().filter_map(|done| done.as_ref().err()) {
            complain(error);
        }
        let done: Vec<&Done> = done.iter().filter_map(|done| done.as_ref().ok()).collect();
        for note in done.iter().flat_map(|done| &done.notes) {
            anstream::eprintln!("note: {note}");
        }
        match self.print(&done) {
            Ok(()) => code,
            Err(message) => {
                complain(&message);
                ExitCode::from(exit::UNUSABLE)
            }
        }
    }

    fn print(&self, done: &[&Done]) -> Result<(), String> {
        if let Some(path) = &self.args.json {
            let json = match (done, self.args.traces.len()) {
                ([one], 1) => serde_json::to_string_pretty(&one.report),
                _ => {
                    let all: Vec<&Report> = done.iter().map(|done| &done.report).collect();
                    serde_json::to_string_pretty(&all)
                }
            }
            .map_err(|error| format!("the report cannot be written as JSON: {error}"))?;
            if !done.is_empty() {
                write_out(path, &(json + "\n"))?;
            }
        }
        let drawn = self.drawn.paths().map(|(_, path)| path);
        let is_stdout_taken =
            self.args.json.iter().chain(self.pages).map(PathBuf::as_path).chain(drawn).any(is_stdin);
        if self.args.quiet || is_stdout_taken {
            // Nothing else says what was missed.
            for done in done {
                for miss in done.misses.iter().flatten() {
                    anstream::eprintln!("missed: {}: {miss}", done.report.trace.path);
                }
            }
        }
        if self.args.quiet || is_stdout_taken || done.is_empty() {
            return Ok(());
        }
        let mut out = String::new();
        for done in done {
            out += &done.text;
            match &done.misses {
                None => {}
                Some(misses) if misses.is_empty() => out += "\nAll expectations met\n",
                Some(misses) => {
                    out += "\nExpectations missed\n";
                    for miss in misses {
                        out += &format!("  {miss}\n");
                    }
                }
            }
            out += "\n";
        }
        out += CAUTION;
        out += "\n";
        write_out(Path::new("-"), &out)
    }
}

/// Writes to a file, or to standard output for `-`; a reader of standard output that has gone away is no error.
fn write_out(path: &Path, text: &str) -> Result<(), String> {
    if is_stdin(path) {
        return match io::stdout().lock().write_all(text.as_bytes()) {
            Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
                Err(format!("standard output: {error}; check where it goes"))
            }
            _ => Ok(()),
        };
    }
    std::fs::write(path, text).map_err(|error| {
        format!("{}: cannot be written: {error}; check the path given with --json", path.display())
    })
}
