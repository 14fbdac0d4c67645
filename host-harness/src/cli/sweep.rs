//! `cowitness sweep`.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use monitor_core::seal::crc32;

use super::args;
use super::progress::Bar;
use super::{color, complain, keep_inputs, print, write_to};
use crate::decimal::{Dimension, Rounding, parse_quantity, to_nanos};
use crate::exit;
use crate::expect::Expectations;
use crate::setup::Setup;
use crate::sweep::{Grid, Resume, Step, Sweep, SweepReport, Trace, csv, run as sweep, table};
use crate::trace::Options;
use crate::vary::Base;

pub(super) fn run(args: &args::Sweep) -> ExitCode {
    match try_run(args) {
        Ok(code) => code,
        Err(message) => {
            complain(&message);
            ExitCode::from(exit::UNUSABLE)
        }
    }
}

fn try_run(args: &args::Sweep) -> Result<ExitCode, String> {
    check_paths(args)?;
    let base = match Base::load(&args.setup) {
        Ok(base) => base,
        Err(error) => {
            anstream::eprintln!("{}", error.render(color()));
            return Ok(ExitCode::from(exit::UNUSABLE));
        }
    };
    let variations = args.vary.iter().map(|text| base.variation(text)).collect::<Result<_, _>>();
    let grid =
        variations.and_then(|variations| Grid::new(base, variations)).map_err(|error| error.to_string())?;
    let traces = traces(args, grid.base().setup())?;
    let slack_ns = match &args.slack {
        None => 0,
        Some(text) => slack(text)?,
    };
    let job = Sweep { grid, traces, options: Options { skip_bad: args.skip_bad }, slack_ns };
    let mut resume = match &args.resume {
        None => None,
        Some(path) => Some(Resume::open(path, &job).map_err(|error| error.to_string())?),
    };
    let points = job.grid.points().iter().filter(|point| point.setup.is_ok()).count();
    let bar = Bar::new(args.quiet, points * job.traces.len());
    let progress = |step| match step {
        Step::Frames(frames) => bar.frames(frames),
        Step::Results(results) => bar.results(results),
    };
    let results = sweep(&job, resume.as_mut(), &progress);
    drop(bar);
    let report = SweepReport::new(&job, &results.map_err(|error| error.to_string())?);
    write(args, &report)?;
    Ok(ExitCode::from(if report.refused() > 0 { exit::TRIPPED } else { exit::CLEAR }))
}

fn write(args: &args::Sweep, report: &SweepReport) -> Result<(), String> {
    if let Some(path) = &args.csv {
        write_to(path, csv(report).as_bytes(), "--csv")?;
    }
    if let Some(path) = &args.json {
        let json = serde_json::to_string_pretty(report);
        let json = json.map_err(|error| format!("the report cannot be written as JSON: {error}"))?;
        write_to(path, (json + "\n").as_bytes(), "--json")?;
    }
    let is_taken = [&args.csv, &args.json].into_iter().flatten().any(|path| path.as_os_str() == "-");
    if !args.quiet && !is_taken {
        let _ = print(&table(report));
    }
    Ok(())
}

/// What can be told of the paths alone.
fn check_paths(args: &args::Sweep) -> Result<(), String> {
    if args.traces.iter().any(|path| path.as_os_str() == "-") {
        return Err(
            "a sweep may have to read a trace more than once, and standard input cannot be; name a file"
                .to_owned(),
        );
    }
    let real = |path: &PathBuf| path.canonicalize().unwrap_or_else(|_| path.clone());
    let files: Vec<PathBuf> = args.traces.iter().map(real).collect();
    if let Some(place) = (1..files.len()).find(|&place| files[..place].contains(&files[place])) {
        return Err(format!("{}: is named twice; name each trace once", args.traces[place].display()));
    }
    let beside: Vec<PathBuf> =
        if args.expected { args.traces.iter().map(|trace| beside(trace)).collect() } else { Vec::new() };
    let inputs: Vec<&PathBuf> =
        args.traces.iter().chain([&args.setup]).chain(&args.expect).chain(&beside).collect();
    let outputs: Vec<&PathBuf> = [&args.csv, &args.json, &args.resume].into_iter().flatten().collect();
    for (place, out) in outputs.iter().enumerate() {
        keep_inputs(out, inputs.iter().copied())?;
        let folder = out.parent().filter(|folder| !folder.as_os_str().is_empty());
        if let Some(folder) = folder.filter(|folder| !folder.is_dir()) {
            // Said now, not after hours.
            let (out, folder) = (out.display(), folder.display());
            return Err(format!(
                "{out}: there is no folder {folder} to write it to; make it, or name another file"
            ));
        }
        if outputs[..place].contains(out) {
            return Err(format!("{}: is to be written twice; name a file for each", out.display()));
        }
    }
    Ok(())
}

/// `NAME.expected.toml` beside `NAME.csv`, packed or not.
fn beside(trace: &Path) -> PathBuf {
    let name = trace.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let unpacked = name.strip_suffix(".gz").or_else(|| name.strip_suffix(".zst")).unwrap_or(&name);
    let stem = unpacked.rsplit_once('.').map_or(unpacked, |(stem, _)| stem);
    trace.with_file_name(format!("{stem}.expected.toml"))
}

fn traces(args: &args::Sweep, setup: &Setup) -> Result<Vec<Trace>, String> {
    let trace = |path: &PathBuf| {
        let file = match (&args.expect, args.expected) {
            (Some(file), _) => file.clone(),
            (None, true) => {
                let file = beside(path);
                if !file.exists() {
                    let file = file.display();
                    return Err(format!("{file}: there is none; write it, or leave --expected out"));
                }
                file
            }
            (None, false) => return Ok(Trace { path: path.clone(), expectations: None }),
        };
        let expectations = Expectations::load(&file, setup).map_err(|error| error.to_string())?;
        let text =
            std::fs::read(&file).map_err(|error| format!("{}: cannot be read: {error}", file.display()))?;
        Ok(Trace { path: path.clone(), expectations: Some((expectations, crc32(&text))) })
    };
    if args.expect.is_some() && args.traces.len() > 1 {
        return Err("--expect is of one trace; for several write NAME.expected.toml beside each NAME.csv, and --expected".to_owned());
    }
    args.traces.iter().map(trace).collect()
}

fn slack(text: &str) -> Result<u64, String> {
    let quantity = parse_quantity(text, Dimension::Time)
        .map_err(|error| format!("--slack `{text}`: {error}; {}", error.way_out()))?;
    to_nanos(&quantity.value, Rounding::Nearest)
        .map_err(|error| format!("--slack `{text}`: {error}; write for example --slack \"100 ms\""))
}
