//! `cowitness columns`.

use std::path::Path;
use std::process::ExitCode;

use super::{args, complain, keep_inputs, write_to};
use crate::columns::{Survey, draft, survey, text};
use crate::exit;

pub(super) fn run(args: &args::Columns) -> ExitCode {
    let done = keep(args).and_then(|()| {
        let survey = survey(&args.trace, args.time.as_deref()).map_err(|error| error.to_string())?;
        print(args, &survey)?;
        Ok(survey.groups.iter().any(|group| group.bad_rows > 0))
    });
    match done {
        Ok(bad) => ExitCode::from(if bad { exit::TRIPPED } else { exit::CLEAR }),
        Err(message) => {
            complain(&message);
            ExitCode::from(exit::UNUSABLE)
        }
    }
}

fn keep(args: &args::Columns) -> Result<(), String> {
    for out in args.json.iter().chain(&args.draft) {
        keep_inputs(out, [&args.trace])?;
    }
    match &args.draft {
        // A setup that somebody has worked on is worth more than a draft.
        Some(draft) if draft.as_os_str() != "-" && draft.exists() => {
            Err(format!("{}: is there already; name a new file for the draft", draft.display()))
        }
        _ => Ok(()),
    }
}

fn print(args: &args::Columns, survey: &Survey) -> Result<(), String> {
    let is_stdout =
        |path: &Option<std::path::PathBuf>| path.as_deref().is_some_and(|path| path.as_os_str() == "-");
    if let Some(path) = &args.json {
        let json = serde_json::to_string_pretty(survey)
            .map_err(|error| format!("the survey cannot be written as JSON: {error}"))?;
        write_to(path, (json + "\n").as_bytes(), "--json")?;
    }
    if let Some(path) = &args.draft {
        write_to(path, draft(survey).as_bytes(), "--draft")?;
    }
    if is_stdout(&args.json) || is_stdout(&args.draft) {
        return Ok(());
    }
    write_to(Path::new("-"), text(survey).as_bytes(), "")
}
