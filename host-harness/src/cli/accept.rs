//! `cowitness accept`.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use super::progress::Progress;
use super::{args, color, complain, in_one_line, keep_apart, write_to};
use crate::accept::{AcceptReport, Overall, Plan, Recording, Trial, record, text};
use crate::exit;
use crate::html::acceptance;

pub(super) fn run(args: &args::Accept) -> ExitCode {
    let plan = match Plan::load(&args.plan) {
        Ok(plan) => plan,
        Err(error) => {
            anstream::eprintln!("{}", error.0.render(color()));
            return ExitCode::from(exit::UNUSABLE);
        }
    };
    match accepted(args, &plan) {
        Ok(result) => ExitCode::from(if result == Overall::Passed { exit::CLEAR } else { exit::TRIPPED }),
        Err(messages) => {
            messages.iter().for_each(|message| complain(&in_one_line(message)));
            ExitCode::from(exit::UNUSABLE)
        }
    }
}

fn accepted(args: &args::Accept, plan: &Plan) -> Result<Overall, Vec<String>> {
    let one = |message| vec![message];
    let traces = plan.trials.iter().filter_map(|trial| Some(&trial.recorded.as_ref()?.path));
    let inputs: Vec<&PathBuf> = traces.chain([&args.plan, &plan.setup_path]).collect();
    keep_apart(&[("--json", args.json.as_ref()), ("--html", args.html.as_ref())], &inputs).map_err(one)?;
    let recordings = recorded(args, plan)?;
    let report = AcceptReport::new(plan, &recordings);
    if let Some(path) = &args.json {
        let json = serde_json::to_string_pretty(&report)
            .map_err(|error| one(format!("the report cannot be written as JSON: {error}")))?;
        write_to(path, (json + "\n").as_bytes(), "--json").map_err(one)?;
    }
    if let Some(path) = &args.html {
        write_to(path, acceptance(&report).as_bytes(), "--html").map_err(one)?;
    }
    let is_taken = [&args.json, &args.html].into_iter().flatten().any(|path| path.as_os_str() == "-");
    if !args.quiet && !is_taken {
        write_to(Path::new("-"), text(&report).as_bytes(), "").map_err(one)?;
    }
    Ok(report.result)
}

/// Replays each trace once. Nothing is judged unless all can be: a report would lack what could not be read.
fn recorded<'p>(args: &args::Accept, plan: &'p Plan) -> Result<BTreeMap<&'p Path, Recording>, Vec<String>> {
    let mut trials: BTreeMap<&Path, Vec<&Trial>> = BTreeMap::new();
    for trial in &plan.trials {
        if let Some(recorded) = &trial.recorded {
            trials.entry(&recorded.path).or_default().push(trial);
        }
    }
    let (mut recordings, mut refused) = (BTreeMap::new(), Vec::new());
    let progress = Progress::new(args.quiet);
    for (path, of) in trials {
        let mut shown = 0;
        let mut show = |frames| {
            progress.add(frames - shown);
            shown = frames;
        };
        match record(&plan.setup, path, &of, &mut show) {
            Ok(recording) => {
                recordings.insert(path, recording);
            }
            Err(why) => {
                let at =
                    of.first().and_then(|trial| trial.recorded.as_ref()).map_or((1, 1), |named| named.at);
                refused.push((at, why));
            }
        }
    }
    drop(progress);
    if refused.is_empty() {
        return Ok(recordings);
    }
    refused.sort_unstable();
    let plan = args.plan.display();
    let message = |((line, column), why): ((usize, usize), String)| format!("{plan}:{line}:{column}: {why}");
    Err(refused.into_iter().map(message).collect())
}
