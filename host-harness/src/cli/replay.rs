//! `cowitness replay`.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use rayon::prelude::*;

use super::args;
use super::drawn::{Replayed, Targets};
use super::html::{index_of, listed, targets, write_index};
use super::progress::Progress;
use super::{color, complain, in_one_line, keep_apart, skipped_notes, write_to};
use crate::ci::{Found, Traced, Unreadable, annotation, annotations, junit};
use crate::exit;
use crate::expect::{Expectations, Judged, Miss};
use crate::explain::{Again, Asked, ExplainError, explain_plotted};
use crate::plot::replay_plotted;
use crate::replay::{Outcome, ReplayError, doubtful_unit, layout, replay};
use crate::report::{CAUTION, Report, Reports, VerdictReport, text};
use crate::setup::Setup;
use crate::sweep::Watched;
use crate::trace::{Layout, Options, Prefetch, Reader, TraceError};
use crate::vary::Base;

/// What one trace came to.
struct Done {
    text: String,
    report: Report,
    judged: Vec<Judged>,
    notes: Vec<String>,
    /// What of it could not be written: the report stands all the same.
    unwritten: Vec<String>,
    /// Its page, where one was written.
    page: Option<crate::html::Listed>,
}

impl Done {
    fn misses(&self) -> impl Iterator<Item = &Miss> {
        self.judged.iter().flat_map(|judged| &judged.misses)
    }
}

pub(super) fn run(args: &args::Replay) -> ExitCode {
    let (pages, drawn) = match outputs(args) {
        Ok(outputs) => outputs,
        Err(message) => {
            complain(&message);
            return ExitCode::from(exit::UNUSABLE);
        }
    };
    let Some((base, expectations)) = load(args) else {
        return ExitCode::from(exit::UNUSABLE);
    };
    let setup = base.setup();
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
        Ok(pool) => {
            pool.install(|| args.traces.par_iter().map(|path| job.trace_apart(path, &progress)).collect())
        }
        Err(_) => args.traces.iter().map(|path| job.trace(path, &progress)).collect(),
    };
    drop(progress);
    job.finish(&done)
}

/// Where the pages and what is drawn go. Refuses to write to what is read, and two things to one place.
fn outputs(args: &args::Replay) -> Result<(Vec<PathBuf>, Targets), String> {
    let pages = (args.html.as_ref())
        .map_or_else(|| Ok(Vec::new()), |html| targets(html, &args.traces, ("--html", "html")))?;
    let drawn = Targets::new(&args.drawn, &args.traces)?;
    let inputs: Vec<&PathBuf> = args.traces.iter().chain([&args.setup]).chain(&args.expect).collect();
    let mut outputs = vec![("--json", args.json.as_ref()), ("--junit", args.junit.as_ref())];
    outputs.extend(pages.iter().map(|page| ("--html", Some(page))));
    let index = args.html.as_ref().and_then(|out| index_of(out, args.traces.len()));
    outputs.extend(index.iter().map(|page| ("--html", Some(page))));
    outputs.extend(drawn.paths().map(|(option, path)| (option, Some(path))));
    keep_apart(&outputs, &inputs)?;
    for (option, path) in outputs {
        if args.annotations && path.is_some_and(|path| is_stdin(path)) {
            return Err(format!(
                "annotations are printed to standard output, and {option} - too; name a file with {option}"
            ));
        }
    }
    Ok((pages, drawn))
}

/// The setup and the expectations; where one cannot be used that is said, and there is nothing.
fn load(args: &args::Replay) -> Option<(Base, Option<Expectations>)> {
    let annotate = |path: &Path, line: Option<usize>, message: &str| {
        if args.annotations {
            let line = annotation(&path.display().to_string(), line, message);
            // It is about to end with an error that says the same.
            let _ = write_to(Path::new("-"), line.as_bytes(), "--annotations");
        }
    };
    let base = Base::load(&args.setup).map_err(|error| {
        anstream::eprintln!("{}", error.render(color()));
        for wrong in error.diagnostics() {
            let line = wrong.place.as_ref().map(|place| place.line);
            annotate(&args.setup, line, &format!("{}; {}", wrong.message, wrong.way_out));
        }
    });
    let base = base.ok()?;
    let Some(path) = &args.expect else { return Some((base, None)) };
    let expectations = Expectations::load(path, base.setup()).map_err(|error| {
        complain(&error.to_string());
        annotate(path, error.at.map(|(line, _)| line), &error.to_string());
    });
    Some((base, Some(expectations.ok()?)))
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
    /// On a thread that is none of those that share the traces: what is worked out side by side for one trace is to have all cores.
    fn trace_apart(&self, path: &Path, progress: &Progress) -> Result<Done, Unreadable> {
        std::thread::scope(|scope| {
            let thread = std::thread::Builder::new().spawn_scoped(scope, || self.trace(path, progress));
            match thread.map(std::thread::ScopedJoinHandle::join) {
                Ok(Ok(done)) => done,
                Ok(Err(panic)) => std::panic::resume_unwind(panic),
                Err(error) => {
                    Err(Unreadable { message: format!("no thread to replay with: {error}"), line: None })
                }
            }
        })
    }

    fn trace(&self, path: &Path, progress: &Progress) -> Result<Done, Unreadable> {
        let options = Options { skip_bad: self.args.skip_bad };
        let of_trace = |error: &TraceError| Unreadable { message: error.to_string(), line: error.place.line };
        let place = self.args.traces.iter().position(|trace| trace == path).unwrap_or(0);
        let page = self.pages.get(place);
        let bytes = Watched::default();
        let reader = match page {
            Some(_) => Reader::open_seen(path, self.layout, options, bytes.shown()),
            None => Reader::open(path, self.layout, options),
        }
        .map_err(|error| of_trace(&error))?;
        let mut source = Prefetch::start(reader).map_err(|error| Unreadable {
            message: format!("no thread to read with: {error}"),
            line: None,
        })?;
        let mut shown = 0;
        let mut show = |frames| {
            progress.add(frames - shown);
            shown = frames;
        };
        let unreadable = |error: &ReplayError| match error {
            ReplayError::Trace(error) => of_trace(error),
            _ => Unreadable { message: error.to_string(), line: None },
        };
        let (outcome, told, plot) = match page {
            None if self.drawn.is_any() => {
                let (outcome, plot) =
                    replay_plotted(self.setup, &mut source, &mut show).map_err(|error| unreadable(&error))?;
                (outcome, None, Some(plot))
            }
            None => {
                let outcome =
                    replay(self.setup, &mut source, &mut show).map_err(|error| unreadable(&error))?;
                (outcome, None, None)
            }
            Some(page) => {
                let again = |changed: &Setup| self.again(path, changed);
                let again: Again<'_> = if is_stdin(path) { None } else { Some(&again) };
                let shown = path.display().to_string();
                let all = explain_plotted(self.base, &mut source, &shown, Asked::First, &mut show, again);
                let (told, outcome, plot) = all.map_err(|error| match error {
                    ExplainError::Replay(error) => unreadable(&error),
                    other @ (ExplainError::NoSuch(_) | ExplainError::Thread(_)) => {
                        Unreadable { message: other.to_string(), line: None }
                    }
                })?;
                (outcome, Some((page, told)), Some(plot))
            }
        };
        let skipped = source.reader().map(Reader::skipped);
        let rows = skipped.map_or(0, |skipped| skipped.total());
        let mut notes = skipped.map_or_else(Vec::new, |skipped| skipped_notes(path, skipped));
        let doubtful = doubtful_unit(self.setup, self.layout.time.unit, &outcome);
        notes.extend(doubtful.map(|doubtful| format!("{}: {doubtful}", path.display())));
        let shown = path.display().to_string();
        let report = Report::new(self.setup, &outcome, &shown, rows);
        let (mut pictures, mut unwritten, mut written) = (String::new(), Vec::new(), None);
        if let Some(plot) = &plot {
            let of =
                Replayed { setup: self.setup, outcome: &outcome, plot, path, place, asked: Asked::First };
            unwritten.extend(self.drawn.write(&of).err());
            pictures = self.drawn.in_text(&of, true);
            if let Some((page, told)) = told {
                let all = (&outcome, &report, &told, plot);
                match super::html::write(page, self.base, bytes.identity(), all) {
                    Ok(()) => written = Some(listed(page, &report, &told)),
                    Err(message) => unwritten.push(message),
                }
            }
        }
        let judged = match self.expectations {
            Some(expectations) => expectations.judged(&report),
            None => vec![Judged::without_expectations(&report)],
        };
        let text = text(self.setup, &outcome, &shown, rows) + &pictures;
        Ok(Done { text, report, judged, notes, unwritten, page: written })
    }

    /// Replays a trace once more with another setup.
    fn again(&self, path: &Path, changed: &Setup) -> Option<Outcome> {
        let options = Options { skip_bad: self.args.skip_bad };
        let reader = Reader::open(path, &layout(changed).ok()?, options).ok()?;
        replay(changed, &mut Prefetch::start(reader).ok()?, &mut |_| {}).ok()
    }

    fn finish(&self, all: &[Result<Done, Unreadable>]) -> ExitCode {
        let code = exit::worst(all.iter().map(|done| match done {
            Err(_) => exit::UNUSABLE,
            Ok(done) if !done.unwritten.is_empty() => exit::UNUSABLE,
            Ok(done) if self.is_as_wanted(done) => exit::CLEAR,
            Ok(_) => exit::TRIPPED,
        }));
        for error in all.iter().filter_map(|done| done.as_ref().err()) {
            complain(&in_one_line(&error.message));
        }
        let done: Vec<&Done> = all.iter().filter_map(|done| done.as_ref().ok()).collect();
        for note in done.iter().flat_map(|done| &done.notes) {
            anstream::eprintln!("note: {}", in_one_line(note));
        }
        for message in done.iter().flat_map(|done| &done.unwritten) {
            complain(&in_one_line(message));
        }
        let written = self.list(all).and_then(|()| self.json(&done));
        match written.and_then(|()| self.print(&done)).and_then(|()| self.for_ci(all)) {
            Ok(()) => code,
            Err(message) => {
                complain(&message);
                ExitCode::from(exit::UNUSABLE)
            }
        }
    }

    fn is_as_wanted(&self, done: &Done) -> bool {
        match self.expectations {
            Some(_) => done.misses().next().is_none(),
            None => done.report.verdict == VerdictReport::Clear,
        }
    }

    /// The list of the pages in their folder.
    fn list(&self, all: &[Result<Done, Unreadable>]) -> Result<(), String> {
        let out = self.args.html.as_ref().and_then(|out| index_of(out, self.args.traces.len()));
        let Some(target) = out else { return Ok(()) };
        let listed: Vec<_> =
            all.iter().filter_map(|done| done.as_ref().ok().and_then(|done| done.page.clone())).collect();
        let without = |(done, path): (&Result<Done, Unreadable>, &PathBuf)| match done {
            Ok(Done { page: Some(_), .. }) => None,
            Ok(done) => Some(format!("{}: {}", path.display(), done.unwritten.join("; "))),
            Err(error) => Some(format!("{}: {}", path.display(), error.message)),
        };
        let unreadable: Vec<_> = all.iter().zip(&self.args.traces).filter_map(without).collect();
        write_index(&target, self.base, &listed, &unreadable)
    }

    fn json(&self, done: &[&Done]) -> Result<(), String> {
        let Some(path) = self.args.json.as_ref().filter(|_| !done.is_empty()) else { return Ok(()) };
        let reports = match (done, self.args.traces.len()) {
            ([one], 1) => Reports::One(&one.report),
            _ => Reports::Several(done.iter().map(|done| &done.report).collect()),
        };
        let json = serde_json::to_string_pretty(&reports)
            .map_err(|error| format!("the report cannot be written as JSON: {error}"))?;
        write_to(path, (json + "\n").as_bytes(), "--json")
    }

    fn print(&self, done: &[&Done]) -> Result<(), String> {
        let drawn = self.drawn.paths().map(|(_, path)| path);
        let mut written_out = self.args.json.iter().chain(&self.args.junit).chain(self.pages).chain(drawn);
        let is_silent = self.args.quiet || written_out.any(|path| is_stdin(path));
        if is_silent && self.expectations.is_some() {
            // Nothing else says what was missed.
            for done in done {
                for miss in done.misses() {
                    let missed = format!("{}: {miss}", done.report.trace.path);
                    anstream::eprintln!("missed: {}", in_one_line(&missed));
                }
            }
        }
        if is_silent || done.is_empty() {
            return Ok(());
        }
        let mut out: String = done.iter().map(|done| self.told(done) + "\n").collect();
        out += CAUTION;
        out += "\n";
        write_to(Path::new("-"), out.as_bytes(), "-")
    }

    /// The report on one trace, with what became of the expectations.
    fn told(&self, done: &Done) -> String {
        let mut out = done.text.clone();
        if self.expectations.is_some() {
            let misses: String = done.misses().map(|miss| format!("  {miss}\n")).collect();
            out += if misses.is_empty() { "\nAll expectations met\n" } else { "\nExpectations missed\n" };
            out += &misses;
        }
        out
    }

    fn for_ci(&self, all: &[Result<Done, Unreadable>]) -> Result<(), String> {
        if self.args.junit.is_none() && !self.args.annotations {
            return Ok(());
        }
        let shown = |path: &Path| path.display().to_string();
        let paths: Vec<String> = self.args.traces.iter().map(|path| shown(path)).collect();
        let texts: Vec<String> = all
            .iter()
            .map(|done| done.as_ref().map_or_else(|_| String::new(), |done| self.told(done)))
            .collect();
        let expectations = self.args.expect.as_deref().map(shown);
        let traces = paths.iter().zip(&texts).zip(all).map(|((path, text), done)| Traced {
            path,
            expectations: expectations.as_deref(),
            found: done.as_ref().map(|done| Found { judged: &done.judged, text }),
        });
        let traces: Vec<Traced> = traces.collect();
        if let Some(path) = &self.args.junit {
            write_to(path, junit(&traces).as_bytes(), "--junit")?;
        }
        if self.args.annotations {
            write_to(Path::new("-"), annotations(&traces).as_bytes(), "--annotations")?;
        }
        Ok(())
    }
}
