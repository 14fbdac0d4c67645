//! `cowitness margins`.

use std::path::Path;
use std::process::ExitCode;

use monitor_core::Span;

use super::{args, complain, keep_inputs, load_setup, write_to};
use crate::decimal::{Dimension, Rounding, parse_quantity, to_nanos};
use crate::exit;
use crate::margins::{Margins, MarginsReport, text};

pub(super) fn run(args: &args::Margins) -> ExitCode {
    let setup = match load_setup(&args.setup) {
        Ok(setup) => setup,
        Err(rendered) => {
            anstream::eprintln!("{rendered}");
            return ExitCode::from(exit::UNUSABLE);
        }
    };
    let done = period(args).and_then(|period| {
        let margins = Margins::of(&setup, period);
        let is_json = args.json.as_deref().is_some_and(|json| json.as_os_str() == "-");
        if let Some(json) = &args.json {
            keep_inputs(json, [&args.setup])?;
            let report = serde_json::to_string_pretty(&MarginsReport::new(&setup, &margins))
                .map_err(|error| format!("the report cannot be written as JSON: {error}"))?;
            write_to(json, (report + "\n").as_bytes(), "--json")?;
        }
        if !is_json {
            write_to(Path::new("-"), text(&setup, &margins).as_bytes(), "")?;
        }
        Ok(margins.has_findings())
    });
    match done {
        Ok(found) => ExitCode::from(if found { exit::TRIPPED } else { exit::CLEAR }),
        Err(message) => {
            complain(&message);
            ExitCode::from(exit::UNUSABLE)
        }
    }
}

/// The period that was given, rounded up.
fn period(args: &args::Margins) -> Result<Option<Span>, String> {
    let Some(text) = &args.period else { return Ok(None) };
    let refuse = |message: String| format!("--period {text}: {message}; write for example --period \"1 ms\"");
    let quantity = parse_quantity(text, Dimension::Time).map_err(|error| refuse(error.to_string()))?;
    match to_nanos(&quantity.value, Rounding::Up) {
        Ok(0) => Err(refuse("a period is above zero".to_owned())),
        Ok(nanos) => Ok(Some(Span::from_nanos(nanos))),
        Err(error) => Err(refuse(error.to_string())),
    }
}
